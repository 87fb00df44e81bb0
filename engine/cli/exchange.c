/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/exchange.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli/app.h"
#include "cli/cli.h"
#include "journal/check.h"
#include "journal/consult.h"
#include "journal/demo.h"
#include "journal/exchange.h"
#include "journal/journal.h"
#include "journal/mapping.h"
#include "view/screen.h"

/* ==== demo ==================================================================================== */

static bool flag(const struct app *app, const char *name)
{
    return arguments_flag(&app->arguments, name);
}

/* ---- a journal for the time of one command ---------------------------------------------------- */

enum { FOLDER_ROOM = 256 };

/* Opens a new journal in a folder of its own, whose name `folder` receives. */
static enum status open_temporary(struct app *app, char folder[FOLDER_ROOM])
{
    const char *base = getenv("TMPDIR");
    char path[FOLDER_ROOM + 16];
    if (base == NULL || base[0] != '/' || strlen(base) > 200)
        base = "/tmp";
    snprintf(folder, FOLDER_ROOM, "%s/jarside-XXXXXX", base);
    if (mkdtemp(folder) == NULL) {
        folder[0] = '\0';
        return app_error(app, STATUS_IO, NULL, "no room for a journal in %s: %s", base,
                         strerror(errno));
    }
    snprintf(path, sizeof path, "%s/journal.db", folder);
    return journal_open(path, JOURNAL_CREATE, &app->journal, app->diags);
}

/* Takes it away; what is open of it works until it is closed. Nothing when there is none. */
static void remove_temporary(const char *folder)
{
    static const char *const suffixes[] = {"", "-wal", "-shm", "-journal"};
    char path[FOLDER_ROOM + 24];
    for (size_t i = 0; folder[0] != '\0' && i < sizeof suffixes / sizeof *suffixes; i++) {
        snprintf(path, sizeof path, "%s/journal.db%s", folder, suffixes[i]);
        (void)unlink(path);
    }
    if (folder[0] != '\0')
        (void)rmdir(folder);
}

/* ---- the invented season --------------------------------------------------------------------- */

/* As `jarside look` does: with all that is on record by then, and kept. */
static enum status judge_look(void *context, struct journal *journal, const char *vessel,
                              struct moment at, const char *words, struct diags *diags)
{
    struct app *app = context;
    struct consultation consultation;
    const struct verdict *verdict;
    struct look look;
    const struct consult_request request = {.label = vessel, .now = at};
    struct arena *arena = arena_new();
    enum status status =
        consult_vessel(journal, &request, app->triage, arena, &consultation, diags);
    if (status == STATUS_OK)
        status = triage_tell(app->triage, words, strlen(words), diags);
    if (status == STATUS_OK)
        status =
            consult_save(journal, &consultation, app->triage, words, arena, &look, &verdict, diags);
    arena_free(arena);
    return status;
}

static enum status build(struct app *app)
{
    const struct demo_judge judge = {judge_look, app};
    return demo_build(app->journal, corpus_find(app, "demo/journal"), &judge, app->diags);
}

enum status demo_for_now(struct app *app)
{
    char folder[FOLDER_ROOM];
    enum status status = open_temporary(app, folder);
    if (status == STATUS_OK)
        status = build(app);
    remove_temporary(folder);
    return status;
}

/* ==== import ================================================================================== */

/* The table that --table names, which was given. */
static enum status named_table(struct app *app, enum record *record)
{
    const struct option option = {.name = "table", .kind = OPTION_TABLE};
    return option_read(app, &option, arguments_value(&app->arguments, "table"), record);
}

static const struct option options[] = {
    {"table", "NAME", "FILE is this table; only needed when its name does not say so",
     .kind = OPTION_TEXT},
    {"map", "MAP",
     "FILE is a spreadsheet of your own: which of its columns is what, as a file or as "
     "'batch=Run,number=Bag no,...'",
     .kind = OPTION_TEXT},
    {"guess", NULL, "print a map for FILE as its headings and words suggest it, for you to mend",
     .kind = OPTION_FLAG},
    {"partly", NULL, "with --map: keep the good rows even when others are refused",
     .kind = OPTION_FLAG},
    {"dry-run", NULL, "do everything, tell what came of it, and keep nothing", .kind = OPTION_FLAG},
    {"json", NULL, "tell what came of it as JSON", .kind = OPTION_FLAG},
    {0},
};

