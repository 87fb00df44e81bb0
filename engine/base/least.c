/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/least.h"

#include <math.h>

struct least least_between(double (*function)(void *context, double at), void *context, double low,
                           double high, double tolerance)
{
    const double share = (sqrt(5.0) - 1.0) / 2.0;
    double left = high - share * (high - low), right = low + share * (high - low);
    double at_left = function(context, left), at_right = function(context, right);

    while (high - low > tolerance) {
        if (at_left < at_right) {
            high = right;
            right = left;
            at_right = at_left;
            left = high - share * (high - low);
            at_left = function(context, left);
        } else {
            low = left;
            left = right;
            at_left = at_right;
            right = low + share * (high - low);
            at_right = function(context, right);
        }
    }
    return at_left < at_right ? (struct least){left, at_left} : (struct least){right, at_right};
}
