/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/csv.h"
#include "base/text.h"
#include "support/test.h"

/* What came: "[line:column text]" for each field, ";" and the row's line after each row; then what was
 * wrong. */
struct record {
    char text[4096];
    size_t rows, stop_after;
};

static enum status on_row(void *context, const struct csv_row *row)
{
    struct record *record = context;
    for (size_t i = 0; i <= row->count; i++) {
        size_t used = strlen(record->text);
        char *at = record->text + used;
        if (i == row->count)
            snprintf(at, sizeof record->text - used, ";%zu/%zu ", row->line, row->count);
        else
            snprintf(at, sizeof record->text - used, "[%zu:%zu %.*s]", row->fields[i].line,
                     row->fields[i].column, (int)row->fields[i].length, row->fields[i].text);
    }
    record->rows++;
    return record->stop_after == 0 || record->rows < record->stop_after ? STATUS_OK : STATUS_IO;
}

/* Feeds `text` in chunks of `chunk` bytes. */
static enum status read_table(const struct csv_table *table, const char *text, size_t length,
                              size_t chunk, char *fault, size_t room)
{
    struct diags *diags = diags_new();
    struct csv_reader *reader = csv_reader_new(table, diags);
    enum status status = STATUS_OK;
    for (size_t at = 0; at < length && status == STATUS_OK; at += chunk)
        status = csv_reader_feed(reader, text + at, length - at < chunk ? length - at : chunk);
    if (status == STATUS_OK)
        status = csv_reader_finish(reader);
    else /* it repeats its answer */
        assert_int_equal(csv_reader_finish(reader), status);
    const struct diag *diag = diags_kept(diags) > 0 ? diags_get(diags, 0) : NULL;
    assert_int_equal(diag != NULL, status == STATUS_DATA);
    if (diag != NULL)
        snprintf(fault, room, "%s:%zu:%zu: %s", diag->at.file, diag->at.line, diag->at.column,
                 diag->message);
    csv_reader_free(reader);
    csv_reader_free(NULL);
    diags_free(diags);
    return status;
}

static enum status read_all(const char *text, size_t length, size_t chunk, struct record *record)
{
    char unused[256];
    const struct csv_table table = {.file = "t", .context = record, .row = on_row};
    return read_table(&table, text, length, chunk, unused, sizeof unused);
}

/* Whatever the chunks, what is wrong and where. */
static void refused(bool utf8, const char *text, size_t length, const char *want)
{
    for (size_t chunk = 1; chunk < 40; chunk += 3) {
        struct record record = {.rows = 0};
        char fault[256] = "";
        const struct csv_table table = {
            .file = "t", .utf8 = utf8, .context = &record, .row = on_row};
        assert_int_equal(read_table(&table, text, length, chunk, fault, sizeof fault), STATUS_DATA);
        assert_string_equal(fault, want);
    }
}

static void check(const char *text, const char *want)
{
    for (size_t chunk = 1; chunk < 40; chunk += 3) {
        struct record record = {.rows = 0};
        assert_int_equal(read_all(text, strlen(text), chunk, &record), STATUS_OK);
        assert_string_equal(record.text, want);
    }
}

TEST(rows_fields_and_positions)
{
    (void)state;
    check("a,b\n1,2\n", "[1:1 a][1:3 b];1/2 [2:1 1][2:3 2];2/2 ");
    check("a,b\r\n1,2\r\n", "[1:1 a][1:3 b];1/2 [2:1 1][2:3 2];2/2 ");
    check("a,b\n1,2", "[1:1 a][1:3 b];1/2 [2:1 1][2:3 2];2/2 ");
    check("a,,c\n", "[1:1 a][1:3 ][1:4 c];1/3 ");
    check("\n\na\n\n\nb\n", "[3:1 a];3/1 [6:1 b];6/1 ");
    check("\r\n\r\na\r\n\r\nb", "[3:1 a];3/1 [5:1 b];5/1 ");
    check("", "");
}

TEST(quotes_hold_commas_lines_and_quotes)
{
    (void)state;
    check("\"a,b\",c\nd\n", "[1:1 a,b][1:7 c];1/2 [2:1 d];2/1 ");
    check("\"a\nb\",c\nd\n", "[1:1 a\nb][2:4 c];1/2 [3:1 d];3/1 ");
    check("\"say \"\"x\"\"\",c\n", "[1:1 say \"x\"][1:13 c];1/2 ");
}

TEST(columns_count_characters)
{
    (void)state;
    check("\xC2\xB0"
          "C,b\n",
          "[1:1 \xC2\xB0"
          "C][1:4 b];1/2 ");
}

TEST(separators_and_marks_are_told_from_the_first_line)
{
    (void)state;
    check("a;b,c;d\n1;2\n", "[1:1 a][1:3 b,c][1:7 d];1/3 [2:1 1][2:3 2];2/2 ");
    check("a\tb\n1,2\t3\n", "[1:1 a][1:3 b];1/2 [2:1 1,2][2:5 3];2/2 ");
    check("\"a;b;c\",d\n", "[1:1 a;b;c][1:9 d];1/2 ");
    check("\xEF\xBB\xBF\"a\",b\n", "[1:1 a][1:5 b];1/2 ");
}

