/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/review.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "view/charts.h"
#include "view/page.h"
#include "view/verdict.h"

/*
 * A review has two faces, a screen and a page, and says the same sentences on
 * both: each part below puts them together once, and put() says them as a block
 * of a certain kind. What has only one of the two asks which it is.
 */
struct old_face {
    const struct review *review;
    struct screen *screen; /* NULL: */
    struct text *page;     /* NULL when there is a screen */
    struct text words;     /* of the next block */
};

enum block { LEAD, PLAIN, QUIET, CAUTION, UNDER, BELOW, BELOW_QUIET, LINE, ITEM, DEEP };

static const struct {
    size_t indent;
    enum role role;
    const char *bullet, *tag, *attributes;
} blocks[] = {
    [LEAD] = {0, ROLE_STRONG, NULL, "p", "class=\"lead\""},
    [PLAIN] = {0, ROLE_PLAIN, NULL, "p", NULL},
    [QUIET] = {0, ROLE_QUIET, NULL, "p", "class=\"quiet\""},
    [CAUTION] = {5, ROLE_WARN, NULL, "p", "class=\"caution\""},
    [UNDER] = {5, ROLE_PLAIN, NULL, "p", NULL}, /* of a culprit */
    [BELOW] = {2, ROLE_PLAIN, NULL, "p", NULL}, /* of a section */
    [BELOW_QUIET] = {2, ROLE_QUIET, NULL, "p", "class=\"quiet\""},
    [LINE] = {2, ROLE_PLAIN, NULL, "li", NULL},
    [ITEM] = {2, ROLE_PLAIN, "-", "li", NULL},
    [DEEP] = {5, ROLE_PLAIN, "-", "li", NULL},
};

/* Says the words and empties them; nothing when there are none. */
static void put(struct old_face *face, enum block block)
{
    struct text *words = &face->words;
    if (face->page != NULL)
        html_take(face->page, blocks[block].tag, blocks[block].attributes, words);
    else if (words->length > 0 && blocks[block].bullet != NULL)
        screen_item(face->screen, blocks[block].indent, blocks[block].bullet, blocks[block].role,
                    words->bytes);
    else if (words->length > 0)
        screen_say(face->screen, blocks[block].indent, 0, blocks[block].role, "%s", words->bytes);
    text_clear(words);
}

static void say(struct old_face *face, enum block block, const char *words)
{
    text_puts(&face->words, words);
    put(face, block);
}

/* The words as a heading within a section of the page, or as one of the screen. */
static void put_heading(struct old_face *face)
{
    if (face->page != NULL)
        html_take(face->page, "h3", NULL, &face->words);
    else
        screen_heading(face->screen, face->words.bytes);
    text_clear(&face->words);
}

/* A heading that only the screen needs: sections of the page have theirs from their table. */
static void screen_head(struct old_face *face, const char *words)
{
    if (face->screen != NULL)
        screen_heading(face->screen, words);
}

static void tags(struct old_face *face, const char *html)
{
    if (face->page != NULL)
        text_puts(face->page, html);
}

static const char *plural(size_t count, const char *one, const char *many)
{
    return count == 1 ? one : many;
}

/* ---- names, figures ----------------------------------------------------------------------------- */

const char *view_factor(const struct factor *factor)
{
    return factor->kind == FACTOR_DOSE      ? "inoculation rate"
           : factor->kind == FACTOR_SESSION ? "inoculation session"
                                            : factor->name;
}

void view_level(struct text *out, const struct dataset *dataset, size_t factor, uint32_t level)
{
    enum { MOST = 80 }; /* a sentence stays one, whatever stands in a table */
    static const char *const called[FACTOR_KINDS] = {
        [FACTOR_LETHALITY] = "cooks with a computed heat that is",
        [FACTOR_MOISTURE] = "hydration with a computed moisture",
        [FACTOR_DOSE] = "an inoculation rate",
        [FACTOR_TEMPERATURE] = "places at",
        [FACTOR_PARENT] = "starters made from",
        [FACTOR_LINE] = "the starter line",
    };
    const struct factor *of = &dataset->factors[factor];
    const char *label = level != LEVEL_NONE ? of->levels[level] : "not known";
    text_printf(out, "%s%s ", called[of->kind] != NULL ? called[of->kind] : of->name,
                of->kind == FACTOR_OTHER ? ":" : "");
    text_safe(out, label, strlen(label), &(struct text_safe_options){.limit = MOST});
}

void view_suspect(struct text *out, const struct dataset *dataset,
                  const struct review_suspect *suspect)
{
    view_level(out, dataset, suspect->factor, suspect->level);
    if (suspect->with_factor < dataset->factor_count) {
        text_puts(out, " with ");
        view_level(out, dataset, suspect->with_factor, suspect->with_level);
    }
}

void view_suspects(struct text *out, const struct review *review,
                   const struct review_culprit *culprit, bool p)
{
    char percent[PERCENT_ROOM];
    for (size_t s = 0; s < culprit->suspect_count; s++) {
        const struct review_suspect *suspect = &culprit->suspects[s];
        if (s > 0)
            text_puts(out, s + 1 < culprit->suspect_count ? ", " : " or ");
        view_suspect(out, review->dataset, suspect);
        if (p)
            text_printf(out, " (%s)", view_percent(suspect->p, percent));
    }
}

void view_curve_name(struct text *out, const struct review *review,
                     const struct review_curve *curve)
{
    if (review->time.factor >= review->dataset->factor_count)
        text_puts(out, "All vessels");
    else if (curve->level == LEVEL_NONE)
        text_puts(out, "All others");
    else
        view_level(out, review->dataset, review->time.factor, curve->level);
}

const char *view_range(struct interval range, char room[RANGE_ROOM])
{
    double low = 100.0 * range.low, high = 100.0 * range.high;
    if (range.low <= 0.0)
        snprintf(room, RANGE_ROOM, "at most %.0f %%", high);
    else if (range.high >= 1.0)
        snprintf(room, RANGE_ROOM, "at least %.0f %%", low);
    else
        snprintf(room, RANGE_ROOM, "%.0f to %.0f %%", low, high);
    return room;
}

/* "0.0031", "below 0.0001": never without counts beside it. */
static const char *p_words(double p, char room[MOMENT_ROOM])
{
    if (p < 0.0001)
        snprintf(room, MOMENT_ROOM, "below 0.0001");
    else
        snprintf(room, MOMENT_ROOM, p < 0.01 ? "%.4f" : "%.2f", p);
    return room;
}

/* ---- in short --------------------------------------------------------------------------------- */

/* Appends the kinds of things that growers keep apart and this dataset does not name. */
static void add_missing(struct text *out, const struct dataset *dataset)
{
    static const enum factor_kind kinds[] = {FACTOR_COOK, FACTOR_STARTER, FACTOR_SESSION,
                                             FACTOR_LOT, FACTOR_PLACE};
    const char *joint = " Not recorded, and worth it: ";
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++)
        if (dataset_factor(dataset, kinds[k]) == dataset->factor_count) {
            text_printf(out, "%s%s", joint, factor_kinds[kinds[k]].name);
            joint = ", ";
        }
    text_puts(out, joint[0] == ',' ? "." : "");
}

