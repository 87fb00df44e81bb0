/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/review.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "reason/siblings.h"

/* ---- one factor: its levels, their intervals, its test ------------------------------------------ */

static const double usual_level = 0.95;

/* Counts the vessels of each level. One that was moved was in danger in each place, and lost in the
 * last. */
static void count_levels(const struct review *review, size_t f, struct review_level *levels,
                         size_t *unknown)
{
    const struct factor *of = &review->dataset->factors[f];
    for (size_t i = 0; i < review->dataset->vessel_count; i++) {
        const bool control = review->dataset->control[i];
        if (review->standing[i] == STANDING_OUT)
            continue;
        *unknown += of->level[i] == LEVEL_NONE && !control;
        if (of->level[i] != LEVEL_NONE)
            count_vessel(control ? &levels[of->level[i]].controls : &levels[of->level[i]].counts,
                         review->standing[i]);
        for (size_t s = of->stays != NULL ? of->first_stay[i] : SIZE_MAX;
             of->stays != NULL && s + 1 < of->first_stay[i + 1]; s++)
            if (of->stays[s].level != LEVEL_NONE)
                count_vessel(control ? &levels[of->stays[s].level].controls
                                     : &levels[of->stays[s].level].counts,
                             STANDING_SOUND);
    }
}

static int worse_first(const void *a, const void *b)
{
    const struct review_level *first = a, *second = b;
    double x = (double)first->counts.lost * (double)second->counts.total;
    double y = (double)second->counts.lost * (double)first->counts.total;
    if (first->counts.total == 0 || second->counts.total == 0)
        x = (double)first->counts.total, y = (double)second->counts.total;
    if (x < y || x > y)
        return ORDER(y, x);
    if (first->counts.total != second->counts.total)
        return ORDER(second->counts.total, first->counts.total);
    return ORDER(first->level, second->level);
}

static struct tally tally_of(struct counts counts)
{
    return (struct tally){(double)counts.lost, (double)counts.total};
}

static void judge_levels(struct review_factor *factor, struct counts all)
{
    for (size_t l = 0; l < factor->level_count; l++) {
        struct review_level *level = &factor->levels[l];
        struct counts rest = {all.lost - level->counts.lost, all.total - level->counts.total};
        const struct tally groups[] = {tally_of(level->counts), tally_of(rest)};
        level->exact = counts_interval_exact(level->counts, usual_level);
        level->wilson = counts_interval_wilson(level->counts, usual_level);
        level->log_bayes = bayes_factor_ln(groups, 2, 1.0, 1.0);
    }
}

static void count_factor(struct review *review, size_t f)
{
    const struct factor *of = &review->dataset->factors[f];
    struct review_factor *factor = &review->factors[f];

    *factor = (struct review_factor){.factor = f,
                                     .q = NAN,
                                     .within = review->dataset->factor_count,
                                     .within_p = NAN,
                                     .entangled = NAN};
    factor->levels = arena_array(review->arena, of->level_count, sizeof *factor->levels);
    for (uint32_t l = 0; l < of->level_count; l++)
        factor->levels[l].level = l;
    count_levels(review, f, factor->levels, &factor->unknown);
    for (size_t l = 0; l < of->level_count; l++) /* those that some vessel has */
        if (factor->levels[l].counts.total > 0 || factor->levels[l].controls.total > 0)
            factor->levels[factor->level_count++] = factor->levels[l];
    array_sort(factor->levels, factor->level_count, worse_first);
    size_t count = factor->level_count;
    struct counts *groups SCOPED_FREE = memory_array(count, sizeof *groups), all = {0, 0};
    struct tally *tallies SCOPED_FREE = memory_array(count, sizeof *tallies);

    for (size_t i = 0; i < count; i++) {
        groups[i] = factor->levels[i].counts;
        tallies[i] = tally_of(groups[i]);
        all.lost += groups[i].lost;
        all.total += groups[i].total;
    }
    judge_levels(factor, all);
    factor->log_bayes = bayes_factor_ln(tallies, count, 1.0, 1.0);
    factor->test = table_test(groups, count);
}

