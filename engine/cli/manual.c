/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is made from the table of commands for others: manual pages, and the words a shell offers at Tab.
 * Neither command stands in the help, for it is not people who call them.
 */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli/app.h"
#include "prompt/input.h"

/* ==== pages =================================================================================== */

/* Adds roff; each %s is for words, put so that no byte of them begins a request or an escape. */
static void put(struct text *page, const char *roff, ...)
{
    va_list words;
    va_start(words, roff);
    for (const char *at = roff; *at != '\0'; at++) {
        if (at[0] != '%' || at[1] != 's') {
            text_add(page, at, 1);
            continue;
        }
        at++;
        const char *word = va_arg(words, const char *);
        if (word[0] == '.' || word[0] == '\'')
            text_puts(page, "\\&");
        for (; *word != '\0'; word++)
            if (*word == '\\' || *word == '-')
                text_puts(page, *word == '-' ? "\\-" : "\\e");
            else
                text_add(page, word, 1);
    }
    va_end(words);
}

static void put_options(struct app *app, struct text *page, const struct command *command)
{
    for (struct help_line line = {.common = false}; option_next(app, command, &line);) {
        char letter[] = {'-', line.option->letter, ',', ' ', '\0'};
        put(page, ".TP\n\\fB%s%s\\fR", letter[1] != '\0' ? letter : "", line.word);
        if (line.argument[0] != '\0')
            put(page, " \\fI%s\\fR", line.argument);
        put(page, "\n%s\n", line.says);
    }
}

/* The head of a page; its name is "jarside", or begins so. */
static void begin(struct text *page, const char *name, int section, const char *summary)
{
    text_init(page);
    text_printf(page, ".TH \"%s\" %d \"\" \"jarside %s\"\n", name, section, JARSIDE_VERSION);
    put(page, ".SH NAME\n%s \\- %s\n", name, summary);
}

static void keep(struct app *app, const char *below, struct text *file)
{
    app_keep(app, arena_format(app->arena, "%s/%s", app->operands[0], below), file);
}

static void write_commands(struct app *app)
{
    struct text page, whole;
    begin(&whole, "jarside", 1, "says what is in a jar of grain spawn, and what to do with it");
    put(&whole,
        ".SH SYNOPSIS\n.B jarside\n[COMMAND] [OPTIONS] ...\n.SH DESCRIPTION\n%s\n.PP\nWithout a "
        "command it opens the conversation.\n.SH COMMANDS\n",
        help_of("jarside").summary);
    for (const struct command *command = NULL; (command = command_next(command)) != NULL;) {
        char *name = arena_format(app->arena, "jarside-%s", command->name); /* no blanks in it */
        if (strchr(name, ' ') != NULL)
            *strchr(name, ' ') = '-';
        const struct help help = help_of(command->name);
        put(&whole, ".TP\n\\fB%s\\fR\n%s\n", command->name, help.summary);
        begin(&page, name, 1, help.summary);
        put(&page, ".SH SYNOPSIS\n.B jarside %s\n[OPTIONS] %s\n.SH DESCRIPTION\nThis command %s.\n",
            command->name, help.operands, help.summary);
        if (help.detail[0] != '\0')
            put(&page, ".PP\n%s\n", help.detail);
        put(&page, ".SH OPTIONS\n");
        put_options(app, &page, command);
        put(&page, ".SH SEE ALSO\n.BR jarside (1)\n");
        keep(app, arena_format(app->arena, "man/man1/%s.1", name), &page);
    }
    put(&whole, ".PP\nEach has a page of its own:\n.BR jarside\\-judge (1)\nand so on.\n"
                ".SH OPTIONS\nThese may be given to every command, before or behind it.\n");
    put_options(app, &whole, NULL);
    put(&whole,
        ".SH EXIT STATUS\n%s\n.SH SEE ALSO\n.BR jarside\\-rules (5),\n.BR jarside\\-journal (5)\n",
        help_of("jarside").detail);
    keep(app, "man/man1/jarside.1", &whole);
}

