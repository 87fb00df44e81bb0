/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/verdict.h"

#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "journal/record.h"
#include "reason/siblings.h"
#include "triage/triage.h"
#include "view/screen.h"

enum { LABEL_COLUMNS = 26 };

static double decibans(double log_odds)
{
    return 10.0 * log_odds / log(10.0);
}

static double hundredths(double number)
{
    return round(number * 100.0) / 100.0;
}

static bool is_even(double log_odds)
{
    return fabs(log_odds) < log(1.1);
}

/* "8 times as likely", "1.5 times less likely": what a natural logarithm of odds says. Into `room`. */
enum { ODDS_ROOM = 32 };
static const char *put_odds(double log_odds, char room[ODDS_ROOM])
{
    double times = exp(fabs(log_odds));
    const char *than = log_odds > 0.0 ? "times as likely" : "times less likely";
    if (is_even(log_odds))
        snprintf(room, ODDS_ROOM, "as likely as before");
    else if (times > 1000.0)
        snprintf(room, ODDS_ROOM, "over 1000 %s", than);
    else
        snprintf(room, ODDS_ROOM, times < 10.0 ? "%.2g %s" : "%.0f %s", times, than);
    return room;
}

/* ---- what was said, as it was understood ------------------------------------------------------- */

/* Appends the labels of the values in `mask`, at most so many, with "perhaps" before doubted ones. */
static void put_labels(struct text *out, const struct observable *observable, uint32_t mask,
                       uint32_t hedged, const char *joint, unsigned most)
{
    const char *before = "";
    for (size_t v = 0; v < observable->value_count; v++) {
        if (!(mask >> v & 1))
            continue;
        mask &= ~(UINT32_C(1) << v);
        text_printf(out, "%s%s%s", before, hedged >> v & 1 ? "perhaps " : "",
                    observable->values[v].label);
        before = joint;
        const int left = __builtin_popcount(mask);
        if (--most > 0 || left < 2) /* "and 1 more" is no shorter */
            continue;
        text_printf(out, ", and %d more", left);
        return;
    }
}

/* Appends the values of a fact: "green, white; nothing else", "dry or normal", "not wet". */
static void put_values(struct text *out, const struct observable *observable,
                       const struct fact *fact)
{
    enum { DENIED_MOST = 3 };
    const struct observation *seen = &fact->observation;
    bool several = observable->kind == KIND_SEVERAL;
    put_labels(out, observable, seen->seen, seen->hedged, several ? ", " : " or ", UINT_MAX);
    if (seen->absent == 0)
        return;
    bool all = several && (seen->seen | seen->absent) == rules_all_values(observable);
    if (all && (seen->hedged & seen->absent) == 0) {
        text_puts(out, seen->seen != 0 ? "; nothing else" : "none of them");
        return;
    }
    text_puts(out, seen->seen != 0 ? "; not " : "not ");
    put_labels(out, observable, seen->absent, seen->hedged, ", ", DENIED_MOST);
}

/* A fact's values and the words they came from. */
static void put_fact(struct text *out, const struct judged *judged, const struct fact *fact)
{
    /* What records know stands without quotes, for nobody said it now. */
    bool said = fact->origin != ORIGIN_JOURNAL && fact->origin != ORIGIN_COMPUTED;
    const size_t before = out->length;
    put_values(out, &judged->rules->observables[fact->observable], fact);
    if (fact->words != NULL && fact->words[0] != '\0' &&
        strcasecmp(fact->words, out->bytes + before) != 0)
        text_printf(out, said ? " ('%s')" : " (%s)", fact->words);
    if (fact->recalled != 0 && said)
        text_printf(out, " (%s)", fact->recalled_words);
}

static void say_fact(struct screen *screen, const struct judged *judged, const struct fact *fact)
{
    struct text words;
    text_init(&words);
    put_fact(&words, judged, fact);
    screen_row(screen, 2, LABEL_COLUMNS, judged->rules->observables[fact->observable].label,
               words.bytes);
    text_release(&words);
}

