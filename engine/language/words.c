/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "language/words.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/filing.h"
#include "base/rows.h"
#include "language/phrases.h"

enum {
    TEXTS_FEW = 100,
    TERM_MOST = 63,        /* bytes of a term; longer ones are no words */
    TERMS_MOST = 2000,     /* of one text; what follows is left out */
    TABLE_MOST = 16 << 20, /* bytes of a table */
    KEPT_MOST = 1 << 17,   /* words that are remembered from text to text */
    PARTS = 20,            /* a text counts as so many; its findings share them */
    REACH = 3,             /* words that a negation reaches */
    MET_MOST = 1 << 18,    /* terms, likewise */
};

/* ---- labels ---------------------------------------------------------------------------------- */

/* What texts are labelled with: findings, by status and group, or causes, which have neither. */
struct labels {
    const struct rules *rules;
    enum word_labels kind;
    const char *head; /* of a table */
    size_t count;
    struct label {
        const char *id;
        size_t status;
        bool contaminated;
    } * list;
};

static struct labels labels_of(const struct rules *rules, enum word_labels kind,
                               struct arena *arena)
{
    const bool causes = kind == LABELS_CAUSES;
    struct labels labels = {.rules = rules,
                            .kind = kind,
                            .head = causes ? "causes\t" : "findings\t",
                            .count = causes ? rules->cause_count : rules->finding_count};
    labels.list = arena_array(arena, labels.count, sizeof *labels.list);
    for (size_t i = 0; i < labels.count; i++) {
        const enum finding_status status = causes ? FINDING_CLEAN : rules->findings[i].status;
        labels.list[i] = (struct label){causes ? rules->causes[i].id : rules->findings[i].id,
                                        status, status == FINDING_CONTAMINATED};
    }
    return labels;
}

/* ---- words ----------------------------------------------------------------------------------- */

struct entry { /* of a word */
    struct named word;
    const char *key;   /* as it is counted: its stem, or the bin of a figure */
    uint64_t hash;     /* of that */
    bool denies, ends; /* it begins what a negation reaches, or ends it */
    uint32_t kind;     /* the entry of its kind, "=green"; its own number when it has none */
    const bool *names; /* for each finding: it is among its names; NULL for none */
};

struct lexicon { /* each word that was met, stemmed once */
    const struct rules *rules;
    struct arena *arena;
    struct sb_stemmer *stemmer;
    struct interned words;
    struct interned kind_stems; /* entries of stems that belong to a kind */
    uint64_t letters;           /* of words that have been looked for among the kinds */
    uint32_t first_kind;        /* its entry; the others follow */
    struct text folded;         /* the text that is being cut */
};

/* A word of a text. */
struct piece {
    uint32_t entry, kind; /* and the entry of its kind */
    bool denied;          /* a negation reaches it */
    bool follows;         /* on the piece before it, within their clause */
    size_t at, length;    /* in the folded text */
};

static struct entry *entry_add(struct lexicon *lexicon, const char *word, size_t length)
{
    uint32_t index = interned_add(&lexicon->words, word, length);
    struct entry *entry = &lexicon->words.entries[index];
    entry->key = entry->word.text;
    entry->hash = hash_of(word, length);
    entry->kind = index;
    return entry;
}

/* The single words that deny what follows, and those that end their reach. */
static void turners_add(struct lexicon *lexicon, const struct phrases *phrases, bool denies)
{
    for (size_t i = 0; i < phrases->count; i++) {
        const char *word = phrases->list[i];
        if (strchr(word, ' ') != NULL ||
            interned_find(&lexicon->words, word, strlen(word)) != NO_INDEX)
            continue;
        struct entry *entry = entry_add(lexicon, word, strlen(word));
        entry->denies = denies;
        entry->ends = !denies;
    }
}

/* A bit for the first two letters of a word, which its stem has, too (but for "dying", "lying" and "tying"). */
static uint64_t letters_of(const char *word, size_t length)
{
    return UINT64_C(1) << ((5 * word[0] + (length > 1 ? word[1] : 0)) & 63);
}

/*
 * Learns which stems belong to kinds, of the words that begin as `word` does. A kind is a list of words
 * apart by spaces, the first of which names it; a word of several kinds is of the first.
 */
static void kinds_learn(struct lexicon *lexicon, const char *word, size_t length)
{
    const struct phrases *kinds = &lexicon->rules->language.kinds;
    const uint64_t letters = letters_of(word, length);
    if (lexicon->letters & letters)
        return;
    lexicon->letters |= letters;
    for (size_t i = 0; i < kinds->count; i++)
        for (const char *at = kinds->list[i], *end; *at != '\0'; at = end + (*end == ' ')) {
            for (end = at; *end != '\0' && *end != ' ';)
                end++;
            size_t size = (size_t)(end - at);
            if (size == 0 || (letters_of(at, size) & letters) == 0)
                continue;
            const size_t count = lexicon->kind_stems.count;
            const char *stem = stem_of(lexicon->stemmer, at, &size);
            if (interned_add(&lexicon->kind_stems, stem, size) == count)
                lexicon->kind_stems.entries[count].kind = lexicon->first_kind + (uint32_t)i;
        }
}

