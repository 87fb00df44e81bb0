/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What only an answer may say: the names of the values, a quantity by itself, yes and no. */
#include <string.h>

#include "base/text.h"
#include "knowledge/reader_internal.h"

/* ---- names of values --------------------------------------------------------------------- */

static bool is_word(unsigned char c)
{
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c >= 0x80;
}

static enum status find_name(struct job *job, size_t value, const char *name)
{
    struct working wanted;
    enum status status = working_build(&wanted, name, strlen(name), job->scratch, NULL);
    if (status != STATUS_OK || !wanted.length)
        return status == STATUS_MEMORY ? status : STATUS_OK;
    const struct working *w = &job->working;
    for (size_t at = 0; at + wanted.length <= w->length; at++) {
        if (memcmp(w->bytes + at, wanted.bytes, wanted.length) != 0)
            continue;
        size_t end = at + wanted.length;
        if ((at && is_word((unsigned char)w->bytes[at - 1])) ||
            (end < w->length && is_word((unsigned char)w->bytes[end])))
            continue;
        struct match *match = match_add(&job->matches);
        if (!match)
            return job->matches.full ? STATUS_DATA : STATUS_MEMORY;
        match->start = (uint32_t)at;
        match->end = (uint32_t)end;
        match->role = ROLE_VALUE;
        match->observable = (size_t)job->asked;
        match->item = value;
        at = end;
    }
    return STATUS_OK;
}

/* ---- a quantity by itself ---------------------------------------------------------------- */

static struct pattern *bare_pattern(struct reader *r, enum dimension dimension)
{
    struct pattern *pattern = &r->bare[dimension];
    pattern->role = ROLE_NUMBER;
    pattern->source = QUANTITY_ANY;
    pattern->dimension = dimension;
    return pattern;
}

/* The first quantity that fits the question: for days, not the 90 of "90 min". */
static enum status find_bare(struct job *job)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    const struct working *w = &job->working;
    struct pattern *pattern = bare_pattern(job->reader, o->dimension);
    struct match_list found = {.arena = job->scratch};
    pattern->observable = (size_t)job->asked;
    reader_next_scan(job->reader);
    enum status status = job_run(job, pattern, 0, (uint32_t)w->length, &found);
    for (size_t i = 0; status == STATUS_OK && i < found.count; i++) {
        struct quantity quantity;
        size_t used = 0;
        const struct match *match = &found.items[i];
        if (quantity_read(w->bytes + match->q_start, w->length - match->q_start, o->dimension,
                          &quantity, &used) != QUANTITY_OK ||
            used != match->q_end - match->q_start)
            continue;
        struct match *taken = match_add(&job->matches);
        if (!taken)
            return job->matches.full ? STATUS_DATA : STATUS_MEMORY;
        *taken = *match;
        taken->observable = (size_t)job->asked;
        taken->asked = true;
        break;
    }
    return status;
}

enum status job_answer(struct job *job)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    enum status status = STATUS_OK;
    for (size_t i = 0; i < o->value_count && status == STATUS_OK; i++) {
        status = find_name(job, i, o->values[i].label);
        if (status == STATUS_OK)
            status = find_name(job, i, o->values[i].id);
    }
    if (status == STATUS_OK && o->kind == KIND_NUMBER)
        status = find_bare(job);
    return status;
}

/*
 * "At 30%" to a question that takes no number: it is about the question, and
 * not a statement about whatever sign happens to be measured in per cent.
 */
enum status job_stray_number(struct job *job)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    const struct working *w = &job->working;
    uint32_t end = w->cut_count ? w->cuts[0].at : (uint32_t)w->length;
    struct match_list *list = &job->matches;
    size_t content = 0;
    while (content < list->count && list->items[content].role > ROLE_STATEMENT)
        content++;
    if (o->kind == KIND_NUMBER || content == list->count ||
        list->items[content].role != ROLE_NUMBER || list->items[content].start >= end)
        return STATUS_OK;
    const struct match *number = &list->items[content];
    for (size_t i = 0; i < job->token_count && job->tokens[i].start < end; i++) {
        const struct token *token = &job->tokens[i];
        bool inside = token->start >= number->q_start && token->end <= number->q_end;
        if (!inside && !(token->roles >> ROLE_IGNORE & 1))
            return STATUS_OK;
    }
    for (size_t i = content + 1; i < list->count; i++)
        list->items[i - 1] = list->items[i];
    list->count--;
    return job_cover(job, true);
}

/* ---- yes and no -------------------------------------------------------------------------- */

enum {
    SAYS_NO = 1 << ROLE_NO | 1 << ROLE_NEGATION,
    SAYS_YES = 1 << ROLE_YES,
};

