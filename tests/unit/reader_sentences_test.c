/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The tables of sentences in corpus/phrases, read with the shipped rules. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/diag.h"
#include "base/memory.h"
#include "base/text.h"
#include "language/reader.h"
#include "rules/rules.h"
#include "support/fixture.h"
#include "support/test.h"

enum { COLUMNS = 3, LINE_MOST = 4096 };

/* ---- a list as the tables write it ----------------------------------------------------------- */

static void put_values(struct text *out, const struct observable *o, uint32_t mask,
                       const char *before, const char *between, const char *after)
{
    const char *separator = "";
    for (size_t i = 0; i < o->value_count; i++)
        if (mask >> i & 1) {
            text_printf(out, "%s%s%s%s", separator, before, o->values[i].id, after);
            separator = between;
        }
}

static void put_reading(struct text *out, const struct observable *o, const struct reading *r)
{
    const char *doubt = r->hedged ? "?" : "";
    if (r->has_number) {
        text_printf(out, "%.4g", r->number.lo);
        if (r->number.hi > r->number.lo)
            text_printf(out, "..%.4g", r->number.hi);
        text_puts(out, doubt);
    } else if (r->seen && o->kind == KIND_SEVERAL) {
        put_values(out, o, r->seen, "", ",", doubt);
    } else if (r->seen) {
        put_values(out, o, r->seen, "", "|", "");
        text_puts(out, doubt);
    } else {
        put_values(out, o, r->absent, "-", ",", doubt);
    }
}

static void put_readings(struct text *out, const struct rules *rules,
                         const struct reading_list *list)
{
    for (size_t i = 0; i < rules->observable_count; i++) {
        const struct observable *o = &rules->observables[i];
        const char *separator = out->length ? " " : "";
        bool first = true;
        for (size_t j = 0; j < list->reading_count; j++) {
            if (list->readings[j].observable != i)
                continue;
            if (first)
                text_printf(out, "%s%s=", separator, o->id);
            else
                text_puts(out, ",");
            first = false;
            put_reading(out, o, &list->readings[j]);
        }
    }
}

static void put_unread(struct text *out, const struct reading_list *list)
{
    static const char *const marks[] = {[UNREAD_IMPOSSIBLE] = "!", [UNREAD_LIMIT] = "*"};
    for (size_t i = 0; i < list->unread_count; i++) {
        const struct unread *u = &list->unread[i];
        text_puts(out, i ? " | " : "");
        text_puts(out, u->reason == UNREAD_UNKNOWN ? "" : marks[u->reason]);
        text_add(out, list->text + u->span.start, u->span.end - u->span.start);
    }
}

/* ---- the tables ------------------------------------------------------------------------------ */

/* Splits a line at its tabs; columns that are not there are empty. */
static void split(char *line, const char *columns[], size_t count)
{
    for (size_t i = 0; i < count; i++) {
        columns[i] = line;
        char *tab = strchr(line, '\t');
        if (tab) {
            *tab = '\0';
            line = tab + 1;
        } else {
            line += strlen(line);
        }
    }
}

static size_t check_list(const struct fixture *s, const char *asked,
                         const struct reading_list *list, const char *const wanted[])
{
    struct text got[COLUMNS - 1];
    size_t wrong = 0;
    for (size_t i = 0; i < COLUMNS - 1; i++) {
        text_init(&got[i]);
        text_puts(&got[i], "");
    }
    put_readings(&got[0], s->rules, list);
    put_unread(&got[1], list);
    for (size_t i = 0; i < COLUMNS - 1; i++)
        wrong += strcmp(got[i].length ? got[i].bytes : "", wanted[i]) != 0;
    if (wrong)
        print_error("as it is read now:\n%s%s%s\t%s\t%s\n", asked, *asked ? "\t" : "", list->text,
                    got[0].length ? got[0].bytes : "", got[1].length ? got[1].bytes : "");
    for (size_t i = 0; i < COLUMNS - 1; i++)
        text_release(&got[i]);
    return wrong ? 1 : 0;
}

