/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/csv.h"
#include "base/text.h"
#include "language/phrases.h"

/* Quantities, and phrases that are patterns of PCRE2. */

/* ---- quantities -------------------------------------------------------------------------- */

/* A pattern such as "soaked {q}" is compiled with two callouts where its quantity stands: at the
 * first quantity_at is asked whether one begins there, at the second whether it ends there. So all
 * phrases share one reader of quantities. */

/* A callout's number: whether a unit is demanded, of which dimension, at which end. */
enum { CALLOUT_FIRST = 1, CALLOUT_LAST = CALLOUT_FIRST + 4 * DIM_COUNT - 1 };

/* A pattern may take this many steps at a time, and so many more per byte of text: enough for any
 * that moves on, far too few for one that backtracks without end. A step may itself walk over the
 * rest of what is looked at: of a long clause that is REACH bytes around the words a pattern is run
 * at. All patterns together have a second of processor time for a text. What hit a limit is told,
 * and not run again in that text. Translating a pattern to machine code costs about as much as
 * interpreting it over TRANSLATE_AFTER bytes. */
enum {
    STEPS_FREE = 20000,
    STEPS_PER_BYTE = 60,
    DEPTH_LIMIT = 2000,
    HEAP_LIMIT_KIB = 1024,
    TRANSLATE_AFTER = 64,
    REACH = 512,
    WATCHED = 16, /* time is looked at after so many matches */
};

static bool time_is_up(struct reader *reader)
{
    struct timespec time;
    if (clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time) != 0)
        return false;
    int64_t now = (int64_t)time.tv_sec * 1000000000 + time.tv_nsec;
    if (reader->timed != reader->scan) {
        reader->timed = reader->scan;
        reader->begun = now;
    }
    return now - reader->begun > 1000000000;
}

/* The callout of all matching; `data` is the reader. */
static int quantity_callout(pcre2_callout_block *block, void *data)
{
    struct reader *reader = data;
    if (block->callout_number < CALLOUT_FIRST || block->callout_number > CALLOUT_LAST)
        return 0; /* one of an author's own */
    unsigned bits = block->callout_number - CALLOUT_FIRST;
    const size_t at = block->current_position;
    if (bits & 1)
        return at != reader->quantity_end;
    const size_t length = quantity_at((const char *)block->subject, block->subject_length, at,
                                      (enum dimension)(bits / 4), bits & 2);
    reader->quantity_end = (uint32_t)(at + length);
    return length == 0;
}

/* ---- patterns ---------------------------------------------------------------------------- */

/* Appends the pattern with {q}, {n} and {gap} as PCRE2 has them. */
static void put_pattern(struct text *out, const struct reader *reader, const struct phrase *phrase)
{
    for (const char *s = phrase->source + 1; *s;) {
        bool property = s > phrase->source + 2 && s[-2] == '\\' && (s[-1] == 'p' || s[-1] == 'P');
        if (!property && !strncmp(s, "{gap}", 5)) { /* its words bring their spaces */
            text_puts(out, "(?<gap>(?:\\S+ ){0,4}?)");
            s += 5 + (s[5] == ' ');
        } else if (!property && (!strncmp(s, "{q}", 3) || !strncmp(s, "{n}", 3))) {
            unsigned begin =
                CALLOUT_FIRST + 4u * (unsigned)phrase->dimension + (s[1] == 'q' ? 2u : 0u);
            text_printf(out, "%s(?<q>(?C%u)(?>.+?(?C%u)))", reader->quantity_prefix, begin,
                        begin + 1);
            s += 3;
        } else {
            text_add(out, s++, 1);
        }
    }
}

static bool has_capital(const char *source)
{
    for (const char *s = source; *s; s++)
        if (((*s >= 'A' && *s <= 'Z') || (unsigned char)*s >= 0x80) &&
            (s == source || s[-1] != '\\'))
            return true;
    return false;
}

