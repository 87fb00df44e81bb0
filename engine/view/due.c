/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "view/journal.h"
#include "view/page.h"
#include "view/screen.h"
#include "view/verdict.h"

/* ==== journal handling ======================================================================== */

/* What to mind when a vessel is thrown away, told from its last look. */

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

static json_t *posterior_of(const struct look *look)
{
    return look != NULL && look->posterior[0] != '\0' ? json_loads(look->posterior, 0, NULL) : NULL;
}

void view_handling(struct screen *screen, const struct rules *rules, const struct look *look)
{
    json_t *posterior = posterior_of(look);
    for (size_t i = 0; i < rules->caution_count; i++)
        if (applies(rules, &rules->cautions[i], posterior))
            screen_item(screen, 0, "!", ROLE_WARN, rules->cautions[i].text);
    json_decref(posterior);
}

json_t *view_handling_json(const struct rules *rules, const struct look *look)
{
    json_t *posterior = posterior_of(look), *texts = json_array();
    for (size_t i = 0; i < rules->caution_count; i++)
        if (applies(rules, &rules->cautions[i], posterior))
            texts = view_json_append(texts, json_string(rules->cautions[i].text));
    json_decref(posterior);
    return texts;
}

/* ==== journal due ============================================================================= */

/* What is due: gathering it, on the screen, as JSON. */

/* ---- gathering ------------------------------------------------------------------------------- */

struct gathering {
    const struct journal_told *told;
    struct vessel *vessels;
    size_t count, room;
    struct due_list *list;
};

static bool keep_vessel(struct gathering *gathering, const struct vessel *vessel)
{
    if (gathering->count == gathering->room) {
        size_t room = gathering->room == 0 ? 64 : 2 * gathering->room;
        gathering->vessels = arena_grow(gathering->told->arena, gathering->vessels, gathering->room,
                                        room, sizeof *gathering->vessels);
        gathering->room = room;
    }
    if (gathering->vessels == NULL)
        return false;
    gathering->vessels[gathering->count++] = *vessel;
    return true;
}

static enum status take_page(struct gathering *gathering, const struct page *page)
{
    const struct journal_told *told = gathering->told;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < page->count && status == STATUS_OK; i++) {
        struct vessel vessel;
        status = journal_get(told->journal, RECORD_VESSEL, page->ids[i], told->arena, &vessel,
                             told->diags);
        if (status == STATUS_OK && !keep_vessel(gathering, &vessel))
            status = STATUS_MEMORY;
    }
    return status;
}

struct dating { /* the batch of the last vessel dated: neighbours mostly share it */
    struct batch batch;
    struct vessel_forecast course;
};

/*
 * A vessel that came without a day: its first look is where the forecast has it;
 * the next one some days after the last, or at once when that did not say keep.
 */
static enum status date_vessel(const struct journal_told *told, struct dating *dating,
                               struct vessel *vessel)
{
    struct look look;
    enum status status = STATUS_OK;
    if (vessel->batch != dating->batch.id) {
        status = journal_get(told->journal, RECORD_BATCH, vessel->batch, told->arena,
                             &dating->batch, told->diags);
        if (status == STATUS_OK)
            status = vessel_forecast_of(told->journal, told->rules, &dating->batch, vessel,
                                        &dating->course, told->diags);
    }
    vessel->due = vessel_forecast_first_day(&dating->course, &dating->batch);
    vessel->due_for = FIRST_LOOK;
    if (status != STATUS_OK || vessel->last_look == 0)
        return status;
    status =
        journal_get(told->journal, RECORD_LOOK, vessel->last_look, told->arena, &look, told->diags);
    bool keep = status == STATUS_OK && strcmp(look.action, action_name(ACTION_KEEP)) == 0;
    if (status == STATUS_OK) {
        vessel->due = moment_day(look.at) + (keep ? (int64_t)dating->course.look_every : 0);
        vessel->due_for = keep ? "look again" : look.action;
    }
    return status;
}

