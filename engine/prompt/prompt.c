/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "prompt/prompt.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/csv.h"
#include "base/memory.h"
#include "language/reader.h"
#include "prompt/input.h"
#include "view/verdict.h"

enum stage {
    STAGE_OPENING, /* nothing asked yet: free text, or Enter to be asked */
    STAGE_ACTION,  /* until no answer could change what to do */
    STAGE_OFFER,   /* the verdict stands; shall we look for the cause? */
    STAGE_CAUSE,   /* until the causes are as clear as questions can make them */
    STAGE_DONE,    /* all told; commands and corrections still work */
};

enum {
    ACTION_QUESTIONS_MOST = 8,
    WORDS_QUESTIONS_MOST = 5, /* where the weight of words has decided already */
    CAUSE_QUESTIONS_MOST = 3,
};

enum { ROWS_USUAL = 24 }; /* of a window */

#define NO_OBSERVABLE ((size_t)RULES_NONE)

struct step { /* what one answer is undone by */
    size_t mark;
    enum stage stage;
    size_t observable; /* that was being asked; NO_OBSERVABLE if none */
};

struct conversation {
    const struct rules *rules;
    struct triage *triage;
    struct screen *screen;
    struct lines *lines;
    struct diags *diags;
    struct arena *arena;
    bool saves; /* what is said is recorded at the end */
    enum stage stage;
    size_t asking;     /* observable of the question on the screen; NO_OBSERVABLE if none */
    size_t put;        /* observable whose question was last shown in full */
    unsigned tries;    /* answers to it that were not understood */
    bool *clash_put;   /* per observable: its contradiction, or a doubt of it, was put; each once */
    bool *was_put;     /* per observable: its question was */
    bool doubted;      /* the answer takes the place of what was said of it before, */
    bool unsure_lifts; /* and so does not knowing */
    enum action advice; /* as it was told last */
    struct told {       /* by the verdict that was shown last */
        enum action action;
        size_t leader;
        const char *asked;
    } told;
    size_t asked; /* questions put so far */
    struct step *steps;
    size_t step_count;
    size_t shown;  /* lines that have come up since the grower last typed */
    char *pending; /* typed where only Enter was wanted: it is heard next; malloc'd */
    bool leaving;
    bool ended;         /* by ^D or a signal, not by a word */
    size_t opened;      /* the triage's mark before anything was said */
    enum status status; /* of input and output: the conversation ends when either fails */
};

/* The verdict on what is known now, and what goes with it for telling. */
static struct judged judge(struct conversation *talk)
{
    return (struct judged){talk->rules, talk->triage, triage_judge(talk->triage)};
}

static void say(struct conversation *talk, enum role role, const char *words)
{
    screen_say(talk->screen, 0, 0, role, "%s", words);
}

static void remember(struct conversation *talk)
{
    *arena_push(talk->arena, talk->steps, talk->step_count) =
        (struct step){triage_mark(talk->triage), talk->stage, talk->asking};
}

static bool go_back(struct conversation *talk)
{
    if (talk->step_count == 0)
        return false;
    const struct step *step = &talk->steps[--talk->step_count];
    triage_return(talk->triage, step->mark);
    talk->stage = step->stage;
    talk->asking = step->observable;
    return true;
}

/* ---- commands by name ------------------------------------------------------------------------ */

/* What acts at any time. Whatever is none of these words is an answer or a description. */
enum command {
    COMMAND_NONE,
    COMMAND_HELP,
    COMMAND_WHY,
    COMMAND_AGAIN, /* the question once more, with how to find out */
    COMMAND_UNKNOWN,
    COMMAND_BACK,
    COMMAND_CHANGE,
    COMMAND_SO_FAR,
    COMMAND_VERDICT,
    COMMAND_DETAILS,
    COMMAND_CAUSES,
    COMMAND_NEXT,
    COMMAND_LEAVE,
    COMMAND_COUNT,
};

/* Its word, and the list of the rules with other words for it. */
static const struct {
    const char *word, *list;
} COMMANDS[COMMAND_COUNT] = {
    [COMMAND_HELP] = {"help", "talk_help"},          [COMMAND_WHY] = {"why", NULL},
    [COMMAND_AGAIN] = {NULL, "talk_again"},          [COMMAND_UNKNOWN] = {"unknown", NULL},
    [COMMAND_BACK] = {"back", "talk_back"},          [COMMAND_CHANGE] = {"change", NULL},
    [COMMAND_SO_FAR] = {"so far", "talk_so_far"},    [COMMAND_VERDICT] = {"verdict", NULL},
    [COMMAND_DETAILS] = {"details", "talk_details"}, [COMMAND_CAUSES] = {"causes", NULL},
    [COMMAND_NEXT] = {"next jar", "talk_next"},      [COMMAND_LEAVE] = {"leave", "talk_leave"},
};

/* "Why do you ask this?", "why does that matter": about the question on the screen. */
static bool asks_why(const struct rules *rules, const char *line)
{
    enum { WORDS_MOST = 8 };
    bool found = false;
    size_t words = 0;
    for (size_t length; *line != '\0' && words <= WORDS_MOST; words++) {
        length = strcspn(line, " \t?!.,");
        if (words == 0 && !rules_lists(rules, "talk_why", line, length))
            return false;
        found = found || rules_lists(rules, "talk_reason", line, length);
        line += length + strspn(line + length, " \t?!.,");
    }
    return found && words <= WORDS_MOST;
}

