/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Starting a batch: its options, its words ("5 pint jars wheat oyster, S1, 14 psi 95 min, closet"),
 * the questions about what is missing, what is taken over from the batch before, and writing it
 * down. */
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/csv.h"
#include "cli/app.h"
#include "journal/exchange.h"
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
    struct vessel vessel; /* its first; in a draft `position` is as given: "upper:4,lower:4" */
};

/* The records a batch refers to, where it keeps their ids, and itself. A place is its vessels'. */
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
    {.record = RECORD_BATCH, .row = offsetof(struct parts, batch)},
    {.record = RECORD_VESSEL, .row = offsetof(struct parts, vessel)},
};
enum {
    STARTER,
    COOK,
    SESSION,
    LOT,
    PLACE,
    KINDS,
    ITSELF = KINDS,
    PARTS = sizeof kinds / sizeof *kinds
};

/* A batch while it is put together: from options, words, answers, and what the batch before had, in
 * this order. What is absent in its parts is not known yet. Texts are in the arena. */
struct draft {
    struct app *app;
    struct moment at;
    size_t vessels, controls;
    int shape; /* of the vessels, where only that is known: an enum vessel_shape; RULES_NONE */
    bool no_species, no_grain; /* they are unknown, and that was said */
    bool unread_time;          /* some time was said, and of what was not understood */
    struct vessel mother;      /* whose grain a new starter is; id 0 for none */
    enum pick pick[RECORD_COUNT];
    struct parts now, before; /* before: the newest batch, or the one of --like; id 0 for none */
    /* Parts divided by "; ": words that were not understood (kept, not lost); what was taken over,
     * from the batch before or from the settings. */
    const char *unread, *taken, *set;
    const char *assumed; /* the kind of vessel, where nobody said it; or NULL */
    /* What was made: its vessels, the controls after the others, when they are due. */
    struct vessel *made;
    struct vessel_forecast forecast;
    int64_t first_look; /* day; 0 for none */
};

static union any_record *row_of(struct parts *parts, const struct kind *kind)
{
    return (union any_record *)(void *)((char *)parts + kind->row);
}

static int64_t *id_of(struct parts *parts, const struct kind *kind)
{
    return (int64_t *)(void *)((char *)parts + kind->id);
}

/* Notes something for the grower. */
#define note(draft, list, ...) words_add((draft)->app, &(draft)->list, "; ", __VA_ARGS__)

static const char *name_of(const struct draft *draft, enum word_list list, const char *id)
{
    return view_name(&draft->app->view, list, id);
}

static bool same(const char *a, const char *b)
{
    return strcmp(a, b) == 0;
}

/* What is not known yet is taken; whether it was. */
static bool take_number(double *number, double from)
{
    if (!isnan(*number) || isnan(from))
        return false;
    *number = from;
    return true;
}

static void take_word(const char **word, const char *from)
{
    if ((*word)[0] == '\0')
        *word = from;
}

/* ---- which records --------------------------------------------------------------------------- */

/* Whether something that was said cannot be: in the guided mode the question is put again. */
static bool failed(const struct draft *draft)
{
    return diags_errors(draft->app->diags) > 0;
}

/* Notes where figures said of a cook are not those that a shared one was recorded with. */
static void check_figures(struct draft *draft, const struct cook *said)
{
    const char *label = draft->now.cook.label;
    for (const struct column *at = record_types[RECORD_COOK].columns; at->name != NULL; at++) {
        if (at->kind != COLUMN_REAL)
            continue;
        const double *recorded = column_member(at, &draft->now.cook);
        const double *now = column_member(at, said);
        if (!isnan(*now) && !(fabs(*now - *recorded) <= 0.01 * fabs(*recorded)))
            app_usage(draft->app,
                      "cook %s is on record %s '%s'; correct it first with 'jarside correct "
                      "cook %s %s=...', or name another cook",
                      label, isnan(*recorded) ? "without a value for" : "with another value for",
                      at->name, label, at->name);
    }
}

/* Says that `label` (or "new", "none") is the record of this kind. What was said before stays said,
 * where the record is silent. What is wrong is noted (failed). */
static void pick(struct draft *draft, const struct kind *kind, const char *label)
{
    struct app *app = draft->app;
    struct parts *now = &draft->now;
    const struct parts said = *now;
    enum pick *pick = &draft->pick[kind->record];
    const int64_t id = labels_id(app, kind->record, label);

    if (strcasecmp(label, "none") == 0) {
        *pick = PICK_NONE;
    } else if (strcasecmp(label, "new") == 0) {
        *pick = PICK_NEW;
    } else if (id != 0) {
        *pick = PICK_EXISTING;
        app_get(app, kind->record, id, row_of(now, kind));
        if (kind->record == RECORD_LOT && said.lot.grain[0] != '\0' &&
            !same(said.lot.grain, now->lot.grain))
            app_usage(app, "lot %s is %s; leave out the grain, or name another lot", now->lot.label,
                      name_of(draft, LIST_GRAINS, now->lot.grain));
        take_word(&now->starter.kind, said.starter.kind);
        if (kind->record == RECORD_COOK)
            check_figures(draft, &said.cook);
    } else if (kind->record == RECORD_STARTER && labels_id(app, RECORD_VESSEL, label) != 0) {
        starter_of_vessel(app, label, &draft->mother, &now->starter);
        *pick = now->starter.id != 0 ? PICK_EXISTING : PICK_NEW;
    } else if (label[0] == '\0') {
        app_usage(app, "the label of a %s cannot be empty", record_types[kind->record].name);
    } else {
        labels_check_new(app, kind->record, label, app->given.fresh);
        *pick = PICK_NEW; /* the label is copied, as an answer does not live as long */
        row_of(now, kind)->named.label = arena_string(app->arena, label);
    }
}

/* ==== options ================================================================================= */

/* An id of the rules, or unknown. */
static void read_id(struct app *app, const char *name, const char *word, enum word_list list,
                    const char **id, bool *unknown)
{
    if (word != NULL && !(*unknown = strcasecmp(word, "unknown") == 0))
        *id = list_word(app->rules, list, (size_t)option_id(app, name, word, list)).id;
}

