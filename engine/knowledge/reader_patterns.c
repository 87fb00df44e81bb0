/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Phrases -> compiled patterns and single words. */
#include <string.h>

#include "base/text.h"
#include "knowledge/reader_internal.h"

/* ---- one pattern ------------------------------------------------------------------------- */

static bool has_capital(const char *source)
{
    for (const char *s = source; *s; s++)
        if (((*s >= 'A' && *s <= 'Z') || (unsigned char)*s >= 0x80) &&
            (s == source || s[-1] != '\\'))
            return true;
    return false;
}

static const char OPENING[] = "(?<q>";

/* Word boundaries around, and what may stand before a quantity in front of every one. */
static char *dressed(const struct reader *reader, const struct pattern *pattern,
                     struct arena *arena)
{
    struct text text;
    const char *source = pattern->source;
    text_init(&text);
    text_puts(&text, "(?<!\\w)(?:");
    for (const char *q = strstr(source, OPENING); q; q = strstr(source, OPENING)) {
        bool unit_required;
        size_t macro = pattern->dimension < DIM_COUNT ? quantity_macro(q, &unit_required) : 0;
        text_add(&text, source, (size_t)(q - source));
        text_puts(&text, reader->quantity_prefix);
        if (macro)
            quantity_put(&text, pattern->dimension, unit_required);
        else
            text_puts(&text, OPENING);
        source = q + (macro ? macro : sizeof OPENING - 1);
    }
    text_puts(&text, source);
    text_puts(&text, ")(?!\\w)");
    char *copy = text.failed ? NULL : arena_copy(arena, text.bytes, text.length);
    text_release(&text);
    return copy;
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
    return pcre2_compile((PCRE2_SPTR)source, PCRE2_ZERO_TERMINATED,
                         options | (capitals ? PCRE2_CASELESS : 0), error, offset,
                         reader->compiling);
}

/* Of what PCRE2 says when it does not compile a pattern: the fault is not the pattern's. */
static bool out_of_memory(int error)
{
    return error == PCRE2_ERROR_HEAP_FAILED || error == PCRE2_ERROR_NOMEMORY;
}

/* The fault is looked for again in what the author wrote, so that the caret stands right: there
 * {q} is as good as any three letters. */
static enum status tell_fault(struct reader *reader, const struct pattern *pattern, int error,
                              struct diags *diags)
{
    int own_error = 0;
    size_t offset = 0;
    char *shown = quantities_as_written(pattern->source, reader->scratch);
    if (!shown)
        return STATUS_MEMORY;
    pcre2_code *code = compile(reader, shown, false, &own_error, &offset);
    bool placed = code == NULL;
    pcre2_code_free(code);
    PCRE2_UCHAR message[128] = "";
    pcre2_get_error_message(placed ? own_error : error, message, sizeof message);
    diags_error(diags, pattern->at, "the pattern '%s' does not compile: %s", shown,
                (const char *)message);
    if (placed)
        diags_excerpt(diags, shown, utf8_count(shown, offset) + 1);
    return STATUS_DATA;
}

/* Compiles the pattern; `error` is PCRE2's when there is no code afterwards. */
static enum status compile_dressed(struct reader *reader, struct pattern *pattern, int *error)
{
    size_t offset = 0;
    char *source = dressed(reader, pattern, reader->scratch);
    if (!source)
        return STATUS_MEMORY;
    pattern->code = compile(reader, source, has_capital(pattern->source), error, &offset);
    if (!pattern->code)
        return out_of_memory(*error) ? STATUS_MEMORY : STATUS_INTERNAL;
    note_groups(pattern);
    return STATUS_OK;
}

enum status pattern_try(struct reader *reader, struct pattern *pattern, struct diags *diags)
{
    int error = 0;
    enum status status = compile_dressed(reader, pattern, &error);
    if (status == STATUS_INTERNAL)
        return tell_fault(reader, pattern, error, diags);
    if (status == STATUS_OK && pattern->role == ROLE_NUMBER && !pattern->quantity) {
        diags_error(diags, pattern->at,
                    "the phrase '%s' of a number holds no quantity; write {q} or {n} in it",
                    pattern->source);
        return STATUS_DATA;
    }
    return status;
}

enum status pattern_ready(struct reader *reader, struct pattern *pattern)
{
    int error = 0;
    /* It was sure to compile; only memory can be short. */
    return pattern->code ? STATUS_OK : compile_dressed(reader, pattern, &error);
}

