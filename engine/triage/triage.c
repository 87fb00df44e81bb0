/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "triage/triage.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "triage/state.h"

/* What is said to a triage, in words, settings and answers; marks and going back. */

enum { WORDS_LIMIT = 160 }; /* code points shown back of one statement */

/* ---- beginning and end ----------------------------------------------------------------------- */

struct triage *triage_new(const struct rules *rules, struct reader *reader,
                          const struct reasoner *reasoner)
{
    struct arena *house = arena_new();
    struct triage *triage = arena_alloc(house, sizeof *triage);
    size_t count = rules->observable_count, causes = rules->cause_count;
    *triage = (struct triage){.rules = rules, .reader = reader, .reasoner = reasoner};
    triage->house = house;
    triage->said = arena_new();
    triage->scratch = arena_new();
    triage->derived = arena_new();
    triage->judged = arena_new();
    triage->cooks = cook_memo_new();
    triage->known = arena_array(house, count, sizeof *triage->known);
    triage->observations = arena_array(house, count, sizeof *triage->observations);
    triage->skip = arena_array(house, count, sizeof *triage->skip);
    triage->likelihood = arena_array(house, rules->finding_count, sizeof *triage->likelihood);
    triage->computed = arena_array(house, causes, sizeof *triage->computed);
    triage->shifts = arena_array(house, 2 * causes, sizeof *triage->shifts);
    triage->evidence.observations = triage->observations;
    triage->evidence.shifts = triage->shifts;
    posterior_init(&triage->posterior, reasoner);
    triage_reset(triage);
    return triage;
}

void triage_free(struct triage *triage)
{
    if (!triage)
        return;
    posterior_release(&triage->posterior);
    records_forget(triage);
    cook_memo_free(triage->cooks);
    arena_free(triage->said);
    arena_free(triage->scratch);
    arena_free(triage->derived);
    arena_free(triage->judged);
    arena_free(triage->house);
}

void triage_reset(struct triage *triage)
{
    records_forget(triage);
    arena_reset(triage->said);
    triage->log = NULL;
    triage->log_count = 0;
    triage->stakes = (struct stakes){
        .worth = 1.0, .neighbours = triage->rules->decision.neighbours, .use = RULES_NONE};
    triage_merge(triage);
}

void triage_weigh_words(struct triage *triage, struct words *words)
{
    triage->words = words;
    triage_merge(triage);
}

size_t triage_word_weights(const struct triage *triage, const struct word_weight **weights)
{
    *weights = triage->word_weights;
    return triage->word_weight_count;
}

const char *origin_name(enum origin origin)
{
    static const char *const names[] = {"text", "set", "answer", "computed", "journal"};
    return names[origin];
}

/* ---- the log --------------------------------------------------------------------------------- */

static void say(struct triage *triage, struct saying saying)
{
    saying.batch = triage->batch;
    *arena_push(triage->said, triage->log, triage->log_count) = saying;
}

const char *triage_keep_words(struct triage *triage, const char *bytes, size_t length)
{
    const struct text_safe_options options = {.limit = WORDS_LIMIT};
    struct text safe;
    text_init(&safe);
    text_safe(&safe, bytes, length, &options);
    const char *kept = arena_copy(triage->said, safe.bytes, safe.length);
    text_release(&safe);
    return kept;
}

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

/* "There is no green in here", beside an answer: one value plainly denied that the same words do not see. */
static bool corrects(const struct reading_list *list, const struct reading *reading)
{
    uint32_t bit = reading->absent;
    if (reading->seen || reading->hedged || reading->others || !bit || bit & (bit - 1))
        return false;
    for (size_t i = 0; i < list->reading_count; i++)
        if (list->readings[i].observable == reading->observable && list->readings[i].seen & bit)
            return false;
    return true;
}

static void say_list(struct triage *triage, const struct reading_list *list, enum origin origin,
                     int answers)
{
    for (size_t i = 0; i < list->reading_count; i++) {
        const struct reading *reading = &list->readings[i];
        struct saying saying = saying_of(reading, origin);
        saying.settles = answers == (int)reading->observable ||
                         (answers != RULES_NONE && corrects(list, reading));
        saying.words = triage_keep_words(triage, list->text + reading->span.start,
                                         reading->span.end - reading->span.start);
        say(triage, saying);
    }
    if (list->question != RULES_NONE)
        say(triage, (struct saying){.kind = SAYING_QUESTION,
                                    .observable = (size_t)list->question,
                                    .words = triage_keep_words(
                                        triage, list->text + list->question_span.start,
                                        list->question_span.end - list->question_span.start)});
    for (size_t i = 0; i < list->unread_count; i++) {
        const struct unread *unread = &list->unread[i];
        say(triage, (struct saying){
                        .kind = SAYING_UNCLEAR,
                        .reason = unread->reason,
                        .objected = unread->objected,
                        .words = triage_keep_words(triage, list->text + unread->span.start,
                                                   unread->span.end - unread->span.start),
                        .note = unread->note ? arena_string(triage->said, unread->note) : NULL});
    }
}

/* ---- text and settings ----------------------------------------------------------------------- */

enum status triage_tell(struct triage *triage, const char *text, size_t length, struct diags *diags)
{
    struct reading_list list;
    arena_reset(triage->scratch);
    enum status status = reader_read(triage->reader, text, length, triage->scratch, &list, diags);
    if (status != STATUS_OK)
        return status;
    triage->batch++;
    say_list(triage, &list, ORIGIN_TEXT, RULES_NONE);
    say(triage, (struct saying){.kind = SAYING_TEXT,
                                .words = reader_own_words(&list, length, triage->said)});
    triage_merge(triage);
    return STATUS_OK;
}

