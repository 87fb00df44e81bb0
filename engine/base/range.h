/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_RANGE_H
#define JARSIDE_BASE_RANGE_H

/* An uncertain number: the plausible low end, the middle, the plausible high end. */
struct range {
    double low, central, high;
};

#endif
