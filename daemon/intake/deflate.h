/* Packed bytes (zlib, RFC 1950 and 1951) measured without unpacking them: whether something stands
 * behind their end, or more is packed than there should be. Pure. */
#ifndef ODDLOAF_INTAKE_DEFLATE_H
#define ODDLOAF_INTAKE_DEFLATE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* *ret_used: bytes up to the end of the stream, its checksum among them, which is not compared;
 * *ret_unpacked: bytes it unpacks to. False if it is broken or not whole. */
bool deflate_measure(const unsigned char *bytes, size_t length, size_t *ret_used,
                     uint64_t *ret_unpacked);

#endif
