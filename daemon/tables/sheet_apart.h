/* Reading a sheet in a process of its own: libraries for zip and XML meet a file from anywhere, so
 * they run where nothing is to be had. The program runs itself anew (so nothing of its memory goes
 * along), which then may open no file and no socket, write no file, start nothing, does not outlive
 * who asked, and has twenty seconds of the processor. What it reads is the file on its standard
 * input, what it tells is CSV. */
#ifndef ODDLOAF_TABLES_SHEET_APART_H
#define ODDLOAF_TABLES_SHEET_APART_H

#include "tables/sheet.h"
#include <stdbool.h>

/* First in main(): whether this is such a process. Then sheet_apart_main() is all it does: it ends
 * the process. */
bool sheet_apart_asked(char *const argv[]);
_Noreturn void sheet_apart_main(char *const argv[]);

struct sheet_apart;

/* `fd` is an open file, read from its start; borrowed until this returns. */
int sheet_apart_start(int fd, const struct sheet_options *options, struct sheet_apart **ret,
                      struct error *err);
/* Up to `size` bytes of CSV; 0 at the end. What is wrong with the file is told at its end at the
 * latest. */
int sheet_apart_read(struct sheet_apart *apart, char *buffer, size_t size, size_t *ret_length,
                     struct error *err);
void sheet_apart_free(struct sheet_apart *apart); /* ends the process. NULL is fine */

#endif
