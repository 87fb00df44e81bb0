/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_TRIAGE_TRIAGE_H
#define JARSIDE_TRIAGE_TRIAGE_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"
#include "base/memory.h"
#include "language/reader.h"
#include "language/words.h"
#include "reason/reason.h"
#include "rules/rules.h"

/* One case, whole: words and facts in, verdict out.
 *
 * The one place where reading, process physics and inference meet. Everything
 * above (the prompt, the commands, the corpus test) tells a triage what was
 * said and takes its verdict; nothing above calls reason/ for a decision. */
struct triage; /* opaque: one consultation over one rule base */

/* `reader` and `reasoner` must be of the same rules and outlive it. */
struct triage *triage_new(const struct rules *rules, struct reader *reader,
                          const struct reasoner *reasoner);
void triage_free(struct triage *triage);
/* The rule base it was made of. */
const struct rules *triage_rules(const struct triage *triage);
/* Forgets everything said; keeps memory for the next case (`judge --lines`). */
void triage_reset(struct triage *triage);

/* From here on it recalls the cooks that another has computed, and the other way round; on any thread. The other must
 * outlive it. */
void triage_share_cooks(struct triage *triage, const struct triage *with);

enum { WORD_WEIGHTS = 8 }; /* of the words that weigh most, so many are kept */
/* From here on the words of descriptions weigh by this table, which must outlive the triage. */
void triage_weigh_words(struct triage *triage, struct words *words);

enum origin { ORIGIN_TEXT, ORIGIN_SET, ORIGIN_ANSWER, ORIGIN_COMPUTED, ORIGIN_JOURNAL };
/* "text", "set", "answer", "computed", "journal" */
extern const char *const origin_names[];

/* One thing known, as understood: the newest statement about an observable replaces or completes
 * the older ones (several-of values add up). */
struct fact {
    size_t observable;
    struct observation observation;
    bool has_number;
    struct quantity number;
    enum origin origin;
    const char *words; /* the words it came from; safe UTF-8 */
    uint32_t recalled; /* the values that records put there beside what was said */
    const char *recalled_words;
};

/* What was read, as a fact; its words are left to the caller. */
struct fact fact_heard(const struct reading *reading, enum origin origin);
/* Whether the longer statement has the shorter, one word, in it: "water at the bottom is milky" and "water". The longer
 * one then says which it is, and the word alone contradicts nothing. */
bool fact_says_more(const struct fact *longer, const struct fact *shorter);

/* "There is no green in here", beside an answer: one value plainly denied that the same words do not see. */
bool reading_corrects(const struct reading_list *list, const struct reading *reading);
/* Whether the words of a reading say something of another observable, too. */
bool reading_sweeps(const struct reading_list *list, const struct reading *reading);

/* "Two days ago", of the day on which something was first seen: counted back from the age, by the words behind the figure.
 * False when the age is not known, so that it says nothing. */
bool fact_count_back(struct fact *fact, const struct observable *observable, const char *behind,
                     double day);

/* Whether a fact falls by a correction: one that repeats its words and says nothing else of its observable, as in "I never
 * said half", unless it is salient (such a thing is only denied); or that withdraws ("it was the lamp"). */
bool fact_falls(const struct fact *fact, const struct rules *rules,
                const struct reading_list *list);
/* The one known figure that can take a figure of a correction which nothing else took ("I meant 90 minutes"), as it is then;
 * it is unread no more. False when none can, or several. Memory from `arena`. */
bool fact_figure(const struct fact *facts, size_t count, struct reader *reader,
                 struct reading_list *list, struct arena *arena, struct fact *corrected);

struct unclear { /* shown back to the grower */
    const char *words;
    enum unread_reason reason;
    const char *note;
};

struct clash { /* two statements that contradict; both values stay possible until settled */
    size_t observable;
    const char *first, *second; /* the words */
};

/* Free text. Faults of the text itself (too long, not text) are in `diags`. */
enum status triage_tell(struct triage *triage, const char *text, size_t length,
                        struct diags *diags);
/* Whether a text corrects, by its own words, something said before. */
bool triage_corrects(struct triage *triage, const char *text);
/* A setting as of the command line or a case file. `at` is where it stands, for messages. */
enum status triage_set(struct triage *triage, const char *sign, const char *value,
                       struct position at, struct diags *diags);
