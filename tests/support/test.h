/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_SUPPORT_TEST_H
#define JARSIDE_TESTS_SUPPORT_TEST_H

/*
 * A test program: the functions of cmocka, and each TEST(name) { ... } of the file, which tests_run runs
 * in the order written.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static struct CMUnitTest tests_here[64];
static size_t tests_counted;

/* A test that is given nothing, or what is set up for it alone or for all of the file, in `state`. */
#define TEST(name) TEST_WITH(name, NULL, NULL)
#define TEST_WITH(name, set_up, tear_down)                                                         \
    static void name(void **state);                                                                \
    __attribute__((constructor)) static void add_##name(void)                                      \
    {                                                                                              \
        tests_here[tests_counted++] = (struct CMUnitTest){#name, name, set_up, tear_down, NULL};   \
    }                                                                                              \
    static void name(void **state)

/* Tells what came of them as TAP. `set_up` and `tear_down` are for all of them together, or NULL. */
static inline int tests_run(const char *title, CMFixtureFunction set_up,
                            CMFixtureFunction tear_down)
{
    cmocka_set_message_output(CM_OUTPUT_TAP);
    return _cmocka_run_group_tests(title, tests_here, tests_counted, set_up, tear_down);
}

#endif
