/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "voice/verdict_internal.h"

static const double WORTH_A_WORD = 0.01; /* findings and causes less likely than this go unsaid */
static const double LIKELY_CAUSE = 0.15; /* a cause this likely gets its advice for next time */

static const enum role action_role[ACTION_COUNT] = {
    [ACTION_KEEP] = ROLE_KEEP,
    [ACTION_ISOLATE] = ROLE_ISOLATE,
    [ACTION_DISCARD] = ROLE_DISCARD,
};

const char *voice_spoken(const struct rules *rules, double p)
{
    for (size_t i = 0; i < rules->scale.spoken_count; i++)
        if (p >= rules->scale.spoken[i].number)
            return rules->scale.spoken[i].word;
    return "";
}

const char *voice_percent(double p, char room[PERCENT_ROOM])
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

void voice_action(struct screen *screen, const struct told *told)
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
    screen_done(screen, &words);
}

static void cautions(struct screen *screen, const struct told *told, bool first)
{
    for (size_t i = 0; i < told->verdict->caution_count; i++) {
        const struct caution *caution = &told->rules->cautions[told->verdict->cautions[i]];
        if ((caution->rank < CAUTION_FIRST_RANK) == first)
            screen_item(screen, 0, "!", ROLE_WARN, caution->text);
    }
}

void voice_cautions_first(struct screen *screen, const struct told *told)
{
    cautions(screen, told, true);
}

void voice_cautions_later(struct screen *screen, const struct told *told)
{
    cautions(screen, told, false);
}

/* ---- what and why ---------------------------------------------------------------------------- */

static void ranked_row(struct screen *screen, const struct told *told, const char *name, double p)
{
    enum { NAME_COLUMNS = 34 };
    char percent[PERCENT_ROOM], rest[96];
    snprintf(rest, sizeof rest, "%s, %s", voice_percent(p, percent), voice_spoken(told->rules, p));
    screen_row(screen, 2, NAME_COLUMNS, name, rest);
}

void voice_findings(struct screen *screen, const struct told *told, size_t most)
{
    const struct ranked *ranked = told->verdict->findings;
    for (size_t i = 0; i < told->rules->finding_count && i < most; i++)
        if (i == 0 || ranked[i].p >= WORTH_A_WORD)
            ranked_row(screen, told, told->rules->findings[ranked[i].index].name, ranked[i].p);
}

void voice_causes(struct screen *screen, const struct told *told, size_t most)
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

void voice_steps(struct screen *screen, const struct told *told)
{
    numbered(screen, told->verdict->steps, told->verdict->step_count);
}

void voice_changes(struct screen *screen, const struct told *told)
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

void voice_evidence(struct screen *screen, const struct told *told)
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
        screen_done(screen, &rest);
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
                    voice_percent(verdict->turns[i].probability, percent));
        joint = ", ";
    }
    text_printf(&words, " - %s", told->rules->decision.action_label[turn->action]);
    screen_item(screen, 2, "-", ROLE_PLAIN, words.bytes != NULL ? words.bytes : "");
    screen_done(screen, &words);
}

void voice_turns(struct screen *screen, const struct told *told)
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

void voice_computed(struct screen *screen, const struct told *told)
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

void voice_tests(struct screen *screen, const struct told *told, size_t most)
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
        screen_done(screen, &words);
    }
}

/* ---- together -------------------------------------------------------------------------------- */

/* "So far: A 60 %, B 20 %." of the first two of a ranking. */
static void put_leaders(struct text *out, const char *first, double first_p, const char *second,
                        double second_p)
{
    char percent[PERCENT_ROOM];
    text_printf(out, "So far: %s %s", first, voice_percent(first_p, percent));
    if (second != NULL && second_p >= WORTH_A_WORD)
        text_printf(out, ", %s %s", second, voice_percent(second_p, percent));
    text_puts(out, ".");
}

void voice_standing(struct screen *screen, const struct told *told)
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
    screen_done(screen, &words);
}

void voice_standing_causes(struct screen *screen, const struct told *told)
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
    screen_done(screen, &words);
}

static void explained(struct screen *screen, const struct told *told)
{
    screen_say(screen, 0, 0, ROLE_STRONG, "What you told");
    voice_understood(screen, told);
    screen_heading(screen, "What weighs how much");
    voice_evidence(screen, told);
    if (told->verdict->computed_count > 0) {
        screen_heading(screen, "What the figures say");
        voice_computed(screen, told);
    }
    if (told->verdict->sibling_count > 0) {
        screen_heading(screen, "What the others say");
        voice_siblings(screen, told);
    }
    screen_heading(screen, "What would turn the action");
    voice_turns(screen, told);
    screen_heading(screen, "What to change next time");
    voice_changes(screen, told);
    if (told->verdict->test_count > 0) {
        screen_heading(screen, "Tests that would tell the causes apart");
        voice_tests(screen, told, 3);
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
        voice_cautions_later(screen, told);
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
    voice_action(screen, told);
    voice_cautions_first(screen, told);
    screen_say(screen, 0, 0, ROLE_STRONG, "What to do");
    voice_steps(screen, told);
    later_cautions(screen, told, explain);
    next_question(screen, told);
}

void voice_verdict(struct screen *screen, const struct told *told, bool explain)
{
    enum { BRIEF = 3, WHOLE = 8 };
    if (explain)
        explained(screen, told);
    screen_say(screen, 0, 0, ROLE_STRONG, "Most likely inside");
    voice_findings(screen, told, explain ? WHOLE : BRIEF);
    screen_say(screen, 0, 0, ROLE_STRONG, "Most likely why");
    voice_causes(screen, told, explain ? WHOLE : BRIEF);
    if (!explain)
        voice_siblings_briefly(screen, told);
    voice_recalled(screen, told);
    voice_unclear(screen, told);
    screen_blank(screen);
    act_on(screen, told, explain);
}

void voice_verdict_action(struct screen *screen, const struct told *told)
{
    voice_recalled(screen, told);
    voice_unclear(screen, told);
    act_on(screen, told, false);
}

void voice_verdict_line(struct screen *screen, const struct told *told)
{
    const struct ranked *first = &told->verdict->findings[0];
    text_printf(&screen->out, "%s\t%s\t%.3f\n", action_name(told->verdict->decision.action),
                told->rules->findings[first->index].id, first->p);
}
