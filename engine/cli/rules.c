/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/filing.h"
#include "base/memory.h"
#include "cli/app.h"
#include "cli/cli.h"
#include "review/learn.h"
#include "rules/cases.h"
#include "triage/score.h"
#include "view/screen.h"
#include "view/verdict.h"

/* ---- rules check ----------------------------------------------------------------------------- */

static enum status run_check(struct app *app)
{
    const struct arguments *arguments = &app->arguments;
    if (arguments->operand_count > 1)
        app_stop(app, "one folder at a time");
    app_must(app, app_load(app, arguments->operands, arguments->operand_count));
    reader_check_patterns(app->reader, app->diags);
    if (diags_errors(app->diags) > 0)
        return STATUS_DATA;
    app_report(app); /* warnings, if any, are shown; they are no failure */
    return STATUS_OK;
}

/* ---- rules test ------------------------------------------------------------------------------ */

struct testing {
    bool json, fit, all;
};
#define AT(member) .target = offsetof(struct testing, member)

static const struct option test_options[] = {
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {"fit", NULL, "find the power tau with the lowest log score and print it; nothing is written",
     OPTION_FLAG, AT(fit)},
    {"all", NULL, "list every case, not only those that fail", OPTION_FLAG, AT(all)},
    {0},
};
#undef AT

/* The labelled cases of a file or folder, in the arena; how many. */
static size_t load_cases(struct app *app, const char *path, const struct labelled_case **cases)
{
    size_t count = 0;
    app_must(app, cases_load(path, app->rules, app->arena, cases, &count, app->diags));
    return count;
}

static void share_row(struct screen *screen, const char *label, size_t part, size_t whole)
{
    enum { LABEL_COLUMNS = 34 };
    screen_row_text(screen, 0, LABEL_COLUMNS, label, "%4zu of %4zu   %5.1f %%", part, whole,
                    whole > 0 ? 100.0 * (double)part / (double)whole : 0.0);
}

static void show_row(struct app *app, const struct score_row *row)
{
    const struct labelled_case *labelled = row->labelled;
    const struct finding *findings = app->rules->findings;
    struct text words;
    text_init(&words);
    text_printf(&words, "%s: %s, leads %s %.2f", labelled->id, action_name(row->action),
                findings[row->leader].id, row->leader_p);
    if (row->unsafe_keep)
        text_puts(&words, "; UNSAFE KEEP");
    if (row->needless_discard)
        text_puts(&words, "; needless discard");
    if (!row->action_right)
        text_puts(&words, "; action not accepted");
    if (!row->finding_three)
        text_printf(&words, "; '%s' not among the first three", findings[labelled->findings[0]].id);
    else if (!row->finding_first)
        text_printf(&words, "; '%s' not first", findings[labelled->findings[0]].id);
    if (row->has_cause && !row->cause_three)
        text_printf(&words, "; cause '%s' not among the first three",
                    app->rules->causes[labelled->causes[0]].id);
    screen_text(&app->out, 0, 4, ROLE_PLAIN, &words);
}

static void show_score(struct app *app, const struct score *score, bool all)
{
    struct screen *screen = &app->out;
    for (size_t i = 0; i < score->cases; i++) {
        const struct score_row *row = &score->rows[i];
        bool failed = !row->finding_three || !row->action_right ||
                      (row->has_cause && !row->cause_three) || row->unsafe_keep ||
                      row->needless_discard;
        if (all || failed)
            show_row(app, row);
    }
    if (score->cases > 0)
        screen_blank(screen);
    share_row(screen, "finding first", score->finding_first, score->cases);
    share_row(screen, "finding among the first three", score->finding_three, score->cases);
    share_row(screen, "cause among the first three", score->cause_three, score->caused);
    share_row(screen, "action accepted", score->action_right, score->cases);
    share_row(screen, "contaminated called keep", score->unsafe_keeps, score->cases - score->clean);
    share_row(screen, "clean discarded needlessly", score->needless_discards, score->clean);
    screen_say(screen, 0, 0, ROLE_PLAIN, "log score %.3f nats, Brier score %.3f", score->log_score,
               score->brier);
    if (!isnan(score->auc))
        screen_say(screen, 0, 0, ROLE_PLAIN, "AUC of contaminated or not %.3f", score->auc);
    screen_heading(screen, "How sure it was, how often it was right");
    for (size_t b = 0; b < SCORE_BINS; b++) {
        const struct score_bin *bin = &score->bins[b];
        char label[32];
        snprintf(label, sizeof label, "%zu to %zu %%", b * 10, (b + 1) * 10);
        if (bin->count > 0)
            screen_row_text(screen, 0, 14, label, "%4zu %-7s said %5.1f %%   right %5.1f %%",
                            bin->count, bin->count == 1 ? "case" : "cases", 100.0 * bin->confidence,
                            100.0 * bin->accuracy);
    }
    screen_say(screen, 0, 0, ROLE_PLAIN, "expected calibration error %.3f",
               score->calibration_error);
    screen_say(screen, 0, 0, ROLE_PLAIN, "expected calibration error of contaminated or not %.3f",
               score->contamination_error);
}

