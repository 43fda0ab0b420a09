/* The inbox as a folder: what of it may be taken, and where what was taken goes, done/ or refused/
 * with a report beside it. Knows nothing of what stands in the files. */
#ifndef ODDLOAF_SERVE_INBOX_FOLDER_H
#define ODDLOAF_SERVE_INBOX_FOLDER_H

#include "base/error.h"
#include "base/text.h"
#include "base/when.h"
#include <dirent.h>
#include <sys/stat.h>

enum { INBOX_FOLDER_NAME = 200, INBOX_FOLDER_AWAY = INBOX_FOLDER_NAME + 40 }; /* bytes */
#define INBOX_FOLDER_REPORT ".report.txt"

/* Open folders; -1 not. */
struct inbox_folder {
    int at, done, refused;
};
#define INBOX_FOLDER_CLOSED                                                                        \
    {                                                                                              \
        -1, -1, -1                                                                                 \
    }

/* Opens the folder and makes what is missing below it. What was opened is closed by
 * inbox_folder_close(), after an error, too. */
int inbox_folder_open(const char *path, struct inbox_folder *ret, struct error *err);
void inbox_folder_close(struct inbox_folder *folder);
/* What is in one of them, to be closed; NULL with errno. */
DIR *inbox_folder_list(int fd);
int inbox_folder_refused(const struct inbox_folder *folder); /* files that lie there */

/* Names of what is still being written, by whoever writes it, and our own. */
bool inbox_folder_passes_over(const char *name);
/* NULL: a name that a report, a mail and a row can hold; else what is wrong with it. */
const char *inbox_folder_name_fault(const char *name);

/* "20261121-091400-lots.csv", or with a number where that is there already; a name that `away`
 * holds and that is free stays. */
void inbox_folder_name_away(int fd, const char *name, const struct civil *now,
                            char away[static INBOX_FOLDER_AWAY]);
/* Writes the report, then moves the file if it is still the one of `st`. 0, or errno; of a file
 * that stays no report is left. */
int inbox_folder_move(const struct inbox_folder *folder, bool refused, const char *name,
                      const struct stat *st, const char *away, const struct text_buffer *report);

#endif
