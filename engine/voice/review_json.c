/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A review as JSON, schema 1 (README.md, "For programs"). */
#include <math.h>
#include <string.h>

#include "voice/review.h"
#include "voice/whole_json.h"

/* ---- small parts ----------------------------------------------------------------------------- */

/* Text from a table may be anything; JSON holds UTF-8 only. */
static json_t *safe_string(const char *words)
{
    struct text safe;
    text_init(&safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){0});
    json_t *string = safe.failed ? NULL : json_string(safe.bytes != NULL ? safe.bytes : "");
    text_release(&safe);
    return string;
}

static json_t *text_string(struct text *text)
{
    json_t *string = text->failed ? NULL : safe_string(text->bytes != NULL ? text->bytes : "");
    text_release(text);
    return string;
}

static json_t *counts_json(struct counts counts)
{
    return json_pack("{s:I, s:I}", "lost", (json_int_t)counts.lost, "of", (json_int_t)counts.total);
}

static json_t *interval_json(struct interval interval)
{
    return json_pack("[o, o]", voice_json_number(interval.low), voice_json_number(interval.high));
}

static json_t *day_json(int32_t day)
{
    char room[REVIEW_DAY_ROOM];
    return day == DAY_NONE ? json_null() : json_string(voice_review_date(day, room));
}

static json_t *factor_name(const struct review *review, size_t factor)
{
    return factor < review->dataset->factor_count
               ? safe_string(review->dataset->factors[factor].name)
               : json_null();
}

static json_t *level_name(const struct review *review, size_t factor, uint32_t level)
{
    return factor < review->dataset->factor_count && level != LEVEL_NONE
               ? safe_string(review->dataset->factors[factor].levels[level])
               : json_null();
}

static json_t *scope_json(const struct review *review, size_t factor)
{
    return json_string(scope_name(factor_kind_scope(review->dataset->factors[factor].kind)));
}

static json_t *causes_json(const struct review *review, const struct review_cause *causes,
                           size_t count)
{
    json_t *list = json_array();
    for (size_t c = 0; c < count; c++)
        list = voice_json_append(list, json_pack("{s:s, s:o}", "id",
                                                 review->rules->causes[causes[c].cause].id, "p",
                                                 voice_json_number(causes[c].p)));
    return list;
}

/* ---- what was lost --------------------------------------------------------------------------- */

static json_t *totals_json(const struct review *review)
{
    const struct review_totals *totals = &review->totals;
    json_t *fates = json_object();
    for (size_t f = 0; f < FATE_COUNT; f++)
        fates = voice_json_put(fates, fate_words[f], json_integer((json_int_t)totals->fate[f]));
    return json_pack("{s:I, s:o, s:o, s:o, s:o, s:I, s:I, s:I, s:o, s:o}", "vessels",
                     (json_int_t)totals->vessels, "counted", counts_json(totals->counts),
                     "interval", interval_json(totals->exact), "fates", fates, "controls",
                     counts_json(totals->controls), "too_young", (json_int_t)totals->young,
                     "unrecorded", (json_int_t)totals->unrecorded, "batches",
                     (json_int_t)totals->batches, "first", day_json(totals->first), "last",
                     day_json(totals->last));
}

/* ---- faults ---------------------------------------------------------------------------------- */

static json_t *suspect_json(const struct review *review, const struct review_suspect *suspect)
{
    struct text says;
    text_init(&says);
    voice_level(&says, review->dataset, suspect->factor, suspect->level);
    json_t *json = json_pack(
        "{s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "scope",
        scope_json(review, suspect->factor), "factor", factor_name(review, suspect->factor),
        "level", level_name(review, suspect->factor, suspect->level), "says", text_string(&says),
        "p", voice_json_number(suspect->p), "inside", counts_json(suspect->inside), "controls",
        counts_json(suspect->controls), "outside", counts_json(suspect->outside), "exact_p",
        voice_json_number(suspect->test_p), "q", voice_json_number(suspect->q), "log_bayes_factor",
        voice_json_number(suspect->log_bayes));
    if (suspect->why_factor < review->dataset->factor_count)
        json = voice_json_put(
            json, "why",
            json_pack("{s:o, s:o}", "factor", factor_name(review, suspect->why_factor), "level",
                      level_name(review, suspect->why_factor, suspect->why_level)));
    return json;
}

static json_t *trial_json(const struct review *review, const struct review_trial *trial)
{
    const struct observable *test = &review->rules->observables[trial->observable];
    return json_pack("{s:s, s:s, s:o, s:o, s:o}", "id", test->id, "label", test->label, "bits",
                     voice_json_number(trial->bits), "cost", voice_json_number(trial->cost),
                     "delay_days", voice_json_number(trial->delay_days));
}

