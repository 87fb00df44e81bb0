/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/screen.h"

#include <langinfo.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

/* Select Graphic Rendition parameters, ECMA-48 section 8.3.117. */
static const char *const sgr[] = {
    [ROLE_PLAIN] = "",    [ROLE_STRONG] = "1",     [ROLE_QUIET] = "2",      [ROLE_WARN] = "33",
    [ROLE_KEEP] = "1;32", [ROLE_ISOLATE] = "1;33", [ROLE_DISCARD] = "1;31",
};

static bool wants_colour(FILE *stream, enum colour_choice choice)
{
    if (choice != COLOUR_AUTO)
        return choice == COLOUR_ALWAYS;
    const char *no_colour = getenv("NO_COLOR");
    const char *term = getenv("TERM");
    if (no_colour != NULL && no_colour[0] != '\0')
        return false;
    if (term == NULL || strcmp(term, "dumb") == 0)
        return false;
    return isatty(fileno(stream)) == 1;
}

void screen_measure(struct screen *screen, FILE *stream)
{
    struct winsize size = {0};
    const char *columns = getenv("COLUMNS");
    char *end = NULL;
    const long said = columns != NULL ? strtol(columns, &end, 10) : 0;
    size_t width = said > 0 && said < 10000 && *end == '\0' ? (size_t)said : SCREEN_DEFAULT;
    screen->rows = 0;
    if (isatty(fileno(stream)) == 1 && ioctl(fileno(stream), TIOCGWINSZ, &size) == 0) {
        width = size.ws_col > 0 ? size.ws_col : width;
        screen->rows = size.ws_row;
    }
    if (width < SCREEN_NARROWEST)
        width = SCREEN_NARROWEST;
    screen->width = width < SCREEN_WIDEST ? width : SCREEN_WIDEST;
}

void screen_init(struct screen *screen, FILE *stream, enum colour_choice choice)
{
    memset(screen, 0, sizeof *screen);
    text_init(&screen->out);
    screen->colour = wants_colour(stream, choice);
    screen->ascii = strcmp(nl_langinfo(CODESET), "UTF-8") != 0;
    screen_measure(screen, stream);
}

void screen_release(struct screen *screen)
{
    text_release(&screen->out);
}

/* ---- wrapping -------------------------------------------------------------------------------- */

static void put_spaces(struct text *out, size_t count)
{
    while (count-- > 0)
        text_add(out, " ", 1);
}

static size_t columns_of(const char *words)
{
    return utf8_width(words, strlen(words));
}

size_t screen_fit(const char *words, size_t length, size_t columns)
{
    size_t taken = 0;
    for (size_t next = 0; next < length; taken = next) {
        do
            next++;
        while (next < length && ((unsigned char)words[next] & 0xC0U) == 0x80U);
        if (utf8_width(words, next) > columns)
            break;
    }
    return taken;
}

/* Wraps `words` from `column` on; further lines are indented by `indent`. */
static void wrap(struct screen *screen, size_t column, size_t indent, const char *words)
{
    enum { WIDEST_CHARACTER = 2, LEAST_ROOM = 8 };
    struct text *out = &screen->out;
    const size_t width = screen->width;
    size_t gap = 0; /* before the next word: none where a line begins */
    if (indent + LEAST_ROOM > width)
        indent = 0; /* a hanging indent that leaves no room is none */
    for (words += strspn(words, " \n"); *words != '\0';) {
        size_t part = strcspn(words, " \n");
        bool whole = column + gap + utf8_width(words, part) <= width;
        if (!whole &&
            gap == 0) { /* wider than a line; one character at least, so that it moves on */
            size_t room = screen_fit(words, part, width > column ? width - column : 1);
            room = room > 0 ? room : screen_fit(words, part, WIDEST_CHARACTER);
            whole = room == 0 || room >= part;
            part = whole ? part : room;
        } else if (!whole)
            part = 0; /* on the next line */
        put_spaces(out, part > 0 ? gap : 0);
        text_add(out, words, part);
        column += gap + utf8_width(words, part);
        words += part;
        gap = 1;
        if (!whole) {
            text_add(out, "\n", 1);
            put_spaces(out, indent);
            column = indent;
            gap = 0;
        } else
            words += strspn(words, " \n");
    }
    text_add(out, "\n", 1);
}

