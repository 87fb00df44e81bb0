/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/csv.h"
#include "base/units.h"
#include "reason/siblings.h"
#include "review/review.h"

/* One bad batch, told in words. */

/* ---- how many ----------------------------------------------------------------------------------- */

enum { TOKENS = 4096 };

struct token {
    const char *word;
    size_t length;
    double number; /* NAN: none */
};

static bool is(const struct token *token, const char *words)
{
    return csv_named(words, token->word, token->length) >= 0;
}

/* With one of several beginnings, separated by '|'. */
static bool begins(const struct token *token, const char *with)
{
    bool found = false;
    for (size_t length; *with != '\0' && !found; with += length + (with[length] != '\0')) {
        length = strcspn(with, "|");
        found = token->length >= length && memcmp(token->word, with, length) == 0;
    }
    return found;
}

/* Words of folded text, and the marks between clauses; returns how many. */
static size_t cut(const char *folded, size_t length, struct token *tokens)
{
    size_t count = 0, at = 0;
    while (at < length && count < TOKENS) {
        size_t end = at;
        while (end < length && strchr(" .,;:!?()\n", folded[end]) == NULL)
            end++;
        if (end == at) {
            if (folded[at] != ' ')
                tokens[count++] = (struct token){".", 1, NAN};
            at++;
            continue;
        }
        struct token *token = &tokens[count++];
        struct quantity quantity;
        size_t used;
        *token = (struct token){folded + at, end - at, NAN};
        if (is(token, "both"))
            token->number = 2.0;
        else if (is(token, "dozen"))
            token->number = 12.0;
        else if (quantity_read(folded + at, end - at, DIM_NONE, &quantity, &used) == QUANTITY_OK &&
                 used == end - at && quantity.lo >= 0.0 && quantity.lo >= quantity.hi &&
                 quantity.hi <= floor(quantity.hi) && quantity.hi <= 1e6)
            token->number = quantity.lo;
        at = end;
    }
    return count;
}

/* Whether a token names what the number before it is of: "days", "psi". */
static bool is_unit(const struct token *token)
{
    bool found = false;
    const char *word = NULL;
    for (size_t k = 0; !found && (word = quantity_word(k)) != NULL; k++)
        found = strlen(word) == token->length && memcmp(word, token->word, token->length) == 0;
    return found && isnan(token->number);
}

static bool is_vessel(const struct token *token)
{
    return begins(token, "jar|bag|bottle|block|vessel|quart|pint");
}

static bool is_break(const struct token *token)
{
    return is(token, ".|and|but|while|whereas");
}

struct account_words { /* in one clause; NAN: not said */
    double lost, of;
    double some, spared; /* "three", "all but two" */
    bool control, bad, well, vessels, all;
};

/* How many of `of` were lost ("9 of my 12"), by what stands before the "of" at `at`. */
static double lost_of(const struct token *tokens, size_t at, double of, bool bad)
{
    size_t out = at > 0 && is(&tokens[at - 1], "out");
    if (at < 1 + out)
        return NAN;
    const struct token *part = &tokens[at - 1 - out], *before = at > 1 + out ? part - 1 : NULL;
    bool none = is(part, "none") || (before != NULL && is(before, "not"));
    if (none) /* lost, or all that grew */
        return bad ? 0.0 : of;
    if (is(part, "all|every") || (before != NULL && is(before, "every|each")))
        return of;
    if (is(part, "half"))
        return floor(of / 2.0);
    return before != NULL && is(before, "but") ? of - part->number : part->number;
}

static struct account_words hear_clause(const struct token *tokens, size_t count)
{
    struct account_words heard = {.lost = NAN, .of = NAN, .some = NAN, .spared = NAN};
    bool never = false;
    for (size_t i = 0; i < count; i++) {
        const struct token *token = &tokens[i];
        never = never || is(token, "never|not|without");
        heard.control = heard.control || begins(token, "control|blank|uninoculated") ||
                        (never && (begins(token, "inoculat") || is(token, "got|saw")));
        heard.bad = heard.bad || is(token, "lost|lose|off|bad|gone|went|too|also|dead|failed") ||
                    (is(token, "of") && i + 1 < count && is(token + 1, "them|these|those"));
        heard.well = heard.well || is(token, "clean|fine|ok|okay|good|perfect|unchanged|white");
        heard.vessels = heard.vessels || is_vessel(token);
        heard.all = heard.all || is(token, "all|every|everything");
    }
    for (size_t i = 0; i < count; i++) {
        size_t at = i;
        if (isnan(tokens[i].number) ||
            (i + 1 < count && is_unit(&tokens[i + 1]) && !is_vessel(&tokens[i + 1]) &&
             !(i + 2 < count && is_vessel(&tokens[i + 2])))) /* "12 litre jars" */
            continue;
        while (at > 0 && is(&tokens[at - 1], "the|my|our|those|these|a"))
            at--;
        if (at > 0 && is(&tokens[at - 1], "of|in") && isnan(heard.of)) {
            heard.of = tokens[i].number;
            heard.lost = lost_of(tokens, at - 1, heard.of, heard.bad);
        } else if (at > 1 && is(&tokens[at - 1], "but") && is(&tokens[at - 2], "all")) {
            heard.spared = tokens[i].number;
        } else if (isnan(heard.some)) {
            heard.some = tokens[i].number;
        }
    }
    return heard;
}

