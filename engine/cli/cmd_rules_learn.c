/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Confirmed outcomes into the grower's own overlay: shown first, tried on the corpus, taken back. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/filing.h"
#include "cli/app_journal.h"
#include "cli/commands.h"
#include "cli/corpus.h"
#include "knowledge/cases.h"
#include "review/learn.h"
#include "triage/score.h"
#include "voice/table.h"
#include "voice/verdict.h"

enum { SHIFTS_SHOWN = 12 };

/* A log score worse by less than this, in nats a case, is no news over a hundred cases. */
static const double WORSE_BY = 0.01;

static const struct option options[] = {
    {"apply", NULL, "write what was learned into your own rules"},
    {"undo", NULL, "take the last --apply back"},
    {"even-if-worse", NULL, "apply although the labelled cases come out worse"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

struct lesson { /* what one call works with; everything in the arena but the two apps */
    struct app *app;
    struct app after; /* the same rules with the lesson over them */
    struct arena *arena;
    struct learned learned;
    struct text yaml;
    struct score scores[2];     /* before, after */
    char *overlay, *file, *old; /* the folder, learned.yaml in it, and what was there before */
};

/* ---- files ----------------------------------------------------------------------------------- */

static char *path_in(const struct lesson *lesson, const char *name)
{
    return arena_format(lesson->arena, "%s/%s", lesson->overlay, name);
}

static bool find_places(struct lesson *lesson)
{
    bool no_memory = false;
    char *overlay = rules_overlay_path(&no_memory);
    lesson->overlay = overlay != NULL ? arena_string(lesson->arena, overlay) : NULL;
    free(overlay);
    if (lesson->overlay == NULL)
        return false;
    lesson->file = path_in(lesson, "learned.yaml");
    lesson->old = path_in(lesson, "learned.before"); /* no .yaml: it is not read as a rule */
    return lesson->file != NULL && lesson->old != NULL;
}

static enum status write_whole(const char *path, const struct text *text, struct diags *diags)
{
    if (!filing_make_folders(path)) {
        diags_error(diags, (struct position){.file = path}, "its folder cannot be made");
        return STATUS_IO;
    }
    return filing_put(path, text, true, diags);
}

static enum exit_status undo(struct lesson *lesson)
{
    struct app *app = lesson->app;
    bool had = access(lesson->file, F_OK) == 0, older = access(lesson->old, F_OK) == 0;
    if (!had)
        return app_usage(app, "nothing was learned yet: there is no %s", lesson->file);
    if ((older ? rename(lesson->old, lesson->file) : unlink(lesson->file)) != 0) {
        diags_error(app->diags, (struct position){.file = lesson->file}, "cannot be taken back");
        return app_fail(app, STATUS_IO);
    }
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               older ? "Taken back: %s is as it was before the last --apply."
                     : "Taken back: %s is gone; the shipped figures hold again.",
               lesson->file);
    return app_flush(app);
}

static enum exit_status apply(struct lesson *lesson)
{
    struct app *app = lesson->app;
    if (access(lesson->file, F_OK) == 0 && rename(lesson->file, lesson->old) != 0) {
        diags_error(app->diags, (struct position){.file = lesson->file}, "cannot be set aside");
        return app_fail(app, STATUS_IO);
    }
    enum status status = write_whole(lesson->file, &lesson->yaml, app->diags);
    return status == STATUS_OK ? EXIT_FINE : app_fail(app, status);
}

/* ---- before and after ------------------------------------------------------------------------ */

/* Loads the rules once more, with the lesson over them. */
static enum exit_status load_after(struct lesson *lesson)
{
    const char *temporary = getenv("TMPDIR");
    char *folder = arena_format(lesson->arena, "%s/jarside-learn-XXXXXX",
                                temporary != NULL && temporary[0] == '/' ? temporary : "/tmp");
    struct app *app = lesson->app;
    lesson->after = *app;
    lesson->after.rules = NULL;
    lesson->after.reader = NULL;
    lesson->after.reasoner = NULL;
    lesson->after.triage = NULL;
    if (folder == NULL || mkdtemp(folder) == NULL) {
        diags_error(app->diags, (struct position){.file = folder},
                    "a folder for a trial cannot be made");
        return app_fail(app, STATUS_IO);
    }
    const char *more[] = {folder};
    char *file = arena_format(lesson->arena, "%s/learned.yaml", folder);
    enum status status =
        file != NULL ? write_whole(file, &lesson->yaml, app->diags) : STATUS_MEMORY;
    enum exit_status fault =
        status == STATUS_OK ? app_load(&lesson->after, more, 1) : app_fail(app, status);
    if (file != NULL)
        unlink(file);
    rmdir(folder);
    return fault;
}

static void release_after(struct lesson *lesson)
{
    triage_free(lesson->after.triage);
    reasoner_free(lesson->after.reasoner);
    reader_free(lesson->after.reader);
    rules_free(lesson->after.rules);
}

static enum status score_with(struct lesson *lesson, struct app *app, const char *path,
                              struct score *score)
{
    const struct labelled_case *cases = NULL;
    size_t count = 0;
    enum status status =
        cases_load(path, app->rules, lesson->arena, &cases, &count, lesson->app->diags);
    return status == STATUS_OK
               ? score_cases(app->triage, cases, count, lesson->arena, score, lesson->app->diags)
               : status;
}

static enum exit_status score_both(struct lesson *lesson)
{
    char *path = corpus_find("cases");
    enum status status =
        path != NULL ? score_with(lesson, lesson->app, path, &lesson->scores[0]) : STATUS_MEMORY;
    if (status == STATUS_OK)
        status = score_with(lesson, &lesson->after, path, &lesson->scores[1]);
    free(path);
    return status == STATUS_OK ? EXIT_FINE : app_fail(lesson->app, status);
}

static bool unsafe(const struct lesson *lesson)
{
    return lesson->scores[1].unsafe_keeps > 0;
}

static bool worse(const struct lesson *lesson)
{
    const struct score *before = &lesson->scores[0], *after = &lesson->scores[1];
    return after->log_score > before->log_score + WORSE_BY ||
           after->action_right < before->action_right ||
           after->needless_discards > before->needless_discards ||
           after->unsafe_keeps > before->unsafe_keeps;
}

/* ---- showing it ------------------------------------------------------------------------------ */

struct shift { /* of one figure */
    const struct learned_sign *sign;
    size_t value;
    double before, after;
};

static double figure(const struct reasoner *reasoner, const struct learned_sign *sign, size_t value)
{
    return reasoner_likelihood(reasoner, NULL, sign->observable, value, sign->finding, 0);
}

static int by_size(const void *a, const void *b)
{
    const struct shift *left = a, *right = b;
    double x = fabs(left->after - left->before), y = fabs(right->after - right->before);
    return (x < y) - (x > y);
}

static void show_shift(struct lesson *lesson, struct table *table, const struct shift *shift)
{
    const struct rules *rules = lesson->app->rules;
    const struct observable *observable = &rules->observables[shift->sign->observable];
    char seen[48], before[PERCENT_ROOM], after[PERCENT_ROOM];
    snprintf(seen, sizeof seen, "%.0f of %.0f", shift->sign->seen[shift->value],
             shift->sign->of[shift->value]);
    const char *const cells[] = {
        rules->findings[shift->sign->finding].name,
        arena_format(lesson->arena, "%s: %s", observable->label,
                     observable->values[shift->value].label),
        seen,
        voice_percent(shift->before, before),
        voice_percent(shift->after, after),
    };
    table_row(table, cells);
}

static void show_shifts(struct lesson *lesson)
{
    static const char *const headings[] = {"finding", "sign", "yours", "was", "becomes"};
    const struct learned *learned = &lesson->learned;
    struct screen *screen = &lesson->app->out;
    struct shift *shifts =
        arena_array(lesson->arena, learned->sign_count * RULES_MAX_VALUES, sizeof *shifts);
    struct table table;
    size_t count = 0;
    for (size_t i = 0; shifts != NULL && i < learned->sign_count; i++) {
        const struct learned_sign *sign = &learned->signs[i];
        for (size_t v = 0; v < lesson->app->rules->observables[sign->observable].value_count; v++)
            if (sign->of[v] > 0)
                shifts[count++] = (struct shift){sign, v, figure(lesson->app->reasoner, sign, v),
                                                 figure(lesson->after.reasoner, sign, v)};
    }
    if (count == 0)
        return;
    qsort(shifts, count, sizeof *shifts, by_size);
    screen_heading(screen, "What moves most");
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, lesson->arena);
    for (size_t i = 0; i < count && i < SHIFTS_SHOWN; i++)
        show_shift(lesson, &table, &shifts[i]);
    table_show(&table, screen);
    if (count > SHIFTS_SHOWN)
        screen_say(screen, 0, 0, ROLE_QUIET, "and %zu more figures, by less.",
                   count - SHIFTS_SHOWN);
}