bool view_review_limit(struct text *out, const struct review *review, unsigned bit)
{
    static const char *const says[REVIEW_LIMIT_COUNT] = {
        /* in the order of enum review_limit */
        "There are no vessels here, so there is nothing to conclude. Start a batch, or give "
        "a table with --csv.",
        "No vessel counts yet: all are too young, or their outcome was not recorded.",
        "Nothing was lost, so there is nothing to explain. That does not promise as much for the "
        "next batch.",
        "All of them were lost. With none that did well there is nothing to compare with: no cook, "
        "starter or place can stand out, however bad it is. Next time change one thing for half of "
        "the vessels, and leave one of each cook uninoculated.",
        "All vessels share everything that was recorded, so nothing can be compared.",
        "There is only one batch. What all of it shares cannot be told apart by counting.",
        "No vessel has both dates, so nothing can be said about time.",
        "So few vessels count that only a very large difference could show.",
    };
    if ((review->limits >> bit & 1) == 0)
        return false;
    text_puts(out, says[bit]);
    if (1U << bit == REVIEW_NO_FACTOR)
        add_missing(out, review->dataset);
    return true;
}

static void put_lost(struct old_face *face)
{
    const struct review_totals *totals = &face->review->totals;
    struct counts counts = totals->counts;
    struct text *words = &face->words;
    char first[MOMENT_ROOM], last[MOMENT_ROOM];

    if ((face->review->limits & REVIEW_EMPTY) != 0)
        return;
    if (counts.total > 0)
        text_printf(words, "You lost %zu of %zu %s (%.0f %%)", counts.lost, counts.total,
                    plural(counts.total, "vessel", "vessels"),
                    100.0 * (double)counts.lost / (double)counts.total);
    else
        text_printf(words, "No vessel of %zu counts yet", totals->vessels);
    if (totals->batches > 0)
        text_printf(words, " in %zu %s", totals->batches,
                    plural(totals->batches, "batch", "batches"));
    day_write(totals->first, DAY_WORDS, first);
    if (totals->first != DAY_NONE && totals->first == totals->last)
        text_printf(words, ", started on %s", first);
    else if (totals->first != DAY_NONE)
        text_printf(words, ", started between %s and %s", first,
                    day_write(totals->last, DAY_WORDS, last));
    text_puts(words, ".");
    put(face, LEAD);
    if (counts.total > 0 && counts.total < totals->vessels)
        text_printf(words, "Of %zu in all", totals->vessels);
    if (counts.total > 0 && totals->young > 0)
        text_printf(words, "%s%zu %s young and sound so far", words->length > 0 ? ", " : "",
                    totals->young, plural(totals->young, "is", "are"));
    if (counts.total > 0 && totals->unrecorded > 0)
        text_printf(words, ", of %zu the outcome is not known", totals->unrecorded);
    text_puts(words, words->length > 0 ? ". " : "");
    static const enum fate kinds[] = {FATE_CONTAMINATED, FATE_STUCK, FATE_UNTOLD};
    static const char *const says[] = {"contaminated", "did not grow or stalled",
                                       "lost, and not recorded to what"};
    const char *joint = "Of the lost, ";
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++)
        if (totals->fate[kinds[k]] > 0 && totals->fate[kinds[k]] < counts.lost) {
            text_printf(words, "%s%zu %s", joint, totals->fate[kinds[k]], says[k]);
            joint = ", ";
        }
    text_puts(words, joint[0] == ',' ? "." : "");
    put(face, PLAIN);
}

/* Nothing is called. Yet losses may differ, and a batch may lose more than by chance: that is said, as the
 * details say it too. */
static void put_differing(struct old_face *face)
{
    static const double clear = 0.05;
    const struct review *review = face->review;
    struct text *words = &face->words;
    const char *joint = "Losses differ by ";
    double q = 0.0;
    char room[MOMENT_ROOM];

    text_puts(words, "No single cook, starter, inoculation session, place or lot stands out");
    size_t bare = words->length;
    text_puts(words, ". ");
    for (size_t f = 0; f < review->dataset->factor_count; f++)
        if (review->factors[f].q <= clear) { /* not so when it is not known */
            text_printf(words, "%s%s", joint, view_factor(&review->dataset->factors[f]));
            q = fmax(q, review->factors[f].q);
            joint = ", ";
        }
    if (joint[0] == ',') {
        text_printf(words, " more than by chance (p at most %s, adjusted, ", p_words(q, room));
        text_printf(words, "for %zu of %zu lost), but they may as well differ from batch to batch.",
                    review->totals.counts.lost, review->totals.counts.total);
    }
    joint = joint[0] == ',' ? " Batches that lost too many: " : "Batches that lost too many: ";
    for (size_t b = 0; b < review->batch_count; b++) {
        const struct review_batch *batch = &review->batches[b];
        if (!batch->point.above)
            continue;
        text_puts(words, joint);
        const char *name = review->dataset->factors[review->dataset->batch].levels[batch->level];
        text_safe(words, name, strlen(name), &(struct text_safe_options){.limit = 80});
        text_printf(words, " (%zu of %zu", batch->counts.lost, batch->counts.total);
        if (batch->cause_count > 0 && batch->causes[0].p > 0.5)
            text_printf(words, "; %s", review->rules->causes[batch->causes[0].cause].name);
        text_puts(words, ")");
        joint = ", ";
    }
    text_puts(words, joint[0] == ',' ? "." : "");
    if (words->length == bare + strlen(". ")) {
        text_cut(words, bare);
        text_puts(words, ": too few losses to tell it from chance.");
    }
    put(face, PLAIN);
}

static void put_culprits(struct old_face *face)
{
    const struct review *review = face->review;
    bool either = false;

    if (review->totals.counts.lost == 0 ||
        (review->limits & (REVIEW_ALL_LOST | REVIEW_NO_FACTOR)) != 0)
        return;
    if (review->culprit_count == 0) {
        put_differing(face);
        return;
    }
    text_puts(&face->words, "Likely cause: ");
    for (size_t k = 0; k < review->culprit_count; k++) {
        const struct review_culprit *culprit = &review->culprits[k];
        char percent[PERCENT_ROOM];
        text_puts(&face->words, k == 0 ? "" : k + 1 < review->culprit_count ? ", " : " and ");
        text_puts(&face->words, culprit->suspect_count > 1 ? "either " : "");
        view_suspects(&face->words, review, culprit, false);
        text_printf(&face->words, " (%s)", view_percent(culprit->p, percent));
        either = either || culprit->suspect_count > 1;
    }
    text_puts(&face->words,
              either ? ". Where it says either, these numbers cannot tell which." : ".");
    put(face, PLAIN);
}

static void add_saved(struct text *words, const struct review_culprit *culprit)
{
    /* Vessels are whole. */
    double low = floor(culprit->saved_low + 0.5), high = floor(culprit->saved_high + 0.5);
    double mean = floor(culprit->saved + 0.5);
    text_puts(words, culprit->suspect_count > 1 ? "Without whichever it was, " : "Without it ");
    if (high <= low)
        text_printf(words, "about %.0f", mean);
    else
        text_printf(words, "about %.0f vessels (%.0f to %.0f)", mean, low, high);
    text_puts(words, " would not have been lost.");
}

