/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "cli/app.h"
#include "cli/cli.h"
#include "cli/exchange.h"
#include "prompt/input.h"
#include "review/review.h"
#include "view/review.h"

struct given {
    const char *csv, *since, *html;
    bool demo, details, json, force;
};

#define AT(member) .target = offsetof(struct given, member)
static const struct option options[] = {
    {"csv", "FILE", "review a table with one row per vessel instead of the journal; '-' for input",
     OPTION_TEXT, AT(csv)},
    {"demo", NULL, "review the invented season that comes with the program", OPTION_FLAG, AT(demo)},
    {"since", "DATE", "only vessels started on that day or later", OPTION_TEXT, AT(since)},
    {"details", NULL, "show every factor, what went together, times, batches, and how it decides",
     OPTION_FLAG, AT(details)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {"html", "FILE", "write a page with charts instead, for screen and paper; '-' for output",
     OPTION_TEXT, AT(html)},
    {"force", NULL, "replace a file that exists", OPTION_FLAG, AT(force)},
    {0},
};
#undef AT

/* A share has no size of its own; the bar is told one that is large enough to be shown. */
static void tell_progress(void *context, const char *what, double share)
{
    enum { PARTS = PROGRESS_BAR_LEAST };
    const struct progress progress = progress_bar_listener(context);
    progress_tell(&progress, what, (uint64_t)(share * PARTS), PARTS);
}

/* From the table, the invented season, or the journal. */
static void read_vessels(struct app *app, const struct given *given, struct dataset *dataset)
{
    int32_t today = (int32_t)moment_day(moment_now()), since = DAY_NONE;
    struct moment moment;

    if (given->since != NULL) {
        if (!moment_read(given->since, moment_now(), &moment))
            app_stop(app, "not a date I can read: '--since %s'; write 2026-03-01", given->since);
        since = (int32_t)moment_day(moment);
    }
    if (given->csv != NULL) {
        bool input = strcmp(given->csv, "-") == 0;
        app_must(app, dataset_from_table(input ? "input" : given->csv, input ? stdin : NULL, since,
                                         today, app->arena, dataset, app->diags));
        return;
    }
    if (given->demo)
        demo_for_now(app);
    app_must(app, app_journal(app, JOURNAL_READ)); /* which is open then */
    app_must(app, dataset_from_journal(app->journal, app->rules, since, today, app->arena, dataset,
                                       app->diags));
}

/* ---- a batch that is told ----------------------------------------------------------------------- */

/* Puts a question, with the numbered answers of a sign if it is about one; malloc'd, or NULL when the
 * grower leaves. */
static char *ask(struct app *app, struct lines *lines, const char *question,
                 const struct observable *about)
{
    char *answer = NULL, number[24];
    screen_blank(&app->out);
    screen_say(&app->out, 0, 0, ROLE_STRONG, "%s", question);
    for (size_t v = 0; about != NULL && v < about->value_count; v++) {
        snprintf(number, sizeof number, "%zu.", v + 1);
        screen_item(&app->out, 2, number, ROLE_PLAIN, about->values[v].label);
    }
    app_must(app, app_flush(app));
    return lines_read(lines, "> ", &answer) == READ_LINE ? answer : NULL;
}

/* Asks what happened and then what tells most, at most so many questions in all. */
static enum status converse(struct app *app, struct lines *lines)
{
    enum { QUESTIONS = 8 };
    static const char *const open[] = {
        "How many did you lose, of how many? What do the lost ones look like, and what was done?",
        "How many were lost, of how many?"};
    bool *asked = arena_array(app->arena, app->rules->observable_count, sizeof *asked);
    struct review_account account = {.counts = {0, 0}};
    bool there = true;
    size_t put = 0;

    screen_say(
        &app->out, 0, 0, ROLE_PLAIN,
        "There is no journal with a batch to review, so tell me of one bad batch: %d questions "
        "at most. Enter passes one, ^D ends them.",
        QUESTIONS);
    for (; there && put < QUESTIONS; put++) {
        int next = RULES_NONE;
        if (put >= sizeof open / sizeof *open || account.counts.total > 0) {
            app_must(app, account_judge(app->triage, app->reasoner, app->arena, &account));
            next = account_next(app->triage, app->reasoner, &account, asked);
            if (next == RULES_NONE)
                break;
        }
        const struct observable *about = next != RULES_NONE ? &app->rules->observables[next] : NULL;
        char *answer = ask(app, lines, about != NULL ? about->ask : open[put], about);
        there = answer != NULL;
        if (there && line_trim(answer)[0] != '\0') {
            account_count(answer, strlen(answer), &account);
            enum status status = about != NULL
                                     ? triage_answer(app->triage, (size_t)next, answer, app->diags)
                                     : triage_tell(app->triage, answer, strlen(answer), app->diags);
            if (status != STATUS_OK)
                app_report(app); /* and goes on */
        }
        free(answer);
    }
    lines_close(lines);
    app_must(app, account_judge(app->triage, app->reasoner, app->arena, &account));
    screen_blank(&app->out);
    view_account(&app->out, app->triage, &account);
    return app_flush(app);
}

static enum status review_words(struct app *app, bool json)
{
    struct review_account account = {.counts = {0, 0}};
    const char *words =
        arena_join(app->arena, app->arguments.operands, app->arguments.operand_count);
    account_count(words, strlen(words), &account);
    app_must(app, triage_tell(app->triage, words, strlen(words), app->diags));
    const struct fact *facts = NULL;
    if (account.counts.total == 0 && triage_facts(app->triage, &facts) == 0)
        app_stop(
            app,
            "nothing in '%s' is a batch or tells of one; say how many were lost, and what they "
            "look like; a table is given as --csv %s",
            app->arguments.operands[0], app->arguments.operands[0]);
    app_must(app, account_judge(app->triage, app->reasoner, app->arena, &account));
    if (json)
        return app_json(app, view_account_json(app->triage, &account));
    view_account(&app->out, app->triage, &account);
    return app_flush(app);
}

/* Leaves of the dataset the batch that the operands name; false when they name none. */
static bool choose_batch(struct app *app, struct dataset *dataset)
{
    const struct arguments *arguments = &app->arguments;
    const char *name = arguments->operand_count == 1 ? arguments->operands[0] : "";
    if (dataset->batch >= dataset->factor_count)
        return false;
    const struct factor *batch = &dataset->factors[dataset->batch];
    for (uint32_t level = 0; level < batch->level_count; level++)
        if (strcasecmp(batch->levels[level], name) == 0) {
            dataset_only(dataset, dataset->batch, level, app->arena);
            return true;
        }
    return false;
}

static enum status run_review(struct app *app)
{
    struct given given = {0};
    struct progress_bar bar;
    struct review_progress progress = {tell_progress, &bar};
    struct dataset dataset = {0};
    struct review review;
    struct text page;

    options_fill(app, &given);
    if (given.demo && given.csv != NULL)
        app_stop(app, "give either --demo or --csv, not both");
    if (given.json && given.html != NULL)
        app_stop(app, "give either --json or --html, not both");
    app_must(app, app_load(app, NULL, 0));
    bool named = app->arguments.operand_count > 0;
    bool kept =
        given.csv != NULL || given.demo || access(app_journal_path(app), F_OK) == 0; /* somewhere */
    if (kept)
        read_vessels(app, &given, &dataset);
    if (named && (!kept || !choose_batch(app, &dataset))) {
        if (given.html != NULL || given.csv != NULL)
            app_stop(app, "'%s' is no batch there; a page and a table go with a batch or with all",
                     app->arguments.operands[0]);
        return review_words(app, given.json);
    }
    struct lines *lines =
        dataset.vessel_count == 0 && given.csv == NULL && !given.json && given.html == NULL
            ? lines_open()
            : NULL;
    if (lines != NULL)
        return converse(app, lines);
    if (!kept)
        read_vessels(app, &given, &dataset); /* says how to start a journal */
    progress_bar_init(&bar, stderr);
    enum status status = review_make(&dataset, app->reasoner, &progress, app->arena, &review);
    progress_bar_clear(&bar);
    app_must(app, status);
    if (given.html != NULL) {
        text_init(&page);
        view_review_html(&page, &review);
        app_write(app, given.html, &page, given.force);
        if (strcmp(given.html, "-") != 0)
            screen_say(&app->out, 0, 0, ROLE_PLAIN, "Written to %s. Open it in any browser.",
                       given.html);
        return app_flush(app);
    }
    if (given.json)
        return app_json(app, view_review_json(&review));
    view_review(&app->out, &review, given.details);
    if (!given.details && review.totals.counts.total > 0)
        screen_say(&app->out, 0, 0, ROLE_QUIET,
                   "--details: causes, tests, the next batch, every factor, and how it decides.");
    return app_flush(app);
}

const struct command review_commands[] = {
    {"review", "finds what the lost vessels have in common, and what to change first", "[TEXT...]",
     "Shows what was lost; which cook, starter, session, grain lot or place most likely caused it "
     "and how sure that is; what is confounded; which test would settle it; and how many vessels "
     "a change would have saved. A table needs one row per vessel, a column that says lost or ok, "
     "and columns for what vessels share. TEXT tells of one bad batch that is in no journal: "
     "jarside "
     "review \"I lost 9 of 12, sour within four days, cooked 50 minutes\". With no journal it "
     "asks.",
     options, run_review},
    {0},
};
