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

static const struct position nowhere = {0};

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

/* ---- where it is built ----------------------------------------------------------------------- */

static enum status build(struct app *app, const char *path)
{
    struct demo_judge judge = {judge_look, app};
    const char *folder = corpus_find(app, "demo/journal");
    enum status status = journal_open(path, JOURNAL_CREATE, &app->journal, app->diags);
    if (status == STATUS_OK)
        status = demo_build(app->journal, folder, &judge, app->diags);
    return status;
}

enum status demo_at(struct app *app, const char *path)
{
    struct stat found;
    if (stat(path, &found) == 0) {
        diags_error(app->diags, nowhere,
                    "'%s' is there already and stays as it is; give the name of a new file", path);
        return STATUS_DATA;
    }
    enum status status = build(app, path);
    return status;
}

static void remove_folder(const char *folder)
{
    static const char *const files[] = {"journal.db", "journal.db-wal", "journal.db-shm"};
    char path[512];
    for (size_t i = 0; i < sizeof files / sizeof *files; i++) {
        snprintf(path, sizeof path, "%s/%s", folder, files[i]);
        (void)unlink(path);
    }
    (void)rmdir(folder);
}

enum status demo_for_now(struct app *app)
{
    const char *base = getenv("TMPDIR");
    char folder[256], path[512];
    int length = snprintf(folder, sizeof folder, "%s/jarside-XXXXXX",
                          base != NULL && base[0] == '/' ? base : "/tmp");

    if (length < 0 || (size_t)length >= sizeof folder || mkdtemp(folder) == NULL) {
        diags_error(app->diags, nowhere, "no room for the demo in %s: %s",
                    base != NULL ? base : "/tmp", strerror(errno));
        return STATUS_IO;
    }
    snprintf(path, sizeof path, "%s/journal.db", folder);
    enum status status = build(app, path);
    remove_folder(folder);
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

/* ---- which journal --------------------------------------------------------------------------- */

struct rehearsal { /* a journal that is gone afterwards, where there is none to rehearse in */
    char folder[256], file[280];
};

static void rehearsal_end(struct app *app, const struct rehearsal *rehearsal)
{
    static const char *const suffixes[] = {"", "-wal", "-shm", "-journal"};
    if (rehearsal->folder[0] == '\0')
        return;
    journal_close(app->journal);
    app->journal = NULL;
    for (size_t i = 0; i < sizeof suffixes / sizeof *suffixes; i++) {
        char name[300];
        snprintf(name, sizeof name, "%s%s", rehearsal->file, suffixes[i]);
        (void)unlink(name);
    }
    (void)rmdir(rehearsal->folder);
}

static enum status rehearse_in_nothing(struct app *app, struct rehearsal *rehearsal)
{
    const char *base = getenv("TMPDIR");
    snprintf(rehearsal->folder, sizeof rehearsal->folder, "%s/jarside-XXXXXX",
             base != NULL && base[0] == '/' && strlen(base) < 200 ? base : "/tmp");
    if (mkdtemp(rehearsal->folder) == NULL) {
        rehearsal->folder[0] = '\0';
        return STATUS_IO;
    }
    snprintf(rehearsal->file, sizeof rehearsal->file, "%s/journal.db", rehearsal->folder);
    enum status status = journal_open(rehearsal->file, JOURNAL_CREATE, &app->journal, app->diags);
    return status;
}

static enum status open_journal(struct app *app, struct rehearsal *rehearsal)
{
    char *path = NULL;
    struct stat about;
    enum status status = app_journal_path(app, &path);
    if (status != STATUS_OK)
        return status;
    bool rehearse = arguments_flag(&app->arguments, "dry-run") && stat(path, &about) != 0;
    free(path);
    return rehearse ? rehearse_in_nothing(app, rehearsal) : app_journal(app, JOURNAL_CREATE);
}

/* ---- what came of it ------------------------------------------------------------------------- */

static json_t *tally_json(const struct import_tally *tally)
{
    return json_pack("{s:I, s:I, s:I}", "added", (json_int_t)tally->added, "same",
                     (json_int_t)tally->same, "refused", (json_int_t)tally->refused);
}

static enum status tell_json(struct app *app, const struct import_tally *tally, bool kept)
{
    json_t *tables = json_object();
    for (int i = 0; i < RECORD_COUNT; i++)
        tables = view_json_put(tables, record_types[i].name, tally_json(&tally[i]));
    return app_json(
        app, json_pack("{s:i, s:b, s:o}", "schema", 1, "kept", (int)kept, "tables", tables), false);
}

static void tell_tables(struct screen *screen, const struct import_tally *tally)
{
    for (int i = 0; i < RECORD_COUNT; i++) {
        char rest[160];
        const struct import_tally *one = &tally[i];
        if (one->added + one->same + one->refused == 0)
            continue;
        int used = snprintf(rest, sizeof rest, "%zu added", one->added);
        if (one->same > 0)
            used +=
                snprintf(rest + used, sizeof rest - (size_t)used, ", %zu there already", one->same);
        if (one->refused > 0)
            snprintf(rest + used, sizeof rest - (size_t)used, ", %zu refused", one->refused);
        screen_row(screen, 0, 12, record_types[i].name, rest);
    }
}

static enum status tell(struct app *app, const struct import_tally *tally)
{
    bool dry_run = arguments_flag(&app->arguments, "dry-run");
    if (arguments_flag(&app->arguments, "json"))
        return tell_json(app, tally, !dry_run);
    size_t added = 0;
    for (int i = 0; i < RECORD_COUNT; i++)
        added += tally[i].added;
    tell_tables(&app->out, tally);
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "%s",
               added == 0 ? "Nothing new in it."
               : dry_run  ? "Nothing was kept: this was a rehearsal."
                          : "All of it is kept.");
    return app_flush(app);
}

