/* SPDX-License-Identifier: GPL-3.0-or-later */
/* CSV out and in: exact round trips, whatever the texts; merging; refusals. */
#include <math.h>
#include <time.h>

#include "journal/exchange.h"
#include "support/journal_case.h"
#include "support/test.h"

/* ---- files ----------------------------------------------------------------------------------- */

static char *slurp(const char *path, size_t *length)
{
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    assert_int_equal(fseek(file, 0, SEEK_END), 0);
    *length = (size_t)ftell(file);
    rewind(file);
    char *bytes = malloc(*length + 1);
    assert_non_null(bytes);
    assert_int_equal(fread(bytes, 1, *length, file), *length);
    bytes[*length] = '\0';
    fclose(file);
    return bytes;
}

static const char *table_path(const struct fixture *c, const char *folder, enum record record)
{
    char name[64];
    snprintf(name, sizeof name, "%s/%s.csv", folder, record_types[record].name);
    return scratch_path(&c->scratch, name);
}

static void same_files(const struct fixture *c, const char *a, const char *b)
{
    for (int i = 0; i < RECORD_COUNT; i++) {
        size_t first_length, second_length;
        char *first = slurp(table_path(c, a, (enum record)i), &first_length);
        char *second = slurp(table_path(c, b, (enum record)i), &second_length);
        assert_int_equal(first_length, second_length);
        assert_memory_equal(first, second, first_length);
        free(first);
        free(second);
    }
}

static void export_to(struct fixture *c, struct journal *journal, const char *name)
{
    if (export_folder(journal, scratch_path(&c->scratch, name), false, NULL) != STATUS_OK)
        fail_msg("export: %s", first_fault(c));
}

static struct journal *new_journal(struct fixture *c, const char *name)
{
    struct journal *journal = NULL;
    assert_int_equal(
        journal_open(scratch_path(&c->scratch, name), JOURNAL_CREATE, &journal, c->diags),
        STATUS_OK);
    return journal;
}

static enum status import_from(struct fixture *c, struct journal *journal, const char *name,
                               struct import_tally tally[RECORD_COUNT])
{
    static const struct import_options options = {0};
    return import_tables(journal, scratch_path(&c->scratch, name), RECORD_COUNT, &options, tally);
}

/* Puts `to` in the place of the only `from` in a table. */
static void alter(const struct fixture *c, const char *folder, enum record record, const char *from,
                  const char *to)
{
    size_t length;
    const char *path = table_path(c, folder, record);
    char *bytes = slurp(path, &length), *at = strstr(bytes, from);
    assert_non_null(at);
    assert_null(strstr(at + 1, from));
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    fprintf(file, "%.*s%s%s", (int)(at - bytes), bytes, to, at + strlen(from));
    assert_int_equal(fclose(file), 0);
    free(bytes);
}

/* ---- a journal of everything ----------------------------------------------------------------- */

static const char *const texts[] = {
    "",
    "plain",
    "'",
    "''=",
    "=1+1",
    "+44 20",
    "-5",
    "@SUM(A1)",
    "'=cmd|' /C calc'!A0",
    "\ttab",
    "\r\n=x",
    " =x",
    "' =x",
    "it's",
    "a,b;c",
    "say \"hi\"",
    "\"",
    "two\nlines",
    "two\r\nlines\r",
    "Robert'); DROP TABLE vessel;--",
    "<script>alert(1)</script>",
    "\x1b[31mred\x1b]0;owned\a",
    "\xe2\x80\xae gnp.exe \xe2\x81\xa6",
    "caf\xc3\xa9 \xf0\x9f\x8d\x84",
    "\xef\xbc\x9d\x31", /* the escape would take in a digit 1 */
    "  led and trailed\t",
    "\\n\\0%s%n",
    "NULL",
    "0x10",
    "1e5",
    "2026-03-01",
    "\x01\x02\x7f",
};
static const double reals[] = {
    NAN, 0, 0.1, 1.0 / 3, 1e-300, 59.999999999999993, 5e-324, 0.30000000000000004};

/* The same every time: the k-th choice of a sequence. */
struct choice {
    size_t turn;
};

static size_t choose(struct choice *choice, size_t count)
{
    choice->turn = choice->turn * 6364136223846793005U + 1442695040888963407U;
    return (choice->turn >> 33) % count;
}