/* What is known can be changed at once; what cannot be told apart needs a test first. */
static void put_first_change(struct old_face *face)
{
    const struct review *review = face->review;
    struct text *words = &face->words;
    size_t c = 0;

    if (review->change_count == 0)
        return;
    while (c < review->change_count &&
           review->culprits[review->changes[c].culprit].suspect_count != 1)
        c++;
    const struct review_change *change = &review->changes[c < review->change_count ? c : 0];
    const struct review_culprit *culprit = &review->culprits[change->culprit];
    bool known = culprit->suspect_count == 1;
    text_puts(words, known ? "Change first: " : "First find out whether it was ");
    view_suspects(words, review, culprit, false);
    if (!known && culprit->trial_count > 0)
        text_printf(words, "; best by this test: %s",
                    review->rules->observables[culprit->trials[0].observable].label);
    text_puts(words, ". ");
    add_saved(words, culprit);
    if (known && change->cause != RULES_NONE &&
        review->rules->causes[change->cause].change_count > 0)
        text_printf(words, " %s", review->rules->causes[change->cause].change[0]);
    put(face, PLAIN);
}

/* ---- one bad batch ------------------------------------------------------------------------------ */

/* The likeliest causes, what would tell them apart, and what to change first. */
static void put_account(struct old_face *face, const struct rules *rules,
                        const struct review_account *account)
{
    enum { CAUSES = 3, TRIALS = 2 };
    static const double worth_a_word = 0.05;
    struct text *words = &face->words;
    char percent[PERCENT_ROOM];
    if (face->review == NULL && account->counts.total > 0) /* which a review has said */
        text_printf(words, "%zu of %zu lost", account->counts.lost, account->counts.total);
    if (account->controls.total > 0)
        text_printf(words, "%s%zu of %zu uninoculated %s", words->length > 0 ? ", and " : "",
                    account->controls.lost, account->controls.total,
                    plural(account->controls.total, "control", "controls"));
    text_puts(words, account->controls.total > 0 && words->length > 0 ? " lost."
                     : words->length > 0                              ? "."
                                                                      : "");
    put(face, LEAD);
    if (account->cause_count == 0) {
        say(face, PLAIN, "Nothing that was told points to a cause.");
        return;
    }
    say(face, PLAIN, "Most likely causes:");
    tags(face, "<ul>\n");
    for (size_t c = 0; c < account->cause_count && c < CAUSES; c++)
        if (c == 0 || account->causes[c].p >= worth_a_word) {
            text_printf(words, "%s: %s", rules->causes[account->causes[c].cause].name,
                        view_percent(account->causes[c].p, percent));
            put(face, ITEM);
        }
    tags(face, "</ul>\n");
    for (size_t t = 0; t < account->trial_count && t < TRIALS; t++) {
        const struct observable *test = &rules->observables[account->trials[t].observable];
        text_printf(words, "%s%s", t == 0 ? "To be sure: " : "Or: ", test->label);
        if (account->trials[t].delay_days > 0.0)
            text_printf(words, " (%.0f %s)", account->trials[t].delay_days,
                        account->trials[t].delay_days > 1.0 ? "days" : "day");
        if (test->look != NULL)
            text_printf(words, ". %s", test->look);
        put(face, PLAIN);
    }
    const struct cause *first = &rules->causes[account->causes[0].cause];
    if (first->change_count > 0)
        text_printf(words, "Change first: %s", first->change[0]);
    put(face, PLAIN);
}

static void put_short(struct old_face *face)
{
    const struct review *review = face->review;
    put_lost(face);
    put_culprits(face);
    put_first_change(face);
    for (unsigned bit = 0; bit < REVIEW_LIMIT_COUNT; bit++)
        if (view_review_limit(&face->words, review, bit))
            put(face, PLAIN);
    if (review->account.cause_count > 0) {
        say(face, PLAIN, "What the vessels themselves show:");
        put_account(face, review->rules, &review->account);
    }
    for (size_t r = 0; r < review->dataset->remark_count; r++)
        say(face, QUIET, review->dataset->remarks[r]);
}

/* ---- one culprit ------------------------------------------------------------------------------ */

static void put_title(struct old_face *face, size_t k)
{
    const struct review_culprit *culprit = &face->review->culprits[k];
    struct text *words = &face->words;
    char lead[24], percent[PERCENT_ROOM];

    snprintf(lead, sizeof lead, "%2zu.", k + 1);
    if (face->page != NULL)
        text_printf(words, "%zu. ", k + 1);
    text_puts(words, culprit->suspect_count > 1 ? "Either " : "");
    view_suspects(words, face->review, culprit, false);
    text_printf(words, ": %s", view_percent(culprit->p, percent));
    if (face->page != NULL) {
        put_heading(face);
    } else {
        screen_item(face->screen, 1, lead, ROLE_STRONG, words->bytes);
        text_clear(words);
    }
}

static void add_counts(struct old_face *face, const struct review_suspect *suspect, bool named)
{
    struct text *words = &face->words;
    char percent[PERCENT_ROOM];
    if (named) {
        view_suspect(words, face->review->dataset, suspect);
        text_printf(words, ", %s: ", view_percent(suspect->p, percent));
    }
    text_printf(words, "%zu of %zu lost, compared with %zu of %zu of the rest",
                suspect->inside.lost, suspect->inside.total, suspect->outside.lost,
                suspect->outside.total);
    if (suspect->controls.total == 1)
        text_printf(words, "; the one uninoculated control among them %s",
                    suspect->controls.lost > 0 ? "was lost too" : "was not");
    else if (suspect->controls.total > 1)
        text_printf(words, "; of the uninoculated controls among them %zu of %zu",
                    suspect->controls.lost, suspect->controls.total);
    text_puts(words, ".");
}

static void put_why(struct old_face *face, const struct review_suspect *suspect)
{
    static const char *const computed[FACTOR_KINDS] = {
        [FACTOR_LETHALITY] = "Its heat, computed from gauge pressure, minutes and altitude",
        [FACTOR_MOISTURE] = "Its moisture, computed from what was weighed",
        [FACTOR_TEMPERATURE] = "Its temperature",
    };
    const struct dataset *dataset = face->review->dataset;
    if (suspect->why_factor >= dataset->factor_count)
        return;
    const struct factor *why = &dataset->factors[suspect->why_factor];
    if (computed[why->kind] != NULL)
        text_printf(&face->words, "%s: %s.", computed[why->kind], why->levels[suspect->why_level]);
    put(face, UNDER);
}

