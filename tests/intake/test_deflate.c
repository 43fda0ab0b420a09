/* Packed bytes are measured as zlib packed them; what is cut or changed is broken, or ends
 * elsewhere. */
#include "check.h"
#include "intake/deflate.h"
#include <string.h>

static const struct {
    const char *name, *bytes;
    size_t length;
    uint64_t unpacked;
} PACKED[] = {
    {"stored",
     "x\001\001(\000\327\377\354\260\265\200\3547\274\227\022\335.j\256\271K\256\215/"
     "\237\242\234Z(L\236\367R\030)\317\020y\260\200\351\327J\034\020\374\272\030\024x",
     51, 40},
    {"fixed",
     "x\001KJLW\310\311\314K\205\020I@^n~N\212B~J~\221BN~b\032\204\213\304\002)"
     "\203\312\002\000\207X\025X",
     42, 60},
    {"dynamic",
     "x\332mPA\012\3000\010\373\212_k\3516\012n\302\376\177\330\254`\252x\250hM\242\261\267\213x>"
     "\207\205\376W\267\360 "
     "\031\362\022K;\255\3342\205\241\2732gi\222H\006]"
     "\003PF\210\262\364\241\007\000P9\370\316\256\221\020\230\134-"
     "\016\021t\375\004\321P\001\332\304\242\265\354\257\030\357\302\340\307+"
     "\002\025\255\371\327\007u\253\2321",
     108, 436},
    {"long runs",
     "x\332\355\301\001\015\000\000\000\302\240\367Om\017\007\024\000\000\000\000\000\000\000\000"
     "\374\033#(\000\001",
     31, 9000},
};

static bool measure(const char *bytes, size_t length, size_t *used, uint64_t *unpacked)
{
    return deflate_measure((const unsigned char *)bytes, length, used, unpacked);
}

static void as_it_was_packed(void **state)
{
    size_t used;
    uint64_t unpacked;
    char more[1024];
    (void)state;
    for (size_t i = 0; i < COUNT_OF(PACKED); i++) {
        assert_true(measure(PACKED[i].bytes, PACKED[i].length, &used, &unpacked));
        assert_int_equal(used, PACKED[i].length);
        assert_int_equal(unpacked, PACKED[i].unpacked);
        memcpy(more, PACKED[i].bytes, PACKED[i].length);
        memcpy(more + PACKED[i].length, "more", 4);
        assert_true(measure(more, PACKED[i].length + 4, &used, &unpacked));
        assert_int_equal(used, PACKED[i].length);
    }
}

static void a_part_is_not_whole(void **state)
{
    size_t used;
    uint64_t unpacked;
    (void)state;
    for (size_t i = 0; i < COUNT_OF(PACKED); i++)
        for (size_t length = 0; length < PACKED[i].length; length++)
            assert_false(measure(PACKED[i].bytes, length, &used, &unpacked));
}

static void what_is_none(void **state)
{
    static const struct {
        const char *bytes;
        size_t length;
    } NONE[] = {
        {"\x78\x9D\x63\x60\0\0\0\x02\0\x01", 10},     /* the head's own check */
        {"\x77\x09\x63\x60\0\0\0\x02\0\x01", 10},     /* packed in another way */
        {"\x78\xBB\x63\x60\0\0\0\x02\0\x01", 10},     /* asks for a dictionary */
        {"\x78\x9C\x07\0\0\0\0\0\0\0", 10},           /* no kind of block */
        {"\x78\x9C\x01\x01\0\xFF\xFF\0\0\0\0\0", 12}, /* a length and not its inverse */
        {"\x78\x9C\xFD\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF\xFF", 14}, /* too many codes */
    };
    size_t used;
    uint64_t unpacked;
    (void)state;
    for (size_t i = 0; i < COUNT_OF(NONE); i++)
        assert_false(measure(NONE[i].bytes, NONE[i].length, &used, &unpacked));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(as_it_was_packed),
        cmocka_unit_test(a_part_is_not_whole),
        cmocka_unit_test(what_is_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
