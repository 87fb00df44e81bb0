/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A machine on its last legs: preloaded (LD_PRELOAD), it makes memory, reading and writing fail as the
 * environment says, and leaves them alone otherwise.
 *
 *   FAULTY_MEMORY=n    the nth request for memory fails; n+ that one and every later one
 *   FAULTY_READ=...    eio:n (the nth read fails), eintr (every second one is interrupted), short
 *   FAULTY_WRITE=...   eio:n enospc:n epipe:n (the nth write fails, and every later one), eintr, short
 *   FAULTY_OPEN=n      the nth file or folder cannot be opened
 *   FAULTY_REPORT=FILE at the end says how often each was asked for
 *
 * Counting starts with the program, not with the libraries it is linked to. What stdio does inside
 * itself passes by; fwrite, which the program calls, does not.
 */
#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

/* glibc's own, so that nothing need be looked up while memory is being asked for. */
void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *block, size_t size);

enum kind { MEMORY, READ, WRITE, OPEN, KINDS };

struct fault {
    const char *way; /* "eio", "eintr", "short" ...; "" for memory */
    unsigned long at;
    bool stays;
    int error;
};

static struct fault faults[KINDS];
static atomic_ulong asked[KINDS];
static atomic_bool armed;

static struct fault fault_read(const char *value)
{
    static const struct {
        const char *name;
        int error;
    } errors[] = {{"eio", EIO}, {"enospc", ENOSPC}, {"epipe", EPIPE}};
    struct fault fault = {.way = ""};
    if (!value)
        return fault;
    const char *number = strchr(value, ':');
    fault.way = value;
    for (size_t i = 0; i < sizeof errors / sizeof *errors; i++)
        if (!strncmp(value, errors[i].name, strlen(errors[i].name)))
            fault.error = errors[i].error;
    fault.at = strtoul(number ? number + 1 : value, NULL, 10);
    fault.stays = value[strlen(value) - 1] == '+';
    return fault;
}

__attribute__((constructor)) static void arm(void)
{
    faults[MEMORY] = fault_read(getenv("FAULTY_MEMORY"));
    faults[MEMORY].error = ENOMEM;
    faults[READ] = fault_read(getenv("FAULTY_READ"));
    faults[WRITE] = fault_read(getenv("FAULTY_WRITE"));
    faults[WRITE].stays = true;
    faults[OPEN] = fault_read(getenv("FAULTY_OPEN"));
    faults[OPEN].error = EMFILE;
    armed = true;
}

__attribute__((destructor)) static void report(void)
{
    const char *path = getenv("FAULTY_REPORT");
    armed = false;
    FILE *file = path ? fopen(path, "w") : NULL;
    if (!file)
        return;
    fprintf(file, "memory %lu\nread %lu\nwrite %lu\nopen %lu\n", asked[MEMORY], asked[READ],
            asked[WRITE], asked[OPEN]);
    fclose(file);
}

/* Whether this request is one that fails; then errno says why. */
static bool fails(enum kind kind)
{
    if (!armed)
        return false;
    unsigned long nth = ++asked[kind];
    const struct fault *fault = &faults[kind];
    bool interrupted = !strcmp(fault->way, "eintr") && nth % 2;
    if (!interrupted && !(fault->at && (nth == fault->at || (fault->stays && nth > fault->at))))
        return false;
    errno = interrupted ? EINTR : fault->error;
    return true;
}

static size_t shortened(enum kind kind, size_t size)
{
    return armed && !strcmp(faults[kind].way, "short") && size > 7 ? 7 : size;
}

/* ---- memory ---------------------------------------------------------------------------------- */

void *malloc(size_t size)
{
    return fails(MEMORY) ? NULL : __libc_malloc(size);
}

void *calloc(size_t count, size_t size)
{
    return fails(MEMORY) ? NULL : __libc_calloc(count, size);
}

void *realloc(void *block, size_t size)
{
    return fails(MEMORY) ? NULL : __libc_realloc(block, size);
}

/* ---- reading and writing --------------------------------------------------------------------- */

/* The function that this one stands before. */
#define NEXT(name) ((__typeof__(&(name)))dlsym(RTLD_NEXT, #name))

ssize_t read(int descriptor, void *bytes, size_t size)
{
    return fails(READ) ? -1 : NEXT(read)(descriptor, bytes, shortened(READ, size));
}

ssize_t __read_chk(int descriptor, void *bytes, size_t size, size_t room);
ssize_t __read_chk(int descriptor, void *bytes, size_t size, size_t room)
{
    (void)room;
    return read(descriptor, bytes, size);
}

ssize_t pread64(int descriptor, void *bytes, size_t size, off64_t at)
{
    return fails(READ) ? -1 : NEXT(pread64)(descriptor, bytes, shortened(READ, size), at);
}

ssize_t write(int descriptor, const void *bytes, size_t size)
{
    return fails(WRITE) ? -1 : NEXT(write)(descriptor, bytes, shortened(WRITE, size));
}

ssize_t pwrite64(int descriptor, const void *bytes, size_t size, off64_t at)
{
    return fails(WRITE) ? -1 : NEXT(pwrite64)(descriptor, bytes, shortened(WRITE, size), at);
}

int fsync(int descriptor)
{
    return fails(WRITE) ? -1 : NEXT(fsync)(descriptor);
}

int fdatasync(int descriptor)
{
    return fails(WRITE) ? -1 : NEXT(fdatasync)(descriptor);
}

int ftruncate64(int descriptor, off64_t size)
{
    return fails(WRITE) ? -1 : NEXT(ftruncate64)(descriptor, size);
}

size_t fwrite(const void *bytes, size_t size, size_t count, FILE *stream)
{
    /* On standard error something has to be able to say what went wrong. */
    if (stream != stderr && faults[WRITE].error && fails(WRITE))
        return 0;
    return NEXT(fwrite)(bytes, size, count, stream);
}

/* ---- opening --------------------------------------------------------------------------------- */

int open(const char *path, int flags, ...)
{
    va_list arguments;
    va_start(arguments, flags);
    mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(arguments, mode_t) : 0;
    va_end(arguments);
    return fails(OPEN) ? -1 : NEXT(open)(path, flags, mode);
}

DIR *opendir(const char *path)
{
    return fails(OPEN) ? NULL : NEXT(opendir)(path);
}

FILE *fopen(const char *path, const char *mode)
{
    return fails(OPEN) ? NULL : NEXT(fopen)(path, mode);
}
