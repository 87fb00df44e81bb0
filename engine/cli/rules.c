/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/filing.h"
#include "cli/app.h"
#include "review/review.h"
#include "rules/rules.h"
#include "triage/score.h"

/* ---- rules check ----------------------------------------------------------------------------- */

static enum status run_check(struct app *app)
{
    app_must(app, app_load(app, app->operands, app->operand_count));
    app_compile(app);
    struct words *causes = words_new(app->rules, LABELS_CAUSES);
    app_must(app, words_check(app->words, app->diags));
    app_must(app, app_read_words(app, causes, "cause-words.tsv"));
    app_must(app, words_check(causes, app->diags));
    words_free(causes);
    reader_check_patterns(app->reader, app->diags);
    if (diags_errors(app->diags) > 0)
        return STATUS_DATA;
    app_report(app); /* warnings, if any, are shown; they are no failure */
    return STATUS_OK;
}

/* ---- rules test ------------------------------------------------------------------------------ */

/* The labelled cases of a file or folder, in the arena; how many. */
static size_t load_cases(struct app *app, const char *path, const struct labelled_case **cases)
{
    size_t count = 0;
    app_must(app, cases_load(path, app->rules, app->arena, cases, &count, app->diags));
    return count;
}

/* What is counted of a score, of how many. */
static const struct share {
    const char *label;
    size_t part;
    enum { OF_ALL, OF_CAUSED, OF_CLEAN, OF_CONTAMINATED } whole;
    bool learned; /* is compared before and after a lesson */
} shares[] = {
    {"finding first", offsetof(struct score, finding_first), OF_ALL, true},
    {"finding among the first three", offsetof(struct score, finding_three), OF_ALL, false},
    {"cause among the first three", offsetof(struct score, cause_three), OF_CAUSED, false},
    {"action accepted", offsetof(struct score, action_right), OF_ALL, true},
    {"contaminated called keep", offsetof(struct score, unsafe_keeps), OF_CONTAMINATED, true},
    {"clean discarded needlessly", offsetof(struct score, needless_discards), OF_CLEAN, true},
};
enum { SHARES = sizeof shares / sizeof *shares };

static size_t share_part(const struct score *score, const struct share *share)
{
    return *(const size_t *)(const void *)((const char *)score + share->part);
}

static size_t share_whole(const struct score *score, const struct share *share)
{
    return share->whole == OF_ALL      ? score->cases
           : share->whole == OF_CAUSED ? score->caused
           : share->whole == OF_CLEAN  ? score->clean
                                       : score->cases - score->clean;
}

static json_t *figures_json(const struct score *score)
{
    return view_json(
        "cases:z finding_first:z finding_three:z caused:z cause_three:z action_right:z "
        "unsafe_keeps:z clean:z needless_discards:z log_score:n brier:n "
        "calibration_error:n auc:n contamination_error:n",
        score->cases, score->finding_first, score->finding_three, score->caused, score->cause_three,
        score->action_right, score->unsafe_keeps, score->clean, score->needless_discards,
        score->log_score, score->brier, score->calibration_error, score->auc,
        score->contamination_error);
}

static json_t *score_json(const struct rules *rules, const struct score *score, bool all)
{
    json_t *rows = json_array();
    for (size_t i = 0; i < score->cases; i++) {
        const struct score_row *row = &score->rows[i];
        const struct labelled_case *of = row->labelled;
        bool cause = row->cause_three || !row->has_cause;
        bool failed = !row->finding_three || !row->action_right || !cause || row->unsafe_keep ||
                      row->needless_discard;
        view_json_row(rows,
                      "id:s action:s leader:s leader_p:n labelled_p:n finding_first:b "
                      "finding_three:b cause_three:b action_right:b unsafe_keep:b "
                      "needless_discard:b _shown:b _finding:s _cause:s",
                      of->id, action_name(row->action), rules->findings[row->leader].id,
                      row->leader_p, row->labelled_p, row->finding_first, row->finding_three, cause,
                      row->action_right, row->unsafe_keep, row->needless_discard, all || failed,
                      rules->findings[of->findings[0]].id,
                      row->has_cause ? rules->causes[of->causes[0]].id : "");
    }
    json_t *bins = view_json_rows(b, SCORE_BINS, "cases:z confidence:n accuracy:n _from:z _to:z",
                                  score->bins[b].count, score->bins[b].confidence,
                                  score->bins[b].accuracy, 10 * b, 10 * (b + 1));
    json_t *counts = view_json_rows(i, SHARES, "label:s part:z whole:z share:n", shares[i].label,
                                    share_part(score, &shares[i]), share_whole(score, &shares[i]),
                                    (double)share_part(score, &shares[i]) /
                                        fmax(1.0, (double)share_whole(score, &shares[i])));
    json_t *json = figures_json(score);
    view_json_add(json, "schema:i calibration:o rows:o _counts:o", 1, bins, rows, counts);
    return json;
}

