/* Writing to a file or a pipe, which take what they have room for at a time. */
#ifndef ODDLOAF_BASE_WRITE_ALL_H
#define ODDLOAF_BASE_WRITE_ALL_H

#include <stddef.h>

/* Writes all of the bytes, however often a signal comes between. 0, or -1 with errno: some of them
 * may be written. */
int write_all(int fd, const void *bytes, size_t length);

#endif
