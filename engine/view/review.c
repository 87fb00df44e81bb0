/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/review.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "triage/triage.h"
#include "view/tree.h"
#include "view/verdict.h"

/* ---- names, figures ----------------------------------------------------------------------------- */

static void put_level(struct text *out, const struct dataset *dataset, size_t factor,
                      uint32_t level)
{
    enum { MOST = 80 }; /* a sentence stays one, whatever stands in a table */
    static const char *const called[FACTOR_KINDS] = {
        [FACTOR_LETHALITY] = "cooks with a computed heat that is",
        [FACTOR_MOISTURE] = "hydration with a computed moisture",
        [FACTOR_DOSE] = "an inoculation rate",
        [FACTOR_TEMPERATURE] = "places at",
        [FACTOR_PARENT] = "starters made from",
        [FACTOR_LINE] = "the starter line",
        [FACTOR_CHANGE] = "vessels",
    };
    const struct factor *of = &dataset->factors[factor];
    const char *label = level != LEVEL_NONE ? of->levels[level] : "not known";
    text_printf(out, "%s%s ", called[of->kind] != NULL ? called[of->kind] : of->name,
                of->kind == FACTOR_OTHER ? ":" : "");
    text_safe(out, label, strlen(label), &(struct text_safe_options){.limit = MOST});
}

/* ---- parts of the tree -------------------------------------------------------------------------- */

/* What `make` makes of each of a list. */
#define LIST(review, make, rows, count)                                                            \
    __extension__({                                                                                \
        json_t *made_of = json_array();                                                            \
        for (size_t k = 0; k < (count); k++)                                                       \
            json_array_append_new(made_of, make(review, &(rows)[k]));                              \
        (json_t *)made_of;                                                                         \
    })

static json_t *counts(struct counts counts)
{
    return view_json("lost:z of:z", counts.lost, counts.total);
}

static json_t *interval(struct interval interval)
{
    return json_pack("[o, o]", view_json_number(interval.low), view_json_number(interval.high));
}

static json_t *day(int32_t day)
{
    return day == DAY_NONE ? json_null() : json_string(day_write(day, DAY_ISO, MOMENT_WORDS));
}

static json_t *factor_name(const struct review *review, size_t factor)
{
    return factor < review->dataset->factor_count
               ? view_json_safe(review->dataset->factors[factor].name)
               : json_null();
}

/* What a factor is called on screens and pages. */
static json_t *shown_name(const struct review *review, size_t factor)
{
    const struct factor *shown = &review->dataset->factors[factor];
    return view_json_safe(shown->kind == FACTOR_DOSE      ? "inoculation rate"
                          : shown->kind == FACTOR_SESSION ? "inoculation session"
                                                          : shown->name);
}

static json_t *level_name(const struct review *review, size_t factor, uint32_t level)
{
    return factor < review->dataset->factor_count && level != LEVEL_NONE
               ? view_json_safe(review->dataset->factors[factor].levels[level])
               : json_null();
}

static json_t *level_json(const struct review *review, size_t factor, uint32_t level)
{
    return view_json("factor:o level:o", factor_name(review, factor),
                     level_name(review, factor, level));
}

static json_t *scope(const struct review *review, size_t factor)
{
    return json_string(scope_name(factor_kinds[review->dataset->factors[factor].kind].scope));
}

static json_t *causes_json(const struct review *review, const struct review_why *why)
{
    const struct cause *causes = review->rules->causes;
    const struct review_cause *likely = why->causes;
    return view_json_rows(i, why->cause_count, "id:s p:n _name:s", causes[likely[i].cause].id,
                          likely[i].p, causes[likely[i].cause].name);
}

/* What to change for the likeliest. */
static json_t *how(const struct review *review, const struct review_why *why)
{
    if (why->cause_count == 0)
        return json_array();
    const struct cause *cause = &review->rules->causes[why->causes[0].cause];
    return view_json_strings(cause->change, cause->change_count);
}