/* Begins what is said in a role, or ends it. */
static void colour(struct screen *screen, enum role role, bool on)
{
    if (screen->colour && role != ROLE_PLAIN)
        text_printf(&screen->out, "\033[%sm", on ? sgr[role] : "0");
}

static struct text safe_words(const struct screen *screen, const char *words)
{
    struct text safe;
    text_init(&safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){.ascii = screen->ascii});
    return safe;
}

/* A paragraph after what stands on the line up to `column`. */
static void wrap_safe(struct screen *screen, size_t column, size_t indent, const char *words)
{
    struct text safe SCOPED_TEXT = safe_words(screen, words);
    wrap(screen, column, indent, safe.bytes);
}

void screen_say(struct screen *screen, size_t indent, size_t hang, enum role role,
                const char *format, ...)
{
    FORMATTED(words, format);
    put_spaces(&screen->out, indent);
    colour(screen, role, true);
    wrap_safe(screen, indent, indent + hang, words);
    colour(screen, role, false);
}

void screen_item(struct screen *screen, size_t indent, const char *lead, enum role role,
                 const char *words)
{
    put_spaces(&screen->out, indent);
    colour(screen, role, true);
    text_printf(&screen->out, "%s ", lead);
    colour(screen, role, false);
    size_t column = indent + columns_of(lead) + 1;
    wrap_safe(screen, column, column, words);
}

void screen_preformatted(struct screen *screen, size_t indent, const char *words)
{
    struct text safe SCOPED_TEXT = safe_words(screen, words);
    put_spaces(&screen->out, indent);
    if (indent + utf8_width(safe.bytes, safe.length) <= screen->width)
        text_printf(&screen->out, "%s\n", safe.bytes);
    else
        wrap(screen, indent, indent + 4, safe.bytes);
}

void screen_heading(struct screen *screen, const char *words)
{
    screen_blank(screen);
    screen_say(screen, 0, 0, ROLE_STRONG, "%s", words);
}

void screen_blank(struct screen *screen)
{
    text_add(&screen->out, "\n", 1);
}

void screen_row(struct screen *screen, size_t indent, size_t label_width, const char *label,
                const char *rest)
{
    struct text safe SCOPED_TEXT = safe_words(screen, label);
    struct text rest_safe SCOPED_TEXT = safe_words(screen, rest);
    size_t columns = utf8_width(safe.bytes, safe.length);
    size_t needed = indent + label_width + utf8_width(rest_safe.bytes, rest_safe.length);
    put_spaces(&screen->out, indent);
    if (columns >= label_width || (needed > screen->width && screen->width < SCREEN_DEFAULT / 2)) {
        wrap(screen, indent, indent, safe.bytes);
        put_spaces(&screen->out, indent + 2);
        wrap(screen, indent + 2, indent + 2, rest_safe.bytes);
    } else {
        text_puts(&screen->out, safe.bytes);
        put_spaces(&screen->out, label_width - columns);
        wrap(screen, indent + label_width, indent + label_width, rest_safe.bytes);
    }
}

size_t screen_lines(const struct screen *screen)
{
    size_t lines = 0;
    for (size_t i = 0; i < screen->out.length; i++)
        lines += screen->out.bytes[i] == '\n';
    return lines;
}

enum status screen_flush(struct screen *screen, FILE *stream)
{
    enum status status = filing_send(stream, screen->out.bytes, screen->out.length);
    text_clear(&screen->out);
    return status;
}

/* ---- diagnostics ----------------------------------------------------------------------------- */

