/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/filing.h"
#include "base/memory.h"
#include "cli/app.h"
#include "cli/cli.h"
#include "review/learn.h"
#include "rules/cases.h"
#include "triage/score.h"
#include "view/screen.h"
#include "view/verdict.h"

/* ==== rules =================================================================================== */

/* ---- rules check ----------------------------------------------------------------------------- */

static enum status run_check(struct app *app)
{
    const struct arguments *arguments = &app->arguments;
    if (arguments->operand_count > 1)
        return app_usage(app, "one folder at a time");
    enum status status = app_load(app, arguments->operands, arguments->operand_count);
    if (status != STATUS_OK)
        return status;
    reader_check_patterns(app->reader, app->diags);
    if (diags_errors(app->diags) > 0)
        return STATUS_DATA;
    app_report(app); /* warnings, if any, are shown; they are no failure */
    return STATUS_OK;
}

const struct command command_rules_check = {
    .name = "rules check",
    .summary = "checks the rules; silent when all is well",
    .operands = "[DIR]",
    .detail =
        "Reads the shipped rules, your overlay and DIR, and names every fault with file, line "
        "and column. Changes nothing. Exit status 65 when there is a fault.",
    .run = run_check,
};

/* ---- rules test ------------------------------------------------------------------------------ */

struct testing {
    bool json, fit, all;
};
#define AT(member) .target = offsetof(struct testing, member)

static const struct option test_options[] = {
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {"fit", NULL, "find the power tau with the least log score and print it; nothing is written",
     OPTION_FLAG, AT(fit)},
    {"all", NULL, "list every case, not only those that fail", OPTION_FLAG, AT(all)},
    {0},
};
#undef AT

static void share_row(struct screen *screen, const char *label, size_t part, size_t whole)
{
    enum { LABEL_COLUMNS = 34 };
    char rest[64];
    snprintf(rest, sizeof rest, "%4zu of %4zu   %5.1f %%", part, whole,
             whole > 0 ? 100.0 * (double)part / (double)whole : 0.0);
    screen_row(screen, 0, LABEL_COLUMNS, label, rest);
}

static void show_calibration(struct screen *screen, const struct score *score)
{
    screen_heading(screen, "How sure it was, how often it was right");
    for (size_t b = 0; b < SCORE_BINS; b++) {
        const struct score_bin *bin = &score->bins[b];
        if (bin->count == 0)
            continue;
        char label[32], rest[96];
        snprintf(label, sizeof label, "%zu to %zu %%", b * 10, (b + 1) * 10);
        snprintf(rest, sizeof rest, "%4zu cases   said %5.1f %%   right %5.1f %%", bin->count,
                 100.0 * bin->confidence, 100.0 * bin->accuracy);
        screen_row(screen, 0, 14, label, rest);
    }
    screen_say(screen, 0, 0, ROLE_PLAIN, "expected calibration error %.3f",
               score->calibration_error);
    screen_say(screen, 0, 0, ROLE_PLAIN, "and of whether it is contaminated at all %.3f",
               score->contamination_error);
}

static bool failed(const struct score_row *row)
{
    return !row->finding_three || !row->action_right || (row->has_cause && !row->cause_three) ||
           row->unsafe_keep || row->needless_discard;
}

static void show_row(struct app *app, const struct score_row *row)
{
    struct text words;
    text_init(&words);
    text_printf(&words, "%s: %s, leads %s %.2f", row->labelled->id, action_name(row->action),
                app->rules->findings[row->leader].id, row->leader_p);
    if (row->unsafe_keep)
        text_puts(&words, "; UNSAFE KEEP");
    if (row->needless_discard)
        text_puts(&words, "; needless discard");
    if (!row->action_right)
        text_puts(&words, "; action not accepted");
    if (!row->finding_three)
        text_printf(&words, "; '%s' not among the first three",
                    app->rules->findings[row->labelled->findings[0]].id);
    else if (!row->finding_first)
        text_printf(&words, "; '%s' not first",
                    app->rules->findings[row->labelled->findings[0]].id);
    if (row->has_cause && !row->cause_three)
        text_printf(&words, "; cause '%s' not among the first three",
                    app->rules->causes[row->labelled->causes[0]].id);
    screen_say(&app->out, 0, 4, ROLE_PLAIN, "%s", words.bytes != NULL ? words.bytes : "");
    text_release(&words);
}

