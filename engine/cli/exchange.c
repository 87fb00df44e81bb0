/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The journal as a whole: tables in and out, copies and back, checks, an invented season. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "cli/app.h"
#include "journal/exchange.h"

/* ==== the invented season ===================================================================== */

struct season { /* which is written */
    struct app *app;
    bool for_now; /* to be reviewed and forgotten */
};

/* As `jarside look` does: with all that is on record by then, and kept. */
static enum status judge_look(void *context, struct journal *journal, const char *vessel,
                              struct moment at, const char *words)
{
    const struct season *season = context;
    struct triage *triage = season->app->triage;
    struct consultation consultation;
    const struct verdict *verdict;
    struct look look;
    /* What the others did is weighed by a review itself, and takes the most time. */
    const struct consult_request request = {
        .label = vessel, .now = at, .without_siblings = season->for_now};
    struct arena *arena SCOPED_ARENA = arena_new();
    enum status status = consult_vessel(journal, &request, triage, arena, &consultation);
    if (status == STATUS_OK)
        status = triage_tell(triage, words, strlen(words), season->app->diags);
    if (status == STATUS_OK)
        status = consult_save(journal, &consultation, triage, words, arena, &look, &verdict);
    return status;
}

void demo_build_here(struct app *app, bool for_now)
{
    struct season season = {app, for_now};
    const struct import_options options = {.judge = judge_look, .context = &season};
    app_must(app, demo_build(app->journal, corpus_find(app, "demo/journal"), &options));
}

/* ==== import ================================================================================== */

/* The journal; for a rehearsal where there is none, one in memory. */
static void open_journal(struct app *app)
{
    struct stat about;
    if (app->given.dry_run && stat(app_journal_path(app), &about) != 0)
        app_must(app, journal_open(NULL, JOURNAL_CREATE, &app->journal, app->diags));
    else
        app_must(app, app_journal(app, JOURNAL_CREATE));
}

/* ---- tables ---------------------------------------------------------------------------------- */

static enum status tell(struct app *app, const struct import_tally *tally)
{
    size_t added = 0;
    json_t *tables = json_object(), *rows = json_array();
    for (int i = 0; i < RECORD_COUNT; i++) {
        const struct import_tally *one = &tally[i];
        json_t *row = view_json("added:z same:z settled:z refused:z _name:s", one->added, one->same,
                                one->settled, one->refused, record_types[i].name);
        json_array_append(rows, row);
        json_object_set_new(tables, record_types[i].name, row);
        added += one->added + one->settled;
    }
    return app_tell(app, "imported",
                    view_json("schema:i kept:b tables:o _rows:o _whose:s _added:b", 1,
                              !app->given.dry_run, tables, rows,
                              keep_words[app->given.keep > 0 ? app->given.keep : 0], added > 0));
}

static enum status import_ours(struct app *app, const char *path, bool is_folder,
                               const struct progress *progress)
{
    const struct given *given = &app->given;
    enum record record = given->table >= 0 ? (enum record)given->table : import_table_of(path);
    struct import_tally tally[RECORD_COUNT] = {{0}};
    size_t refused = 0;
    if (!is_folder && record == RECORD_COUNT)
        app_stop(app,
                 "the name of '%s' is not that of a table; --table says which it is, and a "
                 "spreadsheet of your own needs --map (--guess proposes one)",
                 path);
    open_journal(app);
    const struct import_options how = {.dry_run = given->dry_run,
                                       .keep = given->keep > 0 ? (enum import_keep)given->keep
                                                               : KEEP_NEITHER,
                                       .prefix = given->prefix,
                                       .now = moment_now(),
                                       .progress = progress};
    enum status status =
        import_tables(app->journal, path, is_folder ? RECORD_COUNT : record, &how, tally);
    progress_bar_clear(progress->context);
    if (status == STATUS_OK)
        return tell(app, tally);
    for (int i = 0; i < RECORD_COUNT; i++) /* that nothing was kept the errors would not say */
        refused += tally[i].refused;
    if (refused > 0)
        screen_say(&app->err, 0, 0, ROLE_PLAIN, "%zu row%s refused, so nothing was imported.",
                   refused, refused == 1 ? "" : "s");
    else
        screen_say(&app->err, 0, 0, ROLE_PLAIN, "Nothing was imported.");
    screen_flush(&app->err, stderr);
    return status;
}

