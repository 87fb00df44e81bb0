/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/json_text.h"

#include <stdbool.h>
#include <stdlib.h>

#include "base/text.h"

/* RFC 8259, section 7: beyond the first 65536 as two halves of UTF-16. */
static void add_escape(struct text *out, int32_t point)
{
    if (point < 0x10000)
        text_printf(out, "\\u%04x", (unsigned)point);
    else
        text_printf(out, "\\u%04x\\u%04x", 0xD800U + ((unsigned)(point - 0x10000) >> 10),
                    0xDC00U + ((unsigned)(point - 0x10000) & 0x3FF));
}

/* Only within strings does JSON hold anything but ASCII. */
static bool is_foreign(char byte)
{
    return (unsigned char)byte >= 0x7F;
}

/* Takes the text and gives it back, or another one in its place. */
static char *made_harmless(char *text, size_t *length)
{
    struct text out;
    size_t copied = 0;
    text_init(&out);
    for (size_t at = 0; at < *length; at++) {
        int32_t point = 0;
        size_t step = is_foreign(text[at]) ? text_treacherous(text + at, *length - at, &point) : 0;
        if (step == 0)
            continue;
        text_add(&out, text + copied, at - copied);
        add_escape(&out, point);
        copied = at + step;
        at = copied - 1;
    }
    if (copied == 0)
        return text;
    text_add(&out, text + copied, *length - copied);
    free(text);
    if (out.failed) {
        text_release(&out);
        return NULL;
    }
    *length = out.length;
    return out.bytes;
}

char *json_text(const json_t *json, size_t flags, size_t *length)
{
    size_t size = json != NULL ? json_dumpb(json, NULL, 0, flags) : 0;
    char *text = size > 0 ? malloc(size + 1) : NULL;
    if (text == NULL)
        return NULL;
    if (json_dumpb(json, text, size, flags) != size) {
        free(text);
        return NULL;
    }
    text[size] = '\0';
    text = made_harmless(text, &size);
    if (length != NULL)
        *length = size;
    return text;
}
