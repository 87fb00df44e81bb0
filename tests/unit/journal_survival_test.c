/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the journal survives: a process killed at any moment, many writing at
 * once, a disk that is full, a file that is damaged. Prints what was tried and
 * what was lost.
 */
#include <dirent.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>

#include "journal/exchange.h"
#include "journal/sql.h"
#include "support/journal_case.h"
#include "support/test.h"

enum { KILLS = 500, WRITERS = 8, WRITES = 200, LONGEST_LIFE = 12000 /* microseconds */ };

/* A child has no cmocka above it: it says what failed by its exit status. */
static void child_needs(bool holds)
{
    if (!holds)
        _exit(1);
}

static struct journal *child_open(const char *path, enum journal_access access,
                                  struct diags **diags)
{
    struct journal *journal = NULL;
    *diags = diags_new();
    child_needs(*diags != NULL && journal_open(path, access, &journal, *diags) == STATUS_OK);
    return journal;
}

/* Adds a vessel with a look on it in one transaction, and the look's id when it is acknowledged. */
static int64_t child_record(struct journal *journal, int64_t batch, int64_t number)
{
    struct vessel vessel;
    struct look look;
    char label[32];
    snprintf(label, sizeof label, "K%lld", (long long)number);
    record_init(RECORD_VESSEL, &vessel);
    vessel.label = label;
    vessel.batch = batch;
    vessel.number = number;
    record_init(RECORD_LOOK, &look);
    look.at = moment_of_day(20530);
    look.action = "keep";
    look.status = "clean";
    look.words = "white all over, as it should be";
    child_needs(journal_begin(journal) == STATUS_OK);
    child_needs(journal_add(journal, RECORD_VESSEL, &vessel) == STATUS_OK);
    look.vessel = vessel.id;
    child_needs(journal_add(journal, RECORD_LOOK, &look) == STATUS_OK);
    child_needs(journal_commit(journal) == STATUS_OK);
    return look.id;
}