/* The command a line is, and the rest. Only 'change' takes more words; 'leave it' is a sentence. */
static enum command command_of(const struct rules *rules, const char *line, const char **rest)
{
    const size_t first = strcspn(line, " \t");
    size_t length = strlen(line);
    while (length > 1 && strchr("?!.", line[length - 1]) != NULL)
        length--;
    *rest = line + first + strspn(line + first, " \t");
    if (first == strlen("change") && strncasecmp(line, "change", first) == 0)
        return COMMAND_CHANGE;
    if (strcmp(line, "?") == 0)
        return COMMAND_HELP;
    for (enum command c = COMMAND_HELP; c < COMMAND_COUNT; c++)
        if ((COMMANDS[c].word != NULL && csv_named(COMMANDS[c].word, line, length) == 0) ||
            (COMMANDS[c].list != NULL && rules_lists(rules, COMMANDS[c].list, line, length)))
            return c;
    return asks_why(rules, line) ? COMMAND_WHY : COMMAND_NONE;
}

/* ---- pages ----------------------------------------------------------------------------------- */

static void send(struct conversation *talk)
{
    talk->shown += screen_lines(talk->screen);
    enum status status = screen_flush(talk->screen, stdout);
    if (talk->status == STATUS_OK)
        talk->status = status;
}

/* Lets a person read before more comes. What is typed here besides Enter is not lost: it is heard
 * when the pages are through. */
static void page_wait(struct conversation *talk)
{
    char *line = NULL;
    const char *rest;
    talk->shown = 0;
    if (talk->status != STATUS_OK || talk->leaving)
        return;
    lines_offer(talk->lines, NULL, 0);
    enum line_result result = lines_read(talk->lines, "(Enter for more) ", &line);
    screen_measure(talk->screen, stdout); /* the window may have changed meanwhile */
    if (result == READ_END || result == READ_KILLED || result == READ_FAILED)
        talk->leaving = talk->ended = true;
    if (line != NULL && command_of(talk->rules, line, &rest) == COMMAND_LEAVE)
        talk->leaving = true;
    if (line != NULL && line[strspn(line, " \t")] != '\0' && talk->pending == NULL)
        talk->pending = line;
    else
        free(line);
}

/* Bytes at the front of a text that are at most so many lines. It ends before a line that begins a
 * new item, if one does: what hangs together is not torn. */
static size_t page_length(const char *bytes, size_t lines)
{
    size_t whole = 0, at = 0;
    for (size_t taken = 0; taken < lines && bytes[at] != '\0'; taken++) {
        at += strcspn(bytes + at, "\n");
        at += bytes[at] == '\n';
        if (bytes[at] != ' ')
            whole = at;
    }
    return whole > 0 ? whole : at;
}

/* Sends what stands in the screen's buffer, on a terminal in pages that fit below what came up
 * since the grower last typed, with a line left for the prompt. */
static void page_end(struct conversation *talk)
{
    struct screen *screen = talk->screen;
    while (lines_is_terminal(talk->lines) && screen->rows > 2 && !talk->leaving &&
           talk->shown + screen_lines(screen) + 1 > screen->rows) {
        const size_t rows = screen->rows;
        size_t room = rows - 1 > talk->shown ? rows - 1 - talk->shown : 0;
        /* What fits a page of its own goes there whole. */
        size_t kept = talk->shown > 0 && screen_lines(screen) + 1 <= rows
                          ? 0
                          : page_length(screen->out.bytes, room);
        TEXT(later);
        text_add(&later, screen->out.bytes + kept, screen->out.length - kept);
        text_cut(&screen->out, kept);
        send(talk);
        page_wait(talk);
        text_add(&screen->out, later.bytes, later.length);
    }
    send(talk);
}

/* A verdict stands on a page of its own, together with what is offered after it. */
static void put_verdict(struct conversation *talk, enum verdict_form form)
{
    struct judged judged = judge(talk);
    screen_blank(talk->screen);
    view_verdict(talk->screen, &judged, form);
}

/* ---- the question ---------------------------------------------------------------------------- */

/* The values in columns, read down, then across. Numbered from 1, unless figures are counts. */
static void put_values(struct screen *screen, const struct observable *observable)
{
    enum { INDENT = 2, NUMBER = 4, GAP = 2 };
    size_t widest = 0;
    for (size_t v = 0; v < observable->value_count; v++) {
        size_t width = utf8_width(observable->values[v].label, strlen(observable->values[v].label));
        widest = width > widest ? width : widest;
    }
    size_t cell = NUMBER + widest + GAP;
    size_t columns = screen->width > INDENT + cell ? (screen->width - INDENT) / cell : 1;
    if (columns > 3)
        columns = 3;
    if (observable->value_count <= 4)
        columns = 1;
    size_t rows = (observable->value_count + columns - 1) / columns;
    for (size_t row = 0; row < rows; row++) {
        TEXT(line);
        for (size_t v = row; v < observable->value_count; v += rows) {
            const char *label = observable->values[v].label;
            if (reader_counts(observable))
                text_printf(&line, " -  %s", label);
            else
                text_printf(&line, "%2zu. %s", v + 1, label);
            bool last = v + rows >= observable->value_count;
            for (size_t pad = utf8_width(label, strlen(label)); !last && pad + NUMBER < cell; pad++)
                text_add(&line, " ", 1);
        }
        screen_preformatted(screen, INDENT, line.bytes);
    }
}

