/* The files a database stands on, as its one writer left them: the database itself, its write-ahead
 * log and that one's index. SQLite goes on writing to a file that somebody unlinked, and what it
 * writes is gone when the process ends; so the writer looks before it trusts. */
#ifndef ODDLOAF_STORE_FILES_H
#define ODDLOAF_STORE_FILES_H

#include "base/error.h"
#include <stdbool.h>
#include <sys/types.h>

enum { FILES_COUNT = 3 };

struct files {
    struct {
        bool known;
        dev_t device;
        ino_t inode;
        off_t bytes;
    } of[FILES_COUNT];
};

/* Remembers which files stand at `path` now and how long they are. The database itself never
 * becomes shorter: of it the largest length ever noted counts. The log is `log_bytes` long at
 * least, as its writer knows: somebody may have cut it since. */
void files_note(struct files *files, const char *path, off_t log_bytes);
/* ERROR_LOST, with the file and what became of it, if one that was noted is another now, none, or
 * (`lengths`: nobody wrote since the note) shorter. */
int files_check(const struct files *files, const char *path, bool lengths, struct error *err);

#endif
