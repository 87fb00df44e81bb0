/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/review.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "view/review_internal.h"
#include "view/screen.h"
#include "view/verdict.h"

/* ==== review words ============================================================================ */

/* ---- names ----------------------------------------------------------------------------------- */

static void put_level(struct text *out, const struct factor *of, const char *label)
{
    switch (of->kind) {
    case FACTOR_OTHER:
        text_printf(out, "%s: %s", of->name, label);
        break;
    case FACTOR_LETHALITY:
        text_printf(out, "cooks whose computed heat is %s", label);
        break;
    case FACTOR_MOISTURE:
        text_printf(out, "mixes whose computed moisture is %s", label);
        break;
    case FACTOR_DOSE:
        text_printf(out, "a dose of starter %s", label);
        break;
    case FACTOR_TEMPERATURE:
        text_printf(out, "places at %s", label);
        break;
    case FACTOR_PARENT:
        text_printf(out, "starters made from %s", label);
        break;
    case FACTOR_LINE:
        text_printf(out, "the line of starter %s", label);
        break;
    default:
        text_printf(out, "%s %s", of->name, label);
        break;
    }
}

void view_level(struct text *out, const struct dataset *dataset, size_t factor, uint32_t level)
{
    enum { MOST = 80 }; /* a sentence stays one, whatever stands in a table */
    const struct factor *of = &dataset->factors[factor];
    const char *name = level != LEVEL_NONE ? of->levels[level] : "not known";
    struct text label;
    text_init(&label);
    text_safe(&label, name, strlen(name), &(struct text_safe_options){.limit = MOST});
    put_level(out, of, label.bytes != NULL ? label.bytes : "");
    out->failed = out->failed || label.failed;
    text_release(&label);
}

void view_suspects(struct text *out, const struct review *review, const struct review_fault *fault,
                   bool p)
{
    char percent[PERCENT_ROOM];
    for (size_t s = 0; s < fault->suspect_count; s++) {
        const struct review_suspect *suspect = &fault->suspects[s];
        if (s > 0)
            text_puts(out, s + 1 < fault->suspect_count ? ", " : " or ");
        view_level(out, review->dataset, suspect->factor, suspect->level);
        if (p)
            text_printf(out, " (%s)", view_percent(suspect->p, percent));
    }
}

/* ---- days, figures --------------------------------------------------------------------------- */

const char *view_p(double p, char room[MOMENT_ROOM])
{
    static const double least = 0.0001;
    if (p < least)
        snprintf(room, MOMENT_ROOM, "p below 0.0001");
    else
        snprintf(room, MOMENT_ROOM, p < 0.01 ? "p %.4f" : "p %.2f", p);
    return room;
}

/* ---- limits ---------------------------------------------------------------------------------- */

const char *view_review_limit(const struct review *review, unsigned limit)
{
    switch (review->limits & limit) {
    case REVIEW_EMPTY:
        return "There are no vessels here, so there is nothing to conclude. Start a batch, or give "
               "a "
               "table with --csv.";
    case REVIEW_NOTHING_COUNTS:
        return "No vessel counts yet: all are too young, or nobody wrote down what became of them.";
    case REVIEW_NOTHING_LOST:
        return "Nothing was lost, so there is nothing to explain. That is no promise for the next "
               "batch.";
    case REVIEW_ALL_LOST:
        return "All of them were lost. Without one that did well nothing can be compared: neither "
               "cook nor starter nor place stands out, however bad it is. Next time change one "
               "thing for half of the vessels, and leave one of each cook without starter.";
    case REVIEW_NO_FACTOR:
        return "All vessels share everything that was written down, so nothing can be compared. "
               "Write down cook, starter, session, grain lot and place.";
    case REVIEW_ONE_BATCH:
        return "There is one batch only. Its cook, mix, session and starter went together, so "
               "they cannot be told apart by counting.";
    case REVIEW_NO_TIMES:
        return "No vessel has both its days, so nothing can be said about time.";
    case REVIEW_FEW:
        return "So few vessels count that only the grossest difference could show.";
    default:
        return NULL;
    }
}

/* ---- plans ----------------------------------------------------------------------------------- */

/* What one mixes is called a mix; it becomes a batch once it is inoculated. */
static const char *new_name(enum factor_kind kind)
{
    return kind == FACTOR_BATCH ? "mix" : factor_kind_name(kind);
}

static void put_new(struct text *out, enum factor_kind kind, unsigned which, bool only)
{
    if (only)
        text_printf(out, "a new %s", new_name(kind));
    else
        text_printf(out, "%s %u", new_name(kind), which);
}

/* Whether every arm has the same new one: then it needs no words. */
static bool all_new(const struct review_plan *plan, size_t column)
{
    if (plan->crossed)
        return false;
    for (size_t a = 0; a < plan->arm_count; a++)
        if (plan->arms[a].fresh[column] != 1)
            return false;
    return true;
}

static bool has_second(const struct review_plan *plan, size_t column)
{
    for (size_t a = 0; a < plan->arm_count; a++)
        if (plan->arms[a].fresh[column] > 1)
            return true;
    return false;
}

void view_plan_setting(struct text *out, const struct review *review,
                       const struct review_plan *plan)
{
    if (!plan->crossed) {
        text_puts(out, "One cook, one session, one starter and one place for all, but for this:");
        return;
    }
    for (size_t c = 0; c < plan->factor_count; c++) {
        const char *name = new_name(review->dataset->factors[plan->factors[c]].kind);
        text_printf(out, "%s %s%s",
                    c == 0                       ? "Two"
                    : c + 1 < plan->factor_count ? ", two"
                                                 : " and two",
                    name, name[0] == 'm' ? "es" : "s");
    }
    text_puts(out, ", crossed; all else the same:");
}

void view_arm(struct text *out, const struct review *review, const struct review_plan *plan,
              const struct review_arm *arm)
{
    const struct dataset *dataset = review->dataset;
    const char *joint = "";
    text_printf(out, "%zu %s", arm->vessels, arm->vessels == 1 ? "vessel" : "vessels");
    text_puts(out, arm->control ? " without starter: " : ": ");
    for (size_t c = 0; c < plan->factor_count; c++) {
        size_t factor = plan->factors[c];
        enum factor_kind kind = dataset->factors[factor].kind;
        bool open = arm->fresh[c] == 0 && arm->levels[c] == LEVEL_NONE;
        if ((arm->control && !factor_kind_control(kind)) || open || all_new(plan, c))
            continue;
        text_puts(out, joint);
        if (arm->fresh[c] == 0)
            view_level(out, dataset, factor, arm->levels[c]);
        else
            put_new(out, kind, arm->fresh[c], !has_second(plan, c));
        joint = ", ";
    }
}

