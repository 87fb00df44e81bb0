/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli/app_journal.h"
#include "cli/commands.h"
#include "journal/import.h"
#include "journal/mapping.h"
#include "voice/progress_bar.h"
#include "voice/whole_json.h"

static const struct option options[] = {
    {"table", "NAME", "FILE is this table; only needed when its name does not say so"},
    {"map", "MAP",
     "FILE is a spreadsheet of your own: which of its columns is what, as a file or as "
     "'batch=Run,number=Bag no,...'"},
    {"guess", NULL, "print a map for FILE as its headings and words suggest it, for you to mend"},
    {"partly", NULL, "with --map: keep the good rows even when others are refused"},
    {"dry-run", NULL, "do everything, tell what came of it, and keep nothing"},
    {"json", NULL, "tell what came of it as JSON"},
    {NULL, NULL, NULL},
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

static enum exit_status rehearse_in_nothing(struct app *app, struct rehearsal *rehearsal)
{
    const char *base = getenv("TMPDIR");
    snprintf(rehearsal->folder, sizeof rehearsal->folder, "%s/jarside-XXXXXX",
             base != NULL && base[0] == '/' && strlen(base) < 200 ? base : "/tmp");
    if (mkdtemp(rehearsal->folder) == NULL) {
        rehearsal->folder[0] = '\0';
        return app_fail(app, STATUS_IO);
    }
    snprintf(rehearsal->file, sizeof rehearsal->file, "%s/journal.db", rehearsal->folder);
    enum status status = journal_open(rehearsal->file, JOURNAL_CREATE, &app->journal, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

static enum exit_status open_journal(struct app *app, struct rehearsal *rehearsal)
{
    char *path = NULL;
    struct stat about;
    enum exit_status fault = app_journal_path(app, &path);
    if (fault != EXIT_FINE)
        return fault;
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

static enum exit_status tell_json(struct app *app, const struct import_tally *tally, bool kept)
{
    json_t *tables = json_object();
    for (int i = 0; i < RECORD_COUNT; i++)
        tables = voice_json_put(tables, record_types[i].name, tally_json(&tally[i]));
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

static enum exit_status tell(struct app *app, const struct import_tally *tally)
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
static enum exit_status tell_refusal(struct app *app, enum status status,
                                     const struct import_tally *tally)
{
    size_t refused = 0;
    for (int i = 0; i < RECORD_COUNT; i++)
        refused += tally[i].refused;
    enum exit_status fault = app_fail(app, status);
    if (refused > 0)
        screen_say(&app->err, 0, 0, ROLE_PLAIN, "%zu row%s refused, so nothing was imported.",
                   refused, refused == 1 ? "" : "s");
    else
        screen_say(&app->err, 0, 0, ROLE_PLAIN, "Nothing was imported.");
    screen_flush(&app->err, stderr);
    return fault;
}

/* ---- importing ------------------------------------------------------------------------------- */

static enum exit_status which_table(struct app *app, const char *path, enum record *record)
{
    *record = import_table_of(path);
    if (arguments_value(&app->arguments, "table") != NULL)
        return app_table(app, record);
    return *record != RECORD_COUNT ? EXIT_FINE
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

static enum exit_status import_tables(struct app *app, const char *path)
{
    enum record record = RECORD_COUNT;
    struct rehearsal rehearsal = {"", ""};
    struct import_tally tally[RECORD_COUNT] = {{0}};
    struct progress_bar bar;
    bool folder = is_folder(path);
    enum exit_status fault = folder ? EXIT_FINE : which_table(app, path, &record);
    if (fault == EXIT_FINE)
        fault = open_journal(app, &rehearsal);
    if (fault == EXIT_FINE) {
        progress_bar_init(&bar, stderr);
        const struct progress progress = progress_bar_listener(&bar);
        const struct import_options how = {arguments_flag(&app->arguments, "dry-run"), &progress};
        enum status status =
            folder ? import_folder(app->journal, path, &how, tally, app->diags)
                   : import_file(app->journal, record, path, &how, &tally[record], app->diags);
        progress_bar_clear(&bar);
        fault = status == STATUS_OK ? tell(app, tally) : tell_refusal(app, status, tally);
    }
    rehearsal_end(app, &rehearsal);
    return fault;
}

/* ---- a spreadsheet of their own -------------------------------------------------------------- */

static enum exit_status guess(struct app *app, const char *path)
{
    enum exit_status fault = app_load(app, NULL, 0);
    if (fault != EXIT_FINE)
        return fault;
    enum status status = mapping_guess(path, app->reader, app->triage, &app->out.out, app->diags);
    return status == STATUS_OK ? app_flush(app) : app_fail(app, status);
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
    bool whole = !label.failed && !why.failed;
    rows->list = voice_json_append(
        rows->list, !whole
                        ? NULL
                        : json_pack("{s:I, s:I, s:s, s:s, s:s}", "line", (json_int_t)row->at.line,
                                    "column", (json_int_t)row->at.column, "verdict", verdict,
                                    "label", label.bytes, "why", why.bytes));
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

static enum exit_status tell_mapped_json(struct app *app, const struct rows *rows,
                                         const struct mapping_tally *tally, bool kept)
{
    json_t *added = json_object();
    for (int i = 0; i < RECORD_COUNT; i++)
        added =
            voice_json_put(added, record_types[i].name, json_integer((json_int_t)tally->added[i]));
    return app_json(app,
                    json_pack("{s:i, s:b, s:I, s:I, s:I, s:o, s:O}", "schema", 1, "kept", (int)kept,
                              "taken", (json_int_t)tally->taken, "skipped",
                              (json_int_t)tally->skipped, "refused", (json_int_t)tally->refused,
                              "added", added, "rows", rows->list),
                    false);
}

static enum exit_status tell_mapped(struct app *app, const struct rows *rows,
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

static enum exit_status carry(struct app *app, const char *path, struct mapping *mapping)
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
    enum exit_status fault = failed ? app_fail(app, status) : tell_mapped(app, &rows, &tally);
    json_decref(rows.list);
    return fault != EXIT_FINE ? fault : status_exit(status);
}

static enum exit_status import_mapped(struct app *app, const char *path)
{
    struct rehearsal rehearsal = {"", ""};
    enum status status = STATUS_OK;
    enum exit_status fault = app_load(app, NULL, 0);
    if (fault != EXIT_FINE)
        return fault;
    struct mapping *mapping =
        mapping_new(arguments_value(&app->arguments, "map"), app->rules, app->diags, &status);
    if (mapping == NULL)
        return app_fail(app, status);
    fault = open_journal(app, &rehearsal);
    if (fault == EXIT_FINE)
        fault = carry(app, path, mapping);
    mapping_free(mapping);
    rehearsal_end(app, &rehearsal);
    return fault;
}

static enum exit_status run(struct app *app)
{
    struct stat about;
    if (app->arguments.operand_count != 1)
        return app_usage(app, "name the folder or the file to import");
    if (stat(app->arguments.operands[0], &about) != 0) { /* before a journal is begun */
        diags_error(app->diags, (struct position){app->arguments.operands[0], 0, 0},
                    "cannot be read: %s", strerror(errno));
        return app_fail(app, STATUS_IO);
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
