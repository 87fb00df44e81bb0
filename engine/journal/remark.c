/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/remark.h"

#include <ctype.h>
#include <string.h>

#include "base/csv.h"
#include "base/units.h"
#include "language/reader.h"

enum { MOST_NAMED = 10000 };

/* ---- words ----------------------------------------------------------------------------------- */

/* A word, or one mark that ends a clause; in lower case. */
struct token {
    size_t start, end; /* in the text */
    const char *word;
    bool mark; /* , ; : . ( ) ! ? and a dash between spaces */
};

struct reading_words {
    const struct rules *rules;
    const char *text;  /* as typed */
    const char *batch; /* its label, in lower case */
    size_t vessels;
    struct arena *arena;
    struct token *tokens;
    size_t count;
    struct remark_group *groups;
    size_t group_count;
    const char *unclear; /* what could not be read, or NULL */
    const char
        *doubted; /* a number before spots that names a vessel, or counts them; the last one */
    size_t doubts;
    const char *said;   /* the words of the clause before, or NULL */
    const char *denied; /* what "none is green" denies of the rest, and the excepted are; or NULL */
    bool colon, rest;   /* some vessel is named with a colon; something is said of the rest */
    size_t left;        /* "the other three": so many vessels; 0 for not said */
    const char *left_at;
    bool first, last; /* so many from that end are named: there is a middle */
};

/* Whether it is one of the names, which are separated by '|'. */
static bool is_among(const char *word, const char *names)
{
    return word[0] != '\0' && csv_named(names, word, strlen(word)) >= 0;
}

/* The word at a place; "" after the end and for a mark. */
static const char *word_at(const struct reading_words *words, size_t at)
{
    return at < words->count && !words->tokens[at].mark ? words->tokens[at].word : "";
}

/* Whether it is in a list of the rules (FORMAT.md, "remark_"). */
static bool listed(const struct reading_words *words, const char *list, const char *word)
{
    return word[0] != '\0' && rules_lists(words->rules, list, word, strlen(word));
}

static bool is_vessels(const struct reading_words *words, size_t at)
{
    return listed(words, "remark_vessels", word_at(words, at));
}

static bool is_mark(const struct reading_words *words, size_t at)
{
    return at < words->count && words->tokens[at].mark;
}

static const char *lower(struct arena *arena, const char *bytes, size_t length)
{
    char *copy = arena_copy(arena, bytes, length);
    for (char *at = copy; *at != '\0'; at++)
        *at = (char)tolower((unsigned char)*at);
    return copy;
}

static void cut_words(struct reading_words *words)
{
    static const char ends[] = " \t\r\n,;:()!?&+";
    const char *text = words->text;

    for (size_t at = 0; text[at] != '\0';) {
        size_t length = strcspn(text + at, ends);
        if (length == 0 && strchr(" \t\r\n", text[at]) != NULL) {
            at++;
            continue;
        }
        bool joiner = text[at] == '&' || text[at] == '+';
        bool mark = length == 0 && !joiner;
        length += length == 0;
        const char *word = lower(words->arena, text + at, length);
        if (strcmp(word, "-") == 0 || is_among(word, "\xe2\x80\x93|\xe2\x80\x94"))
            mark = true;
        if (!mark && !joiner && length > 1 && word[length - 1] == '.') { /* of the sentence */
            word = lower(words->arena, text + at, --length);
            *arena_push(words->arena, words->tokens, words->count) =
                (struct token){at, at + length, word, false};
            at += length;
            length = 1;
            word = ".";
            mark = true;
        }
        *arena_push(words->arena, words->tokens, words->count) =
            (struct token){at, at + length, word, mark};
        at += length;
    }
}

/* ---- vessels --------------------------------------------------------------------------------- */