/* Fills every column that is no reference and no label with something. */
static void fill(enum record record, void *row, struct choice *choice)
{
    record_init(record, row);
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        void *into = (char *)row + column->offset;
        if (column->derived)
            continue;
        switch (column->kind) {
        case COLUMN_TEXT:
            do
                *(const char **)into = texts[choose(choice, sizeof texts / sizeof *texts)];
            while (column->required && **(const char **)into == '\0');
            break;
        case COLUMN_REAL:
            *(double *)into = reals[choose(choice, sizeof reals / sizeof *reals)];
            if (column->high <= 1 && *(double *)into > 1)
                *(double *)into = 1;
            break;
        case COLUMN_MOMENT:
            /* Kinds in their order, days apart: what is made of another comes after it. */
            *(struct moment *)into = (struct moment){1772366400 + 300000 * (int64_t)record +
                                                         (int64_t)choose(choice, 100000),
                                                     (int)choose(choice, 2000) - 1000};
            break;
        case COLUMN_FLAG:
            *(bool *)into = choose(choice, 2) == 1;
            break;
        case COLUMN_LABEL:
        case COLUMN_INTEGER:
        case COLUMN_DAY:
        case COLUMN_REFERENCE:
        case COLUMN_WORD:
            break;
        }
    }
}

static const char *label(struct fixture *c, const char *prefix, const char *kind, size_t i)
{
    return arena_format(c->arena, "%s%s%zu", prefix, kind, i);
}

/* Two of each culture, lot, cook ..., three vessels a batch, looks and events and corrections. */
static void fill_journal(struct fixture *c, const char *prefix, size_t seed)
{
    struct choice choice = {seed};
    struct starter starter;
    struct lot lot;
    struct cook cook;
    struct session session;
    struct place place;
    int64_t first_starter = 0;
    for (size_t i = 0; i < 2; i++) {
        fill(RECORD_STARTER, &starter, &choice);
        starter.label = label(c, prefix, "S,", i);
        if (i == 0)
            starter.made.seconds -= 300000;
        add(c, RECORD_STARTER, &starter);
        if (i == 0)
            first_starter = starter.id;
        fill(RECORD_LOT, &lot, &choice);
        lot.label = label(c, prefix, "G\"", i);
        add(c, RECORD_LOT, &lot);
        fill(RECORD_COOK, &cook, &choice);
        cook.label = label(c, prefix, "C'", i);
        add(c, RECORD_COOK, &cook);
        fill(RECORD_SESSION, &session, &choice);
        session.label = label(c, prefix, "I;", i);
        add(c, RECORD_SESSION, &session);
        fill(RECORD_PLACE, &place, &choice);
        place.label = label(c, prefix, "P ", i);
        add(c, RECORD_PLACE, &place);
    }
    struct parent parent = {.starter = starter.id, .parent = first_starter};
    add(c, RECORD_PARENT, &parent);
    for (size_t b = 0; b < 3; b++) {
        struct batch batch;
        fill(RECORD_BATCH, &batch, &choice);
        batch.label = label(c, prefix, "B", b);
        batch.starter = b == 1 ? 0 : starter.id;
        batch.lot = lot.id;
        batch.cook = cook.id;
        batch.session = session.id;
        add(c, RECORD_BATCH, &batch);
        for (size_t v = 1; v <= 3; v++) {
            struct vessel vessel;
            fill(RECORD_VESSEL, &vessel, &choice);
            vessel.label = label(c, batch.label, "-", v);
            vessel.batch = batch.id;
            vessel.number = (int64_t)v;
            vessel.place = v == 2 ? 0 : place.id;
            add(c, RECORD_VESSEL, &vessel);
            int64_t corrects = 0;
            for (size_t l = 0; l < 4; l++) {
                struct look look;
                fill(RECORD_LOOK, &look, &choice);
                look.vessel = vessel.id;
                look.corrects = l == 3 ? corrects : 0;
                add(c, RECORD_LOOK, &look);
                corrects = look.id;
            }
            struct event event;
            fill(RECORD_EVENT, &event, &choice);
            event.vessel = vessel.id;
            event.kind = v == 3 ? EVENT_DISCARD : EVENT_MOVE;
            event.place = v == 3 ? 0 : place.id;
            add(c, RECORD_EVENT, &event);
            if (v == 3) {
                struct outcome outcome;
                fill(RECORD_OUTCOME, &outcome, &choice);
                outcome.vessel = vessel.id;
                add(c, RECORD_OUTCOME, &outcome);
            } else {
                assert_int_equal(journal_set_due(c->journal, vessel.id, 20530 + (int64_t)v,
                                                 texts[choose(&choice, 20)]),
                                 STATUS_OK);
            }
        }
    }
    struct edit edit;
    fill(RECORD_EDIT, &edit, &choice);
    add(c, RECORD_EDIT, &edit);
}