static enum status run_test(struct app *app)
{
    const struct labelled_case *cases = NULL;
    const char *path = app->operand_count == 0 ? corpus_find(app, "cases") : app->operands[0];
    const size_t count = load_cases(app, path, &cases);
    struct score score;
    double tau = 1, log_score = 0;

    if (app->given.fit) {
        app_must(app, score_fit_tau(app->triage, app->reasoner, cases, count, &tau, &log_score,
                                    app->diags));
        app_say(app,
                "tau %.3f gives the lowest log score, %.4f nats over %zu cases; the rules have "
                "%.3f",
                tau, log_score, count, app->rules->calibration.tau);
        return app_flush(app);
    }
    app_must(app, score_cases(app->triage, cases, count, app->arena, &score, app->diags));
    app_must(app, app_tell(app, "score", score_json(app->rules, &score, app->given.all)));
    /* No contaminated vessel is ever called keep. */
    return score.unsafe_keeps > 0 ? STATUS_CHECK : STATUS_OK;
}

/* ---- rules words ----------------------------------------------------------------------------- */

/* What is counted, put together: files in turn belong to one of so many parts. */
enum { WORD_PARTS = 5 };

struct labelled_texts {
    const struct labelled_case *cases;
    size_t *part;
    size_t count;
};

static struct labelled_texts load_texts(struct app *app)
{
    struct labelled_texts texts = {0};
    struct labelled_case *all = NULL;
    const char *file = "";
    size_t files = 0, parts = 0;
    for (size_t i = 0; i < app->operand_count; i++) {
        const struct labelled_case *cases = NULL;
        const size_t count = load_cases(app, app->operands[i], &cases);
        for (size_t k = 0; k < count; k++) {
            files += strcmp(file, cases[k].at.file) != 0;
            file = cases[k].at.file;
            *arena_push(app->arena, all, texts.count) = cases[k];
            *arena_push(app->arena, texts.part, parts) = files % WORD_PARTS;
        }
    }
    texts.cases = all;
    return texts;
}

/* Whether all labels say that it is contaminated, or all that it is not. */
static bool labels_agree(const struct rules *rules, const struct labelled_case *of)
{
    size_t contaminated = 0;
    for (size_t i = 0; i < of->finding_count; i++)
        contaminated += rules->findings[of->findings[i]].status == FINDING_CONTAMINATED;
    return contaminated == of->finding_count || contaminated == 0;
}

/* Fits the weights of words to what the rest leaves wrong. Each part of the texts is judged with
 * words counted in the other parts, as strangers' texts are. */
static void fit_words(struct app *app, struct word_counts *counts,
                      const struct labelled_texts *texts)
{
    double *log_odds = arena_array(app->arena, texts->count, sizeof *log_odds);
    for (size_t part = 0; part < WORD_PARTS; part++) {
        struct words *others = words_new(app->rules, LABELS_FINDINGS);
        TEXT(table);
        word_counts_table(counts, part, &table);
        app_must(app, words_take(others, "words", table.bytes, table.length, app->diags));
        triage_weigh_words(app->triage, others);
        for (size_t i = 0; i < texts->count; i++) {
            if (texts->part[i] != part)
                continue;
            triage_reset(app->triage);
            app_must(app, triage_case(app->triage, &texts->cases[i], app->diags));
            const double p = triage_judge_briefly(app->triage)->status[FINDING_CONTAMINATED];
            log_odds[i] = labels_agree(app->rules, &texts->cases[i]) ? log(p / (1 - p)) : NAN;
        }
        triage_weigh_words(app->triage, app->words);
        words_free(others);
    }
    word_counts_fit(counts, log_odds);
}

static enum status run_words(struct app *app)
{
    const bool causes = app->given.causes;
    struct word_counts *counts =
        word_counts_new(app->rules, causes ? LABELS_CAUSES : LABELS_FINDINGS, app->given.least);
    const struct labelled_texts texts = load_texts(app);
    struct arena *scratch SCOPED_ARENA = arena_new();

