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

static const struct command *const commands[] = {
    &command_ask,
    &command_judge,
    &command_show,
    &command_cook,
    &command_mix,
    &command_forecast,
    &command_batch,
    &command_look,
    &command_move,
    &command_shake,
    &command_isolate,
    &command_return,
    &command_discard,
    &command_use,
    &command_confirm,
    &command_correct,
    &command_due,
    &command_list,
    &command_life,
    &command_search,
    &command_labels,
    &command_starter,
    &command_record,
    &command_export,
    &command_import,
    &command_backup,
    &command_restore,
    &command_journal_check,
    &command_rules_check,
    &command_rules_test,
    &command_rules_words,
    &command_review,
    &command_rules_learn,
    &command_journal_demo,
    &command_help,
    &command_version,
    NULL,
};

static const char *const colour_words[] = {"auto", "always", "never", NULL};

static const struct option common_options[] = {
    {"rules", "DIR",
     "read the rules in DIR as well; they add to the shipped ones or replace them by id",
     OPTION_TEXTS, .target = offsetof(struct common_options, rules)},
    {"journal", "FILE", "keep the journal in FILE, not in the usual place", OPTION_TEXT,
     .target = offsetof(struct common_options, journal)},
    {"color", "WHEN", "auto, always or never", OPTION_CHOICE,
     .target = offsetof(struct common_options, color), .words = colour_words},
    {"help", NULL, "show help", OPTION_FLAG, .target = offsetof(struct common_options, help)},
    {0},
};

/* How many of the words of `name` argv begins with; 0 unless all of them. */
static int words_matched(const char *name, int argc, char **argv)
{
    int words = 0;
    while (*name != '\0') {
        size_t length = strcspn(name, " ");
        if (words >= argc || strlen(argv[words]) != length ||
            memcmp(argv[words], name, length) != 0)
            return 0;
        words++;
        name += length;
        name += strspn(name, " ");
    }
    return words;
}

/* The command named by the first words of argv, and how many words that took; NULL if none is. */
static const struct command *command_find(int argc, char **argv, int *words)
{
    for (size_t i = 0; commands[i] != NULL; i++)
        if ((*words = words_matched(commands[i]->name, argc, argv)) > 0)
            return commands[i];
    return NULL;
}

/* ==== help ==================================================================================== */

