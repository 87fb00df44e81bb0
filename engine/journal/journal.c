/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/journal.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/filing.h"
#include "base/memory.h"
#include "base/text.h"
#include "journal/journal_internal.h"

/* ==== schema ================================================================================== */

/*
 * The schema and its migrations: migrations[v] takes a file from version v to
 * v + 1. What has been released is never edited; a change is a new entry.
 */

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

/* ==== journal ================================================================================= */

/* Opening and closing, transactions, and what SQLite's refusals mean to a person. */

/* ---- where it lies --------------------------------------------------------------------------- */

static const char *absolute_variable(const char *name)
{
    const char *value = getenv(name);
    return value != NULL && value[0] == '/' ? value : NULL;
}

static char *joined(const char *folder, const char *below)
{
    size_t size = strlen(folder) + strlen(below) + 1;
    char *path = malloc(size);
    if (path != NULL)
        snprintf(path, size, "%s%s", folder, below);
    return path;
}

enum status journal_default_path(char **path)
{
    const char *named = getenv("JARSIDE_JOURNAL");
    const char *data = absolute_variable("XDG_DATA_HOME");
    const char *home = absolute_variable("HOME");
    *path = NULL;
    if (named != NULL && named[0] != '\0')
        *path = strdup(named);
    else if (data != NULL)
        *path = joined(data, "/jarside/journal.db");
    else if (home != NULL)
        *path = joined(home, "/.local/share/jarside/journal.db");
    else
        return STATUS_USAGE;
    return *path != NULL ? STATUS_OK : STATUS_MEMORY;
}

/* ---- refusals -------------------------------------------------------------------------------- */

static const char *remedy(int code)
{
    switch (code & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return "another program has held it for too long; try again when that one has finished";
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return "the file or its folder may not be written to; see its permissions";
    case SQLITE_FULL:
        return "the disk is full; make room and try again, nothing was lost";
    case SQLITE_CANTOPEN:
        return "it cannot be opened; see that the path and its permissions are right";
    case SQLITE_CORRUPT:
        return "the file is damaged; it was left as it is. Restore a backup with 'jarside restore "
               "FILE'";
    case SQLITE_NOTADB:
        return "the file is no journal, or it is damaged; it was left as it is. Restore a backup "
               "with "
               "'jarside restore FILE'";
    case SQLITE_IOERR:
        return "the disk did not read or write it; see that it is sound and has room";
    case SQLITE_ERROR:
    case SQLITE_SCHEMA:
    case SQLITE_MISMATCH:
        return "it is not laid out as a journal; 'jarside journal check' says more";
    default:
        return "the change was refused";
    }
}

enum status journal_no_memory(const struct journal *journal, struct diags *diags)
{
    diags_error(diags, (struct position){.file = journal->path},
                "there is not enough memory for this; nothing was changed");
    return STATUS_MEMORY;
}

enum status journal_fault(struct journal *journal, const char *doing, struct diags *diags)
{
    int code = sqlite3_extended_errcode(journal->database);
    /* Where SQLite has nothing to complain of, it was never asked for lack of memory. */
    if ((code & 0xff) == SQLITE_NOMEM || code == SQLITE_OK)
        return journal_no_memory(journal, diags);
    diags_error(diags, (struct position){.file = journal->path}, "cannot %s the journal: %s (%s)",
                doing, remedy(code), sqlite3_errmsg(journal->database));
    switch (code & 0xff) {
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
    case SQLITE_ERROR:
    case SQLITE_SCHEMA:
    case SQLITE_MISMATCH:
    case SQLITE_CONSTRAINT:
    case SQLITE_TOOBIG:
        return STATUS_DATA;
    default:
        return STATUS_IO;
    }
}

sqlite3_stmt *journal_prepare(struct journal *journal, sqlite3_stmt **kept, const char *sql,
                              struct diags *diags)
{
    if (*kept != NULL) {
        sqlite3_reset(*kept);
        return *kept;
    }
    if (sqlite3_prepare_v3(journal->database, sql, -1, SQLITE_PREPARE_PERSISTENT, kept, NULL) !=
        SQLITE_OK) {
        journal_fault(journal, "read", diags);
        *kept = NULL;
    }
    return *kept;
}

sqlite3_stmt *journal_prepare_for(struct journal *journal, sqlite3_stmt **kept, enum record record,
                                  const char *before, const char *after, struct diags *diags)
{
    char sql[256] = "";
    if (*kept == NULL)
        snprintf(sql, sizeof sql, "%s \"%s\" %s", before, record_types[record].name, after);
    return journal_prepare(journal, kept, sql, diags);
}

sqlite3_stmt *journal_prepare_text(struct journal *journal, struct text *sql, const char *doing,
                                   struct diags *diags)
{
    sqlite3_stmt *statement = NULL;
    if (sql->failed) {
        journal_no_memory(journal, diags);
    } else if (sqlite3_prepare_v2(journal->database, sql->bytes, -1, &statement, NULL) !=
               SQLITE_OK) {
        journal_fault(journal, doing, diags);
        statement = NULL;
    }
    text_release(sql);
    return statement;
}

