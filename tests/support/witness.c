/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A witness: preloaded (LD_PRELOAD), it writes down which files a program opens, makes, renames and takes
 * away, and which programs it calls, a line each, "open PATH" or "run PATH", and lets it do so. What the
 * C library opens for itself passes by.
 *
 *   WITNESS=FILE   where to
 */
#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <fcntl.h>
#include <spawn.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <unistd.h>

/* The function that this one stands before. */
#define NEXT(name) ((__typeof__(&(name)))dlsym(RTLD_NEXT, #name))

static void note(const char *deed, const char *path)
{
    char line[8192];
    const char *to = getenv("WITNESS");
    int file = to ? NEXT(open)(to, O_WRONLY | O_CREAT | O_APPEND, 0600) : -1;
    int length = snprintf(line, sizeof line, "%s %s\n", deed, path ? path : "");
    if (file < 0)
        return;
    if (length < 0 || write(file, line, (size_t)length) != length)
        abort();
    close(file);
}

/* A function that opens a path: what it takes before the mode, and what it hands on. */
#define OPENING(name, parameters, ...)                                                             \
    int name parameters                                                                            \
    {                                                                                              \
        va_list arguments;                                                                         \
        va_start(arguments, flags);                                                                \
        mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(arguments, mode_t) : 0;               \
        va_end(arguments);                                                                         \
        note("open", path);                                                                        \
        return NEXT(name)(__VA_ARGS__, mode);                                                      \
    }
OPENING(open, (const char *path, int flags, ...), path, flags)
OPENING(open64, (const char *path, int flags, ...), path, flags)
OPENING(openat, (int folder, const char *path, int flags, ...), folder, path, flags)
OPENING(openat64, (int folder, const char *path, int flags, ...), folder, path, flags)

/* A function of a path and one more, or of a path alone. */
#define ONE(result, name, deed, type)                                                              \
    result name(const char *path, type more)                                                       \
    {                                                                                              \
        note(deed, path);                                                                          \
        return NEXT(name)(path, more);                                                             \
    }
#define ALONE(result, name, deed)                                                                  \
    result name(const char *path)                                                                  \
    {                                                                                              \
        note(deed, path);                                                                          \
        return NEXT(name)(path);                                                                   \
    }
#define TWO(name)                                                                                  \
    int name(const char *from, const char *to)                                                     \
    {                                                                                              \
        note("open", from);                                                                        \
        note("open", to);                                                                          \
        return NEXT(name)(from, to);                                                               \
    }
ONE(FILE *, fopen, "open", const char *)
ONE(FILE *, fopen64, "open", const char *)
ONE(int, creat, "open", mode_t)
ONE(int, creat64, "open", mode_t)
ONE(int, mkdir, "open", mode_t)
ONE(int, chmod, "open", mode_t)
ONE(int, truncate, "open", off_t)
ONE(int, truncate64, "open", off64_t)
ALONE(DIR *, opendir, "open")
ALONE(int, unlink, "open")
ALONE(int, remove, "open")
ALONE(int, rmdir, "open")
TWO(rename)
TWO(link)
TWO(symlink)

FILE *freopen(const char *path, const char *mode, FILE *stream)
{
    note("open", path);
    return NEXT(freopen)(path, mode, stream);
}

int scandir(const char *path, struct dirent ***entries, int (*filter)(const struct dirent *),
            int (*compare)(const struct dirent **, const struct dirent **))
{
    note("open", path);
    return NEXT(scandir)(path, entries, filter, compare);
}

/* ---- what is never called: it is written down, and does not happen --------------------------- */

#define NEVER(result, failure, name, ...)                                                          \
    result name(__VA_ARGS__)                                                                       \
    {                                                                                              \
        note("run", #name);                                                                        \
        return failure;                                                                            \
    }
NEVER(int, -1, system, const char *command)
NEVER(FILE *, NULL, popen, const char *command, const char *mode)
NEVER(pid_t, -1, fork, void)
NEVER(int, -1, execl, const char *path, const char *first, ...)
NEVER(int, -1, execlp, const char *path, const char *first, ...)
NEVER(int, -1, execv, const char *path, char *const words[])
NEVER(int, -1, execvp, const char *path, char *const words[])
NEVER(int, -1, execve, const char *path, char *const words[], char *const environment[])
NEVER(int, -1, execvpe, const char *path, char *const words[], char *const environment[])
NEVER(int, -1, posix_spawn, pid_t *pid, const char *path, const posix_spawn_file_actions_t *actions,
      const posix_spawnattr_t *how, char *const words[], char *const environment[])
NEVER(int, -1, posix_spawnp, pid_t *pid, const char *path,
      const posix_spawn_file_actions_t *actions, const posix_spawnattr_t *how, char *const words[],
      char *const environment[])
NEVER(void *, NULL, dlopen, const char *path, int flags)
NEVER(int, -1, connect, int end, const struct sockaddr *to, socklen_t length)
