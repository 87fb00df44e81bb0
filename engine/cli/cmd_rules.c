/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "cli/commands.h"
#include "cli/corpus.h"
#include "knowledge/cases.h"
#include "triage/score.h"
#include "voice/whole_json.h"

/* ---- rules check ----------------------------------------------------------------------------- */

static enum exit_status run_check(struct app *app)
{
    const struct arguments *arguments = &app->arguments;
    if (arguments->operand_count > 1)
        return app_usage(app, "one folder at a time");
    enum exit_status fault = app_load(app, arguments->operands, arguments->operand_count);
    if (fault != EXIT_FINE)
        return fault;
    reader_check_patterns(app->reader, app->diags);
    if (diags_errors(app->diags) > 0)
        return app_fail(app, STATUS_DATA);
    app_fail(app, STATUS_OK); /* warnings, if any, are shown; they are no failure */
    return EXIT_FINE;
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
    {"json", NULL, "print JSON"},
    {"fit", NULL, "find the power tau with the least log score and print it; nothing is written"},
    {"all", NULL, "list every case, not only those that fail"},
    {NULL, NULL, NULL},
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
    screen_done(&app->out, &words);
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
        rows = voice_json_append(rows, row_json(rules, &score->rows[i]));
    return rows;
}

static json_t *bins_json(const struct score *score)
{
    json_t *bins = json_array();
    for (size_t b = 0; b < SCORE_BINS; b++)
        bins = voice_json_append(bins, json_pack("{s:I, s:f, s:f}", "cases",
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

static enum exit_status show_fit(struct app *app, const struct labelled_case *cases, size_t count)
{
    double tau = 1, log_score = 0;
    enum status status =
        score_fit_tau(app->triage, app->reasoner, cases, count, &tau, &log_score, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               "tau %.3f gives the least log score, %.4f nats over %zu cases; the rules have %.3f",
               tau, log_score, count, app->rules->calibration.tau);
    return app_flush(app);
}

/* The mission's own bar: no contaminated vessel is ever called keep. */
static enum exit_status verdict_on(const struct score *score)
{
    return score->unsafe_keeps > 0 ? EXIT_CHECK_FAILED : EXIT_FINE;
}

static enum exit_status test_cases(struct app *app, const char *path, struct arena *arena)
{
    const struct labelled_case *cases = NULL;
    size_t count = 0;
    struct score score;
    enum status status = cases_load(path, app->rules, arena, &cases, &count, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    if (arguments_flag(&app->arguments, "fit"))
        return show_fit(app, cases, count);
    status = score_cases(app->triage, cases, count, arena, &score, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    enum exit_status fault = EXIT_FINE;
    if (arguments_flag(&app->arguments, "json")) {
        fault = app_json(app, score_json(app->rules, &score), false);
    } else {
        show_score(app, &score);
        fault = app_flush(app);
    }
    return fault != EXIT_FINE ? fault : verdict_on(&score);
}

static enum exit_status run_test(struct app *app)
{
    if (app->arguments.operand_count > 1)
        return app_usage(app, "one file or folder of cases at a time");
    enum exit_status fault = app_load(app, NULL, 0);
    if (fault != EXIT_FINE)
        return fault;
    char *found = app->arguments.operand_count == 0 ? corpus_find("cases") : NULL;
    const char *path = found != NULL ? found : app->arguments.operands[0];
    struct arena *arena = arena_new(NULL);
    fault =
        path != NULL && arena != NULL ? test_cases(app, path, arena) : app_fail(app, STATUS_MEMORY);
    arena_free(arena);
    free(found);
    return fault;
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
