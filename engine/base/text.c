/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/text.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* An empty text points here, so that `bytes` is a string at any time. Never written to or freed:
 * capacity 0 says that nothing is owned. */
static char *nothing(void)
{
    return (char *)"";
}

void text_init(struct text *text)
{
    *text = (struct text){.bytes = nothing()};
}

void text_release(struct text *text)
{
    if (text->capacity)
        free(text->bytes);
    text_init(text);
}

void text_clear(struct text *text)
{
    text->length = 0;
    text->failed = false;
    if (text->capacity)
        text->bytes[0] = '\0';
    else
        text->bytes = nothing();
}

/* Room for `more` bytes and the closing NUL. */
static bool text_reserve(struct text *text, size_t more)
{
    if (text->failed || more > SIZE_MAX / 2 - 1 - text->length) {
        text->failed = true;
        return false;
    }
    size_t need = text->length + more + 1;
    if (need <= text->capacity)
        return true;
    size_t capacity = text->capacity ? text->capacity : 64;
    while (capacity < need)
        capacity *= 2; /* need <= SIZE_MAX / 2, so this cannot wrap */
    char *bytes = realloc(text->capacity ? text->bytes : NULL, capacity);
    if (!bytes) {
        text->failed = true;
        return false;
    }
    text->bytes = bytes;
    text->capacity = capacity;
    return true;
}

void text_cut(struct text *text, size_t length)
{
    if (length < text->length) {
        text->length = length;
        text->bytes[length] = '\0';
    }
}

void text_add(struct text *text, const char *bytes, size_t length)
{
    if (!text_reserve(text, length))
        return;
    if (length)
        memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
    text->bytes[text->length] = '\0';
}

void text_puts(struct text *text, const char *string)
{
    text_add(text, string, strlen(string));
}

void text_printf(struct text *text, const char *format, ...)
{
    va_list measure;
    va_list print;
    va_start(measure, format);
    va_copy(print, measure);
    int length = vsnprintf(NULL, 0, format, measure);
    va_end(measure);
    if (length < 0) {
        text->failed = true;
    } else if (text_reserve(text, (size_t)length)) {
        (void)vsnprintf(text->bytes + text->length, (size_t)length + 1, format, print);
        text->length += (size_t)length;
    }
    va_end(print);
}

char *text_vformat(const char *format, va_list arguments)
{
    va_list measure;
    va_copy(measure, arguments);
    int length = vsnprintf(NULL, 0, format, measure);
    va_end(measure);
    char *string = length < 0 ? NULL : malloc((size_t)length + 1);
    if (string)
        (void)vsnprintf(string, (size_t)length + 1, format, arguments);
    return string;
}

char *text_format(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *string = text_vformat(format, arguments);
    va_end(arguments);
    return string;
}
