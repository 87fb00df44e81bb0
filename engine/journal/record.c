/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/record.h"

#include <math.h>
#include <string.h>

const char *const vessel_state_words[] = {"growing", "isolated", "discarded", "used", NULL};
const char *const fate_words[] = {"open", "sound", "stuck", "contaminated", "untold", NULL};
const char *const deed_words[] = {"move",    "shake", "isolate",  "return",
                                  "discard", "use",   "withdraw", NULL};

enum { LATEST_DAY = 2932894 }; /* 9999-12-29: the last one written with four digits in any zone */

/* A column of `type`, its member named as the column is. */
#define AT(type, member) .name = #member, .offset = offsetof(struct type, member)
#define LABEL(type)                                                                                \
    {                                                                                              \
        AT(type, label), .kind = COLUMN_LABEL, .required = true                                    \
    }
#define TEXT(type, member)                                                                         \
    {                                                                                              \
        AT(type, member), .kind = COLUMN_TEXT                                                      \
    }
#define TEXT_NEEDED(type, member)                                                                  \
    {                                                                                              \
        AT(type, member), .kind = COLUMN_TEXT, .required = true                                    \
    }
#define REAL(type, member, lowest, highest)                                                        \
    {                                                                                              \
        AT(type, member), .kind = COLUMN_REAL, .low = (lowest), .high = (highest)                  \
    }
#define MOMENT(type, member)                                                                       \
    {                                                                                              \
        AT(type, member), .kind = COLUMN_MOMENT                                                    \
    }
#define MOMENT_NEEDED(type, member)                                                                \
    {                                                                                              \
        AT(type, member), .kind = COLUMN_MOMENT, .required = true                                  \
    }
#define REFER(type, member, record)                                                                \
    {                                                                                              \
        AT(type, member), .kind = COLUMN_REFERENCE, .refers = (record)                             \
    }
#define REFER_NEEDED(type, member, record)                                                         \
    {                                                                                              \
        AT(type, member), .kind = COLUMN_REFERENCE, .refers = (record), .required = true           \
    }
#define END                                                                                        \
    {                                                                                              \
        .name = NULL                                                                               \
    }

static const struct column starter_columns[] = {
    LABEL(starter),
    TEXT(starter, species),
    TEXT(starter, kind),
    TEXT(starter, source),
    MOMENT(starter, made),
    TEXT(starter, note),
    END,
};

static const struct column parent_columns[] = {
    REFER_NEEDED(parent, starter, RECORD_STARTER),
    REFER_NEEDED(parent, parent, RECORD_STARTER),
    END,
};

static const struct column lot_columns[] = {
    LABEL(lot),
    TEXT(lot, grain),
    TEXT(lot, source),
    MOMENT(lot, bought),
    REAL(lot, moisture, 0, 60),
    TEXT(lot, note),
    END,
};

static const struct column cook_columns[] = {
    LABEL(cook),
    TEXT(cook, cooker),
    TEXT(cook, method),
    REAL(cook, gauge, 0, 1000),
    REAL(cook, minutes, 0, 6000),
    REAL(cook, altitude, -500, 9000),
    REAL(cook, air, 0, 1),
    TEXT(cook, load),
    TEXT(cook, facts),
    MOMENT(cook, at),
    TEXT(cook, note),
    END,
};

static const struct column session_columns[] = {
    LABEL(session), TEXT(session, facts), MOMENT(session, at), TEXT(session, note), END,
};

static const struct column place_columns[] = {
    LABEL(place),
    REAL(place, celsius, -30, 80),
    TEXT(place, note),
    END,
};

static const struct column batch_columns[] = {
    LABEL(batch),
    MOMENT_NEEDED(batch, at),
    TEXT(batch, species),
    REFER(batch, starter, RECORD_STARTER),
    REFER(batch, lot, RECORD_LOT),
    REFER(batch, cook, RECORD_COOK),
    REFER(batch, session, RECORD_SESSION),
    REAL(batch, dry, 0, 1e6),
    REAL(batch, water, 0, 1e6),
    REAL(batch, dose, 0, 1e6),
    TEXT(batch, unit),
    REAL(batch, soak, 0, 1e5),
    TEXT(batch, purpose),
    TEXT(batch, facts),
    TEXT(batch, note),
    END,
};

static const struct column vessel_columns[] = {
    LABEL(vessel),
    REFER_NEEDED(vessel, batch, RECORD_BATCH),
    {AT(vessel, number), .kind = COLUMN_INTEGER, .required = true, .low = 1, .high = 1e6},
    TEXT(vessel, kind),
    REAL(vessel, grams, 0, 1e6),
    REFER(vessel, place, RECORD_PLACE),
    TEXT(vessel, position),
    {AT(vessel, control), .kind = COLUMN_FLAG},
    TEXT(vessel, note),
    {AT(vessel, stands), .kind = COLUMN_REFERENCE, .refers = RECORD_PLACE, .derived = true},
    {AT(vessel, stood), .kind = COLUMN_REFERENCE, .refers = RECORD_PLACE, .derived = true},
    {AT(vessel, state), .kind = COLUMN_WORD, .words = vessel_state_words, .derived = true},
    {AT(vessel, fate), .kind = COLUMN_WORD, .words = fate_words, .derived = true},
    {AT(vessel, ended), .kind = COLUMN_MOMENT, .derived = true},
    {AT(vessel, last_look), .kind = COLUMN_REFERENCE, .refers = RECORD_LOOK, .derived = true},
    {AT(vessel, due), .kind = COLUMN_INTEGER, .derived = true, .low = 0, .high = LATEST_DAY},
    {AT(vessel, due_for), .kind = COLUMN_TEXT, .derived = true},
    END,
};

