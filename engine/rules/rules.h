/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_RULES_RULES_H
#define JARSIDE_RULES_RULES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/memory.h"
#include "base/units.h"

/* The rule base in memory: what is known about findings, causes and signs.
 *
 * rules/FORMAT.md describes the files; this is what they become. The model is plain data, read-only
 * after loading, cross-referenced by index. It lives in one arena owned by `struct rules`; every
 * pointer is valid until rules_free. No id of a finding, cause, sign or value is known to the C
 * code: what the code must recognise (a status, a hazard, a quantity that physics can use) is an
 * enum here and a key in the files.
 *
 * Frequencies and weights arrive as words or numbers and are numbers here. Every item keeps the
 * position it was defined at, for messages. */

/* What the mappings of the files hold and what they become, in one place. FIELD is a key and the
 * member of the struct it goes to: its sort, key, member, and whether it must or may be there. LIST
 * is one whose member is a pointer to elements of a type, with the name of their count. MEMBERS
 * makes the members of such a table; ROWS in rules/load.h makes the reader from the same rows. */
#define MEMBER(of, sort, key, member, need) TYPE_##sort member;
#define MEMBER_LIST(of, type, key, member, counter, need, sort)                                    \
    const type *member;                                                                            \
    size_t counter;
#define MEMBERS(table) table(MEMBER, MEMBER_LIST, )

/* The struct of a table; that of an item, which begins with its id and where it stands, and ends
 * with what no key of its own tells. */
#define STRUCT(tag, table)                                                                         \
    struct tag {                                                                                   \
        MEMBERS(table)                                                                             \
    }
#define ITEM(tag, table, ...)                                                                      \
    struct tag {                                                                                   \
        const char *id;                                                                            \
        struct position at;                                                                        \
        MEMBERS(table) __VA_ARGS__                                                                 \
    }

/* What a member of each sort is. Numbers the file does not have are NAN, or what NUMBER_OR says. */
#define TYPE_TEXT                    const char *
#define TYPE_QUESTION                const char *
#define TYPE_FLAG                    bool
#define TYPE_ONLY(word)              bool /* whether it is said */
#define TYPE_RANK                    int
#define TYPE_FREQUENCY               double
#define TYPE_NUMBER(within)          double
#define TYPE_NUMBER_OR(within, none) double
#define TYPE_PAIR(within)            struct spread
#define TYPE_RANGE(within)           struct range
#define TYPE_PHRASES                 struct phrases
#define TYPE_CITATION                struct citation
#define TYPE_CONDITION               struct condition
#define TYPE_CHOICE(type, words)     enum type
#define TYPE_SET(words)              uint32_t /* a bit for each */
#define TYPE_GROUP                   int
#define TYPE_INNER(type)             struct type

typedef const char *sentence;

struct spread { /* rising */
    double lo, hi;
};

enum { RULES_MAX_VALUES = 32, RULES_NONE = -1 }; /* values of one observable fit a uint32_t */

/* ---- where a claim comes from ---------------------------------------------------------------- */

#define SOURCE_TABLE(FIELD, LIST, of)                                                              \
    FIELD(of, TEXT, "author", author, MUST) /* person or body */                                   \
    FIELD(of, TEXT, "title", title, MUST)                                                          \
    FIELD(of, TEXT, "year", year, MUST)   /* as printed; undated, the year it was read */          \
    FIELD(of, TEXT, "where", where, MUST) /* journal and pages, table, publisher */                \
    FIELD(of, FLAG, "weak", weak, MAY)    /* a web guide: a hint, not evidence */
ITEM(source, SOURCE_TABLE, );

/* Support for a claim: works cited, or one of the marks. At least one of the three is set. */
struct citation {
    const size_t *sources; /* indices into rules.sources */
    size_t count;
    bool expert_judgement; /* `expert judgement` */
    bool common_practice;  /* `common practice, no source` */
    bool from_memory;      /* `from memory`, with or without sources */
};

/* As in the files (FORMAT.md, "Phrases"). A PCRE2 pattern starts with '/'. After it, each after a
 * tab, may come the words at which it is run and the words of which its clause must hold one. */
struct phrases {
    const char *const *list;
    const struct position *at; /* where each stands; NULL in rules that come from no file */
    size_t count;
};

