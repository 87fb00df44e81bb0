/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is said to a triage, in words, settings and answers; marks and going back. */
#include "triage/triage.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "triage/compute.h"
#include "triage/cook_memo_internal.h"
#include "triage/triage_internal.h"

enum { WORDS_LIMIT = 160 }; /* code points shown back of one statement */

/* ---- life ------------------------------------------------------------------------------------ */

static struct stakes usual_stakes(const struct rules *rules)
{
    return (struct stakes){
        .worth = 1.0, .neighbours = rules->decision.neighbours, .use = RULES_NONE};
}

static bool rooms_build(struct triage *triage)
{
    size_t count = triage->rules->observable_count + 1;

    triage->said = arena_new(NULL);
    triage->scratch = arena_new(NULL);
    triage->derived = arena_new(NULL);
    triage->judged = arena_new(NULL);
    triage->cooks = cook_memo_new();
    triage->known = calloc(count, sizeof *triage->known);
    triage->value_words = calloc(count, RULES_MAX_VALUES * sizeof *triage->value_words);
    triage->observations = calloc(count, sizeof *triage->observations);
    triage->skip = calloc(count, sizeof *triage->skip);
    triage->facts = calloc(count, sizeof *triage->facts);
    triage->clashes = calloc(count, sizeof *triage->clashes);
    triage->computed = calloc(triage->rules->cause_count + 1, sizeof *triage->computed);
    triage->shifts = calloc(2 * triage->rules->cause_count + 1, sizeof *triage->shifts);
    return triage->said && triage->scratch && triage->derived && triage->judged && triage->cooks &&
           triage->known && triage->value_words && triage->observations && triage->skip &&
           triage->facts && triage->clashes && triage->computed && triage->shifts;
}

struct triage *triage_new(const struct rules *rules, struct reader *reader,
                          const struct reasoner *reasoner)
{
    struct triage *triage = calloc(1, sizeof *triage);
    if (!triage)
        return NULL;
    triage->rules = rules;
    triage->reader = reader;
    triage->reasoner = reasoner;
    triage->stakes = usual_stakes(rules);
    if (!rooms_build(triage) || !posterior_init(&triage->posterior, reasoner)) {
        triage_free(triage);
        return NULL;
    }
    triage->evidence.observations = triage->observations;
    triage->evidence.shifts = triage->shifts;
    triage->first_question = RULES_NONE;
    triage->stale = true;
    return triage;
}

void triage_free(struct triage *triage)
{
    if (!triage)
        return;
    posterior_release(&triage->posterior);
    records_forget(triage);
    arena_free(triage->said);
    arena_free(triage->scratch);
    arena_free(triage->derived);
    arena_free(triage->judged);
    cook_memo_free(triage->cooks);
    free(triage->known);
    free((void *)triage->value_words);
    free(triage->observations);
    free(triage->skip);
    free(triage->facts);
    free(triage->clashes);
    free(triage->computed);
    free(triage->shifts);
    free(triage->pairs);
    free(triage);
}

void triage_reset(struct triage *triage)
{
    records_forget(triage);
    arena_reset(triage->said);
    triage->log = NULL;
    triage->unclear = NULL;
    triage->log_count = triage->log_room = 0;
    triage->stakes = usual_stakes(triage->rules);
    triage_merge(triage);
}

const char *origin_name(enum origin origin)
{
    static const char *const names[] = {"text", "set", "answer", "computed", "journal"};
    return names[origin];
}

/* ---- the log --------------------------------------------------------------------------------- */

static bool log_grow(struct triage *triage)
{
    if (triage->log_count < triage->log_room)
        return true;
    size_t room = triage->log_room ? 2 * triage->log_room : 32;
    struct saying *log =
        arena_grow(triage->said, triage->log, triage->log_count, room, sizeof *log);
    struct unclear *unclear = arena_array(triage->said, room, sizeof *unclear);
    if (!log || !unclear)
        return false;
    triage->log = log;
    triage->unclear = unclear;
    triage->log_room = room;
    return true;
}

