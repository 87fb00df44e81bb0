/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The journal as a whole: tables in and out, copies and the way back, checks, an invented season. */
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
    struct arena *arena = arena_new();
    enum status status = consult_vessel(journal, &request, triage, arena, &consultation);
    if (status == STATUS_OK)
        status = triage_tell(triage, words, strlen(words), season->app->diags);
    if (status == STATUS_OK)
        status = consult_save(journal, &consultation, triage, words, arena, &look, &verdict);
    arena_free(arena);
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

static enum status import_tables(struct app *app, const char *path, bool is_folder,
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
    enum status status = is_folder ? import_folder(app->journal, path, &how, tally)
                                   : import_file(app->journal, record, path, &how, tally);
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

struct rows { /* what came of them, as it is told */
    struct app *app;
    json_t *list;   /* NULL unless as JSON */
    size_t refused; /* told so far */
};

/* Safe to show, in the arena. */
static const char *shown(struct app *app, const char *words)
{
    static const struct text_safe_options safe = {.limit = 400};
    struct text text;
    text_init(&text);
    text_safe(&text, words, strlen(words), &safe);
    const char *copy = arena_string(app->arena, text.bytes);
    text_release(&text);
    return copy;
}

/* In a rehearsal every row is told, else those that were refused, with an end to it. */
static void tell_row(void *context, const struct mapping_row *row)
{
    enum { MOST_REFUSED = 50 };
    static const char *const verdicts[] = {"taken", "skipped", "refused"};
    struct rows *rows = context;
    struct app *app = rows->app;
    bool refused = row->verdict == MAPPING_REFUSED;
    if (rows->list != NULL)
        view_json_row(rows->list, "line:l column:l verdict:s label:s why:s",
                      (json_int_t)row->at.line, (json_int_t)row->at.column, verdicts[row->verdict],
                      shown(app, row->label), shown(app, row->why));
    else if (refused ? rows->refused++ < MOST_REFUSED : app->given.dry_run)
        screen_say(&app->out, 0, 4, refused ? ROLE_WARN : ROLE_PLAIN, "%.200s:%zu:%zu: %s:%s%s%s%s",
                   row->at.file, row->at.line, row->at.column, verdicts[row->verdict],
                   row->label[0] != '\0' ? " " : "", row->label, row->why[0] != '\0' ? " " : "",
                   row->why);
}

static enum status tell_mapped(struct app *app, const struct rows *rows,
                               const struct mapping_tally *tally)
{
    bool dry_run = app->given.dry_run, spoilt = tally->refused > 0 && !app->given.partly;
    bool mixed = !dry_run && !spoilt && tally->added[RECORD_VESSEL] > 0 &&
                 journal_count(app->journal, RECORD_VESSEL, NULL, 0) > tally->added[RECORD_VESSEL];
    json_t *added = json_object(), *counts = json_array(), *remarks = json_array();
    for (size_t i = 0; i < tally->remark_count; i++)
        view_json_row(remarks, "words:s rows:z", shown(app, tally->remarks[i].words),
                      tally->remarks[i].rows);
    if (app->given.quiet && tally->refused > 0) { /* the sums are not shown, this is */
        screen_say(&app->err, 0, 0, ROLE_PLAIN, "Rows: %zu taken, %zu refused%s.", tally->taken,
                   tally->refused, spoilt ? ", so nothing was kept" : "");
        screen_flush(&app->err, stderr);
    }
    for (int i = 0; i < RECORD_COUNT; i++) {
        json_object_set_new(added, record_types[i].name, json_integer((json_int_t)tally->added[i]));
        view_json_row(counts, "name:s added:z", record_types[i].name, tally->added[i]);
    }
    return app_tell(
        app, "imported.sheet",
        view_json("schema:i kept:b taken:z skipped:z refused:z added:o read_as:o rows:o "
                  "_counts:o _dry:b _spoilt:b _mixed:b",
                  1, !dry_run && !spoilt, tally->taken, tally->skipped, tally->refused, added,
                  remarks, rows->list != NULL ? rows->list : json_array(), counts, dry_run, spoilt,
                  mixed));
}

static enum status import_mapped(struct app *app, const char *path, const struct progress *progress)
{
    struct mapping_tally tally;
    struct rows rows = {.app = app, .list = app->given.json ? json_array() : NULL};
    enum status status = STATUS_OK;
    struct mapping *mapping = mapping_new(app->given.map, app->rules, app->diags, &status);
    app_must(app, status);
    open_journal(app);
    const struct mapping_options how = {.dry_run = app->given.dry_run,
                                        .partly = app->given.partly,
                                        .prefix = app->given.prefix,
                                        .now = moment_now(),
                                        .progress = progress,
                                        .context = &rows,
                                        .row = tell_row};
    status = mapping_import(app->journal, mapping, app->reader, path, &how, &tally);
    progress_bar_clear(progress->context);
    /* Rows that were refused are told one by one; anything else is a failure of the whole. */
    if (status != STATUS_OK && (diags_errors(app->diags) > 0 || tally.refused == 0)) {
        json_decref(rows.list);
        mapping_free(mapping);
        return status;
    }
    app_must(app, tell_mapped(app, &rows, &tally));
    mapping_free(mapping);
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
        return import_tables(app, path, S_ISDIR(about.st_mode), &progress);
    app_must(app, app_load(app, NULL, 0));
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
    char date[MOMENT_ROOM];
    const char *path = app->operand_count > 0 ? app->operands[0] : NULL;
    app_must(app, app_journal(app, JOURNAL_READ));
    if (app->given.table >= 0)
        return path == NULL || strcmp(path, "-") == 0
                   ? export_table(app->journal, table, stdout, "standard output", &rows)
                   : export_file(app->journal, table, path, force);
    if (path == NULL)
        path = arena_format(app->arena, "jarside-%s", moment_write_day(moment_now(), date));
    app_must(app, export_folder(app->journal, path, force, counts));
    json_t *tables = json_object(), *written = json_array();
    for (int i = 0; i < RECORD_COUNT; i++) {
        json_object_set_new(tables, record_types[i].name, json_integer((json_int_t)counts[i]));
        view_json_row(written, "name:s rows:z", record_types[i].name, counts[i]);
    }
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
     .wrong = "give the name of a new file; for instance: jarside journal demo season.db"},
    {0},
};
