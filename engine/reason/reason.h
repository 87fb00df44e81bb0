/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REASON_REASON_H
#define JARSIDE_REASON_REASON_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "rules/rules.h"

/*
 * Inference: from what was observed to what it is, why, what to do, what to ask.
 *
 * Pure functions of (rule base, evidence): no input or output, no globals, no
 * clock, no random numbers. Safe to call from any program and, on separate
 * evidence, from several threads.
 *
 * Model (f: finding; S: set of at most two causes; i: observable; v: value):
 *
 *   P(S)        ~  prod_{c in S} pi_c  prod_{c not in S} (1 - pi_c)
 *   P(f|S)      =  (b_f + sum_{c in S} r_cf) / sum over f' of the same
 *   one-of:     P(i=v|f,S) ~ base_i(v) w_fi(v) prod_{c in S} w_ci(v), normalised over v
 *   several-of: odds P(v|f,S) = odds base_i(v) * w_fi(v) * prod_{c in S} w_ci(v), each v on its own
 *
 * where w_fi(v) is chosen so that P(i=v|f, no cause) is what the finding's file
 * states: of a one-of, values not stated share what the stated ones leave in
 * proportion to their base; stated ones that cover every value are scaled to 1.
 * What a species calls normal is stated over that in the same way, the values
 * it leaves out sharing the rest in proportion to what the finding says; it
 * counts when one species is named plainly.
 *
 * No statement is absolute. A probability below 1e-6 is lifted to it: P(f|S) and
 * a one-of are scaled to 1, lifted and scaled again, before and after causes
 * weigh; several-of values and pi_c (as shifted) stay within 1e-6 of 0 and 1.
 * Factors w of causes are kept between 1e-6 and 1e6.
 *
 * An observation's likelihood l_i(f,S): one-of, sum of P over the values still
 * possible; several-of, product over seen of P(v) and over absent of 1 - P(v).
 * Hedged statements mix with what is expected of anyone: c l + (1 - c) l_base,
 * c = calibration.hedge. A several-of value passed over in silence multiplies l_i
 * by the chance of that silence, 1 - m P(v), m = calibration.silence: whoever
 * sees it speaks of it with chance m, and nobody speaks of what is not there.
 *
 * Signs overlap. Within a group the observations are ranked by strength, the
 * range of ln l_i over the findings at S = {}; the k-th (k = 0, 1, ...) counts
 * with weight (1 - overlap)^k. So
 *
 *   ln P(f,S|E) = ln P(S) P(f|S) + tau sum_i weight_i ln l_i(f,S) + ln L(f) + const,
 *
 * where weight_i is calibration.answered times that of what was answered when it was asked for, which is seldom
 * misread, and L(f) what the words of the description say beside what was read in them, tempered and bounded where
 * it is made; 1 where there are none.
 *
 * Summed exactly over all (f,S): no sampling, no pruning, and in logarithms where
 * products would leave the range of a double.
 */

struct reasoner; /* compiled tables of one rule base; opaque, immutable after reasoner_new */

/* What is known of one observable; all zero: nothing. Masks are over its values. */
struct observation {
    uint32_t seen;   /* one-of, number: the values still possible (0: see absent); several: seen */
    uint32_t absent; /* denied */
    uint32_t hedged; /* of those, the ones said with doubt */
    uint32_t silent; /* several: neither, and passed over where it would have been said */
};

/* A computed or patterned reason to believe more or less in a cause, before any sign. */
struct prior_shift {
    size_t cause;
    double log_odds; /* natural log of the factor on the odds pi_c / (1 - pi_c) */
};

/* The same for two causes at once: a factor on P(S) of every S that holds both, on top of their own
 * shifts. Below 0 where either explains the same thing, and both together no more than one. */
struct pair_shift {
    size_t causes[2];
    double log_odds;
};

struct evidence {
    const struct observation *observations; /* one per observable of the rule base */
    const bool *answered; /* likewise, what was answered when it was asked for; NULL: nothing was */
    const struct prior_shift *shifts;
    size_t shift_count;
    const struct pair_shift *pair_shifts;
    size_t pair_shift_count;
    const double *words; /* ln of the likelihood of the words by finding, or NULL */
    size_t unread; /* words of the description that nothing understood; only floors look at it */
    bool objected; /* some of them stand behind "but" or the like; likewise */
};

/* What is at stake, as the grower says. */
struct stakes {
    double worth;      /* of this vessel, in units of one ordinary vessel; > 0 */
    double neighbours; /* vessels beside it */
    int use;           /* index into decision.uses, or RULES_NONE */
    double use_count;  /* vessels or blocks to be made from it */
};

/* Compiles `rules`, which must outlive the result. */
struct reasoner *reasoner_new(const struct rules *rules);
void reasoner_free(struct reasoner *reasoner);
const struct rules *reasoner_rules(const struct reasoner *reasoner);

/* The index of the set of this cause alone, or of no cause for RULES_NONE. */
#define SET_OF(cause) ((size_t)((cause) + 1))

/* P(i=v | f, S) as the model above has it; several-of: the probability of that value alone. Species
 * normality applies when `evidence` (may be NULL) names a species. For tests and explanations. */
double reasoner_likelihood(const struct reasoner *reasoner, const struct evidence *evidence,
                           size_t observable, size_t value, size_t finding, size_t set);