static void show_score(struct app *app, const struct score *score, bool all)
{
    struct screen *screen = &app->out;
    for (size_t i = 0; i < score->cases; i++)
        if (all || failed(&score->rows[i]))
            show_row(app, &score->rows[i]);
    if (score->cases > 0)
        screen_blank(screen);
    share_row(screen, "finding first", score->finding_first, score->cases);
    share_row(screen, "finding among the first three", score->finding_three, score->cases);
    share_row(screen, "cause among the first three", score->cause_three, score->caused);
    share_row(screen, "action accepted", score->action_right, score->cases);
    share_row(screen, "contaminated called keep", score->unsafe_keeps, score->cases - score->clean);
    share_row(screen, "clean discarded needlessly", score->needless_discards, score->clean);
    screen_say(screen, 0, 0, ROLE_PLAIN, "log score %.3f nats, Brier score %.3f", score->log_score,
               score->brier);
    if (!isnan(score->auc))
        screen_say(screen, 0, 0, ROLE_PLAIN, "AUC of contaminated or not %.3f", score->auc);
    show_calibration(screen, score);
}

static json_t *row_json(const struct rules *rules, const struct score_row *row)
{
    return json_pack("{s:s, s:s, s:s, s:f, s:f, s:b, s:b, s:b, s:b, s:b, s:b}", "id",
                     row->labelled->id, "action", action_name(row->action), "leader",
                     rules->findings[row->leader].id, "leader_p", row->leader_p, "labelled_p",
                     row->labelled_p, "finding_first", row->finding_first, "finding_three",
                     row->finding_three, "cause_three", row->cause_three || !row->has_cause,
                     "action_right", row->action_right, "unsafe_keep", row->unsafe_keep,
                     "needless_discard", row->needless_discard);
}

static json_t *rows_json(const struct rules *rules, const struct score *score)
{
    json_t *rows = json_array();
    for (size_t i = 0; i < score->cases; i++)
        json_array_append_new(rows, row_json(rules, &score->rows[i]));
    return rows;
}

static json_t *bins_json(const struct score *score)
{
    json_t *bins = json_array();
    for (size_t b = 0; b < SCORE_BINS; b++)
        json_array_append_new(bins, json_pack("{s:I, s:f, s:f}", "cases",
                                              (json_int_t)score->bins[b].count, "confidence",
                                              score->bins[b].confidence, "accuracy",
                                              score->bins[b].accuracy));
    return bins;
}

static json_t *score_json(const struct rules *rules, const struct score *score)
{
    return json_pack(
        "{s:i, s:I, s:I, s:I, s:I, s:I, s:I, s:I, s:I, s:I, s:f, s:f, s:f, s:f, s:o, s:o}",
        "schema", 1, "cases", (json_int_t)score->cases, "finding_first",
        (json_int_t)score->finding_first, "finding_three", (json_int_t)score->finding_three,
        "caused", (json_int_t)score->caused, "cause_three", (json_int_t)score->cause_three,
        "action_right", (json_int_t)score->action_right, "unsafe_keeps",
        (json_int_t)score->unsafe_keeps, "clean", (json_int_t)score->clean, "needless_discards",
        (json_int_t)score->needless_discards, "log_score", score->log_score, "brier", score->brier,
        "calibration_error", score->calibration_error, "contamination_error",
        score->contamination_error, "calibration", bins_json(score), "rows",
        rows_json(rules, score));
}

static enum status show_fit(struct app *app, const struct labelled_case *cases, size_t count)
{
    double tau = 1, log_score = 0;
    enum status status =
        score_fit_tau(app->triage, app->reasoner, cases, count, &tau, &log_score, app->diags);
    if (status != STATUS_OK)
        return status;
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               "tau %.3f gives the least log score, %.4f nats over %zu cases; the rules have %.3f",
               tau, log_score, count, app->rules->calibration.tau);
    return app_flush(app);
}

static enum status run_test(struct app *app)
{
    struct testing given = {0};
    const struct labelled_case *cases = NULL;
    size_t count = 0;
    struct score score;
    enum status status;

