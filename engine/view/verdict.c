/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/verdict.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "reason/siblings.h"
#include "triage/triage.h"
#include "view/screen.h"

/* Appends the values of a fact: "green, white; nothing else", "dry or normal", "not wet". */
static void verdict_values(struct text *out, const struct observable *observable,
                           const struct fact *fact);

/* ==== verdict said ============================================================================ */

/* What was said, as it was understood. */

/* Appends the labels of the values in `mask`, with "perhaps" before doubted ones. */
static void put_labels(struct text *out, const struct observable *observable, uint32_t mask,
                       uint32_t hedged, const char *joint)
{
    bool first = true;
    for (size_t v = 0; v < observable->value_count; v++) {
        uint32_t bit = UINT32_C(1) << v;
        if ((mask & bit) == 0)
            continue;
        text_printf(out, "%s%s%s", first ? "" : joint, (hedged & bit) != 0 ? "perhaps " : "",
                    observable->values[v].label);
        first = false;
    }
}

static void verdict_values(struct text *out, const struct observable *observable,
                           const struct fact *fact)
{
    const struct observation *seen = &fact->observation;
    bool several = observable->kind == KIND_SEVERAL;
    put_labels(out, observable, seen->seen, seen->hedged, several ? ", " : " or ");
    if (seen->absent == 0)
        return;
    bool all = several && (seen->seen | seen->absent) == rules_all_values(observable);
    if (all && (seen->hedged & seen->absent) == 0) {
        text_puts(out, seen->seen != 0 ? "; nothing else" : "none of them");
        return;
    }
    text_puts(out, seen->seen != 0 ? "; not " : "not ");
    put_labels(out, observable, seen->absent, seen->hedged, " or ");
}

/* Nobody said these are not there, so they are named as what they are: taken so. */
static void passed_over(struct screen *screen, const struct told *told)
{
    struct text names;
    text_init(&names);
    for (size_t i = 0; i < told->rules->observable_count; i++) {
        const struct observable *observable = &told->rules->observables[i];
        uint32_t silent = triage_silent(told->triage, i);
        for (size_t v = 0; v < observable->value_count; v++)
            if (silent >> v & 1)
                text_printf(&names, "%s%s", names.length > 0 ? ", " : "",
                            observable->values[v].label);
    }
    if (names.length > 0 && names.bytes != NULL)
        screen_say(screen, 2, 2, ROLE_QUIET,
                   "Not spoken of, so taken as probably not there: %s. Say so if one is.",
                   names.bytes);
    text_release(&names);
}

/* The words it came from; what records know stands without quotes, for nobody said it now. */
static void put_whence(struct text *out, const struct fact *fact)
{
    bool said = fact->origin != ORIGIN_JOURNAL && fact->origin != ORIGIN_COMPUTED;
    if (fact->words != NULL && fact->words[0] != '\0')
        text_printf(out, said ? " ('%s')" : " (%s)", fact->words);
    if (fact->recalled != 0 && said)
        text_printf(out, " (%s)", fact->recalled_words);
}

static void fact_row(struct screen *screen, const struct told *told, const struct fact *fact)
{
    enum { LABEL_COLUMNS = 24 };
    const struct observable *observable = &told->rules->observables[fact->observable];
    struct text rest;
    text_init(&rest);
    verdict_values(&rest, observable, fact);
    put_whence(&rest, fact);
    screen_row(screen, 2, LABEL_COLUMNS, observable->label, rest.bytes != NULL ? rest.bytes : "");
    text_release(&rest);
}

void view_understood(struct screen *screen, const struct told *told)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(told->triage, &facts);
    if (count == 0)
        screen_say(screen, 2, 0, ROLE_PLAIN, "Nothing yet.");
    for (size_t i = 0; i < count; i++)
        fact_row(screen, told, &facts[i]);
    passed_over(screen, told);
}

void view_understood_now(struct screen *screen, const struct told *told)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(told->triage, &facts), recorded = 0;
    for (size_t i = 0; i < count; i++)
        if (facts[i].origin == ORIGIN_JOURNAL)
            recorded++;
        else
            fact_row(screen, told, &facts[i]);
    if (recorded > 0)
        screen_say(screen, 2, 0, ROLE_QUIET, "and %zu more from the journal; 'so far' lists them",
                   recorded);
    passed_over(screen, told);
}

void view_unclear(struct screen *screen, const struct told *told)
{
    view_unclear_since(screen, told, 0);
}

/* Words nothing is known of share a line; those with a note have one of their own. */
static void put_unclear(struct screen *screen, const struct unclear *unclear, size_t count)
{
    struct text words;
    text_init(&words);
    for (size_t i = 0; i < count; i++)
        if (unclear[i].note == NULL)
            text_printf(&words, "%s'%s'", words.length > 0 ? "; " : "", unclear[i].words);
    if (words.length > 0)
        screen_say(screen, 0, 2, ROLE_QUIET, "Not understood: %s", words.bytes);
    text_release(&words);
    for (size_t i = 0; i < count; i++)
        if (unclear[i].note != NULL)
            screen_say(screen, 0, 2, ROLE_QUIET, "Not understood: '%s'; %s", unclear[i].words,
                       unclear[i].note);
}

