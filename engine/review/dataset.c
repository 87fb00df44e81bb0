/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/dataset.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "base/csv.h"
#include "base/dates.h"
#include "base/memory.h"

/* ---- kinds of factors --------------------------------------------------------------------------- */

const struct factor_type factor_kinds[FACTOR_KINDS] = {
    [FACTOR_COOK] = {"cook", SCOPE_COOK, FACTOR_COOK, true},
    [FACTOR_LETHALITY] = {"computed cook", SCOPE_COOK, FACTOR_COOK, true},
    [FACTOR_POSITION] = {"position in the cooker", SCOPE_COOK, FACTOR_POSITION, true},
    [FACTOR_LOT] = {"grain lot", SCOPE_GRAIN_LOT, FACTOR_LOT, true},
    [FACTOR_BATCH] = {"batch", SCOPE_MIX, FACTOR_BATCH, true},
    [FACTOR_MOISTURE] = {"computed moisture", SCOPE_MIX, FACTOR_BATCH, true},
    [FACTOR_STARTER] = {"starter", SCOPE_STARTER, FACTOR_STARTER, false},
    [FACTOR_PARENT] = {"parent of the starter", SCOPE_STARTER, FACTOR_STARTER, false},
    [FACTOR_LINE] = {"line of the starter", SCOPE_STARTER, FACTOR_STARTER, false},
    [FACTOR_DOSE] = {"dose of starter", SCOPE_VESSEL, FACTOR_BATCH, false},
    [FACTOR_SESSION] = {"session", SCOPE_SESSION, FACTOR_SESSION, false},
    [FACTOR_PLACE] = {"place", SCOPE_PLACE, FACTOR_PLACE, false},
    [FACTOR_TEMPERATURE] = {"temperature", SCOPE_PLACE, FACTOR_PLACE, false},
    [FACTOR_VESSEL] = {"kind of vessel", SCOPE_VESSEL, FACTOR_VESSEL, true},
    [FACTOR_LID] = {"lid", SCOPE_VESSEL, FACTOR_LID, true},
    [FACTOR_BAG] = {"bag lot", SCOPE_VESSEL, FACTOR_BAG, true},
    [FACTOR_SPOT] = {"spot on the shelf", SCOPE_PLACE, FACTOR_SPOT, false},
    [FACTOR_SEQUENCE] = {"order of inoculation", SCOPE_SESSION, FACTOR_SEQUENCE, false},
    [FACTOR_GRAMS] = {"grams of grain", SCOPE_COOK, FACTOR_GRAMS, true},
    [FACTOR_CHANGE] = {"change", SCOPE_PLACE, FACTOR_CHANGE, false},
    [FACTOR_OTHER] = {"column", SCOPE_VESSEL, FACTOR_OTHER, false},
};

size_t dataset_factor(const struct dataset *dataset, enum factor_kind kind)
{
    size_t at = 0;
    while (at < dataset->factor_count && dataset->factors[at].kind != kind)
        at++;
    return at;
}

/* ---- words and their numbers -------------------------------------------------------------------- */

struct words { /* numbers are from 0, in order of appearance */
    const char **list;
    size_t count;
    uint32_t *slots; /* number + 1; 0 is free */
    size_t slot_count;
};

static uint32_t *slot_of(const struct words *words, const char *word, size_t length)
{
    size_t slot = (size_t)fnv_hash(FNV_START, word, length) & (words->slot_count - 1);
    while (words->slots[slot] != 0) {
        const char *there = words->list[words->slots[slot] - 1];
        if (strncmp(there, word, length) == 0 && there[length] == '\0')
            break;
        slot = (slot + 1) & (words->slot_count - 1);
    }
    return &words->slots[slot];
}

