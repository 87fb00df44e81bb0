/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "view/tree.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/dates.h"
#include "base/units.h"

/* ---- JSON ------------------------------------------------------------------------------------ */

/* A value of that kind: the letters stand in tree.h. */
static json_t *next_value(char kind, va_list *values)
{
    const struct range *range;
    const char *string;
    switch (kind) {
    case 'r':
        range = va_arg(*values, const struct range *);
        return view_json("low:n central:n high:n", range->low, range->central, range->high);
    case 'n':
        return view_json_number(va_arg(*values, double));
    case 'z':
        return json_integer((json_int_t)va_arg(*values, size_t));
    case 'l':
        return json_integer(va_arg(*values, json_int_t));
    case 'i':
        return json_integer(va_arg(*values, int));
    case 'b':
        return json_boolean(va_arg(*values, int));
    case 's':
        string = va_arg(*values, const char *);
        return string != NULL ? json_string(string) : json_null();
    case 't':
        return view_json_safe(va_arg(*values, const char *));
    case 'w':
        return view_json_text(va_arg(*values, const char *));
    default:
        return va_arg(*values, json_t *);
    }
}

static void add_pairs(json_t *object, const char *keys, va_list *values)
{
    for (const char *at = keys; *at != '\0'; at += strspn(at, " ")) {
        size_t length = strcspn(at, ":");
        json_t *value = next_value(at[length + 1], values);
        json_object_setn_new(object, at, length, value);
        at += length + 2;
    }
}

json_t *view_json(const char *keys, ...)
{
    json_t *object = json_object();
    va_list values;
    va_start(values, keys);
    add_pairs(object, keys, &values);
    va_end(values);
    return object;
}

void view_json_add(json_t *object, const char *keys, ...)
{
    va_list values;
    va_start(values, keys);
    add_pairs(object, keys, &values);
    va_end(values);
}

void view_json_row(json_t *array, const char *keys, ...)
{
    json_t *object = json_object();
    va_list values;
    va_start(values, keys);
    add_pairs(object, keys, &values);
    va_end(values);
    json_array_append_new(array, object);
}

json_t *view_json_number(double number)
{
    return isfinite(number) ? json_real(number) : json_null();
}

json_t *view_json_text(const char *text)
{
    struct text safe;
    if (text == NULL || text[0] == '\0')
        return json_null();
    if (utf8_valid_prefix(text, strlen(text)) == strlen(text))
        return json_string(text);
    text_init(&safe);
    text_safe(&safe, text, strlen(text), &(struct text_safe_options){.keep_newlines = true});
    json_t *json = json_stringn(safe.bytes, safe.length);
    text_release(&safe);
    return json;
}

json_t *view_json_safe(const char *words)
{
    struct text safe;
    text_init(&safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){0});
    json_t *made = json_stringn(safe.bytes, safe.length);
    text_release(&safe);
    return made;
}

json_t *view_json_take(struct text *words)
{
    json_t *made = view_json_safe(words->bytes);
    text_release(words);
    return made;
}

json_t *view_json_first(const json_t *list, const char *key, double least, size_t most)
{
    json_t *made = json_array();
    for (size_t i = 0; i < json_array_size(list) && i < most; i++) {
        json_t *row = json_array_get(list, i);
        if (i > 0 && json_number_value(json_object_get(row, key)) < least)
            break;
        json_array_append(made, row);
    }
    return made;
}

json_t *view_json_strings(const char *const *strings, size_t count)
{
    json_t *array = json_array();
    for (size_t i = 0; i < count; i++)
        json_array_append_new(array, json_string(strings[i]));
    return array;
}

json_t *view_json_parts(const char *parts)
{
    json_t *array = json_array();
    while (parts != NULL && *parts != '\0') {
        const char *end = strstr(parts, "; ");
        size_t length = end != NULL ? (size_t)(end - parts) : strlen(parts);
        json_array_append_new(array, json_stringn(parts, length));
        parts += length + (end != NULL ? 2 : 0);
    }
    return array;
}

json_t *view_tree_public(json_t *tree)
{
    const char *key;
    json_t *value;
    void *next;
    size_t index;
    json_object_foreach_safe(tree, next, key, value)
    {
        if (key[0] == '_')
            json_object_del(tree, key);
        else
            view_tree_public(value);
    }
    json_array_foreach(tree, index, value)
    {
        view_tree_public(value);
    }
    return tree;
}

