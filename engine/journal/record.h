/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_RECORD_H
#define JARSIDE_JOURNAL_RECORD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/dates.h"
#include "base/units.h"
#include "rules/rules.h"

/*
 * What the journal holds: plain structs, and one table that describes them.
 *
 * The description is what binds them to SQL, writes and reads them as CSV,
 * checks them and lets a grower correct them, so that a column is named once.
 *
 *   starter ─┬─ parent (starter; parent or vessel)   lot   cook   session   place
 *            └────────────┬────────────────────┴──────┴──────┘         │
 *                       batch ── vessel ────────────────────────────── ┘
 *                                  ├─ look      what was seen and judged; append-only
 *                                  ├─ event      what was done: moved, shaken, isolated ...
 *                                  └─ outcome   what it turned out to be, and how that is known
 *   edit: what was corrected in any of them, before and after
 *
 * Ids are given by the journal. Labels are unique within a kind of record and are how people
 * and other records name one. Words that come from the rule base (a species, a
 * grain, a finding) are stored as its ids, as text: the journal outlives the
 * rules. Strings read from the journal live as long as what read them says;
 * absent text is "", never NULL; an absent number NAN; an absent reference 0.
 */
enum vessel_state { VESSEL_GROWING, VESSEL_ISOLATED, VESSEL_DISCARDED, VESSEL_USED };
enum fate { /* as the journal stands; derived from looks, events and outcomes (journal.h) */
            FATE_OPEN,         /* nothing wrong so far */
            FATE_SOUND,        /* used, or confirmed clean */
            FATE_STUCK,        /* lost: clean, but it did not grow or went useless */
            FATE_CONTAMINATED, /* lost, or to be */
            FATE_UNTOLD,       /* discarded, and nobody said why */
            FATE_COUNT
};
enum event_kind {
    EVENT_MOVE,
    EVENT_SHAKE,
    EVENT_ISOLATE,
    EVENT_RETURN, /* back among the others */
    EVENT_DISCARD,
    EVENT_USE,
    EVENT_WITHDRAW, /* the event named by `corrects` did not happen */
    EVENT_COUNT
};
enum because { /* why a vessel was discarded */
               BECAUSE_UNTOLD,
               BECAUSE_CONTAMINATED,
               BECAUSE_STUCK,
               BECAUSE_BROKEN, /* dropped, cracked: lost to the floor, and no fault of the process */
               BECAUSE_SOLD,
               BECAUSE_GIVEN,
               BECAUSE_USED,
               BECAUSE_SLIP, /* it was recorded by mistake */
};
extern const char *const vessel_state_words[]; /* "growing" ... */
extern const char *const fate_words[];         /* "open" ... */
extern const char *const event_words[];        /* "move" ... */
extern const char *const because_words[];      /* "", "contaminated" ... */

/* ---- the columns ----------------------------------------------------------------------------- */

/* Each COLUMN is a member of the struct of its record and a row of its table of columns: its name, what
 * it is (one of the kinds below, or a reference, REF(what), or a word, ONE_OF(enum, its words)), and
 * what else `struct column` says of it. */

#define STARTER_COLUMNS(COLUMN) /* a culture that vessels are inoculated from */                   \
    COLUMN(starter, label, LABEL, .required = true)                                                \
    COLUMN(starter, species, TEXT, .feeds = FEEDS_SPECIES, .list = LIST_SPECIES)                   \
    COLUMN(starter, kind, TEXT, .feeds = FEEDS_STARTER_KIND, .list = LIST_STARTERS)                \
    COLUMN(starter, source,                                                                        \
           TEXT) /* where it came from, when from no other starter of the journal */               \
    COLUMN(starter, made, MOMENT)                                                                  \
    COLUMN(starter, note, TEXT)

/* What a starter was made from: another one, or the grain of a vessel; one of the two. */
#define PARENT_COLUMNS(COLUMN)                                                                     \
    COLUMN(parent, starter, REFERENCE, .refers = RECORD_STARTER, .required = true)                 \
    COLUMN(parent, parent, REFERENCE, .refers = RECORD_STARTER)                                    \
    COLUMN(parent, vessel, REFERENCE, .refers = RECORD_VESSEL)

#define LOT_COLUMNS(COLUMN) /* one sack of grain */                                                \
    COLUMN(lot, label, LABEL, .required = true)                                                    \
    COLUMN(lot, grain, TEXT, .feeds = FEEDS_GRAIN, .list = LIST_GRAINS)                            \
    COLUMN(lot, source, TEXT)                                                                      \
    COLUMN(lot, bought, MOMENT)                                                                    \
    COLUMN(lot, moisture, REAL, .dimension = DIM_PERCENT,                                          \
           BETWEEN(0, 60)) /* as bought, wet basis */                                              \
    COLUMN(lot, note, TEXT)

