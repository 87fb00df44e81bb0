/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Starting a batch: its options, its words ("8 quart jars rye oyster, S1, 15 psi 90 min, closet"),
 * the questions about what is missing, what is taken over from the batch before, and writing it
 * all down at once.
 */
#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "cli/assign.h"
#include "cli/cli.h"
#include "prompt/input.h"
#include "triage/physics.h"

/* ==== the draft =============================================================================== */

enum pick { /* which record of a kind goes with the batch */
            PICK_UNTOLD,
            PICK_EXISTING, /* it is in the journal */
            PICK_NEW,      /* it is to be made */
            PICK_NONE,     /* there is none, or nobody knows */
};

struct parts { /* a batch with what it refers to; ids are 0 for what it has not */
    struct batch batch;
    struct starter starter;
    struct cook cook;
    struct session session;
    struct lot lot;
    struct place place;
    struct vessel vessel; /* its first */
};

/* The records a batch refers to, and where it keeps their ids. Place is a matter of its vessels. */
static const struct kind {
    enum record record;
    size_t row, id;
    enum pick untold; /* what becomes of one that nobody told */
} kinds[] = {
    {RECORD_STARTER, offsetof(struct parts, starter), offsetof(struct parts, batch.starter),
     PICK_NEW},
    {RECORD_COOK, offsetof(struct parts, cook), offsetof(struct parts, batch.cook), PICK_NEW},
    {RECORD_SESSION, offsetof(struct parts, session), offsetof(struct parts, batch.session),
     PICK_NEW},
    {RECORD_LOT, offsetof(struct parts, lot), offsetof(struct parts, batch.lot), PICK_NONE},
    {RECORD_PLACE, offsetof(struct parts, place), offsetof(struct parts, vessel.place), PICK_NONE},
};
enum { KINDS = sizeof kinds / sizeof *kinds };

/* A batch while it is put together: from options, words, answers, and what the batch before had, in
 * this order. What is absent in its parts is not known yet. */
struct draft {
    struct app *app;
    struct moment at;
    size_t vessels, controls;
    struct known_vessel measured; /* kind and grams; */
    int shape;                    /* or only its shape, an enum vessel_shape; RULES_NONE */
    const char *positions;        /* as given: "upper" or "upper:4,lower:4" */
    bool no_species, no_grain;    /* they are unknown, and that was said */
    enum pick pick[RECORD_COUNT];
    struct parts now, before; /* before: the newest batch, or the one of --like */
    bool has_before;
    struct text note;  /* words that were not understood: kept, not lost */
    struct text taken; /* what was taken over, "; " between */
    struct text first; /* what had to be settled without being told, likewise */
    struct {           /* options that are read further */
        const char *species, *grain, *dose, *label, *note, *like, *labels[KINDS];
        int use;
        bool no_input, json;
    } given;
};

static union any_record *row_of(struct parts *parts, const struct kind *kind)
{
    return (union any_record *)(void *)((char *)parts + kind->row);
}

static int64_t *id_of(struct parts *parts, const struct kind *kind)
{
    return (int64_t *)(void *)((char *)parts + kind->id);
}

/* Notes something for the grower, parts divided by "; ". */
__attribute__((format(printf, 2, 3))) static void add(struct text *list, const char *format, ...)
{
    char words[256];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(words, sizeof words, format, arguments);
    va_end(arguments);
    text_printf(list, "%s%s", list->length > 0 ? "; " : "", words);
}

static bool same(const char *a, const char *b)
{
    return strcmp(a, b) == 0;
}

/* ---- which records --------------------------------------------------------------------------- */

/* Whether a figure said now is what a shared cook was recorded with. */
static enum status check_figure(struct draft *draft, const char *column, double recorded,
                                double said)
{
    const char *label = draft->now.cook.label;
    if (isnan(said) || fabs(said - recorded) <= 0.01 * fabs(recorded))
        return STATUS_OK;
    return app_usage(draft->app,
                     "cook %s is recorded %s that %s; mend it first with 'jarside correct cook %s "
                     "%s=...', or name another cook",
                     label, isnan(recorded) ? "without" : "with other than", column, label, column);
}

/* What was said before a label was picked stays said, where the record is silent. */
static enum status pick_existing(struct draft *draft, const struct kind *kind, const char *label)
{
    struct parts *now = &draft->now;
    struct lot lot = now->lot;
    struct cook cook = now->cook;
    struct starter starter = now->starter;
    enum status status = labels_find(draft->app, kind->record, label, row_of(now, kind));
    if (status != STATUS_OK)
        return status;
    if (kind->record == RECORD_COOK &&
        ((status = check_figure(draft, "gauge", now->cook.gauge, cook.gauge)) ||
         (status = check_figure(draft, "minutes", now->cook.minutes, cook.minutes)) ||
         (status = check_figure(draft, "altitude", now->cook.altitude, cook.altitude))))
        return status;
    if (kind->record == RECORD_LOT && lot.grain[0] != '\0' && !same(lot.grain, now->lot.grain))
        return app_usage(draft->app, "lot %s is %s; leave out the grain, or name another lot",
                         now->lot.label, view_name(&draft->app->view, LIST_GRAINS, now->lot.grain));
    if (kind->record == RECORD_STARTER && now->starter.kind[0] == '\0')
        now->starter.kind = starter.kind;
    return STATUS_OK;
}

/* Says that `label` (or "new", "none") is the record of this kind. */
static enum status pick(struct draft *draft, const struct kind *kind, const char *label)
{
    const char *found = label;
    enum pick *pick = &draft->pick[kind->record];
    int64_t id = 0;

    if (strcasecmp(label, "none") == 0) {
        *pick = PICK_NONE;
    } else if (strcasecmp(label, "new") == 0) {
        *pick = PICK_NEW;
    } else if (labels_has(draft->app, kind->record, label, &id, &found)) {
        *pick = PICK_EXISTING;
        return pick_existing(draft, kind, found);
    } else if (label[0] == '\0') {
        return app_usage(draft->app, "a label of a %s is not empty",
                         record_types[kind->record].name);
    } else {
        *pick = PICK_NEW; /* the label is copied, as an answer does not live as long */
        row_of(&draft->now, kind)->named.label = arena_string(draft->app->arena, label);
    }
    return STATUS_OK;
}

/* ==== options ================================================================================= */

#define AT(member) .target = offsetof(struct draft, member)
enum { MOST_VESSELS = 10000 };