/* Whether some arm holds the suspect of that column, with starter. */
static bool tried(const struct review *review, const struct review_plan *plan, size_t column)
{
    const struct review_fault *fault = &review->faults[plan->fault];
    for (size_t a = 0; a < plan->arm_count; a++)
        if (plan->arms[a].fresh[column] == 0 &&
            plan->arms[a].levels[column] == fault->suspects[column].level)
            return true;
    return false;
}

void view_plan_reading(struct text *out, const struct review *review,
                       const struct review_plan *plan)
{
    const struct review_fault *fault = &review->faults[plan->fault];
    char percent[PERCENT_ROOM];
    const char *joint = "";

    if (plan->crossed) {
        text_printf(
            out,
            "What is over cannot be tried again, but so they go apart: both rows of one that "
            "fails lose %zu or more of their %zu, the others do not.",
            plan->fails_from, plan->each);
        return;
    }
    text_printf(out, "A row fails when it loses %zu or more of its %zu. ", plan->fails_from,
                plan->each);
    for (size_t c = 0; c < plan->factor_count; c++) {
        if (!tried(review, plan, c))
            continue;
        text_puts(out, joint);
        text_puts(out, joint[0] == '\0' ? "If only the row with " : "if only the row with ");
        view_level(out, review->dataset, fault->suspects[c].factor, fault->suspects[c].level);
        text_puts(out, " fails, it was that");
        joint = "; ";
    }
    joint = "; if none fails, it was ";
    for (size_t c = 0; c < plan->factor_count; c++) {
        if (tried(review, plan, c))
            continue;
        text_puts(out, joint);
        view_level(out, review->dataset, fault->suspects[c].factor, fault->suspects[c].level);
        joint = " or ";
    }
    text_printf(out, ". Chance of a wrong answer: %s.", view_percent(plan->error, percent));
}

/* ==== review sentences ======================================================================== */

/* The sentences of a review that a grower needs, for the screen and the page alike. */

/* ---- what was lost --------------------------------------------------------------------------- */

static void put_days(struct text *out, const struct review_totals *totals)
{
    char first[MOMENT_ROOM], last[MOMENT_ROOM];
    if (totals->first == DAY_NONE)
        return;
    if (totals->first == totals->last)
        text_printf(out, ", begun on %s", day_write(totals->first, DAY_WORDS, first));
    else
        text_printf(out, ", begun from %s to %s", day_write(totals->first, DAY_WORDS, first),
                    day_write(totals->last, DAY_WORDS, last));
}

void review_lost_words(struct text *words, const struct review *review)
{
    const struct review_totals *totals = &review->totals;
    struct counts counts = totals->counts;
    size_t open = totals->young, unrecorded = totals->unrecorded;

    if ((review->limits & REVIEW_EMPTY) != 0)
        return;
    if (counts.total > 0)
        text_printf(words, "You lost %zu of %zu %s (%.0f %%)", counts.lost, counts.total,
                    counts.total == 1 ? "vessel" : "vessels",
                    100.0 * (double)counts.lost / (double)counts.total);
    else
        text_printf(words, "No vessel of %zu counts yet", totals->vessels);
    if (totals->batches > 0)
        text_printf(words, " in %zu %s", totals->batches,
                    totals->batches == 1 ? "batch" : "batches");
    put_days(words, totals);
    text_puts(words, ".");
    if (open > 0)
        text_printf(words, " %zu %s too young to count.", open, open == 1 ? "is" : "are");
    if (unrecorded > 0)
        text_printf(words, " Of %zu more nobody wrote down what became of %s.", unrecorded,
                    unrecorded == 1 ? "it" : "them");
}

/* ---- what did it ----------------------------------------------------------------------------- */

static void put_culprit(struct text *out, const struct review *review,
                        const struct review_fault *fault)
{
    if (fault->suspect_count > 1)
        text_puts(out, "either ");
    view_suspects(out, review, fault, false);
}

static bool any_either(const struct review *review)
{
    for (size_t k = 0; k < review->fault_count; k++)
        if (review->faults[k].suspect_count > 1)
            return true;
    return false;
}

/* Those that are equally sure are told together: "almost certainly A, B and C; likely D". */
static void put_culprits(struct text *out, const struct review *review)
{
    const struct review_fault *faults = review->faults;
    for (size_t k = 0, end; k < review->fault_count; k = end) {
        const char *sure = view_spoken(review->rules, faults[k].p);
        end = k + 1;
        while (end < review->fault_count &&
               strcmp(view_spoken(review->rules, faults[end].p), sure) == 0)
            end++;
        text_printf(out, "%s%s%s", k > 0 ? "; " : " ", sure, sure[0] != '\0' ? " " : "");
        for (size_t i = k; i < end; i++) {
            text_puts(out, i == k ? "" : i + 1 < end ? ", " : " and ");
            put_culprit(out, review, &faults[i]);
        }
    }
}

void review_culprits_words(struct text *words, const struct review *review)
{
    bool compared = review->totals.counts.lost > 0 &&
                    (review->limits & (REVIEW_ALL_LOST | REVIEW_NO_FACTOR)) == 0;
    if (!compared)
        return;
    if (review->fault_count == 0) {
        text_puts(words, "No cook, starter, session, place or lot stands out: what was lost is "
                         "spread as chance spreads it, as far as so many vessels can tell.");
    } else {
        text_puts(words, "What did it:");
        put_culprits(words, review);
        text_puts(words, ".");
        if (any_either(review))
            text_puts(words, " Where it says either, these numbers cannot tell which.");
    }
}

/* ---- what to change -------------------------------------------------------------------------- */

void review_saved_words(struct text *words, const struct review_fault *fault)
{
    /* Vessels are whole. */
    double low = floor(fault->saved_low + 0.5), high = floor(fault->saved_high + 0.5);
    double mean = floor(fault->saved + 0.5);
    text_puts(words, fault->suspect_count > 1 ? "Without whichever it was, " : "Without it ");
    if (high <= low)
        text_printf(words, "about %.0f", mean);
    else
        text_printf(words, "about %.0f vessels (%.0f to %.0f)", mean, low, high);
    text_puts(words, " would not have been lost.");
}

static const char *change_of(const struct review *review, const struct review_change *change)
{
    if (change->cause == RULES_NONE)
        return NULL;
    const struct cause *cause = &review->rules->causes[change->cause];
    return cause->change_count > 0 ? cause->change[0] : NULL;
}

/* What is known can be changed at once; what cannot be told apart needs a test first. */
static const struct review_change *first_change(const struct review *review)
{
    for (size_t c = 0; c < review->change_count; c++)
        if (review->faults[review->changes[c].fault].suspect_count == 1)
            return &review->changes[c];
    return review->change_count > 0 ? &review->changes[0] : NULL;
}

