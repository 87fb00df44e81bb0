/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "triage/triage.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "reason/siblings.h"
#include "triage/physics.h"

/*
 * What is said to a triage, in words, settings and answers, goes into a log; all else is read off
 * it. So a mark is a length of the log, and going back is cutting it there.
 */

enum saying_kind {
    SAYING_TOLD,     /* a statement about an observable */
    SAYING_ASKED,    /* its question was put and answered, however little that told */
    SAYING_UNKNOWN,  /* the grower does not know */
    SAYING_FORGET,   /* as if nothing had been said */
    SAYING_UNCLEAR,  /* words nothing understood */
    SAYING_TEXT,     /* a description, whole, for the weight of its words */
    SAYING_QUESTION, /* one of the grower's own; `observable` is its index in the rules */
};

struct saying {
    enum saying_kind kind;
    size_t batch;     /* statements of one call belong together */
    struct fact fact; /* what it says; of all kinds the words, safe */
    bool others;      /* its denials are "no other": what else was said stands */
    bool settles;     /* it answers the question, so it ends a clash */
    bool sweeps; /* the same words say more than one thing: "nothing else", "as it should be" */
    enum unread_reason reason; /* unclear only */
    bool objected;             /* likewise: struct unread */
    const char *note;
};

/* What the log comes to for one observable. */
struct known {
    bool told, asked, unknown;
    size_t batch; /* of the last statement taken in */
    size_t since; /* place in the log of the first statement; for the order of facts */
    struct fact fact;
    uint32_t by_others; /* of the denied values, those denied only as "no other" */
    bool in_text;       /* free text spoke of it */
    const char *value_words[RULES_MAX_VALUES]; /* several-of: what spoke of each value */
    uint32_t clashing;                         /* several-of: values both seen and denied */
    bool clashes;                              /* one-of: statements that leave nothing in common */
    size_t clash_batch;                        /* when that came up */
    const char *clash_first, *clash_second;
};

struct recalled { /* what records know of an observable, and whether it stands above what is said */
    struct fact fact;
    bool stands;
};

struct triage {
    const struct rules *rules;
    struct reader *reader;
    const struct reasoner *reasoner;
    struct words *words;   /* NULL: the words of descriptions do not weigh */
    struct arena *house;   /* as long as the triage: itself, and the arrays per observable */
    struct arena *said;    /* the log, the records, and their words */
    struct arena *scratch; /* while reading one text */
    struct arena *derived; /* words put together, facts; renewed with the state */
    struct arena *judged;  /* the verdict */
    struct cook_memo *cooks;
    bool shares; /* they are another's */

    struct saying *log;
    size_t log_count;
    size_t batch;
    struct recalled *recalled; /* what records know, beside the log */
    size_t recalled_count;
    struct earlier *earlier;
    size_t earlier_count;
    struct sibling_pattern pattern;
    bool weighed;  /* the pattern is filled */
    bool controls; /* some of its cook were never inoculated, and counted */
    const char *group_names[RELATION_COUNT]; /* of its groups */

    struct known *known;              /* the state, per observable */
    struct observation *observations; /* the evidence, likewise */
    bool *answered;                   /* its own question was; likewise */
    bool *skip;                       /* not to be asked, likewise; made when it is needed */
    bool skipping;                    /* it is made */
    int first_question;               /* observable that is asked before others, or RULES_NONE */
    const struct saying *asked;       /* the grower's own question, the newest; or NULL */
    struct heard heard;
    double *likelihood; /* of the words, per finding, for the evidence */
    struct word_weight word_weights[WORD_WEIGHTS];

    bool stale; /* the state has changed since the moves were computed */
    struct evidence evidence;
    struct computed *computed;
    size_t computed_count;
    struct prior_shift *shifts; /* the evidence's: of the computed, then of the siblings */
    struct pair_shift *pairs;   /* likewise, of the siblings */
    struct stakes stakes;
    struct posterior posterior;
    struct verdict verdict;
    struct question next;
};

enum { WORDS_LIMIT = 160 }; /* code points shown back of one statement */

/* A safe copy of what was said. */
static const char *keep_words(struct triage *triage, const char *bytes, size_t length)
{
    return text_safe_copy(triage->said, bytes, length, WORDS_LIMIT);
}

/* Whether nothing is known of an observable, as of most. */
static bool is_blank(const struct known *known)
{
    return !known->told && !known->asked && !known->unknown;
}

/* ==== from the log and the records to what is known ========================================== */

/*
 * From what was said, in order, and what records know to what is known.
 *
 * One-of and number: statements of one text narrow each other down; if they
 * leave nothing in common they clash, and the values of all stay possible, but
 * for one that prevails. A later text replaces what was known, or completes it when it only denies.
 *
 * Several-of: values add up. A value both seen and denied clashes, within a text
 * or across texts, and counts as neither until the next statement about it.
 * "No other" gives way to whatever is named, before it or after.
 *
 * Doubt gives way to plain words, and contradicts nothing.
 *
 * Whatever was said of an observable stands in the place of what records say of
 * it; of several-of values each on its own. Only what a look once saw and cannot
 * un-happen goes the other way: it stands above what is said.
 *
 * Silence: once free text has spoken of enough signs, a salient value it passes
 * over is unlikely to be there. That is part of the evidence, but no fact: nobody
 * said it. Where a question was put or a setting made, those speak instead.
 */

enum { WORDS_ENOUGH = 200 }; /* bytes of words put together for one fact */

/* ---- one-of and number ----------------------------------------------------------------------- */

/* The words of two statements that hold together; no more of them than a line takes. */
static const char *both(struct triage *triage, const char *first, const char *second)
{
    if (!first || !*first)
        return second;
    if (strlen(first) + strlen(second) > WORDS_ENOUGH || strstr(first, second))
        return first;
    return arena_format(triage->derived, "%s; %s", first, second);
}

static uint32_t possible(const struct observation *said, uint32_t all)
{
    return (said->seen ? said->seen : all) & ~said->absent;
}

/* The statement stands in the place of what was known. */
static void one_take(struct known *known, const struct saying *saying)
{
    known->fact.observation = saying->fact.observation;
    if (saying->fact.observation.seen) {
        known->fact.observation.seen &= ~saying->fact.observation.absent;
        known->fact.observation.absent = 0;
    }
    known->clashes = false;
    known->fact.words = saying->fact.words;
    known->fact.has_number = saying->fact.has_number;
    known->fact.number = saying->fact.number;
}

/* What is still possible after a statement that holds together with what was known. */
static void one_narrow(struct triage *triage, struct known *known, const struct saying *saying,
                       uint32_t left)
{
    if (known->fact.observation.seen || saying->fact.observation.seen)
        known->fact.observation = (struct observation){.seen = left};
    else
        known->fact.observation.absent |= saying->fact.observation.absent;
    known->fact.observation.hedged = saying->fact.observation.hedged & left;
    known->fact.words = both(triage, known->fact.words, saying->fact.words);
    if (saying->fact.has_number) {
        known->fact.has_number = true;
        known->fact.number = saying->fact.number;
    }
}

