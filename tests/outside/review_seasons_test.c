/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Does the review keep its promises on seasons that its model did not make (tests/support/seasons.h)?
 * In seasons without a fault at most one in twenty has one called, whatever the design; planted
 * faults are found as often as by plain tests that raise as many false alarms, and more often in all;
 * what is stated with a probability is right that often.
 *
 * Seeds are 1, 2, 3 ...: none was chosen. SEASONS in the environment says how many seasons there are
 * of each design and of each fault; `make seasons` takes 500. A bound is broken only where the
 * numbers exclude that it holds: at 500, where they are just above it.
 */
#include <stdio.h>

#include "review/review.h"
#include "review/statistics.h"
#include "support/seasons.h"
#include "support/test.h"

static const struct review_rule rule = {.level = 0.05, .bayes_factor = 10.0, .watched = 21.0};
static const struct season_fault none = {.factor = SEASON_FACTORS, .with = SEASON_FACTORS};
static const double rates[] = {0.35, 0.50, 0.80}, certain = 0.999;
enum { RATES = 3, STATED = 6, QUICK = 36 };
static const double stated_from[STATED + 1] = {0.0, 0.5, 0.7, 0.8, 0.9, 0.97, 1.01};

static struct tally {             /* over all seasons */
    double *alarms[SEASON_TESTS]; /* of seasons without a fault: the p of the plain tests */
    double limit[SEASON_TESTS][SEASON_DESIGNS]; /* at which the plain tests alarm as often */
    size_t stated[STATED], right[STATED];
    double sum[STATED];
} tally;

struct met { /* what a review called of one season */
    bool any, found, first, paired, drift;
    size_t others;
};

static size_t seasons_each(void)
{
    const char *said = getenv("SEASONS");
    return said != NULL ? (size_t)strtoul(said, NULL, 10) : QUICK;
}

static double share(size_t part, size_t whole)
{
    return whole > 0 ? 100.0 * (double)part / (double)whole : 0.0;
}

static bool is_fault(const struct review_suspect *suspect, const struct season_fault *fault)
{
    return suspect->factor == fault->factor && suspect->level == fault->level;
}