/* Knows the turners and kinds, and nothing else. */
static void lexicon_clear(struct lexicon *lexicon)
{
    arena_reset(lexicon->arena);
    lexicon->words = (struct interned){.memory = lexicon->arena, .size = sizeof(struct entry)};
    lexicon->kind_stems = lexicon->words;
    const struct language *language = &lexicon->rules->language;
    turners_add(lexicon, &language->negations, true);
    turners_add(lexicon, &language->breaks, false);
    lexicon->letters = 0;
    lexicon->first_kind = (uint32_t)lexicon->words.count;
    for (size_t i = 0; i < language->kinds.count; i++) {
        char name[TERM_MOST + 1];
        const char *list = language->kinds.list[i];
        const int length = snprintf(name, sizeof name, "=%.*s", (int)strcspn(list, " "), list);
        entry_add(lexicon, name, (size_t)length < sizeof name ? (size_t)length : sizeof name - 1);
    }
}

/* To be cleared before it is used. */
static void lexicon_init(struct lexicon *lexicon, const struct rules *rules)
{
    *lexicon = (struct lexicon){
        .rules = rules, .arena = arena_new(), .stemmer = sb_stemmer_new("english", NULL)};
    if (lexicon->stemmer == NULL)
        memory_exhausted(); /* it knows English; nothing else can be wrong */
    text_init(&lexicon->folded);
}

static void lexicon_release(struct lexicon *lexicon)
{
    text_release(&lexicon->folded);
    sb_stemmer_delete(lexicon->stemmer);
    arena_free(lexicon->arena);
}

static bool is_word_byte(char c)
{
    return (c >= 'a' && c <= 'z') || (unsigned char)c >= 0x80;
}

/* Which findings have the word among their names, written there with a capital; NULL when none has. */
static const bool *named_by(const struct lexicon *lexicon, const char *word, size_t length)
{
    enum { SHORTEST = 5 }; /* of names: "T." of "T. harzianum" is none */
    bool *names = NULL;
    for (size_t f = 0; length >= SHORTEST && f < lexicon->rules->finding_count; f++) {
        const char *at = lexicon->rules->findings[f].also;
        for (; at != NULL && (at = strchr(at, word[0] - 'a' + 'A')) != NULL; at++)
            if (strncmp(at + 1, word + 1, length - 1) == 0 && !is_word_byte(at[length])) {
                names = names != NULL ? names
                                      : arena_array(lexicon->arena, lexicon->rules->finding_count,
                                                    sizeof *names);
                names[f] = true;
            }
    }
    return names;
}

static uint32_t entry_of(struct lexicon *lexicon, const char *word, size_t length)
{
    uint32_t known = interned_find(&lexicon->words, word, length);
    if (known != NO_INDEX)
        return known;
    struct entry *entry = entry_add(lexicon, word, length);
    entry->denies = length > 3 && memcmp(word + length - 3, "n't", 3) == 0;
    entry->names = named_by(lexicon, word, length);
    if (!entry->denies && *word != '#') {
        kinds_learn(lexicon, word, length);
        const char *stem = stem_of(lexicon->stemmer, word, &length);
        entry->key = arena_copy(lexicon->arena, stem, length);
        entry->hash = hash_of(entry->key, length);
        known = interned_find(&lexicon->kind_stems, entry->key, length);
        entry->kind = known != NO_INDEX ? lexicon->kind_stems.entries[known].kind : entry->kind;
    }
    return (uint32_t)lexicon->words.count - 1;
}

/* Figures are told apart by size only: a day 12 is like a day 13, and neither is like "60 %". */
static const char *figure_bin(double figure)
{
    static const struct {
        double most;
        const char *term;
    } BINS[] = {{0, "#0"}, {3, "#1-3"}, {9, "#4-9"}, {20, "#10-20"}, {60, "#21-60"}};

    for (size_t i = 0; i < sizeof BINS / sizeof *BINS; i++)
        if (figure <= BINS[i].most)
            return BINS[i].term;
    return "#61+";
}

/* Bytes of the word at `at`, inner apostrophes included. */
static size_t word_bytes(const char *at, size_t left)
{
    size_t used = 0;
    while (used < left &&
           (is_word_byte(at[used]) ||
            (at[used] == '\'' && used > 0 && used + 1 < left && is_word_byte(at[used + 1]))))
        used++;
    return used;
}

/* Cuts a text into pieces, from `arena`. */
static struct piece *cut(struct lexicon *lexicon, const char *text, size_t length,
                         struct arena *arena, size_t *count)
{
    struct piece *pieces = NULL;
    int reach = 0; /* words that the last negation still reaches */
    bool follows = false;

    text_clear(&lexicon->folded);
    text_fold(&lexicon->folded, text, length, NULL);
    const char *folded = lexicon->folded.bytes;
    length = lexicon->folded.length;
    *count = 0;
    for (size_t at = 0; at < length && *count < TERMS_MOST;) {
        struct piece piece = {.denied = reach > 0, .follows = follows, .at = at};
        if (folded[at] >= '0' && folded[at] <= '9') {
            char *end;
            const char *bin = figure_bin(strtod(folded + at, &end));
            piece.entry = entry_of(lexicon, bin, strlen(bin));
            piece.length = (size_t)(end - folded) - at;
        } else if ((piece.length = word_bytes(folded + at, length - at)) > 0) {
            piece.entry =
                entry_of(lexicon, folded + at, piece.length < TERM_MOST ? piece.length : TERM_MOST);
        } else {
            if (strchr(".,;:!?()\n", folded[at]) != NULL ||
                (folded[at] == '-' && at > 0 && strchr(" -", folded[at - 1]) != NULL)) {
                follows = false;
                reach = 0;
            }
            at++;
            continue;
        }
        const struct entry *entry = &lexicon->words.entries[piece.entry];
        reach -= piece.denied;
        if (entry->denies || entry->ends) {
            reach = entry->denies ? REACH : 0;
            piece.denied = false;
        }
        follows = true;
        at += piece.length;
        piece.kind = entry->kind;
        *arena_push(arena, pieces, *count) = piece;
    }
    return pieces;
}

