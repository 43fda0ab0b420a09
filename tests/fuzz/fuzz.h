/* What a harness defines (libFuzzer calls it, and so does standalone.c) and may lean on. */
#ifndef ODDLOAF_TESTS_FUZZ_FUZZ_H
#define ODDLOAF_TESTS_FUZZ_FUZZ_H

#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

/* Always 0. A broken promise aborts. */
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* assert() that no build type removes. */
#define PROMISE(condition)                                                                         \
    do {                                                                                           \
        if (!(condition))                                                                          \
            abort();                                                                               \
    } while (0)

#endif
