/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_KNOWLEDGE_DOCUMENT_INTERNAL_H
#define JARSIDE_KNOWLEDGE_DOCUMENT_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/diag.h"
#include "knowledge/faults_internal.h"
#include "knowledge/files_internal.h"
#include "knowledge/names_internal.h"

/*
 * A YAML document as a tree with positions.
 *
 * A tree that document_read returns is sound: a mapping at its root, every key
 * a text that stands once, no alias that holds itself. What its keys mean is
 * for others to say.
 */
enum node_kind { NODE_TEXT, NODE_LIST, NODE_MAP };

/* Small: a rule base has tens of thousands. */
struct node {
    union {
        const char *text;         /* NODE_TEXT: NUL-terminated, outlives the tree */
        const struct node *first; /* NODE_LIST, NODE_MAP: the items or entries */
    };
    const struct node *key;  /* in a NODE_MAP: the key of this entry, a NODE_TEXT */
    const struct node *next; /* beside it in the same list or mapping */
    const char *file;
    uint32_t line, column;
    uint32_t count; /* NODE_LIST, NODE_MAP: how many items or entries */
    uint8_t kind;   /* enum node_kind */
    bool quoted;    /* NODE_TEXT: in quotes or as a block */
};

enum {
    DOCUMENT_MAX_DEPTH = 32,
    DOCUMENT_MAX_NODES = 200000, /* of all files of a load together */
};

struct document_room {     /* shared by all documents of a load */
    struct arena *keep;    /* texts */
    struct arena *scratch; /* nodes */
    struct names texts;    /* short ones, which files repeat without end */
    size_t nodes_left;     /* starts at DOCUMENT_MAX_NODES */
};

/*
 * The root, or NULL: there is nothing but comments, or faults were told after
 * which the rest of the file means nothing. A key that stands twice is told and
 * left out; the tree then still serves to find more faults.
 */
const struct node *document_read(const struct file *file, struct document_room *room,
                                 struct faults *faults);

/* Where it begins. */
struct position node_at(const struct node *node);
/* The entry with this key of a NODE_MAP, or NULL. */
const struct node *node_entry(const struct node *map, const char *key);
/* "text", "a list", "a mapping": what stands there instead of what should. */
const char *node_kind_name(const struct node *node);

#endif