struct posterior {
    double *finding; /* P(f|E), finding_count entries */
    double *cause;   /* P(c in S|E), cause_count entries; they may sum to more than 1 */
    double *joint;   /* P(f,S|E), at [S * finding_count + f] */
    double no_cause; /* P(S = {} | E) */
    double status[FINDING_STATUS_COUNT];
    double hazard[HAZARD_COUNT]; /* mass of findings by hazard */
    double log_evidence; /* ln of the tempered evidence; compare for one rule base and tau only */
    struct workspace *work; /* private */
};

/* Allocates room for one rule base, in which reason_posterior may be called any number of times;
 * posterior_release frees it. With another posterior, which must outlive it, it shares what they make
 * of observations; NULL: with none. */
void posterior_init(struct posterior *posterior, const struct reasoner *reasoner,
                    const struct posterior *beside);
void posterior_release(struct posterior *posterior);

/* Exact enumeration. `tau` below 0 means calibration.tau. */
void reason_posterior(const struct reasoner *reasoner, const struct evidence *evidence, double tau,
                      struct posterior *posterior);
/* The same but for causes and sets, which take most of the time: `cause` and `joint` then hold nothing. */
void reason_findings(const struct reasoner *reasoner, const struct evidence *evidence, double tau,
                     struct posterior *posterior);

/* P(f|E) as it is shown, finding_count entries into `shown`: within each status in proportion to its power
 * calibration.sharpness, but for a share calibration.lapse, which goes by what is usual. The statuses, by which is
 * decided, stay as they are. */
void reason_sharpen(const struct reasoner *reasoner, const struct posterior *posterior,
                    double *shown);

/* ---- decision -------------------------------------------------------------------------------- */

struct decision {
    enum action action;
    double loss[ACTION_COUNT]; /* expected loss, in vessels' worth */
    int floor;                 /* index of the floor that decided, or RULES_NONE */
    int next_step; /* index into decision.next_steps when the action is keep, or RULES_NONE */
    bool forbidden[ACTION_COUNT];
};

/* Least expected loss, then the floors: one that forces an action (the gravest,
 * if several do) before those that forbid keep. Of equal losses the graver
 * action is taken. `floor` names the one that forced, or that forbade a keep
 * which the losses alone would have chosen. */
void reason_decide(const struct reasoner *reasoner, const struct evidence *evidence,
                   const struct posterior *posterior, const struct stakes *stakes,
                   struct decision *decision);

/* What follows takes the posterior of the same evidence at calibration.tau, and
 * allocates for itself while it runs. */

/* ---- next question --------------------------------------------------------------------------- */

enum aim { AIM_ACTION, AIM_CAUSE };

struct question {
    size_t observable;
    double gain;  /* expected drop in loss, less the effort (AIM_ACTION) */
    double bits;  /* expected information about the findings (AIM_ACTION), the causes (AIM_CAUSE) */
    double turns; /* probability that the answer changes the action */
};

struct turn { /* an answer that would change the action */
    size_t observable;
    size_t value;       /* value_count of the observable: none of them (several-of) */
    enum action action; /* what it would become */
    double probability; /* of that answer, as things stand; for answered ones, of its being wrong */
    bool answered;      /* true: had this answer been `value` instead */
};

struct turns {
    struct turn *list; /* most likely first; how likely: decide.c */
    size_t most, count;
};

struct inquiry {
    enum aim aim;
    bool tests;       /* only tests (class test) are wanted, or only the others */
    const bool *skip; /* one flag per observable: not these; may be NULL */
    size_t most;      /* how many questions there is room for */
    /* AIM_ACTION: which single answer, if mistaken, or unasked one, of what may be asked, would turn the
     * action; that costs little more here. NULL: they are not wanted. */
    struct turns *turns;
    bool only_first; /* AIM_ACTION: the bits of the other questions are not wanted; may be NAN */
};

/* The questions worth asking, best first; returns how many. What was
 * already answered or is gated is left out. An observable of which values were
 * only denied may be asked about the others. AIM_ACTION ranks by gain per effort and then
 * bits, and finds none when no answer could change the action with a probability
 * above decision.settled; AIM_CAUSE ranks by bits per effort. Formulas: decide.c. */
size_t reason_questions(const struct reasoner *reasoner, const struct evidence *evidence,
                        const struct posterior *posterior, const struct stakes *stakes,
                        const struct inquiry *inquiry, struct question *questions);

/* ---- explanation ----------------------------------------------------------------------------- */

struct weight_of_evidence {
    size_t observable;
    double decibans; /* 10 log10 of the ratio leader : rival with this answer over without it */
};

struct explanation {
    size_t leader, rival;               /* findings */
    struct weight_of_evidence *weights; /* one per observation, largest magnitude first */
    size_t weight_count;
};

/* Caller gives room for observable_count weights. */
void reason_explain(const struct reasoner *reasoner, const struct evidence *evidence,
                    const struct posterior *posterior, struct explanation *explanation);
/* Whether a condition of the rule base holds on this evidence (plain statements only, no hedges).
 * Of a one-of it holds when every value still said to be possible is listed. An empty one holds. */
bool reason_holds(const struct reasoner *reasoner, const struct condition *condition,
                  const struct evidence *evidence);

#endif
