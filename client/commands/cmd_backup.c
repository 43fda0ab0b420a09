#include "commands/command.h"
#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* A service often has a /tmp of its own: written there, a backup is nobody's, and goes with the
 * service. Not to be allowed to look is another matter. */
static bool is_hidden(const struct client *c, const char *path)
{
    bool same_machine = transport_name(c->transport)[0] == '/';
    return same_machine && access(path, F_OK) && errno == ENOENT;
}

static int told(const struct client *c, const char *path, const json_t *answer)
{
    if (is_hidden(c, path)) {
        struct error err = {0};
        error_set(
            &err, ERROR_NOT_FOUND,
            "%s was written where only the daemon sees it: its service has a folder of its own "
            "there",
            path);
        error_hint(&err, "name a place below the daemon's state folder, such as /var/lib/oddloaf");
        client_fail(c, &err);
        return EXIT_REFUSED;
    }
    if (c->json)
        client_print(answer);
    else
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "Backed up to %s on the daemon's machine.", path);
    return EXIT_DONE;
}

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
    if (!rc)
        rc = told(c, path.data, answer);
    json_decref(answer);
    text_buffer_free(&path);
    return rc;
}

const struct command cmd_backup = {
    .name = "backup",
    .args = "FILE",
    .help = "online backup, written by the daemon on its machine",
    .more = "The daemon writes FILE itself, on its own machine: as the service it may write "
            "below /var/lib/oddloaf, and its /tmp is no one else's.",
    .least = 1,
    .most = 1,
    .exec = backup,
};