#define COUNT(member)  FIELD(#member, COUNT, struct score, member)
#define NUMBER(member) FIELD(#member, NUMBER, struct score, member)
static const struct field score_fields[] = {
    COUNT(cases),
    COUNT(finding_first),
    COUNT(finding_three),
    COUNT(caused),
    COUNT(cause_three),
    COUNT(action_right),
    COUNT(unsafe_keeps),
    COUNT(clean),
    COUNT(needless_discards),
    NUMBER(log_score),
    NUMBER(brier),
    NUMBER(calibration_error),
    NUMBER(auc),
    NUMBER(contamination_error),
    FIELDS_END,
};
#undef COUNT
#undef NUMBER

static json_t *score_json(const struct rules *rules, const struct score *score)
{
    json_t *rows = json_array(), *bins = json_array();
    for (size_t i = 0; i < score->cases; i++) {
        const struct score_row *row = &score->rows[i];
        view_json_row(rows, "{s:s, s:s, s:s, s:f, s:f, s:b, s:b, s:b, s:b, s:b, s:b}", "id",
                      row->labelled->id, "action", action_name(row->action), "leader",
                      rules->findings[row->leader].id, "leader_p", row->leader_p, "labelled_p",
                      row->labelled_p, "finding_first", row->finding_first, "finding_three",
                      row->finding_three, "cause_three", row->cause_three || !row->has_cause,
                      "action_right", row->action_right, "unsafe_keep", row->unsafe_keep,
                      "needless_discard", row->needless_discard);
    }
    for (size_t b = 0; b < SCORE_BINS; b++)
        view_json_row(bins, "{s:I, s:f, s:f}", "cases", (json_int_t)score->bins[b].count,
                      "confidence", score->bins[b].confidence, "accuracy", score->bins[b].accuracy);
    return view_json_put(
        view_json_put(view_fields_json(json_pack("{s:i}", "schema", 1), score_fields, score),
                      "calibration", bins),
        "rows", rows);
}

static enum status run_test(struct app *app)
{
    struct testing given = {0};
    const struct labelled_case *cases = NULL;
    struct score score;
    double tau = 1, log_score = 0;

    if (app->arguments.operand_count > 1)
        app_stop(app, "one file or folder of cases at a time");
    options_fill(app, &given);
    app_must(app, app_load(app, NULL, 0));
    size_t count = load_cases(app,
                              app->arguments.operand_count == 0 ? corpus_find(app, "cases")
                                                                : app->arguments.operands[0],
                              &cases);
    if (given.fit) {
        app_must(app, score_fit_tau(app->triage, app->reasoner, cases, count, &tau, &log_score,
                                    app->diags));
        screen_say(&app->out, 0, 0, ROLE_PLAIN,
                   "tau %.3f gives the lowest log score, %.4f nats over %zu cases; the rules have "
                   "%.3f",
                   tau, log_score, count, app->rules->calibration.tau);
        return app_flush(app);
    }
    app_must(app, score_cases(app->triage, cases, count, app->arena, &score, app->diags));
    if (given.json) {
        app_must(app, app_json(app, score_json(app->rules, &score)));
    } else {
        show_score(app, &score, given.all);
        app_must(app, app_flush(app));
    }
    /* No contaminated vessel is ever called keep. */
    return score.unsafe_keeps > 0 ? STATUS_CHECK : STATUS_OK;
}

/* ---- rules words ----------------------------------------------------------------------------- */

static const struct option words_options[] = {
    {"least", "N", "leave out words in fewer than N texts; else 2", OPTION_COUNT, .target = 0,
     .low = 1, .high = 1000},
    {0},
};

static enum status run_words(struct app *app)
{
    size_t least = 2;
    struct text table;

