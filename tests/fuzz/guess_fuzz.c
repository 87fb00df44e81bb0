/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A spreadsheet of whatever kind: the map that is guessed for it can be read, or lacks what only its
 * grower knows. */
#include "journal/exchange.h"

#include "support/fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct kit *c = shipped();
    struct unsaved file;
    struct text map;
    text_init(&map);
    unsaved_open(&file, bytes, size);
    enum status status = mapping_guess(file.path, c->reader, c->triage, &map, c->diags);
    hold(status == STATUS_OK || status == STATUS_DATA, "a sheet is guessed at or refused");
    hold_diags(c->diags, status != STATUS_OK);
    unsaved_close(&file);
    if (status == STATUS_OK) {
        hold(utf8_valid_prefix(map.bytes, map.length) == map.length, "a map is text");
        unsaved_open(&file, (const uint8_t *)map.bytes, map.length);
        struct mapping *mapping = mapping_new(file.path, c->rules, c->diags, &status);
        for (size_t i = 0; mapping == NULL && i < diags_kept(c->diags); i++) {
            const char *said = diags_get(c->diags, i)->message;
            hold(strstr(said, "map '") != NULL, "a guessed map lacks columns and nothing else");
        }
        diags_clear(c->diags);
        mapping_free(mapping);
        unsaved_close(&file);
    }
    text_release(&map);
    return 0;
}