static void option_rows(struct screen *screen, const struct option *options)
{
    enum { NAME_COLUMNS = 24 };
    for (; options != NULL && options->name != NULL; options++) {
        char name[64];
        snprintf(name, sizeof name, "--%s%s%s", options->name, options->argument != NULL ? " " : "",
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

static void help_all(struct screen *screen)
{
    enum { NAME_COLUMNS = 16 };
    screen_say(
        screen, 0, 0, ROLE_PLAIN,
        "Jarside judges a jar or bag of grain spawn from what you see: what is in it, why, and "
        "whether to keep, isolate or discard it. Never open, shake or smell a suspect vessel.");
    screen_blank(screen);
    screen_row(screen, 2, NAME_COLUMNS, "jarside", "opens the conversation");
    for (size_t i = 0; commands[i] != NULL; i++)
        screen_row(screen, 2, NAME_COLUMNS, commands[i]->name, commands[i]->summary);
    screen_blank(screen);
    screen_say(screen, 0, 0, ROLE_PLAIN, "'jarside help COMMAND' tells more of each.");
    screen_say(screen, 0, 0, ROLE_PLAIN,
               "Exit status: 0 fine, 1 a check failed, 2 wrong use, 65 bad data, 70 a fault of the "
               "program, 74 reading or writing failed, 141 nobody reads the output any more.");
}

static enum status run_help(struct app *app)
{
    int words = 0;
    const struct arguments *arguments = &app->arguments;
    if (arguments->operand_count == 0) {
        help_all(&app->out);
        return app_flush(app);
    }
    const struct command *command =
        command_find((int)arguments->operand_count, (char **)(void *)arguments->operands, &words);
    if (command == NULL)
        return app_usage(app, "no command '%s'; 'jarside help' lists them", arguments->operands[0]);
    help_command(&app->out, command);
    return app_flush(app);
}

static enum status run_version(struct app *app)
{
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "jarside %s", JARSIDE_VERSION);
    return app_flush(app);
}

const struct command command_help = {
    .name = "help",
    .summary = "tells what the commands do",
    .operands = "[COMMAND]",
    .run = run_help,
};

const struct command command_version = {
    .name = "version",
    .summary = "prints the version",
    .operands = "",
    .run = run_version,
};

/* ==== running ================================================================================= */

static enum status unknown_command(struct app *app, int argc, char **argv)
{
    enum { MOST = 64 };
    const char *names[MOST];
    size_t count = 0;
    for (size_t i = 0; commands[i] != NULL && count < MOST; i++)
        names[count++] = commands[i]->name;
    char two_words[128] = "";
    if (argc > 1 && (strcmp(argv[0], "rules") == 0 || strcmp(argv[0], "journal") == 0))
        snprintf(two_words, sizeof two_words, "%s %s", argv[0], argv[1]);
    const char *word = two_words[0] != '\0' ? two_words : argv[0];
    const char *near = diag_nearest(word, names, count);
    if (near != NULL)
        return app_usage(app, "no command '%s'; did you mean '%s'?", word, near);
    return app_usage(app,
                     "no command '%s'; 'jarside help' lists them. To judge a description: "
                     "jarside judge \"%s ...\"",
                     word, word);
}

static enum status run(struct app *app, int argc, char **argv)
{
    static const enum colour_choice choices[] = {COLOUR_AUTO, COLOUR_ALWAYS, COLOUR_NEVER};
    enum status status = arguments_read(&app->arguments, argc, argv, app->command->options,
                                        common_options, app->diags);
    if (status == STATUS_OK)
        status = options_fill_from(app, common_options, &app->common);
    if (status != STATUS_OK)
        return status;
    screen_release(&app->out);
    screen_init(&app->out, stdout, choices[app->common.color]);
    if (!app->common.help)
        return app->command->run(app);
    help_command(&app->out, app->command);
    return app_flush(app);
}

/* A bare call opens the conversation; bare options go with it, but for --help and --version. */
static enum status dispatch(struct app *app, int argc, char **argv)
{
    int words = 0;
    if (argc > 0 && (strcmp(argv[0], "--help") == 0 || strcmp(argv[0], "-h") == 0)) {
        help_all(&app->out);
        return app_flush(app);
    }
    if (argc > 0 && strcmp(argv[0], "--version") == 0)
        app->command = &command_version, words = 1;
    else if (argc == 0 || argv[0][0] == '-')
        app->command = &command_ask;
    else if ((app->command = command_find(argc, argv, &words)) == NULL)
        return unknown_command(app, argc, argv);
    return run(app, argc - words, argv + words);
}

static void app_release(struct app *app)
{
    journal_close(app->journal);
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
static enum status end(struct app *app, enum status status)
{
    static const char *const reasons[] = {
        [STATUS_IO] = "cannot write the output",
        [STATUS_INTERNAL] = "a fault of the program; please report what you did",
    };
    size_t errors = diags_errors(app->diags);
    if (errors == 0 && status < sizeof reasons / sizeof *reasons && reasons[status] != NULL)
        app_error(app, status, NULL, "%s", reasons[status]);
    if (status != STATUS_OK && (status != STATUS_CHECK || errors > 0))
        app_report(app);
    return status;
}

int cli_main(int argc, char **argv)
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
    enum status status = end(&app, dispatch(&app, argc > 0 ? argc - 1 : 0, argv + 1));
    /* What stdio still holds must arrive too: a full disk shows only here. */
    if (fclose(stdout) != 0 && status == STATUS_OK)
        status = end(&app, app_refused(&app, errno));
    app_release(&app);
    return (int)status_exit(status);
}
