/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_LANGUAGE_READER_H
#define JARSIDE_LANGUAGE_READER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "rules/rules.h"

/* Plain language to observations.
 *
 * A reader holds the compiled phrases of one rule base (PCRE2, UTF, limits on match, depth and
 * heap; JIT once a pattern is used often). Reading folds the text, cuts it into clauses, finds
 * phrases and quantities, applies negation and hedges within their clause, and accounts for every
 * word: what nothing matched and no ignore word covers is reported as not understood. */
struct reader; /* opaque; not thread-safe: one per thread */

enum reader_limits { READER_MAX_TEXT = 64 * 1024 }; /* bytes; longer text is refused, not cut */

struct span {
    size_t start, end;
}; /* bytes of the text as given */
/* What stands there. */
#define span_words(arena, text, span)                                                              \
    arena_copy(arena, (text) + (span).start, (span).end - (span).start)

/* One thing said about one observable. */
struct reading {
    size_t observable;
    uint32_t seen;   /* values said to hold; several bits on a one-of mean "one of these" */
    uint32_t absent; /* values denied */
    bool hedged;     /* "maybe", "I think" */
    bool others;     /* `absent` is "no other colour": what was said earlier stands */
    bool has_number;
    struct quantity number; /* number observables: what was said, canonical units */
    struct span span;
};

enum unread_reason {
    UNREAD_UNKNOWN,    /* no phrase knows these words, or what they deny is not plain: see note */
    UNREAD_IMPOSSIBLE, /* a number outside what can be: see note */
    UNREAD_LIMIT,      /* a pattern hit its match limit: see note */
};

struct unread {
    struct span span;
    enum unread_reason reason;
    const char *note; /* what would be right, or NULL */
    bool objected;    /* stands after "but" or the like, so it may be what is amiss */
};

struct reading_list { /* all in the arena given to reader_read; spans are into its `text` */
    const char *text;
    struct reading *readings;
    size_t reading_count;
    struct unread *unread;
    size_t unread_count;
    struct span *elsewhere; /* what is said of anything but this vessel, or withdrawn */
    size_t elsewhere_count;
    struct span *questions; /* what the grower asks, which is no evidence */
    size_t question_count;
    bool corrects; /* by its own words: "no wait", "i was wrong" */
    int question;  /* index into rules.questions of the last one the grower asks, or RULES_NONE */
    struct span question_span;
};

/* Compiles the phrases of `rules`, which must outlive the reader. A pattern that does not compile
 * is an error in `diags` with its own caret; then the result is NULL. */
struct reader *reader_new(const struct rules *rules, struct diags *diags);
void reader_free(struct reader *reader);

/* Reads `length` bytes of any content. STATUS_DATA with a message in `diags` when it is too long or
 * not UTF-8 text; otherwise STATUS_OK and `list` is filled (possibly empty). */
enum status reader_read(struct reader *reader, const char *text, size_t length, struct arena *arena,
                        struct reading_list *list, struct diags *diags);

/* As reader_read, but the text answers the question about `observable`: bare values, numbers
 * without a unit, "yes" and "no" are understood in its terms. */
enum status reader_answer(struct reader *reader, size_t observable, const char *text, size_t length,
                          struct arena *arena, struct reading_list *list, struct diags *diags);

/* Whether an answer says that its giver does not know, by the list of the rules: at its beginning,
 * up to the end of a word. `rest` is what follows a comma, a full stop or a word such as "like", or
 * the alternatives ("can't tell if it is green or black"); what else follows only says of what. */
bool reader_does_not_know(const struct rules *rules, const char *line, const char **rest);
/* Whether figures answer its question as counts of what is seen, not as places in its list. */
bool reader_counts(const struct observable *asked);
/* Whether an answer does no more than choose from the values by their places, from 1: "2", "1 and
 * 3", "the second", "number 3 i'd say". Their bits; 0 if it does not. */
uint32_t reader_chosen(const struct observable *asked, const char *text, bool *guessed);

/* A copy, from `arena`, of the text that was read, with full stops in place of what is said of
 * something else than this vessel, and of the grower's own questions unless they are wanted. */
char *reader_own_words(const struct reading_list *list, size_t length, bool questions,
                       struct arena *arena);

/* A sign=value setting: `value` is a value id, several separated by commas, a leading '-' to deny
 * one, a quantity for number observables, a trailing '?' for a hedge. Fault: STATUS_USAGE with the
 * nearest name suggested, at the place `at`. */
enum status reader_set(struct reader *reader, const char *sign, const char *value,
                       struct position at, struct reading *reading, struct diags *diags);

/* For `rules check`: warns in `diags` of patterns that backtrack without end on adversarial input
 * (tried against generated text under a small match limit). */
void reader_check_patterns(struct reader *reader, struct diags *diags);

#endif