/* A condition on what was said: every listed observable has one of its listed values seen. */
struct condition {
    const size_t *observables;
    const uint32_t *values; /* bit masks, parallel */
    size_t count;
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

#define LEARNED_TABLE(FIELD, LIST, of)                                                             \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, NUMBER_OR(POSITIVE, 0), "strength", strength, MUST)                                  \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 0), "vessels", vessels, MUST) /* counted */                  \
    LIST(of, struct learned_sign, "signs", signs, sign_count, MAY, BY(read_signs))                 \
    LIST(of, struct learned_cause, "causes", causes, cause_count, MAY, ENTRIES(learned_cause))
STRUCT(learned, LEARNED_TABLE);

/* ---- what can be observed -------------------------------------------------------------------- */

/* What the observable tells a computation, or is told by records; FEEDS_NONE for most. The code
 * knows quantities by these, never by the id of an observable. Each with its name in the files, and
 * the kind and dimension it must be of: others would be wrong numbers. */
#define FEEDS(FEED)                                                                                \
    FEED(NONE, "none", ONE, NONE)                                                                  \
    FEED(DAY, "day", NUMBER, DAYS)                                                                 \
    FEED(COVERAGE, "coverage", NUMBER, PERCENT)                                                    \
    FEED(STALLED_DAYS, "stalled_days", NUMBER, DAYS)                                               \
    FEED(SPECIES, "species", ONE, NONE)                                                            \
    FEED(GRAIN, "grain", ONE, NONE)                                                                \
    FEED(VESSEL, "vessel", ONE, NONE)                                                              \
    FEED(COOK_GAUGE, "cook_gauge", NUMBER, GAUGE_KPA)                                              \
    FEED(COOK_MINUTES, "cook_minutes", NUMBER, MINUTES)                                            \
    FEED(ALTITUDE, "altitude", NUMBER, METRES)                                                     \
    FEED(LOAD, "load", ONE, NONE)                                                                  \
    FEED(AIR, "air", ONE, NONE)                                                                    \
    FEED(VESSEL_MASS, "vessel_mass", NUMBER, GRAMS)                                                \
    FEED(DRY_MASS, "dry_mass", NUMBER, GRAMS)                                                      \
    FEED(WATER_MASS, "water_mass", NUMBER, GRAMS)                                                  \
    FEED(MOISTURE, "moisture", NUMBER, PERCENT)                                                    \
    FEED(TEMPERATURE, "temperature", NUMBER, CELSIUS)                                              \
    FEED(DOSE, "dose", ONE, NONE)                                                                  \
    FEED(STARTER_KIND, "starter_kind", ONE, NONE)                                                  \
    FEED(SHAKEN_DAYS, "shaken_days", NUMBER, DAYS)                                                 \
    /* Below: only what records know; no computation of process/ takes it. */                      \
    FEED(COOK_METHOD, "cook_method", ONE, NONE)                                                    \
    FEED(SOAK, "soak", NUMBER, MINUTES)                                                            \
    FEED(POSITION, "position", ONE, NONE)          /* in the cooker */                             \
    FEED(STARTER_AGE, "starter_age", NUMBER, DAYS) /* when it was used */                          \
    FEED(WAIT_BEFORE, "wait_before", NUMBER, DAYS) /* from the cook to inoculation */              \
    FEED(FIRST_SEEN, "first_seen", NUMBER, DAYS)   /* day on which trouble was first seen */       \
    FEED(PATCHES, "patches", ONE, NONE) /* `parameter`: how many odd patches; 0 for none */        \
    /* `parameter`: from so many points of coverage a day. */                                      \
    FEED(PROGRESS, "progress", ONE, NONE)                                                          \
    FEED(SPOT_CHANGE, "spot_change", ONE, NONE) /* of a patch between two looks */                 \
    /* `parameter`: from so high a chance of contamination, at any look */                         \
    FEED(JUDGED_BEFORE, "judged_before", ONE, NONE)                                                \
    /* What became of the others that share it ... */                                              \
    FEED(SIBLINGS_COOK, "siblings_cook", ONE, NONE)                                                \
    FEED(SIBLINGS_LOT, "siblings_lot", ONE, NONE)                                                  \
    FEED(SIBLINGS_SESSION, "siblings_session", ONE, NONE)                                          \
    FEED(SIBLINGS_STARTER, "siblings_starter", ONE, NONE)                                          \
    FEED(SIBLINGS_PLACE, "siblings_place", ONE, NONE)                                              \
    FEED(SPEED, "speed", ONE, NONE)       /* coverage that no culture could have by its day */     \
    FEED(CONTROLS, "controls", ONE, NONE) /* ... and of those of its cook never inoculated */      \
    /* `parameter`: 1 when a starter went in, 0 for a control. */                                  \
    FEED(INOCULATED, "inoculated", ONE, NONE)                                                      \
    /* Of a whole batch: whether the lost show the same. */                                        \
    FEED(LOST_ALIKE, "lost_alike", ONE, NONE)                                                      \
    FEED(LOST_ONES, "lost_ones", ONE, NONE) /* and what they alone share */
#define FEEDS_CONSTANT(name, ...) FEEDS_##name,
enum feeds { FEEDS(FEEDS_CONSTANT) FEEDS_COUNT };

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
/* What a question is about, and so of what the signs are that an answer names. */
enum question_subject {
    SUBJECT_VESSEL,
    SUBJECT_MAKING, /* how it was made: what is seen now is salient, or no sign of the vessel */
    SUBJECT_OTHERS, /* other things that can be seen: no sign is of the vessel */
};

#define VALUE_TABLE(FIELD, LIST, of)                                                               \
    FIELD(of, TEXT, "label", label, MUST) /* short, for lists and summaries */                     \
    FIELD(of, TEXT, "look", look, MAY)    /* how to recognise it, or NULL */                       \
    /* Share (one, number) or probability (several) when nothing is known. */                      \
    FIELD(of, FREQUENCY, "base", base, MUST)                                                       \
    FIELD(of, NUMBER(ANY), "below", below, MAY) /* number: where its bin ends */                   \
    /* Handed to process/ by some `feeds` (dose, air fraction); NAN if none. */                    \
    FIELD(of, NUMBER(ANY), "parameter", parameter, MAY)                                            \
    /* Several: who sees it says so, unasked; then not saying so tells. What was seen once */      \
    /* stays seen at later looks. */                                                               \
    FIELD(of, FLAG, "salient", salient, MAY)                                                       \
    /* One: it stands where it is said beside another: dew that has turned milky is milky. */      \
    FIELD(of, FLAG, "prevails", prevails, MAY)                                                     \
    /* Takes back what was feared before it: "it was the lamp". */                                 \
    FIELD(of, FLAG, "withdraws", withdraws, MAY)                                                   \
    FIELD(of, PHRASES, "phrases", phrases, MAY)                                                    \
    /* Plain words that name it in answer to its question, and nowhere else. */                    \
    FIELD(of, PHRASES, "answers", answers, MAY)
ITEM(value, VALUE_TABLE, double from;); /* number: the bin [from, below) in canonical units */

#define OBSERVABLE_TABLE(FIELD, LIST, of)                                                          \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, TEXT, "label", label, MUST) /* two or three words, for summaries */                  \
    FIELD(of, QUESTION, "ask", ask, MUST) /* ends in a question mark */                            \
    FIELD(of, TEXT, "look", look, MAY)    /* how to find out, without opening anything */          \
    FIELD(of, TEXT, "why", why, MAY)      /* why it matters, one sentence; or NULL */              \
    FIELD(of, CHOICE(observable_kind, KIND_WORDS), "kind", kind, MUST)                             \
    FIELD(of, CHOICE(dimension, DIMENSION_WORDS), "unit", dimension, MAY) /* number only */        \
    FIELD(of, NUMBER(ANY), "min", min, MAY) /* number: outside is impossible and refused */        \
    FIELD(of, NUMBER(ANY), "max", max, MAY)                                                        \
    FIELD(of, CHOICE(feeds, FEED_WORDS), "feeds", feeds, MAY)                                      \
    FIELD(of, FLAG, "lasts", lasts, MAY) /* what was said of it holds at the next look */          \
    /* A value that withdraws takes back what was said of it before. */                            \
    FIELD(of, FLAG, "withdrawn", withdrawn, MAY)                                                   \
    FIELD(of, CHOICE(question_gate, GATE_WORDS), "gate", gate, MAY)                                \
    FIELD(of, CHOICE(question_subject, SUBJECT_WORDS), "subject", subject, MAY)                    \
    /* Of answering: 1 is a glance (unit: decision.effort_loss). */                                \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 1), "effort", effort, MAY)                                   \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 0), "delay_days", delay_days, MAY) /* of a test */           \
    FIELD(of, GROUP, "group", group, MAY) /* index into rules.groups, or RULES_NONE */             \
    LIST(of, struct value, "values", values, value_count, MAY, VALUES)
ITEM(observable, OBSERVABLE_TABLE, enum observable_class class;
     struct phrases phrases;         /* number: each holds a quantity */
     uint32_t salient, prevailing;); /* which of its values are */