/* Causes and the tests that would tell, those worth a word, of tests with at least so many bits;
 * and what to change for the likeliest. */
static void add_causes(json_t *root, const struct review *review, const struct review_why *why,
                       double bits)
{
    enum { CAUSES = 3, TRIALS = 2 };
    static const double worth_a_word = 0.05;
    json_t *all = causes_json(review, why);
    const struct review_trial *trial = why->trials;
    const struct observable *test = review->rules->observables;
    json_t *tests =
        view_json_rows(i, why->trial_count, "id:s label:s bits:n cost:n delay_days:n _look:s",
                       test[trial[i].observable].id, test[trial[i].observable].label, trial[i].bits,
                       trial[i].cost, trial[i].delay_days, test[trial[i].observable].look);
    view_json_add(root, "causes:o tests:o _causes:o _tests:o", all, tests,
                  view_json_first(all, "p", worth_a_word, CAUSES),
                  view_json_first(tests, "bits", bits, TRIALS));
}

/* ---- what was lost, what did it ---------------------------------------------------------------- */

static json_t *totals(const struct review *review)
{
    static const enum fate lost[] = {FATE_CONTAMINATED, FATE_STUCK, FATE_UNTOLD};
    static const char *const says[] = {"contaminated", "did not grow or stalled",
                                       "lost without a record of how"};
    const struct review_totals *totals = &review->totals;
    json_t *fates = json_object(), *kinds = json_array();
    for (size_t f = 0; f < FATE_COUNT; f++)
        json_object_set_new(fates, fate_words[f], json_integer((json_int_t)totals->fate[f]));
    for (size_t k = 0; k < sizeof lost / sizeof *lost; k++)
        if (totals->fate[lost[k]] > 0 && totals->fate[lost[k]] < totals->counts.lost)
            json_array_append_new(kinds, json_sprintf("%zu %s", totals->fate[lost[k]], says[k]));
    return view_json("vessels:z counted:o interval:o fates:o controls:o too_young:z unrecorded:z "
                     "batches:z first:o last:o _kinds:o _share:n "
                     "_untold:z",
                     totals->vessels, counts(totals->counts), interval(totals->exact), fates,
                     counts(totals->controls), totals->young, totals->unrecorded, totals->batches,
                     day(totals->first), day(totals->last), kinds,
                     (double)totals->counts.lost / (double)totals->counts.total,
                     totals->fate[FATE_UNTOLD]);
}

/* Why a suspect fails, as far as it was computed. */
static json_t *computed_why(const struct dataset *dataset, const struct review_suspect *suspect)
{
    static const char *const computed[FACTOR_KINDS] = {
        [FACTOR_LETHALITY] = "Its heat, computed from gauge pressure, minutes and altitude",
        [FACTOR_MOISTURE] = "Its moisture, computed from what was weighed",
        [FACTOR_TEMPERATURE] = "Its temperature",
    };
    const struct factor *why = &dataset->factors[suspect->why_factor];
    return computed[why->kind] != NULL
               ? json_sprintf("%s: %s.", computed[why->kind], why->levels[suspect->why_level])
               : json_null();
}

/* The figures behind a computed suspect, or behind why a cook is one. */
static json_t *figures_of(const struct dataset *dataset, const struct review_suspect *suspect)
{
    const bool own = dataset->factors[suspect->factor].figures != NULL;
    const size_t from = own ? suspect->factor : suspect->why_factor;
    const char *figures =
        from < dataset->factor_count && dataset->factors[from].figures != NULL
            ? dataset->factors[from].figures[own ? suspect->level : suspect->why_level]
            : NULL;
    if (figures == NULL || own)
        return view_json_safe(figures != NULL ? figures : "");
    TEXT(lead);
    text_printf(&lead, "cook %s had ", dataset->factors[suspect->factor].levels[suspect->level]);
    const char *at = strstr(figures, lead.bytes);
    return at == NULL ? json_string("") : json_stringn(at, strcspn(at, ";"));
}

