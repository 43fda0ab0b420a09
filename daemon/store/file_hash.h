/* By what a file is known, whatever it is called: its SHA-256. */
#ifndef ODDLOAF_STORE_FILE_HASH_H
#define ODDLOAF_STORE_FILE_HASH_H

#include <stddef.h>

enum { FILE_HASH = 65 };

/* In hexadecimal. */
void file_hash(const void *bytes, size_t length, char ret[static FILE_HASH]);

#endif
