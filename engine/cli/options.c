/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/options.h"

#include <stdlib.h>
#include <string.h>

static const struct position nowhere = {0};

struct tables {
    const struct option *own, *common;
};

static const struct option *find_in(const struct option *table, const char *name, size_t length)
{
    for (; table != NULL && table->name != NULL; table++)
        if (strlen(table->name) == length && strncmp(table->name, name, length) == 0)
            return table;
    return NULL;
}

static const char *nearest(const struct tables *tables, const char *name)
{
    const char *names[64];
    size_t count = 0;
    const struct option *both[] = {tables->own, tables->common};
    for (size_t t = 0; t < 2; t++)
        for (const struct option *o = both[t]; o != NULL && o->name != NULL && count < 64; o++)
            names[count++] = o->name;
    return diag_nearest(name, names, count);
}

static enum status unknown(const struct tables *tables, const char *word, struct diags *diags)
{
    const char *near = nearest(tables, word + strspn(word, "-"));
    if (near != NULL)
        diags_error(diags, nowhere, "unknown option '%s'; did you mean '--%s'?", word, near);
    else
        diags_error(diags, nowhere, "unknown option '%s'; --help lists them", word);
    return STATUS_USAGE;
}

/* One option at argv[*at]; moves *at to its value if that stands apart. */
static enum status read_option(struct arguments *arguments, int argc, char **argv, int *at,
                               const struct tables *tables, struct diags *diags)
{
    const char *word = argv[*at];
    const char *name = strcmp(word, "-h") == 0 ? "help" : word + 2;
    const char *equals = strchr(name, '=');
    size_t length = equals != NULL ? (size_t)(equals - name) : strlen(name);
    const struct option *option = find_in(tables->own, name, length);
    if (option == NULL)
        option = find_in(tables->common, name, length);
    if (option == NULL || (word[1] != '-' && strcmp(word, "-h") != 0))
        return unknown(tables, word, diags);

    const char *value = equals != NULL ? equals + 1 : NULL;
    if (option->argument == NULL && value != NULL) {
        diags_error(diags, nowhere, "'--%s' takes no value", option->name);
        return STATUS_USAGE;
    }
    if (option->argument != NULL && value == NULL) {
        if (*at + 1 >= argc) {
            diags_error(diags, nowhere, "'--%s' needs a value: %s", option->name, option->argument);
            return STATUS_USAGE;
        }
        value = argv[++*at];
    }
    arguments->given[arguments->given_count++] = (struct option_given){option, value};
    return STATUS_OK;
}

enum status arguments_read(struct arguments *arguments, int argc, char **argv,
                           const struct option *own, const struct option *common,
                           struct diags *diags)
{
    const struct tables tables = {own, common};
    size_t room = argc > 0 ? (size_t)argc : 1;
    memset(arguments, 0, sizeof *arguments);
    arguments->given = calloc(room, sizeof *arguments->given);
    arguments->operands = calloc(room, sizeof *arguments->operands);
    if (arguments->given == NULL || arguments->operands == NULL)
        return STATUS_MEMORY;
    bool only_operands = false;
    for (int i = 0; i < argc; i++) {
        const char *word = argv[i];
        if (only_operands || word[0] != '-' || word[1] == '\0') {
            arguments->operands[arguments->operand_count++] = word;
        } else if (strcmp(word, "--") == 0) {
            only_operands = true;
        } else {
            enum status status = read_option(arguments, argc, argv, &i, &tables, diags);
            if (status != STATUS_OK)
                return status;
        }
    }
    return STATUS_OK;
}

void arguments_release(struct arguments *arguments)
{
    free(arguments->given);
    free(arguments->operands);
    memset(arguments, 0, sizeof *arguments);
}

bool arguments_flag(const struct arguments *arguments, const char *name)
{
    for (size_t i = 0; i < arguments->given_count; i++)
        if (strcmp(arguments->given[i].option->name, name) == 0)
            return true;
    return false;
}

const char *arguments_value(const struct arguments *arguments, const char *name)
{
    for (size_t i = arguments->given_count; i > 0; i--)
        if (strcmp(arguments->given[i - 1].option->name, name) == 0)
            return arguments->given[i - 1].value;
    return NULL;
}

const char *arguments_nth(const struct arguments *arguments, const char *name, size_t nth)
{
    for (size_t i = 0; i < arguments->given_count; i++)
        if (strcmp(arguments->given[i].option->name, name) == 0 && nth-- == 0)
            return arguments->given[i].value;
    return NULL;
}
