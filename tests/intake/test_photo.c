/* Photos without what they tell: what stays, what goes, what is refused. */
#include "check.h"
#include "intake/photo.h"
#include <stdio.h>
#include <string.h>

#define GPS "GPS 40.7128 N"
/* one gray block */
#define FRAME "\xFF\xC0\0\x0B\x08\0\x08\0\x08\x01\x01\x11\0"
#define SCAN "\xFF\xDA\0\x08\x01\x01\0\0\x3F\0"
#define PROGRESSIVE "\xFF\xC2\0\x0B\x08\0\x08\0\x08\x01\x01\x11\0"
#define DATA "\x12\xFF\0\x34\xFF\xD0\x56"
#define ICC_TEXT "\xFF\xE2\0\x10ICC_PROFILE\0\x01\x01"
#define MPF "\xFF\xE2\0\x13MPF\0" GPS
#define IPTC "\xFF\xED\0\x0F" GPS
#define COMMENT "\xFF\xFE\0\x0F" GPS
#define JFIF "\xFF\xE0\0\x10JFIF\0\x01\x02\0\0\x48\0\x48\0\0"
#define JFIF_SMALL "\xFF\xE0\0\x13JFIF\0\x01\x02\0\0\x48\0\x48\x01\x01\xAA\xBB\xCC"
#define EXIF_HEAD(size) "\xFF\xE1\0" size "Exif\0\0"
#define EXIF_6                                                                                     \
    EXIF_HEAD("\x2F") "MM\0\x2A\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x06\0\0\0\0\0\0" GPS
#define ONLY_6                                                                                     \
    EXIF_HEAD("\x22") "MM\0\x2A\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x06\0\0\0\0\0\0"
#define BEGIN "\xFF\xD8"
#define END "\xFF\xD9"

struct bytes {
    const char *bytes;
    size_t length;
};
#define BYTES(text)                                                                                \
    {                                                                                              \
        (text), sizeof(text) - 1                                                                   \
    }

static struct text_buffer copy(struct bytes from)
{
    struct text_buffer copied = {0};
    text_append_bytes(&copied, from.bytes, from.length);
    return copied;
}

static void becomes(const struct photo_format *format, struct bytes from, struct bytes to)
{
    struct text_buffer photo = copy(from);
    struct error err = {0};
    size_t removed = 0;
    if (photo_clean(format, &photo, &removed, &err))
        fail_msg("%s", err.text);
    assert_int_equal(photo.length, to.length);
    assert_memory_equal(photo.data, to.bytes, to.length);
    assert_int_equal(removed, from.length > to.length ? from.length - to.length : 0);
    text_buffer_free(&photo);
}

static void refused(const struct photo_format *format, struct bytes from, const char *why)
{
    struct text_buffer photo = copy(from);
    struct error err = {0};
    size_t removed = 0;
    assert_int_equal(photo_clean(format, &photo, &removed, &err), ERROR_INVALID);
    if (!strstr(err.text, why))
        fail_msg("%s, not %s", err.text, why);
    assert_int_equal(photo.length, from.length);
    if (from.length)
        assert_memory_equal(photo.data, from.bytes, from.length);
    text_buffer_free(&photo);
}

static void test_the_picture_stays_bit_by_bit(void **state)
{
    static const struct bytes PLAIN = BYTES(BEGIN JFIF FRAME SCAN DATA END);
    static const struct bytes TOLD =
        BYTES(BEGIN JFIF_SMALL COMMENT MPF ICC_TEXT IPTC COMMENT FRAME SCAN DATA COMMENT END GPS);
    static const struct bytes SCANS = BYTES(BEGIN PROGRESSIVE SCAN DATA SCAN DATA END);
    (void)state;
    becomes(&photo_jpeg, PLAIN, PLAIN);
    becomes(&photo_jpeg, TOLD, PLAIN);
    becomes(&photo_jpeg, SCANS, SCANS);
}

static void test_which_way_is_up_stays(void **state)
{
    static const struct bytes FROM = BYTES(BEGIN JFIF EXIF_6 FRAME SCAN DATA END);
    static const struct bytes TO = BYTES(BEGIN JFIF ONLY_6 FRAME SCAN DATA END);
    static const struct bytes NONE = BYTES(BEGIN EXIF_HEAD("\x0C") "MM\0\x2A" FRAME SCAN DATA END);
    static const struct bytes NONE_TO = BYTES(BEGIN FRAME SCAN DATA END);
    (void)state;
    becomes(&photo_jpeg, FROM, TO);
    becomes(&photo_jpeg, TO, TO);
    becomes(&photo_jpeg, NONE, NONE_TO);
}

