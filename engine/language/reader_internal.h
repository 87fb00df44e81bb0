/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_LANGUAGE_READER_INTERNAL_H
#define JARSIDE_LANGUAGE_READER_INTERNAL_H

#define PCRE2_CODE_UNIT_WIDTH 8
#include <endian.h>
#include <pcre2.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include "base/diag.h"
#include "base/memory.h"
#include "base/text.h"
#include "language/reader.h"
#include "rules/rules.h"

/*
 * How a reading comes about, one file a step:
 *
 *   reader_text.c      the text as given -> folded, cut into clauses, with a map back
 *   reader_tokens.c    its words, and what each can be by itself; slips
 *   reader_scan.c      phrases worth trying -> all their matches
 *   reader_answer.c    what only an answer to a question may say
 *   reader_resolve.c   which matches stand: the longer wins, numbers go to one phrase
 *   reader_clauses.c   what each negation and hedge reaches
 *   reader_readings.c  matches -> readings, and what was not understood
 *
 * reader_patterns.c compiles the phrases, reader_literals.c finds the letters a
 * phrase cannot do without, reader_prefilter.c files phrases under them,
 * reader_lexicon.c knows single words and what a slip was meant for,
 * reader_quantities.c finds the quantities in phrases, reader_numbers.c makes
 * observations of them.
 * Offsets are 32 bits wide: a text is at most READER_MAX_TEXT long.
 */

/* ---- the text as it is matched (reader_text.c) ------------------------------------------- */

enum cut_kind { CUT_SOFT, CUT_HARD, CUT_QUESTION }; /* a comma, a full stop, a question mark */

struct cut { /* stands as a newline in the working text, so that ^ and $ mean the clause */
    uint32_t at;
    enum cut_kind kind;
};

struct working {
    char *bytes; /* folded; single spaces; '\n' between clauses; PREFILTER_PEEK NULs at the end */
    size_t length;
    uint32_t *from, *until; /* per byte: where its character began and ended in the text as given */
    struct cut *cuts;
    size_t cut_count;
};

/* STATUS_DATA with a message when the text is too long or not UTF-8. All memory from `arena`. */
enum status working_build(struct working *working, const char *text, size_t length,
                          struct arena *arena, struct diags *diags);

struct correction { /* a slip and the word that was meant */
    uint32_t start, end;
    const char *word;
    size_t length;
};
/* Puts what was meant in place of the slips, in order of start; the map leads to what was typed. */
enum status working_correct(struct working *working, const struct correction *corrections,
                            size_t count, struct arena *arena);
struct span working_span(const struct working *working, uint32_t start, uint32_t end);

struct token { /* one word */
    uint32_t start, end;
    uint32_t roles; /* bit per enum role that the word has by itself */
    bool covered;   /* some match accounts for it */
    bool unclear;   /* a negation of which it is not plain what it denies */
    bool counts;    /* it can begin a quantity */
};

/* ---- patterns (reader_patterns.c) -------------------------------------------------------- */

enum role {
    ROLE_VALUE,
    ROLE_NUMBER,
    ROLE_STATEMENT,
    ROLE_NEGATION,
    ROLE_HEDGE,
    ROLE_BREAK,
    ROLE_EXCEPTION,
    ROLE_OR,
    ROLE_AND,
    ROLE_IGNORE,
    ROLE_OBJECTION, /* beside what else the word does; no match is made of it */
    ROLE_YES,
    ROLE_NO,
    ROLE_COUNT
};

struct pattern {
    const char *source; /* as in the rules */
    struct position at;
    enum role role;
    size_t observable;        /* ROLE_VALUE, ROLE_NUMBER */
    size_t item;              /* the value (ROLE_VALUE) or statement (ROLE_STATEMENT) */
    enum dimension dimension; /* of the quantities in it */
    enum dimension gate;      /* not run on a text without a quantity of this; DIM_COUNT: none */
    pcre2_code *code;         /* NULL until first asked for, if it is sure to compile */
    uint32_t quantity, gap, over, under; /* bit per capturing group of that name */
    size_t scanned; /* bytes looked at so far: decides when translating to machine code pays */
    bool translated;
};

/* ---- the prefilter (reader_prefilter.c) -------------------------------------------------- */

#define NO_INDEX UINT32_MAX

