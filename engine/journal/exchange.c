/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/exchange.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
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
    return !column->derived || column->carried;
}

/* Whether its values are words, that a spreadsheet may take for formulas. */
static bool is_text(const struct column *column)
{
    return column->kind == COLUMN_LABEL || column->kind == COLUMN_TEXT ||
           (column->kind == COLUMN_REFERENCE && record_has_label(column->refers));
}

/* Apostrophes and spaces may stand before what makes a formula, so that a text
 * which needed a guard still needs one with the guard in front: that is what
 * lets the guard be told from an apostrophe of the grower's own. Some locales
 * take the wide forms for the signs themselves. */
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
static enum status make_line(struct journal *journal, enum record record, const void *row,
                             struct text *line, struct diags *diags)
{
    struct text value, guarded;
    enum status status = STATUS_OK;
    text_init(&value);
    text_init(&guarded);
    text_clear(line);
    text_puts(line, row == NULL ? "id" : "");
    if (row != NULL)
        text_printf(line, "%lld", (long long)*(const int64_t *)row);
    for (const struct column *column = record_types[record].columns;
         column->name != NULL && status == STATUS_OK; column++) {
        if (!is_carried(column))
            continue;
        text_puts(line, ",");
        if (row == NULL) {
            text_puts(line, column->name);
            continue;
        }
        text_clear(&value);
        status = journal_show_column(journal, column, row, &value, diags);
        text_clear(&guarded);
        if (is_text(column))
            exchange_guard(&guarded, value.bytes, value.length);
        else
            text_add(&guarded, value.bytes, value.length);
        csv_write_field(line, guarded.bytes, guarded.length);
    }
    text_puts(line, "\r\n");
    text_release(&value);
    text_release(&guarded);
    return status;
}

enum status export_table(struct journal *journal, enum record record, FILE *stream,
                         const char *name, size_t *rows, struct diags *diags)
{
    static const struct text_safe_options safe = {.keep_newlines = true};
    union any_record row;
    struct text line, shown;
    bool terminal = isatty(fileno(stream)) == 1; /* which must not obey what a text says */
    struct walk *walk = journal_walk(journal, record, NULL, 0, false, diags);
    text_init(&line);
    text_init(&shown);
    *rows = 0;
    enum status status = make_line(journal, record, NULL, &line, diags);
    while (status == STATUS_OK) {
        errno = 0;
        text_clear(&shown);
        if (terminal)
            text_safe(&shown, line.bytes, line.length, &safe);
        const struct text *out = terminal ? &shown : &line;
        if (fwrite(out->bytes, 1, out->length, stream) != out->length) {
            status = filing_refused(name, "written", errno != 0 ? errno : EIO, diags);
            break;
        }
        if (!walk_next(walk, &row))
            break;
        ++*rows;
        status = make_line(journal, record, &row, &line, diags);
    }
    text_release(&line);
    text_release(&shown);
    enum status walked = walk_end(walk);
    return status != STATUS_OK ? status : walked;
}

enum status export_file(struct journal *journal, enum record record, const char *path, bool replace,
                        struct diags *diags)
{
    struct filing filing;
    size_t rows;
    enum status status = filing_open(&filing, path, replace, diags);
    if (status != STATUS_OK)
        return status;
    status = export_table(journal, record, filing.stream, path, &rows, diags);
    if (status == STATUS_OK)
        return filing_commit(&filing, diags);
    filing_abandon(&filing);
    return status;
}

enum status export_folder(struct journal *journal, const char *folder, bool replace,
                          size_t counts[RECORD_COUNT], struct diags *diags)
{
    struct filing filings[RECORD_COUNT] = {{0}};
    enum status status = STATUS_OK;
    bool made = mkdir(folder, 0700) == 0;
    if (!made && errno != EEXIST)
        return filing_refused(folder, "made", errno, diags);
    for (int i = 0; i < RECORD_COUNT && status == STATUS_OK; i++) {
        char *path = text_format("%s/%s.csv", folder, record_types[i].name);
        status = filing_open(&filings[i], path, replace, diags);
        free(path);
    }
    /* One view of the journal for all tables, while others go on writing. */
    if (status == STATUS_OK &&
        sqlite3_exec(journal->database, "SAVEPOINT export", NULL, NULL, NULL) != SQLITE_OK)
        status = journal_fault(journal, "read", diags);
    for (int i = 0; i < RECORD_COUNT && status == STATUS_OK; i++) {
        size_t rows = 0;
        status =
            export_table(journal, (enum record)i, filings[i].stream, filings[i].path, &rows, diags);
        if (counts != NULL)
            counts[i] = rows;
        if (status == STATUS_OK)
            status = filing_sync(&filings[i], diags);
    }
    sqlite3_exec(journal->database, "RELEASE export", NULL, NULL, NULL);
    for (int i = 0; i < RECORD_COUNT; i++) {
        if (status == STATUS_OK)
            status = filing_commit(&filings[i], diags);
        else
            filing_abandon(&filings[i]);
    }
    if (status != STATUS_OK && made)
        (void)rmdir(folder);
    return status;
}