/* The number of a word; LEVEL_NONE for "". */
static uint32_t words_put(struct words *words, const char *word, size_t length, struct arena *arena)
{
    enum { FIRST = 8 };
    if (length == 0)
        return LEVEL_NONE;
    if (2 * words->count >= words->slot_count) { /* slots stay half empty */
        words->slot_count = words->slot_count > 0 ? 2 * words->slot_count : FIRST;
        words->slots = arena_array(arena, words->slot_count, sizeof *words->slots);
        for (size_t i = 0; i < words->count; i++)
            *slot_of(words, words->list[i], strlen(words->list[i])) = (uint32_t)i + 1;
    }
    uint32_t *slot = slot_of(words, word, length);
    if (*slot == 0) {
        *arena_push(arena, words->list, words->count) = arena_copy(arena, word, length);
        *slot = (uint32_t)words->count;
    }
    return *slot - 1;
}

/* ---- taking in ---------------------------------------------------------------------------------- */

enum { SHIFTED = 4 }; /* words of a column that may move causes, at most */

struct intake_column {
    struct factor factor; /* its kind, its name, what it moves */
    struct words words;
    uint32_t *level; /* of each vessel */
    double *numbers; /* of each vessel, of a column of numbers */
    struct stay *stays;
    uint32_t *first_stay;
    size_t stay_count;
    bool left_out, moved;
    double shifts[2 * SHIFTED]; /* summed up */
    size_t shifted[SHIFTED];
};

struct intake {
    struct arena *arena;
    struct dataset dataset;
    const char **remarks;
    struct intake_column *columns;
    size_t column_count;
};

struct intake *intake_new(int32_t today, struct arena *arena)
{
    struct intake *intake = arena_alloc(arena, sizeof *intake);
    *intake = (struct intake){.arena = arena, .dataset = {.today = today}};
    return intake;
}

static bool is_number(enum factor_kind kind)
{
    return kind == FACTOR_SEQUENCE || kind == FACTOR_GRAMS;
}

static bool is_place(enum factor_kind kind)
{
    return factor_kinds[kind].origin == FACTOR_PLACE;
}

size_t intake_column(struct intake *intake, enum factor_kind kind, const char *name)
{
    *arena_push(intake->arena, intake->columns, intake->column_count) = (struct intake_column){
        .factor = {.kind = kind, .name = name != NULL ? name : factor_kinds[kind].name}};
    return intake->column_count - 1;
}

/* A list with one more element. */
#define LONGER(list, count)                                                                        \
    ((list) = arena_more(intake->arena, list, count, sizeof *(list)), &(list)[count])

size_t intake_vessel(struct intake *intake, const struct intake_vessel *vessel)
{
    struct dataset *dataset = &intake->dataset;
    size_t at = dataset->vessel_count;
    *LONGER(dataset->labels, at) = vessel->label;
    *LONGER(dataset->fate, at) = vessel->fate;
    *LONGER(dataset->control, at) = vessel->control;
    *LONGER(dataset->entered, at) = vessel->entered;
    *LONGER(dataset->ended, at) = vessel->ended;
    for (size_t c = 0; c < intake->column_count; c++) {
        struct intake_column *column = &intake->columns[c];
        *LONGER(column->level, at) = LEVEL_NONE;
        if (is_number(column->factor.kind))
            *LONGER(column->numbers, at) = NAN;
        if (is_place(column->factor.kind)) {
            *LONGER(column->first_stay, at) = (uint32_t)column->stay_count;
            *arena_push(intake->arena, column->stays, column->stay_count) =
                (struct stay){LEVEL_NONE, 0};
        }
    }
    return dataset->vessel_count++;
}

void intake_word(struct intake *intake, size_t column, const char *word, size_t length)
{
    struct intake_column *to = &intake->columns[column];
    char *end = NULL;
    if (is_place(to->factor.kind)) {
        intake_stay(intake, column, word, length, 0);
    } else if (is_number(to->factor.kind)) {
        double number = strtod(word, &end);
        intake_number(intake, column, end > word ? number : NAN);
    } else {
        to->level[intake->dataset.vessel_count - 1] =
            words_put(&to->words, word, length, intake->arena);
    }
}

void intake_number(struct intake *intake, size_t column, double number)
{
    intake->columns[column].numbers[intake->dataset.vessel_count - 1] =
        isfinite(number) ? number : NAN;
}

