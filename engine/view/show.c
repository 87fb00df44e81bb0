/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/show.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ID_COLUMNS = 24, VALUE_COLUMNS = 34 };

#define SAY(...)   screen_say(screen, 0, 0, ROLE_PLAIN, __VA_ARGS__)
#define TITLE(...) screen_say(screen, 0, 0, ROLE_STRONG, __VA_ARGS__)
#define ASIDE(...) screen_say(screen, 0, 0, ROLE_QUIET, __VA_ARGS__)

/* ---- sources and claims ---------------------------------------------------------------------- */

static void put_source(struct text *out, const struct source *source)
{
    text_printf(out, "%s, %s, %s", source->author, source->title, source->year);
    if (source->where != NULL)
        text_printf(out, ", %s", source->where);
    if (source->weak)
        text_puts(out, " (a secondary list: a hint, not evidence)");
}

static void show_citation(struct screen *screen, const struct rules *rules,
                          const struct citation *cites)
{
    for (size_t i = 0; i < cites->count; i++) {
        struct text words;
        text_init(&words);
        put_source(&words, &rules->sources[cites->sources[i]]);
        screen_item(screen, 2, "-", ROLE_QUIET, words.bytes);
        text_release(&words);
    }
    if (cites->from_memory)
        screen_item(screen, 2, "-", ROLE_QUIET, "from memory");
    if (cites->common_practice)
        screen_item(screen, 2, "-", ROLE_QUIET, "common practice, no source");
    if (cites->expert_judgement)
        screen_item(screen, 2, "-", ROLE_QUIET, "expert judgement");
}

static void show_sources(struct screen *screen, const struct rules *rules,
                         const struct citation *cites)
{
    screen_heading(screen, "Sources");
    show_citation(screen, rules, cites);
}

/* A row for one value of a claim: a word for its number, and the number. */
static void show_claim(struct screen *screen, size_t indent, const char *label, const char *lead,
                       const struct claim *claim, bool factor)
{
    struct text rest;
    text_init(&rest);
    text_printf(&rest, "%s%s", lead, lead[0] != '\0' ? " " : "");
    for (const char *at = claim->word; at != NULL && *at != '\0'; at++)
        text_add(&rest, *at == '_' ? " " : at, 1);
    text_puts(&rest, claim->word != NULL ? " " : "");
    text_printf(&rest, factor ? "(x %.2g)" : "(%.2g)", claim->number);
    screen_row(screen, indent, VALUE_COLUMNS, label, rest.bytes);
    text_release(&rest);
}

static bool same_citation(const struct citation *a, const struct citation *b)
{
    return a->count == b->count && a->expert_judgement == b->expert_judgement &&
           a->common_practice == b->common_practice && a->from_memory == b->from_memory &&
           (a->count == 0 || memcmp(a->sources, b->sources, a->count * sizeof *a->sources) == 0);
}

/* Each observable with what is cited for all its values together, then its values. */
static void show_claims(struct screen *screen, const struct rules *rules,
                        const struct claim *claims, size_t count, bool factor)
{
    for (size_t i = 0; i < count; i++) {
        const struct observable *observable = &rules->observables[claims[i].observable];
        if (i == 0 || claims[i].observable != claims[i - 1].observable ||
            !same_citation(&claims[i].cites, &claims[i - 1].cites)) {
            struct text words;
            text_init(&words);
            text_puts(&words, observable->label);
            const struct citation *cites = &claims[i].cites;
            const char *joint = " [";
            const char *const marks[] = {cites->from_memory ? "from memory" : NULL,
                                         cites->common_practice ? "common practice" : NULL,
                                         cites->expert_judgement ? "expert judgement" : NULL};
            for (size_t k = 0; k < cites->count + 3; k++) {
                const char *word = k < cites->count ? rules->sources[cites->sources[k]].id
                                                    : marks[k - cites->count];
                if (word != NULL) {
                    text_printf(&words, "%s%s", joint, word);
                    joint = "; ";
                }
            }
            text_puts(&words, joint[0] == ';' ? "]" : "");
            screen_text(screen, 2, 2, ROLE_QUIET, &words);
        }
        show_claim(screen, 4, observable->values[claims[i].value].label, "", &claims[i], factor);
    }
}

