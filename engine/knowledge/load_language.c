/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The words the program itself must know. Every mention of `language` adds to the lists. */
#include <string.h>

#include "knowledge/fields_internal.h"

/* ---- lists ----------------------------------------------------------------------------------- */

static void add_where(struct loader *loader, const struct field *field, const struct node *node,
                      void *item)
{
    struct language *language = item;
    const struct language before = *language;
    language->where_count = 0;
    read_indices(loader, field, node, language);
    size_t count = before.where_count + language->where_count;
    size_t *all = count ? arena_array(loader->keep, count, sizeof *all) : NULL;
    if (!all)
        return;
    for (size_t i = 0; i < count; i++)
        all[i] = i < before.where_count ? before.where[i] : language->where[i - before.where_count];
    language->where = all;
    language->where_count = count;
}

#define WORDS(member) FIELD(#member, OPTIONAL, read_phrases, offsetof(struct language, member))

static const struct field FIELDS[] = {
    LATER("words", OPTIONAL),      /* by the catalogue and phrases.c */
    LATER("statements", OPTIONAL), /* below, once all are known */
    WORDS(negations),
    WORDS(hedges),
    WORDS(breaks),
    WORDS(exceptions),
    WORDS(objections),
    WORDS(ignore),
    WORDS(alternatives),
    WORDS(additions),
    WORDS(about),
    WORDS(over),
    WORDS(under),
    WORDS(yes),
    WORDS(no),
    WORDS(spared),
    REFERENCES("where", OPTIONAL, add_where, offsetof(struct language, where),
               offsetof(struct language, where_count), ITEM_OBSERVABLE),
};
static const struct shape LANGUAGE = SHAPE("'language'", FIELDS);

/* ---- statements ------------------------------------------------------------------------------ */

static void read_others(struct loader *loader, const struct field *field, const struct node *node,
                        void *item)
{
    const struct statement *statement = item;
    read_indices(loader, field, node, item);
    for (size_t i = 0; i < statement->other_count; i++) {
        const struct observable *other = &loader->rules->observables[statement->others[i]];
        if (other->kind != KIND_SEVERAL)
            fault_error(&loader->faults, node_at(node),
                        "'%s' is not of kind 'several'; only of such can the others be absent",
                        other->id);
    }
}

static const struct field STATEMENT_FIELDS[] = {
    FIELD("phrases", REQUIRED, read_phrases, offsetof(struct statement, phrases)),
    FIELD("seen", OPTIONAL, read_condition, offsetof(struct statement, seen)),
    FIELD("absent", OPTIONAL, read_condition, offsetof(struct statement, absent)),
    REFERENCES("others_absent", OPTIONAL, read_others, offsetof(struct statement, others),
               offsetof(struct statement, other_count), ITEM_OBSERVABLE),
    FIELD("alone", OPTIONAL, read_flag, offsetof(struct statement, alone)),
    FIELD("overall", OPTIONAL, read_flag, offsetof(struct statement, overall)),
};
static const struct shape STATEMENT = SHAPE("a statement", STATEMENT_FIELDS);

static void load_statements(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_STATEMENT];
    struct statement *statements = items_array(loader, ITEM_STATEMENT, sizeof *statements);
    for (size_t i = 0; statements && i < items->count; i++) {
        struct statement *statement = &statements[i];
        *statement = (struct statement){.id = items->list[i].id, .at = items->list[i].at};
        shape_read(loader, &STATEMENT, items->list[i].node, statement);
        if (!statement->seen.count && !statement->absent.count && !statement->other_count &&
            items->list[i].node->kind == NODE_MAP)
            fault_error(&loader->faults, statement->at,
                        "statement '%s' says nothing; give it 'seen', 'absent' or 'others_absent'",
                        statement->id);
    }
    loader->made->language.statements = statements;
    loader->made->language.statement_count = statements ? items->count : 0;
}

void load_language(struct loader *loader)
{
    for (size_t i = 0; i < loader->languages.count; i++)
        shape_read(loader, &LANGUAGE, loader->languages.list[i], &loader->made->language);
    load_statements(loader);
}
