/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <math.h>

#include "reason/siblings.h"
#include "support/test.h"

/* Moments of a Beta: E x^k = prod (a + i) / (a + b + i), and likewise of 1 - x. */
static void assert_exact(double a, double b, size_t count)
{
    double nodes[BETA_RULE_MOST], weights[BETA_RULE_MOST];
    double want = 1.0, want_other = 1.0;
    beta_rule(a, b, count, nodes, weights);
    for (size_t k = 0; k < 2 * count; k++) {
        double got = 0.0, got_other = 0.0;
        for (size_t i = 0; i < count; i++) {
            got += weights[i] * pow(nodes[i], (double)k);
            got_other += weights[i] * pow(1.0 - nodes[i], (double)k);
        }
        assert_true(fabs(got / want - 1.0) < 1e-10);
        assert_true(fabs(got_other / want_other - 1.0) < 1e-10);
        want *= (a + (double)k) / (a + b + (double)k);
        want_other *= (b + (double)k) / (a + b + (double)k);
    }
    for (size_t i = 0; i < count; i++) {
        assert_true(nodes[i] > 0.0 && nodes[i] < 1.0 && weights[i] > 0.0);
        assert_true(i == 0 || nodes[i] > nodes[i - 1]);
    }
}

TEST(moments_are_exact)
{
    (void)state;
    static const double shapes[][2] = {{1, 1}, {0.5, 0.5}, {1, 9}, {0.05, 5}, {3, 0.2}, {7, 300}};
    for (size_t s = 0; s < sizeof shapes / sizeof *shapes; s++)
        for (size_t count = 1; count <= BETA_RULE_MOST; count += count < 6 ? 1 : 13)
            assert_exact(shapes[s][0], shapes[s][1], count);
}

TEST(large_counts_do_not_overflow)
{
    (void)state;
    assert_exact(2e3, 9e3, 24);
    assert_exact(1e5, 2e5, 24);
    assert_exact(1e6, 1e6, 8);
}

int main(void)
{
    return tests_run("reason beta rule", NULL, NULL);
}
