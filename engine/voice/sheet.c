/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/sheet.h"

#include <string.h>
#include <strings.h>

#include "voice/html.h"

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

void sheet_begin(struct text *html, const char *title, enum paper paper, const char *style)
{
    text_puts(html,
              "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>");
    html_text(html, title);
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
