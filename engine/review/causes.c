/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "reason/shared.h"
#include "review/search.h"
#include "review/statistics.h"

/* ==== cross =================================================================================== */

/* Two factors against one another: which hides behind which, and which cannot be told apart. */

/* ---- the cross ------------------------------------------------------------------------------- */

/* Two factors against one another, over the vessels that count and are no controls. */
struct cross {
    size_t rows, columns; /* levels */
    struct counts *cells; /* rows x columns */
    size_t total;
};
enum { CROSS_LEAST = 1 << 14 };

/* False when there are more cells than vessels (and than CROSS_LEAST), or no memory. */
static bool cross_make(const struct review_work *work, size_t first, size_t second,
                       struct cross *cross)
{
    const struct dataset *dataset = work->dataset;
    const struct factor *row = &dataset->factors[first], *column = &dataset->factors[second];

    *cross = (struct cross){.rows = row->level_count, .columns = column->level_count};
    size_t most = dataset->vessel_count > CROSS_LEAST ? dataset->vessel_count : CROSS_LEAST;
    if (cross->rows == 0 || cross->columns == 0 || cross->rows > most / cross->columns)
        return false;
    cross->cells = calloc(cross->rows * cross->columns, sizeof *cross->cells);
    if (cross->cells == NULL)
        return false;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        if (work->standing[i] == STANDING_OUT || dataset->control[i] ||
            row->level[i] == LEVEL_NONE || column->level[i] == LEVEL_NONE)
            continue;
        struct counts *cell = &cross->cells[row->level[i] * cross->columns + column->level[i]];
        cell->total++;
        cell->lost += work->standing[i] == STANDING_LOST;
        cross->total++;
    }
    return true;
}

static void cross_release(struct cross *cross)
{
    free(cross->cells);
}

static size_t cell(const struct cross *cross, size_t row, size_t column)
{
    return cross->cells[row * cross->columns + column].total;
}

static size_t column_total(const struct cross *cross, size_t column)
{
    size_t total = 0;
    for (size_t r = 0; r < cross->rows; r++)
        total += cell(cross, r, column);
    return total;
}

static size_t row_total(const struct cross *cross, size_t row)
{
    size_t total = 0;
    for (size_t c = 0; c < cross->columns; c++)
        total += cell(cross, row, c);
    return total;
}

/* Cramer's V (1946): sqrt(chi-square / (n (min(rows, columns) - 1))), empty ones left out. */
static double cross_entangled(const struct cross *cross)
{
    size_t rows = 0, columns = 0;
    double sum = 0.0;
    double *of_column = calloc(cross->columns, sizeof *of_column);

    if (of_column == NULL)
        return NAN;
    for (size_t c = 0; c < cross->columns; c++)
        columns += (of_column[c] = (double)column_total(cross, c)) > 0.0;
    for (size_t r = 0; r < cross->rows; r++) {
        double of_row = (double)row_total(cross, r);
        rows += of_row > 0.0;
        for (size_t c = 0; c < cross->columns; c++) {
            double n = (double)cell(cross, r, c);
            if (n > 0.0)
                sum += n * n / (of_row * of_column[c]);
        }
    }
    free(of_column);
    size_t least = rows < columns ? rows : columns;
    /* chi-square is n (sum n_rc^2 / (n_r n_c) - 1) */
    return least > 1 ? sqrt(fmax(0.0, sum - 1.0) / (double)(least - 1)) : 0.0;
}

/* Whether every column has vessels of one row only. */
static bool cross_nested(const struct cross *cross)
{
    for (size_t c = 0; c < cross->columns; c++) {
        size_t met = 0;
        for (size_t r = 0; r < cross->rows; r++)
            met += cell(cross, r, c) > 0;
        if (met > 1)
            return false;
    }
    return true;
}

/* ---- held still ------------------------------------------------------------------------------ */

