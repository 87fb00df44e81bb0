/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <qrencode.h>
#include <string.h>

#include "view/journal.h"
#include "view/page.h"
#include "view/screen.h"

struct sticker { /* what stands on one label */
    const char *label, *what, *date, *lot, *with;
};

static enum status sticker_of(const struct journal_view *view, const struct vessel *vessel,
                              struct sticker *sticker)
{
    struct batch batch;
    enum status status = view_get(view, RECORD_BATCH, vessel->batch, &batch);
    if (status != STATUS_OK)
        return status;
    char date[MOMENT_ROOM];
    const char *lot = view_label(view, RECORD_LOT, batch.lot);
    *sticker = (struct sticker){
        .label = vessel->label,
        .what = vessel->control ? "control, not inoculated" : view_batch_words(view, &batch),
        .date = arena_string(view->arena, moment_write_day(batch.at, date)),
        .lot = lot[0] != '\0' ? arena_format(view->arena, "lot %s", lot) : "",
        .with = arena_format(view->arena, "%s %s %s", view_label(view, RECORD_COOK, batch.cook),
                             vessel->control ? "" : view_label(view, RECORD_STARTER, batch.starter),
                             view_label(view, RECORD_SESSION, batch.session)),
    };
    return STATUS_OK;
}

enum { STICKER = 34, INNER = STICKER - 4 };

/* Labels side by side, three lines each between two rules. */
static void put_stickers(struct screen *screen, const struct journal_view *view,
                         const struct sticker *stickers, size_t across)
{
    struct text line;
    text_init(&line);
    for (size_t row = 0; row < 5; row++) {
        text_clear(&line);
        for (size_t i = 0; i < across; i++) {
            const struct sticker *sticker = &stickers[i];
            text_puts(&line, i > 0 ? " " : "");
            if (row == 0 || row == 4)
                text_puts(&line, "+--------------------------------+");
            else {
                const char *words =
                    row == 1   ? arena_format(view->arena, "%s   %s", sticker->label, sticker->date)
                    : row == 2 ? sticker->what
                               : arena_format(view->arena, "%s  %s", sticker->with, sticker->lot);
                struct text safe;
                text_init(&safe);
                text_safe(&safe, words, strlen(words),
                          &(struct text_safe_options){.ascii = screen->ascii});
                text_cut(&safe, screen_fit(safe.bytes, safe.length, INNER));
                int blanks = INNER - (int)utf8_width(safe.bytes, safe.length);
                text_printf(&line, "| %s%*s |", safe.bytes, blanks, "");
                text_release(&safe);
            }
        }
        screen_preformatted(screen, 0, line.bytes);
    }
    text_release(&line);
}

enum status view_labels(struct screen *screen, const struct journal_view *view,
                        const struct vessel *vessels, size_t count)
{
    enum { MOST_ACROSS = 2 };
    struct sticker stickers[MOST_ACROSS];
    size_t across = screen->width >= 2 * STICKER + 1 ? 2 : 1;
    for (size_t i = 0; i < count; i += across) {
        size_t here = count - i < across ? count - i : across;
        for (size_t k = 0; k < here; k++) {
            enum status status = sticker_of(view, &vessels[i + k], &stickers[k]);
            if (status != STATUS_OK)
                return status;
        }
        put_stickers(screen, view, stickers, here);
    }
    return STATUS_OK;
}

/* ---- on sheets of labels ----------------------------------------------------------------------- */

/* Sheets are symmetrical: the labels and the gaps between their columns stand in the middle of the
 * paper. Sizes in mm; 66.7 x 25.4 is 2 5/8 x 1 in. Common practice, no source. */
static const struct {
    enum paper paper;
    double top, width, height, gap;
    double inside, code; /* what stays white within a label; the side of its QR code */
    double points;       /* size of the letters */
    size_t across, down;
} layouts[] = {
    [SHEET_A4_21] = {PAPER_A4, 15.15, 63.5, 38.1, 2.5, 3.0, 24.0, 9.0, 3, 7},
    /* It reaches the edges of the paper, where few printers print. */
    [SHEET_A4_24] = {PAPER_A4, 0.5, 70.0, 37.0, 0.0, 5.0, 24.0, 9.0, 3, 8},
    [SHEET_LETTER_30] = {PAPER_LETTER, 12.7, 66.675, 25.4, 3.175, 2.2, 20.0, 8.0, 3, 10},
};
const char *const label_sheets[] = {
    [SHEET_A4_21] = "63.5x38.1", [SHEET_A4_24] = "70x37", [SHEET_LETTER_30] = "66.7x25.4", NULL};

size_t label_sheet_room(enum label_sheet sheet)
{
    return layouts[sheet].across * layouts[sheet].down;
}

