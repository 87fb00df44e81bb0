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

struct given {         /* options of any of these commands */
    enum record table; /* RECORD_COUNT: not said */
    const char *map, *prefix;
    int keep; /* an enum import_keep */
    bool guess, partly, dry_run, force, all, json;
};
#define AT(member) .target = offsetof(struct given, member)

/* ---- the invented season --------------------------------------------------------------------- */

struct season { /* which is written */
    struct app *app;
    bool for_now; /* to be reviewed and forgotten */
};

/* As `jarside look` does: with all that is on record by then, and kept. */
static enum status judge_look(void *context, struct journal *journal, const char *vessel,
                              struct moment at, const char *words, struct diags *diags)
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
    enum status status = consult_vessel(journal, &request, triage, arena, &consultation, diags);
    if (status == STATUS_OK)
        status = triage_tell(triage, words, strlen(words), diags);
    if (status == STATUS_OK)
        status = consult_save(journal, &consultation, triage, words, arena, &look, &verdict, diags);
    arena_free(arena);
    return status;
}

static void build(struct app *app, bool for_now)
{
    struct season season = {app, for_now};
    const struct demo_judge judge = {judge_look, &season};
    app_must(app, demo_build(app->journal, corpus_find(app, "demo/journal"), &judge, app->diags));
}

void demo_for_now(struct app *app)
{
    app_must(app, journal_open(NULL, JOURNAL_CREATE, &app->journal, app->diags));
    build(app, true);
}

/* ==== import ================================================================================== */

static const char *const keep_words[] = {"neither", "journal", "file", NULL};

static const struct option options[] = {
    {"table", "NAME", "FILE is this table; only needed when its name does not say so", OPTION_TABLE,
     AT(table)},
    {"map", "MAP",
     "FILE is a spreadsheet of your own: what its columns are, as a file or as "
     "'batch=Batch name,number=Jar,...'",
     OPTION_TEXT, AT(map)},
    {"guess", NULL, "print a map for FILE as its headings and words suggest it, for you to correct",
     OPTION_FLAG, AT(guess)},
    {"partly", NULL, "with --map: keep the good rows even when others are refused", OPTION_FLAG,
     AT(partly)},
    {"prefix", "LETTER",
     "put LETTER- before the labels of another's old tables: B1 becomes K-B1; places keep theirs",
     OPTION_TEXT, AT(prefix)},
    {"keep", "WHICH", "where two records of one label differ: the journal's, or the file's",
     OPTION_CHOICE, AT(keep), .words = keep_words},
    {"dry-run", NULL, "do everything, show the result, and keep nothing", OPTION_FLAG, AT(dry_run)},
    {"json", NULL, "print the result as JSON", OPTION_FLAG, AT(json)},
    {0},
};

/* The journal; for a rehearsal where there is none, one in memory. */
static void open_journal(struct app *app, const struct given *given)
{
    struct stat about;
    if (given->dry_run && stat(app_journal_path(app), &about) != 0)
        app_must(app, journal_open(NULL, JOURNAL_CREATE, &app->journal, app->diags));
    else
        app_must(app, app_journal(app, JOURNAL_CREATE));
}

/* ---- tables ---------------------------------------------------------------------------------- */

#define COUNT(member) FIELD(#member, COUNT, struct import_tally, member)
static const struct field tally_fields[] = {COUNT(added), COUNT(same), COUNT(settled),
                                            COUNT(refused), FIELDS_END};
#undef COUNT

static enum status tell(struct app *app, const struct given *given,
                        const struct import_tally *tally)
{
    bool dry_run = given->dry_run, json = given->json;
    size_t added = 0;
    json_t *tables = json_object();
    for (int i = 0; i < RECORD_COUNT; i++) {
        const struct import_tally *one = &tally[i];
        const char *rest = arena_format(app->arena, "%zu added", one->added);
        json_object_set_new(tables, record_types[i].name,
                            view_fields_json(json_object(), tally_fields, one));
        added += one->added + one->settled;
        if (one->same > 0)
            rest = arena_format(app->arena, "%s, %zu there already", rest, one->same);
        if (one->settled > 0)
            rest = arena_format(app->arena, "%s, %zu settled (the %s's)", rest, one->settled,
                                keep_words[given->keep]);
        if (one->refused > 0)
            rest = arena_format(app->arena, "%s, %zu refused", rest, one->refused);
        if (!json && one->added + one->same + one->settled + one->refused > 0)
            screen_row(&app->out, 0, 12, record_types[i].name, rest);
    }
    if (json)
        return app_json(
            app, json_pack("{s:i, s:b, s:o}", "schema", 1, "kept", !dry_run, "tables", tables));
    json_decref(tables);
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "%s",
               added == 0 ? "Nothing new in it."
               : dry_run  ? "Nothing was kept: this was a rehearsal."
                          : "All of it is kept.");
    return app_flush(app);
}

