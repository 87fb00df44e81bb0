/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_MEMORY_H
#define JARSIDE_BASE_MEMORY_H

#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

/* Out of memory ends the program, from one place.
 *
 * When the system refuses malloc, calloc, realloc, strdup or strndup, called by the program or by
 * Jansson, memory_exhausted is called and the request does not return: callers need not check. The
 * linker routes these calls through memory.c (--wrap in the Makefile). What another library asks for
 * by itself does not pass here; where its result says that memory is lacking, call
 * memory_exhausted. SQLite's SQLITE_NOMEM is an error of the journal like any other. */

/* Restores the terminal, removes files half written (base/filing.h), says "out of memory" on
 * standard error and exits with STATUS_INTERNAL. A transaction that is open is not committed. */
_Noreturn void memory_exhausted(void);

/* What memory_exhausted is to call first, to restore the terminal; NULL for nothing. */
void memory_at_end(void (*restore)(void));

/* An arena: memory that is handed out piece by piece and given back all at once.
 *
 * One arena holds one document, one rule base or one consultation. Pointers from an arena are valid
 * until arena_free (or arena_reset) and are never freed singly. Memory of libraries (a compiled
 * pattern, a statement) cannot live in it.
 *
 * Nothing here returns NULL: lack of memory, and a size beyond what there can be, end the
 * program. */
struct arena;

/* A new, empty arena. */
struct arena *arena_new(void);

/* Gives everything back. NULL is fine. */
void arena_free(struct arena *arena);

/* Of a variable: the arena or the block of malloc it points to is given back with its scope. */
#define SCOPED_ARENA __attribute__((cleanup(arena_end_scope)))
#define SCOPED_FREE  __attribute__((cleanup(memory_end_scope)))
void arena_end_scope(struct arena **arena);
void memory_end_scope(void *block);
/* Such a block: an array of `count` zeroed elements, at least one, of `size` bytes. */
void *memory_array(size_t count, size_t size);

/* As arena_free, but the arena stays usable, and empty. */
void arena_reset(struct arena *arena);

/* `size` zeroed bytes aligned for any object. Size 0 gives a valid pointer. */
void *arena_alloc(struct arena *arena, size_t size);

/* An array of `count` zeroed elements of `size` bytes. */
void *arena_array(struct arena *arena, size_t count, size_t size);

/* The same, not zeroed: for what is written whole at once. */
void *arena_room(struct arena *arena, size_t count, size_t size);

/*
 * An array that grows by one. `list` is a pointer to its elements, NULL while `count` is 0, and only
 * this macro makes it longer; no other field is needed, since it doubles whenever `count` is a power
 * of two. Counts one more, and is a pointer to the new element, which is not zeroed:
 *
 *     *arena_push(arena, names->list, names->count) = name;
 */
#define arena_push(arena, list, count)                                                             \
    ((list) = ((count) & ((count)-1)) ? (list) : arena_more(arena, list, count, sizeof *(list)),   \
     &(list)[(count)++])

/* Sorts any number of elements, none included (C asks qsort for an array even then). */
#define array_sort(list, count, compare)                                                           \
    ((count) > 1 ? qsort(list, count, sizeof *(list), compare) : (void)0)
/* For such a comparison: -1, 0 or 1 as the first is the less, the same or more. */
#define ORDER(first, second) (((first) > (second)) - ((first) < (second)))

/* Behind arena_push: the elements with room for one more. */
void *arena_more(struct arena *arena, const void *list, size_t count, size_t size);

/* A NUL-terminated copy of `length` bytes at `text`, of the whole string, of a formatted one. */
char *arena_copy(struct arena *arena, const char *text, size_t length);
char *arena_string(struct arena *arena, const char *text);
char *arena_format(struct arena *arena, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Adds to a list in words what is formatted, with the separator before all but the first. */
void arena_append(struct arena *arena, const char **list, const char *separator, const char *format,
                  ...) __attribute__((format(printf, 4, 5)));

/* The words that are not empty, with a space between; "" for none. */
char *arena_join(struct arena *arena, const char *const *words, size_t count);

/* A hash of bytes, eight at a time, for as long as the program runs: it need not be the same anywhere else. */
uint64_t hash_of(const void *bytes, size_t length);

/* Hashes, numbered from 0 in the order they came. That two keys share one is less likely than a broken
 * machine. All zero is an empty set; what is outgrown stays in the arena. */
struct hashed {
    struct hash_slot { /* open addressing */
        uint64_t hash;
        uint32_t number; /* and one; 0: free */
    } * slots;
    size_t count, room; /* at most half of the room is ever taken */
};
#define NO_INDEX UINT32_MAX
/* The number of a hash, or NO_INDEX; hashed_add numbers it if need be: then it is what the count was. */
uint32_t hashed_find(const struct hashed *set, uint64_t hash);
uint32_t hashed_add(struct hashed *set, struct arena *arena, uint64_t hash);

/* The hash FNV-1a of Fowler, Noll and Vo, in 64 bits: begin with FNV_START, go on with the last. */
#define FNV_START UINT64_C(0xcbf29ce484222325)
#define FNV_PRIME UINT64_C(0x100000001b3)
uint64_t fnv_hash(uint64_t hash, const void *bytes, size_t length);

#endif
