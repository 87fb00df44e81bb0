/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_APP_H
#define JARSIDE_CLI_APP_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <string.h>

#include "base/diag.h"
#include "base/units.h"
#include "journal/consult.h"
#include "journal/journal.h"
#include "language/reader.h"
#include "reason/reason.h"
#include "rules/rules.h"
#include "triage/physics.h"
#include "triage/triage.h"
#include "view/journal.h"
#include "view/screen.h"
#include "view/tree.h"

/* The command line: tables of commands and of their options, and what every command is given.
 *
 * A row of the table of commands says what the help and the manual say, which operands there may
 * be, and what has to be there before the command runs: the rules, the journal, its options read.
 * So a command begins with its work. It writes through app->out and returns a status. What is wrong
 * goes to app->diags, which is shown at the end. Where it cannot go on it ends there and then
 * (app_stop, app_must, and what is built on them): the errors are shown, an open transaction is
 * taken back, and the program exits. */
struct app;
struct command;

/* ==== options ================================================================================= */

/*
 * Every option has a row in one table (options.c), whatever command takes it. The row says what is read, in which
 * dimension, range or words, and which member of `struct given` it fills:
 *
 *     {"gauge", OPTION_AMOUNT, GIVEN(cook.gauge), .dimension = DIM_GAUGE_KPA, .bare = true},
 *
 * Which options a command takes, and what is said of them, stands in help.txt. A value that makes no sense ends the
 * program with a message.
 */
enum option_kind {              /* what it fills; and with what where it was not given */
                   OPTION_FLAG, /* bool; false */
                   OPTION_TEXT, /* const char *, as typed: what it means is the command's business; NULL */
                   OPTION_TEXTS,  /* struct texts: every time it was given, in order */
                   OPTION_COUNT,  /* size_t from `low` to `high` (0: no bound); SIZE_MAX */
                   OPTION_NUMBER, /* double from `low` to `high` (0: no bound); NAN */
                   OPTION_QUANTITY, /* double in the unit of its dimension; a range stands for its middle; NAN */
                   OPTION_AMOUNT, /* the same, not negative */
                   OPTION_DATE,   /* const char *: an ISO date; NULL */
                   OPTION_DAY,    /* int64_t: the day of any moment (moment_day), or of tomorrow */
                   OPTION_MOMENT, /* struct moment, not in the future; unknown */
                   OPTION_CLOCK,  /* int: minutes after midnight; -1 */
                   OPTION_CHOICE, /* int: which of `words`; -1 */
                   OPTION_ID,     /* int: which of a list of the rules, by its id; RULES_NONE */
                   OPTION_VESSEL, /* struct known_vessel; help.txt has a weight of its own after it */
};

struct option {
    const char *name; /* without dashes */
    enum option_kind kind;
    size_t target;  /* offset in struct given */
    const char *of; /* the row is for this command alone, and stands before the one for others */
    enum dimension dimension; /* of a quantity, an amount */
    enum word_list list;      /* of an id, or of a text or a vessel that may be one */
    double low, high;         /* of a count, a number */
    const char *const *words; /* of a choice; ends with NULL */
    char letter;              /* 'h' for one that is also -h; or 0 */
    bool common;              /* any command takes it */
    bool bare; /* of a command that takes them, such a quantity or word alone is meant for it */
    enum feeds feeds;  /* it is also what words that feed this say: "rye, 12 litre jars" */
    bool settled;      /* the setting of that name stands for it when it is not given, */
    const char *usual; /* then these words; NULL: what its kind says */
};

struct texts {
    const char **words;
    size_t count;
};

/* Options that are a text, and flags: the member of struct given, and the name. Left as they stand, for
 * clang-format puts them differently each time. */
