/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"
#include "cli/cli.h"
#include "cli/look.h"
#include "prompt/prompt.h"
#include "rules/cases.h"
#include "view/show.h"
#include "view/verdict.h"

/* ==== judge =================================================================================== */

static const struct position command_line = {.file = NULL};

static const struct option options[] = {
    {"set", "SIGN=VALUE", "state one sign directly; may be repeated (-VALUE denies, VALUE? doubts)",
     .kind = OPTION_TEXT},
    {"case", "FILE", "judge the case or cases in FILE", .kind = OPTION_TEXT},
    {"lines", NULL, "read one description a line from standard input", .kind = OPTION_FLAG},
    {"json", NULL, "print JSON (with --lines: one object a line)", .kind = OPTION_FLAG},
    {"explain", NULL, "show what weighs how much, what would change it, what to do next time",
     .kind = OPTION_FLAG},
    {"vessel", "LABEL",
     "judge at this vessel of the journal, with all that is on record; save nothing",
     .kind = OPTION_TEXT},
    {"without-siblings", NULL, "with --vessel: as if nothing were known of the others",
     .kind = OPTION_FLAG},
    {"neighbours", "N", "how many vessels stand beside it", .kind = OPTION_TEXT},
    {"use", "USE[:N]", "what it is for, and for how many vessels: for instance expand:10",
     .kind = OPTION_TEXT},
    {"worth", "N", "what it is worth, in vessels of the usual worth", .kind = OPTION_TEXT},
    {0},
};

/* ---- stakes ---------------------------------------------------------------------------------- */

static bool number_within(const char *text, double lowest, double highest, double *number)
{
    char *end = NULL;
    errno = 0;
    double read = strtod(text, &end);
    if (end == text || *end != '\0' || errno != 0 || !(read >= lowest && read <= highest))
        return false;
    *number = read;
    return true;
}

static enum status read_use(struct app *app, const char *use, struct stakes *stakes)
{
    const struct decision_rules *decision = &app->rules->decision;
    const char *colon = strchr(use, ':');
    size_t length = colon != NULL ? (size_t)(colon - use) : strlen(use);
    const char *names[RULES_MAX_VALUES];
    size_t count = 0;
    for (size_t i = 0; i < decision->use_count; i++) {
        const char *id = decision->uses[i].id;
        if (count < RULES_MAX_VALUES)
            names[count++] = id;
        if (strlen(id) == length && strncmp(id, use, length) == 0)
            stakes->use = (int)i;
    }
    if (stakes->use == RULES_NONE) {
        char word[64];
        snprintf(word, sizeof word, "%.*s", length < 60 ? (int)length : 60, use);
        const char *near = diag_nearest(word, names, count);
        return app_usage(app, "no use '%s'; did you mean '%s'?", word,
                         near != NULL ? near
                         : count > 0  ? names[0]
                                      : "");
    }
    if (colon != NULL && !number_within(colon + 1, 0, 1e6, &stakes->use_count))
        return app_usage(app, "'--use %s': after the colon stands a number of vessels, from 0 on",
                         use);
    return STATUS_OK;
}

static enum status read_stakes(struct app *app)
{
    struct stakes *stakes = triage_stakes(app->triage);
    const char *neighbours = arguments_value(&app->arguments, "neighbours");
    const char *worth = arguments_value(&app->arguments, "worth");
    const char *use = arguments_value(&app->arguments, "use");
    if (neighbours != NULL && !number_within(neighbours, 0, 1e6, &stakes->neighbours))
        return app_usage(app, "'--neighbours %s' is not a number of vessels from 0 on", neighbours);
    if (worth != NULL && !number_within(worth, 1e-3, 1e6, &stakes->worth))
        return app_usage(app, "'--worth %s' is not a number of vessels above 0", worth);
    return use != NULL ? read_use(app, use, stakes) : STATUS_OK;
}

