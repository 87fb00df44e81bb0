/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A target without its fuzzer: hands it every file named, and every file in the folders named. */
#include <dirent.h>
#include <sys/stat.h>

#include "support/fuzz.h"

enum { PATIENCE = 60 }; /* seconds an input may take before it counts as endless */

static void replay_file(const char *path)
{
    FILE *file = fopen(path, "rb");
    hold(file != NULL, "an input can be opened");
    struct stat about;
    hold(fstat(fileno(file), &about) == 0, "an input has a size");
    size_t size = (size_t)about.st_size;
    uint8_t *bytes = malloc(size ? size : 1);
    hold(bytes && fread(bytes, 1, size, file) == size, "an input can be read");
    fclose(file);
    printf("%s\n", path); /* the last one named is the one that broke something */
    fflush(stdout);
    alarm(PATIENCE);
    LLVMFuzzerTestOneInput(bytes, size);
    alarm(0);
    free(bytes);
}

static void replay_folder(const char *path)
{
    struct dirent **entries;
    int count = scandir(path, &entries, NULL, alphasort);
    hold(count >= 0, "a folder can be read");
    for (int i = 0; i < count; i++) {
        char name[4096];
        snprintf(name, sizeof name, "%s/%s", path, entries[i]->d_name);
        if (entries[i]->d_name[0] != '.')
            replay_file(name);
        free(entries[i]);
    }
    free(entries);
}

int main(int argc, char **argv)
{
    for (int i = 1; i < argc; i++) {
        struct stat about;
        hold(stat(argv[i], &about) == 0, "what is named is there");
        if (S_ISDIR(about.st_mode))
            replay_folder(argv[i]);
        else
            replay_file(argv[i]);
    }
    return 0;
}
