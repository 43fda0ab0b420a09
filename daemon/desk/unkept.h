/* What is said of harm by what was refused or could not be kept, as by a full disk: nothing of it
 * is on record and no mail about it leaves, so a person must speak. */
#ifndef ODDLOAF_DESK_UNKEPT_H
#define ODDLOAF_DESK_UNKEPT_H

#include "desk/taking.h"

/* {"harm"?,"harm_possible"?,"script"?,"alarm"?,"hint"?}, members of a problem document; an empty
 * object if nothing is said. "hint": what is longer than is read says nothing so far. New
 * references. */
json_t *unkept_takings(const struct desk *desk, const struct taking *taking, size_t count);
/* Of a request's body of any route, read as far as UNKEPT_READ bytes, in time that grows with them:
 * JSON, lines of it, or what should have been that. Notes and reasons are read as a complaint's
 * note is, a laboratory's results ("quantity" and "value") as those that are kept; of a name or a
 * code what says harm in a sentence. */
enum { UNKEPT_READ = 1 << 16 };
json_t *unkept_body(const struct desk *desk, const char *bytes, size_t length);
/* Of a file that was not attached, added to what its request says (`answer`, a new object or one of
 * unkept_body()): its name (NULL: it has none yet), and its text, as far as UNKEPT_READ bytes, in
 * whatever letters, if it is any. */
struct unkept_file {
    const char *name, *bytes;
    size_t length;
};
void unkept_file(const struct desk *desk, const struct unkept_file *file, json_t *answer);

#endif