static void count_factors(struct review *review)
{
    size_t count = review->dataset->factor_count, vessels = review->dataset->vessel_count;
    double *p SCOPED_FREE = memory_array(count, sizeof *p);

    review->factors = arena_array(review->arena, count, sizeof *review->factors);
    for (size_t f = 0; f < count; f++) {
        const struct review_factor *factor = &review->factors[f];
        size_t grown = 0; /* levels with a vessel that counts; below two there is no question */
        count_factor(review, f);
        for (size_t l = 0; l < factor->level_count; l++)
            grown += factor->levels[l].counts.total > 0;
        /* Where vessels count twice a table says nothing; the search does. */
        p[f] = grown > 1 && review->dataset->factors[f].stays == NULL ? factor->test.p : NAN;
        progress_tell(review->progress, "comparing", (f + 1) * vessels, count * vessels);
    }
    counts_adjust(p, count, p);
    for (size_t f = 0; f < count; f++)
        review->factors[f].q = p[f];
}

/* ---- held still: which hides behind which ------------------------------------------------------- */

/* Whether a vessel counts, is no control, and has a level of both. */
static bool has_both(const struct review *review, const struct factor *a, const struct factor *b,
                     size_t vessel)
{
    return review->standing[vessel] != STANDING_OUT && !review->dataset->control[vessel] &&
           a->level[vessel] != LEVEL_NONE && b->level[vessel] != LEVEL_NONE;
}

/* What the levels of one factor (rows) met at those of another: [column * rows + row]; NULL where
 * there are too many cells. */
static struct counts *cross(const struct review *review, const struct factor *row,
                            const struct factor *column, struct arena *arena)
{
    enum { MOST = 1 << 17 };
    size_t rows = row->level_count, columns = column->level_count;
    if (rows == 0 || columns == 0 || rows > MOST / columns)
        return NULL;
    struct counts *cells = arena_array(arena, rows * columns, sizeof *cells);
    for (size_t i = 0; i < review->dataset->vessel_count; i++)
        if (has_both(review, row, column, i))
            count_vessel(&cells[column->level[i] * rows + row->level[i]], review->standing[i]);
    return cells;
}

/* Cramer's V (1946): sqrt(chi-square / (n (min(rows, columns) - 1))), empty ones left out; 0 where
 * every column has vessels of one row only. */
static double entangled(const struct counts *cells, size_t rows, size_t columns,
                        struct arena *arena)
{
    double *of_row = arena_array(arena, rows, sizeof *of_row), sum = 0.0;
    double *of_column = arena_array(arena, columns, sizeof *of_column);
    size_t filled_rows = 0, filled_columns = 0, filled = 0;
    for (size_t k = 0; k < rows * columns; k++) {
        filled_rows += cells[k].total > 0 && of_row[k % rows] <= 0.0;
        filled_columns += cells[k].total > 0 && of_column[k / rows] <= 0.0;
        filled += cells[k].total > 0;
        of_row[k % rows] += (double)cells[k].total;
        of_column[k / rows] += (double)cells[k].total;
    }
    for (size_t k = 0; k < rows * columns; k++) {
        double n = (double)cells[k].total;
        if (n > 0.0)
            sum += n * n / (of_row[k % rows] * of_column[k / rows]);
    }
    size_t smaller = filled_rows < filled_columns ? filled_rows : filled_columns;
    /* chi-square is n (sum n_rc^2 / (n_r n_c) - 1) */
    return smaller > 1 && filled > filled_columns
               ? sqrt(fmax(0.0, sum - 1.0) / (double)(smaller - 1))
               : 0.0;
}

/* One of them was computed from the other, or both from the same. */
static bool related(const struct review *review, size_t a, size_t b)
{
    enum factor_kind first = factor_kinds[review->dataset->factors[a].kind].origin;
    enum factor_kind second = factor_kinds[review->dataset->factors[b].kind].origin;
    return first == second && first != FACTOR_OTHER;
}

enum { ASKED = 8 }; /* the factors that look worst; each is crossed with each */

/* Of the factors that look bad, those with the most evidence for rates of their own. */
static size_t worst_factors(const struct review *review, size_t asked[ASKED])
{
    static const double looks_bad = 0.05;
    const struct review_factor *factors = review->factors;
    size_t count = 0;

    for (size_t f = 0; f < review->dataset->factor_count; f++) {
        size_t at = count;
        if (!(factors[f].test.p <= looks_bad))
            continue;
        while (at > 0 && factors[asked[at - 1]].log_bayes < factors[f].log_bayes)
            at--;
        if (at == ASKED)
            continue;
        count = count < ASKED ? count + 1 : ASKED;
        memmove(&asked[at + 1], &asked[at], (count - at - 1) * sizeof *asked);
        asked[at] = f;
    }
    return count;
}

