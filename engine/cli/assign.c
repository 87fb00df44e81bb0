/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records by what people call them, and what they say of them. */
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "base/units.h"
#include "cli/app.h"
#include "journal/exchange.h"

/* ==== labels ================================================================================== */

size_t labels_kinds(struct app *app, const char *label, enum record kinds[RECORD_COUNT])
{
    static const enum record all[] = {RECORD_VESSEL,  RECORD_BATCH, RECORD_STARTER, RECORD_COOK,
                                      RECORD_SESSION, RECORD_LOT,   RECORD_PLACE};
    size_t count = 0;
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        if (labels_id(app, all[i], label) != 0)
            kinds[count++] = all[i];
    return count;
}

enum record labels_kind(const char *word)
{
    for (enum record i = 0; i < RECORD_COUNT; i++) {
        const char *name = record_types[i].name;
        size_t length = strlen(name);
        if (strncmp(word, name, length) == 0 &&
            (word[length] == '\0' || strcmp(word + length, "s") == 0 ||
             strcmp(word + length, "es") == 0))
            return i;
    }
    return RECORD_COUNT;
}

/* Without its number: "shelf2" is of the shelves. */
static const char *without_number(struct app *app, const char *label)
{
    size_t length = strlen(label);
    while (length > 0 && strchr("0123456789 -_.", label[length - 1]) != NULL)
        length--;
    return arena_copy(app->arena, label, length);
}

bool names_a_place(struct app *app, const char *label)
{
    const char *lead = without_number(app, label), *last = lead + strlen(lead);
    while (last > lead && isalpha((unsigned char)last[-1]))
        last--;
    return rules_lists(app->rules, "place_words", last, strlen(last));
}

const char **labels_of(struct app *app, enum record record, size_t *count)
{
    const char *rows = app_all(app, record, NULL, 0, count);
    const char **labels = arena_array(app->arena, *count + 1, sizeof *labels);
    for (size_t i = 0; i < *count; i++, rows += record_types[record].size)
        labels[i] = ((const union any_record *)(const void *)rows)->named.label;
    return labels;
}

const char *place_near(struct app *app, const char *label)
{
    const char *lead = without_number(app, label), *near;
    size_t count = 0, at = 0;
    const char **places = labels_of(app, RECORD_PLACE, &count);
    const char **leads = arena_array(app->arena, count + 1, sizeof *leads);
    for (size_t i = 0; i < count; i++) {
        leads[i] = without_number(app, places[i]);
        if (strcasecmp(leads[i], lead) == 0)
            return NULL; /* one more of the shelves */
    }
    if ((near = diag_nearest(lead, leads, count)) == NULL)
        return NULL;
    while (leads[at] != near)
        at++;
    return places[at];
}

void labels_check_place(struct app *app, const char *label, bool sure)
{
    const char *near = sure ? NULL : place_near(app, label);
    if (near != NULL)
        app_stop(app, "there is no place '%s'; did you mean '%s'? --new adds it", label, near);
    if (!sure && !names_a_place(app, label))
        app_stop(app, "there is no place '%s'; --new makes one of that name", label);
}

void labels_check_new(struct app *app, enum record record, const char *label, bool sure)
{
    size_t count = 0, words = 0;
    if (sure || has_figures(label))
        return;
    const char **labels = labels_of(app, record, &count);
    for (size_t i = 0; i < count; i++)
        if (!has_figures(labels[i]))
            labels[words++] = labels[i];
    const char *near = diag_nearest(label, labels, words);
    if (near != NULL)
        app_stop(app, "there is no %s '%s'; did you mean '%s'? --new adds it",
                 record_types[record].name, label, near);
}

void starter_of_vessel(struct app *app, const char *label, struct vessel *vessel,
                       struct starter *starter)
{
    struct batch batch;
    size_t count = 0;

    labels_find(app, RECORD_VESSEL, label, vessel);
    const char *why = vessel->state == VESSEL_DISCARDED
                          ? arena_format(app->arena, "%s was discarded already", vessel->label)
                      : vessel->state == VESSEL_USED ? NULL
                                                     : vessel_risk(app, vessel, EVENT_USE);
    if (why != NULL)
        app_must(app, app_error(app, STATUS_CHECK, NULL, "%s", why));
    const struct parent *parents = app_all(app, RECORD_PARENT, "vessel = ?1", vessel->id, &count);
    record_init(RECORD_STARTER, starter);
    if (count > 0) {
        app_get(app, RECORD_STARTER, parents[0].starter, starter);
        return;
    }
    app_get(app, RECORD_BATCH, vessel->batch, &batch);
    starter->species = batch.species;
    if (starter->species[0] == '\0' && batch.starter != 0) {
        struct starter its;
        app_get(app, RECORD_STARTER, batch.starter, &its);
        starter->species = its.species;
    }
    starter->made = moment_now();
    app_compile(app);
    const char *kind =
        answer_meant(app->rules, app->reader, FEEDS_STARTER_KIND, "grain to grain", app->arena);
    starter->kind = kind != NULL ? kind : "";
}

