/* SPDX-License-Identifier: GPL-3.0-or-later */
#define _GNU_SOURCE /* for O_TMPFILE. NOLINT(bugprone-reserved-identifier,cert-dcl37-c,cert-dcl51-cpp) */
#include "base/filing.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/memory.h"

enum status filing_refused(const char *path, const char *verb, int error, struct diags *diags)
{
    if (error == EPIPE)
        return STATUS_CLOSED;
    return diags_fail(diags, STATUS_IO, (struct position){path, 0, 0}, "cannot be %s: %s", verb,
                      strerror(error));
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
    return diags_fail(diags, STATUS_IO, (struct position){path, 0, 0},
                      "exists already; name another file, or give --force to replace it");
}

/* Whether a file is a SQLite database, or one kept beside such a file: most likely a journal. */
static bool is_database(const char *path)
{
    static const char *const beside[] = {"-wal", "-shm", "-journal"};
    static const char magic[16] = "SQLite format 3";
    char head[sizeof magic] = "";
    size_t length = strlen(path);
    for (size_t i = 0; i < sizeof beside / sizeof *beside; i++) {
        size_t more = strlen(beside[i]);
        if (length <= more || strcmp(path + length - more, beside[i]) != 0)
            continue;
        char *base SCOPED_FREE = text_format("%.*s", (int)(length - more), path);
        return is_database(base);
    }
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    bool is = file >= 0 && filing_read(file, head, sizeof head) == (ssize_t)sizeof head &&
              memcmp(head, magic, sizeof magic) == 0;
    if (file >= 0)
        close(file);
    return is;
}

/* Looked at first for a kind message; filing_commit is what makes sure. */
static enum status look_first(const char *path, bool replace, bool database, struct diags *diags)
{
    struct stat about;
    const char *why = NULL;
    if (lstat(path, &about) != 0)
        return errno == ENOENT ? STATUS_OK : filing_refused(path, "written", errno, diags);
    if (S_ISDIR(about.st_mode))
        return filing_refused(path, "written", EISDIR, diags);
    if (!S_ISREG(about.st_mode) && !S_ISLNK(about.st_mode))
        why = "is not a plain file; name another";
    else if (replace && !database && is_database(path))
        why = "is a journal, or another database; name another file";
    else if (replace)
        return STATUS_OK;
    else
        return refuse_to_replace(path, diags);
    return diags_fail(diags, STATUS_IO, (struct position){path, 0, 0}, "%s", why);
}

/* Temporary files that have a name, and not yet theirs. Whoever ends the program for lack of memory
 * knows no filing: there is no other place for them. */
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

/* Opens the folder of a path; below 0 where that fails. */
static int open_folder(const char *path, int how)
{
    const char *slash = strrchr(path, '/');
    char *folder = slash != NULL ? strndup(path, (size_t)(slash - path) + 1) : strdup("./");
    const int descriptor = open(folder, how | O_CLOEXEC, 0600);
    const int failed = errno;
    free(folder);
    errno = failed;
    return descriptor;
}

/* A hidden name for a file in the same folder. The caller frees. */
static char *beside(const char *path, const char *suffix)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash != NULL ? slash + 1 : path;
    return text_format("%.*s.%s.%s", (int)(name - path), path, name, suffix);
}

/* A file without a name, which is gone with its process whatever ends that; where a file system has
 * none such, one with a name of its own. */
enum status filing_reserve(struct filing *filing, const char *path, bool replace, bool database,
                           struct diags *diags)
{
    *filing = (struct filing){.replace = replace, .descriptor = -1};
    enum status status = look_first(path, replace, database, diags);
    if (status != STATUS_OK)
        return status;
    filing->path = strdup(path);
#ifdef O_TMPFILE
    filing->descriptor = open_folder(path, O_TMPFILE | O_RDWR);
    if (filing->descriptor >= 0) {
        filing->temporary = text_format("/proc/self/fd/%d", filing->descriptor);
        filing->nameless = access(filing->temporary, F_OK) == 0;
        if (!filing->nameless) {
            close(filing->descriptor);
            free(filing->temporary);
        }
    }
#endif
    if (!filing->nameless) {
        struct unfinished *file = malloc(sizeof *file);
        filing->temporary = beside(path, "XXXXXX");
        filing->descriptor = mkstemp(filing->temporary); /* mode 0600 */
        *file = (struct unfinished){unfinished, filing->temporary};
        unfinished = file;
    }
    if (filing->descriptor >= 0)
        return STATUS_OK;
    int error = errno;
    filing_forget(filing);
    return filing_refused(path, "written", error, diags);
}