/* One of them was computed from the other, or both from the same. */
static bool akin(const struct review_work *work, size_t a, size_t b)
{
    enum factor_kind first = factor_kind_origin(work->dataset->factors[a].kind);
    enum factor_kind second = factor_kind_origin(work->dataset->factors[b].kind);
    return first == second && first != FACTOR_OTHER;
}

static enum status test_within(const struct cross *cross, struct review_factor *factor)
{
    struct strata_cell *cells = malloc((cross->rows * cross->columns + 1) * sizeof *cells);
    struct strata_test test;
    size_t count = 0;

    if (cells == NULL)
        return STATUS_MEMORY;
    for (size_t r = 0; r < cross->rows; r++)
        for (size_t c = 0; c < cross->columns; c++)
            if (cell(cross, r, c) > 0)
                cells[count++] = (struct strata_cell){
                    .group = r, .stratum = c, .counts = cross->cells[r * cross->columns + c]};
    enum status status = strata_groups(cells, count, cross->rows, cross->columns, &test);
    free(cells);
    if (status == STATUS_INTERNAL) /* it could not be computed: then it is not told */
        return STATUS_OK;
    if (status == STATUS_OK) {
        factor->within_p = test.p;
        factor->within_strata = test.strata;
    }
    return status;
}

/* A factor that others are held still by: one that was not computed from another, and met the vessels. */
static bool holds(const struct review_work *work, size_t f, size_t other)
{
    enum factor_kind kind = work->dataset->factors[other].kind;
    return other != f && !akin(work, f, other) &&
           (kind == FACTOR_OTHER || factor_kind_origin(kind) == kind);
}

/* Finds what the factor is most entangled with among `others`, and asks again within its levels. */
static enum status hold_still(struct review_work *work, size_t f, const size_t *others,
                              size_t count)
{
    struct review_factor *factor = &work->review->factors[f];
    static const double noticeable = 0.3; /* of Cramer's V */
    struct cross best = {0};
    double most = noticeable;

    for (size_t k = 0; k < count; k++) {
        struct cross cross;
        if (!holds(work, f, others[k]) || !cross_make(work, f, others[k], &cross))
            continue;
        double entangled = cross_nested(&cross) ? 0.0 : cross_entangled(&cross);
        if (entangled > most) {
            cross_release(&best);
            best = cross;
            most = entangled;
            factor->within = others[k];
        } else {
            cross_release(&cross);
        }
    }
    enum status status = STATUS_OK;
    if (factor->within < work->dataset->factor_count) {
        factor->entangled = most;
        status = test_within(&best, factor);
    }
    cross_release(&best);
    return status;
}

enum { ASKED = 8 }; /* the factors that look worst; each is crossed with each */

