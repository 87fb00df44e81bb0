/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/labels.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- one record ------------------------------------------------------------------------------ */

static const char *in_capitals(const char *label, struct arena *arena)
{
    char *copy = arena_string(arena, label);
    for (char *at = copy; at != NULL && *at != '\0'; at++)
        *at = (char)toupper((unsigned char)*at);
    return copy != NULL ? copy : label;
}

bool labels_has(struct app *app, enum record record, const char *label, struct arena *arena,
                int64_t *id, const char **found)
{
    *found = label;
    if (journal_has(app->journal, record, label, id))
        return true;
    *found = in_capitals(label, arena);
    return journal_has(app->journal, record, *found, id);
}

enum exit_status labels_find(struct app *app, enum record record, const char *label,
                             struct arena *arena, void *row)
{
    const char *found = label;
    int64_t id = 0;
    enum status status = labels_has(app, record, label, arena, &id, &found)
                             ? journal_get(app->journal, record, id, arena, row, app->diags)
                             : journal_find(app->journal, record, label, arena, row, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

enum record labels_kind(const char *word)
{
    for (size_t i = 0; i < RECORD_COUNT; i++) {
        const char *name = record_types[i].name;
        size_t length = strlen(name);
        if (strncmp(word, name, length) == 0 &&
            (word[length] == '\0' || strcmp(word + length, "s") == 0 ||
             strcmp(word + length, "es") == 0))
            return (enum record)i;
    }
    return RECORD_COUNT;
}

/* ---- several vessels ------------------------------------------------------------------------- */

struct choice { /* while the words are read */
    struct app *app;
    struct arena *arena;
    struct chosen *chosen;
    size_t room;
    struct batch batch; /* that bare numbers count within; id 0 for none */
    bool open;          /* it was named, and none of its vessels so far */
};

static enum exit_status choose(struct choice *choice, const struct vessel *vessel)
{
    struct chosen *chosen = choice->chosen;
    for (size_t i = 0; i < chosen->count; i++)
        if (chosen->vessels[i].id == vessel->id)
            return EXIT_FINE;
    if (chosen->count == choice->room) {
        size_t room = choice->room == 0 ? 16 : 2 * choice->room;
        chosen->vessels =
            arena_grow(choice->arena, chosen->vessels, choice->room, room, sizeof *chosen->vessels);
        choice->room = room;
    }
    if (chosen->vessels == NULL)
        return app_fail(choice->app, STATUS_MEMORY);
    chosen->vessels[chosen->count++] = *vessel;
    return EXIT_FINE;
}

static enum exit_status choose_batch(struct choice *choice)
{
    struct app *app = choice->app;
    void *rows = NULL;
    size_t count = 0;
    enum status status = journal_all(app->journal, RECORD_VESSEL, "batch", choice->batch.id,
                                     choice->arena, &rows, &count, app->diags);
    enum exit_status fault = status == STATUS_OK ? EXIT_FINE : app_fail(app, status);

    choice->chosen->whole = true;
    for (size_t i = 0; i < count && fault == EXIT_FINE; i++)
        fault = choose(choice, (const struct vessel *)rows + i);
    return fault;
}

static enum exit_status close_batch(struct choice *choice)
{
    if (!choice->open)
        return EXIT_FINE;
    choice->open = false;
    return choose_batch(choice);
}

/* The vessel of that number in the batch at hand. Its label is that of the batch, a hyphen and the
 * number, unless somebody relabelled it. */
static enum exit_status choose_number(struct choice *choice, long number)
{
    struct app *app = choice->app;
    struct vessel vessel = {.id = 0};
    const char *label = arena_format(choice->arena, "%s-%ld", choice->batch.label, number);
    int64_t id = 0;
    bool found = false;

    if (label == NULL)
        return app_fail(app, STATUS_MEMORY);
    if (journal_has(app->journal, RECORD_VESSEL, label, &id)) {
        enum exit_status fault = labels_find(app, RECORD_VESSEL, label, choice->arena, &vessel);
        return fault == EXIT_FINE ? choose(choice, &vessel) : fault;
    }
    struct walk *walk =
        journal_walk(app->journal, RECORD_VESSEL, "batch", choice->batch.id, app->diags);
    while (!found && walk != NULL && walk_next(walk, &vessel))
        found = vessel.number == number;
    id = vessel.id;
    enum status status = walk_end(walk);
    if (status == STATUS_OK && found)
        status = journal_get(app->journal, RECORD_VESSEL, id, choice->arena, &vessel, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    return found ? choose(choice, &vessel)
                 : app_usage(app, "there is no vessel %ld in %s", number, choice->batch.label);
}

static enum exit_status choose_range(struct choice *choice, long from, long to)
{
    enum { MOST = 10000 };
    enum exit_status fault = EXIT_FINE;
    if (choice->batch.id == 0)
        return app_usage(choice->app, "%ld of which batch? For instance: B3 %ld", from, from);
    if (to < from || to - from > MOST)
        return app_usage(choice->app, "'%ld to %ld' is no range of vessels", from, to);
    choice->open = false;
    for (long number = from; number <= to && fault == EXIT_FINE; number++)
        fault = choose_number(choice, number);
    return fault;
}

/* "7", "3-7", "3..7": numbers within the batch at hand. */
static bool read_range(const char *word, long *from, long *to)
{
    char *end = NULL;
    if (!isdigit((unsigned char)word[0]))
        return false;
    *from = *to = strtol(word, &end, 10);
    if (*end == '\0')
        return true;
    if (*end == '-')
        end++;
    else if (strncmp(end, "..", 2) == 0)
        end += 2;
    else
        return false;
    if (!isdigit((unsigned char)*end))
        return false;
    *to = strtol(end, &end, 10);
    return *end == '\0';
}

static enum exit_status choose_vessel(struct choice *choice, const char *label)
{
    struct app *app = choice->app;
    struct vessel vessel;
    enum exit_status fault = labels_find(app, RECORD_VESSEL, label, choice->arena, &vessel);
    if (fault == EXIT_FINE)
        fault = choose(choice, &vessel);
    if (fault != EXIT_FINE)
        return fault;
    choice->open = false;
    enum status status = journal_get(app->journal, RECORD_BATCH, vessel.batch, choice->arena,
                                     &choice->batch, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

/* "B3-3..7" or "B3-3..B3-7": from the one to the other. */
static enum exit_status choose_span(struct choice *choice, const char *word, const char *dots)
{
    struct app *app = choice->app;
    const char *first = arena_copy(choice->arena, word, (size_t)(dots - word));
    const char *last = dots + 2;
    long from, to;

    if (first == NULL)
        return app_fail(app, STATUS_MEMORY);
    enum exit_status fault = choose_vessel(choice, first);
    if (fault != EXIT_FINE)
        return fault;
    from = (long)choice->chosen->vessels[choice->chosen->count - 1].number;
    if (!read_range(last, &to, &to)) {
        struct vessel vessel;
        fault = labels_find(app, RECORD_VESSEL, last, choice->arena, &vessel);
        if (fault == EXIT_FINE && vessel.batch != choice->batch.id)
            fault = app_usage(app, "'%s' begins and ends in different batches", word);
        if (fault != EXIT_FINE)
            return fault;
        to = (long)vessel.number;
    }
    return choose_range(choice, from, to);
}

static enum exit_status choose_word(struct choice *choice, const char *word)
{
    struct app *app = choice->app;
    const char *found = NULL, *dots = strstr(word, "..");
    int64_t id = 0;
    long from, to;

    if (labels_has(app, RECORD_VESSEL, word, choice->arena, &id, &found)) {
        enum exit_status fault = close_batch(choice);
        return fault == EXIT_FINE ? choose_vessel(choice, found) : fault;
    }
    if (labels_has(app, RECORD_BATCH, word, choice->arena, &id, &found)) {
        enum exit_status fault = close_batch(choice);
        if (fault == EXIT_FINE)
            fault = labels_find(app, RECORD_BATCH, found, choice->arena, &choice->batch);
        choice->open = fault == EXIT_FINE;
        return fault;
    }
    if (read_range(word, &from, &to))
        return choose_range(choice, from, to);
    if (dots != NULL && dots != word)
        return choose_span(choice, word, dots);
    return choose_vessel(choice, word); /* which says what is wrong with it */
}

enum exit_status labels_vessels(struct app *app, const char *const *words, size_t count,
                                struct arena *arena, struct chosen *chosen)
{
    struct choice choice = {.app = app, .arena = arena, .chosen = chosen};
    enum exit_status fault = EXIT_FINE;

    *chosen = (struct chosen){NULL, 0, false};
    for (size_t i = 0; i < count && fault == EXIT_FINE; i++) {
        char *rest = arena_string(arena, words[i]);
        if (rest == NULL)
            return app_fail(app, STATUS_MEMORY);
        while (rest != NULL && fault == EXIT_FINE) {
            char *comma = strchr(rest, ',');
            if (comma != NULL)
                *comma = '\0';
            if (*rest != '\0')
                fault = choose_word(&choice, rest);
            rest = comma != NULL ? comma + 1 : NULL;
        }
    }
    if (fault == EXIT_FINE)
        fault = close_batch(&choice);
    if (fault == EXIT_FINE && chosen->count == 0)
        fault = app_usage(app, "which vessel? Give its label, for instance B3-7");
    return fault;
}