/* "7", "#7", "B3-7", "7's" from the front of a word; what is after it, or NULL. */
static const char *read_number(const struct reading_words *words, const char *word, int64_t *number)
{
    size_t prefix = strlen(words->batch);
    if (*word == '#')
        word++;
    if (strncmp(word, words->batch, prefix) == 0 && word[prefix] == '-')
        word += prefix + 1;
    if (!isdigit((unsigned char)*word))
        return NULL;
    for (*number = 0; isdigit((unsigned char)*word); word++)
        if ((*number = 10 * *number + (*word - '0')) > 1000000)
            return NULL;
    if (strcmp(word, "'s") == 0 || strcmp(word, "s") == 0)
        word += strlen(word);
    return *number > 0 ? word : NULL;
}

/* Whether the number there is a measure: "2 cm", "3 days", "20 to 30 percent", "2 spots". */
static bool is_measure(const struct reading_words *words, size_t at)
{
    static const enum dimension dimensions[] = {DIM_DAYS,  DIM_MINUTES, DIM_PERCENT,   DIM_CELSIUS,
                                                DIM_GRAMS, DIM_METRES,  DIM_GAUGE_KPA, DIM_LITRES};
    const char *from = lower(words->arena, words->text + words->tokens[at].start,
                             strlen(words->text + words->tokens[at].start));
    struct quantity quantity;
    size_t used = 0;
    if (listed(words, "remark_measures", word_at(words, at + 1)))
        return true;
    for (size_t i = 0; i < sizeof dimensions / sizeof *dimensions; i++)
        if (quantity_read(from, strlen(from), dimensions[i], &quantity, &used) == QUANTITY_OK &&
            quantity.unit_given && used > 0)
            return true;
    return false;
}

/* "7", "3-7", "B3-3..7", "3 to 7", "3 - 7" after any leads; the place after it, or `at`. */
static size_t take_range(const struct reading_words *words, size_t at, int64_t *from, int64_t *to)
{
    size_t here = at;
    while (listed(words, "remark_leads", word_at(words, here)))
        here++;
    const char *word = word_at(words, here), *rest = read_number(words, word, from);
    if (rest == NULL || is_measure(words, here))
        return at;
    *to = *from;
    if (strncmp(rest, "\xe2\x80\x93", 3) == 0)
        rest += 3;
    else if (strncmp(rest, "..", 2) == 0)
        rest += 2;
    else if (*rest == '-')
        rest++;
    else if (*rest != '\0')
        return at;
    else {
        bool dash = is_mark(words, here + 1) && strchr("-\xe2", *words->tokens[here + 1].word);
        int64_t last = 0;
        size_t next = here + 2;
        while (listed(words, "remark_leads", word_at(words, next)))
            next++;
        const char *to_word = word_at(words, here + 1);
        const char *behind =
            (dash || strcmp(to_word, "..") == 0 || listed(words, "remark_to", to_word))
                ? read_number(words, word_at(words, next), &last)
                : NULL;
        if (behind != NULL && *behind == '\0' && !is_measure(words, next)) {
            *to = last;
            return next + 1;
        }
        return here + 1;
    }
    if (*rest == '\0') /* "3- 7" */
        rest = word_at(words, ++here);
    rest = read_number(words, rest, to);
    return rest != NULL && *rest == '\0' ? here + 1 : at;
}

/* "3-5, 7 and 9"; the place after it, or `at` for none. */
static size_t take_list(struct reading_words *words, size_t at, struct remark_group *group)
{
    int64_t *numbers = NULL, from = 0, to = 0;
    size_t count = 0, end = at;

    for (size_t next = at;;) {
        size_t behind = take_range(words, next, &from, &to);
        if (behind == next)
            break;
        /* "3, 5 is wet": the verb is of 5 alone. */
        if (end > at && is_mark(words, next - 1) && from == to &&
            listed(words, "remark_singular", word_at(words, behind)))
            break;
        /* "3 green, 5 wet": of a comma a vessel only follows where no words are between. */
        if (from > to || to - from > MOST_NAMED || count + (size_t)(to - from) >= MOST_NAMED) {
            words->unclear = word_at(words, next);
            return at;
        }
        for (int64_t number = from; number <= to; number++)
            *arena_push(words->arena, numbers, count) = number;
        end = next = behind;
        if (is_mark(words, next) && *words->tokens[next].word == ',')
            next++;
        if (listed(words, "remark_joiners", word_at(words, next)) ||
            is_among(word_at(words, next), "&|+"))
            next++;
    }
    *group = (struct remark_group){.numbers = numbers, .count = count, .words = ""};
    return end;
}

