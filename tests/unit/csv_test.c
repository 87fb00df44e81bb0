/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/csv.h"
#include "base/text.h"

/* What came: "[line:column text]" for each field, ";" and the row's line after each row. */
struct record {
    char text[4096];
    size_t rows, stop_after;
};

static bool on_field(void *context, const struct csv_field *field)
{
    struct record *record = context;
    size_t used = strlen(record->text);
    snprintf(record->text + used, sizeof record->text - used, "[%zu:%zu %.*s]", field->line,
             field->column, (int)field->length, field->bytes);
    return true;
}

static bool on_row(void *context, size_t fields, size_t line)
{
    struct record *record = context;
    size_t used = strlen(record->text);
    snprintf(record->text + used, sizeof record->text - used, ";%zu/%zu ", line, fields);
    record->rows++;
    return record->stop_after == 0 || record->rows < record->stop_after;
}

/* Feeds `text` in chunks of `chunk` bytes. */
static enum csv_outcome read_all(const char *text, size_t length, size_t chunk,
                                 struct record *record)
{
    struct csv_sink sink = {record, on_field, on_row};
    struct csv_stream *stream = csv_stream_new(&sink, ',');
    enum csv_outcome outcome = CSV_READ;

    assert_non_null(stream);
    for (size_t at = 0; at < length && outcome == CSV_READ; at += chunk)
        outcome = csv_stream_feed(stream, text + at, length - at < chunk ? length - at : chunk);
    if (outcome == CSV_READ)
        outcome = csv_stream_finish(stream);
    csv_stream_free(stream);
    return outcome;
}

static void check(const char *text, const char *want)
{
    for (size_t chunk = 1; chunk < 40; chunk += 3) {
        struct record record = {.rows = 0};
        assert_int_equal(read_all(text, strlen(text), chunk, &record), CSV_READ);
        assert_string_equal(record.text, want);
    }
}

static void rows_fields_and_positions(void **state)
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

static void quotes_hold_commas_lines_and_quotes(void **state)
{
    (void)state;
    check("\"a,b\",c\nd\n", "[1:1 a,b][1:7 c];1/2 [2:1 d];2/1 ");
    check("\"a\nb\",c\nd\n", "[1:1 a\nb][2:4 c];1/2 [3:1 d];3/1 ");
    check("\"say \"\"x\"\"\",c\n", "[1:1 say \"x\"][1:13 c];1/2 ");
}

static void columns_count_characters(void **state)
{
    (void)state;
    check("\xC2\xB0"
          "C,b\n",
          "[1:1 \xC2\xB0"
          "C][1:4 b];1/2 ");
}

static void what_is_no_table_is_refused(void **state)
{
    (void)state;
    struct record record = {.rows = 0};
    assert_int_equal(read_all("a\"b,c\n", 6, 6, &record), CSV_MALFORMED);
    assert_int_equal(read_all("\"a\"b,c\n", 7, 7, &record), CSV_MALFORMED);
    assert_int_equal(read_all("\"never ends\n", 12, 12, &record), CSV_MALFORMED);
    assert_int_equal(read_all("a,\0b\n", 5, 5, &record), CSV_MALFORMED);
}

static void a_fault_has_a_position(void **state)
{
    (void)state;
    struct record record = {.rows = 0};
    struct csv_sink sink = {&record, on_field, on_row};
    struct csv_stream *stream = csv_stream_new(&sink, ',');
    size_t line, column;
    assert_int_equal(csv_stream_feed(stream, "a,b\n1,x\"2\n", 10), CSV_MALFORMED);
    csv_stream_position(stream, &line, &column);
    assert_int_equal(line, 2);
    assert_int_equal(column, 4);
    assert_int_equal(csv_stream_feed(stream, "a", 1), CSV_MALFORMED);
    assert_int_equal(csv_stream_finish(stream), CSV_MALFORMED);
    csv_stream_free(stream);
    csv_stream_free(NULL);
}

static void endless_fields_are_bounded(void **state)
{
    (void)state;
    size_t length = 1000000;
    char *text = malloc(length);
    assert_non_null(text);
    memset(text, 'x', length);
    struct record record = {.rows = 0};
    assert_int_equal(read_all(text, length, 65536, &record), CSV_TOO_LONG);
    text[0] = '"';
    assert_int_equal(read_all(text, length, 1000, &record), CSV_TOO_LONG);
    free(text);
}

static void a_callback_can_stop(void **state)
{
    (void)state;
    struct record record = {.stop_after = 2};
    assert_int_equal(read_all("a\nb\nc\nd\n", 8, 100, &record), CSV_STOPPED);
    assert_int_equal(record.rows, 2);
}

struct one_field {
    size_t length;
    char head[64];
};

static bool keep_field(void *context, const struct csv_field *field)
{
    struct one_field *one = context;
    one->length = field->length;
    memcpy(one->head, field->bytes, field->length < 64 ? field->length : 64);
    return true;
}

static bool any_row(void *context, size_t fields, size_t line)
{
    (void)context, (void)line;
    return fields == 1;
}

/* Lengths up to, at and beyond the limit of long fields. */
static void long_fields_are_read_when_allowed(void **state)
{
    (void)state;
    static const size_t lengths[] = {4097, 1000000, CSV_LONG_LIMIT, CSV_LONG_LIMIT + 1};
    char *text = malloc(CSV_LONG_LIMIT + 4);
    assert_non_null(text);
    for (size_t i = 0; i < 4; i++) {
        struct one_field one = {0};
        struct csv_sink sink = {&one, keep_field, any_row};
        struct csv_stream *stream = csv_stream_new(&sink, ',');
        csv_stream_allow_long(stream);
        memset(text, 'x', lengths[i]);
        text[lengths[i]] = '\n';
        bool fits = lengths[i] <= CSV_LONG_LIMIT;
        assert_int_equal(csv_stream_feed(stream, text, lengths[i] + 1),
                         fits ? CSV_READ : CSV_TOO_LONG);
        if (fits)
            assert_int_equal(one.length, lengths[i]);
        csv_stream_free(stream);
    }
    free(text);
}

/* Whatever is written is read back as it was. */
static void written_fields_read_back(void **state)
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
        struct csv_sink sink = {&one, keep_field, any_row};
        struct csv_stream *stream = csv_stream_new(&sink, ',');
        text_init(&out);
        csv_write_field(&out, fields[i][0], strlen(fields[i][0]));
        assert_string_equal(out.bytes, fields[i][1]);
        text_puts(&out, "\r\n");
        assert_int_equal(csv_stream_feed(stream, out.bytes, out.length), CSV_READ);
        assert_int_equal(csv_stream_finish(stream), CSV_READ);
        assert_int_equal(one.length, strlen(fields[i][0]));
        assert_memory_equal(one.head, fields[i][0], one.length);
        csv_stream_free(stream);
        text_release(&out);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rows_fields_and_positions),
        cmocka_unit_test(quotes_hold_commas_lines_and_quotes),
        cmocka_unit_test(columns_count_characters),
        cmocka_unit_test(what_is_no_table_is_refused),
        cmocka_unit_test(a_fault_has_a_position),
        cmocka_unit_test(endless_fields_are_bounded),
        cmocka_unit_test(a_callback_can_stop),
        cmocka_unit_test(long_fields_are_read_when_allowed),
        cmocka_unit_test(written_fields_read_back),
    };
    cmocka_set_message_output(CM_OUTPUT_TAP);
    return cmocka_run_group_tests_name("csv", tests, NULL, NULL);
}
