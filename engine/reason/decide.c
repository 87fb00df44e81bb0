/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <limits.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "reason/model.h"

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
 *   and at once:              W too_soon(f)
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

/* What one finding adds, for each unit of its probability. */
struct loss_row {
    four losses; /* of keep and discard, of waiting, of discarding too soon */
    four chance; /* of any finding, of contamination, of trouble that shows; none */
};

static struct loss_row loss_row(const struct rules *rules, const struct stakes *stakes,
                                size_t finding)
{
    const struct decision_rules *decision = &rules->decision;
    const struct finding *of = &rules->findings[finding];
    const double bad = contaminated(rules, finding) ? 1.0 : 0.0;
    return (struct loss_row){
        {keep_loss(rules, stakes, finding),
         stakes->worth * of->kept_worth + decision->discard_effort,
         decision->isolate_delay + decision->isolate_spread * stakes->neighbours * bad * of->spread,
         stakes->worth * of->too_soon},
        {1.0, bad, bad * of->reveal, 0.0}};
}

/* The losses, and P(contaminated); `rows` are those of the stakes, or NULL. */
FOR_WIDE_VECTORS static double expected_losses(const struct rules *rules,
                                               const struct stakes *stakes,
                                               const struct loss_row *rows, const double *finding,
                                               double loss[ACTION_COUNT])
{
    four sum = {0.0}, shown = {0.0}, chance = {0.0};
    for (size_t f = 0; f < rules->finding_count; f++) {
        const struct loss_row row = rows ? rows[f] : loss_row(rules, stakes, f);
        const four each = finding[f] * row.losses;
        sum += each;
        shown += each * row.chance[2];
        chance += finding[f] * row.chance;
    }
    loss[ACTION_KEEP] = sum[0];
    loss[ACTION_ISOLATE] =
        sum[2] + fmin(shown[0], shown[1]) + fmin(sum[0] - shown[0], sum[1] - shown[1]);
    loss[ACTION_DISCARD] = sum[1] + sum[3];
    return chance[0] > 0.0 ? chance[1] / chance[0] : 1.0;
}

/* Made ready where many decisions are made for one vessel. */
struct prepared {
    struct loss_row *rows; /* of the stakes */
    int *wakes; /* per floor, the observable of which an answer wakes it; RULES_NONE: it is awake */
    int observable; /* the one answered */
};

/* ---- floors ---------------------------------------------------------------------------------- */

/* P(contaminated) by what was seen alone: the likelihood of the words is divided out. */
static double p_contaminated(const struct reasoner *reasoner, const double *finding,
                             const double *words)
{
    double total = 0.0, bad = 0.0;
    for (size_t f = 0; f < reasoner->finding_count; f++) {
        double p = finding[f] * exp(-words[f]);
        total += p;
        bad += contaminated(reasoner->rules, f) ? p : 0.0;
    }
    return total > 0.0 ? bad / total : 1.0;
}

/* Whether the first of its signs was seen, so that it is worth to look at the others. */
static inline bool may_hold(const struct condition *condition, const struct evidence *evidence)
{
    return condition->count == 0 ||
           (evidence && evidence->observations &&
            (evidence->observations[condition->observables[0]].seen & condition->values[0]));
}

/* Whether it is only for descriptions with more in them that was not understood. */
static bool floor_rests(const struct floor_rule *floor, const struct evidence *evidence)
{
    const double unread = evidence ? (double)evidence->unread : 0.0;
    return (floor->unread_above > 0.0 && unread <= floor->unread_above) ||
           (floor->after_objection && !(evidence && evidence->objected));
}

/* The floors that apply: the forcing one of the gravest action, the first that forbids. */
static void floors_find(const struct reasoner *reasoner, const struct evidence *evidence,
                        const struct prepared *prepared, const double *finding, double p_bad,
                        int *forces, int *forbids)
{
    const struct decision_rules *rules = &reasoner->rules->decision;
    const double *words = evidence ? evidence->words : NULL;
    *forces = *forbids = RULES_NONE;
    for (size_t i = 0; i < rules->floor_count; i++) {
        const struct floor_rule *floor = &rules->floors[i];
        if (prepared && prepared->wakes[i] != RULES_NONE &&
            prepared->wakes[i] != prepared->observable)
            continue;
        /* What forbids keep does so in doubt as well: a touch of green, "maybe", is worth another look. */
        bool seen = floor->when.count > 0 && may_hold(&floor->when, evidence) &&
                    condition_holds(reasoner, &floor->when, evidence, floor->forbids_keep);
        if (!seen && floor->contaminated_above >= 1.0 && floor->likely_count == 0)
            continue;
        if (seen && p_bad < floor->yields_below)
            seen = (words ? p_contaminated(reasoner, finding, words) : p_bad) >= 0.5;
        /* A bound of 1 means never, also when a sum of probabilities rounds to a little more. */
        bool likely = floor->contaminated_above < 1.0 && p_bad > floor->contaminated_above;
        double p_likely = 0.0;
        for (size_t k = 0; k < floor->likely_count; k++)
            p_likely += finding[floor->likely[k]];
        likely = likely || (floor->likely_count > 0 && p_likely > floor->likely_above);
        if ((!seen && !likely) || floor_rests(floor, evidence))
            continue;
        bool lifted = false;
        for (size_t k = 0; k < floor->unless_count && !lifted; k++)
            lifted = reason_holds(reasoner, &floor->unless[k], evidence);
        if (lifted)
            continue;
        if (floor->forbids_keep) {
            if (*forbids < 0)
                *forbids = (int)i;
        } else if (*forces < 0 || floor->action > rules->floors[*forces].action) {
            *forces = (int)i; /* enum action runs from the mildest to the gravest */
        }
    }
    if (*forces >= 0 && *forbids >= 0 && rules->floors[*forces].action == ACTION_KEEP)
        *forces = RULES_NONE;
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

/* What the sum alone would choose. */
static enum action unforced(const struct decision *decision)
{
    static const bool nothing_forbidden[ACTION_COUNT] = {false};
    return least(decision->loss, nothing_forbidden);
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
        if (listed && may_hold(&step->when, evidence) &&
            reason_holds(reasoner, &step->when, evidence))
            return (int)i;
    }
    return RULES_NONE;
}

