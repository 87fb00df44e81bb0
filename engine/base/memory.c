/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/memory.h"

#include <jansson.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/filing.h"
#include "base/text.h"

/* Requests come without a context, from every thread: there is no other place for these. */
static void (*restore_terminal)(void);
static atomic_flag ending = ATOMIC_FLAG_INIT;

void memory_at_end(void (*restore)(void))
{
    restore_terminal = restore;
}

_Noreturn void memory_exhausted(void)
{
    static const char message[] = "jarside: error: out of memory\n";
    while (atomic_flag_test_and_set(&ending)) /* another thread is at it */
        pause();
    if (restore_terminal)
        restore_terminal();
    filing_remove_unfinished();
    if (write(STDERR_FILENO, message, sizeof message - 1) < 0)
        _exit(STATUS_IO);
    _exit(STATUS_INTERNAL);
}

/* The names are the linker's. NOLINTBEGIN(bugprone-reserved-identifier,cert-dcl37-c,cert-dcl51-cpp) */
#define WATCH(type, name, parameters, ...)                                                         \
    type __real_##name parameters;                                                                 \
    type __wrap_##name parameters;                                                                 \
    type __wrap_##name parameters                                                                  \
    {                                                                                              \
        type granted = __real_##name(__VA_ARGS__);                                                 \
        if (!granted)                                                                              \
            memory_exhausted();                                                                    \
        return granted;                                                                            \
    }
WATCH(void *, malloc, (size_t size), size)
WATCH(void *, calloc, (size_t count, size_t size), count, size)
WATCH(void *, realloc, (void *block, size_t size), block, size ? size : 1)
WATCH(char *, strdup, (const char *text), text)
WATCH(char *, strndup, (const char *text, size_t most), text, most)
/* NOLINTEND(bugprone-reserved-identifier,cert-dcl37-c,cert-dcl51-cpp) */

__attribute__((constructor)) static void watch_json(void)
{
    json_set_alloc_funcs(malloc, free);
}

/* A block holds its header and then the pieces; the header is padded so that they are aligned. */
struct block {
    struct block *next;
    size_t capacity; /* bytes after the header */
    size_t used;
};

struct arena {
    struct block *blocks; /* newest first; the head is the one pieces are cut from */
};

enum { ALIGNMENT = _Alignof(max_align_t), BLOCK_BYTES = 16 * 1024, BLOCK_MOST = 256 * 1024 };

static size_t align_up(size_t size)
{
    return (size + ALIGNMENT - 1) / ALIGNMENT * ALIGNMENT;
}

static size_t header_bytes(void)
{
    return align_up(sizeof(struct block));
}

struct arena *arena_new(void)
{
    return calloc(1, sizeof(struct arena));
}

static void release_blocks(struct block *blocks)
{
    while (blocks) {
        struct block *next = blocks->next;
        free(blocks);
        blocks = next;
    }
}

void arena_free(struct arena *arena)
{
    if (!arena)
        return;
    release_blocks(arena->blocks);
    free(arena);
}

void arena_end_scope(struct arena **arena)
{
    arena_free(*arena);
}

void *memory_array(size_t count, size_t size)
{
    return calloc(count + (count == 0), size);
}

void memory_end_scope(void *block)
{
    void *held;
    memcpy(&held, block, sizeof held);
    free(held);
}

void arena_reset(struct arena *arena)
{
    /* One block is kept: an arena that is reset is about to be filled again. */
    struct block *kept = arena->blocks;
    if (kept) {
        release_blocks(kept->next);
        kept->next = NULL;
        kept->used = 0;
    }
}

static struct block *block_add(struct arena *arena, size_t need)
{
    /* The more an arena holds the longer its blocks. */
    const size_t last = arena->blocks ? arena->blocks->capacity : BLOCK_BYTES / 2;
    const size_t usual = last < BLOCK_MOST / 2 ? 2 * last : BLOCK_MOST;
    const size_t capacity = need > usual ? need : usual;
    struct block *block = malloc(header_bytes() + capacity);
    *block = (struct block){.capacity = capacity};
    /* A large piece fills its block alone; after the head, it leaves the head's room in use. */
    if (need > usual && arena->blocks) {
        block->next = arena->blocks->next;
        arena->blocks->next = block;
    } else {
        block->next = arena->blocks;
        arena->blocks = block;
    }
    return block;
}

