/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdarg.h>
#include <string.h>

#include "triage/triage.h"
#include "view/review.h"

/* A review as JSON, schema 1 (README.md, "For programs"). */

/* ---- parts ------------------------------------------------------------------------------------ */

/* Of pairs of key and value, ended by NULL. */
__attribute__((sentinel)) static json_t *object(const char *key, ...)
{
    json_t *made = json_object();
    va_list pairs;
    va_start(pairs, key);
    for (; key != NULL; key = va_arg(pairs, const char *))
        json_object_set_new(made, key, va_arg(pairs, json_t *));
    va_end(pairs);
    return made;
}

typedef json_t *make_row(const struct review *review, const void *row);

static json_t *list(const struct review *review, make_row *make, const void *rows, size_t count,
                    size_t size)
{
    json_t *made = json_array();
    for (size_t i = 0; i < count; i++)
        json_array_append_new(made, make(review, (const char *)rows + i * size));
    return made;
}

#define LIST(review, make, rows, count) list(review, make, rows, count, sizeof *(rows))

static json_t *real(double number)
{
    return view_json_number(number);
}

static json_t *whole(size_t number)
{
    return json_integer((json_int_t)number);
}

/* Text from a table may be anything; JSON holds UTF-8 only. */
static json_t *string(const char *words)
{
    struct text safe;
    text_init(&safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){0});
    json_t *made = json_string(safe.bytes);
    text_release(&safe);
    return made;
}

static json_t *take(struct text *words)
{
    json_t *made = string(words->bytes);
    text_release(words);
    return made;
}

static json_t *counts(struct counts counts)
{
    return object("lost", whole(counts.lost), "of", whole(counts.total), (char *)NULL);
}

static json_t *interval(struct interval interval)
{
    return json_pack("[o, o]", real(interval.low), real(interval.high));
}

static json_t *day(int32_t day)
{
    char room[MOMENT_ROOM];
    return day == DAY_NONE ? json_null() : json_string(day_write(day, DAY_ISO, room));
}

static json_t *factor_name(const struct review *review, size_t factor)
{
    return factor < review->dataset->factor_count ? string(review->dataset->factors[factor].name)
                                                  : json_null();
}

static json_t *level_name(const struct review *review, size_t factor, uint32_t level)
{
    return factor < review->dataset->factor_count && level != LEVEL_NONE
               ? string(review->dataset->factors[factor].levels[level])
               : json_null();
}

static json_t *scope(const struct review *review, size_t factor)
{
    return json_string(scope_name(factor_kinds[review->dataset->factors[factor].kind].scope));
}

static json_t *cause_row(const struct review *review, const void *row)
{
    const struct review_cause *cause = row;
    return object("id", json_string(review->rules->causes[cause->cause].id), "p", real(cause->p),
                  (char *)NULL);
}

static json_t *causes(const struct review *review, const struct review_cause *causes, size_t count)
{
    return LIST(review, cause_row, causes, count);
}

/* ---- what was lost, what did it ---------------------------------------------------------------- */

static json_t *totals(const struct review *review)
{
    const struct review_totals *totals = &review->totals;
    json_t *fates = json_object();
    for (size_t f = 0; f < FATE_COUNT; f++)
        json_object_set_new(fates, fate_words[f], whole(totals->fate[f]));
    return object("vessels", whole(totals->vessels), "counted", counts(totals->counts), "interval",
                  interval(totals->exact), "fates", fates, "controls", counts(totals->controls),
                  "too_young", whole(totals->young), "unrecorded", whole(totals->unrecorded),
                  "batches", whole(totals->batches), "first", day(totals->first), "last",
                  day(totals->last), (char *)NULL);
}

static json_t *suspect_row(const struct review *review, const void *row)
{
    const struct review_suspect *suspect = row;
    struct text says;
    text_init(&says);
    view_suspect(&says, review->dataset, suspect);
    json_t *made = object(
        "scope", scope(review, suspect->factor), "factor", factor_name(review, suspect->factor),
        "level", level_name(review, suspect->factor, suspect->level), "says", take(&says), "p",
        real(suspect->p), "inside", counts(suspect->inside), "controls", counts(suspect->controls),
        "outside", counts(suspect->outside), "exact_p", real(suspect->test_p), "q",
        real(suspect->q), "log_bayes_factor", real(suspect->log_bayes), (char *)NULL);
    if (suspect->with_factor < review->dataset->factor_count)
        json_object_set_new(made, "with",
                            object("factor", factor_name(review, suspect->with_factor), "level",
                                   level_name(review, suspect->with_factor, suspect->with_level),
                                   (char *)NULL));
    if (suspect->why_factor < review->dataset->factor_count)
        json_object_set_new(made, "why",
                            object("factor", factor_name(review, suspect->why_factor), "level",
                                   level_name(review, suspect->why_factor, suspect->why_level),
                                   (char *)NULL));
    return made;
}