void view_unclear_since(struct screen *screen, const struct told *told, size_t nth)
{
    const struct unclear *unclear = NULL;
    const struct clash *clashes = NULL;
    size_t count = triage_unclear(told->triage, &unclear);
    if (nth < count)
        put_unclear(screen, unclear + nth, count - nth);
    count = triage_clashes(told->triage, &clashes);
    for (size_t i = 0; i < count; i++)
        screen_say(screen, 0, 2, ROLE_ISOLATE,
                   "These contradict each other: '%s' and '%s' (%s). Both are left open.",
                   clashes[i].first, clashes[i].second,
                   told->rules->observables[clashes[i].observable].label);
}

/* ==== verdict siblings ======================================================================== */

/* What the journal adds: what earlier looks saw, and what became of the siblings. */

static const double WORTH_SAYING = 0.5; /* decibans; what moves a cause less goes unsaid */

static double decibans(double log_odds)
{
    return 10.0 * log_odds / log(10.0);
}

/* ---- what was seen before -------------------------------------------------------------------- */

/* The salient values of a fact that were seen before and not, or not only, now. */
static uint32_t seen_before(const struct observable *observable, const struct fact *fact)
{
    uint32_t before = fact->origin == ORIGIN_JOURNAL ? fact->observation.seen : fact->recalled;
    uint32_t salient = 0;
    for (size_t v = 0; v < observable->value_count; v++)
        if (observable->values[v].salient)
            salient |= UINT32_C(1) << v;
    return before & salient & fact->observation.seen;
}

static void put_seen_before(struct text *out, const struct observable *observable, uint32_t values)
{
    for (size_t v = 0; v < observable->value_count; v++)
        if (values >> v & 1)
            text_printf(out, "%s%s", out->length > 0 ? ", " : "", observable->values[v].label);
}

static const char *seen_when(const struct fact *fact)
{
    const char *words = fact->recalled != 0 ? fact->recalled_words : fact->words;
    return words != NULL ? words : "";
}

static void say_seen_before(struct screen *screen, struct text *labels, const char *when)
{
    if (labels->length > 0 && labels->bytes != NULL)
        screen_say(screen, 0, 2, ROLE_PLAIN, "Seen before, and it still counts: %s (%s).",
                   labels->bytes, when);
    text_clear(labels);
}

void view_recalled(struct screen *screen, const struct told *told)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(told->triage, &facts);
    const char *when = "";
    struct text labels;
    text_init(&labels);
    for (size_t i = 0; i < count; i++) { /* those of one look on one line */
        const struct observable *observable = &told->rules->observables[facts[i].observable];
        if (seen_before(observable, &facts[i]) == 0)
            continue;
        if (strcmp(when, seen_when(&facts[i])) != 0)
            say_seen_before(screen, &labels, when);
        when = seen_when(&facts[i]);
        put_seen_before(&labels, observable, seen_before(observable, &facts[i]));
    }
    say_seen_before(screen, &labels, when);
    text_release(&labels);
}

/* ---- in words -------------------------------------------------------------------------------- */

/* Vessels that are still young count for a part: then the figure is a rounded one. */
static const char *about(const struct tally *tally)
{
    return fabs(tally->total - round(tally->total)) > 0.05 ? "about " : "";
}

/* "6 of 8 others from cook C4 were lost, 0 of 11 from elsewhere." */
static void put_counts(struct text *out, const struct sibling_evidence *evidence)
{
    const struct sibling_group *group = evidence->group;
    if (group->own.total == 1.0)
        text_printf(out, "the one other from %s was %slost", evidence->name,
                    group->own.lost > 0.0 ? "" : "not ");
    else if (group->own.total > 0.0)
        text_printf(out, "%.3g of %.3g others from %s were lost", group->own.lost, group->own.total,
                    evidence->name);
    else
        text_printf(out, "no other from %s has told its story yet", evidence->name);
    if (group->rest.total > 0.0)
        text_printf(out, ", %s%.0f of %.0f from elsewhere", about(&group->rest), group->rest.lost,
                    group->rest.total);
    else if (group->own.total > 0.0)
        text_puts(out, "; there is no other to hold them against");
    if (group->controls.total > 0.0)
        text_printf(out, "; of its %.3g %s never inoculated, %.3g spoiled", group->controls.total,
                    group->controls.total > 1.0 ? "that were" : "that was", group->controls.lost);
    text_puts(out, ".");
}

/* " Not cooked long or hot enough +6.3, ... decibans." */
static void put_moves(struct text *out, const struct told *told,
                      const struct sibling_evidence *evidence, size_t most)
{
    size_t said = 0;
    if (evidence->left_out) {
        text_puts(out, " You said yourself how they are: that counts, and not the journal.");
        return;
    }
    for (size_t i = 0; i < evidence->cause_count && said < most; i++) {
        double moved = decibans(evidence->causes[i].log_odds);
        if (fabs(moved) < WORTH_SAYING)
            continue;
        text_printf(out, "%s%s %+.1f", said > 0 ? ", " : " ",
                    told->rules->causes[evidence->causes[i].cause].name, moved);
        said++;
    }
    text_puts(out, said > 0 ? " decibans." : " That moves no cause.");
}

static const struct sibling_evidence *of_kin(const struct told *told, int relation)
{
    for (size_t i = 0; i < told->verdict->sibling_count; i++)
        if ((int)told->verdict->siblings[i].group->relation == relation)
            return &told->verdict->siblings[i];
    return NULL;
}

