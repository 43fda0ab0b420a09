/* Commands about a file of the daemon's machine. */
#ifndef ODDLOAF_CLIENT_COMMANDS_MACHINE_PATH_H
#define ODDLOAF_CLIENT_COMMANDS_MACHINE_PATH_H

#include "deliver/client.h"

enum { MACHINE_PATH_PATIENCE_S = 3600 /* a large database is copied, and read whole */ };

/* Posts {member: file} to `path` and hands the answer to `told`, whose exit status it returns. A
 * bare name is for the daemon to place, into its folder of backups; one with a folder is told
 * whole. EXIT_USAGE after a message: the file's name cannot be told. */
int machine_path_post(struct client *c, const char *path, const char *member, const char *file,
                      int (*told)(const struct client *c, const json_t *answer));

#endif