/* What would tell which it was; the best one or two. */
static void add_trials(struct old_face *face, const struct review_culprit *culprit)
{
    enum { MOST = 2 };
    struct text *words = &face->words;
    if (culprit->trial_count == 0)
        return;
    text_puts(words, culprit->suspect_count > 1 ? "To tell them apart: " : "To be surer: ");
    for (size_t t = 0; t < culprit->trial_count && t < MOST; t++) {
        const struct review_trial *trial = &culprit->trials[t];
        if (trial->bits < culprit->trials[0].bits / 2.0)
            break;
        text_printf(words, "%s%s", t > 0 ? "; or " : "",
                    face->review->rules->observables[trial->observable].label);
        if (trial->delay_days > 0.0)
            text_printf(words, " (%.0f %s)", trial->delay_days,
                        trial->delay_days > 1.0 ? "days" : "day");
    }
    text_puts(words, ".");
}

static void put_causes(struct old_face *face, const struct review_culprit *culprit)
{
    enum { MOST = 3 };
    static const double worth_a_word = 0.05;
    char percent[PERCENT_ROOM];
    if (culprit->cause_count == 0)
        return;
    text_puts(&face->words, "Why: ");
    for (size_t c = 0; c < culprit->cause_count && c < MOST; c++) {
        if (c > 0 && culprit->causes[c].p < worth_a_word)
            break;
        text_printf(&face->words, "%s%s (%s)", c > 0 ? ", " : "",
                    face->review->rules->causes[culprit->causes[c].cause].name,
                    view_percent(culprit->causes[c].p, percent));
    }
    text_puts(&face->words, ".");
    put(face, UNDER);
}

/* Whether its suspects have the very same counts, one suspect included. */
static bool all_same(const struct review_culprit *culprit)
{
    const struct review_suspect *first = &culprit->suspects[0];
    for (size_t s = 1; s < culprit->suspect_count; s++)
        if (memcmp(&culprit->suspects[s].inside, &first->inside, sizeof first->inside) != 0 ||
            memcmp(&culprit->suspects[s].outside, &first->outside, sizeof first->outside) != 0)
            return false;
    return true;
}

/* Counts and the likeliest cause; of two names for one culprit the test that tells. */
static void put_culprit_briefly(struct old_face *face, size_t k)
{
    const struct review_culprit *culprit = &face->review->culprits[k];
    put_title(face, k);
    add_counts(face, &culprit->suspects[0], false);
    text_puts(&face->words, " ");
    if (culprit->suspect_count > 1)
        add_trials(face, culprit);
    else if (culprit->cause_count > 0)
        text_printf(&face->words, "%s.",
                    face->review->rules->causes[culprit->causes[0].cause].name);
    put(face, UNDER);
}

/* What to change for the likeliest cause, in order. */
static void put_change(struct old_face *face, const struct review_culprit *culprit)
{
    if (culprit->cause_count == 0)
        return;
    const struct cause *cause = &face->review->rules->causes[culprit->causes[0].cause];
    if (cause->change_count == 0)
        return;
    if (culprit->suspect_count > 1)
        text_puts(&face->words, "Test before you change anything: it may be the other one. ");
    text_printf(&face->words, "If it was this (%s):", cause->name);
    put(face, UNDER);
    tags(face, "<ul>\n");
    for (size_t i = 0; i < cause->change_count; i++)
        say(face, DEEP, cause->change[i]);
    tags(face, "</ul>\n");
}

static void put_all_culprits(struct old_face *face)
{
    const struct review *review = face->review;
    if (review->culprit_count == 0)
        return;
    if (review->culprit_count > 1)
        say(face, QUIET, "Each is counted without the vessels that the others explain.");
    tags(face, "<div class=\"charts\">\n");
    for (size_t k = 0; k < review->culprit_count; k++) {
        const struct review_culprit *culprit = &review->culprits[k];
        bool page = face->page != NULL, same = all_same(culprit),
             several = culprit->suspect_count > 1;

        tags(face, "<article>\n");
        put_title(face, k);
        if (several)
            say(face, CAUTION,
                "These always, or nearly always, went together: counting cannot tell them apart.");
        for (size_t s = 0; s < culprit->suspect_count; s++) {
            if (page || s == 0 || !same)
                add_counts(face, &culprit->suspects[s], page ? several : !same);
            put(face, UNDER);
            put_why(face, &culprit->suspects[s]);
        }
        put_causes(face, culprit);
        add_saved(&face->words, culprit);
        put(face, UNDER);
        add_trials(face, culprit);
        put(face, UNDER);
        put_change(face, culprit);
        tags(face, "</article>\n");
    }
    tags(face, "</div>\n");
}

/* ---- what cannot be told apart ----------------------------------------------------------------- */

static void put_aliases(struct old_face *face)
{
    enum { ON_A_PAGE = 20 };
    const struct review *review = face->review;
    if (review->alias_count > 0)
        screen_head(face, "What always went together");
    for (size_t a = 0; a < review->alias_count && (a < ON_A_PAGE || face->screen != NULL); a++) {
        const struct review_alias *alias = &review->aliases[a];
        text_printf(&face->words,
                    "%s and %s, in %zu of %zu vessels: the effect of one cannot be told from the "
                    "other's.",
                    view_factor(&review->dataset->factors[alias->first]),
                    view_factor(&review->dataset->factors[alias->second]), alias->together,
                    alias->of);
        put(face, BELOW);
    }
}

/* ---- the next batch ----------------------------------------------------------------------------- */

/* Grain is hydrated; it becomes a batch once it is inoculated. */
static const char *new_name(enum factor_kind kind)
{
    return kind == FACTOR_BATCH     ? "hydration"
           : kind == FACTOR_SESSION ? "inoculation session"
                                    : factor_kinds[kind].name;
}

/* The range of the numbers of new ones in a column over the arms, 0 being none. */
static void new_ones(const struct review_plan *plan, size_t column, unsigned *fewest,
                     unsigned *most)
{
    *fewest = *most = plan->arms[0].fresh[column];
    for (size_t a = 1; a < plan->arm_count; a++) {
        unsigned fresh = plan->arms[a].fresh[column];
        *fewest = fresh < *fewest ? fresh : *fewest;
        *most = fresh > *most ? fresh : *most;
    }
}

void view_arm(struct text *out, const struct review *review, const struct review_plan *plan,
              const struct review_arm *arm)
{
    const char *joint = "";
    text_printf(out, "%zu %s%s: ", arm->vessels, plural(arm->vessels, "vessel", "vessels"),
                arm->control ? " uninoculated" : "");
    for (size_t c = 0; c < plan->factor_count; c++) {
        enum factor_kind kind = review->dataset->factors[plan->factors[c]].kind;
        unsigned fewest, most, fresh = arm->fresh[c];
        new_ones(plan, c, &fewest, &most);
        /* Where every arm has the same new one it needs no words. */
        if ((arm->control && !factor_kinds[kind].control) ||
            (fresh == 0 && arm->levels[c] == LEVEL_NONE) ||
            (!plan->crossed && fewest == 1 && most == 1))
            continue;
        text_puts(out, joint);
        if (fresh == 0)
            view_level(out, review->dataset, plan->factors[c], arm->levels[c]);
        else if (most > 1)
            text_printf(out, "%s %u", new_name(kind), fresh);
        else
            text_printf(out, "a new %s", new_name(kind));
        joint = ", ";
    }
}

