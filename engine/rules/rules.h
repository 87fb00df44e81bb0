/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_RULES_RULES_H
#define JARSIDE_RULES_RULES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/units.h"

/* Where a claim comes from. */

struct source {
    const char *id;
    const char *author; /* person or body */
    const char *title;
    const char *year;  /* as printed; of an undated page the year it was read */
    const char *where; /* journal and pages, chapter, table, publisher */
    bool weak;         /* a web guide: a hint, not evidence */
    struct position at;
};

/* Ends of a claim: works cited, or one of the marks. At least one of the three is set. */
struct citation {
    const size_t *sources; /* indices into rules.sources */
    size_t count;
    bool expert_judgement; /* `expert judgement` */
    bool common_practice;  /* `common practice, no source` */
    bool from_memory;      /* `from memory`, with or without sources */
};

/*
 * Counts of vessels whose outcome a grower confirmed. They are added to what the
 * files say as if that had been seen in `strength` vessels (a Dirichlet prior of
 * that size for a one-of, a Beta for each value of a several-of and each cause):
 *
 *   P'(v | f) = (strength P(v | f) + seen(v)) / (strength + of(v))
 *   pi_c'     = (strength pi_c + seen) / (strength + of)
 *
 * Source of the rule: Gelman and others, Bayesian Data Analysis, 2013, sections 2.4 and 3.4.
 */
struct learned_sign { /* of vessels that held the finding, in how many each value was seen */
    size_t finding, observable;
    double *seen, *of; /* per value of the observable */
};

struct learned_cause {
    size_t cause;
    double seen, of;
};

struct learned {
    double strength, vessels; /* vessels: how many were counted */
    const struct learned_sign *signs;
    size_t sign_count;
    const struct learned_cause *causes;
    size_t cause_count;
    struct citation cites;
};

/*
 * What the observable tells a computation, or is told by records; FEEDS_NONE for
 * most. The code knows quantities by these, never by the id of an observable.
 */
enum feeds {
    FEEDS_NONE,
    FEEDS_DAY,
    FEEDS_COVERAGE,
    FEEDS_STALLED_DAYS,
    FEEDS_SPECIES,
    FEEDS_GRAIN,
    FEEDS_VESSEL,
    FEEDS_COOK_GAUGE,
    FEEDS_COOK_MINUTES,
    FEEDS_ALTITUDE,
    FEEDS_LOAD,
    FEEDS_AIR,
    FEEDS_VESSEL_MASS,
    FEEDS_DRY_MASS,
    FEEDS_WATER_MASS,
    FEEDS_MOISTURE,
    FEEDS_TEMPERATURE,
    FEEDS_DOSE,
    FEEDS_STARTER_KIND,
    FEEDS_SHAKEN_DAYS,
    /* Below: only what records know; no computation of process/ takes it. */
    FEEDS_COOK_METHOD,
    FEEDS_SOAK,
    FEEDS_POSITION,      /* in the cooker */
    FEEDS_STARTER_AGE,   /* when it was used */
    FEEDS_WAIT_BEFORE,   /* from the cook to inoculation */
    FEEDS_FIRST_SEEN,    /* day on which trouble was first seen */
    FEEDS_PATCHES,       /* `parameter`: how many odd patches; 0 for none */
    FEEDS_PROGRESS,      /* `parameter`: from so many points of coverage a day */
    FEEDS_SPOT_CHANGE,   /* of a patch between two looks */
    FEEDS_JUDGED_BEFORE, /* `parameter`: from so high a chance of contamination, at any look */
    FEEDS_SIBLINGS_COOK, /* what became of the others that share it ... */
    FEEDS_SIBLINGS_LOT,
    FEEDS_SIBLINGS_SESSION,
    FEEDS_SIBLINGS_STARTER,
    FEEDS_SIBLINGS_PLACE,
    FEEDS_SPEED,      /* coverage that no culture could have by its day */
    FEEDS_CONTROLS,   /* ... and of those of its cook that were never inoculated */
    FEEDS_INOCULATED, /* `parameter`: 1 when a starter went in, 0 for a control */
    FEEDS_LOST_ALIKE, /* of a whole batch: whether the lost ones show the same */
    FEEDS_LOST_ONES,  /* and what they alone share */
    FEEDS_COUNT
};

