/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whichever request for memory fails, loading says so, and gives back what it got. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "base/diag.h"
#include "base/memory.h"
#include "rules/cases.h"
#include "rules/rules.h"

/* Grants so many requests and no more; knows how many blocks are out. */
struct purse {
    size_t granted, most;
    size_t out;
};

static void *purse_allocate(void *context, size_t size)
{
    struct purse *purse = context;
    if (purse->granted == purse->most)
        return NULL;
    purse->granted++;
    purse->out++;
    return malloc(size);
}

static void purse_release(void *context, void *block)
{
    struct purse *purse = context;
    purse->out--;
    free(block);
}

static struct rules *load(struct purse *purse, const char *const *folders, size_t count,
                          struct diags *diags, enum status *status)
{
    const struct allocator allocator = {purse_allocate, purse_release, purse};
    return rules_load(folders, count, diags, status, &allocator);
}

/* Fails at every request in turn; returns how many it takes. */
static size_t starve(const char *const *folders, size_t count, enum status in_the_end)
{
    for (size_t most = 0; most < 5000; most++) {
        struct purse purse = {.most = most};
        struct diags *diags = diags_new();
        enum status status = STATUS_INTERNAL;
        struct rules *rules = load(&purse, folders, count, diags, &status);
        assert_int_equal(rules != NULL, status == STATUS_OK);
        assert_int_equal(diags_errors(diags) == 0, status == STATUS_OK);
        bool starved = status == STATUS_MEMORY;
        if (starved) {
            const struct diag *last = diags_get(diags, diags_kept(diags) - 1);
            assert_string_equal(last->message, "out of memory while reading the rules");
            assert_int_equal(purse.out, 0);
        } else {
            assert_int_equal(status, in_the_end);
        }
        rules_free(rules);
        assert_int_equal(purse.out, 0);
        diags_free(diags);
        if (!starved)
            return most;
    }
    fail_msg("it never has enough");
    return 0;
}

static void test_good_rules(void **state)
{
    (void)state;
    const char *const folders[] = {"tests/unit/tiny-rules"};
    assert_true(starve(folders, 1, STATUS_OK) > 4);
}

static void test_bad_rules(void **state)
{
    (void)state;
    const char *const folders[] = {"tests/unit/tiny-rules", "tests/bad-rules/caution-choices.yaml"};
    assert_true(starve(folders, 2, STATUS_DATA) > 4);
}

static void test_many_small_requests(void **state)
{
    (void)state;
    const char *const folders[] = {"tests/unit/tiny-rules", "tests/bad-rules"};
    assert_true(starve(folders, 2, STATUS_DATA) > 10);
}

static void test_cases(void **state)
{
    (void)state;
    const char *const folders[] = {"tests/unit/tiny-rules"};
    struct diags *diags = diags_new();
    struct rules *rules = rules_load(folders, 1, diags, NULL, NULL);
    assert_non_null(rules);
    enum status status = STATUS_MEMORY;
    for (size_t most = 1; status == STATUS_MEMORY && most < 100; most++) {
        struct purse purse = {.most = most};
        const struct allocator allocator = {purse_allocate, purse_release, &purse};
        struct arena *arena = arena_new(&allocator);
        const struct labelled_case *cases = NULL;
        size_t count = 0;
        assert_non_null(arena);
        status = cases_load("tests/unit/tiny-cases", rules, arena, &cases, &count, diags);
        assert_int_equal(cases != NULL, status == STATUS_OK);
        arena_free(arena);
        assert_int_equal(purse.out, 0);
    }
    assert_int_equal(status, STATUS_OK);
    rules_free(rules);
    diags_free(diags);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_good_rules),
        cmocka_unit_test(test_bad_rules),
        cmocka_unit_test(test_many_small_requests),
        cmocka_unit_test(test_cases),
    };
    cmocka_set_message_output(CM_OUTPUT_TAP);
    return cmocka_run_group_tests_name("rules without memory", tests, NULL, NULL);
}
