/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A sound journal has no fault; each thing that can be wrong is found, and only that. */
#include <time.h>

#include <jansson.h>

#include "journal/sql.h"
#include "support/journal_case.h"
#include "support/test.h"

struct found {
    char lines[4096];
    int records;
};

static void look_over(struct fixture *c, const struct rules *rules, struct found *found)
{
    json_t *tree, *fault;
    size_t index;
    int errors, warnings;
    *found = (struct found){.records = 0};
    assert_int_equal(check_journal(c->journal, rules, SIZE_MAX, &tree), STATUS_OK);
    assert_int_equal(json_unpack(tree, "{s:i, s:i, s:i}", "records", &found->records, "errors",
                                 &errors, "warnings", &warnings),
                     0);
    json_array_foreach (json_object_get(tree, "faults"), index, fault) {
        size_t used = strlen(found->lines);
        const char *kind, *table, *message;
        long long id;
        assert_int_equal(json_unpack(fault, "{s:s, s:s, s:I, s:s}", "kind", &kind, "table", &table,
                                     "id", &id, "message", &message),
                         0);
        snprintf(found->lines + used, sizeof found->lines - used, "%s%s %lld: %s\n",
                 strcmp(kind, "warning") == 0 ? "(warning) " : "", table, id, message);
    }
    assert_int_equal(errors + warnings, index);
    json_decref(tree);
}

static void fill(struct fixture *c)
{
    int64_t cook = add_cook(c, "C1"), place = add_place(c, "shelf");
    int64_t batch = add_batch(c, "B1", cook);
    int64_t first = add_vessel(c, batch, 1, place), second = add_vessel(c, batch, 2, place);
    int64_t look = add_look(c, first, "2026-03-05T18:00:00Z", "keep", "clean", 0);
    add_look(c, first, "2026-03-05T18:00:00Z", "isolate", "clean", look);
    add_look(c, second, "2026-03-06T18:00:00Z", "discard", "contaminated", 0);
    add_event(c, second, "2026-03-06T19:00:00Z", EVENT_DISCARD, 0, 0);
    add_event(c, first, "2026-03-07T19:00:00Z", EVENT_MOVE, add_place(c, "attic"), 0);
    assert_int_equal(journal_set_due(c->journal, first, 20540, "wait"), STATUS_OK);
}

IN_A_JOURNAL(a_sound_journal_has_no_fault)
{
    struct fixture *c = *state;
    struct found found;
    fill(c);
    look_over(c, NULL, &found);
    assert_string_equal(found.lines, "");
    assert_int_equal(found.records, 11);
}

/* As another program might. */
static void spoil(struct fixture *c, const char *sql)
{
    sqlite3 *database = c->journal->database;
    char *fault = NULL;
    if (sqlite3_exec(database, sql, NULL, NULL, &fault) != SQLITE_OK)
        fail_msg("%s: %s", sql, fault);
}

IN_A_JOURNAL(each_fault_is_found)
{
    static const char *const faults[][2] = {
        {"UPDATE batch SET cook = 99", "batch 1: 'cook' names a cook that is not there\n"},
        {"UPDATE cook SET gauge = -5", "cook 1: 'gauge' is -5; it should lie from 0 to 1000\n"},
        {"UPDATE cook SET at = 0, at_offset = 0",
         "cook 1: 'at' lies before 1990; no journal of this kind is as old\n"},
        {"UPDATE look SET at = 9999999999 WHERE id = 1", "look 1: 'at' lies in the future\n"},
        {"UPDATE cook SET at = 1e9, at_offset = 5000",
         "cook 1: 'at' is not a moment that can be read\n"},
        {"UPDATE cook SET at_offset = 0", "cook 1: 'at' is not a moment that can be read\n"},
        {"UPDATE place SET label = '' WHERE id = 1", "place 1: 'label' is missing; give it\n"},
        {"UPDATE place SET note = 'a' || char(0) || 'b' WHERE id = 1",
         "place 1: 'note' holds a NUL byte\n"},
        {"UPDATE place SET note = CAST(x'ff41' AS TEXT) WHERE id = 1",
         "place 1: 'note' is not text in UTF-8\n"},
        {"UPDATE vessel SET state = 'gone' WHERE id = 1",
         "vessel 1: 'state' is not one of the words allowed here\n"},
        {"UPDATE look SET at = at - 864000 WHERE id = 1",
         "look 1: V1-1 was looked at before it was inoculated\n"},
        {"UPDATE cook SET at = (SELECT at FROM batch) + 90000, at_offset = 0",
         "cook 1: C1 was cooked after batch B1 was inoculated from it\n"},
        {"UPDATE look SET corrects = 3 WHERE id = 2",
         "look 2: it corrects look 3, which is of another vessel or chain\n"},
        {"UPDATE look SET turn = 1 WHERE id = 1",
         "look 1: it corrects nothing, but stands in a chain of corrections\n"},
        {"UPDATE look SET facts = '[1,' WHERE id = 1", "look 1: 'facts' does not parse\n"},
        {"UPDATE look SET posterior = '[]' WHERE id = 1",
         "look 1: 'posterior' should be a JSON object\n"},
        {"UPDATE vessel SET fate = 'sound' WHERE id = 2",
         "vessel 2: the fate of V1-2 is not what its looks, events and outcomes say\n"},
        {"UPDATE vessel SET state = 'used' WHERE id = 2",
         "vessel 2: the state of V1-2 is not what its looks, events and outcomes say\n"},
        {"UPDATE vessel SET last_look = 1 WHERE id = 1",
         "vessel 1: the last look of V1-1 is not what its looks, events and outcomes say\n"},
        {"UPDATE vessel SET stands = 1 WHERE id = 1",
         "vessel 1: the place of V1-1 is not what its looks, events and outcomes say\n"},
        {"UPDATE vessel SET ended = ended + 1 WHERE id = 2",
         "vessel 2: the end of V1-2 is not what its looks, events and outcomes say\n"},
        {"UPDATE vessel SET due = 20540 WHERE id = 2",
         "vessel 2: a look at V1-2 is due, although it is gone\n"},
    };
    struct fixture *c = *state;
    struct found found;
    fill(c);
    sqlite3_exec(c->journal->database, "PRAGMA foreign_keys = OFF", NULL, NULL, NULL);
    for (size_t i = 0; i < sizeof faults / sizeof *faults; i++) {
        assert_int_equal(journal_begin(c->journal), STATUS_OK);
        spoil(c, faults[i][0]);
        look_over(c, NULL, &found);
        if (strstr(found.lines, faults[i][1]) == NULL)
            fail_msg("%s: found only: %s", faults[i][0], found.lines);
        journal_rollback(c->journal);
        look_over(c, NULL, &found);
        assert_string_equal(found.lines, "");
    }
}

IN_A_JOURNAL(a_hostile_label_is_told_safely)
{
    struct fixture *c = *state;
    struct found found;
    fill(c);
    spoil(c, "UPDATE vessel SET label = char(27) || '[31m' || char(8238) WHERE id = 1;"
             "UPDATE look SET at = at - 864000 WHERE id = 1");
    look_over(c, NULL, &found);
    assert_non_null(strstr(found.lines, "before it was inoculated"));
    assert_null(strchr(found.lines, '\033'));
    assert_null(strstr(found.lines, "\xe2\x80\xae"));
}

int main(void)
{
    return tests_run("journal check", NULL, NULL);
}
