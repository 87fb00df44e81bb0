/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "prompt/converse_internal.h"

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
        screen_done(screen, &line);
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

void ask_put(struct conversation *talk)
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

void ask_why(struct conversation *talk)
{
    struct screen *screen = talk->opening->screen;
    struct told told = converse_told(talk);
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
                   voice_percent(question->turns, percent));
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

void ask_offer(struct conversation *talk)
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
