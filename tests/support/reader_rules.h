/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A small rule base for the reader's tests, made by hand; its signs are invented. */
#ifndef JARSIDE_TESTS_READER_RULES_H
#define JARSIDE_TESTS_READER_RULES_H

#include <stdio.h>
#include <string.h>

#include "base/diag.h"
#include "base/memory.h"
#include "base/units.h"
#include "language/reader.h"
#include "rules/rules.h"
#include "support/test.h"

enum { TINT, TEXTURE, DAMP, WHERE, ODOUR, AGE, IDLE, SPREAD, FORCE, MADE, SMALL_COUNT };
enum { RED = 1, BLUE = 2, TEAL = 4, PALE = 8 }; /* tint */
enum { DUSTY = 1, SLICK = 2 };                  /* texture */
enum { ARID = 1, USUAL = 2, MOIST = 4 };        /* damp */
enum { TOP = 1, FOOT = 2 };                     /* where */
enum { SHARP = 1, STALE = 2 };                  /* odour */
enum { YOUNG = 1, GROWN = 2, OLD = 4 };         /* age: below 8, 22 days, and up to 365 */
enum { SHORT = 1, LONG = 2 };                   /* idle: below 8 days, and up to 365 */
enum { SOME = 1, MOST = 2 };                    /* spread: below 50 per cent, and up to 100 */
enum { WEAK = 1, STRONG = 2 };                  /* force: below 70 kPa, and up to 207 */
enum { BY_HAND = 1, BY_STEAM = 2, UNMADE = 4 }; /* made */

#define COUNT_OF(array) (sizeof(array) / sizeof *(array))

#define PHRASES(name, ...) static const char *const name[] = {__VA_ARGS__}
#define SAID(name)         .phrases = {(name), places, COUNT_OF(name)}
#define LISTED(name)       .name = {(name), NULL, COUNT_OF(name)}

static const struct position places[8] = {{"small.yaml", 3, 5}, {"small.yaml", 4, 5}};

static inline struct language small_language(void)
{
    PHRASES(negations, "no", "not", "without", "none", "nothing", "isn't", "neither");
    PHRASES(hedges, "maybe", "i think", "not sure [if]", "unsure [if]", "can't tell [if|whether]");
    PHRASES(breaks, "but", "just", "after", "since");
    PHRASES(ignore, "the|a|an|is|it|at|in|on|of|there|any|yet|look|so|all|over", "so far",
            "not only", "/no(?= (?:it|there) )");
    PHRASES(exceptions, "except", "until");
    PHRASES(objections, "but");
    PHRASES(alternatives, "or", "nor");
    PHRASES(additions, "and");
    PHRASES(about, "about", "around");
    PHRASES(over, "over", "at least");
    PHRASES(under, "under", "less than");
    PHRASES(yes, "yes", "yep");
    PHRASES(no, "no", "none", "nothing", "fine");
    PHRASES(spared, "rod", "steal");
    PHRASES(no_odour, "no odour|odor", "odourless");
    PHRASES(no_more_tint, "no other tint");
    PHRASES(rest_pale, "[the] rest [is] pale");
    PHRASES(all_well, "all well");
    static const size_t where[] = {WHERE};
    static const size_t odour[] = {ODOUR};
    static const uint32_t both[] = {SHARP | STALE};
    static const size_t tint[] = {TINT};
    static const uint32_t pale[] = {PALE};
    static const struct statement statements[] = {
        {.id = "no_odour", SAID(no_odour), .absent = {odour, both, 1}},
        {.id = "no_more_tint", SAID(no_more_tint), .others = tint, .other_count = 1},
        {.id = "rest_pale",
         SAID(rest_pale),
         .seen = {tint, pale, 1},
         .others = tint,
         .other_count = 1},
        {.id = "all_well", SAID(all_well), .absent = {odour, both, 1}, .overall = true},
    };
    return (struct language){
        LISTED(negations),
        LISTED(hedges),
        LISTED(breaks),
        LISTED(exceptions),
        LISTED(objections),
        LISTED(ignore),
        LISTED(alternatives),
        LISTED(additions),
        LISTED(about),
        LISTED(over),
        LISTED(under),
        LISTED(yes),
        LISTED(no),
        LISTED(spared),
        .where = where,
        .where_count = COUNT_OF(where),
        .statements = statements,
        .statement_count = COUNT_OF(statements),
    };
}

