/* A plant's own table made rows of ours: CSV in, by a map, JSON lines as the importer takes them
 * out. Each row comes out on the line where it began, so that whoever refuses it names the file's
 * line; one that can't be read comes out as {"refused":[{"column","value","reason"}]}, in the
 * file's words. */
#ifndef ODDLOAF_TABLES_TABLE_ROWS_H
#define ODDLOAF_TABLES_TABLE_ROWS_H

#include "base/text.h"
#include "base/when.h"
#include "tables/column_map.h"

struct table_rows;

/* One kind of the map; `tz` is the plant's zone, where the map names none, NULL UTC. Both are
 * borrowed. */
struct table_rows *table_rows_new(const struct column_map *map, int part, const struct tz *tz);
void table_rows_free(struct table_rows *t); /* NULL is fine */
/* Bytes of the file, cut anywhere; what comes of them is appended to `out`. */
void table_rows_feed(struct table_rows *t, const char *bytes, size_t length,
                     struct text_buffer *out);
void table_rows_finish(struct table_rows *t, struct text_buffer *out);
/* Columns of the file that nothing is made of, comma-separated; "" if there are none. */
const char *table_rows_unused(const struct table_rows *t);

#endif
