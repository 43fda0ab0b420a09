#include "intake/photo_reading.h"

int photo_refuse(struct photo_reading *r, const char *why)
{
    return error_set(r->err, ERROR_INVALID, "cannot be read as a %s picture: %s at byte %zu",
                     r->format->name, why, r->at);
}

int photo_clean(const struct photo_format *format, struct text_buffer *bytes, size_t *ret_removed,
                struct error *err)
{
    struct photo_reading r = {.format = format,
                              .bytes = (const unsigned char *)bytes->data,
                              .length = bytes->length,
                              .err = err};
    int rc = format->read(&r);
    if (rc) {
        text_buffer_free(&r.out);
        return rc;
    }
    *ret_removed = r.length > r.out.length ? r.length - r.out.length : 0;
    text_buffer_free(bytes);
    *bytes = r.out;
    return 0;
}
