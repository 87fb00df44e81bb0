/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The bytes of a journal file: opened to read and to write, checked, walked and exported. */
#include "journal/exchange.h"
#include "journal/journal.h"

#include "support/fuzz.h"

static void look_over(struct journal *journal, struct diags *diags)
{
    json_t *found;
    FILE *nowhere = fopen("/dev/null", "w");
    hold(nowhere != NULL, "what is exported can be thrown away");
    enum status status = check_journal(journal, NULL, 50, &found);
    char *text = json_dumps(found, 0);
    hold(harmless(text), "what the check tells is safe");
    free(text);
    json_decref(found);
    hold_diags(diags, status != STATUS_OK);
    for (enum record r = RECORD_STARTER; r < RECORD_COUNT; r++) {
        size_t rows = 0;
        status = export_table(journal, r, nowhere, record_types[r].name, &rows);
        hold_diags(diags, status != STATUS_OK);
    }
    fclose(nowhere);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static const enum journal_access ways[] = {JOURNAL_READ, JOURNAL_WRITE};
    struct diags *diags = diags_new();
    struct desk desk;
    desk_set(&desk);
    desk_write(&desk, bytes, size);
    for (size_t i = 0; i < sizeof ways / sizeof *ways; i++) {
        struct journal *journal = NULL;
        enum status status = journal_open(desk.path, ways[i], &journal, diags);
        hold((status == STATUS_OK) == (journal != NULL), "it is open or refused");
        hold_diags(diags, status != STATUS_OK);
        if (journal)
            look_over(journal, diags);
        journal_close(journal);
    }
    desk_clear(&desk);
    diags_free(diags);
    return 0;
}
