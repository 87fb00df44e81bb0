/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_SUPPORT_FIXTURE_H
#define JARSIDE_TESTS_SUPPORT_FIXTURE_H

/* What most tests are given: rules and what is made of them, a journal, a folder. */
#include <stdlib.h>
#include <time.h>

#include "base/diag.h"
#include "base/memory.h"
#include "journal/journal.h"
#include "language/reader.h"
#include "reason/reason.h"
#include "rules/rules.h"
#include "support/test.h"
#include "triage/triage.h"

#define TINY "tests/unit/tiny-rules"

struct fixture { /* messages and an arena; the rest is there where the test asks for it */
    struct diags *diags;
    struct arena *arena;
    struct scratch scratch;
    struct rules *plain, *rules; /* the small ones, and those that were loaded; or NULL */
    enum status status;          /* of loading those */
    struct reader *reader;
    struct reasoner *reasoner;
    struct triage *triage;
    struct journal *journal;
};

static inline struct fixture *fixture_new(void)
{
    struct fixture *fixture = calloc(1, sizeof *fixture);
    assert_non_null(fixture);
    fixture->diags = diags_new();
    fixture->arena = arena_new();
    return fixture;
}

static inline int fixture_tear_down(void **state)
{
    struct fixture *fixture = *state;
    journal_close(fixture->journal);
    triage_free(fixture->triage);
    reasoner_free(fixture->reasoner);
    reader_free(fixture->reader);
    rules_free(fixture->rules);
    rules_free(fixture->plain);
    arena_free(fixture->arena);
    diags_free(fixture->diags);
    if (fixture->scratch.path[0] != '\0')
        scratch_remove(&fixture->scratch);
    free(fixture);
    return 0;
}

/* Rules that must load, and their reader. */
static inline void fixture_read(struct fixture *fixture, const char *folder)
{
    fixture->rules = rules_load(&folder, 1, fixture->diags, NULL);
    for (size_t i = 0; i < diags_kept(fixture->diags); i++) {
        const struct diag *diag = diags_get(fixture->diags, i);
        print_error("%s:%zu: %s\n", diag->at.file, diag->at.line, diag->message);
    }
    assert_non_null(fixture->rules);
    fixture->reader = reader_new(fixture->rules, fixture->diags);
    assert_non_null(fixture->reader);
}

/* And a case. */
static inline void fixture_judges(struct fixture *fixture)
{
    fixture->reasoner = reasoner_new(fixture->rules);
    fixture->triage = triage_new(fixture->rules, fixture->reader, fixture->reasoner);
    assert_non_null(fixture->triage);
}

/* The shipped rules, for tests that are run from the top of the tree. */
static inline int shipped_setup(void **state)
{
    struct fixture *fixture = fixture_new();
    fixture_read(fixture, "rules");
    *state = fixture;
    return 0;
}

/* The small rule base with a case. */
static inline int loaded_setup(void **state)
{
    struct fixture *fixture = fixture_new();
    fixture_read(fixture, TINY);
    fixture_judges(fixture);
    *state = fixture;
    return 0;
}

/* The small rule base, and a folder of files to be read over it or in its place. */
static inline int fixture_set_up(void **state)
{
    const char *const folders[] = {TINY};
    struct fixture *fixture = fixture_new();
    fixture->plain = rules_load(folders, 1, fixture->diags, NULL);
    assert_non_null(fixture->plain);
    scratch_make(&fixture->scratch);
    *state = fixture;
    return 0;
}

/* Loads folders, in place of what was loaded before. */
static inline void load_rules(struct fixture *fixture, const char *const *folders, size_t count)
{
    rules_free(fixture->rules);
    diags_clear(fixture->diags);
    fixture->rules = rules_load(folders, count, fixture->diags, &fixture->status);
}

/* A fresh journal. */
static inline int journal_setup(void **state)
{
    struct fixture *fixture = fixture_new();
    setenv("TZ", "UTC0", 1);
    tzset();
    scratch_make(&fixture->scratch);
    assert_int_equal(journal_open(scratch_path(&fixture->scratch, "journal.db"), JOURNAL_CREATE,
                                  &fixture->journal, fixture->diags),
                     STATUS_OK);
    *state = fixture;
    return 0;
}

/* A test that is given these. */
#define WITH_RULES(name)   TEST_WITH(name, fixture_set_up, fixture_tear_down)
#define IN_A_JOURNAL(name) TEST_WITH(name, journal_setup, fixture_tear_down)

#endif
