/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/diag.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/param.h>

#include "base/memory.h"
#include "base/text.h"

struct diags *diags_new(void)
{
    struct diags *diags = calloc(1, sizeof *diags);
    diags->arena = arena_new();
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

/* A safe copy; NULL stays NULL. */
static const char *keep_safe(struct diags *diags, const char *string)
{
    return string ? text_safe_copy(diags->arena, string, strlen(string), 0) : NULL;
}

/* A place for a diagnostic of this kind, or NULL when there is no more. Errors go before warnings:
 * one that comes late takes the place of the last warning. */
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

void diags_add(struct diags *diags, enum diag_kind kind, struct position at, const char *format,
               ...)
{
    struct diag *place = take_place(diags, kind);
    *(kind == DIAG_ERROR ? &diags->errors : &diags->warnings) += 1;
    diags->last_kept = place != NULL;
    if (!place)
        return;
    FORMATTED(message, format);
    *place = (struct diag){.kind = kind, .at = at, .message = keep_safe(diags, message)};
    place->at.file = keep_safe(diags, at.file);
}

void diags_pass(struct diags *diags, const struct diags *from)
{
    for (size_t i = 0; i < from->kept_count; i++)
        diags_error(diags, from->kept[i].at, "%s", from->kept[i].message);
}

void diags_excerpt(struct diags *diags, const char *excerpt, size_t caret)
{
    if (!diags->last_kept || !excerpt)
        return;
    struct diag *last = &diags->kept[diags->kept_count - 1];
    last->excerpt = keep_safe(diags, excerpt);
    last->caret = caret;
}

/* ---- nearest names --------------------------------------------------------------------------- */

/* "Did you mean": the distance of Damerau (1964) and Levenshtein (1966). */

/* Longer words are not compared: no name is as long, and the table stays on the stack. */
enum { LONGEST = 64 };

const char *diag_nearest(const char *word, const char *const *names, size_t count)
{
    const size_t length = strlen(word);
    if (length == 0 || length > LONGEST)
        return NULL;
    size_t limit = length / 3 > 1 ? length / 3 : 1;
    const char *nearest = NULL;
    for (size_t i = 0; i < count; i++) {
        const size_t name_length = strlen(names[i]);
        if (name_length > LONGEST)
            continue;
        /* Insertions, deletions, substitutions and exchanges of neighbours that turn `word` into
         * the name, letters of both cases being equal: row k, column j of the table are for the
         * first k letters of the one and j of the other. */
        size_t table[LONGEST + 1][LONGEST + 1];
        const char *name = names[i];
        for (size_t k = 0; k <= length; k++)
            for (size_t j = 0; j <= name_length; j++) {
                table[k][j] = k + j;
                if (k == 0 || j == 0)
                    continue;
                bool same = strncasecmp(&word[k - 1], &name[j - 1], 1) == 0;
                table[k][j] =
                    MIN(table[k - 1][j - 1] + !same, MIN(table[k - 1][j], table[k][j - 1]) + 1);
                if (k > 1 && j > 1 && strncasecmp(&word[k - 1], &name[j - 2], 1) == 0 &&
                    strncasecmp(&word[k - 2], &name[j - 1], 1) == 0)
                    table[k][j] = MIN(table[k][j], table[k - 2][j - 2] + 1);
            }
        const size_t away = table[length][name_length];
        if (away < limit || (away == limit && !nearest)) {
            limit = away;
            nearest = names[i];
        }
    }
    return nearest;
}

const char *diag_suggest(struct arena *arena, const char *word, const char *const *names,
                         size_t count, const char *otherwise)
{
    const char *nearest = diag_nearest(word, names, count);
    return nearest ? arena_format(arena, "; did you mean '%s'?", nearest) : otherwise;
}
