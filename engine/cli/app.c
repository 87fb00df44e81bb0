/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/app.h"

#include <dirent.h>
#include <errno.h>
#include <pthread.h>
#include <signal.h>
#include <spawn.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/filing.h"

enum status app_error(struct app *app, enum status status, const char *place, const char *format,
                      ...)
{
    char message[512];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(message, sizeof message, format, arguments);
    va_end(arguments);
    bool reading = app->reading.file != NULL;
    diags_error(app->diags, reading ? app->reading : (struct position){place, 0, 0}, "%s", message);
    return reading ? STATUS_DATA : status;
}

_Noreturn void app_unknown(struct app *app, const char *option, const char *what, const char *word,
                           const char *const *names, size_t count, const char *otherwise)
{
    const char *near = diag_nearest(word, names, count);
    const char *message =
        near != NULL ? arena_format(app->arena, "no %s '%s'; did you mean '%s'?", what, word, near)
                     : arena_format(app->arena, "no %s '%s'; %s", what, word, otherwise);
    if (option != NULL)
        app_wrong(app, option, "%s", message);
    app_stop(app, "%s", message);
}

void app_report(struct app *app)
{
    screen_diags(&app->err, app->diags);
    if (!app->held)
        screen_flush(&app->err, stderr);
    diags_clear(app->diags);
}

void app_write(struct app *app, const char *path, struct text *text, bool replace)
{
    enum status status = STATUS_OK;
    if (strcmp(path, "-") != 0)
        status = filing_put(path, text, replace, app->diags);
    else if (filing_send(stdout, text->bytes, text->length) != STATUS_OK)
        status = filing_refused("standard output", "written", errno, app->diags);
    text_release(text);
    app_must(app, status);
}

enum status app_refused(struct app *app, int error)
{
    if (error == EPIPE)
        return STATUS_CLOSED;
    return app_error(app, STATUS_IO, NULL, "cannot write the output: %s", strerror(error));
}

/* Shows what is longer than the terminal by the grower's own pager; false when that is not called for, or
 * there is none. No shell comes between. */
static bool shown_by_pager(struct app *app)
{
    enum { WORDS_MOST = 8 };
    extern char **environ;
    const char *said = getenv("PAGER"), *terminal = getenv("TERM");
    char *words[WORDS_MOST + 1] = {NULL};
    char *rest = arena_string(app->arena, said != NULL ? said : "less");
    size_t count = 0;
    posix_spawn_file_actions_t files;
    posix_spawnattr_t attributes;
    sigset_t pipes;
    pid_t child = 0;
    int ends[2];

    if (terminal == NULL || strcmp(terminal, "dumb") == 0) /* it cannot turn pages */
        return false;
    if (isatty(STDOUT_FILENO) != 1 || isatty(STDIN_FILENO) != 1 || app->out.rows == 0 ||
        screen_lines(&app->out) < app->out.rows)
        return false;
    for (rest += strspn(rest, " "); *rest != '\0' && count < WORDS_MOST;
         rest += strspn(rest, " ")) {
        words[count++] = rest;
        rest += strcspn(rest, " ");
        if (*rest != '\0')
            *rest++ = '\0';
    }
    if (count == 0 || strcmp(words[0], "cat") == 0 || pipe(ends) != 0)
        return false;
    setenv("LESS", "FRX", 0); /* colours, and nothing to leave when it fits */
    posix_spawn_file_actions_init(&files);
    posix_spawn_file_actions_adddup2(&files, ends[0], STDIN_FILENO);
    posix_spawn_file_actions_addclose(&files, ends[0]);
    posix_spawn_file_actions_addclose(&files, ends[1]);
    sigemptyset(&pipes);
    sigaddset(&pipes, SIGPIPE);
    posix_spawnattr_init(&attributes);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGDEF);
    posix_spawnattr_setsigdefault(&attributes, &pipes);
    bool runs = posix_spawnp(&child, words[0], &files, &attributes, words, environ) == 0;
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&files);
    (void)close(ends[0]);
    FILE *to = runs ? fdopen(ends[1], "w") : NULL;
    if (to == NULL) {
        (void)close(ends[1]);
        return false;
    }
    void (*before)(int) = signal(SIGINT, SIG_IGN);                  /* ^C is the pager's */
    (void)filing_send(to, app->out.out.bytes, app->out.out.length); /* less may be left early */
    (void)fclose(to);
    while (waitpid(child, NULL, 0) < 0 && errno == EINTR)
        ;
    (void)signal(SIGINT, before);
    text_clear(&app->out.out);
    return true;
}

