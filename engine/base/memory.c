/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/memory.h"

#include <jansson.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdlib.h>

/* Requests come without a context, from every thread: there is no other place to remember it. */
static atomic_bool refused;

/* The names are the linker's. NOLINTBEGIN(bugprone-reserved-identifier,cert-dcl37-c,cert-dcl51-cpp) */
void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *block, size_t size);
char *__real_strdup(const char *text);
char *__real_strndup(const char *text, size_t most);

void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *block, size_t size);
char *__wrap_strdup(const char *text);
char *__wrap_strndup(const char *text, size_t most);

static void *noted(void *block)
{
    if (block == NULL)
        refused = true;
    return block;
}

void *__wrap_malloc(size_t size)
{
    return noted(__real_malloc(size));
}

void *__wrap_calloc(size_t count, size_t size)
{
    return noted(__real_calloc(count, size));
}

void *__wrap_realloc(void *block, size_t size)
{
    return noted(__real_realloc(block, size));
}

char *__wrap_strdup(const char *text)
{
    return noted(__real_strdup(text));
}

char *__wrap_strndup(const char *text, size_t most)
{
    return noted(__real_strndup(text, most));
}
/* NOLINTEND(bugprone-reserved-identifier,cert-dcl37-c,cert-dcl51-cpp) */

bool memory_refused(void)
{
    return refused;
}

void memory_watch_json(void)
{
    json_set_alloc_funcs(malloc, free);
}