enum status triage_set(struct triage *triage, const char *sign, const char *value,
                       struct position at, struct diags *diags)
{
    struct reading reading;
    struct diags *unplaced = diags_new();
    enum status status = reader_set(triage->reader, sign, value, &reading, unplaced);
    for (size_t i = 0; i < diags_kept(unplaced); i++) { /* with the place the setting stands at */
        const struct diag *diag = diags_get(unplaced, i);
        if (diag->kind == DIAG_ERROR)
            diags_error(diags, at, "%s", diag->message);
        else
            diags_warn(diags, at, "%s", diag->message);
    }
    diags_free(unplaced);
    if (status != STATUS_OK)
        return status;
    struct saying saying = saying_of(&reading, ORIGIN_SET);
    const char *words = arena_format(triage->said, "%s=%s", sign, value);
    saying.words = triage_keep_words(triage, words, strlen(words));
    triage->batch++;
    say(triage, saying);
    triage_merge(triage);
    return STATUS_OK;
}

enum status triage_case(struct triage *triage, const struct labelled_case *labelled,
                        struct diags *diags)
{
    const struct decision_rules *rules = &triage->rules->decision;
    struct stakes *stakes = &triage->stakes;
    if (!isnan(labelled->worth))
        stakes->worth = labelled->worth;
    if (!isnan(labelled->neighbours))
        stakes->neighbours = labelled->neighbours;
    for (size_t i = 0; labelled->use && i < rules->use_count; i++)
        if (strcmp(rules->uses[i].id, labelled->use) == 0)
            stakes->use = (int)i;
    if (labelled->use)
        stakes->use_count = isnan(labelled->use_count) ? 1.0 : labelled->use_count;
    enum status status = triage_tell(triage, labelled->text, strlen(labelled->text), diags);
    for (size_t i = 0; status == STATUS_OK && i < labelled->setting_count; i++) {
        const struct case_setting *setting = &labelled->settings[i];
        status = triage_set(triage, setting->sign, setting->value, setting->at, diags);
    }
    return status;
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

static void say_bare(struct triage *triage, enum saying_kind kind, size_t observable)
{
    say(triage, (struct saying){.kind = kind, .observable = observable, .words = ""});
}

enum status triage_answer(struct triage *triage, size_t observable, const char *text,
                          struct diags *diags)
{
    const struct observable *asked = &triage->rules->observables[observable];
    struct reading_list list = {.reading_count = 0};
    uint32_t bits;
    size_t start = triage->log_count;
    bool numbered = asked->kind != KIND_NUMBER && list_numbers(text, asked->value_count, &bits);
    arena_reset(triage->scratch);
    enum status status = numbered ? STATUS_OK
                                  : reader_answer(triage->reader, observable, text, strlen(text),
                                                  triage->scratch, &list, diags);
    if (status == STATUS_OK && !numbered && list.reading_count == 0 && list.question == RULES_NONE)
        status = STATUS_USAGE;
    if (status != STATUS_OK)
        return status;
    triage->batch++;
    if (numbered) {
        const char *words = "";
        for (size_t v = 0; v < asked->value_count; v++)
            if (bits >> v & 1)
                words = arena_format(triage->said, "%s%s%s", words, *words ? ", " : "",
                                     asked->values[v].label);
        say(triage, (struct saying){.kind = SAYING_TOLD,
                                    .observable = observable,
                                    .said = {.seen = bits},
                                    .settles = true,
                                    .origin = ORIGIN_ANSWER,
                                    .words = words});
    } else
        say_list(triage, &list, ORIGIN_ANSWER, (int)observable);
    bool told = false;
    uint32_t seen = 0;
    for (size_t i = start; i < triage->log_count; i++)
        if (triage->log[i].kind == SAYING_TOLD && triage->log[i].observable == observable) {
            told = true;
            seen |= triage->log[i].said.seen;
        }
    /* A several-of answered in full also says what was not seen: all it does not name. */
    if (asked->kind == KIND_SEVERAL && seen != 0)
        say(triage, (struct saying){.kind = SAYING_TOLD,
                                    .observable = observable,
                                    .said = {.absent = rules_all_values(asked) & ~seen},
                                    .others = true,
                                    .settles = true,
                                    .origin = ORIGIN_ANSWER,
                                    .words = ""});
    /* What says something else instead is all there is to be had: it is not asked again. */
    if (told || list.reading_count > 0)
        say_bare(triage, told ? SAYING_ASKED : SAYING_UNKNOWN, observable);
    triage_merge(triage);
    return STATUS_OK;
}

void triage_unknown(struct triage *triage, size_t observable)
{
    triage->batch++;
    say_bare(triage, SAYING_UNKNOWN, observable);
    triage_merge(triage);
}

void triage_forget(struct triage *triage, size_t observable)
{
    triage->batch++;
    say_bare(triage, SAYING_FORGET, observable);
    triage_merge(triage);
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

const struct evidence *triage_evidence(struct triage *triage)
{
    triage_compute(triage);
    return &triage->evidence;
}

const char *triage_asked(const struct triage *triage)
{
    return triage->asked != NULL ? triage->asked->words : NULL;
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