#define EIGHT(x) x x x x x x x x
/* of 64 ones; Huffman: one code of one bit */
#define QUANT(id) id EIGHT(EIGHT("\x01"))
#define HUFF(id) id "\x01\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\x05"
#define DQT(tables, size) "\xFF\xDB\0" size tables
#define DHT(tables, size) "\xFF\xC4\0" size tables
#define DRI(of) "\xFF\xDD\0\x04\0" of

/* Tables that a scan needs go before it; a byte beside them, one told twice, and one that nothing
 * needs hold what they like. */
static void test_nothing_hides_in_tables(void **state)
{
    static const struct bytes PLAIN = BYTES(BEGIN FRAME DRI("\x02") DQT(QUANT("\0"), "\x43") DHT(
        HUFF("\0"), "\x14") DHT(HUFF("\x10"), "\x14") SCAN DATA END);
    static const struct bytes HIDING =
        BYTES(BEGIN DQT(QUANT("\x01"), "\x43") DQT(QUANT("\0") GPS, "\x50") DRI("\x07") DRI("\x02")
                  FRAME DHT(HUFF("\x02") HUFF("\0") HUFF("\x10") GPS, "\x45") SCAN DATA END);
    static const struct bytes AGAIN = BYTES(BEGIN FRAME SCAN DATA SCAN DATA END);
    static const struct bytes LONG_FRAME =
        BYTES(BEGIN "\xFF\xC0\0\x10\x08\0\x08\0\x08\x01\x01\x11\0GPS 4" SCAN DATA END);
    static const struct bytes LONG_SCAN =
        BYTES(BEGIN FRAME "\xFF\xDA\0\x0D\x01\x01\0\0\x3F\0GPS 4" DATA END);
    static const struct bytes ADOBE = BYTES(BEGIN "\xFF\xEE\0\x0E"
                                                  "AdobeGPS 40\x01" FRAME SCAN DATA END);
    static const struct bytes ADOBE_TO = BYTES(BEGIN "\xFF\xEE\0\x0E"
                                                     "Adobe\0\x64\0\0\0\0\x01" FRAME SCAN DATA END);
    (void)state;
    becomes(&photo_jpeg, PLAIN, PLAIN);
    becomes(&photo_jpeg, HIDING, PLAIN);
    becomes(&photo_jpeg, ADOBE, ADOBE_TO);
    becomes(&photo_jpeg, ADOBE_TO, ADOBE_TO);
    refused(&photo_jpeg, AGAIN, "second picture");
    refused(&photo_jpeg, LONG_FRAME, "size is told in another way");
    refused(&photo_jpeg, LONG_SCAN, "scan begins in another way");
}

/* A profile of gray, with the text of whose it is and a date, and what stays of it. */
#define WHITE "XYZ \0\0\0\0\0\0\xF6\xD6\0\x01\0\0\0\0\xD3\x2D"
#define CURVE "curv\0\0\0\0\0\0\0\x01\x02\x33"
#define ZEROS(n) ZEROS_##n
#define ZEROS_4 "\0\0\0\0"
#define ZEROS_24 EIGHT("\0\0\0")
#define D50 "\0\0\xF6\xD6\0\x01\0\0\0\0\xD3\x2D"
#define ZEROS_48 ZEROS_24 ZEROS_24
#define PROFILE_HEAD(size, date, maker)                                                            \
    "\0\0\0" size ZEROS_4 "\x02\0\0\0"                                                             \
    "mntrGRAYXYZ " date "acsp" maker D50 ZEROS_48
#define NO_DATE "\0\0\0\0\0\0\0\0\0\0\0\0"
#define NO_MAKER ZEROS_24 ZEROS_4
#define TAG(name, at, size) name "\0\0\0" at "\0\0\0" size
#define ICC_CLEAN                                                                                  \
    "\xFF\xE2\0\xD0ICC_PROFILE\0\x01\x01" PROFILE_HEAD(                                            \
        "\xC0", NO_DATE, NO_MAKER) "\0\0\0\x02" TAG("wtpt", "\x9C", "\x14")                        \
        TAG("kTRC", "\xB0", "\x0E") WHITE CURVE "\0\0"