/* clang-format off */
#define TEXT_OPTIONS(X) \
    X(batch, "batch") X(because, "because") X(case_file, "case") X(cause, "cause") \
    X(cook_label, "cook") X(csv, "csv") X(how, "how") X(html, "html") \
    X(ics, "ics") X(inoculum, "inoculum") X(kind, "kind") X(label, "label") X(like, "like") \
    X(lot, "lot") X(map, "map") X(note, "note") X(place, "place") X(position, "position") \
    X(prefix, "prefix") X(probe, "probe") X(session, "session") \
    X(since, "since") X(source, "source") X(temps, "temps")
#define FLAG_OPTIONS(X) \
    X(all, "all") X(apply, "apply") X(causes, "causes") X(cut, "cut") X(demo, "demo") \
    X(details, "details") X(dry_run, "dry-run") X(even_if_worse, "even-if-worse") \
    X(explain, "explain") X(fit, "fit") X(force, "force") X(fresh, "new") X(guess, "guess") \
    X(lines, "lines") X(no_input, "no-input") X(partly, "partly") X(sheet, "sheet") \
    X(sure, "yes") X(undo, "undo") X(without_siblings, "without-siblings")
/* clang-format on */

/* What the options of a command say. */
struct given {
#define AS_TEXT(member, name) const char *member;
#define AS_FLAG(member, name) bool member;
    TEXT_OPTIONS(AS_TEXT)
    FLAG_OPTIONS(AS_FLAG)
#undef AS_TEXT
#undef AS_FLAG
    struct known_cook cook; /* also the vessel and its grain, where nothing is cooked */
    struct moment at;
    int64_t by;
    const char *grain, *journal, *species, *starter, *start, *use, *vessel; /* as typed */
    struct texts changed, from, rules, set, shake;
    double after, before, cost, day, jobs, neighbours, seen, soak, still, target, temp, worth,
        yield;
    size_t controls, corrects, count, least, limit, skip;
    int color, fate, keep, labels, mushroom, paper, probe_unit, purpose, remind, spawn, state,
        table;
    bool help, json, quiet, version;
};
enum { MOST_VESSELS = 10000, MOST_JOBS = 64 };
extern const char *const paper_words[]; /* of an enum paper */
extern const char *const keep_words[];  /* of an enum import_keep */

/* Fills app->given, in the order of the help, and checks it: what any command takes, or the
 * command's own. Ids and vessels need the rules. */
void options_fill(struct app *app, bool common);
/* The row of an option of a command, or of any (NULL), by its name without dashes. */
const struct option *option_row(const struct command *command, const char *name);
/* Operands that are a quantity with its unit, or the name of a grain, a vessel or a mushroom, go to
 * the `bare` options of the command that they are of; what could be meant for several is refused.
 * The others are read as words about a vessel, and where that is nothing refused, but for one label
 * where the command takes that. */
void options_take_operands(struct app *app);
/* One value into the place it is for, checked. */
void option_read(struct app *app, const struct option *option, const char *word, void *target);
/* A quantity or an amount whose dimension only the rest of the command line tells; `name` is that
 * of the option, for the message. */
double option_measure(struct app *app, const char *name, const char *words, enum option_kind kind,
                      enum dimension dimension);
/* Whether the words begin with a quantity that has a unit of one of the dimensions (a bit for
 * each); with `whole`, whether they are one. */
bool is_quantity(const char *words, unsigned dimensions, bool whole);
/* The first date among words that stands by itself ("yesterday", "on 1 May", "3 days ago") becomes
 * --at, unless that was given. Returns the words without it. */
const char *option_take_date(struct app *app, const char *words);
/* A moment, past or to come; or the end, with `what` ("--since") and the words in the message. */
struct moment option_moment(struct app *app, const char *what, const char *words);
/* The index of an id in a list of the rules; the nearest is suggested. */
int option_id(struct app *app, const char *name, const char *word, enum word_list list);

