/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The words of somebody's sheet: what they stand for, and what became of a vessel. */
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "journal/exchange.h"
#include "rules/load.h"
#include "triage/physics.h"

#define RESULT_LEAD "result_"

const char *words_stand(const char *folded, const char *words, size_t length)
{
    for (const char *at = folded; *at != '\0'; at++)
        if (strncmp(at, words, length) == 0 && (at == folded || !isalnum((unsigned char)at[-1])) &&
            !isalnum((unsigned char)at[length]))
            return at;
    return NULL;
}

const char *fold_trimmed(struct arena *arena, const char *text)
{
    TEXT(folded);
    text_fold(&folded, text, strlen(text), NULL);
    const char *at = folded.bytes + strspn(folded.bytes, " ");
    size_t length = strlen(at);
    while (length > 0 && at[length - 1] == ' ')
        length--;
    return arena_copy(arena, at, length);
}

const char *answer_meant(const struct rules *rules, struct reader *reader, enum feeds feeds,
                         const char *text, struct arena *arena)
{
    const int asked = rules->feeder[feeds];
    struct reading_list list = {0};
    struct diags *unheard = diags_new();
    const char *id = NULL;
    if (asked != RULES_NONE && reader_answer(reader, (size_t)asked, text, strlen(text), arena,
                                             &list, unheard) != STATUS_OK)
        list.reading_count = 0;
    for (size_t i = 0; i < list.reading_count && id == NULL; i++) {
        const struct reading *reading = &list.readings[i];
        if (reading->observable == (size_t)asked && !reading->hedged &&
            __builtin_popcount(reading->seen) == 1)
            id = rules->observables[asked].values[__builtin_ctz(reading->seen)].id;
    }
    diags_free(unheard);
    return id;
}

bool size_read(const struct rules *rules, const char *words, struct meant *meant)
{
    static const double near = 0.1; /* "3 l" is no gallon to the letter */
    struct known_vessel vessel = KNOWN_VESSEL;
    if (!physics_read_vessel(rules, words, &vessel) || vessel.kind == RULES_NONE)
        return false;
    const struct vessel_kind *kind = &rules->vessels[vessel.kind];
    *meant = (struct meant){kind->id, vessel.grams, fabs(log(vessel.litres / kind->litres)) > near};
    return true;
}

struct meant word_meant(const struct rules *rules, struct reader *reader,
                        const struct column *column, const char *text, const char *told,
                        struct arena *arena)
{
    const char *words = told != NULL ? told : fold_trimmed(arena, text);
    struct meant meant = {list_id(rules, column->list, words), NAN, false};
    if (meant.id != NULL || (column->list == LIST_VESSELS && size_read(rules, words, &meant)) ||
        told != NULL)
        return meant;
    meant.id = answer_meant(rules, reader, column->feeds, text, arena);
    meant.loosely = meant.id != NULL;
    return meant;
}

bool result_is_gone(const struct result *result)
{
    return result->used || result->discarded || result->because != BECAUSE_UNTOLD;
}

/* Adds a word of a meaning, as a map writes it; false when it is none. */
static bool result_add(const struct rules *rules, const char *word, struct result *result)
{
    int finding = rules_finding(rules, word);
    if (finding != RULES_NONE) {
        if (result->finding == NULL)
            result->finding = &rules->findings[finding];
        return true;
    }
    for (int i = BECAUSE_UNTOLD + 1; because_words[i] != NULL; i++)
        if (strcmp(word, because_words[i]) == 0 && i != BECAUSE_USED && i != BECAUSE_SLIP) {
            result->because = (enum because)i;
            return true;
        }
    bool *flag = strcmp(word, "used") == 0        ? &result->used
                 : strcmp(word, "discarded") == 0 ? &result->discarded
                 : strcmp(word, "growing") == 0   ? &result->growing
                                                  : NULL;
    if (flag != NULL)
        *flag = true;
    return flag != NULL;
}

bool result_read(const struct rules *rules, const char *meaning, struct result *result)
{
    *result = (struct result){0};
    for (const char *at = meaning; *(at += strspn(at, " ,")) != '\0';) {
        char word[64];
        size_t length = strcspn(at, " ,");
        snprintf(word, sizeof word, "%.*s", (int)(length < sizeof word ? length : 63), at);
        if (!result_add(rules, word, result))
            return false;
        at += length;
    }
    return true;
}

const char *list_stands(const struct named_list *list, const char *folded)
{
    const char *found = NULL;
    for (size_t i = 0; i < list->items.count && found == NULL; i++)
        found = words_stand(folded, list->items.list[i], strlen(list->items.list[i]));
    return found;
}

/* Whether words of a result begin there: "no ..." may be what became of a vessel. */
static bool is_listed(const struct rules *rules, const char *folded)
{
    for (size_t i = 0; i < rules->language.list_count; i++)
        if (strncmp(rules->language.lists[i].id, RESULT_LEAD, strlen(RESULT_LEAD)) == 0 &&
            list_stands(&rules->language.lists[i], folded) == folded)
            return true;
    return false;
}

bool result_of_words(const struct rules *rules, const char *folded, struct result *result)
{
    bool any = false;
    *result = (struct result){0};
    for (const char *at = folded; (at = strstr(at, "no")) != NULL;
         at++) /* "not used", "no spots" */
        if ((at == folded || at[-1] == ' ') &&
            (strncmp(at, "no ", 3) == 0 || strncmp(at, "not ", 4) == 0) && !is_listed(rules, at))
            return false;
    for (size_t i = 0; i < rules->language.list_count; i++) {
        const struct named_list *list = &rules->language.lists[i];
        struct result alone = *result;
        if (strncmp(list->id, RESULT_LEAD, strlen(RESULT_LEAD)) != 0 ||
            list_stands(list, folded) == NULL ||
            !result_add(rules, list->id + strlen(RESULT_LEAD), &alone))
            continue;
        bool whole = false;
        for (size_t k = 0; k < list->items.count && !whole; k++)
            whole = strcmp(list->items.list[k], folded) == 0;
        if (alone.growing && !result->growing && !whole)
            continue; /* "fine green dust" is not fine */
        *result = alone;
        any = true;
    }
    if (result->used && result->because == BECAUSE_CONTAMINATED)
        return false; /* which of them is for the grower to say */
    /* Which kind it is says more than that it was one; what grew and was lost is lost. */
    if (result->finding != NULL && result->finding->status == FINDING_CONTAMINATED)
        result->discarded = !result->used;
    if (result->finding != NULL || (result->used && result->because != BECAUSE_UNTOLD))
        result->because = BECAUSE_UNTOLD;
    return any;
}

enum because because_of_words(const struct rules *rules, const char *words, struct arena *arena)
{
    struct result result;
    const char *folded = fold_trimmed(arena, words);
    for (int i = BECAUSE_UNTOLD + 1; because_words[i] != NULL; i++)
        if (strcmp(because_words[i], folded) == 0)
            return (enum because)i;
    if (!result_of_words(rules, folded, &result))
        return BECAUSE_UNTOLD;
    return result.finding != NULL && result.finding->status == FINDING_CONTAMINATED
               ? BECAUSE_CONTAMINATED
               : result.because;
}