/* The label as a QR code, black on white whatever the colours of the page; nothing for one so long
 * that its squares would be too small to read. */
static void put_code(struct text *html, const char *label)
{
    enum { QUIET = 4, MOST = 41, DARK = 1 }; /* ISO/IEC 18004: four white modules round it */
    errno = 0;
    QRcode *code =
        QRcode_encodeData((int)strlen(label), (const unsigned char *)label, 0, QR_ECLEVEL_M);
    if (code == NULL && errno != ERANGE && errno != EINVAL) /* too long, or empty */
        memory_exhausted();
    if (code != NULL && code->width <= MOST) {
        int side = code->width + 2 * QUIET;
        text_printf(html,
                    "<svg viewBox=\"0 0 %d %d\" role=\"img\" aria-label=\"QR code\">"
                    "<path fill=\"#fff\" d=\"M0 0h%dv%dH0z\"/><path d=\"",
                    side, side, side, side);
        for (int y = 0; y < code->width; y++)
            for (int x = 0, run; x < code->width; x += run) {
                const unsigned char *cells = code->data + (size_t)y * (size_t)code->width;
                for (run = 1; x + run < code->width && !((cells[x] ^ cells[x + run]) & DARK);)
                    run++;
                if (cells[x] & DARK)
                    text_printf(html, "M%d %dh%dv1h-%dz", x + QUIET, y + QUIET, run, run);
            }
        text_puts(html, "\"/></svg>");
    }
    QRcode_free(code);
}

static void put_label(struct text *html, const struct sticker *sticker)
{
    /* What fits in the lines that a label has; a short name stands in large letters. */
    enum { LARGE = 10, NAME = 36, WHAT = 40, LOT = 14, WITH = 22 };
    bool large = utf8_width(sticker->label, strlen(sticker->label)) <= LARGE;
    text_puts(html, "<section>");
    put_code(html, sticker->label);
    text_puts(html, large ? "<div><h2>" : "<div><h2 class=\"long\">");
    html_fit(html, sticker->label, NAME);
    text_puts(html, "</h2>\n<p>");
    html_fit(html, sticker->what, WHAT);
    text_printf(html, "</p>\n<p>%s ", sticker->date);
    html_fit(html, sticker->lot, LOT);
    text_puts(html, "</p>\n<p>");
    html_fit(html, sticker->with, WITH);
    text_puts(html, "</p></div></section>\n");
}

enum status view_labels_html(struct text *html, const struct journal_view *view,
                             const struct vessel *vessels, size_t count, enum label_sheet sheet,
                             size_t skip, bool cut)
{
    size_t room = label_sheet_room(sheet);
    struct text style;

    text_init(&style);
    text_printf(
        &style,
        "@page { margin: 0; }\nbody { font: %gpt/1.15 sans-serif; max-width: none; padding: 0; }\n"
        "main { display: grid; grid-template-columns: repeat(%zu, %gmm); grid-auto-rows: %gmm; "
        "column-gap: %gmm; justify-content: center; width: %s; margin: auto; padding-top: %gmm; }\n"
        "main + main { break-before: page; }\n"
        "section { display: flex; gap: 2mm; align-items: center; padding: %gmm; "
        "box-sizing: border-box; min-width: 0;%s }\n"
        "section div { min-width: 0; overflow-wrap: anywhere; }\nsvg { flex: none; width: %gmm; }\n"
        "h2 { font-size: 1.7em; margin: 0; }\nh2.long { font-size: 1em; }\np { margin: 0; }\n"
        "@media screen { section { outline: 0.3pt dashed; } }\n"
        "@media screen and (max-width: 219mm) { main { width: auto; row-gap: 2mm; "
        "grid-template-columns: repeat(auto-fill, %gmm); } }\n",
        layouts[sheet].points, layouts[sheet].across, layouts[sheet].width, layouts[sheet].height,
        layouts[sheet].gap, paper_widths[layouts[sheet].paper], layouts[sheet].top,
        layouts[sheet].inside, cut ? " outline: 0.3pt dashed;" : "", layouts[sheet].code,
        layouts[sheet].width);
    sheet_begin(html, "Labels", layouts[sheet].paper, style.bytes);
    text_release(&style);
    for (size_t i = 0; i < skip + count; i++) {
        struct sticker sticker;
        if (i % room == 0)
            text_puts(html, i > 0 ? "</main>\n<main>\n" : "<main>\n");
        enum status status = i < skip ? STATUS_OK : sticker_of(view, &vessels[i - skip], &sticker);
        if (status != STATUS_OK)
            return status;
        if (i < skip)
            text_puts(html, "<i></i>");
        else
            put_label(html, &sticker);
    }
    text_puts(html, "</main>\n");
    html_end(html);
    return STATUS_OK;
}