#define ICC_TOLD                                                                                   \
    "\xFF\xE2\0\xE7ICC_PROFILE\0\x01\x01" PROFILE_HEAD(                                            \
        "\xD7", "\x07\xEA\0\x0B" GPS_8, GPS_24 ZEROS_4) "\0\0\0\x03" TAG("kTRC", "\xA8", "\x0E")   \
        TAG("wtpt", "\xB6", "\x14") TAG("desc", "\xCA", "\x0D") CURVE WHITE GPS
#define GPS_8 "GPS 40.7"
#define GPS_24 "GPS 40.7128 N, 74.0060 W"

static void test_of_a_profile_its_colours_stay(void **state)
{
    static const struct bytes CLEAN = BYTES(BEGIN ICC_CLEAN FRAME SCAN DATA END);
    static const struct bytes TOLD = BYTES(BEGIN ICC_TOLD FRAME SCAN DATA END);
    static const struct bytes TWICE = BYTES(BEGIN ICC_CLEAN ICC_CLEAN FRAME SCAN DATA END);
    static const struct bytes NONE = BYTES(BEGIN ICC_TEXT FRAME SCAN DATA END);
    static const struct bytes NONE_TO = BYTES(BEGIN FRAME SCAN DATA END);
    (void)state;
    becomes(&photo_jpeg, CLEAN, CLEAN);
    becomes(&photo_jpeg, TOLD, CLEAN);
    becomes(&photo_jpeg, TWICE, CLEAN);
    becomes(&photo_jpeg, NONE, NONE_TO);
}

#define HEAD_HUGE                                                                                  \
    "\0\0\0\x0DIHDR\000\000\377\377\000\000\377\377\001\000\000\000\000\236\176\344\375"
#define FRAME_HUGE "\xFF\xC0\0\x0B\x08\xFF\xFF\xFF\xFF\x01\x01\x11\0"

/* Half a megabyte that is four gigapixels in whatever shows it. */
static void test_a_bomb_is_refused(void **state)
{
    (void)state;
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN FRAME_HUGE SCAN DATA END), "any camera's");
    refused(&photo_png, (struct bytes)BYTES("\x89PNG\r\n\x1A\n" HEAD_HUGE), "any camera's");
}

static void test_no_picture_is_refused(void **state)
{
    (void)state;
    refused(&photo_jpeg, (struct bytes)BYTES(""), "does not begin");
    refused(&photo_jpeg, (struct bytes)BYTES("GIF89a"), "does not begin");
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN), "no segment begins");
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN END), "without a picture");
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN "\xFF"), "before a segment");
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN "\xFF\xE1\0"), "within a segment");
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN "\xFF\xE1\0\x01"), "longer than the file");
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN "\xFF\xE1\xFF\xFF" GPS), "longer than the file");
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN "\xFF\x02\0\x02" FRAME), "unknown segment");
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN SCAN DATA END), "size is not told");
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN FRAME FRAME SCAN DATA END), "second picture");
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN FRAME SCAN DATA), "ends within the picture");
    refused(&photo_jpeg, (struct bytes)BYTES(BEGIN FRAME SCAN DATA "\xFF"), "ends within");
}

/* ---- PNG: the checksums are zlib's ---- */

#define SIGNATURE "\x89PNG\r\n\x1A\n"
#define HEAD "\0\0\0\x0DIHDR\0\0\0\x01\0\0\0\x01\x08\0\0\0\0\x3A\x7E\x9B\x55"
#define IMAGE "\0\0\0\x0AIDAT\x78\x9C\x63\x60\0\0\0\x02\0\x01\x48\xAF\xA4\x71"
#define LAST "\0\0\0\0IEND\xAE\x42\x60\x82"
#define TEXT "\0\0\0\x03tEXta\0b\xDC\x49\xA2\x3B"

/* Made with zlib: of HEAD's one pixel, with bytes behind it, or packed with it, and so on. */
#define TAIL "\000\000\000\015IDATx\234c`\000\000\000\002\000\001GPS\033|\332\366"
#define MORE "\000\000\000\015IDATx\234c`p\017\010\006\000\001\315\000\353\011\042\377B"
#define SHORT "\000\000\000\011IDATx\234c\000\000\000\001\000\001^\377}\371"
#define CUT "\000\000\000\007IDATx\234c`\000\000\000\031\301i\316"
#define CLEAR "\000\000\000\002tRNS\000\000v\223\3158"
#define CLEAR_LONG "\000\000\000\006tRNSGPS 408\356\327y"
#define GAMMA "\000\000\000\004gAMA\000\000\261\217\013\374a\005"
#define GAMMA_LONG "\000\000\000\010gAMAGPS 40.71\272O\310"
#define SHADES "\000\000\000\003PLTEGPS\232v\373\205"
#define HEAD_COLOURS                                                                               \
    "\000\000\000\015IHDR\000\000\000\001\000\000\000\001\010\003\000\000\000(\3134\273"