static void read_options(struct draft *draft)
{
    struct app *app = draft->app;
    const struct given *given = &app->given;
    const struct known_cook *cook = &given->cook;
    const char *label = given->label;
    const char *const labels[KINDS] = {given->starter, given->cook_label, given->session,
                                       given->lot, given->place};
    struct batch *batch = &draft->now.batch;
    struct vessel *vessel = &draft->now.vessel;

    draft->at = given->at;
    draft->vessels = given->count;
    draft->controls = given->controls;
    draft->now.cook.gauge = cook->gauge;
    draft->now.cook.minutes = cook->minutes;
    draft->now.cook.altitude = cook->altitude;
    batch->dry = cook->grain.dry;
    batch->water = cook->grain.water;
    batch->soak = given->soak;
    vessel->kind = cook->vessel.kind != RULES_NONE ? app->rules->vessels[cook->vessel.kind].id : "";
    vessel->grams = cook->vessel.grams;
    vessel->position = given->position != NULL ? given->position : "";
    read_id(app, "species", given->species, LIST_SPECIES, &batch->species, &draft->no_species);
    read_id(app, "grain", given->grain, LIST_GRAINS, &draft->now.lot.grain, &draft->no_grain);
    if (given->inoculum != NULL &&
        (batch->unit = inoculum_read(given->inoculum, &batch->inoculum)) == NULL)
        app_wrong(app, "inoculum",
                  "not an amount of inoculum: '%s'; for instance 3ml, 90g, or 2 for two pieces of "
                  "agar",
                  given->inoculum);
    if (batch->inoculum <= 0.0)
        app_wrong(app, "inoculum", "the amount must be more than 0");
    if (given->purpose != RULES_NONE)
        batch->purpose = app->rules->decision.uses[given->purpose].id;
    if (label != NULL && label[0] == '\0')
        app_wrong(app, "label", "a label cannot be empty");
    if (label != NULL && labels_id(app, RECORD_BATCH, label) != 0)
        app_wrong(app, "label", "there is a batch %s already", label);
    take_word(&batch->label, label != NULL ? label : "");
    for (size_t i = 0; i < KINDS; i++)
        if (labels[i] != NULL)
            pick(draft, &kinds[i], labels[i]);
    if (failed(draft))
        app_quit(app, STATUS_USAGE);
}

/* ==== words =================================================================================== */

/* The number of vessels comes first. Labels of the journal are taken as such; the rest is read as
 * the description of a vessel would be, and what it says of circumstances goes to the batch, its
 * cook or its session. Nothing is dropped: what nobody understood is kept as a note, and said. */

struct token { /* of a text in which what is taken is blanked */
    char *start, *end;
    const char *word; /* what stood there */
};

static void blank(struct token word)
{
    memset(word.start, ' ', (size_t)(word.end - word.start));
}

/* The words of the text, between blanks, commas and semicolons; after the last an empty one. */
static struct token *split(struct app *app, char *text, size_t *count)
{
    static const char between[] = " \t\r\n\v\f,;";
    struct token *words = NULL;
    *count = 0;
    for (char *at = text + strspn(text, between); *at != '\0'; at += strspn(at, between)) {
        const size_t length = strcspn(at, between);
        *arena_push(app->arena, words, *count) =
            (struct token){at, at + length, arena_copy(app->arena, at, length)};
        at += length;
    }
    char *end = text + strlen(text);
    *arena_push(app->arena, words, *count) = (struct token){end, end, ""};
    *count -= 1;
    return words;
}

/* Whether it is this word, or its plural. */
static bool is_word(struct token at, const char *word)
{
    const size_t length = strlen(word);
    return *at.start != ' ' && strncasecmp(at.word, word, length) == 0 &&
           (at.word[length] == '\0' || strcasecmp(at.word + length, "s") == 0);
}

/* "shelf2" or "shelf 2" anywhere, and "attic" between commas: a new place, as none is called so. */
static void take_place(struct draft *draft, const struct token *words, size_t w)
{
    static const char *const leads[] = {"place", "on", "in", "at"};
    struct app *app = draft->app;
    struct token at = words[w];
    size_t first = w;
    const bool said = w > 0 && is_word(words[w - 1], leads[0]); /* "place cupboard" */
    for (size_t i = 0; w > 0 && i < sizeof leads / sizeof *leads; i++)
        if (is_word(words[w - 1], leads[i]))
            first = w - 1;
    if (count_read(words[w + 1].word) >= 0 && words[w + 1].start == at.end + 1)
        at.end = words[w + 1].end;
    const char *before = first > 0 ? words[first - 1].end : at.start;
    size_t behind = strspn(at.end, " ");
    bool numbered = isdigit((unsigned char)at.end[-1]);
    bool alone = (first == 0 || strcspn(before, ",;") < (size_t)(words[first].start - before)) &&
                 (at.end[behind] == '\0' || strchr(",;", at.end[behind]) != NULL);
    const char *label = arena_copy(app->arena, at.start, (size_t)(at.end - at.start));
    if (!isalpha((unsigned char)*label) ||
        !(said || ((numbered || alone) && names_a_place(app, label))))
        return;
    labels_check_place(app, label, app->given.fresh);
    if (first < w)
        blank(words[first]);
    blank(at);
    pick(draft, &kinds[PLACE], label);
}

/* The kinds of record that a word is the label of, as far as none of them was named yet: of the
 * kind that the word before says, else of any. A vessel can be a starter. Two of them are noted. */
static const struct kind *kind_called(struct draft *draft, const struct token *words, size_t w,
                                      const char *label)
{
    struct app *app = draft->app;
    const struct kind *said = NULL, *first = NULL;
    const char *names = "";
    size_t count = 0;
    for (size_t i = 0; w > 0 && i < KINDS; i++) /* "starter S1" */
        if (is_word(words[w - 1], record_types[kinds[i].record].name))
            said = &kinds[i];
    for (size_t i = 0; i < KINDS; i++) {
        const enum record record = kinds[i].record;
        if ((said != NULL && said != &kinds[i]) || draft->pick[record] != PICK_UNTOLD)
            continue;
        if (labels_id(app, record, label) != 0) {
            words_add(app, &names, " and a ", "%s", record_types[record].name);
            count++;
        } else if (record != RECORD_STARTER || labels_id(app, RECORD_VESSEL, label) == 0) {
            continue;
        }
        first = first != NULL ? first : &kinds[i];
    }
    if (count > 1)
        app_usage(app, "'%s' is a %s; say which, for instance: %s %s", label, names,
                  record_types[first->record].name, label);
    return first;
}

/* S9, N4, S2b: meant as a label, and there is none; a note would hide the mistake. */
static bool looks_like_label(const char *word)
{
    size_t letters = 0;
    while (isalpha((unsigned char)word[letters]))
        letters++;
    const size_t digits = strspn(word + letters, "0123456789");
    const char *tail = word + letters + digits;
    return letters > 0 && letters <= 2 && digits > 0 &&
           (tail[0] == '\0' || (isalpha((unsigned char)tail[0]) && tail[1] == '\0'));
}

