/* Input: a photo. What is made of it is whole, smaller or hardly larger, and made again of itself.
 */
#include "base/text.h"
#include "fuzz.h"
#include "intake/photo.h"
#include <string.h>

static void check(const struct photo_format *format, const uint8_t *data, size_t size)
{
    enum { ORIENTATION = 38 }; /* a segment made anew */
    struct text_buffer once = {0}, twice = {0};
    struct error err = {0};
    size_t removed = 0;
    text_append_bytes(&once, data, size);
    int rc = photo_clean(format, &once, &removed, &err);
    PROMISE((rc == 0) == (err.code == 0) && (rc == 0 || once.length == size));
    if (rc == 0) {
        PROMISE(once.length <= size + ORIENTATION && removed <= size);
        text_append_bytes(&twice, once.data, once.length);
        PROMISE(photo_clean(format, &twice, &removed, &err) == 0);
        PROMISE(removed == 0 && twice.length == once.length);
        PROMISE(memcmp(once.data, twice.data, once.length) == 0);
    }
    text_buffer_free(&once);
    text_buffer_free(&twice);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    check(&photo_jpeg, data, size);
    check(&photo_png, data, size);
    return 0;
}
