/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_TABLE_H
#define JARSIDE_REVIEW_TABLE_H

#include <stdbool.h>
#include <stddef.h>

#include "review/statistics.h"

/*
 * Do these groups lose alike? Exact tests of a table with its margins given.
 *
 * Under "all alike" every way to spread the lost over the vessels is equally
 * likely, so a table of groups with n_i vessels and x_i lost has the chance
 *   P = prod_i C(n_i, x_i) / C(N, X).
 * The two-sided p is the chance of a table no likelier than the one seen; as
 * is usual, likelier by less than one part in 1e7 counts as no likelier.
 * (Fisher 1935; Freeman & Halton 1951, Biometrika 38:141.)
 *
 * With one table possible only (one group that is not empty, none lost, all
 * lost) there is nothing to tell apart: p is 1.
 */

/* ---- exact, or by drawing -------------------------------------------------------------------- */

/* How hard to try. */
struct table_effort {
    size_t exact_steps; /* partial tables to follow before tables are drawn; 0: never follow */
    size_t tables;      /* the most random tables to draw, at least 1 */
    size_t draws;  /* the most single numbers to draw, whatever `tables` says; 0: no such end */
    size_t enough; /* stop drawing after so many as unlikely as ours; 0: draw them all */
    unsigned long seed; /* the same seed gives the same answer */
};

/* 100 000 steps, 10 000 tables of 20 million numbers, stop at 100 hits, seed 1: a few milliseconds
 * for a common table, under half a second for any. */
struct table_effort table_effort_usual(void);

struct table_test {
    double p;
    bool exact;            /* every table was accounted for */
    bool at_most;          /* no drawn table was as unlikely: p is a ceiling, not an estimate */
    double standard_error; /* of p from drawing; 0 when exact */
    size_t tables, hits;   /* drawn, and no likelier than ours; 0 when exact */
};

/*
 * Groups against lost or not. Two groups are summed outright; more are exact by the network of
 * Mehta & Patel (1983, J Am Stat Assoc 78:427):
 * tables are followed group by group, those with the same loss so far and the same chance together,
 * and a bundle is settled as soon as all or none of its ends count. When that takes more than
 * `exact_steps`, tables are drawn at random:
 *   p = (hits + 1) / (tables + 1), or hits / tables if `enough` hits ended it
 * (Besag & Clifford 1991, Biometrika 78:301), standard error sqrt(p (1 - p) / tables). Drawing ends
 * early, too, when the first hundred are all likelier than ours and Chernoff's bound (1952) shows p
 * to be below what drawing could tell; then p is that bound.
 * Drawing a table costs the number of groups and of vessels lost.
 * STATUS_USAGE: counts or effort out of range.
 */
enum status table_groups(const struct counts *groups, size_t count,
                         const struct table_effort *effort, struct table_test *result);

/* ---- the quick one --------------------------------------------------------------------------- */

struct table_chi_square {
    double statistic, p;
    size_t freedom; /* groups that are not empty less one; 0 when nothing can be told apart */
    double smallest_expected; /* below 5 the p is a rough one (Cochran 1954, Biometrics 10:417) */
};

/* Pearson's chi-square of groups against lost or not: linear, for when thousands are to be ranked.
 * STATUS_USAGE. */
enum status table_chi_square(const struct counts *groups, size_t count,
                             struct table_chi_square *result);

#endif
