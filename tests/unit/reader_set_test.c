/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Settings (sign=value), with the shipped rules. */
#include <stdlib.h>
#include <string.h>

#include "base/diag.h"
#include "language/reader.h"
#include "rules/rules.h"
#include "support/fixture.h"
#include "support/test.h"

static struct reading set(const struct fixture *s, const char *sign, const char *value)
{
    struct reading reading;
    diags_clear(s->diags);
    if (reader_set(s->reader, sign, value, (struct position){0}, &reading, s->diags) != STATUS_OK)
        fail_msg("%s=%s: %s", sign, value, diags_get(s->diags, 0)->message);
    assert_string_equal(s->rules->observables[reading.observable].id, sign);
    assert_int_equal(reading.span.start, 0);
    assert_int_equal(reading.span.end, strlen(value));
    return reading;
}

static uint32_t bit(const struct fixture *s, const char *sign, const char *value)
{
    int observable = rules_observable(s->rules, sign);
    assert_int_not_equal(observable, RULES_NONE);
    int index = rules_value(&s->rules->observables[observable], value);
    assert_int_not_equal(index, RULES_NONE);
    return UINT32_C(1) << index;
}

TEST(test_values)
{
    const struct fixture *s = *state;
    struct reading r = set(s, "colour", "green");
    assert_int_equal(r.seen, bit(s, "colour", "green"));
    assert_int_equal(r.absent, 0);
    assert_false(r.hedged || r.has_number || r.others);
    r = set(s, "colour", " green , -black,-pink ");
    assert_int_equal(r.seen, bit(s, "colour", "green"));
    assert_int_equal(r.absent, bit(s, "colour", "black") | bit(s, "colour", "pink"));
    r = set(s, "colour", "-green?");
    assert_int_equal(r.absent, bit(s, "colour", "green"));
    assert_true(r.hedged);
    r = set(s, "cook_method", "pressure,boiling_steam");
    assert_int_equal(r.seen,
                     bit(s, "cook_method", "pressure") | bit(s, "cook_method", "boiling_steam"));
}

TEST(test_numbers)
{
    static const struct {
        const char *sign, *value, *bin;
        double lo, hi;
    } rows[] = {
        {"day", "12", "d8_14", 12, 12},
        {"day", "12 days", "d8_14", 12, 12},
        {"day", "Two weeks", "d8_14", 14, 14},
        {"day", "9-13", "d8_14", 9, 13},
        {"temperature", "24C", "c21_26", 24, 24},
        {"temperature", "72f", "c21_26", 200.0 / 9, 200.0 / 9},
        {"coverage", "a third", "quarter", 100.0 / 3, 100.0 / 3},
        {"cook_minutes", "1.5 h", "m75_119", 90, 90},
    };
    const struct fixture *s = *state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct reading r = set(s, rows[i].sign, rows[i].value);
        assert_true(r.has_number);
        if (r.number.lo < rows[i].lo - 1e-9 || r.number.lo > rows[i].lo + 1e-9 ||
            r.number.hi < rows[i].hi - 1e-9 || r.number.hi > rows[i].hi + 1e-9)
            fail_msg("%s=%s: %g to %g", rows[i].sign, rows[i].value, r.number.lo, r.number.hi);
        assert_int_equal(r.seen, bit(s, rows[i].sign, rows[i].bin));
    }
    struct reading r = set(s, "day", "12?");
    assert_true(r.hedged);
    r = set(s, "day", "5-10");
    assert_int_equal(r.seen, bit(s, "day", "d4_7") | bit(s, "day", "d8_14"));
}

/* The bins of a number can be named instead. */
TEST(test_bins)
{
    const struct fixture *s = *state;
    struct reading r = set(s, "day", "d8_14");
    assert_int_equal(r.seen, bit(s, "day", "d8_14"));
    assert_false(r.has_number);
    r = set(s, "coverage", "-full,-most");
    assert_int_equal(r.absent, bit(s, "coverage", "full") | bit(s, "coverage", "most"));
}

TEST(test_faults)
{
    static const struct {
        const char *sign, *value, *message;
    } rows[] = {
        {"color", "green", "no sign is called 'color'; did you mean 'colour'?"},
        {"xyzzy", "green", "no sign is called 'xyzzy'; 'rules check' names the rules in use"},
        {"colour", "gren", "'colour' has no value 'gren'; did you mean 'green'?"},
        {"spot_change", "-gnoe", "'spot_change' has no value 'gnoe'; did you mean 'gone'?"},
        {"spot_change", "purple",
         "'spot_change' has no value 'purple'; it takes same, before, larger, "
         "overrun_in_two_days, gone"},
        {"colour", "green,-green", "'green' is both set and denied for 'colour'; keep one"},
        {"colour", "", "'colour' is set to nothing; name a value"},
        {"colour", "?", "'colour' is set to nothing; name a value"},
        {"colour", "green,",
         "'colour' has no value ''; it takes white, cream, green, blue_green, "
         "yellow, olive, brown, black, grey, orange, pink"},
        {"day", "-3", "'day' cannot be '-3'; age lies between 0 days and 730 days"},
        {"cook_gauge", "900 psi", NULL},
        {"coverage", "400%", "'coverage' cannot be '400%'; coverage lies between 0% and 100%"},
        {"day", "15 psi", "'day' takes no such unit as in '15 psi'; give it in days"},
        {"day", "soon", NULL},
        {"colour", "\x1B[31m", NULL},
        {"day", "\xFF", NULL},
    };
    const struct fixture *s = *state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct reading reading;
        diags_clear(s->diags);
        assert_int_equal(reader_set(s->reader, rows[i].sign, rows[i].value, (struct position){0},
                                    &reading, s->diags),
                         STATUS_USAGE);
        assert_int_equal(diags_errors(s->diags), 1);
        const char *message = diags_get(s->diags, 0)->message;
        assert_null(strchr(message, '\x1B'));
        if (rows[i].message)
            assert_string_equal(message, rows[i].message);
    }
}

int main(void)
{
    return tests_run("reader set", shipped_setup, fixture_tear_down);
}
