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
enum record {
    RECORD_STARTER,
    RECORD_LOT,
    RECORD_COOK,
    RECORD_SESSION,
    RECORD_PLACE,
    RECORD_BATCH,
    RECORD_VESSEL,
    RECORD_PARENT,
    RECORD_LOOK,
    RECORD_EVENT,
    RECORD_OUTCOME,
    RECORD_EDIT,
    RECORD_COUNT
};

struct starter { /* a culture that vessels are inoculated from */
    int64_t id;
    const char *label;
    const char *species; /* of rules.species */
    const char *kind;    /* of rules.starters */
    const char *source;  /* where it came from, when from no other starter of the journal */
    struct moment made;
    const char *note;
};

struct parent { /* what a starter was made from: another one, or the grain of a vessel */
    int64_t id;
    int64_t starter;
    int64_t parent, vessel; /* one of the two */
};

struct lot { /* one sack of grain */
    int64_t id;
    const char *label;
    const char *grain; /* of rules.grains */
    const char *source;
    struct moment bought;
    double moisture; /* as bought, per cent wet basis */
    const char *note;
};

struct cook { /* one run of the cooker */
    int64_t id;
    const char *label;
    const char *cooker; /* which one, when there are several */
    const char *method; /* of the observable that feeds the cooking method */
    double gauge;       /* kPa gauge */
    double minutes;     /* at pressure */
    double altitude;    /* metres */
    double air;         /* share of air left, 0 to 1 */
    const char *load;   /* how packed: of the observable that feeds it */
    const char *facts;  /* further circumstances, "sign=value sign=value" */
    struct moment at;
    const char *note;
};

struct session { /* one sitting of inoculation */
    int64_t id;
    const char *label;
    const char *facts; /* circumstances, "sign=value sign=value" */
    struct moment at;
    const char *note;
};

struct place { /* a shelf, a closet, a tent */
    int64_t id;
    const char *label;
    double celsius;
    const char *note;
};

struct batch { /* vessels of one hydration, from one cook, one session and one starter */
    int64_t id;
    const char *label;
    struct moment at; /* of inoculation; age counts from here */
    const char *species;
    int64_t starter, lot, cook, session;
    double dry, water;   /* grams a vessel: grain as bought, and water added */
    double inoculum;     /* of starter a vessel */
    const char *unit;    /* of the inoculum: "ml", "g", or "" */
    double soak;         /* minutes */
    const char *purpose; /* of decision.uses */
    const char *facts;   /* further circumstances, "sign=value sign=value" */
    const char *note;
    const char *by; /* who recorded it, and at which station; "" when it is not said */
};

enum vessel_state { VESSEL_GROWING, VESSEL_ISOLATED, VESSEL_DISCARDED, VESSEL_USED };
enum fate { /* as the journal stands; derived from looks, events and outcomes (journal.h) */
            FATE_OPEN,         /* nothing wrong so far */
            FATE_SOUND,        /* used, or confirmed clean */
            FATE_STUCK,        /* lost: clean, but it did not grow or went useless */
            FATE_CONTAMINATED, /* lost, or to be */
            FATE_UNTOLD,       /* discarded, and nobody said why */
            FATE_COUNT
};

struct vessel {
    int64_t id;
    const char *label; /* "B3-7": its batch's label and its number */
    int64_t batch;
    int64_t number;       /* within the batch, from 1 */
    const char *kind;     /* of rules.vessels */
    double grams;         /* hydrated grain */
    int64_t place;        /* where it was first put */
    const char *position; /* in the cooker: of the observable position */
    const char *lid;      /* which kind: "foil", "filter disc" */
    const char *bag;      /* lot of empty bags or jars */
    const char *spot;     /* where on its shelf */
    double sequence;      /* which one it was to be inoculated in its session, from 1 */
    bool control;         /* cooked with the others and never inoculated */
    const char *note;
    /* Derived, kept by journal_refresh: never set by hand, never corrected. Only the day of the next
     * look and its reason are exported, as nothing else in the tables holds them. */
    int64_t stands; /* the place where it stands now */
    int64_t stood;  /* and where it stood when it ended */
    enum vessel_state state;
    enum fate fate;
    struct moment ended; /* when it was used or lost, or first judged so; unknown while open */
    int64_t last_look;   /* the newest standing look */
    int64_t due;         /* wall-calendar day of the next look; 0 when none is due */
    const char *due_for; /* why: a word of the forecast or of the last verdict's next step */
};