/*
 * The rule base in memory: what is known about findings, causes and signs.
 *
 * rules/FORMAT.md describes the files; this is what they become. The model is
 * plain data, read-only after loading, cross-referenced by index. It lives in
 * one arena owned by `struct rules`; every pointer is valid until rules_free.
 * No id of a finding, cause, sign or value is known to the C code: what the
 * code must recognise (a status, a hazard, a quantity that physics can use) is
 * an enum here and a key in the files.
 *
 * Frequencies and weights arrive as words or numbers and are numbers here.
 * Every item keeps the position it was defined at, for messages.
 */

enum { RULES_MAX_VALUES = 32, RULES_NONE = -1 }; /* values of one observable fit a uint32_t */

/* ---- what can be observed -------------------------------------------------------------------- */

enum observable_class { CLASS_SIGN, CLASS_CIRCUMSTANCE, CLASS_TEST };
enum observable_kind {
    KIND_ONE,     /* exactly one of the values holds */
    KIND_SEVERAL, /* each value holds or not, on its own */
    KIND_NUMBER,  /* a quantity; the values are its bins and exactly one holds */
};
/* How a question may be put. */
enum question_gate {
    GATE_NONE,
    GATE_UNSOLICITED, /* only "did you notice one", and not at all once ripe spores are likely */
    GATE_NEVER_ASKED, /* recorded when said; never asked */
};

/* As in the files (FORMAT.md, "Phrases"); a pattern of PCRE2 has a '/' before it and may have behind it,
 * each after a tab, the words it is run at and those of which its clause must hold one. */
struct phrases {
    const char *const *list;
    const struct position *at; /* where each stands; NULL in rules that come from no file */
    size_t count;
};

struct value {
    const char *id;
    const char *label;  /* short, for lists and summaries */
    const char *look;   /* how to recognise it, or NULL */
    double base;        /* share (one, number) or probability (several) when nothing is known */
    double from, below; /* number: the bin [from, below) in canonical units */
    double parameter;   /* handed to process/ by some `feeds` (dose, air fraction); NAN if none */
    bool salient;       /* several: who sees it says so, unasked; then not saying so tells. What
                           was seen once stays seen at later looks */
    bool withdraws;     /* takes back what was feared before it: "it was the lamp" */
    struct phrases phrases;
    struct phrases
        answers; /* plain words that name it in answer to its question, and nowhere else */
    struct position at;
};

struct observable {
    const char *id;
    const char *label; /* two or three words, for summaries */
    const char *ask;   /* the question, ending in a question mark */
    const char *look;  /* how to look or find out, without opening anything; or NULL */
    const char *why;   /* why it matters, one sentence; or NULL */
    enum observable_class class;
    enum observable_kind kind;
    enum dimension dimension; /* number only */
    double min, max;          /* number: outside is impossible and refused */
    enum question_gate gate;
    enum feeds feeds;
    bool lasts;        /* what was said of it at one look still holds at the next */
    bool withdrawn;    /* a value that withdraws takes back what was said of it before */
    double effort;     /* of answering: 1 is a glance (unit: decision.effort_loss) */
    double delay_days; /* tests: how long until it tells */
    int group;         /* index into rules.groups, or RULES_NONE */
    const struct value *values;
    size_t value_count;
    struct phrases phrases; /* number: each holds a quantity */
    struct citation cites;
    struct position at;
};

/* Observables that say nearly the same: the k-th strongest counts (1 - overlap)^k. */
struct group {
    const char *id;
    double overlap; /* 0 independent .. 1 the same observation */
    struct position at;
};

/* ---- findings and causes --------------------------------------------------------------------- */

