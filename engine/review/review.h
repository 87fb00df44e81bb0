/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_REVIEW_H
#define JARSIDE_REVIEW_REVIEW_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/filing.h"
#include "base/memory.h"
#include "base/text.h"
#include "journal/journal.h"
#include "reason/reason.h"
#include "review/dataset.h"
#include "review/statistics.h"
#include "rules/rules.h"
#include "triage/triage.h"

/* The post-mortem: what was lost, where the losses gather, which shared cause explains them, how
 * sure that is, what cannot be told apart, which test would settle it, and what to change first.
 *
 * A review concludes; it shows nothing. All of it is plain data in one arena, for view/ to show and
 * to draw. It is a function of its arguments: the same dataset gives the same review.
 *
 * A vessel counts for the days it has lived: an open one is sound so far, and one younger than
 * rules.review.watched days is reported as young. Controls count apart: among the suspects, and
 * only for what they can show. */

/* ---- what was lost --------------------------------------------------------------------------- */

struct review_totals {
    size_t vessels;          /* inoculated, of whatever fate */
    size_t fate[FATE_COUNT]; /* of those */
    size_t unrecorded;       /* of those: nobody wrote down what became of them */
    size_t young;            /* open, and younger than is watched */
    struct counts counts;    /* those that count: lost of total */
    struct counts controls;  /* never inoculated */
    struct interval exact;   /* of the rate of loss, 95 % */
    size_t batches;          /* 0 when the dataset has none */
    int32_t first, last;     /* days on which the first and the last vessel began; DAY_NONE */
};

/* ---- where losses gather --------------------------------------------------------------------- */

struct review_level { /* one cook, one starter ...; as in factors[].levels */
    uint32_t level;
    struct counts counts, controls;
    struct interval exact, wilson; /* 95 % */
    double log_bayes; /* ln of the Bayes factor "has its own rate" against "as the rest" */
};

struct review_factor { /* in the order of the dataset */
    size_t factor;
    struct review_level *levels; /* every level that some counted vessel or control has; highest
                                    share of loss first, larger ones first among equals */
    size_t level_count;
    size_t unknown;         /* counted vessels without a level */
    struct table_test test; /* do the levels lose alike? */
    double q;               /* test.p, adjusted for all factors asked (false discovery rate) */
    double log_bayes;       /* ln of the Bayes factor "rates of their own" against "one rate" */
    /* Held still: the same question within the levels of the factor most entangled with it. */
    size_t within;    /* a factor, or factor_count of the dataset when none is */
    double entangled; /* with it: Cramer's V, 0 to 1 */
    double within_p;
    size_t within_strata; /* that could tell something; 0: cannot be told apart */
};

struct review_alias {     /* two factors that split the vessels alike, or nearly */
    size_t first, second; /* factors of the dataset */
    size_t together, of;  /* vessels in which they agree, of those that have both */
};

/* ---- suspects -------------------------------------------------------------------------------- */

struct review_suspect { /* a level of a factor, named as what failed */
    size_t factor;
    uint32_t level;
    double p;             /* that it, of all, is what raised these losses (shares sum to <= 1) */
    struct counts inside; /* its vessels, controls included where they can show it, less those that
                               culprits before it explain */
    struct counts controls; /* those of them that are controls */
    struct counts outside;  /* the rest, likewise */
    double test_p; /* exact, one-sided, of these counts: does it lose more than the rest? */
    double q; /* by time at risk and as batches differ, adjusted for all suspects asked; no less */
    double log_bayes; /* ln of the Bayes factor "its own, higher rate" against "as the rest" */
    /* A computed factor that says why: "not enough" of the computed cook of this cook. */
    size_t why_factor; /* or factor_count of the dataset */
    uint32_t why_level;
    /* Only together with this level ("starter S2 on lot L3"); factor_count when by itself. Then the
     * counts inside are those of both. */
    size_t with_factor;
    uint32_t with_level;
};

struct review_cause { /* of the rule base */
    size_t cause;
    double p;
};

/* A test of the rule base (class test) and what it would tell between hypotheses. */
struct review_trial {
    size_t observable;
    double bits; /* expected information about which of them it is */
    double cost; /* effort, with the wait: effort + delay_days * rules.review.wait */
    double delay_days;
};

/* Why something lost vessels: its causes, likeliest first, and tests that tell, best first. */
struct review_why {
    struct review_cause *causes;
    size_t cause_count;
    struct review_trial *trials;
    size_t trial_count;
};

/* Something that raised losses: one suspect, or several that went together. */
struct review_culprit {
    /* Likeliest first; those that the counts make at least a tenth as likely as the first. */
    struct review_suspect *suspects;
    size_t suspect_count;                /* 2 or more: cannot be told apart */
    double p;                            /* that one of them did */
    double saved_low, saved, saved_high; /* vessels not lost without it: 90 % range, mean */
    struct review_why why; /* causes in question, and tests that tell them or the suspects apart */
};

/* ---- over time ------------------------------------------------------------------------------- */

struct review_curve {
    uint32_t level;
    struct survival_curve curve;
};

