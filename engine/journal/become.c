/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a vessel has become, derived from what stands of its looks, deeds and outcomes. */
#include <string.h>

#include "journal/journal_internal.h"

struct becoming {
    struct vessel vessel; /* only the derived members and `place` are used */
    int64_t id;
    struct moment discarded, used, judged_lost; /* unknown: not so */
    const char *last_status;                    /* of the last standing look; a constant */
    bool last_discards;
    struct moment last_at;
};

/* The statuses of findings, as the rule base names them. */
static const char CLEAN[] = "clean", STUCK[] = "stuck", CONTAMINATED[] = "contaminated";

static const char *known_status(const char *word)
{
    if (word == NULL)
        return "";
    return strcmp(word, CONTAMINATED) == 0 ? CONTAMINATED
           : strcmp(word, STUCK) == 0      ? STUCK
           : strcmp(word, CLEAN) == 0      ? CLEAN
                                           : "";
}

static struct moment earlier(struct moment a, struct moment b)
{
    if (!moment_known(a) || !moment_known(b))
        return moment_known(a) ? a : b;
    return b.seconds < a.seconds ? b : a;
}

static const char *word_in(sqlite3_stmt *statement, int at)
{
    const char *word = (const char *)sqlite3_column_text(statement, at);
    return word != NULL ? word : "";
}

static struct moment moment_in(sqlite3_stmt *statement, int at)
{
    return (struct moment){sqlite3_column_int64(statement, at),
                           sqlite3_column_int(statement, at + 1)};
}

/* ---- looks, deeds, outcomes ------------------------------------------------------------------ */

static sqlite3_stmt *about(struct journal *journal, enum kept_statement which, const char *sql,
                           int64_t vessel, struct diags *diags)
{
    sqlite3_stmt *statement = journal_prepare(journal, &journal->kept[which], sql, diags);
    if (statement != NULL)
        sqlite3_bind_int64(statement, 1, vessel);
    return statement;
}

/* SQLite's answer at the end of rows, as a status. */
static enum status ended(struct journal *journal, sqlite3_stmt *statement, int code,
                         struct diags *diags)
{
    enum status status = code == SQLITE_DONE ? STATUS_OK : journal_fault(journal, "read", diags);
    sqlite3_reset(statement);
    return status;
}

static enum status read_looks(struct journal *journal, struct becoming *becoming,
                              struct diags *diags)
{
    sqlite3_stmt *statement =
        about(journal, STATEMENT_VESSEL_LOOKS,
              "SELECT id, at, at_offset, action, status FROM look AS l WHERE vessel = ?"
              " AND NOT EXISTS (SELECT 1 FROM look WHERE corrects = l.id)"
              " ORDER BY coalesce(turn, id)",
              becoming->id, diags);
    int code = SQLITE_ERROR;
    if (statement == NULL)
        return STATUS_IO;
    while ((code = sqlite3_step(statement)) == SQLITE_ROW) {
        becoming->vessel.last_look = sqlite3_column_int64(statement, 0);
        becoming->last_at = moment_in(statement, 1);
        becoming->last_discards = strcmp(word_in(statement, 3), "discard") == 0;
        becoming->last_status = known_status(word_in(statement, 4));
        if (becoming->last_discards)
            becoming->judged_lost = earlier(becoming->judged_lost, becoming->last_at);
    }
    return ended(journal, statement, code, diags);
}

static void take_deed(struct becoming *becoming, enum deed_kind kind, struct moment at)
{
    struct vessel *vessel = &becoming->vessel;
    switch (kind) {
    case DEED_ISOLATE:
        vessel->state = VESSEL_ISOLATED;
        break;
    case DEED_RETURN:
        vessel->state = VESSEL_GROWING;
        break;
    case DEED_DISCARD:
        vessel->state = VESSEL_DISCARDED;
        becoming->discarded = at;
        break;
    case DEED_USE:
        vessel->state = VESSEL_USED;
        becoming->used = at;
        break;
    case DEED_MOVE:
    case DEED_SHAKE:
    case DEED_WITHDRAW:
    case DEED_COUNT:
        break;
    }
}

static enum deed_kind deed_kind_of(const char *word)
{
    int kind = 0;
    while (kind < DEED_COUNT && strcmp(deed_words[kind], word) != 0)
        kind++;
    return (enum deed_kind)kind;
}