/* Whether a cause of the group names this test as settling it. */
static bool settled_by(const struct told *told, const struct sibling_evidence *evidence,
                       size_t test)
{
    for (size_t i = 0; i < evidence->cause_count; i++) {
        const struct cause *cause = &told->rules->causes[evidence->causes[i].cause];
        for (size_t k = 0; k < cause->settle_count; k++)
            if (cause->settle[k] == test)
                return true;
    }
    return false;
}

/* A test that settles a cause of this group and none of the groups it always went with. */
static const struct observable *telling_apart(const struct told *told,
                                              const struct sibling_evidence *evidence)
{
    for (size_t i = 0; i < evidence->cause_count; i++) {
        const struct cause *cause = &told->rules->causes[evidence->causes[i].cause];
        for (size_t k = 0; k < cause->settle_count; k++) {
            bool shared = false;
            for (int relation = 0; relation < RELATION_COUNT; relation++) {
                const struct sibling_evidence *other = of_kin(told, relation);
                shared = shared || (other != NULL && other != evidence &&
                                    (evidence->group->aliased >> relation & 1) != 0 &&
                                    settled_by(told, other, cause->settle[k]));
            }
            if (!shared)
                return &told->rules->observables[cause->settle[k]];
        }
    }
    return NULL;
}

/* The groups that always went together with this one; false when there are none, or an
 * earlier one of them has told it already. */
static bool put_others(struct text *out, const struct told *told,
                       const struct sibling_evidence *evidence, const struct observable **test)
{
    *test = telling_apart(told, evidence);
    for (int relation = 0; relation < RELATION_COUNT; relation++) {
        const struct sibling_evidence *other = of_kin(told, relation);
        if ((evidence->group->aliased >> relation & 1) == 0 || other == NULL || other == evidence)
            continue;
        if (relation < (int)evidence->group->relation)
            return false;
        text_printf(out, "%s%s", out->length > 0 ? " and " : "", other->name);
        if (*test == NULL)
            *test = telling_apart(told, other);
    }
    return out->length > 0 && out->bytes != NULL;
}

/* Those that always went together are told once, at the first of them. */
static void put_aliases(struct screen *screen, const struct told *told,
                        const struct sibling_evidence *evidence)
{
    const struct observable *test = NULL;
    struct text words;
    text_init(&words);
    if (put_others(&words, told, evidence, &test)) {
        screen_say(screen, 4, 2, ROLE_QUIET,
                   "%s always went together with %s, so the counts cannot tell them apart.",
                   evidence->name, words.bytes);
        if (test != NULL)
            screen_say(screen, 4, 2, ROLE_QUIET, "What would (%s): %s", test->label,
                       test->look != NULL ? test->look : test->ask);
    }
    text_release(&words);
}

static bool tells(const struct sibling_evidence *evidence)
{
    return evidence->group->own.total > 0.0 || evidence->group->controls.total > 0.0;
}

static void say_group(struct screen *screen, const struct told *told,
                      const struct sibling_evidence *evidence, size_t most)
{
    struct text words;
    text_init(&words);
    put_counts(&words, evidence);
    put_moves(&words, told, evidence, most);
    if (words.bytes != NULL)
        screen_item(screen, 2, "-", ROLE_PLAIN, words.bytes);
    text_release(&words);
}

void view_siblings(struct screen *screen, const struct told *told)
{
    enum { MOST_CAUSES = 3 };
    for (size_t i = 0; i < told->verdict->sibling_count; i++) {
        const struct sibling_evidence *evidence = &told->verdict->siblings[i];
        if (!tells(evidence))
            continue;
        say_group(screen, told, evidence, MOST_CAUSES);
        put_aliases(screen, told, evidence);
    }
}

/* Decibans by which it raises the cause that it raises most; where its others fared better than the
 * rest, by which it lowers one. */
static double moves(const struct sibling_evidence *evidence)
{
    const struct sibling_group *group = evidence->group;
    bool better = group->kind == PATTERN_LESS || group->own.lost <= 0.0;
    return decibans(better ? fmax(group->highest, -group->lowest) : group->highest);
}

void view_siblings_briefly(struct screen *screen, const struct told *told)
{
    static const double striking = 3.0; /* decibans: odds of two to one */
    const struct sibling_evidence *best = NULL;
    for (size_t i = 0; i < told->verdict->sibling_count; i++) {
        const struct sibling_evidence *evidence = &told->verdict->siblings[i];
        if (tells(evidence) && !evidence->left_out &&
            (best == NULL || moves(evidence) > moves(best)))
            best = evidence;
    }
    if (best != NULL && moves(best) >= striking)
        say_group(screen, told, best, 1);
}

/* ---- as JSON --------------------------------------------------------------------------------- */

static json_t *aliases_json(const struct told *told, const struct sibling_group *group)
{
    json_t *array = json_array();
    for (int relation = 0; relation < RELATION_COUNT && array != NULL; relation++) {
        const struct sibling_evidence *other = of_kin(told, relation);
        if ((group->aliased >> relation & 1) == 0 || other == NULL || other->group == group)
            continue;
        array = view_json_append(array, json_string(other->name));
    }
    return array;
}