/* ---- opening --------------------------------------------------------------------------------- */

static enum status cannot(const char *path, const char *doing, struct diags *diags)
{
    diags_error(diags, (struct position){.file = path}, "cannot %s the journal: %s", doing,
                strerror(errno));
    return STATUS_IO;
}

/*
 * A first look at the bytes, before SQLite gets to see (and perhaps to mend) a
 * file that is not ours. An empty file is fine, and one that a killed process
 * left with its rollback journal beside it is for SQLite to judge.
 */
static enum status check_header(const char *path, struct diags *diags)
{
    static const char magic[16] = "SQLite format 3";
    char head[sizeof magic] = "";
    struct stat about;
    char *beside = joined(path, "-journal");
    bool unfinished = beside != NULL && access(beside, F_OK) == 0;
    free(beside);
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return cannot(path, "open", diags);
    bool plain = fstat(file, &about) == 0 && S_ISREG(about.st_mode);
    ssize_t got = plain ? filing_read(file, head, sizeof head) : 0;
    int error = errno;
    close(file);
    errno = error;
    if (got < 0) /* a disk that fails says nothing about the journal */
        return cannot(path, "read", diags);
    if ((plain && got == 0) || unfinished ||
        (got == sizeof head && memcmp(head, magic, sizeof magic) == 0))
        return STATUS_OK;
    diags_error(diags, (struct position){.file = path},
                "this is no journal, or it is damaged; it was left as it is. Restore a backup with "
                "'jarside restore FILE'");
    return STATUS_DATA;
}

static enum status create_file(const char *path, struct diags *diags)
{
    if (!filing_make_folders(path))
        return cannot(path, "make a folder for", diags);
    int file = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (file < 0 && errno != EEXIST)
        return cannot(path, "create", diags);
    if (file >= 0)
        close(file);
    return STATUS_OK;
}

/* A file from a stranger must not run code of its own, nor strain the reader. */
static bool harden(sqlite3 *database)
{
    int on = 0;
    sqlite3_limit(database, SQLITE_LIMIT_LENGTH, 4 * JOURNAL_LONGEST_TEXT);
    sqlite3_limit(database, SQLITE_LIMIT_ATTACHED, 0);
    return sqlite3_db_config(database, SQLITE_DBCONFIG_DEFENSIVE, 1, &on) == SQLITE_OK &&
           sqlite3_db_config(database, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, &on) == SQLITE_OK &&
           sqlite3_db_config(database, SQLITE_DBCONFIG_ENABLE_TRIGGER, 0, &on) == SQLITE_OK &&
           sqlite3_db_config(database, SQLITE_DBCONFIG_ENABLE_VIEW, 0, &on) == SQLITE_OK &&
           sqlite3_busy_timeout(database, JOURNAL_PATIENCE) == SQLITE_OK;
}

static enum status settle(struct journal *journal, struct diags *diags)
{
    if (!harden(journal->database) ||
        sqlite3_exec(journal->database,
                     "PRAGMA foreign_keys = ON; PRAGMA cell_size_check = ON; "
                     "PRAGMA synchronous = FULL; PRAGMA temp_store = MEMORY",
                     NULL, NULL, NULL) != SQLITE_OK)
        return journal_fault(journal, "open", diags);
    enum status status = schema_bring_up(journal, diags);
    /* Another process may be at work: then it has done this, or the next opening does. */
    if (status == STATUS_OK && journal->writable)
        sqlite3_exec(journal->database, "PRAGMA journal_mode = WAL", NULL, NULL, NULL);
    return status;
}

/* In a folder that cannot be written to, a log-less file is read as one that nobody changes. */
static int open_unchanging(struct journal *journal)
{
    struct stat about;
    char *log = joined(journal->path, "-wal");
    bool quiet = log != NULL && (stat(log, &about) != 0 || about.st_size == 0);
    free(log);
    if (!quiet || strpbrk(journal->path, "?#%") != NULL)
        return SQLITE_CANTOPEN;
    struct text uri;
    text_init(&uri);
    text_printf(&uri, "file:%s?immutable=1", journal->path);
    sqlite3_close(journal->database);
    journal->database = NULL;
    int code =
        uri.failed
            ? SQLITE_NOMEM
            : sqlite3_open_v2(uri.bytes, &journal->database,
                              SQLITE_OPEN_READONLY | SQLITE_OPEN_URI | SQLITE_OPEN_NOMUTEX, NULL);
    text_release(&uri);
    return code;
}

static enum status open_database(struct journal *journal, struct diags *diags)
{
    int flags = journal->writable ? SQLITE_OPEN_READWRITE : SQLITE_OPEN_READONLY;
    int code =
        sqlite3_open_v2(journal->path, &journal->database, flags | SQLITE_OPEN_NOMUTEX, NULL);
    if (code == SQLITE_OK && !journal->writable &&
        sqlite3_exec(journal->database, "PRAGMA schema_version", NULL, NULL, NULL) ==
            SQLITE_CANTOPEN)
        code = open_unchanging(journal);
    if (journal->database == NULL)
        return STATUS_MEMORY;
    return code == SQLITE_OK ? settle(journal, diags) : journal_fault(journal, "open", diags);
}

