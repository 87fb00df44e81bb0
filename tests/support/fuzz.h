/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TESTS_FUZZ_H
#define JARSIDE_TESTS_FUZZ_H

/*
 * What the fuzz targets share. A target is one function from bytes to nothing; libFuzzer calls it
 * for as long as it is told to (`make fuzz`), tests/fuzz/replay.c once for every input that was kept.
 * What must hold of any input is said with hold(); a broken promise ends the program.
 */
#include <fcntl.h>
#include <jansson.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/csv.h"
#include "base/diag.h"
#include "base/text.h"
#include "language/reader.h"
#include "reason/reason.h"
#include "rules/rules.h"
#include "triage/triage.h"
#include "view/screen.h"
#include "view/verdict.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

static inline void hold(bool condition, const char *promise)
{
    if (condition)
        return;
    fprintf(stderr, "broken promise: %s\n", promise);
    abort();
}

/* The bytes with a NUL behind them, in memory of exactly that size; the caller frees it. */
static inline char *string_of(const uint8_t *bytes, size_t size)
{
    char *string = malloc(size + 1);
    hold(string != NULL, "there is memory for the input");
    if (size)
        memcpy(string, bytes, size);
    string[size] = '\0';
    return string;
}

/* A file that holds the bytes and has never been on a disk. */
struct unsaved {
    int descriptor;
    char path[40];
};

static inline void unsaved_open(struct unsaved *file, const uint8_t *bytes, size_t size)
{
    file->descriptor = memfd_create("input", MFD_CLOEXEC);
    hold(file->descriptor >= 0, "a file can be made");
    while (size) {
        ssize_t wrote = write(file->descriptor, bytes, size);
        hold(wrote > 0, "the file can be written");
        bytes += wrote;
        size -= (size_t)wrote;
    }
    snprintf(file->path, sizeof file->path, "/proc/self/fd/%d", file->descriptor);
}

static inline void unsaved_close(struct unsaved *file)
{
    close(file->descriptor);
}

/* A folder in memory where there is one, for a journal: SQLite wants a path beside which it can put its log. */
struct desk {
    char folder[64], path[96];
};

static inline void desk_set(struct desk *desk)
{
    struct stat about;
    snprintf(desk->folder, sizeof desk->folder, "%s/jarside-fuzz-XXXXXX",
             stat("/dev/shm", &about) == 0 ? "/dev/shm" : "/tmp");
    hold(mkdtemp(desk->folder) != NULL, "a folder can be made");
    snprintf(desk->path, sizeof desk->path, "%s/j.db", desk->folder);
}

static inline void desk_write(const struct desk *desk, const uint8_t *bytes, size_t size)
{
    FILE *file = fopen(desk->path, "wb");
    hold(file && fwrite(bytes, 1, size, file) == size && fclose(file) == 0, "and a file in it");
}

static inline void desk_clear(const struct desk *desk)
{
    static const char *const behind[] = {"", "-wal", "-shm", "-journal"};
    char path[128];
    for (size_t i = 0; i < sizeof behind / sizeof *behind; i++) {
        snprintf(path, sizeof path, "%s%s", desk->path, behind[i]);
        unlink(path);
    }
    hold(rmdir(desk->folder) == 0, "nothing was written beside the journal");
}

/* Nothing that steers a terminal, and no invalid UTF-8, whatever the input was. */
static inline bool harmless(const char *text)
{
    size_t length = strlen(text);
    if (utf8_valid_prefix(text, length) != length)
        return false;
    for (const unsigned char *s = (const unsigned char *)text; *s; s++) {
        if ((*s < 0x20 && *s != '\n') || *s == 0x7F)
            return false;
        if (s[0] == 0xC2 && s[1] >= 0x80 && s[1] <= 0x9F) /* C1 controls */
            return false;
        if (s[0] == 0xE2 && s[1] == 0x80 && (s[2] == 0x8E || s[2] == 0x8F)) /* marks */
            return false;
        if (s[0] == 0xE2 && s[1] == 0x80 && s[2] >= 0xAA && s[2] <= 0xAE) /* embeddings */
            return false;
        if (s[0] == 0xE2 && s[1] == 0x81 && s[2] >= 0xA6 && s[2] <= 0xA9) /* isolates */
            return false;
    }
    return true;
}

/* Every message can be shown, and there is one when there should be. */
static inline void hold_diags(struct diags *diags, bool fault)
{
    hold(!fault || diags_errors(diags), "a fault is told");
    for (size_t i = 0; i < diags_kept(diags); i++) {
        const struct diag *diag = diags_get(diags, i);
        hold(harmless(diag->message), "a message is safe to show");
        hold(!diag->excerpt || harmless(diag->excerpt), "an excerpt is safe to show");
    }
    diags_clear(diags);
}