/* Index of the highest of `p` other than `but` (SIZE_MAX: none left out); of equals the first. */
static size_t likeliest(const double *p, size_t count, size_t but)
{
    size_t best = but == 0 ? 1 : 0;
    for (size_t i = best + 1; i < count; i++)
        if (i != but && p[i] > p[best])
            best = i;
    return best < count ? best : 0;
}

/* As reason_decide but for the next step, from the probabilities of the findings alone. */
static void decide_on(const struct reasoner *reasoner, const struct evidence *evidence,
                      const double *finding, const struct stakes *stakes,
                      const struct prepared *prepared, struct decision *decision)
{
    const struct rules *rules = reasoner->rules;
    *decision = (struct decision){.floor = RULES_NONE, .next_step = RULES_NONE};
    const double p_bad =
        expected_losses(rules, stakes, prepared ? prepared->rows : NULL, finding, decision->loss);
    int forces, forbids;
    floors_find(reasoner, evidence, prepared, finding, p_bad, &forces, &forbids);
    decision->forbidden[ACTION_KEEP] = forbids >= 0;
    for (int a = 0; forces >= 0 && a < ACTION_COUNT; a++)
        decision->forbidden[a] = (enum action)a != rules->decision.floors[forces].action;
    decision->action = least(decision->loss, decision->forbidden);
    if (forces >= 0)
        decision->floor = forces;
    else if (forbids >= 0 && unforced(decision) == ACTION_KEEP)
        decision->floor = forbids;
}

void reason_decide(const struct reasoner *reasoner, const struct evidence *evidence,
                   const struct posterior *posterior, const struct stakes *stakes,
                   struct decision *decision)
{
    decide_on(reasoner, evidence, posterior->finding, stakes, NULL, decision);
    if (decision->action == ACTION_KEEP)
        decision->next_step = next_step(
            reasoner, evidence, likeliest(posterior->finding, reasoner->finding_count, SIZE_MAX));
}

enum action reason_action_unworded(const struct reasoner *reasoner, const struct evidence *evidence,
                                   const struct posterior *posterior, const struct stakes *stakes)
{
    const size_t findings = reasoner->finding_count;
    struct evidence seen = *evidence;
    struct decision decision;
    double *finding SCOPED_FREE = memory_array(findings, sizeof *finding);
    seen.words = NULL;
    for (size_t f = 0; f < findings; f++)
        finding[f] = posterior->finding[f] * exp(-evidence->words[f]);
    row_scale(finding, 1.0 / row_sum(finding, findings), findings);
    decide_on(reasoner, &seen, finding, stakes, NULL, &decision);
    return decision.action;
}

/* ---- what an answer would make of things ----------------------------------------------------- */

/*
 * An answer needs no new enumeration. With p_i what the observation i counts with now and p_i' what
 * it would then, where a stronger sign of its group lets it count less,
 *
 *   P(f,S) then  ~  P(f,S) now  prod_i l_i(f,S)^(p_i' - p_i),
 *
 * and only few factors change: that of the answer, those of its group, and where it names a species
 * those of what is normal on that. They depend on S by the causes that weigh on them alone, so the
 * joint is added up over the sets that hold the same of those.
 *
 * Most answers turn nothing, and most of those do not even need this. That the present action stands
 * is a list of inequalities sum_f P(f) c(f) > 0, linear in P: its loss is below the others', and the
 * chances on which floors depend stay on their side. No change of the odds of any two findings by
 * less than the least ratio of the positive and negative parts of those sums can turn the action.
 */

/* An answer a question could get. */
struct answer {
    struct observation said; /* all that is then known of the observable */
    size_t value;            /* the value it names; value_count: none of them (several-of) */
};

enum { MOST_ANSWERS = RULES_MAX_VALUES + 1 };

/* What an answer would make of things. */
struct outlook {
    bool turns;               /* the action, or what the sum alone would choose; */
    double saves;             /* loss of the present action less that of the one then taken */
    struct decision decision; /* then */
};

/* Something heard now. */
struct told {
    size_t observable;
    int group;
    struct recall *recall; /* NULL: no more */
    double alone;          /* what it counts with if nothing of its group is stronger */
    double power;          /* and so */
};

/* An observation would count so much more than now. */
struct change {
    struct recall *recall;
    double power;
    const double *p; /* l_i to that power */
};

/* Looks at answers; holds the present state and room for the next. */
struct asker {
    const struct reasoner *reasoner;
    const struct evidence *now;
    const struct posterior *posterior;
    const struct stakes *stakes;
    struct prepared prepared; /* for the answers about the observable looked at */
    struct decision decision; /* now */
    double *stands;           /* rows of c(f), see above */
    size_t stand_count;
    double reach;         /* ln of the change of odds that can turn the action */
    uint32_t *touched;    /* per observable, values that may change which floors hold */
    struct evidence then; /* of the observations below */
    struct observation *observations;
    int species;
    struct told *told, *told_then; /* now, and with an answer */
    size_t told_count;
    size_t observable; /* the one looked at */
    const struct sight *sight;
    struct change *changes; /* by an answer */
    size_t change_count;
    struct arena *arena;    /* of the arrays here */
    const double *by_cause; /* the posterior by [cause][finding] */
    int *causes;            /* those that weigh on what changes, */
    size_t cause_count;
    size_t ways,
        *sets; /* a set for each way to hold them, the posterior of all that do by finding */
    double *mass, *row;
    double *finding;    /* P(f) then, but for a factor */
    bool turning;       /* answers that would turn the action are noted: */
    struct turn *turns; /* so far */
    size_t turn_count;
};