/* ---- round trips ----------------------------------------------------------------------------- */

IN_A_JOURNAL(an_export_comes_back_to_the_byte)
{
    struct fixture *c = *state;
    struct import_tally tally[RECORD_COUNT];
    for (size_t seed = 1; seed <= 12; seed++)
        fill_journal(c, arena_format(c->arena, "x%zu ", seed), seed);
    export_to(c, c->journal, "first");
    struct journal *other = new_journal(c, "other.db");
    if (import_from(c, other, "first", tally) != STATUS_OK)
        fail_msg("import: %s", first_fault(c));
    assert_int_equal(tally[RECORD_VESSEL].added, 12 * 9);
    export_to(c, other, "second");
    same_files(c, "first", "second");
    journal_close(other);
}

IN_A_JOURNAL(what_is_derived_comes_back_too)
{
    struct fixture *c = *state;
    struct import_tally tally[RECORD_COUNT];
    fill_journal(c, "a", 7);
    export_to(c, c->journal, "first");
    struct journal *other = new_journal(c, "other.db");
    assert_int_equal(import_from(c, other, "first", tally), STATUS_OK);
    const struct page here = journal_page(c->journal, RECORD_VESSEL, NULL, 0, 0, c->arena);
    const struct page there = journal_page(other, RECORD_VESSEL, NULL, 0, 0, c->arena);
    assert_int_equal(here.count, 9);
    assert_int_equal(there.count, 9);
    for (size_t i = 0; i < here.count; i++) {
        const struct vessel a = *(const struct vessel *)page_row(&here, i);
        const struct vessel b = *(const struct vessel *)page_row(&there, i);
        assert_string_equal(a.label, b.label);
        assert_int_equal(a.state, b.state);
        assert_int_equal(a.fate, b.fate);
        assert_int_equal(a.ended.seconds, b.ended.seconds);
        assert_int_equal(a.last_look, b.last_look);
        assert_int_equal(a.stands, b.stands);
        assert_int_equal(a.stood, b.stood);
        assert_int_equal(a.due, b.due);
        assert_string_equal(a.due_for, b.due_for);
    }
    journal_close(other);
}

IN_A_JOURNAL(a_mebibyte_comes_back)
{
    enum { LONG = 1 << 20 };
    struct fixture *c = *state;
    struct import_tally tally[RECORD_COUNT];
    struct place place;
    char *note = malloc(LONG + 1);
    assert_non_null(note);
    for (size_t i = 0; i < LONG; i++)
        note[i] = "=\"\n,'x"[i % 6];
    note[LONG] = '\0';
    record_init(RECORD_PLACE, &place);
    place.label = "shelf";
    place.note = note;
    add(c, RECORD_PLACE, &place);
    export_to(c, c->journal, "first");
    struct journal *other = new_journal(c, "other.db");
    assert_int_equal(import_from(c, other, "first", tally), STATUS_OK);
    assert_int_equal(journal_find(other, RECORD_PLACE, "shelf", c->arena, &place), STATUS_OK);
    assert_string_equal(place.note, note);
    journal_close(other);
    free(note);
}

/* Every word of up to six letters over those that matter. */
TEST(the_guard_is_taken_away_exactly)
{
    (void)state;
    static const char letters[] = "' =x\t";
    size_t guarded = 0;
    for (size_t code = 0; code < 19531; code++) { /* 5 + 25 + ... + 5^6, and the empty word */
        char word[8];
        size_t length = 0;
        struct text out;
        for (size_t rest = code; rest > 0; rest = (rest - 1) / 5)
            word[length++] = letters[(rest - 1) % 5];
        text_init(&out);
        exchange_guard(&out, word, length);
        size_t skip = exchange_guarded(out.bytes, out.length);
        assert_int_equal(out.length - skip, length);
        assert_memory_equal(out.bytes + skip, word, length);
        if (out.length > 0)
            assert_null(memchr("=+-@\t\r\n", out.bytes[0], 7));
        guarded += skip;
        text_release(&out);
    }
    assert_true(guarded > 1000);
}

/* ---- into a journal that holds something ----------------------------------------------------- */

IN_A_JOURNAL(what_is_there_is_passed_over)
{
    struct fixture *c = *state;
    struct import_tally tally[RECORD_COUNT];
    fill_journal(c, "a", 3);
    export_to(c, c->journal, "first");
    assert_int_equal(import_from(c, c->journal, "first", tally), STATUS_OK);
    for (int i = 0; i < RECORD_COUNT; i++) {
        assert_int_equal(tally[i].added, 0);
        assert_int_equal(tally[i].same, journal_count(c->journal, (enum record)i, NULL, 0));
    }
}