static json_t *trial_row(const struct review *review, const void *row)
{
    const struct review_trial *trial = row;
    const struct observable *test = &review->rules->observables[trial->observable];
    return object("id", json_string(test->id), "label", json_string(test->label), "bits",
                  real(trial->bits), "cost", real(trial->cost), "delay_days",
                  real(trial->delay_days), (char *)NULL);
}

static json_t *culprit_row(const struct review *review, const void *row)
{
    const struct review_culprit *culprit = row;
    return object("p", real(culprit->p), "told_apart", json_boolean(culprit->suspect_count == 1),
                  "suspects", LIST(review, suspect_row, culprit->suspects, culprit->suspect_count),
                  "saved",
                  object("low", real(culprit->saved_low), "mean", real(culprit->saved), "high",
                         real(culprit->saved_high), (char *)NULL),
                  "causes", causes(review, culprit->causes, culprit->cause_count), "tests",
                  LIST(review, trial_row, culprit->trials, culprit->trial_count), (char *)NULL);
}

/* What to change for a cause, RULES_NONE for none. */
static json_t *how(const struct review *review, int cause)
{
    json_t *made = json_array();
    for (size_t h = 0; cause != RULES_NONE && h < review->rules->causes[cause].change_count; h++)
        json_array_append_new(made, json_string(review->rules->causes[cause].change[h]));
    return made;
}

static json_t *change_row(const struct review *review, const void *row)
{
    const struct review_change *change = row;
    const struct cause *cause =
        change->cause != RULES_NONE ? &review->rules->causes[change->cause] : NULL;
    return object("fault", whole(change->culprit), "saved", real(change->saved), "cause",
                  cause != NULL ? json_string(cause->id) : json_null(), "how",
                  how(review, change->cause), (char *)NULL);
}

static json_t *plan_row(const struct review *review, const void *row)
{
    const struct review_plan *plan = row;
    json_t *arms = json_array();
    struct text says;
    for (size_t a = 0; a < plan->arm_count; a++) {
        const struct review_arm *arm = &plan->arms[a];
        text_init(&says);
        view_arm(&says, review, plan, arm);
        json_array_append_new(arms, object("vessels", whole(arm->vessels), "control",
                                           json_boolean(arm->control), "says", take(&says),
                                           (char *)NULL));
    }
    text_init(&says);
    view_plan_reading(&says, review, plan);
    return object("fault", whole(plan->culprit), "crossed", json_boolean(plan->crossed), "arms",
                  arms, "fails_from", whole(plan->fails_from), "error", real(plan->error),
                  "reading", take(&says), (char *)NULL);
}

/* ---- where losses gather ------------------------------------------------------------------------ */

static json_t *factor_row(const struct review *review, const void *row)
{
    const struct review_factor *factor = row;
    json_t *levels = json_array(), *within = json_null();
    for (size_t l = 0; l < factor->level_count; l++) {
        const struct review_level *level = &factor->levels[l];
        json_array_append_new(
            levels, object("level", level_name(review, factor->factor, level->level), "counts",
                           counts(level->counts), "controls", counts(level->controls), "exact",
                           interval(level->exact), "wilson", interval(level->wilson),
                           "log_bayes_factor", real(level->log_bayes), (char *)NULL));
    }
    if (factor->within < review->dataset->factor_count)
        within = object("factor", factor_name(review, factor->within), "entangled",
                        real(factor->entangled), "p", real(factor->within_p), "strata",
                        whole(factor->within_strata), (char *)NULL);
    return object("factor", factor_name(review, factor->factor), "scope",
                  scope(review, factor->factor), "levels", levels, "unknown",
                  whole(factor->unknown), "p",
                  isnan(factor->q) ? json_null() : real(factor->test.p), "method",
                  json_string(factor->test.method == TABLE_CHI_SQUARE ? "chi-square"
                              : factor->test.method == TABLE_EXACT    ? "exact"
                                                                      : "drawn"),
                  "standard_error", real(factor->test.standard_error), "q", real(factor->q),
                  "log_bayes_factor", real(factor->log_bayes), "within", within, (char *)NULL);
}

static json_t *alias_row(const struct review *review, const void *row)
{
    const struct review_alias *alias = row;
    return object(
        "factors",
        json_pack("[o, o]", factor_name(review, alias->first), factor_name(review, alias->second)),
        "together", whole(alias->together), "of", whole(alias->of), (char *)NULL);
}

/* ---- time --------------------------------------------------------------------------------------- */

static json_t *step_row(const struct review *review, const void *row)
{
    const struct survival_step *step = row;
    (void)review;
    return object("day", real(step->time), "at_risk", whole(step->at_risk), "lost",
                  whole(step->lost), "survival", real(step->survival), (char *)NULL);
}

static json_t *curve_row(const struct review *review, const void *row)
{
    const struct review_curve *of = row;
    const struct survival_curve *curve = &of->curve;
    return object("level", level_name(review, review->time.factor, of->level), "cases",
                  whole(curve->cases), "lost", whole(curve->lost), "median", real(curve->median),
                  "steps", LIST(review, step_row, curve->steps, curve->count), (char *)NULL);
}

