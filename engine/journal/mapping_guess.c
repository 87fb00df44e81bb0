/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A map proposed from headings and values, for a person to look over. */
#include <stdlib.h>
#include <string.h>

#include "journal/mapping_internal.h"
#include "journal/table_internal.h"

enum { MOST_COLUMNS = 64, MOST_VALUES = 60, MOST_LENGTH = 80 };

struct sample { /* what stands in one column */
    const char *heading, *folded;
    const char *values[MOST_VALUES]; /* distinct, as written */
    size_t counts[MOST_VALUES];
    size_t count;
    bool more;                          /* distinct values than were kept */
    bool repeats;                       /* a value stands in two rows */
    bool whole;                         /* every value is a whole number */
    bool day_first, month_first, plain; /* dates that can only be so; ISO or with a named month */
    size_t dates, filled;
};

struct guess {
    struct table_reader reader;
    struct arena *arena;
    struct sample samples[MOST_COLUMNS];
    size_t column_count;
    size_t rows;
    int column_of[MAPPED_COUNT]; /* -1 for none */
    struct text *out;
};

/* ---- looking --------------------------------------------------------------------------------- */

static void look_at_date(struct sample *sample, const char *text)
{
    int parts[3];
    bool named[3];
    struct moment moment;
    if (mapped_date(text, DATES_ISO, &moment)) {
        sample->dates++;
        sample->plain = true;
    } else if (mapped_date_parts(text, parts, named)) {
        sample->dates++;
        sample->day_first = sample->day_first || parts[0] > 12;
        sample->month_first = sample->month_first || parts[1] > 12;
    }
}

static bool look_at_value(struct guess *guess, struct sample *sample, const char *text)
{
    sample->filled++;
    sample->whole = sample->whole && text[strspn(text, "0123456789")] == '\0';
    look_at_date(sample, text);
    for (size_t i = 0; i < sample->count; i++)
        if (strcmp(sample->values[i], text) == 0) {
            sample->counts[i]++;
            sample->repeats = true;
            return true;
        }
    if (sample->count == MOST_VALUES || strlen(text) > MOST_LENGTH) {
        sample->more = true;
        return true;
    }
    sample->values[sample->count] = arena_string(guess->arena, text);
    sample->counts[sample->count] = 1;
    return sample->values[sample->count++] != NULL;
}

static enum status look_at_row(void *context, const struct table_row *row)
{
    struct guess *guess = context;
    bool header = guess->column_count == 0;
    if (header)
        guess->column_count = row->count < MOST_COLUMNS ? row->count : MOST_COLUMNS;
    else
        guess->rows++;
    for (size_t i = 0; i < guess->column_count && i < row->count; i++) {
        const char *text = row->fields[i].text + strspn(row->fields[i].text, " \t");
        struct sample *sample = &guess->samples[i];
        if (header) {
            *sample = (struct sample){.whole = true};
            sample->heading = arena_string(guess->arena, row->fields[i].text);
            sample->folded = mapped_fold(guess->arena, text);
            if (sample->heading == NULL || sample->folded == NULL)
                return STATUS_MEMORY;
        } else if (text[0] != '\0' && !look_at_value(guess, sample, text)) {
            return STATUS_MEMORY;
        }
    }
    return STATUS_OK;
}

/* ---- choosing -------------------------------------------------------------------------------- */

/* How well a heading fits: 100 less its place among those that suggest the field; half of that when
 * it only holds one as a word of its own; 0 when not at all. */
static int fit(const char *headings, const char *folded)
{
    int place = 0, best = 0;
    for (const char *at = headings; *at != '\0'; place++) {
        size_t length = strcspn(at, "|");
        const char *found = NULL;
        if (strlen(folded) == length && memcmp(folded, at, length) == 0)
            return 100 - place;
        for (const char *try = folded; length > 3 && *try != '\0' && found == NULL; try++)
            if (strncmp(try, at, length) == 0 && (try == folded || try[-1] == ' ') &&
                (try[length] == '\0' || strchr(" .:(?", try[length]) != NULL))
                found = try;
        if (found != NULL && 50 - place > best)
            best = 50 - place;
        at += length + (at[length] == '|');
    }
    return best;
}