/* The journal; for a rehearsal where there is none, one that is gone afterwards. */
static enum status open_journal(struct app *app, char folder[FOLDER_ROOM])
{
    char *path = NULL;
    struct stat about;
    enum status status = app_journal_path(app, &path);
    if (status != STATUS_OK)
        return status;
    bool rehearse = flag(app, "dry-run") && stat(path, &about) != 0;
    free(path);
    return rehearse ? open_temporary(app, folder) : app_journal(app, JOURNAL_CREATE);
}

static void close_journal(struct app *app, const char *folder)
{
    if (folder[0] == '\0')
        return;
    journal_close(app->journal);
    app->journal = NULL;
    remove_temporary(folder);
}

/* ---- tables ---------------------------------------------------------------------------------- */

static enum status tell(struct app *app, const struct import_tally *tally)
{
    bool dry_run = flag(app, "dry-run");
    size_t added = 0;
    json_t *tables = json_object();
    for (int i = 0; i < RECORD_COUNT; i++) {
        const struct import_tally *one = &tally[i];
        char same[40] = "", refused[40] = "", rest[120];
        json_object_set_new(tables, record_types[i].name,
                            json_pack("{s:I, s:I, s:I}", "added", (json_int_t)one->added, "same",
                                      (json_int_t)one->same, "refused", (json_int_t)one->refused));
        added += one->added;
        if (one->same > 0)
            snprintf(same, sizeof same, ", %zu there already", one->same);
        if (one->refused > 0)
            snprintf(refused, sizeof refused, ", %zu refused", one->refused);
        snprintf(rest, sizeof rest, "%zu added%s%s", one->added, same, refused);
        if (!flag(app, "json") && one->added + one->same + one->refused > 0)
            screen_row(&app->out, 0, 12, record_types[i].name, rest);
    }
    json_t *answer = json_pack("{s:i, s:b, s:o}", "schema", 1, "kept", !dry_run, "tables", tables);
    if (flag(app, "json"))
        return app_json(app, answer, false);
    json_decref(answer);
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "%s",
               added == 0 ? "Nothing new in it."
               : dry_run  ? "Nothing was kept: this was a rehearsal."
                          : "All of it is kept.");
    return app_flush(app);
}

/* That nothing was kept, which the faults alone would not say. */
static void tell_refusal(struct app *app, const struct import_tally *tally)
{
    size_t refused = 0;
    for (int i = 0; i < RECORD_COUNT; i++)
        refused += tally[i].refused;
    if (refused > 0)
        screen_say(&app->err, 0, 0, ROLE_PLAIN, "%zu row%s refused, so nothing was imported.",
                   refused, refused == 1 ? "" : "s");
    else
        screen_say(&app->err, 0, 0, ROLE_PLAIN, "Nothing was imported.");
    screen_flush(&app->err, stderr);
}

static enum status import_tables(struct app *app, const char *path, bool is_folder)
{
    enum record record = import_table_of(path);
    char folder[FOLDER_ROOM] = "";
    struct import_tally tally[RECORD_COUNT] = {{0}};
    struct progress_bar bar;
    enum status status = STATUS_OK;
    if (!is_folder && arguments_value(&app->arguments, "table") != NULL)
        status = named_table(app, &record);
    else if (!is_folder && record == RECORD_COUNT)
        status = app_usage(app,
                           "'%s' is named after no table; --table says which it is, and a "
                           "spreadsheet of your own needs --map (--guess proposes one)",
                           path);
    if (status == STATUS_OK)
        status = open_journal(app, folder);
    if (status == STATUS_OK) {
        progress_bar_init(&bar, stderr);
        const struct progress progress = progress_bar_listener(&bar);
        const struct import_options how = {flag(app, "dry-run"), &progress};
        status = is_folder ? import_folder(app->journal, path, &how, tally, app->diags)
                           : import_file(app->journal, record, path, &how, tally, app->diags);
        progress_bar_clear(&bar);
        if (status == STATUS_OK)
            status = tell(app, tally);
        else
            tell_refusal(app, tally);
    }
    close_journal(app, folder);
    return status;
}