/* Whether some arm holds the suspect of that column. */
static bool tried(const struct review *review, const struct review_plan *plan, size_t column)
{
    const struct review_suspect *suspect = &review->culprits[plan->culprit].suspects[column];
    for (size_t a = 0; a < plan->arm_count; a++)
        if (plan->arms[a].fresh[column] == 0 && plan->arms[a].levels[column] == suspect->level)
            return true;
    return false;
}

void view_plan_reading(struct text *out, const struct review *review,
                       const struct review_plan *plan)
{
    const struct review_suspect *suspects = review->culprits[plan->culprit].suspects;
    char percent[PERCENT_ROOM];
    const char *joint = "If only the row with ";

    if (plan->crossed) {
        text_printf(out,
                    "What is over cannot be tried again, but this separates them: both rows of one "
                    "that fails "
                    "lose %zu or more of their %zu, the others do not.",
                    plan->fails_from, plan->each);
        return;
    }
    text_printf(out, "A row fails when it loses %zu or more of its %zu. ", plan->fails_from,
                plan->each);
    for (size_t c = 0; c < plan->factor_count; c++) {
        if (!tried(review, plan, c))
            continue;
        text_puts(out, joint);
        view_level(out, review->dataset, suspects[c].factor, suspects[c].level);
        text_puts(out, " fails, it was that");
        joint = "; if only the row with ";
    }
    joint = "; if none fails, it was ";
    for (size_t c = 0; c < plan->factor_count; c++) {
        if (tried(review, plan, c))
            continue;
        text_puts(out, joint);
        view_level(out, review->dataset, suspects[c].factor, suspects[c].level);
        joint = " or ";
    }
    text_printf(out, ". Chance of a wrong answer: %s.", view_percent(plan->error, percent));
}

static void put_plans(struct old_face *face)
{
    const struct review *review = face->review;
    for (size_t p = 0; p < review->plan_count; p++) {
        const struct review_plan *plan = &review->plans[p];
        tags(face, "<article>\n");
        if (face->screen != NULL && plan->crossed) {
            text_puts(&face->words, "Next time, to keep such things apart");
        } else {
            text_puts(&face->words, face->screen != NULL ? "Next batch, to tell " : "To tell ");
            view_suspects(&face->words, review, &review->culprits[plan->culprit], false);
            text_puts(&face->words, " apart");
        }
        put_heading(face);
        for (size_t c = 0; plan->crossed && c < plan->factor_count; c++) {
            const char *name = new_name(face->review->dataset->factors[plan->factors[c]].kind);
            text_printf(&face->words, "%s %s%s",
                        c == 0                       ? "Two"
                        : c + 1 < plan->factor_count ? ", two"
                                                     : " and two",
                        name, "s");
        }
        say(face, BELOW,
            plan->crossed
                ? ", crossed; all else the same:"
                : "The same cook, inoculation session, starter and place for all, except:");
        tags(face, "<ul>\n");
        for (size_t a = 0; a < plan->arm_count; a++) {
            view_arm(&face->words, review, plan, &plan->arms[a]);
            put(face, ITEM);
        }
        tags(face, "</ul>\n");
        view_plan_reading(&face->words, review, plan);
        put(face, BELOW);
        tags(face, "</article>\n");
    }
}

/* ---- where losses gather ------------------------------------------------------------------------ */

static void level_row(struct screen *screen, const char *name, const struct review_level *level,
                      size_t width)
{
    struct text line;
    char range[RANGE_ROOM];
    text_init(&line);
    text_fit(&line, name, width);
    size_t columns = utf8_width(line.bytes, line.length);
    text_printf(&line, "%*s%3zu of %3zu", columns < width ? (int)(width + 2 - columns) : 2, "",
                level->counts.lost, level->counts.total);
    if (level->counts.total > 0)
        text_printf(&line, "  %3.0f %%  (%s)",
                    100.0 * (double)level->counts.lost / (double)level->counts.total,
                    view_range(level->exact, range));
    if (level->controls.total > 0)
        text_printf(&line, "; uninoculated controls %zu of %zu", level->controls.lost,
                    level->controls.total);
    screen_preformatted(screen, 2, line.bytes);
    text_release(&line);
}

static void put_test(struct old_face *face, const struct review_factor *factor)
{
    struct text *words = &face->words;
    char p[MOMENT_ROOM], q[MOMENT_ROOM];
    struct counts all = {0, 0};

    for (size_t l = 0; l < factor->level_count; l++) {
        all.lost += factor->levels[l].counts.lost;
        all.total += factor->levels[l].counts.total;
    }
    text_printf(words, "Do loss rates differ? p %s for %zu of %zu lost", p_words(factor->test.p, p),
                all.lost, all.total);
    if (factor->test.method == TABLE_CHI_SQUARE)
        text_puts(words, " (chi-square)");
    else if (factor->test.method == TABLE_DRAWN)
        text_printf(words, " (from %zu random tables, standard error %.2g)", factor->test.tables,
                    factor->test.standard_error);
    text_printf(words, "; adjusted for all factors, %s.", p_words(factor->q, q));
    put(face, BELOW);
    if (factor->within >= face->review->dataset->factor_count)
        return;
    const char *other = view_factor(&face->review->dataset->factors[factor->within]);
    text_printf(words, "It is confounded with %s (Cramer's V %.2f)", other, factor->entangled);
    if (factor->within_strata == 0)
        text_printf(
            words,
            ": within one %s there is nothing to compare, so counting cannot separate the two.",
            other);
    else
        text_printf(words, ". Compared only within each %s: p %s, from %zu informative one%s.",
                    other, p_words(factor->within_p, p), factor->within_strata,
                    factor->within_strata == 1 ? "" : "s");
    put(face, BELOW);
}

/* Nothing of a factor of one level: put_shared tells it. */
static void put_factor(struct old_face *face, const struct review_factor *factor)
{
    if (factor->level_count < 2)
        return;
    tags(face, "<div class=\"whole\">\n");
    if (face->page != NULL)
        table_levels(face->page, face->review, factor);
    else {
        enum { SHOWN = 12, NARROWEST = 4, WIDEST = 24 };
        const struct factor *of = &face->review->dataset->factors[factor->factor];
        size_t shown = factor->level_count < SHOWN ? factor->level_count : SHOWN, width = NARROWEST;

        text_printf(&face->words, "By %s", view_factor(of));
        put_heading(face);
        for (size_t l = 0; l < shown; l++) {
            const char *name = of->levels[factor->levels[l].level];
            size_t columns = utf8_width(name, strlen(name));
            width = columns > width ? columns : width;
        }
        for (size_t l = 0; l < shown; l++)
            level_row(face->screen, of->levels[factor->levels[l].level], &factor->levels[l],
                      width < WIDEST ? width : WIDEST);
        if (shown < factor->level_count)
            text_printf(&face->words, "and %zu more that lost no larger share",
                        factor->level_count - shown);
        put(face, BELOW_QUIET);
    }
    if (factor->unknown > 0)
        text_printf(&face->words, "%zu %s not known%s", factor->unknown,
                    plural(factor->unknown, "is", "are"), face->page != NULL ? "." : "");
    put(face, BELOW_QUIET);
    if (!isnan(factor->q) && face->screen != NULL)
        put_test(face, factor);
    tags(face, "</div>\n");
}

