/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/status.h"

enum exit_status status_exit(enum status status)
{
    switch (status) {
    case STATUS_OK:
        return EXIT_FINE;
    case STATUS_DATA:
        return EXIT_DATA;
    case STATUS_USAGE:
        return EXIT_USAGE;
    case STATUS_IO:
        return EXIT_IO;
    case STATUS_CLOSED:
        return EXIT_CLOSED;
    case STATUS_MEMORY:
    case STATUS_INTERNAL:
        break;
    }
    return EXIT_INTERNAL;
}