struct term {                  /* of a text */
    const struct piece *first; /* NULL for a term of one piece */
    const struct piece *piece;
    bool kind;               /* both are counted by their kind */
    struct weighed *weighed; /* what the tables say of it */
};

static const struct entry *entry_at(const struct lexicon *lexicon, const struct piece *piece,
                                    bool kind)
{
    return &lexicon->words.entries[kind ? piece->kind : piece->entry];
}

/* A term from the hashes of its keys, each with whether it is denied; `first` is 0 for a term of one. */
static uint64_t term_hash(uint64_t first, uint64_t second)
{
    return (first * UINT64_C(0xC2B2AE3D27D4EB4F) ^ second) * UINT64_C(0x9E3779B97F4A7C15);
}

/* A term as it is written: "!green patch". False when it is too long to be one. */
static bool term_write(const struct lexicon *lexicon, const struct term *of,
                       char term[TERM_MOST + 1])
{
    size_t length = 0;
    for (const struct piece *p = of->first != NULL ? of->first : of->piece; p <= of->piece; p++) {
        const char *key = entry_at(lexicon, p, of->kind)->key;
        const size_t more = strlen(key);
        if (length + more + 2 > TERM_MOST)
            return false;
        if (length > 0)
            term[length++] = ' ';
        if (p->denied)
            term[length++] = '!';
        memcpy(term + length, key, more + 1);
        length += more;
    }
    return true;
}

/* ---- the table ------------------------------------------------------------------------------- */

/*
 * The file as it is read: rows stay text, and are looked at where a term is looked for.
 *
 *     # comment                    only up here
 *     findings<TAB>ID ID ...       or causes
 *     total<TAB>N N ...            of all terms, for each label
 *     TERM<TAB>LABEL:N ...         sorted by TERM; LABEL counts from 0 in the order above
 *
 * A tab and a fitted weight in hundredths may end a row, and after the totals the weight of any text.
 */
struct table {
    const char *path;
    const char *rows, *end; /* among the bytes of the file */
    size_t line;            /* where the rows begin */
    int *finding;           /* of the rules, or RULES_NONE, for each of the table's */
    size_t finding_count;
};

/* All tables that were read. */
struct tables {
    struct table *list;
    size_t count;
    double *total;   /* n_f */
    double terms;    /* V */
    double any_text; /* fitted weight of a text, whatever its terms */
};

/* The first two bytes of a row, or of a term. */
static size_t two_bytes(const char *row)
{
    return (size_t)(unsigned char)row[0] << 8 | (unsigned char)(row[1] != '\0' ? row[1] : '\t');
}

/* Where the rows of each two first bytes begin, and after them the end. */
static const char **starts_of(const struct table *table, struct arena *arena)
{
    enum { PAIRS = 1 << 16 };
    const char **starts = arena_array(arena, PAIRS + 2, sizeof *starts);
    size_t next = 0;
    for (const char *row = table->rows, *end = row; end != NULL && row < table->end;
         row = end + 1) {
        while (next <= two_bytes(row))
            starts[next++] = row;
        end = memchr(row, '\n', (size_t)(table->end - row));
    }
    while (next < PAIRS + 2)
        starts[next++] = table->end;
    return starts;
}

/* The counts of a term in a table, as far behind its rows; 0 for none. `starts` may be NULL. */
static size_t table_search(const struct table *table, const char *const *starts, const char *term)
{
    const char *low = starts != NULL ? starts[two_bytes(term)] : table->rows;
    const char *high = starts != NULL ? starts[two_bytes(term) + 1] : table->end;
    while (low < high) {
        const char *row = low + (high - low) / 2;
        while (row > low && row[-1] != '\n')
            row--;
        size_t same = 0;
        while (term[same] != '\0' && term[same] == row[same])
            same++;
        if (term[same] == '\0' && row[same] == '\t')
            return (size_t)(row - table->rows) + same + 1;
        if ((unsigned char)term[same] <= (unsigned char)row[same] && row[same] != '\t') {
            high = row;
        } else {
            low = memchr(row + same, '\n', (size_t)(high - row) - same);
            low = low != NULL ? low + 1 : high;
        }
    }
    return 0;
}

/* What a term says. */
struct weighed {
    size_t text; /* the last in which it was met */
    size_t table,
        at;      /* where it stands first: its counts are so many bytes behind the rows of that */
    double odds; /* of contamination */
    double weight[]; /* of each finding */
};

