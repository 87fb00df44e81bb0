/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/verdict.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal/record.h"
#include "reason/siblings.h"
#include "triage/triage.h"
#include "view/screen.h"

static double decibans(double log_odds)
{
    return 10.0 * log_odds / log(10.0);
}

static double hundredths(double number)
{
    return round(number * 100.0) / 100.0;
}

/* ---- what was said, as it was understood ------------------------------------------------------- */

/* Appends the labels of the values in `mask`, with "perhaps" before doubted ones. */
static void put_labels(struct text *out, const struct observable *observable, uint32_t mask,
                       uint32_t hedged, const char *joint)
{
    const char *before = "";
    for (size_t v = 0; v < observable->value_count; v++)
        if (mask >> v & 1) {
            text_printf(out, "%s%s%s", before, hedged >> v & 1 ? "perhaps " : "",
                        observable->values[v].label);
            before = joint;
        }
}

/* Appends the values of a fact: "green, white; nothing else", "dry or normal", "not wet". */
static void put_values(struct text *out, const struct observable *observable,
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

static void say_fact(struct screen *screen, const struct judged *judged, const struct fact *fact)
{
    enum { LABEL_COLUMNS = 24 };
    const struct observable *observable = &judged->rules->observables[fact->observable];
    /* What records know stands without quotes, for nobody said it now. */
    bool said = fact->origin != ORIGIN_JOURNAL && fact->origin != ORIGIN_COMPUTED;
    struct text rest;
    text_init(&rest);
    put_values(&rest, observable, fact);
    if (fact->words != NULL && fact->words[0] != '\0')
        text_printf(&rest, said ? " ('%s')" : " (%s)", fact->words);
    if (fact->recalled != 0 && said)
        text_printf(&rest, " (%s)", fact->recalled_words);
    screen_row(screen, 2, LABEL_COLUMNS, observable->label, rest.bytes);
    text_release(&rest);
}

/* Nobody said these are not there, so they are named as what they are: taken so. */
static void say_silent(struct screen *screen, const struct judged *judged)
{
    struct text names;
    text_init(&names);
    for (size_t i = 0; i < judged->rules->observable_count; i++) {
        uint32_t silent = triage_silent(judged->triage, i);
        text_puts(&names, silent != 0 && names.length > 0 ? ", " : "");
        put_labels(&names, &judged->rules->observables[i], silent, 0, ", ");
    }
    if (names.length > 0)
        screen_say(screen, 2, 2, ROLE_QUIET,
                   "Not spoken of, so taken as probably not there: %s. Say so if one is.",
                   names.bytes);
    text_release(&names);
}

void view_understood(struct screen *screen, const struct judged *judged)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(judged->triage, &facts);
    if (count == 0)
        screen_say(screen, 2, 0, ROLE_PLAIN, "Nothing yet.");
    for (size_t i = 0; i < count; i++)
        say_fact(screen, judged, &facts[i]);
    say_silent(screen, judged);
}

void view_understood_now(struct screen *screen, const struct judged *judged)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(judged->triage, &facts), recorded = 0;
    for (size_t i = 0; i < count; i++)
        if (facts[i].origin == ORIGIN_JOURNAL)
            recorded++;
        else
            say_fact(screen, judged, &facts[i]);
    if (recorded > 0)
        screen_say(screen, 2, 0, ROLE_QUIET, "and %zu more from the journal; 'so far' lists them",
                   recorded);
    say_silent(screen, judged);
}

void view_unclear(struct screen *screen, const struct judged *judged)
{
    view_unclear_since(screen, judged, 0);
}

/* Words nothing is known of share a line; those with a note have one of their own. */
void view_unclear_since(struct screen *screen, const struct judged *judged, size_t nth)
{
    const struct unclear *unclear = NULL;
    const struct clash *clashes = NULL;
    size_t count = triage_unclear(judged->triage, &unclear);
    struct text words;
    text_init(&words);
    for (size_t i = nth; i < count; i++)
        if (unclear[i].note == NULL)
            text_printf(&words, "%s'%s'",
                        words.length > 0 ? "; " : "Not understood: ", unclear[i].words);
    screen_text(screen, 0, 2, ROLE_QUIET, &words);
    for (size_t i = nth; i < count; i++)
        if (unclear[i].note != NULL)
            screen_say(screen, 0, 2, ROLE_QUIET, "Not understood: '%s'; %s", unclear[i].words,
                       unclear[i].note);
    count = triage_clashes(judged->triage, &clashes);
    for (size_t i = 0; i < count; i++)
        screen_say(screen, 0, 2, ROLE_ISOLATE,
                   "These contradict each other: '%s' and '%s' (%s). Both are left open.",
                   clashes[i].first, clashes[i].second,
                   judged->rules->observables[clashes[i].observable].label);
}

