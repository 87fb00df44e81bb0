/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From the command line to a command and its end: which one it is, the help, what it is given; and
 * what is made from the table of commands for others: manual pages, what a shell offers at Tab. */
#include "cli/app.h"

#include <errno.h>
#include <gsl/gsl_errno.h>
#include <locale.h>
#include <malloc.h>
#include <pthread.h>
#include <signal.h>
#include <spawn.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/csv.h"
#include "base/filing.h"
#include "base/memory.h"
#include "prompt/input.h"

/* ==== what is wrong =========================================================================== */

enum status app_error(struct app *app, enum status status, const char *place, const char *format,
                      ...)
{
    FORMATTED(message, format);
    bool reading = app->reading.file != NULL;
    diags_error(app->diags, reading ? app->reading : (struct position){place, 0, 0}, "%.511s",
                message);
    return reading ? STATUS_DATA : status;
}

_Noreturn void app_unknown(struct app *app, const char *option, const char *what, const char *word,
                           const char *const *names, size_t count, const char *otherwise)
{
    const char *right =
        diag_suggest(app->arena, word, names, count, arena_format(app->arena, "; %s", otherwise));
    if (option != NULL)
        app_wrong(app, option, "no %s '%s'%s", what, word, right);
    app_stop(app, "no %s '%s'%s", what, word, right);
}

void app_report(struct app *app)
{
    screen_diags(&app->err, app->diags);
    if (!app->held)
        screen_flush(&app->err, stderr);
    diags_clear(app->diags);
}

void app_remove_temporary(struct app *app)
{
    const char *file = app->temporary;
    app->temporary = NULL;
    if (file == NULL)
        return;
    (void)unlink(file);
    (void)rmdir(arena_copy(app->arena, file, (size_t)(strrchr(file, '/') - file)));
}

void app_release_rules(struct app *app)
{
    triage_free(app->triage);
    words_free(app->words);
    reasoner_free(app->reasoner);
    reader_free(app->reader);
    rules_free(app->rules);
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
    app_release_rules(app);
    diags_free(app->diags);
    screen_release(&app->out);
    screen_release(&app->err);
    exit((int)status);
}

void confirm_or_stop(struct app *app, bool may_ask, const char *question, const char *otherwise)
{
    struct lines *lines = may_ask ? lines_open(false) : NULL;
    bool sure = lines != NULL && lines_confirm(lines, question);
    lines_close(lines);
    if (!sure)
        app_stop(app, "%s", lines == NULL ? otherwise : "nothing was saved");
}

const char *ask_once(struct app *app, const char *question, const char *const *words, size_t count)
{
    char *answer = NULL;
    struct lines *lines = lines_open(false);
    bool given =
        lines != NULL && lines_ask(lines, question, NULL, words, count, &answer) == LINE_GIVEN;
    lines_close(lines);
    const char *copy = given ? arena_string(app->arena, answer) : NULL;
    free(answer);
    return copy;
}

/* ==== output ================================================================================== */

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

void app_keep(struct app *app, const char *path, struct text *text)
{
    if (!filing_make_folders(path))
        app_fail(app, path, "its folder cannot be made: %s", strerror(errno));
    app_write(app, path, text, true);
}

enum status app_page(struct app *app, struct text *html, const char *further)
{
    const char *path = app->given.html;
    app_write(app, path, html, app->given.force);
    if (strcmp(path, "-") != 0)
        app_say(app, "Written to %s.%s", path, further);
    return app_flush(app);
}

enum status app_refused(struct app *app, int error)
{
    if (error == EPIPE)
        return STATUS_CLOSED;
    return app_error(app, STATUS_IO, NULL, "cannot write the output: %s", strerror(error));
}

/* Shows what is longer than the terminal by the grower's own pager; false when that is not called
 * for, or there is none. No shell comes between. */
