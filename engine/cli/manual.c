/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is made from the table of commands for others: manual pages, and the words a shell offers at Tab.
 * Neither command stands in the help, for it is not people who call them.
 */
#include <string.h>
#include <unistd.h>

#include "cli/app.h"

/* ==== pages =================================================================================== */

/*
 * The manual in Markdown: "% NAME SECTION VERSION SUMMARY" begins a page. share/manual.awk makes roff of it, when
 * the program is built.
 */

static void put_options(struct app *app, struct text *page, const struct command *command)
{
    text_puts(page, "| option | meaning |\n|---|---|\n");
    for (struct help_line line = {.common = false}; option_next(app, command, &line);) {
        char letter[] = {'-', line.option->letter, ',', ' ', '\0'};
        text_printf(page, "| `%s%s`%s%s%s | %s |\n", letter[1] != '\0' ? letter : "", line.word,
                    line.argument[0] != '\0' ? " <" : "", line.argument,
                    line.argument[0] != '\0' ? ">" : "", line.says);
    }
}

static enum status run_manual(struct app *app)
{
    struct text *page = &app->out.out;
    text_printf(page,
                "%% jarside 1 " JARSIDE_VERSION
                " says what is in a jar of grain spawn, and what to do with it\n"
                "## SYNOPSIS\n`jarside` [COMMAND] [OPTIONS] ...\n## DESCRIPTION\n%s\n\n"
                "Without a command it opens the conversation.\n## COMMANDS\n"
                "| command | what it does |\n|---|---|\n",
                help_of("jarside").summary);
    for (const struct command *command = NULL; (command = command_next(command)) != NULL;)
        text_printf(page, "| `%s` | %s |\n", command->name, help_of(command->name).summary);
    text_puts(page, "\nEach has a page of its own: `jarside-judge`(1) and so on.\n## OPTIONS\n"
                    "These may be given to every command, before or behind it.\n\n");
    put_options(app, page, NULL);
    text_printf(page, "## EXIT STATUS\n%s\n## SEE ALSO\n`jarside-rules`(5), `jarside-journal`(5)\n",
                help_of("jarside").detail);
    for (const struct command *command = NULL; (command = command_next(command)) != NULL;) {
        const struct help help = help_of(command->name);
        const size_t first = strcspn(command->name, " ");
        const char *second = command->name + first;
        text_printf(
            page,
            "%% jarside-%.*s%s%s 1 " JARSIDE_VERSION " %s\n## SYNOPSIS\n`jarside %s` [OPTIONS] %s\n"
            "## DESCRIPTION\nThis command %s.\n\n%s\n## OPTIONS\n",
            (int)first, command->name, *second != '\0' ? "-" : "", second + (*second != '\0'),
            help.summary, command->name, help.operands, help.summary, help.detail);
        put_options(app, page, command);
        text_puts(page, "## SEE ALSO\n`jarside`(1)\n");
    }
    text_puts(page,
              "% jarside-journal 5 " JARSIDE_VERSION " the tables of the journal, as CSV\n"
              "## DESCRIPTION\n`jarside export` writes a file for each kind of record, named after "
              "it, and "
              "`jarside import` reads them back. The first line holds the names of the columns. "
              "Text is UTF-8, moments are ISO 8601, and an empty cell says nothing. Labels stand "
              "for other records.\n");
    for (int record = 0; record < RECORD_COUNT; record++) {
        text_printf(page, "## %s.csv\n| column | content |\n|---|---|\n",
                    record_types[record].name);
        for (const struct column *column = record_types[record].columns; column->name; column++)
            if (!column->internal)
                text_printf(page, "| `%s` | %s%s%s |\n", column->name, assign_what(app, column),
                            column->required ? "; required" : "",
                            column->derived ? "; kept by the journal" : "");
    }
    text_puts(page, "## SEE ALSO\n`jarside-export`(1), `jarside-import`(1)\n"
                    "% jarside-rules 5 " JARSIDE_VERSION
                    " the rule files: what is known of findings, causes and signs\n"
                    "## DESCRIPTION\n");
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

static void offer_records(struct app *app, enum record record, const char *condition, int64_t value,
                          const char *begun)
{
    struct page page;
    (void)journal_page(app->journal, record, condition, value, 0, app->arena, &page);
    for (size_t i = 0; i < page.count; i++)
        offer(app, begun, ((const union any_record *)page_row(&page, i))->named.label,
              record_types[record].name);
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
        offer_records(app, RECORD_VESSEL, "batch = ?1", batch, begun);
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