static enum status import_tables(struct app *app, const struct given *given, const char *path,
                                 bool is_folder)
{
    enum record record = given->table != RECORD_COUNT ? given->table : import_table_of(path);
    struct import_tally tally[RECORD_COUNT] = {{0}};
    struct progress_bar bar;
    size_t refused = 0;
    if (!is_folder && record == RECORD_COUNT)
        app_stop(app,
                 "the name of '%s' is not that of a table; --table says which it is, and a "
                 "spreadsheet of your own needs --map (--guess proposes one)",
                 path);
    open_journal(app, given);
    progress_bar_init(&bar, stderr);
    const struct progress progress = progress_bar_listener(&bar);
    const struct import_options how = {.dry_run = given->dry_run,
                                       .keep = (enum import_keep)given->keep,
                                       .prefix = given->prefix,
                                       .now = moment_now(),
                                       .progress = &progress};
    enum status status = is_folder
                             ? import_folder(app->journal, path, &how, tally, app->diags)
                             : import_file(app->journal, record, path, &how, tally, app->diags);
    progress_bar_clear(&bar);
    if (status == STATUS_OK)
        return tell(app, given, tally);
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
    const struct given *given;
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
    if (refused ? rows->refused++ >= MOST_REFUSED : !rows->given->dry_run)
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
    bool dry_run = rows->given->dry_run, spoilt = tally->refused > 0 && !rows->given->partly;
    json_t *added = json_object();
    for (int i = 0; i < RECORD_COUNT; i++) {
        json_object_set_new(added, record_types[i].name, json_integer((json_int_t)tally->added[i]));
        if (rows->list == NULL && tally->added[i] > 0)
            screen_row_text(&app->out, 0, 12, record_types[i].name, "%zu added", tally->added[i]);
    }
    if (rows->list != NULL)
        return app_json(app,
                        json_pack("{s:i, s:b, s:I, s:I, s:I, s:o, s:O}", "schema", 1, "kept",
                                  !dry_run && !spoilt, "taken", (json_int_t)tally->taken, "skipped",
                                  (json_int_t)tally->skipped, "refused", (json_int_t)tally->refused,
                                  "added", added, "rows", rows->list));
    json_decref(added);
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "Rows: %zu taken, %zu skipped, %zu refused. %s",
               tally->taken, tally->skipped, tally->refused,
               dry_run  ? "Nothing was kept: this was a rehearsal."
               : spoilt ? "Nothing was kept: correct the refused rows or the map, or add --partly."
               : tally->taken == 0 ? "Nothing new in it."
                                   : "What was taken is kept.");
    return app_flush(app);
}

