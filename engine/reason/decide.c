/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What to do: least expected loss over the findings, then the floors.
 *
 * Losses are in vessels of the usual worth. W is the worth of this vessel, N the
 * number of neighbours, U what is lost downstream if it is contaminated and used
 * (uses.loss_each times the count). Neighbours and what is made from it are of
 * the usual worth, the vessel itself is of its own:
 *
 *   keep,    f contaminated:  W keep_wrong + keep_wrong_hazard(f) + N spread(f) + U
 *   keep,    f otherwise:     0
 *   discard, any f:           W kept_worth(f) + discard_effort
 *
 * Isolating waits for the next look and then takes the better of the two. The
 * look has two outcomes: trouble shows, with chance reveal(f) when f is
 * contaminated and never otherwise, or it does not. With P the posterior,
 *
 *   isolate:  delay + sum_f P(f) [f contaminated] isolate_spread N spread(f)
 *             + min over keep, discard of sum_f P(f) shows(f) loss(action, f)
 *             + min over keep, discard of sum_f P(f) (1 - shows(f)) loss(action, f)
 *
 * so the action after each outcome is chosen on what that outcome would teach,
 * not finding by finding.
 */
#include "reason/reason_internal.h"

#include <float.h>
#include <math.h>

static bool contaminated(const struct rules *rules, size_t finding)
{
    return rules->findings[finding].status == FINDING_CONTAMINATED;
}

static double keep_loss(const struct rules *rules, const struct stakes *stakes, size_t finding)
{
    const struct decision_rules *decision = &rules->decision;
    const struct finding *of = &rules->findings[finding];
    double uses = 0.0;

    if (!contaminated(rules, finding))
        return 0.0;
    if (stakes->use >= 0 && (size_t)stakes->use < decision->use_count)
        uses = decision->uses[stakes->use].loss_each * stakes->use_count;
    return stakes->worth * decision->keep_wrong + decision->keep_wrong_hazard[of->hazard] +
           stakes->neighbours * of->spread + uses;
}

static double discard_loss(const struct rules *rules, const struct stakes *stakes, size_t finding)
{
    return stakes->worth * rules->findings[finding].kept_worth + rules->decision.discard_effort;
}

/* What waiting costs whatever is done afterwards. */
static double waiting_loss(const struct rules *rules, const struct stakes *stakes, size_t finding)
{
    double spread = contaminated(rules, finding) ? rules->findings[finding].spread : 0.0;
    return rules->decision.isolate_delay +
           rules->decision.isolate_spread * stakes->neighbours * spread;
}

/* The chance that the next look shows trouble. */
static double shows(const struct rules *rules, size_t finding)
{
    return contaminated(rules, finding) ? rules->findings[finding].reveal : 0.0;
}

static void expected_losses(const struct rules *rules, const double *finding,
                            const struct stakes *stakes, double loss[ACTION_COUNT])
{
    double waiting = 0.0, shown_keep = 0.0, shown_discard = 0.0;

    loss[ACTION_KEEP] = loss[ACTION_DISCARD] = 0.0;
    for (size_t f = 0; f < rules->finding_count; f++) {
        double keep = finding[f] * keep_loss(rules, stakes, f);
        double discard = finding[f] * discard_loss(rules, stakes, f);
        waiting += finding[f] * waiting_loss(rules, stakes, f);
        shown_keep += keep * shows(rules, f);
        shown_discard += discard * shows(rules, f);
        loss[ACTION_KEEP] += keep;
        loss[ACTION_DISCARD] += discard;
    }
    double hidden_keep = loss[ACTION_KEEP] - shown_keep;
    double hidden_discard = loss[ACTION_DISCARD] - shown_discard;
    loss[ACTION_ISOLATE] =
        waiting + fmin(shown_keep, shown_discard) + fmin(hidden_keep, hidden_discard);
}

/* ---- floors ---------------------------------------------------------------------------------- */

/* What forbids keep does so in doubt as well: a touch of green, "maybe", is worth another look. */
static bool floor_applies(const struct reasoner *reasoner, const struct floor_rule *floor,
                          const struct evidence *evidence, double p_contaminated)
{
    bool seen = floor->when.count > 0 &&
                condition_holds(reasoner, &floor->when, evidence, floor->forbids_keep);
    /* A bound of 1 means never, also when a sum of probabilities rounds to a little more. */
    bool likely = floor->contaminated_above < 1.0 && p_contaminated > floor->contaminated_above;
    bool understood = floor->unread_above > 0.0 && (double)evidence->unread <= floor->unread_above;
    if (understood || (!seen && !likely) || (floor->after_objection && !evidence->objected))
        return false;
    return floor->unless.count == 0 || !reason_holds(reasoner, &floor->unless, evidence);
}