enum status journal_open(const char *path, enum journal_access access, struct journal **journal,
                         struct diags *diags)
{
    *journal = NULL;
    enum status status = access == JOURNAL_CREATE ? create_file(path, diags) : STATUS_OK;
    if (status == STATUS_OK)
        status = check_header(path, diags);
    if (status != STATUS_OK)
        return status;
    struct journal *opened = calloc(1, sizeof *opened);
    char *copy = joined(path, "");
    if (opened == NULL || copy == NULL) {
        free(opened);
        free(copy);
        return STATUS_MEMORY;
    }
    opened->path = copy;
    opened->writable = access != JOURNAL_READ;
    status = open_database(opened, diags);
    if (status != STATUS_OK)
        journal_close(opened);
    else
        *journal = opened;
    return status;
}

void journal_close(struct journal *journal)
{
    if (journal == NULL)
        return;
    for (size_t i = 0; i < STATEMENT_COUNT; i++)
        sqlite3_finalize(journal->kept[i]);
    for (size_t i = 0; i < RECORD_COUNT; i++) {
        sqlite3_finalize(journal->insert[i]);
        sqlite3_finalize(journal->select[i]);
        sqlite3_finalize(journal->by_label[i]);
        sqlite3_finalize(journal->id_of[i]);
        sqlite3_finalize(journal->label_of[i]);
        sqlite3_finalize(journal->exists[i]);
    }
    sqlite3_close(journal->database);
    free(journal->path);
    free(journal);
}

const char *journal_path(const struct journal *journal)
{
    return journal->path;
}

struct sqlite3 *journal_database(struct journal *journal)
{
    return journal->database;
}

/* ---- transactions ---------------------------------------------------------------------------- */

static enum status run(struct journal *journal, enum kept_statement which, const char *sql,
                       const char *doing, struct diags *diags)
{
    sqlite3_stmt *statement = journal_prepare(journal, &journal->kept[which], sql, diags);
    if (statement == NULL)
        return STATUS_IO;
    int code = sqlite3_step(statement);
    enum status status = code == SQLITE_DONE ? STATUS_OK : journal_fault(journal, doing, diags);
    sqlite3_reset(statement);
    return status;
}

enum status journal_begin(struct journal *journal, struct diags *diags)
{
    if (journal->depth > 0) {
        journal->depth++;
        return STATUS_OK;
    }
    enum status status = run(journal, STATEMENT_BEGIN, "BEGIN IMMEDIATE", "write to", diags);
    journal->depth = status == STATUS_OK;
    return status;
}

enum status journal_commit(struct journal *journal, struct diags *diags)
{
    if (journal->depth == 0)
        return STATUS_INTERNAL;
    if (journal->depth > 1) {
        journal->depth--;
        return STATUS_OK;
    }
    enum status status = run(journal, STATEMENT_COMMIT, "COMMIT", "write to", diags);
    if (status != STATUS_OK)
        journal_rollback(journal);
    journal->depth = 0;
    return status;
}

void journal_rollback(struct journal *journal)
{
    /* A statement that failed may have ended the transaction already. */
    if (journal->depth > 0 && sqlite3_get_autocommit(journal->database) == 0)
        sqlite3_exec(journal->database, "ROLLBACK", NULL, NULL, NULL);
    journal->depth = 0;
}

/* ==== backup ================================================================================== */

static enum status fault(const char *path, const char *doing, sqlite3 *database,
                         struct diags *diags)
{
    int code = sqlite3_extended_errcode(database) & 0xff;
    if (code == SQLITE_NOMEM)
        return STATUS_MEMORY;
    bool damaged = code == SQLITE_CORRUPT || code == SQLITE_NOTADB;
    diags_error(diags, (struct position){path, 0, 0}, "cannot be %s: %s", doing,
                sqlite3_errmsg(database));
    return damaged ? STATUS_DATA : STATUS_IO;
}

/* ---- copying --------------------------------------------------------------------------------- */

/* All pages in one step: a reader of a write-ahead log keeps nobody waiting. */
static enum status copy_pages(sqlite3 *from, const char *from_path, sqlite3 *to,
                              const char *to_path, struct diags *diags)
{
    sqlite3_backup *backup = sqlite3_backup_init(to, "main", from, "main");
    if (backup == NULL)
        return fault(to_path, "written", to, diags);
    int code = sqlite3_backup_step(backup, -1);
    int finished = sqlite3_backup_finish(backup);
    if (code == SQLITE_DONE && finished == SQLITE_OK)
        return STATUS_OK;
    if (code == SQLITE_CORRUPT || code == SQLITE_NOTADB) {
        diags_error(diags, (struct position){from_path, 0, 0},
                    "the file is damaged and cannot be copied; it was left as it is");
        return STATUS_DATA;
    }
    return fault(to_path, "written", to, diags);
}