void intake_stay(struct intake *intake, size_t column, const char *word, size_t length, int32_t age)
{
    struct intake_column *to = &intake->columns[column];
    uint32_t level = words_put(&to->words, word, length, intake->arena);
    if (age > to->stays[to->stay_count - 1].from) {
        *arena_push(intake->arena, to->stays, to->stay_count) = (struct stay){level, age};
        to->moved = true;
    } else {
        to->stays[to->stay_count - 1].level = level;
    }
    to->level[intake->dataset.vessel_count - 1] = level;
}

void intake_shift(struct intake *intake, size_t column, const enum moved_by moved[2],
                  const double shift[2])
{
    struct intake_column *to = &intake->columns[column];
    uint32_t level = to->level[intake->dataset.vessel_count - 1];
    if (level >= SHIFTED)
        return;
    for (size_t k = 0; k < 2; k++) {
        to->factor.moved[k] = moved[k];
        to->shifts[2 * (size_t)level + k] += shift[k];
    }
    to->shifted[level]++;
}

void intake_say(struct intake *intake, const char *format, ...)
{
    char words[256];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(words, sizeof words, format, arguments);
    va_end(arguments);
    *arena_push(intake->arena, intake->remarks, intake->dataset.remark_count) =
        arena_string(intake->arena, words);
}

void intake_leave_out_names(struct intake *intake)
{
    enum { FEW = 8 };
    for (size_t c = 0; c < intake->column_count; c++) {
        struct intake_column *column = &intake->columns[c];
        size_t values = column->words.count;
        column->left_out = values > FEW && values > intake->dataset.vessel_count / 2;
        if (column->left_out)
            intake_say(intake,
                       "Column '%s' is left out: nearly every vessel has a value of its own.",
                       column->factor.name);
    }
}

/* ---- columns to factors ------------------------------------------------------------------------- */

/* Appends a factor with the levels renumbered to those that some vessel has, in their order; nothing
 * when no vessel has any. Its levels of vessels and stays are overwritten and become the factor's. */
static void add_factor(struct factor *factors, size_t *count, struct factor factor, uint32_t *level,
                       struct stay *stays, size_t stay_count, size_t vessels, struct arena *arena)
{
    uint32_t *numbers = arena_array(arena, factor.level_count, sizeof *numbers), met = 0;
    const char **labels = arena_array(arena, factor.level_count, sizeof *labels);
    double *log_odds = NULL;

    if (factor.log_odds != NULL)
        log_odds = arena_array(arena, 2 * factor.level_count, sizeof *log_odds);
    for (size_t i = 0; i < vessels; i++)
        if (level[i] != LEVEL_NONE)
            numbers[level[i]] = 1;
    for (size_t s = 0; s < stay_count; s++)
        if (stays[s].level != LEVEL_NONE)
            numbers[stays[s].level] = 1;
    for (size_t l = 0; l < factor.level_count; l++) {
        if (numbers[l] == 0)
            continue;
        labels[met] = factor.levels[l];
        if (log_odds != NULL)
            memcpy(&log_odds[2 * (size_t)met], &factor.log_odds[2 * l], 2 * sizeof *log_odds);
        numbers[l] = met++;
    }
    if (met == 0)
        return;
    for (size_t i = 0; i < vessels; i++)
        if (level[i] != LEVEL_NONE)
            level[i] = numbers[level[i]];
    for (size_t s = 0; s < stay_count; s++)
        if (stays[s].level != LEVEL_NONE)
            stays[s].level = numbers[stays[s].level];
    factor.levels = labels;
    factor.level = level;
    factor.level_count = met;
    factor.log_odds = log_odds;
    factors[(*count)++] = factor;
}

static int by_number(const void *a, const void *b)
{
    double first = *(const double *)a, second = *(const double *)b;
    return (first > second) - (first < second);
}

