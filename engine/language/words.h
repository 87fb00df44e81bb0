/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_LANGUAGE_WORDS_H
#define JARSIDE_LANGUAGE_WORDS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"
#include "base/text.h"
#include "rules/rules.h"

/*
 * The weight of words: which findings or causes growers' words went with, whether or not a
 * phrase matches them.
 *
 * A text is cut into terms: the stems of its words and of each two that follow one another within a
 * clause, each once. A stem after a negation is another term ("!green"), and figures are bins ("#4-9"). A word that the
 * rules list among the `kinds` is counted by its kind as well, alone and in pairs ("=green", "dark =green").
 * For term t let n_f(t) be how many labelled texts of finding f hold it (a text of several findings
 * is shared out), n_f the sum over all terms, V how many terms there are; likewise n_g for the group g
 * of f, contaminated or not, and n_s for its status. Then
 *
 *   q_g(t) = (n_g(t) + 1)          / (n_g + V)        a Dirichlet prior of 1 each,
 *   q_s(t) = (n_s(t) + b q_g(t))   / (n_s + b)        shrunk to the group, b = calibration status_prior V,
 *   q_f(t) = (n_f(t) + c q_s(t))   / (n_f + c)        shrunk to the status, c = calibration finding_prior V,
 *
 *   ln L(f) = k sum_t [ group_power ln q_g(t) + finding_power (ln q_f(t) - ln q_g(t)) + w_t ] + w min(1, terms / usual),
 *
 * where k = sqrt(usual / terms) for texts of more terms than usual, else 1: words of one text repeat one another. Each
 * term's count is bounded, so that one rare word never decides. It is the multinomial naive Bayes of
 * McCallum & Nigam (AAAI-98 Workshop on Learning for Text Categorization, 1998), shrunk as in their
 * work with Rosenfeld and Mitchell (ICML 1998), with exponents for the dependence between words.
 * The fitted weights w_t and w, for contaminated findings only, correct what that gets wrong (see
 * word_counts_fit).
 */
struct words; /* opaque; remembers what terms say, so one per thread */

/* What texts are labelled with. Causes are of one status and group, so only finding_power weighs. */
enum word_labels { LABELS_FINDINGS, LABELS_CAUSES };

/* A table of no words yet; `rules` must outlive it. */
struct words *words_new(const struct rules *rules, enum word_labels labels);
/* The same tables for another thread; `words` must outlive it and not be
 * given more tables, nor weigh texts. */
struct words *words_twin(const struct words *words);
void words_free(struct words *words);

/*
 * Adds the counts of a table in the form of word_counts_table; labels that the rules do not know are left
 * out. Fine when there is no such file. STATUS_IO when it cannot be read, STATUS_DATA with
 * FILE:LINE when it is no such table. Only words_check validates its many rows: here
 * one that is none, or not in its place, is passed over.
 */
enum status words_read(struct words *words, const char *path, struct diags *diags);
/* Whether all that was read are rows in their order; STATUS_DATA with FILE:LINE when not. */
enum status words_check(const struct words *words, struct diags *diags);

/* Adds such a table from `length` writable bytes that outlive `words`, followed by a NUL; `name` is
 * for messages. */
enum status words_take(struct words *words, const char *name, char *bytes, size_t length,
                       struct diags *diags);

struct word_weight { /* what one term says */
    char words[64];  /* as they stand in the text, folded; cut when longer */
    bool denied;     /* a negation reaches them */
    double odds;     /* natural log of its factor on the odds that the vessel is contaminated */
};

/*
 * ln L(f) of a text for each label, up to a constant, into `likelihood` (as many as there are findings, or causes): all 0
 * when no term is known. The terms that weigh most go to `weights`, heaviest first; how many is the
 * result. `weights` may be NULL when `most` is 0.
 */
size_t words_weigh(struct words *words, const char *text, size_t length, double *likelihood,
                   struct word_weight *weights, size_t most);

/* ---- counting and fitting -------------------------------------------------------------------- */

struct word_counts; /* opaque: labelled texts, counted */

/* Nothing counted yet; only terms found in at least `least` texts will count. `rules` must outlive
 * it. */
struct word_counts *word_counts_new(const struct rules *rules, enum word_labels labels,
                                    size_t least);
void word_counts_free(struct word_counts *counts);
/* One text and the findings or causes it is labelled with, the likeliest first; up to three count.
 * `part` is the number of the part it belongs to, which word_counts_table can leave out. */
void word_counts_add(struct word_counts *counts, const char *text, size_t length,
                     const size_t *labels, size_t label_count, size_t part);
/*
 * Fits the weights w of the terms, and that of any text, to what was counted: ridge logistic
 * regression of contaminated or not, with `log_odds` of each text (in the order they were added; NAN leaves
 * it out) as its offset. These should come from tables that do not hold the text. It goes from
 * term to term, each step bounded by the greatest curvature, so that the likelihood never falls (Boehning &
 * Lindsay, "Monotonicity of quadratic-approximation algorithms", Annals of the Institute of
 * Statistical Mathematics 40, 1988).
 */
void word_counts_fit(struct word_counts *counts, const double *log_odds);
/* The table, sorted by bytes, without the texts of one part, or SIZE_MAX for all; the same counts
 * make the same bytes. */
void word_counts_table(struct word_counts *counts, size_t without, struct text *table);

#endif
