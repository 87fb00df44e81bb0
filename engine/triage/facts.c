/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "triage/triage.h"

#include <ctype.h>
#include <math.h>
#include <string.h>
#include <strings.h>

struct fact fact_heard(const struct reading *reading, enum origin origin)
{
    return (struct fact){
        .observable = reading->observable,
        .observation = {.seen = reading->seen,
                        .absent = reading->absent,
                        .hedged = reading->hedged ? reading->seen | reading->absent : 0},
        .has_number = reading->has_number,
        .number = reading->number,
        .origin = origin,
    };
}

/* Whether words stand in a text, whatever their case, with nothing on either side that is part of them. */
static bool stands_in(const char *text, const char *words, int is_part(int))
{
    const size_t length = strlen(words);
    for (const char *at = text; length > 0 && *at != '\0'; at++)
        if (strncasecmp(at, words, length) == 0 && !is_part((unsigned char)at[length]) &&
            (at == text || !is_part((unsigned char)at[-1])))
            return true;
    return false;
}

bool fact_says_more(const struct fact *longer, const struct fact *shorter)
{
    const char *word = shorter->words, *in = longer->words;
    return word != NULL && in != NULL && strchr(word, ' ') == NULL &&
           longer->observation.absent == 0 && shorter->observation.absent == 0 &&
           strlen(in) > strlen(word) && stands_in(in, word, isalpha);
}

bool fact_said(const struct fact *fact)
{
    return fact->origin != ORIGIN_JOURNAL && fact->origin != ORIGIN_COMPUTED;
}

/* Facts as JSON, and back. */

const char *const origin_names[] = {"text", "set", "answer", "computed", "journal"};

json_t *facts_json(const struct triage *triage)
{
    const struct rules *rules = triage_rules(triage);
    const struct heard all = triage_heard(triage);
    json_t *array = json_array();
    for (const struct fact *fact = all.facts; fact < all.facts + all.fact_count; fact++) {
        const struct observable *observable = &rules->observables[fact->observable];
        uint32_t known = fact->observation.seen | fact->observation.absent;
        for (size_t v = 0; v < observable->value_count; v++)
            if (known >> v & 1) {
                uint32_t bit = UINT32_C(1) << v;
                bool recalled = (fact->recalled & bit) != 0;
                json_t *row =
                    json_pack("{s:s, s:s, s:b, s:s, s:s, s:b}", "sign", observable->id, "value",
                              observable->values[v].id, "seen", (fact->observation.seen & bit) != 0,
                              "from", recalled ? fact->recalled_words : fact->words, "origin",
                              origin_names[recalled ? ORIGIN_JOURNAL : fact->origin], "hedged",
                              (fact->observation.hedged & bit) != 0);
                if (fact->has_number)
                    json_object_set_new(row, "number",
                                        json_pack("{s:f, s:f, s:s}", "lo", fact->number.lo, "hi",
                                                  fact->number.hi, "unit",
                                                  dimension_units[observable->dimension]));
                json_array_append_new(array, row);
            }
    }
    return array;
}

/* ---- readings beside one another -------------------------------------------------------------- */

bool reading_corrects(const struct reading_list *list, const struct reading *reading)
{
    uint32_t bit = reading->absent;
    if (reading->seen || reading->hedged || reading->others || !bit || bit & (bit - 1))
        return false;
    for (size_t i = 0; i < list->reading_count; i++)
        if (list->readings[i].observable == reading->observable && list->readings[i].seen & bit)
            return false;
    return true;
}

bool reading_sweeps(const struct reading_list *list, const struct reading *reading)
{
    for (size_t i = 0; i < list->reading_count; i++)
        if (list->readings[i].observable != reading->observable &&
            list->readings[i].span.start == reading->span.start &&
            list->readings[i].span.end == reading->span.end)
            return true;
    return false;
}

bool fact_count_back(struct fact *fact, const struct observable *observable, const char *behind,
                     double day)
{
    static const char ago[] = "ago";
    if (!fact->has_number || strncmp(behind + strspn(behind, " "), ago, strlen(ago)) != 0)
        return true;
    fact->number = (struct quantity){fmax(day - fact->number.hi, observable->min),
                                     fmax(day - fact->number.lo, observable->min), true};
    fact->observation.seen =
        isnan(day) ? 0 : rules_bins(observable, fact->number.lo, fact->number.hi);
    fact->observation.hedged &= fact->observation.seen;
    return fact->observation.seen != 0;
}

/* ---- corrections ----------------------------------------------------------------------------- */