/* Finds what a factor is most confounded with, and asks the same question within its levels. */
static void hold_still(struct review *review, size_t f, const size_t asked[ASKED], size_t count)
{
    static const double noticeable = 0.3, rounding = 1e-9; /* of Cramer's V */
    const struct factor *factors = review->dataset->factors;
    struct review_factor *factor = &review->factors[f];
    struct arena *arena SCOPED_ARENA = arena_new();
    const struct counts *best = NULL;
    double most = noticeable;

    for (size_t i = 0; i < count; i++) {
        /* What holds others still was not computed from another. */
        const struct factor *other = &factors[asked[i]];
        if (asked[i] == f || related(review, f, asked[i]) ||
            (other->kind != FACTOR_OTHER && factor_kinds[other->kind].origin != other->kind))
            continue;
        const struct counts *cells = cross(review, &factors[f], other, arena);
        double v = cells != NULL
                       ? entangled(cells, factors[f].level_count, other->level_count, arena)
                       : 0.0;
        if (v > most + rounding) { /* of those alike the one with more evidence */
            best = cells;
            most = v;
            factor->within = asked[i];
        }
    }
    if (best != NULL) {
        struct strata_test test;
        factor->entangled = most;
        if (strata_groups(best, factors[f].level_count, factors[factor->within].level_count,
                          &test)) {
            factor->within_p = test.p;
            factor->within_strata = test.strata;
        }
    }
}

static void hold_all_still(struct review *review)
{
    size_t asked[ASKED], count = worst_factors(review, asked);
    for (size_t k = 0; k < count; k++)
        hold_still(review, asked[k], asked, count);
}

/* ---- alike: what cannot be told apart ----------------------------------------------------------- */

struct vote { /* which level a level of another factor meets most, where that is more than half */
    uint32_t level, lead;
};

static void cast(struct vote *vote, uint32_t level)
{
    vote->level = vote->lead == 0 ? level : vote->level;
    vote->lead = vote->level == level ? vote->lead + 1 : vote->lead - 1;
}

/* Of the vessels that have a level of both factors those in which each level meets the one it meets
 * most (Boyer & Moore 1981); none unless there are two such pairs, nor when it is plain that many
 * do not. */
static void agree(const struct review *review, struct review_alias *alias)
{
    enum { MANY = 10 }; /* one in so many */
    const struct factor *first = &review->dataset->factors[alias->first];
    const struct factor *second = &review->dataset->factors[alias->second];
    const size_t count = review->dataset->vessel_count;
    struct vote *there SCOPED_FREE = memory_array(first->level_count, sizeof *there);
    struct vote *back SCOPED_FREE = memory_array(second->level_count, sizeof *back);
    uint32_t met = LEVEL_NONE;
    bool several = false;

    for (size_t i = 0; i < count; i++)
        if (has_both(review, first, second, i)) {
            cast(&there[first->level[i]], second->level[i]);
            cast(&back[second->level[i]], first->level[i]);
        }
    for (size_t i = 0; i < count && alias->of - alias->together <= count / MANY; i++) {
        uint32_t x = first->level[i], y = second->level[i];
        if (!has_both(review, first, second, i))
            continue;
        alias->of++;
        if (there[x].level != y || back[y].level != x)
            continue;
        alias->together++;
        several = several || (met != LEVEL_NONE && met != x);
        met = x;
    }
    if (!several || alias->of - alias->together > count / MANY)
        alias->together = 0;
}

static void find_aliases(struct review *review)
{
    static const double nearly = 0.95;
    const size_t count = review->dataset->factor_count, vessels = review->dataset->vessel_count;
    for (size_t a = 0; a < count; a++) {
        for (size_t b = a + 1; b < count; b++) {
            struct review_alias alias = {.first = a, .second = b};
            if (related(review, a, b) || review->factors[a].level_count < 2 ||
                review->factors[b].level_count < 2)
                continue;
            agree(review, &alias);
            if (alias.together > 0 && (double)alias.together >= nearly * (double)alias.of)
                *arena_push(review->arena, review->aliases, review->alias_count) = alias;
        }
        progress_tell(review->progress, "looking for what always went together", (a + 1) * vessels,
                      count * vessels);
    }
}

/* ---- how long vessels lasted, by what leads ----------------------------------------------------- */

enum { LONGEST = 3650 }; /* days; who watches longer has mistaken a date */

