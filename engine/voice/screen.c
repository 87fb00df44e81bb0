/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/screen.h"

#include <langinfo.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "base/filing.h"

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

static size_t positive_number(const char *digits)
{
    if (digits == NULL)
        return 0;
    char *end = NULL;
    long number = strtol(digits, &end, 10);
    return end != digits && *end == '\0' && number > 0 && number < 10000 ? (size_t)number : 0;
}

void screen_measure(struct screen *screen, FILE *stream)
{
    struct winsize size = {0};
    size_t width = 0;
    screen->rows = 0;
    if (isatty(fileno(stream)) == 1 && ioctl(fileno(stream), TIOCGWINSZ, &size) == 0) {
        width = size.ws_col;
        screen->rows = size.ws_row;
    }
    if (width == 0)
        width = positive_number(getenv("COLUMNS"));
    if (width == 0)
        width = SCREEN_DEFAULT;
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

/* Bytes of `word` that fit in `columns`; at least one character, so that wrapping moves on. */
static size_t fitting_prefix(const char *word, size_t length, size_t columns)
{
    size_t taken = 0;
    while (taken < length) {
        size_t next = taken + 1;
        while (next < length && ((unsigned char)word[next] & 0xC0U) == 0x80U)
            next++;
        if (taken > 0 && utf8_width(word, next) > columns)
            break;
        taken = next;
    }
    return taken;
}

struct line { /* the line being filled */
    struct screen *screen;
    size_t indent; /* of further lines */
    size_t column;
    bool empty; /* no word on it yet */
};

static void line_break(struct line *line)
{
    text_add(&line->screen->out, "\n", 1);
    put_spaces(&line->screen->out, line->indent);
    line->column = line->indent;
    line->empty = true;
}

static void line_word(struct line *line, const char *word, size_t length)
{
    size_t width = line->screen->width;
    size_t columns = utf8_width(word, length);
    size_t gap = line->empty ? 0 : 1;
    if (!line->empty && line->column + gap + columns > width) {
        line_break(line);
        gap = 0;
    }
    while (line->column + gap + columns > width) {
        size_t room = width > line->column ? width - line->column : 1;
        size_t part = fitting_prefix(word, length, room);
        if (part >= length)
            break;
        text_add(&line->screen->out, word, part);
        columns -= utf8_width(word, part);
        word += part;
        length -= part;
        line_break(line);
    }
    put_spaces(&line->screen->out, gap);
    text_add(&line->screen->out, word, length);
    line->column += gap + columns;
    line->empty = false;
}

/* Wraps `words` from `column` on; further lines are indented by `indent`. */
static void wrap(struct screen *screen, size_t column, size_t indent, const char *words)
{
    struct line line = {screen, indent, column, true};
    if (line.indent + 8 > screen->width)
        line.indent = 0; /* a hanging indent that leaves no room is none */
    const char *at = words;
    while (*at != '\0') {
        at += strspn(at, " \n");
        size_t length = strcspn(at, " \n");
        if (length > 0)
            line_word(&line, at, length);
        at += length;
    }
    text_add(&screen->out, "\n", 1);
}

static void colour_on(struct screen *screen, enum role role)
{
    if (screen->colour && role != ROLE_PLAIN)
        text_printf(&screen->out, "\033[%sm", sgr[role]);
}

static void colour_off(struct screen *screen, enum role role)
{
    if (screen->colour && role != ROLE_PLAIN)
        text_puts(&screen->out, "\033[0m");
}

/* `words` made safe for this screen; screen_done gives the result back. */
static struct text safe_words(const struct screen *screen, const char *words)
{
    struct text safe;
    text_init(&safe);
    struct text_safe_options options = {.ascii = screen->ascii};
    text_safe(&safe, words, strlen(words), &options);
    return safe;
}

void screen_done(struct screen *screen, struct text *words)
{
    screen->out.failed = screen->out.failed || words->failed;
    text_release(words);
}

void screen_say(struct screen *screen, size_t indent, size_t hang, enum role role,
                const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *words = text_vformat(format, arguments);
    va_end(arguments);
    if (words == NULL)
        screen->out.failed = true;

    struct text safe = safe_words(screen, words != NULL ? words : "");
    put_spaces(&screen->out, indent);
    colour_on(screen, role);
    wrap(screen, indent, indent + hang, safe.bytes);
    colour_off(screen, role);
    screen_done(screen, &safe);
    free(words);
}

void screen_item(struct screen *screen, size_t indent, const char *lead, enum role role,
                 const char *words)
{
    struct text safe = safe_words(screen, words);
    put_spaces(&screen->out, indent);
    colour_on(screen, role);
    text_puts(&screen->out, lead);
    text_add(&screen->out, " ", 1);
    colour_off(screen, role);
    size_t column = indent + utf8_width(lead, strlen(lead)) + 1;
    wrap(screen, column, column, safe.bytes);
    screen_done(screen, &safe);
}

void screen_preformatted(struct screen *screen, size_t indent, const char *words)
{
    struct text safe = safe_words(screen, words);
    put_spaces(&screen->out, indent);
    if (indent + utf8_width(safe.bytes, safe.length) <= screen->width) {
        text_puts(&screen->out, safe.bytes);
        text_add(&screen->out, "\n", 1);
    } else {
        wrap(screen, indent, indent + 4, safe.bytes);
    }
    screen_done(screen, &safe);
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
    struct text safe = safe_words(screen, label);
    struct text rest_safe = safe_words(screen, rest);
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
    screen_done(screen, &safe);
    screen_done(screen, &rest_safe);
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
    bool failed = screen->out.failed;
    size_t length = failed ? 0 : screen->out.length;
    enum status status = failed ? STATUS_MEMORY : filing_send(stream, screen->out.bytes, length);
    text_clear(&screen->out);
    return status;
}

/* ---- diagnostics ----------------------------------------------------------------------------- */

static void put_position(struct text *out, struct position at)
{
    if (at.file != NULL)
        text_printf(out, "%s:", at.file);
    if (at.line > 0)
        text_printf(out, "%zu:", at.line);
    if (at.line > 0 && at.column > 0)
        text_printf(out, "%zu:", at.column);
    if (out->length > 0)
        text_add(out, " ", 1);
}

static void put_excerpt(struct screen *screen, const struct diag *diag)
{
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

/* One line a diagnostic, never wrapped: editors and scripts read these. */
static void put_diag(struct screen *screen, const struct diag *diag)
{
    struct text raw;
    text_init(&raw);
    put_position(&raw, diag->at);
    text_puts(&raw, diag->kind == DIAG_WARNING ? "warning: " : "error: ");
    text_puts(&raw, diag->message);
    struct text safe = safe_words(screen, raw.bytes);
    text_puts(&screen->out, safe.bytes);
    text_add(&screen->out, "\n", 1);
    screen_done(screen, &safe);
    screen_done(screen, &raw);
    if (diag->excerpt != NULL)
        put_excerpt(screen, diag);
}

void screen_diags(struct screen *screen, const struct diags *diags)
{
    size_t kept = diags_kept(diags);
    for (size_t i = 0; i < kept; i++)
        put_diag(screen, diags_get(diags, i));
    size_t all = diags_errors(diags) + diags_warnings(diags);
    if (all > kept)
        text_printf(&screen->out, "and %zu more\n", all - kept);
}
