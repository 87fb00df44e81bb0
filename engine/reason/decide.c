/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
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

/* The floors that apply: the forcing one of the gravest action, the first that forbids. */
static void floors_find(const struct reasoner *reasoner, const struct evidence *evidence,
                        const double *finding, double p_bad, int *forces, int *forbids)
{
    const struct decision_rules *rules = &reasoner->rules->decision;
    const double *words = evidence ? evidence->words : NULL;
    *forces = *forbids = RULES_NONE;
    for (size_t i = 0; i < rules->floor_count; i++) {
        const struct floor_rule *floor = &rules->floors[i];
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
        const bool objected = evidence && evidence->objected;
        bool understood = floor->unread_above > 0.0 &&
                          (double)(evidence ? evidence->unread : 0) <= floor->unread_above;
        if (understood || (!seen && !likely) || (floor->after_objection && !objected))
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

/* As reason_decide, from the probabilities of the findings alone. */
static void decide_on(const struct reasoner *reasoner, const struct evidence *evidence,
                      const double *finding, const struct stakes *stakes,
                      const struct loss_row *rows, struct decision *decision)
{
    const struct rules *rules = reasoner->rules;
    *decision = (struct decision){.floor = RULES_NONE, .next_step = RULES_NONE};
    const double p_bad = expected_losses(rules, stakes, rows, finding, decision->loss);
    int forces, forbids;
    floors_find(reasoner, evidence, finding, p_bad, &forces, &forbids);
    decision->forbidden[ACTION_KEEP] = forbids >= 0;
    for (int a = 0; forces >= 0 && a < ACTION_COUNT; a++)
        decision->forbidden[a] = (enum action)a != rules->decision.floors[forces].action;
    decision->action = least(decision->loss, decision->forbidden);
    if (forces >= 0)
        decision->floor = forces;
    else if (forbids >= 0 && unforced(decision) == ACTION_KEEP)
        decision->floor = forbids;
    if (decision->action == ACTION_KEEP)
        decision->next_step =
            next_step(reasoner, evidence, likeliest(finding, rules->finding_count, SIZE_MAX));
}

void reason_decide(const struct reasoner *reasoner, const struct evidence *evidence,
                   const struct posterior *posterior, const struct stakes *stakes,
                   struct decision *decision)
{
    decide_on(reasoner, evidence, posterior->finding, stakes, NULL, decision);
}

/* ---- what an answer would make of things ----------------------------------------------------- */

/* Most answers can be looked at without a new enumeration. The joint, added up
 * over the sets that look alike to the observable asked about, is all that turns
 * an answer's likelihood into the findings' next posterior. Where the answer
 * would change how others count (a stronger sign in its group, a species with
 * its own normality, a statement it completes), the posterior is computed afresh. */

/* An answer a question could get. */
struct answer {
    struct observation said; /* all that is then known of the observable */
    size_t value;            /* the value it names; value_count: none of them (several-of) */
};

enum { MOST_ANSWERS = RULES_MAX_VALUES + 1 };

/* What an answer would make of things. */
struct outlook {
    double weight;            /* its probability, but for a factor common to the answers */
    const double *then;       /* P(f), or P(S) for the causes, then */
    double saves;             /* loss of the present action less that of the one then taken */
    struct decision decision; /* then */
};

/* Looks at answers; holds the present state and room for the next. */
struct asker {
    const struct reasoner *reasoner;
    const struct evidence *now;
    const struct posterior *posterior;
    const struct stakes *stakes;
    struct loss_row *rows;    /* of the stakes */
    struct decision decision; /* now */
    struct evidence then;     /* of the observations below */
    struct observation *observations;
    struct posterior *trial;
    int species;
    bool species_matters; /* something heard has another normality on some species */
    size_t observable;    /* the one looked at, */
    const struct sight *sight;
    size_t cells;              /* its patterns times findings, */
    struct observation so_far; /* and what was said of it */
    struct arena *arena;       /* of the arrays that follow, and of those above */
    double *mass;              /* posterior by [pattern][finding] of the observable asked about */
    double *unsaid;            /* the same, but for what was said of that so far */
    double *by_cause;          /* the posterior by [cause][finding] */
    double *finding;           /* P(f) then, for each answer */
    double *set, *set_now;     /* P(S) then, likewise, and now */
    struct strength {          /* of those heard now that are in a group */
        size_t observable;
        int group;
        double strength;
    } * strengths;
    size_t strength_count;
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

/* P(S) of a posterior. */
static void sets_sum(const struct reasoner *reasoner, const struct posterior *posterior,
                     double *set)
{
    for (size_t s = 0; s < reasoner->set_count; s++)
        set[s] = row_sum(posterior->joint + s * reasoner->finding_count, reasoner->finding_count);
}

/* P(f, c in S) of a posterior, [cause][finding]. */
static void causes_sum(const struct reasoner *reasoner, const struct posterior *posterior,
                       double *by_cause)
{
    const size_t findings = reasoner->finding_count;
    memset(by_cause, 0, reasoner->cause_count * findings * sizeof *by_cause);
    for (size_t s = 1; s < reasoner->set_count; s++)
        for (int k = 0; k < SET_MAX_CAUSES && reasoner->sets[s][k] >= 0; k++)
            row_add(by_cause + (size_t)reasoner->sets[s][k] * findings,
                    posterior->joint + s * findings, findings);
}

static void asker_init(struct asker *asker, const struct reasoner *reasoner,
                       const struct evidence *evidence, const struct posterior *posterior,
                       const struct stakes *stakes)
{
    struct arena *arena = arena_new();
    size_t findings = reasoner->finding_count, sets = reasoner->set_count;
    size_t observables = reasoner->observable_count, cells = reasoner->most_patterns * findings;
    *asker = (struct asker){
        .reasoner = reasoner,
        .now = evidence,
        .posterior = posterior,
        .trial = posterior_trial(posterior, reasoner),
        .stakes = stakes,
        .rows = arena_room(arena, findings, sizeof *asker->rows),
        .species = evidence_species(reasoner, evidence),
        .arena = arena,
        .observations = arena_array(arena, observables, sizeof *asker->observations),
        .mass = arena_room(arena, cells, sizeof(double)),
        .unsaid = arena_room(arena, cells, sizeof(double)),
        .by_cause = arena_room(arena, reasoner->cause_count * findings, sizeof(double)),
        .finding = arena_room(arena, MOST_ANSWERS * findings, sizeof(double)),
        .set = arena_room(arena, MOST_ANSWERS * sets, sizeof(double)),
        .set_now = arena_room(arena, sets, sizeof(double)),
        .strengths = arena_array(arena, observables, sizeof *asker->strengths),
    };
    if (evidence)
        asker->then = *evidence;
    asker->then.observations = asker->observations;
    for (size_t i = 0; i < observables; i++) {
        const struct observation *said = &asker->observations[i];
        asker->observations[i] = observation_of(evidence, i);
        if (!observation_tells(&reasoner->sights[i], said))
            continue;
        const struct recall *recall = recall_of(reasoner, posterior, asker->species, i, said);
        if (reasoner->sights[i].group >= 0)
            asker->strengths[asker->strength_count++] =
                (struct strength){i, reasoner->sights[i].group, recall->strength};
        for (size_t s = 0; s < reasoner->rules->species_count; s++)
            if (species_speaks(reasoner->rules, (int)s, i))
                asker->species_matters = true;
    }
    sets_sum(reasoner, posterior, asker->set_now);
    causes_sum(reasoner, posterior, asker->by_cause);
    for (size_t f = 0; f < findings; f++)
        asker->rows[f] = loss_row(reasoner->rules, stakes, f);
    decide_on(reasoner, evidence, posterior->finding, stakes, asker->rows, &asker->decision);
}

static void asker_release(struct asker *asker)
{
    arena_free(asker->arena);
}

/* A posterior added up over the sets that look alike to an observable: [pattern][finding]. Patterns of two causes are
 * one set each; those of one have what is left of its sets, and none of them what is left of all. */
static void mass_by_pattern(const struct reasoner *reasoner, const struct posterior *posterior,
                            const double *by_cause, size_t observable, double *mass)
{
    const struct sight *sight = &reasoner->sights[observable];
    size_t findings = reasoner->finding_count, size = findings * sizeof *mass;
    memcpy(mass, posterior->finding, size);
    for (size_t c = 0; c < sight->cause_count; c++) {
        memcpy(mass + (1 + c) * findings, by_cause + (size_t)sight->causes[c] * findings, size);
        row_add_times(mass, mass + (1 + c) * findings, -1.0, findings);
    }
    for (size_t k = 0; k < sight->pair_count; k++) {
        double *row = mass + (1 + sight->cause_count + k) * findings;
        int causes[SET_MAX_CAUSES];
        memcpy(row, posterior->joint + sight->pairs[k] * findings, size);
        set_members(sight->cause_count, 1 + sight->cause_count + k, causes);
        row_add(mass, row, findings); /* it was taken off twice */
        for (int i = 0; i < SET_MAX_CAUSES; i++)
            row_add_times(mass + (1 + (size_t)causes[i]) * findings, row, -1.0, findings);
    }
}

/* Turns to an observable, then asker_look looks at answers about it. */
static void asker_turn(struct asker *asker, size_t observable)
{
    const struct reasoner *reasoner = asker->reasoner;
    asker->observable = observable;
    asker->sight = &reasoner->sights[observable];
    asker->cells = asker->sight->pattern_count * reasoner->finding_count;
    asker->so_far = observation_of(asker->now, observable);
    mass_by_pattern(reasoner, asker->posterior, asker->by_cause, observable, asker->mass);
    if (!observation_tells(asker->sight, &asker->so_far))
        return;
    struct recall *recall =
        recall_of(reasoner, asker->posterior, asker->species, observable, &asker->so_far);
    const double *said = recall_raised(reasoner, asker->posterior, recall, 1.0);
    for (size_t k = 0; k < asker->cells; k++)
        asker->unsaid[k] = asker->mass[k] / said[k];
}

/* P(answer) as things stand; given what was said of the observable already, if anything was. */
static double answer_weight(const struct asker *asker, const struct answer *answer,
                            const double *likelihood)
{
    if (!observation_tells(asker->sight, &asker->so_far))
        return row_dot(asker->mass, likelihood, asker->cells);
    /* What was passed over in silence is there with the chance that it would have been. */
    double unspoken = 1.0;
    for (uint32_t found = asker->so_far.silent & answer->said.seen; found != 0; found &= found - 1)
        unspoken *= 1.0 - asker->reasoner->rules->calibration.silence;
    return unspoken * row_dot(asker->unsaid, likelihood, asker->cells);
}

/* The weight within its group an answer of this strength would have if it were the weakest there,
 * so that the others count as before; negative when it is not the weakest. */
static double weakest_weight(const struct asker *asker, double own)
{
    const int group = asker->sight->group;
    double weight = 1.0;
    for (size_t i = 0; group >= 0 && i < asker->strength_count; i++) {
        const struct strength *theirs = &asker->strengths[i];
        if (theirs->observable == asker->observable || theirs->group != group)
            continue;
        if (own > theirs->strength ||
            (own == theirs->strength && asker->observable < theirs->observable))
            return -1.0;
        weight *= 1.0 - asker->reasoner->rules->groups[group].overlap;
    }
    return weight;
}

/* Divergence of `then` from `now` in bits; never negative. */
static double divergence(const double *then, const double *now, size_t count)
{
    double bits = 0.0;
    for (size_t i = 0; i < count; i++)
        if (then[i] > 0.0 && now[i] > 0.0)
            bits += then[i] * log2(then[i] / now[i]);
    return bits > 0.0 ? bits : 0.0;
}

/* The answer is the nth of those that are compared. */
FOR_WIDE_VECTORS static void asker_look(struct asker *asker, const struct answer *answer,
                                        size_t nth, enum aim aim, struct outlook *outlook)
{
    const struct reasoner *reasoner = asker->reasoner;
    const struct posterior *posterior = asker->posterior;
    const size_t observable = asker->observable, findings = reasoner->finding_count;
    double *finding = asker->finding + nth * findings;
    double *set = asker->set + nth * reasoner->set_count;
    bool names_species = reasoner->rules->feeder[FEEDS_SPECIES] == (int)observable;
    struct recall *recall =
        recall_of(reasoner, posterior, asker->species, observable, &answer->said);
    double weight = weakest_weight(asker, recall->strength);
    outlook->weight = answer_weight(asker, answer, recall_raised(reasoner, posterior, recall, 1.0));
    asker->observations[observable] = answer->said;
    if (weight < 0.0 || (names_species && asker->species_matters) ||
        observation_tells(asker->sight, &asker->so_far)) {
        (aim == AIM_CAUSE ? reason_posterior : reason_findings)(reasoner, &asker->then, -1.0,
                                                                asker->trial);
        memcpy(finding, asker->trial->finding, findings * sizeof *finding);
        if (aim == AIM_CAUSE)
            sets_sum(reasoner, asker->trial, set);
    } else {
        /* Findings and sets after the answer, from the joint as it stands. */
        const double *factor =
            recall_raised(reasoner, posterior, recall, reasoner->rules->calibration.tau * weight);
        memset(finding, 0, findings * sizeof *finding);
        for (size_t k = 0; k < asker->cells; k += findings)
            row_add_product(finding, asker->mass + k, factor + k, findings);
        double share = 1.0 / row_sum(finding, findings);
        row_scale(finding, share, findings);
        for (size_t s = 0; aim == AIM_CAUSE && s < asker->reasoner->set_count; s++)
            set[s] = share * row_dot(posterior->joint + s * findings,
                                     factor + asker->sight->pattern[s] * findings, findings);
    }
    decide_on(reasoner, &asker->then, finding, asker->stakes, asker->rows, &outlook->decision);
    asker->observations[observable] = asker->so_far;
    const double *loss = outlook->decision.loss;
    outlook->saves = fmax(loss[asker->decision.action] - loss[outlook->decision.action],
                          loss[unforced(&asker->decision)] - loss[unforced(&outlook->decision)]);
    outlook->then = aim == AIM_CAUSE ? set : finding;
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

/* What asking would bring; the answers that would turn the action are noted. */
static struct question value_of(struct asker *asker, size_t observable, enum aim aim)
{
    const struct rules *rules = asker->reasoner->rules;
    struct question question = {.observable = observable};
    struct answer answers[MOST_ANSWERS];
    struct outlook outlooks[MOST_ANSWERS];
    double total = 0.0;
    asker_turn(asker, observable);
    size_t count = answers_find(asker->sight, &asker->so_far, answers);
    for (size_t k = 0; k < count; k++) {
        asker_look(asker, &answers[k], k, aim, &outlooks[k]);
        total += outlooks[k].weight;
    }
    for (size_t k = 0; k < count; k++) {
        const struct outlook *outlook = &outlooks[k];
        bool turns = outlook->decision.action != asker->decision.action;
        if (turns)
            turns_add(asker, (struct turn){observable, answers[k].value, outlook->decision.action,
                                           outlook->weight / total, false});
        if (!turns && unforced(&outlook->decision) == unforced(&asker->decision))
            continue;
        question.turns += outlook->weight / total;
        question.gain += outlook->weight * fmax(0.0, outlook->saves) / total;
    }
    const double *now = aim == AIM_CAUSE ? asker->set_now : asker->posterior->finding;
    const size_t parts = aim == AIM_CAUSE ? asker->reasoner->set_count : rules->finding_count;
    for (size_t k = 0; k < count && (aim == AIM_CAUSE || question.turns > 0.0); k++)
        question.bits += outlooks[k].weight * divergence(outlooks[k].then, now, parts) / total;
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

static int by_magnitude(const void *left, const void *right)
{
    const struct weight_of_evidence *a = left, *b = right;
    static const double noise = 1e-9;
    return fabs(fabs(a->decibans) - fabs(b->decibans)) < noise
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
    size_t observables = reasoner->observable_count, findings = reasoner->finding_count;
    struct observation *observations SCOPED_FREE = memory_array(observables, sizeof *observations);
    struct posterior *without = posterior_trial(posterior, reasoner);
    for (size_t i = 0; i < observables; i++)
        observations[i] = observation_of(evidence, i);
    struct evidence rest = evidence ? *evidence : (struct evidence){0};
    rest.observations = observations;
    explanation->leader = likeliest(posterior->finding, findings, SIZE_MAX);
    explanation->rival = likeliest(posterior->finding, findings, explanation->leader);
    explanation->weight_count = 0;
    double with = log_odds(posterior->finding, explanation);
    for (size_t i = 0; i < observables; i++) {
        struct observation said = observations[i];
        if (!observation_tells(&reasoner->sights[i], &said))
            continue;
        observations[i] = (struct observation){0};
        reason_findings(reasoner, &rest, -1.0, without);
        observations[i] = said;
        explanation->weights[explanation->weight_count++] =
            (struct weight_of_evidence){i, 10.0 * (with - log_odds(without->finding, explanation))};
    }
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

/* P(said) by the trial, which does not know it, added up in the asker's mass. */
static double predicted(const struct asker *asker, int species, size_t observable,
                        const struct observation *said)
{
    const struct reasoner *reasoner = asker->reasoner;
    const size_t cells = reasoner->sights[observable].pattern_count * reasoner->finding_count;
    struct recall *recall = recall_of(reasoner, asker->trial, species, observable, said);
    return row_dot(asker->mass, recall_raised(reasoner, asker->trial, recall, 1.0), cells);
}

/* Notes the alternatives that would turn the action, each with its chance of being the truth. */
static void slips_add(struct asker *asker, size_t observable, const struct answer *others,
                      const struct decision *decisions, size_t count)
{
    const struct reasoner *reasoner = asker->reasoner;
    struct observation said = observation_of(asker->now, observable), plain = said;
    double p[MOST_ANSWERS], total = 0.0;
    double slip = said.hedged ? 1.0 - reasoner->rules->calibration.hedge : SLIP_RATE;
    int species = evidence_species(reasoner, &asker->then);
    plain.hedged = 0;
    reason_posterior(reasoner, &asker->then, -1.0, asker->trial);
    double *by_cause =
        arena_room(asker->arena, reasoner->cause_count * reasoner->finding_count, sizeof *by_cause);
    causes_sum(reasoner, asker->trial, by_cause);
    mass_by_pattern(reasoner, asker->trial, by_cause, observable, asker->mass);
    for (size_t k = 0; k < count; k++)
        total += p[k] = predicted(asker, species, observable, &others[k].said);
    double each = slip / (double)count;
    double all = predicted(asker, species, observable, &plain) * (1.0 - slip) + each * total;
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
    struct observation said = asker->observations[observable];
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
    for (size_t k = 0; k < count; k++) {
        asker->observations[observable] = others[k].said;
        reason_findings(reasoner, &asker->then, -1.0, asker->trial);
        decide_on(reasoner, &asker->then, asker->trial->finding, asker->stakes, asker->rows,
                  &decisions[k]);
        turned = turned || decisions[k].action != asker->decision.action;
    }
    asker->observations[observable] = (struct observation){0};
    if (turned)
        slips_add(asker, observable, others, decisions, count);
    asker->observations[observable] = said;
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
        struct question question = value_of(&asker, i, aim);
        double key = (aim == AIM_CAUSE ? question.bits : question.gain) /
                     fmax(LEAST_EFFORT, rules->observables[i].effort);
        most_turns = fmax(most_turns, question.turns);
        if (aim == AIM_CAUSE ? question.bits > LEAST_BITS : question.turns > 0.0)
            rated[counted++] = (struct rated){question, key};
    }
    size_t count = aim == AIM_ACTION && !(most_turns > rules->decision.settled) ? 0 : counted;
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