/* Levels called as culprits first, then those with the most vessels; the rest is one curve. */
static void choose_curves(const struct review *review, struct review_time *time)
{
    const struct review_factor *factor = &review->factors[time->factor];

    for (size_t k = 0; k < review->culprit_count && time->curve_count + 1 < REVIEW_CURVES; k++)
        if (review->culprits[k].suspects[0].factor == time->factor)
            time->curves[time->curve_count++].level = review->culprits[k].suspects[0].level;
    size_t called = time->curve_count;
    if (factor->level_count <= REVIEW_CURVES)
        for (size_t l = 0; l < factor->level_count; l++) {
            bool there = factor->levels[l].counts.total == 0;
            for (size_t c = 0; c < called && !there; c++)
                there = time->curves[c].level == factor->levels[l].level;
            if (!there)
                time->curves[time->curve_count++].level = factor->levels[l].level;
        }
    else
        time->curves[time->curve_count++].level = LEVEL_NONE;
}

/* The curve of a level: its own, or the last one, of the rest. */
static size_t curve_of(const struct review_time *time, uint32_t level)
{
    size_t c = 0;
    while (c + 1 < time->curve_count && time->curves[c].level != level)
        c++;
    return c;
}

static void make_time(struct review *review)
{
    enum { TIMES = LONGEST + 1 };
    const struct dataset *dataset = review->dataset;
    struct review_time *time = &review->time;
    const uint32_t *level = NULL;

    *time = (struct review_time){
        .factor = dataset->factor_count,
        .curves = arena_array(review->arena, REVIEW_CURVES + 1, sizeof *time->curves)};
    if (review->culprit_count > 0) {
        time->factor = review->culprits[0].suspects[0].factor;
        level = dataset->factors[time->factor].level;
        choose_curves(review, time);
    } else {
        time->curves[time->curve_count++].level = LEVEL_NONE;
    }
    struct survival_row *rows SCOPED_FREE = memory_array(time->curve_count * TIMES, sizeof *rows);
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        int32_t days = vessel_days(dataset, i);
        if (dataset->control[i])
            continue;
        if (days < 0 || days > LONGEST || (level != NULL && level[i] == LEVEL_NONE)) {
            time->left_out++;
            continue;
        }
        size_t c = level != NULL ? curve_of(time, level[i]) : 0;
        struct survival_row *row = &rows[c * TIMES + (size_t)days];
        time->cases++;
        ++*(review->standing[i] == STANDING_LOST ? &row->lost : &row->censored);
    }
    for (size_t c = 0; c < time->curve_count; c++) {
        for (size_t t = 0; t < TIMES; t++)
            rows[c * TIMES + t].time = (double)t;
        time->curves[c].curve = survival_curve(review->arena, &rows[c * TIMES], TIMES);
    }
    if (time->curve_count > 1)
        time->logrank = survival_logrank(rows, TIMES, time->curve_count);
}

/* ---- batch by batch ----------------------------------------------------------------------------- */

static int sooner(const void *a, const void *b)
{
    const struct review_batch *first = a, *second = b;
    int64_t x = first->day == DAY_NONE ? INT64_MAX : first->day; /* those without a day last */
    int64_t y = second->day == DAY_NONE ? INT64_MAX : second->day;
    return x != y ? ORDER(x, y) : ORDER(first->level, second->level);
}

/* Whether a culprit, of whatever name, reaches the vessel. */
static bool is_reached(const struct review *review, size_t vessel)
{
    for (size_t k = 0; k < review->culprit_count; k++)
        for (size_t s = 0; s < review->culprits[k].suspect_count; s++) {
            const struct review_suspect *suspect = &review->culprits[k].suspects[s];
            if (review->dataset->factors[suspect->factor].level[vessel] == suspect->level)
                return true;
        }
    return false;
}

