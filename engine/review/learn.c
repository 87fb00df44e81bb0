/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/review.h"

#include "journal/sql.h"
#include "triage/triage.h"

struct learning {
    const struct rules *rules;
    struct arena *arena;
    struct learned_sign *cells; /* [finding * observable_count + observable]; made when seen */
};

/* ---- one vessel --------------------------------------------------------------------------------- */

/* A plain answer says something of every value of a one-of; of a several-of only of those named. */
static void count_fact(struct learning *learning, size_t finding, const struct fact *fact)
{
    const struct observable *observable = &learning->rules->observables[fact->observable];
    const struct observation *said = &fact->observation;
    bool several = observable->kind == KIND_SEVERAL;
    uint32_t plain = said->seen & ~said->hedged, denied = said->absent & ~said->hedged;
    const bool single = single_value(plain) != RULES_NONE && plain == said->seen;

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

/* ---- all of them -------------------------------------------------------------------------------- */

/* The newest outcome of each vessel, unless it withdraws one, and what was known at the look that
 * it answers: the last standing one before it, or else the last. */
static const char confirmed[] =
    "SELECT finding, cause, (SELECT facts FROM (SELECT facts, id, at <= o.at AS before"
    " FROM look AS l WHERE vessel = o.vessel AND action <> '" WITHDRAWN "'"
    " AND NOT EXISTS (SELECT 1 FROM look WHERE corrects = l.id)) ORDER BY before DESC, id DESC"
    " LIMIT 1) FROM outcome AS o WHERE status <> '" WITHDRAWN "'"
    " AND NOT EXISTS (SELECT 1 FROM outcome WHERE vessel = o.vessel AND id > o.id) ORDER BY id";

enum status learn_count(struct journal *journal, const struct rules *rules, struct arena *arena,
                        struct learned *learned)
{
    size_t cells = rules->finding_count * rules->observable_count;
    struct learning learning = {
        .rules = rules,
        .arena = arena,
        .cells = arena_array(arena, cells, sizeof *learning.cells),
    };
    struct learned_cause *causes = arena_array(arena, rules->cause_count, sizeof *causes);
    *learned =
        (struct learned){.strength = LEARN_STRENGTH, .signs = learning.cells, .causes = causes};
    double causes_known = 0.0;
    struct query query = query_begin(journal, confirmed, "");
    while (query_next(&query)) {
        const struct fact *facts = NULL;
        size_t count = 0;
        int finding = rules_finding(rules, query_text(&query, 0));
        int cause = rules_cause(rules, query_text(&query, 1));
        if (finding == RULES_NONE)
            continue;
        learned->vessels += 1;
        if (cause != RULES_NONE) {
            causes[cause].seen += 1;
            causes_known += 1;
        }
        /* One look that cannot be read is no reason to learn nothing. */
        if (facts_read(rules, query_text(&query, 2), arena, &facts, &count) != STATUS_OK)
            continue;
        for (size_t i = 0; i < count; i++)
            count_fact(&learning, (size_t)finding, &facts[i]);
    }
    for (size_t i = 0; i < cells; i++)
        if (learning.cells[i].seen != NULL)
            learning.cells[learned->sign_count++] = learning.cells[i];
    for (size_t c = 0; c < rules->cause_count; c++) {
        causes[c].cause = c;
        causes[c].of = causes_known;
    }
    learned->cause_count = causes_known > 0 ? rules->cause_count : 0;
    return journal_told(journal);
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