/* ---- a spreadsheet of their own -------------------------------------------------------------- */

static enum status guess(struct app *app, const char *path)
{
    enum status status = app_load(app, NULL, 0);
    if (status == STATUS_OK)
        status = mapping_guess(path, app->reader, app->triage, &app->out.out, app->diags);
    return status == STATUS_OK ? app_flush(app) : status;
}

struct rows { /* what came of them, as it is told */
    struct app *app;
    json_t *list;   /* NULL unless as JSON */
    size_t refused; /* told so far */
};

/* In a rehearsal every row is told, else those that were refused, with an end to it. */
static void tell_row(void *context, const struct mapping_row *row)
{
    enum { MOST_REFUSED = 50 };
    static const char *const verdicts[] = {"taken", "skipped", "refused"};
    static const struct text_safe_options safe = {.limit = 400};
    struct rows *rows = context;
    bool refused = row->verdict == MAPPING_REFUSED;
    if (rows->list != NULL) {
        struct text label, why;
        text_init(&label);
        text_init(&why);
        text_safe(&label, row->label, strlen(row->label), &safe);
        text_safe(&why, row->why, strlen(row->why), &safe);
        json_array_append_new(
            rows->list, json_pack("{s:I, s:I, s:s, s:s, s:s}", "line", (json_int_t)row->at.line,
                                  "column", (json_int_t)row->at.column, "verdict",
                                  verdicts[row->verdict], "label", label.bytes, "why", why.bytes));
        text_release(&label);
        text_release(&why);
        return;
    }
    if (refused ? rows->refused++ >= MOST_REFUSED : !flag(rows->app, "dry-run"))
        return;
    char lead[320];
    snprintf(lead, sizeof lead, "%.200s:%zu:%zu: %s:", row->at.file, row->at.line, row->at.column,
             verdicts[row->verdict]);
    screen_say(&rows->app->out, 0, 4, refused ? ROLE_WARN : ROLE_PLAIN, "%s%s%s%s%s", lead,
               row->label[0] != '\0' ? " " : "", row->label, row->why[0] != '\0' ? " " : "",
               row->why);
}

static enum status tell_mapped(struct app *app, const struct rows *rows,
                               const struct mapping_tally *tally)
{
    bool dry_run = flag(app, "dry-run");
    bool spoilt = tally->refused > 0 && !flag(app, "partly");
    json_t *added = json_object();
    for (int i = 0; i < RECORD_COUNT; i++) {
        char rest[64];
        snprintf(rest, sizeof rest, "%zu added", tally->added[i]);
        json_object_set_new(added, record_types[i].name, json_integer((json_int_t)tally->added[i]));
        if (rows->list == NULL && tally->added[i] > 0)
            screen_row(&app->out, 0, 12, record_types[i].name, rest);
    }
    json_t *answer =
        json_pack("{s:i, s:b, s:I, s:I, s:I, s:o, s:O*}", "schema", 1, "kept", !dry_run && !spoilt,
                  "taken", (json_int_t)tally->taken, "skipped", (json_int_t)tally->skipped,
                  "refused", (json_int_t)tally->refused, "added", added, "rows", rows->list);
    if (rows->list != NULL)
        return app_json(app, answer, false);
    json_decref(answer);
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "Rows: %zu taken, %zu skipped, %zu refused. %s",
               tally->taken, tally->skipped, tally->refused,
               dry_run  ? "Nothing was kept: this was a rehearsal."
               : spoilt ? "Nothing was kept: mend the refused rows or the map, or give --partly."
               : tally->taken == 0 ? "Nothing new in it."
                                   : "What was taken is kept.");
    return app_flush(app);
}

static enum status carry(struct app *app, const char *path, struct mapping *mapping)
{
    struct progress_bar bar;
    struct mapping_tally tally;
    struct rows rows = {.app = app, .list = flag(app, "json") ? json_array() : NULL};
    progress_bar_init(&bar, stderr);
    const struct progress progress = progress_bar_listener(&bar);
    const struct mapping_options how = {.dry_run = flag(app, "dry-run"),
                                        .partly = flag(app, "partly"),
                                        .now = moment_now(),
                                        .progress = &progress,
                                        .context = &rows,
                                        .row = tell_row};
    enum status status =
        mapping_import(app->journal, mapping, app->reader, path, &how, &tally, app->diags);
    progress_bar_clear(&bar);
    /* Rows that were refused are told one by one; anything else is a failure of the whole. */
    bool failed = status != STATUS_OK && (diags_errors(app->diags) > 0 || tally.refused == 0);
    enum status told = failed ? status : tell_mapped(app, &rows, &tally);
    json_decref(rows.list);
    return told != STATUS_OK ? told : status;
}