static void make_batches(struct review *review)
{
    const struct dataset *dataset = review->dataset;

    if (dataset->batch >= dataset->factor_count)
        return;
    size_t count = review->batch_count = dataset->factors[dataset->batch].level_count;
    review->batches = arena_array(review->arena, count, sizeof *review->batches);
    for (uint32_t b = 0; b < count; b++) {
        review->batches[b].level = b;
        review->batches[b].day = DAY_NONE;
    }
    const uint32_t *level = dataset->factors[dataset->batch].level;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (level[i] == LEVEL_NONE)
            continue;
        struct review_batch *batch = &review->batches[level[i]];
        int32_t day = dataset->entered[i];
        if (day != DAY_NONE && (batch->day == DAY_NONE || day < batch->day))
            batch->day = day;
        batch->open += dataset->fate[i] == FATE_OPEN && !dataset->control[i];
        if (review->standing[i] == STANDING_OUT)
            continue;
        count_vessel(dataset->control[i] ? &batch->controls : &batch->counts, review->standing[i]);
    }
    array_sort(review->batches, count, sooner);
    /* The centre is that of vessels that no culprit reaches: else it would hide what they did. */
    struct counts usual = {0, 0}, all = {0, 0};
    for (size_t i = 0; i < dataset->vessel_count; i++)
        if (level[i] != LEVEL_NONE && review->standing[i] != STANDING_OUT && !dataset->control[i]) {
            count_vessel(&all, review->standing[i]);
            if (!is_reached(review, i))
                count_vessel(&usual, review->standing[i]);
        }
    usual = usual.total > 0 ? usual : all;
    review->centre = usual.total > 0 ? (double)usual.lost / (double)usual.total : NAN;
    for (size_t b = 0; b < count; b++) /* no chart where nothing counts */
        review->batches[b].point =
            usual.total > 0
                ? monitor_point(review->batches[b].counts, review->centre, MONITOR_THREE_SIGMA)
                : (struct monitor_point){.share = NAN};
}

/* ---- since when it went wrong ------------------------------------------------------------------- */

struct day { /* on which vessels were started */
    int32_t day;
    struct counts counts;
};

static int by_day(const void *a, const void *b)
{
    const struct day *first = a, *second = b;
    return ORDER(first->day, second->day);
}

/* The vessels by the days on which they were started; how many vessels, and days. */
static size_t list_days(const struct review *review, struct day *days, size_t *count)
{
    const struct dataset *dataset = review->dataset;
    size_t vessels = 0;
    for (size_t i = 0; i < dataset->vessel_count; i++)
        if (review->standing[i] != STANDING_OUT && !dataset->control[i] &&
            dataset->entered[i] != DAY_NONE && dataset->entered[i] <= dataset->today) {
            days[vessels].day = dataset->entered[i];
            count_vessel(&days[vessels++].counts, review->standing[i]);
        }
    array_sort(days, vessels, by_day);
    *count = vessels > 0;
    for (size_t i = 1; i < vessels; i++)
        if (days[i].day == days[*count - 1].day) {
            days[*count - 1].counts.lost += days[i].counts.lost;
            days[*count - 1].counts.total++;
        } else {
            days[(*count)++] = days[i];
        }
    return vessels;
}

/* The rate of what no culprit explains, within what a plan can be made for. */
static double usual_rate(const struct review *review)
{
    struct counts usual = review->totals.counts;
    for (size_t k = 0; k < review->culprit_count; k++) {
        struct counts outside = review->culprits[k].suspects[0].outside;
        if (outside.total > 0 && outside.lost * usual.total < usual.lost * outside.total)
            usual = outside;
    }
    double rate = ((double)usual.lost + 0.5) / ((double)usual.total + 1.0);
    return fmin(0.4, fmax(0.01, rate));
}

static json_t *day_json(const struct day *day, enum day_style style)
{
    return day != NULL ? json_string(day_write(day->day, style, MOMENT_WORDS)) : json_null();
}

json_t *review_watch(const struct review *review)
{
    enum { EPISODES = 16, MANY = 500000 };
    double usual = usual_rate(review), sum = 0.0, share = 0.0, last_share = 0.0;
    size_t count, episodes = 0, began = 0, so_far = 0;
    const struct day *since = NULL, *ended = NULL; /* of the last episode */
    bool signalled = false;

    if (review->dataset->vessel_count > MANY)
        return json_null();
    struct day *days SCOPED_FREE = memory_array(review->dataset->vessel_count, sizeof *days);
    size_t vessels = list_days(review, days, &count);
    if (vessels < REVIEW_FEWEST)
        return json_null();
    const struct monitor_plan plan =
        monitor_plan(usual, fmin(0.9, fmax(2.0 * usual, usual + 0.15)),
                     fmax(100.0, (double)vessels / review->rules->review.false_alarm));
    json_t *sums = json_array();
    for (size_t d = 0; d < count; d++) {
        if (sum <= 0.0) {
            began = d;
            share = (double)so_far / (double)vessels;
        }
        so_far += days[d].counts.total;
        sum = monitor_add(&plan, sum, days[d].counts);
        json_array_append_new(
            sums, json_pack("[f, f]", (double)so_far / (double)vessels, sum / plan.threshold));
        signalled = signalled || sum >= plan.threshold;
        if (!signalled || (sum > 0.0 && d + 1 < count))
            continue;
        signalled = false;
        if (episodes < EPISODES) { /* it has come back, or has not yet */
            episodes++;
            since = &days[began];
            ended = sum > 0.0 ? NULL : &days[d];
            last_share = share;
        }
    }
    return json_pack("{s:f, s:f, s:f, s:I, s:o, s:o, s:I, s:o, s:o, s:o, s:f, s:o}", "usual",
                     plan.usual, "raised", plan.raised, "run_to_false_alarm", plan.run_usual,
                     "signals", (json_int_t)episodes, "since", day_json(since, DAY_ISO), "_ended",
                     day_json(ended, DAY_ISO), "_count", (json_int_t)vessels, "_sums", sums,
                     "_from", day_json(days, DAY_WORDS), "_to",
                     day_json(&days[count - 1], DAY_WORDS), "_began", last_share, "_since",
                     day_json(since, DAY_WORDS));
}