static bool shown_by_pager(struct app *app)
{
    enum { WORDS_MOST = 8 };
    extern char **environ;
    const char *said = getenv("PAGER"), *terminal = getenv("TERM");
    char *words[WORDS_MOST + 1] = {NULL};
    char *rest = arena_string(app->arena, said != NULL ? said : "less");
    posix_spawn_file_actions_t files;
    pid_t child = 0;
    int ends[2];

    if (terminal == NULL || strcmp(terminal, "dumb") == 0) /* it cannot turn pages */
        return false;
    if (isatty(STDOUT_FILENO) != 1 || isatty(STDIN_FILENO) != 1 || app->out.rows == 0 ||
        screen_lines(&app->out) < app->out.rows)
        return false;
    for (size_t i = 0; i < WORDS_MOST && *(rest += strspn(rest, " ")) != '\0'; i++) {
        words[i] = rest;
        rest += strcspn(rest, " ");
        if (*rest != '\0')
            *rest++ = '\0';
    }
    if (words[0] == NULL || strcmp(words[0], "cat") == 0 || pipe(ends) != 0)
        return false;
    setenv("LESS", "FRX", 0); /* colours, and nothing to leave when it fits */
    posix_spawn_file_actions_init(&files);
    posix_spawn_file_actions_adddup2(&files, ends[0], STDIN_FILENO);
    posix_spawn_file_actions_addclose(&files, ends[0]);
    posix_spawn_file_actions_addclose(&files, ends[1]);
    (void)signal(SIGPIPE, SIG_DFL); /* for the pager */
    bool runs = posix_spawnp(&child, words[0], &files, NULL, words, environ) == 0;
    (void)signal(SIGPIPE, SIG_IGN);
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
    if (app->given.quiet)
        text_clear(&app->out.out);
    return send_out(app);
}

enum status app_json(struct app *app, json_t *json, bool spread)
{
    const bool written = json_write(&app->out.out, json, spread);
    json_decref(json);
    if (!written)
        return diags_errors(app->diags) > 0 ? STATUS_IO : STATUS_INTERNAL;
    text_add(&app->out.out, "\n", 1);
    return send_out(app);
}

enum status app_tell(struct app *app, const char *name, json_t *tree)
{
    if (app->given.json)
        return app_json(app, tree, true);
    view_say_taken(&(struct face){.screen = &app->out}, name, tree);
    return app_flush(app);
}

/* ==== the rules =============================================================================== */

enum status app_load(struct app *app, const char *const *more, size_t more_count)
{
    const struct texts *named = &app->given.rules;
    const char **folders = arena_array(app->arena, named->count + more_count + 2, sizeof *folders);
    char *shipped SCOPED_FREE = rules_find_shipped(), *overlay SCOPED_FREE = rules_find_overlay();
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
    return app->rules != NULL ? STATUS_OK : status;
}

/* Compiled beside the phrases: both only read the rules. */
static void *compile_tables(void *context)
{
    struct app *app = context;
    app->reasoner = reasoner_new(app->rules);
    return NULL;
}

enum status app_read_words(struct app *app, struct words *words, const char *table)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < app->rules->folder_count && status == STATUS_OK; i++)
        status = words_read(words, arena_format(app->arena, "%s/%s", app->rules->folders[i], table),
                            app->diags);
    return status;
}

void app_compile(struct app *app)
{
    pthread_t beside;
    if (app->triage != NULL)
        return;
    bool apart = pthread_create(&beside, NULL, compile_tables, app) == 0;
    app->reader = reader_new(app->rules, app->diags);
    if (apart)
        pthread_join(beside, NULL);
    else
        compile_tables(app);
    app_must(app, app->reader != NULL ? STATUS_OK : STATUS_DATA);
    app->triage = triage_new(app->rules, app->reader, app->reasoner);
    app->words = words_new(app->rules, LABELS_FINDINGS);
    app_must(app, app_read_words(app, app->words, "words.tsv"));
    triage_weigh_words(app->triage, app->words);
}

struct reading_list app_reading(struct app *app, const char *words)
{
    struct reading_list list;
    app_compile(app);
    app_must(app, reader_read(app->reader, words, strlen(words), app->arena, &list, app->diags));
    return list;
}

const char *corpus_find(struct app *app, const char *below)
{
    char *rules SCOPED_FREE = rules_find_shipped();
    char *slash = rules != NULL ? strrchr(rules, '/') : NULL;
    int length = slash != NULL ? (int)(slash - rules) + 1 : 0;
    const char *path =
        arena_format(app->arena, "%.*scorpus/%s", length, length > 0 ? rules : "", below);
    return path;
}

/* ==== the journal ============================================================================= */

