/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "journal/mapping_internal.h"

enum {
    MOST_GUESSED = 64, /* columns that are looked at for a guess */
    MOST_VALUES = 60,  /* of one of them that are kept */
    MOST_LENGTH = 80,  /* of one of these */
};

/* A map proposed from headings and values, for a person to look over. */

struct sample { /* what stands in one column */
    const char *heading, *folded;
    const char *values[MOST_VALUES]; /* distinct, as written */
    size_t counts[MOST_VALUES];
    size_t count;
    bool more;                       /* distinct values than were kept */
    bool repeats;                    /* a value stands in two rows */
    bool whole;                      /* every value is a whole number */
    bool plain;                      /* some date is ISO 8601 or names the month */
    bool only[DATES_YEAR_FIRST + 1]; /* some date can be read in this order alone */
    size_t dates, filled;
};

struct guess {
    struct arena *arena;
    struct sample samples[MOST_GUESSED];
    size_t header, row; /* as of a sheet */
    size_t column_count, rows;
    int column_of[ROLE_COUNT]; /* -1 for none */
    struct text *out;
    struct mapping nothing; /* a map that translates no word */
    struct reader *reader;
    struct triage *triage;
};

static void look_at_value(struct guess *guess, struct sample *sample, const char *text)
{
    struct moment moment;
    int orders = 0, only = DATES_ISO;
    bool plain = moment_read_in(text, DATES_ISO, &moment);
    for (int order = DATES_DAY_FIRST; order <= DATES_YEAR_FIRST; order++)
        if (moment_read_in(text, (enum date_order)order, &moment)) {
            orders++;
            only = order;
        }
    sample->filled++;
    sample->whole = sample->whole && text[strspn(text, "0123456789")] == '\0';
    sample->dates += plain || orders > 0;
    sample->plain = sample->plain || plain;
    sample->only[orders == 1 && !plain ? only : DATES_ISO] = true;
    for (size_t i = 0; i < sample->count; i++)
        if (strcmp(sample->values[i], text) == 0) {
            sample->counts[i]++;
            sample->repeats = true;
            return;
        }
    if (sample->count == MOST_VALUES || strlen(text) > MOST_LENGTH) {
        sample->more = true;
        return;
    }
    sample->values[sample->count] = arena_string(guess->arena, text);
    sample->counts[sample->count++] = 1;
}

static enum status look_at_row(void *context, const struct csv_row *row)
{
    struct guess *guess = context;
    bool header = guess->row == guess->header;
    if (guess->row++ < guess->header)
        return STATUS_OK;
    size_t again = 0;
    for (size_t i = 0; i < guess->column_count && i < row->count; i++)
        again +=
            strcmp(sheet_fold(guess->arena, row->fields[i].text), guess->samples[i].folded) == 0 &&
            guess->samples[i].folded[0] != '\0';
    if (!header && (again > 1 || is_sums(&guess->nothing.rules->language, row, guess->arena)))
        return STATUS_OK;
    if (header)
        guess->column_count = row->count < MOST_GUESSED ? row->count : MOST_GUESSED;
    guess->rows += !header;
    for (size_t i = 0; i < guess->column_count && i < row->count; i++) {
        const char *text = row->fields[i].text;
        struct sample *sample = &guess->samples[i];
        if (header)
            *sample = (struct sample){.heading = arena_string(guess->arena, text),
                                      .folded = sheet_fold(guess->arena, text),
                                      .whole = true};
        else if (text[strspn(text, " \t")] != '\0')
            look_at_value(guess, sample, text + strspn(text, " \t"));
    }
    return STATUS_OK;
}

/* What stands in the column must not contradict the role. */
static int score(const struct sample *sample, enum role role)
{
    bool suits = role_is_date(role)    ? 2 * sample->dates >= sample->filled
                 : role == ROLE_NUMBER ? sample->whole
                 : role == ROLE_VESSEL ? !sample->repeats
                                       : true;
    return suits ? role_fit(role, sample->folded) : 0;
}

static bool is_used(const struct guess *guess, size_t column)
{
    for (int i = 0; i < ROLE_COUNT; i++)
        if (guess->column_of[i] == (int)column)
            return true;
    return false;
}