static const struct value *small_looks(size_t observable)
{
    PHRASES(red, "red|reddish", "crimson");
    PHRASES(blue, "blue|bluish");
    PHRASES(teal, "teal", "blue-green");
    PHRASES(pale, "pale", "white|whitish");
    PHRASES(dusty, "dust|dusty", "powder|powdery");
    PHRASES(slick, "slick", "slime|slimy");
    PHRASES(arid, "dry", "parched");
    PHRASES(usual, "usual dampness");
    PHRASES(moist, "moist", "wet", "lid ... damp");
    PHRASES(top, "at|on|near [the] top");
    PHRASES(foot, "foot", "at|near [the] bottom");
    PHRASES(sharp, "sharp [odour|odor]", "vinegar");
    PHRASES(stale, "stale [odour|odor]");
    PHRASES(hand, "by hand", "hand-made");
    PHRASES(steam, "steam");
    static const struct value tint[] = {{.id = "red", .label = "red", SAID(red)},
                                        {.id = "blue", .label = "blue", SAID(blue)},
                                        {.id = "teal", .label = "teal, or blue-green", SAID(teal)},
                                        {.id = "pale", .label = "pale", SAID(pale)}};
    static const struct value texture[] = {{.id = "dusty", .label = "dusty", SAID(dusty)},
                                           {.id = "slick", .label = "slick", SAID(slick)}};
    static const struct value damp[] = {{.id = "arid", .label = "dry", SAID(arid)},
                                        {.id = "usual", .label = "as usual", SAID(usual)},
                                        {.id = "moist", .label = "moist", SAID(moist)}};
    static const struct value where[] = {{.id = "top", .label = "top", SAID(top)},
                                         {.id = "foot", .label = "foot", SAID(foot)}};
    static const struct value odour[] = {{.id = "sharp", .label = "sharp", SAID(sharp)},
                                         {.id = "stale", .label = "stale", SAID(stale)}};
    static const struct value made[] = {{.id = "by_hand", .label = "by hand", SAID(hand)},
                                        {.id = "by_steam", .label = "with steam", SAID(steam)},
                                        {.id = "unmade", .label = "none"}};
    static const struct value *const all[SMALL_COUNT] = {
        [TINT] = tint,   [TEXTURE] = texture, [DAMP] = damp,
        [WHERE] = where, [ODOUR] = odour,     [MADE] = made};
    return all[observable];
}

static const struct value *small_bins(size_t observable)
{
    static const struct value age[] = {{.id = "young", .label = "young", .from = 0, .below = 8},
                                       {.id = "grown", .label = "grown", .from = 8, .below = 22},
                                       {.id = "old", .label = "old", .from = 22, .below = 365}};
    static const struct value idle[] = {{.id = "short", .label = "short", .from = 0, .below = 8},
                                        {.id = "long", .label = "long", .from = 8, .below = 365}};
    static const struct value spread[] = {
        {.id = "some", .label = "some", .from = 0, .below = 50},
        {.id = "most", .label = "most", .from = 50, .below = 100}};
    static const struct value force[] = {
        {.id = "weak", .label = "weak", .from = 0, .below = 70},
        {.id = "strong", .label = "strong", .from = 70, .below = 207}};
    static const struct value *const all[SMALL_COUNT] = {
        [AGE] = age, [IDLE] = idle, [SPREAD] = spread, [FORCE] = force};
    return all[observable];
}

static inline void small_number(struct observable *o, size_t index, const char *id,
                                enum dimension dimension, double max, const char *const *phrases,
                                size_t count)
{
    *o = (struct observable){.id = id,
                             .label = id,
                             .kind = KIND_NUMBER,
                             .dimension = dimension,
                             .max = max,
                             .group = RULES_NONE,
                             .values = small_bins(index),
                             .value_count = index == AGE ? 3 : 2,
                             .phrases = {phrases, places, count}};
}

struct small {
    struct arena *words; /* what the rules are made of */
    struct arena *arena; /* what is read; a test may reset it */
    struct diags *diags;
    struct rules rules;
    struct observable observables[SMALL_COUNT];
    const char *age[3], *idle[1], *spread[2], *force[1];
    struct reader *reader;
};

