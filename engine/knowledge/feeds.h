/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_KNOWLEDGE_FEEDS_H
#define JARSIDE_KNOWLEDGE_FEEDS_H

/*
 * What the observable tells a computation, or is told by records; FEEDS_NONE for
 * most. The code knows quantities by these, never by the id of an observable.
 */
enum feeds {
    FEEDS_NONE,
    FEEDS_DAY,
    FEEDS_COVERAGE,
    FEEDS_STALLED_DAYS,
    FEEDS_SPECIES,
    FEEDS_GRAIN,
    FEEDS_VESSEL,
    FEEDS_COOK_GAUGE,
    FEEDS_COOK_MINUTES,
    FEEDS_ALTITUDE,
    FEEDS_LOAD,
    FEEDS_AIR,
    FEEDS_VESSEL_MASS,
    FEEDS_DRY_MASS,
    FEEDS_WATER_MASS,
    FEEDS_MOISTURE,
    FEEDS_TEMPERATURE,
    FEEDS_DOSE,
    FEEDS_STARTER_KIND,
    FEEDS_SHAKEN_DAYS,
    /* Below: only what records know; no computation of process/ takes it. */
    FEEDS_COOK_METHOD,
    FEEDS_SOAK,
    FEEDS_POSITION,      /* in the cooker */
    FEEDS_STARTER_AGE,   /* when it was used */
    FEEDS_WAIT_BEFORE,   /* from the cook to inoculation */
    FEEDS_FIRST_SEEN,    /* day on which trouble was first seen */
    FEEDS_PATCHES,       /* `parameter`: how many odd patches; 0 for none */
    FEEDS_PROGRESS,      /* `parameter`: from so many points of coverage a day */
    FEEDS_SPOT_CHANGE,   /* of a patch between two looks */
    FEEDS_JUDGED_BEFORE, /* `parameter`: from so high a chance of contamination, at any look */
    FEEDS_SIBLINGS_COOK, /* what became of the others that share it ... */
    FEEDS_SIBLINGS_LOT,
    FEEDS_SIBLINGS_SESSION,
    FEEDS_SIBLINGS_STARTER,
    FEEDS_SIBLINGS_PLACE,
    FEEDS_CONTROLS, /* ... and of those of its cook that were never inoculated */
    FEEDS_COUNT
};

#endif