static void show_lines(struct screen *screen, const char *heading, const char *const *lines,
                       size_t count)
{
    if (count > 0)
        screen_heading(screen, heading);
    for (size_t i = 0; i < count; i++)
        screen_item(screen, 2, "-", ROLE_PLAIN, lines[i]);
}

/* ---- one of each kind ------------------------------------------------------------------------ */

static void show_finding(struct screen *screen, const struct rules *rules, const void *item)
{
    static const enum action order[] = {ACTION_DISCARD, ACTION_ISOLATE, ACTION_KEEP};
    const struct finding *finding = item;
    TITLE("%s (finding: %s, hazard: %s)", finding->name, status_name(finding->status),
          hazard_name(finding->hazard));
    if (finding->also != NULL)
        ASIDE("%s", finding->also);
    SAY("%s", finding->what);
    screen_heading(screen, "How it looks");
    show_claims(screen, rules, finding->looks, finding->look_count, false);
    if (finding->differ_count > 0)
        screen_heading(screen, "How to tell it apart");
    for (size_t i = 0; i < finding->differ_count; i++) {
        screen_say(screen, 2, 0, ROLE_PLAIN, "%s:", rules->findings[finding->differs[i].from].name);
        screen_say(screen, 4, 0, ROLE_PLAIN, "%s", finding->differs[i].how);
    }
    screen_heading(screen, "What may lead to it (its share of what each cause lets grow)");
    for (size_t c = 0; c < rules->cause_count; c++) {
        const struct cause *cause = &rules->causes[c];
        double sum = 0, rate = 0;
        for (size_t i = 0; i < cause->grow_count; i++) {
            sum += cause->grows[i].rate;
            rate += &rules->findings[cause->grows[i].finding] == finding ? cause->grows[i].rate : 0;
        }
        if (rate > 0 && sum > 0)
            screen_row_text(screen, 2, VALUE_COLUMNS + 6, cause->name, "%3.0f %%  (%s)",
                            100.0 * rate / sum, cause->id);
    }
    for (size_t i = 0; i < ACTION_COUNT; i++)
        show_lines(screen, rules->decision.action_label[order[i]], finding->steps[order[i]],
                   finding->step_count[order[i]]);
    show_sources(screen, rules, &finding->cites);
}

static void show_cause(struct screen *screen, const struct rules *rules, const void *item)
{
    const struct cause *cause = item;
    TITLE("%s (cause, shared by: %s)", cause->name, scope_name(cause->scope));
    SAY("%s", cause->what);
    SAY("Before anything is known: %.1f %% of vessels in question.", 100.0 * cause->prior);
    screen_heading(screen, "What grows when this is the cause (relative rates)");
    for (size_t i = 0; i < cause->grow_count; i++)
        screen_row_text(screen, 2, VALUE_COLUMNS, rules->findings[cause->grows[i].finding].name,
                        "%.3g", cause->grows[i].rate);
    show_citation(screen, rules, &cause->grows_cites);
    screen_heading(screen, "What speaks for or against it");
    show_claims(screen, rules, cause->weighs, cause->weigh_count, true);
    show_lines(screen, "What to change next time", cause->change, cause->change_count);
    if (cause->settle_count > 0)
        screen_heading(screen, "Tests that would settle it");
    for (size_t i = 0; i < cause->settle_count; i++) {
        const struct observable *test = &rules->observables[cause->settle[i]];
        char *words =
            text_format("%s: %s", test->label, test->look != NULL ? test->look : test->ask);
        screen_item(screen, 2, "-", ROLE_PLAIN, words);
        free(words);
    }
    show_sources(screen, rules, &cause->cites);
}

/* What one finding or cause claims of an observable. */
static void show_expected(struct screen *screen, const struct observable *observable, size_t index,
                          const char *name, const struct claim *claims, size_t count, bool factor)
{
    for (size_t i = 0; i < count; i++)
        if (claims[i].observable == index)
            show_claim(screen, 2, name, observable->values[claims[i].value].label, &claims[i],
                       factor);
}