IN_A_JOURNAL(another_grower_s_records_get_new_ids)
{
    struct fixture *c = *state;
    struct import_tally tally[RECORD_COUNT];
    fill_journal(c, "a", 3);
    struct journal *mine = c->journal, *theirs = new_journal(c, "theirs.db");
    c->journal = theirs;
    fill_journal(c, "b", 4);
    c->journal = mine;
    export_to(c, theirs, "theirs");
    size_t looks = journal_count(mine, RECORD_LOOK, NULL, 0);
    if (import_from(c, mine, "theirs", tally) != STATUS_OK)
        fail_msg("import: %s", first_fault(c));
    assert_int_equal(journal_count(mine, RECORD_LOOK, NULL, 0), 2 * looks);
    /* Corrections name the looks of their own vessel still. */
    struct vessel vessel;
    assert_int_equal(journal_find(mine, RECORD_VESSEL, "bB1-2", c->arena, &vessel), STATUS_OK);
    const struct page page = journal_page(mine, RECORD_LOOK, "vessel = ?1", vessel.id, 0, c->arena);
    assert_int_equal(page.count, 4);
    const struct look *list = page.rows;
    assert_int_equal(list[3].corrects, list[2].id);
    assert_int_equal(list[3].turn, list[2].id);
    assert_int_equal(vessel.last_look, list[3].id);
    /* And again: everything is there by now, under other ids. */
    assert_int_equal(import_from(c, mine, "theirs", tally), STATUS_OK);
    assert_int_equal(tally[RECORD_LOOK].added, 0);
    assert_int_equal(tally[RECORD_LOOK].same, looks);
    assert_int_equal(tally[RECORD_EDIT].added, 0);
    journal_close(theirs);
}

IN_A_JOURNAL(a_conflict_is_placed_and_nothing_is_kept)
{
    struct fixture *c = *state;
    struct import_tally tally[RECORD_COUNT];
    int64_t batch = add_batch(c, "B1", add_cook(c, "C1"));
    add_vessel(c, batch, 1, add_place(c, "shelf"));
    export_to(c, c->journal, "first");
    alter(c, "first", RECORD_PLACE, "1,shelf,,", "1,shelf,21.5,\r\n2,cellar,,");
    assert_int_equal(import_from(c, c->journal, "first", tally), STATUS_DATA);
    assert_int_equal(tally[RECORD_PLACE].refused, 1);
    assert_int_equal(tally[RECORD_PLACE].added, 1);
    const struct diag *fault = diags_get(c->diags, 0);
    assert_non_null(strstr(fault->at.file, "place.csv"));
    assert_int_equal(fault->at.line, 2);
    assert_int_equal(fault->at.column, 9);
    assert_non_null(strstr(fault->message, "'shelf'"));
    assert_non_null(strstr(fault->message, "'21.5'"));
    int64_t id;
    assert_false(journal_has(c->journal, RECORD_PLACE, "cellar", &id));
}

IN_A_JOURNAL(a_rehearsal_keeps_nothing)
{
    struct fixture *c = *state;
    struct import_tally tally[RECORD_COUNT];
    static const struct import_options rehearse = {.dry_run = true};
    fill_journal(c, "a", 5);
    export_to(c, c->journal, "first");
    struct journal *other = new_journal(c, "other.db");
    assert_int_equal(
        import_tables(other, scratch_path(&c->scratch, "first"), RECORD_COUNT, &rehearse, tally),
        STATUS_OK);
    assert_int_equal(tally[RECORD_VESSEL].added, 9);
    for (int i = 0; i < RECORD_COUNT; i++)
        assert_int_equal(journal_count(other, (enum record)i, NULL, 0), 0);
    journal_close(other);
}

/* ---- refusals -------------------------------------------------------------------------------- */