struct floors { /* those that apply: the forcing one of the gravest action, the first that forbids
                 */
    int forces, forbids;
};

static struct floors floors_find(const struct reasoner *reasoner, const struct evidence *evidence,
                                 double p_contaminated)
{
    const struct decision_rules *rules = &reasoner->rules->decision;
    struct floors found = {RULES_NONE, RULES_NONE};

    for (size_t i = 0; i < rules->floor_count; i++) {
        const struct floor_rule *floor = &rules->floors[i];
        if (!floor_applies(reasoner, floor, evidence, p_contaminated))
            continue;
        if (floor->forbids_keep) {
            if (found.forbids < 0)
                found.forbids = (int)i;
        } else if (found.forces < 0 || floor->action > rules->floors[found.forces].action) {
            found.forces = (int)i; /* enum action runs from the mildest to the gravest */
        }
    }
    if (found.forces >= 0 && found.forbids >= 0 &&
        rules->floors[found.forces].action == ACTION_KEEP)
        found.forces = RULES_NONE;
    return found;
}

/* The least loss among what is not forbidden; of equals the gravest, which is the safest. */
static enum action least(const double loss[ACTION_COUNT], const bool forbidden[ACTION_COUNT])
{
    enum action best = ACTION_DISCARD;
    double best_loss = DBL_MAX;

    for (int a = ACTION_COUNT - 1; a >= 0; a--) {
        if (forbidden[a] || !(loss[a] < best_loss))
            continue;
        best = (enum action)a;
        best_loss = loss[a];
    }
    return best;
}

static int next_step(const struct reasoner *reasoner, const struct evidence *evidence,
                     size_t leader)
{
    const struct decision_rules *rules = &reasoner->rules->decision;

    for (size_t i = 0; i < rules->next_step_count; i++) {
        const struct next_step *step = &rules->next_steps[i];
        bool listed = step->finding_count == 0;
        for (size_t k = 0; k < step->finding_count; k++)
            listed = listed || step->findings[k] == leader;
        if (listed && reason_holds(reasoner, &step->when, evidence))
            return (int)i;
    }
    return RULES_NONE;
}

size_t likeliest(const double *p, size_t count, size_t but)
{
    size_t best = but == 0 ? 1 : 0;
    for (size_t i = best + 1; i < count; i++)
        if (i != but && p[i] > p[best])
            best = i;
    return best < count ? best : 0;
}

void decide_on(const struct reasoner *reasoner, const struct evidence *evidence,
               const double *finding, const struct stakes *stakes, struct decision *decision)
{
    const struct rules *rules = reasoner->rules;
    const bool nothing_forbidden[ACTION_COUNT] = {false};
    double p_contaminated = 0.0;

    *decision = (struct decision){.floor = RULES_NONE, .next_step = RULES_NONE};
    expected_losses(rules, finding, stakes, decision->loss);
    for (size_t f = 0; f < rules->finding_count; f++)
        if (contaminated(rules, f))
            p_contaminated += finding[f];

    struct floors floors = floors_find(reasoner, evidence, p_contaminated);
    decision->forbidden[ACTION_KEEP] = floors.forbids >= 0;
    for (int a = 0; floors.forces >= 0 && a < ACTION_COUNT; a++)
        decision->forbidden[a] = (enum action)a != rules->decision.floors[floors.forces].action;
    decision->action = least(decision->loss, decision->forbidden);
    if (floors.forces >= 0)
        decision->floor = floors.forces;
    else if (floors.forbids >= 0 && least(decision->loss, nothing_forbidden) == ACTION_KEEP)
        decision->floor = floors.forbids;
    if (decision->action == ACTION_KEEP)
        decision->next_step =
            next_step(reasoner, evidence, likeliest(finding, rules->finding_count, SIZE_MAX));
}

void reason_decide(const struct reasoner *reasoner, const struct evidence *evidence,
                   const struct posterior *posterior, const struct stakes *stakes,
                   struct decision *decision)
{
    decide_on(reasoner, evidence, posterior->finding, stakes, decision);
}
