/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A cook that was measured in the core: no heat model, the readings as they come. */
#include <math.h>

#include "process/cook_internal.h"

void cook_probe_init(struct cook_probe *probe, const struct cook_setup *setup, double longest_gap)
{
    lethality_init(&probe->f0, LETHALITY_F0_CELSIUS, LETHALITY_F0_Z, longest_gap);
    probe->organism_count = setup->organism_count;
    for (size_t i = 0; i < setup->organism_count; i++)
        lethality_init(&probe->organisms[i], setup->organisms[i].reference_celsius,
                       setup->organisms[i].z.central, longest_gap);
}

enum process_fault cook_probe_add(struct cook_probe *probe, double minutes, double celsius)
{
    enum process_fault fault = lethality_add(&probe->f0, minutes, celsius);

    /* The others see the same readings, so they accept what the first did. */
    for (size_t i = 0; fault == PROCESS_OK && i < probe->organism_count; i++)
        fault = lethality_add(&probe->organisms[i], minutes, celsius);
    return fault;
}

/* Factor on the kill when the probe reads `doubt` K too high (bad) or too low (good). */
static double probe_factor(const struct cook_organism *organism, double doubt, enum cook_end end)
{
    double sign = end == COOK_BAD ? -1.0 : end == COOK_GOOD ? 1.0 : 0.0;
    return lethality_rate(sign * doubt, 0.0, organism->z.central);
}

/* Factor when D is at an end; the readings are what they are, so z stays central. */
static double death_factor(const struct cook_organism *organism, enum cook_end end)
{
    return end == COOK_BAD    ? organism->d_minutes.central / organism->d_minutes.high
           : end == COOK_GOOD ? organism->d_minutes.central / organism->d_minutes.low
                              : 1.0;
}

static void average_probe(const struct cook_setup *setup, const struct cook_doses *doses,
                          double doubt, struct cook_result *result)
{
    double vessel = 0.0, any = 0.0;

    for (int probe = 0; probe < COOK_ENDS; probe++)
        for (int death = 0; death < COOK_ENDS; death++)
            for (int load = 0; load < COOK_ENDS; load++) {
                double weight = cook_weight((enum cook_end)probe) *
                                cook_weight((enum cook_end)death) *
                                cook_weight((enum cook_end)load);
                double all = 0.0;
                for (size_t i = 0; i < setup->organism_count; i++) {
                    const struct cook_organism *organism = &setup->organisms[i];
                    double factor = probe_factor(organism, doubt, (enum cook_end)probe) *
                                    death_factor(organism, (enum cook_end)death);
                    double left =
                        survivors(cook_load(setup, organism, (enum cook_end)load),
                                  cook_log_reduction(organism, doses->organisms[i], factor));
                    result->kills[i].chance_mean += weight * survivors_chance(left);
                    if (organism->counts)
                        all += left;
                }
                vessel += weight * survivors_chance(all);
                any += weight * survivors_chance_any(all, setup->vessels);
            }
    result->chance_mean = vessel;
    result->chance_any_mean = any;
}

enum process_fault cook_probe_finish(const struct cook_probe *probe, const struct cook_setup *setup,
                                     double doubt, struct cook_result *result)
{
    struct cook_doses doses = {.core = probe->f0.last_celsius};
    double factor[COOK_ENDS][COOK_MAX_ORGANISMS], death[COOK_ENDS][COOK_MAX_ORGANISMS];
    enum process_fault fault = lethality_finish(&probe->f0, &doses.f0);

    if (fault != PROCESS_OK)
        return fault;
    *result = (struct cook_result){.steam = {NAN, NAN, NAN}, .minutes_needed = {NAN, NAN, NAN}};
    for (size_t i = 0; i < setup->organism_count; i++)
        doses.organisms[i] = lethality_minutes(&probe->organisms[i]);
    for (int end = 0; end < COOK_ENDS; end++) {
        struct cook_doses shifted = doses;
        double sign = end == COOK_BAD ? -1.0 : end == COOK_GOOD ? 1.0 : 0.0;
        shifted.f0 *= lethality_rate(sign * doubt, 0.0, LETHALITY_F0_Z);
        for (size_t i = 0; i < setup->organism_count; i++) {
            death[end][i] = death_factor(&setup->organisms[i], (enum cook_end)end);
            factor[end][i] =
                death[end][i] * probe_factor(&setup->organisms[i], doubt, (enum cook_end)end);
        }
        cook_fill_end(setup, &shifted, factor[end], (enum cook_end)end, result);
    }
    result->core = (struct range){probe->f0.lowest, probe->f0.last_celsius, probe->f0.highest};
    result->f0_adequate_at = result->f0.low;
    result->verdict = result->f0.low >= setup->adequate_f0    ? COOK_ADEQUATE
                      : result->f0.high >= setup->adequate_f0 ? COOK_MARGINAL
                                                              : COOK_NOT_ENOUGH;
    result->margin = cook_margin(setup, &doses, factor[COOK_CENTRAL], COOK_CENTRAL);
    cook_add_lean(result, 0, COOK_RESISTANCE,
                  cook_margin(setup, &doses, death[COOK_BAD], COOK_CENTRAL),
                  cook_margin(setup, &doses, death[COOK_GOOD], COOK_CENTRAL));
    cook_add_lean(result, 1, COOK_LOAD, cook_margin(setup, &doses, factor[COOK_CENTRAL], COOK_BAD),
                  cook_margin(setup, &doses, factor[COOK_CENTRAL], COOK_GOOD));
    for (size_t i = 2; i < COOK_INPUTS; i++)
        result->leans[i] = (struct cook_lean){COOK_INPUTS, 0.0, 0.0};
    average_probe(setup, &doses, doubt, result);
    return PROCESS_OK;
}
