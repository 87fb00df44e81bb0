/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_BENCH_FIGURES_H
#define JARSIDE_TESTS_BENCH_FIGURES_H

/* Taking figures and printing them: one table, each figure with its unit and how it was taken. */
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static inline void die(const char *what)
{
    fprintf(stderr, "bench: %s\n", what);
    exit(EXIT_FAILURE);
}

/* Milliseconds of a clock that only goes forward, and of this thread's work. */
static inline double clock_ms(clockid_t clock)
{
    struct timespec time;
    clock_gettime(clock, &time);
    return (double)time.tv_sec * 1e3 + (double)time.tv_nsec / 1e6;
}

static inline double now(void)
{
    return clock_ms(CLOCK_MONOTONIC);
}

static inline int figures_ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static inline double median(double *values, size_t count)
{
    qsort(values, count, sizeof *values, figures_ascending);
    return values[count / 2];
}

static inline void heading(const char *words)
{
    printf("\n%-46s %12s %-6s %-8s %s\n", words, "figure", "unit", "goal", "method");
}

static inline void row(const char *what, double value, const char *unit, const char *goal,
                       const char *method)
{
    printf("%-46s %12.*f %-6s %-8s %s\n", what, value >= 1000.0 ? 0 : 3, value, unit, goal, method);
    fflush(stdout);
}

/* A row that cannot be taken here. */
static inline void row_missing(const char *what, const char *why)
{
    printf("%-46s %12s %-6s %-8s %s\n", what, "-", "", "", why);
    fflush(stdout);
}

/* The path of something in the scratch folder; valid until the eighth next call. */
static inline char *in_folder(const char *folder, const char *name)
{
    static char paths[8][512];
    static unsigned next;
    char *path = paths[next++ % 8];
    snprintf(path, sizeof paths[0], "%s/%s", folder, name);
    return path;
}

/* Runs a program to its end; NULL leaves a stream alone. False when it did not end well. */
static inline bool run(char *const *words, const char *in, const char *out, const char *err,
                       struct rusage *usage)
{
    int status = 0;
    fflush(stdout);
    pid_t child = fork();
    if (child == 0) {
        int from = in != NULL ? open(in, O_RDONLY) : STDIN_FILENO;
        int to = out != NULL ? open(out, O_WRONLY | O_CREAT | O_TRUNC, 0600) : STDOUT_FILENO;
        int faults = err != NULL ? open(err, O_WRONLY | O_CREAT | O_TRUNC, 0600) : STDERR_FILENO;
        if (dup2(from, STDIN_FILENO) >= 0 && dup2(to, STDOUT_FILENO) >= 0 &&
            dup2(faults, STDERR_FILENO) >= 0)
            execvp(words[0], words);
        _exit(127);
    }
    return child > 0 && wait4(child, &status, 0, usage) == child && status == 0;
}

static inline void remove_folder(char *folder)
{
    struct rusage usage;
    run((char *[]){(char[]){"rm"}, (char[]){"-r"}, folder, NULL}, NULL, NULL, NULL, &usage);
}

/* Instructions a run executes, as callgrind counts them; 0 without valgrind. */
static inline double instructions(char *const *words, const char *in, const char *scratch)
{
    char *all[16] = {(char[]){"valgrind"}, (char[]){"--tool=callgrind"},
                     (char[]){"--callgrind-out-file=/dev/null"}};
    size_t count = 3;
    double found = 0.0;
    char line[256];
    struct rusage usage;
    while (*words != NULL && count < 15)
        all[count++] = *words++;
    if (!run(all, in, "/dev/null", scratch, &usage))
        return 0.0;
    FILE *told = fopen(scratch, "r");
    while (told != NULL && fgets(line, sizeof line, told) != NULL) {
        const char *at = strstr(line, "Collected : ");
        if (at != NULL)
            found = strtod(at + strlen("Collected : "), NULL);
    }
    if (told != NULL)
        fclose(told);
    return found;
}

#endif
