/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/app_journal.h"
#include "cli/feed.h"
#include "journal/calendar.h"

/* Minutes after midnight; CALENDAR_NO_ALARM when not given. */
static enum exit_status read_remind(struct app *app, int *remind)
{
    const char *said = arguments_value(&app->arguments, "remind");
    *remind = CALENDAR_NO_ALARM;
    if (said == NULL)
        return EXIT_FINE;
    bool clock = strlen(said) == 5 && isdigit((unsigned char)said[0]) &&
                 isdigit((unsigned char)said[1]) && said[2] == ':' &&
                 isdigit((unsigned char)said[3]) && isdigit((unsigned char)said[4]);
    int hours = clock ? (int)strtol(said, NULL, 10) : 24;
    int minutes = clock ? (int)strtol(said + 3, NULL, 10) : 60;
    if (hours > 23 || minutes > 59)
        return app_usage(app, "'--remind %s' is no time of the day; write 09:00", said);
    *remind = hours * 60 + minutes;
    return EXIT_FINE;
}

enum exit_status feed_write(struct app *app, const char *path)
{
    bool replace = arguments_flag(&app->arguments, "force");
    struct calendar_options how = {.now = moment_now(), .until = INT64_MAX};
    struct text calendar;
    size_t events = 0;
    enum exit_status fault = read_remind(app, &how.remind);
    if (fault == EXIT_FINE)
        fault = app_journal(app, JOURNAL_READ);
    if (fault != EXIT_FINE)
        return fault;
    text_init(&calendar);
    enum status status = calendar_text(app->journal, &how, &calendar, &events, app->diags);
    fault = status == STATUS_OK ? app_write(app, path, &calendar, replace) : app_fail(app, status);
    text_release(&calendar);
    if (fault != EXIT_FINE)
        return fault;
    if (strcmp(path, "-") == 0)
        return EXIT_FINE;
    if (events == 0)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "Nothing is due: %s is an empty calendar.", path);
    else
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "%zu day%s of looks written to %s.", events,
                   events == 1 ? "" : "s", path);
    return app_flush(app);
}
