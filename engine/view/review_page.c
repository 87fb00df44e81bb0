/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/review_page.h"

#include <math.h>
#include <stdbool.h>

#include "view/charts.h"
#include "view/page.h"
#include "view/review.h"
#include "view/review_internal.h"
#include "view/verdict.h"

/* The sections of the page: whether there is anything to show, and what stands below the heading.
 * `words` is empty before and after. */
static bool review_has_faults(const struct review *review);
static void review_html_faults(struct text *page, const struct review *review, struct text *words);
static bool review_has_changes(const struct review *review);
static void review_html_changes(struct text *page, const struct review *review, struct text *words);
static bool review_has_apart(const struct review *review);
static void review_html_apart(struct text *page, const struct review *review, struct text *words);
static bool review_has_plans(const struct review *review);
static void review_html_plans(struct text *page, const struct review *review, struct text *words);
static bool review_has_factors(const struct review *review);
static void review_html_factors(struct text *page, const struct review *review, struct text *words);
static bool review_has_times(const struct review *review);
static void review_html_times(struct text *page, const struct review *review, struct text *words);
static bool review_has_batches(const struct review *review);
static void review_html_batches(struct text *page, const struct review *review, struct text *words);
static bool review_has_vessels(const struct review *review);
static void review_html_vessels(struct text *page, const struct review *review, struct text *words);
static void review_html_method(struct text *page, const struct review *review, struct text *words);

/* The style of the page of a review. */
extern const char review_style[];

/* ==== review style ============================================================================ */

/* Colours are named once, for light and for dark; every pair of text and ground has a contrast of
 * at least 4.5 to 1 (Web Content Accessibility Guidelines 2.2, W3C 2023, criterion 1.4.3). */

#define LIGHT                                                                                      \
    "--page:#fbfaf5;--ink:#1f2421;--quiet:#56605a;--line:#c9ccc2;--band:#e3ebe4;--panel:#f1f0e7;"  \
    "--good:#1f6f54;--bad:#a3271b;--stuck:#7a5200;--call:#8a3d8f;--link:#1d5a86;"
#define DARK                                                                                       \
    "--page:#161a18;--ink:#e8e8df;--quiet:#a9b3ab;--line:#454d48;--band:#26332c;--panel:#1f2522;"  \
    "--good:#6fc7a2;--bad:#ff9a86;--stuck:#e0b04f;--call:#dba0e0;--link:#8cc3ea;"

