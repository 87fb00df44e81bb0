/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "view/journal.h"
#include "view/page.h"
#include "view/screen.h"
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
};

static enum status read_batch(const struct journal_view *view, const struct vessel *vessel,
                              struct batch *batch, struct vessel_forecast *forecast)
{
    enum status status = view_get(view, RECORD_BATCH, vessel->batch, batch);
    return status != STATUS_OK ? status
                               : vessel_forecast_of(view->journal, view->rules, batch, vessel,
                                                    forecast, view->diags);
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
        if (status == STATUS_OK && !dated)
            status = date_vessel(view, gathering, &vessel);
        if (status != STATUS_OK)
            return status;
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
                          struct due_list *list)
{
    struct gathering gathering = {.count = 0};
    struct page page, undated;
    enum status status;

    *list = (struct due_list){.count = 0};
    if ((status = survey_due(view->journal, day, limit, view->arena, &page, view->diags)) ||
        (status = gather(view, &gathering, &page, true, day, &list->next)) ||
        (status = survey_undated(view->journal, limit, view->arena, &undated, view->diags)) ||
        (status = gather(view, &gathering, &undated, false, day, &list->next)))
        return status;
    list->more = page.total - page.count;
    if (gathering.count > 0) {
        list->next = 0;
        return make_groups(view, gathering.vessels, gathering.count, list);
    }
    if ((status = survey_due(view->journal, INT64_MAX, 1, view->arena, &page, view->diags)))
        return status;
    return gather(view, &gathering, &page, true, day, &list->next);
}

/* ---- on the screen --------------------------------------------------------------------------- */

/* Vessels that stand in one place are told where; what is ahead is told once of a batch. */
static void say_group(struct screen *screen, const struct journal_view *view,
                      const struct due_list *list, size_t index)
{
    const struct due_group *due = &list->groups[index];
    const char *place = view_label(view, RECORD_PLACE, due->vessels[0].stands);
    const struct range *shake = &due->forecast.shake;
    int64_t start = moment_day(due->batch.at), from = 0, to = 0;
    char first[MOMENT_ROOM], last[MOMENT_ROOM], purpose[PURPOSE_ROOM];
    const char *ahead = "";
    struct text labels;

    /* "shake about 2026-03-08, fully colonised 2026-03-13 to 2026-03-25": what is still ahead. */
    if (due->forecast.known && isfinite(shake->high) &&
        start + (int64_t)shake->high >= moment_day(view->now))
        ahead = arena_format(view->arena, "shake about %s",
                             view_day(start + (int64_t)shake->central, first));
    if (view_forecast_days(&due->batch, &due->forecast, &due->forecast.full, &from, &to))
        ahead =
            arena_format(view->arena, "%s%sfully colonised %s to %s", ahead,
                         ahead[0] != '\0' ? ", " : "", view_day(from, first), view_day(to, last));

    for (size_t i = 1; i < due->count; i++)
        if (due->vessels[i].stands != due->vessels[0].stands)
            place = "";
    for (size_t i = 0; i < index; i++)
        if (list->groups[i].batch.id == due->batch.id)
            ahead = "";
    text_init(&labels);
    view_vessels(&labels, due->vessels, due->count);
    screen_say(screen, 2, 2, ROLE_PLAIN, "%s: %s; %s, day %lld%s%s.", labels.bytes,
               view_purpose(due->why, purpose), view_batch_words(view, &due->batch),
               (long long)moment_days_between(due->batch.at, view->now),
               place[0] != '\0' ? ", at " : "", place);
    if (ahead[0] != '\0')
        screen_say(screen, 4, 2, ROLE_QUIET, "%s", ahead);
    text_release(&labels);
}

void view_due(struct screen *screen, const struct journal_view *view, const struct due_list *list)
{
    int64_t today = moment_day(view->now);
    char when[WHEN_ROOM];

    if (list->count == 0 && list->next == 0)
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing is due.");
    else if (list->count == 0)
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing is due. The next look is %s.",
                   view_when(list->next, today, when));
    for (size_t i = 0; i < list->count; i++) {
        int64_t day = list->groups[i].day;
        if (day == today && (i == 0 || list->groups[i - 1].day != day))
            screen_say(screen, 0, 0, ROLE_STRONG, "Today");
        else if (i == 0 || list->groups[i - 1].day != day)
            screen_say(screen, 0, 0, day < today ? ROLE_WARN : ROLE_STRONG, "%s%s",
                       day < today ? "Overdue since " : "Due ", view_when(day, today, when));
        say_group(screen, view, list, i);
    }
    if (list->more > 0)
        screen_say(screen, 0, 2, ROLE_QUIET, "%zu more due; --limit 0 shows all.", list->more);
    if (list->count > 0)
        screen_say(screen, 0, 2, ROLE_PLAIN, "To record a look: jarside look %s",
                   list->groups[0].vessels[0].label);
}

/* ---- JSON ------------------------------------------------------------------------------------ */

