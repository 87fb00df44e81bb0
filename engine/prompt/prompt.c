/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "prompt/prompt.h"

#include <ctype.h>
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "prompt/input.h"
#include "view/verdict.h"

/*
 * The state of one conversation, shared by the files of this folder:
 * prompt.c runs it, ask.c puts questions, command.c acts on command words,
 * page.c shows pages.
 */
enum stage {
    STAGE_OPENING, /* nothing asked yet: free text, or Enter to be asked */
    STAGE_ACTION,  /* until no answer could change what to do */
    STAGE_OFFER,   /* the verdict stands; shall we look for the cause? */
    STAGE_CAUSE,   /* until the causes are as clear as questions can make them */
    STAGE_DONE,    /* all told; commands and corrections still work */
};

struct step { /* what one answer is undone by */
    size_t mark;
    enum stage stage;
    size_t observable; /* that was being asked; NO_OBSERVABLE if none */
};

struct conversation {
    const struct prompt_opening *opening;
    struct input *input;
    struct diags *diags;
    enum stage stage;
    size_t asking;     /* observable of the question on the screen; NO_OBSERVABLE if none */
    size_t last_clash; /* observable of the contradiction put last */
    size_t asked;      /* questions put so far */
    struct step *steps;
    size_t step_count, step_room;
    const char **offered; /* completion words, kept for the input */
    size_t offered_room;
    size_t shown;  /* lines that have come up since the grower last typed */
    char *pending; /* typed where only Enter was wanted: it is heard next; malloc'd */
    bool leaving;
    bool ended;        /* by ^D or a signal, not by a word */
    size_t opened;     /* the triage's mark before anything was said */
    enum status fault; /* output or memory failed: the conversation ends with it */
};

#define NO_OBSERVABLE ((size_t)-1)

/* The verdict on what is known now, and what goes with it for telling. */
static struct judged converse_told(struct conversation *talk);

/* page.c: sends what stands in the screen's buffer; `wait` lets a person read before more comes. */
static void page_end(struct conversation *talk);
static void page_wait(struct conversation *talk);
/* The verdict in pages that fit the window: action and cautions first, and never scrolled away. */
static void page_verdict(struct conversation *talk);
/* Causes, tests that would tell them apart, what to change next time. */
static void page_causes(struct conversation *talk);

/* ask.c: puts the question `talk->asking`; says why it is asked. */
static void ask_put(struct conversation *talk);
static void ask_why(struct conversation *talk);
/* Gives Tab the words that are valid now. */
static void ask_offer(struct conversation *talk);

/* command.c: acts on `line` when it is a command word; false when it is not one. */
static bool command_try(struct conversation *talk, const char *line);
/* Whether the line is the word that leaves, which works even between pages. */
static bool command_leaves(const char *line);
/* The words that act, at most `most` of them; returns how many. */
static size_t command_words(const char **list, size_t most);

/* prompt.c: remembers where we are, so that 'back' returns here; goes back one step. */
static void converse_remember(struct conversation *talk);
static bool converse_back(struct conversation *talk);

/* ==== page ==================================================================================== */

static void page_end(struct conversation *talk)
{
    talk->shown += screen_lines(talk->opening->screen);
    enum status status = screen_flush(talk->opening->screen, stdout);
    if (status != STATUS_OK && talk->fault == STATUS_OK)
        talk->fault = status;
}

/* What is typed here besides Enter is not lost: it is heard when the pages are through. */
static void page_wait(struct conversation *talk)
{
    char *line = NULL;
    page_end(talk);
    talk->shown = 0;
    if (!input_is_terminal(talk->input) || talk->fault != STATUS_OK || talk->leaving)
        return;
    input_offer(talk->input, NULL, 0);
    enum input_result result = input_line(talk->input, "(Enter for more) ", &line);
    screen_measure(talk->opening->screen, stdout); /* the window may have changed meanwhile */
    if (result == INPUT_END || result == INPUT_KILLED || result == INPUT_FAULT)
        talk->leaving = talk->ended = true;
    if (line != NULL && command_leaves(line))
        talk->leaving = true;
    if (line != NULL && line[strspn(line, " \t")] != '\0' && talk->pending == NULL)
        talk->pending = line;
    else
        free(line);
}