enum finding_status { FINDING_CLEAN, FINDING_STUCK, FINDING_CONTAMINATED, FINDING_STATUS_COUNT };
enum hazard { HAZARD_NONE, HAZARD_IRRITANT, HAZARD_SPORING, HAZARD_TOXIGENIC, HAZARD_COUNT };
enum action { ACTION_KEEP, ACTION_ISOLATE, ACTION_DISCARD, ACTION_COUNT };

/* A statement about one value of one observable: a probability (findings) or a factor (causes). */
struct claim {
    size_t observable;
    size_t value;
    double number;
    const char *word; /* as written ("usually", "more"), NULL if a number was */
    struct citation cites;
    struct position at;
};

struct difference { /* how a finding differs from one that looks alike */
    size_t from;    /* index of the other finding */
    const char *how;
};

struct finding {
    const char *id;
    const char *name;
    const char *also; /* trade and scientific names, or NULL */
    const char *what; /* what it is, one or two sentences */
    enum finding_status status;
    enum hazard hazard;
    double base;       /* b_f: weight of growing without any of the causes */
    double reveal;     /* chance that a look after decision.isolate_days shows it beyond doubt */
    double kept_worth; /* share of a good vessel's worth it still has when kept, 0..1 */
    double too_soon; /* the same of what is lost by discarding it before it has shown what it is */
    double spread;   /* chance per neighbour that keeping it costs that neighbour */
    const struct claim *looks; /* P(value | finding) */
    size_t look_count;
    const struct difference *differs;
    size_t differ_count;
    const char *const *steps[ACTION_COUNT]; /* what to do, in order */
    size_t step_count[ACTION_COUNT];
    struct citation cites;
    struct position at;
};

enum scope {
    SCOPE_COOK,
    SCOPE_MIX,
    SCOPE_GRAIN_LOT,
    SCOPE_SESSION,
    SCOPE_STARTER,
    SCOPE_PLACE,
    SCOPE_VESSEL,
    SCOPE_COUNT
};

/* What process/ computes that can move a cause's prior. */
enum moved_by {
    MOVED_NONE,
    MOVED_SURVIVORS, /* the chance that a spore survived this cook */
    MOVED_WET,       /* how far this mix lies above the band of its grain */
    MOVED_DRY,       /* ... below */
    MOVED_COLD,      /* how far the temperature slows this species, below its best */
    MOVED_WARM,      /* ... above */
    MOVED_DOSE,      /* how far a small dose explains the delay */
    MOVED_COUNT
};

struct growth_rate { /* r_{c,f} */
    size_t finding;
    double rate;
    struct position at;
};

struct cause {
    const char *id;
    const char *name;
    const char *what;
    enum scope scope;
    double prior;      /* pi_c, 0..1 */
    double reach;      /* share of what shares it that it affects when it acts, (0, 1] */
    double reach_near; /* the same of what stood beside it in the cooker; 0: no different there */
    bool shown_by_control; /* acts on a vessel that was never inoculated, too */
    enum moved_by moved_by;
    const struct growth_rate *grows;
    size_t grow_count;
    struct citation grows_cites;
    const struct claim *weighs; /* factors w_{c,i}(v) */
    size_t weigh_count;
    const char *const *change; /* what to change next time, in order */
    size_t change_count;
    const size_t *settle; /* observables of class test that would settle it */
    size_t settle_count;
    struct citation cites;
    struct position at;
};

/* ---- what is grown, on what, in what --------------------------------------------------------- */

struct normal_look { /* on this species, P(value | finding) is this instead */
    size_t finding;
    struct claim claim;
};

struct growth {                 /* see process/forecast.h; NAN where unknown */
    double t_min, t_opt, t_max; /* degrees Celsius */
    double rate_lo, rate_hi;    /* mm/day at t_opt */
    double lag_lo, lag_hi;      /* days to visible growth */
    double full_lo, full_hi;    /* published days to full grain colonisation, for comparison */
    struct citation cites;
};

struct species {
    const char *id, *name, *latin;
    double base; /* share among growers' vessels */
    struct phrases phrases;
    struct growth growth;
    const struct normal_look *normal;
    size_t normal_count;
    const char *note; /* what surprises people about it */
    struct citation cites;
    struct position at;
};

