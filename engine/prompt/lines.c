/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "prompt/lines.h"

#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "prompt/input_internal.h"

struct lines {
    struct input *input;
};

struct lines *lines_open(void)
{
    struct lines *lines = calloc(1, sizeof *lines);
    if (lines == NULL)
        return NULL;
    lines->input = input_open();
    if (lines->input == NULL || !input_is_terminal(lines->input)) {
        lines_close(lines);
        return NULL;
    }
    return lines;
}

void lines_close(struct lines *lines)
{
    if (lines == NULL)
        return;
    int killed_by = lines->input != NULL ? input_signal(lines->input) : 0;
    input_close(lines->input);
    free(lines);
    if (killed_by != 0)
        raise(killed_by); /* the terminal is restored: end as the sender of the signal expects */
}

/* In place; the start moves to the front, as the caller frees what it was given. */
static void trim(char *line)
{
    size_t blank = strspn(line, " \t"), length = strlen(line);
    while (length > blank && strchr(" \t\r", line[length - 1]) != NULL)
        length--;
    memmove(line, line + blank, length - blank);
    line[length - blank] = '\0';
}

enum line_answer lines_ask(struct lines *lines, const char *question, const char *standing,
                           const char *const *words, size_t count, char **answer)
{
    struct text prompt;
    char *line = NULL;

    *answer = NULL;
    text_init(&prompt);
    text_puts(&prompt, question);
    if (standing != NULL && standing[0] != '\0')
        text_printf(&prompt, " [%s]", standing);
    text_puts(&prompt, ": ");
    input_offer(lines->input, words, count);
    enum input_result result =
        prompt.failed ? INPUT_FAULT : input_line(lines->input, prompt.bytes, &line);
    input_offer(lines->input, NULL, 0);
    text_release(&prompt);
    if (result != INPUT_LINE)
        return LINE_LEFT;
    trim(line);
    if (line[0] != '\0') {
        *answer = line;
        return LINE_GIVEN;
    }
    free(line);
    return LINE_EMPTY;
}

bool lines_confirm(struct lines *lines, const char *question)
{
    static const char *const words[] = {"yes", "no"};
    char *answer = NULL;
    bool yes = lines_ask(lines, question, "no", words, 2, &answer) == LINE_GIVEN &&
               (strcasecmp(answer, "y") == 0 || strcasecmp(answer, "yes") == 0);
    free(answer);
    return yes;
}