/*
 * Whether `lines` more fit the window below what came up since the grower last
 * typed, with room left for what follows a page: an offer and the prompt.
 * Everything fits where no window is.
 */
static bool fits(const struct conversation *talk, size_t lines)
{
    enum { ROOM_BELOW = 4 };
    size_t rows = talk->opening->screen->rows;
    return rows == 0 || talk->shown + lines + ROOM_BELOW <= rows;
}

/* Adds a part to the page, ending the page first when the part no longer fits on it. */
static void add_part(struct conversation *talk, const struct judged *told,
                     void (*part)(struct screen *screen, const struct judged *told))
{
    struct screen *screen = talk->opening->screen;
    size_t before = screen->out.length;
    bool page_is_empty = talk->shown == 0 && before == 0;
    part(screen, told);
    if (page_is_empty || fits(talk, screen_lines(screen)))
        return;
    /* Take the part back, let the page be read, and write the part on the next one. */
    text_cut(&screen->out, before);
    page_wait(talk);
    part(screen, told);
}

static void part_head(struct screen *screen, const struct judged *told)
{
    screen_blank(screen);
    view_action(screen, told);
    view_cautions_first(screen, told);
}

static void part_findings(struct screen *screen, const struct judged *told)
{
    screen_say(screen, 0, 0, ROLE_STRONG, "Most likely inside");
    view_findings(screen, told, 3);
}

static void part_steps(struct screen *screen, const struct judged *told)
{
    if (told->verdict->step_count == 0)
        return;
    screen_say(screen, 0, 0, ROLE_STRONG, "What to do");
    view_steps(screen, told);
}

static void part_causes(struct screen *screen, const struct judged *told)
{
    screen_heading(screen, "Most likely why");
    view_causes(screen, told, 4);
}

static void part_computed(struct screen *screen, const struct judged *told)
{
    if (told->verdict->computed_count == 0)
        return;
    screen_say(screen, 0, 0, ROLE_STRONG, "What the figures say");
    view_computed(screen, told);
}

static void part_tests(struct screen *screen, const struct judged *told)
{
    if (told->verdict->test_count == 0)
        return;
    screen_say(screen, 0, 0, ROLE_STRONG, "A cheap test that would tell the causes apart");
    view_tests(screen, told, 2);
}

static void part_changes(struct screen *screen, const struct judged *told)
{
    screen_say(screen, 0, 0, ROLE_STRONG, "What to change next time");
    view_changes(screen, told);
}

static void page_verdict(struct conversation *talk)
{
    struct judged told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    add_part(talk, &told, part_head);
    add_part(talk, &told, part_findings);
    add_part(talk, &told, part_steps);
    add_part(talk, &told, view_cautions_later);
    add_part(talk, &told, view_unclear);
    page_end(talk);
}

static void page_causes(struct conversation *talk)
{
    struct judged told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    add_part(talk, &told, part_causes);
    add_part(talk, &told, part_computed);
    add_part(talk, &told, part_tests);
    add_part(talk, &told, part_changes);
    page_end(talk);
}

/* ==== command ================================================================================= */

/*
 * The words that act at any time. Whatever is none of them is an answer or a
 * description.
 */
struct command_word {
    const char *word;
    const char *help;
    void (*act)(struct conversation *talk, const char *rest);
};

static void act_help(struct conversation *talk, const char *rest);

static void act_why(struct conversation *talk, const char *rest)
{
    (void)rest;
    ask_why(talk);
}

static void act_back(struct conversation *talk, const char *rest)
{
    (void)rest;
    if (!converse_back(talk))
        screen_say(talk->opening->screen, 0, 0, ROLE_PLAIN, "This is the beginning.");
    else
        screen_say(talk->opening->screen, 0, 0, ROLE_QUIET, "The last answer is taken back.");
    page_end(talk);
}

static void act_unknown(struct conversation *talk, const char *rest)
{
    (void)rest;
    if (talk->asking == NO_OBSERVABLE)
        return;
    converse_remember(talk);
    triage_unknown(talk->opening->triage, talk->asking);
    talk->asking = NO_OBSERVABLE;
}

