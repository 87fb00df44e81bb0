/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a column of a spreadsheet may be, and what its dates and words say. */
#include <ctype.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "journal/mapping_internal.h"

#define FREE DIM_NONE, WORDS_FREE

const struct mapped_field mapped_fields[MAPPED_COUNT] = {
    [MAPPED_VESSEL] = {"vessel", RECORD_VESSEL, "label", FREE,
                       "vessel|jar|bag|label|vessel id|jar id|bag id|container|unit|tag|code"},
    [MAPPED_NUMBER] = {"number", RECORD_VESSEL, "number", FREE,
                       "number|no|nr|#|bag no|jar no|vessel no|bag number|jar number|bag #|jar #"},
    [MAPPED_BATCH] = {"batch", RECORD_BATCH, "label", FREE,
                      "batch|run|batch id|batch no|run no|lot run|series|round"},
    [MAPPED_INOCULATED] = {"inoculated", RECORD_BATCH, "at", FREE,
                           "inoculated|inoculation|inoculation date|date inoculated|inoc|inoc date|"
                           "started|start|start date|date"},
    [MAPPED_SPECIES] = {"species", RECORD_BATCH, "species", DIM_NONE, WORDS_SPECIES,
                        "species|mushroom|strain|variety|culture species|kind of mushroom"},
    [MAPPED_STARTER] = {"starter", RECORD_STARTER, "label", FREE,
                        "starter|culture|lc|syringe|mother|source|inoculum|liquid culture|plate"},
    [MAPPED_STARTER_KIND] = {"starter_kind", RECORD_STARTER, "kind", DIM_NONE, WORDS_STARTER,
                             "starter kind|starter type|inoculum type|culture type"},
    [MAPPED_LOT] = {"lot", RECORD_LOT, "label", FREE,
                    "lot|grain lot|sack|grain sack|grain bag|grain batch"},
    [MAPPED_GRAIN] = {"grain", RECORD_LOT, "grain", DIM_NONE, WORDS_GRAIN,
                      "grain|grain type|substrate|kind of grain"},
    [MAPPED_COOK] = {"cook", RECORD_COOK, "label", FREE,
                     "cook|cooker run|cook run|autoclave run|pc run|load|cook no|cooker load|"
                     "steam run"},
    [MAPPED_COOKED] = {"cooked", RECORD_COOK, "at", FREE,
                       "cooked|cook date|date cooked|pc date|autoclave date|steamed"},
    [MAPPED_MINUTES] = {"minutes", RECORD_COOK, "minutes", DIM_MINUTES, WORDS_FREE,
                        "minutes|cook time|time at pressure|pc time|cook minutes|duration|min"},
    [MAPPED_GAUGE] = {"gauge", RECORD_COOK, "gauge", DIM_GAUGE_KPA, WORDS_FREE,
                      "pressure|gauge|psi|kpa|bar|cook pressure"},
    [MAPPED_SESSION] = {"session", RECORD_SESSION, "label", FREE,
                        "session|sitting|work session|inoculation session"},
    [MAPPED_PLACE] = {"place", RECORD_PLACE, "label", FREE,
                      "place|shelf|location|rack|room|tent|where|position on shelf"},
    [MAPPED_CELSIUS] = {"celsius", RECORD_PLACE, "celsius", DIM_CELSIUS, WORDS_FREE,
                        "temperature|temp|celsius|room temperature"},
    [MAPPED_KIND] = {"kind", RECORD_VESSEL, "kind", DIM_NONE, WORDS_VESSEL,
                     "vessel type|container type|vessel kind|jar size|bag size|size|type|jar type|"
                     "bag type"},
    [MAPPED_GRAMS] = {"grams", RECORD_VESSEL, "grams", DIM_GRAMS, WORDS_FREE,
                      "weight|grams|mass|wet weight|fill weight|net weight"},
    [MAPPED_CONTROL] = {"control", RECORD_VESSEL, "control", FREE,
                        "control|uninoculated|blank|control jar|control bag"},
    [MAPPED_DRY] = {"dry", RECORD_BATCH, "dry", DIM_GRAMS, WORDS_FREE,
                    "dry grain|dry weight|dry|grain weight"},
    [MAPPED_WATER] = {"water", RECORD_BATCH, "water", DIM_GRAMS, WORDS_FREE,
                      "water|water added|added water"},
    [MAPPED_DOSE] = {"dose", RECORD_BATCH, "dose", FREE, "dose|ml|amount|volume|amount of starter"},
    [MAPPED_ISOLATED] = {"isolated", RECORD_DEED, NULL, FREE, "isolated|quarantined|set apart"},
    [MAPPED_SHAKEN] = {"shaken", RECORD_DEED, NULL, FREE,
                       "shaken|shake|break and shake|shake date|date shaken|broken up"},
    [MAPPED_USED] = {"used", RECORD_DEED, NULL, FREE,
                     "used|used on|date used|spawned|spawned on|to bulk"},
    [MAPPED_DISCARDED] = {"discarded", RECORD_DEED, NULL, FREE,
                          "discarded|tossed|thrown out|binned|date discarded|discarded on"},
    [MAPPED_RESULT] = {"result", RECORD_OUTCOME, NULL, DIM_NONE, WORDS_RESULT,
                       "result|outcome|status|contamination|contam|what happened|state|finding|"
                       "verdict|fate|problem"},
    [MAPPED_ENDED] = {"ended", RECORD_OUTCOME, NULL, FREE,
                      "ended|end|end date|seen on|found on|date found|date seen|result date|"
                      "finished|date lost|lost on"},
    [MAPPED_NOTE] = {"note", RECORD_VESSEL, "note", FREE,
                     "note|notes|remarks|remark|comment|comments"},
};