void review_change_words(struct text *words, const struct review *review)
{
    const struct review_change *change = first_change(review);
    if (change == NULL)
        return;
    const struct review_fault *fault = &review->faults[change->fault];
    bool known = fault->suspect_count == 1;
    const char *how = known ? change_of(review, change) : NULL;
    text_puts(words, known ? "Change first: " : "First find out whether it was ");
    view_suspects(words, review, fault, false);
    if (!known && fault->trial_count > 0)
        text_printf(words, "; best by this test: %s",
                    review->rules->observables[fault->trials[0].observable].label);
    text_puts(words, ". ");
    review_saved_words(words, fault);
    if (how != NULL)
        text_printf(words, " %s", how);
}

/* ---- one fault ------------------------------------------------------------------------------- */

void review_counts_words(struct text *words, const struct review *review,
                         const struct review_suspect *suspect, bool named)
{
    char percent[PERCENT_ROOM];
    if (named) {
        view_level(words, review->dataset, suspect->factor, suspect->level);
        text_printf(words, ", %s: ", view_percent(suspect->p, percent));
    }
    text_printf(words, "%zu of %zu lost, against %zu of %zu of the rest", suspect->inside.lost,
                suspect->inside.total, suspect->outside.lost, suspect->outside.total);
    if (suspect->controls.total == 1)
        text_printf(words, "; the one among them without starter %s",
                    suspect->controls.lost > 0 ? "was lost too" : "was not");
    else if (suspect->controls.total > 1)
        text_printf(words, "; of those among them without starter %zu of %zu",
                    suspect->controls.lost, suspect->controls.total);
    text_puts(words, ".");
}

void review_why_words(struct text *words, const struct review *review,
                      const struct review_suspect *suspect)
{
    const struct dataset *dataset = review->dataset;
    if (suspect->why_factor >= dataset->factor_count)
        return;
    const struct factor *why = &dataset->factors[suspect->why_factor];
    if (why->kind != FACTOR_LETHALITY && why->kind != FACTOR_TEMPERATURE &&
        why->kind != FACTOR_MOISTURE)
        return;
    text_printf(words, "%s: %s.",
                why->kind == FACTOR_LETHALITY
                    ? "Its heat, computed from gauge, minutes and altitude"
                : why->kind == FACTOR_MOISTURE ? "Its moisture, computed from what was weighed"
                                               : "Its temperature",
                why->levels[suspect->why_level]);
}

void review_causes_words(struct text *words, const struct review *review,
                         const struct review_fault *fault)
{
    enum { MOST = 3 };
    static const double worth_a_word = 0.05;
    char percent[PERCENT_ROOM];
    if (fault->cause_count == 0)
        return;
    text_puts(words, "Why: ");
    for (size_t c = 0; c < fault->cause_count && c < MOST; c++) {
        if (c > 0 && fault->causes[c].p < worth_a_word)
            break;
        text_printf(words, "%s%s (%s)", c > 0 ? ", " : "",
                    review->rules->causes[fault->causes[c].cause].name,
                    view_percent(fault->causes[c].p, percent));
    }
    text_puts(words, ".");
}

void review_trials_words(struct text *words, const struct review *review,
                         const struct review_fault *fault)
{
    enum { MOST = 2 };
    if (fault->trial_count == 0)
        return;
    text_puts(words, fault->suspect_count > 1 ? "To tell them apart: " : "To be surer: ");
    for (size_t t = 0; t < fault->trial_count && t < MOST; t++) {
        const struct review_trial *trial = &fault->trials[t];
        if (trial->bits < fault->trials[0].bits / 2.0)
            break;
        const struct observable *test = &review->rules->observables[trial->observable];
        text_printf(words, "%s%s", t > 0 ? "; or " : "", test->label);
        if (trial->delay_days > 0.0)
            text_printf(words, " (%.0f %s)", trial->delay_days,
                        trial->delay_days > 1.0 ? "days" : "day");
    }
    text_puts(words, ".");
}

/* ==== review facts ============================================================================ */

/* What stands beside the figures of a review, for the screen and the page alike. */

/* ---- factors --------------------------------------------------------------------------------- */

void review_test_words(struct text *words, const struct review_factor *factor)
{
    char p[MOMENT_ROOM], q[MOMENT_ROOM];
    size_t lost = 0, total = 0;
    for (size_t l = 0; l < factor->level_count; l++) {
        lost += factor->levels[l].counts.lost;
        total += factor->levels[l].counts.total;
    }
    text_printf(words, "Do they lose alike? %s for %zu of %zu lost", view_p(factor->test.p, p),
                lost, total);
    if (factor->approximate)
        text_puts(words, " (chi-square)");
    else if (!factor->test.exact)
        text_printf(words, " (from %zu tables drawn, give or take %.2g)", factor->test.tables,
                    factor->test.standard_error);
    view_p(factor->q, q);
    text_printf(words, "; among all factors asked, %s.", q + 2); /* without its "p " */
}

void review_within_words(struct text *words, const struct review *review,
                         const struct review_factor *factor)
{
    const struct dataset *dataset = review->dataset;
    char p[MOMENT_ROOM];
    if (factor->within >= dataset->factor_count)
        return;
    const char *other = dataset->factors[factor->within].name;
    if (factor->within_strata == 0)
        text_printf(words,
                    "It is entangled with %s (%.2f of 1): within one %s there is nothing to "
                    "compare, so counting cannot part the two.",
                    other, factor->entangled, other);
    else
        text_printf(words,
                    "It is entangled with %s (%.2f of 1). Compared only within each %s: %s, from "
                    "%zu of them that can tell.",
                    other, factor->entangled, other, view_p(factor->within_p, p),
                    factor->within_strata);
}

/* Factors of one level: there is nothing to compare. */
void review_shared_words(struct text *words, const struct review *review)
{
    const char *joint = "The same for all of them: ";
    for (size_t f = 0; f < review->dataset->factor_count; f++) {
        const struct review_factor *factor = &review->factors[f];
        if (factor->level_count != 1)
            continue;
        text_printf(words, "%s%s (%s)", joint, review->dataset->factors[f].name,
                    review->dataset->factors[f].levels[factor->levels[0].level]);
        joint = ", ";
    }
    if (words->length > 0)
        text_puts(words, ". Nothing can be said of these.");
}

void review_alias_words(struct text *words, const struct review *review,
                        const struct review_alias *alias)
{
    text_printf(words,
                "%s and %s, in %zu of %zu vessels: whatever one of them does, the other seems "
                "to do.",
                review->dataset->factors[alias->first].name,
                review->dataset->factors[alias->second].name, alias->together, alias->of);
}

void review_near_words(struct text *words, const struct review *review,
                       const struct review_suspect *near)
{
    char p[MOMENT_ROOM];
    view_level(words, review->dataset, near->factor, near->level);
    text_printf(words, ": %zu of %zu lost, %zu of %zu of the rest (%s)", near->inside.lost,
                near->inside.total, near->outside.lost, near->outside.total,
                view_p(near->test_p, p));
}

/* ---- time ------------------------------------------------------------------------------------ */

