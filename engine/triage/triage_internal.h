/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_TRIAGE_INTERNAL_H
#define JARSIDE_TRIAGE_TRIAGE_INTERNAL_H

#include "reason/siblings.h"
#include "triage/triage.h"

/*
 * A triage keeps a log of what was said, in order, and reads all else off it:
 * a mark is a length of the log, and going back is cutting it there. triage/ only.
 */

enum saying_kind {
    SAYING_TOLD,    /* a statement about an observable */
    SAYING_ASKED,   /* its question was put and answered, however little that told */
    SAYING_UNKNOWN, /* the grower does not know */
    SAYING_FORGET,  /* as if nothing had been said */
    SAYING_UNCLEAR, /* words nothing understood */
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

/* What records know, beside the log. */
struct records {
    struct recalled *recalled;
    size_t recalled_count;
    struct earlier *earlier;
    size_t earlier_count;
    struct sibling_pattern pattern;
    bool weighed;                      /* the pattern is filled */
    bool controls;                     /* some of its cook were never inoculated, and counted */
    const char *names[RELATION_COUNT]; /* of its groups */
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
    const char **value_words; /* several-of: what spoke of each value that is seen or denied */
    uint32_t recalled;        /* values that records put beside what was said */
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
    struct arena *said;    /* the log and its words */
    struct arena *scratch; /* while reading one text */
    struct arena *derived; /* words put together; renewed with the state */
    struct arena *judged;  /* the verdict */
    struct cook_memo *cooks;
    struct records records; /* in the arena of what was said, but for the pattern */
    int first_question;     /* observable that is asked before others, or RULES_NONE */
    struct saying *log;
    size_t log_count, log_room;
    size_t batch;

    struct known *known;              /* the state, per observable */
    const char **value_words;         /* RULES_MAX_VALUES of each observable, for `known` */
    struct observation *observations; /* the evidence, likewise */
    bool *skip;                       /* not to be asked, likewise */
    struct fact *facts;
    size_t fact_count;
    struct clash *clashes;
    size_t clash_count;
    struct unclear *unclear; /* as long as the log */
    size_t unclear_count;

    struct evidence evidence;
    struct computed *computed;  /* of the state, once triage_compute was called */
    struct prior_shift *shifts; /* the evidence's: of the computed, then of the siblings */
    struct pair_shift *pairs;   /* likewise, of the siblings */
    size_t computed_count;
    bool stale; /* the state has changed since */
    struct stakes stakes;
    struct posterior posterior;
    struct verdict verdict;
    struct question next;
};

/* recall.c: forgets what records knew. Puts what they know beneath what was said. */
void records_forget(struct triage *triage);
void records_merge(struct triage *triage);
/* A safe copy in the arena of what was said; NULL when out of memory. */
const char *triage_keep_words(struct triage *triage, const char *bytes, size_t length);

/* change.c: what has changed since earlier looks, where nothing was said of it. */
void change_merge(struct triage *triage);

/* pattern.c: marks what was counted as not to be asked; adds the shifts behind the computed ones;
 * puts the evidence of the verdict together. False when out of memory. */
void siblings_skip(struct triage *triage);
void siblings_shift(struct triage *triage);
bool siblings_tell(struct triage *triage);

/* merge.c: what the log comes to. Without memory words are not put together, and `derived` knows. */
void triage_merge(struct triage *triage);
/* Brings the computed moves up to the state; at once if they are. False when out of memory, for
 * them or for the words of the state. */
bool triage_compute(struct triage *triage);

#endif
