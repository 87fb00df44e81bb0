/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which patterns could match at all.
 *
 * Gathered as lists while the rules are read, then laid out so that a scan reads
 * memory in order: a place in a text is looked up some hundred times in each
 * description, and what that costs is waiting for memory.
 */
#include <string.h>

#include "knowledge/reader_internal.h"

/* A string and who needs it, while they are gathered. */
struct gathered_literal {
    const char *text;
    uint32_t length;
    uint32_t bucket;
    uint32_t users; /* the last gathered; NO_INDEX ends every list here */
    uint32_t user_count;
    uint32_t next; /* in the same bucket */
};

struct gathered_user {
    struct literal_user user;
    uint32_t next; /* of the same literal */
};

struct gathering {
    struct arena *arena;
    struct gathered_literal *literals;
    size_t literal_count, literal_room;
    struct gathered_user *users;
    size_t user_count, user_room;
    uint32_t buckets[PREFILTER_BUCKETS];
};

/* Makes room for one more; `items` as they are, or NULL when out of memory. */
static void *grown(struct arena *arena, void *items, size_t used, size_t *room, size_t size)
{
    if (used < *room)
        return items;
    size_t larger = *room ? 2 * *room : 512;
    void *moved = arena_grow(arena, items, used, larger, size);
    if (moved)
        *room = larger;
    return moved;
}

struct gathering *prefilter_begin(struct arena *scratch)
{
    struct gathering *gathering = arena_alloc(scratch, sizeof *gathering);
    if (!gathering)
        return NULL;
    *gathering = (struct gathering){.arena = scratch};
    for (size_t i = 0; i < PREFILTER_BUCKETS; i++)
        gathering->buckets[i] = NO_INDEX;
    return gathering;
}

static bool add_always(struct prefilter *filter, struct arena *memory, uint32_t pattern)
{
    uint32_t *always =
        grown(memory, filter->always, filter->always_count, &filter->always_room, sizeof *always);
    if (!always)
        return false;
    filter->always = always;
    always[filter->always_count++] = pattern;
    return true;
}

/* The first eight bytes of a string, or all of them and zeros. */
static uint64_t head_of(const char *text, uint32_t length)
{
    char padded[8] = {0};
    memcpy(padded, text, length < 8 ? length : 8);
    return prefilter_word(padded);
}

/* The longest key it has. */
static size_t kind_of(uint32_t length)
{
    size_t kind = LITERAL_KEYS - 1;
    while (kind > 0 && prefilter_key(kind) > length)
        kind--;
    return kind;
}

static uint32_t hash_of(const struct literal_text *text)
{
    return prefilter_hash(head_of(text->text, text->length), kind_of(text->length));
}

/* The literal of this text, made if need be; NULL when out of memory. */
static struct gathered_literal *literal_of(struct gathering *g, const struct literal_text *text)
{
    uint32_t bucket = prefilter_bucket(hash_of(text));
    for (uint32_t i = g->buckets[bucket]; i != NO_INDEX; i = g->literals[i].next)
        if (g->literals[i].length == text->length &&
            !memcmp(g->literals[i].text, text->text, text->length))
            return &g->literals[i];
    struct gathered_literal *literals =
        grown(g->arena, g->literals, g->literal_count, &g->literal_room, sizeof *literals);
    const char *copy = arena_copy(g->arena, text->text, text->length);
    if (!literals || !copy)
        return NULL;
    g->literals = literals;
    struct gathered_literal *literal = &literals[g->literal_count];
    *literal = (struct gathered_literal){.text = copy,
                                         .length = text->length,
                                         .bucket = bucket,
                                         .users = NO_INDEX,
                                         .next = g->buckets[bucket]};
    g->buckets[bucket] = (uint32_t)g->literal_count++;
    return literal;
}

static bool add_user(struct gathering *g, struct literal_user user, const struct literal_text *text)
{
    struct gathered_literal *literal = literal_of(g, text);
    struct gathered_user *users =
        grown(g->arena, g->users, g->user_count, &g->user_room, sizeof *users);
    if (!literal || !users)
        return false;
    g->users = users;
    users[g->user_count] = (struct gathered_user){.user = user, .next = literal->users};
    literal->users = (uint32_t)g->user_count++;
    literal->user_count++;
    return true;
}

bool prefilter_add(struct prefilter *filter, struct gathering *gathering, struct arena *memory,
                   uint32_t pattern, const struct literals *literals)
{
    if (!literals->required_count)
        return add_always(filter, memory, pattern);
    unsigned char all = (unsigned char)((1u << literals->required_count) - 1);
    for (size_t i = 0; i < literals->required_count; i++) {
        const struct literal_set *set = &literals->required[i];
        struct literal_user user = {
            .pattern = pattern, .all = all, .bit = (unsigned char)(1u << i)};
        for (size_t j = 0; j < set->count; j++)
            if (!add_user(gathering, user, &set->items[j]))
                return false;
    }
    return true;
}

/* Moves one literal and its users to where the scan looks for them. */
static bool place(struct prefilter *filter, const struct gathering *g, struct arena *memory,
                  const struct gathered_literal *from, struct literal *to, uint32_t *user)
{
    struct literal_text text = {.text = from->text, .length = from->length};
    uint32_t hash = hash_of(&text);
    *to = (struct literal){.head = head_of(from->text, from->length),
                           .length = from->length,
                           .users = *user,
                           .user_count = from->user_count};
    if (from->length > sizeof to->head)
        to->text = arena_copy(memory, from->text, from->length);
    for (uint32_t i = from->users; i != NO_INDEX; i = g->users[i].next)
        filter->users[(*user)++] = g->users[i].user;
    filter->kinds[prefilter_pair(to->head)] |= (unsigned char)(1u << kind_of(from->length));
    filter->keys[hash / 64] |= UINT64_C(1) << hash % 64;
    return to->text || from->length <= sizeof to->head;
}

bool prefilter_finish(struct prefilter *filter, const struct gathering *g, struct arena *memory)
{
    filter->literals = arena_array(memory, g->literal_count, sizeof *filter->literals);
    filter->users = arena_array(memory, g->user_count, sizeof *filter->users);
    if (!filter->literals || !filter->users)
        return false;
    uint32_t user = 0;
    for (size_t b = 0; b < PREFILTER_BUCKETS; b++) {
        filter->buckets[b] = (uint32_t)filter->literal_count;
        for (uint32_t i = g->buckets[b]; i != NO_INDEX; i = g->literals[i].next)
            if (!place(filter, g, memory, &g->literals[i],
                       &filter->literals[filter->literal_count++], &user))
                return false;
    }
    filter->buckets[PREFILTER_BUCKETS] = (uint32_t)filter->literal_count;
    return true;
}