/* Makes levels of the numbers of a column: thirds. */
static void cut_in_thirds(struct intake_column *column, size_t vessels, struct arena *arena)
{
    enum { THIRDS = 3 };
    double *sorted = arena_array(arena, vessels, sizeof *sorted);
    double highest[THIRDS] = {0.0}; /* of each third */
    const char *labels[THIRDS];
    size_t known = 0, from = 0;
    for (size_t i = 0; i < vessels; i++)
        if (!isnan(column->numbers[i]))
            sorted[known++] = column->numbers[i];
    if (known < THIRDS)
        return;
    qsort(sorted, known, sizeof *sorted, by_number);
    for (size_t third = 0; third < THIRDS; third++) {
        highest[third] = sorted[known * (third + 1) / THIRDS - 1];
        bool one = sorted[from] >= highest[third];
        labels[third] = one ? arena_format(arena, "%.6g", highest[third])
                            : arena_format(arena, "%.6g to %.6g", sorted[from], highest[third]);
        while (from + 1 < known && sorted[from] <= highest[third])
            from++;
    }
    if (highest[0] >= highest[THIRDS - 1])
        return; /* nearly all are alike */
    for (size_t third = 0; third < THIRDS; third++)
        *arena_push(arena, column->words.list, column->words.count) = labels[third];
    for (size_t i = 0; i < vessels; i++)
        for (uint32_t third = THIRDS; third-- > 0;)
            if (column->numbers[i] <= highest[third])
                column->level[i] = third;
}

static void finish_column(struct intake *intake, struct intake_column *column,
                          struct factor *factors)
{
    struct dataset *dataset = &intake->dataset;
    struct factor factor = column->factor;
    if (is_number(factor.kind))
        cut_in_thirds(column, dataset->vessel_count, intake->arena);
    factor.levels = column->words.list;
    factor.level_count = column->words.count;
    if (column->moved) {
        *LONGER(column->first_stay, dataset->vessel_count) = (uint32_t)column->stay_count;
        factor.stays = column->stays;
        factor.first_stay = column->first_stay;
    }
    for (size_t l = 0; l < SHIFTED && column->shifted[l] > 0; l++)
        for (size_t k = 2 * l; k < 2 * l + 2; k++)
            column->shifts[k] /= (double)column->shifted[l];
    if (factor.moved[0] != MOVED_NONE)
        factor.log_odds = column->shifts;
    add_factor(factors, &dataset->factor_count, factor, column->level, column->stays,
               column->moved ? column->stay_count : 0, dataset->vessel_count, intake->arena);
}

static void remark_days(struct intake *intake)
{
    const struct dataset *dataset = &intake->dataset;
    size_t future = 0, backwards = 0, undated = 0;
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        int32_t entered = dataset->entered[i], ended = dataset->ended[i];
        undated += entered == DAY_NONE;
        future += entered > dataset->today || ended > dataset->today;
        backwards += entered != DAY_NONE && ended != DAY_NONE && ended < entered;
    }
    if (future > 0)
        intake_say(intake, "%zu %s a date in the future: left out of all that goes by time.",
                   future, future == 1 ? "vessel has" : "vessels have");
    if (backwards > 0)
        intake_say(intake,
                   "%zu %s before the day of inoculation: left out of all that goes by time.",
                   backwards, backwards == 1 ? "vessel ended" : "vessels ended");
    if (undated > 0 && undated < dataset->vessel_count)
        intake_say(intake, "%zu %s no day of inoculation: left out of all that goes by time.",
                   undated, undated == 1 ? "vessel has" : "vessels have");
}

struct dataset intake_finish(struct intake *intake)
{
    struct dataset *dataset = &intake->dataset;
    struct factor *factors = arena_array(intake->arena, intake->column_count, sizeof *factors);
    for (size_t c = 0; c < intake->column_count; c++)
        if (!intake->columns[c].left_out)
            finish_column(intake, &intake->columns[c], factors);
    dataset->factors = factors;
    dataset->batch = dataset_factor(dataset, FACTOR_BATCH);
    remark_days(intake);
    dataset->remarks = intake->remarks;
    return *dataset;
}

/* ---- dated changes ------------------------------------------------------------------------------ */

struct change {
    const char *words; /* what happened */
    int32_t day;
};

/* Behind the next word. */
static const char *past_word(const char *at)
{
    at += strspn(at, " ");
    return at + strcspn(at, " ");
}