/* STATUS_OK when a question that lists faults (integrity_check, foreign_key_check) lists none. */
static enum status lists_nothing(sqlite3 *database, const char *sql)
{
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(database, sql, -1, &statement, NULL);
    bool clean = false;
    if (code == SQLITE_OK)
        code = sqlite3_step(statement);
    if (code == SQLITE_ROW) {
        const char *said = (const char *)sqlite3_column_text(statement, 0);
        clean = said != NULL && strcmp(said, "ok") == 0;
        code = said != NULL ? code : SQLITE_NOMEM;
    } else {
        clean = code == SQLITE_DONE;
    }
    sqlite3_finalize(statement);
    if ((code & 0xff) == SQLITE_NOMEM)
        return STATUS_MEMORY;
    return clean ? STATUS_OK : STATUS_DATA;
}

static enum status check_pages(sqlite3 *database, const char *path, struct diags *diags)
{
    enum status status = lists_nothing(database, "PRAGMA integrity_check(1)");
    if (status == STATUS_OK)
        status = lists_nothing(database, "PRAGMA foreign_key_check");
    if (status != STATUS_DATA)
        return status;
    diags_error(diags, (struct position){path, 0, 0},
                "the file is damaged; 'jarside journal check' says where. Restore an older backup "
                "with 'jarside restore FILE'");
    return STATUS_DATA;
}

/* Copies into the empty file at `to`, checks the copy, and leaves nothing beside it. `named` is what
 * messages call it. */
static enum status copy_checked(sqlite3 *from, const char *from_name, const char *to,
                                const char *named, struct diags *diags)
{
    sqlite3 *copy = NULL;
    int code = sqlite3_open_v2(to, &copy, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX, NULL);
    enum status status = STATUS_OK;
    if (code == SQLITE_OK)
        status = copy_pages(from, from_name, copy, named, diags);
    else
        status = copy == NULL ? STATUS_MEMORY : fault(named, "written", copy, diags);
    if (status == STATUS_OK &&
        sqlite3_exec(copy, "PRAGMA journal_mode = DELETE", NULL, NULL, NULL) != SQLITE_OK)
        status = fault(named, "written", copy, diags);
    if (status == STATUS_OK)
        status = check_pages(copy, from_name, diags);
    sqlite3_close(copy);
    return status;
}

/* What SQLite may leave beside a file that it could not finish. */
static void remove_beside(const char *path)
{
    static const char *const suffixes[] = {"-journal", "-wal", "-shm"};
    for (size_t i = 0; i < sizeof suffixes / sizeof *suffixes; i++) {
        char *beside = text_format("%s%s", path, suffixes[i]);
        if (beside != NULL)
            (void)unlink(beside);
        free(beside);
    }
}

static enum status copy_to(sqlite3 *from, const char *from_path, const char *path, bool replace,
                           struct diags *diags)
{
    struct filing filing;
    enum status status = filing_reserve(&filing, path, replace, diags);
    if (status != STATUS_OK)
        return status;
    status = copy_checked(from, from_path, filing.temporary, path, diags);
    remove_beside(filing.temporary);
    if (status == STATUS_OK)
        return filing_commit(&filing, diags);
    filing_abandon(&filing);
    return status;
}

/* ---- backup ---------------------------------------------------------------------------------- */

static bool same_file(const char *a, const char *b)
{
    struct stat first, second;
    return stat(a, &first) == 0 && stat(b, &second) == 0 && first.st_dev == second.st_dev &&
           first.st_ino == second.st_ino;
}

enum status backup_write(struct journal *journal, const char *path, bool replace,
                         struct diags *diags)
{
    if (same_file(journal_path(journal), path)) {
        diags_error(diags, (struct position){path, 0, 0},
                    "is the journal itself; name another file");
        return STATUS_USAGE;
    }
    return copy_to(journal_database(journal), journal_path(journal), path, replace, diags);
}

/* ---- restore --------------------------------------------------------------------------------- */

static bool pragma_number(sqlite3 *database, const char *sql, int64_t *number)
{
    sqlite3_stmt *statement = NULL;
    bool got = sqlite3_prepare_v2(database, sql, -1, &statement, NULL) == SQLITE_OK &&
               sqlite3_step(statement) == SQLITE_ROW;
    if (got)
        *number = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return got;
}

/* Whether the backup is one, and none from the future. */
static enum status check_identity(sqlite3 *database, const char *path, struct diags *diags)
{
    int64_t version = 0, application = 0;
    struct position at = {path, 0, 0};
    if (!pragma_number(database, "PRAGMA user_version", &version) ||
        !pragma_number(database, "PRAGMA application_id", &application)) {
        int code = sqlite3_errcode(database) & 0xff;
        if (code != SQLITE_NOTADB && code != SQLITE_CORRUPT)
            return fault(path, "read", database, diags);
        diags_error(diags, at, "is no backup of a journal, or it is damaged; try an older one");
        return STATUS_DATA;
    }
    if (application != JOURNAL_APPLICATION || version < 1) {
        diags_error(diags, at, "is no journal of Jarside; give a file that 'jarside backup' wrote");
        return STATUS_DATA;
    }
    if (version > JOURNAL_VERSION) {
        diags_error(diags, at, "was written by a newer Jarside; restore it with that one");
        return STATUS_DATA;
    }
    return STATUS_OK;
}