static enum status import_mapped(struct app *app, const struct given *given, const char *path,
                                 struct mapping *mapping)
{
    struct progress_bar bar;
    struct mapping_tally tally;
    struct rows rows = {.app = app, .given = given, .list = given->json ? json_array() : NULL};
    progress_bar_init(&bar, stderr);
    const struct progress progress = progress_bar_listener(&bar);
    const struct mapping_options how = {.dry_run = given->dry_run,
                                        .partly = given->partly,
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

static enum status run_import(struct app *app)
{
    struct given given = {.table = RECORD_COUNT};
    struct stat about;
    enum status status = STATUS_OK;
    options_fill(app, &given);
    if (app->arguments.operand_count != 1)
        app_stop(app, "name the folder or the file to import");
    const char *path = app->arguments.operands[0];
    if (stat(path, &about) != 0) /* before a journal is begun */
        return app_error(app, STATUS_IO, path, "cannot be read: %s", strerror(errno));
    if (!given.guess && given.map == NULL)
        return import_tables(app, &given, path, S_ISDIR(about.st_mode));
    app_must(app, app_load(app, NULL, 0));
    if (given.guess) {
        app_must(app, mapping_guess(path, app->reader, app->triage, &app->out.out, app->diags));
        return app_flush(app);
    }
    struct mapping *mapping = mapping_new(given.map, app->rules, app->diags, &status);
    app_must(app, status);
    open_journal(app, &given);
    status = import_mapped(app, &given, path, mapping);
    mapping_free(mapping);
    return status;
}

/* ==== export ================================================================================== */

static const struct option export_options[] = {
    {"table", "NAME", "only this one, to standard output, or to the file named instead of DIR",
     OPTION_TABLE, AT(table)},
    {"force", NULL, "replace files that exist", OPTION_FLAG, AT(force)},
    {"json", NULL, "say what was written as JSON", OPTION_FLAG, AT(json)},
    {0},
};

static enum status run_export(struct app *app)
{
    size_t counts[RECORD_COUNT] = {0}, rows;
    char date[MOMENT_ROOM];
    const char *path = app->arguments.operand_count > 0 ? app->arguments.operands[0] : NULL;
    struct given given = {.table = RECORD_COUNT};
    if (app->arguments.operand_count > 1)
        app_stop(app, "one folder or file at a time");
    options_fill(app, &given);
    if (given.table != RECORD_COUNT) {
        app_must(app, app_journal(app, JOURNAL_READ));
        return path == NULL || strcmp(path, "-") == 0
                   ? export_table(app->journal, given.table, stdout, "standard output", &rows,
                                  app->diags)
                   : export_file(app->journal, given.table, path, given.force, app->diags);
    }
    if (path == NULL)
        path = arena_format(app->arena, "jarside-%s", moment_write_day(moment_now(), date));
    app_must(app, app_journal(app, JOURNAL_READ));
    app_must(app, export_folder(app->journal, path, given.force, counts, app->diags));
    json_t *tables = json_object();
    for (int i = 0; i < RECORD_COUNT; i++) {
        json_object_set_new(tables, record_types[i].name, json_integer((json_int_t)counts[i]));
        if (!given.json)
            screen_row_text(&app->out, 0, 12, record_types[i].name, "%zu row%s", counts[i],
                            counts[i] == 1 ? "" : "s");
    }
    if (given.json)
        return app_json(app,
                        json_pack("{s:i, s:s, s:o}", "schema", 1, "folder", path, "rows", tables));
    json_decref(tables);
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "Written to %s.", path);
    return app_flush(app);
}

/* ==== backup, restore ========================================================================= */

static const struct option backup_options[] = {
    {"force", NULL, "replace a file that exists", OPTION_FLAG, AT(force)},
    {0},
};

static enum status run_backup(struct app *app)
{
    if (app->arguments.operand_count != 1)
        app_stop(app, "name the file to write the backup to");
    struct given given = {.force = false};
    options_fill(app, &given);
    const char *path = app->arguments.operands[0];
    app_must(app, app_journal(app, JOURNAL_READ));
    app_must(app, backup_write(app->journal, path, given.force, app->diags));
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               "Checked and written: %s. 'jarside restore' brings it back.", path);
    return app_flush(app);
}

static enum status run_restore(struct app *app)
{
    char *kept = NULL;
    if (app->arguments.operand_count != 1)
        app_stop(app, "name the backup to restore");
    const char *backup = app->arguments.operands[0], *path = app_journal_path(app);
    app_must(app, backup_restore(backup, path, moment_now(), &kept, app->diags));
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "The journal %s is now the one from %s.", path, backup);
    if (kept != NULL)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "What was there before is kept as %s.", kept);
    free(kept);
    return app_flush(app);
}

/* ==== journal check =========================================================================== */

