/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/progress_bar.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "voice/screen.h"

void progress_bar_init(struct progress_bar *bar, FILE *stream)
{
    struct screen screen;
    const char *term = getenv("TERM");
    bool wipes = term != NULL && strcmp(term, "dumb") != 0; /* a line can be written anew */
    screen_init(&screen, stream, COLOUR_NEVER);
    *bar = (struct progress_bar){.stream = stream,
                                 .terminal = wipes && isatty(fileno(stream)) == 1,
                                 .shown = -1,
                                 .width = (int)screen.width};
    screen_release(&screen);
}

/* "vessel.csv  #########...........   45 %", of plain characters that every terminal has. */
static void draw(struct progress_bar *bar, const char *what, int share)
{
    enum { NAME = 40, GAPS = 4, FIGURES = 8, LEAST = 4, MOST = 60 };
    int left = bar->width - GAPS - FIGURES, named = left - LEAST < NAME ? left - LEAST : NAME;
    const struct text_safe_options options = {.ascii = true,
                                              .limit = named > 1 ? (size_t)named : 1};
    const char *slash = strrchr(what, '/');
    const char *name = slash != NULL ? slash + 1 : what;
    struct text line;
    int room = left - named;
    int cells = room < LEAST ? LEAST : room > MOST ? MOST : room;
    text_init(&line);
    text_puts(&line, "\r");
    text_safe(&line, name, strlen(name), &options);
    text_puts(&line, "  ");
    for (int i = 0; i < cells; i++)
        text_puts(&line, i < cells * share / 100 ? "#" : ".");
    text_printf(&line, "  %3d %%\033[K", share);
    if (!line.failed)
        (void)fwrite(line.bytes, 1, line.length, bar->stream);
    (void)fflush(bar->stream);
    text_release(&line);
    bar->drawn = true;
}

static void told(void *context, const char *what, uint64_t done, uint64_t total)
{
    struct progress_bar *bar = context;
    if (!bar->terminal || total < PROGRESS_BAR_LEAST)
        return;
    int share = done >= total ? 100 : (int)(100.0 * (double)done / (double)total);
    if (share == bar->shown && bar->drawn)
        return;
    bar->shown = share;
    draw(bar, what, share);
    if (done >= total)
        progress_bar_clear(bar);
}

struct progress progress_bar_listener(struct progress_bar *bar)
{
    return (struct progress){bar, told};
}

void progress_bar_clear(struct progress_bar *bar)
{
    if (!bar->drawn)
        return;
    (void)fputs("\r\033[K", bar->stream);
    (void)fflush(bar->stream);
    bar->drawn = false;
    bar->shown = -1;
}
