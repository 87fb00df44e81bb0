/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/demo.h"

#include <errno.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli/corpus.h"
#include "journal/demo.h"

#ifndef JARSIDE_VERSION
#define JARSIDE_VERSION "0.1.0"
#endif

static const struct position nowhere = {0};

/* ---- a look from words ----------------------------------------------------------------------- */

static char *posterior_json(const struct rules *rules, const struct verdict *verdict)
{
    json_t *findings = json_object(), *causes = json_object(), *root = NULL;
    for (size_t i = 0; i < rules->finding_count; i++)
        json_object_set_new(findings, rules->findings[verdict->findings[i].index].id,
                            json_real(verdict->findings[i].p));
    for (size_t i = 0; i < rules->cause_count; i++)
        json_object_set_new(causes, rules->causes[verdict->causes[i].index].id,
                            json_real(verdict->causes[i].p));
    root = json_pack("{s:o, s:o}", "findings", findings, "causes", causes);
    char *text = root != NULL ? json_dumps(root, JSON_COMPACT | JSON_REAL_PRECISION(6)) : NULL;
    json_decref(root);
    return text;
}

static enum status save_look(struct app *app, struct journal *journal, struct look *look,
                             const struct verdict *verdict)
{
    const struct rules *rules = app->rules;
    const struct decision *decision = &verdict->decision;
    size_t status = FINDING_CLEAN;
    char *posterior = posterior_json(rules, verdict);

    if (posterior == NULL)
        return STATUS_MEMORY;
    for (size_t s = 0; s < FINDING_STATUS_COUNT; s++)
        if (verdict->status[s] > verdict->status[status])
            status = s;
    look->facts = "[]";
    look->action = action_name(decision->action);
    if (decision->next_step != RULES_NONE)
        look->next_step = rules->decision.next_steps[decision->next_step].id;
    if (decision->floor != RULES_NONE)
        look->forced_by = rules->decision.floors[decision->floor].id;
    look->finding = rules->findings[verdict->findings[0].index].id;
    look->status = status_name((enum finding_status)status);
    look->contaminated = verdict->status[FINDING_CONTAMINATED];
    look->posterior = posterior;
    look->rules = rules->hash;
    look->program = JARSIDE_VERSION;
    enum status added = journal_add(journal, RECORD_LOOK, look, app->diags);
    free(posterior);
    return added;
}

static enum status judge_look(void *context, struct journal *journal, const char *vessel,
                              struct moment at, const char *words, struct diags *diags)
{
    struct app *app = context;
    struct vessel at_vessel;
    struct batch batch;
    struct look look;
    char age[32];
    struct arena *arena = arena_new(NULL);
    if (arena == NULL)
        return STATUS_MEMORY;
    triage_reset(app->triage);
    enum status status = journal_find(journal, RECORD_VESSEL, vessel, arena, &at_vessel, diags);
    if (status == STATUS_OK)
        status = journal_get(journal, RECORD_BATCH, at_vessel.batch, arena, &batch, diags);
    if (status == STATUS_OK) {
        int length = snprintf(age, sizeof age, "day %d", (int)moment_days_between(batch.at, at));
        status = triage_tell(app->triage, age, (size_t)length, diags);
    }
    if (status == STATUS_OK)
        status = triage_tell(app->triage, words, strlen(words), diags);
    if (status == STATUS_OK) {
        const struct verdict *verdict = triage_judge(app->triage);
        record_init(RECORD_LOOK, &look);
        look.vessel = at_vessel.id;
        look.at = at;
        look.words = words;
        status = verdict != NULL ? save_look(app, journal, &look, verdict) : STATUS_MEMORY;
    }
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
