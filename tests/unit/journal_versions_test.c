/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Journals as earlier versions wrote them are brought up to date, and lose nothing. */
#include <stdlib.h>
#include <time.h>

#include <sqlite3.h>

#include "support/journal_case.h"
#include "support/test.h"

/* Makes the file that tests/unit/journals/version-N.sql describes. */
static void make_old(const char *path, int version)
{
    char name[64], *sql;
    sqlite3 *database = NULL;
    snprintf(name, sizeof name, "tests/unit/journals/version-%d.sql", version);
    FILE *file = fopen(name, "rb");
    if (file == NULL)
        fail_msg("there is no journal of version %d to try: make %s", version, name);
    fseek(file, 0, SEEK_END);
    size_t size = (size_t)ftell(file);
    rewind(file);
    sql = calloc(size + 1, 1);
    assert_non_null(sql);
    assert_int_equal(fread(sql, 1, size, file), size);
    fclose(file);
    assert_int_equal(sqlite3_open(path, &database), SQLITE_OK);
    if (sqlite3_exec(database, sql, NULL, NULL, NULL) != SQLITE_OK)
        fail_msg("%s: %s", name, sqlite3_errmsg(database));
    sqlite3_close(database);
    free(sql);
}

static void check_contents(struct fixture *c)
{
    static const size_t counts[RECORD_COUNT] = {
        [RECORD_STARTER] = 2, [RECORD_PARENT] = 1, [RECORD_LOT] = 1,     [RECORD_COOK] = 1,
        [RECORD_SESSION] = 1, [RECORD_PLACE] = 2,  [RECORD_BATCH] = 1,   [RECORD_VESSEL] = 3,
        [RECORD_LOOK] = 3,    [RECORD_EVENT] = 2,  [RECORD_OUTCOME] = 1, [RECORD_EDIT] = 1,
    };
    struct batch batch;
    for (int record = 0; record < RECORD_COUNT; record++)
        assert_int_equal(journal_count(c->journal, (enum record)record, NULL, 0), counts[record]);
    assert_int_equal(journal_find(c->journal, RECORD_BATCH, "B1", c->arena, &batch), STATUS_OK);
    assert_string_equal(batch.note, "an invented batch");
    assert_true(batch.water == 240.5);
    assert_int_equal(batch.at.offset, 60);
}

/* What is derived must come out the same when it is derived again. */
static void check_derived(struct fixture *c)
{
    for (int64_t id = 1; id <= 3; id++) {
        struct vessel before = vessel_of(c, id);
        assert_int_equal(journal_refresh(c->journal, id), STATUS_OK);
        struct vessel after = vessel_of(c, id);
        assert_int_equal(before.state, after.state);
        assert_int_equal(before.fate, after.fate);
        assert_int_equal(before.last_look, after.last_look);
        assert_int_equal(before.stands, after.stands);
        assert_int_equal(before.ended.seconds, after.ended.seconds);
        assert_int_equal(before.due, after.due);
    }
    assert_int_equal(vessel_of(c, 1).fate, FATE_OPEN);
    assert_int_equal(vessel_of(c, 1).last_look, 3);
    assert_int_equal(vessel_of(c, 2).fate, FATE_CONTAMINATED);
    assert_int_equal(vessel_of(c, 3).stands, 2);
}

IN_A_JOURNAL(every_old_version_is_brought_up_to_date)
{
    struct fixture *c = *state;
    for (int version = 1; version <= JOURNAL_VERSION; version++) {
        char name[32];
        struct journal *reader = NULL;
        snprintf(name, sizeof name, "version-%d.db", version);
        journal_close(c->journal);
        c->journal = NULL;
        make_old(scratch_path(&c->scratch, name), version);
        enum status status =
            journal_open(scratch_path(&c->scratch, name), JOURNAL_READ, &reader, c->diags);
        assert_int_equal(status, version < JOURNAL_VERSION ? STATUS_DATA : STATUS_OK);
        journal_close(reader);
        diags_clear(c->diags);
        if (journal_open(scratch_path(&c->scratch, name), JOURNAL_WRITE, &c->journal, c->diags) !=
            STATUS_OK)
            fail_msg("version %d: %s", version, first_fault(c));
        check_contents(c);
        check_derived(c);
        add_vessel(c, 1, 4, 1); /* and it can be gone on with */
    }
}

int main(void)
{
    return tests_run("journal_versions", NULL, NULL);
}
