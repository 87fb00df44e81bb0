/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A remark about a batch: read or refused, and nothing is said of anybody that is not in it.
 */
#include "journal/remark.h"

#include "support/fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct arena *arena = arena_new();
    struct diags *diags = diags_new();
    const char *text = arena_copy(arena, (const char *)bytes, size < 4096 ? size : 4096);
    struct remark remark;
    enum status status = remark_read(shipped()->rules, text, "B3", 40, arena, &remark, diags);
    hold(status == STATUS_OK || status == STATUS_USAGE, "a remark is read or refused");
    hold_diags(diags, status != STATUS_OK);
    for (size_t i = 0; status == STATUS_OK && i < remark.group_count; i++) {
        const struct remark_group *group = &remark.groups[i];
        hold(group->controls || group->count > 0, "a group has somebody in it");
        for (size_t k = 0; k < group->count; k++)
            hold(group->numbers[k] > 0 &&
                     remark_group_of(&remark, group->numbers[k], false) != NULL,
                 "who is named is found again");
    }
    diags_free(diags);
    arena_free(arena);
    return 0;
}
