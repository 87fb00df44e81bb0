/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <math.h>
#include <pthread.h>
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

enum { JOBS_MOST = 64 };

struct judging {
    struct app *app;
    struct texts settings;
    const char *path, *vessel, *use;
    bool lines, json, explain, without_siblings;
    double jobs;
    struct stakes stakes; /* NAN, RULES_NONE: not said */
};
#define AT(member) .target = offsetof(struct judging, member)

static const struct option options[] = {
    {"set", "SIGN=VALUE", "state one sign directly; may be repeated (-VALUE denies, VALUE? doubts)",
     OPTION_TEXTS, AT(settings)},
    {"case", "FILE", "judge the case or cases in FILE", OPTION_TEXT, AT(path)},
    {"lines", NULL, "read one description per line from standard input", OPTION_FLAG, AT(lines)},
    {"jobs", "N", "with --lines: judge on so many cores at once, a block of lines at a time",
     OPTION_NUMBER, AT(jobs), .low = 1, .high = JOBS_MOST},
    {"json", NULL, "print JSON (with --lines: one object a line)", OPTION_FLAG, AT(json)},
    {"explain", NULL,
     "show how much each answer counts, what would change the action, what to do next time",
     OPTION_FLAG, AT(explain)},
    {"vessel", "LABEL",
     "judge this vessel from the journal, with all that is on record; save nothing", OPTION_TEXT,
     AT(vessel)},
    {"without-siblings", NULL, "with --vessel: as if nothing were known about the others",
     OPTION_FLAG, AT(without_siblings)},
    {"neighbours", "N", "how many vessels are next to it", OPTION_NUMBER, AT(stakes.neighbours),
     .high = 1e6},
    {"use", "USE[:N]", "what it is for, and for how many vessels: for instance bulk:4", OPTION_TEXT,
     AT(use)},
    {"worth", "N", "what it is worth, in ordinary vessels", OPTION_NUMBER, AT(stakes.worth),
     .low = 1e-3, .high = 1e6},
    {0},
};
#undef AT

/* ---- what is said of it ---------------------------------------------------------------------- */

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

static void set_signs(const struct judging *judging)
{
    struct app *app = judging->app;
    for (size_t i = 0; i < judging->settings.count; i++) {
        const char *setting = judging->settings.words[i], *equals = strchr(setting, '=');
        if (equals == NULL || equals == setting)
            app_stop(app, "'--set %s' should be SIGN=VALUE; 'jarside show' lists the signs",
                     setting);
        /* cppcheck-suppress nullPointerArithmeticRedundantCheck ; app_stop does not come back */
        const char *sign = arena_copy(app->arena, setting, (size_t)(equals - setting));
        /* cppcheck-suppress nullPointerArithmeticRedundantCheck */
        app_must(app, triage_set(app->triage, sign, equals + 1, (struct position){0}, app->diags));
    }
}

static enum status tell(const struct judging *judging, bool one_of_many)
{
    struct app *app = judging->app;
    bool line = judging->lines && !judging->json, whole = judging->json || judging->explain;
    const struct judged told = {app->rules, app->triage,
                                line    ? triage_judge_briefly(app->triage)
                                : whole ? triage_judge(app->triage)
                                        : triage_judge_plainly(app->triage)};
    if (judging->json)
        return (one_of_many ? app_json_line : app_json)(app, view_verdict_json(&told));
    if (line)
        view_verdict_line(&app->out, &told);
    else
        view_verdict(&app->out, &told, judging->explain ? VERDICT_WHOLE : VERDICT_BRIEF);
    return app_flush(app);
}

/* ---- what to judge --------------------------------------------------------------------------- */

/* What the operands say; of a vessel what is on record may be all there is. */
static enum status judge_said(const struct judging *judging)
{
    struct app *app = judging->app;
    const struct arguments *arguments = &app->arguments;
    struct text text;

    set_stakes(judging);
    text_init(&text);
    for (size_t i = 0; i < arguments->operand_count; i++) {
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
            app_must(app, app_error(app, STATUS_IO, NULL, "cannot read standard input"));
    }
    enum status status = triage_tell(app->triage, text.bytes, text.length, app->diags);
    text_release(&text);
    app_must(app, status);
    set_signs(judging); /* after the words: what is set stands, whatever they say */
    return tell(judging, false);
}

