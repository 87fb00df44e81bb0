/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the journal adds: what earlier looks saw, and what became of the siblings. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "reason/siblings.h"
#include "voice/verdict.h"
#include "voice/whole_json.h"

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

void voice_recalled(struct screen *screen, const struct told *told)
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
    screen_done(screen, &labels);
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

static const struct sibling_evidence *of_kin(const struct told *told, int kin)
{
    for (size_t i = 0; i < told->verdict->sibling_count; i++)
        if ((int)told->verdict->siblings[i].group->kin == kin)
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
            for (int kin = 0; kin < KIN_COUNT; kin++) {
                const struct sibling_evidence *other = of_kin(told, kin);
                shared = shared || (other != NULL && other != evidence &&
                                    (evidence->group->aliased >> kin & 1) != 0 &&
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
    for (int kin = 0; kin < KIN_COUNT; kin++) {
        const struct sibling_evidence *other = of_kin(told, kin);
        if ((evidence->group->aliased >> kin & 1) == 0 || other == NULL || other == evidence)
            continue;
        if (kin < (int)evidence->group->kin)
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
    screen_done(screen, &words);
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
    screen_done(screen, &words);
}

void voice_siblings(struct screen *screen, const struct told *told)
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

void voice_siblings_briefly(struct screen *screen, const struct told *told)
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
    for (int kin = 0; kin < KIN_COUNT && array != NULL; kin++) {
        const struct sibling_evidence *other = of_kin(told, kin);
        if ((group->aliased >> kin & 1) == 0 || other == NULL || other->group == group)
            continue;
        array = voice_json_append(array, json_string(other->name));
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
        array = voice_json_append(array, row);
    }
    return array;
}

/* A position in the cooker is no scope of a cause, but it is a thing shared. */
static const char *shared_name(enum kin kin)
{
    return kin == KIN_POSITION ? "position" : scope_name((enum scope)kin);
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
                     shared_name(group->kin), "group", evidence->name, "pattern",
                     patterns[group->kind], "lost", group->own.lost, "total", group->own.total,
                     "rest_lost", group->rest.lost, "rest_total", group->rest.total,
                     "controls_lost", group->controls.lost, "controls", group->controls.total,
                     "decibans", round(100.0 * decibans(group->log_bayes_factor)) / 100.0,
                     "left_out", evidence->left_out, "causes", moved_json(told, evidence),
                     "aliased_with", aliases_json(told, group));
}

json_t *voice_siblings_json(const struct told *told)
{
    json_t *array = json_array();
    for (size_t i = 0; i < told->verdict->sibling_count && array != NULL; i++)
        array = voice_json_append(array, group_json(told, &told->verdict->siblings[i]));
    return array;
}
