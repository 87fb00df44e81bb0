/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_JSON_TEXT_H
#define JARSIDE_BASE_JSON_TEXT_H

#include <jansson.h>
#include <stddef.h>

/*
 * JSON as text, whole or not at all, and harmless on a terminal: what could change or hide what stands
 * around it (text_treacherous) is written as \u escapes, which any reader takes back. json_dumps lets
 * a buffer grow, and where it cannot it leaves a key out and says nothing: this measures first, then
 * writes into a block of that size.
 *
 * `flags` are those of json_dumps. The text ends with a NUL and is the caller's to free; NULL when
 * memory is lacking, or when `json` is NULL. `length` may be NULL.
 */
char *json_text(const json_t *json, size_t flags, size_t *length);

#endif