/* What can be answered, and how; the bins of a figure are not named, for any figure will do. */
static void put_options(struct conversation *talk)
{
    static const char *const how_to_answer[] = {
        [KIND_ONE] = "A number, a word or a sentence; or 'unknown'.",
        [KIND_SEVERAL] = "Numbers or words, several with commas; 'none'; or 'unknown'.",
        [KIND_NUMBER] = "A figure with its unit, or 'unknown'.",
    };
    const struct observable *asked = &talk->rules->observables[talk->asking];
    if (asked->kind != KIND_NUMBER)
        put_values(talk->screen, asked);
    screen_say(talk->screen, 2, 0, ROLE_QUIET, "%s", how_to_answer[asked->kind]);
}

/* The question with its help, once; when it is called for again, with its answers only. */
static void put_question(struct conversation *talk)
{
    const struct observable *asked = &talk->rules->observables[talk->asking];
    const bool again = talk->put == talk->asking;
    if (again && talk->tries > 0)
        return; /* its answers have just been shown */
    screen_blank(talk->screen);
    say(talk, ROLE_STRONG, asked->ask);
    if (!again && asked->look != NULL)
        screen_say(talk->screen, 2, 0, ROLE_QUIET, "%s", asked->look);
    put_options(talk);
    talk->put = talk->asking;
    if (talk->screen->rows >= ROWS_USUAL)
        page_end(talk);
    else /* a small window scrolls: nobody wants to press Enter before every question */
        send(talk);
}

static void offer_words(struct conversation *talk)
{
    const struct observable *observables = talk->rules->observables;
    const struct heard all = triage_heard(talk->triage);
    const size_t most = RULES_MAX_VALUES + COMMAND_COUNT + all.fact_count;
    const char **words = arena_array(talk->arena, most, sizeof *words);
    size_t count = 0;
    for (size_t v = 0; talk->asking != NO_OBSERVABLE && v < observables[talk->asking].value_count;
         v++)
        words[count++] = observables[talk->asking].values[v].label;
    for (enum command i = COMMAND_HELP; i < COMMAND_COUNT; i++)
        if (COMMANDS[i].word != NULL)
            words[count++] = COMMANDS[i].word;
    for (size_t i = 0; i < all.fact_count; i++) /* for 'change': what is known can be named */
        words[count++] = observables[all.facts[i].observable].label;
    lines_offer(talk->lines, words, count);
}

/* ---- commands -------------------------------------------------------------------------------- */

static void act_why(struct conversation *talk)
{
    if (talk->asking == NO_OBSERVABLE) {
        say(talk, ROLE_PLAIN, "No question is open just now.");
        return;
    }
    const struct observable *asked = &talk->rules->observables[talk->asking];
    if (asked->why != NULL)
        say(talk, ROLE_PLAIN, asked->why);
    say(talk, ROLE_PLAIN,
        talk->stage == STAGE_CAUSE
            ? "The action is settled; the answer helps to tell the likely causes apart."
            : "The answer may change what to do with the vessel.");
}

/* A fact whose observable's label or id begins with `name`; NO_OBSERVABLE if none, or several. */
static size_t known_named(const struct conversation *talk, const char *name)
{
    const struct heard all = triage_heard(talk->triage);
    size_t found = NO_OBSERVABLE, length = strlen(name), many = 0;
    for (size_t i = 0; length > 0 && i < all.fact_count; i++) {
        const struct observable *observable = &talk->rules->observables[all.facts[i].observable];
        if (strncasecmp(observable->label, name, length) == 0 ||
            strncasecmp(observable->id, name, length) == 0) {
            found = all.facts[i].observable;
            many++;
        }
    }
    return many == 1 ? found : NO_OBSERVABLE;
}

static void act_change(struct conversation *talk, const char *name)
{
    size_t observable = known_named(talk, name);
    if (observable == NO_OBSERVABLE) {
        struct judged judged = judge(talk);
        say(talk, ROLE_PLAIN, "Say 'change' and which of these:");
        view_heard(talk->screen, "understood", &judged, NULL, 0);
        return;
    }
    remember(talk);
    triage_forget(talk->triage, observable);
    talk->asking = observable;
    talk->put = NO_OBSERVABLE;
    talk->tries = 0;
    if (talk->stage == STAGE_OFFER || talk->stage == STAGE_DONE)
        talk->stage = STAGE_ACTION;
}

static void say_done(struct conversation *talk)
{
    talk->stage = STAGE_DONE;
    screen_say(
        talk->screen, 0, 0, ROLE_QUIET,
        "There are no more questions. 'details', 'causes', 'change', 'so far', or 'leave'%s.",
        talk->saves ? ", which saves the look" : "");
    page_end(talk);
}