/* ---- several vessels ------------------------------------------------------------------------- */

struct choice { /* while the words are read */
    struct app *app;
    struct chosen chosen;
    struct batch batch;           /* that bare numbers count within; id 0 for none */
    const struct vessel *vessels; /* of it */
    size_t count;
    bool open; /* it was named, and none of its vessels so far */
};

static void choose(struct choice *choice, const struct vessel *vessel)
{
    struct chosen *chosen = &choice->chosen;
    for (size_t i = 0; i < chosen->count; i++)
        if (chosen->vessels[i].id == vessel->id)
            return;
    *arena_push(choice->app->arena, chosen->vessels, chosen->count) = *vessel;
}

/* A batch that was named, and none of its vessels, means all of them. */
static void close_batch(struct choice *choice)
{
    choice->chosen.whole |= choice->open;
    for (size_t i = 0; choice->open && i < choice->count; i++)
        choose(choice, &choice->vessels[i]);
    choice->open = false;
}

static void enter_batch(struct choice *choice, int64_t id)
{
    if (choice->batch.id == id)
        return;
    app_get(choice->app, RECORD_BATCH, id, &choice->batch);
    choice->vessels = app_all(choice->app, RECORD_VESSEL, "batch = ?1", id, &choice->count);
}

/* Ends the command that got numbers of no batch; offers the one looked at last, or the newest. */
static _Noreturn void which_batch(struct app *app, long from, long to)
{
    const char *numbers = from == to ? arena_format(app->arena, "%ld", from)
                                     : arena_format(app->arena, "%ld-%ld", from, to);
    static const char last[] = "id = (SELECT batch FROM vessel WHERE id ="
                               " (SELECT vessel FROM look ORDER BY id DESC LIMIT 1))";
    struct batch batch;
    const bool looked = app_newest(app, RECORD_BATCH, last, 0, &batch);
    if (looked || app_newest(app, RECORD_BATCH, NULL, 0, &batch))
        app_stop(app, "%s of which batch? If %s, %s: jarside %s %s %s", numbers, batch.label,
                 looked ? "the one looked at last" : "the newest", app->command->name, batch.label,
                 numbers);
    app_stop(app, "%s of which batch? For instance: B3 %s", numbers, numbers);
}

static void choose_range(struct choice *choice, long from, long to)
{
    enum { MOST = 10000 };
    struct app *app = choice->app;
    if (choice->batch.id == 0)
        which_batch(app, from, to);
    if (to < from || to - from > MOST)
        app_stop(app, "not a range of vessels: '%ld to %ld'", from, to);
    choice->open = false;
    for (long number = from; number <= to; number++) {
        size_t at = 0;
        while (at < choice->count && choice->vessels[at].number != number)
            at++;
        if (at == choice->count)
            app_stop(app, "there is no vessel %ld in %s", number, choice->batch.label);
        choose(choice, &choice->vessels[at]);
    }
}

/* "7", "3-7", "3..7": numbers within the batch at hand. */
static bool read_range(const char *word, long *from, long *to)
{
    char *end = NULL;
    if (!isdigit((unsigned char)word[0]))
        return false;
    *from = *to = strtol(word, &end, 10);
    if (*end == '\0')
        return true;
    end += *end == '-' ? 1 : strncmp(end, "..", 2) == 0 ? 2 : 0;
    if (!isdigit((unsigned char)*end) || isdigit((unsigned char)end[-1]))
        return false;
    *to = strtol(end, &end, 10);
    return *end == '\0';
}

/* The vessel of that label, chosen; or what is wrong with it is said. */
static struct vessel choose_vessel(struct choice *choice, const char *label)
{
    struct vessel vessel;
    labels_find(choice->app, RECORD_VESSEL, label, &vessel);
    close_batch(choice);
    choose(choice, &vessel);
    enter_batch(choice, vessel.batch);
    return vessel;
}

