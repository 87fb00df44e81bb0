/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The weight of words against scikit-learn's multinomial naive Bayes (data/make-words-sklearn says which), and the forms
 * its table may have.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/filing.h"
#include "language/words.h"
#include "support/test.h"

struct wordy {
    struct rules *rules;
    struct diags *diags;
    size_t sound, spoilt; /* findings */
};

static const char *const SCRATCH = ".build/words-test.tsv";

static int setup(void **state)
{
    static const char *const folders[] = {"tests/unit/tiny-rules"};
    static struct wordy w;
    w.diags = diags_new();
    w.rules = rules_load(folders, 1, w.diags, NULL);
    assert_non_null(w.rules);
    w.sound = (size_t)rules_finding(w.rules, "plain");
    w.spoilt = (size_t)rules_finding(w.rules, "crust");
    /* Nothing tempered, shrunk or bounded. */
    w.rules->calibration.words = (struct word_calibration){.group_power = 1,
                                                           .usual = 1e9,
                                                           .status_prior = 1,
                                                           .finding_prior = 1,
                                                           .term_most = 100,
                                                           .most = 1e9,
                                                           .sound_most = 1e9};
    *state = &w;
    return 0;
}

static int teardown(void **state)
{
    struct wordy *w = *state;
    remove(SCRATCH);
    rules_free(w->rules);
    diags_free(w->diags);
    return 0;
}

/* The table as a file, read back. */
static struct words *by_file(struct wordy *w, const char *bytes)
{
    struct text text;
    struct words *words = words_new(w->rules, LABELS_FINDINGS);

    text_init(&text);
    text_puts(&text, bytes);
    diags_clear(w->diags);
    assert_int_equal(filing_put(SCRATCH, &text, true, w->diags), STATUS_OK);
    text_release(&text);
    enum status status = words_read(words, SCRATCH, w->diags);
    status = status == STATUS_OK ? words_check(words, w->diags) : status;
    if (status == STATUS_OK)
        return words;
    assert_int_equal(status, STATUS_DATA);
    words_free(words);
    return NULL;
}

/* A word never met weighs as its kind does; without the kind it weighs nothing. */
TEST(test_kinds)
{
    struct wordy *w = *state;
    static const char *const KINDS[] = {"leafy moss lettuce pea"};
    struct phrases *kinds = &w->rules->language.kinds;
    const struct phrases none = *kinds;
    const char *counted = "";
    double likelihood[8], odds[2];

    for (size_t known = 0; known < 2; known++) {
        kinds->list = known ? (const char **)KINDS : none.list;
        kinds->count = known ? 1 : none.count;
        struct word_counts *counts = word_counts_new(w->rules, LABELS_FINDINGS, 1);
        word_counts_add(counts, "moss below", 10, &w->spoilt, 1, 0);
        word_counts_add(counts, "snow below", 10, &w->sound, 1, 0);
        struct text table;
        text_init(&table);
        word_counts_table(counts, SIZE_MAX, &table);
        counted = strstr(table.bytes, "=leafy below\t");
        assert_true((counted != NULL) == (known == 1));
        struct words *words = by_file(w, table.bytes);
        words_weigh(words, "peas below", 10, likelihood, NULL, 0);
        odds[known] = likelihood[w->spoilt] - likelihood[w->sound];
        words_free(words);
        text_release(&table);
        word_counts_free(counts);
    }
    *kinds = none;
    assert_true(fabs(odds[0]) < 0.3);
    assert_true(odds[1] > odds[0] + 0.5);
}

TEST(test_scikit_learn)
{
    struct wordy *w = *state;
    struct word_counts *counts = word_counts_new(w->rules, LABELS_FINDINGS, 1);
    char line[256], tests[16][2][100], kind[8], words_of[100], figure[32];
    size_t test_count = 0;
    FILE *file = fopen("tests/outside/data/words_sklearn.csv", "r");

    assert_non_null(file);
    while (fgets(line, sizeof line, file)) {
        assert_int_equal(sscanf(line, "%7[^,],%99[^,],%31s", kind, words_of, figure), 3);
        if (strcmp(kind, "train") == 0) {
            const size_t finding = figure[0] == '1' ? w->spoilt : w->sound;
            word_counts_add(counts, words_of, strlen(words_of), &finding, 1, 0);
        } else {
            snprintf(tests[test_count][0], sizeof tests[0][0], "%s", words_of);
            snprintf(tests[test_count++][1], sizeof tests[0][1], "%s", figure);
        }
    }
    fclose(file);
    struct text table;
    text_init(&table);
    word_counts_table(counts, SIZE_MAX, &table);
    struct words *words = by_file(w, table.bytes);
    assert_non_null(words);
    assert_int_equal(test_count, 7);
    for (size_t i = 0; i < test_count; i++) {
        double likelihood[8];
        struct word_weight weights[16];
        double sum = 0;
        size_t known =
            words_weigh(words, tests[i][0], strlen(tests[i][0]), likelihood, weights, 16);
        assert_true(known > 0);
        for (size_t k = 0; k < known; k++)
            sum += weights[k].odds;
        assert_true(fabs(sum - strtod(tests[i][1], NULL)) < 1e-9);
        assert_true(fabs(likelihood[w->spoilt] - likelihood[w->sound] - sum) < 1e-9);
    }
    words_free(words);
    text_release(&table);
    word_counts_free(counts);
}