/* ---- totals and limits -------------------------------------------------------------------------- */

static void add_day(struct review_totals *totals, int32_t day)
{
    if (day == DAY_NONE)
        return;
    if (totals->first == DAY_NONE || day < totals->first)
        totals->first = day;
    if (totals->last == DAY_NONE || day > totals->last)
        totals->last = day;
}

static void count_totals(const struct review *review, struct review_totals *totals)
{
    const struct dataset *dataset = review->dataset;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (review->standing[i] != STANDING_OUT)
            count_vessel(dataset->control[i] ? &totals->controls : &totals->counts,
                         review->standing[i]);
        if (dataset->control[i])
            continue;
        totals->vessels++;
        if (dataset->fate[i] < FATE_COUNT)
            totals->fate[dataset->fate[i]]++;
        else
            totals->unrecorded++;
        add_day(totals, dataset->entered[i]);
    }
}

static unsigned find_limits(const struct review *review)
{
    const struct review_totals *totals = &review->totals;
    unsigned limits = 0;
    if (review->dataset->vessel_count == 0)
        return REVIEW_EMPTY;
    if (totals->counts.total == 0)
        limits |= REVIEW_NOTHING_COUNTS;
    else if (totals->counts.lost == 0)
        limits |= REVIEW_NOTHING_LOST;
    else if (totals->counts.lost == totals->counts.total)
        limits |= REVIEW_ALL_LOST;
    if (totals->counts.total > 0 && totals->counts.total < REVIEW_FEWEST)
        limits |= REVIEW_FEW;
    size_t f = 0;
    while (f < review->dataset->factor_count && isnan(review->factors[f].q))
        f++;
    if (f == review->dataset->factor_count)
        limits |= REVIEW_NO_FACTOR;
    if (totals->batches == 1)
        limits |= REVIEW_ONE_BATCH;
    if (review->time.cases == 0)
        limits |= REVIEW_NO_TIMES;
    return limits;
}

/* ---- the whole ---------------------------------------------------------------------------------- */

static void call_culprits(struct review *review)
{
    const struct review_rules *rules = &review->rules->review;
    struct review_rule rule = {.level = rules->false_alarm,
                               .bayes_factor = rules->bayes_factor,
                               .watched = rules->watched};
    for (size_t c = 0; c < review->rules->cause_count; c++)
        rule.prior[review->rules->causes[c].scope] += review->rules->causes[c].prior;
    review_find_culprits(review->dataset, &rule, review->arena, review);
}

enum status review_make(const struct dataset *dataset, const struct reasoner *reasoner,
                        const struct progress *progress, struct arena *arena, struct review *review)
{
    struct review_totals *totals = &review->totals;

    *review = (struct review){.dataset = dataset,
                              .reasoner = reasoner,
                              .rules = reasoner_rules(reasoner),
                              .progress = progress,
                              .arena = arena,
                              .totals = {.first = DAY_NONE, .last = DAY_NONE},
                              .centre = NAN};
    review->standing =
        search_standing(dataset, review->rules->review.watched, arena, &totals->young);
    count_totals(review, totals);
    totals->exact = counts_interval_exact(totals->counts, 0.95);
    count_factors(review);
    hold_all_still(review);
    find_aliases(review);
    call_culprits(review);
    make_time(review);
    make_batches(review);
    totals->batches = review->batch_count;
    review->limits = find_limits(review);
    return review_explain(review);
}
