/* Files of attachments on this machine. */
#ifndef ODDLOAF_CLIENT_COMMANDS_ATTACHED_FILE_H
#define ODDLOAF_CLIENT_COMMANDS_ATTACHED_FILE_H

#include "deliver/client.h"

/* Where an export has one: FOLDERattachments/N; the folder ends in a slash. */
void attached_file_path(const char *folder, int64_t id, struct text_buffer *ret);
/* Writes it to a new file, readable by its owner only; nothing is left of one that is not whole.
 * Returns an exit code. */
int attached_file_fetch(const struct client *c, int64_t id, const char *path);

#endif