static size_t check_line(const struct fixture *s, char *line, bool answers)
{
    const char *columns[COLUMNS + 1];
    split(line, columns, answers ? COLUMNS + 1 : COLUMNS);
    const char *const *rest = answers ? columns + 1 : columns;
    struct reading_list list;
    enum status status = STATUS_OK;
    if (answers) {
        int asked = rules_observable(s->rules, columns[0]);
        if (asked == RULES_NONE)
            fail_msg("no sign is called '%s'", columns[0]);
        status = reader_answer(s->reader, (size_t)asked, rest[0], strlen(rest[0]), s->arena, &list,
                               s->diags);
    } else {
        status = reader_read(s->reader, rest[0], strlen(rest[0]), s->arena, &list, s->diags);
    }
    assert_int_equal(status, STATUS_OK);
    size_t wrong = check_list(s, answers ? columns[0] : "", &list, rest + 1);
    arena_reset(s->arena);
    return wrong;
}

static void check_table(void **state, const char *name, size_t least, bool answers)
{
    char path[128];
    char line[LINE_MOST];
    size_t count = 0;
    size_t wrong = 0;
    (void)snprintf(path, sizeof path, "corpus/phrases/%s.tsv", name);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    while (fgets(line, sizeof line, file)) {
        size_t end = strcspn(line, "\n");
        assert_true(end + 1 < sizeof line);
        line[end] = '\0';
        if (!line[0] || line[0] == '#')
            continue;
        count++;
        wrong += check_line(*state, line, answers);
    }
    (void)fclose(file);
    assert_true(count >= least);
    assert_int_equal(wrong, 0);
}

/* What is seen of the sign asked about: "a|b" is any of these and no other, "a,b" all of them and no other, "-a" is
 * denied, "-" is nothing. Other signs may be read as well. */
static bool heard_as(const struct fixture *s, size_t asked, const struct reading_list *list,
                     char *wanted)
{
    const struct observable *o = &s->rules->observables[asked];
    const bool any = strchr(wanted, '|') != NULL || o->kind != KIND_SEVERAL;
    uint32_t seen = 0, absent = 0, want = 0, deny = 0;
    for (size_t i = 0; i < list->reading_count; i++)
        if (list->readings[i].observable == asked) {
            seen |= list->readings[i].seen;
            absent |= list->readings[i].absent;
        }
    if (strcmp(wanted, "-") == 0)
        return seen == 0;
    for (char *word = strtok(wanted, "|,"); word != NULL; word = strtok(NULL, "|,")) {
        int value = rules_value(o, word + (*word == '-'));
        if (value == RULES_NONE)
            fail_msg("'%s' has no value '%s'", o->id, word);
        *(*word == '-' ? &deny : &want) |= UINT32_C(1) << value;
    }
    return (seen & ~want) == 0 && (deny & ~absent) == 0 &&
           (any ? want == 0 || (seen & want) != 0 : (want & ~seen) == 0);
}

TEST(test_heard)
{
    const struct fixture *s = *state;
    char line[LINE_MOST];
    size_t wrong = 0, count = 0;
    FILE *file = fopen("corpus/phrases/heard.tsv", "r");
    assert_non_null(file);
    while (fgets(line, sizeof line, file)) {
        const char *columns[3];
        struct reading_list list;
        line[strcspn(line, "\n")] = '\0';
        if (!line[0] || line[0] == '#')
            continue;
        split(line, columns, 3);
        int asked = rules_observable(s->rules, columns[0]);
        assert_int_not_equal(asked, RULES_NONE);
        assert_int_equal(reader_answer(s->reader, (size_t)asked, columns[1], strlen(columns[1]),
                                       s->arena, &list, s->diags),
                         STATUS_OK);
        char wanted[256];
        (void)snprintf(wanted, sizeof wanted, "%s", columns[2]);
        if (!heard_as(s, (size_t)asked, &list, wanted)) {
            print_error("%s: '%s' is not heard as %s\n", columns[0], columns[1], columns[2]);
            wrong++;
        }
        count++;
        arena_reset(s->arena);
    }
    (void)fclose(file);
    assert_true(count >= 500);
    assert_int_equal(wrong, 0);
}

