/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/exchange.h"

#include <dirent.h>
#include <errno.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "base/csv.h"
#include "base/filing.h"
#include "base/memory.h"
#include "journal/sql.h"

enum { MOST_COLUMNS = 64 };

/* ==== what export and import agree on ========================================================= */

/* Whether files hold the column: all but what the journal derives from other records. */
static bool is_carried(const struct column *column)
{
    /* NOLINTNEXTLINE(clang-analyzer-core.NullDereference): every kind of record has columns */
    return !column->derived || column->carried;
}

/* Whether its values are words, that a spreadsheet may take for formulas. */
static bool is_text(const struct column *column)
{
    return column->kind == COLUMN_LABEL || column->kind == COLUMN_TEXT ||
           (column->kind == COLUMN_REFERENCE && record_has_label(column->refers));
}

/* Apostrophes and spaces may stand before what makes a formula, so that a text which needed a guard
 * still needs one with the guard in front: that is what lets the guard be told from an apostrophe
 * of the grower's own. Some locales take the wide forms for the signs themselves. */
static bool like_a_formula(const char *bytes, size_t length)
{
    static const char *const wide[] = {"\xEF\xBC\x9D", "\xEF\xBC\x8B", "\xEF\xBC\x8D",
                                       "\xEF\xBC\xA0"}; /* = + - @ */
    size_t at = 0;
    while (at < length && (bytes[at] == '\'' || bytes[at] == ' '))
        at++;
    if (at == length)
        return false;
    if (bytes[at] != '\0' && strchr("=+-@\t\r\n", bytes[at]) != NULL)
        return true;
    for (size_t i = 0; i < sizeof wide / sizeof *wide; i++)
        if (length - at >= 3 && memcmp(bytes + at, wide[i], 3) == 0)
            return true;
    return false;
}

void exchange_guard(struct text *out, const char *bytes, size_t length)
{
    if (like_a_formula(bytes, length))
        text_add(out, "'", 1);
    text_add(out, bytes, length);
}

size_t exchange_guarded(const char *bytes, size_t length)
{
    return length > 0 && bytes[0] == '\'' && like_a_formula(bytes, length) ? 1 : 0;
}

/* ==== export ================================================================================== */

/* The row as a line; the names of the columns for a NULL row. */
static void make_line(struct journal *journal, enum record record, const void *row,
                      struct arena *arena, struct text *line)
{
    TEXT(guarded);
    text_clear(line);
    arena_reset(arena);
    if (row == NULL)
        text_puts(line, "id");
    else
        text_printf(line, "%lld", (long long)*(const int64_t *)row);
    for (const struct column *column = record_types[record].columns; column->name; column++) {
        if (!is_carried(column))
            continue;
        const char *value =
            row != NULL ? journal_show_column(journal, column, row, arena) : column->name;
        text_puts(line, ",");
        text_clear(&guarded);
        if (is_text(column))
            exchange_guard(&guarded, value, strlen(value));
        else
            text_puts(&guarded, value);
        csv_write_field(line, guarded.bytes, guarded.length);
    }
    text_puts(line, "\r\n");
}

enum status export_table(struct journal *journal, enum record record, FILE *stream,
                         const char *name, size_t *rows)
{
    static const struct text_safe_options safe = {.keep_newlines = true};
    union any_record row;
    struct arena *arena SCOPED_ARENA = arena_new();
    bool terminal = isatty(fileno(stream)) == 1; /* which must not obey what a text says */
    TEXT(line);
    TEXT(shown);
    journal_enter(journal);
    struct query query = query_begin(journal, select_rows(journal, record, "ORDER BY id"), "");
    *rows = 0;
    make_line(journal, record, NULL, arena, &line);
    while (journal->status == STATUS_OK) {
        errno = 0;
        text_clear(&shown);
        if (terminal)
            text_safe(&shown, line.bytes, line.length, &safe);
        const struct text *out = terminal ? &shown : &line;
        if (fwrite(out->bytes, 1, out->length, stream) != out->length)
            journal->status =
                filing_refused(name, "written", errno != 0 ? errno : EIO, journal->diags);
        else if (query_row(&query, record, NULL, &row))
            make_line(journal, record, &row, arena, &line);
        else
            break;
        *rows += journal->status == STATUS_OK;
    }
    query_end(&query);
    return journal_leave(journal);
}