const char review_style[] =
    ":root{" LIGHT "color-scheme:light dark}\n"
    "@media (prefers-color-scheme:dark){:root{" DARK "}}\n"
    "*{box-sizing:border-box}\n"
    "body{margin:0;background:var(--page);color:var(--ink);"
    "font:1rem/1.5 system-ui,sans-serif;overflow-wrap:anywhere}\n"
    "header,main,footer{max-width:66rem;margin:0 auto;padding:0 1rem}\n"
    "header{padding-top:1.5rem}\nfooter{padding-bottom:2rem}\n"
    "h1{font-size:1.7rem;line-height:1.2;margin:0 0 .3rem}\n"
    "h2{font-size:1.3rem;line-height:1.25;margin:0 0 .6rem}\n"
    "h3{font-size:1.05rem;line-height:1.3;margin:0 0 .3rem}\n"
    "p,li{max-width:42rem}\np{margin:0 0 .6rem}\nul,ol{margin:0 0 .8rem;padding-left:1.4rem}\n"
    "section{margin:2rem 0 0;padding-top:1.2rem;border-top:1px solid var(--line)}\n"
    "section#short{border-top:0;padding-top:0;margin-top:1rem}\n"
    "article{margin:0 0 1.2rem}\n"
    "a{color:var(--link)}\n"
    "nav ul{list-style:none;padding:0;display:flex;flex-wrap:wrap;gap:.2rem 1.2rem}\n"
    "nav a{display:inline-block;padding:.2rem 0}\n"
    ".lead{font-size:1.2rem;line-height:1.4;font-weight:600}\n.quiet{color:var(--quiet)}\n"
    ".caution{border-left:4px solid var(--stuck);background:var(--panel);padding:.6rem .9rem;"
    "margin:.8rem 0;max-width:44rem}\n.caution p:last-child{margin:0}\n"
    ".charts{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,21rem),1fr));"
    "gap:1.6rem 2rem;align-items:start}\n"
    "figure{margin:0;max-width:29rem;min-width:0}\n"
    "figcaption{font-weight:600;margin-bottom:.3rem}\n"
    "figure p{font-size:.9rem;margin:.2rem 0}\n"
    "svg{display:block;width:100%;height:auto;font:13px system-ui,sans-serif}\n"
    "svg text{fill:var(--ink);stroke:var(--page);stroke-width:3px;paint-order:stroke}\n"
    "svg .strong{font-weight:600}\nsvg .small{font-size:12px}\n"
    "svg .quiet{fill:var(--quiet);font-size:12px}\n"
    ".rail{stroke:var(--line)}\n.tick{stroke:var(--quiet)}\n"
    ".mean{stroke:var(--quiet);stroke-dasharray:4 3}\n"
    ".range{stroke:var(--good);stroke-width:4}\n.range.called{stroke:var(--call)}\n"
    ".bar{fill:var(--bad);fill-opacity:.3;stroke:var(--bad);stroke-width:1.5}\n.whisker{stroke:var("
    "--ink);stroke-width:2}\n"
    ".band{fill:var(--band)}\n.fine{fill:var(--good)}\n"
    ".open{fill:none;stroke:var(--quiet);stroke-width:2}\n"
    ".bad{stroke:var(--bad);stroke-width:3;fill:none}\n.stuck{fill:var(--call)}\n"
    ".frame{fill:none;stroke:var(--ink);stroke-width:1}\n"
    ".lead-line{stroke:var(--line)}\n.since{stroke:var(--bad);stroke-width:2}\n"
    ".curve{fill:none;stroke-width:2.5}\n"
    ".c0{stroke:var(--bad)}\n.c1{stroke:var(--good);stroke-dasharray:7 4}\n"
    ".c2{stroke:var(--link);stroke-dasharray:2 3}\n"
    ".c3{stroke:var(--stuck);stroke-dasharray:9 3 2 3}\n"
    ".c4{stroke:var(--call);stroke-dasharray:4 2 1 2 1 2}\n"
    "details{margin:.4rem 0 0;max-width:46rem}\n"
    "summary{cursor:pointer;color:var(--link);padding:.3rem 0}\n"
    "table{border-collapse:collapse;width:100%;font-size:.9rem}\n"
    "caption{text-align:left;color:var(--quiet);padding:.2rem 0}\n"
    "th,td{text-align:left;vertical-align:top;padding:.25rem .5rem .25rem 0;"
    "border-bottom:1px solid var(--line);font-weight:400}\nthead th{font-weight:600}\n"
    "a:focus-visible,summary:focus-visible{outline:3px solid var(--link);outline-offset:2px}\n"
    "@page{margin:14mm}\n"
    "@media print{:root{" LIGHT "--page:#fff;color-scheme:light}\n"
    "html{font-size:9.5pt}\nnav,details:not([open]){display:none}\n"
    "header,main,footer{max-width:none;padding:0}\n"
    "section{margin-top:1rem;padding-top:.8rem}\n"
    "p,li{max-width:none;orphans:3;widows:3}\n"
    "figure,article,tr,.caution,.whole,p:has(+.charts){break-inside:avoid;page-break-inside:avoid}"
    "\n"
    "h2,h3,figcaption,p:has(+.charts){break-after:avoid;page-break-after:avoid}\n"
    ".charts{display:block;columns:2;column-gap:10mm}\n.charts>*{margin-bottom:6mm}\n"
    "figure{max-width:84mm}\n.band,.bar{print-color-adjust:exact}}\n";

/* ==== review html facts ======================================================================= */

/* Of the page: factors, times, batches, vessels, and how it was computed. */

/* ---- factors --------------------------------------------------------------------------------- */

enum { FACTORS_SHOWN = 12 };

static bool is_drawn(const struct review_factor *factor)
{
    return factor->level_count > 1;
}

static size_t drawn_count(const struct review *review)
{
    size_t count = 0;
    for (size_t f = 0; f < review->dataset->factor_count; f++)
        count += is_drawn(&review->factors[f]) ? 1 : 0;
    return count;
}

static bool review_has_factors(const struct review *review)
{
    return drawn_count(review) > 0;
}

/* Whether a factor stands before another: by q, those never asked last, then as in the table. */
static bool stands_before(const struct review_factor *factors, size_t a, size_t b)
{
    double first = isnan(factors[a].q) ? 2.0 : factors[a].q;
    double second = isnan(factors[b].q) ? 2.0 : factors[b].q;
    return first < second || (!(second < first) && a < b);
}

