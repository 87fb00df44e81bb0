/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/consult.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal/consult_internal.h"

const char *consult_day(struct moment day, struct moment now, char room[CONSULT_DAY_ROOM])
{
    static const char *const months[] = {"January",   "February", "March",    "April",
                                         "May",       "June",     "July",     "August",
                                         "September", "October",  "November", "December"};
    char written[MOMENT_ROOM], today[MOMENT_ROOM], *at = written;
    long year = strtol(moment_write_day(day, written), &at, 10);
    long month = *at == '-' ? strtol(at + 1, &at, 10) : 0;
    long number = *at == '-' ? strtol(at + 1, &at, 10) : 0;
    room[0] = '\0';
    if (month < 1 || month > 12)
        return room;
    if (year == strtol(moment_write_day(now, today), NULL, 10))
        snprintf(room, CONSULT_DAY_ROOM, "%ld %s", number, months[month - 1]);
    else
        snprintf(room, CONSULT_DAY_ROOM, "%ld %s %ld", number, months[month - 1], year);
    return room;
}

/* ---- opening --------------------------------------------------------------------------------- */

static enum status vessel_found(struct opening *opening)
{
    struct consultation *at = opening->at;
    enum status status = journal_find(opening->journal, RECORD_VESSEL, at->request.label,
                                      opening->arena, &at->vessel, opening->diags);
    if (status == STATUS_OK)
        status = journal_get(opening->journal, RECORD_BATCH, at->vessel.batch, opening->arena,
                             &at->batch, opening->diags);
    if (status != STATUS_OK)
        return status;
    at->day = (double)moment_days_between(at->batch.at, at->request.now);
    if (at->day < 0.0) {
        char day[CONSULT_DAY_ROOM];
        diags_error(opening->diags, (struct position){0},
                    "%s was not there yet: its batch began on %s", at->vessel.label,
                    consult_day(at->batch.at, at->request.now, day));
        return STATUS_USAGE;
    }
    if (at->vessel.state != VESSEL_DISCARDED && at->vessel.state != VESSEL_USED)
        return STATUS_OK;
    diags_error(opening->diags, (struct position){0},
                "%s was %s already; there is nothing to look at", at->vessel.label,
                vessel_state_words[at->vessel.state]);
    return STATUS_USAGE;
}

/* What it is for, and how many stand beside it. */
static enum status stakes_known(struct opening *opening)
{
    const struct decision_rules *decision = &opening->rules->decision;
    struct stakes *stakes = triage_stakes(opening->triage);
    const struct vessel *vessel = &opening->at->vessel;
    double beside = 0.0;
    struct vessel other;
    for (size_t i = 0; i < decision->use_count; i++) {
        if (strcmp(decision->uses[i].id, opening->at->batch.purpose) != 0)
            continue;
        stakes->use = (int)i;
        stakes->use_count = 1.0;
    }
    if (vessel->stands == 0)
        return STATUS_OK;
    struct walk *walk = journal_walk_back(opening->journal, RECORD_VESSEL, "stands", vessel->stands,
                                          opening->diags);
    enum { ENOUGH = 1000 };
    for (size_t seen = 0; walk != NULL && seen < ENOUGH && walk_next(walk, &other); seen++)
        if (other.id != vessel->id && other.state == VESSEL_GROWING)
            beside += 1.0;
    if (walk == NULL)
        return STATUS_IO;
    stakes->neighbours = beside;
    return walk_end(walk);
}

enum status consult_vessel(struct journal *journal, const struct consult_request *request,
                           struct triage *triage, struct arena *arena,
                           struct consultation *consultation, struct diags *diags)
{
    struct opening opening = {.journal = journal,
                              .rules = triage_rules(triage),
                              .triage = triage,
                              .arena = arena,
                              .diags = diags,
                              .at = consultation};
    enum status status;
    *consultation = (struct consultation){.request = *request, .day = NAN, .judged = NAN};
    triage_reset(triage);
    (void)((status = vessel_found(&opening)) || (status = consult_columns(&opening)) ||
           (status = consult_looks(&opening)) || (status = stakes_known(&opening)) ||
           (!request->without_siblings && (status = consult_siblings(&opening))));
    return status;
}

bool consult_sound(const struct consultation *consultation)
{
    if (consultation->vessel.state != VESSEL_GROWING)
        return false;
    if (consultation->judged >= 1.0)
        return false;
    if (consultation->look_count == 0)
        return true;
    const struct look *last = &consultation->looks[consultation->look_count - 1];
    return strcmp(last->action, action_name(ACTION_KEEP)) == 0;
}
