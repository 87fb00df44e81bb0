/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/app.h"

int main(int argc, char **argv)
{
    cli_main(argc, argv);
}