/* Whether a question about it could add to what was said: not once a value was seen. */
static bool observation_open(const struct sight *sight, const struct observation *observation)
{
    uint32_t left = sight->all & ~(observation->absent & ~observation->hedged);
    if (observation->seen & sight->all)
        return false;
    return sight->several ? left != 0 : (left & (left - 1)) != 0;
}

/* The answers it could get; of a several-of "none of them" and "exactly this one". */
static size_t answers_find(const struct sight *sight, const struct observation *so_far,
                           struct answer answers[MOST_ANSWERS])
{
    uint32_t denied = so_far->absent & ~so_far->hedged & sight->all;
    size_t count = 0;
    if (sight->several)
        answers[count++] = (struct answer){{.absent = sight->all}, sight->value_count};
    for (size_t v = 0; v < sight->value_count; v++) {
        uint32_t bit = UINT32_C(1) << v;
        if (denied & bit)
            continue;
        answers[count++] =
            (struct answer){{.seen = bit, .absent = sight->several ? sight->all & ~bit : 0}, v};
    }
    return count;
}

/* ---- what must stay true for the action to stand --------------------------------------------- */

/* sum_f P(f) c(f) > 0, or the contrary where it is not so now. */
static void stands_add(struct asker *asker, const double *c)
{
    const size_t findings = asker->reasoner->finding_count;
    const double *p = asker->posterior->finding;
    const double sign = row_dot(p, c, findings) < 0.0 ? -1.0 : 1.0;
    double *row = asker->stands + asker->stand_count++ * findings, more = 0.0, less = 0.0;
    for (size_t f = 0; f < findings; f++) {
        row[f] = sign * c[f];
        (row[f] > 0.0 ? &more : &less)[0] += p[f] * fabs(row[f]);
    }
    asker->reach = fmin(asker->reach, less > 0.0 ? log(more / less) : asker->reach);
}

/* Losses linear in P: of keep, of discard, of isolating with each plan for what the next look shows. */
enum { PLANS = 4, LINEAR = 2 + PLANS };

static double linear_loss(const struct loss_row *row, size_t which)
{
    if (which < 2)
        return which == 0 ? row->losses[0] : row->losses[1] + row->losses[3];
    const double shows = row->chance[2];
    return row->losses[2] + shows * row->losses[which & 1] +
           (1.0 - shows) * row->losses[which >> 1 & 1];
}

static enum action linear_action(size_t which)
{
    return which == 0 ? ACTION_KEEP : which == 1 ? ACTION_DISCARD : ACTION_ISOLATE;
}

/* That this action has the least loss of those that are not forbidden. */
static void stands_least(struct asker *asker, enum action action, const bool *forbidden)
{
    const size_t findings = asker->reasoner->finding_count;
    size_t own = LINEAR;
    double losses[LINEAR] = {0.0};
    for (size_t l = 0; l < LINEAR; l++) {
        for (size_t f = 0; f < findings; f++)
            losses[l] += asker->posterior->finding[f] * linear_loss(&asker->prepared.rows[f], l);
        if (linear_action(l) == action && (own == LINEAR || losses[l] < losses[own]))
            own = l;
    }
    for (size_t l = 0; l < LINEAR; l++) {
        if (linear_action(l) == action || forbidden[linear_action(l)])
            continue;
        for (size_t f = 0; f < findings; f++)
            asker->row[f] = linear_loss(&asker->prepared.rows[f], l) -
                            linear_loss(&asker->prepared.rows[f], own);
        stands_add(asker, asker->row);
    }
}

/* That P(any of these findings) stays above or below a bound; `factor` is on P, or NULL. */
static void stands_bound(struct asker *asker, const double *share, double bound,
                         const double *words)
{
    for (size_t f = 0; f < asker->reasoner->finding_count; f++)
        asker->row[f] = (share[f] - bound) * (words ? exp(-words[f]) : 1.0);
    stands_add(asker, asker->row);
}

/* The chances by which a floor holds or not; and the values that would change whether it may. */
static void stands_floor(struct asker *asker, const struct floor_rule *floor)
{
    const struct reasoner *reasoner = asker->reasoner;
    const struct evidence *now = asker->now;
    const bool by_chance = floor->contaminated_above < 1.0 || floor->likely_count > 0;
    size_t at = 0;
    const size_t open = condition_open(reasoner, &floor->when, now, floor->forbids_keep, &at);
    int *wakes = &asker->prepared.wakes[floor - reasoner->rules->decision.floors];
    *wakes = RULES_NONE;
    if ((open > 0 && !by_chance) || floor_rests(floor, now))
        *wakes = open > 1 || floor_rests(floor, now) ? INT_MAX : (int)floor->when.observables[at];
    if (floor_rests(floor, now))
        return;
    if (open == 1)
        asker->touched[floor->when.observables[at]] |= floor->when.values[at];
    if (open > 0 && !by_chance)
        return;
    for (size_t k = 0; k < floor->unless_count; k++) {
        const size_t missing = condition_open(reasoner, &floor->unless[k], now, false, &at);
        if (missing == 0)
            return;
        if (missing == 1)
            asker->touched[floor->unless[k].observables[at]] |= floor->unless[k].values[at];
    }
    double *share SCOPED_FREE = memory_array(reasoner->finding_count, sizeof *share);
    for (size_t f = 0; f < reasoner->finding_count; f++)
        share[f] = contaminated(reasoner->rules, f) ? 1.0 : 0.0;
    if (floor->contaminated_above < 1.0)
        stands_bound(asker, share, floor->contaminated_above, NULL);
    if (floor->when.count > 0 && floor->yields_below > 0.0) {
        stands_bound(asker, share, floor->yields_below, NULL);
        stands_bound(asker, share, 0.5, now ? now->words : NULL);
    }
    if (floor->likely_count == 0)
        return;
    memset(share, 0, reasoner->finding_count * sizeof *share);
    for (size_t k = 0; k < floor->likely_count; k++)
        share[floor->likely[k]] += 1.0;
    stands_bound(asker, share, floor->likely_above, NULL);
}