#define COOK_COLUMNS(COLUMN) /* one run of the cooker */                                           \
    COLUMN(cook, label, LABEL, .required = true)                                                   \
    COLUMN(cook, cooker, TEXT) /* which one, when there are several */                             \
    COLUMN(cook, method, TEXT, .feeds = FEEDS_COOK_METHOD, .list = LIST_METHODS)                   \
    COLUMN(cook, gauge, REAL, .feeds = FEEDS_COOK_GAUGE, .dimension = DIM_GAUGE_KPA,               \
           BETWEEN(0, 1000))                                                                       \
    COLUMN(cook, minutes, REAL, .feeds = FEEDS_COOK_MINUTES,                                       \
           .dimension = DIM_MINUTES, /* at pressure */                                             \
           BETWEEN(0, 6000))                                                                       \
    COLUMN(cook, altitude, REAL, .feeds = FEEDS_ALTITUDE, .dimension = DIM_METRES,                 \
           BETWEEN(-500, 9000))                                                                    \
    COLUMN(cook, air, REAL, .feeds = FEEDS_AIR, BETWEEN(0, 1))        /* share of air left */      \
    COLUMN(cook, load, TEXT, .feeds = FEEDS_LOAD, .list = LIST_LOADS) /* how packed */             \
    COLUMN(cook, facts, TEXT, .settings = true)                       /* further circumstances */  \
    COLUMN(cook, at, MOMENT)                                                                       \
    COLUMN(cook, note, TEXT)

#define SESSION_COLUMNS(COLUMN) /* one inoculation session */                                      \
    COLUMN(session, label, LABEL, .required = true)                                                \
    COLUMN(session, facts, TEXT, .settings = true) /* circumstances */                             \
    COLUMN(session, at, MOMENT)                                                                    \
    COLUMN(session, note, TEXT)

#define PLACE_COLUMNS(COLUMN) /* a shelf, a closet, a tent */                                      \
    COLUMN(place, label, LABEL, .required = true)                                                  \
    COLUMN(place, celsius, REAL, .feeds = FEEDS_TEMPERATURE, .dimension = DIM_CELSIUS,             \
           BETWEEN(-30, 80), .also = "temperature|temp")                                           \
    COLUMN(place, note, TEXT)

#define BATCH_COLUMNS(COLUMN) /* vessels of one hydration, from one cook, session and starter */   \
    COLUMN(batch, label, LABEL, .required = true)                                                  \
    COLUMN(batch, at, MOMENT, .required = true) /* of inoculation; age counts from here */         \
    COLUMN(batch, species, TEXT, .feeds = FEEDS_SPECIES, .list = LIST_SPECIES)                     \
    COLUMN(batch, starter, REFERENCE, .refers = RECORD_STARTER)                                    \
    COLUMN(batch, lot, REFERENCE, .refers = RECORD_LOT)                                            \
    COLUMN(batch, cook, REFERENCE, .refers = RECORD_COOK)                                          \
    COLUMN(batch, session, REFERENCE, .refers = RECORD_SESSION)                                    \
    /* A vessel's grain as bought, and the water added. */                                         \
    COLUMN(batch, dry, REAL, .feeds = FEEDS_DRY_MASS, .dimension = DIM_GRAMS, BETWEEN(0, 1e6))     \
    COLUMN(batch, water, REAL, .feeds = FEEDS_WATER_MASS, .dimension = DIM_GRAMS, BETWEEN(0, 1e6)) \
    COLUMN(batch, inoculum, REAL, BETWEEN(0, 1e6), .also = "dose") /* of starter a vessel */       \
    COLUMN(batch, unit, TEXT) /* of the inoculum: "ml", "g", "" */                                 \
    COLUMN(batch, soak, REAL, .feeds = FEEDS_SOAK, .dimension = DIM_MINUTES, BETWEEN(0, 1e5))      \
    COLUMN(batch, purpose, TEXT, .list = LIST_USES)                                                \
    COLUMN(batch, facts, TEXT, .settings = true) /* further circumstances */                       \
    COLUMN(batch, note, TEXT)                                                                      \
    COLUMN(batch, by, TEXT) /* who recorded it, and at which station; "" when it is not said */

