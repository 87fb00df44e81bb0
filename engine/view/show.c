/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/show.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { ID_COLUMNS = 24, VALUE_COLUMNS = 34 };

static const char *const class_name[] = {
    [CLASS_SIGN] = "sign", [CLASS_CIRCUMSTANCE] = "circumstance", [CLASS_TEST] = "test"};
static const char *const kind_name[] = {
    [KIND_ONE] = "one of", [KIND_SEVERAL] = "several of", [KIND_NUMBER] = "a number"};

static const char *bytes_of(const struct text *text)
{
    return text->bytes != NULL ? text->bytes : "";
}

/* ---- sources --------------------------------------------------------------------------------- */

static void put_source(struct text *out, const struct source *source)
{
    text_printf(out, "%s, %s, %s", source->author, source->title, source->year);
    if (source->where != NULL)
        text_printf(out, ", %s", source->where);
    if (source->weak)
        text_puts(out, " (a web guide: a hint, not evidence)");
}

static void show_citation(struct screen *screen, const struct rules *rules,
                          const struct citation *cites)
{
    for (size_t i = 0; i < cites->count; i++) {
        struct text words;
        text_init(&words);
        put_source(&words, &rules->sources[cites->sources[i]]);
        screen_item(screen, 2, "-", ROLE_QUIET, bytes_of(&words));
        text_release(&words);
    }
    if (cites->from_memory)
        screen_item(screen, 2, "-", ROLE_QUIET, "from memory");
    if (cites->common_practice)
        screen_item(screen, 2, "-", ROLE_QUIET, "common practice, no source");
    if (cites->expert_judgement)
        screen_item(screen, 2, "-", ROLE_QUIET, "expert judgement");
}

/* Short form behind a claim: "[kort2005; expert judgement]". */
static void put_citation(struct text *out, const struct rules *rules, const struct citation *cites)
{
    const char *joint = " [";
    for (size_t i = 0; i < cites->count; i++, joint = "; ")
        text_printf(out, "%s%s", joint, rules->sources[cites->sources[i]].id);
    const char *const marks[] = {cites->from_memory ? "from memory" : NULL,
                                 cites->common_practice ? "common practice" : NULL,
                                 cites->expert_judgement ? "expert judgement" : NULL};
    for (size_t i = 0; i < 3; i++)
        if (marks[i] != NULL) {
            text_printf(out, "%s%s", joint, marks[i]);
            joint = "; ";
        }
    if (joint[0] == ';')
        text_puts(out, "]");
}

static void show_sources(struct screen *screen, const struct rules *rules,
                         const struct citation *cites)
{
    screen_heading(screen, "Sources");
    show_citation(screen, rules, cites);
}

/* ---- claims ---------------------------------------------------------------------------------- */

static void put_number(struct text *out, const struct claim *claim, bool factor)
{
    if (claim->word != NULL) {
        for (const char *at = claim->word; *at != '\0'; at++)
            text_add(out, *at == '_' ? " " : at, 1);
        text_puts(out, " ");
    }
    text_printf(out, factor ? "(x %.2g)" : "(%.2g)", claim->number);
}

static bool same_citation(const struct citation *a, const struct citation *b)
{
    return a->count == b->count && a->expert_judgement == b->expert_judgement &&
           a->common_practice == b->common_practice && a->from_memory == b->from_memory &&
           (a->count == 0 || memcmp(a->sources, b->sources, a->count * sizeof *a->sources) == 0);
}

/* The observable, and what is cited for all its values together. */
static void claim_heading(struct screen *screen, const struct rules *rules,
                          const struct claim *claim)
{
    struct text words;
    text_init(&words);
    text_puts(&words, rules->observables[claim->observable].label);
    put_citation(&words, rules, &claim->cites);
    screen_say(screen, 2, 2, ROLE_QUIET, "%s", bytes_of(&words));
    text_release(&words);
}

static void show_claims(struct screen *screen, const struct rules *rules,
                        const struct claim *claims, size_t count, bool factor)
{
    for (size_t i = 0; i < count; i++) {
        const struct observable *observable = &rules->observables[claims[i].observable];
        if (i == 0 || claims[i].observable != claims[i - 1].observable ||
            !same_citation(&claims[i].cites, &claims[i - 1].cites))
            claim_heading(screen, rules, &claims[i]);
        struct text rest;
        text_init(&rest);
        put_number(&rest, &claims[i], factor);
        screen_row(screen, 4, VALUE_COLUMNS, observable->values[claims[i].value].label,
                   bytes_of(&rest));
        text_release(&rest);
    }
}

static void show_lines(struct screen *screen, const char *heading, const char *const *lines,
                       size_t count)
{
    if (count == 0)
        return;
    screen_heading(screen, heading);
    for (size_t i = 0; i < count; i++)
        screen_item(screen, 2, "-", ROLE_PLAIN, lines[i]);
}