/* "six" or "6"; 0 for neither. */
static int64_t count_at(const struct reading_words *words, size_t at)
{
    const char *word = word_at(words, at);
    int64_t count = count_read(word);
    return count > 0 || read_number(words, word, &count) != NULL ? count : 0;
}

/* "first six", "the last 3 jars": so many from either end; the place after it, or `at`. */
static size_t take_ends(struct reading_words *words, size_t at, struct remark_group *group)
{
    size_t here = at + is_among(word_at(words, at), "the");
    const bool last = strcmp(word_at(words, here), "last") == 0;
    if (!last && strcmp(word_at(words, here), "first") != 0)
        return at;
    const bool one = is_among(word_at(words, ++here), "jar|bag|vessel"); /* "the last jar" */
    const int64_t count = one ? 1 : count_at(words, here);
    if (count <= 0 || (size_t)count > words->vessels ||
        (isdigit((unsigned char)*word_at(words, here)) && is_measure(words, here)) ||
        is_among(word_at(words, here + 1), "day|days|week|weeks|time|times|looks"))
        return at;
    int64_t *list = arena_array(words->arena, (size_t)count, sizeof *list);
    for (int64_t i = 0; i < count; i++)
        list[i] = last ? (int64_t)words->vessels - count + 1 + i : i + 1;
    *group = (struct remark_group){.numbers = list, .count = (size_t)count, .words = ""};
    words->first = words->first || !last;
    words->last = words->last || last;
    const bool thing = is_vessels(words, here + 1) || strcmp(word_at(words, here + 1), "of") == 0;
    return here + (thing ? 2 : 1);
}

/* ---- who is meant ---------------------------------------------------------------------------- */

enum whose { NOBODY, VESSELS, REST, ALL, CONTROLS };

/* Whether the words of a phrase stand there; then `end` is after them. */
static bool says(const struct reading_words *words, size_t at, const char *phrase, size_t *end)
{
    for (; *phrase != '\0'; at++) {
        const char *word = word_at(words, at);
        size_t length = strcspn(phrase, " ");
        if (strlen(word) != length || strncmp(word, phrase, length) != 0)
            return false;
        phrase += length + (phrase[length] == ' ');
    }
    *end = at;
    return true;
}

/* Misspellings of a long word: "everyting", "exept". */
static bool nearly(const char *word, const char *meant)
{
    return strlen(word) >= 5 && word[0] == meant[0] && diag_nearest(word, &meant, 1) != NULL;
}

/* "middle ones", where those at both ends are named. */
static bool is_middle(const struct reading_words *words, size_t at)
{
    return words->first && words->last && is_among(word_at(words, at), "middle|between");
}

/* "the others", "all of the other jars", "rest of them", "everything else", "they all", "the
 * control"; the place after it, or `at`. */
static size_t take_name(struct reading_words *words, size_t at, enum whose *whose)
{
    size_t here = at;
    while (is_among(word_at(words, here), "all|every|of|the|they"))
        here++;
    const char *word = word_at(words, here), *next = word_at(words, here + 1);
    bool pile = (is_vessels(words, here + 1) || strcmp(next, "one") == 0);
    if (strcmp(word, "other") == 0 && count_at(words, here + 1) > 0 &&
        !is_measure(words, here + 1)) {
        *whose = REST; /* "other three": so many must be left (settle_doubts) */
        words->left = (size_t)count_at(words, here + 1);
        words->left_at = words->text + words->tokens[here].start;
        return here + 2 + is_vessels(words, here + 2);
    }
    if (listed(words, "remark_rest", word) || is_middle(words, here) ||
        (strcmp(word, "other") == 0 && (pile || here > at))) {
        *whose = REST;
        return here + 1 + (pile ? 1 : says(words, here + 1, "of them", &here) ? 2 : 0);
    }
    if ((is_among(word, "control|controls|blank|blanks") || nearly(word, "control")) &&
        !is_among(next, "area|patch|of")) {
        *whose = CONTROLS;
        return here + 1;
    }
    *whose = ALL;
    if (nearly(word_at(words, at), "everything") || nearly(word_at(words, at), "everyone")) {
        *whose = strcmp(word_at(words, at + 1), "else") == 0 ? REST : ALL;
        return at + 1 + (*whose == REST);
    }
    if (strcmp(word_at(words, at), "all") == 0 || says(words, at, "they all", &here))
        return at + 1;
    *whose = NOBODY;
    return at;
}