struct literal {      /* a string that some patterns cannot do without */
    uint64_t head;    /* its first eight bytes, or all of them and zeros */
    const char *text; /* whole, if it is longer */
    uint32_t length;
    uint32_t users, user_count; /* who: from here in the list of users */
    uint32_t scan;              /* when it was last met */
};

struct literal_user {
    uint32_t pattern;
    unsigned char bit; /* of the set it belongs to */
    unsigned char all; /* the pattern's sets: a text must show one of each before it is run */
};

/*
 * A literal is looked up by its first bytes: six of them, or else four, or else
 * two. Most places of a text start none. Its first two bytes tell which kinds of
 * key any literal that begins with them has, a bit per hash whether a key is one.
 */
enum {
    LITERAL_SHORTEST = 2,
    LITERAL_KEYS = 3,
    LITERAL_HASH_BITS = 16,
    LITERAL_BUCKET_BITS = 12,
    PREFILTER_BUCKETS = 1 << LITERAL_BUCKET_BITS,
    PREFILTER_PEEK = 8, /* bytes read at a place, though fewer of the text may be left */
};

struct prefilter { /* which patterns could match at all */
    struct literal *literals;
    size_t literal_count;
    struct literal_user *users;
    uint32_t *always; /* patterns without a letter to go by */
    size_t always_count, always_room;
    unsigned char kinds[1 << 16];                 /* by two bytes: bit per kind of key */
    uint64_t keys[(1 << LITERAL_HASH_BITS) / 64]; /* bit per hash: some literal's key has it */
    /* Literals whose key's hash begins so stand from here to where the next bucket's do. */
    uint32_t buckets[PREFILTER_BUCKETS + 1];
};

/* Eight bytes, the first in the lowest place. */
static inline uint64_t prefilter_word(const char *text)
{
    uint64_t word;
    memcpy(&word, text, sizeof word);
    return le64toh(word);
}

/* The first `length` bytes of a word, zeros behind. */
static inline uint64_t prefilter_first(uint64_t word, size_t length)
{
    return length < sizeof word ? word & ((UINT64_C(1) << 8 * length) - 1) : word;
}

/* How many bytes of a literal a key of this kind takes. */
static inline size_t prefilter_key(size_t kind)
{
    return LITERAL_SHORTEST + 2 * kind;
}

/* The place in `kinds` of a text that begins so. */
static inline size_t prefilter_pair(uint64_t word)
{
    return word & 0xFFFF;
}

/* LITERAL_HASH_BITS of the key of this kind. */
static inline uint32_t prefilter_hash(uint64_t word, size_t kind)
{
    uint64_t key = prefilter_first(word, prefilter_key(kind));
    return (uint32_t)(key * UINT64_C(0x9E3779B97F4A7C15) >> (64 - LITERAL_HASH_BITS));
}

static inline uint32_t prefilter_bucket(uint32_t hash)
{
    return hash >> (LITERAL_HASH_BITS - LITERAL_BUCKET_BITS);
}

struct literals;
/* What is gathered before a prefilter can be laid out; lives in `scratch`. NULL: out of memory. */
struct gathering *prefilter_begin(struct arena *scratch);
/* Files a pattern under what it cannot do without. False when out of memory. */
bool prefilter_add(struct prefilter *filter, struct gathering *gathering, struct arena *memory,
                   uint32_t pattern, const struct literals *literals);
/* Lays out what was gathered, in `memory`. False when out of memory. */
bool prefilter_finish(struct prefilter *filter, const struct gathering *gathering,
                      struct arena *memory);

struct prefilter_state { /* of one pattern, in the clause being looked at */
    uint32_t scan;       /* the state is of this scan */
    unsigned char seen;  /* sets of which a string was found */
};

/* ---- single words (reader_lexicon.c) ----------------------------------------------------- */

struct lexeme {
    const char *word;
    uint32_t length;
    uint32_t roles;
    bool vocabulary;    /* stands in a phrase: a slip may be meant for it */
    signed char counts; /* it can begin a quantity: 1 yes, -1 no, 0 not looked yet */
    bool spared;
    uint32_t next; /* with the same first letter; NO_INDEX ends it */
};

struct lexicon {
    struct arena *memory;
    struct lexeme *lexemes;
    size_t count, room;
    uint32_t *slots; /* open addressing, indices into lexemes */
    size_t slot_count;
    uint32_t by_letter[26];
    bool failed;
};