static const struct column look_columns[] = {
    REFER_NEEDED(look, vessel, RECORD_VESSEL),
    MOMENT_NEEDED(look, at),
    TEXT(look, words),
    TEXT(look, facts),
    REAL(look, coverage, 0, 100),
    TEXT_NEEDED(look, action),
    TEXT(look, next_step),
    TEXT(look, forced_by),
    TEXT(look, finding),
    TEXT(look, status),
    REAL(look, contaminated, 0, 1),
    TEXT(look, posterior),
    TEXT(look, rules),
    TEXT(look, program),
    REFER(look, corrects, RECORD_LOOK),
    {AT(look, turn), .kind = COLUMN_REFERENCE, .refers = RECORD_LOOK, .derived = true},
    END,
};

static const struct column deed_columns[] = {
    REFER_NEEDED(deed, vessel, RECORD_VESSEL),
    MOMENT_NEEDED(deed, at),
    {AT(deed, kind), .kind = COLUMN_WORD, .words = deed_words, .required = true},
    REFER(deed, place, RECORD_PLACE),
    TEXT(deed, detail),
    REFER(deed, corrects, RECORD_DEED),
    {AT(deed, turn), .kind = COLUMN_REFERENCE, .refers = RECORD_DEED, .derived = true},
    END,
};

static const struct column outcome_columns[] = {
    REFER_NEEDED(outcome, vessel, RECORD_VESSEL),
    MOMENT_NEEDED(outcome, at),
    TEXT_NEEDED(outcome, finding),
    TEXT_NEEDED(outcome, status),
    TEXT(outcome, cause),
    TEXT(outcome, how),
    REFER(outcome, corrects, RECORD_OUTCOME),
    {AT(outcome, turn), .kind = COLUMN_REFERENCE, .refers = RECORD_OUTCOME, .derived = true},
    END,
};

static const struct column edit_columns[] = {
    MOMENT_NEEDED(edit, at),
    TEXT_NEEDED(edit, table),
    TEXT_NEEDED(edit, label),
    TEXT_NEEDED(edit, column),
    TEXT(edit, was),
    TEXT(edit, became),
    END,
};

const struct record_type record_types[RECORD_COUNT] = {
    [RECORD_STARTER] = {"starter", sizeof(struct starter), false, starter_columns},
    [RECORD_PARENT] = {"parent", sizeof(struct parent), true, parent_columns},
    [RECORD_LOT] = {"lot", sizeof(struct lot), false, lot_columns},
    [RECORD_COOK] = {"cook", sizeof(struct cook), false, cook_columns},
    [RECORD_SESSION] = {"session", sizeof(struct session), false, session_columns},
    [RECORD_PLACE] = {"place", sizeof(struct place), false, place_columns},
    [RECORD_BATCH] = {"batch", sizeof(struct batch), false, batch_columns},
    [RECORD_VESSEL] = {"vessel", sizeof(struct vessel), false, vessel_columns},
    [RECORD_LOOK] = {"look", sizeof(struct look), true, look_columns},
    [RECORD_DEED] = {"deed", sizeof(struct deed), true, deed_columns},
    [RECORD_OUTCOME] = {"outcome", sizeof(struct outcome), true, outcome_columns},
    [RECORD_EDIT] = {"edit", sizeof(struct edit), true, edit_columns},
};

size_t record_column(enum record record, const char *name)
{
    const struct column *columns = record_types[record].columns;
    for (size_t i = 0; columns[i].name != NULL; i++)
        if (strcmp(columns[i].name, name) == 0)
            return i;
    return SIZE_MAX;
}

void record_init(enum record record, void *row)
{
    const struct record_type *type = &record_types[record];
    memset(row, 0, type->size);
    for (const struct column *column = type->columns; column->name != NULL; column++) {
        char *member = (char *)row + column->offset;
        switch (column->kind) {
        case COLUMN_LABEL:
        case COLUMN_TEXT:
            *(const char **)(void *)member = "";
            break;
        case COLUMN_REAL:
            *(double *)(void *)member = NAN;
            break;
        case COLUMN_MOMENT:
            *(struct moment *)(void *)member = moment_unknown();
            break;
        case COLUMN_INTEGER:
        case COLUMN_FLAG:
        case COLUMN_REFERENCE:
        case COLUMN_WORD:
            break; /* zero is absent, or the first word */
        }
    }
}
