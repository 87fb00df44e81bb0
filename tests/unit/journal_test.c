/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The journal's core: records in and out, what a vessel becomes, corrections, refusals. */
#include <math.h>
#include <stdlib.h>
#include <time.h>

#include "base/text.h"
#include "journal/sql.h"
#include "support/journal_case.h"
#include "support/test.h"

/* ---- moments --------------------------------------------------------------------------------- */

TEST(moments_are_read_as_people_write_them)
{
    (void)state;
    char room[MOMENT_ROOM];
    struct moment now, moment;
    setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3", 1); /* the rule of central Europe */
    tzset();
    assert_true(moment_read("2026-03-10T18:00:00+01:00", moment_unknown(), &now));
    const char *const rows[][2] = {
        {"2026-03-01T18:30:00+01:00", "2026-03-01T18:30:00+01:00"},
        {"2026-03-01 18:30", "2026-03-01T18:30:00+01:00"},
        {"2026-07-01 18:30", "2026-07-01T18:30:00+02:00"},
        {"2026-03-01T18:30:05Z", "2026-03-01T18:30:05+00:00"},
        {"2026-03-01", "2026-03-01T12:00:00+01:00"},
        {"2026-03-29 02:30", "2026-03-29T03:30:00+02:00"}, /* the hour that the clock skips */
        {"yesterday", "2026-03-09T12:00:00+01:00"},
        {"9 days ago", "2026-03-01T12:00:00+01:00"},
        {"08:15", "2026-03-10T08:15:00+01:00"},
        {"Now", "2026-03-10T18:00:00+01:00"},
        {"2024-02-29", "2024-02-29T12:00:00+01:00"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        assert_true(moment_read(rows[i][0], now, &moment));
        assert_string_equal(moment_write(moment, room), rows[i][1]);
    }
    const char *const none[] = {"",
                                "2026-02-29",
                                "2026-13-01",
                                "26-01-01",
                                "2026-03-01T25:00",
                                "tomorrow?",
                                "2026-03-01 18:30 x",
                                "1800-01-01",
                                "-3 days ago",
                                "99999999999 days ago",
                                "2026-03-01T10:00+99:00"};
    for (size_t i = 0; i < sizeof none / sizeof *none; i++)
        assert_false(moment_read(none[i], now, &moment));
}

TEST(days_are_those_of_the_wall)
{
    (void)state;
    struct moment before, after;
    setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3", 1);
    tzset();
    /* Over the night in which summer time begins: 23 hours, and yet a day. */
    assert_true(moment_read("2026-03-28 23:30", moment_unknown(), &before));
    assert_true(moment_read("2026-03-29 00:15", moment_unknown(), &after));
    assert_int_equal(moment_days_between(before, after), 1);
    assert_int_equal(moment_day(moment_of_day(moment_day(after))), moment_day(after));
    /* Early on a day in the east is still yesterday in Greenwich. */
    assert_true(moment_read("2026-03-29T00:15:00+13:00", moment_unknown(), &after));
    assert_int_equal(moment_days_between(before, after), 1);
}

/* ---- records --------------------------------------------------------------------------------- */

IN_A_JOURNAL(a_record_comes_back_as_it_went)
{
    struct fixture *c = *state;
    struct cook cook, back;
    record_init(RECORD_COOK, &cook);
    cook.label = "C1";
    cook.gauge = 103.4213594;
    cook.minutes = 150;
    cook.facts = "venting=vented_10; DROP TABLE cook; --";
    cook.at = on("2026-02-28T09:00:00+01:00");
    cook.note = "\xe2\x80\x9cold\xe2\x80\x9d gasket '\";--<b>";
    add(c, RECORD_COOK, &cook);
    assert_int_equal(journal_find(c->journal, RECORD_COOK, "C1", c->arena, &back), STATUS_OK);
    assert_int_equal(back.id, cook.id);
    assert_string_equal(back.facts, cook.facts);
    assert_string_equal(back.note, cook.note);
    assert_true(back.gauge == cook.gauge);
    assert_true(isnan(back.altitude));
    assert_int_equal(back.at.seconds, cook.at.seconds);
    assert_int_equal(back.at.offset, 60);
    assert_string_equal(back.cooker, "");
}

IN_A_JOURNAL(every_column_survives_being_text)
{
    struct fixture *c = *state;
    int64_t cook = add_cook(c, "C1");
    struct batch batch, back;
    record_init(RECORD_BATCH, &batch);
    batch.label = "B1";
    batch.at = on("2026-03-01T12:00:00+02:00");
    batch.cook = cook;
    batch.dry = 0.1 + 0.2;
    batch.note = "";
    add(c, RECORD_BATCH, &batch);
    record_init(RECORD_BATCH, &back);
    for (const struct column *column = record_types[RECORD_BATCH].columns; column->name; column++) {
        const char *value = journal_show_column(c->journal, column, &batch, c->arena);
        assert_int_equal(journal_read_column(c->journal, column, value, c->arena, &back),
                         STATUS_OK);
    }
    assert_string_equal(back.label, "B1");
    assert_true(back.dry == batch.dry);
    assert_true(isnan(back.water));
    assert_int_equal(back.cook, cook);
    assert_int_equal(back.at.seconds, batch.at.seconds);
}

IN_A_JOURNAL(what_cannot_be_is_refused_by_name)
{
    struct fixture *c = *state;
    struct cook cook;
    struct vessel vessel;
    add_cook(c, "C1");

    record_init(RECORD_COOK, &cook);
    cook.label = "C1";
    assert_int_equal(journal_add(c->journal, RECORD_COOK, &cook), STATUS_DATA);
    assert_non_null(strstr(first_fault(c), "there is a cook 'C1' already"));
    diags_clear(c->diags);

    cook.label = "C2";
    cook.gauge = 2000;
    assert_int_equal(journal_add(c->journal, RECORD_COOK, &cook), STATUS_DATA);
    assert_non_null(
        strstr(first_fault(c), "'gauge' of this cook is 2000; it should lie from 0 to 1000"));
    diags_clear(c->diags);

    cook.gauge = NAN;
    cook.note = "bad \xff bytes";
    assert_int_equal(journal_add(c->journal, RECORD_COOK, &cook), STATUS_DATA);
    assert_non_null(strstr(first_fault(c), "'note' of this cook is not text"));
    diags_clear(c->diags);

    record_init(RECORD_VESSEL, &vessel);
    vessel.label = "V1";
    vessel.batch = 77;
    vessel.number = 1;
    assert_int_equal(journal_add(c->journal, RECORD_VESSEL, &vessel), STATUS_DATA);
    assert_non_null(
        strstr(first_fault(c), "'batch' of this vessel names a batch that is not there"));
    diags_clear(c->diags);

    assert_int_equal(journal_find(c->journal, RECORD_COOK, "C11", c->arena, &cook), STATUS_USAGE);
    assert_int_equal(journal_count(c->journal, RECORD_COOK, NULL, 0), 1);
}

IN_A_JOURNAL(a_transaction_undone_leaves_nothing)
{
    struct fixture *c = *state;
    assert_int_equal(journal_begin(c->journal), STATUS_OK);
    add_cook(c, "C1");
    journal_rollback(c->journal);
    assert_int_equal(journal_count(c->journal, RECORD_COOK, NULL, 0), 0);
    assert_int_equal(journal_begin(c->journal), STATUS_OK);
    assert_int_equal(journal_begin(c->journal), STATUS_OK);
    add_cook(c, "C1");
    assert_int_equal(journal_commit(c->journal), STATUS_OK);
    assert_int_equal(journal_commit(c->journal), STATUS_OK);
    assert_int_equal(journal_count(c->journal, RECORD_COOK, NULL, 0), 1);
    assert_int_equal(journal_commit(c->journal), STATUS_INTERNAL);
}

IN_A_JOURNAL(labels_go_on_counting)
{
    struct fixture *c = *state;
    const char *label = NULL;
    assert_int_equal(journal_next_label(c->journal, RECORD_COOK, c->arena, &label), STATUS_OK);
    assert_string_equal(label, "C1");
    add_cook(c, "C9");
    add_cook(c, "C10");
    add_cook(c, "C7 again");
    add_cook(c, "Cellar");
    assert_int_equal(journal_next_label(c->journal, RECORD_COOK, c->arena, &label), STATUS_OK);
    assert_string_equal(label, "C11");
}

IN_A_JOURNAL(a_slip_is_corrected_and_remembered)
{
    struct fixture *c = *state;
    struct moment at = on("2026-03-05");
    struct cook cook;
    struct page page;
    add_cook(c, "C1");
    assert_int_equal(journal_correct(c->journal, RECORD_COOK, "C1", "minutes", "90", at),
                     STATUS_OK);
    assert_int_equal(journal_find(c->journal, RECORD_COOK, "C1", c->arena, &cook), STATUS_OK);
    assert_true(cook.minutes == 90);
    page = journal_page(c->journal, RECORD_EDIT, NULL, 0, 0, c->arena);
    assert_int_equal(page.count, 1);
    const struct edit *edits = page.rows;
    assert_string_equal(edits[0].column, "minutes");
    assert_string_equal(edits[0].was, "");
    assert_string_equal(edits[0].became, "90");

    assert_int_equal(journal_correct(c->journal, RECORD_COOK, "C1", "minutes", "often", at),
                     STATUS_DATA);
    assert_int_equal(journal_correct(c->journal, RECORD_COOK, "C1", "minuts", "9", at),
                     STATUS_USAGE);
    assert_non_null(strstr(diags_get(c->diags, 1)->message, "did you mean 'minutes'?"));
    assert_int_equal(journal_count(c->journal, RECORD_EDIT, NULL, 0), 1);
}

/* ---- what a vessel becomes ------------------------------------------------------------------- */

IN_A_JOURNAL(looks_and_events_decide_the_fate)
{
    struct fixture *c = *state;
    int64_t batch = add_batch(c, "B1", 0), lost = add_vessel(c, batch, 1, 0),
            used = add_vessel(c, batch, 2, 0), untold = add_vessel(c, batch, 3, 0);
    add_look(c, lost, "2026-03-06T10:00:00Z", "isolate", "clean", 0);
    assert_int_equal(vessel_of(c, lost).fate, FATE_OPEN);
    add_look(c, lost, "2026-03-10T10:00:00Z", "discard", "contaminated", 0);
    add_event(c, lost, "2026-03-12T10:00:00Z", EVENT_DISCARD, 0, 0);
    assert_int_equal(vessel_of(c, lost).fate, FATE_CONTAMINATED);
    assert_int_equal(vessel_of(c, lost).state, VESSEL_DISCARDED);
    assert_int_equal(vessel_of(c, lost).ended.seconds, on("2026-03-10T10:00:00Z").seconds);

    add_look(c, used, "2026-03-10T10:00:00Z", "keep", "clean", 0);
    add_event(c, used, "2026-03-20T10:00:00Z", EVENT_USE, 0, 0);
    assert_int_equal(vessel_of(c, used).fate, FATE_SOUND);
    assert_int_equal(vessel_of(c, used).ended.seconds, on("2026-03-20T10:00:00Z").seconds);

    add_event(c, untold, "2026-03-20T10:00:00Z", EVENT_DISCARD, 0, 0);
    assert_int_equal(vessel_of(c, untold).fate, FATE_UNTOLD);
}

IN_A_JOURNAL(a_correction_takes_the_turn_of_what_it_corrects)
{
    struct fixture *c = *state;
    int64_t batch = add_batch(c, "B1", 0), vessel = add_vessel(c, batch, 1, 0);
    int64_t first = add_look(c, vessel, "2026-03-05T10:00:00Z", "discard", "contaminated", 0);
    int64_t second = add_look(c, vessel, "2026-03-09T10:00:00Z", "keep", "clean", 0);
    assert_int_equal(vessel_of(c, vessel).fate, FATE_OPEN);
    int64_t third = add_look(c, vessel, "2026-03-05T10:00:00Z", "isolate", "clean", first);
    assert_int_equal(vessel_of(c, vessel).last_look, second);
    assert_false(moment_known(vessel_of(c, vessel).ended));

    struct look look;
    record_init(RECORD_LOOK, &look);
    look.vessel = vessel;
    look.at = on("2026-03-05");
    look.action = "keep";
    look.corrects = first;
    assert_int_equal(journal_add(c->journal, RECORD_LOOK, &look), STATUS_USAGE);
    char expected[64];
    snprintf(expected, sizeof expected, "corrected already, by look %lld", (long long)third);
    assert_non_null(strstr(first_fault(c), expected));
}

IN_A_JOURNAL(an_outcome_overrules_but_not_what_comes_later)
{
    struct fixture *c = *state;
    int64_t batch = add_batch(c, "B1", 0), vessel = add_vessel(c, batch, 1, 0);
    struct outcome outcome;
    add_look(c, vessel, "2026-03-05T10:00:00Z", "discard", "contaminated", 0);
    record_init(RECORD_OUTCOME, &outcome);
    outcome.vessel = vessel;
    outcome.at = on("2026-03-08");
    outcome.finding = "healthy";
    outcome.status = "clean";
    add(c, RECORD_OUTCOME, &outcome);
    assert_int_equal(vessel_of(c, vessel).fate, FATE_SOUND);
    add_look(c, vessel, "2026-03-12T10:00:00Z", "discard", "contaminated", 0);
    assert_int_equal(vessel_of(c, vessel).fate, FATE_CONTAMINATED);
}

IN_A_JOURNAL(a_withdrawn_event_did_not_happen)
{
    struct fixture *c = *state;
    int64_t shelf = add_place(c, "shelf"), tent = add_place(c, "tent");
    int64_t batch = add_batch(c, "B1", 0), vessel = add_vessel(c, batch, 1, shelf);
    int64_t move = add_event(c, vessel, "2026-03-05T10:00:00Z", EVENT_MOVE, tent, 0);
    int64_t discard = add_event(c, vessel, "2026-03-06T10:00:00Z", EVENT_DISCARD, 0, 0);
    assert_int_equal(vessel_of(c, vessel).stands, tent);
    add_event(c, vessel, "2026-03-06T11:00:00Z", EVENT_WITHDRAW, 0, discard);
    add_event(c, vessel, "2026-03-06T11:00:00Z", EVENT_WITHDRAW, 0, move);
    assert_int_equal(vessel_of(c, vessel).state, VESSEL_GROWING);
    assert_int_equal(vessel_of(c, vessel).stands, shelf);
}

IN_A_JOURNAL(a_move_after_the_end_does_not_blame_the_new_place)
{
    struct fixture *c = *state;
    int64_t shelf = add_place(c, "shelf"), corner = add_place(c, "corner");
    int64_t batch = add_batch(c, "B1", 0), vessel = add_vessel(c, batch, 1, shelf);
    add_look(c, vessel, "2026-03-05T10:00:00Z", "discard", "contaminated", 0);
    add_event(c, vessel, "2026-03-05T11:00:00Z", EVENT_MOVE, corner, 0);
    assert_int_equal(vessel_of(c, vessel).stands, corner);
    assert_int_equal(vessel_of(c, vessel).stood, shelf);
}

IN_A_JOURNAL(a_clock_that_goes_back_does_not_change_the_order)
{
    struct fixture *c = *state;
    int64_t batch = add_batch(c, "B1", 0), vessel = add_vessel(c, batch, 1, 0);
    add_event(c, vessel, "2026-03-20T10:00:00Z", EVENT_ISOLATE, 0, 0);
    add_event(c, vessel, "2026-03-02T10:00:00Z", EVENT_RETURN, 0, 0); /* said later */
    assert_int_equal(vessel_of(c, vessel).state, VESSEL_GROWING);
}

IN_A_JOURNAL(what_is_gone_has_no_day)
{
    struct fixture *c = *state;
    struct page page;
    int64_t batch = add_batch(c, "B1", 0), day = moment_day(on("2026-03-10"));
    int64_t a = add_vessel(c, batch, 1, 0), b = add_vessel(c, batch, 2, 0),
            gone = add_vessel(c, batch, 3, 0);
    assert_int_equal(journal_set_due(c->journal, a, day + 1, "look"), STATUS_OK);
    assert_int_equal(journal_set_due(c->journal, b, day, "shake"), STATUS_OK);
    assert_int_equal(journal_set_due(c->journal, gone, day, "look"), STATUS_OK);
    add_event(c, gone, "2026-03-06T10:00:00Z", EVENT_DISCARD, 0, 0);
    page = journal_page(c->journal, RECORD_VESSEL, "state = 'growing'", 0, 0, c->arena);
    assert_int_equal(page.count, 2);
    assert_int_equal(((const struct vessel *)page_row(&page, 0))->id, a);
    assert_int_equal(((const struct vessel *)page_row(&page, 1))->id, b);
    /* Of the newest so many, the order stays, and all are counted. */
    page = journal_page(c->journal, RECORD_VESSEL, NULL, 0, 2, c->arena);
    assert_int_equal(page.total, 3);
    assert_int_equal(((const struct vessel *)page_row(&page, 0))->id, b);
    assert_int_equal(((const struct vessel *)page_row(&page, 1))->id, gone);
    assert_string_equal(vessel_of(c, b).due_for, "shake");
    assert_int_equal(vessel_of(c, gone).due, 0);
}

/* ---- files that are not right ---------------------------------------------------------------- */

static void write_file(const char *path, const char *bytes, size_t length)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    fclose(file);
}