static struct pattern *pattern_new(struct reader *reader)
{
    if (reader->pattern_count == reader->pattern_room) {
        size_t room = reader->pattern_room ? reader->pattern_room * 2 : 512;
        struct pattern *grown = arena_grow(reader->memory, reader->patterns, reader->pattern_count,
                                           room, sizeof *grown);
        if (!grown)
            return NULL;
        reader->patterns = grown;
        reader->pattern_room = room;
    }
    return &reader->patterns[reader->pattern_count++];
}

/* ---- from the rules ---------------------------------------------------------------------- */

struct source_list { /* the phrases of one thing */
    struct phrases phrases;
    enum role role;
    size_t observable, item;
};

static bool all_single_words(const struct literals *literals)
{
    if (!literals->exact || !literals->plain)
        return false;
    for (size_t i = 0; i < literals->whole.count; i++)
        for (uint32_t j = 0; j < literals->whole.items[i].length; j++) {
            char c = literals->whole.items[i].text[j];
            if (!((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '\''))
                return false;
        }
    return true;
}

static bool add_words(struct reader *reader, const struct literals *literals, enum role role)
{
    for (size_t i = 0; i < literals->whole.count; i++) {
        const struct literal_text *item = &literals->whole.items[i];
        if (!item->length)
            continue;
        struct lexeme *lexeme = lexicon_add(&reader->lexicon, item->text, item->length);
        if (!lexeme)
            return false;
        lexeme->roles |= UINT32_C(1) << role;
    }
    return true;
}

/* A phrase becomes words of the lexicon when it is no more than that, else a pattern. */
static enum status add_phrase(struct reader *reader, const struct source_list *list, size_t index,
                              struct diags *diags)
{
    const char *source = list->phrases.list[index];
    struct literals literals;
    /* Words that need no understanding need not be understood when mistyped. */
    struct lexicon *lexicon = list->role <= ROLE_HEDGE ? &reader->lexicon : NULL;
    if (!literals_find(source, reader->scratch, lexicon, &literals) || reader->lexicon.failed)
        return STATUS_MEMORY;
    if (list->role > ROLE_STATEMENT && all_single_words(&literals))
        return add_words(reader, &literals, list->role) ? STATUS_OK : STATUS_MEMORY;
    if (list->role == ROLE_OBJECTION) {
        diags_error(diags, list->phrases.at ? list->phrases.at[index] : (struct position){0},
                    "'%s' is more than a word; only single words stand under 'objections'", source);
        return STATUS_DATA;
    }
    uint32_t number = (uint32_t)reader->pattern_count;
    struct pattern *pattern = pattern_new(reader);
    if (!pattern)
        return STATUS_MEMORY;
    *pattern = (struct pattern){
        .source = source, .role = list->role, .item = list->item, .observable = list->observable};
    pattern->dimension = pattern->gate = DIM_COUNT;
    if (list->phrases.at)
        pattern->at = list->phrases.at[index];
    if (list->role <= ROLE_NUMBER)
        pattern->dimension = reader->rules->observables[list->observable].dimension;
    if (list->role == ROLE_NUMBER && strstr(source, QUANTITY_WITH_UNIT))
        pattern->gate = pattern->dimension;
    bool sure = literals.sound && (list->role != ROLE_NUMBER || strstr(source, OPENING));
    enum status status = sure ? STATUS_OK : pattern_try(reader, pattern, diags);
    if (status != STATUS_OK)
        return status;
    return prefilter_add(&reader->prefilter, reader->gathering, reader->memory, number, &literals)
               ? STATUS_OK
               : STATUS_MEMORY;
}

/* Goes on after a pattern that does not compile, so that all of them are told at once. */
static enum status add_phrases(struct reader *reader, struct source_list list, struct diags *diags)
{
    enum status worst = STATUS_OK;
    for (size_t i = 0; i < list.phrases.count; i++) {
        enum status status = add_phrase(reader, &list, i, diags);
        if (status == STATUS_MEMORY)
            return status;
        if (status != STATUS_OK)
            worst = status;
    }
    arena_reset(reader->scratch);
    return worst;
}

static enum status add_observable(struct reader *reader, size_t index, struct diags *diags)
{
    const struct observable *o = &reader->rules->observables[index];
    enum status worst =
        add_phrases(reader, (struct source_list){o->phrases, ROLE_NUMBER, index, 0}, diags);
    for (size_t i = 0; i < o->value_count && worst != STATUS_MEMORY; i++) {
        const struct value *v = &o->values[i];
        enum status status =
            add_phrases(reader, (struct source_list){v->phrases, ROLE_VALUE, index, i}, diags);
        if (status != STATUS_OK)
            worst = status;
    }
    return worst;
}

static enum status add_language(struct reader *reader, struct diags *diags)
{
    const struct language *l = &reader->rules->language;
    const struct source_list lists[] = {
        {l->negations, ROLE_NEGATION, 0, 0},
        {l->hedges, ROLE_HEDGE, 0, 0},
        {l->breaks, ROLE_BREAK, 0, 0},
        {l->exceptions, ROLE_EXCEPTION, 0, 0},
        {l->alternatives, ROLE_OR, 0, 0},
        {l->additions, ROLE_AND, 0, 0},
        {l->objections, ROLE_OBJECTION, 0, 0},
        {l->ignore, ROLE_IGNORE, 0, 0},
        {l->yes, ROLE_YES, 0, 0},
        {l->no, ROLE_NO, 0, 0},
    };
    enum status worst = STATUS_OK;
    for (size_t i = 0; i < sizeof lists / sizeof *lists && worst != STATUS_MEMORY; i++) {
        enum status status = add_phrases(reader, lists[i], diags);
        if (status != STATUS_OK)
            worst = status;
    }
    for (size_t i = 0; i < l->statement_count && worst != STATUS_MEMORY; i++) {
        const struct statement *s = &l->statements[i];
        enum status status =
            add_phrases(reader, (struct source_list){s->phrases, ROLE_STATEMENT, 0, i}, diags);
        if (status != STATUS_OK)
            worst = status;
    }
    return worst;
}

/* The words of quantities, which stand in no phrase. */
static bool learn_quantities(struct reader *reader)
{
    const char *word;
    for (size_t i = 0; (word = quantity_word(i)); i++)
        lexicon_learn(&reader->lexicon, word, strlen(word));
    return !reader->lexicon.failed;
}

static bool add_spared(struct reader *reader)
{
    const struct language *l = &reader->rules->language;
    for (size_t i = 0; i < l->spared.count; i++) {
        struct literals literals;
        if (!literals_find(l->spared.list[i], reader->scratch, NULL, &literals))
            return false;
        for (size_t j = 0; literals.exact && j < literals.whole.count; j++) {
            const struct literal_text *item = &literals.whole.items[j];
            struct lexeme *lexeme = lexicon_add(&reader->lexicon, item->text, item->length);
            if (!lexeme)
                return false;
            lexeme->spared = true;
        }
    }
    return true;
}

/* One of these, as an alternative to what stands before. */
static void put_list(struct text *text, const char *open, const struct phrases *phrases)
{
    if (phrases->count && text->bytes[text->length - 1] == ')')
        text_puts(text, "|");
    for (size_t i = 0; i < phrases->count; i++)
        text_printf(text, "%s%s", i ? "|" : open, phrases->list[i]);
    text_puts(text, phrases->count ? ")" : "");
}

/* "about", "at least", "under", all optional, as PCRE2 has them. */
static bool build_prefix(struct reader *reader)
{
    const struct language *l = &reader->rules->language;
    struct text text;
    text_init(&text);
    if (l->over.count || l->under.count || l->about.count) {
        text_puts(&text, "(?:(?:");
        put_list(&text, "(?<over>", &l->over);
        put_list(&text, "(?<under>", &l->under);
        put_list(&text, "(?:", &l->about);
        text_puts(&text, ") ?){0,2}");
    }
    reader->quantity_prefix =
        text.failed ? NULL : arena_copy(reader->memory, text.length ? text.bytes : "", text.length);
    text_release(&text);
    return reader->quantity_prefix != NULL;
}

/* All the phrases; what they cannot do without is gathered. */
static enum status add_all(struct reader *reader, struct diags *diags)
{
    enum status worst = STATUS_OK;
    for (size_t i = 0; i < reader->rules->observable_count && worst != STATUS_MEMORY; i++) {
        enum status status = add_observable(reader, i, diags);
        if (status != STATUS_OK)
            worst = status;
    }
    if (worst == STATUS_MEMORY)
        return worst;
    enum status status = add_language(reader, diags);
    if (status != STATUS_OK)
        return status;
    return add_spared(reader) && learn_quantities(reader) ? worst : STATUS_MEMORY;
}

enum status patterns_build(struct reader *reader, struct diags *diags)
{
    struct arena *gathered = arena_new(NULL);
    enum status status = STATUS_MEMORY;
    if (gathered && build_prefix(reader) && (reader->gathering = prefilter_begin(gathered)))
        status = add_all(reader, diags);
    if (status == STATUS_OK) {
        reader->states = arena_array(reader->memory, reader->pattern_count, sizeof *reader->states);
        if (!reader->states ||
            !prefilter_finish(&reader->prefilter, reader->gathering, reader->memory))
            status = STATUS_MEMORY;
    }
    reader->gathering = NULL;
    arena_free(gathered);
    return status;
}