TEST(test_the_same_bytes)
{
    struct wordy *w = *state;
    struct text tables[2];

    for (size_t t = 0; t < 2; t++) {
        struct word_counts *counts = word_counts_new(w->rules, LABELS_FINDINGS, 1);
        const size_t both[] = {w->spoilt, w->sound};
        word_counts_add(counts, "no green, day 12", 16, &both[1], 1, 0);
        word_counts_add(counts, "Green patches; day 14", 21, both, 2, 0);
        text_init(&tables[t]);
        word_counts_table(counts, 1, &tables[t]);
        word_counts_free(counts);
    }
    assert_string_equal(tables[0].bytes, tables[1].bytes);
    /* Stems, pairs within a clause, a denied word apart from the plain one, figures in bins; shares of 20. */
    assert_non_null(strstr(tables[0].bytes, "\n!green\t1:20\n"));
    assert_non_null(strstr(tables[0].bytes, "\ngreen\t0:13 1:7\n"));
    assert_non_null(strstr(tables[0].bytes, "\ngreen patch\t0:13 1:7\n"));
    assert_non_null(strstr(tables[0].bytes, "\nday #10-20\t0:13 1:27\n"));
    assert_null(strstr(tables[0].bytes, "green day"));
    text_release(&tables[0]);
    text_release(&tables[1]);
}

/*
 * Ridge logistic regression beside another program's: scikit-learn 1.2.1, LogisticRegression(C=1/5, solver='lbfgs',
 * tol=1e-10) on one column for each word, divided by the root of how many the text has, and no offset; its
 * coefficients, and last its intercept.
 */
TEST(test_fitted_weights)
{
    static const struct {
        const char *text;
        bool spoilt;
    } TEXTS[] = {
        {"moss. wet. box", true},  {"moss. wet", true},  {"moss. lamp. wet", true},
        {"moss. box", false},      {"snow. box", false}, {"snow. lamp", false},
        {"snow. lamp. wet", true}, {"snow. box", false}, {"lamp. box", false},
    };
    static const struct {
        const char *row;
        double weight;
    } RIGHT[] = {{"\nbox\t", -0.1704},  {"\nlamp\t", 0.0018}, {"\nmoss\t", 0.1271},
                 {"\nsnow\t", -0.1094}, {"\nwet\t", 0.2506},  {"\ntotal\t", -0.2320}};
    enum { COUNT = sizeof TEXTS / sizeof *TEXTS };
    struct wordy *w = *state;
    struct word_counts *counts = word_counts_new(w->rules, LABELS_FINDINGS, 1);
    double even[COUNT] = {0};
    struct text table;

    for (size_t i = 0; i < COUNT; i++)
        word_counts_add(counts, TEXTS[i].text, strlen(TEXTS[i].text),
                        TEXTS[i].spoilt ? &w->spoilt : &w->sound, 1, i);
    w->rules->calibration.words.usual = 1;
    word_counts_fit(counts, even);
    w->rules->calibration.words.usual = 1e9;
    text_init(&table);
    word_counts_table(counts, SIZE_MAX, &table);
    for (size_t i = 0; i < sizeof RIGHT / sizeof *RIGHT; i++) {
        const char *row = strstr(table.bytes, RIGHT[i].row);
        assert_non_null(row);
        const char *weight = strchr(row + strlen(RIGHT[i].row), '\t');
        assert_non_null(weight);
        assert_true(fabs(strtod(weight, NULL) / 100 - RIGHT[i].weight) <= 0.006);
    }
    assert_non_null(strstr(table.bytes, "\nbox\t0:20 1:80\t"));
    text_clear(&table); /* the first text is a part of its own */
    word_counts_table(counts, 0, &table);
    assert_non_null(strstr(table.bytes, "\nbox\t1:80\t"));
    text_release(&table);
    word_counts_free(counts);
}

TEST(test_tables_that_are_none)
{
    static const char *const BAD[] = {
        "green\t0:1\n",
        "findings\tplain\nred\t0:1\n",
        "findings\tplain crust\ntotal\t5\n",
        "findings\tplain\ntotal\t5\nred\t0:1\ngreen\t0:1\n",
        "findings\tplain\ntotal\t5\nred\t0:1\nred\t0:1\n",
        "findings\tplain\ntotal\t5\nred\n",
    };
    for (size_t i = 0; i < sizeof BAD / sizeof *BAD; i++) {
        assert_null(by_file(*state, BAD[i]));
        assert_true(diags_get(((struct wordy *)*state)->diags, 0)->at.line > 0);
    }
    /* A finding the rules do not know is left out; no file at all is a table of no words. */
    struct wordy *w = *state;
    struct words *words = by_file(w, "# ours\nfindings\tplain nothing\ntotal\t5 5\nred\t0:1 1:4\n");
    assert_non_null(words);
    assert_int_equal(words_read(words, "tests/no-such-table.tsv", w->diags), STATUS_OK);
    double likelihood[8] = {1, 1};
    assert_int_equal(words_weigh(words, "blue", 4, likelihood, NULL, 0), 0);
    assert_true(likelihood[0] == 0 && likelihood[1] == 0);
    words_free(words);
}

int main(void)
{
    return tests_run("words", setup, teardown);
}