static void one_tell(struct triage *triage, struct known *known, const struct saying *saying,
                     const struct observable *observable)
{
    const uint32_t all = rules_all_values(observable);
    bool doubted = known->fact.observation.hedged != 0,
         doubts = saying->fact.observation.hedged != 0;
    uint32_t before = possible(&known->fact.observation, all),
             now = possible(&saying->fact.observation, all);
    uint32_t left = before & ~saying->fact.observation.absent;
    const bool settles_doubt = doubted && !doubts && known->told && known->batch == saying->batch;
    const bool earlier = known->told && known->batch != saying->batch; /* of an earlier text */
    const bool apart = !known->clashes && !(before & now);
    if (known->told && !earlier && !settles_doubt &&
        ((doubts && !doubted) || (apart && !doubts && fact_says_more(&known->fact, &saying->fact))))
        return;
    if (earlier && !known->clashes && !saying->fact.observation.seen && !doubts && left) {
        one_narrow(triage, known, saying, left);
    } else if (!known->told || settles_doubt || earlier ||
               (apart && !doubted && fact_says_more(&saying->fact, &known->fact))) {
        one_take(known, saying);
    } else if (!known->clashes && (before & now)) {
        one_narrow(triage, known, saying, before & now);
    } else if (doubts) {
        known->fact.observation =
            (struct observation){.seen = before | now, .hedged = before | now};
    } else if (saying->fact.observation.seen & observable->prevailing) {
        one_take(known, saying);
    } else if (!(known->fact.observation.seen & observable->prevailing)) {
        known->fact.observation = (struct observation){.seen = before | now};
        known->fact.has_number = false;
        if (known->clashes)
            return;
        known->clashes = true;
        known->clash_batch = saying->batch;
        known->clash_first = known->fact.words;
        known->clash_second = saying->fact.words;
    }
}

/* ---- several-of ------------------------------------------------------------------------------ */

static void value_set(struct known *known, const struct saying *saying, size_t value, bool seen)
{
    uint32_t bit = UINT32_C(1) << value;
    struct observation *now = &known->fact.observation;
    now->seen = seen ? now->seen | bit : now->seen & ~bit;
    now->absent = seen ? now->absent & ~bit : now->absent | bit;
    now->hedged &= ~bit;
    known->by_others &= ~bit;
    known->clashing &= ~bit;
    known->value_words[value] = saying->fact.words;
}

static void value_tell(struct known *known, const struct saying *saying, size_t value, bool seen)
{
    uint32_t bit = UINT32_C(1) << value;
    struct observation *now = &known->fact.observation;
    bool stands = ((now->seen | now->absent) & bit) != 0;
    bool fresh_clash = (known->clashing & bit) && known->clash_batch == saying->batch;
    /* A plain statement stands already, and says the opposite. */
    uint32_t opposite = (seen ? now->absent & ~known->by_others : now->seen) & ~now->hedged;
    if (saying->others) {
        if (stands || (known->clashing & bit && !saying->settles))
            return;
        value_set(known, saying, value, false);
        known->by_others |= bit;
    } else if (saying->fact.observation.hedged & bit) {
        if ((stands && !(known->by_others & bit)) || fresh_clash)
            return;
        value_set(known, saying, value, seen);
        now->hedged |= bit;
    } else if (fresh_clash) {
        return;
    } else if (!(opposite & bit) || saying->settles) {
        value_set(known, saying, value, seen);
    } else {
        now->seen &= ~bit;
        now->absent &= ~bit;
        if (!known->clashing) {
            known->clash_first = known->value_words[value];
            known->clash_second = saying->fact.words;
        }
        known->clashing |= bit;
        known->clash_batch = saying->batch;
    }
}

/* ---- the log --------------------------------------------------------------------------------- */

static void take_in(struct triage *triage, size_t at, const struct saying *saying)
{
    if (saying->kind == SAYING_QUESTION) {
        triage->asked = saying;
        return;
    }
    struct known *known = &triage->known[saying->fact.observable];
    const struct observable *observable = &triage->rules->observables[saying->fact.observable];
    switch (saying->kind) {
    case SAYING_TOLD:
        if (saying->sweeps && known->asked && known->told)
            break; /* what was answered to its own question stands */
        if (!known->told)
            known->since = at;
        if (observable->kind != KIND_SEVERAL)
            one_tell(triage, known, saying, observable);
        for (size_t v = 0; observable->kind == KIND_SEVERAL && v < observable->value_count; v++) {
            if (saying->fact.observation.seen >> v & 1)
                value_tell(known, saying, v, true);
            if (saying->fact.observation.absent >> v & 1)
                value_tell(known, saying, v, false);
        }
        if (observable->kind == KIND_SEVERAL)
            known->fact.words = both(triage, known->fact.words, saying->fact.words);
        known->told = true;
        known->unknown = false;
        known->batch = saying->batch;
        known->fact.origin = saying->fact.origin;
        known->in_text = known->in_text || saying->fact.origin == ORIGIN_TEXT;
        break;
    case SAYING_ASKED:
        known->asked = true;
        break;
    case SAYING_UNKNOWN:
        known->unknown = true; /* what was said of it before stands */
        break;
    case SAYING_FORGET:
        *known = (struct known){.told = false};
        break;
    case SAYING_QUESTION:
    case SAYING_TEXT:
        break;
    case SAYING_UNCLEAR:
        for (const char *c = saying->fact.words; saying->reason == UNREAD_UNKNOWN && *c; c++)
            triage->evidence.unread += *c != ' ' && (c == saying->fact.words || c[-1] == ' ');
        triage->evidence.objected |= saying->objected;
        *arena_push(triage->derived, triage->heard.unclear, triage->heard.unclear_count) =
            (struct unclear){saying->fact.words, saying->reason, saying->note};
        break;
    }
}

/* Works out all that is known anew. */
static void merge(struct triage *triage);

/* ---- what records know, beneath what is said ------------------------------------------------- */

void triage_recall(struct triage *triage, const struct fact *fact, bool stands)
{
    struct recalled *added = arena_push(triage->said, triage->recalled, triage->recalled_count);
    *added = (struct recalled){*fact, stands};
    added->fact.origin = ORIGIN_JOURNAL;
    added->fact.words = keep_words(triage, fact->words, strlen(fact->words));
    merge(triage);
}

enum status triage_recall_setting(struct triage *triage, const char *sign, const char *value,
                                  const char *words, struct diags *diags)
{
    struct reading reading;
    enum status status =
        reader_set(triage->reader, sign, value, (struct position){0}, &reading, diags);
    if (status != STATUS_OK)
        return status;
    struct fact fact = fact_heard(&reading, ORIGIN_JOURNAL);
    fact.words = words;
    triage_recall(triage, &fact, false);
    return STATUS_OK;
}

void triage_earlier(struct triage *triage, const struct earlier *earlier)
{
    struct earlier *added = arena_push(triage->said, triage->earlier, triage->earlier_count);
    *added = *earlier;
    added->words = keep_words(triage, earlier->words, strlen(earlier->words));
    merge(triage);
}

static void recall_several(struct triage *triage, struct known *known, size_t at,
                           const struct fact *recalled, bool stands)
{
    const struct observation *then = &recalled->observation;
    struct observation *now = &known->fact.observation;
    uint32_t said = now->seen | now->absent | known->clashing;
    uint32_t bits = stands ? then->seen : (then->seen | then->absent) & ~said;
    if (!known->told) {
        known->told = true;
        known->since = at;
        known->fact.origin = ORIGIN_JOURNAL;
        known->fact.words = recalled->words;
    }
    if (bits == 0)
        return;
    now->seen = (now->seen & ~bits) | (then->seen & bits);
    now->absent = (now->absent & ~bits) | (then->absent & bits);
    now->hedged = (now->hedged & ~bits) | (then->hedged & bits);
    known->clashing &= ~bits;
    known->fact.recalled |= bits;
    known->fact.recalled_words = both(triage, known->fact.recalled_words, recalled->words);
}

