/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/cli.h"
#include "cli/look.h"
#include "prompt/prompt.h"
#include "rules/cases.h"
#include "view/show.h"
#include "view/verdict.h"

/* ==== judge =================================================================================== */

struct judging {
    struct app *app;
    struct texts settings;
    const char *path, *vessel, *use;
    bool lines, json, explain, without_siblings;
    struct stakes stakes; /* NAN, RULES_NONE: not said */
};
#define AT(member) .target = offsetof(struct judging, member)

static const struct option options[] = {
    {"set", "SIGN=VALUE", "state one sign directly; may be repeated (-VALUE denies, VALUE? doubts)",
     OPTION_TEXTS, AT(settings)},
    {"case", "FILE", "judge the case or cases in FILE", OPTION_TEXT, AT(path)},
    {"lines", NULL, "read one description a line from standard input", OPTION_FLAG, AT(lines)},
    {"json", NULL, "print JSON (with --lines: one object a line)", OPTION_FLAG, AT(json)},
    {"explain", NULL, "show what weighs how much, what would change it, what to do next time",
     OPTION_FLAG, AT(explain)},
    {"vessel", "LABEL",
     "judge at this vessel of the journal, with all that is on record; save nothing", OPTION_TEXT,
     AT(vessel)},
    {"without-siblings", NULL, "with --vessel: as if nothing were known of the others", OPTION_FLAG,
     AT(without_siblings)},
    {"neighbours", "N", "how many vessels stand beside it", OPTION_NUMBER, AT(stakes.neighbours),
     .high = 1e6},
    {"use", "USE[:N]", "what it is for, and for how many vessels: for instance expand:10",
     OPTION_TEXT, AT(use)},
    {"worth", "N", "what it is worth, in vessels of the usual worth", OPTION_NUMBER,
     AT(stakes.worth), .low = 1e-3, .high = 1e6},
    {0},
};
#undef AT

/* ---- what is said of it ---------------------------------------------------------------------- */

static enum status read_use(struct judging *judging)
{
    struct app *app = judging->app;
    if (judging->use == NULL)
        return STATUS_OK;
    const char *colon = strchr(judging->use, ':');
    size_t length = colon != NULL ? (size_t)(colon - judging->use) : strlen(judging->use);
    const struct option count = {.name = "use", .kind = OPTION_NUMBER, .high = 1e6};
    enum status status = option_id(app, "use", arena_copy(app->arena, judging->use, length),
                                   LIST_USES, &judging->stakes.use);
    if (status == STATUS_OK && colon != NULL)
        status = option_read(app, &count, colon + 1, &judging->stakes.use_count);
    return status;
}

static void set_stakes(const struct judging *judging)
{
    struct stakes *stakes = triage_stakes(judging->app->triage);
    const struct stakes *said = &judging->stakes;
    if (!isnan(said->neighbours))
        stakes->neighbours = said->neighbours;
    if (!isnan(said->worth))
        stakes->worth = said->worth;
    if (said->use != RULES_NONE)
        stakes->use = said->use;
    if (!isnan(said->use_count))
        stakes->use_count = said->use_count;
}

static enum status set_signs(const struct judging *judging)
{
    struct app *app = judging->app;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < judging->settings.count && status == STATUS_OK; i++) {
        const char *setting = judging->settings.words[i], *equals = strchr(setting, '=');
        if (equals == NULL || equals == setting)
            return app_usage(app, "'--set %s' should be SIGN=VALUE; 'jarside show' lists the signs",
                             setting);
        const char *sign = arena_copy(app->arena, setting, (size_t)(equals - setting));
        status = triage_set(app->triage, sign, equals + 1, (struct position){0}, app->diags);
    }
    return status;
}

static enum status tell(const struct judging *judging, bool one_of_many)
{
    struct app *app = judging->app;
    bool line = judging->lines && !judging->json;
    const struct judged told = {app->rules, app->triage,
                                line ? triage_judge_briefly(app->triage)
                                     : triage_judge(app->triage)};
    if (judging->json)
        return app_json(app, view_verdict_json(&told), one_of_many);
    if (line)
        view_verdict_line(&app->out, &told);
    else
        view_verdict(&app->out, &told, judging->explain);
    return app_flush(app);
}

