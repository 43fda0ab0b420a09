#include "intake/look_alike.h"
#include <stddef.h>

/* Single letters that the Unicode Consortium's confusables.txt (UTS #39, version 14.0.0) takes for
 * one Latin letter; a capital iota, which it takes for a small L, is the I it is drawn as. In
 * order.
 */
static const struct {
    uint32_t letter;
    char latin;
} ALIKE[] = {{0x37A, 'i'}, {0x37F, 'j'}, {0x391, 'a'}, {0x392, 'b'}, {0x395, 'e'}, {0x396, 'z'},
             {0x397, 'h'}, {0x399, 'i'}, {0x39A, 'k'}, {0x39C, 'm'}, {0x39D, 'n'}, {0x39F, 'o'},
             {0x3A1, 'p'}, {0x3A4, 't'}, {0x3A5, 'y'}, {0x3A7, 'x'}, {0x3B1, 'a'}, {0x3B3, 'y'},
             {0x3B9, 'i'}, {0x3BD, 'v'}, {0x3BF, 'o'}, {0x3C1, 'p'}, {0x3C3, 'o'}, {0x3C5, 'u'},
             {0x3D2, 'y'}, {0x3DC, 'f'}, {0x3F1, 'p'}, {0x3F2, 'c'}, {0x3F3, 'j'}, {0x3F9, 'c'},
             {0x3FA, 'm'}, {0x405, 's'}, {0x406, 'i'}, {0x408, 'j'}, {0x410, 'a'}, {0x412, 'b'},
             {0x415, 'e'}, {0x41A, 'k'}, {0x41C, 'm'}, {0x41D, 'h'}, {0x41E, 'o'}, {0x420, 'p'},
             {0x421, 'c'}, {0x422, 't'}, {0x423, 'y'}, {0x425, 'x'}, {0x42C, 'b'}, {0x430, 'a'},
             {0x433, 'r'}, {0x435, 'e'}, {0x43E, 'o'}, {0x440, 'p'}, {0x441, 'c'}, {0x443, 'y'},
             {0x445, 'x'}, {0x455, 's'}, {0x456, 'i'}, {0x458, 'j'}, {0x461, 'w'}, {0x474, 'v'},
             {0x475, 'v'}, {0x4AE, 'y'}, {0x4AF, 'y'}, {0x4BB, 'h'}, {0x4BD, 'e'}, {0x4C0, 'l'},
             {0x4CF, 'i'}, {0x501, 'd'}, {0x50C, 'g'}, {0x51B, 'q'}, {0x51C, 'w'}, {0x51D, 'w'},
             {0x54D, 'u'}, {0x54F, 's'}, {0x555, 'o'}, {0x561, 'w'}, {0x563, 'q'}, {0x566, 'q'},
             {0x570, 'h'}, {0x578, 'n'}, {0x57C, 'n'}, {0x57D, 'u'}, {0x581, 'g'}, {0x584, 'f'},
             {0x585, 'o'}};

/* Letters in circles, squares or brackets and those of flags, as the Unicode Character Database
 * orders them: each an alphabet from A to Z. */
static const uint32_t ENCLOSED[] = {0x249C,  0x24B6,  0x24D0,  0x1F110,
                                    0x1F130, 0x1F150, 0x1F170, 0x1F1E6};

char look_alike_of(uint32_t c)
{
    for (size_t i = 0; i < sizeof ENCLOSED / sizeof ENCLOSED[0]; i++)
        if (c >= ENCLOSED[i] && c < ENCLOSED[i] + 26)
            return (char)('a' + (c - ENCLOSED[i]));
    size_t low = 0, high = sizeof ALIKE / sizeof ALIKE[0];
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (ALIKE[middle].letter < c)
            low = middle + 1;
        else
            high = middle;
    }
    return low < sizeof ALIKE / sizeof ALIKE[0] && ALIKE[low].letter == c ? ALIKE[low].latin : '\0';
}