/* The length without marks and white space at the end, nor words that lead up to a date. */
static size_t trimmed(const char *words, size_t length)
{
    while (length > 0) {
        size_t word = 0;
        while (word < length && words[length - 1 - word] != ' ')
            word++;
        if (strchr(" \t,.:;()-", words[length - 1]) != NULL)
            length--;
        else if (csv_named("on|since|from|at|the", &words[length - word], word) >= 0)
            length -= word;
        else
            break;
    }
    return length;
}

/* Finds the date in a clause: up to three words, one figure in them. "3 days ago" depends on when it was
 * written, and is none. */
static bool read_change(const char *clause, struct moment now, struct arena *arena,
                        struct change *change)
{
    for (const char *at = clause + strspn(clause, " ("); *at != '\0';
         at = past_word(at) + strspn(past_word(at), " (")) {
        const char *ends[] = {past_word(at), past_word(past_word(at)),
                              past_word(past_word(past_word(at)))};
        for (size_t n = sizeof ends / sizeof *ends; n-- > 0;) {
            const char *text = arena_copy(arena, at, trimmed(at, (size_t)(ends[n] - at)));
            struct moment moment;
            if (text[strcspn(text, "0123456789")] == '\0' || strchr(text, ':') != NULL ||
                strstr(text, "ago") != NULL || !moment_read(text, now, &moment))
                continue;
            const char *after = ends[n] + strspn(ends[n], " ,.:;)-");
            size_t before = trimmed(clause, (size_t)(at - clause));
            change->day = (int32_t)moment_day(moment);
            change->words = arena_format(arena, "%.*s%s%s", (int)before, clause,
                                         before > 0 && *after != '\0' ? " " : "", after);
            return true;
        }
    }
    return false;
}

/* The days of a vessel before and since, each where it stood; appended to `stays`. */
static void add_sides(const struct dataset *dataset, size_t vessel, int32_t day, uint32_t place,
                      struct arena *arena, struct stay **stays, size_t *count)
{
    enum { BEFORE, SINCE };
    size_t f = dataset_factor(dataset, FACTOR_PLACE);
    const struct factor *places = f < dataset->factor_count ? &dataset->factors[f] : NULL;
    const struct stay always = {places != NULL ? places->level[vessel] : LEVEL_NONE, 0};
    const struct stay *there = &always, *end = there + 1;
    int32_t entered = dataset->entered[vessel], ended = dataset->ended[vessel];
    if (ended == DAY_NONE)
        ended = dataset->today;
    if (place != LEVEL_NONE && places != NULL && places->stays != NULL) {
        there = &places->stays[places->first_stay[vessel]];
        end = &places->stays[places->first_stay[vessel + 1]];
    }
    for (; there < end; there++) {
        bool here = entered != DAY_NONE && (place == LEVEL_NONE || there->level == place);
        int64_t age = (int64_t)day - entered;
        *arena_push(arena, *stays, *count) = (struct stay){!here                ? LEVEL_NONE
                                                           : age <= there->from ? SINCE
                                                                                : BEFORE,
                                                           there->from};
        if (here && age > there->from && day < ended && (there + 1 == end || age < there[1].from))
            *arena_push(arena, *stays, *count) = (struct stay){SINCE, (int32_t)age};
    }
}

static bool add_change(struct dataset *dataset, const struct change *change, uint32_t place,
                       struct arena *arena)
{
    char day[MOMENT_ROOM];
    struct factor factor = {.kind = FACTOR_CHANGE, .name = factor_kinds[FACTOR_CHANGE].name};
    uint32_t *level = arena_array(arena, dataset->vessel_count, sizeof *level);
    uint32_t *first = arena_array(arena, dataset->vessel_count + 1, sizeof *first);
    const char **labels = arena_array(arena, 2, sizeof *labels);
    struct stay *stays = NULL;
    size_t count = 0, kept = 0;
    struct factor *factors = arena_array(arena, dataset->factor_count + 1, sizeof *factors);

