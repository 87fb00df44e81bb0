/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The guided mode: a line for each fact that is missing, what would be taken over in brackets. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "cli/batch_internal.h"
#include "knowledge/reader.h"
#include "prompt/lines.h"

enum { MOST_WORDS = 128 };

struct asking { /* one question */
    struct draft *draft;
    struct lines *lines;
    bool again; /* a required fact: asked until it is there */
};

/* ---- what may be missing --------------------------------------------------------------------- */

static bool has_kind(const struct draft *draft)
{
    return draft->measured.kind != RULES_NONE;
}

static bool has_species(const struct draft *draft)
{
    return draft->batch.species[0] != '\0' || draft->no_species;
}

static bool has_grain(const struct draft *draft)
{
    return draft->lot.grain[0] != '\0' || draft->no_grain ||
           draft->pick[RECORD_LOT] == PICK_EXISTING;
}

static bool has_count(const struct draft *draft)
{
    return draft->vessels > 0;
}

/* ---- answers --------------------------------------------------------------------------------- */

static int answered_value(struct draft *draft, enum feeds feeds, const char *answer)
{
    struct reading_list list;
    int observable = draft->app->rules->feeder[feeds];

    if (observable == RULES_NONE ||
        reader_answer(draft->app->reader, (size_t)observable, answer, strlen(answer),
                      draft->app->arena, &list, draft->app->diags) != STATUS_OK)
        return RULES_NONE;
    for (size_t i = 0; i < list.reading_count; i++) {
        uint32_t seen = list.readings[i].seen;
        if (list.readings[i].observable != (size_t)observable || seen == 0 ||
            (seen & (seen - 1)) != 0)
            continue;
        int value = 0;
        while ((seen >> value & 1) == 0)
            value++;
        return value;
    }
    return RULES_NONE;
}

static const char *answered_id(struct draft *draft, enum feeds feeds, const char *answer)
{
    int value = answered_value(draft, feeds, answer);
    int observable = draft->app->rules->feeder[feeds];
    return value == RULES_NONE ? "" : draft->app->rules->observables[observable].values[value].id;
}

static bool take_count(struct draft *draft, const char *answer)
{
    char *end = NULL;
    long count = strtol(answer, &end, 10);
    if (end == answer || *end != '\0' || count < 1 || count > 10000)
        return false;
    draft->vessels = (size_t)count;
    return true;
}

static bool take_kind(struct draft *draft, const char *answer)
{
    draft->measured.kind =
        rules_vessel(draft->app->rules, answered_id(draft, FEEDS_VESSEL, answer));
    return has_kind(draft);
}

static bool take_grain(struct draft *draft, const char *answer)
{
    draft->no_grain = strcasecmp(answer, "unknown") == 0;
    draft->lot.grain = draft->no_grain ? "" : answered_id(draft, FEEDS_GRAIN, answer);
    return has_grain(draft);
}

static bool take_species(struct draft *draft, const char *answer)
{
    draft->no_species = strcasecmp(answer, "unknown") == 0;
    draft->batch.species = draft->no_species ? "" : answered_id(draft, FEEDS_SPECIES, answer);
    return has_species(draft);
}

static bool take_starter(struct draft *draft, const char *answer)
{
    return draft_pick(draft, RECORD_STARTER, answer) == EXIT_FINE;
}

static bool take_place(struct draft *draft, const char *answer)
{
    return draft_pick(draft, RECORD_PLACE, answer) == EXIT_FINE;
}

/* "C4" shares that cook; anything else says what this one was. */
static bool take_cook(struct draft *draft, const char *answer)
{
    const char *found = NULL;
    int64_t id = 0;
    if (strcasecmp(answer, "none") == 0 ||
        labels_has(draft->app, RECORD_COOK, answer, draft->app->arena, &id, &found))
        return draft_pick(draft, RECORD_COOK, answer) == EXIT_FINE;
    return batch_say(draft, answer) == EXIT_FINE;
}