/* Tables into files of these paths (NULL for none), as the journal stands at one moment; none takes
 * its name before all are written. */
static enum status export_files(struct journal *journal, char *const paths[RECORD_COUNT],
                                bool replace, size_t counts[RECORD_COUNT])
{
    struct filing filings[RECORD_COUNT] = {{0}};
    struct diags *diags = journal->diags;
    enum status status = STATUS_OK;
    for (int i = 0; i < RECORD_COUNT && status == STATUS_OK; i++)
        if (paths[i] != NULL)
            status = filing_open(&filings[i], paths[i], replace, diags);
    if (status == STATUS_OK) {
        journal_execute(journal, "SAVEPOINT export"); /* while others go on writing */
        status = journal_told(journal);
    }
    for (int i = 0; i < RECORD_COUNT && status == STATUS_OK; i++) {
        if (paths[i] == NULL)
            continue;
        size_t rows = 0;
        status = export_table(journal, (enum record)i, filings[i].stream, paths[i], &rows);
        if (counts != NULL)
            counts[i] = rows;
        if (status == STATUS_OK)
            status = filing_sync(&filings[i], diags);
    }
    sqlite3_exec(journal->database, "RELEASE export", NULL, NULL, NULL);
    for (int i = 0; i < RECORD_COUNT; i++) {
        if (status == STATUS_OK && paths[i] != NULL)
            status = filing_commit(&filings[i], diags);
        else
            filing_abandon(&filings[i]);
    }
    return status;
}

enum status export_file(struct journal *journal, enum record record, const char *path, bool replace)
{
    char *paths[RECORD_COUNT] = {NULL};
    paths[record] = (char *)path;
    return export_files(journal, paths, replace, NULL);
}

enum status export_folder(struct journal *journal, const char *folder, bool replace,
                          size_t counts[RECORD_COUNT])
{
    char *paths[RECORD_COUNT];
    bool made = mkdir(folder, 0700) == 0;
    if (!made && errno != EEXIST)
        return filing_refused(folder, "made", errno, journal->diags);
    struct arena *arena SCOPED_ARENA = arena_new();
    for (int i = 0; i < RECORD_COUNT; i++)
        paths[i] = arena_format(arena, "%s/%s.csv", folder, record_types[i].name);
    enum status status = export_files(journal, paths, replace, counts);
    if (status != STATUS_OK && made)
        (void)rmdir(folder);
    return status;
}

/* ==== import ================================================================================== */

/* A look, event or outcome of the invented season, to be recorded in its turn. */
struct later_row {
    size_t order; /* of reading */
    enum record record;
    union any_record row;
};

struct later_rows {
    struct arena *arena;
    struct later_row *list;
    size_t count;
};

/* One table on its way into the journal. */
struct importer {
    struct journal *journal;
    enum record record;
    const struct record_type *type;
    const struct import_options *options;
    struct import_tally *tally;
    struct later_rows *later;                   /* what is recorded when all is read; or NULL */
    const struct column *columns[MOST_COLUMNS]; /* by field; NULL for the id */
    size_t column_count;                        /* 0 until the header was read */
    struct text equal; /* asks for the id of a row that says the same, of a kind without labels */
    bool was_empty;    /* the journal had none of these */
    int64_t highest;   /* id that was ever there */
    /* The row. */
    struct arena *arena;
    const struct csv_row *fields;
    union any_record row; /* as given */
};

static void remember(struct importer *importer, int64_t given, int64_t id)
{
    if (given != id && given != 0)
        query_number(importer->journal, "INSERT OR REPLACE INTO renamed VALUES (?, ?, ?)", "iii",
                     (int64_t)importer->record, given, id);
}

/* ---- fields ---------------------------------------------------------------------------------- */