bool fact_falls(const struct fact *fact, const struct rules *rules, const struct reading_list *list)
{
    const struct observable *all = rules->observables, *observable = &all[fact->observable];
    bool withdrawn = false, repeated = true;
    for (size_t i = 0; i < list->reading_count; i++) {
        const struct reading *reading = &list->readings[i];
        repeated = repeated && reading->observable != fact->observable;
        for (size_t v = 0; v < all[reading->observable].value_count; v++)
            withdrawn = withdrawn || ((reading->seen >> v & 1) && !reading->hedged &&
                                      all[reading->observable].values[v].withdraws);
    }
    for (size_t v = 0; v < observable->value_count; v++)
        repeated =
            repeated && !((fact->observation.seen >> v & 1) && observable->values[v].salient);
    TEXT(text);
    TEXT(words);
    (void)text_fold(&text, list->text, strlen(list->text), NULL);
    (void)text_fold(&words, fact->words, strlen(fact->words), NULL);
    return fact_said(fact) && ((withdrawn && observable->withdrawn) ||
                               (repeated && stands_in(text.bytes, words.bytes, isalnum)));
}

bool fact_figure(const struct fact *facts, size_t count, struct reader *reader,
                 struct reading_list *list, struct arena *arena, struct fact *corrected)
{
    const char *words = NULL;
    size_t takers = 0, taken = 0;
    for (size_t i = 0; i < list->unread_count && words == NULL; i++) {
        const struct span *span = &list->unread[i].span;
        words = arena_copy(arena, list->text + span->start, span->end - span->start);
        words = words[strcspn(words, "0123456789")] != '\0' ? words : NULL;
        taken = i;
    }
    for (size_t i = 0; i < count && words != NULL; i++) {
        struct reading_list figure;
        if (facts[i].has_number && fact_said(&facts[i]) &&
            reader_answer(reader, facts[i].observable, words, strlen(words), arena, &figure,
                          NULL) == STATUS_OK &&
            figure.reading_count == 1 && figure.readings[0].has_number &&
            figure.readings[0].observable == facts[i].observable) {
            *corrected = fact_heard(&figure.readings[0], ORIGIN_TEXT);
            corrected->words = words;
            takers++;
        }
    }
    if (takers != 1)
        return false;
    list->unread_count--;
    memmove(list->unread + taken, list->unread + taken + 1,
            (list->unread_count - taken) * sizeof *list->unread);
    return true;
}

static struct fact *fact_of(struct fact *facts, size_t *count, size_t observable)
{
    for (size_t i = 0; i < *count; i++)
        if (facts[i].observable == observable)
            return &facts[i];
    facts[*count] = (struct fact){.observable = observable, .words = ""};
    return &facts[(*count)++];
}

enum status facts_read(const struct rules *rules, const char *text, struct arena *arena,
                       const struct fact **facts, size_t *count)
{
    struct fact *read = arena_array(arena, rules->observable_count, sizeof *read);
    json_t *array = json_loads(text[0] != '\0' ? text : "[]", 0, NULL);
    enum status status = json_is_array(array) ? STATUS_OK : STATUS_DATA;
    *count = 0;
    for (size_t at = 0; at < json_array_size(array); at++) {
        const json_t *row = json_array_get(array, at);
        const char *sign = json_string_value(json_object_get(row, "sign"));
        const char *id = json_string_value(json_object_get(row, "value"));
        const char *origin = json_string_value(json_object_get(row, "origin"));
        const json_t *number = json_object_get(row, "number");
        const json_t *lo = json_object_get(number, "lo"), *hi = json_object_get(number, "hi");
        int index = sign != NULL && id != NULL ? rules_observable(rules, sign) : RULES_NONE;
        int value = index != RULES_NONE ? rules_value(&rules->observables[index], id) : RULES_NONE;
        if (value == RULES_NONE ||
            (origin != NULL && (strcmp(origin, origin_names[ORIGIN_JOURNAL]) == 0 ||
                                strcmp(origin, origin_names[ORIGIN_COMPUTED]) == 0)))
            continue;
        struct fact *fact = fact_of(read, count, (size_t)index);
        uint32_t bit = UINT32_C(1) << value;
        *(json_is_true(json_object_get(row, "seen")) ? &fact->observation.seen
                                                     : &fact->observation.absent) |= bit;
        if (json_is_true(json_object_get(row, "hedged")))
            fact->observation.hedged |= bit;
        /* A range that begins after its end says nothing. */
        if (json_is_number(lo) && json_is_number(hi) &&
            !(json_number_value(lo) > json_number_value(hi))) {
            fact->has_number = true;
            fact->number = (struct quantity){json_number_value(lo), json_number_value(hi), true};
        }
    }
    for (size_t i = 0; i < *count; i++) /* of a value both seen and denied, what was seen counts */
        read[i].observation.absent &= ~read[i].observation.seen;
    *facts = read;
    json_decref(array);
    return status;
}
