/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The others, counted for reason/siblings.h.
 *
 * Counted is what has told its story: vessels that were lost for a known reason or
 * proved sound, and growing ones that were found fit to keep. Of these one that was
 * last looked at much younger than ours has told only part of it: from two thirds of
 * our age it counts whole, before that in proportion. To leave the young out would
 * count the losses and forget what they were lost from. Isolated ones, and those
 * discarded without a word, have told nothing.
 *
 * Only vessels of batches that share something with ours, and of the latest batches,
 * are looked at: what a cook is held against is what was made about the same time,
 * and a journal of many years stays quick.
 */
#include <math.h>
#include <sqlite3.h>
#include <stdio.h>

#include "journal/consult_internal.h"
#include "journal/journal_internal.h"
#include "reason/siblings.h"

static const double OLD_ENOUGH = 2.0 / 3.0;

/* Bits are those of enum kin; what was never inoculated shares neither hand nor starter. */
static const char counting[] =
    "WITH own AS (SELECT b.id AS batch, b.cook, b.session, b.starter, b.lot, v.stood, v.position,"
    " v.control FROM vessel AS v JOIN batch AS b ON b.id = v.batch WHERE v.id = ?1),"
    " near AS (SELECT id FROM (SELECT id FROM batch ORDER BY id DESC LIMIT 400)"
    " UNION SELECT b.id FROM batch AS b, own WHERE b.cook = own.cook"
    " UNION SELECT b.id FROM batch AS b, own WHERE b.session = own.session"
    " UNION SELECT b.id FROM batch AS b, own WHERE b.starter = own.starter"
    " UNION SELECT b.id FROM batch AS b, own WHERE b.lot = own.lot"
    " UNION SELECT batch FROM own)"
    " SELECT ifnull(b.cook = own.cook, 0), b.id = own.batch, ifnull(b.lot = own.lot, 0),"
    " ifnull(b.session = own.session, 0) AND NOT v.control AND NOT own.control,"
    " ifnull(b.starter = own.starter, 0) AND NOT v.control AND NOT own.control,"
    " ifnull(v.stood = own.stood, 0),"
    " ifnull(b.cook = own.cook, 0) AND v.position <> '' AND v.position = own.position,"
    " v.control,"
    " CASE WHEN v.fate = 'contaminated' THEN 2 WHEN v.fate = 'stuck' THEN 1 ELSE 0 END AS became,"
    " sum(CASE WHEN v.fate = 'open' THEN max(0.0, min(1.0, (l.at - b.at) / ?2)) ELSE 1.0 END)"
    " FROM near JOIN batch AS b ON b.id = near.id JOIN vessel AS v ON v.batch = b.id"
    " LEFT JOIN look AS l ON l.id = v.last_look CROSS JOIN own"
    " WHERE v.id <> ?1 AND (v.fate IN ('sound', 'stuck', 'contaminated')"
    " OR (v.fate = 'open' AND v.state = 'growing' AND l.action = 'keep'))"
    " GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9";

static const enum kin kin_columns[] = {KIN_COOK,    KIN_MIX,   KIN_GRAIN_LOT, KIN_SESSION,
                                       KIN_STARTER, KIN_PLACE, KIN_POSITION};
enum { KIN_COLUMNS = sizeof kin_columns / sizeof *kin_columns };

static struct sibling_cell read_cell(sqlite3_stmt *statement)
{
    struct sibling_cell cell = {.control = sqlite3_column_int(statement, KIN_COLUMNS) != 0};
    for (int i = 0; i < KIN_COLUMNS; i++)
        if (sqlite3_column_int(statement, i) != 0)
            cell.shares |= UINT32_C(1) << kin_columns[i];
    double count = sqlite3_column_double(statement, KIN_COLUMNS + 2);
    int became = sqlite3_column_int(statement, KIN_COLUMNS + 1);
    *(became == 2 ? &cell.contaminated : became == 1 ? &cell.stuck : &cell.clean) = count;
    return cell;
}

static enum status refused(struct opening *opening)
{
    return journal_fault(opening->journal, "count the siblings in", opening->diags);
}