/* Observables that say nearly the same: the k-th strongest counts (1 - overlap)^k. */
#define GROUP_TABLE(FIELD, LIST, of)                                                               \
    FIELD(of, NUMBER(SHARE), "overlap", overlap, MUST) /* 0 independent .. 1 the same */
ITEM(group, GROUP_TABLE, );

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

#define FINDING_TABLE(FIELD, LIST, of)                                                             \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, TEXT, "name", name, MUST)                                                            \
    FIELD(of, TEXT, "also", also, MAY)  /* trade and scientific names, or NULL */                  \
    FIELD(of, TEXT, "what", what, MUST) /* what it is, one or two sentences */                     \
    FIELD(of, CHOICE(finding_status, STATUS_WORDS), "status", status, MUST)                        \
    FIELD(of, CHOICE(hazard, HAZARD_WORDS), "hazard", hazard, MUST)                                \
    /* b_f: weight of growing without any of the causes. */                                        \
    FIELD(of, NUMBER(NOT_NEGATIVE), "base", base, MUST)                                            \
    /* Chance that a look after decision.isolate_days shows it beyond doubt. */                    \
    FIELD(of, NUMBER(SHARE), "reveal", reveal, MUST)                                               \
    /* Share of a good vessel's worth it still has when kept, 0..1; and the same of what is */     \
    /* lost by discarding it before it has shown what it is. */                                    \
    FIELD(of, NUMBER(SHARE), "kept_worth", kept_worth, MUST)                                       \
    FIELD(of, NUMBER_OR(SHARE, 0), "too_soon", too_soon, MAY)                                      \
    /* Chance that keeping it costs a neighbour. */                                                \
    FIELD(of, NUMBER(SHARE), "spread", spread, MUST)                                               \
    LIST(of, struct claim, "looks", looks, look_count, MUST, CLAIMS(of, CLAIM_FREQUENCY))          \
    LIST(of, struct difference, "differs", differs, differ_count, MAY, ENTRIES(difference))
/* looks: P(value | finding); steps: what to do, in order */
ITEM(finding, FINDING_TABLE, const char *const *steps[ACTION_COUNT];
     size_t step_count[ACTION_COUNT];);

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
};

#define CAUSE_TABLE(FIELD, LIST, of)                                                               \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, TEXT, "name", name, MUST)                                                            \
    FIELD(of, TEXT, "what", what, MUST)                                                            \
    FIELD(of, CHOICE(scope, SCOPE_WORDS), "scope", scope, MUST)                                    \
    FIELD(of, NUMBER(CHANCE), "prior", prior, MUST) /* pi_c, 0..1 */                               \
    /* Share of what shares it that it affects when it acts; and of what stood beside it in the */ \
    /* cooker, 0: no different there. */                                                           \
    FIELD(of, NUMBER_OR(SHARE_ABOVE_0, 1), "reach", reach, MAY)                                    \
    FIELD(of, NUMBER_OR(SHARE_ABOVE_0, 0), "reach_near", reach_near, MAY)                          \
    /* Acts on a vessel that was never inoculated, too. */                                         \
    FIELD(of, FLAG, "shown_by_control", shown_by_control, MAY)                                     \
    FIELD(of, CHOICE(moved_by, MOVED_WORDS), "moved_by", moved_by, MAY)                            \
    LIST(of, struct growth_rate, "grows", grows, grow_count, MUST, ENTRIES(growth_rate))           \
    LIST(of, struct claim, "weighs", weighs, weigh_count, MAY, CLAIMS(of, CLAIM_WEIGHT))           \
    LIST(of, sentence, "change", change, change_count, MUST, BY(read_texts))                       \
    /* Observables of class test that would settle it. */                                          \
    LIST(of, size_t, "settle", settle, settle_count, MAY, REFERENCES(ITEM_OBSERVABLE))
/* weighs: factors w_{c,i}(v); change: what to change next time, in order */
ITEM(cause, CAUSE_TABLE, struct citation grows_cites;);

/* ---- what is grown, on what, in what --------------------------------------------------------- */

struct normal_look { /* on this species, P(value | finding) is this instead */
    size_t finding;
    struct claim claim;
};

#define GROWTH_TABLE(FIELD, LIST, of) /* see process/forecast.h; NAN where unknown */              \
    FIELD(of, CITATION, "source", cites, MAY)                                                      \
    FIELD(of, NUMBER(ANY), "t_min", t_min, MAY) /* degrees Celsius */                              \
    FIELD(of, NUMBER(ANY), "t_opt", t_opt, MAY)                                                    \
    FIELD(of, NUMBER(ANY), "t_max", t_max, MAY)                                                    \
    FIELD(of, PAIR(POSITIVE), "rate", rate, MAY)      /* mm/day at t_opt */                        \
    FIELD(of, PAIR(NOT_NEGATIVE), "lag", lag, MAY)    /* days to visible growth */                 \
    FIELD(of, PAIR(POSITIVE), "full_days", full, MAY) /* published, to full grain colonisation */
STRUCT(growth, GROWTH_TABLE);

#define SPECIES_TABLE(FIELD, LIST, of)                                                             \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, TEXT, "name", name, MUST)                                                            \
    FIELD(of, TEXT, "latin", latin, MUST)                                                          \
    FIELD(of, NUMBER(POSITIVE), "base", base, MUST) /* share among growers' vessels */             \
    FIELD(of, PHRASES, "phrases", phrases, MAY)                                                    \
    FIELD(of, INNER(growth), "growth", growth, MAY)                                                \
    FIELD(of, TEXT, "note", note, MAY) /* what surprises people about it */
ITEM(species, SPECIES_TABLE, const struct normal_look *normal; size_t normal_count;);

#define GRAIN_TABLE(FIELD, LIST, of)                                                               \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, TEXT, "name", name, MUST)                                                            \
    FIELD(of, NUMBER(POSITIVE), "base", base, MUST)                                                \
    FIELD(of, PHRASES, "phrases", phrases, MAY)                                                    \
    FIELD(of, NUMBER(PER_CENT), "moisture", moisture, MUST)  /* as bought, wet basis */            \
    FIELD(of, PAIR(PER_CENT), "target", target, MUST)        /* the band to aim for, wet basis */  \
    FIELD(of, NUMBER(PER_CENT), "raw_limit", raw_limit, MAY) /* what the raw kernel holds */       \
    FIELD(of, NUMBER(POSITIVE), "bulk", bulk, MUST)          /* loose hydrated grain, kg/l */      \
    FIELD(of, TEXT, "note", note, MAY)
ITEM(grain, GRAIN_TABLE, );

enum vessel_shape { SHAPE_CYLINDER, SHAPE_BRICK };

