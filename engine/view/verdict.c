/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/verdict.h"

#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

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
    return round(number * 100.0) / 100.0 + 0.0; /* no -0 */
}

static bool is_even(double log_odds)
{
    return fabs(log_odds) < log(1.1);
}

/* "8 times as likely", "1.5 times less likely": what log odds say; null for even ones. */
static json_t *odds(double log_odds)
{
    double times = exp(fabs(log_odds));
    const char *than = log_odds > 0.0 ? "times as likely" : "times less likely";
    return is_even(log_odds) ? json_null()
           : times > 1000.0  ? json_sprintf("over 1000 %s", than)
                             : json_sprintf(times < 10.0 ? "%.2g %s" : "%.0f %s", times, than);
}

/* Six decimals are more than the model knows and keep the output readable. */
static json_t *probability(double p)
{
    return json_real(round(p * 1e6) / 1e6);
}

/* ---- what was said, as it was understood ------------------------------------------------------- */

/* Appends the labels of the values in `mask`, at most so many, "perhaps" before doubted ones. */
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

void view_values(struct text *out, const struct observable *observable, const struct fact *fact)
{
    enum { DENIED_MOST = 3, POSSIBLE_MOST = 3 };
    const struct observation *seen = &fact->observation;
    bool several = observable->kind == KIND_SEVERAL;
    if (!several && __builtin_popcount(seen->seen) > POSSIBLE_MOST) {
        text_puts(out, "not said which");
        return;
    }
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

static json_t *fact_row(const struct judged *judged, const struct fact *fact)
{
    const struct observable *observable = &judged->rules->observables[fact->observable];
    /* What records know stands without quotes, for nobody said it now. */
    const bool said = fact_said(fact);
    TEXT(says);
    view_values(&says, observable, fact);
    if (fact->words != NULL && fact->words[0] != '\0' && strcasecmp(fact->words, says.bytes) != 0)
        text_printf(&says, said ? " ('%s')" : " (%s)", fact->words);
    if (fact->recalled != 0 && said)
        text_printf(&says, " (%s)", fact->recalled_words);
    return view_json("label:s says:t", observable->label, says.bytes);
}

/* What was said and not understood, from the nth such words on, and what contradicts. */
static void add_unclear(json_t *root, const struct judged *judged, size_t nth)
{
    const struct heard all = triage_heard(judged->triage);
    json_t *not_understood = json_array(), *clashes = json_array();
    int bare = 0;
    for (size_t i = nth; i < all.unclear_count; i++) {
        bare += all.unclear[i].note == NULL;
        view_json_row(not_understood, "words:s note:s", all.unclear[i].words, all.unclear[i].note);
    }
    for (const struct clash *clash = all.clashes; clash < all.clashes + all.clash_count; clash++) {
        const struct observable *sign = &judged->rules->observables[clash->observable];
        view_json_row(clashes, "sign:s words:o _label:s", sign->id,
                      json_pack("[s, s]", clash->first, clash->second), sign->label);
    }
    view_json_add(root, "not_understood:o clashes:o _bare:i", not_understood, clashes, bare);
}

/* Nobody mentioned these: part of the evidence, but apart from the facts. */
static json_t *silent_json(const struct judged *judged)
{
    const struct observable *observable = judged->rules->observables;
    json_t *silent = json_array();
    for (size_t i = 0; i < judged->rules->observable_count; i++, observable++)
        for (size_t v = 0; v < observable->value_count; v++)
            if (triage_silent(judged->triage, i) >> v & 1)
                view_json_row(silent, "sign:s value:s _label:s", observable->id,
                              observable->values[v].id, observable->values[v].label);
    return silent;
}

json_t *view_heard_json(const struct judged *judged, const struct observation *before, size_t nth)
{
    enum { NAMED_MOST = 3 };
    const struct heard all = triage_heard(judged->triage);
    json_t *rows = json_array(), *silent = silent_json(judged);
    for (const struct fact *fact = all.facts; fact < all.facts + all.fact_count; fact++) {
        const struct observation *is = &fact->observation;
        const struct observation *was = before != NULL ? &before[fact->observable] : NULL;
        if (was == NULL ||
            ((was->seen != is->seen || was->absent != is->absent || was->hedged != is->hedged) &&
             fact->origin != ORIGIN_JOURNAL))
            json_array_append_new(rows, fact_row(judged, fact));
    }
    const size_t named = json_array_size(silent);
    json_t *root = view_json("_facts:o _silent:o _more:z", rows, silent,
                             named > NAMED_MOST ? named - NAMED_MOST : 0);
    add_unclear(root, judged, nth);
    return root;
}

void view_heard(struct screen *screen, const char *name, const struct judged *judged,
                const struct observation *before, size_t nth)
{
    view_say_taken(&(struct face){.screen = screen}, name, view_heard_json(judged, before, nth));
}

/* ---- what the journal adds: what earlier looks saw, what became of the siblings ---------------- */

/* What earlier looks saw that still counts, and when: what one look saw stands together. */
static json_t *recalled_json(const struct judged *judged)
{
    const struct heard all = triage_heard(judged->triage);
    json_t *rows = json_array(), *seen = NULL;
    const char *when = "";
    TEXT(label);
    for (const struct fact *fact = all.facts; fact < all.facts + all.fact_count; fact++) {
        const struct observable *observable = &judged->rules->observables[fact->observable];
        const char *words = fact->recalled != 0 ? fact->recalled_words : fact->words;
        uint32_t before = fact->origin == ORIGIN_JOURNAL ? fact->observation.seen : fact->recalled;
        uint32_t still = before & observable->salient & fact->observation.seen;
        if (still == 0)
            continue;
        words = words != NULL ? words : "";
        if (seen == NULL || strcmp(when, words) != 0)
            view_json_row(rows, "seen:o when:s", seen = json_array(), words);
        when = words;
        text_clear(&label);
        put_labels(&label, observable, still, 0, ", ", UINT_MAX);
        json_array_append_new(seen, json_string(label.bytes));
    }
    return rows;
}

static bool aliased(const struct sibling_evidence *one, const struct sibling_evidence *other)
{
    return one != other && (one->group->aliased >> other->group->relation & 1);
}

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
    const struct sibling_evidence *first = judged->verdict->siblings, *other;
    const struct sibling_evidence *end = first + judged->verdict->sibling_count;
    for (size_t i = 0; i < evidence->cause_count; i++) {
        const struct cause *cause = &judged->rules->causes[evidence->causes[i].cause];
        for (size_t k = 0; k < cause->settle_count; k++) {
            for (other = first; other < end; other++)
                if (aliased(evidence, other) && settled_by(judged, other, cause->settle[k]))
                    break;
            if (other == end)
                return &judged->rules->observables[cause->settle[k]];
        }
    }
    return NULL;
}