static json_t *suspect_row(const struct review *review, const struct review_suspect *suspect)
{
    const size_t none = review->dataset->factor_count;
    TEXT(says);
    put_level(&says, review->dataset, suspect->factor, suspect->level);
    if (suspect->with_factor < none) {
        text_puts(&says, " with ");
        put_level(&says, review->dataset, suspect->with_factor, suspect->with_level);
    }
    json_t *made =
        view_json("scope:o factor:o level:o says:t p:n inside:o controls:o outside:o exact_p:n q:n "
                  "log_bayes_factor:n",
                  scope(review, suspect->factor), factor_name(review, suspect->factor),
                  level_name(review, suspect->factor, suspect->level), says.bytes, suspect->p,
                  counts(suspect->inside), counts(suspect->controls), counts(suspect->outside),
                  suspect->test_p, suspect->q, suspect->log_bayes);
    json_object_set_new(made, "_figures", figures_of(review->dataset, suspect));
    if (suspect->with_factor < none)
        view_json_add(made, "with:o",
                      level_json(review, suspect->with_factor, suspect->with_level));
    if (suspect->why_factor < none)
        view_json_add(made, "why:o _why:o",
                      level_json(review, suspect->why_factor, suspect->why_level),
                      computed_why(review->dataset, suspect));
    return made;
}

static json_t *culprit_row(const struct review *review, const struct review_culprit *culprit)
{
    const struct review_suspect *first = &culprit->suspects[0];
    bool same = true; /* in their counts, one suspect included */
    for (const struct review_suspect *s = first; s < first + culprit->suspect_count; s++)
        same = same && memcmp(&s->inside, &first->inside, sizeof s->inside) == 0 &&
               memcmp(&s->outside, &first->outside, sizeof s->outside) == 0;
    /* Vessels are whole. */
    json_t *saved = view_json("low:n mean:n high:n _low:n _mean:n _high:n", culprit->saved_low,
                              culprit->saved, culprit->saved_high, floor(culprit->saved_low + 0.5),
                              floor(culprit->saved + 0.5), floor(culprit->saved_high + 0.5));
    json_t *made =
        view_json("p:n told_apart:b suspects:o saved:o", culprit->p, culprit->suspect_count == 1,
                  LIST(review, suspect_row, culprit->suspects, culprit->suspect_count), saved);
    add_causes(made, review, &culprit->why,
               culprit->why.trial_count > 0 ? culprit->why.trials[0].bits / 2.0 : 0.0);
    view_json_add(made, "_how:o _same:b", how(review, &culprit->why), same);
    return made;
}

static json_t *change_row(const struct review *review, const size_t *which)
{
    const struct review_culprit *culprit = &review->culprits[*which];
    const struct review_why *why = &culprit->why;
    return view_json("fault:z saved:n cause:s how:o", *which, review_saves(culprit),
                     why->cause_count > 0 ? review->rules->causes[why->causes[0].cause].id : NULL,
                     how(review, why));
}

/* The culprit to change first: one that is known; what cannot be told apart needs a test first. */
static void add_first_change(json_t *root, const struct review *review)
{
    const json_t *culprits = json_object_get(root, "faults"), *changes;
    size_t c = 0;
    while (c < review->culprit_count && review->culprits[review->changes[c]].suspect_count != 1)
        c++;
    c = c < review->culprit_count ? c : 0;
    if ((changes = json_object_get(root, "changes")) != NULL && review->culprit_count > 0)
        json_object_set_new(
            root, "_first",
            view_json("fault:o _change:o",
                      json_incref(json_array_get(culprits, review->changes[c])),
                      json_incref(json_object_get(json_array_get(changes, c), "how"))));
}

/* ---- the next batch ----------------------------------------------------------------------------- */

