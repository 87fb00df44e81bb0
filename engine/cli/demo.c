/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/demo.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli/corpus.h"
#include "journal/consult.h"
#include "journal/demo.h"

static const struct position nowhere = {0};

/* As `jarside look` does: with all that is on record by then, and kept. */
static enum status judge_look(void *context, struct journal *journal, const char *vessel,
                              struct moment at, const char *words, struct diags *diags)
{
    struct app *app = context;
    struct consultation consultation;
    const struct verdict *verdict;
    struct look look;
    const struct consult_request request = {.label = vessel, .now = at};
    struct arena *arena = arena_new(NULL);
    if (arena == NULL)
        return STATUS_MEMORY;
    enum status status =
        consult_vessel(journal, &request, app->triage, arena, &consultation, diags);
    if (status == STATUS_OK)
        status = triage_tell(app->triage, words, strlen(words), diags);
    if (status == STATUS_OK)
        status =
            consult_save(journal, &consultation, app->triage, words, arena, &look, &verdict, diags);
    arena_free(arena);
    return status;
}

/* ---- where it is built ----------------------------------------------------------------------- */

static enum status build(struct app *app, const char *path)
{
    struct demo_judge judge = {judge_look, app};
    char *folder = corpus_find("demo/journal");
    enum status status = folder != NULL ? STATUS_OK : STATUS_MEMORY;

    if (status == STATUS_OK)
        status = journal_open(path, JOURNAL_CREATE, &app->journal, app->diags);
    if (status == STATUS_OK)
        status = demo_build(app->journal, folder, &judge, app->diags);
    free(folder);
    return status;
}

enum exit_status demo_at(struct app *app, const char *path)
{
    struct stat found;
    if (stat(path, &found) == 0) {
        diags_error(app->diags, nowhere,
                    "'%s' is there already and stays as it is; give the name of a new file", path);
        return app_fail(app, STATUS_DATA);
    }
    enum status status = build(app, path);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

static void remove_folder(const char *folder)
{
    static const char *const files[] = {"journal.db", "journal.db-wal", "journal.db-shm"};
    char path[512];
    for (size_t i = 0; i < sizeof files / sizeof *files; i++) {
        snprintf(path, sizeof path, "%s/%s", folder, files[i]);
        (void)unlink(path);
    }
    (void)rmdir(folder);
}

enum exit_status demo_for_now(struct app *app)
{
    const char *base = getenv("TMPDIR");
    char folder[256], path[512];
    int length = snprintf(folder, sizeof folder, "%s/jarside-XXXXXX",
                          base != NULL && base[0] == '/' ? base : "/tmp");

    if (length < 0 || (size_t)length >= sizeof folder || mkdtemp(folder) == NULL) {
        diags_error(app->diags, nowhere, "no room for the demo in %s: %s",
                    base != NULL ? base : "/tmp", strerror(errno));
        return app_fail(app, STATUS_IO);
    }
    snprintf(path, sizeof path, "%s/journal.db", folder);
    enum status status = build(app, path);
    remove_folder(folder);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}