static void stands_find(struct asker *asker)
{
    static const bool none[ACTION_COUNT] = {false};
    const struct reasoner *reasoner = asker->reasoner;
    const struct decision_rules *rules = &reasoner->rules->decision;
    const enum action first = unforced(&asker->decision);
    asker->stands =
        arena_room(asker->arena, (2 * LINEAR + 4 * rules->floor_count) * reasoner->finding_count,
                   sizeof *asker->stands);
    asker->reach = DBL_MAX;
    stands_least(asker, first, none);
    if (first != asker->decision.action)
        stands_least(asker, asker->decision.action, asker->decision.forbidden);
    for (size_t i = 0; i < rules->floor_count; i++)
        stands_floor(asker, &rules->floors[i]);
}

/* Whether all of it is true of these P(f), which may be scaled. */
FOR_WIDE_VECTORS static bool stands(const struct asker *asker, const double *finding, double sum)
{
    static const double noise = 1e-12;
    const size_t findings = asker->reasoner->finding_count;
    for (size_t i = 0; i < asker->stand_count; i++)
        if (!(row_dot(asker->stands + i * findings, finding, findings) > noise * sum))
            return false;
    return true;
}

/* ---- what was said, and how much it counts --------------------------------------------------------------- */

/* Whether a sign is the stronger of two of a group; of equals the first in the files. */
static bool stronger(const struct recall *a, const struct recall *b)
{
    return a->strength > b->strength ||
           (a->strength == b->strength && a->observable < b->observable);
}

/* What each counts with beside the others of its group. */
static void powers_find(const struct reasoner *reasoner, struct told *told, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        told[i].power = told[i].recall != NULL ? told[i].alone : 0.0;
        for (size_t j = 0; told[i].group >= 0 && j < count; j++)
            if (told[j].group == told[i].group && stronger(told[j].recall, told[i].recall))
                told[i].power *= 1.0 - reasoner->rules->groups[told[i].group].overlap;
    }
}

static struct told told_as(const struct asker *asker, int species, size_t observable,
                           const struct observation *said)
{
    const struct calibration *calibration = &asker->reasoner->rules->calibration;
    const bool answered = asker->now && asker->now->answered && asker->now->answered[observable];
    return (struct told){
        .observable = observable,
        .group = asker->reasoner->sights[observable].group,
        .recall = recall_of(asker->reasoner, asker->posterior, species, observable, said),
        .alone = calibration->tau * (answered ? calibration->answered : 1.0)};
}

/* ---- beginning and end ----------------------------------------------------------------------- */

static void asker_init(struct asker *asker, const struct reasoner *reasoner,
                       const struct evidence *evidence, const struct posterior *posterior,
                       const struct stakes *stakes)
{
    struct arena *arena = arena_new();
    size_t findings = reasoner->finding_count, sets = reasoner->set_count;
    size_t observables = reasoner->observable_count;
    *asker = (struct asker){
        .reasoner = reasoner,
        .now = evidence,
        .posterior = posterior,
        .stakes = stakes,
        .prepared.rows = arena_room(arena, findings, sizeof *asker->prepared.rows),
        .prepared.wakes = arena_array(arena, reasoner->rules->decision.floor_count, sizeof(int)),
        .touched = arena_array(arena, observables, sizeof *asker->touched),
        .species = evidence_species(reasoner, evidence),
        .arena = arena,
        .observations = arena_array(arena, observables, sizeof *asker->observations),
        .told = arena_room(arena, observables, sizeof *asker->told),
        .told_then = arena_room(arena, observables + 1, sizeof *asker->told),
        .changes = arena_room(arena, 2 * observables + 2, sizeof *asker->changes),
        .by_cause = posterior_by_cause(posterior, reasoner),
        .causes = arena_room(arena, reasoner->cause_count, sizeof *asker->causes),
        .sets = arena_array(arena, sets, sizeof *asker->sets),
        .mass = arena_room(arena, sets * findings, sizeof(double)),
        .row = arena_room(arena, findings, sizeof(double)),
        .finding = arena_room(arena, findings, sizeof(double)),
    };
    if (evidence)
        asker->then = *evidence;
    asker->then.observations = asker->observations;
    for (size_t i = 0; i < observables; i++) {
        const struct observation *said = &asker->observations[i];
        asker->observations[i] = observation_of(evidence, i);
        if (observation_tells(&reasoner->sights[i], said))
            asker->told[asker->told_count++] = told_as(asker, asker->species, i, said);
    }
    powers_find(reasoner, asker->told, asker->told_count);
    memcpy(asker->mass, posterior->finding, findings * sizeof *asker->mass); /* of no causes */
    asker->ways = 1;
    if (stakes == NULL)
        return;
    for (size_t f = 0; f < findings; f++)
        asker->prepared.rows[f] = loss_row(reasoner->rules, stakes, f);
    decide_on(reasoner, evidence, posterior->finding, stakes, NULL, &asker->decision);
    stands_find(asker);
}

static void asker_release(struct asker *asker)
{
    arena_free(asker->arena);
}

/* Turns to an observable, then answers about it are looked at. */
static void asker_turn(struct asker *asker, size_t observable)
{
    asker->observable = observable;
    asker->prepared.observable = (int)observable;
    asker->sight = &asker->reasoner->sights[observable];
}

