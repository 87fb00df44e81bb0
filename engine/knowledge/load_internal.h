/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_KNOWLEDGE_LOAD_INTERNAL_H
#define JARSIDE_KNOWLEDGE_LOAD_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/status.h"
#include "base/units.h"
#include "knowledge/document_internal.h"
#include "knowledge/faults_internal.h"
#include "knowledge/files_internal.h"
#include "knowledge/rules.h"
#include "knowledge/rules_internal.h"

/*
 * From files to a rule base, in three steps:
 *
 *   load.c       files -> documents (document.c)
 *   catalogue.c  documents -> one list of items a kind, overlays applied. From
 *                here on every id has its index.
 *   load_*.c     items -> the model, kind by kind, in an order in which what is
 *                referred to is there before what refers to it
 *   check.c      the model as a whole: what cannot be right, what nobody uses
 *
 * What may stand in a mapping is a table of fields (fields_internal.h). Faults
 * never end a step: everything is read that can be. Nor does lack of memory,
 * which an arena remembers: it is asked once at the end.
 */

struct item { /* one entry of one kind, after overlays */
    const char *id;
    const struct node *node; /* its mapping */
    struct position at;
    size_t folder;
    enum observable_class class; /* ITEM_OBSERVABLE */
};

struct item_list {
    struct item *list;
    size_t count, room;
};

struct node_list {
    const struct node **list;
    size_t count, room;
};

struct loader {
    struct arena *keep;    /* the model */
    struct arena *scratch; /* gone when loading ends */
    struct faults faults;
    struct files files;
    struct document_room room;
    const struct rules *rules; /* what ids are looked up in; complete for cases */
    /* the rest is not used for cases */
    struct rules *made; /* the same, while it is being made */
    struct item_list items[ITEM_KINDS];
    struct node_list languages;
    struct species *species;       /* the model's: load_normal completes them */
    bool *source_used;             /* per source */
    uint32_t *value_used;          /* per observable: bit per value */
    enum dimension quantity;       /* of {q} in the phrases being read; DIM_COUNT: none may stand */
    bool *macro_open, *macro_used; /* per item of ITEM_WORDS: being expanded; stands in a phrase */
    size_t expanded;               /* bytes of phrases with macros so far */
};

/* ---- load.c ---------------------------------------------------------------------------------- */

/* Ready to read files whose ids are looked up in `rules`. */
void loader_init(struct loader *loader, struct arena *keep, struct arena *scratch,
                 const struct rules *rules);
/* How it went, once all is read: lack of memory before unreadable files before faults in them. */
enum status loader_status(const struct loader *loader);

/* ---- catalogue.c ----------------------------------------------------------------------------- */

/* Puts the items of one document into the lists. */
void catalogue_add(struct loader *loader, const struct node *root, size_t folder);
/* The item of ITEM_WHOLE with this id, or NULL. */
const struct item *catalogue_whole(const struct loader *loader, const char *id);
/* Room for the model's array of a kind; NULL when there is none to be. */
void *items_array(struct loader *loader, enum item_kind kind, size_t size);

/* ---- references ------------------------------------------------------------------------------ */

/* The index `node` refers to. False when it is no id of that kind; told, with the nearest. */
bool find_item(struct loader *loader, enum item_kind kind, const struct node *node, size_t *index);
bool find_value(struct loader *loader, const struct observable *observable, const struct node *node,
                size_t *value);
void use_values(struct loader *loader, size_t observable, uint32_t mask);

/* ---- one file a kind; called by load.c in this order ----------------------------------------- */

void load_scale(struct loader *loader); /* rules, scale, calibration */
void load_sources(struct loader *loader);
void load_groups(struct loader *loader);
void load_words(struct loader *loader);   /* language.words, for phrases */
void load_species(struct loader *loader); /* without what is normal on them */
void load_grains(struct loader *loader);
void load_vessels(struct loader *loader);
void load_observables(struct loader *loader);
void load_findings(struct loader *loader);
void load_causes(struct loader *loader);
void load_normal(struct loader *loader); /* what is normal on a species */
void load_cautions(struct loader *loader);
void load_decision(struct loader *loader);
void load_process(struct loader *loader); /* organisms, cook, starters, forecast, moves */
void load_review(struct loader *loader);
void load_learned(struct loader *loader);
void load_language(struct loader *loader);

/* ---- check.c --------------------------------------------------------------------------------- */

/* Faults of the whole; only asked when the parts have none. */
void check_rules(struct loader *loader);

#endif