    if (app->arguments.operand_count == 0)
        app_stop(app, "name the folders or files of labelled cases to count");
    options_fill(app, &least);
    app_must(app, app_load(app, NULL, 0));
    struct word_counts *counts = word_counts_new(app->rules);
    struct arena *scratch = arena_new();
    for (size_t i = 0; i < app->arguments.operand_count; i++) {
        const struct labelled_case *cases = NULL;
        size_t count = load_cases(app, app->arguments.operands[i], &cases);
        for (size_t k = 0; k < count; k++) {
            const size_t length = strlen(cases[k].text);
            struct reading_list list;
            arena_reset(scratch);
            app_must(app,
                     reader_read(app->reader, cases[k].text, length, scratch, &list, app->diags));
            word_counts_add(counts, reader_own_words(&list, length, scratch), length,
                            cases[k].findings, cases[k].finding_count);
        }
    }
    text_init(&table);
    word_counts_table(counts, least, &table);
    word_counts_free(counts);
    arena_free(scratch);
    app_write(app, "-", &table, false);
    return STATUS_OK;
}

/* ==== rules learn ============================================================================= */

/* Confirmed outcomes into the grower's own overlay: shown first, tried on the corpus, taken back. */

enum { SHIFTS_SHOWN = 12 };

/* A log score worse by less than this, in nats a case, is no news over a hundred cases. */
static const double WORSE_BY = 0.01;

struct lesson { /* what one call works with; texts in the arena */
    struct app *app;
    struct app after; /* the same rules with the lesson over them */
    struct learned learned;
    struct text yaml;
    struct score scores[2]; /* before, after */
    bool worse, unsafe;
    const char *file, *old; /* learned.yaml of the grower, and what was there before */
    bool apply, undo, even_if_worse, json;
};
#define AT(member) .target = offsetof(struct lesson, member)

static const struct option learn_options[] = {
    {"apply", NULL, "write what was learned into your own rules", OPTION_FLAG, AT(apply)},
    {"undo", NULL, "take the last --apply back", OPTION_FLAG, AT(undo)},
    {"even-if-worse", NULL, "apply although the labelled cases come out worse", OPTION_FLAG,
     AT(even_if_worse)},
    {"json", NULL, "print JSON", OPTION_FLAG, AT(json)},
    {0},
};
#undef AT

/* ---- files ----------------------------------------------------------------------------------- */

static enum status write_whole(struct app *app, const char *path, const struct text *text)
{
    if (!filing_make_folders(path))
        return app_error(app, STATUS_IO, path, "its folder cannot be made");
    return filing_put(path, text, true, app->diags);
}

static enum status undo(struct lesson *lesson)
{
    struct app *app = lesson->app;
    bool older = access(lesson->old, F_OK) == 0;
    if (access(lesson->file, F_OK) != 0)
        app_stop(app, "nothing was learned yet: there is no %s", lesson->file);
    if ((older ? rename(lesson->old, lesson->file) : unlink(lesson->file)) != 0)
        return app_error(app, STATUS_IO, lesson->file, "cannot be taken back");
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               older ? "Taken back: %s is as it was before the last --apply."
                     : "Taken back: %s is gone; the shipped figures apply again.",
               lesson->file);
    return app_flush(app);
}

/* ---- before and after ------------------------------------------------------------------------ */

/* Loads the rules once more, with the lesson over them. */
static void load_after(struct lesson *lesson)
{
    struct app *app = lesson->app;
    const char *more[] = {app_temporary(app)};
    lesson->after = (struct app){
        .common = app->common, .diags = app->diags, .arena = app->arena, .command = app->command};
    app_must(app,
             write_whole(app, arena_format(app->arena, "%s/learned.yaml", more[0]), &lesson->yaml));
    app_must(app, app_load(&lesson->after, more, 1));
    app_remove_temporary(app);
}