#define VESSEL_COLUMNS(COLUMN)                                                                       \
    COLUMN(vessel, label, LABEL, .required = true) /* "B3-7": its batch's label and its number */    \
    COLUMN(vessel, batch, REFERENCE, .refers = RECORD_BATCH, .required = true)                       \
    COLUMN(vessel, number, INTEGER, .required = true, BETWEEN(1, 1e6)) /* within the batch */        \
    COLUMN(vessel, kind, TEXT, .feeds = FEEDS_VESSEL, .list = LIST_VESSELS)                          \
    COLUMN(vessel, grams, REAL, .feeds = FEEDS_VESSEL_MASS,                                          \
           .dimension = DIM_GRAMS, /* hydrated grain */                                              \
           BETWEEN(0, 1e6))                                                                          \
    COLUMN(vessel, place, REFERENCE, .refers = RECORD_PLACE) /* where it was first put */            \
    COLUMN(vessel, position, TEXT, .feeds = FEEDS_POSITION,                                          \
           .list = LIST_POSITIONS)                  /* in the cooker */                              \
    COLUMN(vessel, lid, TEXT)                       /* which kind: "foil", "filter disc" */          \
    COLUMN(vessel, bag, TEXT)                       /* lot of empty bags or jars */                  \
    COLUMN(vessel, spot, TEXT)                      /* where on its shelf */                         \
    COLUMN(vessel, sequence, REAL, BETWEEN(0, 1e6)) /* which one of its session, from 1 */           \
    COLUMN(vessel, control, FLAG) /* cooked with the others and never inoculated */                  \
    COLUMN(vessel, note, TEXT)                                                                       \
    /* Derived, kept by journal_refresh: never set by hand, never corrected. Only the day of the   \
     * next look and its reason are exported, as nothing else in the tables holds them. */ \
    COLUMN(vessel, stands, REFERENCE, .refers = RECORD_PLACE, .derived = true) /* now */             \
    COLUMN(vessel, stood, REFERENCE, .refers = RECORD_PLACE,                                         \
           .derived = true) /* and when it ended */                                                  \
    COLUMN(vessel, state, STATE, .derived = true)                                                    \
    COLUMN(vessel, fate, FATE, .derived = true)                                                      \
    /* When it was used or lost, or first judged so; unknown while open. */                          \
    COLUMN(vessel, ended, MOMENT, .derived = true)                                                   \
    COLUMN(vessel, last_look, REFERENCE, .refers = RECORD_LOOK, .derived = true) /* that stands */   \
    /* The wall-calendar day of the next look, 0 when none is due; and why: a word of the forecast \
     * or of the last verdict's next step. */ \
    COLUMN(vessel, due, DAY, .derived = true, .carried = true, BETWEEN(0, LATEST_DAY))               \
    COLUMN(vessel, due_for, TEXT, .derived = true, .carried = true)

/* Looks, events and outcomes are appended, never changed; `corrects` names the one whose place it takes,
 * `turn` the first of a chain of corrections: a correction keeps the turn of what it corrects. */
#define LOOK_COLUMNS(COLUMN)                                                                       \
    COLUMN(look, vessel, REFERENCE, .refers = RECORD_VESSEL, .required = true)                     \
    COLUMN(look, at, MOMENT, .required = true)                                                     \
    COLUMN(look, words, TEXT) /* as the grower said it */                                          \
    COLUMN(look, facts, TEXT,                                                                      \
           .internal = true) /* understood: JSON array of {sign, value, seen, from} */             \
    COLUMN(look, coverage, REAL, BETWEEN(0, 100)) /* per cent, when said */                        \
    COLUMN(look, action, TEXT, .list = LIST_ACTIONS, .required = true)                             \
    COLUMN(look, next_step, TEXT, .list = LIST_NEXT_STEPS)                                         \
    COLUMN(look, forced_by, TEXT, .list = LIST_FLOORS, .internal = true)                           \
    COLUMN(look, finding, TEXT, .list = LIST_FINDINGS) /* the leading one */                       \
    COLUMN(look, status, TEXT, .list = LIST_STATUSES)  /* the likeliest kind */                    \
    COLUMN(look, contaminated, REAL, BETWEEN(0, 1))    /* probability of any contamination */      \
    COLUMN(look, posterior, TEXT, .internal = true)    /* JSON: findings and causes with p */      \
    COLUMN(look, rules, TEXT, .internal = true)        /* hash of the rule base */                 \
    COLUMN(look, program, TEXT, .internal = true)      /* its version */                           \
    COLUMN(look, corrects, REFERENCE, .refers = RECORD_LOOK)                                       \
    COLUMN(look, turn, REFERENCE, .refers = RECORD_LOOK, .derived = true)                          \
    COLUMN(look, by, TEXT)