const char *app_journal_path(struct app *app)
{
    const char *named = app->given.journal;
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
    const char *words = app->command->name;
    for (size_t i = 0; i < app->operand_count; i++)
        words_add(app, &words, " ", "%s", app->operands[i]);
    for (size_t i = 0; i < app->option_count; i++) {
        const struct option *option = app->options[i].option;
        const bool flag = option->kind == OPTION_FLAG;
        words_add(app, &words, " ", "--%s%s%s", option->name, flag ? "" : " ",
                  flag ? "" : app->options[i].value);
    }
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
        status = journal_sign(app->journal, getenv("JARSIDE_STATION"), getenv("JARSIDE_PERSON"));
    if (status == STATUS_OK && access > JOURNAL_EXAMINE)
        undo_watch(app->journal, typed(app));
    return status;
}

static void refused(void *app, enum status status)
{
    app_quit(app, status);
}

void app_open(struct app *app, enum journal_access access)
{
    if (app->rules == NULL)
        app_must(app, app_load(app, NULL, 0));
    app_must(app, app_journal(app, access));
    journal_ends(app->journal, refused, app);
    app->view = (struct journal_view){app->journal, app->rules, app->arena, moment_now()};
}

void app_add(struct app *app, enum record record, void *row)
{
    if (record_has_label(record))
        (void)label_check(app->journal, record, ((union any_record *)row)->named.label, NULL);
    (void)journal_add(app->journal, record, row);
}

void app_name(struct app *app, enum record record, union any_record *row)
{
    if (row->named.label[0] == '\0')
        (void)journal_next_label(app->journal, record, app->arena, &row->named.label);
}

void *app_all(struct app *app, enum record record, const char *condition, int64_t value,
              size_t *count)
{
    const struct page page = journal_page(app->journal, record, condition, value, 0, app->arena);
    *count = page.count;
    return page.rows;
}

bool app_newest(struct app *app, enum record record, const char *condition, int64_t value,
                void *row)
{
    const struct page page = journal_page(app->journal, record, condition, value, 1, app->arena);
    if (page.count > 0)
        memcpy(row, page.rows, record_types[record].size);
    return page.count > 0;
}

/* ==== what help.txt says ====================================================================== */

extern const char *const help_lines[]; /* help.txt, as the Makefile makes a table of it */

/* The line after "== SECTION"; at NULL when there is none. */
static const char *const *section_of(const char *section)
{
    const char *const *line = help_lines;
    const size_t length = strlen(section);
    for (; *line != NULL; line++)
        if (strncmp(*line, "== ", 3) == 0 && strncmp(*line + 3, section, length) == 0 &&
            ((*line)[3 + length] == ' ' || (*line)[3 + length] == '\0'))
            return line + 1;
    return line;
}

struct help help_of(const char *section)
{
    const char *const *line = section_of(section);
    if (*line == NULL)
        return (struct help){"", "", ""};
    const char *operands = line[-1] + 3 + strlen(section);
    return (struct help){operands + (*operands == ' '), line[0],
                         line[1] != NULL && strncmp(line[1], "--", 2) != 0 ? line[1] : ""};
}

bool help_next(struct app *app, const char *section, struct help_line *line)
{
    line->at = line->at != NULL ? line->at + 1 : section_of(section);
    if (*line->at == NULL || (*line->at)[0] == '\0')
        return false;
    const char *words = *line->at, *colon = strstr(words, ": ");
    const size_t length = strcspn(words, ": "), whole = colon != NULL ? (size_t)(colon - words) : 0;
    line->word = arena_copy(app->arena, words, length);
    line->argument =
        whole > length ? arena_copy(app->arena, words + length + 1, whole - length - 1) : "";
    line->says = colon != NULL ? colon + 2 : "";
    return true;
}

bool option_next(struct app *app, const struct command *command, struct help_line *line)
{
    for (line->common |= command == NULL;;) {
        const char *section = line->common || command == NULL ? "--" : command->name;
        if (help_next(app, section, line)) {
            line->option =
                strncmp(line->word, "--", 2) == 0 ? option_row(command, line->word + 2) : NULL;
            const bool json = line->common && strcmp(line->word, "--json") == 0;
            if (line->option != NULL && (!json || (command != NULL && command->json)))
                return true;
        } else if (line->common) {
            return false;
        } else {
            *line = (struct help_line){.common = true};
        }
    }
}

