/* SPDX-License-Identifier: GPL-3.0-or-later */
#define SQLITE_ENABLE_SESSION        1
#define SQLITE_ENABLE_PREUPDATE_HOOK 1
#include "journal/journal.h"

#include <ctype.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "base/filing.h"
#include "base/memory.h"
#include "base/text.h"
#include "journal/sql.h"

/* ---- the schema ------------------------------------------------------------------------------ */

/* What the record table (record.h) does not say of a table: which of its columns go together only once. */
static const char *const constraints[RECORD_COUNT] = {
    [RECORD_VESSEL] = ", UNIQUE (batch, number)",
    [RECORD_PARENT] =
        ", UNIQUE (starter, parent), UNIQUE (starter, vessel), CHECK (starter <> parent),"
        " CHECK ((parent IS NULL) <> (vessel IS NULL))",
};

/* Older versions had names of their own for some (sql_older_names). */
enum {
    WITH_EVENTS = 3,
    WITH_WORDS = 4
}; /* the first version that calls them so; that has the words */
/* ---- refusals -------------------------------------------------------------------------------- */

/* What SQLite says, whether it is about what the file holds, and what to do. */
static const struct remedy {
    int code;
    bool held;
    const char *words;
} remedies[] = {
    {SQLITE_BUSY, false,
     "another program has held it for too long; try again when that one has finished"},
    {SQLITE_READONLY, false, "the file or its folder may not be written to; see its permissions"},
    {SQLITE_FULL, false, "the disk is full; make room and try again, nothing was lost"},
    {SQLITE_CANTOPEN, false,
     "it cannot be opened; see that the path and its permissions are right"},
    {SQLITE_CORRUPT, true,
     "the file is damaged; it was left as it is. Restore a backup with 'jarside restore FILE'"},
    {SQLITE_NOTADB, true,
     "the file is not a journal, or it is damaged; it was left as it is. Restore a backup with "
     "'jarside restore FILE'"},
    {SQLITE_IOERR, false, "the disk did not read or write it; see that it is sound and has room"},
    {SQLITE_ERROR, true, "it is not laid out as a journal; 'jarside journal check' says more"},
    {SQLITE_CONSTRAINT, true, "the change was refused"},
    {SQLITE_TOOBIG, true, "the change was refused"},
    {SQLITE_OK, false, "the change was refused"},
};

enum status journal_refuse(struct journal *journal, enum status status, const char *format, ...)
{
    if (journal->status != STATUS_OK)
        return journal->status;
    FORMATTED(why, format);
    /* Of words that are off, the file that they were not written to is no place. */
    struct position at = journal->at;
    if (status == STATUS_IO)
        at = (struct position){.file = journal->path};
    if (journal->diags != NULL)
        diags_error(journal->diags, at, "%s", why);
    return journal->status = status;
}

/* Of what the file holds its path is the place. */
static enum status refuse(const char *path, struct diags *diags, const char *why)
{
    if (diags != NULL)
        diags_error(diags, (struct position){.file = path}, "%s", why);
    return STATUS_DATA;
}

static void refuse_file(struct journal *journal, const char *why)
{
    if (journal->status == STATUS_OK)
        journal->status = refuse(journal->path, journal->diags, why);
}

enum status journal_fault(struct journal *journal, const char *doing)
{
    const struct remedy *remedy = remedies;
    int code = sqlite3_extended_errcode(journal->database) & 0xff;
    if (code == SQLITE_NOMEM && journal->diags == NULL)
        memory_exhausted();
    if (code == SQLITE_NOMEM)
        return journal_refuse(journal, STATUS_IO,
                              "there is not enough memory for this; nothing was changed");
    code = code == SQLITE_LOCKED                              ? SQLITE_BUSY
           : code == SQLITE_PERM || code == SQLITE_AUTH       ? SQLITE_READONLY
           : code == SQLITE_SCHEMA || code == SQLITE_MISMATCH ? SQLITE_ERROR
                                                              : code;
    while (remedy->code != code && remedy->code != SQLITE_OK)
        remedy++;
    char *why SCOPED_FREE = text_format("cannot %s the journal: %s (%s)", doing, remedy->words,
                                        sqlite3_errmsg(journal->database));
    if (remedy->held)
        refuse_file(journal, why);
    journal_refuse(journal, STATUS_IO, "%s", why);
    return journal->status;
}

enum status journal_told(struct journal *journal)
{
    enum status status = journal->status;
    if (status != STATUS_OK && journal->ends != NULL && journal->calls == journal->begun)
        journal->ends(journal->context, status);
    if (journal->calls == 0)
        journal->status = STATUS_OK;
    return status;
}

void journal_ends(struct journal *journal, void (*ends)(void *context, enum status status),
                  void *context)
{
    journal->ends = ends;
    journal->context = context;
}

void journal_enter(struct journal *journal)
{
    journal->calls++;
}

enum status journal_leave(struct journal *journal)
{
    journal->calls--;
    return journal_told(journal);
}

/* ---- asking ---------------------------------------------------------------------------------- */

void journal_execute(struct journal *journal, const char *sql)
{
    if (journal->status == STATUS_OK &&
        sqlite3_exec(journal->database, sql, NULL, NULL, NULL) != SQLITE_OK)
        journal_fault(journal, "write to");
}

const char *journal_sql(struct journal *journal, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *sql = text_vformat(format, arguments);
    va_end(arguments);
    free(journal->sql);
    return journal->sql = sql;
}

struct query query_prepare(struct journal *journal, const char *sql)
{
    struct query query = {.journal = journal};
    if (journal->status != STATUS_OK)
        return query;
    for (size_t i = 0; i < journal->statement_count && query.statement == NULL; i++)
        if (!sqlite3_stmt_busy(journal->statements[i]) &&
            strcmp(sqlite3_sql(journal->statements[i]), sql) == 0)
            query.statement = journal->statements[i];
    if (query.statement != NULL)
        return query;
    size_t count = journal->statement_count + 1;
    if (sqlite3_prepare_v3(journal->database, sql, -1, SQLITE_PREPARE_PERSISTENT, &query.statement,
                           NULL) != SQLITE_OK) {
        journal_fault(journal, "read");
        return query;
    }
    journal->statements = realloc(journal->statements, count * sizeof *journal->statements);
    journal->statements[count - 1] = query.statement;
    journal->statement_count = count;
    return query;
}

