/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Words of the rule base that stand in the journal, and whether the rules still know them. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal/check_internal.h"

static bool knows_species(const struct rules *rules, const char *word)
{
    return rules_species(rules, word) != RULES_NONE;
}

static bool knows_grain(const struct rules *rules, const char *word)
{
    return rules_grain(rules, word) != RULES_NONE;
}

static bool knows_vessel(const struct rules *rules, const char *word)
{
    return rules_vessel(rules, word) != RULES_NONE;
}

static bool knows_finding(const struct rules *rules, const char *word)
{
    return rules_finding(rules, word) != RULES_NONE;
}

static bool knows_cause(const struct rules *rules, const char *word)
{
    return rules_cause(rules, word) != RULES_NONE;
}

static bool knows_starter(const struct rules *rules, const char *word)
{
    for (size_t i = 0; i < rules->starter_count; i++)
        if (strcmp(rules->starters[i].id, word) == 0)
            return true;
    return false;
}

static bool knows_use(const struct rules *rules, const char *word)
{
    for (size_t i = 0; i < rules->decision.use_count; i++)
        if (strcmp(rules->decision.uses[i].id, word) == 0)
            return true;
    return false;
}

static bool knows_step(const struct rules *rules, const char *word)
{
    for (size_t i = 0; i < rules->decision.next_step_count; i++)
        if (strcmp(rules->decision.next_steps[i].id, word) == 0)
            return true;
    return false;
}

static bool knows_floor(const struct rules *rules, const char *word)
{
    for (size_t i = 0; i < rules->decision.floor_count; i++)
        if (strcmp(rules->decision.floors[i].id, word) == 0)
            return true;
    return false;
}

static bool knows_status(const struct rules *rules, const char *word)
{
    (void)rules;
    for (int i = 0; i < FINDING_STATUS_COUNT; i++)
        if (strcmp(status_name((enum finding_status)i), word) == 0)
            return true;
    return false;
}

static bool knows_action(const struct rules *rules, const char *word)
{
    (void)rules;
    for (int i = 0; i < ACTION_COUNT; i++)
        if (strcmp(action_name((enum action)i), word) == 0)
            return true;
    return false;
}

static const struct {
    enum record record;
    const char *column;
    bool (*knows)(const struct rules *rules, const char *word);
} known[] = {
    {RECORD_STARTER, "species", knows_species}, {RECORD_STARTER, "kind", knows_starter},
    {RECORD_LOT, "grain", knows_grain},         {RECORD_BATCH, "species", knows_species},
    {RECORD_BATCH, "purpose", knows_use},       {RECORD_VESSEL, "kind", knows_vessel},
    {RECORD_LOOK, "action", knows_action},      {RECORD_LOOK, "next_step", knows_step},
    {RECORD_LOOK, "forced_by", knows_floor},    {RECORD_LOOK, "finding", knows_finding},
    {RECORD_LOOK, "status", knows_status},      {RECORD_OUTCOME, "finding", knows_finding},
    {RECORD_OUTCOME, "status", knows_status},   {RECORD_OUTCOME, "cause", knows_cause},
};

/* One warning a word, however often it stands. */
static void words_of(struct check *check, size_t i)
{
    const char *column = known[i].column;
    struct text sql;
    text_init(&sql);
    text_printf(&sql,
                "SELECT \"%s\", count(*), min(id) FROM \"%s\" WHERE \"%s\" <> '' GROUP BY \"%s\"",
                column, record_types[known[i].record].name, column, column);
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement)) {
        const char *word = check_text(statement, 0);
        if (known[i].knows(check->rules, word))
            continue;
        check_warning(check, known[i].record, sqlite3_column_int64(statement, 2),
                      "'%s' is '%.80s' in %lld of them, which these rules do not know", column,
                      word, (long long)sqlite3_column_int64(statement, 1));
    }
}

/* The signs of "sign=value sign=value". */
static void signs_of(struct check *check, enum record record)
{
    struct text sql;
    text_init(&sql);
    text_printf(&sql, "SELECT id, facts FROM \"%s\" WHERE facts <> '' ORDER BY id",
                record_types[record].name);
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement)) {
        const char *at = check_text(statement, 1);
        while (*(at += strspn(at, " ")) != '\0') {
            char sign[80];
            size_t length = strcspn(at, "= ");
            snprintf(sign, sizeof sign, "%.*s", (int)(length < sizeof sign ? length : 79), at);
            if (rules_observable(check->rules, sign) == RULES_NONE)
                check_warning(check, record, sqlite3_column_int64(statement, 0),
                              "'facts' name a sign '%s', which these rules do not know", sign);
            at += strcspn(at, " ");
        }
    }
}

void check_words(struct check *check)
{
    if (check->rules == NULL)
        return;
    for (size_t i = 0; i < sizeof known / sizeof *known && check->status == STATUS_OK; i++)
        words_of(check, i);
    signs_of(check, RECORD_COOK);
    signs_of(check, RECORD_SESSION);
    signs_of(check, RECORD_BATCH);
}