/* ---- what an answer changes ------------------------------------------------------------------ */

static void change_add(struct asker *asker, struct recall *recall, double power)
{
    if (power != 0.0)
        asker->changes[asker->change_count++] = (struct change){recall, power, NULL};
}

/* What changes if this (NULL: nothing) is said of the observable looked at. */
static void changes_find(struct asker *asker, const struct observation *said)
{
    const struct rules *rules = asker->reasoner->rules;
    const size_t observable = asker->observable, before = asker->told_count;
    const int species = rules->feeder[FEEDS_SPECIES] == (int)observable
                            ? species_named(asker->reasoner, said)
                            : asker->species;
    struct told *then = asker->told_then;
    size_t at = 0, count;
    memcpy(then, asker->told, before * sizeof *then);
    while (at < before && then[at].observable != observable)
        at++;
    count = at == before ? before + 1 : before;
    then[at] = said ? told_as(asker, species, observable, said) : (struct told){.group = -1};
    for (size_t i = 0; i < before && species != asker->species; i++)
        if (i != at && (species_speaks(rules, species, then[i].observable) ||
                        species_speaks(rules, asker->species, then[i].observable)))
            then[i] = told_as(asker, species, then[i].observable,
                              &asker->observations[then[i].observable]);
    asker->change_count = 0;
    if (at == before && then[at].group < 0 &&
        species == asker->species) { /* all else counts as before */
        change_add(asker, then[at].recall, then[at].alone);
        return;
    }
    powers_find(asker->reasoner, then, count);
    for (size_t i = count; i-- > 0;) {
        const struct told *now = i < before ? &asker->told[i] : NULL;
        const bool same = now && now->recall == then[i].recall;
        change_add(asker, then[i].recall, then[i].power - (same ? now->power : 0.0));
        if (now && !same)
            change_add(asker, now->recall, -now->power);
    }
}

/* ln of how far the odds of two findings can change by that. */
static double changes_reach(const struct asker *asker)
{
    double reach = 0.0;
    for (size_t i = 0; i < asker->change_count; i++)
        reach += asker->changes[i].recall->span * fabs(asker->changes[i].power);
    return reach;
}

/* The posterior added up over the sets that hold the same of the causes that weigh on what changes. A pair
 * is one set; one alone has what is left of its sets, and none of them what is left of all. */
FOR_WIDE_VECTORS static void mass_find(struct asker *asker)
{
    const struct reasoner *reasoner = asker->reasoner;
    const size_t findings = reasoner->finding_count, size = findings * sizeof(double);
    size_t count = 0, ways;
    bool same = true;
    for (size_t i = 0; i < asker->change_count; i++) {
        const struct sight *sight = &reasoner->sights[asker->changes[i].recall->observable];
        for (size_t k = 0; k < sight->cause_count; k++) {
            size_t at = 0;
            while (at < count && asker->causes[at] != sight->causes[k])
                at++;
            if (at < count)
                continue;
            same = same && count < asker->cause_count && asker->causes[count] == sight->causes[k];
            asker->causes[count++] = sight->causes[k];
        }
    }
    if (same && count == asker->cause_count)
        return;
    asker->cause_count = count;
    memcpy(asker->mass, asker->posterior->finding, size);
    for (size_t a = 0; a < count; a++) {
        double *row = asker->mass + (1 + a) * findings;
        asker->sets[1 + a] = set_index(reasoner->cause_count, asker->causes[a], RULES_NONE);
        memcpy(row, asker->by_cause + (size_t)asker->causes[a] * findings, size);
        row_add_times(asker->mass, row, -1.0, findings);
    }
    ways = 1 + count;
    for (size_t a = 0; a < count; a++)
        for (size_t b = a + 1; b < count; b++, ways++) {
            const size_t set = set_index(reasoner->cause_count, asker->causes[a], asker->causes[b]);
            const double *both = asker->posterior->joint + set * findings;
            asker->sets[ways] = set;
            memcpy(asker->mass + ways * findings, both, size);
            row_add(asker->mass, both, findings); /* it was taken off twice */
            row_add_times(asker->mass + (1 + a) * findings, both, -1.0, findings);
            row_add_times(asker->mass + (1 + b) * findings, both, -1.0, findings);
        }
    asker->ways = ways;
}

/* l_i to its power for a set of causes, by finding. */
static inline const double *change_row(const struct asker *asker, size_t nth, size_t set)
{
    const struct change *change = &asker->changes[nth];
    const struct sight *sight = &asker->reasoner->sights[change->recall->observable];
    return change->p + sight->pattern[set] * asker->reasoner->finding_count;
}

/* P(f) after the changes, but for a factor; returns its sum. */
FOR_WIDE_VECTORS static double changes_sum(struct asker *asker)
{
    const size_t findings = asker->reasoner->finding_count;
    double *finding = asker->finding;
    for (size_t i = 0; i < asker->change_count; i++)
        asker->changes[i].p =
            recall_raised(asker->reasoner, asker->changes[i].recall, asker->changes[i].power);
    if (asker->change_count == 0) {
        memcpy(finding, asker->posterior->finding, findings * sizeof *finding);
        return 1.0;
    }
    mass_find(asker);
    memset(finding, 0, findings * sizeof *finding);
    for (size_t k = 0; k < asker->ways; k++) {
        const double *row = asker->mass + k * findings;
        for (size_t i = 1; i < asker->change_count; i++, row = asker->row)
            row_product(asker->row, row, change_row(asker, i, asker->sets[k]), findings);
        row_add_product(finding, row, change_row(asker, 0, asker->sets[k]), findings);
    }
    return row_sum(finding, findings);
}

