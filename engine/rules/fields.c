/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "rules/load.h"

const struct bounds ANY = {-INFINITY, INFINITY, false, false, ""};
const struct bounds POSITIVE = {0, INFINITY, true, false, "above 0"};
const struct bounds NOT_NEGATIVE = {0, INFINITY, false, false, "of 0 or more"};
const struct bounds SHARE = {0, 1, false, false, "from 0 to 1"};
const struct bounds SHARE_ABOVE_0 = {0, 1, true, false, "above 0, up to 1"};
const struct bounds CHANCE = {0, 1, true, true, "above 0 and below 1"};
const struct bounds PER_CENT = {0, 100, false, false, "from 0 to 100"};

enum { MOST_NAMES = 64, LONGEST_ID = 63 };

/* What would be right instead of a word: the nearest of some names, or else `lead` and all of them,
 * where they are not too many. */
static const char *instead(struct loader *loader, const char *word, const char *const *names,
                           size_t count, const char *lead)
{
    if (count == 0 || count > MOST_NAMES)
        return load_suggest(loader, word, names, count, "; nothing has a name near it");
    TEXT(all);
    for (size_t i = 0; i < count; i++)
        text_printf(&all, "%s%s", i ? ", " : lead, names[i]);
    const char *list = arena_copy(loader->scratch, all.bytes, all.length);
    return load_suggest(loader, word, names, count, list);
}

/* ---- mappings -------------------------------------------------------------------------------- */

/* The number of the field with this key; when it may not be there, the count, and it is told. */
static size_t field_of(struct loader *loader, const struct shape *shape, const struct node *key)
{
    const char *names[MOST_NAMES];
    for (size_t i = 0; i < shape->count; i++) {
        names[i] = shape->fields[i].key;
        if (names[i][0] == key->text[0] && !strcmp(names[i], key->text))
            return i;
    }
    node_error(loader, key, "unknown key '%s' in %s%s", load_quote(loader, key->text), shape->what,
               instead(loader, key->text, names, shape->count, "; it may hold "));
    return shape->count;
}

void shape_clear(const struct shape *shape, void *item)
{
    for (size_t i = 0; i < shape->count; i++) {
        const struct field *field = &shape->fields[i];
        for (size_t k = 0; k < field->reals; k++)
            ((double *)field_place(field, item))[k] = field->absent;
        if (field->shape)
            shape_clear(field->shape, field_place(field, item));
    }
}

void shape_read(struct loader *loader, const struct shape *shape, const struct node *map,
                void *item)
{
    if (map->kind != NODE_MAP) {
        node_error(loader, map, "%s is %s here; it must be a mapping of keys", shape->what,
                   node_kind_names[map->kind]);
        return;
    }
    const struct node *values[MOST_NAMES + 1] = {NULL};
    for (const struct node *entry = map->first; entry; entry = entry->next)
        values[field_of(loader, shape, entry->key)] = entry;
    for (size_t i = 0; i < shape->count; i++) {
        const struct field *field = &shape->fields[i];
        const struct node *value = values[i];
        if (value && field->read)
            field->read(loader, field, value, item);
        else if (!value && field->required)
            node_error(loader, map, "%s needs '%s'; add it", shape->what, field->key);
    }
}

void *field_place(const struct field *field, void *item)
{
    return (char *)item + field->offset;
}

void field_list(const struct field *field, void *item, const void *list, size_t count)
{
    memcpy(field_place(field, item), &list, sizeof list);
    memcpy((char *)item + field->count, &count, sizeof count);
}

/* ---- single values --------------------------------------------------------------------------- */

static bool is_empty(const struct node *node)
{
    return !node->text[strspn(node->text, " \t\n")] ||
           (!node->quoted && (!strcmp(node->text, "~") || !strcmp(node->text, "null")));
}

bool expect_kind(struct loader *loader, const struct node *node, enum node_kind kind,
                 const char *key)
{
    if (node->kind == kind)
        return true;
    bool empty = node->kind == NODE_TEXT && is_empty(node);
    bool colon = node->kind == NODE_MAP && kind == NODE_TEXT;
    node_error(loader, node, "'%s' is %s; it must be %s%s", key,
               empty ? "empty" : node_kind_names[node->kind], node_kind_names[kind],
               colon ? ", in quotes if it holds a colon" : "");
    return false;
}

