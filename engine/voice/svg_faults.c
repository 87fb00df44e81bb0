/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What did it, surest first: how many vessels each cost, with a range. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "voice/review_internal.h"
#include "voice/svg_internal.h"
#include "voice/verdict.h"

enum {
    LEFT = 8,
    RIGHT = SVG_WIDTH - 8,
    HEAD = 4,
    ROW = 78,

    COLUMNS = 42,
};

static double whole(double vessels)
{
    return floor(vessels + 0.5);
}

static double most_saved(const struct review *review)
{
    double most = 1.0;
    for (size_t k = 0; k < review->fault_count; k++)
        most = fmax(most, whole(review->faults[k].saved_high));
    return most;
}

static void put_name(struct text *words, const struct review *review, size_t k)
{
    text_printf(words, "%zu. ", k + 1);
    voice_suspects(words, review, &review->faults[k], false);
}

static void put_causes(struct text *words, const struct review *review,
                       const struct review_fault *fault)
{
    enum { MOST = 2 };
    static const double worth_a_word = 0.05;
    char percent[PERCENT_ROOM];
    for (size_t c = 0; c < fault->cause_count && c < MOST; c++)
        if (c == 0 || fault->causes[c].p >= worth_a_word)
            text_printf(words, "%s%s (%s)", c > 0 ? ", " : "",
                        review->rules->causes[fault->causes[c].cause].name,
                        voice_percent(fault->causes[c].p, percent));
}

static void take_words(struct text *page, double y, const char *style, struct text *words)
{
    svg_words(page, LEFT, y, SVG_START, style, words->bytes != NULL ? words->bytes : "", COLUMNS);
    page->failed = page->failed || words->failed;
    text_clear(words);
}

static void draw_fault(struct text *page, const struct review *review, size_t k, double most)
{
    enum { BAR = 14, FIGURES = 108 };
    const struct review_fault *fault = &review->faults[k];
    double top = HEAD + (double)k * ROW, scale = (RIGHT - LEFT - FIGURES) / most;
    double middle = top + 45 + BAR / 2.0;
    double low = LEFT + scale * whole(fault->saved_low);
    double high = LEFT + scale * whole(fault->saved_high);
    char percent[PERCENT_ROOM], figures[48];
    struct text words;

    text_init(&words);
    put_name(&words, review, k);
    take_words(page, top + 16, "strong", &words);
    text_printf(&words, "%s (%s)", voice_spoken(review->rules, fault->p),
                voice_percent(fault->p, percent));
    take_words(page, top + 33, "quiet", &words);
    svg_box(page, LEFT, middle - BAR / 2.0, scale * whole(fault->saved), BAR, "bar");
    svg_line(page, low, middle, high, middle, "whisker");
    svg_line(page, low, middle - 5, low, middle + 5, "whisker");
    svg_line(page, high, middle - 5, high, middle + 5, "whisker");
    snprintf(figures, sizeof figures, "%.0f (%.0f to %.0f)", whole(fault->saved),
             whole(fault->saved_low), whole(fault->saved_high));
    svg_words(page, RIGHT, middle + 5, SVG_END, "plain", figures, sizeof figures);
    text_release(&words);
}

/* ---- the same as a table --------------------------------------------------------------------- */

static void table_row(struct text *page, const struct review *review, size_t k)
{
    const struct review_fault *fault = &review->faults[k];
    const struct review_suspect *first = &fault->suspects[0];
    char percent[PERCENT_ROOM];
    struct text words;

    text_init(&words);
    text_puts(page, "<tr>");
    put_name(&words, review, k);
    html_take(page, "th", "scope=\"row\"", &words);
    text_puts(page, "<td>");
    html_text(page, voice_percent(fault->p, percent));
    text_printf(page, "</td><td>%zu of %zu</td><td>%zu of %zu</td><td>%.0f (%.0f to %.0f)</td>",
                first->inside.lost, first->inside.total, first->outside.lost, first->outside.total,
                whole(fault->saved), whole(fault->saved_low), whole(fault->saved_high));
    put_causes(&words, review, fault);
    html_element(page, "td", NULL, words.length > 0 ? words.bytes : "not known");
    text_puts(page, "</tr>\n");
    text_release(&words);
}

void svg_faults(struct text *page, const struct review *review)
{
    static const char title[] = "Vessels that each of them cost";
    static const char *const heads[] = {"What",         "How sure", "It lost", "The rest lost",
                                        "Cost (range)", "Why",      NULL};
    double most = most_saved(review), bottom = HEAD + (double)review->fault_count * ROW;
    char description[160];

    snprintf(description, sizeof description,
             "%zu bars, surest first: vessels that would not have been lost without it, each with "
             "its 90 %% range.",
             review->fault_count);
    svg_begin(page, "faults-chart", title, description, bottom + 10);
    for (size_t k = 0; k < review->fault_count; k++)
        draw_fault(page, review, k, most);
    svg_end(page);
    text_puts(page, "<p class=\"quiet\">The bar is the number expected, the line across it the "
                    "90 % range. Where two stand together, the counts in the table are the "
                    "likelier one&#39;s.</p>\n");
    svg_table(page, title, heads);
    for (size_t k = 0; k < review->fault_count; k++)
        table_row(page, review, k);
    svg_table_end(page);
}