static bool suits(const struct sample *sample, enum mapped field)
{
    if (mapped_is_date(field))
        return sample->filled == 0 || 2 * sample->dates >= sample->filled;
    if (field == MAPPED_NUMBER)
        return sample->whole;
    if (field == MAPPED_VESSEL)
        return !sample->repeats;
    return true;
}

/* The best pair of what is left, again and again. */
static void choose(struct guess *guess)
{
    bool taken[MOST_COLUMNS] = {false};
    for (int i = 0; i < MAPPED_COUNT; i++)
        guess->column_of[i] = -1;
    for (;;) {
        int best = 0, field = 0, column = 0;
        for (int i = 0; i < MAPPED_COUNT; i++)
            for (size_t k = 0; k < guess->column_count && guess->column_of[i] < 0; k++) {
                const struct sample *sample = &guess->samples[k];
                int fits = taken[k] || !suits(sample, (enum mapped)i)
                               ? 0
                               : fit(mapped_fields[i].headings, sample->folded);
                if (fits > best)
                    best = fits, field = i, column = (int)k;
            }
        if (best == 0)
            return;
        guess->column_of[field] = column;
        taken[column] = true;
    }
}

/* A column headed like a label, of whole numbers that come again in every batch, counts within it. */
static void number_for_label(struct guess *guess)
{
    if (guess->column_of[MAPPED_VESSEL] >= 0 || guess->column_of[MAPPED_NUMBER] >= 0)
        return;
    for (size_t k = 0; k < guess->column_count; k++) {
        bool used = false;
        for (int i = 0; i < MAPPED_COUNT; i++)
            used = used || guess->column_of[i] == (int)k;
        if (!used && guess->samples[k].whole && guess->samples[k].filled > 0 &&
            fit(mapped_fields[MAPPED_VESSEL].headings, guess->samples[k].folded) > 0)
            guess->column_of[MAPPED_NUMBER] = (int)k;
    }
}

/* ---- writing --------------------------------------------------------------------------------- */

/* A text in double quotes, as YAML has it. */
static void put_quoted(struct text *out, const char *text)
{
    text_puts(out, "\"");
    for (const char *at = text; *at != '\0'; at++) {
        if (*at == '"' || *at == '\\')
            text_printf(out, "\\%c", *at);
        else if ((unsigned char)*at < 0x20 || *at == 0x7f)
            text_printf(out, "\\x%02x", (unsigned)(unsigned char)*at);
        else
            text_add(out, at, 1);
    }
    text_puts(out, "\"");
}

/* For a comment: nothing in it may end the line. */
static void put_comment(struct text *out, const char *text)
{
    static const struct text_safe_options options = {.limit = MOST_LENGTH};
    text_safe(out, text, strlen(text), &options);
}

static void put_columns(struct guess *guess)
{
    struct text *out = guess->out;
    text_puts(out, "columns:\n");
    for (int i = 0; i < MAPPED_COUNT; i++)
        if (guess->column_of[i] >= 0) {
            text_printf(out, "  %s: ", mapped_fields[i].name);
            put_quoted(out, guess->samples[guess->column_of[i]].heading);
            text_puts(out, "\n");
        }
    for (size_t k = 0; k < guess->column_count; k++) {
        bool used = guess->samples[k].folded[0] == '\0';
        for (int i = 0; i < MAPPED_COUNT; i++)
            used = used || guess->column_of[i] == (int)k;
        if (used)
            continue;
        text_puts(out, "  # left out: ");
        put_comment(out, guess->samples[k].heading);
        text_puts(out, "\n");
    }
    if (guess->column_of[MAPPED_VESSEL] < 0 && guess->column_of[MAPPED_NUMBER] < 0)
        text_puts(out, "  # number: ?     no column seems to tell the vessels of a batch\n");
    if (guess->column_of[MAPPED_BATCH] < 0)
        text_puts(out, "  # batch: ?      no column seems to tell the batch\n");
    if (guess->column_of[MAPPED_INOCULATED] < 0)
        text_puts(out, "  # inoculated: ? no column seems to tell the day of inoculation\n");
}

