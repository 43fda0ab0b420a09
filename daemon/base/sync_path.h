/* That what was written is on disk: a file's bytes, or a folder's names. */
#ifndef ODDLOAF_BASE_SYNC_PATH_H
#define ODDLOAF_BASE_SYNC_PATH_H

/* Of a file or a folder. 0, or -1 with errno. */
int sync_path(const char *path);
/* Of the folder that it stands in. */
int sync_path_folder_of(const char *path);

#endif
