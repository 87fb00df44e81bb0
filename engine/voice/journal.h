/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_VOICE_JOURNAL_H
#define JARSIDE_VOICE_JOURNAL_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/status.h"
#include "journal/course.h"
#include "journal/journal.h"
#include "journal/survey.h"
#include "knowledge/rules.h"
#include "voice/screen.h"

/*
 * The journal in words, and as JSON: lists, the life of a vessel, what is due.
 *
 * What is shown was written by people, perhaps by strangers: everything passes
 * the screen's text_safe. JSON is schema 1 (README.md, "For programs").
 */
struct journal_told { /* what is being told from, passed together */
    struct journal *journal;
    const struct rules *rules;
    struct arena *arena; /* for what is read on the way */
    struct diags *diags;
    struct moment now;
};

/* ---- words ----------------------------------------------------------------------------------- */

/* The name that the rules have for an id, or the id where they know none ("" stays ""). In the case
 * in which it stands within a sentence. Texts live in the arena. */
const char *voice_species_name(const struct journal_told *told, const char *id);
const char *voice_grain_name(const struct journal_told *told, const char *id);
const char *voice_vessel_name(const struct journal_told *told, const char *id);
const char *voice_finding_name(const struct journal_told *told, const char *id);
const char *voice_cause_name(const struct journal_told *told, const char *id);
/* "oyster on rye", with what is not known left out: "unknown mushroom". Reads the lot. */
const char *voice_batch_words(const struct journal_told *told, const struct batch *batch);
/* The label of a record, or "" for id 0. */
const char *voice_label(const struct journal_told *told, enum record record, int64_t id);

/* "B1-1 to B1-4, B1-7": runs of one batch drawn together. The vessels in the order of their numbers. */
void voice_vessels(struct text *out, const struct vessel *vessels, size_t count);

/* "today", "tomorrow", "yesterday", "in 5 days", "3 days ago"; with the date where it is farther. */
enum { WHEN_ROOM = 48 };
const char *voice_when(int64_t day, int64_t today, char room[WHEN_ROOM]);
/* "2026-03-01" for a day since 1970-01-01. */
const char *voice_day(int64_t day, char room[MOMENT_ROOM]);

/* A quantity as people write it, or "" when it is not known. In the arena. */
const char *voice_quantity(const struct journal_told *told, double value, enum dimension dimension);
/* "103 kPa (15 psi) for 90 min": what a cook was; "" when nothing is known. In the arena. */
const char *voice_cook_words(const struct journal_told *told, const struct cook *cook);

/* JSON: a number or null; a moment or day as ISO 8601 or null; a text or null when empty. */
json_t *voice_json_number(double number);
json_t *voice_json_moment(struct moment moment);
json_t *voice_json_day(int64_t day); /* 0: null */
json_t *voice_json_text(const char *text);

/* ---- parts of the journal -------------------------------------------------------------------- */

/* The cautions for handling a vessel that is thrown away, judged by its last look (NULL: it was never
 * looked at). Those for health first; of the later ones those that go with throwing away. */
void voice_handling(struct screen *screen, const struct rules *rules, const struct look *look);
/* The same as a JSON array of texts. */
json_t *voice_handling_json(const struct rules *rules, const struct look *look);

#endif