/* ==== import ================================================================================== */

/* One table on its way into the journal. */
struct importer {
    struct journal *journal;
    enum record record;
    const struct record_type *type;
    const struct import_options *options;
    struct import_tally *tally;
    struct diags *diags;
    const struct column *columns[MOST_COLUMNS]; /* by field; NULL for the id */
    size_t column_count;                        /* 0 until the header was read */
    bool was_empty;                             /* the journal had none of these */
    int64_t highest;                            /* id that was ever there */
    /* The row. */
    struct arena *arena;
    union any_record row, there; /* given, and in the journal */
    struct text value, other;    /* of one column of them */
    size_t culprit;              /* the field a fault is about; SIZE_MAX for the row */
    struct diags *own;           /* what was wrong with it, without a position */
};

static enum status wrong(struct importer *importer, const char *text, const char *right)
{
    diags_error(importer->own, (struct position){0}, "'%.60s' is no %s", text, right);
    return STATUS_DATA;
}

static enum status remember(struct importer *importer, int64_t given, int64_t id)
{
    int64_t none;
    if (given == id || given == 0)
        return STATUS_OK;
    return query_number(importer->journal, &none, importer->own,
                        "INSERT OR REPLACE INTO renamed VALUES (?, ?, ?)", "iii",
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
    const char *near = diag_nearest(name, names, count);
    diags_error(importer->diags, csv_at(row, field), "a %s has no column '%s'; %s%s%s",
                importer->type->name, name,
                near != NULL ? "did you mean '"
                             : "a spreadsheet of your own needs --map, and --guess proposes one",
                near != NULL ? near : "", near != NULL ? "'?" : "");
    return STATUS_DATA;
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
            if (importer->columns[k] == importer->columns[i]) {
                diags_error(importer->diags, csv_at(row, i), "the column '%s' stands twice", name);
                return STATUS_DATA;
            }
    }
    importer->column_count = row->count;
    if (labelled)
        return STATUS_OK;
    diags_error(importer->diags, csv_at(row, 0), "the column '%s' is missing: a %s is known by it",
                columns->name, importer->type->name);
    return STATUS_DATA;
}

static bool read_id(const char *text, int64_t *id)
{
    char *end = NULL;
    *id = 0;
    if (text[0] == '\0')
        return true;
    if (text[0] < '1' || text[0] > '9')
        return false;
    errno = 0;
    *id = strtoll(text, &end, 10);
    return errno == 0 && *end == '\0';
}

/* Whether the column holds the label of a record that is not a place: shelves are everybody's. In an edit,
 * which may be of any table, the name of that stands before the label. */
static bool names_record(const struct importer *importer, const struct column *column)
{
    if (importer->record == RECORD_EDIT)
        return column->offset == offsetof(struct edit, label) &&
               strcmp(importer->row.edit.table, record_types[RECORD_PLACE].name) != 0;
    enum record named = column->kind == COLUMN_REFERENCE ? column->refers : importer->record;
    return (column->kind == COLUMN_LABEL || column->kind == COLUMN_REFERENCE) &&
           record_has_label(named) && named != RECORD_PLACE;
}

/* With the prefix before it, unless it has that already. */
static const char *prefixed(const struct importer *importer, const char *label)
{
    const char *prefix = importer->options->prefix;
    size_t length = prefix != NULL ? strlen(prefix) : 0;
    bool has = strncmp(label, prefix != NULL ? prefix : "", length) == 0 && label[length] == '-';
    return length == 0 || label[0] == '\0' || has
               ? label
               : arena_format(importer->arena, "%s-%s", prefix, label);
}

