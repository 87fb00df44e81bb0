/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REASON_SIBLINGS_H
#define JARSIDE_REASON_SIBLINGS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "reason/reason.h"

/*
 * What became of the others that share a cook, a starter, a place ... with a
 * vessel, as shifts of the causes before any sign of its own is looked at.
 *
 * The others are counted in cells: those that share the same things with it.
 * A cause c of scope s that *acts* reaches each vessel that shares s with ours
 * with a chance rho_c (`reach`), and no other vessel. What it reaches it loses
 * with a chance h_c, taken from the rule base; anything is lost besides with a
 * background rate q. So with the set A of causes acting, in a cell with bits K
 *
 *   P(lost | A) = 1 - (1 - q) prod_{c in A, scope(c) in K} (1 - lambda_c),   E lambda_c = rho_c h_c.
 *
 * A vessel has two ways of being lost and each is such a layer: contaminated; and
 * of those that are not, stuck. With P(.|{c}) and P(.|{}) as the rule base has them,
 *
 *   contaminated:  h_c = 1 - P(not contaminated|{c}) / P(not contaminated|{})      (0 if below)
 *   stuck:         the same of P(clean | not contaminated), and rho_c of those that
 *                  were reached and not contaminated, rho (1 - h) / (1 - rho h).
 *
 * q is Beta(u n, (1 - u) n), u = siblings.usual, n = siblings.usual_seen of the rule
 * base; lambda_c is Beta(E m, (1 - E) m), m = siblings.reach_seen. M(A), the chance of
 * all counts, is their binomial product integrated over q and over lambda
 * (Gauss-Jacobi, eight points for lambda). A cause can have a reach of its own at the same
 * position of the same cook (`reach_near`); there 1 - lambda is raised to the power
 * ln(1 - E near) / ln(1 - E). Where very many vessels share something the largest cells are
 * cut down, in their proportions, to 120 vessels in all: more could not move a
 * bounded shift, and finer points would be needed to weigh them.
 *
 * Ours can be spared by what acts on its group. With P(c acts) = pi_c / rho_c the
 * odds that c acts when it spared ours are
 *
 *   e_c = pi_c (1 - rho_c) / (rho_c - pi_c)     (at most 1),
 *
 * and the chance of the counts when exactly the causes S reached ours is
 *
 *   L(S) = sum_{A contains S, |A| <= 2} prod_{c in A - S} e_c M(A)  /  the same without M.
 *
 * The shift of c is ln L({c}) / L({}); of the pair c, d ln L({c,d}) / L({}) less the
 * shifts of both. Either ln is kept within +-siblings.most. So a group with losses above
 * what the others have raises the causes of its scope; one without, or a large one
 * with hardly any, lowers them; causes that would explain the same losses are raised
 * alike and not twice; and however many are lost, a cause that reaches a third of a
 * cook stays uncertain for any one of them.
 *
 * Controls, never inoculated, are a layer of their own: only contamination counts, the
 * background is theirs, and only causes `shown_by_control` act on them. A clean
 * control speaks against those, a spoiled one for them. Of the others it says
 * nothing by itself.
 *
 * What was decided. The shifts do not depend on how our own vessel looks: its signs
 * come after and weigh for themselves. Causes of scope vessel are not moved. A rule base
 * without `calibration.siblings` moves nothing. Counting twice: the rule base also has
 * observables in which a person says in words what the others did. A caller that
 * gives counts leaves those unanswered for what the counts cover.
 *
 * One call takes some milliseconds when all causes of a rule base of twenty are moved.
 */

