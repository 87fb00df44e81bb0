/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <stdlib.h>

#include "cli/app_journal.h"
#include "cli/commands.h"
#include "journal/backup.h"

/* ---- backup ---------------------------------------------------------------------------------- */

static const struct option backup_options[] = {
    {"force", NULL, "replace a file that exists"},
    {NULL, NULL, NULL},
};

static enum exit_status run_backup(struct app *app)
{
    const struct arguments *arguments = &app->arguments;
    if (arguments->operand_count != 1)
        return app_usage(app, "name the file to write the backup to");
    enum exit_status fault = app_journal(app, JOURNAL_READ);
    if (fault != EXIT_FINE)
        return fault;
    const char *path = arguments->operands[0];
    enum status status =
        backup_write(app->journal, path, arguments_flag(arguments, "force"), app->diags);
    if (status != STATUS_OK)
        return app_fail(app, status);
    screen_say(&app->out, 0, 0, ROLE_PLAIN,
               "Checked and written: %s. 'jarside restore' takes it back.", path);
    return app_flush(app);
}

const struct command command_backup = {
    .name = "backup",
    .summary = "copies the whole journal into one file, checked",
    .operands = "FILE",
    .detail = "May be done while the journal is in use. The copy holds it as it stood at one "
              "moment, and takes its name only when it has proved sound.",
    .options = backup_options,
    .run = run_backup,
};

/* ---- restore --------------------------------------------------------------------------------- */

static enum exit_status run_restore(struct app *app)
{
    char *path = NULL, *kept = NULL;
    if (app->arguments.operand_count != 1)
        return app_usage(app, "name the backup to restore");
    enum exit_status fault = app_journal_path(app, &path);
    if (fault != EXIT_FINE)
        return fault;
    enum status status =
        backup_restore(app->arguments.operands[0], path, moment_now(), &kept, app->diags);
    if (status != STATUS_OK) {
        free(path);
        return app_fail(app, status);
    }
    screen_say(&app->out, 0, 0, ROLE_PLAIN, "The journal %s is now what %s holds.", path,
               app->arguments.operands[0]);
    if (kept != NULL)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "What was there before is kept as %s.", kept);
    free(path);
    free(kept);
    return app_flush(app);
}

const struct command command_restore = {
    .name = "restore",
    .summary = "puts a backup in the place of the journal, which is kept beside it",
    .operands = "FILE",
    .detail = "A file that is damaged, that a newer Jarside wrote or that is no journal is refused "
              "and nothing is touched. The present journal stays beside the restored one under a "
              "dated name.",
    .run = run_restore,
};