/* P(f), but for a factor, if that (NULL: nothing) is said of the observable looked at; returns its sum, or
 * 0 if it cannot change the odds by `least`. */
static double findings_if(struct asker *asker, const struct observation *said, double least)
{
    changes_find(asker, said);
    return changes_reach(asker) < least ? 0.0 : changes_sum(asker);
}

/* P(answer), but for a factor common to the answers; given what was said of the observable already. */
static double answer_weight(struct asker *asker, const struct observation *said)
{
    const struct observation *so_far = &asker->observations[asker->observable];
    /* What was passed over in silence is there with the chance that it would have been. */
    double unspoken = 1.0;
    for (uint32_t found = so_far->silent & said->seen; found != 0; found &= found - 1)
        unspoken *= 1.0 - asker->reasoner->rules->calibration.silence;
    asker->change_count = 0;
    change_add(asker, told_as(asker, asker->species, asker->observable, said).recall, 1.0);
    if (observation_tells(asker->sight, so_far))
        change_add(asker, told_as(asker, asker->species, asker->observable, so_far).recall, -1.0);
    return unspoken * changes_sum(asker);
}

static void asker_look(struct asker *asker, const struct answer *answer, struct outlook *outlook)
{
    static const double margin = 1e-9;
    const size_t observable = asker->observable, findings = asker->reasoner->finding_count;
    const struct observation so_far = asker->observations[observable];
    const bool touched = (asker->touched[observable] & answer->said.seen) != 0;
    const double sum = findings_if(asker, &answer->said, touched ? -1.0 : asker->reach - margin);
    outlook->turns = sum > 0.0 && (touched || !stands(asker, asker->finding, sum));
    if (!outlook->turns)
        return;
    row_scale(asker->finding, 1.0 / sum, findings);
    asker->observations[observable] = answer->said;
    decide_on(asker->reasoner, &asker->then, asker->finding, asker->stakes, &asker->prepared,
              &outlook->decision);
    asker->observations[observable] = so_far;
    const double *loss = outlook->decision.loss;
    const enum action then = unforced(&outlook->decision), now = unforced(&asker->decision);
    outlook->saves =
        fmax(loss[asker->decision.action] - loss[outlook->decision.action], loss[now] - loss[then]);
    outlook->turns = outlook->decision.action != asker->decision.action || then != now;
}

/* ---- the next question ----------------------------------------------------------------------- */

/*
 * Which question to ask next: the expected value of sample information.
 *
 * With a the present action and a(v) the one after answer v, the gain of asking
 * about an observable is
 *
 *   sum_v P(v|E) max(0, loss(a | E, v) - loss(a(v) | E, v))  -  effort x effort_loss.
 *
 * The most gain per effort is asked first: what takes effort to find out is seldom known.
 *
 * Where evidence is neither tempered nor discounted, and a is keep or discard,
 * that is the textbook's least loss now less expected least loss then. Tempered
 * posteriors need not average to the present one, and the plan within isolate
 * may improve by itself; so what is counted is what a change of action saves. A
 * change that a floor demands against the sum saves nothing: it raises `turns`
 * and never lowers `gain`. A change of what the sum alone would choose counts like
 * one of the action: an answer may be a step towards leaving a floor behind.
 *
 * One-of and number observables are exact. Of a several-of, whose answers are
 * two to the power of its values, "none of them" and "exactly this one" stand
 * for all, their probabilities scaled to 1.
 */

/* With this mass on findings that shed harmful spores, nobody should go near enough to notice. */
static const double GATE_MASS = 0.3;
/* A question that teaches less about the causes is not worth the breath. */
static const double LEAST_BITS = 0.001;
static const double LEAST_EFFORT = 0.1;

/* Whether it must not be put: never asked, or unsolicited while harmful spores are likely. */
static bool question_gated(const struct observable *observable, const struct posterior *posterior)
{
    double spores = posterior->hazard[HAZARD_SPORING] + posterior->hazard[HAZARD_TOXIGENIC];
    return observable->gate == GATE_NEVER_ASKED ||
           (observable->gate == GATE_UNSOLICITED && spores > GATE_MASS);
}

/* Notes a turn that is likely enough to be named. */
static void turns_add(struct asker *asker, struct turn turn)
{
    static const double LEAST_TURN = 0.001;
    if (asker->turning && turn.probability >= LEAST_TURN)
        *arena_push(asker->arena, asker->turns, asker->turn_count) = turn;
}

static double share_bits(double then, double now)
{
    return then > 0.0 && now > 0.0 ? then * log2(then / now) : 0.0;
}

/* Divergence of P(f), or of P(S), after the changes that add up to `sum` from what they are now, in bits. */
FOR_WIDE_VECTORS static double divergence(struct asker *asker, enum aim aim, double sum)
{
    const struct reasoner *reasoner = asker->reasoner;
    const size_t findings = reasoner->finding_count;
    const double *now = asker->posterior->finding;
    double bits = 0.0;
    if (aim == AIM_ACTION) {
        for (size_t f = 0; f < findings; f++)
            bits += share_bits(asker->finding[f] / sum, now[f]);
    } else if (asker->change_count == 1 && asker->changes[0].recall->flat) {
        for (size_t k = 0; k < asker->ways; k++) { /* sets alike change alike */
            const double had = row_sum(asker->mass + k * findings, findings);
            bits += share_bits(had * *change_row(asker, 0, asker->sets[k]) / sum, had);
        }
    } else {
        for (size_t s = 0; s < reasoner->set_count; s++) {
            const double *had = asker->posterior->joint + s * findings, *row = had;
            for (size_t i = 0; i < asker->change_count; i++, row = asker->row)
                row_product(asker->row, row, change_row(asker, i, s), findings);
            bits += share_bits(row_sum(row, findings) / sum, row_sum(had, findings));
        }
    }
    return bits > 0.0 ? bits : 0.0;
}

