/* For a struct refs_source (records/refs.h) of lots that are of no plant. */
#ifndef ODDLOAF_TESTS_NO_PLANT_H
#define ODDLOAF_TESTS_NO_PLANT_H

#include "base/error.h"
#include <stdio.h>

static int no_plant(void *arg, const char *lot, char *ret_plant, size_t size, struct error *err)
{
    (void)arg, (void)lot, (void)err;
    snprintf(ret_plant, size, "%s", "");
    return 0;
}

#endif