struct grain {
    const char *id, *name;
    double base;
    struct phrases phrases;
    double moisture;             /* as bought, per cent wet basis */
    double target_lo, target_hi; /* the band to aim for, per cent wet basis */
    double raw_limit;            /* what the raw kernel holds, per cent wet basis; NAN unknown */
    double bulk;                 /* loose hydrated grain, kg/l */
    const char *note;
    struct citation cites;
    struct position at;
};

enum vessel_shape { SHAPE_CYLINDER, SHAPE_BRICK };
struct vessel_kind {
    const char *id, *name;
    enum vessel_shape shape;
    double base;
    struct phrases phrases;
    double litres;         /* brim volume; NAN for bags */
    double radius, height; /* metres, of the filled grain (cylinder) */
    double sides[3];       /* metres, full lengths of the filled grain (brick) */
    double mass_kg;        /* hydrated grain at the usual fill */
    double wall_h;         /* surface conductance of wall and film, W/(m2 K) */
    struct citation cites;
    struct position at;
};

/* A condition on what was said: every listed observable has one of its listed values seen. */
struct condition {
    const size_t *observables;
    const uint32_t *values; /* bit masks, parallel */
    size_t count;
};

/* ---- what process/ is told ------------------------------------------------------------------- */

enum organism_role {
    ORGANISM_SPORE_FORMER, /* a survivor spoils the vessel */
    ORGANISM_FUNGUS,       /* so does one of these, but only an unheated spot lets it live */
    ORGANISM_INDICATOR, /* reported for comparison; it does not grow at the temperature of spawn */
};

struct organism { /* see process/cook.h */
    const char *id, *name;
    enum organism_role role;
    struct range d_minutes; /* at `reference` */
    double reference;       /* degrees Celsius */
    struct range z;         /* kelvin */
    struct range per_gram;  /* of dry grain, before the cook */
    const char *note;       /* or NULL */
    struct citation cites;
    struct position at;
};

struct packing { /* how a value of the observable that feeds `load` changes the heating */
    size_t value;
    double thickness; /* factor on the smallest dimension */
};

struct cook_rules { /* what is assumed of a cook when it was not said; NAN where not given */
    struct range diffusivity;  /* effective, m2/s */
    double judged_diffusivity; /* the verdict "adequate" asks for judged_f0 minutes at this */
    double judged_f0;
    double heat_capacity; /* J/(m3 K) */
    struct range come_up; /* minutes */
    double come_up_doubt; /* share to either side when it was said */
    double cool;          /* minutes to the boiling point, credited in the good end only */
    double start;         /* degrees Celsius */
    struct range air;     /* share left */
    double air_doubt;     /* factor to either side when it was said */
    double target;        /* chance aimed for that a vessel is not sterile */
    double rated;         /* gauge kPa no advice goes beyond when the rating was not said */
    double probe_doubt;   /* kelvin */
    double probe_gap;     /* minutes between readings that are no gap */
    const struct packing *packings;
    size_t packing_count;
    struct condition no_pressure; /* then the gauge is 0 unless it was said */
    struct citation cites;
};

enum starter_unit { STARTER_ML, STARTER_GRAMS, STARTER_PIECES };

struct starter_kind { /* a value of the observable that feeds `starter_kind`, as inoculum */
    size_t value;
    const char *id, *name;
    enum starter_unit unit;
    double usual;        /* units for a litre of grain */
    struct range points; /* that grow, from one unit */
    struct range lag;    /* days on top of the species' own */
    struct citation cites;
    struct position at;
};

struct forecast_rules {        /* NAN where not given */
    double kernels;            /* a cubic centimetre */
    double temperature_doubt;  /* kelvin to either side */
    double temperature;        /* assumed, when it was not said */
    double shake_lo, shake_hi; /* per cent of coverage between which to shake */
    double shake_factor;       /* points after it for each before */
    double shake_pause;        /* days */
    double look_every;         /* days */
    double coverage_doubt;     /* points of per cent, of coverage judged by eye */
    double dose_usual;         /* the `parameter` that a usual dose has */
    double moisture_doubt;     /* points of per cent, of a moisture from weighing */
    double fill_most;          /* share of a vessel that may be filled */
    struct citation cites;
};