static void recall_merge(struct triage *triage, size_t at, const struct fact *recalled, bool stands)
{
    struct known *known = &triage->known[recalled->observable];
    if (known->unknown && !stands)
        return;
    if (triage->rules->observables[recalled->observable].kind == KIND_SEVERAL)
        recall_several(triage, known, at, recalled, stands);
    else if (stands || !known->told || known->fact.origin == ORIGIN_JOURNAL)
        *known = (struct known){/* all that is known of it comes from records */
                                .told = true,
                                .asked = known->asked,
                                .in_text = known->in_text,
                                .since = at,
                                .fact = *recalled};
}

/* ---- what became of siblings ----------------------------------------------------------------- */

enum status triage_siblings(struct triage *triage, const struct sibling_cell *cells, size_t count,
                            const char *const *names)
{
    struct sibling_pattern pattern;
    enum status status = siblings_weigh(triage->reasoner, cells, count, triage->said, &pattern);
    if (status != STATUS_OK)
        return status;
    triage->pattern = pattern;
    triage->pairs = arena_array(triage->said, pattern.pair_count, sizeof *triage->pairs);
    triage->weighed = true;
    triage->controls = false;
    for (size_t relation = 0; relation < RELATION_COUNT; relation++)
        triage->group_names[relation] =
            names[relation] != NULL ? keep_words(triage, names[relation], strlen(names[relation]))
                                    : "";
    for (size_t i = 0; i < count; i++)
        if (cells[i].control && (cells[i].shares >> RELATION_COOK & 1) != 0 &&
            cells[i].clean + cells[i].stuck + cells[i].contaminated > 0.0)
            triage->controls = true;
    merge(triage);
    return STATUS_OK;
}

/* The observable in which a person says in words what is counted here, or RULES_NONE. */
static int group_observable(const struct triage *triage, enum relation relation)
{
    static const enum feeds feeds[RELATION_COUNT] = {
        [RELATION_COOK] = FEEDS_SIBLINGS_COOK,       [RELATION_GRAIN_LOT] = FEEDS_SIBLINGS_LOT,
        [RELATION_SESSION] = FEEDS_SIBLINGS_SESSION, [RELATION_STARTER] = FEEDS_SIBLINGS_STARTER,
        [RELATION_PLACE] = FEEDS_SIBLINGS_PLACE,
    };
    return feeds[relation] != FEEDS_NONE ? triage->rules->feeder[feeds[relation]] : RULES_NONE;
}

static bool group_spoken_of(const struct triage *triage, enum relation relation)
{
    int index = group_observable(triage, relation);
    return index != RULES_NONE && triage->known[index].told;
}

/* What was counted is not asked. */
static void siblings_skip(struct triage *triage)
{
    int controls = triage->rules->feeder[FEEDS_CONTROLS];
    if (!triage->weighed)
        return;
    for (size_t i = 0; i < triage->pattern.group_count; i++) {
        int index = group_observable(triage, triage->pattern.groups[i].relation);
        if (index != RULES_NONE && triage->pattern.groups[i].kind != PATTERN_NO_OTHERS)
            triage->skip[index] = true;
    }
    if (triage->controls && controls != RULES_NONE)
        triage->skip[controls] = true;
}

/* ---- what has changed since earlier looks ---------------------------------------------------- */

/* The pace, the days of standstill, the day on which trouble was first seen.
 *
 * Coverage is judged by eye, so a difference below forecast.coverage_doubt (d points)
 * is none. It tells of a standstill only once growth at the slowest pace that
 * counts as one (s points a day, of the observable that feeds `progress`) would
 * have shown: after d / s days. What is white all through, or not yet white
 * at all, neither stands still nor has a pace. */

static const double USUAL_DOUBT = 5.0; /* points of coverage, where the rules do not say */

static double number_of(const struct triage *triage, enum feeds feeds)
{
    int index = triage->rules->feeder[feeds];
    const struct known *known = index != RULES_NONE ? &triage->known[index] : NULL;
    bool said = known != NULL && known->told && known->fact.has_number;
    return said ? 0.5 * (known->fact.number.lo + known->fact.number.hi) : NAN;
}

/* An observable that feeds it and of which nothing was said or recalled; RULES_NONE else. */
static int open_for(const struct triage *triage, enum feeds feeds)
{
    int index = triage->rules->feeder[feeds];
    const struct known *known = index != RULES_NONE ? &triage->known[index] : NULL;
    return known && is_blank(known) ? index : RULES_NONE;
}

bool is_trouble(const struct observable *observable, const struct observation *said)
{
    uint32_t odd = 0;
    for (size_t v = 0; v < observable->value_count; v++)
        odd |= (uint32_t)(observable->values[v].parameter > 0.0) << v;
    return (said->seen & ~said->hedged & observable->salient) != 0 ||
           (observable->feeds == FEEDS_PATCHES && said->seen != 0 && said->hedged == 0 &&
            (said->seen & ~odd) == 0);
}

static bool trouble_now(const struct triage *triage)
{
    bool any = false;
    for (size_t i = 0; i < triage->rules->observable_count && !any; i++)
        any = is_trouble(&triage->rules->observables[i], &triage->known[i].fact.observation);
    return any;
}

static void follows(struct triage *triage, int observable, uint32_t seen,
                    const struct quantity *number, const char *words)
{
    if (seen == 0)
        return;
    triage->known[observable] = (struct known){
        .told = true,
        .since = triage->recalled_count + triage->log_count,
        .fact = {.observation = {.seen = seen},
                 .has_number = number != NULL,
                 .number = number != NULL ? *number : (struct quantity){0},
                 .origin = ORIGIN_COMPUTED,
                 .words = words},
    };
}

static void number_follows(struct triage *triage, int index, double lo, double hi,
                           const char *words)
{
    const struct quantity number = {lo, hi, true};
    const struct observable *observable = &triage->rules->observables[index];
    const uint32_t bins =
        rules_bins(observable, fmax(lo, observable->min), fmin(hi, observable->max));
    follows(triage, index, bins, &number, words);
}

/* The pace since a look: of those that are not above the gain of a day the fastest. What has moved has at least the
 * slowest pace that is one. */
static void pace_follows(struct triage *triage, const struct earlier *then, double day,
                         double coverage, double doubt, double slowest)
{
    const int index = open_for(triage, FEEDS_PROGRESS);
    const double gain = coverage - then->coverage, days = day - then->day;
    const bool moved = gain >= doubt;
    const double rate = moved ? fmax(gain / days, slowest) : 0.0;
    double best = NAN;
    uint32_t value = 0;
    if (index == RULES_NONE || gain <= -doubt || (!moved && days < doubt / slowest))
        return;
    const struct observable *pace = &triage->rules->observables[index];
    for (size_t v = 0; v < pace->value_count; v++) {
        const double from = pace->values[v].parameter;
        if (!(from <= rate) || (moved && !(from > 0.0)) || from <= best)
            continue;
        best = from;
        value = UINT32_C(1) << v;
    }
    follows(triage, index, value, NULL,
            arena_format(triage->derived, "%.0f %% at the %s, %.0f %% now, %.0f days later",
                         then->coverage, then->words, coverage, days));
}