static void put_dates(struct guess *guess)
{
    bool day_first = false, month_first = false, unclear = false;
    for (int i = 0; i < MAPPED_COUNT; i++) {
        if (guess->column_of[i] < 0 || !mapped_is_date((enum mapped)i))
            continue;
        const struct sample *sample = &guess->samples[guess->column_of[i]];
        day_first = day_first || sample->day_first;
        month_first = month_first || sample->month_first;
        unclear = unclear || (sample->dates > 0 && !sample->plain);
    }
    if (day_first && month_first)
        text_puts(guess->out, "dates: day/month/year   # some can only be month/day/year\n");
    else if (day_first)
        text_puts(guess->out, "dates: day/month/year\n");
    else if (month_first)
        text_puts(guess->out, "dates: month/day/year\n");
    else if (unclear)
        text_puts(guess->out,
                  "dates: day/month/year   # or month/day/year: the file does not tell\n");
}

/* Columns that a sheet with merged cells leaves empty below the first row. */
static void put_repeats(struct guess *guess)
{
    static const enum mapped shared[] = {MAPPED_BATCH, MAPPED_INOCULATED, MAPPED_COOK,
                                         MAPPED_STARTER};
    bool any = false;
    for (size_t i = 0; i < sizeof shared / sizeof *shared; i++) {
        int column = guess->column_of[shared[i]];
        if (column < 0 || 2 * guess->samples[column].filled > guess->rows)
            continue;
        text_puts(guess->out, any ? ", " : "repeat: [");
        put_quoted(guess->out, guess->samples[column].heading);
        any = true;
    }
    if (any)
        text_puts(guess->out, "]   # mostly empty: what stands above holds\n");
}

/* ---- words ----------------------------------------------------------------------------------- */

/* Plain words for what became of a vessel, as people write them. */
static const char *plain_result(const char *folded)
{
    static const char *const words[][2] = {
        {"used", "used"},        {"spawned", "used"},        {"in bulk", "used"},
        {"growing", "growing"},  {"running", "growing"},     {"ongoing", "growing"},
        {"ok", "growing"},       {"discarded", "discarded"}, {"tossed", "discarded"},
        {"binned", "discarded"}, {"trashed", "discarded"},   {"thrown out", "discarded"},
    };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strcmp(folded, words[i][0]) == 0)
            return words[i][1];
    return NULL;
}

/* What the triage takes the words for; NULL when that is too doubtful to be proposed: a vessel that
 * may be contaminated is never proposed as clean. Without memory to tell, `out` counts as failed. */
static const struct finding *guessed(struct triage *triage, const char *value, struct text *out,
                                     double *p)
{
    static const double likely = 0.5, suspect = 0.1;
    const struct fact *facts = NULL;
    const struct finding *finding = NULL;
    struct diags *unheard = diags_new();
    const struct verdict *verdict = NULL;
    const struct rules *rules = triage_rules(triage);
    triage_reset(triage);
    enum status told =
        unheard != NULL ? triage_tell(triage, value, strlen(value), unheard) : STATUS_MEMORY;
    out->failed = out->failed || told == STATUS_MEMORY;
    if (told == STATUS_OK && triage_facts(triage, &facts) > 0)
        verdict = triage_judge(triage);
    if (verdict != NULL && verdict->findings[0].p >= likely) {
        *p = verdict->findings[0].p;
        finding = &rules->findings[verdict->findings[0].index];
        if (finding->status != FINDING_CONTAMINATED &&
            verdict->status[FINDING_CONTAMINATED] > suspect)
            finding = NULL;
    }
    triage_reset(triage);
    diags_free(unheard);
    return finding;
}

static void put_times(struct text *out, size_t count)
{
    if (count == 1)
        text_puts(out, "   # once");
    else
        text_printf(out, "   # %zu times", count);
}