static void show_observable(struct screen *screen, const struct rules *rules, const void *item)
{
    static const char *const classes[] = {
        [CLASS_SIGN] = "sign", [CLASS_CIRCUMSTANCE] = "circumstance", [CLASS_TEST] = "test"};
    static const char *const kinds[] = {
        [KIND_ONE] = "one of", [KIND_SEVERAL] = "several of", [KIND_NUMBER] = "a number"};
    const struct observable *observable = item;
    size_t index = (size_t)(observable - rules->observables);
    TITLE("%s (%s, %s)", observable->label, classes[observable->class], kinds[observable->kind]);
    SAY("%s", observable->ask);
    if (observable->look != NULL)
        SAY("%s", observable->look);
    if (observable->why != NULL)
        ASIDE("%s", observable->why);
    screen_heading(screen, "Values, and how common each is when nothing else is known");
    for (size_t v = 0; v < observable->value_count; v++) {
        const struct value *value = &observable->values[v];
        screen_row_text(screen, 2, ID_COLUMNS, value->id, "%4.0f %%  %s%s%s", 100.0 * value->base,
                        value->label, value->look != NULL ? ". " : "",
                        value->look != NULL ? value->look : "");
    }
    screen_heading(screen, "What predicts it");
    for (size_t f = 0; f < rules->finding_count; f++)
        show_expected(screen, observable, index, rules->findings[f].name, rules->findings[f].looks,
                      rules->findings[f].look_count, false);
    for (size_t c = 0; c < rules->cause_count; c++)
        show_expected(screen, observable, index, rules->causes[c].name, rules->causes[c].weighs,
                      rules->causes[c].weigh_count, true);
    show_sources(screen, rules, &observable->cites);
}

static void put_range(struct text *out, const char *name, double low, double high, const char *unit)
{
    if (low < high)
        text_printf(out, "%s %.3g to %.3g %s. ", name, low, high, unit);
    else if (!isnan(low))
        text_printf(out, "%s %.3g %s. ", name, low, unit);
}

static void show_species(struct screen *screen, const struct rules *rules, const void *item)
{
    static const char celsius[] = "\xc2\xb0"
                                  "C";
    const struct species *species = item;
    const struct growth *growth = &species->growth;
    struct text words;
    text_init(&words);
    TITLE("%s (species)", species->name);
    if (species->latin != NULL)
        ASIDE("%s", species->latin);
    if (species->note != NULL)
        SAY("%s", species->note);
    put_range(&words, "Grows from", growth->t_min, growth->t_max, celsius);
    put_range(&words, "Best at", growth->t_opt, growth->t_opt, celsius);
    put_range(&words, "Rate there", growth->rate_lo, growth->rate_hi, "mm a day");
    put_range(&words, "Published days to full colonisation of grain", growth->full_lo,
              growth->full_hi, "");
    SAY("%s", words.bytes);
    text_release(&words);
    show_citation(screen, rules, &growth->cites);
    if (species->normal_count > 0)
        screen_heading(screen, "What is normal here");
    for (size_t i = 0; i < species->normal_count; i++) {
        screen_say(screen, 2, 0, ROLE_PLAIN,
                   "%s:", rules->findings[species->normal[i].finding].name);
        show_claims(screen, rules, &species->normal[i].claim, 1, false);
    }
    show_sources(screen, rules, &species->cites);
}

static void show_grain(struct screen *screen, const struct rules *rules, const void *item)
{
    const struct grain *grain = item;
    struct text words;
    text_init(&words);
    TITLE("%s (grain)", grain->name);
    if (grain->note != NULL)
        SAY("%s", grain->note);
    put_range(&words, "Moisture as bought", grain->moisture, grain->moisture, "%");
    put_range(&words, "Aim for", grain->target_lo, grain->target_hi, "%");
    put_range(&words, "The raw kernel holds", grain->raw_limit, grain->raw_limit, "%");
    SAY("%s(per cent of the wet weight)", words.bytes);
    text_release(&words);
    show_sources(screen, rules, &grain->cites);
}