static enum status unknown_column(struct importer *importer, const struct csv_row *row,
                                  size_t field)
{
    const char *names[MOST_COLUMNS] = {"id"}, *name = row->fields[field].text;
    size_t count = 1;
    for (const struct column *column = importer->type->columns;
         /* NOLINTNEXTLINE(clang-analyzer-core.NullDereference): every kind of record has columns */
         column->name != NULL && count < MOST_COLUMNS; column++)
        if (is_carried(column))
            names[count++] = column->name;
    return diags_fail(
        importer->journal->diags, STATUS_DATA, csv_at(row, field), "a %s has no column '%s'%s",
        importer->type->name, name,
        diag_suggest(importer->arena, name, names, count,
                     "; a spreadsheet of your own needs --map, and --guess proposes one"));
}

/* Puts together the question for a row that says the same, whatever its id: of the columns that the
 * file has. Of an empty journal only the row of that id can be meant. */
static void ask_for_equal(struct importer *importer)
{
    int parameter = 2;
    text_printf(&importer->equal, "SELECT id FROM \"%s\" WHERE %s", importer->type->name,
                importer->was_empty ? "id = ?1" : "1");
    for (const struct column *column = importer->type->columns; column->name; column++) {
        bool given = false, moment = column->kind == COLUMN_MOMENT;
        for (size_t i = 0; i < importer->column_count && !column->derived; i++)
            given = given || importer->columns[i] == column;
        if (given)
            text_printf(&importer->equal, " AND \"%s\" IS ?%d", column->name, parameter);
        if (given && moment)
            text_printf(&importer->equal, " AND \"%s_offset\" IS ?%d", column->name, parameter + 1);
        parameter += 1 + moment;
    }
    text_puts(&importer->equal, " ORDER BY id IS ?1 DESC, id LIMIT 1");
}

static enum status read_header(struct importer *importer, const struct csv_row *row)
{
    const struct column *columns = importer->type->columns;
    bool labelled = !record_has_label(importer->record);
    if (row->count > MOST_COLUMNS)
        return unknown_column(importer, row, MOST_COLUMNS);
    for (size_t i = 0; i < row->count; i++) {
        const char *name = row->fields[i].text;
        size_t index = record_column(importer->record, name);
        bool known = index != SIZE_MAX && is_carried(&columns[index]);
        if (!known && strcmp(name, "id") != 0)
            return unknown_column(importer, row, i);
        importer->columns[i] = known ? &columns[index] : NULL;
        labelled = labelled || importer->columns[i] == columns;
        for (size_t k = 0; k < i; k++)
            if (importer->columns[k] == importer->columns[i])
                return diags_fail(importer->journal->diags, STATUS_DATA, csv_at(row, i),
                                  "the column '%s' stands twice", name);
    }
    importer->column_count = row->count;
    ask_for_equal(importer);
    if (labelled)
        return STATUS_OK;
    return diags_fail(importer->journal->diags, STATUS_DATA, csv_at(row, 0),
                      "the column '%s' is missing: a %s is known by it", columns->name,
                      importer->type->name);
}

static int64_t read_id(struct importer *importer, const char *text, const char *right)
{
    char *end = NULL;
    errno = 0;
    int64_t id = strtoll(text, &end, 10);
    bool read = text[0] >= '1' && text[0] <= '9' && errno == 0 && *end == '\0';
    if (!read && text[0] != '\0')
        journal_refuse(importer->journal, STATUS_DATA, "'%.60s' is no %s", text, right);
    return read ? id : 0;
}

/* Whether the column holds the label of a record that is not a place: shelves are everybody's. In
 * an edit, which may be of any table, the name of that stands before the label. */
static bool names_record(const struct importer *importer, const struct column *column)
{
    if (importer->record == RECORD_EDIT)
        return column->offset == offsetof(struct edit, label) &&
               strcmp(importer->row.edit.table, record_types[RECORD_PLACE].name) != 0;
    enum record named = column->kind == COLUMN_REFERENCE ? column->refers : importer->record;
    return (column->kind == COLUMN_LABEL || column->kind == COLUMN_REFERENCE) &&
           record_has_label(named) && named != RECORD_PLACE;
}

const char *label_prefixed(const char *prefix, const char *label, struct arena *arena)
{
    size_t length = prefix != NULL ? strlen(prefix) : 0;
    bool has = strncmp(label, prefix != NULL ? prefix : "", length) == 0 && label[length] == '-';
    return length == 0 || label[0] == '\0' || has ? label
                                                  : arena_format(arena, "%s-%s", prefix, label);
}

