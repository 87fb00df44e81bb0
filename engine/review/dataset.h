/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_DATASET_H
#define JARSIDE_REVIEW_DATASET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "base/diag.h"
#include "base/memory.h"
#include "journal/journal.h"
#include "rules/rules.h"

/* Many vessels in one table, wherever they were written down: what became of each, when, and what
 * it shares with others.
 *
 * Column by column, so that a hundred thousand vessels and forty factors take some twenty megabytes
 * and a pass over a factor is a pass over one array. Everything lives in the arena that the dataset
 * was made in. */
#define LEVEL_NONE UINT32_MAX /* of a factor: not known, or it does not apply */
#define DAY_NONE   INT32_MIN

enum factor_kind {
    FACTOR_COOK,
    FACTOR_LETHALITY, /* computed from the cook */
    FACTOR_POSITION,  /* in the cooker */
    FACTOR_LOT,       /* of grain */
    FACTOR_BATCH,     /* the mix */
    FACTOR_MOISTURE,  /* computed from the mix */
    FACTOR_STARTER,
    FACTOR_PARENT, /* what the starter was made from */
    FACTOR_LINE,   /* what its oldest known ancestor was */
    FACTOR_DOSE,   /* of starter */
    FACTOR_SESSION,
    FACTOR_PLACE,
    FACTOR_TEMPERATURE, /* of the place */
    FACTOR_VESSEL,      /* the kind of vessel */
    FACTOR_LID,         /* of lid */
    FACTOR_BAG,         /* the lot of empty bags or jars */
    FACTOR_SPOT,        /* on its shelf */
    FACTOR_SEQUENCE,    /* of inoculation: early, middle or late, by number */
    FACTOR_GRAMS,       /* of grain in it: light, middle or heavy */
    FACTOR_CHANGE,      /* a dated one: before and since; several may be there */
    FACTOR_OTHER,       /* a column that a grower's own table has */
    FACTOR_KINDS
};

struct factor_type {
    const char *name;        /* "cook", "computed cook", ... */
    enum scope scope;        /* that it shows causes of */
    enum factor_kind origin; /* what it was computed from; itself when it was not */
    bool control; /* an uninoculated vessel can show that it failed: a cook, yes; a starter, no */
};
extern const struct factor_type factor_kinds[FACTOR_KINDS];

/* Where a vessel was from an age on, in days since it began, until its next stay. */
struct stay {
    uint32_t level; /* LEVEL_NONE: not known */
    int32_t from;
};

struct factor {
    enum factor_kind kind;
    const char *name;          /* as people call it: "cook", or the column's own name */
    const char *const *levels; /* labels; safe to show only after text_safe */
    size_t level_count;
    const uint32_t *level; /* of each vessel, LEVEL_NONE; the last it had, of one that changed */
    /* Of a factor that changes: the stays of vessel i, by age, are stays[first_stay[i]] up to
     * stays[first_stay[i + 1]], one at least; both NULL when no vessel changed. */
    const struct stay *stays;
    const uint32_t *first_stay;
    /* Of a computed factor: up to two computations that its levels say something of, and per level
     * how each moves the causes it bears on, natural log of the odds; NULL when it moves none. */
    enum moved_by moved[2];
    const double *log_odds; /* [2 * level + which] */
    /* Per level the figures behind it, "cook C5: 50 minutes, a litre jar needs 73; ..."; "" for
     * none. NULL: the factor has none. */
    const char *const *figures;
};

struct dataset {
    size_t vessel_count;
    const char **labels; /* of the vessels; "" where a table gave none */
    uint8_t *fate;       /* enum fate; FATE_COUNT when nobody wrote it down */
    bool *control;       /* never inoculated */
    int32_t *entered;    /* day of inoculation since 1970-01-01, DAY_NONE */
    int32_t *ended;      /* day it was used or lost, or first judged so; DAY_NONE */
    /* What it turned out or looked to be: an index into rules.findings, RULES_NONE; NULL when no
     * vessel has one. And how sure that was, 0 to 1. */
    int16_t *finding;
    float *sure;
    /* Of each vessel what was seen in it at its last look, one per observable; NULL where that is
     * not known, and as a whole when no vessel has any. */
    const struct observation **seen;
    const struct factor *factors;
    size_t factor_count;
    size_t batch;  /* the factor that is the batch; factor_count when there is none */
    int32_t today; /* the day of the review; what lies after it is left out of times */
    /* What was set aside while reading, one sentence each: "3 vessels begin after today". */
    const char *const *remarks;
    size_t remark_count;
};

/* The index of the factor of a kind, or factor_count. */
size_t dataset_factor(const struct dataset *dataset, enum factor_kind kind);

struct dataset_wanted {
    int32_t today;
    int32_t since;       /* those that were begun on that day or later; DAY_NONE: all */
    const char *batches; /* those of batches with these labels, "B1|B2", in any case; NULL: all */
};

/* The vessels of a journal that are wanted. Controls have no session, starter or dose. The place is
 * where a vessel stood before it was set apart or lost. Factors that no vessel has, and those that
 * part the vessels as another of the same kind of thing does (a line that is but its starter), are
 * left out. `rules` names and computes bands. */
enum status dataset_from_journal(struct journal *journal, const struct rules *rules,
                                 const struct dataset_wanted *wanted, struct arena *arena,
                                 struct dataset *dataset);

/*
 * A table with one row per vessel, in any order, read from a file, or from a stream
 * that `file` is what messages call. The first row names the columns. Read as what their name says, in any case:
 *
 *   vessel, label, id, name           its label
 *   lost, ok, fate, outcome, result   what became of it: lost, contaminated, stuck, bad; ok, clean,
 *                                     sound, fine, used; open, growing; what `rules` know of such
 *                                     words ("trich"; may be NULL); in a column "lost" (or "ok")
 *                                     also yes, no, 1, 0
 *   begun, started, inoculated, made, date     the day it began, ISO 8601
 *   ended, lost on, used on                    the day it ended
 *   control                           yes, no, 1, 0
 *   cook, starter, session, place or shelf, lot or grain, batch, position, kind, ...   factors
 *
 * A vessel that was moved names its places in order, each but the first after the day it came there:
 * "incubator; 2026-03-11 shelf". Any other column is a factor of its own name. A column of more distinct values
 * than half the vessels tells nothing and is set aside, with a remark. A table
 * without a column that says what became of them is refused with what was found.
 */
enum status dataset_from_table(const char *file, FILE *stream, const struct rules *rules,
                               const struct dataset_wanted *wanted, struct arena *arena,
                               struct dataset *dataset, struct diags *diags);

/* Dated changes that words tell of, each as a factor: "heater died on 3 March; new lamp 2026-03-20"
 * gives each vessel the days before and since, by its age. Of a place (LEVEL_NONE: of all) only the
 * days there count. Clauses without a date, with one that no vessel lived on both sides of, or told
 * before are no changes. Returns how many were added. */
size_t dataset_add_changes(struct dataset *dataset, const char *words, uint32_t place,
                           struct arena *arena);

#endif