/* All that is known; then what nobody mentioned, as what it is: assumed. */
void view_understood(struct screen *screen, const struct judged *judged, bool whole)
{
    enum { NAMED_MOST = 3 };
    const struct fact *facts = NULL;
    size_t count = triage_facts(judged->triage, &facts), silent = 0;
    struct text names;
    if (count == 0)
        screen_say(screen, 2, 0, ROLE_PLAIN, "Nothing yet.");
    for (size_t i = 0; i < count; i++)
        say_fact(screen, judged, &facts[i]);
    text_init(&names);
    for (size_t i = 0; i < judged->rules->observable_count; i++)
        for (uint32_t left = triage_silent(judged->triage, i); left != 0; left &= left - 1)
            if (silent++ < NAMED_MOST || whole) {
                text_puts(&names, names.length > 0 ? ", " : "");
                put_labels(&names, &judged->rules->observables[i], left & -left, 0, "", 1);
            }
    if (silent > NAMED_MOST && !whole)
        text_printf(&names, " and %zu more ('details' names them)", silent - NAMED_MOST);
    if (silent > 0)
        screen_say(screen, 2, 2, ROLE_QUIET, "Not mentioned, so taken as absent: %s.", names.bytes);
    text_release(&names);
}

void view_understood_since(struct screen *screen, const struct judged *judged,
                           const struct observation *before)
{
    const struct fact *facts = NULL, *first = NULL;
    size_t count = triage_facts(judged->triage, &facts), changed = 0;
    for (size_t i = 0; i < count; i++) {
        const struct observation *was = &before[facts[i].observable];
        const struct observation *is = &facts[i].observation;
        if ((was->seen == is->seen && was->absent == is->absent && was->hedged == is->hedged) ||
            facts[i].origin == ORIGIN_JOURNAL)
            continue;
        if (changed++ == 0) {
            first = &facts[i];
            continue;
        }
        if (changed == 2) {
            screen_say(screen, 0, 0, ROLE_QUIET, "Understood:");
            say_fact(screen, judged, first);
        }
        say_fact(screen, judged, &facts[i]);
    }
    if (changed != 1)
        return;
    struct text words; /* a single one on one line */
    text_init(&words);
    text_printf(&words, "Understood: %s: ", judged->rules->observables[first->observable].label);
    put_fact(&words, judged, first);
    screen_text(screen, 0, 2, ROLE_QUIET, &words);
}

/* Words nothing is known of share a line; those with a note have one of their own. */
void view_unread_since(struct screen *screen, const struct judged *judged, size_t nth)
{
    const struct unclear *unclear = NULL;
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
}

void view_unclear(struct screen *screen, const struct judged *judged)
{
    const struct clash *clashes = NULL;
    size_t count = triage_clashes(judged->triage, &clashes);
    view_unread_since(screen, judged, 0);
    for (size_t i = 0; i < count; i++)
        screen_say(screen, 0, 2, ROLE_ISOLATE,
                   "These contradict each other: '%s' and '%s' (%s). Both are left open.",
                   clashes[i].first, clashes[i].second,
                   judged->rules->observables[clashes[i].observable].label);
}

/* ---- what the journal adds: what earlier looks saw, what became of the siblings ---------------- */

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
        uint32_t before =
            facts[i].origin == ORIGIN_JOURNAL ? facts[i].observation.seen : facts[i].recalled;
        uint32_t salient = 0;
        for (size_t v = 0; v < observable->value_count; v++)
            salient |= (uint32_t)observable->values[v].salient << v;
        uint32_t seen = before & salient & facts[i].observation.seen;
        if (seen == 0)
            continue;
        if (words == NULL)
            words = "";
        if (strcmp(when, words) != 0)
            say_seen_before(screen, &labels, when);
        when = words;
        text_puts(&labels, labels.length > 0 ? ", " : "");
        put_labels(&labels, observable, seen, 0, ", ", UINT_MAX);
    }
    say_seen_before(screen, &labels, when);
    text_release(&labels);
}

