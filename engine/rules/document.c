/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rules/document.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <yaml.h>

#include "base/filing.h"
#include "base/text.h"
#include "rules/rules.h"

/* ==== files =================================================================================== */

struct walk { /* through one of the folders */
    struct files *files;
    struct faults *faults;
    size_t folder;
};

static bool walk_into(struct walk *walk, const char *folder, unsigned depth);

static bool ends_in_yaml(const char *name)
{
    size_t length = strlen(name);
    return length > 5 && !strcmp(name + length - 5, ".yaml");
}

/* False when the walk is to stop. */
static bool add_file(struct walk *walk, const char *path)
{
    struct files *files = walk->files;
    if (files->count == FILES_MAX_COUNT) {
        fault_error(walk->faults, (struct position){0},
                    "more than %d .yaml files; name a folder that holds only rules or cases",
                    FILES_MAX_COUNT);
        return false;
    }
    if (files->count == files->room) {
        size_t room = files->room ? files->room * 2 : 64;
        struct file *list =
            arena_grow(files->scratch, files->list, files->count, room, sizeof *list);
        if (!list)
            return false;
        files->list = list;
        files->room = room;
    }
    files->list[files->count++] = (struct file){.path = path, .folder = walk->folder};
    return true;
}

/* A name found in a folder: a file to keep, a folder to walk into, or nothing of ours. */
static bool add_entry(struct walk *walk, const char *folder, const char *name, unsigned depth)
{
    const char *slash = folder[0] && folder[strlen(folder) - 1] == '/' ? "" : "/";
    const char *path = arena_format(walk->files->keep, "%s%s%s", folder, slash, name);
    if (!path)
        return false;
    struct stat about;
    if (stat(path, &about) != 0) {
        if (ends_in_yaml(name))
            fault_unreadable(walk->faults, path, errno);
        return true; /* a broken link that is no rule file is nobody's business */
    }
    if (S_ISDIR(about.st_mode))
        return walk_into(walk, path, depth + 1);
    return !ends_in_yaml(name) || add_file(walk, path);
}

static bool walk_into(struct walk *walk, const char *folder, unsigned depth)
{
    if (depth > FILES_MAX_DEPTH) {
        walk->faults->unreadable = true;
        fault_error(
            walk->faults, (struct position){0},
            "folders nest more than %d deep at '%s'; a link may point back to its own folder",
            FILES_MAX_DEPTH, fault_quote(walk->faults, folder));
        return false;
    }
    DIR *stream = opendir(folder);
    if (!stream) {
        fault_unreadable(walk->faults, folder, errno);
        return true;
    }
    bool going = true;
    errno = 0;
    /* No other thread knows this stream, and readdir_r is deprecated. */
    /* cppcheck-suppress readdirCalled */
    for (struct dirent *entry; going && (entry = readdir(stream)) != NULL; errno = 0)
        going = entry->d_name[0] == '.' || add_entry(walk, folder, entry->d_name, depth);
    if (going && errno)
        fault_unreadable(walk->faults, folder, errno);
    closedir(stream);
    return going;
}

static int by_path(const void *left, const void *right)
{
    const struct file *a = left;
    const struct file *b = right;
    return strcmp(a->path, b->path);
}

void files_find(struct files *files, const char *path, size_t folder, struct faults *faults)
{
    struct walk walk = {files, faults, folder};
    size_t first = files->count;
    struct stat about;
    if (stat(path, &about) != 0) {
        fault_unreadable(faults, path, errno);
    } else if (S_ISDIR(about.st_mode)) {
        walk_into(&walk, path, 0);
        if (files->count - first > 1)
            qsort(files->list + first, files->count - first, sizeof *files->list, by_path);
    } else {
        const char *kept = arena_string(files->keep, path);
        if (kept)
            add_file(&walk, kept);
    }
}

/* ---- contents -------------------------------------------------------------------------------- */