struct words {
    struct labels labels;
    struct arena *arena;
    struct tables tables;
    const char ***starts; /* of the rows of each table (starts_of); NULL: texts are few yet */
    struct lexicon lexicon;
    struct arena *arena_of_text, *arena_of_terms;
    struct hashed met;        /* terms of texts */
    struct weighed **weighed; /* what each says, or NULL: no table has it */
    size_t weighed_count;
    double *counts;   /* of the term that is looked up, by finding */
    double *ln_total; /* ln (n_f + c) */
    double status_total[FINDING_STATUS_COUNT], group_total[2];
    double *sum; /* of the weights of a text, by finding */
    size_t texts;
};

struct words *words_new(const struct rules *rules, enum word_labels labels)
{
    struct arena *arena = arena_new();
    struct words *words = arena_alloc(arena, sizeof *words);

    words->labels = labels_of(rules, labels, arena);
    words->arena = arena;
    words->arena_of_text = arena_new();
    words->arena_of_terms = arena_new();
    words->counts = arena_array(arena, words->labels.count, sizeof(double));
    words->ln_total = arena_array(arena, words->labels.count, sizeof(double));
    words->sum = arena_array(arena, words->labels.count, sizeof(double));
    words->tables.total = arena_array(arena, words->labels.count, sizeof(double));
    lexicon_init(&words->lexicon, rules);
    return words;
}

/* Sums over the labels of each status and of each group, clean or contaminated. */
static void sum_up(const struct labels *labels, const double *counts, double *status, double *group)
{
    memset(status, 0, FINDING_STATUS_COUNT * sizeof *status);
    group[0] = group[1] = 0;
    for (size_t f = 0; f < labels->count; f++) {
        status[labels->list[f].status] += counts[f];
        group[labels->list[f].contaminated] += counts[f];
    }
}

/* Forgets all terms that were met, and works out what does not depend on them. */
static void terms_forget(struct words *words)
{
    const double c = words->labels.rules->calibration.words.finding_prior * words->tables.terms;
    sum_up(&words->labels, words->tables.total, words->status_total, words->group_total);
    for (size_t f = 0; f < words->labels.count; f++)
        words->ln_total[f] = log(words->tables.total[f] + c);
    arena_reset(words->arena_of_terms);
    words->met = (struct hashed){0};
    words->weighed_count = 0;
}

struct words *words_twin(const struct words *words)
{
    struct words *twin = words_new(words->labels.rules, words->labels.kind);
    twin->tables = words->tables;
    terms_forget(twin);
    return twin;
}

void words_free(struct words *words)
{
    if (words == NULL)
        return;
    lexicon_release(&words->lexicon);
    arena_free(words->arena_of_terms);
    arena_free(words->arena_of_text);
    arena_free(words->arena);
}

static bool read_ids(struct words *words, struct table *table, char *list)
{
    while (*list != '\0') {
        char *end = list + strcspn(list, " ");
        const bool last = *end == '\0';
        *end = '\0';
        const struct labels *labels = &words->labels;
        *arena_push(words->arena, table->finding, table->finding_count) =
            labels->kind == LABELS_CAUSES ? rules_cause(labels->rules, list)
                                          : rules_finding(labels->rules, list);
        list = end + !last;
    }
    return table->finding_count > 0;
}

/* The weight after the counts of a row, or after the totals: 0 where there is none. */
static double fitted_weight(const char *counts)
{
    const char *tab = counts + strcspn(counts, "\t\n");
    return *tab == '\t' ? (double)strtol(tab + 1, NULL, 10) / 100 : 0.0;
}

static bool read_totals(struct words *words, const struct table *table, const char *list)
{
    for (size_t i = 0; i < table->finding_count; i++) {
        char *end;
        const unsigned long n = strtoul(list, &end, 10);
        if (end == list)
            return false;
        if (table->finding[i] != RULES_NONE)
            words->tables.total[table->finding[i]] += (double)n / PARTS;
        list = end;
    }
    words->tables.any_text += fitted_weight(list);
    return *list == '\0' || *list == '\t';
}

static enum status table_wrong(struct diags *diags, const struct table *table, const char *wrong)
{
    diags_error(diags, (struct position){.file = table->path, .line = table->line}, "%s", wrong);
    return STATUS_DATA;
}

/* The next line that is no comment, as a string; NULL at the end of the file. */
static char *next_line(struct table *table, char **at)
{
    char *line;
    do {
        line = *at;
        if (line == table->end)
            return NULL;
        char *end = memchr(line, '\n', (size_t)(table->end - line));
        *at = end != NULL ? end + 1 : line + (table->end - line);
        if (end != NULL)
            *end = '\0';
        table->line++;
    } while (*line == '#' && strchr(line, '\t') == NULL);
    return line;
}

/* How many lines there are, the last without an end as well. */
static size_t count_lines(const char *at, const char *end)
{
    enum { LANES = 32, ROUNDS = 255 }; /* lanes of bytes, which hold so many */
    size_t lines = at < end && end[-1] != '\n';
    while (end - at >= LANES) {
        unsigned char found[LANES] = {0};
        for (size_t round = 0; round < ROUNDS && end - at >= LANES; round++, at += LANES)
            for (size_t k = 0; k < LANES; k++)
                found[k] = (unsigned char)(found[k] + (at[k] == '\n'));
        for (size_t k = 0; k < LANES; k++)
            lines += found[k];
    }
    for (; at < end; at++)
        lines += *at == '\n';
    return lines;
}

