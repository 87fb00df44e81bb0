/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_JOURNAL_H
#define JARSIDE_JOURNAL_JOURNAL_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "journal/record.h"
#include "rules/rules.h"

/* The journal: one SQLite file of batches, vessels and looks.
 *
 * Write-ahead log, foreign keys, STRICT tables, mode 0600; user_version is the version of the
 * schema and application_id says whose file it is. What a call has acknowledged survives the death
 * of the process at any moment. Two processes may write at once: each waits its turn. A file from a
 * newer version, a damaged one and one that is no journal are refused with a message and left as
 * they are.
 *
 * Not thread-safe: open one per thread. Every failure adds a line to the `diags` that it was opened
 * with; STATUS_IO when reading or writing fails, STATUS_DATA when what it holds or is given is
 * wrong, STATUS_USAGE when a name is not known. */
struct journal; /* opaque: an open journal */

enum journal_access {
    JOURNAL_READ,    /* must exist; nothing is written, not even a migration */
    JOURNAL_EXAMINE, /* the same, and pages that disagree are no reason to refuse it */
    JOURNAL_WRITE,   /* must exist; migrated when older */
    JOURNAL_CREATE,  /* made, with its folder, when it does not exist */
};

enum { JOURNAL_VERSION = 4, JOURNAL_APPLICATION = 0x4a61526a };

/* $JARSIDE_JOURNAL, else jarside/journal.db below $XDG_DATA_HOME or ~/.local/share. Caller frees.
 * NULL and STATUS_USAGE when there is no home. */
enum status journal_default_path(char **path);

/* Opens it, as far as `access` allows; on a fault `journal` is NULL. With a NULL path a new one in
 * memory, gone when it is closed. Any path names a file, even ":memory:" and "file:x".
 *
 * Reading needs only the file: no disk space, no permission to write beside it. A journal of up to
 * 4 MiB, and any that was not closed, is read through first, and STATUS_DATA when its pages
 * disagree. */
enum status journal_open(const char *path, enum journal_access access, struct journal **journal,
                         struct diags *diags);
void journal_close(struct journal *journal); /* NULL is fine */
/* From now on every refusal is handed to `ends`, which does not return: nobody need check what
 * calls return. */
void journal_ends(struct journal *journal, void (*ends)(void *context, enum status status),
                  void *context);

/* Who is at work, kept with what is recorded from now on: the letter of the station, which also
 * begins new labels ("K-B1"), and a person's name. NULL or "" for none: whoever works alone needs
 * neither. STATUS_USAGE when the station is not of one to three letters. */
enum status journal_sign(struct journal *journal, const char *station, const char *person);

/* Transactions nest: only the outermost commit writes to the disk, and a rollback undoes everything
 * since the outermost begin. A call below that fails changes nothing. After a failure, later calls
 * in the same transaction do nothing; the commit then rolls it all back and returns the error. */
enum status journal_begin(struct journal *journal);
enum status journal_commit(struct journal *journal);
void journal_rollback(struct journal *journal);

/* ---- records --------------------------------------------------------------------------------- */

/* Appends `row` (a struct of that kind) and sets its id; an id that is not 0 is kept (imports).
 * Checks what record_types says: required, bounds, known words, references that exist, labels not
 * taken; the message names column and value. After a look, an event or an outcome the vessel is
 * refreshed. */
enum status journal_add(struct journal *journal, enum record record, void *row);

/* Reads one record, by its id or as journal_called finds it; texts are copied into the arena.
 * STATUS_USAGE, with the nearest label suggested, when there is none. */
enum status journal_get(struct journal *journal, enum record record, int64_t id,
                        struct arena *arena, void *row);
enum status journal_find(struct journal *journal, enum record record, const char *label,
                         struct arena *arena, void *row);
/* Refuses for a new batch the label of a vessel, and the other way round, in whatever case: people
 * name either in the same places, and one of them could never be reached. `remedy`, or with NULL to
 * choose another label, is what to do. */
enum status label_check(struct journal *journal, enum record record, const char *label,
                        const char *remedy);
/* Whether there is one that is written so. */
bool journal_has(struct journal *journal, enum record record, const char *label, int64_t *id);
/* The id of the one that people mean by a label: written so, else in capitals; "Shelf 2" is the place
 * "shelf2", too. 0 for none. */