    day_write(change->day, DAY_WORDS, day);
    for (int side = 0; side < 2; side++)
        labels[side] =
            arena_format(arena, "%s %s%s%s (%s)", side > 0 ? "since" : "before", day,
                         place != LEVEL_NONE ? ", in " : "",
                         place != LEVEL_NONE
                             ? dataset->factors[dataset_factor(dataset, FACTOR_PLACE)].levels[place]
                             : "",
                         change->words);
    for (; kept < dataset->factor_count; kept++) {
        factors[kept] = dataset->factors[kept];
        if (factors[kept].kind == FACTOR_CHANGE && strcmp(factors[kept].levels[1], labels[1]) == 0)
            return false;
    }
    for (size_t i = 0; i < dataset->vessel_count; i++) {
        add_sides(dataset, i, change->day, place, arena, &stays, &count);
        first[i + 1] = (uint32_t)count;
        level[i] = stays[count - 1].level;
    }
    factor.levels = labels;
    factor.level_count = 2;
    factor.stays = stays;
    factor.first_stay = first;
    add_factor(factors, &kept, factor, level, stays, count, dataset->vessel_count, arena);
    if (kept == dataset->factor_count || factors[kept - 1].level_count < 2)
        return false;
    dataset->factors = factors;
    dataset->factor_count = kept;
    return true;
}

size_t dataset_add_changes(struct dataset *dataset, const char *words, uint32_t place,
                           struct arena *arena)
{
    enum { MOST = 8 };
    struct moment now = moment_of_day(dataset->today);
    size_t added = 0, there = 0;
    for (size_t f = 0; f < dataset->factor_count; f++)
        there += dataset->factors[f].kind == FACTOR_CHANGE;
    for (const char *at = words; *at != '\0' && there + added < MOST;) {
        size_t length = strcspn(at, ";\n");
        struct change change;
        if (read_change(arena_copy(arena, at, length), now, arena, &change) &&
            change.words[0] != '\0')
            added += add_change(dataset, &change, place, arena);
        at += length + (at[length] != '\0');
    }
    return added;
}

/* ---- one level alone ---------------------------------------------------------------------------- */

static void *keep(const void *all, size_t size, const size_t *kept, size_t count,
                  struct arena *arena)
{
    char *some = all != NULL ? arena_array(arena, count, size) : NULL;
    for (size_t i = 0; some != NULL && i < count; i++)
        memcpy(some + i * size, (const char *)all + kept[i] * size, size);
    return some;
}

void dataset_only(struct dataset *dataset, size_t factor, uint32_t level, struct arena *arena)
{
    const uint32_t *of = dataset->factors[factor].level;
    size_t *kept = arena_array(arena, dataset->vessel_count, sizeof *kept), count = 0, added = 0;
    struct factor *factors = arena_array(arena, dataset->factor_count, sizeof *factors);
    for (size_t i = 0; i < dataset->vessel_count; i++)
        if (of[i] == level)
            kept[count++] = i;
    for (size_t f = 0; f < dataset->factor_count; f++) {
        struct factor some = dataset->factors[f];
        uint32_t *first = arena_array(arena, count + 1, sizeof *first);
        struct stay *stays = NULL;
        size_t stay_count = 0;
        for (size_t i = 0; some.stays != NULL && i < count; i++) {
            for (uint32_t s = some.first_stay[kept[i]]; s < some.first_stay[kept[i] + 1]; s++)
                *arena_push(arena, stays, stay_count) = some.stays[s];
            first[i + 1] = (uint32_t)stay_count;
        }
        uint32_t *levels = keep(some.level, sizeof *levels, kept, count, arena);
        some.stays = stays;
        some.first_stay = stays != NULL ? first : NULL;
        add_factor(factors, &added, some, levels, stays, stay_count, count, arena);
    }
    dataset->factors = factors;
    dataset->factor_count = added;
    dataset->batch = dataset_factor(dataset, FACTOR_BATCH);
#define KEEP(member)                                                                               \
    dataset->member = keep(dataset->member, sizeof *dataset->member, kept, count, arena)
    KEEP(labels);
    KEEP(fate);
    KEEP(control);
    KEEP(entered);
    KEEP(ended);
    KEEP(finding);
    KEEP(sure);
    KEEP(seen);
#undef KEEP
    dataset->vessel_count = count;
}
