/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_RULES_CASES_H
#define JARSIDE_RULES_CASES_H

#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "rules/rules.h"

/*
 * Case files: descriptions of a vessel, alone (`judge --case`) or labelled with
 * what it turned out to be (`rules test`). Format: rules/FORMAT.md, "Cases".
 */
struct case_setting {
    const char *sign, *value; /* as written; resolved by reader_set */
    struct position at;
};

struct labelled_case {
    const char *id;
    const char *text; /* free text, or "" */
    const struct case_setting *settings;
    size_t setting_count;
    double neighbours, worth, use_count; /* NAN where not given */
    const char *use;                     /* id of a use, or NULL */
    /* what is expected; empty on an unlabelled case */
    const size_t *findings; /* any of these is right, best first */
    size_t finding_count;
    const size_t *causes; /* any of these is right; empty: not labelled */
    size_t cause_count;
    uint32_t actions;   /* bit per enum action that is acceptable */
    const char *source; /* where the description comes from, as written */
    const char *note;
    struct position at;
};

/*
 * Reads a case file, or every .yaml file below a folder, into `arena`. On
 * STATUS_OK `cases` points to `count` of them. All faults are in `diags`.
 */
enum status cases_load(const char *path, const struct rules *rules, struct arena *arena,
                       const struct labelled_case **cases, size_t *count, struct diags *diags);

/* A file of plain entries, "key: text", as settings are: in their order, with where they stand. */
struct entry {
    const char *key, *text;
    struct position key_at, at;
};
/* Reads one into the arena; STATUS_DATA or STATUS_IO, told with its place, when it is none. */
enum status entries_load(const char *path, struct arena *arena, const struct entry **entries,
                         size_t *count, struct diags *diags);

#endif
