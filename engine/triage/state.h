/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_STATE_H
#define JARSIDE_TRIAGE_STATE_H

#include "reason/siblings.h"
#include "triage/compute.h"
#include "triage/triage.h"

/*
 * A triage keeps a log of what was said, in order, and reads all else off it:
 * a mark is a length of the log, and going back is cutting it there. What the
 * files of triage/ share:
 *
 *   triage.c    what is said goes into the log
 *   known.c     the log and what records know come to what is known
 *   verdict.c   what is known comes to a verdict
 */

enum saying_kind {
    SAYING_TOLD,     /* a statement about an observable */
    SAYING_ASKED,    /* its question was put and answered, however little that told */
    SAYING_UNKNOWN,  /* the grower does not know */
    SAYING_FORGET,   /* as if nothing had been said */
    SAYING_UNCLEAR,  /* words nothing understood */
    SAYING_TEXT,     /* a description, whole, for the weight of its words */
    SAYING_QUESTION, /* one of the grower's own; `observable` is its index in the rules */
};

struct saying {
    enum saying_kind kind;
    size_t batch; /* statements of one call belong together */
    size_t observable;
    struct observation said;
    bool others;  /* its denials are "no other": what else was said stands */
    bool settles; /* it answers the question, so it ends a clash */
    bool has_number;
    struct quantity number;
    enum origin origin;
    const char *words;         /* safe */
    enum unread_reason reason; /* unclear only */
    bool objected;             /* likewise: struct unread */
    const char *note;
};

/* What the log comes to for one observable. */
struct known {
    bool told, asked, unknown;
    size_t batch; /* of the last statement taken in */
    size_t since; /* place in the log of the first statement; for the order of facts */
    struct observation observation;
    uint32_t by_others; /* of the denied values, those denied only as "no other" */
    bool in_text;       /* free text spoke of it */
    bool has_number;
    struct quantity number;
    enum origin origin;
    const char *words;
    const char *value_words[RULES_MAX_VALUES]; /* several-of: what spoke of each value */
    uint32_t recalled;                         /* values that records put beside what was said */
    const char *recalled_words;
    uint32_t clashing;  /* several-of: values both seen and denied */
    bool clashes;       /* one-of: statements that leave nothing in common */
    size_t clash_batch; /* when that came up */
    const char *clash_first, *clash_second;
};

struct triage {
    const struct rules *rules;
    struct reader *reader;
    const struct reasoner *reasoner;
    struct words *words;   /* NULL: the words of descriptions do not weigh */
    struct arena *house;   /* as long as the triage: itself, and the arrays per observable */
    struct arena *said;    /* the log, the records, and their words */
    struct arena *scratch; /* while reading one text */
    struct arena *derived; /* words put together, facts; renewed with the state */
    struct arena *judged;  /* the verdict */
    struct cook_memo *cooks;

    struct saying *log;
    size_t log_count;
    size_t batch;
    struct recalled *recalled; /* what records know, beside the log */
    size_t recalled_count;
    struct earlier *earlier;
    size_t earlier_count;
    struct sibling_pattern pattern;
    bool weighed;  /* the pattern is filled */
    bool controls; /* some of its cook were never inoculated, and counted */
    const char *group_names[RELATION_COUNT]; /* of its groups */

    struct known *known;              /* the state, per observable */
    struct observation *observations; /* the evidence, likewise */
    bool *skip;                       /* not to be asked, likewise */
    int first_question;               /* observable that is asked before others, or RULES_NONE */
    const struct saying *asked;       /* the grower's own question, the newest; or NULL */
    struct fact *facts;
    size_t fact_count;
    struct clash *clashes;
    size_t clash_count;
    struct unclear *unclear;
    size_t unclear_count;

    double *likelihood; /* of the words, per finding, for the evidence */
    struct word_weight word_weights[WORD_WEIGHTS];
    size_t word_weight_count;

    bool stale; /* the state has changed since the moves were computed */
    struct evidence evidence;
    struct computed *computed;
    size_t computed_count;
    struct prior_shift *shifts; /* the evidence's: of the computed, then of the siblings */
    struct pair_shift *pairs;   /* likewise, of the siblings */
    struct stakes stakes;
    struct posterior posterior;
    struct verdict verdict;
    struct question next;
};

/* known.c: works out all that is known anew. */
void triage_merge(struct triage *triage);
/* Forgets what records knew; what is in the arena goes with it. */
void records_forget(struct triage *triage);
/* Whether the grower speaks of such a group now: then that counts, and not the journal. */
bool group_spoken_of(const struct triage *triage, enum relation relation);
/* A safe copy in the arena of what was said. */
const char *triage_keep_words(struct triage *triage, const char *bytes, size_t length);
/* verdict.c: brings the computed moves up to the state; at once if they are. */
void triage_compute(struct triage *triage);

#endif