static enum status import_mapped(struct app *app, const char *path)
{
    char folder[FOLDER_ROOM] = "";
    enum status status = app_load(app, NULL, 0);
    if (status != STATUS_OK)
        return status;
    struct mapping *mapping =
        mapping_new(arguments_value(&app->arguments, "map"), app->rules, app->diags, &status);
    if (mapping == NULL)
        return status;
    status = open_journal(app, folder);
    if (status == STATUS_OK)
        status = carry(app, path, mapping);
    mapping_free(mapping);
    close_journal(app, folder);
    return status;
}

static enum status run(struct app *app)
{
    struct stat about;
    if (app->arguments.operand_count != 1)
        return app_usage(app, "name the folder or the file to import");
    const char *path = app->arguments.operands[0];
    if (stat(path, &about) != 0) { /* before a journal is begun */
        diags_error(app->diags, (struct position){path, 0, 0}, "cannot be read: %s",
                    strerror(errno));
        return STATUS_IO;
    }
    if (flag(app, "guess"))
        return guess(app, path);
    return arguments_value(&app->arguments, "map") != NULL
               ? import_mapped(app, path)
               : import_tables(app, path, S_ISDIR(about.st_mode));
}

const struct command command_import = {
    .name = "import",
    .summary = "reads CSV tables into the journal, all of them or nothing",
    .operands = "DIR-OR-FILE",
    .detail =
        "A folder or a table that 'jarside export' wrote, or with --map a spreadsheet of your "
        "own, one row a vessel. What is there already is passed over; what is there under the "
        "same label and says something else is a conflict, and told with its line.",
    .options = options,
    .run = run,
};

/* ==== export ================================================================================== */

static const struct option export_options[] = {
    {"table", "NAME", "only this one, to standard output, or to the file named instead of DIR",
     .kind = OPTION_TEXT},
    {"force", NULL, "replace files that exist", .kind = OPTION_FLAG},
    {"json", NULL, "say what was written as JSON", .kind = OPTION_FLAG},
    {0},
};

static enum status export_one(struct app *app)
{
    enum record record = RECORD_COUNT;
    size_t rows;
    const char *path = app->arguments.operand_count > 0 ? app->arguments.operands[0] : "-";
    enum status status = named_table(app, &record);
    if (status == STATUS_OK)
        status = app_journal(app, JOURNAL_READ);
    if (status != STATUS_OK)
        return status;
    return strcmp(path, "-") == 0
               ? export_table(app->journal, record, stdout, "standard output", &rows, app->diags)
               : export_file(app->journal, record, path, flag(app, "force"), app->diags);
}

static enum status export_all(struct app *app)
{
    size_t counts[RECORD_COUNT] = {0};
    char date[MOMENT_ROOM], usual[MOMENT_ROOM + 16], rest[64];
    snprintf(usual, sizeof usual, "jarside-%s", moment_write_day(moment_now(), date));
    const char *folder = app->arguments.operand_count > 0 ? app->arguments.operands[0] : usual;
    enum status status = app_journal(app, JOURNAL_READ);
    if (status == STATUS_OK)
        status = export_folder(app->journal, folder, flag(app, "force"), counts, app->diags);
    if (status != STATUS_OK)
        return status;
    json_t *tables = json_object();
    for (int i = 0; i < RECORD_COUNT; i++) {
        json_object_set_new(tables, record_types[i].name, json_integer((json_int_t)counts[i]));
        snprintf(rest, sizeof rest, "%zu row%s", counts[i], counts[i] == 1 ? "" : "s");
        if (!flag(app, "json"))
            screen_row(&app->out, 0, 12, record_types[i].name, rest);
    }
    json_t *answer = json_pack("{s:i, s:s, s:o}", "schema", 1, "folder", folder, "rows", tables);
    if (flag(app, "json"))
        return app_json(app, answer, false);
    json_decref(answer);
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "Written to %s.", folder);
    return app_flush(app);
}