void labels_one_thing(struct app *app, const char *word)
{
    if (labels_id(app, RECORD_VESSEL, word) != 0 && labels_id(app, RECORD_BATCH, word) != 0)
        app_stop(app,
                 "'%s' is a batch and a vessel, so it is not clear which is meant; give the "
                 "vessel another label first: jarside correct vessel %s label=K-%s",
                 word, word, word);
}

static void choose_word(struct choice *choice, const char *word)
{
    struct app *app = choice->app;
    labels_one_thing(app, word);
    const char *dots = strstr(word, "..");
    const bool vessel = labels_id(app, RECORD_VESSEL, word) != 0;
    const int64_t batch = vessel ? 0 : labels_id(app, RECORD_BATCH, word);
    long from, to;

    if (batch != 0) {
        close_batch(choice);
        enter_batch(choice, batch);
        choice->open = true;
    } else if (!vessel && read_range(word, &from, &to)) {
        choose_range(choice, from, to);
    } else if (vessel || dots == NULL || dots == word) {
        choose_vessel(choice, word); /* or what is wrong with it is said */
    } else {                         /* "B3-3..7" or "B3-3..B3-7": from the one to the other */
        const struct vessel first =
            choose_vessel(choice, arena_copy(app->arena, word, (size_t)(dots - word)));
        struct vessel last;
        if (!read_range(dots + 2, &to, &to)) {
            labels_find(app, RECORD_VESSEL, dots + 2, &last);
            if (last.batch != first.batch)
                app_stop(app, "'%s' begins and ends in different batches", word);
            to = (long)last.number;
        }
        choose_range(choice, (long)first.number, to);
    }
}

struct chosen labels_vessels(struct app *app, const char *const *words, size_t count)
{
    struct choice choice = {.app = app};
    for (size_t i = 0; i < count; i++)
        for (const char *at = words[i]; *at != '\0'; at += *at == ',') {
            const size_t length = strcspn(at, ",");
            if (length > 0)
                choose_word(&choice, arena_copy(app->arena, at, length));
            at += length;
        }
    close_batch(&choice);
    if (choice.chosen.count == 0)
        app_stop(app, "which vessel? Give its label, for instance B3-7");
    return choice.chosen;
}

size_t labels_leading(struct app *app, const char *const *words, size_t count)
{
    size_t labels = 0;
    for (; labels < count; labels++) {
        const char *word = words[labels], *dots = strstr(word, "..");
        size_t length = strcspn(word, ",");
        if (dots != NULL && (size_t)(dots - word) < length)
            length = (size_t)(dots - word);
        const char *label = arena_copy(app->arena, word, length);
        bool number = labels > 0 && word[strspn(word, "0123456789-.,")] == '\0' &&
                      (labels + 1 == count || /* "2 kg" is a weight or a volume, and no vessel 2 */
                       !is_quantity(arena_join(app->arena, words + labels, 2),
                                    1U << DIM_GRAMS | 1U << DIM_LITRES, true));
        if (!number && labels_id(app, RECORD_VESSEL, label) == 0 &&
            labels_id(app, RECORD_BATCH, label) == 0)
            break;
    }
    return labels > 0 ? labels : count > 0;
}

/* ==== columns ================================================================================= */

/* A value as the journal keeps it: an id of the rules, a moment, a number in the column's unit. */
static const char *read_value(struct app *app, const struct column *column, const char *typed)
{
    bool unknown = typed[0] == '\0' || strcasecmp(typed, "unknown") == 0;
    char room[MOMENT_ROOM], *end = NULL;
    struct quantity quantity;
    struct names names;
    bool whole;

    if (unknown && (column->kind == COLUMN_MOMENT || column->list != LIST_NONE))
        return "";
    if (column->list != LIST_NONE) {
        const char *id = list_id(app->rules, column->list, typed);
        if (id != NULL)
            return id;
        names_of(app, column->list, &names);
        app_unknown(app, NULL, column->name, typed, names.ids, names.count,
                    arena_format(app->arena, "for instance '%s'",
                                 names.count > 0 ? names.ids[0] : "unknown"));
    }
    if (column->kind == COLUMN_MOMENT)
        return arena_string(
            app->arena,
            moment_write(option_moment(app, arena_format(app->arena, "%s=", column->name), typed),
                         room));
    if (column->dimension == DIM_NONE || typed[0] == '\0')
        return typed;
    (void)strtod(typed, &end);
    bool doubtful = column->dimension == DIM_CELSIUS || column->dimension == DIM_GAUGE_KPA;
    if (*end == '\0' && end != typed && !doubtful) /* "15" is psi, and 72 no Celsius */
        return typed;
    if (*end == '\0' && end != typed && config_unit(app, column->dimension) != NULL)
        typed = arena_format(app->arena, "%s %s", typed, config_unit(app, column->dimension));
    if (quantity_of(typed, column->dimension, &quantity, &whole) != QUANTITY_OK || !whole)
        app_stop(app, "not a quantity: '%s=%s'; the journal keeps it in %s", column->name, typed,
                 dimension_units[column->dimension]);
    return arena_format(app->arena, "%.10g", 0.5 * (quantity.lo + quantity.hi));
}

