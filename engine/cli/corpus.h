/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_CLI_CORPUS_H
#define JARSIDE_CLI_CORPUS_H

/* What is at `below` in the corpus beside the shipped rules: installed and in the source tree they are
 * neighbours. Caller frees; NULL when out of memory. */
char *corpus_find(const char *below);

#endif
