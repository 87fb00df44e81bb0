/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/corpus.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "knowledge/rules.h"

char *corpus_find(const char *below)
{
    bool no_memory = false;
    char *rules = rules_find_shipped(&no_memory);
    if (no_memory)
        return NULL;
    char *slash = rules != NULL ? strrchr(rules, '/') : NULL;
    int length = slash != NULL ? (int)(slash - rules) : 0;
    size_t room = (size_t)length + sizeof "/corpus/" + strlen(below);
    char *path = malloc(room);
    if (path != NULL)
        snprintf(path, room, "%.*s%scorpus/%s", length, rules != NULL ? rules : "",
                 slash != NULL ? "/" : "", below);
    free(rules);
    return path;
}