void screen_diags(struct screen *screen, const struct diags *diags)
{
    size_t kept = diags_kept(diags);
    for (size_t i = 0; i < kept; i++) {
        /* One line each, never wrapped: editors and scripts read these. */
        const struct diag *diag = diags_get(diags, i);
        TEXT(raw);
        if (diag->at.file != NULL)
            text_printf(&raw, "%s:", diag->at.file);
        if (diag->at.line > 0)
            text_printf(&raw, "%zu:", diag->at.line);
        if (diag->at.line > 0 && diag->at.column > 0)
            text_printf(&raw, "%zu:", diag->at.column);
        if (raw.length > 0)
            text_add(&raw, " ", 1);
        text_printf(&raw, "%s: %s", diag->kind == DIAG_WARNING ? "warning" : "error",
                    diag->message);
        struct text safe SCOPED_TEXT = safe_words(screen, raw.bytes);
        text_printf(&screen->out, "%s\n", safe.bytes);
        if (diag->excerpt != NULL) {
            enum { MARGIN = 4, LONGEST = 160 };
            struct text_safe_options options = {.ascii = screen->ascii, .limit = LONGEST};
            put_spaces(&screen->out, MARGIN);
            text_safe(&screen->out, diag->excerpt, strlen(diag->excerpt), &options);
            text_add(&screen->out, "\n", 1);
            if (diag->caret > 0 && diag->caret <= LONGEST) {
                put_spaces(&screen->out, MARGIN + diag->caret - 1);
                text_puts(&screen->out, "^\n");
            }
        }
    }
    size_t all = diags_errors(diags) + diags_warnings(diags);
    if (all > kept)
        text_printf(&screen->out, "and %zu more\n", all - kept);
}

/* ---- tables ---------------------------------------------------------------------------------- */

enum { GAP = 2, LEAST_LAST = 16, MOST_LINES = 3 };

struct grid { /* the columns of a table that are shown, safe for the screen */
    const char **cells;
    size_t columns, rows;
    size_t widths[TABLE_MOST];
};

/* Without the columns that are empty below their heading, but for the first. */
static struct grid grid_of(const struct screen *screen, const char *const *cells, size_t columns,
                           size_t rows, struct arena *arena)
{
    struct grid grid = {arena_array(arena, columns * rows, sizeof *grid.cells), 0, rows, {0}};
    size_t shown[TABLE_MOST] = {0};
    for (size_t k = 0; k < columns; k++)
        for (size_t r = 1; r < rows; r++)
            if (k == 0 || cells[r * columns + k][0] != '\0') {
                shown[grid.columns++] = k;
                break;
            }
    for (size_t i = 0; i < rows * grid.columns; i++) {
        const size_t column = i % grid.columns;
        struct text safe SCOPED_TEXT =
            safe_words(screen, cells[i / grid.columns * columns + shown[column]]);
        const size_t width = utf8_width(safe.bytes, safe.length);
        grid.cells[i] = arena_copy(arena, safe.bytes, safe.length);
        grid.widths[column] = width > grid.widths[column] ? width : grid.widths[column];
    }
    return grid;
}

/* The last cell is wrapped within `room` columns after the others; an ellipsis where it is cut. */
static void put_line(const struct grid *grid, struct screen *screen, size_t row, size_t room)
{
    const char *const *cells = &grid->cells[row * grid->columns];
    const size_t most = MOST_LINES * room, kept = screen->ascii ? 3 : 1;
    size_t owed = 0,
           last = grid->columns - 1; /* blanks before the next cell: no line ends in blanks */
    for (size_t i = 0; i <= last; i++) {
        put_spaces(&screen->out, cells[i][0] != '\0' ? owed : 0);
        if (i < last)
            text_puts(&screen->out, cells[i]);
        owed = grid->widths[i] + GAP - columns_of(cells[i]) + (cells[i][0] != '\0' ? 0 : owed);
    }
    TEXT(cut);
    text_puts(&cut, cells[last]);
    if (columns_of(cells[last]) > most) {
        text_cut(&cut, screen_fit(cut.bytes, cut.length, most > kept ? most - kept : 0));
        text_puts(&cut, screen->ascii ? "..." : "\u2026");
    }
    wrap(screen, screen->width - room, screen->width - room, cut.bytes);
}