#define COLOURS_LONG "\000\000\000\005PLTEGPSGP\371\021G%"
#define HEAD_WIDE                                                                                  \
    "\000\000\000\015IHDR\000 \000\000\000\000\000\001\010\000\000\000\000\315\215+\223"
#define HEAD_PASSES                                                                                \
    "\000\000\000\015IHDR\000\000\000\005\000\000\000\005\010\002\000\000\001u\012\201$"
#define PASSES "\000\000\000\014IDATx\234c`\240\005\000\000\000V\000\001:\007\346\376"

/* Chunks that a picture may have hold what they are for, once, and nothing beside it. */
static void test_nothing_hides_in_a_png(void **state)
{
    static const struct bytes PLAIN = BYTES(SIGNATURE HEAD GAMMA CLEAR IMAGE LAST);
    static const struct bytes TWICE = BYTES(SIGNATURE HEAD GAMMA GAMMA CLEAR CLEAR IMAGE LAST);
    static const struct bytes BARE = BYTES(SIGNATURE HEAD IMAGE LAST);
    static const struct bytes LONG =
        BYTES(SIGNATURE HEAD GAMMA_LONG CLEAR_LONG SHADES IMAGE GAMMA CLEAR LAST);
    static const struct bytes COLOURS = BYTES(SIGNATURE HEAD_COLOURS SHADES IMAGE LAST);
    static const struct bytes BY_PASSES = BYTES(SIGNATURE HEAD_PASSES PASSES LAST);
    (void)state;
    becomes(&photo_png, PLAIN, PLAIN);
    becomes(&photo_png, TWICE, PLAIN);
    becomes(&photo_png, LONG, BARE);
    becomes(&photo_png, COLOURS, COLOURS);
    becomes(&photo_png, BY_PASSES, BY_PASSES);
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD TAIL LAST), "not as long");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD MORE LAST), "not as long");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD SHORT LAST), "not as long");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD IMAGE IMAGE LAST), "not as long");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD CUT LAST), "not whole");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD_COLOURS COLOURS_LONG IMAGE LAST),
            "its palette");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD_WIDE IMAGE LAST), "its head");
}

static void test_of_a_png_stays_what_the_picture_needs(void **state)
{
    static const struct bytes PLAIN = BYTES(SIGNATURE HEAD IMAGE LAST);
    static const struct bytes TOLD = BYTES(SIGNATURE HEAD TEXT IMAGE TEXT LAST GPS);
    (void)state;
    becomes(&photo_png, PLAIN, PLAIN);
    becomes(&photo_png, TOLD, PLAIN);
}

static void test_no_png_is_refused(void **state)
{
    (void)state;
    refused(&photo_png, (struct bytes)BYTES(""), "does not begin");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE), "within a chunk");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE IMAGE LAST), "head is not first");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD HEAD IMAGE LAST), "or not one");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD LAST), "without a picture");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD IMAGE), "within a chunk");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD "\xFF\xFF\xFF\xFFtEXt" GPS GPS),
            "within a chunk");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD "\0\0\0\0teX1\0\0\0\0"), "no chunk");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD "\0\0\0\0tEXt\0\0\0\0"), "checksum");
    refused(&photo_png, (struct bytes)BYTES(SIGNATURE HEAD "\0\0\0\0QQQQ\0\0\0\0"), "not known");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_picture_stays_bit_by_bit),
        cmocka_unit_test(test_which_way_is_up_stays),
        cmocka_unit_test(test_a_bomb_is_refused),
        cmocka_unit_test(test_nothing_hides_in_tables),
        cmocka_unit_test(test_of_a_profile_its_colours_stay),
        cmocka_unit_test(test_no_picture_is_refused),
        cmocka_unit_test(test_of_a_png_stays_what_the_picture_needs),
        cmocka_unit_test(test_nothing_hides_in_a_png),
        cmocka_unit_test(test_no_png_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
