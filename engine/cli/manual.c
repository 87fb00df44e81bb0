/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/filing.h"
#include "cli/assign.h"
#include "cli/cli.h"

/*
 * What is made from the table of commands for others: manual pages, and the words a shell offers at Tab.
 * Neither command stands in the help, for it is not people who call them.
 */

/* ==== pages =================================================================================== */

/* Text as roff takes it: no byte begins a request or an escape. */
static void put(struct text *page, const char *words, size_t length)
{
    if (length > 0 && (words[0] == '.' || words[0] == '\''))
        text_puts(page, "\\&");
    for (size_t i = 0; i < length; i++)
        if (words[i] == '\\')
            text_puts(page, "\\e");
        else if (words[i] == '-')
            text_puts(page, "\\-");
        else
            text_add(page, &words[i], 1);
}

static void put_line(struct text *page, const char *words)
{
    put(page, words, strlen(words));
    text_puts(page, "\n");
}

/* ".TP", a name in bold, what stands behind it in italics, and what it is. */
static void put_item(struct text *page, const char *name, const char *behind, const char *what)
{
    text_puts(page, ".TP\n\\fB");
    put(page, name, strlen(name));
    text_puts(page, "\\fR");
    if (behind != NULL) {
        text_puts(page, " \\fI");
        put(page, behind, strlen(behind));
        text_puts(page, "\\fR");
    }
    text_puts(page, "\n");
    put_line(page, what);
}

static void put_options(struct app *app, struct text *page, const struct option *options)
{
    for (; options != NULL && options->name != NULL; options++)
        put_item(page,
                 options->letter != '\0'
                     ? arena_format(app->arena, "-%c, --%s", options->letter, options->name)
                     : arena_format(app->arena, "--%s", options->name),
                 options->argument, options->help);
}

/* The head of a page; its name is "jarside", or begins so. */
static void begin(struct text *page, const char *name, int section, const char *summary)
{
    text_init(page);
    text_printf(page, ".TH \"%s\" %d \"\" \"jarside %s\"\n.SH NAME\n", name, section,
                JARSIDE_VERSION);
    put(page, name, strlen(name));
    text_puts(page, " \\- ");
    put_line(page, summary);
}

static void keep(struct app *app, const char *folder, const char *below, struct text *file)
{
    const char *path = arena_format(app->arena, "%s/%s", folder, below);
    if (!filing_make_folders(path))
        app_must(app, app_error(app, STATUS_IO, path, "its folder cannot be made"));
    app_write(app, path, file, true);
}

/* "jarside-rules-check" */
static const char *page_name(struct app *app, const struct command *command)
{
    char *name = arena_format(app->arena, "jarside-%s", command->name);
    for (char *at = name; *at != '\0'; at++)
        *at = *at == ' ' ? '-' : *at;
    return name;
}

static void write_commands(struct app *app, const char *folder)
{
    struct text page, whole;
    begin(&whole, "jarside", 1, "says what is in a jar of grain spawn, and what to do with it");
    text_puts(&whole, ".SH SYNOPSIS\n.B jarside\n[COMMAND] [OPTIONS] ...\n.SH DESCRIPTION\n");
    put_line(&whole, help_about);
    text_puts(&whole, ".PP\nWithout a command it opens the conversation.\n.SH COMMANDS\n");
    for (const struct command *command = NULL; (command = command_next(command)) != NULL;) {
        const char *name = page_name(app, command);
        put_item(&whole, command->name, NULL, command->summary);
        begin(&page, name, 1, command->summary);
        text_puts(&page, ".SH SYNOPSIS\n.B jarside ");
        put_line(&page, command->name);
        text_puts(&page, "[OPTIONS] ");
        put_line(&page, command->operands);
        text_puts(&page, ".SH DESCRIPTION\nThis command ");
        put(&page, command->summary, strlen(command->summary));
        text_puts(&page, ".\n");
        if (command->detail != NULL) {
            text_puts(&page, ".PP\n");
            put_line(&page, command->detail);
        }
        text_puts(&page, ".SH OPTIONS\n");
        put_options(app, &page, command->options);
        put_options(app, &page, common_options);
        text_puts(&page, ".SH SEE ALSO\n.BR jarside (1)\n");
        keep(app, folder, arena_format(app->arena, "man/man1/%s.1", name), &page);
    }
    text_puts(&whole, ".PP\nEach has a page of its own:\n.BR jarside\\-judge (1)\nand so on.\n"
                      ".SH OPTIONS\nThese may be given to every command, before or behind it.\n");
    put_options(app, &whole, common_options);
    text_puts(&whole, ".SH EXIT STATUS\n");
    put_line(&whole, help_exit);
    text_puts(&whole, ".SH SEE ALSO\n.BR jarside\\-rules (5),\n.BR jarside\\-journal (5)\n");
    keep(app, folder, "man/man1/jarside.1", &whole);
}