/* The option that "--name", "--name=value" or "-n" names, at `line` (or NULL); NULL for none. */
static const struct option *command_option(struct app *app, const struct command *command,
                                           const char *word, struct help_line *line)
{
    struct help_line of = {.common = false};
    const bool dashes = strncmp(word, "--", 2) == 0;
    const size_t length = strcspn(word, "=");
    while (word[0] == '-' && option_next(app, command, &of))
        if (dashes ? strlen(of.word) == length && strncmp(of.word, word, length) == 0
                   : word[1] != '\0' && word[1] == of.option->letter && word[2] == '\0') {
            if (line != NULL)
                *line = of;
            return of.option;
        }
    return NULL;
}

/* ==== which commands there are ================================================================ */

/* In the order of the help; the last are in no help. */
static const struct command *const groups[] = {
    judge_commands, plan_commands,   batch_commands,  look_commands,
    event_commands, record_commands, review_commands, exchange_commands,
    rules_commands, config_commands, help_commands,   hidden_commands,
};
enum { GROUPS = sizeof groups / sizeof *groups, SHOWN = GROUPS - 1 };

/* `command` is each of so many groups in turn. */
#define EACH_COMMAND(count)                                                                        \
    for (size_t group_ = 0; group_ < (count); group_++)                                            \
        for (const struct command *command = groups[group_]; command->name != NULL; command++)

/* The command named by the first words of argv, and how many words that took; NULL if none is. */
static const struct command *command_find(int argc, char **argv, int *words)
{
    EACH_COMMAND (GROUPS) {
        const char *name = command->name, *second = strchr(name, ' ');
        size_t length = second != NULL ? (size_t)(second - name) : strlen(name);
        *words = second != NULL ? 2 : 1;
        if (*words <= argc && strlen(argv[0]) == length && memcmp(argv[0], name, length) == 0 &&
            (second == NULL || strcmp(argv[1], second + 1) == 0))
            return command;
    }
    return NULL;
}

/* How many of the words are options of a command, or common ones, and their values. */
static int leading_options(struct app *app, const struct command *command, int argc, char **argv)
{
    int count = 0;
    while (count < argc) {
        const struct option *option = command_option(app, command, argv[count], NULL);
        if (option == NULL)
            break;
        count += option->kind != OPTION_FLAG && strchr(argv[count], '=') == NULL ? 2 : 1;
    }
    return count;
}

/* The command that is named first, in `words` words, or after nothing but its options, whose
 * number is `leading`; NULL when none is. */
static const struct command *command_behind(struct app *app, int argc, char **argv, int *leading,
                                            int *words)
{
    const struct command *command = NULL;
    for (*leading = 0; *leading < argc && command == NULL; ++*leading) {
        command = command_find(argc - *leading, argv + *leading, words);
        if (command != NULL && leading_options(app, command, *leading, argv) != *leading)
            command = NULL;
    }
    *leading -= command != NULL;
    return command;
}

/* ==== help ==================================================================================== */

/* Whether the first word of the command's name, of two, is this one. */
static bool in_group(const struct command *command, const char *word)
{
    size_t length = strlen(word);
    return strncmp(command->name, word, length) == 0 && command->name[length] == ' ';
}

/* The second words of a group of commands, "check or demo"; NULL when there is no such group. */
static const char *group_words(struct app *app, const char *word)
{
    const char *words = "";
    EACH_COMMAND (SHOWN)
        if (in_group(command, word))
            words_add(app, &words, " or ", "%s", strchr(command->name, ' ') + 1);
    return words[0] != '\0' ? words : NULL;
}

/* What help.txt says of a command, with its options; of NULL, of the program and what any takes. */
static json_t *command_json(struct app *app, const struct command *command)
{
    const struct help help = help_of(command != NULL ? command->name : "jarside");
    char *page = arena_string(app->arena, command != NULL ? command->name : "");
    json_t *options = json_array();
    for (char *blank; (blank = strchr(page, ' ')) != NULL;)
        *blank = '-';
    for (struct help_line line = {.common = false}; option_next(app, command, &line);) {
        const char letter[] = {line.option->letter, '\0'};
        view_json_row(options, "letter:s word:s argument:s says:s", letter, line.word,
                      line.argument, line.says);
    }
    return view_json("name:s page:s operands:s summary:s detail:s options:o",
                     command != NULL ? command->name : "", page, help.operands, help.summary,
                     help.detail, options);
}