static enum status read_field(struct importer *importer, const struct column *column,
                              const struct csv_field *field)
{
    const char *text = field->text;
    int64_t id = 0;
    if (column == NULL)
        return read_id(text, &importer->row.named.id)
                   ? STATUS_OK
                   : wrong(importer, text, "id; leave it empty for a new one");
    if (column->kind == COLUMN_REFERENCE && !record_has_label(column->refers)) {
        if (!read_id(text, &id))
            return wrong(importer, text, "id");
        /* The id of a record in the file turns into its id in the journal. */
        int64_t known = 0;
        enum status status = query_number(importer->journal, &known, importer->own,
                                          "SELECT id FROM renamed WHERE record = ? AND given = ?",
                                          "ii", (int64_t)importer->record, id);
        id = known != 0 ? known : id;
        memcpy((char *)&importer->row + column->offset, &id, sizeof id);
        return status;
    }
    if (is_text(column))
        text += exchange_guarded(text, field->length);
    if (names_record(importer, column))
        text = prefixed(importer, text);
    return journal_read_column(importer->journal, column, text, importer->arena, &importer->row,
                               importer->own);
}

/* One fault a row is enough. */
static enum status read_fields(struct importer *importer, const struct csv_row *row)
{
    enum status status = STATUS_OK;
    record_init(importer->record, &importer->row);
    importer->culprit = SIZE_MAX;
    if (row->count != importer->column_count) {
        diags_error(importer->own, (struct position){0},
                    "%zu fields; the first row has %zu: is a comma or a quote missing?", row->count,
                    importer->column_count);
        return STATUS_DATA;
    }
    for (size_t i = 0; i < row->count && status == STATUS_OK; i++) {
        importer->culprit = i;
        status = read_field(importer, importer->columns[i], &row->fields[i]);
    }
    return status;
}

/* ---- what is there --------------------------------------------------------------------------- */

/* The first field from `*field` on whose value differs between what was given and what is there; SIZE_MAX
 * for none. The next look is passed over: it moves on by itself. */
static enum status differs(struct importer *importer, size_t *field)
{
    for (; *field < importer->column_count; ++*field) {
        const struct column *column = importer->columns[*field];
        if (column == NULL || column->derived)
            continue;
        text_clear(&importer->value);
        text_clear(&importer->other);
        enum status status = journal_show_column(importer->journal, column, &importer->row,
                                                 &importer->value, importer->own);
        if (status == STATUS_OK)
            status = journal_show_column(importer->journal, column, &importer->there,
                                         &importer->other, importer->own);
        if (status != STATUS_OK || strcmp(importer->value.bytes, importer->other.bytes) != 0)
            return status;
    }
    *field = SIZE_MAX;
    return STATUS_OK;
}

static bool id_taken(struct importer *importer, int64_t id)
{
    bool taken = id != 0 && id <= importer->highest &&
                 journal_get(importer->journal, importer->record, id, importer->arena,
                             &importer->there, importer->own) == STATUS_OK;
    diags_clear(importer->own);
    return taken;
}

static enum status add(struct importer *importer)
{
    int64_t given = importer->row.named.id;
    if (id_taken(importer, given))
        importer->row.named.id = 0;
    importer->culprit = 0;
    /* Asked first, since a journal that refuses a record ends the whole transaction. */
    enum status status =
        row_check(importer->journal, importer->record, &importer->row, importer->own);
    if (status == STATUS_OK)
        status = journal_add(importer->journal, importer->record, &importer->row, importer->own);
    if (status != STATUS_OK)
        return status;
    int64_t id = importer->row.named.id;
    if (id > importer->highest)
        importer->highest = id;
    importer->tally->added++;
    return remember(importer, given, id);
}