static void write_journal(struct app *app, const char *folder)
{
    struct text page;
    begin(&page, "jarside-journal", 5, "the tables of the journal, as CSV");
    text_puts(&page,
              ".SH DESCRIPTION\n.B jarside export\nwrites a file for each kind of record, "
              "named after it, and\n.B jarside import\nreads them back. The first line holds "
              "the names of the columns. Text is UTF\\-8, moments are ISO 8601, and an empty "
              "cell says nothing. Labels stand for other records.\n");
    for (int record = 0; record < RECORD_COUNT; record++) {
        text_printf(&page, ".SH %s.csv\n", record_types[record].name);
        for (const struct column *column = record_types[record].columns; column->name != NULL;
             column++)
            if (!column->internal)
                put_item(&page, column->name, NULL,
                         arena_format(app->arena, "%s%s%s", assign_what(app, column),
                                      column->required ? "; required" : "",
                                      column->derived ? "; kept by the journal" : ""));
    }
    text_puts(&page, ".SH SEE ALSO\n.BR jarside\\-export (1),\n.BR jarside\\-import (1)\n");
    keep(app, folder, "man/man5/jarside-journal.5", &page);
}

/* ---- the page on the rules, from the one that lies beside them --------------------------------- */

/* A line of Markdown: `code` and **strong** in bold, of a [link](path) its words. */
static void put_marked(struct text *page, const char *words, size_t length)
{
    bool bold = false;
    for (size_t i = 0; i < length; i++) {
        bool two = words[i] == '*' && i + 1 < length && words[i + 1] == '*';
        const char *link = words[i] == ']' && i + 1 < length && words[i + 1] == '('
                               ? memchr(words + i, ')', length - i)
                               : NULL;
        if (words[i] == '`' || two) {
            text_puts(page, (bold = !bold) ? "\\fB" : "\\fR");
            i += two;
        } else if (link != NULL) {
            i = (size_t)(link - words);
        } else if (words[i] != '[' || memchr(words + i, ')', length - i) == NULL || bold) {
            put(page, words + i, 1);
        }
    }
    text_puts(page, bold ? "\\fR" : "");
}

/* "| a | b | c |": a, and what it means. */
static void put_row(struct text *page, const char *line)
{
    const char *cell = line + 1, *end = NULL;
    bool first = true;
    for (; (end = strchr(cell, '|')) != NULL; cell = end + 1, first = false) {
        size_t blank = strspn(cell, " "), length = (size_t)(end - cell) - blank;
        while (length > 0 && cell[blank + length - 1] == ' ')
            length--;
        text_puts(page, first ? ".TP\n" : "");
        put_marked(page, cell + blank, length);
        text_puts(page, "\n");
    }
}