static json_t *test_json(const struct observable *test)
{
    return view_json("label:s how:s", test->label, test->look != NULL ? test->look : test->ask);
}

/* Those that always went together are told at the first of them, with a test that tells. */
static void add_aliases(json_t *row, const struct judged *judged,
                        const struct sibling_evidence *evidence)
{
    const struct observable *test = telling_apart(judged, evidence);
    json_t *all = json_array();
    bool first = true;
    for (size_t i = 0; i < judged->verdict->sibling_count; i++) {
        const struct sibling_evidence *other = &judged->verdict->siblings[i];
        if (!aliased(evidence, other))
            continue;
        first = first && other->group->relation >= evidence->group->relation;
        json_array_append_new(all, json_string(other->name));
        if (test == NULL && first)
            test = telling_apart(judged, other);
    }
    view_json_add(row, "aliased_with:o _told:b", all, first);
    if (test != NULL)
        view_json_add(row, "_test:o", test_json(test));
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

/* With "_striking", the group that raises a cause most, where one does so clearly. */
static void add_siblings(json_t *root, const struct judged *judged)
{
    static const char *const patterns[] = {[PATTERN_NO_OTHERS] = "no_others",
                                           [PATTERN_ALONE] = "alone",
                                           [PATTERN_ALIKE] = "alike",
                                           [PATTERN_MORE] = "more",
                                           [PATTERN_LESS] = "less"};
    const struct sibling_evidence *best = NULL;
    json_t *array = json_array(), *striking = NULL;
    for (size_t i = 0; i < judged->verdict->sibling_count; i++) {
        const struct sibling_evidence *evidence = &judged->verdict->siblings[i];
        const struct sibling_group *group = evidence->group;
        json_t *causes = json_array(), *moved = json_array();
        for (size_t k = 0; k < evidence->cause_count; k++) {
            const struct cause *cause = &judged->rules->causes[evidence->causes[k].cause];
            double log_odds = evidence->left_out ? 0.0 : evidence->causes[k].log_odds;
            view_json_row(causes, "id:s decibans:n", cause->id, hundredths(decibans(log_odds)));
            if (!is_even(log_odds))
                view_json_row(moved, "name:s odds:o", cause->name, odds(log_odds));
        }
        /* A position in the cooker is no scope of a cause, but it is a thing shared. */
        const char *scope = group->relation == RELATION_POSITION
                                ? "position"
                                : scope_name((enum scope)group->relation);
        /* Vessels that are still young count for a part: then the figure is a rounded one. */
        bool young = fabs(group->own.total - round(group->own.total)) > 0.05;
        bool rounded = fabs(group->rest.total - round(group->rest.total)) > 0.05;
        json_t *row = view_json(
            "scope:s group:s pattern:s lost:n total:n rest_lost:n rest_total:n controls_lost:n "
            "controls:n decibans:n left_out:b causes:o _moved:o _rounded:b _young:b _others:z "
            "_speaks:b",
            scope, evidence->name, patterns[group->kind], group->own.lost, group->own.total,
            group->rest.lost, group->rest.total, group->controls.lost, group->controls.total,
            hundredths(decibans(group->log_bayes_factor)), evidence->left_out, causes, moved,
            rounded, young, (size_t)lround(group->own.total), speaks(evidence));
        add_aliases(row, judged, evidence);
        json_array_append_new(array, row);
        if (speaks(evidence) && !evidence->left_out &&
            (best == NULL || moves(evidence) > moves(best))) {
            best = evidence;
            striking = moves(best) >= log(2.0) ? row : NULL;
        }
    }
    view_json_add(root, "siblings:o _striking:o", array, json_incref(striking));
}

/* ---- what and why ---------------------------------------------------------------------------- */

static const double LIKELY = 0.15; /* causes of which what to change is said */

static json_t *ranked_json(const struct rules *rules, enum word_list list,
                           const struct ranked *ranked, size_t count)
{
    json_t *array = json_array();
    for (size_t i = 0; i < count; i++) {
        const struct list_word word = list_word(rules, list, ranked[i].index);
        json_t *row = view_json("id:s p:o _name:s", word.id, probability(ranked[i].p), word.name);
        if (list == LIST_CAUSES && ranked[i].p >= LIKELY) {
            const struct cause *cause = &rules->causes[ranked[i].index];
            view_json_add(row, "_change:o", view_json_strings(cause->change, cause->change_count));
        }
        json_array_append_new(array, row);
    }
    return array;
}

/* What was said, what was not, and what it weighed. */
static void add_evidence(json_t *root, const struct judged *judged)
{
    const struct rules *rules = judged->rules;
    const struct verdict *verdict = judged->verdict;
    const struct explanation *explanation = &verdict->explanation;
    const struct finding *leader = &rules->findings[explanation->leader];
    const struct finding *rival = &rules->findings[explanation->rival];
    const struct heard all = triage_heard(judged->triage);
    json_t *evidence = json_array(), *even = json_array();
    json_t *words = json_array(), *counting = json_array();

    for (size_t i = 0; i < explanation->weight_count; i++) {
        const struct weight_of_evidence *weight = &explanation->weights[i];
        const struct observable *observable = &rules->observables[weight->observable];
        const struct fact *fact = triage_fact(judged->triage, weight->observable);
        double log_odds = weight->decibans * log(10.0) / 10.0;
        TEXT(says);
        if (fact != NULL)
            view_values(&says, observable, fact);
        if (triage_silent(judged->triage, weight->observable) != 0)
            text_puts(&says, fact != NULL ? "; no other mentioned" : "none mentioned");
        view_json_row(evidence, "sign:s decibans:n for:s against:s _odds:o _label:s _says:t",
                      observable->id, hundredths(weight->decibans), leader->id, rival->id,
                      odds(log_odds), observable->label, says.bytes);
        if (is_even(log_odds)) /* it does not tell the two apart */
            json_array_append_new(even, json_string(observable->label));
    }
    for (size_t i = 0; i < all.weight_count; i++) {
        const struct word_weight *weight = &all.weights[i];
        view_json_row(words, "words:s denied:b odds:n _odds:o", weight->words, weight->denied,
                      hundredths(exp(weight->odds)), odds(weight->odds));
        if (!is_even(weight->odds))
            json_array_append(counting, json_array_get(words, i));
    }
    const struct computed *item = verdict->computed;
    json_t *computed = view_json_rows(
        i, verdict->computed_count, "cause:s say:s decibans:n assumed:s _odds:o _name:s",
        rules->causes[item[i].cause].id, item[i].say, hundredths(decibans(item[i].log_odds)),
        item[i].assumed, odds(item[i].log_odds), rules->causes[item[i].cause].name);
    view_json_add(root, "understood:o not_spoken_of:o", facts_json(judged->triage),
                  silent_json(judged));
    add_unclear(root, judged, 0);
    view_json_add(root, "evidence:o words:o computed:o _even:o _counting:o _leader:s _rival:s",
                  evidence, words, computed, even, counting, leader->name, rival->name);
}

/* Every turn; and for templates everything that turns one observable the same way together. */
static void add_turns(json_t *root, const struct judged *judged)
{
    enum { MOST = 6 };
    const struct turn *turns = judged->verdict->turns;
    json_t *array = json_array(), *told = json_array();
    for (size_t i = 0; i < judged->verdict->turn_count; i++) {
        const struct turn *turn = &turns[i];
        const struct observable *observable = &judged->rules->observables[turn->observable];
        /* reason.h: a value past the last means that none of them is seen. */
        const struct value *value =
            turn->value < observable->value_count ? &observable->values[turn->value] : NULL;
        size_t first = 0;
        view_json_row(array, "sign:s value:s action:s answered:b p:o", observable->id,
                      value != NULL ? value->id : NULL, action_name(turn->action), turn->answered,
                      probability(turn->probability));
        while (turns[first].observable != turn->observable || turns[first].action != turn->action ||
               turns[first].answered != turn->answered)
            first++;
        json_t *row = json_array_get(array, first);
        if (first == i) {
            view_json_add(row, "_sign:s _does:s _all:o", observable->label,
                          judged->rules->decision.action_label[turn->action], json_array());
            if (json_array_size(told) < MOST)
                json_array_append(told, row);
        }
        view_json_row(json_object_get(row, "_all"), "label:s p:n",
                      value != NULL ? value->label : NULL, turn->probability);
    }
    view_json_add(root, "would_change:o _turns:o", array, told);
}

static json_t *question_json(const struct judged *judged, const struct question *question)
{
    const struct observable *observable = &judged->rules->observables[question->observable];
    return view_json("sign:s ask:s gain:o bits:o turns:o _label:s _how:s", observable->id,
                     observable->ask, probability(question->gain), probability(question->bits),
                     probability(question->turns), observable->label,
                     observable->look != NULL ? observable->look : observable->ask);
}

/* ---- together -------------------------------------------------------------------------------- */

json_t *view_verdict_json(const struct judged *judged)
{
    const struct rules *rules = judged->rules;
    const struct verdict *verdict = judged->verdict;
    const struct decision *decision = &verdict->decision;
    const struct floor_rule *floor =
        decision->floor != RULES_NONE ? &rules->decision.floors[decision->floor] : NULL;
    const struct next_step *next =
        decision->next_step != RULES_NONE ? &rules->decision.next_steps[decision->next_step] : NULL;
    json_t *loss = json_object(), *status = json_object();
    json_t *tests = json_array(), *cautions = json_array();
    enum action cheapest = ACTION_KEEP;

    for (enum action a = ACTION_KEEP; a < ACTION_COUNT; a++) {
        cheapest = decision->loss[a] < decision->loss[cheapest] ? a : cheapest;
        json_object_set_new(loss, action_name(a), probability(decision->loss[a]));
    }
    for (enum finding_status s = FINDING_CLEAN; s < FINDING_STATUS_COUNT; s++)
        json_object_set_new(status, status_name(s), probability(verdict->status[s]));
    for (size_t i = 0; i < verdict->test_count; i++) {
        json_t *test = question_json(judged, &verdict->tests[i]);
        view_json_add(test, "days:n", rules->observables[verdict->tests[i].observable].delay_days);
        json_array_append_new(tests, test);
    }
    for (size_t i = 0; i < verdict->caution_count; i++) {
        const struct caution *caution = &rules->cautions[verdict->cautions[i]];
        view_json_row(cautions, "id:s text:s _first:b", caution->id, caution->text,
                      caution->rank < CAUTION_FIRST_RANK);
    }
    json_t *question = !verdict->settled && verdict->question_count > 0
                           ? question_json(judged, &verdict->questions[0])
                           : json_null();
    json_t *asked = verdict->reply == NULL
                        ? json_null()
                        : view_json("words:s answer:s", verdict->asked, verdict->reply->say);
    json_t *findings = ranked_json(rules, LIST_FINDINGS, verdict->findings, rules->finding_count);
    json_t *causes = ranked_json(rules, LIST_CAUSES, verdict->causes, rules->cause_count);
    json_t *root =
        view_json("schema:i asked:o action:s next_step:s forced_by:s settled:b loss:o status:o "
                  "findings:o causes:o no_cause:o",
                  1, asked, action_name(decision->action), next != NULL ? next->id : NULL,
                  floor != NULL ? floor->id : NULL, verdict->settled, loss, status, findings,
                  causes, probability(verdict->no_cause));
    add_evidence(root, judged);
    add_siblings(root, judged);
    add_turns(root, judged);
    json_object_update_missing_new(root,
                                   json_pack("{s:o, s:o, s:o, s:o, s:{s:s, s:s, s:s}}",
                                             "next_question", question, "tests", tests, "steps",
                                             view_json_strings(verdict->steps, verdict->step_count),
                                             "cautions", cautions, "rules", "name", rules->name,
                                             "version", rules->version, "hash", rules->hash));
    view_json_add(root,
                  "_label:s _forced:b _unseen:b _contaminated:b _floor:s _next:s "
                  "_sound:b _recalled:o",
                  rules->decision.action_label[decision->action], cheapest != decision->action,
                  floor != NULL && floor->unless_told_count > 0,
                  rules->findings[verdict->findings[0].index].status == FINDING_CONTAMINATED,
                  floor != NULL ? floor->say : NULL, next != NULL ? next->say : NULL,
                  verdict->no_cause >= 0.5, recalled_json(judged));
    return root;
}

void view_judged(struct screen *screen, const struct judged *judged, const char *name)
{
    json_t *tree = view_verdict_json(judged);
    view_json_add(tree, "_most:i", 4);
    view_say_taken(&(struct face){.screen = screen}, name, tree);
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

void view_verdict(struct screen *screen, const struct judged *judged, enum verdict_form form)
{
    enum { CAUTIONS = 3, WHOLE = 8, BRIEF_LINES = 19 };
    const bool whole = form == VERDICT_WHOLE;
    const size_t narrow = screen->width < SCREEN_DEFAULT ? screen->width : SCREEN_DEFAULT;
    /* Two lines are for what would help. */
    const size_t lines = judged->verdict->settled ? BRIEF_LINES : BRIEF_LINES - 2;
    const size_t room = screen_lines(screen) + lines * SCREEN_DEFAULT / narrow;
    const struct face face = {.screen = screen};
    json_t *tree = view_verdict_json(judged);
    const struct verdict *verdict = judged->verdict;
    size_t first = 0; /* of the cautions, for health */
    while (first < verdict->caution_count &&
           judged->rules->cautions[verdict->cautions[first]].rank < CAUTION_FIRST_RANK)
        first++;
    const size_t shown = whole || first < CAUTIONS ? first : CAUTIONS;
    view_json_add(tree, "_whole:b _talk:b _most:i _all:b _cautions_shown:z", whole,
                  form == VERDICT_TALK, WHOLE, whole, shown);
    json_object_update_missing_new(tree, view_heard_json(judged, NULL, 0));
    view_say(&face, "verdict", tree);
    const size_t left = say_steps(screen, judged, whole ? SIZE_MAX : room);
    view_json_add(tree, "_steps_left:z _cautions_left:z", left,
                  whole ? 0 : verdict->caution_count - shown);
    view_say_taken(&face, "verdict.after", tree);
}

void view_verdict_line(struct screen *screen, const struct judged *judged)
{
    const struct ranked *first = &judged->verdict->findings[0];
    text_printf(&screen->out, "%s\t%s\t%.3f\n", action_name(judged->verdict->decision.action),
                judged->rules->findings[first->index].id, first->p);
}

/* ---- what the rules say of themselves ---------------------------------------------------------- */

/* The works cited, then the marks, each under what names it in brackets. */
static json_t *cites_json(const struct rules *rules, const struct citation *cites)
{
    json_t *rows = json_array();
    for (size_t i = 0; i < cites->count; i++) {
        const struct source *source = &rules->sources[cites->sources[i]];
        view_json_row(rows, "id:s author:s title:s year:s where:s weak:b", source->id,
                      source->author, source->title, source->year, source->where, source->weak);
    }
    if (cites->from_memory)
        view_json_row(rows, "id:s mark:s", "from memory", "from memory");
    if (cites->common_practice)
        view_json_row(rows, "id:s mark:s", "common practice", "common practice, no source");
    if (cites->expert_judgement)
        view_json_row(rows, "id:s mark:s", "expert judgement", "expert judgement");
    return rows;
}

/* One value of a claim: a word for its number, as it was written, and the number. */
static json_t *claim_json(const struct rules *rules, const struct claim *claim, const char *of,
                          bool factor)
{
    return view_json("of:s value:s word:s number:n factor:b", of,
                     rules->observables[claim->observable].values[claim->value].label, claim->word,
                     claim->number, factor);
}

/* Groups of claims of one observable with the same citation. */
static json_t *claims_json(const struct rules *rules, const struct claim *claims, size_t count,
                           bool factor)
{
    json_t *groups = json_array(), *values = NULL, *cites = NULL;
    for (size_t i = 0; i < count; i++) {
        json_t *own = cites_json(rules, &claims[i].cites);
        if (i == 0 || claims[i].observable != claims[i - 1].observable || !json_equal(own, cites))
            view_json_row(groups, "label:s cites:o values:o",
                          rules->observables[claims[i].observable].label, cites = json_incref(own),
                          values = json_array());
        json_array_append_new(values, claim_json(rules, &claims[i], NULL, factor));
        json_decref(own);
    }
    return groups;
}

static json_t *finding_json(const struct rules *rules, const void *item)
{
    static const enum action order[] = {ACTION_DISCARD, ACTION_ISOLATE, ACTION_KEEP};
    const struct finding *finding = item;
    json_t *causes = json_array();
    for (const struct cause *cause = rules->causes; cause < rules->causes + rules->cause_count;
         cause++) {
        double sum = 0, rate = 0;
        for (size_t i = 0; i < cause->grow_count; i++) {
            sum += cause->grows[i].rate;
            rate += &rules->findings[cause->grows[i].finding] == finding ? cause->grows[i].rate : 0;
        }
        if (rate > 0)
            view_json_row(causes, "name:s id:s share:n", cause->name, cause->id, rate / sum);
    }
    json_t *differs =
        view_json_rows(i, finding->differ_count, "from:s how:s",
                       rules->findings[finding->differs[i].from].name, finding->differs[i].how);
    json_t *actions =
        view_json_rows(i, ACTION_COUNT, "label:s steps:o", rules->decision.action_label[order[i]],
                       view_json_strings(finding->steps[order[i]], finding->step_count[order[i]]));
    return view_json("status:s hazard:s also:s what:s looks:o differs:o causes:o actions:o",
                     status_name(finding->status), hazard_name(finding->hazard), finding->also,
                     finding->what, claims_json(rules, finding->looks, finding->look_count, false),
                     differs, causes, actions);
}

static json_t *cause_json(const struct rules *rules, const void *item)
{
    const struct cause *cause = item;
    json_t *grows =
        view_json_rows(i, cause->grow_count, "name:s rate:n",
                       rules->findings[cause->grows[i].finding].name, cause->grows[i].rate);
    json_t *tests = json_array();
    for (size_t i = 0; i < cause->settle_count; i++)
        json_array_append_new(tests, test_json(&rules->observables[cause->settle[i]]));
    return view_json("scope:s what:s prior:n grows:o grows_cites:o looks:o change:o tests:o",
                     scope_name(cause->scope), cause->what, cause->prior, grows,
                     cites_json(rules, &cause->grows_cites),
                     claims_json(rules, cause->weighs, cause->weigh_count, true),
                     view_json_strings(cause->change, cause->change_count), tests);
}

static void add_expected(json_t *rows, const struct rules *rules, size_t observable,
                         const char *name, const struct claim *claims, size_t count, bool factor)
{
    for (size_t i = 0; i < count; i++)
        if (claims[i].observable == observable)
            json_array_append_new(rows, claim_json(rules, &claims[i], name, factor));
}

static json_t *observable_json(const struct rules *rules, const void *item)
{
    static const char *const classes[] = {
        [CLASS_SIGN] = "sign", [CLASS_CIRCUMSTANCE] = "circumstance", [CLASS_TEST] = "test"};
    static const char *const kinds[] = {
        [KIND_ONE] = "one of", [KIND_SEVERAL] = "several of", [KIND_NUMBER] = "a number"};
    const struct observable *observable = item;
    size_t index = (size_t)(observable - rules->observables);
    const struct value *value = observable->values;
    json_t *predicts = json_array();
    json_t *values = view_json_rows(v, observable->value_count, "id:s base:n label:s look:s",
                                    value[v].id, value[v].base, value[v].label, value[v].look);
    for (size_t f = 0; f < rules->finding_count; f++)
        add_expected(predicts, rules, index, rules->findings[f].name, rules->findings[f].looks,
                     rules->findings[f].look_count, false);
    for (size_t c = 0; c < rules->cause_count; c++)
        add_expected(predicts, rules, index, rules->causes[c].name, rules->causes[c].weighs,
                     rules->causes[c].weigh_count, true);
    return view_json("class:s holds:s ask:s look:s why:s values:o predicts:o",
                     classes[observable->class], kinds[observable->kind], observable->ask,
                     observable->look, observable->why, values, predicts);
}

static json_t *species_json(const struct rules *rules, const void *item)
{
    const struct species *species = item;
    const struct growth *growth = &species->growth;
    json_t *normal = view_json_rows(i, species->normal_count, "name:s looks:o",
                                    rules->findings[species->normal[i].finding].name,
                                    claims_json(rules, &species->normal[i].claim, 1, false));
    return view_json("latin:s note:s t_min:n t_max:n t_opt:n rate_low:n rate_high:n full_low:n "
                     "full_high:n growth_cites:o normal:o",
                     species->latin, species->note, growth->t_min, growth->t_max, growth->t_opt,
                     growth->rate.lo, growth->rate.hi, growth->full.lo, growth->full.hi,
                     cites_json(rules, &growth->cites), normal);
}

static json_t *grain_json(const struct rules *rules, const void *item)
{
    const struct grain *grain = item;
    (void)rules;
    return view_json("note:s moisture:n target_low:n target_high:n raw_limit:n", grain->note,
                     grain->moisture, grain->target.lo, grain->target.hi, grain->raw_limit);
}

/* Lengths in mm. */
static json_t *vessel_json(const struct rules *rules, const void *item)
{
    const struct vessel_kind *vessel = item;
    (void)rules;
    json_t *sides = json_array();
    for (size_t i = 0; i < 3; i++)
        json_array_append_new(sides, view_json_number(1000.0 * vessel->sides[i]));
    return view_json("cylinder:b across:n high:n sides:o kg:n", vessel->shape == SHAPE_CYLINDER,
                     2000.0 * vessel->radius, 1000.0 * vessel->height, sides, vessel->mass_kg);
}

/* ---- every kind, by table -------------------------------------------------------------------- */

static const struct kind { /* one kind of thing that has an id */
    const char *plural, *template;
    size_t array, count; /* in struct rules */
    size_t size, id, name;
    size_t cites;                                                 /* 0: it is a source itself */
    json_t *(*make)(const struct rules *rules, const void *item); /* NULL: there is no more */
} kinds[] = {
#define KIND(plural, type, array, count, label, cites, make)                                       \
    {                                                                                              \
        plural, "show." #type, offsetof(struct rules, array), offsetof(struct rules, count),       \
            sizeof(struct type), offsetof(struct type, id), offsetof(struct type, label), cites,   \
            make                                                                                   \
    }
#define CITES(type) offsetof(struct type, cites)
    KIND("Findings", finding, findings, finding_count, name, CITES(finding), finding_json),
    KIND("Causes", cause, causes, cause_count, name, CITES(cause), cause_json),
    KIND("Signs, circumstances and tests", observable, observables, observable_count, label,
         CITES(observable), observable_json),
    KIND("Species", species, species, species_count, name, CITES(species), species_json),
    KIND("Grains", grain, grains, grain_count, name, CITES(grain), grain_json),
    KIND("Vessels", vessel_kind, vessels, vessel_count, name, CITES(vessel_kind), vessel_json),
    KIND("Cautions", caution, cautions, caution_count, text, CITES(caution), NULL),
    KIND("Sources", source, sources, source_count, title, 0, NULL),
};
enum { KINDS = sizeof kinds / sizeof *kinds };

static size_t count_of(const struct rules *rules, const struct kind *kind)
{
    return *(const size_t *)(const void *)((const char *)rules + kind->count);
}

static const char *item_of(const struct rules *rules, const struct kind *kind, size_t index)
{
    return *(const char *const *)(const void *)((const char *)rules + kind->array) +
           index * kind->size;
}

static const char *string_of(const char *item, size_t offset)
{
    return *(const char *const *)(const void *)(item + offset);
}

bool view_show(struct screen *screen, const struct rules *rules, const char *id)
{
    bool found = false;
    for (const struct kind *kind = kinds; kind < kinds + KINDS; kind++)
        for (size_t i = 0; i < count_of(rules, kind); i++) {
            const char *item = item_of(rules, kind, i);
            if (strcmp(string_of(item, kind->id), id) != 0)
                continue;
            if (found)
                screen_blank(screen);
            const struct citation itself = {.sources = &i, .count = 1};
            const void *cites = kind->cites != 0 ? (const void *)(item + kind->cites) : &itself;
            json_t *tree = kind->make != NULL ? kind->make(rules, item) : json_object();
            view_json_add(tree, "id:s name:s cites:o", id, string_of(item, kind->name),
                          cites_json(rules, cites));
            view_say_taken(&(struct face){.screen = screen}, kind->template, tree);
            found = true;
        }
    return found;
}

void view_show_all(struct screen *screen, const struct rules *rules)
{
    enum { ID_COLUMNS = 24 };
    for (const struct kind *kind = kinds; kind < kinds + KINDS; kind++) {
        if (count_of(rules, kind) > 0)
            screen_heading(screen, kind->plural);
        for (size_t i = 0; i < count_of(rules, kind); i++) {
            const char *item = item_of(rules, kind, i);
            screen_row(screen, 2, ID_COLUMNS, string_of(item, kind->id),
                       string_of(item, kind->name));
        }
    }
}

size_t view_ids(const struct rules *rules, const char **ids, const char **names, size_t most)
{
    enum { LONGEST = 48 }; /* longer ones, of cautions and sources, nobody types */
    size_t count = 0;
    for (const struct kind *kind = kinds; kind < kinds + KINDS; kind++)
        for (size_t i = 0; i < count_of(rules, kind) && count < most; i++) {
            const char *name = string_of(item_of(rules, kind, i), kind->name);
            names[count] = strlen(name) <= LONGEST ? name : "";
            ids[count++] = string_of(item_of(rules, kind, i), kind->id);
        }
    return count;
}