static void growth_follows(struct triage *triage)
{
    const int white = triage->rules->feeder[FEEDS_COVERAGE];
    const int progress = triage->rules->feeder[FEEDS_PROGRESS];
    const int stalled = open_for(triage, FEEDS_STALLED_DAYS);
    const double day = number_of(triage, FEEDS_DAY), coverage = number_of(triage, FEEDS_COVERAGE);
    const double given = triage->rules->forecast.coverage_doubt;
    const double doubt = given > 0.0 ? given : USUAL_DOUBT;
    const struct earlier *then = NULL, *since = NULL;
    double slowest = NAN; /* points a day of the slowest pace that is one */
    if (white == RULES_NONE || progress == RULES_NONE || isnan(day) || isnan(coverage))
        return;
    const struct observable *bins = &triage->rules->observables[white];
    const struct observable *pace = &triage->rules->observables[progress];
    for (size_t v = 0; v < pace->value_count; v++)
        if (pace->values[v].parameter > 0.0)
            slowest = fmin(slowest, pace->values[v].parameter); /* of a NAN and a number, that */
    if (coverage < bins->values[0].below || coverage >= bins->values[bins->value_count - 1].from ||
        isnan(slowest))
        return;
    /* The newest look that tells, and the first of those since which the coverage has stayed what it is now. */
    for (size_t i = triage->earlier_count; i-- > 0;) {
        const struct earlier *look = &triage->earlier[i];
        if (!(look->day < day) || isnan(look->coverage))
            continue;
        then = then != NULL ? then : look;
        if (!(fabs(coverage - look->coverage) < doubt))
            break;
        since = look;
    }
    if (then != NULL)
        pace_follows(triage, then, day, coverage, doubt, slowest);
    if (stalled == RULES_NONE || since == NULL || day - since->day < doubt / slowest)
        return;
    number_follows(
        triage, stalled, day - since->day, day - since->day,
        arena_format(triage->derived, "%.0f %% at the %s already", since->coverage, since->words));
}

static void first_seen_follows(struct triage *triage)
{
    int index = open_for(triage, FEEDS_FIRST_SEEN);
    double day = number_of(triage, FEEDS_DAY);
    if (index == RULES_NONE)
        return;
    for (size_t i = 0; i < triage->earlier_count; i++) {
        const struct earlier *earlier = &triage->earlier[i];
        if (!earlier->trouble)
            continue;
        if (!isnan(earlier->day))
            number_follows(triage, index, earlier->day, earlier->day, earlier->words);
        return;
    }
    const struct earlier *last = &triage->earlier[triage->earlier_count - 1];
    if (trouble_now(triage) && !isnan(day) && last->day < day)
        number_follows(triage, index, fmin(last->day + 1.0, day), day,
                       arena_format(triage->derived, "not there yet at the %s", last->words));
}

/* ---- the state ------------------------------------------------------------------------------- */

/* Facts stand in the order in which they were first spoken of. */
static void fact_add(struct triage *triage, size_t observable, const struct known *known)
{
    size_t at = triage->heard.fact_count;
    (void)arena_push(triage->derived, triage->heard.facts, triage->heard.fact_count);
    for (; at > 0 && triage->known[triage->heard.facts[at - 1].observable].since > known->since;
         at--)
        triage->heard.facts[at] = triage->heard.facts[at - 1];
    triage->heard.facts[at] = known->fact;
    triage->heard.facts[at].observable = observable;
}

/* White sooner than any culture could be: something else grows there. */
static void speed_follows(struct triage *triage)
{
    const int index = open_for(triage, FEEDS_SPEED);
    double coverage, day;
    if (index == RULES_NONE || !physics_too_fast(triage->rules, triage->heard.facts,
                                                 triage->heard.fact_count, &coverage, &day))
        return;
    const struct observable *speed = &triage->rules->observables[index];
    for (size_t v = 0; v < speed->value_count; v++)
        if (speed->values[v].parameter > 0.0) {
            follows(triage, index, UINT32_C(1) << v, NULL,
                    arena_format(triage->derived, "%.0f %% white by day %.3g", coverage, day));
            triage->observations[index] = triage->known[index].fact.observation;
            fact_add(triage, (size_t)index, &triage->known[index]);
            return;
        }
}

static bool is_asked_if(const struct triage *triage, const struct asked_if *only)
{
    return reason_holds(triage->reasoner, &only->when, &triage->evidence) &&
           (only->unless.count == 0 ||
            !reason_holds(triage->reasoner, &only->unless, &triage->evidence));
}

/* What was answered, declined or counted is not to be asked, nor what the rules ask only where something else holds. */
static void skip_find(struct triage *triage)
{
    const struct decision_rules *decision = &triage->rules->decision;
    const size_t count = triage->rules->observable_count;
    if (triage->skipping)
        return;
    memset(triage->skip, 0, count * sizeof *triage->skip);
    for (size_t i = 0; i < count; i++)
        triage->skip[i] = triage->known[i].asked || triage->known[i].unknown;
    for (size_t i = 0; i < decision->asked_if_count; i++) {
        const struct asked_if *only = &decision->asked_if[i];
        for (size_t k = 0; k < only->observable_count && !is_asked_if(triage, only); k++)
            triage->skip[only->observables[k]] = true;
    }
    siblings_skip(triage);
    triage->skipping = true;
}

static void weigh(struct triage *triage)
{
    const char *all = NULL; /* the words of all descriptions together */
    for (size_t i = 0; triage->words && i < triage->log_count; i++)
        if (triage->log[i].kind == SAYING_TEXT)
            all = all == NULL
                      ? triage->log[i].fact.words
                      : arena_format(triage->derived, "%s\n%s", all, triage->log[i].fact.words);
    triage->heard.weight_count = 0;
    triage->evidence.words = NULL;
    if (all == NULL)
        return;
    triage->heard.weight_count = words_weigh(triage->words, all, strlen(all), triage->likelihood,
                                             triage->word_weights, WORD_WEIGHTS);
    triage->evidence.words = triage->likelihood;
}

static void merge(struct triage *triage)
{
    const struct rules *rules = triage->rules;
    const size_t count = rules->observable_count;
    arena_reset(triage->derived);
    for (size_t i = 0; i < count; i++)
        if (!is_blank(&triage->known[i]))
            triage->known[i] = (struct known){.told = false};
    triage->heard = (struct heard){.weights = triage->word_weights};
    triage->asked = NULL;
    triage->evidence.unread = 0;
    triage->evidence.objected = triage->skipping = false;
    triage->stale = true;
    for (size_t i = 0; i < triage->log_count; i++)
        take_in(triage, triage->recalled_count + i, &triage->log[i]);
    for (size_t i = 0; i < triage->recalled_count; i++)
        recall_merge(triage, i, &triage->recalled[i].fact, triage->recalled[i].stands);
    triage->first_question = RULES_NONE;
    if (triage->earlier_count > 0) {
        growth_follows(triage);
        first_seen_follows(triage);
        /* A patch that was there and is there: what it did between is not guessed but asked. */
        if (triage->earlier[triage->earlier_count - 1].trouble && trouble_now(triage))
            triage->first_question = open_for(triage, FEEDS_SPOT_CHANGE);
    }
    /* What a text passes over tells once it has spoken of enough: of one sign, if of no salient value. */
    double spoken_of = 0.0, enough = rules->calibration.silence_after, needed = 1.0;
    for (size_t i = 0; i < count; i++) {
        if (triage->known[i].in_text && rules->observables[i].class == CLASS_SIGN)
            spoken_of += 1.0;
        if (triage->known[i].fact.observation.seen & rules->observables[i].salient)
            needed = enough;
    }
    const bool tells = enough > 0.0 && spoken_of >= needed;
    for (size_t i = 0; i < count; i++) {
        const struct known *known = &triage->known[i];
        const struct observation *now = &known->fact.observation;
        const uint32_t silent = tells ? rules->observables[i].salient : 0;
        triage->observations[i] = (struct observation){.silent = silent};
        triage->answered[i] = known->asked && known->fact.origin == ORIGIN_ANSWER;
        if (is_blank(known))
            continue;
        const bool spoken = known->asked || known->unknown ||
                            (known->told && known->fact.origin != ORIGIN_TEXT &&
                             known->fact.origin != ORIGIN_JOURNAL);
        triage->observations[i] = *now;
        triage->observations[i].silent =
            spoken ? 0 : silent & ~(now->seen | now->absent | known->clashing);
        if (now->seen || now->absent)
            fact_add(triage, i, known);
        if (known->clashes || known->clashing)
            *arena_push(triage->derived, triage->heard.clashes, triage->heard.clash_count) =
                (struct clash){i, known->clash_first, known->clash_second};
    }
    speed_follows(triage);
    weigh(triage);
}