static void write_journal(struct app *app)
{
    struct text page;
    begin(&page, "jarside-journal", 5, "the tables of the journal, as CSV");
    put(&page, ".SH DESCRIPTION\n.B jarside export\nwrites a file for each kind of record, "
               "named after it, and\n.B jarside import\nreads them back. The first line holds "
               "the names of the columns. Text is UTF\\-8, moments are ISO 8601, and an empty "
               "cell says nothing. Labels stand for other records.\n");
    for (int record = 0; record < RECORD_COUNT; record++) {
        put(&page, ".SH %s.csv\n", record_types[record].name);
        for (const struct column *column = record_types[record].columns; column->name; column++)
            if (!column->internal)
                put(&page, ".TP\n\\fB%s\\fR\n%s%s%s\n", column->name, assign_what(app, column),
                    column->required ? "; required" : "",
                    column->derived ? "; kept by the journal" : "");
    }
    put(&page, ".SH SEE ALSO\n.BR jarside\\-export (1),\n.BR jarside\\-import (1)\n");
    keep(app, "man/man5/jarside-journal.5", &page);
}

/* ---- the page on the rules, from the one that lies beside them --------------------------------- */

/* Text with Markdown in it: `code` and **strong** in bold, of a [link](path) its words. */
static void put_marked(struct text *page, const char *words)
{
    bool bold = false;
    for (const char *at = words; *at != '\0'; at++) {
        const char *end = strchr(at, ')');
        if (*at == '`' || strncmp(at, "**", 2) == 0) {
            put(page, (bold = !bold) ? "\\fB" : "\\fR");
            at += *at == '*';
        } else if (strncmp(at, "](", 2) == 0 && end != NULL) {
            at = end;
        } else if (*at != '[' || end == NULL || bold) {
            put(page, "%s", (const char[]){*at, '\0'});
        }
    }
    put(page, bold ? "\\fR\n" : "\n");
}

/* "| a | b | c |": a, and what it means. */
static void put_row(struct app *app, struct text *page, const char *line)
{
    put(page, ".TP\n");
    for (const char *cell = line + 1, *end; (end = strchr(cell, '|')) != NULL; cell = end + 1) {
        char *words = arena_copy(app->arena, cell, (size_t)(end - cell));
        put_marked(page, line_trim(words));
    }
}

static void write_rules(struct app *app)
{
    char *rules = rules_find_shipped(), *line = NULL;
    const char *path = arena_format(app->arena, "%s/FORMAT.md", rules != NULL ? rules : "");
    FILE *file = fopen(path, "r");
    size_t room = 0, row = 0;
    bool code = false;
    struct text page;

    free(rules);
    if (file == NULL)
        app_fail(app, path, "cannot be read");
    begin(&page, "jarside-rules", 5, "the rule files: what is known of findings, causes and signs");
    put(&page, ".SH DESCRIPTION\n");
    while (file != NULL && getline(&line, &room, file) > 0) {
        line[strcspn(line, "\n")] = '\0';
        row = line[0] == '|' && !code ? row + 1 : 0;
        bool item = strncmp(line, "- ", 2) == 0;
        if (strncmp(line, "```", 3) == 0)
            put(&page, (code = !code) ? ".PP\n.RS 4\n.nf\n" : ".fi\n.RE\n.PP\n");
        else if (code)
            put(&page, "%s\n", line[0] != '\0' ? line : " ");
        else if (strncmp(line, "# ", 2) == 0 || row == 1 || row == 2)
            continue; /* the name of the page says it; the heading of a table, and its rule */
        else if (strncmp(line, "## ", 3) == 0)
            put(&page, ".SH %s\n", line + 3);
        else if (row > 2)
            put_row(app, &page, line);
        else if (line[0] == '\0')
            put(&page, ".PP\n");
        else {
            put(&page, item ? ".IP \\(bu 2\n" : "");
            put_marked(&page, line + (item ? 2 : strspn(line, " ")));
        }
    }
    free(line);
    if (file != NULL)
        (void)fclose(file);
    put(&page, ".SH SEE ALSO\n.BR jarside\\-rules\\-check (1)\n");
    keep(app, "man/man5/jarside-rules.5", &page);
}

