/* Who has the bread, and is asked about it: nobody is on the line for a return. */
#ifndef ODDLOAF_INTAKE_WHOM_H
#define ODDLOAF_INTAKE_WHOM_H

/* "the caller", "the store", "the driver", "who has the bread": by how the complaint came. NULL,
 * and a channel that is none, are callers. */
const char *whom_to_ask(const char *channel);

#endif
