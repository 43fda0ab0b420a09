#include "commands/command.h"
#include "commands/machine_path.h"
#include "show/pick.h"
#include <errno.h>
#include <unistd.h>

/* A service often has a /tmp of its own: written there, a backup is nobody's, and goes with the
 * service. Not to be allowed to look is another matter. */
static bool is_hidden(const struct client *c, const char *path)
{
    bool same_machine = transport_name(c->transport)[0] == '/';
    return same_machine && access(path, F_OK) && errno == ENOENT;
}

static int told(const struct client *c, const json_t *answer)
{
    const char *path = pick_text(answer, "backup", "?");
    if (is_hidden(c, path)) {
        struct error err = {0};
        error_set(
            &err, ERROR_NOT_FOUND,
            "%s was written where only the daemon sees it: its service has a folder of its own "
            "there",
            path);
        error_hint(&err, "a bare name is written to the daemon's folder of backups");
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
    return machine_path_post(c, "/v1/backup", "path", a->words[0], told);
}

const struct command cmd_backup = {
    .name = "backup",
    .args = "FILE",
    .help = "online backup, written by the daemon on its machine",
    .more = "A bare name is written to the folder backups of the daemon's state; elsewhere the "
            "daemon's user, and as a service its unit, must be allowed to write.",
    .least = 1,
    .most = 1,
    .exec = backup,
};
