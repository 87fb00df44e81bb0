/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REASON_SHARED_H
#define JARSIDE_REASON_SHARED_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "reason/reason.h"

/*
 * A whole batch: which shared causes acted, from all its vessels at once.
 *
 * A suspect is a cause together with one group of its scope (a cook, a starter
 * ...). Z is a set of at most two suspects, acting. It reaches each vessel of its group with the
 * chance rho_c (`reach`), each vessel for itself; T, the causes that reached vessel v, is then
 * part of Z_v, the suspects of Z whose group v is in:
 *
 *   P(T|Z,v)  = prod_{c in T} rho_c  prod_{c in Z_v - T} (1 - rho_c)
 *   P(Z)      ~ prod_{z in Z} o_z,   o_z = (pi_c / rho_c) / (1 - pi_c / rho_c), moved by the shifts
 *   P(E, Z)   = P(Z) P(E0|Z) prod_v sum_T P(T|Z,v) P(E_v|T) / P(E0|T)
 *
 * pi_c / rho_c stays below 0.95. P(E_v|T) is that of reason.h given that the causes of shared scope in
 * its S are exactly T: summed over the findings v may have and over the causes of
 * scope vessel, at most two causes in all. E0 is what is known of the batch as such
 * (its cook, its mix): part of what is known of every vessel, so it is divided out
 * there, and counted once. P(E0|Z) is P(E0|T) with T the causes in Z.
 *
 * A control was never inoculated: only causes `shown_by_control` can reach it, whatever
 * their scope. What became of a vessel can be given as its finding, or as the
 * statuses it may have.
 *
 * Exact, in logarithms. Per vessel one posterior, then a sum per set; of vessels of
 * which exactly the same is known, one may stand for all.
 */

struct shared_vessel {
    /* All that is known of it, one per observable, the common facts included; NULL: only those. */
    const struct observation *observations;
    int group[SCOPE_COUNT]; /* per scope the group it is in, numbered from 0; RULES_NONE: none */
    int finding;            /* what it turned out to hold, or RULES_NONE */
    uint32_t statuses;      /* bit per enum finding_status it may have; 0: any */
    bool control;           /* never inoculated */
    size_t alike;           /* how many vessels this one stands for; 0 counts as 1 */
};

/* As prior_shift, of a cause in one group, or in each when `group` is RULES_NONE. Once per batch. */
struct shared_shift {
    size_t cause;
    int group;
    double log_odds;
};

struct shared_batch {
    const struct shared_vessel *vessels;
    size_t vessel_count;
    const struct observation *common; /* one per observable; NULL: nothing */
    const struct shared_shift *shifts;
    size_t shift_count;
};

struct suspect {
    size_t cause;
    int group;      /* of the scope of the cause */
    double p;       /* that it acted */
    size_t vessels; /* that it could reach */
};

struct suspect_set {
    int suspects[2]; /* RULES_NONE where absent */
    double p;
};

struct shared_posterior {
    struct suspect *suspects; /* by cause, then group */
    size_t suspect_count;
    struct suspect_set *sets; /* {} (no suspect acted), then each, then each pair */
    size_t set_count;
};

enum { SHARED_MOST_SUSPECTS = 512 }; /* 131 000 sets */

/* The groups of a vessel are below vessel_count. STATUS_DATA for too many suspects, or where nothing could
 * have brought this about; then `posterior` is empty. shared_release frees what it holds. */
enum status reason_shared(const struct reasoner *reasoner, const struct shared_batch *batch,
                          struct shared_posterior *posterior);
void shared_release(struct shared_posterior *posterior);

#endif
