/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_JOURNAL_CONSULT_H
#define JARSIDE_JOURNAL_CONSULT_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/diag.h"
#include "base/status.h"
#include "journal/journal.h"
#include "triage/triage.h"

/*
 * A triage at a vessel: what the journal knows beforehand, and the look that
 * comes of it.
 *
 * The columns of the journal find their observables by what those feed
 * (rules.h); a column that nothing feeds, and a word the rules do not know, say
 * nothing. What the grower says now stands over what the journal says, but for
 * one thing: a salient value that an earlier look saw stays seen, and a vessel
 * that an earlier look judged contaminated stays so judged, until that look is
 * corrected or a later outcome says otherwise. A vessel does not become clean
 * because nobody mentions its green patch again.
 */
struct consultation { /* texts in the arena it was made with */
    struct moment now;
    struct vessel vessel;
    struct batch batch;
    double day;               /* age; NAN when the batch has no date or lies in the future */
    const struct look *looks; /* standing ones since the newest standing outcome, oldest first */
    size_t look_count;
    double judged; /* the highest chance of contamination at any of them, 1 after a discard or a
                      confirmed contamination; NAN without looks */
};

/*
 * Resets `triage` and opens it on the vessel. STATUS_USAGE, with the nearest
 * label, when there is none; warnings in `diags` for facts on record that the rules
 * no longer know.
 */
enum status consult_vessel(struct journal *journal, const char *label, struct moment now,
                           struct triage *triage, struct arena *arena,
                           struct consultation *consultation, struct diags *diags);

/* Whether words for the whole batch may speak of this vessel: it grows, and no look has judged it
 * anything but fit to keep. */
bool consult_sound(const struct consultation *consultation);

/*
 * Appends the look that the triage, judged, comes to, and dates the next one. `words`
 * are the grower's; `corrects` the id of the look that it takes the place of, or 0.
 * Texts of `look` are in the arena.
 */
enum status consult_save(struct journal *journal, const struct consultation *consultation,
                         struct triage *triage, const char *words, int64_t corrects,
                         struct arena *arena, struct look *look, struct diags *diags);

/*
 * When to look again, and the word for why: after discard at once, until it is
 * gone; after isolate decision.isolate_days; after keep the days of the next
 * step, or where the next event of the forecast (first growth, time to shake, all
 * white) is due sooner, that day.
 */
int64_t consult_next(const struct consultation *consultation, struct triage *triage,
                     const struct verdict *verdict, const char **why);

#endif