enum { MOST_NAMES = 1024 };
struct
    names { /* of a list of the rules: ids, and what people call them, and call them too (or NULL) */
    const char *ids[MOST_NAMES], *names[MOST_NAMES], *also[MOST_NAMES];
    size_t count;
};
void names_of(struct app *app, enum word_list list, struct names *names);
/* The number of the one that words mean: its id, a name of its, or an unambiguous part of these; or
 * the end, where they mean none, or several of more than one id. */
size_t names_meant(struct app *app, const struct names *names, const char *what, const char *words);
/* Whether a word has figures; whether it is nothing else. */
static inline bool has_figures(const char *word)
{
    return strpbrk(word, "0123456789") != NULL;
}
static inline bool is_figures(const char *word)
{
    return word[strspn(word, "0123456789")] == '\0';
}
/* The figure of a reading, or the middle of its range, with the unit of the dimension. */
const char *reading_figure(struct app *app, const struct reading *reading,
                           enum dimension dimension);
/* The words with a separator between, the first `most` of them, in the arena. */
const char *words_joined(struct app *app, const char *const *words, size_t count,
                         const char *separator, size_t most);
#define words_add(app, ...) arena_append((app)->arena, __VA_ARGS__)

/* ==== commands ================================================================================ */

enum needs { /* what is there when a command runs */
             NEEDS_NOTHING,
             NEEDS_RULES,
             NEEDS_READ, /* the rules and the journal, which must exist; and app->view */
             NEEDS_WRITE,
             NEEDS_CREATE, /* the same; the journal is made if need be */
};

struct command {      /* what is said of it, and which options it takes, stands in help.txt */
    const char *name; /* "judge"; "rules check" for one with two words */
    enum status (*run)(struct app *app);
    enum needs needs;
    const char *wrong; /* what is said when operands are missing, or there are too many; or NULL */
    bool json;         /* takes --json, too */
    bool judges;       /* what app_compile makes is there when it runs */
    bool figures;      /* its operands are options that go without saying (options_take_operands) */
};

/* The commands of each file; the last one has no name. */
extern const struct command judge_commands[], plan_commands[], batch_commands[], look_commands[],
    event_commands[], record_commands[], exchange_commands[], rules_commands[], review_commands[],
    config_commands[], help_commands[], hidden_commands[];

/* What help.txt says of a command, or of what else has a section there: which operands it takes,
 * for instance "[TEXT...]", what it does, and a paragraph more. "" for nothing. */
struct help {
    const char *operands, *summary, *detail;
};
struct help help_of(const char *section);
/* The lines "WORD ARGUMENT: SAYS" there, one by one from {0}, in the arena; or false. */
struct help_line {
    const char *word, *argument, *says; /* argument: "" for a flag */
    const struct option *option;        /* of an option its row */
    const char *const *at;
    bool common; /* it stands among what any command takes */
};
bool help_next(struct app *app, const char *section, struct help_line *line);
/* The options of a command, its own first; of NULL, what any command takes. */
bool option_next(struct app *app, const struct command *command, struct help_line *line);

/* The whole command line: finds the command, reads its options, runs it, and makes sure that what
 * was written arrived. Exits with the status. Sets LC_CTYPE only, so that decimals keep their
 * point, and ignores SIGPIPE, so that whoever closes the output meets an orderly end. */
_Noreturn void cli_main(int argc, char **argv);

/* ==== what a command is given ================================================================= */

enum { SETTINGS = 10 };
struct setting {      /* what the file of settings says */
    const char *word; /* NULL: nothing */
    struct position at;
};

struct option_given {
    const struct option *option;
    const char *value; /* of a flag its name */
};