/* ---- one of each kind ------------------------------------------------------------------------ */

static void show_leading_causes(struct screen *screen, const struct rules *rules, size_t finding)
{
    screen_heading(screen, "What may lead to it (rate against the others of that cause)");
    for (size_t c = 0; c < rules->cause_count; c++) {
        const struct cause *cause = &rules->causes[c];
        double sum = 0, rate = 0;
        for (size_t i = 0; i < cause->grow_count; i++) {
            sum += cause->grows[i].rate;
            rate += cause->grows[i].finding == finding ? cause->grows[i].rate : 0;
        }
        if (rate <= 0 || sum <= 0)
            continue;
        char rest[64];
        snprintf(rest, sizeof rest, "%3.0f %%  (%s)", 100.0 * rate / sum, cause->id);
        screen_row(screen, 2, VALUE_COLUMNS + 6, cause->name, rest);
    }
}

static void show_finding(struct screen *screen, const struct rules *rules, size_t index)
{
    const struct finding *finding = &rules->findings[index];
    screen_say(screen, 0, 0, ROLE_STRONG, "%s (finding: %s, hazard: %s)", finding->name,
               status_name(finding->status), hazard_name(finding->hazard));
    if (finding->also != NULL)
        screen_say(screen, 0, 0, ROLE_QUIET, "%s", finding->also);
    screen_say(screen, 0, 0, ROLE_PLAIN, "%s", finding->what);
    screen_heading(screen, "How it looks");
    show_claims(screen, rules, finding->looks, finding->look_count, false);
    if (finding->differ_count > 0)
        screen_heading(screen, "How to tell it apart");
    for (size_t i = 0; i < finding->differ_count; i++) {
        screen_say(screen, 2, 0, ROLE_PLAIN, "%s:", rules->findings[finding->differs[i].from].name);
        screen_say(screen, 4, 0, ROLE_PLAIN, "%s", finding->differs[i].how);
    }
    show_leading_causes(screen, rules, index);
    static const enum action order[] = {ACTION_DISCARD, ACTION_ISOLATE, ACTION_KEEP};
    for (size_t i = 0; i < ACTION_COUNT; i++)
        show_lines(screen, rules->decision.action_label[order[i]], finding->steps[order[i]],
                   finding->step_count[order[i]]);
    show_sources(screen, rules, &finding->cites);
}

static void show_cause(struct screen *screen, const struct rules *rules, size_t index)
{
    const struct cause *cause = &rules->causes[index];
    screen_say(screen, 0, 0, ROLE_STRONG, "%s (cause, shared by: %s)", cause->name,
               scope_name(cause->scope));
    screen_say(screen, 0, 0, ROLE_PLAIN, "%s", cause->what);
    screen_say(screen, 0, 0, ROLE_PLAIN,
               "Before anything is known: %.1f %% of vessels asked about.", 100.0 * cause->prior);
    screen_heading(screen, "What grows when it holds (relative rates)");
    for (size_t i = 0; i < cause->grow_count; i++) {
        char rest[32];
        snprintf(rest, sizeof rest, "%.3g", cause->grows[i].rate);
        screen_row(screen, 2, VALUE_COLUMNS, rules->findings[cause->grows[i].finding].name, rest);
    }
    show_citation(screen, rules, &cause->grows_cites);
    screen_heading(screen, "What speaks for or against it");
    show_claims(screen, rules, cause->weighs, cause->weigh_count, true);
    show_lines(screen, "What to change next time", cause->change, cause->change_count);
    if (cause->settle_count > 0)
        screen_heading(screen, "Tests that would settle it");
    for (size_t i = 0; i < cause->settle_count; i++) {
        const struct observable *test = &rules->observables[cause->settle[i]];
        screen_item(screen, 2, "-", ROLE_PLAIN, test->look != NULL ? test->look : test->ask);
    }
    show_sources(screen, rules, &cause->cites);
}

static void show_value_claims(struct screen *screen, const struct rules *rules, size_t observable)
{
    screen_heading(screen, "Who expects what");
    for (size_t f = 0; f < rules->finding_count; f++)
        for (size_t i = 0; i < rules->findings[f].look_count; i++) {
            const struct claim *claim = &rules->findings[f].looks[i];
            if (claim->observable != observable)
                continue;
            struct text rest;
            text_init(&rest);
            text_printf(&rest, "%s ", rules->observables[observable].values[claim->value].label);
            put_number(&rest, claim, false);
            screen_row(screen, 2, VALUE_COLUMNS, rules->findings[f].name, bytes_of(&rest));
            text_release(&rest);
        }
    for (size_t c = 0; c < rules->cause_count; c++)
        for (size_t i = 0; i < rules->causes[c].weigh_count; i++) {
            const struct claim *claim = &rules->causes[c].weighs[i];
            if (claim->observable != observable)
                continue;
            struct text rest;
            text_init(&rest);
            text_printf(&rest, "%s ", rules->observables[observable].values[claim->value].label);
            put_number(&rest, claim, true);
            screen_row(screen, 2, VALUE_COLUMNS, rules->causes[c].name, bytes_of(&rest));
            text_release(&rest);
        }
}