/* The groups of each name, as bits; a group numbered above 31 is not seen. */
static void note_groups(struct pattern *pattern)
{
    uint32_t count = 0;
    uint32_t size = 0;
    PCRE2_SPTR table = NULL;
    pcre2_pattern_info(pattern->code, PCRE2_INFO_NAMECOUNT, &count);
    pcre2_pattern_info(pattern->code, PCRE2_INFO_NAMEENTRYSIZE, &size);
    pcre2_pattern_info(pattern->code, PCRE2_INFO_NAMETABLE, &table);
    for (uint32_t i = 0; i < count; i++, table += size) {
        unsigned number = (unsigned)table[0] << 8 | table[1];
        const char *name = (const char *)table + 2;
        const int which = csv_named("q|gap|over|under", name, strlen(name));
        if (which >= 0 && number < MATCH_GROUPS)
            pattern->groups[which] |= UINT32_C(1) << number;
    }
}

static pcre2_code *compile(struct reader *reader, const char *source, uint32_t options, int *error,
                           size_t *offset)
{
    options |= PCRE2_UTF | PCRE2_DUPNAMES | PCRE2_MULTILINE | PCRE2_NEVER_BACKSLASH_C;
    pcre2_code *code = pcre2_compile((PCRE2_SPTR)source, PCRE2_ZERO_TERMINATED, options, error,
                                     offset, reader->compiling);
    if (!code && (*error == PCRE2_ERROR_HEAP_FAILED || *error == PCRE2_ERROR_NOMEMORY))
        memory_exhausted();
    return code;
}

/* The fault is looked for again in what the author wrote, so that the caret stands right: there
 * {q} is as good as any three letters. */
static void tell_fault(struct reader *reader, const struct phrase *pattern, int error,
                       struct diags *diags)
{
    int own_error = 0;
    size_t offset = 0;
    const char *shown = pattern->source + 1;
    pcre2_code *code = compile(reader, shown, 0, &own_error, &offset);
    bool placed = code == NULL;
    pcre2_code_free(code);
    PCRE2_UCHAR message[128] = "";
    pcre2_get_error_message(placed ? own_error : error, message, sizeof message);
    diags_error(diags, pattern->at, "the pattern '%s' does not compile: %s", shown,
                (const char *)message);
    if (placed)
        diags_excerpt(diags, shown, utf8_count(shown, offset) + 1);
}

/* Whether it compiles; told in `diags`, unless NULL, if not. */
static bool pattern_compile(struct reader *reader, struct pattern *pattern, struct diags *diags)
{
    const struct phrase *phrase = &pattern->phrase;
    int error = 0;
    size_t offset = 0;
    if (pattern->code || pattern->broken)
        return !pattern->broken;
    TEXT(source); /* with word boundaries around it */
    text_puts(&source, "(?<!\\w)(?:");
    put_pattern(&source, reader, phrase);
    text_puts(&source, ")(?!\\w)");
    pattern->code = compile(reader, source.bytes, has_capital(phrase->source) ? PCRE2_CASELESS : 0,
                            &error, &offset);
    pattern->broken = !pattern->code;
    if (pattern->broken && diags)
        tell_fault(reader, phrase, error, diags);
    if (pattern->broken)
        return false;
    note_groups(pattern);
    pattern->broken = phrase->role == ROLE_NUMBER && !pattern->groups[GROUP_QUANTITY];
    if (pattern->broken && diags)
        diags_error(diags, phrase->at,
                    "the pattern '%s' of a number holds no quantity; write {q} or {n} in it",
                    phrase->source + 1);
    return !pattern->broken;
}

