/* One pass over a photo's bytes: the frame that every format is read in. */
#ifndef ODDLOAF_INTAKE_PHOTO_READING_H
#define ODDLOAF_INTAKE_PHOTO_READING_H

#include "intake/photo.h"
#include <stdbool.h>
#include <stdint.h>

struct photo_reading {
    const struct photo_format *format;
    const unsigned char *bytes; /* borrowed; NULL where there are none */
    size_t length, at;
    struct text_buffer out; /* what stays; photo_clean()'s */
    struct error *err;
};
struct photo_format {
    const char *name; /* as it is called in what is refused */
    /* Reads to the end of the picture, appending what stays; 0, or what photo_refuse() gives. */
    int (*read)(struct photo_reading *r);
};
/* A picture of more unpacks to gigabytes in whatever shows it; of the cameras of today's phones the
 * largest take half of it (from memory). */
#define PHOTO_PIXELS_MOST UINT64_C(400000000)
/* ERROR_INVALID: why, at the byte that was come to. */
int photo_refuse(struct photo_reading *r, const char *why);

/* Of an ICC profile (ISO 15076-1) what a screen needs to show the colours: the primaries, the white
 * and the curves of red, green and blue, or of gray, in a profile made anew without any text, date,
 * maker or number. False, and nothing is appended: it is another kind, or not to be read. */
bool photo_colours(const unsigned char *profile, size_t length, struct text_buffer *out);

#endif
