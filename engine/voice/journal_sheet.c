/* SPDX-License-Identifier: GPL-3.0-or-later */
/* On paper: what is due, with boxes to tick, and labels. */
#include <stdio.h>
#include <string.h>

#include "voice/html.h"
#include "voice/journal.h"

/* ---- what is due ----------------------------------------------------------------------------- */

static const char *age_words(const struct journal_told *told, const struct due_group *due)
{
    const char *words =
        arena_format(told->arena, "%s, day %lld", voice_batch_words(told, &due->batch),
                     (long long)moment_days_between(due->batch.at, told->now));
    return words != NULL ? words : "";
}

static void sheet_vessel(struct screen *screen, const struct journal_told *told,
                         const struct vessel *vessel)
{
    const char *place = voice_label(told, RECORD_PLACE, vessel->stands);
    screen_say(screen, 2, 4, ROLE_PLAIN, "[ ] %s%s%s  white ____ %%  ______________________",
               vessel->label, place[0] != '\0' ? ", " : "", place);
}

void voice_due_sheet(struct screen *screen, const struct journal_told *told,
                     const struct due_list *list)
{
    char date[MOMENT_ROOM];
    screen_say(screen, 0, 0, ROLE_STRONG, "Looks due on %s", moment_write_day(told->now, date));
    screen_say(screen, 0, 0, ROLE_PLAIN,
               "Through the wall only. Do not open, shake or smell a suspect vessel.");
    if (list->count == 0)
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing is due.");
    for (size_t i = 0; i < list->count; i++) {
        const struct due_group *due = &list->groups[i];
        screen_blank(screen);
        screen_say(screen, 0, 2, ROLE_PLAIN, "%s: %s; %s", voice_day(due->day, date), due->why,
                   age_words(told, due));
        for (size_t k = 0; k < due->count; k++)
            sheet_vessel(screen, told, &due->vessels[k]);
    }
}

static void html_cell(struct text *html, const char *words)
{
    text_puts(html, "<td>");
    html_text(html, words);
    text_puts(html, "</td>");
}

static void html_group(struct text *html, const struct journal_told *told,
                       const struct due_group *due)
{
    char date[MOMENT_ROOM];
    text_puts(html, "<tr class=\"group\"><th colspan=\"5\" scope=\"rowgroup\">");
    html_text(html, voice_day(due->day, date));
    text_puts(html, ": ");
    html_text(html, due->why);
    text_puts(html, "; ");
    html_text(html, age_words(told, due));
    text_puts(html, "</th></tr>\n");
    for (size_t i = 0; i < due->count; i++) {
        text_puts(html, "<tr><td class=\"box\">\xe2\x98\x90</td>");
        html_cell(html, due->vessels[i].label);
        html_cell(html, voice_label(told, RECORD_PLACE, due->vessels[i].stands));
        text_puts(html, "<td class=\"fill\"></td><td class=\"wide\"></td></tr>\n");
    }
}

void voice_due_html(struct text *html, const struct journal_told *told, const struct due_list *list,
                    enum paper paper)
{
    static const char style[] =
        "h1 { font-size: 15pt; margin: 0 0 2mm; }\np { margin: 0 0 4mm; }\n"
        "table { width: 100%; border-collapse: collapse; }\n"
        "th, td { border-bottom: 0.3pt solid #000; padding: 1.2mm 2mm; text-align: left; }\n"
        "tr { break-inside: avoid; }\n.group th { padding-top: 4mm; break-after: avoid; }\n"
        ".box { width: 6mm; font-size: 13pt; }\n.fill { width: 20mm; }\n.wide { width: 50%; }\n";
    char date[MOMENT_ROOM], title[MOMENT_ROOM + 16];

    snprintf(title, sizeof title, "Looks due on %s", moment_write_day(told->now, date));
    sheet_begin(html, title, paper, style);
    text_puts(html, "<h1>");
    html_text(html, title);
    text_puts(html, "</h1>\n<p>Through the wall only. Do not open, shake or smell a suspect "
                    "vessel.</p>\n");
    if (list->count == 0)
        text_puts(html, "<p>Nothing is due.</p>\n");
    else
        text_puts(html, "<table>\n<thead><tr><th></th><th>Vessel</th><th>Place</th>"
                        "<th>White, %</th><th>What was seen</th></tr></thead>\n<tbody>\n");
    for (size_t i = 0; i < list->count; i++)
        html_group(html, told, &list->groups[i]);
    text_puts(html, list->count > 0 ? "</tbody>\n</table>\n" : "");
    sheet_end(html);
}

/* ---- labels ---------------------------------------------------------------------------------- */

struct sticker { /* what stands on one label */
    const char *label, *what, *with;
    char date[MOMENT_ROOM];
};