/* The heading of the commands from this one on; NULL where none begins. */
static const char *part_begun(struct app *app, const struct command *command)
{
    for (struct help_line line = {.common = false}; help_next(app, "parts", &line);)
        if (strcmp(command->name,
                   line.argument[0] == '\0'
                       ? line.word
                       : arena_format(app->arena, "%s %s", line.word, line.argument)) == 0)
            return line.says;
    return NULL;
}

/* The same of the program, with every command of a group, or of all (NULL), under "commands". */
static json_t *commands_json(struct app *app, const char *group)
{
    json_t *root = command_json(app, NULL), *commands = json_array();
    EACH_COMMAND (SHOWN)
        if (group == NULL || in_group(command, group)) {
            json_t *row = command_json(app, command);
            view_json_add(row, "_part:s", group == NULL ? part_begun(app, command) : NULL);
            json_array_append_new(commands, row);
        }
    view_json_add(root, "version:s group:s commands:o", JARSIDE_VERSION, group, commands);
    return root;
}

static enum status say_help(struct app *app, const char *name, json_t *tree)
{
    view_say_taken(&(struct face){.screen = &app->out}, name, tree);
    return app_flush(app);
}

static _Noreturn void unknown_command(struct app *app, int argc, char **argv);

static enum status run_help(struct app *app)
{
    int words = 0, count = (int)app->operand_count;
    const char **operands = app->operands;
    const struct command *command =
        count > 0 ? command_find(count, (char **)(void *)operands, &words) : NULL;
    if (count == 1 && command == NULL && group_words(app, operands[0]) != NULL)
        return say_help(app, "help.group", commands_json(app, operands[0]));
    if (count > 0 && command == NULL)
        unknown_command(app, count, (char **)(void *)operands);
    return command != NULL ? say_help(app, "help.command", command_json(app, command))
                           : say_help(app, "help", commands_json(app, NULL));
}

static enum status run_version(struct app *app)
{
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "jarside %s", JARSIDE_VERSION);
    return app_flush(app);
}

const struct command help_commands[] = {
    {"help", .run = run_help},
    {"version", .run = run_version},
    {0},
};

/* ==== pages =================================================================================== */

/* The manual in Markdown: "% NAME SECTION VERSION SUMMARY" begins a page. share/manual.awk makes
 * roff of it, when the program is built. */
static enum status run_manual(struct app *app)
{
    json_t *root = commands_json(app, NULL), *tables = json_array();
    for (int record = 0; record < RECORD_COUNT; record++) {
        json_t *columns = json_array();
        for (const struct column *column = record_types[record].columns; column->name; column++)
            if (!column->internal)
                view_json_row(columns, "name:s what:s required:b derived:b", column->name,
                              assign_what(app, column), column->required, column->derived);
        view_json_row(tables, "name:s columns:o", record_types[record].name, columns);
    }
    view_json_add(root, "tables:o", tables);
    view_say_taken(&(struct face){.page = &app->out.out}, "manual", root);
    return app_flush(app);
}

/* ==== completion ============================================================================== */

static void offer(struct app *app, const char *begun, const char *word, const char *what)
{
    struct text *out = &app->out.out;
    if (strncmp(word, begun, strlen(begun)) != 0)
        return;
    text_safe(out, word, strlen(word), &(struct text_safe_options){0});
    text_puts(out, what != NULL ? "\t" : "");
    if (what != NULL)
        text_safe(out, what, strlen(what), &(struct text_safe_options){0});
    text_puts(out, "\n");
}

/* First words of the commands; after the first word of a group its second ones. */
static void offer_commands(struct app *app, const char *group, const char *begun)
{
    const char *last = "";
    EACH_COMMAND (SHOWN) {
        const char *second = strchr(command->name, ' ');
        size_t length = second != NULL ? (size_t)(second - command->name) : strlen(command->name);
        const char *first = arena_copy(app->arena, command->name, length);
        if (group != NULL && second != NULL && strcmp(first, group) == 0)
            offer(app, begun, second + 1, help_of(command->name).summary);
        else if (group == NULL && strcmp(first, last) != 0)
            offer(app, begun, first, second != NULL ? NULL : help_of(command->name).summary);
        last = first;
    }
}

static void offer_ids(struct app *app, enum word_list list, const char *begun)
{
    struct names names;
    if (app->rules == NULL && app_load(app, NULL, 0) != STATUS_OK)
        return;
    names_of(app, list, &names);
    for (size_t i = 0; i < names.count; i++)
        offer(app, begun, names.ids[i], names.names[i]);
}

