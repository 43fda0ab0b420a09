/* An answer that is no JSON, into a file. */
#ifndef ODDLOAF_CLIENT_COMMANDS_SAVE_PAGE_H
#define ODDLOAF_CLIENT_COMMANDS_SAVE_PAGE_H

#include "deliver/client.h"

/* GET `path` into `file` ("-": standard output), and says so. Returns an exit code. */
int save_page(const struct client *c, const char *path, const char *file);

#endif
