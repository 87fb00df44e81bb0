/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Vessels in one table: out of a journal, out of a grower's own CSV. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "review/dataset.h"
#include "review/dataset_csv.h"
#include "rules/rules.h"
#include "support/journal_case.h"

/* ---- kinds ----------------------------------------------------------------------------------- */

static void test_kinds(void **state)
{
    static const enum factor_kind shown[] = {FACTOR_COOK,  FACTOR_LETHALITY, FACTOR_POSITION,
                                             FACTOR_LOT,   FACTOR_BATCH,     FACTOR_MOISTURE,
                                             FACTOR_VESSEL};
    size_t count = 0;
    (void)state;
    for (int kind = 0; kind < FACTOR_KINDS; kind++) {
        enum factor_kind origin = factor_kind_origin((enum factor_kind)kind);
        assert_non_null(factor_kind_name((enum factor_kind)kind));
        assert_int_equal(factor_kind_origin(origin), origin);
        count += factor_kind_control((enum factor_kind)kind);
    }
    /* A vessel without starter shows a bad cook, mix or sack; not a starter, session or shelf. */
    for (size_t k = 0; k < sizeof shown / sizeof *shown; k++)
        assert_true(factor_kind_control(shown[k]));
    assert_int_equal(count, sizeof shown / sizeof *shown);
    assert_int_equal(factor_kind_scope(FACTOR_LETHALITY), SCOPE_COOK);
    assert_int_equal(factor_kind_origin(FACTOR_TEMPERATURE), FACTOR_PLACE);
}

/* ---- words of a table ------------------------------------------------------------------------ */

static void test_days(void **state)
{
    static const struct {
        const char *word;
        int32_t day; /* DAY_NONE: none */
    } cases[] = {
        {"1970-01-01", 0},
        {"1970-03-01", 59},
        {"2000-02-29", 11016},
        {"2000-03-01", 11017},
        {"2026-03-01", 20513},
        {"2026-03-01T18:30:00+01:00", 20513},
        {"2026-03-01 18:30", 20513},
        {"2023-02-29", DAY_NONE},
        {"2100-02-29", DAY_NONE},
        {"2026-13-01", DAY_NONE},
        {"2026-00-10", DAY_NONE},
        {"1/3/2026", DAY_NONE},
        {"2026-03-0x", DAY_NONE},
        {"2026-03-01x", DAY_NONE},
        {"", DAY_NONE},
    };
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        int32_t day = DAY_NONE;
        assert_int_equal(csv_day(cases[c].word, strlen(cases[c].word), &day),
                         cases[c].day != DAY_NONE);
        assert_int_equal(day, cases[c].day);
    }
}

static uint8_t fate_in(const char *column, const char *word)
{
    struct csv_role role = csv_role_of(column);
    uint8_t fate = FATE_COUNT;
    assert_int_equal(role.use, CSV_FATE);
    (void)csv_fate(&role, word, strlen(word), &fate);
    return fate;
}

static void test_fates(void **state)
{
    (void)state;
    assert_int_equal(fate_in("Lost", "yes"), FATE_UNTOLD);
    assert_int_equal(fate_in("lost", "0"), FATE_SOUND);
    assert_int_equal(fate_in("OK", "yes"), FATE_SOUND);
    assert_int_equal(fate_in("ok", "no"), FATE_UNTOLD);
    assert_int_equal(fate_in("clean", "no"), FATE_CONTAMINATED);
    assert_int_equal(fate_in("fate", "Stalled"), FATE_STUCK);
    assert_int_equal(fate_in("outcome", "contaminated"), FATE_CONTAMINATED);
    assert_int_equal(fate_in("fate", "growing"), FATE_OPEN);
    assert_int_equal(fate_in("fate", "yes"), FATE_COUNT);
    assert_int_equal(fate_in("fate", "perhaps"), FATE_COUNT);
    assert_int_equal(csv_role_of(" Grain_Lot ").kind, FACTOR_LOT);
    assert_int_equal(csv_role_of("my own").kind, FACTOR_OTHER);
}