#define VESSEL_TABLE(FIELD, LIST, of)                                                              \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, TEXT, "name", name, MUST)                                                            \
    FIELD(of, NUMBER(POSITIVE), "base", base, MUST)                                                \
    FIELD(of, PHRASES, "phrases", phrases, MAY)                                                    \
    FIELD(of, CHOICE(vessel_shape, BODY_WORDS), "shape", shape, MUST)                              \
    FIELD(of, NUMBER(POSITIVE), "litres", litres, MAY) /* brim volume; NAN for bags */             \
    FIELD(of, NUMBER(POSITIVE), "radius", radius, MAY) /* metres, of the filled grain */           \
    FIELD(of, NUMBER(POSITIVE), "height", height, MAY) /* (cylinder) */                            \
    FIELD(of, NUMBER(POSITIVE), "mass", mass_kg, MUST) /* hydrated grain at the usual fill */      \
    /* Surface conductance of wall and film, W/(m2 K). */                                          \
    FIELD(of, NUMBER(POSITIVE), "wall_h", wall_h, MUST)
ITEM(vessel_kind, VESSEL_TABLE, double sides[3];); /* metres, full, of the filled grain (brick) */

/* ---- inputs of process/ ---------------------------------------------------------------------- */

enum organism_role {
    ORGANISM_SPORE_FORMER, /* a survivor spoils the vessel */
    ORGANISM_FUNGUS,       /* so does one of these, but only an unheated spot lets it live */
    ORGANISM_INDICATOR, /* reported for comparison; it does not grow at the temperature of spawn */
};

#define ORGANISM_TABLE(FIELD, LIST, of) /* see process/cook.h */                                   \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, TEXT, "name", name, MUST)                                                            \
    FIELD(of, CHOICE(organism_role, ROLE_WORDS), "role", role, MUST)                               \
    FIELD(of, RANGE(POSITIVE), "d", d_minutes, MUST)           /* at `reference` */                \
    FIELD(of, NUMBER(ANY), "reference", reference, MUST)       /* degrees Celsius */               \
    FIELD(of, RANGE(POSITIVE), "z", z, MUST)                   /* kelvin */                        \
    FIELD(of, RANGE(NOT_NEGATIVE), "per_gram", per_gram, MUST) /* dry, before the cook */          \
    FIELD(of, TEXT, "note", note, MAY)
ITEM(organism, ORGANISM_TABLE, );

struct packing { /* how a value of the observable that feeds `load` changes the heating */
    size_t value;
    double thickness; /* factor on the smallest dimension */
};

/* What is assumed of a cook when it was not said; NAN where not given. */
#define COOK_TABLE(FIELD, LIST, of)                                                                \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, RANGE(POSITIVE), "diffusivity", diffusivity, MUST)     /* effective, m2/s */         \
    FIELD(of, NUMBER(POSITIVE), "heat_capacity", heat_capacity, MAY) /* J/(m3 K) */                \
    FIELD(of, RANGE(NOT_NEGATIVE), "come_up", come_up, MAY)          /* minutes */                 \
    /* Share to either side when it was said. */                                                   \
    FIELD(of, NUMBER(SHARE), "come_up_doubt", come_up_doubt, MAY)                                  \
    /* Minutes to the boiling point, credited in the good end only. */                             \
    FIELD(of, NUMBER(NOT_NEGATIVE), "cool", cool, MAY)                                             \
    FIELD(of, NUMBER(ANY), "start", start, MAY) /* degrees Celsius */                              \
    FIELD(of, RANGE(SHARE), "air", air, MAY)    /* share left */                                   \
    /* Factor to either side when it was said. */                                                  \
    FIELD(of, NUMBER(POSITIVE), "air_doubt", air_doubt, MAY)                                       \
    /* Chance aimed for that a vessel is not sterile. */                                           \
    FIELD(of, NUMBER(CHANCE), "target", target, MAY)                                               \
    /* Gauge kPa no advice goes beyond when the rating was not said. */                            \
    FIELD(of, NUMBER(POSITIVE), "rated", rated, MAY)                                               \
    LIST(of, struct packing, "packing", packings, packing_count, MAY, ENTRIES(packing))            \
    /* Then the gauge is 0 unless it was said. */                                                  \
    FIELD(of, CONDITION, "no_pressure", no_pressure, MAY)
#define JUDGED_TABLE(FIELD, LIST, of) /* "adequate" asks for so many minutes at so much */         \
    FIELD(of, NUMBER(POSITIVE), "f0", judged_f0, MUST)                                             \
    FIELD(of, NUMBER(POSITIVE), "diffusivity", judged_diffusivity, MUST)
#define PROBE_TABLE(FIELD, LIST, of)                                                               \
    FIELD(of, NUMBER(NOT_NEGATIVE), "doubt", probe_doubt, MUST) /* kelvin */                       \
    FIELD(of, NUMBER(POSITIVE), "gap", probe_gap, MUST)         /* minutes that are no gap */
struct cook_rules {
    MEMBERS(COOK_TABLE)
    MEMBERS(JUDGED_TABLE)
    MEMBERS(PROBE_TABLE)
};

enum starter_unit { STARTER_ML, STARTER_GRAMS, STARTER_PIECES };

/* A value of the observable that feeds `starter_kind`, as inoculum. */
#define STARTER_TABLE(FIELD, LIST, of)                                                             \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, TEXT, "name", name, MUST)                                                            \
    FIELD(of, CHOICE(starter_unit, UNIT_WORDS), "unit", unit, MUST)                                \
    FIELD(of, NUMBER(POSITIVE), "usual", usual, MUST)  /* units for a litre of grain */            \
    FIELD(of, RANGE(POSITIVE), "points", points, MUST) /* that grow, from one unit */              \
    FIELD(of, RANGE(NOT_NEGATIVE), "lag", lag, MUST)   /* days on top of the species' */
ITEM(starter_kind, STARTER_TABLE, size_t value;);

#define FORECAST_TABLE(FIELD, LIST, of) /* NAN where not given */                                  \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, NUMBER(POSITIVE), "kernels", kernels, MAY)    /* a cubic centimetre */               \
    FIELD(of, NUMBER(ANY), "temperature", temperature, MAY) /* when it was not said */             \
    FIELD(of, NUMBER(NOT_NEGATIVE), "temperature_doubt", temperature_doubt, MAY)                   \
    FIELD(of, NUMBER(POSITIVE), "look_every", look_every, MAY) /* days */                          \
    /* Points of per cent, of coverage judged by eye. */                                           \
    FIELD(of, NUMBER(POSITIVE), "coverage_doubt", coverage_doubt, MAY)                             \
    /* The `parameter` that a usual dose has. */                                                   \
    FIELD(of, NUMBER(POSITIVE), "dose_usual", dose_usual, MAY)                                     \
    /* Points of per cent, of a moisture from weighing. */                                         \
    FIELD(of, NUMBER(NOT_NEGATIVE), "moisture_doubt", moisture_doubt, MAY)                         \
    FIELD(of, NUMBER(SHARE), "fill_most", fill_most, MAY) /* of a vessel */
