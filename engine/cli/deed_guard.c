/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/deed_guard.h"

#include <string.h>

bool deed_last_look(const struct journal_told *told, const struct vessel *vessel, struct look *look)
{
    return vessel->last_look != 0 && journal_get(told->journal, RECORD_LOOK, vessel->last_look,
                                                 told->arena, look, told->diags) == STATUS_OK;
}

/* The newest deed of a kind that no later one withdraws. */
static bool newest_deed(const struct journal_told *told, int64_t vessel, enum deed_kind kind,
                        struct deed *found)
{
    void *rows = NULL;
    size_t count = 0;
    if (journal_all(told->journal, RECORD_DEED, "vessel", vessel, told->arena, &rows, &count,
                    told->diags) != STATUS_OK)
        return false;
    const struct deed *deeds = rows;
    for (size_t i = count; i-- > 0;) {
        bool stands = deeds[i].kind == kind;
        for (size_t k = i + 1; k < count && stands; k++)
            stands = deeds[k].corrects != deeds[i].id;
        if (stands) {
            *found = deeds[i];
            return true;
        }
    }
    return false;
}

static const char *date(struct moment moment, char room[MOMENT_ROOM])
{
    return moment_write_day(moment, room);
}

/* It is gone: say since when, and what to do if that is a slip. */
static const char *gone(const struct journal_told *told, const struct vessel *vessel)
{
    enum deed_kind kind = vessel->state == VESSEL_USED ? DEED_USE : DEED_DISCARD;
    struct deed deed;
    char day[MOMENT_ROOM];

    if (!newest_deed(told, vessel->id, kind, &deed))
        return arena_format(told->arena, "%s was %s already", vessel->label,
                            vessel_state_words[vessel->state]);
    return arena_format(
        told->arena, "%s was %s on %s; if that is a slip: jarside correct deed %lld withdraw",
        vessel->label, vessel_state_words[vessel->state], date(deed.at, day), (long long)deed.id);
}

/* Isolated after the last look: nobody has looked since. */
static bool unseen_since_isolated(const struct journal_told *told, const struct vessel *vessel,
                                  const struct look *look)
{
    struct deed deed;
    return newest_deed(told, vessel->id, DEED_ISOLATE, &deed) &&
           (look == NULL || look->at.seconds < deed.at.seconds);
}

static const char *risk_of_look(const struct journal_told *told, const struct vessel *vessel,
                                const struct look *look)
{
    char day[MOMENT_ROOM];
    if (strcmp(look->action, action_name(ACTION_KEEP)) == 0)
        return NULL;
    return arena_format(told->arena,
                        "%s: its last look, on %s, said %s (%s likeliest). Look again before "
                        "anything else: jarside look %s",
                        vessel->label, date(look->at, day), look->action,
                        voice_finding_name(told, look->finding), vessel->label);
}

static const char *risk(const struct journal_told *told, const struct vessel *vessel,
                        enum deed_kind kind)
{
    struct look look;
    bool looked = deed_last_look(told, vessel, &look);
    const char *why = looked ? risk_of_look(told, vessel, &look) : NULL;

    if (why != NULL)
        return why;
    if (vessel->fate == FATE_CONTAMINATED)
        return arena_format(told->arena,
                            "%s counts as contaminated. If that is a slip, correct the outcome or "
                            "look again; 'jarside life %s' tells more",
                            vessel->label, vessel->label);
    if (kind == DEED_RETURN && unseen_since_isolated(told, vessel, looked ? &look : NULL))
        return arena_format(told->arena,
                            "%s was not looked at since it was isolated; look first: jarside look "
                            "%s",
                            vessel->label, vessel->label);
    if (kind != DEED_RETURN && vessel->state == VESSEL_ISOLATED)
        return arena_format(told->arena,
                            "%s stands isolated; look at it, and if all is well: jarside return %s",
                            vessel->label, vessel->label);
    if (kind == DEED_USE && vessel->control)
        return arena_format(told->arena, "%s is a control and was never inoculated", vessel->label);
    return NULL;
}

enum status deed_objection(const struct journal_told *told, const struct vessel *vessel,
                           enum deed_kind kind, struct moment at, struct objection *objection)
{
    struct batch batch;
    enum status status =
        journal_get(told->journal, RECORD_BATCH, vessel->batch, told->arena, &batch, told->diags);
    *objection = (struct objection){OBJECTION_STATE, NULL};
    if (status != STATUS_OK)
        return status;
    if (vessel->state == VESSEL_DISCARDED || vessel->state == VESSEL_USED)
        objection->why = gone(told, vessel);
    else if (kind == DEED_ISOLATE && vessel->state == VESSEL_ISOLATED)
        objection->why = arena_format(told->arena, "%s is isolated already", vessel->label);
    else if (kind == DEED_RETURN && vessel->state != VESSEL_ISOLATED)
        objection->why = arena_format(told->arena, "%s is not isolated", vessel->label);
    else if (moment_day(at) < moment_day(batch.at))
        objection->why = arena_format(told->arena, "%s was not there yet at that time; batch %s",
                                      vessel->label, batch.label);
    else if (kind == DEED_SHAKE || kind == DEED_USE || kind == DEED_RETURN)
        *objection = (struct objection){OBJECTION_RISK, risk(told, vessel, kind)};
    if (arena_exhausted(told->arena))
        return STATUS_MEMORY;
    if (objection->why == NULL)
        objection->kind = OBJECTION_NONE;
    return STATUS_OK;
}
