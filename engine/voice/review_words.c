/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "voice/review.h"
#include "voice/verdict.h"

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

void voice_level(struct text *out, const struct dataset *dataset, size_t factor, uint32_t level)
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

void voice_suspects(struct text *out, const struct review *review, const struct review_fault *fault,
                    bool p)
{
    char percent[PERCENT_ROOM];
    for (size_t s = 0; s < fault->suspect_count; s++) {
        const struct review_suspect *suspect = &fault->suspects[s];
        if (s > 0)
            text_puts(out, s + 1 < fault->suspect_count ? ", " : " or ");
        voice_level(out, review->dataset, suspect->factor, suspect->level);
        if (p)
            text_printf(out, " (%s)", voice_percent(suspect->p, percent));
    }
}

/* ---- days, figures --------------------------------------------------------------------------- */

static bool calendar(int32_t day, struct tm *date)
{
    enum { SECONDS_A_DAY = 86400 };
    time_t seconds = (time_t)day * SECONDS_A_DAY;
    return day != DAY_NONE && gmtime_r(&seconds, date) != NULL;
}

const char *voice_review_day(int32_t day, char room[REVIEW_DAY_ROOM])
{
    static const char *const months[] = {"January",   "February", "March",    "April",
                                         "May",       "June",     "July",     "August",
                                         "September", "October",  "November", "December"};
    struct tm date;
    room[0] = '\0';
    if (calendar(day, &date))
        snprintf(room, REVIEW_DAY_ROOM, "%d %s %d", date.tm_mday, months[date.tm_mon],
                 date.tm_year + 1900);
    return room;
}

const char *voice_review_date(int32_t day, char room[REVIEW_DAY_ROOM])
{
    struct tm date;
    room[0] = '\0';
    if (calendar(day, &date))
        snprintf(room, REVIEW_DAY_ROOM, "%04d-%02d-%02d", date.tm_year + 1900, date.tm_mon + 1,
                 date.tm_mday);
    return room;
}

const char *voice_p(double p, char room[REVIEW_DAY_ROOM])
{
    static const double least = 0.0001;
    if (p < least)
        snprintf(room, REVIEW_DAY_ROOM, "p below 0.0001");
    else
        snprintf(room, REVIEW_DAY_ROOM, p < 0.01 ? "p %.4f" : "p %.2f", p);
    return room;
}

/* ---- limits ---------------------------------------------------------------------------------- */

const char *voice_review_limit(const struct review *review, unsigned limit)
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

void voice_plan_setting(struct text *out, const struct review *review,
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

void voice_arm(struct text *out, const struct review *review, const struct review_plan *plan,
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
            voice_level(out, dataset, factor, arm->levels[c]);
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

void voice_plan_reading(struct text *out, const struct review *review,
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
        voice_level(out, review->dataset, fault->suspects[c].factor, fault->suspects[c].level);
        text_puts(out, " fails, it was that");
        joint = "; ";
    }
    joint = "; if none fails, it was ";
    for (size_t c = 0; c < plan->factor_count; c++) {
        if (tried(review, plan, c))
            continue;
        text_puts(out, joint);
        voice_level(out, review->dataset, fault->suspects[c].factor, fault->suspects[c].level);
        joint = " or ";
    }
    text_printf(out, ". Chance of a wrong answer: %s.", voice_percent(plan->error, percent));
}
