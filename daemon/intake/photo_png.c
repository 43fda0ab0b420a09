/* Chunks: a length of four bytes, a type of four letters, that many bytes, and a CRC-32 of type and
 * bytes. A type whose first letter is small may be left out. */
#include "intake/photo_reading.h"
#include <stdbool.h>
#include <string.h>

static const char SIGNATURE[8] = {'\x89', 'P', 'N', 'G', '\r', '\n', '\x1A', '\n'};

/* What was come across. */
struct seen {
    bool head, picture, ended;
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

static int check_order(struct photo_reading *r, const struct seen *seen, const char type[5],
                       size_t size)
{
    bool head = strcmp(type, "IHDR") == 0;
    if (head == seen->head || (head && size != 13))
        return photo_refuse(r, "the picture's head is not first, or not one");
    if (strcmp(type, "IEND") == 0 && (size != 0 || !seen->picture))
        return photo_refuse(r, "it ends without a picture");
    if (type[0] >= 'A' && type[0] <= 'Z' && !is_kept(type))
        return photo_refuse(r, "the picture needs what is not known");
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
    if (is_kept(type))
        text_append_bytes(&r->out, chunk, size + AROUND);
    seen->head = true;
    seen->picture = seen->picture || strcmp(type, "IDAT") == 0;
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
    return rc;
}

const struct photo_format photo_png = {"PNG", read_all};
