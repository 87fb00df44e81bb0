/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli/app.h"
#include "prompt/input.h"
#include "review/review.h"
#include "view/review.h"

/* The day that words begin with: a date, "March", "last month", "last week". */
static int32_t since_day(struct app *app, const char *words)
{
    const struct moment now = moment_now();
    const int64_t today = moment_day(now);
    char written[MOMENT_ROOM];
    struct moment moment;
    if (moment_read(arena_format(app->arena, "1 %s", words), now, &moment)) /* a month */
        return (int32_t)moment_day(moment);
    if (strcasecmp(words, "last week") == 0 || strcasecmp(words, "this week") == 0)
        return (int32_t)today - 7;
    const bool last = strcasecmp(words, "last month") == 0;
    if (!last && strcasecmp(words, "this month") != 0)
        return (int32_t)moment_day(option_moment(app, "--since ", words));
    for (int64_t day = today, firsts = last ? 2 : 1;; day--) { /* of a month, to go back to */
        day_write(day, DAY_ISO, written);
        firsts -= strcmp(written + 8, "01") == 0;
        if (firsts == 0)
            return (int32_t)day;
    }
}

/* From the table, the invented season, or the journal; none where an operand is no batch there. */
static void read_vessels(struct app *app, struct dataset *dataset)
{
    const struct given *given = &app->given;
    const char *path = given->csv;
    const char *words = arena_join(app->arena, app->operands, app->operand_count);
    struct dataset_wanted wanted = {(int32_t)moment_day(moment_now()), DAY_NONE, NULL};

    if (app->operand_count > 0) { /* one label of several words, or several */
        wanted.batches = words;
        for (size_t i = 0; i < app->operand_count; i++)
            words_add(app, &wanted.batches, "|", "%s", app->operands[i]);
    }

    if (given->since != NULL)
        wanted.since = since_day(app, given->since);
    if (path != NULL) {
        bool input = strcmp(path, "-") == 0;
        app_must(app, dataset_from_table(input ? "input" : path, input ? stdin : NULL, app->rules,
                                         &wanted, app->arena, dataset, app->diags));
    } else {
        if (given->demo) {
            app_must(app, journal_open(NULL, JOURNAL_CREATE, &app->journal, app->diags));
            demo_build_here(app, true);
        }
        app_must(app, app_journal(app, JOURNAL_READ)); /* which is open then */
        app_must(app, dataset_from_journal(app->journal, app->rules, &wanted, app->arena, dataset));
    }
    bool found = app->operand_count == 0 || dataset->vessel_count > 0;
    const bool several = app->operand_count > 1 && dataset->vessel_count > 0 && path == NULL &&
                         labels_id(app, RECORD_BATCH, words) == 0;
    for (size_t i = 0; several && i < app->operand_count; i++)
        if (labels_id(app, RECORD_BATCH, app->operands[i]) == 0)
            app_stop(app, "there is no batch '%s'; 'jarside list batches' shows them",
                     app->operands[i]);
    for (size_t c = 0; found && c < given->changed.count; c++)
        if (dataset_add_changes(dataset, given->changed.words[c], LEVEL_NONE, app->arena) == 0)
            app_stop(app,
                     "'--changed %s' names no day with vessels before and after it; write "
                     "'heater died on 3 March'",
                     given->changed.words[c]);
}

/* ---- a batch that is told ----------------------------------------------------------------------- */

/* Puts a question, with a sign's numbered answers; malloc'd, or NULL when the grower leaves. */
static char *ask(struct app *app, struct lines *lines, const char *question,
                 const struct observable *about)
{
    char *answer = NULL;
    screen_blank(&app->out);
    screen_say(&app->out, 0, 0, ROLE_STRONG, "%s", question);
    for (size_t v = 0; about != NULL && v < about->value_count; v++)
        screen_item(&app->out, 2, arena_format(app->arena, "%zu.", v + 1), ROLE_PLAIN,
                    about->values[v].label);
    app_must(app, app_flush(app));
    return lines_read(lines, "> ", &answer) == READ_LINE ? answer : NULL;
}

static enum status tell_account(struct app *app, struct review_account *account)
{
    app_must(app, account_judge(app->triage, app->reasoner, app->arena, account));
    return app_tell(app, "account.told", view_account_json(app->triage, account));
}

struct telling {
    const struct rules *rules;
    struct words *words; /* of accounts */
    double *told;
    bool telling; /* its words tell causes apart, by a factor of twenty or more */
    struct text text;
    struct review_account account;
};

static void telling_begin(struct app *app, struct telling *telling)
{
    *telling = (struct telling){
        .rules = app->rules,
        .words = words_new(app->rules, LABELS_CAUSES),
        .told = arena_array(app->arena, app->rules->cause_count, sizeof *telling->told)};
    telling->account.told = telling->told;
    text_init(&telling->text);
    app_must(app, app_read_words(app, telling->words, "cause-words.tsv"));
}

