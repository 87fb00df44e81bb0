/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A journal that somebody doctored: a sound file whose values were changed behind the program's back, past what the
 * columns allow. Each line is "TABLE COLUMN ID=VALUE": a whole number, another number, "null", or text. Everything that
 * reads a journal reads it; then it is looked at, backed up and restored.
 */
#include <sqlite3.h>

#include "base/text.h"
#include "journal/consult.h"
#include "journal/exchange.h"
#include "journal/sql.h"
#include "review/dataset.h"
#include "review/review.h"
#include "view/journal.h"

#include "support/fuzz.h"

static const struct moment now = {1773576000, 60}; /* 2026-03-15 */

/* ---- a sound journal ------------------------------------------------------------------------- */

/* Made once; its bytes are kept. */
struct sound {
    uint8_t *bytes;
    size_t size;
};

static enum status look_at(struct kit *kit, struct journal *journal, const char *vessel,
                           struct moment at, const char *words)
{
    struct arena *arena = arena_new();
    struct consultation consultation;
    const struct verdict *verdict = NULL;
    struct look look;
    const struct consult_request request = {.label = vessel, .now = at};
    enum status status = consult_vessel(journal, &request, kit->triage, arena, &consultation);
    if (status == STATUS_OK)
        status = triage_tell(kit->triage, words, strlen(words), kit->diags);
    if (status == STATUS_OK)
        status = consult_save(journal, &consultation, kit->triage, words, arena, &look, &verdict);
    if (status == STATUS_OK)
        hold_verdict(kit->rules, verdict);
    arena_free(arena);
    return status;
}

static const char records[] =
    "INSERT INTO starter VALUES (1,'S1','amber','','friend',1771000000,0,''),"
    " (2,'S2','amber','','',1771900000,0,'');"
    "INSERT INTO parent VALUES (1,2,1,NULL);"
    "INSERT INTO lot VALUES (1,'L1','corn','shop',1771000000,0,12.5,'');"
    "INSERT INTO cook VALUES (1,'C1','big pot','',103.4,90,NULL,NULL,'','',1772300000,0,'');"
    "INSERT INTO session VALUES (1,'I1','',1772400000,0,'');"
    "INSERT INTO place VALUES (1,'shelf',21,''), (2,'tent',NULL,'');"
    "INSERT INTO batch (id,label,at,at_offset,species,starter,lot,cook,session,dry,water,inoculum,"
    " unit,soak,purpose,facts,note) VALUES "
    "(1,'B1',1772400000,60,'amber',2,1,1,1,400,250,5,'ml',NULL,'','','');"
    "WITH RECURSIVE n(i) AS (VALUES (1) UNION ALL SELECT i + 1 FROM n WHERE i < 4)"
    "INSERT INTO vessel (id,label,batch,number,kind,grams,place,position,control,note,stands,stood,"
    " state,fate,ended,ended_offset,last_look,due,due_for) SELECT "
    "i,'B1-'||i,1,i,'pot',650,1,'',i=4,'',1,NULL,"
    " 'growing','open',NULL,NULL,NULL,20525,'first_look' FROM n;"
    "INSERT INTO event (id,vessel,at,at_offset,kind,place,detail,corrects,turn,because) VALUES "
    "(1,1,1773000000,60,'shake',NULL,'',NULL,NULL,''),"
    " (2,2,1773100000,60,'move',2,'',NULL,NULL,''),"
    " (3,3,1773200000,60,'discard',NULL,'',NULL,NULL,'broken');"
    "INSERT INTO outcome (id,vessel,at,at_offset,finding,status,cause,how,corrects,turn) VALUES "
    "(1,3,1773300000,60,'crust','contaminated','','',NULL,NULL);"
    "INSERT INTO edit (id,at,at_offset,\"table\",label,\"column\",was,became) VALUES "
    "(1,1773400000,60,'batch','B1','note','','x');";

static void fill(struct kit *kit, const char *path)
{
    static const char *const said[][2] = {{"B1-1", "day 4, blue, smooth"},
                                          {"B1-1", "rough, day 5"},
                                          {"B1-2", "red spot"},
                                          {"B1-3", "maybe blue, floop"}};
    struct journal *journal = NULL;
    hold(journal_open(path, JOURNAL_CREATE, &journal, kit->diags) == STATUS_OK, "it can be made");
    hold(sqlite3_exec(journal->database, records, NULL, NULL, NULL) == SQLITE_OK,
         sqlite3_errmsg(journal->database));
    for (size_t i = 0; i < sizeof said / sizeof *said; i++) {
        struct moment at = {1772750000 + 20000 * (int64_t)i, 60};
        hold(look_at(kit, journal, said[i][0], at, said[i][1]) == STATUS_OK, "it can be looked at");
    }
    for (int64_t vessel = 1; vessel <= 4; vessel++)
        hold(journal_refresh(journal, vessel) == STATUS_OK, "and is in order");
    hold(sqlite3_exec(journal->database, "PRAGMA journal_mode=DELETE", NULL, NULL, NULL) ==
             SQLITE_OK,
         "and is one file");
    journal_close(journal);
}

