/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The shipped rules and cases: nothing is wrong with them, and nothing is idle. */

#include "base/diag.h"
#include "base/memory.h"
#include "language/reader.h"
#include "rules/rules.h"
#include "support/test.h"

static void assert_silent(const struct diags *diags)
{
    for (size_t i = 0; i < diags_kept(diags); i++) {
        const struct diag *diag = diags_get(diags, i);
        print_message("# %s:%zu:%zu: %s\n", diag->at.file ? diag->at.file : "", diag->at.line,
                      diag->at.column, diag->message);
    }
    assert_int_equal(diags_errors(diags) + diags_warnings(diags), 0);
}

static int load_shipped(void **state)
{
    const char *const folders[] = {"rules"};
    struct diags *diags = diags_new();
    struct rules *rules = rules_load(folders, 1, diags, NULL);
    assert_silent(diags);
    assert_non_null(rules);
    diags_free(diags);
    *state = rules;
    return 0;
}

static int free_shipped(void **state)
{
    rules_free(*state);
    return 0;
}

TEST(test_patterns_compile)
{
    struct diags *diags = diags_new();
    struct reader *reader = reader_new(*state, diags);
    assert_silent(diags);
    assert_non_null(reader);
    reader_free(reader);
    diags_free(diags);
}

static void assert_cases(const struct rules *rules, const char *path)
{
    struct arena *arena = arena_new();
    struct diags *diags = diags_new();
    const struct labelled_case *cases;
    size_t count;
    assert_int_equal(cases_load(path, rules, arena, &cases, &count, diags), STATUS_OK);
    assert_silent(diags);
    assert_true(count > 0);
    diags_free(diags);
    arena_free(arena);
}

TEST(test_cases_load)
{
    assert_cases(*state, "corpus/cases");
    assert_cases(*state, "corpus/cases-held-out");
    assert_cases(*state, "corpus/demo");
}

/* What is contaminated is never kept: no worth, no steps, and a floor against it. */
TEST(test_nothing_keeps_what_is_contaminated)
{
    const struct rules *rules = *state;
    size_t contaminated = 0;
    for (size_t i = 0; i < rules->finding_count; i++) {
        const struct finding *finding = &rules->findings[i];
        if (finding->status != FINDING_CONTAMINATED)
            continue;
        contaminated++;
        assert_true(finding->kept_worth == 0);
        assert_int_equal(finding->step_count[ACTION_KEEP], 0);
    }
    assert_true(contaminated > 0);
    bool bounded = false;
    for (size_t i = 0; i < rules->decision.floor_count; i++) {
        const struct floor_rule *rule = &rules->decision.floors[i];
        bounded = bounded || (rule->forbids_keep && !rule->when.count && !rule->unless_count &&
                              rule->contaminated_above <= 0.1);
    }
    assert_true(bounded);
}

int main(void)
{
    return tests_run("shipped rules", load_shipped, free_shipped);
}
