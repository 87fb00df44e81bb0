/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A spreadsheet from a friend: tables of records, each behind a line "= NAME". They are imported into an
 * empty journal; what goes in comes out again and goes in once more as what is there already.
 */
#include "journal/exchange.h"
#include "journal/journal.h"

#include "support/fuzz.h"

static struct journal *empty_journal(struct desk *desk, struct diags *diags)
{
    struct journal *journal = NULL;
    desk_set(desk);
    hold(journal_open(desk->path, JOURNAL_CREATE, &journal, diags) == STATUS_OK,
         "a journal can be made");
    return journal;
}

static void import_table(struct journal *journal, enum record record, const char *bytes,
                         size_t length, struct diags *diags)
{
    const struct import_options options = {.dry_run = false};
    struct import_tally tally[RECORD_COUNT];
    struct unsaved file;
    unsaved_open(&file, (const uint8_t *)bytes, length);
    enum status status = import_tables(journal, file.path, record, &options, tally);
    hold(status == STATUS_OK || status == STATUS_DATA || status == STATUS_USAGE,
         "a table is read or refused");
    hold_diags(diags, status != STATUS_OK);
    unsaved_close(&file);
}

static void import_all(struct journal *journal, const char *text, size_t size, struct diags *diags)
{
    const char *end = text + size;
    const char *at = text;
    while (at < end && *at == '=' && end - at > 2) {
        const char *line_end = memchr(at, '\n', (size_t)(end - at));
        if (!line_end)
            return;
        enum record record = record_named(at + 2, (size_t)(line_end - at - 2));
        const char *table = line_end + 1;
        const char *next = table;
        while (next < end && !(*next == '=' && next[-1] == '\n')) {
            const char *newline = memchr(next, '\n', (size_t)(end - next));
            next = newline ? newline + 1 : end;
        }
        if (record < RECORD_COUNT)
            import_table(journal, record, table, (size_t)(next - table), diags);
        at = next;
    }
}

/* What was taken in goes out again, and is then known to the byte. */
static void hold_round_trip(struct journal *journal, struct diags *diags)
{
    const struct import_options options = {.dry_run = false};
    for (enum record r = RECORD_STARTER; r < RECORD_COUNT; r++) {
        size_t rows = 0;
        struct import_tally tally[RECORD_COUNT];
        struct unsaved file;
        unsaved_open(&file, NULL, 0);
        FILE *stream = fdopen(dup(file.descriptor), "wb");
        hold(stream && export_table(journal, r, stream, "table", &rows) == STATUS_OK,
             "what was imported can be exported");
        hold(fclose(stream) == 0, "and written");
        enum status status = import_tables(journal, file.path, r, &options, tally);
        hold(status == STATUS_OK && tally[r].added == 0 && tally[r].refused == 0,
             "and is known when it comes again");
        hold_diags(diags, false);
        unsaved_close(&file);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct diags *diags = diags_new();
    struct desk desk;
    struct journal *journal = empty_journal(&desk, diags);
    char *text = string_of(bytes, size);
    import_all(journal, text, size, diags);
    hold_round_trip(journal, diags);
    free(text);
    journal_close(journal);
    desk_clear(&desk);
    diags_free(diags);
    return 0;
}
