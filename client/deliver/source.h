/* A file or standard input, read once from start to end with a look at its first bytes. A sheet
 * (.xlsx) is read as the CSV it is (tables/sheet.h). */
#ifndef ODDLOAF_CLIENT_DELIVER_SOURCE_H
#define ODDLOAF_CLIENT_DELIVER_SOURCE_H

#include "base/error.h"
#include "tables/sheet.h"
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct source;

/* "-" is standard input, named "stdin" in messages. ERROR_NOT_FOUND or ERROR_IO. */
int source_open(const char *path, struct source **ret, struct error *err);
/* The same, of a file that may be a sheet: which one, and how its numbers are written.
 * ERROR_INVALID for a sheet on standard input. */
int source_open_sheet(const char *path, const struct sheet_options *sheet, struct source **ret,
                      struct error *err);
void source_close(struct source *s);
const char *source_name(const struct source *s);
/* Size in bytes if it is a plain file, else 0. */
int64_t source_size(const struct source *s);
bool source_is_sheet(const struct source *s);
/* True if the name or the first byte that is not blank says JSON lines rather than CSV. */
bool source_is_ndjson(const struct source *s);
/* Up to `size` bytes, fewer only at the end (of a sheet, anywhere), 0 at the end. A byte order mark
 * is left out. ERROR_IO with the source named. */
int source_read(struct source *s, char *buffer, size_t size, size_t *ret_length, struct error *err);
/* First in main(): if this is the process that reads a sheet for another (tables/sheet_apart.h), it
 * does, and ends. */
void source_read_apart(char *const argv[]);

#endif