struct review_time {
    size_t factor;               /* of the leading culprit; factor_count when all are one curve */
    struct review_curve *curves; /* of the levels, most vessels first, at most REVIEW_CURVES; then
                                    one of all others, with LEVEL_NONE */
    size_t curve_count;
    struct strata_test logrank; /* among them; freedom 0 when not asked */
    size_t cases, left_out;     /* vessels with times, and without */
};
enum { REVIEW_CURVES = 4 };

struct review_drift { /* all losses rise or fall over the season, whatever the culprits do */
    double p;         /* that they do */
    double test_p;    /* of batches that go with time this closely, and so, by chance alone */
    bool rises;       /* rather than falls */
    bool called;      /* the test says so, as it seldom does where losses stay as they are */
};

struct review_batch { /* in order of time, then of the dataset */
    uint32_t level;   /* of the batch factor */
    int32_t day;      /* on which its first vessel began; DAY_NONE */
    struct counts counts, controls;
    size_t open;
    struct monitor_point point;
    struct review_why why; /* from all its vessels; for the REVIEW_BATCHES_JUDGED that lost most */
};

enum { REVIEW_BATCHES_JUDGED = 100 };

/* ---- what to do ------------------------------------------------------------------------------ */

/* One arm of the next batch: vessels that get these levels. */
struct review_arm {
    size_t vessels;
    bool control; /* never inoculated */
    /* Parallel to the plan's factors: a level of the dataset, or LEVEL_NONE for a new one ("a cook
     * you trust"), all new ones of a column with the same number being the same. */
    uint32_t *levels;
    unsigned *fresh; /* 0: the level; 1, 2 ...: the first new one, the second ... */
};

struct review_plan { /* the next batch, so that what went together goes apart */
    size_t culprit;
    const size_t *factors;
    size_t factor_count;
    struct review_arm *arms;
    size_t arm_count;
    bool crossed;      /* nothing of it can be used again: two new ones of each, crossed */
    size_t each;       /* vessels of an arm */
    size_t fails_from; /* so many lost of them say that the arm's suspect fails */
    double error;      /* chance of naming the wrong suspect from it, if they differ as they did */
};

/* What a grower tells of a batch, or the journal knows of it. */
struct review_account {
    struct counts counts, controls; /* lost of how many; of 0: not said */
    bool says_more;                 /* than how many */
    const double *told;             /* ln of what its words say for each cause (words.h), or NULL */
    struct review_why why;          /* of the lost vessels */
};

/* ---- the whole ------------------------------------------------------------------------------- */

/* Why there is no more to conclude; bits. */
enum review_limit {
    REVIEW_EMPTY = 1,          /* no vessels */
    REVIEW_NOTHING_COUNTS = 2, /* all untold or too young */
    REVIEW_NOTHING_LOST = 4,
    REVIEW_ALL_LOST = 8,
    REVIEW_NO_FACTOR = 16, /* no factor has two levels */
    REVIEW_ONE_BATCH = 32,
    REVIEW_NO_TIMES = 64,
    REVIEW_FEW = 128, /* fewer than REVIEW_FEWEST count */
};
enum { REVIEW_FEWEST = 10 };

struct review {
    const struct dataset *dataset;
    const struct reasoner *reasoner;
    const struct rules *rules;
    const struct progress *progress;
    struct arena *arena;     /* of all below */
    const uint8_t *standing; /* of each vessel */
    unsigned limits;
    struct review_totals totals;
    struct review_factor *factors; /* parallel to dataset->factors */
    struct review_alias *aliases;
    size_t alias_count;
    struct review_culprit *culprits; /* surest first */
    size_t culprit_count;
    struct review_suspect *near; /* not enough to be called, likeliest first; at most REVIEW_NEAR */
    size_t near_count;
    size_t suspects_asked; /* how many levels were compared */
    struct review_time time;
    struct review_batch *batches;
    size_t batch_count;
    double centre; /* of the chart */
    struct review_drift drift;
    size_t *changes;           /* the culprits in order of the vessels saved */
    struct review_plan *plans; /* for culprits that cannot be told apart */
    size_t plan_count;
    struct review_account account; /* of one batch, or when all were lost; else without causes */
};
enum { REVIEW_NEAR = 3 };

/* ---- one bad batch ---------------------------------------------------------------------------- */

/* Counts what was lost, from words: "I lost 9 of 12", "all but two of my 10 bags", "8 of 8, and 3
 * of 3 controls". What is not said is left as it is. */
void account_count(const char *words, size_t length, struct review_account *account);
/* Judges a batch of which the triage was told in words what the lost ones look like and what was
 * done; how many were lost counts as what became of the others. Fails for counts that cannot be. */
enum status account_judge(struct triage *triage, const struct reasoner *reasoner,
                          struct arena *arena, struct review_account *account);
/* What to ask next: what the lost ones share, then what tells most about the causes; RULES_NONE
 * when the answers would tell nothing. `asked`, one flag an observable: not these; it is marked
 * there. */
int account_next(struct triage *triage, const struct reasoner *reasoner,
                 const struct review_account *account, bool *asked);

