/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/backup.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/filing.h"
#include "journal/journal_internal.h"

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