void pattern_add(struct reader *reader, const struct phrase *phrase)
{
    /* The pattern, the words it is run at and those it needs beside it, a tab between. */
    size_t length = strcspn(phrase->source, "\t");
    const char *at = phrase->source + length + (phrase->source[length] != '\0');
    size_t words = strcspn(at, "\t");
    struct pattern pattern = {.phrase = *phrase, .same = NO_INDEX, .everywhere = words == 0};
    pattern.given = phrase->source;
    pattern.phrase.source = arena_copy(reader->memory, phrase->source, length);
    pattern.gated = strstr(pattern.phrase.source, "{q}") || strstr(pattern.phrase.source, "{n}");
    pattern.unit = strstr(pattern.phrase.source, "{n}") == NULL;
    if (at[words])
        pattern.with = stems_of(reader, at + words + 1, &pattern.with_count);
    if (phrase->role == ROLE_LIST || phrase->role == ROLE_OBJECTION || phrase->role == ROLE_NONE) {
        diags_error(reader->diags, phrase->at, "'%s' is a pattern; only words stand here",
                    pattern.phrase.source + 1);
        reader->wrong = true;
        return;
    }
    for (size_t i = reader->pattern_count; i-- > 0;) { /* of several values: run once for all */
        struct pattern *first = &reader->patterns[i];
        if (first->phrase.role != phrase->role || first->phrase.observable != phrase->observable)
            break;
        if (strcmp(first->given, phrase->source) != 0)
            continue;
        pattern.same = first->same;
        first->same = (uint32_t)reader->pattern_count;
        *arena_push(reader->memory, reader->patterns, reader->pattern_count) = pattern;
        return;
    }
    *arena_push(reader->memory, reader->patterns, reader->pattern_count) = pattern;
    reader->everywhere += pattern.everywhere;
    struct phrase trigger = *phrase;
    trigger.role = ROLE_PATTERN;
    trigger.item = (uint32_t)reader->pattern_count - 1;
    trigger.source = arena_copy(reader->memory, at, words);
    if (words) /* compiled when a text first holds them */
        (void)phrase_add(reader, &trigger, trigger.source, words);
    else if (!pattern_compile(reader, &reader->patterns[trigger.item], reader->diags))
        reader->wrong = true;
}

/* What PCRE2 asks for passes base/memory.c as well. */
static void *pcre2_gets(size_t size, void *context)
{
    (void)context;
    return malloc(size);
}

static void pcre2_gives(void *block, void *context)
{
    (void)context;
    free(block);
}

void patterns_open(struct reader *reader)
{
    pcre2_general_context *memory = pcre2_general_context_create(pcre2_gets, pcre2_gives, NULL);
    reader->compiling = pcre2_compile_context_create(memory);
    reader->limits = pcre2_match_context_create(memory);
    reader->found = pcre2_match_data_create(MATCH_GROUPS, memory);
    pcre2_general_context_free(memory);
    (void)pcre2_set_callout(reader->limits, quantity_callout, reader);
    pcre2_set_depth_limit(reader->limits, DEPTH_LIMIT);
    pcre2_set_heap_limit(reader->limits, HEAP_LIMIT_KIB);
}

void patterns_close(struct reader *reader)
{
    for (size_t i = 0; i < reader->pattern_count; i++)
        pcre2_code_free(reader->patterns[i].code);
    pcre2_match_data_free(reader->found);
    pcre2_match_context_free(reader->limits);
    pcre2_compile_context_free(reader->compiling);
}

/* ---- patterns in a text ------------------------------------------------------------------ */

/* Whether one of the groups in `mask` took part in the match, which set `count` of them. */
static bool took_part(const PCRE2_SIZE *groups, size_t count, uint32_t mask)
{
    for (size_t i = 1; i < count; i++)
        if ((mask >> i & 1) && groups[2 * i] != PCRE2_UNSET)
            return true;
    return false;
}

static void take_groups(struct match *match, const struct pattern *pattern,
                        const PCRE2_SIZE *groups, size_t count)
{
    for (size_t i = 1; i < count; i++) {
        PCRE2_SIZE start = groups[2 * i];
        PCRE2_SIZE end = groups[2 * i + 1];
        if (start == PCRE2_UNSET || end <= start)
            continue;
        if (pattern->groups[GROUP_QUANTITY] >> i & 1) {
            match->q_start = (uint32_t)start;
            match->q_end = (uint32_t)end;
        }
        if ((pattern->groups[GROUP_GAP] >> i & 1) && match->gap_count < MATCH_GAPS &&
            start >= match->start) {
            match->gaps[match->gap_count].start = (uint32_t)start;
            match->gaps[match->gap_count++].end = (uint32_t)end;
        }
    }
    match->over = took_part(groups, count, pattern->groups[GROUP_OVER]);
    match->under = took_part(groups, count, pattern->groups[GROUP_UNDER]);
}

