/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/numbers.h"

#include <math.h>

struct minimum minimum_between(double (*function)(void *context, double at), void *context,
                               double low, double high, double tolerance)
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
    return at_left < at_right ? (struct minimum){left, at_left} : (struct minimum){right, at_right};
}

uint64_t fnv_hash(uint64_t hash, const void *bytes, size_t length)
{
    const unsigned char *byte = bytes;
    for (size_t i = 0; i < length; i++)
        hash = (hash ^ byte[i]) * UINT64_C(0x100000001b3);
    return hash;
}
