/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "cli/app_journal.h"
#include "cli/commands.h"
#include "journal/check.h"
#include "voice/whole_json.h"

static const struct option options[] = {
    {"all", NULL, "list every fault, not only the first fifty"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

struct listing {
    struct app *app;
    bool json;
    json_t *faults;
    size_t listed, most;
    bool damaged; /* the file itself */
};

static const char *name_of(enum record record)
{
    return record == RECORD_COUNT ? "file" : record_types[record].name;
}

static void list_text(const struct listing *listing, const struct check_fault *fault)
{
    char lead[384], id[24] = "";
    const char *kind = fault->warning ? "warning" : "error";
    if (fault->id != 0)
        snprintf(id, sizeof id, " %lld", (long long)fault->id);
    if (fault->label[0] != '\0')
        snprintf(lead, sizeof lead, "%s: %s %s:", kind, name_of(fault->record), fault->label);
    else
        snprintf(lead, sizeof lead, "%s: %s%s:", kind, name_of(fault->record), id);
    screen_item(&listing->app->out, 0, lead, fault->warning ? ROLE_PLAIN : ROLE_WARN,
                fault->message);
}

static void listed(void *context, const struct check_fault *fault)
{
    struct listing *listing = context;
    listing->damaged = listing->damaged || fault->record == RECORD_COUNT;
    if (listing->listed++ >= listing->most)
        return;
    if (!listing->json)
        list_text(listing, fault);
    else
        listing->faults = voice_json_append(
            listing->faults,
            json_pack("{s:s, s:s, s:I, s:s, s:s}", "kind", fault->warning ? "warning" : "error",
                      "table", name_of(fault->record), "id", (json_int_t)fault->id, "label",
                      fault->label, "message", fault->message));
}

static enum exit_status tell_json(struct app *app, const struct listing *listing,
                                  const struct check_tally *tally)
{
    return app_json(app,
                    json_pack("{s:i, s:s, s:I, s:I, s:I, s:O}", "schema", 1, "journal",
                              journal_path(app->journal), "records", (json_int_t)tally->records,
                              "errors", (json_int_t)tally->errors, "warnings",
                              (json_int_t)tally->warnings, "faults", listing->faults),
                    false);
}

static enum exit_status tell_text(struct app *app, const struct listing *listing,
                                  const struct check_tally *tally)
{
    if (listing->listed > listing->most)
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "and %zu more; --all lists them",
                   listing->listed - listing->most);
    if (listing->damaged)
        screen_say(
            &app->out, 0, 0, ROLE_PLAIN,
            "It was left as it is. 'jarside restore FILE' brings back a backup and keeps this "
            "file beside it.");
    else if (tally->errors > 0)
        screen_say(
            &app->out, 0, 0, ROLE_PLAIN,
            "%zu records looked at, %zu fault%s. Nothing was changed. 'jarside correct' puts "
            "a slip right, 'jarside restore FILE' brings back a backup.",
            tally->records, tally->errors, tally->errors == 1 ? "" : "s");
    else
        screen_say(&app->out, 0, 0, ROLE_PLAIN, "%zu records looked at, no fault.", tally->records);
    return app_flush(app);
}

static enum exit_status run(struct app *app)
{
    struct check_tally tally;
    struct listing listing = {.app = app, .most = 50};
    enum exit_status fault = app_load(app, NULL, 0);
    if (fault == EXIT_FINE)
        fault = app_journal(app, JOURNAL_READ);
    if (fault != EXIT_FINE)
        return fault;
    if (arguments_flag(&app->arguments, "all"))
        listing.most = SIZE_MAX;
    listing.json = arguments_flag(&app->arguments, "json");
    if (listing.json)
        listing.faults = json_array();
    const struct check_sink sink = {&listing, listed};
    enum status status =
        check_journal(app->journal, app->rules, moment_now(), &sink, &tally, app->diags);
    if (status != STATUS_OK)
        fault = app_fail(app, status);
    else
        fault = listing.json ? tell_json(app, &listing, &tally) : tell_text(app, &listing, &tally);
    json_decref(listing.faults);
    if (fault != EXIT_FINE)
        return fault;
    return tally.errors > 0 ? EXIT_CHECK_FAILED : EXIT_FINE;
}

const struct command command_journal_check = {
    .name = "journal check",
    .summary = "looks the journal over for damage and for what cannot be",
    .operands = "",
    .detail = "The file itself, references, dates, corrections, what is derived, words that the "
              "rules do not know. Changes nothing. Exit status 1 when there is a fault.",
    .options = options,
    .run = run,
};
