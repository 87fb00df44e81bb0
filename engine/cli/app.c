/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/app.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <threads.h>

#include "base/filing.h"
#include "base/json_text.h"
#include "base/memory.h"

static const struct position nowhere = {0};

enum exit_status app_fail(struct app *app, enum status status)
{
    if (memory_refused() && status != STATUS_CLOSED) {
        diags_clear(app->diags); /* whatever they blame, this was the reason */
        status = STATUS_MEMORY;
    }
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

/* What was put together is not whole when memory ran out over it, or when somebody noted a fault and
 * went on: then nothing of it is shown. */
static enum status wholeness(const struct app *app)
{
    if (memory_refused())
        return STATUS_MEMORY;
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
    app->rules = rules_load(folders->paths, folders->count, app->diags, &status, NULL);
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
