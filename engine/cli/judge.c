/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>

#include "cli/app.h"
#include "prompt/prompt.h"
#include "rules/rules.h"
#include "view/verdict.h"

/* ==== judge =================================================================================== */

/* ---- what is said of it ---------------------------------------------------------------------- */

static void set_stakes(struct app *app)
{
    static const struct option count = {.name = "use", .kind = OPTION_NUMBER, .high = 1e6};
    const struct given *given = &app->given;
    struct stakes *stakes = triage_stakes(app->triage);
    if (!isnan(given->neighbours))
        stakes->neighbours = given->neighbours;
    if (!isnan(given->worth))
        stakes->worth = given->worth;
    if (given->use == NULL)
        return;
    size_t length = strcspn(given->use, ":");
    stakes->use = option_id(app, "use", arena_copy(app->arena, given->use, length), LIST_USES);
    if (given->use[length] == ':')
        option_read(app, &count, given->use + length + 1, &stakes->use_count);
}

static void set_signs(struct app *app)
{
    for (size_t i = 0; i < app->given.set.count; i++) {
        const char *setting = app->given.set.words[i], *equals = strchr(setting, '=');
        if (equals == NULL || equals == setting)
            app_stop(app, "'--set %s' should be SIGN=VALUE; 'jarside show' lists the signs",
                     setting);
        /* cppcheck-suppress nullPointerArithmeticRedundantCheck ; app_stop does not come back */
        const char *sign = arena_copy(app->arena, setting, (size_t)(equals - setting));
        /* cppcheck-suppress nullPointerArithmeticRedundantCheck */
        app_must(app, triage_set(app->triage, sign, equals + 1, (struct position){0}, app->diags));
    }
}

static enum status tell(struct app *app, bool one_of_many)
{
    const bool json = app->given.json, explain = app->given.explain;
    const bool line = app->given.lines && !json;
    const struct judged told = {app->rules, app->triage,
                                line              ? triage_judge_briefly(app->triage)
                                : json || explain ? triage_judge(app->triage)
                                                  : triage_judge_plainly(app->triage)};
    if (json)
        return app_json(app, view_verdict_json(&told), !one_of_many);
    if (line)
        view_verdict_line(&app->out, &told);
    else
        view_verdict(&app->out, &told, explain ? VERDICT_WHOLE : VERDICT_BRIEF);
    return app_flush(app);
}

/* Whether something of the text was understood or asked, or its words change the odds this way or
 * that by a factor of three: a greeting is nothing to judge. */
static bool tells(struct app *app)
{
    static const double weighs = 3.0;
    const struct heard all = triage_heard(app->triage);
    double said = 0.0;
    for (size_t i = 0; i < all.fact_count; i++)
        if (fact_said(&all.facts[i]))
            return true;
    for (size_t i = 0; i < all.weight_count; i++)
        said += fabs(all.weights[i].odds);
    return said >= log(weighs) || triage_asked(app->triage) != NULL;
}

/* ---- what to judge --------------------------------------------------------------------------- */

/* What the operands say; of a vessel what is on record may be all there is. */
static enum status judge_said(struct app *app)
{
    set_stakes(app);
    TEXT(text);
    for (size_t i = 0; i < app->operand_count; i++) {
        char block[4096];
        size_t got = 0;
        if (strcmp(app->operands[i], "-") != 0) {
            text_printf(&text, "%s%s", i > 0 ? " " : "", app->operands[i]);
            continue;
        }
        /* Up to one byte more than a description may have: longer ones are refused. */
        while (text.length <= READER_MAX_TEXT && (got = fread(block, 1, sizeof block, stdin)) > 0)
            text_add(&text, block, got);
        if (ferror(stdin))
            app_fail(app, NULL, "cannot read standard input");
    }
    app_must(app, triage_tell(app->triage, text.bytes, text.length, app->diags));
    if (app->given.vessel == NULL && app->given.set.count == 0 && !tells(app))
        app_stop(app,
                 "'%.200s' says nothing about a vessel; say what you see, for instance: "
                 "jarside judge \"day 11, amber drops on white growth\"",
                 text.bytes);
    set_signs(app); /* after the words: what is set stands, whatever they say */
    return tell(app, false);
}

static enum status judge_cases(struct app *app)
{
    const struct labelled_case *cases = NULL;
    size_t count = 0;
    enum status status = STATUS_OK;
    app_must(app,
             cases_load(app->given.case_file, app->rules, app->arena, &cases, &count, app->diags));
    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        triage_reset(app->triage);
        app_must(app, triage_case(app->triage, &cases[i], app->diags));
        set_stakes(app);
        set_signs(app);
        if (count > 1 && !app->given.json)
            screen_heading(&app->out, cases[i].id != NULL ? cases[i].id : "");
        status = tell(app, count > 1);
    }
    return status;
}