/* The roles of the first word of a name. */
static uint32_t first_word_roles(const struct reader *reader, const char *name)
{
    char word[32];
    size_t length = 0;
    while (length < sizeof word && name[length] && name[length] != ' ' && name[length] != '_') {
        char c = name[length];
        word[length++] = c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
    }
    const struct lexeme *lexeme = lexicon_find(&reader->lexicon, word, length);
    return lexeme ? lexeme->roles : 0;
}

/* The one value whose name starts with such a word ("none", "not shaken"), as a bit. */
static uint32_t value_like(const struct job *job, uint32_t wanted)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    uint32_t found = 0;
    for (size_t i = 0; i < o->value_count; i++) {
        uint32_t roles = first_word_roles(job->reader, o->values[i].label) |
                         first_word_roles(job->reader, o->values[i].id);
        if (roles & wanted)
            found |= UINT32_C(1) << i;
    }
    return found & (found - 1) ? 0 : found;
}

static const char *choices(const struct job *job)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    if (o->kind == KIND_NUMBER)
        return "say a number";
    struct text text;
    text_init(&text);
    text_puts(&text, "name one of these: ");
    for (size_t i = 0; i < o->value_count; i++)
        text_printf(&text, "%s%s", i ? "; " : "", o->values[i].label);
    const char *copy = text.failed ? NULL : arena_copy(job->list_arena, text.bytes, text.length);
    text_release(&text);
    return copy;
}

/*
 * What the first clause says by itself: 1 yes, -1 no, 0 neither, when it holds
 * nothing but that and words that do not matter. "Not normal" is neither.
 */
static int bare_answer(const struct job *job, uint32_t end, bool *hedged)
{
    bool yes = false;
    bool no = false;     /* "none", "fine" */
    bool denied = false; /* "didn't" (notice any) */
    for (size_t i = 0; i < job->token_count && job->tokens[i].start < end; i++)
        if (!job->tokens[i].covered && !(job->tokens[i].roles & UINT32_C(1) << ROLE_IGNORE))
            return 0;
    for (size_t i = 0; i < job->matches.count && job->matches.items[i].start < end; i++) {
        const struct match *match = &job->matches.items[i];
        if (match->role <= ROLE_STATEMENT)
            return 0;
        *hedged = *hedged || match->role == ROLE_HEDGE;
        yes = yes || match->role == ROLE_YES;
        no = no || match->role == ROLE_NO || match->answers;
        denied = denied || (match->role == ROLE_NEGATION && !match->answers);
    }
    if (no && denied)
        return 0;
    return no || denied ? -1 : yes ? 1 : 0;
}

static void settle(struct job *job, int said)
{
    const struct observable *o = &job->reader->rules->observables[job->asked];
    uint32_t all = rules_all_values(o);
    uint32_t like_no = value_like(job, SAYS_NO);
    uint32_t like_yes = value_like(job, SAYS_YES);
    struct bare_answer *answer = &job->bare_answer;
    if (o->kind == KIND_SEVERAL && said < 0)
        answer->absent = all;
    else if (o->kind == KIND_SEVERAL)
        answer->seen = o->value_count == 1 ? all : 0;
    else if (said < 0)
        answer->seen = like_no;
    else if (like_yes)
        answer->seen = like_yes;
    else if (o->value_count == 2 && like_no)
        answer->seen = all & ~like_no;
}

enum status job_yes_no(struct job *job)
{
    const struct working *w = &job->working;
    struct bare_answer *answer = &job->bare_answer;
    uint32_t end = w->cut_count ? w->cuts[0].at : (uint32_t)w->length;
    for (size_t i = 0; i < job->matches.count; i++) {
        const struct match *match = &job->matches.items[i];
        if (match->role <= ROLE_NUMBER && match->observable == (size_t)job->asked)
            answer->needless = true;
    }
    enum status status = job_cover(job, true);
    int said = status == STATUS_OK ? bare_answer(job, end, &answer->hedged) : 0;
    for (size_t i = 0; said && i < job->matches.count && job->matches.items[i].start < end; i++)
        job->matches.items[i].used = true;
    if (status == STATUS_OK)
        status = job_cover(job, false);
    if (!said)
        return status;
    if (status != STATUS_OK || answer->needless)
        return status;
    settle(job, said);
    answer->span = working_span(&job->working, 0, end);
    answer->given = true;
    if (!answer->seen && !answer->absent) {
        answer->note = choices(job);
        if (!answer->note)
            return STATUS_MEMORY;
    }
    return STATUS_OK;
}