enum status words_read(struct words *words, const char *path, struct diags *diags)
{
    size_t length = 0;
    char *bytes = filing_whole(path, TABLE_MOST, words->arena, &length);

    if (bytes == NULL && errno == ENOENT)
        return STATUS_OK;
    if (bytes == NULL) {
        diags_error(diags, (struct position){.file = path}, "cannot read it: %s", strerror(errno));
        return STATUS_IO;
    }
    return words_take(words, path, bytes, length, diags);
}

enum status words_take(struct words *words, const char *name, char *bytes, size_t length,
                       struct diags *diags)
{
    const char *head = words->labels.head;
    struct tables *tables = &words->tables;
    struct table table = {.path = arena_string(words->arena, name), .end = bytes + length};
    char *at = bytes;

    char *line = next_line(&table, &at);
    if (line != NULL &&
        (strncmp(line, head, strlen(head)) != 0 || !read_ids(words, &table, line + strlen(head))))
        return table_wrong(diags, &table,
                           "'findings' (or 'causes'), a tab and their ids come first");
    line = next_line(&table, &at);
    if (line != NULL && (strncmp(line, "total\t", 6) != 0 || !read_totals(words, &table, line + 6)))
        return table_wrong(diags, &table,
                           "'total', a tab and a number for each of those come second");
    words->starts = NULL;
    table.rows = at;
    *arena_push(words->arena, tables->list, tables->count) = table;
    tables->terms = fmax(tables->terms, (double)count_lines(at, table.end));
    terms_forget(words);
    return STATUS_OK;
}

/* Where a row stands beside a term: 0 is of it, above 0 behind it. A tab is less than all that terms hold. */
static int row_order(const char *row, const char *term, size_t length)
{
    const int order = strncmp(row, term, length);
    return order != 0 ? order : row[length] != '\t';
}

enum status words_check(const struct words *words, struct diags *diags)
{
    for (size_t t = 0; t < words->tables.count; t++) {
        struct table table = words->tables.list[t];
        const char *before = NULL;
        for (const char *here = table.rows, *end; here < table.end; before = here, here = end + 1) {
            const size_t length = strcspn(here, "\t\n");
            end = memchr(here, '\n', (size_t)(table.end - here));
            end = end != NULL ? end : table.end;
            table.line++;
            if (here[length] != '\t')
                return table_wrong(diags, &table,
                                   "a line without a tab; TERM, a tab and LABEL:N would be right");
            if (before != NULL && row_order(before, here, length) >= 0)
                return table_wrong(diags, &table,
                                   "terms are sorted by their bytes, and each stands once");
        }
    }
    return STATUS_OK;
}

static void add_counts(const struct table *table, const char *at, double *counts)
{
    while (*at != '\t' && *at != '\n' && *at != '\0') {
        unsigned long finding = 0, n = 0;
        for (; *at >= '0' && *at <= '9'; at++)
            finding = 10 * finding + (unsigned long)(*at - '0');
        if (*at != ':')
            break;
        for (at++; *at >= '0' && *at <= '9'; at++)
            n = 10 * n + (unsigned long)(*at - '0');
        if (finding < table->finding_count && table->finding[finding] != RULES_NONE)
            counts[table->finding[finding]] += (double)n / PARTS;
        if (*at == ' ')
            at++;
    }
}

/* ---- weighing -------------------------------------------------------------------------------- */

static double clamp(double weight, double most)
{
    return fmax(-most, fmin(most, weight));
}

/* What a term says of which the tables count `counts`, and its fitted weight. Most findings never had it: they
 * differ by status, and by how much was counted of each, whose logarithm is known. */
static struct weighed *weigh_term(const struct words *words, double fitted)
{
    const struct labels *labels = &words->labels;
    const struct tables *tables = &words->tables;
    const struct word_calibration *set = &labels->rules->calibration.words;
    const double of_status = set->status_prior * tables->terms;
    const double of_finding = set->finding_prior * tables->terms;
    const double power = labels->kind == LABELS_CAUSES ? set->cause_power : set->finding_power;
    double status[FINDING_STATUS_COUNT], group[2], never[FINDING_STATUS_COUNT], q_group[2];
    struct weighed *weighed = arena_alloc(
        words->arena_of_terms, sizeof *weighed + labels->count * sizeof *weighed->weight);

    sum_up(labels, words->counts, status, group);
    for (size_t g = 0; g < 2; g++)
        q_group[g] = (group[g] + 1) / (words->group_total[g] + tables->terms);
    for (size_t s = 0; s < FINDING_STATUS_COUNT; s++) {
        const double q = q_group[labels->kind == LABELS_FINDINGS && s == FINDING_CONTAMINATED];
        status[s] =
            of_finding / q * (status[s] + of_status * q) / (words->status_total[s] + of_status);
        never[s] = log(status[s]);
    }
    weighed->odds = set->group_power * clamp(log(q_group[1] / q_group[0]), set->term_most) + fitted;
    for (size_t f = 0; f < labels->count; f++) {
        const size_t s = labels->list[f].status;
        const bool g = labels->list[f].contaminated;
        const double ln =
            words->counts[f] > 0 ? log(words->counts[f] / q_group[g] + status[s]) : never[s];
        weighed->weight[f] =
            (g ? weighed->odds : 0) + power * clamp(ln - words->ln_total[f], set->term_most);
    }
    return weighed;
}