/* Grain is hydrated; it becomes a batch once it is inoculated. */
static const char *new_name(enum factor_kind kind)
{
    return kind == FACTOR_BATCH     ? "hydration"
           : kind == FACTOR_SESSION ? "inoculation session"
                                    : factor_kinds[kind].name;
}

static void put_arm(struct text *out, const struct review *review, const struct review_plan *plan,
                    const struct review_arm *arm)
{
    const char *joint = "";
    text_printf(out, "%zu %s%s: ", arm->vessels, arm->vessels == 1 ? "vessel" : "vessels",
                arm->control ? " uninoculated" : "");
    for (size_t c = 0; c < plan->factor_count; c++) {
        enum factor_kind kind = review->dataset->factors[plan->factors[c]].kind;
        /* Of the numbers of new ones over the arms, 0 being none. */
        unsigned fresh = arm->fresh[c], fewest = fresh, most = fresh;
        for (size_t a = 0; a < plan->arm_count; a++) {
            fewest = plan->arms[a].fresh[c] < fewest ? plan->arms[a].fresh[c] : fewest;
            most = plan->arms[a].fresh[c] > most ? plan->arms[a].fresh[c] : most;
        }
        /* Where every arm has the same new one it needs no words. */
        if ((arm->control && !factor_kinds[kind].control) ||
            (fresh == 0 && arm->levels[c] == LEVEL_NONE) ||
            (!plan->crossed && fewest == 1 && most == 1))
            continue;
        text_puts(out, joint);
        if (fresh == 0)
            put_level(out, review->dataset, plan->factors[c], arm->levels[c]);
        else if (most > 1)
            text_printf(out, "%s %u", new_name(kind), fresh);
        else
            text_printf(out, "a new %s", new_name(kind));
        joint = ", ";
    }
}

static json_t *plan_row(const struct review *review, const struct review_plan *plan)
{
    const struct review_culprit *culprit = &review->culprits[plan->culprit];
    json_t *arms = json_array(), *names = json_array();
    json_t *tried = json_array(), *untried = json_array();
    bool heat = false; /* whether the cook was long enough is among what is to be told apart */
    for (size_t a = 0; a < plan->arm_count; a++) {
        const struct review_arm *arm = &plan->arms[a];
        TEXT(says);
        put_arm(&says, review, plan, arm);
        json_array_append_new(
            arms, view_json("vessels:z control:b says:t", arm->vessels, arm->control, says.bytes));
    }
    for (size_t c = 0; c < plan->factor_count; c++) {
        const struct review_suspect *suspect = &culprit->suspects[c];
        const enum factor_kind kind = review->dataset->factors[plan->factors[c]].kind;
        bool held = false; /* by some arm */
        heat = heat || kind == FACTOR_LETHALITY;
        for (size_t a = 0; a < plan->arm_count; a++)
            held |= plan->arms[a].fresh[c] == 0 && plan->arms[a].levels[c] == suspect->level;
        json_array_append_new(names, json_string(new_name(kind)));
        TEXT(says);
        put_level(&says, review->dataset, suspect->factor, suspect->level);
        if (!plan->crossed)
            json_array_append_new(held ? tried : untried, view_json_safe(says.bytes));
    }
    json_t *made = view_json("fault:z crossed:b arms:o fails_from:z error:n _each:z _new:o "
                             "_tried:o _untried:o _heat:b _suspects:o",
                             plan->culprit, plan->crossed, arms, plan->fails_from, plan->error,
                             plan->each, names, tried, untried, heat,
                             LIST(review, suspect_row, culprit->suspects, culprit->suspect_count));
    TEXT(says);
    view_words(&says, plan->crossed ? "review.crossed" : "review.reading", made);
    view_json_add(made, "reading:t", says.bytes);
    return made;
}

/* ---- where losses gather ------------------------------------------------------------------------ */