/* Whether things are told that are counted, and then on which vessels: "black spots on 2". */
static bool counted_on(struct reading_words *words, size_t at)
{
    struct remark_group on;
    size_t thing = at + !listed(words, "remark_spots", word_at(words, at));
    return listed(words, "remark_spots", word_at(words, thing)) &&
           listed(words, "remark_on", word_at(words, thing + 1)) &&
           take_list(words, thing + 2, &on) > thing + 2;
}

/* Who is named at a place; `end` stands after it. */
static enum whose take_subject(struct reading_words *words, size_t at, struct remark_group *group,
                               size_t *end)
{
    enum whose whose = NOBODY;
    if ((*end = take_name(words, at, &whose)) > at)
        return whose;
    if ((*end = take_ends(words, at, group)) > at)
        return VESSELS;
    *end = take_list(words, at, group);
    if (*end == at)
        return NOBODY;
    words->colon =
        words->colon || (*end < words->count && words->text[words->tokens[*end].start] == ':');
    /* "2 green spots": jar 2, unless the remark lets it be two of them (settle_doubts). */
    bool bare = *end == at + 1 && group->count == 1 && !is_mark(words, *end);
    /* "9 black spots on 2", in a batch of four: nine of them, on vessel 2. */
    if (bare && (size_t)group->numbers[0] > words->vessels && counted_on(words, *end)) {
        *end = at;
        return NOBODY;
    }
    if (bare && (listed(words, "remark_spots", word_at(words, *end + 1)) ||
                 (word_at(words, *end + 1)[0] != '\0' &&
                  listed(words, "remark_spots", word_at(words, *end + 2)) &&
                  !listed(words, "remark_verbs", word_at(words, *end))))) {
        words->doubted = words->text + words->tokens[at].start;
        words->doubts++;
    }
    if ((is_vessels(words, *end) ||
         is_among(word_at(words, *end), "of|out"))) { /* how many, not which */
        if (group->count == 1 && (size_t)group->numbers[0] == words->vessels &&
            strcmp(word_at(words, *end), "of") != 0) {
            ++*end;
            return ALL;
        }
        words->unclear = words->text + words->tokens[at].start;
    }
    return VESSELS;
}

/* How exceptions begin, and the place after it; `at` when they do not. */
static size_t take_opener(const struct reading_words *words, size_t at)
{
    static const char *const phrases[] = {"except for", "apart from", "aside from",
                                          "other than", "but not",    "with the exception of"};
    size_t end = at;
    for (size_t i = 0; i < sizeof phrases / sizeof *phrases; i++)
        if (says(words, at, phrases[i], &end))
            return end;
    const char *word = word_at(words, at);
    return at + (listed(words, "remark_except", word) || nearly(word, "except"));
}

/* What is neither here nor there before a subject. */

/* ---- groups ---------------------------------------------------------------------------------- */

/* The words from one token to another, without marks at the ends. */
static const char *words_between(const struct reading_words *words, size_t from, size_t to)
{
    while (from < to && words->tokens[from].mark)
        from++;
    while (to > from &&
           (words->tokens[to - 1].mark ||
            (to - 1 > from && listed(words, "remark_fillers", words->tokens[to - 1].word))))
        to--;
    return from < to ? arena_copy(words->arena, words->text + words->tokens[from].start,
                                  words->tokens[to - 1].end - words->tokens[from].start)
                     : "";
}

