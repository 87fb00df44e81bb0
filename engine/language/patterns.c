/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "language/reader_internal.h"

/* Quantities, and phrases that are patterns of PCRE2. */

/* ---- quantities -------------------------------------------------------------------------- */

/*
 * A pattern such as "soaked {q}" is compiled with two callouts where its quantity
 * stands: at the first quantity_end is asked whether one begins there, at the
 * second whether it ends there. So all phrases share one reader of quantities,
 * and what it found at a place is found once, however many phrases ask.
 */

/* A callout's number: whether a unit is demanded, of which dimension, at which end. */
enum { CALLOUT_FIRST = 1, CALLOUT_LAST = CALLOUT_FIRST + 4 * DIM_COUNT - 1 };

void next_scan(struct reader *reader)
{
    if (++reader->scan == 0) { /* once in four thousand million */
        memset(reader->memos, 0, sizeof reader->memos);
        reader->scan = 1;
    }
}

uint32_t quantity_end(struct reader *reader, const char *bytes, uint32_t to, uint32_t at,
                      enum dimension dimension, bool unit_required)
{
    /* Most places are told from the start of a quantity by their first byte. */
    if (at >= to || !bytes[at] || !strchr("0123456789abcdefhmnoqst+-.", bytes[at]))
        return 0;
    unsigned kind = 2u * (unsigned)dimension + unit_required;
    struct quantity_memo *memo = &reader->memos[(at * 8 + kind) % QUANTITY_MEMOS];
    if (memo->scan != reader->scan || memo->at != at || memo->kind != kind) {
        size_t length = quantity_at(bytes, to, at, dimension, unit_required);
        *memo = (struct quantity_memo){.scan = reader->scan,
                                       .at = at,
                                       .kind = kind,
                                       .end = length ? at + (uint32_t)length : 0};
    }
    return memo->end;
}

/* The callout of all matching; `data` is the reader. */
static int quantity_callout(pcre2_callout_block *block, void *data)
{
    struct reader *reader = data;
    if (block->callout_number < CALLOUT_FIRST || block->callout_number > CALLOUT_LAST)
        return 0; /* one of an author's own */
    unsigned bits = block->callout_number - CALLOUT_FIRST;
    uint32_t at = (uint32_t)block->current_position;
    if (bits & 1)
        return at != reader->quantity_end;
    reader->quantity_end =
        quantity_end(reader, (const char *)block->subject, (uint32_t)block->subject_length, at,
                     (enum dimension)(bits / 4), bits & 2);
    return reader->quantity_end == 0;
}

/* ---- patterns ---------------------------------------------------------------------------- */

/*
 * Most patterns have nothing to do with most texts. Which pairs of letters any match of one must hold
 * is read from it: one of a few sets, each a bit per pair, several pairs to a bit. What this does not
 * read makes it say less, never something wrong.
 */
enum { NEEDS_MOST = 24, ANY_DIGIT = '#' }; /* a pair of these stands for a digit, whichever */

struct needs {
    struct pairs sets[NEEDS_MOST];
    size_t count;
};

static void add_pair(struct pairs *set, char a, char b)
{
    unsigned bit = ((unsigned char)a * 31u + (unsigned char)b) % PAIR_BITS;
    set->bits[bit / 64] |= UINT64_C(1) << bit % 64;
}

static bool holds(const struct pairs *text, const struct pairs *need)
{
    for (size_t i = 0; i < PAIR_BITS / 64; i++)
        if ((text->bits[i] & need->bits[i]) != need->bits[i])
            return false;
    return true;
}

/* What all of the sets have in common, as one. */
static void make_common(struct needs *needs)
{
    for (size_t i = 1; i < needs->count; i++)
        for (size_t j = 0; j < PAIR_BITS / 64; j++)
            needs->sets[0].bits[j] &= needs->sets[i].bits[j];
    needs->count = needs->count ? 1 : 0;
}

/* One or the other. */
static void add_either(struct needs *sum, struct needs more)
{
    if (sum->count + more.count > NEEDS_MOST) {
        make_common(&more);
        if (sum->count == NEEDS_MOST)
            make_common(sum);
    }
    for (size_t i = 0; i < more.count; i++)
        sum->sets[sum->count++] = more.sets[i];
}