/* A checked copy of the backup beside the journal, brought up to this version. */
static enum status prepare_copy(const char *backup, const char *temporary, const char *path,
                                struct diags *diags)
{
    sqlite3 *from = NULL;
    struct journal *migrated = NULL;
    struct stat about;
    if (stat(backup, &about) != 0)
        return filing_refused(backup, "read", errno, diags);
    if (S_ISDIR(about.st_mode))
        return filing_refused(backup, "read", EISDIR, diags);
    int code = sqlite3_open_v2(backup, &from, SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX, NULL);
    enum status status = code == SQLITE_OK ? check_identity(from, backup, diags)
                         : from == NULL    ? STATUS_MEMORY
                                           : fault(backup, "read", from, diags);
    if (status == STATUS_OK)
        status = copy_checked(from, backup, temporary, path, diags);
    sqlite3_close(from);
    if (status == STATUS_OK)
        status = journal_open(temporary, JOURNAL_WRITE, &migrated, diags);
    if (status == STATUS_OK &&
        sqlite3_exec(journal_database(migrated), "PRAGMA journal_mode = DELETE", NULL, NULL,
                     NULL) != SQLITE_OK)
        status = journal_fault(migrated, "write to", diags);
    journal_close(migrated);
    return status;
}

/* "journal.db" becomes "journal.db.2026-03-01-183000", with a number behind if that is taken. */
static char *dated_name(const char *path, struct moment now)
{
    enum { ROOM = MOMENT_ROOM + 16, MOST = 1000 };
    char written[MOMENT_ROOM], date[MOMENT_ROOM] = "";
    size_t size = strlen(path) + ROOM, length = 0;
    moment_write(now, written);
    for (const char *at = written; *at != '\0' && at < written + 19; at++)
        if (*at != ':')
            date[length++] = *at == 'T' ? '-' : *at;
    char *name = malloc(size);
    for (int i = 1; name != NULL && i < MOST; i++) {
        struct stat about;
        if (i == 1)
            snprintf(name, size, "%s.%s", path, date);
        else
            snprintf(name, size, "%s.%s-%d", path, date, i);
        if (lstat(name, &about) != 0)
            break;
    }
    return name;
}

/* A damaged file is set aside as it is, with the log that SQLite may have left beside it. */
static enum status set_aside(const char *path, const char *kept, struct diags *diags)
{
    static const char *const suffixes[] = {"-wal", "-shm", "-journal", ""};
    size_t room = (strlen(path) > strlen(kept) ? strlen(path) : strlen(kept)) + sizeof "-journal";
    char *from = malloc(room), *to = malloc(room);
    bool moved = from != NULL && to != NULL;
    for (size_t i = 0; i < sizeof suffixes / sizeof *suffixes && moved; i++) {
        snprintf(from, room, "%s%s", path, suffixes[i]);
        snprintf(to, room, "%s%s", kept, suffixes[i]);
        moved = rename(from, to) == 0 || errno == ENOENT;
    }
    enum status status = from == NULL || to == NULL ? STATUS_MEMORY
                         : moved                    ? STATUS_OK
                                                    : filing_refused(path, "moved", errno, diags);
    free(from);
    free(to);
    return status;
}

/* Into the open journal, so that SQLite's locks hold off whoever is using it, and a process that
 * dies half-way has done nothing. */
static enum status overwrite(struct journal *present, const char *copy, struct diags *diags)
{
    sqlite3 *from = NULL;
    int code = sqlite3_open_v2(copy, &from, SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX, NULL);
    enum status status = code == SQLITE_OK ? copy_pages(from, copy, journal_database(present),
                                                        journal_path(present), diags)
                         : from == NULL    ? STATUS_MEMORY
                                           : fault(copy, "read", from, diags);
    sqlite3_close(from);
    return status;
}

static enum status replace_file(struct filing *filing, const char *kept, struct diags *diags)
{
    enum status status = set_aside(filing->path, kept, diags);
    return status == STATUS_OK ? filing_commit(filing, diags) : status;
}

/* Whether the file at the path is another program's, or a newer Jarside's: not ours to move. */
static bool is_anothers(const char *path)
{
    sqlite3 *database = NULL;
    int64_t version = 0, application = 0, tables = 0;
    bool readable = sqlite3_open_v2(path, &database, SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX,
                                    NULL) == SQLITE_OK &&
                    pragma_number(database, "PRAGMA user_version", &version) &&
                    pragma_number(database, "PRAGMA application_id", &application) &&
                    pragma_number(database, "SELECT count(*) FROM sqlite_schema", &tables);
    sqlite3_close(database);
    return readable && tables > 0 &&
           (application != JOURNAL_APPLICATION || version > JOURNAL_VERSION);
}

static void repeat(struct diags *diags, const struct diags *unheard)
{
    for (size_t i = 0; i < diags_kept(unheard); i++)
        diags_error(diags, diags_get(unheard, i)->at, "%s", diags_get(unheard, i)->message);
}