struct look { /* appended, never changed; `corrects` names the look that it takes the place of */
    int64_t id;
    int64_t vessel;
    struct moment at;
    const char *words;     /* as the grower said it */
    const char *facts;     /* as understood: JSON array of {sign, value, seen, from} */
    double coverage;       /* per cent, when said */
    const char *action;    /* keep isolate discard */
    const char *next_step; /* of decision.next_steps */
    const char *forced_by; /* of decision.floors */
    const char *finding;   /* the leading one */
    const char *status;    /* clean stuck contaminated: the likeliest kind */
    double contaminated;   /* probability of any contamination, 0 to 1 */
    const char *posterior; /* JSON object: findings and causes with p */
    const char *rules;     /* hash of the rule base */
    const char *program;   /* its version */
    int64_t corrects;
    int64_t turn;   /* derived: the first look of a chain of corrections, 0 for none; a correction
                     keeps the turn of what it corrects */
    const char *by; /* who recorded it, and at which station; "" when it is not said */
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

struct event { /* appended, never changed */
    int64_t id;
    int64_t vessel;
    struct moment at;
    enum event_kind kind;
    int64_t place; /* of a move */
    const char *detail;
    enum because because; /* of a discard */
    int64_t corrects;
    int64_t turn;   /* as of a look */
    const char *by; /* who recorded it, and at which station; "" when it is not said */
};

struct outcome { /* appended, never changed; the newest that stands counts */
    int64_t id;
    int64_t vessel;
    struct moment at;
    const char *finding;
    const char *status; /* of that finding */
    const char *cause;  /* "" when not known */
    const char *how;    /* how it is known, in the grower's words */
    int64_t corrects;
    int64_t turn;   /* as of a look */
    const char *by; /* who recorded it, and at which station; "" when it is not said */
};

struct edit { /* a slip corrected in a record that is not append-only */
    int64_t id;
    struct moment at;
    const char *table; /* name of the kind of record */
    const char *label; /* of the record */
    const char *column;
    const char *was, *became; /* as CSV would write them */
    const char *by;           /* who recorded it, and at which station; "" when it is not said */
};

/* ---- the description ------------------------------------------------------------------------- */

enum column_kind {
    COLUMN_LABEL,     /* const char *, unique, not empty */
    COLUMN_TEXT,      /* const char * */
    COLUMN_REAL,      /* double, NAN for absent */
    COLUMN_INTEGER,   /* int64_t */
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
    bool internal;            /* a text that the program keeps for itself: not searched */
};

struct record_type {
    const char *name; /* SQL table, CSV file and word for people: "vessel" */
    const char *once; /* its name in files of earlier versions, or NULL */
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
    struct starter starter;
    struct parent parent;
    struct lot lot;
    struct cook cook;
    struct session session;
    struct place place;
    struct batch batch;
    struct vessel vessel;
    struct look look;
    struct event event;
    struct outcome outcome;
    struct edit edit;
};

/* A word of a list and what people call it, by its index; NULLs behind the last one. */
struct list_word {
    const char *id, *name;
};
struct list_word list_word(const struct rules *rules, enum word_list list, size_t index);

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

/* Whether records of the kind have labels to be known by. */
bool record_has_label(enum record record);
/* Index of the column of that name or also called so, or SIZE_MAX. */
size_t record_column(enum record record, const char *name);
/* A struct of that kind with everything absent (texts "", numbers NAN, moments unknown). */
void record_init(enum record record, void *row);

extern const char *const vessel_state_words[]; /* "growing" ... */
extern const char *const fate_words[];         /* "open" ... */
extern const char *const event_words[];        /* "move" ... */
extern const char *const because_words[];      /* "", "contaminated" ... */

#endif
