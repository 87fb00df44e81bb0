/* SPDX-License-Identifier: GPL-3.0-or-later */
/* SIGN=VALUE settings, a line each; the part behind "=" is also read as a quantity of every kind. */
#include "base/units.h"

#include "support/fuzz.h"

static void read_quantities(const char *value)
{
    struct text folded;
    text_init(&folded);
    if (text_fold(&folded, value, strlen(value), NULL)) {
        for (int d = 0; d < DIM_COUNT; d++) {
            struct quantity quantity = {0};
            size_t used = 0;
            if (quantity_read(folded.bytes, folded.length, (enum dimension)d, &quantity, &used) !=
                QUANTITY_OK)
                continue;
            hold(used <= folded.length, "no more is read than there is");
            hold(isfinite(quantity.lo) && isfinite(quantity.hi), "a quantity is finite");
            hold(quantity.lo <= quantity.hi, "a range is in order");
            struct text shown;
            text_init(&shown);
            quantity_show(&shown, quantity.hi, (enum dimension)d);
            hold(harmless(shown.bytes), "a quantity is safe to show");
            text_release(&shown);
        }
    }
    text_release(&folded);
}

static void set(struct kit *c, char *line)
{
    char *value = strchr(line, '=');
    if (!value)
        return;
    *value++ = '\0';
    enum status status = triage_set(c->triage, line, value, (struct position){0}, c->diags);
    hold(status == STATUS_OK || status == STATUS_USAGE || status == STATUS_DATA,
         "a setting is taken or refused");
    hold_diags(c->diags, status != STATUS_OK);
    read_quantities(value);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    enum { LINES = 12 };
    struct kit *c = shipped();
    char *text = string_of(bytes, size);
    char *rest = text, *line;
    for (size_t i = 0; i < LINES && (line = next_line(&rest)) != NULL; i++)
        set(c, line);
    judge_and_hold(c);
    free(text);
    return 0;
}
