/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A conversation: every line is "SIGN ANSWER", an answer to the question about that sign, or, without
 * a sign that exists, a remark. Some lines are taken back at the end.
 */
#include "support/fuzz.h"

static size_t observable_named(const struct rules *rules, const char *name, size_t length)
{
    for (size_t i = 0; i < rules->observable_count; i++)
        if (strlen(rules->observables[i].id) == length &&
            !strncmp(rules->observables[i].id, name, length))
            return i;
    return rules->observable_count;
}

static void say(struct kit *c, const char *line)
{
    size_t length = strcspn(line, " ");
    size_t observable = observable_named(c->rules, line, length);
    enum status status;
    if (observable < c->rules->observable_count && line[length])
        status = triage_answer(c->triage, observable, line + length + 1, c->diags);
    else if (observable < c->rules->observable_count) /* "I don't know" */
        status = (triage_unknown(c->triage, observable), STATUS_OK);
    else
        status = triage_tell(c->triage, line, strlen(line), c->diags);
    hold(status == STATUS_OK || status == STATUS_DATA || status == STATUS_USAGE,
         "a line is read or refused");
    hold_diags(c->diags, status == STATUS_DATA);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    enum { LINES = 12 };
    struct kit *c = shipped();
    char *text = string_of(bytes, size);
    size_t marks[LINES] = {0};
    size_t count = 0;
    char *line = text;
    while (line && *line && count < LINES) {
        char *end = strchr(line, '\n');
        if (end)
            *end++ = '\0';
        marks[count++] = triage_mark(c->triage);
        say(c, line);
        line = end;
    }
    judge_and_hold(c);
    if (count > 1) {
        triage_return(c->triage, marks[count / 2]);
        judge_and_hold(c);
    }
    free(text);
    return 0;
}
