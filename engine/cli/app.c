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

static void add_error(struct app *app, const char *place, const char *format, va_list arguments)
{
    char message[512];
    vsnprintf(message, sizeof message, format, arguments);
    diags_error(app->diags, (struct position){place, 0, 0}, "%s", message);
}

enum status app_error(struct app *app, enum status status, const char *place, const char *format,
                      ...)
{
    va_list arguments;
    va_start(arguments, format);
    add_error(app, place, format, arguments);
    va_end(arguments);
    return status;
}

enum status app_usage(struct app *app, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    add_error(app, NULL, format, arguments);
    va_end(arguments);
    return STATUS_USAGE;
}

void app_report(struct app *app)
{
    screen_diags(&app->err, app->diags);
    screen_flush(&app->err, stderr);
    diags_clear(app->diags);
}

/* What was put together is not whole when somebody noted a fault and went on: then nothing of it is
 * shown. */
static enum status wholeness(const struct app *app)
{
    return diags_errors(app->diags) > 0 ? STATUS_IO : STATUS_OK;
}

enum status app_write(struct app *app, const char *path, const struct text *text, bool replace)
{
    enum status status;
    if (strcmp(path, "-") != 0)
        status = filing_put(path, text, replace, app->diags);
    else if (text->failed)
        status = STATUS_MEMORY;
    else if ((status = filing_send(stdout, text->bytes, text->length)) != STATUS_OK)
        status = filing_refused("standard output", "written", errno, app->diags);
    return status;
}

enum status app_refused(struct app *app, int error)
{
    if (error == EPIPE)
        return STATUS_CLOSED;
    return app_error(app, STATUS_IO, NULL, "cannot write the output: %s", strerror(error));
}

enum status app_flush(struct app *app)
{
    enum status whole = wholeness(app);
    if (whole != STATUS_OK) {
        text_clear(&app->out.out);
        return whole;
    }
    enum status status = screen_flush(&app->out, stdout);
    if (status == STATUS_IO)
        return app_refused(app, errno);
    return status;
}

enum status app_json(struct app *app, json_t *json, bool compact)
{
    size_t length = 0;
    char *text = json_text(json, JSON_REAL_PRECISION(9) | (compact ? JSON_COMPACT : JSON_INDENT(2)),
                           &length);
    json_decref(json);
    if (text == NULL)
        return STATUS_MEMORY;
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
};

static bool folders_collect(struct folders *folders, const struct app *app, const char *const *more,
                            size_t more_count)
{
    memset(folders, 0, sizeof *folders);
    const struct texts *named = &app->common.rules;
    folders->paths = calloc(named->count + more_count + 2, sizeof *folders->paths);
    if (folders->paths == NULL)
        return false;
    folders->shipped = rules_find_shipped();
    folders->overlay = rules_find_overlay();
    if (folders->shipped != NULL)
        folders->paths[folders->count++] = folders->shipped;
    if (folders->overlay != NULL)
        folders->paths[folders->count++] = folders->overlay;
    for (size_t i = 0; i < named->count; i++)
        folders->paths[folders->count++] = named->words[i];
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
        return app_error(app, STATUS_IO, NULL,
                         "no rules found; set JARSIDE_RULES or give --rules the folder that holds "
                         "them");
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

enum status app_load(struct app *app, const char *const *more, size_t more_count)
{
    struct folders folders;
    if (!folders_collect(&folders, app, more, more_count))
        return STATUS_MEMORY;
    enum status status = load_rules(app, &folders);
    folders_release(&folders);
    if (status != STATUS_OK)
        return status;
    compile(app);
    if (app->reader == NULL)
        return diags_errors(app->diags) > 0 ? STATUS_DATA : STATUS_MEMORY;
    app->triage = app->reasoner != NULL ? triage_new(app->rules, app->reader, app->reasoner) : NULL;
    if (app->triage == NULL)
        return STATUS_MEMORY;
    app->words = words_new(app->rules);
    for (size_t i = 0; i < app->rules->folder_count && status == STATUS_OK; i++) {
        char *path = text_format("%s/words.tsv", app->rules->folders[i]);
        status = words_read(app->words, path, app->diags);
        free(path);
    }
    triage_weigh_words(app->triage, app->words);
    return status;
}

/* ==== app journal ============================================================================= */

static enum status none_yet(struct app *app, const char *path)
{
    return app_error(
        app, STATUS_IO, NULL,
        "there is no journal at %s yet; 'jarside batch' starts one, --journal names another", path);
}

static enum status open_at(struct app *app, const char *path, enum journal_access access)
{
    struct stat found;
    if (access != JOURNAL_CREATE && stat(path, &found) != 0 &&
        (errno == ENOENT || errno == ENOTDIR))
        return none_yet(app, path);
    enum status status = journal_open(path, access, &app->journal, app->diags);
    return status;
}

enum status app_journal_path(struct app *app, char **path)
{
    const char *named = app->common.journal;
    if (named != NULL && named[0] == '\0')
        return app_usage(app, "--journal needs the name of a file");
    enum status status = named == NULL ? journal_default_path(path) : STATUS_OK;
    if (named != NULL && (*path = strdup(named)) == NULL)
        status = STATUS_MEMORY;
    if (status == STATUS_USAGE)
        return app_usage(app, "no home folder to keep the journal in; --journal FILE names one");
    return status;
}

enum status app_journal(struct app *app, enum journal_access access)
{
    char *path = NULL;
    if (app->journal != NULL)
        return STATUS_OK;
    enum status status = app_journal_path(app, &path);
    if (path == NULL)
        return status;
    status = open_at(app, path, access);
    free(path);
    return status;
}

enum status app_open(struct app *app, enum journal_access access)
{
    enum status status = app->rules == NULL ? app_load(app, NULL, 0) : STATUS_OK;
    if (status == STATUS_OK)
        status = app_journal(app, access);
    app->told = app_view(app);
    return status;
}

struct journal_view app_view(const struct app *app)
{
    return (struct journal_view){app->journal, app->rules, app->arena, app->diags, moment_now()};
}

enum status app_commit(struct app *app, enum status status)
{
    if (status == STATUS_OK)
        return journal_commit(app->journal, app->diags);
    journal_rollback(app->journal);
    return status;
}

/* ==== corpus ================================================================================== */

char *corpus_find(const char *below)
{
    char *rules = rules_find_shipped();
    char *slash = rules != NULL ? strrchr(rules, '/') : NULL;
    int length = slash != NULL ? (int)(slash - rules) + 1 : 0;
    char *path = text_format("%.*scorpus/%s", length, rules != NULL ? rules : "", below);
    free(rules);
    return path;
}