/* ---- what Tab completes ---------------------------------------------------------------------- */

struct offer { /* words for completion */
    const char *words[MOST_WORDS];
    size_t count;
};

static void offer_values(const struct draft *draft, enum feeds feeds, struct offer *offer)
{
    int feeder = draft->app->rules->feeder[feeds];
    if (feeder == RULES_NONE)
        return;
    const struct observable *observable = &draft->app->rules->observables[feeder];
    for (size_t i = 0; i < observable->value_count && offer->count < MOST_WORDS; i++)
        offer->words[offer->count++] = observable->values[i].id;
}

static void offer_labels(const struct draft *draft, enum record record, struct offer *offer)
{
    union any_record row;
    struct walk *walk = journal_walk_back(draft->app->journal, record, NULL, 0, draft->app->diags);
    while (walk != NULL && offer->count < MOST_WORDS && walk_next(walk, &row)) {
        const char *label = arena_string(draft->app->arena, row.named.label);
        if (label != NULL)
            offer->words[offer->count++] = label;
    }
    (void)walk_end(walk);
}

/* ---- questions ------------------------------------------------------------------------------- */

static const struct question_line {
    const char *ask;
    const char *flag; /* that would have answered, when it is required; else NULL */
    const char *hint; /* when the answer is not understood */
    bool (*known)(const struct draft *draft);
    bool (*take)(struct draft *draft, const char *answer);
    enum feeds feeds;   /* what Tab completes: values of this, */
    enum record record; /* or labels of this kind */
} questions[] = {
    {"How many vessels", "--count 8", "a number", has_count, take_count, FEEDS_NONE, RECORD_COUNT},
    {"What are they (quart jar, 3lb bag ...)", "--vessel quart_jar", "Tab shows the kinds",
     has_kind, take_kind, FEEDS_VESSEL, RECORD_COUNT},
    {"Which grain (or unknown)", "--grain rye (or unknown)", "Tab shows the grains", has_grain,
     take_grain, FEEDS_GRAIN, RECORD_COUNT},
    {"Which mushroom (or unknown)", "--species oyster (or unknown)", "Tab shows the mushrooms",
     has_species, take_species, FEEDS_SPECIES, RECORD_COUNT},
    {"Which starter (a label, new or none)", NULL, "a label", NULL, take_starter, FEEDS_NONE,
     RECORD_STARTER},
    {"The cook (15 psi 90 min, or the label of one it shares)", NULL, "say it as: 15 psi 90 min",
     NULL, take_cook, FEEDS_NONE, RECORD_COOK},
    {"Where do they stand", NULL, "a place", NULL, take_place, FEEDS_NONE, RECORD_PLACE},
};
enum { QUESTIONS = sizeof questions / sizeof *questions };

/* False: the grower left. */
static bool ask(struct draft *draft, struct lines *lines, const struct question_line *question,
                const char *standing)
{
    struct offer offer = {.count = 0};
    char *answer = NULL;

    if (question->feeds != FEEDS_NONE)
        offer_values(draft, question->feeds, &offer);
    if (question->record != RECORD_COUNT)
        offer_labels(draft, question->record, &offer);
    for (;;) {
        enum line_answer how =
            lines_ask(lines, question->ask, standing, offer.words, offer.count, &answer);
        if (how == LINE_LEFT)
            return false;
        if (how == LINE_EMPTY && (question->flag == NULL || standing[0] != '\0'))
            return true;
        bool taken = how == LINE_GIVEN && question->take(draft, answer);
        diags_clear(draft->app->diags);
        free(answer);
        if (taken)
            return true;
        screen_say(&draft->app->out, 2, 0, ROLE_QUIET, "Not understood: %s.", question->hint);
        (void)app_flush(draft->app);
    }
}

/* ---- what would be taken over ---------------------------------------------------------------- */

