/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_EXCHANGE_H
#define JARSIDE_JOURNAL_EXCHANGE_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "base/diag.h"
#include "base/text.h"
#include "journal/journal.h"
#include "language/reader.h"
#include "triage/triage.h"

/* The journal as CSV (RFC 4180): UTF-8, CRLF, a header row, one file a kind of record, named as
 * record_types names it. Read back by import_tables.
 *
 * A record begins with its id, then come its columns by name. Moments are ISO 8601 with their
 * offset, numbers in the shortest form that reads back exactly, references the labels of what they
 * name (ids for looks, events and outcomes). What the journal derives is left out, but for the day
 * of a vessel's next look, which no other record tells.
 *
 * A spreadsheet would take a text that begins with = + - @, a tab or an end of line for a formula.
 * Such a text, even after apostrophes and spaces, gets an apostrophe in front, which the import
 * removes. */

/* Writes one table to `stream`, which stays open; `name` is what messages call it. `rows` receives
 * how many there were: counting them again later might fail. */
enum status export_table(struct journal *journal, enum record record, FILE *stream,
                         const char *name, size_t *rows);

/* The same into a file, mode 0600, which appears whole or not at all. */
enum status export_file(struct journal *journal, enum record record, const char *path,
                        bool replace);

/* Every table, as the journal stands at one moment, into a folder, which is made (mode 0700) when
 * it is not there. No file takes its name before all are written. `counts` receives the rows of
 * each and may be NULL. */
enum status export_folder(struct journal *journal, const char *folder, bool replace,
                          size_t counts[RECORD_COUNT]);

/* Reads back what export writes: all of it, or nothing.
 *
 * Into an empty journal every record keeps its id, so that a further export is the same to the
 * byte. In a journal that holds something a record is known by its label, and looks, events,
 * outcomes and the like by all they say: what is there already is passed over, what is new is added
 * (under a new id when its own is taken), and a record of the same label that says something else
 * is a conflict, which names the place in the file, what is there and what was given, unless it is
 * said which of them counts: then the journal's stays, or is corrected, and the correction kept.
 * Memory does not grow with the files. */
struct import_tally {
    size_t added, same, settled, refused; /* rows */
};

enum import_keep { KEEP_NEITHER, KEEP_JOURNAL, KEEP_FILE };

struct import_options {
    bool dry_run;          /* do everything but keep it */
    enum import_keep keep; /* which of two records of one label counts, where they differ */
    const char *prefix;    /* "K": labels of all but places become "K-B1"; or NULL */
    struct moment now;     /* of the corrections that KEEP_FILE makes */
    const struct progress *progress; /* or NULL */
    /* Of demo_build: makes the look of a vessel, a moment and the grower's words; records it. */
    enum status (*judge)(void *context, struct journal *journal, const char *vessel,
                         struct moment at, const char *words);
    void *context;
};

/* One table from a file, or with RECORD_COUNT every table found in a folder: a CSV file there that
 * is no table's is a fault, and so is a folder without any. STATUS_DATA, and nothing imported, when
 * a row was refused; the tallies tell how many. */
enum status import_tables(struct journal *journal, const char *path, enum record record,
                          const struct import_options *options,
                          struct import_tally tally[RECORD_COUNT]);

/* The table that a path is named after, "somewhere/vessel.csv"; RECORD_COUNT when it is none. */
enum record import_table_of(const char *path);

/* An invented season, written into an empty journal: what a folder of small tables holds, each with
 * the columns it needs. Looks have a vessel, a moment and the grower's words only; options->judge
 * makes the look of them, so that its facts and posterior are those of the rules in use. Looks,
 * events and outcomes are recorded in the order in which they happened. All or nothing. STATUS_IO
 * when a table cannot be read, STATUS_DATA when it holds what it should not, or the journal holds
 * something already. */
enum status demo_build(struct journal *journal, const char *folder,
                       const struct import_options *options);

/* The looks that are due, as a calendar (RFC 5545) that other programs show.
 *
 * One event a batch and day, all-day, that names the vessels and why they are to be looked at. Its
 * UID stays the same for as long as the batch is due on that day, so importing the file again makes
 * no duplicates. It does not mark the day as busy (TRANSPARENT). `remind` sets an alarm, in minutes
 * after midnight; -1 for none. */
enum { CALENDAR_NO_ALARM = -1 };

struct calendar_options {
    struct moment now; /* DTSTAMP: the same journal and `now` give the same bytes */
    int64_t until;     /* days since 1970-01-01: later looks are left out; INT64_MAX for all */
    int remind;
};