static _Noreturn void unknown_column(struct app *app, enum record record, const char *column)
{
    const char *names[32] = {NULL}, *kind = record_types[record].name;
    size_t count = 0;
    for (const struct column *at = record_types[record].columns; at->name != NULL && count < 32;
         at++)
        if (!at->derived)
            names[count++] = at->name;
    app_stop(app, "a %s has no '%s'%s", kind, column,
             diag_suggest(app->arena, column, names, count,
                          arena_format(app->arena, "; it has %s",
                                       words_joined(app, names, count, ", ", count))));
}

/* The facts with one more about a sign, in place of an older one about the same. */
static const char *add_fact(struct app *app, const char *facts, const char *sign, const char *value)
{
    size_t length = strlen(sign);
    struct reading reading;
    const char *kept = "";
    app_compile(app);
    app_must(app, reader_set(app->reader, sign, value, (struct position){0}, &reading, app->diags));
    for (const char *at = facts; *at != '\0';) {
        size_t word = strcspn(at, " ");
        bool older = word > length && strncmp(at, sign, length) == 0 && at[length] == '=';
        if (word > 0 && !older)
            kept = arena_format(app->arena, "%s%.*s ", kept, (int)word, at);
        at += word;
        at += strspn(at, " ");
    }
    return arena_format(app->arena, "%s%s=%s", kept, sign, value);
}

static void set_column(struct app *app, enum record record, const struct column *column,
                       const char *value, union any_record *row, struct moment at)
{
    const char *label = row->named.label;
    (void)journal_read_column(app->journal, column, value, app->arena, row);
    if (row->named.id != 0)
        (void)journal_correct(app->journal, record, label, column->name, value, at);
}

/* "2 wedges" is two. */
static const char *without_pieces(struct app *app, const char *amount)
{
    const char *last = strrchr(amount, ' ');
    return last != NULL && rules_lists(app->rules, "piece_words", last + 1, strlen(last + 1))
               ? arena_copy(app->arena, amount, (size_t)(last - amount))
               : amount;
}

void assign(struct app *app, enum record record, const char *typed, union any_record *row,
            struct moment at)
{
    const char *equals = strchr(typed, '=');
    if (equals == NULL || equals == typed)
        app_stop(app, "'%s' should be COLUMN=VALUE", typed);
    /* cppcheck-suppress nullPointerArithmeticRedundantCheck ; app_stop does not come back */
    const char *name = arena_copy(app->arena, typed, (size_t)(equals - typed)), *value = equals + 1;
    const struct column *columns = record_types[record].columns;
    size_t index = record_column(record, name), facts = record_column(record, "facts");
    double amount = NAN;
    if (index == SIZE_MAX && (record == RECORD_BATCH || record == RECORD_VESSEL) &&
        strcmp(name, record_types[RECORD_PLACE].name) == 0)
        app_stop(app, "vessels are moved to another place: jarside move %s '%s'", row->named.label,
                 value);
    const char *unit = record == RECORD_BATCH && index != SIZE_MAX &&
                               columns[index].offset == offsetof(struct batch, inoculum)
                           ? inoculum_read(without_pieces(app, value), &amount)
                           : NULL;
    if (index == SIZE_MAX &&
        (facts == SIZE_MAX || rules_observable(app->rules, name) == RULES_NONE))
        unknown_column(app, record, name);
    if (index == SIZE_MAX) {
        value =
            add_fact(app, *(const char *const *)column_member(&columns[facts], row), name, value);
        index = facts;
    } else {
        value = unit != NULL ? arena_format(app->arena, "%.10g", amount)
                             : read_value(app, &columns[index], value);
    }
    set_column(app, record, &columns[index], value, row, at);
    if (unit != NULL) /* "3ml" sets two columns */
        set_column(app, record, &columns[record_column(record, "unit")], unit, row, at);
}

