/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/filing.h"
#include "cli/cli.h"
#include "rules/cases.h"

/*
 * The settings: one YAML file of plain entries. The table is what may stand in it, what is checked, what
 * the help says and what 'jarside config' shows. A setting with an environment variable reaches whoever asks
 * for that; the variable itself wins.
 */
static const struct {
    struct option value; /* a text with `high` is so many letters at most */
    const char *environment;
} settings[] = {
    {{"temperature", "C|F", "the unit of a bare temperature", OPTION_CHOICE,
      .words = (const char *const[]){"C", "F", NULL}},
     NULL},
    {{"pressure", "psi|bar|kPa", "the unit of a bare gauge reading", OPTION_CHOICE,
      .words = (const char *const[]){"psi", "bar", "kPa", NULL}},
     NULL},
    {{"weight", "g|kg|lb|oz", "the unit of a bare weight", OPTION_CHOICE,
      .words = (const char *const[]){"g", "kg", "lb", "oz", NULL}},
     NULL},
    {{"altitude", "HEIGHT", "above sea level, where nothing else is said of a cook: 700m, 2300ft",
      OPTION_QUANTITY, .dimension = DIM_METRES},
     NULL},
    {{"place", "LABEL", "where vessels are kept, unless it is said", OPTION_TEXT, .target = 0},
     NULL},
    {{"species", "SPECIES", "what is grown, unless it is said", OPTION_ID, .list = LIST_SPECIES},
     NULL},
    {{"paper", "PAPER", "a4 or letter, for sheets and labels", OPTION_CHOICE,
      .words = (const char *const[]){"a4", "letter", NULL}},
     NULL},
    {{"dates", "ORDER", "how dates are written: day/month/year, month/day/year or year/month/day",
      OPTION_CHOICE,
      .words = (const char *const[]){"day/month/year", "month/day/year", "year/month/day", NULL}},
     "JARSIDE_DATES"},
    {{"station", "LETTERS", "begins new labels where several people keep journals", OPTION_TEXT,
      .high = 3},
     "JARSIDE_STATION"},
    {{"person", "NAME", "who records", OPTION_TEXT, .target = 0}, "JARSIDE_PERSON"},
};
_Static_assert(sizeof settings / sizeof *settings == SETTINGS, "a place in struct app for each");

/* Its row; SETTINGS when there is none. */
static size_t find(const char *name, size_t length)
{
    size_t i = 0;
    while (i < SETTINGS && (strlen(settings[i].value.name) != length ||
                            memcmp(settings[i].value.name, name, length) != 0))
        i++;
    return i;
}

static const char *suggest(struct app *app, const char *name)
{
    const char *names[SETTINGS];
    for (size_t i = 0; i < SETTINGS; i++)
        names[i] = settings[i].value.name;
    const char *near = diag_nearest(name, names, SETTINGS);
    return near != NULL
               ? arena_format(app->arena, "did you mean '%s'?", near)
               : arena_format(app->arena, "there are %s", option_words(app, names, SETTINGS, ", "));
}

/* Ends the program, with the place in the file, unless the value is a right one. Ids can only be
 * checked when the rules are there. */
static void check(struct app *app, size_t setting)
{
    const struct option *row = &settings[setting].value;
    const char *word = app->settings[setting].word;
    union {
        int choice;
        double number;
        const char *text;
    } read;
    bool letters = true;
    if (word == NULL || (row->kind == OPTION_ID && app->rules == NULL))
        return;
    app->reading = app->settings[setting].at;
    for (size_t i = 0; word[i] != '\0' && row->high > 0.0; i++)
        letters = letters && i < (size_t)row->high && isalpha((unsigned char)word[i]);
    if (!letters)
        app_wrong(app, row->name, "'%s' should be one to three letters", word);
    if (word[0] == '\0')
        app_wrong(app, row->name, "'%s' is empty; leave the line out instead", row->name);
    for (const char *at = word; *at != '\0'; at++)
        if (iscntrl((unsigned char)*at))
            app_wrong(app, row->name, "'%s' should be one line of text", row->name);
    option_read(app, row, word, &read);
    app->reading = (struct position){0};
}