static void write_rules(struct app *app, const char *folder)
{
    char *rules = rules_find_shipped();
    const char *path = arena_format(app->arena, "%s/FORMAT.md", rules != NULL ? rules : "");
    FILE *file = fopen(path, "r");
    char *line = NULL;
    size_t room = 0, row = 0;
    bool code = false;
    struct text page;

    free(rules);
    if (file == NULL)
        app_must(app, app_error(app, STATUS_IO, path, "cannot be read"));
    begin(&page, "jarside-rules", 5, "the rule files: what is known of findings, causes and signs");
    text_puts(&page, ".SH DESCRIPTION\n");
    while (file != NULL && getline(&line, &room, file) > 0) {
        line[strcspn(line, "\n")] = '\0';
        row = line[0] == '|' && !code ? row + 1 : 0;
        if (strncmp(line, "```", 3) == 0)
            text_puts(&page, (code = !code) ? ".PP\n.RS 4\n.nf\n" : ".fi\n.RE\n.PP\n");
        else if (code)
            put_line(&page, line[0] != '\0' ? line : " ");
        else if (strncmp(line, "# ", 2) == 0 || row == 1 || row == 2)
            continue; /* the name of the page says it; the heading of a table, and its rule */
        else if (strncmp(line, "## ", 3) == 0)
            text_printf(&page, ".SH %s\n", line + 3);
        else if (row > 2)
            put_row(&page, line);
        else if (line[0] == '\0')
            text_puts(&page, ".PP\n");
        else {
            bool item = strncmp(line, "- ", 2) == 0;
            const char *words = line + (item ? 2 : strspn(line, " "));
            text_puts(&page, item ? ".IP \\(bu 2\n" : "");
            put_marked(&page, words, strlen(words));
            text_puts(&page, "\n");
        }
    }
    free(line);
    if (file != NULL)
        (void)fclose(file);
    text_puts(&page, ".SH SEE ALSO\n.BR jarside\\-rules\\-check (1)\n");
    keep(app, folder, "man/man5/jarside-rules.5", &page);
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
            offer(app, begun, second + 1, command->summary);
        else if (group == NULL && strcmp(first, last) != 0)
            offer(app, begun, first, second != NULL ? NULL : command->summary);
        last = first;
    }
}

static void offer_options(struct app *app, const struct option *options, const char *begun)
{
    for (; options != NULL && options->name != NULL; options++)
        offer(app, begun, arena_format(app->arena, "--%s", options->name), options->help);
}

static void offer_ids(struct app *app, enum word_list list, const char *begun)
{
    struct list_word word;
    if (app->rules == NULL && app_load(app, NULL, 0) != STATUS_OK)
        return;
    for (size_t i = 0; (word = list_word(app->rules, list, i)).id != NULL; i++)
        offer(app, begun, word.id, word.name);
}

/* Labels of a kind of record, or with RECORD_COUNT of all; of vessels those of the batch that is named. */
static void offer_labels(struct app *app, enum record kind, bool vessels, const char *begun)
{
    const char *dash = strrchr(begun, '-');
    if (app->journal == NULL &&
        (access(app_journal_path(app), R_OK) != 0 || app_journal(app, JOURNAL_READ) != STATUS_OK))
        return;
    for (int record = 0; record < RECORD_COUNT; record++) {
        union any_record row;
        if (record == RECORD_VESSEL || (kind != RECORD_COUNT && kind != (enum record)record) ||
            !record_has_label((enum record)record))
            continue;
        struct walk *walk =
            journal_walk(app->journal, (enum record)record, NULL, 0, false, app->diags);
        while (walk_next(walk, &row))
            offer(app, begun, row.named.label, record_types[record].name);
        (void)walk_end(walk);
    }
    int64_t batch = 0;
    if (vessels && dash != NULL &&
        journal_has(app->journal, RECORD_BATCH,
                    arena_copy(app->arena, begun, (size_t)(dash - begun)), &batch)) {
        struct vessel vessel;
        struct walk *walk =
            journal_walk(app->journal, RECORD_VESSEL, "batch", batch, false, app->diags);
        while (walk_next(walk, &vessel))
            offer(app, begun, vessel.label, "vessel");
        (void)walk_end(walk);
    }
}

static enum record record_named(const char *name)
{
    int record = 0;
    while (record < RECORD_COUNT && strcmp(record_types[record].name, name) != 0)
        record++;
    return (enum record)record;
}