/* How a computed chance p moves the odds of a cause: trust x (logit p - logit usual), at most
 * `most` either way. All 0 when not given: it moves nothing. */
struct move {
    double usual, trust, most;
};

/* ---- cautions, decision, language ------------------------------------------------------------ */

struct caution {
    const char *id;
    const char *text;
    int rank;               /* lower is shown first; below 10: before any handling step */
    uint32_t hazards;       /* bit per enum hazard: applies when such a finding has enough mass */
    uint32_t statuses;      /* bit per enum finding_status, likewise */
    uint32_t actions;       /* bit per enum action: applies when this is the action */
    double at_least;        /* the posterior mass that is enough */
    const size_t *findings; /* applies when these have enough mass */
    size_t finding_count;
    struct condition when; /* applies when seen (count 0: no such condition) */
    bool always;
    struct citation cites;
    struct position at;
};

struct floor_rule {
    const char *id;
    const char *say;   /* the sentence that names it */
    bool forbids_keep; /* else: forces `action` */
    enum action action;
    double contaminated_above; /* applies when P(contaminated) exceeds it; 1 for never */
    const size_t
        *likely; /* applies when these findings together are likelier than `likely_above` */
    size_t likely_count;
    double likely_above;
    double unread_above;  /* and only where more words than this were not understood; 0: anywhere */
    bool after_objection; /* and only where some of those stand behind "but" or the like */
    struct condition when;          /* and/or when this is seen (plain, not hedged) */
    const struct condition *unless; /* any of these lifts it */
    size_t unless_count;
    struct citation cites;
    struct position at;
};

struct next_step {
    const char *id; /* wait, shake, use, use_first */
    const char *say;
    struct condition when;  /* first that holds is taken; count 0 always holds */
    const size_t *findings; /* and the leader is one of these, if any are listed */
    size_t finding_count;
    double days; /* until the next look; NAN: forecast.look_every */
    struct position at;
};

/* A question that makes no sense before something else is known: where no odd patch was seen, none is
 * asked about its edge. */
struct asked_if {
    const size_t *observables;
    size_t observable_count;
    struct condition when;   /* only where this was seen; count 0 always holds */
    struct condition unless; /* and this was not; count 0 never holds */
};

struct use { /* what the vessel will be used for */
    const char *id, *label;
    double loss_each; /* loss per vessel or block made from a contaminated one, in vessels' worth */
};

struct decision_rules {
    const char *action_label[ACTION_COUNT];
    const char *action_say[ACTION_COUNT];
    double keep_wrong; /* loss of keeping a contaminated vessel, in vessels' worth */
    double keep_wrong_hazard[HAZARD_COUNT]; /* added by hazard */
    double isolate_delay;                   /* loss of isolating anything */
    double isolate_days;                    /* until the next look */
    double isolate_spread;                  /* share of `spread` left when isolated */
    double discard_effort;
    double effort_loss; /* loss of one unit of effort of answering */
    double settled;     /* a turn less likely than this does not unsettle the action */
    double neighbours;  /* assumed when not told */
    const struct use *uses;
    size_t use_count;
    const struct floor_rule *floors;
    size_t floor_count;
    const struct next_step *next_steps;
    size_t next_step_count;
    const struct asked_if *asked_if;
    size_t asked_if_count;
    struct citation cites;
};

/* When a review of many vessels calls a fault, and what it takes waiting to cost. */
struct review_rules {
    double false_alarm;  /* at most this share of journals without a fault has one called */
    double bayes_factor; /* and at least so much evidence for a rate of its own */
    double watched;      /* days after which a vessel that is still sound counts as not lost */
    double wait;         /* effort that a day of waiting for a test is worth */
    struct citation cites;
};

struct word { /* a verbal frequency or weight */
    const char *word;
    double number;
};

struct scale {
    const struct word *frequency; /* always .. never -> probability */
    size_t frequency_count;
    const struct word *weight; /* far_more .. far_less -> factor */
    size_t weight_count;
};