static void no_such_label(struct draft *draft, const char *kind, const char *label)
{
    app_usage(draft->app,
              "nothing in the journal is called '%s'; --%s %s makes a new one, or 'jarside record "
              "%s %s ...' with what is known of it",
              label, kind, label, kind, label);
}

/* "two agar wedges each": so many pieces in each vessel. */
static void take_pieces(struct draft *draft, const struct token *words, size_t w)
{
    struct batch *batch = &draft->now.batch;
    const char *word = words[w].word;
    if (batch->inoculum > 0.0 || *words[w].start == ' ' ||
        !rules_lists(draft->app->rules, "piece_words", word, strlen(word)))
        return;
    for (size_t back = 1; back <= 2 && back <= w; back++) {
        const bool one = is_word(words[w - back], "a") || is_word(words[w - back], "an");
        const long number = one ? 1 : count_read(words[w - back].word);
        if (number <= 0 || *words[w - back].start == ' ')
            continue;
        batch->inoculum = (double)number;
        batch->unit = "";
        blank(words[w - back]);
        return;
    }
}

/* What the reader must not see is taken, and blanked: the number of vessels ("8 x quart jars"), "2
 * controls", labels of the journal ("S1", "starter S1"). "bags" without a size still tells the
 * shape. */
static void take_words(struct draft *draft, char *text)
{
    /* A figure with its unit is no number of vessels: "15 psi", "90 min". Litres and grams are not
     * looked for, as vessels are named by them: "8 quart jars", "8 3lb bags". */
    static const unsigned figures = 1U << DIM_GAUGE_KPA | 1U << DIM_MINUTES | 1U << DIM_DAYS |
                                    1U << DIM_CELSIUS | 1U << DIM_PERCENT;
    static const char digits[] = "0123456789";
    struct app *app = draft->app;
    size_t count = 0;
    const struct token *words = split(app, text, &count);
    bool fresh = false; /* "new starter" stands before */
    long number = count_read(words[0].word);

    if (number >= 0 && !is_quantity(words[0].start, figures, false)) {
        if (draft->vessels == 0)
            draft->vessels = (size_t)number;
        blank(words[0]);
        if (is_word(words[1], "x"))
            blank(words[1]);
    }
    for (size_t w = 0; w < count && !failed(draft); w++) {
        const struct token at = words[w];
        const char *word = at.word, *next = words[w + 1].word;
        if (*at.start == ' ') /* it was taken */
            continue;
        number = count_read(word);
        if (number >= 0 && number <= 1000 && is_word(words[w + 1], "control")) {
            draft->controls = (size_t)number;
            blank(at);
            blank(words[++w]);
            continue;
        }
        if (is_word(at, "bag") || is_word(at, "jar"))
            draft->shape = is_word(at, "bag") ? SHAPE_BRICK : SHAPE_CYLINDER;
        take_pieces(draft, words, w);
        for (size_t k = 0; k < KINDS && looks_like_label(next) && !fresh; k++) /* "starter S9" */
            if (is_word(at, record_types[kinds[k].record].name) &&
                labels_id(app, kinds[k].record, next) == 0 &&
                labels_id(app, RECORD_VESSEL, next) == 0)
                no_such_label(draft, record_types[kinds[k].record].name, next);
        const struct kind *kind = kind_called(draft, words, w, word);
        if (kind != NULL && !failed(draft)) {
            const char *name = record_types[kind->record].name;
            if (fresh && labels_id(app, kind->record, word) != 0)
                app_usage(app,
                          "there is a %s %s already; give the new one another label: --%s LABEL, "
                          "or leave 'new' out",
                          name, word, name);
            for (size_t b = w; b-- > 0 && (is_word(words[b], name) || is_word(words[b], "from"));)
                blank(words[b]);
            blank(at);
            pick(draft, kind, word);
        }
        fresh = is_word(at, "new") || (fresh && (is_word(at, "starter") || is_word(at, "cook")));
        if (*at.start == ' ' || failed(draft)) /* it was taken */
            continue;
        if (draft->pick[RECORD_PLACE] == PICK_UNTOLD)
            take_place(draft, words, w);
        if (*at.start == ' ')
            continue;
        labels_check_new(app, RECORD_PLACE, word,
                         app->given.fresh || at.end - at.start < 4); /* "clost" */
        const size_t letters = strcspn(word, digits);
        const bool slip = letters > 3 && word[letters] != '\0' &&
                          word[letters + strspn(word + letters, digits)] == '\0'; /* "shlf2" */
        const char *near = slip && !app->given.fresh ? place_near(app, word) : NULL;
        if (near != NULL)
            app_usage(app, "there is no place '%s'; did you mean '%s'? --place %s makes it", word,
                      near, word);
    }
    for (size_t w = 0; w < count; w++) /* "from LC": what it came from, no place in the vessel */
        if (is_word(words[w], "from"))
            blank(words[w]);
}

/* ---- what the reader understood -------------------------------------------------------------- */

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

/* A fact without a column of its own, as judge's --set would take it, with what it is a fact of. A
 * record that is there already is not changed for all its batches: the fact is this batch's. */
static void keep_fact(struct draft *draft, const struct reading *reading)
{
    struct arena *arena = draft->app->arena;
    const struct observable *observable = &draft->app->rules->observables[reading->observable];
    enum scope scope = scope_of(draft->app->rules, reading->observable);
    const char **facts = &draft->now.batch.facts, *value = "";

    if (scope == SCOPE_COOK && draft->pick[RECORD_COOK] != PICK_EXISTING)
        facts = &draft->now.cook.facts;
    else if (scope == SCOPE_SESSION && draft->pick[RECORD_SESSION] != PICK_EXISTING)
        facts = &draft->now.session.facts;
    bool number = reading->has_number && observable->kind == KIND_NUMBER;
    if (number) {
        value = arena_format(arena, "%.6g", reading->number.lo);
        if (reading->number.hi > reading->number.lo)
            value = arena_format(arena, "%s-%.6g", value, reading->number.hi);
        value = arena_format(arena, "%s%s", value, dimension_units[observable->dimension]);
    }
    for (size_t v = 0; !number && v < observable->value_count; v++) {
        bool denied = reading->absent >> v & 1;
        if (denied || (reading->seen >> v & 1) != 0)
            words_add(draft->app, &value, ",", "%s%s", denied ? "-" : "", observable->values[v].id);
    }
    words_add(draft->app, facts, " ", "%s=%s%s", observable->id, value, reading->hedged ? "?" : "");
}

