/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_MAPPING_INTERNAL_H
#define JARSIDE_JOURNAL_MAPPING_INTERNAL_H

#include "base/csv.h"
#include "base/dates.h"
#include "journal/mapping.h"

/* What mapping.c, which takes a sheet, and guess.c, which proposes a map for one, share. */

/* Its name in a map, what it is a column of (from there come its kind, unit and words), and the
 * headings that suggest it, folded, the likeliest first. */
#define ROLES(ROLE)                                                                                \
    ROLE(VESSEL, "vessel", RECORD_VESSEL, "label",                                                 \
         "vessel|jar|bag|label|vessel id|jar id|bag id|container|unit|tag|code")                   \
    ROLE(NUMBER, "number", RECORD_VESSEL, "number",                                                \
         "number|no|nr|#|bag no|jar no|vessel no|bag number|jar number|bag #|jar #")               \
    ROLE(BATCH, "batch", RECORD_BATCH, "label",                                                    \
         "batch|run|batch id|batch no|run no|lot run|series|round")                                \
    ROLE(INOCULATED, "inoculated", RECORD_BATCH, "at",                                             \
         "inoculated|inoculation|inoculation date|date inoculated|inoc|inoc date|started|start|"   \
         "start date|date")                                                                        \
    ROLE(SPECIES, "species", RECORD_BATCH, "species",                                              \
         "species|mushroom|strain|variety|culture species|kind of mushroom")                       \
    ROLE(STARTER, "starter", RECORD_STARTER, "label",                                              \
         "starter|culture|lc|syringe|mother|source|inoculum|liquid culture|plate")                 \
    ROLE(STARTER_KIND, "starter_kind", RECORD_STARTER, "kind",                                     \
         "starter kind|starter type|inoculum type|culture type")                                   \
    ROLE(LOT, "lot", RECORD_LOT, "label", "lot|grain lot|sack|grain sack|grain bag|grain batch")   \
    ROLE(GRAIN, "grain", RECORD_LOT, "grain", "grain|grain type|substrate|kind of grain")          \
    ROLE(COOK, "cook", RECORD_COOK, "label",                                                       \
         "cook|cooker run|cook run|autoclave run|pc run|load|cook no|cooker load|steam run")       \
    ROLE(COOKED, "cooked", RECORD_COOK, "at",                                                      \
         "cooked|cook date|date cooked|pc date|autoclave date|steamed")                            \
    ROLE(MINUTES, "minutes", RECORD_COOK, "minutes",                                               \
         "minutes|cook time|time at pressure|pc time|cook minutes|duration|min")                   \
    ROLE(GAUGE, "gauge", RECORD_COOK, "gauge", "pressure|gauge|psi|kpa|bar|cook pressure")         \
    ROLE(SESSION, "session", RECORD_SESSION, "label",                                              \
         "session|sitting|work session|inoculation session")                                       \
    ROLE(PLACE, "place", RECORD_PLACE, "label",                                                    \
         "place|shelf|location|rack|room|tent|where|position on shelf")                            \
    ROLE(CELSIUS, "celsius", RECORD_PLACE, "celsius", "temperature|temp|celsius|room temperature") \
    ROLE(KIND, "kind", RECORD_VESSEL, "kind",                                                      \
         "vessel type|container type|vessel kind|jar size|bag size|size|type|jar type|bag type")   \
    ROLE(GRAMS, "grams", RECORD_VESSEL, "grams",                                                   \
         "weight|grams|mass|wet weight|fill weight|net weight")                                    \
    ROLE(CONTROL, "control", RECORD_VESSEL, "control",                                             \
         "control|uninoculated|blank|control jar|control bag")                                     \
    ROLE(DRY, "dry", RECORD_BATCH, "dry", "dry grain|dry weight|dry|grain weight")                 \
    ROLE(WATER, "water", RECORD_BATCH, "water", "water|water added|added water")                   \
    ROLE(DOSE, "dose", RECORD_BATCH, "inoculum", "dose|ml|amount|volume|amount of starter")        \
    ROLE(ISOLATED, "isolated", RECORD_EVENT, "at", "isolated|quarantined|set apart")               \
    ROLE(SHAKEN, "shaken", RECORD_EVENT, "at",                                                     \
         "shaken|shake|break and shake|shake date|date shaken|broken up")                          \
    ROLE(USED, "used", RECORD_EVENT, "at", "used|used on|date used|spawned|spawned on|to bulk")    \
    ROLE(DISCARDED, "discarded", RECORD_EVENT, "at",                                               \
         "discarded|tossed|thrown out|binned|date discarded|discarded on")                         \
    ROLE(RESULT, "result", RECORD_OUTCOME, "finding",                                              \
         "result|outcome|status|contamination|contam|what happened|state|finding|verdict|fate|"    \
         "problem")                                                                                \
    ROLE(ENDED, "ended", RECORD_OUTCOME, "at",                                                     \
         "ended|end|end date|seen on|found on|date found|date seen|result date|finished|"          \
         "date lost|lost on")                                                                      \
    ROLE(NOTE, "note", RECORD_VESSEL, "note", "note|notes|remarks|remark|comment|comments")

enum role {
#define AS_ENUM(role, ...) ROLE_##role,
    ROLES(AS_ENUM) ROLE_COUNT
};

extern const struct role_type {
    const char *name;
    enum record record;
    const char *column;
    const char *headings;
} roles[ROLE_COUNT];

const struct column *role_column(enum role role);
bool role_is_date(enum role role);
/* How well a heading fits: 100 less its place among those that suggest the role; half of that when it only
 * holds one as a word of its own; 0 when not at all. */
int role_fit(enum role role, const char *folded);

struct translation {
    enum role role;
    const char *word; /* folded */
    const char *meaning;
};

struct mapping {
    struct arena *arena;
    const struct rules *rules;
    const char *headings[ROLE_COUNT]; /* folded; NULL for none */
    const char *as_written[ROLE_COUNT];
    const char *same[ROLE_COUNT];
    const char **repeats; /* folded headings */
    size_t repeat_count;
    enum date_order dates;
    struct translation *translations;
    size_t translation_count;
};

struct result {                    /* what became of a vessel */
    const struct finding *finding; /* NULL when it tells none */
    bool used, discarded, growing;
    enum because because; /* it was discarded */
};

/* Used, or discarded for whatever reason. */
bool result_is_gone(const struct result *result);

/* Folded and without blanks at its ends, in the arena; "" when it is no text. */
const char *sheet_fold(struct arena *arena, const char *text);
/* The id that a word stands for: translated, an id or name of the rules, or as the reader
 * understands it. NULL when nobody knows it. */
const char *word_id(const struct mapping *mapping, struct reader *reader, enum role role,
                    const char *text, struct arena *arena);
/* A result as the map says, a finding by its id or name, or the words of a meaning; what the words of the
 * rules make of a text (FORMAT.md, "result_"), unless it says that one of them is not so. False when it is none
 * of these. */
bool read_exactly(const struct mapping *mapping, const char *folded, struct arena *arena,
                  struct result *result);
bool read_usual_words(const struct rules *rules, const char *folded, struct result *result);

/* Whether a row begins with a word for sums. */
bool is_sums(const struct language *language, const struct csv_row *row, struct arena *arena);
/* Which row names the columns, from 0: titles may stand above it. It has most of the headings of a map; with
 * NULL, several that suggest some column of ours. */
enum status find_headline(const char *path, const struct mapping *mapping, struct arena *arena,
                          size_t *found, struct diags *diags);
enum status sheet_is_empty(const char *path, struct diags *diags); /* STATUS_DATA, and told */

#endif