#define SHAKE_TABLE(FIELD, LIST, of)                                                               \
    FIELD(of, PAIR(PER_CENT), "between", shake, MUST) /* of coverage */                            \
    /* Points after it for each before. */                                                         \
    FIELD(of, NUMBER(POSITIVE), "factor", shake_factor, MUST)                                      \
    FIELD(of, NUMBER(NOT_NEGATIVE), "pause", shake_pause, MUST) /* days */
struct forecast_rules {
    MEMBERS(FORECAST_TABLE)
    MEMBERS(SHAKE_TABLE)
};

/* How a computed chance p moves the odds of a cause: trust x (logit p - logit usual), at most
 * `most` either way. All 0 when not given: it moves nothing. */
#define MOVE_TABLE(FIELD, LIST, of)                                                                \
    FIELD(of, NUMBER(CHANCE), "usual", usual, MUST)                                                \
    FIELD(of, NUMBER(NOT_NEGATIVE), "trust", trust, MUST)                                          \
    FIELD(of, NUMBER(NOT_NEGATIVE), "most", most, MUST)
STRUCT(move, MOVE_TABLE);

/* ---- cautions, decision, language ------------------------------------------------------------ */

#define CAUTION_TABLE(FIELD, LIST, of)                                                             \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, TEXT, "text", text, MUST)                                                            \
    FIELD(of, RANK, "rank", rank, MUST) /* lower is shown first; below 10: before handling */      \
    FIELD(of, FLAG, "always", always, MAY)                                                         \
    /* It applies when findings of a hazard or status, or these, have enough mass; with an */      \
    /* action; or where something was seen (count 0: no such condition). */                        \
    FIELD(of, SET(HAZARD_WORDS), "hazards", hazards, MAY)                                          \
    FIELD(of, SET(STATUS_WORDS), "statuses", statuses, MAY)                                        \
    LIST(of, size_t, "findings", findings, finding_count, MAY, REFERENCES(ITEM_FINDING))           \
    FIELD(of, NUMBER_OR(SHARE, 0), "at_least", at_least, MAY) /* the mass that is enough */        \
    FIELD(of, SET(ACTION_WORDS), "actions", actions, MAY)                                          \
    FIELD(of, CONDITION, "when", when, MAY)
ITEM(caution, CAUTION_TABLE, );

#define FLOOR_TABLE(FIELD, LIST, of)                                                               \
    FIELD(of, CITATION, "source", cites, MAY)                                                      \
    FIELD(of, CHOICE(action, FORCED_WORDS), "action", action, MAY) /* forces it, or */             \
    FIELD(of, ONLY(FORBIDDEN_WORDS), "forbids", forbids_keep, MAY)                                 \
    FIELD(of, CONDITION, "when", when, MAY) /* where this is seen (plain, not hedged) */           \
    LIST(of, struct condition, "unless", unless, unless_count, MAY, BY(read_exceptions))           \
    /* Applies when P(contaminated) exceeds it, 1 for never; when these findings together are */   \
    /* likelier than that. */                                                                      \
    FIELD(of, NUMBER_OR(SHARE, 1), "contaminated_above", contaminated_above, MAY)                  \
    LIST(of, size_t, "likely", likely, likely_count, MAY, REFERENCES(ITEM_FINDING))                \
    FIELD(of, NUMBER_OR(SHARE, 1), "likely_above", likely_above, MAY)                              \
    /* Anything that was said of one of these lifts it, also that something is not there. */       \
    LIST(of, size_t, "unless_told", unless_told, unless_told_count, MAY,                           \
         REFERENCES(ITEM_OBSERVABLE))                                                              \
    /* And only where more words than this were not understood, 0: anywhere; where all were; */    \
    /* where some of those stand after "but" or the like. */                                       \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 0), "unread_above", unread_above, MAY)                       \
    FIELD(of, FLAG, "all_understood", all_understood, MAY)                                         \
    FIELD(of, FLAG, "after_objection", after_objection, MAY)                                       \
    /* `when` does not count where P(contaminated) is below this, and below 1/2 without words. */  \
    FIELD(of, NUMBER_OR(SHARE, 0), "yields_below", yields_below, MAY)                              \
    /* Who is asked again and does not know has not said it: a conversation takes it back. */      \
    FIELD(of, FLAG, "unsure_lifts", unsure_lifts, MAY)                                             \
    FIELD(of, TEXT, "say", say, MUST) /* the sentence that names it */
ITEM(floor_rule, FLOOR_TABLE, );      /* unless: any of these lifts it */

#define NEXT_STEP_TABLE(FIELD, LIST, of)                                                           \
    /* the first that holds is taken; count 0 always holds */                                      \
    FIELD(of, CONDITION, "when", when, MAY)                                                        \
    LIST(of, size_t, "findings", findings, finding_count, MAY, REFERENCES(ITEM_FINDING))           \
    FIELD(of, TEXT, "say", say, MUST)                                                              \
    LIST(of, sentence, "do", steps, step_count, MAY,                                               \
         BY(read_texts))                               /* in place of the finding's */             \
    FIELD(of, NUMBER(NOT_NEGATIVE), "days", days, MAY) /* to the next look; NAN: look_every */
/* By ids wait, shake, use, use_first; findings: and the leader is one of these, if any. */
ITEM(next_step, NEXT_STEP_TABLE, );

/* A question that makes no sense before something else is known: where no odd patch was seen, none
 * is asked about its edge. Only where `when` was seen (count 0: always) and `unless` was not. */
#define ASKED_IF_TABLE(FIELD, LIST, of)                                                            \
    LIST(of, size_t, "ask", observables, observable_count, MUST, REFERENCES(ITEM_OBSERVABLE))      \
    FIELD(of, CONDITION, "when", when, MAY)                                                        \
    FIELD(of, CONDITION, "unless", unless, MAY)
STRUCT(asked_if, ASKED_IF_TABLE);

#define USE_TABLE(FIELD, LIST, of) /* what the vessel will be used for */                          \
    FIELD(of, TEXT, "label", label, MUST)                                                          \
    /* Loss per vessel or block made from a contaminated one, in vessels' worth. */                \
    FIELD(of, NUMBER(NOT_NEGATIVE), "loss_each", loss_each, MUST)
struct use {
    const char *id;
    MEMBERS(USE_TABLE)
};