/* Where the draft keeps what an observable feeds: a column of one of its parts. */
struct slot {
    const struct column *column; /* NULL for nowhere */
    enum record record;
    size_t offset;
};

static struct slot slot_of(enum feeds feeds)
{
    /* What it is itself first: the mushroom of a batch, not of its starter. */
    for (size_t i = 0; i < PARTS && feeds != FEEDS_NONE; i++) {
        const struct kind *kind = &kinds[(i + ITSELF) % PARTS];
        for (const struct column *at = record_types[kind->record].columns; at->name; at++)
            if (at->feeds == feeds)
                return (struct slot){at, kind->record, kind->row + at->offset};
    }
    return (struct slot){NULL, RECORD_COUNT, 0};
}

static const char **word_at(struct parts *parts, struct slot slot)
{
    return (const char **)(void *)((char *)parts + slot.offset);
}

static void take_reading(struct draft *draft, const struct reading_list *list,
                         const struct reading *reading)
{
    const struct observable *observable = &draft->app->rules->observables[reading->observable];
    struct batch *batch = &draft->now.batch;
    const struct slot slot = slot_of(observable->feeds);
    struct quantity quantity;
    size_t used = 0;
    int value = reading->hedged ? RULES_NONE : single_value(reading->seen);

    if (observable->feeds == FEEDS_DOSE && batch->inoculum > 0.0)
        return;
    if (observable->feeds == FEEDS_DOSE && /* in units it is a figure; any other is a fact */
        quantity_read(list->text + reading->span.start, reading->span.end - reading->span.start,
                      DIM_LITRES, &quantity, &used) == QUANTITY_OK &&
        quantity.unit_given) {
        batch->inoculum = 500.0 * (quantity.lo + quantity.hi);
        batch->unit = "ml";
        return;
    }
    bool number = slot.column != NULL && slot.column->kind == COLUMN_REAL;
    if (slot.column == NULL || (number ? !reading->has_number : value == RULES_NONE)) {
        keep_fact(draft, reading);
        return;
    }
    double said = 0.5 * (reading->number.lo + reading->number.hi);
    if (!number) {
        take_word(word_at(&draft->now, slot), observable->values[value].id);
    } else if (slot.record == RECORD_COOK && draft->pick[RECORD_COOK] == PICK_EXISTING) {
        /* The figure of a cook that others share is not changed on the way. */
        struct parts of;
        record_init(RECORD_COOK, &of.cook);
        *(double *)(void *)((char *)&of + slot.offset) = said;
        check_figures(draft, &of.cook);
    } else {
        take_number((double *)(void *)((char *)&draft->now + slot.offset), said);
    }
}

/* "bags 2.2 kg", or a weight alone: what is in each bag. "2 kg gypsum" is not, nor a whole sack. */
static bool take_size(struct draft *draft, const char *words)
{
    static const double most = 6000.0; /* in one vessel that anybody lifts into a cooker */
    struct quantity quantity;
    size_t used = 0, lead = strcspn(words, "0123456789");
    char *said = arena_copy(draft->app->arena, words, lead > 0 ? lead - 1 : 0);
    const struct token before = {said, said, said};
    bool of_vessels = lead == 0 || is_word(before, "bag") || is_word(before, "jar");
    if (draft->shape == RULES_NONE || !of_vessels || !isnan(draft->now.vessel.grams) ||
        quantity_read(words + lead, strlen(words + lead), DIM_GRAMS, &quantity, &used) !=
            QUANTITY_OK ||
        !quantity.unit_given || words[lead + used] != '\0' || quantity.lo > most)
        return false;
    return take_number(&draft->now.vessel.grams, 0.5 * (quantity.lo + quantity.hi));
}

/* Words of the command line, or an answer, as words about the batch. */
static void read_words(struct draft *draft, const char *words)
{
    struct app *app = draft->app;
    struct reading_list list;
    char *copy = arena_string(app->arena, words);

    take_words(draft, copy);
    if (failed(draft) ||
        reader_read(app->reader, copy, strlen(copy), app->arena, &list, app->diags))
        return;
    for (size_t i = 0; i < list.reading_count; i++)
        if (app->rules->observables[list.readings[i].observable].class != CLASS_CIRCUMSTANCE)
            app_usage(app, "'%s' is a sign; start the batch without it, then: jarside look",
                      span_words(app->arena, list.text, list.readings[i].span));
    for (size_t i = 0; i < list.reading_count && !failed(draft); i++)
        take_reading(draft, &list, &list.readings[i]);
    for (size_t i = 0; i < list.unread_count && !failed(draft); i++) {
        enum { MOST = 200 };
        const char *unread = arena_format(app->arena, "%.*s", MOST,
                                          span_words(app->arena, list.text, list.unread[i].span));
        const char *kind = toupper((unsigned char)unread[0]) == 'C' ? "cook" : "starter";
        const char *first = arena_copy(app->arena, unread, strcspn(unread, " "));
        unread = looks_like_label(first) ? first : unread;
        if (looks_like_label(unread))
            no_such_label(draft, kind, unread);
        else if (take_size(draft, unread) ||
                 (draft->now.batch.inoculum > 0.0 &&
                  rules_lists(app->rules, "piece_words", unread, strlen(unread))))
            continue;
        /* No other cook's minutes stand in for those that were said. */
        draft->unread_time |= is_quantity(unread, 1U << DIM_MINUTES, false);
        note(draft, unread, "%s", unread);
    }
}

/* ==== the batch before ======================================================================== */

/* What a batch takes over from the one before it, or from the one it is like: all that was not told
 * and still fits. It is said, so that nothing is taken over unseen. */

static void find_before(struct draft *draft)
{
    struct app *app = draft->app;
    struct parts *before = &draft->before;

    if (app->given.like != NULL)
        labels_find(app, RECORD_BATCH, app->given.like, &before->batch);
    else if (!app_newest(app, RECORD_BATCH, NULL, 0, &before->batch))
        return;
    (void)app_newest(app, RECORD_VESSEL,
                     "id = (SELECT min(id) FROM vessel WHERE batch = ?1 AND NOT control)",
                     before->batch.id, &before->vessel);
    for (size_t i = 0; i < KINDS; i++)
        if (*id_of(before, &kinds[i]) != 0)
            app_get(app, kinds[i].record, *id_of(before, &kinds[i]), row_of(before, &kinds[i]));
}

