/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VIEW_SCREEN_H
#define JARSIDE_VIEW_SCREEN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "base/diag.h"
#include "base/filing.h"
#include "base/memory.h"
#include "base/text.h"

/* Text on a screen: wrapped to a width, coloured or not, in UTF-8 or ASCII.
 *
 * Everything is written into a buffer and reaches a stream by screen_flush, so that a page can be
 * counted before it is shown and a failed write is noticed. Colour never carries meaning alone:
 * every coloured word also says it. All text passes through text_safe on its way in; the only
 * escape sequences that can come out are the ones this module writes. */
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

/* Fits a screen to a stream: width and rows of its terminal (else $COLUMNS, else SCREEN_DEFAULT),
 * colour by choice, $NO_COLOR and $TERM, ASCII by the locale. The caller has set LC_CTYPE. */
void screen_init(struct screen *screen, FILE *stream, enum colour_choice choice);
void screen_release(struct screen *screen);
/* Asks the terminal for its size again (after SIGWINCH). */
void screen_measure(struct screen *screen, FILE *stream);

/* Bytes of the characters at the front that fit in so many columns, none cut in two. */
size_t screen_fit(const char *words, size_t length, size_t columns);

/* A wrapped paragraph, indented, further lines by `hang` more. A word wider than a line is cut. */
void screen_say(struct screen *screen, size_t indent, size_t hang, enum role role,
                const char *format, ...) __attribute__((format(printf, 5, 6)));
/* "lead words": the lead as given, the words wrapped and hanging after it. */
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

/* Lines written since the last flush. */
size_t screen_lines(const struct screen *screen);

/* Writes the buffer to the stream and empties it. STATUS_IO when the stream refuses, STATUS_CLOSED
 * when it is a pipe that nobody reads any more. */
enum status screen_flush(struct screen *screen, FILE *stream);

/* Diagnostics as "FILE:LINE:COL: error: message", each with its excerpt and caret. */
void screen_diags(struct screen *screen, const struct diags *diags);

/* Rows in columns, as wide as they need to be. The last column is wrapped where it does not fit,
 * three lines at most; where there is no room for it, each row becomes a few lines in which every
 * cell has its heading before it. Cells are made safe, and stand row by row, the headings first; at
 * most TABLE_MOST columns, of which empty ones are left out. Nothing for no rows. */
void screen_table(struct screen *screen, const char *const *cells, size_t columns, size_t rows);
enum { TABLE_MOST = 10 };

/* One line on a terminal that says how far a long job has come, and goes away when it ends. On
 * anything but a terminal it is silent. */
struct progress_bar {
    FILE *stream;
    bool terminal;
    bool drawn; /* something stands on the line */
    int shown;  /* the share drawn last, per cent; -1 for none */
    int width;  /* of the terminal */
};

/* Does nothing visible yet. The bar must outlive whoever is told of it. */
void progress_bar_init(struct progress_bar *bar, FILE *stream);
/* What to hand to a long job. Jobs of a few hundred kilobytes are over before one could read a bar:
 * it shows nothing for a total below PROGRESS_BAR_LEAST. */
struct progress progress_bar_listener(struct progress_bar *bar);
/* Wipes the line. */
void progress_bar_clear(struct progress_bar *bar);

enum { PROGRESS_BAR_LEAST = 1 << 20 };

#endif
