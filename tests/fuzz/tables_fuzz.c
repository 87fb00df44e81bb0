/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A table of words from a stranger, over small rules; behind an empty line the description whose words
 * it weighs. Any table is read or refused, and one that is read moves a verdict no farther than the
 * calibration lets it.
 */
#include "language/words.h"

#include "support/fuzz.h"

static const struct word_calibration calibration = {.group_power = 0.5,
                                                    .finding_power = 0.2,
                                                    .usual = 20,
                                                    .status_prior = 0.5,
                                                    .finding_prior = 0.1,
                                                    .term_most = 1.5,
                                                    .most = 8};

static void hold_weights(const struct rules *rules, struct words *words, const char *text)
{
    double *likelihood = calloc(rules->finding_count, sizeof *likelihood);
    struct word_weight weights[WORD_WEIGHTS];
    hold(likelihood != NULL, "there is memory");
    size_t count = words_weigh(words, text, strlen(text), likelihood, weights, WORD_WEIGHTS);
    double high = -INFINITY;
    for (size_t f = 0; f < rules->finding_count; f++) {
        hold(likelihood[f] >= -calibration.most && likelihood[f] <= 0, "a text says no more");
        high = fmax(high, likelihood[f]);
    }
    hold(high == 0, "one finding is the likeliest");
    hold(count <= WORD_WEIGHTS, "no more weights than there is room for");
    for (size_t i = 0; i < count; i++) {
        hold(isfinite(weights[i].odds), "a weight is finite");
        hold(i == 0 || fabs(weights[i].odds) <= fabs(weights[i - 1].odds), "weights fall");
        hold(harmless(weights[i].words), "the words of a weight are safe to show");
    }
    free(likelihood);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct kit *c = small();
    c->rules->calibration.words = calibration;
    char *input = string_of(bytes, size), *gap = strstr(input, "\n\n");
    const char *text = gap != NULL ? gap + 2 : "day 12, red dust near the top, no blue";
    struct unsaved file;
    unsaved_open(&file, bytes, gap != NULL ? (size_t)(gap + 1 - input) : size);
    struct words *words = words_new(c->rules, LABELS_FINDINGS);
    enum status status = words_read(words, file.path, c->diags);
    hold(status == STATUS_OK || status == STATUS_DATA, "a table is read or refused");
    hold_diags(c->diags, status != STATUS_OK);
    diags_clear(c->diags);
    hold_diags(c->diags, words_check(words, c->diags) != STATUS_OK);
    diags_clear(c->diags);
    if (utf8_valid_prefix(text, strlen(text)) == strlen(text)) {
        hold_weights(c->rules, words, text);
        triage_weigh_words(c->triage, words);
        status = triage_tell(c->triage, text, strlen(text), c->diags);
        hold(status == STATUS_OK || status == STATUS_DATA, "a description is read or refused");
        hold_diags(c->diags, status != STATUS_OK);
        judge_and_hold(c);
        triage_weigh_words(c->triage, NULL);
    }
    words_free(words);
    unsaved_close(&file);
    free(input);
    return 0;
}