/* The faults, and that nothing was kept, which they alone would not say. */
static enum status tell_refusal(struct app *app, enum status status,
                                const struct import_tally *tally)
{
    size_t refused = 0;
    for (int i = 0; i < RECORD_COUNT; i++)
        refused += tally[i].refused;
    enum status fault = status;
    if (refused > 0)
        screen_say(&app->err, 0, 0, ROLE_PLAIN, "%zu row%s refused, so nothing was imported.",
                   refused, refused == 1 ? "" : "s");
    else
        screen_say(&app->err, 0, 0, ROLE_PLAIN, "Nothing was imported.");
    screen_flush(&app->err, stderr);
    return fault;
}

/* ---- importing ------------------------------------------------------------------------------- */

static enum status which_table(struct app *app, const char *path, enum record *record)
{
    *record = import_table_of(path);
    if (arguments_value(&app->arguments, "table") != NULL)
        return named_table(app, record);
    return *record != RECORD_COUNT ? STATUS_OK
                                   : app_usage(app,
                                               "'%s' is named after no table; --table says which "
                                               "it is, and a spreadsheet of your "
                                               "own needs --map (--guess proposes one)",
                                               path);
}

static bool is_folder(const char *path)
{
    struct stat about;
    return stat(path, &about) == 0 && S_ISDIR(about.st_mode);
}

static enum status import_tables(struct app *app, const char *path)
{
    enum record record = RECORD_COUNT;
    struct rehearsal rehearsal = {"", ""};
    struct import_tally tally[RECORD_COUNT] = {{0}};
    struct progress_bar bar;
    bool folder = is_folder(path);
    enum status fault = folder ? STATUS_OK : which_table(app, path, &record);
    if (fault == STATUS_OK)
        fault = open_journal(app, &rehearsal);
    if (fault == STATUS_OK) {
        progress_bar_init(&bar, stderr);
        const struct progress progress = progress_bar_listener(&bar);
        const struct import_options how = {arguments_flag(&app->arguments, "dry-run"), &progress};
        enum status status = folder
                                 ? import_folder(app->journal, path, &how, tally, app->diags)
                                 : import_file(app->journal, record, path, &how, tally, app->diags);
        progress_bar_clear(&bar);
        fault = status == STATUS_OK ? tell(app, tally) : tell_refusal(app, status, tally);
    }
    rehearsal_end(app, &rehearsal);
    return fault;
}

/* ---- a spreadsheet of their own -------------------------------------------------------------- */

static enum status guess(struct app *app, const char *path)
{
    enum status fault = app_load(app, NULL, 0);
    if (fault != STATUS_OK)
        return fault;
    enum status status = mapping_guess(path, app->reader, app->triage, &app->out.out, app->diags);
    return status == STATUS_OK ? app_flush(app) : status;
}

struct rows { /* what came of them, as it is told */
    struct app *app;
    bool json;
    json_t *list;
    size_t refused; /* told so far */
};