/* ---- what the journal adds: what earlier looks saw, what became of the siblings ---------------- */

/* The salient values of a fact that were seen before and not, or not only, now. */
static uint32_t seen_before(const struct observable *observable, const struct fact *fact)
{
    uint32_t before = fact->origin == ORIGIN_JOURNAL ? fact->observation.seen : fact->recalled;
    uint32_t salient = 0;
    for (size_t v = 0; v < observable->value_count; v++)
        salient |= (uint32_t)observable->values[v].salient << v;
    return before & salient & fact->observation.seen;
}

static void say_seen_before(struct screen *screen, struct text *labels, const char *when)
{
    if (labels->length > 0)
        screen_say(screen, 0, 2, ROLE_PLAIN, "Seen before, and it still counts: %s (%s).",
                   labels->bytes, when);
    text_clear(labels);
}

/* What earlier looks saw that still counts, and when: what one look saw stands on one line. */
static void say_recalled(struct screen *screen, const struct judged *judged)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(judged->triage, &facts);
    const char *when = "";
    struct text labels;
    text_init(&labels);
    for (size_t i = 0; i < count; i++) {
        const struct observable *observable = &judged->rules->observables[facts[i].observable];
        const char *words = facts[i].recalled != 0 ? facts[i].recalled_words : facts[i].words;
        uint32_t seen = seen_before(observable, &facts[i]);
        if (seen == 0)
            continue;
        if (words == NULL)
            words = "";
        if (strcmp(when, words) != 0)
            say_seen_before(screen, &labels, when);
        when = words;
        text_puts(&labels, labels.length > 0 ? ", " : "");
        put_labels(&labels, observable, seen, 0, ", ");
    }
    say_seen_before(screen, &labels, when);
    text_release(&labels);
}

/* "6 of 8 others from cook C4 were lost, 0 of 11 from elsewhere." */
static void put_counts(struct text *out, const struct sibling_evidence *evidence)
{
    const struct sibling_group *group = evidence->group;
    /* Vessels that are still young count for a part: then the figure is a rounded one. */
    bool rounded = fabs(group->rest.total - round(group->rest.total)) > 0.05;
    if (group->own.total == 1.0)
        text_printf(out, "the one other from %s was %slost", evidence->name,
                    group->own.lost > 0.0 ? "" : "not ");
    else if (group->own.total > 0.0)
        text_printf(out, "%.3g of %.3g others from %s were lost", group->own.lost, group->own.total,
                    evidence->name);
    else
        text_printf(out, "no other from %s has told its story yet", evidence->name);
    if (group->rest.total > 0.0)
        text_printf(out, ", %s%.0f of %.0f from elsewhere", rounded ? "about " : "",
                    group->rest.lost, group->rest.total);
    else if (group->own.total > 0.0)
        text_puts(out, "; there is no other to hold them against");
    if (group->controls.total > 0.0)
        text_printf(out, "; of its %.3g %s never inoculated, %.3g spoiled", group->controls.total,
                    group->controls.total > 1.0 ? "that were" : "that was", group->controls.lost);
    text_puts(out, ".");
}

/* The counts, then " Not cooked long or hot enough +6.3, ... decibans." of at most so many causes. */
static void say_group(struct screen *screen, const struct judged *judged,
                      const struct sibling_evidence *evidence, size_t most)
{
    static const double worth_saying = 0.5; /* decibans; what moves a cause less goes unsaid */
    struct text words;
    size_t said = 0;
    text_init(&words);
    put_counts(&words, evidence);
    for (size_t i = 0; i < evidence->cause_count && said < most && !evidence->left_out; i++) {
        double moved = decibans(evidence->causes[i].log_odds);
        if (fabs(moved) < worth_saying)
            continue;
        text_printf(&words, "%s%s %+.1f", said++ > 0 ? ", " : " ",
                    judged->rules->causes[evidence->causes[i].cause].name, moved);
    }
    text_puts(&words, evidence->left_out
                          ? " You said yourself how they are: that counts, and not the journal."
                      : said > 0 ? " decibans."
                                 : " That moves no cause.");
    screen_item(screen, 2, "-", ROLE_PLAIN, words.bytes);
    text_release(&words);
}