/* A table, row by row, the headings first. */
static void html_table(struct text *page, const char *const *cells, size_t columns, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        const bool head = i < columns, first = i % columns == 0;
        text_puts(page, i == 0 ? "<table>\n<thead><tr>" : first ? "<tr>" : "");
        html_element(page, head || first ? "th" : "td",
                     head    ? "scope=\"col\""
                     : first ? "scope=\"row\""
                             : NULL,
                     cells[i]);
        if (i % columns == columns - 1)
            text_puts(page, head ? "</tr></thead>\n<tbody>\n" : "</tr>\n");
    }
    text_puts(page, "</tbody>\n</table>\n");
}

/* ---- values ---------------------------------------------------------------------------------- */

/* Where a template looks for its keys: the innermost first. */
struct context {
    const json_t *tree;
    size_t at; /* counted from 1, within a list */
    bool page;
    const struct context *outer;
};

/* The first key of a dotted path, and what stands behind it. */
static const char *next_key(const char *path, size_t length, char key[64])
{
    size_t taken = 0;
    while (taken < length && path[taken] != '.')
        taken++;
    snprintf(key, 64, "%.*s", (int)taken, path);
    return path + taken + (taken < length);
}

/* What stands under a path in the tree; NULL where there is nothing. */
static const json_t *below(const json_t *tree, const char *path, size_t length)
{
    const char *end = path + length;
    char key[64];
    while (tree != NULL && path < end) {
        path = next_key(path, (size_t)(end - path), key);
        tree = json_is_array(tree) ? json_array_get(tree, strtoul(key, NULL, 10))
                                   : json_object_get(tree, key);
    }
    return tree;
}

/* "." is what the innermost list has here; other paths begin where their first key is known. */
static const json_t *found(const struct context *context, const char *path, size_t length)
{
    char key[64];
    if (length == 1 && path[0] == '.')
        return context->tree;
    next_key(path, length, key);
    while (context != NULL && json_object_get(context->tree, key) == NULL)
        context = context->outer;
    return context != NULL ? below(context->tree, path, length) : NULL;
}

/* A number, the length of a list or of a string; NAN for what is not there. */
static double number_at(const struct context *context, const char *path, size_t length)
{
    if (length == 1 && path[0] == '#')
        return (double)context->at;
    if (length == 4 && memcmp(path, "page", 4) == 0)
        return context->page;
    const json_t *value = found(context, path, length);
    return json_is_number(value)   ? json_number_value(value)
           : json_is_true(value)   ? 1.0
           : json_is_false(value)  ? 0.0
           : json_is_array(value)  ? (double)json_array_size(value)
           : json_is_string(value) ? (double)json_string_length(value)
           : json_is_object(value) ? 1.0
                                   : NAN;
}

/* One of "key", "!key", "key=word", "key>1", "key<0.5", "key=$key"; nothing is equal, above or below what
 * is not there. */
static bool holds_one(const struct context *context, const char *test, size_t length)
{
    bool wanted = test[0] != '!';
    test += !wanted;
    length -= !wanted;
    size_t path = 0;
    while (path < length && strchr("=<>", test[path]) == NULL)
        path++;
    double number = number_at(context, test, path);
    if (path == length)
        return (!isnan(number) && number != 0.0) == wanted;
    const char *with = test + path + 1;
    size_t rest = length - path - 1;
    const json_t *value = found(context, test, path);
    const json_t *other = with[0] == '$' ? found(context, with + 1, rest - 1) : NULL;
    if (json_is_string(value) && other != NULL)
        return json_equal(value, other) == wanted;
    if (json_is_string(value))
        return (json_string_length(value) == rest &&
                memcmp(json_string_value(value), with, rest) == 0) == wanted;
    double bound = with[0] == '$' ? number_at(context, with + 1, rest - 1) : strtod(with, NULL);
    bool is = test[path] == '>'   ? number > bound
              : test[path] == '<' ? number < bound
                                  : fabs(number - bound) < 1e-9;
    return is == wanted;
}