/* What the answers would tell of the findings or the causes. */
static double bits_of(struct asker *asker, enum aim aim, size_t observable)
{
    struct answer answers[MOST_ANSWERS];
    double bits = 0.0, total = 0.0;
    asker_turn(asker, observable);
    size_t count = answers_find(asker->sight, &asker->observations[observable], answers);
    for (size_t k = 0; k < count; k++) {
        const double sum = findings_if(asker, &answers[k].said, -1.0);
        const double each = divergence(asker, aim, sum);
        const double weight = answer_weight(asker, &answers[k].said);
        bits += weight * each;
        total += weight;
    }
    return bits / total;
}

/* What asking would bring, but for the bits; the answers that would turn the action are noted. */
static struct question value_of(struct asker *asker, size_t observable)
{
    const struct rules *rules = asker->reasoner->rules;
    struct question question = {.observable = observable, .bits = NAN};
    struct answer answers[MOST_ANSWERS];
    struct outlook outlooks[MOST_ANSWERS];
    double weights[MOST_ANSWERS], total = 0.0;
    bool turns = false;
    asker_turn(asker, observable);
    size_t count = answers_find(asker->sight, &asker->observations[observable], answers);
    for (size_t k = 0; k < count; k++) {
        asker_look(asker, &answers[k], &outlooks[k]);
        turns = turns || outlooks[k].turns;
    }
    for (size_t k = 0; turns && k < count; k++)
        total += weights[k] = answer_weight(asker, &answers[k].said);
    for (size_t k = 0; turns && k < count; k++) {
        if (!outlooks[k].turns)
            continue;
        if (outlooks[k].decision.action != asker->decision.action)
            turns_add(asker, (struct turn){observable, answers[k].value,
                                           outlooks[k].decision.action, weights[k] / total, false});
        question.turns += weights[k] / total;
        question.gain += weights[k] * fmax(0.0, outlooks[k].saves) / total;
    }
    question.gain -= rules->observables[observable].effort * rules->decision.effort_loss;
    return question;
}

/* The greater number first; of equals the earlier place. */
static int by_number(double a, double b, size_t place_a, size_t place_b)
{
    return a != b ? ORDER(b, a) : ORDER(place_a, place_b);
}

/* ---- why it came out so, and what would turn it --------------------------------------------- */

/*
 * The weight of an answer is what the odds of the leader against its best rival
 * lose when that answer alone is left out, in decibans (ten times the common
 * logarithm; Good, "Probability and the Weighing of Evidence", 1950). Answers
 * within one group are worth less left out singly than together.
 *
 * That an answer a was a slip and v is true has, by Bayes' rule, the probability
 *
 *   P(v) s/n  /  [ P(a) (1 - s) + s/n sum_u P(u) ],    u over the n other answers,
 *
 * where P is what the rest of the evidence predicts and s the rate of slips:
 * SLIP_RATE, or 1 - calibration.hedge for what was said with doubt.
 */

static const double SLIP_RATE = 0.05;
/* Of decibans: less is what adding up leaves. */
static const double ROUNDING = 1e-9;

static int by_magnitude(const void *left, const void *right)
{
    const struct weight_of_evidence *a = left, *b = right;
    return fabs(fabs(a->decibans) - fabs(b->decibans)) < ROUNDING
               ? by_number(0.0, 0.0, a->observable, b->observable)
               : by_number(fabs(a->decibans), fabs(b->decibans), 0, 0);
}

static double log_odds(const double *finding, const struct explanation *explanation)
{
    return log10(finding[explanation->leader]) - log10(finding[explanation->rival]);
}

void reason_explain(const struct reasoner *reasoner, const struct evidence *evidence,
                    const struct posterior *posterior, struct explanation *explanation)
{
    const size_t findings = reasoner->finding_count;
    struct asker asker;
    asker_init(&asker, reasoner, evidence, posterior, NULL);
    explanation->leader = likeliest(posterior->finding, findings, SIZE_MAX);
    explanation->rival = likeliest(posterior->finding, findings, explanation->leader);
    explanation->weight_count = 0;
    double with = log_odds(posterior->finding, explanation);
    for (size_t i = 0; i < asker.told_count; i++) {
        asker_turn(&asker, asker.told[i].observable);
        findings_if(&asker, NULL, -1.0);
        const double weight = 10.0 * (with - log_odds(asker.finding, explanation));
        explanation->weights[explanation->weight_count++] =
            (struct weight_of_evidence){asker.observable, fabs(weight) < ROUNDING ? 0.0 : weight};
    }
    asker_release(&asker);
    qsort(explanation->weights, explanation->weight_count, sizeof *explanation->weights,
          by_magnitude);
}

/* The likeliest first. */
static int by_probability(const void *left, const void *right)
{
    const struct turn *a = left, *b = right;
    return by_number(a->probability, b->probability, a->observable * (MOST_ANSWERS + 1) + a->value,
                     b->observable * (MOST_ANSWERS + 1) + b->value);
}

/* P(said) by all but what was said of it, but for a factor. */
static double predicted(struct asker *asker, const struct observation *said)
{
    changes_find(asker, NULL);
    change_add(asker, told_as(asker, asker->species, asker->observable, said).recall, 1.0);
    return changes_sum(asker);
}