static void compare(struct lesson *lesson)
{
    struct app *apps[] = {lesson->app, &lesson->after};
    struct app *app = lesson->app;
    const struct score *before = &lesson->scores[0], *after = &lesson->scores[1];
    const char *path = corpus_find(app, "cases");
    for (size_t i = 0; i < 2; i++) {
        const struct labelled_case *cases = NULL;
        size_t count = load_cases(apps[i], path, &cases);
        app_must(app, score_cases(apps[i]->triage, cases, count, app->arena, &lesson->scores[i],
                                  app->diags));
    }
    lesson->unsafe = after->unsafe_keeps > 0;
    lesson->worse = after->log_score > before->log_score + WORSE_BY ||
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

static int by_size(const void *a, const void *b)
{
    const struct shift *left = a, *right = b;
    double x = fabs(left->after - left->before), y = fabs(right->after - right->before);
    return (x < y) - (x > y);
}

static const char *percent(struct lesson *lesson, double p)
{
    char room[PERCENT_ROOM];
    return arena_string(lesson->app->arena, view_percent(p, room));
}

static const char *of_all(struct lesson *lesson, double part, double of)
{
    return arena_format(lesson->app->arena, "%.0f of %.0f", part, of);
}

static void show_shifts(struct lesson *lesson)
{
    static const char *const headings[] = {"finding", "sign", "yours", "was", "becomes"};
    const struct rules *rules = lesson->app->rules;
    const struct learned *learned = &lesson->learned;
    const struct reasoner *before = lesson->app->reasoner, *after = lesson->after.reasoner;
    struct screen *screen = &lesson->app->out;
    struct arena *arena = lesson->app->arena;
    struct shift *shifts = NULL;
    struct table table;
    size_t count = 0;
    for (size_t i = 0; i < learned->sign_count; i++) {
        const struct learned_sign *sign = &learned->signs[i];
        size_t o = sign->observable;
        for (size_t v = 0; v < rules->observables[o].value_count; v++)
            if (sign->of[v] > 0)
                *arena_push(arena, shifts, count) = (struct shift){
                    sign, v, reasoner_likelihood(before, NULL, o, v, sign->finding, 0),
                    reasoner_likelihood(after, NULL, o, v, sign->finding, 0)};
    }
    if (count == 0)
        return;
    qsort(shifts, count, sizeof *shifts, by_size);
    screen_heading(screen, "What changes most");
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, arena);
    for (size_t i = 0; i < count && i < SHIFTS_SHOWN; i++) {
        const struct shift *shift = &shifts[i];
        const struct learned_sign *sign = shift->sign;
        const struct observable *observable = &rules->observables[sign->observable];
        const char *const cells[] = {
            rules->findings[sign->finding].name,
            arena_format(arena, "%s: %s", observable->label,
                         observable->values[shift->value].label),
            of_all(lesson, sign->seen[shift->value], sign->of[shift->value]),
            percent(lesson, shift->before),
            percent(lesson, shift->after),
        };
        table_row(&table, cells);
    }
    table_show(&table, screen);
    if (count > SHIFTS_SHOWN)
        screen_say(screen, 0, 0, ROLE_QUIET, "and %zu more figure%s, by less.",
                   count - SHIFTS_SHOWN, count - SHIFTS_SHOWN == 1 ? "" : "s");
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
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, lesson->app->arena);
    for (size_t i = 0; i < learned->cause_count; i++) {
        const struct learned_cause *own = &learned->causes[i];
        const struct cause *cause = &lesson->app->rules->causes[own->cause];
        double becomes =
            (learned->strength * cause->prior + own->seen) / (learned->strength + own->of);
        const char *const cells[] = {cause->name, of_all(lesson, own->seen, own->of),
                                     percent(lesson, cause->prior), percent(lesson, becomes)};
        if (own->seen > 0)
            table_row(&table, cells);
    }
    table_show(&table, screen);
    screen_say(screen, 0, 0, ROLE_QUIET, "Every other cause becomes a little less likely.");
}

static void show_scores(struct lesson *lesson)
{
    static const char *const headings[] = {"labelled cases", "now", "with it"};
    const struct score *before = &lesson->scores[0], *after = &lesson->scores[1];
    size_t all = before->cases, clean = before->clean, dirty = all - clean;
    struct screen *screen = &lesson->app->out;
    struct arena *arena = lesson->app->arena;
    struct table table;
#define ROW(what, member, of)                                                                      \
    {                                                                                              \
        what, of_all(lesson, (double)before->member, (double)(of)),                                \
            of_all(lesson, (double)after->member, (double)(of))                                    \
    }
    const char *const rows[][3] = {
        ROW("finding first", finding_first, all),
        ROW("action accepted", action_right, all),
        ROW("contaminated called keep", unsafe_keeps, dirty),
        ROW("clean discarded needlessly", needless_discards, clean),
        {"log score, nats; lower is better", arena_format(arena, "%.4f", before->log_score),
         arena_format(arena, "%.4f", after->log_score)},
    };
#undef ROW
    screen_heading(screen, "The labelled cases");
    table_init(&table, screen, headings, sizeof headings / sizeof *headings, arena);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        table_row(&table, rows[i]);
    table_show(&table, screen);
}

static void show(struct lesson *lesson)
{
    struct screen *screen = &lesson->app->out;
    double vessels = lesson->learned.vessels;
    screen_say(screen, 0, 0, ROLE_PLAIN,
               "%.0f vessel%s with a confirmed outcome, added to the shipped figures, which count "
               "as %.0f vessels each.",
               vessels, vessels == 1 ? "" : "s", lesson->learned.strength);
    show_shifts(lesson);
    show_causes(lesson);
    show_scores(lesson);
    screen_blank(screen);
    if (lesson->unsafe)
        screen_say(screen, 0, 0, ROLE_WARN,
                   "With it a contaminated vessel would be called keep. It cannot be applied.");
    else if (lesson->worse)
        screen_say(screen, 0, 0, ROLE_WARN,
                   "The labelled cases come out worse. --apply --even-if-worse applies it anyway.");
    else if (!lesson->apply)
        screen_say(screen, 0, 0, ROLE_PLAIN, "Nothing was changed. --apply writes it.");
}