/* All of what " & " joins, or "&". */
static bool holds(const struct context *context, const char *test, size_t length)
{
    for (const char *end = test + length; test < end;) {
        test += *test == ' ';
        const char *joint = memchr(test, '&', (size_t)(end - test));
        size_t one = (size_t)((joint != NULL ? joint : end) - test);
        if (!holds_one(context, test, one - (joint != NULL && one > 0 && joint[-1] == ' ')))
            return false;
        test += one + (joint != NULL);
    }
    return true;
}

/* ---- formats --------------------------------------------------------------------------------- */

const char *view_percent(double p, char room[PERCENT_ROOM])
{
    if (p < 0.01)
        snprintf(room, PERCENT_ROOM, "under 1 %%");
    else if (p > 0.99)
        snprintf(room, PERCENT_ROOM, "over 99 %%");
    else
        snprintf(room, PERCENT_ROOM, "%.0f %%", 100.0 * p);
    return room;
}

/* "in 5 days": how far a day lies ahead of today, with its date where that is not near. */
static void put_when(struct text *out, int64_t day, int64_t today)
{
    static const char *const near[] = {"yesterday", "today", "tomorrow"};
    const long long ahead = (long long)(day - today);
    char date[MOMENT_ROOM];
    if (ahead >= -1 && ahead <= 1)
        text_puts(out, near[ahead + 1]);
    else
        text_printf(out, ahead < 0 ? "%s, %lld days ago" : "%s, in %lld days",
                    day_write(day, DAY_ISO, date), llabs(ahead));
}

/* A number by the name of its format:
 *   percent, chance   "96 %", "under 1 in 1000": as one says a chance
 *   p                 "0.0031", "below 0.0001": never without counts beside it
 *   logs              log reductions: beyond a hundred more figures mean nothing
 *   degrees, baredegrees, otherdegrees   in the scale that the grower reads; without it; in the other one
 *   floor, ceil       a whole number
 * or of its quantity, or as printf has it: ".1f", ".3g", "3.0f"; with % before it a share in per cent,
 * with - without its sign. */
static void put_number(struct text *out, double number, const char *format)
{
    static const struct {
        const char *name;
        enum dimension dimension;
    } quantities[] = {{"grams", DIM_GRAMS},
                      {"gauge", DIM_GAUGE_KPA},
                      {"metres", DIM_METRES},
                      {"pressure", DIM_PRESSURE_KPA}};
    char letter, room[PERCENT_ROOM], *end;
    const double shown = degrees_shown(number, &letter);
#define IS_FORMAT(name) (strcmp(format, name) == 0)
    for (size_t i = 0; i < sizeof quantities / sizeof *quantities; i++)
        if (IS_FORMAT(quantities[i].name)) {
            quantity_show(out, number, quantities[i].dimension);
            return;
        }
    const bool chance = IS_FORMAT("chance"), share = format[0] == '%', bare = format[0] == '-';
    if (chance && number < 0.001)
        text_puts(out, "under 1 in 1000");
    else if (chance && number < 0.1)
        text_printf(out, "%.2g %%", 100.0 * number);
    else if (chance || IS_FORMAT("percent"))
        text_puts(out, view_percent(number, room));
    else if (IS_FORMAT("p") && number < 0.0001)
        text_puts(out, "below 0.0001");
    else if (IS_FORMAT("p"))
        text_printf(out, number < 0.01 ? "%.4f" : "%.2f", number);
    else if (IS_FORMAT("logs"))
        text_printf(out, number > 100.0 ? "over 100" : "%.2g", number);
    else if (IS_FORMAT("degrees"))
        text_printf(out, "%.1f \xc2\xb0%c", shown, letter);
    else if (IS_FORMAT("baredegrees"))
        text_printf(out, "%.1f", shown);
    else if (IS_FORMAT("otherdegrees"))
        text_printf(out, "%.1f \xc2\xb0%c", letter == 'C' ? 1.8 * shown + 32.0 : number,
                    letter == 'C' ? 'F' : 'C');
    else if (IS_FORMAT("floor") || IS_FORMAT("ceil"))
        text_printf(out, "%.0f", format[0] == 'f' ? floor(number) : ceil(number));
    else {
        number = share ? 100.0 * number : bare ? fabs(number) : number;
        const int width = (int)strtol(format + (share || bare), &end, 10);
        const int digits = *end == '.' ? (int)strtol(end + 1, &end, 10) : 0;
        text_printf(out, *end == 'g' ? "%*.*g" : "%*.*f", width, digits, number);
    }
#undef IS_FORMAT
}