static void refused(struct fixture *c, const char *path, enum journal_access access,
                    const char *because)
{
    struct journal *journal = NULL;
    diags_clear(c->diags);
    assert_int_not_equal(journal_open(path, access, &journal, c->diags), STATUS_OK);
    assert_null(journal);
    if (strstr(first_fault(c), because) == NULL)
        fail_msg("'%s' is not in '%s'", because, first_fault(c));
}

IN_A_JOURNAL(what_is_no_journal_is_refused_and_left_alone)
{
    struct fixture *c = *state;
    const char *path = scratch_path(&c->scratch, "other.db");
    char back[64] = "";
    sqlite3 *other = NULL;

    refused(c, path, JOURNAL_WRITE, "cannot open");
    write_file(path, "Dear diary, today the rye was wet.", 34);
    refused(c, path, JOURNAL_CREATE, "this is not a journal, or it is damaged");
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    assert_int_equal(fread(back, 1, sizeof back, file), 34);
    fclose(file);
    assert_memory_equal(back, "Dear diary", 10);
    remove(path);

    assert_int_equal(sqlite3_open(path, &other), SQLITE_OK);
    sqlite3_exec(other, "CREATE TABLE t(x)", NULL, NULL, NULL);
    sqlite3_close(other);
    refused(c, path, JOURNAL_CREATE, "a database of another program");
    refused(c, c->scratch.path, JOURNAL_CREATE, "not a journal");
}