static enum status send_out(struct app *app)
{
    if (diags_errors(app->diags) > 0) { /* somebody noted an error and went on: it is not whole */
        text_clear(&app->out.out);
        return STATUS_IO;
    }
    if (app->held || shown_by_pager(app))
        return STATUS_OK;
    enum status status = screen_flush(&app->out, stdout);
    return status == STATUS_IO ? app_refused(app, errno) : status;
}

enum status app_flush(struct app *app)
{
    if (app->common.quiet)
        text_clear(&app->out.out);
    return send_out(app);
}

static enum status put_json(struct app *app, json_t *json, size_t flags)
{
    size_t length = 0;
    char *text = json_text(view_tree_public(json), JSON_REAL_PRECISION(9) | flags, &length);
    json_decref(json);
    if (text == NULL)
        return diags_errors(app->diags) > 0 ? STATUS_IO : STATUS_INTERNAL;
    text_add(&app->out.out, text, length);
    text_add(&app->out.out, "\n", 1);
    free(text);
    return send_out(app);
}

enum status app_json(struct app *app, json_t *json)
{
    return put_json(app, json, JSON_INDENT(2));
}

enum status app_json_line(struct app *app, json_t *json)
{
    return put_json(app, json, JSON_COMPACT);
}

const char *app_temporary(struct app *app)
{
    const char *base = getenv("TMPDIR");
    if (base == NULL || base[0] != '/')
        base = "/tmp";
    char *folder = arena_format(app->arena, "%s/jarside-XXXXXX", base);
    if (mkdtemp(folder) == NULL)
        app_must(app, app_error(app, STATUS_IO, NULL, "cannot make a folder in %s: %s", base,
                                strerror(errno)));
    return app->temporary = folder;
}

void app_remove_temporary(struct app *app)
{
    DIR *folder = app->temporary != NULL ? opendir(app->temporary) : NULL;
    const struct dirent *entry = NULL;
    /* cppcheck-suppress readdirCalled */
    while (folder != NULL && (entry = readdir(folder)) != NULL)
        (void)unlinkat(dirfd(folder), entry->d_name, 0); /* not "." and "..", which are folders */
    if (folder != NULL) {
        (void)closedir(folder);
        (void)rmdir(app->temporary);
    }
    app->temporary = NULL;
}

/* ---- the rules ------------------------------------------------------------------------------- */

static enum status load_rules(struct app *app, const char *const *more, size_t more_count)
{
    const struct texts *named = &app->common.rules;
    const char **folders = arena_array(app->arena, named->count + more_count + 2, sizeof *folders);
    char *shipped = rules_find_shipped(), *overlay = rules_find_overlay();
    enum status status = STATUS_IO;
    size_t count = 0;

    if (shipped != NULL)
        folders[count++] = shipped;
    if (overlay != NULL)
        folders[count++] = overlay;
    for (size_t i = 0; i < named->count; i++)
        folders[count++] = named->words[i];
    for (size_t i = 0; i < more_count; i++)
        folders[count++] = more[i];
    if (count == 0)
        app_error(app, status, NULL,
                  "no rules found; set JARSIDE_RULES or give --rules the folder that holds them");
    else
        app->rules = rules_load(folders, count, app->diags, &status);
    free(shipped);
    free(overlay);
    return app->rules != NULL ? STATUS_OK : status;
}

/* Compiled beside the phrases: both only read the rules. */
static void *compile_tables(void *context)
{
    struct app *app = context;
    app->reasoner = reasoner_new(app->rules);
    return NULL;
}