#define EVENT_COLUMNS(COLUMN)                                                                      \
    COLUMN(event, vessel, REFERENCE, .refers = RECORD_VESSEL, .required = true)                    \
    COLUMN(event, at, MOMENT, .required = true)                                                    \
    COLUMN(event, kind, EVENT, .required = true)                                                   \
    COLUMN(event, place, REFERENCE, .refers = RECORD_PLACE) /* of a move */                        \
    COLUMN(event, detail, TEXT)                                                                    \
    COLUMN(event, because, BECAUSE) /* of a discard */                                             \
    COLUMN(event, corrects, REFERENCE, .refers = RECORD_EVENT)                                     \
    COLUMN(event, turn, REFERENCE, .refers = RECORD_EVENT, .derived = true)                        \
    COLUMN(event, by, TEXT)

#define OUTCOME_COLUMNS(COLUMN) /* the newest that stands counts */                                \
    COLUMN(outcome, vessel, REFERENCE, .refers = RECORD_VESSEL, .required = true)                  \
    COLUMN(outcome, at, MOMENT, .required = true)                                                  \
    COLUMN(outcome, finding, TEXT, .list = LIST_FINDINGS, .required = true)                        \
    COLUMN(outcome, status, TEXT, .list = LIST_STATUSES, .required = true) /* of that finding */   \
    COLUMN(outcome, cause, TEXT, .list = LIST_CAUSES)                      /* "" when not known */ \
    COLUMN(outcome, how, TEXT) /* it is known, in the grower's words */                            \
    COLUMN(outcome, corrects, REFERENCE, .refers = RECORD_OUTCOME)                                 \
    COLUMN(outcome, turn, REFERENCE, .refers = RECORD_OUTCOME, .derived = true)                    \
    COLUMN(outcome, by, TEXT)

#define EDIT_COLUMNS(COLUMN) /* a slip corrected in a record that is not append-only */            \
    COLUMN(edit, at, MOMENT, .required = true)                                                     \
    COLUMN(edit, table, TEXT, .required = true) /* name of the kind of record */                   \
    COLUMN(edit, label, TEXT, .required = true) /* of the record */                                \
    COLUMN(edit, column, TEXT, .required = true)                                                   \
    COLUMN(edit, was, TEXT) /* as CSV would write it */                                            \
    COLUMN(edit, became, TEXT)                                                                     \
    COLUMN(edit, by, TEXT)

/* Every kind of record, each after what it refers to: its place in `enum record`, its SQL table (also the CSV
 * file and the word for people), its struct, its columns, and whether it is only ever appended. */
#define RECORDS(KIND)                                                                              \
    KIND(STARTER, starter, STARTER_COLUMNS, false)                                                 \
    KIND(LOT, lot, LOT_COLUMNS, false)                                                             \
    KIND(COOK, cook, COOK_COLUMNS, false)                                                          \
    KIND(SESSION, session, SESSION_COLUMNS, false)                                                 \
    KIND(PLACE, place, PLACE_COLUMNS, false)                                                       \
    KIND(BATCH, batch, BATCH_COLUMNS, false)                                                       \
    KIND(VESSEL, vessel, VESSEL_COLUMNS, false)                                                    \
    KIND(PARENT, parent, PARENT_COLUMNS, true)                                                     \
    KIND(LOOK, look, LOOK_COLUMNS, true)                                                           \
    KIND(EVENT, event, EVENT_COLUMNS, true)                                                        \
    KIND(OUTCOME, outcome, OUTCOME_COLUMNS, true)                                                  \
    KIND(EDIT, edit, EDIT_COLUMNS, true)

enum record {
#define AS_ENUM(record, ...) RECORD_##record,
    RECORDS(AS_ENUM) RECORD_COUNT
#undef AS_ENUM
};

#define COLUMN_KIND(kind, ...)         kind
#define MEMBER_LABEL                   const char *
#define MEMBER_TEXT                    const char *
#define MEMBER_REAL                    double
#define MEMBER_INTEGER                 int64_t
#define MEMBER_DAY                     int64_t
#define MEMBER_FLAG                    bool
#define MEMBER_MOMENT                  struct moment
#define MEMBER_REFERENCE               int64_t
#define MEMBER_STATE                   enum vessel_state
#define MEMBER_FATE                    enum fate
#define MEMBER_EVENT                   enum event_kind
#define MEMBER_BECAUSE                 enum because
#define MEMBER_NAMED(kind)             MEMBER_##kind
#define MEMBER_OF(kind)                MEMBER_NAMED(kind)
#define AS_MEMBER(record, member, ...) MEMBER_OF(COLUMN_KIND(__VA_ARGS__, )) member;
#define AS_STRUCT(upper, record, COLUMNS, ...)                                                     \
    struct record {                                                                                \
        int64_t id;                                                                                \
        COLUMNS(AS_MEMBER)                                                                         \
    };