static enum status judge_cases(const struct judging *judging)
{
    struct app *app = judging->app;
    const struct labelled_case *cases = NULL;
    size_t count = 0;
    enum status status = STATUS_OK;
    app_must(app, cases_load(judging->path, app->rules, app->arena, &cases, &count, app->diags));
    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        triage_reset(app->triage);
        app_must(app, triage_case(app->triage, &cases[i], app->diags));
        set_stakes(judging);
        set_signs(judging);
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
        return app_json_line(app, json_pack("{s:i, s:s}", "schema", 1, "error", what));
    text_puts(&app->out.out, "unread\t-\t0\n");
    return app_flush(app);
}

struct line {
    char *text;
    size_t length, number;
};

static enum status judge_line(const struct judging *judging, const struct line *line)
{
    struct app *app = judging->app;
    triage_reset(app->triage);
    set_stakes(judging);
    set_signs(judging);
    if (line->text[strspn(line->text, " \t\r")] == '\0')
        return line_error(judging, line->number, "the line is empty");
    if (triage_tell(app->triage, line->text, line->length, app->diags) != STATUS_OK)
        return line_error(judging, line->number, "the line is not text that can be read");
    return tell(judging, true);
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

/* One of several threads that judge lines side by side. What the rules were compiled to is shared; what
 * is remembered from text to text, and what is to be written, each has for itself. */
struct hand {
    struct app app;
    struct judging judging;
    const struct line *lines;
    size_t count;
    enum status status;
};

static void hand_init(struct hand *hand, const struct judging *judging)
{
    struct app *app = &hand->app;
    hand->judging = *judging;
    hand->judging.app = app;
    *app = *judging->app;
    app->held = true;
    app->arena = arena_new();
    app->diags = diags_new();
    text_init(&app->out.out);
    text_init(&app->err.out);
    app->reader = reader_twin(app->reader);
    app->words = words_twin(app->words);
    app->triage = triage_new(app->rules, app->reader, app->reasoner);
    triage_weigh_words(app->triage, app->words);
}

static void hand_release(struct hand *hand)
{
    triage_free(hand->app.triage);
    words_free(hand->app.words);
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
    arena_reset(hand->app.arena);
    for (size_t i = 0; i < hand->count && hand->status == STATUS_OK; i++)
        hand->status = judge_line(&hand->judging, &hand->lines[i]);
    return NULL;
}

/* Gives each hand its part of the lines, waits, and writes what they made in the order of the lines. */
static enum status hands_judge(struct app *app, struct hand *hands, size_t hand_count,
                               const struct line *lines, size_t count)
{
    enum status status = STATUS_OK;
    pthread_t threads[JOBS_MOST];
    bool apart[JOBS_MOST] = {false};
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
        (void)screen_flush(&hands[i].app.err, stderr);
        if (status == STATUS_OK) {
            status = screen_flush(&hands[i].app.out, stdout);
            status = status == STATUS_IO ? app_refused(app, errno) : status;
        }
        status = status == STATUS_OK ? hands[i].status : status;
    }
    return status;
}

static enum status judge_lines(const struct judging *judging)
{
    enum { EACH = 256 }; /* lines for a hand at a time */
    struct app *app = judging->app;
    size_t jobs = (size_t)judging->jobs, number = 0, count = 0, most = jobs > 1 ? jobs * EACH : 1;
    struct arena *arena = arena_new();
    struct line *lines = arena_array(app->arena, most, sizeof *lines);
    struct hand *hands = jobs > 1 ? arena_array(app->arena, jobs, sizeof *hands) : NULL;
    enum status status = STATUS_OK;
    set_signs(judging); /* once before any thread: what is wrong with them ends the program */
    for (size_t i = 0; i < jobs && hands != NULL; i++)
        hand_init(&hands[i], judging);
    do {
        arena_reset(arena);
        for (count = 0; count < most && line_read(arena, number + 1, &lines[count]); count++)
            number++;
        if (hands != NULL)
            status = hands_judge(app, hands, jobs, lines, count);
        else if (count > 0)
            status = judge_line(judging, lines);
    } while (status == STATUS_OK && count == most);
    for (size_t i = 0; i < jobs && hands != NULL; i++)
        hand_release(&hands[i]);
    arena_free(arena);
    if (status == STATUS_OK && ferror(stdin))
        return app_error(app, STATUS_IO, NULL, "cannot read standard input: %s", strerror(errno));
    return status;
}