/* Twice: for what was done, and, once the end is known, for where it stood. */
static enum status read_deeds(struct journal *journal, struct becoming *becoming, bool moves,
                              struct diags *diags)
{
    struct vessel *vessel = &becoming->vessel;
    sqlite3_stmt *statement =
        about(journal, STATEMENT_VESSEL_DEEDS,
              "SELECT at, at_offset, kind, place FROM deed AS d WHERE vessel = ?"
              " AND NOT EXISTS (SELECT 1 FROM deed WHERE corrects = d.id)"
              " ORDER BY coalesce(turn, id)",
              becoming->id, diags);
    int code = SQLITE_ERROR;
    if (statement == NULL)
        return STATUS_IO;
    while ((code = sqlite3_step(statement)) == SQLITE_ROW) {
        struct moment at = moment_in(statement, 0);
        enum deed_kind kind = deed_kind_of(word_in(statement, 2));
        if (!moves) {
            take_deed(becoming, kind, at);
        } else if (kind == DEED_MOVE) {
            vessel->stands = sqlite3_column_int64(statement, 3);
            if (!moment_known(vessel->ended) || at.seconds <= vessel->ended.seconds)
                vessel->stood = vessel->stands;
        }
    }
    return ended(journal, statement, code, diags);
}

/* ---- the fate -------------------------------------------------------------------------------- */

static enum fate fate_of_loss(const char *status)
{
    return status == CONTAMINATED ? FATE_CONTAMINATED : status == STUCK ? FATE_STUCK : FATE_UNTOLD;
}

static void decide_unconfirmed(struct becoming *becoming)
{
    struct vessel *vessel = &becoming->vessel;
    if (vessel->state == VESSEL_DISCARDED || becoming->last_discards) {
        vessel->fate = fate_of_loss(becoming->last_status);
        vessel->ended = earlier(becoming->judged_lost, becoming->discarded);
    } else if (vessel->state == VESSEL_USED) {
        vessel->fate = FATE_SOUND;
        vessel->ended = becoming->used;
    } else {
        vessel->fate = FATE_OPEN;
    }
}

static void decide_confirmed(struct becoming *becoming, const char *status, struct moment at)
{
    struct vessel *vessel = &becoming->vessel;
    bool overtaken =
        status == CLEAN && becoming->last_discards && becoming->last_at.seconds > at.seconds;
    decide_unconfirmed(becoming);
    if (status[0] == '\0' || overtaken)
        return;
    if (status == CLEAN) {
        vessel->fate = FATE_SOUND;
        vessel->ended = earlier(becoming->used, becoming->discarded);
    } else {
        vessel->fate = fate_of_loss(status);
        vessel->ended = earlier(vessel->ended, earlier(becoming->judged_lost, at));
    }
}

static enum status read_outcome(struct journal *journal, struct becoming *becoming,
                                struct diags *diags)
{
    sqlite3_stmt *statement =
        about(journal, STATEMENT_VESSEL_OUTCOME,
              "SELECT at, at_offset, status FROM outcome AS o WHERE vessel = ?"
              " AND NOT EXISTS (SELECT 1 FROM outcome WHERE corrects = o.id)"
              " ORDER BY coalesce(turn, id) DESC LIMIT 1",
              becoming->id, diags);
    if (statement == NULL)
        return STATUS_IO;
    int code = sqlite3_step(statement);
    if (code == SQLITE_ROW) {
        decide_confirmed(becoming, known_status(word_in(statement, 2)), moment_in(statement, 0));
        code = SQLITE_DONE;
    } else if (code == SQLITE_DONE) {
        decide_unconfirmed(becoming);
    }
    return ended(journal, statement, code, diags);
}

/* ---- writing it down ------------------------------------------------------------------------- */

static void bind_moment(sqlite3_stmt *statement, int at, struct moment moment)
{
    if (moment_known(moment)) {
        sqlite3_bind_int64(statement, at, moment.seconds);
        sqlite3_bind_int(statement, at + 1, moment.offset);
    } else {
        sqlite3_bind_null(statement, at);
        sqlite3_bind_null(statement, at + 1);
    }
}

static void bind_reference(sqlite3_stmt *statement, int at, int64_t id)
{
    if (id != 0)
        sqlite3_bind_int64(statement, at, id);
    else
        sqlite3_bind_null(statement, at);
}