static const char question[] =
    "What do you see? Say it in your own words, or press Enter to be asked. Leave the vessel "
    "closed: "
    "do not open, shake or smell it. 'help' lists what else you can type.";

/* Forgets the vessel, after a verdict not yet shown. One of a journal is saved by leaving. */
static void begin_next(struct conversation *talk)
{
    if (talk->stage == STAGE_ACTION && triage_mark(talk->triage) != talk->opened)
        put_verdict(talk, VERDICT_TALK);
    talk->leaving = talk->saves;
    if (talk->saves)
        return;
    triage_return(talk->triage, talk->opened);
    memset(talk->clash_put, 0, talk->rules->observable_count * sizeof *talk->clash_put);
    memset(talk->was_put, 0, talk->rules->observable_count * sizeof *talk->was_put);
    talk->stage = STAGE_OPENING;
    talk->asking = talk->put = NO_OBSERVABLE;
    talk->advice = ACTION_COUNT;
    talk->told = (struct told){.action = ACTION_COUNT};
    talk->asked = talk->step_count = 0;
    say(talk, ROLE_STRONG, "The next vessel.");
    say(talk, ROLE_PLAIN, question);
}

/* The question has no answer: it is not asked again. */
static void leave_open(struct conversation *talk)
{
    if (talk->doubted && talk->unsure_lifts)
        triage_forget(talk->triage, talk->asking);
    triage_unknown(talk->triage, talk->asking);
    talk->asking = NO_OBSERVABLE;
}

static void act(struct conversation *talk, enum command command, const char *rest)
{
    struct judged judged = judge(talk);
    switch (command) {
    case COMMAND_HELP:
        view_say(&(struct face){.screen = talk->screen}, "talk.help", NULL);
        break;
    case COMMAND_WHY:
        act_why(talk);
        break;
    case COMMAND_AGAIN:
        talk->put = NO_OBSERVABLE;
        talk->tries = 0;
        if (talk->asking == NO_OBSERVABLE)
            act_why(talk); /* none is open */
        break;
    case COMMAND_UNKNOWN:
        if (talk->stage == STAGE_OFFER)
            say_done(talk);
        if (talk->asking == NO_OBSERVABLE)
            break;
        remember(talk);
        leave_open(talk);
        break;
    case COMMAND_BACK:
        say(talk, ROLE_QUIET,
            go_back(talk) ? "The last answer is taken back." : "This is the beginning.");
        break;
    case COMMAND_CHANGE:
        act_change(talk, rest);
        break;
    case COMMAND_SO_FAR:
        view_heard(talk->screen, "understood", &judged, NULL, 0);
        view_heard(talk->screen, "unclear", &judged, NULL, 0);
        view_judged(talk->screen, &judged, "standing");
        break;
    case COMMAND_VERDICT:
    case COMMAND_DETAILS:
        put_verdict(talk, command == COMMAND_VERDICT ? VERDICT_TALK : VERDICT_WHOLE);
        break;
    case COMMAND_CAUSES:
        view_judged(talk->screen, &judged, "causes");
        break;
    case COMMAND_NEXT:
        begin_next(talk);
        break;
    case COMMAND_LEAVE:
        talk->leaving = true;
        break;
    case COMMAND_NONE:
    case COMMAND_COUNT:
        break;
    }
    page_end(talk);
}

/* ---- what is said ---------------------------------------------------------------------------- */

/* What is wrong with a line is shown and forgotten: the next line is a new try. */
static bool heard(struct conversation *talk, enum status status)
{
    if (status == STATUS_OK)
        return true;
    for (size_t i = 0; i < diags_kept(talk->diags); i++)
        say(talk, ROLE_PLAIN, diags_get(talk->diags, i)->message);
    diags_clear(talk->diags);
    go_back(talk);
    return false;
}

/* A line of the grower's is being heard: what was known before it. */
struct hearing {
    struct observation *before;
    struct fact *facts; /* the figures in them */
    size_t fact_count;
    size_t unclear;
    const char *asked; /* a question of the grower's */
};

static struct hearing hearing_begin(struct conversation *talk)
{
    size_t size = talk->rules->observable_count * sizeof(struct observation);
    const struct heard heard = triage_heard(talk->triage);
    struct hearing hearing = {.before = arena_alloc(talk->arena, size),
                              .facts =
                                  arena_array(talk->arena, heard.fact_count, sizeof *hearing.facts),
                              .fact_count = heard.fact_count,
                              .unclear = heard.unclear_count,
                              .asked = triage_asked(talk->triage)};
    memcpy(hearing.before, triage_evidence(talk->triage)->observations, size);
    if (heard.fact_count > 0)
        memcpy(hearing.facts, heard.facts, heard.fact_count * sizeof *hearing.facts);
    remember(talk);
    return hearing;
}

