/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A map of a spreadsheet: read or refused, and what it is taken for carries a table. */
#include "journal/exchange.h"

#include "support/fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct kit *c = shipped();
    struct unsaved file;
    enum status status = STATUS_OK;
    unsaved_open(&file, bytes, size);
    struct mapping *mapping = mapping_new(file.path, c->rules, c->diags, &status);
    hold((mapping != NULL) == (status == STATUS_OK), "a map is read or refused");
    hold(status == STATUS_OK || status == STATUS_DATA, "nothing but the map is at fault");
    hold_diags(c->diags, status != STATUS_OK);
    mapping_free(mapping);
    unsaved_close(&file);
    return 0;
}