static void show_observable(struct screen *screen, const struct rules *rules, size_t index)
{
    const struct observable *observable = &rules->observables[index];
    screen_say(screen, 0, 0, ROLE_STRONG, "%s (%s, %s)", observable->label,
               class_name[observable->class], kind_name[observable->kind]);
    screen_say(screen, 0, 0, ROLE_PLAIN, "%s", observable->ask);
    if (observable->look != NULL)
        screen_say(screen, 0, 0, ROLE_PLAIN, "%s", observable->look);
    if (observable->why != NULL)
        screen_say(screen, 0, 0, ROLE_QUIET, "%s", observable->why);
    screen_heading(screen, "Values, and how common each is when nothing is known");
    for (size_t v = 0; v < observable->value_count; v++) {
        const struct value *value = &observable->values[v];
        struct text rest;
        text_init(&rest);
        text_printf(&rest, "%4.0f %%  %s", 100.0 * value->base, value->label);
        if (value->look != NULL)
            text_printf(&rest, ". %s", value->look);
        screen_row(screen, 2, ID_COLUMNS, value->id, bytes_of(&rest));
        text_release(&rest);
    }
    show_value_claims(screen, rules, index);
    show_sources(screen, rules, &observable->cites);
}

static void put_range(struct text *out, const char *name, double low, double high, const char *unit)
{
    if (isnan(low))
        return;
    if (low < high)
        text_printf(out, "%s %.3g to %.3g %s. ", name, low, high, unit);
    else
        text_printf(out, "%s %.3g %s. ", name, low, unit);
}

static void show_species(struct screen *screen, const struct rules *rules, size_t index)
{
    const struct species *species = &rules->species[index];
    const struct growth *growth = &species->growth;
    struct text words;
    text_init(&words);
    screen_say(screen, 0, 0, ROLE_STRONG, "%s (species)", species->name);
    if (species->latin != NULL)
        screen_say(screen, 0, 0, ROLE_QUIET, "%s", species->latin);
    if (species->note != NULL)
        screen_say(screen, 0, 0, ROLE_PLAIN, "%s", species->note);
    put_range(&words, "Grows from", growth->t_min, growth->t_max,
              "\xc2\xb0"
              "C");
    put_range(&words, "Best at", growth->t_opt, growth->t_opt,
              "\xc2\xb0"
              "C");
    put_range(&words, "Rate there", growth->rate_lo, growth->rate_hi, "mm a day");
    put_range(&words, "Published days to full colonisation of grain", growth->full_lo,
              growth->full_hi, "");
    screen_say(screen, 0, 0, ROLE_PLAIN, "%s", bytes_of(&words));
    show_citation(screen, rules, &growth->cites);
    if (species->normal_count > 0)
        screen_heading(screen, "What is normal here");
    for (size_t i = 0; i < species->normal_count; i++) {
        screen_say(screen, 2, 0, ROLE_PLAIN,
                   "%s:", rules->findings[species->normal[i].finding].name);
        show_claims(screen, rules, &species->normal[i].claim, 1, false);
    }
    show_sources(screen, rules, &species->cites);
    text_release(&words);
}

static void show_grain(struct screen *screen, const struct rules *rules, size_t index)
{
    const struct grain *grain = &rules->grains[index];
    struct text words;
    text_init(&words);
    screen_say(screen, 0, 0, ROLE_STRONG, "%s (grain)", grain->name);
    if (grain->note != NULL)
        screen_say(screen, 0, 0, ROLE_PLAIN, "%s", grain->note);
    put_range(&words, "Moisture as bought", grain->moisture, grain->moisture, "%");
    put_range(&words, "Aim for", grain->target_lo, grain->target_hi, "%");
    put_range(&words, "The raw kernel holds", grain->raw_limit, grain->raw_limit, "%");
    screen_say(screen, 0, 0, ROLE_PLAIN, "%s(per cent of the wet weight)", bytes_of(&words));
    show_sources(screen, rules, &grain->cites);
    text_release(&words);
}

