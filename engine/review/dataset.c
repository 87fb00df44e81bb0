/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "review/dataset.h"

static const struct kind {
    const char *name;
    enum scope scope;
    enum factor_kind origin;
    bool control;
} kinds[FACTOR_KINDS] = {
    [FACTOR_COOK] = {"cook", SCOPE_COOK, FACTOR_COOK, true},
    [FACTOR_LETHALITY] = {"computed cook", SCOPE_COOK, FACTOR_COOK, true},
    [FACTOR_POSITION] = {"position in the cooker", SCOPE_COOK, FACTOR_POSITION, true},
    [FACTOR_LOT] = {"grain lot", SCOPE_GRAIN_LOT, FACTOR_LOT, true},
    [FACTOR_BATCH] = {"batch", SCOPE_MIX, FACTOR_BATCH, true},
    [FACTOR_MOISTURE] = {"computed moisture", SCOPE_MIX, FACTOR_BATCH, true},
    [FACTOR_STARTER] = {"starter", SCOPE_STARTER, FACTOR_STARTER, false},
    [FACTOR_PARENT] = {"parent of the starter", SCOPE_STARTER, FACTOR_STARTER, false},
    [FACTOR_LINE] = {"line of the starter", SCOPE_STARTER, FACTOR_STARTER, false},
    [FACTOR_DOSE] = {"dose of starter", SCOPE_VESSEL, FACTOR_BATCH, false},
    [FACTOR_SESSION] = {"session", SCOPE_SESSION, FACTOR_SESSION, false},
    [FACTOR_PLACE] = {"place", SCOPE_PLACE, FACTOR_PLACE, false},
    [FACTOR_TEMPERATURE] = {"temperature", SCOPE_PLACE, FACTOR_PLACE, false},
    [FACTOR_VESSEL] = {"kind of vessel", SCOPE_VESSEL, FACTOR_VESSEL, true},
    [FACTOR_OTHER] = {"column", SCOPE_VESSEL, FACTOR_OTHER, false},
};

const char *factor_kind_name(enum factor_kind kind)
{
    return kinds[kind].name;
}

enum scope factor_kind_scope(enum factor_kind kind)
{
    return kinds[kind].scope;
}

enum factor_kind factor_kind_origin(enum factor_kind kind)
{
    return kinds[kind].origin;
}

bool factor_kind_control(enum factor_kind kind)
{
    return kinds[kind].control;
}

size_t dataset_factor(const struct dataset *dataset, enum factor_kind kind)
{
    size_t at = 0;
    while (at < dataset->factor_count && dataset->factors[at].kind != kind)
        at++;
    return at;
}
