#include "tables/sheet_part.h"
#include "base/text.h"
#include <expat.h>
#include <stdlib.h>
#include <string.h>
#include <zip.h>

enum { CHUNK = 64 << 10, DEPTH = 64, PARTS = 10000 };
/* All parts together, unpacked: a sheet of a million rows and ten columns is some 400 MB of XML.
 * Sheets pack to a tenth or a fiftieth; what packs to less than a two-hundredth is made to fill
 * memory. */
static const int64_t UNPACKED_BYTES = INT64_C(1) << 30, UNPACKED_ANYWAY = INT64_C(16) << 20;
enum { UNPACKED_TIMES = 200 };

struct sheet_zip {
    zip_t *zip;
    int64_t unpacked, most;
};

int sheet_part_open(const void *bytes, size_t length, struct sheet_zip **ret, struct error *err)
{
    static const unsigned char OLD[] = {0xD0, 0xCF, 0x11, 0xE0};
    zip_error_t why;
    zip_error_init(&why);
    if (length >= sizeof OLD && memcmp(bytes, OLD, sizeof OLD) == 0) {
        error_hint(err, "save it as .xlsx, without a password");
        return error_set(err, ERROR_INVALID, "is a workbook of the old form, or has a password");
    }
    zip_source_t *source = zip_source_buffer_create(bytes, length, 0, &why);
    zip_t *zip = source ? zip_open_from_source(source, ZIP_RDONLY, &why) : NULL;
    int rc = 0;
    if (!zip)
        rc = error_set(err, ERROR_INVALID, "is no .xlsx file: %s", zip_error_strerror(&why));
    if (!zip && source)
        zip_source_free(source);
    zip_error_fini(&why);
    if (rc)
        return rc;
    if (zip_get_num_entries(zip, 0) > PARTS) {
        zip_discard(zip);
        return error_set(err, ERROR_TOO_LARGE, "has more than %d parts", PARTS);
    }
    *ret = xcalloc(1, sizeof **ret);
    (*ret)->zip = zip;
    (*ret)->most = UNPACKED_ANYWAY + (int64_t)length * UNPACKED_TIMES;
    if ((*ret)->most > UNPACKED_BYTES)
        (*ret)->most = UNPACKED_BYTES;
    return 0;
}

void sheet_part_close(struct sheet_zip *z)
{
    if (z)
        zip_discard(z->zip);
    free(z);
}

/* ---- XML ---- */

struct walk {
    const struct sheet_reader *reader;
    XML_Parser parser;
    int depth, rc;
    struct error *err;
};

static const char *local(const char *name)
{
    const char *bar = strrchr(name, '|');
    return bar ? bar + 1 : name;
}

static void stop(struct walk *w, int rc)
{
    if (rc && !w->rc) {
        w->rc = rc;
        XML_StopParser(w->parser, XML_FALSE);
    }
}

static void XMLCALL on_start(void *arg, const char *name, const char **attributes)
{
    struct walk *w = arg;
    if (w->rc)
        return;
    if (++w->depth > DEPTH)
        stop(w, error_set(w->err, ERROR_TOO_LARGE, "is nested deeper than %d", DEPTH));
    else
        stop(w, w->reader->start(w->reader->arg, local(name), attributes, w->err));
}

static void XMLCALL on_end(void *arg, const char *name)
{
    struct walk *w = arg;
    w->depth--;
    if (!w->rc && w->reader->end)
        stop(w, w->reader->end(w->reader->arg, local(name), w->err));
}

static void XMLCALL on_text(void *arg, const char *text, int length)
{
    struct walk *w = arg;
    if (!w->rc && w->reader->text && length > 0)
        stop(w, w->reader->text(w->reader->arg, text, (size_t)length, w->err));
}

static void XMLCALL on_doctype(void *arg, const char *name, const char *system, const char *public,
                               int internal)
{
    struct walk *w = arg;
    (void)name;
    (void)system;
    (void)public;
    (void)internal;
    stop(w, error_set(w->err, ERROR_INVALID, "has a document type: no spreadsheet writes one"));
}

/* One chunk; *ret_more is false at the end. */
static int feed(struct sheet_zip *z, zip_file_t *file, struct walk *w, const char *name,
                bool *ret_more)
{
    void *buffer = XML_GetBuffer(w->parser, CHUNK);
    if (!buffer)
        return error_set(w->err, ERROR_MEMORY, "no memory for its XML");
    zip_int64_t length = zip_fread(file, buffer, CHUNK);
    if (length < 0)
        return error_set(w->err, ERROR_INVALID, "its part %.80s cannot be unpacked", name);
    *ret_more = length > 0;
    z->unpacked += length;
    if (z->unpacked > z->most)
        return error_set(w->err, ERROR_TOO_LARGE, "unpacks to more than %d MiB",
                         (int)(z->most >> 20));
    enum XML_Status status = XML_ParseBuffer(w->parser, (int)length, length == 0);
    if (w->rc || status == XML_STATUS_OK)
        return w->rc;
    return error_set(w->err, ERROR_INVALID, "its part %.80s is broken at line %lu: %s", name,
                     (unsigned long)XML_GetCurrentLineNumber(w->parser),
                     XML_ErrorString(XML_GetErrorCode(w->parser)));
}

int sheet_part_read(struct sheet_zip *z, const char *name, const struct sheet_reader *reader,
                    struct error *err)
{
    zip_int64_t at = zip_name_locate(z->zip, name, ZIP_FL_NOCASE);
    zip_file_t *file = at < 0 ? NULL : zip_fopen_index(z->zip, (zip_uint64_t)at, 0);
    if (!file)
        return error_set(err, at < 0 ? ERROR_NOT_FOUND : ERROR_INVALID, "its part %.80s %s", name,
                         at < 0 ? "is missing" : "cannot be unpacked");
    struct walk w = {.reader = reader, .err = err, .parser = XML_ParserCreateNS(NULL, '|')};
    int rc = w.parser ? 0 : error_set(err, ERROR_MEMORY, "no memory for its XML");
    if (!rc) {
        XML_SetUserData(w.parser, &w);
        XML_SetElementHandler(w.parser, on_start, on_end);
        XML_SetCharacterDataHandler(w.parser, on_text);
        XML_SetStartDoctypeDeclHandler(w.parser, on_doctype);
        for (bool more = true; !rc && more;)
            rc = feed(z, file, &w, name, &more);
        XML_ParserFree(w.parser);
    }
    zip_fclose(file);
    return rc;
}

const char *sheet_part_attribute(const char **attributes, const char *name)
{
    for (; attributes[0]; attributes += 2)
        if (strcmp(local(attributes[0]), name) == 0)
            return attributes[1];
    return NULL;
}
