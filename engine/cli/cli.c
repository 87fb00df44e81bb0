/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/cli.h"

#include <errno.h>
#include <gsl/gsl_errno.h>
#include <locale.h>
#include <malloc.h>
#include <signal.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "base/memory.h"
#include "cli/app.h"
#include "journal/journal.h"

/* ==== what there is ========================================================================== */

static const struct command *const groups[] = {
    judge_commands,  plan_commands,   batch_commands,    look_commands,
    event_commands,  record_commands, exchange_commands, rules_commands,
    review_commands, config_commands, help_commands,
};
enum { GROUPS = sizeof groups / sizeof *groups };

const struct command *command_next(const struct command *command)
{
    if (command == NULL)
        return groups[0];
    if (command[1].name != NULL)
        return command + 1;
    for (size_t i = 0; i + 1 < GROUPS; i++)
        for (const struct command *of = groups[i]; of->name != NULL; of++)
            if (of == command)
                return groups[i + 1];
    return NULL;
}

static const char *const colour_words[] = {"auto", "always", "never", NULL};

const struct option common_options[] = {
    {"rules", "DIR",
     "read the rules in DIR as well; they add to the shipped ones or replace them by id",
     OPTION_TEXTS, .target = offsetof(struct common_options, rules)},
    {"journal", "FILE", "keep the journal in FILE, not in the usual place", OPTION_TEXT,
     .target = offsetof(struct common_options, journal)},
    {"color", "WHEN", "auto, always or never", OPTION_CHOICE,
     .target = offsetof(struct common_options, color), .words = colour_words},
    {"quiet", NULL, "print errors only; the exit status tells the rest", OPTION_FLAG,
     .target = offsetof(struct common_options, quiet), .letter = 'q'},
    {"help", NULL, "show help", OPTION_FLAG, .target = offsetof(struct common_options, help),
     .letter = 'h'},
    {"version", NULL, "show the version", OPTION_FLAG,
     .target = offsetof(struct common_options, version), .letter = 'V'},
    {0},
};

/* The command named by the first words of argv, and how many words that took; NULL if none is. */
static const struct command *command_find(int argc, char **argv, int *words)
{
    for (const struct command *command = NULL; (command = command_next(command)) != NULL;) {
        const char *name = command->name, *second = strchr(name, ' ');
        size_t length = second != NULL ? (size_t)(second - name) : strlen(name);
        *words = second != NULL ? 2 : 1;
        if (*words <= argc && strlen(argv[0]) == length && memcmp(argv[0], name, length) == 0 &&
            (second == NULL || strcmp(argv[1], second + 1) == 0))
            return command;
    }
    for (const struct command *command = hidden_commands; command->name != NULL; command++)
        if (argc > 0 && strcmp(argv[0], command->name) == 0)
            return *words = 1, command;
    return NULL;
}

/* ==== help ==================================================================================== */

const char help_about[] =
    "Jarside judges a jar or bag of grain spawn from what you see: what is in it, why, and "
    "whether to keep, isolate or discard it. Never open, shake or smell a suspect vessel.";
const char help_exit[] = "0 fine, 1 a check failed, 2 wrong use, 65 bad data, 70 an error in "
                         "the program, 74 reading or writing failed, 141 output closed.";

/* Whether the first word of the command's name, of two, is this one. */
static bool in_group(const struct command *command, const char *word)
{
    size_t length = strlen(word);
    return strncmp(command->name, word, length) == 0 && command->name[length] == ' ';
}

/* The second words of a group of commands, "check or demo"; NULL when there is no such group. */
static const char *group_words(struct app *app, const char *word)
{
    const char *words = NULL;
    for (const struct command *command = NULL; (command = command_next(command)) != NULL;)
        if (in_group(command, word))
            words = words == NULL ? strchr(command->name, ' ') + 1
                                  : arena_format(app->arena, "%s or %s", words,
                                                 strchr(command->name, ' ') + 1);
    return words;
}

static void option_rows(struct screen *screen, const struct option *options)
{
    enum { NAME_COLUMNS = 24 };
    for (; options != NULL && options->name != NULL; options++) {
        char name[64], letter[] = {'-', options->letter, ',', ' ', '\0'};
        snprintf(name, sizeof name, "%s--%s%s%s", options->letter != '\0' ? letter : "",
                 options->name, options->argument != NULL ? " " : "",
                 options->argument != NULL ? options->argument : "");
        screen_row(screen, 2, NAME_COLUMNS, name, options->help);
    }
}