static void show_vessel(struct screen *screen, const struct rules *rules, const void *item)
{
    const struct vessel_kind *vessel = item;
    TITLE("%s (vessel)", vessel->name);
    if (vessel->shape == SHAPE_CYLINDER)
        SAY("Filled grain: a cylinder %.0f mm across and %.0f mm high, about %.2g kg.",
            2000.0 * vessel->radius, 1000.0 * vessel->height, vessel->mass_kg);
    else
        SAY("Filled grain: a block %.0f by %.0f by %.0f mm, about %.2g kg.",
            1000.0 * vessel->sides[0], 1000.0 * vessel->sides[1], 1000.0 * vessel->sides[2],
            vessel->mass_kg);
    show_sources(screen, rules, &vessel->cites);
}

static void show_caution(struct screen *screen, const struct rules *rules, const void *item)
{
    const struct caution *caution = item;
    TITLE("%s (caution)", caution->id);
    SAY("%s", caution->text);
    show_sources(screen, rules, &caution->cites);
}

static void show_source(struct screen *screen, const struct rules *rules, const void *item)
{
    const struct source *source = item;
    struct text words;
    (void)rules;
    text_init(&words);
    put_source(&words, source);
    TITLE("%s (source)", source->id);
    screen_text(screen, 0, 0, ROLE_PLAIN, &words);
}

/* ---- every kind, by table -------------------------------------------------------------------- */

static const struct kind { /* one kind of thing that has an id */
    const char *plural;
    size_t array, count; /* in struct rules */
    size_t size, id, name;
    void (*show)(struct screen *screen, const struct rules *rules, const void *item);
} kinds[] = {
#define KIND(plural, type, array, count, label, show)                                              \
    {                                                                                              \
        plural, offsetof(struct rules, array), offsetof(struct rules, count), sizeof(struct type), \
            offsetof(struct type, id), offsetof(struct type, label), show                          \
    }
    KIND("Findings", finding, findings, finding_count, name, show_finding),
    KIND("Causes", cause, causes, cause_count, name, show_cause),
    KIND("Signs, circumstances and tests", observable, observables, observable_count, label,
         show_observable),
    KIND("Species", species, species, species_count, name, show_species),
    KIND("Grains", grain, grains, grain_count, name, show_grain),
    KIND("Vessels", vessel_kind, vessels, vessel_count, name, show_vessel),
    KIND("Cautions", caution, cautions, caution_count, text, show_caution),
    KIND("Sources", source, sources, source_count, title, show_source),
};
enum { KINDS = sizeof kinds / sizeof *kinds };

static size_t count_of(const struct rules *rules, const struct kind *kind)
{
    return *(const size_t *)(const void *)((const char *)rules + kind->count);
}

static const char *item_of(const struct rules *rules, const struct kind *kind, size_t index)
{
    return *(const char *const *)(const void *)((const char *)rules + kind->array) +
           index * kind->size;
}

static const char *string_of(const char *item, size_t offset)
{
    return *(const char *const *)(const void *)(item + offset);
}

bool view_show(struct screen *screen, const struct rules *rules, const char *id)
{
    bool found = false;
    for (const struct kind *kind = kinds; kind < kinds + KINDS; kind++)
        for (size_t i = 0; i < count_of(rules, kind); i++) {
            const char *item = item_of(rules, kind, i);
            if (strcmp(string_of(item, kind->id), id) != 0)
                continue;
            if (found)
                screen_blank(screen);
            kind->show(screen, rules, item);
            found = true;
        }
    return found;
}

void view_show_all(struct screen *screen, const struct rules *rules)
{
    for (const struct kind *kind = kinds; kind < kinds + KINDS; kind++) {
        if (count_of(rules, kind) > 0)
            screen_heading(screen, kind->plural);
        for (size_t i = 0; i < count_of(rules, kind); i++) {
            const char *item = item_of(rules, kind, i);
            screen_row(screen, 2, ID_COLUMNS, string_of(item, kind->id),
                       string_of(item, kind->name));
        }
    }
}

size_t view_ids(const struct rules *rules, const char **ids, size_t most)
{
    size_t count = 0;
    for (const struct kind *kind = kinds; kind < kinds + KINDS; kind++)
        for (size_t i = 0; i < count_of(rules, kind) && count < most; i++)
            ids[count++] = string_of(item_of(rules, kind, i), kind->id);
    return count;
}
