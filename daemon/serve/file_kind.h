/* What kind of file bytes are, whatever they are called (libmagic), and whether it may be attached.
 */
#ifndef ODDLOAF_SERVE_FILE_KIND_H
#define ODDLOAF_SERVE_FILE_KIND_H

#include "base/error.h"
#include "base/text.h"

enum { FILE_KIND = 32 };

/* Of JPEG and PNG what tells of place and owner is left out (intake/photo.h), and what is replaced
 * in `bytes`; *ret_removed counts it. Text must be whole UTF-8 without control characters. `name`
 * only tells CSV from other text. ERROR_INVALID: not one of the kinds, or it cannot be read whole;
 * ERROR_INTERNAL if libmagic has no table. */
int file_kind_take(struct text_buffer *bytes, const char *name, char ret_type[static FILE_KIND],
                   size_t *ret_removed, struct error *err);

#endif