/* The best pair of what is left, again and again. */
static void choose(struct guess *guess)
{
    for (int i = 0; i < ROLE_COUNT; i++)
        guess->column_of[i] = -1;
    for (;;) {
        int best = 0, role = 0, column = 0;
        for (int i = 0; i < ROLE_COUNT; i++)
            for (size_t k = 0; k < guess->column_count && guess->column_of[i] < 0; k++) {
                int fits = is_used(guess, k) ? 0 : score(&guess->samples[k], (enum role)i);
                if (fits > best)
                    best = fits, role = i, column = (int)k;
            }
        if (best == 0)
            break;
        guess->column_of[role] = column;
    }
    /* A column headed like a label, of whole numbers that come again in every batch, counts within
     * it. */
    for (size_t k = 0; k < guess->column_count; k++) {
        const struct sample *sample = &guess->samples[k];
        if (guess->column_of[ROLE_VESSEL] < 0 && guess->column_of[ROLE_NUMBER] < 0 &&
            !is_used(guess, k) && sample->whole && sample->filled > 0 &&
            role_fit(ROLE_VESSEL, sample->folded) > 0)
            guess->column_of[ROLE_NUMBER] = (int)k;
    }
}

/* A text in double quotes, as YAML has it. */
static void put_quoted(struct text *out, const char *text)
{
    size_t step = 1;
    int32_t point = 0;
    text_puts(out, "\"");
    for (const char *at = text; *at != '\0'; at += step > 0 ? step : 1) {
        step = 1;
        if (*at == '"' || *at == '\\')
            text_printf(out, "\\%c", *at);
        else if ((step = text_treacherous(at, strlen(at), &point)) > 0)
            text_printf(out, point < 0x10000 ? "\\u%04x" : "\\U%08x", (unsigned)point);
        else
            text_add(out, at, 1);
    }
    text_puts(out, "\"");
}

static void put_columns(struct guess *guess)
{
    static const struct text_safe_options safe = {.limit = MOST_LENGTH};
    struct text *out = guess->out;
    const int *of = guess->column_of;
    text_puts(out, "columns:\n");
    for (int i = 0; i < ROLE_COUNT; i++)
        if (of[i] >= 0) {
            text_printf(out, "  %s: ", roles[i].name);
            put_quoted(out, guess->samples[of[i]].heading);
            text_puts(out, "\n");
        }
    for (size_t k = 0; k < guess->column_count; k++) {
        const struct sample *sample = &guess->samples[k];
        if (is_used(guess, k) || sample->folded[0] == '\0')
            continue;
        text_puts(out, "  # left out: "); /* and nothing in it may end the line */
        text_safe(out, sample->heading, strlen(sample->heading), &safe);
        text_puts(out, "\n");
    }
    if (of[ROLE_VESSEL] < 0 && of[ROLE_NUMBER] < 0)
        text_puts(out, "  # number: ?     no column seems to tell the vessels of a batch\n");
    if (of[ROLE_BATCH] < 0)
        text_puts(out, "  # batch: ?      no column seems to tell the batch\n");
    if (of[ROLE_INOCULATED] < 0)
        text_puts(out, "  # inoculated: ? no column seems to tell the day of inoculation\n");
}

/* Columns that a sheet with merged cells leaves empty below the first row. */
static void put_repeats(struct guess *guess)
{
    static const enum role shared_by[] = {ROLE_BATCH, ROLE_INOCULATED, ROLE_COOK, ROLE_STARTER};
    bool any = false;
    for (size_t i = 0; i < sizeof shared_by / sizeof *shared_by; i++) {
        int column = guess->column_of[shared_by[i]];
        if (column < 0 || 2 * guess->samples[column].filled > guess->rows)
            continue;
        text_puts(guess->out, any ? ", " : "repeat: [");
        put_quoted(guess->out, guess->samples[column].heading);
        any = true;
    }
    if (any)
        text_puts(guess->out, "]   # mostly empty: what stands above holds\n");
}

/* What the triage takes the words for; NULL when that is too doubtful to be proposed: a vessel that
 * may be contaminated is never proposed as clean. */
static const struct finding *guess_finding(struct triage *triage, const char *value, double *p)
{
    static const double likely = 0.5, suspect = 0.1;
    const struct fact *facts = NULL;
    const struct finding *finding = NULL;
    const struct verdict *verdict = NULL;
    struct diags *unheard = diags_new();
    triage_reset(triage);
    if (triage_tell(triage, value, strlen(value), unheard) == STATUS_OK &&
        triage_facts(triage, &facts) > 0)
        verdict = triage_judge(triage);
    if (verdict != NULL && verdict->findings[0].p >= likely) {
        *p = verdict->findings[0].p;
        finding = &triage_rules(triage)->findings[verdict->findings[0].index];
        if (finding->status != FINDING_CONTAMINATED &&
            verdict->status[FINDING_CONTAMINATED] > suspect)
            finding = NULL;
    }
    triage_reset(triage);
    diags_free(unheard);
    return finding;
}

/* A meaning as a map writes it. */
static void put_meaning(struct text *out, const struct result *result)
{
    const char *words[] = {result->finding != NULL ? result->finding->id : "",
                           because_words[result->because], result->used ? "used" : "",
                           result->discarded ? "discarded" : "",
                           result->growing && !result_is_gone(result) ? "growing" : ""};
    bool any = false;
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        text_printf(out, "%s%s", any && words[i][0] != '\0' ? " " : "", words[i]);
        any = any || words[i][0] != '\0';
    }
}