static const struct option options[] = {
    {"count", "N", "how many vessels; or the first of the words", OPTION_COUNT, AT(vessels),
     .high = MOST_VESSELS},
    {"vessel", "VESSEL", "what they are: an id, bag:1.36kg, jar:1quart", OPTION_VESSEL,
     AT(measured)},
    {"mass", "WEIGHT", "hydrated grain in one vessel", OPTION_AMOUNT, AT(measured.grams),
     .dimension = DIM_GRAMS},
    {"grain", "GRAIN", "an id, or unknown", OPTION_TEXT, AT(given.grain)},
    {"species", "SPECIES", "an id, or unknown", OPTION_TEXT, AT(given.species)},
    {"starter", "LABEL", "what they were inoculated from; a label not yet known is a new one",
     OPTION_TEXT, AT(given.labels[0])},
    {"cook", "LABEL", "the cook they came from; of one that is there they share it", OPTION_TEXT,
     AT(given.labels[1])},
    {"session", "LABEL", "the sitting in which they were inoculated", OPTION_TEXT,
     AT(given.labels[2])},
    {"lot", "LABEL", "the sack of grain", OPTION_TEXT, AT(given.labels[3])},
    {"place", "LABEL", "where they stand", OPTION_TEXT, AT(given.labels[4])},
    {"position", "WHERE", "in the cooker, for all or in order: upper:4,lower:4", OPTION_TEXT,
     AT(positions)},
    {"controls", "N", "so many more, cooked with them and never inoculated", OPTION_COUNT,
     AT(controls), .high = MOST_VESSELS},
    {"gauge", "PRESSURE", "of a new cook: 15psi, 1bar", OPTION_AMOUNT, AT(now.cook.gauge),
     .dimension = DIM_GAUGE_KPA},
    {"minutes", "TIME", "of a new cook, at pressure: 90, 2h30", OPTION_AMOUNT, AT(now.cook.minutes),
     .dimension = DIM_MINUTES},
    {"altitude", "HEIGHT", "of a new cook: 1500m, 5000ft", OPTION_QUANTITY, AT(now.cook.altitude),
     .dimension = DIM_METRES},
    {"dry", "WEIGHT", "dry grain in one vessel", OPTION_AMOUNT, AT(now.batch.dry),
     .dimension = DIM_GRAMS},
    {"water", "WEIGHT", "water added to it", OPTION_AMOUNT, AT(now.batch.water),
     .dimension = DIM_GRAMS},
    {"soak", "TIME", "how long the grain was soaked: 18h", OPTION_AMOUNT, AT(now.batch.soak),
     .dimension = DIM_MINUTES},
    {"dose", "AMOUNT", "of starter in one vessel: 4ml, 80g; a bare number of pieces", OPTION_TEXT,
     AT(given.dose)},
    {"use", "USE", "what they are for: expand, bulk ...", OPTION_ID, AT(given.use),
     .list = LIST_USES},
    {"like", "BATCH", "take over from this batch, not from the last", OPTION_TEXT, AT(given.like)},
    {"label", "LABEL", "of the batch; else the next number", OPTION_TEXT, AT(given.label)},
    {"at", "MOMENT", "of inoculation: 2026-03-01, yesterday; else now", OPTION_MOMENT, AT(at)},
    {"note", "WORDS", "anything to remember", OPTION_TEXT, AT(given.note)},
    {"no-input", NULL, "never ask; fail and name the option that would have answered", OPTION_FLAG,
     AT(given.no_input)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(given.json)},
    {0},
};
#undef AT

/* An id of the rules, or unknown. */
static enum status read_id(struct app *app, const char *name, const char *word, enum word_list list,
                           const char **id, bool *unknown)
{
    int index = RULES_NONE;
    if (word == NULL || (*unknown = strcasecmp(word, "unknown") == 0))
        return STATUS_OK;
    enum status status = option_id(app, name, word, list, &index);
    if (status == STATUS_OK)
        *id = list_word(app->rules, list, (size_t)index).id;
    return status;
}

/* "4ml", "80g", "2" pieces. */
static enum status read_dose(struct draft *draft)
{
    static const struct {
        enum dimension dimension;
        double times;
        const char *unit;
    } doses[] = {{DIM_LITRES, 1000.0, "ml"}, {DIM_GRAMS, 1.0, "g"}, {DIM_NONE, 1.0, ""}};
    const char *word = draft->given.dose;
    struct batch *batch = &draft->now.batch;

    for (size_t i = 0; word != NULL && i < sizeof doses / sizeof *doses; i++) {
        struct quantity quantity;
        size_t used = 0, length = strlen(word);
        bool bare = doses[i].dimension == DIM_NONE;
        if (quantity_read(word, length, doses[i].dimension, &quantity, &used) != QUANTITY_OK ||
            used != length || (!quantity.unit_given && !bare))
            continue;
        batch->dose = doses[i].times * 0.5 * (quantity.lo + quantity.hi);
        batch->unit = doses[i].unit;
        return batch->dose > 0.0
                   ? STATUS_OK
                   : app_error(draft->app, STATUS_DATA, "--dose", "a dose is more than nothing");
    }
    return word == NULL ? STATUS_OK
                        : app_error(draft->app, STATUS_DATA, "--dose",
                                    "'%s' is no dose; for instance 4ml, 80g, or 2 pieces of agar "
                                    "as 2",
                                    word);
}

static enum status read_options(struct draft *draft)
{
    struct app *app = draft->app;
    struct batch *batch = &draft->now.batch;
    const char *label = NULL;
    int64_t id = 0;
    enum status status;

    if ((status = options_fill(app, draft)) ||
        (status = read_id(app, "species", draft->given.species, LIST_SPECIES, &batch->species,
                          &draft->no_species)) ||
        (status = read_id(app, "grain", draft->given.grain, LIST_GRAINS, &draft->now.lot.grain,
                          &draft->no_grain)) ||
        (status = read_dose(draft)))
        return status;
    if (draft->given.use != RULES_NONE)
        batch->purpose = app->rules->decision.uses[draft->given.use].id;
    if (draft->given.note != NULL)
        text_puts(&draft->note, draft->given.note);
    if ((label = draft->given.label) != NULL) {
        if (label[0] == '\0')
            return app_error(app, STATUS_DATA, "--label", "a label is not empty");
        if (journal_has(app->journal, RECORD_BATCH, label, &id))
            return app_error(app, STATUS_DATA, "--label", "there is a batch %s already", label);
        batch->label = label;
    }
    for (size_t i = 0; i < KINDS; i++)
        if (draft->given.labels[i] != NULL &&
            (status = pick(draft, &kinds[i], draft->given.labels[i])))
            return status;
    return STATUS_OK;
}

