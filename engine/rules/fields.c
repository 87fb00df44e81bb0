/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rules/fields.h"

#include <limits.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

/* ==== fields ================================================================================== */

/* A mapping and the table of what may stand in it; what a single value must be. */

const struct bounds ANY = {-INFINITY, INFINITY, false, false, ""};
const struct bounds POSITIVE = {0, INFINITY, true, false, "above 0"};
const struct bounds NOT_NEGATIVE = {0, INFINITY, false, false, "of 0 or more"};
const struct bounds SHARE = {0, 1, false, false, "from 0 to 1"};
const struct bounds CHANCE = {0, 1, true, true, "above 0 and below 1"};
const struct bounds PER_CENT = {0, 100, false, false, "from 0 to 100"};

enum { MOST_FIELDS = 64, LONGEST_ID = 63 };

void node_error(struct loader *loader, const struct node *node, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    fault_add(&loader->faults, DIAG_ERROR, node_at(node), format, arguments);
    va_end(arguments);
}

void load_error(struct loader *loader, struct position at, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    fault_add(&loader->faults, DIAG_ERROR, at, format, arguments);
    va_end(arguments);
}

void load_warning(struct loader *loader, struct position at, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    fault_add(&loader->faults, DIAG_WARNING, at, format, arguments);
    va_end(arguments);
}

const char *load_quote(struct loader *loader, const char *text)
{
    return fault_quote(&loader->faults, text);
}

const char *load_nearest(const struct loader *loader, const char *word, const char *const *names,
                         size_t count)
{
    return fault_nearest(&loader->faults, word, names, count);
}

const char *load_hint(struct loader *loader, const char *nearest)
{
    return fault_hint(&loader->faults, nearest);
}

const char *names_joined(struct loader *loader, const char *const *names, size_t count)
{
    struct text text;
    text_init(&text);
    for (size_t i = 0; i < count; i++)
        text_printf(&text, "%s%s", i ? ", " : "", names[i]);
    const char *joined = text.failed ? NULL : arena_copy(loader->scratch, text.bytes, text.length);
    text_release(&text);
    return joined ? joined : "";
}

/* ---- mappings -------------------------------------------------------------------------------- */

static bool shape_has(const struct shape *shape, const char *key)
{
    for (size_t i = 0; i < shape->count; i++)
        if (!strcmp(shape->fields[i].key, key))
            return true;
    return false;
}

static void refuse_key(struct loader *loader, const struct shape *shape, const struct node *key)
{
    const char *names[MOST_FIELDS];
    size_t count = shape->count < MOST_FIELDS ? shape->count : MOST_FIELDS;
    for (size_t i = 0; i < count; i++)
        names[i] = shape->fields[i].key;
    const char *quoted = load_quote(loader, key->text);
    const char *nearest = load_nearest(loader, key->text, names, count);
    if (nearest)
        node_error(loader, key, "unknown key '%s' in %s; did you mean '%s'?", quoted, shape->what,
                   nearest);
    else
        node_error(loader, key, "unknown key '%s' in %s; it may hold %s", quoted, shape->what,
                   names_joined(loader, names, count));
}

void shape_read(struct loader *loader, const struct shape *shape, const struct node *map,
                void *item)
{
    if (map->kind != NODE_MAP) {
        node_error(loader, map, "%s is %s here; it must be a mapping of keys", shape->what,
                   node_kind_name(map));
        return;
    }
    for (const struct node *entry = map->first; entry; entry = entry->next)
        if (!shape_has(shape, entry->key->text))
            refuse_key(loader, shape, entry->key);
    for (size_t i = 0; i < shape->count; i++) {
        const struct field *field = &shape->fields[i];
        const struct node *value = node_entry(map, field->key);
        if (value)
            field->read(loader, field, value, item);
        else if (field->required)
            node_error(loader, map, "%s needs '%s'; add it", shape->what, field->key);
    }
}