static enum status take_undated(struct gathering *gathering, int64_t day, size_t limit)
{
    const struct journal_told *told = gathering->told;
    struct dating dating = {.batch = {.id = 0}};
    struct due_list *list = gathering->list;
    struct page page;
    enum status status = survey_undated(told->journal, limit, told->arena, &page, told->diags);

    for (size_t i = 0; i < page.count && status == STATUS_OK; i++) {
        struct vessel vessel;
        status = journal_get(told->journal, RECORD_VESSEL, page.ids[i], told->arena, &vessel,
                             told->diags);
        if (status == STATUS_OK)
            status = date_vessel(told, &dating, &vessel);
        if (status != STATUS_OK)
            break;
        if (vessel.due > day)
            list->next = list->next == 0 || vessel.due < list->next ? vessel.due : list->next;
        else if (!keep_vessel(gathering, &vessel))
            status = STATUS_MEMORY;
    }
    return status;
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

static bool together(const struct vessel *a, const struct vessel *b)
{
    return a->due == b->due && a->batch == b->batch && strcmp(a->due_for, b->due_for) == 0;
}

static enum status group(struct gathering *gathering)
{
    const struct journal_told *told = gathering->told;
    struct due_group *groups = arena_array(told->arena, gathering->count + 1, sizeof *groups);
    struct due_list *list = gathering->list;
    enum status status = groups != NULL ? STATUS_OK : STATUS_MEMORY;

    for (size_t i = 0; i < gathering->count && status == STATUS_OK;) {
        struct due_group *next = &groups[list->count];
        const struct vessel *first = &gathering->vessels[i];
        size_t end = i + 1;
        while (end < gathering->count && together(first, &gathering->vessels[end]))
            end++;
        next->day = first->due;
        next->why = first->due_for;
        next->vessels = first;
        next->count = end - i;
        status = journal_get(told->journal, RECORD_BATCH, first->batch, told->arena, &next->batch,
                             told->diags);
        if (status == STATUS_OK)
            status = vessel_forecast_of(told->journal, told->rules, &next->batch, first,
                                        &next->course, told->diags);
        list->count++;
        i = end;
    }
    list->groups = groups;
    list->vessels = gathering->count;
    return status;
}

enum status view_due_find(const struct journal_told *told, int64_t day, size_t limit,
                          struct due_list *list)
{
    struct gathering gathering = {.told = told, .list = list};
    struct page page;