struct app {
    const struct command *command;
    const char **operands;
    size_t operand_count;
    struct option_given *options; /* in the order typed; `given` holds what they say */
    size_t option_count;
    struct given given;
    struct setting settings[SETTINGS]; /* in the order of the table (options.c) */
    struct position reading;           /* where what is read stands; no file: on the command line */
    struct screen out, err;            /* standard output and standard error */
    bool held;                         /* what goes there is kept, for another thread to write */
    struct diags *diags;
    struct rules *rules;   /* NULL until app_load */
    struct reader *reader; /* this and the next three: NULL until app_compile */
    struct words *words;
    struct reasoner *reasoner;
    struct triage *triage;
    struct journal *journal;  /* NULL until app_journal */
    struct arena *arena;      /* for all that is read on the way; freed when the command has run */
    struct journal_view view; /* of the journal, now; empty until app_open */
    const char *temporary; /* a file in a folder of its own, for the time of the command; or NULL */
};

/* ---- what is wrong, and the end --------------------------------------------------------------- */

/* Adds an error and returns `status`. `place` is a file or an option ("--mass"), or NULL. */
enum status app_error(struct app *app, enum status status, const char *place, const char *format,
                      ...) __attribute__((format(printf, 4, 5)));
/* The same for wrong use, with nothing to point at. */
#define app_usage(app, ...) app_error(app, STATUS_USAGE, NULL, __VA_ARGS__)
/* Shows the diagnostics so far on standard error and clears them: for what goes on in spite of
 * them. At the end of a command that failed it is done anyway. */
void app_report(struct app *app);
/* Ends the program: says why a command failed, releases everything, exits with that status. */
_Noreturn void app_quit(struct app *app, enum status status);
/* Ends it for wrong use; because what was given to --OPTION makes no sense; because of a file. */
#define app_stop(app, ...) app_quit(app, app_usage(app, __VA_ARGS__))
#define app_wrong(app, option, ...)                                                                \
    app_quit(app,                                                                                  \
             app_error(app, STATUS_DATA, arena_format((app)->arena, "--%s", option), __VA_ARGS__))
#define app_fail(app, path, ...) app_quit(app, app_error(app, STATUS_IO, path, __VA_ARGS__))
/* Ends it because there is no such word: "no WHAT 'WORD'; did you mean ...?", or `otherwise` when
 * none of the names is near. For a value of --OPTION as app_wrong does, else as app_stop. */
_Noreturn void app_unknown(struct app *app, const char *option, const char *what, const char *word,
                           const char *const *names, size_t count, const char *otherwise);
/* Ends it unless all is well. */
static inline void app_must(struct app *app, enum status status)
{
    if (status != STATUS_OK)
        app_quit(app, status);
}
/* Ends it unless somebody at the terminal affirms the question: where nobody can be asked, or is to
 * be (`may_ask`), with `otherwise`, else with "nothing was saved". */
void confirm_or_stop(struct app *app, bool may_ask, const char *question, const char *otherwise);
/* An answer to a question, whose words Tab completes, in the arena; NULL where nobody gives one. */
const char *ask_once(struct app *app, const char *question, const char *const *words, size_t count);

/* ---- settings --------------------------------------------------------------------------------- */

/* Reads the file of settings, if there is one; ends the program where something in it is wrong. */
void config_read(struct app *app);
/* Before anything is said of a vessel that is in no journal: tells the triage what the settings
 * know of its cook, the altitude. */
void config_recall(struct app *app);
/* What a setting says, checked, or NULL; for one of the rules after app_load. */
const char *config_word(struct app *app, const char *name);
/* The unit that the settings give a bare number of a dimension, or NULL. */
const char *config_unit(struct app *app, enum dimension dimension);

/* ---- output ----------------------------------------------------------------------------------- */

/* A paragraph on standard output; an aside; a caution. */
#define app_say(app, ...)   screen_say(&(app)->out, 0, 2, ROLE_PLAIN, __VA_ARGS__)
#define app_aside(app, ...) screen_say(&(app)->out, 0, 2, ROLE_QUIET, __VA_ARGS__)
#define app_warn(app, ...)  screen_say(&(app)->out, 0, 2, ROLE_WARN, __VA_ARGS__)
/* Says that the output cannot be written and why, an errno; nothing when its reader has gone. */
enum status app_refused(struct app *app, int error);
/* Sends app->out to standard output, by $PAGER when it is long; --quiet lets it go. */
enum status app_flush(struct app *app);
/* Writes a text, which is released, into a file (filing_put), or to standard output when the path
 * is "-"; or ends the program. */