static void act_so_far(struct conversation *talk, const char *rest)
{
    (void)rest;
    struct screen *screen = talk->opening->screen;
    struct judged told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    view_understood(screen, &told);
    view_unclear(screen, &told);
    view_standing(screen, &told);
    page_end(talk);
}

static void act_verdict(struct conversation *talk, const char *rest)
{
    (void)rest;
    page_verdict(talk);
}

static void act_details(struct conversation *talk, const char *rest)
{
    (void)rest;
    struct screen *screen = talk->opening->screen;
    struct judged told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    screen_heading(screen, "What weighs how much");
    view_evidence(screen, &told);
    page_wait(talk);
    screen_heading(screen, "What would turn the action");
    view_turns(screen, &told);
    page_end(talk);
}

static void act_causes(struct conversation *talk, const char *rest)
{
    (void)rest;
    page_causes(talk);
}

/* A fact whose observable's label or id begins with `name`; NO_OBSERVABLE if none, or several. */
static size_t known_named(const struct conversation *talk, const char *name)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(talk->opening->triage, &facts);
    size_t found = NO_OBSERVABLE, length = strlen(name);
    for (size_t i = 0; i < count; i++) {
        const struct observable *observable =
            &talk->opening->rules->observables[facts[i].observable];
        if (strncasecmp(observable->label, name, length) != 0 &&
            strncasecmp(observable->id, name, length) != 0)
            continue;
        if (found != NO_OBSERVABLE)
            return NO_OBSERVABLE;
        found = facts[i].observable;
    }
    return found;
}

static void act_change(struct conversation *talk, const char *rest)
{
    struct screen *screen = talk->opening->screen;
    size_t observable = rest[0] != '\0' ? known_named(talk, rest) : NO_OBSERVABLE;
    if (observable == NO_OBSERVABLE) {
        struct judged told = converse_told(talk);
        if (told.verdict == NULL)
            return;
        screen_say(screen, 0, 0, ROLE_PLAIN, "Say 'change' and which of these:");
        view_understood(screen, &told);
        page_end(talk);
        return;
    }
    converse_remember(talk);
    triage_forget(talk->opening->triage, observable);
    talk->asking = observable;
    if (talk->stage == STAGE_OFFER || talk->stage == STAGE_DONE)
        talk->stage = STAGE_ACTION;
}

static void act_leave(struct conversation *talk, const char *rest)
{
    (void)rest;
    talk->leaving = true;
}

static const struct command_word COMMANDS[] = {
    {"help", "this list", act_help},
    {"why", "why the question is asked", act_why},
    {"unknown", "you do not know: it is not asked again", act_unknown},
    {"back", "takes the last answer back", act_back},
    {"change", "'change age': gives an earlier answer anew", act_change},
    {"so far", "all that is known, and what leads", act_so_far},
    {"verdict", "the verdict now", act_verdict},
    {"details", "what weighs how much, and what would turn it", act_details},
    {"causes", "why it may have happened, and what to change", act_causes},
    {"leave", "ends the conversation (also ^D)", act_leave},
};

/* Other things people type for them. */
static const struct {
    const char *other, *word;
} others[] = {
    {"?", "help"},
    {"dunno", "unknown"},
    {"i don't know", "unknown"},
    {"don't know", "unknown"},
    {"no idea", "unknown"},
    {"not sure", "unknown"},
    {"skip", "unknown"},
    {"undo", "back"},
    {"show", "so far"},
    {"so", "so far"},
    {"quit", "leave"},
    {"exit", "leave"},
    {"bye", "leave"},
    {"why?", "why"},
};

static void act_help(struct conversation *talk, const char *rest)
{
    (void)rest;
    struct screen *screen = talk->opening->screen;
    screen_say(
        screen, 0, 0, ROLE_PLAIN,
        "Describe what you see, or answer by number, word or sentence. Corrections and further "
        "facts can be said at any time. These words act:");
    for (size_t i = 0; i < sizeof COMMANDS / sizeof *COMMANDS; i++)
        screen_row(screen, 2, 10, COMMANDS[i].word, COMMANDS[i].help);
    page_end(talk);
}