/* A table of sentences, or of answers, with at least so many rows. */
#define SENTENCES(table, least, answers)                                                           \
    TEST(test_##table)                                                                             \
    {                                                                                              \
        check_table(state, #table, least, answers);                                                \
    }
SENTENCES(negation, 80, false)
SENTENCES(hedges, 40, false)
SENTENCES(numbers, 100, false)
SENTENCES(looks, 80, false)
SENTENCES(process, 80, false)
SENTENCES(mixed, 90, false)
SENTENCES(answers, 100, true)

/* Ordinary words that are one letter from a word of the phrases are not taken for it. */
TEST(test_ordinary_words)
{
    static const char *const words[] = {
        "about", "again",  "alone", "along",   "apply",  "arise",  "aside",  "avoid",  "back",
        "bank",  "batch",  "beach", "bend",    "bills",  "blink",  "block",  "bodies", "book",
        "boots", "border", "bowl",  "brake",   "branch", "bridge", "bring",  "broad",  "brush",
        "bunch", "burden", "cable", "cancer",  "cast",   "catch",  "chance", "charge", "cheap",
        "check", "chest",  "child", "choice",  "chose",  "claim",  "class",  "click",  "climb",
        "clock", "close",  "coach", "coast",   "cost",   "could",  "count",  "court",  "crash",
        "crime", "cross",  "crowd", "curve",   "daily",  "dance",  "delay",  "dinner", "doubt",
        "drama", "drive",  "eight", "enter",   "event",  "exact",  "faith",  "fault",  "field",
        "fight", "floor",  "focus", "forget",  "found",  "frame",  "friend", "front",  "ghost",
        "grace", "grand",  "grant", "great",   "greet",  "grill",  "ground", "group",  "guard",
        "guess", "happen", "heart", "heaven",  "hotel",  "house",  "human",  "image",  "label",
        "later", "learn",  "least", "letter",  "lower",  "lunch",  "maths",  "metal",  "might",
        "model", "money",  "month", "mouth",   "music",  "night",  "noise",  "north",  "nurse",
        "ocean", "offer",  "order", "paint",   "paper",  "party",  "pause",  "peace",  "phase",
        "phone", "piece",  "plain", "plant",   "poet",   "pound",  "power",  "press",  "price",
        "print", "proof",  "proud", "queen",   "quiet",  "radio",  "raise",  "reach",  "ready",
        "reply", "right",  "river", "round",   "route",  "scale",  "score",  "sense",  "serve",
        "shade", "shall",  "share", "sheep",   "shift",  "shirt",  "shock",  "shore",  "sight",
        "since", "skill",  "sleep", "small",   "smart",  "smile",  "solid",  "solve",  "sound",
        "south", "space",  "spare", "speak",   "spell",  "spend",  "spoke",  "sport",  "spring",
        "staff", "stage",  "stand", "state",   "steal",  "steel",  "stick",  "stock",  "stone",
        "store", "storm",  "story", "strange", "study",  "style",  "sudden", "sugar",  "super",
        "table", "taste",  "teach", "theme",   "think",  "those",  "three",  "throw",  "tired",
        "title", "total",  "touch", "tower",   "track",  "trade",  "train",  "treat",  "trial",
        "tribe", "trick",  "trust", "truth",   "twice",  "under",  "union",  "until",  "usual",
        "value", "visit",  "voice", "waste",   "watch",  "wheel",  "while",  "whole",  "woman",
        "world", "worry",  "worse", "would",   "wound",  "write",  "wrote",  "young"};
    const struct fixture *s = *state;
    size_t read = 0;
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        struct reading_list list;
        assert_int_equal(
            reader_read(s->reader, words[i], strlen(words[i]), s->arena, &list, s->diags),
            STATUS_OK);
        for (size_t j = 0; j < list.reading_count; j++) {
            const struct reading *r = &list.readings[j];
            print_error("'%s' was read as %s\n", words[i], s->rules->observables[r->observable].id);
        }
        read += list.reading_count;
        arena_reset(s->arena);
    }
    assert_int_equal(read, 0);
}

/* No shipped phrase backtracks without end, and all of them compile. */
TEST(test_shipped_patterns)
{
    struct fixture *s = *state;
    diags_clear(s->diags);
    reader_check_patterns(s->reader, s->diags);
    for (size_t i = 0; i < diags_kept(s->diags); i++)
        print_error("%s:%zu: %s\n", diags_get(s->diags, i)->at.file,
                    diags_get(s->diags, i)->at.line, diags_get(s->diags, i)->message);
    assert_int_equal(diags_warnings(s->diags), 0);
    assert_int_equal(diags_errors(s->diags), 0);
}

int main(void)
{
    return tests_run("reader sentences", shipped_setup, fixture_tear_down);
}
