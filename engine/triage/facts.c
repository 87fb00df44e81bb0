/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "triage/facts.h"

#include <string.h>

/* ---- to JSON --------------------------------------------------------------------------------- */

static json_t *number_json(const struct fact *fact, enum dimension dimension)
{
    return json_pack("{s:f, s:f, s:s}", "lo", fact->number.lo, "hi", fact->number.hi, "unit",
                     dimension_unit(dimension));
}

static json_t *row_json(const struct observable *observable, const struct fact *fact, size_t value)
{
    uint32_t bit = UINT32_C(1) << value;
    bool recalled = (fact->recalled & bit) != 0;
    const char *from = recalled ? fact->recalled_words : fact->words;
    json_t *row = json_pack("{s:s, s:s, s:b, s:s, s:s, s:b}", "sign", observable->id, "value",
                            observable->values[value].id, "seen",
                            (fact->observation.seen & bit) != 0, "from", from != NULL ? from : "",
                            "origin", origin_name(recalled ? ORIGIN_JOURNAL : fact->origin),
                            "hedged", (fact->observation.hedged & bit) != 0);

    if (row != NULL && fact->has_number &&
        json_object_set_new(row, "number", number_json(fact, observable->dimension)) != 0) {
        json_decref(row);
        return NULL;
    }
    return row;
}

json_t *facts_json(const struct triage *triage)
{
    const struct rules *rules = triage_rules(triage);
    const struct fact *facts = NULL;
    size_t count = triage_facts(triage, &facts);
    json_t *array = json_array();

    for (size_t i = 0; i < count && array != NULL; i++) {
        const struct observable *observable = &rules->observables[facts[i].observable];
        uint32_t known = facts[i].observation.seen | facts[i].observation.absent;
        for (size_t v = 0; v < observable->value_count && array != NULL; v++) {
            if ((known >> v & 1) == 0 ||
                json_array_append_new(array, row_json(observable, &facts[i], v)) == 0)
                continue;
            json_decref(array);
            array = NULL;
        }
    }
    return array;
}

/* ---- and back -------------------------------------------------------------------------------- */

static bool said_then(const json_t *row)
{
    const char *origin = json_string_value(json_object_get(row, "origin"));
    return origin == NULL || (strcmp(origin, origin_name(ORIGIN_JOURNAL)) != 0 &&
                              strcmp(origin, origin_name(ORIGIN_COMPUTED)) != 0);
}

static struct kept_fact *fact_of(struct kept_fact *facts, size_t *count, size_t observable)
{
    for (size_t i = 0; i < *count; i++)
        if (facts[i].observable == observable)
            return &facts[i];
    facts[*count] = (struct kept_fact){.observable = observable};
    return &facts[(*count)++];
}

/* A range that begins behind its end says nothing. */
static void add_number(const json_t *number, struct kept_fact *fact)
{
    const json_t *lo = json_object_get(number, "lo"), *hi = json_object_get(number, "hi");
    if (!json_is_number(lo) || !json_is_number(hi) || json_number_value(lo) > json_number_value(hi))
        return;
    fact->has_number = true;
    fact->number = (struct quantity){json_number_value(lo), json_number_value(hi), true};
}

static void add_row(const struct rules *rules, const json_t *row, struct kept_fact *facts,
                    size_t *count)
{
    const char *sign = json_string_value(json_object_get(row, "sign"));
    const char *id = json_string_value(json_object_get(row, "value"));
    int index = sign != NULL && id != NULL ? rules_observable(rules, sign) : RULES_NONE;
    int value = index != RULES_NONE ? rules_value(&rules->observables[index], id) : RULES_NONE;

    if (value == RULES_NONE || !said_then(row))
        return;
    struct kept_fact *fact = fact_of(facts, count, (size_t)index);
    uint32_t bit = UINT32_C(1) << value;
    *(json_is_true(json_object_get(row, "seen")) ? &fact->observation.seen
                                                 : &fact->observation.absent) |= bit;
    if (json_is_true(json_object_get(row, "hedged")))
        fact->observation.hedged |= bit;
    add_number(json_object_get(row, "number"), fact);
}

enum status facts_read(const struct rules *rules, const char *text, struct arena *arena,
                       const struct kept_fact **facts, size_t *count)
{
    struct kept_fact *read = arena_array(arena, rules->observable_count + 1, sizeof *read);
    json_t *array = json_loads(text[0] != '\0' ? text : "[]", 0, NULL);
    enum status status = read == NULL           ? STATUS_MEMORY
                         : json_is_array(array) ? STATUS_OK
                                                : STATUS_DATA;

    *count = 0;
    for (size_t at = 0; status == STATUS_OK && at < json_array_size(array); at++)
        add_row(rules, json_array_get(array, at), read, count);
    for (size_t i = 0; i < *count; i++) /* of a value both seen and denied, what was seen counts */
        read[i].observation.absent &= ~read[i].observation.seen;
    *facts = read;
    json_decref(array);
    return status;
}