/* Takes over a record of the batch before, where there is one and none was told; whether it did. */
static bool take_record(struct draft *draft, size_t kind, bool fits)
{
    const enum record record = kinds[kind].record;
    union any_record *from = row_of(&draft->before, &kinds[kind]);
    if (!fits || draft->pick[record] != PICK_UNTOLD || from->named.id == 0)
        return false;
    memcpy(row_of(&draft->now, &kinds[kind]), from, record_types[record].size);
    draft->pick[record] = PICK_EXISTING;
    return true;
}

static void take_records(struct draft *draft)
{
    const struct rules *rules = draft->app->rules;
    struct parts *now = &draft->now, *before = &draft->before;
    int kind = rules_vessel(rules, before->vessel.kind);

    if (now->batch.species[0] == '\0' && !draft->no_species && before->batch.species[0] != '\0') {
        now->batch.species = before->batch.species;
        note(draft, taken, "%s", name_of(draft, LIST_SPECIES, now->batch.species));
    }
    if (now->vessel.kind[0] == '\0' && kind != RULES_NONE && isnan(now->vessel.grams) &&
        (draft->shape == RULES_NONE || (int)rules->vessels[kind].shape == draft->shape)) {
        now->vessel.kind = before->vessel.kind;
        note(draft, taken, "%s", name_of(draft, LIST_VESSELS, before->vessel.kind));
    }
    if (same(now->vessel.kind, before->vessel.kind))
        take_number(&now->vessel.grams, before->vessel.grams);
    if (take_record(draft, LOT,
                    !draft->no_grain &&
                        (now->lot.grain[0] == '\0' || same(now->lot.grain, before->lot.grain))))
        note(draft, taken, "%s of lot %s", name_of(draft, LIST_GRAINS, before->lot.grain),
             before->lot.label);
    if (take_record(
            draft, STARTER,
            !draft->no_species && same(now->batch.species, before->batch.species) &&
                (now->starter.kind[0] == '\0' || same(now->starter.kind, before->starter.kind))))
        note(draft, taken, "starter %s", before->starter.label);
}

/* Takes over columns ("dry|water") of a part, and has them in `taken` too, a row of that kind, or
 * NULL; whether any figure came of it. */
static bool carry(struct draft *draft, const struct kind *kind, const char *names, void *taken)
{
    bool any = false;
    for (const struct column *at = record_types[kind->record].columns; at->name != NULL; at++) {
        void *to = (char *)row_of(&draft->now, kind) + at->offset;
        const void *from = column_member(at, row_of(&draft->before, kind));
        const bool real = at->kind == COLUMN_REAL;
        if (csv_named(names, at->name, strlen(at->name)) < 0 ||
            (real ? !isnan(*(double *)to) : (*(const char **)to)[0] != '\0'))
            continue;
        any |= real && !isnan(*(const double *)from);
        memcpy(to, from, real ? sizeof(double) : sizeof(char *));
        if (taken != NULL)
            memcpy((char *)taken + at->offset, from, real ? sizeof(double) : sizeof(char *));
    }
    return any;
}

/* The figures of the cook, for a run of its own: which cook it was is not taken over; the
 * hydration, the inoculum, the place and the session. */
static void take_figures(struct draft *draft)
{
    struct parts *now = &draft->now, *before = &draft->before;
    const struct batch *batch = &now->batch;
    const enum pick cook = draft->pick[RECORD_COOK];
    bool same_kind = same(now->vessel.kind, before->vessel.kind);
    bool same_grain = same(now->lot.grain, before->lot.grain);

    if (before->cook.id != 0 && (cook == PICK_UNTOLD || cook == PICK_NEW)) {
        struct cook taken;
        record_init(RECORD_COOK, &taken);
        if (isnan(now->cook.gauge))
            carry(draft, &kinds[COOK], "method", &taken);
        bool any =
            same(now->cook.method, before->cook.method) &&
            carry(draft, &kinds[COOK], draft->unread_time ? "gauge" : "gauge|minutes", &taken);
        any |= carry(draft, &kinds[COOK], "altitude|load|cooker", &taken);
        const char *words = view_cook_words(&draft->app->view, &taken);
        if (any && words[0] != '\0')
            note(draft, taken, "%s as in cook %s", words, before->cook.label);
    }
    bool mix = same_grain && same_kind && carry(draft, &kinds[ITSELF], "dry|water", NULL);
    if ((same_grain && carry(draft, &kinds[ITSELF], "soak", NULL)) || mix)
        note(draft, taken, "the hydration");
    if (same_kind && now->starter.id == before->starter.id && before->starter.id != 0 &&
        isnan(batch->inoculum) && carry(draft, &kinds[ITSELF], "inoculum|unit", NULL))
        note(draft, taken, "%s of starter", view_inoculum(draft->app->arena, batch));
    carry(draft, &kinds[ITSELF], "purpose", NULL);
    if (take_record(draft, PLACE, isnan(now->place.celsius)))
        note(draft, taken, "place %s", before->place.label);
    /* Two batches of one day were inoculated in one session, unless it is said otherwise. */
    if (moment_known(before->session.at) &&
        take_record(draft, SESSION, moment_day(before->session.at) == moment_day(draft->at)))
        note(draft, taken, "session %s, of the same day", before->session.label);
}

/* The settings stand for what nobody has said and no batch before tells. */
static void take_settings(struct draft *draft)
{
    struct app *app = draft->app;
    struct parts *now = &draft->now;
    const char *species = config_word(app, "species"), *place = config_word(app, "place");
    const char *altitude = config_word(app, "altitude");
    enum pick cook = draft->pick[RECORD_COOK];
    if (species != NULL && now->batch.species[0] == '\0' && !draft->no_species &&
        draft->before.batch.species[0] == '\0') {
        read_id(app, "species", species, LIST_SPECIES, &now->batch.species, &draft->no_species);
        note(draft, set, "%s", name_of(draft, LIST_SPECIES, now->batch.species));
    }
    if (place != NULL && draft->pick[RECORD_PLACE] == PICK_UNTOLD && draft->before.place.id == 0) {
        app->given.fresh = true;
        pick(draft, &kinds[PLACE], place);
        note(draft, set, "place %s", place);
    }
    if (altitude != NULL && isnan(now->cook.altitude) && isnan(draft->before.cook.altitude) &&
        (cook == PICK_NEW || cook == PICK_UNTOLD)) {
        now->cook.altitude = option_measure(app, "altitude", altitude, OPTION_QUANTITY, DIM_METRES);
        note(draft, set, "altitude %s", altitude);
    }
}

