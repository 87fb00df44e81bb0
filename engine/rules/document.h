/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_RULES_DOCUMENT_H
#define JARSIDE_RULES_DOCUMENT_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <yaml.h>

#include "base/diag.h"
#include "base/memory.h"
#include "base/numbers.h"

struct faults;

/*
 * The .yaml files below a folder, in alphabetical order of path.
 *
 * Hidden files and folders are left alone: editors keep copies in them.
 */
enum {
    FILES_MAX_BYTES = 4 * 1024 * 1024, /* one file */
    FILES_MAX_TOTAL = 32 * 1024 * 1024,
    FILES_MAX_COUNT = 4096,
    FILES_MAX_DEPTH = 16, /* folders in folders: ends a circle of symbolic links */
};

struct file {
    const char *path;  /* as the user named it; outlives the load */
    size_t folder;     /* which of the folders it was found in */
    const char *bytes; /* until the next one is read */
    size_t length;
};

struct files {
    struct arena *keep;    /* paths */
    struct arena *scratch; /* contents */
    struct file *list;
    size_t count, room;
    char *buffer; /* of the file read last */
    size_t buffer_size;
    size_t total; /* bytes of all read so far */
};

/* Adds the files below `path` (or `path` itself if it is a file). Faults are told. */
void files_find(struct files *files, const char *path, size_t folder, struct faults *faults);

/* Reads one. False, and a fault told, if it can not be or is too large. May be read again. */
bool file_read(struct files *files, struct file *file, struct faults *faults);

/*
 * What is wrong with the files of one load, gathered in whatever order it is
 * found and told in the order of the files.
 */
struct fault {
    enum diag_kind kind;
    struct position at;
    const char *message;
};

struct faults {
    struct arena *arena;
    struct fault *list;
    size_t count, room;
    size_t errors;
    bool unreadable; /* a file or folder could not be read */
    bool no_memory;  /* a library ran out of it: an arena knows by itself */
};

/* Tells an error or a warning, with its place; counted and capped. */
void fault_add(struct faults *faults, enum diag_kind kind, struct position at, const char *format,
               va_list arguments) __attribute__((format(printf, 4, 0)));
void fault_error(struct faults *faults, struct position at, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* A file or folder the system does not let us read. `error` is an errno. */
void fault_unreadable(struct faults *faults, const char *path, int error);

/* `text` itself, or its beginning and "..." when it is too long for a message. */
const char *fault_quote(struct faults *faults, const char *text);
/* As diag_nearest; NULL when nobody would read it any more, or when there are too many names. */
const char *fault_nearest(const struct faults *faults, const char *word, const char *const *names,
                          size_t count);
/* "; did you mean 'x'?", or "" when `nearest` is NULL. */
const char *fault_hint(struct faults *faults, const char *nearest);

/* Adds all to `diags`, sorted, once each, with the line they stand on. */
void faults_tell(struct faults *faults, struct files *files, struct diags *diags);

/*
 * A set of names, numbered in the order they were added: ids to indices.
 *
 * All zero is an empty set. Names are not copied; the tables live in the arena
 * given with each addition. What is outgrown stays in the arena.
 */
struct names {
    const char **list; /* by number */
    size_t count, room;
    uint32_t *slots; /* open addressing: number + 1, or 0 */
    size_t slot_count;
};

/* The number of `name`, added if it was not there (then *fresh). False when out of memory. */
bool names_add(struct names *names, const char *name, struct arena *arena, size_t *number,
               bool *fresh);

/* The number of `name`, or RULES_NONE. */
int names_find(const struct names *names, const char *name);

/* Whether the file is UTF-8 without control characters; told, with its place, if not. */
bool document_is_text(const struct file *file, struct faults *faults);

/* Tells why libyaml could not go on, in words that help. */
void document_syntax_fault(const yaml_parser_t *parser, const struct file *file,
                           struct faults *faults);

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