/* The next factor to draw after `last` (factor_count: the first), or factor_count. */
static size_t next_factor(const struct review *review, size_t last)
{
    size_t count = review->dataset->factor_count, best = count;
    for (size_t f = 0; f < count; f++) {
        if (!is_drawn(&review->factors[f]) ||
            (last < count && !stands_before(review->factors, last, f)))
            continue;
        if (best == count || stands_before(review->factors, f, best))
            best = f;
    }
    return best;
}

static void put_factor(struct text *page, const struct review *review,
                       const struct review_factor *factor, struct text *words)
{
    text_puts(page, "<div class=\"whole\">\n");
    svg_levels(page, review, factor);
    if (factor->unknown > 0) {
        text_printf(words, "%zu %s not known.", factor->unknown,
                    factor->unknown == 1 ? "is" : "are");
        html_take(page, "p", "class=\"quiet\"", words);
    }
    if (!isnan(factor->q)) {
        review_test_words(words, factor);
        html_take(page, "p", NULL, words);
        review_within_words(words, review, factor);
        html_take(page, "p", NULL, words);
    }
    text_puts(page, "</div>\n");
}

static void put_near(struct text *page, const struct review *review, struct text *words)
{
    if (review->near_count == 0)
        return;
    text_puts(page, "<h3>Not enough to be called, but nearest to it</h3>\n<ul>\n");
    for (size_t n = 0; n < review->near_count; n++) {
        review_near_words(words, review, &review->near[n]);
        html_take(page, "li", NULL, words);
    }
    text_puts(page, "</ul>\n");
}

static void review_html_factors(struct text *page, const struct review *review, struct text *words)
{
    size_t count = review->dataset->factor_count, drawn = 0;
    html_element(page, "p", NULL,
                 "Share lost, with its exact 95 % range. What parts the vessels most clearly comes "
                 "first. All vessels are counted here, whatever else explains their loss.");
    text_puts(page, "<div class=\"charts\">\n");
    for (size_t f = next_factor(review, count); f < count && drawn < FACTORS_SHOWN;
         f = next_factor(review, f), drawn++)
        put_factor(page, review, &review->factors[f], words);
    text_puts(page, "</div>\n");
    if (drawn < drawn_count(review)) {
        text_printf(words, "And %zu more that part them less clearly.",
                    drawn_count(review) - drawn);
        html_take(page, "p", "class=\"quiet\"", words);
    }
    review_shared_words(words, review);
    html_take(page, "p", NULL, words);
    put_near(page, review, words);
}

/* ---- time ------------------------------------------------------------------------------------ */

static bool review_has_times(const struct review *review)
{
    return review->time.cases > 0;
}

static void review_html_times(struct text *page, const struct review *review, struct text *words)
{
    const struct review_time *time = &review->time;
    text_puts(page, "<div class=\"charts\">\n");
    svg_curves(page, review);
    text_puts(page, "<div>\n<ul>\n");
    for (size_t c = 0; c < time->curve_count; c++)
        if (time->curves[c].curve.cases > 0) {
            review_curve_words(words, review, &time->curves[c]);
            html_take(page, "li", NULL, words);
        }
    text_puts(page, "</ul>\n");
    if (time->logrank.freedom > 0) {
        review_logrank_words(words, review);
        html_take(page, "p", NULL, words);
    }
    if (time->left_out > 0) {
        text_printf(words, "%zu %s left out: no days, or impossible ones.", time->left_out,
                    time->left_out == 1 ? "is" : "are");
        html_take(page, "p", "class=\"quiet\"", words);
    }
    text_puts(page, "</div>\n</div>\n");
}

/* ---- batches --------------------------------------------------------------------------------- */

static bool has_chart(const struct review *review)
{
    return review->batch_count > 0 && !isnan(review->centre);
}

static bool review_has_batches(const struct review *review)
{
    return has_chart(review) || review->watch.asked;
}

static void review_html_batches(struct text *page, const struct review *review, struct text *words)
{
    text_puts(page, "<div class=\"charts\">\n");
    if (has_chart(review))
        svg_batches(page, review);
    if (review->watch.asked) {
        text_puts(page, "<div class=\"whole\">\n");
        svg_sum(page, review);
        review_watch_words(words, review);
        html_take(page, "p", NULL, words);
        text_puts(page, "</div>\n");
    }
    text_puts(page, "</div>\n");
}

static bool review_has_vessels(const struct review *review)
{
    return review->batch_count > 0;
}

