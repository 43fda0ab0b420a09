/* A backup in the place of the state (store/restore.h), told to the log and to who asked. */
#ifndef ODDLOAF_SERVE_RESTORING_H
#define ODDLOAF_SERVE_RESTORING_H

#include "base/log.h"
#include "store/restore.h"
#include <stdio.h>

/* With the daemon stopped, as the user that the state belongs to. Logs what became of it. `file`: a
 * bare name is looked for in the state's folder of backups. */
int restoring_run(const struct log *log, const char *state_dir, const char *file,
                  struct restored *ret, struct error *err);
void restoring_print(const struct restored *restored, FILE *out);

#endif