    if (app->arguments.operand_count > 1)
        return app_usage(app, "one file or folder of cases at a time");
    const char *path =
        app->arguments.operand_count == 0 ? corpus_find(app, "cases") : app->arguments.operands[0];
    if ((status = options_fill(app, &given)) || (status = app_load(app, NULL, 0)) ||
        (status = cases_load(path, app->rules, app->arena, &cases, &count, app->diags)))
        return status;
    if (given.fit)
        return show_fit(app, cases, count);
    if ((status = score_cases(app->triage, cases, count, app->arena, &score, app->diags)))
        return status;
    if (given.json) {
        status = app_json(app, score_json(app->rules, &score), false);
    } else {
        show_score(app, &score, given.all);
        status = app_flush(app);
    }
    /* No contaminated vessel is ever called keep. */
    return status == STATUS_OK && score.unsafe_keeps > 0 ? STATUS_CHECK : status;
}

const struct command command_rules_test = {
    .name = "rules test",
    .summary = "judges labelled cases and scores the verdicts",
    .operands = "[FILE-OR-DIR]",
    .detail = "Without an operand the shipped corpus is used. Lists the cases that fail, then the "
              "scores. Exit status 1 when a contaminated vessel was called keep.",
    .options = test_options,
    .run = run_test,
};

/* ---- rules words ----------------------------------------------------------------------------- */

struct wording {
    size_t least;
};

static const struct option words_options[] = {
    {"least", "N", "leave out what fewer than N texts say; else 2", OPTION_COUNT,
     .target = offsetof(struct wording, least), .low = 1, .high = 1000},
    {0},
};

static enum status run_words(struct app *app)
{
    struct wording given = {.least = 2};
    struct text table;
    enum status status;

    if (app->arguments.operand_count == 0)
        return app_usage(app, "name the folders or files of labelled cases to count");
    if ((status = options_fill(app, &given)) || (status = app_load(app, NULL, 0)))
        return status;
    struct word_counts *counts = word_counts_new(app->rules);
    for (size_t i = 0; i < app->arguments.operand_count && status == STATUS_OK; i++) {
        const struct labelled_case *cases = NULL;
        size_t count = 0;
        status = cases_load(app->arguments.operands[i], app->rules, app->arena, &cases, &count,
                            app->diags);
        for (size_t k = 0; k < count; k++)
            word_counts_add(counts, cases[k].text, strlen(cases[k].text), cases[k].findings,
                            cases[k].finding_count);
    }
    if (status == STATUS_OK) {
        text_init(&table);
        word_counts_table(counts, given.least, &table);
        status = app_write(app, "-", &table, false);
        text_release(&table);
    }
    word_counts_free(counts);
    return status;
}

const struct command command_rules_words = {
    .name = "rules words",
    .summary = "counts which words go with which finding in labelled cases",
    .operands = "FILE-OR-DIR...",
    .detail =
        "Prints the table that stands in words.tsv among the rules: how often each word, and each "
        "two that follow one another, went with each finding. The same cases give the same "
        "bytes. The shipped table is made by: jarside rules words corpus/voices corpus/cases "
        "corpus/cases-hard > rules/words.tsv",
    .options = words_options,
    .run = run_words,
};

/* ==== rules learn ============================================================================= */

/* Confirmed outcomes into the grower's own overlay: shown first, tried on the corpus, taken back. */

enum { SHIFTS_SHOWN = 12 };

/* A log score worse by less than this, in nats a case, is no news over a hundred cases. */
static const double WORSE_BY = 0.01;

struct lesson { /* what one call works with; texts in the arena */
    struct app *app;
    struct app after; /* the same rules with the lesson over them */
    struct learned learned;
    struct text yaml;
    struct score scores[2]; /* before, after */
    const char *file, *old; /* learned.yaml of the grower, and what was there before */
    bool apply, undo, even_if_worse, json;
};
#define AT(member) .target = offsetof(struct lesson, member)

static const struct option options[] = {
    {"apply", NULL, "write what was learned into your own rules", OPTION_FLAG, AT(apply)},
    {"undo", NULL, "take the last --apply back", OPTION_FLAG, AT(undo)},
    {"even-if-worse", NULL, "apply although the labelled cases come out worse", OPTION_FLAG,
     AT(even_if_worse)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};
#undef AT

/* ---- files ----------------------------------------------------------------------------------- */

static enum status write_whole(struct app *app, const char *path, const struct text *text)
{
    if (!filing_make_folders(path))
        return app_error(app, STATUS_IO, path, "its folder cannot be made");
    return filing_put(path, text, true, app->diags);
}

static enum status undo(struct lesson *lesson)
{
    struct app *app = lesson->app;
    bool had = access(lesson->file, F_OK) == 0, older = access(lesson->old, F_OK) == 0;
    if (!had)
        return app_usage(app, "nothing was learned yet: there is no %s", lesson->file);
    if ((older ? rename(lesson->old, lesson->file) : unlink(lesson->file)) != 0)
        return app_error(app, STATUS_IO, lesson->file, "cannot be taken back");
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               older ? "Taken back: %s is as it was before the last --apply."
                     : "Taken back: %s is gone; the shipped figures hold again.",
               lesson->file);
    return app_flush(app);
}