bool expect_text(struct loader *loader, const struct node *node, const char *key, const char **text)
{
    if (!expect_kind(loader, node, NODE_TEXT, key))
        return false;
    if (is_empty(node)) {
        node_error(loader, node, "'%s' is empty; write a text or take it out", key);
        return false;
    }
    size_t length = strlen(node->text);
    while (length && strchr(" \t\n", node->text[length - 1])) /* of a block */
        length--;
    *text = node->text[length] ? arena_copy(loader->keep, node->text, length) : node->text;
    return true;
}

/* The whole text as a finite decimal number. The program never leaves the numeric "C" locale. */
static bool parse_number(const char *text, const struct bounds *bounds, double *number)
{
    int64_t digits = 0, scale = 0;
    size_t length = 0;
    char *end = NULL;
    /* Nearly all are figures and perhaps a point: so few that they make the same, soon. */
    for (; length < 15 && (text[length] == '.' ? scale == 0 : isdigit((unsigned char)text[length]));
         length++) {
        digits = text[length] == '.' ? digits : 10 * digits + (text[length] - '0');
        scale = text[length] == '.' ? 1 : 10 * scale;
    }
    const bool plain = text[length] == '\0' && isdigit((unsigned char)text[0]);
    const double value =
        plain ? (double)digits / (double)(scale > 0 ? scale : 1) : strtod(text, &end);
    if ((!plain && (end == text || *end || text[strspn(text, "+-.0123456789eE")])) ||
        !isfinite(value) || !(bounds->low_is_out ? value > bounds->low : value >= bounds->low) ||
        !(bounds->high_is_out ? value < bounds->high : value <= bounds->high))
        return false;
    *number = value;
    return true;
}

bool expect_number(struct loader *loader, const struct node *node, const char *key,
                   const struct bounds *bounds, double *number)
{
    const bool text = node->kind == NODE_TEXT;
    if (text && parse_number(node->text, bounds, number))
        return true;
    node_error(loader, node, "'%s' is %s%s%s; it must be a number%s%s", key, text ? "'" : "",
               text ? load_quote(loader, node->text) : node_kind_names[node->kind], text ? "'" : "",
               *bounds->says ? " " : "", bounds->says);
    return false;
}

bool expect_choice(struct loader *loader, const struct node *node, const char *key,
                   const struct terms *words, size_t *choice)
{
    if (!expect_kind(loader, node, NODE_TEXT, key))
        return false;
    for (*choice = 0; *choice < words->count; ++*choice)
        if (!strcmp(words->list[*choice], node->text))
            return true;
    node_error(loader, node, "'%s' is '%s'%s", key, load_quote(loader, node->text),
               instead(loader, node->text, words->list, words->count, "; it must be one of "));
    return false;
}

bool expect_id(struct loader *loader, const struct node *key_node)
{
    const char *id = key_node->text;
    size_t length = strlen(id);
    if (*id >= 'a' && *id <= 'z' && length <= LONGEST_ID &&
        length == strspn(id, "abcdefghijklmnopqrstuvwxyz0123456789_"))
        return true;
    node_error(
        loader, key_node,
        "'%s' is not an id; an id begins with a small letter and goes on with small letters, "
        "digits and underscores, %d at most",
        load_quote(loader, id), LONGEST_ID);
    return false;
}

const struct node *expect_items(struct loader *loader, const struct node *node, const char *key,
                                size_t *count)
{
    *count = 0;
    if (node->kind == NODE_TEXT && !is_empty(node)) {
        *count = 1;
        return node;
    }
    if (!expect_kind(loader, node, NODE_LIST, key))
        return NULL;
    if (!node->count)
        node_error(loader, node, "'%s' is an empty list; take it out", key);
    *count = node->count;
    return node->first;
}

/* A word of the scale, which goes to *word, or a number. */
static bool expect_scaled(struct loader *loader, const struct node *node, const char *key,
                          enum claim_scale by, double *number, const char **word)
{
    const struct scale *scale = &loader->rules->scale;
    bool frequency = by == CLAIM_FREQUENCY;
    const struct word *list = frequency ? scale->frequency : scale->weight;
    size_t count = frequency ? scale->frequency_count : scale->weight_count;
    const struct bounds *bounds = frequency ? &CHANCE : &POSITIVE;
    const char *names[MOST_NAMES];
    *word = NULL;
    if (!expect_kind(loader, node, NODE_TEXT, key))
        return false;
    if (parse_number(node->text, bounds, number))
        return true;
    count = count < MOST_NAMES ? count : MOST_NAMES;
    for (size_t i = 0; i < count; i++) {
        names[i] = list[i].word;
        if (!strcmp(names[i], node->text)) {
            *number = list[i].number;
            *word = names[i];
            return true;
        }
    }
    const char *lead =
        arena_format(loader->scratch, "; it must be a number %s, or one of ", bounds->says);
    node_error(loader, node, "'%s' is '%s'%s", key, load_quote(loader, node->text),
               instead(loader, node->text, names, count, lead));
    return false;
}

