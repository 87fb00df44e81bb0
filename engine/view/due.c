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

static double caution_mass(const struct rules *rules, const struct caution *caution,
                           const json_t *posterior)
{
    double mass = 0.0;
    for (size_t f = 0; f < rules->finding_count; f++) {
        const struct finding *finding = &rules->findings[f];
        bool meant =
            (caution->hazards >> finding->hazard & 1) || (caution->statuses >> finding->status & 1);
        for (size_t i = 0; i < caution->finding_count; i++)
            meant = meant || caution->findings[i] == f;
        mass += meant ? finding_mass(posterior, finding->id) : 0.0;
    }
    return mass;
}

/*
 * Where nothing is known of what is inside, the cautions about contaminated
 * vessels hold as if it were: nobody throws away what is sound.
 */
static bool applies(const struct rules *rules, const struct caution *caution,
                    const json_t *posterior)
{
    if (caution->always) /* it is about verdicts, and there is none here */
        return false;
    if (caution->actions >> ACTION_DISCARD & 1)
        return true;
    if (posterior == NULL)
        return caution->rank < CAUTION_FIRST_RANK && caution->statuses != 0;
    double mass = caution_mass(rules, caution, posterior);
    return caution->rank < CAUTION_FIRST_RANK && mass > 0.0 && mass >= caution->at_least;
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

/* ---- gathering what is due --------------------------------------------------------------------- */

struct gathering {
    struct vessel *vessels;
    size_t count;
    struct batch batch; /* of the last vessel dated: neighbours mostly share it */
    struct vessel_forecast forecast;
    const struct batch *only; /* of these batches; of all where there are none */
    size_t only_count;
    struct due_list *list;
    int64_t silent; /* the last batch with a silent one */
};

static bool is_asked(const struct gathering *gathering, const struct vessel *vessel)
{
    bool asked = gathering->only_count == 0;
    for (size_t i = 0; i < gathering->only_count; i++)
        asked = asked || gathering->only[i].id == vessel->batch;
    return asked;
}

/* Whether an imported vessel that nobody ever looked at should have been over long ago: it is no look that is
 * due, but word of what became of it. Counted, with its batch. */
static bool is_silent(const struct journal_view *view, struct gathering *gathering,
                      const struct vessel *vessel)
{
    enum { LONG = 30, RUN = 60 }; /* days; the longest run, where none is forecast */
    struct due_list *list = gathering->list;
    const struct vessel_forecast *forecast = &gathering->forecast;
    double run = forecast->known && isfinite(forecast->full.high) ? forecast->full.high : RUN;
    if (vessel->last_look != 0 ||
        (double)moment_days_between(gathering->batch.at, view->now) < run + LONG)
        return false;
    list->silent++;
    if (gathering->silent != vessel->batch)
        list->silent_of =
            arena_format(view->arena, "%s%s%s", list->silent_of,
                         list->silent_of[0] != '\0' ? ", " : "", gathering->batch.label);
    gathering->silent = vessel->batch;
    return true;
}

static enum status read_batch(const struct journal_view *view, const struct vessel *vessel,
                              struct batch *batch, struct vessel_forecast *forecast)
{
    enum status status = view_get(view, RECORD_BATCH, vessel->batch, batch);
    return status != STATUS_OK
               ? status
               : vessel_forecast_of(view->journal, view->rules, batch, vessel, forecast, NULL);
}

/*
 * A vessel that came without a day: its first look is where the forecast has it;
 * the next one some days after the last, or at once when that did not say keep.
 */
static enum status date_vessel(const struct journal_view *view, struct gathering *gathering,
                               struct vessel *vessel)
{
    struct look look;
    enum status status = STATUS_OK;
    if (vessel->batch != gathering->batch.id)
        status = read_batch(view, vessel, &gathering->batch, &gathering->forecast);
    vessel->due = vessel_forecast_first_day(&gathering->forecast, &gathering->batch);
    vessel->due_for = FIRST_LOOK;
    if (status != STATUS_OK || vessel->last_look == 0)
        return status;
    status = view_get(view, RECORD_LOOK, vessel->last_look, &look);
    if (status == STATUS_OK) {
        bool keep = strcmp(look.action, action_name(ACTION_KEEP)) == 0;
        vessel->due = moment_day(look.at) + (keep ? (int64_t)gathering->forecast.look_every : 0);
        vessel->due_for = keep ? "look again" : look.action;
    }
    return status;
}

/* Adds the vessels of a page that are due by `day`; those without a day of their own are dated. */
static enum status gather(const struct journal_view *view, struct gathering *gathering,
                          const struct page *page, bool dated, int64_t day, int64_t *next)
{
    for (size_t i = 0; i < page->count; i++) {
        struct vessel vessel;
        enum status status = view_get(view, RECORD_VESSEL, page->ids[i], &vessel);
        if (status == STATUS_OK && !is_asked(gathering, &vessel))
            continue;
        if (status == STATUS_OK && !dated)
            status = date_vessel(view, gathering, &vessel);
        if (status != STATUS_OK)
            return status;
        if (!dated && is_silent(view, gathering, &vessel))
            continue;
        if (vessel.due <= day)
            *arena_push(view->arena, gathering->vessels, gathering->count) = vessel;
        else
            *next = *next == 0 || vessel.due < *next ? vessel.due : *next;
    }
    return STATUS_OK;
}

static int by_day(const void *left, const void *right)
{
    const struct vessel *a = left, *b = right;
    if (a->due != b->due)
        return a->due < b->due ? -1 : 1;
    if (a->batch != b->batch)
        return a->batch < b->batch ? -1 : 1;
    int why = strcmp(a->due_for, b->due_for);
    if (why != 0)
        return why;
    return a->number < b->number ? -1 : a->number > b->number;
}

static enum status make_groups(const struct journal_view *view, struct vessel *vessels,
                               size_t count, struct due_list *list)
{
    struct due_group *groups = arena_array(view->arena, count + 1, sizeof *groups);
    qsort(vessels, count, sizeof *vessels, by_day);
    for (size_t i = 0; i < count; i += groups[list->count++].count) {
        struct due_group *group = &groups[list->count];
        *group = (struct due_group){
            .day = vessels[i].due, .why = vessels[i].due_for, .vessels = &vessels[i], .count = 1};
        while (i + group->count < count &&
               (vessels[i].due == vessels[i + group->count].due &&
                vessels[i].batch == vessels[i + group->count].batch &&
                strcmp(vessels[i].due_for, vessels[i + group->count].due_for) == 0))
            group->count++;
        enum status status = read_batch(view, &vessels[i], &group->batch, &group->forecast);
        if (status != STATUS_OK)
            return status;
    }
    list->groups = groups;
    list->vessels = count;
    return STATUS_OK;
}

enum status view_due_find(const struct journal_view *view, int64_t day, size_t limit,
                          const struct batch *batches, size_t batch_count, struct due_list *list)
{
    struct gathering gathering = {.only = batches, .only_count = batch_count, .list = list};
    struct survey due = survey_all(RECORD_VESSEL, batch_count > 0 ? 0 : limit);
    struct survey unplanned = due;
    struct page page, undated;
    enum status status;

    *list = (struct due_list){.silent_of = ""};
    due.due = day;
    unplanned.undated = true;
    if ((status = survey_page(view->journal, &due, view->arena, &page)) ||
        (status = gather(view, &gathering, &page, true, day, &list->next)) ||
        (status = survey_page(view->journal, &unplanned, view->arena, &undated)) ||
        (status = gather(view, &gathering, &undated, false, day, &list->next)))
        return status;
    list->more = page.total - page.count;
    if (gathering.count > 0) {
        list->next = 0;
        return make_groups(view, gathering.vessels, gathering.count, list);
    }
    due.due = INT64_MAX;
    due.limit = batch_count > 0 ? 0 : 1;
    if ((status = survey_page(view->journal, &due, view->arena, &page)))
        return status;
    return gather(view, &gathering, &page, true, day, &list->next);
}

/* ---- in words -------------------------------------------------------------------------------- */

static const char *labels_of(const struct journal_view *view, const struct vessel *vessels,
                             size_t count)
{
    struct text labels;
    text_init(&labels);
    view_vessels(&labels, vessels, count);
    const char *copy = arena_string(view->arena, labels.bytes);
    text_release(&labels);
    return copy;
}

/* "oyster on rye, day 9, at closet": where they stand apart, each place with its vessels. */
static const char *group_words(const struct journal_view *view, const struct due_group *due)
{
    const char *words =
        arena_format(view->arena, "%s, day %lld", view_batch_words(view, &due->batch),
                     (long long)moment_days_between(due->batch.at, view->now));
    for (size_t i = 0, run; i < due->count; i += run) {
        const struct vessel *at = &due->vessels[i];
        for (run = 1; i + run < due->count && at[run].stands == at->stands;)
            run++;
        const char *place = view_label(view, RECORD_PLACE, at->stands);
        if (place[0] != '\0')
            words = arena_format(view->arena, "%s, %s%sat %s", words,
                                 run < due->count ? labels_of(view, at, run) : "",
                                 run < due->count ? " " : "", place);
    }
    return words;
}

static bool to_discard(const struct due_group *due)
{
    return strcmp(due->why, action_name(ACTION_DISCARD)) == 0;
}

/* "shake about 2026-03-08, fully colonised 2026-03-13 to 2026-03-25": what is still ahead. */
static const char *ahead_words(const struct journal_view *view, const struct due_group *due)
{
    const struct range *shake = &due->forecast.shake;
    int64_t start = moment_day(due->batch.at), from = 0, to = 0;
    char first[MOMENT_ROOM], last[MOMENT_ROOM];
    const char *ahead = "";

    if (to_discard(due))
        return ahead;
    /* Where nothing grows yet, a day that has passed is no day to shake on. */
    bool late = strcmp(due->why, FIRST_GROWTH) == 0 &&
                start + (int64_t)shake->central <= moment_day(view->now);
    if (due->forecast.known && isfinite(shake->high) && !late &&
        start + (int64_t)shake->high >= moment_day(view->now))
        ahead = arena_format(view->arena, "shake about %s",
                             view_day(start + (int64_t)shake->central, first));
    if (view_forecast_days(&due->batch, &due->forecast, &due->forecast.full, &from, &to))
        ahead =
            arena_format(view->arena, "%s%sfully colonised %s to %s", ahead,
                         ahead[0] != '\0' ? ", " : "", view_day(from, first), view_day(to, last));
    return ahead;
}

/* ---- as a tree --------------------------------------------------------------------------------- */

static json_t *group_json(const struct journal_view *view, const struct due_group *due)
{
    const struct vessel_forecast *forecast = &due->forecast;
    int64_t today = moment_day(view->now), shake[2], full[2];
    char purpose[PURPOSE_ROOM], when[WHEN_ROOM];
    json_t *boxes = json_array();
    view_forecast_days(&due->batch, forecast, &forecast->shake, &shake[0], &shake[1]);
    view_forecast_days(&due->batch, forecast, &forecast->full, &full[0], &full[1]);
    for (size_t k = 0; k < due->count; k++)
        view_json_row(boxes, "number:l control:b", (json_int_t)due->vessels[k].number,
                      due->vessels[k].control);
    json_t *group = view_json(
        "due:o overdue_days:l why:w batch:w vessels:o species:w age_days:l shake_from:o shake_to:o "
        "full_from:o full_to:o",
        view_json_day(due->day), (json_int_t)(today > due->day ? today - due->day : 0), due->why,
        due->batch.label, view_json_vessels(due->vessels, due->count), due->batch.species,
        (json_int_t)moment_days_between(due->batch.at, view->now), view_json_day(shake[0]),
        view_json_day(shake[1]), view_json_day(full[0]), view_json_day(full[1]));
    view_json_add(group, "_labels:w _purpose:w _what:w _ahead:w _when:s _boxes:o _today:b",
                  labels_of(view, due->vessels, due->count), view_purpose(due->why, purpose),
                  group_words(view, due), ahead_words(view, due), view_when(due->day, today, when),
                  boxes, due->day == today);
    return group;
}

json_t *view_due_json(const struct journal_view *view, const struct due_list *list)
{
    int64_t today = moment_day(view->now);
    json_t *groups = json_array();
    bool controls = false;
    char when[WHEN_ROOM];
    for (size_t i = 0; i < list->count; i++) {
        const struct due_group *due = &list->groups[i];
        json_t *group = group_json(view, due);
        bool told = false; /* what is ahead of its batch */
        for (size_t k = 0; k < i; k++)
            told = told ||
                   (list->groups[k].batch.id == due->batch.id && !to_discard(&list->groups[k]));
        for (size_t k = 0; k < due->count; k++)
            controls = controls || due->vessels[k].control;
        view_json_put(group, "_told", json_boolean(told));
        view_json_put(group, "_new", json_boolean(i == 0 || due[-1].day != due->day));
        json_array_append_new(groups, group);
    }
    return view_json(
        "schema:i today:o vessels:l more:l next:o silent:l silent_of:w due:o _controls:b "
        "_next:s",
        1, view_json_day(today), (json_int_t)list->vessels, (json_int_t)list->more,
        view_json_day(list->next), (json_int_t)list->silent, list->silent_of, groups, controls,
        view_when(list->next, today, when));
}

void view_due(struct screen *screen, const struct journal_view *view, const struct due_list *list)
{
    view_say_taken(&(struct face){.screen = screen}, "due", view_due_json(view, list));
}

void view_due_sheet(struct screen *screen, const struct journal_view *view,
                    const struct due_list *list)
{
    enum { LEAD = 9 };
    char line[SCREEN_WIDEST + 1];
    memset(line, '_', sizeof line);
    line[screen->width - LEAD - 4] = '\0';
    view_say_taken(&(struct face){.screen = screen}, "due.sheet",
                   view_json_put(view_due_json(view, list), "_line", json_string(line)));
}

void view_due_html(struct text *html, const struct journal_view *view, const struct due_list *list,
                   enum paper paper)
{
    char date[MOMENT_ROOM], title[MOMENT_ROOM + 32];
    snprintf(title, sizeof title, "Vessels to look at on %s", moment_write_day(view->now, date));
    sheet_begin(html, title, paper, "style.due");
    view_say_taken(&(struct face){.page = html}, "due.page", view_due_json(view, list));
    html_end(html);
}

/* ---- labels ------------------------------------------------------------------------------------ */

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
