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

static const struct option test_options[] = {
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {"fit", NULL, "find the power tau with the least log score and print it; nothing is written",
     .kind = OPTION_FLAG},
    {"all", NULL, "list every case, not only those that fail", .kind = OPTION_FLAG},
    {0},
};

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

static void show_score(struct app *app, const struct score *score)
{
    struct screen *screen = &app->out;
    bool all = arguments_flag(&app->arguments, "all");
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
        rows = view_json_append(rows, row_json(rules, &score->rows[i]));
    return rows;
}

static json_t *bins_json(const struct score *score)
{
    json_t *bins = json_array();
    for (size_t b = 0; b < SCORE_BINS; b++)
        bins = view_json_append(bins, json_pack("{s:I, s:f, s:f}", "cases",
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

/* The mission's own bar: no contaminated vessel is ever called keep. */
static enum status verdict_on(const struct score *score)
{
    return score->unsafe_keeps > 0 ? STATUS_CHECK : STATUS_OK;
}

static enum status test_cases(struct app *app, const char *path, struct arena *arena)
{
    const struct labelled_case *cases = NULL;
    size_t count = 0;
    struct score score;
    enum status status = cases_load(path, app->rules, arena, &cases, &count, app->diags);
    if (status != STATUS_OK)
        return status;
    if (arguments_flag(&app->arguments, "fit"))
        return show_fit(app, cases, count);
    status = score_cases(app->triage, cases, count, arena, &score, app->diags);
    if (status != STATUS_OK)
        return status;
    enum status fault = STATUS_OK;
    if (arguments_flag(&app->arguments, "json")) {
        fault = app_json(app, score_json(app->rules, &score), false);
    } else {
        show_score(app, &score);
        fault = app_flush(app);
    }
    return fault != STATUS_OK ? fault : verdict_on(&score);
}

static enum status run_test(struct app *app)
{
    if (app->arguments.operand_count > 1)
        return app_usage(app, "one file or folder of cases at a time");
    enum status status = app_load(app, NULL, 0);
    if (status != STATUS_OK)
        return status;
    char *found = app->arguments.operand_count == 0 ? corpus_find("cases") : NULL;
    const char *path = found != NULL ? found : app->arguments.operands[0];
    struct arena *arena = arena_new();
    status = path != NULL && arena != NULL ? test_cases(app, path, arena) : STATUS_MEMORY;
    arena_free(arena);
    free(found);
    return status;
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

/* ==== rules learn ============================================================================= */

/* Confirmed outcomes into the grower's own overlay: shown first, tried on the corpus, taken back. */

enum { SHIFTS_SHOWN = 12 };

/* A log score worse by less than this, in nats a case, is no news over a hundred cases. */
static const double WORSE_BY = 0.01;

static const struct option options[] = {
    {"apply", NULL, "write what was learned into your own rules", .kind = OPTION_FLAG},
    {"undo", NULL, "take the last --apply back", .kind = OPTION_FLAG},
    {"even-if-worse", NULL, "apply although the labelled cases come out worse",
     .kind = OPTION_FLAG},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

struct lesson { /* what one call works with; everything in the arena but the two apps */
    struct app *app;
    struct app after; /* the same rules with the lesson over them */
    struct arena *arena;
    struct learned learned;
    struct text yaml;
    struct score scores[2];     /* before, after */
    char *overlay, *file, *old; /* the folder, learned.yaml in it, and what was there before */
};

/* ---- files ----------------------------------------------------------------------------------- */

static char *path_in(const struct lesson *lesson, const char *name)
{
    return arena_format(lesson->arena, "%s/%s", lesson->overlay, name);
}

static bool find_places(struct lesson *lesson)
{
    char *overlay = rules_overlay_path();
    lesson->overlay = overlay != NULL ? arena_string(lesson->arena, overlay) : NULL;
    free(overlay);
    if (lesson->overlay == NULL)
        return false;
    lesson->file = path_in(lesson, "learned.yaml");
    lesson->old = path_in(lesson, "learned.before"); /* no .yaml: it is not read as a rule */
    return lesson->file != NULL && lesson->old != NULL;
}

static enum status write_whole(const char *path, const struct text *text, struct diags *diags)
{
    if (!filing_make_folders(path)) {
        diags_error(diags, (struct position){.file = path}, "its folder cannot be made");
        return STATUS_IO;
    }
    return filing_put(path, text, true, diags);
}

static enum status undo(struct lesson *lesson)
{
    struct app *app = lesson->app;
    bool had = access(lesson->file, F_OK) == 0, older = access(lesson->old, F_OK) == 0;
    if (!had)
        return app_usage(app, "nothing was learned yet: there is no %s", lesson->file);
    if ((older ? rename(lesson->old, lesson->file) : unlink(lesson->file)) != 0) {
        diags_error(app->diags, (struct position){.file = lesson->file}, "cannot be taken back");
        return STATUS_IO;
    }
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               older ? "Taken back: %s is as it was before the last --apply."
                     : "Taken back: %s is gone; the shipped figures hold again.",
               lesson->file);
    return app_flush(app);
}

static enum status apply(struct lesson *lesson)
{
    struct app *app = lesson->app;
    if (access(lesson->file, F_OK) == 0 && rename(lesson->file, lesson->old) != 0) {
        diags_error(app->diags, (struct position){.file = lesson->file}, "cannot be set aside");
        return STATUS_IO;
    }
    enum status status = write_whole(lesson->file, &lesson->yaml, app->diags);
    return status;
}

/* ---- before and after ------------------------------------------------------------------------ */

/* Loads the rules once more, with the lesson over them. */
static enum status load_after(struct lesson *lesson)
{
    const char *temporary = getenv("TMPDIR");
    char *folder = arena_format(lesson->arena, "%s/jarside-learn-XXXXXX",
                                temporary != NULL && temporary[0] == '/' ? temporary : "/tmp");
    struct app *app = lesson->app;
    lesson->after = *app;
    lesson->after.rules = NULL;
    lesson->after.reader = NULL;
    lesson->after.reasoner = NULL;
    lesson->after.triage = NULL;
    if (folder == NULL || mkdtemp(folder) == NULL) {
        diags_error(app->diags, (struct position){.file = folder},
                    "a folder for a trial cannot be made");
        return STATUS_IO;
    }
    const char *more[] = {folder};
    char *file = arena_format(lesson->arena, "%s/learned.yaml", folder);
    enum status status =
        file != NULL ? write_whole(file, &lesson->yaml, app->diags) : STATUS_MEMORY;
    enum status fault = status == STATUS_OK ? app_load(&lesson->after, more, 1) : status;
    if (file != NULL)
        unlink(file);
    rmdir(folder);
    return fault;
}

static void release_after(struct lesson *lesson)
{
    triage_free(lesson->after.triage);
    reasoner_free(lesson->after.reasoner);
    reader_free(lesson->after.reader);
    rules_free(lesson->after.rules);
}

static enum status score_with(struct lesson *lesson, struct app *app, const char *path,
                              struct score *score)
{
    const struct labelled_case *cases = NULL;
    size_t count = 0;
    enum status status =
        cases_load(path, app->rules, lesson->arena, &cases, &count, lesson->app->diags);
    return status == STATUS_OK
               ? score_cases(app->triage, cases, count, lesson->arena, score, lesson->app->diags)
               : status;
}

static enum status score_both(struct lesson *lesson)
{
    char *path = corpus_find("cases");
    enum status status =
        path != NULL ? score_with(lesson, lesson->app, path, &lesson->scores[0]) : STATUS_MEMORY;
    if (status == STATUS_OK)
        status = score_with(lesson, &lesson->after, path, &lesson->scores[1]);
    free(path);
    return status;
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
        arena_format(lesson->arena, "%s: %s", observable->label,
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
        arena_array(lesson->arena, learned->sign_count * RULES_MAX_VALUES, sizeof *shifts);
    struct table table;
    size_t count = 0;
    for (size_t i = 0; shifts != NULL && i < learned->sign_count; i++) {
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
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, lesson->arena);
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
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, lesson->arena);
    for (size_t i = 0; i < learned->cause_count; i++) {
        const struct learned_cause *own = &learned->causes[i];
        const struct cause *cause = &lesson->app->rules->causes[own->cause];
        char before[PERCENT_ROOM], after[PERCENT_ROOM];
        double becomes =
            (learned->strength * cause->prior + own->seen) / (learned->strength + own->of);
        const char *const cells[] = {
            cause->name,
            arena_format(lesson->arena, "%.0f of %.0f", own->seen, own->of),
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
    const char *const cells[] = {what, arena_format(lesson->arena, "%zu of %zu", before, of),
                                 arena_format(lesson->arena, "%zu of %zu", after, of)};
    table_row(table, cells);
}

static void show_scores(struct lesson *lesson)
{
    static const char *const headings[] = {"labelled cases", "now", "with it"};
    const struct score *before = &lesson->scores[0], *after = &lesson->scores[1];
    struct screen *screen = &lesson->app->out;
    struct table table;
    screen_heading(screen, "What it does to the labelled cases");
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, lesson->arena);
    score_row(lesson, &table, "finding first", before->finding_first, after->finding_first,
              before->cases);
    score_row(lesson, &table, "action accepted", before->action_right, after->action_right,
              before->cases);
    score_row(lesson, &table, "contaminated called keep", before->unsafe_keeps, after->unsafe_keeps,
              before->cases - before->clean);
    score_row(lesson, &table, "clean discarded needlessly", before->needless_discards,
              after->needless_discards, before->clean);
    const char *const cells[] = {"log score, nats; less is better",
                                 arena_format(lesson->arena, "%.4f", before->log_score),
                                 arena_format(lesson->arena, "%.4f", after->log_score)};
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
    else if (!arguments_flag(&lesson->app->arguments, "apply"))
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing was changed. --apply writes it.");
}

static json_t *rules_learn_score_json(const struct score *score)
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
                     lesson->file, "before", rules_learn_score_json(&lesson->scores[0]), "after",
                     rules_learn_score_json(&lesson->scores[1]), "worse", worse(lesson), "unsafe",
                     unsafe(lesson), "applied", applied);
}

/* ---- the command ----------------------------------------------------------------------------- */

static enum status study(struct lesson *lesson)
{
    char day[MOMENT_ROOM];
    struct app *app = lesson->app;
    enum status status =
        learn_count(app->journal, app->rules, lesson->arena, &lesson->learned, app->diags);
    if (status != STATUS_OK)
        return status;
    if (lesson->learned.vessels <= 0)
        return app_usage(app, "no vessel has a confirmed outcome yet; 'jarside confirm LABEL "
                              "FINDING' records what one turned out to be");
    learn_write(&lesson->learned, app->rules, moment_write_day(moment_now(), day), &lesson->yaml);
    if (lesson->yaml.failed)
        return STATUS_MEMORY;
    enum status fault = load_after(lesson);
    return fault == STATUS_OK ? score_both(lesson) : fault;
}

static enum status tell(struct lesson *lesson)
{
    struct app *app = lesson->app;
    const struct arguments *arguments = &app->arguments;
    bool json = arguments_flag(arguments, "json"), wanted = arguments_flag(arguments, "apply");
    bool may = !unsafe(lesson) && (!worse(lesson) || arguments_flag(arguments, "even-if-worse"));
    enum status status = wanted && may ? apply(lesson) : STATUS_OK;
    if (status != STATUS_OK)
        return status;
    if (json) {
        status = app_json(app, lesson_json(lesson, wanted && may), false);
    } else {
        show(lesson);
        if (wanted && may)
            screen_say(&app->out, 0, 0, ROLE_PLAIN,
                       "Written to %s. 'jarside rules learn --undo' takes it back.", lesson->file);
        status = app_flush(app);
    }
    return status == STATUS_OK && wanted && !may ? STATUS_CHECK : status;
}

static enum status learn(struct lesson *lesson)
{
    struct app *app = lesson->app;
    if (!find_places(lesson))
        return app_usage(app, "no home folder to keep your own rules in");
    if (arguments_flag(&app->arguments, "undo"))
        return undo(lesson);
    enum status status = app_load(app, NULL, 0);
    if (status == STATUS_OK)
        status = app_journal(app, JOURNAL_READ);
    if (status == STATUS_OK)
        status = study(lesson);
    return status == STATUS_OK ? tell(lesson) : status;
}

static enum status run(struct app *app)
{
    struct lesson lesson = {.app = app, .arena = arena_new()};
    if (app->arguments.operand_count > 0)
        return app_usage(app, "'rules learn' takes no words; it reads the journal");
    if (lesson.arena == NULL)
        return STATUS_MEMORY;
    text_init(&lesson.yaml);
    enum status status = learn(&lesson);
    text_release(&lesson.yaml);
    if (lesson.after.command != NULL)
        release_after(&lesson);
    arena_free(lesson.arena);
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
    .run = run,
};
