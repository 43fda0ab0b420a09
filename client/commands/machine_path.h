/* Files of the daemon's machine, as its own commands name them. */
#ifndef ODDLOAF_CLIENT_COMMANDS_MACHINE_PATH_H
#define ODDLOAF_CLIENT_COMMANDS_MACHINE_PATH_H

#include "deliver/client.h"

/* The body {name: file}: a bare name is for the daemon to place, into its folder of backups; one
 * with a folder is told whole. NULL after a message: it cannot be told. */
json_t *machine_path_body(const struct client *c, const char *name, const char *file);

#endif