/* ---- readers --------------------------------------------------------------------------------- */

READER(read_text)
{
    expect_text(loader, node, field->key, field_place(field, item));
}

READER(read_question)
{
    const char **place = field_place(field, item);
    if (expect_text(loader, node, field->key, place) && (*place)[strlen(*place) - 1] != '?')
        node_error(loader, node, "'%s' is not a question; it must end in a question mark",
                   field->key);
}

READER(read_numbers)
{
    const char *of = field->reals == 2 ? "low, high" : "low, central, high";
    double numbers[3] = {0};
    if (field->reals == 1) {
        expect_number(loader, node, field->key, field->bounds, field_place(field, item));
        return;
    }
    if (node->kind != NODE_LIST || node->count != field->reals) {
        node_error(loader, node, "'%s' must be a list of %zu rising numbers: %s", field->key,
                   field->reals, of);
        return;
    }
    const struct node *entry = node->first;
    for (size_t i = 0; i < field->reals; i++, entry = entry->next) {
        if (!expect_number(loader, entry, field->key, field->bounds, &numbers[i]))
            return;
        if (i && numbers[i] < numbers[i - 1]) {
            node_error(loader, entry, "'%s' falls from %g to %g; its numbers must rise: %s",
                       field->key, numbers[i - 1], numbers[i], of);
            return;
        }
    }
    memcpy(field_place(field, item), numbers, field->reals * sizeof *numbers);
}

READER(read_rank)
{
    static const struct bounds whole = {0, 9999, false, false,
                                        "from 0 to 9999, without a fraction"};
    int *place = field_place(field, item);
    double number;
    if (!expect_number(loader, node, field->key, &whole, &number))
        return;
    if (number != (int)number)
        node_error(loader, node, "'%s' is '%s'; it must be a number %s", field->key,
                   load_quote(loader, node->text), whole.says);
    *place = (int)number;
}

static const char *const said[] = {"false", "true"};
const struct terms FLAG_WORDS = {said, 2, 0};

READER(read_flag)
{
    bool *place = field_place(field, item);
    size_t choice;
    if (expect_choice(loader, node, field->key, field->words, &choice))
        *place = choice == field->words->count - 1;
}

/* Every enum of the model counts from 0 and is as wide as an int. */
_Static_assert(sizeof(enum action) == sizeof(unsigned) && sizeof(enum feeds) == sizeof(unsigned),
               "enums are stored as ints");

READER(read_choice)
{
    size_t choice;
    if (!expect_choice(loader, node, field->key, field->words, &choice))
        return;
    unsigned value = (unsigned)(choice + field->words->first);
    memcpy(field_place(field, item), &value, sizeof value);
}

READER(read_set)
{
    uint32_t *place = field_place(field, item);
    size_t count, choice;
    const struct node *entry = expect_items(loader, node, field->key, &count);
    for (; count; count--, entry = entry->next)
        if (expect_choice(loader, entry, field->key, field->words, &choice))
            *place |= UINT32_C(1) << choice;
}

READER(read_texts)
{
    size_t count, used = 0;
    const struct node *entry = expect_items(loader, node, field->key, &count);
    const char **texts = arena_array(loader->keep, count, sizeof *texts);
    for (; count; count--, entry = entry->next)
        used += expect_text(loader, entry, field->key, &texts[used]);
    field_list(field, item, texts, used);
}

READER(read_shape)
{
    shape_read(loader, field->shape, node, field_place(field, item));
}

READER(read_entries)
{
    const struct entries *entries = field->entries;
    struct field value = entries->value;
    struct names ids = {0};
    size_t count = 0;
    if (!expect_kind(loader, node, entries->kind, field->key))
        return;
    char *list = arena_array(loader->keep, node->count, entries->size);
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        char *made = list + count * entries->size;
        if (entries->head && !entries->head(loader, entry, made))
            continue;
        if (entries->shape) {
            bool listed = entries->head && entries->kind == NODE_LIST;
            const char *id = listed ? ((struct listed *)made)->id : "";
            if (*id && !names_add(&ids, id, loader->scratch, NULL))
                node_error(loader, node_entry(entry, "id"), "%s '%s' stands twice; rename one",
                           entries->shape->what + strlen("a "), id);
            shape_clear(entries->shape, made);
            shape_read(loader, entries->shape, entry, made);
        } else {
            value.key = entry->key->text;
            value.read(loader, &value, entry, made);
        }
        if (entries->check)
            entries->check(loader, entry, made);
        count++;
    }
    field_list(field, item, list, count);
    if (entries->check_all)
        entries->check_all(loader, node, list, count);
}