/* A line that cannot be judged is answered in its place, so that answers keep step with lines. */
static enum status line_error(struct app *app, size_t number, const char *what)
{
    diags_error(app->diags, (struct position){"standard input", number, 0}, "%s", what);
    app_report(app);
    if (app->given.json)
        return app_json(app, view_json("schema:i error:s", 1, what), false);
    text_puts(&app->out.out, "unread\t-\t0\n");
    return app_flush(app);
}

struct line {
    char *text;
    size_t length, number;
};

static enum status judge_line(struct app *app, const struct line *line)
{
    triage_reset(app->triage);
    set_stakes(app);
    set_signs(app);
    if (line->text[strspn(line->text, " \t\r")] == '\0')
        return line_error(app, line->number, "the line is empty");
    if (triage_tell(app->triage, line->text, line->length, app->diags) != STATUS_OK)
        return line_error(app, line->number, "the line is not text that can be read");
    if (app->given.set.count == 0 && !tells(app))
        return line_error(app, line->number, "the line says nothing about a vessel");
    return tell(app, true);
}

/* The next line of standard input; of one that is too long to be read no more than tells so. */
static bool line_read(struct arena *arena, size_t number, struct line *line)
{
    static char bytes[READER_MAX_TEXT + 2];
    size_t length = 0;
    int c = getc_unlocked(stdin);
    if (c == EOF)
        return false;
    for (; c != EOF && c != '\n'; c = getc_unlocked(stdin))
        if (length < sizeof bytes - 1)
            bytes[length++] = (char)c;
    *line = (struct line){arena_copy(arena, bytes, length), length, number};
    return true;
}

/* One of several threads that judge lines side by side. Rules, model and table of words are shared;
 * the reader, what is remembered from text to text, and what is to be written, each has for
 * itself. */
struct hand {
    struct app app;
    const struct app *from; /* what `app` is made after, on its own thread, at its first lines */
    bool first, made;
    const struct line *lines;
    size_t count;
    enum status status;
};

/* The first has the reader that there is. */
static void hand_make(struct hand *hand)
{
    const struct app *from = hand->from;
    struct app *app = &hand->app;
    hand->made = true;
    *app = *from;
    app->held = true;
    app->arena = arena_new();
    app->diags = diags_new();
    text_init(&app->out.out);
    text_init(&app->err.out);
    if (!hand->first) /* the rules have been compiled without a fault */
        app->reader = reader_new(app->rules, app->diags);
    app->words = words_twin(app->words);
    app->triage = triage_new(app->rules, app->reader, app->reasoner);
    triage_share_cooks(app->triage, from->triage);
    triage_weigh_words(app->triage, app->words);
}

static void hand_release(struct hand *hand)
{
    if (!hand->made)
        return;
    triage_free(hand->app.triage);
    words_free(hand->app.words);
    if (!hand->first)
        reader_free(hand->app.reader);
    text_release(&hand->app.out.out);
    text_release(&hand->app.err.out);
    diags_free(hand->app.diags);
    arena_free(hand->app.arena);
}

static void *hand_judges(void *context)
{
    struct hand *hand = context;
    hand->status = STATUS_OK;
    if (hand->count == 0)
        return NULL;
    if (!hand->made)
        hand_make(hand);
    arena_reset(hand->app.arena);
    for (size_t i = 0; i < hand->count && hand->status == STATUS_OK; i++)
        hand->status = judge_line(&hand->app, &hand->lines[i]);
    return NULL;
}

/* Gives each hand its part of the lines, waits, and writes what they made in their order. */
static enum status hands_judge(struct app *app, struct hand *hands, size_t hand_count,
                               const struct line *lines, size_t count)
{
    enum status status = STATUS_OK;
    pthread_t threads[MOST_JOBS];
    bool apart[MOST_JOBS] = {false};
    for (size_t i = hand_count; i-- > 0;) {
        size_t from = count * i / hand_count, to = count * (i + 1) / hand_count;
        hands[i].lines = lines + from;
        hands[i].count = to - from;
        apart[i] = i > 0 && pthread_create(&threads[i], NULL, hand_judges, &hands[i]) == 0;
        if (!apart[i])
            hand_judges(&hands[i]);
    }
    for (size_t i = 0; i < hand_count; i++) {
        if (apart[i])
            pthread_join(threads[i], NULL);
        if (!hands[i].made)
            continue;
        (void)screen_flush(&hands[i].app.err, stderr);
        if (status == STATUS_OK) {
            status = screen_flush(&hands[i].app.out, stdout);
            status = status == STATUS_IO ? app_refused(app, errno) : status;
        }
        status = status == STATUS_OK ? hands[i].status : status;
    }
    return status;
}

