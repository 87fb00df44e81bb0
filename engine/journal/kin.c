/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Who a vessel's siblings are and what became of them; and who is due. */
#include <string.h>

#include "base/text.h"
#include "journal/journal_internal.h"

const char *const kinship_words[KINSHIP_COUNT] = {"cook",  "session", "starter", "lot",
                                                  "place", "batch",   "position"};

/*
 * Only vessels that were ever looked at, or that ended, say anything: one that
 * nobody has looked at yet is neither sound nor lost.
 */
#define TELLING "(v.last_look IS NOT NULL OR v.fate <> 'open')"

/* Per kinship: which vessels v (of batch b) share it with vessel ?1, and what the group is called. */
static const struct {
    const char *shared, *called;
} kinships[KINSHIP_COUNT] = {
    [KINSHIP_COOK] = {"b.cook = (SELECT cook FROM own)",
                      "SELECT label FROM cook WHERE id = (SELECT cook FROM own)"},
    [KINSHIP_SESSION] = {"b.session = (SELECT session FROM own)",
                         "SELECT label FROM session WHERE id = (SELECT session FROM own)"},
    [KINSHIP_STARTER] = {"b.starter = (SELECT starter FROM own)",
                         "SELECT label FROM starter WHERE id = (SELECT starter FROM own)"},
    [KINSHIP_LOT] = {"b.lot = (SELECT lot FROM own)",
                     "SELECT label FROM lot WHERE id = (SELECT lot FROM own)"},
    [KINSHIP_PLACE] = {"v.stood = (SELECT stood FROM own)",
                       "SELECT label FROM place WHERE id = (SELECT stood FROM own)"},
    [KINSHIP_BATCH] = {"b.id = (SELECT batch FROM own)",
                       "SELECT label FROM batch WHERE id = (SELECT batch FROM own)"},
    [KINSHIP_POSITION] = {"b.cook = (SELECT cook FROM own) AND v.position <> ''"
                          " AND v.position = (SELECT position FROM own)",
                          "SELECT own.position || ' of ' || cook.label FROM own JOIN cook"
                          " ON cook.id = own.cook WHERE own.position <> ''"},
};

static const char own[] =
    "WITH own AS (SELECT batch.id AS batch, cook, session, starter, lot, stood, position"
    " FROM vessel JOIN batch ON batch.id = vessel.batch WHERE vessel.id = ?1) ";

static sqlite3_stmt *ask(struct journal *journal, struct text *sql, int64_t vessel,
                         struct diags *diags)
{
    sqlite3_stmt *statement = NULL;
    if (!sql->failed &&
        (sqlite3_prepare_v2(journal->database, sql->bytes, -1, &statement, NULL) != SQLITE_OK ||
         sqlite3_bind_int64(statement, 1, vessel) != SQLITE_OK)) {
        journal_fault(journal, "read", diags);
        sqlite3_finalize(statement);
        statement = NULL;
    }
    text_release(sql);
    return statement;
}

/* Adds rows of (control, fate, count) to one of two tallies. */
static enum status count_fates(struct journal *journal, sqlite3_stmt *statement,
                               struct fates *inoculated, struct fates *control, struct diags *diags)
{
    int code = SQLITE_DONE;
    while ((code = sqlite3_step(statement)) == SQLITE_ROW) {
        struct fates *fates = sqlite3_column_int(statement, 0) != 0 ? control : inoculated;
        const char *word = (const char *)sqlite3_column_text(statement, 1);
        size_t count = (size_t)sqlite3_column_int64(statement, 2);
        for (size_t fate = 0; fate < FATE_COUNT; fate++) {
            if (word == NULL || strcmp(fate_words[fate], word) != 0)
                continue;
            fates->fate[fate] += count;
            fates->total += count;
        }
    }
    enum status status = code == SQLITE_DONE ? STATUS_OK : journal_fault(journal, "read", diags);
    sqlite3_finalize(statement);
    return status;
}

static enum status count_all(struct journal *journal, int64_t vessel, struct fates *inoculated,
                             struct fates *control, struct diags *diags)
{
    struct text sql;
    text_init(&sql);
    text_puts(&sql, "SELECT control, fate, count(*) FROM vessel AS v WHERE id <> ?1 AND " TELLING
                    " GROUP BY control, fate");
    sqlite3_stmt *statement = ask(journal, &sql, vessel, diags);
    return statement != NULL ? count_fates(journal, statement, inoculated, control, diags)
                             : STATUS_IO;
}