static enum status apply(struct lesson *lesson)
{
    if (access(lesson->file, F_OK) == 0 && rename(lesson->file, lesson->old) != 0)
        return app_error(lesson->app, STATUS_IO, lesson->file, "cannot be set aside");
    return write_whole(lesson->app, lesson->file, &lesson->yaml);
}

/* ---- before and after ------------------------------------------------------------------------ */

/* Loads the rules once more, with the lesson over them. */
static enum status load_after(struct lesson *lesson)
{
    struct app *app = lesson->app;
    const char *temporary = getenv("TMPDIR");
    char *folder = arena_format(app->arena, "%s/jarside-learn-XXXXXX",
                                temporary != NULL && temporary[0] == '/' ? temporary : "/tmp");
    lesson->after = *app;
    lesson->after.rules = NULL;
    lesson->after.reader = NULL;
    lesson->after.reasoner = NULL;
    lesson->after.triage = NULL;
    lesson->after.words = NULL;
    if (mkdtemp(folder) == NULL)
        return app_error(app, STATUS_IO, folder, "a folder for a trial cannot be made");
    const char *more[] = {folder}, *file = arena_format(app->arena, "%s/learned.yaml", folder);
    enum status status = write_whole(app, file, &lesson->yaml);
    if (status == STATUS_OK)
        status = app_load(&lesson->after, more, 1);
    unlink(file);
    rmdir(folder);
    return status;
}

static enum status score_both(struct lesson *lesson)
{
    const struct app *apps[] = {lesson->app, &lesson->after};
    struct app *app = lesson->app;
    const char *path = corpus_find(app, "cases");
    for (size_t i = 0; i < 2; i++) {
        const struct labelled_case *cases = NULL;
        size_t count = 0;
        enum status status;
        if ((status = cases_load(path, apps[i]->rules, app->arena, &cases, &count, app->diags)) ||
            (status = score_cases(apps[i]->triage, cases, count, app->arena, &lesson->scores[i],
                                  app->diags)))
            return status;
    }
    return STATUS_OK;
}

static bool unsafe(const struct lesson *lesson)
{
    return lesson->scores[1].unsafe_keeps > 0;
}

static bool worse(const struct lesson *lesson)
{
    const struct score *before = &lesson->scores[0], *after = &lesson->scores[1];
    return after->log_score > before->log_score + WORSE_BY ||
           after->action_right < before->action_right ||
           after->needless_discards > before->needless_discards ||
           after->unsafe_keeps > before->unsafe_keeps;
}

/* ---- showing it ------------------------------------------------------------------------------ */

struct shift { /* of one figure */
    const struct learned_sign *sign;
    size_t value;
    double before, after;
};

static double figure(const struct reasoner *reasoner, const struct learned_sign *sign, size_t value)
{
    return reasoner_likelihood(reasoner, NULL, sign->observable, value, sign->finding, 0);
}

static int by_size(const void *a, const void *b)
{
    const struct shift *left = a, *right = b;
    double x = fabs(left->after - left->before), y = fabs(right->after - right->before);
    return (x < y) - (x > y);
}

static void show_shift(struct lesson *lesson, struct table *table, const struct shift *shift)
{
    const struct rules *rules = lesson->app->rules;
    const struct observable *observable = &rules->observables[shift->sign->observable];
    char seen[48], before[PERCENT_ROOM], after[PERCENT_ROOM];
    snprintf(seen, sizeof seen, "%.0f of %.0f", shift->sign->seen[shift->value],
             shift->sign->of[shift->value]);
    const char *const cells[] = {
        rules->findings[shift->sign->finding].name,
        arena_format(lesson->app->arena, "%s: %s", observable->label,
                     observable->values[shift->value].label),
        seen,
        view_percent(shift->before, before),
        view_percent(shift->after, after),
    };
    table_row(table, cells);
}