static const struct option journal_check_options[] = {
    {"all", NULL, "list every entry, not only the first fifty", OPTION_FLAG, AT(all)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
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

static enum status run_check(struct app *app)
{
    struct screen *screen = &app->out;
    struct given given = {.all = false};
    struct check_tally tally;
    options_fill(app, &given);
    struct listing listing = {.app = app, .most = given.all ? SIZE_MAX : 50};
    const struct check_sink sink = {&listing, list_fault};
    app_must(app, app_load(app, NULL, 0));
    app_must(app, app_journal(app, JOURNAL_EXAMINE));
    listing.faults = given.json ? json_array() : NULL;
    app_must(app, check_journal(app->journal, app->rules, moment_now(), &sink, &tally, app->diags));
    if (listing.faults != NULL) {
        app_must(app,
                 app_json(app, json_pack("{s:i, s:s, s:I, s:I, s:I, s:o}", "schema", 1, "journal",
                                         journal_path(app->journal), "records",
                                         (json_int_t)tally.records, "errors",
                                         (json_int_t)tally.errors, "warnings",
                                         (json_int_t)tally.warnings, "faults", listing.faults)));
        return tally.errors > 0 ? STATUS_CHECK : STATUS_OK;
    }
    if (listing.listed > listing.most)
        screen_say(screen, 0, 0, ROLE_PLAIN, "and %zu more; --all lists them",
                   listing.listed - listing.most);
    const char *records = arena_format(app->arena, "%zu record%s checked", tally.records,
                                       tally.records == 1 ? "" : "s");
    if (listing.damaged)
        screen_say(screen, 0, 0, ROLE_PLAIN,
                   "It was left as it is. 'jarside restore FILE' brings back a backup and keeps "
                   "this file beside it.");
    else if (tally.errors > 0)
        screen_say(screen, 0, 0, ROLE_PLAIN,
                   "%s, %zu error%s. Nothing was changed. 'jarside correct' corrects a record, "
                   "'jarside restore FILE' brings back a backup.",
                   records, tally.errors, tally.errors == 1 ? "" : "s");
    else
        screen_say(screen, 0, 0, ROLE_PLAIN, "%s, no error.", records);
    app_must(app, app_flush(app));
    return tally.errors > 0 ? STATUS_CHECK : STATUS_OK;
}

/* ==== journal demo ============================================================================ */

static enum status run_demo(struct app *app)
{
    struct stat found;
    if (app->arguments.operand_count != 1)
        app_stop(app, "give the name of a new file; for instance: jarside journal demo season.db");
    const char *path = app->arguments.operands[0];
    app_must(app, app_load(app, NULL, 0));
    if (stat(path, &found) == 0)
        return app_error(app, STATUS_DATA, NULL,
                         "'%s' is there already and stays as it is; give the name of a new file",
                         path);
    app_must(app, journal_open(path, JOURNAL_CREATE, &app->journal, app->diags));
    build(app, false);
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               "An invented season of %zu batches, %zu vessels and %zu looks is in %s.",
               journal_count(app->journal, RECORD_BATCH, NULL, 0),
               journal_count(app->journal, RECORD_VESSEL, NULL, 0),
               journal_count(app->journal, RECORD_LOOK, NULL, 0), path);
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "Try: jarside review --journal %s", path);
    return app_flush(app);
}

const struct command exchange_commands[] = {
    {"export", "writes the journal as CSV tables that any spreadsheet opens", "[DIR]",
     "One file per table, in a folder named after today unless you name one. 'jarside import DIR' "
     "reads them back exactly. A text that a spreadsheet would take for a formula gets an "
     "apostrophe in front, which the import removes.",
     export_options, run_export},
    {"import", "reads CSV tables into the journal, all of them or nothing", "DIR-OR-FILE",
     "A folder or a table that 'jarside export' wrote, or with --map a spreadsheet of your own, "
     "one row per vessel. What is already there is skipped; a record with the same label but "
     "different "
     "values is a conflict, and is shown with its line.",
     options, run_import},
    {"backup", "copies the whole journal into one file, checked", "FILE",
     "Can be done while the journal is in use. The copy is the journal at one moment, and takes "
     "its name only once it has been checked.",
     backup_options, run_backup},
    {"restore", "replaces the journal with a backup; the old journal is kept beside it", "FILE",
     "A file that is damaged, from a newer Jarside or not a journal is refused and nothing is "
     "touched. The present journal stays beside the restored one under a dated name.",
     NULL, run_restore},
    {"journal check", "checks the journal for damage and for impossible entries", "",
     "The file itself, references, dates, corrections, what is derived, words that the rules do "
     "not know. Changes nothing. Exit status 1 when there is an error.",
     journal_check_options, run_check},
    {"journal demo", "writes an invented season into a new journal, for trying things out", "FILE",
     "Nothing in it is real: growers, shelves and losses are made up, some causes of loss are "
     "planted, and corpus/demo/journal says which.",
     NULL, run_demo},
    {0},
};