RECORDS(AS_STRUCT)

/* ---- the description ------------------------------------------------------------------------- */

enum column_kind {
    COLUMN_LABEL,     /* const char *, unique, not empty */
    COLUMN_TEXT,      /* const char * */
    COLUMN_REAL,      /* double, NAN for absent */
    COLUMN_INTEGER,   /* int64_t */
    COLUMN_DAY,       /* int64_t: a day of the wall calendar since 1970-01-01, 0 for none */
    COLUMN_FLAG,      /* bool */
    COLUMN_MOMENT,    /* struct moment; in SQL two columns, NAME and NAME_offset */
    COLUMN_REFERENCE, /* int64_t id of a `refers` record, 0 for none */
    COLUMN_WORD,      /* an enum stored as one of `words` */
};

enum word_list { /* the list of the rules that the word in a text is from */
                 LIST_NONE,
                 LIST_SPECIES,
                 LIST_GRAINS,
                 LIST_VESSELS,
                 LIST_STARTERS,
                 LIST_FINDINGS,
                 LIST_CAUSES,
                 LIST_USES,
                 LIST_NEXT_STEPS,
                 LIST_FLOORS,
                 LIST_METHODS,
                 LIST_LOADS,
                 LIST_POSITIONS,
                 LIST_ACTIONS,
                 LIST_STATUSES,
};

struct column {
    const char *name;
    const char *also; /* other names that are understood: "temperature|temp"; or NULL */
    enum column_kind kind;
    size_t offset;            /* into the struct */
    enum record refers;       /* of a reference */
    const char *const *words; /* of a word; ends with NULL */
    enum word_list list;      /* of a text: the rules know its words */
    enum feeds feeds;         /* the observable of a vessel that it tells */
    enum dimension dimension; /* of a number: it is kept in the canonical unit of this */
    double low, high;         /* of a number: what is possible; both 0 for no bound */
    bool settings;            /* a text of "sign=value sign=value" */
    bool required;            /* an absent value is refused */
    bool derived;             /* kept by the journal */
    bool carried;             /* of a derived one: files hold it, for no other record tells it */
    bool internal;            /* a text that the program keeps for itself: not searched */
};

struct record_type {
    const char *name; /* SQL table, CSV file and word for people: "vessel" */
    size_t size;      /* of the struct; its first member is int64_t id */
    bool append_only;
    const struct column *columns; /* without the id; ends with a NULL name */
};

extern const struct record_type record_types[RECORD_COUNT];

/* The action of a look, the status of an outcome that only withdraws the one it corrects. */
#define WITHDRAWN "withdrawn"

/* Room for a record of any kind. */
union any_record {
    struct { /* how every kind with a label begins */
        int64_t id;
        const char *label;
    } named;
    struct { /* how looks, events and outcomes begin */
        int64_t id, vessel;
        struct moment at;
    } dated;
#define AS_ANY(upper, record, ...) struct record record;
    RECORDS(AS_ANY)
#undef AS_ANY
};

/* A word of a list and what people call it, by its index; NULLs after the last one. */
struct list_word {
    const char *id, *name;
};
struct list_word list_word(const struct rules *rules, enum word_list list, size_t index);

/* The id of the word of a list that has this id or name, or is this in Latin, whatever the case; NULL for
 * none. */
const char *list_id(const struct rules *rules, enum word_list list, const char *word);

/* "4 ml", "10g", "2": an amount of inoculum and its unit, "ml", "g" or ""; NULL when it is none. */
const char *inoculum_read(const char *word, double *amount);

/* Where a row keeps a column. */
static inline const void *column_member(const struct column *column, const void *row)
{
    return (const char *)row + column->offset;
}

/* Whether it is discarded or used. */
static inline bool vessel_gone(const struct vessel *vessel)
{
    return vessel->state == VESSEL_DISCARDED || vessel->state == VESSEL_USED;
}

/* Whether records of the kind are looks, events or outcomes: what is told of one vessel. */
static inline bool record_of_vessel(enum record record)
{
    return record >= RECORD_LOOK && record <= RECORD_OUTCOME;
}

/* The kind of that name, RECORD_COUNT for none. */
enum record record_named(const char *name, size_t length);
/* Whether records of the kind have labels to be known by. */
bool record_has_label(enum record record);
/* Index of the column of that name or also called so, or SIZE_MAX. */
size_t record_column(enum record record, const char *name);
/* A struct of that kind with everything absent (texts "", numbers NAN, moments unknown). */
void record_init(enum record record, void *row);

#endif