static const struct sound *sound_journal(struct kit *kit)
{
    enum { MOST = 1 << 20 };
    static struct sound sound;
    if (sound.bytes)
        return &sound;
    struct desk desk;
    desk_set(&desk);
    fill(kit, desk.path);
    FILE *file = fopen(desk.path, "rb");
    sound.bytes = malloc(MOST);
    hold(file && sound.bytes, "it can be read");
    sound.size = fread(sound.bytes, 1, MOST, file);
    hold(sound.size > 0 && sound.size < MOST, "whole");
    fclose(file);
    desk_clear(&desk);
    return &sound;
}

/* ---- doctored -------------------------------------------------------------------------------- */

static void bind_value(sqlite3_stmt *statement, const char *value)
{
    char *end = NULL;
    long long whole = strtoll(value, &end, 10);
    if (!strcmp(value, "null")) {
        sqlite3_bind_null(statement, 1);
    } else if (*value && !*end) {
        sqlite3_bind_int64(statement, 1, whole);
    } else {
        double number = strtod(value, &end);
        if (*value && !*end)
            sqlite3_bind_double(statement, 1, number);
        else
            sqlite3_bind_text(statement, 1, value, -1, SQLITE_TRANSIENT);
    }
}

static bool is_name(const char *name)
{
    return *name && name[strspn(name, "abcdefghijklmnopqrstuvwxyz_")] == '\0';
}

static void doctor(sqlite3 *database, char *line)
{
    char table[16], column[24];
    char sql[120];
    int id = 0, used = 0;
    sqlite3_stmt *statement = NULL;
    if (sscanf(line, "%15s %23[a-z_] %d=%n", table, column, &id, &used) != 3 || used == 0 ||
        !is_name(table) || !is_name(column) || !strncmp(table, "sqlite", 6))
        return;
    snprintf(sql, sizeof sql, "UPDATE \"%s\" SET \"%s\" = ? WHERE rowid = %d", table, column, id);
    if (sqlite3_prepare_v2(database, sql, -1, &statement, NULL) == SQLITE_OK) {
        bind_value(statement, line + used);
        sqlite3_step(statement);
    }
    sqlite3_finalize(statement);
}

/* The tables lose what would keep such values out. */
static sqlite3 *loosened(const char *path)
{
    static const char loosen[] =
        "PRAGMA foreign_keys=OFF; PRAGMA ignore_check_constraints=ON; PRAGMA writable_schema=ON;"
        "UPDATE sqlite_schema SET sql=replace(replace(sql,' STRICT',''),' NOT NULL','')"
        " WHERE type='table'; PRAGMA writable_schema=RESET;";
    sqlite3 *database = NULL;
    hold(sqlite3_open(path, &database) == SQLITE_OK, "a file can be opened");
    hold(sqlite3_exec(database, loosen, NULL, NULL, NULL) == SQLITE_OK, "and loosened");
    return database;
}

static void doctor_all(const char *path, char *text)
{
    enum { LINES = 8 };
    sqlite3 *database = loosened(path);
    char *line;
    for (size_t i = 0; i < LINES && (line = next_line(&text)) != NULL; i++)
        doctor(database, line);
    sqlite3_close(database);
}

/* ---- read ------------------------------------------------------------------------------------ */

static void hold_text(const struct text *text)
{
    hold(harmless(text->bytes), "what is told is safe");
}

/* As programs get it. */
static void hold_json(json_t *json)
{
    TEXT(text);
    const bool written = json_write(&text, json, false);
    hold(!written || harmless(text.bytes), "JSON is safe");
    json_decref(json);
}

static struct diags *heard; /* what the journal has to say */

static void check_all(struct journal_view *told)
{
    json_t *found;
    enum status status = check_journal(told->journal, told->rules, 50, &found);
    hold_json(found);
    hold_diags(heard, status != STATUS_OK);
    FILE *nowhere = fopen("/dev/null", "w");
    hold(nowhere != NULL, "what is exported can be thrown away");
    for (enum record r = RECORD_STARTER; r < RECORD_COUNT; r++) {
        size_t rows = 0;
        status = export_table(told->journal, r, nowhere, record_types[r].name, &rows);
        hold_diags(heard, status != STATUS_OK);
    }
    fclose(nowhere);
}