static struct query begin_with(struct journal *journal, const char *sql, const char *binds,
                               va_list arguments)
{
    struct query query = query_prepare(journal, sql);
    if (query.statement == NULL)
        return query;
    for (int at = 1; binds[at - 1] != '\0'; at++) {
        const void *bytes = NULL;
        switch (binds[at - 1]) {
        case 'd':
            sqlite3_bind_double(query.statement, at, va_arg(arguments, double));
            break;
        case 't':
            bytes = va_arg(arguments, const char *);
            sqlite3_bind_text(query.statement, at, bytes, -1, SQLITE_STATIC);
            break;
        case 'b':
            bytes = va_arg(arguments, const void *);
            sqlite3_bind_blob(query.statement, at, bytes, va_arg(arguments, int), SQLITE_STATIC);
            break;
        default:
            sqlite3_bind_int64(query.statement, at, va_arg(arguments, int64_t));
        }
    }
    return query;
}

#define BEGUN(query)                                                                               \
    va_list arguments;                                                                             \
    va_start(arguments, binds);                                                                    \
    struct query query = begin_with(journal, sql, binds, arguments);                               \
    va_end(arguments)

struct query query_begin(struct journal *journal, const char *sql, const char *binds, ...)
{
    BEGUN(query);
    return query;
}

bool query_next(struct query *query)
{
    int code = query->statement != NULL ? sqlite3_step(query->statement) : SQLITE_DONE;
    if (code != SQLITE_ROW && code != SQLITE_DONE)
        journal_fault(query->journal,
                      sqlite3_stmt_readonly(query->statement) ? "read" : "write to");
    if (code != SQLITE_ROW)
        query_end(query);
    return code == SQLITE_ROW;
}

void query_end(struct query *query)
{
    if (query->statement == NULL)
        return;
    sqlite3_reset(query->statement);
    sqlite3_clear_bindings(query->statement); /* what was bound belongs to the caller */
    query->statement = NULL;
}

int64_t query_number(struct journal *journal, const char *sql, const char *binds, ...)
{
    BEGUN(query);
    int64_t number = query_next(&query) ? query_integer(&query, 0) : 0;
    query_end(&query);
    return number;
}

char *query_string(struct journal *journal, struct arena *arena, const char *sql, const char *binds,
                   ...)
{
    BEGUN(query);
    char *text = query_next(&query) ? arena_string(arena, query_text(&query, 0)) : NULL;
    query_end(&query);
    return text;
}

json_t *query_json(struct journal *journal, const char *sql, const char *binds, ...)
{
    BEGUN(query);
    bool found = query_next(&query);
    json_t *json = found ? json_loads(query_text(&query, 0), 0, NULL) : NULL;
    query_end(&query);
    if (found && json == NULL)
        journal_refuse(
            journal, STATUS_DATA,
            "it holds a word or text that is not allowed; 'jarside journal check' says which");
    return json;
}

const char *query_text(const struct query *query, int column)
{
    const char *text = (const char *)sqlite3_column_text(query->statement, column);
    if (text == NULL && sqlite3_errcode(query->journal->database) == SQLITE_NOMEM)
        memory_exhausted();
    return text != NULL ? text : "";
}

int64_t query_integer(const struct query *query, int column)
{
    return sqlite3_column_int64(query->statement, column);
}

double query_real(const struct query *query, int column)
{
    return sqlite3_column_type(query->statement, column) == SQLITE_NULL
               ? NAN
               : sqlite3_column_double(query->statement, column);
}

struct moment query_moment(const struct query *query, int column)
{
    struct moment moment = {sqlite3_column_int64(query->statement, column),
                            sqlite3_column_int(query->statement, column + 1)};
    bool known = sqlite3_column_type(query->statement, column) != SQLITE_NULL &&
                 moment_write(moment, MOMENT_WORDS)[0] != '\0';
    return known ? moment : moment_unknown();
}

/* ---- versions -------------------------------------------------------------------------------- */

/* Whose a file is. Version 0 of an empty file may be filled; of any other it is somebody else's. */
enum whose { EMPTY, OURS, NEWER, ANOTHERS };

static enum whose identify(struct journal *journal, int64_t *version)
{
    int64_t application = query_number(journal, "PRAGMA application_id", "");
    *version = query_number(journal, "PRAGMA user_version", "");
    return application == JOURNAL_APPLICATION && *version >= 1
               ? *version > JOURNAL_VERSION ? NEWER : OURS
           : application == 0 && *version == 0 &&
                   query_number(journal, "SELECT count(*) FROM sqlite_schema", "") == 0
               ? EMPTY
               : ANOTHERS;
}

static int64_t read_version(struct journal *journal)
{
    int64_t version = 0;
    enum whose whose = identify(journal, &version);
    if (whose == ANOTHERS) /* or somebody made it a journal between two of the questions */
        whose = identify(journal, &version);
    if (whose == EMPTY && !journal->writable)
        refuse_file(journal, "this journal is empty; nothing was ever recorded in it");
    else if (whose == ANOTHERS)
        refuse_file(journal, "this is a database of another program; give the path of a journal of "
                             "Jarside");
    else if (whose == NEWER)
        refuse_file(journal,
                    "this journal was written by a newer Jarside; use that one, or restore "
                    "an older backup");
    return version;
}