static json_t *moved_json(const struct told *told, const struct sibling_evidence *evidence)
{
    json_t *array = json_array();
    for (size_t i = 0; i < evidence->cause_count && array != NULL; i++) {
        double moved = evidence->left_out
                           ? 0.0
                           : round(100.0 * decibans(evidence->causes[i].log_odds)) / 100.0;
        json_t *row =
            json_pack("{s:s, s:f}", "id", told->rules->causes[evidence->causes[i].cause].id,
                      "decibans", moved);
        array = view_json_append(array, row);
    }
    return array;
}

/* A position in the cooker is no scope of a cause, but it is a thing shared. */
static const char *shared_name(enum relation relation)
{
    return relation == RELATION_POSITION ? "position" : scope_name((enum scope)relation);
}

static json_t *group_json(const struct told *told, const struct sibling_evidence *evidence)
{
    static const char *const patterns[] = {[PATTERN_NO_OTHERS] = "no_others",
                                           [PATTERN_ALONE] = "alone",
                                           [PATTERN_ALIKE] = "alike",
                                           [PATTERN_MORE] = "more",
                                           [PATTERN_LESS] = "less"};
    const struct sibling_group *group = evidence->group;
    return json_pack("{s:s, s:s, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:b, s:o, s:o}", "scope",
                     shared_name(group->relation), "group", evidence->name, "pattern",
                     patterns[group->kind], "lost", group->own.lost, "total", group->own.total,
                     "rest_lost", group->rest.lost, "rest_total", group->rest.total,
                     "controls_lost", group->controls.lost, "controls", group->controls.total,
                     "decibans", round(100.0 * decibans(group->log_bayes_factor)) / 100.0,
                     "left_out", evidence->left_out, "causes", moved_json(told, evidence),
                     "aliased_with", aliases_json(told, group));
}

json_t *view_siblings_json(const struct told *told)
{
    json_t *array = json_array();
    for (size_t i = 0; i < told->verdict->sibling_count && array != NULL; i++)
        array = view_json_append(array, group_json(told, &told->verdict->siblings[i]));
    return array;
}

/* ==== verdict text ============================================================================ */

static const double WORTH_A_WORD = 0.01; /* findings and causes less likely than this go unsaid */
static const double LIKELY_CAUSE = 0.15; /* a cause this likely gets its advice for next time */

static const enum role action_role[ACTION_COUNT] = {
    [ACTION_KEEP] = ROLE_KEEP,
    [ACTION_ISOLATE] = ROLE_ISOLATE,
    [ACTION_DISCARD] = ROLE_DISCARD,
};

const char *view_spoken(const struct rules *rules, double p)
{
    for (size_t i = 0; i < rules->scale.spoken_count; i++)
        if (p >= rules->scale.spoken[i].number)
            return rules->scale.spoken[i].word;
    return "";
}

const char *view_percent(double p, char room[PERCENT_ROOM])
{
    if (p < 0.01)
        snprintf(room, PERCENT_ROOM, "under 1 %%");
    else if (p > 0.99)
        snprintf(room, PERCENT_ROOM, "over 99 %%");
    else
        snprintf(room, PERCENT_ROOM, "%.0f %%", 100.0 * p);
    return room;
}

/* ---- action and cautions --------------------------------------------------------------------- */

void view_action(struct screen *screen, const struct told *told)
{
    const struct decision_rules *rules = &told->rules->decision;
    const struct decision *decision = &told->verdict->decision;
    enum action action = decision->action;
    struct text words;
    text_init(&words);
    text_puts(&words, rules->action_label[action]);
    text_add(&words, ".", 1);
    if (action == ACTION_KEEP && decision->next_step != RULES_NONE)
        text_printf(&words, " %s", rules->next_steps[decision->next_step].say);
    else if (rules->action_say[action] != NULL)
        text_printf(&words, " %s", rules->action_say[action]);
    screen_say(screen, 0, 0, action_role[action], "%s", words.bytes != NULL ? words.bytes : "");
    if (decision->floor != RULES_NONE)
        screen_say(screen, 0, 0, ROLE_PLAIN, "%s", rules->floors[decision->floor].say);
    text_release(&words);
}

static void cautions(struct screen *screen, const struct told *told, bool first)
{
    for (size_t i = 0; i < told->verdict->caution_count; i++) {
        const struct caution *caution = &told->rules->cautions[told->verdict->cautions[i]];
        if ((caution->rank < CAUTION_FIRST_RANK) == first)
            screen_item(screen, 0, "!", ROLE_WARN, caution->text);
    }
}

void view_cautions_first(struct screen *screen, const struct told *told)
{
    cautions(screen, told, true);
}

void view_cautions_later(struct screen *screen, const struct told *told)
{
    cautions(screen, told, false);
}

/* ---- what and why ---------------------------------------------------------------------------- */

static void ranked_row(struct screen *screen, const struct told *told, const char *name, double p)
{
    enum { NAME_COLUMNS = 34 };
    char percent[PERCENT_ROOM], rest[96];
    snprintf(rest, sizeof rest, "%s, %s", view_percent(p, percent), view_spoken(told->rules, p));
    screen_row(screen, 2, NAME_COLUMNS, name, rest);
}

void view_findings(struct screen *screen, const struct told *told, size_t most)
{
    const struct ranked *ranked = told->verdict->findings;
    for (size_t i = 0; i < told->rules->finding_count && i < most; i++)
        if (i == 0 || ranked[i].p >= WORTH_A_WORD)
            ranked_row(screen, told, told->rules->findings[ranked[i].index].name, ranked[i].p);
}