static void review_html_vessels(struct text *page, const struct review *review, struct text *words)
{
    (void)words;
    svg_vessels(page, review);
}

/* ---- how it was computed --------------------------------------------------------------------- */

static void review_html_method(struct text *page, const struct review *review, struct text *words)
{
    static const char *const assumed[] = {
        "What was written down is right: a vessel called lost was lost, and it came from the cook, "
        "starter, session and place named.",
        "Vessels that share all of these are lost independently of each other. Where one infects "
        "its neighbours, ranges are too narrow.",
        "What nobody wrote down (weather, a filter, a pair of hands) cannot be found, and may hide "
        "behind what was.",
        "Vessels saved: those lost there less those that would have been lost at the rate of the "
        "rest.",
        "Exact ranges: Clopper and Pearson 1934. Tables: Fisher 1935, Freeman and Halton 1951. "
        "Many questions at once: Benjamini and Hochberg 1995. Times: Kaplan and Meier 1958, Mantel "
        "1966. Batches: Shewhart 1931 with exact limits. Since when: Page 1954, Reynolds and "
        "Stoumbos 1999.",
    };
    review_rule_words(words, review);
    html_take(page, "p", NULL, words);
    review_counting_words(words, review);
    html_take(page, "p", NULL, words);
    text_puts(page, "<ul>\n");
    for (size_t i = 0; i < sizeof assumed / sizeof assumed[0]; i++)
        html_element(page, "li", NULL, assumed[i]);
    text_puts(page, "</ul>\n");
}

/* ==== review html faults ====================================================================== */

/* Of the page: what did it, what to change, what cannot be told apart, the next batch. */

/* ---- what did it ----------------------------------------------------------------------------- */

static bool review_has_faults(const struct review *review)
{
    return review->fault_count > 0;
}

static void put_p(struct text *words, const struct review_suspect *suspect)
{
    char p[MOMENT_ROOM], q[MOMENT_ROOM];
    view_p(suspect->q, q);
    text_printf(words,
                " Does it lose more than the rest? %s for %zu of %zu against %zu of %zu; "
                "among all that were asked, %s.",
                view_p(suspect->test_p, p), suspect->inside.lost, suspect->inside.total,
                suspect->outside.lost, suspect->outside.total, q + 2); /* without its "p " */
}

static void put_fault(struct text *page, const struct review *review, size_t k, struct text *words)
{
    const struct review_fault *fault = &review->faults[k];
    char percent[PERCENT_ROOM];
    text_puts(page, "<article>\n");
    text_printf(words, fault->suspect_count > 1 ? "%zu. Either " : "%zu. ", k + 1);
    view_suspects(words, review, fault, false);
    text_printf(words, ": %s (%s)", view_spoken(review->rules, fault->p),
                view_percent(fault->p, percent));
    html_take(page, "h3", NULL, words);
    if (fault->suspect_count > 1)
        html_element(page, "p", "class=\"caution\"",
                     "These always went together, or nearly: counting cannot tell them apart.");
    for (size_t s = 0; s < fault->suspect_count; s++) {
        review_counts_words(words, review, &fault->suspects[s], fault->suspect_count > 1);
        put_p(words, &fault->suspects[s]);
        html_take(page, "p", NULL, words);
        review_why_words(words, review, &fault->suspects[s]);
        html_take(page, "p", NULL, words);
    }
    review_causes_words(words, review, fault);
    html_take(page, "p", NULL, words);
    review_saved_words(words, fault);
    html_take(page, "p", NULL, words);
    review_trials_words(words, review, fault);
    html_take(page, "p", NULL, words);
    text_puts(page, "</article>\n");
}

static void review_html_faults(struct text *page, const struct review *review, struct text *words)
{
    text_puts(page, "<div class=\"charts\">\n");
    svg_faults(page, review);
    text_puts(page, "<div>\n");
    if (review->fault_count > 1)
        html_element(page, "p", "class=\"quiet\"",
                     "Each is counted without the vessels that the others explain.");
    for (size_t k = 0; k < review->fault_count; k++)
        put_fault(page, review, k, words);
    text_puts(page, "</div>\n</div>\n");
}

/* ---- what to change -------------------------------------------------------------------------- */

static bool review_has_changes(const struct review *review)
{
    return review->change_count > 0;
}

