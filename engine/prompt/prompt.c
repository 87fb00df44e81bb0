/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "prompt/prompt.h"

#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "prompt/converse_internal.h"

enum { MOST_CAUSE_QUESTIONS = 6 };

struct told converse_told(struct conversation *talk)
{
    struct told told = {talk->opening->rules, talk->opening->triage,
                        triage_judge(talk->opening->triage)};
    if (told.verdict == NULL)
        talk->fault = STATUS_MEMORY;
    return told;
}

/* ---- going back ------------------------------------------------------------------------------ */

void converse_remember(struct conversation *talk)
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

bool converse_back(struct conversation *talk)
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
    struct told told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    voice_unclear_since(talk->opening->screen, &told, unclear_before);
    if (talk->stage == STAGE_CAUSE)
        voice_standing_causes(talk->opening->screen, &told);
    else
        voice_standing(talk->opening->screen, &told);
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
    struct told told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    screen_say(talk->opening->screen, 0, 0, ROLE_QUIET, "Understood:");
    voice_understood_now(talk->opening->screen, &told);
    tell_standing(talk, unclear_before);
    if (talk->stage != STAGE_CAUSE)
        talk->stage = STAGE_ACTION;
}

static void tell_nothing_new(struct conversation *talk, size_t unclear_before)
{
    struct told told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    voice_unclear_since(talk->opening->screen, &told, unclear_before);
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
        talk->fault = triage_next(talk->opening->triage, for_cause ? AIM_CAUSE : AIM_ACTION, &next);
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