static bool say(struct triage *triage, struct saying saying)
{
    if (!saying.words || !log_grow(triage))
        return false;
    saying.batch = triage->batch;
    triage->log[triage->log_count++] = saying;
    return true;
}

/* Ends a call: what was said counts as a whole, or, without memory, not at all. */
static enum status close_batch(struct triage *triage, size_t start, bool complete)
{
    if (!complete)
        triage->log_count = start;
    triage_merge(triage);
    return complete ? STATUS_OK : STATUS_MEMORY;
}

/* A safe copy in the arena of what was said; NULL when out of memory. */
const char *triage_keep_words(struct triage *triage, const char *bytes, size_t length)
{
    const struct text_safe_options options = {.limit = WORDS_LIMIT};
    struct text safe;

    text_init(&safe);
    text_safe(&safe, bytes, length, &options);
    const char *kept =
        safe.failed ? NULL : arena_copy(triage->said, safe.bytes ? safe.bytes : "", safe.length);
    text_release(&safe);
    return kept;
}

/* ---- text ------------------------------------------------------------------------------------ */

static struct saying saying_of(const struct reading *reading, enum origin origin)
{
    return (struct saying){
        .kind = SAYING_TOLD,
        .observable = reading->observable,
        .said = {.seen = reading->seen,
                 .absent = reading->absent,
                 .hedged = reading->hedged ? reading->seen | reading->absent : 0},
        .others = reading->others,
        .has_number = reading->has_number,
        .number = reading->number,
        .origin = origin,
    };
}

static bool say_list(struct triage *triage, const struct reading_list *list, enum origin origin,
                     int answers)
{
    for (size_t i = 0; i < list->reading_count; i++) {
        const struct reading *reading = &list->readings[i];
        struct saying saying = saying_of(reading, origin);
        saying.settles = answers == (int)reading->observable;
        saying.words = triage_keep_words(triage, list->text + reading->span.start,
                                         reading->span.end - reading->span.start);
        if (!say(triage, saying))
            return false;
    }
    for (size_t i = 0; i < list->unread_count; i++) {
        const struct unread *unread = &list->unread[i];
        struct saying saying = {
            .kind = SAYING_UNCLEAR, .reason = unread->reason, .objected = unread->objected};
        saying.words = triage_keep_words(triage, list->text + unread->span.start,
                                         unread->span.end - unread->span.start);
        saying.note = unread->note ? arena_string(triage->said, unread->note) : NULL;
        if ((unread->note && !saying.note) || !say(triage, saying))
            return false;
    }
    return true;
}

enum status triage_tell(struct triage *triage, const char *text, size_t length, struct diags *diags)
{
    struct reading_list list;
    size_t start = triage->log_count;

    arena_reset(triage->scratch);
    enum status status = reader_read(triage->reader, text, length, triage->scratch, &list, diags);
    if (status != STATUS_OK)
        return status;
    triage->batch++;
    return close_batch(triage, start, say_list(triage, &list, ORIGIN_TEXT, RULES_NONE));
}

/* ---- settings -------------------------------------------------------------------------------- */

/* Passes messages on with the place the setting stands at. */
static void place_messages(const struct diags *from, struct position at, struct diags *diags)
{
    for (size_t i = 0; i < diags_kept(from); i++) {
        const struct diag *diag = diags_get(from, i);
        if (diag->kind == DIAG_ERROR)
            diags_error(diags, at, "%s", diag->message);
        else
            diags_warn(diags, at, "%s", diag->message);
    }
}

enum status triage_set(struct triage *triage, const char *sign, const char *value,
                       struct position at, struct diags *diags)
{
    struct reading reading;
    struct diags *unplaced = diags_new();
    size_t start = triage->log_count;