static void put_change(struct text *page, const struct review *review,
                       const struct review_change *change, struct text *words)
{
    const struct review_fault *fault = &review->faults[change->fault];
    char percent[PERCENT_ROOM];
    text_puts(page, "<li>\n");
    view_suspects(words, review, fault, false);
    html_take(page, "h3", NULL, words);
    review_saved_words(words, fault);
    if (fault->suspect_count > 1)
        text_puts(words, " Test before you change: it may be the other one.");
    html_take(page, "p", NULL, words);
    if (change->cause != RULES_NONE) {
        const struct cause *cause = &review->rules->causes[change->cause];
        text_printf(words, "If it was this: %s (%s).", cause->name,
                    view_percent(change->p, percent));
        html_take(page, "p", "class=\"quiet\"", words);
        text_puts(page, cause->change_count > 0 ? "<ul>\n" : "");
        for (size_t i = 0; i < cause->change_count; i++)
            html_element(page, "li", NULL, cause->change[i]);
        text_puts(page, cause->change_count > 0 ? "</ul>\n" : "");
    }
    text_puts(page, "</li>\n");
}

static void review_html_changes(struct text *page, const struct review *review, struct text *words)
{
    html_element(page, "p", "class=\"quiet\"",
                 "What would have saved most comes first. Ranges hold nine times in ten.");
    text_puts(page, "<ol>\n");
    for (size_t c = 0; c < review->change_count; c++)
        put_change(page, review, &review->changes[c], words);
    text_puts(page, "</ol>\n");
}

/* ---- what cannot be told apart --------------------------------------------------------------- */

static bool review_has_apart(const struct review *review)
{
    for (size_t k = 0; k < review->fault_count; k++)
        if (review->faults[k].trial_count > 0 || review->faults[k].suspect_count > 1)
            return true;
    return review->alias_count > 0;
}

static void put_trial(struct text *page, const struct review *review,
                      const struct review_trial *trial, struct text *words)
{
    const struct observable *test = &review->rules->observables[trial->observable];
    bool one = fabs(trial->delay_days - 1.0) < 0.5;
    text_puts(page, "<li>");
    text_printf(words, "%s: %.2f bits, %.0f %s, cost %.1f.", test->label, trial->bits,
                trial->delay_days, one ? "day" : "days", trial->cost);
    if (test->look != NULL)
        text_printf(words, " %s", test->look);
    html_text(page, words->bytes);
    text_clear(words);
    text_puts(page, "</li>\n");
}

static void review_html_apart(struct text *page, const struct review *review, struct text *words)
{
    enum { MOST = 4, ALIASES = 20 };
    for (size_t k = 0; k < review->fault_count; k++) {
        const struct review_fault *fault = &review->faults[k];
        if (fault->trial_count == 0 && fault->suspect_count < 2)
            continue;
        text_puts(page, "<article>\n");
        text_puts(words, fault->suspect_count > 1 ? "Cannot be told apart: " : "To be surer of ");
        view_suspects(words, review, fault, fault->suspect_count > 1);
        html_take(page, "h3", NULL, words);
        text_puts(page, fault->trial_count > 0 ? "<ul>\n" : "");
        for (size_t t = 0; t < fault->trial_count && t < MOST; t++)
            put_trial(page, review, &fault->trials[t], words);
        text_puts(page, fault->trial_count > 0 ? "</ul>\n" : "");
        text_puts(page, "</article>\n");
    }
    for (size_t a = 0; a < review->alias_count && a < ALIASES; a++) {
        review_alias_words(words, review, &review->aliases[a]);
        html_take(page, "p", NULL, words);
    }
    html_element(page, "p", "class=\"quiet\"",
                 "Tests stand best for their cost first. One bit would settle a question between "
                 "two equal chances. A cost is effort, with each day of waiting counted in.");
}

/* ---- the next batch -------------------------------------------------------------------------- */

static bool review_has_plans(const struct review *review)
{
    return review->plan_count > 0;
}

static void review_html_plans(struct text *page, const struct review *review, struct text *words)
{
    for (size_t p = 0; p < review->plan_count; p++) {
        const struct review_plan *plan = &review->plans[p];
        text_puts(page, "<article>\n");
        text_puts(words, "To tell ");
        view_suspects(words, review, &review->faults[plan->fault], false);
        text_puts(words, " apart");
        html_take(page, "h3", NULL, words);
        html_element(page, "p", NULL,
                     "One cook, one session, one starter and one place for all, but for this:");
        text_puts(page, "<ul>\n");
        for (size_t a = 0; a < plan->arm_count; a++) {
            view_arm(words, review, plan, &plan->arms[a]);
            html_take(page, "li", NULL, words);
        }
        text_puts(page, "</ul>\n");
        view_plan_reading(words, review, plan);
        html_take(page, "p", NULL, words);
        text_puts(page, "</article>\n");
    }
}

