/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_MAPPING_H
#define JARSIDE_JOURNAL_MAPPING_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"
#include "base/text.h"
#include "journal/exchange.h"
#include "journal/journal.h"
#include "language/reader.h"
#include "triage/triage.h"

/*
 * A grower's own spreadsheet into the journal: one row per vessel.
 *
 * A map says which of their columns is which of ours, how they write dates, and
 * what their words mean. It is a YAML file:
 *
 *     columns:              # ours: the heading of theirs
 *       batch: Run
 *       number: Bag no      # within the batch; `vessel:` for labels of their own
 *       inoculated: Date
 *       result: What happened
 *       ended: Seen on
 *     same:                 # for every row
 *       species: oyster
 *     dates: day/month/year # unless they are ISO 8601
 *     repeat: [Run, Date]   # an empty cell means what stands above it
 *     values:               # words of theirs that the rules do not know
 *       result:
 *         gone green: FINDING discarded
 *
 * or, for the columns alone, a line "batch=Run,number=Bag no". Batches, cooks,
 * starters, lots, sessions and places are made by the labels that stand in the
 * rows; a later row that says something else of one is refused. A result is a
 * finding of the rules (by id or name), or growing, used or discarded; it is
 * kept as a confirmed outcome with the words it came from.
 */
struct mapping; /* opaque */

/* Reads a map. The rules must outlive it. NULL, and a fault with its position, when it is none. */
struct mapping *mapping_new(const char *map, const struct rules *rules, struct diags *diags,
                            enum status *status);
void mapping_free(struct mapping *mapping); /* NULL is fine */

enum mapping_verdict {
    MAPPING_TAKEN,   /* something of it is new */
    MAPPING_SKIPPED, /* empty, or all there already */
    MAPPING_REFUSED,
};

struct mapping_row { /* what came of a row; valid during the call */
    struct position at;
    enum mapping_verdict verdict;
    const char *label; /* of the vessel, or "" */
    const char *why;   /* for a refused or skipped row */
};

struct mapping_options {
    bool dry_run;
    bool partly;       /* keep the good rows when others are refused */
    struct moment now; /* dates beyond it are refused */
    const struct progress *progress;
    void *context;
    void (*row)(void *context, const struct mapping_row *row); /* or NULL */
};

struct mapping_tally {
    size_t taken, skipped, refused; /* rows */
    size_t added[RECORD_COUNT];     /* records */
};

/* Reads the spreadsheet: all of it, or nothing when a row is refused and not
 * `partly`. Refused rows go to options->row, other faults to `diags`. STATUS_DATA
 * when a row was refused, even when others were kept. Importing the same file again
 * adds only what is new in it. */
enum status mapping_import(struct journal *journal, struct mapping *mapping, struct reader *reader,
                           const char *path, const struct mapping_options *options,
                           struct mapping_tally *tally, struct diags *diags);

/* Appends a map as the headings and values of the spreadsheet suggest it, to be looked over and
 * edited by a person. The triage is used to guess at results, and left reset. */
enum status mapping_guess(const char *path, struct reader *reader, struct triage *triage,
                          struct text *out, struct diags *diags);

/* Why a vessel was thrown away, by the usual words of `words` ("sour rot" is contaminated);
 * BECAUSE_UNTOLD when they do not tell. */
enum because because_of_words(const struct rules *rules, const char *words, struct arena *arena);

#endif
