/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/table.h"

#include <string.h>

enum { GAP = 2, LEAST_LAST = 8 };

static size_t columns_of(const char *cell)
{
    return utf8_width(cell, strlen(cell));
}

void table_init(struct table *table, const struct screen *screen, const char *const *headings,
                size_t columns, struct arena *arena)
{
    *table = (struct table){.arena = arena,
                            .headings = headings,
                            .columns = columns < TABLE_MOST ? columns : TABLE_MOST,
                            .ascii = screen->ascii};
    for (size_t i = 0; i < table->columns; i++)
        table->widths[i] = columns_of(headings[i]);
}

static const char *safe_cell(struct table *table, const char *cell)
{
    struct text_safe_options options = {.ascii = table->ascii};
    struct text text;
    if (cell == NULL)
        return "";
    text_init(&text);
    text_safe(&text, cell, strlen(cell), &options);
    const char *copy = text.failed ? NULL : arena_copy(table->arena, text.bytes, text.length);
    text_release(&text);
    return copy;
}

void table_row(struct table *table, const char *const *cells)
{
    if (table->count == table->room) {
        size_t room = table->room == 0 ? 32 : 2 * table->room;
        table->rows = arena_grow(table->arena, table->rows, table->room, room, sizeof *table->rows);
        table->room = table->rows != NULL ? room : 0;
    }
    if (table->rows == NULL) {
        table->failed = true;
        return;
    }
    for (size_t i = 0; i < table->columns; i++) {
        const char *cell = safe_cell(table, cells[i]);
        if (cell == NULL) {
            table->failed = true;
            return;
        }
        table->rows[table->count][i] = cell;
        size_t width = columns_of(cell);
        if (width > table->widths[i])
            table->widths[i] = width;
    }
    table->count++;
}

/* ---- showing --------------------------------------------------------------------------------- */

/* A column that is empty in every row is left out, but for the first. */
static bool used(const struct table *table, size_t column)
{
    for (size_t i = 0; i < table->count; i++)
        if (table->rows[i][column][0] != '\0')
            return true;
    return column == 0;
}

static size_t last_used(const struct table *table)
{
    size_t last = table->columns - 1;
    while (last > 0 && !used(table, last))
        last--;
    return last;
}

/* The part of a cell that fits, with an ellipsis where something was cut. */
static void put_cut(struct text *out, const char *cell, size_t room, bool ascii)
{
    const char *ellipsis = ascii ? "..." : "\u2026";
    size_t kept = ascii ? 3 : 1, columns = 0;
    const char *at = cell;

    if (columns_of(cell) <= room) {
        text_puts(out, cell);
        return;
    }
    while (*at != '\0') {
        size_t length = 1;
        while (((unsigned char)at[length] & 0xC0U) == 0x80U)
            length++;
        size_t wide = utf8_width(at, length);
        if (columns + wide + kept > room)
            break;
        columns += wide;
        text_add(out, at, length);
        at += length;
    }
    text_puts(out, ellipsis);
}

static void put_line(const struct table *table, struct screen *screen, const char *const *cells,
                     size_t last, size_t room)
{
    struct text *out = &screen->out;
    size_t owed = 0; /* blanks before the next cell, so that no line ends in blanks */
    for (size_t i = 0; i <= last; i++) {
        if (!used(table, i))
            continue;
        if (cells[i][0] != '\0') {
            for (; owed > 0; owed--)
                text_add(out, " ", 1);
            put_cut(out, cells[i], i == last ? room : table->widths[i], table->ascii);
        }
        owed += table->widths[i] + GAP - (cells[i][0] != '\0' ? columns_of(cells[i]) : 0);
    }
    text_add(out, "\n", 1);
}

static void show_blocks(const struct table *table, struct screen *screen, size_t last)
{
    for (size_t r = 0; r < table->count; r++) {
        struct text rest;
        text_init(&rest);
        for (size_t i = 1; i <= last; i++)
            if (table->rows[r][i][0] != '\0')
                text_printf(&rest, "%s%s", rest.length > 0 ? ", " : "", table->rows[r][i]);
        screen_say(screen, 0, 2, ROLE_STRONG, "%s", table->rows[r][0]);
        if (rest.length > 0)
            screen_say(screen, 2, 0, ROLE_PLAIN, "%s", rest.bytes);
        text_release(&rest);
    }
}

void table_show(const struct table *table, struct screen *screen)
{
    size_t last, before = 0;

    if (table->count == 0)
        return;
    last = last_used(table);
    for (size_t i = 0; i < last; i++)
        before += used(table, i) ? table->widths[i] + GAP : 0;
    size_t needed = table->widths[last] < LEAST_LAST ? table->widths[last] : LEAST_LAST;
    if (before + needed > screen->width) {
        show_blocks(table, screen, last);
        return;
    }
    size_t room = screen->width - before;
    if (screen->colour)
        text_puts(&screen->out, "\033[2m"); /* faint, as asides are */
    put_line(table, screen, table->headings, last, room);
    if (screen->colour)
        text_puts(&screen->out, "\033[0m");
    for (size_t i = 0; i < table->count; i++)
        put_line(table, screen, table->rows[i], last, room);
}