IN_A_JOURNAL(a_newer_journal_is_refused)
{
    struct fixture *c = *state;
    const char *path = c->journal->path;
    sqlite3_exec(c->journal->database, "PRAGMA user_version = 999", NULL, NULL, NULL);
    refused(c, path, JOURNAL_WRITE, "written by a newer Jarside");
    refused(c, path, JOURNAL_READ, "written by a newer Jarside");
}

IN_A_JOURNAL(only_its_owner_may_read_it)
{
    struct fixture *c = *state;
    struct stat about;
    add_cook(c, "C1");
    assert_int_equal(stat(c->journal->path, &about), 0);
    assert_int_equal(about.st_mode & 0777, 0600);
    struct journal *deep = NULL;
    assert_int_equal(
        journal_open(scratch_path(&c->scratch, "a/b/journal.db"), JOURNAL_CREATE, &deep, c->diags),
        STATUS_OK);
    journal_close(deep);
    assert_int_equal(stat(scratch_path(&c->scratch, "a/b"), &about), 0);
    assert_int_equal(about.st_mode & 0777, 0700);
}

IN_A_JOURNAL(reading_writes_nothing)
{
    struct fixture *c = *state;
    struct journal *reader = NULL;
    add_cook(c, "C1");
    assert_int_equal(journal_open(c->journal->path, JOURNAL_READ, &reader, c->diags), STATUS_OK);
    assert_int_equal(journal_count(reader, RECORD_COOK, NULL, 0), 1);
    struct cook cook;
    record_init(RECORD_COOK, &cook);
    cook.label = "C2";
    assert_int_equal(journal_add(reader, RECORD_COOK, &cook), STATUS_IO);
    journal_close(reader);
}

int main(void)
{
    return tests_run("journal", NULL, NULL);
}