static void put_result(struct guess *guess, struct triage *triage, const char *value, size_t count)
{
    struct text *out = guess->out;
    double p = 0;
    const char *folded = mapped_fold(guess->arena, value);
    const char *plain = folded != NULL ? plain_result(folded) : NULL;
    const struct finding *finding = plain == NULL ? guessed(triage, value, out, &p) : NULL;
    text_puts(out, plain != NULL || finding != NULL ? "    " : "    # ");
    put_quoted(out, value);
    if (plain != NULL)
        text_printf(out, ": %s", plain);
    else if (finding != NULL)
        text_printf(out, ": %s%s", finding->id,
                    finding->status == FINDING_CONTAMINATED ? " discarded" : "");
    else
        text_puts(out, ": ?");
    put_times(out, count);
    if (finding != NULL)
        text_printf(out, "; a guess, %.0f %%", 100.0 * p);
    text_puts(out, plain != NULL || finding != NULL ? "\n" : "; say what it was\n");
}

/* The words of a column that the rules would not know by themselves. */
static void put_words(struct guess *guess, const struct mapping *nothing, struct reader *reader,
                      struct triage *triage, enum mapped field, bool *any)
{
    const struct sample *sample = &guess->samples[guess->column_of[field]];
    bool headed = false;
    struct mapped_result result;
    for (size_t i = 0; i < sample->count; i++) {
        const char *value = sample->values[i];
        bool known = field == MAPPED_RESULT
                         ? mapped_result(nothing, value, guess->arena, &result)
                         : mapped_word(nothing, reader, field, value, guess->arena) != NULL;
        if (known)
            continue;
        if (!*any)
            text_puts(guess->out, "values:\n");
        if (!headed)
            text_printf(guess->out, "  %s:\n", mapped_fields[field].name);
        *any = headed = true;
        if (field == MAPPED_RESULT) {
            put_result(guess, triage, value, sample->counts[i]);
        } else {
            text_puts(guess->out, "    # ");
            put_quoted(guess->out, value);
            text_puts(guess->out, ": ?");
            put_times(guess->out, sample->counts[i]);
            text_puts(guess->out, "\n");
        }
    }
    if (headed && sample->more)
        text_puts(guess->out, "    # and more; only the first words are listed\n");
}

static void put_values(struct guess *guess, struct reader *reader, struct triage *triage)
{
    const struct mapping nothing = {.rules = triage_rules(triage)};
    bool any = false;
    for (int i = 0; i < MAPPED_COUNT; i++)
        if (guess->column_of[i] >= 0 && mapped_fields[i].words != WORDS_FREE)
            put_words(guess, &nothing, reader, triage, (enum mapped)i, &any);
}

enum status mapping_guess(const char *path, struct reader *reader, struct triage *triage,
                          struct text *out, struct diags *diags)
{
    struct guess *guess = calloc(1, sizeof *guess);
    if (guess == NULL || (guess->arena = arena_new(NULL)) == NULL) {
        free(guess);
        return STATUS_MEMORY;
    }
    guess->out = out;
    guess->reader = (struct table_reader){.path = path, .context = guess, .row = look_at_row};
    enum status status = table_read(&guess->reader, diags);
    if (status == STATUS_OK && guess->column_count == 0) {
        diags_error(diags, (struct position){path, 1, 1},
                    "the file is empty; its first row should name the columns");
        status = STATUS_DATA;
    }
    if (status == STATUS_OK) {
        choose(guess);
        number_for_label(guess);
        text_puts(out, "# A map, guessed. Look it over and mend it, then rehearse:\n"
                       "#   jarside import SPREADSHEET --map THIS-FILE --dry-run\n");
        put_columns(guess);
        put_dates(guess);
        put_repeats(guess);
        put_values(guess, reader, triage);
        status = out->failed || arena_exhausted(guess->arena) ? STATUS_MEMORY : STATUS_OK;
    }
    arena_free(guess->arena);
    free(guess);
    return status;
}
