/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a second folder adds, replaces and leaves alone. */

#include <math.h>

#include "support/fixture.h"
#include "support/test.h"

/* The small rule base with `content` over it. */
static const struct rules *overlaid(struct fixture *fixture, const char *content)
{
    const char *const folders[] = {TINY, fixture->scratch.path};
    scratch_write(&fixture->scratch, "overlay.yaml", content);
    fixture->rules = rules_load(folders, 2, fixture->diags, NULL);
    for (size_t i = 0; i < diags_kept(fixture->diags); i++)
        print_message("# %s\n", diags_get(fixture->diags, i)->message);
    assert_non_null(fixture->rules);
    return fixture->rules;
}

WITH_RULES(test_adds_behind_the_others)
{
    struct fixture *fixture = *state;
    const struct rules *rules =
        overlaid(fixture, "sources:\n"
                          "  more: {author: A, title: T, year: 1999, where: W}\n"
                          "groups:\n"
                          "  late: {overlap: 0.25}\n"
                          "cautions:\n"
                          "  extra: {text: Mind it., rank: 0, always: true, source: more}\n");
    assert_int_equal(rules->source_count, 3);
    assert_string_equal(rules->sources[2].id, "more");
    assert_string_equal(rules->groups[1].id, "late");
    assert_string_equal(rules->cautions[0].id, "extra"); /* its rank is the lowest */
    assert_string_equal(rules->name, "Tiny rules");      /* an overlay needs no name */
}

WITH_RULES(test_replaces_whole_items_in_their_place)
{
    struct fixture *fixture = *state;
    const struct rules *rules = overlaid(fixture, "signs:\n"
                                                  "  surface:\n"
                                                  "    label: touch\n"
                                                  "    ask: How does it look?\n"
                                                  "    kind: one\n"
                                                  "    source: book\n"
                                                  "    values:\n"
                                                  "      rough: {label: very rough, base: 0.25}\n"
                                                  "      smooth: {label: smooth, base: 0.75}\n");
    int index = rules_observable(rules, "surface");
    assert_int_equal(index, rules_observable(fixture->plain, "surface"));
    const struct observable *surface = &rules->observables[index];
    assert_string_equal(surface->label, "touch");
    assert_int_equal(surface->group, RULES_NONE); /* nothing of the old one is left */
    assert_int_equal(surface->gate, GATE_NONE);
    assert_int_equal(rules->observable_count, fixture->plain->observable_count);
    /* What refers to its values follows them. */
    assert_string_equal(rules->decision.floors[0].id, "red_and_rough");
    assert_int_equal(rules->decision.floors[0].when.values[1], 1u << 0);
    assert_int_equal(fixture->plain->decision.floors[0].when.values[1], 1u << 1);
}

WITH_RULES(test_replaces_findings_and_causes)
{
    struct fixture *fixture = *state;
    const struct rules *rules = overlaid(
        fixture, "cause:\n"
                 "  {id: short_cook, name: N, what: W, scope: mix, prior: 0.3, grows: {crust: 2},\n"
                 "   weighs: {blank: {clean: down, dirty: up}}, change: [C], source: leaflet}\n"
                 "finding:\n"
                 "  {id: late, name: N, what: W, status: clean, hazard: none, base: 1, reveal: 0,\n"
                 "   kept_worth: 1, spread: 0, looks: {tint: {red: half}},\n"
                 "   do: {keep: [K], isolate: [I], discard: [D]}, source: leaflet}\n");
    assert_int_equal(rules->cause_count, 1);
    assert_int_equal(rules->causes[0].scope, SCOPE_MIX);
    assert_int_equal(rules->causes[0].settle_count, 0);
    assert_int_equal(rules_finding(rules, "late"), 2);
}

WITH_RULES(test_replaces_single_mappings_whole)
{
    struct fixture *fixture = *state;
    const struct rules *rules = overlaid(fixture, "rules: {name: Mine, version: 9}\n"
                                                  "calibration: {tau: 0.5, hedge: 0.25}\n"
                                                  "forecast: {kernels: 99, source: book}\n");
    assert_string_equal(rules->name, "Mine");
    assert_true(rules->calibration.tau == 0.5);
    assert_null(rules->calibration.fitted_by);
    assert_true(rules->forecast.kernels == 99);
    assert_true(isnan(rules->forecast.fill_most));
}

