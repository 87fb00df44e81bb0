/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The draft of a batch, and the options that fill it. */
#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "cli/batch_internal.h"
#include "cli/measure.h"

void draft_add(struct text *list, const char *format, ...)
{
    char words[256];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(words, sizeof words, format, arguments);
    va_end(arguments);
    text_printf(list, "%s%s", list->length > 0 ? "; " : "", words);
}

void *draft_row(struct draft *draft, enum record record)
{
    switch (record) {
    case RECORD_STARTER:
        return &draft->starter;
    case RECORD_LOT:
        return &draft->lot;
    case RECORD_COOK:
        return &draft->cook;
    case RECORD_SESSION:
        return &draft->session;
    case RECORD_PLACE:
        return &draft->place;
    default:
        return &draft->batch;
    }
}

enum exit_status draft_cook_figure(struct draft *draft, const char *column, double recorded,
                                   double said)
{
    if (isnan(said) || fabs(said - recorded) <= 0.01 * fabs(recorded))
        return EXIT_FINE;
    return app_usage(draft->app,
                     "cook %s is recorded %s that %s; mend it first with 'jarside correct cook %s "
                     "%s=...', or name another cook",
                     draft->cook.label, isnan(recorded) ? "without" : "with other than", column,
                     draft->cook.label, column);
}

static enum exit_status check_cook(struct draft *draft, const struct cook *said)
{
    const struct cook *cook = &draft->cook;
    enum exit_status fault = draft_cook_figure(draft, "gauge", cook->gauge, said->gauge);
    if (fault == EXIT_FINE)
        fault = draft_cook_figure(draft, "minutes", cook->minutes, said->minutes);
    if (fault == EXIT_FINE)
        fault = draft_cook_figure(draft, "altitude", cook->altitude, said->altitude);
    return fault;
}

/* What was said before a label was picked stays said, where the record is silent. */
static enum exit_status pick_existing(struct draft *draft, enum record record, const char *label)
{
    struct lot said_lot = draft->lot;
    struct cook said_cook = draft->cook;
    struct starter said_starter = draft->starter;
    enum exit_status fault =
        labels_find(draft->app, record, label, draft->app->arena, draft_row(draft, record));
    if (fault != EXIT_FINE)
        return fault;
    if (record == RECORD_COOK)
        return check_cook(draft, &said_cook);
    if (record == RECORD_LOT && said_lot.grain[0] != '\0' &&
        strcmp(said_lot.grain, draft->lot.grain) != 0)
        return app_usage(draft->app, "lot %s is %s; leave out the grain, or name another lot",
                         draft->lot.label, voice_grain_name(&draft->told, draft->lot.grain));
    if (record == RECORD_STARTER && said_starter.kind[0] != '\0' && draft->starter.kind[0] == '\0')
        draft->starter.kind = said_starter.kind;
    return EXIT_FINE;
}

enum exit_status draft_pick(struct draft *draft, enum record record, const char *label)
{
    const char *found = label;
    int64_t id = 0;

    if (strcasecmp(label, "none") == 0) {
        draft->pick[record] = PICK_NONE;
        return EXIT_FINE;
    }
    if (strcasecmp(label, "new") == 0) {
        draft->pick[record] = PICK_NEW;
        return EXIT_FINE;
    }
    if (labels_has(draft->app, record, label, draft->app->arena, &id, &found)) {
        draft->pick[record] = PICK_EXISTING;
        return pick_existing(draft, record, found);
    }
    if (label[0] == '\0')
        return app_usage(draft->app, "a label of a %s is not empty", record_types[record].name);
    const char *copy = arena_string(draft->app->arena, label); /* an answer does not live as long */
    if (copy == NULL)
        return app_fail(draft->app, STATUS_MEMORY);
    draft->pick[record] = PICK_NEW;
    ((union any_record *)draft_row(draft, record))->named.label = copy;
    return EXIT_FINE;
}

/* ---- options --------------------------------------------------------------------------------- */

static enum exit_status read_count(struct app *app, const char *name, size_t most, size_t *count)
{
    const char *word = arguments_value(&app->arguments, name);
    char *end = NULL;
    if (word == NULL)
        return EXIT_FINE;
    errno = 0;
    long number = strtol(word, &end, 10);
    if (end == word || *end != '\0' || errno != 0 || number < 0 || (size_t)number > most)
        return option_fault(app, name, "'%s' is no number from 0 to %zu", word, most);
    *count = (size_t)number;
    return EXIT_FINE;
}

static bool said_unknown(struct app *app, const char *name)
{
    const char *word = arguments_value(&app->arguments, name);
    return word != NULL && strcasecmp(word, "unknown") == 0;
}

static enum exit_status read_lists(struct draft *draft)
{
    struct app *app = draft->app;
    int species = RULES_NONE, grain = RULES_NONE;
    enum exit_status fault = EXIT_FINE;

    draft->no_species = said_unknown(app, "species");
    draft->no_grain = said_unknown(app, "grain");
    if (!draft->no_species)
        fault = option_species(app, &species);
    if (fault == EXIT_FINE && !draft->no_grain)
        fault = option_grain(app, &grain);
    if (fault == EXIT_FINE)
        fault = option_vessel(app, &draft->measured);
    if (species != RULES_NONE)
        draft->batch.species = app->rules->species[species].id;
    if (grain != RULES_NONE)
        draft->lot.grain = app->rules->grains[grain].id;
    return fault;
}

