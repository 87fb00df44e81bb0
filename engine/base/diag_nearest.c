/* SPDX-License-Identifier: GPL-3.0-or-later */
/* "Did you mean": the distance of Damerau (1964) and Levenshtein (1966). */
#include <stdint.h>
#include <string.h>

#include "base/diag.h"

/* Longer words are not compared: no name is as long, and the table stays on the stack. */
enum { LONGEST = 64 };

static unsigned char lower(char byte)
{
    return (unsigned char)(byte >= 'A' && byte <= 'Z' ? byte - 'A' + 'a' : byte);
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/*
 * Insertions, deletions, substitutions and exchanges of neighbours that turn
 * `a` into `b`, letters of both cases being equal. Unrestricted: letters may
 * come between exchanged ones. Row and column 0 of the table are a border that
 * no path can cross; row i + 1 stands for the first i letters of `a`.
 */
static size_t distance(const char *a, size_t a_length, const char *b, size_t b_length)
{
    size_t table[LONGEST + 2][LONGEST + 2];
    size_t last_row[UINT8_MAX + 1] = {0}; /* per letter: the last row of `a` that had it */
    const size_t far = a_length + b_length;

    table[0][0] = far;
    for (size_t i = 0; i <= a_length; i++) {
        table[i + 1][0] = far;
        table[i + 1][1] = i;
    }
    for (size_t j = 0; j <= b_length; j++) {
        table[0][j + 1] = far;
        table[1][j + 1] = j;
    }
    for (size_t i = 1; i <= a_length; i++) {
        size_t last_column = 0; /* the last column of this row where the letters agreed */
        for (size_t j = 1; j <= b_length; j++) {
            const size_t row = last_row[lower(b[j - 1])];
            const size_t column = last_column;
            const bool same = lower(a[i - 1]) == lower(b[j - 1]);
            if (same)
                last_column = j;
            size_t best = table[i][j] + (same ? 0 : 1);
            best = least(best, table[i + 1][j] + 1);
            best = least(best, table[i][j + 1] + 1);
            best = least(best, table[row][column] + (i - row - 1) + 1 + (j - column - 1));
            table[i + 1][j + 1] = best;
        }
        last_row[lower(a[i - 1])] = i;
    }
    return table[a_length + 1][b_length + 1];
}

const char *diag_nearest(const char *word, const char *const *names, size_t count)
{
    const size_t length = strlen(word);
    if (length == 0 || length > LONGEST)
        return NULL;
    size_t limit = length / 3 > 1 ? length / 3 : 1;
    const char *nearest = NULL;
    for (size_t i = 0; i < count; i++) {
        const size_t name_length = strlen(names[i]);
        if (name_length > LONGEST)
            continue;
        const size_t away = distance(word, length, names[i], name_length);
        if (away < limit || (away == limit && !nearest)) {
            limit = away;
            nearest = names[i];
        }
    }
    return nearest;
}
