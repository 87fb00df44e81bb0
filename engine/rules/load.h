/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_RULES_LOAD_H
#define JARSIDE_RULES_LOAD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "base/units.h"
#include "rules/rules.h"

/*
 * From files to a rule base: what the files of rules/ share.
 *
 *   document.c   files -> documents, trees of nodes with positions; what is wrong, gathered
 *   load.c       documents -> one list of items a kind, overlays applied; items -> the model, in an
 *                order in which what is referred to is there before what refers to it; then the
 *                model as a whole: what cannot be right, what nobody uses
 *   fields.c     what may stand in a mapping: tables of fields, and how each sort is read
 *   knowledge.c  those tables, kind by kind
 *
 * Errors never end a step: everything is read that can be.
 */
struct loader;

/* ---- names ----------------------------------------------------------------------------------- */

/* A set of names, numbered in the order they were added: ids to indices.
 *
 * All zero is an empty set. Names are not copied; the tables live in the arena given with each
 * addition. What is outgrown stays in the arena. */
struct names {
    const char **list; /* by number */
    size_t count;
    struct hashed index;
};

/* Whether the name is new; `number` (may be NULL) becomes its number. */
bool names_add(struct names *names, const char *name, struct arena *arena, size_t *number);
/* The number of `name`, or RULES_NONE. */
int names_find(const struct names *names, const char *name);

struct rules_memory {
    struct arena *arena; /* everything of the rule base, itself included */
    struct names ids[ITEM_KINDS];
};

/* ---- documents ------------------------------------------------------------------------------- */

enum {
    FILES_MAX_BYTES = 4 * 1024 * 1024, /* one file */
    FILES_MAX_TOTAL = 32 * 1024 * 1024,
    FILES_MAX_COUNT = 4096,
    FILES_MAX_DEPTH = 16, /* folders in folders: ends a circle of symbolic links */
    DOCUMENT_MAX_DEPTH = 32,
    DOCUMENT_MAX_NODES = 500000, /* of all files of a load together */
    PROBLEMS_MOST = 100,         /* nobody reads more, and a hostile file holds thousands */
};

struct file {
    const char *path; /* as the user named it; outlives the load */
    size_t folder;    /* which of the folders it was found in */
    char *bytes;      /* a line end after them; NULL: it could not be read */
    size_t length;
    bool ascii; /* all of them */
    bool plain; /* plain_read has read it */
};

/* A YAML document as a tree with positions.
 *
 * A tree that document_read returns is sound: a mapping at its root, every key a text that stands
 * once, no alias that holds itself. What its keys mean is for others to say. */
enum node_kind { NODE_TEXT, NODE_LIST, NODE_MAP };

struct node { /* small: a rule base has tens of thousands */
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

/* Where it begins. */
struct position node_at(const struct node *node);
/* The entry with this key; NULL when there is none, or the node is no mapping. */
const struct node *node_entry(const struct node *map, const char *key);
/* "text", "a list", "a mapping": what stands there instead of what should. */
extern const char *const node_kind_names[];

/* Adds the .yaml files below `path` (or `path` itself if it is a file), in the order of their
 * paths. Hidden files and folders are left alone: editors keep copies in them. */
void files_find(struct loader *loader, const char *path, size_t folder);
/* The root of a file, or NULL: there is nothing but comments, or errors were told after which the
 * rest of the file means nothing. A key that stands twice is told and left out; the tree then still
 * serves to find more errors. */
const struct node *document_read(struct loader *loader, struct file *file);

/* ---- the loader ------------------------------------------------------------------------------ */

struct problem { /* told in the order of the files, in whatever order they are found */
    enum diag_kind kind;
    struct position at;
    const char *message;
    size_t file; /* its index + 1; 0 for none */
};

struct section;

struct item { /* one entry of one kind, after overlays */
    const char *id;
    const struct node *node; /* its mapping */
    struct position at;
    size_t folder;
    const struct section *section; /* where it stood */
};

struct item_list {
    struct item *list;
    size_t count;
};

struct node_list {
    const struct node **list;
    size_t count;
};

struct loader {
    struct arena *keep;        /* the model */
    struct arena *scratch;     /* gone when loading ends */
    const struct rules *rules; /* what ids are looked up in; complete for cases */

