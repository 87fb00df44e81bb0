/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_BENCH_FIGURES_H
#define JARSIDE_TESTS_BENCH_FIGURES_H

/* Taking figures and printing them: one table, each figure with its unit and how it was taken. */
#include <fcntl.h>
#include <math.h>
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

/* ---- the table ---------------------------------------------------------------------------------- */

/*
 * Each figure stands beside the one of tests/bench/previous.tsv, which `make bench KEEP=1` writes anew. A
 * time is worth comparing on one machine only, an instruction anywhere.
 */
enum { FIGURES_MOST = 128 };
static const char PREVIOUS[] = "tests/bench/previous.tsv";

struct figure {
    char name[96];        /* with its heading: names return under several */
    double value, before; /* NAN: there was none */
    char unit[8];
};

static struct figure figures[FIGURES_MOST];
static size_t figure_count;
static const char *figure_heading;

static inline void heading(const char *words)
{
    figure_heading = words;
    printf("\n%-42s %11s %6s %-6s %-7s %6s  %s\n", words, "median", "+-", "unit", "goal", "before",
           "method");
}

/* What the figure was, or NAN. */
static inline double figure_before(const char *name)
{
    char line[256];
    double before = NAN;
    FILE *file = fopen(PREVIOUS, "r");
    while (file != NULL && fgets(line, sizeof line, file) != NULL) {
        char *tab = strchr(line, '\t');
        if (tab == NULL || *line == '#')
            continue;
        *tab = '\0';
        if (strcmp(line, name) == 0)
            before = strtod(tab + 1, NULL);
    }
    if (file != NULL)
        fclose(file);
    return before;
}

static inline void put_figure(const char *what, double value, double spread, const char *unit,
                              const char *goal, const char *method)
{
    if (figure_count == FIGURES_MOST)
        die("too many figures; raise FIGURES_MOST");
    struct figure *figure = &figures[figure_count++];
    char wide[16] = "", beside[16] = "";
    snprintf(figure->name, sizeof figure->name, "%s: %s", figure_heading, what + strspn(what, " "));
    snprintf(figure->unit, sizeof figure->unit, "%s", unit);
    figure->value = value;
    figure->before = figure_before(figure->name);
    if (!isnan(spread))
        snprintf(wide, sizeof wide, "%.0f %%", 100.0 * spread);
    if (!isnan(figure->before))
        snprintf(beside, sizeof beside, "x%.2f", value / figure->before);
    printf("%-42s %11.*f %6s %-6s %-7s %6s  %s\n", what, value >= 1000.0 ? 0 : 3, value, wide, unit,
           goal, beside, method);
    fflush(stdout);
}

/* A figure that was taken once. */
static inline void row(const char *what, double value, const char *unit, const char *goal,
                       const char *method)
{
    put_figure(what, value, NAN, unit, goal, method);
}

/* One that was taken several times: the median, and half of what the middle half of them spans. */
static inline void row_of(const char *what, double *values, size_t count, const char *unit,
                          const char *goal, const char *method)
{
    double middle = median(values, count);
    double spread = 0.5 * (values[count - 1 - count / 4] - values[count / 4]) / middle;
    char note[128];
    snprintf(note, sizeof note, "of %zu%s%s", count, *method != '\0' ? ", " : "", method);
    put_figure(what, middle, spread, unit, goal, note);
}

/* A row that cannot be taken here. */
static inline void row_missing(const char *what, const char *why)
{
    printf("%-42s %11s %6s %-6s %-7s %6s  %s\n", what, "-", "", "", "", "", why);
    fflush(stdout);
}

/* Names what got worse by a tenth; with `keep` these figures are what the next are compared with. */
static inline void figures_end(bool keep)
{
    FILE *file = keep ? fopen(PREVIOUS, "w") : NULL;
    printf("\n");
    if (file != NULL)
        fprintf(
            file,
            "# What `make bench` found when it was last told to keep it: figure, median, unit.\n");
    for (size_t i = 0; i < figure_count; i++) {
        const struct figure *f = &figures[i];
        bool more_is_better = strcmp(f->unit, "1/s") == 0 || strcmp(f->unit, "times") == 0;
        double worse = more_is_better ? f->before / f->value : f->value / f->before;
        if (worse > 1.1)
            printf("worse by a tenth or more: %s, %.4g %s, was %.4g\n", f->name, f->value, f->unit,
                   f->before);
        if (file != NULL)
            fprintf(file, "%s\t%.4g\t%s\n", f->name, f->value, f->unit);
    }
    if (file != NULL)
        fclose(file);
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
