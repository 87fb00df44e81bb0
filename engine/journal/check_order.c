/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What cannot have come before something else, and corrections that do not fit. */
#include "journal/check_internal.h"

/* The day on the wall calendar of a moment: hours are no fault, since a date alone is noon. */
#define DAY(table, column) "(" table "." column " + 60 * " table "." column "_offset) / 86400"

struct order { /* rows of a record that `sql` finds are impossible */
    enum record record;
    const char *sql; /* gives the id, and the label of the vessel or batch */
    const char *complaint;
};

static const struct order orders[] = {
    {RECORD_LOOK,
     "SELECT l.id, v.label FROM look l JOIN vessel v ON v.id = l.vessel JOIN batch b"
     " ON b.id = v.batch WHERE " DAY("l", "at") " < " DAY("b", "at"),
     "%s was looked at before it was inoculated"},
    {RECORD_OUTCOME,
     "SELECT o.id, v.label FROM outcome o JOIN vessel v ON v.id = o.vessel JOIN batch b"
     " ON b.id = v.batch WHERE " DAY("o", "at") " < " DAY("b", "at"),
     "%s had come to its end before it was inoculated"},
    {RECORD_DEED,
     "SELECT d.id, v.label FROM deed d JOIN vessel v ON v.id = d.vessel JOIN batch b"
     " ON b.id = v.batch WHERE d.kind IN ('shake', 'use') AND " DAY("d", "at") " < " DAY("b", "at"),
     "%s was shaken or used before it was inoculated"},
    {RECORD_COOK,
     "SELECT c.id, b.label FROM cook c JOIN batch b ON b.cook = c.id WHERE " DAY(
         "c", "at") " > " DAY("b", "at"),
     "it was cooked after batch %s was inoculated from it"},
    {RECORD_SESSION,
     "SELECT s.id, b.label FROM session s JOIN batch b ON b.session = s.id WHERE " DAY(
         "s", "at") " > " DAY("b", "at"),
     "the session was after batch %s was inoculated in it"},
    {RECORD_STARTER,
     "SELECT s.id, b.label FROM starter s JOIN batch b ON b.starter = s.id WHERE " DAY(
         "s", "made") " > " DAY("b", "at"),
     "it was made after batch %s was inoculated with it"},
    {RECORD_LOT,
     "SELECT l.id, b.label FROM lot l JOIN batch b ON b.lot = l.id WHERE " DAY(
         "l", "bought") " > " DAY("b", "at"),
     "it was bought after batch %s was inoculated"},
    {RECORD_PARENT,
     "SELECT p.id, s.label FROM parent p JOIN starter s ON s.id = p.starter JOIN starter q"
     " ON q.id = p.parent WHERE " DAY("q", "made") " > " DAY("s", "made"),
     "%s was made before what it came from"},
};

static void corrections(struct check *check, enum record record)
{
    const char *name = record_types[record].name;
    struct text sql;
    text_init(&sql);
    text_printf(&sql,
                "SELECT a.id, b.id FROM \"%s\" a JOIN \"%s\" b ON b.id = a.corrects"
                " WHERE a.vessel <> b.vessel OR a.turn IS NOT coalesce(b.turn, b.id)"
                " OR b.id >= a.id",
                name, name);
    sqlite3_stmt *statement = check_ask(check, &sql);
    while (check_next(check, statement))
        check_error(check, record, sqlite3_column_int64(statement, 0),
                    "it corrects %s %lld, which is of another vessel or chain", name,
                    (long long)sqlite3_column_int64(statement, 1));
    text_init(&sql);
    text_printf(&sql, "SELECT id FROM \"%s\" WHERE corrects IS NULL AND turn IS NOT NULL", name);
    statement = check_ask(check, &sql);
    while (check_next(check, statement))
        check_error(check, record, sqlite3_column_int64(statement, 0),
                    "it corrects nothing, but stands in a chain of corrections");
}

/* The complaints are a table's, each with one %s. */
static void tell_order(struct check *check, const struct order *order, int64_t id,
                       const char *label)
{
    struct text message;
    text_init(&message);
    for (const char *at = order->complaint; *at != '\0'; at++) {
        if (at[0] == '%' && at[1] == 's') {
            text_printf(&message, "%.200s", label);
            at++;
        } else {
            text_add(&message, at, 1);
        }
    }
    check_error(check, order->record, id, "%s", message.bytes);
    text_release(&message);
}

void check_order(struct check *check)
{
    for (size_t i = 0; i < sizeof orders / sizeof *orders && check->status == STATUS_OK; i++) {
        struct text sql;
        text_init(&sql);
        text_puts(&sql, orders[i].sql);
        sqlite3_stmt *statement = check_ask(check, &sql);
        while (check_next(check, statement))
            tell_order(check, &orders[i], sqlite3_column_int64(statement, 0),
                       check_text(statement, 1));
    }
    corrections(check, RECORD_LOOK);
    corrections(check, RECORD_DEED);
    corrections(check, RECORD_OUTCOME);
}
