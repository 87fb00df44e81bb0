/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "prompt/input.h"

#include <errno.h>
#include <fcntl.h>
#include <readline/history.h>
#include <readline/readline.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/select.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/filing.h"
#include "base/memory.h"
#include "base/text.h"
#include "rules/rules.h"

enum { HISTORY_LINES = 500 };

static const int watched[] = {SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGWINCH, SIGTSTP};
enum { WATCHED = sizeof watched / sizeof *watched };

struct lines {
    bool terminal;
    bool ready; /* the callback has delivered a line or the end */
    char *line; /* delivered; NULL at the end */
    char *history_path;
    const char *const *words;
    size_t word_count;
    int killed_by; /* the signal that asks the program to end, or 0 */
    struct sigaction old_actions[WATCHED];
    sigset_t old_mask;
};

/* Readline calls back without a context, and a signal handler has none either, so these two are
 * static. */
static struct lines *current;
static volatile sig_atomic_t caught;

static void note_signal(int number)
{
    caught = number;
}

/* ---- history --------------------------------------------------------------------------------- */

/* $XDG_STATE_HOME/jarside/history, or below ~/.local/state; NULL when there is no such place, or
 * something other than a plain file stands there. */
static char *history_file(void)
{
    char *path = rules_own_path("XDG_STATE_HOME", ".local/state", "history");
    struct stat about;
    if (path == NULL || lstat(path, &about) != 0 || S_ISREG(about.st_mode))
        return path;
    free(path); /* a link leads to what is not ours, a pipe to nowhere */
    return NULL;
}

static void history_save(const struct lines *lines)
{
    const char *path = lines->history_path;
    int file = -1;
    if (path != NULL && history_length > 0 && filing_make_folders(path))
        file = open(path, O_CREAT | O_WRONLY | O_CLOEXEC, S_IRUSR | S_IWUSR);
    if (file < 0)
        return;
    close(file);
    stifle_history(HISTORY_LINES);
    if (write_history(path) == 0)
        chmod(path, S_IRUSR | S_IWUSR);
}

/* ---- completion ------------------------------------------------------------------------------ */

static char *next_completion(const char *start, int again)
{
    static size_t at; /* Readline's protocol: `again` is 0 for the first call of a completion */
    if (again == 0)
        at = 0;
    size_t length = strlen(start);
    while (current != NULL && at < current->word_count) {
        const char *word = current->words[at++];
        if (strncasecmp(word, start, length) == 0)
            return strdup(word);
    }
    return NULL;
}

static char **complete(const char *start, int from, int to)
{
    (void)from;
    (void)to;
    rl_attempted_completion_over = 1; /* never file names */
    return rl_completion_matches(start, next_completion);
}

/* ---- opening and closing --------------------------------------------------------------------- */

/* The signals are blocked but for the moment of waiting, so that none falls between two steps. What
 * whoever started the program had it ignore (nohup, a job in the background) stays ignored. */
static void watch_signals(struct lines *lines)
{
    struct sigaction action = {.sa_handler = note_signal};
    sigset_t blocked;
    sigemptyset(&action.sa_mask);
    sigemptyset(&blocked);
    for (size_t i = 0; i < WATCHED; i++) {
        sigaction(watched[i], NULL, &lines->old_actions[i]);
        if (lines->old_actions[i].sa_handler == SIG_IGN)
            continue;
        sigaction(watched[i], &action, NULL);
        sigaddset(&blocked, watched[i]);
    }
    sigprocmask(SIG_BLOCK, &blocked, &lines->old_mask);
}

struct lines *lines_open(bool plain_ok)
{
    const bool terminal = isatty(STDIN_FILENO) == 1 && isatty(STDOUT_FILENO) == 1;
    if (current != NULL || (!terminal && !plain_ok))
        return NULL;
    struct lines *lines = calloc(1, sizeof *lines);
    current = lines;
    lines->terminal = terminal;
    if (!terminal)
        return lines;
    rl_readline_name = "jarside"; /* for $if in ~/.inputrc; must precede the first read */
    rl_attempted_completion_function = complete;
    rl_completer_word_break_characters = " ,;";
    rl_catch_signals = 0; /* ours, below; Readline's handlers only exist while it reads a key */
    rl_catch_sigwinch = 0;
    using_history();
    lines->history_path = history_file();
    if (lines->history_path != NULL)
        read_history(lines->history_path);
    stifle_history(HISTORY_LINES);
    watch_signals(lines);
    memory_at_end(rl_deprep_terminal);
    return lines;
}

void lines_close(struct lines *lines)
{
    if (lines == NULL)
        return;
    if (lines->terminal) {
        memory_at_end(NULL);
        history_save(lines);
        clear_history();
        for (size_t i = 0; i < WATCHED; i++)
            sigaction(watched[i], &lines->old_actions[i], NULL);
        sigprocmask(SIG_SETMASK, &lines->old_mask, NULL);
    }
    int killed_by = lines->killed_by;
    free(lines->history_path);
    free(lines);
    current = NULL;
    if (killed_by != 0)
        raise(killed_by); /* the terminal is restored: end as the sender of the signal expects */
}