/* One and the other. */
static void add_both(struct needs *sum, struct needs more)
{
    if (sum->count * more.count > NEEDS_MOST)
        make_common(&more);
    struct needs product = {.count = sum->count * more.count};
    for (size_t i = 0; i < product.count; i++)
        for (size_t j = 0; j < PAIR_BITS / 64; j++)
            product.sets[i].bits[j] =
                sum->sets[i / more.count].bits[j] | more.sets[i % more.count].bits[j];
    *sum = product;
}

struct scanner {
    const char *at;
    bool lost;  /* something this does not read: nothing is known */
    bool doubt; /* PCRE2 may have something against it */
};

static const struct needs NOTHING = {.count = 1};

static struct needs needs_of_branch(struct scanner *s, unsigned depth);

static struct needs needs_of_alternatives(struct scanner *s, unsigned depth)
{
    struct needs all = needs_of_branch(s, depth);
    while (*s->at == '|' && !s->lost) {
        s->at++;
        add_either(&all, needs_of_branch(s, depth));
    }
    return all;
}

static struct needs needs_of_group(struct scanner *s, unsigned depth)
{
    bool ahead = !strncmp(s->at, "?=", 2); /* in the same clause; behind may be in the one before */
    bool around =
        ahead || !strncmp(s->at, "?!", 2) || !strncmp(s->at, "?<!", 3) || !strncmp(s->at, "?<=", 3);
    bool plain = *s->at != '?' || !strncmp(s->at, "?:", 2) || !strncmp(s->at, "?>", 2);
    s->lost = s->lost || (!around && !plain) || *s->at == '*' || depth > 40;
    s->doubt = s->doubt || !strncmp(s->at, "?<", 2); /* it may be too long to look behind */
    s->at += strspn(s->at, "?<:=!>");
    struct needs all = needs_of_alternatives(s, depth + 1);
    s->lost = s->lost || *s->at != ')';
    s->at += *s->at == ')';
    return around && !ahead ? NOTHING : all;
}

static bool is_alnum(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
}

/* Past a class, an escape, a quantity or a gap, whose letters are not known. */
static void skip_unknown(struct scanner *s, char c)
{
    if (c == '[') {
        s->at += *s->at == '^';
        s->doubt = s->doubt || *s->at == '-' || *s->at == ':' || *s->at == ']';
        for (; *s->at && *s->at != ']'; s->at += *s->at == '\\' && s->at[1] ? 2 : 1)
            s->doubt = s->doubt || *s->at == '[' || *s->at == '=' ||
                       (*s->at == '-' && s->at[1] != ']' &&
                        (!is_alnum(s->at[-1]) || s->at[-2] == '\\' || s->at[1] < s->at[-1]));
        s->lost = s->lost || !*s->at;
        s->at += *s->at == ']';
    } else if (c == '\\') {
        s->lost = s->lost || !*s->at || !strchr("wWsSdDbBK.-?+*()[]/^$|%n", *s->at);
        s->at += *s->at != '\0';
    } else if (c == '{') {
        size_t braces = !strncmp(s->at, "gap}", 4)                             ? 4
                        : !strncmp(s->at, "q}", 2) || !strncmp(s->at, "n}", 2) ? 2
                                                                               : 0;
        s->lost = s->lost || !braces;
        s->at += braces;
    }
}

static struct needs needs_of_branch(struct scanner *s, unsigned depth)
{
    struct needs all = NOTHING;
    char before = '\0'; /* the letter that any match has just before */
    while (*s->at && *s->at != '|' && *s->at != ')' && !s->lost) {
        struct needs one = NOTHING;
        char c = *s->at++;
        bool letter = is_alnum(c) || c == ' ';
        if (c == '(')
            one = needs_of_group(s, depth);
        else if (letter && before)
            add_pair(&one.sets[0], before, c);
        bool digit = c >= '0' && c <= '9';
        digit = digit || (c == '\\' && *s->at == 'd') ||
                (c == '[' && s->at[strspn(s->at, "0123456789-")] == ']');
        if (digit)
            add_pair(&one.sets[0], ANY_DIGIT, ANY_DIGIT);
        if (!letter && c != '(')
            skip_unknown(s, c);
        bool counted = *s->at == '{' && s->at[1] >= '0' && s->at[1] <= '9';
        bool repeated = counted || (*s->at && strchr("?*+", *s->at));
        if (*s->at != '?' && *s->at != '*' && !(counted && s->at[1] == '0'))
            add_both(&all, one);
        before = letter && !repeated ? c : '\0';
        /* Nothing to repeat, a count that falls, or repeats of repeats: for PCRE2 to judge. */
        bool spared = !counted || (s->at[2] == '}' || (s->at[2] == ',' && s->at[3] >= s->at[1] &&
                                                       s->at[3] <= '9' && s->at[4] == '}'));
        s->doubt = s->doubt || !spared || strchr("?*+", c) || (unsigned char)c >= 0x80 ||
                   (c >= 'A' && c <= 'Z') ||
                   (repeated && (strchr("^$", c) || strspn(s->at, "?*+") > 1));
        if (counted)
            s->at += strcspn(s->at, "}") + (strchr(s->at, '}') != NULL);
        s->at += strspn(s->at, "?*+");
    }
    return all;
}

