/* A folder with one file in it, as the lexicon's loaders read one. */
#ifndef ODDLOAF_TESTS_INTAKE_ONE_FILE_H
#define ODDLOAF_TESTS_INTAKE_ONE_FILE_H

#include "check.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct one_file {
    char dir[64], file[96];
};

static inline void one_file_make(struct one_file *one, const char *name, const char *text)
{
    strcpy(one->dir, "/tmp/oddloaf-one-file-XXXXXX");
    assert_non_null(mkdtemp(one->dir));
    snprintf(one->file, sizeof one->file, "%s/%s", one->dir, name);
    FILE *file = fopen(one->file, "we");
    assert_non_null(file);
    fputs(text, file);
    assert_int_equal(fclose(file), 0);
}

static inline void one_file_end(const struct one_file *one)
{
    unlink(one->file);
    rmdir(one->dir);
}

#endif