bool lines_is_terminal(const struct lines *lines)
{
    return lines->terminal;
}

void lines_offer(struct lines *lines, const char *const *words, size_t count)
{
    lines->words = words;
    lines->word_count = count;
}

/* ---- reading --------------------------------------------------------------------------------- */

static void line_ready(char *line)
{
    current->ready = true;
    current->line = line;
    rl_callback_handler_remove();
}

static enum line_result stop_reading(enum line_result result)
{
    rl_callback_handler_remove();
    return result;
}

static enum line_result on_signal(struct lines *lines)
{
    int number = caught;
    caught = 0;
    switch (number) {
    case SIGINT:
        rl_free_line_state();
        rl_replace_line("", 0);
        rl_crlf();
        return stop_reading(READ_INTERRUPTED);
    case SIGWINCH:
        rl_resize_terminal();
        return READ_RESIZED;
    case SIGTSTP:
        rl_deprep_terminal(); /* as the shell expects, with the terminal as it was */
        raise(SIGSTOP);
        rl_prep_terminal(1);
        rl_forced_update_display();
        return READ_RESIZED;
    default:
        lines->killed_by = number;
        return stop_reading(READ_KILLED);
    }
}

static enum line_result read_terminal(struct lines *lines, const char *prompt, char **line)
{
    lines->ready = false;
    lines->line = NULL;
    rl_callback_handler_install(prompt, line_ready);
    while (!lines->ready) {
        fd_set readable;
        FD_ZERO(&readable);
        FD_SET(STDIN_FILENO, &readable);
        int count = pselect(STDIN_FILENO + 1, &readable, NULL, NULL, NULL, &lines->old_mask);
        if (count > 0) {
            rl_callback_read_char();
        } else if (count < 0 && errno == EINTR) {
            enum line_result result = caught != 0 ? on_signal(lines) : READ_RESIZED;
            if (result != READ_RESIZED)
                return result;
        } else {
            return stop_reading(READ_FAILED);
        }
    }
    if (lines->line == NULL) {
        fputc('\n', stdout); /* ^D leaves the cursor after the prompt */
        return READ_END;
    }
    *line = lines->line;
    const HIST_ENTRY *last =
        history_length > 0 ? history_get(history_base + history_length - 1) : NULL;
    if ((*line)[strspn(*line, " \t")] != '\0' && (last == NULL || strcmp(last->line, *line) != 0))
        add_history(*line);
    return READ_LINE;
}

static enum line_result read_plain(char **line)
{
    /* One byte more than can be read at once, so that the reader says so; the rest is let go. */
    enum { MOST = 64 * 1024 + 1 };
    struct text read;
    int byte;
    text_init(&read);
    while ((byte = getc_unlocked(stdin)) != EOF && byte != '\n')
        if (read.length < MOST)
            text_add(&read, byte == '\0' ? " " : &(char){(char)byte},
                     1); /* a NUL would hide the rest */
    if (byte == EOF && read.length == 0) {
        text_release(&read);
        return feof(stdin) ? READ_END : READ_FAILED;
    }
    *line = read.capacity > 0 ? read.bytes : strdup("");
    return READ_LINE;
}

enum line_result lines_read(struct lines *lines, const char *prompt, char **line)
{
    *line = NULL;
    return lines->terminal ? read_terminal(lines, prompt, line) : read_plain(line);
}

char *line_trim(char *line)
{
    size_t blank = strspn(line, " \t\r"), length = strlen(line);
    while (length > blank && strchr(" \t\r", line[length - 1]) != NULL)
        length--;
    memmove(line, line + blank, length - blank);
    line[length - blank] = '\0';
    return line;
}

/* ---- one question ---------------------------------------------------------------------------- */

enum line_answer lines_ask(struct lines *lines, const char *question, const char *standing,
                           const char *const *words, size_t count, char **answer)
{
    bool stands = standing != NULL && standing[0] != '\0';
    char *prompt =
        stands ? text_format("%s [%s]: ", question, standing) : text_format("%s: ", question);
    char *line = NULL;

    *answer = NULL;
    lines_offer(lines, words, count);
    enum line_result result = lines_read(lines, prompt, &line);
    lines_offer(lines, NULL, 0);
    free(prompt);
    if (result != READ_LINE)
        return LINE_LEFT;
    if (line_trim(line)[0] != '\0') {
        *answer = line;
        return LINE_GIVEN;
    }
    free(line);
    return LINE_EMPTY;
}

bool lines_confirm(struct lines *lines, const char *question)
{
    static const char *const words[] = {"yes", "no"};
    char *answer = NULL;
    bool yes = lines_ask(lines, question, "no", words, 2, &answer) == LINE_GIVEN &&
               (strcasecmp(answer, "y") == 0 || strcasecmp(answer, "yes") == 0);
    free(answer);
    return yes;
}