enum mapped mapped_label(enum record record)
{
    for (int i = 0; i < MAPPED_COUNT; i++)
        if (mapped_fields[i].record == record && mapped_fields[i].column != NULL &&
            strcmp(mapped_fields[i].column, "label") == 0)
            return (enum mapped)i;
    return MAPPED_COUNT;
}

bool mapped_is_date(enum mapped field)
{
    const struct mapped_field *mapped = &mapped_fields[field];
    if (mapped->column == NULL)
        return mapped->words == WORDS_FREE; /* events but the result are days */
    const struct column *columns = record_types[mapped->record].columns;
    return columns[record_column(mapped->record, mapped->column)].kind == COLUMN_MOMENT;
}

/* ---- dates ----------------------------------------------------------------------------------- */

static bool month_named(const char *at, size_t length, int *month)
{
    static const char *const months[] = {"january",   "february", "march",    "april",
                                         "may",       "june",     "july",     "august",
                                         "september", "october",  "november", "december"};
    for (int i = 0; i < 12 && length >= 3; i++)
        if (strlen(months[i]) >= length && strncasecmp(months[i], at, length) == 0) {
            *month = i + 1;
            return true;
        }
    return false;
}

/* One part and what parts it from the next; NULL when there is none. */
static const char *read_part(const char *at, int *part, bool *named)
{
    *part = 0;
    *named = false;
    if (isdigit((unsigned char)*at)) {
        int digits = 0;
        for (; isdigit((unsigned char)*at) && digits < 4; digits++, at++)
            *part = *part * 10 + (*at - '0');
        if (isdigit((unsigned char)*at))
            return NULL;
    } else {
        size_t length = 0;
        while (isalpha((unsigned char)at[length]))
            length++;
        if (!month_named(at, length, part))
            return NULL;
        *named = true;
        at += length;
    }
    return at;
}

/* Reads to the end of the third part; NULL when there are not three. */
static const char *read_parts(const char *at, int parts[3], bool named[3])
{
    for (int i = 0; i < 3; i++) {
        at = read_part(at, &parts[i], &named[i]);
        if (at == NULL || i == 2)
            return at;
        size_t between = strspn(at, "./-, ");
        if (between == 0)
            return NULL;
        at += between;
    }
    return NULL;
}