static json_t *group_json(const struct journal_view *view, const struct due_group *due)
{
    const struct vessel_forecast *forecast = &due->forecast;
    int64_t today = moment_day(view->now), shake[2], full[2];
    view_forecast_days(&due->batch, forecast, &forecast->shake, &shake[0], &shake[1]);
    view_forecast_days(&due->batch, forecast, &forecast->full, &full[0], &full[1]);
    return json_pack(
        "{s:o, s:I, s:o, s:o, s:o, s:o, s:I, s:o, s:o, s:o, s:o}", "due", view_json_day(due->day),
        "overdue_days", (json_int_t)(today > due->day ? today - due->day : 0), "why",
        view_json_text(due->why), "batch", view_json_text(due->batch.label), "vessels",
        view_json_vessels(due->vessels, due->count), "species", view_json_text(due->batch.species),
        "age_days", (json_int_t)moment_days_between(due->batch.at, view->now), "shake_from",
        view_json_day(shake[0]), "shake_to", view_json_day(shake[1]), "full_from",
        view_json_day(full[0]), "full_to", view_json_day(full[1]));
}

json_t *view_due_json(const struct journal_view *view, const struct due_list *list)
{
    json_t *groups = json_array();
    for (size_t i = 0; i < list->count; i++)
        json_array_append_new(groups, group_json(view, &list->groups[i]));
    return json_pack("{s:i, s:o, s:I, s:I, s:o, s:o}", "schema", 1, "today",
                     view_json_day(moment_day(view->now)), "vessels", (json_int_t)list->vessels,
                     "more", (json_int_t)list->more, "next", view_json_day(list->next), "due",
                     groups);
}

/* ---- on paper: what is due, with boxes to tick ------------------------------------------------- */

static const char through_the_wall[] =
    "Look through the wall only. Do not open, shake or smell a suspect vessel.";

static const char *group_words(const struct journal_view *view, const struct due_group *due)
{
    char date[MOMENT_ROOM], purpose[PURPOSE_ROOM];
    return arena_format(view->arena, "%s: %s; %s, day %lld", view_day(due->day, date),
                        view_purpose(due->why, purpose), view_batch_words(view, &due->batch),
                        (long long)moment_days_between(due->batch.at, view->now));
}

void view_due_sheet(struct screen *screen, const struct journal_view *view,
                    const struct due_list *list)
{
    char date[MOMENT_ROOM];
    screen_say(screen, 0, 0, ROLE_STRONG, "Vessels to look at on %s",
               moment_write_day(view->now, date));
    screen_say(screen, 0, 0, ROLE_PLAIN, "%s", through_the_wall);
    if (list->count == 0)
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing is due.");
    for (size_t i = 0; i < list->count; i++) {
        const struct due_group *due = &list->groups[i];
        screen_blank(screen);
        screen_say(screen, 0, 2, ROLE_PLAIN, "%s", group_words(view, due));
        for (size_t k = 0; k < due->count; k++) {
            const char *place = view_label(view, RECORD_PLACE, due->vessels[k].stands);
            screen_say(screen, 2, 4, ROLE_PLAIN,
                       "[ ] %s%s%s  colonised ____ %%  ______________________",
                       due->vessels[k].label, place[0] != '\0' ? ", " : "", place);
        }
    }
}

void view_due_html(struct text *html, const struct journal_view *view, const struct due_list *list,
                   enum paper paper)
{
    static const char style[] =
        "h1 { font-size: 15pt; margin: 0 0 2mm; }\np { margin: 0 0 4mm; }\n"
        "table { width: 100%; border-collapse: collapse; }\n"
        "th, td { border-bottom: 0.3pt solid #000; padding: 1.2mm 2mm; text-align: left; }\n"
        "tr { break-inside: avoid; }\n.group th { padding-top: 4mm; break-after: avoid; }\n"
        ".box { width: 6mm; font-size: 13pt; }\n.fill { width: 20mm; }\n.wide { width: 50%; }\n";
    char date[MOMENT_ROOM], title[MOMENT_ROOM + 16];

    snprintf(title, sizeof title, "Vessels to look at on %s", moment_write_day(view->now, date));
    sheet_begin(html, title, paper, style);
    html_element(html, "h1", NULL, title);
    html_element(html, "p", NULL, through_the_wall);
    if (list->count == 0)
        html_element(html, "p", NULL, "Nothing is due.");
    else
        text_puts(html, "<table>\n<thead><tr><th></th><th>Vessel</th><th>Place</th>"
                        "<th>Colonised, %</th><th>What was seen</th></tr></thead>\n<tbody>\n");
    for (size_t i = 0; i < list->count; i++) {
        const struct due_group *due = &list->groups[i];
        text_puts(html, "<tr class=\"group\">");
        html_element(html, "th", "colspan=\"5\" scope=\"rowgroup\"", group_words(view, due));
        text_puts(html, "</tr>\n");
        for (size_t k = 0; k < due->count; k++) {
            text_puts(html, "<tr><td class=\"box\">\xe2\x98\x90</td>");
            html_element(html, "td", NULL, due->vessels[k].label);
            html_element(html, "td", NULL, view_label(view, RECORD_PLACE, due->vessels[k].stands));
            text_puts(html, "<td class=\"fill\"></td><td class=\"wide\"></td></tr>\n");
        }
    }
    text_puts(html, list->count > 0 ? "</tbody>\n</table>\n" : "");
    html_end(html);
}