static void put_shared(struct old_face *face)
{
    const struct review *review = face->review;
    const char *joint = "Only one recorded: ";
    for (size_t f = 0; f < review->dataset->factor_count; f++) {
        const struct factor *of = &review->dataset->factors[f];
        const struct review_factor *factor = &review->factors[f];
        if (factor->level_count != 1)
            continue;
        text_printf(&face->words, "%s%s (%s", joint, view_factor(of),
                    of->levels[factor->levels[0].level]);
        if (factor->unknown > 0)
            text_printf(&face->words, "; of %zu not known", factor->unknown);
        text_puts(&face->words, ")");
        joint = ", ";
    }
    if (face->words.length == 0)
        return;
    if (face->screen != NULL)
        screen_blank(face->screen);
    say(face, PLAIN, ". Without others nothing can be compared.");
}

static void put_near(struct old_face *face)
{
    const struct review *review = face->review;
    char p[MOMENT_ROOM];
    if (review->near_count == 0)
        return;
    text_puts(&face->words, "Not clear enough, but closest");
    put_heading(face);
    tags(face, "<ul>\n");
    for (size_t n = 0; n < review->near_count; n++) {
        const struct review_suspect *near = &review->near[n];
        view_level(&face->words, review->dataset, near->factor, near->level);
        text_printf(&face->words, ": %zu of %zu lost, %zu of %zu of the rest (p %s)",
                    near->inside.lost, near->inside.total, near->outside.lost, near->outside.total,
                    p_words(near->test_p, p));
        put(face, LINE);
    }
    tags(face, "</ul>\n");
}

/* Whether a factor stands before another on the page: by q, those never asked last, then as in the
 * table. */
static bool stands_before(const struct review_factor *factors, size_t a, size_t b)
{
    double first = isnan(factors[a].q) ? 2.0 : factors[a].q;
    double second = isnan(factors[b].q) ? 2.0 : factors[b].q;
    return first < second || (!(second < first) && a < b);
}

static bool has_chart(const struct review *review)
{
    return review->batch_count > 0 && !isnan(review->centre);
}

/* Batches are shown in order of time. */
static bool has_own_chart(const struct review *review, size_t factor)
{
    return factor == review->dataset->batch && has_chart(review);
}

/* The next factor to draw after `last` (factor_count: the first), or factor_count. */
static size_t next_factor(const struct review *review, size_t last)
{
    size_t count = review->dataset->factor_count, best = count;
    for (size_t f = 0; f < count; f++)
        if (review->factors[f].level_count > 1 && !has_own_chart(review, f) &&
            (last == count || stands_before(review->factors, last, f)) &&
            (best == count || stands_before(review->factors, f, best)))
            best = f;
    return best;
}

static void put_factors(struct old_face *face)
{
    enum { OPEN = 4, MOST = 12 };
    size_t count = face->review->dataset->factor_count, drawn = 0, compared = 0;

    for (size_t f = 0; f < count; f++)
        compared += face->review->factors[f].level_count > 1 && !has_own_chart(face->review, f);
    if (compared == 0)
        return;
    say(face, PLAIN,
        "The mark is the share lost, the line its range (exact, 95 %). The clearest difference "
        "comes "
        "first. All vessels are counted here, whatever else explains their loss.");
    tags(face, "<div class=\"charts\">\n");
    for (size_t f = next_factor(face->review, count); f < count && drawn < MOST;
         f = next_factor(face->review, f), drawn++) {
        tags(face, drawn == OPEN ? "</div>\n<details><summary>What differs less clearly"
                                   "</summary>\n<div class=\"charts\">\n"
                                 : "");
        put_factor(face, &face->review->factors[f]);
    }
    tags(face, drawn > OPEN ? "</div>\n</details>\n" : "</div>\n");
    if (drawn < compared)
        text_printf(&face->words, "And %zu more with less clear differences.", compared - drawn);
    put(face, QUIET);
    put_shared(face);
    put_near(face);
}

/* ---- time --------------------------------------------------------------------------------------- */

static void put_times(struct old_face *face)
{
    const struct review_time *time = &face->review->time;
    struct text *words = &face->words;
    char p[MOMENT_ROOM];

    if (time->cases == 0)
        return;
    screen_head(face, "How long they lasted");
    tags(face, "<div class=\"charts\">\n");
    if (face->page != NULL)
        svg_curves(face->page, face->review);
    tags(face, "<div>\n<ul>\n");
    for (size_t c = 0; c < time->curve_count; c++) {
        const struct survival_curve *curve = &time->curves[c].curve;
        if (curve->cases == 0)
            continue;
        if (face->page != NULL)
            text_printf(words, "%c: ", (char)('A' + (int)c));
        view_curve_name(words, face->review, &time->curves[c]);
        text_printf(words, ": %zu of %zu lost", curve->lost, curve->cases);
        if (isfinite(curve->median))
            text_printf(words, ", half of them by day %.0f.", curve->median);
        else
            text_puts(words, "; fewer than half were lost while being watched.");
        put(face, LINE);
    }
    tags(face, "</ul>\n");
    if (time->logrank.freedom > 0)
        text_printf(words, "Do survival times differ? p %s (log-rank), from %zu vessels.",
                    p_words(time->logrank.p, p), time->cases);
    put(face, BELOW);
    if (time->left_out > 0)
        text_printf(words, "%zu %s left out: dates missing or impossible.", time->left_out,
                    plural(time->left_out, "is", "are"));
    put(face, BELOW_QUIET);
    tags(face, "</div>\n</div>\n");
}

/* ---- batches ------------------------------------------------------------------------------------ */

static void put_batch_list(struct old_face *face)
{
    enum { SHOWN = 40 };
    const struct review *review = face->review;
    size_t from = review->batch_count > SHOWN ? review->batch_count - SHOWN : 0;
    bool marked = false;
    if (!has_chart(review))
        return;
    screen_head(face, "Batch by batch");
    if (from > 0)
        text_printf(&face->words, "The last %d of %zu:", SHOWN, review->batch_count);
    put(face, BELOW_QUIET);
    for (size_t b = from; b < review->batch_count; b++) {
        const struct review_batch *batch = &review->batches[b];
        marked = marked || batch->point.above;
        enum { LABEL = 12 };
        const struct dataset *dataset = face->review->dataset;
        const char *name = dataset->factors[dataset->batch].levels[batch->level];
        char day[MOMENT_ROOM];
        struct text safe, line;

        text_init(&safe);
        text_init(&line);
        text_fit(&safe, name, LABEL); /* and no wider on a screen */
        text_printf(&line, "%-10s  %s%*s %3zu of %3zu", day_write(batch->day, DAY_ISO, day),
                    safe.bytes, LABEL - (int)utf8_width(safe.bytes, safe.length), "",
                    batch->counts.lost, batch->counts.total);
        if (batch->point.above)
            text_printf(&line, "  too many: by chance fewer than %.0f", batch->point.from_above);
        else if (batch->point.below)
            text_printf(&line, "  unusually few: by chance more than %.0f",
                        batch->point.from_below);
        screen_preformatted(face->screen, 2, line.bytes);
        if (batch->cause_count > 0 && batch->causes[0].p > 0.5 && batch->point.above)
            screen_say(face->screen, 14, 0, ROLE_QUIET, "%s",
                       face->review->rules->causes[batch->causes[0].cause].name);
        text_release(&safe);
        text_release(&line);
    }
    if (marked)
        text_printf(
            &face->words,
            "Too many: of batches that lose %.0f %% on average, one in 740 loses this many by "
            "chance.",
            100.0 * review->centre);
    put(face, BELOW_QUIET);
}