static void put_value(struct text *out, const struct context *context, const char *path,
                      size_t length, const char *format)
{
    const json_t *value = found(context, path, length);
    double number = number_at(context, path, length);
    const char *string = json_string_value(value);
    const json_t *today = found(context, "_today", strlen("_today"));
    const bool dated = strcmp(format, "day") == 0 || strcmp(format, "when") == 0;
    char room[MOMENT_ROOM];
    int64_t day, now = 0;
    size_t before = out->length;
    if (string == NULL && !isnan(number))
        put_number(out, number, format[0] != '\0' ? format : "0.0f");
    else if (string != NULL && dated && day_read(string, &day) != NULL) {
        if (today != NULL && format[0] == 'w' && day_read(json_string_value(today), &now) != NULL)
            put_when(out, day, now);
        else
            text_puts(out, day_write(day, DAY_WORDS, room));
    } else if (string != NULL && strcmp(format, "date") == 0) /* of a moment */
        text_printf(out, "%.10s", string);
    else if (string != NULL && strncmp(format, "fit", 3) == 0)
        text_fit(out, string, strtoul(format + 3, NULL, 10), context->page);
    else if (string != NULL)
        text_puts(out, string);
    if (strcmp(format, "capital") == 0)
        out->bytes[before] = (char)toupper((unsigned char)out->bytes[before]);
    for (size_t i = before; strcmp(format, "words") == 0 && i < out->length; i++)
        out->bytes[i] = out->bytes[i] == '_' ? ' ' : out->bytes[i];
}

/* ---- words ----------------------------------------------------------------------------------- */

/* How far words go up to one of these bytes outside of braces. */
static size_t reach(const char *words, size_t length, const char *stops)
{
    size_t at = 0;
    for (int depth = 0; at < length; at++) {
        if (depth == 0 && strchr(stops, words[at]) != NULL)
            break;
        depth += (words[at] == '{') - (words[at] == '}');
    }
    return at;
}

/* The next of the parts that '|' divides. */
static const char *next_part(const char **at, const char *end, size_t *length)
{
    const char *part = *at;
    *length = reach(part, (size_t)(end - part), "|");
    *at = part + *length < end ? part + *length + 1 : end;
    return part;
}

/* How many members a list has; an object counts as one of itself. */
static size_t member_count(const json_t *list)
{
    return json_is_object(list) ? 1 : json_array_size(list);
}

static struct context member(const struct context *context, const json_t *list, size_t index)
{
    const json_t *tree = json_is_object(list) ? list : json_array_get(list, index);
    return (struct context){tree, index + 1, context->page, context};
}

static void put_words(struct text *out, const struct context *context, const char *words,
                      size_t length);
static const char *const *say_lines(const struct face *face, const char *const *line,
                                    const struct context *context, struct text *words, bool said);

/* "LIST|JOINT|LAST JOINT|WORDS": those of each member, joined. Members that say nothing are left out. */
static void put_list(struct text *out, const struct context *context, const char *words,
                     const char *end)
{
    size_t lengths[4];
    const char *parts[4];
    for (size_t i = 0; i < 4; i++)
        parts[i] = next_part(&words, end, &lengths[i]);
    const json_t *list = found(context, parts[0], lengths[0]);
    bool any = false;
    for (size_t i = 0; i < member_count(list); i++) {
        const struct context inner = member(context, list, i);
        size_t before = out->length, joint = i + 1 < member_count(list) ? 1 : 2;
        if (any)
            text_add(out, parts[joint], lengths[joint]);
        size_t bare = out->length;
        put_words(out, &inner, parts[3], lengths[3]);
        any = any || out->length > bare;
        if (out->length == bare)
            text_cut(out, before);
    }
}

