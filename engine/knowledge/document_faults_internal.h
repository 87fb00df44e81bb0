/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_KNOWLEDGE_DOCUMENT_FAULTS_INTERNAL_H
#define JARSIDE_KNOWLEDGE_DOCUMENT_FAULTS_INTERNAL_H

#include <stdbool.h>
#include <yaml.h>

#include "knowledge/faults_internal.h"
#include "knowledge/files_internal.h"

/* Whether the file is UTF-8 without control characters; told, with its place, if not. */
bool document_is_text(const struct file *file, struct faults *faults);

/* Tells why libyaml could not go on, in words that help. */
void document_syntax_fault(const yaml_parser_t *parser, const struct file *file,
                           struct faults *faults);

#endif