/* ==== words =================================================================================== */

/*
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

static enum status take_labels(struct draft *draft, char *words)
{
    for (char *start = next_word(words), *end; *start != '\0'; start = next_word(end)) {
        end = word_end(start);
        const char *word = arena_copy(draft->app->arena, start, (size_t)(end - start));
        const char *found = NULL;
        int64_t id = 0;
        for (size_t i = 0; i < KINDS; i++) {
            if (draft->pick[kinds[i].record] != PICK_UNTOLD ||
                !labels_has(draft->app, kinds[i].record, word, &id, &found))
                continue;
            blank_kind_before(words, start, kinds[i].record);
            blank(start, end);
            enum status status = pick(draft, &kinds[i], found);
            if (status != STATUS_OK)
                return status;
            break;
        }
    }
    return STATUS_OK;
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

/* The one value that was seen; RULES_NONE for none or several. */
static int single_value(uint32_t seen)
{
    if (seen == 0 || (seen & (seen - 1)) != 0)
        return RULES_NONE;
    int value = 0;
    while ((seen >> value & 1) == 0)
        value++;
    return value;
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
static void keep_fact(struct draft *draft, const struct reading *reading)
{
    const struct observable *observable = &draft->app->rules->observables[reading->observable];
    enum scope scope = scope_of(draft->app->rules, reading->observable);
    const char **facts = &draft->now.batch.facts;
    struct text text;

    if (scope == SCOPE_COOK && draft->pick[RECORD_COOK] != PICK_EXISTING)
        facts = &draft->now.cook.facts;
    else if (scope == SCOPE_SESSION && draft->pick[RECORD_SESSION] != PICK_EXISTING)
        facts = &draft->now.session.facts;
    text_init(&text);
    if ((*facts)[0] != '\0')
        text_printf(&text, "%s ", *facts);
    put_setting(&text, observable, reading);
    *facts = arena_copy(draft->app->arena, text.bytes, text.length);
    text_release(&text);
}

/* A dose said in units is a figure; any other is a fact. */
static void take_dose(struct draft *draft, const struct reading_list *list,
                      const struct reading *reading)
{
    struct quantity quantity;
    size_t used = 0, length = reading->span.end - reading->span.start;
    if (draft->now.batch.dose > 0.0)
        return;
    if (quantity_read(list->text + reading->span.start, length, DIM_LITRES, &quantity, &used) !=
            QUANTITY_OK ||
        !quantity.unit_given) {
        keep_fact(draft, reading);
        return;
    }
    draft->now.batch.dose = 500.0 * (quantity.lo + quantity.hi);
    draft->now.batch.unit = "ml";
}

/* Where the draft keeps what an observable feeds: a number, or the id of the one value seen. */
static const struct slot {
    enum feeds feeds;
    enum { HOLDS_NUMBER, HOLDS_WORD, HOLDS_KIND } holds;
    size_t target;
    const char *of_cook; /* its column, when it is a figure of the cook */
} fields[] = {
    {FEEDS_COOK_GAUGE, HOLDS_NUMBER, offsetof(struct draft, now.cook.gauge), "gauge"},
    {FEEDS_COOK_MINUTES, HOLDS_NUMBER, offsetof(struct draft, now.cook.minutes), "minutes"},
    {FEEDS_ALTITUDE, HOLDS_NUMBER, offsetof(struct draft, now.cook.altitude), "altitude"},
    {FEEDS_VESSEL_MASS, HOLDS_NUMBER, offsetof(struct draft, measured.grams), NULL},
    {FEEDS_DRY_MASS, HOLDS_NUMBER, offsetof(struct draft, now.batch.dry), NULL},
    {FEEDS_WATER_MASS, HOLDS_NUMBER, offsetof(struct draft, now.batch.water), NULL},
    {FEEDS_SOAK, HOLDS_NUMBER, offsetof(struct draft, now.batch.soak), NULL},
    {FEEDS_TEMPERATURE, HOLDS_NUMBER, offsetof(struct draft, now.place.celsius), NULL},
    {FEEDS_SPECIES, HOLDS_WORD, offsetof(struct draft, now.batch.species), NULL},
    {FEEDS_GRAIN, HOLDS_WORD, offsetof(struct draft, now.lot.grain), NULL},
    {FEEDS_STARTER_KIND, HOLDS_WORD, offsetof(struct draft, now.starter.kind), NULL},
    {FEEDS_COOK_METHOD, HOLDS_WORD, offsetof(struct draft, now.cook.method), NULL},
    {FEEDS_LOAD, HOLDS_WORD, offsetof(struct draft, now.cook.load), NULL},
    {FEEDS_POSITION, HOLDS_WORD, offsetof(struct draft, positions), NULL},
    {FEEDS_VESSEL, HOLDS_KIND, offsetof(struct draft, measured.kind), NULL},
};

static enum status take_reading(struct draft *draft, const struct reading_list *list,
                                const struct reading *reading)
{
    const struct observable *observable = &draft->app->rules->observables[reading->observable];
    const struct slot *field = NULL;
    int value = reading->hedged ? RULES_NONE : single_value(reading->seen);

    if (observable->feeds == FEEDS_DOSE) {
        take_dose(draft, list, reading);
        return STATUS_OK;
    }
    for (size_t i = 0; i < sizeof fields / sizeof *fields; i++)
        if (fields[i].feeds == observable->feeds)
            field = &fields[i];
    if (field == NULL ||
        (field->holds == HOLDS_NUMBER ? !reading->has_number : value == RULES_NONE)) {
        keep_fact(draft, reading);
        return STATUS_OK;
    }
    void *target = (char *)draft + field->target;
    if (field->holds == HOLDS_NUMBER) {
        double *number = target, said = 0.5 * (reading->number.lo + reading->number.hi);
        /* The figure of a cook that others share is not changed on the way. */
        if (field->of_cook != NULL && draft->pick[RECORD_COOK] == PICK_EXISTING)
            return check_figure(draft, field->of_cook, *number, said);
        if (isnan(*number))
            *number = said;
        return STATUS_OK;
    }
    const char *id = observable->values[value].id;
    if (field->holds == HOLDS_WORD) {
        const char **word = target;
        if (*word == NULL || (*word)[0] == '\0')
            *word = id;
    } else if (draft->measured.kind == RULES_NONE) {
        draft->measured.kind = rules_vessel(draft->app->rules, id);
    }
    return STATUS_OK;
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

static enum status keep_unread(struct draft *draft, const struct reading_list *list)
{
    for (size_t i = 0; i < list->unread_count; i++) {
        const struct span *span = &list->unread[i].span;
        const char *words = list->text + span->start;
        int length = (int)(span->end - span->start < 200 ? span->end - span->start : 200);
        if (looks_like_label(words, span->end - span->start))
            return app_usage(draft->app,
                             "nothing in the journal is called '%.*s'; a new starter, say, is "
                             "made with --starter %.*s",
                             length, words, length, words);
        add(&draft->note, "%.*s", length, words);
    }
    return STATUS_OK;
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

/* Words of the command line, or an answer, as words about the batch. */
static enum status read_words(struct draft *draft, const char *words)
{
    struct app *app = draft->app;
    struct reading_list list;
    char *copy = arena_string(app->arena, words);
    enum status status;

    take_count(draft, copy);
    take_controls(draft, copy);
    take_shape(draft, copy);
    if ((status = take_labels(draft, copy)) ||
        (status = reader_read(app->reader, copy, strlen(copy), app->arena, &list, app->diags)) ||
        (status = refuse_signs(draft, &list)))
        return status;
    for (size_t i = 0; i < list.reading_count; i++)
        if ((status = take_reading(draft, &list, &list.readings[i])))
            return status;
    return keep_unread(draft, &list);
}

/* ==== the batch before ======================================================================== */

/*
 * What a batch takes over from the one before it, or from the one it is like: all
 * that was not told and still fits. It is said, so that nothing is taken over
 * unseen.
 */

static enum status find_before(struct draft *draft)
{
    struct app *app = draft->app;
    struct survey survey = survey_all(RECORD_BATCH, 1);
    struct parts *before = &draft->before;
    struct page page = {.count = 0};
    enum status status = draft->given.like != NULL
                             ? labels_find(app, RECORD_BATCH, draft->given.like, &before->batch)
                             : survey_page(app->journal, &survey, app->arena, &page, app->diags);
    if (status == STATUS_OK && page.count > 0)
        status = journal_get(app->journal, RECORD_BATCH, page.ids[0], app->arena, &before->batch,
                             app->diags);
    draft->has_before = draft->given.like != NULL || page.count > 0;
    if (status != STATUS_OK || !draft->has_before)
        return status;

    struct vessel vessel;
    int64_t id = 0;
    struct walk *walk =
        journal_walk(app->journal, RECORD_VESSEL, "batch", before->batch.id, false, app->diags);
    while (id == 0 && walk_next(walk, &vessel))
        id = vessel.control ? 0 : vessel.id;
    if ((status = walk_end(walk)) ||
        (id != 0 && (status = journal_get(app->journal, RECORD_VESSEL, id, app->arena,
                                          &before->vessel, app->diags))))
        return status;
    for (size_t i = 0; i < KINDS; i++)
        if (*id_of(before, &kinds[i]) != 0 &&
            (status = journal_get(app->journal, kinds[i].record, *id_of(before, &kinds[i]),
                                  app->arena, row_of(before, &kinds[i]), app->diags)))
            return status;
    return STATUS_OK;
}

/* Whether a record of the batch before is still to be had. */
static bool untold(const struct draft *draft, enum record record, int64_t id)
{
    return draft->pick[record] == PICK_UNTOLD && id != 0;
}

static bool take_number(double *number, double before)
{
    if (!isnan(*number) || isnan(before))
        return false;
    *number = before;
    return true;
}

static void take_word(const char **word, const char *before)
{
    if ((*word)[0] == '\0')
        *word = before;
}

static void take_species_and_vessel(struct draft *draft)
{
    const struct rules *rules = draft->app->rules;
    struct parts *now = &draft->now, *before = &draft->before;
    int kind = rules_vessel(rules, before->vessel.kind);

    /* A starter that was named knows what it is. */
    if (!draft->no_species && draft->pick[RECORD_STARTER] == PICK_EXISTING)
        take_word(&now->batch.species, now->starter.species);
    if (now->batch.species[0] == '\0' && !draft->no_species && before->batch.species[0] != '\0') {
        now->batch.species = before->batch.species;
        add(&draft->taken, "%s", view_name(&draft->app->view, LIST_SPECIES, now->batch.species));
    }
    if (!draft->has_before)
        return;
    if (draft->measured.kind == RULES_NONE && kind != RULES_NONE &&
        (draft->shape == RULES_NONE || (int)rules->vessels[kind].shape == draft->shape)) {
        draft->measured.kind = kind;
        add(&draft->taken, "%s", view_name(&draft->app->view, LIST_VESSELS, before->vessel.kind));
    }
    if (draft->measured.kind == kind && isnan(draft->measured.grams))
        draft->measured.grams = before->vessel.grams;
}

static void take_lot_and_starter(struct draft *draft)
{
    struct parts *now = &draft->now, *before = &draft->before;

    if (untold(draft, RECORD_LOT, before->lot.id) && !draft->no_grain &&
        (now->lot.grain[0] == '\0' || same(now->lot.grain, before->lot.grain))) {
        now->lot = before->lot;
        draft->pick[RECORD_LOT] = PICK_EXISTING;
        add(&draft->taken, "%s of lot %s",
            view_name(&draft->app->view, LIST_GRAINS, before->lot.grain), before->lot.label);
    }
    if (untold(draft, RECORD_STARTER, before->starter.id) && !draft->no_species &&
        (now->starter.kind[0] == '\0' || same(now->starter.kind, before->starter.kind)) &&
        same(now->batch.species, before->batch.species)) {
        now->starter = before->starter;
        draft->pick[RECORD_STARTER] = PICK_EXISTING;
        add(&draft->taken, "starter %s", before->starter.label);
    }
}

/* The figures, for a run of its own: which cook it was is not taken over. */
static void take_cook(struct draft *draft)
{
    struct cook *cook = &draft->now.cook;
    const struct cook *before = &draft->before.cook;
    bool any = false;
    if (before->id == 0 ||
        (draft->pick[RECORD_COOK] != PICK_UNTOLD && draft->pick[RECORD_COOK] != PICK_NEW))
        return;
    if (isnan(cook->gauge))
        take_word(&cook->method, before->method);
    if (same(cook->method, before->method)) {
        any |= take_number(&cook->gauge, before->gauge);
        any |= take_number(&cook->minutes, before->minutes);
    }
    any |= take_number(&cook->altitude, before->altitude);
    take_word(&cook->load, before->load);
    take_word(&cook->cooker, before->cooker);
    const char *words = view_cook_words(&draft->app->view, cook);
    if (any && words[0] != '\0')
        add(&draft->taken, "%s as in cook %s", words, before->label);
}

static void take_recipe(struct draft *draft)
{
    struct batch *batch = &draft->now.batch;
    const struct parts *before = &draft->before;
    bool same_kind = draft->measured.kind == rules_vessel(draft->app->rules, before->vessel.kind);
    bool same_grain = same(draft->now.lot.grain, before->lot.grain), mix = false;

    if (same_grain && same_kind) {
        mix |= take_number(&batch->dry, before->batch.dry);
        mix |= take_number(&batch->water, before->batch.water);
    }
    if (same_grain)
        mix |= take_number(&batch->soak, before->batch.soak);
    if (mix)
        add(&draft->taken, "the mix");
    if (same_kind && draft->now.starter.id == before->starter.id && before->starter.id != 0 &&
        take_number(&batch->dose, before->batch.dose)) {
        batch->unit = before->batch.unit;
        add(&draft->taken, "%g %s of starter", batch->dose,
            batch->unit[0] != '\0' ? batch->unit : "pieces");
    }
    take_word(&batch->purpose, before->batch.purpose);
}

static void take_place_and_session(struct draft *draft)
{
    struct parts *now = &draft->now, *before = &draft->before;

    if (untold(draft, RECORD_PLACE, before->place.id) && isnan(now->place.celsius)) {
        now->place = before->place;
        draft->pick[RECORD_PLACE] = PICK_EXISTING;
        add(&draft->taken, "place %s", before->place.label);
    }
    /* Two batches of one day were inoculated in one sitting, unless it is said otherwise. */
    if (untold(draft, RECORD_SESSION, before->session.id) && moment_known(before->session.at) &&
        moment_day(before->session.at) == moment_day(draft->at)) {
        now->session = before->session;
        draft->pick[RECORD_SESSION] = PICK_EXISTING;
        add(&draft->taken, "session %s, of the same day", before->session.label);
    }
}

/* ==== questions =============================================================================== */

/* The guided mode: a line for each fact that is missing, what would be taken over in brackets. */

static const struct fact_question {
    enum fact_kind { FACT_COUNT, FACT_KIND, FACT_GRAIN, FACT_SPECIES, FACT_RECORD } fact;
    const char *ask;
    const char *flag;          /* that would have answered, when it is required; else NULL */
    const char *hint;          /* when the answer is not understood */
    enum feeds feeds;          /* what Tab completes: values of this, */
    const struct kind *record; /* or labels of this kind */
} questions[] = {
    {FACT_COUNT, "How many vessels", "--count 8", "a number", FEEDS_NONE, NULL},
    {FACT_KIND, "What are they (quart jar, 3lb bag ...)", "--vessel quart_jar",
     "Tab shows the kinds", FEEDS_VESSEL, NULL},
    {FACT_GRAIN, "Which grain (or unknown)", "--grain rye (or unknown)", "Tab shows the grains",
     FEEDS_GRAIN, NULL},
    {FACT_SPECIES, "Which mushroom (or unknown)", "--species oyster (or unknown)",
     "Tab shows the mushrooms", FEEDS_SPECIES, NULL},
    {FACT_RECORD, "Which starter (a label, new or none)", NULL, "a label", FEEDS_NONE, &kinds[0]},
    {FACT_RECORD, "The cook (15 psi 90 min, or the label of one it shares)", NULL,
     "say it as: 15 psi 90 min", FEEDS_NONE, &kinds[1]},
    {FACT_RECORD, "Where do they stand", NULL, "a place", FEEDS_NONE, &kinds[4]},
};
enum { QUESTIONS = sizeof questions / sizeof *questions };

static bool known(const struct draft *draft, enum fact_kind fact)
{
    switch (fact) {
    case FACT_COUNT:
        return draft->vessels > 0;
    case FACT_KIND:
        return draft->measured.kind != RULES_NONE;
    case FACT_GRAIN:
        return draft->now.lot.grain[0] != '\0' || draft->no_grain ||
               draft->pick[RECORD_LOT] == PICK_EXISTING;
    case FACT_SPECIES:
        return draft->now.batch.species[0] != '\0' || draft->no_species;
    case FACT_RECORD:
        break;
    }
    return false;
}

/* The id of the one value that an answer names; "" for none. */
static const char *answered_id(struct draft *draft, enum feeds feeds, const char *answer)
{
    struct app *app = draft->app;
    struct reading_list list;
    int observable = app->rules->feeder[feeds];

    if (observable == RULES_NONE ||
        reader_answer(app->reader, (size_t)observable, answer, strlen(answer), app->arena, &list,
                      app->diags) != STATUS_OK)
        return "";
    for (size_t i = 0; i < list.reading_count; i++) {
        int value = single_value(list.readings[i].seen);
        if (list.readings[i].observable == (size_t)observable && value != RULES_NONE)
            return app->rules->observables[observable].values[value].id;
    }
    return "";
}

static bool take_answer(struct draft *draft, const struct fact_question *question,
                        const char *answer)
{
    bool unknown = strcasecmp(answer, "unknown") == 0;
    const char *id = "", *found = NULL;
    char *end = NULL;
    int64_t row = 0;

    if (question->feeds != FEEDS_NONE && !(unknown && question->fact != FACT_KIND))
        id = answered_id(draft, question->feeds, answer);
    switch (question->fact) {
    case FACT_COUNT: {
        long count = strtol(answer, &end, 10);
        if (end == answer || *end != '\0' || count < 1 || count > MOST_VESSELS)
            return false;
        draft->vessels = (size_t)count;
        break;
    }
    case FACT_KIND:
        draft->measured.kind = rules_vessel(draft->app->rules, id);
        break;
    case FACT_GRAIN:
        draft->no_grain = unknown;
        draft->now.lot.grain = id;
        break;
    case FACT_SPECIES:
        draft->no_species = unknown;
        draft->now.batch.species = id;
        break;
    case FACT_RECORD:
        /* "C4" shares that cook; anything else says what this one was. */
        if (question->record->record == RECORD_COOK && strcasecmp(answer, "none") != 0 &&
            !labels_has(draft->app, RECORD_COOK, answer, &row, &found))
            return read_words(draft, answer) == STATUS_OK;
        return pick(draft, question->record, answer) == STATUS_OK;
    }
    return known(draft, question->fact);
}

/* What would be taken over; "" for nothing. */
static const char *standing(const struct draft *draft, const struct fact_question *question)
{
    const struct journal_view *told = &draft->app->view;
    const struct parts *before = &draft->before;
    const char *species = draft->now.batch.species;

    if (!draft->has_before)
        return "";
    switch (question->fact) {
    case FACT_COUNT:
        return "";
    case FACT_KIND:
        return view_name(told, LIST_VESSELS, before->vessel.kind);
    case FACT_GRAIN:
        return view_name(told, LIST_GRAINS, before->lot.grain);
    case FACT_SPECIES:
        return view_name(told, LIST_SPECIES, before->batch.species);
    case FACT_RECORD:
        break;
    }
    if (question->record->record == RECORD_COOK)
        return before->cook.id != 0 ? view_cook_words(told, &before->cook) : "";
    if (question->record->record == RECORD_PLACE)
        return before->place.label;
    /* Of another mushroom the starter would not be taken over. */
    return species[0] == '\0' || same(species, before->batch.species) ? before->starter.label
                                                                      : "new";
}

/* False: the grower left. */
static bool ask(struct draft *draft, struct lines *lines, const struct fact_question *question,
                const char *standing)
{
    enum { MOST_WORDS = 128 };
    struct app *app = draft->app;
    const char *words[MOST_WORDS]; /* for completion */
    size_t count = 0;
    int feeder = app->rules->feeder[question->feeds];
    char *answer = NULL;

    if (question->feeds != FEEDS_NONE && feeder != RULES_NONE) {
        const struct observable *observable = &app->rules->observables[feeder];
        for (size_t i = 0; i < observable->value_count && count < MOST_WORDS; i++)
            words[count++] = observable->values[i].id;
    }
    if (question->record != NULL) {
        union any_record row;
        struct walk *walk =
            journal_walk(app->journal, question->record->record, NULL, 0, true, app->diags);
        while (count < MOST_WORDS && walk_next(walk, &row))
            words[count++] = arena_string(app->arena, row.named.label);
        (void)walk_end(walk);
    }
    for (;;) {
        enum line_answer how = lines_ask(lines, question->ask, standing, words, count, &answer);
        if (how == LINE_LEFT)
            return false;
        if (how == LINE_EMPTY && (question->flag == NULL || standing[0] != '\0'))
            return true;
        bool taken = how == LINE_GIVEN && take_answer(draft, question, answer);
        app_report(app);
        free(answer);
        if (taken)
            return true;
        screen_say(&app->out, 2, 0, ROLE_QUIET, "Not understood: %s.", question->hint);
        (void)app_flush(app);
    }
}

/* Guided: every question, what the batch before had in brackets. Else only what is required and
 * still missing. Where nobody can be asked, the flags that would have answered are named. */
static enum status ask_missing(struct draft *draft, bool guided)
{
    struct text flags;
    bool stays = true;

    text_init(&flags);
    for (size_t i = 0; i < QUESTIONS; i++)
        if (questions[i].flag != NULL && !known(draft, questions[i].fact))
            text_printf(&flags, "%s%s", flags.length > 0 ? ", " : "", questions[i].flag);
    bool complete = !guided && flags.length == 0;
    struct lines *lines = complete || draft->given.no_input ? NULL : lines_open();
    enum status status =
        complete || guided || lines != NULL
            ? STATUS_OK
            : app_usage(draft->app, "the batch is not told in full; add %s", flags.bytes);
    text_release(&flags);
    if (lines == NULL)
        return status;
    for (size_t i = 0; i < QUESTIONS && stays; i++)
        if (!known(draft, questions[i].fact) && (guided || questions[i].flag != NULL))
            stays = ask(draft, lines, &questions[i], guided ? standing(draft, &questions[i]) : "");
    lines_close(lines);
    return stays ? STATUS_OK : app_usage(draft->app, "nothing was recorded");
}

/* ==== saving ================================================================================== */

/* ---- settling what was not told -------------------------------------------------------------- */

/* The commonest kind of that shape. */
static void settle_shape(struct draft *draft)
{
    const struct rules *rules = draft->app->rules;
    int best = RULES_NONE;
    if (draft->measured.kind != RULES_NONE || draft->shape == RULES_NONE)
        return;
    for (size_t i = 0; i < rules->vessel_count; i++)
        if ((int)rules->vessels[i].shape == draft->shape &&
            (best == RULES_NONE || rules->vessels[i].base > rules->vessels[best].base))
            best = (int)i;
    draft->measured.kind = best;
    if (best != RULES_NONE)
        add(&draft->first, "taken for: %s; --vessel says another",
            view_name(&draft->app->view, LIST_VESSELS, rules->vessels[best].id));
}

static void settle(struct draft *draft)
{
    const struct rules *rules = draft->app->rules;
    struct parts *now = &draft->now;
    enum pick *pick = draft->pick;
    int feeder = rules->feeder[FEEDS_TEMPERATURE];

    for (size_t i = 0; i < KINDS; i++)
        if (pick[kinds[i].record] == PICK_UNTOLD)
            pick[kinds[i].record] = kinds[i].record == RECORD_LOT && now->lot.grain[0] != '\0'
                                        ? PICK_NEW
                                        : kinds[i].untold;
    /* Warmth is kept with a new place; said of an old one or of none it is this batch's fact. */
    if (pick[RECORD_PLACE] == PICK_NONE && !isnan(now->place.celsius) && feeder != RULES_NONE)
        now->batch.facts =
            arena_format(draft->app->arena, "%s%s%s=%.4g%s", now->batch.facts,
                         now->batch.facts[0] != '\0' ? " " : "", rules->observables[feeder].id,
                         now->place.celsius, dimension_unit(DIM_CELSIUS));
    if (pick[RECORD_STARTER] == PICK_NEW)
        take_word(&now->starter.species, now->batch.species);
    if (pick[RECORD_SESSION] == PICK_NEW)
        now->session.at = draft->at;
    now->batch.at = draft->at;
    if (draft->note.length > 0)
        now->batch.note = draft->note.bytes;
}

/* ---- positions in the cooker ----------------------------------------------------------------- */

/* "upper" for all, or "upper:4,lower:4" in the order of the numbers. A position by id or label. */
static enum status place_in_cooker(struct draft *draft, struct vessel *vessels, size_t count)
{
    const struct rules *rules = draft->app->rules;
    const char *at = draft->positions;
    size_t next = 0;

    while (at != NULL && *at != '\0') {
        size_t length = strcspn(at, ":,"), many = count - next;
        const char *word = arena_copy(draft->app->arena, at, length), *id = NULL;
        struct list_word value;
        struct text known;
        text_init(&known);
        for (size_t i = 0; (value = list_word(rules, LIST_POSITIONS, i)).id != NULL; i++) {
            if (same(value.id, word) || same(value.name, word))
                id = value.id;
            text_printf(&known, "%s%s", i > 0 ? ", " : "", value.id);
        }
        enum status status =
            id != NULL ? STATUS_OK
                       : app_usage(draft->app, "no position '%s' in the cooker; there are: %s",
                                   word, known.length > 0 ? known.bytes : "none");
        text_release(&known);
        if (status != STATUS_OK)
            return status;
        at += length;
        if (*at == ':') {
            char *end = NULL;
            long number = isdigit((unsigned char)at[1]) ? strtol(at + 1, &end, 10) : -1;
            if (number < 1 || (*end != ',' && *end != '\0'))
                return app_usage(draft->app, "'--position %s' should be like upper:4,lower:4",
                                 draft->positions);
            many = (size_t)number < many ? (size_t)number : many;
            at = end;
        }
        for (; many > 0; many--)
            vessels[next++].position = id;
        at += *at == ',';
    }
    return STATUS_OK;
}

/* ---- writing --------------------------------------------------------------------------------- */

struct saved {
    struct vessel *vessels; /* in the arena */
    size_t count;
    struct vessel_forecast course;
    int64_t first_look; /* day; 0 for none */
};

static enum status add_row(struct app *app, enum record record, union any_record *row)
{
    enum status status = STATUS_OK;
    if (row->named.label[0] == '\0')
        status =
            journal_next_label(app->journal, record, app->arena, &row->named.label, app->diags);
    return status == STATUS_OK ? journal_add(app->journal, record, row, app->diags) : status;
}

static enum status add_records(struct draft *draft)
{
    struct parts *now = &draft->now;
    enum status status = STATUS_OK;

    for (size_t i = 0; i < KINDS && status == STATUS_OK; i++) {
        union any_record *row = row_of(now, &kinds[i]);
        if (draft->pick[kinds[i].record] == PICK_NONE)
            record_init(kinds[i].record, row);
        if (draft->pick[kinds[i].record] == PICK_NEW)
            status = add_row(draft->app, kinds[i].record, row);
        *id_of(now, &kinds[i]) = row->named.id;
    }
    return status == STATUS_OK ? add_row(draft->app, RECORD_BATCH, (union any_record *)&now->batch)
                               : status;
}

static enum status add_vessels(struct draft *draft, struct saved *saved)
{
    struct app *app = draft->app;
    const struct batch *batch = &draft->now.batch;

    for (size_t i = 0; i < saved->count; i++) {
        struct vessel *vessel = &saved->vessels[i];
        enum status status;
        vessel->batch = batch->id;
        vessel->place = draft->now.place.id;
        vessel->label = arena_format(app->arena, "%s-%zu", batch->label, i + 1);
        if ((status = journal_add(app->journal, RECORD_VESSEL, vessel, app->diags)))
            return status;
        if (i == 0) {
            if ((status = vessel_forecast_of(app->journal, app->rules, batch, vessel,
                                             &saved->course, app->diags)))
                return status;
            saved->first_look = vessel_forecast_first_day(&saved->course, batch);
        }
        if ((status = journal_set_due(app->journal, vessel->id, saved->first_look, FIRST_LOOK,
                                      app->diags)))
            return status;
    }
    return STATUS_OK;
}

static enum status save(struct draft *draft, struct saved *saved)
{
    struct app *app = draft->app;
    enum status status;

    saved->count = draft->vessels + draft->controls;
    saved->vessels = arena_array(app->arena, saved->count, sizeof *saved->vessels);
    for (size_t i = 0; i < saved->count; i++) {
        struct vessel *vessel = &saved->vessels[i];
        record_init(RECORD_VESSEL, vessel);
        vessel->number = (int64_t)i + 1;
        vessel->kind = app->rules->vessels[draft->measured.kind].id;
        vessel->grams = draft->measured.grams;
        vessel->control = i >= draft->vessels;
    }
    if ((status = place_in_cooker(draft, saved->vessels, saved->count)) ||
        (status = journal_begin(app->journal, app->diags)))
        return status;
    status = add_records(draft);
    return app_commit(app, status == STATUS_OK ? add_vessels(draft, saved) : status);
}

/* ==== the command ============================================================================= */

/* "New: starter S1, cook C1. Shared: session N2." */
static void say_records(struct draft *draft, enum pick pick, const char *lead)
{
    struct text text;
    text_init(&text);
    for (size_t i = 0; i < KINDS; i++) {
        const union any_record *row = row_of(&draft->now, &kinds[i]);
        if (draft->pick[kinds[i].record] == pick && row->named.label[0] != '\0')
            text_printf(&text, "%s%s %s", text.length > 0 ? ", " : "",
                        record_types[kinds[i].record].name, row->named.label);
    }
    if (text.length > 0)
        screen_say(&draft->app->out, 0, 2, ROLE_PLAIN, "%s: %s.", lead, text.bytes);
    text_release(&text);
}

static void tell(struct draft *draft, const struct saved *saved)
{
    struct screen *out = &draft->app->out;
    const struct journal_view *told = &draft->app->view;
    const struct batch *batch = &draft->now.batch;
    const struct vessel_forecast *course = &saved->course;
    int64_t day = moment_day(draft->at);
    char from[MOMENT_ROOM], to[MOMENT_ROOM];
    struct text labels;

    screen_say(out, 0, 2, ROLE_STRONG, "%s: %zu x %s, %s, inoculated %s.", batch->label,
               draft->vessels, view_name(told, LIST_VESSELS, saved->vessels[0].kind),
               view_batch_words(told, batch), moment_write_day(draft->at, from));
    text_init(&labels);
    view_vessels(&labels, saved->vessels, draft->vessels);
    if (draft->controls > 0) {
        text_puts(&labels, "; controls, never inoculated: ");
        view_vessels(&labels, saved->vessels + draft->vessels, draft->controls);
    }
    screen_say(out, 0, 2, ROLE_PLAIN, "Label them %s.", labels.bytes);
    text_release(&labels);
    say_records(draft, PICK_NEW, "New");
    say_records(draft, PICK_EXISTING, "Known already");
    if (draft->taken.length > 0 && draft->has_before)
        screen_say(out, 0, 2, ROLE_QUIET, "Taken over from %s: %s.", draft->before.batch.label,
                   draft->taken.bytes);
    if (draft->first.length > 0)
        screen_say(out, 0, 2, ROLE_QUIET, "%s.", draft->first.bytes);
    if (draft->note.length > 0)
        screen_say(out, 0, 2, ROLE_QUIET, "Kept as a note: %s.", draft->note.bytes);
    if (course->known && isfinite(course->full.low) && isfinite(course->full.high))
        screen_say(out, 0, 2, ROLE_PLAIN, "White through between %s and %s, as the forecast goes.",
                   view_day(day + (int64_t)floor(course->full.low), from),
                   view_day(day + (int64_t)ceil(course->full.high), to));
    screen_say(out, 0, 2, ROLE_PLAIN, "First look: %s. Then: jarside look %s",
               view_day(saved->first_look, from), batch->label);
}

static json_t *records_json(struct draft *draft, bool only_new)
{
    json_t *object = json_object();
    for (size_t i = 0; i < KINDS; i++)
        if (!only_new || draft->pick[kinds[i].record] == PICK_NEW)
            json_object_set_new(object, record_types[kinds[i].record].name,
                                view_json_text(row_of(&draft->now, &kinds[i])->named.label));
    return object;
}

static json_t *batch_json(struct draft *draft, const struct saved *saved)
{
    const struct vessel_forecast *course = &saved->course;
    const struct batch *batch = &draft->now.batch;
    int64_t day = moment_day(draft->at);
    bool dated = course->known && isfinite(course->full.high);
    return json_pack("{s:i, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}",
                     "schema", 1, "batch", view_json_text(batch->label), "at",
                     view_json_moment(draft->at), "species", view_json_text(batch->species),
                     "grain", view_json_text(draft->now.lot.grain), "kind",
                     view_json_text(saved->vessels[0].kind), "vessels",
                     view_json_vessels(saved->vessels, draft->vessels), "controls",
                     view_json_vessels(saved->vessels + draft->vessels, draft->controls), "records",
                     records_json(draft, false), "new", records_json(draft, true), "taken_over",
                     view_json_parts(draft->taken.bytes), "note", view_json_text(batch->note),
                     "first_look", view_json_day(saved->first_look), "full_from",
                     view_json_day(dated ? day + (int64_t)floor(course->full.low) : 0), "full_to",
                     view_json_day(dated ? day + (int64_t)ceil(course->full.high) : 0));
}

static enum status fill(struct draft *draft)
{
    struct app *app = draft->app;
    const struct arguments *arguments = &app->arguments;
    struct parts *now = &draft->now;
    enum status status;

    if ((status = read_options(draft)) ||
        (arguments->operand_count > 0 &&
         (status = read_words(
              draft, arena_join(app->arena, arguments->operands, arguments->operand_count)))) ||
        (status = find_before(draft)))
        return status;
    bool guided = arguments->operand_count == 0 && !arguments_flag(arguments, "count") &&
                  draft->given.like == NULL;
    if (guided && (status = ask_missing(draft, true)))
        return status;
    take_species_and_vessel(draft);
    if (draft->has_before) {
        take_lot_and_starter(draft);
        take_cook(draft);
        take_recipe(draft);
        take_place_and_session(draft);
    }
    settle_shape(draft);
    if ((status = ask_missing(draft, false)))
        return status;
    settle(draft);
    /* Starter and batch must be the same mushroom, or one of the two is a slip. */
    if (draft->pick[RECORD_STARTER] == PICK_EXISTING && now->starter.species[0] != '\0' &&
        now->batch.species[0] != '\0' && !same(now->starter.species, now->batch.species))
        return app_usage(app, "starter %s is %s, and the batch %s; one of the two is a slip",
                         now->starter.label,
                         view_name(&app->view, LIST_SPECIES, now->starter.species),
                         view_name(&app->view, LIST_SPECIES, now->batch.species));
    return STATUS_OK;
}

static enum status run_batch(struct app *app)
{
    struct draft draft = {.app = app, .shape = RULES_NONE, .given.use = RULES_NONE};
    struct saved saved = {.count = 0};
    enum status status = app_open(app, JOURNAL_CREATE);
    if (status != STATUS_OK)
        return status;
    known_vessel_init(&draft.measured);
    for (int before = 0; before < 2; before++) {
        struct parts *parts = before ? &draft.before : &draft.now;
        for (size_t i = 0; i < KINDS; i++)
            record_init(kinds[i].record, row_of(parts, &kinds[i]));
        record_init(RECORD_BATCH, &parts->batch);
        record_init(RECORD_VESSEL, &parts->vessel);
    }
    text_init(&draft.note);
    text_init(&draft.taken);
    text_init(&draft.first);
    if ((status = fill(&draft)) == STATUS_OK && (status = save(&draft, &saved)) == STATUS_OK) {
        if (draft.given.json) {
            status = app_json(app, batch_json(&draft, &saved), false);
        } else {
            tell(&draft, &saved);
            status = app_flush(app);
        }
    }
    text_release(&draft.note);
    text_release(&draft.taken);
    text_release(&draft.first);
    return status;
}

const struct command command_batch = {
    .name = "batch",
    .summary = "starts a batch: so many vessels of a grain, a cook, a starter; labelled",
    .operands = "[WORDS...]",
    .detail =
        "The number comes first: jarside batch 8 quart jars rye oyster, 15 psi 90 min. What is not "
        "said is taken over from the last batch where it still fits, and that is told. Labels of "
        "the journal (a starter S1, a cook C4, a place) may stand among the words. Without words "
        "it "
        "asks.",
    .options = options,
    .run = run_batch,
};