static int64_t number_of(struct journal *journal, const char *sql)
{
    sqlite3_stmt *statement = NULL;
    assert_int_equal(sqlite3_prepare_v2(journal->database, sql, -1, &statement, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    int64_t number = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return number;
}

static void assert_sound(struct journal *journal)
{
    sqlite3_stmt *statement = NULL;
    sqlite3 *database = journal->database;
    assert_int_equal(sqlite3_prepare_v2(database, "PRAGMA integrity_check", -1, &statement, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    assert_string_equal((const char *)sqlite3_column_text(statement, 0), "ok");
    sqlite3_finalize(statement);
    assert_int_equal(sqlite3_prepare_v2(database, "PRAGMA foreign_key_check", -1, &statement, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_DONE);
    sqlite3_finalize(statement);
}

/* ---- kill -9 --------------------------------------------------------------------------------- */

/* Writes until it is killed; each acknowledged number goes down the pipe. */
static void write_till_killed(const char *path, int64_t batch, int64_t number, int pipe)
{
    struct diags *diags;
    struct journal *journal = child_open(path, JOURNAL_CREATE, &diags);
    for (;; number++) {
        child_record(journal, batch, number);
        child_needs(write(pipe, &number, sizeof number) == sizeof number);
    }
}

/*
 * One life and its end; returns the last number it acknowledged, or `before`.
 * Every other life is counted from its first acknowledged write, so that a busy
 * machine does not have all of them die in their cradles.
 */
static int64_t live_and_die(const char *path, int64_t batch, int64_t before, bool grown_up,
                            unsigned microseconds)
{
    int ends[2];
    int64_t number = 0, last = before;
    assert_int_equal(pipe(ends), 0);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        close(ends[0]);
        write_till_killed(path, batch, before + 1, ends[1]);
    }
    close(ends[1]);
    struct timespec life = {0, (long)microseconds * 1000};
    if (grown_up && read(ends[0], &number, sizeof number) == sizeof number)
        last = number;
    nanosleep(&life, NULL);
    kill(child, SIGKILL);
    while (read(ends[0], &number, sizeof number) == sizeof number)
        last = number;
    close(ends[0]);
    int status = 0;
    waitpid(child, &status, 0);
    assert_true(WIFSIGNALED(status)); /* it did not end by itself, with a fault */
    return last;
}

IN_A_JOURNAL(nothing_acknowledged_is_lost_when_it_is_killed)
{
    struct fixture *c = *state;
    const char *path = c->journal->path;
    int64_t batch = add_batch(c, "B1", 0), last = 0, acknowledged = 0;
    unsigned random = 20260301;
    struct journal *reader;
    journal_close(c->journal);
    c->journal = NULL;
    char *kept = strdup(scratch_path(&c->scratch, "journal.db"));
    path = kept;
    for (int i = 0; i < KILLS; i++) {
        random = random * 1103515245u + 12345u;
        int64_t died_at = live_and_die(path, batch, last, i % 2 == 0, (random >> 8) % LONGEST_LIFE);
        acknowledged += died_at - last;
        assert_int_equal(journal_open(path, JOURNAL_WRITE, &reader, c->diags), STATUS_OK);
        last = number_of(reader, "SELECT coalesce(max(number), 0) FROM vessel");
        /* All of it is there; at most one more was written and not yet acknowledged. */
        assert_in_range(last, died_at, died_at + 1);
        assert_int_equal(number_of(reader, "SELECT count(*) FROM vessel"), last);
        assert_int_equal(number_of(reader, "SELECT count(*) FROM look"), last);
        if (i % 25 == 0)
            assert_sound(reader);
        journal_close(reader);
    }
    assert_int_equal(journal_open(path, JOURNAL_WRITE, &c->journal, c->diags), STATUS_OK);
    free(kept);
    assert_sound(c->journal);
    print_message("# killed %d times; %lld writes acknowledged, %lld there, 0 lost, integrity ok\n",
                  KILLS, (long long)acknowledged, (long long)last);
    assert_true(acknowledged > KILLS / 4); /* or the lives were too short to try anything */
}

IN_A_JOURNAL(a_journal_killed_while_it_is_made_can_be_made)
{
    struct fixture *c = *state;
    unsigned random = 7;
    int whole = 0;
    for (int i = 0; i < 60; i++) {
        const char *path = scratch_path(&c->scratch, "new.db");
        random = random * 1103515245u + 12345u;
        pid_t child = fork();
        assert_true(child >= 0);
        if (child == 0) {
            struct diags *diags;
            journal_close(child_open(path, JOURNAL_CREATE, &diags));
            _exit(0);
        }
        struct timespec life = {0, (long)((random >> 8) % 8000) * 1000};
        nanosleep(&life, NULL);
        kill(child, SIGKILL);
        int status = 0;
        waitpid(child, &status, 0);
        whole += WIFEXITED(status);
        struct journal *journal = NULL;
        if (journal_open(path, JOURNAL_CREATE, &journal, c->diags) != STATUS_OK)
            fail_msg("after %d: %s", i, first_fault(c));
        assert_sound(journal);
        journal_close(journal);
        remove(path);
        remove(scratch_path(&c->scratch, "new.db-wal"));
        remove(scratch_path(&c->scratch, "new.db-shm"));
        remove(scratch_path(&c->scratch, "new.db-journal"));
    }
    print_message(
        "# killed 60 times while it was made (%d were done before); each could be opened\n", whole);
}

/* ---- copies that are killed half-way --------------------------------------------------------- */

/* How many files lie in a folder whose names hold a text. */
static int files_left(const char *folder, const char *holding)
{
    int count = 0;
    DIR *listing = opendir(folder);
    assert_non_null(listing);
    for (struct dirent *entry; (entry = readdir(listing)) != NULL;)
        count += strstr(entry->d_name, holding) != NULL;
    closedir(listing);
    return count;
}

/* Backs up, exports and restores until it is killed. `journal` is damaged before each restore. */
static void copy_till_killed(const char *good, const char *folder, const char *path, int turn)
{
    struct moment now = on("2026-04-01"); /* another second each time: only so many have one name */
    now.seconds += 1000 * turn;
    struct diags *diags;
    struct journal *journal = child_open(good, JOURNAL_READ, &diags);
    char *backup = text_format("%s/b.db", folder), *kept = NULL;
    char *tables = text_format("%s/out", folder);
    for (;;) {
        child_needs(backup_write(journal, backup, true) == STATUS_OK);
        child_needs(export_folder(journal, tables, true, NULL) == STATUS_OK);
        child_needs(backup_restore(good, path, now, &kept, diags) == STATUS_OK);
        free(kept);
        now.seconds++;
    }
}

IN_A_JOURNAL(killed_copies_leave_nothing_and_a_restore_leaves_a_journal)
{
    struct fixture *c = *state;
    unsigned random = 20260401;
    int left = 0;
    enum { COPIES = 120 };
    int64_t batch = add_batch(c, "B1", 0);
    for (int i = 1; i <= 40; i++)
        add_vessel(c, batch, i, 0);
    char *good = strdup(scratch_path(&c->scratch, "journal.db"));
    char *path = strdup(scratch_path(&c->scratch, "old.db"));
    char *folder = strdup(scratch_path(&c->scratch, "."));
    for (int i = 0; i < COPIES; i++) {
        FILE *damaged = fopen(path, "wb"); /* no journal at all, or one that is in use */
        assert_non_null(damaged);
        fputs("this was a journal once", damaged);
        fclose(damaged);
        pid_t child = fork();
        assert_true(child >= 0);
        if (child == 0)
            copy_till_killed(good, folder, path, i);
        random = random * 1103515245u + 12345u;
        struct timespec life = {0, (long)((random >> 8) % 40000) * 1000};
        nanosleep(&life, NULL);
        kill(child, SIGKILL);
        int status = 0;
        waitpid(child, &status, 0);
        assert_true(WIFSIGNALED(status));
        assert_int_equal(access(path, F_OK), 0);
        left += files_left(folder, ".db.");
        left -= files_left(folder, "old.db.2026");     /* what was there is kept by intention */
        left -= files_left(folder, ".db.jarside-new"); /* killed while it takes another's place */
    }
    /* The next to take that place clears away what one killed in that moment left. */
    struct journal *journal = NULL;
    char *backup = text_format("%s/b.db", folder), *tables = text_format("%s/out", folder);
    char *kept = NULL;
    assert_int_equal(journal_open(good, JOURNAL_READ, &journal, c->diags), STATUS_OK);
    assert_int_equal(backup_write(journal, backup, true), STATUS_OK);
    assert_int_equal(export_folder(journal, tables, true, NULL), STATUS_OK);
    journal_close(journal);
    assert_int_equal(backup_restore(good, path, on("2026-05-01"), &kept, c->diags), STATUS_OK);
    left += files_left(folder, "jarside-new") + files_left(tables, "jarside-new");
    free(kept);
    free(backup);
    free(tables);
    print_message(
        "# copies killed %d times: %d files left, a file at the journal's path each time\n", COPIES,
        left);
    assert_int_equal(left, 0);
    free(good);
    free(path);
    free(folder);
}

/* ---- many at once ---------------------------------------------------------------------------- */

IN_A_JOURNAL(nobody_s_writes_are_lost_nor_made_twice)
{
    struct fixture *c = *state;
    char *path = strdup(scratch_path(&c->scratch, "shared.db"));
    pid_t children[WRITERS];
    struct journal *journal;
    for (int w = 0; w < WRITERS; w++) {
        children[w] = fork();
        assert_true(children[w] >= 0);
        if (children[w] == 0) { /* each of them may be the one that makes the file */
            struct diags *diags;
            struct journal *own = child_open(path, JOURNAL_CREATE, &diags);
            struct batch batch;
            char label[16];
            snprintf(label, sizeof label, "W%d", w);
            record_init(RECORD_BATCH, &batch);
            batch.label = label;
            batch.at = moment_of_day(20530);
            child_needs(journal_add(own, RECORD_BATCH, &batch) == STATUS_OK);
            for (int i = 1; i < WRITES; i++)
                child_record(own, batch.id, w * WRITES + i);
            journal_close(own);
            _exit(0);
        }
    }
    for (int w = 0; w < WRITERS; w++) {
        int status = 0;
        waitpid(children[w], &status, 0);
        assert_true(WIFEXITED(status));
        assert_int_equal(WEXITSTATUS(status), 0);
    }
    assert_int_equal(journal_open(path, JOURNAL_WRITE, &journal, c->diags), STATUS_OK);
    assert_int_equal(journal_count(journal, RECORD_BATCH, NULL, 0), WRITERS);
    assert_int_equal(journal_count(journal, RECORD_VESSEL, NULL, 0), WRITERS * (WRITES - 1));
    assert_int_equal(number_of(journal, "SELECT count(DISTINCT label) FROM vessel"),
                     WRITERS * (WRITES - 1));
    assert_int_equal(journal_count(journal, RECORD_LOOK, NULL, 0), WRITERS * (WRITES - 1));
    assert_sound(journal);
    journal_close(journal);
    free(path);
    print_message("# %d writers made %d writes each at once: 0 lost, 0 twice, integrity ok\n",
                  WRITERS, WRITES);
}

/* ---- a full disk, a damaged file ------------------------------------------------------------- */

/* A limit on the size of files stands for a disk without room. */
IN_A_JOURNAL(a_full_disk_is_said_and_loses_nothing)
{
    struct fixture *c = *state;
    struct rlimit limit = {300 * 1024, RLIM_INFINITY}, none = {RLIM_INFINITY, RLIM_INFINITY};
    int64_t batch = add_batch(c, "B1", 0), written = 0;
    enum status status = STATUS_OK;
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
    while (status == STATUS_OK && written < 10000) {
        struct vessel vessel;
        char label[32];
        snprintf(label, sizeof label, "F%lld", (long long)written);
        record_init(RECORD_VESSEL, &vessel);
        vessel.label = label;
        vessel.batch = batch;
        vessel.number = written + 1;
        vessel.note = "one more line about the same old jar";
        status = journal_add(c->journal, RECORD_VESSEL, &vessel);
        written += status == STATUS_OK;
    }
    setrlimit(RLIMIT_FSIZE, &none);
    assert_int_equal(status, STATUS_IO);
    assert_non_null(strstr(first_fault(c), "cannot write to the journal"));
    assert_int_equal(journal_count(c->journal, RECORD_VESSEL, NULL, 0), written);
    assert_sound(c->journal);
    add_vessel(c, batch, 20000, 0); /* with room again it goes on */
    print_message("# full disk after %lld writes: said so, all of them there\n",
                  (long long)written);
}

/* Overwrites some bytes in the middle of each page but the first. */
static size_t damage(const char *path)
{
    FILE *file = fopen(path, "r+b");
    assert_non_null(file);
    fseek(file, 0, SEEK_END);
    long size = ftell(file);
    for (long at = 4096; at + 64 < size; at += 4096) {
        fseek(file, at, SEEK_SET);
        fwrite("not a page of a b-tree, not any more, whatever was here before!!", 1, 64, file);
    }
    fclose(file);
    return (size_t)size;
}

IN_A_JOURNAL(a_damaged_file_is_named_and_left_as_it_is)
{
    struct fixture *c = *state;
    struct stat before, after;
    struct batch batch;
    add_batch(c, "B1", 0);
    char *path = strdup(c->journal->path);
    journal_close(c->journal);
    c->journal = NULL;
    damage(path);
    assert_int_equal(stat(path, &before), 0);
    enum status status = journal_open(path, JOURNAL_WRITE, &c->journal, c->diags);
    if (status == STATUS_OK)
        status = journal_find(c->journal, RECORD_BATCH, "B1", c->arena, &batch);
    assert_int_equal(status, STATUS_DATA);
    assert_non_null(strstr(first_fault(c), "the file is damaged; it was left as it is. Restore"));
    journal_close(c->journal);
    c->journal = NULL;
    assert_int_equal(stat(path, &after), 0);
    assert_int_equal(before.st_size, after.st_size);
    assert_int_equal(before.st_mtim.tv_nsec, after.st_mtim.tv_nsec);
    free(path);
}

/* Not a byte can be written, and a log was left behind by a process that was killed. */
IN_A_JOURNAL(a_journal_is_read_without_room_for_a_byte)
{
    struct fixture *c = *state;
    struct rlimit limit = {0, RLIM_INFINITY}, none = {RLIM_INFINITY, RLIM_INFINITY};
    int64_t batch = add_batch(c, "B1", 0);
    char *path = strdup(c->journal->path);
    journal_close(c->journal);
    c->journal = NULL;
    int64_t last = live_and_die(path, batch, 0, true, 3000);
    remove(scratch_path(&c->scratch, "journal.db-shm"));
    struct journal *reader = NULL;
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
    enum status status = journal_open(path, JOURNAL_READ, &reader, c->diags);
    int64_t there = status == STATUS_OK ? number_of(reader, "SELECT max(number) FROM vessel") : -1;
    setrlimit(RLIMIT_FSIZE, &none);
    if (status != STATUS_OK)
        fail_msg("%s", first_fault(c));
    assert_in_range(there, last, last + 1);
    journal_close(reader);
    free(path);
}

/* Somebody writes without a log beside the journal, and is killed with pages of it half-written: a reader
 * sees what stood before, and a restore is taken, whether or not the file itself is still whole. */
IN_A_JOURNAL(what_was_half_written_is_taken_back)
{
    struct fixture *c = *state;
    char *path = strdup(c->journal->path);
    char *good = strdup(scratch_path(&c->scratch, "good.db"));
    add_batch(c, "B1", 0);
    assert_int_equal(backup_write(c->journal, good, false), STATUS_OK);
    journal_close(c->journal);
    c->journal = NULL;
    for (int damaged = 0; damaged < 2; damaged++) {
        pid_t child = fork();
        assert_true(child >= 0);
        if (child == 0) {
            sqlite3 *database = NULL;
            child_needs(sqlite3_open(path, &database) == SQLITE_OK &&
                        sqlite3_exec(database,
                                     "PRAGMA journal_mode = DELETE; PRAGMA cache_size = 5; BEGIN;"
                                     "DELETE FROM batch; CREATE TABLE filler (x);"
                                     "INSERT INTO filler WITH RECURSIVE n (i) AS (SELECT 1 UNION"
                                     " ALL SELECT i + 1 FROM n LIMIT 2000)"
                                     " SELECT randomblob(500) FROM n",
                                     NULL, NULL, NULL) == SQLITE_OK);
            raise(SIGKILL);
        }
        int status = 0;
        waitpid(child, &status, 0);
        assert_true(WIFSIGNALED(status));
        assert_int_equal(access(scratch_path(&c->scratch, "journal.db-journal"), F_OK), 0);
        if (damaged) {
            char *kept = NULL;
            FILE *file = fopen(path, "wb");
            assert_non_null(file);
            fputs("this was a journal once", file);
            fclose(file);
            if (backup_restore(good, path, on("2026-04-01"), &kept, c->diags) != STATUS_OK)
                fail_msg("%s", first_fault(c));
            free(kept);
        }
        if (journal_open(path, JOURNAL_READ, &c->journal, c->diags) != STATUS_OK)
            fail_msg("%s", first_fault(c));
        assert_int_equal(number_of(c->journal, "SELECT count(*) FROM batch"), 1);
        journal_close(c->journal);
        c->journal = NULL;
    }
    free(path);
    free(good);
}

/* Another SQLite made the backup, with pages of its own size. */
IN_A_JOURNAL(a_backup_with_pages_of_another_size_is_restored)
{
    struct fixture *c = *state;
    char *kept = NULL, *path = strdup(c->journal->path);
    char *large = strdup(scratch_path(&c->scratch, "large.db"));
    sqlite3 *database = NULL;
    struct journal *restored = NULL;
    add_batch(c, "B1", 0);
    assert_int_equal(backup_write(c->journal, large, false), STATUS_OK);
    add_batch(c, "B2", 0);
    journal_close(c->journal);
    c->journal = NULL;
    assert_int_equal(sqlite3_open(large, &database), SQLITE_OK);
    assert_int_equal(sqlite3_exec(database, "PRAGMA page_size = 8192; VACUUM", NULL, NULL, NULL),
                     SQLITE_OK);
    sqlite3_close(database);
    if (backup_restore(large, path, on("2026-04-01"), &kept, c->diags) != STATUS_OK)
        fail_msg("%s", first_fault(c));
    assert_int_equal(journal_open(path, JOURNAL_READ, &restored, c->diags), STATUS_OK);
    assert_int_equal(journal_count(restored, RECORD_BATCH, NULL, 0), 1);
    assert_int_equal(number_of(restored, "PRAGMA page_size"), 4096);
    assert_sound(restored);
    journal_close(restored);
    free(kept);
    free(path);
    free(large);
}

/* What the vessels of a batch came to; NULL when the journal says that it is damaged. */
static json_t *tally_of(struct fixture *c, const char *path)
{
    struct journal *journal = NULL;
    struct batch batch;
    json_t *tally = NULL;
    enum status status = journal_open(path, JOURNAL_READ, &journal, c->diags);
    if (status == STATUS_OK)
        status = journal_find(journal, RECORD_BATCH, "B1", c->arena, &batch);
    if (status == STATUS_OK)
        tally = query_tally(journal, RECORD_BATCH, batch.id);
    journal_close(journal);
    return tally;
}

IN_A_JOURNAL(a_damaged_journal_never_miscounts)
{
    struct fixture *c = *state;
    enum { DAMAGES = 400, PAGE = 4096 };
    static unsigned char bytes[1 << 20], page[PAGE];
    int refused = 0, right = 0, wrong = 0;
    unsigned random = 77;
    int64_t batch = add_batch(c, "B1", 0);
    for (int i = 1; i <= 60; i++) {
        int64_t vessel = add_vessel(c, batch, i, 0);
        if (i % 3 == 0)
            add_look(c, vessel, "2026-03-09T12:00:00Z", "discard", "contaminated", 0);
    }
    char *path = strdup(c->journal->path);
    journal_close(c->journal);
    c->journal = NULL;
    json_t *whole = tally_of(c, path);
    assert_non_null(whole);
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    size_t size = fread(bytes, 1, sizeof bytes, file);
    fclose(file);
    assert_in_range(size, 10 * PAGE, sizeof bytes - 1);
    char *damaged = strdup(scratch_path(&c->scratch, "damaged.db"));
    for (int i = 0; i < DAMAGES; i++) {
        unsigned choice[4];
        for (int k = 0; k < 4; k++)
            choice[k] = (random = random * 1103515245u + 12345u) >> 8;
        size_t pages = size / PAGE, at = choice[0] % pages * PAGE, from = choice[1] % pages * PAGE;
        file = fopen(damaged, "wb");
        assert_non_null(file);
        fwrite(bytes, 1, choice[3] % 5 == 4 ? at : size, file); /* cut off */
        memcpy(page, bytes + (choice[3] % 5 == 0 ? from : at),
               PAGE);           /* another page in its place */
        if (choice[3] % 5 == 1) /* or zeros from somewhere on */
            memset(page + choice[2] % PAGE, 0, PAGE - choice[2] % PAGE);
        for (unsigned k = 0; choice[3] % 5 == 2 && k < 8; k++) /* or its head */
            page[(at == 0 ? 100 : 0) + k] ^= (unsigned char)(choice[2] >> k);
        if (choice[3] % 5 == 3) /* or the list of where its cells are */
            memset(page + (at == 0 ? 100 : 0) + 8, (int)(choice[2] & 0xff), 16);
        if (choice[3] % 5 != 4) {
            fseek(file, (long)at, SEEK_SET);
            fwrite(page, 1, PAGE, file);
        }
        fclose(file);
        diags_clear(c->diags);
        json_t *tally = tally_of(c, damaged);
        bool told = tally != NULL, same = json_equal(tally, whole);
        json_decref(tally);
        refused += !told;
        right += told && same;
        wrong += told && !same;
        remove(damaged);
    }
    print_message("# of %d damaged journals %d were refused, %d answered right, %d wrong\n",
                  DAMAGES, refused, right, wrong);
    assert_int_equal(wrong, 0);
    assert_true(refused > DAMAGES / 4);
    json_decref(whole);
    free(path);
    free(damaged);
}

int main(void)
{
    return tests_run("journal_survival", NULL, NULL);
}
