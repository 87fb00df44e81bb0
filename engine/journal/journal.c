/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Opening and closing, transactions, and what SQLite's refusals mean to a person. */
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
    if ((code & 0xff) == SQLITE_NOMEM || code == SQLITE_OK || memory_refused())
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
    /* What was refused memory on its way here may lack something. */
    enum status status = memory_refused()
                             ? journal_no_memory(journal, diags)
                             : run(journal, STATEMENT_COMMIT, "COMMIT", "write to", diags);
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
