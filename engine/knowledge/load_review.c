/* SPDX-License-Identifier: GPL-3.0-or-later */
/* When a review of many vessels calls a fault. */
#include "knowledge/fields_internal.h"

#define REVIEW(member) offsetof(struct review_rules, member)

static const struct field FIELDS[] = {
    FIELD("source", REQUIRED, read_citation, REVIEW(cites)),
    NUMBER("false_alarm", REQUIRED, REVIEW(false_alarm), CHANCE),
    NUMBER("bayes_factor", REQUIRED, REVIEW(bayes_factor), POSITIVE),
    NUMBER("watched", REQUIRED, REVIEW(watched), NOT_NEGATIVE),
    NUMBER("wait", REQUIRED, REVIEW(wait), NOT_NEGATIVE),
};
static const struct shape REVIEW_SHAPE = SHAPE("'review'", FIELDS);

void load_review(struct loader *loader)
{
    const struct item *item = catalogue_whole(loader, "review");
    loader->made->review =
        (struct review_rules){.false_alarm = 0.05, .bayes_factor = 10, .watched = 21, .wait = 0.5};
    if (item)
        shape_read(loader, &REVIEW_SHAPE, item->node, &loader->made->review);
}
