/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/batch_words.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "language/reader.h"
#include "prompt/input.h"

/* ==== batch words ============================================================================= */

/*
 * A batch in plain words: "8 quart jars rye oyster, S1, 15 psi 90 min, closet".
 *
 * The number of vessels comes first. Labels of the journal are taken as such; the
 * rest is read as the description of a vessel would be, and what it says of
 * circumstances goes to the batch, its cook or its session. Nothing is dropped:
 * what nobody understood is kept as a note, and said.
 */

/* ---- words that the reader must not see ------------------------------------------------------ */

static void blank(char *from, const char *to)
{
    for (; from < to; from++)
        *from = ' ';
}

static bool ends_word(char byte)
{
    return byte == '\0' || isspace((unsigned char)byte) || byte == ',' || byte == ';';
}

static char *word_end(char *at)
{
    while (!ends_word(*at))
        at++;
    return at;
}

static char *next_word(char *at)
{
    while (*at != '\0' && ends_word(*at))
        at++;
    return at;
}

/* A figure with its unit is no number of vessels: "15 psi", "90 min". Litres and grams are not
 * looked for, as vessels are named by them: "8 quart jars", "8 3lb bags". */
static bool is_figure(const char *at)
{
    static const enum dimension dimensions[] = {DIM_GAUGE_KPA, DIM_MINUTES, DIM_DAYS, DIM_CELSIUS,
                                                DIM_PERCENT};
    struct quantity quantity;
    size_t used = 0;
    for (size_t i = 0; i < sizeof dimensions / sizeof *dimensions; i++)
        if (quantity_read(at, strlen(at), dimensions[i], &quantity, &used) == QUANTITY_OK &&
            quantity.unit_given)
            return true;
    return false;
}

/* The first word, when it is a number and nothing else. */
static void take_count(struct draft *draft, char *words)
{
    enum { MOST_DIGITS = 4 };
    char *start = next_word(words), *end = word_end(start);
    char *digits_end = NULL;

    if (!isdigit((unsigned char)*start) || end - start > MOST_DIGITS)
        return;
    long count = strtol(start, &digits_end, 10);
    if (digits_end != end || is_figure(start))
        return;
    if (draft->vessels == 0)
        draft->vessels = (size_t)count;
    blank(start, end);
    char *times = next_word(end); /* "8 x quart jars" */
    if (tolower((unsigned char)*times) == 'x' && ends_word(times[1]))
        *times = ' ';
}

/* "1 control", "2 controls": a number right before the word. */
static void take_controls(struct draft *draft, char *words)
{
    for (char *start = next_word(words); *start != '\0';) {
        char *end = word_end(start), *next = next_word(end), *after = word_end(next);
        size_t length = (size_t)(after - next);
        char *digits_end = NULL;
        bool control = length >= 7 && length <= 8 && strncasecmp(next, "controls", length) == 0;
        long count = strtol(start, &digits_end, 10);
        if (control && isdigit((unsigned char)*start) && digits_end == end && count <= 1000) {
            draft->controls = (size_t)count;
            blank(start, after);
            return;
        }
        start = next;
    }
}

/* "starter" before "S1" only says what S1 is. */
static void blank_kind_before(const char *words, char *label, enum record record)
{
    const char *name = record_types[record].name;
    size_t length = strlen(name);
    char *at = label;
    while (at > words && isspace((unsigned char)at[-1]))
        at--;
    if ((size_t)(at - words) >= length && strncasecmp(at - length, name, length) == 0 &&
        ((size_t)(at - words) == length || ends_word(at[-(ptrdiff_t)length - 1])))
        blank(at - length, at);
}

static enum status take_label(struct draft *draft, char *words, char *start, char *end)
{
    static const enum record kinds[] = {RECORD_STARTER, RECORD_COOK, RECORD_SESSION, RECORD_LOT,
                                        RECORD_PLACE};
    const char *word = arena_copy(draft->app->arena, start, (size_t)(end - start));
    const char *found = NULL;
    int64_t id = 0;

    if (word == NULL)
        return STATUS_MEMORY;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        if (draft->pick[kinds[i]] != PICK_UNTOLD ||
            !labels_has(draft->app, kinds[i], word, &id, &found))
            continue;
        blank_kind_before(words, start, kinds[i]);
        blank(start, end);
        return draft_pick(draft, kinds[i], found);
    }
    return STATUS_OK;
}

static enum status take_labels(struct draft *draft, char *words)
{
    enum status status = STATUS_OK;
    for (char *start = next_word(words); *start != '\0' && status == STATUS_OK;) {
        char *end = word_end(start);
        status = take_label(draft, words, start, end);
        start = next_word(end);
    }
    return status;
}

