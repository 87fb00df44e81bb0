/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Arenas: alignment, zeroing, overflow, release order, and every request failing once. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/memory.h"

/* An allocator whose nth request fails, and which knows what is still out. */
struct failing {
    size_t requests, fail_at; /* fail_at 0: never */
    size_t outstanding;
};

static void *failing_allocate(void *context, size_t size)
{
    struct failing *failing = context;
    if (++failing->requests == failing->fail_at)
        return NULL;
    void *block = malloc(size);
    if (block) {
        memset(block, 0xA5, size); /* so that a piece that was not zeroed shows */
        failing->outstanding++;
    }
    return block;
}

static void failing_release(void *context, void *block)
{
    struct failing *failing = context;
    failing->outstanding--;
    free(block);
}

static struct allocator allocator_of(struct failing *failing)
{
    return (struct allocator){failing_allocate, failing_release, failing};
}

static bool all_zero(const void *bytes, size_t size)
{
    const unsigned char *byte = bytes;
    for (size_t i = 0; i < size; i++)
        if (byte[i] != 0)
            return false;
    return true;
}

static void test_pieces_are_aligned_zeroed_and_apart(void **state)
{
    (void)state;
    struct failing failing = {0};
    const struct allocator allocator = allocator_of(&failing);
    struct arena *arena = arena_new(&allocator);
    assert_non_null(arena);
    unsigned char *previous = NULL;
    for (size_t size = 0; size < 300; size++) {
        unsigned char *piece = arena_alloc(arena, size);
        assert_non_null(piece);
        assert_int_equal((uintptr_t)piece % _Alignof(max_align_t), 0);
        assert_true(all_zero(piece, size));
        memset(piece, 0xFF, size);
        if (previous && size > 1)
            assert_int_equal(previous[size - 2], 0xFF);
        previous = piece;
    }
    assert_true(arena_used(arena) >= 299 * 300 / 2);
    assert_false(arena_exhausted(arena));
    arena_free(arena);
    assert_int_equal(failing.outstanding, 0);
}

static void test_a_large_piece_leaves_the_block_in_use(void **state)
{
    (void)state;
    struct failing failing = {0};
    const struct allocator allocator = allocator_of(&failing);
    struct arena *arena = arena_new(&allocator);
    assert_non_null(arena_alloc(arena, 16));
    char *large = arena_alloc(arena, 1024 * 1024);
    assert_non_null(large);
    large[1024 * 1024 - 1] = 'x';
    const size_t requests = failing.requests;
    assert_non_null(arena_alloc(arena, 16));
    assert_int_equal(failing.requests, requests);
    arena_free(arena);
    assert_int_equal(failing.outstanding, 0);
}

static void test_overflow_is_refused(void **state)
{
    (void)state;
    struct arena *arena = arena_new(NULL);
    assert_null(arena_array(arena, SIZE_MAX / 2, 3));
    assert_true(arena_exhausted(arena));
    arena_reset(arena);
    assert_false(arena_exhausted(arena));
    assert_null(arena_alloc(arena, SIZE_MAX));
    assert_null(arena_alloc(arena, SIZE_MAX - 40));
    assert_null(arena_copy(arena, "", SIZE_MAX));
    assert_null(arena_grow(arena, "", 1, SIZE_MAX, 2));
    assert_true(arena_exhausted(arena));
    assert_non_null(arena_alloc(arena, 8)); /* a failed request leaves the arena usable */
    assert_true(arena_exhausted(arena));
    arena_free(arena);
}

static void test_empty_arrays_and_strings(void **state)
{
    (void)state;
    struct arena *arena = arena_new(NULL);
    assert_non_null(arena_alloc(arena, 0));
    assert_non_null(arena_array(arena, 0, 8));
    assert_non_null(arena_array(arena, 8, 0));
    assert_string_equal(arena_copy(arena, "abc", 2), "ab");
    assert_string_equal(arena_copy(arena, "", 0), "");
    assert_string_equal(arena_string(arena, "whole"), "whole");
    assert_string_equal(arena_format(arena, "%s-%d", "jar", 7), "jar-7");
    assert_string_equal(arena_format(arena, "%s", ""), "");
    arena_free(arena);
    arena_free(NULL);
}

