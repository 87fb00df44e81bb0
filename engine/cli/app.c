/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/app.h"

#include <ctype.h>
#include <errno.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <threads.h>

#include "base/filing.h"
#include "base/memory.h"
#include "base/text.h"
#include "journal/calendar.h"
#include "rules/rules.h"

/* ==== app ===================================================================================== */

static const struct position nowhere = {0};

enum exit_status app_fail(struct app *app, enum status status)
{
    if (diags_errors(app->diags) == 0 && status == STATUS_MEMORY)
        diags_error(app->diags, nowhere, "out of memory");
    if (diags_errors(app->diags) == 0 && status == STATUS_IO)
        diags_error(app->diags, nowhere, "cannot write the output");
    if (diags_errors(app->diags) == 0 && status == STATUS_INTERNAL)
        diags_error(app->diags, nowhere, "a fault of the program; please report what you did");
    screen_diags(&app->err, app->diags);
    if (screen_flush(&app->err, stderr) == STATUS_MEMORY)
        fputs("error: out of memory\n", stderr); /* even for saying what else is wrong */
    diags_clear(app->diags);
    return status_exit(status);
}

enum exit_status app_usage(struct app *app, const char *format, ...)
{
    char message[512];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(message, sizeof message, format, arguments);
    va_end(arguments);
    diags_error(app->diags, nowhere, "%s", message);
    return app_fail(app, STATUS_USAGE);
}

/* What was put together is not whole when somebody noted a fault and went on: then nothing of it is
 * shown. */
static enum status wholeness(const struct app *app)
{
    return diags_errors(app->diags) > 0 ? STATUS_IO : STATUS_OK;
}

