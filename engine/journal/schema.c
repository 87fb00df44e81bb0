/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The schema and its migrations: migrations[v] takes a file from version v to
 * v + 1. What has been released is never edited; a change is a new entry.
 */
#include <stdio.h>

#include "journal/journal_internal.h"

static const char version_1[] =
    "CREATE TABLE starter (id INTEGER PRIMARY KEY, label TEXT NOT NULL UNIQUE,"
    " species TEXT NOT NULL, kind TEXT NOT NULL, source TEXT NOT NULL,"
    " made INTEGER, made_offset INTEGER, note TEXT NOT NULL) STRICT;"
    "CREATE TABLE parent (id INTEGER PRIMARY KEY,"
    " starter INTEGER NOT NULL REFERENCES starter(id), parent INTEGER NOT NULL REFERENCES "
    "starter(id),"
    " UNIQUE (starter, parent), CHECK (starter <> parent)) STRICT;"
    "CREATE INDEX parent_parent ON parent(parent);"
    "CREATE TABLE lot (id INTEGER PRIMARY KEY, label TEXT NOT NULL UNIQUE,"
    " grain TEXT NOT NULL, source TEXT NOT NULL, bought INTEGER, bought_offset INTEGER,"
    " moisture REAL, note TEXT NOT NULL) STRICT;"
    "CREATE TABLE cook (id INTEGER PRIMARY KEY, label TEXT NOT NULL UNIQUE,"
    " cooker TEXT NOT NULL, method TEXT NOT NULL, gauge REAL, minutes REAL, altitude REAL, air "
    "REAL,"
    " load TEXT NOT NULL, facts TEXT NOT NULL, at INTEGER, at_offset INTEGER, note TEXT NOT NULL)"
    " STRICT;"
    "CREATE TABLE session (id INTEGER PRIMARY KEY, label TEXT NOT NULL UNIQUE,"
    " facts TEXT NOT NULL, at INTEGER, at_offset INTEGER, note TEXT NOT NULL) STRICT;"
    "CREATE TABLE place (id INTEGER PRIMARY KEY, label TEXT NOT NULL UNIQUE,"
    " celsius REAL, note TEXT NOT NULL) STRICT;"
    "CREATE TABLE batch (id INTEGER PRIMARY KEY, label TEXT NOT NULL UNIQUE,"
    " at INTEGER NOT NULL, at_offset INTEGER NOT NULL, species TEXT NOT NULL,"
    " starter INTEGER REFERENCES starter(id), lot INTEGER REFERENCES lot(id),"
    " cook INTEGER REFERENCES cook(id), session INTEGER REFERENCES session(id),"
    " dry REAL, water REAL, dose REAL, unit TEXT NOT NULL, soak REAL, purpose TEXT NOT NULL,"
    " facts TEXT NOT NULL, note TEXT NOT NULL) STRICT;"
    "CREATE INDEX batch_starter ON batch(starter);"
    "CREATE INDEX batch_lot ON batch(lot);"
    "CREATE INDEX batch_cook ON batch(cook);"
    "CREATE INDEX batch_session ON batch(session);"
    "CREATE TABLE vessel (id INTEGER PRIMARY KEY, label TEXT NOT NULL UNIQUE,"
    " batch INTEGER NOT NULL REFERENCES batch(id), number INTEGER NOT NULL, kind TEXT NOT NULL,"
    " grams REAL, place INTEGER REFERENCES place(id), position TEXT NOT NULL,"
    " control INTEGER NOT NULL, note TEXT NOT NULL,"
    " stands INTEGER REFERENCES place(id), stood INTEGER REFERENCES place(id),"
    " state TEXT NOT NULL, fate TEXT NOT NULL, ended INTEGER, ended_offset INTEGER,"
    " last_look INTEGER REFERENCES look(id), due INTEGER NOT NULL, due_for TEXT NOT NULL,"
    " UNIQUE (batch, number)) STRICT;"
    "CREATE INDEX vessel_place ON vessel(place);"
    "CREATE INDEX vessel_stands ON vessel(stands);"
    "CREATE INDEX vessel_stood ON vessel(stood);"
    "CREATE INDEX vessel_due ON vessel(due) WHERE due > 0;"
    "CREATE INDEX vessel_fate ON vessel(control, fate, last_look);"
    "CREATE TABLE look (id INTEGER PRIMARY KEY, vessel INTEGER NOT NULL REFERENCES vessel(id),"
    " at INTEGER NOT NULL, at_offset INTEGER NOT NULL, words TEXT NOT NULL, facts TEXT NOT NULL,"
    " coverage REAL, action TEXT NOT NULL, next_step TEXT NOT NULL, forced_by TEXT NOT NULL,"
    " finding TEXT NOT NULL, status TEXT NOT NULL, contaminated REAL, posterior TEXT NOT NULL,"
    " rules TEXT NOT NULL, program TEXT NOT NULL, corrects INTEGER UNIQUE REFERENCES look(id),"
    " turn INTEGER REFERENCES look(id)) STRICT;"
    "CREATE INDEX look_vessel ON look(vessel);"
    "CREATE TABLE deed (id INTEGER PRIMARY KEY, vessel INTEGER NOT NULL REFERENCES vessel(id),"
    " at INTEGER NOT NULL, at_offset INTEGER NOT NULL, kind TEXT NOT NULL,"
    " place INTEGER REFERENCES place(id), detail TEXT NOT NULL,"
    " corrects INTEGER UNIQUE REFERENCES deed(id), turn INTEGER REFERENCES deed(id)) STRICT;"
    "CREATE INDEX deed_vessel ON deed(vessel);"
    "CREATE TABLE outcome (id INTEGER PRIMARY KEY, vessel INTEGER NOT NULL REFERENCES vessel(id),"
    " at INTEGER NOT NULL, at_offset INTEGER NOT NULL, finding TEXT NOT NULL, status TEXT NOT NULL,"
    " cause TEXT NOT NULL, how TEXT NOT NULL, corrects INTEGER UNIQUE REFERENCES outcome(id),"
    " turn INTEGER REFERENCES outcome(id)) STRICT;"
    "CREATE INDEX outcome_vessel ON outcome(vessel);"
    "CREATE TABLE edit (id INTEGER PRIMARY KEY, at INTEGER NOT NULL, at_offset INTEGER NOT NULL,"
    " \"table\" TEXT NOT NULL, label TEXT NOT NULL, \"column\" TEXT NOT NULL,"
    " was TEXT NOT NULL, became TEXT NOT NULL) STRICT;";

