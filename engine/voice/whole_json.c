/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/whole_json.h"

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
