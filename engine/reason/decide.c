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
    size_t *floors;        /* that may hold, in their order */
    size_t floor_count;
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

/* The floors that apply: the forcing one of the gravest action, the first that forbids. */
static void floors_find(const struct reasoner *reasoner, const struct evidence *evidence,
                        const struct prepared *prepared, const double *finding, double p_bad,
                        int *forces, int *forbids)
{
    const struct decision_rules *rules = &reasoner->rules->decision;
    const double *words = evidence ? evidence->words : NULL;
    *forces = *forbids = RULES_NONE;
    const size_t count = prepared ? prepared->floor_count : rules->floor_count;
    for (size_t n = 0; n < count; n++) {
        const size_t i = prepared ? prepared->floors[n] : n;
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
 */

/* An answer a question could get. */
struct answer {
    struct observation said; /* all that is then known of the observable */
    size_t value;            /* the value it names; value_count: none of them (several-of) */
};

enum { MOST_ANSWERS = RULES_MAX_VALUES + 1 };

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
    int *wakers;              /* of the floors */
    struct decision decision; /* now */
    struct evidence then;     /* of the observations below */
    struct observation *observations;
    int species;
    const struct heard *heard; /* now, */
    size_t heard_count;
    struct heard *then_heard; /* and with an answer */
    size_t observable;        /* the one looked at */
    const struct sight *sight;
    struct change *changes; /* by an answer */
    size_t change_count;
    struct arena *arena; /* of the arrays here */
    double *by_cause;    /* the posterior by [cause][finding] */
    int *causes;         /* those that weigh on what changes, */
    size_t cause_count;
    size_t ways;  /* to hold them; for each */
    size_t *sets; /* a set, and the posterior of all that do, by finding */
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

/* What an answer must be about to wake a floor; RULES_NONE: it may hold already; INT_MAX: none. */
static int floor_waker(const struct asker *asker, const struct floor_rule *floor)
{
    size_t at = 0;
    if (floor->contaminated_above < 1.0 || floor->likely_count > 0)
        return RULES_NONE;
    const size_t open =
        condition_open(asker->reasoner, &floor->when, asker->now, floor->forbids_keep, &at);
    return open == 0 ? RULES_NONE : open == 1 ? (int)floor->when.observables[at] : INT_MAX;
}

/* ---- beginning and end ----------------------------------------------------------------------- */

/* P(f, c in S) of a posterior, [cause][finding], added to what is there. */
FOR_WIDE_VECTORS static void causes_sum(const struct reasoner *reasoner,
                                        const struct posterior *posterior, double *by_cause)
{
    const size_t findings = reasoner->finding_count;
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
    size_t observables = reasoner->observable_count;
    const size_t floors = reasoner->rules->decision.floor_count;
    *asker = (struct asker){
        .reasoner = reasoner,
        .now = evidence,
        .posterior = posterior,
        .stakes = stakes,
        .prepared.rows = arena_room(arena, findings, sizeof *asker->prepared.rows),
        .prepared.floors = arena_room(arena, floors, sizeof *asker->prepared.floors),
        .wakers = arena_room(arena, floors, sizeof *asker->wakers),
        .species = evidence_species(reasoner, evidence),
        .arena = arena,
        .observations = arena_array(arena, observables, sizeof *asker->observations),
        .then_heard = arena_room(arena, observables + 1, sizeof *asker->then_heard),
        .changes = arena_room(arena, 2 * observables + 2, sizeof *asker->changes),
        .by_cause = arena_array(arena, reasoner->cause_count * findings, sizeof(double)),
        .causes = arena_room(arena, reasoner->cause_count, sizeof *asker->causes),
        .sets = arena_array(arena, sets, sizeof *asker->sets),
        .mass = arena_room(arena, sets * findings, sizeof(double)),
        .row = arena_room(arena, findings, sizeof(double)),
        .finding = arena_room(arena, findings, sizeof(double)),
    };
    if (evidence)
        asker->then = *evidence;
    asker->then.observations = asker->observations;
    for (size_t i = 0; i < observables; i++)
        asker->observations[i] = observation_of(evidence, i);
    asker->heard = posterior_heard(posterior, &asker->heard_count);
    causes_sum(reasoner, posterior, asker->by_cause);
    memcpy(asker->mass, posterior->finding, findings * sizeof *asker->mass); /* of no causes */
    asker->ways = 1;
    if (stakes == NULL)
        return;
    for (size_t f = 0; f < findings; f++)
        asker->prepared.rows[f] = loss_row(reasoner->rules, stakes, f);
    decide_on(reasoner, evidence, posterior->finding, stakes, NULL, &asker->decision);
    for (size_t i = 0; i < reasoner->rules->decision.floor_count; i++)
        asker->wakers[i] = floor_waker(asker, &reasoner->rules->decision.floors[i]);
}

/* Turns to an observable, then answers about it are looked at. */
static void asker_turn(struct asker *asker, size_t observable)
{
    asker->observable = observable;
    asker->prepared.floor_count = 0;
    for (size_t i = 0; i < asker->reasoner->rules->decision.floor_count; i++)
        if (asker->wakers[i] == RULES_NONE || asker->wakers[i] == (int)observable)
            asker->prepared.floors[asker->prepared.floor_count++] = i;
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
    const struct reasoner *reasoner = asker->reasoner;
    const struct rules *rules = reasoner->rules;
    const size_t observable = asker->observable, before = asker->heard_count;
    const int species = rules->feeder[FEEDS_SPECIES] == (int)observable
                            ? species_named(reasoner, said)
                            : asker->species;
    struct heard *then = asker->then_heard;
    size_t at = 0;
    while (at < before && asker->heard[at].observable != observable)
        at++;
    asker->change_count = 0;
    then[at] = said ? heard_as(reasoner, asker->posterior, asker->now, species, observable, said)
                    : (struct heard){.group = -1};
    if (at == before && then[at].group < 0 && species == asker->species) {
        change_add(asker, then[at].recall, then[at].power);
        return; /* all else counts as before */
    }
    for (size_t i = 0; i < before; i++)
        if (i != at)
            then[i] = species == asker->species
                          ? asker->heard[i]
                          : heard_as(reasoner, asker->posterior, asker->now, species,
                                     asker->heard[i].observable,
                                     &asker->observations[asker->heard[i].observable]);
    const size_t count = at == before ? before + 1 : before;
    heard_rank(reasoner, then, count);
    for (size_t i = count; i-- > 0;) {
        const struct heard *now = i < before ? &asker->heard[i] : NULL;
        const bool same = now && now->recall == then[i].recall;
        change_add(asker, then[i].recall, then[i].power - (same ? now->power : 0.0));
        if (now && !same)
            change_add(asker, now->recall, -now->power);
    }
}

/* The posterior added up over the sets that hold the same of the causes that weigh on what changes.
 * A pair is one set; one alone has what is left of its sets, and none what is left of all. */
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
    memcpy(finding, asker->posterior->finding, findings * sizeof *finding);
    if (asker->change_count == 0)
        return 1.0;
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

/* P(f), but for a factor, if that (NULL: nothing) is said of what is looked at; returns its sum. */
static double findings_if(struct asker *asker, const struct observation *said)
{
    changes_find(asker, said);
    return changes_sum(asker);
}

/* An observation of what is looked at counts, by itself, so much more. */
static void change_alone(struct asker *asker, const struct observation *said, double power)
{
    change_add(
        asker,
        recall_of(asker->reasoner, asker->posterior, asker->species, asker->observable, said),
        power);
}

/* P(answer), but for a factor common to the answers, given what was said already. */
static double answer_weight(struct asker *asker, const struct observation *said)
{
    const struct observation *so_far = &asker->observations[asker->observable];
    /* What was passed over in silence is there with the chance that it would have been. */
    double unspoken = 1.0;
    for (uint32_t found = so_far->silent & said->seen; found != 0; found &= found - 1)
        unspoken *= 1.0 - asker->reasoner->rules->calibration.silence;
    asker->change_count = 0;
    change_alone(asker, said, 1.0);
    if (observation_tells(asker->sight, so_far))
        change_alone(asker, so_far, -1.0);
    return unspoken * changes_sum(asker);
}

static void asker_look(struct asker *asker, const struct observation *said,
                       struct decision *decision)
{
    const struct observation so_far = asker->observations[asker->observable];
    const double sum = findings_if(asker, said);
    row_scale(asker->finding, 1.0 / sum, asker->reasoner->finding_count);
    asker->observations[asker->observable] = *said;
    decide_on(asker->reasoner, &asker->then, asker->finding, asker->stakes, &asker->prepared,
              decision);
    asker->observations[asker->observable] = so_far;
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

/* Divergence of P(f), or P(S), after changes that add up to `sum` from what it is now, in bits. */
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
        const double sum = findings_if(asker, &answers[k].said);
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
    struct decision then[MOST_ANSWERS];
    double weights[MOST_ANSWERS], total = 0.0;
    const struct decision *now = &asker->decision;
    bool turns = false;
    asker_turn(asker, observable);
    size_t count = answers_find(asker->sight, &asker->observations[observable], answers);
    for (size_t k = 0; k < count; k++) {
        asker_look(asker, &answers[k].said, &then[k]);
        turns = turns || then[k].action != now->action || unforced(&then[k]) != unforced(now);
    }
    question.gain -= rules->observables[observable].effort * rules->decision.effort_loss;
    if (!turns)
        return question;
    for (size_t k = 0; k < count; k++)
        total += weights[k] = answer_weight(asker, &answers[k].said);
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
    for (size_t i = 0; i < asker.heard_count; i++) {
        asker_turn(&asker, asker.heard[i].observable);
        findings_if(&asker, NULL);
        const double weight = 10.0 * (with - log_odds(asker.finding, explanation));
        explanation->weights[explanation->weight_count++] =
            (struct weight_of_evidence){asker.observable, fabs(weight) < ROUNDING ? 0.0 : weight};
    }
    arena_free(asker.arena);
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
    change_alone(asker, said, 1.0);
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
        asker_look(asker, &others[k].said, &decisions[k]);
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
    arena_free(asker.arena);
    return count;
}