void review_curve_name(struct text *words, const struct review *review,
                       const struct review_curve *curve)
{
    const struct review_time *time = &review->time;
    if (time->factor >= review->dataset->factor_count)
        text_puts(words, "All vessels");
    else if (curve->level == LEVEL_NONE)
        text_puts(words, "All others");
    else
        view_level(words, review->dataset, time->factor, curve->level);
}

void review_curve_words(struct text *words, const struct review *review,
                        const struct review_curve *curve)
{
    const struct survival_curve *drawn = &curve->curve;
    review_curve_name(words, review, curve);
    text_printf(words, ": %zu of %zu lost", drawn->lost, drawn->cases);
    if (isfinite(drawn->median))
        text_printf(words, ", half of them by day %.0f", drawn->median);
    else
        text_puts(words, "; fewer than half were lost while they were watched");
    text_puts(words, ".");
}

void review_logrank_words(struct text *words, const struct review *review)
{
    char p[MOMENT_ROOM];
    text_printf(words, "Do they last alike? %s (log-rank), from %zu vessels.",
                view_p(review->time.logrank.p, p), review->time.cases);
}

void review_watch_words(struct text *words, const struct review *review)
{
    const struct review_watch *watch = &review->watch;
    char since[MOMENT_ROOM];
    if (watch->episode_count == 0) {
        text_puts(words, "At no time did losses run above the usual for long.");
    } else {
        const struct monitor_episode *last = &watch->episodes[watch->episode_count - 1];
        text_printf(words, "Losses ran above the usual %.0f %% from about %s on",
                    100.0 * watch->plan.usual, day_write(watch->since, DAY_WORDS, since));
        if (last->ended < watch->count)
            text_printf(
                words, ", and were back to it with vessels begun on %s",
                day_write(review->dataset->entered[watch->vessels[last->ended]], DAY_WORDS, since));
        text_printf(words,
                    ". (A running sum over %zu vessels; by chance it would signal once in %.0f.)",
                    watch->count, watch->plan.run_usual);
    }
}

/* ---- method ---------------------------------------------------------------------------------- */

void review_rule_words(struct text *words, const struct review *review)
{
    const struct review_rules *rules = &review->rules->review;
    text_printf(
        words,
        "%zu levels of %zu factors were compared with the rest. One is called a fault when "
        "it loses more by an exact test, counted for all that were asked (false discovery "
        "rate at most %.0f %%), and its losses are at least %.0f times likelier with a rate "
        "of its own. Its vessels are then set aside and the rest is asked again. Two that "
        "take each other's support away cannot be told apart.",
        review->suspects_asked, review->dataset->factor_count, 100.0 * rules->false_alarm,
        rules->bayes_factor);
}

void review_counting_words(struct text *words, const struct review *review)
{
    const struct review_rules *rules = &review->rules->review;
    text_printf(words,
                "A vessel counts once it is lost or used, or has been sound for %.0f days. Vessels "
                "without starter count for cook, mix and grain only. Ranges of shares are exact, "
                "95 %%; those of vessels saved 90 %%. All of it is likelihood, none of it proof.",
                rules->watched);
}

/* ==== review details ========================================================================== */

/* A review in full: every factor, what went together, times, batches, and how it decides. */

/* ---- factors --------------------------------------------------------------------------------- */

static void level_row(struct screen *screen, const struct review *review, size_t factor,
                      const struct review_level *level, size_t width)
{
    struct text rest;
    text_init(&rest);
    text_printf(&rest, "%3zu of %3zu", level->counts.lost, level->counts.total);
    if (level->counts.total > 0)
        text_printf(&rest, "  %3.0f %%  (%.0f to %.0f %%)",
                    100.0 * (double)level->counts.lost / (double)level->counts.total,
                    100.0 * level->exact.low, 100.0 * level->exact.high);
    if (level->controls.total > 0)
        text_printf(&rest, "; without starter %zu of %zu", level->controls.lost,
                    level->controls.total);
    /* Padded by hand: the figures keep their columns. */
    struct text line, label;
    text_init(&line);
    text_init(&label);
    const char *name = review->dataset->factors[factor].levels[level->level];
    bool wide = utf8_width(name, strlen(name)) > width;
    text_safe(&label, name, strlen(name),
              &(struct text_safe_options){.limit = wide ? width - 1 : 0});
    size_t columns = label.bytes != NULL ? utf8_width(label.bytes, label.length) : 0;
    text_printf(&line, "%s%*s%s", label.bytes != NULL ? label.bytes : "",
                columns < width ? (int)(width + 2 - columns) : 2, "",
                rest.bytes != NULL ? rest.bytes : "");
    screen_preformatted(screen, 2, line.bytes != NULL ? line.bytes : "");
    text_release(&line);
    text_release(&label);
    text_release(&rest);
}

static size_t label_width(const struct review *review, const struct review_factor *factor,
                          size_t shown)
{
    enum { WIDEST = 18 };
    size_t width = 4;
    for (size_t l = 0; l < shown; l++) {
        const char *name = review->dataset->factors[factor->factor].levels[factor->levels[l].level];
        size_t columns = utf8_width(name, strlen(name));
        width = columns > width ? columns : width;
    }
    return width < WIDEST ? width : WIDEST;
}

static void say_factor(struct screen *screen, const struct review *review,
                       const struct review_factor *factor, struct text *words)
{
    enum { SHOWN = 12 };
    size_t shown = factor->level_count < SHOWN ? factor->level_count : SHOWN;
    const struct factor *of = &review->dataset->factors[factor->factor];
    if (factor->level_count < 2)
        return; /* told by say_shared */
    text_printf(words, "By %s", of->name);
    screen_heading(screen, words->bytes != NULL ? words->bytes : "");
    text_clear(words);
    size_t width = label_width(review, factor, shown);
    for (size_t l = 0; l < shown; l++)
        level_row(screen, review, factor->factor, &factor->levels[l], width);
    if (shown < factor->level_count)
        screen_say(screen, 2, 0, ROLE_QUIET, "and %zu more that lost no larger share",
                   factor->level_count - shown);
    if (factor->unknown > 0)
        screen_say(screen, 2, 0, ROLE_QUIET, "%zu %s not known", factor->unknown,
                   factor->unknown == 1 ? "is" : "are");
    if (!isnan(factor->q)) {
        review_test_words(words, factor);
        review_say(screen, 2, 0, ROLE_PLAIN, words);
        review_within_words(words, review, factor);
        if (words->length > 0)
            review_say(screen, 2, 0, ROLE_PLAIN, words);
    }
}

static void say_shared(struct screen *screen, const struct review *review, struct text *words)
{
    review_shared_words(words, review);
    if (words->length == 0)
        return;
    screen_blank(screen);
    review_say(screen, 0, 0, ROLE_PLAIN, words);
}