const char *assign_what(struct app *app, const struct column *column)
{
    enum { SHOWN = 6 };
    struct names names;
    const char *what = column->kind == COLUMN_MOMENT      ? "a date: 2026-03-01, 28 Feb, yesterday"
                       : column->kind == COLUMN_FLAG      ? "yes or no"
                       : column->kind == COLUMN_REFERENCE ? record_types[column->refers].name
                       : column->settings ? "further circumstances: SIGN=VALUE; 'jarside show'"
                       : column->dimension != DIM_NONE
                           ? arena_format(app->arena, "in %s; other units are converted",
                                          dimension_units[column->dimension])
                       : column->kind == COLUMN_TEXT || column->kind == COLUMN_LABEL ? "words"
                                                                                     : "a number";
    names_of(app, column->list, &names);
    if (names.count > 0)
        what =
            arena_format(app->arena, "%s%s", words_joined(app, names.ids, names.count, ", ", SHOWN),
                         names.count > SHOWN ? " ..." : "");
    return column->also != NULL ? arena_format(app->arena, "%s (or %s=)", what, column->also)
                                : what;
}

/* ---- findings and causes --------------------------------------------------------------------- */

/* Folded, with the underscores of ids as blanks: how words are compared. */
static bool fold_into(struct text *out, const char *words)
{
    text_clear(out);
    if (!text_fold(out, words, strlen(words), NULL))
        return false;
    size_t length = 0;
    for (size_t i = 0; i < out->length; i++) /* "color" is "colour", but "sour" is itself */
        if (i < 2 || out->bytes[i] != 'u' || out->bytes[i - 1] != 'o' || out->bytes[i - 2] == 's')
            out->bytes[length++] = (char)(out->bytes[i] == '_' ? ' ' : out->bytes[i]);
    text_cut(out, length);
    return out->length > 0;
}

enum likeness { UNLIKE, WITHIN, AT_FRONT, SAME };

static enum likeness likeness(struct text *room, const char *words, const char *called)
{
    if (called == NULL || !fold_into(room, called))
        return UNLIKE;
    const char *found = strstr(room->bytes, words);
    if (found != NULL)
        return found != room->bytes                   ? WITHIN
               : strlen(words) == strlen(room->bytes) ? SAME
                                                      : AT_FRONT;
    for (const char *at = words; *at != '\0'; at += strspn(at, " ")) { /* each word by itself */
        char word[64];
        const size_t length = strcspn(at, " ");
        snprintf(word, sizeof word, "%.*s", (int)(length < sizeof word ? length : 0), at);
        if (word[0] == '\0' || strstr(room->bytes, word) == NULL)
            return UNLIKE;
        at += length;
    }
    return WITHIN;
}

/* Those that the words are like: of one name, else those whose name begins with them, else those
 * that have them all. Writes their numbers, and returns how many. */
static size_t names_like(const char *words, const struct names *names, size_t found[MOST_NAMES])
{
    enum likeness best = WITHIN;
    size_t count = 0;
    TEXT(wanted);
    TEXT(room);
    for (size_t i = 0; i < names->count && fold_into(&wanted, words); i++) {
        const char *const called[] = {names->ids[i], names->names[i], names->also[i]};
        enum likeness like = UNLIKE;
        for (size_t k = 0; k < sizeof called / sizeof *called; k++) {
            const enum likeness by_this = likeness(&room, wanted.bytes, called[k]);
            like = by_this > like ? by_this : like;
        }
        if (like > best) {
            best = like;
            count = 0;
        }
        if (like == best)
            found[count++] = i;
    }
    return count;
}

size_t names_meant(struct app *app, const struct names *names, const char *what, const char *words)
{
    enum { TOLD = 6 };
    size_t found[MOST_NAMES], several = 0;
    const size_t count = names_like(words, names, found);
    const char *like = "";
    for (size_t i = 0; i < count; i++)
        if ((i == 0 || strcmp(names->ids[found[i]], names->ids[found[i - 1]]) != 0) &&
            several++ < TOLD)
            words_add(app, &like, ", ", "%s", names->ids[found[i]]);
    if (several > 1)
        app_stop(app, "'%s' could be %s; say which", words, like);
    if (several == 1)
        return found[0];
    const bool by_id = diag_nearest(words, names->ids, names->count) != NULL;
    app_unknown(app, NULL, what, words, by_id ? names->ids : names->names, names->count,
                "'jarside show' lists them");
}

size_t assign_named(struct app *app, enum word_list list, const char *words)
{
    struct names names;
    names_of(app, list, &names);
    return names_meant(app, &names, list == LIST_FINDINGS ? "finding" : "cause", words);
}
