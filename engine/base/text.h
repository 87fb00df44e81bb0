/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_TEXT_H
#define JARSIDE_BASE_TEXT_H

#include <jansson.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/memory.h"

/* Strings: a growable buffer, UTF-8, and what may reach a screen.
 *
 * Unicode tables come from utf8proc. "Safe" text has no control character but newline, no escape,
 * no bidirectional control, no invalid UTF-8: whatever came from a file, a terminal or a database
 * goes through text_safe before it is shown. */
struct text { /* a growable byte string, NUL-terminated, owned by whoever holds the struct */
    char *bytes;
    size_t length;
    size_t capacity;
};

/* Makes it empty, owning nothing; makes it so again. `bytes` is a string at any time. Texts are
 * passed by pointer, never copied as structs. */
void text_init(struct text *text);
void text_release(struct text *text);
/* A text that is released where its scope ends; and an empty one of that name. */
#define SCOPED_TEXT __attribute__((cleanup(text_release)))
#define TEXT(name)                                                                                 \
    struct text name SCOPED_TEXT;                                                                  \
    text_init(&(name))
void text_clear(struct text *text); /* empties it, and keeps the memory */
/* Takes back what was added beyond `length`; nothing when there is less. */
void text_cut(struct text *text, size_t length);
/* Append bytes, a string, something formatted. */
void text_add(struct text *text, const char *bytes, size_t length);
void text_puts(struct text *text, const char *string);
void text_printf(struct text *text, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Something formatted as a string of its own; the caller frees it. */
char *text_format(const char *format, ...) __attribute__((format(printf, 1, 2)));
char *text_vformat(const char *format, va_list arguments) __attribute__((format(printf, 1, 0)));
/* In a function with a format and what goes into it: that, as a string freed with its scope. */
#define FORMATTED(string, format)                                                                  \
    va_list string##_values;                                                                       \
    va_start(string##_values, format);                                                             \
    char *string SCOPED_FREE = text_vformat(format, string##_values);                              \
    va_end(string##_values)

/* Offset of the first byte that is not valid UTF-8, or `length` if all is. */
size_t utf8_valid_prefix(const char *bytes, size_t length);
/* Columns a terminal needs for this UTF-8 text (wide = 2, combining = 0). */
size_t utf8_width(const char *bytes, size_t length);
/* Code points in valid UTF-8; used for columns of positions. */
size_t utf8_count(const char *bytes, size_t length);

/* Appends `bytes` made safe: control characters, escapes, bidirectional and other invisible format
 * controls and invalid bytes become U+FFFD (or '?' when `ascii`); tab becomes a space; newlines
 * stay if `keep_newlines`, else become a space. At most `limit` code points, then an ellipsis
 * ("..." when `ascii`). */
struct text_safe_options {
    bool ascii; /* the locale is not UTF-8: other code points become '?' or a plain look-alike */
    bool keep_newlines;
    size_t limit; /* 0 for none */
};
void text_safe(struct text *out, const char *bytes, size_t length,
               const struct text_safe_options *options);

/* The same of at most `limit` code points (0: any number) as a string in the arena. */
char *text_safe_copy(struct arena *arena, const char *bytes, size_t length, size_t limit);

/* How many bytes the code point at the front takes when it draws nothing of its own yet can change
 * or hide what stands around it (controls, bidirectional and other format characters); 0 when it is
 * harmless, or none. */
size_t text_treacherous(const char *bytes, size_t length, int32_t *point);

/* Appends `bytes` folded for comparison: NFKC, lower case, curly quotes and dashes to plain ones,
 * runs of white space to one space. If `origin` is not NULL it receives, per output byte, the
 * offset in the input it came from (an array of out-length + 1 entries allocated with malloc;
 * caller frees). False, and nothing is appended, when it is not valid UTF-8. */
bool text_fold(struct text *out, const char *bytes, size_t length, size_t **origin);

/* Appends JSON, harmless on a terminal: what could change or hide what stands around it
 * (text_treacherous) is written as \u escapes, which any reader takes back. Keys that begin with
 * "_" stay out; with `spread` each member has a line. False, and nothing is appended, when `json`
 * is NULL, which is how Jansson says that it was given what is not UTF-8. */
bool json_write(struct text *out, json_t *json, bool spread);

#endif