enum status app_load(struct app *app, const char *const *more, size_t more_count)
{
    enum status status = load_rules(app, more, more_count);
    pthread_t beside;
    if (status != STATUS_OK)
        return status;
    bool apart = pthread_create(&beside, NULL, compile_tables, app) == 0;
    app->reader = reader_new(app->rules, app->diags);
    if (apart)
        pthread_join(beside, NULL);
    else
        compile_tables(app);
    if (app->reader == NULL)
        return STATUS_DATA;
    app->triage = triage_new(app->rules, app->reader, app->reasoner);
    app->words = words_new(app->rules);
    for (size_t i = 0; i < app->rules->folder_count && status == STATUS_OK; i++)
        status =
            words_read(app->words, arena_format(app->arena, "%s/words.tsv", app->rules->folders[i]),
                       app->diags);
    triage_weigh_words(app->triage, app->words);
    return status;
}

const char *corpus_find(struct app *app, const char *below)
{
    char *rules = rules_find_shipped();
    char *slash = rules != NULL ? strrchr(rules, '/') : NULL;
    int length = slash != NULL ? (int)(slash - rules) + 1 : 0;
    const char *path =
        arena_format(app->arena, "%.*scorpus/%s", length, length > 0 ? rules : "", below);
    free(rules);
    return path;
}

/* ---- the journal ----------------------------------------------------------------------------- */

const char *app_journal_path(struct app *app)
{
    const char *named = app->common.journal;
    char *usual = NULL;
    if (named != NULL && named[0] == '\0')
        app_stop(app, "--journal needs the name of a file");
    if (named != NULL)
        return named;
    if (journal_default_path(&usual) != STATUS_OK)
        app_stop(app, "no home folder to keep the journal in; --journal FILE names one");
    const char *path = arena_string(app->arena, usual);
    free(usual);
    return path;
}

/* The command as it was typed, in the arena: what an act is called. */
static const char *typed(struct app *app)
{
    const struct arguments *arguments = &app->arguments;
    const char *words = app->command->name;
    for (size_t i = 0; i < arguments->operand_count; i++)
        words = arena_format(app->arena, "%s %s", words, arguments->operands[i]);
    for (size_t i = 0; i < arguments->given_count; i++)
        words = arena_format(app->arena, "%s --%s%s%s", words, arguments->given[i].option->name,
                             arguments->given[i].value != NULL ? " " : "",
                             arguments->given[i].value != NULL ? arguments->given[i].value : "");
    return words;
}

enum status app_journal(struct app *app, enum journal_access access)
{
    struct stat found;
    if (app->journal != NULL)
        return STATUS_OK;
    const char *path = app_journal_path(app);
    if (access != JOURNAL_CREATE && stat(path, &found) != 0 &&
        (errno == ENOENT || errno == ENOTDIR))
        return app_error(app, STATUS_IO, NULL,
                         "there is no journal at %s yet; 'jarside batch' starts one, --journal "
                         "names another",
                         path);
    enum status status = journal_open(path, access, &app->journal, app->diags);
    if (status == STATUS_OK)
        status = journal_sign(app->journal, getenv("JARSIDE_STATION"), getenv("JARSIDE_PERSON"),
                              app->diags);
    if (status == STATUS_OK && access > JOURNAL_EXAMINE)
        undo_watch(app->journal, typed(app));
    return status;
}

void app_open(struct app *app, enum journal_access access)
{
    if (app->rules == NULL)
        app_must(app, app_load(app, NULL, 0));
    app_must(app, app_journal(app, access));
    app->view =
        (struct journal_view){app->journal, app->rules, app->arena, app->diags, moment_now()};
}

void app_begin(struct app *app)
{
    app_must(app, journal_begin(app->journal, app->diags));
}

void app_commit(struct app *app)
{
    app_must(app, journal_commit(app->journal, app->diags));
}

void app_get(struct app *app, enum record record, int64_t id, void *row)
{
    app_must(app, journal_get(app->journal, record, id, app->arena, row, app->diags));
}

void app_add(struct app *app, enum record record, void *row)
{
    app_must(app, journal_add(app->journal, record, row, app->diags));
}

void *app_all(struct app *app, enum record record, const char *column, int64_t value, size_t *count)
{
    void *rows = NULL;
    app_must(app, journal_all(app->journal, record, column, value, app->arena, &rows, count,
                              app->diags));
    return rows;
}

const char *app_vessels(struct app *app, const struct vessel *vessels, size_t count)
{
    struct text text;
    text_init(&text);
    view_vessels(&text, vessels, count);
    const char *words = arena_string(app->arena, text.bytes);
    text_release(&text);
    return words;
}
