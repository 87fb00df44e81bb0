/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_BENCH_DESCRIPTIONS_H
#define JARSIDE_TESTS_BENCH_DESCRIPTIONS_H

/*
 * Descriptions without end: two to four sentences each, drawn from the labelled
 * cases and the phrases of the corpus, so that hardly any two are alike. The draw
 * is a fixed linear congruential sequence (Knuth, MMIX): the same every time.
 */
#include <glob.h>
#include <stdint.h>

#include "base/memory.h"
#include "bench/figures.h"
#include "rules/rules.h"

struct descriptions {
    struct arena *arena;
    const char **sentences;
    size_t count;
    uint64_t draw;
};

static inline void descriptions_add(struct descriptions *d, const char *text, size_t length)
{
    while (length > 0 && strchr(" .\n", text[length - 1]) != NULL)
        length--;
    if (length == 0)
        return;
    *arena_push(d->arena, d->sentences, d->count) = arena_copy(d->arena, text, length);
}

static inline void descriptions_of_cases(struct descriptions *d, const struct rules *rules,
                                         struct diags *diags)
{
    const struct labelled_case *cases;
    size_t count;
    if (cases_load("corpus/cases", rules, d->arena, &cases, &count, diags) != STATUS_OK)
        die("cannot read corpus/cases; run from the top folder");
    for (size_t i = 0; i < count; i++) {
        const char *text = cases[i].text;
        for (const char *end; (end = strstr(text, ". ")) != NULL; text = end + 2)
            descriptions_add(d, text, (size_t)(end - text));
        descriptions_add(d, text, strlen(text));
    }
}

static inline void descriptions_of_phrases(struct descriptions *d)
{
    glob_t found;
    char line[1024];
    if (glob("corpus/phrases/*.tsv", 0, NULL, &found) != 0)
        die("no corpus/phrases");
    for (size_t i = 0; i < found.gl_pathc; i++) {
        FILE *file = fopen(found.gl_pathv[i], "r");
        /* Those of answers.tsv mean something only beside a question. */
        bool answers = strstr(found.gl_pathv[i], "answers") != NULL;
        while (!answers && file != NULL && fgets(line, sizeof line, file) != NULL)
            if (line[0] != '#')
                descriptions_add(d, line, strcspn(line, "\t\n"));
        if (file != NULL)
            fclose(file);
    }
    globfree(&found);
}

static inline void descriptions_init(struct descriptions *d, const struct rules *rules,
                                     struct diags *diags)
{
    *d = (struct descriptions){.arena = arena_new(), .draw = 1};
    if (d->arena == NULL)
        die("out of memory");
    descriptions_of_cases(d, rules, diags);
    descriptions_of_phrases(d);
}

static inline void descriptions_release(struct descriptions *d)
{
    arena_free(d->arena);
}

static inline size_t descriptions_draw(struct descriptions *d, size_t below)
{
    d->draw = d->draw * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (size_t)(d->draw >> 33) % below;
}

/* The next one, into `line`; returns its length. */
static inline size_t descriptions_next(struct descriptions *d, char *line, size_t room)
{
    size_t length = 0, sentences = 2 + descriptions_draw(d, 3);
    for (size_t i = 0; i < sentences && length < room; i++)
        length += (size_t)snprintf(line + length, room - length, "%s%s", i > 0 ? ". " : "",
                                   d->sentences[descriptions_draw(d, d->count)]);
    return length < room ? length : room - 1;
}

/* Writes so many to a file, a line each; returns the bytes. */
static inline size_t descriptions_write(struct descriptions *d, const char *path, size_t count)
{
    static char line[16384];
    size_t bytes = 0;
    FILE *file = fopen(path, "w");
    for (size_t i = 0; file != NULL && i < count; i++) {
        size_t length = descriptions_next(d, line, sizeof line - 1);
        line[length++] = '\n';
        bytes += fwrite(line, 1, length, file);
    }
    if (file == NULL || fclose(file) != 0)
        die("cannot write a scratch file");
    return bytes;
}

#endif
