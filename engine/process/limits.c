/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "process/limits.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>

/* Ranges only; the order is free, the index is the error. */
static const struct limit limits[PROCESS_COUNT] = {
    [PROCESS_SATURATION_CELSIUS] =
        {"saturation temperature", 0.0, 373.946, "degC",
         "the saturation line of IAPWS R7-97(2012) runs from the melting "
         "point to the critical point"},
    [PROCESS_SATURATION_KPA] = {"saturation pressure", 0.611213, 22064.0, "kPa",
                                "the saturation line of IAPWS R7-97(2012) runs from the melting "
                                "point to the critical point"},
    [PROCESS_ALTITUDE] = {"altitude", -2000.0, 11000.0, "m",
                          "the lowest layer of the standard atmosphere, ISO 2533:1975"},
    [PROCESS_BAROMETER] = {"barometer reading", 30.0, 110.0, "kPa",
                           "air pressure on the ground, not reduced to sea level"},
    [PROCESS_GAUGE] = {"gauge pressure", 0.0, 206.9, "kPa", "no more than 30 psi is modelled"},
    [PROCESS_RATED_GAUGE] = {"gauge pressure", 0.0, 206.9, "kPa", "the rating of the cooker"},
    [PROCESS_AIR_SHARE] = {"share of air in the steam", 0.0, 0.95, "",
                           "above it there is hardly any steam"},
    [PROCESS_VESSEL_STEAM] = {"steam temperature", 60.0, 145.0, "degC",
                              "the lethality data do not reach further"},
    [PROCESS_HOLD_MINUTES] = {"time at pressure", 0.0, 1440.0, "min", "one day"},
    [PROCESS_COME_UP_MINUTES] = {"come-up time", 0.0, 600.0, "min", "ten hours"},
    [PROCESS_COOL_MINUTES] = {"cooling time", 0.0, 600.0, "min", "ten hours"},
    [PROCESS_START_CELSIUS] = {"start temperature", 0.0, 99.0, "degC",
                               "grain neither frozen nor boiling"},
    [PROCESS_THICKNESS] = {"vessel dimension", 0.01, 1.0, "m", "jars and bags of grain"},
    [PROCESS_DIFFUSIVITY] = {"effective thermal diffusivity", 0.5e-7, 1e-6, "m2/s",
                             "moist porous food and soil"},
    [PROCESS_CONDUCTANCE] = {"surface conductance", 1.0, INFINITY, "W/(m2 K)",
                             "still air is about 5, condensing steam thousands"},
    [PROCESS_HEAT_CAPACITY] = {"volumetric heat capacity", 5e5, 4.2e6, "J/(m3 K)",
                               "between dry grain and water"},
    [PROCESS_DECIMAL_TIME] = {"decimal reduction time", 1e-9, 1e4, "min", "published D values"},
    [PROCESS_Z_VALUE] = {"z value", 2.0, 30.0, "K", "published z values of moist heat"},
    [PROCESS_REFERENCE_CELSIUS] = {"reference temperature", 40.0, 150.0, "degC",
                                   "published D values"},
    [PROCESS_LOAD] = {"load of organisms", 0.0, 1e10, "per gram", "counts on grain"},
    [PROCESS_GRAIN_GRAMS] = {"grain in a vessel", 1.0, 50000.0, "g", "one vessel"},
    [PROCESS_VESSEL_COUNT] = {"number of vessels", 1.0, 1e5, "", "one cook"},
    [PROCESS_TARGET_CHANCE] = {"chance aimed for", 1e-12, 0.5, "", "a rare event"},
    [PROCESS_MASS] = {"mass", 0.0, 1e6, "g", "at most a tonne"},
    [PROCESS_MOISTURE] = {"moisture (wet basis)", 0.0, 70.0, "%",
                          "grain holds no more; the rest is free water"},
    [PROCESS_GROWTH_CELSIUS] = {"growing temperature", -10.0, 60.0, "degC", "cultivated fungi"},
    [PROCESS_GROWTH_RATE] = {"radial growth rate", 0.05, 200.0, "mm/day", "measured fungi"},
    [PROCESS_LAG] = {"lag", 0.0, 60.0, "days", "a starter that takes longer is dead"},
    [PROCESS_POINTS] = {"inoculation points", 1e-6, 1e3, "per cm3", "one for a kernel is 20 to 50"},
    [PROCESS_VOLUME] = {"grain volume", 10.0, 1e5, "cm3", "one vessel"},
    [PROCESS_DAYS] = {"day", 0.0, 730.0, "days", "two years"},
    [PROCESS_COVERAGE] = {"coverage", 0.0, 100.0, "%", "nothing to all"},
    [PROCESS_SHAKE_FACTOR] = {"points after a shake, for one before", 1.0, 1000.0, "",
                              "shaking spreads points and loses none"},
    [PROCESS_PROBE_CELSIUS] = {"probe temperature", -40.0, 200.0, "degC", "kitchen and lab probes"},
};

