/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_KNOWLEDGE_CITATION_H
#define JARSIDE_KNOWLEDGE_CITATION_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"

/* Where a claim comes from. */

struct source {
    const char *id;
    const char *author; /* person or body */
    const char *title;
    const char *year;  /* as printed; "n.d." when undated */
    const char *where; /* journal and pages, publisher, web site; or NULL */
    bool weak;         /* a web guide: a hint, not evidence */
    struct position at;
};

/* Ends of a claim: works cited, or one of the marks. At least one of the three is set. */
struct citation {
    const size_t *sources; /* indices into rules.sources */
    size_t count;
    bool expert_judgement; /* `expert judgement` */
    bool common_practice;  /* `common practice, no source` */
    bool from_memory;      /* `from memory`, with or without sources */
};

#endif
