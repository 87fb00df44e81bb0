/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_PROCESS_COOK_H
#define JARSIDE_PROCESS_COOK_H

#include <stdbool.h>
#include <stddef.h>

#include "process/heat.h"
#include "process/limits.h"
#include "rules/rules.h"

/* One cook, whole: steam, core, kill, survivors, and how sure any of it is.
 *
 * What is uncertain is a range. The answer is computed for the middle of every range, for the bad
 * and the good end of all together, and for each range alone (which one the answer leans on). The
 * mean chance that a vessel is not sterile averages over the ranges, each taken as the 5, 50 and 95
 * % points of what may be true: the diffusivity as a two-piece log-normal distribution, the others
 * by the three-point rule of Keefer & Bodily 1983 (Management Science 29:595), weights 0.185, 0.63,
 * 0.185.
 *
 * Come-up is a straight line from the start temperature to that of the steam; cooling one from
 * there to the boiling point outside, with the core capped at the vessel's temperature. By default
 * cooling is credited only in the good end: low and central are then 0. */
enum { COOK_MAX_ORGANISMS = 12, COOK_NODES = 5 };

struct cook_setup {
    struct steam_conditions steam; /* its air_share is not used: see `air` */
    struct range air;              /* share of air left: low is the good end */
    struct range come_up;          /* minutes from the start temperature to full pressure */
    struct range cool;        /* minutes from pressure to the boiling point that are credited */
    struct range diffusivity; /* effective, m2/s */
    double hold;              /* minutes at pressure */
    double start_celsius;
    struct heat_body body;
    double conductance;   /* W/(m2 K), wall and film */
    double heat_capacity; /* J/(m3 K) */
    double dry_grams;     /* of grain in a vessel */
    double vessels;
    double target;               /* chance aimed for that a vessel is not sterile */
    double adequate_f0;          /* verdict: below this F0 it is not enough; a probe must show it */
    double adequate_diffusivity; /* a cautious one, on which the advised minutes stand */
    const struct organism *organisms; /* an indicator does not count: it is only reported */
    size_t organism_count;
};

enum cook_input {
    COOK_DIFFUSIVITY,
    COOK_COME_UP,
    COOK_AIR,
    COOK_COOLING,
    COOK_LOAD,
    COOK_RESISTANCE,
    COOK_INPUTS
};
/* "how fast heat gets through the grain", "the come-up", ... */
extern const char *const cook_input_names[COOK_INPUTS];

/* Decades of kill beyond what the target needs (below 0: short of it), for the organism that is
 * hardest to kill, with one input at its bad and at its good end. */
struct cook_lean {
    enum cook_input input;
    double bad, good;
};

struct cook_kill {              /* of one organism; low is the bad end */
    struct range log_reduction; /* powers of ten */
    struct range survivors;     /* expected in a vessel; here high is the bad end */
    struct range chance;        /* that a vessel holds a live one; high is the bad end */
    double chance_mean;
};

enum cook_verdict { COOK_ADEQUATE, COOK_MARGINAL, COOK_NOT_ENOUGH };

struct cook_result {
    struct range steam;        /* degC; the range is that of the air left */
    struct range core;         /* degC at the end of the hold */
    struct range f0;           /* minutes */
    double f0_adequate_at;     /* F0 at adequate_diffusivity; of a probe, its low end */
    enum cook_verdict verdict; /* adequate: held for minutes_needed.central, or by the probe's F0 */
    struct cook_kill kills[COOK_MAX_ORGANISMS]; /* as the setup's organisms */
    struct range chance;         /* that a vessel is not sterile; high is the bad end */
    double chance_mean;          /* averaged over all that is uncertain */
    double chance_any_mean;      /* that at least one of `vessels` is not, averaged likewise */
    double margin;               /* log reductions beyond the target, central */
    struct range minutes_needed; /* at pressure for the target, cooling not credited; central at
                                    adequate_diffusivity; low is the good end; INFINITY beyond a day */
    struct cook_lean leans[COOK_INPUTS]; /* widest first */
};

/* Checks every number of the setup; what is wrong is named and its value given in `value`. */
enum process_error cook_check(const struct cook_setup *setup, double *value);

/* All of the above. The setup must have passed cook_check. */
void cook_compute(const struct cook_setup *setup, struct cook_result *result);

/* Core and surroundings of the central course at 0, step, ... minutes, for drawing. */
void cook_course(const struct cook_setup *setup, double diffusivity, double step_minutes,
                 double *core, double *outside, size_t count);

/* The same from a probe in the core: reading by reading, constant memory. The probe is trusted to
 * `doubt` K; the heat model and its ranges are not used. */
struct cook_probe {
    struct lethality f0;
    struct lethality organisms[COOK_MAX_ORGANISMS];
    size_t organism_count;
};
void cook_probe_init(struct cook_probe *probe, const struct cook_setup *setup, double longest_gap);
enum process_error cook_probe_add(struct cook_probe *probe, double minutes, double celsius);
/* minutes_needed is NAN; `steam` is unknown (NAN), `core` the lowest, last and highest reading;
 * leans are those of the load and the resistance. */
enum process_error cook_probe_finish(const struct cook_probe *probe, const struct cook_setup *setup,
                                     double doubt, struct cook_result *result);

#endif
