#include "commands/machine_path.h"
#include <errno.h>
#include <limits.h>
#include <string.h>
#include <unistd.h>

static json_t *body_of(const struct client *c, const char *name, const char *file)
{
    char here[PATH_MAX];
    struct text_buffer path = {0};
    if (file[0] != '/' && strchr(file, '/')) {
        if (transport_name(c->transport)[0] != '/') {
            client_usage(c,
                         "%s is a path from this folder here, and the daemon is on another "
                         "machine: give a whole path of that one, or a bare name for its "
                         "folder of backups",
                         file);
            return NULL;
        }
        if (!getcwd(here, sizeof here)) {
            client_usage(c, "cannot tell this folder's name: %s", strerror(errno));
            return NULL;
        }
        text_appendf(&path, "%s/", here);
    }
    text_append(&path, file);
    json_t *body = json_pack("{ss}", name, path.data);
    if (!body)
        client_usage(c, "the file's name is not UTF-8 text");
    text_buffer_free(&path);
    return body;
}

int machine_path_post(struct client *c, const char *path, const char *member, const char *file,
                      int (*told)(const struct client *c, const json_t *answer))
{
    json_t *answer = NULL, *body = body_of(c, member, file);
    if (!body)
        return EXIT_USAGE;
    int rc = client_post_long(c, path, body, MACHINE_PATH_PATIENCE_S, &answer);
    json_decref(body);
    if (!rc)
        rc = told(c, answer);
    json_decref(answer);
    return rc;
}
