/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_SUPPORT_RULES_CASE_H
#define JARSIDE_TESTS_SUPPORT_RULES_CASE_H

/* The small rule base, and a folder of files to be read over it or in its place. */
#include "base/diag.h"
#include "base/memory.h"
#include "rules/rules.h"
#include "support/test.h"

#define TINY "tests/unit/tiny-rules"

struct fixture {
    struct scratch scratch;
    struct diags *diags;
    struct arena *arena;
    struct rules *plain, *rules; /* the small ones, and those that were loaded; or NULL */
    enum status status;          /* of loading those */
};

/* Loads folders, in place of what was loaded before. */
static inline void load_rules(struct fixture *fixture, const char *const *folders, size_t count)
{
    rules_free(fixture->rules);
    diags_clear(fixture->diags);
    fixture->rules = rules_load(folders, count, fixture->diags, &fixture->status);
}

static inline int fixture_set_up(void **state)
{
    const char *const folders[] = {TINY};
    struct fixture *fixture = calloc(1, sizeof *fixture);
    assert_non_null(fixture);
    fixture->diags = diags_new();
    fixture->arena = arena_new();
    fixture->plain = rules_load(folders, 1, fixture->diags, NULL);
    assert_non_null(fixture->plain);
    scratch_make(&fixture->scratch);
    *state = fixture;
    return 0;
}

static inline int fixture_tear_down(void **state)
{
    struct fixture *fixture = *state;
    rules_free(fixture->rules);
    rules_free(fixture->plain);
    arena_free(fixture->arena);
    diags_free(fixture->diags);
    scratch_remove(&fixture->scratch);
    free(fixture);
    return 0;
}

/* A test that is given these. */
#define WITH_RULES(name) TEST_WITH(name, fixture_set_up, fixture_tear_down)

#endif