int64_t journal_called(struct journal *journal, enum record record, const char *label);

/* Records of a kind by rising id, their texts in an arena; none where reading was refused. */
struct page {
    enum record record;
    void *rows; /* an array of its struct */
    size_t count;
    size_t total; /* how many there are without a limit */
};
/* One of them. */
static inline const void *page_row(const struct page *page, size_t index)
{
    return (const char *)page->rows + index * record_types[page->record].size;
}

/* The newest `limit` (0: all) of those that fulfil a condition in SQL, "batch = ?1" say, with a
 * value; of all of the kind where it is NULL. */
struct page journal_page(struct journal *journal, enum record record, const char *condition,
                         int64_t value, size_t limit, struct arena *arena);
/* The condition that looks, events or outcomes are of the vessel ?1 and no later one corrects them. */
extern const char *const journal_standing[RECORD_COUNT];
/* How many there are. */
size_t journal_count(struct journal *journal, enum record record, const char *column,
                     int64_t value);

/* Corrects one column of a record that is not append-only; `value` as CSV would write it (a label
 * for a reference). The change is kept as an edit. Refused for ids and derived columns. */
enum status journal_correct(struct journal *journal, enum record record, const char *label,
                            const char *column, const char *value, struct moment at);

/* The next label of a kind that no record has yet: "B7" after "B6". For starters, lots, cooks,
 * sessions, places and batches; a vessel's is its batch's label, a hyphen and its number. */
enum status journal_next_label(struct journal *journal, enum record record, struct arena *arena,
                               const char **label);

/* ---- values as text -------------------------------------------------------------------------- */

/* One column of a row as CSV and people read it, in the arena: numbers in the shortest form that
 * reads back exactly, references as labels (ids for records without), flags yes/no, "" for
 * absent. */
const char *journal_show_column(struct journal *journal, const struct column *column,
                                const void *row, struct arena *arena);
/* The reverse; texts are copied into the arena. The message names column and value. */
enum status journal_read_column(struct journal *journal, const struct column *column,
                                const char *value, struct arena *arena, void *row);

/* ---- what a vessel has become ---------------------------------------------------------------- */

/*
 * Derives state, fate, end and last look of a vessel anew from what stands (looks, events and
 * outcomes that no later one corrects):
 *   state  discarded or used by the newest such event, else isolated or growing
 *   fate   a confirmed outcome's status, sound for clean; else, when it was discarded or
 *          the last look said discard: that look's status; else what the discard says it was
 *          because of, or the status of the last look, untold when it said clean or there was none;
 *          else sound when used; else open
 *   ended  the first look that said discard, the event or the outcome, whichever was first
 *   stands where the newest move took it, else where it was put; stood: without moves after its end
 * A clean outcome gives way to a later look that says discard.
 */
enum status journal_refresh(struct journal *journal, int64_t vessel);
/* Sets the day of the next look (0: none) and why. */
enum status journal_set_due(struct journal *journal, int64_t vessel, int64_t day, const char *why);

/* ---- lists, searches, histories ---------------------------------------------------------------- */

/* The newest `limit` (0: all) that belong to the record of another kind and that id: batches of a
 * starter, lot, cook or session; vessels of one of these, of a batch or of the place where they
 * stand; looks, events and outcomes of a vessel or batch; starters made from a starter (its own, or
 * grain that it grew on) or from the grain of a vessel. */
struct page query_belonging(struct journal *journal, enum record record, enum record of, int64_t id,
                            size_t limit, struct arena *arena);

/* What became of the vessels of a batch, starter, lot, cook, session or place (where they stand), as JSON:
 * {vessels, lost, state, fate, controls, controls_lost}, counts of inoculated ones but for the last two; for
 * templates `_parts`, [{count, of}] by what is to be said of them. */
json_t *query_tally(struct journal *journal, enum record record, int64_t id);

/* Of the batches whose ids stand in a JSON list ("[]": of all) begun at or after `since`: what
 * became of the inoculated vessels by "month" of inoculation, "species" or "starter", as JSON:
 * [{NAME, open, sound, lost}], for templates `_all` and `_share`, of those that ended. */
json_t *query_losses(struct journal *journal, const char *by, const char *batches, int64_t since);

/* Records that hold every word, in any of their texts, whatever the case: the newest `limit` of
 * each kind. Words are compared folded (base/text.h) and whole; when nothing holds them so, those
 * that begin with them count. */