void view_causes(struct screen *screen, const struct told *told, size_t most)
{
    const struct ranked *ranked = told->verdict->causes;
    for (size_t i = 0; i < told->rules->cause_count && i < most; i++)
        if (ranked[i].p >= WORTH_A_WORD)
            ranked_row(screen, told, told->rules->causes[ranked[i].index].name, ranked[i].p);
    if (told->verdict->no_cause >= WORTH_A_WORD)
        ranked_row(screen, told, "none of these", told->verdict->no_cause);
}

/* ---- what to do ------------------------------------------------------------------------------ */

static void numbered(struct screen *screen, const char *const *lines, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        char lead[24];
        snprintf(lead, sizeof lead, "%zu.", i + 1);
        screen_item(screen, 2, lead, ROLE_PLAIN, lines[i]);
    }
}

void view_steps(struct screen *screen, const struct told *told)
{
    numbered(screen, told->verdict->steps, told->verdict->step_count);
}

void view_changes(struct screen *screen, const struct told *told)
{
    const struct ranked *ranked = told->verdict->causes;
    for (size_t i = 0; i < told->rules->cause_count && ranked[i].p >= LIKELY_CAUSE; i++) {
        const struct cause *cause = &told->rules->causes[ranked[i].index];
        screen_say(screen, 2, 2, ROLE_PLAIN, "%s:", cause->name);
        for (size_t k = 0; k < cause->change_count; k++)
            screen_item(screen, 4, "-", ROLE_PLAIN, cause->change[k]);
    }
}

/* ---- why we think so ------------------------------------------------------------------------- */

static const struct fact *fact_of(const struct triage *triage, size_t observable)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(triage, &facts);
    for (size_t i = 0; i < count; i++)
        if (facts[i].observable == observable)
            return &facts[i];
    return NULL;
}

void view_evidence(struct screen *screen, const struct told *told)
{
    enum { LABEL_COLUMNS = 8 };
    const struct explanation *explanation = &told->verdict->explanation;
    screen_say(screen, 2, 0, ROLE_QUIET,
               "for %s against %s, in decibans (10 is odds of ten to one)",
               told->rules->findings[explanation->leader].name,
               told->rules->findings[explanation->rival].name);
    for (size_t i = 0; i < explanation->weight_count; i++) {
        const struct weight_of_evidence *weight = &explanation->weights[i];
        const struct observable *observable = &told->rules->observables[weight->observable];
        const struct fact *fact = fact_of(told->triage, weight->observable);
        struct text rest;
        char decibans[24];
        text_init(&rest);
        text_printf(&rest, "%s: ", observable->label);
        if (fact != NULL)
            verdict_values(&rest, observable, fact);
        if (triage_silent(told->triage, weight->observable) != 0)
            text_puts(&rest, fact != NULL ? "; no other spoken of" : "nothing spoken of");
        snprintf(decibans, sizeof decibans, "%+.1f", weight->decibans);
        screen_row(screen, 2, LABEL_COLUMNS, decibans, rest.bytes != NULL ? rest.bytes : "");
        text_release(&rest);
    }
}

/* reason.h: a value past the last means that none of them is seen. */
static const char *turned_value(const struct observable *observable, const struct turn *turn)
{
    return turn->value < observable->value_count ? observable->values[turn->value].label
                                                 : "none of them";
}

static bool same_turn(const struct turn *a, const struct turn *b)
{
    return a->observable == b->observable && a->action == b->action && a->answered == b->answered;
}

static bool told_before(const struct turn *turns, size_t at)
{
    for (size_t i = 0; i < at; i++)
        if (same_turn(&turns[i], &turns[at]))
            return true;
    return false;
}

/* Everything that turns one observable the same way, on one line. */
static void turn_line(struct screen *screen, const struct told *told, size_t at)
{
    const struct verdict *verdict = told->verdict;
    const struct turn *turn = &verdict->turns[at];
    const struct observable *observable = &told->rules->observables[turn->observable];
    const char *joint = "";
    struct text words;
    text_init(&words);
    text_printf(&words, "%s, %s: ", observable->label,
                turn->answered ? "were it really" : "if it is");
    for (size_t i = at; i < verdict->turn_count; i++) {
        char percent[PERCENT_ROOM];
        if (!same_turn(&verdict->turns[i], turn))
            continue;
        text_printf(&words, "%s%s (%s)", joint, turned_value(observable, &verdict->turns[i]),
                    view_percent(verdict->turns[i].probability, percent));
        joint = ", ";
    }
    text_printf(&words, " - %s", told->rules->decision.action_label[turn->action]);
    screen_item(screen, 2, "-", ROLE_PLAIN, words.bytes != NULL ? words.bytes : "");
    text_release(&words);
}

void view_turns(struct screen *screen, const struct told *told)
{
    enum { MOST = 6 };
    size_t lines = 0;
    if (told->verdict->turn_count == 0)
        screen_say(screen, 2, 0, ROLE_PLAIN, "No single answer would change the action.");
    for (size_t i = 0; i < told->verdict->turn_count && lines < MOST; i++) {
        if (told_before(told->verdict->turns, i))
            continue;
        turn_line(screen, told, i);
        lines++;
    }
}

