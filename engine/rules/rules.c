/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rules/rules.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/text.h"
#include "rules/load.h"

/* ---- the names of enums in the files, and looking things up ------------------------------------- */

#define WORDS(name, many, ...)                                                                     \
    static const char *const name##_LIST[] = {__VA_ARGS__};                                        \
    const struct terms name = {name##_LIST, many, 0};                                              \
    _Static_assert(sizeof name##_LIST / sizeof *name##_LIST == (many), "a name for each")
WORDS(ACTION_WORDS, ACTION_COUNT, "keep", "isolate", "discard");
WORDS(STATUS_WORDS, FINDING_STATUS_COUNT, "clean", "stuck", "contaminated");
WORDS(HAZARD_WORDS, HAZARD_COUNT, "none", "irritant", "sporing", "toxigenic");
WORDS(SCOPE_WORDS, SCOPE_COUNT, "cook", "mix", "grain_lot", "session", "starter", "place",
      "vessel");
WORDS(MOVED_WORDS, MOVED_COUNT, "none", "survivors", "wet", "dry", "cold", "warm", "dose");

const char *term_name(const struct terms *words, size_t which)
{
    return which < words->count ? words->list[which] : "";
}

int rules_index(const struct rules *rules, enum rule_kind kind, const char *id)
{
    return names_find(&rules->memory->ids[kind], id);
}

bool rules_lists(const struct rules *rules, const char *list, const char *words, size_t length)
{
    const int index = rules_index(rules, ITEM_WORDS, list);
    for (size_t i = 0; index != RULES_NONE && i < rules->language.lists[index].items.count; i++) {
        const char *item = rules->language.lists[index].items.list[i];
        if (strlen(item) == length && strncasecmp(item, words, length) == 0)
            return true;
    }
    return false;
}

int rules_value(const struct observable *observable, const char *id)
{
    for (size_t i = 0; i < observable->value_count; i++)
        if (!strcmp(observable->values[i].id, id))
            return (int)i;
    return RULES_NONE;
}

uint32_t rules_all_values(const struct observable *observable)
{
    return (uint32_t)((UINT64_C(1) << observable->value_count) - 1);
}

int rules_bin(const struct observable *observable, double number)
{
    if (!(number >= observable->min && number <= observable->max))
        return RULES_NONE;
    for (size_t i = 0; i < observable->value_count; i++)
        if (number < observable->values[i].below)
            return (int)i;
    return (int)observable->value_count - 1; /* the last bin holds the greatest number */
}

uint32_t rules_bins(const struct observable *observable, double lo, double hi)
{
    uint32_t bins = 0;
    for (size_t i = 0; i < observable->value_count; i++) {
        const struct value *bin = &observable->values[i];
        const bool last = i + 1 == observable->value_count;
        bins |= (uint32_t)(hi >= bin->from && (lo < bin->below || last)) << i;
    }
    return bins;
}

void rules_free(struct rules *rules)
{
    if (rules)
        arena_free(rules->memory->arena);
}

/* ---- where rule bases are looked for --------------------------------------------------------- */

enum {
    CLIMB_MOST = 5, /* from the program up to the top of its build tree */
    LONGEST_PATH = 16384,
};

static bool is_folder(const char *path)
{
    struct stat about;
    return stat(path, &about) == 0 && S_ISDIR(about.st_mode);
}

/* `folder` + `below` when `proof` can be read in it; NULL if not. */
static char *folder_with(const char *folder, size_t length, const char *below, const char *proof)
{
    if (length > LONGEST_PATH)
        return NULL;
    char *path = text_format("%.*s%s", (int)length, folder, below);
    char *inside SCOPED_FREE = text_format("%s%s", path, proof);
    bool there = is_folder(path) && access(inside, R_OK) == 0;
    if (there)
        return path;
    free(path);
    return NULL;
}

/* Above the program: in a build tree it stands some folders below the one that holds rules/,
 * installed in the neighbour of the one that holds share/. No other prefix is looked into. */
static char *near_program(void)
{
    char program[LONGEST_PATH];
    ssize_t length = readlink("/proc/self/exe", program, sizeof program - 1);
    if (length <= 0 || (size_t)length == sizeof program - 1)
        return NULL;
    program[length] = '\0';
    for (int climbed = 0; climbed < CLIMB_MOST; climbed++) {
        char *slash = strrchr(program, '/');
        if (!slash)
            return NULL;
        *slash = '\0';
        /* Another folder called rules/ may stand on the way: ours says how it is written. */
        char *found = folder_with(program, strlen(program), "/rules", "/FORMAT.md");
        if (!found && climbed == 1)
            found = folder_with(program, strlen(program), "/share/jarside/rules", "/FORMAT.md");
        if (found)
            return found;
    }
    return NULL;
}

char *rules_find_shipped(void)
{
    /* What the user names is taken as it is: if it is not there, loading says so. */
    const char *named = getenv("JARSIDE_RULES");
    char *found = named && *named ? text_format("%s", named) : near_program();
    return found ? found : folder_with(JARSIDE_DATADIR, strlen(JARSIDE_DATADIR), "/rules", "");
}

char *rules_own_path(const char *variable, const char *usual, const char *name)
{
    const char *folder = getenv(variable), *home = getenv("HOME"); /* absolute, or none */
    if (folder != NULL && folder[0] == '/')
        return text_format("%s/jarside/%s", folder, name);
    return home != NULL && home[0] == '/' ? text_format("%s/%s/jarside/%s", home, usual, name)
                                          : NULL;
}

char *rules_find_overlay(void)
{
    char *path = rules_overlay_path();
    if (path && is_folder(path) && access(path, R_OK) == 0)
        return path;
    free(path);
    return NULL;
}