/* Makes the table of a kind of record; an older one anew, which takes over what the columns of both hold. */
static void make_table(struct journal *journal, enum record record, bool older)
{
    static const char *const types[] = {[COLUMN_LABEL] = "TEXT NOT NULL UNIQUE",
                                        [COLUMN_TEXT] = "TEXT NOT NULL DEFAULT ''",
                                        [COLUMN_WORD] = "TEXT NOT NULL DEFAULT ''",
                                        [COLUMN_INTEGER] = "INTEGER NOT NULL",
                                        [COLUMN_DAY] = "INTEGER NOT NULL",
                                        [COLUMN_FLAG] = "INTEGER NOT NULL",
                                        [COLUMN_MOMENT] = "INTEGER",
                                        [COLUMN_REFERENCE] = "INTEGER",
                                        [COLUMN_REAL] = "REAL"};
    const char *name = record_types[record].name;
    TEXT(sql);
    text_printf(&sql, "CREATE TABLE %s (id INTEGER PRIMARY KEY", older ? "made" : name);
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        const bool moment = column->kind == COLUMN_MOMENT,
                   refers = column->kind == COLUMN_REFERENCE;
        const char *must = column->required && (moment || refers) ? " NOT NULL" : "";
        text_printf(&sql, ", \"%s\" %s%s", column->name, types[column->kind], must);
        if (moment)
            text_printf(&sql, ", \"%s_offset\" INTEGER%s", column->name, must);
        if (refers) /* only one row corrects another */
            text_printf(&sql, "%s REFERENCES \"%s\"(id)",
                        strcmp(column->name, "corrects") == 0 ? " UNIQUE" : "",
                        record_types[column->refers].name);
    }
    text_printf(&sql, "%s) STRICT", constraints[record] != NULL ? constraints[record] : "");
    journal_execute(journal, sql.bytes);
    if (!older)
        return;
    const char *common =
        query_string(journal, journal->arena,
                     "SELECT group_concat('\"' || name || '\"') FROM pragma_table_info(?)"
                     " WHERE name IN (SELECT name FROM pragma_table_info('made'))",
                     "t", name);
    journal_execute(journal,
                    journal_sql(journal,
                                "INSERT INTO made (%s) SELECT %s FROM \"%s\"; DROP TABLE \"%s\";"
                                " ALTER TABLE made RENAME TO \"%s\"",
                                common, common, name, name, name));
}

/* Makes the schema, or that of an older journal anew, within one transaction. */
static void bring_up(struct journal *journal)
{
    int64_t version = read_version(journal);
    if (journal->status != STATUS_OK || version == JOURNAL_VERSION)
        return;
    if (!journal->writable) {
        refuse_file(journal, "this journal was written by an older Jarside; open it once for "
                             "writing to bring it up to date");
        return;
    }
    journal_work(journal);
    version = read_version(journal); /* again: another process may have been first */
    if (version > 0 && version < WITH_EVENTS)
        journal_execute(journal, sql_older_names);
    for (enum record i = 0; version < JOURNAL_VERSION && i < RECORD_COUNT; i++)
        make_table(journal, i, version > 0);
    if (version < JOURNAL_VERSION)
        journal_execute(journal, sql_indexes);
    journal_execute(journal, sql_beside_records);
    if (version > 0 && version < JOURNAL_VERSION) /* their columns stood in another order */
        journal_execute(journal, "UPDATE act SET changes = NULL");
    for (enum record i = 0; version < WITH_WORDS && i < RECORD_COUNT; i++)
        wording_note(journal, i, 0);
    journal_execute(journal, /* a pragma takes no parameter */
                    journal_sql(journal, "PRAGMA user_version = %d; PRAGMA application_id = %d",
                                JOURNAL_VERSION, JOURNAL_APPLICATION));
    journal_finish(journal);
}

/* ---- opening --------------------------------------------------------------------------------- */

enum status journal_default_path(char **path)
{
    const char *named = getenv("JARSIDE_JOURNAL");
    *path = named != NULL && named[0] != '\0'
                ? strdup(named)
                : rules_own_path("XDG_DATA_HOME", ".local/share", "journal.db");
    return *path != NULL ? STATUS_OK : STATUS_USAGE;
}

static enum status cannot(const char *path, const char *doing, struct diags *diags)
{
    return diags_fail(diags, STATUS_IO, (struct position){.file = path},
                      "cannot %s the journal: %s", doing, strerror(errno));
}

/* A first look at the bytes, before SQLite gets to see (and perhaps to mend) a
 * file that is not ours. An empty file is fine, and unless `whole` is asked for one that a killed process
 * left with its rollback journal beside it is for SQLite to judge. */
static enum status check_header(const char *path, bool whole, struct diags *diags)
{
    static const char magic[16] = "SQLite format 3";
    char head[sizeof magic] = "";
    struct stat about;
    char *beside SCOPED_FREE = text_format("%s-journal", path);
    bool unfinished = !whole && access(beside, F_OK) == 0;
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
    return refuse(
        path, diags,
        "this is not a journal, or it is damaged; it was left as it is. Restore a backup with "
        "'jarside restore FILE'");
}

/* Plain paths: to SQLite "file:x" and ":memory:" are no names of files. NULL is a journal in memory. What
 * cannot be opened for writing SQLite opens for reading; it is asked once more, then. */
static int open_database(const char *path, int flags, const char *vfs, sqlite3 **database)
{
    char *plain SCOPED_FREE = path == NULL ? text_format(":memory:")
                                           : text_format("%s%s", path[0] == '/' ? "" : "./", path);
    int code = sqlite3_open_v2(plain, database, flags | SQLITE_OPEN_NOMUTEX, vfs);
    if (code == SQLITE_OK && (flags & SQLITE_OPEN_READWRITE) != 0 &&
        sqlite3_db_readonly(*database, "main") == 1) {
        sqlite3_close(*database);
        code = sqlite3_open_v2(plain, database, flags | SQLITE_OPEN_NOMUTEX, vfs);
    }
    return code;
}

static struct journal *journal_make(const char *path, bool writable, struct diags *diags)
{
    struct journal *journal = calloc(1, sizeof *journal);
    journal->path = strdup(path != NULL ? path : "a journal in memory");
    journal->writable = writable;
    journal->diags = diags;
    journal->arena = arena_new();
    journal->calls = 1; /* until it is open */
    return journal;
}

