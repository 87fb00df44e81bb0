/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A rule base from its folders. See load_internal.h for the steps. */
#include <stdio.h>
#include <string.h>

#include "knowledge/load_internal.h"
#include "knowledge/rules.h"

/* ---- files ----------------------------------------------------------------------------------- */

static void find_files(struct loader *loader, const char *const *folders, size_t folder_count)
{
    for (size_t i = 0; i < folder_count; i++)
        files_find(&loader->files, folders[i], i, &loader->faults);
    if (loader->faults.errors)
        return;
    if (!loader->files.count || loader->files.list[0].folder != 0)
        fault_error(&loader->faults, (struct position){0},
                    "no .yaml file in '%s'; name the folder that holds the rules",
                    fault_quote(&loader->faults, folder_count ? folders[0] : ""));
}

/* Reads every file, whatever is wrong with the others. False when what is read is not the whole. */
static bool read_files(struct loader *loader, struct rules *rules)
{
    uint64_t hash = FNV_START;
    bool whole = true;
    for (size_t i = 0; i < loader->files.count; i++) {
        struct file *file = &loader->files.list[i];
        size_t errors = loader->faults.errors;
        const struct node *root = NULL;
        if (file_read(&loader->files, file, &loader->faults))
            root = document_read(file, &loader->room, &loader->faults);
        if (root)
            catalogue_add(loader, root, file->folder);
        else if (loader->faults.errors != errors)
            whole = false;
        else
            fault_warn(&loader->faults, (struct position){file->path, 1, 1},
                       "the file says nothing; put back what stood in it, or remove it");
        hash = fnv_hash(hash, file->bytes ? file->bytes : "", file->length);
    }
    snprintf(rules->hash, sizeof rules->hash, "%016llx", (unsigned long long)hash);
    return whole;
}

/* ---- the model ------------------------------------------------------------------------------- */

static void require_whole(struct loader *loader, const char *key)
{
    if (!catalogue_whole(loader, key))
        fault_error(&loader->faults, (struct position){0},
                    "no file has '%s'; FORMAT.md shows what stands in it", key);
}

static void require_parts(struct loader *loader)
{
    require_whole(loader, "rules");
    require_whole(loader, "scale");
    require_whole(loader, "decision");
    require_whole(loader, "calibration");
    if (!loader->items[ITEM_OBSERVABLE].count)
        fault_error(&loader->faults, (struct position){0}, "no file has 'signs'; add some");
    if (!loader->items[ITEM_FINDING].count)
        fault_error(&loader->faults, (struct position){0}, "no file has a 'finding'; add some");
}

/* What is referred to comes before what refers to it. */
static void load_model(struct loader *loader)
{
    for (size_t i = 0; i < FEEDS_COUNT; i++)
        loader->made->feeder[i] = RULES_NONE;
    load_scale(loader);
    load_sources(loader);
    load_groups(loader);
    load_words(loader);
    load_species(loader);
    load_grains(loader);
    load_vessels(loader);
    load_observables(loader);
    load_findings(loader);
    load_causes(loader);
    load_normal(loader);
    load_cautions(loader);
    load_decision(loader);
    load_process(loader);
    load_review(loader);
    load_learned(loader);
    load_language(loader);
}

static void load_folders(struct loader *loader, const char *const *folders, size_t folder_count)
{
    find_files(loader, folders, folder_count);
    /* With a file missing, every id it defines would seem unknown: its own fault comes first. */
    if (!read_files(loader, loader->made) || loader->faults.unreadable || !loader->files.count)
        return;
    require_parts(loader);
    load_model(loader);
    if (!loader->faults.errors && !arena_exhausted(loader->keep) &&
        !arena_exhausted(loader->scratch))
        check_rules(loader);
}

/* ---- memory and status ----------------------------------------------------------------------- */

/* The rule base holds the arena that holds it. */
static struct rules *rules_new(struct arena *arena)
{
    struct rules *rules = arena_alloc(arena, sizeof *rules);
    struct rules_memory *memory = arena_alloc(arena, sizeof *memory);
    if (!rules || !memory)
        return NULL;
    memory->arena = arena;
    rules->memory = memory;
    return rules;
}

void loader_init(struct loader *loader, struct arena *keep, struct arena *scratch,
                 const struct rules *rules)
{
    *loader = (struct loader){
        .keep = keep,
        .scratch = scratch,
        .faults = {.arena = scratch},
        .files = {.keep = keep, .scratch = scratch},
        .room = {.keep = keep, .scratch = scratch, .nodes_left = DOCUMENT_MAX_NODES},
        .rules = rules,
        .quantity = DIM_COUNT,
    };
}

enum status loader_status(const struct loader *loader)
{
    if (loader->faults.no_memory || arena_exhausted(loader->keep) ||
        arena_exhausted(loader->scratch))
        return STATUS_MEMORY;
    if (loader->faults.unreadable)
        return STATUS_IO;
    return loader->faults.errors ? STATUS_DATA : STATUS_OK;
}

static enum status load_into(struct arena *keep, struct arena *scratch, const char *const *folders,
                             size_t folder_count, struct diags *diags, struct rules **rules)
{
    struct loader loader;
    *rules = rules_new(keep);
    if (!*rules)
        return STATUS_MEMORY;
    loader_init(&loader, keep, scratch, *rules);
    loader.made = *rules;
    load_folders(&loader, folders, folder_count);
    /* Without memory much seems to be missing that is there: those are no faults of the files. */
    if (loader_status(&loader) != STATUS_MEMORY)
        faults_tell(&loader.faults, &loader.files, diags);
    return loader_status(&loader); /* only now: telling takes memory, too */
}

struct rules *rules_load(const char *const *folders, size_t folder_count, struct diags *diags,
                         enum status *status, const struct allocator *allocator)
{
    struct arena *keep = arena_new(allocator);
    struct arena *scratch = arena_new(allocator);
    struct rules *rules = NULL;
    enum status result = STATUS_MEMORY;
    if (keep && scratch)
        result = load_into(keep, scratch, folders, folder_count, diags, &rules);
    arena_free(scratch);
    if (result != STATUS_OK) {
        arena_free(keep);
        rules = NULL;
    }
    if (result == STATUS_MEMORY)
        diags_error(diags, (struct position){0}, "out of memory while reading the rules");
    if (status)
        *status = result;
    return rules;
}
