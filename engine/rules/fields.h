/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_RULES_FIELDS_H
#define JARSIDE_RULES_FIELDS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "base/units.h"
#include "rules/document.h"
#include "rules/rules.h"
#include "rules/rules_internal.h"

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

/* Tell what is wrong, where: at a node, at any place, or only as a warning. */
void node_error(struct loader *loader, const struct node *node, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
void load_error(struct loader *loader, struct position at, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
void load_warning(struct loader *loader, struct position at, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* `text` itself, or its beginning and "..." when it is too long for a message. */
const char *load_quote(struct loader *loader, const char *text);
/* As diag_nearest; NULL when nobody would read it any more, or when there are too many names. */
const char *load_nearest(const struct loader *loader, const char *word, const char *const *names,
                         size_t count);
/* "; did you mean 'x'?", or "" when `nearest` is NULL. */
const char *load_hint(struct loader *loader, const char *nearest);

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

/* What a value must be; each tells a fault and returns false if it is not. */
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
