#include "commands/command.h"
#include "show/pick.h"
#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int backup(struct client *c, const struct args *a)
{
    const char *file = a->words[0];
    char here[PATH_MAX];
    struct text_buffer path = {0};
    if (file[0] != '/') {
        if (!getcwd(here, sizeof here))
            return client_usage(c, "cannot tell this folder's name: %s", strerror(errno));
        text_appendf(&path, "%s/", here);
    }
    text_append(&path, file);
    json_t *answer = NULL;
    json_t *body = json_pack("{ss}", "path", path.data);
    if (!body) {
        text_buffer_free(&path);
        return client_usage(c, "the file's name is not UTF-8 text");
    }
    int rc = client_post(c, "/v1/backup", body, &answer);
    json_decref(body);
    if (!rc && c->json)
        client_print(answer);
    else if (!rc)
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "Backed up to %s on the daemon's machine.",
                   pick_text(answer, "path", path.data));
    json_decref(answer);
    text_buffer_free(&path);
    return rc;
}

const struct command cmd_backup = {
    .name = "backup",
    .args = "FILE",
    .help = "online backup, written by the daemon on its machine",
    .more = "The daemon writes FILE itself: a place it may write to, on its own disk.",
    .least = 1,
    .most = 1,
    .exec = backup,
};