static void say_aliases(struct screen *screen, const struct review *review, struct text *words)
{
    if (review->alias_count == 0)
        return;
    screen_heading(screen, "What always went together");
    for (size_t a = 0; a < review->alias_count; a++) {
        const struct review_alias *alias = &review->aliases[a];
        review_alias_words(words, review, alias);
        review_say(screen, 2, 0, ROLE_PLAIN, words);
    }
}

/* ---- time ------------------------------------------------------------------------------------ */

static void say_time(struct screen *screen, const struct review *review, struct text *words)
{
    const struct review_time *time = &review->time;
    if (time->cases == 0)
        return;
    screen_heading(screen, "How long they lasted");
    for (size_t c = 0; c < time->curve_count; c++)
        if (time->curves[c].curve.cases > 0) {
            review_curve_words(words, review, &time->curves[c]);
            review_say(screen, 2, 0, ROLE_PLAIN, words);
        }
    if (time->logrank.freedom > 0) {
        review_logrank_words(words, review);
        review_say(screen, 2, 0, ROLE_PLAIN, words);
    }
    if (time->left_out > 0)
        screen_say(screen, 2, 0, ROLE_QUIET, "%zu %s left out: no days, or impossible ones.",
                   time->left_out, time->left_out == 1 ? "is" : "are");
}

/* ---- batches --------------------------------------------------------------------------------- */

static void batch_row(struct screen *screen, const struct review *review,
                      const struct review_batch *batch)
{
    const struct dataset *dataset = review->dataset;
    char day[MOMENT_ROOM], label[64];
    struct text line, safe;
    const char *name = dataset->factors[dataset->batch].levels[batch->level];
    text_init(&line);
    text_init(&safe);
    text_safe(&safe, name, strlen(name), &(struct text_safe_options){.limit = 12});
    snprintf(label, sizeof label, "%s", safe.bytes != NULL ? safe.bytes : "");
    text_printf(&line, "%-10s  %-12s %3zu of %3zu", day_write(batch->day, DAY_ISO, day), label,
                batch->counts.lost, batch->counts.total);
    if (batch->point.above)
        text_printf(&line, "  too many: chance gives fewer than %.0f", batch->point.from_above);
    else if (batch->point.below)
        text_printf(&line, "  unusually few: chance gives more than %.0f", batch->point.from_below);
    if (batch->cause_count > 0 && batch->causes[0].p > 0.5 && batch->point.above)
        text_printf(&line, "; %s", review->rules->causes[batch->causes[0].cause].name);
    screen_preformatted(screen, 2, line.bytes != NULL ? line.bytes : "");
    text_release(&safe);
    text_release(&line);
}

static void say_batches(struct screen *screen, const struct review *review, struct text *words)
{
    enum { SHOWN = 40 };
    if (review->batch_count == 0 || isnan(review->centre))
        return;
    screen_heading(screen, "Batch by batch");
    size_t from = review->batch_count > SHOWN ? review->batch_count - SHOWN : 0;
    if (from > 0)
        screen_say(screen, 2, 0, ROLE_QUIET, "The last %d of %zu:", SHOWN, review->batch_count);
    for (size_t b = from; b < review->batch_count; b++)
        batch_row(screen, review, &review->batches[b]);
    text_printf(words,
                "Too many: of batches that lose %.0f %% on average, one in 740 loses so many "
                "by chance.",
                100.0 * review->centre);
    review_say(screen, 2, 0, ROLE_QUIET, words);
}

static void say_watch(struct screen *screen, const struct review *review, struct text *words)
{
    if (!review->watch.asked)
        return;
    screen_heading(screen, "Since when");
    review_watch_words(words, review);
    review_say(screen, 2, 0, ROLE_PLAIN, words);
}

/* ---- tests, near misses, method -------------------------------------------------------------- */

static bool is_one(double number)
{
    return fabs(number - 1.0) < 0.5;
}

static void say_trials(struct screen *screen, const struct review *review, struct text *words)
{
    enum { MOST = 4 };
    bool headed = false;
    for (size_t k = 0; k < review->fault_count; k++) {
        const struct review_fault *fault = &review->faults[k];
        if (fault->trial_count == 0)
            continue;
        if (!headed)
            screen_heading(screen, "What would settle it, best for its cost first");
        headed = true;
        view_suspects(words, review, fault, false);
        text_puts(words, ":");
        review_say(screen, 2, 0, ROLE_PLAIN, words);
        for (size_t t = 0; t < fault->trial_count && t < MOST; t++) {
            const struct observable *test =
                &review->rules->observables[fault->trials[t].observable];
            text_printf(words, "%s: %.2f bits, %.0f %s, cost %.1f.", test->label,
                        fault->trials[t].bits, fault->trials[t].delay_days,
                        is_one(fault->trials[t].delay_days) ? "day" : "days",
                        fault->trials[t].cost);
            if (test->look != NULL)
                text_printf(words, " %s", test->look);
            screen_item(screen, 4, "-", ROLE_PLAIN, words->bytes != NULL ? words->bytes : "");
            text_clear(words);
        }
    }
}

static void say_near(struct screen *screen, const struct review *review, struct text *words)
{
    if (review->near_count == 0)
        return;
    screen_heading(screen, "Not enough to be called, but nearest to it");
    for (size_t n = 0; n < review->near_count; n++) {
        const struct review_suspect *near = &review->near[n];
        review_near_words(words, review, near);
        review_say(screen, 2, 0, ROLE_PLAIN, words);
    }
}

static void say_method(struct screen *screen, const struct review *review, struct text *words)
{
    screen_heading(screen, "How this is decided");
    review_rule_words(words, review);
    review_say(screen, 2, 0, ROLE_PLAIN, words);
    review_counting_words(words, review);
    review_say(screen, 2, 0, ROLE_PLAIN, words);
}

void view_review_details(struct screen *screen, const struct review *review)
{
    struct text words;
    text_init(&words);
    say_trials(screen, review, &words);
    say_near(screen, review, &words);
    for (size_t f = 0; f < review->dataset->factor_count; f++)
        say_factor(screen, review, &review->factors[f], &words);
    say_shared(screen, review, &words);
    say_aliases(screen, review, &words);
    say_time(screen, review, &words);
    say_batches(screen, review, &words);
    say_watch(screen, review, &words);
    if (review->totals.counts.total > 0)
        say_method(screen, review, &words);
    text_release(&words);
}

/* ==== review text ============================================================================= */

/*
 * A review on a screen: the few sentences a grower needs, then each fault. In brief it is meant to
 * stay on a terminal of 24 lines.
 */

void review_say(struct screen *screen, size_t indent, size_t hang, enum role role,
                struct text *text)
{
    screen_say(screen, indent, hang, role, "%s", text->bytes != NULL ? text->bytes : "");
    text_clear(text);
}

