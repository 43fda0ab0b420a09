/* Photos without what they tell of whoever took them: place, owner, device, times, comments. The
 * picture itself is copied bit by bit, never compressed anew. What cannot be read whole is refused:
 * nothing that we did not look at is passed on. Pure. */
#ifndef ODDLOAF_INTAKE_PHOTO_H
#define ODDLOAF_INTAKE_PHOTO_H

#include "base/error.h"
#include "base/text.h"

struct photo_format;
/* ITU-T T.81; Exif 2.32 for the orientation. Of the application segments only what the picture's
 * colours need stays (JFIF without its small picture, of an ICC profile the primaries and curves,
 * Adobe's), once, and of Exif the orientation, in segments made anew. Tables stay that a scan
 * needs, before it. Comments and what follows the picture go. */
extern const struct photo_format photo_jpeg;
/* W3C PNG Specification. Chunks that the picture needs stay, their checksums right, once and of a
 * size that holds nothing else; one with more data than its picture has is refused. */
extern const struct photo_format photo_png;

/* Puts what stays in the place of `bytes`; *ret_removed: how many fewer those are, 0 if what was
 * made anew is longer. ERROR_INVALID says what cannot be read; then `bytes` is as it was. */
int photo_clean(const struct photo_format *format, struct text_buffer *bytes, size_t *ret_removed,
                struct error *err);

#endif