/*
 * Are groups of vessels lost at one rate, or each at a rate of its own?
 *
 * Of n vessels x are lost: binomial, the rate Beta(a, b) before it was seen. The
 * chance of the counts of one group is then beta-binomial,
 *
 *   ln m(x, n) = ln C(n, x) + ln B(a + x, b + n - x) - ln B(a, b),
 *
 * and the Bayes factor of "a rate of its own for each" against "one rate for all"
 *
 *   ln BF = sum_g [ln B(a + x_g, b + n_g - x_g) - ln B(a, b)]
 *           - [ln B(a + X, b + N - X) - ln B(a, b)],   X, N the sums:
 *
 * the binomial coefficients stand on both sides (Kass & Raftery 1995, Journal of
 * the American Statistical Association 90, 773-795; Gunel & Dickey 1974,
 * Biometrika 61, 545-557, from memory).
 */

struct tally { /* counts of vessels; shares of one are allowed */
    double lost, total;
};

/* ln BF, natural: above 0 for rates of their own. 0 for fewer than two groups with vessels in them.
 * NAN when a or b is not above 0 or a tally is not 0 <= lost <= total < infinity. */
double bayes_factor_ln(const struct tally *groups, size_t count, double a, double b);

/* Expectations over a Beta(a, b) as weighted sums: sum_i weights[i] f(nodes[i])
 * is exact for polynomials f of a degree up to 2 count - 1 (Gauss-Jacobi on
 * [0, 1], weights adding up to 1). */
enum { BETA_RULE_MOST = 32 };

/* Fills `count` (1 .. BETA_RULE_MOST) nodes, rising, and weights; a and b are finite and above 0. */
void beta_rule(double a, double b, size_t count, double *nodes, double *weights);

/* What a vessel can share with ours: a scope, or its position in the same cook. */
enum relation {
    RELATION_COOK = SCOPE_COOK,
    RELATION_MIX = SCOPE_MIX,
    RELATION_GRAIN_LOT = SCOPE_GRAIN_LOT,
    RELATION_SESSION = SCOPE_SESSION,
    RELATION_STARTER = SCOPE_STARTER,
    RELATION_PLACE = SCOPE_PLACE,
    RELATION_POSITION = SCOPE_VESSEL, /* same cook and same position in the cooker */
    RELATION_COUNT = SCOPE_COUNT
};

/* Other vessels, ours never among them, that share the same things with ours. Only
 * what has told its story is counted: lost, used, or still sound at an age at which
 * ours would be judged. Several cells may have the same `shares`. */
struct sibling_cell {
    uint32_t shares;                   /* bit per enum relation; 0: nothing, "the rest" */
    bool control;                      /* never inoculated */
    double clean, stuck, contaminated; /* counts, by the status of what was found in them */
};

enum pattern_kind {
    PATTERN_NO_OTHERS, /* no inoculated vessel shares this */
    PATTERN_ALONE,     /* all do: there is no rest to compare with */
    PATTERN_ALIKE,     /* lost as often as the rest: the Bayes factor favours one rate */
    PATTERN_MORE,      /* a rate of its own, higher */
    PATTERN_LESS       /* ... lower */
};

/* One thing shared, and what it says. */
struct sibling_group {
    enum relation relation;
    enum pattern_kind kind;
    struct tally own, rest;  /* inoculated vessels, lost in any way, that share it or not */
    struct tally controls;   /* that share it */
    double log_bayes_factor; /* natural: own rate against one rate, at the same prior */
    double highest, lowest;  /* shift of a cause of this relation; 0 when there is none */
    uint32_t aliased; /* bit per relation: shared by exactly the same vessels, so not told apart */
};

struct sibling_pattern {
    struct sibling_group groups[RELATION_COUNT]; /* that some vessel shares, by relation */
    size_t group_count;
    struct prior_shift *shifts; /* of every cause with a scope that some vessel shares */
    size_t cause_count;
    struct pair_shift *pairs; /* likewise */
    size_t pair_count;
};

/* Weighs the cells; what `pattern` points to is in the arena. STATUS_DATA when a count is negative or not
 * finite; `pattern` is then empty. */
enum status siblings_weigh(const struct reasoner *reasoner, const struct sibling_cell *cells,
                           size_t count, struct arena *arena, struct sibling_pattern *pattern);

#endif
