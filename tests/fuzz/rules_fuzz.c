/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A rule file from a stranger, laid over a small sound rule base. If the two load together they are
 * used: phrases compiled and checked, a description read, judged and shown.
 */
#include "language/reader.h"

#include "support/fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static const char text[] = "day 12, red and dusty near the top, no odour, maybe moist, 15 psi";
    struct kit c;
    struct unsaved file;
    unsaved_open(&file, bytes, size);
    const char *const folders[] = {"tests/unit/tiny-rules", file.path};
    if (kit_open(&c, folders, 2)) {
        reader_check_patterns(c.reader, c.diags);
        hold_diags(c.diags, false);
        enum status status = triage_tell(c.triage, text, sizeof text - 1, c.diags);
        hold(status == STATUS_OK || status == STATUS_DATA, "a plain description is read");
        hold_diags(c.diags, status != STATUS_OK);
        judge_and_hold(&c);
    }
    kit_close(&c);
    unsaved_close(&file);
    return 0;
}