static enum status export_run(struct app *app)
{
    if (app->arguments.operand_count > 1)
        return app_usage(app, "one folder or file at a time");
    return arguments_value(&app->arguments, "table") != NULL ? export_one(app) : export_all(app);
}

const struct command command_export = {
    .name = "export",
    .summary = "writes the journal as CSV tables that any spreadsheet opens",
    .operands = "[DIR]",
    .detail =
        "One file a table, in a folder named after today unless you name one. 'jarside import DIR' "
        "reads them back exactly. A text that a spreadsheet would take for a formula gets an "
        "apostrophe in front, which the import takes away.",
    .options = export_options,
    .run = export_run,
};

/* ==== backup, restore ========================================================================= */

static const struct option backup_options[] = {
    {"force", NULL, "replace a file that exists", .kind = OPTION_FLAG},
    {0},
};

static enum status run_backup(struct app *app)
{
    if (app->arguments.operand_count != 1)
        return app_usage(app, "name the file to write the backup to");
    const char *path = app->arguments.operands[0];
    enum status status = app_journal(app, JOURNAL_READ);
    if (status == STATUS_OK)
        status = backup_write(app->journal, path, flag(app, "force"), app->diags);
    if (status != STATUS_OK)
        return status;
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               "Checked and written: %s. 'jarside restore' takes it back.", path);
    return app_flush(app);
}

const struct command command_backup = {
    .name = "backup",
    .summary = "copies the whole journal into one file, checked",
    .operands = "FILE",
    .detail = "May be done while the journal is in use. The copy holds it as it stood at one "
              "moment, and takes its name only when it has proved sound.",
    .options = backup_options,
    .run = run_backup,
};

static enum status run_restore(struct app *app)
{
    char *path = NULL, *kept = NULL;
    if (app->arguments.operand_count != 1)
        return app_usage(app, "name the backup to restore");
    const char *backup = app->arguments.operands[0];
    enum status status = app_journal_path(app, &path);
    if (status == STATUS_OK)
        status = backup_restore(backup, path, moment_now(), &kept, app->diags);
    if (status == STATUS_OK)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "The journal %s is now what %s holds.", path,
                   backup);
    if (status == STATUS_OK && kept != NULL)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "What was there before is kept as %s.", kept);
    free(path);
    free(kept);
    return status == STATUS_OK ? app_flush(app) : status;
}

const struct command command_restore = {
    .name = "restore",
    .summary = "puts a backup in the place of the journal, which is kept beside it",
    .operands = "FILE",
    .detail = "A file that is damaged, that a newer Jarside wrote or that is no journal is refused "
              "and nothing is touched. The present journal stays beside the restored one under a "
              "dated name.",
    .run = run_restore,
};

/* ==== journal check =========================================================================== */

static const struct option journal_check_options[] = {
    {"all", NULL, "list every fault, not only the first fifty", .kind = OPTION_FLAG},
    {"json", NULL, "print JSON", .kind = OPTION_FLAG},
    {0},
};

struct listing {
    struct app *app;
    json_t *faults; /* NULL unless as JSON */
    size_t listed, most;
    bool damaged; /* the file itself */
};

static void list_fault(void *context, const struct check_fault *fault)
{
    struct listing *listing = context;
    const char *kind = fault->warning ? "warning" : "error";
    const char *table = fault->record == RECORD_COUNT ? "file" : record_types[fault->record].name;
    char lead[384], id[24] = "";
    listing->damaged = listing->damaged || fault->record == RECORD_COUNT;
    if (listing->listed++ >= listing->most)
        return;
    if (listing->faults != NULL) {
        json_array_append_new(listing->faults,
                              json_pack("{s:s, s:s, s:I, s:s, s:s}", "kind", kind, "table", table,
                                        "id", (json_int_t)fault->id, "label", fault->label,
                                        "message", fault->message));
        return;
    }
    if (fault->id != 0)
        snprintf(id, sizeof id, "%lld", (long long)fault->id);
    const char *name = fault->label[0] != '\0' ? fault->label : id;
    snprintf(lead, sizeof lead, "%s: %s%s%s:", kind, table, name[0] != '\0' ? " " : "", name);
    screen_item(&listing->app->out, 0, lead, fault->warning ? ROLE_PLAIN : ROLE_WARN,
                fault->message);
}

