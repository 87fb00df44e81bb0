/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/learn.h"

#include <string.h>

#include "triage/triage.h"

struct learning {
    struct journal *journal;
    const struct rules *rules;
    struct arena *arena;
    struct learned_sign
        *cells; /* [finding * observable_count + observable]; made when first seen */
    struct learned_cause *causes; /* per cause */
    double causes_known, vessels;
};

/* ---- one vessel --------------------------------------------------------------------------------- */

/* Of a one-of a plain answer says something about every value; of a several-of only about those that
 * were named. */
static void count_fact(struct learning *learning, size_t finding, const struct fact *fact)
{
    const struct observable *observable = &learning->rules->observables[fact->observable];
    const struct observation *said = &fact->observation;
    bool several = observable->kind == KIND_SEVERAL;
    uint32_t plain = said->seen & ~said->hedged, denied = said->absent & ~said->hedged;
    bool single = plain != 0 && (plain & (plain - 1)) == 0 && plain == said->seen;

    if (observable->class != CLASS_SIGN || (several ? (plain | denied) == 0 : !single))
        return;
    struct learned_sign *cell =
        &learning->cells[finding * learning->rules->observable_count + fact->observable];
    if (cell->seen == NULL) {
        cell->finding = finding;
        cell->observable = fact->observable;
        cell->seen = arena_array(learning->arena, observable->value_count, sizeof *cell->seen);
        cell->of = arena_array(learning->arena, observable->value_count, sizeof *cell->of);
    }
    for (size_t v = 0; v < observable->value_count; v++) {
        bool seen = (plain >> v & 1) != 0;
        if (several && !seen && (denied >> v & 1) == 0)
            continue;
        cell->seen[v] += seen;
        cell->of[v] += 1;
    }
}

static enum status count_outcome(struct learning *learning, const struct outcome *outcome)
{
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
    /* The look that it answers: the last standing one before it, or else the last. */
    struct look *looks = NULL;
    const struct look *answered = NULL;
    const struct fact *facts = NULL;
    size_t count = 0;
    bool before = false;
    enum status status = journal_standing(learning->journal, RECORD_LOOK, outcome->vessel,
                                          learning->arena, (void **)&looks, &count);
    if (status != STATUS_OK)
        return status;
    for (size_t i = 0; i < count; i++) {
        bool early = looks[i].at.seconds <= outcome->at.seconds;
        if (early || !before)
            answered = &looks[i];
        before = before || early;
    }
    /* One look that cannot be read is no reason to learn nothing. */
    if (answered == NULL ||
        facts_read(learning->rules, answered->facts, learning->arena, &facts, &count) != STATUS_OK)
        return STATUS_OK;
    for (size_t i = 0; i < count; i++)
        count_fact(learning, (size_t)finding, &facts[i]);
    return STATUS_OK;
}

/* ---- all of them -------------------------------------------------------------------------------- */

enum status learn_count(struct journal *journal, const struct rules *rules, struct arena *arena,
                        struct learned *learned)
{
    size_t cells = rules->finding_count * rules->observable_count;
    struct learning learning = {
        .journal = journal,
        .rules = rules,
        .arena = arena,
        .cells = arena_array(arena, cells, sizeof *learning.cells),
        .causes = arena_array(arena, rules->cause_count, sizeof *learning.causes),
    };
    struct outcome *outcomes = NULL;
    size_t count = 0;

    *learned = (struct learned){.strength = LEARN_STRENGTH};
    enum status status =
        journal_all(journal, RECORD_OUTCOME, NULL, 0, arena, (void **)&outcomes, &count);
    for (size_t i = 0; i < count && status == STATUS_OK; i++) { /* by rising id: the last counts */
        bool counts = strcmp(outcomes[i].status, WITHDRAWN) != 0;
        for (size_t j = i + 1; j < count && counts; j++)
            counts = outcomes[j].vessel != outcomes[i].vessel;
        if (counts)
            status = count_outcome(&learning, &outcomes[i]);
    }
    if (status != STATUS_OK)
        return status;
    for (size_t i = 0; i < cells; i++)
        if (learning.cells[i].seen != NULL)
            learning.cells[learned->sign_count++] = learning.cells[i];
    for (size_t c = 0; c < rules->cause_count; c++) {
        learning.causes[c].cause = c;
        learning.causes[c].of = learning.causes_known;
    }
    learned->signs = learning.cells;
    learned->causes = learning.causes;
    learned->cause_count = learning.causes_known > 0 ? rules->cause_count : 0;
    learned->vessels = learning.vessels;
    return STATUS_OK;
}

/* ---- as a file ------------------------------------------------------------------------------- */

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
        const struct observable *observable = &rules->observables[learned->signs[i].observable];
        const char *divider = "";
        text_printf(yaml, "      %s: {", observable->id);
        for (size_t v = 0; v < observable->value_count; v++) {
            if (learned->signs[i].of[v] <= 0)
                continue;
            text_printf(yaml, "%s%s: [%.0f, %.0f]", divider, observable->values[v].id,
                        learned->signs[i].seen[v], learned->signs[i].of[v]);
            divider = ", ";
        }
        text_puts(yaml, "}\n");
    }
    if (learned->cause_count > 0)
        text_puts(yaml, "  causes:\n");
    for (size_t c = 0; c < learned->cause_count; c++)
        text_printf(yaml, "    %s: [%.0f, %.0f]\n", rules->causes[learned->causes[c].cause].id,
                    learned->causes[c].seen, learned->causes[c].of);
}