WITH_RULES(test_language_adds_up)
{
    struct fixture *fixture = *state;
    const struct rules *rules =
        overlaid(fixture, "language:\n"
                          "  words:\n"
                          "    spot: [dot]\n"
                          "  negations: [never, 'un {spot}']\n"
                          "  where: [tint]\n"
                          "  statements:\n"
                          "    all_fine: {phrases: [fine], seen: {surface: smooth}}\n"
                          "    all_red: {phrases: [all red], seen: {tint: red}}\n");
    const struct language *language = &rules->language;
    assert_int_equal(language->negations.count, 4);
    assert_string_equal(language->negations.list[0], "no");
    assert_string_equal(language->negations.list[2], "never");
    assert_string_equal(language->negations.list[3], "un {spot}");
    assert_int_equal(language->lists[0].items.count, 1); /* lists of words are replaced */
    assert_string_equal(language->lists[0].items.list[0], "dot");
    assert_int_equal(language->where_count, 2);
    assert_int_equal(language->where[1], rules_observable(rules, "tint"));
    assert_int_equal(language->statement_count, 2); /* statements by id */
    assert_int_equal(language->statements[0].phrases.count, 1);
    assert_string_equal(language->statements[0].phrases.list[0], "fine");
    assert_int_equal(language->statements[0].absent.count, 0);
}

WITH_RULES(test_shares_of_a_list_need_not_add_up)
{
    struct fixture *fixture = *state;
    const struct rules *rules = overlaid(
        fixture, "species:\n"
                 "  cedar: {name: Cedar, latin: Fictus cedrus, base: 0.8, source: book}\n");
    const struct observable *which = &rules->observables[rules_observable(rules, "species")];
    assert_int_equal(which->value_count, 3);
    assert_true(fabs(which->values[0].base - 0.6 / 1.6) < 1e-12);
    assert_true(fabs(which->values[2].base - 0.8 / 1.6) < 1e-12);
    assert_int_equal(which->values[2].phrases.count, 0);
}

WITH_RULES(test_three_folders)
{
    struct fixture *fixture = *state;
    scratch_folder(&fixture->scratch, "one");
    scratch_folder(&fixture->scratch, "two");
    scratch_write(&fixture->scratch, "one/a.yaml", "groups: {late: {overlap: 0.1}}\n");
    scratch_write(&fixture->scratch, "two/a.yaml", "groups: {late: {overlap: 0.9}}\n");
    const char *const folders[] = {TINY, scratch_path(&fixture->scratch, "one"),
                                   scratch_path(&fixture->scratch, "two")};
    fixture->rules = rules_load(folders, 3, fixture->diags, NULL);
    assert_non_null(fixture->rules);
    assert_int_equal(fixture->rules->group_count, 2);
    assert_true(fixture->rules->groups[1].overlap == 0.9); /* the last folder is heard */
}

WITH_RULES(test_twice_in_one_folder)
{
    struct fixture *fixture = *state;
    enum status status;
    const char *const folders[] = {TINY, fixture->scratch.path};
    scratch_write(&fixture->scratch, "a.yaml",
                  "groups: {late: {overlap: 0.1}}\ncalibration: {tau: 1, hedge: 1}\n");
    scratch_write(&fixture->scratch, "b.yaml",
                  "groups: {late: {overlap: 0.9}}\ncalibration: {tau: 1, hedge: 1}\n");
    fixture->rules = rules_load(folders, 2, fixture->diags, &status);
    assert_null(fixture->rules);
    assert_int_equal(status, STATUS_DATA);
    assert_int_equal(diags_errors(fixture->diags), 2);
    const struct diag *group = diags_get(fixture->diags, 0);
    assert_non_null(strstr(group->at.file, "/b.yaml"));
    assert_non_null(strstr(group->message, "group 'late' is defined twice, first at "));
    assert_non_null(strstr(group->message, "/a.yaml:1; rename or remove one"));
    assert_non_null(
        strstr(diags_get(fixture->diags, 1)->message, "key 'calibration' is defined twice"));
}

int main(void)
{
    return tests_run("overlays", NULL, NULL);
}