static void read_field(struct importer *importer, const struct column *column,
                       const struct csv_field *field)
{
    const char *text = field->text;
    if (column == NULL) {
        importer->row.named.id = read_id(importer, text, "id; leave it empty for a new one");
        return;
    }
    if (column->kind == COLUMN_REFERENCE && !record_has_label(column->refers)) {
        int64_t id = read_id(importer, text, "id");
        /* The id of a record in the file turns into its id in the journal. */
        int64_t known =
            query_number(importer->journal, "SELECT id FROM renamed WHERE record = ? AND given = ?",
                         "ii", (int64_t)importer->record, id);
        id = known != 0 ? known : id;
        memcpy((char *)&importer->row + column->offset, &id, sizeof id);
        return;
    }
    if (is_text(column))
        text += exchange_guarded(text, field->length);
    if (names_record(importer, column))
        text = label_prefixed(importer->options->prefix, text, importer->arena);
    journal_read_column(importer->journal, column, text, importer->arena, &importer->row);
}

/* What is refused now is the fault of that field. */
static void blame(struct importer *importer, size_t field)
{
    importer->journal->at = csv_at(importer->fields, field);
}

/* One fault a row is enough. */
static void read_fields(struct importer *importer)
{
    const struct csv_row *row = importer->fields;
    record_init(importer->record, &importer->row);
    blame(importer, SIZE_MAX);
    if (row->count != importer->column_count)
        journal_refuse(importer->journal, STATUS_DATA,
                       "%zu fields; the first row has %zu: is a comma or a quote missing?",
                       row->count, importer->column_count);
    for (size_t i = 0; i < row->count && importer->journal->status == STATUS_OK; i++) {
        blame(importer, i);
        read_field(importer, importer->columns[i], &row->fields[i]);
    }
}

/* ---- what is there --------------------------------------------------------------------------- */

static void add(struct importer *importer)
{
    struct journal *journal = importer->journal;
    union any_record *row = &importer->row;
    int64_t given = row->named.id;
    if (given != 0 && given <= importer->highest &&
        query_number(
            journal,
            journal_sql(journal, "SELECT count(*) FROM \"%s\" WHERE id = ?", importer->type->name),
            "i", given) > 0)
        row->named.id = 0;
    blame(importer, 0);
    /* What stands in an empty journal is read back as it is. */
    if (!importer->was_empty && record_has_label(importer->record))
        label_check(
            journal, importer->record, row->named.label,
            arena_format(importer->arena, "--prefix K calls it 'K-%.60s'", row->named.label));
    if (journal_add(journal, importer->record, row) != STATUS_OK)
        return;
    if (row->named.id > importer->highest)
        importer->highest = row->named.id;
    importer->tally->added++;
    remember(importer, given, row->named.id);
}

/* A record of a label that is there already: the two say the same, or they are told side by side,
 * or settled as was said. The next look is passed over: it moves on by itself. */
static void compare(struct importer *importer, const union any_record *there)
{
    struct journal *journal = importer->journal;
    const char *label = importer->row.named.label;
    TEXT(sides);
    for (size_t i = 0; i < importer->column_count; i++) {
        const struct column *column = importer->columns[i];
        if (column == NULL || column->derived)
            continue;
        const char *given = journal_show_column(journal, column, &importer->row, importer->arena);
        const char *present = journal_show_column(journal, column, there, importer->arena);
        if (strcmp(given, present) == 0)
            continue;
        if (sides.length == 0)
            blame(importer, i);
        text_printf(&sides, "%s%s '%.200s' | '%.200s'", sides.length > 0 ? "; " : "", column->name,
                    present, given);
        if (importer->options->keep == KEEP_FILE)
            journal_correct(journal, importer->record, label, column->name, given,
                            importer->options->now);
    }
    if (sides.length > 0 && importer->options->keep == KEEP_NEITHER)
        journal_refuse(
            journal, STATUS_DATA,
            "%s '%.60s' differs, in the journal | in the file: %s; say --keep journal or "
            "--keep file for all such, or give this one another label (--prefix)",
            importer->type->name, label, sides.bytes);
    if (journal->status == STATUS_OK)
        ++*(sides.length > 0 ? &importer->tally->settled : &importer->tally->same);
}

