/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/sheet.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

bool sheet_paper(const char *word, enum paper *paper)
{
    if (strcasecmp(word, "a4") == 0)
        *paper = PAPER_A4;
    else if (strcasecmp(word, "letter") == 0)
        *paper = PAPER_LETTER;
    else
        return false;
    return true;
}

static const char *reference(char byte)
{
    switch (byte) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return NULL;
    }
}

void sheet_text(struct text *html, const char *words)
{
    struct text safe;
    text_init(&safe);
    text_safe(&safe, words, strlen(words), &(struct text_safe_options){.ascii = false});
    for (size_t i = 0; i < safe.length; i++) {
        const char *instead = reference(safe.bytes[i]);
        if (instead != NULL)
            text_puts(html, instead);
        else
            text_add(html, &safe.bytes[i], 1);
    }
    html->failed = html->failed || safe.failed;
    text_release(&safe);
}

void sheet_begin(struct text *html, const char *title, enum paper paper, const char *style)
{
    text_puts(html,
              "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>");
    sheet_text(html, title);
    text_printf(html,
                "</title>\n<style>\n@page { size: %s; margin: 12mm; }\n"
                "body { font: 11pt/1.35 serif; color: #000; background: #fff; margin: 0; }\n%s"
                "</style>\n</head>\n<body>\n",
                paper == PAPER_A4 ? "A4" : "letter", style);
}

void sheet_end(struct text *html)
{
    text_puts(html, "</body>\n</html>\n");
}

static enum status refuse(const char *path, const char *doing, struct diags *diags)
{
    diags_error(diags, (struct position){.file = path}, "cannot be %s: %s", doing, strerror(errno));
    return STATUS_IO;
}

static bool write_all(int file, const char *bytes, size_t length)
{
    while (length > 0) {
        ssize_t wrote = write(file, bytes, length);
        if (wrote < 0 && errno != EINTR)
            return false;
        if (wrote > 0) {
            bytes += wrote;
            length -= (size_t)wrote;
        }
    }
    return true;
}

static enum status write_beside(const struct text *html, char *beside, const char *path,
                                struct diags *diags)
{
    int file = mkstemp(beside);
    if (file < 0)
        return refuse(path, "written", diags);
    mode_t mask = umask(0); /* as any new file, not as the private one mkstemp makes */
    umask(mask);
    bool wrote = write_all(file, html->bytes, html->length) && fchmod(file, 0666 & ~mask) == 0 &&
                 fsync(file) == 0;
    wrote = close(file) == 0 && wrote;
    if (wrote && rename(beside, path) == 0)
        return STATUS_OK;
    enum status status = refuse(path, "written", diags);
    unlink(beside);
    return status;
}

enum status sheet_write(const struct text *html, const char *path, struct diags *diags)
{
    static const char suffix[] = ".XXXXXX";
    if (html->failed)
        return STATUS_MEMORY;
    if (strcmp(path, "-") == 0)
        return fwrite(html->bytes, 1, html->length, stdout) == html->length && fflush(stdout) == 0
                   ? STATUS_OK
                   : refuse("standard output", "written", diags);
    size_t size = strlen(path) + sizeof suffix;
    char *beside = malloc(size);
    if (beside == NULL)
        return STATUS_MEMORY;
    snprintf(beside, size, "%s%s", path, suffix);
    enum status status = write_beside(html, beside, path, diags);
    free(beside);
    return status;
}