/* ==== questions =============================================================================== */

/* The guided mode: a line for each fact that is missing, what would be taken over in brackets. */

static const struct fact_question {
    const char *ask;
    const char *missing; /* what to say where nobody can be asked, if it is required; or NULL */
    const char *hint;    /* when the answer is not understood */
    enum feeds feeds;    /* what Tab completes: values of this, */
    const struct kind *record; /* or labels of this kind; neither: how many vessels there are */
} questions[] = {
    {"How many vessels", "how many? add --count N", "a number", FEEDS_NONE, NULL},
    {"What are they (pint jar, 4lb bag ...)", "which vessels? add --vessel quart_jar",
     "Tab shows the kinds", FEEDS_VESSEL, NULL},
    {"Which grain (or unknown)", "which grain? add --grain wheat, or unknown",
     "Tab shows the grains", FEEDS_GRAIN, NULL},
    {"Which mushroom (or unknown)", "which mushroom? add --species shiitake, or unknown",
     "Tab shows the mushrooms", FEEDS_SPECIES, NULL},
    {"Which starter (a label, new or none)", NULL, "a label", FEEDS_NONE, &kinds[STARTER]},
    {"The cook (14 psi 95 min, or the label of one it shares)", NULL, "write it as: 14 psi 95 min",
     FEEDS_NONE, &kinds[COOK]},
    {"Where are they kept", NULL, "a place", FEEDS_NONE, &kinds[PLACE]},
};
enum { QUESTIONS = sizeof questions / sizeof *questions };

static bool known(struct draft *draft, const struct fact_question *question)
{
    const struct slot slot = slot_of(question->feeds);
    if (question->record != NULL)
        return false;
    if (slot.column == NULL)
        return draft->vessels > 0;
    bool unknown = question->feeds == FEEDS_GRAIN
                       ? draft->no_grain || draft->pick[RECORD_LOT] == PICK_EXISTING
                       : question->feeds == FEEDS_SPECIES && draft->no_species;
    return unknown || (*word_at(&draft->now, slot))[0] != '\0';
}

static bool take_answer(struct draft *draft, const struct fact_question *question,
                        const char *answer)
{
    struct app *app = draft->app;
    const struct kind *kind = question->record;

    /* "C4" shares that cook; anything else says what this one was. */
    if (kind != NULL && kind->record == RECORD_COOK && strcasecmp(answer, "none") != 0 &&
        labels_id(app, RECORD_COOK, answer) == 0)
        read_words(draft, answer);
    else if (kind != NULL)
        pick(draft, kind, answer);
    if (kind != NULL)
        return !failed(draft);
    if (question->feeds == FEEDS_NONE) {
        long count = count_read(answer);
        draft->vessels = count >= 1 && count <= MOST_VESSELS ? (size_t)count : 0;
    } else if (strcasecmp(answer, "unknown") == 0) {
        draft->no_grain |= question->feeds == FEEDS_GRAIN;
        draft->no_species |= question->feeds == FEEDS_SPECIES;
    } else {
        const char *id = answer_meant(app->rules, app->reader, question->feeds, answer, app->arena);
        if (id != NULL)
            take_word(word_at(&draft->now, slot_of(question->feeds)), id);
    }
    return known(draft, question);
}

/* What would be taken over; "" for nothing. */
static const char *standing(struct draft *draft, const struct fact_question *question)
{
    struct parts *before = &draft->before;
    const char *species = draft->now.batch.species;
    const struct slot slot = slot_of(question->feeds);

    if (slot.column != NULL)
        return name_of(draft, slot.column->list, *word_at(before, slot));
    if (question->record == &kinds[COOK])
        return before->cook.id != 0 ? view_cook_words(&draft->app->view, &before->cook) : "";
    if (question->record == &kinds[PLACE])
        return before->place.label;
    if (question->record == NULL || before->batch.id == 0)
        return "";
    /* Of another mushroom the starter would not be taken over. */
    return species[0] == '\0' || same(species, before->batch.species) ? before->starter.label
                                                                      : "new";
}