static size_t command_words(const char **list, size_t most)
{
    size_t count = 0;
    while (count < sizeof COMMANDS / sizeof *COMMANDS && count < most) {
        list[count] = COMMANDS[count].word;
        count++;
    }
    return count;
}

static const char *plain_name(const char *line)
{
    for (size_t i = 0; i < sizeof others / sizeof *others; i++)
        if (strcasecmp(line, others[i].other) == 0)
            return others[i].word;
    return line;
}

static bool command_leaves(const char *line)
{
    return strcasecmp(plain_name(line), "leave") == 0;
}

static bool command_try(struct conversation *talk, const char *line)
{
    const char *name = plain_name(line);
    for (size_t i = 0; i < sizeof COMMANDS / sizeof *COMMANDS; i++) {
        size_t length = strlen(COMMANDS[i].word);
        if (strncasecmp(name, COMMANDS[i].word, length) != 0)
            continue;
        const char *rest = name + length;
        /* Only 'change' takes more words; 'leave it' or 'why not' is a sentence. */
        bool bare = *rest == '\0';
        bool with_more = COMMANDS[i].act == act_change && isspace((unsigned char)*rest);
        if (!bare && !with_more)
            continue;
        COMMANDS[i].act(talk, rest + strspn(rest, " \t"));
        return true;
    }
    return false;
}

/* ==== ask ===================================================================================== */

static const struct observable *asked(const struct conversation *talk)
{
    return &talk->opening->rules->observables[talk->asking];
}

/* ---- the question ---------------------------------------------------------------------------- */

static size_t widest_label(const struct observable *observable)
{
    size_t widest = 0;
    for (size_t v = 0; v < observable->value_count; v++) {
        size_t width = utf8_width(observable->values[v].label, strlen(observable->values[v].label));
        if (width > widest)
            widest = width;
    }
    return widest;
}

/* The values, numbered from 1, in as many columns as fit; read down, then across. */
static void put_values(struct screen *screen, const struct observable *observable)
{
    enum { INDENT = 2, NUMBER = 4, GAP = 2 };
    size_t cell = NUMBER + widest_label(observable) + GAP;
    size_t columns = screen->width > INDENT + cell ? (screen->width - INDENT) / cell : 1;
    if (columns > 3)
        columns = 3;
    if (observable->value_count <= 4)
        columns = 1;
    size_t rows = (observable->value_count + columns - 1) / columns;
    for (size_t row = 0; row < rows; row++) {
        struct text line;
        text_init(&line);
        for (size_t v = row; v < observable->value_count; v += rows) {
            const char *label = observable->values[v].label;
            /* The bins of a figure have no numbers: a number typed there is the figure itself. */
            if (observable->kind == KIND_NUMBER)
                text_printf(&line, "  - %s", label);
            else
                text_printf(&line, "%2zu. %s", v + 1, label);
            bool last = v + rows >= observable->value_count;
            for (size_t pad = utf8_width(label, strlen(label)); !last && pad + NUMBER < cell; pad++)
                text_add(&line, " ", 1);
        }
        screen_preformatted(screen, INDENT, line.bytes != NULL ? line.bytes : "");
        text_release(&line);
    }
}

static const char *how_to_answer(const struct observable *observable)
{
    switch (observable->kind) {
    case KIND_NUMBER:
        return "A figure with its unit, or 'unknown'.";
    case KIND_SEVERAL:
        return "Numbers or words, several with commas; 'none'; or 'unknown'.";
    case KIND_ONE:
        break;
    }
    return "A number, a word or a sentence; or 'unknown'.";
}

static void ask_put(struct conversation *talk)
{
    struct screen *screen = talk->opening->screen;
    const struct observable *observable = asked(talk);
    screen_blank(screen);
    screen_say(screen, 0, 0, ROLE_STRONG, "%s", observable->ask);
    if (observable->look != NULL)
        screen_say(screen, 2, 0, ROLE_QUIET, "%s", observable->look);
    put_values(screen, observable);
    screen_say(screen, 2, 0, ROLE_QUIET, "%s", how_to_answer(observable));
    page_end(talk);
}