struct clause { /* the words of whom, from there on */
    enum whose whose;
    struct remark_group group;
    size_t start;
};

/* "green patch on 4", "no change in the others": a clause whose vessels stand at its end. */
static size_t trailing_vessels(struct reading_words *words, size_t from, size_t to,
                               struct clause *clause)
{
    for (size_t at = from + 1; at < to; at++) {
        if (!listed(words, "remark_on", word_at(words, at)))
            continue;
        clause->whose = VESSELS;
        size_t end = take_list(words, at + 1, &clause->group);
        if (end == at + 1)
            end = take_name(words, at + 1, &clause->whose);
        if (end > at + 1 && end >= to && clause->whose != ALL)
            return at;
    }
    return to;
}

static void say_of(struct reading_words *words, struct remark *remark, const struct clause *clause,
                   size_t from, size_t to)
{
    while (from < to &&
           (words->tokens[from].mark || listed(words, "remark_copulas", words->tokens[from].word)))
        from++;
    const char *said = words_between(words, from, to);
    if (is_among(word_at(words, from), "none|nobody") && clause->whose == NOBODY) {
        for (from++; is_among(word_at(words, from), "of|them|any") ||
                     listed(words, "remark_copulas", word_at(words, from)) ||
                     listed(words, "remark_verbs", word_at(words, from));)
            from++;
        words->denied = words_between(words, from, to);
    }
    if (said[0] == '\0' && clause->whose == VESSELS && words->denied != NULL)
        said = words->denied;
    if (listed(words, "remark_likewise", said) && words->said != NULL && clause->whose == VESSELS)
        said = words->said; /* "nearly all white, 5 as well": what was said last */
    else if (said[0] != '\0')
        words->said = said;
    if (clause->whose != NOBODY && listed(words, "remark_nothing", said))
        said = "nothing growing";
    if (listed(words, "remark_praise", said)) /* of a group it is what "all fine" is of a batch */
        said = "all fine";
    if (clause->whose == VESSELS || clause->whose == CONTROLS) {
        struct remark_group *group = arena_push(words->arena, words->groups, words->group_count);
        *group = clause->group;
        group->words = said;
        group->controls = clause->whose == CONTROLS;
    } else if (said[0] != '\0' && strstr(remark->words, said) == NULL) {
        arena_append(words->arena, &remark->words, "; ", "%s", said);
    }
}

/* Parts between marks that end in vessels are said of those: "all fine, green on 4". */
static void close_clause(struct reading_words *words, struct remark *remark,
                         const struct clause *clause, size_t end)
{
    size_t start = clause->start;
    for (size_t from = start, to; from < end; from = to) {
        struct clause own = {.whose = NOBODY};
        for (to = from; to < end && !is_mark(words, to);)
            to++;
        size_t at = trailing_vessels(words, from, to, &own);
        while (to < end && is_mark(words, to))
            to++;
        if (at >= to || is_mark(words, at) ||
            (from == clause->start && (clause->whose == VESSELS || clause->whose == CONTROLS)))
            continue;
        words->rest = words->rest || own.whose == REST;
        if (from > start || clause->whose == VESSELS || clause->whose == CONTROLS)
            say_of(words, remark, clause, start, from);
        say_of(words, remark, &own, from, at);
        start = to;
    }
    if (start < end || start == clause->start)
        say_of(words, remark, clause, start, end);
}