static enum status count_group(struct journal *journal, enum kinship kinship, int64_t vessel,
                               struct kinsfolk *kin, struct diags *diags)
{
    struct text sql;
    text_init(&sql);
    text_printf(&sql,
                "%sSELECT v.control, v.fate, count(*) FROM batch AS b JOIN vessel AS v"
                " ON v.batch = b.id WHERE %s AND v.id <> ?1 AND " TELLING
                " GROUP BY v.control, v.fate",
                own, kinships[kinship].shared);
    sqlite3_stmt *statement = ask(journal, &sql, vessel, diags);
    return statement != NULL ? count_fates(journal, statement, &kin->others, &kin->control, diags)
                             : STATUS_IO;
}

/* The group's name, or NULL when the vessel has no such group. */
static enum status name_group(struct journal *journal, enum kinship kinship, int64_t vessel,
                              struct arena *arena, const char **label, struct diags *diags)
{
    struct text sql;
    enum status status = STATUS_OK;
    text_init(&sql);
    text_printf(&sql, "%s%s", own, kinships[kinship].called);
    sqlite3_stmt *statement = ask(journal, &sql, vessel, diags);
    *label = NULL;
    if (statement == NULL)
        return STATUS_IO;
    int code = sqlite3_step(statement);
    const char *called =
        code == SQLITE_ROW ? (const char *)sqlite3_column_text(statement, 0) : NULL;
    if (called != NULL) {
        *label = arena_string(arena, called);
        status = *label != NULL ? STATUS_OK : STATUS_MEMORY;
    } else if (code != SQLITE_ROW && code != SQLITE_DONE) {
        status = journal_fault(journal, "read", diags);
    }
    sqlite3_finalize(statement);
    return status;
}

static struct fates without(const struct fates *all, const struct fates *group)
{
    struct fates rest = {.total = all->total - group->total};
    for (size_t fate = 0; fate < FATE_COUNT; fate++)
        rest.fate[fate] = all->fate[fate] - group->fate[fate];
    return rest;
}

enum status journal_kin(struct journal *journal, int64_t vessel, struct arena *arena,
                        struct kinsfolk kin[KINSHIP_COUNT], size_t *count, struct diags *diags)
{
    struct fates all = {0}, controls = {0};
    *count = 0;
    enum status status = count_all(journal, vessel, &all, &controls, diags);
    for (int kinship = 0; kinship < KINSHIP_COUNT && status == STATUS_OK; kinship++) {
        struct kinsfolk *next = &kin[*count];
        *next = (struct kinsfolk){.kinship = (enum kinship)kinship};
        status = name_group(journal, next->kinship, vessel, arena, &next->label, diags);
        if (status != STATUS_OK || next->label == NULL)
            continue;
        status = count_group(journal, next->kinship, vessel, next, diags);
        next->rest = without(&all, &next->others);
        ++*count;
    }
    return status;
}

/* ---- due ------------------------------------------------------------------------------------- */

enum status journal_due(struct journal *journal, int64_t day, struct arena *arena,
                        struct vessel **vessels, size_t *count, struct diags *diags)
{
    struct text sql;
    struct vessel *all = NULL;
    size_t room = 0;
    enum status status = STATUS_OK;
    text_init(&sql);
    text_puts(&sql, "SELECT ");
    row_columns(RECORD_VESSEL, &sql);
    text_puts(&sql, " FROM vessel WHERE due > 0 AND due <= ?1 ORDER BY due, id");
    sqlite3_stmt *statement = ask(journal, &sql, day, diags);
    int code = SQLITE_DONE;
    *count = 0;
    if (statement == NULL)
        return STATUS_IO;
    while (status == STATUS_OK && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        if (*count == room) {
            all = arena_grow(arena, all, room, room == 0 ? 16 : 2 * room, sizeof *all);
            room = room == 0 ? 16 : 2 * room;
        }
        status = all != NULL ? row_read(statement, 0, RECORD_VESSEL, arena, &all[*count])
                             : STATUS_MEMORY;
        *count += status == STATUS_OK;
    }
    if (status == STATUS_OK && code != SQLITE_DONE)
        status = journal_fault(journal, "read", diags);
    sqlite3_finalize(statement);
    *vessels = all;
    return status;
}
