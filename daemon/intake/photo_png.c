/* Chunks: a length of four bytes, a type of four letters, that many bytes, and a CRC-32 of type and
 * bytes. A type whose first letter is small may be left out. */
#include "intake/deflate.h"
#include "intake/photo_reading.h"
#include <stdbool.h>
#include <string.h>

static const char SIGNATURE[8] = {'\x89', 'P', 'N', 'G', '\r', '\n', '\x1A', '\n'};

struct head {
    size_t width, height;
    unsigned depth, colour;
    bool interlaced;
};

enum { GRAY, TRUE_COLOUR = 2, PALETTE, GRAY_ALPHA, TRUE_ALPHA = 6 }; /* head.colour */

/* What was come across. */
struct seen {
    bool head, picture, ended;
    struct head is;
    struct text_buffer data; /* the picture's */
    size_t colours;          /* in its palette */
    unsigned had;            /* of ONCE */
};

static size_t u32(const unsigned char *p)
{
    return (size_t)p[0] << 24 | (size_t)p[1] << 16 | (size_t)p[2] << 8 | p[3];
}

/* ISO 3309, as the specification's annex D has it. */
static uint32_t crc32_of(const unsigned char *bytes, size_t length)
{
    uint32_t table[256], crc = 0xFFFFFFFFu;
    for (uint32_t n = 0; n < 256; n++) {
        uint32_t c = n;
        for (int k = 0; k < 8; k++)
            c = c & 1 ? 0xEDB88320u ^ c >> 1 : c >> 1;
        table[n] = c;
    }
    for (size_t i = 0; i < length; i++)
        crc = table[(crc ^ bytes[i]) & 0xFF] ^ crc >> 8;
    return crc ^ 0xFFFFFFFFu;
}

/* ---- what is left out, or is of a size that holds nothing else ---- */

static size_t channels(unsigned colour)
{
    static const unsigned char OF[] = {1, 0, 3, 1, 2, 0, 4};
    return colour < sizeof OF ? OF[colour] : 0;
}

static bool fits_palette(const struct seen *s, size_t size)
{
    return s->is.colour == PALETTE && size % 3 == 0 && size && size <= 3u << s->is.depth;
}

static bool fits_transparent(const struct seen *s, size_t size)
{
    return s->is.colour == PALETTE       ? size && size <= s->colours
           : s->is.colour == GRAY        ? size == 2
           : s->is.colour == TRUE_COLOUR ? size == 6
                                         : false;
}

static bool fits_significant(const struct seen *s, size_t size)
{
    return size == (s->is.colour == PALETTE ? 3 : channels(s->is.colour));
}

/* Of the others texts, times, Exif and private ones tell of who took it; an animation's first
 * picture is the picture. A profile has a name, which may be anything: sRGB is what is left. */
static const struct once {
    const char *type;
    size_t size;
    bool (*fits)(const struct seen *s, size_t size);
} ONCE[] = {{"PLTE", 0, fits_palette},
            {"tRNS", 0, fits_transparent},
            {"sBIT", 0, fits_significant},
            {"gAMA", 4, NULL},
            {"cHRM", 32, NULL},
            {"sRGB", 1, NULL},
            {"pHYs", 9, NULL}};

static bool is_picture(const char type[5])
{
    return strcmp(type, "IHDR") == 0 || strcmp(type, "IDAT") == 0 || strcmp(type, "IEND") == 0;
}

static bool is_known(const char type[5])
{
    return is_picture(type) || strcmp(type, "PLTE") == 0;
}

static bool is_kept(struct seen *s, const char type[5], size_t size)
{
    for (size_t i = 0; i < sizeof ONCE / sizeof *ONCE; i++) {
        const struct once *once = &ONCE[i];
        if (strcmp(once->type, type) != 0)
            continue;
        bool good = once->fits ? once->fits(s, size) : size == once->size;
        good = good && !(s->had & 1u << i) && !s->picture;
        s->had |= 1u << i;
        return good;
    }
    return is_picture(type);
}

/* ---- chunks ---- */

static bool is_type(const unsigned char *type)
{
    for (int i = 0; i < 4; i++)
        if (!((type[i] >= 'A' && type[i] <= 'Z') || (type[i] >= 'a' && type[i] <= 'z')))
            return false;
    return true;
}

static int check_order(struct photo_reading *r, const struct seen *seen, const char type[5],
                       size_t size)
{
    bool head = strcmp(type, "IHDR") == 0;
    if (head == seen->head || (head && size != 13))
        return photo_refuse(r, "the picture's head is not first, or not one");
    if (strcmp(type, "IEND") == 0 && (size != 0 || !seen->picture))
        return photo_refuse(r, "it ends without a picture");
    if (type[0] >= 'A' && type[0] <= 'Z' && !is_known(type))
        return photo_refuse(r, "the picture needs what is not known");
    return 0;
}

