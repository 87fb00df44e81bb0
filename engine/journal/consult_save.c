/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The look that a verdict comes to, and the day of the next one. */
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/json_text.h"
#include "base/version.h"
#include "journal/consult.h"
#include "journal/course.h"
#include "triage/facts.h"

/* ---- when to look again ---------------------------------------------------------------------- */

/* What the forecast has due after today, and before `days` from now. */
static void event_sooner(double event, double age, const char *word, double *days, const char **why)
{
    double in = ceil(event) - age;
    if (in >= 1.0 && in < *days) {
        *days = in;
        *why = word;
    }
}

static double coverage_said(const struct triage *triage)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(triage, &facts);
    for (size_t i = 0; i < count; i++)
        if ((int)facts[i].observable == triage_rules(triage)->feeder[FEEDS_COVERAGE] &&
            facts[i].has_number)
            return 0.5 * (facts[i].number.lo + facts[i].number.hi);
    return NAN;
}

static bool fed(const struct triage *triage, enum feeds feeds)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(triage, &facts);
    for (size_t i = 0; i < count; i++)
        if ((int)facts[i].observable == triage_rules(triage)->feeder[feeds])
            return true;
    return false;
}

/* How white it is as far as the looks and what is said now tell; 0 when nobody said. */
static double white(const struct consultation *consultation, const struct triage *triage)
{
    double coverage = 0.0, said = coverage_said(triage);
    for (size_t i = 0; i < consultation->look_count; i++)
        if (!isnan(consultation->looks[i].coverage))
            coverage = consultation->looks[i].coverage;
    return isnan(said) ? coverage : said;
}

/*
 * Where the forecast knows better than a plain number of days: there is nothing to
 * see before the first growth can show, but a week without a look is too long
 * (course.h); and what is due sooner is not waited for.
 */
static void forecast_says(const struct course *course, const struct triage *triage, double age,
                          double coverage, double *days, const char **why)
{
    const struct rules *rules = triage_rules(triage);
    if (!course->known || isnan(age))
        return;
    if (coverage <= 0.0 && age < course->first_look && course->first_look - age > *days) {
        *days = course->first_look - age;
        *why = "first growth";
        return;
    }
    if (coverage < rules->forecast.shake_hi && !fed(triage, FEEDS_SHAKEN_DAYS))
        event_sooner(course->shake.low, age, "time to shake", days, why);
    event_sooner(course->full.central, age, "white through", days, why);
}

/* The days a next step of the rules has of its own, which then stand; NAN for none. */
static double step_days(const struct rules *rules, const struct verdict *verdict, const char **why)
{
    int index = verdict->decision.next_step;
    if (index == RULES_NONE)
        return NAN;
    *why = rules->decision.next_steps[index].id;
    return rules->decision.next_steps[index].days;
}

static int64_t next_day(const struct consultation *consultation, struct triage *triage,
                        const struct verdict *verdict, const struct course *course,
                        const char **why)
{
    const struct rules *rules = triage_rules(triage);
    int64_t today = moment_day(consultation->request.now);
    *why = action_name(verdict->decision.action);
    if (verdict->decision.action == ACTION_DISCARD)
        return today;
    if (verdict->decision.action == ACTION_ISOLATE)
        return today + (int64_t)ceil(rules->decision.isolate_days);
    double days = step_days(rules, verdict, why);
    if (isnan(days)) {
        days = course->look_every;
        forecast_says(course, triage, consultation->day, white(consultation, triage), &days, why);
    }
    return today + (int64_t)fmax(1.0, ceil(days));
}

/*
 * When to look again, as a wall-calendar day, and the word for why: after discard at
 * once, until it is gone; after isolate decision.isolate_days later; after keep the
 * days that the next step has of its own, else forecast.look_every, but sooner where
 * the forecast has something due (time to shake, white through), and later where it
 * has nothing to show yet (first growth).
 */
static enum status next_look(struct journal *journal, const struct consultation *consultation,
                             struct triage *triage, const struct verdict *verdict, int64_t *day,
                             const char **why, struct diags *diags)
{
    struct course course;
    enum status status = course_of(journal, triage_rules(triage), &consultation->batch,
                                   &consultation->vessel, &course, diags);
    *day = 0;
    if (status == STATUS_OK)
        *day = next_day(consultation, triage, verdict, &course, why);
    return status;
}