static void list(struct journal_view *told, enum record record)
{
    struct screen screen = {.width = SCREEN_DEFAULT};
    text_init(&screen.out);
    const struct page page = journal_page(told->journal, record, NULL, 0, 20, told->arena);
    json_t *list = view_list_json(told, &page);
    view_say(&(struct face){.screen = &screen}, "list", list);
    hold_json(list);
    hold_text(&screen.out);
    screen_release(&screen);
    hold_diags(heard, false);
}

static void tell_life(struct journal_view *told, enum record record, int64_t id)
{
    union any_record row;
    struct screen screen = {.width = SCREEN_DEFAULT};
    text_init(&screen.out);
    if (journal_get(told->journal, record, id, told->arena, &row) == STATUS_OK) {
        json_t *history = view_history_json(told, record, &row, 10);
        view_say(&(struct face){.screen = &screen},
                 record == RECORD_VESSEL  ? "history.vessel"
                 : record == RECORD_BATCH ? "history.batch"
                                          : "history.around",
                 history);
        hold_json(history);
    }
    hold_text(&screen.out);
    screen_release(&screen);
    hold_diags(heard, false);
}

static void tell_due(struct journal_view *told)
{
    const struct calendar_options options = {now, INT64_MAX, 480};
    struct screen screen = {.width = SCREEN_DEFAULT};
    struct text text;
    const struct due_asked asked = {INT64_MAX, 0, NULL, 0};
    size_t events = 0;
    text_init(&screen.out);
    text_init(&text);
    json_t *due = view_due_json(told, &asked);
    view_say(&(struct face){.screen = &screen}, "due", due);
    view_say(&(struct face){.screen = &screen}, "due.sheet", due);
    view_page(&text, "due", "a4 due", "due.page", json_incref(due));
    hold_json(due);
    hold_text(&screen.out);
    hold_text(&text);
    text_release(&text);
    text_init(&text);
    (void)calendar_text(told->journal, &options, &text, &events);
    text_release(&text);
    screen_release(&screen);
    hold_diags(heard, false);
}

static void look_back(struct journal_view *told)
{
    struct dataset dataset;
    struct learned learned;
    enum status status = dataset_from_journal(
        told->journal, told->rules,
        &(struct dataset_wanted){(int32_t)moment_day(now), DAY_NONE, NULL}, told->arena, &dataset);
    hold(status != STATUS_OK || dataset.vessel_count <= 4, "there are no more vessels than four");
    (void)learn_count(told->journal, told->rules, told->arena, &learned);
    hold_diags(heard, status != STATUS_OK);
}

static void read_all(struct kit *kit, struct journal *journal)
{
    struct arena *arena = arena_new();
    struct journal_view told = {journal, kit->rules, arena, now};
    heard = kit->diags;
    check_all(&told);
    for (enum record r = RECORD_STARTER; r < RECORD_COUNT; r++)
        list(&told, r);
    tell_life(&told, RECORD_BATCH, 1);
    tell_life(&told, RECORD_STARTER, 1);
    for (int64_t vessel = 1; vessel <= 4; vessel++)
        tell_life(&told, RECORD_VESSEL, vessel);
    tell_due(&told);
    look_back(&told);
    arena_free(arena);
}

/* ---- and written ----------------------------------------------------------------------------- */

static void write_all(struct kit *kit, struct journal *journal)
{
    static const char *const vessels[] = {"B1-1", "B1-2"};
    for (size_t i = 0; i < sizeof vessels / sizeof *vessels; i++) {
        enum status status = look_at(kit, journal, vessels[i], now, "blue, day 13");
        hold_diags(kit->diags, status != STATUS_OK);
    }
}

static void restore(struct kit *kit, const char *path)
{
    struct desk desk;
    char *kept = NULL;
    desk_set(&desk);
    enum status status = backup_restore(path, desk.path, now, &kept, kit->diags);
    hold(kept == NULL, "there was nothing to keep");
    hold_diags(kit->diags, status != STATUS_OK);
    desk_clear(&desk);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct kit *kit = small();
    const struct sound *sound = sound_journal(kit);
    struct journal *journal = NULL;
    struct desk desk;
    desk_set(&desk);
    desk_write(&desk, sound->bytes, sound->size);
    char *text = string_of(bytes, size);
    doctor_all(desk.path, text);
    free(text);
    enum status status = journal_open(desk.path, JOURNAL_WRITE, &journal, kit->diags);
    hold_diags(kit->diags, status != STATUS_OK);
    if (journal) {
        read_all(kit, journal);
        write_all(kit, journal);
    }
    journal_close(journal);
    restore(kit, desk.path);
    desk_clear(&desk);
    return 0;
}
