/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The functions that a table of fields names: one for each sort of value. */
#include <limits.h>
#include <string.h>

#include "knowledge/fields_internal.h"

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
        fault_error(&loader->faults, node_at(node),
                    "'%s' is not a question; it must end in a question mark", field->key);
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
        fault_error(&loader->faults, node_at(node), "'%s' is '%s'; it must be a number %s",
                    field->key, fault_quote(&loader->faults, node->text), whole.says);
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
        fault_error(&loader->faults, node_at(node), "'%s' must be a list of %zu rising numbers: %s",
                    field->key, count, of);
        return false;
    }
    const struct node *entry = node->first;
    for (size_t i = 0; i < count; i++, entry = entry->next) {
        if (!expect_number(loader, entry, field->key, field->bounds, &numbers[i]))
            return false;
        if (i && numbers[i] < numbers[i - 1]) {
            fault_error(&loader->faults, node_at(entry),
                        "'%s' falls from %g to %g; its numbers must rise: %s", field->key,
                        numbers[i - 1], numbers[i], of);
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
        fault_error(&loader->faults, node_at(node), "'%s' asks for nothing; take it out",
                    field->key);
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