static bool size_fits(struct files *files, const struct file *file, off_t size,
                      struct faults *faults)
{
    const struct position at = {.file = file->path};
    if (size > FILES_MAX_BYTES) {
        fault_error(faults, at, "larger than %d MiB; split it into several files",
                    FILES_MAX_BYTES / 1024 / 1024);
        return false;
    }
    if ((size_t)size > FILES_MAX_TOTAL - files->total) {
        fault_error(faults, at, "with this file there is more than %d MiB; that is too much",
                    FILES_MAX_TOTAL / 1024 / 1024);
        return false;
    }
    return true;
}

/* One buffer for all files: their trees do not need it any more when the next one is read. */
static bool buffer_room(struct files *files, size_t size)
{
    if (size < files->buffer_size)
        return true;
    size_t room = size < FILES_MAX_BYTES / 2 ? size * 2 + 1 : size + 1;
    char *buffer = arena_alloc(files->scratch, room);
    if (!buffer)
        return false;
    files->buffer = buffer;
    files->buffer_size = room;
    return true;
}

static bool read_open(struct files *files, struct file *file, int descriptor, struct faults *faults)
{
    struct stat about;
    if (fstat(descriptor, &about) != 0) {
        fault_unreadable(faults, file->path, errno);
        return false;
    }
    if (!S_ISREG(about.st_mode)) {
        faults->unreadable = true;
        fault_error(faults, (struct position){0}, "cannot read '%s': it is not a file of text",
                    fault_quote(faults, file->path));
        return false;
    }
    if (!size_fits(files, file, about.st_size, faults))
        return false;
    if (!buffer_room(files, (size_t)about.st_size))
        return false;
    ssize_t length = filing_read(descriptor, files->buffer, (size_t)about.st_size);
    if (length < 0) {
        fault_unreadable(faults, file->path, errno);
        return false;
    }
    file->bytes = files->buffer;
    file->length = (size_t)length;
    files->total += (size_t)length;
    return true;
}

