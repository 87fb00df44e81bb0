/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/filing.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum status filing_refused(const char *path, const char *verb, int error, struct diags *diags)
{
    if (error == EPIPE)
        return STATUS_CLOSED;
    diags_error(diags, (struct position){path, 0, 0}, "cannot be %s: %s", verb, strerror(error));
    return STATUS_IO;
}

enum status filing_send(FILE *stream, const char *bytes, size_t length)
{
    errno = 0;
    size_t written = length > 0 ? fwrite(bytes, 1, length, stream) : 0;
    if (written == length && fflush(stream) == 0)
        return STATUS_OK;
    if (errno == 0)
        errno = EIO; /* stdio need not say why */
    return errno == EPIPE ? STATUS_CLOSED : STATUS_IO;
}

static enum status refuse_to_replace(const char *path, struct diags *diags)
{
    diags_error(diags, (struct position){path, 0, 0},
                "exists already; name another file, or give --force to replace it");
    return STATUS_IO;
}

/* Looked at first for a kind message; filing_commit is what makes sure. */
static enum status look_first(const char *path, bool replace, struct diags *diags)
{
    struct stat about;
    if (lstat(path, &about) != 0)
        return errno == ENOENT ? STATUS_OK : filing_refused(path, "written", errno, diags);
    if (S_ISDIR(about.st_mode))
        return filing_refused(path, "written", EISDIR, diags);
    if (!S_ISREG(about.st_mode) && !S_ISLNK(about.st_mode)) {
        diags_error(diags, (struct position){path, 0, 0}, "is not a plain file; name another");
        return STATUS_IO;
    }
    return replace ? STATUS_OK : refuse_to_replace(path, diags);
}

/* Temporary files that do not have their names yet. Whoever ends the program for lack of memory knows
 * no filing: there is no other place for them. */
struct unfinished {
    struct unfinished *next;
    char *name;
};
static struct unfinished *unfinished;

void filing_remove_unfinished(void)
{
    for (const struct unfinished *file = unfinished; file; file = file->next)
        (void)unlink(file->name);
}

static void filing_forget(struct filing *filing)
{
    struct unfinished **link = &unfinished;
    while (*link && (*link)->name != filing->temporary)
        link = &(*link)->next;
    if (*link) {
        struct unfinished *done = *link;
        *link = done->next;
        free(done);
    }
    free(filing->path);
    free(filing->temporary);
    *filing = (struct filing){0};
}

static enum status begin(struct filing *filing, const char *path, bool replace, int *descriptor,
                         struct diags *diags)
{
    *filing = (struct filing){.replace = replace};
    enum status status = look_first(path, replace, diags);
    if (status != STATUS_OK)
        return status;
    filing->path = strdup(path);
    const char *slash = strrchr(path, '/');
    int folder = slash != NULL ? (int)(slash - path) + 1 : 0;
    filing->temporary = text_format("%.*s.%s.XXXXXX", folder, path, path + folder);
    struct unfinished *file = malloc(sizeof *file);
    *descriptor = mkstemp(filing->temporary); /* mode 0600 */
    if (*descriptor >= 0) {
        *file = (struct unfinished){unfinished, filing->temporary};
        unfinished = file;
        return STATUS_OK;
    }
    free(file);
    int error = errno;
    filing_forget(filing);
    return filing_refused(path, "written", error, diags);
}

enum status filing_open(struct filing *filing, const char *path, bool replace, struct diags *diags)
{
    int descriptor;
    enum status status = begin(filing, path, replace, &descriptor, diags);
    if (status != STATUS_OK)
        return status;
    filing->stream = fdopen(descriptor, "wb");
    if (filing->stream != NULL)
        return STATUS_OK;
    int error = errno;
    close(descriptor);
    filing_abandon(filing);
    return filing_refused(path, "written", error, diags);
}

enum status filing_reserve(struct filing *filing, const char *path, bool replace,
                           struct diags *diags)
{
    int descriptor;
    enum status status = begin(filing, path, replace, &descriptor, diags);
    if (status == STATUS_OK)
        close(descriptor);
    return status;
}