static const char *standing_kind(const struct draft *draft)
{
    struct vessel vessel;
    const char *kind = "";
    struct walk *walk = draft->has_last ? journal_walk(draft->app->journal, RECORD_VESSEL, "batch",
                                                       draft->last.id, draft->app->diags)
                                        : NULL;
    if (walk != NULL && walk_next(walk, &vessel))
        kind = voice_vessel_name(&draft->told, vessel.kind);
    (void)walk_end(walk);
    return kind;
}

static const char *standing_cook(const struct draft *draft)
{
    struct cook cook;
    if (draft->last.cook == 0 ||
        journal_get(draft->app->journal, RECORD_COOK, draft->last.cook, draft->app->arena, &cook,
                    draft->app->diags) != STATUS_OK)
        return "";
    return voice_cook_words(&draft->told, &cook);
}

static const char *standing_grain(const struct draft *draft)
{
    struct lot lot;
    if (draft->last.lot == 0 ||
        journal_get(draft->app->journal, RECORD_LOT, draft->last.lot, draft->app->arena, &lot,
                    draft->app->diags) != STATUS_OK)
        return "";
    return voice_grain_name(&draft->told, lot.grain);
}

static const char *standing_place(const struct draft *draft)
{
    struct vessel vessel;
    int64_t place = 0;
    struct walk *walk = journal_walk(draft->app->journal, RECORD_VESSEL, "batch", draft->last.id,
                                     draft->app->diags);
    if (walk != NULL && walk_next(walk, &vessel))
        place = vessel.place;
    (void)walk_end(walk);
    return voice_label(&draft->told, RECORD_PLACE, place);
}

static const char *standing(const struct draft *draft, size_t question)
{
    if (!draft->has_last)
        return "";
    switch (question) {
    case 1:
        return standing_kind(draft);
    case 2:
        return standing_grain(draft);
    case 3:
        return voice_species_name(&draft->told, draft->last.species);
    case 4: /* of another mushroom it would not be taken over */
        return draft->batch.species[0] == '\0' ||
                       strcmp(draft->batch.species, draft->last.species) == 0
                   ? voice_label(&draft->told, RECORD_STARTER, draft->last.starter)
                   : "new";
    case 5:
        return standing_cook(draft);
    case 6:
        return standing_place(draft);
    default:
        return "";
    }
}

static enum exit_status missing(struct draft *draft)
{
    struct text flags;
    text_init(&flags);
    for (size_t i = 0; i < QUESTIONS; i++)
        if (questions[i].known != NULL && !questions[i].known(draft))
            text_printf(&flags, "%s%s", flags.length > 0 ? ", " : "", questions[i].flag);
    enum exit_status fault =
        app_usage(draft->app, "the batch is not told in full; add %s", flags.bytes);
    text_release(&flags);
    return fault;
}

static bool complete(const struct draft *draft)
{
    for (size_t i = 0; i < QUESTIONS; i++)
        if (questions[i].known != NULL && !questions[i].known(draft))
            return false;
    return true;
}

/*
 * Guided: every question, what the last batch had in brackets. Else only what is
 * required and still missing.
 */
enum exit_status batch_ask(struct draft *draft, bool guided)
{
    if (!guided && complete(draft))
        return EXIT_FINE;
    struct lines *lines = arguments_flag(&draft->app->arguments, "no-input") ? NULL : lines_open();
    if (lines == NULL)
        return guided ? EXIT_FINE : missing(draft);
    bool stays = true;
    for (size_t i = 0; i < QUESTIONS && stays; i++) {
        const struct question_line *question = &questions[i];
        bool known = question->known != NULL && question->known(draft);
        if (!known && (guided || question->flag != NULL))
            stays = ask(draft, lines, question, guided ? standing(draft, i) : "");
    }
    lines_close(lines);
    return stays ? EXIT_FINE : app_usage(draft->app, "nothing was recorded");
}
