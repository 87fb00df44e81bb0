/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a journal says was understood at earlier looks: JSON that anybody may have written. It is recalled as a
 * look would, with and without standing above what is said, judged and shown; and what is known then is
 * written and read back.
 */
#include "base/text.h"
#include "triage/triage.h"

#include "support/fuzz.h"

static void hold_facts(const struct rules *rules, const struct fact *facts, size_t count)
{
    hold(count <= rules->observable_count, "there are no more facts than observables");
    for (size_t i = 0; i < count; i++) {
        const struct fact *fact = &facts[i];
        uint32_t known = fact->observation.seen | fact->observation.absent;
        hold(fact->observable < rules->observable_count, "a fact is of an observable");
        hold(known >> (rules->observables[fact->observable].value_count - 1) <= 1,
             "and of its values");
        hold((fact->observation.seen & fact->observation.absent) == 0,
             "nothing was seen and denied");
        hold(!fact->has_number || (isfinite(fact->number.lo) && isfinite(fact->number.hi) &&
                                   fact->number.lo <= fact->number.hi),
             "a number is a finite range");
    }
}

static void recall(struct kit *c, const struct fact *facts, size_t count, bool stands)
{
    for (size_t i = 0; i < count; i++) {
        struct fact recalled = facts[i];
        recalled.words = "look of 1 March";
        triage_recall(c->triage, &recalled, stands);
    }
}

/* What was understood comes back; of what records said nothing does. */
static void hold_round_trip(struct kit *c, struct arena *arena)
{
    const struct fact *facts = NULL;
    size_t count = 0;
    json_t *json = facts_json(c->triage);
    TEXT(text);
    const bool written = json_write(&text, json, false);
    hold(written && harmless(text.bytes), "facts are safe JSON");
    hold(facts_read(c->rules, text.bytes, arena, &facts, &count) == STATUS_OK,
         "that can be read back");
    hold(count == 0, "and says nothing of what was only recalled");
    json_decref(json);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct kit *c = small();
    struct arena *arena = arena_new();
    char *text = string_of(bytes, size);
    const struct fact *facts = NULL;
    size_t count = 0;
    enum status status = facts_read(c->rules, text, arena, &facts, &count);
    hold(status == STATUS_OK || status == STATUS_DATA, "facts are read or refused");
    hold(status == STATUS_OK || count == 0, "nothing is read of what is refused");
    hold_facts(c->rules, facts, count);
    for (int stands = 0; stands < 2; stands++) {
        triage_reset(c->triage);
        recall(c, facts, count, stands == 1);
        hold_round_trip(c, arena);
        judge_and_hold(c);
    }
    free(text);
    arena_free(arena);
    return 0;
}