static void row_json(struct rows *rows, const struct mapping_row *row, const char *verdict)
{
    struct text label, why;
    static const struct text_safe_options safe = {.limit = 400};
    text_init(&label);
    text_init(&why);
    text_safe(&label, row->label, strlen(row->label), &safe);
    text_safe(&why, row->why, strlen(row->why), &safe);
    rows->list = view_json_append(
        rows->list, json_pack("{s:I, s:I, s:s, s:s, s:s}", "line", (json_int_t)row->at.line,
                              "column", (json_int_t)row->at.column, "verdict", verdict, "label",
                              label.bytes, "why", why.bytes));
    text_release(&label);
    text_release(&why);
}

/* In a rehearsal every row is told, else those that were refused, with an end to it. */
static void row_told(void *context, const struct mapping_row *row)
{
    enum { MOST_REFUSED = 50 };
    static const char *const verdicts[] = {"taken", "skipped", "refused"};
    struct rows *rows = context;
    struct app *app = rows->app;
    bool refused = row->verdict == MAPPING_REFUSED;
    if (rows->json) {
        row_json(rows, row, verdicts[row->verdict]);
        return;
    }
    if (refused ? rows->refused++ >= MOST_REFUSED : !arguments_flag(&app->arguments, "dry-run"))
        return;
    char lead[320];
    snprintf(lead, sizeof lead, "%.200s:%zu:%zu: %s:", row->at.file, row->at.line, row->at.column,
             verdicts[row->verdict]);
    screen_say(&app->out, 0, 4, refused ? ROLE_WARN : ROLE_PLAIN, "%s%s%s%s%s", lead,
               row->label[0] != '\0' ? " " : "", row->label, row->why[0] != '\0' ? " " : "",
               row->why);
}

static enum status tell_mapped_json(struct app *app, const struct rows *rows,
                                    const struct mapping_tally *tally, bool kept)
{
    json_t *added = json_object();
    for (int i = 0; i < RECORD_COUNT; i++)
        added =
            view_json_put(added, record_types[i].name, json_integer((json_int_t)tally->added[i]));
    return app_json(app,
                    json_pack("{s:i, s:b, s:I, s:I, s:I, s:o, s:O}", "schema", 1, "kept", (int)kept,
                              "taken", (json_int_t)tally->taken, "skipped",
                              (json_int_t)tally->skipped, "refused", (json_int_t)tally->refused,
                              "added", added, "rows", rows->list),
                    false);
}

static enum status tell_mapped(struct app *app, const struct rows *rows,
                               const struct mapping_tally *tally)
{
    bool dry_run = arguments_flag(&app->arguments, "dry-run");
    bool spoilt = tally->refused > 0 && !arguments_flag(&app->arguments, "partly");
    if (rows->json)
        return tell_mapped_json(app, rows, tally, !dry_run && !spoilt);
    for (int i = 0; i < RECORD_COUNT; i++) {
        char rest[64];
        snprintf(rest, sizeof rest, "%zu added", tally->added[i]);
        if (tally->added[i] > 0)
            screen_row(&app->out, 0, 12, record_types[i].name, rest);
    }
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
    struct rows rows = {.app = app, .json = arguments_flag(&app->arguments, "json")};
    progress_bar_init(&bar, stderr);
    const struct progress progress = progress_bar_listener(&bar);
    const struct mapping_options how = {.dry_run = arguments_flag(&app->arguments, "dry-run"),
                                        .partly = arguments_flag(&app->arguments, "partly"),
                                        .now = moment_now(),
                                        .progress = &progress,
                                        .context = &rows,
                                        .row = row_told};
    if (rows.json)
        rows.list = json_array();
    enum status status =
        mapping_import(app->journal, mapping, app->reader, path, &how, &tally, app->diags);
    progress_bar_clear(&bar);
    /* Rows that were refused are told one by one; anything else is a failure of the whole. */
    bool failed = status != STATUS_OK && (diags_errors(app->diags) > 0 || tally.refused == 0);
    enum status fault = failed ? status : tell_mapped(app, &rows, &tally);
    json_decref(rows.list);
    return fault != STATUS_OK ? fault : status;
}

static enum status import_mapped(struct app *app, const char *path)
{
    struct rehearsal rehearsal = {"", ""};
    enum status status = STATUS_OK;
    enum status fault = app_load(app, NULL, 0);
    if (fault != STATUS_OK)
        return fault;
    struct mapping *mapping =
        mapping_new(arguments_value(&app->arguments, "map"), app->rules, app->diags, &status);
    if (mapping == NULL)
        return status;
    fault = open_journal(app, &rehearsal);
    if (fault == STATUS_OK)
        fault = carry(app, path, mapping);
    mapping_free(mapping);
    rehearsal_end(app, &rehearsal);
    return fault;
}