static void offer_records(struct app *app, enum record record, const char *condition, int64_t value,
                          const char *begun)
{
    const struct page page = journal_page(app->journal, record, condition, value, 0, app->arena);
    for (size_t i = 0; i < page.count; i++)
        offer(app, begun, ((const union any_record *)page_row(&page, i))->named.label,
              record_types[record].name);
}

/* Labels of a kind of record, or with RECORD_COUNT of all; of vessels those of the batch named. */
static void offer_labels(struct app *app, enum record kind, bool vessels, const char *begun)
{
    const char *dash = strrchr(begun, '-');
    int64_t batch = 0;
    if (app->journal == NULL &&
        (access(app_journal_path(app), R_OK) != 0 || app_journal(app, JOURNAL_READ) != STATUS_OK))
        return;
    for (enum record record = 0; record < RECORD_COUNT; record++)
        if (record != RECORD_VESSEL && (kind == RECORD_COUNT || kind == record) &&
            record_has_label(record))
            offer_records(app, record, NULL, 0, begun);
    if (vessels && dash != NULL &&
        journal_has(app->journal, RECORD_BATCH,
                    arena_copy(app->arena, begun, (size_t)(dash - begun)), &batch))
        offer_records(app, RECORD_VESSEL, "batch = ?1", batch, begun);
}

static void offer_value(struct app *app, const struct help_line *line, const char *begun)
{
    const struct option *option = line->option;
    if (option->kind == OPTION_CHOICE)
        for (const char *const *word = option->words; *word != NULL; word++)
            offer(app, begun, *word, NULL);
    else if (option->list != LIST_NONE)
        offer_ids(app, option->list, begun);
    else if (strcmp(line->argument, "BATCH") == 0)
        offer_labels(app, RECORD_BATCH, false, begun);
    else if (strcmp(line->argument, "LABEL") == 0)
        offer_labels(app, labels_kind(option->name), strcmp(option->name, "vessel") == 0, begun);
}

/* What may stand among the operands, by the words the help has for them. */
static void offer_operands(struct app *app, const struct command *command, const char *begun)
{
    const char *operands = help_of(command->name).operands;
    struct help_line line = {.common = false};
    bool vessels = strstr(operands, "VESSEL") != NULL || strstr(operands, "LABEL") != NULL;
    if (strstr(operands, "KIND") != NULL || strstr(operands, "TABLE") != NULL)
        for (int record = 0; record < RECORD_COUNT; record++)
            offer(app, begun, record_types[record].name, "kind");
    if (strstr(operands, "FINDING") != NULL)
        offer_ids(app, LIST_FINDINGS, begun);
    while (strstr(operands, "NAME=") != NULL && help_next(app, "settings", &line))
        offer(app, begun, arena_format(app->arena, "%s=", line.word), line.says);
    while (command->figures && option_next(app, command, &line))
        if (line.option->bare && line.option->dimension == DIM_NONE)
            offer_value(app, &line, begun);
    if (strcmp(operands, "[COMMAND]") == 0)
        offer_commands(app, NULL, begun);
    if (strcmp(operands, "[ID...]") == 0 && (offer_ids(app, LIST_FINDINGS, begun), app->rules))
        for (size_t i = 0; i < app->rules->observable_count; i++)
            offer(app, begun, app->rules->observables[i].id, NULL);
    if (strcmp(operands, "[ID...]") == 0)
        offer_ids(app, LIST_CAUSES, begun);
    if (strstr(operands, "PLACE") != NULL)
        offer_labels(app, RECORD_PLACE, false, begun);
    if (strstr(operands, "LABEL") != NULL || strcmp(operands, "[WORDS...]") == 0)
        offer_labels(app, RECORD_COUNT, vessels, begun);
    else if (vessels || strstr(operands, "BATCH") != NULL)
        offer_labels(app, RECORD_BATCH, vessels, begun);
}

