/* Photos without what they tell of whoever took them: place, owner, device, times, comments. The
 * picture itself is copied bit by bit, never compressed anew. What cannot be read whole is refused:
 * nothing that we did not look at is passed on. Pure. */
#ifndef ODDLOAF_INTAKE_PHOTO_H
#define ODDLOAF_INTAKE_PHOTO_H

#include "base/error.h"
#include "base/text.h"

/* JPEG (ITU-T T.81; Exif 2.32 for the orientation): of the application segments only what the
 * picture's colours need stays (JFIF without its small picture, ICC profile, Adobe's), and of Exif
 * the orientation, in a segment made anew. Comments and what follows the picture go.
 * PNG (W3C PNG Specification): chunks that the picture needs stay, their checksums right.
 * The result is appended to `out` only on success; *ret_removed: bytes that were left out.
 * ERROR_INVALID says what cannot be read. */
int photo_jpeg(const unsigned char *bytes, size_t length, struct text_buffer *out,
               size_t *ret_removed, struct error *err);
int photo_png(const unsigned char *bytes, size_t length, struct text_buffer *out,
              size_t *ret_removed, struct error *err);

#endif
