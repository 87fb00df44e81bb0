/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A machine on its last legs: preloaded (LD_PRELOAD), it makes memory, reading and writing fail as the
 * environment says, and leaves them alone otherwise.
 *
 *   FAULTY_MEMORY=n    the nth request for memory fails; n+ that one and every later one; site:s the first
 *                      one that comes from place s of the program (see FAULTY_SITES)
 *   FAULTY_READ=...    eio:n (the nth read fails), eintr (every second one is interrupted), short
 *   FAULTY_WRITE=...   eio:n enospc:n epipe:n (the nth write fails, and every later one), eintr, short
 *   FAULTY_OPEN=n      the nth file or folder cannot be opened
 *   FAULTY_REPORT=FILE at the end says how often each was asked for
 *   FAULTY_SITES=FILE  at the end names the places that asked for memory: "s n", n the first request from
 *                      there. A place is the last few calls that led to it, so the same function called
 *                      from two others is two places. It is the same one whenever the program is run.
 *   FAULTY_CALLS=n     how many calls make a place, 4 unless said
 *   FAULTY_SHOW=FILE   says there which calls led to the place that was refused (for addr2line)
 *   FAULTY_LEFT=FILE   at the end names the places whose memory nobody gave back: "s", once a block
 *
 * Counting starts with the program, not with the libraries it is linked to. What stdio does inside
 * itself passes by; fwrite, which the program calls, does not.
 */
#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <libunwind.h>
#include <link.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

/* glibc's own, so that nothing need be looked up while memory is being asked for. */
void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *block, size_t size);
void __libc_free(void *block);

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

/* ---- places that ask for memory -------------------------------------------------------------- */

enum { CALLS = 8, MODULES = 64, PLACES = 1 << 15 };

struct place {
    atomic_uint_fast64_t site; /* 0: none */
    unsigned long first;
};

static struct {
    uintptr_t start, end;
} modules[MODULES];
static size_t module_count, libc, packers[2]; /* which of them are those libraries */
static int depth = 4;
static struct place places[PLACES];
static bool noting;           /* places are written down at the end */
static uint_fast64_t failing; /* the place whose first request fails; 0: none */

static int note_module(struct dl_phdr_info *info, size_t size, void *context)
{
    (void)size;
    (void)context;
    uintptr_t end = info->dlpi_addr;
    for (size_t i = 0; i < info->dlpi_phnum; i++)
        if (info->dlpi_phdr[i].p_type == PT_LOAD)
            end = info->dlpi_addr + info->dlpi_phdr[i].p_vaddr + info->dlpi_phdr[i].p_memsz;
    if (module_count == MODULES)
        return 1;
    if (strstr(info->dlpi_name, "/libc.so"))
        libc = module_count;
    if (strstr(info->dlpi_name, "/libjansson.so"))
        packers[0] = module_count;
    if (strstr(info->dlpi_name, "/libyaml-"))
        packers[1] = module_count;
    modules[module_count].start = info->dlpi_addr;
    modules[module_count++].end = end;
    return 0;
}

/* Where in its module, wherever that was loaded this time. */
static uint_fast64_t place_of(void *address)
{
    uintptr_t at = (uintptr_t)address;
    for (size_t i = 0; i < module_count; i++)
        if (at >= modules[i].start && at < modules[i].end)
            return (uint_fast64_t)(at - modules[i].start) * 64 + i;
    return at;
}

/* Inlined, so that the calls below its caller are always as many. */
/*
 * Its last bit is set when the C library asks on its own behalf (time zones), and when Jansson or libyaml
 * asks: what the one keeps is its own affair, and the others lose what they were at when they cannot go on.
 */
static inline __attribute__((always_inline)) uint_fast64_t site_here(void)
{
    void *calls[CALLS + 2];
    int count = unw_backtrace(calls, depth + 1); /* three times as fast as backtrace */
    uint_fast64_t site = 14695981039346656037u;
    bool alone = true, packing = false;
    for (int i = 1; i < count; i++) { /* the first is the function above that stands in the way */
        uint_fast64_t place = place_of(calls[i]);
        alone = alone && (place % 64 == libc || i > 2);
        packing = packing || (i < 3 && (place % 64 == packers[0] || place % 64 == packers[1]));
        site = (site ^ place) * 1099511628211u;
    }
    return (site | 1) - !(alone || packing);
}

static void note_place(uint_fast64_t site, unsigned long nth)
{
    for (size_t at = site % PLACES, tried = 0; tried < PLACES; at = (at + 1) % PLACES, tried++) {
        uint_fast64_t none = 0;
        if (atomic_compare_exchange_strong(&places[at].site, &none, site)) {
            places[at].first = nth;
            return;
        }
        if (none == site)
            return;
    }
}

/* ---- memory that is out ---------------------------------------------------------------------- */

enum { BLOCKS = 1 << 18 };