/* Notes how many were lost of how many, unless that was said before or cannot be. */
static void take(struct counts *counts, double lost, double of)
{
    if (counts->total == 0 && lost >= 0.0 && of >= 1.0 && lost <= of)
        *counts = (struct counts){(size_t)lost, (size_t)of};
}

void account_count(const char *words, size_t length, struct review_account *account)
{
    struct token *tokens SCOPED_FREE = memory_array(TOKENS, sizeof *tokens);
    double all = NAN, some = NAN, spared = NAN, every = NAN;
    TEXT(folded);
    size_t count =
        text_fold(&folded, words, length, NULL) ? cut(folded.bytes, folded.length, tokens) : 0;
    for (size_t i = 0; i < count; i++)
        account->says_more =
            account->says_more ||
            (isnan(tokens[i].number) && !is_vessel(&tokens[i]) && !is_break(&tokens[i]) &&
             !is(&tokens[i], "i|we|have|lost|lose|failed|bad|gone|went|are|of|out|my|our|the|all"));
    for (size_t from = 0, to; from < count; from = to + 1) {
        to = from;
        while (to < count && (!is_break(&tokens[to]) || (to > 0 && is(&tokens[to - 1], "all"))))
            to++; /* "all but two" is one */
        struct account_words heard = hear_clause(&tokens[from], to - from);
        if (heard.control) {
            double of = !isnan(heard.of) ? heard.of : !isnan(heard.some) ? heard.some : 1.0;
            if (heard.well || heard.bad || !isnan(heard.of))
                take(&account->controls, heard.well ? 0.0 : !isnan(heard.of) ? heard.lost : of, of);
            continue;
        }
        take(&account->counts, heard.lost, heard.of);
        spared = isnan(spared) ? heard.spared : spared;
        if (heard.all && isnan(heard.of) && (heard.vessels || heard.bad))
            every = isnan(heard.some) ? all : heard.some;
        if ((heard.bad || isnan(heard.lost)) && !heard.vessels && isnan(some) && !isnan(all))
            some = heard.some;
        if (heard.vessels && isnan(all))
            all = isnan(heard.of) ? heard.some : heard.of;
        if (!isnan(heard.of) && isnan(heard.lost)) /* "out of 18 jars four" */
            some = heard.some;
    }
    take(&account->counts, isnan(spared) ? some : all - spared, all);
    take(&account->counts, every, every);
}

/* ---- why ---------------------------------------------------------------------------------------- */

/* What the triage knows, given that the vessel was lost, and what the words of the account say:
 * sound findings are as good as excluded. */
static struct evidence lost_evidence(struct triage *triage, const struct review_account *account,
                                     struct arena *arena)
{
    static const double excluded = -30.0; /* natural logarithm */
    const struct rules *rules = triage_rules(triage);
    struct evidence evidence;
    (void)triage_judge_briefly(triage);
    evidence = *triage_evidence(triage);
    double *words = arena_array(arena, rules->finding_count, sizeof *words);
    for (size_t f = 0; f < rules->finding_count; f++)
        words[f] = (evidence.words != NULL ? evidence.words[f] : 0.0) +
                   (rules->findings[f].status == FINDING_CLEAN ? excluded : 0.0);
    evidence.words = words;
    if (account->told != NULL) {
        struct prior_shift *shifts =
            arena_array(arena, evidence.shift_count + rules->cause_count, sizeof *shifts);
        double usual = 0.0; /* how likely such words are, whatever the cause */
        memcpy(shifts, evidence.shifts, evidence.shift_count * sizeof *shifts);
        for (size_t c = 0; c < rules->cause_count; c++)
            usual += exp(account->told[c]) / (double)rules->cause_count;
        for (size_t c = 0; c < rules->cause_count; c++)
            shifts[evidence.shift_count++] = (struct prior_shift){c, account->told[c] - log(usual)};
        evidence.shifts = shifts;
    }
    return evidence;
}