/* ==== completion ============================================================================== */

/* Each only asks 'jarside complete' for the words; where there is none, the shell offers files. */
static const struct {
    const char *path, *script;
} shells[] = {
    {"bash-completion/completions/jarside",
     "_jarside() {\n"
     "    local word\n"
     "    COMPREPLY=()\n"
     "    while IFS=$'\\t' read -r word _; do\n"
     "        [[ $word == *= ]] && compopt -o nospace\n"
     "        COMPREPLY+=(\"$(printf '%q' \"$word\")\")\n"
     "    done < <(\"$1\" complete -- \"${COMP_WORDS[@]:1:COMP_CWORD}\" 2>/dev/null)\n"
     "}\n"
     "complete -o bashdefault -o default -F _jarside jarside\n"},
    {"zsh/site-functions/_jarside",
     "#compdef jarside\n"
     "local name what\n"
     "local -a names shown\n"
     "while IFS=$'\\t' read -r name what; do\n"
     "    names+=(\"$name\")\n"
     "    shown+=(\"$name${what:+  -- $what}\")\n"
     "done < <(\"${words[1]}\" complete -- \"${(@Q)words[2,CURRENT]}\" 2>/dev/null)\n"
     "if (( $#names )); then\n"
     "    compadd -l -d shown -a names\n"
     "else\n"
     "    _files\n"
     "fi\n"},
    {"fish/vendor_completions.d/jarside.fish",
     "function __jarside_complete\n"
     "    set -l now (commandline -ct)\n"
     "    set -l words (commandline -opc) \"$now\"\n"
     "    set -l offered (jarside complete -- $words[2..-1] 2>/dev/null)\n"
     "    if test (count $offered) -gt 0\n"
     "        printf '%s\\n' $offered\n"
     "    else\n"
     "        __fish_complete_path \"$now\"\n"
     "    end\n"
     "end\n"
     "complete -c jarside -f -a '(__jarside_complete)'\n"},
};

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

/* First words of the commands; behind the first word of a group its second ones. */
static void offer_commands(struct app *app, const char *group, const char *begun)
{
    const char *last = "";
    for (const struct command *command = NULL; (command = command_next(command)) != NULL;) {
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

static void offer_records(struct app *app, enum record record, const char *column, int64_t value,
                          const char *begun)
{
    union any_record row;
    struct walk *walk = journal_walk(app->journal, record, column, value, false, app->diags);
    while (walk_next(walk, &row))
        offer(app, begun, row.named.label, record_types[record].name);
    (void)walk_end(walk);
}

/* Labels of a kind of record, or with RECORD_COUNT of all; of vessels those of the batch that is named. */
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
        offer_records(app, RECORD_VESSEL, "batch", batch, begun);
}

static void offer_value(struct app *app, const struct help_line *line, const char *begun)
{
    const struct option *option = line->option;
    if (option->kind == OPTION_CHOICE)
        for (const char *const *word = option->words; *word != NULL; word++)
            offer(app, begun, *word, NULL);
    else if (option->kind == OPTION_ID)
        offer_ids(app, option->list, begun);
    else if (strcmp(line->argument, "VESSEL") == 0)
        offer_ids(app, LIST_VESSELS, begun);
    else if (strcmp(line->argument, "SPECIES") == 0)
        offer_ids(app, LIST_SPECIES, begun);
    else if (strcmp(line->argument, "GRAIN") == 0)
        offer_ids(app, LIST_GRAINS, begun);
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
        if (line.option->bare && line.option->kind >= OPTION_CHOICE)
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

static enum status run_manual(struct app *app)
{
    write_commands(app);
    write_journal(app);
    write_rules(app);
    for (size_t i = 0; i < sizeof shells / sizeof *shells; i++) {
        struct text script;
        text_init(&script);
        text_puts(&script, shells[i].script);
        keep(app, shells[i].path, &script);
    }
    return STATUS_OK;
}

const struct command hidden_commands[] = {
    {"complete", .run = run_complete},
    {"manual", run_manual, NEEDS_RULES,
     .wrong = "give the folder to write manual pages and completions into"},
    {0},
};
