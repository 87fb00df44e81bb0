/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A grower's own table of one row a vessel: read at once and byte by byte behind its first line, reviewed, and
 * told in words, as JSON and as a page.
 */
#include "base/text.h"
#include "review/dataset.h"
#include "review/review.h"
#include "view/review.h"

#include "support/fuzz.h"

enum { TODAY = 20500 };

/* The first piece holds the first line, by which the table is known. */
static enum status read_in(size_t piece, const uint8_t *bytes, size_t size, struct arena *arena,
                           struct dataset *dataset, struct diags *diags)
{
    const uint8_t *newline = memchr(bytes, '\n', size);
    size_t first = newline ? (size_t)(newline - bytes) + 1 : size;
    struct dataset_reader *reader = dataset_reader_new("table", DAY_NONE, TODAY, arena, diags);
    enum status status = STATUS_OK;
    hold(reader != NULL, "there is memory");
    for (size_t at = 0, length = 0; at < size && status == STATUS_OK; at += length) {
        length = at == 0 && piece < first ? first : piece;
        if (length > size - at)
            length = size - at;
        char *copy = string_of(bytes + at, length); /* so that reading beyond it is seen */
        status = dataset_reader_feed(reader, copy, length);
        free(copy);
    }
    if (status == STATUS_OK)
        status = dataset_reader_finish(reader, dataset);
    dataset_reader_free(reader);
    hold(status == STATUS_OK || status == STATUS_DATA, "a table is read or refused");
    hold_diags(diags, status != STATUS_OK);
    return status;
}

static void hold_factor(const struct dataset *dataset, const struct factor *factor)
{
    for (size_t i = 0; i < dataset->vessel_count; i++)
        hold(factor->level[i] == LEVEL_NONE || factor->level[i] < factor->level_count,
             "a vessel's level is one");
}

static void hold_alike(const struct dataset *whole, const struct dataset *pieces)
{
    hold(whole->vessel_count == pieces->vessel_count, "pieces hold the same vessels");
    hold(whole->factor_count == pieces->factor_count, "and the same factors");
    hold(whole->remark_count == pieces->remark_count, "and are remarked upon alike");
    for (size_t i = 0; i < whole->vessel_count; i++) {
        hold(!strcmp(whole->labels[i], pieces->labels[i]), "and the same labels");
        hold(whole->fate[i] <= FATE_COUNT && whole->fate[i] == pieces->fate[i],
             "and the same fates");
        hold(whole->entered[i] == pieces->entered[i] && whole->ended[i] == pieces->ended[i],
             "and the same days");
    }
    for (size_t f = 0; f < whole->factor_count; f++)
        hold_factor(whole, &whole->factors[f]);
}

static void hold_concluded(const struct review *review)
{
    const struct review_totals *totals = &review->totals;
    hold(totals->counts.lost <= totals->counts.total, "no more are lost than there are");
    for (size_t i = 0; i < review->culprit_count; i++)
        hold(review->culprits[i].p >= 0 && review->culprits[i].p <= 1 + 1e-9,
             "a probability is one");
}

static void hold_told(const struct review *review)
{
    static const size_t widths[] = {SCREEN_NARROWEST, SCREEN_DEFAULT};
    for (size_t i = 0; i < 2; i++) {
        struct screen screen = {.width = widths[i], .ascii = i == 0};
        text_init(&screen.out);
        view_review(&screen, review, true);
        hold(!screen.out.failed, "there is memory for the words");
        hold(!screen.out.bytes || harmless(screen.out.bytes), "a review is safe to show");
        screen_release(&screen);
    }
    json_t *json = view_review_json(review);
    char *text = json_text(json, 0, NULL);
    hold(text && harmless(text), "a review is safe JSON");
    free(text);
    json_decref(json);
    struct text page;
    text_init(&page);
    view_review_html(&page, review);
    hold(!page.failed && harmless(page.bytes), "a page is safe");
    hold(!strstr(page.bytes, "<script"), "and holds no script");
    text_release(&page);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct kit *c = shipped();
    struct arena *arena = arena_new();
    struct dataset whole;
    struct dataset pieces;
    struct review review;
    enum status status = read_in(size ? size : 1, bytes, size, arena, &whole, c->diags);
    hold(read_in(1, bytes, size, arena, &pieces, c->diags) == status, "pieces come to the same");
    if (status == STATUS_OK) {
        hold_alike(&whole, &pieces);
        hold(review_make(&whole, c->reasoner, NULL, arena, &review) == STATUS_OK,
             "what was read can be reviewed");
        hold_concluded(&review);
        hold_told(&review);
    }
    arena_free(arena);
    return 0;
}
