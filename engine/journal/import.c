/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/import.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/filing.h"
#include "journal/import_internal.h"

/* ---- names ----------------------------------------------------------------------------------- */

static enum record table_named(const char *name, size_t length)
{
    for (int i = 0; i < RECORD_COUNT; i++)
        if (strlen(record_types[i].name) == length &&
            memcmp(record_types[i].name, name, length) == 0)
            return (enum record)i;
    return RECORD_COUNT;
}

static bool is_csv(const char *name)
{
    size_t length = strlen(name);
    return length > 4 && strcmp(name + length - 4, ".csv") == 0;
}

enum record import_table_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash != NULL ? slash + 1 : path;
    return is_csv(name) ? table_named(name, strlen(name) - 4) : RECORD_COUNT;
}

/* A file of a name that is no table's would be passed over in silence: that is told instead. */
static enum status check_name(const char *folder, const char *name, struct diags *diags)
{
    const char *names[RECORD_COUNT];
    char *path = text_format("%s/%s", folder, name);
    if (path == NULL)
        return STATUS_MEMORY;
    for (int i = 0; i < RECORD_COUNT; i++)
        names[i] = record_types[i].name;
    char word[64];
    snprintf(word, sizeof word, "%.*s", (int)(strlen(name) - 4), name);
    const char *near = diag_nearest(word, names, RECORD_COUNT);
    struct position at = {path, 0, 0};
    if (near != NULL)
        diags_error(diags, at, "no table has this name; did you mean '%s.csv'?", near);
    else
        diags_error(diags, at,
                    "no table has this name; a spreadsheet of your own is imported by its own "
                    "name, with --map");
    free(path);
    return STATUS_DATA;
}

/* Which tables the folder has files of. */
static enum status look_through(const char *folder, bool found[RECORD_COUNT], struct diags *diags)
{
    enum status status = STATUS_OK;
    bool any = false;
    DIR *listing = opendir(folder);
    if (listing == NULL)
        return filing_refused(folder, "read", errno, diags);
    struct dirent *entry = NULL;
    /* No other thread knows this stream, and readdir_r is deprecated. */
    /* cppcheck-suppress readdirCalled */
    while ((entry = readdir(listing)) != NULL) {
        if (entry->d_name[0] == '.' || !is_csv(entry->d_name))
            continue;
        enum record record = import_table_of(entry->d_name);
        if (record == RECORD_COUNT)
            status = check_name(folder, entry->d_name, diags);
        else
            any = found[record] = true;
    }
    closedir(listing);
    if (status == STATUS_OK && !any) {
        diags_error(diags, (struct position){folder, 0, 0},
                    "holds no table; give the folder that 'jarside export' wrote");
        status = STATUS_DATA;
    }
    return status;
}

/* ---- reading --------------------------------------------------------------------------------- */

static enum status read_table(struct journal *journal, enum record record, const char *path,
                              const struct progress *progress, struct import_tally *tally,
                              struct diags *diags)
{
    struct importer importer;
    enum status status = importer_init(&importer, journal, record, diags);
    importer.tally = tally;
    importer.reader = (struct table_reader){.path = path,
                                            .delimiter = ',',
                                            .context = &importer,
                                            .row = importer_row,
                                            .progress = progress};
    if (status == STATUS_OK)
        status = table_read(&importer.reader, diags);
    if (status == STATUS_OK && importer.column_count == 0) {
        diags_error(diags, (struct position){path, 1, 1},
                    "the file is empty; its first row should name the columns");
        status = STATUS_DATA;
    }
    importer_release(&importer);
    return status;
}

static enum status read_tables(struct journal *journal, const char *folder,
                               const bool found[RECORD_COUNT], const struct import_options *options,
                               struct import_tally tally[RECORD_COUNT], struct diags *diags)
{
    enum status status = STATUS_OK;
    for (int i = 0; i < RECORD_COUNT && status == STATUS_OK; i++) {
        char name[64];
        if (!found[i])
            continue;
        snprintf(name, sizeof name, "%s.csv", record_types[i].name);
        char *path = text_format("%s/%s", folder, name);
        status = path != NULL ? read_table(journal, (enum record)i, path, options->progress,
                                           &tally[i], diags)
                              : STATUS_MEMORY;
        free(path);
    }
    return status;
}

/* Keeps what was read when nothing was refused and it is not only a rehearsal. */
static enum status conclude(struct journal *journal, enum status status,
                            const struct import_tally *tally, size_t tables, bool dry_run,
                            struct diags *diags)
{
    size_t refused = 0;
    for (size_t i = 0; i < tables; i++)
        refused += tally[i].refused;
    if (status == STATUS_OK && refused > 0)
        status = STATUS_DATA;
    if (status == STATUS_OK && !dry_run)
        return journal_commit(journal, diags);
    journal_rollback(journal);
    return status;
}

static enum status begin(struct journal *journal, struct diags *diags)
{
    enum status status = importer_prepare(journal, diags);
    return status == STATUS_OK ? journal_begin(journal, diags) : status;
}

enum status import_folder(struct journal *journal, const char *folder,
                          const struct import_options *options,
                          struct import_tally tally[RECORD_COUNT], struct diags *diags)
{
    bool found[RECORD_COUNT] = {false};
    memset(tally, 0, RECORD_COUNT * sizeof *tally);
    enum status status = look_through(folder, found, diags);
    if (status == STATUS_OK)
        status = begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    status = read_tables(journal, folder, found, options, tally, diags);
    return conclude(journal, status, tally, RECORD_COUNT, options->dry_run, diags);
}

enum status import_file(struct journal *journal, enum record record, const char *path,
                        const struct import_options *options, struct import_tally *tally,
                        struct diags *diags)
{
    *tally = (struct import_tally){0};
    enum status status = begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    status = read_table(journal, record, path, options->progress, tally, diags);
    return conclude(journal, status, tally, 1, options->dry_run, diags);
}