/* Says nothing when there is nothing to say. */
static void say_at(struct screen *screen, size_t indent, enum role role, struct text *words)
{
    if (words->length > 0)
        review_say(screen, indent, 0, role, words);
}

/* ---- one fault ------------------------------------------------------------------------------- */

static void say_name(struct screen *screen, const struct review *review, size_t k,
                     struct text *words)
{
    const struct review_fault *fault = &review->faults[k];
    char lead[24], percent[PERCENT_ROOM];
    snprintf(lead, sizeof lead, "%2zu.", k + 1);
    if (fault->suspect_count > 1)
        text_puts(words, "Either ");
    view_suspects(words, review, fault, false);
    text_printf(words, ": %s (%s)", view_spoken(review->rules, fault->p),
                view_percent(fault->p, percent));
    screen_item(screen, 1, lead, ROLE_STRONG, words->bytes != NULL ? words->bytes : "");
    text_clear(words);
}

/* Whether its suspects have the very same counts, one suspect included. */
static bool all_alike(const struct review_fault *fault)
{
    const struct review_suspect *first = &fault->suspects[0];
    for (size_t s = 1; s < fault->suspect_count; s++)
        if (memcmp(&fault->suspects[s].inside, &first->inside, sizeof first->inside) != 0 ||
            memcmp(&fault->suspects[s].outside, &first->outside, sizeof first->outside) != 0)
            return false;
    return true;
}

static void say_fault(struct screen *screen, const struct review *review, size_t k,
                      struct text *words)
{
    const struct review_fault *fault = &review->faults[k];
    bool alike = all_alike(fault);
    say_name(screen, review, k, words);
    if (fault->suspect_count > 1)
        screen_say(screen, 5, 0, ROLE_WARN,
                   "These always went together, or nearly: counting cannot tell them apart.");
    for (size_t s = 0; s < fault->suspect_count; s++) {
        if (s == 0 || !alike)
            review_counts_words(words, review, &fault->suspects[s], !alike);
        say_at(screen, 5, ROLE_PLAIN, words);
        review_why_words(words, review, &fault->suspects[s]);
        say_at(screen, 5, ROLE_PLAIN, words);
    }
    review_causes_words(words, review, fault);
    say_at(screen, 5, ROLE_PLAIN, words);
    review_saved_words(words, fault);
    say_at(screen, 5, ROLE_PLAIN, words);
    review_trials_words(words, review, fault);
    say_at(screen, 5, ROLE_PLAIN, words);
}

/* Counts and the likeliest cause; of two names for one fault the test that tells. */
static void say_fault_briefly(struct screen *screen, const struct review *review, size_t k,
                              struct text *words)
{
    const struct review_fault *fault = &review->faults[k];
    say_name(screen, review, k, words);
    review_counts_words(words, review, &fault->suspects[0], false);
    text_puts(words, " ");
    if (fault->suspect_count > 1)
        review_trials_words(words, review, fault);
    else if (fault->cause_count > 0)
        text_printf(words, "%s.", review->rules->causes[fault->causes[0].cause].name);
    say_at(screen, 5, ROLE_PLAIN, words);
}

static void say_faults(struct screen *screen, const struct review *review, bool full,
                       struct text *words)
{
    if (review->fault_count == 0)
        return;
    screen_blank(screen);
    if (full && review->fault_count > 1)
        screen_say(screen, 0, 0, ROLE_QUIET,
                   "Each is counted without the vessels that the others explain.");
    for (size_t k = 0; k < review->fault_count; k++)
        (full ? say_fault : say_fault_briefly)(screen, review, k, words);
}

/* ---- the next batch -------------------------------------------------------------------------- */

static void say_plan(struct screen *screen, const struct review *review,
                     const struct review_plan *plan, struct text *words)
{
    if (plan->crossed) {
        text_puts(words, "Next time, so that such things go apart");
    } else {
        text_puts(words, "Next batch, to tell ");
        view_suspects(words, review, &review->faults[plan->fault], false);
        text_puts(words, " apart");
    }
    screen_heading(screen, words->bytes != NULL ? words->bytes : "");
    text_clear(words);
    view_plan_setting(words, review, plan);
    say_at(screen, 2, ROLE_PLAIN, words);
    for (size_t a = 0; a < plan->arm_count; a++) {
        view_arm(words, review, plan, &plan->arms[a]);
        screen_item(screen, 2, "-", ROLE_PLAIN, words->bytes != NULL ? words->bytes : "");
        text_clear(words);
    }
    view_plan_reading(words, review, plan);
    say_at(screen, 2, ROLE_PLAIN, words);
}

/* ---- the whole ------------------------------------------------------------------------------- */

static void say_limits(struct screen *screen, const struct review *review)
{
    for (unsigned bit = 0; bit < REVIEW_LIMIT_COUNT; bit++) {
        const char *words = view_review_limit(review, 1U << bit);
        if (words != NULL)
            screen_say(screen, 0, 0, ROLE_PLAIN, "%s", words);
    }
    for (size_t r = 0; r < review->dataset->remark_count; r++)
        screen_say(screen, 0, 0, ROLE_QUIET, "%s", review->dataset->remarks[r]);
}

void view_review(struct screen *screen, const struct review *review, bool full)
{
    struct text words;
    text_init(&words);
    review_lost_words(&words, review);
    say_at(screen, 0, ROLE_STRONG, &words);
    review_culprits_words(&words, review);
    say_at(screen, 0, ROLE_PLAIN, &words);
    review_change_words(&words, review);
    say_at(screen, 0, ROLE_PLAIN, &words);
    say_limits(screen, review);
    say_faults(screen, review, full, &words);
    for (size_t p = 0; full && p < review->plan_count; p++)
        say_plan(screen, review, &review->plans[p], &words);
    text_release(&words);
}

/* ==== review json ============================================================================= */

/* A review as JSON, schema 1 (README.md, "For programs"). */

/* ---- small parts ----------------------------------------------------------------------------- */

/* Text from a table may be anything; JSON holds UTF-8 only. */
static json_t *safe_string(const char *words)
{
    struct text safe;
    text_init(&safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){0});
    json_t *string = safe.failed ? NULL : json_string(safe.bytes != NULL ? safe.bytes : "");
    text_release(&safe);
    return string;
}

static json_t *text_string(struct text *text)
{
    json_t *string = text->failed ? NULL : safe_string(text->bytes != NULL ? text->bytes : "");
    text_release(text);
    return string;
}

static json_t *counts_json(struct counts counts)
{
    return json_pack("{s:I, s:I}", "lost", (json_int_t)counts.lost, "of", (json_int_t)counts.total);
}

static json_t *interval_json(struct interval interval)
{
    return json_pack("[o, o]", view_json_number(interval.low), view_json_number(interval.high));
}

static json_t *day_json(int32_t day)
{
    char room[MOMENT_ROOM];
    return day == DAY_NONE ? json_null() : json_string(day_write(day, DAY_ISO, room));
}

