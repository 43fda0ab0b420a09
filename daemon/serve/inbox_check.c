/* Whether what the settings say of the inbox can work, as the machine is now. */
#include "records/inbox_file.h"
#include "serve/inbox.h"
#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct checking {
    const struct config *config;
    const struct log *log;
    struct error *err;
    int rc;
};

static void check_fault(void *arg, const struct error *fault)
{
    struct checking *c = arg;
    char text[1024];
    log_write(c->log, LOG_LEVEL_ERROR, "%s", error_format(fault, text, sizeof text));
    if (!c->rc && !c->err->code)
        *c->err = *fault;
    c->rc = ERROR_INVALID;
}

static void check_folder(struct checking *c, const char *key, int access_mode)
{
    struct error fault = {0};
    struct stat st;
    const char *path = config_text(c->config, key), *why = NULL;
    if (!*path)
        return;
    if (*path != '/')
        why = "must be a path from the root";
    else if (stat(path, &st) || (S_ISDIR(st.st_mode) && access(path, access_mode)))
        why = strerror(errno);
    else if (!S_ISDIR(st.st_mode))
        why = "is no folder";
    if (!why)
        return;
    error_field(&fault, key, path);
    error_set(&fault, ERROR_INVALID, "%s", why);
    error_hint(&fault, "make it for the user that the daemon runs as: oddloafd(8), INBOX");
    config_locate(c->config, &fault);
    check_fault(c, &fault);
}

int inbox_check(const struct setup *setup, const struct log *log, struct error *err)
{
    struct checking c = {setup->config, log, err, 0};
    check_folder(&c, "inbox/folder", R_OK | W_OK | X_OK);
    check_folder(&c, "inbox/maps", R_OK | X_OK);
    inbox_file_check(config_text(setup->config, "inbox/maps"), triage_catalogue(setup->triage),
                     check_fault, &c);
    return c.rc;
}