/* What stands in braces. */
static void put_braces(struct text *out, const struct context *context, const char *words,
                       size_t length)
{
    const char *end = words + length, *at = words;
    if (words[0] == '@' && length > 1) {
        put_list(out, context, words + 1, end);
        return;
    }
    if (length > 4 && memcmp(words, "use ", 4) == 0) {
        char name[32];
        snprintf(name, sizeof name, "%.*s", (int)length - 4, words + 4);
        say_lines(&(struct face){NULL, NULL}, view_template(name), context, out, true);
        return;
    }
    size_t path = reach(words, length, "?| "), yes, no;
    if (path == length || words[path] == ' ') {
        char format[16] = "";
        if (path < length)
            snprintf(format, sizeof format, "%.*s", (int)(length - path - 1), words + path + 1);
        put_value(out, context, words, path, format);
        return;
    }
    bool first =
        words[path] == '?' ? holds(context, words, path) : number_at(context, words, path) == 1.0;
    at = words + path + 1;
    const char *one = next_part(&at, end, &yes), *other = next_part(&at, end, &no);
    put_words(out, context, first ? one : other, first ? yes : no);
}

static void put_words(struct text *out, const struct context *context, const char *words,
                      size_t length)
{
    for (size_t at = 0; at < length;) {
        const char *open = memchr(words + at, '{', length - at);
        size_t plain = open != NULL ? (size_t)(open - words) - at : length - at;
        text_add(out, words + at, plain);
        at += plain;
        if (open == NULL)
            break;
        size_t inside = reach(words + at + 1, length - at - 1, "}");
        put_braces(out, context, words + at + 1, inside);
        at += inside + 2;
    }
}

/* ---- lines ----------------------------------------------------------------------------------- */

/* A block of words on a screen, and as an element of a page. */
static const struct block {
    const char *name;
    size_t indent, hang;
    enum role role;
    const char *bullet, *tag, *attributes;
} blocks[] = {
    {"lead", 0, 0, ROLE_STRONG, NULL, "p", "class=\"lead\""},
    {"title", 0, 0, ROLE_STRONG, NULL, "h1", NULL},
    {"strong", 0, 2, ROLE_STRONG, NULL, "p", NULL},
    {"say", 0, 2, ROLE_PLAIN, NULL, "p", NULL},
    {"aside", 0, 2, ROLE_QUIET, NULL, "p", NULL},
    {"plain", 0, 0, ROLE_PLAIN, NULL, "p", NULL},
    {"quiet", 0, 0, ROLE_QUIET, NULL, "p", "class=\"quiet\""},
    {"caution", 5, 0, ROLE_WARN, NULL, "p", "class=\"caution\""},
    {"warn", 0, 2, ROLE_WARN, NULL, "p", NULL},
    {"late", 0, 0, ROLE_WARN, NULL, "p", NULL},
    {"alert", 0, 0, ROLE_WARN, "!", "p", NULL},
    {"keep", 0, 0, ROLE_KEEP, NULL, "p", NULL},
    {"isolate", 0, 0, ROLE_ISOLATE, NULL, "p", NULL},
    {"discard", 0, 0, ROLE_DISCARD, NULL, "p", NULL},
    {"clash", 0, 2, ROLE_ISOLATE, NULL, "p", NULL},
    {"group-keep", 0, 2, ROLE_KEEP, NULL, "p", NULL}, /* of vessels that came out the same */
    {"group-discard", 0, 2, ROLE_DISCARD, NULL, "p", NULL},
    {"under", 5, 0, ROLE_PLAIN, NULL, "p", NULL}, /* of a culprit */
    {"below", 2, 0, ROLE_PLAIN, NULL, "p", NULL}, /* of a section */
    {"below-quiet", 2, 0, ROLE_QUIET, NULL, "p", "class=\"quiet\""},
    {"far-quiet", 14, 0, ROLE_QUIET, NULL, "p", NULL},
    {"hanging", 0, 4, ROLE_PLAIN, NULL, "p", NULL},
    {"hanging-warn", 0, 4, ROLE_WARN, NULL, "p", NULL},
    {"danger", 0, 0, ROLE_WARN, "!", "li", NULL},
    {"inner", 2, 2, ROLE_PLAIN, NULL, "p", NULL},
    {"inner-quiet", 2, 2, ROLE_QUIET, NULL, "p", NULL},
    {"inner-far", 2, 4, ROLE_PLAIN, NULL, "p", NULL},
    {"deep", 4, 0, ROLE_PLAIN, NULL, "p", NULL},
    {"deep-quiet", 4, 2, ROLE_QUIET, NULL, "p", NULL},
    {"line", 2, 0, ROLE_PLAIN, NULL, "li", NULL},
    {"item", 2, 0, ROLE_PLAIN, "-", "li", NULL},
    {"cite", 2, 0, ROLE_QUIET, "-", "li", NULL},
    {"item-under", 4, 0, ROLE_PLAIN, "-", "li", NULL},
    {"item-deep", 5, 0, ROLE_PLAIN, "-", "li", NULL},
    {"numbered", 1, 0, ROLE_STRONG, NULL, "h3", NULL},
};

