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

enum { IDS = 4, PARTS = 4, QUANT_MOST = 1 + 2 * 64, HUFF_HEAD = 17, HUFF_MOST = HUFF_HEAD + 256 };

/* A table as it was told last, which goes before the first scan that needs it: none that no scan
 * needs, and no byte beside it. */
struct table {
    unsigned char bytes[HUFF_MOST];
    size_t length; /* 0: there is none, or it has gone */
};

/* What was come across. */
struct seen {
    int orientation; /* 1 to 8; 0: not told */
    bool oriented, jfif, colours, adobe, height;
    int frame;                                  /* its marker; 0: none yet */
    unsigned char part[PARTS], quant_of[PARTS]; /* of the frame: its name, its table */
    int parts;
    unsigned scanned; /* bits of the parts */
    bool scan;
    struct table quant[IDS], huff[2][IDS], restart;
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

/* How its parts are to be understood as colours, and nothing else of it. */
static void write_adobe(struct photo_reading *r, const unsigned char *body)
{
    const unsigned char segment[] = {0xFF, APP0 + 14, 0,   14, 'A', 'd', 'o', 'b',
                                     'e',  0,         100, 0,  0,   0,   0,   body[11]};
    text_append_bytes(&r->out, segment, sizeof segment);
}

/* A profile in one piece: one in many holds tables for paper. */
static bool write_colours(struct photo_reading *r, const unsigned char *body, size_t length)
{
    static const unsigned char HEAD[] = "ICC_PROFILE\0\x01\x01";
    struct text_buffer profile = {0};
    bool is = length > sizeof HEAD - 1 && memcmp(body, HEAD, sizeof HEAD - 1) == 0 &&
              photo_colours(body + sizeof HEAD - 1, length - (sizeof HEAD - 1), &profile);
    if (is) {
        size_t size = profile.length + sizeof HEAD - 1 + 2;
        const unsigned char start[] = {0xFF, APP0 + 2, (unsigned char)(size >> 8),
                                       (unsigned char)size};
        text_append_bytes(&r->out, start, sizeof start);
        text_append_bytes(&r->out, HEAD, sizeof HEAD - 1);
        text_append_bytes(&r->out, profile.data, profile.length);
    }
    text_buffer_free(&profile);
    return is;
}

static bool begins(const unsigned char *body, size_t length, const char *with, size_t size)
{
    return length >= size && memcmp(body, with, size) == 0;
}

/* Each once. */
static void take_application(struct photo_reading *r, struct seen *seen, int marker,
                             const unsigned char *body, size_t length)
{
    if (marker == APP0 && !seen->jfif && length >= 14 && begins(body, length, "JFIF", 5)) {
        write_jfif(r, body);
        seen->jfif = true;
    } else if (marker == APP0 + 1) {
        int told = orientation_of(body, length);
        seen->orientation = told ? told : seen->orientation;
    } else if (marker == APP0 + 2 && !seen->colours) {
        seen->colours = write_colours(r, body, length);
    } else if (marker == APP0 + 14 && !seen->adobe && length == 12 &&
               begins(body, length, "Adobe", 5)) {
        write_adobe(r, body);
        seen->adobe = true;
    }
}

/* ---- segments ---- */

static bool is_frame(int marker)
{
    return marker >= SOF0 && marker <= SOF15 && marker != DHT && marker != JPG && marker != DAC;
}

static void keep(struct table *table, const unsigned char *bytes, size_t length)
{
    memcpy(table->bytes, bytes, length);
    table->length = length;
}

/* Up to the first that is none: what stands behind is no table. */
static void keep_quants(struct seen *seen, const unsigned char *body, size_t length)
{
    while (length > 0) {
        size_t size = body[0] >> 4 ? QUANT_MOST : 1 + 64;
        if (body[0] >> 4 > 1 || (body[0] & 15) >= IDS || size > length)
            return;
        keep(&seen->quant[body[0] & 15], body, size);
        body += size;
        length -= size;
    }
}

static void keep_huffs(struct seen *seen, const unsigned char *body, size_t length)
{
    while (length >= HUFF_HEAD) {
        size_t size = HUFF_HEAD;
        for (int i = 1; i < HUFF_HEAD; i++)
            size += body[i];
        if (body[0] >> 4 > 1 || (body[0] & 15) >= IDS || size > length || size > HUFF_MOST)
            return;
        keep(&seen->huff[body[0] >> 4][body[0] & 15], body, size);
        body += size;
        length -= size;
    }
}

static void write_table(struct photo_reading *r, int marker, struct table *table)
{
    const size_t size = table->length + 2;
    const unsigned char start[] = {0xFF, (unsigned char)marker, (unsigned char)(size >> 8),
                                   (unsigned char)size};
    if (!table->length)
        return;
    text_append_bytes(&r->out, start, sizeof start);
    text_append_bytes(&r->out, table->bytes, table->length);
    table->length = 0;
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

static void copy_segment(struct photo_reading *r, const unsigned char *body, size_t length)
{
    text_append_bytes(&r->out, body - 4, length + 4);
}

static int take_frame(struct photo_reading *r, struct seen *seen, int marker,
                      const unsigned char *body, size_t length)
{
    if (seen->frame)
        return photo_refuse(r, "a second picture begins");
    if (length < 6 || body[5] == 0 || body[5] > PARTS || length != 6 + 3 * (size_t)body[5])
        return photo_refuse(r, "the picture's size is told in another way");
    if ((uint64_t)u16(body + 1, false) * u16(body + 3, false) > PHOTO_PIXELS_MOST)
        return photo_refuse(r, "its picture is larger than any camera's");
    seen->frame = marker;
    seen->parts = body[5];
    for (int i = 0; i < seen->parts; i++) {
        seen->part[i] = body[6 + 3 * i];
        seen->quant_of[i] = body[8 + 3 * i] & (IDS - 1);
    }
    if (seen->orientation && !seen->oriented)
        write_orientation(r, seen);
    copy_segment(r, body, length);
    return 0;
}

/* The tables of one part of a scan, which of them its coefficients need. */
static int write_tables_of(struct photo_reading *r, struct seen *seen, const unsigned char *part,
                           const unsigned char *range)
{
    int at = 0;
    while (at < seen->parts && seen->part[at] != part[0])
        at++;
    if (at == seen->parts)
        return photo_refuse(r, "a scan of what the picture has not");
    if (seen->frame <= SOF0 + 1 && seen->scanned & 1u << at)
        return photo_refuse(r, "a second picture begins");
    seen->scanned |= 1u << at;
    write_table(r, DQT, &seen->quant[seen->quant_of[at]]);
    if (range[0] == 0)
        write_table(r, DHT, &seen->huff[0][part[1] >> 4 & (IDS - 1)]);
    if (range[1] > 0)
        write_table(r, DHT, &seen->huff[1][part[1] & (IDS - 1)]);
    return 0;
}

static int take_scan_head(struct photo_reading *r, struct seen *seen, const unsigned char *body,
                          size_t length)
{
    int rc = 0;
    if (!seen->frame)
        return photo_refuse(r, "the picture's size is not told before the picture");
    if (length < 1 || body[0] == 0 || body[0] > PARTS || length != 4 + 2 * (size_t)body[0])
        return photo_refuse(r, "a scan begins in another way");
    write_table(r, DRI, &seen->restart);
    for (size_t i = 0; i < body[0] && !rc; i++)
        rc = write_tables_of(r, seen, body + 1 + 2 * i, body + length - 3);
    if (rc)
        return rc;
    copy_segment(r, body, length);
    return take_scan(r, seen);
}

/* Neither is told by cameras: which numbers arithmetic begins with, how high the picture is. */
static int take_rare(struct photo_reading *r, struct seen *seen, int marker,
                     const unsigned char *body, size_t length)
{
    bool is_height = marker == DNL && length == 2 && seen->scan && !seen->height;
    bool is_start = marker == DAC && length >= 2 && length <= 16 && length % 2 == 0;
    seen->height = seen->height || is_height;
    if (!is_height && !is_start)
        return photo_refuse(r, "an unknown segment stands");
    copy_segment(r, body, length);
    return 0;
}

static int take_needed(struct photo_reading *r, struct seen *seen, int marker,
                       const unsigned char *body, size_t length)
{
    if (marker == SOS)
        return take_scan_head(r, seen, body, length);
    if (is_frame(marker))
        return take_frame(r, seen, marker, body, length);
    if (marker == DQT)
        keep_quants(seen, body, length);
    else if (marker == DHT)
        keep_huffs(seen, body, length);
    else if (marker == DRI && length == 2)
        keep(&seen->restart, body, length);
    else if (marker != DRI && marker != COM)
        return take_rare(r, seen, marker, body, length);
    return 0;
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
    else
        return take_needed(r, seen, marker, body, size - 2);
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