static const char *const others[PROCESS_COUNT] = {
    [PROCESS_RANGE_ORDER] = "low, central and high do not rise",
    [PROCESS_CARDINALS] = "growth temperatures do not fit; lowest < best < highest, with the best "
                          "above the middle of the other two",
    [PROCESS_TIME_ORDER] = "time stands still or runs backwards; each time must be later than the "
                           "one before",
    [PROCESS_EMPTY] = "nothing to compute from; at least two readings are needed",
    [PROCESS_UNREACHED] = "the value aimed for is never reached under these conditions",
    [PROCESS_MOISTURE_DROP] = "the target is drier than the grain; this takes drying, not water",
};

static bool is_range(enum process_error error)
{
    return error > PROCESS_OK && error < PROCESS_COUNT && limits[error].what != NULL;
}

const struct limit *limit_of(enum process_error error)
{
    return is_range(error) ? &limits[error] : NULL;
}

enum process_error limit_check(enum process_error bound, double value)
{
    if (!is_range(bound))
        return bound;
    /* Written so that a NaN fails. */
    return value >= limits[bound].lo && value <= limits[bound].hi ? PROCESS_OK : bound;
}

enum process_error limit_check_each(const struct bounded *numbers, size_t count, double *value)
{
    for (size_t i = 0; i < count; i++) {
        *value = numbers[i].number;
        if (limit_check(numbers[i].bound, *value) != PROCESS_OK)
            return numbers[i].bound;
    }
    return PROCESS_OK;
}

enum process_error limit_check_range(enum process_error bound, const struct range *range)
{
    if (limit_check(bound, range->low) != PROCESS_OK ||
        limit_check(bound, range->central) != PROCESS_OK ||
        limit_check(bound, range->high) != PROCESS_OK)
        return bound;
    return range->low <= range->central && range->central <= range->high ? PROCESS_OK
                                                                         : PROCESS_RANGE_ORDER;
}

int limit_message(char *out, size_t size, enum process_error error, double value)
{
    const struct limit *limit = limit_of(error);
    if (error == PROCESS_OK)
        return snprintf(out, size, "nothing is wrong");
    if (limit == NULL)
        return snprintf(out, size, "%s",
                        error < PROCESS_COUNT && others[error] ? others[error] : "unknown error");
    const char *space = limit->unit[0] == '\0' ? "" : " ";
    if (error == PROCESS_RATED_GAUGE)
        return snprintf(out, size, "%s %.6g kPa is above %s; never go beyond it", limit->what,
                        value, limit->why);
    if (isinf(limit->hi))
        return snprintf(out, size, "%s %.6g%s%s is out of range; at least %.6g (%s)", limit->what,
                        value, space, limit->unit, limit->lo, limit->why);
    return snprintf(out, size, "%s %.6g%s%s is out of range; between %.6g and %.6g (%s)",
                    limit->what, value, space, limit->unit, limit->lo, limit->hi, limit->why);
}