/* `sure`: it is plain enough that it must compile. */
static struct needs needs_of_pattern(const char *source, bool *sure)
{
    struct scanner s = {.at = source};
    struct needs all = needs_of_alternatives(&s, 0);
    *sure = !s.lost && !s.doubt && !*s.at;
    return s.lost || *s.at ? NOTHING : all;
}

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
static void note_groups(struct phrase *pattern)
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
        uint32_t bit = number < MATCH_GROUPS ? UINT32_C(1) << number : 0;
        if (!strcmp(name, "q"))
            pattern->quantity |= bit;
        else if (!strcmp(name, "gap"))
            pattern->gap |= bit;
        else if (!strcmp(name, "over"))
            pattern->over |= bit;
        else if (!strcmp(name, "under"))
            pattern->under |= bit;
    }
}

static pcre2_code *compile(struct reader *reader, const char *source, bool capitals, int *error,
                           size_t *offset)
{
    uint32_t options = PCRE2_UTF | PCRE2_DUPNAMES | PCRE2_MULTILINE | PCRE2_NEVER_BACKSLASH_C;
    pcre2_code *code =
        pcre2_compile((PCRE2_SPTR)source, PCRE2_ZERO_TERMINATED,
                      options | (capitals ? PCRE2_CASELESS : 0), error, offset, reader->compiling);
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
    pcre2_code *code = compile(reader, shown, false, &own_error, &offset);
    bool placed = code == NULL;
    pcre2_code_free(code);
    PCRE2_UCHAR message[128] = "";
    pcre2_get_error_message(placed ? own_error : error, message, sizeof message);
    diags_error(diags, pattern->at, "the pattern '%s' does not compile: %s", shown,
                (const char *)message);
    if (placed)
        diags_excerpt(diags, shown, utf8_count(shown, offset) + 1);
}

/* Whether the pattern compiles; told in `diags`, unless NULL, if not. Word boundaries are put around
 * it. */
static bool pattern_compile(struct reader *reader, struct phrase *pattern, struct diags *diags)
{
    struct text source;
    int error = 0;
    size_t offset = 0;
    text_init(&source);
    text_puts(&source, "(?<!\\w)(?:");
    put_pattern(&source, reader, pattern);
    text_puts(&source, ")(?!\\w)");
    pattern->code = compile(reader, source.bytes, has_capital(pattern->source), &error, &offset);
    text_release(&source);
    if (!pattern->code) {
        if (diags)
            tell_fault(reader, pattern, error, diags);
        pattern->need_count = 0; /* no text will do */
        return false;
    }
    note_groups(pattern);
    if (pattern->role == ROLE_NUMBER && !pattern->quantity) {
        diags_error(diags, pattern->at,
                    "the pattern '%s' of a number holds no quantity; write {q} or {n} in it",
                    pattern->source + 1);
        return false;
    }
    return true;
}

void pattern_add(struct reader *reader, const struct phrase *phrase, struct diags *diags,
                 bool *wrong)
{
    if (phrase->role == ROLE_LIST || phrase->role == ROLE_OBJECTION) {
        diags_error(diags, phrase->at, "'%s' is a pattern; only words stand here",
                    phrase->source + 1);
        *wrong = true;
        return;
    }
    uint32_t number = phrase_new(reader, phrase);
    struct phrase *pattern = &reader->phrases[number];
    bool sure;
    struct needs needs = needs_of_pattern(pattern->source + 1, &sure);
    pattern->gated = strstr(pattern->source, "{q}") || strstr(pattern->source, "{n}");
    sure = sure && (pattern->gated || phrase->role != ROLE_NUMBER);
    if (!sure && !pattern_compile(reader, pattern, diags)) /* the others when they are first run */
        *wrong = true;
    struct pairs *sets = arena_array(reader->memory, needs.count, sizeof *sets);
    memcpy(sets, needs.sets, needs.count * sizeof *sets);
    pattern->needs = sets;
    pattern->need_count = needs.count;
    pattern->unit = strstr(pattern->source, "{n}") == NULL;
    *arena_push(reader->memory, reader->patterns, reader->pattern_count) = number;
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
}