/* Says a block, when there are words. */
static void put_block(const struct face *face, const struct block *block, const struct text *words)
{
    if (words->length == 0)
        return;
    if (face->page != NULL)
        html_element(face->page, block->tag, block->attributes, words->bytes);
    else if (block->bullet != NULL)
        screen_item(face->screen, block->indent, block->bullet, block->role, words->bytes);
    else
        screen_say(face->screen, block->indent, block->hang, block->role, "%s", words->bytes);
}

/* "26 LABEL || REST": a row whose label has so many columns. "_" is a line to write on. */
static void put_row(struct screen *screen, size_t indent, struct text *words)
{
    char *label, *rest, line[SCREEN_WIDEST + 1];
    size_t width = strtoul(words->bytes, &label, 10);
    label += *label == ' ';
    rest = strstr(label, " || ");
    if (rest == NULL)
        return;
    *rest = '\0';
    rest += strlen(" || ");
    memset(line, '_', sizeof line);
    line[screen->width - width - 4] = '\0';
    screen_row(screen, indent, width, label, strcmp(rest, "_") == 0 ? line : rest);
}

/* "7. WORDS", as an item of a list of less than a hundred. */
static void put_numbered(struct screen *screen, const char *words)
{
    const char *rest = strchr(words, ' ');
    char lead[8];
    if (rest == NULL)
        return;
    snprintf(lead, sizeof lead, "%3.*s", (int)(rest - words), words);
    screen_item(screen, 1, lead, ROLE_STRONG, rest + 1);
}

/* A table of the members of a list: its lines "column HEADING || WORDS" begin at `line`, or "use NAME" names
 * them. Returns that which ends it. */
static const char *const *say_table(const struct face *face, const char *const *line,
                                    const struct context *context, const json_t *list)
{
    const char *words[TABLE_MOST], **cells = NULL;
    struct arena *arena = arena_new();
    struct text cell;
    size_t columns = 0, count = 0;
    const char *first = *line + strspn(*line, " "), *const *end = line + 1;
    const bool used = strncmp(first, "use ", 4) == 0;

    text_init(&cell);
    if (used) {
        put_words(&cell, context, first + 4, strlen(first + 4));
        line = view_template(cell.bytes);
        text_clear(&cell);
    }
    for (; *line != NULL && strstr(*line, " || ") != NULL && columns < TABLE_MOST; line++) {
        const char *heading = strstr(*line, "column ") + strlen("column ");
        const char *rest = strstr(heading, " || ");
        put_words(&cell, context, heading, (size_t)(rest - heading));
        *arena_push(arena, cells, count) = arena_string(arena, cell.bytes);
        words[columns++] = rest + strlen(" || ");
        text_clear(&cell);
    }
    for (size_t i = 0; i < json_array_size(list); i++) {
        const struct context inner = member(context, list, i);
        for (size_t k = 0; k < columns; k++) {
            put_words(&cell, &inner, words[k], strlen(words[k]));
            *arena_push(arena, cells, count) = arena_string(arena, cell.bytes);
            text_clear(&cell);
        }
    }
    text_release(&cell);
    if (face->screen != NULL)
        screen_table(face->screen, cells, columns, count / columns);
    else
        html_table(face->page, cells, columns, count);
    arena_free(arena);
    return used ? end : line;
}