/* Records the row, unless it is there; the demo's keeps until all are read. */
static void take(struct importer *importer)
{
    union any_record there;
    int64_t id = 0;
    if (importer->later != NULL && record_of_vessel(importer->record)) {
        struct later_rows *later = importer->later;
        struct later_row *entry = arena_push(later->arena, later->list, later->count);
        *entry = (struct later_row){later->count, importer->record, importer->row};
    } else if (record_has_label(importer->record)) {
        if (!journal_has(importer->journal, importer->record, importer->row.named.label, &id))
            add(importer);
        else if (journal_get(importer->journal, importer->record, id, importer->arena, &there) ==
                 STATUS_OK)
            compare(importer, &there);
    } else {
        struct query query =
            row_begin(importer->journal, importer->equal.bytes, importer->record, &importer->row);
        id = query_next(&query) ? query_integer(&query, 0) : 0;
        query_end(&query);
        importer->tally->same += id != 0;
        if (id != 0)
            remember(importer, importer->row.named.id, id);
        else
            add(importer);
    }
}

/* A refused row is told and counted, and no fault of the reading; what the disk refuses is. */
static enum status take_row(void *context, const struct csv_row *row)
{
    struct importer *importer = context;
    struct journal *journal = importer->journal;
    if (importer->column_count == 0)
        return read_header(importer, row);
    if (importer->later == NULL)
        arena_reset(importer->arena);
    importer->fields = row;
    journal_work(journal);
    read_fields(importer);
    if (journal->status == STATUS_OK)
        take(importer);
    enum status status = journal_finish(journal);
    journal->at = (struct position){NULL, 0, 0};
    if (status != STATUS_DATA && status != STATUS_USAGE)
        return status;
    journal->status = STATUS_OK;
    importer->tally->refused++;
    return STATUS_OK;
}

/* ---- tables ---------------------------------------------------------------------------------- */

static bool is_csv(const char *name)
{
    size_t length = strlen(name);
    return length > 4 && strcmp(name + length - 4, ".csv") == 0;
}

enum record import_table_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash != NULL ? slash + 1 : path;
    return is_csv(name) ? record_named(name, strlen(name) - 4) : RECORD_COUNT;
}

/* The files of the folder, by table. */
static enum status look_through(struct arena *arena, const char *folder,
                                const char *paths[RECORD_COUNT], struct diags *diags)
{
    enum status status = STATUS_OK;
    bool any = false;
    DIR *listing = opendir(folder);
    if (listing == NULL)
        return filing_refused(folder, "read", errno, diags);
    struct dirent *entry = NULL;
    /* No other thread knows this stream, and readdir_r is deprecated. */
    /* cppcheck-suppress readdirCalled */
    while ((entry = readdir(listing)) != NULL) {
        if (entry->d_name[0] == '.' || !is_csv(entry->d_name))
            continue;
        const char *path = arena_format(arena, "%s/%s", folder, entry->d_name);
        enum record record = import_table_of(path);
        any = true;
        if (record == RECORD_COUNT) {
            /* A file named like no table is told, not passed over in silence. */
            const char *names[RECORD_COUNT], *name = strrchr(path, '/') + 1;
            for (int i = 0; i < RECORD_COUNT; i++)
                names[i] = record_types[i].name;
            const char *near =
                diag_nearest(arena_copy(arena, name, strlen(name) - 4), names, RECORD_COUNT);
            diags_error(diags, (struct position){path, 0, 0}, "no table has this name; %s",
                        near != NULL ? arena_format(arena, "did you mean '%s.csv'?", near)
                                     : "a spreadsheet of your own is imported by its own name, "
                                       "with --map");
            status = STATUS_DATA;
        } else
            paths[record] = path;
    }
    closedir(listing);
    if (any)
        return status;
    return diags_fail(diags, STATUS_DATA, (struct position){folder, 0, 0},
                      "holds no table; give the folder that 'jarside export' wrote");
}