IN_A_JOURNAL(bad_tables_are_refused_where_they_are_bad)
{
    struct fixture *c = *state;
    static const struct {
        const char *bytes;
        size_t length, line, column;
        const char *says;
    } bad[] = {
#define BYTES(text) text, sizeof text - 1
        {BYTES(""), 1, 1, "empty"},
        {BYTES("id,lable\r\n"), 1, 4, "did you mean 'label'"},
        {BYTES("id,label,label\r\n"), 1, 10, "twice"},
        {BYTES("id,note\r\n"), 1, 1, "'label' is missing"},
        {BYTES("id,label\r\n1,a,b\r\n"), 2, 1, "3 fields"},
        {BYTES("id,label\r\nx,a\r\n"), 2, 1, "no id"},
        {BYTES("id,label\r\n0,a\r\n"), 2, 1, "no id"},
        {BYTES("id,label\r\n99999999999999999999,a\r\n"), 2, 1, "no id"},
        {BYTES("id,label,celsius\r\n1,a,warm\r\n"), 2, 5, "number"},
        {BYTES("id,label,celsius\r\n1,a,400\r\n"), 2, 1, "celsius"},
        {BYTES("id,label\r\n1,\r\n"), 2, 1, "missing"},
        {BYTES("id,label\r\n1,-x\r\n"), 2, 1, "begin"},
        {BYTES("id,label\r\n1,\"a\r\n"), 3, 1, "quote"},
        {BYTES("id,label\r\n1,a\0b\r\n"), 2, 4, "NUL"},
        {BYTES("id,label\r\n1,\xff\r\n"), 2, 3, "UTF-8"},
        {BYTES("id,label\r\n1,\xed\xa0\x80\r\n"), 2, 3, "UTF-8"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        static const struct import_options options = {0};
        struct import_tally tally[RECORD_COUNT];
        const char *path = scratch_path(&c->scratch, "place.csv");
        FILE *file = fopen(path, "wb");
        assert_non_null(file);
        assert_int_equal(fwrite(bad[i].bytes, 1, bad[i].length, file), bad[i].length);
        assert_int_equal(fclose(file), 0);
        diags_clear(c->diags);
        assert_int_equal(import_table_of(path), RECORD_PLACE);
        assert_int_equal(import_tables(c->journal, path, RECORD_PLACE, &options, tally),
                         STATUS_DATA);
        const struct diag *fault = diags_get(c->diags, 0);
        if (strstr(fault->message, bad[i].says) == NULL || fault->at.line != bad[i].line ||
            fault->at.column != bad[i].column)
            fail_msg("case %zu: %zu:%zu: %s", i, fault->at.line, fault->at.column, fault->message);
        assert_int_equal(journal_count(c->journal, RECORD_PLACE, NULL, 0), 0);
    }
}

IN_A_JOURNAL(a_mark_in_front_and_any_order_are_fine)
{
    struct fixture *c = *state;
    static const struct import_options options = {0};
    struct import_tally tally[RECORD_COUNT];
    struct place place;
    scratch_write(&c->scratch, "place.csv", "\xEF\xBB\xBFnote,label\nwarm,shelf\n'=1,attic\n");
    if (import_tables(c->journal, scratch_path(&c->scratch, "place.csv"), RECORD_PLACE, &options,
                      tally) != STATUS_OK)
        fail_msg("%s", first_fault(c));
    assert_int_equal(tally[RECORD_PLACE].added, 2);
    assert_int_equal(journal_find(c->journal, RECORD_PLACE, "attic", c->arena, &place), STATUS_OK);
    assert_string_equal(place.note, "=1");
}

IN_A_JOURNAL(files_that_are_there_are_left)
{
    struct fixture *c = *state;
    struct stat about;
    size_t length;
    fill_journal(c, "a", 1);
    scratch_folder(&c->scratch, "out");
    scratch_write(&c->scratch, "out/vessel.csv", "mine");
    const char *folder = scratch_path(&c->scratch, "out");
    assert_int_equal(export_folder(c->journal, folder, false, NULL), STATUS_IO);
    assert_non_null(strstr(first_fault(c), "--force"));
    char *bytes = slurp(table_path(c, "out", RECORD_VESSEL), &length);
    assert_string_equal(bytes, "mine");
    free(bytes);
    assert_int_not_equal(stat(table_path(c, "out", RECORD_BATCH), &about), 0);
    assert_int_equal(export_folder(c->journal, folder, true, NULL), STATUS_OK);
    assert_int_equal(stat(table_path(c, "out", RECORD_BATCH), &about), 0);
    assert_int_equal(about.st_mode & 0777, 0600);
}

IN_A_JOURNAL(a_file_of_no_table_is_told)
{
    struct fixture *c = *state;
    struct import_tally tally[RECORD_COUNT];
    scratch_folder(&c->scratch, "in");
    assert_int_equal(import_from(c, c->journal, "in", tally), STATUS_DATA);
    assert_non_null(strstr(first_fault(c), "holds no table"));
    diags_clear(c->diags);
    scratch_write(&c->scratch, "in/vessels.csv", "id,label\r\n");
    assert_int_equal(import_from(c, c->journal, "in", tally), STATUS_DATA);
    assert_non_null(strstr(first_fault(c), "'vessel.csv'"));
}

int main(void)
{
    return tests_run("journal exchange", NULL, NULL);
}