/* Of the factors that look bad, those with the most evidence for rates of their own. */
static size_t worst_factors(const struct review_work *work, size_t asked[ASKED])
{
    static const double looks_bad = 0.05;
    const struct review_factor *factors = work->review->factors;
    size_t count = 0;

    for (size_t f = 0; f < work->dataset->factor_count; f++) {
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

enum status review_hold_still(struct review_work *work)
{
    size_t asked[ASKED], count = worst_factors(work, asked);
    enum status status = STATUS_OK;
    for (size_t k = 0; k < count && status == STATUS_OK; k++)
        status = hold_still(work, asked[k], asked, count);
    return status;
}

/* ---- alike ----------------------------------------------------------------------------------- */

/* The row a column meets most, or the column a row does; SIZE_MAX for none. */
static size_t most_met(const struct cross *cross, bool of_column, size_t at)
{
    size_t best = SIZE_MAX, most = 0;
    for (size_t k = 0; k < (of_column ? cross->rows : cross->columns); k++) {
        size_t met = of_column ? cell(cross, k, at) : cell(cross, at, k);
        if (met > most) {
            most = met;
            best = k;
        }
    }
    return best;
}

/* Vessels in pairs of levels that mostly meet one another; 0 unless there are two such pairs. */
static size_t together(const struct cross *cross)
{
    size_t vessels = 0, pairs = 0;
    for (size_t r = 0; r < cross->rows; r++) {
        size_t c = most_met(cross, false, r);
        if (c == SIZE_MAX || most_met(cross, true, c) != r)
            continue;
        vessels += cell(cross, r, c);
        pairs++;
    }
    return pairs > 1 ? vessels : 0;
}

/* Every `step`th vessel: those in which each level meets the one it met first, of those that have both. */
static struct review_alias agree(const struct review_work *work, size_t a, size_t b, size_t step,
                                 uint32_t *there, uint32_t *back)
{
    const struct dataset *dataset = work->dataset;
    const struct factor *first = &dataset->factors[a], *second = &dataset->factors[b];
    struct review_alias alias = {.first = a, .second = b};

    memset(there, 0xff, first->level_count * sizeof *there); /* LEVEL_NONE */
    memset(back, 0xff, second->level_count * sizeof *back);
    for (size_t i = 0; i < dataset->vessel_count; i += step) {
        uint32_t x = first->level[i], y = second->level[i];
        if (work->standing[i] == STANDING_OUT || dataset->control[i] || x == LEVEL_NONE ||
            y == LEVEL_NONE)
            continue;
        if (there[x] == LEVEL_NONE)
            there[x] = y;
        if (back[y] == LEVEL_NONE)
            back[y] = x;
        alias.of++;
        alias.together += there[x] == y && back[y] == x;
    }
    return alias;
}

/* Most pairs differ so plainly that a sample shows it; only the others are looked at in full. */
static struct review_alias compare(const struct review_work *work, size_t a, size_t b,
                                   uint32_t *there, uint32_t *back)
{
    enum { SAMPLE = 4096 };
    static const double hopeful = 0.7;
    struct cross cross;
    struct review_alias alias =
        agree(work, a, b, work->dataset->vessel_count / SAMPLE + 1, there, back);

    if ((double)alias.together < hopeful * (double)alias.of)
        return alias;
    if (!cross_make(work, a, b, &cross))
        return agree(work, a, b, 1, there, back);
    alias.together = together(&cross);
    alias.of = cross.total;
    cross_release(&cross);
    return alias;
}

static size_t levels_met(const struct review_work *work, size_t factor)
{
    return work->review->factors[factor].level_count;
}

static enum status keep_alias(struct review_work *work, const struct review_alias *alias,
                              size_t *room)
{
    struct review *review = work->review;
    if (review->alias_count == *room) {
        size_t more = 2 * *room + 4;
        struct review_alias *aliases =
            arena_grow(work->arena, review->aliases, *room, more, sizeof *aliases);
        if (aliases == NULL)
            return STATUS_MEMORY;
        review->aliases = aliases;
        *room = more;
    }
    review->aliases[review->alias_count++] = *alias;
    return STATUS_OK;
}

static size_t most_levels(const struct dataset *dataset)
{
    size_t most = 1;
    for (size_t f = 0; f < dataset->factor_count; f++)
        if (dataset->factors[f].level_count > most)
            most = dataset->factors[f].level_count;
    return most;
}

enum status review_find_aliases(struct review_work *work)
{
    static const double nearly = 0.95;
    size_t count = work->dataset->factor_count, room = 0, most = most_levels(work->dataset);
    uint32_t *there = malloc(most * sizeof *there), *back = malloc(most * sizeof *back);
    enum status status = there != NULL && back != NULL ? STATUS_OK : STATUS_MEMORY;

    for (size_t a = 0; a < count && status == STATUS_OK; a++) {
        for (size_t b = a + 1; b < count && status == STATUS_OK; b++) {
            if (akin(work, a, b) || levels_met(work, a) < 2 || levels_met(work, b) < 2)
                continue;
            struct review_alias alias = compare(work, a, b, there, back);
            if (alias.of > 0 && (double)alias.together >= nearly * (double)alias.of)
                status = keep_alias(work, &alias, &room);
        }
        review_tell(work, "looking for what always went together", a + 1, count);
    }
    free(there);
    free(back);
    return status;
}

/* ==== causes ================================================================================== */

/*
 * Why: the causes of a culprit, and those that a batch's vessels share.
 *
 * reason/shared.h does the inference. Vessels that were judged alike and share
 * the same things are told to it once, with how many they are: a cook of a
 * thousand vessels takes no longer than one of ten.
 */

enum { SCOPES = SCOPE_COUNT, GROUPS_MOST = 4 };

struct told { /* a vessel as the inference is told it; compared as bytes */
    int finding, control;
    uint32_t statuses;
    int group[SCOPES];
};

static uint32_t bit(enum finding_status status)
{
    return UINT32_C(1) << status;
}

static uint32_t statuses_of(uint8_t fate)
{
    switch (fate) {
    case FATE_SOUND:
        return bit(FINDING_CLEAN);
    case FATE_STUCK:
        return bit(FINDING_STUCK);
    case FATE_CONTAMINATED:
        return bit(FINDING_CONTAMINATED);
    case FATE_UNTOLD:
        return bit(FINDING_STUCK) | bit(FINDING_CONTAMINATED);
    default:
        return bit(FINDING_CLEAN) | bit(FINDING_STUCK);
    }
}

/* What became of it: its finding where that is likelier than not and fits its fate, else the fate. */
static struct told tell_vessel(const struct review_work *work, size_t vessel)
{
    static const double likely = 0.5;
    const struct dataset *dataset = work->dataset;
    struct told told;

    memset(&told, 0, sizeof told);
    for (size_t s = 0; s < SCOPES; s++)
        told.group[s] = RULES_NONE;
    told.finding = RULES_NONE;
    told.control = dataset->control[vessel];
    told.statuses = statuses_of(dataset->fate[vessel]);
    if (dataset->finding != NULL && dataset->finding[vessel] != RULES_NONE &&
        (double)dataset->sure[vessel] >= likely) {
        int finding = dataset->finding[vessel];
        uint32_t status = bit(work->rules->findings[finding].status);
        if (status != bit(FINDING_CLEAN) && (told.statuses & status) != 0)
            told.finding = finding;
    }
    return told;
}

static int by_bytes(const void *a, const void *b)
{
    return memcmp(a, b, sizeof(struct told));
}

/* Those that are alike, once. Returns how many; `vessels` has room for `count`. */
static size_t merge(struct told *told, size_t count, struct shared_vessel *vessels)
{
    size_t kinds = 0;
    if (count > 1)
        qsort(told, count, sizeof *told, by_bytes);
    for (size_t i = 0; i < count; i++) {
        if (i > 0 && by_bytes(&told[i - 1], &told[i]) == 0) {
            vessels[kinds - 1].alike++;
            continue;
        }
        vessels[kinds] = (struct shared_vessel){.finding = told[i].finding,
                                                .statuses = told[i].statuses,
                                                .control = told[i].control != 0,
                                                .alike = 1};
        memcpy(vessels[kinds].group, told[i].group, sizeof told[i].group);
        kinds++;
    }
    return kinds;
}

/* ---- what was computed moves the causes it bears on ------------------------------------------- */

struct shifts {
    struct shared_shift *list;
    size_t count, room;
};

/* One for each cause that a computed factor of this origin moves, by the level of the vessel. */
static void shift_causes(const struct review_work *work, enum factor_kind origin, size_t vessel,
                         struct shifts *shifts)
{
    const struct dataset *dataset = work->dataset;
    for (size_t f = 0; f < dataset->factor_count; f++) {
        const struct factor *computed = &dataset->factors[f];
        if (computed->log_odds == NULL || factor_kind_origin(computed->kind) != origin ||
            computed->level[vessel] == LEVEL_NONE)
            continue;
        for (size_t c = 0; c < work->rules->cause_count && shifts->count < shifts->room; c++)
            for (size_t m = 0; m < 2; m++)
                if (work->rules->causes[c].moved_by == computed->moved[m] &&
                    computed->moved[m] != MOVED_NONE)
                    shifts->list[shifts->count++] = (struct shared_shift){
                        c, RULES_NONE, computed->log_odds[2 * (size_t)computed->level[vessel] + m]};
    }
}

/* What a place is known to be like: its temperature, as the answer to the question that feeds it. */
static void tell_place(const struct review_work *work, size_t vessel, struct observation *common)
{
    const struct dataset *dataset = work->dataset;
    size_t f = dataset_factor(dataset, FACTOR_TEMPERATURE);
    int feeder = work->rules->feeder[FEEDS_TEMPERATURE];
    if (f == dataset->factor_count || feeder == RULES_NONE ||
        dataset->factors[f].level[vessel] == LEVEL_NONE)
        return;
    const struct observable *temperature = &work->rules->observables[feeder];
    const char *label = dataset->factors[f].levels[dataset->factors[f].level[vessel]];
    for (size_t v = 0; v < temperature->value_count; v++)
        if (strcmp(temperature->values[v].label, label) == 0)
            common[feeder].seen = UINT32_C(1) << v;
}

/* ---- the causes of one suspect --------------------------------------------------------------- */

struct asked { /* what the inference takes, and what it gives */
    struct told *told;
    struct shared_vessel *vessels;
    struct shared_shift *shifts;
    struct observation *common; /* what is known of all of them */
    size_t count;
};

static bool asked_init(const struct review_work *work, size_t room, struct asked *asked)
{
    *asked =
        (struct asked){.told = malloc((room + 1) * sizeof *asked->told),
                       .vessels = calloc(room + 1, sizeof *asked->vessels),
                       .shifts = calloc(2 * work->rules->cause_count + 1, sizeof *asked->shifts),
                       .common = calloc(work->rules->observable_count + 1, sizeof *asked->common)};
    return asked->told != NULL && asked->vessels != NULL && asked->shifts != NULL &&
           asked->common != NULL;
}

static void asked_release(struct asked *asked)
{
    free(asked->told);
    free(asked->vessels);
    free(asked->shifts);
    free(asked->common);
}

static enum status infer(const struct review_work *work, struct asked *asked,
                         const struct shifts *shifts, struct shared_posterior *posterior)
{
    struct shared_batch batch = {.vessels = asked->vessels,
                                 .vessel_count = merge(asked->told, asked->count, asked->vessels),
                                 .common = asked->common,
                                 .shifts = shifts->list,
                                 .shift_count = shifts->count};
    return reason_shared(work->reasoner, &batch, false, posterior);
}

/* Adds the suspect's causes to `share` (one a cause of the rules), `weight` in all. */
static enum status causes_of_suspect(const struct review_work *work,
                                     const struct review_suspect *suspect, double weight,
                                     double *share)
{
    const struct dataset *dataset = work->dataset;
    const struct factor *of = &dataset->factors[suspect->factor];
    enum scope scope = factor_kind_scope(of->kind);
    struct shared_posterior posterior;
    struct asked asked;
    double sum = 0.0;

    if (scope == SCOPE_VESSEL)
        return STATUS_OK;
    if (!asked_init(work, dataset->vessel_count, &asked)) {
        asked_release(&asked);
        return STATUS_MEMORY;
    }
    struct shifts shifts = {asked.shifts, 0, 2 * work->rules->cause_count};
    for (size_t i = 0; i < dataset->vessel_count; i++)
        if (work->standing[i] != STANDING_OUT && of->level[i] == suspect->level) {
            if (asked.count == 0) {
                shift_causes(work, factor_kind_origin(of->kind), i, &shifts);
                if (scope == SCOPE_PLACE)
                    tell_place(work, i, asked.common);
            }
            asked.told[asked.count] = tell_vessel(work, i);
            asked.told[asked.count++].group[scope] = 0;
        }
    enum status status = infer(work, &asked, &shifts, &posterior);
    if (status == STATUS_OK) {
        for (size_t s = 0; s < posterior.suspect_count; s++)
            sum += posterior.suspects[s].p;
        for (size_t s = 0; s < posterior.suspect_count && sum > 0.0; s++)
            share[posterior.suspects[s].cause] += weight * posterior.suspects[s].p / sum;
        shared_release(&posterior);
    }
    asked_release(&asked);
    return status;
}

static int likelier(const void *a, const void *b)
{
    const struct review_cause *first = a, *second = b;
    if (first->p < second->p || first->p > second->p)
        return first->p < second->p ? 1 : -1;
    return (first->cause > second->cause) - (first->cause < second->cause);
}

/* Those that are not negligible, likeliest first. */
static enum status list_causes(const struct review_work *work, const double *share,
                               struct review_cause **causes, size_t *count)
{
    static const double negligible = 0.005;
    *count = 0;
    *causes = arena_array(work->arena, work->rules->cause_count, sizeof **causes);
    if (*causes == NULL)
        return STATUS_MEMORY;
    for (size_t c = 0; c < work->rules->cause_count; c++)
        if (share[c] > negligible)
            (*causes)[(*count)++] = (struct review_cause){c, share[c]};
    if (*count > 1)
        qsort(*causes, *count, sizeof **causes, likelier);
    return STATUS_OK;
}

static enum status judge_culprit(const struct review_work *work, struct review_culprit *culprit)
{
    double *share = calloc(work->rules->cause_count + 1, sizeof *share);
    enum status status = share != NULL ? STATUS_OK : STATUS_MEMORY;
    for (size_t s = 0; s < culprit->suspect_count && status == STATUS_OK; s++)
        status = causes_of_suspect(work, &culprit->suspects[s], culprit->suspects[s].p / culprit->p,
                                   share);
    if (status == STATUS_OK)
        status = list_causes(work, share, &culprit->causes, &culprit->cause_count);
    free(share);
    return status;
}

/* ---- the causes of one batch ----------------------------------------------------------------- */

/* The factor that holds the groups of a scope; factor_count when none does. */
static size_t factor_of_scope(const struct dataset *dataset, enum scope scope)
{
    static const enum factor_kind kinds[SCOPES] = {
        [SCOPE_COOK] = FACTOR_COOK,       [SCOPE_MIX] = FACTOR_BATCH,
        [SCOPE_GRAIN_LOT] = FACTOR_LOT,   [SCOPE_SESSION] = FACTOR_SESSION,
        [SCOPE_STARTER] = FACTOR_STARTER, [SCOPE_PLACE] = FACTOR_PLACE,
        [SCOPE_VESSEL] = FACTOR_KINDS,
    };
    return scope == SCOPE_VESSEL ? dataset->factor_count : dataset_factor(dataset, kinds[scope]);
}

/* Numbers the levels met in a batch from 0; RULES_NONE for those beyond GROUPS_MOST. */
struct groups {
    uint32_t levels[GROUPS_MOST];
    int count;
};

static int group_of(struct groups *groups, uint32_t level)
{
    if (level == LEVEL_NONE)
        return RULES_NONE;
    for (int g = 0; g < groups->count; g++)
        if (groups->levels[g] == level)
            return g;
    if (groups->count == GROUPS_MOST)
        return RULES_NONE;
    groups->levels[groups->count] = level;
    return groups->count++;
}

static void tell_batch(const struct review_work *work, const size_t *vessels, size_t count,
                       struct asked *asked)
{
    struct groups groups[SCOPES] = {0};
    asked->count = 0;
    for (size_t i = 0; i < count; i++) {
        struct told *told = &asked->told[asked->count++];
        *told = tell_vessel(work, vessels[i]);
        for (size_t s = 0; s < SCOPES; s++) {
            size_t f = factor_of_scope(work->dataset, (enum scope)s);
            if (f < work->dataset->factor_count)
                told->group[s] = group_of(&groups[s], work->dataset->factors[f].level[vessels[i]]);
        }
    }
}

static enum status judge_batch(const struct review_work *work, const size_t *vessels, size_t count,
                               struct review_batch *batch)
{
    struct asked asked;
    struct shared_posterior posterior;
    double *share = calloc(work->rules->cause_count + 1, sizeof *share);
    enum status status = STATUS_MEMORY;

    if (asked_init(work, count, &asked) && share != NULL) {
        struct shifts shifts = {asked.shifts, 0, 2 * work->rules->cause_count};
        shift_causes(work, FACTOR_COOK, vessels[0], &shifts);
        shift_causes(work, FACTOR_BATCH, vessels[0], &shifts);
        tell_batch(work, vessels, count, &asked);
        status = infer(work, &asked, &shifts, &posterior);
        if (status == STATUS_OK) {
            for (size_t s = 0; s < posterior.suspect_count; s++)
                share[posterior.suspects[s].cause] =
                    fmax(share[posterior.suspects[s].cause], posterior.suspects[s].p);
            shared_release(&posterior);
            status = list_causes(work, share, &batch->causes, &batch->cause_count);
        }
    }
    asked_release(&asked);
    free(share);
    return status;
}

/* ---- all of them ----------------------------------------------------------------------------- */

/* Vessels that count, sorted by batch: those of batch b stand from starts[b] to starts[b + 1]. */
static bool sort_by_batch(const struct review_work *work, size_t **vessels, size_t **starts)
{
    const struct factor *batch = &work->dataset->factors[work->dataset->batch];
    size_t count = work->dataset->vessel_count, levels = batch->level_count;
    *vessels = malloc((count + 1) * sizeof **vessels);
    *starts = calloc(levels + 2, sizeof **starts);
    if (*vessels == NULL || *starts == NULL)
        return false;
    /* Counted two places on: while they are put in place, each start moves up to its end. */
    for (size_t i = 0; i < count; i++)
        if (work->standing[i] != STANDING_OUT && batch->level[i] != LEVEL_NONE)
            (*starts)[batch->level[i] + 2]++;
    for (size_t l = 2; l < levels + 2; l++)
        (*starts)[l] += (*starts)[l - 1];
    for (size_t i = 0; i < count; i++)
        if (work->standing[i] != STANDING_OUT && batch->level[i] != LEVEL_NONE)
            (*vessels)[(*starts)[batch->level[i] + 1]++] = i;
    return true;
}

static int more_lost(const void *a, const void *b)
{
    const struct review_batch *const *first = a, *const *second = b;
    size_t x = (*first)->counts.lost, y = (*second)->counts.lost;
    if (x != y)
        return x < y ? 1 : -1;
    return (*first > *second) - (*first < *second);
}

static enum status judge_batches(struct review_work *work)
{
    struct review *review = work->review;
    struct review_batch **worst = malloc((review->batch_count + 1) * sizeof *worst);
    size_t *vessels = NULL, *starts = NULL;
    enum status status = STATUS_MEMORY;

    if (worst != NULL && sort_by_batch(work, &vessels, &starts)) {
        status = STATUS_OK;
        for (size_t b = 0; b < review->batch_count; b++)
            worst[b] = &review->batches[b];
        if (review->batch_count > 1)
            qsort(worst, review->batch_count, sizeof *worst, more_lost);
        size_t asked = review->batch_count < REVIEW_BATCHES_JUDGED ? review->batch_count
                                                                   : REVIEW_BATCHES_JUDGED;
        for (size_t k = 0; k < asked && worst[k]->counts.lost > 0 && status == STATUS_OK; k++) {
            uint32_t level = worst[k]->level;
            status = judge_batch(work, &vessels[starts[level]], starts[level + 1] - starts[level],
                                 worst[k]);
            review_tell(work, "looking for shared causes", k + 1, asked);
        }
    }
    free(worst);
    free(vessels);
    free(starts);
    return status;
}

enum status review_judge_causes(struct review_work *work)
{
    struct review *review = work->review;
    enum status status = STATUS_OK;
    for (size_t k = 0; k < review->culprit_count && status == STATUS_OK; k++)
        status = judge_culprit(work, &review->culprits[k]);
    return status == STATUS_OK && review->batch_count > 0 ? judge_batches(work) : status;
}