static bool degree_at(const struct working *w, size_t at)
{
    return at + 1 < w->length && (unsigned char)w->bytes[at] == 0xC2 &&
           (unsigned char)w->bytes[at + 1] == 0xB0;
}

/* Whether a letter that is not ASCII hangs on a match; the pattern itself looks for the others. */
static bool cuts_word(const struct working *w, size_t start, size_t end)
{
    bool before = start && (unsigned char)w->bytes[start - 1] >= 0x80 &&
                  !(start > 1 && degree_at(w, start - 2));
    bool after = end < w->length && (unsigned char)w->bytes[end] >= 0x80 && !degree_at(w, end);
    return before || after;
}

static void take_match(struct job *job, const struct pattern *pattern, size_t count)
{
    const PCRE2_SIZE *groups = pcre2_get_ovector_pointer(job->reader->found);
    if (cuts_word(&job->working, groups[0], groups[1]) ||
        (pattern->phrase.role == ROLE_NUMBER &&
         !took_part(groups, count, pattern->groups[GROUP_QUANTITY])))
        return;
    struct match match = {
        .start = (uint32_t)groups[0], .end = (uint32_t)groups[1], .role = pattern->phrase.role};
    take_groups(&match, pattern, groups, count);
    for (const struct pattern *of = pattern;; of = &job->reader->patterns[of->same]) {
        match.observable = of->phrase.observable;
        match.item = of->phrase.item;
        match.asked = match.role <= ROLE_NUMBER && (int)match.observable == job->asked;
        *match_add(&job->matches) = match;
        if (of->same == NO_INDEX)
            return;
    }
}

static void run_pattern(struct job *job, struct pattern *pattern, uint32_t from, uint32_t to)
{
    struct reader *r = job->reader;
    const PCRE2_SIZE *groups = pcre2_get_ovector_pointer(r->found);
    const uint32_t options =
        PCRE2_NO_UTF_CHECK | PCRE2_NOTEMPTY | (to < r->clause.to ? PCRE2_NOTEOL : 0);
    int count = pattern_compile(r, pattern, NULL) ? 0 : PCRE2_ERROR_MATCHLIMIT;
    pattern->scanned += to - from;
    if (!pattern->translated && pattern->scanned >= TRANSLATE_AFTER && !count) {
        pattern->translated = pcre2_jit_compile(pattern->code, PCRE2_JIT_COMPLETE) == 0;
        pattern->scanned = 0; /* where that cannot be done it is not tried at each text */
    }
    pcre2_set_match_limit(r->limits, STEPS_FREE + STEPS_PER_BYTE * (to - from));
    for (PCRE2_SIZE at = from; at < to && count >= 0; at = groups[1]) {
        count = PCRE2_ERROR_MATCHLIMIT;
        if (++r->runs % WATCHED != 0 || !time_is_up(r))
            /* Called directly, the machine code spares what a match costs beside it. */
            count = (pattern->translated ? pcre2_jit_match : pcre2_match)(
                pattern->code, (PCRE2_SPTR)job->working.bytes, to, at, options, r->found,
                r->limits);
        if (count == PCRE2_ERROR_NOMEMORY)
            memory_exhausted();
        if (count == PCRE2_ERROR_NOMATCH || (count >= 0 && groups[1] <= at) ||
            (count >= 0 && groups[1] <= groups[0]))
            return; /* \K can put the start after the end; such a match says nothing */
        if (count >= 0)
            take_match(job, pattern, count ? (size_t)count : MATCH_GROUPS);
    }
    if (count >= 0)
        return;
    struct limit_hit *hit = arena_alloc(job->scratch, sizeof *hit);
    *hit = (struct limit_hit){&pattern->phrase, job->limits};
    job->limits = hit;
    pattern->stopped = r->scan; /* it is not run again in this text */
}