static void show_shifts(struct lesson *lesson)
{
    static const char *const headings[] = {"finding", "sign", "yours", "was", "becomes"};
    const struct learned *learned = &lesson->learned;
    struct screen *screen = &lesson->app->out;
    struct shift *shifts =
        arena_array(lesson->app->arena, learned->sign_count * RULES_MAX_VALUES, sizeof *shifts);
    struct table table;
    size_t count = 0;
    for (size_t i = 0; i < learned->sign_count; i++) {
        const struct learned_sign *sign = &learned->signs[i];
        for (size_t v = 0; v < lesson->app->rules->observables[sign->observable].value_count; v++)
            if (sign->of[v] > 0)
                shifts[count++] = (struct shift){sign, v, figure(lesson->app->reasoner, sign, v),
                                                 figure(lesson->after.reasoner, sign, v)};
    }
    if (count == 0)
        return;
    qsort(shifts, count, sizeof *shifts, by_size);
    screen_heading(screen, "What moves most");
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, lesson->app->arena);
    for (size_t i = 0; i < count && i < SHIFTS_SHOWN; i++)
        show_shift(lesson, &table, &shifts[i]);
    table_show(&table, screen);
    if (count > SHIFTS_SHOWN)
        screen_say(screen, 0, 0, ROLE_QUIET, "and %zu more figures, by less.",
                   count - SHIFTS_SHOWN);
}

static void show_causes(struct lesson *lesson)
{
    static const char *const headings[] = {"cause", "yours", "was", "becomes"};
    const struct learned *learned = &lesson->learned;
    struct screen *screen = &lesson->app->out;
    struct table table;
    if (learned->cause_count == 0)
        return;
    screen_heading(screen, "Causes, before anything is seen");
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, lesson->app->arena);
    for (size_t i = 0; i < learned->cause_count; i++) {
        const struct learned_cause *own = &learned->causes[i];
        const struct cause *cause = &lesson->app->rules->causes[own->cause];
        char before[PERCENT_ROOM], after[PERCENT_ROOM];
        double becomes =
            (learned->strength * cause->prior + own->seen) / (learned->strength + own->of);
        const char *const cells[] = {
            cause->name,
            arena_format(lesson->app->arena, "%.0f of %.0f", own->seen, own->of),
            view_percent(cause->prior, before),
            view_percent(becomes, after),
        };
        if (own->seen > 0)
            table_row(&table, cells);
    }
    table_show(&table, screen);
    screen_say(screen, 0, 0, ROLE_QUIET, "Every other cause becomes a little less likely.");
}

static void score_row(struct lesson *lesson, struct table *table, const char *what, size_t before,
                      size_t after, size_t of)
{
    const char *const cells[] = {what, arena_format(lesson->app->arena, "%zu of %zu", before, of),
                                 arena_format(lesson->app->arena, "%zu of %zu", after, of)};
    table_row(table, cells);
}

static void show_scores(struct lesson *lesson)
{
    static const char *const headings[] = {"labelled cases", "now", "with it"};
    const struct score *before = &lesson->scores[0], *after = &lesson->scores[1];
    struct screen *screen = &lesson->app->out;
    struct table table;
    screen_heading(screen, "What it does to the labelled cases");
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, lesson->app->arena);
    score_row(lesson, &table, "finding first", before->finding_first, after->finding_first,
              before->cases);
    score_row(lesson, &table, "action accepted", before->action_right, after->action_right,
              before->cases);
    score_row(lesson, &table, "contaminated called keep", before->unsafe_keeps, after->unsafe_keeps,
              before->cases - before->clean);
    score_row(lesson, &table, "clean discarded needlessly", before->needless_discards,
              after->needless_discards, before->clean);
    const char *const cells[] = {"log score, nats; less is better",
                                 arena_format(lesson->app->arena, "%.4f", before->log_score),
                                 arena_format(lesson->app->arena, "%.4f", after->log_score)};
    table_row(&table, cells);
    table_show(&table, screen);
}

static void show(struct lesson *lesson)
{
    struct screen *screen = &lesson->app->out;
    screen_say(
        screen, 0, 0, ROLE_PLAIN,
        "%.0f vessels with a confirmed outcome. They are added to the shipped figures, which "
        "count as %.0f vessels each.",
        lesson->learned.vessels, lesson->learned.strength);
    show_shifts(lesson);
    show_causes(lesson);
    show_scores(lesson);
    screen_blank(screen);
    if (unsafe(lesson))
        screen_say(screen, 0, 0, ROLE_WARN,
                   "With it a contaminated vessel would be called keep. It cannot be applied.");
    else if (worse(lesson))
        screen_say(screen, 0, 0, ROLE_WARN,
                   "The labelled cases come out worse. --apply --even-if-worse applies it "
                   "nevertheless.");
    else if (!lesson->apply)
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing was changed. --apply writes it.");
}

