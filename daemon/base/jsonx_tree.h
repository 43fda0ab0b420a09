/* Inside jsonx: a tree of plain JSON made in one pass. Jansson's own reader looks at each byte in
 * several ways, which is most of what a start and a report's text cost; this one reads only what it
 * takes without doubt and leaves all else, errors too, to Jansson. */
#ifndef ODDLOAF_BASE_JSONX_TREE_H
#define ODDLOAF_BASE_JSONX_TREE_H

#include <jansson.h>
#include <stddef.h>

/* Of text that is UTF-8 without NUL. The same tree as Jansson's, a new reference, or NULL: it is no
 * strict JSON, is nested deeper than JSONX_DEPTH, or has what is left to Jansson (\u, numbers of
 * more digits than a double has or far from one). */
json_t *jsonx_tree(const char *bytes, size_t length);

#endif