/* What became of the others, as what a vessel's siblings say. */
static enum status count_others(struct triage *triage, const struct posterior *posterior,
                                const struct review_account *account)
{
    static const char *const names[RELATION_COUNT] = {0};
    static const uint32_t cooked =
        1U << RELATION_COOK | 1U << RELATION_MIX | 1U << RELATION_GRAIN_LOT;
    struct counts counts = account->counts, controls = account->controls;
    double lost = counts.lost > 0 ? (double)counts.lost - 1.0 : 0.0;
    double stuck = posterior->status[FINDING_STUCK];
    stuck /= stuck + posterior->status[FINDING_CONTAMINATED];
    const struct sibling_cell cells[] = {{.shares = (1U << RELATION_POSITION) - 1U,
                                          .clean = (double)(counts.total - counts.lost),
                                          .stuck = lost * stuck,
                                          .contaminated = lost * (1.0 - stuck)},
                                         {.shares = cooked,
                                          .control = true,
                                          .clean = (double)(controls.total - controls.lost),
                                          .contaminated = (double)controls.lost}};
    int spoken = triage_rules(triage)->feeder[FEEDS_SIBLINGS_COOK];
    if (counts.total > 1 && spoken != RULES_NONE)
        triage_forget(triage, (size_t)spoken);
    return triage_siblings(triage, cells, sizeof cells / sizeof *cells, names);
}

/* Who tells of a bad batch has a cause for it: the chances of all, tempered by what the rules say,
 * in shares of 1. Their order stays. */
static void share_out(const struct rules *rules, const double *chances, double *shares)
{
    double temper = rules->calibration.words.cause_temper, sum = 0.0;
    for (size_t c = 0; c < rules->cause_count; c++)
        sum += shares[c] = temper > 0.0 ? pow(chances[c], temper) : chances[c];
    for (size_t c = 0; c < rules->cause_count && temper > 0.0 && sum > 0.0; c++)
        shares[c] /= sum;
}

enum status account_judge(struct triage *triage, const struct reasoner *reasoner,
                          struct arena *arena, struct review_account *account)
{
    struct posterior posterior;
    posterior_init(&posterior, reasoner, NULL);
    struct evidence evidence = lost_evidence(triage, account, arena);
    reason_posterior(reasoner, &evidence, -1.0, &posterior);
    enum status status = count_others(triage, &posterior, account);
    if (status == STATUS_OK) {
        evidence = lost_evidence(triage, account, arena);
        reason_posterior(reasoner, &evidence, -1.0, &posterior);
        const struct rules *rules = reasoner_rules(reasoner);
        double *shares = arena_array(arena, rules->cause_count, sizeof *shares);
        for (size_t o = 0; o < rules->observable_count; o++)
            account->says_more = account->says_more || evidence.observations[o].seen != 0;
        if (account->says_more) /* a bare count points to no cause */
            share_out(rules, posterior.cause, shares);
        review_list_causes(rules, shares, arena, &account->why);
        account_choose_trials(reasoner, evidence.observations, arena, account);
    }
    posterior_release(&posterior);
    return status;
}

int account_next(struct triage *triage, const struct reasoner *reasoner,
                 const struct review_account *account, bool *asked)
{
    static const enum feeds first[] = {FEEDS_LOST_ONES, FEEDS_LOST_ALIKE};
    static const enum feeds counted[] = {FEEDS_SIBLINGS_COOK, FEEDS_SIBLINGS_LOT,
                                         FEEDS_SIBLINGS_SESSION, FEEDS_SIBLINGS_STARTER,
                                         FEEDS_SIBLINGS_PLACE};
    static const double worth_it = 0.01; /* bits */
    const struct rules *rules = reasoner_rules(reasoner);
    struct arena *arena SCOPED_ARENA = arena_new();
    struct evidence evidence = lost_evidence(triage, account, arena);
    const struct inquiry inquiry = {.aim = AIM_CAUSE, .skip = asked, .most = 1};
    struct question question;
    struct posterior posterior;
    int next = RULES_NONE;

    for (size_t k = 0; k < sizeof first / sizeof *first && next == RULES_NONE; k++) {
        int index = rules->feeder[first[k]];
        if (index != RULES_NONE && !asked[index] && evidence.observations[index].seen == 0)
            next = index;
    }
    for (size_t k = 0; k < sizeof counted / sizeof *counted && account->counts.total > 1; k++)
        if (rules->feeder[counted[k]] != RULES_NONE)
            asked[rules->feeder[counted[k]]] = true;
    if (next == RULES_NONE) {
        posterior_init(&posterior, reasoner, NULL);
        reason_posterior(reasoner, &evidence, -1.0, &posterior);
        if (reason_questions(reasoner, &evidence, &posterior, triage_stakes(triage), &inquiry,
                             &question) > 0 &&
            question.bits > worth_it)
            next = (int)question.observable;
        posterior_release(&posterior);
    }
    if (next != RULES_NONE)
        asked[next] = true;
    return next;
}