static void telling_hear(struct telling *telling, const char *words)
{
    account_count(words, strlen(words), &telling->account);
    text_printf(&telling->text, "%s\n", words);
    words_weigh(telling->words, telling->text.bytes, telling->text.length, telling->told, NULL, 0);
    for (size_t c = 0; c < telling->rules->cause_count; c++)
        telling->telling = telling->telling || telling->told[c] < -3.0;
}

static void telling_end(struct telling *telling)
{
    text_release(&telling->text);
    words_free(telling->words);
}

/* Asks what happened and then what tells most, at most so many questions in all. */
static enum status converse(struct app *app, struct lines *lines)
{
    enum { QUESTIONS = 8 };
    static const char *const open[] = {
        "How many did you lose, of how many? What do the lost ones look like, and what was done?",
        "How many were lost, of how many?"};
    bool *asked = arena_array(app->arena, app->rules->observable_count, sizeof *asked);
    struct telling telling;
    struct review_account *account = &telling.account;
    bool there = true;

    telling_begin(app, &telling);

    screen_say(
        &app->out, 0, 0, ROLE_PLAIN,
        "There is no journal with a batch to review, so tell me of one bad batch: %d questions "
        "at most. Enter skips one, ^D ends them.",
        QUESTIONS);
    for (size_t put = 0; there && put < QUESTIONS; put++) {
        const struct observable *about = NULL;
        int next = RULES_NONE;
        if (put >= sizeof open / sizeof *open || account->counts.total > 0) {
            app_must(app, account_judge(app->triage, app->reasoner, app->arena, account));
            next = account_next(app->triage, app->reasoner, account, asked);
            if (next == RULES_NONE)
                break;
            about = &app->rules->observables[next];
        }
        char *answer = ask(app, lines, about != NULL ? about->ask : open[put > 0], about);
        there = answer != NULL;
        if (there && line_trim(answer)[0] != '\0') {
            telling_hear(&telling, answer);
            if ((about != NULL
                     ? triage_answer(app->triage, (size_t)next, answer, app->diags)
                     : triage_tell(app->triage, answer, strlen(answer), app->diags)) != STATUS_OK)
                app_report(app); /* and goes on */
        }
        free(answer);
    }
    lines_close(lines);
    screen_blank(&app->out);
    telling_end(&telling);
    return tell_account(app, account);
}

/* Reads the words as the account of a bad batch. False where there is a journal and they tell of
 * none, but ask: "why did I lose so many?" */
static bool hear_account(struct app *app, bool kept, struct review_account *account)
{
    struct telling telling;
    const char *words = arena_join(app->arena, app->operands, app->operand_count);
    telling_begin(app, &telling);
    telling_hear(&telling, words);
    telling_end(&telling);
    *account = telling.account;
    app_must(app, triage_tell(app->triage, words, strlen(words), app->diags));
    if (account->counts.total > 0 || triage_heard(app->triage).fact_count > 0)
        return true;
    if (kept && strchr(words, ' ') != NULL)
        return false;
    if (!telling.telling)
        app_stop(
            app,
            "nothing in '%s' is a batch or tells of one; say how many were lost, and what they "
            "look like; a table is given as --csv %s",
            app->operands[0], app->operands[0]);
    return true;
}

static enum status run_review(struct app *app)
{
    const struct given *given = &app->given;
    const bool json = app->given.json, html = given->html != NULL, table = given->csv != NULL;
    struct progress_bar bar;
    struct dataset dataset = {0};
    struct review review;

    if (given->demo && table)
        app_stop(app, "give either --demo or --csv, not both");
    if (json && html)
        app_stop(app, "give either --json or --html, not both");
    const bool kept = table || given->demo || access(app_journal_path(app), F_OK) == 0;
    if (kept)
        read_vessels(app, &dataset);
    if (app->operand_count > 0 && dataset.vessel_count == 0) {
        if (html || table)
            app_stop(app, "'%s' is no batch there; a page and a table go with a batch or with all",
                     app->operands[0]);
        struct review_account account;
        if (hear_account(app, kept, &account))
            return tell_account(app, &account);
        app->operand_count = 0;
        read_vessels(app, &dataset);
        app_aside(app, "Your question is answered from the whole journal; --since DATE, or the "
                       "labels of batches, "
                       "narrow it.");
    }
    struct lines *lines =
        dataset.vessel_count == 0 && !table && !json && !html ? lines_open(false) : NULL;
    if (lines != NULL)
        return converse(app, lines);
    if (!kept)
        read_vessels(app, &dataset); /* says how to start a journal */
    progress_bar_init(&bar, stderr);
    const struct progress progress = progress_bar_listener(&bar);
    enum status status = review_make(&dataset, app->reasoner, &progress, app->arena, &review);
    progress_bar_clear(&bar);
    app_must(app, status);
    if (html) {
        TEXT(page);
        view_review_html(&page, &review);
        return app_page(app, &page, " Open it in any browser.");
    }
    return app_tell(app, given->details ? "review.full" : "review",
                    view_review_json(&review, json));
}

const struct command review_commands[] = {
    {"review", run_review, NEEDS_RULES, .json = true, .judges = true},
    {0},
};