void view_computed(struct screen *screen, const struct told *told)
{
    for (size_t i = 0; i < told->verdict->computed_count; i++) {
        const struct computed *computed = &told->verdict->computed[i];
        screen_say(screen, 2, 2, ROLE_PLAIN, "%s (%+.1f decibans for: %s)", computed->say,
                   10.0 * computed->log_odds / log(10.0),
                   told->rules->causes[computed->cause].name);
        if (computed->assumed != NULL)
            screen_say(screen, 4, 2, ROLE_QUIET, "assumed: %s", computed->assumed);
    }
}

static void put_delay(struct text *out, double days)
{
    if (days <= 0)
        text_puts(out, "at once");
    else
        text_printf(out, "tells after %.0f day%s", days, days > 1 ? "s" : "");
}

void view_tests(struct screen *screen, const struct told *told, size_t most)
{
    for (size_t i = 0; i < told->verdict->test_count && i < most; i++) {
        const struct observable *test =
            &told->rules->observables[told->verdict->tests[i].observable];
        struct text words;
        text_init(&words);
        text_printf(&words, "%s (", test->look != NULL ? test->look : test->ask);
        put_delay(&words, test->delay_days);
        text_puts(&words, ")");
        screen_item(screen, 2, "-", ROLE_PLAIN, words.bytes != NULL ? words.bytes : "");
        text_release(&words);
    }
}

/* ---- together -------------------------------------------------------------------------------- */

/* "So far: A 60 %, B 20 %." of the first two of a ranking. */
static void put_leaders(struct text *out, const char *first, double first_p, const char *second,
                        double second_p)
{
    char percent[PERCENT_ROOM];
    text_printf(out, "So far: %s %s", first, view_percent(first_p, percent));
    if (second != NULL && second_p >= WORTH_A_WORD)
        text_printf(out, ", %s %s", second, view_percent(second_p, percent));
    text_puts(out, ".");
}

void view_standing(struct screen *screen, const struct told *told)
{
    const struct ranked *ranked = told->verdict->findings;
    const struct finding *findings = told->rules->findings;
    bool two = told->rules->finding_count > 1;
    struct text words;
    text_init(&words);
    put_leaders(&words, findings[ranked[0].index].name, ranked[0].p,
                two ? findings[ranked[1].index].name : NULL, two ? ranked[1].p : 0);
    text_printf(&words, " Action: %s, %s.",
                told->rules->decision.action_label[told->verdict->decision.action],
                told->verdict->settled ? "settled" : "not settled yet");
    screen_say(screen, 0, 0, ROLE_QUIET, "%s", words.bytes != NULL ? words.bytes : "");
    text_release(&words);
}

void view_standing_causes(struct screen *screen, const struct told *told)
{
    const struct ranked *ranked = told->verdict->causes;
    const struct cause *causes = told->rules->causes;
    if (told->rules->cause_count < 2)
        return;
    struct text words;
    text_init(&words);
    put_leaders(&words, causes[ranked[0].index].name, ranked[0].p, causes[ranked[1].index].name,
                ranked[1].p);
    screen_say(screen, 0, 0, ROLE_QUIET, "%s", words.bytes != NULL ? words.bytes : "");
    text_release(&words);
}

static void explained(struct screen *screen, const struct told *told)
{
    screen_say(screen, 0, 0, ROLE_STRONG, "What you told");
    view_understood(screen, told);
    screen_heading(screen, "What weighs how much");
    view_evidence(screen, told);
    if (told->verdict->computed_count > 0) {
        screen_heading(screen, "What the figures say");
        view_computed(screen, told);
    }
    if (told->verdict->sibling_count > 0) {
        screen_heading(screen, "What the others say");
        view_siblings(screen, told);
    }
    screen_heading(screen, "What would turn the action");
    view_turns(screen, told);
    screen_heading(screen, "What to change next time");
    view_changes(screen, told);
    if (told->verdict->test_count > 0) {
        screen_heading(screen, "Tests that would tell the causes apart");
        view_tests(screen, told, 3);
    }
    screen_blank(screen);
}

static void next_question(struct screen *screen, const struct told *told)
{
    const struct verdict *verdict = told->verdict;
    if (verdict->settled || verdict->question_count == 0)
        return;
    screen_say(screen, 0, 0, ROLE_PLAIN, "It would help most to know: %s",
               told->rules->observables[verdict->questions[0].observable].ask);
}

/* In the brief form the cautions for afterwards are pointed to, so that the first ones stay in view. */
static void later_cautions(struct screen *screen, const struct told *told, bool explain)
{
    if (explain) {
        view_cautions_later(screen, told);
        return;
    }
    size_t later = 0;
    for (size_t i = 0; i < told->verdict->caution_count; i++)
        later += told->rules->cautions[told->verdict->cautions[i]].rank >= CAUTION_FIRST_RANK;
    if (later > 0)
        screen_say(
            screen, 0, 0, ROLE_WARN,
            "! Afterwards: disposal, cleaning, when to see a doctor (%zu more cautions): add "
            "--explain, or read SAFETY.md.",
            later);
}

/* The action, its cautions and its steps, in that order. */
static void act_on(struct screen *screen, const struct told *told, bool explain)
{
    view_action(screen, told);
    view_cautions_first(screen, told);
    screen_say(screen, 0, 0, ROLE_STRONG, "What to do");
    view_steps(screen, told);
    later_cautions(screen, told, explain);
    next_question(screen, told);
}

