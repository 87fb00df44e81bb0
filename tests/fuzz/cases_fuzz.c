/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A case file, read against the shipped rules; its first cases are judged. */
#include "base/memory.h"
#include "rules/rules.h"

#include "support/fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    enum { JUDGED = 3 };
    struct kit *c = shipped();
    struct arena *arena = arena_new();
    const struct labelled_case *cases = NULL;
    size_t count = 0;
    struct unsaved file;
    hold(arena != NULL, "there is memory");
    unsaved_open(&file, bytes, size);
    enum status status = cases_load(file.path, c->rules, arena, &cases, &count, c->diags);
    hold(status == STATUS_OK || status == STATUS_DATA, "a case file is read or refused");
    hold_diags(c->diags, status != STATUS_OK);
    for (size_t i = 0; status == STATUS_OK && i < count && i < JUDGED; i++) {
        triage_reset(c->triage);
        enum status taken = triage_case(c->triage, &cases[i], c->diags);
        hold_diags(c->diags, taken != STATUS_OK);
        if (taken == STATUS_OK)
            judge_and_hold(c);
    }
    unsaved_close(&file);
    arena_free(arena);
    return 0;
}