static void help_command(struct screen *screen, const struct command *command)
{
    screen_say(screen, 0, 4, ROLE_STRONG, "jarside %s [OPTIONS] %s", command->name,
               command->operands);
    screen_say(screen, 0, 0, ROLE_PLAIN, "%s", command->summary);
    if (command->detail != NULL) {
        screen_blank(screen);
        screen_say(screen, 0, 0, ROLE_PLAIN, "%s", command->detail);
    }
    screen_blank(screen);
    option_rows(screen, command->options);
    option_rows(screen, common_options);
}

enum { NAME_COLUMNS = 16 };

static enum status help_group(struct app *app, const char *word)
{
    for (const struct command *command = NULL; (command = command_next(command)) != NULL;)
        if (in_group(command, word))
            screen_row(&app->out, 2, NAME_COLUMNS, command->name, command->summary);
    screen_blank(&app->out);
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "'jarside help %s COMMAND' says more about each.",
               word);
    return app_flush(app);
}

static void help_all(struct screen *screen)
{
    screen_say(screen, 0, 0, ROLE_PLAIN, "%s", help_about);
    screen_blank(screen);
    screen_row(screen, 2, NAME_COLUMNS, "jarside", "opens the conversation");
    for (const struct command *command = NULL; (command = command_next(command)) != NULL;)
        screen_row(screen, 2, NAME_COLUMNS, command->name, command->summary);
    screen_blank(screen);
    screen_say(screen, 0, 0, ROLE_PLAIN, "'jarside help COMMAND' says more about each.");
    screen_say(screen, 0, 0, ROLE_PLAIN, "Exit status: %s", help_exit);
}

static enum status run_help(struct app *app)
{
    int words = 0, count = (int)app->arguments.operand_count;
    const char **operands = app->arguments.operands;
    const struct command *command =
        count > 0 ? command_find(count, (char **)(void *)operands, &words) : NULL;
    if (count == 1 && command == NULL && group_words(app, operands[0]) != NULL)
        return help_group(app, operands[0]);
    if (count > 0 && command == NULL)
        app_stop(app, "no command '%s'; 'jarside help' lists them", operands[0]);
    if (command != NULL)
        help_command(&app->out, command);
    else
        help_all(&app->out);
    return app_flush(app);
}

static enum status run_version(struct app *app)
{
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "jarside %s", JARSIDE_VERSION);
    return app_flush(app);
}

const struct command help_commands[] = {
    {"help", "explains the commands", "[COMMAND]", NULL, NULL, run_help},
    {"version", "prints the version", "", NULL, NULL, run_version},
    {0},
};

/* ==== running ================================================================================= */

static _Noreturn void unknown_command(struct app *app, int argc, char **argv)
{
    enum { MOST = 64 };
    const char *names[MOST], *word = argv[0];
    size_t count = 0;
    for (const struct command *command = NULL;
         (command = command_next(command)) != NULL && count < MOST;)
        names[count++] = command->name;
    if (argc == 1 && group_words(app, word) != NULL)
        app_stop(app, "'%s' needs a second word: %s", word, group_words(app, word));
    if (argc > 1 && group_words(app, word) != NULL)
        word = arena_format(app->arena, "%s %s", argv[0], argv[1]);
    app_unknown(app, NULL, "command", word, names, count,
                arena_format(app->arena,
                             "'jarside help' lists them. To judge a description: "
                             "jarside judge \"%s ...\"",
                             word));
}

/* How many of the words are options of a command, or common ones, and their values. */
static int leading_options(const struct command *command, int argc, char **argv)
{
    int count = 0;
    while (count < argc) {
        const struct option *option = option_find(command->options, argv[count]);
        if (option == NULL)
            option = option_find(common_options, argv[count]);
        if (option == NULL)
            break;
        count += option->argument != NULL && strchr(argv[count], '=') == NULL ? 2 : 1;
    }
    return count;
}

const struct command *command_behind(int argc, char **argv, int *leading, int *words)
{
    const struct command *command = NULL;
    for (*leading = 0; *leading < argc && command == NULL; ++*leading) {
        command = command_find(argc - *leading, argv + *leading, words);
        if (command != NULL && leading_options(command, *leading, argv) != *leading)
            command = NULL;
    }
    *leading -= command != NULL;
    return command;
}

/* A bare call opens the conversation; bare options go with it. Options may stand before the command: they
 * are moved behind its name. */