/* ---- why it is asked ------------------------------------------------------------------------- */

static const struct question *question_of(const struct conversation *talk,
                                          const struct verdict *verdict)
{
    for (size_t i = 0; i < verdict->question_count; i++)
        if (verdict->questions[i].observable == talk->asking)
            return &verdict->questions[i];
    return NULL;
}

static void ask_why(struct conversation *talk)
{
    struct screen *screen = talk->opening->screen;
    struct judged told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    if (talk->asking == NO_OBSERVABLE) {
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing is being asked just now.");
        page_end(talk);
        return;
    }
    if (asked(talk)->why != NULL)
        screen_say(screen, 0, 0, ROLE_PLAIN, "%s", asked(talk)->why);
    const struct question *question = question_of(talk, told.verdict);
    char percent[PERCENT_ROOM];
    if (talk->stage == STAGE_CAUSE)
        screen_say(screen, 0, 0, ROLE_PLAIN,
                   "The action is settled; the answer helps to tell the likely causes apart.");
    else if (question != NULL)
        screen_say(screen, 0, 0, ROLE_PLAIN,
                   "The chance that the answer changes what to do with the vessel: %s.",
                   view_percent(question->turns, percent));
    page_end(talk);
}

/* ---- completion ------------------------------------------------------------------------------ */

static bool offer(struct conversation *talk, size_t *count, const char *word)
{
    if (*count == talk->offered_room) {
        size_t room = talk->offered_room > 0 ? talk->offered_room * 2 : 64;
        const char **grown = realloc(talk->offered, room * sizeof *grown);
        if (grown == NULL)
            return false;
        talk->offered = grown;
        talk->offered_room = room;
    }
    talk->offered[(*count)++] = word;
    return true;
}

static void ask_offer(struct conversation *talk)
{
    const struct rules *rules = talk->opening->rules;
    const char *commands[32];
    size_t count = 0, command_count = command_words(commands, 32);
    input_offer(talk->input, NULL, 0);
    if (talk->asking != NO_OBSERVABLE)
        for (size_t v = 0; v < asked(talk)->value_count; v++)
            if (!offer(talk, &count, asked(talk)->values[v].label))
                return;
    for (size_t i = 0; i < command_count; i++)
        if (!offer(talk, &count, commands[i]))
            return;
    /* For 'change': what is known can be named. */
    const struct fact *facts = NULL;
    size_t fact_count = triage_facts(talk->opening->triage, &facts);
    for (size_t i = 0; i < fact_count; i++)
        if (!offer(talk, &count, rules->observables[facts[i].observable].label))
            return;
    input_offer(talk->input, talk->offered, count);
}

/* ==== prompt ================================================================================== */

enum { MOST_CAUSE_QUESTIONS = 6 };

static struct judged converse_told(struct conversation *talk)
{
    struct judged told = {talk->opening->rules, talk->opening->triage,
                        triage_judge(talk->opening->triage)};
    if (told.verdict == NULL)
        talk->fault = STATUS_MEMORY;
    return told;
}

/* ---- going back ------------------------------------------------------------------------------ */

static void converse_remember(struct conversation *talk)
{
    if (talk->step_count == talk->step_room) {
        size_t room = talk->step_room > 0 ? talk->step_room * 2 : 16;
        struct step *grown = realloc(talk->steps, room * sizeof *grown);
        if (grown == NULL) {
            talk->fault = STATUS_MEMORY;
            return;
        }
        talk->steps = grown;
        talk->step_room = room;
    }
    talk->steps[talk->step_count++] =
        (struct step){triage_mark(talk->opening->triage), talk->stage, talk->asking};
}

static bool converse_back(struct conversation *talk)
{
    if (talk->step_count == 0)
        return false;
    const struct step *step = &talk->steps[--talk->step_count];
    triage_return(talk->opening->triage, step->mark);
    talk->stage = step->stage;
    talk->asking = step->observable;
    return true;
}

/* ---- what is said ---------------------------------------------------------------------------- */