READER(read_index)
{
    int *place = field_place(field, item);
    size_t index;
    if (find_item(loader, field->kind, node, &index))
        *place = (int)index;
}

/* Behind what an earlier file gave the same list, as those of read_phrases are. */
READER(read_indices)
{
    size_t count = *(size_t *)((char *)item + field->count), more, index;
    size_t *indices = *(size_t **)field_place(field, item);
    const struct node *entry = expect_items(loader, node, field->key, &more);
    for (; more; more--, entry = entry->next)
        if (find_item(loader, field->kind, entry, &index))
            *arena_push(loader->keep, indices, count) = index;
    field_list(field, item, indices, count);
}

READER(read_phrases)
{
    struct phrases *phrases = field_place(field, item);
    size_t count = phrases->count, more;
    const struct node *entry = expect_items(loader, node, field->key, &more);
    for (; more; more--, entry = entry->next) {
        const char **list = arena_more(loader->keep, phrases->list, count, sizeof *list);
        struct position *at = arena_more(loader->keep, phrases->at, count, sizeof *at);
        list[count] = read_phrase(loader, entry);
        at[count] = node_at(entry);
        count += list[count] != NULL;
        *phrases = (struct phrases){list, at, count};
    }
}

READER(read_frequency)
{
    const char *word;
    expect_scaled(loader, node, field->key, CLAIM_FREQUENCY, field_place(field, item), &word);
}

READER(read_condition)
{
    struct condition *place = field_place(field, item);
    size_t used = 0;
    if (!expect_kind(loader, node, NODE_MAP, field->key))
        return;
    if (!node->count)
        node_error(loader, node, "'%s' asks for nothing; take it out", field->key);
    size_t *observables = arena_array(loader->keep, node->count, sizeof *observables);
    uint32_t *values = arena_array(loader->keep, node->count, sizeof *values);
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        size_t count, value;
        if (!find_item(loader, ITEM_OBSERVABLE, entry->key, &observables[used]))
            continue;
        const struct observable *seen = &loader->rules->observables[observables[used]];
        const struct node *each = expect_items(loader, entry, seen->id, &count);
        for (; count; count--, each = each->next)
            if (find_value(loader, seen, each, &value))
                values[used] |= UINT32_C(1) << value;
        use_values(loader, observables[used], values[used]);
        used++;
    }
    *place = (struct condition){observables, values, used};
}

/* ---- references ------------------------------------------------------------------------------ */

bool find_item(struct loader *loader, enum rule_kind kind, const struct node *node, size_t *index)
{
    const struct names *ids = &loader->rules->memory->ids[kind];
    if (node->kind != NODE_TEXT && !expect_kind(loader, node, NODE_TEXT, kind_name(kind)))
        return false;
    int found = names_find(ids, node->text);
    if (found != RULES_NONE)
        *index = (size_t)found;
    else
        node_error(loader, node, "unknown %s '%s'%s", kind_name(kind),
                   load_quote(loader, node->text),
                   instead(loader, node->text, ids->list, ids->count, "; there are "));
    return found != RULES_NONE;
}

bool find_value(struct loader *loader, const struct observable *observable, const struct node *node,
                size_t *value)
{
    const char *names[RULES_MAX_VALUES];
    if (!expect_kind(loader, node, NODE_TEXT, observable->id))
        return false;
    int found = rules_value(observable, node->text);
    if (found != RULES_NONE) {
        *value = (size_t)found;
    } else if (observable->value_count) { /* one without is broken itself, and told */
        for (size_t i = 0; i < observable->value_count; i++)
            names[i] = observable->values[i].id;
        node_error(loader, node, "unknown value '%s' of '%s'%s", load_quote(loader, node->text),
                   observable->id,
                   instead(loader, node->text, names, observable->value_count, "; there are "));
    }
    return found != RULES_NONE;
}

void use_values(struct loader *loader, size_t observable, uint32_t mask)
{
    if (loader->value_used)
        loader->value_used[observable] |= mask;
}

/* ---- citations ------------------------------------------------------------------------------- */

static const char *const MARKS[] = {"expert judgement", "common practice, no source",
                                    "from memory"};