/* ---- what is kept ---------------------------------------------------------------------------- */

/* Takes the reference; NULL when out of memory. */
static const char *json_kept(json_t *json, struct arena *arena)
{
    char *text = json_text(json, JSON_COMPACT | JSON_REAL_PRECISION(9), NULL);
    const char *kept = text != NULL ? arena_string(arena, text) : NULL;
    free(text);
    json_decref(json);
    return kept;
}

static bool put_chance(json_t *object, const char *id, double p)
{
    return json_object_set_new(object, id, json_real(round(p * 1e6) / 1e6)) == 0;
}

static json_t *posterior_json(const struct rules *rules, const struct verdict *verdict)
{
    json_t *findings = json_object(), *causes = json_object();
    bool ok = findings != NULL && causes != NULL;
    for (size_t i = 0; ok && i < rules->finding_count; i++)
        ok = put_chance(findings, rules->findings[verdict->findings[i].index].id,
                        verdict->findings[i].p);
    for (size_t i = 0; ok && i < rules->cause_count; i++)
        ok = put_chance(causes, rules->causes[verdict->causes[i].index].id, verdict->causes[i].p);
    json_t *posterior = json_pack("{s:o?, s:o?}", "findings", findings, "causes", causes);
    if (ok)
        return posterior;
    json_decref(posterior);
    return NULL;
}

static enum finding_status likeliest(const struct verdict *verdict)
{
    enum finding_status best = FINDING_CLEAN;
    for (int s = FINDING_CLEAN; s < FINDING_STATUS_COUNT; s++)
        if (verdict->status[s] > verdict->status[best])
            best = (enum finding_status)s;
    return best;
}

static enum status look_fill(const struct consultation *consultation, const struct triage *triage,
                             const struct verdict *verdict, struct arena *arena, struct look *look)
{
    const struct rules *rules = triage_rules(triage);
    const struct decision *decision = &verdict->decision;
    look->vessel = consultation->vessel.id;
    look->at = consultation->request.now;
    look->corrects = consultation->request.corrects;
    look->facts = json_kept(facts_json(triage), arena);
    look->coverage = coverage_said(triage);
    look->action = action_name(decision->action);
    if (decision->next_step != RULES_NONE)
        look->next_step = rules->decision.next_steps[decision->next_step].id;
    if (decision->floor != RULES_NONE)
        look->forced_by = rules->decision.floors[decision->floor].id;
    look->finding = rules->findings[verdict->findings[0].index].id;
    look->status = status_name(likeliest(verdict));
    look->contaminated = verdict->status[FINDING_CONTAMINATED];
    look->posterior = json_kept(posterior_json(rules, verdict), arena);
    look->rules = rules->hash;
    look->program = JARSIDE_VERSION;
    return look->facts != NULL && look->posterior != NULL ? STATUS_OK : STATUS_MEMORY;
}

enum status consult_save(struct journal *journal, struct consultation *consultation,
                         struct triage *triage, const char *words, struct arena *arena,
                         struct look *look, const struct verdict **verdict, struct diags *diags)
{
    const char *why = "";
    int64_t day = 0;
    record_init(RECORD_LOOK, look);
    *verdict = triage_judge(triage);
    if (*verdict == NULL)
        return STATUS_MEMORY;
    look->words = words;
    enum status status = look_fill(consultation, triage, *verdict, arena, look);
    if (status == STATUS_OK)
        status = next_look(journal, consultation, triage, *verdict, &day, &why, diags);
    if (status == STATUS_OK && (status = journal_begin(journal, diags)) == STATUS_OK) {
        status = journal_add(journal, RECORD_LOOK, look, diags);
        if (status == STATUS_OK)
            status = journal_set_due(journal, consultation->vessel.id, day, why, diags);
        if (status == STATUS_OK)
            status = journal_commit(journal, diags);
        else
            journal_rollback(journal);
    }
    consultation->vessel.due = day;
    consultation->vessel.due_for = why;
    return status;
}