static json_t *times(const struct review *review)
{
    const struct review_time *time = &review->time;
    json_t *logrank = json_null();
    if (time->logrank.freedom > 0)
        logrank = object("statistic", real(time->logrank.statistic), "freedom",
                         whole(time->logrank.freedom), "p", real(time->logrank.p), (char *)NULL);
    return object("factor", factor_name(review, time->factor), "cases", whole(time->cases),
                  "left_out", whole(time->left_out), "curves",
                  LIST(review, curve_row, time->curves, time->curve_count), "logrank", logrank,
                  (char *)NULL);
}

static json_t *batch_row(const struct review *review, const void *row)
{
    const struct review_batch *batch = row;
    return object("batch", level_name(review, review->dataset->batch, batch->level), "day",
                  day(batch->day), "counts", counts(batch->counts), "controls",
                  counts(batch->controls), "open", whole(batch->open), "too_many",
                  json_boolean(batch->point.above), "too_few", json_boolean(batch->point.below),
                  "causes", causes(review, batch->causes, batch->cause_count), (char *)NULL);
}

static json_t *watch(const struct review *review)
{
    const struct review_watch *watch = &review->watch;
    if (!watch->asked)
        return json_null();
    return object("usual", real(watch->plan.usual), "raised", real(watch->plan.raised),
                  "run_to_false_alarm", real(watch->plan.run_usual), "signals",
                  whole(watch->episode_count), "since", day(watch->since), (char *)NULL);
}

/* ---- one bad batch ------------------------------------------------------------------------------ */

static json_t *account_parts(const struct review *review, const struct review_account *account)
{
    int first = account->cause_count > 0 ? (int)account->causes[0].cause : RULES_NONE;
    return object("counted", counts(account->counts), "controls", counts(account->controls),
                  "causes", causes(review, account->causes, account->cause_count), "tests",
                  LIST(review, trial_row, account->trials, account->trial_count), "how",
                  how(review, first), (char *)NULL);
}

/* ---- the whole ---------------------------------------------------------------------------------- */

static json_t *limits(const struct review *review)
{
    static const char *const names[REVIEW_LIMIT_COUNT] = {
        "empty",     "nothing_counts", "nothing_lost", "all_lost",
        "no_factor", "one_batch",      "no_times",     "few"};
    json_t *made = json_array();
    for (unsigned bit = 0; bit < REVIEW_LIMIT_COUNT; bit++) {
        struct text says;
        text_init(&says);
        if (view_review_limit(&says, review, bit))
            json_array_append_new(
                made, object("id", json_string(names[bit]), "says", take(&says), (char *)NULL));
        text_release(&says);
    }
    return made;
}

static json_t *remark_row(const struct review *review, const void *row)
{
    (void)review;
    return string(*(const char *const *)row);
}

json_t *view_review_json(const struct review *review)
{
    const struct dataset *dataset = review->dataset;
    const struct review_rules *rules = &review->rules->review;
    json_t *rule = object("false_alarm", real(rules->false_alarm), "bayes_factor",
                          real(rules->bayes_factor), "watched_days", real(rules->watched),
                          "suspects_asked", whole(review->suspects_asked), (char *)NULL);
    return object("schema", whole(1), "totals", totals(review), "faults",
                  LIST(review, culprit_row, review->culprits, review->culprit_count), "changes",
                  LIST(review, change_row, review->changes, review->change_count), "plans",
                  LIST(review, plan_row, review->plans, review->plan_count), "near",
                  LIST(review, suspect_row, review->near, review->near_count), "factors",
                  LIST(review, factor_row, review->factors, dataset->factor_count), "aliases",
                  LIST(review, alias_row, review->aliases, review->alias_count), "time",
                  times(review), "drift",
                  object("p", real(review->drift.p), "rises", json_boolean(review->drift.rises),
                         "told", json_boolean(review->drift.called), (char *)NULL),
                  "batches", LIST(review, batch_row, review->batches, review->batch_count), "watch",
                  watch(review), "account",
                  review->account.cause_count > 0 ? account_parts(review, &review->account)
                                                  : json_null(),
                  "limits", limits(review), "remarks",
                  LIST(review, remark_row, dataset->remarks, dataset->remark_count), "rule", rule,
                  "rules", json_string(review->rules->hash), (char *)NULL);
}

json_t *view_account_json(const struct triage *triage, const struct review_account *account)
{
    const struct review review = {.rules = triage_rules(triage)};
    const struct unclear *unclear = NULL;
    size_t unclear_count = triage_unclear(triage, &unclear);
    json_t *not_understood = json_array(), *made = account_parts(&review, account);
    for (size_t i = 0; i < unclear_count; i++)
        json_array_append_new(not_understood, string(unclear[i].words));
    json_t *rest = object("schema", whole(1), "understood", facts_json(triage), "not_understood",
                          not_understood, "rules", json_string(review.rules->hash), (char *)NULL);
    json_object_update_new(made, rest);
    return made;
}