static enum exit_status read_figures(struct draft *draft)
{
    struct app *app = draft->app;
    enum exit_status fault;

    if ((fault = option_amount(app, "gauge", DIM_GAUGE_KPA, &draft->cook.gauge)) != EXIT_FINE ||
        (fault = option_amount(app, "minutes", DIM_MINUTES, &draft->cook.minutes)) != EXIT_FINE ||
        (fault = option_quantity(app, "altitude", DIM_METRES, &draft->cook.altitude)) !=
            EXIT_FINE ||
        (fault = option_amount(app, "dry", DIM_GRAMS, &draft->batch.dry)) != EXIT_FINE ||
        (fault = option_amount(app, "water", DIM_GRAMS, &draft->batch.water)) != EXIT_FINE ||
        (fault = option_amount(app, "soak", DIM_MINUTES, &draft->batch.soak)) != EXIT_FINE)
        return fault;
    return EXIT_FINE;
}

/* "4ml", "80g", "2" pieces. */
static enum exit_status read_dose(struct draft *draft)
{
    struct app *app = draft->app;
    const char *word = arguments_value(&app->arguments, "dose");
    struct quantity quantity;
    size_t used = 0;

    if (word == NULL)
        return EXIT_FINE;
    size_t length = strlen(word);
    if (quantity_read(word, length, DIM_LITRES, &quantity, &used) == QUANTITY_OK &&
        used == length && quantity.unit_given) {
        draft->batch.dose = 500.0 * (quantity.lo + quantity.hi);
        draft->batch.unit = "ml";
    } else if (quantity_read(word, length, DIM_GRAMS, &quantity, &used) == QUANTITY_OK &&
               used == length && quantity.unit_given) {
        draft->batch.dose = 0.5 * (quantity.lo + quantity.hi);
        draft->batch.unit = "g";
    } else if (quantity_read(word, length, DIM_NONE, &quantity, &used) == QUANTITY_OK &&
               used == length) {
        draft->batch.dose = 0.5 * (quantity.lo + quantity.hi);
    } else {
        return option_fault(
            app, "dose", "'%s' is no dose; for instance 4ml, 80g, or 2 pieces of agar as 2", word);
    }
    return draft->batch.dose > 0.0 ? EXIT_FINE
                                   : option_fault(app, "dose", "a dose is more than nothing");
}

static enum exit_status read_purpose(struct draft *draft)
{
    const struct decision_rules *decision = &draft->app->rules->decision;
    const char *word = arguments_value(&draft->app->arguments, "use");
    const char *names[RULES_MAX_VALUES];
    size_t count = 0;

    if (word == NULL)
        return EXIT_FINE;
    for (size_t i = 0; i < decision->use_count && count < RULES_MAX_VALUES; i++) {
        names[count++] = decision->uses[i].id;
        if (strcmp(decision->uses[i].id, word) == 0)
            draft->batch.purpose = decision->uses[i].id;
    }
    if (draft->batch.purpose[0] != '\0')
        return EXIT_FINE;
    const char *near = diag_nearest(word, names, count);
    return option_fault(draft->app, "use", "no use '%s'; did you mean '%s'?", word,
                        near != NULL ? near
                        : count > 0  ? names[0]
                                     : "");
}

static enum exit_status read_records(struct draft *draft)
{
    static const enum record kinds[] = {RECORD_STARTER, RECORD_LOT, RECORD_COOK, RECORD_SESSION,
                                        RECORD_PLACE};
    enum exit_status fault = EXIT_FINE;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds && fault == EXIT_FINE; i++) {
        const char *label = arguments_value(&draft->app->arguments, record_types[kinds[i]].name);
        if (label != NULL)
            fault = draft_pick(draft, kinds[i], label);
    }
    return fault;
}

static enum exit_status read_label(struct draft *draft)
{
    const char *label = arguments_value(&draft->app->arguments, "label");
    const char *note = arguments_value(&draft->app->arguments, "note");
    int64_t id = 0;

    if (note != NULL)
        text_puts(&draft->note, note);
    if (label == NULL)
        return EXIT_FINE;
    if (label[0] == '\0')
        return option_fault(draft->app, "label", "a label is not empty");
    if (journal_has(draft->app->journal, RECORD_BATCH, label, &id))
        return option_fault(draft->app, "label", "there is a batch %s already", label);
    draft->batch.label = label;
    return EXIT_FINE;
}

enum exit_status batch_options(struct draft *draft)
{
    enum { MOST_VESSELS = 10000 };
    struct app *app = draft->app;
    enum exit_status fault;

    draft->positions = arguments_value(&app->arguments, "position");
    if ((fault = app_moment(app, "at", &draft->at)) != EXIT_FINE ||
        (fault = read_count(app, "count", MOST_VESSELS, &draft->vessels)) != EXIT_FINE ||
        (fault = read_count(app, "controls", MOST_VESSELS, &draft->controls)) != EXIT_FINE ||
        (fault = read_lists(draft)) != EXIT_FINE || (fault = read_figures(draft)) != EXIT_FINE ||
        (fault = read_dose(draft)) != EXIT_FINE || (fault = read_purpose(draft)) != EXIT_FINE ||
        (fault = read_label(draft)) != EXIT_FINE || (fault = read_records(draft)) != EXIT_FINE)
        return fault;
    return EXIT_FINE;
}