/* A signal may interrupt it; then nothing is wrong yet. */
static bool sync_bytes(int descriptor)
{
    int result;
    do
        result = fsync(descriptor);
    while (result != 0 && errno == EINTR);
    return result == 0;
}

static bool sync_named(const char *path, int flags)
{
    int descriptor = open(path, flags);
    if (descriptor < 0)
        return false;
    bool synced = sync_bytes(descriptor);
    int error = errno;
    close(descriptor);
    errno = error;
    return synced;
}

void filing_write(struct filing *filing, const char *bytes, size_t length)
{
    if (filing->error == 0 && fwrite(bytes, 1, length, filing->stream) != length)
        filing->error = errno != 0 ? errno : EIO;
}

enum status filing_sync(struct filing *filing, struct diags *diags)
{
    if (filing->stream != NULL) {
        if (filing->error == 0 &&
            (fflush(filing->stream) != 0 || !sync_bytes(fileno(filing->stream))))
            filing->error = errno;
        if (fclose(filing->stream) != 0 && filing->error == 0)
            filing->error = errno;
        filing->stream = NULL;
    } else if (filing->error == 0 && !sync_named(filing->temporary, O_RDWR))
        filing->error = errno;
    return filing->error == 0 ? STATUS_OK
                              : filing_refused(filing->path, "written", filing->error, diags);
}

/* link() refuses a name that is taken, even one taken this moment. Where a file system has no
 * links the look that was taken first has to do. */
static bool take_name(const struct filing *filing)
{
    if (filing->replace)
        return rename(filing->temporary, filing->path) == 0;
    if (link(filing->temporary, filing->path) == 0) {
        (void)unlink(filing->temporary);
        return true;
    }
    if (errno != EPERM && errno != ENOTSUP && errno != ENOSYS)
        return false;
    struct stat about;
    if (lstat(filing->path, &about) == 0) {
        errno = EEXIST;
        return false;
    }
    return rename(filing->temporary, filing->path) == 0;
}

enum status filing_commit(struct filing *filing, struct diags *diags)
{
    enum status status = filing_sync(filing, diags);
    if (status == STATUS_OK && !take_name(filing))
        status = errno == EEXIST ? refuse_to_replace(filing->path, diags)
                                 : filing_refused(filing->path, "written", errno, diags);
    if (status != STATUS_OK) {
        filing_abandon(filing);
        return status;
    }
    /* A name that is not on the disk is lost with the power. Folders that cannot be synced (some
     * network file systems) are no fault of the file. */
    const char *slash = strrchr(filing->path, '/');
    char *folder =
        slash != NULL ? strndup(filing->path, (size_t)(slash - filing->path) + 1) : strdup(".");
    (void)sync_named(folder, O_RDONLY | O_DIRECTORY);
    free(folder);
    filing_forget(filing);
    return STATUS_OK;
}

void filing_abandon(struct filing *filing)
{
    if (filing->stream != NULL)
        fclose(filing->stream);
    if (filing->temporary != NULL)
        (void)unlink(filing->temporary);
    filing_forget(filing);
}

enum status filing_put(const char *path, const struct text *text, bool replace, struct diags *diags)
{
    struct filing filing;
    enum status status = filing_open(&filing, path, replace, diags);
    if (status != STATUS_OK)
        return status;
    filing_write(&filing, text->bytes, text->length);
    return filing_commit(&filing, diags);
}

ssize_t filing_read(int file, char *bytes, size_t room)
{
    size_t length = 0;
    while (length < room) {
        ssize_t got = read(file, bytes + length, room - length);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return -1;
        if (got == 0)
            break;
        length += (size_t)got;
    }
    return (ssize_t)length;
}

bool filing_make_folders(const char *path)
{
    char *folder = strdup(path);
    bool made = true;
    for (char *at = strchr(folder + 1, '/'); at != NULL && made; at = strchr(at + 1, '/')) {
        *at = '\0';
        made = mkdir(folder, 0700) == 0 || errno == EEXIST || errno == EISDIR || errno == EROFS ||
               errno == EACCES; /* one higher up may be closed and yet lead on */
        *at = '/';
    }
    free(folder);
    return made;
}
