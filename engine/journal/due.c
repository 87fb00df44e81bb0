/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which looks are due. */
#include "base/text.h"
#include "journal/journal_internal.h"

enum status journal_due(struct journal *journal, int64_t day, struct arena *arena,
                        struct vessel **vessels, size_t *count, struct diags *diags)
{
    struct text sql;
    struct vessel *all = NULL;
    size_t room = 0;
    enum status status = STATUS_OK;
    text_init(&sql);
    text_puts(&sql, "SELECT ");
    row_columns(RECORD_VESSEL, &sql);
    text_puts(&sql, " FROM vessel WHERE due > 0 AND due <= ?1 ORDER BY due, id");
    sqlite3_stmt *statement = journal_prepare_text(journal, &sql, "read", diags);
    int code = SQLITE_DONE;
    *count = 0;
    if (statement == NULL)
        return STATUS_IO;
    sqlite3_bind_int64(statement, 1, day);
    while (status == STATUS_OK && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        if (*count == room) {
            all = arena_grow(arena, all, room, room == 0 ? 16 : 2 * room, sizeof *all);
            room = room == 0 ? 16 : 2 * room;
        }
        status = all != NULL ? row_read(statement, 0, RECORD_VESSEL, arena, &all[*count])
                             : STATUS_MEMORY;
        *count += status == STATUS_OK;
    }
    if (status == STATUS_OK && code != SQLITE_DONE)
        status = journal_fault(journal, "read", diags);
    sqlite3_finalize(statement);
    *vessels = all;
    return status;
}
