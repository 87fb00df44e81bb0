/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A grower's own table of one row a vessel: read, reviewed, and told in words, as JSON and as a page.
 */
#include "base/text.h"
#include "review/dataset.h"
#include "review/review.h"
#include "view/review.h"

#include "support/fuzz.h"

enum { TODAY = 20500 };

static enum status read_in(const uint8_t *bytes, size_t size, struct arena *arena,
                           struct dataset *dataset, struct diags *diags)
{
    struct unsaved file;
    unsaved_open(&file, bytes, size);
    enum status status =
        dataset_from_table(file.path, NULL, NULL, &(struct dataset_wanted){TODAY, DAY_NONE, NULL},
                           arena, dataset, diags);
    unsaved_close(&file);
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

static void hold_sound(const struct dataset *dataset)
{
    for (size_t i = 0; i < dataset->vessel_count; i++)
        hold(dataset->fate[i] <= FATE_COUNT, "a fate is one");
    for (size_t f = 0; f < dataset->factor_count; f++)
        hold_factor(dataset, &dataset->factors[f]);
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
        view_say_taken(&(struct face){.screen = &screen}, "review.full",
                       view_review_json(review, false));
        hold(!screen.out.bytes || harmless(screen.out.bytes), "a review is safe to show");
        screen_release(&screen);
    }
    json_t *json = view_review_json(review, true);
    TEXT(text);
    const bool written = json_write(&text, json, false);
    hold(written && harmless(text.bytes), "a review is safe JSON");
    json_decref(json);
    struct text page;
    text_init(&page);
    view_review_html(&page, review);
    hold(harmless(page.bytes), "a page is safe");
    hold(!strstr(page.bytes, "<script"), "and holds no script");
    text_release(&page);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct kit *c = shipped();
    struct arena *arena = arena_new();
    struct dataset dataset;
    struct review review;
    enum status status = read_in(bytes, size, arena, &dataset, c->diags);
    if (status == STATUS_OK) {
        hold_sound(&dataset);
        hold(review_make(&dataset, c->reasoner, NULL, arena, &review) == STATUS_OK,
             "what was read can be reviewed");
        hold_concluded(&review);
        hold_told(&review);
    }
    arena_free(arena);
    return 0;
}
