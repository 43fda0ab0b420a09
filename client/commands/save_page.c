#include "commands/save_page.h"
#include <errno.h>
#include <stdio.h>
#include <string.h>

static int write_out(const struct client *c, const char *file, const struct text_buffer *body)
{
    bool standard = strcmp(file, "-") == 0;
    FILE *out = standard ? stdout : fopen(file, "wbe");
    if (!out)
        return client_usage(c, "cannot write %s: %s", file, strerror(errno));
    bool good = fwrite(body->length ? body->data : "", 1, body->length, out) == body->length;
    if (!standard && fclose(out) != 0)
        good = false;
    if (!good) {
        client_say(c, "cannot write %s: %s", file, strerror(errno));
        return EXIT_REFUSED;
    }
    if (!standard && !c->json)
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "Written: %s", file);
    return EXIT_DONE;
}

int save_page(const struct client *c, const char *path, const char *file)
{
    struct error err = {0};
    struct reply reply = {0};
    struct request request = {.method = "GET", .path = path, .timeout_s = 120};
    int rc = transport_call(c->transport, &request, &reply, &err);
    if (rc)
        rc = client_fail(c, &err);
    else if (!transport_is_good(&reply))
        rc = client_problem(c, &reply);
    else
        rc = write_out(c, file, &reply.body);
    transport_reply_free(&reply);
    return rc;
}