/* Notes the alternatives that would turn the action, each with its chance of being the truth. */
static void slips_add(struct asker *asker, size_t observable, const struct answer *others,
                      const struct decision *decisions, size_t count)
{
    const struct reasoner *reasoner = asker->reasoner;
    struct observation said = observation_of(asker->now, observable), plain = said;
    double p[MOST_ANSWERS], total = 0.0;
    double slip = said.hedged ? 1.0 - reasoner->rules->calibration.hedge : SLIP_RATE;
    plain.hedged = 0;
    for (size_t k = 0; k < count; k++)
        total += p[k] = predicted(asker, &others[k].said);
    double each = slip / (double)count;
    double all = predicted(asker, &plain) * (1.0 - slip) + each * total;
    for (size_t k = 0; k < count; k++)
        if (decisions[k].action != asker->decision.action)
            turns_add(asker, (struct turn){observable, others[k].value, decisions[k].action,
                                           p[k] * each / all, true});
}

/* An answer that was given: would the action be another, had it been one of the others? */
static void turns_if_mistaken(struct asker *asker, size_t observable)
{
    const struct reasoner *reasoner = asker->reasoner;
    const struct sight *sight = &reasoner->sights[observable];
    const struct observation said = asker->observations[observable];
    struct answer others[MOST_ANSWERS];
    struct decision decisions[MOST_ANSWERS];
    /* What could have been said instead of `said`: another value, or of a several-of none of them. */
    uint32_t stated = (said.seen | said.absent) & sight->all;
    uint32_t held = sight->several ? said.seen : observation_possible(sight, &said);
    size_t count = 0;
    if (sight->several && (said.seen & sight->all))
        others[count++] =
            (struct answer){{.absent = stated, .silent = said.silent}, sight->value_count};
    for (size_t v = 0; v < sight->value_count; v++) {
        uint32_t bit = UINT32_C(1) << v;
        if (sight->several ? held == bit : (held & bit) != 0)
            continue;
        others[count++] = (struct answer){{.seen = bit,
                                           .absent = sight->several ? stated & ~bit : 0,
                                           .silent = said.silent & ~bit},
                                          v};
    }
    bool turned = false;
    asker_turn(asker, observable);
    for (size_t k = 0; k < count; k++) {
        const double sum = findings_if(asker, &others[k].said, -1.0);
        row_scale(asker->finding, 1.0 / sum, reasoner->finding_count);
        asker->observations[observable] = others[k].said;
        decide_on(reasoner, &asker->then, asker->finding, asker->stakes, &asker->prepared,
                  &decisions[k]);
        asker->observations[observable] = said;
        turned = turned || decisions[k].action != asker->decision.action;
    }
    if (turned)
        slips_add(asker, observable, others, decisions, count);
}

/* ---- the questions, and the turns found on the way ----------------------------------------------- */

struct rated {
    struct question question;
    double key;
};

static int by_key(const void *left, const void *right)
{
    const struct rated *a = left, *b = right;
    int by = by_number(a->key, b->key, 0, 0);
    return by ? by
              : by_number(a->question.bits, b->question.bits, a->question.observable,
                          b->question.observable);
}

/* The likeliest turns, of slips as well. */
static void turns_tell(struct asker *asker, struct turns *turns)
{
    for (size_t i = 0; i < asker->reasoner->observable_count; i++) {
        const struct observation *said = &asker->observations[i];
        if ((said->seen | said->absent) != 0 &&
            observation_tells(&asker->reasoner->sights[i], said))
            turns_if_mistaken(asker, i);
    }
    array_sort(asker->turns, asker->turn_count, by_probability);
    turns->count = asker->turn_count < turns->most ? asker->turn_count : turns->most;
    for (size_t i = 0; i < turns->count; i++)
        turns->list[i] = asker->turns[i];
}

size_t reason_questions(const struct reasoner *reasoner, const struct evidence *evidence,
                        const struct posterior *posterior, const struct stakes *stakes,
                        const struct inquiry *inquiry, struct question *questions)
{
    struct asker asker;
    asker_init(&asker, reasoner, evidence, posterior, stakes);
    asker.turning = inquiry->turns != NULL;
    struct rated *rated = arena_array(asker.arena, reasoner->observable_count, sizeof *rated);
    /* Rates every question that may be asked and is worth it; returns how many. */
    const struct rules *rules = asker.reasoner->rules;
    enum aim aim = inquiry->aim;
    double most_turns = 0.0;
    size_t counted = 0;
    for (size_t i = 0; i < rules->observable_count; i++) {
        const struct observable *observable = &asker.reasoner->rules->observables[i];
        struct observation so_far = observation_of(asker.now, i);
        if ((observable->class == CLASS_TEST) != inquiry->tests ||
            (inquiry->skip && inquiry->skip[i]) ||
            !observation_open(&asker.reasoner->sights[i], &so_far) ||
            question_gated(observable, asker.posterior))
            continue;
        struct question question = value_of(&asker, i);
        if (aim == AIM_CAUSE)
            question.bits = bits_of(&asker, aim, i);
        double key = (aim == AIM_CAUSE ? question.bits : question.gain) /
                     fmax(LEAST_EFFORT, rules->observables[i].effort);
        most_turns = fmax(most_turns, question.turns);
        if (aim == AIM_CAUSE ? question.bits > LEAST_BITS : question.turns > 0.0)
            rated[counted++] = (struct rated){question, key};
    }
    size_t count = aim == AIM_ACTION && !(most_turns > rules->decision.settled) ? 0 : counted;
    qsort(rated, count, sizeof *rated, by_key);
    for (size_t i = 0; i < count && aim == AIM_ACTION; i++)
        if (!inquiry->only_first || i == 0 || rated[i].key == rated[i - 1].key ||
            (i + 1 < count && rated[i].key == rated[i + 1].key))
            rated[i].question.bits = bits_of(&asker, aim, rated[i].question.observable);
    qsort(rated, count, sizeof *rated, by_key);
    if (count > inquiry->most)
        count = inquiry->most;
    for (size_t i = 0; i < count; i++)
        questions[i] = rated[i].question;
    if (inquiry->turns != NULL)
        turns_tell(&asker, inquiry->turns);
    asker_release(&asker);
    return count;
}