/* The faults of a line are shown and forgotten: the next line is a new try. */
static void show_faults(struct conversation *talk)
{
    for (size_t i = 0; i < diags_kept(talk->diags); i++)
        screen_say(talk->opening->screen, 0, 0, ROLE_PLAIN, "%s",
                   diags_get(talk->diags, i)->message);
    diags_clear(talk->diags);
}

static bool heard(struct conversation *talk, enum status status)
{
    struct screen *screen = talk->opening->screen;
    if (status == STATUS_MEMORY)
        talk->fault = status;
    if (status == STATUS_OK)
        return true;
    if (diags_errors(talk->diags) == 0)
        screen_say(
            screen, 0, 0, ROLE_PLAIN,
            "That was not understood. A number or a word from the list, a sentence, 'unknown', "
            "or 'help'.");
    show_faults(talk);
    page_end(talk);
    converse_back(talk);
    return false;
}

static size_t unclear_count(const struct conversation *talk)
{
    const struct unclear *unclear = NULL;
    return triage_unclear(talk->opening->triage, &unclear);
}

/* What the last line left unclear, and where things stand. */
static void tell_standing(struct conversation *talk, size_t unclear_before)
{
    struct judged told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    view_unclear_since(talk->opening->screen, &told, unclear_before);
    if (talk->stage == STAGE_CAUSE)
        view_standing_causes(talk->opening->screen, &told);
    else
        view_standing(talk->opening->screen, &told);
    page_end(talk);
}

static void hear_answer(struct conversation *talk, const char *line)
{
    size_t before = unclear_count(talk);
    converse_remember(talk);
    if (!heard(talk, triage_answer(talk->opening->triage, talk->asking, line, talk->diags)))
        return;
    talk->asking = NO_OBSERVABLE;
    tell_standing(talk, before);
}

/* Whether the facts are still those of `before`, an array of one observation an observable. */
static bool nothing_new(struct conversation *talk, const struct observation *before)
{
    const struct evidence *evidence = triage_evidence(talk->opening->triage);
    size_t size = talk->opening->rules->observable_count * sizeof *before;
    if (evidence == NULL)
        talk->fault = STATUS_MEMORY;
    return evidence != NULL && memcmp(evidence->observations, before, size) == 0;
}

static struct observation *copy_observations(struct conversation *talk)
{
    size_t size = talk->opening->rules->observable_count * sizeof(struct observation);
    struct observation *copy = malloc(size > 0 ? size : 1);
    const struct evidence *evidence = triage_evidence(talk->opening->triage);
    if (copy == NULL || evidence == NULL) {
        talk->fault = STATUS_MEMORY;
        free(copy);
        return NULL;
    }
    memcpy(copy, evidence->observations, size);
    return copy;
}

static void tell_understood(struct conversation *talk, size_t unclear_before)
{
    struct judged told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    screen_say(talk->opening->screen, 0, 0, ROLE_QUIET, "Understood:");
    view_understood_now(talk->opening->screen, &told);
    tell_standing(talk, unclear_before);
    if (talk->stage != STAGE_CAUSE)
        talk->stage = STAGE_ACTION;
}

static void tell_nothing_new(struct conversation *talk, size_t unclear_before)
{
    struct judged told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    view_unclear_since(talk->opening->screen, &told, unclear_before);
    screen_say(talk->opening->screen, 0, 0, ROLE_PLAIN,
               "That tells nothing new about the vessel. Say what you see, or 'help'.");
    page_end(talk);
    converse_back(talk);
}

static void hear_description(struct conversation *talk, const char *line)
{
    size_t unclear_before = unclear_count(talk);
    struct observation *before = copy_observations(talk);
    if (before == NULL)
        return;
    converse_remember(talk);
    if (heard(talk, triage_tell(talk->opening->triage, line, strlen(line), talk->diags))) {
        if (nothing_new(talk, before))
            tell_nothing_new(talk, unclear_before);
        else
            tell_understood(talk, unclear_before);
    }
    free(before);
}

static bool says(const char *line, const char *const *list)
{
    for (; *list != NULL; list++)
        if (strcasecmp(line, *list) == 0)
            return true;
    return false;
}