static inline void small_init(struct small *s)
{
    *s = (struct small){.words = arena_new(), .arena = arena_new(), .diags = diags_new()};
    assert_non_null(s->words);
    assert_non_null(s->arena);
    assert_non_null(s->diags);
    static const char *const ids[] = {[TINT] = "tint",   [TEXTURE] = "texture", [DAMP] = "damp",
                                      [WHERE] = "where", [ODOUR] = "odour",     [MADE] = "made"};
    static const size_t counts[SMALL_COUNT] = {
        [TINT] = 4, [TEXTURE] = 2, [DAMP] = 3, [WHERE] = 2, [ODOUR] = 2, [MADE] = 3};
    for (size_t i = 0; i < SMALL_COUNT; i++)
        if (counts[i])
            s->observables[i] =
                (struct observable){.id = ids[i],
                                    .label = ids[i],
                                    .kind = i == DAMP || i == MADE ? KIND_ONE : KIND_SEVERAL,
                                    .group = i == TINT || i == TEXTURE ? 0 : RULES_NONE,
                                    .values = small_looks(i),
                                    .value_count = counts[i]};
    s->age[0] = "day {n}";
    s->age[1] = "{q} old";
    s->age[2] = "/^{q}$";
    s->idle[0] = "stopped ... for {q}";
    s->spread[0] = "stopped at {q}";
    s->spread[1] = "{q} covered";
    s->force[0] = "[at] {q}";
    small_number(&s->observables[AGE], AGE, "age", DIM_DAYS, 365, s->age, 3);
    small_number(&s->observables[IDLE], IDLE, "idle", DIM_DAYS, 365, s->idle, 1);
    small_number(&s->observables[SPREAD], SPREAD, "spread", DIM_PERCENT, 100, s->spread, 2);
    small_number(&s->observables[FORCE], FORCE, "force", DIM_GAUGE_KPA, 207, s->force, 1);
    s->rules = (struct rules){.observables = s->observables,
                              .observable_count = SMALL_COUNT,
                              .language = small_language()};
}

/* Makes the reader, after whatever the test changed. */
static inline void small_open(struct small *s)
{
    s->reader = reader_new(&s->rules, s->diags);
    if (!s->reader)
        fail_msg("%s", diags_get(s->diags, 0)->message);
    assert_int_equal(diags_errors(s->diags), 0);
}

static inline void small_close(struct small *s)
{
    reader_free(s->reader);
    diags_free(s->diags);
    arena_free(s->arena);
    arena_free(s->words);
}

static inline int small_setup(void **state)
{
    static struct small small;
    small_init(&small);
    small_open(&small);
    *state = &small;
    return 0;
}

static inline int small_teardown(void **state)
{
    small_close(*state);
    return 0;
}

static inline struct reading_list read_text(struct small *s, const char *text)
{
    struct reading_list list;
    assert_int_equal(reader_read(s->reader, text, strlen(text), s->arena, &list, s->diags),
                     STATUS_OK);
    return list;
}

/* All readings of an observable put together. */
struct sum {
    uint32_t seen, absent, hedged; /* hedged: values that were said with doubt, either way */
    size_t count;
};

static inline struct sum sum_of(const struct reading_list *list, size_t observable)
{
    struct sum sum = {0};
    for (size_t i = 0; i < list->reading_count; i++) {
        const struct reading *r = &list->readings[i];
        if (r->observable != observable)
            continue;
        sum.seen |= r->seen;
        sum.absent |= r->absent;
        sum.hedged |= r->hedged ? r->seen | r->absent : 0;
        sum.count++;
    }
    return sum;
}

static inline const struct reading *reading_of(const struct reading_list *list, size_t observable)
{
    for (size_t i = 0; i < list->reading_count; i++)
        if (list->readings[i].observable == observable)
            return &list->readings[i];
    fail_msg("nothing was read of observable %zu in '%s'", observable, list->text);
    return NULL;
}

/* The words of a span. */
static inline void assert_span(const struct reading_list *list, struct span span, const char *words)
{
    char got[256];
    assert_true(span.end - span.start < sizeof got);
    memcpy(got, list->text + span.start, span.end - span.start);
    got[span.end - span.start] = '\0';
    assert_string_equal(got, words);
}

#endif
