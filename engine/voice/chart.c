/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/chart.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { MOST_ROWS = 24, MOST_COLUMNS = 72, AXIS = 7 }; /* AXIS: columns of "  100 |" */

static double value_at(const struct chart_series *series, double share)
{
    double place = share * (double)(series->count - 1);
    size_t at = (size_t)place;
    if (at + 1 >= series->count)
        return series->values[series->count - 1];
    double part = place - (double)at;
    return (1.0 - part) * series->values[at] + part * series->values[at + 1];
}

static void plot(const struct chart *chart, const struct chart_series *series,
                 char cells[MOST_ROWS][MOST_COLUMNS + 1], size_t rows, size_t columns)
{
    for (size_t column = 0; column < columns; column++) {
        double y = value_at(series, (double)column / (double)(columns - 1));
        double up = (y - chart->y_from) / (chart->y_to - chart->y_from) * (double)(rows - 1);
        if (!(up > -0.5 && up < (double)rows - 0.5))
            continue;
        cells[rows - 1 - (size_t)lround(up)][column] = series->mark;
    }
}

static void axis_below(struct screen *screen, const struct chart *chart, size_t columns)
{
    char line[AXIS + MOST_COLUMNS + 32], right[32];

    memset(line, '-', AXIS + columns);
    memset(line, ' ', AXIS - 1);
    line[AXIS - 1] = '+';
    line[AXIS + columns] = '\0';
    screen_preformatted(screen, 0, line);
    int length = snprintf(right, sizeof right, "%.4g %s", chart->x_to, chart->x_unit);
    int room = (int)(AXIS + columns) - length;
    snprintf(line, sizeof line, "%*s%-*.4g%s", AXIS, "", room > AXIS ? room - AXIS : 0,
             chart->x_from, right);
    screen_preformatted(screen, 0, line);
}

void chart_draw(struct screen *screen, const struct chart *chart, size_t rows)
{
    char cells[MOST_ROWS][MOST_COLUMNS + 1], line[AXIS + MOST_COLUMNS + 2];

    if (screen->width < CHART_NARROWEST || rows < 2 || rows > MOST_ROWS)
        return;
    size_t columns = screen->width - AXIS - 1;
    if (columns > MOST_COLUMNS - AXIS)
        columns = MOST_COLUMNS - AXIS;
    memset(cells, ' ', sizeof cells);
    for (size_t i = 0; i < chart->count; i++)
        if (chart->series[i].count >= 2)
            plot(chart, &chart->series[i], cells, rows, columns);
    screen_preformatted(screen, 0, chart->y_unit);
    for (size_t row = 0; row < rows; row++) {
        double y = chart->y_to - (chart->y_to - chart->y_from) * (double)row / (double)(rows - 1);
        size_t end = columns;
        while (end > 0 && cells[row][end - 1] == ' ')
            end--;
        if (row % 3 == 0 || row + 1 == rows)
            snprintf(line, sizeof line, "%5.0f |%.*s", y, (int)end, cells[row]);
        else
            snprintf(line, sizeof line, "%5s |%.*s", "", (int)end, cells[row]);
        screen_preformatted(screen, 0, line);
    }
    axis_below(screen, chart, columns);
    for (size_t i = 0; i < chart->count; i++)
        if (chart->series[i].label != NULL)
            screen_say(screen, AXIS, 3, ROLE_QUIET, "%c  %s", chart->series[i].mark,
                       chart->series[i].label);
}