/* A mark misspelt, or cut in two by its own comma, is no unknown source. */
static const char *mark_meant(struct loader *loader, const char *text)
{
    if (names_find(&loader->rules->memory->ids[ITEM_SOURCE], text) != RULES_NONE)
        return NULL;
    if (!strcmp(text, "common practice") || !strcmp(text, "no source"))
        return MARKS[1];
    return diag_nearest(text, MARKS, 3);
}

READER(read_citation)
{
    struct citation *place = field_place(field, item);
    struct citation citation = {0};
    bool *const flags[] = {&citation.expert_judgement, &citation.common_practice,
                           &citation.from_memory};
    size_t count;
    const struct node *entry = expect_items(loader, node, field->key, &count);
    size_t *sources = arena_array(loader->keep, count, sizeof *sources);
    if (!count)
        return;
    for (; count; count--, entry = entry->next) {
        bool text = entry->kind == NODE_TEXT, marked = false;
        for (size_t i = 0; text && i < 3; i++)
            if (!strcmp(entry->text, MARKS[i]))
                *flags[i] = marked = true;
        const char *meant = text && !marked ? mark_meant(loader, entry->text) : NULL;
        size_t index;
        if (meant) {
            node_error(loader, entry, "unknown source '%s'; write '%s', in quotes within a list",
                       load_quote(loader, entry->text), meant);
        } else if (!marked && find_item(loader, ITEM_SOURCE, entry, &index)) {
            sources[citation.count++] = index;
            if (loader->source_used)
                loader->source_used[index] = true;
        }
    }
    citation.sources = sources;
    *place = citation;
}

struct citation citation_of(struct loader *loader, const struct node *block,
                            struct citation inherited)
{
    static const struct field source = {.key = "source"};
    const struct node *node = node_entry(block, "source");
    struct citation citation = {0};
    if (!node)
        return inherited;
    read_citation(loader, &source, node, &citation);
    return citation;
}

/* ---- claims ---------------------------------------------------------------------------------- */

/* The probabilities that one-of claims give their values may exceed 1 by this much, no more. */
static const double SUM_MOST = 1.1;

/* The claims about one observable; returns how many it put at `claims`. */
static size_t block_read(struct loader *loader, const struct node *node, size_t index,
                         enum claim_scale scale, struct citation cites, struct claim *claims)
{
    const struct observable *observable = &loader->rules->observables[index];
    size_t count = 0;
    double sum = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        const char *key = entry->key->text;
        struct claim claim = {.observable = index, .cites = cites, .at = node_at(entry->key)};
        if (!strcmp(key, "source") || !find_value(loader, observable, entry->key, &claim.value))
            continue;
        use_values(loader, index, UINT32_C(1) << claim.value);
        if (!expect_scaled(loader, entry, key, scale, &claim.number, &claim.word))
            continue;
        sum += claim.number;
        claims[count++] = claim;
    }
    /* Exactly one value of a one-of holds, so what is claimed of them must leave the rest room. */
    if (scale == CLAIM_FREQUENCY && observable->kind != KIND_SEVERAL &&
        count != observable->value_count && sum > SUM_MOST)
        node_error(loader, node->key,
                   "the probabilities of '%s' add up to %.3g; exactly one value holds, so lower "
                   "them to 1, or name all its values",
                   observable->id, sum);
    return count;
}

struct claims claims_read(struct loader *loader, const struct node *node, enum claim_scale scale,
                          struct citation inherited)
{
    struct claims claims = {0};
    size_t room = 0, index;
    if (!expect_kind(loader, node, NODE_MAP, node->key->text))
        return claims;
    /* A `source` here ends all the blocks that have none of their own. */
    inherited = citation_of(loader, node, inherited);
    for (const struct node *entry = node->first; entry; entry = entry->next)
        room += entry->kind == NODE_MAP ? entry->count : 0;
    claims.list = arena_room(loader->keep, room, sizeof *claims.list);
    for (const struct node *entry = node->first; entry; entry = entry->next)
        if (strcmp(entry->key->text, "source") != 0 &&
            find_item(loader, ITEM_OBSERVABLE, entry->key, &index) &&
            expect_kind(loader, entry, NODE_MAP, entry->key->text))
            claims.count +=
                block_read(loader, entry, index, scale, citation_of(loader, entry, inherited),
                           claims.list + claims.count);
    return claims;
}

READER(read_claims)
{
    const struct citation *inherited = (void *)((char *)item + field->cites);
    struct claims claims = claims_read(loader, node, field->scale, *inherited);
    field_list(field, item, claims.list, claims.count);
}
