/* Chunks: a length of four bytes, a type of four letters, that many bytes, and a CRC-32 of type and
 * bytes. A type whose first letter is small may be left out. */
#include "intake/photo.h"
#include <stdbool.h>
#include <string.h>

static const char SIGNATURE[8] = {'\x89', 'P', 'N', 'G', '\r', '\n', '\x1A', '\n'};

struct reading {
    const unsigned char *bytes;
    size_t length, at;
    struct text_buffer out;
    bool picture, ended;
    struct error *err;
};

static int refuse(struct reading *r, const char *why)
{
    return error_set(r->err, ERROR_INVALID, "cannot be read as a PNG picture: %s at byte %zu", why,
                     r->at);
}

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

/* Of the others texts, times, Exif and private ones tell of who took it; an animation's first
 * picture is the picture. A profile has a name, which may be anything: sRGB is what is left. */
static bool is_kept(const char type[5])
{
    static const char *const KEPT[] = {"IHDR", "PLTE", "IDAT", "IEND", "tRNS",
                                       "gAMA", "cHRM", "sRGB", "sBIT", "pHYs"};
    for (size_t i = 0; i < sizeof KEPT / sizeof *KEPT; i++)
        if (strcmp(KEPT[i], type) == 0)
            return true;
    return false;
}

static bool is_type(const unsigned char *type)
{
    for (int i = 0; i < 4; i++)
        if (!((type[i] >= 'A' && type[i] <= 'Z') || (type[i] >= 'a' && type[i] <= 'z')))
            return false;
    return true;
}

static int check_order(struct reading *r, const char type[5], size_t size, bool first)
{
    bool head = strcmp(type, "IHDR") == 0;
    if (head != first || (head && size != 13))
        return refuse(r, "the picture's head is not first, or not one");
    if (strcmp(type, "IEND") == 0 && (size != 0 || !r->picture))
        return refuse(r, "it ends without a picture");
    if (type[0] >= 'A' && type[0] <= 'Z' && !is_kept(type))
        return refuse(r, "the picture needs what is not known");
    return 0;
}

static int take_chunk(struct reading *r, bool first)
{
    enum { AROUND = 12 };
    char type[5] = "";
    const unsigned char *chunk = r->bytes + r->at;
    if (r->length - r->at < AROUND || u32(chunk) > r->length - r->at - AROUND)
        return refuse(r, "it ends within a chunk");
    size_t size = u32(chunk);
    if (!is_type(chunk + 4))
        return refuse(r, "no chunk begins");
    memcpy(type, chunk + 4, 4);
    int rc = check_order(r, type, size, first);
    if (rc)
        return rc;
    if (crc32_of(chunk + 4, size + 4) != (uint32_t)u32(chunk + 8 + size))
        return refuse(r, "a checksum is wrong");
    if (is_kept(type))
        text_append_bytes(&r->out, chunk, size + AROUND);
    r->picture = r->picture || strcmp(type, "IDAT") == 0;
    r->ended = strcmp(type, "IEND") == 0;
    r->at += size + AROUND;
    return 0;
}

static int read_all(struct reading *r)
{
    if (r->length < sizeof SIGNATURE || memcmp(r->bytes, SIGNATURE, sizeof SIGNATURE) != 0)
        return refuse(r, "it does not begin as one");
    text_append_bytes(&r->out, SIGNATURE, sizeof SIGNATURE);
    r->at = sizeof SIGNATURE;
    int rc = take_chunk(r, true);
    while (!rc && !r->ended)
        rc = take_chunk(r, false);
    return rc;
}

int photo_png(const unsigned char *bytes, size_t length, struct text_buffer *out,
              size_t *ret_removed, struct error *err)
{
    struct reading r = {.bytes = bytes, .length = length, .err = err};
    int rc = read_all(&r);
    if (!rc) {
        text_append_bytes(out, r.out.data, r.out.length);
        *ret_removed = length - r.out.length;
    }
    text_buffer_free(&r.out);
    return rc;
}