static void offer_value(struct app *app, const struct option *option, const char *begun)
{
    if (option->kind == OPTION_CHOICE)
        for (const char *const *word = option->words; *word != NULL; word++)
            offer(app, begun, *word, NULL);
    else if (option->kind == OPTION_ID)
        offer_ids(app, option->list, begun);
    else if (option->kind == OPTION_VESSEL)
        offer_ids(app, LIST_VESSELS, begun);
    else if (strcmp(option->name, "species") == 0)
        offer_ids(app, LIST_SPECIES, begun);
    else if (strcmp(option->name, "grain") == 0)
        offer_ids(app, LIST_GRAINS, begun);
    else if (strcmp(option->argument, "BATCH") == 0)
        offer_labels(app, RECORD_BATCH, false, begun);
    else if (strcmp(option->argument, "LABEL") == 0)
        offer_labels(app, record_named(option->name), strcmp(option->name, "vessel") == 0, begun);
}

/* What may stand among the operands, by the words the help has for them. */
static void offer_operands(struct app *app, const struct command *command, const char *begun)
{
    const char *operands = command->operands;
    bool vessels = strstr(operands, "VESSEL") != NULL || strstr(operands, "LABEL") != NULL;
    if (strstr(operands, "KIND") != NULL || strstr(operands, "TABLE") != NULL)
        for (int record = 0; record < RECORD_COUNT; record++)
            offer(app, begun, record_types[record].name, "kind");
    if (strstr(operands, "FINDING") != NULL)
        offer_ids(app, LIST_FINDINGS, begun);
    if (strstr(operands, "NAME=") != NULL)
        for (const struct option *setting = NULL; (setting = config_next(setting)) != NULL;)
            offer(app, begun, arena_format(app->arena, "%s=", setting->name), setting->help);
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
    int count = (int)app->arguments.operand_count, leading = 0, words = 0;
    char **typed = arena_array(app->arena, (size_t)count + 1, sizeof *typed);
    if (count == 0)
        return STATUS_OK;
    for (int i = 0; i < count; i++)
        typed[i] = arena_string(app->arena, app->arguments.operands[i]);
    const char *begun = typed[--count], *before = count > 0 ? typed[count - 1] : "";
    const struct command *command = command_behind(count, typed, &leading, &words);
    const struct option *option = command != NULL ? option_find(command->options, before) : NULL;
    if (option == NULL)
        option = option_find(common_options, before);
    for (int i = 0; i + 1 < count; i++) /* the journal that is asked for labels */
        if (strcmp(typed[i], "--journal") == 0)
            app->common.journal = typed[i + 1];
    if (option != NULL && option->argument != NULL && strchr(before, '=') == NULL) {
        offer_value(app, option, begun);
    } else if (begun[0] == '-') {
        offer_options(app, command != NULL ? command->options : NULL, begun);
        offer_options(app, common_options, begun);
    } else if (command == NULL) {
        const struct option *valued =
            count > 1 ? option_find(common_options, typed[count - 2]) : NULL;
        bool grouped =
            count > 0 && before[0] != '-' && (valued == NULL || valued->argument == NULL);
        offer_commands(app, grouped ? before : NULL, begun);
    } else {
        offer_operands(app, command, begun);
    }
    diags_clear(app->diags); /* nobody reads them at Tab */
    return app_flush(app);
}

static enum status run_manual(struct app *app)
{
    const char *folder = app->arguments.operand_count == 1 ? app->arguments.operands[0] : NULL;
    if (folder == NULL)
        app_stop(app, "give the folder to write manual pages and completions into");
    app_must(app, app_load(app, NULL, 0));
    write_commands(app, folder);
    write_journal(app, folder);
    write_rules(app, folder);
    for (size_t i = 0; i < sizeof shells / sizeof *shells; i++) {
        struct text script;
        text_init(&script);
        text_puts(&script, shells[i].script);
        keep(app, folder, shells[i].path, &script);
    }
    return STATUS_OK;
}

const struct command hidden_commands[] = {
    {"complete", "offers words for the last of WORDS", "WORDS...", NULL, NULL, run_complete},
    {"manual", "writes manual pages and completions", "DIR", NULL, NULL, run_manual},
    {0},
};
