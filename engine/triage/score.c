/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "triage/score.h"

#include <math.h>
#include <string.h>

#include "base/units.h"

static const double LEAST_P = 1e-9; /* one impossible label must not make a score infinite */

static bool labelled_with(const size_t *labels, size_t count, size_t index)
{
    for (size_t i = 0; i < count; i++)
        if (labels[i] == index)
            return true;
    return false;
}

static void bin_add(struct score_bin bins[SCORE_BINS], double p, bool right)
{
    struct score_bin *bin = &bins[(size_t)fmin(p * SCORE_BINS, SCORE_BINS - 1)];
    bin->count++;
    bin->confidence += p;
    bin->accuracy += right;
}

/* Fills a row and adds it to the sums. */
static void add_row(struct score *score, struct score_row *row, const struct rules *rules,
                    const struct labelled_case *labelled, const struct verdict *verdict)
{
    const struct ranked *findings = verdict->findings;
    row->labelled = labelled;
    row->action = verdict->decision.action;
    row->leader = findings[0].index;
    row->leader_p = findings[0].p;
    for (size_t i = 0; i < rules->finding_count; i++) {
        const bool right =
            labelled_with(labelled->findings, labelled->finding_count, findings[i].index);
        const double share = right ? 1.0 / (double)labelled->finding_count : 0.0;
        score->brier += (findings[i].p - share) * (findings[i].p - share);
        row->labelled_p += right ? findings[i].p : 0.0;
        row->finding_first = row->finding_first || (right && i == 0);
        row->finding_three = row->finding_three || (right && i < SCORE_TOP);
        if (rules->findings[findings[i].index].status == FINDING_CONTAMINATED)
            row->contaminated_p += findings[i].p;
    }
    row->has_cause = labelled->cause_count > 0;
    for (size_t i = 0; row->has_cause && i < SCORE_TOP && i < rules->cause_count; i++)
        row->cause_three =
            row->cause_three ||
            labelled_with(labelled->causes, labelled->cause_count, verdict->causes[i].index);
    row->action_right = (labelled->actions >> row->action & 1U) != 0;
    size_t contaminated = 0; /* labels */
    for (size_t i = 0; i < labelled->finding_count; i++)
        contaminated += rules->findings[labelled->findings[i]].status == FINDING_CONTAMINATED;
    row->contaminated = contaminated > 0 && contaminated == labelled->finding_count;
    row->unsafe_keep = row->contaminated && row->action == ACTION_KEEP;
    row->clean = labelled->finding_count > 0 && contaminated == 0;
    row->needless_discard = row->clean && row->action == ACTION_DISCARD && !row->action_right;
    score->cases++;
    score->finding_first += row->finding_first;
    score->finding_three += row->finding_three;
    score->caused += row->has_cause;
    score->cause_three += row->cause_three;
    score->action_right += row->action_right;
    score->unsafe_keeps += row->unsafe_keep;
    score->clean += row->clean;
    score->needless_discards += row->needless_discard;
    score->log_score += -log(fmax(row->labelled_p, LEAST_P));
    bin_add(score->bins, row->leader_p, row->finding_first);
    if (row->clean || row->contaminated)
        bin_add(score->contamination, row->contaminated_p, row->contaminated);
}

/* Averages the bins; the expected calibration error over them. */
static double bins_average(struct score_bin bins[SCORE_BINS])
{
    double count = 0, error = 0;
    for (struct score_bin *bin = bins; bin < bins + SCORE_BINS; bin++) {
        double n = (double)(bin->count > 0 ? bin->count : 1);
        bin->confidence /= n;
        bin->accuracy /= n;
        error += (double)bin->count * fabs(bin->accuracy - bin->confidence);
        count += (double)bin->count;
    }
    return count > 0 ? error / count : 0.0;
}