/* What the tables say of a term, or NULL when none has it. */
static struct weighed *weighed_of(struct words *words, const struct term *of)
{
    char term[TERM_MOST + 1];
    const struct tables *tables = &words->tables;
    const bool written = term_write(&words->lexicon, of, term);
    struct weighed first = {.at = 0}, *weighed = NULL;
    double fitted = 0;
    memset(words->counts, 0, words->labels.count * sizeof *words->counts);
    for (size_t i = 0; written && i < tables->count; i++) {
        const size_t at =
            table_search(&tables->list[i], words->starts != NULL ? words->starts[i] : NULL, term);
        if (at == 0)
            continue;
        add_counts(&tables->list[i], tables->list[i].rows + at, words->counts);
        fitted += fitted_weight(tables->list[i].rows + at);
        if (first.at == 0)
            first = (struct weighed){.table = i, .at = at};
    }
    if (first.at != 0) {
        weighed = weigh_term(words, fitted);
        weighed->table = first.table;
        weighed->at = first.at;
    }
    return weighed;
}

/* Adds a term of a text that some table has, once; `first` is NULL for a term of one piece. */
static void term_meet(struct words *words, const struct piece *first, const struct piece *piece,
                      bool kind, struct term *terms, size_t *count)
{
    struct term term = {first, piece, kind, NULL};
    const uint64_t own = entry_at(&words->lexicon, piece, kind)->hash + piece->denied;
    const uint64_t before =
        first != NULL ? entry_at(&words->lexicon, first, kind)->hash + first->denied : 0;
    const uint32_t number = hashed_add(&words->met, words->arena_of_terms, term_hash(before, own));
    if (number == words->weighed_count) /* its first text */
        *arena_push(words->arena_of_terms, words->weighed, words->weighed_count) =
            weighed_of(words, &term);
    term.weighed = words->weighed[number];
    if (term.weighed == NULL || term.weighed->text == words->texts)
        return;
    term.weighed->text = words->texts;
    terms[(*count)++] = term;
}

/* The terms of a text, up to four to a piece: itself, behind the one before it, and these two by kind, where that
 * makes another term; to be met where there are words, all of them where there are none. */
static struct term *terms_of(const struct piece *pieces, size_t piece_count, struct words *words,
                             struct arena *arena, size_t *count)
{
    enum { EACH = 4 };
    struct term *terms = arena_room(arena, EACH * piece_count, sizeof *terms);
    *count = 0;
    for (const struct piece *piece = pieces; piece < pieces + piece_count; piece++)
        for (int kind = 0; kind < 2; kind++) {
            const bool other = !kind || piece->kind != piece->entry;
            const bool pair = piece->follows && (other || piece[-1].kind != piece[-1].entry);
            for (int two = other ? 0 : 1; two <= (pair ? 1 : 0); two++) {
                const struct piece *first = two ? piece - 1 : NULL;
                if (words != NULL)
                    term_meet(words, first, piece, kind, terms, count);
                else
                    terms[(*count)++] = (struct term){first, piece, kind, NULL};
            }
        }
    return terms;
}

/* Whether a term stands before another in the tables. */
static bool stands_before(const struct weighed *a, const struct weighed *b)
{
    return a->table != b->table ? a->table < b->table : a->at < b->at;
}

/* The terms that weigh most, the heaviest first; of equals in the order of the rows. */
static size_t heaviest(const struct words *words, const struct term *terms, size_t count,
                       double scale, struct word_weight *weights, size_t most)
{
    const struct lexicon *lexicon = &words->lexicon;
    const struct term **best = arena_room(words->arena_of_text, most + 1, sizeof *best);
    size_t kept = 0;
    for (const struct term *term = terms; most > 0 && term < terms + count; term++) {
        const double odds = fabs(term->weighed->odds);
        size_t place = kept < most ? kept++ : most;
        for (; place > 0; place--) {
            const struct weighed *before = best[place - 1]->weighed;
            if (fabs(before->odds) > odds ||
                (fabs(before->odds) == odds && stands_before(before, term->weighed)))
                break;
            best[place] = best[place - 1];
        }
        best[place] = term;
    }
    for (size_t i = 0; i < kept; i++) {
        const struct piece *piece = best[i]->piece,
                           *first = best[i]->first != NULL ? best[i]->first : piece;
        const char *told = lexicon->folded.bytes + first->at;
        const size_t length = piece->at + piece->length - first->at,
                     room = sizeof weights[i].words - 1;
        weights[i] =
            (struct word_weight){.odds = scale * best[i]->weighed->odds, .denied = first->denied};
        memcpy(weights[i].words, told, utf8_valid_prefix(told, length < room ? length : room));
    }
    return kept;
}

/* The findings that the text names; not those it denies or asks for. NULL for none. */
static const bool *names_told(const struct words *words, const struct piece *pieces, size_t count)
{
    const size_t findings = words->labels.count;
    bool *told = NULL;
    for (size_t i = 0; i < count; i++) {
        const bool *names = words->lexicon.words.entries[pieces[i].entry].names;
        const char *behind = words->lexicon.folded.bytes + pieces[i].at + pieces[i].length;
        if (names == NULL || pieces[i].denied || behind[strcspn(behind, ".,;:!?\n")] == '?')
            continue;
        told = told != NULL ? told : arena_array(words->arena_of_text, findings, sizeof *told);
        for (size_t f = 0; f < findings; f++)
            told[f] = told[f] || names[f];
    }
    return told;
}