#define DECISION_TABLE(FIELD, LIST, of)                                                            \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    FIELD(of, NUMBER(NOT_NEGATIVE), "discard_effort", discard_effort, MUST)                        \
    /* Loss of one unit of effort of answering. */                                                 \
    FIELD(of, NUMBER(NOT_NEGATIVE), "effort_loss", effort_loss, MUST)                              \
    /* A turn less likely than this does not unsettle the action. */                               \
    FIELD(of, NUMBER(SHARE), "settled", settled, MUST)                                             \
    FIELD(of, NUMBER(NOT_NEGATIVE), "neighbours", neighbours, MUST) /* when not told */            \
    LIST(of, struct use, "uses", uses, use_count, MAY, ENTRIES(use))                               \
    LIST(of, struct floor_rule, "floors", floors, floor_count, MAY, ENTRIES(floor_rule))           \
    LIST(of, struct next_step, "next_steps", next_steps, next_step_count, MUST,                    \
         ENTRIES(next_step))                                                                       \
    LIST(of, struct asked_if, "asked_if", asked_if, asked_if_count, MAY, ENTRIES(asked_if))        \
    /* What is asked before keep is believed. */                                                   \
    LIST(of, struct asked_if, "before_keep", before_keep, before_keep_count, MAY,                  \
         ENTRIES(asked_if))                                                                        \
    /* All that a vessel shows of which a remark about many says nothing else. */                  \
    FIELD(of, CONDITION, "plain", plain, MAY)
#define ISOLATE_TABLE(FIELD, LIST, of)                                                             \
    /* Loss of isolating anything. */                                                              \
    FIELD(of, NUMBER(NOT_NEGATIVE), "delay", isolate_delay, MUST)                                  \
    FIELD(of, NUMBER(NOT_NEGATIVE), "days", isolate_days, MUST) /* until the next look */          \
    FIELD(of, NUMBER(SHARE), "spread", isolate_spread, MUST)    /* share of `spread` left */
struct decision_rules {
    const char *action_label[ACTION_COUNT];
    const char *action_say[ACTION_COUNT];
    double keep_wrong; /* loss of keeping a contaminated vessel, in vessels' worth */
    double keep_wrong_hazard[HAZARD_COUNT]; /* added by hazard */
    MEMBERS(ISOLATE_TABLE)
    MEMBERS(DECISION_TABLE)
};

#define REVIEW_TABLE(FIELD, LIST, of) /* when a review of many vessels calls a fault */            \
    FIELD(of, CITATION, "source", cites, MUST)                                                     \
    /* At most this share of journals without a fault has one called; and at least so much */      \
    /* evidence for a rate of its own. */                                                          \
    FIELD(of, NUMBER_OR(CHANCE, 0.05), "false_alarm", false_alarm, MUST)                           \
    FIELD(of, NUMBER_OR(POSITIVE, 10), "bayes_factor", bayes_factor, MUST)                         \
    /* Days after which a vessel that is still sound counts as not lost. */                        \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 21), "watched", watched, MUST)                               \
    /* Effort that a day of waiting for a test is worth. */                                        \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 0.5), "wait", wait, MUST)
STRUCT(review_rules, REVIEW_TABLE);

struct word { /* a verbal frequency or weight */
    const char *word;
    double number;
};

/* always .. never -> probability; far_more .. far_less -> factor */
#define SCALE_TABLE(FIELD, LIST, of)                                                               \
    LIST(of, struct word, "frequency", frequency, frequency_count, MUST, ENTRIES(chance))          \
    LIST(of, struct word, "weight", weight, weight_count, MUST, ENTRIES(factor))
STRUCT(scale, SCALE_TABLE);

/* What is assumed of vessels that share something (reason/siblings.h). All 0: they move nothing. */
#define SIBLINGS_TABLE(FIELD, LIST, of)                                                            \
    /* No pattern moves the log odds of a set of causes farther. */                                \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 0), "most", most, MUST)                                      \
    /* Share lost when nothing shared is wrong, as if it had been seen in so many vessels. */      \
    FIELD(of, NUMBER_OR(CHANCE, 0), "usual", usual, MUST)                                          \
    FIELD(of, NUMBER_OR(POSITIVE, 0), "usual_seen", usual_seen, MUST)                              \
    FIELD(of, NUMBER_OR(POSITIVE, 0), "reach_seen", reach_seen, MUST) /* likewise */
STRUCT(sibling_rules, SIBLINGS_TABLE);

/* How much the words of a text say beside what was understood of them; see language/words.h. */
#define WORDS_TABLE(FIELD, LIST, of)                                                               \
    /* Exponents: contaminated or not; which finding of these; which cause an account tells of. */ \
    /* The chances of its causes, by the temper, are shares of 1; without one they stay. */        \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 0), "group_power", group_power, MUST)                        \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 0), "finding_power", finding_power, MUST)                    \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 0), "cause_power", cause_power, MAY)                         \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 0), "cause_temper", cause_temper, MAY)                       \
    FIELD(of, NUMBER_OR(POSITIVE, 0), "usual", usual, MUST) /* terms at which they hold */         \
    /* Weight of what is shrunk to, in tables of terms. */                                         \
    FIELD(of, NUMBER_OR(POSITIVE, 0), "status_prior", status_prior, MUST)                          \
    FIELD(of, NUMBER_OR(POSITIVE, 0), "finding_prior", finding_prior, MUST)                        \
    /* Natural logarithms: bounds of what one term says, before the exponent; of how far a text */ \
    /* may speak against contamination, and of a whole text, after it. */                          \
    FIELD(of, NUMBER_OR(POSITIVE, 0), "term_most", term_most, MUST)                                \
    FIELD(of, NUMBER_OR(POSITIVE, 0), "sound_most", sound_most, MUST)                              \
    FIELD(of, NUMBER_OR(POSITIVE, 0), "most", most, MUST)
STRUCT(word_calibration, WORDS_TABLE);

#define CALIBRATION_TABLE(FIELD, LIST, of)                                                         \
    FIELD(of, NUMBER(SHARE_ABOVE_0), "tau", tau, MUST) /* power of the whole likelihood */         \
    /* Factor on it for what was answered when it was asked for. */                                \
    FIELD(of, NUMBER_OR(POSITIVE, 1), "answered", answered, MAY)                                   \
    /* Power on the share of a finding within its status. */                                       \
    FIELD(of, NUMBER_OR(POSITIVE, 1), "sharpness", sharpness, MAY)                                 \
    /* Share of descriptions that do not tell one finding of a status from another. */             \
    FIELD(of, NUMBER_OR(SHARE, 0), "lapse", lapse, MAY)                                            \
    FIELD(of, NUMBER(SHARE), "hedge", hedge, MUST) /* certainty of a hedged statement */           \
    /* Chance that a salient value, being there, is spoken of; and the signs a text must speak */  \
    /* of before its silence tells, 0: it never does. */                                           \
    FIELD(of, NUMBER_OR(SHARE, 0), "silence", silence, MAY)                                        \
    FIELD(of, NUMBER_OR(NOT_NEGATIVE, 0), "silence_after", silence_after, MAY)                     \
    FIELD(of, INNER(sibling_rules), "siblings", siblings, MAY)                                     \
    FIELD(of, INNER(word_calibration), "words", words, MAY) /* all 0: they do not weigh */         \
    FIELD(of, TEXT, "fitted_by", fitted_by, MAY)            /* the command that fits tau */