static void put_watch(struct old_face *face)
{
    const struct review_watch *watch = &face->review->watch;
    struct text *words = &face->words;
    char day[MOMENT_ROOM];

    if (!watch->asked)
        return;
    screen_head(face, "Since when");
    tags(face, "<div class=\"whole\">\n");
    if (face->page != NULL)
        svg_sum(face->page, face->review);
    const struct review_drift *drift = &face->review->drift;
    if (drift->called)
        text_printf(words, "Losses %s over the whole season (%.0f %%). ",
                    drift->rises ? "rose" : "fell", 100.0 * drift->p);
    if (watch->episode_count == 0) {
        text_puts(words, "Losses were never above the usual rate for long.");
    } else {
        size_t ended = watch->episodes[watch->episode_count - 1].ended;
        text_printf(words, "Losses were above the usual %.0f %% from about %s on",
                    100.0 * watch->plan.usual, day_write(watch->since, DAY_WORDS, day));
        if (ended < watch->count)
            text_printf(
                words, ", and back to it with vessels started on %s",
                day_write(face->review->dataset->entered[watch->vessels[ended]], DAY_WORDS, day));
        text_printf(words, ". (CUSUM over %zu vessels; false alarm once in %.0f.)", watch->count,
                    watch->plan.run_usual);
    }
    put(face, BELOW);
    tags(face, "</div>\n");
}

static void put_batches(struct old_face *face)
{
    if (!has_chart(face->review) && !face->review->watch.asked)
        return;
    tags(face, "<div class=\"charts\">\n");
    if (has_chart(face->review))
        table_batches(face->page, face->review);
    put_watch(face);
    tags(face, "</div>\n");
}

static void put_vessels(struct old_face *face)
{
    if (face->review->batch_count > 0)
        table_vessels(face->page, face->review);
}

/* ---- how it is decided -------------------------------------------------------------------------- */

static void put_method(struct old_face *face)
{
    const struct review_rules *rules = &face->review->rules->review;
    if (face->review->totals.counts.total == 0)
        return;
    screen_head(face, "How this is decided");
    text_printf(
        &face->words,
        "%zu levels of %zu factors were compared with the rest, day by day of age and as far as "
        "batches differ by themselves. One is called a culprit when losses like these would come "
        "by chance in at most %.0f %% of journals, and they are at least %.0f times as likely with "
        "a rate of its own. Its vessels are then set aside and the rest is asked again. Two that "
        "weaken each other's evidence cannot be told apart.",
        face->review->suspects_asked, face->review->dataset->factor_count,
        100.0 * rules->false_alarm, rules->bayes_factor);
    put(face, BELOW);
    text_printf(
        &face->words,
        "A vessel counts for the days it has lived, in each place for the days it stood there; it "
        "is young until it has been watched for %.0f days. Uninoculated "
        "controls count for cook, hydration and grain only. Intervals of shares are exact, "
        "95 %%; those of vessels saved are 90 %%. This is statistics, not proof.",
        rules->watched);
    put(face, BELOW);
}

/* Of each suspect, how clear its loss is. */
static void put_evidence(struct old_face *face, const struct review_culprit *culprit)
{
    char p[MOMENT_ROOM], q[MOMENT_ROOM];
    for (size_t s = 0; s < culprit->suspect_count; s++) {
        const struct review_suspect *suspect = &culprit->suspects[s];
        view_suspect(&face->words, face->review->dataset, suspect);
        text_printf(
            &face->words,
            ": does it lose more than the rest? p %s for %zu of %zu compared with %zu of %zu; "
            "adjusted for all comparisons, %s.",
            p_words(suspect->test_p, p), suspect->inside.lost, suspect->inside.total,
            suspect->outside.lost, suspect->outside.total, p_words(suspect->q, q));
        put(face, BELOW);
    }
}

static void put_method_and_assumptions(struct old_face *face)
{
    static const char *const assumed[] = {
        "The records are right: a vessel recorded as lost was lost, and it came from the cook, "
        "starter, inoculation session and place named.",
        "Vessels that share all of these are lost independently of each other. Where one infects "
        "its neighbours, intervals are too narrow.",
        "What was not recorded (weather, a filter, a pair of hands) cannot be found, and may hide "
        "behind what was.",
        "Vessels saved: those lost there minus those that would have been lost at the rate of the "
        "rest.",
        "Exact intervals: Clopper and Pearson 1934. Tables: Fisher 1935, Freeman and Halton 1951. "
        "Many questions at once: Benjamini and Hochberg 1995. Times: Kaplan and Meier 1958, Mantel "
        "1966. Batches: Shewhart 1931 with exact limits. Since when: Page 1954, Reynolds and "
        "Stoumbos 1999.",
    };
    if (face->review->totals.counts.total == 0)
        return;
    tags(face, "<details><summary>Tests, rules and assumptions</summary>\n");
    put_method(face);
    for (size_t k = 0; k < face->review->culprit_count; k++)
        put_evidence(face, &face->review->culprits[k]);
    for (size_t f = 0; f < face->review->dataset->factor_count; f++)
        if (!isnan(face->review->factors[f].q)) {
            text_printf(&face->words, "By %s: ", view_factor(&face->review->dataset->factors[f]));
            put_test(face, &face->review->factors[f]);
        }
    put_aliases(face);
    tags(face, "<ul>\n");
    for (size_t i = 0; i < sizeof assumed / sizeof assumed[0]; i++)
        say(face, ITEM, assumed[i]);
    tags(face, "</ul>\n</details>\n");
}

void view_account(struct screen *screen, const struct triage *triage,
                  const struct review_account *account)
{
    struct old_face face = {.screen = screen};
    const struct judged judged = {triage_rules(triage), triage, NULL};
    text_init(&face.words);
    screen_say(screen, 0, 0, ROLE_QUIET, "Understood:");
    view_understood(screen, &judged, false);
    view_unclear(screen, &judged);
    screen_blank(screen);
    put_account(&face, judged.rules, account);
    text_release(&face.words);
}

/* ---- the screen --------------------------------------------------------------------------------- */

/* In brief it is meant to stay on a terminal of 24 lines. */
void view_review(struct screen *screen, const struct review *review, bool full)
{
    struct old_face face = {.review = review, .screen = screen};
    text_init(&face.words);
    put_short(&face);
    if (review->culprit_count > 0)
        screen_blank(screen);
    for (size_t k = 0; !full && k < review->culprit_count; k++)
        put_culprit_briefly(&face, k);
    if (full) {
        put_all_culprits(&face);
        put_plans(&face);
        put_near(&face);
        for (size_t f = 0; f < review->dataset->factor_count; f++)
            put_factor(&face, &review->factors[f]);
        put_shared(&face);
        put_aliases(&face);
        put_times(&face);
        put_batch_list(&face);
        put_watch(&face);
        put_method(&face);
    }
    text_release(&face.words);
}

