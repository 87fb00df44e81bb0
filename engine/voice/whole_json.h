/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_WHOLE_JSON_H
#define JARSIDE_VOICE_WHOLE_JSON_H

#include <jansson.h>

/*
 * What is told as JSON is whole or not at all: these add to an array or an object, whose reference they
 * take and return. They give it up for NULL when that fails or when it was NULL already, so a chain of
 * them needs one check at its end.
 */
json_t *voice_json_append(json_t *array, json_t *item);
json_t *voice_json_put(json_t *object, const char *key, json_t *value);

/* A number, or null for what is not finite. */
json_t *voice_json_number(double number);
/* An array of the parts of "a; b; c"; empty for NULL. */
json_t *voice_json_parts(const char *parts);

#endif