static void show_causes(struct lesson *lesson)
{
    static const char *const headings[] = {"cause", "yours", "was", "becomes"};
    const struct learned *learned = &lesson->learned;
    struct screen *screen = &lesson->app->out;
    struct table table;
    if (learned->cause_count == 0)
        return;
    screen_heading(screen, "Causes, before anything is seen");
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, lesson->arena);
    for (size_t i = 0; i < learned->cause_count; i++) {
        const struct learned_cause *own = &learned->causes[i];
        const struct cause *cause = &lesson->app->rules->causes[own->cause];
        char before[PERCENT_ROOM], after[PERCENT_ROOM];
        double becomes =
            (learned->strength * cause->prior + own->seen) / (learned->strength + own->of);
        const char *const cells[] = {
            cause->name,
            arena_format(lesson->arena, "%.0f of %.0f", own->seen, own->of),
            voice_percent(cause->prior, before),
            voice_percent(becomes, after),
        };
        if (own->seen > 0)
            table_row(&table, cells);
    }
    table_show(&table, screen);
    screen_say(screen, 0, 0, ROLE_QUIET, "Every other cause becomes a little less likely.");
}

static void score_row(struct lesson *lesson, struct table *table, const char *what, size_t before,
                      size_t after, size_t of)
{
    const char *const cells[] = {what, arena_format(lesson->arena, "%zu of %zu", before, of),
                                 arena_format(lesson->arena, "%zu of %zu", after, of)};
    table_row(table, cells);
}

