/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/diag.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/text.h"

struct diags {
    struct arena *arena; /* every string of every diagnostic */
    struct diag kept[DIAG_KEEP];
    size_t kept_count;
    size_t errors, warnings;
    bool last_kept; /* the last one added is kept: an excerpt may be attached */
};

struct diags *diags_new(void)
{
    struct diags *diags = calloc(1, sizeof *diags);
    if (!diags)
        return NULL;
    diags->arena = arena_new(NULL);
    if (!diags->arena) {
        free(diags);
        return NULL;
    }
    return diags;
}

void diags_free(struct diags *diags)
{
    if (!diags)
        return;
    arena_free(diags->arena);
    free(diags);
}

void diags_clear(struct diags *diags)
{
    struct arena *arena = diags->arena;
    arena_reset(arena);
    *diags = (struct diags){.arena = arena};
}

/* A safe copy in the arena; NULL stays NULL, and so does what there is no memory for. */
static const char *keep_safe(struct diags *diags, const char *string, size_t length)
{
    if (!string)
        return NULL;
    struct text safe;
    text_init(&safe);
    text_safe(&safe, string, length, NULL);
    const char *kept = safe.failed ? NULL : arena_copy(diags->arena, safe.bytes, safe.length);
    text_release(&safe);
    return kept;
}

/*
 * A place for a diagnostic of this kind, or NULL when there is no more. Errors
 * go before warnings: one that comes late takes the place of the last warning.
 */
static struct diag *take_place(struct diags *diags, enum diag_kind kind)
{
    if (diags->kept_count < DIAG_KEEP)
        return &diags->kept[diags->kept_count++];
    if (kind != DIAG_ERROR)
        return NULL;
    size_t at = DIAG_KEEP;
    while (at > 0 && diags->kept[at - 1].kind != DIAG_WARNING)
        at--;
    if (at == 0)
        return NULL;
    memmove(&diags->kept[at - 1], &diags->kept[at], (DIAG_KEEP - at) * sizeof diags->kept[0]);
    return &diags->kept[DIAG_KEEP - 1];
}

__attribute__((format(printf, 4, 0))) static void add(struct diags *diags, enum diag_kind kind,
                                                      struct position at, const char *format,
                                                      va_list arguments)
{
    struct diag *place = take_place(diags, kind);
    diags->last_kept = place != NULL;
    if (!place)
        return;
    *place = (struct diag){.kind = kind, .at = at, .message = "out of memory"};
    place->at.file = at.file ? keep_safe(diags, at.file, strlen(at.file)) : NULL;

    char *message = text_vformat(format, arguments);
    if (!message)
        return;
    const char *kept = keep_safe(diags, message, strlen(message));
    if (kept)
        place->message = kept;
    free(message);
}

void diags_error(struct diags *diags, struct position at, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    add(diags, DIAG_ERROR, at, format, arguments);
    va_end(arguments);
    diags->errors++;
}

void diags_warn(struct diags *diags, struct position at, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    add(diags, DIAG_WARNING, at, format, arguments);
    va_end(arguments);
    diags->warnings++;
}

void diags_excerpt(struct diags *diags, const char *excerpt, size_t caret)
{
    if (!diags->last_kept || !excerpt)
        return;
    struct diag *last = &diags->kept[diags->kept_count - 1];
    last->excerpt = keep_safe(diags, excerpt, strlen(excerpt));
    last->caret = last->excerpt ? caret : 0;
}

size_t diags_errors(const struct diags *diags)
{
    return diags->errors;
}

size_t diags_warnings(const struct diags *diags)
{
    return diags->warnings;
}

size_t diags_kept(const struct diags *diags)
{
    return diags->kept_count;
}

const struct diag *diags_get(const struct diags *diags, size_t index)
{
    return index < diags->kept_count ? &diags->kept[index] : NULL;
}