/* Read only, since even opening a file for writing changes bytes of it. */
static enum status look_at_present(const char *path, struct diags *diags)
{
    struct journal *present = NULL;
    enum status status = journal_open(path, JOURNAL_READ, &present, diags);
    if (status == STATUS_OK)
        status = check_pages(journal_database(present), path, diags);
    journal_close(present);
    return status;
}

/* The present journal is kept, then gives way. */
static enum status swap(struct filing *filing, const char *kept, struct diags *diags)
{
    struct journal *present = NULL;
    struct diags *unheard = diags_new();
    if (unheard == NULL)
        return STATUS_MEMORY;
    enum status status = look_at_present(filing->path, unheard);
    if (status == STATUS_OK)
        status = journal_open(filing->path, JOURNAL_WRITE, &present, unheard);
    if (status == STATUS_OK)
        status = copy_to(journal_database(present), filing->path, kept, false, unheard);
    if (status == STATUS_DATA && !is_anothers(filing->path)) {
        journal_close(present); /* damaged: nobody can be at work in it */
        present = NULL;
        status = replace_file(filing, kept, diags);
    } else if (status == STATUS_OK) {
        status = overwrite(present, filing->temporary, diags);
    } else {
        repeat(diags, unheard);
    }
    journal_close(present);
    diags_free(unheard);
    return status;
}

enum status backup_restore(const char *backup, const char *path, struct moment now, char **kept,
                           struct diags *diags)
{
    struct filing filing;
    struct stat about;
    bool present = lstat(path, &about) == 0;
    *kept = NULL;
    if (same_file(backup, path)) {
        diags_error(diags, (struct position){path, 0, 0}, "is the journal itself; name a backup");
        return STATUS_USAGE;
    }
    enum status status = filing_reserve(&filing, path, true, diags);
    if (status != STATUS_OK)
        return status;
    status = prepare_copy(backup, filing.temporary, path, diags);
    remove_beside(filing.temporary);
    if (status == STATUS_OK && present && (*kept = dated_name(path, now)) == NULL)
        status = STATUS_MEMORY;
    if (status == STATUS_OK)
        status = present ? swap(&filing, *kept, diags) : filing_commit(&filing, diags);
    filing_abandon(&filing);
    if (status != STATUS_OK) {
        free(*kept);
        *kept = NULL;
    }
    return status;
}

/* ==== become ================================================================================== */

/* What a vessel has become, derived from what stands of its looks, events and outcomes. */

struct becoming {
    struct vessel vessel; /* only the derived members and `place` are used */
    int64_t id;
    struct moment discarded, used, judged_lost; /* unknown: not so */
    const char *last_status;                    /* of the last standing look; a constant */
    bool last_discards;
    struct moment last_at;
};

/* The statuses of findings, as the rule base names them. */
static const char CLEAN[] = "clean", STUCK[] = "stuck", CONTAMINATED[] = "contaminated";

static const char *known_status(const char *word)
{
    if (word == NULL)
        return "";
    return strcmp(word, CONTAMINATED) == 0 ? CONTAMINATED
           : strcmp(word, STUCK) == 0      ? STUCK
           : strcmp(word, CLEAN) == 0      ? CLEAN
                                           : "";
}

static struct moment earlier(struct moment a, struct moment b)
{
    if (!moment_known(a) || !moment_known(b))
        return moment_known(a) ? a : b;
    return b.seconds < a.seconds ? b : a;
}

static const char *word_in(sqlite3_stmt *statement, int at)
{
    const char *word = (const char *)sqlite3_column_text(statement, at);
    return word != NULL ? word : "";
}

static struct moment moment_in(sqlite3_stmt *statement, int at)
{
    return (struct moment){sqlite3_column_int64(statement, at),
                           sqlite3_column_int(statement, at + 1)};
}

/* ---- looks, events, outcomes ------------------------------------------------------------------ */

static sqlite3_stmt *about(struct journal *journal, enum kept_statement which, const char *sql,
                           int64_t vessel, struct diags *diags)
{
    sqlite3_stmt *statement = journal_prepare(journal, &journal->kept[which], sql, diags);
    if (statement != NULL)
        sqlite3_bind_int64(statement, 1, vessel);
    return statement;
}

/* SQLite's answer at the end of rows, as a status. */
static enum status ended(struct journal *journal, sqlite3_stmt *statement, int code,
                         struct diags *diags)
{
    enum status status = code == SQLITE_DONE ? STATUS_OK : journal_fault(journal, "read", diags);
    sqlite3_reset(statement);
    return status;
}

static enum status read_looks(struct journal *journal, struct becoming *becoming,
                              struct diags *diags)
{
    sqlite3_stmt *statement =
        about(journal, STATEMENT_VESSEL_LOOKS,
              "SELECT id, at, at_offset, action, status FROM look AS l WHERE vessel = ?"
              " AND NOT EXISTS (SELECT 1 FROM look WHERE corrects = l.id)"
              " ORDER BY coalesce(turn, id)",
              becoming->id, diags);
    int code = SQLITE_ERROR;
    if (statement == NULL)
        return STATUS_IO;
    while ((code = sqlite3_step(statement)) == SQLITE_ROW) {
        becoming->vessel.last_look = sqlite3_column_int64(statement, 0);
        becoming->last_at = moment_in(statement, 1);
        becoming->last_discards = strcmp(word_in(statement, 3), "discard") == 0;
        becoming->last_status = known_status(word_in(statement, 4));
        if (becoming->last_discards)
            becoming->judged_lost = earlier(becoming->judged_lost, becoming->last_at);
    }
    return ended(journal, statement, code, diags);
}

