#include "serve/restoring.h"
#include "base/when.h"
#include "store/backup.h"
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Files of root's are no use to the daemon's own user. */
static int check_user(const char *state_dir, struct error *err)
{
    struct stat st;
    if (geteuid() != 0 || stat(state_dir, &st) || st.st_uid == 0)
        return 0;
    error_hint(err, "run it as that user: runuser -u oddloaf -- oddloafd --restore FILE");
    return error_set(err, ERROR_DENIED, "%s belongs to user number %ld", state_dir,
                     (long)st.st_uid);
}

/* Files of this folder go by their bare names, unless one lies where it is run. */
static int find(const char *state_dir, const char *file, char **ret, struct error *err)
{
    char *here = access(file, F_OK) == 0 ? realpath(file, NULL) : NULL;
    if (!here)
        return backup_place(state_dir, file, ret, err);
    *ret = here;
    return 0;
}

int restoring_run(const struct log *log, const char *state_dir, const char *file,
                  struct restored *ret, struct error *err)
{
    char text[1024], *path = NULL;
    struct clock clock = clock_system();
    int rc = check_user(state_dir, err);
    if (!rc)
        rc = find(state_dir, file, &path, err);
    if (!rc)
        rc = restore_make(state_dir, path, clock_now_ms(&clock), ret, err);
    free(path);
    if (rc) {
        log_write(log, LOG_LEVEL_ERROR, "nothing was restored: %s",
                  error_format(err, text, sizeof text));
        return rc;
    }
    log_write(log, LOG_LEVEL_WARNING,
              "restored file=%s kept=%s erased_again=%d mails_held=%d complaints_missing=%lld",
              ret->file, ret->kept, ret->erased, ret->held_mails, (long long)ret->missing);
    if (!ret->past_read)
        log_write(log, LOG_LEVEL_ERROR,
                  "of the replaced state nothing could be read (%s): look at oddloaf outbox",
                  ret->past_fault);
    return 0;
}

void restoring_print(const struct restored *r, FILE *out)
{
    fprintf(out, "Restored from %s.\n", r->file);
    fprintf(out, "What was there is kept in %s; `oddloafd --restore %s/oddloaf.db` goes back.\n",
            r->kept, r->kept);
    fprintf(out, "Contacts that had been erased since, erased again: %d.\n", r->erased);
    fprintf(out, "Mails held back, sent already or stale: %d; oddloaf outbox shows them.\n",
            r->held_mails);
    if (!r->past_read)
        fprintf(out, "Nothing could be read of what was there (%s).\n", r->past_fault);
    else
        fprintf(out, "Complaints that came after the backup, in what is kept only: %lld.\n",
                (long long)r->missing);
}