static enum status run_complete(struct app *app)
{
    int count = (int)app->operand_count, leading = 0, words = 0;
    char **typed = arena_array(app->arena, (size_t)count + 1, sizeof *typed);
    if (count == 0)
        return STATUS_OK;
    for (int i = 0; i < count; i++)
        typed[i] = arena_string(app->arena, app->operands[i]);
    const char *begun = typed[--count], *before = count > 0 ? typed[count - 1] : "";
    const struct command *command = command_behind(app, count, typed, &leading, &words);
    struct help_line line;
    const struct option *before_it = command_option(app, command, before, &line);
    for (int i = 0; i + 1 < count; i++) /* the journal that is asked for labels */
        if (strcmp(typed[i], "--journal") == 0)
            app->given.journal = typed[i + 1];
    if (before_it != NULL && before_it->kind != OPTION_FLAG && strchr(before, '=') == NULL) {
        offer_value(app, &line, begun);
    } else if (begun[0] == '-') {
        for (line = (struct help_line){.common = false}; option_next(app, command, &line);)
            offer(app, begun, line.word, line.says);
    } else if (command == NULL) {
        const struct option *valued =
            count > 1 ? command_option(app, NULL, typed[count - 2], NULL) : NULL;
        bool grouped =
            count > 0 && before[0] != '-' && (valued == NULL || valued->kind == OPTION_FLAG);
        offer_commands(app, grouped ? before : NULL, begun);
    } else {
        offer_operands(app, command, begun);
    }
    diags_clear(app->diags); /* nobody reads them at Tab */
    return app_flush(app);
}

const struct command hidden_commands[] = {
    {"complete", .run = run_complete},
    {"manual", .run = run_manual, .needs = NEEDS_RULES},
    {0},
};

/* ==== running ================================================================================= */

/* The command that is meant by the first words: by its name in "add starter", or by a name that
 * growers have for it (help.txt); NULL for none. */
static const char *meant_command(struct app *app, int argc, char **argv)
{
    static const char fillers[] = "add|new|record|make|create|edit|start|a|the|do";
    int words = 0;
    if (argc > 1 && csv_named(fillers, argv[0], strlen(argv[0])) >= 0 &&
        command_find(argc - 1, argv + 1, &words) != NULL)
        return argv[1];
    for (const char *const *line = section_of("also"); *line != NULL && (*line)[0] != '\0';
         line++) {
        const char *names = strstr(*line, ": ") + 2; /* the first may be misspelt */
        const char *first = arena_copy(app->arena, names, strcspn(names, "|"));
        const bool near = strlen(first) > 6 && diag_nearest(argv[0], &first, 1) != NULL;
        if (near || csv_named(names, argv[0], strlen(argv[0])) >= 0)
            return arena_copy(app->arena, *line, (size_t)(names - *line) - 2);
    }
    return NULL;
}

static _Noreturn void unknown_command(struct app *app, int argc, char **argv)
{
    const char **names = NULL, *word = argv[0];
    size_t count = 0;
    EACH_COMMAND (SHOWN)
        *arena_push(app->arena, names, count) = command->name;
    if (argc == 1 && group_words(app, word) != NULL)
        app_stop(app, "'%s' needs a second word: %s", word, group_words(app, word));
    if (argc > 1 && group_words(app, word) != NULL)
        word = arena_format(app->arena, "%s %s", argv[0], argv[1]);
    const char *meant = meant_command(app, argc, argv);
    if (meant != NULL)
        app_stop(
            app,
            "no command '%s'; did you mean 'jarside %s'? 'jarside help %s' says more. To judge "
            "a description: jarside judge \"%s ...\"",
            word, meant, meant, word);
    app_unknown(app, NULL, "command", word, names, count,
                arena_format(app->arena,
                             "'jarside help' lists them. To judge a description: "
                             "jarside judge \"%s ...\"",
                             word));
}

static _Noreturn void unknown_option(struct app *app, const char *word)
{
    const char **names = NULL;
    size_t count = 0;
    for (struct help_line line = {.common = false}; option_next(app, app->command, &line);)
        *arena_push(app->arena, names, count) = line.option->name;
    const char *near = diag_nearest(word + strspn(word, "-"), names, count);
    app_stop(app, "unknown option '%s'; %s", word,
             near != NULL ? arena_format(app->arena, "did you mean '--%s'?", near)
                          : "--help lists them");
}

/* Reads the words after the command's name. "--name value", "--name=value", "-h", "--" and "-" are
 * understood; options and operands may mix. Of an option that is not known the nearest is named. */