static void test_growing_keeps_and_zeroes(void **state)
{
    (void)state;
    struct arena *arena = arena_new(NULL);
    int *numbers = arena_grow(arena, NULL, 0, 2, sizeof *numbers);
    numbers[0] = 7;
    numbers[1] = 8;
    int *more = arena_grow(arena, numbers, 2, 5, sizeof *more);
    assert_int_equal(more[0], 7);
    assert_int_equal(more[1], 8);
    assert_true(all_zero(more + 2, 3 * sizeof *more));
    int *fewer = arena_grow(arena, more, 5, 1, sizeof *fewer);
    assert_int_equal(fewer[0], 7);
    arena_free(arena);
}

static void test_words_are_joined(void **state)
{
    (void)state;
    static const char *const words[] = {"", "green", "", "patch", ""};
    struct arena *arena = arena_new(NULL);
    assert_string_equal(arena_join(arena, words, 5), "green patch");
    assert_string_equal(arena_join(arena, words, 1), "");
    assert_string_equal(arena_join(arena, NULL, 0), "");
    arena_free(arena);
}

static void test_reset_starts_anew(void **state)
{
    (void)state;
    struct failing failing = {0};
    const struct allocator allocator = allocator_of(&failing);
    struct arena *arena = arena_new(&allocator);
    for (int i = 0; i < 100; i++)
        memset(arena_alloc(arena, 1000), 0xEE, 1000);
    assert_true(failing.outstanding > 3);
    arena_reset(arena);
    assert_int_equal(failing.outstanding, 2); /* the arena and the one block it keeps */
    assert_true(all_zero(arena_alloc(arena, 1000), 1000));
    arena_reset(arena);
    arena_reset(arena);
    arena_free(arena);
    assert_int_equal(failing.outstanding, 0);
}

/* ---- the nth request fails ------------------------------------------------------------------- */

/* A build-up as a loader does it; true when every step had its memory. */
static bool build_up(struct arena *arena)
{
    bool complete = true;
    int *list = NULL;
    for (size_t i = 0; i < 40; i++) {
        int *grown = arena_grow(arena, list, i, i + 1, 500 * sizeof *list);
        complete = complete && grown;
        list = grown ? grown : NULL;
        if (!list)
            break;
    }
    complete = arena_string(arena, "a name") && complete;
    return arena_format(arena, "%0*d", 20000, 1) && complete;
}

static void test_every_request_may_fail(void **state)
{
    (void)state;
    bool complete = false;
    size_t n = 0;
    while (!complete) {
        n++;
        assert_true(n < 10000);
        struct failing failing = {.fail_at = n};
        const struct allocator allocator = allocator_of(&failing);
        struct arena *arena = arena_new(&allocator);
        if (arena) {
            complete = build_up(arena);
            assert_int_equal(arena_exhausted(arena), !complete);
            arena_free(arena);
        } else {
            assert_int_equal(n, 1);
        }
        assert_int_equal(failing.outstanding, 0);
    }
    assert_true(n > 20); /* it did go through many failures before the first success */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_pieces_are_aligned_zeroed_and_apart),
        cmocka_unit_test(test_a_large_piece_leaves_the_block_in_use),
        cmocka_unit_test(test_overflow_is_refused),
        cmocka_unit_test(test_empty_arrays_and_strings),
        cmocka_unit_test(test_growing_keeps_and_zeroes),
        cmocka_unit_test(test_words_are_joined),
        cmocka_unit_test(test_reset_starts_anew),
        cmocka_unit_test(test_every_request_may_fail),
    };
    cmocka_set_message_output(CM_OUTPUT_TAP);
    return cmocka_run_group_tests_name("arena", tests, NULL, NULL);
}