/* Feeds a table in pieces, each copied so that reading beyond it is seen. */
static inline enum status feed(const struct csv_table *table, const uint8_t *bytes, size_t size,
                               size_t piece, struct diags *diags)
{
    struct csv_reader *reader = csv_reader_new(table, diags);
    enum status status = STATUS_OK;
    for (size_t at = 0; at < size && status == STATUS_OK; at += piece) {
        size_t length = size - at < piece ? size - at : piece;
        char *copy = string_of(bytes + at, length);
        status = csv_reader_feed(reader, copy, length);
        free(copy);
    }
    if (status == STATUS_OK)
        status = csv_reader_finish(reader);
    csv_reader_free(reader);
    return status;
}

/* The next line of a text, cut off in place; NULL after the last. */
static inline char *next_line(char **text)
{
    return *text != NULL ? strsep(text, "\n") : NULL;
}

/* Rules, and all that is made of them. */
struct kit {
    struct rules *rules;
    struct reader *reader;
    struct reasoner *reasoner;
    struct triage *triage;
    struct diags *diags;
};

/* False when the rules do not load, or their phrases do not compile; then a message says so. */
static inline bool kit_open(struct kit *c, const char *const *folders, size_t count)
{
    *c = (struct kit){.diags = diags_new()};
    hold(c->diags != NULL, "there is memory");
    c->rules = rules_load(folders, count, c->diags, NULL);
    c->reader = c->rules ? reader_new(c->rules, c->diags) : NULL;
    if (!c->reader) {
        hold_diags(c->diags, true);
        return false;
    }
    hold_diags(c->diags, false);
    c->reasoner = reasoner_new(c->rules);
    hold(c->reasoner != NULL, "there is memory for the tables");
    c->triage = triage_new(c->rules, c->reader, c->reasoner);
    hold(c->triage != NULL, "there is memory for a case");
    return true;
}

static inline void kit_close(struct kit *c)
{
    triage_free(c->triage);
    reasoner_free(c->reasoner);
    reader_free(c->reader);
    rules_free(c->rules);
    diags_free(c->diags);
}

/* Opened once and kept: the programs are run from the top of the tree. */
static inline struct kit *kit_of(struct kit *kept, const char *folder)
{
    if (!kept->triage)
        hold(kit_open(kept, &folder, 1), "the rules load");
    triage_reset(kept->triage);
    return kept;
}

static inline struct kit *shipped(void)
{
    static struct kit kept;
    return kit_of(&kept, "rules");
}

/* Small rules, where what is read matters more than what is known: some fifty times as fast. */
static inline struct kit *small(void)
{
    static struct kit kept;
    return kit_of(&kept, "tests/unit/tiny-rules");
}

static inline void hold_verdict(const struct rules *rules, const struct verdict *verdict)
{
    double sum = 0;
    for (size_t i = 0; i < rules->finding_count; i++) {
        double p = verdict->findings[i].p;
        hold(p >= 0 && p <= 1 + 1e-9, "a probability is one");
        hold(!i || p <= verdict->findings[i - 1].p, "findings fall");
        sum += p;
    }
    hold(fabs(sum - 1) < 1e-9, "findings add up to one");
    for (size_t i = 0; i < ACTION_COUNT; i++)
        hold(isfinite(verdict->decision.loss[i]), "a loss is finite");
    hold(!verdict->decision.forbidden[verdict->decision.action], "no floor forbids the action");
}

/* What is shown is safe, on a wide screen and on the narrowest, in UTF-8 and in ASCII. */
static inline void hold_shown(const struct judged *told)
{
    static const size_t widths[] = {SCREEN_NARROWEST, SCREEN_DEFAULT};
    for (size_t i = 0; i < 2; i++) {
        struct screen screen = {.width = widths[i], .ascii = i == 0};
        text_init(&screen.out);
        view_verdict(&screen, told, true);
        hold(harmless(screen.out.bytes), "a verdict is safe to show");
        screen_release(&screen);
    }
    json_t *json = view_verdict_json(told);
    char *text = json ? json_dumps(json, 0) : NULL;
    hold(text && harmless(text), "a verdict is safe JSON");
    free(text);
    json_decref(json);
}

/* Judges what was said and holds it to what must be true of any verdict. */
static inline void judge_and_hold(struct kit *c)
{
    const struct verdict *verdict = triage_judge(c->triage);
    hold(verdict != NULL, "there is memory for a verdict");
    hold_verdict(c->rules, verdict);
    const struct judged told = {c->rules, c->triage, verdict};
    hold_shown(&told);
}

#endif