/* The group of that relation which always went together with this one; NULL when none did. */
static const struct sibling_evidence *alias(const struct judged *judged,
                                            const struct sibling_evidence *evidence, int relation)
{
    for (size_t i = 0; i < judged->verdict->sibling_count; i++) {
        const struct sibling_evidence *other = &judged->verdict->siblings[i];
        if ((int)other->group->relation == relation)
            return other != evidence && (evidence->group->aliased >> relation & 1) ? other : NULL;
    }
    return NULL;
}

/* Whether a cause of the group names this test as settling it. */
static bool settled_by(const struct judged *judged, const struct sibling_evidence *evidence,
                       size_t test)
{
    for (size_t i = 0; i < evidence->cause_count; i++) {
        const struct cause *cause = &judged->rules->causes[evidence->causes[i].cause];
        for (size_t k = 0; k < cause->settle_count; k++)
            if (cause->settle[k] == test)
                return true;
    }
    return false;
}

/* A test that settles a cause of this group and none of the groups it always went with. */
static const struct observable *telling_apart(const struct judged *judged,
                                              const struct sibling_evidence *evidence)
{
    for (size_t i = 0; i < evidence->cause_count; i++) {
        const struct cause *cause = &judged->rules->causes[evidence->causes[i].cause];
        for (size_t k = 0; k < cause->settle_count; k++) {
            bool shared = false;
            for (int relation = 0; relation < RELATION_COUNT; relation++) {
                const struct sibling_evidence *other = alias(judged, evidence, relation);
                shared = shared || (other != NULL && settled_by(judged, other, cause->settle[k]));
            }
            if (!shared)
                return &judged->rules->observables[cause->settle[k]];
        }
    }
    return NULL;
}

/* Those that always went together are told once, at the first of them. */
static void say_aliases(struct screen *screen, const struct judged *judged,
                        const struct sibling_evidence *evidence)
{
    const struct observable *test = telling_apart(judged, evidence);
    struct text words;
    text_init(&words);
    for (int relation = 0; relation < RELATION_COUNT; relation++) {
        const struct sibling_evidence *other = alias(judged, evidence, relation);
        if (other == NULL)
            continue;
        if (relation < (int)evidence->group->relation) {
            text_clear(&words);
            break;
        }
        text_printf(&words, "%s%s", words.length > 0 ? " and " : "", other->name);
        if (test == NULL)
            test = telling_apart(judged, other);
    }
    if (words.length > 0) {
        screen_say(screen, 4, 2, ROLE_QUIET,
                   "%s always went together with %s, so the counts cannot tell them apart.",
                   evidence->name, words.bytes);
        if (test != NULL)
            screen_say(screen, 4, 2, ROLE_QUIET, "What would (%s): %s", test->label,
                       test->look != NULL ? test->look : test->ask);
    }
    text_release(&words);
}

static bool speaks(const struct sibling_evidence *evidence)
{
    return evidence->group->own.total > 0.0 || evidence->group->controls.total > 0.0;
}