static void tell_check(struct screen *screen, const struct listing *listing,
                       const struct check_tally *tally)
{
    if (listing->listed > listing->most)
        screen_say(screen, 0, 0, ROLE_PLAIN, "and %zu more; --all lists them",
                   listing->listed - listing->most);
    if (listing->damaged)
        screen_say(screen, 0, 0, ROLE_PLAIN,
                   "It was left as it is. 'jarside restore FILE' brings back a backup and keeps "
                   "this file beside it.");
    else if (tally->errors > 0)
        screen_say(screen, 0, 0, ROLE_PLAIN,
                   "%zu records looked at, %zu fault%s. Nothing was changed. 'jarside correct' "
                   "puts a slip right, 'jarside restore FILE' brings back a backup.",
                   tally->records, tally->errors, tally->errors == 1 ? "" : "s");
    else
        screen_say(screen, 0, 0, ROLE_PLAIN, "%zu records looked at, no fault.", tally->records);
}

static enum status journal_check_run(struct app *app)
{
    struct check_tally tally;
    struct listing listing = {.app = app, .most = flag(app, "all") ? SIZE_MAX : 50};
    const struct check_sink sink = {&listing, list_fault};
    enum status status = app_load(app, NULL, 0);
    if (status == STATUS_OK)
        status = app_journal(app, JOURNAL_READ);
    if (status != STATUS_OK)
        return status;
    listing.faults = flag(app, "json") ? json_array() : NULL;
    status = check_journal(app->journal, app->rules, moment_now(), &sink, &tally, app->diags);
    if (status == STATUS_OK && listing.faults != NULL) {
        status =
            app_json(app,
                     json_pack("{s:i, s:s, s:I, s:I, s:I, s:O}", "schema", 1, "journal",
                               journal_path(app->journal), "records", (json_int_t)tally.records,
                               "errors", (json_int_t)tally.errors, "warnings",
                               (json_int_t)tally.warnings, "faults", listing.faults),
                     false);
    } else if (status == STATUS_OK) {
        tell_check(&app->out, &listing, &tally);
        status = app_flush(app);
    }
    json_decref(listing.faults);
    return status == STATUS_OK && tally.errors > 0 ? STATUS_CHECK : status;
}

const struct command command_journal_check = {
    .name = "journal check",
    .summary = "looks the journal over for damage and for what cannot be",
    .operands = "",
    .detail = "The file itself, references, dates, corrections, what is derived, words that the "
              "rules do not know. Changes nothing. Exit status 1 when there is a fault.",
    .options = journal_check_options,
    .run = journal_check_run,
};

/* ==== journal demo ============================================================================ */

static enum status run_journal_demo(struct app *app)
{
    struct stat found;
    if (app->arguments.operand_count != 1)
        return app_usage(app, "give the name of a new file; for instance: "
                              "jarside journal demo season.db");
    const char *path = app->arguments.operands[0];
    enum status status = app_load(app, NULL, 0);
    if (status == STATUS_OK && stat(path, &found) == 0)
        return app_error(app, STATUS_DATA, NULL,
                         "'%s' is there already and stays as it is; give the name of a new file",
                         path);
    if (status == STATUS_OK)
        status = journal_open(path, JOURNAL_CREATE, &app->journal, app->diags);
    if (status == STATUS_OK)
        status = build(app);
    if (status != STATUS_OK)
        return status;
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               "An invented season of %zu batches, %zu vessels and %zu looks is in %s.",
               journal_count(app->journal, RECORD_BATCH, NULL, 0),
               journal_count(app->journal, RECORD_VESSEL, NULL, 0),
               journal_count(app->journal, RECORD_LOOK, NULL, 0), path);
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "Try: jarside review --journal %s", path);
    return app_flush(app);
}

const struct command command_journal_demo = {
    .name = "journal demo",
    .summary = "writes an invented season into a new journal, for trying things out",
    .operands = "FILE",
    .detail = "Nothing in it is real: growers, shelves and losses are made up, some faults are "
              "planted, and corpus/demo/journal says which.",
    .options = NULL,
    .run = run_journal_demo,
};