static void show_scores(struct lesson *lesson)
{
    static const char *const headings[] = {"labelled cases", "now", "with it"};
    const struct score *before = &lesson->scores[0], *after = &lesson->scores[1];
    struct screen *screen = &lesson->app->out;
    struct table table;
    screen_heading(screen, "What it does to the labelled cases");
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, lesson->arena);
    score_row(lesson, &table, "finding first", before->finding_first, after->finding_first,
              before->cases);
    score_row(lesson, &table, "action accepted", before->action_right, after->action_right,
              before->cases);
    score_row(lesson, &table, "contaminated called keep", before->unsafe_keeps, after->unsafe_keeps,
              before->cases - before->clean);
    score_row(lesson, &table, "clean discarded needlessly", before->needless_discards,
              after->needless_discards, before->clean);
    const char *const cells[] = {"log score, nats; less is better",
                                 arena_format(lesson->arena, "%.4f", before->log_score),
                                 arena_format(lesson->arena, "%.4f", after->log_score)};
    table_row(&table, cells);
    table_show(&table, screen);
}

static void show(struct lesson *lesson)
{
    struct screen *screen = &lesson->app->out;
    screen_say(
        screen, 0, 0, ROLE_PLAIN,
        "%.0f vessels with a confirmed outcome. They are added to the shipped figures, which "
        "count as %.0f vessels each.",
        lesson->learned.vessels, lesson->learned.strength);
    show_shifts(lesson);
    show_causes(lesson);
    show_scores(lesson);
    screen_blank(screen);
    if (unsafe(lesson))
        screen_say(screen, 0, 0, ROLE_WARN,
                   "With it a contaminated vessel would be called keep. It cannot be applied.");
    else if (worse(lesson))
        screen_say(screen, 0, 0, ROLE_WARN,
                   "The labelled cases come out worse. --apply --even-if-worse applies it "
                   "nevertheless.");
    else if (!arguments_flag(&lesson->app->arguments, "apply"))
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing was changed. --apply writes it.");
}