static enum status run(struct app *app)
{
    struct stat about;
    if (app->arguments.operand_count != 1)
        return app_usage(app, "name the folder or the file to import");
    if (stat(app->arguments.operands[0], &about) != 0) { /* before a journal is begun */
        diags_error(app->diags, (struct position){app->arguments.operands[0], 0, 0},
                    "cannot be read: %s", strerror(errno));
        return STATUS_IO;
    }
    if (arguments_flag(&app->arguments, "guess"))
        return guess(app, app->arguments.operands[0]);
    if (arguments_value(&app->arguments, "map") != NULL)
        return import_mapped(app, app->arguments.operands[0]);
    return import_tables(app, app->arguments.operands[0]);
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
    const struct arguments *arguments = &app->arguments;
    enum status fault = named_table(app, &record);
    if (fault == STATUS_OK)
        fault = app_journal(app, JOURNAL_READ);
    if (fault != STATUS_OK)
        return fault;
    size_t rows;
    const char *path = arguments->operand_count > 0 ? arguments->operands[0] : "-";
    enum status status =
        strcmp(path, "-") == 0
            ? export_table(app->journal, record, stdout, "standard output", &rows, app->diags)
            : export_file(app->journal, record, path, arguments_flag(arguments, "force"),
                          app->diags);
    return status;
}

static enum status export_tell(struct app *app, const char *folder, const size_t *counts)
{
    if (arguments_flag(&app->arguments, "json")) {
        json_t *tables = json_object();
        for (int i = 0; i < RECORD_COUNT; i++)
            tables =
                view_json_put(tables, record_types[i].name, json_integer((json_int_t)counts[i]));
        return app_json(app,
                        json_pack("{s:i, s:s, s:o}", "schema", 1, "folder", folder, "rows", tables),
                        false);
    }
    for (int i = 0; i < RECORD_COUNT; i++) {
        char rest[64];
        snprintf(rest, sizeof rest, "%zu row%s", counts[i], counts[i] == 1 ? "" : "s");
        screen_row(&app->out, 0, 12, record_types[i].name, rest);
    }
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "Written to %s.", folder);
    return app_flush(app);
}

static enum status export_all(struct app *app)
{
    size_t counts[RECORD_COUNT] = {0};
    char date[MOMENT_ROOM], usual[MOMENT_ROOM + 16];
    const struct arguments *arguments = &app->arguments;
    snprintf(usual, sizeof usual, "jarside-%s", moment_write_day(moment_now(), date));
    const char *folder = arguments->operand_count > 0 ? arguments->operands[0] : usual;
    enum status fault = app_journal(app, JOURNAL_READ);
    if (fault != STATUS_OK)
        return fault;
    enum status status =
        export_folder(app->journal, folder, arguments_flag(arguments, "force"), counts, app->diags);
    return status == STATUS_OK ? export_tell(app, folder, counts) : status;
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

/* ==== backup ================================================================================== */

/* ---- backup ---------------------------------------------------------------------------------- */

static const struct option backup_options[] = {
    {"force", NULL, "replace a file that exists", .kind = OPTION_FLAG},
    {0},
};

static enum status run_backup(struct app *app)
{
    const struct arguments *arguments = &app->arguments;
    if (arguments->operand_count != 1)
        return app_usage(app, "name the file to write the backup to");
    enum status fault = app_journal(app, JOURNAL_READ);
    if (fault != STATUS_OK)
        return fault;
    const char *path = arguments->operands[0];
    enum status status =
        backup_write(app->journal, path, arguments_flag(arguments, "force"), app->diags);
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

/* ---- restore --------------------------------------------------------------------------------- */

static enum status run_restore(struct app *app)
{
    char *path = NULL, *kept = NULL;
    if (app->arguments.operand_count != 1)
        return app_usage(app, "name the backup to restore");
    enum status fault = app_journal_path(app, &path);
    if (fault != STATUS_OK)
        return fault;
    enum status status =
        backup_restore(app->arguments.operands[0], path, moment_now(), &kept, app->diags);
    if (status != STATUS_OK) {
        free(path);
        return status;
    }
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "The journal %s is now what %s holds.", path,
               app->arguments.operands[0]);
    if (kept != NULL)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "What was there before is kept as %s.", kept);
    free(path);
    free(kept);
    return app_flush(app);
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
    bool json;
    json_t *faults;
    size_t listed, most;
    bool damaged; /* the file itself */
};

