/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "cli/commands.h"
#include "cli/measure.h"
#include "voice/plan.h"

static const struct option options[] = {
    {"dry", "WEIGHT", "of grain as bought"},
    {"water", "WEIGHT", "of water added and not drained; a millilitre is a gram"},
    {"before", "WEIGHT", "of grain before soaking and draining"},
    {"after", "WEIGHT", "of the same afterwards"},
    {"grain", "GRAIN", "an id, for its own water and its band"},
    {"own-moisture", "PERCENT", "of the grain as bought, if it was measured"},
    {"target", "PERCENT", "moisture to aim for; else the middle of the grain's band"},
    {"vessel", "VESSEL", "what it goes into: an id, bag:1.36kg, jar:1quart"},
    {"mass", "WEIGHT", "hydrated grain in one vessel"},
    {"vessels", "N", "how many vessels"},
    {"json", NULL, "print JSON"},
    {NULL, NULL, NULL},
};

struct mix { /* what was said, and what becomes of it */
    struct known_grain grain;
    struct known_vessel vessel;
    double before, after, target, vessels;
};

static enum exit_status read_said(struct app *app, struct mix *mix)
{
    known_grain_init(&mix->grain);
    known_vessel_init(&mix->vessel);
    mix->before = mix->after = mix->target = mix->vessels = NAN;
    enum exit_status fault = option_mix(app, &mix->grain);
    if (fault == EXIT_FINE)
        fault = option_amount(app, "before", DIM_GRAMS, &mix->before);
    if (fault == EXIT_FINE)
        fault = option_amount(app, "after", DIM_GRAMS, &mix->after);
    if (fault == EXIT_FINE)
        fault = option_amount(app, "target", DIM_PERCENT, &mix->target);
    if (fault == EXIT_FINE)
        fault = option_amount(app, "vessels", DIM_NONE, &mix->vessels);
    if (fault == EXIT_FINE)
        fault = option_vessel(app, &mix->vessel);
    if (fault == EXIT_FINE && !isnan(mix->vessels) && mix->vessels < 1.0)
        fault = option_fault(app, "vessels", "at least one vessel");
    return fault;
}

static enum exit_status refused(struct app *app, enum process_fault fault, double value)
{
    struct physics_refusal refusal = {fault, value};
    return option_refused(app, &refusal);
}

/* Weighed already: what moisture it makes. */
static enum exit_status weighed(struct app *app, struct mix *mix, struct mix_told *told)
{
    enum process_fault fault;

    if (!isnan(mix->before)) {
        told->dry = mix->before;
        told->water = mix->after - mix->before;
        fault = moisture_soaked(mix->before, told->own_moisture, mix->after, &told->moisture);
        if (fault == FAULT_MOISTURE_DROP)
            return option_fault(app, "after",
                                "lighter after soaking than before; weigh both drained "
                                "of water that runs off");
    } else {
        told->dry = mix->grain.dry;
        told->water = mix->grain.water;
        fault = moisture_mixed(told->dry, told->own_moisture, told->water, &told->moisture);
    }
    if (fault != PROCESS_OK) {
        double wet = 100.0 * (told->water + told->dry * told->own_moisture / 100.0) /
                     (told->water + told->dry);
        return refused(app, fault, fault == FAULT_MOISTURE ? wet : told->dry);
    }
    moisture_judge(told->dry, told->own_moisture, told->moisture, &told->band, &told->verdict);
    return EXIT_FINE;
}

/* To be weighed: from the grain there is, or from the vessels to fill. */
static enum exit_status recipe(struct app *app, struct mix *mix, struct mix_told *told)
{
    double each = physics_grams(app->rules, &mix->vessel);
    enum process_fault fault;