void *field_place(const struct field *field, void *item)
{
    return (char *)item + field->offset;
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
    const struct node wanted = {.kind = (uint8_t)kind};
    if (node->kind == kind)
        return true;
    bool empty = node->kind == NODE_TEXT && is_empty(node);
    bool colon = node->kind == NODE_MAP && kind == NODE_TEXT;
    node_error(loader, node, "'%s' is %s; it must be %s%s", key,
               empty ? "empty" : node_kind_name(node), node_kind_name(&wanted),
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
    return *text != NULL;
}

/* The whole text as a finite decimal number. The program never leaves the numeric "C" locale. */
static bool parse_number(const char *text, double *number)
{
    char *end;
    if (!*text || text[strspn(text, "+-.0123456789eE")])
        return false;
    *number = strtod(text, &end);
    return end != text && !*end && isfinite(*number);
}

static bool within(const struct bounds *bounds, double number)
{
    return (bounds->low_is_out ? number > bounds->low : number >= bounds->low) &&
           (bounds->high_is_out ? number < bounds->high : number <= bounds->high);
}

static void refuse_number(struct loader *loader, const struct node *node, const char *key,
                          const struct bounds *bounds)
{
    const char *space = *bounds->says ? " " : "";
    if (node->kind != NODE_TEXT)
        node_error(loader, node, "'%s' is %s; it must be a number%s%s", key, node_kind_name(node),
                   space, bounds->says);
    else
        node_error(loader, node, "'%s' is '%s'; it must be a number%s%s", key,
                   load_quote(loader, node->text), space, bounds->says);
}

bool expect_number(struct loader *loader, const struct node *node, const char *key,
                   const struct bounds *bounds, double *number)
{
    double value;
    if (node->kind != NODE_TEXT || !parse_number(node->text, &value) || !within(bounds, value)) {
        refuse_number(loader, node, key, bounds);
        return false;
    }
    *number = value;
    return true;
}

bool expect_choice(struct loader *loader, const struct node *node, const char *key,
                   const struct words *words, size_t *choice)
{
    if (!expect_kind(loader, node, NODE_TEXT, key))
        return false;
    for (size_t i = 0; i < words->count; i++)
        if (!strcmp(words->list[i], node->text)) {
            *choice = i;
            return true;
        }
    const char *nearest = load_nearest(loader, node->text, words->list, words->count);
    node_error(loader, node, "'%s' is '%s'%s%s", key, load_quote(loader, node->text),
               nearest ? load_hint(loader, nearest) : "; it must be one of ",
               nearest ? "" : names_joined(loader, words->list, words->count));
    return false;
}

bool expect_id(struct loader *loader, const struct node *key_node)
{
    const char *id = key_node->text;
    size_t length = strlen(id);
    if (*id >= 'a' && *id <= 'z' && length <= LONGEST_ID &&
        length == strspn(id, "abcdefghijklmnopqrstuvwxyz0123456789_"))
        return true;
    node_error(loader, key_node,
               "'%s' is no id; an id begins with a small letter and goes on with small letters, "
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

/* The word of the scale, or NULL; then a fault with the nearest is told. */
static const struct word *scale_word(struct loader *loader, const struct node *node,
                                     const char *key, const struct word *scale, size_t scale_count,
                                     const struct bounds *bounds)
{
    const char *names[MOST_FIELDS];
    size_t count = scale_count < MOST_FIELDS ? scale_count : MOST_FIELDS;
    for (size_t i = 0; i < count; i++) {
        if (!strcmp(scale[i].word, node->text))
            return &scale[i];
        names[i] = scale[i].word;
    }
    const char *quoted = load_quote(loader, node->text);
    const char *nearest = load_nearest(loader, node->text, names, count);
    if (nearest)
        node_error(loader, node, "'%s' is '%s'; did you mean '%s'?", key, quoted, nearest);
    else
        node_error(loader, node, "'%s' is '%s'; it must be a number %s, or one of %s", key, quoted,
                   bounds->says, names_joined(loader, names, count));
    return NULL;
}

bool expect_scaled(struct loader *loader, const struct node *node, const char *key,
                   const struct word *scale, size_t scale_count, const struct bounds *bounds,
                   double *number, const char **word)
{
    *word = NULL;
    if (!expect_kind(loader, node, NODE_TEXT, key))
        return false;
    if (parse_number(node->text, number) && within(bounds, *number))
        return true;
    const struct word *found = scale_word(loader, node, key, scale, scale_count, bounds);
    if (!found)
        return false;
    *number = found->number;
    *word = found->word;
    return true;
}

/* ==== fields readers ========================================================================== */

/* The functions that a table of fields names: one for each sort of value. */

void read_later(struct loader *loader, const struct field *field, const struct node *node,
                void *item)
{
    (void)loader, (void)field, (void)node, (void)item;
}

void read_text(struct loader *loader, const struct field *field, const struct node *node,
               void *item)
{
    const char **place = field_place(field, item);
    expect_text(loader, node, field->key, place);
}

void read_question(struct loader *loader, const struct field *field, const struct node *node,
                   void *item)
{
    const char **place = field_place(field, item);
    if (!expect_text(loader, node, field->key, place))
        return;
    size_t length = strlen(*place);
    if ((*place)[length - 1] != '?')
        node_error(loader, node, "'%s' is not a question; it must end in a question mark",
                   field->key);
}

void read_number(struct loader *loader, const struct field *field, const struct node *node,
                 void *item)
{
    double *place = field_place(field, item);
    expect_number(loader, node, field->key, field->bounds, place);
}

void read_rank(struct loader *loader, const struct field *field, const struct node *node,
               void *item)
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

void read_flag(struct loader *loader, const struct field *field, const struct node *node,
               void *item)
{
    static const char *const names[] = {"false", "true"};
    static const struct words words = {names, 2};
    bool *place = field_place(field, item);
    size_t choice;
    if (expect_choice(loader, node, field->key, &words, &choice))
        *place = choice == 1;
}

/* Every enum of the model counts from 0 and is as wide as an int. */
_Static_assert(sizeof(enum action) == sizeof(unsigned) && sizeof(enum feeds) == sizeof(unsigned),
               "enums are stored as ints");

void read_choice(struct loader *loader, const struct field *field, const struct node *node,
                 void *item)
{
    size_t choice;
    if (!expect_choice(loader, node, field->key, field->words, &choice))
        return;
    unsigned value = (unsigned)choice;
    memcpy(field_place(field, item), &value, sizeof value);
}

void read_set(struct loader *loader, const struct field *field, const struct node *node, void *item)
{
    uint32_t *place = field_place(field, item);
    size_t count, choice;
    const struct node *entry = expect_items(loader, node, field->key, &count);
    for (; count; count--, entry = entry->next)
        if (expect_choice(loader, entry, field->key, field->words, &choice))
            *place |= UINT32_C(1) << choice;
}

void read_texts(struct loader *loader, const struct field *field, const struct node *node,
                void *item)
{
    size_t count;
    const struct node *entry = expect_items(loader, node, field->key, &count);
    const char **texts = count ? arena_array(loader->keep, count, sizeof *texts) : NULL;
    if (!texts)
        return;
    size_t used = 0;
    for (; count; count--, entry = entry->next)
        if (expect_text(loader, entry, field->key, &texts[used]))
            used++;
    *(const char *const **)field_place(field, item) = texts;
    *(size_t *)(void *)((char *)item + field->count) = used;
}

/* `count` rising numbers. */
static bool read_rising(struct loader *loader, const struct field *field, const struct node *node,
                        double *numbers, size_t count, const char *of)
{
    if (node->kind != NODE_LIST || node->count != count) {
        node_error(loader, node, "'%s' must be a list of %zu rising numbers: %s", field->key, count,
                   of);
        return false;
    }
    const struct node *entry = node->first;
    for (size_t i = 0; i < count; i++, entry = entry->next) {
        if (!expect_number(loader, entry, field->key, field->bounds, &numbers[i]))
            return false;
        if (i && numbers[i] < numbers[i - 1]) {
            node_error(loader, entry, "'%s' falls from %g to %g; its numbers must rise: %s",
                       field->key, numbers[i - 1], numbers[i], of);
            return false;
        }
    }
    return true;
}

void read_pair(struct loader *loader, const struct field *field, const struct node *node,
               void *item)
{
    double numbers[2];
    if (!read_rising(loader, field, node, numbers, 2, "low, high"))
        return;
    *(double *)field_place(field, item) = numbers[0];
    *(double *)(void *)((char *)item + field->count) = numbers[1];
}

void read_range(struct loader *loader, const struct field *field, const struct node *node,
                void *item)
{
    double numbers[3];
    if (read_rising(loader, field, node, numbers, 3, "low, central, high"))
        *(struct range *)field_place(field, item) =
            (struct range){numbers[0], numbers[1], numbers[2]};
}

void read_shape(struct loader *loader, const struct field *field, const struct node *node,
                void *item)
{
    shape_read(loader, field->shape, node, item);
}

void read_index(struct loader *loader, const struct field *field, const struct node *node,
                void *item)
{
    int *place = field_place(field, item);
    size_t index;
    if (find_item(loader, field->kind, node, &index))
        *place = (int)index;
}

void read_indices(struct loader *loader, const struct field *field, const struct node *node,
                  void *item)
{
    size_t count;
    const struct node *entry = expect_items(loader, node, field->key, &count);
    size_t *indices = count ? arena_array(loader->keep, count, sizeof *indices) : NULL;
    if (!indices)
        return;
    size_t used = 0;
    for (; count; count--, entry = entry->next)
        if (find_item(loader, field->kind, entry, &indices[used]))
            used++;
    *(const size_t **)field_place(field, item) = indices;
    *(size_t *)(void *)((char *)item + field->count) = used;
}

/* Behind what an earlier file gave the same list. */
void read_phrases(struct loader *loader, const struct field *field, const struct node *node,
                  void *item)
{
    struct phrases *phrases = field_place(field, item);
    size_t count = phrases->count, more;
    const struct node *entry = expect_items(loader, node, field->key, &more);
    const char **list =
        more ? arena_grow(loader->keep, phrases->list, count, count + more, sizeof *list) : NULL;
    struct position *at =
        list ? arena_grow(loader->keep, phrases->at, count, count + more, sizeof *at) : NULL;
    if (!at)
        return;
    for (; more; more--, entry = entry->next) {
        list[count] = phrase_expand(loader, entry);
        at[count] = node_at(entry);
        count += list[count] != NULL;
    }
    *phrases = (struct phrases){list, at, count};
}

void read_frequency(struct loader *loader, const struct field *field, const struct node *node,
                    void *item)
{
    const struct scale *scale = &loader->rules->scale;
    const char *word;
    double *place = field_place(field, item);
    expect_scaled(loader, node, field->key, scale->frequency, scale->frequency_count, &CHANCE,
                  place, &word);
}

/* ---- conditions ------------------------------------------------------------------------------ */

static uint32_t values_mask(struct loader *loader, size_t observable, const struct node *node)
{
    const struct observable *seen = &loader->rules->observables[observable];
    uint32_t mask = 0;
    size_t count, value;
    const struct node *entry = expect_items(loader, node, seen->id, &count);
    for (; count; count--, entry = entry->next)
        if (find_value(loader, seen, entry, &value))
            mask |= UINT32_C(1) << value;
    use_values(loader, observable, mask);
    return mask;
}

void read_condition(struct loader *loader, const struct field *field, const struct node *node,
                    void *item)
{
    struct condition *place = field_place(field, item);
    if (!expect_kind(loader, node, NODE_MAP, field->key))
        return;
    if (!node->count)
        node_error(loader, node, "'%s' asks for nothing; take it out", field->key);
    size_t *observables = arena_array(loader->keep, node->count, sizeof *observables);
    uint32_t *values = arena_array(loader->keep, node->count, sizeof *values);
    if (!observables || !values)
        return;
    size_t used = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next)
        if (find_item(loader, ITEM_OBSERVABLE, entry->key, &observables[used])) {
            values[used] = values_mask(loader, observables[used], entry);
            used++;
        }
    *place = (struct condition){observables, values, used};
}

/* ==== references ============================================================================== */

/* Ids as they are written -> the index of what they name. */

enum { FEW = RULES_MAX_VALUES }; /* names that a message lists */

/* What would be right instead of `name`: the nearest, or all when they are few. */
static const char *instead(struct loader *loader, const char *name, const char *const *names,
                           size_t count)
{
    const char *nearest = load_nearest(loader, name, names, count);
    const char *listed = NULL;
    if (nearest)
        return load_hint(loader, nearest);
    if (count && count <= FEW)
        listed =
            arena_format(loader->scratch, "; there are %s", names_joined(loader, names, count));
    return listed ? listed : "; nothing has a name near it";
}

bool find_item(struct loader *loader, enum item_kind kind, const struct node *node, size_t *index)
{
    const struct names *ids = &loader->rules->memory->ids[kind];
    if (!expect_kind(loader, node, NODE_TEXT, item_kind_name(kind)))
        return false;
    int found = names_find(ids, node->text);
    if (found == RULES_NONE) {
        node_error(loader, node, "unknown %s '%s'%s", item_kind_name(kind),
                   load_quote(loader, node->text),
                   instead(loader, node->text, ids->list, ids->count));
        return false;
    }
    *index = (size_t)found;
    return true;
}

static void refuse_value(struct loader *loader, const struct observable *observable,
                         const struct node *node)
{
    const char *names[RULES_MAX_VALUES];
    for (size_t i = 0; i < observable->value_count; i++)
        names[i] = observable->values[i].id;
    node_error(loader, node, "unknown value '%s' of '%s'%s", load_quote(loader, node->text),
               observable->id, instead(loader, node->text, names, observable->value_count));
}

bool find_value(struct loader *loader, const struct observable *observable, const struct node *node,
                size_t *value)
{
    if (!expect_kind(loader, node, NODE_TEXT, observable->id))
        return false;
    int found = rules_value(observable, node->text);
    if (found != RULES_NONE)
        *value = (size_t)found;
    else if (observable->value_count) /* one without is broken itself, and told */
        refuse_value(loader, observable, node);
    return found != RULES_NONE;
}

void use_values(struct loader *loader, size_t observable, uint32_t mask)
{
    if (loader->value_used)
        loader->value_used[observable] |= mask;
}

/* ==== claims ================================================================================== */

/* Blocks of claims: how often, or how much more often, a value is seen. */

/* The probabilities that one-of claims give their values may exceed 1 by this much, no more. */
static const double SUM_MOST = 1.1;

struct block { /* the claims about one observable */
    struct loader *loader;
    const struct observable *observable;
    size_t index;
    enum claim_scale scale;
    struct citation cites;
};

static bool is_source(const struct node *entry)
{
    return !strcmp(entry->key->text, "source");
}

/* Room for all claims there can be: a few too many where a block has its own source. */
static size_t count_claims(const struct node *block)
{
    size_t count = 0;
    for (const struct node *entry = block->first; entry; entry = entry->next)
        if (!is_source(entry) && entry->kind == NODE_MAP)
            count += entry->count;
    return count;
}

static bool claim_read(const struct block *block, const struct node *entry, struct claim *claim)
{
    struct loader *loader = block->loader;
    const struct scale *scale = &loader->rules->scale;
    *claim = (struct claim){
        .observable = block->index, .cites = block->cites, .at = node_at(entry->key)};
    if (!find_value(loader, block->observable, entry->key, &claim->value))
        return false;
    use_values(loader, block->index, UINT32_C(1) << claim->value);
    if (block->scale == CLAIM_FREQUENCY)
        return expect_scaled(loader, entry, entry->key->text, scale->frequency,
                             scale->frequency_count, &CHANCE, &claim->number, &claim->word);
    return expect_scaled(loader, entry, entry->key->text, scale->weight, scale->weight_count,
                         &POSITIVE, &claim->number, &claim->word);
}

/* Exactly one value of a one-of holds, so what is claimed of them must leave room for the rest. */
static void check_sum(const struct block *block, const struct node *node,
                      const struct claim *claims, size_t count)
{
    double sum = 0;
    if (block->scale != CLAIM_FREQUENCY || block->observable->kind == KIND_SEVERAL ||
        count == block->observable->value_count)
        return;
    for (size_t i = 0; i < count; i++)
        sum += claims[i].number;
    if (sum > SUM_MOST)
        node_error(block->loader, node->key,
                   "the probabilities of '%s' add up to %.3g; exactly one value holds, so lower "
                   "them to 1, or name all its values",
                   block->observable->id, sum);
}

/* Returns how many claims it put at `claims`. */
static size_t block_read(struct block *block, const struct node *node, struct claim *claims)
{
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next)
        if (!is_source(entry) && claim_read(block, entry, &claims[count]))
            count++;
    check_sum(block, node, claims, count);
    return count;
}

struct claims claims_read(struct loader *loader, const struct node *node, enum claim_scale scale,
                          struct citation inherited)
{
    struct claims claims = {0};
    if (!expect_kind(loader, node, NODE_MAP, node->key->text))
        return claims;
    /* A `source` here ends all the blocks that have none of their own. */
    inherited = citation_of(loader, node, inherited);
    size_t room = count_claims(node);
    claims.list = room ? arena_array(loader->keep, room, sizeof *claims.list) : NULL;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        struct block block = {.loader = loader, .scale = scale};
        if (is_source(entry) || !find_item(loader, ITEM_OBSERVABLE, entry->key, &block.index) ||
            !expect_kind(loader, entry, NODE_MAP, entry->key->text) || !claims.list)
            continue;
        block.observable = &loader->rules->observables[block.index];
        block.cites = citation_of(loader, entry, inherited);
        claims.count += block_read(&block, entry, claims.list + claims.count);
    }
    return claims;
}