/* Whether anything known is another now; of a figure that stays in its bin the view tells, too. */
static bool changes_anything(struct conversation *talk, const struct hearing *hearing)
{
    bool changes = memcmp(triage_evidence(talk->triage)->observations, hearing->before,
                          talk->rules->observable_count * sizeof *hearing->before) != 0;
    for (const struct fact *was = hearing->facts; was < hearing->facts + hearing->fact_count;
         was++) {
        const struct fact *now = triage_fact(talk->triage, was->observable);
        if (now == NULL || !now->has_number || !was->has_number ||
            (now->number.lo == was->number.lo && now->number.hi == was->number.hi))
            continue;
        hearing->before[was->observable] = (struct observation){0};
        changes = true;
    }
    return changes;
}

/* What the line was taken for and left unclear, the change of advice, and how things stand. */
static void tell_standing(struct conversation *talk, const struct hearing *hearing)
{
    struct judged judged = judge(talk);
    const enum action now = judged.verdict->decision.action;
    const int floor = judged.verdict->decision.floor;
    const bool unseen =
        floor != RULES_NONE && talk->rules->decision.floors[floor].unless_told_count > 0;
    view_heard(talk->screen, "understood.since", &judged, hearing->before, 0);
    view_heard(talk->screen, "unread", &judged, NULL, hearing->unclear);
    if ((talk->stage > STAGE_ACTION || unseen) && hearing->asked != triage_asked(talk->triage))
        view_judged(talk->screen, &judged, "reply");
    if (talk->advice != ACTION_COUNT && talk->advice != now)
        screen_say(talk->screen, 0, 0, ROLE_STRONG, "That changes the advice from %s to %s.",
                   talk->rules->decision.action_label[talk->advice],
                   talk->rules->decision.action_label[now]);
    talk->advice = unseen ? ACTION_COUNT : now; /* what is no advice yet cannot change */
    view_judged(talk->screen, &judged, talk->stage == STAGE_CAUSE ? "standing.causes" : "standing");
    page_end(talk);
}

/* Where no "no" is an answer ("How much is white?"), one that stands apart at the front of a line
 * says nothing by itself: "no, I have seen no patches". The line from where it answers; NULL for a
 * bare "no". "No green" denies the green. */
static const char *answering(const struct conversation *talk, const char *line)
{
    const struct observable *asked = &talk->rules->observables[talk->asking];
    const size_t length = strcspn(line, " ,.;");
    if (rules_lists(talk->rules, "talk_verbs", asked->ask, strcspn(asked->ask, " ")) ||
        !rules_lists(talk->rules, "talk_denial", line, length) || line[length] == ' ' ||
        (line[length] == '\0' && asked->kind == KIND_SEVERAL))
        return line;
    line += length + strspn(line + length, " ,.;");
    return *line != '\0' ? line : NULL;
}

/* An answer that says nothing is asked for once more, with what can be said; then left open. */
static void hear_answer(struct conversation *talk, const char *line)
{
    struct hearing hearing = hearing_begin(talk);
    if (talk->doubted)
        triage_forget(talk->triage, talk->asking);
    const size_t asking = talk->asking;
    const char *answer = answering(talk, line);
    enum status status =
        answer == NULL ? STATUS_USAGE : triage_answer(talk->triage, asking, answer, talk->diags);
    if (status == STATUS_USAGE && answer != NULL && answer != line)
        status = triage_answer(talk->triage, asking, line, talk->diags);
    const bool told = status == STATUS_OK && triage_fact(talk->triage, asking) != NULL;
    /* "white", of which all is known, says nothing of the kinds of white. */
    if (status == STATUS_OK && !told && !changes_anything(talk, &hearing) &&
        hearing.asked == triage_asked(talk->triage))
        status = STATUS_USAGE;
    if (status == STATUS_USAGE && diags_errors(talk->diags) == 0) {
        go_back(talk);
        if (talk->tries++ == 0) {
            say(talk, ROLE_PLAIN, "That was not understood. You can say:");
            put_options(talk);
        } else {
            say(talk, ROLE_PLAIN,
                "That was not understood either, so the question is left open; 'back' asks it "
                "again.");
            remember(talk);
            leave_open(talk);
        }
        page_end(talk);
    } else if (heard(talk, status)) {
        /* A question of the grower's own is answered, and the one that is open stays so. */
        const bool asks = !told && hearing.asked != triage_asked(talk->triage);
        talk->asking = asks ? asking : NO_OBSERVABLE;
        if (asks) { /* by what is known so far */
            struct judged judged = judge(talk);
            view_judged(talk->screen, &judged, "reply");
            page_end(talk);
        } else if (!told)
            screen_say(talk->screen, 0, 0, ROLE_QUIET, "(%s: left open.)",
                       talk->rules->observables[asking].label);
        if (!asks || changes_anything(talk, &hearing))
            tell_standing(talk, &hearing);
    }
}

/* Whether a line would answer the question that is open. */
static bool is_answer(struct conversation *talk, const char *line)
{
    const size_t mark = triage_mark(talk->triage);
    bool told = triage_fact(talk->triage, talk->asking) == NULL &&
                triage_answer(talk->triage, talk->asking, line, talk->diags) == STATUS_OK &&
                triage_fact(talk->triage, talk->asking) != NULL;
    triage_return(talk->triage, mark);
    diags_clear(talk->diags);
    return told;
}