/* ---- the page ----------------------------------------------------------------------------------- */

/* Colours are named once, for light and for dark; every pair of text and ground has a contrast of
 * at least 4.5 to 1 (Web Content Accessibility Guidelines 2.2, W3C 2023, criterion 1.4.3). */

#define LIGHT                                                                                      \
    "--page:#fbfaf5;--ink:#1f2421;--quiet:#56605a;--line:#c9ccc2;--band:#e3ebe4;--panel:#f1f0e7;"  \
    "--good:#1f6f54;--bad:#a3271b;--stuck:#7a5200;--call:#8a3d8f;--link:#1d5a86;"
#define DARK                                                                                       \
    "--page:#161a18;--ink:#e8e8df;--quiet:#a9b3ab;--line:#454d48;--band:#26332c;--panel:#1f2522;"  \
    "--good:#6fc7a2;--bad:#ff9a86;--stuck:#e0b04f;--call:#dba0e0;--link:#8cc3ea;"

static const char style[] =
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
    "a{color:var(--link)}"
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
    "svg .strong{font-weight:600}\n"
    "svg .quiet{fill:var(--quiet);font-size:12px}\n"
    ".rail{stroke:var(--line)}\n.tick{stroke:var(--quiet)}\n"
    ".mean{stroke:var(--quiet);stroke-dasharray:4 3}\n"
    ".fine{color:var(--good)}.bad{color:var(--bad);font-weight:600}.stuck{color:var(--call)}\n"
    ".marks{width:75%}.marks span{display:inline-block;width:1.1rem;text-align:center}\n"
    ".frame{border:1px solid var(--ink)}\n"
    ".since{stroke:var(--bad);stroke-width:2}\n"
    ".curve{fill:none;stroke-width:2.5}\n"
    ".c0{stroke:var(--bad)}\n.c1{stroke:var(--good);stroke-dasharray:7 4}\n"
    ".c2{stroke:var(--link);stroke-dasharray:2 3}\n"
    ".c3{stroke:var(--stuck);stroke-dasharray:9 3 2 3}\n"
    ".c4{stroke:var(--call);stroke-dasharray:4 2 1 2 1 2}\n"
    "details{margin:.4rem 0 0;max-width:46rem}\n"
    "summary{cursor:pointer;color:var(--link);padding:.3rem 0}\n"
    "table{border-collapse:collapse;width:100%;font-size:.9rem;overflow-wrap:normal}\n"
    "caption{text-align:left;font-weight:600;padding:.2rem 0}\n"
    "th,td{text-align:left;padding:.25rem .5rem .25rem 0;"
    "border-bottom:1px solid var(--line);font-weight:400}\n"
    "td:nth-child(3){white-space:nowrap}\n.called th{font-weight:600}\n"
    ".bar{position:relative;min-width:4rem;width:34%;padding:0}\n"
    ".bar+td{padding-left:.5rem}\n" /* the mark of all of them stands clear of the count */
    "td:last-child{min-width:6.8rem;width:20%}\n"
    ".bar i,.bar b{position:absolute;top:50%}\n"
    ".bar i{border-top:4px solid var(--quiet);margin-top:-2px}\n"
    ".bar b{border-left:4px solid var(--ink);height:.9rem;margin:-.45rem 0 0 -2px}\n"
    ".called .bar *{border-color:var(--call)}\n"
    "a:focus-visible,summary:focus-visible{outline:3px solid var(--link);outline-offset:2px}\n"
    "@page{margin:14mm}\n"
    "@media print{:root{" LIGHT "--page:#fff;color-scheme:light}\n"
    "html{font-size:9.5pt}\nnav,details:not([open]){display:none}\n"
    "header,main,footer{max-width:none;padding:0}\n"
    "section{margin-top:1rem;padding-top:.8rem}\n"
    "p,li{max-width:none;orphans:3;widows:3}\n"
    "figure,tr,.caution,.whole,p:has(+.charts){break-inside:avoid;page-break-inside:avoid}"
    "\n"
    "h2,h3,figcaption,p:has(+.charts){break-after:avoid;page-break-after:avoid}\n"
    ".charts{display:block;columns:2;column-gap:10mm}\n.charts>*{margin-bottom:6mm}\n"
    "figure{max-width:84mm}}\n";

/* In the order of the page; one that puts nothing is left out. */
static const struct section {
    const char *id, *heading;
    void (*put)(struct old_face *face);
} sections[] = {
    {"faults", "Likely causes, and what to change", put_all_culprits},
    {"next", "The next batch", put_plans},
    {"factors", "Where the losses are", put_factors},
    {"batches", "Batch by batch, and since when", put_batches},
    {"time", "How long they lasted", put_times},
    {"vessels", "Every vessel", put_vessels},
    {"method", "How this was computed, and what it assumes", put_method_and_assumptions},
};

void view_review_html(struct text *page, const struct review *review)
{
    struct text contents, bodies, body;
    struct old_face face = {.review = review, .page = page};
    char day[MOMENT_ROOM];

    text_init(&face.words);
    text_init(&contents);
    text_init(&bodies);
    text_init(&body);
    html_begin(page, "What was lost, and why: a review by Jarside", style);
    text_printf(page,
                "<header>\n<h1>What was lost, and why</h1>\n<p class=\"quiet\">As of %s</p>\n",
                day_write(review->dataset->today, DAY_WORDS, day));
    text_puts(page, "</header>\n<main>\n<section id=\"short\">\n<h2>In short</h2>\n");
    put_short(&face);
    text_puts(page,
              "<div class=\"caution\">\n<p>This is statistics, not proof, and rests on what was "
              "recorded. Do not open, shake or smell a suspect vessel to find out more; look from "
              "outside.</p>\n</div>\n</section>\n");
    face.page = &body;
    for (size_t s = 0; s < sizeof sections / sizeof sections[0]; s++) {
        text_clear(&body);
        sections[s].put(&face);
        if (body.length == 0)
            continue;
        text_printf(&contents, "<li><a href=\"#%s\">%s</a></li>\n", sections[s].id,
                    sections[s].heading);
        text_printf(&bodies, "<section id=\"%s\">\n<h2>%s</h2>\n", sections[s].id,
                    sections[s].heading);
        text_add(&bodies, body.bytes, body.length);
        text_puts(&bodies, "</section>\n");
    }
    if (contents.length > 0)
        text_printf(page, "<nav aria-label=\"On this page\">\n<ul>\n%s</ul>\n</nav>\n",
                    contents.bytes);
    text_add(page, bodies.bytes, bodies.length);
    text_puts(page, "</main>\n<footer>\n<p class=\"quiet\">Written by Jarside. What is folded away "
                    "prints when it is open.</p>\n</footer>\n");
    html_end(page);
    text_release(&face.words);
    text_release(&contents);
    text_release(&bodies);
    text_release(&body);
}
