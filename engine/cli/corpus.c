/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/corpus.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "knowledge/rules.h"

char *corpus_find(const char *below)
{
    bool no_memory = false;
    char *rules = rules_find_shipped(&no_memory);
    if (no_memory)
        return NULL;
    char *slash = rules != NULL ? strrchr(rules, '/') : NULL;
    int length = slash != NULL ? (int)(slash - rules) + 1 : 0;
    char *path = text_format("%.*scorpus/%s", length, rules != NULL ? rules : "", below);
    free(rules);
    return path;
}
