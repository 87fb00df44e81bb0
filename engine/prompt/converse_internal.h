/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROMPT_CONVERSE_INTERNAL_H
#define JARSIDE_PROMPT_CONVERSE_INTERNAL_H

#include "prompt/input_internal.h"
#include "prompt/prompt.h"
#include "voice/verdict.h"

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
struct told converse_told(struct conversation *talk);

/* page.c: sends what stands in the screen's buffer; `wait` lets a person read before more comes. */
void page_end(struct conversation *talk);
void page_wait(struct conversation *talk);
/* The verdict in pages that fit the window: action and cautions first, and never scrolled away. */
void page_verdict(struct conversation *talk);
/* Causes, tests that would tell them apart, what to change next time. */
void page_causes(struct conversation *talk);

/* ask.c: puts the question `talk->asking`; says why it is asked. */
void ask_put(struct conversation *talk);
void ask_why(struct conversation *talk);
/* Gives Tab the words that are valid now. */
void ask_offer(struct conversation *talk);

/* command.c: acts on `line` when it is a command word; false when it is not one. */
bool command_try(struct conversation *talk, const char *line);
/* Whether the line is the word that leaves, which works even between pages. */
bool command_leaves(const char *line);
/* The words that act, at most `most` of them; returns how many. */
size_t command_words(const char **list, size_t most);

/* prompt.c: remembers where we are, so that 'back' returns here; goes back one step. */
void converse_remember(struct conversation *talk);
bool converse_back(struct conversation *talk);

#endif
