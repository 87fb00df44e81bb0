/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_REVIEW_SURVIVAL_INTERNAL_H
#define JARSIDE_REVIEW_SURVIVAL_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "review/survival.h"

/* For qsort, of structures that begin with a struct survival_case. */
int survival_by_time(const void *left, const void *right);

/* Whether the cases are as survival.h says. */
bool survival_fine(const struct survival_case *cases, size_t count);

#endif