static double share_of(struct counts counts)
{
    return (double)counts.lost / (double)counts.total;
}

/* The columns that the widest of the first levels takes. */
static size_t name_columns(const struct review *review, const struct review_factor *factor,
                           size_t count)
{
    enum { NARROWEST = 4, WIDEST = 24 };
    size_t widest = NARROWEST;
    for (size_t l = 0; l < count; l++) {
        const char *name = review->dataset->factors[factor->factor].levels[factor->levels[l].level];
        size_t columns = utf8_width(name, strlen(name));
        widest = columns > widest ? columns : widest;
    }
    return widest < WIDEST ? widest : WIDEST;
}

/* With every level, or as many as are shown. */
static json_t *factor_tree(const struct review *review, const struct review_factor *factor,
                           bool whole)
{
    enum { SHOWN = 12 };
    json_t *levels = json_array(), *within = json_null();
    const size_t shown = whole || factor->level_count < SHOWN ? factor->level_count : SHOWN;
    const size_t columns = name_columns(review, factor, shown);
    struct counts all = {0, 0};
    for (size_t l = 0; l < factor->level_count; l++) {
        const struct review_level *level = &factor->levels[l];
        all.lost += level->counts.lost;
        all.total += level->counts.total;
        if (l >= shown)
            continue;
        view_json_row(levels,
                      "level:o counts:o controls:o exact:o wilson:o log_bayes_factor:n _low:n "
                      "_high:n _share:n _called:b",
                      level_name(review, factor->factor, level->level), counts(level->counts),
                      counts(level->controls), interval(level->exact), interval(level->wilson),
                      level->log_bayes, level->exact.low, level->exact.high,
                      share_of(level->counts), review_calls(review, factor->factor, level->level));
    }
    if (factor->within < review->dataset->factor_count)
        within = view_json("factor:o entangled:n p:n strata:z _name:o",
                           factor_name(review, factor->within), factor->entangled, factor->within_p,
                           factor->within_strata, shown_name(review, factor->within));
    return view_json(
        "factor:o scope:o levels:o unknown:z p:o method:s standard_error:n q:n log_bayes_factor:n "
        "within:o _tables:z _all:o _name:o _levels:z _more:z _columns:z _only:o _change:b",
        factor_name(review, factor->factor), scope(review, factor->factor), levels, factor->unknown,
        isnan(factor->q) ? json_null() : view_json_number(factor->test.p),
        factor->test.method == TABLE_CHI_SQUARE ? "chi-square"
        : factor->test.method == TABLE_EXACT    ? "exact"
                                                : "drawn",
        factor->test.standard_error, factor->q, factor->log_bayes, within, factor->test.tables,
        counts(all), shown_name(review, factor->factor), factor->level_count,
        factor->level_count - shown, columns,
        factor->level_count == 1 ? level_name(review, factor->factor, factor->levels[0].level)
                                 : json_null(),
        review->dataset->factors[factor->factor].kind == FACTOR_CHANGE);
}

static json_t *alias_row(const struct review *review, const struct review_alias *alias)
{
    return view_json(
        "factors:o together:z of:z _first:o _second:o",
        json_pack("[o, o]", factor_name(review, alias->first), factor_name(review, alias->second)),
        alias->together, alias->of, shown_name(review, alias->first),
        shown_name(review, alias->second));
}

/* Nothing is called. Yet losses may differ, and a batch may lose more than by chance: that is said,
 * as the details say it too. */