void *arena_room(struct arena *arena, size_t count, size_t size)
{
    if (size && count > PTRDIFF_MAX / size)
        memory_exhausted();
    size_t need = align_up(count && size ? count * size : 1);
    struct block *block = arena->blocks;
    if (!block || need > block->capacity - block->used)
        block = block_add(arena, need);
    unsigned char *piece = (unsigned char *)block + header_bytes() + block->used;
    block->used += need;
    return piece;
}

void *arena_alloc(struct arena *arena, size_t size)
{
    void *piece = arena_room(arena, 1, size);
    memset(piece, 0, align_up(size ? size : 1));
    return piece;
}

void *arena_array(struct arena *arena, size_t count, size_t size)
{
    if (size && count > SIZE_MAX / size)
        memory_exhausted();
    return arena_alloc(arena, count * size);
}

void *arena_more(struct arena *arena, const void *list, size_t count, size_t size)
{
    enum { FIRST = 8 };
    if (count != 0 && (count < FIRST || (count & (count - 1)) != 0))
        return (void *)list;
    void *longer = arena_room(arena, count ? 2 * count : FIRST, size);
    return count ? memcpy(longer, list, count * size) : longer;
}

char *arena_copy(struct arena *arena, const char *text, size_t length)
{
    if (length >= PTRDIFF_MAX)
        memory_exhausted();
    char *copy = arena_room(arena, length + 1, 1);
    if (length)
        memcpy(copy, text, length);
    copy[length] = '\0';
    return copy;
}

char *arena_string(struct arena *arena, const char *text)
{
    return arena_copy(arena, text, strlen(text));
}

char *arena_format(struct arena *arena, const char *format, ...)
{
    FORMATTED(formatted, format);
    return arena_string(arena, formatted);
}

void arena_append(struct arena *arena, const char **list, const char *separator, const char *format,
                  ...)
{
    FORMATTED(more, format);
    *list = arena_format(arena, "%s%s%s", *list, **list != '\0' ? separator : "", more);
}

char *arena_join(struct arena *arena, const char *const *words, size_t count)
{
    size_t room = 1;
    for (size_t i = 0; i < count; i++)
        room += strlen(words[i]) + 1;
    char *joined = arena_alloc(arena, room);
    char *end = joined;
    for (size_t i = 0; i < count; i++) {
        size_t length = strlen(words[i]);
        if (length && end > joined)
            *end++ = ' ';
        memcpy(end, words[i], length);
        end += length;
    }
    return joined;
}

static uint64_t mixed(uint64_t value)
{
    value *= UINT64_C(0x9E3779B97F4A7C15);
    return value ^ value >> 32;
}

uint64_t hash_of(const void *bytes, size_t length)
{
    const char *text = bytes;
    uint64_t hash = length, part = 0;
    for (; length >= sizeof part; length -= sizeof part, text += sizeof part) {
        memcpy(&part, text, sizeof part);
        hash = mixed(hash ^ part);
    }
    for (part = 0; length > 0; length--)
        part = part << 8 | (unsigned char)*text++;
    return mixed(hash ^ part);
}

/* Where a hash is, or would be. */
static struct hash_slot *hashed_slot(const struct hashed *set, uint64_t hash)
{
    size_t at = hash & (set->room - 1);
    while (set->slots[at].number != 0 && set->slots[at].hash != hash)
        at = (at + 1) & (set->room - 1);
    return &set->slots[at];
}

uint32_t hashed_find(const struct hashed *set, uint64_t hash)
{
    return set->room ? hashed_slot(set, hash)->number - 1 : NO_INDEX; /* of a free one, too */
}

uint32_t hashed_add(struct hashed *set, struct arena *arena, uint64_t hash)
{
    enum { FIRST = 16 };
    if (2 * set->count == set->room) {
        const struct hashed old = *set;
        set->room = old.room ? 4 * old.room : FIRST;
        set->slots = arena_array(arena, set->room, sizeof *set->slots);
        for (size_t i = 0; i < old.room; i++)
            if (old.slots[i].number != 0)
                *hashed_slot(set, old.slots[i].hash) = old.slots[i];
    }
    struct hash_slot *slot = hashed_slot(set, hash);
    if (slot->number == 0)
        *slot = (struct hash_slot){hash, (uint32_t)++set->count};
    return slot->number - 1;
}

uint64_t fnv_hash(uint64_t hash, const void *bytes, size_t length)
{
    const unsigned char *byte = bytes;
    for (size_t i = 0; i < length; i++)
        hash = (hash ^ byte[i]) * FNV_PRIME;
    return hash;
}