    if (!unplaced)
        return STATUS_MEMORY;
    enum status status = reader_set(triage->reader, sign, value, &reading, unplaced);
    place_messages(unplaced, at, diags);
    diags_free(unplaced);
    if (status != STATUS_OK)
        return status;

    struct saying saying = saying_of(&reading, ORIGIN_SET);
    const char *words = arena_format(triage->said, "%s=%s", sign, value);
    saying.words = words ? triage_keep_words(triage, words, strlen(words)) : NULL;
    triage->batch++;
    return close_batch(triage, start, say(triage, saying));
}

/* ---- answers --------------------------------------------------------------------------------- */

/* Whether the text is nothing but numbers of a list from 1 to `count`; their bits. */
static bool list_numbers(const char *text, size_t count, uint32_t *bits)
{
    *bits = 0;
    for (const char *at = text; *at;) {
        if (strchr(" \t\r\n,;.&+", *at)) {
            at++;
            continue;
        }
        size_t number = 0;
        if (*at < '0' || *at > '9')
            return false;
        for (; *at >= '0' && *at <= '9'; at++)
            if ((number = 10 * number + (size_t)(*at - '0')) > count)
                return false;
        if (number == 0)
            return false;
        *bits |= UINT32_C(1) << (number - 1);
    }
    return *bits != 0;
}

static const char *value_labels(struct triage *triage, const struct observable *observable,
                                uint32_t bits)
{
    const char *words = "";
    for (size_t v = 0; words && v < observable->value_count; v++)
        if (bits >> v & 1)
            words = arena_format(triage->said, "%s%s%s", words, *words ? ", " : "",
                                 observable->values[v].label);
    return words;
}

/* A several-of answered in full also says what was not seen: all it does not name. */
static bool say_no_other(struct triage *triage, size_t start, size_t index)
{
    const struct observable *observable = &triage->rules->observables[index];
    struct saying others = {.kind = SAYING_TOLD,
                            .observable = index,
                            .others = true,
                            .settles = true,
                            .origin = ORIGIN_ANSWER,
                            .words = ""};

    if (observable->kind != KIND_SEVERAL)
        return true;
    for (size_t i = start; i < triage->log_count; i++)
        if (triage->log[i].kind == SAYING_TOLD && triage->log[i].observable == index)
            others.said.seen |= triage->log[i].said.seen;
    if (!others.said.seen)
        return true;
    others.said.absent = rules_all_values(observable) & ~others.said.seen;
    others.said.seen = 0;
    return say(triage, others);
}

static bool say_asked(struct triage *triage, size_t observable)
{
    return say(triage,
               (struct saying){.kind = SAYING_ASKED, .observable = observable, .words = ""});
}

static enum status answer_by_numbers(struct triage *triage, size_t index, uint32_t bits)
{
    const struct observable *observable = &triage->rules->observables[index];
    size_t start = triage->log_count;
    struct saying saying = {.kind = SAYING_TOLD,
                            .observable = index,
                            .said = {.seen = bits},
                            .settles = true,
                            .origin = ORIGIN_ANSWER,
                            .words = value_labels(triage, observable, bits)};

    triage->batch++;
    return close_batch(triage, start,
                       say(triage, saying) && say_no_other(triage, start, index) &&
                           say_asked(triage, index));
}

static bool tells_of(const struct reading_list *list, size_t observable)
{
    for (size_t i = 0; i < list->reading_count; i++)
        if (list->readings[i].observable == observable)
            return true;
    return false;
}

enum status triage_answer(struct triage *triage, size_t observable, const char *text,
                          struct diags *diags)
{
    const struct observable *asked = &triage->rules->observables[observable];
    struct reading_list list;
    uint32_t bits;
    size_t start = triage->log_count;

