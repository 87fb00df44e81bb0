/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What was said, as it was understood. */
#include "voice/verdict_internal.h"

/* Appends the labels of the values in `mask`, with "perhaps" before doubted ones. */
static void put_labels(struct text *out, const struct observable *observable, uint32_t mask,
                       uint32_t hedged, const char *joint)
{
    bool first = true;
    for (size_t v = 0; v < observable->value_count; v++) {
        uint32_t bit = UINT32_C(1) << v;
        if ((mask & bit) == 0)
            continue;
        text_printf(out, "%s%s%s", first ? "" : joint, (hedged & bit) != 0 ? "perhaps " : "",
                    observable->values[v].label);
        first = false;
    }
}

void verdict_values(struct text *out, const struct observable *observable, const struct fact *fact)
{
    const struct observation *seen = &fact->observation;
    bool several = observable->kind == KIND_SEVERAL;
    put_labels(out, observable, seen->seen, seen->hedged, several ? ", " : " or ");
    if (seen->absent == 0)
        return;
    bool all = several && (seen->seen | seen->absent) == rules_all_values(observable);
    if (all && (seen->hedged & seen->absent) == 0) {
        text_puts(out, seen->seen != 0 ? "; nothing else" : "none of them");
        return;
    }
    text_puts(out, seen->seen != 0 ? "; not " : "not ");
    put_labels(out, observable, seen->absent, seen->hedged, " or ");
}

/* Nobody said these are not there, so they are named as what they are: taken so. */
static void passed_over(struct screen *screen, const struct told *told)
{
    struct text names;
    text_init(&names);
    for (size_t i = 0; i < told->rules->observable_count; i++) {
        const struct observable *observable = &told->rules->observables[i];
        uint32_t silent = triage_silent(told->triage, i);
        for (size_t v = 0; v < observable->value_count; v++)
            if (silent >> v & 1)
                text_printf(&names, "%s%s", names.length > 0 ? ", " : "",
                            observable->values[v].label);
    }
    if (names.length > 0 && names.bytes != NULL)
        screen_say(screen, 2, 2, ROLE_QUIET,
                   "Not spoken of, so taken as probably not there: %s. Say so if one is.",
                   names.bytes);
    screen_done(screen, &names);
}

/* The words it came from; what records know stands without quotes, for nobody said it now. */
static void put_whence(struct text *out, const struct fact *fact)
{
    bool said = fact->origin != ORIGIN_JOURNAL && fact->origin != ORIGIN_COMPUTED;
    if (fact->words != NULL && fact->words[0] != '\0')
        text_printf(out, said ? " ('%s')" : " (%s)", fact->words);
    if (fact->recalled != 0 && said)
        text_printf(out, " (%s)", fact->recalled_words);
}

static void fact_row(struct screen *screen, const struct told *told, const struct fact *fact)
{
    enum { LABEL_COLUMNS = 24 };
    const struct observable *observable = &told->rules->observables[fact->observable];
    struct text rest;
    text_init(&rest);
    verdict_values(&rest, observable, fact);
    put_whence(&rest, fact);
    screen_row(screen, 2, LABEL_COLUMNS, observable->label, rest.bytes != NULL ? rest.bytes : "");
    screen_done(screen, &rest);
}

void voice_understood(struct screen *screen, const struct told *told)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(told->triage, &facts);
    if (count == 0)
        screen_say(screen, 2, 0, ROLE_PLAIN, "Nothing yet.");
    for (size_t i = 0; i < count; i++)
        fact_row(screen, told, &facts[i]);
    passed_over(screen, told);
}

void voice_understood_now(struct screen *screen, const struct told *told)
{
    const struct fact *facts = NULL;
    size_t count = triage_facts(told->triage, &facts), recorded = 0;
    for (size_t i = 0; i < count; i++)
        if (facts[i].origin == ORIGIN_JOURNAL)
            recorded++;
        else
            fact_row(screen, told, &facts[i]);
    if (recorded > 0)
        screen_say(screen, 2, 0, ROLE_QUIET, "and %zu more from the journal; 'so far' lists them",
                   recorded);
    passed_over(screen, told);
}

void voice_unclear(struct screen *screen, const struct told *told)
{
    voice_unclear_since(screen, told, 0);
}

/* Words nothing is known of share a line; those with a note have one of their own. */
static void put_unclear(struct screen *screen, const struct unclear *unclear, size_t count)
{
    struct text words;
    text_init(&words);
    for (size_t i = 0; i < count; i++)
        if (unclear[i].note == NULL)
            text_printf(&words, "%s'%s'", words.length > 0 ? "; " : "", unclear[i].words);
    if (words.length > 0)
        screen_say(screen, 0, 2, ROLE_QUIET, "Not understood: %s", words.bytes);
    screen_done(screen, &words);
    for (size_t i = 0; i < count; i++)
        if (unclear[i].note != NULL)
            screen_say(screen, 0, 2, ROLE_QUIET, "Not understood: '%s'; %s", unclear[i].words,
                       unclear[i].note);
}

void voice_unclear_since(struct screen *screen, const struct told *told, size_t nth)
{
    const struct unclear *unclear = NULL;
    const struct clash *clashes = NULL;
    size_t count = triage_unclear(told->triage, &unclear);
    if (nth < count)
        put_unclear(screen, unclear + nth, count - nth);
    count = triage_clashes(told->triage, &clashes);
    for (size_t i = 0; i < count; i++)
        screen_say(screen, 0, 2, ROLE_ISOLATE,
                   "These contradict each other: '%s' and '%s' (%s). Both are left open.",
                   clashes[i].first, clashes[i].second,
                   told->rules->observables[clashes[i].observable].label);
}
