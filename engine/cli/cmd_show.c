/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>

#include "cli/commands.h"
#include "voice/show.h"

static enum exit_status unknown_id(struct app *app, const char *id)
{
    enum { MOST = 1024 };
    const char **ids = calloc(MOST, sizeof *ids);
    if (ids == NULL)
        return app_fail(app, STATUS_MEMORY);
    const char *near = diag_nearest(id, ids, voice_ids(app->rules, ids, MOST));
    free(ids);
    if (near != NULL)
        return app_usage(app, "nothing here is called '%s'; did you mean '%s'?", id, near);
    return app_usage(app, "nothing here is called '%s'; 'jarside show' lists all there is", id);
}

static enum exit_status run_show(struct app *app)
{
    enum exit_status fault = app_load(app, NULL, 0);
    if (fault != EXIT_FINE)
        return fault;
    if (app->arguments.operand_count == 0)
        voice_show_all(&app->out, app->rules);
    for (size_t i = 0; i < app->arguments.operand_count; i++) {
        if (i > 0)
            screen_blank(&app->out);
        if (!voice_show(&app->out, app->rules, app->arguments.operands[i]))
            return unknown_id(app, app->arguments.operands[i]);
    }
    return app_flush(app);
}

const struct command command_show = {
    .name = "show",
    .summary = "prints what is known of a finding, cause or sign, with its sources",
    .operands = "[ID...]",
    .run = run_show,
};
