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

/* The losses, and P(contaminated). */
static double expected_losses(const struct rules *rules, const struct stakes *stakes,
                              const double *finding, double loss[ACTION_COUNT])
{
    const struct decision_rules *decision = &rules->decision;
    double keep = 0.0, discard = 0.0, keep_shown = 0.0, discard_shown = 0.0;
    double wait = 0.0, too_soon = 0.0, all = 0.0, spoilt = 0.0;
    for (size_t f = 0; f < rules->finding_count; f++) {
        const struct finding *of = &rules->findings[f];
        const double p = finding[f], bad = contaminated(rules, f) ? 1.0 : 0.0;
        const double kept = p * keep_loss(rules, stakes, f);
        const double discarded = p * (stakes->worth * of->kept_worth + decision->discard_effort);
        keep += kept;
        keep_shown += kept * (bad * of->reveal);
        discard += discarded;
        discard_shown += discarded * (bad * of->reveal);
        wait += p * (decision->isolate_delay +
                     decision->isolate_spread * stakes->neighbours * bad * of->spread);
        too_soon += p * (stakes->worth * of->too_soon);
        all += p;
        spoilt += p * bad;
    }
    loss[ACTION_KEEP] = keep;
    loss[ACTION_ISOLATE] =
        wait + fmin(keep_shown, discard_shown) + fmin(keep - keep_shown, discard - discard_shown);
    loss[ACTION_DISCARD] = discard + too_soon;
    return all > 0.0 ? spoilt / all : 1.0;
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
        bool seen = floor->when.count > 0 &&
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
        const double unread = evidence ? (double)evidence->unread : 0.0;
        if ((floor->unread_above > 0.0 && unread <= floor->unread_above) ||
            (floor->all_understood && unread > 0.0) || (!seen && !likely) ||
            (floor->after_objection && !objected))
            continue;
        bool lifted = false;
        for (size_t k = 0; k < floor->unless_told_count && !lifted; k++) {
            const struct observation *told = evidence && evidence->observations
                                                 ? &evidence->observations[floor->unless_told[k]]
                                                 : &(struct observation){0};
            lifted = told->seen || told->absent;
        }
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
        if (listed && reason_holds(reasoner, &step->when, evidence))
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
                      const double *finding, const struct stakes *stakes, struct decision *decision)
{
    const struct rules *rules = reasoner->rules;
    *decision = (struct decision){.floor = RULES_NONE, .next_step = RULES_NONE};
    const double p_bad = expected_losses(rules, stakes, finding, decision->loss);
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
}

void reason_decide(const struct reasoner *reasoner, const struct evidence *evidence,
                   const struct posterior *posterior, const struct stakes *stakes,
                   struct decision *decision)
{
    decide_on(reasoner, evidence, posterior->finding, stakes, decision);
    if (decision->action == ACTION_KEEP)
        decision->next_step = next_step(
            reasoner, evidence, likeliest(posterior->finding, reasoner->finding_count, SIZE_MAX));
}

/* ---- what an answer would make of things ----------------------------------------------------- */

/* Each answer is looked at by what the evidence with it, in the place of what was said of its observable, would come to. */

/* An answer a question could get. */
struct answer {
    struct observation said; /* all that is then known of the observable */
    size_t value;            /* the value it names; value_count: none of them (several-of) */
};

enum { MOST_ANSWERS = RULES_MAX_VALUES + 1 };