/* `more`: it followed an answer, so it need not say anything about the vessel. */
static void hear_description(struct conversation *talk, const char *line, bool more)
{
    struct hearing hearing = hearing_begin(talk);
    if (!heard(talk, triage_tell(talk->triage, line, strlen(line), talk->diags)))
        return;
    const bool says = changes_anything(talk, &hearing);
    /* The first words weigh, even where nothing in them is plain. */
    if (!says && hearing.asked == triage_asked(talk->triage) && talk->stage != STAGE_OPENING) {
        struct judged judged = judge(talk);
        view_heard(talk->screen, "unread", &judged, NULL, hearing.unclear);
        if (!more)
            say(talk, ROLE_PLAIN,
                "That says nothing new about the vessel. Say what you see, or 'help'.");
        page_end(talk);
        go_back(talk);
        return;
    }
    tell_standing(talk, &hearing);
    if (talk->stage == STAGE_OPENING || (says && talk->stage != STAGE_CAUSE))
        talk->stage = STAGE_ACTION;
}

/* At the end of a stage: whether to look for the cause, or nothing at all. */
static void hear_offer(struct conversation *talk, const char *line)
{
    const bool offered = talk->stage == STAGE_OFFER;
    const size_t length = strlen(line);
    const bool yes_said = length == 0 || rules_lists(talk->rules, "talk_yes", line, length);
    const bool no_said = rules_lists(talk->rules, "talk_no", line, length);
    const char *rest;
    if (offered && yes_said) {
        remember(talk);
        talk->stage = STAGE_CAUSE;
        talk->asked = 0;
    } else if (offered && no_said) {
        talk->leaving = true;
    } else if (yes_said || no_said || reader_does_not_know(talk->rules, line, &rest)) {
        say_done(talk);
    } else {
        hear_description(talk, line, false);
    }
}

static void hear(struct conversation *talk, const char *line)
{
    const char *rest;
    enum command command = command_of(talk->rules, line, &rest);
    if (command != COMMAND_NONE)
        act(talk, command, rest);
    else if (talk->stage == STAGE_OFFER ||
             (talk->stage == STAGE_DONE && talk->asking == NO_OBSERVABLE))
        hear_offer(talk, line);
    else if (line[0] == '\0' && talk->stage == STAGE_OPENING)
        talk->stage = STAGE_ACTION;
    else if (line[0] == '\0')
        talk->tries = 0; /* Enter at a question asks it again */
    else if (talk->asking != NO_OBSERVABLE && reader_does_not_know(talk->rules, line, &rest)) {
        const char *guess = arena_format(talk->arena, "maybe %s", rest);
        if (*rest != '\0' && is_answer(talk, guess)) {
            hear_answer(talk, guess);
            return;
        }
        act(talk, COMMAND_UNKNOWN, "");
        if (*rest != '\0')
            hear_description(talk, rest, true);
    } else if (talk->asking != NO_OBSERVABLE && triage_corrects(talk->triage, line)) {
        /* That is no answer: the question stays open, unless it is answered now. */
        const bool known = triage_fact(talk->triage, talk->asking) != NULL;
        hear_description(talk, line, false);
        if (!known && triage_fact(talk->triage, talk->asking) != NULL)
            talk->asking = NO_OBSERVABLE;
    } else if (talk->asking != NO_OBSERVABLE)
        hear_answer(talk, line);
    else
        hear_description(talk, line, false);
}

/* ---- what is asked --------------------------------------------------------------------------- */

/* Two statements that contradict come before any new question, each pair once, where it matters to
 * the action which of them is right. */
static bool choose_clash(struct conversation *talk)
{
    const struct heard all = triage_heard(talk->triage);
    for (const struct clash *clash = all.clashes; clash < all.clashes + all.clash_count; clash++) {
        if (talk->clash_put[clash->observable] || !triage_turns_on(talk->triage, clash->observable))
            continue;
        screen_blank(talk->screen);
        screen_say(talk->screen, 0, 0, ROLE_ISOLATE,
                   strcmp(clash->first, clash->second) == 0
                       ? "You said '%s', and that it is not so. Which is right?"
                       : "You said '%s' and '%s'. Which is right?",
                   clash->first, clash->second);
        talk->asking = clash->observable;
        talk->clash_put[talk->asking] = true;
        put_options(talk);
        talk->put = talk->asking;
        talk->asked++;
        talk->tries = 1; /* all is said that is to be said of it */
        page_end(talk);
        return true;
    }
    return false;
}

static bool may_put(const struct conversation *talk, size_t observable)
{
    return !talk->clash_put[observable] && !talk->was_put[observable] &&
           triage_open(talk->triage, observable);
}

/* Whether it was read from words, and its question may still be put. */
static bool may_be_misread(const struct conversation *talk, const struct fact *fact)
{
    return fact != NULL && (fact->origin == ORIGIN_TEXT || fact->origin == ORIGIN_ANSWER) &&
           may_put(talk, fact->observable);
}

/* What a floor rests on that was read from words and may still be asked; NO_OBSERVABLE for nothing.
 * A figure is misread less often: only where not knowing it would lift the floor. */