    *list = (struct due_list){.count = 0};
    enum status status = survey_due(told->journal, day, limit, told->arena, &page, told->diags);
    if (status == STATUS_OK)
        status = take_page(&gathering, &page);
    if (status == STATUS_OK)
        status = take_undated(&gathering, day, limit);
    if (status != STATUS_OK)
        return status;
    list->more = page.total - page.count;
    if (gathering.count > 0) {
        list->next = 0;
        qsort(gathering.vessels, gathering.count, sizeof *gathering.vessels, by_day);
        return group(&gathering);
    }
    status = survey_due(told->journal, INT64_MAX, 1, told->arena, &page, told->diags);
    if (status == STATUS_OK && page.count > 0) {
        struct vessel vessel;
        status = journal_get(told->journal, RECORD_VESSEL, page.ids[0], told->arena, &vessel,
                             told->diags);
        if (status == STATUS_OK && (list->next == 0 || vessel.due < list->next))
            list->next = vessel.due;
    }
    return status;
}

/* ---- saying it ------------------------------------------------------------------------------- */

static void head_of(const struct journal_told *told, int64_t day, struct text *head)
{
    int64_t today = moment_day(told->now);
    char when[WHEN_ROOM];
    text_clear(head);
    if (day == today)
        text_puts(head, "Today");
    else
        text_printf(head, "%s%s", day < today ? "Overdue since " : "Due ",
                    view_when(day, today, when));
}

/* "to shake 2026-03-08 to 2026-03-10, white through 2026-03-13 to 2026-03-25": what is still ahead. */
static const char *ahead_of(const struct journal_told *told, const struct due_group *due)
{
    int64_t start = moment_day(due->batch.at), today = moment_day(told->now);
    const struct vessel_forecast *course = &due->course;
    char from[MOMENT_ROOM], to[MOMENT_ROOM];
    const char *words = "";

    if (!course->known)
        return "";
    if (isfinite(course->shake.high) && start + (int64_t)course->shake.high >= today)
        words = arena_format(told->arena, "to shake about %s",
                             view_day(start + (int64_t)course->shake.central, from));
    if (words != NULL && isfinite(course->full.high))
        words = arena_format(told->arena, "%s%swhite through %s to %s", words,
                             words[0] != '\0' ? ", " : "",
                             view_day(start + (int64_t)floor(course->full.low), from),
                             view_day(start + (int64_t)ceil(course->full.high), to));
    return words != NULL ? words : "";
}

/* Vessels that stand in one place are told where. */
static const char *place_of(const struct journal_told *told, const struct due_group *due)
{
    for (size_t i = 1; i < due->count; i++)
        if (due->vessels[i].stands != due->vessels[0].stands)
            return "";
    return view_label(told, RECORD_PLACE, due->vessels[0].stands);
}

/* What is ahead is told once of a batch. */
static void say_group(struct screen *screen, const struct journal_told *told,
                      const struct due_group *due, bool known)
{
    struct text labels;
    const char *place = place_of(told, due), *ahead = ahead_of(told, due);
    long long age = (long long)moment_days_between(due->batch.at, told->now);

    text_init(&labels);
    view_vessels(&labels, due->vessels, due->count);
    screen_say(screen, 2, 2, ROLE_PLAIN, "%s: %s; %s, day %lld%s%s.", labels.bytes, due->why,
               view_batch_words(told, &due->batch), age, place[0] != '\0' ? ", in " : "", place);
    if (ahead[0] != '\0' && !known)
        screen_say(screen, 4, 2, ROLE_QUIET, "%s", ahead);
    text_release(&labels);
}

static bool told_before(const struct due_list *list, size_t index)
{
    for (size_t i = 0; i < index; i++)
        if (list->groups[i].batch.id == list->groups[index].batch.id)
            return true;
    return false;
}

static void say_nothing(struct screen *screen, const struct journal_told *told,
                        const struct due_list *list)
{
    char when[WHEN_ROOM];
    if (list->next != 0)
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing is due. The next look is %s.",
                   view_when(list->next, moment_day(told->now), when));
    else
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing is due.");
}

void view_due(struct screen *screen, const struct journal_told *told, const struct due_list *list)
{
    struct text head;
    if (list->count == 0) {
        say_nothing(screen, told, list);
        return;
    }
    text_init(&head);
    for (size_t i = 0; i < list->count; i++) {
        const struct due_group *due = &list->groups[i];
        if (i == 0 || due->day != list->groups[i - 1].day) {
            head_of(told, due->day, &head);
            screen_say(screen, 0, 0, due->day < moment_day(told->now) ? ROLE_WARN : ROLE_STRONG,
                       "%s", head.bytes);
        }
        say_group(screen, told, due, told_before(list, i));
    }
    text_release(&head);
    if (list->more > 0)
        screen_say(screen, 0, 2, ROLE_QUIET, "%zu further vessels are due; --limit 0 shows all.",
                   list->more);
    screen_say(screen, 0, 2, ROLE_PLAIN, "Look: jarside look %s", list->groups[0].vessels[0].label);
}

/* ---- JSON ------------------------------------------------------------------------------------ */