static json_t *brief_score_json(const struct score *score)
{
    return json_pack("{s:I, s:I, s:I, s:I, s:I, s:f}", "cases", (json_int_t)score->cases,
                     "finding_first", (json_int_t)score->finding_first, "action_right",
                     (json_int_t)score->action_right, "unsafe_keeps",
                     (json_int_t)score->unsafe_keeps, "needless_discards",
                     (json_int_t)score->needless_discards, "log_score", score->log_score);
}

static json_t *lesson_json(const struct lesson *lesson, bool applied)
{
    return json_pack("{s:i, s:f, s:f, s:s, s:o?, s:o?, s:b, s:b, s:b}", "schema", 1, "vessels",
                     lesson->learned.vessels, "strength", lesson->learned.strength, "file",
                     lesson->file, "before", brief_score_json(&lesson->scores[0]), "after",
                     brief_score_json(&lesson->scores[1]), "worse", worse(lesson), "unsafe",
                     unsafe(lesson), "applied", applied);
}

/* ---- the command ----------------------------------------------------------------------------- */

static enum status study(struct lesson *lesson)
{
    char day[MOMENT_ROOM];
    struct app *app = lesson->app;
    enum status status =
        learn_count(app->journal, app->rules, app->arena, &lesson->learned, app->diags);
    if (status != STATUS_OK)
        return status;
    if (lesson->learned.vessels <= 0)
        return app_usage(app, "no vessel has a confirmed outcome yet; 'jarside confirm LABEL "
                              "FINDING' records what one turned out to be");
    learn_write(&lesson->learned, app->rules, moment_write_day(moment_now(), day), &lesson->yaml);
    status = load_after(lesson);
    return status == STATUS_OK ? score_both(lesson) : status;
}

static enum status conclude(struct lesson *lesson)
{
    struct app *app = lesson->app;
    bool may = !unsafe(lesson) && (!worse(lesson) || lesson->even_if_worse);
    bool applies = lesson->apply && may;
    enum status status = applies ? apply(lesson) : STATUS_OK;
    if (status != STATUS_OK)
        return status;
    if (lesson->json) {
        status = app_json(app, lesson_json(lesson, applies), false);
    } else {
        show(lesson);
        if (applies)
            screen_say(&app->out, 0, 0, ROLE_PLAIN,
                       "Written to %s. 'jarside rules learn --undo' takes it back.", lesson->file);
        status = app_flush(app);
    }
    return status == STATUS_OK && lesson->apply && !may ? STATUS_CHECK : status;
}

static enum status run_learn(struct app *app)
{
    struct lesson lesson = {.app = app};
    enum status status = options_fill(app, &lesson);
    if (status != STATUS_OK)
        return status;
    if (app->arguments.operand_count > 0)
        return app_usage(app, "'rules learn' takes no words; it reads the journal");
    char *overlay = rules_overlay_path();
    if (overlay == NULL)
        return app_usage(app, "no home folder to keep your own rules in");
    lesson.file = arena_format(app->arena, "%s/learned.yaml", overlay);
    /* Its name does not end in .yaml: it is not read as a rule. */
    lesson.old = arena_format(app->arena, "%s/learned.before", overlay);
    free(overlay);
    if (lesson.undo)
        return undo(&lesson);
    text_init(&lesson.yaml);
    if ((status = app_load(app, NULL, 0)) == STATUS_OK &&
        (status = app_journal(app, JOURNAL_READ)) == STATUS_OK &&
        (status = study(&lesson)) == STATUS_OK)
        status = conclude(&lesson);
    triage_free(lesson.after.triage);
    words_free(lesson.after.words);
    reasoner_free(lesson.after.reasoner);
    reader_free(lesson.after.reader);
    rules_free(lesson.after.rules);
    text_release(&lesson.yaml);
    return status;
}

const struct command command_rules_learn = {
    .name = "rules learn",
    .summary = "adds your confirmed outcomes to the frequencies; shows first, can be undone",
    .detail =
        "Counts what 'confirm' recorded, shows which figures would move and what that does to "
        "the labelled cases, and changes nothing. --apply writes the counts into a file of "
        "their own among your rules; --undo takes the last one back.",
    .options = options,
    .run = run_learn,
};
