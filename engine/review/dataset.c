/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/dataset.h"

#include <ctype.h>
#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/csv.h"
#include "base/dates.h"
#include "base/memory.h"
#include "journal/consult.h"
#include "journal/exchange.h"
#include "journal/sql.h"
#include "process/cook.h"
#include "process/moisture.h"
#include "rules/load.h"
#include "triage/physics.h"
#include "triage/triage.h"

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

/* The number of a word, from 0 in order of appearance; LEVEL_NONE for "". */
static uint32_t words_put(struct names *words, const char *word, struct arena *arena)
{
    size_t number;
    if (word[0] == '\0')
        return LEVEL_NONE;
    if (names_add(words, word, arena, &number))
        words->list[number] = arena_string(arena, word);
    return (uint32_t)number;
}

/* ---- taking in ---------------------------------------------------------------------------------- */

enum { SHIFTED = 4 }; /* words of a column that may move causes, at most */

struct intake_column {
    struct factor factor; /* its kind, its name, what it moves */
    struct names words;
    uint32_t *level; /* of each vessel */
    double *numbers; /* of each vessel, of a column of numbers */
    struct stay *stays;
    uint32_t *first_stay;
    size_t stay_count;
    bool left_out, moved;
    double shifts[2 * SHIFTED]; /* summed up */
    size_t shifted[SHIFTED];
    const char *figures[SHIFTED]; /* NULL for none */
};

struct intake {
    struct arena *arena;
    struct dataset dataset;
    const char **remarks;
    struct intake_column *columns;
    size_t column_count;
};

static bool is_number(enum factor_kind kind)
{
    return kind == FACTOR_SEQUENCE || kind == FACTOR_GRAMS;
}

static bool is_place(enum factor_kind kind)
{
    return factor_kinds[kind].origin == FACTOR_PLACE;
}

static size_t intake_column(struct intake *intake, enum factor_kind kind, const char *name)
{
    *arena_push(intake->arena, intake->columns, intake->column_count) = (struct intake_column){
        .factor = {.kind = kind, .name = name != NULL ? name : factor_kinds[kind].name}};
    return intake->column_count - 1;
}

/* A list with one more element. */
#define LONGER(list, count)                                                                        \
    ((list) = arena_more(intake->arena, list, count, sizeof *(list)), &(list)[count])

struct intake_vessel {
    const char *label;
    uint8_t fate;
    bool control;
    int32_t entered, ended;
};

/* The next vessel; nothing is known of its columns yet. Its index. */
static size_t intake_vessel(struct intake *intake, const struct intake_vessel *vessel)
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

/* What the newest vessel has: NAN for nothing. */
static void intake_number(struct intake *intake, size_t column, double number)
{
    intake->columns[column].numbers[intake->dataset.vessel_count - 1] =
        isfinite(number) ? number : NAN;
}

/* A further place of the newest vessel, from some day of age on, 0 for the first. */
static void intake_stay(struct intake *intake, size_t column, const char *word, int32_t age)
{
    struct intake_column *to = &intake->columns[column];
    uint32_t level = words_put(&to->words, word, intake->arena);
    if (age > to->stays[to->stay_count - 1].from) {
        *arena_push(intake->arena, to->stays, to->stay_count) = (struct stay){level, age};
        to->moved = true;
    } else {
        to->stays[to->stay_count - 1].level = level;
    }
    to->level[intake->dataset.vessel_count - 1] = level;
}

/* A word that the newest vessel has ("": not known), which may be a number in text. */
static void intake_word(struct intake *intake, size_t column, const char *word)
{
    struct intake_column *to = &intake->columns[column];
    char *end = NULL;
    if (is_number(to->factor.kind)) {
        double number = strtod(word, &end);
        intake_number(intake, column, end > word ? number : NAN);
    } else {
        to->level[intake->dataset.vessel_count - 1] = words_put(&to->words, word, intake->arena);
    }
}

/* How the word that the newest vessel has moves causes, natural log of the odds; and the figures
 * behind it, or NULL, each once. */
static void intake_shift(struct intake *intake, size_t column, const enum moved_by moved[2],
                         const double shift[2], const char *figures)
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
    if (figures == NULL)
        return;
    if (to->figures[level] == NULL)
        to->figures[level] = "";
    if (strstr(to->figures[level], figures) == NULL)
        arena_append(intake->arena, &to->figures[level], "; ", "%s", figures);
    to->factor.figures = to->figures;
}

/* Adds a remark: a sentence. */
#define intake_say(intake, ...)                                                                    \
    (*arena_push((intake)->arena, (intake)->remarks, (intake)->dataset.remark_count) =             \
         arena_format((intake)->arena, __VA_ARGS__))

/* Leaves out, with a remark, columns of more distinct words than half the vessels. */
static void intake_leave_out_names(struct intake *intake)
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
    gsl_sort(sorted, 1, known);
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