/* ==== from what is known to a verdict: all that a grower is told, put together once ========== */

enum {
    QUESTIONS_MOST = 16,
    TESTS_MOST = 8,
    TURNS_MOST = 6, /* of answers that may be mistaken, and as many of questions not asked */
};

/* ---- what moves causes ----------------------------------------------------------------------- */

static bool cause_left_out(const struct triage *triage, size_t cause)
{
    enum scope scope = triage->rules->causes[cause].scope;
    return scope != SCOPE_VESSEL && group_spoken_of(triage, (enum relation)scope);
}

static void compute(struct triage *triage)
{
    const struct sibling_pattern *pattern = &triage->pattern;
    struct evidence *evidence = &triage->evidence;
    if (!triage->stale)
        return;
    triage->computed_count =
        physics_moves(triage->reasoner, evidence, triage->heard.facts, triage->heard.fact_count,
                      triage->cooks, triage->derived, triage->computed);
    evidence->shift_count = triage->computed_count;
    for (size_t i = 0; i < triage->computed_count; i++) {
        const struct computed *computed = &triage->computed[i];
        triage->shifts[i] =
            (struct prior_shift){computed->cause, computed->log_odds - computed->replaces};
    }
    evidence->pair_shifts = triage->pairs;
    evidence->pair_shift_count = 0;
    for (size_t i = 0; i < pattern->cause_count; i++)
        if (!cause_left_out(triage, pattern->shifts[i].cause))
            triage->shifts[evidence->shift_count++] = pattern->shifts[i];
    for (size_t i = 0; i < pattern->pair_count; i++)
        if (!cause_left_out(triage, pattern->pairs[i].causes[0]) &&
            !cause_left_out(triage, pattern->pairs[i].causes[1]))
            triage->pairs[evidence->pair_shift_count++] = pattern->pairs[i];
    triage->stale = false;
}

/* Raised causes before lowered ones, each the farthest moved first. */
static int by_move(const void *left, const void *right)
{
    double a = ((const struct prior_shift *)left)->log_odds;
    double b = ((const struct prior_shift *)right)->log_odds;
    if ((a > 0.0) != (b > 0.0))
        return a > 0.0 ? -1 : 1;
    return (fabs(a) < fabs(b)) - (fabs(a) > fabs(b));
}

static void siblings_find(struct triage *triage)
{
    const struct sibling_pattern *pattern = &triage->pattern;
    struct verdict *verdict = &triage->verdict;
    struct sibling_evidence *siblings =
        arena_array(triage->judged, pattern->group_count, sizeof *siblings);
    for (size_t i = 0; i < pattern->group_count; i++) {
        enum relation relation = pattern->groups[i].relation;
        struct prior_shift *causes =
            arena_array(triage->judged, pattern->cause_count, sizeof *causes);
        size_t count = 0;
        for (size_t k = 0; k < pattern->cause_count; k++)
            if ((enum relation)triage->rules->causes[pattern->shifts[k].cause].scope == relation)
                causes[count++] = pattern->shifts[k];
        qsort(causes, count, sizeof *causes, by_move);
        siblings[i] = (struct sibling_evidence){.group = &pattern->groups[i],
                                                .name = triage->group_names[relation],
                                                .left_out = group_spoken_of(triage, relation),
                                                .causes = causes,
                                                .cause_count = count};
    }
    verdict->siblings = siblings;
    verdict->sibling_count = pattern->group_count;
}

/* ---- cautions -------------------------------------------------------------------------------- */

bool caution_is_about(const struct caution *caution, const struct rules *rules, size_t finding)
{
    const struct finding *of = &rules->findings[finding];
    bool is = (caution->hazards >> of->hazard & 1) || (caution->statuses >> of->status & 1);
    for (size_t i = 0; i < caution->finding_count; i++)
        is = is || caution->findings[i] == finding;
    return is;
}

static bool caution_applies(const struct triage *triage, const struct caution *caution)
{
    double mass = 0.0;
    for (size_t f = 0; f < triage->rules->finding_count; f++)
        mass += caution_is_about(caution, triage->rules, f) ? triage->posterior.finding[f] : 0.0;
    /* Said with doubt is enough here: a caution is better given once too often. */
    const struct condition *when = &caution->when;
    bool seen = when->count > 0;
    for (size_t i = 0; i < when->count; i++)
        seen = seen && (triage->observations[when->observables[i]].seen & when->values[i]) != 0;
    return caution->always || (mass > 0.0 && mass >= caution->at_least) || seen ||
           (caution->actions >> triage->verdict.decision.action & 1);
}

/* ---- steps ----------------------------------------------------------------------------------- */

/* Whose steps are shown. Discarding and isolating are done on account of what may
 * be contaminated, even where something harmless is likelier; so the likeliest
 * contaminated finding says how. Keeping is done on account of the likeliest that
 * is not, unless the next step has steps of its own. Where a floor stands because too
 * little was said, it says what to do, and no finding has a say. */
static void steps_find(struct triage *triage)
{
    static const unsigned clean = 1U << FINDING_CLEAN, stuck = 1U << FINDING_STUCK;
    const unsigned keep[] = {clean | stuck, 0, 0};
    const unsigned wary[] = {1U << FINDING_CONTAMINATED, stuck, clean};
    struct verdict *verdict = &triage->verdict;
    enum action action = verdict->decision.action;
    const unsigned *wanted = action == ACTION_KEEP ? keep : wary;
    const int floor = verdict->decision.floor;
    if (floor != RULES_NONE && triage->rules->decision.floors[floor].unless_told_count > 0)
        return;
    const struct next_step *next =
        verdict->decision.next_step != RULES_NONE
            ? &triage->rules->decision.next_steps[verdict->decision.next_step]
            : NULL;
    if (next != NULL && next->step_count > 0) {
        verdict->steps = next->steps;
        verdict->step_count = next->step_count;
        return;
    }
    for (size_t k = 0; k < 3; k++)
        for (size_t i = 0; i < triage->rules->finding_count; i++) {
            const struct finding *from = &triage->rules->findings[verdict->findings[i].index];
            if (!(wanted[k] >> from->status & 1) || from->step_count[action] == 0)
                continue;
            verdict->steps = from->steps[action];
            verdict->step_count = from->step_count[action];
            return;
        }
}