    for (size_t i = 0; i < texts.count; i++) {
        const struct labelled_case *of = &texts.cases[i];
        const size_t length = strlen(of->text);
        struct reading_list list;
        if (causes) { /* what is said of other vessels tells of a batch, too */
            word_counts_add(counts, of->text, length, of->causes, of->cause_count, texts.part[i]);
            continue;
        }
        arena_reset(scratch);
        app_must(app, reader_read(app->reader, of->text, length, scratch, &list, app->diags));
        word_counts_add(counts, reader_own_words(&list, length, true, scratch), length,
                        of->findings, of->finding_count, texts.part[i]);
    }
    if (!causes)
        fit_words(app, counts, &texts);
    TEXT(table);
    word_counts_table(counts, SIZE_MAX, &table);
    word_counts_free(counts);
    app_write(app, "-", &table, false);
    return STATUS_OK;
}

/* ==== rules learn ============================================================================= */

/* Confirmed outcomes into the grower's own overlay: shown first, tried, taken back. */

struct lesson {       /* what one call works with; texts in the arena */
    struct app after; /* the same rules with the lesson over them */
    struct learned learned;
    struct text yaml;
    struct score scores[2]; /* before, after */
    bool worse, unsafe;
};

/* Takes back what --apply wrote: what was there before comes back, where something was. */
static enum status undo(struct app *app, const char *file, const char *kept)
{
    bool older = access(kept, F_OK) == 0;
    if (access(file, F_OK) != 0)
        app_stop(app, "nothing was learned yet: there is no %s", file);
    if ((older ? rename(kept, file) : unlink(file)) != 0)
        app_fail(app, file, "cannot be taken back");
    app_say(app,
            older ? "Taken back: %s is as it was before the last --apply."
                  : "Taken back: %s is gone; the shipped figures apply again.",
            file);
    return app_flush(app);
}

/* Loads the rules once more, with the lesson over them, from a folder of its own for that time, and
 * judges the labelled cases by both. */
static void compare(struct app *app, struct lesson *lesson)
{
    /* A log score worse by less than this, in nats a case, is no news over a hundred cases. */
    static const double worse_by = 0.01;
    const struct score *before = &lesson->scores[0], *after = &lesson->scores[1];
    struct app *apps[] = {app, &lesson->after};
    const char *base = getenv("TMPDIR"), *path = corpus_find(app, "cases");
    char *folder = arena_format(app->arena, "%s/jarside-XXXXXX",
                                base != NULL && base[0] == '/' ? base : "/tmp");
    const char *more[] = {folder};

    if (mkdtemp(folder) == NULL)
        app_fail(app, folder, "cannot be made: %s", strerror(errno));
    app->temporary = arena_format(app->arena, "%s/learned.yaml", folder);
    app_must(app, filing_put(app->temporary, &lesson->yaml, true, app->diags));
    lesson->after = (struct app){
        .given = app->given, .diags = app->diags, .arena = app->arena, .command = app->command};
    app_must(app, app_load(&lesson->after, more, 1));
    app_compile(&lesson->after);
    app_remove_temporary(app);
    for (size_t i = 0; i < 2; i++) {
        const struct labelled_case *cases = NULL;
        size_t count = load_cases(apps[i], path, &cases);
        app_must(app, score_cases(apps[i]->triage, cases, count, app->arena, &lesson->scores[i],
                                  app->diags));
    }
    lesson->unsafe = after->unsafe_keeps > 0;
    lesson->worse = after->log_score > before->log_score + worse_by ||
                    after->action_right < before->action_right ||
                    after->needless_discards > before->needless_discards ||
                    after->unsafe_keeps > before->unsafe_keeps;
}

struct shift { /* of one figure */
    const struct learned_sign *sign;
    size_t value;
    double before, after;
};

static int by_size(const void *a, const void *b)
{
    const struct shift *left = a, *right = b;
    double x = fabs(left->after - left->before), y = fabs(right->after - right->before);
    return ORDER(y, x);
}

static json_t *shifts_json(struct app *app, const struct lesson *lesson)
{
    const struct rules *rules = app->rules;
    struct shift *shifts = NULL;
    json_t *rows = json_array();
    size_t count = 0;
    for (size_t i = 0; i < lesson->learned.sign_count; i++) {
        const struct learned_sign *sign = &lesson->learned.signs[i];
        size_t o = sign->observable;
        for (size_t v = 0; v < rules->observables[o].value_count; v++)
            if (sign->of[v] > 0)
                *arena_push(app->arena, shifts, count) = (struct shift){
                    sign, v, reasoner_likelihood(app->reasoner, NULL, o, v, sign->finding, 0),
                    reasoner_likelihood(lesson->after.reasoner, NULL, o, v, sign->finding, 0)};
    }
    array_sort(shifts, count, by_size);
    for (size_t i = 0; i < count; i++) {
        const struct learned_sign *sign = shifts[i].sign;
        const struct observable *observable = &rules->observables[sign->observable];
        view_json_row(rows, "finding:s sign:s value:s seen:n of:n was:n becomes:n",
                      rules->findings[sign->finding].name, observable->label,
                      observable->values[shifts[i].value].label, sign->seen[shifts[i].value],
                      sign->of[shifts[i].value], shifts[i].before, shifts[i].after);
    }
    return rows;
}