static void take_event(struct becoming *becoming, enum event_kind kind, struct moment at)
{
    struct vessel *vessel = &becoming->vessel;
    switch (kind) {
    case EVENT_ISOLATE:
        vessel->state = VESSEL_ISOLATED;
        break;
    case EVENT_RETURN:
        vessel->state = VESSEL_GROWING;
        break;
    case EVENT_DISCARD:
        vessel->state = VESSEL_DISCARDED;
        becoming->discarded = at;
        break;
    case EVENT_USE:
        vessel->state = VESSEL_USED;
        becoming->used = at;
        break;
    case EVENT_MOVE:
    case EVENT_SHAKE:
    case EVENT_WITHDRAW:
    case EVENT_COUNT:
        break;
    }
}

static enum event_kind event_kind_of(const char *word)
{
    int kind = 0;
    while (kind < EVENT_COUNT && strcmp(event_words[kind], word) != 0)
        kind++;
    return (enum event_kind)kind;
}

/* Twice: for what was done, and, once the end is known, for where it stood. */
static enum status read_events(struct journal *journal, struct becoming *becoming, bool moves,
                               struct diags *diags)
{
    struct vessel *vessel = &becoming->vessel;
    sqlite3_stmt *statement =
        about(journal, STATEMENT_VESSEL_EVENTS,
              "SELECT at, at_offset, kind, place FROM deed AS d WHERE vessel = ?"
              " AND NOT EXISTS (SELECT 1 FROM deed WHERE corrects = d.id)"
              " ORDER BY coalesce(turn, id)",
              becoming->id, diags);
    int code = SQLITE_ERROR;
    if (statement == NULL)
        return STATUS_IO;
    while ((code = sqlite3_step(statement)) == SQLITE_ROW) {
        struct moment at = moment_in(statement, 0);
        enum event_kind kind = event_kind_of(word_in(statement, 2));
        if (!moves) {
            take_event(becoming, kind, at);
        } else if (kind == EVENT_MOVE) {
            vessel->stands = sqlite3_column_int64(statement, 3);
            if (!moment_known(vessel->ended) || at.seconds <= vessel->ended.seconds)
                vessel->stood = vessel->stands;
        }
    }
    return ended(journal, statement, code, diags);
}

/* ---- the fate -------------------------------------------------------------------------------- */

static enum fate fate_of_loss(const char *status)
{
    return status == CONTAMINATED ? FATE_CONTAMINATED : status == STUCK ? FATE_STUCK : FATE_UNTOLD;
}

static void decide_unconfirmed(struct becoming *becoming)
{
    struct vessel *vessel = &becoming->vessel;
    if (vessel->state == VESSEL_DISCARDED || becoming->last_discards) {
        vessel->fate = fate_of_loss(becoming->last_status);
        vessel->ended = earlier(becoming->judged_lost, becoming->discarded);
    } else if (vessel->state == VESSEL_USED) {
        vessel->fate = FATE_SOUND;
        vessel->ended = becoming->used;
    } else {
        vessel->fate = FATE_OPEN;
    }
}

static void decide_confirmed(struct becoming *becoming, const char *status, struct moment at)
{
    struct vessel *vessel = &becoming->vessel;
    bool overtaken =
        status == CLEAN && becoming->last_discards && becoming->last_at.seconds > at.seconds;
    decide_unconfirmed(becoming);
    if (status[0] == '\0' || overtaken)
        return;
    if (status == CLEAN) {
        vessel->fate = FATE_SOUND;
        vessel->ended = earlier(becoming->used, becoming->discarded);
    } else {
        vessel->fate = fate_of_loss(status);
        vessel->ended = earlier(vessel->ended, earlier(becoming->judged_lost, at));
    }
}

static enum status read_outcome(struct journal *journal, struct becoming *becoming,
                                struct diags *diags)
{
    sqlite3_stmt *statement =
        about(journal, STATEMENT_VESSEL_OUTCOME,
              "SELECT at, at_offset, status FROM outcome AS o WHERE vessel = ?"
              " AND NOT EXISTS (SELECT 1 FROM outcome WHERE corrects = o.id)"
              " ORDER BY coalesce(turn, id) DESC LIMIT 1",
              becoming->id, diags);
    if (statement == NULL)
        return STATUS_IO;
    int code = sqlite3_step(statement);
    if (code == SQLITE_ROW) {
        decide_confirmed(becoming, known_status(word_in(statement, 2)), moment_in(statement, 0));
        code = SQLITE_DONE;
    } else if (code == SQLITE_DONE) {
        decide_unconfirmed(becoming);
    }
    return ended(journal, statement, code, diags);
}

/* ---- writing it down ------------------------------------------------------------------------- */