static enum status judge_lines(struct app *app)
{
    enum { EACH = 1024 }; /* lines for a hand at a time: so many that all take about as long */
    const size_t jobs = (size_t)app->given.jobs, most = jobs > 1 ? jobs * EACH : 1;
    size_t number = 0, count = 0;
    struct arena *arena SCOPED_ARENA = arena_new();
    struct line *lines = arena_array(app->arena, most, sizeof *lines);
    struct hand *hands = arena_array(app->arena, jobs, sizeof *hands);
    enum status status = STATUS_OK;
    set_stakes(app); /* once before any thread: what is wrong with them ends the program */
    set_signs(app);
    for (size_t i = 0; i < jobs; i++)
        hands[i] = (struct hand){.from = app, .first = i == 0};
    do {
        arena_reset(arena);
        for (count = 0; count < most && line_read(arena, number + 1, &lines[count]); count++)
            number++;
        status = hands_judge(app, hands, jobs, lines, count);
    } while (status == STATUS_OK && count == most);
    for (size_t i = 0; i < jobs; i++)
        hand_release(&hands[i]);
    if (status == STATUS_OK && ferror(stdin))
        return app_error(app, STATUS_IO, NULL, "cannot read standard input: %s", strerror(errno));
    return status;
}

/* Opens a vessel as its last look did, and says again what that said: what it is judged to be where
 * nobody says anything new. Nothing where no look counts. */
static void look_again(struct app *app, struct consultation *consultation)
{
    const char *label = consultation->vessel.label;
    if (consultation->look_count == 0)
        return;
    const struct look last = consultation->looks[consultation->look_count - 1];
    struct consult_request then = consultation->request;
    const struct moment now = then.now;
    then.now = last.at;
    then.corrects = last.id;
    look_open(app, &then, consultation);
    app_must(app, triage_tell(app->triage, last.words, strlen(last.words), app->diags));
    if (!app->given.json)
        app_aside(app, "%s as of the look of %s: \"%s\"", label,
                  consult_day(last.at, now, MOMENT_WORDS), last.words);
}

static enum status run_judge(struct app *app)
{
    const struct given *given = &app->given;
    const bool set = given->set.count > 0;
    const char *input = given->lines ? "--lines" : given->case_file != NULL ? "--case" : NULL;
    struct consultation consultation;
    if (input != NULL && app->operand_count > 0)
        app_stop(app, "give either a description or %s, not both", input);
    if (given->case_file != NULL && given->lines)
        app_stop(app, "give either --case or --lines, not both");
    if (given->vessel != NULL && input != NULL)
        app_stop(app, "--vessel goes with a description, not with %s", input);
    if (input != NULL)
        return given->lines ? judge_lines(app) : judge_cases(app);
    if (given->vessel != NULL) {
        struct vessel vessel;
        app_open(app, JOURNAL_READ);
        record_init(RECORD_VESSEL, &vessel);
        labels_find(app, RECORD_VESSEL, given->vessel, &vessel);
        const struct consult_request request = {.label = given->vessel,
                                                .now = vessel_gone(&vessel) ? vessel.ended
                                                                            : moment_now(),
                                                .without_siblings = given->without_siblings};
        look_open(app, &request, &consultation);
        if (app->operand_count == 0 && !set)
            look_again(app, &consultation);
        return judge_said(app);
    }
    const char *said = arena_join(app->arena, app->operands, app->operand_count);
    if (!set && said[strspn(said, " \t\n")] == '\0')
        app_stop(app, "nothing to judge; say what you see, for instance: "
                      "jarside judge \"day 11, amber drops on white growth\"");
    config_recall(app);
    return judge_said(app);
}

/* ==== ask ===================================================================================== */

static enum status run_ask(struct app *app)
{
    if (app->given.no_input)
        app_stop(app, "a conversation needs input; "
                      "'jarside judge \"what you see\"' answers without asking");
    config_recall(app);
    struct prompt_opening opening = {
        .rules = app->rules,
        .triage = app->triage,
        .screen = &app->out,
        .words = app->operands,
        .word_count = app->operand_count,
    };
    return prompt_converse(&opening, app->diags);
}

/* ==== show ==================================================================================== */

static enum status run_show(struct app *app)
{
    struct names names = {.count = 0};
    if (app->operand_count == 0)
        view_show_all(&app->out, app->rules);
    const char *whole = arena_join(app->arena, app->operands, app->operand_count);
    const bool one =
        app->operand_count > 1 && strchr(whole, '_') == NULL; /* a name of several words */
    for (size_t i = 0; i < (one ? 1 : app->operand_count); i++) {
        const char *id = one ? whole : app->operands[i];
        if (i > 0)
            screen_blank(&app->out);
        if (view_show(&app->out, app->rules, id))
            continue;
        names.count = view_ids(app->rules, names.ids, names.names, MOST_NAMES);
        const size_t like = names_meant(app, &names, "finding, cause or sign", id);
        (void)view_show(&app->out, app->rules, names.ids[like]);
    }
    return app_flush(app);
}

const struct command judge_commands[] = {
    {"ask", run_ask, .needs = NEEDS_RULES, .judges = true},
    {"judge", run_judge, NEEDS_RULES, .json = true, .judges = true},
    {"show", run_show, .needs = NEEDS_RULES},
    {0},
};