void view_verdict(struct screen *screen, const struct told *told, bool explain)
{
    enum { BRIEF = 3, WHOLE = 8 };
    if (explain)
        explained(screen, told);
    screen_say(screen, 0, 0, ROLE_STRONG, "Most likely inside");
    view_findings(screen, told, explain ? WHOLE : BRIEF);
    screen_say(screen, 0, 0, ROLE_STRONG, "Most likely why");
    view_causes(screen, told, explain ? WHOLE : BRIEF);
    if (!explain)
        view_siblings_briefly(screen, told);
    view_recalled(screen, told);
    view_unclear(screen, told);
    screen_blank(screen);
    act_on(screen, told, explain);
}

void view_verdict_action(struct screen *screen, const struct told *told)
{
    view_recalled(screen, told);
    view_unclear(screen, told);
    act_on(screen, told, false);
}

void view_verdict_line(struct screen *screen, const struct told *told)
{
    const struct ranked *first = &told->verdict->findings[0];
    text_printf(&screen->out, "%s\t%s\t%.3f\n", action_name(told->verdict->decision.action),
                told->rules->findings[first->index].id, first->p);
}

/* ==== verdict json ============================================================================ */

/*
 * Jansson's *_new setters take over the reference and fail on NULL, so a chain
 * of them needs one check at its end: the object simply lacks what failed, and
 * `ok` remembers it.
 */
struct builder {
    json_t *root;
    bool ok;
};

static void put(struct builder *builder, json_t *object, const char *key, json_t *value)
{
    builder->ok = builder->ok && json_object_set_new(object, key, value) == 0;
}

static void append(struct builder *builder, json_t *array, json_t *value)
{
    builder->ok = builder->ok && json_array_append_new(array, value) == 0;
}

static json_t *maybe_string(const char *string)
{
    return string != NULL ? json_string(string) : json_null();
}

/* Six decimals are more than the model knows and keep the output readable. */
static json_t *probability(double p)
{
    return json_real(round(p * 1e6) / 1e6);
}

/* What was passed over in silence is part of the evidence, but nobody said it: apart from the facts. */
static json_t *not_spoken_of(struct builder *builder, const struct told *told)
{
    json_t *array = json_array();
    for (size_t i = 0; i < told->rules->observable_count; i++) {
        const struct observable *observable = &told->rules->observables[i];
        uint32_t silent = triage_silent(told->triage, i);
        for (size_t v = 0; v < observable->value_count; v++)
            if (silent >> v & 1)
                append(builder, array,
                       json_pack("{s:s, s:s}", "sign", observable->id, "value",
                                 observable->values[v].id));
    }
    return array;
}

static json_t *not_understood(struct builder *builder, const struct told *told)
{
    const struct unclear *unclear = NULL;
    size_t count = triage_unclear(told->triage, &unclear);
    json_t *array = json_array();
    for (size_t i = 0; i < count; i++) {
        json_t *row = json_pack("{s:s}", "words", unclear[i].words);
        put(builder, row, "note", maybe_string(unclear[i].note));
        append(builder, array, row);
    }
    return array;
}

static json_t *clashes(struct builder *builder, const struct told *told)
{
    const struct clash *clash = NULL;
    size_t count = triage_clashes(told->triage, &clash);
    json_t *array = json_array();
    for (size_t i = 0; i < count; i++)
        append(builder, array,
               json_pack("{s:s, s:[s, s]}", "sign",
                         told->rules->observables[clash[i].observable].id, "words", clash[i].first,
                         clash[i].second));
    return array;
}

static json_t *evidence(struct builder *builder, const struct told *told)
{
    const struct explanation *explanation = &told->verdict->explanation;
    json_t *array = json_array();
    for (size_t i = 0; i < explanation->weight_count; i++)
        append(builder, array,
               json_pack("{s:s, s:f, s:s, s:s}", "sign",
                         told->rules->observables[explanation->weights[i].observable].id,
                         "decibans", round(explanation->weights[i].decibans * 100.0) / 100.0, "for",
                         told->rules->findings[explanation->leader].id, "against",
                         told->rules->findings[explanation->rival].id));
    return array;
}

static json_t *would_change(struct builder *builder, const struct told *told)
{
    json_t *array = json_array();
    for (size_t i = 0; i < told->verdict->turn_count; i++) {
        const struct turn *turn = &told->verdict->turns[i];
        const struct observable *observable = &told->rules->observables[turn->observable];
        /* reason.h: a value past the last means that none of them is seen; null says so. */
        const char *value =
            turn->value < observable->value_count ? observable->values[turn->value].id : NULL;
        json_t *row = json_pack("{s:s, s:s?, s:s, s:b}", "sign", observable->id, "value", value,
                                "action", action_name(turn->action), "answered", turn->answered);
        put(builder, row, "p", probability(turn->probability));
        append(builder, array, row);
    }
    return array;
}

static json_t *question(struct builder *builder, const struct told *told,
                        const struct question *question)
{
    const struct observable *observable = &told->rules->observables[question->observable];
    json_t *row = json_pack("{s:s, s:s}", "sign", observable->id, "ask", observable->ask);
    put(builder, row, "gain", probability(question->gain));
    put(builder, row, "bits", probability(question->bits));
    put(builder, row, "turns", probability(question->turns));
    return row;
}

