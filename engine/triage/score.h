/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_SCORE_H
#define JARSIDE_TRIAGE_SCORE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"
#include "base/memory.h"
#include "reason/reason.h"
#include "rules/rules.h"
#include "triage/triage.h"

/*
 * How well verdicts agree with labelled cases.
 *
 * Log score: mean of -ln P(any labelled finding). Brier score, multi-class:
 * mean over cases of sum over findings of (p - y)^2, with y = 1 shared equally
 * among the labelled ones (Brier, "Verification of forecasts expressed in terms
 * of probability", Monthly Weather Review 78, 1950). Calibration: cases binned
 * by the probability of the leader; ECE is the mean over cases of
 * |accuracy - confidence| by bin (Naeini, Cooper & Hauskrecht, "Obtaining well
 * calibrated probabilities using Bayesian binning", AAAI 2015). Where several
 * findings are labelled any of them is right, so the leader must seem surer than
 * it says; whether a vessel is contaminated at all is one question in every case
 * whose labels agree on it, and has an error of its own, binned the same way. AUC: the area under the
 * receiver operating characteristic of that chance (Hanley & McNeil, Radiology 143, 1982).
 */
enum { SCORE_BINS = 10, SCORE_TOP = 3 };

struct score_row { /* one case */
    const struct labelled_case *labelled;
    enum action action;
    size_t leader; /* finding */
    double leader_p;
    double labelled_p;     /* mass on the labelled findings */
    double contaminated_p; /* mass on the contaminated ones */
    bool contaminated;     /* by every label */
    bool finding_first, finding_three;
    bool has_cause, cause_three;
    bool action_right;
    bool unsafe_keep;      /* contaminated, and kept */
    bool clean;            /* clean or merely stuck by every label */
    bool needless_discard; /* clean and discarded, where discarding is not accepted */
};

struct score_bin {
    size_t count;
    double confidence; /* mean probability of the leader */
    double accuracy;   /* share of leaders that were labelled */
};

struct score {
    size_t cases, finding_first, finding_three, caused, cause_three, action_right;
    size_t unsafe_keeps, clean, needless_discards;
    double log_score, brier, calibration_error, contamination_error;
    double auc; /* chance that a contaminated one is called likelier so than a clean one; NAN */
    struct score_bin bins[SCORE_BINS];
    struct score_bin contamination[SCORE_BINS]; /* of the chance that it is contaminated */
    const struct score_row *rows;               /* `cases` of them, in order */
};

/* Judges every case and scores it; rows are in `arena`. Cases without a label are a fault. */
enum status score_cases(struct triage *triage, const struct labelled_case *cases, size_t count,
                        struct arena *arena, struct score *score, struct diags *diags);

/* The power tau in [0.2, 1] with the least log score over the cases, to 1e-3, by steps that grow
 * finer around the best so far (the score is smooth in tau and has one minimum on any corpus seen
 * so far). */
enum status score_fit_tau(struct triage *triage, const struct reasoner *reasoner,
                          const struct labelled_case *cases, size_t count, double *tau,
                          double *log_score, struct diags *diags);

#endif
