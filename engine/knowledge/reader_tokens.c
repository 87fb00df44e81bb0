/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The words of a text, what part each can play by itself, and slips in those nothing knows. */
#include <string.h>

#include "knowledge/reader_internal.h"

/* Letters, digits and whatever is not ASCII; a degree sign only ends a word. */
static size_t word_length(const char *bytes, size_t length)
{
    size_t at = 0;
    while (at < length) {
        unsigned char c = (unsigned char)bytes[at];
        bool word = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c >= 0x80;
        if (c == 0xC2 && at + 1 < length && (unsigned char)bytes[at + 1] == 0xB0)
            break;
        if (!word &&
            !(c == '\'' && at && at + 1 < length && bytes[at + 1] >= 'a' && bytes[at + 1] <= 'z'))
            break;
        at++;
    }
    return at;
}

/* Whether a word can begin a quantity: "12", "two", "half", "a" (week). */
static bool counts(const char *word, size_t length, struct lexeme *lexeme)
{
    static const char unit[] = " days";
    char trial[48];
    struct quantity quantity;
    size_t used = 0;
    if (word[0] >= '0' && word[0] <= '9')
        return true;
    if (length + sizeof unit > sizeof trial)
        return false;
    if (lexeme && lexeme->counts)
        return lexeme->counts > 0;
    memcpy(trial, word, length);
    memcpy(trial + length, unit, sizeof unit);
    bool reads =
        quantity_read(trial, length + sizeof unit - 1, DIM_DAYS, &quantity, &used) == QUANTITY_OK;
    if (lexeme)
        lexeme->counts = reads ? 1 : -1;
    return reads;
}

static struct token token_at(const struct job *job, size_t at, size_t size)
{
    const char *word = job->working.bytes + at;
    struct lexeme *lexeme = lexicon_find(&job->reader->lexicon, word, size);
    return (struct token){.start = (uint32_t)at,
                          .end = (uint32_t)(at + size),
                          .roles = lexeme ? lexeme->roles : 0,
                          .counts = counts(word, size, lexeme)};
}

enum status job_tokens(struct job *job)
{
    const struct working *w = &job->working;
    size_t room = 0;
    for (size_t at = 0; at < w->length; room++) {
        size_t size = word_length(w->bytes + at, w->length - at);
        at += size ? size : 1;
    }
    job->tokens = arena_array(job->scratch, room, sizeof *job->tokens);
    job->token_count = 0;
    if (!job->tokens)
        return STATUS_MEMORY;
    for (size_t at = 0; at < w->length;) {
        size_t size = word_length(w->bytes + at, w->length - at);
        if (size)
            job->tokens[job->token_count++] = token_at(job, at, size);
        at += size ? size : 1;
    }
    return STATUS_OK;
}

/* ---- slips ------------------------------------------------------------------------------- */

static bool all_letters(const char *word, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (word[i] < 'a' || word[i] > 'z')
            return false;
    return true;
}

enum status job_slips(struct job *job, bool *changed)
{
    struct working *w = &job->working;
    const struct lexicon *lexicon = &job->reader->lexicon;
    size_t count = 0;
    *changed = false;
    struct correction *corrections =
        arena_array(job->scratch, job->token_count, sizeof *corrections);
    if (!corrections)
        return STATUS_MEMORY;
    for (size_t i = 0; i < job->token_count; i++) {
        const struct token *token = &job->tokens[i];
        const char *word = w->bytes + token->start;
        size_t length = token->end - token->start;
        if (token->covered || token->roles || !all_letters(word, length))
            continue;
        const struct lexeme *known = lexicon_find(lexicon, word, length);
        if (known && (known->vocabulary || known->spared))
            continue;
        const struct lexeme *meant = lexicon_slip(lexicon, word, length);
        if (meant)
            corrections[count++] =
                (struct correction){token->start, token->end, meant->word, meant->length};
    }
    *changed = count > 0;
    return count ? working_correct(w, corrections, count, job->scratch) : STATUS_OK;
}
