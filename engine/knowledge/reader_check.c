/* SPDX-License-Identifier: GPL-3.0-or-later */
/* For `rules check`: finds phrases that backtrack without end before a sentence does. */
#include <string.h>

#include "base/text.h"
#include "knowledge/reader_internal.h"

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
static void plain_letters(struct text *out, const struct pattern *pattern)
{
    bool name = false;
    bool unit_required;
    for (const char *s = pattern->source; *s; s++) {
        size_t macro = quantity_macro(s, &unit_required);
        if (macro) {
            put_sample_quantity(out, pattern->dimension);
            s += macro - 1;
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
    while (length && !out->failed && out->length + length <= TRIAL_BYTES)
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

static bool gives_up(struct reader *reader, const struct pattern *pattern, const struct text *text)
{
    size_t at = 0;
    reader_next_scan(reader);
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

static void try_out(struct trial *trial, struct pattern *pattern)
{
    enum status status = pattern_ready(trial->reader, pattern);
    if (status == STATUS_INTERNAL) /* taken for sound, but it is not */
        status = pattern_try(trial->reader, pattern, trial->diags);
    if (status != STATUS_OK)
        return;
    text_clear(&trial->letters);
    plain_letters(&trial->letters, pattern);
    bool slow = false;
    for (int kind = 0; kind < TRIAL_KINDS && !slow; kind++) {
        trial_text(&trial->text, kind, &trial->letters);
        slow = !trial->text.failed && gives_up(trial->reader, pattern, &trial->text);
    }
    const char *shown =
        slow ? quantities_as_written(pattern->source, trial->reader->scratch) : NULL;
    if (shown)
        diags_warn(trial->diags, pattern->at,
                   "the pattern '%s' tries too many ways to match; let its repeated parts "
                   "begin with different letters",
                   shown);
}

/* What may stand before a quantity is part of the phrases that hold one; here each is tried by itself,
 * so that it is told where it stands. */
static void try_list(struct trial *trial, const struct phrases *phrases)
{
    for (size_t i = 0; i < phrases->count && !trial->text.failed; i++) {
        struct pattern pattern = {
            .source = phrases->list[i], .role = ROLE_IGNORE, .dimension = DIM_COUNT};
        if (phrases->at)
            pattern.at = phrases->at[i];
        try_out(trial, &pattern);
        pcre2_code_free(pattern.code);
    }
}

void reader_check_patterns(struct reader *reader, struct diags *diags)
{
    const struct language *l = &reader->rules->language;
    struct trial trial = {.reader = reader, .diags = diags};
    text_init(&trial.letters);
    text_init(&trial.text);
    pcre2_set_match_limit(reader->limits, TRIAL_STEPS);
    try_list(&trial, &l->over);
    try_list(&trial, &l->under);
    try_list(&trial, &l->about);
    for (size_t i = 0; i < reader->pattern_count && !trial.letters.failed && !trial.text.failed;
         i++)
        try_out(&trial, &reader->patterns[i]);
    text_release(&trial.letters);
    text_release(&trial.text);
}