/* "one of them", "a jar has", "the middle ones": some, and nobody knows which. */
static const char *unnamed(const struct reading_words *words)
{
    for (size_t at = 0; at < words->count; at++) {
        const char *word = word_at(words, at), *next = word_at(words, at + 1);
        size_t end = 0;
        if (listed(words, "remark_sorts", word) && strcmp(next, "ones") == 0 &&
            !is_middle(words, at))
            return words->text + words->tokens[at].start;
        const bool end_one = is_among(word, "first|last") && /* take_ends */
                             is_among(next, "one|jar|bag|vessel");
        at += end_one;
        if (end_one || !listed(words, "remark_some", word) ||
            (at > 0 && listed(words, "remark_each", word_at(words, at - 1))))
            continue;
        bool part = says(words, at + 1, "of them", &end) ||
                    says(words, at + 1, "of the jars", &end) ||
                    says(words, at + 1, "of the bags", &end) ||
                    says(words, at + 1, "of these", &end) || says(words, at + 1, "of my", &end);
        bool thing =
            is_vessels(words, at + 1) || (strcmp(word, "a") != 0 && strcmp(next, "one") == 0);
        bool several = strcmp(next, "are") == 0 || strcmp(next, "have") == 0;
        bool the_one =
            at > 0 && strcmp(word, "one") == 0 && strcmp(word_at(words, at - 1), "the") == 0;
        if (strcmp(word, "a") == 0
                ? thing && listed(words, "remark_verbs", word_at(words, at + 2))
                : part || thing || several || the_one ||
                      (!listed(words, "remark_whole", word) && listed(words, "remark_verbs", next)))
            return words->text + words->tokens[at].start;
    }
    return NULL;
}

const struct remark_group *remark_group_of(const struct remark *remark, int64_t number,
                                           bool control)
{
    const struct remark_group *found = NULL;
    for (size_t i = 0; i < remark->group_count; i++) {
        const struct remark_group *group = &remark->groups[i];
        bool in = group->controls && control;
        for (size_t k = 0; k < group->count && !in; k++)
            in = group->numbers[k] == number;
        /* "except 3 and 5: 3 is wet": what is said of fewer is said more exactly. */
        bool better = found == NULL || found->controls || group->count < found->count ||
                      (group->count == found->count && found->words[0] == '\0');
        if (in && better)
            found = group;
    }
    return found;
}

/* A vessel in two groups of one size: both were meant, and only one can count. */
static const char *named_twice(struct reading_words *words)
{
    for (size_t i = 0; i < words->group_count; i++)
        for (size_t k = 0; k < words->groups[i].count; k++)
            for (size_t j = i; j < words->group_count; j++) {
                const struct remark_group *a = &words->groups[i], *b = &words->groups[j];
                size_t times = 0;
                for (size_t m = 0; m < b->count; m++)
                    times += b->numbers[m] == a->numbers[k];
                bool both = a->words[0] != '\0' && b->words[0] != '\0' && a->count == b->count;
                /* "all white except 4, 4 stopped": the second time it is said of it. */
                if (i == j ? times > 1 && a->words[0] == '\0' : times > 0 && both)
                    return arena_format(words->arena, "%lld", (long long)a->numbers[k]);
            }
    return NULL;
}

/* "9 black spots" is vessel 9, "9 black spots, 10 no change, rest fine" too. It may be nine of
 * them, on who knows which, where all of the batch is spoken of ("all fine, 2 black spots"), where
 * it may go on about the vessel before ("3: green patch, 4 black spots"), and where there are not
 * so many vessels. */
static void settle_doubts(struct reading_words *words, const struct remark *remark)
{
    bool clear = !words->colon && (remark->words[0] == '\0' || words->rest) &&
                 (words->doubts < words->group_count || words->group_count == 1);
    int64_t before = 0;
    for (size_t i = 0; i < words->group_count; i++)
        if (words->groups[i].count > 0) {
            clear = clear && before < words->groups[i].numbers[0];
            before = words->groups[i].numbers[0];
        }
    size_t named = 0;
    for (size_t i = 0; i < words->group_count; i++)
        named += words->groups[i].count;
    if (words->left > 0 && words->left + named != words->vessels)
        words->unclear = words->left_at;
    if (words->doubts > 0 && (!clear || (size_t)before > words->vessels))
        words->unclear = words->doubted;
}