/* "bags" without a size still says what shape they are. */
static void take_shape(struct draft *draft, const char *words)
{
    static const struct {
        const char *word;
        enum vessel_shape shape;
    } shapes[] = {{"bag", SHAPE_BRICK},
                  {"bags", SHAPE_BRICK},
                  {"jar", SHAPE_CYLINDER},
                  {"jars", SHAPE_CYLINDER}};
    for (const char *at = words; *at != '\0';) {
        size_t length = 0;
        while (!ends_word(at[length]))
            length++;
        for (size_t i = 0; i < sizeof shapes / sizeof *shapes; i++)
            if (strlen(shapes[i].word) == length && strncasecmp(at, shapes[i].word, length) == 0)
                draft->shape = (int)shapes[i].shape;
        at += length + (at[length] != '\0');
    }
}

/* ---- what the reader understood -------------------------------------------------------------- */

static int single_value(const struct reading *reading)
{
    if (reading->seen == 0 || (reading->seen & (reading->seen - 1)) != 0)
        return RULES_NONE;
    int value = 0;
    while ((reading->seen >> value & 1) == 0)
        value++;
    return value;
}

/* The figure of a cook that others share is not changed on the way. */
static enum status set_number(struct draft *draft, double *number, const char *of_cook,
                              const struct reading *reading)
{
    double said = 0.5 * (reading->number.lo + reading->number.hi);
    if (of_cook != NULL && draft->pick[RECORD_COOK] == PICK_EXISTING)
        return draft_cook_figure(draft, of_cook, *number, said);
    if (isnan(*number))
        *number = said;
    return STATUS_OK;
}

static void set_word(const char **word, const char *id)
{
    if ((*word)[0] == '\0')
        *word = id;
}

/* The scope whose causes an observable tells most about: whose fact it is. */
static enum scope scope_of(const struct rules *rules, size_t observable)
{
    double weight[SCOPE_COUNT] = {0};
    size_t heaviest = SCOPE_VESSEL;
    for (size_t c = 0; c < rules->cause_count; c++) {
        const struct cause *cause = &rules->causes[c];
        for (size_t i = 0; i < cause->weigh_count; i++)
            if (cause->weighs[i].observable == observable && cause->weighs[i].number > 0.0)
                weight[cause->scope] += fabs(log(cause->weighs[i].number));
    }
    for (size_t i = 0; i < SCOPE_COUNT; i++)
        if (weight[i] > weight[heaviest])
            heaviest = i;
    return (enum scope)heaviest;
}

/* "sign=value", as judge's --set would take it. */
static void put_setting(struct text *out, const struct observable *observable,
                        const struct reading *reading)
{
    text_printf(out, "%s=", observable->id);
    if (reading->has_number && observable->kind == KIND_NUMBER) {
        text_printf(out, "%.6g", reading->number.lo);
        if (reading->number.hi > reading->number.lo)
            text_printf(out, "-%.6g", reading->number.hi);
        text_puts(out, dimension_unit(observable->dimension));
    } else {
        bool any = false;
        for (size_t v = 0; v < observable->value_count; v++) {
            bool denied = reading->absent >> v & 1;
            if (!denied && (reading->seen >> v & 1) == 0)
                continue;
            text_printf(out, "%s%s%s", any ? "," : "", denied ? "-" : "", observable->values[v].id);
            any = true;
        }
    }
    if (reading->hedged)
        text_puts(out, "?");
}

/* A fact without a column of its own, kept with what it is a fact of. One that is there already is
 * not changed for all its batches: then the fact is this batch's. */
static enum status keep_fact(struct draft *draft, const struct reading *reading)
{
    const struct observable *observable = &draft->app->rules->observables[reading->observable];
    enum scope scope = scope_of(draft->app->rules, reading->observable);
    const char **facts = &draft->batch.facts;
    struct text text;

    if (scope == SCOPE_COOK && draft->pick[RECORD_COOK] != PICK_EXISTING)
        facts = &draft->cook.facts;
    else if (scope == SCOPE_SESSION && draft->pick[RECORD_SESSION] != PICK_EXISTING)
        facts = &draft->session.facts;
    text_init(&text);
    if ((*facts)[0] != '\0')
        text_printf(&text, "%s ", *facts);
    put_setting(&text, observable, reading);
    const char *copy = text.failed ? NULL : arena_copy(draft->app->arena, text.bytes, text.length);
    text_release(&text);
    if (copy == NULL)
        return STATUS_MEMORY;
    *facts = copy;
    return STATUS_OK;
}

