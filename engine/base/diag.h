/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_DIAG_H
#define JARSIDE_BASE_DIAG_H

#include <stdbool.h>
#include <stddef.h>

/* The program's version; a packager may set another. */
#ifndef JARSIDE_VERSION
#define JARSIDE_VERSION "0.1.0"
#endif

/* What a function that can fail returns, and what the program exits with.
 *
 * Functions below cli/ and prompt/ never print and never exit: they return a status and, where a
 * person should read why, add a line to a diagnostic list (base/diag.h). The numbers are the exit
 * statuses: they follow sysexits.h where it has one and are documented in README.md. */
enum status {
    STATUS_OK = 0,
    STATUS_CHECK = 1,     /* all went well; what was checked did not hold */
    STATUS_USAGE = 2,     /* what was asked for makes no sense */
    STATUS_DATA = 65,     /* what was read is not what it should be */
    STATUS_INTERNAL = 70, /* a bug: an invariant does not hold */
    STATUS_IO = 74,       /* the file system, a pipe or the journal said no */
    STATUS_CLOSED = 141,  /* whoever read the output has closed it and wants no more; 128 + SIGPIPE:
                             what a shell says of a program that SIGPIPE ended */
};

/* What is wrong with something that was read, where, and what would be right.
 *
 * Faults are collected, not thrown: a reader adds all it finds and the caller prints them.
 * DIAG_KEEP are kept; further ones are counted. */
struct position {
    const char *file; /* as the user named it; NULL when there is no file */
    size_t line;      /* from 1; 0 when unknown */
    size_t column;    /* from 1, in code points; 0 when unknown */
};

struct arena;
enum { DIAG_KEEP = 20 };

enum diag_kind { DIAG_ERROR, DIAG_WARNING };

struct diag {
    enum diag_kind kind;
    struct position at;
    const char *message; /* what is wrong; what would be right. Escape-safe UTF-8. */
    const char *excerpt; /* the line or pattern at fault, or NULL */
    size_t caret;        /* column in the excerpt to point at, from 1; 0 for none */
};

struct diags { /* to be read; owns its strings */
    struct arena *arena;
    struct diag kept[DIAG_KEEP];
    size_t kept_count;
    size_t errors, warnings; /* all, kept or not */
    bool last_kept;          /* the last one added is kept: an excerpt may be attached */
};

/* Makes an empty list; frees one (NULL is fine); empties one. */
struct diags *diags_new(void);
void diags_free(struct diags *diags);
void diags_clear(struct diags *diags);

/* Add one. The message is formatted, made safe (base/text.h) and copied. The house form is lower
 * case, no full stop, "problem; what would be right", ids and quoted input in single quotes. */
void diags_add(struct diags *diags, enum diag_kind kind, struct position at, const char *format,
               ...) __attribute__((format(printf, 4, 5)));
#define diags_error(diags, at, ...) diags_add(diags, DIAG_ERROR, at, __VA_ARGS__)
#define diags_warn(diags, at, ...)  diags_add(diags, DIAG_WARNING, at, __VA_ARGS__)
/* Adds an error; is the status that goes with it. */
#define diags_fail(diags, status, at, ...) (diags_error(diags, at, __VA_ARGS__), status)
/* Adds as errors what was kept in `from`. */
void diags_pass(struct diags *diags, const struct diags *from);
/* Attach an excerpt and a caret to the last one added and kept. Copied. */
void diags_excerpt(struct diags *diags, const char *excerpt, size_t caret);

#define diags_errors(diags)     ((diags)->errors)
#define diags_warnings(diags)   ((diags)->warnings)
#define diags_kept(diags)       ((diags)->kept_count)
#define diags_get(diags, index) (&(diags)->kept[index])

/* The nearest of `count` names to `word` by edit distance, for "did you mean"; NULL if none is near
 * (distance above a third of the length, at least 1). */
const char *diag_nearest(const char *word, const char *const *names, size_t count);
/* "; did you mean 'x'?" with that, in the arena, or else `otherwise`. */
const char *diag_suggest(struct arena *arena, const char *word, const char *const *names,
                         size_t count, const char *otherwise);

#endif