bool mapped_date_parts(const char *text, int parts[3], bool named[3])
{
    return read_parts(text, parts, named) != NULL;
}

static void order_parts(const int parts[3], const bool named[3], enum date_order order, int *year,
                        int *month, int *day)
{
    static const int places[][3] = {/* of year, month and day */
                                    [DATES_ISO] = {0, 1, 2},
                                    [DATES_DAY_FIRST] = {2, 1, 0},
                                    [DATES_MONTH_FIRST] = {2, 0, 1},
                                    [DATES_YEAR_FIRST] = {0, 1, 2}};
    *year = parts[places[order][0]];
    *month = parts[places[order][1]];
    *day = parts[places[order][2]];
    if (named[0] && order == DATES_DAY_FIRST) { /* "Mar 5 2026": a name leaves no doubt */
        *month = parts[0];
        *day = parts[1];
    } else if (named[1] && order == DATES_MONTH_FIRST) {
        *month = parts[1];
        *day = parts[0];
    }
    if (*year < 100)
        *year += 2000;
}

bool mapped_date(const char *text, enum date_order order, struct moment *moment)
{
    int parts[3], year, month, day;
    bool named[3];
    char written[64];
    if (isdigit((unsigned char)text[0]) && strlen(text) >= 10 && text[4] == '-')
        return moment_read(text, moment_unknown(), moment);
    const char *end = read_parts(text, parts, named);
    if (end == NULL)
        return false;
    if (order == DATES_ISO) { /* without a word about it only a named month is beyond doubt */
        if (!named[0] && !named[1])
            return false;
        order = named[1] ? DATES_DAY_FIRST : DATES_MONTH_FIRST;
    }
    order_parts(parts, named, order, &year, &month, &day);
    end += strspn(end, " ,T");
    if (year < 1900 || year > 9999 || month < 1 || month > 12 || day < 1 || day > 31 ||
        strlen(end) > 8)
        return false;
    snprintf(written, sizeof written, "%04d-%02d-%02d%s%s%s", year, month, day,
             *end != '\0' ? "T" : "", *end != '\0' && end[1] == ':' ? "0" : "", end);
    return moment_read(written, moment_unknown(), moment);
}

/* ---- words ----------------------------------------------------------------------------------- */

const char *mapped_fold(struct arena *arena, const char *text)
{
    struct text folded;
    text_init(&folded);
    const char *result = NULL;
    if (text_fold(&folded, text, strlen(text), NULL) == TEXT_FOLD_OK && !folded.failed) {
        const char *at = folded.bytes;
        size_t length = folded.length;
        while (length > 0 && at[length - 1] == ' ')
            length--;
        while (length > 0 && *at == ' ')
            at++, length--;
        result = arena_copy(arena, at, length);
    }
    text_release(&folded);
    return result;
}

static const char *translated(const struct mapping *mapping, enum mapped field, const char *folded)
{
    for (size_t i = 0; i < mapping->translation_count; i++)
        if (mapping->translations[i].field == field &&
            strcmp(mapping->translations[i].word, folded) == 0)
            return mapping->translations[i].meaning;
    return NULL;
}

static bool is_name(struct arena *arena, const char *name, const char *folded)
{
    const char *other = name != NULL ? mapped_fold(arena, name) : NULL;
    return other != NULL && strcmp(other, folded) == 0;
}

struct named_id {
    const char *id, *name, *also;
};

/* The i-th of what a vocabulary names; false beyond the last. */
static bool entry(const struct rules *rules, enum vocabulary words, size_t i,
                  struct named_id *named)
{
    *named = (struct named_id){0};
    if (words == WORDS_SPECIES && i < rules->species_count)
        *named = (struct named_id){rules->species[i].id, rules->species[i].name,
                                   rules->species[i].latin};
    else if (words == WORDS_GRAIN && i < rules->grain_count)
        *named = (struct named_id){rules->grains[i].id, rules->grains[i].name, NULL};
    else if (words == WORDS_VESSEL && i < rules->vessel_count)
        *named = (struct named_id){rules->vessels[i].id, rules->vessels[i].name, NULL};
    else if (words == WORDS_STARTER && i < rules->starter_count)
        *named = (struct named_id){rules->starters[i].id, rules->starters[i].name, NULL};
    else if (words == WORDS_RESULT && i < rules->finding_count)
        *named = (struct named_id){rules->findings[i].id, rules->findings[i].name, NULL};
    return named->id != NULL;
}