    if (asked->kind != KIND_NUMBER && list_numbers(text, asked->value_count, &bits))
        return answer_by_numbers(triage, observable, bits);
    arena_reset(triage->scratch);
    enum status status = reader_answer(triage->reader, observable, text, strlen(text),
                                       triage->scratch, &list, diags);
    if (status != STATUS_OK)
        return status;
    if (list.reading_count == 0)
        return STATUS_USAGE;
    triage->batch++;
    bool complete = say_list(triage, &list, ORIGIN_ANSWER, (int)observable);
    if (tells_of(&list, observable))
        complete =
            complete && say_no_other(triage, start, observable) && say_asked(triage, observable);
    return close_batch(triage, start, complete);
}

/* Without memory nothing changes. */
static void say_bare(struct triage *triage, enum saying_kind kind, size_t observable)
{
    triage->batch++;
    say(triage, (struct saying){.kind = kind, .observable = observable, .words = ""});
    triage_merge(triage);
}

void triage_unknown(struct triage *triage, size_t observable)
{
    say_bare(triage, SAYING_UNKNOWN, observable);
}

void triage_forget(struct triage *triage, size_t observable)
{
    say_bare(triage, SAYING_FORGET, observable);
}

/* ---- cases ----------------------------------------------------------------------------------- */

static void set_stakes(struct triage *triage, const struct labelled_case *labelled)
{
    const struct decision_rules *rules = &triage->rules->decision;
    struct stakes *stakes = &triage->stakes;

    if (!isnan(labelled->worth))
        stakes->worth = labelled->worth;
    if (!isnan(labelled->neighbours))
        stakes->neighbours = labelled->neighbours;
    if (!labelled->use)
        return;
    for (size_t i = 0; i < rules->use_count; i++)
        if (strcmp(rules->uses[i].id, labelled->use) == 0)
            stakes->use = (int)i;
    stakes->use_count = isnan(labelled->use_count) ? 1.0 : labelled->use_count;
}

enum status triage_case(struct triage *triage, const struct labelled_case *labelled,
                        struct diags *diags)
{
    set_stakes(triage, labelled);
    enum status status = triage_tell(triage, labelled->text, strlen(labelled->text), diags);
    for (size_t i = 0; status == STATUS_OK && i < labelled->setting_count; i++) {
        const struct case_setting *setting = &labelled->settings[i];
        status = triage_set(triage, setting->sign, setting->value, setting->at, diags);
    }
    return status;
}

/* ---- going back and looking ------------------------------------------------------------------ */

size_t triage_mark(struct triage *triage)
{
    return triage->log_count;
}

void triage_return(struct triage *triage, size_t mark)
{
    if (mark < triage->log_count)
        triage->log_count = mark;
    triage_merge(triage);
}

const struct rules *triage_rules(const struct triage *triage)
{
    return triage->rules;
}

struct stakes *triage_stakes(struct triage *triage)
{
    return &triage->stakes;
}

bool triage_compute(struct triage *triage)
{
    if (!triage->stale)
        return true;
    struct moves moves = {.list = triage->computed, .room = triage->rules->cause_count};
    if (!compute_moves(triage->reasoner, &triage->evidence, triage->facts, triage->fact_count,
                       triage->cooks, triage->derived, &moves) ||
        arena_exhausted(triage->derived))
        return false;
    triage->computed_count = moves.count;
    compute_shifts(triage->computed, triage->computed_count, triage->shifts);
    triage->evidence.shift_count = triage->computed_count;
    siblings_shift(triage);
    triage->stale = false;
    return true;
}

const struct evidence *triage_evidence(struct triage *triage)
{
    return triage_compute(triage) ? &triage->evidence : NULL;
}

size_t triage_facts(const struct triage *triage, const struct fact **facts)
{
    *facts = triage->facts;
    return triage->fact_count;
}

size_t triage_unclear(const struct triage *triage, const struct unclear **unclear)
{
    *unclear = triage->unclear;
    return triage->unclear_count;
}

size_t triage_clashes(const struct triage *triage, const struct clash **clashes)
{
    *clashes = triage->clashes;
    return triage->clash_count;
}

uint32_t triage_silent(const struct triage *triage, size_t observable)
{
    return triage->observations[observable].silent;
}