/* What the terms say, by finding. */
FOR_WIDE_VECTORS static void sum_weights(struct words *words, const struct term *terms,
                                         size_t count)
{
    memset(words->sum, 0, words->labels.count * sizeof *words->sum);
    for (size_t i = 0; i < count; i++)
        row_add(words->sum, terms[i].weighed->weight, words->labels.count);
}

size_t words_weigh(struct words *words, const char *text, size_t length, double *likelihood,
                   struct word_weight *weights, size_t most)
{
    const struct labels *labels = &words->labels;
    const struct word_calibration *set = &labels->rules->calibration.words;
    struct arena *arena = words->arena_of_text;

    arena_reset(arena);
    memset(likelihood, 0, labels->count * sizeof *likelihood);
    if (words->tables.count == 0)
        return 0;
    if (words->texts++ == 0 || words->lexicon.words.count > KEPT_MOST)
        lexicon_clear(&words->lexicon); /* so that texts without end do not fill the memory */
    if (words->met.count > MET_MOST)
        terms_forget(words);
    if (words->texts == TEXTS_FEW) { /* with more it pays to know where rows begin */
        words->starts = arena_array(words->arena, words->tables.count, sizeof *words->starts);
        for (size_t i = 0; i < words->tables.count; i++)
            words->starts[i] = starts_of(&words->tables.list[i], words->arena);
    }
    const double *sum = words->sum;
    size_t count, known;
    const struct piece *pieces = cut(&words->lexicon, text, length, arena, &count);
    const struct term *terms = terms_of(pieces, count, words, arena, &known);
    sum_weights(words, terms, known);
    /* A text says no more than `most` in all, however long. */
    const double scale = sqrt(set->usual / fmax((double)known, set->usual));
    static const double named = 3.0; /* ln: twenty who name it right to one who does not */
    double high = -INFINITY;
    const bool *told = labels->kind == LABELS_FINDINGS ? names_told(words, pieces, count) : NULL;
    for (size_t f = 0; f < labels->count; f++) {
        likelihood[f] = sum[f] * scale + (told != NULL && told[f] ? named : 0.0);
        if (labels->list[f].contaminated)
            likelihood[f] += words->tables.any_text * fmin(1, (double)known / set->usual);
        high = fmax(high, likelihood[f]);
    }
    for (size_t f = 0; f < labels->count; f++)
        likelihood[f] =
            fmax(likelihood[f] - high,
                 labels->list[f].contaminated ? -fmin(set->most, set->sound_most) : -set->most);
    return heaviest(words, terms, known, scale, weights, most);
}

/* ---- counting -------------------------------------------------------------------------------- */

struct labelled { /* whose a text is: up to three labels share its PARTS */
    size_t finding[3];
    unsigned share[3];
    size_t part; /* of the whole, as word_counts_add was told */
};

struct counted_term {
    const char *term;
    size_t *texts; /* that hold it */
    size_t count;
    double weight; /* fitted */
};

struct word_counts {
    struct labels labels;
    size_t least;
    struct arena *arena;
    struct lexicon lexicon;
    struct labelled *texts;
    size_t text_count;
    struct hashed index;
    struct counted_term *terms; /* as they were met; gathered: those in `least` texts, sorted */
    size_t term_count;
    bool gathered;
    double any_text; /* fitted */
};

struct word_counts *word_counts_new(const struct rules *rules, enum word_labels labels,
                                    size_t least)
{
    struct arena *arena = arena_new();
    struct word_counts *counts = arena_alloc(arena, sizeof *counts);

    counts->labels = labels_of(rules, labels, arena);
    counts->least = least;
    counts->arena = arena;
    lexicon_init(&counts->lexicon, rules);
    lexicon_clear(&counts->lexicon);
    return counts;
}

void word_counts_free(struct word_counts *counts)
{
    if (counts == NULL)
        return;
    lexicon_release(&counts->lexicon);
    arena_free(counts->arena);
}

void word_counts_add(struct word_counts *counts, const char *text, size_t length,
                     const size_t *labels, size_t label_count, size_t part)
{
    static const unsigned SHARES[3][3] = {{20, 0, 0}, {13, 7, 0}, {10, 6, 4}}; /* of PARTS */
    const size_t many = label_count < 3 ? label_count : 3;
    struct labelled labelled = {.part = part};
    size_t count;
    char term[TERM_MOST + 1];

    for (size_t i = 0; i < many; i++) {
        labelled.finding[i] = labels[i];
        labelled.share[i] = SHARES[many - 1][i];
    }
    const struct piece *pieces = cut(&counts->lexicon, text, length, counts->arena, &count);
    const struct term *terms = terms_of(pieces, count, NULL, counts->arena, &count);
    for (size_t i = 0; i < count && many > 0; i++) {
        if (!term_write(&counts->lexicon, &terms[i], term))
            continue;
        const uint32_t number =
            hashed_add(&counts->index, counts->arena, hash_of(term, strlen(term)));
        if (number == counts->term_count)
            *arena_push(counts->arena, counts->terms, counts->term_count) =
                (struct counted_term){.term = arena_string(counts->arena, term)};
        struct counted_term *of = &counts->terms[number];
        if (of->count == 0 || of->texts[of->count - 1] != counts->text_count)
            *arena_push(counts->arena, of->texts, of->count) = counts->text_count;
    }
    *arena_push(counts->arena, counts->texts, counts->text_count) = labelled;
}