/* Notes the clause of a word, and the stems it holds. */
static void clause_note(struct job *job, size_t word)
{
    struct reader *r = job->reader;
    struct clause *clause = &r->clause;
    const char *bytes = job->working.bytes;
    size_t first = word, end = job->tokens[word].clause;
    if (clause->scan == r->scan && clause->end == end)
        return;
    while (first > 0 && job->tokens[first - 1].clause == end)
        first--;
    *clause = (struct clause){.scan = r->scan,
                              .number = clause->number + 1,
                              .first = (uint32_t)first,
                              .end = (uint32_t)end,
                              .from = job->tokens[first].start,
                              .to = clause_end(bytes, job->tokens[end - 1].end)};
    while (clause->from && bytes[clause->from - 1] != '\n')
        clause->from--;
    for (size_t i = first; i < end; i++) {
        const struct token *token = &job->tokens[i];
        uint32_t stem = token->stem;
        size_t figures = token->counts ? strspn(bytes + token->start, "0123456789") : 0;
        if (figures && figures < token->end - token->start) /* "15psi" holds "psi" */
            stem =
                stem_known(r, bytes + token->start + figures, token->end - token->start - figures);
        if (stem != NO_INDEX)
            r->stem_in[stem] = clause->number;
    }
}

/* Whether a quantity that the pattern asks for begins with one of these words of the clause. */
static bool quantity_is_there(struct job *job, const struct pattern *pattern, size_t first,
                              size_t last)
{
    enum dimension dimension = pattern->phrase.dimension;
    const struct clause *clause = &job->reader->clause;
    for (size_t i = first; i <= last; i++) {
        const struct token *token = &job->tokens[i];
        uint32_t at = token->start;
        while (!token->counts && at < token->end && !isdigit((unsigned char)job->working.bytes[at]))
            at++; /* to the 12 of "d12" */
        if (at < token->end && (!pattern->unit || token->units >> dimension & 1) &&
            quantity_at(job->working.bytes, clause->to, at, dimension, pattern->unit))
            return true;
    }
    return false;
}

void pattern_run(struct job *job, struct pattern *pattern, size_t word)
{
    struct reader *r = job->reader;
    const struct token *tokens = job->tokens;
    enum role role = pattern->phrase.role;
    if (((role == ROLE_YES || role == ROLE_NO) && job->asked == RULES_NONE) ||
        pattern->stopped == r->scan ||
        (pattern->scan == r->scan && tokens[word].end <= pattern->until))
        return;
    clause_note(job, word);
    uint32_t from = r->clause.from, to = r->clause.to;
    size_t first = r->clause.first, last = r->clause.end - 1;
    if (to - from > 2 * REACH) {
        first = last = word;
        while (first > r->clause.first && tokens[first - 1].start + REACH >= tokens[word].start)
            first--;
        while (last + 1 < r->clause.end && tokens[last + 1].end <= tokens[word].end + REACH)
            last++;
        from = tokens[first].start;
        to = tokens[last].end;
    }
    pattern->scan = r->scan;
    pattern->until = to;
    bool holds = !pattern->with; /* one of the words without which it does not match */
    for (size_t i = 0; i < pattern->with_count && !holds; i++)
        holds = r->stem_in[pattern->with[i]] == r->clause.number;
    /* Of what is longer than all that, a single word, it says nothing. */
    if (holds && to - from <= 4 * REACH &&
        (!pattern->gated || quantity_is_there(job, pattern, first, last)))
        run_pattern(job, pattern, from, to);
}

void patterns_run(struct job *job)
{
    for (size_t i = 0; i < job->reader->pattern_count && job->reader->everywhere; i++)
        for (size_t word = 0; job->reader->patterns[i].everywhere && word < job->token_count;
             word++)
            pattern_run(job, &job->reader->patterns[i], word);
}

/* ---- for `rules check` ------------------------------------------------------------------- */

/* Each phrase is tried on text made of its own letters, nearly matching again and again, which
 * drives a careless pattern to try every way of cutting it up. A sound one needs a few steps a
 * byte. */