/* ---- the command ----------------------------------------------------------------------------- */

static enum status run_learn(struct app *app)
{
    struct lesson lesson = {.app = app};
    char day[MOMENT_ROOM];
    options_fill(app, &lesson);
    if (app->arguments.operand_count > 0)
        app_stop(app, "unexpected argument '%s'; 'rules learn' reads the journal",
                 app->arguments.operands[0]);
    char *overlay = rules_overlay_path();
    if (overlay == NULL)
        app_stop(app, "no home folder to keep your own rules in");
    lesson.file = arena_format(app->arena, "%s/learned.yaml", overlay);
    /* Its name does not end in .yaml: it is not read as a rule. */
    lesson.old = arena_format(app->arena, "%s/learned.before", overlay);
    free(overlay);
    if (lesson.undo)
        return undo(&lesson);
    app_open(app, JOURNAL_READ);
    app_must(app, learn_count(app->journal, app->rules, app->arena, &lesson.learned, app->diags));
    if (lesson.learned.vessels <= 0)
        app_stop(app, "no vessel has a confirmed outcome yet; 'jarside confirm LABEL FINDING' "
                      "records what one turned out to be");
    text_init(&lesson.yaml);
    learn_write(&lesson.learned, app->rules, moment_write_day(moment_now(), day), &lesson.yaml);
    load_after(&lesson);
    compare(&lesson);
    bool may = !lesson.unsafe && (!lesson.worse || lesson.even_if_worse);
    bool applies = lesson.apply && may;
    if (applies && access(lesson.file, F_OK) == 0 && rename(lesson.file, lesson.old) != 0)
        return app_error(app, STATUS_IO, lesson.file, "cannot be set aside");
    if (applies)
        app_must(app, write_whole(app, lesson.file, &lesson.yaml));
    if (lesson.json) {
        app_must(
            app,
            app_json(
                app,
                json_pack("{s:i, s:f, s:f, s:s, s:o?, s:o?, s:b, s:b, s:b}", "schema", 1, "vessels",
                          lesson.learned.vessels, "strength", lesson.learned.strength, "file",
                          lesson.file, "before",
                          view_fields_json(json_object(), score_fields, &lesson.scores[0]), "after",
                          view_fields_json(json_object(), score_fields, &lesson.scores[1]), "worse",
                          lesson.worse, "unsafe", lesson.unsafe, "applied", applies)));
    } else {
        show(&lesson);
        if (applies)
            screen_say(&app->out, 0, 0, ROLE_PLAIN,
                       "Written to %s. 'jarside rules learn --undo' takes it back.", lesson.file);
        app_must(app, app_flush(app));
    }
    triage_free(lesson.after.triage);
    words_free(lesson.after.words);
    reasoner_free(lesson.after.reasoner);
    reader_free(lesson.after.reader);
    rules_free(lesson.after.rules);
    text_release(&lesson.yaml);
    return lesson.apply && !may ? STATUS_CHECK : STATUS_OK;
}

const struct command rules_commands[] = {
    {"rules check", "checks the rules; silent when all is well", "[DIR]",
     "Reads the shipped rules, your overlay and DIR, and names every error with file, line and "
     "column. Changes nothing. Exit status 65 when there is an error.",
     NULL, run_check},
    {"rules test", "judges labelled cases and scores the verdicts", "[FILE-OR-DIR]",
     "Without an operand the shipped corpus is used. Lists the cases that fail, then the scores. "
     "Exit status 1 when a contaminated vessel was called keep.",
     test_options, run_test},
    {"rules words", "counts which words go with which finding in labelled cases", "FILE-OR-DIR...",
     "Prints the table that is words.tsv among the rules: how often each word, and each pair of "
     "neighbouring words, went with each finding. The same cases give the same bytes. The shipped "
     "table is made by: jarside rules words corpus/voices corpus/cases corpus/cases-hard > "
     "rules/words.tsv",
     words_options, run_words},
    {"rules learn", "adds your confirmed outcomes to the frequencies; shows first, can be undone",
     "",
     "Counts what 'confirm' recorded, shows which figures would change and what that does to the "
     "labelled cases, and changes nothing. --apply writes the counts into a file of their own "
     "among your rules; --undo takes the last one back.",
     learn_options, run_learn},
    {0},
};