struct hits {
    struct page *pages; /* of kinds that have some, each by rising id */
    size_t count;
    bool more; /* some kind has further ones */
};
struct hits query_search(struct journal *journal, const char *const *words, size_t count,
                         size_t limit, struct arena *arena);

/* What happened, in order: looks, events and outcomes of one vessel or of all vessels of a batch,
 * and the slips that were corrected in a record.
 *
 * Events are in the order of their moments, and those of one moment in the order in which they were
 * recorded. What a later row corrects is there, too, and says so. */
struct history_entry {
    enum record kind; /* RECORD_LOOK, _EVENT, _OUTCOME or _EDIT */
    struct moment at;
    int64_t id;
    int64_t vessel; /* 0 for an edit */
    bool overruled; /* a later row corrects it: it no longer counts */
    union any_record is;
};

struct history {
    struct history_entry *entries; /* in the arena */
    size_t count;
    size_t earlier; /* how many more there were before these */
};

/* The newest `limit` entries of each kind (0: all): of a vessel, or all vessels of a batch; of any
 * other record with a label its edits. `row` is the record. */
struct history history_of(struct journal *journal, enum record record, const void *row,
                          size_t limit, struct arena *arena);

/* ---- acts ------------------------------------------------------------------------------------ */

/* Acts and undo: what one transaction of a command changed, row by row, is kept beside the words of
 * the command, so that it can be taken back exactly. The rows then are as they were before; the
 * trace that stays is an edit ("undone"), under the vessel, batch or record that the act was about,
 * and the act itself, marked. Acts are neither exported nor listed.
 *
 * What changed more than a mebibyte, and what lies many acts back, cannot be undone any more. */

/* From now on what is committed is an act with these words (copied); NULL: it is none. */
void undo_watch(struct journal *journal, const char *words);

struct undone {                /* texts in the arena */
    const char *words;         /* of the act */
    struct moment at;          /* when it was done */
    const char *table;         /* what it was about: a kind of record */
    const char *label;         /* and its label */
    size_t rows[RECORD_COUNT]; /* how many records it had added */
    const char *before;        /* the words of the one that would be next; or NULL */
};

/* The column of such an edit. */
#define UNDONE "undone"

/* Takes back the newest act that stands. STATUS_USAGE when there is none, or it cannot be
 * undone. */
enum status undo_last(struct journal *journal, struct moment now, struct arena *arena,
                      struct undone *undone);

/* ---- a whole journal ------------------------------------------------------------------------- */

/* Everything about a journal that can be wrong, looked for without changing it.
 *
 * The file: SQLite's own integrity check, references that lead nowhere. What stands in it: values
 * that the columns do not allow, text that is none, dates that cannot be or come in an impossible
 * order, corrections that do not fit what they correct, notes of a look that do not parse, and
 * everything derived compared with a fresh derivation. With rules, also words that they do not
 * know: those are warnings, since a journal outlives its rules.
 *
 * `found` receives {journal, records, errors, warnings, faults: [{kind, table, id, label,
 * message}]} for a template: counts, and the first `most` faults, safe to show. The caller releases
 * it whatever the status. `rules` may be NULL. STATUS_OK when the check could be done, whatever
 * it found; a file with damaged pages is reported and not checked further. */
enum status check_journal(struct journal *journal, const struct rules *rules, size_t most,
                          json_t **found);

/* Backing up and restoring the whole journal.
 *
 * A backup is one SQLite file, mode 0600, with nothing beside it. It is taken while others read and
 * write, and holds the journal as it stood at one moment. */

/* Writes a backup. The copy is checked before it takes its name: a damaged journal gives none, and
 * STATUS_DATA. */
enum status backup_write(struct journal *journal, const char *path, bool replace);

/* Puts what the backup holds in the place of the journal at `path`, in one step.
 *
 * A backup that is damaged, from a newer version or of another program is refused, and nothing is
 * touched. What was at `path` before is kept beside it under a dated name, which `kept` receives
 * (malloc'd; NULL when there was none): a journal as a checked copy, a damaged file as it was.
 * Other processes that have the journal open go on with what was restored. */
enum status backup_restore(const char *backup, const char *path, struct moment now, char **kept,
                           struct diags *diags);

#endif