static enum status run(struct app *app, int argc, char **argv)
{
    static const enum colour_choice choices[] = {COLOUR_AUTO, COLOUR_ALWAYS, COLOUR_NEVER};
    int words = 0, leading = 0, common = leading_options(&(struct command){0}, argc, argv);
    app->command = command_behind(argc, argv, &leading, &words);
    bool named = app->command != NULL;
    if (!named && argc == 2 && group_words(app, argv[0]) != NULL &&
        option_find(common_options, argv[1]) != NULL)
        return help_group(app, argv[0]);
    if (!named && common < argc && argv[common][0] != '-')
        unknown_command(app, argc - common, argv + common);
    if (!named) {
        app->command = judge_commands;
        leading = words = 0;
    }
    memmove(argv + words, argv, (size_t)leading * sizeof *argv);
    app_must(app, arguments_read(&app->arguments, argc - words, argv + words, app->command->options,
                                 common_options, app->diags));
    options_fill_from(app, common_options, &app->common);
    screen_release(&app->out);
    screen_init(&app->out, stdout, choices[app->common.color]);
    if (app->common.help && named)
        help_command(&app->out, app->command);
    else if (app->common.help)
        help_all(&app->out);
    if (app->common.help)
        return app_flush(app);
    if (app->common.version)
        return run_version(app);
    if (app->command->run == run_help || app->command->run == run_version)
        return app->command->run(app); /* whatever the clock and the settings are */
    if (!moment_known(moment_now()))
        app_stop(app, "the clock cannot be read: JARSIDE_NOW should be a moment such as "
                      "2026-03-01T18:30, and TZ a time zone of this earth");
    config_read(app);
    return app->command->run(app);
}

/*
 * Loading the rules touches some ten megabytes once, and taking them from the
 * system page by page cost a third of the time to a verdict. So the heap grows
 * in one step and asks for large pages. Where that is not to be had nothing is
 * lost: it is only a wish.
 */
static void prepare_heap(void)
{
#ifdef __GLIBC__
    enum { HEAP = 16 << 20, LARGE_PAGE = 2 << 20 };
    mallopt(M_TOP_PAD, HEAP);
    mallopt(M_TRIM_THRESHOLD, 2 * HEAP);
    mallopt(M_MMAP_THRESHOLD, 2 * HEAP);
    mallopt(M_ARENA_MAX, 1); /* the thread that compiles tables shares this heap */
    /* More than there is, so that the heap grows now; no request that has to be met. */
    void *volatile more = aligned_alloc(_Alignof(max_align_t), HEAP / 32);
    free(more);
    char *start = (char *)sbrk(0) - HEAP;
    start += (LARGE_PAGE - (uintptr_t)start % LARGE_PAGE) % LARGE_PAGE;
    (void)madvise(start, HEAP - LARGE_PAGE, MADV_HUGEPAGE);
#endif
}

/* Says why a command failed, if nobody has yet. */
static void report_end(struct app *app, enum status status)
{
    static const char *const reasons[] = {
        [STATUS_IO] = "cannot write the output",
        [STATUS_INTERNAL] = "an error in the program; please report what you did",
    };
    size_t errors = diags_errors(app->diags);
    if (errors == 0 && status < sizeof reasons / sizeof *reasons && reasons[status] != NULL)
        app_error(app, status, NULL, "%s", reasons[status]);
    if (status != STATUS_OK && (status != STATUS_CHECK || errors > 0))
        app_report(app);
}

_Noreturn void app_quit(struct app *app, enum status status)
{
    report_end(app, status);
    /* What stdio still holds must arrive too: a full disk shows only here. */
    if (fclose(stdout) != 0 && status == STATUS_OK)
        report_end(app, status = app_refused(app, errno));
    journal_close(app->journal); /* what is not committed is taken back */
    app_remove_temporary(app);
    arena_free(app->arena);
    words_free(app->words);
    triage_free(app->triage);
    reasoner_free(app->reasoner);
    reader_free(app->reader);
    rules_free(app->rules);
    diags_free(app->diags);
    arguments_release(&app->arguments);
    screen_release(&app->out);
    screen_release(&app->err);
    exit((int)status_exit(status));
}

_Noreturn void cli_main(int argc, char **argv)
{
    struct app app = {0};
    prepare_heap();
    setlocale(LC_CTYPE, "");
    signal(SIGPIPE, SIG_IGN);
    gsl_set_error_handler_off(); /* what GSL cannot do it says by its return values */
    screen_init(&app.out, stdout, COLOUR_AUTO);
    screen_init(&app.err, stderr, COLOUR_AUTO);
    app.diags = diags_new();
    app.arena = arena_new();
    app_quit(&app, run(&app, argc > 0 ? argc - 1 : 0, argv + 1));
}
