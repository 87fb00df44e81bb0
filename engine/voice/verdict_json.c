/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "triage/facts.h"
#include "voice/verdict.h"

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

static json_t *cautions(struct builder *builder, const struct told *told)
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

json_t *voice_verdict_json(const struct told *told)
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
    put(&builder, root, "siblings", voice_siblings_json(told));
    put(&builder, root, "would_change", would_change(&builder, told));
    put(&builder, root, "next_question",
        !verdict->settled && verdict->question_count > 0
            ? question(&builder, told, &verdict->questions[0])
            : json_null());
    put(&builder, root, "tests", tests(&builder, told));
    put(&builder, root, "steps", steps(&builder, verdict));
    put(&builder, root, "cautions", cautions(&builder, told));
    put(&builder, root, "rules",
        json_pack("{s:s, s:s, s:s}", "name", told->rules->name, "version", told->rules->version,
                  "hash", told->rules->hash));
    if (builder.ok)
        return root;
    json_decref(root);
    return NULL;
}
