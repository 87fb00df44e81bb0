/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The least value of a function of one number. */
#include <math.h>

#include "base/units.h"
#include "support/test.h"

struct asked { /* of a valley */
    double bottom, least, greatest;
    size_t times;
};

static double valley(void *context, double at)
{
    struct asked *asked = context;
    asked->times++;
    asked->least = fmin(asked->least, at);
    asked->greatest = fmax(asked->greatest, at);
    return cosh(at - asked->bottom) + 2.0;
}

static struct asked asked_at(double bottom)
{
    return (struct asked){.bottom = bottom, .least = INFINITY, .greatest = -INFINITY};
}

TEST(the_bottom_is_found)
{
    (void)state;
    for (double bottom = -0.9; bottom < 3.0; bottom += 0.13) {
        struct asked asked = asked_at(bottom);
        struct minimum least = minimum_between(valley, &asked, -1.0, 3.0, 1e-6);
        assert_true(fabs(least.at - bottom) <= 1e-6);
        assert_true(least.value == valley(&asked, least.at));
        assert_true(least.value - 3.0 < 1e-12);
    }
}

TEST(a_slope_ends_where_the_range_does)
{
    (void)state;
    struct asked down = asked_at(9.0), up = asked_at(-9.0);
    assert_true(fabs(minimum_between(valley, &down, -1.0, 3.0, 1e-4).at - 3.0) <= 1e-4);
    assert_true(fabs(minimum_between(valley, &up, -1.0, 3.0, 1e-4).at + 1.0) <= 1e-4);
    assert_true(down.greatest < 3.0 && up.least > -1.0);
}

/* Each step leaves 0.618 of the range: 14 of them 0.0012 of it. */
TEST(each_step_asks_once)
{
    (void)state;
    struct asked asked = asked_at(0.3);
    (void)minimum_between(valley, &asked, 0.0, 1.0, 0.0012);
    assert_int_equal(asked.times, 2 + 14);
}

int main(void)
{
    return tests_run("base numbers", NULL, NULL);
}