static enum status run_judge(struct app *app)
{
    struct judging judging = {
        .app = app,
        .jobs = 1,
        .stakes = {.worth = NAN, .neighbours = NAN, .use = RULES_NONE, .use_count = NAN}};
    const struct arguments *arguments = &app->arguments;
    options_fill(app, &judging);
    const char *input = judging.lines ? "--lines" : judging.path != NULL ? "--case" : NULL;
    if (input != NULL && arguments->operand_count > 0)
        app_stop(app, "give either a description or %s, not both", input);
    if (judging.path != NULL && judging.lines)
        app_stop(app, "give either --case or --lines, not both");
    if (judging.vessel != NULL && input != NULL)
        app_stop(app, "--vessel goes with a description, not with %s", input);
    app_must(app, app_load(app, NULL, 0));
    if (judging.use != NULL) {
        const struct option count = {.name = "use", .kind = OPTION_NUMBER, .high = 1e6};
        size_t length = strcspn(judging.use, ":");
        judging.stakes.use =
            option_id(app, "use", arena_copy(app->arena, judging.use, length), LIST_USES);
        if (judging.use[length] == ':')
            option_read(app, &count, judging.use + length + 1, &judging.stakes.use_count);
    }
    if (judging.lines)
        return judge_lines(&judging);
    if (judging.path != NULL)
        return judge_cases(&judging);
    if (judging.vessel != NULL) {
        const struct looking looking = {.app = app,
                                        .at = moment_now(),
                                        .without_siblings = judging.without_siblings,
                                        .json = judging.json};
        struct consultation consultation;
        app_open(app, JOURNAL_READ);
        look_open(&looking, judging.vessel, &consultation);
        if (arguments->operand_count == 0 && judging.settings.count == 0)
            look_again(&looking, &consultation);
        return judge_said(&judging);
    }
    const char *said = arena_join(app->arena, arguments->operands, arguments->operand_count);
    if (judging.settings.count == 0 && said[strspn(said, " \t\n")] == '\0')
        app_stop(app, "nothing to judge; say what you see, for instance: "
                      "jarside judge \"day 11, amber drops on white growth\"");
    config_recall(app);
    return judge_said(&judging);
}

/* ==== ask ===================================================================================== */

static const struct option ask_options[] = {
    {"no-input", NULL, "do not ask: fail, and name the question", OPTION_FLAG, .target = 0},
    {0},
};

static enum status run_ask(struct app *app)
{
    bool no_input = false;
    app_must(app, app_load(app, NULL, 0));
    options_fill(app, &no_input);
    if (no_input)
        app_stop(app, "a conversation needs input; "
                      "'jarside judge \"what you see\"' answers without asking");
    config_recall(app);
    struct prompt_opening opening = {
        .rules = app->rules,
        .triage = app->triage,
        .screen = &app->out,
        .words = app->arguments.operands,
        .word_count = app->arguments.operand_count,
    };
    return prompt_converse(&opening, app->diags);
}

/* ==== show ==================================================================================== */

static enum status run_show(struct app *app)
{
    enum { MOST = 1024 };
    const char *ids[MOST];
    app_must(app, app_load(app, NULL, 0));
    if (app->arguments.operand_count == 0)
        view_show_all(&app->out, app->rules);
    for (size_t i = 0; i < app->arguments.operand_count; i++) {
        const char *id = app->arguments.operands[i];
        if (i > 0)
            screen_blank(&app->out);
        if (view_show(&app->out, app->rules, id))
            continue;
        app_unknown(app, NULL, "finding, cause or sign", id, ids, view_ids(app->rules, ids, MOST),
                    "'jarside show' lists all there is");
    }
    return app_flush(app);
}

const struct command judge_commands[] = {
    {"ask", "opens the conversation, with a first description if you give one", "[TEXT...]", NULL,
     ask_options, run_ask},
    {"judge", "judges one description, a case file, or many lines, without asking", "[TEXT...]",
     "TEXT is what you see, in your own words; '-' reads it from standard input. Example: jarside "
     "judge \"2 weeks, half white, then nothing, garage at 12C\"",
     options, run_judge},
    {"show", "prints what is known about a finding, cause or sign, with its sources", "[ID...]",
     NULL, NULL, run_show},
    {0},
};
