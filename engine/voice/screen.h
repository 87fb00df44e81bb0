/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_SCREEN_H
#define JARSIDE_VOICE_SCREEN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "base/diag.h"
#include "base/status.h"
#include "base/text.h"

/*
 * Text on a screen: wrapped to a width, coloured or not, in UTF-8 or ASCII.
 *
 * Everything is written into a buffer and reaches a stream by screen_flush, so
 * that a page can be counted before it is shown and a failed write is noticed.
 * Colour never carries meaning alone: every coloured word also says it. All
 * text passes through text_safe on its way in; the only escape sequences that
 * can come out are the ones this module writes.
 */
enum role {
    ROLE_PLAIN,
    ROLE_STRONG, /* headings */
    ROLE_QUIET,  /* asides */
    ROLE_WARN,   /* cautions */
    ROLE_KEEP,
    ROLE_ISOLATE,
    ROLE_DISCARD,
};

enum colour_choice { COLOUR_AUTO, COLOUR_ALWAYS, COLOUR_NEVER };

struct screen {
    struct text out;
    size_t width; /* columns to wrap at, at least SCREEN_NARROWEST */
    size_t rows;  /* of the terminal; 0 when there is none */
    bool colour;
    bool ascii; /* the locale is not UTF-8 */
};

enum { SCREEN_NARROWEST = 16, SCREEN_WIDEST = 100, SCREEN_DEFAULT = 80 };

/*
 * Fits a screen to a stream: width and rows of its terminal (else $COLUMNS, else
 * SCREEN_DEFAULT), colour by choice, $NO_COLOR and $TERM, ASCII by the locale's
 * character set. The caller has set LC_CTYPE.
 */
void screen_init(struct screen *screen, FILE *stream, enum colour_choice choice);
void screen_release(struct screen *screen);
/* Asks the terminal for its size again (after SIGWINCH). */
void screen_measure(struct screen *screen, FILE *stream);

/* A paragraph, wrapped, every line indented, further lines by `hang` more. A word wider than the
 * line is cut. */
void screen_say(struct screen *screen, size_t indent, size_t hang, enum role role,
                const char *format, ...) __attribute__((format(printf, 5, 6)));
/* "lead words": the lead as given, the words wrapped and hanging behind it. */
void screen_item(struct screen *screen, size_t indent, const char *lead, enum role role,
                 const char *words);
/* A line whose inner spaces stay; wrapped like any other only when it is wider than the screen. */
void screen_preformatted(struct screen *screen, size_t indent, const char *words);
/* A heading: a blank line, then the words in ROLE_STRONG. */
void screen_heading(struct screen *screen, const char *words);
void screen_blank(struct screen *screen);
/* A row of a table: the label padded to `label_width` columns, then the rest. Where that is too
 * narrow the rest goes on the next line. */
void screen_row(struct screen *screen, size_t indent, size_t label_width, const char *label,
                const char *rest);

/* Gives back words that were put together for this screen. If memory ran out over them the screen
 * is no more whole than they are. */
void screen_done(struct screen *screen, struct text *words);

/* Lines written since the last flush. */
size_t screen_lines(const struct screen *screen);

/* Writes the buffer to the stream and empties it. STATUS_IO when the stream refuses and
 * STATUS_CLOSED when it is a pipe that nobody reads any more; STATUS_MEMORY
 * when there was no memory for all of it, and then nothing is written: half a verdict misleads. */
enum status screen_flush(struct screen *screen, FILE *stream);

/* Diagnostics as "FILE:LINE:COL: error: message", each with its excerpt and caret. */
void screen_diags(struct screen *screen, const struct diags *diags);

#endif
