/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_SAVED_INTERNAL_H
#define JARSIDE_REVIEW_SAVED_INTERNAL_H

#include "review/review.h"

/*
 * Vessels that would not have been lost at the rate of the rest: n (r - r0), n the inoculated
 * vessels of the suspect, r and r0 its rate and that of the rest, each with the posterior
 * Beta(1 + lost, 1 + kept). Writes the mean and the 5th and 95th hundredth into the fault; none
 * below 0 nor above what was lost.
 */
void saved_estimate(const struct review_suspect *suspect, struct review_fault *fault);

#endif
