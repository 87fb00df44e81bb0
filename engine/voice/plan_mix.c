/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "voice/plan_internal.h"
#include "voice/whole_json.h"

static const char *place_name(enum moisture_place place)
{
    static const char *const names[] = {"below", "within", "above"};
    return names[place];
}

/* "885 g (1 lb 15 oz)" with words before and behind. */
static void say_grams(struct screen *screen, size_t indent, const char *before, double grams,
                      const char *behind)
{
    struct text show;

    text_init(&show);
    quantity_show(&show, grams, DIM_GRAMS);
    if (!show.failed)
        screen_say(screen, indent, 2, ROLE_PLAIN, "%s%s%s", before, show.bytes, behind);
    screen_done(screen, &show);
}

static void say_recipe(struct screen *screen, const struct mix_told *told)
{
    double each = told->vessels > 0.0 ? told->vessels : 1.0;

    screen_say(screen, 0, 2, ROLE_STRONG, "For %.3g %% moisture weigh", told->target);
    say_grams(screen, 2, "dry grain: ", told->dry, ", as bought");
    say_grams(screen, 2, "water: ", told->water, "");
    if (each > 1.0) {
        say_grams(screen, 2, "into each vessel: ", (told->dry + told->water) / each,
                  " of the wet grain");
        say_grams(screen, 2, "which is ", told->dry / each, " of it dry");
    }
    screen_say(screen, 0, 2, ROLE_PLAIN,
               "If you soak and drain instead: it is right when %.3g times as heavy as before.",
               (told->dry + told->water) / told->dry);
}

static void say_place(struct screen *screen, const struct mix_told *told)
{
    const struct moisture_band *band = &told->band;
    const struct moisture_verdict *verdict = &told->verdict;

    if (isnan(band->lo))
        return;
    if (verdict->place == MOISTURE_WITHIN)
        screen_say(screen, 0, 2, ROLE_STRONG,
                   "That is within the band to aim for, %.3g to %.3g %%.", band->lo, band->hi);
    else
        screen_say(screen, 0, 2, ROLE_STRONG, "That is %s the band to aim for, %.3g to %.3g %%.",
                   place_name(verdict->place), band->lo, band->hi);
    if (verdict->place == MOISTURE_BELOW)
        say_grams(screen, 0, "To reach its lower end add ", verdict->correction, " of water.");
    if (verdict->place == MOISTURE_ABOVE)
        say_grams(screen, 0, "To reach its upper end it must lose ", -verdict->correction,
                  " of water: drain and air it, then weigh again.");
}

static void say_limit(struct screen *screen, const struct mix_told *told)
{
    if (isnan(told->band.raw_limit))
        return;
    screen_say(screen, 0, 2, ROLE_PLAIN,
               "Raw kernels take up water to about %.3g %%. What is beyond it stands free until "
               "cooking opens the starch, so the band and this limit disagree: both are shown.",
               told->band.raw_limit);
    if (told->verdict.free_water > 0.0)
        say_grams(screen, 0, "Here that is ", told->verdict.free_water,
                  " of free water before the cook.");
}

static void say_fill(struct screen *screen, const struct mix_told *told)
{
    double most = told->rules->forecast.fill_most > 0.0 ? told->rules->forecast.fill_most : 0.75;

    if (isnan(told->fill))
        return;
    screen_say(screen, 0, 2, told->fill > most ? ROLE_WARN : ROLE_PLAIN, "%s: filled to %.0f %%%s",
               told->vessel != NULL ? told->vessel : "The vessel", 100.0 * told->fill,
               told->fill > most ? ", too full to shake and to breathe; use more vessels." : ".");
}

/* "Becker 1960; Stamets 2000": where band and limit come from. */
static void say_sources(struct screen *screen, const struct mix_told *told)
{
    struct text line;

    if (told->grain->kind == RULES_NONE)
        return;
    const struct citation *cites = &told->rules->grains[told->grain->kind].cites;
    text_init(&line);
    for (size_t i = 0; i < cites->count; i++) {
        const struct source *source = &told->rules->sources[cites->sources[i]];
        text_printf(&line, "%s%s %s", i > 0 ? "; " : "", source->author, source->year);
    }
    if (cites->expert_judgement)
        text_printf(&line, "%sjudgement", line.length > 0 ? "; " : "");
    if (!line.failed && line.length > 0)
        screen_say(screen, 0, 2, ROLE_QUIET, "Band and limit after: %s.", line.bytes);
    screen_done(screen, &line);
}

static json_t *sources_json(const struct mix_told *told)
{
    json_t *array = json_array();

    if (array == NULL || told->grain->kind == RULES_NONE)
        return array;
    const struct citation *cites = &told->rules->grains[told->grain->kind].cites;
    for (size_t i = 0; i < cites->count; i++)
        array = voice_json_append(array, json_string(told->rules->sources[cites->sources[i]].id));
    return array;
}

void voice_mix(struct screen *screen, const struct mix_told *told)
{
    if (told->recipe) {
        say_recipe(screen, told);
    } else {
        screen_say(screen, 0, 2, ROLE_STRONG,
                   "Moisture: %.1f %% of the wet weight (%.1f %% of the dry matter).",
                   told->moisture, moisture_dry_basis(told->moisture));
        say_place(screen, told);
    }
    say_limit(screen, told);
    say_fill(screen, told);
    screen_say(
        screen, 0, 2, ROLE_QUIET,
        "Counted with the grain's own water, %.3g %%. Recipes that leave it out name a lower "
        "figure for the same mix.",
        told->own_moisture);
    say_sources(screen, told);
    if (told->assumed[0] != '\0')
        screen_say(screen, 0, 2, ROLE_QUIET, "Assumed: %s.", told->assumed);
}

json_t *voice_mix_json(const struct mix_told *told)
{
    const char *grain =
        told->grain->kind != RULES_NONE ? told->rules->grains[told->grain->kind].id : NULL;

    return json_pack(
        "{s:i, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:{s:o, s:o, s:o}, s:s, s:o, s:o, s:o, s:b, s:o, "
        "s:o}",
        "schema", 1, "grain", grain != NULL ? json_string(grain) : json_null(), "dry_g",
        voice_json_number(told->dry), "water_g", voice_json_number(told->water), "own_moisture",
        voice_json_number(told->own_moisture), "moisture", voice_json_number(told->moisture),
        "dry_basis", voice_json_number(moisture_dry_basis(told->moisture)), "target",
        told->recipe ? voice_json_number(told->target) : json_null(), "band", "low",
        voice_json_number(told->band.lo), "high", voice_json_number(told->band.hi), "raw_limit",
        voice_json_number(told->band.raw_limit), "place", place_name(told->verdict.place),
        "correction_g", voice_json_number(told->verdict.correction), "free_water_g",
        voice_json_number(told->verdict.free_water), "fill", voice_json_number(told->fill),
        "recipe", told->recipe, "assumed", voice_json_parts(told->assumed), "sources",
        sources_json(told));
}