/* Beside the overlay of rules; NULL without a home. In the arena. */
static const char *config_path(struct app *app)
{
    char *overlay = rules_overlay_path();
    const char *path = overlay != NULL
                           ? arena_format(app->arena, "%.*sconfig.yaml",
                                          (int)(strlen(overlay) - strlen("rules")), overlay)
                           : NULL;
    free(overlay);
    return path;
}

void config_read(struct app *app)
{
    const char *path = config_path(app);
    const struct entry *entries = NULL;
    size_t count = 0;
    if (path == NULL || access(path, F_OK) != 0)
        return;
    app_must(app, entries_load(path, app->arena, &entries, &count, app->diags));
    for (size_t i = 0; i < count; i++) {
        size_t setting = find(entries[i].key, strlen(entries[i].key));
        app->reading = entries[i].key_at;
        if (setting < SETTINGS)
            app->settings[setting] = (struct setting){entries[i].text, entries[i].at};
        else
            app_stop(app, "no setting '%.60s'; %s", entries[i].key, suggest(app, entries[i].key));
    }
    app->reading = (struct position){0};
    for (size_t i = 0; i < SETTINGS; i++) {
        check(app, i);
        if (settings[i].environment != NULL && app->settings[i].word != NULL)
            setenv(settings[i].environment, app->settings[i].word, 0);
    }
}

const char *config_word(struct app *app, const char *name)
{
    size_t setting = find(name, strlen(name));
    if (setting < SETTINGS)
        check(app, setting);
    return setting < SETTINGS ? app->settings[setting].word : NULL;
}

void config_recall(struct app *app)
{
    const char *altitude = config_word(app, "altitude");
    int sign = app->rules->feeder[FEEDS_ALTITUDE];
    if (altitude != NULL && sign != RULES_NONE)
        app_must(app, triage_recall_setting(app->triage, app->rules->observables[sign].id, altitude,
                                            arena_format(app->arena, "settings: %s", altitude),
                                            app->diags));
}

const struct option *config_next(const struct option *setting)
{
    size_t next = setting != NULL ? find(setting->name, strlen(setting->name)) + 1 : 0;
    return next < SETTINGS ? &settings[next].value : NULL;
}

/* ---- the command ----------------------------------------------------------------------------- */

static void put_entry(struct text *file, size_t setting, const char *word)
{
    bool plain = isalnum((unsigned char)word[0]);
    for (const char *at = word; *at != '\0'; at++)
        plain = plain && (isalnum((unsigned char)*at) || strchr("._/-", *at) != NULL);
    text_printf(file, "%s: %s", settings[setting].value.name, plain ? "" : "'");
    for (const char *at = word; *at != '\0'; at++)
        text_printf(file, "%s%c", *at == '\'' ? "'" : "", *at);
    text_puts(file, plain ? "\n" : "'\n");
}

/* The file as it is, but for this setting: comments and the order of lines stay, unless it is written in
 * another way than a line a setting. */
static void write_setting(struct app *app, size_t setting)
{
    const char *path = config_path(app), *name = settings[setting].value.name;
    const char *word = app->settings[setting].word;
    FILE *old = path != NULL ? fopen(path, "r") : NULL;
    char *line = NULL;
    size_t room = 0;
    bool stood = app->settings[setting].at.line > 0, by_lines = true;
    struct text file;

    if (path == NULL)
        app_stop(app, "no home folder to keep settings in; set XDG_CONFIG_HOME");
    text_init(&file);
    while (old != NULL && getline(&line, &room, old) > 0) {
        const char *rest = line + strlen(name);
        by_lines = by_lines && strchr(" {-\"'?", line[0]) == NULL;
        if (strncmp(line, name, strlen(name)) != 0 || rest[strspn(rest, " ")] != ':') {
            text_puts(&file, line);
            if (strchr(line, '\n') == NULL)
                text_puts(&file, "\n");
        } else if (word != NULL) {
            put_entry(&file, setting, word);
            stood = false;
            word = NULL;
        } else {
            stood = false;
        }
    }
    free(line);
    if (old != NULL)
        (void)fclose(old);
    if (stood || !by_lines) {
        text_clear(&file);
        for (size_t i = 0; i < SETTINGS; i++)
            if (app->settings[i].word != NULL)
                put_entry(&file, i, app->settings[i].word);
    } else if (word != NULL) {
        put_entry(&file, setting, word);
    }
    if (!filing_make_folders(path))
        app_must(app,
                 app_error(app, STATUS_IO, path, "cannot make its folder: %s", strerror(errno)));
    app_write(app, path, &file, true);
}

