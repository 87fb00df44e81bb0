/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_PROCESS_CHECK_H
#define JARSIDE_TESTS_PROCESS_CHECK_H

#include <stdbool.h>

#include <math.h>
#include <stdio.h>

#include "support/test.h"

/*
 * For outside checks: compare with a published figure, remember the worst
 * difference, and print both the source and that difference.
 */
struct outside {
    const char *source;
    double worst; /* largest |got - want| */
    double share; /* largest |got - want| / allowed */
    size_t compared;
};

static inline void outside_near(struct outside *check, const char *what, double got, double want,
                                double allowed)
{
    double difference = fabs(got - want);

    check->compared++;
    if (!(difference <= check->worst))
        check->worst = difference;
    if (!(difference / allowed <= check->share))
        check->share = difference / allowed;
    if (!(difference <= allowed))
        fail_msg("%s: got %.12g, published %.12g, allowed difference %g (%s)", what, got, want,
                 allowed, check->source);
}

static inline void outside_close(const struct outside *check)
{
    assert_true(check->compared > 0);
    /* To standard error, so that it is seen under prove as well. */
    fprintf(stderr,
            "# source: %s: %zu figures, largest difference %.3g, %.0f %% of what is allowed\n",
            check->source, check->compared, check->worst, 100.0 * check->share);
}

#endif