static json_t *fault_json(const struct review *review, const struct review_fault *fault)
{
    json_t *suspects = json_array(), *tests = json_array();
    for (size_t s = 0; s < fault->suspect_count; s++)
        suspects = voice_json_append(suspects, suspect_json(review, &fault->suspects[s]));
    for (size_t t = 0; t < fault->trial_count; t++)
        tests = voice_json_append(tests, trial_json(review, &fault->trials[t]));
    return json_pack("{s:o, s:b, s:o, s:{s:o, s:o, s:o}, s:o, s:o}", "p",
                     voice_json_number(fault->p), "told_apart", fault->suspect_count == 1,
                     "suspects", suspects, "saved", "low", voice_json_number(fault->saved_low),
                     "mean", voice_json_number(fault->saved), "high",
                     voice_json_number(fault->saved_high), "causes",
                     causes_json(review, fault->causes, fault->cause_count), "tests", tests);
}

static json_t *change_json(const struct review *review, const struct review_change *change)
{
    json_t *how = json_array();
    if (change->cause == RULES_NONE)
        return json_pack("{s:I, s:o, s:n, s:o}", "fault", (json_int_t)change->fault, "saved",
                         voice_json_number(change->saved), "cause", "how", how);
    const struct cause *cause = &review->rules->causes[change->cause];
    for (size_t h = 0; h < cause->change_count; h++)
        how = voice_json_append(how, json_string(cause->change[h]));
    return json_pack("{s:I, s:o, s:s, s:o}", "fault", (json_int_t)change->fault, "saved",
                     voice_json_number(change->saved), "cause", cause->id, "how", how);
}

static json_t *plan_json(const struct review *review, const struct review_plan *plan)
{
    json_t *arms = json_array();
    struct text reading;
    for (size_t a = 0; a < plan->arm_count; a++) {
        struct text says;
        text_init(&says);
        voice_arm(&says, review, plan, &plan->arms[a]);
        arms = voice_json_append(
            arms, json_pack("{s:I, s:b, s:o}", "vessels", (json_int_t)plan->arms[a].vessels,
                            "control", plan->arms[a].control, "says", text_string(&says)));
    }
    text_init(&reading);
    voice_plan_reading(&reading, review, plan);
    return json_pack("{s:I, s:b, s:o, s:I, s:o, s:o}", "fault", (json_int_t)plan->fault, "crossed",
                     plan->crossed, "arms", arms, "fails_from", (json_int_t)plan->fails_from,
                     "error", voice_json_number(plan->error), "reading", text_string(&reading));
}

/* ---- factors --------------------------------------------------------------------------------- */

static json_t *level_json(const struct review *review, size_t factor,
                          const struct review_level *level)
{
    return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o}", "level",
                     level_name(review, factor, level->level), "counts", counts_json(level->counts),
                     "controls", counts_json(level->controls), "exact", interval_json(level->exact),
                     "wilson", interval_json(level->wilson), "log_bayes_factor",
                     voice_json_number(level->log_bayes));
}

static json_t *factor_json(const struct review *review, const struct review_factor *factor)
{
    json_t *levels = json_array(), *within = json_null();
    bool asked = !isnan(factor->q);
    for (size_t l = 0; l < factor->level_count; l++)
        levels = voice_json_append(levels, level_json(review, factor->factor, &factor->levels[l]));
    if (factor->within < review->dataset->factor_count)
        within = json_pack("{s:o, s:o, s:o, s:I}", "factor", factor_name(review, factor->within),
                           "entangled", voice_json_number(factor->entangled), "p",
                           voice_json_number(factor->within_p), "strata",
                           (json_int_t)factor->within_strata);
    return json_pack("{s:o, s:o, s:o, s:I, s:o, s:s, s:o, s:o, s:o, s:o}", "factor",
                     factor_name(review, factor->factor), "scope",
                     scope_json(review, factor->factor), "levels", levels, "unknown",
                     (json_int_t)factor->unknown, "p",
                     asked ? voice_json_number(factor->test.p) : json_null(), "method",
                     factor->approximate  ? "chi-square"
                     : factor->test.exact ? "exact"
                                          : "drawn",
                     "standard_error", voice_json_number(factor->test.standard_error), "q",
                     voice_json_number(factor->q), "log_bayes_factor",
                     voice_json_number(factor->log_bayes), "within", within);
}

static json_t *factors_json(const struct review *review)
{
    json_t *list = json_array();
    for (size_t f = 0; f < review->dataset->factor_count; f++)
        list = voice_json_append(list, factor_json(review, &review->factors[f]));
    return list;
}

static json_t *aliases_json(const struct review *review)
{
    json_t *list = json_array();
    for (size_t a = 0; a < review->alias_count; a++)
        list =
            voice_json_append(list, json_pack("{s:[o, o], s:I, s:I}", "factors",
                                              factor_name(review, review->aliases[a].first),
                                              factor_name(review, review->aliases[a].second),
                                              "together", (json_int_t)review->aliases[a].together,
                                              "of", (json_int_t)review->aliases[a].of));
    return list;
}

/* ---- time ------------------------------------------------------------------------------------ */

