/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What may be in a vessel. */
#include "knowledge/fields_internal.h"

static void read_looks(struct loader *loader, const struct field *field, const struct node *node,
                       void *item)
{
    (void)field;
    struct finding *finding = item;
    struct claims claims = claims_read(loader, node, CLAIM_FREQUENCY, finding->cites);
    finding->looks = claims.list;
    finding->look_count = claims.count;
}

static void read_differs(struct loader *loader, const struct field *field, const struct node *node,
                         void *item)
{
    struct finding *finding = item;
    if (!expect_kind(loader, node, NODE_MAP, field->key) || !node->count)
        return;
    struct difference *differs = arena_array(loader->keep, node->count, sizeof *differs);
    if (!differs)
        return;
    size_t count = 0;
    for (const struct node *entry = node->first; entry; entry = entry->next) {
        struct difference *difference = &differs[count];
        if (find_item(loader, ITEM_FINDING, entry->key, &difference->from) &&
            expect_text(loader, entry, entry->key->text, &difference->how))
            count++;
    }
    finding->differs = differs;
    finding->differ_count = count;
}

#define STEPS(name, action)                                                                        \
    LIST(name, OPTIONAL, read_texts, offsetof(struct finding, steps[action]),                      \
         offsetof(struct finding, step_count[action]))

static const struct field DO_FIELDS[] = {
    STEPS("keep", ACTION_KEEP),
    STEPS("isolate", ACTION_ISOLATE),
    STEPS("discard", ACTION_DISCARD),
};
static const struct shape DO = SHAPE("'do'", DO_FIELDS);

static const struct field FIELDS[] = {
    LATER("id", REQUIRED), /* by the catalogue */
    FIELD("source", REQUIRED, read_citation, offsetof(struct finding, cites)),
    FIELD("name", REQUIRED, read_text, offsetof(struct finding, name)),
    FIELD("also", OPTIONAL, read_text, offsetof(struct finding, also)),
    FIELD("what", REQUIRED, read_text, offsetof(struct finding, what)),
    CHOICE("status", REQUIRED, offsetof(struct finding, status), STATUS_WORDS),
    CHOICE("hazard", REQUIRED, offsetof(struct finding, hazard), HAZARD_WORDS),
    NUMBER("base", REQUIRED, offsetof(struct finding, base), NOT_NEGATIVE),
    NUMBER("reveal", REQUIRED, offsetof(struct finding, reveal), SHARE),
    NUMBER("kept_worth", REQUIRED, offsetof(struct finding, kept_worth), SHARE),
    NUMBER("spread", REQUIRED, offsetof(struct finding, spread), SHARE),
    OWN("looks", REQUIRED, read_looks),
    OWN("differs", OPTIONAL, read_differs),
    INNER("do", REQUIRED, DO),
};
static const struct shape FINDING = SHAPE("a finding", FIELDS);

/* What is contaminated is never worth keeping: the words of a file may not say so by a slip. */
static void check_status(struct loader *loader, const struct finding *finding)
{
    if (finding->status != FINDING_CONTAMINATED)
        return;
    if (finding->kept_worth > 0)
        fault_error(&loader->faults, finding->at,
                    "'%s' is contaminated and yet has a 'kept_worth' of %g; it must be 0",
                    finding->id, finding->kept_worth);
    if (finding->step_count[ACTION_KEEP])
        fault_error(&loader->faults, finding->at,
                    "'%s' is contaminated and yet has steps for 'keep'; take them out",
                    finding->id);
}

void load_findings(struct loader *loader)
{
    const struct item_list *items = &loader->items[ITEM_FINDING];
    struct finding *findings = items_array(loader, ITEM_FINDING, sizeof *findings);
    for (size_t i = 0; findings && i < items->count; i++) {
        findings[i] = (struct finding){.id = items->list[i].id, .at = items->list[i].at};
        shape_read(loader, &FINDING, items->list[i].node, &findings[i]);
        check_status(loader, &findings[i]);
    }
    loader->made->findings = findings;
    loader->made->finding_count = findings ? items->count : 0;
}
