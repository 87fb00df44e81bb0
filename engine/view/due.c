/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <math.h>
#include <qrencode.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "view/journal.h"
#include "view/screen.h"
#include "view/tree.h"
#include "view/verdict.h"

/* ---- what to mind when a vessel is thrown away, told from its last look ------------------------ */

/* The probability that a look's posterior gives a finding. */
static double finding_mass(const json_t *posterior, const char *id)
{
    const json_t *findings = json_object_get(posterior, "findings");
    size_t index;
    json_t *entry;

    if (json_is_object(findings))
        return json_number_value(json_object_get(findings, id));
    json_array_foreach(findings, index, entry)
    {
        const char *named = json_string_value(json_object_get(entry, "id"));
        if (named != NULL && strcmp(named, id) == 0)
            return json_number_value(json_object_get(entry, "p"));
    }
    return 0.0;
}

/*
 * Where nothing is known of what is inside, the cautions about contaminated
 * vessels hold as if it were: nobody throws away what is sound.
 */
static bool applies(const struct rules *rules, const struct caution *caution,
                    const json_t *posterior)
{
    double mass = 0.0;
    if (caution->always) /* it is about verdicts, and there is none here */
        return false;
    for (size_t f = 0; f < rules->finding_count && posterior != NULL; f++)
        if (caution_is_about(caution, rules, f))
            mass += finding_mass(posterior, rules->findings[f].id);
    return (caution->actions >> ACTION_DISCARD & 1) ||
           (caution->rank < CAUTION_FIRST_RANK &&
            (posterior == NULL ? caution->statuses != 0 : mass > 0.0 && mass >= caution->at_least));
}

json_t *view_handling_json(const struct rules *rules, const struct look *look)
{
    json_t *texts = json_array();
    json_t *posterior = look != NULL ? json_loads(look->posterior, 0, NULL) : NULL;
    for (size_t i = 0; i < rules->caution_count; i++)
        if (applies(rules, &rules->cautions[i], posterior))
            json_array_append_new(texts, json_string(rules->cautions[i].text));
    json_decref(posterior);
    return texts;
}

/* ---- what is due ------------------------------------------------------------------------------- */

/* A batch with what the forecast expects of it. */
struct run {
    struct batch batch;
    struct vessel_forecast forecast;
};

static struct run run_of(struct journal_view *view, const struct vessel *vessel)
{
    struct run run = {.forecast = {0}};
    view_get(view, RECORD_BATCH, vessel->batch, &run.batch);
    (void)vessel_forecast_of(view->journal, view->rules, &run.batch, vessel, &run.forecast, NULL);
    return run;
}

/*
 * Dates a vessel that came without a day: its first look is where the forecast has it;
 * the next one some days after the last, or at once when that did not say keep. False for an
 * imported one that nobody ever looked at and that should have been over long ago: it is no look
 * that is due, but word of what became of it.
 */
static bool date_vessel(struct journal_view *view, const struct run *run, struct vessel *vessel)
{
    enum { LONG = 30, RUN = 60 }; /* days; the longest run, where none is forecast */
    const struct vessel_forecast *forecast = &run->forecast;
    struct look look;
    if (vessel->last_look == 0) {
        vessel->due = vessel_forecast_first_day(forecast, &run->batch);
        vessel->due_for = FIRST_LOOK;
        const bool known = forecast->known && isfinite(forecast->full.high);
        return (double)moment_days_between(run->batch.at, view->now) <
               (known ? forecast->full.high : RUN) + LONG;
    }
    view_get(view, RECORD_LOOK, vessel->last_look, &look);
    const bool keep = strcmp(look.action, action_name(ACTION_KEEP)) == 0;
    vessel->due = moment_day(look.at) + (keep ? (int64_t)forecast->look_every : 0);
    vessel->due_for = keep ? "look again" : look.action;
    return true;
}

static int by_day(const void *left, const void *right)
{
    const struct vessel *a = left, *b = right;
    if (a->due != b->due)
        return a->due < b->due ? -1 : 1;
    if (a->batch != b->batch)
        return a->batch < b->batch ? -1 : 1;
    int why = strcmp(a->due_for, b->due_for);
    return why != 0 ? why : (a->number > b->number) - (a->number < b->number);
}

/* "oyster on rye, day 9, at closet": where they stand apart, each place with its vessels. */
static const char *group_words(struct journal_view *view, const struct run *of,
                               const struct vessel *vessels, size_t count)
{
    const char *words =
        arena_format(view->arena, "%s, day %lld", view_batch_words(view, &of->batch),
                     (long long)moment_days_between(of->batch.at, view->now));
    for (size_t i = 0, run; i < count; i += run) {
        const struct vessel *at = &vessels[i];
        for (run = 1; i + run < count && at[run].stands == at->stands;)
            run++;
        const char *place = view_label(view, RECORD_PLACE, at->stands);
        if (place[0] != '\0')
            words = arena_format(view->arena, "%s, %s%sat %s", words,
                                 run < count ? view_vessels(view->arena, at, run) : "",
                                 run < count ? " " : "", place);
    }
    return words;
}

