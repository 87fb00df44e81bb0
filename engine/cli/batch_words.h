/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_BATCH_WORDS_H
#define JARSIDE_CLI_BATCH_WORDS_H

#include "cli/assign.h"
#include "triage/physics.h"
#include "view/journal.h"

/*
 * A batch while it is put together: from options, words, answers, and what the
 * last batch had, in this order. What is absent in the records below is not
 * known yet.
 */
enum pick { /* which record of a kind goes with the batch */
            PICK_UNTOLD,
            PICK_EXISTING, /* it is in the journal */
            PICK_NEW,      /* it is to be made */
            PICK_NONE,     /* there is none, or nobody knows */
};

struct draft {
    struct app *app;
    struct journal_told told;
    struct moment at;
    size_t vessels, controls;
    struct known_vessel measured; /* kind and grams; */
    int shape;                    /* or only its shape, an enum vessel_shape; RULES_NONE */
    const char *positions;        /* as given: "upper" or "upper:4,lower:4" */
    bool no_species, no_grain;    /* they are unknown, and that was said */
    enum pick pick[RECORD_COUNT];
    struct batch batch;
    struct starter starter;
    struct lot lot;
    struct cook cook;
    struct session session;
    struct place place;
    bool has_last;
    struct batch last; /* the newest batch, or the one of --like */
    struct text note;  /* words that were not understood: kept, not lost */
    struct text taken; /* what was taken over, "; " between */
    struct text first; /* what had to be settled without being told, likewise */
};

/* The record of a kind in a draft, and the flag that picks it ("starter"). */
void *draft_row(struct draft *draft, enum record record);
/* Says that `label` (or "new", "none") is the record of this kind. */
enum status draft_pick(struct draft *draft, enum record record, const char *label);
/* Whether a figure said now is what a shared cook was recorded with; a fault of use when it is not. */
enum status draft_cook_figure(struct draft *draft, const char *column, double recorded,
                              double said);
/* Notes something for the grower, parts divided by "; ". */
void draft_add(struct text *list, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Each fills what is not known yet. */
enum status batch_options(struct draft *draft);
enum status batch_words(struct draft *draft, const char *const *words, size_t count);
/* One answer of the guided mode, read as words about the batch. */
enum status batch_say(struct draft *draft, const char *words);
/* Which batch came before; and what is taken over from it. */
enum status batch_find_last(struct draft *draft);
enum status batch_last(struct draft *draft);
/* Chooses a kind of vessel where only the shape was said. */
void batch_shape(struct draft *draft);
/* Asks at a terminal for what is still missing, or names the flags that would have answered. */
enum status batch_ask(struct draft *draft, bool guided);
/* Settles which records are made and which there are none of. */
void batch_settle(struct draft *draft);

/* Writes everything in one transaction; `vessels` is in the arena. */
struct batch_saved {
    struct vessel *vessels;
    size_t count;
    struct vessel_forecast course;
    int64_t first_look; /* day; 0 for none */
};
enum status batch_save(struct draft *draft, struct batch_saved *saved);

#endif
