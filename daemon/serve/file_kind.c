#include "serve/file_kind.h"
#include "intake/photo.h"
#include <magic.h>
#include <string.h>

/* ---- each kind ---- */

/* A report is kept as it came: what it says of its author is its author's. */
static int check_pdf(const struct text_buffer *bytes, struct error *err)
{
    enum { TAIL = 1024 };
    size_t from = bytes->length > TAIL ? bytes->length - TAIL : 0;
    if (bytes->length > 8 && memcmp(bytes->data, "%PDF-", 5) == 0 &&
        memmem(bytes->data + from, bytes->length - from, "%%EOF", 5))
        return 0;
    return error_set(err, ERROR_INVALID,
                     "cannot be read as a PDF: it does not begin or end as one");
}

static int check_text(const struct text_buffer *bytes, struct error *err)
{
    bool good = text_is_utf8(bytes->data, bytes->length);
    for (size_t i = 0; good && i < bytes->length; i++) {
        unsigned char c = (unsigned char)bytes->data[i];
        good = (c >= ' ' && c != 127) || c == '\t' || c == '\n' || c == '\r';
    }
    return good
               ? 0
               : error_set(err, ERROR_INVALID, "is text, but not UTF-8 without control characters");
}

/* Of each either how it is cleaned as a photo, or what looks whether it is whole. */
static const struct kind {
    const char *found, *type;
    const struct photo_format *photo;
    int (*check)(const struct text_buffer *bytes, struct error *err);
} KINDS[] = {{"image/jpeg", "image/jpeg", &photo_jpeg, NULL},
             {"image/png", "image/png", &photo_png, NULL},
             {"application/pdf", "application/pdf", NULL, check_pdf},
             {"text/plain", "text/plain", NULL, check_text},
             {"text/csv", "text/csv", NULL, check_text},
             {"application/csv", "text/csv", NULL, check_text}};

/* ---- which ---- */

/* Nothing is unpacked, and no other table is looked into than that of kinds. */
static int look(const struct text_buffer *bytes, char *out, size_t size, struct error *err)
{
    magic_t magic = magic_open(MAGIC_MIME_TYPE | MAGIC_NO_CHECK_COMPRESS | MAGIC_NO_CHECK_TAR |
                               MAGIC_NO_CHECK_ELF | MAGIC_NO_CHECK_CDF);
    const char *found = NULL;
    if (magic && magic_load(magic, NULL) == 0)
        found = magic_buffer(magic, bytes->data ? bytes->data : "", bytes->length);
    int rc = 0;
    if (found) {
        text_clip(found, out, size);
    } else {
        rc = error_set(err, ERROR_INTERNAL, "what kind of file it is cannot be looked up: %s",
                       magic ? magic_error(magic) : "no memory");
        error_hint(err, "is the table of kinds installed? Debian's package is libmagic-mgc");
    }
    if (magic)
        magic_close(magic);
    return rc;
}

static bool is_called_csv(const char *name)
{
    size_t length = strlen(name);
    return length > 4 && text_equal_fold(name + length - 4, ".csv");
}

int file_kind_take(struct text_buffer *bytes, const char *name, char ret_type[static FILE_KIND],
                   size_t *ret_removed, struct error *err)
{
    char found[80];
    *ret_removed = 0;
    int rc = look(bytes, found, sizeof found, err);
    for (size_t i = 0; i < sizeof KINDS / sizeof *KINDS && !rc; i++) {
        if (strcmp(KINDS[i].found, found) != 0)
            continue;
        bool csv = strcmp(found, "text/plain") == 0 && is_called_csv(name);
        text_clip(csv ? "text/csv" : KINDS[i].type, ret_type, FILE_KIND);
        return KINDS[i].photo ? photo_clean(KINDS[i].photo, bytes, ret_removed, err)
                              : KINDS[i].check(bytes, err);
    }
    if (rc)
        return rc;
    error_set(err, ERROR_INVALID,
              "is %s, whatever it is called; JPEG, PNG, PDF, text and CSV may be"
              " attached",
              found);
    return ERROR_INVALID;
}