/* Two records of one label that differ: told side by side, or settled as was said. */
static enum status settle(struct importer *importer, size_t field)
{
    const char *label = importer->row.named.label;
    enum import_keep keep = importer->options->keep;
    enum status status = STATUS_OK;
    struct text sides;
    importer->culprit = field;
    text_init(&sides);
    while (status == STATUS_OK && field != SIZE_MAX) {
        const struct column *column = importer->columns[field];
        text_printf(&sides, "%s%s '%.200s' | '%.200s'", sides.length > 0 ? "; " : "", column->name,
                    importer->other.bytes, importer->value.bytes);
        if (keep == KEEP_FILE)
            status = journal_correct(importer->journal, importer->record, label, column->name,
                                     importer->value.bytes, importer->options->now, importer->own);
        field++;
        if (status == STATUS_OK)
            status = differs(importer, &field);
    }
    if (status == STATUS_OK && keep == KEEP_NEITHER) {
        diags_error(importer->own, (struct position){0},
                    "%s '%.60s' differs, in the journal | in the file: %s; say --keep journal or "
                    "--keep file for all such, or give this one another label (--prefix)",
                    importer->type->name, label, sides.bytes);
        status = STATUS_DATA;
    }
    importer->tally->settled += status == STATUS_OK;
    text_release(&sides);
    return status;
}

static enum status take_labelled(struct importer *importer)
{
    int64_t id = 0;
    size_t field = 0;
    if (!journal_has(importer->journal, importer->record, importer->row.named.label, &id))
        return add(importer);
    enum status status = journal_get(importer->journal, importer->record, id, importer->arena,
                                     &importer->there, importer->own);
    if (status == STATUS_OK)
        status = differs(importer, &field);
    if (status != STATUS_OK)
        return status;
    if (field != SIZE_MAX)
        return settle(importer, field);
    importer->tally->same++;
    return STATUS_OK;
}

/* An equal row under whatever id; 0 for none. It is looked for among those of the same vessel or
 * starter; of edits, which are few, among all. */
static enum status find_equal(struct importer *importer, int64_t *id)
{
    const struct column *owner = importer->type->columns;
    bool owned = owner->kind == COLUMN_REFERENCE;
    int64_t owned_by = owned ? *(const int64_t *)column_member(owner, &importer->row) : 0;
    enum status status = STATUS_OK;
    size_t field = 0;
    struct walk *walk = journal_walk(importer->journal, importer->record,
                                     owned ? owner->name : NULL, owned_by, false, importer->own);
    while (*id == 0 && status == STATUS_OK && walk_next(walk, &importer->there)) {
        field = 0;
        status = differs(importer, &field);
        if (status == STATUS_OK && field == SIZE_MAX)
            *id = importer->there.named.id;
    }
    enum status walked = walk_end(walk);
    return status != STATUS_OK ? status : walked;
}

static enum status take_unlabelled(struct importer *importer)
{
    int64_t given = importer->row.named.id, id = 0;
    size_t field = 0;
    enum status status = STATUS_OK;
    if (id_taken(importer, given)) {
        status = differs(importer, &field);
        id = status == STATUS_OK && field == SIZE_MAX ? given : 0;
    }
    if (status == STATUS_OK && id == 0 && !importer->was_empty)
        status = find_equal(importer, &id);
    if (status != STATUS_OK)
        return status;
    if (id == 0)
        return add(importer);
    importer->tally->same++;
    return remember(importer, given, id);
}

/* A row that is refused is told and counted, and no fault of the reading; what the disk refuses is. */
static enum status take_row(void *context, const struct csv_row *row)
{
    struct importer *importer = context;
    if (importer->column_count == 0)
        return read_header(importer, row);
    arena_reset(importer->arena);
    diags_clear(importer->own);
    enum status status = read_fields(importer, row);
    if (status == STATUS_OK)
        status = record_has_label(importer->record) ? take_labelled(importer)
                                                    : take_unlabelled(importer);
    if (status == STATUS_OK)
        return STATUS_OK;
    bool refused = status == STATUS_DATA || status == STATUS_USAGE;
    for (size_t i = 0; i < diags_kept(importer->own); i++) {
        const struct diag *diag = diags_get(importer->own, i);
        diags_error(importer->diags, refused ? csv_at(row, importer->culprit) : diag->at, "%s",
                    diag->message);
    }
    if (!refused)
        return status;
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
    int record = 0;
    size_t length = is_csv(name) ? strlen(name) - 4 : 0;
    while (record < RECORD_COUNT && (strlen(record_types[record].name) != length ||
                                     strncmp(record_types[record].name, name, length) != 0))
        record++;
    return (enum record)record;
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
            /* A file of a name that is no table's would be passed over in silence: that is told instead. */
            const char *names[RECORD_COUNT], *name = strrchr(path, '/') + 1;
            for (int i = 0; i < RECORD_COUNT; i++)
                names[i] = record_types[i].name;
            const char *near =
                diag_nearest(arena_copy(arena, name, strlen(name) - 4), names, RECORD_COUNT);
            const struct position at = {path, 0, 0};
            diags_error(diags, at, "no table has this name; %s%s%s",
                        near != NULL ? "did you mean '"
                                     : "a spreadsheet of your own is imported by its own name, "
                                       "with --map",
                        near != NULL ? near : "", near != NULL ? ".csv'?" : "");
            status = STATUS_DATA;
        } else
            paths[record] = path;
    }
    closedir(listing);
    if (any)
        return status;
    diags_error(diags, (struct position){folder, 0, 0},
                "holds no table; give the folder that 'jarside export' wrote");
    return STATUS_DATA;
}