static enum status tell_case(struct triage *triage, const struct labelled_case *labelled,
                             struct diags *diags)
{
    if (labelled->finding_count == 0 || labelled->actions == 0)
        return diags_fail(diags, STATUS_DATA, labelled->at,
                          "case '%s' has no label; 'findings' and 'actions' say what is expected",
                          labelled->id != NULL ? labelled->id : "");
    triage_reset(triage);
    return triage_case(triage, labelled, diags);
}

enum status score_cases(struct triage *triage, const struct labelled_case *cases, size_t count,
                        struct arena *arena, struct score *score, struct diags *diags)
{
    memset(score, 0, sizeof *score);
    struct score_row *rows = arena_array(arena, count, sizeof *rows);
    score->rows = rows;
    for (size_t i = 0; i < count; i++) {
        enum status status = tell_case(triage, &cases[i], diags);
        if (status != STATUS_OK)
            return status;
        /* Causes, which take nearly all of the time, are found where a label names one. */
        add_row(score, &rows[i], triage_rules(triage), &cases[i],
                cases[i].cause_count > 0 ? triage_judge_plainly(triage)
                                         : triage_judge_briefly(triage));
    }
    double n = (double)(score->cases > 0 ? score->cases : 1);
    score->log_score /= n;
    score->brier /= n;
    score->calibration_error = bins_average(score->bins);
    score->contamination_error = bins_average(score->contamination);
    /* Of all pairs of one contaminated and one clean case; ties count half. */
    double pairs = 0, won = 0;
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; rows[i].contaminated && k < count; k++)
            if (rows[k].clean) {
                pairs++;
                won += rows[i].contaminated_p > rows[k].contaminated_p    ? 1.0
                       : rows[i].contaminated_p == rows[k].contaminated_p ? 0.5
                                                                          : 0.0;
            }
    score->auc = pairs > 0 ? won / pairs : NAN;
    return STATUS_OK;
}

/* ---- fitting --------------------------------------------------------------------------------- */

struct fit {
    struct triage *triage;
    const struct reasoner *reasoner;
    const struct labelled_case *cases;
    size_t count;
    struct posterior posterior;
    struct diags *diags;
    enum status status; /* the first fault; later values are not to be used */
};

/* After a fault it asks no more. */
static double log_score_at(struct fit *fit, double tau)
{
    double sum = 0;
    for (size_t i = 0; i < fit->count && fit->status == STATUS_OK; i++) {
        fit->status = tell_case(fit->triage, &fit->cases[i], fit->diags);
        if (fit->status == STATUS_OK)
            reason_posterior(fit->reasoner, triage_evidence(fit->triage), tau, &fit->posterior);
        double p = 0;
        for (size_t k = 0; fit->status == STATUS_OK && k < fit->cases[i].finding_count; k++)
            p += fit->posterior.finding[fit->cases[i].findings[k]];
        sum += -log(fmax(p, LEAST_P));
    }
    return sum / (double)(fit->count > 0 ? fit->count : 1);
}

enum status score_fit_tau(struct triage *triage, const struct reasoner *reasoner,
                          const struct labelled_case *cases, size_t count, double *tau,
                          double *log_score, struct diags *diags)
{
    static const double LEAST_TAU = 0.2, TOLERANCE = 1e-3;
    enum { SIDE = 4 }; /* steps tried to either side */
    struct fit fit = {.triage = triage,
                      .reasoner = reasoner,
                      .cases = cases,
                      .count = count,
                      .diags = diags,
                      .status = STATUS_OK};
    posterior_init(&fit.posterior, reasoner, NULL);
    *log_score = INFINITY;
    double middle = 0.5 * (LEAST_TAU + 1.0);
    double step = (1.0 - LEAST_TAU) / (2 * SIDE);
    while (step > TOLERANCE / SIDE) {
        for (int k = -SIDE; k <= SIDE; k++) {
            const double at = fmin(1.0, fmax(LEAST_TAU, middle + k * step));
            const double here = log_score_at(&fit, at);
            if (here < *log_score) {
                *log_score = here;
                *tau = at;
            }
        }
        middle = *tau;
        step /= SIDE;
    }
    posterior_release(&fit.posterior);
    return fit.status;
}
