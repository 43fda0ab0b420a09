#include "commands/machine_path.h"
#include <errno.h>
#include <limits.h>
#include <string.h>
#include <unistd.h>

json_t *machine_path_body(const struct client *c, const char *name, const char *file)
{
    char here[PATH_MAX];
    struct text_buffer path = {0};
    if (file[0] != '/' && strchr(file, '/')) {
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