/* The counts, then " Not cooked long or hot enough: 4 times as likely, ..." of at most so many causes. */
static void say_group(struct screen *screen, const struct judged *judged,
                      const struct sibling_evidence *evidence, size_t most)
{
    struct text words;
    char odds[ODDS_ROOM];
    size_t said = 0;
    text_init(&words);
    const struct sibling_group *group = evidence->group;
    /* Vessels that are still young count for a part: then the figure is a rounded one. */
    bool rounded = fabs(group->rest.total - round(group->rest.total)) > 0.05;
    if (group->own.total == 1.0)
        text_printf(&words, "the one other from %s was %slost", evidence->name,
                    group->own.lost > 0.0 ? "" : "not ");
    else if (group->own.total > 0.0)
        text_printf(&words, "%.3g of %.3g others from %s were lost", group->own.lost,
                    group->own.total, evidence->name);
    else
        text_printf(&words, "no other from %s has an outcome yet", evidence->name);
    if (group->rest.total > 0.0)
        text_printf(&words, ", %s%.0f of %.0f from elsewhere", rounded ? "about " : "",
                    group->rest.lost, group->rest.total);
    else if (group->own.total > 0.0)
        text_puts(&words, "; there is nothing to compare with");
    if (group->controls.total > 0.0)
        text_printf(&words, "; of its %.3g uninoculated control%s %.3g spoiled",
                    group->controls.total, group->controls.total > 1.0 ? "s" : "",
                    group->controls.lost);
    text_puts(&words, ".");
    for (size_t i = 0; i < evidence->cause_count && said < most && !evidence->left_out; i++)
        if (!is_even(evidence->causes[i].log_odds))
            text_printf(&words, "%s%s: %s", said++ > 0 ? ", " : " ",
                        judged->rules->causes[evidence->causes[i].cause].name,
                        put_odds(evidence->causes[i].log_odds, odds));
    text_puts(&words, evidence->left_out
                          ? " You said yourself how they are: that counts, and not the journal."
                      : said > 0 ? "."
                                 : " That makes no cause more or less likely.");
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
            screen_say(screen, 4, 2, ROLE_QUIET, "A test that can (%s): %s", test->label,
                       test->look != NULL ? test->look : test->ask);
    }
    text_release(&words);
}

static bool speaks(const struct sibling_evidence *evidence)
{
    return evidence->group->own.total > 0.0 || evidence->group->controls.total > 0.0;
}

/* Log odds by which it raises the cause that it raises most; where its others fared better than the
 * rest, by which it lowers one. */
static double moves(const struct sibling_evidence *evidence)
{
    const struct sibling_group *group = evidence->group;
    bool better = group->kind == PATTERN_LESS || group->own.lost <= 0.0;
    return better ? fmax(group->highest, -group->lowest) : group->highest;
}

