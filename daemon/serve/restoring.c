#include "serve/restoring.h"
#include "base/text.h"
#include "base/when.h"
#include "store/backup.h"
#include "store/place.h"
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

static void append_missing(struct text_buffer *out, const struct restored *r)
{
    const size_t before = out->length;
    for (size_t i = 0; r->past_read && i < RESTORE_KINDS; i++) {
        if (r->missing[i].count > 0)
            text_appendf(out, "%s%s %lld", out->length > before ? ", " : "", r->missing[i].what,
                         (long long)r->missing[i].count);
    }
    if (out->length == before)
        text_append(out, "nothing");
}

int restoring_run(const struct log *log, const char *state_dir, const char *file,
                  struct restored *ret, struct error *err)
{
    char text[1024], *path = NULL;
    struct clock clock = clock_system();
    *ret = (struct restored){0};
    int rc = check_user(state_dir, err);
    if (!rc)
        rc = place_refuse(state_dir, "a backup", err);
    if (!rc)
        rc = find(state_dir, file, &path, err);
    if (!rc)
        rc = restore_make(state_dir, path, clock_now_ms(&clock), ret, err);
    free(path);
    if (rc) {
        log_write(log, LOG_LEVEL_ERROR, "%s: %s",
                  ret->ready ? "the restore is not finished, and the next start goes on with it"
                             : "nothing was restored",
                  error_format(err, text, sizeof text));
        return rc;
    }
    struct text_buffer missing = {0};
    append_missing(&missing, ret);
    log_write(log, LOG_LEVEL_WARNING,
              "restored file=%s kept=%s erased_again=%d mails_held=%d, came after the backup: %s",
              ret->file, ret->kept[0] ? ret->kept : "nothing", ret->erased, ret->held_mails,
              ret->past_read ? missing.data : "not known");
    text_buffer_free(&missing);
    if (!ret->past_read && ret->kept[0])
        log_write(log, LOG_LEVEL_ERROR,
                  "of the replaced state nothing could be read (%s): look at oddloaf outbox",
                  ret->past_fault);
    return 0;
}

void restoring_print(const struct restored *r, FILE *out)
{
    struct text_buffer missing = {0};
    append_missing(&missing, r);
    fprintf(out, "Restored from %s.\n", r->file);
    if (r->kept[0])
        fprintf(out,
                "What was there is kept in %s; `oddloafd --restore %s/oddloaf.db` goes back.\n",
                r->kept, r->kept);
    else
        fprintf(out, "Nothing was there before.\n");
    fprintf(out, "Contacts that had been erased since, erased again: %d.\n", r->erased);
    fprintf(out, "Mails held back, sent already or stale: %d; oddloaf outbox shows them.\n",
            r->held_mails);
    if (!r->past_read && r->kept[0])
        fprintf(out, "Nothing could be read of what was there (%s).\n", r->past_fault);
    else if (r->past_read)
        fprintf(out, "Came after the backup, and in what is kept only: %s.\n", missing.data);
    text_buffer_free(&missing);
}
