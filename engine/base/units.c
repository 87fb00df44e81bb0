/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The dimensions: their names, and how a value is shown to people. */
#include "base/units.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

struct dimension_row {
    const char *name, *unit;
};

static const struct dimension_row DIMENSIONS[DIM_COUNT] = {
    [DIM_NONE] = {"none", ""},
    [DIM_DAYS] = {"days", "d"},
    [DIM_MINUTES] = {"minutes", "min"},
    [DIM_PERCENT] = {"percent", "%"},
    [DIM_CELSIUS] = {"celsius", "degC"},
    [DIM_GAUGE_KPA] = {"gauge_kpa", "kPa"},
    [DIM_PRESSURE_KPA] = {"pressure_kpa", "kPa"},
    [DIM_METRES] = {"metres", "m"},
    [DIM_GRAMS] = {"grams", "g"},
    [DIM_LITRES] = {"litres", "l"},
};

const char *dimension_unit(enum dimension dimension)
{
    return dimension < DIM_COUNT ? DIMENSIONS[dimension].unit : "";
}

const char *dimension_name(enum dimension dimension)
{
    return dimension < DIM_COUNT ? DIMENSIONS[dimension].name : "";
}

/* Three significant digits, whole from 100 on, never an exponent, no trailing zeros. */
static void show_number(struct text *out, double value)
{
    char digits[64];
    const double size = fabs(value);
    const int decimals = size < 0.9995 ? 3 : size < 9.995 ? 2 : size < 99.95 ? 1 : 0;
    if (!(size < 1e15)) {
        text_puts(out, isnan(value) ? "unknown" : "beyond measure");
        return;
    }
    (void)snprintf(digits, sizeof digits, "%.*f", decimals, value);
    size_t length = strlen(digits);
    if (decimals > 0) {
        while (digits[length - 1] == '0')
            length--;
        if (digits[length - 1] == '.')
            length--;
    }
    if (length == 2 && memcmp(digits, "-0", 2) == 0)
        text_puts(out, "0");
    else
        text_add(out, digits, length);
}

static void show_unit(struct text *out, double value, const char *unit)
{
    show_number(out, value);
    text_puts(out, unit);
}

/* The same value in the other system, in brackets. */
static void show_other(struct text *out, double value, const char *unit)
{
    text_puts(out, " (");
    show_unit(out, value, unit);
    text_puts(out, ")");
}

static void show_days(struct text *out, double days)
{
    const double hours = round(days * 24);
    if (days > 0 && days < 0.99 && hours > 0) /* under a day hours say more than a decimal */
        show_unit(out, hours, hours == 1 ? " hour" : " hours");
    else
        show_unit(out, days, days == 1 ? " day" : " days");
}

static void show_minutes(struct text *out, double minutes)
{
    const double whole = round(minutes);
    if (whole <= 120 || whole >= 1e9) {
        show_unit(out, minutes, " min");
        return;
    }
    text_printf(out, "%.0f h", floor(whole / 60));
    if (fmod(whole, 60) > 0)
        text_printf(out, " %.0f min", fmod(whole, 60));
}

static void show_grams(struct text *out, double grams)
{
    if (fabs(grams) < 1000)
        show_unit(out, grams, " g");
    else
        show_unit(out, grams / 1000, " kg");
    if (fabs(grams) < 453.59237)
        show_other(out, grams / 28.349523125, " oz");
    else
        show_other(out, grams / 453.59237, " lb");
}

static void show_litres(struct text *out, double litres)
{
    if (fabs(litres) < 0.1) { /* a dose: growers measure these in millilitres everywhere */
        show_unit(out, litres * 1000, " ml");
        return;
    }
    show_unit(out, litres, " l");
    const double quarts = litres / 0.946352946;
    show_other(out, quarts, fabs(quarts - 1) < 0.005 ? " US quart" : " US quarts");
}

void quantity_show(struct text *out, double value, enum dimension dimension)
{
    switch (dimension) {
    case DIM_DAYS:
        show_days(out, value);
        break;
    case DIM_MINUTES:
        show_minutes(out, value);
        break;
    case DIM_PERCENT:
        show_unit(out, value, "%");
        break;
    case DIM_CELSIUS:
        show_unit(out, value,
                  " \xC2\xB0"
                  "C");
        show_other(out, round(value * 1.8 + 32),
                   " \xC2\xB0"
                   "F");
        break;
    case DIM_GAUGE_KPA:
    case DIM_PRESSURE_KPA:
        show_unit(out, value, " kPa");
        show_other(out, value / 6.894757293168361, " psi");
        break;
    case DIM_METRES:
        show_unit(out, value, " m");
        show_other(out, round(value / 0.3048), " ft");
        break;
    case DIM_GRAMS:
        show_grams(out, value);
        break;
    case DIM_LITRES:
        show_litres(out, value);
        break;
    case DIM_NONE:
    case DIM_COUNT:
        show_number(out, value);
        break;
    }
}
