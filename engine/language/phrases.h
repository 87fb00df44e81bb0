/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_LANGUAGE_PHRASES_H
#define JARSIDE_LANGUAGE_PHRASES_H

#define PCRE2_CODE_UNIT_WIDTH 8
#include <libstemmer.h>
#include <pcre2.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "base/text.h"
#include "language/reader.h"
#include "rules/rules.h"

/*
 * From a text to what its words say, one by one. How a reading comes about:
 *
 *   clauses.c   the text as given -> folded, cut into clauses, with a map back; later, what each
 *               negation and hedge reaches
 *   phrases.c   words and their stems; the phrases, as one trie; words -> all matches of all phrases
 *   patterns.c  quantities, and the phrases that are patterns
 *   reader.c    which matches stand, what they say, what was not understood; answers and settings
 *
 * Offsets are 32 bits wide: a text is at most READER_MAX_TEXT long.
 */

/* ---- the text as it is matched (clauses.c) ----------------------------------------------- */

enum cut_kind { CUT_SOFT, CUT_HARD, CUT_QUESTION }; /* a comma, a full stop, a question mark */

struct cut { /* stands as a newline in the working text, so that ^ and $ mean the clause */
    uint32_t at;
    enum cut_kind kind;
};

struct working {
    char *bytes; /* folded; single spaces; '\n' between clauses */
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
void working_correct(struct working *working, const struct correction *corrections, size_t count,
                     struct arena *arena);
struct span working_span(const struct working *working, uint32_t start, uint32_t end);
/* Whether a folded byte is of a word: a letter, a digit, or not ASCII. */
bool is_word(int c);
/* Where the clause ends that goes on at a byte of the working text. */
uint32_t clause_end(const char *bytes, uint32_t at);

/* ---- words and phrases (phrases.c) ------------------------------------------------------- */

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
    ROLE_OTHERS,     /* something else than the vessel that is asked about */
    ROLE_HERE,       /* this vessel again */
    ROLE_CORRECTION, /* something said before was wrong */
    ROLE_QUESTION,   /* the grower's own: understood, but nothing is said by it */
    ROLE_IGNORE,
    ROLE_OBJECTION, /* beside what else the word does; no match is made of it */
    ROLE_NONE,      /* likewise */
    ROLE_YES,
    ROLE_NO,
    ROLE_LIST,    /* an item of a list that phrases name */
    ROLE_PATTERN, /* where these words are a pattern is run */
    ROLE_BOUND,   /* "about", "over", "under": what may stand before a quantity */
};

struct token { /* one word */
    uint32_t start, end;
    uint32_t stem;   /* NO_INDEX: no phrase has such a word */
    uint32_t clause; /* the token after the last of its clause */
    uint32_t roles;  /* bit per enum role that the word has by itself */
    uint64_t marks;  /* of itself, and of what a phrase may go on with after it: see struct node */
    uint64_t next;
    uint16_t units;   /* bit per dimension: from here on there may be a unit of that */
    uint16_t letters; /* how many of a to z it begins with */
    bool filler;      /* may stand anywhere in a phrase */
    bool figure;      /* it begins with one */
    bool counts;      /* it can begin a quantity */
    bool quantity;    /* or what stands before one */
    bool covered;     /* some match accounts for it */
    bool unclear;     /* a negation of which it is not plain what it denies */
};

struct phrase {
    const char *source; /* as in the rules; a pattern after its '/' */
    struct position at;
    enum role role;
    enum dimension dimension; /* of the quantities in it; DIM_COUNT: none may stand in it */
    uint32_t observable;      /* ROLE_VALUE, ROLE_NUMBER; NO_INDEX: what was asked */
    uint32_t item;            /* the value, statement, list, or pattern */
    bool first, last;         /* it begins, or ends, its clause */
};

enum { GROUP_QUANTITY, GROUP_GAP, GROUP_OVER, GROUP_UNDER, GROUPS }; /* named so */

struct pattern {
    struct phrase phrase;
    const char *given; /* with the words it is run at and those it needs */
    uint32_t same;     /* the next pattern that is the same, of another value; NO_INDEX ends them */
    pcre2_code *code;
    uint32_t groups[GROUPS]; /* bit per capturing group of that name */
    const uint32_t *with;    /* stems of which its clause holds one; NULL: any */
    size_t with_count;
    bool everywhere;      /* it names no words to be run at */
    bool broken;          /* it does not compile */
    bool gated;           /* it holds a quantity */
    bool unit;            /* which names its unit */
    bool translated;      /* to machine code */
    size_t scanned;       /* bytes looked at so far: decides when translating pays */
    uint32_t scan, until; /* where it was run last: so far */
    uint32_t stopped;     /* the scan in which it hit a limit */
};

struct named { /* what each entry of a set begins with */
    const char *text;
    uint32_t length;
};

struct interned { /* strings and what is known of each, numbered in the order they came */
    struct arena *memory;
    size_t size; /* of an entry */
    union {
        void *all;
        struct lexeme *lexemes;
        struct stem *stems;
        struct list *lists;
        struct entry *entries;
    };
    size_t count;
    struct hashed index;
};

/* The number of a string, or NO_INDEX; interned_add numbers it if need be, keeps a copy, and the
 * rest of its entry is zero. */
uint32_t interned_find(const struct interned *set, const char *text, size_t length);
uint32_t interned_add(struct interned *set, const char *text, size_t length);

struct clause {
    uint32_t scan, number;
    uint32_t first, end; /* its tokens */
    uint32_t from, to;   /* its bytes */
};