STRUCT(calibration, CALIBRATION_TABLE);

/* A phrase that says several things at once, e.g. "nothing odd anywhere". */
#define STATEMENT_TABLE(FIELD, LIST, of)                                                           \
    FIELD(of, PHRASES, "phrases", phrases, MUST)                                                   \
    FIELD(of, CONDITION, "seen", seen, MAY)     /* values it reports as seen */                    \
    FIELD(of, CONDITION, "absent", absent, MAY) /* values it denies */                             \
    /* Observables (several) whose values not named elsewhere it denies. */                        \
    LIST(of, size_t, "others_absent", others, other_count, MAY, REFERENCES(ITEM_OBSERVABLE))       \
    /* Only where it is all that was said, and no answer to a question. */                         \
    FIELD(of, FLAG, "alone", alone, MAY)                                                           \
    FIELD(of, FLAG, "overall", overall, MAY) /* denies nothing beside words not understood */
ITEM(statement, STATEMENT_TABLE, );

/* A question of the grower's own ("good to use?") and what the verdict answers: what fits first. */
#define REPLY_TABLE(FIELD, LIST, of)                                                               \
    FIELD(of, SET(ACTION_WORDS), "actions", actions, MAY)   /* it goes with; 0: any */             \
    FIELD(of, SET(STATUS_WORDS), "statuses", statuses, MAY) /* of the likeliest; 0: any */         \
    FIELD(of, CONDITION, "when", when, MAY) /* and this was seen; count 0 always holds */          \
    FIELD(of, TEXT, "say", say, MUST)
STRUCT(reply, REPLY_TABLE);

#define QUESTION_TABLE(FIELD, LIST, of)                                                            \
    FIELD(of, PHRASES, "phrases", phrases, MUST)                                                   \
    LIST(of, struct reply, "answers", replies, reply_count, MUST, ENTRIES(reply))
ITEM(own_question, QUESTION_TABLE, ); /* the last reply always fits */

/* What phrases call {id}: any of its items. */
struct named_list {
    const char *id;
    struct phrases items;
};
/* How the ids of lists of headings begin (FORMAT.md): sheet_column_batch. */
#define COLUMN_LEAD "sheet_column_"

/* The words the program itself must know to read plain language, each matched as a phrase is. */
#define LANGUAGE_TABLE(FIELD, LIST, of)                                                            \
    FIELD(of, PHRASES, "negations", negations, MAY) /* deny what follows in their clause */        \
    FIELD(of, PHRASES, "hedges", hedges, MAY)       /* weaken what stands in their clause */       \
    /* End the scope of a negation or hedge ("but", "though"). */                                  \
    FIELD(of, PHRASES, "breaks", breaks, MAY)                                                      \
    /* What was denied before them does hold ("except", "until"). */                               \
    FIELD(of, PHRASES, "exceptions", exceptions, MAY)                                              \
    /* Single words: what follows them is amiss ("but", "only"). */                                \
    FIELD(of, PHRASES, "objections", objections, MAY)                                              \
    FIELD(of, PHRASES, "nones", nones, MAY) /* single words that alone answer a question: none */  \
    /* What is said with them stands in the place of what was said before ("no wait"). */          \
    FIELD(of, PHRASES, "corrections", corrections, MAY)                                            \
    FIELD(of, PHRASES, "ignore", ignore, MAY) /* need no understanding ("the", "is") */            \
    /* Join what may stand for one another ("or", "nor"), what stands together ("and", "plus"). */ \
    FIELD(of, PHRASES, "alternatives", alternatives, MAY)                                          \
    FIELD(of, PHRASES, "additions", additions, MAY)                                                \
    /* As subject: what follows is of another vessel ("my last jar"); of this one ("here"). */     \
    FIELD(of, PHRASES, "others", others, MAY)                                                      \
    FIELD(of, PHRASES, "here", here, MAY)                                                          \
    /* Before a quantity: roughly ("around"), that or more ("at least"), less ("under"). */        \
    FIELD(of, PHRASES, "about", about, MAY)                                                        \
    FIELD(of, PHRASES, "over", over, MAY)                                                          \
    FIELD(of, PHRASES, "under", under, MAY)                                                        \
    /* An answer that affirms, says nothing of the kind ("normal"), does not know ("no idea"). */  \
    FIELD(of, PHRASES, "yes", yes, MAY)                                                            \
    FIELD(of, PHRASES, "no", no, MAY)                                                              \
    FIELD(of, PHRASES, "unknown", unknown, MAY)                                                    \
    /* Real words, never taken for a slip of another ("would"). */                                 \
    FIELD(of, PHRASES, "spared", spared, MAY)                                                      \
    /* Words that may stand between any two of a phrase ("very"). */                               \
    FIELD(of, PHRASES, "fillers", fillers, MAY)                                                    \
    FIELD(of, PHRASES, "same", same, MAY) /* forms that count as one word ("grey|gray") */         \
    /* Words that are no form of another ("spots" is not "spot"). */                               \
    FIELD(of, PHRASES, "apart", apart, MAY)                                                        \
    /* Words of one kind, apart by spaces; the first names it. */                                  \
    FIELD(of, PHRASES, "kinds", kinds, MAY)                                                        \
    /* Observables that only say where, as in "no green by the port". */                           \
    LIST(of, size_t, "where", where, where_count, MAY, REFERENCES(ITEM_OBSERVABLE))
struct language {
    MEMBERS(LANGUAGE_TABLE)
    const struct named_list *lists;
    size_t list_count;
    const struct statement *statements;
    size_t statement_count;
};

/* ---- the whole ------------------------------------------------------------------------------- */

#define RULES_TABLE(FIELD, LIST, of)                                                               \
    FIELD(of, TEXT, "name", name, MUST)                                                            \
    FIELD(of, TEXT, "version", version, MUST)