TEST(what_is_no_table_is_refused)
{
    (void)state;
#define QUOTES                                                                                     \
    "a quote where none may stand, or one that is never closed; within quotes write a quote twice"
    refused(false, "a,b\n1,x\"2\n", 10, "t:2:4: " QUOTES);
    refused(false, "\"a\"b,c\n", 7, "t:1:4: " QUOTES);
    refused(false, "\"never ends\n", 12, "t:2:1: " QUOTES);
    refused(false, "a,\0b\n", 5,
            "t:1:3: a NUL byte, which no table holds; save the file as CSV in UTF-8");
    refused(true, "a,b\n1,\xFF\n", 8,
            "t:2:3: the text is not UTF-8; save the file as CSV in UTF-8 and try again");
}

TEST(rows_are_bounded)
{
    (void)state;
    enum { MANY = 2 * (CSV_MOST_FIELDS + 1) };
    char text[MANY + 1];
    for (size_t i = 0; i < MANY; i++)
        text[i] = i % 2 == 0 ? 'x' : ',';
    refused(false, text, MANY, "t:1:1025: a row of more than 512 fields; is the file a table?");
}

TEST(a_callback_can_stop)
{
    (void)state;
    struct record record = {.stop_after = 2};
    assert_int_equal(read_all("a\nb\nc\nd\n", 8, 100, &record), STATUS_IO);
    assert_int_equal(record.rows, 2);
}

struct one_field {
    size_t length;
    char head[64];
};

static enum status keep_field(void *context, const struct csv_row *row)
{
    struct one_field *one = context;
    assert_int_equal(row->count, 1);
    one->length = row->fields[0].length;
    memcpy(one->head, row->fields[0].text, one->length < 64 ? one->length : 64);
    return STATUS_OK;
}

/* Lengths up to, at and beyond the limit, bare and in quotes. */
TEST(fields_are_bounded)
{
    (void)state;
    static const size_t lengths[] = {4097, 1000000, CSV_FIELD_LIMIT, CSV_FIELD_LIMIT + 1,
                                     3 * CSV_FIELD_LIMIT};
    char *text = malloc(3 * CSV_FIELD_LIMIT + 3);
    assert_non_null(text);
    for (size_t i = 0; i < 10; i++) {
        struct one_field one = {0};
        const struct csv_table table = {.file = "t", .context = &one, .row = keep_field};
        size_t length = lengths[i / 2], quote = i % 2;
        char fault[256] = "";
        memset(text, 'x', quote + length);
        text[0] = quote ? '"' : 'x';
        text[quote + length] = '"';
        text[2 * quote + length] = '\n';
        bool fits = length <= CSV_FIELD_LIMIT;
        assert_int_equal(read_table(&table, text, 2 * quote + length + 1, 65536, fault, 256),
                         fits ? STATUS_OK : STATUS_DATA);
        assert_int_equal(one.length, fits ? length : 0);
        assert_true(fits || strstr(fault, "2097152 bytes; is a quote missing?") != NULL);
    }
    free(text);
}

/* Whatever is written is read back as it was. */
TEST(written_fields_read_back)
{
    (void)state;
    static const char *const fields[][2] = {
        {"plain", "plain"},
        {"a,b", "\"a,b\""},
        {"say \"x\"", "\"say \"\"x\"\"\""},
        {"two\r\nlines", "\"two\r\nlines\""},
        {" led", "\" led\""},
        {"trailed\t", "\"trailed\t\""},
        {"\"", "\"\"\"\""},
        {"a b", "a b"},
        {"lone\rCR", "\"lone\rCR\""},
    };
    for (size_t i = 0; i < sizeof fields / sizeof *fields; i++) {
        struct text out;
        struct one_field one = {0};
        char fault[256];
        const struct csv_table table = {.separator = ',', .context = &one, .row = keep_field};
        text_init(&out);
        csv_write_field(&out, fields[i][0], strlen(fields[i][0]));
        assert_string_equal(out.bytes, fields[i][1]);
        text_puts(&out, "\r\n");
        assert_int_equal(read_table(&table, out.bytes, out.length, 100, fault, sizeof fault),
                         STATUS_OK);
        assert_int_equal(one.length, strlen(fields[i][0]));
        assert_memory_equal(one.head, fields[i][0], one.length);
        text_release(&out);
    }
}

TEST(names_are_found_in_any_case)
{
    (void)state;
    assert_int_equal(csv_named("bag|jar no|Jar", "JAR", 3), 2);
    assert_int_equal(csv_named("bag|jar no|jar", "jar no", 6), 1);
    assert_int_equal(csv_named("bag|jar", "ja", 2), -1);
    assert_int_equal(csv_named("bag|jar", "", 0), -1);
}

int main(void)
{
    return tests_run("csv", NULL, NULL);
}