/* An answer to a question: number in the list, word, sentence, or quantity. STATUS_USAGE when it
 * says nothing about the observable and nothing else either. */
enum status triage_answer(struct triage *triage, size_t observable, const char *text,
                          struct diags *diags);
/* "I don't know": it is not asked again. What was said of it before stands. */
void triage_unknown(struct triage *triage, size_t observable);
void triage_forget(struct triage *triage, size_t observable); /* as if never said */
/* The case loader's case: text, settings and stakes. */
enum status triage_case(struct triage *triage, const struct labelled_case *labelled,
                        struct diags *diags);

/* Going back: a mark of everything said, and the return to it. Marks nest like a stack. */
size_t triage_mark(struct triage *triage);
void triage_return(struct triage *triage, size_t mark);

/* ---- what records say ------------------------------------------------------------------------ */

/* Before anything is said, records may know: the cook, the hydration, what earlier
 * looks saw. Such facts have ORIGIN_JOURNAL. They stand beneath the log: a mark
 * and a return leave them alone, whatever is said of the same observable now
 * stands in their place, "I don't know" takes them away and triage_forget
 * brings them back. Only triage_reset drops them.
 *
 * The words ("cook C4: 15 psi, 90 min") are copied and made safe. A one-of that feeds a computation may
 * have a number, too: the figure behind the value. With `stands` what was seen has happened: it stays
 * part of the facts whatever is said now, a denial included. Several-of: the values seen; else the whole
 * observation. Of one observable the newest counts; what stands adds up. */
void triage_recall(struct triage *triage, const struct fact *fact, bool stands);
/* The same as SIGN=VALUE; STATUS_USAGE with a message when there is no such sign or value. */
enum status triage_recall_setting(struct triage *triage, const char *sign, const char *value,
                                  const char *words, struct diags *diags);

/* An earlier look, for what has changed since. From these and what is known now a
 * triage works out, where nothing was said of it and it can be known: the pace
 * since the last look, the days without progress, the day on which trouble was
 * first seen. Where a patch was there last time and is there now, what it did is
 * the first thing asked. */
struct earlier {
    double day;        /* age then; NAN when not known */
    double coverage;   /* per cent; NAN when not said */
    bool trouble;      /* an odd patch or a salient value was seen */
    const char *words; /* "look of 12 March"; copied */
};
/* In the order of the looks. */
void triage_earlier(struct triage *triage, const struct earlier *earlier);

/* What became of the others that share something with the vessel (reason/siblings.h),
 * counted. It moves the causes at every judging until triage_reset. `names` are what
 * the groups are called, per enum relation ("cook C4"), NULL where there is none; copied. What was
 * counted is not asked; where the grower now says something of a group,
 * that stands and the count moves nothing. STATUS_DATA for counts that cannot be. */
struct sibling_cell;
enum status triage_siblings(struct triage *triage, const struct sibling_cell *cells, size_t count,
                            const char *const *names);

struct stakes *triage_stakes(struct triage *triage); /* to read and set */
/* What reason/ is told of it. */
const struct evidence *triage_evidence(struct triage *triage);

/* The newest question of the grower's own, in their words; NULL when none was asked. */
const char *triage_asked(const struct triage *triage);

/* What is known, what was not understood and what contradicts, until something else is said. */
struct heard {
    struct fact *facts;
    size_t fact_count;
    struct unclear *unclear;
    size_t unclear_count;
    struct clash *clashes;
    size_t clash_count;
    const struct word_weight *weights; /* the words that weighed most, heaviest first */
    size_t weight_count;
};
struct heard triage_heard(const struct triage *triage);
/* The fact about an observable; NULL when nothing is known of it. */
const struct fact *triage_fact(const struct triage *triage, size_t observable);
/* Whether somebody said it now, and no record or computation knows it. */
bool fact_said(const struct fact *fact);
/* Whether it is of trouble: a salient value said plainly, or odd patches and nothing else. */
bool is_trouble(const struct observable *observable, const struct observation *said);
/* The salient values of an observable that free text passed over: taken as unlikely, but no fact. */
uint32_t triage_silent(const struct triage *triage, size_t observable);

