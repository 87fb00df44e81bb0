/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/learn.h"

#include <string.h>

#include "triage/triage.h"

struct learning {
    struct journal *journal;
    const struct rules *rules;
    struct arena *arena;
    struct diags *diags;
    struct learned_sign
        *cells; /* [finding * observable_count + observable]; made when first seen */
    struct learned_cause *causes; /* per cause */
    double causes_known, vessels;
};

/* ---- one vessel ------------------------------------------------------------------------------ */

static struct learned_sign *cell_of(struct learning *learning, size_t finding, size_t observable)
{
    struct learned_sign *cell =
        &learning->cells[finding * learning->rules->observable_count + observable];
    size_t values = learning->rules->observables[observable].value_count;
    if (cell->seen == NULL) {
        cell->finding = finding;
        cell->observable = observable;
        cell->seen = arena_array(learning->arena, values, sizeof *cell->seen);
        cell->of = arena_array(learning->arena, values, sizeof *cell->of);
    }
    return cell->seen != NULL && cell->of != NULL ? cell : NULL;
}

/*
 * Of a one-of a plain answer says something about every value; of a several-of
 * only about those that were named. False when out of memory.
 */
static bool count_fact(struct learning *learning, size_t finding, const struct kept_fact *fact)
{
    const struct observable *observable = &learning->rules->observables[fact->observable];
    const struct observation *said = &fact->observation;
    bool several = observable->kind == KIND_SEVERAL;
    uint32_t plain = said->seen & ~said->hedged, denied = said->absent & ~said->hedged;
    bool single = plain != 0 && (plain & (plain - 1)) == 0 && plain == said->seen;

    if (observable->class != CLASS_SIGN || (several ? (plain | denied) == 0 : !single))
        return true;
    struct learned_sign *cell = cell_of(learning, finding, fact->observable);
    for (size_t v = 0; cell != NULL && v < observable->value_count; v++) {
        bool seen = (plain >> v & 1) != 0;
        if (several && !seen && (denied >> v & 1) == 0)
            continue;
        cell->seen[v] += seen;
        cell->of[v] += 1;
    }
    return cell != NULL;
}

static enum status count_look(struct learning *learning, size_t finding, const struct look *look)
{
    const struct kept_fact *facts = NULL;
    size_t count = 0;
    enum status status = facts_read(learning->rules, look->facts, learning->arena, &facts, &count);
    if (status == STATUS_DATA) /* one look that cannot be read is no reason to learn nothing */
        return STATUS_OK;
    for (size_t i = 0; i < count && status == STATUS_OK; i++)
        if (!count_fact(learning, finding, &facts[i]))
            status = STATUS_MEMORY;
    return status;
}

/* The look that the outcome answers; false when there is none. */
static enum status look_before(struct learning *learning, const struct outcome *outcome,
                               struct look *look, bool *found)
{
    struct look *looks = NULL;
    size_t count = 0;
    bool before = false;
    *found = false;
    enum status status = journal_all(learning->journal, RECORD_LOOK, "vessel", outcome->vessel,
                                     learning->arena, (void **)&looks, &count, learning->diags);
    for (size_t i = 0; i < count && status == STATUS_OK; i++) {
        bool stands = true, early = looks[i].at.seconds <= outcome->at.seconds;
        for (size_t j = i + 1; j < count; j++)
            stands = stands && looks[j].corrects != looks[i].id;
        if (!stands || (before && !early))
            continue;
        *look = looks[i];
        *found = true;
        before = before || early;
    }
    return status;
}

static enum status count_outcome(struct learning *learning, const struct outcome *outcome)
{
    struct look look;
    bool found = false;
    int finding = rules_finding(learning->rules, outcome->finding);
    int cause =
        outcome->cause[0] != '\0' ? rules_cause(learning->rules, outcome->cause) : RULES_NONE;
    if (finding == RULES_NONE)
        return STATUS_OK;
    learning->vessels += 1;
    if (cause != RULES_NONE) {
        learning->causes[cause].seen += 1;
        learning->causes_known += 1;
    }
    enum status status = look_before(learning, outcome, &look, &found);
    return status == STATUS_OK && found ? count_look(learning, (size_t)finding, &look) : status;
}

/* ---- all of them ----------------------------------------------------------------------------- */