static json_t *factor_name(const struct review *review, size_t factor)
{
    return factor < review->dataset->factor_count
               ? safe_string(review->dataset->factors[factor].name)
               : json_null();
}

static json_t *level_name(const struct review *review, size_t factor, uint32_t level)
{
    return factor < review->dataset->factor_count && level != LEVEL_NONE
               ? safe_string(review->dataset->factors[factor].levels[level])
               : json_null();
}

static json_t *scope_json(const struct review *review, size_t factor)
{
    return json_string(scope_name(factor_kind_scope(review->dataset->factors[factor].kind)));
}

static json_t *causes_json(const struct review *review, const struct review_cause *causes,
                           size_t count)
{
    json_t *list = json_array();
    for (size_t c = 0; c < count; c++)
        list = view_json_append(list, json_pack("{s:s, s:o}", "id",
                                                review->rules->causes[causes[c].cause].id, "p",
                                                view_json_number(causes[c].p)));
    return list;
}

/* ---- what was lost --------------------------------------------------------------------------- */

static json_t *totals_json(const struct review *review)
{
    const struct review_totals *totals = &review->totals;
    json_t *fates = json_object();
    for (size_t f = 0; f < FATE_COUNT; f++)
        fates = view_json_put(fates, fate_words[f], json_integer((json_int_t)totals->fate[f]));
    return json_pack("{s:I, s:o, s:o, s:o, s:o, s:I, s:I, s:I, s:o, s:o}", "vessels",
                     (json_int_t)totals->vessels, "counted", counts_json(totals->counts),
                     "interval", interval_json(totals->exact), "fates", fates, "controls",
                     counts_json(totals->controls), "too_young", (json_int_t)totals->young,
                     "unrecorded", (json_int_t)totals->unrecorded, "batches",
                     (json_int_t)totals->batches, "first", day_json(totals->first), "last",
                     day_json(totals->last));
}

/* ---- faults ---------------------------------------------------------------------------------- */

static json_t *suspect_json(const struct review *review, const struct review_suspect *suspect)
{
    struct text says;
    text_init(&says);
    view_level(&says, review->dataset, suspect->factor, suspect->level);
    json_t *json = json_pack(
        "{s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "scope",
        scope_json(review, suspect->factor), "factor", factor_name(review, suspect->factor),
        "level", level_name(review, suspect->factor, suspect->level), "says", text_string(&says),
        "p", view_json_number(suspect->p), "inside", counts_json(suspect->inside), "controls",
        counts_json(suspect->controls), "outside", counts_json(suspect->outside), "exact_p",
        view_json_number(suspect->test_p), "q", view_json_number(suspect->q), "log_bayes_factor",
        view_json_number(suspect->log_bayes));
    if (suspect->why_factor < review->dataset->factor_count)
        json = view_json_put(
            json, "why",
            json_pack("{s:o, s:o}", "factor", factor_name(review, suspect->why_factor), "level",
                      level_name(review, suspect->why_factor, suspect->why_level)));
    return json;
}

static json_t *trial_json(const struct review *review, const struct review_trial *trial)
{
    const struct observable *test = &review->rules->observables[trial->observable];
    return json_pack("{s:s, s:s, s:o, s:o, s:o}", "id", test->id, "label", test->label, "bits",
                     view_json_number(trial->bits), "cost", view_json_number(trial->cost),
                     "delay_days", view_json_number(trial->delay_days));
}

static json_t *fault_json(const struct review *review, const struct review_fault *fault)
{
    json_t *suspects = json_array(), *tests = json_array();
    for (size_t s = 0; s < fault->suspect_count; s++)
        suspects = view_json_append(suspects, suspect_json(review, &fault->suspects[s]));
    for (size_t t = 0; t < fault->trial_count; t++)
        tests = view_json_append(tests, trial_json(review, &fault->trials[t]));
    return json_pack("{s:o, s:b, s:o, s:{s:o, s:o, s:o}, s:o, s:o}", "p",
                     view_json_number(fault->p), "told_apart", fault->suspect_count == 1,
                     "suspects", suspects, "saved", "low", view_json_number(fault->saved_low),
                     "mean", view_json_number(fault->saved), "high",
                     view_json_number(fault->saved_high), "causes",
                     causes_json(review, fault->causes, fault->cause_count), "tests", tests);
}

static json_t *change_json(const struct review *review, const struct review_change *change)
{
    json_t *how = json_array();
    if (change->cause == RULES_NONE)
        return json_pack("{s:I, s:o, s:n, s:o}", "fault", (json_int_t)change->fault, "saved",
                         view_json_number(change->saved), "cause", "how", how);
    const struct cause *cause = &review->rules->causes[change->cause];
    for (size_t h = 0; h < cause->change_count; h++)
        how = view_json_append(how, json_string(cause->change[h]));
    return json_pack("{s:I, s:o, s:s, s:o}", "fault", (json_int_t)change->fault, "saved",
                     view_json_number(change->saved), "cause", cause->id, "how", how);
}

static json_t *plan_json(const struct review *review, const struct review_plan *plan)
{
    json_t *arms = json_array();
    struct text reading;
    for (size_t a = 0; a < plan->arm_count; a++) {
        struct text says;
        text_init(&says);
        view_arm(&says, review, plan, &plan->arms[a]);
        arms = view_json_append(arms, json_pack("{s:I, s:b, s:o}", "vessels",
                                                (json_int_t)plan->arms[a].vessels, "control",
                                                plan->arms[a].control, "says", text_string(&says)));
    }
    text_init(&reading);
    view_plan_reading(&reading, review, plan);
    return json_pack("{s:I, s:b, s:o, s:I, s:o, s:o}", "fault", (json_int_t)plan->fault, "crossed",
                     plan->crossed, "arms", arms, "fails_from", (json_int_t)plan->fails_from,
                     "error", view_json_number(plan->error), "reading", text_string(&reading));
}

/* ---- factors --------------------------------------------------------------------------------- */

static json_t *level_json(const struct review *review, size_t factor,
                          const struct review_level *level)
{
    return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o}", "level",
                     level_name(review, factor, level->level), "counts", counts_json(level->counts),
                     "controls", counts_json(level->controls), "exact", interval_json(level->exact),
                     "wilson", interval_json(level->wilson), "log_bayes_factor",
                     view_json_number(level->log_bayes));
}