static void read_table(struct journal *journal, enum record record, const char *path,
                       const struct import_options *options, struct import_tally *tally,
                       struct later_rows *later)
{
    struct importer importer = {.journal = journal,
                                .record = record,
                                .type = &record_types[record],
                                .options = options,
                                .tally = tally,
                                .later = later,
                                .arena = later != NULL ? later->arena : arena_new()};
    const struct csv_table table = {
        .file = path, .separator = ',', .utf8 = true, .context = &importer, .row = take_row};
    importer.highest = query_number(
        journal, journal_sql(journal, "SELECT max(id) FROM \"%s\"", record_types[record].name), "");
    importer.was_empty = importer.highest == 0;
    text_init(&importer.equal);
    if (journal->status == STATUS_OK)
        journal->status = csv_read(&table, NULL, options->progress, journal->diags);
    if (journal->status == STATUS_OK && importer.column_count == 0) {
        journal->at = (struct position){path, 1, 1};
        journal_refuse(journal, STATUS_DATA,
                       "the file is empty; its first row should name the columns");
        journal->at = (struct position){NULL, 0, 0};
    }
    text_release(&importer.equal);
    if (later == NULL)
        arena_free(importer.arena);
}

static int earlier(const void *a, const void *b)
{
    const struct later_row *first = a, *second = b;
    int64_t when = first->row.dated.at.seconds, then = second->row.dated.at.seconds;
    return when != then ? ORDER(when, then) : ORDER(first->order, second->order);
}

/* Records what was put off, in the order in which it happened; looks are judged. */
static void record_later(struct journal *journal, struct later_rows *later,
                         const struct import_options *options)
{
    array_sort(later->list, later->count, earlier);
    for (size_t i = 0; i < later->count && journal->status == STATUS_OK; i++) {
        struct later_row *entry = &later->list[i];
        struct vessel vessel;
        if (entry->record != RECORD_LOOK)
            journal_add(journal, entry->record, &entry->row);
        else if (journal_get(journal, RECORD_VESSEL, entry->row.look.vessel, later->arena,
                             &vessel) == STATUS_OK)
            journal->status = options->judge(options->context, journal, vessel.label,
                                             entry->row.look.at, entry->row.look.words);
    }
}

/* Keeps what was read when nothing was refused and it is not only a rehearsal. */
static enum status read_tables(struct journal *journal, const char *const paths[RECORD_COUNT],
                               const struct import_options *options,
                               struct import_tally tally[RECORD_COUNT])
{
    struct later_rows later = {.arena = options->judge != NULL ? arena_new() : NULL};
    char *by = journal->by;
    size_t refused = 0;
    journal_enter(journal);
    journal_execute(
        journal,
        "PRAGMA temp_store = FILE;"
        "CREATE TEMP TABLE IF NOT EXISTS renamed (record INTEGER, given INTEGER, id INTEGER,"
        " PRIMARY KEY (record, given)) WITHOUT ROWID;"
        "DELETE FROM renamed");
    journal_work(journal);
    journal->by = NULL; /* these were recorded by others */
    for (int i = 0; i < RECORD_COUNT && journal->status == STATUS_OK; i++) {
        if (paths[i] != NULL)
            read_table(journal, (enum record)i, paths[i], options, &tally[i],
                       options->judge != NULL ? &later : NULL);
        refused += tally[i].refused;
    }
    if (journal->status == STATUS_OK && refused > 0)
        journal->status = STATUS_DATA;
    record_later(journal, &later, options);
    journal->by = by;
    arena_free(later.arena);
    if (options->dry_run && journal->status == STATUS_OK)
        journal_rollback(journal);
    else
        journal_finish(journal);
    return journal_leave(journal);
}

enum status import_tables(struct journal *journal, const char *path, enum record record,
                          const struct import_options *options,
                          struct import_tally tally[RECORD_COUNT])
{
    const char *paths[RECORD_COUNT] = {NULL};
    struct arena *arena SCOPED_ARENA = arena_new();
    enum status status = STATUS_OK;
    memset(tally, 0, RECORD_COUNT * sizeof *tally);
    if (record == RECORD_COUNT)
        status = look_through(arena, path, paths, journal->diags);
    else
        paths[record] = path;
    if (status == STATUS_OK)
        status = read_tables(journal, paths, options, tally);
    return status;
}