/* A file from a stranger must not run code of its own, nor strain the reader. */
static void settle(struct journal *journal)
{
    static const struct {
        const char *name;
        sql_function *called;
    } functions[] = {{"words_in", sql_words_in},
                     {"folded", sql_folded},
                     {"text_wrong", sql_text_wrong},
                     {"moment_wrong", sql_moment_wrong}};
    sqlite3 *database = journal->database;
    int on = 0;
    if (journal->status != STATUS_OK)
        return;
    sqlite3_limit(database, SQLITE_LIMIT_LENGTH, 4 * JOURNAL_LONGEST_TEXT);
    sqlite3_limit(database, SQLITE_LIMIT_ATTACHED, 0);
    bool done = sqlite3_db_config(database, SQLITE_DBCONFIG_DEFENSIVE, 1, &on) == SQLITE_OK &&
                sqlite3_db_config(database, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, &on) == SQLITE_OK &&
                sqlite3_db_config(database, SQLITE_DBCONFIG_ENABLE_TRIGGER, 0, &on) == SQLITE_OK &&
                sqlite3_db_config(database, SQLITE_DBCONFIG_ENABLE_VIEW, 0, &on) == SQLITE_OK &&
                sqlite3_busy_timeout(database, JOURNAL_PATIENCE) == SQLITE_OK &&
                sqlite3_exec(database,
                             "PRAGMA cell_size_check = ON; PRAGMA synchronous = FULL;"
                             " PRAGMA temp_store = MEMORY; PRAGMA foreign_keys = OFF",
                             NULL, NULL, NULL) == SQLITE_OK;
    for (size_t i = 0; i < sizeof functions / sizeof *functions && done; i++)
        done = sqlite3_create_function(database, functions[i].name, -1,
                                       SQLITE_UTF8 | SQLITE_DETERMINISTIC, NULL,
                                       functions[i].called, NULL, NULL) == SQLITE_OK;
    if (!done)
        journal_fault(journal, "open");
    bring_up(journal); /* tables that others refer to are made anew */
    journal_execute(journal, "PRAGMA foreign_keys = ON");
}

/* Bytes of the file that SQLite keeps beside another; 0 for none. */
static int64_t size_beside(const char *path, const char *suffix)
{
    struct stat about;
    char *beside SCOPED_FREE = text_format("%s%s", path, suffix);
    int64_t size = stat(beside, &about) == 0 ? (int64_t)about.st_size : 0;
    return size;
}

/* ---- files that are not quite as SQLite has them --------------------------------------------- */

/* A file that has no name is reached through a link, which SQLite would follow to find nothing, and then
 * refuse to follow. */
static int as_it_stands(sqlite3_vfs *vfs, const char *name, int room, char *full)
{
    (void)vfs;
    return snprintf(full, (size_t)room, "%s", name) < room ? SQLITE_OK : SQLITE_CANTOPEN;
}

static int open_linked(const char *name, int flags, int mode)
{
    bool nameless = strncmp(name, "/proc/self/fd/", strlen("/proc/self/fd/")) == 0;
    return open(name, nameless ? flags & ~O_NOFOLLOW : flags, mode);
}

static const char *plain_names(void)
{
    static sqlite3_vfs vfs;
    if (vfs.zName == NULL) {
        vfs = *sqlite3_vfs_find(NULL);
        vfs.zName = "plain-names";
        vfs.xFullPathname = as_it_stands;
        vfs.xSetSystemCall(&vfs, "open", (sqlite3_syscall_ptr)open_linked);
        sqlite3_vfs_register(&vfs, 0);
    }
    return vfs.zName;
}

/* Where SQLite's shared memory has no room beside the file (a full disk, a folder that may not be written
 * to), the log is read with its index in memory, as SQLite does without locks for one that has the file to
 * itself; where there is no log and none can be made, the file is read as one that nobody changes. */
