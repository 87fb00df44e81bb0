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

#define CASE_TABLE(FIELD, LIST, of)                                                                  \
    FIELD(of, TEXT, "id", id, MUST)                                                                  \
    FIELD(of, TEXT, "text", text, MAY) /* free text, or "" */                                        \
    /* What is expected, empty on an unlabelled case: any of these findings is right, best         \
     * first; any of these causes, empty: not labelled; a bit per acceptable action. */ \
    LIST(of, size_t, "findings", findings, finding_count, MAY, REFERENCES(ITEM_FINDING))             \
    LIST(of, size_t, "causes", causes, cause_count, MAY, REFERENCES(ITEM_CAUSE))                     \
    FIELD(of, SET(ACTION_WORDS), "actions", actions, MAY)                                            \
    FIELD(of, TEXT, "source", source, MAY) /* of the description, as written */                      \
    FIELD(of, TEXT, "note", note, MAY)
#define STAKES_TABLE(FIELD, LIST, of) /* NAN where not given */                                    \
    FIELD(of, NUMBER(NOT_NEGATIVE), "neighbours", neighbours, MAY)                                 \
    FIELD(of, NUMBER(POSITIVE), "worth", worth, MAY)
struct labelled_case {
    MEMBERS(CASE_TABLE)
    MEMBERS(STAKES_TABLE)
    double use_count; /* NAN where not given */
    const char *use;  /* id of a use, or NULL */
    const struct case_setting *settings;
    size_t setting_count;
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
