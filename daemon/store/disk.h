/* Files that must outlive a power cut: written, synced, then named. Inside store/ only. */
#ifndef ODDLOAF_STORE_DISK_H
#define ODDLOAF_STORE_DISK_H

#include "base/error.h"
#include <stdint.h>

enum { DISK_STAMP = 17 };

int disk_sync(const char *path, struct error *err); /* of a file or a folder */
int disk_sync_folder_of(const char *path, struct error *err);
/* A file's bytes, into a new file, synced; on failure some of it may be there. */
int disk_copy(const char *from, const char *to, struct error *err);
/* 20261120T141400Z: sorts by time, and is a name on every file system. Returns `out`. */
char *disk_stamp(int64_t at_ms, char out[static DISK_STAMP]);

#endif
