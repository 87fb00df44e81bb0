/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A description in free text, told to the shipped rules, judged and shown. */
#include "support/fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct kit *c = shipped();
    char *text = string_of(bytes, size);
    enum status status = triage_tell(c->triage, text, size, c->diags);
    hold(status == STATUS_OK || status == STATUS_DATA, "text is read or refused");
    hold_diags(c->diags, status != STATUS_OK);
    judge_and_hold(c);
    free(text);
    return 0;
}