/* ---- questions, tests, turns ----------------------------------------------------------------- */

static size_t rank_questions(struct triage *triage, enum aim aim, bool tests,
                             struct question *questions, size_t most, struct turns *turns)
{
    skip_find(triage);
    const bool only_first = triage->first_question == RULES_NONE;
    const struct inquiry inquiry = {aim, tests, triage->skip, most, turns, only_first};
    size_t count = reason_questions(triage->reasoner, &triage->evidence, &triage->posterior,
                                    &triage->stakes, &inquiry, questions);
    /* What the records make the first thing to ask goes before the rest, if it is worth asking. */
    for (size_t i = 1; !tests && i < count; i++)
        if ((int)questions[i].observable == triage->first_question) {
            const struct question first = questions[i];
            memmove(questions + 1, questions, i * sizeof *questions);
            questions[0] = first;
            break;
        }
    return count;
}

/* Questions for the action. Where the weight of words alone has decided it, what is asked is what would be
 * asked without them: whoever can be asked is not judged by a turn of phrase. */
static size_t action_questions(struct triage *triage, struct question *questions, size_t most,
                               struct turns *turns)
{
    const double *words = triage->evidence.words;
    size_t count = rank_questions(triage, AIM_ACTION, false, questions, most, turns);
    struct decision with, without;
    if (count > 0 || words == NULL)
        return count;
    reason_decide(triage->reasoner, &triage->evidence, &triage->posterior, &triage->stakes, &with);
    triage->evidence.words = NULL;
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    reason_decide(triage->reasoner, &triage->evidence, &triage->posterior, &triage->stakes,
                  &without);
    if (with.action != without.action)
        count = rank_questions(triage, AIM_ACTION, false, questions, most, NULL);
    triage->verdict.words_decide = count > 0;
    triage->evidence.words = words;
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    return count;
}

/* The likeliest of both sorts, so that neither crowds out the other. */
static void turns_keep(struct triage *triage, const struct turns *turns)
{
    struct verdict *verdict = &triage->verdict;
    struct turn *kept = arena_array(triage->judged, (size_t)2 * TURNS_MOST, sizeof *kept);
    size_t sorts[2] = {0, 0};
    for (size_t i = 0; i < turns->count; i++)
        if (sorts[turns->list[i].answered]++ < TURNS_MOST)
            kept[verdict->turn_count++] = turns->list[i];
    verdict->turns = kept;
}

static void reply_find(struct triage *triage)
{
    struct verdict *verdict = &triage->verdict;
    if (triage->asked == NULL)
        return;
    const struct own_question *question = &triage->rules->questions[triage->asked->fact.observable];
    const struct reply *reply = question->replies;
    enum finding_status leader = FINDING_CLEAN;
    for (enum finding_status s = FINDING_CLEAN; s < FINDING_STATUS_COUNT; s++)
        leader = verdict->status[s] > verdict->status[leader] ? s : leader;
    while ((reply->actions != 0 && !(reply->actions >> verdict->decision.action & 1)) ||
           (reply->statuses != 0 && !(reply->statuses >> leader & 1)) ||
           !reason_holds(triage->reasoner, &reply->when, &triage->evidence))
        reply++; /* the last fits always */
    verdict->asked = triage_asked(triage);
    verdict->reply = reply;
}

/* ---- the whole ------------------------------------------------------------------------------- */

/* From the likeliest down; of equals the first stays first. */
static const struct ranked *rank(struct triage *triage, const double *p, size_t count)
{
    struct ranked *ranked = arena_array(triage->judged, count, sizeof *ranked);
    for (size_t i = 0; i < count; i++) { /* two dozen at most: put in their places one by one */
        size_t at = i;
        for (; at > 0 && ranked[at - 1].p < p[i]; at--)
            ranked[at] = ranked[at - 1];
        ranked[at] = (struct ranked){i, p[i]};
    }
    return ranked;
}

/* What all the rest rests on: the findings and the action. */
static struct verdict *verdict_begin(struct triage *triage)
{
    struct verdict *verdict = &triage->verdict;
    const struct posterior *posterior = &triage->posterior;
    arena_reset(triage->judged);
    *verdict = (struct verdict){.computed = triage->computed,
                                .computed_count = triage->computed_count,
                                .no_cause = posterior->no_cause};
    reason_decide(triage->reasoner, &triage->evidence, posterior, &triage->stakes,
                  &verdict->decision);
    double *shown = arena_array(triage->judged, triage->rules->finding_count, sizeof *shown);
    reason_sharpen(triage->reasoner, posterior, shown);
    verdict->findings = rank(triage, shown, triage->rules->finding_count);
    memcpy(verdict->status, posterior->status, sizeof verdict->status);
    return verdict;
}

