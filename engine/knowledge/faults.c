/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "knowledge/faults_internal.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

enum {
    FAULTS_MOST = 100,    /* nobody reads more, and a hostile file holds thousands */
    COMPARED_MOST = 4096, /* names, for the nearest one */
    MESSAGE_BYTES = 600,
    QUOTE_BYTES = 60,
    EXCERPT_POINTS = 76, /* fits a terminal */
};

static bool has_room(struct faults *faults)
{
    if (faults->count < faults->room)
        return true;
    size_t room = faults->room ? faults->room * 2 : 16;
    struct fault *list = arena_grow(faults->arena, faults->list, faults->count, room, sizeof *list);
    if (!list)
        return false;
    faults->list = list;
    faults->room = room;
    return true;
}

__attribute__((format(printf, 4, 0))) static void add(struct faults *faults, enum diag_kind kind,
                                                      struct position at, const char *format,
                                                      va_list arguments)
{
    if (kind == DIAG_ERROR)
        faults->errors++;
    if (faults->count >= FAULTS_MOST || !has_room(faults))
        return;
    char message[MESSAGE_BYTES];
    (void)vsnprintf(message, sizeof message, format, arguments);
    const char *kept = arena_string(faults->arena, message);
    if (kept)
        faults->list[faults->count++] = (struct fault){kind, at, kept};
}

void fault_error(struct faults *faults, struct position at, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    add(faults, DIAG_ERROR, at, format, arguments);
    va_end(arguments);
}

void fault_warn(struct faults *faults, struct position at, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    add(faults, DIAG_WARNING, at, format, arguments);
    va_end(arguments);
}

void fault_unreadable(struct faults *faults, const char *path, int error)
{
    faults->unreadable = true;
    fault_error(faults, (struct position){0}, "cannot read '%s': %s", fault_quote(faults, path),
                strerror(error));
}

const char *fault_quote(struct faults *faults, const char *text)
{
    size_t length = strlen(text);
    if (length <= QUOTE_BYTES)
        return text;
    length = QUOTE_BYTES;
    while (length && ((unsigned char)text[length] & 0xC0) == 0x80) /* not within a character */
        length--;
    const char *cut = arena_format(faults->arena, "%.*s...", (int)length, text);
    return cut ? cut : "...";
}

const char *fault_nearest(const struct faults *faults, const char *word, const char *const *names,
                          size_t count)
{
    if (faults->count >= FAULTS_MOST || count > COMPARED_MOST)
        return NULL;
    return diag_nearest(word, names, count);
}

const char *fault_hint(struct faults *faults, const char *nearest)
{
    const char *hint =
        nearest ? arena_format(faults->arena, "; did you mean '%s'?", nearest) : NULL;
    return hint ? hint : "";
}

/* ---- telling --------------------------------------------------------------------------------- */

/* A fault with the place of its file in the order of reading; those without a file come first. */
struct placed {
    const struct fault *fault;
    size_t file; /* index + 1 */
};

static int by_place(const void *left, const void *right)
{
    const struct placed *a = left;
    const struct placed *b = right;
    if (a->file != b->file)
        return a->file < b->file ? -1 : 1;
    if (a->fault->at.line != b->fault->at.line)
        return a->fault->at.line < b->fault->at.line ? -1 : 1;
    if (a->fault->at.column != b->fault->at.column)
        return a->fault->at.column < b->fault->at.column ? -1 : 1;
    int order = strcmp(a->fault->message, b->fault->message);
    if (order)
        return order;
    return a->fault < b->fault ? -1 : a->fault > b->fault;
}

static size_t file_place(const struct files *files, const char *path)
{
    for (size_t i = 0; path && i < files->count; i++)
        if (files->list[i].path == path)
            return i + 1;
    return 0;
}

/* What several users of one shared block complain about is one fault. */
static bool same_fault(const struct fault *a, const struct fault *b)
{
    return a->kind == b->kind && a->at.file == b->at.file && a->at.line == b->at.line &&
           a->at.column == b->at.column && !strcmp(a->message, b->message);
}

/* Steps over `points` characters of UTF-8. */
static const char *skip_points(const char *bytes, const char *end, size_t points)
{
    for (; points && bytes < end; points--)
        do
            bytes++;
        while (bytes < end && ((unsigned char)*bytes & 0xC0) == 0x80);
    return bytes;
}

/* The line a fault stands on, or the part of it around the fault. */
static void attach_excerpt(const struct file *file, const struct fault *fault, struct diags *diags)
{
    const char *line = file->bytes;
    const char *end = file->bytes + file->length;
    for (size_t n = 1; line && n < fault->at.line; n++) {
        line = memchr(line, '\n', (size_t)(end - line));
        line = line ? line + 1 : NULL;
    }
    if (!line || !fault->at.line || !fault->at.column)
        return;
    const char *stop = memchr(line, '\n', (size_t)(end - line));
    end = stop ? stop : end;
    if (end > line && end[-1] == '\r')
        end--;
    if (utf8_valid_prefix(line, (size_t)(end - line)) < (size_t)(end - line))
        return;
    size_t before = fault->at.column - 1;
    size_t skip = before > EXCERPT_POINTS / 2 ? before - EXCERPT_POINTS / 2 : 0;
    if (utf8_count(line, (size_t)(end - line)) <= EXCERPT_POINTS)
        skip = 0;
    const char *from = skip_points(line, end, skip);
    const char *until = skip_points(from, end, EXCERPT_POINTS);
    struct text excerpt;
    text_init(&excerpt);
    text_add(&excerpt, from, (size_t)(until - from));
    if (!excerpt.failed && excerpt.length)
        diags_excerpt(diags, excerpt.bytes, before - skip + 1);
    text_release(&excerpt);
}

static void tell_one(const struct placed *placed, struct files *files, struct diags *diags)
{
    const struct fault *fault = placed->fault;
    bool shown = diags_kept(diags) < DIAG_KEEP;
    if (fault->kind == DIAG_ERROR)
        diags_error(diags, fault->at, "%s", fault->message);
    else
        diags_warn(diags, fault->at, "%s", fault->message);
    if (!shown || !placed->file || !fault->at.line)
        return;
    /* What keeps a file from being read has been told. */
    struct faults unheard = {.arena = files->scratch};
    struct file *file = &files->list[placed->file - 1];
    if (file_read(files, file, &unheard))
        attach_excerpt(file, fault, diags);
}

void faults_tell(struct faults *faults, struct files *files, struct diags *diags)
{
    if (!faults->count)
        return;
    struct placed *order = arena_array(faults->arena, faults->count, sizeof *order);
    if (!order)
        return;
    for (size_t i = 0; i < faults->count; i++)
        order[i] = (struct placed){&faults->list[i], file_place(files, faults->list[i].at.file)};
    qsort(order, faults->count, sizeof *order, by_place);
    for (size_t i = 0; i < faults->count; i++)
        if (i == 0 || !same_fault(order[i].fault, order[i - 1].fault))
            tell_one(&order[i], files, diags);
}
