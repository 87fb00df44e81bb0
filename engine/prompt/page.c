/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "prompt/converse_internal.h"

void page_end(struct conversation *talk)
{
    talk->shown += screen_lines(talk->opening->screen);
    enum status status = screen_flush(talk->opening->screen, stdout);
    if (status != STATUS_OK && talk->fault == STATUS_OK)
        talk->fault = status;
}

/* What is typed here besides Enter is not lost: it is heard when the pages are through. */
void page_wait(struct conversation *talk)
{
    char *line = NULL;
    page_end(talk);
    talk->shown = 0;
    if (!input_is_terminal(talk->input) || talk->fault != STATUS_OK || talk->leaving)
        return;
    input_offer(talk->input, NULL, 0);
    enum input_result result = input_line(talk->input, "(Enter for more) ", &line);
    screen_measure(talk->opening->screen, stdout); /* the window may have changed meanwhile */
    if (result == INPUT_END || result == INPUT_KILLED || result == INPUT_FAULT)
        talk->leaving = talk->ended = true;
    if (line != NULL && command_leaves(line))
        talk->leaving = true;
    if (line != NULL && line[strspn(line, " \t")] != '\0' && talk->pending == NULL)
        talk->pending = line;
    else
        free(line);
}

/*
 * Whether `lines` more fit the window below what came up since the grower last
 * typed, with room left for what follows a page: an offer and the prompt.
 * Everything fits where no window is.
 */
static bool fits(const struct conversation *talk, size_t lines)
{
    enum { ROOM_BELOW = 4 };
    size_t rows = talk->opening->screen->rows;
    return rows == 0 || talk->shown + lines + ROOM_BELOW <= rows;
}

/* Adds a part to the page, ending the page first when the part no longer fits on it. */
static void add_part(struct conversation *talk, const struct told *told,
                     void (*part)(struct screen *screen, const struct told *told))
{
    struct screen *screen = talk->opening->screen;
    size_t before = screen->out.length;
    bool page_is_empty = talk->shown == 0 && before == 0;
    part(screen, told);
    if (page_is_empty || fits(talk, screen_lines(screen)))
        return;
    /* Take the part back, let the page be read, and write the part on the next one. */
    text_cut(&screen->out, before);
    page_wait(talk);
    part(screen, told);
}

static void part_head(struct screen *screen, const struct told *told)
{
    screen_blank(screen);
    voice_action(screen, told);
    voice_cautions_first(screen, told);
}

static void part_findings(struct screen *screen, const struct told *told)
{
    screen_say(screen, 0, 0, ROLE_STRONG, "Most likely inside");
    voice_findings(screen, told, 3);
}

static void part_steps(struct screen *screen, const struct told *told)
{
    if (told->verdict->step_count == 0)
        return;
    screen_say(screen, 0, 0, ROLE_STRONG, "What to do");
    voice_steps(screen, told);
}

static void part_causes(struct screen *screen, const struct told *told)
{
    screen_heading(screen, "Most likely why");
    voice_causes(screen, told, 4);
}

static void part_computed(struct screen *screen, const struct told *told)
{
    if (told->verdict->computed_count == 0)
        return;
    screen_say(screen, 0, 0, ROLE_STRONG, "What the figures say");
    voice_computed(screen, told);
}

static void part_tests(struct screen *screen, const struct told *told)
{
    if (told->verdict->test_count == 0)
        return;
    screen_say(screen, 0, 0, ROLE_STRONG, "A cheap test that would tell the causes apart");
    voice_tests(screen, told, 2);
}

static void part_changes(struct screen *screen, const struct told *told)
{
    screen_say(screen, 0, 0, ROLE_STRONG, "What to change next time");
    voice_changes(screen, told);
}

void page_verdict(struct conversation *talk)
{
    struct told told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    add_part(talk, &told, part_head);
    add_part(talk, &told, part_findings);
    add_part(talk, &told, part_steps);
    add_part(talk, &told, voice_cautions_later);
    add_part(talk, &told, voice_unclear);
    page_end(talk);
}

void page_causes(struct conversation *talk)
{
    struct told told = converse_told(talk);
    if (told.verdict == NULL)
        return;
    add_part(talk, &told, part_causes);
    add_part(talk, &told, part_computed);
    add_part(talk, &told, part_tests);
    add_part(talk, &told, part_changes);
    page_end(talk);
}