static enum status read_table(struct journal *journal, enum record record, const char *path,
                              const struct import_options *options, struct import_tally *tally,
                              struct diags *diags)
{
    struct importer importer = {.journal = journal,
                                .record = record,
                                .type = &record_types[record],
                                .options = options,
                                .tally = tally,
                                .diags = diags};
    const struct csv_table table = {
        .file = path, .separator = ',', .utf8 = true, .context = &importer, .row = take_row};
    const char *newest =
        journal_sql(journal, "SELECT max(id) FROM \"%s\"", record_types[record].name);
    enum status status = query_number(journal, &importer.highest, diags, newest, "");
    importer.was_empty = importer.highest == 0;
    if (status != STATUS_OK)
        return status;
    importer.arena = arena_new();
    importer.own = diags_new();
    text_init(&importer.value);
    text_init(&importer.other);
    status = csv_read(&table, NULL, options->progress, diags);
    if (status == STATUS_OK && importer.column_count == 0) {
        diags_error(diags, (struct position){path, 1, 1},
                    "the file is empty; its first row should name the columns");
        status = STATUS_DATA;
    }
    text_release(&importer.value);
    text_release(&importer.other);
    arena_free(importer.arena);
    diags_free(importer.own);
    return status;
}

/* Keeps what was read when nothing was refused and it is not only a rehearsal. */
static enum status read_tables(struct journal *journal, const char *const paths[RECORD_COUNT],
                               const struct import_options *options,
                               struct import_tally tally[RECORD_COUNT], struct diags *diags)
{
    size_t refused = 0;
    char *by = journal->by;
    enum status status = journal_execute(
        journal,
        "PRAGMA temp_store = FILE;"
        "CREATE TEMP TABLE IF NOT EXISTS renamed (record INTEGER, given INTEGER, id INTEGER,"
        " PRIMARY KEY (record, given)) WITHOUT ROWID;"
        "DELETE FROM renamed",
        diags);
    if (status == STATUS_OK)
        status = journal_begin(journal, diags);
    if (status != STATUS_OK)
        return status;
    journal->by = NULL; /* these were recorded by others */
    for (int i = 0; i < RECORD_COUNT && status == STATUS_OK; i++) {
        if (paths[i] != NULL)
            status = read_table(journal, (enum record)i, paths[i], options, &tally[i], diags);
        refused += tally[i].refused;
    }
    journal->by = by;
    if (status == STATUS_OK && refused > 0)
        status = STATUS_DATA;
    if (status == STATUS_OK && !options->dry_run)
        return journal_commit(journal, diags);
    journal_rollback(journal);
    return status;
}

enum status import_folder(struct journal *journal, const char *folder,
                          const struct import_options *options,
                          struct import_tally tally[RECORD_COUNT], struct diags *diags)
{
    const char *paths[RECORD_COUNT] = {NULL};
    struct arena *arena = arena_new();
    memset(tally, 0, RECORD_COUNT * sizeof *tally);
    enum status status = look_through(arena, folder, paths, diags);
    if (status == STATUS_OK)
        status = read_tables(journal, paths, options, tally, diags);
    arena_free(arena);
    return status;
}

enum status import_file(struct journal *journal, enum record record, const char *path,
                        const struct import_options *options,
                        struct import_tally tally[RECORD_COUNT], struct diags *diags)
{
    const char *paths[RECORD_COUNT] = {NULL};
    memset(tally, 0, RECORD_COUNT * sizeof *tally);
    paths[record] = path;
    return read_tables(journal, paths, options, tally, diags);
}