void patterns_close(struct reader *reader)
{
    for (size_t i = 0; i < reader->pattern_count; i++)
        pcre2_code_free(reader->phrases[reader->patterns[i]].code);
    pcre2_match_data_free(reader->found);
    pcre2_match_context_free(reader->limits);
    pcre2_compile_context_free(reader->compiling);
}

/* ---- patterns in a text ------------------------------------------------------------------ */

/*
 * A pattern may take this many steps in all, and so many more per byte of text:
 * enough for any that moves on, far too few for one that backtracks without
 * end. Translating a pattern to machine code costs about as much as
 * interpreting it over TRANSLATE_AFTER bytes.
 */
enum {
    STEPS_FREE = 20000,
    STEPS_PER_BYTE = 60,
    DEPTH_LIMIT = 2000,
    HEAP_LIMIT_KIB = 1024,
    TRANSLATE_AFTER = 16 * 1024,
};

/* Whether one of the groups in `mask` took part in the match, which set `count` of them. */
static bool took_part(const PCRE2_SIZE *groups, size_t count, uint32_t mask)
{
    for (size_t i = 1; i < count; i++)
        if ((mask >> i & 1) && groups[2 * i] != PCRE2_UNSET)
            return true;
    return false;
}

static void take_groups(struct match *match, const struct phrase *pattern, const PCRE2_SIZE *groups,
                        size_t count)
{
    for (size_t i = 1; i < count; i++) {
        PCRE2_SIZE start = groups[2 * i];
        PCRE2_SIZE end = groups[2 * i + 1];
        if (start == PCRE2_UNSET || end <= start)
            continue;
        if (pattern->quantity >> i & 1) {
            match->q_start = (uint32_t)start;
            match->q_end = (uint32_t)end;
        }
        if ((pattern->gap >> i & 1) && match->gap_count < MATCH_GAPS && start >= match->start) {
            match->gaps[match->gap_count].start = (uint32_t)start;
            match->gaps[match->gap_count++].end = (uint32_t)end;
        }
    }
    match->over = took_part(groups, count, pattern->over);
    match->under = took_part(groups, count, pattern->under);
}