/* A line that says something; `words` are what stood before it on lines of their own. */
static void say_line(const struct face *face, const char *kind, size_t length, struct text *words)
{
#define IS(name) (length == sizeof(name) - 1 && memcmp(kind, name, length) == 0)
    bool screen = face->screen != NULL;
    if (IS("tag") && !screen)
        text_printf(face->page, "%s\n", words->bytes);
    else if (IS("open") && !screen)
        text_puts(face->page, words->bytes);
    else if (IS("text") && !screen) {
        html_text(face->page, words->bytes);
        text_puts(face->page, "\n");
    } else if (IS("head") && !screen)
        html_element(face->page, "h3", NULL, words->bytes);
    else if ((IS("head") || IS("screen-head")) && screen)
        screen_heading(face->screen, words->bytes);
    else if (IS("pre") && screen)
        screen_preformatted(face->screen, 2, words->bytes);
    else if ((IS("td") || IS("caption")) && !screen)
        html_element(face->page, IS("td") ? "td" : "caption", NULL, words->bytes);
    else if (IS("th") && !screen)
        html_element(face->page, "th", "scope=\"row\"", words->bytes);
    else if (IS("blank") && screen)
        screen_blank(face->screen);
    else if ((IS("row") || IS("row-out") || IS("row-deep")) && screen)
        put_row(face->screen, IS("row") ? 2 : IS("row-deep") ? 4 : 0, words);
    else if (IS("numbered") && screen)
        put_numbered(face->screen, words->bytes);
    else if (IS("tree") && screen) /* "4 WORDS": indented by so many columns */
        screen_say(face->screen, strtoul(words->bytes, NULL, 10), 2, ROLE_PLAIN, "%s",
                   words->bytes + strcspn(words->bytes, " ") + 1);
    else
        for (size_t i = 0; i < sizeof blocks / sizeof *blocks; i++)
            if (strlen(blocks[i].name) == length && memcmp(blocks[i].name, kind, length) == 0)
                put_block(face, &blocks[i], words);
#undef IS
    text_clear(words);
}

/* Says lines up to the end of the template, or of what is not `said`: returns the line that ends them. */
static const char *const *say_lines(const struct face *face, const char *const *line,
                                    const struct context *context, struct text *words, bool said)
{
    for (; *line != NULL && strncmp(*line, "== ", 3) != 0; line++) {
        const char *at = *line + strspn(*line, " ");
        size_t kind = strcspn(at, " ");
        const char *rest = at[kind] != '\0' ? at + kind + 1 : at + kind;
        if (strcmp(at, "end") == 0 || strcmp(at, "else") == 0)
            return line;
        if (strncmp(at, "if ", 3) == 0) {
            bool is = said && holds(context, rest, strlen(rest));
            line = say_lines(face, line + 1, context, words, is);
            if (*line != NULL && strcmp(*line + strspn(*line, " "), "else") == 0)
                line = say_lines(face, line + 1, context, words, said && !is);
        } else if (strncmp(at, "for ", 4) == 0) {
            const json_t *list = said ? found(context, rest, strlen(rest)) : NULL;
            const char *const *body = line + 1;
            line = say_lines(face, body, context, words, false);
            for (size_t i = 0; i < member_count(list); i++) {
                const struct context inner = member(context, list, i);
                say_lines(face, body, &inner, words, true);
            }
        } else if (strncmp(at, "table ", 6) == 0 && said) {
            line = say_table(face, line + 1, context, found(context, rest, strlen(rest)));
        } else if (strncmp(at, "table ", 6) == 0) {
            line = say_lines(face, line + 1, context, words, false);
        } else if (!said || at[0] == '#' || at[0] == '\0') {
            continue;
        } else if (at[0] == '+') {
            put_words(words, context, at + 1, strlen(at + 1));
        } else if (strncmp(at, "use ", 4) == 0) {
            say_lines(face, view_template(rest), context, words, true);
        } else if (strncmp(at, "part ", 5) == 0) {
            view_part(face, rest, context->tree);
        } else {
            struct text named; /* the kind may be a value, too */
            text_init(&named);
            put_words(&named, context, at, kind);
            put_words(words, context, rest, strlen(rest));
            say_line(face, named.bytes, named.length, words);
            text_release(&named);
        }
    }
    return line;
}

void view_say(const struct face *face, const char *name, const json_t *tree)
{
    const struct context context = {tree, 0, face->page != NULL, NULL};
    struct text words;
    text_init(&words);
    say_lines(face, view_template(name), &context, &words, true);
    text_release(&words);
}

void view_say_taken(const struct face *face, const char *name, json_t *tree)
{
    view_say(face, name, tree);
    json_decref(tree);
}

void view_words(struct text *out, const char *name, const json_t *tree)
{
    const struct context context = {tree, 0, false, NULL};
    say_lines(&(struct face){NULL, NULL}, view_template(name), &context, out, true);
}
