/* A profile: a head of 128 bytes, how many tags, and of each a name, where it is and its bytes
 * (ISO 15076-1:2010, 7). Numbers are big-endian. */
#include "intake/photo_reading.h"
#include <stdint.h>
#include <string.h>

enum { HEAD = 128, TAG = 12, TAGS_MOST = 100, CURVE_MOST = 4096 };

static uint32_t u32(const unsigned char *p)
{
    return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
}

static void put_u32(unsigned char *p, size_t value)
{
    for (int i = 0; i < 4; i++)
        p[i] = (unsigned char)(value >> (24 - 8 * i));
}

/* Bytes of one that holds what it is for and nothing else, from its beginning; 0: it does not. */
typedef size_t (*measure)(const unsigned char *tag, size_t length);

static bool is_type(const unsigned char *tag, size_t length, const char *type)
{
    static const unsigned char NONE[4] = {0};
    return length >= 12 && memcmp(tag, type, 4) == 0 && memcmp(tag + 4, NONE, 4) == 0;
}

static size_t measure_point(const unsigned char *tag, size_t length)
{
    return length >= 20 && is_type(tag, length, "XYZ ") ? 20 : 0;
}

static size_t measure_matrix(const unsigned char *tag, size_t length)
{
    return length >= 44 && is_type(tag, length, "sf32") ? 44 : 0;
}

/* A curve that never falls: it holds little else. */
static size_t measure_points(const unsigned char *tag, size_t length)
{
    size_t count = u32(tag + 8);
    unsigned before = 0;
    if (count > CURVE_MOST || length < 12 + 2 * count)
        return 0;
    for (size_t i = 0; i < count && count > 1; i++) {
        unsigned now = (unsigned)tag[12 + 2 * i] << 8 | tag[13 + 2 * i];
        if (now < before)
            return 0;
        before = now;
    }
    return 12 + 2 * count;
}

static size_t measure_curve(const unsigned char *tag, size_t length)
{
    static const size_t NUMBERS[] = {1, 3, 4, 5, 7}; /* by its kind of formula */
    if (is_type(tag, length, "curv"))
        return measure_points(tag, length);
    if (!is_type(tag, length, "para") || tag[8] || tag[9] > 4 || tag[10] || tag[11])
        return 0;
    size_t size = 12 + 4 * NUMBERS[tag[9]];
    return length >= size ? size : 0;
}

static const struct {
    char name[5];
    measure measure;
} KEPT[] = {{"wtpt", measure_point}, {"rXYZ", measure_point},  {"gXYZ", measure_point},
            {"bXYZ", measure_point}, {"chad", measure_matrix}, {"rTRC", measure_curve},
            {"gTRC", measure_curve}, {"bTRC", measure_curve},  {"kTRC", measure_curve}};
enum { KINDS = sizeof KEPT / sizeof KEPT[0] };

struct piece {
    const unsigned char *bytes; /* NULL: there is none */
    size_t length;
};

static void find_piece(const unsigned char *profile, size_t length, const unsigned char *tag,
                       struct piece pieces[KINDS])
{
    size_t at = u32(tag + 4), size = u32(tag + 8);
    for (int i = 0; i < KINDS; i++) {
        if (memcmp(tag, KEPT[i].name, 4) != 0 || at < HEAD || at > length || size > length - at)
            continue;
        size_t good = size >= 12 ? KEPT[i].measure(profile + at, size) : 0;
        pieces[i] = (struct piece){good ? profile + at : NULL, good};
    }
}

/* All of red, green and blue, or gray; never a profile that lacks some of what it began with. */
static bool is_whole(const unsigned char *profile, const struct piece pieces[KINDS])
{
    bool gray = memcmp(profile + 16, "GRAY", 4) == 0, rgb = memcmp(profile + 16, "RGB ", 4) == 0;
    if (memcmp(profile + 20, "XYZ ", 4) != 0 || !pieces[0].bytes)
        return false;
    for (int i = 1; i < KINDS - 1 && rgb; i++)
        rgb = pieces[i].bytes || memcmp(KEPT[i].name, "chad", 4) == 0;
    return rgb || (gray && pieces[KINDS - 1].bytes);
}

/* Version, class (a screen's), colours, and the light they are seen by, which is always the same.
 */
static void write_head(const unsigned char *profile, unsigned char head[HEAD])
{
    static const unsigned char D50[] = {0, 0, 0xF6, 0xD6, 0, 1, 0, 0, 0, 0, 0xD3, 0x2D};
    static const unsigned char SCREEN[] = {'m', 'n', 't', 'r'}, MARK[] = {'a', 'c', 's', 'p'};
    memset(head, 0, HEAD);
    head[8] = profile[8] >= 4 ? 4 : 2;
    memcpy(head + 12, SCREEN, sizeof SCREEN);
    memcpy(head + 16, profile + 16, 8);
    memcpy(head + 36, MARK, sizeof MARK);
    memcpy(head + 68, D50, sizeof D50);
}

static void write_profile(const unsigned char *profile, const struct piece pieces[KINDS],
                          struct text_buffer *out)
{
    unsigned char head[HEAD], count[4], row[TAG];
    size_t from = out->length, tags = 0, at;
    for (int i = 0; i < KINDS; i++)
        tags += pieces[i].bytes != NULL;
    write_head(profile, head);
    put_u32(count, tags);
    text_append_bytes(out, head, HEAD);
    text_append_bytes(out, count, 4);
    at = HEAD + 4 + TAG * tags;
    for (int i = 0; i < KINDS; i++) {
        if (!pieces[i].bytes)
            continue;
        memcpy(row, KEPT[i].name, 4);
        put_u32(row + 4, at);
        put_u32(row + 8, pieces[i].length);
        text_append_bytes(out, row, TAG);
        at += (pieces[i].length + 3) / 4 * 4;
    }
    for (int i = 0; i < KINDS; i++) {
        if (!pieces[i].bytes)
            continue;
        text_append_bytes(out, pieces[i].bytes, pieces[i].length);
        text_append_bytes(out, "\0\0\0", (4 - pieces[i].length % 4) % 4);
    }
    put_u32((unsigned char *)out->data + from, out->length - from);
}

bool photo_colours(const unsigned char *profile, size_t length, struct text_buffer *out)
{
    struct piece pieces[KINDS] = {{0}};
    if (length < HEAD + 4 || memcmp(profile + 36, "acsp", 4) != 0)
        return false;
    size_t count = u32(profile + HEAD);
    if (count > TAGS_MOST || length < HEAD + 4 + count * TAG)
        return false;
    for (size_t i = 0; i < count; i++)
        find_piece(profile, length, profile + HEAD + 4 + i * TAG, pieces);
    if (!is_whole(profile, pieces))
        return false;
    write_profile(profile, pieces, out);
    return true;
}
