/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_CONSULT_H
#define JARSIDE_JOURNAL_CONSULT_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"
#include "base/memory.h"
#include "base/units.h"
#include "journal/journal.h"
#include "rules/rules.h"
#include "triage/triage.h"

/* A triage of a vessel: what the journal knows beforehand, and the look that results.
 *
 * The columns of the journal find their observables by what those feed (rules.h); a column that
 * nothing feeds, and a word the rules do not know, say nothing. What the grower says now overrides
 * the journal, with one exception: a salient value that an earlier look saw stays seen, and a
 * vessel that an earlier look judged contaminated stays so judged, until that look is corrected or
 * an outcome is confirmed that says otherwise. A vessel does not become clean because nobody
 * mentions its green patch again. */
/* The siblings of a vessel, counted (reason/siblings.h). */
struct sibling_cell;
struct consult_others {
    struct sibling_cell *cells;
    size_t count;
};

struct consult_request {
    const char *label;                   /* of the vessel */
    struct moment now;                   /* of the look */
    bool without_siblings;               /* as if it stood alone */
    const struct consult_others *others; /* count these, not what the journal holds; or NULL */
    int64_t corrects;                    /* the look that this one takes the place of; 0 for none */
};

struct consultation { /* texts in the arena it was made with */
    struct consult_request request;
    struct vessel vessel;
    struct batch batch;
    double day;               /* age; NAN until it is opened */
    const struct look *looks; /* those that count, oldest first */
    size_t look_count;
    double judged; /* the highest chance of contamination at any of them, 1 after a discard or a
                      confirmed contamination; NAN without either */
    const struct look *worst; /* the look that said so; NULL when it was an outcome */
};

/* Resets `triage` and opens it on the vessel. STATUS_USAGE, with the nearest label, when there is
 * none, when it was discarded or used before that moment or was not there yet, or when the look to correct is
 * not one of its own; warnings for facts on record that the rules no longer know. */
enum status consult_vessel(struct journal *journal, const struct consult_request *request,
                           struct triage *triage, struct arena *arena,
                           struct consultation *consultation);

/* Counts the siblings as the journal has them now, cells in the arena. Where many vessels are
 * looked at in one go, each is to be judged knowing what is said of the others: they are saved
 * first without siblings, counted, rolled back, and judged anew. */
enum status consult_count(struct journal *journal, const struct consultation *consultation,
                          struct arena *arena, struct consult_others *others);

/* Whether words for the whole batch may speak of this vessel: it grows, and no look has judged it
 * anything but fit to keep. */
bool consult_sound(const struct consultation *consultation);

/* Judges, appends the look that comes of it, and dates the next one (vessel.due, due_for). `words`
 * are the grower's. Texts of `look` are in the arena; `verdict` is the triage's. */
enum status consult_save(struct journal *journal, struct consultation *consultation,
                         struct triage *triage, const char *words, struct arena *arena,
                         struct look *look, const struct verdict **verdict);

/* Per cent white below which nothing grows yet. */
#define NOTHING_YET 1.0
/* Coverage in per cent at a look: the number it gave, or the middle of what its word stands for
 * ("full"); NAN when it gave neither. */
double look_coverage(const struct rules *rules, const struct look *look);

/* "12 March", with the year where it is another than that of `now`; into `room`. */
const char *consult_day(struct moment day, struct moment now, char room[MOMENT_ROOM]);

/* What the forecast expects of a vessel in the journal, from its batch, grain, starter, place and
 * the shakes it has had. Days count from inoculation; what is never reached is INFINITY. Where the
 * forecast has nothing to say (no species, an impossible figure) `known` is false and only
 * `first_look` and `look_every` hold. */
struct vessel_forecast {
    bool known;
    struct range visible; /* first growth to be seen */
    struct range shake;   /* low to high: when there is enough to shake, and not too much */
    struct range full;    /* fully colonised */
    double look_every;    /* days between looks */
    double first_look;    /* the day of the first */
};

struct forecast;
/* The days of what a forecast gives; whether the likeliest course gets to full at all. */
bool vessel_forecast_days(const struct rules *rules, const struct forecast *forecast,
                          struct vessel_forecast *days);

/* Coverage in per cent by day, from day 0 on. */
struct vessel_course {
    struct range *coverage; /* room for `count` */
    size_t count;           /* at least 2; 0 afterwards where the forecast has nothing to say */
    double every;           /* days from one to the next */
};

/* The forecast of a vessel, and its course unless that is NULL; one with id 0 stands for any of its
 * batch. What reading failed with, or STATUS_OK. */
enum status vessel_forecast_of(struct journal *journal, const struct rules *rules,
                               const struct batch *batch, const struct vessel *vessel,
                               struct vessel_forecast *expected, struct vessel_course *course);

/* What the vessels of a batch were made of, and a place; of what was not named the ids are 0. */
struct sources {
    struct cook cook;
    struct session session;
    struct starter starter;
    struct lot lot;
    struct place place;
};
struct sources batch_sources(struct journal *journal, const struct batch *batch, int64_t place,
                             struct arena *arena);
/* Times the usual inoculation rate that a vessel got, by the loose bulk of a grain ("": of any);
 * NAN when it cannot be known. */
double vessel_dose_of(const struct rules *rules, const struct sources *sources,
                      const struct batch *batch, const struct vessel *vessel, const char *grain);

struct known_cook;
struct known_growth;
/* What a cook on record was to vessels of a kind with so many grams of a grain: for physics_cook.
 * Two that say the same are the same byte by byte. */
void vessel_cook_of(const struct rules *rules, const struct cook *cook, int vessel, double grams,
                    int grain, struct known_cook *known);
/* What the journal knows of growth in a vessel, or with id 0 in any of its batch; in the arena. */
enum status vessel_growth_of(struct journal *journal, const struct rules *rules,
                             const struct batch *batch, const struct vessel *vessel,
                             struct arena *arena, struct known_growth *growth);

/* The wall-calendar day of the first look at a vessel of this batch. */
int64_t vessel_forecast_first_day(const struct vessel_forecast *expected,
                                  const struct batch *batch);

/* Why a first look is due, as the journal keeps it. */
#define FIRST_LOOK "first look"
/* Why the next look is due where nothing grew at the last. */
#define FIRST_GROWTH "first growth"

#endif