bool lexicon_init(struct lexicon *lexicon, struct arena *memory);
/* The entry for a word, made if need be; NULL when out of memory (and `failed` is set). */
struct lexeme *lexicon_add(struct lexicon *lexicon, const char *word, size_t length);
struct lexeme *lexicon_find(const struct lexicon *lexicon, const char *word, size_t length);
/* The one word of the phrases that `word` is a slip of, or NULL. */
const struct lexeme *lexicon_slip(const struct lexicon *lexicon, const char *word, size_t length);
/* Adds every word of `text` to the vocabulary. */
void lexicon_learn(struct lexicon *lexicon, const char *text, size_t length);

/* ---- what a pattern needs (reader_literals.c) -------------------------------------------- */

struct literal_text {
    const char *text;
    uint32_t length;
};

struct literal_set {
    struct literal_text *items;
    size_t count, room;
};

enum { REQUIRED_MOST = 3 };

struct literals {
    bool sound;               /* read from end to end, and plain enough that it must compile */
    bool plain;               /* nothing but its letters matters: no look around, no anchor */
    bool exact;               /* the pattern matches `whole` and nothing else */
    struct literal_set whole; /* when exact */
    /* Any match contains one string of each of these; the most telling first. */
    struct literal_set required[REQUIRED_MOST];
    size_t required_count;
};

/* Every literal piece goes to `lexicon` (may be NULL) as vocabulary. False when out of memory. */
bool literals_find(const char *source, struct arena *arena, struct lexicon *lexicon,
                   struct literals *literals);

/* ---- quantities in phrases (reader_quantities.c) ----------------------------------------- */

enum { QUANTITY_MEMOS = 256 };

struct quantity_memo { /* what was found at a place of the text that is looked at */
    uint32_t scan;     /* it is of this scan */
    uint32_t at, end;  /* 0: none begins there */
    unsigned kind;
};

/*
 * Behind the quantity that begins at `at` of a text that ends at `to`, or 0.
 * Answers are kept until reader->scan moves on, as it must with every new text.
 */
uint32_t quantity_end(struct reader *reader, const char *bytes, uint32_t to, uint32_t at,
                      enum dimension dimension, bool unit_required);
/* Appends what a quantity is in PCRE2: a group `q` around callouts to quantity_callout. */
void quantity_put(struct text *out, enum dimension dimension, bool unit_required);
/* The length of a quantity's macro at `source` of a phrase, or 0. */
size_t quantity_macro(const char *source, bool *unit_required);
/* A phrase as its author wrote it, {q} and {n} by themselves. NULL when out of memory. */
char *quantities_as_written(const char *source, struct arena *arena);
/* The callout of all matching; `data` is the reader. */
int quantity_callout(pcre2_callout_block *block, void *data);

/* ---- the reader -------------------------------------------------------------------------- */

struct reader {
    const struct rules *rules;
    struct arena *memory;        /* for as long as the reader lives */
    struct arena *scratch;       /* for one reading */
    struct gathering *gathering; /* while the phrases are read */
    struct pattern *patterns;
    size_t pattern_count, pattern_room;
    struct prefilter prefilter;
    struct lexicon lexicon;
    const char *quantity_prefix;    /* what may stand before a quantity: "about" */
    struct prefilter_state *states; /* per pattern */
    uint32_t scan;
    pcre2_compile_context *compiling;
    pcre2_match_context *limits;
    pcre2_match_data *found;
    struct pattern bare[DIM_COUNT]; /* quantities without a phrase; made when first asked for */
    struct quantity_memo memos[QUANTITY_MEMOS];
    uint32_t quantity_end; /* of the quantity a pattern is in */
};

/* Compiles everything `reader->rules` says into patterns, prefilter and lexicon. */
enum status patterns_build(struct reader *reader, struct diags *diags);
/* Finds whether a pattern compiles; faults are told with a caret. Compiles it if that is cheap. */
enum status pattern_try(struct reader *reader, struct pattern *pattern, struct diags *diags);
/* Compiles a pattern that was tried before or is sound, if that is still to do. */
enum status pattern_ready(struct reader *reader, struct pattern *pattern);

/* ---- matches ----------------------------------------------------------------------------- */