/* ---- a spreadsheet of their own -------------------------------------------------------------- */

/* What came of it, with an end to it. */
static enum status tell_mapped(struct app *app, const char *path, json_t *told)
{
    const bool dry_run = app->given.dry_run;
    const json_t *added = json_object_get(told, "added"), *count;
    const json_int_t taken = json_integer_value(json_object_get(told, "taken"));
    const json_int_t refused = json_integer_value(json_object_get(told, "refused"));
    const json_int_t vessels = json_integer_value(json_object_get(added, "vessel"));
    const bool spoilt = refused > 0 && !app->given.partly;
    const bool mixed = !dry_run && !spoilt && vessels > 0 &&
                       (json_int_t)journal_count(app->journal, RECORD_VESSEL, NULL, 0) > vessels;
    json_t *counts = json_array();
    const char *name;
    if (app->given.quiet && refused > 0) { /* the sums are not shown, this is */
        screen_say(&app->err, 0, 0, ROLE_PLAIN,
                   "Rows: %" JSON_INTEGER_FORMAT " taken, %" JSON_INTEGER_FORMAT " refused%s.",
                   taken, refused, spoilt ? ", so nothing was kept" : "");
        screen_flush(&app->err, stderr);
    }
    json_object_foreach ((json_t *)added, name, count) {
        view_json_row(counts, "name:s added:l", name, json_integer_value(count));
    }
    view_json_add(told, "schema:i kept:b _counts:o _dry:b _spoilt:b _mixed:b _file:t", 1,
                  !dry_run && !spoilt, counts, dry_run, spoilt, mixed, path);
    return app_tell(app, "imported.sheet", told);
}

static enum status import_mapped(struct app *app, const char *path, const struct progress *progress)
{
    enum status status = STATUS_OK;
    struct mapping *mapping = mapping_new(app->given.map, app->rules, app->diags, &status);
    json_t *told;
    app_must(app, status);
    open_journal(app);
    const struct mapping_options how = {.dry_run = app->given.dry_run,
                                        .partly = app->given.partly,
                                        .every_row = app->given.json || app->given.dry_run,
                                        .prefix = app->given.prefix,
                                        .now = moment_now(),
                                        .progress = progress};
    status = mapping_import(app->journal, mapping, app->reader, path, &how, &told);
    mapping_free(mapping);
    progress_bar_clear(progress->context);
    if (told != NULL) /* rows that were refused are told one by one */
        app_must(app, tell_mapped(app, path, told));
    return status;
}

static enum status run_import(struct app *app)
{
    const char *path = app->operands[0];
    struct stat about;
    struct progress_bar bar;
    if (stat(path, &about) != 0) /* before a journal is begun */
        app_fail(app, path, "cannot be read: %s", strerror(errno));
    progress_bar_init(&bar, stderr);
    const struct progress progress = progress_bar_listener(&bar);
    if (!app->given.guess && app->given.map == NULL)
        return import_ours(app, path, S_ISDIR(about.st_mode), &progress);
    app_must(app, app_load(app, NULL, 0));
    app_compile(app);
    if (!app->given.guess)
        return import_mapped(app, path, &progress);
    app_must(app, mapping_guess(path, app->reader, app->triage, &app->out.out, app->diags));
    return app_flush(app);
}

/* ==== export ================================================================================== */

