/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "cli/assign.h"
#include "cli/commands.h"
#include "cli/labels.h"
#include "prompt/lines.h"
#include "voice/journal.h"

static const struct option options[] = {
    {"cause", "CAUSE", "why, when that is known as well"},
    {"how", "WORDS", "how it is known: opened outdoors, plated ..."},
    {"at", "MOMENT", "when it was found out; else now"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

struct confirming {
    struct app *app;
    struct journal_told told;
    struct chosen chosen;
    struct outcome outcome; /* but for the vessel */
};

/* Labels come first; what follows is the finding. */
static size_t labels_at_front(struct confirming *confirming)
{
    const struct arguments *arguments = &confirming->app->arguments;
    const char *found = NULL;
    size_t count = arguments->operand_count > 0 ? 1 : 0;
    int64_t id = 0;
    while (count < arguments->operand_count) {
        const char *word = arguments->operands[count];
        bool number = word[strspn(word, "0123456789-.,")] == '\0';
        if (!number &&
            !labels_has(confirming->app, RECORD_VESSEL, word, confirming->app->arena, &id, &found))
            break;
        count++;
    }
    return count;
}

/* What it turned out to be, asked for at a terminal; NULL when nobody says. */
static const char *ask_finding(struct confirming *confirming)
{
    enum { MOST = 128 };
    const struct rules *rules = confirming->app->rules;
    const char *words[MOST];
    size_t count = 0;
    char *answer = NULL;
    struct lines *lines = lines_open();

    if (lines == NULL)
        return NULL;
    for (size_t i = 0; i < rules->finding_count && count < MOST; i++)
        words[count++] = rules->findings[i].id;
    enum line_answer how = lines_ask(lines, "What did it turn out to be (Tab shows the findings)",
                                     NULL, words, count, &answer);
    lines_close(lines);
    const char *copy = how == LINE_GIVEN ? arena_string(confirming->app->arena, answer) : NULL;
    free(answer);
    return copy;
}

static enum exit_status read_finding(struct confirming *confirming, size_t from)
{
    struct app *app = confirming->app;
    const char *cause = arguments_value(&app->arguments, "cause");
    const char *how = arguments_value(&app->arguments, "how");
    const char *words =
        arena_join(app->arena, app->arguments.operands + from, app->arguments.operand_count - from);

    if (words == NULL)
        return app_fail(app, STATUS_MEMORY);
    if (words[0] == '\0' && (words = ask_finding(confirming)) == NULL)
        return app_usage(app, "what did it turn out to be? For instance: jarside confirm B3-7 %s",
                         app->rules->finding_count > 0 ? app->rules->findings[0].id : "FINDING");
    int finding = assign_finding(app, words);
    if (finding == RULES_NONE)
        return EXIT_USAGE; /* and the message was shown */
    confirming->outcome.finding = app->rules->findings[finding].id;
    confirming->outcome.status = status_name(app->rules->findings[finding].status);
    confirming->outcome.how = how != NULL ? how : "";
    if (cause == NULL)
        return EXIT_FINE;
    int index = assign_cause(app, cause);
    if (index == RULES_NONE)
        return EXIT_USAGE;
    confirming->outcome.cause = app->rules->causes[index].id;
    return EXIT_FINE;
}

static enum exit_status record(struct confirming *confirming)
{
    struct app *app = confirming->app;
    enum status status = journal_begin(app->journal, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    for (size_t i = 0; i < confirming->chosen.count && status == STATUS_OK; i++) {
        struct outcome outcome = confirming->outcome;
        outcome.vessel = confirming->chosen.vessels[i].id;
        status = journal_add(app->journal, RECORD_OUTCOME, &outcome, app->diags);
        if (status == STATUS_OK)
            status = journal_get(app->journal, RECORD_VESSEL, outcome.vessel, app->arena,
                                 &confirming->chosen.vessels[i], app->diags);
    }
    if (status == STATUS_OK)
        status = journal_commit(app->journal, app->diags);
    else
        journal_rollback(app->journal);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

static enum exit_status tell_json(const struct confirming *confirming)
{
    const struct chosen *chosen = &confirming->chosen;
    return app_json(confirming->app,
                    json_pack("{s:i, s:o, s:s, s:s, s:o, s:o, s:o}", "schema", 1, "vessels",
                              voice_json_vessels(chosen->vessels, chosen->count), "finding",
                              confirming->outcome.finding, "status", confirming->outcome.status,
                              "cause", voice_json_text(confirming->outcome.cause), "how",
                              voice_json_text(confirming->outcome.how), "at",
                              voice_json_moment(confirming->outcome.at)),
                    false);
}

/* What still stands among the others although it is lost. */
static void say_still_there(const struct confirming *confirming)
{
    const struct chosen *chosen = &confirming->chosen;
    for (size_t i = 0; i < chosen->count; i++) {
        const struct vessel *vessel = &chosen->vessels[i];
        if (vessel->fate == FATE_CONTAMINATED && vessel->state != VESSEL_DISCARDED &&
            vessel->state != VESSEL_USED) {
            screen_say(&confirming->app->out, 0, 2, ROLE_WARN,
                       "%s is still on record as %s. Closed and out: jarside discard %s",
                       vessel->label, vessel_state_words[vessel->state], vessel->label);
            return;
        }
    }
}

static enum exit_status tell(const struct confirming *confirming)
{
    struct app *app = confirming->app;
    const struct outcome *outcome = &confirming->outcome;
    struct text labels;

    if (arguments_flag(&app->arguments, "json"))
        return tell_json(confirming);
    text_init(&labels);
    voice_vessels(&labels, confirming->chosen.vessels, confirming->chosen.count);
    screen_say(&app->out, 0, 2, ROLE_PLAIN, "%s: confirmed as %s (%s)%s%s.", labels.bytes,
               voice_finding_name(&confirming->told, outcome->finding), outcome->status,
               outcome->cause[0] != '\0' ? ", because of: " : "",
               voice_cause_name(&confirming->told, outcome->cause));
    text_release(&labels);
    say_still_there(confirming);
    return app_flush(app);
}

static enum exit_status confirm(struct confirming *confirming)
{
    struct app *app = confirming->app;
    size_t labels = labels_at_front(confirming);
    record_init(RECORD_OUTCOME, &confirming->outcome);
    enum exit_status fault = app_moment(app, "at", &confirming->outcome.at);
    if (fault == EXIT_FINE)
        fault =
            labels_vessels(app, app->arguments.operands, labels, app->arena, &confirming->chosen);
    if (fault == EXIT_FINE)
        fault = read_finding(confirming, labels);
    if (fault == EXIT_FINE)
        fault = record(confirming);
    return fault == EXIT_FINE ? tell(confirming) : fault;
}

static enum exit_status run_confirm(struct app *app)
{
    struct confirming confirming = {.app = app};
    enum exit_status fault = app_open(app, JOURNAL_WRITE);
    if (fault != EXIT_FINE)
        return fault;
    confirming.told = app_told(app);
    return confirm(&confirming);
}

const struct command command_confirm = {
    .name = "confirm",
    .summary = "records what a vessel turned out to be",
    .operands = "VESSEL... FINDING",
    .detail = "A finding by its id, its name or a part of the name; 'jarside show' lists them. "
              "--how says how it is known. It feeds the post-mortem and what the rules learn. "
              "Never open a "
              "suspect vessel to find out.",
    .options = options,
    .run = run_confirm,
};
