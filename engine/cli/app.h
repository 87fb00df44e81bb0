/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_APP_H
#define JARSIDE_CLI_APP_H

#include <jansson.h>
#include <stdbool.h>

#include "base/diag.h"
#include "cli/options.h"
#include "journal/journal.h"
#include "language/reader.h"
#include "reason/reason.h"
#include "rules/rules.h"
#include "triage/triage.h"
#include "view/journal.h"
#include "view/screen.h"

/*
 * What every command is given, and the table it stands in.
 *
 * A command writes through app->out and returns a status. What is wrong goes to app->diags, which is
 * shown at the end. Where it cannot go on it ends there and then (app_stop, app_must, and what is
 * built on them): the errors are shown, an open transaction is taken back, and the program exits.
 */
struct common_options {
    struct texts rules;
    const char *journal;
    int color;
    bool help, version, quiet;
};

/* What the file of settings says. */
enum { SETTINGS = 10 };
struct setting {
    const char *word; /* NULL: nothing */
    struct position at;
};

struct app {
    const struct command *command;
    struct arguments arguments;
    struct common_options common;
    struct setting settings[SETTINGS]; /* in the order of the table (config.c) */
    struct position reading;           /* where what is read stands; no file: on the command line */
    struct screen out, err;            /* standard output and standard error */
    bool held;                         /* what goes there is kept, for another thread to write */
    struct diags *diags;
    struct rules *rules; /* NULL until app_load */
    struct reader *reader;
    struct words *words;
    struct reasoner *reasoner;
    struct triage *triage;
    struct journal *journal;  /* NULL until app_journal */
    struct arena *arena;      /* for all that is read on the way; freed when the command has run */
    struct journal_view view; /* of the journal, now; empty until app_open */
    const char *temporary;    /* folder for the time of the command; NULL until app_temporary */
};

struct command {
    const char *name;             /* "judge"; "rules check" for one with two words */
    const char *summary;          /* one line */
    const char *operands;         /* for help: "[TEXT...]", or "" */
    const char *detail;           /* further help: a paragraph or two; or NULL */
    const struct option *options; /* ends with a NULL name; or NULL */
    enum status (*run)(struct app *app);
};

/* ---- what is wrong, and the end --------------------------------------------------------------- */

/* Adds an error and returns `status`. `place` is a file or an option ("--mass"), or NULL. */
enum status app_error(struct app *app, enum status status, const char *place, const char *format,
                      ...) __attribute__((format(printf, 4, 5)));
/* The same for wrong use, with nothing to point at. */
#define app_usage(app, ...) app_error(app, STATUS_USAGE, NULL, __VA_ARGS__)
/* Shows the diagnostics so far on standard error and clears them: for what goes on in spite of
 * them. At the end of a command that failed it is done anyway. */
void app_report(struct app *app);
/* Ends the program: says why a command failed, releases everything, exits with that status. */
_Noreturn void app_quit(struct app *app, enum status status);
/* Ends it for wrong use; because what was given to --OPTION makes no sense. */
#define app_stop(app, ...) app_quit(app, app_usage(app, __VA_ARGS__))
#define app_wrong(app, option, ...)                                                                \
    app_quit(app,                                                                                  \
             app_error(app, STATUS_DATA, arena_format((app)->arena, "--%s", option), __VA_ARGS__))
/* Ends it because there is no such word: "no WHAT 'WORD'; did you mean ...?", or `otherwise` when none of
 * the names is near. For a value of --OPTION as app_wrong does, else as app_stop. */
_Noreturn void app_unknown(struct app *app, const char *option, const char *what, const char *word,
                           const char *const *names, size_t count, const char *otherwise);
/* Ends it unless all is well. */
static inline void app_must(struct app *app, enum status status)
{
    if (status != STATUS_OK)
        app_quit(app, status);
}

/* ---- settings --------------------------------------------------------------------------------- */

/* Reads the file of settings, if there is one; ends the program, with the place, when something in it is
 * wrong. */
void config_read(struct app *app);
/* Before anything is said of a vessel that is in no journal: tells the triage what the settings know of
 * its cook, the altitude. */
void config_recall(struct app *app);
/* The next row of the table of settings; the first after NULL, NULL after the last. */
const struct option *config_next(const struct option *setting);
/* What a setting says, checked, or NULL; for one of the rules after app_load. */
const char *config_word(struct app *app, const char *name);

/* ---- output ----------------------------------------------------------------------------------- */

/* Says that the output cannot be written and why, an errno; nothing when its reader has gone. */
enum status app_refused(struct app *app, int error);
/* Sends app->out to standard output, by $PAGER when it is longer than the terminal; --quiet lets it go. */
enum status app_flush(struct app *app);
/* Writes a text, which is released, into a file (filing_put), or to standard output when the path
 * is "-"; or ends the program. */
void app_write(struct app *app, const char *path, struct text *text, bool replace);
/* Writes JSON and a newline to standard output, indented; takes the reference; NULL fails. */
enum status app_json(struct app *app, json_t *json);
/* The same in one line, for one of many. */
enum status app_json_line(struct app *app, json_t *json);

/* Makes a folder for the time of the command, or ends it. */
const char *app_temporary(struct app *app);
/* Takes it away with the files in it; open ones work until they are closed. At the end of a command it
 * is done anyway. */
void app_remove_temporary(struct app *app);

/* ---- the rules -------------------------------------------------------------------------------- */

/*
 * Loads shipped rules, the overlay and every --rules folder, and makes reader,
 * reasoner and triage. The folders of `more`, if not NULL, are read last.
 */
enum status app_load(struct app *app, const char *const *more, size_t more_count);
/* What is at `below` in the corpus beside the shipped rules: installed and in the source tree they are
 * neighbours. In the arena. */
const char *corpus_find(struct app *app, const char *below);

/* ---- the journal ------------------------------------------------------------------------------ */

/*
 * Opens the journal that --journal names, else journal_default_path, into
 * app->journal, where it is closed at the end. A journal that is already open stays
 * so. Where there is none yet (READ, WRITE) the message says how
 * to start one.
 */
enum status app_journal(struct app *app, enum journal_access access);
/* What a command of the journal begins with: the rules, the journal, and app->view, or the end. What
 * is there already stays. */
void app_open(struct app *app, enum journal_access access);
/* The path of that journal, in the arena, for what does not open it. */
const char *app_journal_path(struct app *app);

/* Calls of the journal without which a command cannot go on (journal/journal.h). */
void app_begin(struct app *app);
void app_commit(struct app *app);
void app_get(struct app *app, enum record record, int64_t id, void *row);
void app_add(struct app *app, enum record record, void *row);
/* All rows whose `column` is `value`, in the arena. */
void *app_all(struct app *app, enum record record, const char *column, int64_t value,
              size_t *count);
/* "B1-1 to B1-4, B1-7" (view_vessels), in the arena. */
const char *app_vessels(struct app *app, const struct vessel *vessels, size_t count);

#endif
