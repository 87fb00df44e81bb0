/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What keeps a file from being a YAML document at all. */
#include "knowledge/document_faults_internal.h"

#include <string.h>

#include "base/text.h"

/* libyaml gives no place for what is not text, so it is looked for here, and found first. */
static struct position place_of(const struct file *file, size_t offset)
{
    const char *line = file->bytes;
    size_t number = 1;
    const char *newline;
    while ((newline = memchr(line, '\n', (size_t)(file->bytes + offset - line))) != NULL) {
        line = newline + 1;
        number++;
    }
    return (struct position){file->path, number,
                             utf8_count(line, (size_t)(file->bytes + offset - line)) + 1};
}

/* One byte and printed; of the other ASCII characters YAML 1.1 (5.1) allows the line ends and tabs. */
static bool is_plain(char byte)
{
    return (byte >= ' ' && byte <= '~') || byte == '\n' || byte == '\r' || byte == '\t';
}

bool document_is_text(const struct file *file, struct faults *faults)
{
    const char *at = file->bytes;
    const char *end = at + file->length;
    while (at < end) {
        if (is_plain(*at)) {
            at++;
            continue;
        }
        size_t wide = 0; /* bytes of characters that are not ASCII */
        while (at + wide < end && (unsigned char)at[wide] >= 0x80)
            wide++;
        size_t valid = utf8_valid_prefix(at, wide);
        if (wide && valid == wide) {
            at += wide;
            continue;
        }
        fault_error(faults, place_of(file, (size_t)(at - file->bytes) + valid),
                    wide ? "byte 0x%02X is not UTF-8 here; save the file as UTF-8"
                         : "control character 0x%02X; a rule file is plain text",
                    (unsigned)(unsigned char)at[valid]);
        return false;
    }
    return true;
}

/* What usually lies behind libyaml's complaint. */
static const struct advice {
    const char *problem; /* how it begins */
    const char *advice;
} ADVICE[] = {
    {"mapping values are not allowed",
     "put a text with a colon in it in quotes, and see that keys of one mapping line up"},
    {"found character that cannot start any token",
     "indent with spaces, not tabs, and put a text that begins with @, ` or % in quotes"},
    {"found a tab character", "indent with spaces, not tabs"},
    {"did not find expected key", "keys of one mapping must line up"},
    {"did not find expected '-'", "the dashes of one list must line up"},
    {"could not find expected ':'", "a key needs a colon and a space behind it"},
    {"did not find expected ','", "a bracket is not closed, or an entry needs a comma before it"},
    {"found unknown escape character", "put patterns in single quotes, not double ones"},
    {"found unexpected end of stream", "a quote or bracket is not closed"},
    {"found unexpected document indicator", "a quote is not closed"},
    {"did not find expected alphabetic or numeric character",
     "put a text that begins with * or & in quotes"},
    {"did not find expected node content", "something is missing here"},
    {"did not find expected <document start>", "put the text in quotes"},
};

static const char *advice_for(const char *problem)
{
    for (size_t i = 0; i < sizeof ADVICE / sizeof *ADVICE; i++)
        if (!strncmp(problem, ADVICE[i].problem, strlen(ADVICE[i].problem)))
            return ADVICE[i].advice;
    return "see that quotes and brackets are closed and that entries line up";
}

void document_syntax_fault(const yaml_parser_t *parser, const struct file *file,
                           struct faults *faults)
{
    if (parser->error == YAML_MEMORY_ERROR) {
        faults->no_memory = true;
        return;
    }
    const char *problem = parser->problem ? parser->problem : "it cannot be read";
    struct position at = {file->path, parser->problem_mark.line + 1,
                          parser->problem_mark.column + 1};
    if (parser->error == YAML_READER_ERROR)
        at = place_of(file, parser->problem_offset < file->length ? parser->problem_offset
                                                                  : file->length);
    if (parser->context && parser->context_mark.line != parser->problem_mark.line)
        fault_error(faults, at, "not YAML: %s %s from line %zu; %s", problem, parser->context,
                    parser->context_mark.line + 1, advice_for(problem));
    else
        fault_error(faults, at, "not YAML: %s; %s", problem, advice_for(problem));
}
