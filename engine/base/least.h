/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_LEAST_H
#define JARSIDE_BASE_LEAST_H

struct least {
    double at, value;
};

/*
 * The least value between `low` and `high` of a function that first falls and then rises, by golden
 * section (Kiefer 1953, Proc Am Math Soc 4:502): one further value for each step, until it lies
 * within `tolerance` > 0. Of a function with several valleys it finds one. The ends themselves are not
 * asked.
 */
struct least least_between(double (*function)(void *context, double at), void *context, double low,
                           double high, double tolerance);

#endif