/* Gaps beyond these count as accounted for; groups beyond these are not seen. */
enum { MATCH_GAPS = 2, MATCH_GROUPS = 32 };

struct match {
    uint32_t start, end; /* in the working text */
    enum role role;
    size_t observable, item;
    uint32_t q_start, q_end; /* ROLE_NUMBER: the quantity */
    struct {
        uint32_t start, end;
    } gaps[MATCH_GAPS]; /* inside, but not accounted for */
    unsigned gap_count;
    bool over, under; /* how the quantity is bounded */
    bool asked;       /* of the observable that was asked for: wins among numbers of its length */
    bool word;        /* a single word by itself: any phrase of the same place goes before it */
    bool answers;     /* a negation that answers by itself: "none" */
    uint32_t until;   /* a negation in a gap: where that match ends, and with it the denial */
    bool dropped;
    /* set by reader_clauses.c */
    bool denied;
    bool hedged;
    bool swallowed; /* understood, but says nothing of its own */
    bool aside;   /* it cannot be told what is said of it: left out, its words not accounted for */
    bool used;    /* a negation that denied something */
    bool unclear; /* a negation of which it is not plain what it denies */
    bool or_next; /* an alternative to the next match of the same observable */
};

struct match_list {
    struct match *items;
    size_t count, room;
    struct arena *arena;
    bool full; /* more than MATCH_MOST */
};

enum { MATCH_MOST = 32768 }; /* no description says as much; keeps memory in bounds */

struct match *match_add(struct match_list *list);

struct limit_hit {
    const struct pattern *pattern;
    struct limit_hit *next;
};

/* What a plain "yes" or "no" says about the observable that was asked for. */
struct bare_answer {
    bool given;
    bool needless; /* something else was said about it */
    bool hedged;
    uint32_t seen, absent;
    const char *note; /* nothing can be told from it: what would do */
    struct span span;
};

/* Everything about one text while it is being read. */
struct job {
    struct reader *reader;
    const char *text;
    size_t length;
    struct working working;
    struct token *tokens;
    size_t token_count;
    struct match_list matches; /* after job_resolve: in order, only those that stand */
    struct limit_hit *limits;
    int asked; /* the observable a question was about, or RULES_NONE */
    struct bare_answer bare_answer;
    struct arena *scratch;
    struct arena *list_arena; /* for what the caller keeps */
};

/* Splits the working text into tokens and looks each up. */
enum status job_tokens(struct job *job);
/* A new text, or a new part of one: nothing that was found stands any more. */
void reader_next_scan(struct reader *reader);
/* Collects all matches of all phrases worth trying, and of single words with a role. */
enum status job_scan(struct job *job);
/* Runs one pattern over [from, to) of the working text. */
enum status job_run(struct job *job, struct pattern *pattern, uint32_t from, uint32_t to,
                    struct match_list *into);
/* Keeps the matches that stand, in order of start; marks the tokens they cover. */
enum status job_resolve(struct job *job);
/* Marks the tokens that matches account for; without `all`, idle negations do not count. */
enum status job_cover(struct job *job, bool all);
/* Applies negations and hedges. */
enum status job_clauses(struct job *job);
/* Corrects slips in words nothing understood. `changed`: scan again. */
enum status job_slips(struct job *job, bool *changed);
/* Adds what only an answer may say: labels and ids of `asked`, a bare quantity. */
enum status job_answer(struct job *job);
/* Drops a number that is all of an answer but not of the sign that was asked for. */
enum status job_stray_number(struct job *job);
/* Settles a plain "yes" or "no" to the question. */
enum status job_yes_no(struct job *job);
/* Fills the list from what stands. */
enum status job_readings(struct job *job, struct reading_list *list);

enum number_fault { NUMBER_FINE, NUMBER_UNREADABLE, NUMBER_IMPOSSIBLE };
/*
 * The quantity in the first `length` bytes of folded text, moved by "over" and
 * "under", and the bins it touches. NUMBER_IMPOSSIBLE when it lies outside what
 * can be.
 */
enum number_fault number_read_bins(const struct observable *observable, const char *folded,
                                   size_t length, bool over, bool under, struct quantity *quantity,
                                   uint32_t *bins);
/* "the age lies between 0 days and 730 days": what would be possible. NULL when out of memory. */
const char *number_limits(const struct observable *observable, struct arena *arena);

#endif