/* ---- a table in pieces ------------------------------------------------------------------------ */

static enum status read_pieces(const char *text, size_t piece, struct arena *arena,
                               struct diags *diags, struct dataset *dataset)
{
    struct dataset_reader *reader = dataset_reader_new("t.csv", DAY_NONE, 20600, arena, diags);
    enum status status = STATUS_OK;
    assert_non_null(reader);
    for (size_t at = 0, all = strlen(text); at < all && status == STATUS_OK; at += piece)
        status = dataset_reader_feed(reader, text + at, at + piece < all ? piece : all - at);
    if (status == STATUS_OK)
        status = dataset_reader_finish(reader, dataset);
    dataset_reader_free(reader);
    return status;
}

static void test_table(void **state)
{
    static const char text[] = "jar,lost,cook,control,started,ended,hue\n"
                               "a,yes,K1,no,2026-03-01,2026-03-05,red\n"
                               "b,no,K2,no,2026-03-01,2026-03-30,red\n"
                               "c,,K1,yes,,,blue\n";
    static const size_t pieces[] = {1000, 7};
    struct journal_case *c = *state;
    for (size_t p = 0; p < sizeof pieces / sizeof *pieces; p++) {
        struct dataset dataset;
        assert_int_equal(read_pieces(text, pieces[p], c->arena, c->diags, &dataset), STATUS_OK);
        assert_int_equal(dataset.vessel_count, 3);
        assert_string_equal(dataset.labels[1], "b");
        assert_int_equal(dataset.fate[0], FATE_UNTOLD);
        assert_int_equal(dataset.fate[2], FATE_COUNT);
        assert_true(dataset.control[2]);
        assert_int_equal(dataset.entered[0], 20513);
        assert_int_equal(dataset.ended[1], 20542);
        assert_int_equal(dataset.entered[2], DAY_NONE);
        assert_int_equal(dataset.factor_count, 2);
        assert_int_equal(dataset.factors[0].kind, FACTOR_COOK);
        assert_int_equal(dataset.factors[0].level_count, 2);
        assert_int_equal(dataset.factors[0].level[2], dataset.factors[0].level[0]);
        assert_string_equal(dataset.factors[1].name, "hue");
        assert_int_equal(dataset.batch, dataset.factor_count);
    }
}

/* ---- a journal -------------------------------------------------------------------------------- */

static int64_t add_labelled(struct journal_case *c, enum record record, const char *label)
{
    if (record == RECORD_STARTER) {
        struct starter row;
        record_init(record, &row);
        row.label = label;
        add(c, record, &row);
        return row.id;
    }
    if (record == RECORD_PLACE) {
        struct place row;
        record_init(record, &row);
        row.label = label;
        row.celsius = 31;
        add(c, record, &row);
        return row.id;
    }
    struct session row;
    record_init(record, &row);
    row.label = label;
    add(c, record, &row);
    return row.id;
}

static int64_t put_vessel(struct journal_case *c, int64_t batch, int64_t number, int64_t place,
                          bool control)
{
    struct vessel vessel;
    char label[32];
    record_init(RECORD_VESSEL, &vessel);
    snprintf(label, sizeof label, "B1-%d", (int)number);
    vessel.label = label;
    vessel.batch = batch;
    vessel.number = number;
    vessel.place = place;
    vessel.control = control;
    add(c, RECORD_VESSEL, &vessel);
    return vessel.id;
}

static void put_event(struct journal_case *c, int64_t vessel, enum event_kind kind, int64_t place,
                      const char *at)
{
    struct event event;
    record_init(RECORD_EVENT, &event);
    event.vessel = vessel;
    event.kind = kind;
    event.place = place;
    event.at = on(at);
    add(c, RECORD_EVENT, &event);
}

static struct rules *shipped(struct diags *diags)
{
    const char *folders[] = {"rules"};
    return rules_load(folders, 1, diags, NULL);
}