enum status remark_read(const struct rules *rules, const char *text, const char *batch,
                        size_t vessels, struct arena *arena, struct remark *remark,
                        struct diags *diags)
{
    struct reading_words words = {.rules = rules,
                                  .text = text,
                                  .batch = lower(arena, batch, strlen(batch)),
                                  .vessels = vessels,
                                  .arena = arena};
    struct clause clause = {.whose = NOBODY};
    bool begins = true; /* a clause may begin here */

    *remark = (struct remark){.words = ""};
    cut_words(&words);
    for (size_t at = 0; at < words.count && words.unclear == NULL;) {
        struct remark_group group = {0};
        size_t filler = at, opener = take_opener(&words, at), end = at;
        enum whose whose = NOBODY;
        if (opener > at) {
            whose = take_subject(&words, opener, &group, &end);
            bool bare = strcmp(word_at(&words, at), "not") != 0 || end == words.count ||
                        is_mark(&words, end);
            if (whose == VESSELS && bare) {
                close_clause(&words, remark, &clause, at);
                clause = (struct clause){VESSELS, group, end};
                at = end;
                begins = true;
                continue;
            }
            bool plain = nearly(word_at(&words, at), "except");
            if (whose == NOBODY && plain && isdigit((unsigned char)word_at(&words, opener)[0]))
                words.unclear = words.text + words.tokens[opener].start;
            whose = NOBODY;
        }
        while (listed(&words, "remark_fillers", word_at(&words, filler)))
            filler++;
        if (begins || filler > at)
            whose = take_subject(&words, filler, &group, &end);
        /* "3: wet, all green": all of it. */
        if (whose == ALL && at > 0 && clause.whose != NOBODY)
            whose = NOBODY;
        if (whose != NOBODY) {
            if (filler > 0 || clause.whose != NOBODY)
                close_clause(&words, remark, &clause, at);
            words.rest = words.rest || whose == REST;
            bool each = whose == ALL && (size_t)count_at(&words, end) == vessels; /* "all 8" */
            clause = (struct clause){whose, group, each ? end + 1 : whose == ALL ? filler : end};
            at = end + each;
            begins = whose != ALL;
            continue;
        }
        /* "green on 4 and 5, ...": no clause begins within. */
        size_t behind = listed(&words, "remark_on", word_at(&words, at))
                            ? take_list(&words, at + 1, &group)
                            : at;
        begins = is_mark(&words, at);
        at =
            behind > at + 1 && (behind == words.count || is_mark(&words, behind)) ? behind : at + 1;
    }
    close_clause(&words, remark, &clause, words.count);
    remark->groups = words.groups;
    remark->group_count = words.group_count;
    settle_doubts(&words, remark);
    const char *twice = named_twice(&words), *which = unnamed(&words);
    struct position nowhere = {0};
    if (words.unclear != NULL || which != NULL)
        diags_error(
            diags, nowhere,
            "it is not clear which vessels are meant by '%.40s', so nothing was saved, not even "
            "for the others; name them by their numbers, with a colon: "
            "look %s \"all fine except 3, 5-7: green patch, 9: wet below\"",
            which != NULL ? which : words.unclear, batch);
    else if (twice != NULL)
        diags_error(diags, nowhere, "vessel %s is named twice", twice);
    else
        return STATUS_OK;
    return STATUS_USAGE;
}

const char *remark_leftover(const char *words, const struct span *spans, size_t count,
                            struct arena *arena)
{
    for (size_t at = 0; words[at] != '\0'; at++) {
        bool inside = at > 0 && (isalnum((unsigned char)words[at - 1]) || words[at - 1] == '.');
        size_t length = strspn(words + at, "0123456789");
        bool covered = length == 0 || inside || isalpha((unsigned char)words[at + length]) ||
                       words[at + length] == '%';
        for (size_t i = 0; i < count && !covered; i++)
            covered = spans[i].start <= at && at < spans[i].end;
        if (!covered)
            return arena_copy(arena, words + at, length);
        at += length > 0 ? length - 1 : 0;
    }
    return NULL;
}