enum status demo_build(struct journal *journal, const char *folder,
                       const struct import_options *options)
{
    struct import_tally tally[RECORD_COUNT];
    for (int record = 0; record < RECORD_COUNT; record++)
        if (journal_count(journal, (enum record)record, NULL, 0) > 0) {
            journal_refuse(journal, STATUS_DATA,
                           "this journal holds something already; give the name of a new file");
            return journal_told(journal);
        }
    return import_tables(journal, folder, RECORD_COUNT, options, tally);
}

/* ==== the calendar ============================================================================ */

/* Adds a property, its value escaped (RFC 5545, 3.3.11: backslash, comma and semicolon) after it
 * was made safe, for a label may hold anything; no line is longer than 75 bytes without its end
 * (3.1), and none is cut within a character. */
__attribute__((format(printf, 3, 4))) static void
put_property(struct text *out, const char *property, const char *format, ...)
{
    static const struct text_safe_options options = {.limit = 4000};
    enum { LONGEST = 75 };
    FORMATTED(value, format);
    TEXT(safe);
    TEXT(line);
    text_safe(&safe, value, strlen(value), &options);
    text_printf(&line, "%s:", property);
    for (size_t i = 0; i < safe.length; i++)
        text_printf(&line, "%s%c", strchr("\\,;", safe.bytes[i]) != NULL ? "\\" : "",
                    safe.bytes[i]); /* safe text has no NUL */
    const char *at = line.bytes;
    size_t left = line.length, room = LONGEST;
    for (; left > room; room = LONGEST - 1) { /* the space counts */
        size_t piece = room;
        while (piece > 1 && ((unsigned char)at[piece] & 0xC0) == 0x80)
            piece--;
        text_add(out, at, piece);
        text_puts(out, "\r\n ");
        at += piece;
        left -= piece;
    }
    text_printf(out, "%s\r\n", at);
}

enum status calendar_text(struct journal *journal, const struct calendar_options *options,
                          struct text *out, size_t *events)
{
    time_t now = (time_t)options->now.seconds;
    struct tm utc;
    char stamp[32], room[MOMENT_ROOM];
    strftime(stamp, sizeof stamp, "%Y%m%dT%H%M%SZ", gmtime_r(&now, &utc));
    *events = 0;
    text_puts(out, "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Jarside//Journal//EN\r\n"
                   "CALSCALE:GREGORIAN\r\nMETHOD:PUBLISH\r\n");
    struct query query = query_begin(journal, sql_calendar, "i", options->until);
    for (; query_next(&query); ++*events) {
        const char *label = query_text(&query, 0);
        const char *at = moment_write(query_moment(&query, 1), room);
        int64_t day = query_integer(&query, 3), count = query_integer(&query, 4);
        uint64_t hash = fnv_hash(fnv_hash(FNV_START, label, strlen(label)), at, strlen(at));
        put_property(out, "BEGIN", "VEVENT");
        put_property(out, "UID", "%016" PRIx64 "-%lld@jarside", hash, (long long)day);
        put_property(out, "DTSTAMP", "%s", stamp);
        put_property(out, "DTSTART;VALUE=DATE", "%s", day_write(day, DAY_COMPACT, room));
        put_property(out, "DTEND;VALUE=DATE", "%s", day_write(day + 1, DAY_COMPACT, room));
        put_property(out, "SUMMARY", "Look at %s: %lld vessel%s", label, (long long)count,
                     count == 1 ? "" : "s");
        put_property(out, "DESCRIPTION", "%s", query_text(&query, 5));
        put_property(out, "TRANSP", "TRANSPARENT");
        if (options->remind >= 0) {
            put_property(out, "BEGIN", "VALARM");
            put_property(out, "ACTION", "DISPLAY");
            put_property(out, "TRIGGER", "PT%dH%dM", options->remind / 60, options->remind % 60);
            put_property(out, "DESCRIPTION", "%s: %lld to look at", label, (long long)count);
            put_property(out, "END", "VALARM");
        }
        put_property(out, "END", "VEVENT");
    }
    put_property(out, "END", "VCALENDAR");
    return journal_told(journal);
}