static const char *level_of(const struct dataset *dataset, enum factor_kind kind, size_t vessel)
{
    size_t f = dataset_factor(dataset, kind);
    if (f == dataset->factor_count || dataset->factors[f].level[vessel] == LEVEL_NONE)
        return "";
    return dataset->factors[f].levels[dataset->factors[f].level[vessel]];
}

static void test_journal(void **state)
{
    struct journal_case *c = *state;
    struct rules *rules = shipped(c->diags);
    struct dataset dataset;
    struct batch batch;
    struct parent parent;

    assert_non_null(rules);
    int64_t mother = add_labelled(c, RECORD_STARTER, "S1");
    int64_t daughter = add_labelled(c, RECORD_STARTER, "S2");
    int64_t shelf = add_labelled(c, RECORD_PLACE, "shelf");
    int64_t bin = add_labelled(c, RECORD_PLACE, "bin");
    record_init(RECORD_PARENT, &parent);
    parent.starter = daughter;
    parent.parent = mother;
    add(c, RECORD_PARENT, &parent);
    record_init(RECORD_BATCH, &batch);
    batch.label = "B1";
    batch.at = on("2026-03-01 18:00");
    batch.starter = daughter;
    batch.session = add_labelled(c, RECORD_SESSION, "N1");
    add(c, RECORD_BATCH, &batch);
    int64_t lost = put_vessel(c, batch.id, 1, shelf, false);
    put_vessel(c, batch.id, 2, shelf, true);
    put_event(c, lost, EVENT_DISCARD, 0, "2026-03-07 18:00");
    put_event(c, lost, EVENT_MOVE, bin, "2026-03-07 18:05");

    assert_int_equal(
        dataset_from_journal(c->journal, rules, DAY_NONE, 20600, c->arena, &dataset, c->diags),
        STATUS_OK);
    assert_int_equal(dataset.vessel_count, 2);
    assert_int_equal(dataset.fate[0], FATE_UNTOLD);
    assert_int_equal(dataset.ended[0] - dataset.entered[0], 6);
    assert_string_equal(level_of(&dataset, FACTOR_STARTER, 0), "S2");
    assert_string_equal(level_of(&dataset, FACTOR_STARTER, 1), ""); /* never inoculated */
    assert_string_equal(level_of(&dataset, FACTOR_SESSION, 1), "");
    assert_string_equal(level_of(&dataset, FACTOR_BATCH, 1), "B1");
    assert_string_equal(level_of(&dataset, FACTOR_PLACE, 0), "shelf"); /* where it failed */
    assert_string_not_equal(level_of(&dataset, FACTOR_TEMPERATURE, 0), "");
    /* One starter only: its mother parts the vessels no other way, and is no factor. */
    assert_int_equal(dataset_factor(&dataset, FACTOR_PARENT), dataset.factor_count);
    assert_int_equal(
        dataset_from_journal(c->journal, rules, 20514, 20600, c->arena, &dataset, c->diags),
        STATUS_OK);
    assert_int_equal(dataset.vessel_count, 0); /* begun before */
    rules_free(rules);
}

static void test_empty_journal(void **state)
{
    struct journal_case *c = *state;
    struct rules *rules = shipped(c->diags);
    struct dataset dataset;
    assert_non_null(rules);
    assert_int_equal(
        dataset_from_journal(c->journal, rules, DAY_NONE, 20600, c->arena, &dataset, c->diags),
        STATUS_OK);
    assert_int_equal(dataset.vessel_count, 0);
    assert_int_equal(dataset.factor_count, 0);
    rules_free(rules);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_kinds),
        cmocka_unit_test(test_days),
        cmocka_unit_test(test_fates),
        cmocka_unit_test_setup_teardown(test_table, journal_case_setup, journal_case_teardown),
        cmocka_unit_test_setup_teardown(test_journal, journal_case_setup, journal_case_teardown),
        cmocka_unit_test_setup_teardown(test_empty_journal, journal_case_setup,
                                        journal_case_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