static json_t *factor_json(const struct review *review, const struct review_factor *factor)
{
    json_t *levels = json_array(), *within = json_null();
    bool asked = !isnan(factor->q);
    for (size_t l = 0; l < factor->level_count; l++)
        levels = view_json_append(levels, level_json(review, factor->factor, &factor->levels[l]));
    if (factor->within < review->dataset->factor_count)
        within = json_pack("{s:o, s:o, s:o, s:I}", "factor", factor_name(review, factor->within),
                           "entangled", view_json_number(factor->entangled), "p",
                           view_json_number(factor->within_p), "strata",
                           (json_int_t)factor->within_strata);
    return json_pack("{s:o, s:o, s:o, s:I, s:o, s:s, s:o, s:o, s:o, s:o}", "factor",
                     factor_name(review, factor->factor), "scope",
                     scope_json(review, factor->factor), "levels", levels, "unknown",
                     (json_int_t)factor->unknown, "p",
                     asked ? view_json_number(factor->test.p) : json_null(), "method",
                     factor->approximate  ? "chi-square"
                     : factor->test.exact ? "exact"
                                          : "drawn",
                     "standard_error", view_json_number(factor->test.standard_error), "q",
                     view_json_number(factor->q), "log_bayes_factor",
                     view_json_number(factor->log_bayes), "within", within);
}

static json_t *factors_json(const struct review *review)
{
    json_t *list = json_array();
    for (size_t f = 0; f < review->dataset->factor_count; f++)
        list = view_json_append(list, factor_json(review, &review->factors[f]));
    return list;
}

static json_t *aliases_json(const struct review *review)
{
    json_t *list = json_array();
    for (size_t a = 0; a < review->alias_count; a++)
        list = view_json_append(list, json_pack("{s:[o, o], s:I, s:I}", "factors",
                                                factor_name(review, review->aliases[a].first),
                                                factor_name(review, review->aliases[a].second),
                                                "together", (json_int_t)review->aliases[a].together,
                                                "of", (json_int_t)review->aliases[a].of));
    return list;
}

/* ---- time ------------------------------------------------------------------------------------ */

static json_t *curve_json(const struct review *review, const struct review_curve *curve)
{
    json_t *steps = json_array();
    for (size_t s = 0; s < curve->curve.count; s++) {
        const struct survival_step *step = &curve->curve.steps[s];
        steps = view_json_append(
            steps, json_pack("{s:o, s:I, s:I, s:o}", "day", view_json_number(step->time), "at_risk",
                             (json_int_t)step->at_risk, "lost", (json_int_t)step->lost, "survival",
                             view_json_number(step->survival)));
    }
    return json_pack("{s:o, s:I, s:I, s:o, s:o}", "level",
                     level_name(review, review->time.factor, curve->level), "cases",
                     (json_int_t)curve->curve.cases, "lost", (json_int_t)curve->curve.lost,
                     "median", view_json_number(curve->curve.median), "steps", steps);
}

static json_t *time_json(const struct review *review)
{
    const struct review_time *time = &review->time;
    json_t *curves = json_array(), *logrank = json_null();
    for (size_t c = 0; c < time->curve_count; c++)
        curves = view_json_append(curves, curve_json(review, &time->curves[c]));
    if (time->logrank.freedom > 0)
        logrank = json_pack(
            "{s:o, s:I, s:o}", "statistic", view_json_number(time->logrank.statistic), "freedom",
            (json_int_t)time->logrank.freedom, "p", view_json_number(time->logrank.p));
    return json_pack("{s:o, s:I, s:I, s:o, s:o}", "factor", factor_name(review, time->factor),
                     "cases", (json_int_t)time->cases, "left_out", (json_int_t)time->left_out,
                     "curves", curves, "logrank", logrank);
}

static json_t *batches_json(const struct review *review)
{
    json_t *list = json_array();
    for (size_t b = 0; b < review->batch_count; b++) {
        const struct review_batch *batch = &review->batches[b];
        list = view_json_append(
            list, json_pack("{s:o, s:o, s:o, s:o, s:I, s:b, s:b, s:o}", "batch",
                            level_name(review, review->dataset->batch, batch->level), "day",
                            day_json(batch->day), "counts", counts_json(batch->counts), "controls",
                            counts_json(batch->controls), "open", (json_int_t)batch->open,
                            "too_many", batch->point.above, "too_few", batch->point.below, "causes",
                            causes_json(review, batch->causes, batch->cause_count)));
    }
    return list;
}

static json_t *watch_json(const struct review *review)
{
    const struct review_watch *watch = &review->watch;
    if (!watch->asked)
        return json_null();
    return json_pack("{s:o, s:o, s:o, s:I, s:o}", "usual", view_json_number(watch->plan.usual),
                     "raised", view_json_number(watch->plan.raised), "run_to_false_alarm",
                     view_json_number(watch->plan.run_usual), "signals",
                     (json_int_t)watch->episode_count, "since", day_json(watch->since));
}

/* ---- the whole ------------------------------------------------------------------------------- */

static json_t *limits_json(const struct review *review)
{
    static const char *const names[REVIEW_LIMIT_COUNT] = {
        "empty",     "nothing_counts", "nothing_lost", "all_lost",
        "no_factor", "one_batch",      "no_times",     "few"};
    json_t *list = json_array();
    for (unsigned bit = 0; bit < REVIEW_LIMIT_COUNT; bit++)
        if ((review->limits & (1U << bit)) != 0)
            list = view_json_append(list, json_pack("{s:s, s:s}", "id", names[bit], "says",
                                                    view_review_limit(review, 1U << bit)));
    return list;
}

static json_t *rule_json(const struct review *review)
{
    const struct review_rules *rules = &review->rules->review;
    return json_pack("{s:o, s:o, s:o, s:I}", "false_alarm", view_json_number(rules->false_alarm),
                     "bayes_factor", view_json_number(rules->bayes_factor), "watched_days",
                     view_json_number(rules->watched), "suspects_asked",
                     (json_int_t)review->suspects_asked);
}

json_t *view_review_json(const struct review *review)
{
    json_t *faults = json_array(), *near = json_array(), *changes = json_array();
    json_t *plans = json_array(), *remarks = json_array();
    for (size_t k = 0; k < review->fault_count; k++)
        faults = view_json_append(faults, fault_json(review, &review->faults[k]));
    for (size_t n = 0; n < review->near_count; n++)
        near = view_json_append(near, suspect_json(review, &review->near[n]));
    for (size_t c = 0; c < review->change_count; c++)
        changes = view_json_append(changes, change_json(review, &review->changes[c]));
    for (size_t p = 0; p < review->plan_count; p++)
        plans = view_json_append(plans, plan_json(review, &review->plans[p]));
    for (size_t r = 0; r < review->dataset->remark_count; r++)
        remarks = view_json_append(remarks, safe_string(review->dataset->remarks[r]));
    return json_pack("{s:i, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:s}",
                     "schema", 1, "totals", totals_json(review), "faults", faults, "changes",
                     changes, "plans", plans, "near", near, "factors", factors_json(review),
                     "aliases", aliases_json(review), "time", time_json(review), "batches",
                     batches_json(review), "watch", watch_json(review), "limits",
                     limits_json(review), "remarks", remarks, "rule", rule_json(review), "rules",
                     review->rules->hash);
}