static void add_differing(json_t *root, const struct review *review)
{
    enum { MOST = 80 };
    static const double clear = 0.05;
    json_t *differing = json_array(), *above = json_array();
    double q = 0.0;
    for (size_t f = 0; f < review->dataset->factor_count; f++)
        if (review->factors[f].q <= clear) { /* not so when it is not known */
            json_array_append_new(differing, shown_name(review, f));
            q = fmax(q, review->factors[f].q);
        }
    for (size_t b = 0; b < review->batch_count; b++) {
        const struct review_batch *batch = &review->batches[b];
        if (!batch->point.above)
            continue;
        const char *name = review->dataset->factors[review->dataset->batch].levels[batch->level];
        TEXT(safe);
        text_safe(&safe, name, strlen(name), &(struct text_safe_options){.limit = MOST});
        bool known = batch->why.cause_count > 0 && batch->why.causes[0].p > 0.5;
        view_json_row(above, "name:t counts:o cause:s", safe.bytes, counts(batch->counts),
                      known ? review->rules->causes[batch->why.causes[0].cause].name : NULL);
    }
    view_json_add(root, "_differing:o _q:n _above:o", differing, q, above);
}

static bool has_chart(const struct review *review)
{
    return review->batch_count > 0 && !isnan(review->centre);
}

/* The order in which a page draws factors that were compared, by q, those never asked last: the
 * clearest, and how many more. Batches are shown in order of time. */
static void add_drawn(json_t *root, const struct review *review)
{
    enum { MOST = 12 };
    const size_t count = review->dataset->factor_count;
    json_t *drawn = json_array(), *factors = json_object_get(root, "factors");
    size_t more = 0;
    for (size_t f = 0; f < count; f++) {
        const struct review_factor *factor = &review->factors[f];
        if (factor->level_count < 2 || (f == review->dataset->batch && has_chart(review)))
            continue;
        size_t at = json_array_size(drawn);
        for (; at > 0; at--) { /* it goes before those that are less clear */
            const json_t *before = json_object_get(json_array_get(drawn, at - 1), "q");
            if (isnan(factor->q) ||
                (json_is_number(before) && json_number_value(before) <= factor->q))
                break;
        }
        json_array_insert(drawn, at, json_array_get(factors, f));
    }
    for (; json_array_size(drawn) > MOST; more++)
        json_array_remove(drawn, json_array_size(drawn) - 1);
    view_json_add(root, "_drawn:o _more:z", drawn, more);
}

/* ---- time --------------------------------------------------------------------------------------- */

static json_t *times(const struct review *review)
{
    const struct review_time *time = &review->time;
    json_t *logrank = json_null(), *curves = json_array();
    if (time->logrank.freedom > 0)
        logrank = view_json("statistic:n freedom:z p:n", time->logrank.statistic,
                            time->logrank.freedom, time->logrank.p);
    for (size_t c = 0; c < time->curve_count; c++) {
        const struct survival_curve *curve = &time->curves[c].curve;
        const struct survival_step *step = curve->steps;
        json_t *steps =
            view_json_rows(i, curve->count, "day:n at_risk:z lost:z survival:n", step[i].time,
                           step[i].at_risk, step[i].lost, step[i].survival);
        TEXT(name);
        if (time->factor >= review->dataset->factor_count)
            text_puts(&name, "All vessels");
        else if (time->curves[c].level == LEVEL_NONE)
            text_puts(&name, "All others");
        else
            put_level(&name, review->dataset, time->factor, time->curves[c].level);
        json_array_append_new(curves,
                              view_json("level:o cases:z lost:z median:n steps:o _name:t _letter:o",
                                        level_name(review, time->factor, time->curves[c].level),
                                        curve->cases, curve->lost, curve->median, steps, name.bytes,
                                        json_sprintf("%c", 'A' + (int)c)));
    }
    return view_json("factor:o cases:z left_out:z curves:o logrank:o",
                     factor_name(review, time->factor), time->cases, time->left_out, curves,
                     logrank);
}