enum exit_status app_write(struct app *app, const char *path, const struct text *text, bool replace)
{
    enum status status;
    if (strcmp(path, "-") != 0)
        status = filing_put(path, text, replace, app->diags);
    else if (text->failed)
        status = STATUS_MEMORY;
    else if ((status = filing_send(stdout, text->bytes, text->length)) != STATUS_OK)
        status = filing_refused("standard output", "written", errno, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

enum exit_status app_refused(struct app *app, int error)
{
    if (error == EPIPE)
        return app_fail(app, STATUS_CLOSED);
    diags_error(app->diags, nowhere, "cannot write the output: %s", strerror(error));
    return app_fail(app, STATUS_IO);
}

enum exit_status app_flush(struct app *app)
{
    enum status whole = wholeness(app);
    if (whole != STATUS_OK) {
        text_clear(&app->out.out);
        return app_fail(app, whole);
    }
    enum status status = screen_flush(&app->out, stdout);
    if (status == STATUS_IO)
        return app_refused(app, errno);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

enum exit_status app_json(struct app *app, json_t *json, bool compact)
{
    size_t length = 0;
    char *text = json_text(json, JSON_REAL_PRECISION(9) | (compact ? JSON_COMPACT : JSON_INDENT(2)),
                           &length);
    json_decref(json);
    if (text == NULL)
        return app_fail(app, STATUS_MEMORY);
    text_add(&app->out.out, text, length);
    text_add(&app->out.out, "\n", 1);
    free(text);
    return app_flush(app);
}

/* ---- loading --------------------------------------------------------------------------------- */

struct folders { /* malloc'd paths and borrowed ones, in the order they are read */
    const char **paths;
    size_t count;
    char *shipped, *overlay;
    bool no_memory; /* one may be missing */
};

static size_t rules_options(const struct app *app)
{
    size_t count = 0;
    while (arguments_nth(&app->arguments, "rules", count) != NULL)
        count++;
    return count;
}

static bool folders_collect(struct folders *folders, const struct app *app, const char *const *more,
                            size_t more_count)
{
    memset(folders, 0, sizeof *folders);
    size_t options = rules_options(app);
    folders->paths = calloc(options + more_count + 2, sizeof *folders->paths);
    if (folders->paths == NULL)
        return false;
    folders->shipped = rules_find_shipped(&folders->no_memory);
    folders->overlay = rules_find_overlay(&folders->no_memory);
    if (folders->shipped != NULL)
        folders->paths[folders->count++] = folders->shipped;
    if (folders->overlay != NULL)
        folders->paths[folders->count++] = folders->overlay;
    for (size_t i = 0; i < options; i++)
        folders->paths[folders->count++] = arguments_nth(&app->arguments, "rules", i);
    for (size_t i = 0; i < more_count; i++)
        folders->paths[folders->count++] = more[i];
    return true;
}

static void folders_release(struct folders *folders)
{
    free(folders->paths);
    free(folders->shipped);
    free(folders->overlay);
}

static enum status load_rules(struct app *app, const struct folders *folders)
{
    if (folders->count == 0) {
        diags_error(app->diags, nowhere,
                    "no rules found; set JARSIDE_RULES or give --rules the folder that holds them");
        return STATUS_IO;
    }
    enum status status = STATUS_OK;
    app->rules = rules_load(folders->paths, folders->count, app->diags, &status);
    return app->rules != NULL ? STATUS_OK : status;
}

struct tables { /* compiled beside the phrases: both only read the rules */
    const struct rules *rules;
    struct reasoner *reasoner;
};

static int compile_tables(void *context)
{
    struct tables *tables = context;
    tables->reasoner = reasoner_new(tables->rules);
    return 0;
}

static void compile(struct app *app)
{
    struct tables tables = {.rules = app->rules};
    thrd_t beside;
    bool apart = thrd_create(&beside, compile_tables, &tables) == thrd_success;
    app->reader = reader_new(app->rules, app->diags);
    if (apart)
        thrd_join(beside, NULL);
    else
        compile_tables(&tables);
    app->reasoner = tables.reasoner;
}

enum exit_status app_load(struct app *app, const char *const *more, size_t more_count)
{
    struct folders folders;
    if (!folders_collect(&folders, app, more, more_count))
        return app_fail(app, STATUS_MEMORY);
    enum status status = folders.no_memory ? STATUS_MEMORY : load_rules(app, &folders);
    folders_release(&folders);
    if (status != STATUS_OK)
        return app_fail(app, status);
    compile(app);
    if (app->reader == NULL)
        return app_fail(app, diags_errors(app->diags) > 0 ? STATUS_DATA : STATUS_MEMORY);
    app->triage = app->reasoner != NULL ? triage_new(app->rules, app->reader, app->reasoner) : NULL;
    if (app->triage == NULL)
        return app_fail(app, STATUS_MEMORY);
    return EXIT_FINE;
}

/* ==== app journal ============================================================================= */

/* A clock a little behind that of another machine makes no moment of today a fault. */
enum { CLOCK_SLACK = 24 * 60 * 60 };

static enum exit_status none_yet(struct app *app, const char *path)
{
    diags_error(
        app->diags, (struct position){0},
        "there is no journal at %s yet; 'jarside batch' starts one, --journal names another", path);
    return app_fail(app, STATUS_IO);
}

static enum exit_status open_at(struct app *app, const char *path, enum journal_access access)
{
    struct stat found;
    if (access != JOURNAL_CREATE && stat(path, &found) != 0 &&
        (errno == ENOENT || errno == ENOTDIR))
        return none_yet(app, path);
    enum status status = journal_open(path, access, &app->journal, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

enum exit_status app_journal_path(struct app *app, char **path)
{
    const char *named = arguments_value(&app->arguments, "journal");
    if (named != NULL && named[0] == '\0')
        return app_usage(app, "--journal needs the name of a file");
    enum status status = named == NULL ? journal_default_path(path) : STATUS_OK;
    if (named != NULL && (*path = strdup(named)) == NULL)
        status = STATUS_MEMORY;
    if (status == STATUS_USAGE)
        return app_usage(app, "no home folder to keep the journal in; --journal FILE names one");
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

enum exit_status app_journal(struct app *app, enum journal_access access)
{
    char *path = NULL;
    if (app->journal != NULL)
        return EXIT_FINE;
    enum exit_status fault = app_journal_path(app, &path);
    if (path == NULL)
        return fault;
    fault = open_at(app, path, access);
    free(path);
    return fault;
}

enum exit_status app_open(struct app *app, enum journal_access access)
{
    enum exit_status fault = app->rules == NULL ? app_load(app, NULL, 0) : EXIT_FINE;
    if (fault == EXIT_FINE)
        fault = app_journal(app, access);
    if (fault == EXIT_FINE && app->arena == NULL && (app->arena = arena_new()) == NULL)
        fault = app_fail(app, STATUS_MEMORY);
    return fault;
}

struct journal_told app_told(const struct app *app)
{
    return (struct journal_told){app->journal, app->rules, app->arena, app->diags, moment_now()};
}

enum exit_status app_limit(struct app *app, size_t *limit)
{
    const char *word = arguments_value(&app->arguments, "limit");
    char *end = NULL;
    if (word == NULL)
        return EXIT_FINE;
    errno = 0;
    long number = strtol(word, &end, 10);
    if (end == word || *end != '\0' || errno != 0 || number < 0)
        return app_usage(app, "'--limit %s' is no number from 0 on", word);
    *limit = (size_t)number;
    return EXIT_FINE;
}

enum exit_status app_moment(struct app *app, const char *name, struct moment *moment)
{
    const char *said = arguments_value(&app->arguments, name);
    struct moment now = moment_now();
    *moment = now;
    if (said == NULL)
        return EXIT_FINE;
    if (!moment_read(said, now, moment))
        return app_usage(app,
                         "'--%s %s' is no moment; write 2026-03-01 18:30, 2026-03-01, 18:30, "
                         "yesterday or '3 days ago'",
                         name, said);
    if (moment->seconds > now.seconds + CLOCK_SLACK)
        return app_usage(app, "'--%s %s' lies in the future", name, said);
    return EXIT_FINE;
}

static enum exit_status unknown_table(struct app *app, const char *name)
{
    const char *names[RECORD_COUNT];
    for (int i = 0; i < RECORD_COUNT; i++)
        names[i] = record_types[i].name;
    const char *near = diag_nearest(name, names, RECORD_COUNT);
    if (near != NULL)
        return app_usage(app, "no table '%s'; did you mean '%s'?", name, near);
    struct text all;
    text_init(&all);
    for (int i = 0; i < RECORD_COUNT; i++)
        text_printf(&all, "%s%s", i > 0 ? " " : "", names[i]);
    enum exit_status fault = app_usage(app, "no table '%s'; there are: %s", name, all.bytes);
    text_release(&all);
    return fault;
}

enum exit_status app_table(struct app *app, enum record *record)
{
    const char *name = arguments_value(&app->arguments, "table");
    for (int i = 0; i < RECORD_COUNT; i++)
        if (strcmp(record_types[i].name, name) == 0) {
            *record = (enum record)i;
            return EXIT_FINE;
        }
    return unknown_table(app, name);
}

/* ==== feed ==================================================================================== */

/* Minutes after midnight; CALENDAR_NO_ALARM when not given. */
static enum exit_status read_remind(struct app *app, int *remind)
{
    const char *said = arguments_value(&app->arguments, "remind");
    *remind = CALENDAR_NO_ALARM;
    if (said == NULL)
        return EXIT_FINE;
    bool clock = strlen(said) == 5 && isdigit((unsigned char)said[0]) &&
                 isdigit((unsigned char)said[1]) && said[2] == ':' &&
                 isdigit((unsigned char)said[3]) && isdigit((unsigned char)said[4]);
    int hours = clock ? (int)strtol(said, NULL, 10) : 24;
    int minutes = clock ? (int)strtol(said + 3, NULL, 10) : 60;
    if (hours > 23 || minutes > 59)
        return app_usage(app, "'--remind %s' is no time of the day; write 09:00", said);
    *remind = hours * 60 + minutes;
    return EXIT_FINE;
}

enum exit_status feed_write(struct app *app, const char *path)
{
    bool replace = arguments_flag(&app->arguments, "force");
    struct calendar_options how = {.now = moment_now(), .until = INT64_MAX};
    struct text calendar;
    size_t events = 0;
    enum exit_status fault = read_remind(app, &how.remind);
    if (fault == EXIT_FINE)
        fault = app_journal(app, JOURNAL_READ);
    if (fault != EXIT_FINE)
        return fault;
    text_init(&calendar);
    enum status status = calendar_text(app->journal, &how, &calendar, &events, app->diags);
    fault = status == STATUS_OK ? app_write(app, path, &calendar, replace) : app_fail(app, status);
    text_release(&calendar);
    if (fault != EXIT_FINE)
        return fault;
    if (strcmp(path, "-") == 0)
        return EXIT_FINE;
    if (events == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Nothing is due: %s is an empty calendar.", path);
    else
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "%zu day%s of looks written to %s.", events,
                   events == 1 ? "" : "s", path);
    return app_flush(app);
}

/* ==== corpus ================================================================================== */

char *corpus_find(const char *below)
{
    bool no_memory = false;
    char *rules = rules_find_shipped(&no_memory);
    if (no_memory)
        return NULL;
    char *slash = rules != NULL ? strrchr(rules, '/') : NULL;
    int length = slash != NULL ? (int)(slash - rules) + 1 : 0;
    char *path = text_format("%.*scorpus/%s", length, rules != NULL ? rules : "", below);
    free(rules);
    return path;
}
