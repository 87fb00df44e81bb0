/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Phrases of a rule base: a line each, as patterns of one sign's values; behind an empty line the
 * text they are tried on. Whatever the patterns are, reading comes to an end.
 */
#include "base/memory.h"

#include "support/fuzz.h"

enum { PHRASES = 6 };

struct sheet { /* lines of the input */
    const char *phrases[PHRASES];
    struct position places[PHRASES];
    size_t count;
    const char *text;
};

static void sheet_cut(struct sheet *sheet, char *text)
{
    char *line = text;
    *sheet = (struct sheet){.text = ""};
    while (line && *line && *line != '\n' && sheet->count < PHRASES) {
        char *end = strchr(line, '\n');
        if (end)
            *end++ = '\0';
        sheet->places[sheet->count] = (struct position){"sheet", sheet->count + 1, 1};
        sheet->phrases[sheet->count++] = line;
        line = end;
    }
    if (line)
        sheet->text = line;
}

/* A number and a several-of, each with half of the phrases. */
static void rules_of(const struct sheet *sheet, struct observable observables[2],
                     struct value values[2])
{
    size_t half = sheet->count / 2;
    values[0] = (struct value){.id = "a", .label = "a", .base = 0.5};
    values[1] = (struct value){.id = "b", .label = "b", .base = 0.5};
    values[0].phrases = (struct phrases){sheet->phrases, sheet->places, half};
    values[1].phrases =
        (struct phrases){sheet->phrases + half, sheet->places + half, sheet->count - half};
    for (size_t i = 0; i < 2; i++)
        observables[i] = (struct observable){.id = i ? "y" : "x",
                                             .label = i ? "y" : "x",
                                             .kind = i ? KIND_ONE : KIND_SEVERAL,
                                             .group = RULES_NONE,
                                             .values = values,
                                             .value_count = 2};
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static const char *const negations[] = {"no", "not"};
    if (utf8_valid_prefix((const char *)bytes, size) != size)
        return -1; /* a rule file that is not UTF-8 gets no further than its first such byte */
    char *text = string_of(bytes, size);
    struct sheet sheet;
    struct observable observables[2];
    struct value values[2];
    sheet_cut(&sheet, text);
    rules_of(&sheet, observables, values);
    struct rules rules = {.observables = observables, .observable_count = 2};
    rules.language.negations = (struct phrases){.list = negations, .count = 2};
    struct diags *diags = diags_new();
    struct arena *arena = arena_new();
    hold(diags && arena, "there is memory");
    struct reader *reader = reader_new(&rules, diags);
    hold_diags(diags, !reader);
    if (reader) {
        struct reading_list list;
        enum status status =
            reader_read(reader, sheet.text, strlen(sheet.text), arena, &list, diags);
        hold(status == STATUS_OK || status == STATUS_DATA, "the text is read or refused");
        hold_diags(diags, status != STATUS_OK);
        reader_check_patterns(reader, diags);
        hold_diags(diags, false);
    }
    reader_free(reader);
    arena_free(arena);
    diags_free(diags);
    free(text);
    return 0;
}