/* Of columns that some vessel has. */
static void finish_column(struct intake *intake, struct intake_column *column,
                          struct factor *factors)
{
    struct dataset *dataset = &intake->dataset;
    struct factor *factor = &column->factor;
    if (is_number(factor->kind))
        cut_in_thirds(column, dataset->vessel_count, intake->arena);
    if (column->words.count == 0)
        return;
    factor->level = column->level;
    factor->levels = column->words.list;
    factor->level_count = column->words.count;
    if (column->moved) {
        *LONGER(column->first_stay, dataset->vessel_count) = (uint32_t)column->stay_count;
        factor->stays = column->stays;
        factor->first_stay = column->first_stay;
    }
    for (size_t l = 0; l < SHIFTED && column->shifted[l] > 0; l++)
        for (size_t k = 2 * l; k < 2 * l + 2; k++)
            column->shifts[k] /= (double)column->shifted[l];
    if (factor->moved[0] != MOVED_NONE)
        factor->log_odds = column->shifts;
    factors[dataset->factor_count++] = *factor;
}

/* "3 vessels have" and what follows, where there is one. */
static void say_count(struct intake *intake, size_t count, const char *one, const char *many,
                      const char *what)
{
    if (count > 0)
        intake_say(intake, "%zu %s%s", count, count == 1 ? one : many, what);
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
    say_count(intake, future, "vessel has", "vessels have",
              " a date in the future: left out of all that goes by time.");
    say_count(intake, backwards, "vessel ended", "vessels ended",
              " before the day of inoculation: left out of all that goes by time.");
    say_count(intake, undated < dataset->vessel_count ? undated : 0, "vessel has", "vessels have",
              " no day of inoculation: left out of all that goes by time.");
}

/* Factors of the columns that some vessel has, in their order, and remarks on odd days. */
static struct dataset intake_finish(struct intake *intake)
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

/* Where the next word ends. */
static const char *past_word(const char *at)
{
    at += strspn(at, " ");
    return at + strcspn(at, " ");
}

/* The length without marks and white space at the end, nor words that lead up to a date. */
static size_t without_lead(const char *words, size_t length)
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

/* Finds the date in a clause: up to three words, one figure in them. "3 days ago" depends on when
 * it was written, and is none. */
