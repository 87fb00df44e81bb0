/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JARSIDE_BASE_VERSION_H
#define JARSIDE_BASE_VERSION_H

/* Of the program; a packager may say another. */
#ifndef JARSIDE_VERSION
#define JARSIDE_VERSION "0.1.0"
#endif

#endif
