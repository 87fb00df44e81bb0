/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Vessels in one table: out of a journal, out of a grower's own CSV. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "review/dataset.h"
#include "rules/rules.h"
#include "support/journal_case.h"
#include "support/test.h"

/* ---- kinds ----------------------------------------------------------------------------------- */

TEST(test_kinds)
{
    static const enum factor_kind shown[] = {
        FACTOR_COOK,     FACTOR_LETHALITY, FACTOR_POSITION, FACTOR_LOT, FACTOR_BATCH,
        FACTOR_MOISTURE, FACTOR_VESSEL,    FACTOR_LID,      FACTOR_BAG, FACTOR_GRAMS};
    size_t count = 0;
    (void)state;
    for (int kind = 0; kind < FACTOR_KINDS; kind++) {
        enum factor_kind origin = factor_kinds[(enum factor_kind)kind].origin;
        assert_non_null(factor_kinds[(enum factor_kind)kind].name);
        assert_int_equal(factor_kinds[origin].origin, origin);
        count += factor_kinds[(enum factor_kind)kind].control;
    }
    /* A vessel without starter shows a bad cook, mix or sack; not a starter, session or shelf. */
    for (size_t k = 0; k < sizeof shown / sizeof *shown; k++)
        assert_true(factor_kinds[shown[k]].control);
    assert_int_equal(count, sizeof shown / sizeof *shown);
    assert_int_equal(factor_kinds[FACTOR_LETHALITY].scope, SCOPE_COOK);
    assert_int_equal(factor_kinds[FACTOR_TEMPERATURE].origin, FACTOR_PLACE);
}

/* ---- words of a table ------------------------------------------------------------------------ */

static enum status read_text(const char *text, struct arena *arena, struct diags *diags,
                             struct dataset *dataset)
{
    FILE *stream = fmemopen((void *)(uintptr_t)text, strlen(text), "rb");
    assert_non_null(stream);
    enum status status =
        dataset_from_table("t.csv", stream, NULL, &(struct dataset_wanted){20600, DAY_NONE, NULL},
                           arena, dataset, diags);
    fclose(stream);
    return status;
}

IN_A_JOURNAL(test_days)
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
        {" 2026-03-01 ", 20513},
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
    struct fixture *c = *state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char text[80];
        struct dataset dataset;
        snprintf(text, sizeof text, "lost,begun\nno,%s\n", cases[i].word);
        assert_int_equal(read_text(text, c->arena, c->diags, &dataset), STATUS_OK);
        assert_int_equal(dataset.entered[0], cases[i].day);
    }
}

/* The fate that a word says in a column of that name, beside a row that is sure to be understood. */
static uint8_t fate_in(struct fixture *c, const char *column, const char *word)
{
    char text[80];
    struct dataset dataset;
    snprintf(text, sizeof text, "%s\n%s\nok\n", column, word);
    assert_int_equal(read_text(text, c->arena, c->diags, &dataset), STATUS_OK);
    assert_int_equal(dataset.fate[1], FATE_SOUND);
    return dataset.fate[0];
}

IN_A_JOURNAL(test_fates)
{
    struct fixture *c = *state;
    struct dataset dataset;
    assert_int_equal(fate_in(c, "Lost", "yes"), FATE_UNTOLD);
    assert_int_equal(fate_in(c, "lost", "0"), FATE_SOUND);
    assert_int_equal(fate_in(c, "OK", "yes"), FATE_SOUND);
    assert_int_equal(fate_in(c, "ok", "no"), FATE_UNTOLD);
    assert_int_equal(fate_in(c, "clean", "no"), FATE_CONTAMINATED);
    assert_int_equal(fate_in(c, "fate", "Stalled"), FATE_STUCK);
    assert_int_equal(fate_in(c, "outcome", "contaminated"), FATE_CONTAMINATED);
    assert_int_equal(fate_in(c, "fate", "growing"), FATE_OPEN);
    assert_int_equal(fate_in(c, "fate", "yes"), FATE_COUNT);
    assert_int_equal(fate_in(c, "fate", "perhaps"), FATE_COUNT);
    assert_int_equal(read_text("lost, Grain_Lot ,my own\nno,a,b\n", c->arena, c->diags, &dataset),
                     STATUS_OK);
    assert_int_equal(dataset.factors[0].kind, FACTOR_LOT);
    assert_int_equal(dataset.factors[1].kind, FACTOR_OTHER);
}