/* ---- what to judge --------------------------------------------------------------------------- */

static enum status tell_operands(struct app *app)
{
    const struct arguments *arguments = &app->arguments;
    enum status status = STATUS_OK;
    struct text text;
    text_init(&text);
    for (size_t i = 0; i < arguments->operand_count && status == STATUS_OK; i++) {
        char block[4096];
        size_t got = 0;
        if (strcmp(arguments->operands[i], "-") != 0) {
            text_printf(&text, "%s%s", i > 0 ? " " : "", arguments->operands[i]);
            continue;
        }
        /* Up to one byte more than a description may have: longer ones are refused. */
        while (text.length <= READER_MAX_TEXT && (got = fread(block, 1, sizeof block, stdin)) > 0)
            text_add(&text, block, got);
        if (ferror(stdin))
            status = app_error(app, STATUS_IO, NULL, "cannot read standard input");
    }
    if (status == STATUS_OK)
        status =
            triage_tell(app->triage, text.bytes != NULL ? text.bytes : "", text.length, app->diags);
    text_release(&text);
    return status;
}

static enum status judge_said(const struct judging *judging)
{
    enum status status;
    set_stakes(judging);
    if ((status = tell_operands(judging->app)) ||
        (status = set_signs(judging))) /* after the words: what is set stands, whatever they say */
        return status;
    return tell(judging, false);
}

static enum status judge_one(const struct judging *judging)
{
    const struct arguments *arguments = &judging->app->arguments;
    bool blank = judging->settings.count == 0;
    for (size_t i = 0; i < arguments->operand_count; i++)
        blank = blank && arguments->operands[i][strspn(arguments->operands[i], " \t\n")] == '\0';
    if (blank)
        return app_usage(judging->app, "nothing to judge; say what you see, for instance: "
                                       "jarside judge \"day 9, clear yellow drops on white "
                                       "growth\"");
    return judge_said(judging);
}

/* At a vessel what is on record may be all there is. */
static enum status judge_vessel(const struct judging *judging)
{
    struct looking looking = {
        .app = judging->app, .at = moment_now(), .without_siblings = judging->without_siblings};
    struct consultation consultation;
    enum status status;
    if ((status = app_open(judging->app, JOURNAL_READ)) ||
        (status = look_open(&looking, judging->vessel, &consultation)))
        return status;
    return judge_said(judging);
}

static enum status judge_cases(const struct judging *judging)
{
    struct app *app = judging->app;
    const struct labelled_case *cases = NULL;
    size_t count = 0;
    enum status status =
        cases_load(judging->path, app->rules, app->arena, &cases, &count, app->diags);
    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        triage_reset(app->triage);
        if ((status = triage_case(app->triage, &cases[i], app->diags)))
            return status;
        set_stakes(judging);
        if ((status = set_signs(judging)))
            return status;
        if (count > 1 && !judging->json)
            screen_heading(&app->out, cases[i].id != NULL ? cases[i].id : "");
        status = tell(judging, count > 1);
    }
    return status;
}

/* A line that cannot be judged is answered in its place, so that answers keep step with lines. */
static enum status line_error(const struct judging *judging, size_t number, const char *what)
{
    struct app *app = judging->app;
    diags_error(app->diags, (struct position){"standard input", number, 0}, "%s", what);
    app_report(app);
    if (judging->json)
        return app_json(app, json_pack("{s:i, s:s}", "schema", 1, "error", what), true);
    text_puts(&app->out.out, "unread\t-\t0\n");
    return app_flush(app);
}

static enum status judge_line(const struct judging *judging, const char *line, size_t length,
                              size_t number)
{
    struct app *app = judging->app;
    enum status status;
    triage_reset(app->triage);
    set_stakes(judging);
    if ((status = set_signs(judging)))
        return status;
    if (line[strspn(line, " \t\r")] == '\0')
        return line_error(judging, number, "the line is empty");
    if (triage_tell(app->triage, line, length, app->diags) != STATUS_OK)
        return line_error(judging, number, "the line is not text that can be read");
    return tell(judging, true);
}