/* A dose said in units is a figure; any other is a fact. */
static enum status take_dose(struct draft *draft, const struct reading_list *list,
                             const struct reading *reading)
{
    struct quantity quantity;
    size_t used = 0;
    const char *words = list->text + reading->span.start;
    if (draft->batch.dose > 0.0)
        return STATUS_OK;
    if (quantity_read(words, reading->span.end - reading->span.start, DIM_LITRES, &quantity,
                      &used) != QUANTITY_OK ||
        !quantity.unit_given)
        return keep_fact(draft, reading);
    draft->batch.dose = 500.0 * (quantity.lo + quantity.hi);
    draft->batch.unit = "ml";
    return STATUS_OK;
}

static enum status take_choice(struct draft *draft, const struct reading *reading)
{
    const struct observable *observable = &draft->app->rules->observables[reading->observable];
    int value = single_value(reading);
    const char *id = value != RULES_NONE ? observable->values[value].id : "";

    if (value == RULES_NONE || reading->hedged)
        return keep_fact(draft, reading);
    switch (observable->feeds) {
    case FEEDS_SPECIES:
        set_word(&draft->batch.species, id);
        return STATUS_OK;
    case FEEDS_GRAIN:
        set_word(&draft->lot.grain, id);
        return STATUS_OK;
    case FEEDS_VESSEL:
        if (draft->measured.kind == RULES_NONE)
            draft->measured.kind = rules_vessel(draft->app->rules, id);
        return STATUS_OK;
    case FEEDS_STARTER_KIND:
        set_word(&draft->starter.kind, id);
        return STATUS_OK;
    case FEEDS_COOK_METHOD:
        set_word(&draft->cook.method, id);
        return STATUS_OK;
    case FEEDS_LOAD:
        set_word(&draft->cook.load, id);
        return STATUS_OK;
    case FEEDS_POSITION:
        if (draft->positions == NULL)
            draft->positions = id;
        return STATUS_OK;
    default:
        return keep_fact(draft, reading);
    }
}

static enum status take_reading(struct draft *draft, const struct reading_list *list,
                                const struct reading *reading)
{
    const struct observable *observable = &draft->app->rules->observables[reading->observable];
    const char *of_cook = NULL; /* the column, when it is one of the cook */
    double *number = NULL;

    switch (observable->feeds) {
    case FEEDS_COOK_GAUGE:
        number = &draft->cook.gauge;
        of_cook = "gauge";
        break;
    case FEEDS_COOK_MINUTES:
        number = &draft->cook.minutes;
        of_cook = "minutes";
        break;
    case FEEDS_ALTITUDE:
        number = &draft->cook.altitude;
        of_cook = "altitude";
        break;
    case FEEDS_VESSEL_MASS:
        number = &draft->measured.grams;
        break;
    case FEEDS_DRY_MASS:
        number = &draft->batch.dry;
        break;
    case FEEDS_WATER_MASS:
        number = &draft->batch.water;
        break;
    case FEEDS_SOAK:
        number = &draft->batch.soak;
        break;
    case FEEDS_TEMPERATURE:
        number = &draft->place.celsius;
        break;
    case FEEDS_DOSE:
        return take_dose(draft, list, reading);
    default:
        return take_choice(draft, reading);
    }
    if (!reading->has_number)
        return keep_fact(draft, reading);
    return set_number(draft, number, of_cook, reading);
}

/* ---- what nobody understood ------------------------------------------------------------------ */

/* S9, N4: meant as a label, and there is none; a note would hide the slip. */
static bool looks_like_label(const char *words, size_t length)
{
    size_t letters = 0;
    while (letters < length && isalpha((unsigned char)words[letters]))
        letters++;
    size_t digits = letters;
    while (digits < length && isdigit((unsigned char)words[digits]))
        digits++;
    return letters > 0 && letters <= 2 && digits == length && digits > letters;
}

static enum status keep_words(struct draft *draft, const char *words, size_t length)
{
    if (looks_like_label(words, length))
        return app_usage(
            draft->app,
            "nothing in the journal is called '%.*s'; a new starter, say, is made with "
            "--starter %.*s",
            (int)length, words, (int)length, words);
    draft_add(&draft->note, "%.*s", (int)(length < 200 ? length : 200), words);
    return STATUS_OK;
}

static enum status keep_unread(struct draft *draft, const struct reading_list *list)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < list->unread_count && status == STATUS_OK; i++) {
        const struct span *span = &list->unread[i].span;
        status = keep_words(draft, list->text + span->start, span->end - span->start);
    }
    return status;
}

/* What is seen in a vessel is a look, and a batch that starts has had none. */
static enum status refuse_signs(struct draft *draft, const struct reading_list *list)
{
    for (size_t i = 0; i < list->reading_count; i++) {
        const struct reading *reading = &list->readings[i];
        const struct observable *observable = &draft->app->rules->observables[reading->observable];
        if (observable->class == CLASS_CIRCUMSTANCE)
            continue;
        int length = (int)(reading->span.end - reading->span.start);
        return app_usage(draft->app,
                         "'%.*s' is something seen; start the batch without it, then: jarside look",
                         length, list->text + reading->span.start);
    }
    return STATUS_OK;
}