/* ---- a table ---------------------------------------------------------------------------------- */

IN_A_JOURNAL(test_table)
{
    static const char text[] = "jar,lost,cook,control,started,ended,hue\n"
                               "a,yes,K1,no,2026-03-01,2026-03-05,red\n"
                               "b,no,K2,no,2026-03-01,2026-03-30,red\n"
                               "c,,K1,yes,,,blue\n";
    struct fixture *c = *state;
    struct dataset dataset;
    assert_int_equal(read_text(text, c->arena, c->diags, &dataset), STATUS_OK);
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

/* ---- a journal -------------------------------------------------------------------------------- */

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

/* Places one after the other, with the days between. */
IN_A_JOURNAL(test_moved)
{
    static const char table[] = "lost,begun,place\n"
                                "no,2026-03-01,incubator; 2026-03-11 shelf\n"
                                "yes,2026-03-01,incubator\n"
                                "no,2026-03-01, incubator ;shelf \n"
                                "no,,incubator; 2026-03-11 shelf\n";
    struct fixture *c = *state;
    struct dataset dataset;
    assert_int_equal(read_text(table, c->arena, c->diags, &dataset), STATUS_OK);
    const struct factor *place = &dataset.factors[dataset_factor(&dataset, FACTOR_PLACE)];
    assert_int_equal(place->level_count, 2);
    assert_non_null(place->stays);
    assert_int_equal(place->first_stay[1], 2);
    assert_int_equal(place->stays[1].from, 10);
    assert_string_equal(place->levels[place->stays[0].level], "incubator");
    assert_string_equal(place->levels[place->stays[1].level], "shelf");
    assert_int_equal(place->first_stay[2] - place->first_stay[1], 1);
    assert_int_equal(place->first_stay[3] - place->first_stay[2], 1); /* nobody wrote when */
    assert_string_equal(level_of(&dataset, FACTOR_PLACE, 2), "shelf");
    assert_int_equal(place->first_stay[4] - place->first_stay[3], 1);
}

/* The days before and since, by the age of each vessel and by where it stood. */
IN_A_JOURNAL(test_changes)
{
    static const char table[] = "lost,begun,ended,place\n"
                                "no,2026-02-20,2026-03-15,closet; 2026-03-06 shelf\n"
                                "yes,2026-02-20,2026-03-02,closet\n"
                                "no,2026-03-05,2026-04-01,closet\n"
                                "no,2026-02-20,2026-03-20,shelf\n"
                                "no,,,shelf\n";
    struct fixture *c = *state;
    struct dataset dataset;
    assert_int_equal(read_text(table, c->arena, c->diags, &dataset), STATUS_OK);
    size_t before = dataset.factor_count;
    const struct factor *place = &dataset.factors[dataset_factor(&dataset, FACTOR_PLACE)];
    assert_string_equal(place->levels[0], "closet");
    assert_int_equal(dataset_add_changes(&dataset,
                                         "heater died on 3 March 2026; swept; moved 3 days ago; "
                                         "on 2019-01-01 all was new; HEATER at 25",
                                         LEVEL_NONE, c->arena),
                     1);
    assert_int_equal(
        dataset_add_changes(&dataset, "heater died on 2026-03-03.", LEVEL_NONE, c->arena),
        0); /* as told before */
    assert_int_equal(dataset_add_changes(&dataset, "(4 March 2026) lamp broke here", 0, c->arena),
                     1);
    assert_int_equal(dataset.factor_count, before + 2);

    const struct factor *change = &dataset.factors[before];
    assert_string_equal(change->levels[0], "before 3 March 2026 (heater died)");
    assert_string_equal(change->levels[1], "since 3 March 2026 (heater died)");
    assert_int_equal(change->first_stay[1], 2); /* eleven days before, then since */
    assert_int_equal(change->stays[1].from, 11);
    assert_int_equal(change->level[0], 1);
    assert_int_equal(change->first_stay[2] - change->first_stay[1], 1); /* lost the day before */
    assert_int_equal(change->level[1], 0);
    assert_int_equal(change->level[2], 1);
    assert_int_equal(change->level[4], LEVEL_NONE); /* nobody knows when it began */

    change = &dataset.factors[before + 1];
    assert_string_equal(change->levels[1], "since 4 March 2026, in closet (lamp broke here)");
    assert_int_equal(change->first_stay[1], 3); /* in the closet before and since, then elsewhere */
    assert_int_equal(change->stays[1].from, 12);
    assert_int_equal(change->stays[2].from, 14);
    assert_int_equal(change->stays[2].level, LEVEL_NONE);
    assert_int_equal(change->level[3], LEVEL_NONE);
}

static struct dataset vessels_since(struct fixture *c, const struct rules *rules, int32_t since)
{
    struct dataset dataset;
    assert_int_equal(dataset_from_journal(c->journal, rules,
                                          &(struct dataset_wanted){20600, since, NULL}, c->arena,
                                          &dataset),
                     STATUS_OK);
    return dataset;
}

IN_A_JOURNAL(test_journal)
{
    struct fixture *c = *state;
    struct rules *rules = shipped(c->diags);
    struct dataset dataset;
    assert_non_null(rules);
    put(c, RECORD_STARTER, "label=S1");
    put(c, RECORD_STARTER, "label=S2");
    put(c, RECORD_PARENT, "starter=S2; parent=S1");
    put(c, RECORD_PLACE, "label=shelf; celsius=31");
    put(c, RECORD_PLACE, "label=bin; celsius=31");
    put(c, RECORD_PLACE, "label=tent; celsius=31");
    put(c, RECORD_SESSION, "label=N1");
    put(c, RECORD_BATCH, "label=B1; at=2026-03-01 18:00; starter=S2; session=N1");
    put(c, RECORD_VESSEL, "label=B1-1; batch=B1; number=1; place=shelf");
    put(c, RECORD_VESSEL, "label=B1-2; batch=B1; number=2; place=shelf; control=yes");
    put(c, RECORD_EVENT, "vessel=B1-1; kind=discard; at=2026-03-07 18:00");
    put(c, RECORD_EVENT, "vessel=B1-1; kind=move; place=bin; at=2026-03-07 18:05");

    dataset = vessels_since(c, rules, DAY_NONE);
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
    dataset = vessels_since(c, rules, 20514);
    assert_int_equal(dataset.vessel_count, 0); /* begun before */

    /* One that is moved stood in two places; the lost one was thrown where it does not count. */
    put(c, RECORD_VESSEL, "label=B1-3; batch=B1; number=3; place=shelf");
    put(c, RECORD_EVENT, "vessel=B1-3; kind=move; place=tent; at=2026-03-11 18:00");
    dataset = vessels_since(c, rules, DAY_NONE);
    const struct factor *place = &dataset.factors[dataset_factor(&dataset, FACTOR_PLACE)];
    assert_non_null(place->stays);
    assert_int_equal(place->level_count, 2);
    assert_int_equal(place->first_stay[1] - place->first_stay[0], 1);
    assert_int_equal(place->first_stay[3] - place->first_stay[2], 2);
    const struct stay *stays = &place->stays[place->first_stay[2]];
    assert_string_equal(place->levels[stays[0].level], "shelf");
    assert_string_equal(place->levels[stays[1].level], "tent");
    assert_int_equal(stays[1].from, 10);
    rules_free(rules);
}

IN_A_JOURNAL(test_empty_journal)
{
    struct fixture *c = *state;
    struct rules *rules = shipped(c->diags);
    struct dataset dataset;
    assert_non_null(rules);
    dataset = vessels_since(c, rules, DAY_NONE);
    assert_int_equal(dataset.vessel_count, 0);
    assert_int_equal(dataset.factor_count, 0);
    rules_free(rules);
}

int main(void)
{
    return tests_run("review dataset", NULL, NULL);
}