static size_t misread(const struct conversation *talk, const struct floor_rule *floor)
{
    for (size_t k = 0; k < floor->when.count; k++) {
        const size_t observable = floor->when.observables[k];
        const struct fact *fact = triage_fact(talk->triage, observable);
        if (may_be_misread(talk, fact) && (fact->observation.seen & floor->when.values[k]) != 0 &&
            (floor->unsure_lifts || talk->rules->observables[observable].kind != KIND_NUMBER))
            return observable;
    }
    return NO_OBSERVABLE;
}

/* What was read from words and alone stands against a milder action: of such the one without which
 * it is least likely contaminated, and that less likely than not. NO_OBSERVABLE if nothing is. */
static size_t pivot(const struct conversation *talk)
{
    const enum action now = triage_judge(talk->triage)->decision.action;
    const struct heard all = triage_heard(talk->triage);
    size_t found = NO_OBSERVABLE;
    double least = 0.5;
    for (const struct fact *fact = all.facts; fact < all.facts + all.fact_count; fact++) {
        enum action without;
        if (fact->observation.seen == 0 || !may_be_misread(talk, fact))
            continue;
        const double contaminated = triage_without(talk->triage, fact->observable, &without);
        if (without < now && contaminated < least) {
            found = fact->observable;
            least = contaminated;
        }
    }
    return found;
}

/* Asks for what may have been misread: the words, and the first value they were taken for, of a salient one that. */
static void put_doubt(struct conversation *talk, size_t asked, uint32_t values)
{
    const struct observable *seen = &talk->rules->observables[asked];
    const struct fact *from = triage_fact(talk->triage, asked);
    const uint32_t taken = from->observation.seen & values, salient = taken & seen->salient;
    screen_blank(talk->screen);
    screen_say(talk->screen, 0, 0, ROLE_ISOLATE,
               "It turns on '%s', which was taken for %s: %s. To be sure:", from->words,
               seen->label, seen->values[__builtin_ctz(salient != 0 ? salient : taken)].label);
    talk->doubted = true;
}

/* The one thing not known of a condition that holds otherwise, if it may still be asked. */
static size_t missing(const struct conversation *talk, const struct condition *when)
{
    size_t found = NO_OBSERVABLE;
    for (size_t k = 0; k < when->count; k++) {
        const size_t observable = when->observables[k];
        const struct fact *fact = triage_fact(talk->triage, observable);
        const struct observation now = fact != NULL ? fact->observation : (struct observation){0};
        const bool several = talk->rules->observables[observable].kind == KIND_SEVERAL;
        if ((now.seen & ~now.hedged & when->values[k]) != 0)
            continue;
        if (found != NO_OBSERVABLE || (!several && (now.seen & ~now.hedged) != 0) ||
            (when->values[k] & ~now.absent) == 0 || !may_put(talk, observable))
            return NO_OBSERVABLE;
        found = observable;
    }
    return found;
}

/* Where a floor stands alone against a verdict that is else keep, what it rests on may have been
 * misread: that is asked first, with the words that it was read from; then what would lift it. */
static bool choose_doubt(struct conversation *talk)
{
    const struct decision *decision = &triage_judge(talk->triage)->decision;
    const double *loss = decision->loss;
    if (decision->floor == RULES_NONE ||
        loss[ACTION_KEEP] >= fmin(loss[ACTION_ISOLATE], loss[ACTION_DISCARD]))
        return false;
    const struct floor_rule *floor = &talk->rules->decision.floors[decision->floor];
    size_t asked = misread(talk, floor);
    if (asked != NO_OBSERVABLE) {
        uint32_t values = 0;
        for (size_t k = 0; k < floor->when.count; k++)
            values |= floor->when.observables[k] == asked ? floor->when.values[k] : 0;
        put_doubt(talk, asked, values);
        talk->unsure_lifts = floor->unsure_lifts;
    }
    for (size_t u = 0; u < floor->unless_count && asked == NO_OBSERVABLE; u++)
        asked = missing(talk, &floor->unless[u]);
    if (asked == NO_OBSERVABLE)
        return false;
    talk->asking = asked;
    talk->clash_put[asked] = true;
    talk->asked++;
    return true;
}

