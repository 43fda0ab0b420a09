/* One file of an inbox, taken: which kind of record it is, by a map or by its name, read as CSV, a
 * sheet or JSON lines, and loaded. Loading the same again changes nothing, so that whoever was cut
 * off begins anew. */
#ifndef ODDLOAF_RECORDS_INBOX_FILE_H
#define ODDLOAF_RECORDS_INBOX_FILE_H

#include "base/doc.h"
#include "records/load.h"
#include <sys/stat.h>

struct tz;

/* All borrowed. */
struct inbox_file {
    const char *name;       /* without its folder */
    const char *maps;       /* folder of maps, "" none */
    int fd;                 /* read from its start */
    const struct stat *was; /* it is not taken if it changed meanwhile */
    bool keep_good;
    const struct catalogue *catalogue;
    const struct tz *tz;
    const char *state_dir;
    const struct clock *clock;
    struct store *read_store;
    struct writer *writer;
};

/* The order in which files that came together are taken: products before lots, lots before what
 * belongs to them. */
int inbox_file_order(const char *name, const char *maps);
/* *ret_loads is a list of answers as load_finish() gives them, in words of the file, each with all
 * that was refused; *ret_refused: something was. An error that is ours (error_is_ours(), ERROR_BUSY
 * if the file changed): later; another: the file can't be taken. */
int inbox_file_take(const struct inbox_file *file, json_t **ret_loads, bool *ret_refused,
                    struct error *err);
/* Reads every map of the folder and tells its faults. Returns how many. */
int inbox_file_check(const char *maps, const struct catalogue *catalogue, doc_report report,
                     void *arg);

#endif