static void read_arguments(struct app *app, int argc, char **argv)
{
    const char **operands = arena_array(app->arena, (size_t)argc + 1, sizeof *operands);
    bool only_operands = false;
    app->operands = operands;
    for (int i = 0; i < argc; i++) {
        const char *word = argv[i], *equals = strchr(word, '=');
        if (only_operands || word[0] != '-' || word[1] == '\0') {
            operands[app->operand_count++] = word;
            continue;
        }
        if ((only_operands = strcmp(word, "--") == 0))
            continue;
        struct help_line line;
        const struct option *option = command_option(app, app->command, word, &line);
        if (option == NULL)
            unknown_option(app, word);
        /* cppcheck-suppress nullPointerRedundantCheck ; unknown_option does not come back */
        const bool flag = option->kind == OPTION_FLAG;
        if (flag && equals != NULL)
            app_stop(app, "'--%s' takes no value", option->name);
        if (!flag && equals == NULL && i + 1 >= argc)
            app_stop(app, "'--%s' needs a value: %s", option->name, line.argument);
        const char *value = flag ? option->name : equals != NULL ? equals + 1 : argv[++i];
        *arena_push(app->arena, app->options, app->option_count) =
            (struct option_given){option, value};
    }
}

/* Ends the program unless there are as many operands as the help says. */
static void check_operands(struct app *app)
{
    const struct command *command = app->command;
    const char *operands = help_of(command->name).operands, *wrong = command->wrong;
    size_t least = operands[0] != '\0' && operands[0] != '[' && wrong != NULL;
    size_t most = operands[0] == '\0' ? 0 : strstr(operands, "...") != NULL ? SIZE_MAX : 1;
    if (operands[0] == '\0' && app->operand_count > 0)
        app_stop(app, "unexpected argument '%s'; %s", app->operands[0],
                 wrong != NULL
                     ? wrong
                     : arena_format(app->arena, "see 'jarside %s --help'", command->name));
    if (app->operand_count < least || app->operand_count > most)
        app_stop(app, "%s", wrong != NULL ? wrong : "one at a time");
}

/* A bare call opens the conversation; bare options go with it. Options may stand before the
 * command: they are moved after its name. */
static enum status run(struct app *app, int argc, char **argv)
{
    static const enum colour_choice choices[] = {COLOUR_AUTO, COLOUR_ALWAYS, COLOUR_NEVER};
    int words = 0, leading = 0, common = leading_options(app, NULL, argc, argv);
    const struct command *command = command_behind(app, argc, argv, &leading, &words);
    bool named = command != NULL;
    if (!named && argc == 2 && group_words(app, argv[0]) != NULL &&
        command_option(app, NULL, argv[1], NULL) != NULL)
        return say_help(app, "help.group", commands_json(app, argv[0]));
    if (!named && common < argc && argv[common][0] != '-')
        unknown_command(app, argc - common, argv + common);
    if (!named) {
        command = judge_commands;
        leading = words = 0;
    }
    app->command = command;
    memmove(argv + words, argv, (size_t)leading * sizeof *argv);
    read_arguments(app, argc - words, argv + words);
    options_fill(app, true);
    screen_release(&app->out);
    screen_init(&app->out, stdout, choices[app->given.color > 0 ? app->given.color : 0]);
    if (app->given.help && named)
        return say_help(app, "help.command", command_json(app, command));
    if (app->given.help)
        return say_help(app, "help", commands_json(app, NULL));
    if (app->given.version)
        return run_version(app);
    if (command->run == run_help || command->run == run_version)
        return command->run(app); /* whatever the clock and the settings are */
    if (!moment_known(moment_now()))
        app_stop(app, "the clock cannot be read: JARSIDE_NOW should be a moment such as "
                      "2026-03-01T18:30, and TZ a time zone that exists");
    config_read(app);
    check_operands(app);
    if (command->needs == NEEDS_RULES)
        app_must(app, app_load(app, NULL, 0));
    else if (command->needs != NEEDS_NOTHING)
        app_open(app, command->needs == NEEDS_READ    ? JOURNAL_READ
                      : command->needs == NEEDS_WRITE ? JOURNAL_WRITE
                                                      : JOURNAL_CREATE);
    if (command->judges)
        app_compile(app);
    if (command->figures)
        options_take_operands(app);
    options_fill(app, false);
    return command->run(app);
}

/* Loading the rules touches some ten megabytes once, and taking them from the system page by page
 * cost a third of the time to a verdict. So the heap grows in one step and asks for large pages.
 * Where that is not to be had nothing is lost: it is only a wish. */
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
