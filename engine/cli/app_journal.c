/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/app_journal.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

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
    if (fault == EXIT_FINE && app->arena == NULL && (app->arena = arena_new(NULL)) == NULL)
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