static bool read_change(const char *clause, struct moment now, struct arena *arena,
                        struct change *change)
{
    for (const char *at = clause + strspn(clause, " ("); *at != '\0';
         at = past_word(at) + strspn(past_word(at), " (")) {
        const char *ends[] = {past_word(at), past_word(past_word(at)),
                              past_word(past_word(past_word(at)))};
        for (size_t n = sizeof ends / sizeof *ends; n-- > 0;) {
            const char *text = arena_copy(arena, at, without_lead(at, (size_t)(ends[n] - at)));
            struct moment moment;
            if (text[strcspn(text, "0123456789")] == '\0' || strchr(text, ':') != NULL ||
                strstr(text, "ago") != NULL || !moment_read(text, now, &moment))
                continue;
            const char *after = ends[n] + strspn(ends[n], " ,.:;)-");
            size_t before = without_lead(clause, (size_t)(at - clause));
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
    bool met[2] = {false, false};
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
    for (size_t k = 0; k < count; k++)
        if (stays[k].level != LEVEL_NONE)
            met[stays[k].level] = true;
    if (!met[0] || !met[1])
        return false;
    factor.levels = labels;
    factor.level_count = 2;
    factor.level = level;
    factor.stays = stays;
    factor.first_stay = first;
    factors[kept++] = factor;
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

/* ---- a grower's own table of one row per vessel -------------------------------------------------- */

enum { MOST_COLUMNS = 256 };

enum { /* what a column means that is no factor, after the kinds of these */
       USE_LABEL = FACTOR_KINDS,
       USE_FATE,
       USE_ENTERED,
       USE_ENDED,
       USE_CONTROL,
       USE_NOTHING
};

struct column_read {
    int use;         /* an enum factor_kind, or one of these */
    uint8_t yes, no; /* of a fate: what "yes" and "no" mean in such a column */
    const char *name;
    size_t column; /* of a factor: of the intake */
};

struct strange { /* values that say nothing */
    size_t count;
    const char *first;
};

struct table {
    const struct rules *rules; /* NULL: nothing is known of what they call results */
    struct dataset_wanted wanted;
    struct arena *arena;
    struct diags *diags;
    struct intake *intake;
    struct column_read columns[MOST_COLUMNS];
    size_t column_count; /* 0 until the first row was read */
    size_t count;        /* of rows */
    size_t fate_column;  /* the first that says what became of it; MOST_COLUMNS */
    size_t batch_column; /* the first that is the batch; MOST_COLUMNS */
    struct strange fates, days;
    size_t short_rows;
};

/* ---- words ----------------------------------------------------------------------------------- */

static bool is_among(const char *word, const char *names)
{
    return csv_named(names, word, strlen(word)) >= 0;
}

/* What a column of that name is. */
static struct column_read column_named(const char *name)
{
    static const struct {
        const char *names;
        struct column_read column;
    } roles[] = {
        {"vessel|label|name|id|jar|bag", {.use = USE_LABEL}},
        {"lost|bad|failed", {.use = USE_FATE, .yes = FATE_UNTOLD, .no = FATE_SOUND}},
        {"contaminated|contam", {.use = USE_FATE, .yes = FATE_CONTAMINATED, .no = FATE_SOUND}},
        {"ok|good", {.use = USE_FATE, .yes = FATE_SOUND, .no = FATE_UNTOLD}},
        {"clean", {.use = USE_FATE, .yes = FATE_SOUND, .no = FATE_CONTAMINATED}},
        {"fate|outcome|result|status|what happened|what became of it",
         {.use = USE_FATE, .yes = FATE_COUNT, .no = FATE_COUNT}},
        {"begun|started|inoculated|made|date|at", {.use = USE_ENTERED}},
        {"ended|lost on|used on|discarded on", {.use = USE_ENDED}},
        {"control|uninoculated", {.use = USE_CONTROL}},
        {"cook", {.use = FACTOR_COOK}},
        {"starter|culture", {.use = FACTOR_STARTER}},
        {"session|sitting", {.use = FACTOR_SESSION}},
        {"place|shelf", {.use = FACTOR_PLACE}},
        {"lot|grain lot|sack", {.use = FACTOR_LOT}},
        {"batch|mix", {.use = FACTOR_BATCH}},
        {"position", {.use = FACTOR_POSITION}},
        {"kind|vessel kind", {.use = FACTOR_VESSEL}},
        {"lid|lids|closure", {.use = FACTOR_LID}},
        {"bag lot|bags|jar lot", {.use = FACTOR_BAG}},
        {"spot|spot on the shelf|shelf spot", {.use = FACTOR_SPOT}},
        {"sequence|order|order of inoculation", {.use = FACTOR_SEQUENCE}},
        {"grams|weight|grain weight|grams of grain", {.use = FACTOR_GRAMS}},
        {"note|notes", {.use = USE_NOTHING}},
    };
    char plain[64];
    snprintf(plain, sizeof plain, "%s", name);
    for (char *at = plain; *at != '\0'; at++)
        if (*at == '_' || *at == '-')
            *at = ' ';
    plain[strcspn(plain, "?")] = '\0'; /* "Lost?" */
    for (size_t i = 0; i < sizeof roles / sizeof *roles; i++)
        if (is_among(plain, roles[i].names))
            return roles[i].column;
    return (struct column_read){.use = FACTOR_OTHER};
}

static bool is_yes(const char *word)
{
    return is_among(word, "yes|y|true|1|x");
}

/* What the rules make of the words of a result, "gone green". */
static enum fate fate_told(const struct table *table, const char *word)
{
    struct result result;
    const char *folded = fold_trimmed(table->arena, word);
    if (table->rules == NULL)
        return FATE_COUNT;
    if (rules_lists(table->rules, "sheet_lost", folded, strlen(folded))) /* "green" alone */
        return FATE_CONTAMINATED;
    if (!result_of_words(table->rules, folded, &result))
        return FATE_COUNT;
    if ((result.finding != NULL && result.finding->status == FINDING_CONTAMINATED) ||
        result.because == BECAUSE_CONTAMINATED)
        return FATE_CONTAMINATED;
    if (result.because == BECAUSE_STUCK)
        return FATE_STUCK;
    if (result.used || result.because == BECAUSE_SOLD || result.because == BECAUSE_GIVEN)
        return FATE_SOUND;
    return result_is_gone(&result) ? FATE_UNTOLD : result.growing ? FATE_OPEN : FATE_COUNT;
}

/* FATE_COUNT when the word says nothing about a fate. */
static uint8_t fate_of(const struct table *table, const struct column_read *column,
                       const char *word)
{
    static const struct {
        const char *words;
        enum fate fate;
    } known[] = {
        {"lost|bad|failed|discarded|dead|untold", FATE_UNTOLD},
        {"contaminated|contam", FATE_CONTAMINATED},
        {"stuck|stalled", FATE_STUCK},
        {"ok|okay|fine|good|clean|sound|used|healthy", FATE_SOUND},
        {"open|growing|isolated|waiting", FATE_OPEN},
    };
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (is_among(word, known[i].words))
            return (uint8_t)known[i].fate;
    return is_yes(word)                     ? column->yes
           : is_among(word, "no|n|false|0") ? column->no
                                            : (uint8_t)fate_told(table, word);
}

/* An ISO 8601 date, whatever time of day stands after it; or one as the grower writes them. */
static int32_t day_of(const char *word)
{
    int64_t day;
    struct moment moment;
    const char *end = day_read(word, &day);
    if (end != NULL && (*end == '\0' || *end == 'T' || *end == ' '))
        return (int32_t)day;
    return moment_read_in(word, dates_usual(), &moment) ? (int32_t)moment_day(moment) : DAY_NONE;
}

/* ---- rows ------------------------------------------------------------------------------------ */

static enum status read_header(struct table *table, const struct csv_row *row)
{
    if (row->count > MOST_COLUMNS)
        return diags_fail(table->diags, STATUS_DATA, csv_at(row, MOST_COLUMNS),
                          "more than %d columns; leave out what the vessels do not share",
                          MOST_COLUMNS);
    TEXT(names);
    for (size_t c = 0; c < row->count; c++) {
        struct column_read *column = &table->columns[c];
        const char *name =
            text_safe_copy(table->arena, row->fields[c].text, row->fields[c].length, 60);
        *column = column_named(name);
        column->name = name;
        if (column->use == USE_FATE && table->fate_column == MOST_COLUMNS)
            table->fate_column = c;
        else if (column->use == USE_FATE) /* the first one counts */
            column->use = USE_NOTHING;
        else if (column->use == FACTOR_BATCH && table->batch_column == MOST_COLUMNS)
            table->batch_column = c;
        if (name[0] == '\0')
            column->use = USE_NOTHING;
        if (column->use < FACTOR_KINDS)
            column->column = intake_column(table->intake, (enum factor_kind)column->use,
                                           column->use == FACTOR_OTHER ? name : NULL);
        if (names.length < 200)
            text_printf(&names, "%s%s", c > 0 ? ", " : "", column->name);
    }
    table->column_count = row->count;
    if (table->fate_column == MOST_COLUMNS)
        diags_error(table->diags, (struct position){row->file, 1, 1},
                    "no column says what became of each vessel; name one 'lost' (yes, no) or "
                    "'fate' (lost, ok). Found: %s",
                    names.bytes);
    return table->fate_column != MOST_COLUMNS ? STATUS_OK : STATUS_DATA;
}

static void note_strange(struct table *table, struct strange *strange, const char *word)
{
    if (word[0] != '\0' && strange->count++ == 0)
        strange->first = text_safe_copy(table->arena, word, strlen(word), 30);
}

/* "incubator; 2026-03-11 shelf": one place after the other, each with the day it was moved there. A
 * move without a day, or of a vessel that began on no known day, is as if it had always stood
 * there. */
static void take_places(struct table *table, size_t column, const char *text, int32_t entered)
{
    for (const char *at = text; *at != '\0';) {
        const char *end = at + strcspn(at, ";"), *name = at + strspn(at, " \t");
        int64_t day;
        const char *after = day_read(name, &day);
        bool dated = after != NULL && after < end && *after == ' ';
        name = dated ? after + strspn(after, " \t") : name;
        size_t length = name < end ? (size_t)(end - name) : 0;
        while (length > 0 && strchr(" \t\r\n", name[length - 1]) != NULL)
            length--;
        bool later = at > text && dated && entered != DAY_NONE && day > entered;
        if (length > 0)
            intake_stay(table->intake, column, arena_copy(table->arena, name, length),
                        later ? (int32_t)day - entered : 0);
        at = *end == ';' ? end + 1 : end;
    }
}

static void read_day(struct table *table, const char *word, int32_t *day)
{
    *day = day_of(word);
    if (*day == DAY_NONE)
        note_strange(table, &table->days, word);
}

/* What is not a factor. */
static void read_cell(struct table *table, const struct column_read *column, const char *word,
                      struct intake_vessel *vessel)
{
    switch (column->use) {
    case USE_LABEL:
        vessel->label = arena_string(table->arena, word);
        break;
    case USE_FATE:
        vessel->fate = fate_of(table, column, word);
        if (vessel->fate == FATE_COUNT)
            note_strange(table, &table->fates, word);
        break;
    case USE_ENTERED:
        read_day(table, word, &vessel->entered);
        break;
    case USE_ENDED:
        read_day(table, word, &vessel->ended);
        break;
    case USE_CONTROL:
        vessel->control = is_yes(word);
        break;
    default:
        break;
    }
}

static bool is_wanted(const struct table *table, const struct csv_row *fields)
{
    const char *batches = table->wanted.batches;
    const struct csv_field *batch = &fields->fields[table->batch_column];
    return batches == NULL || (table->batch_column < fields->count && batch->length > 0 &&
                               is_among(batch->text, batches));
}

static enum status take_row(void *context, const struct csv_row *fields)
{
    struct table *table = context;
    struct intake_vessel vessel = {
        .label = "", .fate = FATE_COUNT, .entered = DAY_NONE, .ended = DAY_NONE};
    if (table->column_count == 0)
        return read_header(table, fields);
    if (fields->count > table->column_count)
        return diags_fail(
            table->diags, STATUS_DATA, csv_at(fields, table->column_count),
            "more fields than the %zu columns of the first line; is a comma missing its "
            "quotes?",
            table->column_count);
    if (!is_wanted(table, fields))
        return STATUS_OK;
    for (size_t c = 0; c < fields->count; c++)
        read_cell(table, &table->columns[c], fields->fields[c].text, &vessel);
    table->short_rows += fields->count < table->column_count;
    if (table->wanted.since != DAY_NONE && vessel.entered < table->wanted.since)
        return STATUS_OK;
    table->count = intake_vessel(table->intake, &vessel) + 1;
    for (size_t c = 0; c < fields->count; c++) {
        const struct column_read *column = &table->columns[c];
        if (column->use == FACTOR_PLACE)
            take_places(table, column->column, fields->fields[c].text, vessel.entered);
        else if (column->use < FACTOR_KINDS)
            intake_word(table->intake, column->column, fields->fields[c].text);
    }
    return STATUS_OK;
}

/* ---- what was read --------------------------------------------------------------------------- */

static void remark_strange(const struct table *table)
{
    if (table->fates.count > 0)
        intake_say(table->intake,
                   "In %zu %s column '%s' says neither lost nor ok (the first: '%s'): left out.",
                   table->fates.count, table->fates.count == 1 ? "row" : "rows",
                   table->columns[table->fate_column].name, table->fates.first);
    if (table->days.count > 0)
        intake_say(table->intake,
                   "%zu %s no day (the first: '%s'); write 2026-03-01, or say how you "
                   "write them: jarside config dates=day/month/year.",
                   table->days.count, table->days.count == 1 ? "date is" : "dates are",
                   table->days.first);
    say_count(table->intake, table->short_rows, "row has", "rows have",
              " fewer fields than the first line: what is missing counts as not known.");
}

enum status dataset_from_table(const char *file, FILE *stream, const struct rules *rules,
                               const struct dataset_wanted *wanted, struct arena *arena,
                               struct dataset *dataset, struct diags *diags)
{
    struct table *table = arena_alloc(arena, sizeof *table);
    *table = (struct table){
        .rules = rules,
        .wanted = *wanted,
        .arena = arena,
        .diags = diags,
        .intake = &(struct intake){.arena = arena, .dataset = {.today = wanted->today}},
        .fate_column = MOST_COLUMNS,
        .batch_column = MOST_COLUMNS};
    const struct csv_table csv = {
        .file = file, .longest = 4096, .trimmed = true, .context = table, .row = take_row};
    *dataset = (struct dataset){.today = wanted->today};
    enum status status = csv_read(&csv, stream, NULL, diags);
    if (status != STATUS_OK)
        return status;
    if (table->column_count == 0)
        return diags_fail(diags, STATUS_DATA, (struct position){file, 0, 0},
                          "this is empty; a table begins with a line that names its columns");
    /* Not one row was understood: then it is not a matter of a few. */
    if (table->count > 0 && table->fates.count >= table->count)
        return diags_fail(
            diags, STATUS_DATA, (struct position){file, 2, 0},
            "column '%s' says neither lost nor ok in any row (the first: '%s'); write lost "
            "or ok, yes or no",
            table->columns[table->fate_column].name, table->fates.first);
    intake_leave_out_names(table->intake);
    remark_strange(table);
    *dataset = intake_finish(table->intake);
    return STATUS_OK;
}

/* ==== the vessels of a journal ================================================================ */

struct filling { /* a dataset while it is filled */
    struct journal *journal;
    const struct rules *rules;
    struct intake *intake;
    size_t columns[FACTOR_KINDS];
    struct cook_memo *cooks;
    struct arena *scratch; /* of one vessel */
    struct arena *shared;  /* of a batch: what follows */
    struct batch batch;
    struct sources from;
    const char *parent, *line; /* of its starter; "" for none */
};

/* ---- bands ----------------------------------------------------------------------------------- */

/* What process/ makes of the figures in a record, coarse enough that several cooks, mixes or
 * shelves share one; nothing where the figures do not tell. */

static void put(const struct filling *filling, enum factor_kind kind, const char *word)
{
    intake_word(filling->intake, filling->columns[kind], word);
}

/* A band, and the chances of up to two computations, which move the causes they bear on
 * (rules/rules.h, struct move); `figures`: what was not enough and what would be, or NULL. */
static void put_band(const struct filling *filling, enum factor_kind kind, const char *band,
                     const enum moved_by moved[2], const double chances[2], const char *figures)
{
    double moves[2] = {0.0, 0.0};
    for (size_t k = 0; k < 2 && moved[k] != MOVED_NONE; k++) {
        const struct move *move = &filling->rules->moves[moved[k]];
        moves[k] = physics_shift(move, move->trust, chances[k]);
    }
    put(filling, kind, band);
    intake_shift(filling->intake, filling->columns[kind], moved, moves, figures);
}

/* Growers cook the same way again and again: computed ones are remembered. */
static void put_cook(const struct filling *filling, const struct vessel *vessel)
{
    static const char *const bands[] = {[COOK_ADEQUATE] = "adequate",
                                        [COOK_MARGINAL] = "marginal",
                                        [COOK_NOT_ENOUGH] = "not enough"};
    static const enum moved_by by[2] = {MOVED_SURVIVORS, MOVED_NONE};
    const struct rules *rules = filling->rules;
    const struct cook *cook = &filling->from.cook;
    const char *figures = NULL;
    struct cook_result result;
    struct known_cook known;
    if (isnan(cook->gauge) || isnan(cook->minutes))
        return;
    vessel_cook_of(rules, cook, rules_vessel(rules, vessel->kind), vessel->grams,
                   rules_grain(rules, filling->from.lot.grain), &known);
    if (physics_cooked(filling->cooks, rules, &known, &result, NULL, NULL, NULL) != PHYSICS_OK)
        return;
    if (result.verdict != COOK_ADEQUATE && isfinite(result.minutes_needed.central)) {
        const int kind = known.vessel.kind;
        char *name =
            arena_string(filling->scratch, kind >= 0 ? rules->vessels[kind].name : "vessel");
        name[0] = (char)tolower((unsigned char)name[0]);
        figures = arena_format(filling->scratch, "cook %s had %.0f minutes and a %s takes %.0f",
                               cook->label, cook->minutes, name, result.minutes_needed.central);
    }
    put_band(filling, FACTOR_LETHALITY, bands[result.verdict], by,
             (double[]){result.chance_mean, NAN}, figures);
}

/* The band is that of the grain. */
static void put_moisture(const struct filling *filling)
{
    static const enum moved_by by[2] = {MOVED_WET, MOVED_DRY};
    const struct rules *rules = filling->rules;
    struct known_grain grain = KNOWN_GRAIN;
    double doubt = fmax(0.1, rules->forecast.moisture_doubt);
    grain.kind = rules_grain(rules, filling->from.lot.grain);
    grain.own_moisture = filling->from.lot.moisture;
    grain.dry = filling->batch.dry;
    grain.water = filling->batch.water;
    double moisture = physics_moisture(rules, &grain, NULL);
    struct moisture_band band = physics_band(rules, grain.kind);
    if (isnan(moisture) || isnan(band.lo))
        return;
    put_band(filling, FACTOR_MOISTURE,
             moisture < band.lo   ? "below the band"
             : moisture > band.hi ? "above the band"
                                  : "within the band",
             by,
             (double[]){moisture_chance_above(moisture, doubt, band.hi),
                        1.0 - moisture_chance_above(moisture, doubt, band.lo)},
             NULL);
}

static void put_dose(const struct filling *filling, const struct vessel *vessel)
{
    /* Half and twice: the spread of what books call usual. Expert judgement. */
    static const double small = 0.5, large = 2.0;
    static const enum moved_by by[2] = {MOVED_DOSE, MOVED_NONE};
    double relative = vessel->control
                          ? NAN
                          : vessel_dose_of(filling->rules, &filling->from, &filling->batch, vessel,
                                           filling->from.lot.grain);
    if (!isfinite(relative) || relative < 0.0)
        return;
    put_band(filling, FACTOR_DOSE,
             relative < small   ? "under half the usual"
             : relative > large ? "over twice the usual"
                                : "about usual",
             by, (double[]){1.0 / (1.0 + relative * relative), NAN}, NULL);
}

/* ---- one vessel ------------------------------------------------------------------------------ */

/* The label of an ancestor so many steps back from a starter, as far as is known; a loop is no
 * ancestry, and ends. */
static const char *ancestor(const struct filling *filling, int64_t steps)
{
    return query_string(filling->journal, filling->shared, sql_ancestor, "ii",
                        filling->batch.starter, steps);
}

/* What the vessels of a batch share. */
static void take_batch(struct filling *filling, int64_t id)
{
    enum { LONGEST_LINE = 64 };
    arena_reset(filling->shared);
    journal_get(filling->journal, RECORD_BATCH, id, filling->shared, &filling->batch);
    filling->from = batch_sources(filling->journal, &filling->batch, 0, filling->shared);
    filling->parent = ancestor(filling, 1);
    filling->line = ancestor(filling, LONGEST_LINE);
}

static int32_t calendar_day(struct moment moment)
{
    int64_t day = moment_known(moment) ? moment_day(moment) : DAY_NONE;
    return day > DAY_NONE && day < INT32_MAX ? (int32_t)day : DAY_NONE;
}

/* Where it stood from which age on, and how warm that was: where it was put, and its moves. */
static void put_places(const struct filling *filling, const struct vessel *vessel, int32_t begun,
                       int32_t ended)
{
    int feeder = filling->rules->feeder[FEEDS_TEMPERATURE];
    struct query query = query_begin(filling->journal, sql_places, "i", vessel->id);
    for (bool first = true; query_next(&query); first = false) {
        int64_t day = query_integer(&query, 2);
        const char *label = query_text(&query, 0), *warmth = "";
        double celsius = query_real(&query, 1);
        if (!first && (begun == DAY_NONE || (ended != DAY_NONE && day >= ended)))
            continue;
        if (feeder != RULES_NONE && !isnan(celsius)) {
            const struct observable *temperature = &filling->rules->observables[feeder];
            int bin = rules_bin(temperature, celsius);
            warmth = bin != RULES_NONE ? temperature->values[bin].label : "";
        }
        int32_t age = !first && day > begun ? (int32_t)(day - begun) : 0;
        intake_stay(filling->intake, filling->columns[FACTOR_PLACE], label, age);
        intake_stay(filling->intake, filling->columns[FACTOR_TEMPERATURE], warmth, age);
    }
}

/* The signs among what a look kept; NULL when it kept none. */
static const struct observation *signs_of(const struct filling *filling, const char *facts_kept)
{
    const struct fact *facts = NULL;
    struct observation *seen = NULL;
    size_t count = 0;
    if (facts_read(filling->rules, facts_kept, filling->scratch, &facts, &count) != STATUS_OK)
        return NULL;
    for (size_t f = 0; f < count; f++) {
        if (filling->rules->observables[facts[f].observable].class != CLASS_SIGN)
            continue;
        if (seen == NULL)
            seen =
                arena_array(filling->intake->arena, filling->rules->observable_count, sizeof *seen);
        seen[facts[f].observable] = facts[f].observation;
    }
    return seen;
}

/* What the last look of a lost vessel says, and how likely that thought it (or, where it kept no
 * such figure, contamination); over that, the outcome that was confirmed. */
static void take_finding(const struct filling *filling, size_t at, const struct vessel *vessel,
                         const char *confirmed)
{
    struct query query = {.journal = filling->journal};
    struct dataset *to = &filling->intake->dataset;
    to->finding[at] = RULES_NONE;
    if (vessel->last_look != 0 && (vessel->fate == FATE_CONTAMINATED || vessel->fate == FATE_STUCK))
        query = query_begin(filling->journal, sql_finding, "i", vessel->last_look);
    while (query_next(&query)) {
        to->finding[at] = (int16_t)rules_finding(filling->rules, query_text(&query, 0));
        to->sure[at] = (float)query_real(&query, 2);
        if (to->seen != NULL) /* signs are asked for */
            to->seen[at] = signs_of(filling, query_text(&query, 1));
    }
    if (confirmed[0] == '\0')
        return;
    to->finding[at] = (int16_t)rules_finding(filling->rules, confirmed);
    to->sure[at] = 1.0F;
}

static void take_vessel(struct filling *filling, const struct vessel *vessel, const char *confirmed)
{
    const struct rules *rules = filling->rules;
    const struct sources *from = &filling->from;
    int kind = rules_vessel(rules, vessel->kind);
    struct intake_vessel taken = {arena_string(filling->intake->arena, vessel->label),
                                  (uint8_t)vessel->fate, vessel->control,
                                  calendar_day(filling->batch.at), calendar_day(vessel->ended)};
    if (vessel->fate == FATE_OPEN && vessel->state == VESSEL_DISCARDED)
        taken.fate = FATE_COUNT; /* it broke, or was recorded by mistake: nobody knows */
    take_finding(filling, intake_vessel(filling->intake, &taken), vessel, confirmed);
    put_places(filling, vessel, taken.entered, taken.ended);
    put(filling, FACTOR_BATCH, filling->batch.label);
    put(filling, FACTOR_COOK, from->cook.label);
    put(filling, FACTOR_LOT, from->lot.label);
    put(filling, FACTOR_POSITION, vessel->position);
    put(filling, FACTOR_LID, vessel->lid);
    put(filling, FACTOR_BAG, vessel->bag);
    put(filling, FACTOR_SPOT, vessel->spot);
    put(filling, FACTOR_VESSEL, kind != RULES_NONE ? rules->vessels[kind].name : vessel->kind);
    intake_number(filling->intake, filling->columns[FACTOR_GRAMS], vessel->grams);
    put_cook(filling, vessel);
    put_moisture(filling);
    put_dose(filling, vessel);
    if (vessel->control)
        return;
    put(filling, FACTOR_SESSION, from->session.label);
    put(filling, FACTOR_STARTER, from->starter.label);
    put(filling, FACTOR_PARENT, filling->parent != NULL ? filling->parent : "");
    put(filling, FACTOR_LINE, filling->line != NULL ? filling->line : "");
    intake_number(filling->intake, filling->columns[FACTOR_SEQUENCE], vessel->sequence);
}

/* ---- all of them ----------------------------------------------------------------------------- */

/* What notes on places and on what was done say of dated changes. */
static void add_changes(struct journal *journal, struct dataset *dataset, struct arena *arena)
{
    size_t f = dataset_factor(dataset, FACTOR_PLACE);
    struct query query = query_begin(
        journal,
        "SELECT * FROM (SELECT label, note FROM place WHERE note <> '' ORDER BY id)"
        " UNION ALL SELECT * FROM (SELECT '', detail FROM event WHERE kind <> 'withdraw'"
        " AND detail <> '' ORDER BY id)",
        "");
    while (query_next(&query)) {
        const char *place = query_text(&query, 0);
        uint32_t level = place[0] == '\0' ? LEVEL_NONE : 0;
        if (place[0] != '\0' && f == dataset->factor_count)
            continue;
        while (level != LEVEL_NONE && level < dataset->factors[f].level_count &&
               strcmp(dataset->factors[f].levels[level], place) != 0)
            level++;
        if (level == LEVEL_NONE || level < dataset->factors[f].level_count)
            (void)dataset_add_changes(dataset, query_text(&query, 1), level, arena);
    }
}

/* Takes out an ancestry that parts the vessels as another does: each is a coarser one of those
 * before it, so that as many levels are the same levels. */
static void drop_same_ancestry(struct dataset *dataset, struct factor *factors)
{
    size_t count = 0, before = 0; /* levels of the ancestry before */
    for (size_t f = 0; f < dataset->factor_count; f++) {
        bool ancestry = factor_kinds[factors[f].kind].origin == FACTOR_STARTER;
        if (ancestry && factors[f].level_count == before)
            continue;
        before = ancestry ? factors[f].level_count : before;
        factors[count++] = factors[f];
    }
    dataset->factor_count = count;
    dataset->batch = dataset_factor(dataset, FACTOR_BATCH);
}

enum status dataset_from_journal(struct journal *journal, const struct rules *rules,
                                 const struct dataset_wanted *wanted, struct arena *arena,
                                 struct dataset *dataset)
{
    static const enum factor_kind columns[] = {
        FACTOR_COOK,      FACTOR_STARTER,  FACTOR_SESSION, FACTOR_PLACE,      FACTOR_LOT,
        FACTOR_BATCH,     FACTOR_PARENT,   FACTOR_LINE,    FACTOR_POSITION,   FACTOR_VESSEL,
        FACTOR_LID,       FACTOR_BAG,      FACTOR_SPOT,    FACTOR_SEQUENCE,   FACTOR_GRAMS,
        FACTOR_LETHALITY, FACTOR_MOISTURE, FACTOR_DOSE,    FACTOR_TEMPERATURE};
    /* Of `vessel`: those that are wanted. */
    static const char from[] = "FROM vessel AS a WHERE batch IN (SELECT id FROM batch WHERE"
                               " (at + 60 * at_offset) / 86400 >= ?1 AND (?2 IS NULL OR"
                               " instr('|' || lower(?2) || '|', '|' || lower(label) || '|') > 0))";
    enum { SIGNS_KEPT = 5000 }; /* vessels of which signs are read: they take a kilobyte each */
    struct filling filling = {
        .journal = journal,
        .rules = rules,
        .intake = &(struct intake){.arena = arena, .dataset = {.today = wanted->today}},
        .cooks = cook_memo_new(),
        .scratch = arena_new(),
        .shared = arena_new()};
    struct vessel vessel;
    journal_enter(journal);
    size_t count = (size_t)query_number(journal, journal_sql(journal, "SELECT count(*) %s", from),
                                        "it", (int64_t)wanted->since, wanted->batches);
    struct dataset *to = &filling.intake->dataset;
    to->finding = arena_array(arena, count, sizeof *to->finding);
    to->sure = arena_array(arena, count, sizeof *to->sure);
    if (count <= SIGNS_KEPT)
        to->seen = arena_array(arena, count, sizeof *to->seen);
    for (size_t k = 0; k < sizeof columns / sizeof *columns; k++)
        filling.columns[columns[k]] = intake_column(filling.intake, columns[k], NULL);
    /* A row and, after it, the finding of the newest outcome that stands. */
    const char *sql = journal_sql(
        journal,
        "SELECT %s, (SELECT finding FROM outcome AS o WHERE vessel = a.id AND status <> '" WITHDRAWN
        "' AND NOT EXISTS (SELECT 1 FROM outcome WHERE corrects = o.id) ORDER BY id DESC LIMIT 1)"
        " %s ORDER BY id",
        row_columns(journal, RECORD_VESSEL), from);
    struct query query = query_begin(journal, sql, "it", (int64_t)wanted->since, wanted->batches);
    while (query_row(&query, RECORD_VESSEL, NULL, &vessel)) {
        if (vessel.batch != filling.batch.id)
            take_batch(&filling, vessel.batch);
        if (journal->status == STATUS_OK)
            take_vessel(&filling, &vessel,
                        query_text(&query, sqlite3_column_count(query.statement) - 1));
        arena_reset(filling.scratch);
    }
    query_end(&query);
    *dataset = intake_finish(filling.intake);
    drop_same_ancestry(dataset, (struct factor *)dataset->factors);
    add_changes(journal, dataset, arena);
    arena_free(filling.scratch);
    arena_free(filling.shared);
    cook_memo_free(filling.cooks);
    return journal_leave(journal);
}