static json_t *group_json(const struct journal_told *told, const struct due_group *due)
{
    const struct vessel_forecast *course = &due->course;
    int64_t start = moment_day(due->batch.at);
    bool full = course->known && isfinite(course->full.high);
    bool shake = course->known && isfinite(course->shake.high);
    return json_pack(
        "{s:o, s:I, s:o, s:o, s:o, s:o, s:I, s:o, s:o, s:o, s:o}", "due", view_json_day(due->day),
        "overdue_days",
        (json_int_t)(moment_day(told->now) > due->day ? moment_day(told->now) - due->day : 0),
        "why", view_json_text(due->why), "batch", view_json_text(due->batch.label), "vessels",
        view_json_vessels(due->vessels, due->count), "species", view_json_text(due->batch.species),
        "age_days", (json_int_t)moment_days_between(due->batch.at, told->now), "shake_from",
        view_json_day(shake ? start + (int64_t)floor(course->shake.low) : 0), "shake_to",
        view_json_day(shake ? start + (int64_t)ceil(course->shake.high) : 0), "full_from",
        view_json_day(full ? start + (int64_t)floor(course->full.low) : 0), "full_to",
        view_json_day(full ? start + (int64_t)ceil(course->full.high) : 0));
}

json_t *view_due_json(const struct journal_told *told, const struct due_list *list)
{
    json_t *groups = json_array();
    for (size_t i = 0; i < list->count; i++)
        groups = view_json_append(groups, group_json(told, &list->groups[i]));
    return json_pack("{s:i, s:o, s:I, s:I, s:o, s:o}", "schema", 1, "today",
                     view_json_day(moment_day(told->now)), "vessels", (json_int_t)list->vessels,
                     "more", (json_int_t)list->more, "next", view_json_day(list->next), "due",
                     groups);
}

/* ==== journal sheet =========================================================================== */

/* On paper: what is due, with boxes to tick, and labels. */

/* ---- what is due ----------------------------------------------------------------------------- */

static const char *age_words(const struct journal_told *told, const struct due_group *due)
{
    const char *words =
        arena_format(told->arena, "%s, day %lld", view_batch_words(told, &due->batch),
                     (long long)moment_days_between(due->batch.at, told->now));
    return words != NULL ? words : "";
}

static void sheet_vessel(struct screen *screen, const struct journal_told *told,
                         const struct vessel *vessel)
{
    const char *place = view_label(told, RECORD_PLACE, vessel->stands);
    screen_say(screen, 2, 4, ROLE_PLAIN, "[ ] %s%s%s  white ____ %%  ______________________",
               vessel->label, place[0] != '\0' ? ", " : "", place);
}

void view_due_sheet(struct screen *screen, const struct journal_told *told,
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
        screen_say(screen, 0, 2, ROLE_PLAIN, "%s: %s; %s", view_day(due->day, date), due->why,
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
    html_text(html, view_day(due->day, date));
    text_puts(html, ": ");
    html_text(html, due->why);
    text_puts(html, "; ");
    html_text(html, age_words(told, due));
    text_puts(html, "</th></tr>\n");
    for (size_t i = 0; i < due->count; i++) {
        text_puts(html, "<tr><td class=\"box\">\xe2\x98\x90</td>");
        html_cell(html, due->vessels[i].label);
        html_cell(html, view_label(told, RECORD_PLACE, due->vessels[i].stands));
        text_puts(html, "<td class=\"fill\"></td><td class=\"wide\"></td></tr>\n");
    }
}

void view_due_html(struct text *html, const struct journal_told *told, const struct due_list *list,
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
    sticker->what = vessel->control ? "control, not inoculated" : view_batch_words(told, &batch);
    sticker->with =
        arena_format(told->arena, "%s %s %s", view_label(told, RECORD_COOK, batch.cook),
                     vessel->control ? "" : view_label(told, RECORD_STARTER, batch.starter),
                     view_label(told, RECORD_SESSION, batch.session));
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

enum status view_labels(struct screen *screen, const struct journal_told *told,
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

enum status view_labels_html(struct text *html, const struct journal_told *told,
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