static void bind_moment(sqlite3_stmt *statement, int at, struct moment moment)
{
    if (moment_known(moment)) {
        sqlite3_bind_int64(statement, at, moment.seconds);
        sqlite3_bind_int(statement, at + 1, moment.offset);
    } else {
        sqlite3_bind_null(statement, at);
        sqlite3_bind_null(statement, at + 1);
    }
}

static void bind_reference(sqlite3_stmt *statement, int at, int64_t id)
{
    if (id != 0)
        sqlite3_bind_int64(statement, at, id);
    else
        sqlite3_bind_null(statement, at);
}

static enum status put(struct journal *journal, const struct becoming *becoming,
                       struct diags *diags)
{
    const struct vessel *vessel = &becoming->vessel;
    bool over = vessel->state == VESSEL_DISCARDED || vessel->state == VESSEL_USED;
    sqlite3_stmt *statement =
        about(journal, STATEMENT_VESSEL_PUT,
              "UPDATE vessel SET stands = ?2, stood = ?3, state = ?4, fate = ?5, ended = ?6,"
              " ended_offset = ?7, last_look = ?8, due = iif(?9, 0, due),"
              " due_for = iif(?9, '', due_for) WHERE id = ?1",
              becoming->id, diags);
    if (statement == NULL)
        return STATUS_IO;
    bind_reference(statement, 2, vessel->stands);
    bind_reference(statement, 3, vessel->stood);
    sqlite3_bind_text(statement, 4, vessel_state_words[vessel->state], -1, SQLITE_STATIC);
    sqlite3_bind_text(statement, 5, fate_words[vessel->fate], -1, SQLITE_STATIC);
    bind_moment(statement, 6, vessel->ended);
    bind_reference(statement, 8, vessel->last_look);
    sqlite3_bind_int(statement, 9, over);
    int code = sqlite3_step(statement);
    enum status status =
        code == SQLITE_DONE ? STATUS_OK : journal_fault(journal, "write to", diags);
    sqlite3_reset(statement);
    return status;
}

static enum status read_place(struct journal *journal, struct becoming *becoming,
                              struct diags *diags)
{
    sqlite3_stmt *statement = about(journal, STATEMENT_VESSEL_BRIEF,
                                    "SELECT place FROM vessel WHERE id = ?", becoming->id, diags);
    if (statement == NULL)
        return STATUS_IO;
    int code = sqlite3_step(statement);
    enum status status = STATUS_OK;
    if (code == SQLITE_ROW) {
        becoming->vessel.stands = becoming->vessel.stood = sqlite3_column_int64(statement, 0);
    } else {
        diags_error(diags, (struct position){.file = journal->path}, "there is no vessel %lld",
                    (long long)becoming->id);
        status = STATUS_USAGE;
    }
    sqlite3_reset(statement);
    return status;
}

static enum status derive(struct journal *journal, int64_t vessel, struct becoming *becoming,
                          struct diags *diags)
{
    *becoming = (struct becoming){
        .id = vessel,
        .discarded = moment_unknown(),
        .used = moment_unknown(),
        .judged_lost = moment_unknown(),
        .last_at = moment_unknown(),
        .last_status = "",
    };
    record_init(RECORD_VESSEL, &becoming->vessel);
    enum status status = read_place(journal, becoming, diags);
    if (status == STATUS_OK)
        status = read_looks(journal, becoming, diags);
    if (status == STATUS_OK)
        status = read_events(journal, becoming, false, diags);
    if (status == STATUS_OK)
        status = read_outcome(journal, becoming, diags);
    return status == STATUS_OK ? read_events(journal, becoming, true, diags) : status;
}

enum status vessel_derive(struct journal *journal, int64_t id, struct vessel *vessel,
                          struct diags *diags)
{
    struct becoming becoming;
    enum status status = derive(journal, id, &becoming, diags);
    *vessel = becoming.vessel;
    return status;
}

enum status journal_refresh(struct journal *journal, int64_t vessel, struct diags *diags)
{
    struct becoming becoming;
    enum status status = journal_begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    status = derive(journal, vessel, &becoming, diags);
    if (status == STATUS_OK)
        status = put(journal, &becoming, diags);
    if (status == STATUS_OK)
        return journal_commit(journal, diags);
    journal_rollback(journal);
    return status;
}

/* ---- what is due ----------------------------------------------------------------------------- */

enum status journal_set_due(struct journal *journal, int64_t vessel, int64_t day, const char *why,
                            struct diags *diags)
{
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(journal->database,
                                  "UPDATE vessel SET due = ?2, due_for = ?3 WHERE id = ?1", -1,
                                  &statement, NULL);
    if (code == SQLITE_OK) {
        sqlite3_bind_int64(statement, 1, vessel);
        sqlite3_bind_int64(statement, 2, day > 0 ? day : 0);
        sqlite3_bind_text(statement, 3, why, -1, SQLITE_STATIC);
        code = sqlite3_step(statement);
    }
    enum status status =
        code == SQLITE_DONE ? STATUS_OK : journal_fault(journal, "write to", diags);
    sqlite3_finalize(statement);
    return status;
}