static enum status read_settings(struct app *app)
{
    const char *setting = NULL;
    for (size_t i = 0; (setting = arguments_nth(&app->arguments, "set", i)) != NULL; i++) {
        const char *equals = strchr(setting, '=');
        if (equals == NULL || equals == setting)
            return app_usage(app, "'--set %s' should be SIGN=VALUE; 'jarside show' lists the signs",
                             setting);
        char *sign = strndup(setting, (size_t)(equals - setting));
        if (sign == NULL)
            return STATUS_MEMORY;
        enum status status = triage_set(app->triage, sign, equals + 1, command_line, app->diags);
        free(sign);
        if (status != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}

/* ---- output ---------------------------------------------------------------------------------- */

static enum status tell(struct app *app, bool one_of_many)
{
    bool json = arguments_flag(&app->arguments, "json");
    bool line = arguments_flag(&app->arguments, "lines") && !json;
    const struct verdict *verdict =
        line ? triage_judge_briefly(app->triage) : triage_judge(app->triage);
    if (verdict == NULL)
        return STATUS_MEMORY;
    const struct judged told = {app->rules, app->triage, verdict};
    if (json)
        return app_json(app, view_verdict_json(&told), one_of_many);
    if (line)
        view_verdict_line(&app->out, &told);
    else
        view_verdict(&app->out, &told, arguments_flag(&app->arguments, "explain"));
    return app_flush(app);
}

/* ---- what to judge --------------------------------------------------------------------------- */

/* The stream's bytes, up to one more than a description may have: longer ones are refused. */
static bool read_stream(FILE *stream, struct text *text)
{
    char block[4096];
    size_t got = 0;
    while (text->length <= READER_MAX_TEXT && (got = fread(block, 1, sizeof block, stream)) > 0)
        text_add(text, block, got);
    return ferror(stream) == 0;
}

static enum status tell_operands(struct app *app)
{
    const struct arguments *arguments = &app->arguments;
    struct text text;
    text_init(&text);
    for (size_t i = 0; i < arguments->operand_count; i++) {
        if (strcmp(arguments->operands[i], "-") != 0) {
            text_printf(&text, "%s%s", i > 0 ? " " : "", arguments->operands[i]);
        } else if (!read_stream(stdin, &text)) {
            text_release(&text);
            diags_error(app->diags, command_line, "cannot read standard input");
            return STATUS_IO;
        }
    }
    enum status status = text.failed
                             ? STATUS_MEMORY
                             : triage_tell(app->triage, text.bytes != NULL ? text.bytes : "",
                                           text.length, app->diags);
    text_release(&text);
    return status;
}

static bool blank(const struct app *app)
{
    const struct arguments *arguments = &app->arguments;
    for (size_t i = 0; i < arguments->operand_count; i++)
        if (arguments->operands[i][strspn(arguments->operands[i], " \t\n")] != '\0')
            return false;
    return arguments_value(arguments, "set") == NULL;
}

static enum status judge_said(struct app *app)
{
    enum status status = read_stakes(app);
    if (status == STATUS_OK)
        status = tell_operands(app);
    if (status == STATUS_OK) /* after the words: what is set stands, whatever they say */
        status = read_settings(app);
    return status != STATUS_OK ? status : tell(app, false);
}

static enum status judge_one(struct app *app)
{
    if (blank(app))
        return app_usage(app, "nothing to judge; say what you see, for instance: "
                              "jarside judge \"day 9, clear yellow drops on white growth\"");
    return judge_said(app);
}

/* At a vessel what is on record may be all there is. */
static enum status judge_vessel(struct app *app, const char *label)
{
    struct looking looking = {.app = app, .at = moment_now()};
    struct consultation consultation;
    looking.without_siblings = arguments_flag(&app->arguments, "without-siblings");
    enum status status = app_open(app, JOURNAL_READ);
    if (status == STATUS_OK)
        status = look_open(&looking, label, &consultation);
    return status == STATUS_OK ? judge_said(app) : status;
}

static enum status judge_cases(struct app *app, const char *path)
{
    const struct labelled_case *cases = NULL;
    size_t count = 0;
    struct arena *arena = arena_new();
    if (arena == NULL)
        return STATUS_MEMORY;
    enum status status = cases_load(path, app->rules, arena, &cases, &count, app->diags);
    enum status fault = status;
    for (size_t i = 0; i < count && fault == STATUS_OK; i++) {
        triage_reset(app->triage);
        status = triage_case(app->triage, &cases[i], app->diags);
        fault = status != STATUS_OK ? status : read_stakes(app);
        if (fault == STATUS_OK)
            fault = read_settings(app);
        if (fault == STATUS_OK && count > 1 && !arguments_flag(&app->arguments, "json"))
            screen_heading(&app->out, cases[i].id != NULL ? cases[i].id : "");
        if (fault == STATUS_OK)
            fault = tell(app, count > 1);
    }
    arena_free(arena);
    return fault;
}

/* A line that cannot be judged is answered in its place, so that answers keep step with lines. */
static enum status line_fault(struct app *app, size_t number, const char *what)
{
    diags_error(app->diags, (struct position){"standard input", number, 0}, "%s", what);
    app_report(app);
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app, json_pack("{s:i, s:s}", "schema", 1, "error", what), true);
    text_puts(&app->out.out, "unread\t-\t0\n");
    return app_flush(app);
}

static enum status judge_line(struct app *app, const char *line, size_t length, size_t number)
{
    triage_reset(app->triage);
    enum status fault = read_stakes(app);
    if (fault == STATUS_OK)
        fault = read_settings(app);
    if (fault != STATUS_OK)
        return fault;
    if (line[strspn(line, " \t\r")] == '\0')
        return line_fault(app, number, "the line is empty");
    enum status status = triage_tell(app->triage, line, length, app->diags);
    if (status == STATUS_MEMORY)
        return status;
    if (status != STATUS_OK)
        return line_fault(app, number, "the line is not text that can be read");
    return tell(app, true);
}

static enum status judge_lines(struct app *app)
{
    char *line = NULL;
    size_t room = 0, number = 0;
    ssize_t length = 0;
    enum status status = STATUS_OK;
    while (status == STATUS_OK && (length = getline(&line, &room, stdin)) >= 0) {
        if (length > 0 && line[length - 1] == '\n')
            line[--length] = '\0';
        status = judge_line(app, line, (size_t)length, ++number);
    }
    free(line);
    if (status == STATUS_OK && !feof(stdin)) { /* or there was no memory for a line */
        diags_error(app->diags, command_line, "cannot read standard input: %s", strerror(errno));
        return STATUS_IO;
    }
    return status;
}

static enum status run_judge(struct app *app)
{
    const char *path = arguments_value(&app->arguments, "case");
    bool lines = arguments_flag(&app->arguments, "lines");
    if ((path != NULL || lines) && app->arguments.operand_count > 0)
        return app_usage(app, "give either a description or %s, not both",
                         lines ? "--lines" : "--case");
    if (path != NULL && lines)
        return app_usage(app, "give either --case or --lines, not both");
    const char *vessel = arguments_value(&app->arguments, "vessel");
    if (vessel != NULL && (path != NULL || lines))
        return app_usage(app, "--vessel goes with a description, not with %s",
                         lines ? "--lines" : "--case");
    enum status status = app_load(app, NULL, 0);
    if (status != STATUS_OK)
        return status;
    if (vessel != NULL)
        return judge_vessel(app, vessel);
    if (lines)
        return judge_lines(app);
    return path != NULL ? judge_cases(app, path) : judge_one(app);
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
    {"no-input", NULL, "do not ask: fail, and name the question", .kind = OPTION_FLAG},
    {0},
};

static enum status run_ask(struct app *app)
{
    enum status fault = app_load(app, NULL, 0);
    if (fault != STATUS_OK)
        return fault;
    if (arguments_flag(&app->arguments, "no-input"))
        return app_usage(app, "a conversation needs input; "
                              "'jarside judge \"what you see\"' answers without asking");
    struct prompt_opening opening = {
        .rules = app->rules,
        .triage = app->triage,
        .screen = &app->out,
        .words = app->arguments.operands,
        .word_count = app->arguments.operand_count,
    };
    enum status status = prompt_converse(&opening, app->diags);
    return status;
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
    const char **ids = calloc(MOST, sizeof *ids);
    if (ids == NULL)
        return STATUS_MEMORY;
    const char *near = diag_nearest(id, ids, view_ids(app->rules, ids, MOST));
    free(ids);
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
