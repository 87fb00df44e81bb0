/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Arenas: alignment, zeroing, growing; and how the program ends when there is no more memory. */
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/filing.h"
#include "base/memory.h"
#include "base/text.h"
#include "support/test.h"

/* AddressSanitizer would rather say itself that so much cannot be had. */
const char *__asan_default_options(void);
const char *__asan_default_options(void)
{
    return "allocator_may_return_null=1:log_path=/dev/null:max_allocation_size_mb=4096";
}

static bool all_zero(const void *bytes, size_t size)
{
    const unsigned char *byte = bytes;
    for (size_t i = 0; i < size; i++)
        if (byte[i] != 0)
            return false;
    return true;
}

TEST(test_pieces_are_aligned_zeroed_and_apart)
{
    (void)state;
    struct arena *arena = arena_new();
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
    arena_free(arena);
}

TEST(test_a_large_piece_leaves_the_block_in_use)
{
    (void)state;
    struct arena *arena = arena_new();
    char *small = arena_alloc(arena, 16);
    char *large = arena_alloc(arena, 1024 * 1024);
    large[1024 * 1024 - 1] = 'x';
    char *next = arena_alloc(arena, 16);
    assert_true(next > small && next < small + 1024);
    arena_free(arena);
}

TEST(test_empty_arrays_and_strings)
{
    (void)state;
    struct arena *arena = arena_new();
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

TEST(test_words_are_joined)
{
    (void)state;
    static const char *const words[] = {"", "green", "", "patch", ""};
    struct arena *arena = arena_new();
    assert_string_equal(arena_join(arena, words, 5), "green patch");
    assert_string_equal(arena_join(arena, words, 1), "");
    assert_string_equal(arena_join(arena, NULL, 0), "");
    arena_free(arena);
}

TEST(test_reset_starts_anew)
{
    (void)state;
    struct arena *arena = arena_new();
    for (int i = 0; i < 100; i++)
        memset(arena_alloc(arena, 1000), 0xEE, 1000);
    arena_reset(arena);
    assert_true(all_zero(arena_alloc(arena, 1000), 1000));
    arena_reset(arena);
    arena_reset(arena);
    arena_free(arena);
}

TEST(test_arrays_grow_by_one)
{
    (void)state;
    struct arena *arena = arena_new();
    size_t *numbers = NULL;
    size_t count = 0;
    while (count < 1000) {
        size_t *next = arena_push(arena, numbers, count);
        *next = count;
    }
    assert_int_equal(count, 1000);
    for (size_t i = 0; i < count; i++)
        assert_int_equal(numbers[i], i + 1);
    arena_free(arena);
}

/* ---- out of memory --------------------------------------------------------------------------- */

/* What a program that runs `what` says on standard error; its exit status must be 70. */
static void assert_ends(void (*what)(void))
{
    static const char expected[] = "restored\njarside: error: out of memory\n";
    int ends[2];
    assert_int_equal(pipe(ends), 0);
    pid_t child = fork();
    if (child == 0) {
        dup2(ends[1], STDERR_FILENO);
        what();
        _exit(0);
    }
    close(ends[1]);
    char said[100] = "";
    assert_int_equal(filing_read(ends[0], said, sizeof said - 1), sizeof expected - 1);
    assert_string_equal(said, expected);
    close(ends[0]);
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status));
    assert_int_equal(WEXITSTATUS(status), STATUS_INTERNAL);
}

static void restore(void)
{
    (void)!write(STDERR_FILENO, "restored\n", 9);
}

static volatile size_t huge = SIZE_MAX; /* so that no compiler sees through it */

static void alloc_beyond(void)
{
    arena_alloc(arena_new(), huge - 40);
}

static void array_beyond(void)
{
    arena_array(arena_new(), huge / 2, 3);
}

static void copy_beyond(void)
{
    arena_copy(arena_new(), "", huge - 1);
}

static void grow_beyond(void)
{
    arena_more(arena_new(), "", SIZE_MAX / 4 + 1, 2);
}

static void text_beyond(void)
{
    struct text text;
    text_init(&text);
    text_puts(&text, "kept");
    text_add(&text, "", huge);
}

static void malloc_beyond(void)
{
    void *volatile block = malloc(huge / 4);
    (void)block;
}

static void calloc_beyond(void)
{
    void *volatile block = calloc(huge / 2, 3);
    (void)block;
}

static void realloc_beyond(void)
{
    void *volatile block = realloc(malloc(1), huge / 4);
    (void)block;
}

TEST(test_what_cannot_be_had_ends_the_program)
{
    (void)state;
    static void (*const ways[])(void) = {alloc_beyond,  array_beyond,  copy_beyond,
                                         grow_beyond,   text_beyond,   malloc_beyond,
                                         calloc_beyond, realloc_beyond};
    memory_at_end(restore);
    for (size_t i = 0; i < sizeof ways / sizeof *ways; i++)
        assert_ends(ways[i]);
    memory_at_end(NULL);
}

static const char *folder;

static void write_half(void)
{
    struct filing filings[3];
    struct diags *diags = diags_new();
    for (size_t i = 0; i < 3; i++) {
        char *path = text_format("%s/%zu", folder, i);
        if (filing_open(&filings[i], path, false, diags) != STATUS_OK)
            _exit(1);
        assert_int_equal(fwrite("half", 1, 4, filings[i].stream), 4);
    }
    if (filing_commit(&filings[1], diags) != STATUS_OK)
        _exit(1);
    malloc_beyond();
}

TEST(test_half_written_files_are_removed)
{
    (void)state;
    char path[] = "/tmp/jarside-test-XXXXXX";
    folder = mkdtemp(path);
    assert_non_null(folder);
    memory_at_end(restore);
    assert_ends(write_half);
    memory_at_end(NULL);
    char *whole = text_format("%s/1", folder);
    assert_int_equal(unlink(whole), 0);
    assert_int_equal(rmdir(folder), 0); /* nothing else was in it */
    free(whole);
}

int main(void)
{
    return tests_run("arena", NULL, NULL);
}