struct ranked { /* a finding or a cause and its probability */
    size_t index;
    double p;
};

/* What process/ computed from the facts, and how it moved a cause. */
struct computed {
    size_t cause;
    double log_odds;
    double replaces;     /* what the rules weigh of the same; the shift is log_odds - replaces */
    const char *say;     /* the computation in one line */
    const char *assumed; /* what it assumed, or NULL */
};

/* One group of siblings, and what it moved. */
struct sibling_evidence {
    const struct sibling_group *group; /* reason/siblings.h */
    const char *name;                  /* "cook C4" */
    bool left_out;                     /* the grower spoke of it: that counts instead */
    const struct prior_shift *causes;  /* of its scope: raised, then lowered; farthest first */
    size_t cause_count;
};

struct verdict { /* valid until the next call that changes or judges this triage */
    struct decision decision;
    const struct ranked *findings; /* complete, falling p */
    const struct ranked *causes;   /* complete, falling p */
    double no_cause;
    double status[FINDING_STATUS_COUNT];
    struct explanation explanation;
    const struct turn *turns;
    size_t turn_count;
    const char *asked;         /* the grower's own question in their words; NULL: none */
    const struct reply *reply; /* what it is answered */
    bool settled;              /* no single answer left is likely enough to change the action */
    bool words_decide; /* the action rests on the weight of words alone; questions would show it */
    const struct question *questions; /* for the action, best first */
    size_t question_count;
    const struct question *tests; /* that would separate the leading causes, best first */
    size_t test_count;
    const char *const *steps; /* what to do now, in order */
    size_t step_count;
    const size_t *cautions; /* indices into rules.cautions, by rank */
    size_t caution_count;
    const struct computed *computed;
    size_t computed_count;
    const struct sibling_evidence *siblings; /* in the order of enum relation */
    size_t sibling_count;
};

/* Judges what has been said so far. */
const struct verdict *triage_judge(struct triage *triage);
/* The same without explanation, turns and tests, for a screen that shows none of them. */
const struct verdict *triage_judge_plainly(struct triage *triage);
/* The same action and findings, for callers that show nothing else: causes,
 * explanation, turns, questions, tests, cautions and steps, which take nearly
 * all of a judgement's time, are left out (NULL and 0, and settled is false). */
const struct verdict *triage_judge_briefly(struct triage *triage);

/* Whether the action depends on which of the values of a contradiction holds. */
bool triage_turns_on(struct triage *triage, size_t observable);

/* The chance that it is contaminated, and the action, if nothing were known of an observable. */
double triage_without(struct triage *triage, size_t observable, enum action *action);

/* Whether an observable's question may still be put: it was neither answered nor declined, nor is it gated. */
bool triage_open(struct triage *triage, size_t observable);

/* What the rules have asked before a keep is believed and nobody spoke of yet; (size_t)RULES_NONE if
 * nothing. */
size_t triage_before_keep(struct triage *triage);

/* The next question for an aim, leaving out what was answered, declined or gated; NULL if there
 * is none. */
const struct question *triage_next(struct triage *triage, enum aim aim);

/* Whether a caution is about vessels that hold this finding. */
bool caution_is_about(const struct caution *caution, const struct rules *rules, size_t finding);

/*
 * Facts as JSON, and back: how a verdict shows what was understood, and how a look
 * is kept.
 *
 *     [{"sign": "day", "value": "d8_14", "seen": true, "from": "day 12", "origin": "text",
 *       "hedged": false, "number": {"lo": 12, "hi": 12, "unit": "d"}}, ...]
 *
 * One row a value that was seen or denied. Values that records remembered have
 * the origin "journal" and stand `from` there.
 */

/* All that is known now. New reference. */
json_t *facts_json(const struct triage *triage);

/* Reads such an array, one fact an observable, without words: what was said then, not what was
 * remembered or worked out then. What the rules no longer know is left out. STATUS_DATA when the text is
 * no such array. */
enum status facts_read(const struct rules *rules, const char *text, struct arena *arena,
                       const struct fact **facts, size_t *count);

#endif