bool file_read(struct files *files, struct file *file, struct faults *faults)
{
    files->total -= file->length; /* when it is read again */
    file->length = 0;
    /* Without waiting: a pipe that somebody named .yaml must not hold us up. */
    int descriptor = open(file->path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (descriptor < 0) {
        fault_unreadable(faults, file->path, errno);
        return false;
    }
    bool read = read_open(files, file, descriptor, faults);
    close(descriptor);
    return read;
}

/* ==== faults ================================================================================== */

enum {
    FAULTS_MOST = 100,    /* nobody reads more, and a hostile file holds thousands */
    COMPARED_MOST = 4096, /* names, for the nearest one */
    MESSAGE_BYTES = 600,
    QUOTE_BYTES = 60,
    EXCERPT_POINTS = 76, /* fits a terminal */
};

static bool has_room(struct faults *faults)
{
    if (faults->count < faults->room)
        return true;
    size_t room = faults->room ? faults->room * 2 : 16;
    struct fault *list = arena_grow(faults->arena, faults->list, faults->count, room, sizeof *list);
    if (!list)
        return false;
    faults->list = list;
    faults->room = room;
    return true;
}

void fault_add(struct faults *faults, enum diag_kind kind, struct position at, const char *format,
               va_list arguments)
{
    if (kind == DIAG_ERROR)
        faults->errors++;
    if (faults->count >= FAULTS_MOST || !has_room(faults))
        return;
    char message[MESSAGE_BYTES];
    (void)vsnprintf(message, sizeof message, format, arguments);
    const char *kept = arena_string(faults->arena, message);
    if (kept)
        faults->list[faults->count++] = (struct fault){kind, at, kept};
}

void fault_error(struct faults *faults, struct position at, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    fault_add(faults, DIAG_ERROR, at, format, arguments);
    va_end(arguments);
}

void fault_unreadable(struct faults *faults, const char *path, int error)
{
    faults->unreadable = true;
    fault_error(faults, (struct position){0}, "cannot read '%s': %s", fault_quote(faults, path),
                strerror(error));
}

const char *fault_quote(struct faults *faults, const char *text)
{
    size_t length = strlen(text);
    if (length <= QUOTE_BYTES)
        return text;
    length = QUOTE_BYTES;
    while (length && ((unsigned char)text[length] & 0xC0) == 0x80) /* not within a character */
        length--;
    const char *cut = arena_format(faults->arena, "%.*s...", (int)length, text);
    return cut ? cut : "...";
}

const char *fault_nearest(const struct faults *faults, const char *word, const char *const *names,
                          size_t count)
{
    if (faults->count >= FAULTS_MOST || count > COMPARED_MOST)
        return NULL;
    return diag_nearest(word, names, count);
}

const char *fault_hint(struct faults *faults, const char *nearest)
{
    const char *hint =
        nearest ? arena_format(faults->arena, "; did you mean '%s'?", nearest) : NULL;
    return hint ? hint : "";
}

/* ---- telling --------------------------------------------------------------------------------- */

/* A fault with the place of its file in the order of reading; those without a file come first. */
struct placed {
    const struct fault *fault;
    size_t file; /* index + 1 */
};

static int by_place(const void *left, const void *right)
{
    const struct placed *a = left;
    const struct placed *b = right;
    if (a->file != b->file)
        return a->file < b->file ? -1 : 1;
    if (a->fault->at.line != b->fault->at.line)
        return a->fault->at.line < b->fault->at.line ? -1 : 1;
    if (a->fault->at.column != b->fault->at.column)
        return a->fault->at.column < b->fault->at.column ? -1 : 1;
    int order = strcmp(a->fault->message, b->fault->message);
    if (order)
        return order;
    return a->fault < b->fault ? -1 : a->fault > b->fault;
}

static size_t file_place(const struct files *files, const char *path)
{
    for (size_t i = 0; path && i < files->count; i++)
        if (files->list[i].path == path)
            return i + 1;
    return 0;
}

/* What several users of one shared block complain about is one fault. */
static bool same_fault(const struct fault *a, const struct fault *b)
{
    return a->kind == b->kind && a->at.file == b->at.file && a->at.line == b->at.line &&
           a->at.column == b->at.column && !strcmp(a->message, b->message);
}

/* Steps over `points` characters of UTF-8. */
static const char *skip_points(const char *bytes, const char *end, size_t points)
{
    for (; points && bytes < end; points--)
        do
            bytes++;
        while (bytes < end && ((unsigned char)*bytes & 0xC0) == 0x80);
    return bytes;
}

/* The line a fault stands on, or the part of it around the fault. */
static void attach_excerpt(const struct file *file, const struct fault *fault, struct diags *diags)
{
    const char *line = file->bytes;
    const char *end = file->bytes + file->length;
    for (size_t n = 1; line && n < fault->at.line; n++) {
        line = memchr(line, '\n', (size_t)(end - line));
        line = line ? line + 1 : NULL;
    }
    if (!line || !fault->at.line || !fault->at.column)
        return;
    const char *stop = memchr(line, '\n', (size_t)(end - line));
    end = stop ? stop : end;
    if (end > line && end[-1] == '\r')
        end--;
    if (utf8_valid_prefix(line, (size_t)(end - line)) < (size_t)(end - line))
        return;
    size_t before = fault->at.column - 1;
    size_t skip = before > EXCERPT_POINTS / 2 ? before - EXCERPT_POINTS / 2 : 0;
    if (utf8_count(line, (size_t)(end - line)) <= EXCERPT_POINTS)
        skip = 0;
    const char *from = skip_points(line, end, skip);
    const char *until = skip_points(from, end, EXCERPT_POINTS);
    struct text excerpt;
    text_init(&excerpt);
    text_add(&excerpt, from, (size_t)(until - from));
    if (!excerpt.failed && excerpt.length)
        diags_excerpt(diags, excerpt.bytes, before - skip + 1);
    text_release(&excerpt);
}

static void tell_one(const struct placed *placed, struct files *files, struct diags *diags)
{
    const struct fault *fault = placed->fault;
    bool shown = diags_kept(diags) < DIAG_KEEP;
    if (fault->kind == DIAG_ERROR)
        diags_error(diags, fault->at, "%s", fault->message);
    else
        diags_warn(diags, fault->at, "%s", fault->message);
    if (!shown || !placed->file || !fault->at.line)
        return;
    /* What keeps a file from being read has been told. */
    struct faults unheard = {.arena = files->scratch};
    struct file *file = &files->list[placed->file - 1];
    if (file_read(files, file, &unheard))
        attach_excerpt(file, fault, diags);
}

void faults_tell(struct faults *faults, struct files *files, struct diags *diags)
{
    if (!faults->count)
        return;
    struct placed *order = arena_array(faults->arena, faults->count, sizeof *order);
    if (!order)
        return;
    for (size_t i = 0; i < faults->count; i++)
        order[i] = (struct placed){&faults->list[i], file_place(files, faults->list[i].at.file)};
    qsort(order, faults->count, sizeof *order, by_place);
    for (size_t i = 0; i < faults->count; i++)
        if (i == 0 || !same_fault(order[i].fault, order[i - 1].fault))
            tell_one(&order[i], files, diags);
}

/* ==== names =================================================================================== */

enum { FIRST_ROOM = 8 };

/* Where `name` stands among the slots, or the free one where it belongs. */
static uint32_t *slot_of(const struct names *names, const char *name)
{
    size_t mask = names->slot_count - 1;
    size_t at = (size_t)fnv_hash(FNV_START, name, strlen(name)) & mask;
    while (names->slots[at] && strcmp(names->list[names->slots[at] - 1], name) != 0)
        at = (at + 1) & mask;
    return &names->slots[at];
}

/* Twice the room, with at most every second slot taken. */
static bool names_widen(struct names *names, struct arena *arena)
{
    size_t room = names->room ? names->room * 2 : FIRST_ROOM;
    if (room > INT_MAX / 2)
        return false;
    const char **list = arena_grow(arena, names->list, names->count, room, sizeof *list);
    uint32_t *slots = arena_array(arena, room * 2, sizeof *slots);
    if (!list || !slots)
        return false;
    names->list = list;
    names->room = room;
    names->slots = slots;
    names->slot_count = room * 2;
    for (size_t i = 0; i < names->count; i++)
        *slot_of(names, list[i]) = (uint32_t)i + 1;
    return true;
}

bool names_add(struct names *names, const char *name, struct arena *arena, size_t *number,
               bool *fresh)
{
    if (names->count == names->room && !names_widen(names, arena))
        return false;
    uint32_t *slot = slot_of(names, name);
    *fresh = *slot == 0;
    if (*fresh) {
        names->list[names->count] = name;
        *slot = (uint32_t)++names->count;
    }
    *number = *slot - 1;
    return true;
}

int names_find(const struct names *names, const char *name)
{
    if (!names->count)
        return RULES_NONE;
    return (int)*slot_of(names, name) - 1; /* a free slot is 0: RULES_NONE */
}

/* ==== document faults ========================================================================= */

/* What keeps a file from being a YAML document at all. */

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

/* ==== document ================================================================================ */

/* libyaml's events -> a tree of nodes. Texts are copied at once; no event outlives its node. */

enum {
    SHORT_TEXT = 31, /* bytes: ids, words of the scale, marks */
    FEW_KEYS = 16,   /* of a mapping: compared one by one */
};

struct anchor {
    const struct node *node; /* NULL while it is being read: an alias to it would hold itself */
    size_t weight;           /* nodes in it, those behind aliases counted each time */
};

struct reading {
    yaml_parser_t parser;
    const struct file *file;
    struct document_room *room;
    struct faults *faults;
    struct names anchor_names;
    struct anchor *anchors; /* by number of the name */
    size_t anchor_room;
    bool stopped; /* a fault after which reading on makes no sense, or no memory */
};

static struct node *read_node(struct reading *reading, const yaml_event_t *event, unsigned depth);

static struct position event_at(const struct reading *reading, const yaml_event_t *event)
{
    return (struct position){reading->file->path, event->start_mark.line + 1,
                             event->start_mark.column + 1};
}

/* The next event, which the caller deletes; false when reading has stopped. */
static bool next_event(struct reading *reading, yaml_event_t *event)
{
    if (reading->stopped)
        return false;
    if (yaml_parser_parse(&reading->parser, event))
        return true;
    reading->stopped = true;
    document_syntax_fault(&reading->parser, reading->file, reading->faults);
    return false;
}

/* ---- nodes ----------------------------------------------------------------------------------- */

/* Takes `weight` nodes off what is left. */
static bool spend(struct reading *reading, struct position at, size_t weight)
{
    if (weight <= reading->room->nodes_left) {
        reading->room->nodes_left -= weight;
        return true;
    }
    fault_error(reading->faults, at,
                "more than %d values in all; an alias may stand for far more than it seems",
                DOCUMENT_MAX_NODES);
    reading->stopped = true;
    return false;
}

static struct node *node_new(struct reading *reading, const yaml_event_t *event,
                             enum node_kind kind)
{
    struct position at = event_at(reading, event);
    if (!spend(reading, at, 1))
        return NULL;
    struct node *node = arena_alloc(reading->room->scratch, sizeof *node);
    if (!node) {
        reading->stopped = true;
        return NULL;
    }
    *node = (struct node){.kind = (uint8_t)kind,
                          .file = at.file,
                          .line = (uint32_t)at.line,
                          .column = (uint32_t)at.column};
    return node;
}

/* ---- anchors and aliases --------------------------------------------------------------------- */

/* A name may be used anew: later aliases mean the later node. */
static struct anchor *anchor_slot(struct reading *reading, const char *name)
{
    struct arena *scratch = reading->room->scratch;
    const char *kept = arena_string(scratch, name);
    size_t number;
    bool fresh;
    if (!kept || !names_add(&reading->anchor_names, kept, scratch, &number, &fresh))
        return NULL;
    if (number >= reading->anchor_room) {
        size_t room = reading->anchor_room ? reading->anchor_room * 2 : 8;
        struct anchor *grown =
            arena_grow(scratch, reading->anchors, reading->anchor_room, room, sizeof *grown);
        if (!grown)
            return NULL;
        reading->anchors = grown;
        reading->anchor_room = room;
    }
    return &reading->anchors[number];
}

static void anchor_set(struct reading *reading, const yaml_char_t *name, const struct node *node,
                       size_t weight)
{
    if (!name)
        return;
    struct anchor *anchor = anchor_slot(reading, (const char *)name);
    if (anchor)
        *anchor = (struct anchor){node, weight};
    else
        reading->stopped = true;
}

static void refuse_alias(struct reading *reading, struct position at, const char *name, bool known)
{
    reading->stopped = true;
    if (known)
        fault_error(reading->faults, at,
                    "alias '*%s' stands inside what it stands for; write the values out",
                    fault_quote(reading->faults, name));
    else
        fault_error(reading->faults, at, "unknown alias '*%s'%s",
                    fault_quote(reading->faults, name),
                    fault_hint(reading->faults,
                               fault_nearest(reading->faults, name, reading->anchor_names.list,
                                             reading->anchor_names.count)));
}

/* A node of its own that shares what is below the anchored one. */
static struct node *read_alias(struct reading *reading, const yaml_event_t *event)
{
    const char *name = (const char *)event->data.alias.anchor;
    struct node *copy = node_new(reading, event, NODE_TEXT);
    if (!copy)
        return NULL;
    int number = names_find(&reading->anchor_names, name);
    const struct anchor *anchor = number < 0 ? NULL : &reading->anchors[number];
    if (!anchor || !anchor->node) {
        refuse_alias(reading, node_at(copy), name, anchor != NULL);
        return NULL;
    }
    if (!spend(reading, node_at(copy), anchor->weight - 1))
        return NULL;
    const struct node place = *copy;
    *copy = *anchor->node;
    copy->line = place.line;
    copy->column = place.column;
    copy->key = copy->next = NULL;
    return copy;
}

/* ---- texts, lists, mappings ------------------------------------------------------------------ */

static void refuse_tag(struct reading *reading, const yaml_char_t *tag, struct position at)
{
    if (tag)
        fault_error(reading->faults, at, "tags such as '%s' are not read; leave it out",
                    fault_quote(reading->faults, (const char *)tag));
}

/* A copy that outlives the event; one for all that are short and alike. */
static const char *text_kept(struct document_room *room, const char *text, size_t length)
{
    int known = length <= SHORT_TEXT && !text[length] ? names_find(&room->texts, text) : RULES_NONE;
    if (known != RULES_NONE)
        return room->texts.list[known];
    const char *copy = arena_copy(room->keep, text, length);
    size_t number;
    bool fresh;
    if (copy && length <= SHORT_TEXT &&
        !names_add(&room->texts, copy, room->scratch, &number, &fresh))
        return NULL;
    return copy;
}

static struct node *read_text(struct reading *reading, const yaml_event_t *event)
{
    const char *value = (const char *)event->data.scalar.value;
    size_t length = event->data.scalar.length;
    struct node *node = node_new(reading, event, NODE_TEXT);
    if (!node)
        return NULL;
    refuse_tag(reading, event->data.scalar.tag, node_at(node));
    if (memchr(value, '\0', length)) {
        fault_error(reading->faults, node_at(node), "the text holds a NUL character; take it out");
        length = strlen(value);
    }
    node->quoted = event->data.scalar.style != YAML_PLAIN_SCALAR_STYLE;
    node->text = text_kept(reading->room, value, length);
    if (!node->text) {
        reading->stopped = true;
        return NULL;
    }
    anchor_set(reading, event->data.scalar.anchor, node, 1);
    return node;
}

/* Hangs a child behind the last one. */
static void append(struct node *parent, struct node **last, struct node *child)
{
    if (*last)
        (*last)->next = child;
    else
        parent->first = child;
    *last = child;
    parent->count++;
}

static void read_items(struct reading *reading, struct node *list, unsigned depth)
{
    struct node *last = NULL;
    yaml_event_t event;
    while (next_event(reading, &event)) {
        bool end = event.type == YAML_SEQUENCE_END_EVENT;
        struct node *item = end ? NULL : read_node(reading, &event, depth);
        yaml_event_delete(&event);
        if (!item)
            return;
        append(list, &last, item);
    }
}

/* Whether a mapping has the key already. `keys` is filled once there are too many to compare. */
static bool key_repeats(struct reading *reading, const struct node *map, struct names *keys,
                        const char *key)
{
    struct arena *scratch = reading->room->scratch;
    size_t number;
    bool fresh;
    if (map->count < FEW_KEYS)
        return node_entry(map, key) != NULL;
    bool added = true;
    const struct node *entry = keys->count ? NULL : map->first;
    for (; entry && added; entry = entry->next)
        added = names_add(keys, entry->key->text, scratch, &number, &fresh);
    added = added && names_add(keys, key, scratch, &number, &fresh);
    reading->stopped = reading->stopped || !added;
    return added && !fresh;
}

/* Whether the key may stand; told if not. */
static bool key_stands(struct reading *reading, const struct node *map, struct names *keys,
                       const struct node *key)
{
    if (key->kind != NODE_TEXT) {
        fault_error(reading->faults, node_at(key), "%s cannot be a key; a key is a text",
                    node_kind_name(key));
        return false;
    }
    if (!key->quoted && !strcmp(key->text, "<<")) {
        fault_error(reading->faults, node_at(key),
                    "merge keys are not read; write the entries out");
        return false;
    }
    if (!key_repeats(reading, map, keys, key->text))
        return !reading->stopped;
    fault_error(reading->faults, node_at(key),
                "key '%s' stands twice in this mapping; take one out or rename it",
                fault_quote(reading->faults, key->text));
    return false;
}

static void read_entries(struct reading *reading, struct node *map, unsigned depth)
{
    struct node *last = NULL;
    struct names keys = {0};
    yaml_event_t event;
    while (next_event(reading, &event)) {
        bool end = event.type == YAML_MAPPING_END_EVENT;
        struct node *key = end ? NULL : read_node(reading, &event, depth);
        yaml_event_delete(&event);
        if (!key || !next_event(reading, &event))
            return;
        /* The value is read in any case, to find its faults. */
        struct node *value = read_node(reading, &event, depth);
        yaml_event_delete(&event);
        if (!value)
            return;
        if (key_stands(reading, map, &keys, key)) {
            value->key = key;
            append(map, &last, value);
        }
    }
}

static struct node *read_container(struct reading *reading, const yaml_event_t *event,
                                   unsigned depth)
{
    bool is_map = event->type == YAML_MAPPING_START_EVENT;
    struct node *node = node_new(reading, event, is_map ? NODE_MAP : NODE_LIST);
    if (!node)
        return NULL;
    if (depth == DOCUMENT_MAX_DEPTH) {
        fault_error(reading->faults, node_at(node), "nested more than %d deep; make it flatter",
                    DOCUMENT_MAX_DEPTH);
        reading->stopped = true;
        return NULL;
    }
    const yaml_char_t *anchor =
        is_map ? event->data.mapping_start.anchor : event->data.sequence_start.anchor;
    refuse_tag(reading, is_map ? event->data.mapping_start.tag : event->data.sequence_start.tag,
               node_at(node));
    size_t left = reading->room->nodes_left;
    anchor_set(reading, anchor, NULL, 0);
    if (is_map)
        read_entries(reading, node, depth + 1);
    else
        read_items(reading, node, depth + 1);
    anchor_set(reading, anchor, node, left - reading->room->nodes_left + 1);
    return reading->stopped ? NULL : node;
}

/* NULL when reading has stopped. */
static struct node *read_node(struct reading *reading, const yaml_event_t *event, unsigned depth)
{
    switch (event->type) {
    case YAML_ALIAS_EVENT:
        return read_alias(reading, event);
    case YAML_SCALAR_EVENT:
        return read_text(reading, event);
    default:
        return read_container(reading, event, depth);
    }
}

/* ---- the document ---------------------------------------------------------------------------- */

/* The events before the root: the stream's start and the document's. */
static struct node *read_root(struct reading *reading)
{
    struct node *root = NULL;
    yaml_event_t event;
    while (!root && next_event(reading, &event)) {
        bool end = event.type == YAML_STREAM_END_EVENT;
        if (!end && event.type != YAML_STREAM_START_EVENT &&
            event.type != YAML_DOCUMENT_START_EVENT)
            root = read_node(reading, &event, 0);
        yaml_event_delete(&event);
        if (end)
            return NULL;
    }
    return root;
}

static void refuse_more(struct reading *reading)
{
    yaml_event_t event;
    bool end = false;
    while (!end && next_event(reading, &event)) {
        end = event.type == YAML_STREAM_END_EVENT;
        if (event.type == YAML_DOCUMENT_START_EVENT) {
            fault_error(reading->faults, event_at(reading, &event),
                        "a second document begins here; one file holds one");
            reading->stopped = true;
        }
        yaml_event_delete(&event);
    }
}

static const struct node *read_document(struct reading *reading)
{
    struct node *root = read_root(reading);
    if (!root)
        return NULL;
    if (root->kind != NODE_MAP) {
        fault_error(reading->faults, node_at(root), "the file is %s; it must be a mapping of keys",
                    node_kind_name(root));
        root = NULL;
    }
    refuse_more(reading);
    return root;
}

const struct node *document_read(const struct file *file, struct document_room *room,
                                 struct faults *faults)
{
    /* A byte order mark is let pass: editors write it unasked. */
    size_t skip = file->length >= 3 && !memcmp(file->bytes, "\xEF\xBB\xBF", 3) ? 3 : 0;
    if (!document_is_text(file, faults))
        return NULL;
    struct reading reading = {.file = file, .room = room, .faults = faults};
    if (!yaml_parser_initialize(&reading.parser)) {
        faults->no_memory = true;
        return NULL;
    }
    yaml_parser_set_encoding(&reading.parser, YAML_UTF8_ENCODING);
    yaml_parser_set_input_string(&reading.parser, (const unsigned char *)file->bytes + skip,
                                 file->length - skip);
    const struct node *root = read_document(&reading);
    yaml_parser_delete(&reading.parser);
    return reading.stopped ? NULL : root;
}

struct position node_at(const struct node *node)
{
    return (struct position){node->file, node->line, node->column};
}

const struct node *node_entry(const struct node *map, const char *key)
{
    for (const struct node *entry = map->first; entry; entry = entry->next)
        if (!strcmp(entry->key->text, key))
            return entry;
    return NULL;
}

const char *node_kind_name(const struct node *node)
{
    static const char *const names[] = {"text", "a list", "a mapping"};
    return names[node->kind];
}