/* Vessels of one batch with the same day and reason stand together, with what the forecast expects of
 * the batch. "_shake" is a day on which to shake that is still ahead. */
static json_t *group_json(struct journal_view *view, const struct vessel *vessels, size_t count)
{
    const struct run run = run_of(view, vessels);
    const struct range *ripe = &run.forecast.shake;
    const int64_t due = vessels->due, today = moment_day(view->now);
    const int64_t start = moment_day(run.batch.at);
    int64_t shake[2], full[2];
    const bool shaken_some_day =
        view_forecast_days(&run.batch, &run.forecast, ripe, &shake[0], &shake[1]);
    const int64_t middle = shaken_some_day ? start + (int64_t)ripe->central : INT64_MAX;
    json_t *boxes = json_array();
    const bool gone = strcmp(vessels->due_for, action_name(ACTION_DISCARD)) == 0;
    /* Where nothing grows yet, a day that has passed is no day to shake on. */
    const bool late = strcmp(vessels->due_for, FIRST_GROWTH) == 0 && middle <= today;
    const bool ahead = shaken_some_day && !late && start + (int64_t)ripe->high >= today;
    view_forecast_days(&run.batch, &run.forecast, &run.forecast.full, &full[0], &full[1]);
    for (size_t k = 0; k < count; k++)
        view_json_row(boxes, "number:l control:b", (json_int_t)vessels[k].number,
                      vessels[k].control);
    return view_json(
        "due:o overdue_days:l why:w batch:w vessels:o species:w age_days:l shake_from:o shake_to:o "
        "full_from:o full_to:o _labels:w _what:w _gone:b _shake:o _boxes:o _now:b",
        view_json_day(due), (json_int_t)(today > due ? today - due : 0), vessels->due_for,
        run.batch.label, view_json_vessels(vessels, count), run.batch.species,
        (json_int_t)moment_days_between(run.batch.at, view->now), view_json_day(shake[0]),
        view_json_day(shake[1]), view_json_day(full[0]), view_json_day(full[1]),
        view_vessels(view->arena, vessels, count), group_words(view, &run, vessels, count), gone,
        view_json_day(ahead ? middle : 0), boxes, due == today);
}

/* Vessels that are due by a day stay, the first due first; how many. The first day of the others goes to
 * `next`, 0 for none, and how many nobody heard of for long to `silent`, with their batches. */
static size_t keep_due(struct journal_view *view, const struct due_asked *asked,
                       struct vessel *vessels, size_t count, int64_t *next, size_t *silent,
                       const char **silent_of)
{
    struct run run = {.batch.id = 0};
    size_t kept = 0;
    int64_t unheard = 0; /* the last batch with a silent one */
    for (size_t i = 0; i < count; i++) {
        struct vessel *vessel = &vessels[i];
        bool wanted = asked->batch_count == 0;
        for (size_t b = 0; b < asked->batch_count; b++)
            wanted = wanted || asked->batches[b].id == vessel->batch;
        if (!wanted)
            continue;
        if (vessel->due == 0 && vessel->batch != run.batch.id)
            run = run_of(view, vessel);
        if (vessel->due == 0 && !date_vessel(view, &run, vessel)) {
            *silent += 1;
            if (unheard != vessel->batch)
                *silent_of = arena_format(view->arena, "%s%s%s", *silent_of,
                                          **silent_of != '\0' ? ", " : "", run.batch.label);
            unheard = vessel->batch;
        } else if (vessel->due <= asked->day)
            vessels[kept++] = *vessel;
        else
            *next = *next == 0 || vessel->due < *next ? vessel->due : *next;
    }
    if (kept > 0)
        qsort(vessels, kept, sizeof *vessels, by_day);
    return kept;
}

json_t *view_due_json(struct journal_view *view, const struct due_asked *asked)
{
    struct page growing;
    size_t silent = 0;
    int64_t next = 0;
    const char *silent_of = "";
    json_t *groups = json_array();
    bool controls = false;
    (void)journal_page(view->journal, RECORD_VESSEL, "state IN ('growing', 'isolated')", 0, 0,
                       view->arena, &growing);
    struct vessel *vessels = growing.rows;
    size_t count = keep_due(view, asked, vessels, growing.count, &next, &silent, &silent_of);
    const bool all = asked->limit == 0 || asked->batch_count > 0 || count <= asked->limit;
    const size_t shown = all ? count : asked->limit;
    for (size_t i = 0, together; i < shown; i += together) {
        const struct vessel *first = &vessels[i];
        bool told = false; /* what is ahead of its batch */
        for (together = 0; i + together < shown; together++) {
            const struct vessel *vessel = &first[together];
            if (vessel->due != first->due || vessel->batch != first->batch ||
                strcmp(vessel->due_for, first->due_for) != 0)
                break;
            controls = controls || vessel->control;
        }
        for (size_t k = 0; k < i; k++)
            told = told || (vessels[k].batch == first->batch &&
                            strcmp(vessels[k].due_for, action_name(ACTION_DISCARD)) != 0);
        json_t *group = group_json(view, first, together);
        view_json_add(group, "_told:b _new:b", told, i == 0 || first[-1].due != first->due);
        json_array_append_new(groups, group);
    }
    const int64_t today = moment_day(view->now);
    return view_json("schema:i today:o vessels:z more:z next:o silent:z silent_of:w due:o "
                     "_controls:b _today:o",
                     1, view_json_day(today), shown, count - shown,
                     view_json_day(count > 0 ? 0 : next), silent, silent_of, groups, controls,
                     view_json_day(today));
}