/* A row as a few lines, every cell after its heading. */
static void put_lines(const struct grid *grid, struct screen *screen, size_t row)
{
    const char *const *cells = &grid->cells[row * grid->columns];
    TEXT(rest);
    for (size_t k = 1; k < grid->columns; k++)
        if (cells[k][0] != '\0')
            text_printf(&rest, "%s%s %s", rest.length > 0 ? "; " : "", grid->cells[k], cells[k]);
    screen_say(screen, 0, 2, ROLE_STRONG, "%s", cells[0]);
    if (rest.length > 0)
        screen_say(screen, 2, 0, ROLE_PLAIN, "%s", rest.bytes);
}

void screen_table(struct screen *screen, const char *const *cells, size_t columns, size_t rows)
{
    struct arena *arena SCOPED_ARENA = arena_new();
    const struct grid grid = grid_of(screen, cells, columns, rows, arena);
    size_t before = 0, needed = 0;
    for (size_t k = 0; k < grid.columns; k++) {
        before += needed > 0 ? needed + GAP : 0;
        needed = grid.widths[k];
    }
    const size_t room = screen->width > before ? screen->width - before : 0;
    for (size_t r = 0; r < rows && rows > 1; r++) {
        if (room < (needed < LEAST_LAST ? needed : LEAST_LAST)) {
            if (r > 0)
                put_lines(&grid, screen, r);
            continue;
        }
        colour(screen, r == 0 ? ROLE_QUIET : ROLE_PLAIN, true);
        put_line(&grid, screen, r, room);
        colour(screen, r == 0 ? ROLE_QUIET : ROLE_PLAIN, false);
    }
}

/* ---- progress -------------------------------------------------------------------------------- */

void progress_bar_init(struct progress_bar *bar, FILE *stream)
{
    struct screen screen;
    const char *term = getenv("TERM");
    bool wipes = term != NULL && strcmp(term, "dumb") != 0; /* a line can be written anew */
    screen_init(&screen, stream, COLOUR_NEVER);
    *bar = (struct progress_bar){.stream = stream,
                                 .terminal = wipes && isatty(fileno(stream)) == 1,
                                 .shown = -1,
                                 .width = (int)screen.width};
    screen_release(&screen);
}

static void progressed(void *context, const char *what, uint64_t done, uint64_t total)
{
    struct progress_bar *bar = context;
    if (!bar->terminal || total < PROGRESS_BAR_LEAST)
        return;
    int share = done >= total ? 100 : (int)(100.0 * (double)done / (double)total);
    if (share == bar->shown && bar->drawn)
        return;
    bar->shown = share;
    enum { NAME = 40, GAPS = 4, FIGURES = 8, LEAST = 4, MOST = 60 };
    static const char done_cells[] = "############################################################";
    static const char open_cells[] = "............................................................";
    const int left = bar->width - GAPS - FIGURES;
    const int named = left - LEAST < NAME ? left - LEAST : NAME;
    const int room = left - named, cells = room < LEAST ? LEAST : room > MOST ? MOST : room;
    const char *slash = strrchr(what, '/'), *name = slash != NULL ? slash + 1 : what;
    TEXT(line);
    text_puts(&line, "\r");
    text_safe(&line, name, strlen(name),
              &(struct text_safe_options){.ascii = true, .limit = named > 1 ? (size_t)named : 1});
    text_printf(&line, "  %.*s%.*s  %3d %%\033[K", cells * share / 100, done_cells,
                cells - cells * share / 100, open_cells, share);
    (void)fwrite(line.bytes, 1, line.length, bar->stream);
    (void)fflush(bar->stream);
    bar->drawn = true;
    if (done >= total)
        progress_bar_clear(bar);
}

struct progress progress_bar_listener(struct progress_bar *bar)
{
    return (struct progress){bar, progressed};
}

void progress_bar_clear(struct progress_bar *bar)
{
    if (!bar->drawn)
        return;
    (void)fputs("\r\033[K", bar->stream);
    (void)fflush(bar->stream);
    bar->drawn = false;
    bar->shown = -1;
}