/* What is assumed of vessels that share something: reason/siblings.h. All 0 when not given: they
 * move nothing. */
struct sibling_rules {
    double most;       /* no pattern moves the log odds of a set of causes farther */
    double usual;      /* share lost when nothing shared is wrong, */
    double usual_seen; /* as if it had been seen in so many vessels */
    double reach_seen; /* the same for the reach of each cause */
};

/* How much the words of a text say beside what was understood of them; see language/words.h. */
struct word_calibration {
    double group_power, finding_power; /* exponents: contaminated or not; which finding of these */
    double cause_power;                /* the same for which cause an account of a batch tells of */
    double usual;                      /* terms of a text at which they hold */
    double status_prior, finding_prior; /* weight of what is shrunk to, in tables of terms */
    double term_most;  /* natural logarithm: bound of what one term says, before the exponent */
    double most;       /* the same of a whole text, after it */
    double sound_most; /* the same of how far a text may speak against contamination */
};

struct calibration {
    double tau;     /* power of the whole likelihood, 0 < tau <= 1 */
    double hedge;   /* certainty of a hedged statement, 0..1 */
    double silence; /* chance that a salient value, being there, is spoken of; 0..1 */
    double
        silence_after; /* signs a text must speak of before its silence tells; 0: it never does */
    const char *fitted_by; /* the command that fits tau */
    struct sibling_rules siblings;
    struct word_calibration words; /* all 0: words do not weigh */
};

/* A phrase that says several things at once, e.g. "nothing odd anywhere". */
struct statement {
    const char *id;
    struct phrases phrases;
    struct condition seen;   /* values it reports as seen */
    struct condition absent; /* values it denies */
    const size_t *others;    /* observables (several) whose values not named elsewhere it denies */
    size_t other_count;
    bool alone;   /* only where it is all that was said, and no answer to a question */
    bool overall; /* denies nothing beside words that were not understood */
    struct position at;
};

/* A question of the grower's own ("good to use?") and what the verdict answers. */
struct reply { /* the first that fits is given; the last always does */
    const char *say;
    unsigned actions;      /* bit per enum action it goes with; 0: any */
    struct condition when; /* and this was seen; count 0 always holds */
    unsigned statuses;     /* and the likeliest of the statuses is of these; 0: any */
};

struct own_question {
    const char *id;
    struct phrases phrases;
    const struct reply *replies;
    size_t reply_count;
    struct position at;
};

/* What phrases call {id}: any of its items. */
struct named_list {
    const char *id;
    struct phrases items;
};

/* The words the program itself must know to read plain language, each matched as a phrase is. */
struct language {
    struct phrases negations;    /* deny what follows in their clause */
    struct phrases hedges;       /* weaken what stands in their clause */
    struct phrases breaks;       /* end the scope of a negation or hedge ("but", "though") */
    struct phrases exceptions;   /* what was denied before them does hold ("except", "until") */
    struct phrases objections;   /* single words: what follows them is amiss ("but", "only") */
    struct phrases ignore;       /* need no understanding ("the", "is", "there") */
    struct phrases alternatives; /* join what may stand for one another ("or", "nor") */
    struct phrases additions;    /* join what stands together ("and", "plus") */
    struct phrases others;  /* as subject: what follows is not of this vessel ("my last jar") */
    struct phrases here;    /* back to this vessel ("this one") */
    struct phrases about;   /* before a quantity: it is meant roughly ("around", "almost") */
    struct phrases over;    /* before a quantity: it is that or more ("at least") */
    struct phrases under;   /* before a quantity: it is less than that ("under") */
    struct phrases yes;     /* an answer that affirms */
    struct phrases no;      /* an answer that says nothing of the kind ("none", "normal") */
    struct phrases unknown; /* an answer that says its giver does not know ("no idea") */
    struct phrases spared;  /* real words, never taken for a slip of another ("would") */
    struct phrases fillers; /* words that may stand between any two of a phrase ("very") */
    struct phrases same;    /* forms that count as one word ("grey|gray") */
    struct phrases apart;   /* words that are no form of another ("spots" is not "spot") */
    struct phrases kinds;   /* words of one kind, apart by spaces; the first names it */
    const struct named_list *lists;
    size_t list_count;
    const size_t *where; /* observables that only say where, as in "no green by the port" */
    size_t where_count;
    const struct statement *statements;
    size_t statement_count;
};