/* ---- labels ------------------------------------------------------------------------------------ */

struct sticker { /* what stands on one label */
    const char *label, *what, *date, *lot, *with;
};

static struct sticker sticker_of(struct journal_view *view, const struct vessel *vessel)
{
    struct batch batch;
    char date[MOMENT_ROOM];
    view_get(view, RECORD_BATCH, vessel->batch, &batch);
    const char *lot = view_label(view, RECORD_LOT, batch.lot);
    return (struct sticker){
        .label = vessel->label,
        .what = vessel->control ? "control, not inoculated" : view_batch_words(view, &batch),
        .date = arena_string(view->arena, moment_write_day(batch.at, date)),
        .lot = lot[0] != '\0' ? arena_format(view->arena, "lot %s", lot) : "",
        .with = arena_format(view->arena, "%s %s %s", view_label(view, RECORD_COOK, batch.cook),
                             vessel->control ? "" : view_label(view, RECORD_STARTER, batch.starter),
                             view_label(view, RECORD_SESSION, batch.session)),
    };
}

enum { STICKER = 34, INNER = STICKER - 4 };

/* Labels side by side, three lines each between two rules. */
void view_labels(struct screen *screen, struct journal_view *view, const struct vessel *vessels,
                 size_t count)
{
    const size_t across = screen->width >= 2 * STICKER + 1 ? 2 : 1;
    for (size_t i = 0; i < count; i += across)
        for (size_t row = 0; row < 5; row++) {
            struct text line, safe;
            text_init(&line);
            for (size_t k = i; k < count && k < i + across; k++) {
                const struct sticker sticker = sticker_of(view, &vessels[k]);
                const char *words =
                    row == 1   ? arena_format(view->arena, "%s   %s", sticker.label, sticker.date)
                    : row == 2 ? sticker.what
                               : arena_format(view->arena, "%s  %s", sticker.with, sticker.lot);
                text_puts(&line, k > i ? " " : "");
                if (row == 0 || row == 4) {
                    text_puts(&line, "+--------------------------------+");
                    continue;
                }
                text_init(&safe);
                text_safe(&safe, words, strlen(words),
                          &(struct text_safe_options){.ascii = screen->ascii});
                text_cut(&safe, screen_fit(safe.bytes, safe.length, INNER));
                text_printf(&line, "| %s%*s |", safe.bytes,
                            INNER - (int)utf8_width(safe.bytes, safe.length), "");
                text_release(&safe);
            }
            screen_preformatted(screen, 0, line.bytes);
            text_release(&line);
        }
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

static void put_label(struct text *html, const struct sticker sticker)
{
    /* What fits in the lines that a label has; a short name stands in large letters. */
    enum { LARGE = 10, NAME = 36, WHAT = 40, LOT = 14, WITH = 22 };
    bool large = utf8_width(sticker.label, strlen(sticker.label)) <= LARGE;
    text_puts(html, "<section>");
    put_code(html, sticker.label);
    text_puts(html, large ? "<div><h2>" : "<div><h2 class=\"long\">");
    html_fit(html, sticker.label, NAME);
    text_puts(html, "</h2>\n<p>");
    html_fit(html, sticker.what, WHAT);
    text_printf(html, "</p>\n<p>%s ", sticker.date);
    html_fit(html, sticker.lot, LOT);
    text_puts(html, "</p>\n<p>");
    html_fit(html, sticker.with, WITH);
    text_puts(html, "</p></div></section>\n");
}

void view_labels_html(struct text *html, struct journal_view *view, const struct vessel *vessels,
                      size_t count, enum label_sheet sheet, size_t skip, bool cut)
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
        if (i % room == 0)
            text_puts(html, i > 0 ? "</main>\n<main>\n" : "<main>\n");
        if (i < skip)
            text_puts(html, "<i></i>");
        else
            put_label(html, sticker_of(view, &vessels[i - skip]));
    }
    text_puts(html, "</main>\n");
    html_end(html);
}