/* What became of the vessel's siblings, a line a group, and what that moved. */
static void say_siblings(struct screen *screen, const struct judged *judged)
{
    enum { MOST_CAUSES = 3 };
    for (size_t i = 0; i < judged->verdict->sibling_count; i++) {
        const struct sibling_evidence *evidence = &judged->verdict->siblings[i];
        if (!speaks(evidence))
            continue;
        say_group(screen, judged, evidence, MOST_CAUSES);
        say_aliases(screen, judged, evidence);
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

void view_siblings_briefly(struct screen *screen, const struct judged *judged)
{
    static const double striking = 3.0; /* decibans: odds of two to one */
    const struct sibling_evidence *best = NULL;
    for (size_t i = 0; i < judged->verdict->sibling_count; i++) {
        const struct sibling_evidence *evidence = &judged->verdict->siblings[i];
        if (speaks(evidence) && !evidence->left_out &&
            (best == NULL || moves(evidence) > moves(best)))
            best = evidence;
    }
    if (best != NULL && moves(best) >= striking)
        say_group(screen, judged, best, 1);
}

/* ---- action and cautions --------------------------------------------------------------------- */

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

void view_action(struct screen *screen, const struct judged *judged)
{
    static const enum role roles[ACTION_COUNT] = {[ACTION_KEEP] = ROLE_KEEP,
                                                  [ACTION_ISOLATE] = ROLE_ISOLATE,
                                                  [ACTION_DISCARD] = ROLE_DISCARD};
    const struct decision_rules *rules = &judged->rules->decision;
    const struct decision *decision = &judged->verdict->decision;
    enum action action = decision->action;
    const char *say = action == ACTION_KEEP && decision->next_step != RULES_NONE
                          ? rules->next_steps[decision->next_step].say
                          : rules->action_say[action];
    screen_say(screen, 0, 0, roles[action], "%s.%s%s", rules->action_label[action],
               say != NULL ? " " : "", say != NULL ? say : "");
    if (decision->floor != RULES_NONE)
        screen_say(screen, 0, 0, ROLE_PLAIN, "%s", rules->floors[decision->floor].say);
}

/* Says the cautions of health, or the later ones; how many they are. */
static size_t say_cautions(struct screen *screen, const struct judged *judged, bool first)
{
    size_t count = 0;
    for (size_t i = 0; i < judged->verdict->caution_count; i++) {
        const struct caution *caution = &judged->rules->cautions[judged->verdict->cautions[i]];
        if ((caution->rank < CAUTION_FIRST_RANK) != first)
            continue;
        count++;
        if (screen != NULL)
            screen_item(screen, 0, "!", ROLE_WARN, caution->text);
    }
    return count;
}

void view_cautions_first(struct screen *screen, const struct judged *judged)
{
    say_cautions(screen, judged, true);
}

void view_cautions_later(struct screen *screen, const struct judged *judged)
{
    say_cautions(screen, judged, false);
}

/* ---- what and why ---------------------------------------------------------------------------- */

static const double WORTH_A_WORD = 0.01; /* findings and causes less likely than this go unsaid */

static void say_ranked(struct screen *screen, const struct judged *judged, const char *name,
                       double p)
{
    enum { NAME_COLUMNS = 34 };
    char percent[PERCENT_ROOM];
    screen_row_text(screen, 2, NAME_COLUMNS, name, "%s, %s", view_percent(p, percent),
                    view_spoken(judged->rules, p));
}

void view_findings(struct screen *screen, const struct judged *judged, size_t most)
{
    const struct ranked *ranked = judged->verdict->findings;
    for (size_t i = 0; i < judged->rules->finding_count && i < most; i++)
        if (i == 0 || ranked[i].p >= WORTH_A_WORD)
            say_ranked(screen, judged, judged->rules->findings[ranked[i].index].name, ranked[i].p);
}

void view_causes(struct screen *screen, const struct judged *judged, size_t most)
{
    const struct ranked *ranked = judged->verdict->causes;
    for (size_t i = 0; i < judged->rules->cause_count && i < most; i++)
        if (ranked[i].p >= WORTH_A_WORD)
            say_ranked(screen, judged, judged->rules->causes[ranked[i].index].name, ranked[i].p);
    if (judged->verdict->no_cause >= WORTH_A_WORD)
        say_ranked(screen, judged, "none of these", judged->verdict->no_cause);
}

void view_steps(struct screen *screen, const struct judged *judged)
{
    for (size_t i = 0; i < judged->verdict->step_count; i++) {
        char lead[24];
        snprintf(lead, sizeof lead, "%zu.", i + 1);
        screen_item(screen, 2, lead, ROLE_PLAIN, judged->verdict->steps[i]);
    }
}

void view_changes(struct screen *screen, const struct judged *judged)
{
    static const double likely = 0.15;
    const struct ranked *ranked = judged->verdict->causes;
    for (size_t i = 0; i < judged->rules->cause_count && ranked[i].p >= likely; i++) {
        const struct cause *cause = &judged->rules->causes[ranked[i].index];
        screen_say(screen, 2, 2, ROLE_PLAIN, "%s:", cause->name);
        for (size_t k = 0; k < cause->change_count; k++)
            screen_item(screen, 4, "-", ROLE_PLAIN, cause->change[k]);
    }
}

void view_evidence(struct screen *screen, const struct judged *judged)
{
    enum { LABEL_COLUMNS = 8 };
    const struct explanation *explanation = &judged->verdict->explanation;
    const struct fact *facts = NULL;
    size_t count = triage_facts(judged->triage, &facts);
    screen_say(screen, 2, 0, ROLE_QUIET,
               "for %s against %s, in decibans (10 is odds of ten to one)",
               judged->rules->findings[explanation->leader].name,
               judged->rules->findings[explanation->rival].name);
    for (size_t i = 0; i < explanation->weight_count; i++) {
        const struct weight_of_evidence *weight = &explanation->weights[i];
        const struct observable *observable = &judged->rules->observables[weight->observable];
        size_t at = 0;
        struct text rest;
        char lead[24];
        while (at < count && facts[at].observable != weight->observable)
            at++;
        text_init(&rest);
        text_printf(&rest, "%s: ", observable->label);
        if (at < count)
            put_values(&rest, observable, &facts[at]);
        if (triage_silent(judged->triage, weight->observable) != 0)
            text_puts(&rest, at < count ? "; no other spoken of" : "nothing spoken of");
        snprintf(lead, sizeof lead, "%+.1f", weight->decibans);
        screen_row(screen, 2, LABEL_COLUMNS, lead, rest.bytes);
        text_release(&rest);
    }
}

static bool same_turn(const struct turn *a, const struct turn *b)
{
    return a->observable == b->observable && a->action == b->action && a->answered == b->answered;
}

/* Everything that turns one observable the same way, on one line. */
static void say_turn(struct screen *screen, const struct judged *judged, size_t at)
{
    const struct verdict *verdict = judged->verdict;
    const struct turn *turn = &verdict->turns[at];
    const struct observable *observable = &judged->rules->observables[turn->observable];
    const char *joint = "";
    struct text words;
    text_init(&words);
    text_printf(&words, "%s, %s: ", observable->label,
                turn->answered ? "were it really" : "if it is");
    for (size_t i = at; i < verdict->turn_count; i++) {
        const struct turn *next = &verdict->turns[i];
        char percent[PERCENT_ROOM];
        if (!same_turn(next, turn))
            continue;
        /* reason.h: a value past the last means that none of them is seen. */
        text_printf(&words, "%s%s (%s)", joint,
                    next->value < observable->value_count ? observable->values[next->value].label
                                                          : "none of them",
                    view_percent(next->probability, percent));
        joint = ", ";
    }
    text_printf(&words, " - %s", judged->rules->decision.action_label[turn->action]);
    screen_item(screen, 2, "-", ROLE_PLAIN, words.bytes);
    text_release(&words);
}

void view_turns(struct screen *screen, const struct judged *judged)
{
    enum { MOST = 6 };
    const struct turn *turns = judged->verdict->turns;
    size_t lines = 0;
    if (judged->verdict->turn_count == 0)
        screen_say(screen, 2, 0, ROLE_PLAIN, "No single answer would change the action.");
    for (size_t i = 0; i < judged->verdict->turn_count && lines < MOST; i++) {
        size_t first = 0;
        while (!same_turn(&turns[first], &turns[i]))
            first++;
        if (first < i)
            continue;
        say_turn(screen, judged, i);
        lines++;
    }
}

void view_computed(struct screen *screen, const struct judged *judged)
{
    for (size_t i = 0; i < judged->verdict->computed_count; i++) {
        const struct computed *computed = &judged->verdict->computed[i];
        screen_say(screen, 2, 2, ROLE_PLAIN, "%s (%+.1f decibans for: %s)", computed->say,
                   decibans(computed->log_odds), judged->rules->causes[computed->cause].name);
        if (computed->assumed != NULL)
            screen_say(screen, 4, 2, ROLE_QUIET, "assumed: %s", computed->assumed);
    }
}

void view_tests(struct screen *screen, const struct judged *judged, size_t most)
{
    for (size_t i = 0; i < judged->verdict->test_count && i < most; i++) {
        const struct observable *test =
            &judged->rules->observables[judged->verdict->tests[i].observable];
        const char *how = test->look != NULL ? test->look : test->ask;
        double days = test->delay_days;
        char *words =
            days <= 0 ? text_format("%s (at once)", how)
                      : text_format("%s (tells after %.0f day%s)", how, days, days > 1 ? "s" : "");
        screen_item(screen, 2, "-", ROLE_PLAIN, words);
        free(words);
    }
}

/* ---- together -------------------------------------------------------------------------------- */

/* "So far: A 60 %, B 20 %." of the first two of a ranking. */
static void put_leaders(struct text *out, const struct judged *judged, enum word_list list,
                        const struct ranked *ranked, size_t count)
{
    char percent[PERCENT_ROOM];
    text_printf(out, "So far: %s %s", list_word(judged->rules, list, ranked[0].index).name,
                view_percent(ranked[0].p, percent));
    if (count > 1 && ranked[1].p >= WORTH_A_WORD)
        text_printf(out, ", %s %s", list_word(judged->rules, list, ranked[1].index).name,
                    view_percent(ranked[1].p, percent));
    text_puts(out, ".");
}

void view_standing(struct screen *screen, const struct judged *judged)
{
    struct text words;
    text_init(&words);
    put_leaders(&words, judged, LIST_FINDINGS, judged->verdict->findings,
                judged->rules->finding_count);
    text_printf(&words, " Action: %s, %s.",
                judged->rules->decision.action_label[judged->verdict->decision.action],
                judged->verdict->settled ? "settled" : "not settled yet");
    screen_text(screen, 0, 0, ROLE_QUIET, &words);
}

void view_standing_causes(struct screen *screen, const struct judged *judged)
{
    struct text words;
    text_init(&words);
    if (judged->rules->cause_count > 1)
        put_leaders(&words, judged, LIST_CAUSES, judged->verdict->causes,
                    judged->rules->cause_count);
    screen_text(screen, 0, 0, ROLE_QUIET, &words);
}

/* What single words made more or less likely, whether or not a phrase understood them. */
static void say_words(struct screen *screen, const struct judged *judged)
{
    const struct word_weight *weights = NULL;
    const size_t count = triage_word_weights(judged->triage, &weights);
    if (count > 0)
        screen_heading(screen, "Words that weigh by themselves");
    for (size_t i = 0; i < count; i++) {
        const double times = exp(fabs(weights[i].odds));
        if (times < 1.05)
            continue;
        screen_say(screen, 2, 4, ROLE_PLAIN, "'%s'%s: odds of contamination %s by %.1f",
                   weights[i].words, weights[i].denied ? " (denied)" : "",
                   weights[i].odds > 0 ? "multiplied" : "divided", times);
    }
}

static void explain_verdict(struct screen *screen, const struct judged *judged)
{
    screen_say(screen, 0, 0, ROLE_STRONG, "What you told");
    view_understood(screen, judged);
    screen_heading(screen, "What weighs how much");
    view_evidence(screen, judged);
    say_words(screen, judged);
    if (judged->verdict->computed_count > 0) {
        screen_heading(screen, "What the figures say");
        view_computed(screen, judged);
    }
    if (judged->verdict->sibling_count > 0) {
        screen_heading(screen, "What the others say");
        say_siblings(screen, judged);
    }
    screen_heading(screen, "What would turn the action");
    view_turns(screen, judged);
    screen_heading(screen, "What to change next time");
    view_changes(screen, judged);
    if (judged->verdict->test_count > 0) {
        screen_heading(screen, "Tests that would tell the causes apart");
        view_tests(screen, judged, 3);
    }
    screen_blank(screen);
}

/*
 * The action, its cautions and its steps, in that order. In the brief form the
 * cautions for afterwards are pointed to, so that the first ones stay in view.
 */
static void say_what_to_do(struct screen *screen, const struct judged *judged, bool explain)
{
    const struct verdict *verdict = judged->verdict;
    view_action(screen, judged);
    view_cautions_first(screen, judged);
    screen_say(screen, 0, 0, ROLE_STRONG, "What to do");
    view_steps(screen, judged);
    size_t later = say_cautions(explain ? screen : NULL, judged, false);
    if (!explain && later > 0)
        screen_say(
            screen, 0, 0, ROLE_WARN,
            "! Afterwards: disposal, cleaning, when to see a doctor (%zu more cautions): add "
            "--explain, or read SAFETY.md.",
            later);
    if (!verdict->settled && verdict->question_count > 0)
        screen_say(screen, 0, 0, ROLE_PLAIN, "It would help most to know: %s",
                   judged->rules->observables[verdict->questions[0].observable].ask);
}

void view_verdict(struct screen *screen, const struct judged *judged, bool explain)
{
    enum { BRIEF = 3, WHOLE = 8 };
    if (explain)
        explain_verdict(screen, judged);
    screen_say(screen, 0, 0, ROLE_STRONG, "Most likely inside");
    view_findings(screen, judged, explain ? WHOLE : BRIEF);
    screen_say(screen, 0, 0, ROLE_STRONG, "Most likely why");
    view_causes(screen, judged, explain ? WHOLE : BRIEF);
    if (!explain)
        view_siblings_briefly(screen, judged);
    say_recalled(screen, judged);
    view_unclear(screen, judged);
    screen_blank(screen);
    say_what_to_do(screen, judged, explain);
}

void view_verdict_action(struct screen *screen, const struct judged *judged)
{
    say_recalled(screen, judged);
    view_unclear(screen, judged);
    say_what_to_do(screen, judged, false);
}

void view_verdict_line(struct screen *screen, const struct judged *judged)
{
    const struct ranked *first = &judged->verdict->findings[0];
    text_printf(&screen->out, "%s\t%s\t%.3f\n", action_name(judged->verdict->decision.action),
                judged->rules->findings[first->index].id, first->p);
}

/* ---- JSON ------------------------------------------------------------------------------------ */

/* Six decimals are more than the model knows and keep the output readable. */
static json_t *probability(double p)
{
    return json_real(round(p * 1e6) / 1e6);
}

static json_t *ranked_json(const struct rules *rules, enum word_list list,
                           const struct ranked *ranked, size_t count)
{
    json_t *array = json_array();
    for (size_t i = 0; i < count; i++)
        view_json_row(array, "{s:s, s:o}", "id", list_word(rules, list, ranked[i].index).id, "p",
                      probability(ranked[i].p));
    return array;
}

/* What was passed over in silence is part of the evidence, but nobody said it: apart from the facts. */
static json_t *silent_json(const struct judged *judged)
{
    json_t *array = json_array();
    for (size_t i = 0; i < judged->rules->observable_count; i++) {
        const struct observable *observable = &judged->rules->observables[i];
        for (size_t v = 0; v < observable->value_count; v++)
            if (triage_silent(judged->triage, i) >> v & 1)
                view_json_row(array, "{s:s, s:s}", "sign", observable->id, "value",
                              observable->values[v].id);
    }
    return array;
}

static json_t *unclear_json(const struct judged *judged)
{
    const struct unclear *unclear = NULL;
    size_t count = triage_unclear(judged->triage, &unclear);
    json_t *array = json_array();
    for (size_t i = 0; i < count; i++)
        view_json_row(array, "{s:s, s:s?}", "words", unclear[i].words, "note", unclear[i].note);
    return array;
}

static json_t *clashes_json(const struct judged *judged)
{
    const struct clash *clash = NULL;
    size_t count = triage_clashes(judged->triage, &clash);
    json_t *array = json_array();
    for (size_t i = 0; i < count; i++)
        view_json_row(array, "{s:s, s:[s, s]}", "sign",
                      judged->rules->observables[clash[i].observable].id, "words", clash[i].first,
                      clash[i].second);
    return array;
}

static json_t *evidence_json(const struct judged *judged)
{
    const struct explanation *explanation = &judged->verdict->explanation;
    const struct rules *rules = judged->rules;
    json_t *array = json_array();
    for (size_t i = 0; i < explanation->weight_count; i++) {
        const struct weight_of_evidence *weight = &explanation->weights[i];
        view_json_row(array, "{s:s, s:f, s:s, s:s}", "sign",
                      rules->observables[weight->observable].id, "decibans",
                      hundredths(weight->decibans), "for", rules->findings[explanation->leader].id,
                      "against", rules->findings[explanation->rival].id);
    }
    return array;
}

static json_t *words_json(const struct judged *judged)
{
    const struct word_weight *weights = NULL;
    const size_t count = triage_word_weights(judged->triage, &weights);
    json_t *array = json_array();
    for (size_t i = 0; i < count; i++)
        view_json_row(array, "{s:s, s:b, s:f}", "words", weights[i].words, "denied",
                      weights[i].denied, "odds", hundredths(exp(weights[i].odds)));
    return array;
}

static json_t *computed_json(const struct judged *judged)
{
    json_t *array = json_array();
    for (size_t i = 0; i < judged->verdict->computed_count; i++) {
        const struct computed *item = &judged->verdict->computed[i];
        view_json_row(array, "{s:s, s:s, s:f, s:s?}", "cause",
                      judged->rules->causes[item->cause].id, "say", item->say, "decibans",
                      round(item->log_odds / log(10.0) * 1000.0) / 100.0, "assumed", item->assumed);
    }
    return array;
}

static json_t *siblings_json(const struct judged *judged)
{
    static const char *const patterns[] = {[PATTERN_NO_OTHERS] = "no_others",
                                           [PATTERN_ALONE] = "alone",
                                           [PATTERN_ALIKE] = "alike",
                                           [PATTERN_MORE] = "more",
                                           [PATTERN_LESS] = "less"};
    json_t *array = json_array();
    for (size_t i = 0; i < judged->verdict->sibling_count; i++) {
        const struct sibling_evidence *evidence = &judged->verdict->siblings[i];
        const struct sibling_group *group = evidence->group;
        json_t *causes = json_array(), *aliases = json_array();
        for (size_t k = 0; k < evidence->cause_count; k++)
            view_json_row(causes, "{s:s, s:f}", "id",
                          judged->rules->causes[evidence->causes[k].cause].id, "decibans",
                          evidence->left_out ? 0.0
                                             : hundredths(decibans(evidence->causes[k].log_odds)));
        for (int relation = 0; relation < RELATION_COUNT; relation++) {
            const struct sibling_evidence *other = alias(judged, evidence, relation);
            if (other != NULL)
                json_array_append_new(aliases, json_string(other->name));
        }
        /* A position in the cooker is no scope of a cause, but it is a thing shared. */
        const char *scope = group->relation == RELATION_POSITION
                                ? "position"
                                : scope_name((enum scope)group->relation);
        view_json_row(array, "{s:s, s:s, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:b, s:o, s:o}",
                      "scope", scope, "group", evidence->name, "pattern", patterns[group->kind],
                      "lost", group->own.lost, "total", group->own.total, "rest_lost",
                      group->rest.lost, "rest_total", group->rest.total, "controls_lost",
                      group->controls.lost, "controls", group->controls.total, "decibans",
                      hundredths(decibans(group->log_bayes_factor)), "left_out", evidence->left_out,
                      "causes", causes, "aliased_with", aliases);
    }
    return array;
}

static json_t *turns_json(const struct judged *judged)
{
    json_t *array = json_array();
    for (size_t i = 0; i < judged->verdict->turn_count; i++) {
        const struct turn *turn = &judged->verdict->turns[i];
        const struct observable *observable = &judged->rules->observables[turn->observable];
        /* reason.h: a value past the last means that none of them is seen; null says so. */
        const char *value =
            turn->value < observable->value_count ? observable->values[turn->value].id : NULL;
        view_json_row(array, "{s:s, s:s?, s:s, s:b, s:o}", "sign", observable->id, "value", value,
                      "action", action_name(turn->action), "answered", turn->answered, "p",
                      probability(turn->probability));
    }
    return array;
}

static json_t *question_json(const struct judged *judged, const struct question *question)
{
    const struct observable *observable = &judged->rules->observables[question->observable];
    return json_pack("{s:s, s:s, s:o, s:o, s:o}", "sign", observable->id, "ask", observable->ask,
                     "gain", probability(question->gain), "bits", probability(question->bits),
                     "turns", probability(question->turns));
}

json_t *view_verdict_json(const struct judged *judged)
{
    const struct rules *rules = judged->rules;
    const struct verdict *verdict = judged->verdict;
    const struct decision *decision = &verdict->decision;
    json_t *loss = json_object(), *status = json_object(), *steps = json_array();
    json_t *tests = json_array(), *cautions = json_array();

    for (enum action a = ACTION_KEEP; a < ACTION_COUNT; a++)
        view_json_put(loss, action_name(a), probability(decision->loss[a]));
    for (enum finding_status s = FINDING_CLEAN; s < FINDING_STATUS_COUNT; s++)
        view_json_put(status, status_name(s), probability(verdict->status[s]));
    for (size_t i = 0; i < verdict->step_count; i++)
        json_array_append_new(steps, json_string(verdict->steps[i]));
    for (size_t i = 0; i < verdict->test_count; i++) {
        double days = rules->observables[verdict->tests[i].observable].delay_days;
        json_array_append_new(tests, view_json_put(question_json(judged, &verdict->tests[i]),
                                                   "days", json_real(days)));
    }
    for (size_t i = 0; i < verdict->caution_count; i++) {
        const struct caution *caution = &rules->cautions[verdict->cautions[i]];
        view_json_row(cautions, "{s:s, s:s}", "id", caution->id, "text", caution->text);
    }
    json_t *question = !verdict->settled && verdict->question_count > 0
                           ? question_json(judged, &verdict->questions[0])
                           : json_null();
    json_t *findings = ranked_json(rules, LIST_FINDINGS, verdict->findings, rules->finding_count);
    return json_pack(
        "{s:i, s:s, s:s?, s:s?, s:b, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, "
        "s:o, s:o, s:o, s:o, s:o, s:o, s:{s:s, s:s, s:s}}",
        "schema", 1, "action", action_name(decision->action), "next_step",
        decision->next_step != RULES_NONE ? rules->decision.next_steps[decision->next_step].id
                                          : NULL,
        "forced_by",
        decision->floor != RULES_NONE ? rules->decision.floors[decision->floor].id : NULL,
        "settled", verdict->settled, "loss", loss, "status", status, "findings", findings, "causes",
        ranked_json(rules, LIST_CAUSES, verdict->causes, rules->cause_count), "no_cause",
        probability(verdict->no_cause), "understood", facts_json(judged->triage), "not_spoken_of",
        silent_json(judged), "not_understood", unclear_json(judged), "clashes",
        clashes_json(judged), "evidence", evidence_json(judged), "words", words_json(judged),
        "computed", computed_json(judged), "siblings", siblings_json(judged), "would_change",
        turns_json(judged), "next_question", question, "tests", tests, "steps", steps, "cautions",
        cautions, "rules", "name", rules->name, "version", rules->version, "hash", rules->hash);
}
