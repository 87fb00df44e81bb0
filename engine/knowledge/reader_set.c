/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Settings: sign=value, as on the command line and in case files. */
#include <string.h>

#include "base/text.h"
#include "knowledge/reader_internal.h"

static const struct position NOWHERE = {0};

static enum status unknown_sign(const struct rules *rules, const char *sign, struct arena *scratch,
                                struct diags *diags)
{
    const char **names = arena_array(scratch, rules->observable_count, sizeof *names);
    if (!names)
        return STATUS_MEMORY;
    for (size_t i = 0; i < rules->observable_count; i++)
        names[i] = rules->observables[i].id;
    const char *nearest = diag_nearest(sign, names, rules->observable_count);
    if (nearest)
        diags_error(diags, NOWHERE, "no sign is called '%s'; did you mean '%s'?", sign, nearest);
    else
        diags_error(diags, NOWHERE, "no sign is called '%s'; 'rules check' names the rules in use",
                    sign);
    return STATUS_USAGE;
}

static enum status unknown_value(const struct observable *o, const char *value, struct diags *diags)
{
    const char *names[RULES_MAX_VALUES];
    struct text list;
    text_init(&list);
    for (size_t i = 0; i < o->value_count; i++) {
        names[i] = o->values[i].id;
        text_printf(&list, "%s%s", i ? ", " : "", o->values[i].id);
    }
    const char *nearest = diag_nearest(value, names, o->value_count);
    if (list.failed) {
        text_release(&list);
        return STATUS_MEMORY;
    }
    if (nearest)
        diags_error(diags, NOWHERE, "'%s' has no value '%s'; did you mean '%s'?", o->id, value,
                    nearest);
    else
        diags_error(diags, NOWHERE, "'%s' has no value '%s'; it takes %s%s", o->id, value,
                    o->kind == KIND_NUMBER ? "a quantity or one of: " : "", list.bytes);
    text_release(&list);
    return STATUS_USAGE;
}

static char *trimmed(struct arena *arena, const char *text, size_t length)
{
    while (length && (text[0] == ' ' || text[0] == '\t')) {
        text++;
        length--;
    }
    while (length && (text[length - 1] == ' ' || text[length - 1] == '\t'))
        length--;
    return arena_copy(arena, text, length);
}

static enum status set_value(const struct observable *o, const char *word, struct reading *reading,
                             struct diags *diags)
{
    bool denied = word[0] == '-';
    const char *id = denied ? word + 1 : word;
    int value = rules_value(o, id);
    if (value == RULES_NONE)
        return unknown_value(o, id, diags);
    uint32_t bit = UINT32_C(1) << value;
    if ((denied ? reading->seen : reading->absent) & bit) {
        diags_error(diags, NOWHERE, "'%s' is both set and denied for '%s'; keep one", id, o->id);
        return STATUS_USAGE;
    }
    *(denied ? &reading->absent : &reading->seen) |= bit;
    return STATUS_OK;
}

static enum status set_values(const struct observable *o, const char *value, struct arena *scratch,
                              struct reading *reading, struct diags *diags)
{
    for (const char *at = value;;) {
        size_t length = strcspn(at, ",");
        char *word = trimmed(scratch, at, length);
        if (!word)
            return STATUS_MEMORY;
        enum status status = set_value(o, word, reading, diags);
        if (status != STATUS_OK)
            return status;
        if (!at[length])
            return STATUS_OK;
        at += length + 1;
    }
}

/* STATUS_DATA: the value is no quantity at all, so it may be the name of a bin. */
static enum status set_quantity(const struct observable *o, const char *value,
                                struct arena *scratch, struct reading *reading, struct diags *diags)
{
    struct text folded;
    size_t used = 0;
    text_init(&folded);
    if (text_fold(&folded, value, strlen(value), NULL) == TEXT_FOLD_MEMORY || folded.failed) {
        text_release(&folded);
        return STATUS_MEMORY;
    }
    enum quantity_fault fault = quantity_read(folded.length ? folded.bytes : "", folded.length,
                                              o->dimension, &reading->number, &used);
    enum number_fault read = NUMBER_UNREADABLE;
    if (fault == QUANTITY_OK && used == folded.length)
        read = number_read_bins(o, folded.bytes, folded.length, false, false, &reading->number,
                                &reading->seen);
    bool wrong_unit = fault == QUANTITY_WRONG_UNIT || fault == QUANTITY_UNKNOWN_UNIT;
    text_release(&folded);
    if (read == NUMBER_FINE) {
        reading->has_number = true;
        return STATUS_OK;
    }
    reading->number = (struct quantity){0};
    if (read == NUMBER_IMPOSSIBLE) {
        const char *limits = number_limits(o, scratch);
        if (!limits)
            return STATUS_MEMORY;
        diags_error(diags, NOWHERE, "'%s' cannot be '%s'; %s", o->id, value, limits);
        return STATUS_USAGE;
    }
    if (!wrong_unit || rules_value(o, value) != RULES_NONE)
        return STATUS_DATA;
    diags_error(diags, NOWHERE, "'%s' takes no such unit as in '%s'; give it in %s", o->id, value,
                dimension_name(o->dimension));
    return STATUS_USAGE;
}

enum status reader_set(struct reader *reader, const char *sign, const char *value,
                       struct reading *reading, struct diags *diags)
{
    const struct rules *rules = reader->rules;
    struct arena *scratch = reader->scratch;
    arena_reset(scratch);
    *reading = (struct reading){.span = {0, strlen(value)}};
    int index = rules_observable(rules, sign);
    if (index == RULES_NONE)
        return unknown_sign(rules, sign, scratch, diags);
    const struct observable *o = &rules->observables[index];
    reading->observable = (size_t)index;
    char *word = trimmed(scratch, value, strlen(value));
    if (!word)
        return STATUS_MEMORY;
    size_t length = strlen(word);
    if (length && word[length - 1] == '?') {
        reading->hedged = true;
        word[length - 1] = '\0';
    }
    if (!*word) {
        diags_error(diags, NOWHERE, "'%s' is set to nothing; name a value", o->id);
        return STATUS_USAGE;
    }
    if (o->kind == KIND_NUMBER) {
        enum status status = set_quantity(o, word, scratch, reading, diags);
        if (status != STATUS_DATA)
            return status;
    }
    return set_values(o, word, scratch, reading, diags);
}
