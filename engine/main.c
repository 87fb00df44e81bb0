/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "base/status.h"

int main(void)
{
    fputs("jarside: the house is laid out; nobody lives in it yet\n", stderr);
    return EXIT_INTERNAL;
}
