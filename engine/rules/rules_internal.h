/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_RULES_RULES_INTERNAL_H
#define JARSIDE_RULES_RULES_INTERNAL_H

#include <stddef.h>

#include "base/memory.h"
#include "rules/document.h"
#include "rules/rules.h"

/* What stands in the rule files under an id of its own. */
enum item_kind {
    ITEM_SOURCE,
    ITEM_GROUP,
    ITEM_OBSERVABLE, /* signs, circumstances and tests share their ids */
    ITEM_FINDING,
    ITEM_CAUSE,
    ITEM_SPECIES,
    ITEM_GRAIN,
    ITEM_VESSEL,
    ITEM_CAUTION,
    ITEM_ORGANISM,
    ITEM_STARTER,
    ITEM_MOVE,
    ITEM_WORDS,     /* macros of language.words */
    ITEM_STATEMENT, /* language.statements */
    ITEM_WHOLE,     /* keys that stand once and are replaced whole: decision, scale ... */
    ITEM_KINDS
};

/* "source", "group", "sign" ...: for messages. */
const char *item_kind_name(enum item_kind kind);

struct rules_memory {
    struct arena *arena; /* everything of the rule base, itself included */
    struct names ids[ITEM_KINDS];
};

/* The names of an enum in the files, in the order of its values. */
struct words {
    const char *const *list;
    size_t count;
};
extern const struct words ACTION_WORDS, STATUS_WORDS, HAZARD_WORDS, SCOPE_WORDS, MOVED_WORDS;

#endif
