/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_COOK_INTERNAL_H
#define JARSIDE_PROCESS_COOK_INTERNAL_H

#include "process/cook.h"

/* The three points of a range. For every input BAD is the end that lets more organisms live. */
enum cook_end { COOK_BAD, COOK_CENTRAL, COOK_GOOD, COOK_ENDS };

/* One exact course of the temperature. */
struct cook_course {
    double diffusivity, come_up, air, hold, cool;
};
struct cook_course cook_course_at(const struct cook_setup *setup, enum cook_end diffusivity,
                                  enum cook_end come_up, enum cook_end air, enum cook_end cool);

/*
 * What has been worked out of how the vessel takes heat. Most courses of a cook
 * differ in anything but the diffusivity, and finding the roots of a series takes
 * longer than following it.
 */
struct cook_heat {
    double diffusivity[COOK_NODES + 1];
    struct heat_model model[COOK_NODES + 1];
    size_t count;
};

/* Equivalent minutes of one course: F0, and for each organism at one of its z. */
struct cook_doses {
    double f0;
    double organisms[COOK_MAX_ORGANISMS];
    double core; /* degC at its end */
};
enum process_fault cook_doses(const struct cook_setup *setup, struct cook_heat *heat,
                              const struct cook_course *course, struct cook_doses *doses);
/* The same course once for each end of the organisms' z. */
enum process_fault cook_doses_by_z(const struct cook_setup *setup, struct cook_heat *heat,
                                   const struct cook_course *course,
                                   struct cook_doses doses[COOK_ENDS]);

/* Minutes at pressure on this course until the survivors that count are few enough. */
enum process_fault cook_minutes_needed(const struct cook_setup *setup, struct cook_heat *heat,
                                       const struct cook_course *course,
                                       const double resistance[COOK_MAX_ORGANISMS],
                                       enum cook_end load, double *minutes);

/*
 * The model in one place: survivors of organism k are
 *   load x 10^-(dose / D x factor),
 * `factor` gathering what moves the kill in proportion (come-up, air, resistance).
 */
double cook_log_reduction(const struct cook_organism *organism, double dose, double factor);
double cook_load(const struct cook_setup *setup, const struct cook_organism *organism,
                 enum cook_end load);

/* Decades to spare over the target for the organism with the least. */
double cook_margin(const struct cook_setup *setup, const struct cook_doses *doses,
                   const double factor[COOK_MAX_ORGANISMS], enum cook_end load);

/* Factor on each log reduction at the bad and good end of the resistance (D and z together), from
 * the doses of one course at the low, central and high z. */
void cook_resistance(const struct cook_setup *setup, const struct cook_doses at_z[COOK_ENDS],
                     double factor[COOK_ENDS][COOK_MAX_ORGANISMS]);

/* Weights of the three points: Keefer & Bodily 1983. */
double cook_weight(enum cook_end end);

/* Fills kills' ranges and the overall chance at one end. */
void cook_fill_end(const struct cook_setup *setup, const struct cook_doses *doses,
                   const double factor[COOK_MAX_ORGANISMS], enum cook_end end,
                   struct cook_result *result);

void cook_add_lean(struct cook_result *result, size_t at, enum cook_input input, double bad,
                   double good);

#endif