static enum status run_export(struct app *app)
{
    const enum record table = (enum record)app->given.table;
    const bool force = app->given.force;
    size_t counts[RECORD_COUNT] = {0}, rows;
    const char *path = app->operand_count > 0 ? app->operands[0] : NULL;
    app_must(app, app_journal(app, JOURNAL_READ));
    if (app->given.table >= 0)
        return path == NULL || strcmp(path, "-") == 0
                   ? export_table(app->journal, table, stdout, "standard output", &rows)
                   : export_file(app->journal, table, path, force);
    if (path == NULL)
        path = arena_format(app->arena, "jarside-%s", moment_write_day(moment_now(), MOMENT_WORDS));
    app_must(app, export_folder(app->journal, path, force, counts));
    json_t *tables = json_object();
    json_t *written =
        view_json_rows(i, RECORD_COUNT, "name:s rows:z", record_types[i].name, counts[i]);
    for (int i = 0; i < RECORD_COUNT; i++)
        json_object_set_new(tables, record_types[i].name, json_integer((json_int_t)counts[i]));
    return app_tell(app, "exported",
                    view_json("schema:i folder:s rows:o _tables:o", 1, path, tables, written));
}

/* ==== backup, restore ========================================================================= */

static enum status run_backup(struct app *app)
{
    const char *path = app->operands[0];
    app_must(app, app_journal(app, JOURNAL_READ));
    app_must(app, backup_write(app->journal, path, app->given.force));
    app_say(app, "Checked and written: %s. 'jarside restore' brings it back.", path);
    return app_flush(app);
}

static enum status run_restore(struct app *app)
{
    const char *backup = app->operands[0], *path = app_journal_path(app);
    char *kept = NULL;
    app_must(app, backup_restore(backup, path, moment_now(), &kept, app->diags));
    app_say(app, "The journal %s is now the one from %s.", path, backup);
    if (kept != NULL)
        app_say(app, "What was there before is kept as %s.", kept);
    free(kept);
    return app_flush(app);
}

/* ==== journal check =========================================================================== */

static enum status run_check(struct app *app)
{
    enum { USUAL = 50 };
    json_t *found;
    app_must(app, app_journal(app, JOURNAL_EXAMINE));
    app_must(app,
             check_journal(app->journal, app->rules, app->given.all ? SIZE_MAX : USUAL, &found));
    const bool wrong = json_integer_value(json_object_get(found, "errors")) > 0;
    app_must(app, app_tell(app, "checked", found));
    return wrong ? STATUS_CHECK : STATUS_OK;
}

/* ==== journal demo ============================================================================ */

static enum status run_demo(struct app *app)
{
    const char *path = app->operands[0];
    struct stat found;
    if (stat(path, &found) == 0)
        return app_error(app, STATUS_DATA, NULL,
                         "'%s' is there already and stays as it is; give the name of a new file",
                         path);
    app_must(app, journal_open(path, JOURNAL_CREATE, &app->journal, app->diags));
    demo_build_here(app, false);
    app_say(app, "An invented season of %zu batches, %zu vessels and %zu looks is in %s.",
            journal_count(app->journal, RECORD_BATCH, NULL, 0),
            journal_count(app->journal, RECORD_VESSEL, NULL, 0),
            journal_count(app->journal, RECORD_LOOK, NULL, 0), path);
    app_say(app, "Try: jarside review --journal %s", path);
    return app_flush(app);
}

const struct command exchange_commands[] = {
    {"export", run_export, .wrong = "one folder or file at a time", .json = true},
    {"import", run_import, .wrong = "name the folder or the file to import", .json = true},
    {"backup", run_backup, .wrong = "name the file to write the backup to"},
    {"restore", run_restore, .wrong = "name the backup to restore"},
    {"journal check", run_check, NEEDS_RULES, .json = true},
    {"journal demo", run_demo, NEEDS_RULES,
     .wrong = "give the name of a new file; for instance: jarside journal demo season.db",
     .judges = true},
    {0},
};