static enum status sticker_of(const struct journal_told *told, const struct vessel *vessel,
                              struct sticker *sticker)
{
    struct batch batch;
    enum status status =
        journal_get(told->journal, RECORD_BATCH, vessel->batch, told->arena, &batch, told->diags);
    if (status != STATUS_OK)
        return status;
    sticker->label = vessel->label;
    sticker->what = vessel->control ? "control, not inoculated" : voice_batch_words(told, &batch);
    sticker->with =
        arena_format(told->arena, "%s %s %s", voice_label(told, RECORD_COOK, batch.cook),
                     vessel->control ? "" : voice_label(told, RECORD_STARTER, batch.starter),
                     voice_label(told, RECORD_SESSION, batch.session));
    moment_write_day(batch.at, sticker->date);
    return sticker->with != NULL ? STATUS_OK : STATUS_MEMORY;
}

enum { STICKER = 34, INNER = STICKER - 4 };

static void put_rule(struct text *line, size_t across)
{
    text_clear(line);
    for (size_t i = 0; i < across; i++)
        text_printf(line, "%s+--------------------------------+", i > 0 ? " " : "");
}

/* One line of a label, cut or padded to its inner width. */
static void put_inner(struct text *line, const char *words, bool ascii)
{
    struct text safe;
    text_init(&safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){.ascii = ascii});
    while (safe.length > 0 && utf8_width(safe.bytes, safe.length) > INNER) {
        size_t cut = safe.length - 1;
        while (cut > 0 && ((unsigned char)safe.bytes[cut] & 0xC0U) == 0x80U)
            cut--;
        text_cut(&safe, cut);
    }
    size_t width = safe.length > 0 ? utf8_width(safe.bytes, safe.length) : 0;
    text_printf(line, "| %s", safe.length > 0 ? safe.bytes : "");
    for (; width < INNER; width++)
        text_add(line, " ", 1);
    text_puts(line, " |");
    text_release(&safe);
}

static void put_row(struct screen *screen, const struct sticker *stickers, size_t across)
{
    struct text line, words;
    text_init(&line);
    text_init(&words);
    put_rule(&line, across);
    screen_preformatted(screen, 0, line.bytes);
    for (size_t row = 0; row < 3; row++) {
        text_clear(&line);
        for (size_t i = 0; i < across; i++) {
            const struct sticker *sticker = &stickers[i];
            text_clear(&words);
            text_printf(&words, row == 0 ? "%s   %s" : "%s%s",
                        row == 0   ? sticker->label
                        : row == 1 ? sticker->what
                                   : sticker->with,
                        row == 0 ? sticker->date : "");
            text_puts(&line, i > 0 ? " " : "");
            put_inner(&line, words.bytes, screen->ascii);
        }
        screen_preformatted(screen, 0, line.bytes);
    }
    put_rule(&line, across);
    screen_preformatted(screen, 0, line.bytes);
    text_release(&line);
    text_release(&words);
}

enum status voice_labels(struct screen *screen, const struct journal_told *told,
                         const struct vessel *vessels, size_t count)
{
    enum { MOST_ACROSS = 2 };
    struct sticker stickers[MOST_ACROSS];
    size_t across = screen->width >= 2 * STICKER + 1 ? 2 : 1;
    for (size_t i = 0; i < count; i += across) {
        size_t here = count - i < across ? count - i : across;
        for (size_t k = 0; k < here; k++) {
            enum status status = sticker_of(told, &vessels[i + k], &stickers[k]);
            if (status != STATUS_OK)
                return status;
        }
        put_row(screen, stickers, here);
    }
    return STATUS_OK;
}

enum status voice_labels_html(struct text *html, const struct journal_told *told,
                              const struct vessel *vessels, size_t count, enum paper paper)
{
    static const char style[] =
        "main { display: grid; grid-template-columns: repeat(3, 1fr); gap: 2mm; }\n"
        "section { border: 0.3pt dashed #000; padding: 2mm 3mm; height: 24mm; overflow: hidden; "
        "break-inside: avoid; }\n"
        "h2 { font-size: 17pt; margin: 0; }\np { margin: 0; font-size: 10pt; }\n";
    enum status status = STATUS_OK;

    sheet_begin(html, "Labels", paper, style);
    text_puts(html, "<main>\n");
    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        struct sticker sticker;
        status = sticker_of(told, &vessels[i], &sticker);
        if (status != STATUS_OK)
            break;
        const char *lines[] = {sticker.what, sticker.date, sticker.with};
        text_puts(html, "<section><h2>");
        html_text(html, sticker.label);
        text_puts(html, "</h2>");
        for (size_t k = 0; k < sizeof lines / sizeof *lines; k++) {
            text_puts(html, "<p>");
            html_text(html, lines[k]);
            text_puts(html, "</p>");
        }
        text_puts(html, "</section>\n");
    }
    text_puts(html, "</main>\n");
    sheet_end(html);
    return status;
}