/* Reviews a dataset. `reasoner` is of the rules; both and the dataset outlive the review.
 * `progress` (may be NULL) is told in vessels, once for each step. Fails only where shared causes
 * cannot be inferred (reason/shared.h). */
enum status review_make(const struct dataset *dataset, const struct reasoner *reasoner,
                        const struct progress *progress, struct arena *arena,
                        struct review *review);

/* Only the decision which culprits to name: the part of review_make that `make check` tests on
 * simulated seasons. A culprit is named when odds this high, of some culprit against none, occur by
 * chance in at most `level` of journals (from simulated seasons), and the Bayes factor for a higher
 * hazard of its own is at least `bayes_factor` (search.c). Its vessels are then set aside and the
 * rest is tested again, until none is named. */
struct review_rule {
    double level, bayes_factor, watched; /* days */
    /* How common culprits of each scope are, against one another; all 0: equally. By it two names
     * for one culprit are weighed, and how likely a called one is; the calling does not depend on
     * it. */
    double prior[SCOPE_COUNT];
};
enum { REVIEW_CULPRITS = 8 }; /* at most */

/* Fills culprits, near, suspects_asked and drift of a review; the lists are in the arena. */
void review_find_culprits(const struct dataset *dataset, const struct review_rule *rule,
                          struct arena *arena, struct review *review);

/* Since when losses rose: the running sum over the vessels (monitor_plan), day by day; JSON, null
 * when there are too few vessels with days, or too many: {usual, raised, run_to_false_alarm,
 * signals, since}, the day the last episode above the threshold began; for templates how it went
 * on. */
json_t *review_watch(const struct review *review);
/* Vessels saved by changing a culprit: its mean, times the chance that it is one. */
double review_saves(const struct review_culprit *culprit);

/* Whether a level of a factor is among the culprits. */
bool review_calls(const struct review *review, size_t factor, uint32_t level);

/* ---- learning ------------------------------------------------------------------------------------ */

/* What confirmed outcomes teach: counts for the `learned` section of a rule base.
 *
 * Every vessel with a standing outcome counts once: with the signs of its last standing look before
 * the outcome (of its last look, when none came before), as the grower said them then, and with its
 * cause when that is known. What was said with doubt is not counted, nor what records or
 * computations added. The counts are made anew from the whole journal each time, so that nothing
 * counts twice. */

enum { LEARN_STRENGTH = 20 }; /* vessels that the shipped figures count as; expert judgement */

/* Counts; arrays are in the arena. Outcomes of findings that the rules do not know are left out. */
enum status learn_count(struct journal *journal, const struct rules *rules, struct arena *arena,
                        struct learned *learned);

/* As a rule file: a comment that says what it is, and the section. */
void learn_write(const struct learned *learned, const struct rules *rules, const char *day,
                 struct text *yaml);

/* ---- what the files of this folder share ---------------------------------------------------------- */

enum standing {
    STANDING_OUT,
    STANDING_SOUND,
    STANDING_LOST
}; /* of a vessel: it does not count ... */

/* Counts a vessel that is not out. */
static inline void count_vessel(struct counts *counts, enum standing standing)
{
    counts->total++;
    counts->lost += standing == STANDING_LOST;
}

/* How each vessel counts: an open one that was begun is sound so far. `young` (may be NULL) counts
 * those that are younger than `watched` days. */
uint8_t *search_standing(const struct dataset *dataset, double watched, struct arena *arena,
                         size_t *young);

/* P(as many or more of the lost inside): hypergeometric, from the count away from the mean; 1 when
 * the inside loses no more than the rest. */
double search_tail(struct counts inside, struct counts outside);

/* Vessels that would not have been lost at the rate of the rest: n (r - r0), n the inoculated
 * vessels of the suspect, r and r0 its rate and that of the rest, each with the posterior Beta(1 +
 * lost, 1 + kept). Writes the mean and the 5th and 95th hundredth into the culprit; none below 0
 * nor above what was lost. */
void saved_estimate(const struct review_suspect *suspect, struct review_culprit *culprit);

/* ---- the parts of a review ---------------------------------------------------------------------- */

/* Fills in why and what to do: causes, trials, changes and plans. */
enum status review_explain(struct review *review);

/* The causes that are not negligible, likeliest first, of `share`, one a cause of the rules. */
void review_list_causes(const struct rules *rules, const double *share, struct arena *arena,
                        struct review_why *why);
/* Chooses the tests that tell the causes of an account apart, best first, but for those that were
 * done: by what was observed (may be NULL), and a control where there was one. */
void account_choose_trials(const struct reasoner *reasoner, const struct observation *observations,
                           struct arena *arena, struct review_account *account);

/* The vessels of each level of a factor (NULL: of none), and after the levels those without: where
 * each begins, and after each vessel the `next`, up to LEVEL_NONE. */
struct chains {
    uint32_t *first, *next;
};
struct chains chain_vessels(const struct dataset *dataset, const struct factor *of,
                            struct arena *arena);

/* Days from its beginning until it was lost, used or today; -1 when they are not known. */
int32_t vessel_days(const struct dataset *dataset, size_t vessel);

#endif