/* The next question of the stage; moves to the next stage when there is none. */
static void choose_question(struct conversation *talk)
{
    bool for_cause = talk->stage == STAGE_CAUSE;
    const struct question *next = NULL;
    talk->tries = 0;
    talk->doubted = talk->unsure_lifts = false;
    if (choose_clash(talk) || choose_doubt(talk))
        return;
    size_t most = for_cause                                  ? CAUSE_QUESTIONS_MOST
                  : triage_judge(talk->triage)->words_decide ? WORDS_QUESTIONS_MOST
                                                             : ACTION_QUESTIONS_MOST;
    if (talk->asked < most)
        next = triage_next(talk->triage, for_cause ? AIM_CAUSE : AIM_ACTION);
    if (next != NULL)
        talk->asking = next->observable;
    else if (!for_cause && triage_judge(talk->triage)->decision.action == ACTION_KEEP)
        talk->asking = triage_before_keep(talk->triage);
    else if (!for_cause && (talk->asking = pivot(talk)) != NO_OBSERVABLE)
        put_doubt(talk, talk->asking, UINT32_MAX);
    if (talk->asking != NO_OBSERVABLE) {
        talk->was_put[talk->asking] = true;
        talk->asked++;
    } else if (for_cause) {
        act(talk, COMMAND_CAUSES, "");
        say_done(talk);
    } else {
        const struct verdict *verdict = triage_judge(talk->triage);
        const struct told now = {verdict->decision.action, verdict->findings[0].index,
                                 verdict->asked};
        if (now.action == talk->told.action && now.leader == talk->told.leader &&
            now.asked == talk->told.asked)
            say(talk, ROLE_PLAIN, "The verdict above holds; 'verdict' shows it again.");
        else
            put_verdict(talk, VERDICT_TALK);
        talk->told = now;
        /* What is sound has no cause to look for. */
        if (verdict->status[FINDING_CLEAN] >= 0.5 || verdict->no_cause >= 0.5 ||
            triage_next(talk->triage, AIM_CAUSE) == NULL)
            say_done(talk);
        else
            talk->stage = STAGE_OFFER;
    }
}

/* Brings the conversation to where a line is wanted, and says what is wanted. */
static void prepare(struct conversation *talk)
{
    bool asks = talk->stage == STAGE_ACTION || talk->stage == STAGE_CAUSE;
    if (asks && talk->asking == NO_OBSERVABLE)
        choose_question(talk);
    if (talk->leaving || talk->status != STATUS_OK)
        return;
    if (talk->stage == STAGE_OFFER) {
        screen_say(
            talk->screen, 0, 2, ROLE_STRONG,
            "Shall I ask about the cause, three questions at most? (Enter: yes; 'details'; 'no' "
            "%sleaves)",
            talk->saves ? "saves the look and " : "");
        page_end(talk);
    } else if (talk->asking != NO_OBSERVABLE) {
        put_question(talk);
    }
}

/* ---- the loop -------------------------------------------------------------------------------- */

static void one_turn(struct conversation *talk)
{
    enum { ECHO_BYTES = 400 };
    prepare(talk);
    if (talk->leaving || talk->status != STATUS_OK)
        return;
    offer_words(talk);
    char *line = talk->pending;
    enum line_result result = line != NULL ? READ_LINE : lines_read(talk->lines, "> ", &line);
    talk->pending = NULL;
    talk->shown = 0;
    switch (result) {
    case READ_LINE:
        line_trim(line);
        /* Without a terminal the answer is not on the screen: it is said for the record. */
        if (!lines_is_terminal(talk->lines)) {
            screen_say(talk->screen, 0, 2, ROLE_PLAIN, "> %.*s", ECHO_BYTES, line);
            page_end(talk);
        }
        hear(talk, line);
        break;
    case READ_INTERRUPTED:
    case READ_RESIZED:
        talk->tries = 0;
        break; /* the question is put again */
    case READ_FAILED:
        diags_error(talk->diags, (struct position){0}, "cannot read standard input: %s",
                    strerror(errno));
        talk->status = STATUS_IO;
        break;
    case READ_END:
    case READ_KILLED:
        talk->leaving = talk->ended = true;
        break;
    }
    free(line);
    screen_measure(talk->screen, stdout);
}

enum status prompt_converse(const struct prompt_opening *opening, struct diags *diags)
{
    struct conversation talk = {.rules = opening->rules,
                                .triage = opening->triage,
                                .screen = opening->screen,
                                .lines = lines_open(true),
                                .diags = diags,
                                .arena = arena_new(),
                                .saves = opening->finished != NULL,
                                .asking = NO_OBSERVABLE,
                                .put = NO_OBSERVABLE,
                                .advice = ACTION_COUNT,
                                .told = {.action = ACTION_COUNT},
                                .opened = triage_mark(opening->triage)};
    if (talk.lines == NULL) { /* two conversations at once are a bug */
        arena_free(talk.arena);
        return STATUS_INTERNAL;
    }
    talk.clash_put =
        arena_array(talk.arena, opening->rules->observable_count, sizeof *talk.clash_put);
    talk.was_put = arena_array(talk.arena, opening->rules->observable_count, sizeof *talk.was_put);
    const char *words = arena_join(talk.arena, opening->words, opening->word_count);
    if (opening->about != NULL)
        say(&talk, ROLE_STRONG, opening->about);
    if (words[0] != '\0') {
        hear_description(&talk, words, false);
    } else if (opening->word_count == 0) {
        say(&talk, ROLE_PLAIN, question);
        page_end(&talk);
    }
    while (!talk.leaving && talk.status == STATUS_OK)
        one_turn(&talk);
    if (talk.status == STATUS_OK && triage_mark(talk.triage) != talk.opened) {
        if (talk.stage == STAGE_OPENING || talk.stage == STAGE_ACTION)
            put_verdict(&talk, VERDICT_TALK); /* left before it: what is known is worth having */
        page_end(&talk);
    }
    if (opening->finished != NULL)
        *opening->finished = talk.status == STATUS_OK && !talk.ended;
    free(talk.pending);
    arena_free(talk.arena);
    lines_close(talk.lines);
    return talk.status;
}
