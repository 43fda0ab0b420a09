/* FNV-1a, 64 bits (Fowler, Noll and Vo; constants from memory): for tables in memory, and to tell
 * names apart. No defence against who means harm. */
#ifndef ODDLOAF_BASE_HASH_H
#define ODDLOAF_BASE_HASH_H

#include <stddef.h>
#include <stdint.h>
#include <string.h>

#define HASH_EMPTY UINT64_C(14695981039346656037) /* of nothing: where to begin */

/* Goes on from the hash of what stands before. */
static inline uint64_t hash_bytes(uint64_t hash, const void *bytes, size_t size)
{
    for (size_t i = 0; i < size; i++)
        hash = (hash ^ ((const unsigned char *)bytes)[i]) * UINT64_C(1099511628211);
    return hash;
}

static inline uint64_t hash_text(const char *text)
{
    return hash_bytes(HASH_EMPTY, text, strlen(text));
}

#endif