/* Appends the calendar; `events` receives how many there are. Without any it is a calendar all the
 * same, for those who fetch it again and again. */
enum status calendar_text(struct journal *journal, const struct calendar_options *options,
                          struct text *out, size_t *events);

/* A label with the prefix before it, unless it has that already or there is none (NULL). */
const char *label_prefixed(const char *prefix, const char *label, struct arena *arena);

/* Appends a text with an apostrophe in front where one is needed. */
void exchange_guard(struct text *out, const char *bytes, size_t length);
/* How many bytes to leave out at the front of a text as it stands in a file: 1 or 0. */
size_t exchange_guarded(const char *bytes, size_t length);

/* ---- a grower's own spreadsheet (mapping.c) ----------------------------------------------------- */

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
 *       batch: from vessel  # where no column tells it: A3 is number 3 of batch A
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

struct mapping_options {
    bool dry_run;
    bool partly;        /* keep the good rows when others are refused */
    bool every_row;     /* tell what came of each, not only why some were refused */
    const char *prefix; /* "K": labels of all but places become "K-B1"; or NULL */
    struct moment now;  /* dates beyond it are refused */
    const struct progress *progress;
};

/* Reads the spreadsheet: all of it, or nothing when a row is refused and not `partly`. Faults that
 * are not of a row go to the journal's diags. STATUS_DATA when a row was refused, unless others
 * were to be kept without it. Importing the same file again adds only what is new in it. Unless
 * such a fault ended it, `told` says what came of it, safe to show: {taken, skipped, refused,
 * added: {RECORD: count}, read_as: [{words, rows}], rows: [{line, column, verdict, label, why}]},
 * `read_as` being what something that stands in rows was taken for; released by the caller. */
enum status mapping_import(struct journal *journal, struct mapping *mapping, struct reader *reader,
                           const char *path, const struct mapping_options *options, json_t **told);

/* Appends a map as the headings and values of the spreadsheet suggest it, to be looked over and
 * edited by a person. The triage is used to guess at results, and left reset. */
enum status mapping_guess(const char *path, struct reader *reader, struct triage *triage,
                          struct text *out, struct diags *diags);

/* ---- the words of a sheet (result.c) ------------------------------ */

/* What a word stands for. */
struct meant {
    const char *id; /* NULL when nobody knows it */
    double grams;   /* in a vessel whose size was said; or NAN */
    bool loosely; /* heard among other words, or the nearest there is: "blue oyster" is an oyster */
};

/* The kind of vessel of a size: "1 l", "2.5 kg bag"; false when it is none. */
bool size_read(const struct rules *rules, const char *words, struct meant *meant);
/* The id of the one value that the reader hears in a text as an answer to what feeds that; NULL for
 * none. */
const char *answer_meant(const struct rules *rules, struct reader *reader, enum feeds feeds,
                         const char *text, struct arena *arena);
/* What a word in a column means: as a map says (`told`; or NULL), as an id or name of the rules, as
 * the size of a vessel, or as the reader understands it. */
struct meant word_meant(const struct rules *rules, struct reader *reader,
                        const struct column *column, const char *text, const char *told,
                        struct arena *arena);

struct result {                    /* what became of a vessel */
    const struct finding *finding; /* NULL when it tells none */
    bool used, discarded, growing;
    enum because because; /* it was discarded */
};

/* Folded and without blanks at its ends, in the arena; "" when it is no text. */
const char *fold_trimmed(struct arena *arena, const char *text);
/* Where words stand in a folded text as words of their own; NULL for nowhere. */
const char *words_stand(const char *folded, const char *words, size_t length);
/* Where the words of a list stand in a folded text as words of their own; NULL for nowhere. */
const char *list_stands(const struct named_list *list, const char *folded);
/* Used, or discarded for whatever reason. */
bool result_is_gone(const struct result *result);
/* The meaning of a result in a map, "FINDING used"; false when a word of it is unknown. */
bool result_read(const struct rules *rules, const char *meaning, struct result *result);
/* What the words of the rules make of a text (FORMAT.md, "result_"), unless it says that one of
 * them is not so. False when they make nothing of it. */
bool result_of_words(const struct rules *rules, const char *folded, struct result *result);

/* Why a vessel was thrown away, by the usual words of `words` ("sour rot" is contaminated);
 * BECAUSE_UNTOLD when they do not tell. */
enum because because_of_words(const struct rules *rules, const char *words, struct arena *arena);

#endif