void app_write(struct app *app, const char *path, struct text *text, bool replace);
/* The same into a file of the program's own, whose folders are made if need be. */
void app_keep(struct app *app, const char *path, struct text *text);
/* The same of a page to the file that --html names, which is said. */
enum status app_page(struct app *app, struct text *html, const char *further);
/* Writes JSON and a newline to standard output; takes the reference; NULL fails. In one line, for
 * one of many, unless `spread`. */
enum status app_json(struct app *app, json_t *json, bool spread);
/* Tells a result, which is released: as JSON, or by the template of that name (view/tree.h). */
enum status app_tell(struct app *app, const char *name, json_t *tree);

/* ---- the rules -------------------------------------------------------------------------------- */

/* Loads shipped rules, the overlay, every --rules folder, and last those of `more`, if not NULL. */
enum status app_load(struct app *app, const char *const *more, size_t more_count);
/* Makes reader, reasoner, words and triage of the rules, unless they are there: two thirds of the
 * time to a verdict, and nothing to a list. Faults in the rules end the command. */
void app_compile(struct app *app);
/* What the reader makes of words about a vessel, or the end. */
struct reading_list app_reading(struct app *app, const char *words);
/* Reads a table of words, by its name, from every folder of rules that has one. */
enum status app_read_words(struct app *app, struct words *words, const char *table);
/* Frees them. */
void app_release_rules(struct app *app);
/* Takes app->temporary away, and the folder it is alone in, as the end of a command does anyway. */
void app_remove_temporary(struct app *app);
/* What is at `below` in the corpus beside the shipped rules: installed and in the source tree they
 * are neighbours. In the arena. */
const char *corpus_find(struct app *app, const char *below);
/* Builds the invented season that comes with the program into the journal, which is open and empty;
 * to be reviewed and forgotten, or to be kept. */
void demo_build_here(struct app *app, bool for_now);

/* ---- the journal ------------------------------------------------------------------------------ */

/* Opens the journal that --journal names, else journal_default_path, into app->journal, where it is
 * closed at the end. A journal that is already open stays so. Where there is none yet (READ, WRITE)
 * the message says how to start one. */
enum status app_journal(struct app *app, enum journal_access access);
/* The rules, the journal, and app->view, or the end. What is there already stays. From now on
 * whatever the journal refuses ends the command (journal_ends). */
void app_open(struct app *app, enum journal_access access);
/* The path of that journal, in the arena, for what does not open it. */
const char *app_journal_path(struct app *app);

/* Calls of the journal (journal/journal.h). */
#define app_begin(app)  (void)journal_begin((app)->journal)
#define app_commit(app) (void)journal_commit((app)->journal)
#define app_get(app, record, id, row)                                                              \
    (void)journal_get((app)->journal, record, id, (app)->arena, row)
#define app_due(app, vessel, day, why) (void)journal_set_due((app)->journal, vessel, day, why)
void app_add(struct app *app, enum record record, void *row);
/* Gives it the next label of its kind where it has none. */
void app_name(struct app *app, enum record record, union any_record *row);
/* All rows that fulfil a condition with a value (journal_page), in the arena. */
void *app_all(struct app *app, enum record record, const char *condition, int64_t value,
              size_t *count);
/* The newest record of a kind that fulfils a condition with a value (NULL: any); false when there is
 * none. */
bool app_newest(struct app *app, enum record record, const char *condition, int64_t value,
                void *row);
#define app_vessels(app, vessels, count) view_vessels((app)->arena, vessels, count)

/* ==== records by what people call them ======================================================== */

