/* Copies of the database: each is checked whole, attached files too, and on disk before it has its
 * name; the name is, too, before a copy is said to be made. Those without a place of their own live
 * in the state's folder of backups.
 */
#ifndef ODDLOAF_STORE_BACKUP_H
#define ODDLOAF_STORE_BACKUP_H

#include "store/store.h"

/* STATE/backups, made if it is not there and can be. */
char *backup_folder(const char *state_dir); /* malloc'd */
/* Where a copy that somebody named goes: a bare name into the folder of backups, an absolute path
 * there. ERROR_INVALID for any other. *ret_path malloc'd. */
int backup_place(const char *state_dir, const char *named, char **ret_path, struct error *err);

/* Online copy to `path`. ERROR_CONFLICT if that is there; ERROR_INVALID if it may not be written,
 * or lies in the state's folder beside `backups`;
 * ERROR_INTERNAL with the first finding, and no file, if the database is damaged. */
int backup_make(struct store *store, const char *path, struct error *err);
/* Removes from the folder of backups what copies that were killed left there: no contact data stays
 * in them. Only while nobody else makes one: the state is the caller's. */
void backup_drop_partial(const char *state_dir);
/* One by the clock: into the folder of backups, named by the time. It stays, and of those so named
 * the `keep` that are latest by their names. *ret_path malloc'd. */
int backup_make_dated(struct store *store, const char *state_dir, int keep, int64_t now_ms,
                      char **ret_path, struct error *err);

#endif
