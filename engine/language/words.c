/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "language/words.h"

#include <errno.h>
#include <fcntl.h>
#include <libstemmer.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/filing.h"
#include "base/memory.h"

enum {
    TERM_MOST = 63,        /* bytes of a term; longer ones are no words */
    TERMS_MOST = 2000,     /* of one text; what follows is left out */
    TABLE_MOST = 16 << 20, /* bytes of a table */
    PARTS = 20,            /* a text counts as so many; its findings share them */
    REACH = 3,             /* words that a negation reaches */
};

/* ---- terms ----------------------------------------------------------------------------------- */

struct term {
    const char *key;   /* as it is counted: "!green patch" */
    const char *words; /* where they stand in the folded text: "green patches" */
    size_t length;     /* of those */
};

struct terms { /* of one text, sorted, each once */
    struct arena *arena;
    struct term *list;
    size_t count;
};

/* The single words that deny what follows, and those that end their reach; sorted. */
struct turners {
    const char **negations, **breaks;
    size_t negation_count, break_count;
};

static int by_word(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static const char **single_words(struct arena *arena, const struct phrases *phrases, size_t *count)
{
    const char **list = NULL;
    *count = 0;
    for (size_t i = 0; i < phrases->count; i++)
        if (strchr(phrases->list[i], ' ') == NULL)
            *arena_push(arena, list, *count) = phrases->list[i];
    if (*count > 0)
        qsort((void *)list, *count, sizeof *list, by_word);
    return list;
}

static void turners_init(struct turners *turners, struct arena *arena,
                         const struct language *language)
{
    turners->negations = single_words(arena, &language->negations, &turners->negation_count);
    turners->breaks = single_words(arena, &language->breaks, &turners->break_count);
}

static bool is_among(const char **list, size_t count, const char *word)
{
    return count > 0 && bsearch(&word, (const void *)list, count, sizeof *list, by_word) != NULL;
}

static bool is_negation(const struct turners *turners, const char *word, size_t length)
{
    return (length > 3 && strcmp(word + length - 3, "n't") == 0) ||
           is_among(turners->negations, turners->negation_count, word);
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

/* Both strings, one behind the other. */
static const char *joined(struct arena *arena, const char *first, const char *second)
{
    const size_t length = strlen(first), more = strlen(second);
    char *both = arena_array(arena, length + more + 1, 1); /* zeroed, so it ends with a NUL */
    for (size_t i = 0; i < length; i++)
        both[i] = first[i];
    for (size_t i = 0; i < more; i++)
        both[length + i] = second[i]; /* NOLINT(clang-analyzer-core.uninitialized.Assign) */
    return both;
}

static void add_term(struct terms *terms, struct term term)
{
    if (terms->count < TERMS_MOST && strlen(term.key) <= TERM_MOST)
        *arena_push(terms->arena, terms->list, terms->count) = term;
}

static int by_key(const void *a, const void *b)
{
    return strcmp(((const struct term *)a)->key, ((const struct term *)b)->key);
}

static bool is_word_byte(char c)
{
    return (c >= 'a' && c <= 'z') || (unsigned char)c >= 0x80;
}

/* One word at `at`, without its inner apostrophes except that of "n't"; the bytes it takes. */
static size_t take_word(const char *at, size_t left, char word[TERM_MOST + 1])
{
    size_t used = 0, length = 0;

    while (used < left &&
           (is_word_byte(at[used]) ||
            (at[used] == '\'' && used > 0 && used + 1 < left && is_word_byte(at[used + 1])))) {
        if (length < TERM_MOST)
            word[length++] = at[used];
        used++;
    }
    word[length] = '\0';
    return used;
}

/* Cuts a text into terms. Words that a negation reaches, up to the next break, are "!word". */
static void cut(struct terms *terms, const struct turners *turners, struct sb_stemmer *stemmer,
                const char *bytes, size_t length)
{
    struct text folded;
    struct term before = {.key = NULL};
    char word[TERM_MOST + 1];
    int reach = 0;

    text_init(&folded);
    text_fold(&folded, bytes, length, NULL);
    const char *kept_text = arena_copy(terms->arena, folded.bytes, folded.length);
    for (size_t i = 0; i < folded.length;) {
        const char *at = kept_text + i;
        const char *key = word;
        bool denied = reach > 0;
        size_t used;
        if (*at >= '0' && *at <= '9') {
            char *end;
            key = figure_bin(strtod(at, &end));
            used = (size_t)(end - at);
            reach -= denied;
        } else if (is_word_byte(*at)) {
            used = take_word(at, folded.length - i, word);
            const bool negation = is_negation(turners, word, strlen(word));
            if (negation || is_among(turners->breaks, turners->break_count, word)) {
                reach = negation ? REACH : 0;
                denied = false;
            } else {
                key = (const char *)sb_stemmer_stem(stemmer, (const sb_symbol *)word,
                                                    (int)strlen(word));
                reach -= denied;
            }
        } else {
            if (strchr(".,;:!?()\n", *at) != NULL ||
                (*at == '-' && i > 0 && (at[-1] == ' ' || at[-1] == '-'))) {
                before.key = NULL;
                reach = 0;
            }
            i++;
            continue;
        }
        const struct term term = {joined(terms->arena, denied ? "!" : "", key), at, used};
        i += used;
        add_term(terms, term);
        if (before.key != NULL)
            add_term(terms, (struct term){joined(terms->arena,
                                                 joined(terms->arena, before.key, " "), term.key),
                                          before.words, (size_t)(at + used - before.words)});
        before = term;
    }
    text_release(&folded);
    if (terms->count == 0)
        return;
    qsort(terms->list, terms->count, sizeof *terms->list, by_key);
    size_t kept = 1;
    for (size_t i = 1; i < terms->count; i++)
        if (strcmp(terms->list[kept - 1].key, terms->list[i].key) != 0)
            terms->list[kept++] = terms->list[i];
    terms->count = kept;
}

static struct sb_stemmer *english(void)
{
    struct sb_stemmer *stemmer = sb_stemmer_new("english", NULL);
    if (stemmer == NULL)
        memory_exhausted(); /* it knows English; nothing else can be wrong */
    return stemmer;
}

/* ---- the table ------------------------------------------------------------------------------- */

/*
 * The file as it is read: rows stay text until a term of theirs turns up.
 *
 *     # comment
 *     findings<TAB>ID ID ...
 *     total<TAB>N N ...            of all terms, for each finding
 *     TERM<TAB>FINDING:N ...       sorted by TERM; FINDING counts from 0 in the order above
 */
struct row {
    const char *term, *counts; /* the text before the tab, and behind it */
    double *weights;           /* what the term says of each finding; NULL until it is asked */
    double odds;               /* likewise, of contamination */
};

struct table {
    char *bytes;
    struct row *rows;
    size_t row_count;
    int *finding; /* of the rules, or RULES_NONE, for each of the table's */
    size_t finding_count;
};

struct words {
    const struct rules *rules;
    struct arena *arena;
    struct turners turners;
    struct sb_stemmer *stemmer;
    struct table *tables;
    size_t table_count;
    double *total; /* n_f */
    double terms;  /* V */
};

struct words *words_new(const struct rules *rules)
{
    struct arena *arena = arena_new();
    struct words *words = arena_alloc(arena, sizeof *words);

    words->rules = rules;
    words->arena = arena;
    turners_init(&words->turners, arena, &rules->language);
    words->stemmer = english();
    words->total = arena_array(arena, rules->finding_count, sizeof *words->total);
    return words;
}

void words_free(struct words *words)
{
    if (words == NULL)
        return;
    sb_stemmer_delete(words->stemmer);
    arena_free(words->arena);
}

/* The whole file as a string; NULL, and errno says why, when it cannot be had. */
static char *read_whole(struct arena *arena, const char *path)
{
    struct stat about;
    char *bytes = NULL;
    const int file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);

    if (file < 0)
        return NULL;
    if (fstat(file, &about) == 0) {
        if (!S_ISREG(about.st_mode) || about.st_size > TABLE_MOST) {
            errno = S_ISREG(about.st_mode) ? EFBIG : EINVAL;
        } else {
            bytes = arena_array(arena, (size_t)about.st_size + 1, 1);
            if (filing_read(file, bytes, (size_t)about.st_size) != about.st_size)
                bytes = NULL;
        }
    }
    const int error = errno;
    close(file);
    errno = error;
    return bytes;
}

static bool read_ids(struct words *words, struct table *table, char *list)
{
    while (*list != '\0') {
        char *end = list + strcspn(list, " ");
        const bool last = *end == '\0';
        *end = '\0';
        *arena_push(words->arena, table->finding, table->finding_count) =
            rules_finding(words->rules, list);
        list = end + !last;
    }
    return table->finding_count > 0;
}

static bool read_totals(struct words *words, const struct table *table, const char *list)
{
    for (size_t i = 0; i < table->finding_count; i++) {
        char *end;
        const unsigned long n = strtoul(list, &end, 10);
        if (end == list)
            return false;
        if (table->finding[i] != RULES_NONE)
            words->total[table->finding[i]] += (double)n / PARTS;
        list = end;
    }
    return *list == '\0';
}

enum status words_read(struct words *words, const char *path, struct diags *diags)
{
    struct table table = {.bytes = read_whole(words->arena, path)};
    struct position at = {.file = path, .line = 0};

    if (table.bytes == NULL) {
        if (errno == ENOENT)
            return STATUS_OK;
        diags_error(diags, at, "cannot read it: %s", strerror(errno));
        return STATUS_IO;
    }
    const char *wrong = NULL;
    int head = 0;
    for (char *line = table.bytes, *next; *line != '\0' && wrong == NULL; line = next) {
        char *end = strchr(line, '\n');
        next = end != NULL ? end + 1 : line + strlen(line);
        if (end != NULL)
            *end = '\0';
        at.line++;
        if (*line == '#' && strchr(line, '\t') == NULL)
            continue;
        char *tab = strchr(line, '\t');
        if (tab == NULL)
            wrong = "a line without a tab; TERM, a tab and FINDING:N would be right";
        else if (head == 0)
            wrong = strncmp(line, "findings\t", 9) == 0 && read_ids(words, &table, tab + 1)
                        ? NULL
                        : "'findings', a tab and the ids of the findings come first";
        else if (head == 1)
            wrong = strncmp(line, "total\t", 6) == 0 && read_totals(words, &table, tab + 1)
                        ? NULL
                        : "'total', a tab and a number for each finding come second";
        else {
            *tab = '\0';
            if (table.row_count > 0 && strcmp(table.rows[table.row_count - 1].term, line) >= 0)
                wrong = "terms are sorted by their bytes, and each stands once";
            *arena_push(words->arena, table.rows, table.row_count) =
                (struct row){.term = line, .counts = tab + 1};
        }
        head += head < 2;
    }
    if (wrong != NULL) {
        diags_error(diags, at, "%s", wrong);
        return STATUS_DATA;
    }
    *arena_push(words->arena, words->tables, words->table_count) = table;
    words->terms = fmax(words->terms, (double)table.row_count);
    return STATUS_OK;
}

static int by_term(const void *term, const void *row)
{
    return strcmp(term, ((const struct row *)row)->term);
}

static struct row *row_of(const struct table *table, const char *term)
{
    return table->row_count == 0
               ? NULL
               : bsearch(term, table->rows, table->row_count, sizeof *table->rows, by_term);
}

static void add_counts(const struct table *table, const struct row *row, double *counts)
{
    for (const char *at = row->counts; *at != '\0';) {
        char *end;
        const unsigned long finding = strtoul(at, &end, 10);
        if (end == at || *end != ':')
            break;
        const unsigned long n = strtoul(end + 1, &end, 10);
        if (finding < table->finding_count && table->finding[finding] != RULES_NONE)
            counts[table->finding[finding]] += (double)n / PARTS;
        at = end + strspn(end, " ");
    }
}

/* ---- weighing -------------------------------------------------------------------------------- */

static double clamp(double weight, double most)
{
    return fmax(-most, fmin(most, weight));
}

static bool contaminated(const struct finding *finding)
{
    return finding->status == FINDING_CONTAMINATED;
}

/* Sums over the findings of each status and of each group, clean or contaminated. */
static void sum_up(const struct rules *rules, const double *counts, double *status, double *group)
{
    memset(status, 0, FINDING_STATUS_COUNT * sizeof *status);
    group[0] = group[1] = 0;
    for (size_t f = 0; f < rules->finding_count; f++) {
        status[rules->findings[f].status] += counts[f];
        group[contaminated(&rules->findings[f])] += counts[f];
    }
}

/* What a term says, worked out when it is first met. */
static void weigh_term(const struct words *words, const double *counts, struct row *row)
{
    const struct rules *rules = words->rules;
    const struct word_calibration *set = &rules->calibration.words;
    const double of_status = set->status_prior * words->terms;
    const double of_finding = set->finding_prior * words->terms;
    double status_total[FINDING_STATUS_COUNT], status[FINDING_STATUS_COUNT];
    double group_total[2], group[2], q_group[2];

    sum_up(rules, words->total, status_total, group_total);
    sum_up(rules, counts, status, group);
    for (size_t g = 0; g < 2; g++)
        q_group[g] = (group[g] + 1) / (group_total[g] + words->terms);
    const double odds = clamp(log(q_group[1] / q_group[0]), set->term_most);
    row->odds = set->group_power * odds;
    row->weights = arena_array(words->arena, rules->finding_count, sizeof *row->weights);
    for (size_t f = 0; f < rules->finding_count; f++) {
        const size_t s = rules->findings[f].status;
        const bool g = contaminated(&rules->findings[f]);
        const double q_status =
            (status[s] + of_status * q_group[g]) / (status_total[s] + of_status);
        const double q = (counts[f] + of_finding * q_status) / (words->total[f] + of_finding);
        row->weights[f] =
            (g ? row->odds : 0) + set->finding_power * clamp(log(q / q_group[g]), set->term_most);
    }
}

/* The row of a term, weighed; NULL when no table has it. */
static const struct row *find_term(const struct words *words, const char *term, double *counts)
{
    struct row *first = NULL;

    for (size_t t = 0; t < words->table_count; t++) {
        struct row *row = row_of(&words->tables[t], term);
        if (row != NULL && row->weights != NULL)
            return row;
        if (row == NULL)
            continue;
        if (first == NULL)
            memset(counts, 0, words->rules->finding_count * sizeof *counts);
        first = first != NULL ? first : row;
        add_counts(&words->tables[t], row, counts);
    }
    if (first != NULL)
        weigh_term(words, counts, first);
    return first;
}

size_t words_weigh(const struct words *words, const char *text, size_t length, double *likelihood,
                   struct word_weight *weights, size_t most)
{
    const struct rules *rules = words->rules;
    const struct word_calibration *set = &rules->calibration.words;
    struct arena *arena = arena_new();
    struct terms terms = {.arena = arena};
    double *counts = arena_array(arena, rules->finding_count, sizeof *counts);
    size_t known = 0, kept = 0;

    memset(likelihood, 0, rules->finding_count * sizeof *likelihood);
    if (words->table_count > 0)
        cut(&terms, &words->turners, words->stemmer, text, length);
    for (size_t t = 0; t < terms.count; t++) {
        const struct term *term = &terms.list[t];
        const struct row *row = find_term(words, term->key, counts);
        if (row == NULL)
            continue;
        known++;
        for (size_t f = 0; f < rules->finding_count; f++)
            likelihood[f] += row->weights[f];
        for (size_t i = 0; i < most; i++) /* the heaviest so far, in order */
            if (i >= kept || fabs(weights[i].odds) < fabs(row->odds)) {
                memmove(&weights[i + 1], &weights[i],
                        (kept - i - (kept == most)) * sizeof *weights);
                weights[i] = (struct word_weight){.odds = row->odds, .denied = *term->key == '!'};
                const size_t room = sizeof weights[i].words - 1;
                snprintf(
                    weights[i].words, room + 1, "%.*s",
                    (int)utf8_valid_prefix(term->words, term->length < room ? term->length : room),
                    term->words);
                kept += kept < most;
                break;
            }
    }
    /* A text says no more than `most` in all, however long. */
    const double scale = known > 0 ? sqrt(set->usual / (double)(known < 3 ? 3 : known)) : 0;
    double high = -INFINITY;
    for (size_t f = 0; f < rules->finding_count; f++)
        high = fmax(high, likelihood[f] *= scale);
    for (size_t f = 0; f < rules->finding_count && known > 0; f++)
        likelihood[f] = fmax(likelihood[f] - high, contaminated(&rules->findings[f])
                                                       ? -fmin(set->most, set->sound_most)
                                                       : -set->most);
    for (size_t i = 0; i < kept; i++)
        weights[i].odds *= scale;
    arena_free(arena);
    return kept;
}

/* ---- counting -------------------------------------------------------------------------------- */

struct labelled { /* whose a text is: up to three findings share its PARTS */
    size_t finding[3];
    unsigned share[3];
};

struct counted { /* one term of one text */
    const char *term;
    size_t text;
};

struct word_counts {
    const struct rules *rules;
    struct arena *arena;
    struct turners turners;
    struct sb_stemmer *stemmer;
    struct labelled *texts;
    size_t text_count;
    struct counted *list;
    size_t count;
};

struct word_counts *word_counts_new(const struct rules *rules)
{
    struct arena *arena = arena_new();
    struct word_counts *counts = arena_alloc(arena, sizeof *counts);

    counts->rules = rules;
    counts->arena = arena;
    turners_init(&counts->turners, arena, &rules->language);
    counts->stemmer = english();
    return counts;
}

void word_counts_free(struct word_counts *counts)
{
    if (counts == NULL)
        return;
    sb_stemmer_delete(counts->stemmer);
    arena_free(counts->arena);
}

void word_counts_add(struct word_counts *counts, const char *text, size_t length,
                     const size_t *findings, size_t finding_count)
{
    static const unsigned SHARES[3][3] = {{20, 0, 0}, {13, 7, 0}, {10, 6, 4}}; /* of PARTS */
    const size_t many = finding_count < 3 ? finding_count : 3;
    struct terms terms = {.arena = counts->arena};
    struct labelled labelled = {0};

    if (many == 0)
        return;
    for (size_t i = 0; i < many; i++) {
        labelled.finding[i] = findings[i];
        labelled.share[i] = SHARES[many - 1][i];
    }
    cut(&terms, &counts->turners, counts->stemmer, text, length);
    for (size_t i = 0; i < terms.count; i++)
        *arena_push(counts->arena, counts->list, counts->count) =
            (struct counted){terms.list[i].key, counts->text_count};
    *arena_push(counts->arena, counts->texts, counts->text_count) = labelled;
}

static int by_counted_term(const void *a, const void *b)
{
    return strcmp(((const struct counted *)a)->term, ((const struct counted *)b)->term);
}

void word_counts_table(struct word_counts *counts, size_t least, struct text *table)
{
    const struct rules *rules = counts->rules;
    unsigned long *total = arena_array(counts->arena, rules->finding_count, sizeof *total);
    unsigned long *row = arena_array(counts->arena, rules->finding_count, sizeof *row);
    struct text rows;

    text_init(&rows);
    if (counts->count > 0)
        qsort(counts->list, counts->count, sizeof *counts->list, by_counted_term);
    for (size_t from = 0, to; from < counts->count; from = to) {
        for (to = from; to < counts->count; to++)
            if (strcmp(counts->list[to].term, counts->list[from].term) != 0)
                break;
        if (to - from < least)
            continue;
        memset(row, 0, rules->finding_count * sizeof *row);
        for (size_t i = from; i < to; i++)
            for (size_t k = 0; k < 3; k++)
                row[counts->texts[counts->list[i].text].finding[k]] +=
                    counts->texts[counts->list[i].text].share[k];
        text_puts(&rows, counts->list[from].term);
        char before = '\t';
        for (size_t f = 0; f < rules->finding_count; f++)
            if (row[f] > 0) {
                text_printf(&rows, "%c%zu:%lu", before, f, row[f]);
                total[f] += row[f];
                before = ' ';
            }
        text_puts(&rows, "\n");
    }
    text_puts(table, "findings");
    for (size_t f = 0; f < rules->finding_count; f++)
        text_printf(table, "%c%s", f == 0 ? '\t' : ' ', rules->findings[f].id);
    text_puts(table, "\ntotal");
    for (size_t f = 0; f < rules->finding_count; f++)
        text_printf(table, "%c%lu", f == 0 ? '\t' : ' ', total[f]);
    text_puts(table, "\n");
    text_add(table, rows.bytes, rows.length);
    text_release(&rows);
}