static json_t *tests(struct builder *builder, const struct told *told)
{
    json_t *array = json_array();
    for (size_t i = 0; i < told->verdict->test_count; i++) {
        const struct question *test = &told->verdict->tests[i];
        json_t *row = question(builder, told, test);
        put(builder, row, "days", json_real(told->rules->observables[test->observable].delay_days));
        append(builder, array, row);
    }
    return array;
}

static json_t *computed(struct builder *builder, const struct told *told)
{
    json_t *array = json_array();
    for (size_t i = 0; i < told->verdict->computed_count; i++) {
        const struct computed *item = &told->verdict->computed[i];
        json_t *row =
            json_pack("{s:s, s:s}", "cause", told->rules->causes[item->cause].id, "say", item->say);
        put(builder, row, "decibans",
            json_real(round(item->log_odds / log(10.0) * 1000.0) / 100.0));
        put(builder, row, "assumed", maybe_string(item->assumed));
        append(builder, array, row);
    }
    return array;
}

static json_t *findings(struct builder *builder, const struct told *told)
{
    json_t *array = json_array();
    for (size_t i = 0; i < told->rules->finding_count; i++) {
        const struct ranked *ranked = &told->verdict->findings[i];
        json_t *row = json_pack("{s:s}", "id", told->rules->findings[ranked->index].id);
        put(builder, row, "p", probability(ranked->p));
        append(builder, array, row);
    }
    return array;
}

static json_t *causes(struct builder *builder, const struct told *told)
{
    json_t *array = json_array();
    for (size_t i = 0; i < told->rules->cause_count; i++) {
        const struct ranked *ranked = &told->verdict->causes[i];
        json_t *row = json_pack("{s:s}", "id", told->rules->causes[ranked->index].id);
        put(builder, row, "p", probability(ranked->p));
        append(builder, array, row);
    }
    return array;
}

static json_t *loss(struct builder *builder, const struct decision *decision)
{
    json_t *object = json_object();
    for (enum action a = ACTION_KEEP; a < ACTION_COUNT; a++)
        put(builder, object, action_name(a), probability(decision->loss[a]));
    return object;
}

static json_t *steps(struct builder *builder, const struct verdict *verdict)
{
    json_t *array = json_array();
    for (size_t i = 0; i < verdict->step_count; i++)
        append(builder, array, json_string(verdict->steps[i]));
    return array;
}

static json_t *verdict_json_cautions(struct builder *builder, const struct told *told)
{
    json_t *array = json_array();
    for (size_t i = 0; i < told->verdict->caution_count; i++) {
        const struct caution *caution = &told->rules->cautions[told->verdict->cautions[i]];
        append(builder, array, json_pack("{s:s, s:s}", "id", caution->id, "text", caution->text));
    }
    return array;
}

static json_t *status_mass(struct builder *builder, const struct verdict *verdict)
{
    json_t *object = json_object();
    for (enum finding_status s = FINDING_CLEAN; s < FINDING_STATUS_COUNT; s++)
        put(builder, object, status_name(s), probability(verdict->status[s]));
    return object;
}

static void put_decision(struct builder *builder, const struct told *told)
{
    const struct decision_rules *rules = &told->rules->decision;
    const struct decision *decision = &told->verdict->decision;
    json_t *root = builder->root;
    put(builder, root, "schema", json_integer(1));
    put(builder, root, "action", json_string(action_name(decision->action)));
    put(builder, root, "next_step",
        maybe_string(decision->next_step != RULES_NONE ? rules->next_steps[decision->next_step].id
                                                       : NULL));
    put(builder, root, "forced_by",
        maybe_string(decision->floor != RULES_NONE ? rules->floors[decision->floor].id : NULL));
    put(builder, root, "settled", json_boolean(told->verdict->settled));
    put(builder, root, "loss", loss(builder, decision));
    put(builder, root, "status", status_mass(builder, told->verdict));
}

json_t *view_verdict_json(const struct told *told)
{
    struct builder builder = {json_object(), true};
    json_t *root = builder.root;
    const struct verdict *verdict = told->verdict;
    put_decision(&builder, told);
    put(&builder, root, "findings", findings(&builder, told));
    put(&builder, root, "causes", causes(&builder, told));
    put(&builder, root, "no_cause", probability(verdict->no_cause));
    put(&builder, root, "understood", facts_json(told->triage));
    put(&builder, root, "not_spoken_of", not_spoken_of(&builder, told));
    put(&builder, root, "not_understood", not_understood(&builder, told));
    put(&builder, root, "clashes", clashes(&builder, told));
    put(&builder, root, "evidence", evidence(&builder, told));
    put(&builder, root, "computed", computed(&builder, told));
    put(&builder, root, "siblings", view_siblings_json(told));
    put(&builder, root, "would_change", would_change(&builder, told));
    put(&builder, root, "next_question",
        !verdict->settled && verdict->question_count > 0
            ? question(&builder, told, &verdict->questions[0])
            : json_null());
    put(&builder, root, "tests", tests(&builder, told));
    put(&builder, root, "steps", steps(&builder, verdict));
    put(&builder, root, "cautions", verdict_json_cautions(&builder, told));
    put(&builder, root, "rules",
        json_pack("{s:s, s:s, s:s}", "name", told->rules->name, "version", told->rules->version,
                  "hash", told->rules->hash));
    if (builder.ok)
        return root;
    json_decref(root);
    return NULL;
}
