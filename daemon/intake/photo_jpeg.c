/* Segments: FF, a marker, and but for SOI, EOI and RSTn a length of two bytes that counts itself.
 * What follows SOS is entropy-coded up to the next marker; in it FF is followed by 00 or RSTn. */
#include "intake/photo_reading.h"
#include <stdbool.h>
#include <string.h>

enum {
    SOI = 0xD8,
    EOI = 0xD9,
    SOS = 0xDA,
    DQT = 0xDB,
    DNL = 0xDC,
    DRI = 0xDD,
    DHT = 0xC4,
    DAC = 0xCC,
    SOF0 = 0xC0,
    SOF15 = 0xCF,
    JPG = 0xC8,
    RST0 = 0xD0,
    RST7 = 0xD7,
    APP0 = 0xE0,
    APP15 = 0xEF,
    COM = 0xFE
};

/* What was come across. */
struct seen {
    int orientation; /* 1 to 8; 0: not told */
    bool oriented, frame, scan;
};

static unsigned u16(const unsigned char *p, bool little)
{
    return little ? (unsigned)p[1] << 8 | p[0] : (unsigned)p[0] << 8 | p[1];
}

static size_t u32(const unsigned char *p, bool little)
{
    return little ? (size_t)u16(p + 2, true) << 16 | u16(p, true)
                  : (size_t)u16(p, false) << 16 | u16(p + 2, false);
}

/* ---- what of the application segments stays ---- */

/* The first directory of Exif's TIFF: tag 0x0112, one SHORT. 0: none, or not to be read. */
static int orientation_of(const unsigned char *exif, size_t length)
{
    static const unsigned char HEAD[] = "Exif\0";
    if (length < 14 || memcmp(exif, HEAD, 6) != 0)
        return 0;
    const unsigned char *tiff = exif + 6;
    size_t size = length - 6;
    bool little = memcmp(tiff, "II\x2A\0", 4) == 0;
    if (!little && memcmp(tiff, "MM\0\x2A", 4) != 0)
        return 0;
    size_t at = u32(tiff + 4, little);
    if (at > size || size - at < 2)
        return 0;
    unsigned count = u16(tiff + at, little);
    for (at += 2; count > 0 && size - at >= 12; count--, at += 12) {
        const unsigned char *entry = tiff + at;
        if (u16(entry, little) != 0x0112 || u16(entry + 2, little) != 3 ||
            u32(entry + 4, little) != 1)
            continue;
        unsigned value = u16(entry + 8, little);
        return value >= 1 && value <= 8 ? (int)value : 0;
    }
    return 0;
}

/* Exif with nothing but the orientation: a directory of one entry. */
static void write_orientation(struct photo_reading *r, struct seen *seen)
{
    unsigned char segment[] = {0xFF, 0xE1, 0, 34, 'E', 'x', 'i', 'f', 0,    0,    'M', 'M',
                               0,    0x2A, 0, 0,  0,   8,   0,   1,   0x01, 0x12, 0,   3,
                               0,    0,    0, 1,  0,   0,   0,   0,   0,    0,    0,   0};
    segment[29] = (unsigned char)seen->orientation;
    text_append_bytes(&r->out, segment, sizeof segment);
    seen->oriented = true;
}

/* JFIF's head without its small picture, which may show what was cut off the large one. */
static void write_jfif(struct photo_reading *r, const unsigned char *body)
{
    unsigned char segment[18] = {0xFF, APP0, 0, 16};
    memcpy(segment + 4, body, 12);
    text_append_bytes(&r->out, segment, sizeof segment);
}

static bool begins(const unsigned char *body, size_t length, const char *with, size_t size)
{
    return length >= size && memcmp(body, with, size) == 0;
}

static void take_application(struct photo_reading *r, struct seen *seen, int marker,
                             const unsigned char *body, size_t length)
{
    if (marker == APP0 && length >= 14 && begins(body, length, "JFIF", 5)) {
        write_jfif(r, body);
    } else if (marker == APP0 + 1) {
        int told = orientation_of(body, length);
        seen->orientation = told ? told : seen->orientation;
    } else if ((marker == APP0 + 2 && begins(body, length, "ICC_PROFILE", 12)) ||
               (marker == APP0 + 14 && length == 12 && begins(body, length, "Adobe", 5))) {
        text_append_bytes(&r->out, body - 4, length + 4);
    }
}