enum status filing_open(struct filing *filing, const char *path, bool replace, struct diags *diags)
{
    enum status status = filing_reserve(filing, path, replace, false, diags);
    if (status != STATUS_OK)
        return status;
    filing->stream = fdopen(filing->descriptor, "wb");
    if (filing->stream != NULL)
        return STATUS_OK;
    int error = errno;
    filing_abandon(filing);
    return filing_refused(path, "written", error, diags);
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

enum status filing_sync(struct filing *filing, struct diags *diags)
{
    if (filing->error == 0 && ((filing->stream != NULL && fflush(filing->stream) != 0) ||
                               !sync_bytes(filing->descriptor)))
        filing->error = errno;
    return filing->error == 0 ? STATUS_OK
                              : filing_refused(filing->path, "written", filing->error, diags);
}

/* link() refuses a name that is taken, even this moment. Where a file system has no links the look
 * that was taken first has to do. A nameless file in another's place needs a name for a moment. */
static bool take_name(const struct filing *filing)
{
    const char *temporary = filing->temporary;
    if (filing->nameless) {
        if (!filing->replace)
            return linkat(AT_FDCWD, temporary, AT_FDCWD, filing->path, AT_SYMLINK_FOLLOW) == 0;
        char *name SCOPED_FREE = beside(filing->path, "jarside-new");
        (void)unlink(name); /* of a process that ended in that moment */
        bool took = linkat(AT_FDCWD, temporary, AT_FDCWD, name, AT_SYMLINK_FOLLOW) == 0 &&
                    rename(name, filing->path) == 0;
        int error = errno;
        if (!took)
            (void)unlink(name);
        errno = error;
        return took;
    }
    if (filing->replace)
        return rename(temporary, filing->path) == 0;
    if (link(temporary, filing->path) == 0) {
        (void)unlink(temporary);
        return true;
    }
    if (errno != EPERM && errno != ENOTSUP && errno != ENOSYS)
        return false;
    struct stat about;
    if (lstat(filing->path, &about) == 0) {
        errno = EEXIST;
        return false;
    }
    return rename(temporary, filing->path) == 0;
}

static void close_filing(struct filing *filing)
{
    if (filing->stream != NULL)
        fclose(filing->stream);
    else if (filing->temporary != NULL)
        close(filing->descriptor);
    filing_forget(filing);
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
    int descriptor = open_folder(filing->path, O_RDONLY | O_DIRECTORY);
    if (descriptor >= 0) {
        (void)sync_bytes(descriptor);
        close(descriptor);
    }
    close_filing(filing);
    return STATUS_OK;
}

void filing_abandon(struct filing *filing)
{
    if (filing->temporary != NULL && !filing->nameless)
        (void)unlink(filing->temporary);
    close_filing(filing);
}

enum status filing_put(const char *path, const struct text *text, bool replace, struct diags *diags)
{
    struct filing filing;
    enum status status = filing_open(&filing, path, replace, diags);
    if (status != STATUS_OK)
        return status;
    if (fwrite(text->bytes, 1, text->length, filing.stream) != text->length)
        filing.error = errno != 0 ? errno : EIO;
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

char *filing_whole(const char *path, size_t most, struct arena *arena, size_t *length)
{
    struct stat about;
    char *bytes = NULL;
    const int file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (file < 0)
        return NULL;
    const bool told = fstat(file, &about) == 0;
    if (told && S_ISREG(about.st_mode) && (size_t)about.st_size <= most) {
        bytes = arena_room(arena, (size_t)about.st_size + 2, 1);
        const ssize_t got = filing_read(file, bytes, (size_t)about.st_size);
        *length = got < 0 ? 0 : (size_t)got;
        bytes[*length] = '\0';
        bytes = got < 0 ? NULL : bytes;
    } else if (told) {
        errno = S_ISREG(about.st_mode) ? EFBIG : EINVAL;
    }
    const int error = errno;
    close(file);
    errno = error;
    return bytes;
}

bool filing_make_folders(const char *path)
{
    char *folder SCOPED_FREE = text_format("%s", path);
    bool made = true;
    for (char *at = strchr(folder + (*folder == '/'), '/'); at != NULL && made;
         at = strchr(at + 1, '/')) {
        *at = '\0';
        made = mkdir(folder, 0700) == 0 || errno == EEXIST || errno == EISDIR || errno == EROFS ||
               errno == EACCES; /* one higher up may be closed and yet lead on */
        *at = '/';
    }
    return made;
}