static struct {
    const void *block; /* NULL: free */
    uint_fast64_t site;
} out[BLOCKS];
static size_t out_count;
static atomic_flag out_busy = ATOMIC_FLAG_INIT;
static bool watching; /* what is out is kept book of */

static size_t block_home(const void *block)
{
    return (size_t)((uintptr_t)block / 16 * 11400714819323198485u >> 20) % BLOCKS;
}

static void out_add(const void *block, uint_fast64_t site)
{
    if (!watching || !armed || !block || site % 2) /* see site_here */
        return;
    while (atomic_flag_test_and_set(&out_busy))
        ;
    if (++out_count > BLOCKS / 2)
        watching =
            false; /* more than there is room for: nothing is said rather than something wrong */
    size_t at = block_home(block);
    while (watching && out[at].block)
        at = (at + 1) % BLOCKS;
    out[at].block = block;
    out[at].site = site;
    atomic_flag_clear(&out_busy);
}

/* Those behind it that its place kept from their own move up. */
static void out_close_gap(size_t gap)
{
    for (size_t at = (gap + 1) % BLOCKS; out[at].block; at = (at + 1) % BLOCKS) {
        size_t home = block_home(out[at].block);
        if ((at - home + BLOCKS) % BLOCKS >= (at - gap + BLOCKS) % BLOCKS) {
            out[gap] = out[at];
            gap = at;
        }
    }
    out[gap].block = NULL;
}

static void out_remove(const void *block)
{
    if (!watching || !armed || !block)
        return;
    while (atomic_flag_test_and_set(&out_busy))
        ;
    size_t at = block_home(block);
    while (out[at].block && out[at].block != block)
        at = (at + 1) % BLOCKS;
    if (out[at].block) {
        out_count--;
        out_close_gap(at);
    }
    atomic_flag_clear(&out_busy);
}

static void out_report(void)
{
    const char *path = getenv("FAULTY_LEFT");
    FILE *file = path ? fopen(path, "w") : NULL;
    for (size_t i = 0; file && watching && i < BLOCKS; i++)
        if (out[i].block)
            fprintf(file, "%016lx\n", (unsigned long)out[i].site);
    if (file)
        fclose(file);
}

static void places_report(void)
{
    const char *path = getenv("FAULTY_SITES");
    FILE *file = path ? fopen(path, "w") : NULL;
    if (!file)
        return;
    for (size_t i = 0; i < PLACES; i++)
        if (places[i].site)
            fprintf(file, "%016lx %lu\n", (unsigned long)places[i].site, places[i].first);
    fclose(file);
}

/* ---- what fails ------------------------------------------------------------------------------ */

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
    const char *memory = getenv("FAULTY_MEMORY");
    if (memory && !strncmp(memory, "site:", 5))
        failing = strtoul(memory + 5, NULL, 16);
    else
        faults[MEMORY] = fault_read(memory);
    noting = getenv("FAULTY_SITES") != NULL;
    watching = getenv("FAULTY_LEFT") != NULL;
    const char *calls_said = getenv("FAULTY_CALLS");
    if (calls_said && calls_said[0] > '0' && calls_said[0] <= '0' + CALLS)
        depth = calls_said[0] - '0';
    if (failing || noting || watching) {
        void *calls[1];
        unw_backtrace(calls, 1); /* what it loads for itself it loads now */
        dl_iterate_phdr(note_module, NULL);
    }
    faults[MEMORY].way = "";
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
    places_report();
    out_report();
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

static void show_calls(void)
{
    enum { MOST = 32 };
    void *calls[MOST];
    const char *path = getenv("FAULTY_SHOW");
    int file = path ? creat(path, 0600) : -1;
    if (file < 0)
        return;
    armed = false; /* what this takes is not counted */
    backtrace_symbols_fd(calls, backtrace(calls, MOST), file);
    armed = true;
    close(file);
}

/* Which place asks, when that matters, and whether it is refused. */
static inline __attribute__((always_inline)) bool memory_fails(uint_fast64_t *site)
{
    *site = 0;
    if (!armed || (!failing && !noting && !watching))
        return fails(MEMORY);
    *site = site_here();
    if (noting)
        note_place(*site, asked[MEMORY] + 1);
    if (fails(MEMORY))
        return true;
    if (*site != failing)
        return false;
    failing = 0; /* once */
    show_calls();
    errno = ENOMEM;
    return true;
}

void *malloc(size_t size)
{
    uint_fast64_t site;
    void *block = memory_fails(&site) ? NULL : __libc_malloc(size);
    out_add(block, site);
    return block;
}

void *calloc(size_t count, size_t size)
{
    uint_fast64_t site;
    void *block = memory_fails(&site) ? NULL : __libc_calloc(count, size);
    out_add(block, site);
    return block;
}

void *realloc(void *old, size_t size)
{
    uint_fast64_t site;
    if (memory_fails(&site))
        return NULL;
    out_remove(old);
    void *block = __libc_realloc(old, size);
    out_add(block, site);
    return block;
}

void free(void *block)
{
    out_remove(block);
    __libc_free(block);
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