/* ---- segments ---- */

static bool is_frame(int marker)
{
    return marker >= SOF0 && marker <= SOF15 && marker != DHT && marker != JPG && marker != DAC;
}

static bool is_needed(int marker)
{
    return is_frame(marker) || marker == DHT || marker == DAC || marker == DQT || marker == DRI ||
           marker == DNL || marker == SOS;
}

/* Up to the next marker that is none of the data's own. */
static int take_scan(struct photo_reading *r, struct seen *seen)
{
    size_t from = r->at;
    for (; r->at + 1 < r->length; r->at++) {
        if (r->bytes[r->at] != 0xFF)
            continue;
        int next = r->bytes[r->at + 1];
        if (next != 0 && next != 0xFF && !(next >= RST0 && next <= RST7))
            break;
    }
    if (r->at + 1 >= r->length)
        return photo_refuse(r, "it ends within the picture");
    text_append_bytes(&r->out, r->bytes + from, r->at - from);
    seen->scan = true;
    return 0;
}

static int take_needed(struct photo_reading *r, struct seen *seen, int marker,
                       const unsigned char *body, size_t length)
{
    if (is_frame(marker) && seen->frame)
        return photo_refuse(r, "a second picture begins");
    if (marker == SOS && !seen->frame)
        return photo_refuse(r, "the picture's size is not told before the picture");
    seen->frame = seen->frame || is_frame(marker);
    if (seen->orientation && !seen->oriented)
        write_orientation(r, seen);
    text_append_bytes(&r->out, body - 4, length + 4);
    return marker == SOS ? take_scan(r, seen) : 0;
}

static int take_segment(struct photo_reading *r, struct seen *seen, int marker)
{
    if (r->length - r->at < 2)
        return photo_refuse(r, "it ends within a segment");
    size_t size = u16(r->bytes + r->at, false);
    if (size < 2 || size > r->length - r->at)
        return photo_refuse(r, "a segment is longer than the file");
    const unsigned char *body = r->bytes + r->at + 2;
    r->at += size;
    if (marker >= APP0 && marker <= APP15)
        take_application(r, seen, marker, body, size - 2);
    else if (is_needed(marker))
        return take_needed(r, seen, marker, body, size - 2);
    else if (marker != COM)
        return photo_refuse(r, "an unknown segment stands");
    return 0;
}

static int next_marker(struct photo_reading *r, int *ret)
{
    if (r->at >= r->length || r->bytes[r->at] != 0xFF)
        return photo_refuse(r, "no segment begins");
    size_t from = r->at;
    while (r->at < r->length && r->bytes[r->at] == 0xFF)
        r->at++;
    if (r->at >= r->length)
        return photo_refuse(r, "it ends before a segment");
    *ret = r->bytes[r->at++];
    /* what stays is copied from its own FF on: one fill byte is as good as many */
    return r->at - from >= 2 ? 0 : photo_refuse(r, "no segment begins");
}

static int read_all(struct photo_reading *r)
{
    static const unsigned char BEGIN[] = {0xFF, SOI}, END[] = {0xFF, EOI};
    struct seen seen = {0};
    if (r->length < 2 || memcmp(r->bytes, BEGIN, 2) != 0)
        return photo_refuse(r, "it does not begin as one");
    text_append_bytes(&r->out, BEGIN, sizeof BEGIN);
    r->at = 2;
    for (int rc = 0, marker = 0; !rc;) {
        rc = next_marker(r, &marker);
        if (!rc && marker == EOI) {
            if (!seen.scan)
                return photo_refuse(r, "it ends without a picture");
            text_append_bytes(&r->out, END, sizeof END);
            return 0;
        }
        if (!rc)
            rc = take_segment(r, &seen, marker);
        if (rc)
            return rc;
    }
    return 0;
}

const struct photo_format photo_jpeg = {"JPEG", read_all};
