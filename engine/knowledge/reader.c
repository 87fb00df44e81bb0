/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The reader itself, and the order in which a text is read. */
#include <stdlib.h>
#include <string.h>

#include "knowledge/reader_internal.h"

/* ---- life -------------------------------------------------------------------------------- */

static bool reader_room(struct reader *reader)
{
    reader->memory = arena_new(NULL);
    reader->scratch = arena_new(NULL);
    reader->compiling = pcre2_compile_context_create(NULL);
    reader->limits = pcre2_match_context_create(NULL);
    reader->found = pcre2_match_data_create(MATCH_GROUPS, NULL);
    if (reader->limits)
        (void)pcre2_set_callout(reader->limits, quantity_callout, reader);
    return reader->memory && reader->scratch && reader->compiling && reader->limits &&
           reader->found && lexicon_init(&reader->lexicon, reader->memory);
}

struct reader *reader_new(const struct rules *rules, struct diags *diags)
{
    struct reader *reader = calloc(1, sizeof *reader);
    if (!reader)
        return NULL;
    reader->rules = rules;
    if (!reader_room(reader) || patterns_build(reader, diags) != STATUS_OK) {
        reader_free(reader);
        return NULL;
    }
    arena_reset(reader->scratch);
    return reader;
}

void reader_free(struct reader *reader)
{
    if (!reader)
        return;
    for (size_t i = 0; i < reader->pattern_count; i++)
        pcre2_code_free(reader->patterns[i].code);
    for (size_t i = 0; i < DIM_COUNT; i++)
        pcre2_code_free(reader->bare[i].code);
    pcre2_match_data_free(reader->found);
    pcre2_match_context_free(reader->limits);
    pcre2_compile_context_free(reader->compiling);
    arena_free(reader->scratch);
    arena_free(reader->memory);
    free(reader);
}

/* ---- reading ----------------------------------------------------------------------------- */

/* Words and matches; a second time when slips were put right. */
static enum status find_matches(struct job *job)
{
    bool again = true;
    enum status status = STATUS_OK;
    for (int round = 0; again && round < 2 && status == STATUS_OK; round++) {
        again = false;
        status = job_tokens(job);
        if (status == STATUS_OK)
            status = job_scan(job);
        if (status == STATUS_OK && job->asked != RULES_NONE)
            status = job_answer(job);
        if (status == STATUS_OK)
            status = job_resolve(job);
        if (status == STATUS_OK && job->asked != RULES_NONE)
            status = job_stray_number(job);
        if (status == STATUS_OK && round == 0)
            status = job_slips(job, &again);
    }
    return status;
}

static enum status read_as(struct reader *reader, int asked, const char *text, size_t length,
                           struct arena *arena, struct reading_list *list, struct diags *diags)
{
    arena_reset(reader->scratch);
    struct job job = {.reader = reader,
                      .text = text,
                      .length = length,
                      .asked = asked,
                      .scratch = reader->scratch,
                      .list_arena = arena};
    *list = (struct reading_list){.text = text};
    enum status status = working_build(&job.working, text, length, job.scratch, diags);
    if (status != STATUS_OK)
        return status;
    status = find_matches(&job);
    if (status == STATUS_DATA)
        diags_error(diags, (struct position){0},
                    "the text says more than %d things; describe one vessel at a time",
                    (int)MATCH_MOST);
    if (status == STATUS_OK)
        status = job_clauses(&job);
    if (status == STATUS_OK && asked != RULES_NONE)
        status = job_yes_no(&job);
    if (status == STATUS_OK)
        status = job_readings(&job, list);
    return status;
}

enum status reader_read(struct reader *reader, const char *text, size_t length, struct arena *arena,
                        struct reading_list *list, struct diags *diags)
{
    return read_as(reader, RULES_NONE, text, length, arena, list, diags);
}

enum status reader_answer(struct reader *reader, size_t observable, const char *text, size_t length,
                          struct arena *arena, struct reading_list *list, struct diags *diags)
{
    if (observable >= reader->rules->observable_count)
        return STATUS_INTERNAL;
    return read_as(reader, (int)observable, text, length, arena, list, diags);
}
