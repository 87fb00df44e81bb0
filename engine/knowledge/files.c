/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "knowledge/files_internal.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/filing.h"
#include "knowledge/faults_internal.h"

struct walk { /* through one of the folders */
    struct files *files;
    struct faults *faults;
    size_t folder;
};

static bool walk_into(struct walk *walk, const char *folder, unsigned depth);

static bool ends_in_yaml(const char *name)
{
    size_t length = strlen(name);
    return length > 5 && !strcmp(name + length - 5, ".yaml");
}

/* False when the walk is to stop. */
static bool add_file(struct walk *walk, const char *path)
{
    struct files *files = walk->files;
    if (files->count == FILES_MAX_COUNT) {
        fault_error(walk->faults, (struct position){0},
                    "more than %d .yaml files; name a folder that holds only rules or cases",
                    FILES_MAX_COUNT);
        return false;
    }
    if (files->count == files->room) {
        size_t room = files->room ? files->room * 2 : 64;
        struct file *list =
            arena_grow(files->scratch, files->list, files->count, room, sizeof *list);
        if (!list)
            return false;
        files->list = list;
        files->room = room;
    }
    files->list[files->count++] = (struct file){.path = path, .folder = walk->folder};
    return true;
}

/* A name found in a folder: a file to keep, a folder to walk into, or nothing of ours. */
static bool add_entry(struct walk *walk, const char *folder, const char *name, unsigned depth)
{
    const char *slash = folder[0] && folder[strlen(folder) - 1] == '/' ? "" : "/";
    const char *path = arena_format(walk->files->keep, "%s%s%s", folder, slash, name);
    if (!path)
        return false;
    struct stat about;
    if (stat(path, &about) != 0) {
        if (ends_in_yaml(name))
            fault_unreadable(walk->faults, path, errno);
        return true; /* a broken link that is no rule file is nobody's business */
    }
    if (S_ISDIR(about.st_mode))
        return walk_into(walk, path, depth + 1);
    return !ends_in_yaml(name) || add_file(walk, path);
}

static bool walk_into(struct walk *walk, const char *folder, unsigned depth)
{
    if (depth > FILES_MAX_DEPTH) {
        walk->faults->unreadable = true;
        fault_error(
            walk->faults, (struct position){0},
            "folders nest more than %d deep at '%s'; a link may point back to its own folder",
            FILES_MAX_DEPTH, fault_quote(walk->faults, folder));
        return false;
    }
    DIR *stream = opendir(folder);
    if (!stream) {
        fault_unreadable(walk->faults, folder, errno);
        return true;
    }
    bool going = true;
    errno = 0;
    /* No other thread knows this stream, and readdir_r is deprecated. */
    /* cppcheck-suppress readdirCalled */
    for (struct dirent *entry; going && (entry = readdir(stream)) != NULL; errno = 0)
        going = entry->d_name[0] == '.' || add_entry(walk, folder, entry->d_name, depth);
    if (going && errno)
        fault_unreadable(walk->faults, folder, errno);
    closedir(stream);
    return going;
}

static int by_path(const void *left, const void *right)
{
    const struct file *a = left;
    const struct file *b = right;
    return strcmp(a->path, b->path);
}

void files_find(struct files *files, const char *path, size_t folder, struct faults *faults)
{
    struct walk walk = {files, faults, folder};
    size_t first = files->count;
    struct stat about;
    if (stat(path, &about) != 0) {
        fault_unreadable(faults, path, errno);
    } else if (S_ISDIR(about.st_mode)) {
        walk_into(&walk, path, 0);
        if (files->count - first > 1)
            qsort(files->list + first, files->count - first, sizeof *files->list, by_path);
    } else {
        const char *kept = arena_string(files->keep, path);
        if (kept)
            add_file(&walk, kept);
    }
}

/* ---- contents -------------------------------------------------------------------------------- */

static bool size_fits(struct files *files, const struct file *file, off_t size,
                      struct faults *faults)
{
    const struct position at = {.file = file->path};
    if (size > FILES_MAX_BYTES) {
        fault_error(faults, at, "larger than %d MiB; split it into several files",
                    FILES_MAX_BYTES / 1024 / 1024);
        return false;
    }
    if ((size_t)size > FILES_MAX_TOTAL - files->total) {
        fault_error(faults, at, "with this file there is more than %d MiB; that is too much",
                    FILES_MAX_TOTAL / 1024 / 1024);
        return false;
    }
    return true;
}

/* One buffer for all files: their trees do not need it any more when the next one is read. */
static bool buffer_room(struct files *files, size_t size)
{
    if (size < files->buffer_size)
        return true;
    size_t room = size < FILES_MAX_BYTES / 2 ? size * 2 + 1 : size + 1;
    char *buffer = arena_alloc(files->scratch, room);
    if (!buffer)
        return false;
    files->buffer = buffer;
    files->buffer_size = room;
    return true;
}

static bool read_open(struct files *files, struct file *file, int descriptor, struct faults *faults)
{
    struct stat about;
    if (fstat(descriptor, &about) != 0) {
        fault_unreadable(faults, file->path, errno);
        return false;
    }
    if (!S_ISREG(about.st_mode)) {
        faults->unreadable = true;
        fault_error(faults, (struct position){0}, "cannot read '%s': it is not a file of text",
                    fault_quote(faults, file->path));
        return false;
    }
    if (!size_fits(files, file, about.st_size, faults))
        return false;
    if (!buffer_room(files, (size_t)about.st_size))
        return false;
    ssize_t length = filing_read(descriptor, files->buffer, (size_t)about.st_size);
    if (length < 0) {
        fault_unreadable(faults, file->path, errno);
        return false;
    }
    file->bytes = files->buffer;
    file->length = (size_t)length;
    files->total += (size_t)length;
    return true;
}

bool file_read(struct files *files, struct file *file, struct faults *faults)
{
    files->total -= file->length; /* when it is read again */
    file->length = 0;
    /* Without waiting: a pipe that somebody named .yaml must not hold us up. */
    int descriptor = open(file->path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (descriptor < 0) {
        fault_unreadable(faults, file->path, errno);
        return false;
    }
    bool read = read_open(files, file, descriptor, faults);
    close(descriptor);
    return read;
}