static enum status take_list(struct draft *draft, const struct reading_list *list)
{
    enum status status = refuse_signs(draft, list);
    for (size_t i = 0; i < list->reading_count && status == STATUS_OK; i++)
        status = take_reading(draft, list, &list->readings[i]);
    return status == STATUS_OK ? keep_unread(draft, list) : status;
}

enum status batch_say(struct draft *draft, const char *words)
{
    struct reading_list list;
    char *copy = arena_string(draft->app->arena, words);

    if (copy == NULL)
        return STATUS_MEMORY;
    take_count(draft, copy);
    take_controls(draft, copy);
    take_shape(draft, copy);
    enum status fault = take_labels(draft, copy);
    if (fault != STATUS_OK)
        return fault;
    enum status status = reader_read(draft->app->reader, copy, strlen(copy), draft->app->arena,
                                     &list, draft->app->diags);
    return status == STATUS_OK ? take_list(draft, &list) : status;
}

enum status batch_words(struct draft *draft, const char *const *words, size_t count)
{
    const char *all = arena_join(draft->app->arena, words, count);
    if (all == NULL)
        return STATUS_MEMORY;
    return count > 0 ? batch_say(draft, all) : STATUS_OK;
}

/* ==== batch ask =============================================================================== */

/* The guided mode: a line for each fact that is missing, what would be taken over in brackets. */

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

static bool batch_ask_take_count(struct draft *draft, const char *answer)
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
    return draft_pick(draft, RECORD_STARTER, answer) == STATUS_OK;
}

static bool take_place(struct draft *draft, const char *answer)
{
    return draft_pick(draft, RECORD_PLACE, answer) == STATUS_OK;
}

/* "C4" shares that cook; anything else says what this one was. */
static bool take_cook(struct draft *draft, const char *answer)
{
    const char *found = NULL;
    int64_t id = 0;
    if (strcasecmp(answer, "none") == 0 ||
        labels_has(draft->app, RECORD_COOK, answer, &id, &found))
        return draft_pick(draft, RECORD_COOK, answer) == STATUS_OK;
    return batch_say(draft, answer) == STATUS_OK;
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
    {"How many vessels", "--count 8", "a number", has_count, batch_ask_take_count, FEEDS_NONE,
     RECORD_COUNT},
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
        app_report(draft->app);
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
        kind = view_vessel_name(&draft->told, vessel.kind);
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
    return view_cook_words(&draft->told, &cook);
}

static const char *standing_grain(const struct draft *draft)
{
    struct lot lot;
    if (draft->last.lot == 0 ||
        journal_get(draft->app->journal, RECORD_LOT, draft->last.lot, draft->app->arena, &lot,
                    draft->app->diags) != STATUS_OK)
        return "";
    return view_grain_name(&draft->told, lot.grain);
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
    return view_label(&draft->told, RECORD_PLACE, place);
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
        return view_species_name(&draft->told, draft->last.species);
    case 4: /* of another mushroom it would not be taken over */
        return draft->batch.species[0] == '\0' ||
                       strcmp(draft->batch.species, draft->last.species) == 0
                   ? view_label(&draft->told, RECORD_STARTER, draft->last.starter)
                   : "new";
    case 5:
        return standing_cook(draft);
    case 6:
        return standing_place(draft);
    default:
        return "";
    }
}

static enum status missing(struct draft *draft)
{
    struct text flags;
    text_init(&flags);
    for (size_t i = 0; i < QUESTIONS; i++)
        if (questions[i].known != NULL && !questions[i].known(draft))
            text_printf(&flags, "%s%s", flags.length > 0 ? ", " : "", questions[i].flag);
    enum status status =
        app_usage(draft->app, "the batch is not told in full; add %s", flags.bytes);
    text_release(&flags);
    return status;
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
enum status batch_ask(struct draft *draft, bool guided)
{
    if (!guided && complete(draft))
        return STATUS_OK;
    struct lines *lines = arguments_flag(&draft->app->arguments, "no-input") ? NULL : lines_open();
    if (lines == NULL)
        return guided ? STATUS_OK : missing(draft);
    bool stays = true;
    for (size_t i = 0; i < QUESTIONS && stays; i++) {
        const struct question_line *question = &questions[i];
        bool known = question->known != NULL && question->known(draft);
        if (!known && (guided || question->flag != NULL))
            stays = ask(draft, lines, question, guided ? standing(draft, i) : "");
    }
    lines_close(lines);
    return stays ? STATUS_OK : app_usage(draft->app, "nothing was recorded");
}