static const char *name_of(enum record record)
{
    return record == RECORD_COUNT ? "file" : record_types[record].name;
}

static void list_text(const struct listing *listing, const struct check_fault *fault)
{
    char lead[384], id[24] = "";
    const char *kind = fault->warning ? "warning" : "error";
    if (fault->id != 0)
        snprintf(id, sizeof id, " %lld", (long long)fault->id);
    if (fault->label[0] != '\0')
        snprintf(lead, sizeof lead, "%s: %s %s:", kind, name_of(fault->record), fault->label);
    else
        snprintf(lead, sizeof lead, "%s: %s%s:", kind, name_of(fault->record), id);
    screen_item(&listing->app->out, 0, lead, fault->warning ? ROLE_PLAIN : ROLE_WARN,
                fault->message);
}

static void listed(void *context, const struct check_fault *fault)
{
    struct listing *listing = context;
    listing->damaged = listing->damaged || fault->record == RECORD_COUNT;
    if (listing->listed++ >= listing->most)
        return;
    if (!listing->json)
        list_text(listing, fault);
    else
        listing->faults = view_json_append(
            listing->faults,
            json_pack("{s:s, s:s, s:I, s:s, s:s}", "kind", fault->warning ? "warning" : "error",
                      "table", name_of(fault->record), "id", (json_int_t)fault->id, "label",
                      fault->label, "message", fault->message));
}

static enum status journal_check_tell_json(struct app *app, const struct listing *listing,
                                           const struct check_tally *tally)
{
    return app_json(app,
                    json_pack("{s:i, s:s, s:I, s:I, s:I, s:O}", "schema", 1, "journal",
                              journal_path(app->journal), "records", (json_int_t)tally->records,
                              "errors", (json_int_t)tally->errors, "warnings",
                              (json_int_t)tally->warnings, "faults", listing->faults),
                    false);
}

static enum status tell_text(struct app *app, const struct listing *listing,
                             const struct check_tally *tally)
{
    if (listing->listed > listing->most)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "and %zu more; --all lists them",
                   listing->listed - listing->most);
    if (listing->damaged)
        screen_say(
            &app->out, 0, 0, ROLE_PLAIN,
            "It was left as it is. 'jarside restore FILE' brings back a backup and keeps this "
            "file beside it.");
    else if (tally->errors > 0)
        screen_say(
            &app->out, 0, 0, ROLE_PLAIN,
            "%zu records looked at, %zu fault%s. Nothing was changed. 'jarside correct' puts "
            "a slip right, 'jarside restore FILE' brings back a backup.",
            tally->records, tally->errors, tally->errors == 1 ? "" : "s");
    else
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "%zu records looked at, no fault.", tally->records);
    return app_flush(app);
}

static enum status journal_check_run(struct app *app)
{
    struct check_tally tally;
    struct listing listing = {.app = app, .most = 50};
    enum status fault = app_load(app, NULL, 0);
    if (fault == STATUS_OK)
        fault = app_journal(app, JOURNAL_READ);
    if (fault != STATUS_OK)
        return fault;
    if (arguments_flag(&app->arguments, "all"))
        listing.most = SIZE_MAX;
    listing.json = arguments_flag(&app->arguments, "json");
    if (listing.json)
        listing.faults = json_array();
    const struct check_sink sink = {&listing, listed};
    enum status status =
        check_journal(app->journal, app->rules, moment_now(), &sink, &tally, app->diags);
    if (status != STATUS_OK)
        fault = status;
    else
        fault = listing.json ? journal_check_tell_json(app, &listing, &tally)
                             : tell_text(app, &listing, &tally);
    json_decref(listing.faults);
    if (fault != STATUS_OK)
        return fault;
    return tally.errors > 0 ? STATUS_CHECK : STATUS_OK;
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
    if (app->arguments.operand_count != 1)
        return app_usage(app, "give the name of a new file; for instance: "
                              "jarside journal demo season.db");
    enum status fault = app_load(app, NULL, 0);
    if (fault != STATUS_OK)
        return fault;
    const char *path = app->arguments.operands[0];
    fault = demo_at(app, path);
    if (fault != STATUS_OK)
        return fault;
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