struct rules {
    const char **folders; /* that they were read from, in order */
    size_t folder_count;
    MEMBERS(RULES_TABLE)
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

/* Reads every .yaml file below each folder, later folders adding items or replacing whole items by
 * id ("overlay"). Reads only; writes nothing.
 *
 * Returns a rule base, or NULL with at least one error in `diags`. `status` (may be NULL) tells
 * STATUS_DATA from STATUS_IO. Limits: 4 MiB a file, 32 MiB in all, 4096 files, depth 32, 500 000
 * nodes; aliases are refused when they nest into themselves or expand beyond the node limit. */
struct rules *rules_load(const char *const *folders, size_t folder_count, struct diags *diags,
                         enum status *status);
void rules_free(struct rules *rules);

/* What stands in the rule files under an id of its own. */
enum rule_kind {
    ITEM_SOURCE,
    ITEM_GROUP,
    ITEM_SPECIES,
    ITEM_GRAIN,
    ITEM_VESSEL,
    ITEM_OBSERVABLE, /* signs, circumstances and tests share their ids */
    ITEM_FINDING,
    ITEM_CAUSE,
    ITEM_CAUTION,
    ITEM_ORGANISM,
    ITEM_STARTER,
    ITEM_MOVE,
    ITEM_WORDS,     /* lists of language.words */
    ITEM_STATEMENT, /* language.statements */
    ITEM_QUESTION,
    ITEM_WHOLE, /* keys that stand once and are replaced whole: decision, scale ... */
    ITEM_KINDS
};

/* Index by id, or RULES_NONE. Hashed; cheap. */
int rules_index(const struct rules *rules, enum rule_kind kind, const char *id);
#define rules_observable(rules, id) rules_index(rules, ITEM_OBSERVABLE, id)
#define rules_finding(rules, id)    rules_index(rules, ITEM_FINDING, id)
#define rules_cause(rules, id)      rules_index(rules, ITEM_CAUSE, id)
#define rules_species(rules, id)    rules_index(rules, ITEM_SPECIES, id)
#define rules_grain(rules, id)      rules_index(rules, ITEM_GRAIN, id)
#define rules_vessel(rules, id)     rules_index(rules, ITEM_VESSEL, id)
int rules_value(const struct observable *observable, const char *id);
/* Whether these words are one of a list of language.words, capitals or not. */
bool rules_lists(const struct rules *rules, const char *list, const char *words, size_t length);
/* The value that these bits name; RULES_NONE when they name none or several. */
static inline int single_value(uint32_t values)
{
    return values != 0 && (values & (values - 1)) == 0 ? __builtin_ctz(values) : RULES_NONE;
}
/* All the values of an observable, a bit each. */
uint32_t rules_all_values(const struct observable *observable);
/* The bin of a number observable that holds `number`; RULES_NONE outside [min, max]. */
int rules_bin(const struct observable *observable, double number);
/* Those that a stretch of numbers touches, a bit each. */
uint32_t rules_bins(const struct observable *observable, double lo, double hi);

/* The names of an enum in the files, in the order of its values. */
struct terms {
    const char *const *list;
    size_t count, first; /* the value of the first */
};
extern const struct terms ACTION_WORDS, STATUS_WORDS, HAZARD_WORDS, SCOPE_WORDS, MOVED_WORDS;

/* The name of one; "" when there is none such. */
const char *term_name(const struct terms *words, size_t which);
#define action_name(action) term_name(&ACTION_WORDS, action)
#define status_name(status) term_name(&STATUS_WORDS, status)
#define hazard_name(hazard) term_name(&HAZARD_WORDS, hazard)
#define scope_name(scope)   term_name(&SCOPE_WORDS, scope)

/* Where the shipped rules are, in this order: $JARSIDE_RULES; rules/ beside or above the running
 * program (a build tree, a folder that was copied), or share/jarside/rules beside its folder; the
 * installed folder given at build time. The overlay folder is $XDG_CONFIG_HOME/jarside/rules when
 * it exists. Relative values of XDG variables are ignored. Both return a malloc'd path the caller
 * frees, or NULL. */
char *rules_find_shipped(void);
char *rules_find_overlay(void);
/* Where a file or folder of the program's own belongs: in the folder that an XDG variable names, else in its usual
 * place below the home folder (".config"). The caller frees it; NULL where there is neither. */
char *rules_own_path(const char *variable, const char *usual, const char *name);
/* Where that overlay folder is, or would be made; NULL without a home. Caller frees. */
#define rules_overlay_path() rules_own_path("XDG_CONFIG_HOME", ".config", "rules")

/* ---- cases, settings --------------------------------------------------------------------------- */

/* Case files: descriptions of a vessel, alone (`judge --case`) or labelled with what it turned out
 * to be (`rules test`). Format: rules/FORMAT.md, "Cases". */
struct case_setting {
    const char *sign, *value; /* as written; resolved by reader_set */
    struct position at;
};

#define CASE_TABLE(FIELD, LIST, of)                                                                  \
    FIELD(of, TEXT, "id", id, MUST)                                                                  \
    FIELD(of, TEXT, "text", text, MAY) /* free text, or "" */                                        \
    /* What is expected, empty on an unlabelled case: any of these findings is right, best         \
     * first; any of these causes, empty: not labelled; a bit per acceptable action. */ \
    LIST(of, size_t, "findings", findings, finding_count, MAY, REFERENCES(ITEM_FINDING))             \
    LIST(of, size_t, "causes", causes, cause_count, MAY, REFERENCES(ITEM_CAUSE))                     \
    FIELD(of, SET(ACTION_WORDS), "actions", actions, MAY)                                            \
    FIELD(of, TEXT, "source", source, MAY) /* of the description, as written */                      \
    FIELD(of, TEXT, "note", note, MAY)
#define STAKES_TABLE(FIELD, LIST, of) /* NAN where not given */                                    \
    FIELD(of, NUMBER(NOT_NEGATIVE), "neighbours", neighbours, MAY)                                 \
    FIELD(of, NUMBER(POSITIVE), "worth", worth, MAY)
struct labelled_case {
    MEMBERS(CASE_TABLE)
    MEMBERS(STAKES_TABLE)
    double use_count; /* NAN where not given */
    const char *use;  /* id of a use, or NULL */
    const struct case_setting *settings;
    size_t setting_count;
    struct position at;
};

/* Reads a case file, or every .yaml file below a folder, into `arena`. On STATUS_OK `cases` points
 * to `count` of them. All faults are in `diags`. */
enum status cases_load(const char *path, const struct rules *rules, struct arena *arena,
                       const struct labelled_case **cases, size_t *count, struct diags *diags);

/* A file of plain entries, "key: text", as settings are: in their order, with where they stand. */
struct plain_entry {
    const char *key, *text;
    struct position key_at, at;
};
/* Reads one into the arena; STATUS_DATA or STATUS_IO, told with its place, when it is none. */
enum status entries_load(const char *path, struct arena *arena, const struct plain_entry **entries,
                         size_t *count, struct diags *diags);

#endif
