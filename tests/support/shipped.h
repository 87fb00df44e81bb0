/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_SHIPPED_H
#define JARSIDE_TESTS_SHIPPED_H

#include <stdlib.h>

#include "base/diag.h"
#include "base/memory.h"
#include "language/reader.h"
#include "rules/rules.h"
#include "support/test.h"

/* The shipped rules and their reader, for tests that are run from the top of the tree. */
struct shipped {
    struct rules *rules;
    struct reader *reader;
    struct diags *diags;
    struct arena *arena;
};

static inline int shipped_setup(void **state)
{
    static const char *const folders[] = {"rules"};
    struct shipped *s = calloc(1, sizeof *s);
    assert_non_null(s);
    s->diags = diags_new();
    s->arena = arena_new();
    s->rules = rules_load(folders, 1, s->diags, NULL);
    for (size_t i = 0; i < diags_kept(s->diags); i++)
        print_error("%s:%zu: %s\n", diags_get(s->diags, i)->at.file,
                    diags_get(s->diags, i)->at.line, diags_get(s->diags, i)->message);
    assert_non_null(s->rules);
    s->reader = reader_new(s->rules, s->diags);
    assert_non_null(s->reader);
    *state = s;
    return 0;
}

static inline int shipped_teardown(void **state)
{
    struct shipped *s = *state;
    reader_free(s->reader);
    rules_free(s->rules);
    arena_free(s->arena);
    diags_free(s->diags);
    free(s);
    return 0;
}

#endif