static enum status read_cells(struct opening *opening, sqlite3_stmt *statement,
                              struct sibling_cell **cells, size_t *count)
{
    size_t room = 0;
    int code;
    *cells = NULL;
    *count = 0;
    while ((code = sqlite3_step(statement)) == SQLITE_ROW) {
        if (*count == room) {
            room = room == 0 ? 32 : 2 * room;
            *cells = arena_grow(opening->arena, *cells, *count, room, sizeof **cells);
            if (*cells == NULL)
                return STATUS_MEMORY;
        }
        (*cells)[(*count)++] = read_cell(statement);
    }
    return code == SQLITE_DONE ? STATUS_OK : refused(opening);
}

static enum status count_cells(struct opening *opening, struct sibling_cell **cells, size_t *count)
{
    static const double day = 86400.0;
    sqlite3_stmt *statement = NULL;
    double age = fmax(1.0, isnan(opening->at->day) ? 0.0 : opening->at->day) * day * OLD_ENOUGH;
    enum status status;
    if (sqlite3_prepare_v2(journal_database(opening->journal), counting, -1, &statement, NULL) !=
            SQLITE_OK ||
        sqlite3_bind_int64(statement, 1, opening->at->vessel.id) != SQLITE_OK ||
        sqlite3_bind_double(statement, 2, age) != SQLITE_OK)
        status = refused(opening);
    else
        status = read_cells(opening, statement, cells, count);
    sqlite3_finalize(statement);
    return status;
}

/* ---- what the groups are called -------------------------------------------------------------- */

/* "cook C4"; NULL for a group the vessel has none of. */
static enum status name_of(struct opening *opening, const char *what, enum record record,
                           int64_t id, const char **name)
{
    union any_record row;
    *name = NULL;
    if (id == 0)
        return STATUS_OK;
    enum status status =
        journal_get(opening->journal, record, id, opening->arena, &row, opening->diags);
    if (status != STATUS_OK)
        return status;
    *name = arena_format(opening->arena, "%s %s", what, row.named.label);
    return *name != NULL ? STATUS_OK : STATUS_MEMORY;
}

/* "the middle in cook C4", as the rules call the position. */
static const char *position_name(const struct opening *opening, const char *cook)
{
    int index = opening->rules->feeder[FEEDS_POSITION];
    const char *position = opening->at->vessel.position;
    if (position[0] == '\0' || cook == NULL)
        return NULL;
    const struct observable *observable =
        index != RULES_NONE ? &opening->rules->observables[index] : NULL;
    int value = observable != NULL ? rules_value(observable, position) : RULES_NONE;
    return arena_format(opening->arena, "%s, %s", cook,
                        value != RULES_NONE ? observable->values[value].label : position);
}

enum status consult_siblings(struct opening *opening)
{
    const struct batch *batch = &opening->at->batch;
    const char *names[KIN_COUNT] = {0};
    const struct consult_others *given = opening->at->request.others;
    struct sibling_cell *cells = NULL;
    size_t count = 0;
    enum status status = STATUS_OK;
    names[KIN_MIX] = arena_format(opening->arena, "batch %s", batch->label);
    if (given != NULL) {
        cells = given->cells;
        count = given->count;
    } else if ((status = count_cells(opening, &cells, &count)) != STATUS_OK) {
        return status;
    }
    (void)((status = name_of(opening, "cook", RECORD_COOK, batch->cook, &names[KIN_COOK])) ||
           (status =
                name_of(opening, "session", RECORD_SESSION, batch->session, &names[KIN_SESSION])) ||
           (status =
                name_of(opening, "starter", RECORD_STARTER, batch->starter, &names[KIN_STARTER])) ||
           (status = name_of(opening, "grain", RECORD_LOT, batch->lot, &names[KIN_GRAIN_LOT])) ||
           (status = name_of(opening, "place", RECORD_PLACE, opening->at->vessel.stood,
                             &names[KIN_PLACE])));
    names[KIN_POSITION] = position_name(opening, names[KIN_COOK]);
    return status == STATUS_OK && count > 0 ? triage_siblings(opening->triage, cells, count, names)
                                            : status;
}

enum status consult_count(struct journal *journal, struct consultation *consultation,
                          struct arena *arena, struct consult_others *others, struct diags *diags)
{
    struct opening opening = {
        .journal = journal, .arena = arena, .diags = diags, .at = consultation};
    return count_cells(&opening, &others->cells, &others->count);
}