/* ==== review html ============================================================================= */

/* A review as a page: the order of its sections, and what stands above them all. */

struct section {
    const char *id, *heading;
    bool (*has)(const struct review *review);
    void (*write)(struct text *page, const struct review *review, struct text *words);
};

/* ---- in short -------------------------------------------------------------------------------- */

static void put_limits(struct text *page, const struct review *review)
{
    for (unsigned bit = 0; bit < REVIEW_LIMIT_COUNT; bit++) {
        const char *words = view_review_limit(review, 1U << bit);
        if (words != NULL)
            html_element(page, "p", NULL, words);
    }
    for (size_t r = 0; r < review->dataset->remark_count; r++)
        html_element(page, "p", "class=\"quiet\"", review->dataset->remarks[r]);
}

static void put_short(struct text *page, const struct review *review, struct text *words)
{
    text_puts(page, "<section id=\"short\">\n<h2>In short</h2>\n");
    review_lost_words(words, review);
    html_take(page, "p", "class=\"lead\"", words);
    review_culprits_words(words, review);
    html_take(page, "p", NULL, words);
    review_change_words(words, review);
    html_take(page, "p", NULL, words);
    put_limits(page, review);
    text_puts(page, "<div class=\"caution\">\n<p>All of this is likelihood, none of it proof: it "
                    "rests on what was written down. Do not open, shake or smell a suspect vessel "
                    "to find out more; look from outside.</p>\n</div>\n</section>\n");
}

/* ---- the whole ------------------------------------------------------------------------------- */

static bool always(const struct review *review)
{
    return review->totals.counts.total > 0;
}

static const struct section sections[] = {
    {"faults", "What did it, surest first", review_has_faults, review_html_faults},
    {"change", "What to change", review_has_changes, review_html_changes},
    {"factors", "Where the losses gather", review_has_factors, review_html_factors},
    {"time", "How long they lasted", review_has_times, review_html_times},
    {"batches", "Batch by batch, and since when", review_has_batches, review_html_batches},
    {"vessels", "Every vessel", review_has_vessels, review_html_vessels},
    {"apart", "What cannot be told apart, and what would settle it", review_has_apart,
     review_html_apart},
    {"next", "The next batch", review_has_plans, review_html_plans},
    {"method", "How this was computed, and what it assumes", always, review_html_method},
};
enum { SECTIONS = sizeof sections / sizeof sections[0] };

static void put_contents(struct text *page, const struct review *review)
{
    bool any = false;
    for (size_t s = 0; s < SECTIONS; s++)
        any = any || sections[s].has(review);
    if (!any)
        return;
    text_puts(page, "<nav aria-label=\"On this page\">\n<ul>\n");
    for (size_t s = 0; s < SECTIONS; s++)
        if (sections[s].has(review)) {
            text_printf(page, "<li><a href=\"#%s\">", sections[s].id);
            html_text(page, sections[s].heading);
            text_puts(page, "</a></li>\n");
        }
    text_puts(page, "</ul>\n</nav>\n");
}

void view_review_html(struct text *page, const struct review *review)
{
    char day[MOMENT_ROOM];
    struct text words;

    text_init(&words);
    html_begin(page, "What was lost, and why: a review by Jarside", review_style);
    text_puts(page, "<header>\n<h1>What was lost, and why</h1>\n");
    text_printf(&words, "As it stood on %s", day_write(review->dataset->today, DAY_WORDS, day));
    html_take(page, "p", "class=\"quiet\"", &words);
    text_puts(page, "</header>\n<main>\n");
    put_short(page, review, &words);
    put_contents(page, review);
    for (size_t s = 0; s < SECTIONS; s++) {
        if (!sections[s].has(review))
            continue;
        text_printf(page, "<section id=\"%s\">\n", sections[s].id);
        html_element(page, "h2", NULL, sections[s].heading);
        sections[s].write(page, review, &words);
        text_puts(page, "</section>\n");
    }
    text_puts(page, "</main>\n<footer>\n<p class=\"quiet\">Written by Jarside. Whoever prints "
                    "this gets the charts; a table prints when it was opened.</p>\n</footer>\n");
    html_end(page);
    text_release(&words);
}