/* ---- the whole ------------------------------------------------------------------------------- */

struct rules {
    const char **folders; /* that they were read from, in order */
    size_t folder_count;
    const char *name;
    const char *version;
    char hash[17]; /* of all files read, for records: 64 bits in hex, and NUL */
    const struct source *sources;
    size_t source_count;
    const struct group *groups;
    size_t group_count;
    const struct observable *observables; /* signs, circumstances, tests, in file order */
    size_t observable_count;
    const struct finding *findings;
    size_t finding_count;
    const struct cause *causes;
    size_t cause_count;
    const struct own_question *questions; /* that growers ask, in file order */
    size_t question_count;
    const struct species *species;
    size_t species_count;
    const struct grain *grains;
    size_t grain_count;
    const struct vessel_kind *vessels;
    size_t vessel_count;
    const struct caution *cautions; /* by rank */
    size_t caution_count;
    const struct organism *organisms;
    size_t organism_count;
    struct cook_rules cook;
    const struct starter_kind *starters;
    size_t starter_count;
    struct forecast_rules forecast;
    struct move moves[MOVED_COUNT];
    struct decision_rules decision;
    struct review_rules review; /* usual ones when no file has them */
    struct learned learned;     /* all zero when no file has any */
    struct scale scale;
    struct calibration calibration;
    struct language language;
    /* The observable that feeds a quantity, per enum feeds; RULES_NONE when none does. */
    int feeder[FEEDS_COUNT];
    struct rules_memory *memory; /* private: arena and indices */
};

/*
 * Reads every .yaml file below each folder, later folders adding items or
 * replacing whole items by id ("overlay"). Reads only; writes nothing.
 *
 * Returns a rule base, or NULL with at least one error in `diags`. `status` (may
 * be NULL) tells STATUS_DATA from STATUS_IO. Limits: 4 MiB a
 * file, 32 MiB in all, 4096 files, depth 32, 200 000 nodes, aliases refused when
 * they nest into themselves or expand beyond the node limit.
 */
struct rules *rules_load(const char *const *folders, size_t folder_count, struct diags *diags,
                         enum status *status);
void rules_free(struct rules *rules);

/* Index by id, or RULES_NONE. Hashed or binary; cheap. */
int rules_observable(const struct rules *rules, const char *id);
int rules_value(const struct observable *observable, const char *id);
int rules_finding(const struct rules *rules, const char *id);
int rules_cause(const struct rules *rules, const char *id);
int rules_species(const struct rules *rules, const char *id);
int rules_grain(const struct rules *rules, const char *id);
int rules_vessel(const struct rules *rules, const char *id);
/* All the values of an observable, a bit each. */
uint32_t rules_all_values(const struct observable *observable);
/* The bin of a number observable that holds `number`; RULES_NONE outside [min, max]. */
int rules_bin(const struct observable *observable, double number);

/* Names in the files and in JSON. */
const char *action_name(enum action action);
const char *status_name(enum finding_status status);
const char *hazard_name(enum hazard hazard);
const char *scope_name(enum scope scope);

/*
 * Where the shipped rules are, in this order: $JARSIDE_RULES; rules/ beside or
 * above the running program (a build tree, a folder that was copied), or share/jarside/rules
 * beside its folder; the installed folder given at build time. The overlay folder is
 * $XDG_CONFIG_HOME/jarside/rules when it exists. Relative values of XDG
 * variables are ignored. Both return a malloc'd path the caller frees, or NULL.
 */
char *rules_find_shipped(void);
char *rules_find_overlay(void);
/* Where that overlay folder is, or would be made; NULL without a home. Caller frees. */
char *rules_overlay_path(void);

#endif