static void hear_offer(struct conversation *talk, const char *line)
{
    static const char *const yes[] = {"", "yes", "y", "ok", "go on", "sure", NULL};
    static const char *const no[] = {"no", "n", "no thanks", "not now", NULL};
    if (says(line, yes)) {
        converse_remember(talk);
        talk->stage = STAGE_CAUSE;
        talk->asked = 0;
    } else if (says(line, no)) {
        talk->leaving = true;
    } else {
        hear_description(talk, line);
    }
}

static void hear(struct conversation *talk, const char *line)
{
    if (command_try(talk, line))
        return;
    if (talk->stage == STAGE_OFFER)
        hear_offer(talk, line);
    else if (line[0] == '\0' && talk->stage == STAGE_OPENING)
        talk->stage = STAGE_ACTION;
    else if (line[0] == '\0')
        return; /* Enter at a question asks it again */
    else if (talk->asking != NO_OBSERVABLE)
        hear_answer(talk, line);
    else
        hear_description(talk, line);
}

/* ---- what is asked --------------------------------------------------------------------------- */

static void open_talk(struct conversation *talk)
{
    struct screen *screen = talk->opening->screen;
    screen_say(
        screen, 0, 0, ROLE_PLAIN,
        "What do you see? Say it in your own words, or press Enter to be asked. Leave the vessel "
        "closed: do not open, shake or smell it. 'help' lists what else you can type.");
    page_end(talk);
}

static void settle(struct conversation *talk)
{
    page_verdict(talk);
    if (talk->leaving || talk->fault != STATUS_OK)
        return;
    talk->stage = STAGE_OFFER;
    talk->asking = NO_OBSERVABLE;
}

static void put_offer(struct conversation *talk)
{
    screen_blank(talk->opening->screen);
    screen_say(talk->opening->screen, 0, 0, ROLE_STRONG,
               "The action is settled. Shall we look for the cause? (Enter: yes; 'no' %sleaves)",
               talk->opening->finished != NULL ? "saves the look and " : "");
    page_end(talk);
}

static void finish(struct conversation *talk)
{
    page_causes(talk);
    talk->stage = STAGE_DONE;
    talk->asking = NO_OBSERVABLE;
    if (talk->leaving)
        return;
    screen_blank(talk->opening->screen);
    screen_say(talk->opening->screen, 0, 0, ROLE_QUIET,
               "That is all that questions can tell. 'verdict', 'details', 'change', or 'leave'%s.",
               talk->opening->finished != NULL ? ", which saves the look" : "");
    page_end(talk);
}

/* Two statements that contradict come before any new question; each pair is put once. */
static bool choose_clash(struct conversation *talk)
{
    const struct clash *clashes = NULL;
    size_t count = triage_clashes(talk->opening->triage, &clashes);
    for (size_t i = 0; i < count; i++) {
        if (clashes[i].observable == talk->last_clash)
            continue;
        screen_blank(talk->opening->screen);
        screen_say(talk->opening->screen, 0, 0, ROLE_ISOLATE,
                   "You said '%s' and '%s'. Which holds?", clashes[i].first, clashes[i].second);
        talk->asking = talk->last_clash = clashes[i].observable;
        return true;
    }
    return false;
}

/* The next question of the stage; moves to the next stage when there is none. */
static void choose_question(struct conversation *talk)
{
    if (choose_clash(talk))
        return;
    bool for_cause = talk->stage == STAGE_CAUSE;
    const struct question *next = NULL;
    if (!for_cause || talk->asked < MOST_CAUSE_QUESTIONS)
        next = triage_next(talk->opening->triage, for_cause ? AIM_CAUSE : AIM_ACTION);
    if (talk->fault != STATUS_OK)
        return; /* no question for want of memory is not a question less */
    if (next != NULL) {
        talk->asking = next->observable;
        talk->asked++;
    } else if (for_cause) {
        finish(talk);
    } else {
        settle(talk);
    }
}