/* What holds, and whether the environment said so. */
static const char *value_of(struct app *app, size_t setting, bool *outside)
{
    const char *variable = settings[setting].environment, *word = app->settings[setting].word;
    const char *said = variable != NULL ? getenv(variable) : NULL;
    *outside = said != NULL && (word == NULL || strcmp(said, word) != 0);
    return *outside ? said : word;
}

struct configuring {
    bool json;
};

static const struct option options[] = {
    {"json", NULL, "print JSON", OPTION_FLAG, .target = offsetof(struct configuring, json)},
    {0},
};

static enum status show(struct app *app, const char *path, size_t only, bool json)
{
    enum { NAME_COLUMNS = 13 };
    json_t *all = json ? json_object() : NULL;
    for (size_t i = 0; i < SETTINGS; i++) {
        const struct option *row = &settings[i].value;
        bool outside = false;
        const char *value = value_of(app, i, &outside);
        if (json)
            json_object_set_new(all, row->name,
                                value != NULL ? view_json_text(value) : json_null());
        else if (only == i)
            screen_say(&app->out, 0, 0, ROLE_PLAIN, "%s", value != NULL ? value : "");
        else if (only == SETTINGS && value != NULL)
            screen_row_text(&app->out, 0, NAME_COLUMNS, row->name, "%s%s%s%s", value,
                            outside ? " (from $" : "", outside ? settings[i].environment : "",
                            outside ? ")" : "");
        else if (only == SETTINGS)
            screen_row_text(&app->out, 0, NAME_COLUMNS, row->name, "not set: %s", row->help);
    }
    if (json)
        return app_json(app, json_pack("{s:i, s:o, s:o}", "schema", 1, "file",
                                       path != NULL ? view_json_text(path) : json_null(),
                                       "settings", all));
    if (only == SETTINGS && path != NULL)
        screen_say(&app->out, 0, 0, ROLE_QUIET,
                   "They stand in %s. To set one: jarside config "
                   "altitude=700m; to take it back: jarside config altitude=",
                   path);
    return app_flush(app);
}

static enum status run_config(struct app *app)
{
    const struct arguments *arguments = &app->arguments;
    struct configuring given = {false};
    size_t only = SETTINGS;
    options_fill(app, &given);
    app_must(app, app_load(app, NULL, 0));
    for (size_t i = 0; i < SETTINGS; i++)
        check(app, i);
    for (size_t i = 0; i < arguments->operand_count; i++) {
        const char *word = arguments->operands[i], *equals = strchr(word, '=');
        size_t length = equals != NULL ? (size_t)(equals - word) : strlen(word);
        size_t setting = find(word, length);
        if (setting == SETTINGS) {
            const char *name = arena_copy(app->arena, word, length);
            app_stop(app, "no setting '%s'; %s", name, suggest(app, name));
        }
        if (equals == NULL) {
            only = setting;
            continue;
        }
        bool stood = app->settings[setting].word != NULL;
        struct position at = app->settings[setting].at;
        app->settings[setting] = (struct setting){equals[1] != '\0' ? equals + 1 : NULL, {0}};
        check(app, setting);
        app->settings[setting].at = stood ? at : (struct position){0};
        write_setting(app, setting);
        app->settings[setting].at.line = 1; /* it stands there from now on */
    }
    if (arguments->operand_count > 0 && only == SETTINGS && !given.json)
        return STATUS_OK;
    return show(app, config_path(app), only, given.json);
}

const struct command config_commands[] = {
    {"config", "shows the settings and changes them", "[NAME | NAME=VALUE ...]",
     "Settings: temperature, pressure and weight are the units of bare numbers (C or F; psi, bar "
     "or "
     "kPa; g, kg, lb or oz); altitude, place and species hold where nothing else is said; paper is "
     "a4 "
     "or letter; dates are day/month/year, month/day/year or year/month/day; station (one to three "
     "letters) and "
     "person tell journals and people apart. NAME= takes a setting back. They are kept in "
     "jarside/config.yaml below $XDG_CONFIG_HOME or ~/.config.",
     options, run_config},
    {0},
};