const struct verdict *triage_judge_briefly(struct triage *triage)
{
    compute(triage);
    reason_findings(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    return verdict_begin(triage);
}

static struct verdict *judge(struct triage *triage, struct turns *turns)
{
    compute(triage);
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    struct verdict *verdict = verdict_begin(triage);
    verdict->causes = rank(triage, triage->posterior.cause, triage->rules->cause_count);
    size_t count = triage->rules->caution_count; /* by rank already */
    size_t *found = arena_array(triage->judged, count, sizeof *found);
    for (size_t i = 0; i < count; i++)
        if (caution_applies(triage, &triage->rules->cautions[i]))
            found[triage->verdict.caution_count++] = i;
    triage->verdict.cautions = found;
    siblings_find(triage);
    steps_find(triage);
    reply_find(triage);
    struct question *questions = arena_array(triage->judged, QUESTIONS_MOST, sizeof *questions);
    verdict->question_count = action_questions(triage, questions, QUESTIONS_MOST, turns);
    verdict->questions = questions;
    verdict->settled = verdict->question_count == 0;
    return verdict;
}

const struct verdict *triage_judge_plainly(struct triage *triage)
{
    return judge(triage, NULL);
}

const struct verdict *triage_judge(struct triage *triage)
{
    size_t most = triage->rules->observable_count * 8; /* turns */
    struct turns turns = {arena_room(triage->derived, most, sizeof *turns.list), most, 0};
    struct verdict *verdict = judge(triage, &turns);
    struct explanation *explanation = &verdict->explanation;
    turns_keep(triage, &turns);
    explanation->weights =
        arena_array(triage->judged, triage->rules->observable_count, sizeof *explanation->weights);
    reason_explain(triage->reasoner, &triage->evidence, &triage->posterior, explanation);
    struct question *tests = arena_array(triage->judged, TESTS_MOST, sizeof *tests);
    verdict->test_count = rank_questions(triage, AIM_CAUSE, true, tests, TESTS_MOST, NULL);
    verdict->tests = tests;
    return verdict;
}

static enum action action_if(struct triage *triage, size_t observable, struct observation said)
{
    struct observation kept = triage->observations[observable];
    struct decision decision;
    triage->observations[observable] = said;
    reason_findings(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    reason_decide(triage->reasoner, &triage->evidence, &triage->posterior, &triage->stakes,
                  &decision);
    triage->observations[observable] = kept;
    return decision.action;
}

bool triage_turns_on(struct triage *triage, size_t observable)
{
    const struct observation now = triage->observations[observable];
    const uint32_t clashing = triage->known[observable].clashing;
    bool turns = false;
    compute(triage);
    const enum action action = action_if(triage, observable, now);
    for (uint32_t left = clashing != 0 ? clashing : now.seen; left != 0; left &= left - 1) {
        struct observation one = {.seen = left & -left}, other = one;
        if (clashing != 0) { /* of several-of values, each on its own */
            one = other = now;
            one.seen |= left & -left;
            other.absent |= left & -left;
        }
        turns = turns || action_if(triage, observable, one) != action ||
                action_if(triage, observable, other) != action;
    }
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    return turns;
}

double triage_without(struct triage *triage, size_t observable, enum action *action)
{
    compute(triage);
    *action = action_if(triage, observable, (struct observation){0});
    const double contaminated = triage->posterior.status[FINDING_CONTAMINATED];
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    return contaminated;
}

bool triage_open(struct triage *triage, size_t observable)
{
    skip_find(triage);
    const struct observable *asked = &triage->rules->observables[observable];
    const struct known *known = &triage->known[observable];
    /* What was spoken of may be asked about, whatever else would have to hold. */
    const bool spoken_of = known->told && !known->asked && !known->unknown;
    return asked->class != CLASS_TEST && asked->gate != GATE_NEVER_ASKED &&
           (spoken_of || !triage->skip[observable]);
}

size_t triage_before_keep(struct triage *triage)
{
    const struct decision_rules *decision = &triage->rules->decision;
    for (size_t i = 0; i < decision->before_keep_count; i++) {
        const struct asked_if *list = &decision->before_keep[i];
        for (size_t k = 0; k < list->observable_count && is_asked_if(triage, list); k++)
            if (!triage->known[list->observables[k]].told &&
                triage_open(triage, list->observables[k]))
                return list->observables[k];
    }
    return (size_t)RULES_NONE;
}

const struct question *triage_next(struct triage *triage, enum aim aim)
{
    struct question questions[QUESTIONS_MOST];
    compute(triage);
    reason_posterior(triage->reasoner, &triage->evidence, -1.0, &triage->posterior);
    size_t count = aim == AIM_ACTION
                       ? action_questions(triage, questions, QUESTIONS_MOST, NULL)
                       : rank_questions(triage, aim, false, questions, QUESTIONS_MOST, NULL);
    if (count == 0)
        return NULL;
    triage->next = questions[0];
    return &triage->next;
}

/* ==== what is said ============================================================================= */

/* ---- beginning and end ----------------------------------------------------------------------- */

struct triage *triage_new(const struct rules *rules, struct reader *reader,
                          const struct reasoner *reasoner)
{
    struct arena *house = arena_new();
    struct triage *triage = arena_alloc(house, sizeof *triage);
    size_t count = rules->observable_count, causes = rules->cause_count;
    *triage = (struct triage){rules, reader, reasoner, .house = house};
    triage->said = arena_new();
    triage->scratch = arena_new();
    triage->derived = arena_new();
    triage->judged = arena_new();
    triage->cooks = cook_memo_new();
    triage->known = arena_array(house, count, sizeof *triage->known);
    triage->observations = arena_array(house, count, sizeof *triage->observations);
    triage->answered = arena_array(house, count, sizeof *triage->answered);
    triage->skip = arena_array(house, count, sizeof *triage->skip);
    triage->likelihood = arena_array(house, rules->finding_count, sizeof *triage->likelihood);
    triage->computed = arena_array(house, causes, sizeof *triage->computed);
    triage->shifts = arena_array(house, 2 * causes, sizeof *triage->shifts);
    triage->evidence.observations = triage->observations;
    triage->evidence.answered = triage->answered;
    triage->evidence.shifts = triage->shifts;
    posterior_init(&triage->posterior, reasoner, NULL);
    triage_reset(triage);
    return triage;
}

void triage_free(struct triage *triage)
{
    if (!triage)
        return;
    posterior_release(&triage->posterior);
    if (!triage->shares)
        cook_memo_free(triage->cooks);
    arena_free(triage->said);
    arena_free(triage->scratch);
    arena_free(triage->derived);
    arena_free(triage->judged);
    arena_free(triage->house);
}

void triage_reset(struct triage *triage)
{
    triage->pattern = (struct sibling_pattern){.group_count = 0};
    triage->weighed = triage->controls = false;
    triage->recalled = NULL;
    triage->earlier = NULL;
    triage->log = NULL;
    triage->log_count = triage->recalled_count = triage->earlier_count = 0;
    arena_reset(triage->said);
    triage->stakes = (struct stakes){
        .worth = 1.0, .neighbours = triage->rules->decision.neighbours, .use = RULES_NONE};
    merge(triage);
}

void triage_share_cooks(struct triage *triage, const struct triage *with)
{
    cook_memo_free(triage->cooks);
    triage->cooks = with->cooks;
    triage->shares = true;
}

void triage_weigh_words(struct triage *triage, struct words *words)
{
    triage->words = words;
    merge(triage);
}

/* ---- the log --------------------------------------------------------------------------------- */

static void say(struct triage *triage, struct saying saying)
{
    saying.batch = triage->batch;
    *arena_push(triage->said, triage->log, triage->log_count) = saying;
}

static void say_bare(struct triage *triage, enum saying_kind kind, size_t observable,
                     const char *words)
{
    say(triage, (struct saying){.kind = kind, .fact = {.observable = observable, .words = words}});
}

/* The labels of what was chosen by its place in a list, which says nothing to who reads it later; else the words. */
static const char *words_chosen(struct triage *triage, const struct fact *fact)
{
    const struct observable *asked = &triage->rules->observables[fact->observable];
    const char *words = "";
    bool guessed;
    if (reader_chosen(asked, fact->words, &guessed) == 0)
        return fact->words;
    for (size_t v = 0; v < asked->value_count; v++)
        if (fact->observation.seen >> v & 1)
            arena_append(triage->said, &words, ", ", "%s", asked->values[v].label);
    return words;
}

static void say_list(struct triage *triage, const struct reading_list *list, enum origin origin,
                     int answers)
{
    for (size_t i = 0; i < list->reading_count; i++) {
        const struct reading *reading = &list->readings[i];
        struct saying saying = {
            .kind = SAYING_TOLD,
            .fact = fact_heard(reading, origin),
            .others = reading->others,
            .settles = answers == (int)reading->observable || list->corrects ||
                       (answers != RULES_NONE && reading_corrects(list, reading)),
            .sweeps = answers != RULES_NONE && answers != (int)reading->observable &&
                      reading_sweeps(list, reading)};
        if ((int)reading->observable == triage->rules->feeder[FEEDS_FIRST_SEEN] &&
            !fact_count_back(&saying.fact, &triage->rules->observables[reading->observable],
                             list->text + reading->span.end, number_of(triage, FEEDS_DAY)))
            continue;
        saying.fact.words = keep_words(triage, list->text + reading->span.start,
                                       reading->span.end - reading->span.start);
        if (saying.settles)
            saying.fact.words = words_chosen(triage, &saying.fact);
        say(triage, saying);
    }
    const struct span *asked = &list->question_span;
    if (list->question != RULES_NONE)
        say_bare(triage, SAYING_QUESTION, (size_t)list->question,
                 keep_words(triage, list->text + asked->start, asked->end - asked->start));
    for (size_t i = 0; i < list->unread_count; i++) {
        const struct unread *unread = &list->unread[i];
        say(triage, (struct saying){
                        .kind = SAYING_UNCLEAR,
                        .reason = unread->reason,
                        .objected = unread->objected,
                        .fact.words = keep_words(triage, list->text + unread->span.start,
                                                 unread->span.end - unread->span.start),
                        .note = unread->note ? arena_string(triage->said, unread->note) : NULL});
    }
}

/* What a correction takes back without saying what is so, and a figure that it puts right. */
static void correct(struct triage *triage, struct reading_list *list)
{
    struct saying saying = {.kind = SAYING_TOLD, .settles = true};
    for (size_t i = 0; i < triage->heard.fact_count; i++)
        if (fact_falls(&triage->heard.facts[i], triage->rules, list))
            say_bare(triage, SAYING_FORGET, triage->heard.facts[i].observable, "");
    if (!fact_figure(triage->heard.facts, triage->heard.fact_count, triage->reader, list,
                     triage->scratch, &saying.fact))
        return;
    saying.fact.words = keep_words(triage, saying.fact.words, strlen(saying.fact.words));
    say(triage, saying);
}

/* ---- text and settings ----------------------------------------------------------------------- */

enum status triage_tell(struct triage *triage, const char *text, size_t length, struct diags *diags)
{
    struct reading_list list;
    arena_reset(triage->scratch);
    enum status status = reader_read(triage->reader, text, length, triage->scratch, &list, diags);
    if (status != STATUS_OK)
        return status;
    triage->batch++;
    if (list.corrects)
        correct(triage, &list);
    say_list(triage, &list, ORIGIN_TEXT, RULES_NONE);
    say_bare(triage, SAYING_TEXT, 0, reader_own_words(&list, length, false, triage->said));
    merge(triage);
    return STATUS_OK;
}

bool triage_corrects(struct triage *triage, const char *text)
{
    struct reading_list list;
    struct fact figure;
    arena_reset(triage->scratch);
    if (reader_read(triage->reader, text, strlen(text), triage->scratch, &list, NULL) !=
            STATUS_OK ||
        !list.corrects)
        return false;
    bool corrects = fact_figure(triage->heard.facts, triage->heard.fact_count, triage->reader,
                                &list, triage->scratch, &figure);
    for (size_t i = 0; i < triage->heard.fact_count; i++)
        corrects = corrects || fact_falls(&triage->heard.facts[i], triage->rules, &list);
    for (size_t i = 0; i < list.reading_count; i++)
        corrects = corrects || triage_fact(triage, list.readings[i].observable) != NULL;
    return corrects;
}

enum status triage_set(struct triage *triage, const char *sign, const char *value,
                       struct position at, struct diags *diags)
{
    struct reading reading;
    enum status status = reader_set(triage->reader, sign, value, at, &reading, diags);
    if (status != STATUS_OK)
        return status;
    struct saying saying = {
        .kind = SAYING_TOLD, .fact = fact_heard(&reading, ORIGIN_SET), .others = reading.others};
    const char *words = arena_format(triage->said, "%s=%s", sign, value);
    saying.fact.words = keep_words(triage, words, strlen(words));
    triage->batch++;
    say(triage, saying);
    merge(triage);
    return STATUS_OK;
}

enum status triage_case(struct triage *triage, const struct labelled_case *labelled,
                        struct diags *diags)
{
    const struct decision_rules *rules = &triage->rules->decision;
    struct stakes *stakes = &triage->stakes;
    if (!isnan(labelled->worth))
        stakes->worth = labelled->worth;
    if (!isnan(labelled->neighbours))
        stakes->neighbours = labelled->neighbours;
    for (size_t i = 0; labelled->use && i < rules->use_count; i++)
        if (strcmp(rules->uses[i].id, labelled->use) == 0)
            stakes->use = (int)i;
    if (labelled->use)
        stakes->use_count = isnan(labelled->use_count) ? 1.0 : labelled->use_count;
    enum status status = triage_tell(triage, labelled->text, strlen(labelled->text), diags);
    for (size_t i = 0; status == STATUS_OK && i < labelled->setting_count; i++) {
        const struct case_setting *setting = &labelled->settings[i];
        status = triage_set(triage, setting->sign, setting->value, setting->at, diags);
    }
    return status;
}

/* ---- answers --------------------------------------------------------------------------------- */

enum status triage_answer(struct triage *triage, size_t observable, const char *text,
                          struct diags *diags)
{
    const struct observable *asked = &triage->rules->observables[observable];
    struct reading_list list = {.reading_count = 0};
    size_t start = triage->log_count;
    arena_reset(triage->scratch);
    enum status status = reader_answer(triage->reader, observable, text, strlen(text),
                                       triage->scratch, &list, diags);
    if (status == STATUS_OK && list.reading_count == 0 && list.question == RULES_NONE)
        status = STATUS_USAGE;
    if (status != STATUS_OK)
        return status;
    triage->batch++;
    say_list(triage, &list, ORIGIN_ANSWER, (int)observable);
    bool told = false;
    uint32_t seen = 0;
    for (size_t i = start; i < triage->log_count; i++)
        if (triage->log[i].kind == SAYING_TOLD && triage->log[i].fact.observable == observable) {
            told = true;
            seen |= triage->log[i].fact.observation.seen;
        }
    /* A several-of answered in full also says what was not seen: all it does not name. */
    if (asked->kind == KIND_SEVERAL && seen != 0)
        say(triage,
            (struct saying){.kind = SAYING_TOLD,
                            .others = true,
                            .settles = true,
                            .fact = {.observable = observable,
                                     .observation = {.absent = rules_all_values(asked) & ~seen},
                                     .origin = ORIGIN_ANSWER,
                                     .words = ""}});
    /* What says something else instead is all there is to be had: it is not asked again. */
    if (told || list.reading_count > 0)
        say_bare(triage, told ? SAYING_ASKED : SAYING_UNKNOWN, observable, "");
    merge(triage);
    return STATUS_OK;
}

void triage_unknown(struct triage *triage, size_t observable)
{
    triage->batch++;
    say_bare(triage, SAYING_UNKNOWN, observable, "");
    merge(triage);
}

void triage_forget(struct triage *triage, size_t observable)
{
    triage->batch++;
    say_bare(triage, SAYING_FORGET, observable, "");
    merge(triage);
}

/* ---- going back and looking ------------------------------------------------------------------ */

size_t triage_mark(struct triage *triage)
{
    return triage->log_count;
}

void triage_return(struct triage *triage, size_t mark)
{
    if (mark < triage->log_count)
        triage->log_count = mark;
    merge(triage);
}

const struct rules *triage_rules(const struct triage *triage)
{
    return triage->rules;
}

struct stakes *triage_stakes(struct triage *triage)
{
    return &triage->stakes;
}

const struct evidence *triage_evidence(struct triage *triage)
{
    compute(triage);
    return &triage->evidence;
}

const char *triage_asked(const struct triage *triage)
{
    return triage->asked != NULL ? triage->asked->fact.words : NULL;
}

struct heard triage_heard(const struct triage *triage)
{
    return triage->heard;
}

const struct fact *triage_fact(const struct triage *triage, size_t observable)
{
    for (size_t i = 0; i < triage->heard.fact_count; i++)
        if (triage->heard.facts[i].observable == observable)
            return &triage->heard.facts[i];
    return NULL;
}

uint32_t triage_silent(const struct triage *triage, size_t observable)
{
    return triage->observations[observable].silent;
}