static enum status judge_lines(const struct judging *judging)
{
    char *line = NULL;
    size_t room = 0, number = 0;
    ssize_t length = 0;
    enum status status = STATUS_OK;
    while (status == STATUS_OK && (length = getline(&line, &room, stdin)) >= 0) {
        if (length > 0 && line[length - 1] == '\n')
            line[--length] = '\0';
        status = judge_line(judging, line, (size_t)length, ++number);
    }
    free(line);
    if (status == STATUS_OK && !feof(stdin)) /* or there was no memory for a line */
        return app_error(judging->app, STATUS_IO, NULL, "cannot read standard input: %s",
                         strerror(errno));
    return status;
}

static enum status run_judge(struct app *app)
{
    struct judging judging = {
        .app = app,
        .stakes = {.worth = NAN, .neighbours = NAN, .use = RULES_NONE, .use_count = NAN}};
    enum status status = options_fill(app, &judging);
    const char *input = judging.lines ? "--lines" : judging.path != NULL ? "--case" : NULL;
    if (status != STATUS_OK)
        return status;
    if (input != NULL && app->arguments.operand_count > 0)
        return app_usage(app, "give either a description or %s, not both", input);
    if (judging.path != NULL && judging.lines)
        return app_usage(app, "give either --case or --lines, not both");
    if (judging.vessel != NULL && input != NULL)
        return app_usage(app, "--vessel goes with a description, not with %s", input);
    if ((status = app_load(app, NULL, 0)) || (status = read_use(&judging)))
        return status;
    if (judging.vessel != NULL)
        return judge_vessel(&judging);
    if (judging.lines)
        return judge_lines(&judging);
    return judging.path != NULL ? judge_cases(&judging) : judge_one(&judging);
}

const struct command command_judge = {
    .name = "judge",
    .summary = "judges one description, a case file, or many lines, without asking",
    .operands = "[TEXT...]",
    .detail = "TEXT is what you see, in your own words; '-' reads it from standard input. Example: "
              "jarside judge \"3 weeks, stopped at 40 percent, clean white, closet is 58F\"",
    .options = options,
    .run = run_judge,
};

/* ==== ask ===================================================================================== */

static const struct option ask_options[] = {
    {"no-input", NULL, "do not ask: fail, and name the question", OPTION_FLAG, .target = 0},
    {0},
};

static enum status run_ask(struct app *app)
{
    bool no_input = false;
    enum status status;
    if ((status = app_load(app, NULL, 0)) || (status = options_fill(app, &no_input)))
        return status;
    if (no_input)
        return app_usage(app, "a conversation needs input; "
                              "'jarside judge \"what you see\"' answers without asking");
    struct prompt_opening opening = {
        .rules = app->rules,
        .triage = app->triage,
        .screen = &app->out,
        .words = app->arguments.operands,
        .word_count = app->arguments.operand_count,
    };
    return prompt_converse(&opening, app->diags);
}

const struct command command_ask = {
    .name = "ask",
    .summary = "opens the conversation, with a first description if you give one",
    .operands = "[TEXT...]",
    .options = ask_options,
    .run = run_ask,
};

/* ==== show ==================================================================================== */

static enum status unknown_id(struct app *app, const char *id)
{
    enum { MOST = 1024 };
    const char *ids[MOST];
    const char *near = diag_nearest(id, ids, view_ids(app->rules, ids, MOST));
    if (near != NULL)
        return app_usage(app, "nothing here is called '%s'; did you mean '%s'?", id, near);
    return app_usage(app, "nothing here is called '%s'; 'jarside show' lists all there is", id);
}

static enum status run_show(struct app *app)
{
    enum status status = app_load(app, NULL, 0);
    if (status != STATUS_OK)
        return status;
    if (app->arguments.operand_count == 0)
        view_show_all(&app->out, app->rules);
    for (size_t i = 0; i < app->arguments.operand_count; i++) {
        if (i > 0)
            screen_blank(&app->out);
        if (!view_show(&app->out, app->rules, app->arguments.operands[i]))
            return unknown_id(app, app->arguments.operands[i]);
    }
    return app_flush(app);
}

const struct command command_show = {
    .name = "show",
    .summary = "prints what is known of a finding, cause or sign, with its sources",
    .operands = "[ID...]",
    .run = run_show,
};