static json_t *curve_json(const struct review *review, const struct review_curve *curve)
{
    json_t *steps = json_array();
    for (size_t s = 0; s < curve->curve.count; s++) {
        const struct survival_step *step = &curve->curve.steps[s];
        steps = voice_json_append(
            steps, json_pack("{s:o, s:I, s:I, s:o}", "day", voice_json_number(step->time),
                             "at_risk", (json_int_t)step->at_risk, "lost", (json_int_t)step->lost,
                             "survival", voice_json_number(step->survival)));
    }
    return json_pack("{s:o, s:I, s:I, s:o, s:o}", "level",
                     level_name(review, review->time.factor, curve->level), "cases",
                     (json_int_t)curve->curve.cases, "lost", (json_int_t)curve->curve.lost,
                     "median", voice_json_number(curve->curve.median), "steps", steps);
}

static json_t *time_json(const struct review *review)
{
    const struct review_time *time = &review->time;
    json_t *curves = json_array(), *logrank = json_null();
    for (size_t c = 0; c < time->curve_count; c++)
        curves = voice_json_append(curves, curve_json(review, &time->curves[c]));
    if (time->logrank.freedom > 0)
        logrank = json_pack(
            "{s:o, s:I, s:o}", "statistic", voice_json_number(time->logrank.statistic), "freedom",
            (json_int_t)time->logrank.freedom, "p", voice_json_number(time->logrank.p));
    return json_pack("{s:o, s:I, s:I, s:o, s:o}", "factor", factor_name(review, time->factor),
                     "cases", (json_int_t)time->cases, "left_out", (json_int_t)time->left_out,
                     "curves", curves, "logrank", logrank);
}

static json_t *batches_json(const struct review *review)
{
    json_t *list = json_array();
    for (size_t b = 0; b < review->batch_count; b++) {
        const struct review_batch *batch = &review->batches[b];
        list = voice_json_append(
            list, json_pack("{s:o, s:o, s:o, s:o, s:I, s:b, s:b, s:o}", "batch",
                            level_name(review, review->dataset->batch, batch->level), "day",
                            day_json(batch->day), "counts", counts_json(batch->counts), "controls",
                            counts_json(batch->controls), "open", (json_int_t)batch->open,
                            "too_many", batch->point.above, "too_few", batch->point.below, "causes",
                            causes_json(review, batch->causes, batch->cause_count)));
    }
    return list;
}

static json_t *watch_json(const struct review *review)
{
    const struct review_watch *watch = &review->watch;
    if (!watch->asked)
        return json_null();
    return json_pack("{s:o, s:o, s:o, s:I, s:o}", "usual", voice_json_number(watch->plan.usual),
                     "raised", voice_json_number(watch->plan.raised), "run_to_false_alarm",
                     voice_json_number(watch->plan.run_usual), "signals",
                     (json_int_t)watch->episode_count, "since", day_json(watch->since));
}

/* ---- the whole ------------------------------------------------------------------------------- */

static json_t *limits_json(const struct review *review)
{
    static const char *const names[REVIEW_LIMIT_COUNT] = {
        "empty",     "nothing_counts", "nothing_lost", "all_lost",
        "no_factor", "one_batch",      "no_times",     "few"};
    json_t *list = json_array();
    for (unsigned bit = 0; bit < REVIEW_LIMIT_COUNT; bit++)
        if ((review->limits & (1U << bit)) != 0)
            list = voice_json_append(list, json_pack("{s:s, s:s}", "id", names[bit], "says",
                                                     voice_review_limit(review, 1U << bit)));
    return list;
}

static json_t *rule_json(const struct review *review)
{
    const struct review_rules *rules = &review->rules->review;
    return json_pack("{s:o, s:o, s:o, s:I}", "false_alarm", voice_json_number(rules->false_alarm),
                     "bayes_factor", voice_json_number(rules->bayes_factor), "watched_days",
                     voice_json_number(rules->watched), "suspects_asked",
                     (json_int_t)review->suspects_asked);
}

json_t *voice_review_json(const struct review *review)
{
    json_t *faults = json_array(), *near = json_array(), *changes = json_array();
    json_t *plans = json_array(), *remarks = json_array();
    for (size_t k = 0; k < review->fault_count; k++)
        faults = voice_json_append(faults, fault_json(review, &review->faults[k]));
    for (size_t n = 0; n < review->near_count; n++)
        near = voice_json_append(near, suspect_json(review, &review->near[n]));
    for (size_t c = 0; c < review->change_count; c++)
        changes = voice_json_append(changes, change_json(review, &review->changes[c]));
    for (size_t p = 0; p < review->plan_count; p++)
        plans = voice_json_append(plans, plan_json(review, &review->plans[p]));
    for (size_t r = 0; r < review->dataset->remark_count; r++)
        remarks = voice_json_append(remarks, safe_string(review->dataset->remarks[r]));
    return json_pack("{s:i, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:s}",
                     "schema", 1, "totals", totals_json(review), "faults", faults, "changes",
                     changes, "plans", plans, "near", near, "factors", factors_json(review),
                     "aliases", aliases_json(review), "time", time_json(review), "batches",
                     batches_json(review), "watch", watch_json(review), "limits",
                     limits_json(review), "remarks", remarks, "rule", rule_json(review), "rules",
                     review->rules->hash);
}
