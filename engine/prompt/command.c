/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "prompt/converse_internal.h"

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
    struct told told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    voice_understood(screen, &told);
    voice_unclear(screen, &told);
    voice_standing(screen, &told);
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
    struct told told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    screen_heading(screen, "What weighs how much");
    voice_evidence(screen, &told);
    page_wait(talk);
    screen_heading(screen, "What would turn the action");
    voice_turns(screen, &told);
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
        struct told told = converse_told(talk);
        if (told.verdict == NULL)
            return;
        screen_say(screen, 0, 0, ROLE_PLAIN, "Say 'change' and which of these:");
        voice_understood(screen, &told);
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

static const struct command_word words[] = {
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
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        screen_row(screen, 2, 10, words[i].word, words[i].help);
    page_end(talk);
}

size_t command_words(const char **list, size_t most)
{
    size_t count = 0;
    while (count < sizeof words / sizeof *words && count < most) {
        list[count] = words[count].word;
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

bool command_leaves(const char *line)
{
    return strcasecmp(plain_name(line), "leave") == 0;
}

bool command_try(struct conversation *talk, const char *line)
{
    const char *name = plain_name(line);
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        size_t length = strlen(words[i].word);
        if (strncasecmp(name, words[i].word, length) != 0)
            continue;
        const char *rest = name + length;
        /* Only 'change' takes more words; 'leave it' or 'why not' is a sentence. */
        bool bare = *rest == '\0';
        bool with_more = words[i].act == act_change && isspace((unsigned char)*rest);
        if (!bare && !with_more)
            continue;
        words[i].act(talk, rest + strspn(rest, " \t"));
        return true;
    }
    return false;
}