static const char *named_in_rules(const struct rules *rules, enum vocabulary words,
                                  const char *folded, struct arena *arena)
{
    struct named_id named;
    for (size_t i = 0; entry(rules, words, i, &named); i++)
        if (strcmp(named.id, folded) == 0 || is_name(arena, named.name, folded) ||
            is_name(arena, named.also, folded))
            return named.id;
    return NULL;
}

/* The one value that the reader hears in the text as an answer to what feeds a quantity. */
static const char *heard(const struct rules *rules, struct reader *reader, enum vocabulary words,
                         const char *text, struct arena *arena)
{
    static const enum feeds feeds[] = {[WORDS_SPECIES] = FEEDS_SPECIES,
                                       [WORDS_GRAIN] = FEEDS_GRAIN,
                                       [WORDS_VESSEL] = FEEDS_VESSEL,
                                       [WORDS_STARTER] = FEEDS_STARTER_KIND};
    int observable = rules->feeder[feeds[words]];
    struct reading_list list;
    struct diags *unheard = diags_new();
    const char *id = NULL;
    if (observable == RULES_NONE || unheard == NULL ||
        reader_answer(reader, (size_t)observable, text, strlen(text), arena, &list, unheard) !=
            STATUS_OK)
        list.reading_count = 0;
    for (size_t i = 0; i < list.reading_count && id == NULL; i++) {
        const struct reading *reading = &list.readings[i];
        const struct observable *asked = &rules->observables[observable];
        if (reading->observable != (size_t)observable || reading->hedged)
            continue;
        for (size_t v = 0; v < asked->value_count; v++)
            if (reading->seen == (uint32_t)1 << v)
                id = asked->values[v].id;
    }
    diags_free(unheard);
    return id;
}

const char *mapped_word(const struct mapping *mapping, struct reader *reader, enum mapped field,
                        const char *text, struct arena *arena)
{
    enum vocabulary words = mapped_fields[field].words;
    const char *folded = mapped_fold(arena, text);
    if (folded == NULL)
        return NULL;
    const char *id = translated(mapping, field, folded);
    if (id == NULL)
        id = named_in_rules(mapping->rules, words, folded, arena);
    return id != NULL ? id : heard(mapping->rules, reader, words, text, arena);
}

/* ---- results --------------------------------------------------------------------------------- */

bool mapped_meaning(const struct rules *rules, const char *meaning, struct mapped_result *result)
{
    *result = (struct mapped_result){0};
    for (const char *at = meaning; *(at += strspn(at, " ,")) != '\0';) {
        char word[64];
        size_t length = strcspn(at, " ,");
        snprintf(word, sizeof word, "%.*s", (int)(length < sizeof word ? length : 63), at);
        int finding = rules_finding(rules, word);
        if (finding != RULES_NONE && result->finding == NULL)
            result->finding = &rules->findings[finding];
        else if (strcmp(word, "used") == 0)
            result->used = true;
        else if (strcmp(word, "discarded") == 0)
            result->discarded = true;
        else if (strcmp(word, "growing") != 0)
            return false;
        at += length;
    }
    return true;
}

bool mapped_result(const struct mapping *mapping, const char *text, struct arena *arena,
                   struct mapped_result *result)
{
    const char *folded = mapped_fold(arena, text);
    if (folded == NULL)
        return false;
    const char *meaning = translated(mapping, MAPPED_RESULT, folded);
    if (meaning == NULL)
        meaning = named_in_rules(mapping->rules, WORDS_RESULT, folded, arena);
    return mapped_meaning(mapping->rules, meaning != NULL ? meaning : folded, result);
}
