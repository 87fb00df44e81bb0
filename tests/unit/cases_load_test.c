/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Case files: what they become, and what is told of bad ones. */

#include <math.h>

#include "base/text.h"
#include "support/fixture.h"
#include "support/test.h"

static const struct labelled_case *cases; /* as last loaded */
static size_t count;

static enum status load(struct fixture *fixture, const char *path)
{
    return cases_load(path, fixture->plain, fixture->arena, &cases, &count, fixture->diags);
}

WITH_RULES(test_labelled)
{
    struct fixture *fixture = *state;
    assert_int_equal(load(fixture, "tests/unit/tiny-cases"), STATUS_OK);
    assert_int_equal(count, 3);
    const struct labelled_case *red = &cases[0];
    assert_string_equal(red->id, "red_one");
    assert_string_equal(red->text, "It is red, day 12.");
    assert_int_equal(red->setting_count, 2);
    assert_string_equal(red->settings[1].sign, "surface");
    assert_string_equal(red->settings[1].value, "-smooth?");
    assert_int_equal(red->settings[1].at.line, 8);
    assert_int_equal(red->settings[1].at.column, 31);
    assert_true(red->neighbours == 12);
    assert_true(red->worth == 4);
    assert_string_equal(red->use, "expand");
    assert_true(red->use_count == 10);
    assert_int_equal(red->finding_count, 2);
    assert_int_equal(red->findings[0], rules_finding(fixture->plain, "crust"));
    assert_int_equal(red->cause_count, 1);
    assert_int_equal(red->actions, 1u << ACTION_ISOLATE | 1u << ACTION_DISCARD);
    assert_string_equal(red->source, "Invented; the words are ours");
    assert_string_equal(red->note, "Red, and old enough.");
    assert_int_equal(red->at.line, 4);
}

WITH_RULES(test_what_is_not_given)
{
    struct fixture *fixture = *state;
    assert_int_equal(load(fixture, "tests/unit/tiny-cases"), STATUS_OK);
    const struct labelled_case *quiet = &cases[1];
    assert_string_equal(quiet->text, "");
    assert_string_equal(quiet->use, "expand");
    assert_true(isnan(quiet->use_count));
    assert_true(isnan(quiet->worth));
    assert_int_equal(quiet->cause_count, 0);
    assert_null(quiet->note);
    const struct labelled_case *single = &cases[2];
    assert_string_equal(single->id, "single");
    assert_null(single->use);
    assert_true(isnan(single->neighbours));
    assert_int_equal(single->finding_count, 0);
    assert_int_equal(single->actions, 0);
}

WITH_RULES(test_one_file)
{
    struct fixture *fixture = *state;
    assert_int_equal(load(fixture, "tests/unit/tiny-cases/single.yaml"), STATUS_OK);
    assert_int_equal(count, 1);
}

/* Each content with all that is told of it, as LINE:COLUMN MESSAGE. */
WITH_RULES(test_faults)
{
    static const struct {
        const char *content, *told;
    } faults[] = {
        {"", "0:0 no case in '@'; rules/FORMAT.md shows how one is written\n"},
        {"cases: []\n", "0:0 no case in '@'; rules/FORMAT.md shows how one is written\n"},
        {"cases: {a: 1}\n", "1:8 'cases' is a mapping; it must be a list\n"},
        {"cases: [a]\n", "1:9 a case is text here; it must be a mapping of keys\n"},
        {"case: [\n", "2:1 not YAML: did not find expected node content; "
                      "something is missing here\n"},
        {"caes: 1\n", "1:1 unknown key 'caes' in a case file; did you mean 'case'?\n"},
        {"case: {id: a}\n", "1:7 a case needs 'text' or 'set': it says nothing\n"},
        {"case: {text: a}\n", "1:7 a case needs 'id'; add it\n"},
        {"case: {id: a, text: b, txet: c}\n",
         "1:24 unknown key 'txet' in a case; did you mean 'text'?\n"},
        {"case: {id: a, text: b, findings: [crst]}\n",
         "1:7 a labelled case needs 'actions'; add it\n"
         "1:7 a labelled case needs 'source'; add it\n"
         "1:35 unknown finding 'crst'; did you mean 'crust'?\n"},
        {"case: {id: a, text: b, actions: [kep], source: s, findings: [plain], causes: [x]}\n",
         "1:34 'actions' is 'kep'; did you mean 'keep'?\n"
         "1:79 unknown cause 'x'; there are short_cook\n"},
        {"case: {id: a, set: {tnt: red, tint: [red]}}\n",
         "1:21 unknown sign 'tnt'; did you mean 'tint'?\n"
         "1:37 'tint' is a list; it must be text\n"},
        {"case: {id: a, text: b, stakes: {use: 'expad:10', worth: 0, neighbours: -1}}\n",
         "1:38 unknown use 'expad'; did you mean 'expand'?\n"
         "1:57 'worth' is '0'; it must be a number above 0\n"
         "1:72 'neighbours' is '-1'; it must be a number of 0 or more\n"},
        {"case: {id: a, text: b, stakes: {use: 'expand:ten'}}\n",
         "1:38 'use' is 'ten'; it must be a number above 0\n"},
        {"cases:\n- {id: a, text: b}\n- {id: a, text: c}\n",
         "3:8 case 'a' stands twice; rename one\n"},
    };
    struct fixture *fixture = *state;
    for (size_t i = 0; i < sizeof faults / sizeof *faults; i++) {
        struct text told;
        text_init(&told);
        diags_clear(fixture->diags);
        scratch_write(&fixture->scratch, "a.yaml", faults[i].content);
        const char *path = scratch_path(&fixture->scratch, "a.yaml");
        assert_int_equal(load(fixture, path), STATUS_DATA);
        assert_null(cases);
        assert_int_equal(count, 0);
        for (size_t d = 0; d < diags_kept(fixture->diags); d++) {
            const struct diag *diag = diags_get(fixture->diags, d);
            const char *name = strstr(diag->message, path);
            text_printf(&told, "%zu:%zu ", diag->at.line, diag->at.column);
            text_add(&told, diag->message,
                     name ? (size_t)(name - diag->message) : strlen(diag->message));
            if (name)
                text_printf(&told, "@%s", name + strlen(path));
            text_puts(&told, "\n");
        }
        assert_string_equal(told.bytes, faults[i].told);
        text_release(&told);
    }
}

WITH_RULES(test_missing)
{
    struct fixture *fixture = *state;
    assert_int_equal(load(fixture, scratch_path(&fixture->scratch, "nowhere")), STATUS_IO);
    assert_non_null(strstr(diags_get(fixture->diags, 0)->message, "nowhere"));
}

int main(void)
{
    return tests_run("cases", NULL, NULL);
}