static void show_vessel(struct screen *screen, const struct rules *rules, size_t index)
{
    const struct vessel_kind *vessel = &rules->vessels[index];
    screen_say(screen, 0, 0, ROLE_STRONG, "%s (vessel)", vessel->name);
    if (vessel->shape == SHAPE_CYLINDER)
        screen_say(screen, 0, 0, ROLE_PLAIN,
                   "Filled grain: a cylinder %.0f mm across and %.0f mm high, about %.2g kg.",
                   2000.0 * vessel->radius, 1000.0 * vessel->height, vessel->mass_kg);
    else
        screen_say(screen, 0, 0, ROLE_PLAIN,
                   "Filled grain: a block %.0f by %.0f by %.0f mm, about %.2g kg.",
                   1000.0 * vessel->sides[0], 1000.0 * vessel->sides[1], 1000.0 * vessel->sides[2],
                   vessel->mass_kg);
    show_sources(screen, rules, &vessel->cites);
}

static void show_caution(struct screen *screen, const struct rules *rules, size_t index)
{
    const struct caution *caution = &rules->cautions[index];
    screen_say(screen, 0, 0, ROLE_STRONG, "%s (caution)", caution->id);
    screen_say(screen, 0, 0, ROLE_PLAIN, "%s", caution->text);
    show_sources(screen, rules, &caution->cites);
}

static void show_source(struct screen *screen, const struct rules *rules, size_t index)
{
    struct text words;
    text_init(&words);
    put_source(&words, &rules->sources[index]);
    screen_say(screen, 0, 0, ROLE_STRONG, "%s (source)", rules->sources[index].id);
    screen_say(screen, 0, 0, ROLE_PLAIN, "%s", bytes_of(&words));
    text_release(&words);
}

/* ---- every kind, by table -------------------------------------------------------------------- */

struct kind { /* one kind of thing that has an id */
    const char *plural;
    size_t (*count)(const struct rules *rules);
    const char *(*id)(const struct rules *rules, size_t index);
    const char *(*name)(const struct rules *rules, size_t index);
    void (*show)(struct screen *screen, const struct rules *rules, size_t index);
};

#define KIND_ACCESS(singular, array, number, label)                                                \
    static size_t singular##_count(const struct rules *rules)                                      \
    {                                                                                              \
        return rules->number;                                                                      \
    }                                                                                              \
    static const char *singular##_id(const struct rules *rules, size_t index)                      \
    {                                                                                              \
        return rules->array[index].id;                                                             \
    }                                                                                              \
    static const char *singular##_name(const struct rules *rules, size_t index)                    \
    {                                                                                              \
        return rules->array[index].label;                                                          \
    }

KIND_ACCESS(finding, findings, finding_count, name)
KIND_ACCESS(cause, causes, cause_count, name)
KIND_ACCESS(observable, observables, observable_count, label)
KIND_ACCESS(species, species, species_count, name)
KIND_ACCESS(grain, grains, grain_count, name)
KIND_ACCESS(vessel, vessels, vessel_count, name)
KIND_ACCESS(caution, cautions, caution_count, text)
KIND_ACCESS(source, sources, source_count, title)

#define KIND(plural, singular)                                                                     \
    {                                                                                              \
        plural, singular##_count, singular##_id, singular##_name, show_##singular                  \
    }

static const struct kind kinds[] = {
    KIND("Findings", finding),
    KIND("Causes", cause),
    KIND("Signs, circumstances and tests", observable),
    KIND("Species", species),
    KIND("Grains", grain),
    KIND("Vessels", vessel),
    KIND("Cautions", caution),
    KIND("Sources", source),
};
enum { KIND_COUNT_ALL = sizeof kinds / sizeof *kinds };

bool view_show(struct screen *screen, const struct rules *rules, const char *id)
{
    bool found = false;
    for (size_t k = 0; k < KIND_COUNT_ALL; k++)
        for (size_t i = 0; i < kinds[k].count(rules); i++) {
            if (strcmp(kinds[k].id(rules, i), id) != 0)
                continue;
            if (found)
                screen_blank(screen);
            kinds[k].show(screen, rules, i);
            found = true;
        }
    return found;
}

void view_show_all(struct screen *screen, const struct rules *rules)
{
    for (size_t k = 0; k < KIND_COUNT_ALL; k++) {
        if (kinds[k].count(rules) == 0)
            continue;
        screen_heading(screen, kinds[k].plural);
        for (size_t i = 0; i < kinds[k].count(rules); i++)
            screen_row(screen, 2, ID_COLUMNS, kinds[k].id(rules, i), kinds[k].name(rules, i));
    }
}

size_t view_ids(const struct rules *rules, const char **ids, size_t most)
{
    size_t count = 0;
    for (size_t k = 0; k < KIND_COUNT_ALL; k++)
        for (size_t i = 0; i < kinds[k].count(rules) && count < most; i++)
            ids[count++] = kinds[k].id(rules, i);
    return count;
}