/* Brings the conversation to where a line is wanted, and says what is wanted. */
static void prepare(struct conversation *talk)
{
    bool asks = talk->stage == STAGE_ACTION || talk->stage == STAGE_CAUSE;
    if (asks && talk->asking == NO_OBSERVABLE)
        choose_question(talk);
    if (talk->leaving || talk->fault != STATUS_OK)
        return;
    if (talk->stage == STAGE_OFFER)
        put_offer(talk);
    else if (talk->asking != NO_OBSERVABLE)
        ask_put(talk);
}

/* ---- the loop -------------------------------------------------------------------------------- */

/* Without a terminal the answer is not on the screen: say it, so that the record can be read. */
static void echo(struct conversation *talk, const char *line)
{
    if (input_is_terminal(talk->input))
        return;
    enum { ECHO_BYTES = 400 };
    screen_say(talk->opening->screen, 0, 2, ROLE_PLAIN, "> %.*s", ECHO_BYTES, line);
    page_end(talk);
}

static char *trimmed(char *line)
{
    char *start = line + strspn(line, " \t\r");
    size_t length = strlen(start);
    while (length > 0 && strchr(" \t\r", start[length - 1]) != NULL)
        start[--length] = '\0';
    return start;
}

static enum input_result next_line(struct conversation *talk, char **line)
{
    if (talk->pending == NULL)
        return input_line(talk->input, "> ", line);
    *line = talk->pending;
    talk->pending = NULL;
    return INPUT_LINE;
}

static void one_turn(struct conversation *talk)
{
    char *line = NULL;
    prepare(talk);
    if (talk->leaving || talk->fault != STATUS_OK)
        return;
    ask_offer(talk);
    enum input_result result = next_line(talk, &line);
    talk->shown = 0;
    switch (result) {
    case INPUT_LINE: {
        char *said = trimmed(line);
        echo(talk, said);
        hear(talk, said);
        break;
    }
    case INPUT_INTERRUPTED:
    case INPUT_RESIZED:
        break; /* the question is put again */
    case INPUT_FAULT:
        diags_error(talk->diags, (struct position){0}, "cannot read standard input: %s",
                    strerror(errno));
        talk->fault = STATUS_IO;
        break;
    case INPUT_END:
    case INPUT_KILLED:
        talk->leaving = talk->ended = true;
        break;
    }
    free(line);
    screen_measure(talk->opening->screen, stdout);
}

static void say_goodbye(struct conversation *talk)
{
    if (talk->fault != STATUS_OK || triage_mark(talk->opening->triage) == talk->opened)
        return;
    if (talk->stage == STAGE_OPENING || talk->stage == STAGE_ACTION)
        page_verdict(talk); /* left before the verdict: what is known so far is worth having */
    page_end(talk);
}

static void open_with_words(struct conversation *talk)
{
    struct text words;
    text_init(&words);
    for (size_t i = 0; i < talk->opening->word_count; i++)
        text_printf(&words, "%s%s", i > 0 ? " " : "", talk->opening->words[i]);
    if (words.failed)
        talk->fault = STATUS_MEMORY;
    else if (words.length > 0)
        hear_description(talk, words.bytes);
    text_release(&words);
}

enum status prompt_converse(const struct prompt_opening *opening, struct diags *diags)
{
    struct conversation talk = {
        .opening = opening, .diags = diags, .asking = NO_OBSERVABLE, .last_clash = NO_OBSERVABLE};
    talk.input = input_open();
    if (talk.input == NULL)
        return STATUS_MEMORY;
    talk.opened = triage_mark(opening->triage);
    if (opening->about != NULL)
        screen_say(opening->screen, 0, 0, ROLE_STRONG, "%s", opening->about);
    if (opening->word_count > 0)
        open_with_words(&talk);
    else
        open_talk(&talk);
    while (!talk.leaving && talk.fault == STATUS_OK)
        one_turn(&talk);
    say_goodbye(&talk);
    if (opening->finished != NULL)
        *opening->finished = talk.fault == STATUS_OK && !talk.ended;
    int killed_by = input_signal(talk.input);
    input_close(talk.input);
    free(talk.steps);
    free(talk.offered);
    free(talk.pending);
    if (killed_by != 0)
        raise(killed_by); /* the terminal is restored: end as the sender of the signal expects */
    return talk.fault;
}
