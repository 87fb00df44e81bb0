/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/whole_json.h"

#include <math.h>
#include <string.h>

json_t *voice_json_append(json_t *array, json_t *item)
{
    if (json_array_append_new(array, item) == 0)
        return array;
    json_decref(array);
    return NULL;
}

json_t *voice_json_put(json_t *object, const char *key, json_t *value)
{
    if (json_object_set_new(object, key, value) == 0)
        return object;
    json_decref(object);
    return NULL;
}

json_t *voice_json_number(double number)
{
    return isfinite(number) ? json_real(number) : json_null();
}

json_t *voice_json_parts(const char *parts)
{
    json_t *array = json_array();

    while (array != NULL && parts != NULL && *parts != '\0') {
        const char *end = strstr(parts, "; ");
        size_t length = end != NULL ? (size_t)(end - parts) : strlen(parts);
        array = voice_json_append(array, json_stringn(parts, length));
        parts += length + (end != NULL ? 2 : 0);
    }
    return array;
}