static void say_siblings_briefly(struct screen *screen, const struct judged *judged)
{
    const double striking = log(2.0);
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

/* The grower's own question, if any, answered; the action; and why in a sentence: the rule that decided
 * whatever the odds, or the likeliest finding. */
static void say_action(struct screen *screen, const struct judged *judged)
{
    static const enum role roles[ACTION_COUNT] = {[ACTION_KEEP] = ROLE_KEEP,
                                                  [ACTION_ISOLATE] = ROLE_ISOLATE,
                                                  [ACTION_DISCARD] = ROLE_DISCARD};
    const struct decision_rules *rules = &judged->rules->decision;
    const struct decision *decision = &judged->verdict->decision;
    const struct ranked *first = &judged->verdict->findings[0];
    const struct finding *leader = &judged->rules->findings[first->index];
    enum action action = decision->action, cheapest = ACTION_KEEP;
    char percent[PERCENT_ROOM], chance[PERCENT_ROOM];
    struct text words;

    for (enum action a = ACTION_KEEP; a < ACTION_COUNT; a++)
        if (decision->loss[a] < decision->loss[cheapest])
            cheapest = a;
    view_reply(screen, judged);
    text_init(&words);
    text_printf(&words, "%s: ", rules->action_label[action]);
    if (decision->floor != RULES_NONE) {
        if (cheapest != action)
            text_printf(&words, "decided by a safety rule, not by the likeliest content (%s). ",
                        leader->name);
        text_puts(&words, rules->floors[decision->floor].say);
    } else {
        text_printf(&words, "most likely %s (%s)", leader->name, view_percent(first->p, percent));
        if (leader->status != FINDING_CONTAMINATED)
            text_printf(&words, "%s the chance of contamination is %s",
                        action == ACTION_KEEP ? ";" : ", but",
                        view_percent(judged->verdict->status[FINDING_CONTAMINATED], chance));
        text_puts(&words, ".");
        if (action == ACTION_KEEP && decision->next_step != RULES_NONE)
            text_printf(&words, " %s", rules->next_steps[decision->next_step].say);
    }
    screen_text(screen, 0, 0, roles[action], &words);
}

void view_reply(struct screen *screen, const struct judged *judged)
{
    if (judged->verdict->reply != NULL)
        screen_say(screen, 0, 0, ROLE_STRONG, "Your question ('%s'): %s", judged->verdict->asked,
                   judged->verdict->reply->say);
}

/* Says at most so many of the cautions for health, or of the later ones; how many were left out. */
static size_t say_cautions(struct screen *screen, const struct judged *judged, bool first,
                           size_t most)
{
    size_t count = 0;
    for (size_t i = 0; i < judged->verdict->caution_count; i++) {
        const struct caution *caution = &judged->rules->cautions[judged->verdict->cautions[i]];
        if ((caution->rank < CAUTION_FIRST_RANK) == first && count++ < most)
            screen_item(screen, 0, "!", ROLE_WARN, caution->text);
    }
    return count > most ? count - most : 0;
}

/* ---- what and why ---------------------------------------------------------------------------- */

static const double WORTH_A_WORD = 0.01; /* findings and causes less likely than this go unsaid */
static const double LIKELY = 0.15;       /* causes of which what to change is said */

/* The likeliest of a ranking, a line each, at most so many. */
static void say_ranked(struct screen *screen, const struct judged *judged, enum word_list list,
                       size_t most)
{
    enum { NAME_COLUMNS = 34 };
    bool causes = list == LIST_CAUSES;
    const struct ranked *ranked = causes ? judged->verdict->causes : judged->verdict->findings;
    size_t count = causes ? judged->rules->cause_count : judged->rules->finding_count;
    char percent[PERCENT_ROOM];
    for (size_t i = 0; i < count && i < most; i++)
        if (ranked[i].p >= WORTH_A_WORD || (i == 0 && !causes))
            screen_row(screen, 2, NAME_COLUMNS,
                       list_word(judged->rules, list, ranked[i].index).name,
                       view_percent(ranked[i].p, percent));
    if (causes && judged->verdict->no_cause >= WORTH_A_WORD)
        screen_row(screen, 2, NAME_COLUMNS, "none of these",
                   view_percent(judged->verdict->no_cause, percent));
    if (causes)
        screen_say(screen, 2, 0, ROLE_QUIET,
                   "Several may have come together, so these can add up to more than 100 %%.");
}

/* "LEAD: A 60 %, B 20 %." of the first few of a ranking; nothing of an empty one. */
static void put_leaders(struct text *out, const struct judged *judged, const char *lead,
                        enum word_list list, size_t most)
{
    bool causes = list == LIST_CAUSES;
    const struct ranked *ranked = causes ? judged->verdict->causes : judged->verdict->findings;
    size_t count = causes ? judged->rules->cause_count : judged->rules->finding_count;
    char percent[PERCENT_ROOM];
    for (size_t i = 0; i < count && i < most && (i == 0 || ranked[i].p >= WORTH_A_WORD); i++) {
        text_printf(out, i == 0 ? "%s: " : "; ", lead);
        text_printf(out, "%s %s", list_word(judged->rules, list, ranked[i].index).name,
                    view_percent(ranked[i].p, percent));
    }
    text_puts(out, count > 0 ? "." : "");
}

/* The steps, numbered, as long as the screen's lines stay within `room`; how many were left out. */
static size_t say_steps(struct screen *screen, const struct judged *judged, size_t room)
{
    size_t i = 0;
    if (judged->verdict->step_count > 0)
        screen_say(screen, 0, 0, ROLE_STRONG, "What to do");
    for (; i < judged->verdict->step_count; i++) {
        char lead[24];
        size_t before = screen->out.length;
        snprintf(lead, sizeof lead, "%zu.", i + 1);
        screen_item(screen, 2, lead, ROLE_PLAIN, judged->verdict->steps[i]);
        if (i == 0 || screen_lines(screen) <= room)
            continue;
        text_cut(&screen->out, before);
        break;
    }
    return judged->verdict->step_count - i;
}

static void say_changes(struct screen *screen, const struct judged *judged)
{
    const struct ranked *ranked = judged->verdict->causes;
    for (size_t i = 0; i < judged->rules->cause_count && ranked[i].p >= LIKELY; i++) {
        const struct cause *cause = &judged->rules->causes[ranked[i].index];
        if (i == 0)
            screen_heading(screen, "What to change next time");
        screen_say(screen, 2, 2, ROLE_PLAIN, "%s:", cause->name);
        for (size_t k = 0; k < cause->change_count; k++)
            screen_item(screen, 4, "-", ROLE_PLAIN, cause->change[k]);
    }
}

static void say_evidence(struct screen *screen, const struct judged *judged)
{
    const struct explanation *explanation = &judged->verdict->explanation;
    const struct fact *facts = NULL;
    size_t count = triage_facts(judged->triage, &facts);
    struct text even; /* what does not tell the two apart */
    text_init(&even);
    screen_say(screen, 2, 0, ROLE_QUIET, "how much likelier each sign makes %s than %s",
               judged->rules->findings[explanation->leader].name,
               judged->rules->findings[explanation->rival].name);
    for (size_t i = 0; i < explanation->weight_count; i++) {
        const struct weight_of_evidence *weight = &explanation->weights[i];
        const struct observable *observable = &judged->rules->observables[weight->observable];
        double log_odds = weight->decibans * log(10.0) / 10.0;
        size_t at = 0;
        struct text rest;
        char odds[ODDS_ROOM];
        if (is_even(log_odds)) {
            text_printf(&even, "%s%s",
                        even.length > 0 ? ", " : "no difference: ", observable->label);
            continue;
        }
        while (at < count && facts[at].observable != weight->observable)
            at++;
        text_init(&rest);
        text_printf(&rest, "%s: ", observable->label);
        if (at < count)
            put_values(&rest, observable, &facts[at]);
        if (triage_silent(judged->triage, weight->observable) != 0)
            text_puts(&rest, at < count ? "; no other mentioned" : "none mentioned");
        screen_row(screen, 2, LABEL_COLUMNS, put_odds(log_odds, odds), rest.bytes);
        text_release(&rest);
    }
    screen_text(screen, 2, 2, ROLE_QUIET, &even);
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

static void say_turns(struct screen *screen, const struct judged *judged)
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

static void say_computed(struct screen *screen, const struct judged *judged)
{
    if (judged->verdict->computed_count > 0)
        screen_heading(screen, "What the figures say");
    for (size_t i = 0; i < judged->verdict->computed_count; i++) {
        const struct computed *computed = &judged->verdict->computed[i];
        char odds[ODDS_ROOM];
        if (is_even(computed->log_odds))
            screen_say(screen, 2, 2, ROLE_PLAIN, "%s", computed->say);
        else
            screen_say(screen, 2, 2, ROLE_PLAIN, "%s (%s: %s)", computed->say,
                       judged->rules->causes[computed->cause].name,
                       put_odds(computed->log_odds, odds));
        if (computed->assumed != NULL)
            screen_say(screen, 4, 2, ROLE_QUIET, "assumed: %s", computed->assumed);
    }
}

static void say_tests(struct screen *screen, const struct judged *judged, size_t most)
{
    if (judged->verdict->test_count > 0)
        screen_heading(screen, "Tests that would tell the causes apart");
    for (size_t i = 0; i < judged->verdict->test_count && i < most; i++) {
        const struct observable *test =
            &judged->rules->observables[judged->verdict->tests[i].observable];
        const char *how = test->look != NULL ? test->look : test->ask;
        double days = test->delay_days;
        char *words = days <= 0 ? text_format("%s: %s (at once)", test->label, how)
                                : text_format("%s: %s (result after %.0f day%s)", test->label, how,
                                              days, days > 1 ? "s" : "");
        screen_item(screen, 2, "-", ROLE_PLAIN, words);
        free(words);
    }
}

/* ---- together -------------------------------------------------------------------------------- */

void view_standing(struct screen *screen, const struct judged *judged, bool causes)
{
    struct text words;
    text_init(&words);
    put_leaders(&words, judged, "So far", causes ? LIST_CAUSES : LIST_FINDINGS, 2);
    if (!causes)
        text_printf(&words, " Action: %s, %s.",
                    judged->rules->decision.action_label[judged->verdict->decision.action],
                    judged->verdict->settled ? "settled" : "not settled yet");
    screen_text(screen, 0, 0, ROLE_QUIET, &words);
}

void view_causes(struct screen *screen, const struct judged *judged)
{
    screen_heading(screen, "Most likely why");
    say_ranked(screen, judged, LIST_CAUSES, 4);
    say_computed(screen, judged);
    say_tests(screen, judged, 2);
    say_changes(screen, judged);
}

/* All that led to the verdict. */
static void say_reasons(struct screen *screen, const struct judged *judged)
{
    const struct verdict *verdict = judged->verdict;
    screen_heading(screen, "What you said");
    view_understood(screen, judged, true);
    screen_heading(screen, "Which signs count most");
    say_evidence(screen, judged);
    const struct word_weight *weights = NULL;
    size_t count = triage_word_weights(judged->triage, &weights);
    char odds[ODDS_ROOM];
    bool headed = false;
    for (size_t k = 0; k < count; k++) {
        if (is_even(weights[k].odds))
            continue;
        if (!headed)
            screen_heading(screen, "Words that count by themselves");
        headed = true;
        screen_say(screen, 2, 4, ROLE_PLAIN, "'%s'%s: contamination %s", weights[k].words,
                   weights[k].denied ? " (denied)" : "", put_odds(weights[k].odds, odds));
    }
    say_computed(screen, judged);
    if (verdict->sibling_count > 0) {
        enum { MOST_CAUSES = 3 };
        screen_heading(screen, "What the other vessels say");
        for (size_t i = 0; i < verdict->sibling_count; i++)
            if (speaks(&verdict->siblings[i])) {
                say_group(screen, judged, &verdict->siblings[i], MOST_CAUSES);
                say_aliases(screen, judged, &verdict->siblings[i]);
            }
    }
    screen_heading(screen, "What would change the action");
    say_turns(screen, judged);
    say_changes(screen, judged);
    say_tests(screen, judged, 3);
}

/* The cautions for health stand before any handling step. */
void view_verdict(struct screen *screen, const struct judged *judged, enum verdict_form form)
{
    enum { BRIEF = 3, WHOLE = 8, BRIEF_LINES = 19 };
    const struct verdict *verdict = judged->verdict;
    const bool whole = form == VERDICT_WHOLE, sound = verdict->no_cause >= 0.5;
    const size_t narrow = screen->width < SCREEN_DEFAULT ? screen->width : SCREEN_DEFAULT;
    const size_t lines = verdict->settled ? BRIEF_LINES : BRIEF_LINES - 2; /* for what would help */
    const size_t room = screen_lines(screen) + lines * SCREEN_DEFAULT / narrow;
    struct text words;

    say_action(screen, judged);
    if (whole) {
        screen_heading(screen, "Most likely inside");
        say_ranked(screen, judged, LIST_FINDINGS, WHOLE);
        screen_say(screen, 0, 0, ROLE_STRONG, "Most likely why");
        say_ranked(screen, judged, LIST_CAUSES, WHOLE);
        screen_blank(screen);
    } else {
        text_init(&words);
        put_leaders(&words, judged, "Most likely inside", LIST_FINDINGS, BRIEF);
        screen_text(screen, 0, 2, ROLE_PLAIN, &words);
        text_init(&words);
        if (!sound)
            put_leaders(&words, judged, "Most likely why", LIST_CAUSES, BRIEF);
        screen_text(screen, 0, 2, ROLE_PLAIN, &words);
        say_siblings_briefly(screen, judged);
    }
    say_recalled(screen, judged);
    if (form != VERDICT_TALK)
        view_unclear(screen, judged);
    size_t cautions = say_cautions(screen, judged, true, whole ? SIZE_MAX : BRIEF);
    size_t steps = say_steps(screen, judged, whole ? SIZE_MAX : room);
    cautions += say_cautions(screen, judged, false, whole ? SIZE_MAX : 0);
    text_init(&words);
    if (steps > 0)
        text_printf(&words, "%zu more step%s", steps, steps > 1 ? "s" : "");
    if (cautions > 0)
        text_printf(&words, "%s%zu more caution%s", words.length > 0 ? " and " : "", cautions,
                    cautions > 1 ? "s" : "");
    if (words.length > 0)
        text_puts(&words, form == VERDICT_TALK ? ": 'details'."
                                               : ": see SAFETY.md, or jarside judge --explain.");
    if (words.length > 0)
        screen_item(screen, 0, "!", ROLE_WARN, words.bytes);
    text_release(&words);
    if (!verdict->settled && verdict->question_count > 0)
        screen_say(screen, 0, 2, ROLE_PLAIN, "It would help most to know: %s",
                   judged->rules->observables[verdict->questions[0].observable].ask);
    if (whole)
        say_reasons(screen, judged);
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

/* What was said, what was not, and what it weighed. */
static void put_evidence_json(json_t *root, const struct judged *judged)
{
    const struct rules *rules = judged->rules;
    const struct verdict *verdict = judged->verdict;
    const struct explanation *explanation = &verdict->explanation;
    const struct unclear *unclear = NULL;
    const struct clash *clash = NULL;
    size_t unclear_count = triage_unclear(judged->triage, &unclear);
    size_t clash_count = triage_clashes(judged->triage, &clash);
    json_t *silent = json_array(), *not_understood = json_array(), *clashes = json_array();
    json_t *evidence = json_array(), *computed = json_array(), *words = json_array();
    const struct word_weight *weights = NULL;
    size_t weight_count = triage_word_weights(judged->triage, &weights);

    /* Nobody mentioned these: part of the evidence, but apart from the facts. */
    for (size_t i = 0; i < rules->observable_count; i++)
        for (size_t v = 0; v < rules->observables[i].value_count; v++)
            if (triage_silent(judged->triage, i) >> v & 1)
                view_json_row(silent, "{s:s, s:s}", "sign", rules->observables[i].id, "value",
                              rules->observables[i].values[v].id);
    for (size_t i = 0; i < unclear_count; i++)
        view_json_row(not_understood, "{s:s, s:s?}", "words", unclear[i].words, "note",
                      unclear[i].note);
    for (size_t i = 0; i < clash_count; i++)
        view_json_row(clashes, "{s:s, s:[s, s]}", "sign",
                      rules->observables[clash[i].observable].id, "words", clash[i].first,
                      clash[i].second);
    for (size_t i = 0; i < explanation->weight_count; i++)
        view_json_row(evidence, "{s:s, s:f, s:s, s:s}", "sign",
                      rules->observables[explanation->weights[i].observable].id, "decibans",
                      hundredths(explanation->weights[i].decibans), "for",
                      rules->findings[explanation->leader].id, "against",
                      rules->findings[explanation->rival].id);
    for (size_t i = 0; i < weight_count; i++)
        view_json_row(words, "{s:s, s:b, s:f}", "words", weights[i].words, "denied",
                      weights[i].denied, "odds", hundredths(exp(weights[i].odds)));
    for (size_t i = 0; i < verdict->computed_count; i++) {
        const struct computed *item = &verdict->computed[i];
        view_json_row(computed, "{s:s, s:s, s:f, s:s?}", "cause", rules->causes[item->cause].id,
                      "say", item->say, "decibans", hundredths(decibans(item->log_odds)), "assumed",
                      item->assumed);
    }
    view_json_put(root, "understood", facts_json(judged->triage));
    view_json_put(root, "not_spoken_of", silent);
    view_json_put(root, "not_understood", not_understood);
    view_json_put(root, "clashes", clashes);
    view_json_put(root, "evidence", evidence);
    view_json_put(root, "words", words);
    view_json_put(root, "computed", computed);
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
    json_t *asked = verdict->reply == NULL ? json_null()
                                           : json_pack("{s:s, s:s}", "words", verdict->asked,
                                                       "answer", verdict->reply->say);
    json_t *root = json_pack(
        "{s:i, s:o, s:s, s:s?, s:s?, s:b, s:o, s:o, s:o, s:o, s:o}", "schema", 1, "asked", asked,
        "action", action_name(decision->action), "next_step",
        decision->next_step != RULES_NONE ? rules->decision.next_steps[decision->next_step].id
                                          : NULL,
        "forced_by",
        decision->floor != RULES_NONE ? rules->decision.floors[decision->floor].id : NULL,
        "settled", verdict->settled, "loss", loss, "status", status, "findings",
        ranked_json(rules, LIST_FINDINGS, verdict->findings, rules->finding_count), "causes",
        ranked_json(rules, LIST_CAUSES, verdict->causes, rules->cause_count), "no_cause",
        probability(verdict->no_cause));
    put_evidence_json(root, judged);
    json_object_update_missing_new(
        root, json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:{s:s, s:s, s:s}}", "siblings",
                        siblings_json(judged), "would_change", turns_json(judged), "next_question",
                        question, "tests", tests, "steps", steps, "cautions", cautions, "rules",
                        "name", rules->name, "version", rules->version, "hash", rules->hash));
    return root;
}