static int open_in_place(struct journal *journal)
{
    sqlite3_close(journal->database);
    int code = open_database(journal->path, SQLITE_OPEN_READONLY, "unix-none", &journal->database);
    if (code == SQLITE_OK)
        code = sqlite3_db_config(journal->database, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
    if (code == SQLITE_OK)
        code = sqlite3_exec(journal->database,
                            "PRAGMA locking_mode = EXCLUSIVE; PRAGMA schema_version", NULL, NULL,
                            NULL);
    if (code == SQLITE_OK || size_beside(journal->path, "-wal") > 0 ||
        size_beside(journal->path, "-journal") > 0)
        return code;
    TEXT(uri);
    text_puts(&uri, journal->path[0] == '/' ? "file:" : "file:./");
    for (const char *at = journal->path; *at != '\0'; at++)
        text_printf(&uri, strchr("?#%", *at) != NULL ? "%%%02x" : "%c", (unsigned char)*at);
    text_puts(&uri, "?immutable=1");
    sqlite3_close(journal->database);
    code = sqlite3_open_v2(uri.bytes, &journal->database,
                           SQLITE_OPEN_READONLY | SQLITE_OPEN_URI | SQLITE_OPEN_NOMUTEX, NULL);
    return code;
}

/* The least that makes SQLite open the file. */
static int look(sqlite3 *database)
{
    return sqlite3_exec(database, "PRAGMA schema_version", NULL, NULL, NULL);
}

/* What a killed process left half-written SQLite takes back for whoever may write, not for a reader. */
static bool roll_back(const char *path)
{
    sqlite3 *database = NULL;
    bool done = open_database(path, SQLITE_OPEN_READWRITE, NULL, &database) == SQLITE_OK &&
                look(database) == SQLITE_OK;
    sqlite3_close(database);
    return done;
}

/* Whether a process that wrote to the journal ended without closing it: its log is there, and nobody holds
 * the lock that all who use the log hold on their shared memory. */
static bool left_unclosed(const char *path)
{
    enum { IN_USE = 128 }; /* the byte that is locked: UNIX_SHM_DMS of SQLite's os_unix.c */
    struct flock lock = {.l_type = F_WRLCK, .l_whence = SEEK_SET, .l_start = IN_USE, .l_len = 1};
    if (size_beside(path, "-journal") > 0)
        return true;
    if (size_beside(path, "-wal") == 0)
        return false;
    char *shared SCOPED_FREE = text_format("%s-shm", path);
    int file = open(shared, O_RDONLY | O_CLOEXEC);
    bool used = file >= 0 && fcntl(file, F_GETLK, &lock) == 0 && lock.l_type != F_UNLCK;
    if (file >= 0)
        close(file);
    return !used;
}

static void check_pages(struct journal *journal);
static void undo_drop(struct journal *journal);

enum status journal_open(const char *path, enum journal_access access, struct journal **journal,
                         struct diags *diags)
{
    enum { ALWAYS = 4 << 20 };
    struct stat about;
    *journal = NULL;
    bool reads = access == JOURNAL_READ || access == JOURNAL_EXAMINE;
    if (access == JOURNAL_CREATE && path != NULL) {
        if (!filing_make_folders(path))
            return cannot(path, "make a folder for", diags);
        int file = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
        if (file < 0 && errno != EEXIST)
            return cannot(path, "create", diags);
        if (file >= 0)
            close(file);
    }
    enum status status = path != NULL ? check_header(path, false, diags) : STATUS_OK;
    if (status != STATUS_OK)
        return status;
    bool unclosed = path != NULL && left_unclosed(path);
    struct journal *opened = journal_make(path, !reads, diags);
    int code = open_database(path, reads ? SQLITE_OPEN_READONLY : SQLITE_OPEN_READWRITE, NULL,
                             &opened->database);
    if (code == SQLITE_OK && reads) {
        code = look(opened->database);
        if (sqlite3_extended_errcode(opened->database) == SQLITE_READONLY_ROLLBACK &&
            roll_back(path))
            code = look(opened->database);
        if (code == SQLITE_CANTOPEN || code == SQLITE_READONLY || code == SQLITE_IOERR ||
            code == SQLITE_FULL)
            code = open_in_place(opened);
        else
            code = SQLITE_OK; /* settle says what is wrong */
    }
    if (code != SQLITE_OK)
        journal_fault(opened, "open");
    settle(opened);
    /* Pages that disagree give wrong counts and no error. All are compared with one another where that takes
     * a few milliseconds, and in larger journals, at some 4 ms a mebibyte, when one was not closed. */
    if (path != NULL && access != JOURNAL_EXAMINE &&
        (unclosed || (stat(path, &about) == 0 && about.st_size <= ALWAYS)))
        check_pages(opened);
    status = journal_leave(opened);
    if (status == STATUS_OK && !reads) /* another process at work has done this, or the next does */
        sqlite3_exec(opened->database, "PRAGMA journal_mode = WAL", NULL, NULL, NULL);
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
    undo_drop(journal);
    for (size_t i = 0; i < journal->statement_count; i++) /* SQLite has some of its own */
        sqlite3_finalize(journal->statements[i]);
    free(journal->statements);
    sqlite3_close(journal->database);
    arena_free(journal->arena);
    free(journal->sql);
    free(journal->act);
    free(journal->path);
    free(journal->by);
    free(journal);
}

enum status journal_sign(struct journal *journal, const char *station, const char *person)
{
    station = station != NULL ? station : "";
    person = person != NULL ? person : "";
    size_t length = strlen(station);
    bool lettered = length < sizeof journal->station;
    for (size_t i = 0; i < length; i++)
        lettered = lettered && isalpha((unsigned char)station[i]);
    if (!lettered) {
        journal_refuse(journal, STATUS_USAGE, "'%.60s' is no station; give it one to three letters",
                       station);
        return journal_told(journal);
    }
    memcpy(journal->station, station, length + 1);
    free(journal->by);
    journal->by =
        length > 0 || person[0] != '\0'
            ? text_format("%s%s%s", station, length > 0 && person[0] != '\0' ? ", " : "", person)
            : NULL;
    return STATUS_OK;
}

/* ---- acts ------------------------------------------------------------------------------------ */

enum {
    LARGEST = 1 << 20,  /* bytes of changes that are kept */
    KEPT_CHANGES = 200, /* acts whose changes are kept */
};

void undo_watch(struct journal *journal, const char *words)
{
    free(journal->act);
    journal->act = words != NULL ? strdup(words) : NULL;
}

static void failed(struct journal *journal, int code)
{
    if (code != SQLITE_OK)
        journal_refuse(journal, STATUS_IO, "cannot keep or take back what was changed: %s",
                       sqlite3_errstr(code));
}

/* The full text follows from the rows, and what is stale in it does no harm (query.c). */
static int is_watched(void *context, const char *table)
{
    (void)context;
    return strncmp(table, "wording", strlen("wording")) != 0;
}

static void undo_begin(struct journal *journal)
{
    if (journal->act == NULL || journal->status != STATUS_OK)
        return;
    int code = sqlite3session_create(journal->database, "main", &journal->changes);
    if (code == SQLITE_OK) {
        sqlite3session_table_filter(journal->changes, is_watched, NULL);
        code = sqlite3session_attach(journal->changes, NULL);
    }
    failed(journal, code);
}

static void undo_drop(struct journal *journal)
{
    if (journal->changes != NULL)
        sqlite3session_delete(journal->changes);
    journal->changes = NULL;
}

static void undo_commit(struct journal *journal)
{
    int size = 0;
    void *changes = NULL;
    if (journal->changes == NULL)
        return;
    failed(journal, sqlite3session_changeset(journal->changes, &size, &changes));
    undo_drop(journal);
    if (size > 0) {
        struct moment now = moment_now();
        const void *kept = size <= LARGEST ? changes : NULL;
        query_number(journal, "INSERT INTO act VALUES (NULL, ?, ?, ?, ?, 0)", "iitb", now.seconds,
                     (int64_t)now.offset, journal->act, kept, size);
        query_number(journal, "UPDATE act SET changes = NULL WHERE id = ?", "i",
                     (int64_t)sqlite3_last_insert_rowid(journal->database) - KEPT_CHANGES);
    }
    sqlite3_free(changes);
}

/* ---- transactions ---------------------------------------------------------------------------- */

void journal_work(struct journal *journal)
{
    journal_enter(journal);
    if (++journal->depth > 1) {
        query_number(journal, journal_sql(journal, "SAVEPOINT level_%d", journal->depth), "");
        return;
    }
    journal_execute(journal, "BEGIN IMMEDIATE");
    undo_begin(journal);
}

enum status journal_finish(struct journal *journal)
{
    if (journal->depth > 1) {
        query_number(journal, journal_sql(journal, "RELEASE level_%d", journal->depth), "");
        if (journal->status != STATUS_OK)
            sqlite3_exec(journal->database,
                         journal_sql(journal, "ROLLBACK TO level_%d; RELEASE level_%d",
                                     journal->depth, journal->depth),
                         NULL, NULL, NULL);
    } else {
        if (journal->status == STATUS_OK)
            undo_commit(journal);
        journal_execute(journal, "COMMIT");
        undo_drop(journal);
        /* A statement that failed may have ended the transaction already. */
        if (journal->status != STATUS_OK && sqlite3_get_autocommit(journal->database) == 0)
            sqlite3_exec(journal->database, "ROLLBACK", NULL, NULL, NULL);
    }
    journal->depth--;
    return journal_leave(journal);
}

enum status journal_begin(struct journal *journal)
{
    journal_work(journal);
    journal->begun += journal->status == STATUS_OK;
    return journal->status == STATUS_OK ? STATUS_OK : journal_finish(journal);
}

enum status journal_commit(struct journal *journal)
{
    journal->begun -= journal->depth > 0;
    return journal->depth > 0 ? journal_finish(journal) : STATUS_INTERNAL;
}

void journal_rollback(struct journal *journal)
{
    undo_drop(journal);
    if (journal->depth > 0 && sqlite3_get_autocommit(journal->database) == 0)
        sqlite3_exec(journal->database, "ROLLBACK", NULL, NULL, NULL);
    journal->calls -= journal->depth;
    journal->depth = journal->begun = 0;
    (void)journal_told(journal);
}

/* ---- backup ---------------------------------------------------------------------------------- */

/* All pages in one step: a reader of a write-ahead log keeps nobody waiting. */
static void copy_pages(struct journal *from, struct journal *to)
{
    if (to->status != STATUS_OK)
        return;
    sqlite3_backup *backup = sqlite3_backup_init(to->database, "main", from->database, "main");
    int code = sqlite3_backup_step(backup, -1);
    bool done = backup != NULL && sqlite3_backup_finish(backup) == SQLITE_OK && code == SQLITE_DONE;
    if (!done && backup != NULL && (code == SQLITE_CORRUPT || code == SQLITE_NOTADB))
        to->status = refuse(from->path, to->diags,
                            "the file is damaged and cannot be copied; it was left as it is");
    else if (!done)
        journal_fault(to, "write");
}

/* Compares all pages, and what refers to what. */
static void check_pages(struct journal *journal)
{
    struct diags *diags = journal->diags;
    if (journal->status != STATUS_OK)
        return;
    journal->diags = NULL;
    const char *said = query_string(journal, journal->arena, "PRAGMA integrity_check(1)", "");
    bool sound = said != NULL && strcmp(said, "ok") == 0 &&
                 query_string(journal, journal->arena, "PRAGMA foreign_key_check", "") == NULL &&
                 journal->status == STATUS_OK;
    journal->diags = diags;
    journal->status = STATUS_OK;
    if (!sound)
        refuse_file(journal, "the file is damaged; 'jarside journal check' says where. Restore an "
                             "older backup with 'jarside restore FILE'");
}

/* The temporary file as a journal, that messages call by a path. */
static struct journal *open_copy(const struct filing *filing, const char *path, struct diags *diags)
{
    struct journal *copy = journal_make(path, true, diags);
    if (open_database(filing->temporary, SQLITE_OPEN_READWRITE, plain_names(), &copy->database) !=
            SQLITE_OK ||
        sqlite3_exec(copy->database, "PRAGMA journal_mode = MEMORY; PRAGMA temp_store = MEMORY",
                     NULL, NULL, NULL) != SQLITE_OK)
        journal_fault(copy, "write");
    return copy;
}

static enum status close_copy(struct journal *copy)
{
    enum status status = copy->status;
    journal_close(copy);
    return status;
}

/* Copies into the temporary file, which has nothing beside it, and checks the copy. */
static enum status copy_checked(struct journal *from, const struct filing *filing,
                                struct diags *diags)
{
    struct journal *copy = open_copy(filing, filing->path, diags);
    copy_pages(from, copy);
    enum status status = close_copy(copy);
    /* It is read and written without a log (SQLite file format, 1.3.3): there is none. */
    if (status == STATUS_OK && pwrite(filing->descriptor, "\1\1", 2, 18) != 2)
        status = filing_refused(filing->path, "written", errno, diags);
    if (status != STATUS_OK)
        return status;
    copy = open_copy(filing, from->path, diags);
    check_pages(copy);
    return close_copy(copy);
}

static enum status copy_to(struct journal *from, const char *path, bool replace,
                           struct diags *diags)
{
    struct filing filing;
    enum status status = filing_reserve(&filing, path, replace, true, diags);
    if (status != STATUS_OK)
        return status;
    status = copy_checked(from, &filing, diags);
    if (status == STATUS_OK)
        return filing_commit(&filing, diags);
    filing_abandon(&filing);
    return status;
}

static bool same_file(const char *a, const char *b)
{
    struct stat first, second;
    return stat(a, &first) == 0 && stat(b, &second) == 0 && first.st_dev == second.st_dev &&
           first.st_ino == second.st_ino;
}

enum status backup_write(struct journal *journal, const char *path, bool replace)
{
    if (same_file(journal->path, path))
        return diags_fail(journal->diags, STATUS_USAGE, (struct position){path, 0, 0},
                          "is the journal itself; name another file");
    return copy_to(journal, path, replace, journal->diags);
}

/* ---- restore --------------------------------------------------------------------------------- */

/* Opens a file for nothing but to be asked who wrote it, and copied. */
static struct journal *open_backup(const char *path, enum whose *whose, struct diags *diags)
{
    int64_t version;
    struct journal *backup = journal_make(path, false, NULL);
    *whose = EMPTY;
    bool opened = open_database(path, SQLITE_OPEN_READONLY, NULL, &backup->database) == SQLITE_OK;
    if (opened)
        *whose = identify(backup, &version);
    bool answered = opened && backup->status == STATUS_OK;
    int code = sqlite3_errcode(backup->database) & 0xff;
    backup->diags = diags;
    backup->status = STATUS_OK;
    if (!answered && code != SQLITE_NOTADB && code != SQLITE_CORRUPT)
        journal_fault(backup, "read");
    if (!answered)
        refuse_file(backup, "is not a backup of a journal, or it is damaged; try an older one");
    else if (*whose == NEWER)
        refuse_file(backup, "was written by a newer Jarside; restore it with that one");
    else if (*whose != OURS)
        refuse_file(backup, "is not a Jarside journal; give a file that 'jarside backup' wrote");
    return backup;
}

/* A checked copy of the backup, brought up to this version. */
static enum status prepare_copy(const char *backup, const struct filing *filing,
                                struct diags *diags)
{
    enum whose whose;
    struct stat about;
    if (stat(backup, &about) != 0)
        return filing_refused(backup, "read", errno, diags);
    if (S_ISDIR(about.st_mode))
        return filing_refused(backup, "read", EISDIR, diags);
    if (!S_ISREG(about.st_mode))
        return refuse(backup, diags, "is not a plain file");
    struct journal *from = open_backup(backup, &whose, diags);
    enum status status =
        from->status == STATUS_OK ? copy_checked(from, filing, diags) : from->status;
    journal_close(from);
    if (status != STATUS_OK)
        return status;
    struct journal *copy = open_copy(filing, backup, diags);
    settle(copy);
    /* Whether every table has its columns. */
    query_number(copy, "SELECT act.changes FROM act, wording LIMIT 0", "");
    for (int i = 0; i < RECORD_COUNT; i++)
        query_number(copy, select_rows(copy, (enum record)i, "LIMIT 0"), "");
    return close_copy(copy);
}

/* "journal.db" becomes "journal.db.2026-03-01-183000", with a number after that if it is taken. */
static char *dated_name(const char *path, struct moment now)
{
    enum { MOST = 1000 };
    char date[32];
    time_t there = (time_t)now.seconds + (time_t)60 * now.offset;
    struct tm parts;
    struct stat about;
    strftime(date, sizeof date, "%Y-%m-%d-%H%M%S", gmtime_r(&there, &parts));
    char *name = text_format("%s.%s", path, date);
    for (int i = 2; i < MOST && lstat(name, &about) == 0; i++) {
        free(name);
        name = text_format("%s.%s-%d", path, date, i);
    }
    return name;
}

/* Whether the file at the path is another program's, or a newer Jarside's: not ours to move. */
static bool is_anothers(const char *path)
{
    enum whose whose;
    journal_close(open_backup(path, &whose, NULL));
    return whose == ANOTHERS || whose == NEWER;
}

/* A damaged file is set aside as it is, with what SQLite may have left beside it. It keeps its own name,
 * too, until the journal takes that in one step: whatever ends this half-way, a file stands there. */
static enum status set_aside(struct filing *filing, const char *kept, struct diags *diags)
{
    static const char *const suffixes[] = {"", "-wal", "-journal", "-shm"};
    enum { SUFFIXES = sizeof suffixes / sizeof *suffixes };
    bool done = true;
    for (size_t i = 0; i < (size_t)2 * SUFFIXES && done; i++) {
        const char *suffix = suffixes[i % SUFFIXES];
        char *from SCOPED_FREE = text_format("%s%s", filing->path, suffix);
        char *to SCOPED_FREE = text_format("%s%s", kept, suffix);
        if (i >= SUFFIXES) /* its log is none of the new one's */
            done = suffix[0] == '\0' || unlink(from) == 0 || errno == ENOENT;
        else
            done = link(from, to) == 0 ||
                   errno == ENOENT || /* no links: then one after the other */
                   ((errno == EPERM || errno == ENOTSUP) && rename(from, to) == 0);
        int error = errno;
        errno = error;
    }
    return done ? filing_commit(filing, diags)
                : filing_refused(filing->path, "set aside", errno, diags);
}

/* Into the open journal, so that SQLite's locks hold off whoever is using it, and a process that dies
 * half-way has done nothing. The copy takes on its size of pages. */
static enum status copy_into(struct journal *present, const struct filing *filing)
{
    struct journal *from = open_copy(filing, filing->path, present->diags);
    int64_t size = query_number(present, "PRAGMA page_size", "");
    if (query_number(from, "PRAGMA page_size", "") != size && from->status == STATUS_OK &&
        sqlite3_exec(from->database, journal_sql(from, "PRAGMA page_size = %d; VACUUM", (int)size),
                     NULL, NULL, NULL) != SQLITE_OK)
        journal_fault(from, "write");
    if (from->status == STATUS_OK)
        copy_pages(from, present);
    enum status status = close_copy(from);
    return status != STATUS_OK ? status : journal_told(present);
}

/* The present journal is kept, then gives way. */
static enum status swap(struct filing *filing, const char *kept, struct diags *diags)
{
    struct journal *present = NULL;
    struct diags *unheard = diags_new();
    /* Read only at first, since even opening a file for writing changes bytes of it; and one that is no
     * database is not for SQLite to mend from what lies beside it. */
    enum status status = check_header(filing->path, true, unheard);
    if (status == STATUS_OK)
        status = journal_open(filing->path, JOURNAL_EXAMINE, &present, unheard);
    if (status == STATUS_OK) {
        check_pages(present);
        status = journal_told(present);
    }
    journal_close(present);
    present = NULL;
    if (status == STATUS_OK)
        status = journal_open(filing->path, JOURNAL_WRITE, &present, unheard);
    if (status == STATUS_OK)
        status = copy_to(present, kept, false, unheard);
    if (status == STATUS_DATA && !is_anothers(filing->path)) {
        journal_close(present); /* damaged: nobody can be at work in it */
        present = NULL;
        status = set_aside(filing, kept, diags);
    } else if (status == STATUS_OK) {
        present->diags = diags;
        status = copy_into(present, filing);
    } else {
        diags_pass(diags, unheard);
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
    if (same_file(backup, path))
        return diags_fail(diags, STATUS_USAGE, (struct position){path, 0, 0},
                          "is the journal itself; name a backup");
    if (!present && !filing_make_folders(path))
        return cannot(path, "make a folder for", diags);
    enum status status = filing_reserve(&filing, path, true, true, diags);
    if (status != STATUS_OK)
        return status;
    status = prepare_copy(backup, &filing, diags);
    if (present)
        *kept = dated_name(path, now);
    if (status == STATUS_OK)
        status = present ? swap(&filing, *kept, diags) : filing_commit(&filing, diags);
    filing_abandon(&filing);
    if (status != STATUS_OK) {
        free(*kept);
        *kept = NULL;
    }
    return status;
}

/* ---- back ------------------------------------------------------------------------------------ */

/* A column of a row that the act added; every table begins with its id. */
enum { AT_VESSEL = 1, AT_LABEL = 1, AT_EDIT_TABLE = 3, AT_EDIT_LABEL = 4 };

static const char *added_text(sqlite3_changeset_iter *row, int column, struct arena *arena)
{
    sqlite3_value *value = NULL;
    const char *text = sqlite3changeset_new(row, column, &value) == SQLITE_OK && value != NULL
                           ? (const char *)sqlite3_value_text(value)
                           : NULL;
    return arena_string(arena, text != NULL ? text : "");
}

/* What an act was about: of looks, events and outcomes their vessel, or the batch of several; else the
 * batch that was started, the record that was corrected or added. */
static void describe(struct journal *journal, const void *changes, int size, struct arena *arena,
                     struct undone *undone)
{
    sqlite3_changeset_iter *row = NULL;
    const char *name = NULL, *vessel = NULL;
    bool several = false;
    int columns = 0, operation = 0;
    int code = sqlite3changeset_start(&row, size, (void *)changes);
    while (code == SQLITE_OK && sqlite3changeset_next(row) == SQLITE_ROW &&
           sqlite3changeset_op(row, &name, &columns, &operation, NULL) == SQLITE_OK) {
        enum record record = record_named(name, strlen(name));
        if (operation != SQLITE_INSERT || record == RECORD_COUNT)
            continue;
        undone->rows[record]++;
        if (record_of_vessel(record)) {
            const char *id = added_text(row, AT_VESSEL, arena);
            several = several || (vessel != NULL && strcmp(vessel, id) != 0);
            vessel = vessel != NULL ? vessel : id;
        } else if (record == RECORD_EDIT && undone->table[0] == '\0') {
            undone->table = added_text(row, AT_EDIT_TABLE, arena);
            undone->label = added_text(row, AT_EDIT_LABEL, arena);
        } else if (record_has_label(record) && record != RECORD_VESSEL &&
                   (undone->table[0] == '\0' || record == RECORD_BATCH)) {
            undone->table = record_types[record].name;
            undone->label = added_text(row, AT_LABEL, arena);
        }
    }
    failed(journal, code == SQLITE_OK ? sqlite3changeset_finalize(row) : code);
    if (vessel == NULL)
        return;
    undone->table = record_types[several ? RECORD_BATCH : RECORD_VESSEL].name;
    const char *label = query_string(journal, arena,
                                     several ? "SELECT label FROM batch WHERE id ="
                                               " (SELECT batch FROM vessel WHERE id = ?)"
                                             : "SELECT label FROM vessel WHERE id = ?",
                                     "t", vessel);
    undone->label = label != NULL ? label : "";
}

static int refuse_conflict(void *context, int kind, sqlite3_changeset_iter *row)
{
    (void)context, (void)kind, (void)row;
    return SQLITE_CHANGESET_ABORT;
}

enum status undo_last(struct journal *journal, struct moment now, struct arena *arena,
                      struct undone *undone)
{
    static const char newest[] =
        "SELECT words, id, at, at_offset, changes FROM act WHERE undone = 0"
        " ORDER BY id DESC LIMIT 1";
    void *changes = NULL, *inverse = NULL;
    int64_t id = 0;
    int size = 0, length = 0, code = SQLITE_OK;

    *undone = (struct undone){.words = "", .table = "", .label = ""};
    undo_watch(journal, NULL);
    journal_work(journal);
    struct query query = query_begin(journal, newest, "");
    if (query_next(&query)) {
        undone->words = arena_string(arena, query_text(&query, 0));
        id = query_integer(&query, 1);
        undone->at = query_moment(&query, 2);
        size = sqlite3_column_bytes(query.statement, 4);
        changes = arena_copy(arena, sqlite3_column_blob(query.statement, 4), (size_t)size);
    }
    query_end(&query);
    if (size == 0)
        journal_refuse(journal, STATUS_USAGE,
                       id == 0
                           ? "there is nothing to undo"
                           : "'%s' changed too much, or is too long ago, to be undone; 'jarside "
                             "restore' brings a backup back",
                       undone->words);
    else
        describe(journal, changes, size, arena, undone);
    if (journal->status == STATUS_OK)
        code = sqlite3changeset_invert(size, changes, &length, &inverse);
    if (code == SQLITE_OK && inverse != NULL)
        code =
            sqlite3changeset_apply(journal->database, length, inverse, NULL, refuse_conflict, NULL);
    sqlite3_free(inverse);
    if (code == SQLITE_ABORT)
        journal_refuse(journal, STATUS_USAGE,
                       "'%s' cannot be undone: what it changed was changed again since",
                       undone->words);
    failed(journal, code);
    struct edit trace = {.at = now,
                         .table = undone->table[0] != '\0' ? undone->table : "journal",
                         .label = undone->label[0] != '\0' ? undone->label : "journal",
                         .column = UNDONE,
                         .was = undone->words,
                         .became = ""};
    journal_add(journal, RECORD_EDIT, &trace);
    query_number(journal, "UPDATE act SET undone = ? WHERE id = ?", "ii", now.seconds, id);
    undone->before = query_string(journal, arena, newest, "");
    return journal_finish(journal);
}

/* ---- what a vessel has become ---------------------------------------------------------------- */

enum status journal_refresh(struct journal *journal, int64_t vessel)
{
    journal_work(journal);
    query_number(journal, sql_refresh, "i", vessel);
    if (journal->status == STATUS_OK && sqlite3_changes(journal->database) == 0)
        journal_refuse(journal, STATUS_USAGE, "there is no vessel %lld", (long long)vessel);
    query_number(journal,
                 "UPDATE vessel SET due = 0, due_for = '' WHERE id = ?"
                 " AND state IN ('discarded', 'used')",
                 "i", vessel);
    return journal_finish(journal);
}

enum status journal_set_due(struct journal *journal, int64_t vessel, int64_t day, const char *why)
{
    query_number(journal, sql_set_due, "iit", vessel, day, why);
    return journal_told(journal);
}