static json_t *lesson_json(struct app *app, const struct lesson *lesson, const char *file,
                           bool applied)
{
    enum { SHOWN = 12 };
    const struct learned *learned = &lesson->learned;
    json_t *shifts = shifts_json(app, lesson), *causes = json_array(), *scores = json_array();
    size_t count = json_array_size(shifts);
    for (size_t i = 0; i < learned->cause_count; i++) {
        const struct learned_cause *own = &learned->causes[i];
        const struct cause *cause = &app->rules->causes[own->cause];
        if (own->seen > 0)
            view_json_row(causes, "cause:s seen:n of:n was:n becomes:n", cause->name, own->seen,
                          own->of, cause->prior,
                          (learned->strength * cause->prior + own->seen) /
                              (learned->strength + own->of));
    }
    for (size_t i = 0; i < SHARES; i++)
        if (shares[i].learned)
            view_json_row(scores, "label:s now:z with:z whole:z", shares[i].label,
                          share_part(&lesson->scores[0], &shares[i]),
                          share_part(&lesson->scores[1], &shares[i]),
                          share_whole(&lesson->scores[0], &shares[i]));
    view_json_row(scores, "label:s now:n with:n", "log score, nats; lower is better",
                  lesson->scores[0].log_score, lesson->scores[1].log_score);
    json_t *first = view_json_first(shifts, "of", -1.0, SHOWN);
    json_decref(shifts);
    return view_json("schema:i vessels:n strength:n file:s before:o after:o worse:b unsafe:b "
                     "applied:b _shifts:o _more:z _causes:o _learned:b _scores:o _only_shown:b",
                     1, learned->vessels, learned->strength, file, figures_json(&lesson->scores[0]),
                     figures_json(&lesson->scores[1]), lesson->worse, lesson->unsafe, applied,
                     first, count > SHOWN ? count - SHOWN : 0, causes, learned->cause_count > 0,
                     scores, !app->given.apply);
}

static enum status run_learn(struct app *app)
{
    struct lesson lesson = {.worse = false};
    const struct given *given = &app->given;
    char day[MOMENT_ROOM], *overlay = rules_overlay_path();
    if (overlay == NULL)
        app_stop(app, "no home folder to keep your own rules in");
    const char *file = arena_format(app->arena, "%s/learned.yaml", overlay);
    /* Its name does not end in .yaml: it is not read as a rule. */
    const char *kept = arena_format(app->arena, "%s/learned.before", overlay);
    free(overlay);
    if (given->undo)
        return undo(app, file, kept);
    app_open(app, JOURNAL_READ);
    (void)learn_count(app->journal, app->rules, app->arena, &lesson.learned);
    if (lesson.learned.vessels <= 0)
        app_stop(app, "no vessel has a confirmed outcome yet; 'jarside confirm LABEL FINDING' "
                      "records what one turned out to be");
    app_compile(app);
    text_init(&lesson.yaml);
    learn_write(&lesson.learned, app->rules, moment_write_day(moment_now(), day), &lesson.yaml);
    compare(app, &lesson);
    bool may = !lesson.unsafe && (!lesson.worse || given->even_if_worse);
    bool applies = given->apply && may;
    if (applies && access(file, F_OK) == 0 && rename(file, kept) != 0)
        app_fail(app, file, "cannot be set aside");
    if (applies)
        app_keep(app, file, &lesson.yaml);
    text_release(&lesson.yaml);
    app_must(app, app_tell(app, "learned", lesson_json(app, &lesson, file, applies)));
    app_release_rules(&lesson.after);
    return given->apply && !may ? STATUS_CHECK : STATUS_OK;
}

const struct command rules_commands[] = {
    {"rules check", run_check, .wrong = "one folder at a time"},
    {"rules test", run_test, NEEDS_RULES, .wrong = "one file or folder of cases at a time",
     .json = true, .judges = true},
    {"rules words", run_words, NEEDS_RULES,
     .wrong = "name the folders or files of labelled cases to count", .judges = true},
    {"rules learn", run_learn, .wrong = "'rules learn' reads the journal", .json = true},
    {0},
};