enum { TRIAL_BYTES = 1024, TRIAL_STEPS = 60 * TRIAL_BYTES };

/* The letters of a pattern without its syntax. */
static void plain_letters(struct text *out, const struct phrase *pattern)
{
    static const char classes[] = "wSDsWd", samples[] = "aaa  1";
    bool name = false;
    for (const char *s = pattern->source + 1; *s; s++) {
        if (!strncmp(s, "{q}", 3) || !strncmp(s, "{n}", 3)) { /* "1 d", "1 kpa" */
            text_puts(out, "1 ");
            const bool measured = pattern->dimension < DIM_COUNT; /* not of a sign in words */
            for (const char *unit = measured ? dimension_units[pattern->dimension] : ""; *unit;
                 unit++)
                text_printf(out, "%c", *unit >= 'A' && *unit <= 'Z' ? *unit + 'a' - 'A' : *unit);
            s += 2;
        } else if (*s == '(') {
            s += strspn(s + 1, "?<=!:>|");
        } else if (*s == '{' || *s == '}') {
            name = *s == '{';
        } else if (*s == '\\' && s[1]) {
            const char *class = strchr(classes, *++s);
            text_add(out, class ? &samples[class - classes] : s, 1);
        } else if (*s == '|') {
            text_puts(out, " ");
        } else if (!name && !strchr(")[]?*+^$.<>", *s)) {
            text_add(out, s, 1);
        }
    }
}

/* Whether a pattern gives up on a text of `unit` again and again, followed by `end`. */
static bool gives_up(struct reader *reader, const struct pattern *pattern, const char *unit,
                     size_t length, const char *end, const struct text *letters)
{
    int count = 0;
    TEXT(text);
    while (length && text.length + length <= TRIAL_BYTES)
        text_add(&text, unit, length);
    text_puts(&text, end);
    text_add(&text, letters->bytes, letters->length);
    reader->scan++;
    for (size_t at = 0; at < text.length && count >= 0;) {
        count = pcre2_match(pattern->code, (PCRE2_SPTR)text.bytes, text.length, at,
                            PCRE2_NO_UTF_CHECK | PCRE2_NO_JIT, reader->found, reader->limits);
        size_t behind = pcre2_get_ovector_pointer(reader->found)[1];
        at = behind > at ? behind : at + 1;
    }
    return count < 0 && count != PCRE2_ERROR_NOMATCH;
}

void reader_check_patterns(struct reader *reader, struct diags *diags)
{
    /* Nothing matches the first, so hopes are disappointed: within a word, where no phrase may end,
     * or behind it. The letters behind keep PCRE2 from seeing at once that one is missing. */
    static const char *const ends[] = {"\x7F", "_\x7F"};
    pcre2_set_match_limit(reader->limits, TRIAL_STEPS);
    for (size_t i = 0; i < reader->pattern_count; i++) {
        struct pattern *pattern = &reader->patterns[i];
        if (!pattern_compile(reader, pattern, diags))
            continue;
        TEXT(letters);
        plain_letters(&letters, &pattern->phrase);
        const char *all = letters.bytes;
        size_t first = strcspn(all, " ");
        TEXT(word);
        text_printf(&word, "%.*s ", (int)first, all);
        const struct {
            const char *unit;
            size_t length;
        } bodies[] = {{all, letters.length},
                      {all, letters.length ? 1 : 0},
                      {all, first},
                      {word.bytes, first ? word.length : 0},
                      {"1 ", 2},
                      {"a", 1}};
        bool slow = false;
        for (size_t k = 0; k < 2 * sizeof bodies / sizeof *bodies && !slow; k++)
            slow = gives_up(reader, pattern, bodies[k / 2].unit, bodies[k / 2].length, ends[k % 2],
                            &letters);
        if (slow)
            diags_warn(diags, pattern->phrase.at,
                       "the pattern '%s' tries too many ways to match; let its repeated parts "
                       "begin with different letters",
                       pattern->phrase.source + 1);
    }
}