static void note_limit(struct job *job, const struct phrase *pattern)
{
    struct limit_hit *hit = arena_alloc(job->scratch, sizeof *hit);
    *hit = (struct limit_hit){pattern, job->limits};
    job->limits = hit;
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

static void take_match(struct job *job, const struct phrase *pattern, size_t count)
{
    const PCRE2_SIZE *groups = pcre2_get_ovector_pointer(job->reader->found);
    if (cuts_word(&job->working, groups[0], groups[1]) ||
        (pattern->role == ROLE_NUMBER && !took_part(groups, count, pattern->quantity)))
        return;
    struct match *match = match_add(&job->matches);
    match->start = (uint32_t)groups[0];
    match->end = (uint32_t)groups[1];
    match->role = pattern->role;
    match->observable = pattern->observable;
    match->item = pattern->item;
    match->asked = pattern->role <= ROLE_NUMBER && (int)pattern->observable == job->asked;
    take_groups(match, pattern, groups, count);
}

static void run_pattern(struct job *job, struct phrase *pattern, uint32_t from, uint32_t to)
{
    struct reader *r = job->reader;
    if (!pattern->code && !pattern_compile(r, pattern, NULL))
        return;
    pattern->scanned += to - from;
    if (!pattern->translated && pattern->scanned >= TRANSLATE_AFTER) {
        pattern->translated = true; /* tried once; without it matching is only slower */
        (void)pcre2_jit_compile(pattern->code, PCRE2_JIT_COMPLETE);
    }
    pcre2_set_match_limit(r->limits, STEPS_FREE + STEPS_PER_BYTE * (to - from));
    pcre2_set_depth_limit(r->limits, DEPTH_LIMIT);
    pcre2_set_heap_limit(r->limits, HEAP_LIMIT_KIB);
    for (PCRE2_SIZE at = from; at < to;) {
        int count = pcre2_match(pattern->code, (PCRE2_SPTR)job->working.bytes, to, at,
                                PCRE2_NO_UTF_CHECK | PCRE2_NOTEMPTY, r->found, r->limits);
        if (count == PCRE2_ERROR_NOMATCH)
            return;
        if (count == PCRE2_ERROR_NOMEMORY)
            memory_exhausted();
        if (count < 0) {
            note_limit(job, pattern);
            return;
        }
        const PCRE2_SIZE *groups = pcre2_get_ovector_pointer(r->found);
        if (groups[1] <= at || groups[1] <= groups[0])
            return; /* \K can put the start behind the end; such a match says nothing */
        at = groups[1];
        take_match(job, pattern, count ? (size_t)count : MATCH_GROUPS);
    }
}

/* Whether the clause holds a quantity as the pattern asks for; what is found is kept in `found`. */
static bool quantity_is_there(struct job *job, const struct phrase *pattern, uint32_t to,
                              size_t first, size_t end, signed char found[2 * DIM_COUNT])
{
    bool unit = pattern->unit;
    signed char *there = &found[2 * pattern->dimension + unit];
    for (size_t i = first; !*there && i < end; i++) {
        const struct token *token = &job->tokens[i];
        const char *word = job->working.bytes + token->start;
        uint32_t at = token->start; /* of "d12" the 12 */
        if (!token->counts)
            at += (uint32_t)strcspn(word, "0123456789 \n");
        if (at < token->end &&
            quantity_end(job->reader, job->working.bytes, to, at, pattern->dimension, unit))
            *there = 1;
    }
    *there = *there ? *there : -1;
    return *there > 0;
}

void patterns_run(struct job *job, uint32_t from, uint32_t to, size_t first, size_t end)
{
    signed char found[2 * DIM_COUNT] = {0};
    struct reader *r = job->reader;
    const char *bytes = job->working.bytes;
    struct pairs pairs = {0};
    for (uint32_t i = from; i < to; i++) {
        add_pair(&pairs, bytes[i], bytes[i + 1]);
        if (bytes[i] >= '0' && bytes[i] <= '9')
            add_pair(&pairs, ANY_DIGIT, ANY_DIGIT);
    }
    for (size_t i = 0; i < r->pattern_count; i++) {
        struct phrase *pattern = &r->phrases[r->patterns[i]];
        bool of_answers = pattern->role == ROLE_YES || pattern->role == ROLE_NO;
        if ((of_answers && job->asked == RULES_NONE) ||
            (pattern->gated && !quantity_is_there(job, pattern, to, first, end, found)))
            continue;
        size_t set = 0;
        while (set < pattern->need_count && !holds(&pairs, &pattern->needs[set]))
            set++;
        if (set < pattern->need_count)
            run_pattern(job, pattern, from, to);
    }
}

/* ---- for `rules check` ------------------------------------------------------------------- */

/*
 * Each phrase is tried on text made of its own letters, nearly matching again
 * and again, which is what drives a careless pattern to try every way of
 * cutting it up. A sound one needs a few steps per byte.
 */
enum {
    TRIAL_BYTES = 1024,
    TRIAL_STEPS = 60 * TRIAL_BYTES,
    TRIAL_BODIES = 6,
    TRIAL_KINDS = 2 * TRIAL_BODIES, /* each with two endings */
};

/* What stands for a class in the letters of a pattern. */
static char sample_of(char escape)
{
    switch (escape) {
    case 'w':
    case 'S':
    case 'D':
        return 'a';
    case 's':
    case 'W':
        return ' ';
    case 'd':
        return '1';
    default:
        return escape;
    }
}

/* The last byte of what opens a group, "(?:", "(?i:", "(?<=" and their like; of "(?<name>" and "("
 * only the part before the name. */
static const char *group_opening(const char *s)
{
    if (s[1] != '?')
        return s;
    s++;
    while (s[1] && strchr("imsxnJ-^", s[1]))
        s++;
    if (s[1] == '<' && (s[2] == '=' || s[2] == '!'))
        return s + 2;
    return s[1] && strchr(":=!>|", s[1]) ? s + 1 : s;
}

/* "1 d", "1 kpa", as folded text has it. */
static void put_sample_quantity(struct text *out, enum dimension dimension)
{
    text_puts(out, "1 ");
    for (const char *unit = dimension_unit(dimension); *unit; unit++) {
        char c = (char)(*unit >= 'A' && *unit <= 'Z' ? *unit + 'a' - 'A' : *unit);
        text_add(out, &c, 1);
    }
}

/* The letters of a pattern without its syntax. */
static void plain_letters(struct text *out, const struct phrase *pattern)
{
    bool name = false;
    for (const char *s = pattern->source + 1; *s; s++) {
        if (!strncmp(s, "{q}", 3) || !strncmp(s, "{n}", 3)) {
            put_sample_quantity(out, pattern->dimension);
            s += 2;
        } else if (*s == '(') {
            s = group_opening(s);
        } else if (*s == '<' || *s == '{') {
            name = true;
        } else if (*s == '>' || *s == '}') {
            name = false;
        } else if (*s == '\\' && s[1]) {
            char sample = sample_of(*++s);
            text_add(out, &sample, 1);
        } else if (*s == '|') {
            text_puts(out, " ");
        } else if (!name && !strchr(")[]?*+^$.", *s)) {
            text_add(out, s, 1);
        }
    }
}

static void repeat(struct text *out, const char *unit, size_t length)
{
    while (length && out->length + length <= TRIAL_BYTES)
        text_add(out, unit, length);
}

static void trial_text(struct text *out, int kind, const struct text *letters)
{
    size_t first = letters->length ? strcspn(letters->bytes, " ") : 0;
    text_clear(out);
    switch (kind % TRIAL_BODIES) {
    case 0:
        repeat(out, letters->bytes, letters->length);
        break;
    case 1:
        repeat(out, letters->bytes, letters->length ? 1 : 0);
        break;
    case 2:
        repeat(out, letters->bytes, first);
        break;
    case 3:
        for (size_t i = 0; first && i < TRIAL_BYTES / (first + 1); i++) {
            text_add(out, letters->bytes, first);
            text_puts(out, " ");
        }
        break;
    case 4:
        repeat(out, "1 ", 2);
        break;
    default:
        repeat(out, "a", 1);
    }
    /* Nothing matches the first, so hopes are disappointed: in the middle of a word, where no phrase
     * may end, or behind it. The rest keeps PCRE2 from seeing at once that a letter it needs is
     * missing. */
    text_puts(out, kind < TRIAL_BODIES ? "\x7F" : "_\x7F");
    text_add(out, letters->bytes, letters->length);
}

static bool gives_up(struct reader *reader, const struct phrase *pattern, const struct text *text)
{
    size_t at = 0;
    next_scan(reader);
    while (at < text->length) {
        int count = pcre2_match(pattern->code, (PCRE2_SPTR)text->bytes, text->length, at,
                                PCRE2_NO_UTF_CHECK | PCRE2_NO_JIT, reader->found, reader->limits);
        if (count < 0)
            return count != PCRE2_ERROR_NOMATCH;
        size_t end = pcre2_get_ovector_pointer(reader->found)[1];
        at = end > at ? end : at + 1;
    }
    return false;
}

struct trial { /* what patterns are tried with */
    struct reader *reader;
    struct diags *diags;
    struct text letters, text;
};

static void try_out(struct trial *trial, struct phrase *pattern)
{
    if (!pattern->code && !pattern_compile(trial->reader, pattern, trial->diags))
        return;
    text_clear(&trial->letters);
    plain_letters(&trial->letters, pattern);
    bool slow = false;
    for (int kind = 0; kind < TRIAL_KINDS && !slow; kind++) {
        trial_text(&trial->text, kind, &trial->letters);
        slow = gives_up(trial->reader, pattern, &trial->text);
    }
    if (slow)
        diags_warn(trial->diags, pattern->at,
                   "the pattern '%s' tries too many ways to match; let its repeated parts "
                   "begin with different letters",
                   pattern->source + 1);
}

void reader_check_patterns(struct reader *reader, struct diags *diags)
{
    struct trial trial = {.reader = reader, .diags = diags};
    text_init(&trial.letters);
    text_init(&trial.text);
    pcre2_set_match_limit(reader->limits, TRIAL_STEPS);
    for (size_t i = 0; i < reader->pattern_count; i++)
        try_out(&trial, &reader->phrases[reader->patterns[i]]);
    text_release(&trial.letters);
    text_release(&trial.text);
}