/* False: the grower left. */
static bool ask(struct draft *draft, struct lines *lines, const struct fact_question *question,
                const char *standing)
{
    struct app *app = draft->app;
    const char **words = NULL; /* for completion */
    size_t count = 0;
    int feeder = app->rules->feeder[question->feeds];
    char *answer = NULL;

    if (question->record != NULL) {
        words = labels_of(app, question->record->record, &count);
    } else if (question->feeds != FEEDS_NONE && feeder != RULES_NONE) {
        const struct observable *observable = &app->rules->observables[feeder];
        for (size_t i = 0; i < observable->value_count; i++)
            *arena_push(app->arena, words, count) = observable->values[i].id;
    }
    for (;;) {
        enum line_answer how = lines_ask(lines, question->ask, standing, words, count, &answer);
        if (how == LINE_LEFT)
            return false;
        if (how == LINE_EMPTY && (question->missing == NULL || standing[0] != '\0'))
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
 * still missing. Where nobody can be asked, the options that would have answered are named. */
static void ask_missing(struct draft *draft, bool guided)
{
    const char *missing = "";
    bool stays = true;

    for (size_t i = 0; i < QUESTIONS; i++)
        if (questions[i].missing != NULL && !known(draft, &questions[i]))
            words_add(draft->app, &missing, "; ", "%s", questions[i].missing);
    if (!guided && missing[0] == '\0')
        return;
    struct lines *lines = draft->app->given.no_input ? NULL : lines_open(false);
    if (lines == NULL && !guided)
        app_stop(draft->app, "%s", missing);
    if (lines == NULL)
        return;
    for (size_t i = 0; i < QUESTIONS && stays; i++)
        if (!known(draft, &questions[i]) && (guided || questions[i].missing != NULL))
            stays = ask(draft, lines, &questions[i], guided ? standing(draft, &questions[i]) : "");
    lines_close(lines);
    if (!stays)
        app_stop(draft->app, "nothing was recorded");
}

/* ==== saving ================================================================================== */

/* What was not told, once nobody is asked any more. */
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
        words_add(draft->app, &now->batch.facts, " ", "%s=%.4g%s", rules->observables[feeder].id,
                  now->place.celsius, dimension_units[DIM_CELSIUS]);
    if (pick[RECORD_STARTER] == PICK_NEW)
        take_word(&now->starter.species, now->batch.species);
    if (pick[RECORD_SESSION] == PICK_NEW)
        now->session.at = draft->at;
    now->batch.at = draft->at;
    now->batch.note = draft->app->given.note != NULL ? draft->app->given.note : "";
    if (draft->unread[0] != '\0')
        note(draft, now.batch.note, "%s", draft->unread);
    /* Starter and batch must be the same mushroom, or one of the two is a mistake. */
    if (now->starter.species[0] != '\0' && now->batch.species[0] != '\0' &&
        !same(now->starter.species, now->batch.species))
        app_stop(draft->app, "starter %s is %s, but the batch is %s; correct one of the two",
                 draft->mother.id != 0 ? draft->mother.label : now->starter.label,
                 name_of(draft, LIST_SPECIES, now->starter.species),
                 name_of(draft, LIST_SPECIES, now->batch.species));
}

/* Nobody inoculates so many in one go; a slip of the finger does. */
static void check_size(struct draft *draft)
{
    enum { LIKELY = 500 };
    struct app *app = draft->app;
    size_t count = draft->vessels + draft->controls;
    if (count > MOST_VESSELS)
        app_stop(app, "%zu vessels? A batch has at most %d", count, MOST_VESSELS);
    if (count <= LIKELY || app->given.sure)
        return;
    confirm_or_stop(app, !app->given.no_input && !app->given.json,
                    arena_format(app->arena, "%zu vessels, really", count),
                    arena_format(app->arena, "%zu vessels? Add --yes if there are so many", count));
}

/* "upper" for all, or "upper:4,lower:4" in the order of the numbers. A position by id or label. */
static void place_in_cooker(struct draft *draft, struct vessel *vessels, size_t count)
{
    struct app *app = draft->app;
    const char *at = draft->now.vessel.position;
    struct names names;
    size_t next = 0;

    while (*at != '\0') {
        size_t length = strcspn(at, ":,"), many = count - next;
        const char *word = arena_copy(app->arena, at, length);
        const char *id = list_id(app->rules, LIST_POSITIONS, word);
        names_of(app, LIST_POSITIONS, &names);
        if (id == NULL)
            app_stop(app, "no position '%s' in the cooker; there are: %s", word,
                     names.count > 0 ? words_joined(app, names.ids, names.count, ", ", MOST_NAMES)
                                     : "none");
        at += length;
        if (*at == ':') {
            char *end = NULL;
            long number = isdigit((unsigned char)at[1]) ? strtol(at + 1, &end, 10) : -1;
            if (number < 1 || (*end != ',' && *end != '\0'))
                app_stop(app, "'--position %s' should be like upper:4,lower:4",
                         draft->now.vessel.position);
            many = (size_t)number < many ? (size_t)number : many;
            at = end;
        }
        for (; many > 0; many--)
            vessels[next++].position = id;
        at += *at == ',';
    }
}

static void save(struct draft *draft)
{
    struct app *app = draft->app;
    struct parts *now = &draft->now;

    const size_t count = draft->vessels + draft->controls;
    draft->made = arena_array(app->arena, count, sizeof *draft->made);
    for (size_t i = 0; i < count; i++) {
        struct vessel *vessel = &draft->made[i];
        record_init(RECORD_VESSEL, vessel);
        vessel->number = (int64_t)i + 1;
        vessel->kind = now->vessel.kind;
        vessel->grams = now->vessel.grams;
        vessel->control = i >= draft->vessels;
    }
    place_in_cooker(draft, draft->made, count);
    app_begin(app);
    for (size_t i = 0; i < KINDS; i++) {
        union any_record *row = row_of(now, &kinds[i]);
        if (draft->pick[kinds[i].record] == PICK_NONE)
            record_init(kinds[i].record, row);
        if (draft->pick[kinds[i].record] == PICK_NEW) {
            app_name(app, kinds[i].record, row);
            app_add(app, kinds[i].record, row);
        }
        *id_of(now, &kinds[i]) = row->named.id;
    }
    struct parent link = {.starter = now->starter.id, .vessel = draft->mother.id};
    if (link.vessel != 0 && draft->pick[RECORD_STARTER] == PICK_NEW)
        app_add(app, RECORD_PARENT, &link);
    app_name(app, RECORD_BATCH, (union any_record *)&now->batch);
    app_add(app, RECORD_BATCH, &now->batch);
    for (size_t i = 0; i < count; i++) {
        struct vessel *vessel = &draft->made[i];
        vessel->batch = now->batch.id;
        vessel->place = now->place.id;
        vessel->label = arena_format(app->arena, "%s-%zu", now->batch.label, i + 1);
        app_add(app, RECORD_VESSEL, vessel);
        if (i == 0) {
            (void)vessel_forecast_of(app->journal, app->rules, &now->batch, vessel,
                                     &draft->forecast, NULL);
            draft->first_look = vessel_forecast_first_day(&draft->forecast, &now->batch);
        }
        app_due(app, vessel->id, draft->first_look, FIRST_LOOK);
    }
    app_commit(app);
}

/* ==== the command ============================================================================= */

/* The records of the batch by their kind; what was made for it, or was there already (PICK_UNTOLD:
 * all). For a sentence those with a label, as a list. */
static json_t *records_json(struct draft *draft, enum pick pick, bool listed)
{
    json_t *object = json_object(), *list = json_array();
    for (size_t i = 0; i < KINDS; i++) {
        const char *name = record_types[kinds[i].record].name;
        const char *label = row_of(&draft->now, &kinds[i])->named.label;
        if (pick != PICK_UNTOLD && draft->pick[kinds[i].record] != pick)
            continue;
        json_object_set_new(object, name, view_json_text(label));
        if (label[0] != '\0')
            view_json_row(list, "kind:s label:s", name, label);
    }
    json_decref(listed ? object : list);
    return listed ? list : object;
}

/* What the cook is for vessels like these, on a cautious estimate; "" when it is enough, or is not
 * known well enough to tell. */
static const char *cook_doubt(struct draft *draft)
{
    static const char *const verdicts[] = {"adequate", "marginal", "not enough"};
    struct app *app = draft->app;
    const struct cook *cook = &draft->now.cook;
    struct physics_refusal refusal;
    struct known_cook known;
    struct cook_setup setup;
    struct cook_result result;

    if (cook->id == 0 || isnan(cook->gauge) || isnan(cook->minutes))
        return "";
    vessel_cook_of(app->rules, cook, rules_vessel(app->rules, draft->now.vessel.kind),
                   draft->now.vessel.grams, rules_grain(app->rules, draft->now.lot.grain), &known);
    if (physics_cook(app->rules, &known, &setup, NULL, &refusal) != PHYSICS_OK)
        return "";
    cook_compute(&setup, &result);
    if (result.verdict == COOK_ADEQUATE)
        return "";
    return view_said(&app->view, "started.cook",
                     view_json("label:s verdict:s needed:n minutes:n", cook->label,
                               verdicts[result.verdict], result.minutes_needed.central,
                               cook->minutes));
}

static void add_doubt(struct draft *draft, json_t *doubts, const char *template, json_t *tree)
{
    view_json_add(tree, "batch:s of:o", draft->now.batch.label, view_json_moment(draft->at));
    json_array_append_new(doubts, json_string(view_said(&draft->app->view, template, tree)));
}

/* Records of another day: others may have been meant. */
static json_t *doubts_json(struct draft *draft)
{
    const struct rules *rules = draft->app->rules;
    const struct cook *cook = &draft->now.cook;
    const struct session *session = &draft->now.session;
    const int64_t day = moment_day(draft->at);
    const int waits = rules->feeder[FEEDS_WAIT_BEFORE];
    json_t *doubts = json_array();

    if (draft->pick[RECORD_COOK] == PICK_EXISTING && waits != RULES_NONE) {
        const struct observable *wait = &rules->observables[waits];
        struct batch first = {.at = cook->at}; /* else it was before its first batch */
        if (!moment_known(cook->at))
            (void)app_newest(draft->app, RECORD_BATCH,
                             "id = (SELECT id FROM batch WHERE cook = ?1 ORDER BY at LIMIT 1)",
                             cook->id, &first);
        const int64_t days = moment_known(first.at) ? day - moment_day(first.at) : 0;
        if (rules_bin(wait, (double)days) == (int)wait->value_count - 1)
            add_doubt(draft, doubts, "started.waited",
                      view_json("label:s days:l", cook->label, (json_int_t)days));
    }
    if (draft->pick[RECORD_SESSION] == PICK_EXISTING && moment_known(session->at) &&
        llabs(day - moment_day(session->at)) > 1)
        add_doubt(draft, doubts, "started.apart",
                  view_json("label:s at:o", session->label, view_json_moment(session->at)));
    return doubts;
}

static enum status tell(struct draft *draft)
{
    struct app *app = draft->app;
    const struct batch *batch = &draft->now.batch;
    const struct vessel *vessels = draft->made, *controls = vessels + draft->vessels;
    const char *mother = draft->mother.id != 0 ? draft->mother.label : NULL;
    int64_t from = 0, to = 0;
    (void)view_forecast_days(batch, &draft->forecast, &draft->forecast.full, &from, &to);
    json_t *tree = view_json(
        "schema:i batch:w at:o species:w grain:w kind:w vessels:o controls:o records:o new:o "
        "taken_over:o note:w first_look:o full_from:o full_to:o cook_doubt:w doubts:o",
        1, batch->label, view_json_moment(draft->at), batch->species, draft->now.lot.grain,
        vessels[0].kind, view_json_vessels(vessels, draft->vessels),
        view_json_vessels(controls, draft->controls), records_json(draft, PICK_UNTOLD, false),
        records_json(draft, PICK_NEW, false),
        view_json_parts(draft->taken[0] != '\0' ? draft->taken : NULL), batch->note,
        view_json_day(draft->first_look), view_json_day(from), view_json_day(to), cook_doubt(draft),
        doubts_json(draft));
    view_json_add(tree,
                  "_count:z _kind:s _words:s _day:s _labels:s _controls:w _new:o _there:o "
                  "_starter:s _mother:s _before:s _taken:w _set:w _assumed:s _unread:w _inoculum:w",
                  draft->vessels, name_of(draft, LIST_VESSELS, vessels[0].kind),
                  view_batch_words(&app->view, batch), moment_write_day(draft->at, MOMENT_WORDS),
                  app_vessels(app, vessels, draft->vessels),
                  app_vessels(app, controls, draft->controls), records_json(draft, PICK_NEW, true),
                  records_json(draft, PICK_EXISTING, true), draft->now.starter.label, mother,
                  draft->before.batch.label, draft->taken, draft->set, draft->assumed,
                  draft->unread, view_inoculum(app->arena, batch));
    return app_tell(app, "started", tree);
}

/* The kind of vessel of a weight, or the commonest of a shape, where nobody said more. */
static void assume_vessel(struct draft *draft)
{
    const struct rules *rules = draft->app->rules;
    struct vessel *vessel = &draft->now.vessel;
    int best = RULES_NONE;

    if (vessel->kind[0] != '\0' || draft->shape == RULES_NONE)
        return;
    if (!isnan(vessel->grams))
        best = physics_nearest_vessel(rules, (enum vessel_shape)draft->shape, vessel->grams, NAN);
    for (size_t i = 0; isnan(vessel->grams) && i < rules->vessel_count; i++)
        if ((int)rules->vessels[i].shape == draft->shape &&
            (best == RULES_NONE || rules->vessels[i].base > rules->vessels[best].base))
            best = (int)i;
    if (best == RULES_NONE)
        return;
    vessel->kind = rules->vessels[best].id;
    draft->assumed = name_of(draft, LIST_VESSELS, vessel->kind);
}

static enum status run_batch(struct app *app)
{
    struct draft draft = {.app = app, .shape = RULES_NONE, .unread = "", .taken = "", .set = ""};
    const char *words =
        option_take_date(app, arena_join(app->arena, app->operands, app->operand_count));
    struct batch *batch = &draft.now.batch;

    for (size_t i = 0; i < PARTS; i++) {
        record_init(kinds[i].record, row_of(&draft.now, &kinds[i]));
        record_init(kinds[i].record, row_of(&draft.before, &kinds[i]));
    }
    read_options(&draft);
    if (app->operand_count > 0)
        read_words(&draft, words);
    if (failed(&draft))
        app_quit(app, STATUS_USAGE);
    find_before(&draft);
    if (!draft.no_species)
        take_word(&batch->species, draft.now.starter.species);
    take_settings(&draft);
    if (app->operand_count == 0 && draft.vessels == 0 && app->given.like == NULL)
        ask_missing(&draft, true);
    if (!draft.no_species) /* a starter that was named, or grain that is one, knows what it is */
        take_word(&batch->species, draft.now.starter.species);
    take_records(&draft);
    take_figures(&draft);
    assume_vessel(&draft);
    ask_missing(&draft, false);
    check_size(&draft);
    settle(&draft);
    save(&draft);
    return tell(&draft);
}

const struct command batch_commands[] = {
    {"batch", run_batch, NEEDS_CREATE, .json = true, .judges = true},
    {0},
};