/* Every vessel of a batch, as many as are drawn, and how many more there are. */
static void add_marks(json_t *row, const struct dataset *dataset, uint32_t batch)
{
    enum { MARKED = 60 };
    json_t *marks = json_array();
    size_t all = 0;
    for (size_t v = 0; v < dataset->vessel_count; v++) {
        const int32_t entered = dataset->entered[v], ended = dataset->ended[v];
        if (dataset->factors[dataset->batch].level[v] != batch || all++ >= MARKED)
            continue;
        json_array_append_new(marks, json_pack("[i, b, o]", (int)dataset->fate[v],
                                               (int)dataset->control[v],
                                               entered != DAY_NONE && ended != DAY_NONE
                                                   ? json_integer((json_int_t)ended - entered)
                                                   : json_null()));
    }
    view_json_add(row, "_marks:o _more:z", marks, all - json_array_size(marks));
}

static json_t *batch_row(const struct review *review, const struct review_batch *batch)
{
    const struct monitor_point *point = &batch->point;
    double total = (double)batch->counts.total;
    json_t *made =
        view_json("batch:o day:o counts:o controls:o open:z too_many:b too_few:b causes:o",
                  level_name(review, review->dataset->batch, batch->level), day(batch->day),
                  counts(batch->counts), counts(batch->controls), batch->open, point->above,
                  point->below, causes_json(review, &batch->why));
    view_json_add(made, "_from_above:n _from_below:n _low:n _high:n _share:n _called:b _date:s",
                  point->from_above, point->from_below, fmax(0.0, point->from_below / total),
                  fmin(1.0, point->from_above / total), share_of(batch->counts),
                  point->above || point->below, day_write(batch->day, DAY_ISO, MOMENT_WORDS));
    return made;
}

/* ---- one bad batch ------------------------------------------------------------------------------ */

static json_t *account_parts(const struct review *review, const struct review_account *account)
{
    json_t *made =
        view_json("counted:o controls:o", counts(account->counts), counts(account->controls));
    add_causes(made, review, &account->why, -INFINITY);
    view_json_add(made, "how:o", how(review, &account->why));
    return made;
}

json_t *view_account_json(const struct triage *triage, const struct review_account *account)
{
    const struct judged judged = {triage_rules(triage), triage, NULL};
    const struct review review = {.rules = judged.rules};
    const struct heard all = triage_heard(triage);
    json_t *not_understood = json_array(), *made = account_parts(&review, account);
    for (size_t i = 0; i < all.unclear_count; i++)
        json_array_append_new(not_understood, view_json_safe(all.unclear[i].words));
    view_json_add(made, "schema:i understood:o not_understood:o rules:s _alone:b _heard:o", 1,
                  facts_json(triage), not_understood, judged.rules->hash, true,
                  view_heard_json(&judged, NULL, 0));
    return made;
}

/* ---- the whole ---------------------------------------------------------------------------------- */

static json_t *limits(const struct review *review)
{
    /* In the order of enum review_limit; what each says is a template. */
    static const char *const names[] = {"empty",     "nothing_counts", "nothing_lost", "all_lost",
                                        "no_factor", "one_batch",      "no_times",     "few"};
    /* What growers keep apart; "missing": and this dataset does not name. */
    static const enum factor_kind apart[] = {FACTOR_COOK, FACTOR_STARTER, FACTOR_SESSION,
                                             FACTOR_LOT, FACTOR_PLACE};
    json_t *made = json_array(), *missing = json_array();
    for (size_t k = 0; k < sizeof apart / sizeof *apart; k++)
        if (dataset_factor(review->dataset, apart[k]) == review->dataset->factor_count)
            json_array_append_new(missing, json_string(factor_kinds[apart[k]].name));
    json_t *kinds = view_json("missing:o unrecorded:b", missing, review->totals.unrecorded > 0);
    for (unsigned bit = 0; bit < sizeof names / sizeof *names; bit++) {
        char name[32];
        if ((review->limits >> bit & 1) == 0)
            continue;
        TEXT(says);
        snprintf(name, sizeof name, "limit.%s", names[bit]);
        view_words(&says, name, kinds);
        json_array_append_new(made, view_json("id:s says:t", names[bit], says.bytes));
    }
    json_decref(kinds);
    return made;
}

