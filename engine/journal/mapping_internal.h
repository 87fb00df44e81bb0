/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_MAPPING_INTERNAL_H
#define JARSIDE_JOURNAL_MAPPING_INTERNAL_H

#include <stddef.h>

#include "base/csv.h"
#include "base/diag.h"
#include "base/memory.h"
#include "base/units.h"
#include "journal/journal.h"
#include "journal/mapping.h"

/* Ours: what a column of theirs may be. */
enum mapped {
    MAPPED_VESSEL,
    MAPPED_NUMBER,
    MAPPED_BATCH,
    MAPPED_INOCULATED,
    MAPPED_SPECIES,
    MAPPED_STARTER,
    MAPPED_STARTER_KIND,
    MAPPED_LOT,
    MAPPED_GRAIN,
    MAPPED_COOK,
    MAPPED_COOKED,
    MAPPED_MINUTES,
    MAPPED_GAUGE,
    MAPPED_SESSION,
    MAPPED_PLACE,
    MAPPED_CELSIUS,
    MAPPED_KIND,
    MAPPED_GRAMS,
    MAPPED_CONTROL,
    MAPPED_DRY,
    MAPPED_WATER,
    MAPPED_DOSE,
    MAPPED_ISOLATED,
    MAPPED_SHAKEN,
    MAPPED_USED,
    MAPPED_DISCARDED,
    MAPPED_RESULT,
    MAPPED_ENDED,
    MAPPED_NOTE,
    MAPPED_COUNT
};

enum vocabulary {
    WORDS_FREE,
    WORDS_SPECIES,
    WORDS_GRAIN,
    WORDS_VESSEL,
    WORDS_STARTER,
    WORDS_RESULT,
};

struct mapped_field {
    const char *name;         /* in a map */
    enum record record;       /* what it is a column of */
    const char *column;       /* NULL for what becomes a record of its own */
    enum dimension dimension; /* of a quantity with a unit; DIM_NONE */
    enum vocabulary words;
    const char *headings; /* that suggest it, folded, parted by '|' */
};
extern const struct mapped_field mapped_fields[MAPPED_COUNT];

/* The field that holds the label of a record; MAPPED_COUNT when there is none. */
enum mapped mapped_label(enum record record);
bool mapped_is_date(enum mapped field);

struct translation { /* what a word of theirs means */
    enum mapped field;
    const char *word; /* folded */
    const char *meaning;
};

struct mapping {
    struct arena *arena;
    const struct rules *rules;
    const char *headings[MAPPED_COUNT]; /* folded; NULL for none */
    const char *as_written[MAPPED_COUNT];
    const char *same[MAPPED_COUNT];
    const char **repeats; /* folded headings */
    size_t repeat_count;
    enum date_order dates;
    struct translation *translations;
    size_t translation_count;
};

/* Folded and without blanks at its ends, in the arena; NULL when out of memory or no text. */
const char *mapped_fold(struct arena *arena, const char *text);

struct mapped_result {             /* what became of a vessel */
    const struct finding *finding; /* NULL when it tells none */
    bool used, discarded;
};

/* The id that a word stands for: translated, an id or name of the rules, or as the reader
 * understands it. NULL when nobody knows it. */
const char *mapped_word(const struct mapping *mapping, struct reader *reader, enum mapped field,
                        const char *text, struct arena *arena);
/* False when nobody knows what the words say. */
bool mapped_result(const struct mapping *mapping, const char *text, struct arena *arena,
                   struct mapped_result *result);
/* The meaning of a result as a map writes it, "FINDING used"; false when a word of it is unknown. */
bool mapped_meaning(const struct rules *rules, const char *meaning, struct mapped_result *result);

#endif