struct reader {
    const struct rules *rules;
    struct arena *memory;  /* for as long as the reader lives */
    struct arena *scratch; /* for one reading */
    struct sb_stemmer *stemmer;
    struct interned words, stems, lists;
    uint32_t *by_letter[26]; /* of these, that stand in the rules or in quantities, by the first */
    size_t letter_count[26];
    struct phrase *phrases;
    size_t phrase_count;
    struct pattern *patterns;
    size_t pattern_count, everywhere; /* in all, and of those that name no words to be run at */
    struct trie *trie;
    uint32_t figure; /* the stem of "#": any word that begins with a figure */
    uint32_t glued;  /* and of one that is written together with the word before it: "d#" */
    uint32_t bare;   /* the node after a quantity without a phrase */
    const char *quantity_prefix; /* what may stand before a quantity in a pattern: "about" */
    pcre2_compile_context *compiling;
    pcre2_match_context *limits;
    pcre2_match_data *found;
    uint32_t scan;         /* counts texts, and parts of one that are looked at again */
    uint32_t runs, timed;  /* of patterns in all; the scan since which time is taken */
    int64_t begun;         /* then: nanoseconds of processor time */
    struct clause clause;  /* where a pattern was looked for last */
    uint32_t *stem_in;     /* per stem: the number of the last clause that held it */
    uint32_t quantity_end; /* of the quantity a pattern is in */
    struct diags *diags;   /* while it is built: */
    bool wrong;            /* some phrase is, and was told there */
};

/* Compiles everything `reader->rules` says. False when phrases are wrong, which are told. */
bool phrases_build(struct reader *reader, struct diags *diags);
/* The stem of a word and its length; valid until the next. */
const char *stem_of(struct sb_stemmer *stemmer, const char *word, size_t *length);
/* The roles of a word, a bit each. */
uint32_t word_roles(struct reader *reader, const char *word, size_t length);
/* The stems of words apart by '|'. */
uint32_t *stems_of(struct reader *reader, const char *words, size_t *count);
/* The stem of a word of a text, or NO_INDEX. */
uint32_t stem_known(struct reader *reader, const char *word, size_t length);
/* Adds the phrase of words in `source`, a part of `phrase` or all of it; false, told, if it is none. */
bool phrase_add(struct reader *reader, const struct phrase *phrase, const char *source,
                size_t length);
/* Keeps a phrase; its number. */
uint32_t phrase_new(struct reader *reader, const struct phrase *phrase);

/* ---- quantities and patterns (patterns.c) ------------------------------------------------ */

/* Makes what PCRE2 needs; frees that, and the patterns. */
void patterns_open(struct reader *reader);
void patterns_close(struct reader *reader);
/* Compiles a phrase that is a pattern; told and *wrong if it cannot be one. */
void pattern_add(struct reader *reader, const struct phrase *phrase);

/* ---- matches ----------------------------------------------------------------------------- */

/* Gaps beyond these count as accounted for; groups beyond these are not seen. */
enum { MATCH_GAPS = 2, MATCH_GROUPS = 32 };

struct match {
    uint32_t start, end; /* in the working text */
    enum role role;
    uint32_t observable, item;
    uint32_t q_start, q_end; /* ROLE_NUMBER: the quantity */
    struct {
        uint32_t start, end;
    } gaps[MATCH_GAPS]; /* inside, but not accounted for */
    unsigned gap_count;
    bool over, under; /* how the quantity is bounded */
    bool asked;       /* of the observable that was asked for: wins among numbers of its length */
    bool named;       /* of that, by words that mean nothing else in an answer to it */
    bool word;        /* a single word by itself: any phrase of the same place goes before it */
    bool answers;     /* a negation that answers by itself: "none" */
    uint32_t until;   /* a negation in a gap: where that match ends, and with it the denial */
    bool dropped;
    /* set by job_clauses */
    bool denied;
    bool hedged;
    bool swallowed; /* understood, but says nothing of its own */
    bool elsewhere; /* so, for it is said of something else than this vessel */
    bool aside;   /* it cannot be told what is said of it: left out, its words not accounted for */
    bool used;    /* a negation that denied something */
    bool unclear; /* a negation of which it is not plain what it denies */
    bool or_next; /* an alternative to the next match of the same observable */
};

struct match_list {
    struct match *items;
    size_t count;
    struct arena *arena;
    bool full; /* more than MATCH_MOST */
};

enum { MATCH_MOST = 32768 }; /* no description says as much; keeps memory in bounds */

/* A new match, all zero; a spare one that is lost when there are too many. */
struct match *match_add(struct match_list *list);

struct limit_hit {
    const struct phrase *phrase;
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
    struct match_list matches; /* after resolving: in order, only those that stand */
    struct limit_hit *limits;
    struct reading_list *list; /* what comes out of it */
    int asked;                 /* the observable a question was about, or RULES_NONE */
    struct bare_answer bare_answer;
    struct arena *scratch;
    struct arena *list_arena; /* for what the caller keeps */
};

/* Splits the working text into tokens and looks each up. */
void job_tokens(struct job *job);
/* Collects all matches of all phrases, and of single words with a role. */
void job_scan(struct job *job);
/* Adds the matches of a pattern in the clause of this word, unless it has been run there. */
void pattern_run(struct job *job, struct pattern *pattern, size_t word);
/* Those of the patterns that are run everywhere. */
void patterns_run(struct job *job);
/* Corrects slips in words nothing understood. True: scan again. */
bool job_slips(struct job *job);
/* Takes out what a correction within the text replaces: "on day 5, no wait, day 6". True: scan again. */
bool job_restarts(struct job *job);
/* Applies negations and hedges. */
void job_clauses(struct job *job);

#endif