static enum status put(struct journal *journal, const struct becoming *becoming,
                       struct diags *diags)
{
    const struct vessel *vessel = &becoming->vessel;
    bool over = vessel->state == VESSEL_DISCARDED || vessel->state == VESSEL_USED;
    sqlite3_stmt *statement =
        about(journal, STATEMENT_VESSEL_PUT,
              "UPDATE vessel SET stands = ?2, stood = ?3, state = ?4, fate = ?5, ended = ?6,"
              " ended_offset = ?7, last_look = ?8, due = iif(?9, 0, due),"
              " due_for = iif(?9, '', due_for) WHERE id = ?1",
              becoming->id, diags);
    if (statement == NULL)
        return STATUS_IO;
    bind_reference(statement, 2, vessel->stands);
    bind_reference(statement, 3, vessel->stood);
    sqlite3_bind_text(statement, 4, vessel_state_words[vessel->state], -1, SQLITE_STATIC);
    sqlite3_bind_text(statement, 5, fate_words[vessel->fate], -1, SQLITE_STATIC);
    bind_moment(statement, 6, vessel->ended);
    bind_reference(statement, 8, vessel->last_look);
    sqlite3_bind_int(statement, 9, over);
    int code = sqlite3_step(statement);
    enum status status =
        code == SQLITE_DONE ? STATUS_OK : journal_fault(journal, "write to", diags);
    sqlite3_reset(statement);
    return status;
}

static enum status read_place(struct journal *journal, struct becoming *becoming,
                              struct diags *diags)
{
    sqlite3_stmt *statement = about(journal, STATEMENT_VESSEL_BRIEF,
                                    "SELECT place FROM vessel WHERE id = ?", becoming->id, diags);
    if (statement == NULL)
        return STATUS_IO;
    int code = sqlite3_step(statement);
    enum status status = STATUS_OK;
    if (code == SQLITE_ROW) {
        becoming->vessel.stands = becoming->vessel.stood = sqlite3_column_int64(statement, 0);
    } else {
        diags_error(diags, (struct position){.file = journal->path}, "there is no vessel %lld",
                    (long long)becoming->id);
        status = STATUS_USAGE;
    }
    sqlite3_reset(statement);
    return status;
}

static enum status derive(struct journal *journal, int64_t vessel, struct becoming *becoming,
                          struct diags *diags)
{
    *becoming = (struct becoming){
        .id = vessel,
        .discarded = moment_unknown(),
        .used = moment_unknown(),
        .judged_lost = moment_unknown(),
        .last_at = moment_unknown(),
        .last_status = "",
    };
    record_init(RECORD_VESSEL, &becoming->vessel);
    enum status status = read_place(journal, becoming, diags);
    if (status == STATUS_OK)
        status = read_looks(journal, becoming, diags);
    if (status == STATUS_OK)
        status = read_deeds(journal, becoming, false, diags);
    if (status == STATUS_OK)
        status = read_outcome(journal, becoming, diags);
    return status == STATUS_OK ? read_deeds(journal, becoming, true, diags) : status;
}

enum status vessel_derive(struct journal *journal, int64_t id, struct vessel *vessel,
                          struct diags *diags)
{
    struct becoming becoming;
    enum status status = derive(journal, id, &becoming, diags);
    *vessel = becoming.vessel;
    return status;
}

enum status journal_refresh(struct journal *journal, int64_t vessel, struct diags *diags)
{
    struct becoming becoming;
    enum status status = journal_begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    status = derive(journal, vessel, &becoming, diags);
    if (status == STATUS_OK)
        status = put(journal, &becoming, diags);
    if (status == STATUS_OK)
        return journal_commit(journal, diags);
    journal_rollback(journal);
    return status;
}

/* ---- what is due ----------------------------------------------------------------------------- */

enum status journal_set_due(struct journal *journal, int64_t vessel, int64_t day, const char *why,
                            struct diags *diags)
{
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(journal->database,
                                  "UPDATE vessel SET due = ?2, due_for = ?3 WHERE id = ?1", -1,
                                  &statement, NULL);
    if (code == SQLITE_OK) {
        sqlite3_bind_int64(statement, 1, vessel);
        sqlite3_bind_int64(statement, 2, day > 0 ? day : 0);
        sqlite3_bind_text(statement, 3, why, -1, SQLITE_STATIC);
        code = sqlite3_step(statement);
    }
    enum status status =
        code == SQLITE_DONE ? STATUS_OK : journal_fault(journal, "write to", diags);
    sqlite3_finalize(statement);
    return status;
}
