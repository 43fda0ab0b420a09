"""Writes daemon/base/latin_letters.h: Latin letters without their accents, for text_fold()."""
import re
import unicodedata

BLOCKS = ((0xC0, 0x2AF), (0x1E00, 0x1EFF), (0x210A, 0x2138), (0x2C60, 0x2C7F), (0xA722, 0xA7AF),
          (0xFB00, 0xFB06))
OWN = {"SHARP S": "ss", "ETH": "d", "THORN": "th", "ENG": "n", "KRA": "k", "SCHWA": "e",
       "ESH": "s", "EZH": "z", "N PRECEDED BY APOSTROPHE": "n", "AFRICAN D": "d", "OI": "oi",
       "ALPHA": "a", "GAMMA": "g", "IOTA": "i", "UPSILON": "u", "U BAR": "u"}
CHANGED = "(?:AFRICAN|DOTLESS|LONG|OPEN|REVERSED|SIDEWAYS|TURNED) )?"


def base(c):
    plain = "".join(d for d in unicodedata.normalize("NFKD", c) if not unicodedata.combining(d))
    if re.fullmatch("[A-Za-z]{1,3}", plain.replace("\u017f", "s")):
        return plain.replace("\u017f", "s").lower()
    name = re.fullmatch("LATIN (?:CAPITAL|SMALL)(?: LETTER| LIGATURE)? (.+)", unicodedata.name(c, ""))
    if not name:
        return ""
    letter = name[1].split(" WITH ")[0]
    plain = re.fullmatch("(?:" + CHANGED + "([A-Z]{1,2})", letter)
    return OWN.get(letter) or (plain[1].lower() if plain else "")


def written(code):
    letters = base(chr(code))
    return letters.upper() if chr(code).lower() != chr(code) else letters


print("""/* Latin letters without their accents, capitals as capitals; "" is no letter, or has no base. After
 * the Unicode Character Database. Made by tests/base/latin_letters.py:
 *     python3 tests/base/latin_letters.py > daemon/base/latin_letters.h
 * Inside base/ only. */
#ifndef ODDLOAF_BASE_LATIN_LETTERS_H
#define ODDLOAF_BASE_LATIN_LETTERS_H

#include <stdint.h>

// clang-format off""")
for first, last in BLOCKS:
    print(f"static const char LATIN_{first:04X}[][4] = {{")
    for row in range(first, last + 1, 16):
        cells = ", ".join(f'"{written(code)}"' for code in range(row, min(row + 16, last + 1)))
        print(f"    /* {row:04X} */ {cells},")
    print("};")
print("""
static const struct {
    uint32_t first, last;
    const char (*base)[4];
} LATIN[] = {""")
for first, last in BLOCKS:
    print(f"    {{0x{first:04X}, 0x{last:04X}, LATIN_{first:04X}}},")
print("""};
// clang-format on

#endif""")