static const char *const migrations[JOURNAL_VERSION] = {version_1};

static bool single_number(sqlite3 *database, const char *sql, int64_t *number)
{
    sqlite3_stmt *statement = NULL;
    bool got = sqlite3_prepare_v2(database, sql, -1, &statement, NULL) == SQLITE_OK &&
               sqlite3_step(statement) == SQLITE_ROW;
    if (got)
        *number = sqlite3_column_int64(statement, 0);
    return sqlite3_finalize(statement) == SQLITE_OK && got;
}

static bool set_number(sqlite3 *database, const char *pragma, int number)
{
    char sql[64]; /* a pragma takes no parameter */
    snprintf(sql, sizeof sql, "PRAGMA %s = %d", pragma, number);
    return sqlite3_exec(database, sql, NULL, NULL, NULL) == SQLITE_OK;
}

static enum status refuse(const struct journal *journal, struct diags *diags, const char *why)
{
    diags_error(diags, (struct position){.file = journal->path}, "%s", why);
    return STATUS_DATA;
}

/* Version 0 of an empty file may be filled; of any other it is somebody else's. */
static enum status read_version(struct journal *journal, int64_t *version, struct diags *diags)
{
    int64_t application = 0, tables = 0;
    if (!single_number(journal->database, "PRAGMA user_version", version) ||
        !single_number(journal->database, "PRAGMA application_id", &application) ||
        !single_number(journal->database, "SELECT count(*) FROM sqlite_schema", &tables))
        return journal_fault(journal, "read", diags);
    if (application == 0 && *version == 0 && tables == 0)
        return journal->writable ? STATUS_OK
                                 : refuse(journal, diags,
                                          "this journal is empty; nothing was ever recorded in it");
    if (application != JOURNAL_APPLICATION || *version < 1)
        return refuse(
            journal, diags,
            "this is a database of another program; give the path of a journal of Jarside");
    if (*version > JOURNAL_VERSION)
        return refuse(journal, diags,
                      "this journal was written by a newer Jarside; use that one, or restore an "
                      "older backup");
    return STATUS_OK;
}

static enum status migrate(struct journal *journal, struct diags *diags)
{
    int64_t version = 0;
    /* Asked again inside: another process may have been first. */
    enum status status = read_version(journal, &version, diags);
    for (; status == STATUS_OK && version < JOURNAL_VERSION; version++)
        if (sqlite3_exec(journal->database, migrations[version], NULL, NULL, NULL) != SQLITE_OK)
            status = journal_fault(journal, "bring up to date", diags);
    if (status == STATUS_OK &&
        (!set_number(journal->database, "user_version", JOURNAL_VERSION) ||
         !set_number(journal->database, "application_id", JOURNAL_APPLICATION)))
        status = journal_fault(journal, "bring up to date", diags);
    return status;
}

enum status schema_bring_up(struct journal *journal, struct diags *diags)
{
    int64_t version = 0;
    enum status status = read_version(journal, &version, diags);
    if (status != STATUS_OK || version == JOURNAL_VERSION)
        return status;
    if (!journal->writable)
        return refuse(journal, diags,
                      "this journal was written by an older Jarside; open it once for writing to "
                      "bring it up to date");
    status = journal_begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    status = migrate(journal, diags);
    if (status == STATUS_OK)
        return journal_commit(journal, diags);
    journal_rollback(journal);
    return status;
}