/* What is for faces only. */
static void add_told(json_t *root, const struct review *review, size_t first)
{
    const unsigned mute = REVIEW_ALL_LOST | REVIEW_NO_FACTOR;
    const bool asked = review->totals.counts.lost > 0 && (review->limits & mute) == 0;
    bool either = false, above = false, below = false;
    size_t shared = 0;
    for (size_t f = 0; f < review->dataset->factor_count; f++)
        shared += review->factors[f].level_count == 1;
    for (size_t k = 0; k < review->culprit_count; k++)
        either = either || review->culprits[k].suspect_count > 1;
    for (size_t b = first; b < review->batch_count; b++) {
        above = above || review->batches[b].point.above;
        below = below || review->batches[b].point.below;
        add_marks(json_array_get(json_object_get(root, "batches"), b - first), review->dataset,
                  review->batches[b].level);
    }
    add_differing(root, review);
    add_first_change(root, review);
    add_drawn(root, review);
    view_json_add(root,
                  "_asked:b _either:b _charted:b _above_any:b _marked:b _shared:z _batches:z "
                  "_centre:n _shown:z _dated:b",
                  asked, either, has_chart(review), above, above || below, shared,
                  review->batch_count, review->centre, review->batch_count - first,
                  has_chart(review) || json_is_object(json_object_get(root, "watch")));
}

json_t *view_review_json(const struct review *review, bool whole)
{
    enum { BATCHES_SHOWN = 40 }; /* the last ones */
    const struct dataset *dataset = review->dataset;
    const struct review_rules *rules = &review->rules->review;
    const struct review_account *account = &review->account;
    const size_t first =
        whole || review->batch_count < BATCHES_SHOWN ? 0 : review->batch_count - BATCHES_SHOWN;
    json_t *factors = json_array(), *remarks = json_array();
    json_t *rule =
        view_json("false_alarm:n bayes_factor:n watched_days:n suspects_asked:z",
                  rules->false_alarm, rules->bayes_factor, rules->watched, review->suspects_asked);
    for (size_t f = 0; f < dataset->factor_count; f++)
        json_array_append_new(factors, factor_tree(review, &review->factors[f], whole));
    for (size_t i = 0; i < dataset->remark_count; i++)
        json_array_append_new(remarks, view_json_safe(dataset->remarks[i]));
    const struct review_batch *batches = first > 0 ? &review->batches[first] : review->batches;
    json_t *root = view_json(
        "schema:i totals:o faults:o changes:o plans:o near:o factors:o aliases:o time:o drift:o "
        "batches:o watch:o account:o limits:o remarks:o rule:o rules:s",
        1, totals(review), LIST(review, culprit_row, review->culprits, review->culprit_count),
        LIST(review, change_row, review->changes, review->culprit_count),
        LIST(review, plan_row, review->plans, review->plan_count),
        LIST(review, suspect_row, review->near, review->near_count), factors,
        LIST(review, alias_row, review->aliases, review->alias_count), times(review),
        view_json("p:n rises:b told:b test_p:n", review->drift.p, review->drift.rises,
                  review->drift.called, review->drift.test_p),
        LIST(review, batch_row, batches, review->batch_count - first), review_watch(review),
        account->why.cause_count > 0 ? account_parts(review, account) : json_null(), limits(review),
        remarks, rule, review->rules->hash);
    if (!whole)
        add_told(root, review, first);
    return root;
}

/* ---- the page ----------------------------------------------------------------------------------- */

void view_review_html(struct text *page, const struct review *review)
{
    json_t *tree = view_review_json(review, false);
    view_json_add(tree, "_as_of:s", day_write(review->dataset->today, DAY_WORDS, MOMENT_WORDS));
    view_page(page, "What was lost, and why: a review by Jarside", "review", "review.page", tree);
}