/* Records by the labels that people type, and "column=value". What makes no sense ends the command
 * with a message that names the nearest.
 *
 * Labels are taken in capitals too ("b3-7" finds "B3-7") when no record is written as typed.
 * Vessels of one batch may be drawn together: "B3-3 B3-7", "B3 3 7", "B3-3..7", "B3 3-7", "B3-3,7";
 * a batch alone means all its vessels. */
struct chosen {
    struct vessel *vessels; /* in the arena; each once, in the order named */
    size_t count;
    bool whole;     /* a batch was named without its vessels */
    bool new_place; /* where they are moved to was not there before */
};
/* At least one vessel is chosen. */
struct chosen labels_vessels(struct app *app, const char *const *words, size_t count);
/* How many words at the front name vessels: labels, and numbers, ranges and lists after one. */
size_t labels_leading(struct app *app, const char *const *words, size_t count);
/* One record of a kind into `row`. */
#define labels_find(app, record, label, row)                                                       \
    (void)journal_find((app)->journal, record, label, (app)->arena, row)
/* Its id; 0 when there is none. */
#define labels_id(app, record, label) journal_called((app)->journal, record, label)
/* The kinds of record that have this label, in the order in which one looks for them; how many. */
size_t labels_kinds(struct app *app, const char *label, enum record kinds[RECORD_COUNT]);
/* All labels of a kind, in the arena. */
const char **labels_of(struct app *app, enum record record, size_t *count);
/* Whether a label is plainly that of a place: "shelf2", "top shelf". */
bool names_a_place(struct app *app, const char *label);
/* The label of a place that this one nearly is, but for numbers ("shlf2", "shelf1"); or NULL. */
const char *place_near(struct app *app, const char *label);
/* A new place is made where its label is plainly that of one and no slip for one that is there, or
 * where somebody is `sure`; else this ends the command. */
void labels_check_place(struct app *app, const char *label, bool sure);
/* Ends the command where the word is the label of a batch and of a vessel as well. */
void labels_one_thing(struct app *app, const char *word);
/* Ends the command where a new label is nearly one that is there, unless somebody is `sure`:
 * "clost" is no second closet. Labels with figures (S2, LC-9) are not compared. */
void labels_check_new(struct app *app, enum record record, const char *label, bool sure);
/* The kind named by a word, singular or plural ("cook", "batches"); RECORD_COUNT for none. */
enum record labels_kind(const char *word);

/* Why a vessel must not be shaken, used, put back or taken a starter from; NULL when nothing speaks
 * against it (events.c). In the arena. */
const char *vessel_risk(struct app *app, const struct vessel *vessel, enum event_kind kind);
/* A starter that is the grain of a vessel: the one on record, or a fresh row with what the vessel's
 * batch tells, id 0. What speaks against it ends the command. */
void starter_of_vessel(struct app *app, const char *label, struct vessel *vessel,
                       struct starter *starter);

/* Reads "column=value" as people type it into a row: quantities with their units, moments such as
 * "yesterday", words of the rules by id or name. A sign of the rules as the column (venting=...) is
 * a further fact. A row of the journal (with an id) is corrected there, as of `at`. */
void assign(struct app *app, enum record record, const char *typed, union any_record *row,
            struct moment at);
/* Tells a record as it is now, and what was done: "kind LABEL: DID.", followed by `further`. */
enum status record_tell(struct app *app, enum record record, const char *label, const char *did,
                        const char *further);
/* What a column may hold: its unit, its words or what it is, and its other names. */
const char *assign_what(struct app *app, const struct column *column);
/* The index of a finding or a cause (LIST_FINDINGS, LIST_CAUSES) by what somebody calls it: its id,
 * its name or one of its other names, or an unambiguous part of these. */
size_t assign_named(struct app *app, enum word_list list, const char *words);

/* Opens the triage on a vessel of the journal: 'look' saves what comes of it, 'judge' only asks. */
void look_open(struct app *app, const struct consult_request *request,
               struct consultation *consultation);

#endif