static struct met look_at(const struct season *season, const struct season_fault *fault)
{
    struct arena *arena = arena_new();
    struct review found = {0};
    review_find_culprits(&season->dataset, &rule, arena, &found);
    struct met met = {.any = found.culprit_count > 0, .drift = found.drift.called};
    for (size_t k = 0; k < found.culprit_count; k++) {
        const struct review_culprit *culprit = &found.culprits[k];
        const struct review_suspect *lead = &culprit->suspects[0];
        bool here = false, first = is_fault(lead, fault);
        for (size_t s = 0; s < culprit->suspect_count; s++)
            here = here || is_fault(&culprit->suspects[s], fault);
        const struct season_fault other = {.factor = fault->with, .level = fault->with_level};
        met.paired =
            met.paired ||
            (first && lead->with_factor == fault->with && lead->with_level == fault->with_level) ||
            (is_fault(lead, &other) && lead->with_factor == fault->factor &&
             lead->with_level == fault->level);
        met.found = met.found || here;
        met.first = met.first || first;
        met.others += !here;
        size_t band = 0;
        while (band + 1 < STATED && lead->p >= stated_from[band + 1])
            band++;
        tally.stated[band]++;
        tally.right[band] += first;
        tally.sum[band] += lead->p;
    }
    arena_free(arena);
    return met;
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

TEST(test_false_alarms)
{
    struct season *season = *state;
    size_t each = seasons_each(), alarmed = 0, drifting = 0, drifted = 0;
    for (int t = 0; t < SEASON_TESTS; t++)
        tally.alarms[t] = calloc(each * SEASON_DESIGNS, sizeof(double));
    for (size_t d = 0; d < SEASON_DESIGNS; d++) {
        size_t alarms = 0, drifts = 0;
        for (size_t i = 0; i < each; i++) {
            season_make(season, &season_designs[d], &none, 0, 1 + i);
            struct met met = look_at(season, &none);
            alarms += met.any;
            drifts += met.drift;
            for (int t = 0; t < SEASON_TESTS; t++)
                tally.alarms[t][d * each + i] =
                    season_test(season, (enum season_test)t, &none).alarm;
        }
        struct counts counts = {alarms, each};
        struct interval limits = counts_interval_exact(counts, 0.95);
        printf("# %-33s %3zu of %zu sound seasons alarm: %4.1f %% (%.1f to %.1f); drift is told "
               "in %.1f %%\n",
               season_designs[d].name, alarms, each, share(alarms, each), 100.0 * limits.low,
               100.0 * limits.high, share(drifts, each));
        assert_true(counts_interval_exact(counts, certain).low <= rule.level);
        counts.lost = season_designs[d].drift > 1.0 ? 0 : drifts;
        assert_true(counts_interval_exact(counts, certain).low <= rule.level);
        alarmed += alarms;
        *(season_designs[d].drift > 1.0 ? &drifting : &drifted) += drifts;
    }
    printf("# in all %zu of %zu: %.2f %%; drift told in %zu where there is some, %zu elsewhere\n",
           alarmed, each * SEASON_DESIGNS, share(alarmed, each * SEASON_DESIGNS), drifting,
           drifted);
    assert_true((double)alarmed <= rule.level * (double)(each * SEASON_DESIGNS));
    size_t even = 0; /* designs without drift */
    for (size_t d = 0; d < SEASON_DESIGNS; d++)
        even += season_designs[d].drift <= 1.0;
    assert_true((double)drifted <= rule.level * (double)(each * even));
    /* Losses that treble are told as drift in a fifth of them: the best test knowing all would in a
     * third, so few are the losses of a season. */
    struct counts planted = {drifting, each * (SEASON_DESIGNS - even)};
    printf("# planted drift told as drift in %.1f %%\n", share(planted.lost, planted.total));
    assert_true(counts_interval_exact(planted, certain).high >= 0.2);
    size_t as_often = (alarmed + SEASON_DESIGNS / 2) / SEASON_DESIGNS;
    for (int t = 0; t < SEASON_TESTS; t++)
        for (size_t d = 0; d < SEASON_DESIGNS; d++) {
            qsort(tally.alarms[t] + d * each, each, sizeof(double), rising);
            tally.limit[t][d] = tally.alarms[t][d * each + as_often];
        }
}

/* A season with a fault at one of the levels it has; the design and the level follow from i. */
static struct season_fault plant(struct season *season, size_t factor, size_t with, double rate,
                                 size_t i, unsigned long seed)
{
    const struct season_design *design = &season_designs[i % SEASON_DESIGNS];
    struct season_fault fault = {.factor = factor, .rate = rate, .with = with};
    season_make(season, design, &none, 0, seed); /* to see how many levels it has */
    size_t turn = i / SEASON_DESIGNS;
    fault.level = (uint32_t)(turn % season->factors[factor].level_count);
    if (with < SEASON_FACTORS)
        fault.with_level = (uint32_t)(turn % season->factors[with].level_count);
    season_make(season, design, &fault, 1, seed);
    return fault;
}

/* The same seasons for the review and for the plain tests, which alarm as often in each design. */
TEST(test_power)
{
    struct season *season = *state;
    size_t each = seasons_each(), others = 0, all[2 + SEASON_TESTS] = {0}, asked = 0;
    for (size_t f = 0; f < SEASON_FACTORS; f++)
        for (size_t r = 0; r < RATES; r++) {
            size_t got[2 + SEASON_TESTS] = {0};
            for (size_t i = 0; i < each; i++) {
                unsigned long seed = 1000000UL * (f + 1) + 100000UL * r + i;
                struct season_fault fault = plant(season, f, SEASON_FACTORS, rates[r], i, seed);
                struct met met = look_at(season, &fault);
                got[0] += met.found;
                got[1] += met.first;
                others += met.others;
                for (int t = 0; t < SEASON_TESTS; t++)
                    got[2 + t] += season_test(season, (enum season_test)t, &fault).needed <
                                  tally.limit[t][i % SEASON_DESIGNS];
            }
            printf("# %-22s %2.0f %%: found %3.0f %%, first %3.0f; Fisher %3.0f, log-rank %3.0f\n",
                   factor_kinds[season_kinds[f]].name, 100.0 * rates[r], share(got[0], each),
                   share(got[1], each), share(got[2], each), share(got[3], each));
            for (size_t t = 0; t < 2 + SEASON_TESTS; t++)
                all[t] += got[t];
            for (int t = 0; t < SEASON_TESTS; t++)
                assert_true((double)got[0] + 3.0 * sqrt((double)(got[0] + got[2 + t])) >=
                            (double)got[2 + t]);
            asked += each;
        }
    printf("# in all: found %.1f %%, first %.1f; Fisher %.1f, log-rank %.1f; others called %.1f\n",
           share(all[0], asked), share(all[1], asked), share(all[2], asked), share(all[3], asked),
           share(others, asked));
    assert_true(all[1] > all[2] && all[1] > all[3]);
    assert_true((double)others <= rule.level * (double)asked);
}

/* Of one fault or none, so before there are two. */
TEST(test_stated)
{
    (void)state;
    for (size_t b = 0; b < STATED; b++) {
        struct counts right = {tally.right[b], tally.stated[b]};
        double mean = tally.sum[b] / (double)tally.stated[b];
        struct interval limits = counts_interval_exact(right, certain);
        if (right.total == 0)
            continue;
        printf("# stated %.2f on average: right %.2f of %zu\n", mean,
               (double)right.lost / (double)right.total, right.total);
        assert_true(mean <= limits.high + 0.05);
    }
}

/* Two at once, and one that is two levels together. */
TEST(test_two)
{
    enum { STARTER = 1, LOT = 4, POSITION = 5 };
    struct season *season = *state;
    size_t each = seasons_each(), both = 0, plain = 0, pairs = 0, found = 0;
    for (size_t i = 0; i < each; i++) {
        const struct season_design *design = &season_designs[i % SEASON_DESIGNS];
        struct season_fault faults[] = {{SEASON_PLACE, (uint32_t)(i % 4), 0.6, SEASON_FACTORS, 0},
                                        {STARTER, (uint32_t)(i / 4 % 2), 0.6, SEASON_FACTORS, 0}};
        season_make(season, design, faults, 2, 9000000UL + i);
        both += look_at(season, &faults[0]).found && look_at(season, &faults[1]).found;
        double limit = tally.limit[SEASON_FISHER][i % SEASON_DESIGNS];
        plain += season_test(season, SEASON_FISHER, &faults[0]).needed < limit &&
                 season_test(season, SEASON_FISHER, &faults[1]).needed < limit;
        struct season_fault pair = plant(season, STARTER, POSITION, 0.9, i, 9500000UL + i);
        struct met met = look_at(season, &pair);
        pairs += met.paired;
        pair.factor = POSITION;
        found += met.found || met.paired ||
                 look_at(season, &(struct season_fault){.factor = POSITION,
                                                        .level = pair.with_level,
                                                        .with = SEASON_FACTORS})
                     .found;
    }
    printf("# two faults at once: both found in %.0f %%, by Fisher's test in %.0f\n",
           share(both, each), share(plain, each));
    printf("# a starter that fails in one position: told as both in %.0f %%, found in %.0f\n",
           share(pairs, each), share(found, each));
    assert_true(both > plain);
    assert_true(2 * pairs > found);
}

/* Something happened on a day in the middle of the season, which the season was told of: nothing came of
 * it, or from then on vessels were lost in one place, or everywhere. */
TEST(test_changes)
{
    struct season *season = *state;
    size_t each = seasons_each(), alarms = 0;
    for (size_t i = 0; i < each; i++) {
        struct arena *arena = arena_new();
        const struct season_design *design = &season_designs[i % SEASON_DESIGNS];
        season_make(season, design, &none, 0, 7000000UL + i);
        season_change(season, 0.0, i, arena);
        alarms += look_at(season, &none).any;
        arena_free(arena);
    }
    struct counts counts = {alarms, each};
    printf("# a dated change without effect: %.1f %% of sound seasons alarm\n",
           share(alarms, each));
    assert_true(counts_interval_exact(counts, certain).low <= rule.level);
    for (size_t r = 0; r < RATES; r++) {
        size_t found = 0, plain = 0;
        for (size_t i = 0; i < each; i++) {
            struct arena *arena = arena_new();
            const struct season_design *design = &season_designs[i % SEASON_DESIGNS];
            season_make(season, design, &none, 0, 7100000UL + 100000UL * r + i);
            struct season_fault fault = season_change(season, rates[r], i, arena);
            found += look_at(season, &fault).found;
            plain += season_test(season, SEASON_FISHER, &fault).needed <
                     tally.limit[SEASON_FISHER][i % SEASON_DESIGNS];
            arena_free(arena);
        }
        printf("# dated change          %2.0f %%: found %3.0f %%; Fisher %3.0f\n", 100.0 * rates[r],
               share(found, each), share(plain, each));
        assert_true((double)found + 3.0 * sqrt((double)(found + plain)) >= (double)plain);
    }
}

/* Batches of as many vessels each, a week apart; of each the losses of `lost`, on days 5 to 9. */
static void regular(struct season *season, size_t batches, size_t each, const size_t *lost,
                    int32_t newest)
{

    static const char *const names[SEASON_BATCHES] = {"x", "x", "x", "x", "x", "x", "x", "x", "x"};
    memset(season, 0, sizeof *season);
    season->factors[0] = (struct factor){.kind = FACTOR_BATCH,
                                         .name = "batch",
                                         .levels = names,
                                         .level_count = batches,
                                         .level = season->levels[0]};
    season->factors[1] = (struct factor){.kind = FACTOR_PLACE,
                                         .name = "place",
                                         .levels = names,
                                         .level_count = 2,
                                         .level = season->levels[1]};
    season->dataset = DATASET_OF(season, 2, 0, 20000);
    for (size_t b = 0; b < batches; b++)
        for (size_t v = 0; v < each; v++) {
            size_t at = season->dataset.vessel_count++;
            int32_t day = 20000 - newest - 7 * (int32_t)(batches - 1 - b), age = 20000 - day;
            season->labels[at] = "";
            season->levels[0][at] = (uint32_t)b;
            season->entered[at] = day;
            season->ended[at] = DAY_NONE;
            if (v < lost[b])
                season->fate[at] = FATE_CONTAMINATED, season->ended[at] = day + 5 + (int32_t)v % 4;
            else if (age >= 24)
                season->fate[at] = FATE_SOUND, season->ended[at] = day + 24;
            season->first_stay[at] = (uint32_t)(2 * at);
            season->stays[2 * at] = (struct stay){0, 0};
            season->stays[2 * at + 1] = (struct stay){1, SEASON_MOVED_ON};
            season->first_stay[at + 1] = (uint32_t)(2 * at + 2);
        }
}

/* Of the youngest batch 3 of 20 are lost on day 8, of the others 2 or 3 of 20 in the end. */
TEST(test_youngest)
{
    static const size_t lost[] = {2, 3, 2, 1, 3, 2, 2, 3};
    struct season *season = *state;
    regular(season, 8, 20, lost, 8);
    assert_false(look_at(season, &none).any);
}

/* Eight batches that lose 12 % early; what is sound then goes to another place on day 10. */
TEST(test_moved)
{
    static const size_t lost[] = {1, 2, 1, 1, 2, 1, 2, 2};
    struct season *season = *state;
    regular(season, 8, 12, lost, 30);
    season->factors[1].stays = season->stays;
    season->factors[1].first_stay = season->first_stay;
    for (size_t i = 0; i < season->dataset.vessel_count; i++)
        season->levels[1][i] = season->fate[i] != FATE_CONTAMINATED;
    assert_false(look_at(season, &none).any);
}

static int setup(void **state)
{
    *state = calloc(1, sizeof(struct season));
    return *state == NULL;
}

static int teardown(void **state)
{
    for (int t = 0; t < SEASON_TESTS; t++)
        free(tally.alarms[t]);
    free(*state);
    return 0;
}

int main(void)
{
    return tests_run("review seasons", setup, teardown);
}