    told->recipe = true;
    told->moisture = told->target;
    if (!isnan(mix->grain.dry)) {
        told->dry = mix->grain.dry;
        fault = moisture_water_for(told->dry, told->own_moisture, told->target, &told->water);
    } else if (!isnan(each)) {
        double all = each * (told->vessels > 0.0 ? told->vessels : 1.0);
        fault = moisture_recipe(all, told->own_moisture, told->target, &told->dry, &told->water);
    } else {
        return app_usage(app, "give --dry and --water, or --before and --after, or a --vessel to "
                              "fill; for instance: jarside mix --grain rye --vessel jar:1quart "
                              "--vessels 6");
    }
    if (fault != PROCESS_OK)
        return refused(app, fault, fault == FAULT_MOISTURE ? told->target : told->dry);
    moisture_judge(told->dry, told->own_moisture, told->moisture, &told->band, &told->verdict);
    return EXIT_FINE;
}

static void headroom(struct app *app, const struct mix *mix, struct mix_told *told)
{
    told->fill = NAN;
    if (mix->vessel.kind == RULES_NONE)
        return;
    const struct vessel_kind *kind = &app->rules->vessels[mix->vessel.kind];
    double count = told->vessels > 0.0 ? told->vessels : 1.0;
    double bulk = physics_bulk(app->rules, mix->grain.kind);
    told->vessel = kind->name;
    if (!isnan(kind->litres) && kind->litres > 0.0)
        told->fill = moisture_fill((told->dry + told->water) / count, bulk, kind->litres);
}

static enum exit_status compute(struct app *app, struct mix *mix, struct mix_told *told)
{
    bool both = !isnan(mix->grain.dry) && !isnan(mix->grain.water);
    bool soaked = !isnan(mix->before) && !isnan(mix->after);

    if (isnan(mix->before) != isnan(mix->after))
        return app_usage(app, "--before and --after go together: the same grain, weighed twice");
    if (both && soaked)
        return app_usage(app, "give either --dry and --water or --before and --after, not both");
    if (!isnan(mix->grain.water) && isnan(mix->grain.dry))
        return app_usage(app, "--water needs --dry: how much grain as bought it went with");
    told->band = physics_band(app->rules, mix->grain.kind);
    told->own_moisture = physics_own_moisture(app->rules, &mix->grain);
    told->target = isnan(mix->target) ? 0.5 * (told->band.lo + told->band.hi) : mix->target;
    told->vessels = isnan(mix->vessels) ? 0.0 : mix->vessels;
    if (isnan(told->own_moisture) || isnan(told->target))
        return app_usage(app, "the rules hold no grain to compute this from");
    enum exit_status fault = both || soaked ? weighed(app, mix, told) : recipe(app, mix, told);
    if (fault == EXIT_FINE)
        headroom(app, mix, told);
    return fault;
}

static enum exit_status run_mix(struct app *app)
{
    struct mix mix;

    if (app->arguments.operand_count > 0)
        return app_usage(app, "'%s' is no option; see 'jarside mix --help'",
                         app->arguments.operands[0]);
    enum exit_status fault = app_load(app, NULL, 0);
    if (fault == EXIT_FINE)
        fault = read_said(app, &mix);
    if (fault != EXIT_FINE)
        return fault;
    struct mix_told told = {.rules = app->rules, .grain = &mix.grain, .assumed = ""};
    if (isnan(mix.grain.own_moisture))
        told.assumed =
            mix.grain.kind == RULES_NONE
                ? "grain as bought with the water usual in trade; the bands of all grains"
                : "grain as bought with the water usual in trade";
    fault = compute(app, &mix, &told);
    if (fault != EXIT_FINE)
        return fault;
    if (arguments_flag(&app->arguments, "json"))
        return app_json(app, voice_mix_json(&told), false);
    voice_mix(&app->out, &told);
    return app_flush(app);
}

const struct command command_mix = {
    .name = "mix",
    .summary = "works out grain and water to weigh, or the moisture of what was weighed",
    .operands = "",
    .detail =
        "Examples: jarside mix --dry 885g --water 475g --grain millet; jarside mix --grain rye "
        "--vessel jar:1quart --vessels 6; jarside mix --before 1kg --after 1.7kg --grain oats.",
    .options = options,
    .run = run_mix,
};