/* Outcomes by rising id: the one that no later one of the vessel follows or corrects is the last. */
static bool last_of_its_vessel(const struct outcome *outcomes, size_t count, size_t index)
{
    for (size_t j = index + 1; j < count; j++)
        if (outcomes[j].vessel == outcomes[index].vessel)
            return false;
    return true;
}

static enum status gather(struct learning *learning, struct learned *learned)
{
    size_t cells = learning->rules->finding_count * learning->rules->observable_count;
    struct learned_sign *signs = arena_array(learning->arena, cells, sizeof *signs);
    if (signs == NULL)
        return STATUS_MEMORY;
    for (size_t i = 0; i < cells; i++)
        if (learning->cells[i].seen != NULL)
            signs[learned->sign_count++] = learning->cells[i];
    for (size_t c = 0; c < learning->rules->cause_count; c++) {
        learning->causes[c].cause = c;
        learning->causes[c].of = learning->causes_known;
    }
    learned->signs = signs;
    learned->causes = learning->causes;
    learned->cause_count = learning->causes_known > 0 ? learning->rules->cause_count : 0;
    learned->vessels = learning->vessels;
    return STATUS_OK;
}

enum status learn_count(struct journal *journal, const struct rules *rules, struct arena *arena,
                        struct learned *learned, struct diags *diags)
{
    struct learning learning = {
        .journal = journal,
        .rules = rules,
        .arena = arena,
        .diags = diags,
        .cells = arena_array(arena, rules->finding_count * rules->observable_count,
                             sizeof *learning.cells),
        .causes = arena_array(arena, rules->cause_count, sizeof *learning.causes),
    };
    struct outcome *outcomes = NULL;
    size_t count = 0;
    *learned = (struct learned){.strength = LEARN_STRENGTH};
    if (learning.cells == NULL || learning.causes == NULL)
        return STATUS_MEMORY;
    enum status status =
        journal_all(journal, RECORD_OUTCOME, NULL, 0, arena, (void **)&outcomes, &count, diags);
    for (size_t i = 0; i < count && status == STATUS_OK; i++)
        if (last_of_its_vessel(outcomes, count, i))
            status = count_outcome(&learning, &outcomes[i]);
    return status == STATUS_OK ? gather(&learning, learned) : status;
}

/* ---- as a file ------------------------------------------------------------------------------- */

static void write_sign(const struct learned_sign *sign, const struct rules *rules,
                       struct text *yaml)
{
    const struct observable *observable = &rules->observables[sign->observable];
    const char *divider = "";
    text_printf(yaml, "      %s: {", observable->id);
    for (size_t v = 0; v < observable->value_count; v++) {
        if (sign->of[v] <= 0)
            continue;
        text_printf(yaml, "%s%s: [%.0f, %.0f]", divider, observable->values[v].id, sign->seen[v],
                    sign->of[v]);
        divider = ", ";
    }
    text_puts(yaml, "}\n");
}

void learn_write(const struct learned *learned, const struct rules *rules, const char *day,
                 struct text *yaml)
{
    text_printf(yaml,
                "# Counts of your own confirmed outcomes, written by 'jarside rules learn' on %s.\n"
                "# [seen, of]: seen in so many of so many vessels. 'jarside rules learn --undo'\n"
                "# takes it back; deleting this file does, too.\n"
                "learned:\n"
                "  source: common practice, no source\n"
                "  strength: %.0f\n"
                "  vessels: %.0f\n",
                day, learned->strength, learned->vessels);
    if (learned->sign_count > 0)
        text_puts(yaml, "  signs:\n");
    for (size_t i = 0; i < learned->sign_count; i++) {
        if (i == 0 || learned->signs[i].finding != learned->signs[i - 1].finding)
            text_printf(yaml, "    %s:\n", rules->findings[learned->signs[i].finding].id);
        write_sign(&learned->signs[i], rules, yaml);
    }
    if (learned->cause_count > 0)
        text_puts(yaml, "  causes:\n");
    for (size_t c = 0; c < learned->cause_count; c++)
        text_printf(yaml, "    %s: [%.0f, %.0f]\n", rules->causes[learned->causes[c].cause].id,
                    learned->causes[c].seen, learned->causes[c].of);
}