static json_t *score_json(const struct score *score)
{
    return json_pack("{s:I, s:I, s:I, s:I, s:I, s:f}", "cases", (json_int_t)score->cases,
                     "finding_first", (json_int_t)score->finding_first, "action_right",
                     (json_int_t)score->action_right, "unsafe_keeps",
                     (json_int_t)score->unsafe_keeps, "needless_discards",
                     (json_int_t)score->needless_discards, "log_score", score->log_score);
}

static json_t *lesson_json(const struct lesson *lesson, bool applied)
{
    return json_pack("{s:i, s:f, s:f, s:s, s:o?, s:o?, s:b, s:b, s:b}", "schema", 1, "vessels",
                     lesson->learned.vessels, "strength", lesson->learned.strength, "file",
                     lesson->file, "before", score_json(&lesson->scores[0]), "after",
                     score_json(&lesson->scores[1]), "worse", worse(lesson), "unsafe",
                     unsafe(lesson), "applied", applied);
}

/* ---- the command ----------------------------------------------------------------------------- */

static enum exit_status study(struct lesson *lesson)
{
    char day[MOMENT_ROOM];
    struct app *app = lesson->app;
    enum status status =
        learn_count(app->journal, app->rules, lesson->arena, &lesson->learned, app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    if (lesson->learned.vessels <= 0)
        return app_usage(app, "no vessel has a confirmed outcome yet; 'jarside confirm LABEL "
                              "FINDING' records what one turned out to be");
    learn_write(&lesson->learned, app->rules, moment_write_day(moment_now(), day), &lesson->yaml);
    if (lesson->yaml.failed)
        return app_fail(app, STATUS_MEMORY);
    enum exit_status fault = load_after(lesson);
    return fault == EXIT_FINE ? score_both(lesson) : fault;
}

static enum exit_status tell(struct lesson *lesson)
{
    struct app *app = lesson->app;
    const struct arguments *arguments = &app->arguments;
    bool json = arguments_flag(arguments, "json"), wanted = arguments_flag(arguments, "apply");
    bool may = !unsafe(lesson) && (!worse(lesson) || arguments_flag(arguments, "even-if-worse"));
    enum exit_status fault = wanted && may ? apply(lesson) : EXIT_FINE;
    if (fault != EXIT_FINE)
        return fault;
    if (json) {
        fault = app_json(app, lesson_json(lesson, wanted && may), false);
    } else {
        show(lesson);
        if (wanted && may)
            screen_say(&app->out, 0, 0, ROLE_PLAIN,
                       "Written to %s. 'jarside rules learn --undo' takes it back.", lesson->file);
        fault = app_flush(app);
    }
    return fault == EXIT_FINE && wanted && !may ? EXIT_CHECK_FAILED : fault;
}

static enum exit_status learn(struct lesson *lesson)
{
    struct app *app = lesson->app;
    if (!find_places(lesson))
        return app_usage(app, "no home folder to keep your own rules in");
    if (arguments_flag(&app->arguments, "undo"))
        return undo(lesson);
    enum exit_status fault = app_load(app, NULL, 0);
    if (fault == EXIT_FINE)
        fault = app_journal(app, JOURNAL_READ);
    if (fault == EXIT_FINE)
        fault = study(lesson);
    return fault == EXIT_FINE ? tell(lesson) : fault;
}

static enum exit_status run(struct app *app)
{
    struct lesson lesson = {.app = app, .arena = arena_new(NULL)};
    if (app->arguments.operand_count > 0)
        return app_usage(app, "'rules learn' takes no words; it reads the journal");
    if (lesson.arena == NULL)
        return app_fail(app, STATUS_MEMORY);
    text_init(&lesson.yaml);
    enum exit_status fault = learn(&lesson);
    text_release(&lesson.yaml);
    if (lesson.after.command != NULL)
        release_after(&lesson);
    arena_free(lesson.arena);
    return fault;
}

const struct command command_rules_learn = {
    .name = "rules learn",
    .summary = "adds your confirmed outcomes to the frequencies; shows first, can be undone",
    .detail =
        "Counts what 'confirm' recorded, shows which figures would move and what that does to "
        "the labelled cases, and changes nothing. --apply writes the counts into a file of "
        "their own among your rules; --undo takes the last one back.",
    .options = options,
    .run = run,
};
