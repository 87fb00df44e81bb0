/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_KNOWLEDGE_FIELDS_INTERNAL_H
#define JARSIDE_KNOWLEDGE_FIELDS_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "knowledge/load_internal.h"

/*
 * What may stand in a mapping: a table of keys, each with the function that
 * reads its value into the struct the mapping becomes.
 *
 * The table is the only place that knows the keys of a mapping. From it come
 * the reading itself, the refusal of keys it does not hold with the nearest one
 * it does, and the complaint about keys that are missing. Keys are read in the
 * order of the table, whatever their order in the file: one that another
 * depends on stands before it.
 */
struct shape;
struct field;

typedef void field_reader(struct loader *loader, const struct field *field, const struct node *node,
                          void *item);

struct bounds { /* of a number */
    double low, high;
    bool low_is_out, high_is_out; /* whether the bound itself is refused */
    const char *says;             /* "between 0 and 1" */
};

struct field {
    const char *key;
    field_reader *read;
    bool required;
    size_t offset; /* where in the struct it goes */
    size_t count;  /* lists: where their length goes; pairs: where the upper end goes */
    const struct bounds *bounds; /* numbers */
    const struct words *words;   /* choices and sets of them */
    const struct shape *shape;   /* mappings in the same struct */
    enum item_kind kind;         /* references */
};

struct shape {
    const char *what; /* "a finding": for messages */
    const struct field *fields;
    size_t count;
};

/*
 * The rows of such tables. `need` is REQUIRED or OPTIONAL; `into`, `count` and
 * the like are offsets in the struct.
 */
enum need { OPTIONAL, REQUIRED };

#define FIELD(name, need, reader, into)                                                            \
    {                                                                                              \
        .key = (name), .required = (need), .read = (reader), .offset = (into)                      \
    }
#define NUMBER(name, need, into, within)                                                           \
    {                                                                                              \
        .key = (name), .required = (need), .read = read_number, .offset = (into),                  \
        .bounds = &(within)                                                                        \
    }
#define RANGE(name, need, into, within)                                                            \
    {                                                                                              \
        .key = (name), .required = (need), .read = read_range, .offset = (into),                   \
        .bounds = &(within)                                                                        \
    }
#define PAIR(name, need, into, upper, within)                                                      \
    {                                                                                              \
        .key = (name), .required = (need), .read = read_pair, .offset = (into), .count = (upper),  \
        .bounds = &(within)                                                                        \
    }
#define CHOICE(name, need, into, of)                                                               \
    {                                                                                              \
        .key = (name), .required = (need), .read = read_choice, .offset = (into), .words = &(of)   \
    }
#define SET(name, need, into, of)                                                                  \
    {                                                                                              \
        .key = (name), .required = (need), .read = read_set, .offset = (into), .words = &(of)      \
    }
#define LIST(name, need, reader, into, length)                                                     \
    {                                                                                              \
        .key = (name), .required = (need), .read = (reader), .offset = (into), .count = (length)   \
    }
#define REFERENCE(name, need, into, to)                                                            \
    {                                                                                              \
        .key = (name), .required = (need), .read = read_index, .offset = (into), .kind = (to)      \
    }
#define REFERENCES(name, need, reader, into, length, to)                                           \
    {                                                                                              \
        .key = (name), .required = (need), .read = (reader), .offset = (into), .count = (length),  \
        .kind = (to)                                                                               \
    }
/* Keys in a mapping of their own, which go into the same struct. */
#define INNER(name, need, inner)                                                                   \
    {                                                                                              \
        .key = (name), .required = (need), .read = read_shape, .shape = &(inner)                   \
    }
/* Read by a function that knows the whole struct. */
#define OWN(name, need, reader) FIELD(name, need, reader, 0)
/* Known, but read by other means. */
#define LATER(name, need) FIELD(name, need, read_later, 0)

#define SHAPE(name, table)                                                                         \
    {                                                                                              \
        (name), (table), sizeof(table) / sizeof *(table)                                           \
    }

/* Reads a mapping into `item`, which already holds what stands for absent keys. */
void shape_read(struct loader *loader, const struct shape *shape, const struct node *map,
                void *item);

/* ---- what a value must be; each tells a fault and returns false if it is not ----------------- */

bool expect_kind(struct loader *loader, const struct node *node, enum node_kind kind,
                 const char *key);
bool expect_text(struct loader *loader, const struct node *node, const char *key,
                 const char **text);
bool expect_number(struct loader *loader, const struct node *node, const char *key,
                   const struct bounds *bounds, double *number);
bool expect_choice(struct loader *loader, const struct node *node, const char *key,
                   const struct words *words, size_t *choice);
/* An id: small letters, digits, underscores. */
bool expect_id(struct loader *loader, const struct node *key_node);
/* The items of a list; a single text counts as a list of one. NULL, told, if it is neither. */
const struct node *expect_items(struct loader *loader, const struct node *node, const char *key,
                                size_t *count);
/* A word of the scale, which goes to *word, or a number. */
bool expect_scaled(struct loader *loader, const struct node *node, const char *key,
                   const struct word *scale, size_t scale_count, const struct bounds *bounds,
                   double *number, const char **word);

/* "a, b, c": the names there are, for messages. */
const char *names_joined(struct loader *loader, const char *const *names, size_t count);

/* Numbers are told apart by what they may be. */
extern const struct bounds ANY, POSITIVE, NOT_NEGATIVE, SHARE, CHANCE, PER_CENT;

/* ---- readers of fields ----------------------------------------------------------------------- */

extern field_reader read_later;     /* known, but read by other means */
extern field_reader read_text;      /* const char * */
extern field_reader read_question;  /* const char * that ends in a question mark */
extern field_reader read_number;    /* double */
extern field_reader read_rank;      /* int */
extern field_reader read_flag;      /* bool */
extern field_reader read_choice;    /* an enum */
extern field_reader read_set;       /* uint32_t: a bit for each */
extern field_reader read_texts;     /* const char *const * and its length */
extern field_reader read_pair;      /* two doubles, rising: offset and count */
extern field_reader read_range;     /* struct range */
extern field_reader read_shape;     /* keys in a mapping of their own, same struct */
extern field_reader read_index;     /* int: one reference */
extern field_reader read_indices;   /* const size_t * and its length: references */
extern field_reader read_phrases;   /* struct phrases, behind what is there already */
extern field_reader read_citation;  /* struct citation */
extern field_reader read_condition; /* struct condition */
extern field_reader read_frequency; /* double in (0, 1), or a word of the scale */

/* Where a field goes. */
void *field_place(const struct field *field, void *item);

/* ---- parts shared by several kinds ----------------------------------------------------------- */

/* A phrase with its macros expanded, in the rule base's arena; NULL, told, if it cannot be. */
const char *phrase_expand(struct loader *loader, const struct node *node);

/* The citation in `block`, or `inherited` if it has no `source`. */
struct citation citation_of(struct loader *loader, const struct node *block,
                            struct citation inherited);

enum claim_scale { CLAIM_FREQUENCY, CLAIM_WEIGHT };
struct claims {
    struct claim *list;
    size_t count;
};
/* A block {sign: {value: how often, source: ...}}. */
struct claims claims_read(struct loader *loader, const struct node *node, enum claim_scale scale,
                          struct citation inherited);

#endif