static int by_term(const void *a, const void *b)
{
    return strcmp(((const struct counted_term *)a)->term, ((const struct counted_term *)b)->term);
}

/* Once all texts are there. */
static void gather(struct word_counts *counts)
{
    size_t kept = 0;
    for (size_t t = 0; t < counts->term_count; t++)
        if (counts->terms[t].count >= counts->least)
            counts->terms[kept++] = counts->terms[t];
    counts->term_count = kept;
    if (!counts->gathered)
        array_sort(counts->terms, kept, by_term);
    counts->gathered = true;
}

struct fitted_text {
    double scale;         /* of its terms' weights */
    double any;           /* of the weight of any text: less for a short one */
    double truth;         /* 1: contaminated */
    double margin, wrong; /* log odds so far; truth - probability */
};

static void move(struct fitted_text *text, double by)
{
    text->margin += by;
    text->wrong = text->truth - 1 / (1 + exp(-text->margin));
}

void word_counts_fit(struct word_counts *counts, const double *log_odds)
{
    static const double SHRINK = 5; /* as good as 10, better than 2 and 15 on writers left out */
    enum { PASSES = 60 };           /* the texts' odds hardly move after these */
    const double usual = counts->labels.rules->calibration.words.usual;
    const size_t text_count = counts->text_count;
    struct fitted_text *texts = arena_array(counts->arena, text_count, sizeof *texts);
    size_t *terms = arena_array(counts->arena, text_count, sizeof *terms);
    double curve_any = 0;

    gather(counts);
    for (size_t t = 0; t < counts->term_count; t++)
        for (size_t i = 0; i < counts->terms[t].count; i++)
            terms[counts->terms[t].texts[i]]++;
    for (size_t i = 0; i < text_count; i++) {
        const bool out = isnan(log_odds[i]); /* has no scale, so that it moves nothing */
        texts[i].scale = out ? 0 : sqrt(usual / fmax((double)terms[i], usual));
        texts[i].truth = counts->labels.list[counts->texts[i].finding[0]].contaminated;
        texts[i].any = out ? 0 : fmin(1, (double)terms[i] / usual);
        curve_any += texts[i].any * texts[i].any / 4;
        move(&texts[i], out ? 0 : log_odds[i]);
    }
    for (size_t pass = 0; pass < PASSES; pass++) {
        double slope = 0;
        for (size_t i = 0; i < text_count; i++)
            slope += texts[i].any * texts[i].wrong;
        const double step = curve_any > 0 ? slope / curve_any : 0;
        counts->any_text += step;
        for (size_t i = 0; i < text_count; i++)
            move(&texts[i], step * texts[i].any);
        for (size_t t = 0; t < counts->term_count; t++) {
            struct counted_term *term = &counts->terms[t];
            double curve = SHRINK;
            slope = -SHRINK * term->weight;
            for (size_t i = 0; i < term->count; i++) {
                const struct fitted_text *text = &texts[term->texts[i]];
                slope += text->scale * text->wrong;
                curve += text->scale * text->scale / 4;
            }
            term->weight += slope / curve;
            for (size_t i = 0; i < term->count; i++) {
                struct fitted_text *text = &texts[term->texts[i]];
                move(text, slope / curve * text->scale);
            }
        }
    }
}

static void put_weight(struct text *table, double weight)
{
    const long hundredths = lround(100 * weight);
    if (hundredths != 0)
        text_printf(table, "\t%ld", hundredths);
    text_puts(table, "\n");
}

void word_counts_table(struct word_counts *counts, size_t without, struct text *table)
{
    const struct labels *labels = &counts->labels;
    unsigned long *total = arena_array(counts->arena, labels->count, sizeof *total);
    unsigned long *row = arena_array(counts->arena, labels->count, sizeof *row);
    TEXT(rows);
    gather(counts);
    for (size_t t = 0; t < counts->term_count; t++) {
        const struct counted_term *term = &counts->terms[t];
        size_t texts = 0;
        memset(row, 0, labels->count * sizeof *row);
        for (size_t i = 0; i < term->count; i++) {
            const struct labelled *of = &counts->texts[term->texts[i]];
            texts += of->part != without;
            for (size_t k = 0; k < 3 && of->part != without; k++)
                row[of->finding[k]] += of->share[k];
        }
        if (texts < counts->least)
            continue;
        text_puts(&rows, term->term);
        char before = '\t';
        for (size_t f = 0; f < labels->count; f++)
            if (row[f] > 0) {
                text_printf(&rows, "%c%zu:%lu", before, f, row[f]);
                total[f] += row[f];
                before = ' ';
            }
        put_weight(&rows, term->weight);
    }
    text_puts(table, labels->head);
    for (size_t f = 0; f < labels->count; f++)
        text_printf(table, "%s%s", f == 0 ? "" : " ", labels->list[f].id);
    text_puts(table, "\ntotal");
    for (size_t f = 0; f < labels->count; f++)
        text_printf(table, "%c%lu", f == 0 ? '\t' : ' ', total[f]);
    put_weight(table, counts->any_text);
    text_add(table, rows.bytes, rows.length);
}