/* Looks at answers; holds the present state and room for the next. */
struct asker {
    const struct reasoner *reasoner;
    const struct posterior *posterior; /* now, */
    struct posterior if_so;            /* and with an answer */
    const struct stakes *stakes;
    struct decision decision; /* now */
    struct evidence then;     /* of the observations below */
    struct observation *observations;
    int species;
    struct arena *arena; /* of the arrays here */
    double *mass;        /* [pattern][finding]: the joint over the sets of one pattern */
    bool turning;        /* answers that would turn the action are noted: */
    struct turn *turns;  /* so far */
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

/* Answers about an observable: each value but some, by itself, of a several-of with the others of `apart` denied;
 * first "none of them", where that may be said. */
static size_t answers_list(const struct sight *sight, bool none, uint32_t but, uint32_t apart,
                           uint32_t silent, struct answer answers[MOST_ANSWERS])
{
    size_t count = 0;
    if (none)
        answers[count++] = (struct answer){{.absent = apart, .silent = silent}, sight->value_count};
    for (size_t v = 0; v < sight->value_count; v++) {
        const uint32_t bit = UINT32_C(1) << v, absent = sight->several ? apart & ~bit : 0;
        if (!(but & bit))
            answers[count++] =
                (struct answer){{.seen = bit, .absent = absent, .silent = silent & ~bit}, v};
    }
    return count;
}

/* Those a question could get; of a several-of "none of them" and "exactly this one". */
static size_t answers_find(const struct asker *asker, size_t observable,
                           struct answer answers[MOST_ANSWERS])
{
    const struct sight *sight = &asker->reasoner->sights[observable];
    const struct observation *so_far = &asker->observations[observable];
    const uint32_t denied = so_far->absent & ~so_far->hedged & sight->all;
    return answers_list(sight, sight->several, denied, sight->all, 0, answers);
}

static void asker_init(struct asker *asker, const struct reasoner *reasoner,
                       const struct evidence *evidence, const struct posterior *posterior,
                       const struct stakes *stakes)
{
    struct arena *arena = arena_new();
    const size_t observables = reasoner->observable_count;
    *asker = (struct asker){
        .reasoner = reasoner,
        .posterior = posterior,
        .stakes = stakes,
        .species = evidence_species(reasoner, evidence),
        .arena = arena,
        .observations = arena_array(arena, observables, sizeof *asker->observations),
        .mass = arena_room(arena, reasoner->set_count * reasoner->finding_count, sizeof(double)),
    };
    posterior_init(&asker->if_so, reasoner, posterior);
    if (evidence)
        asker->then = *evidence;
    asker->then.observations = asker->observations;
    for (size_t i = 0; i < observables; i++)
        asker->observations[i] = observation_of(evidence, i);
    if (stakes)
        decide_on(reasoner, evidence, posterior->finding, stakes, &asker->decision);
}

static void asker_release(struct asker *asker)
{
    posterior_release(&asker->if_so);
    arena_free(asker->arena);
}

/* What it comes to if this is said of an observable, with or without the causes; and, unless NULL, what would
 * then be done. */
static void asker_look(struct asker *asker, size_t observable, struct observation said, bool causes,
                       struct decision *decision)
{
    const struct observation so_far = asker->observations[observable];
    asker->observations[observable] = said;
    (causes ? reason_posterior : reason_findings)(asker->reasoner, &asker->then, -1.0,
                                                  &asker->if_so);
    if (decision)
        decide_on(asker->reasoner, &asker->then, asker->if_so.finding, asker->stakes, decision);
    asker->observations[observable] = so_far;
}

/* P(f, S) of a posterior, added up over the sets that look alike to an observable. */
FOR_WIDE_VECTORS static void mass_find(struct asker *asker, size_t observable,
                                       const struct posterior *posterior)
{
    const struct sight *sight = &asker->reasoner->sights[observable];
    const size_t findings = asker->reasoner->finding_count;
    memset(asker->mass, 0, sight->pattern_count * findings * sizeof *asker->mass);
    for (size_t s = 0; s < asker->reasoner->set_count; s++)
        row_add(asker->mass + sight->pattern[s] * findings, posterior->joint + s * findings,
                findings);
}

/* P(said) by that mass, which counts what was said `so_far` (NULL: nothing) of the same. */
static double predicted(const struct asker *asker, size_t observable,
                        const struct observation *said, const struct observation *so_far)
{
    const struct reasoner *reasoner = asker->reasoner;
    const size_t cells = reasoner->sights[observable].pattern_count * reasoner->finding_count;
    const double *p = recall_p(reasoner, asker->posterior, asker->species, observable, said);
    const double *had =
        so_far ? recall_p(reasoner, asker->posterior, asker->species, observable, so_far) : NULL;
    double sum = 0.0;
    for (size_t i = 0; i < cells; i++)
        sum += asker->mass[i] * p[i] / (had ? had[i] : 1.0);
    return sum;
}

/* P(answer), but for a factor common to the answers, given what was said already. */
static double answer_weight(const struct asker *asker, size_t observable,
                            const struct observation *said)
{
    const struct observation *so_far = &asker->observations[observable];
    /* What was passed over in silence is there with the chance that it would have been. */
    double unspoken = 1.0;
    for (uint32_t found = so_far->silent & said->seen; found != 0; found &= found - 1)
        unspoken *= 1.0 - asker->reasoner->rules->calibration.silence;
    const bool tells = observation_tells(&asker->reasoner->sights[observable], so_far);
    return unspoken * predicted(asker, observable, said, tells ? so_far : NULL);
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

/* Divergence of P(f), or P(S), with an answer from what it is now, in bits. */
static double divergence(const struct asker *asker, enum aim aim)
{
    const size_t findings = asker->reasoner->finding_count;
    const struct posterior *now = asker->posterior, *then = &asker->if_so;
    double bits = 0.0;
    for (size_t f = 0; aim == AIM_ACTION && f < findings; f++)
        bits += share_bits(then->finding[f], now->finding[f]);
    for (size_t s = 0; aim == AIM_CAUSE && s < asker->reasoner->set_count; s++)
        bits += share_bits(row_sum(then->joint + s * findings, findings),
                           row_sum(now->joint + s * findings, findings));
    return bits > 0.0 ? bits : 0.0;
}

/* What the answers would tell of the findings or the causes. */
static double bits_of(struct asker *asker, enum aim aim, size_t observable)
{
    struct answer answers[MOST_ANSWERS];
    double bits = 0.0, total = 0.0;
    size_t count = answers_find(asker, observable, answers);
    mass_find(asker, observable, asker->posterior);
    for (size_t k = 0; k < count; k++) {
        const double weight = answer_weight(asker, observable, &answers[k].said);
        asker_look(asker, observable, answers[k].said, aim == AIM_CAUSE, NULL);
        bits += weight * divergence(asker, aim);
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
    struct decision then[MOST_ANSWERS];
    double weights[MOST_ANSWERS], total = 0.0;
    const struct decision *now = &asker->decision;
    bool turns = false;
    size_t count = answers_find(asker, observable, answers);
    for (size_t k = 0; k < count; k++) {
        asker_look(asker, observable, answers[k].said, false, &then[k]);
        turns = turns || then[k].action != now->action || unforced(&then[k]) != unforced(now);
    }
    question.gain -= rules->observables[observable].effort * rules->decision.effort_loss;
    if (!turns)
        return question;
    mass_find(asker, observable, asker->posterior);
    for (size_t k = 0; k < count; k++)
        total += weights[k] = answer_weight(asker, observable, &answers[k].said);
    for (size_t k = 0; k < count; k++) {
        const double *loss = then[k].loss, share = weights[k] / total;
        const enum action summed = unforced(&then[k]);
        if (then[k].action != now->action)
            turns_add(asker,
                      (struct turn){observable, answers[k].value, then[k].action, share, false});
        else if (summed == unforced(now))
            continue;
        question.turns += share;
        question.gain += share * fmax(0.0, fmax(loss[now->action] - loss[then[k].action],
                                                loss[unforced(now)] - loss[summed]));
    }
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
    for (size_t i = 0; i < reasoner->observable_count; i++) {
        if (!observation_tells(&reasoner->sights[i], &asker.observations[i]))
            continue;
        asker_look(&asker, i, (struct observation){0}, false, NULL);
        const double weight = 10.0 * (with - log_odds(asker.if_so.finding, explanation));
        explanation->weights[explanation->weight_count++] =
            (struct weight_of_evidence){i, fabs(weight) < ROUNDING ? 0.0 : weight};
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

/* Notes the alternatives that would turn the action, each with its chance of being the truth. */
static void slips_add(struct asker *asker, size_t observable, const struct answer *others,
                      const struct decision *decisions, size_t count)
{
    const struct reasoner *reasoner = asker->reasoner;
    const struct observation said = asker->observations[observable];
    struct observation plain = said;
    double p[MOST_ANSWERS], total = 0.0;
    double slip = said.hedged ? 1.0 - reasoner->rules->calibration.hedge : SLIP_RATE;
    plain.hedged = 0;
    asker_look(asker, observable, (struct observation){0}, true, NULL);
    mass_find(asker, observable, &asker->if_so);
    for (size_t k = 0; k < count; k++)
        total += p[k] = predicted(asker, observable, &others[k].said, NULL);
    double each = slip / (double)count;
    double all = predicted(asker, observable, &plain, NULL) * (1.0 - slip) + each * total;
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
    const uint32_t held = sight->several ? said.seen : observation_possible(sight, &said);
    const bool alone = !sight->several || (held & (held - 1)) == 0;
    const size_t count =
        answers_list(sight, sight->several && (said.seen & sight->all), alone ? held : 0,
                     (said.seen | said.absent) & sight->all, said.silent, others);
    bool turned = false;
    for (size_t k = 0; k < count; k++) {
        asker_look(asker, observable, others[k].said, false, &decisions[k]);
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
        if ((observable->class == CLASS_TEST) != inquiry->tests ||
            (inquiry->skip && inquiry->skip[i]) ||
            !observation_open(&asker.reasoner->sights[i], &asker.observations[i]) ||
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