    struct problem problems[PROBLEMS_MOST];
    size_t problem_count, errors; /* errors: all, told or not */
    bool unreadable;              /* a file or folder could not be read */

    struct file *files;
    size_t file_count;
    size_t total;  /* bytes of all read so far */
    uint64_t hash; /* of these */
    size_t nodes_left;
    bool by_library; /* read nothing by plain_read: for tests */

    /* the rest is not used for cases */
    struct rules *made;       /* the same as `rules`, while it is being made */
    void *arrays[ITEM_KINDS]; /* likewise its arrays */
    struct item_list items[ITEM_KINDS];
    struct node_list languages;
    bool *source_used;       /* per source */
    uint32_t *value_used;    /* per observable: bit per value */
    enum dimension quantity; /* of {q} in the phrases being read; DIM_COUNT: none may stand */
    bool *list_used;         /* per item of ITEM_WORDS: stands in a phrase */
};

/* Ready to read files whose ids are looked up in `rules`. */
void loader_init(struct loader *loader, struct arena *keep, const struct rules *rules);
/* Tells `diags` all that is wrong, sorted, once each, with the line it stands on; how it went:
 * unreadable files before errors in them. Frees what only loading needed. */
enum status loader_finish(struct loader *loader, struct diags *diags);

/* Say what is wrong, where: at a node, at any place, or only as a warning. Counted and capped. */
void load_tell(struct loader *loader, enum diag_kind kind, struct position at, const char *format,
               ...) __attribute__((format(printf, 4, 5)));
#define load_error(loader, at, ...)   load_tell(loader, DIAG_ERROR, at, __VA_ARGS__)
#define load_warning(loader, at, ...) load_tell(loader, DIAG_WARNING, at, __VA_ARGS__)
#define node_error(loader, node, ...) load_tell(loader, DIAG_ERROR, node_at(node), __VA_ARGS__)
/* `text` itself, or its beginning and "..." when it is too long for a message. */
const char *load_quote(struct loader *loader, const char *text);
/* As diag_suggest; `otherwise`, too, when nobody would read more, or names are too many. */
const char *load_suggest(struct loader *loader, const char *word, const char *const *names,
                         size_t count, const char *otherwise);

/* ---- fields ---------------------------------------------------------------------------------- */

/* What may stand in a mapping: a table of keys, each with the function that reads its value into
 * the struct the mapping becomes.
 *
 * The table is the only place that knows the keys of a mapping. From it come the reading itself,
 * what stands for keys that are absent, the refusal of keys it does not hold with the nearest one
 * it does, and the complaint about keys that are missing. Keys are read in the order of the table,
 * whatever their order in the file: one that another depends on stands before it. */
struct shape;
struct field;
struct entries;

typedef void field_reader(struct loader *loader, const struct field *field, const struct node *node,
                          void *item);
/* The head of such a function. */
#define READER(name)                                                                               \
    void name(struct loader *loader, const struct field *field, const struct node *node, void *item)

enum claim_scale { CLAIM_FREQUENCY, CLAIM_WEIGHT };

struct bounds { /* of a number */
    double low, high;
    bool low_is_out, high_is_out; /* whether the bound itself is refused */
    const char *says;             /* "between 0 and 1" */
};
extern const struct bounds ANY, POSITIVE, NOT_NEGATIVE, SHARE, CHANCE, PER_CENT, SHARE_ABOVE_0;

struct field {
    const char *key;
    bool required;
    size_t offset;                 /* where in the struct it goes */
    size_t count;                  /* lists: where their length goes */
    field_reader *read;            /* NULL: known, but read by other means */
    size_t reals;                  /* numbers: how many, rising */
    double absent;                 /* ... and what stands for each when there is no such key */
    const struct bounds *bounds;   /* numbers */
    const struct terms *words;     /* choices and sets of them */
    const struct shape *shape;     /* mappings */
    const struct entries *entries; /* lists and mappings of entries */
    enum rule_kind kind;           /* references */
    enum claim_scale scale;        /* claims, */
    size_t cites;                  /* and where in the struct the citation of all of it stands */
};

struct shape {
    const char *what; /* "a finding": for messages */
    const struct field *fields;
    size_t count;
};

/* A list, or a mapping with as many keys as one likes, that becomes an array of structs. */
struct entries {
    enum node_kind kind;
    size_t size;
    /* Reads what stands before an entry of a mapping, or the id in one of a list, to the beginning
     * of the struct; false when the entry is to be left out. NULL: nothing stands there. */
    bool (*head)(struct loader *loader, const struct node *entry, void *made);
    const struct shape *shape; /* of the rest; or else it is a single value: */
    struct field value;
    /* Of one that was read; of them all. Or NULL. */
    void (*check)(struct loader *loader, const struct node *entry, void *made);
    void (*check_all)(struct loader *loader, const struct node *node, const void *list,
                      size_t count);
};

/* The rows of such tables, from those of rules.h: a sort is what a member is and how it is read. */
enum need { MAY, MUST };

#define ROW(of, sort, name, member, need)                                                          \
    {.key = (name), .required = (need), .offset = offsetof(struct of, member), READ_##sort},
#define ROW_LIST(of, type, name, member, counter, need, sort)                                      \
    {.key = (name),                                                                                \
     .required = (need),                                                                           \
     .offset = offsetof(struct of, member),                                                        \
     .count = offsetof(struct of, counter),                                                        \
     READ_##sort},
#define ROWS(type, table) table(ROW, ROW_LIST, type)
/* One without a member of its own. */
#define KEY(name, need, ...) {.key = (name), .required = (need), __VA_ARGS__},

#define SHAPE(name, said, ...)                                                                     \
    static const struct field name##_fields[] = {__VA_ARGS__};                                     \
    static const struct shape name##_shape = {said, name##_fields,                                 \
                                              sizeof name##_fields / sizeof *name##_fields}

/* The entries of a list or mapping that are mappings themselves, or single values. */
#define ENTRIES(type, in, ...)                                                                     \
    static const struct entries type##_entries = {                                                 \
        .kind = (in), .size = sizeof(struct type), .shape = &type##_shape, __VA_ARGS__}
#define SINGLES(name, type, before, member, sort)                                                  \
    static const struct entries name##_entries = {                                                 \
        .kind = NODE_MAP,                                                                          \
        .size = sizeof(struct type),                                                               \
        .head = (before),                                                                          \
        .value = {.offset = offsetof(struct type, member), READ_##sort}}

#define READ_TEXT       .read = read_text
#define READ_QUESTION   .read = read_question
#define READ_FLAG       .read = read_flag, .words = &FLAG_WORDS
#define READ_ONLY(word) .read = read_flag, .words = &(word)
#define READ_RANK       .read = read_rank
#define READ_FREQUENCY  .read = read_frequency
#define READ_NUMBERS(many, within, none)                                                           \
    .read = read_numbers, .reals = (many), .bounds = &(within), .absent = (none)
#define READ_NUMBER(within)          READ_NUMBERS(1, within, NAN)
#define READ_NUMBER_OR(within, none) READ_NUMBERS(1, within, none)
#define READ_PAIR(within)            READ_NUMBERS(2, within, NAN)
#define READ_RANGE(within)           READ_NUMBERS(3, within, NAN)
#define READ_PHRASES                 .read = read_phrases
#define READ_CITATION                .read = read_citation
#define READ_CONDITION               .read = read_condition
#define READ_CHOICE(type, of)        .read = read_choice, .words = &(of)
#define READ_SET(of)                 .read = read_set, .words = &(of)
#define READ_GROUP                   .read = read_index, .kind = ITEM_GROUP
#define READ_REFERENCES(to)          .read = read_indices, .kind = (to)
#define READ_CLAIMS(of, by)          .read = read_claims, .scale = (by), .cites = offsetof(struct of, cites)
#define READ_INNER(type)             .read = read_shape, .shape = &type##_shape
#define READ_ENTRIES(type)           .read = read_entries, .entries = &type##_entries
#define READ_VALUES                  .read = read_values, .entries = &value_entries
#define READ_BY(reader)              .read = (reader)

/* Gives every number of a shape the value that stands for an absent key. */
void shape_clear(const struct shape *shape, void *item);
/* Reads a mapping into `item`, which already holds what stands for absent keys. */
void shape_read(struct loader *loader, const struct shape *shape, const struct node *map,
                void *item);

/* What a value must be; each tells an error and returns false if it is not. */
bool expect_kind(struct loader *loader, const struct node *node, enum node_kind kind,
                 const char *key);
bool expect_text(struct loader *loader, const struct node *node, const char *key,
                 const char **text);
bool expect_number(struct loader *loader, const struct node *node, const char *key,
                   const struct bounds *bounds, double *number);
bool expect_choice(struct loader *loader, const struct node *node, const char *key,
                   const struct terms *words, size_t *choice);
/* An id: small letters, digits, underscores. */
bool expect_id(struct loader *loader, const struct node *key_node);
/* The items of a list; a single text counts as a list of one. NULL, told, if it is neither. */
const struct node *expect_items(struct loader *loader, const struct node *node, const char *key,
                                size_t *count);
extern const struct terms FLAG_WORDS; /* false, true */
/* Readers of fields: what they write. */
extern field_reader read_text;      /* const char * */
extern field_reader read_question;  /* const char * that ends in a question mark */
extern field_reader read_numbers;   /* double, one or several that rise */
extern field_reader read_rank;      /* int */
extern field_reader read_flag;      /* bool: whether it is the last of the words */
extern field_reader read_choice;    /* an enum */
extern field_reader read_set;       /* uint32_t: a bit for each */
extern field_reader read_texts;     /* const char *const * and its length */
extern field_reader read_shape;     /* keys in a mapping of their own */
extern field_reader read_entries;   /* const T * and its length */
extern field_reader read_claims;    /* const struct claim * and its length */
extern field_reader read_index;     /* int: one reference */
extern field_reader read_indices;   /* const size_t * and its length: references */
extern field_reader read_phrases;   /* struct phrases, after what is there already */
extern field_reader read_citation;  /* struct citation */
extern field_reader read_condition; /* struct condition */
extern field_reader read_frequency; /* double in (0, 1), or a word of the scale */

/* Where a field goes, and the length of its list. */
void *field_place(const struct field *field, void *item);
void field_list(const struct field *field, void *item, const void *list, size_t count);

/* The index `node` refers to. False when it is no id of that kind; told, with the nearest. */
bool find_item(struct loader *loader, enum rule_kind kind, const struct node *node, size_t *index);
bool find_value(struct loader *loader, const struct observable *observable, const struct node *node,
                size_t *value);
void use_values(struct loader *loader, size_t observable, uint32_t mask);

/* The citation in `block`, or `inherited` if it has no `source`. */
struct citation citation_of(struct loader *loader, const struct node *block,
                            struct citation inherited);

struct claims {
    struct claim *list;
    size_t count;
};
/* A block {sign: {value: how often, source: ...}}. */
struct claims claims_read(struct loader *loader, const struct node *node, enum claim_scale scale,
                          struct citation inherited);

/* ---- kinds of items -------------------------------------------------------------------------- */

/* A key at the top of a file: what stands below it, and what that becomes in struct rules. */
struct section {
    const char *key;
    enum {
        SECTION_MANY,     /* a mapping from ids to items */
        SECTION_ONE,      /* one item, with its id in it */
        SECTION_WHOLE,    /* what stands once: a struct in struct rules */
        SECTION_LANGUAGE, /* lists that add up, and items within */
    } form;
    enum rule_kind kind;
    const char *name; /* of an item: "source", "sign" ..., for messages */
    const struct shape *shape;
    size_t size;                 /* of its struct, which begins with its id and where it stands */
    size_t into, count;          /* where in struct rules the array or the struct goes */
    enum observable_class class; /* ITEM_OBSERVABLE */
    bool required;               /* SECTION_WHOLE */
    /* After the fields are read; or NULL. */
    void (*check)(struct loader *loader, const struct item *item, void *made);
};
/* In the order in which they are loaded: what is referred to comes before what refers to it. */
enum { SECTION_COUNT = 26 };
extern const struct section SECTIONS[SECTION_COUNT];
/* "source", "sign" ...: what an item of the kind is called. */
const char *kind_name(enum rule_kind kind);
/* What every struct of an item begins with. */
struct listed {
    const char *id;
    struct position at;
};

/* What is normal on a species, once findings and signs are known. */
void load_normal(struct loader *loader);
void load_moves(struct loader *loader);
void sort_cautions(struct loader *loader);

/* A phrase, or a pattern after a '/'; NULL, told, if it can be neither. */
const char *read_phrase(struct loader *loader, const struct node *node);

#endif