static int take_head(struct photo_reading *r, struct seen *seen, const unsigned char *data)
{
    enum { SIDE_MOST = 1 << 20 };
    struct head *h = &seen->is;
    *h = (struct head){u32(data), u32(data + 4), data[8], data[9], data[12] == 1};
    bool depth = h->depth && h->depth <= 16 && !(h->depth & (h->depth - 1));
    bool side = h->width && h->height && h->width <= SIDE_MOST && h->height <= SIDE_MOST;
    if (side && (uint64_t)h->width * h->height > PHOTO_PIXELS_MOST)
        return photo_refuse(r, "its picture is larger than any camera's");
    if (depth && side && channels(h->colour) && !data[10] && !data[11] && data[12] <= 1)
        return 0;
    return photo_refuse(r, "its head is not one of a picture");
}

static void take_data(struct seen *seen, const char type[5], const unsigned char *data, size_t size)
{
    if (strcmp(type, "PLTE") == 0)
        seen->colours = size / 3;
    if (strcmp(type, "IDAT") == 0) {
        text_append_bytes(&seen->data, data, size);
        seen->picture = true;
    }
}

/* Bytes of the rows of a picture, or of every so many of its pixels, with one a row before it. */
static uint64_t rows_of(const struct head *h, size_t width, size_t height)
{
    size_t bits = h->depth * channels(h->colour);
    return width && height ? (uint64_t)height * (1 + (width * bits + 7) / 8) : 0;
}

static size_t every(size_t whole, size_t from, size_t step)
{
    return whole > from ? (whole - from + step - 1) / step : 0;
}

static uint64_t picture_bytes(const struct head *h)
{
    static const struct {
        unsigned char x, y, dx, dy;
    } PASS[] = {{0, 0, 8, 8}, {4, 0, 8, 8}, {0, 4, 4, 8}, {2, 0, 4, 4},
                {0, 2, 2, 4}, {1, 0, 2, 2}, {0, 1, 1, 2}};
    uint64_t sum = 0;
    if (!h->interlaced)
        return rows_of(h, h->width, h->height);
    for (size_t i = 0; i < sizeof PASS / sizeof *PASS; i++)
        sum += rows_of(h, every(h->width, PASS[i].x, PASS[i].dx),
                       every(h->height, PASS[i].y, PASS[i].dy));
    return sum;
}

/* Nothing behind its packed data, nor packed behind its last row. */
static int check_data(struct photo_reading *r, const struct seen *seen)
{
    size_t used = 0;
    uint64_t unpacked = 0;
    if (!deflate_measure((const unsigned char *)seen->data.data, seen->data.length, &used,
                         &unpacked))
        return photo_refuse(r, "the picture's data are not whole");
    if (used != seen->data.length || unpacked != picture_bytes(&seen->is))
        return photo_refuse(r, "the picture's data are not as long as the picture");
    return 0;
}

static int take_chunk(struct photo_reading *r, struct seen *seen)
{
    enum { AROUND = 12 };
    char type[5] = "";
    const unsigned char *chunk = r->bytes + r->at;
    if (r->length - r->at < AROUND || u32(chunk) > r->length - r->at - AROUND)
        return photo_refuse(r, "it ends within a chunk");
    size_t size = u32(chunk);
    if (!is_type(chunk + 4))
        return photo_refuse(r, "no chunk begins");
    memcpy(type, chunk + 4, 4);
    int rc = check_order(r, seen, type, size);
    if (rc)
        return rc;
    if (crc32_of(chunk + 4, size + 4) != (uint32_t)u32(chunk + 8 + size))
        return photo_refuse(r, "a checksum is wrong");
    if (!seen->head && (rc = take_head(r, seen, chunk + 8)))
        return rc;
    if (is_kept(seen, type, size)) {
        text_append_bytes(&r->out, chunk, size + AROUND);
        take_data(seen, type, chunk + 8, size);
    } else if (strcmp(type, "PLTE") == 0 && seen->is.colour == PALETTE) {
        return photo_refuse(r, "its palette is not one of the picture");
    }
    seen->head = true;
    seen->ended = strcmp(type, "IEND") == 0;
    r->at += size + AROUND;
    return 0;
}

static int read_all(struct photo_reading *r)
{
    struct seen seen = {0};
    if (r->length < sizeof SIGNATURE || memcmp(r->bytes, SIGNATURE, sizeof SIGNATURE) != 0)
        return photo_refuse(r, "it does not begin as one");
    text_append_bytes(&r->out, SIGNATURE, sizeof SIGNATURE);
    r->at = sizeof SIGNATURE;
    int rc = 0;
    while (!rc && !seen.ended)
        rc = take_chunk(r, &seen);
    if (!rc)
        rc = check_data(r, &seen);
    text_buffer_free(&seen.data);
    return rc;
}

const struct photo_format photo_png = {"PNG", read_all};
