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

json_t *view_json(const char *keys, ...)
{
    json_t *object = json_object();
    va_list values;
    va_start(values, keys);
    for (const char *at = keys; *at != '\0'; at += strspn(at, " ")) {
        size_t length = strcspn(at, ":");
        json_t *value = next_value(at[length + 1], &values);
        json_object_setn_new(object, at, length, value);
        at += length + 2;
    }
    va_end(values);
    return object;
}

json_t *view_json_number(double number)
{
    return isfinite(number) ? json_real(number) : json_null();
}

static json_t *safe_string(const char *words, bool keep_newlines)
{
    struct text safe;
    text_init(&safe);
    text_safe(&safe, words, strlen(words),
              &(struct text_safe_options){.keep_newlines = keep_newlines});
    json_t *made = json_stringn(safe.bytes, safe.length);
    text_release(&safe);
    return made;
}

json_t *view_json_text(const char *text)
{
    return text == NULL || text[0] == '\0'                         ? json_null()
           : utf8_valid_prefix(text, strlen(text)) == strlen(text) ? json_string(text)
                                                                   : safe_string(text, true);
}

json_t *view_json_safe(const char *words)
{
    return safe_string(words, false);
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

/* What stands under a dotted path, which begins where its first key is known; "." is what the innermost list
 * has here. NULL where there is nothing. */
static const json_t *found(const struct context *context, const char *path)
{
    const json_t *tree = NULL;
    if (strcmp(path, ".") == 0)
        return context->tree;
    for (const char *at = path; *at != '\0';) {
        char key[64];
        const size_t length = strcspn(at, ".");
        snprintf(key, sizeof key, "%.*s", (int)length, at);
        for (; at == path && context != NULL && tree == NULL; context = context->outer)
            tree = json_object_get(context->tree, key);
        if (at != path)
            tree = json_is_array(tree) ? json_array_get(tree, strtoul(key, NULL, 10))
                                       : json_object_get(tree, key);
        at += length + (at[length] == '.');
    }
    return tree;
}

/* A number, the length of a list or of a string; NAN for what is not there. */
static double number_at(const struct context *context, const char *path)
{
    if (strcmp(path, "#") == 0)
        return (double)context->at;
    if (strcmp(path, "page") == 0)
        return context->page;
    const json_t *value = found(context, path);
    return json_is_number(value)   ? json_number_value(value)
           : json_is_true(value)   ? 1.0
           : json_is_false(value)  ? 0.0
           : json_is_array(value)  ? (double)json_array_size(value)
           : json_is_string(value) ? (double)json_string_length(value)
           : json_is_object(value) ? 1.0
                                   : NAN;
}

/* One of "key", "key=word", "key>1", "key<0.5", "key=$key"; nothing is equal, above or below what is not
 * there. The test is cut in two. */
static bool holds_one(const struct context *context, char *test)
{
    char *with = test + strcspn(test, "=<>"), operation = *with;
    const json_t *value, *other;
    double number, bound;
    if (operation != '\0')
        *with++ = '\0';
    value = found(context, test);
    number = number_at(context, test);
    if (operation == '\0')
        return !isnan(number) && number != 0.0;
    other = with[0] == '$' ? found(context, with + 1) : NULL;
    if (json_is_string(value))
        return other != NULL ? json_equal(value, other)
                             : strcmp(json_string_value(value), with) == 0;
    bound = with[0] == '$' ? number_at(context, with + 1) : strtod(with, NULL);
    return operation == '>'   ? number > bound
           : operation == '<' ? number < bound
                              : fabs(number - bound) < 1e-9;
}

/* All of what "&" joins, blanks around it or not; "!" before one turns it round. */
static bool holds(const struct context *context, const char *tests)
{
    bool all = true;
    while (all && *tests != '\0') {
        char test[128];
        tests += strspn(tests, " ");
        const size_t length = strcspn(tests, "&");
        snprintf(test, sizeof test, "%.*s", (int)length, tests);
        for (size_t end = strlen(test); end > 0 && test[end - 1] == ' ';)
            test[--end] = '\0';
        all = holds_one(context, test + (test[0] == '!')) == (test[0] != '!');
        tests += length + (tests[length] == '&');
    }
    return all;
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
                      const char *format)
{
    const double number = number_at(context, path);
    const char *string = json_string_value(found(context, path));
    const char *today = json_string_value(found(context, "_today"));
    const bool when = strcmp(format, "when") == 0;
    char room[MOMENT_ROOM];
    int64_t day, now;
    size_t before = out->length;
    if (string == NULL && !isnan(number))
        put_number(out, number, format[0] != '\0' ? format : "0.0f");
    else if (string != NULL && (when || strcmp(format, "day") == 0) &&
             day_read(string, &day) != NULL) {
        if (when && today != NULL && day_read(today, &now) != NULL)
            put_when(out, day, now);
        else
            text_puts(out, day_write(day, DAY_WORDS, room));
    } else if (string != NULL && strcmp(format, "date") == 0) /* of a moment */
        text_printf(out, "%.10s", string);
    else if (string != NULL && strncmp(format, "fit", 3) == 0)
        text_fit(out, string, strtoul(format + 3, NULL, 10), context->page);
    else if (string != NULL && strncmp(format, "pad", 3) == 0) {
        const size_t columns = format[3] != '\0' ? strtoul(format + 3, NULL, 10)
                                                 : (size_t)number_at(context, "_columns");
        text_fit(out, string, columns, false);
        const size_t used = utf8_width(out->bytes + before, out->length - before);
        text_printf(out, "%*s", used < columns ? (int)(columns - used) : 0, "");
    } else if (string != NULL)
        text_puts(out, string);
    if (strcmp(format, "capital") == 0)
        out->bytes[before] = (char)toupper((unsigned char)out->bytes[before]);
    for (size_t i = before; strcmp(format, "words") == 0 && i < out->length; i++)
        out->bytes[i] = out->bytes[i] == '_' ? ' ' : out->bytes[i];
}

/* ---- words ----------------------------------------------------------------------------------- */

/* How far words go up to one of these bytes outside of braces. */
static size_t reach(const char *words, const char *stops)
{
    size_t at = 0;
    for (int depth = 0; words[at] != '\0'; at++) {
        if (depth == 0 && strchr(stops, words[at]) != NULL)
            break;
        depth += (words[at] == '{') - (words[at] == '}');
    }
    return at;
}

/* Cuts the words off at one of these bytes outside of braces: what stood there, and what behind it. */
static char cut_at(char *words, const char *stops, char **rest)
{
    char *end = words + reach(words, stops), stop = *end;
    *rest = end + (stop != '\0');
    *end = '\0';
    return stop;
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

static void put_words(struct text *out, const struct context *context, const char *words);
static const char *const *say_lines(const struct face *face, const char *const *line,
                                    const struct context *context, struct text *words, bool said);

/* "LIST|JOINT|LAST JOINT|WORDS": those of each member, joined. Members that say nothing are left out. */
static void put_list(struct text *out, const struct context *context, char *parts)
{
    char *joint, *last, *words;
    cut_at(parts, "|", &joint);
    cut_at(joint, "|", &last);
    cut_at(last, "|", &words);
    const json_t *list = found(context, parts);
    bool any = false;
    for (size_t i = 0; i < member_count(list); i++) {
        const struct context inner = member(context, list, i);
        size_t before = out->length;
        text_puts(out, !any ? "" : i + 1 < member_count(list) ? joint : last);
        size_t bare = out->length;
        put_words(out, &inner, words);
        any = any || out->length > bare;
        if (out->length == bare)
            text_cut(out, before);
    }
}

/* What stands in braces; it is cut in parts. */
static void put_braces(struct text *out, const struct context *context, char *inside)
{
    char *rest, *other;
    if (inside[0] == '@')
        put_list(out, context, inside + 1);
    else if (strncmp(inside, "use ", 4) == 0)
        say_lines(&(struct face){NULL, NULL}, view_template(inside + 4), context, out, true);
    else {
        const char kind = cut_at(inside, "?| ", &rest);
        if (kind == '\0' || kind == ' ') {
            put_value(out, context, inside, rest);
            return;
        }
        bool first = kind == '?' ? holds(context, inside) : number_at(context, inside) == 1.0;
        cut_at(rest, "|", &other);
        put_words(out, context, first ? rest : other);
    }
}

static void put_words(struct text *out, const struct context *context, const char *words)
{
    for (const char *open; (open = strchr(words, '{')) != NULL;) {
        char *inside = text_format("%.*s", (int)reach(open + 1, "}"), open + 1);
        text_add(out, words, (size_t)(open - words));
        words = open + 1 + strlen(inside);
        words += *words == '}';
        put_braces(out, context, inside);
        free(inside);
    }
    text_puts(out, words);
}

/* ---- lines ----------------------------------------------------------------------------------- */

enum how { /* words are said on a screen */
           UNSAID,
           SAY,
           ITEM,  /* behind a hyphen */
           ALERT, /* behind an exclamation mark */
           HEAD,
           BLANK,
           ROW, /* "26 LABEL || REST": with a label of so many columns; "_" is a line to write on */
           PRE,
           TREE,   /* "4 WORDS": indented by so many columns */
           NUMBER, /* "7. WORDS": an item of a list of less than a hundred */
};

/* A block of words on a screen, and as an element of a page: NULL for none, "<" for markup as it stands, with
 * "\n" a line of it, "" for words alone. */
static const struct block {
    const char *name;
    enum how how;
    size_t indent, hang;
    enum role role;
    const char *tag, *attributes;
} blocks[] = {
    {"lead", SAY, 0, 0, ROLE_STRONG, "p", "class=\"lead\""},
    {"title", SAY, 0, 0, ROLE_STRONG, "h1", NULL},
    {"strong", SAY, 0, 2, ROLE_STRONG, "p", NULL},
    {"say", SAY, 0, 2, ROLE_PLAIN, "p", NULL},
    {"aside", SAY, 0, 2, ROLE_QUIET, "p", NULL},
    {"plain", SAY, 0, 0, ROLE_PLAIN, "p", NULL},
    {"quiet", SAY, 0, 0, ROLE_QUIET, "p", "class=\"quiet\""},
    {"caution", SAY, 5, 0, ROLE_WARN, "p", "class=\"caution\""},
    {"warn", SAY, 0, 2, ROLE_WARN, "p", NULL},
    {"late", SAY, 0, 0, ROLE_WARN, "p", NULL},
    {"alert", ALERT, 0, 0, ROLE_WARN, "p", NULL},
    {"keep", SAY, 0, 0, ROLE_KEEP, "p", NULL},
    {"isolate", SAY, 0, 0, ROLE_ISOLATE, "p", NULL},
    {"discard", SAY, 0, 0, ROLE_DISCARD, "p", NULL},
    {"clash", SAY, 0, 2, ROLE_ISOLATE, "p", NULL},
    {"group-keep", SAY, 0, 2, ROLE_KEEP, "p", NULL}, /* of vessels that came out the same */
    {"group-discard", SAY, 0, 2, ROLE_DISCARD, "p", NULL},
    {"under", SAY, 5, 0, ROLE_PLAIN, "p", NULL}, /* of a culprit */
    {"below", SAY, 2, 0, ROLE_PLAIN, "p", NULL}, /* of a section */
    {"below-quiet", SAY, 2, 0, ROLE_QUIET, "p", "class=\"quiet\""},
    {"far-quiet", SAY, 14, 0, ROLE_QUIET, "p", NULL},
    {"hanging", SAY, 0, 4, ROLE_PLAIN, "p", NULL},
    {"inner", SAY, 2, 2, ROLE_PLAIN, "p", NULL},
    {"inner-quiet", SAY, 2, 2, ROLE_QUIET, "p", NULL},
    {"inner-far", SAY, 2, 4, ROLE_PLAIN, "p", NULL},
    {"deep", SAY, 4, 0, ROLE_PLAIN, "p", NULL},
    {"deep-quiet", SAY, 4, 2, ROLE_QUIET, "p", NULL},
    {"line", SAY, 2, 0, ROLE_PLAIN, "li", NULL},
    {"item", ITEM, 2, 0, ROLE_PLAIN, "li", NULL},
    {"cite", ITEM, 2, 0, ROLE_QUIET, "li", NULL},
    {"item-under", ITEM, 4, 0, ROLE_PLAIN, "li", NULL},
    {"item-deep", ITEM, 5, 0, ROLE_PLAIN, "li", NULL},
    {"numbered", NUMBER, 1, 0, ROLE_STRONG, "h3", NULL},
    {"head", HEAD, 0, 0, ROLE_STRONG, "h3", NULL},
    {"screen-head", HEAD, 0, 0, ROLE_STRONG, NULL, NULL},
    {"blank", BLANK, 0, 0, ROLE_PLAIN, NULL, NULL},
    {"row", ROW, 2, 0, ROLE_PLAIN, NULL, NULL},
    {"row-out", ROW, 0, 0, ROLE_PLAIN, NULL, NULL},
    {"row-deep", ROW, 4, 0, ROLE_PLAIN, NULL, NULL},
    {"pre", PRE, 2, 0, ROLE_PLAIN, NULL, NULL},
    {"tree", TREE, 0, 2, ROLE_PLAIN, NULL, NULL},
    {"tag", UNSAID, 0, 0, ROLE_PLAIN, "<\n", NULL},
    {"open", UNSAID, 0, 0, ROLE_PLAIN, "<", NULL},
    {"text", UNSAID, 0, 0, ROLE_PLAIN, "", NULL},
    {"caption", UNSAID, 0, 0, ROLE_PLAIN, "caption", NULL},
    {"td", UNSAID, 0, 0, ROLE_PLAIN, "td", NULL},
    {"th", UNSAID, 0, 0, ROLE_PLAIN, "th", "scope=\"row\""},
};

static void put_on_page(struct text *page, const struct block *block, const char *words)
{
    if (block->tag == NULL)
        return;
    if (block->tag[0] == '<')
        text_printf(page, "%s%s", words, block->tag + 1);
    else if (block->tag[0] != '\0')
        html_element(page, block->tag, block->attributes, words);
    else {
        html_text(page, words);
        text_puts(page, "\n");
    }
}

static void put_on_screen(struct screen *screen, const struct block *block, char *words)
{
    char *label, *rest = strstr(words, " || "), line[SCREEN_WIDEST + 1], lead[8];
    const size_t number = strtoul(words, &label, 10);
    switch (block->how) {
    case SAY:
        screen_say(screen, block->indent, block->hang, block->role, "%s", words);
        break;
    case ITEM:
    case ALERT:
        screen_item(screen, block->indent, block->how == ITEM ? "-" : "!", block->role, words);
        break;
    case HEAD:
        screen_heading(screen, words);
        break;
    case BLANK:
        screen_blank(screen);
        break;
    case PRE:
        screen_preformatted(screen, block->indent, words);
        break;
    case ROW:
        *rest = '\0';
        rest += strlen(" || ");
        memset(line, '_', sizeof line);
        line[screen->width > number + 4 ? screen->width - number - 4 : 1] = '\0';
        screen_row(screen, block->indent, number, label + 1, strcmp(rest, "_") == 0 ? line : rest);
        break;
    case TREE:
        screen_say(screen, number, block->hang, block->role, "%s", label + 1);
        break;
    case NUMBER:
        snprintf(lead, sizeof lead, "%2zu.", number);
        screen_item(screen, block->indent, lead, block->role, label + 2);
        break;
    case UNSAID:
        break;
    }
}

/* A line that says something; paragraphs and items without words are left out. */
static void say_line(const struct face *face, const char *kind, struct text *words)
{
    const struct block *block = blocks, *end = blocks + sizeof blocks / sizeof *blocks;
    while (block < end && strcmp(block->name, kind) != 0)
        block++;
    const bool bare = block < end && block->how >= SAY && block->how <= ALERT && words->length == 0;
    if (block < end && !bare && face->screen != NULL)
        put_on_screen(face->screen, block, words->bytes);
    else if (block < end && !bare)
        put_on_page(face->page, block, words->bytes);
    text_clear(words);
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
        put_words(&cell, context, first + 4);
        line = view_template(cell.bytes);
        text_clear(&cell);
    }
    for (; *line != NULL && strstr(*line, " || ") != NULL && columns < TABLE_MOST; line++) {
        const char *heading = strstr(*line, "column ") + strlen("column ");
        words[columns++] = strstr(heading, " || ") + strlen(" || ");
        put_words(&cell, context, heading);
        *arena_push(arena, cells, count) =
            arena_copy(arena, cell.bytes, (size_t)(strstr(cell.bytes, " || ") - cell.bytes));
        text_clear(&cell);
    }
    for (size_t i = 0; i < json_array_size(list); i++) {
        const struct context inner = member(context, list, i);
        for (size_t k = 0; k < columns; k++) {
            put_words(&cell, &inner, words[k]);
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
            bool is = said && holds(context, rest);
            line = say_lines(face, line + 1, context, words, is);
            if (*line != NULL && strcmp(*line + strspn(*line, " "), "else") == 0)
                line = say_lines(face, line + 1, context, words, said && !is);
        } else if (strncmp(at, "for ", 4) == 0) {
            const json_t *list = said ? found(context, rest) : NULL;
            const char *const *body = line + 1;
            line = say_lines(face, body, context, words, false);
            for (size_t i = 0; i < member_count(list); i++) {
                const struct context inner = member(context, list, i);
                say_lines(face, body, &inner, words, true);
            }
        } else if (strncmp(at, "table ", 6) == 0 && said) {
            line = say_table(face, line + 1, context, found(context, rest));
        } else if (strncmp(at, "table ", 6) == 0) {
            line = say_lines(face, line + 1, context, words, false);
        } else if (!said || at[0] == '#' || at[0] == '\0') {
            continue;
        } else if (at[0] == '+') {
            put_words(words, context, at + 1);
        } else if (strncmp(at, "use ", 4) == 0) {
            say_lines(face, view_template(rest), context, words, true);
        } else if (strncmp(at, "part ", 5) == 0) {
            view_part(face, rest, context->tree);
        } else {
            char name[32];
            snprintf(name, sizeof name, "%.*s", (int)kind - (at[0] == '{'), at);
            if (at[0] == '{') /* it is the value of a key */
                snprintf(name, sizeof name, "%s", json_string_value(found(context, name + 1)));
            put_words(words, context, rest);
            say_line(face, name, words);
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

void view_sheet(struct text *page, const char *title, enum paper paper, const char *name,
                json_t *tree)
{
    char whole[32];
    snprintf(whole, sizeof whole, "style.%s", name);
    sheet_begin(page, title, paper, whole);
    snprintf(whole, sizeof whole, "%s.page", name);
    view_say_taken(&(struct face){.page = page}, whole, tree);
    html_end(page);
}

void view_words(struct text *out, const char *name, const json_t *tree)
{
    const struct context context = {tree, 0, false, NULL};
    say_lines(&(struct face){NULL, NULL}, view_template(name), &context, out, true);
}
