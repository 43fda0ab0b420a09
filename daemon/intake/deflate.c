#include "intake/deflate.h"
#include <string.h>

enum { CODE_BITS = 15, LITERALS = 288, FIXED_DISTANCES = 30, LENGTHS = 29, END_OF_BLOCK = 256 };

struct bits {
    const unsigned char *bytes;
    size_t length, at;
    unsigned held;
    int count;  /* in `held` */
    bool ended; /* more was asked for than there is */
};

static unsigned take(struct bits *b, int count)
{
    while (b->count < count) {
        b->ended = b->ended || b->at >= b->length;
        if (b->ended)
            return 0;
        b->held |= (unsigned)b->bytes[b->at++] << b->count;
        b->count += 8;
    }
    unsigned value = b->held & ((1u << count) - 1);
    b->held >>= count;
    b->count -= count;
    return value;
}

/* ---- codes ---- */

/* Symbols in the order of their codes; how many have each length. */
struct code {
    int of_length[CODE_BITS + 1];
    int symbol[LITERALS];
};

static bool make_code(struct code *c, const unsigned char *lengths, int count)
{
    int at[CODE_BITS + 2] = {0}, left = 1;
    memset(c, 0, sizeof *c);
    for (int i = 0; i < count; i++)
        c->of_length[lengths[i]]++;
    c->of_length[0] = 0;
    for (int length = 1; length <= CODE_BITS; length++) {
        left = 2 * left - c->of_length[length];
        at[length + 1] = at[length] + c->of_length[length];
        if (left < 0)
            return false;
    }
    for (int i = 0; i < count; i++)
        if (lengths[i])
            c->symbol[at[lengths[i]]++] = i;
    return true;
}

/* -1: none has that code. */
static int next_symbol(struct bits *b, const struct code *c)
{
    int code = 0, first = 0, before = 0;
    for (int length = 1; length <= CODE_BITS && !b->ended; length++) {
        code = code << 1 | (int)take(b, 1);
        int count = c->of_length[length];
        if (code - first < count)
            return c->symbol[before + code - first];
        before += count;
        first = (first + count) << 1;
    }
    return -1;
}

static bool read_lengths(struct bits *b, const struct code *of, unsigned char *lengths, int count)
{
    for (int n = 0; n < count;) {
        int symbol = next_symbol(b, of), times = 1;
        unsigned char length = (unsigned char)symbol;
        if (symbol < 0 || (symbol == 16 && n == 0))
            return false;
        if (symbol >= 16) {
            length = symbol == 16 ? lengths[n - 1] : 0;
            times = symbol == 16   ? 3 + (int)take(b, 2)
                    : symbol == 17 ? 3 + (int)take(b, 3)
                                   : 11 + (int)take(b, 7);
        }
        if (times > count - n)
            return false;
        memset(lengths + n, length, (size_t)times);
        n += times;
    }
    return true;
}

static bool read_codes(struct bits *b, struct code *literals, struct code *distances)
{
    static const unsigned char ORDER[] = {16, 17, 18, 0, 8,  7, 9,  6, 10, 5,
                                          11, 4,  12, 3, 13, 2, 14, 1, 15};
    unsigned char lengths[LITERALS + 32] = {0};
    int literal_count = 257 + (int)take(b, 5), distance_count = 1 + (int)take(b, 5);
    int count = 4 + (int)take(b, 4);
    if (literal_count > LITERALS)
        return false;
    for (int i = 0; i < count; i++)
        lengths[ORDER[i]] = (unsigned char)take(b, 3);
    struct code of;
    if (!make_code(&of, lengths, (int)sizeof ORDER) ||
        !read_lengths(b, &of, lengths, literal_count + distance_count))
        return false;
    return make_code(literals, lengths, literal_count) &&
           make_code(distances, lengths + literal_count, distance_count);
}

static void fixed_codes(struct code *literals, struct code *distances)
{
    unsigned char lengths[LITERALS];
    memset(lengths, 8, 144);
    memset(lengths + 144, 9, 112);
    memset(lengths + 256, 7, 24);
    memset(lengths + 280, 8, 8);
    make_code(literals, lengths, LITERALS);
    memset(lengths, 5, FIXED_DISTANCES);
    make_code(distances, lengths, FIXED_DISTANCES);
}

/* ---- blocks ---- */

static bool skip_stored(struct bits *b, uint64_t *unpacked)
{
    b->held = 0;
    b->count = 0;
    unsigned size = take(b, 16), inverse = take(b, 16);
    if (b->ended || size != (inverse ^ 0xFFFFu) || size > b->length - b->at)
        return false;
    b->at += size;
    *unpacked += size;
    return true;
}

/* Of what is said again the length; from where does not matter here. */
static unsigned length_of(struct bits *b, int symbol)
{
    enum { LONGEST = 28 };
    if (symbol < 8)
        return 3 + (unsigned)symbol;
    if (symbol == LONGEST)
        return 258;
    int more = (symbol - 4) / 4;
    return 3 + ((4 + (unsigned)symbol % 4) << more) + take(b, more);
}

static bool skip_packed(struct bits *b, bool fixed, uint64_t *unpacked)
{
    struct code literals, distances;
    if (fixed)
        fixed_codes(&literals, &distances);
    else if (!read_codes(b, &literals, &distances))
        return false;
    for (;;) {
        int symbol = next_symbol(b, &literals);
        if (symbol == END_OF_BLOCK)
            return true;
        if (symbol < 0 || symbol - END_OF_BLOCK > LENGTHS)
            return false;
        if (symbol < END_OF_BLOCK) {
            ++*unpacked;
            continue;
        }
        *unpacked += length_of(b, symbol - END_OF_BLOCK - 1);
        int distance = next_symbol(b, &distances);
        if (distance < 0 || distance >= FIXED_DISTANCES)
            return false;
        take(b, distance < 4 ? 0 : (distance - 2) / 2);
    }
}

bool deflate_measure(const unsigned char *bytes, size_t length, size_t *ret_used,
                     uint64_t *ret_unpacked)
{
    enum { HEAD = 2, CHECKSUM = 4 };
    struct bits b = {.bytes = bytes, .length = length, .at = HEAD};
    uint64_t unpacked = 0;
    bool last = false, good = length >= HEAD && (bytes[0] & 15) == 8 && !(bytes[1] & 32) &&
                              (bytes[0] << 8 | bytes[1]) % 31 == 0;
    while (good && !last) {
        last = take(&b, 1) == 1;
        unsigned kind = take(&b, 2);
        good = !b.ended && kind < 3 &&
               (kind == 0 ? skip_stored(&b, &unpacked) : skip_packed(&b, kind == 1, &unpacked));
    }
    if (!good || b.ended || b.length - b.at < CHECKSUM)
        return false;
    *ret_used = b.at + CHECKSUM;
    *ret_unpacked = unpacked;
    return true;
}