/* A word of theirs and what it may mean, as far as that can be proposed. */
static void put_value(struct guess *guess, bool result, const char *value, size_t count)
{
    struct text *out = guess->out;
    struct result meaning = {0};
    double p = 0;
    bool known =
        result && read_usual_words(guess->nothing.rules, sheet_fold(guess->arena, value), &meaning);
    if (result && !known) {
        meaning = (struct result){.finding = guess_finding(guess->triage, value, &p)};
        meaning.discarded =
            meaning.finding != NULL && meaning.finding->status == FINDING_CONTAMINATED;
        known = meaning.finding != NULL;
    }
    text_puts(out, known ? "    " : "    # ");
    put_quoted(out, value);
    text_puts(out, ": ");
    if (known)
        put_meaning(out, &meaning);
    text_puts(out, known ? "   # " : "?   # ");
    if (count == 1)
        text_puts(out, "once");
    else
        text_printf(out, "%zu times", count);
    if (p > 0)
        text_printf(out, "; a guess, %.0f %%", 100.0 * p);
    text_puts(out, result && !known ? "; say what it was\n" : "\n");
}

/* The words of a column that the rules would not know by themselves. */
static void put_values(struct guess *guess, enum role role, bool *any)
{
    const struct sample *sample = &guess->samples[guess->column_of[role]];
    bool headed = false;
    struct result result;
    for (size_t i = 0; i < sample->count; i++) {
        const char *value = sample->values[i];
        if (role == ROLE_RESULT
                ? read_exactly(&guess->nothing, sheet_fold(guess->arena, value), guess->arena,
                               &result)
                : word_id(&guess->nothing, guess->reader, role, value, guess->arena) != NULL)
            continue;
        if (!*any)
            text_puts(guess->out, "values:\n");
        if (!headed)
            text_printf(guess->out, "  %s:\n", roles[role].name);
        *any = headed = true;
        put_value(guess, role == ROLE_RESULT, value, sample->counts[i]);
    }
    if (headed && sample->more)
        text_puts(guess->out, "    # and more; only the first words are listed\n");
}

enum status mapping_guess(const char *path, struct reader *reader, struct triage *triage,
                          struct text *out, struct diags *diags)
{
    struct arena *arena = arena_new();
    struct guess *guess = arena_alloc(arena, sizeof *guess);
    guess->arena = arena;
    guess->out = out;
    guess->nothing.rules = triage_rules(triage);
    guess->reader = reader;
    guess->triage = triage;
    const struct csv_table table = {
        .file = path, .utf8 = true, .context = guess, .row = look_at_row};
    enum status status = find_headline(path, NULL, arena, &guess->header, diags);
    if (status == STATUS_OK)
        status = csv_read(&table, NULL, NULL, diags);
    if (status == STATUS_OK && guess->column_count == 0)
        status = sheet_is_empty(path, diags);
    if (status == STATUS_OK) {
        bool any = false;
        choose(guess);
        text_puts(out, "# A map, guessed. Look it over and mend it, then rehearse:\n"
                       "#   jarside import SPREADSHEET --map THIS-FILE --dry-run\n");
        put_columns(guess);
        bool only[DATES_YEAR_FIRST + 1] = {false}, unclear = false;
        for (int i = 0; i < ROLE_COUNT; i++) {
            if (guess->column_of[i] < 0 || !role_is_date((enum role)i))
                continue;
            const struct sample *sample = &guess->samples[guess->column_of[i]];
            for (int order = DATES_DAY_FIRST; order <= DATES_YEAR_FIRST; order++)
                only[order] = only[order] || sample->only[order];
            unclear = unclear || (sample->dates > 0 && !sample->plain);
        }
        bool both = only[DATES_DAY_FIRST] && only[DATES_MONTH_FIRST];
        text_puts(out, both ? "dates: day/month/year   # some can only be month/day/year\n"
                       : only[DATES_DAY_FIRST]   ? "dates: day/month/year\n"
                       : only[DATES_MONTH_FIRST] ? "dates: month/day/year\n"
                       : only[DATES_YEAR_FIRST]  ? "dates: year-month-day\n"
                       : unclear
                           ? "dates: day/month/year   # or month/day/year: the file does not tell\n"
                           : "");
        put_repeats(guess);
        for (int i = 0; i < ROLE_COUNT; i++)
            if (guess->column_of[i] >= 0 && role_column((enum role)i)->list != LIST_NONE)
                put_values(guess, (enum role)i, &any);
    }
    arena_free(arena);
    return status;
}
