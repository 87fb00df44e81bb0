/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is due: gathering it, on the screen, as JSON. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "voice/journal.h"
#include "voice/whole_json.h"

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
    struct course course;
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
            status = course_of(told->journal, told->rules, &dating->batch, vessel, &dating->course,
                               told->diags);
    }
    vessel->due = course_first_day(&dating->course, &dating->batch);
    vessel->due_for = course_first_word;
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
            status = course_of(told->journal, told->rules, &next->batch, first, &next->course,
                               told->diags);
        list->count++;
        i = end;
    }
    list->groups = groups;
    list->vessels = gathering->count;
    return status;
}

enum status voice_due_find(const struct journal_told *told, int64_t day, size_t limit,
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
                    voice_when(day, today, when));
}

/* "to shake 2026-03-08 to 2026-03-10, white through 2026-03-13 to 2026-03-25": what is still ahead. */
static const char *ahead_of(const struct journal_told *told, const struct due_group *due)
{
    int64_t start = moment_day(due->batch.at), today = moment_day(told->now);
    const struct course *course = &due->course;
    char from[MOMENT_ROOM], to[MOMENT_ROOM];
    const char *words = "";

    if (!course->known)
        return "";
    if (isfinite(course->shake.high) && start + (int64_t)course->shake.high >= today)
        words = arena_format(told->arena, "to shake about %s",
                             voice_day(start + (int64_t)course->shake.central, from));
    if (words != NULL && isfinite(course->full.high))
        words = arena_format(told->arena, "%s%swhite through %s to %s", words,
                             words[0] != '\0' ? ", " : "",
                             voice_day(start + (int64_t)floor(course->full.low), from),
                             voice_day(start + (int64_t)ceil(course->full.high), to));
    return words != NULL ? words : "";
}

/* Vessels that stand in one place are told where. */
static const char *place_of(const struct journal_told *told, const struct due_group *due)
{
    for (size_t i = 1; i < due->count; i++)
        if (due->vessels[i].stands != due->vessels[0].stands)
            return "";
    return voice_label(told, RECORD_PLACE, due->vessels[0].stands);
}

/* What is ahead is told once of a batch. */
static void say_group(struct screen *screen, const struct journal_told *told,
                      const struct due_group *due, bool known)
{
    struct text labels;
    const char *place = place_of(told, due), *ahead = ahead_of(told, due);
    long long age = (long long)moment_days_between(due->batch.at, told->now);

    text_init(&labels);
    voice_vessels(&labels, due->vessels, due->count);
    screen_say(screen, 2, 2, ROLE_PLAIN, "%s: %s; %s, day %lld%s%s.", labels.bytes, due->why,
               voice_batch_words(told, &due->batch), age, place[0] != '\0' ? ", in " : "", place);
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
                   voice_when(list->next, moment_day(told->now), when));
    else
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing is due.");
}

void voice_due(struct screen *screen, const struct journal_told *told, const struct due_list *list)
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
    const struct course *course = &due->course;
    int64_t start = moment_day(due->batch.at);
    bool full = course->known && isfinite(course->full.high);
    bool shake = course->known && isfinite(course->shake.high);
    return json_pack(
        "{s:o, s:I, s:o, s:o, s:o, s:o, s:I, s:o, s:o, s:o, s:o}", "due", voice_json_day(due->day),
        "overdue_days",
        (json_int_t)(moment_day(told->now) > due->day ? moment_day(told->now) - due->day : 0),
        "why", voice_json_text(due->why), "batch", voice_json_text(due->batch.label), "vessels",
        voice_json_vessels(due->vessels, due->count), "species",
        voice_json_text(due->batch.species), "age_days",
        (json_int_t)moment_days_between(due->batch.at, told->now), "shake_from",
        voice_json_day(shake ? start + (int64_t)floor(course->shake.low) : 0), "shake_to",
        voice_json_day(shake ? start + (int64_t)ceil(course->shake.high) : 0), "full_from",
        voice_json_day(full ? start + (int64_t)floor(course->full.low) : 0), "full_to",
        voice_json_day(full ? start + (int64_t)ceil(course->full.high) : 0));
}

json_t *voice_due_json(const struct journal_told *told, const struct due_list *list)
{
    json_t *groups = json_array();
    for (size_t i = 0; i < list->count; i++)
        groups = voice_json_append(groups, group_json(told, &list->groups[i]));
    return json_pack("{s:i, s:o, s:I, s:I, s:o, s:o}", "schema", 1, "today",
                     voice_json_day(moment_day(told->now)), "vessels", (json_int_t)list->vessels,
                     "more", (json_int_t)list->more, "next", voice_json_day(list->next), "due",
                     groups);
}
