/* oddloaf: the client. Reads the command line, finds the row of its command, runs it. */
#include "commands/command.h"
#include "commands/help.h"
#include "deliver/source.h"
#include "show/harm.h"
#include <curl/curl.h>
#include <locale.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int open_transport(struct client *c, const struct args *a, struct error *err)
{
    const char *socket = args_value(a, "socket");
    if (!socket || !*socket)
        socket = getenv("ODDLOAF_SOCKET");
    if (!socket || !*socket)
        socket = TRANSPORT_SOCKET;
    struct endpoint endpoint = {.socket = socket,
                                .server = args_value(a, "server"),
                                .token = getenv("ODDLOAF_TOKEN"),
                                .ca = getenv("ODDLOAF_CA"),
                                .cert = getenv("ODDLOAF_CERT"),
                                .key = getenv("ODDLOAF_KEY")};
    return transport_open(&endpoint, &c->transport, err);
}

static int run(struct client *c, const struct args *a)
{
    struct error err = {0};
    if (args_has(a, "version")) {
        puts("oddloaf " ODDLOAF_VERSION "\nschema " ODDLOAF_SCHEMA
             "\nbuilt with " ODDLOAF_LIBRARIES);
        return EXIT_DONE;
    }
    if (args_has(a, "help")) {
        if (a->command)
            help_command(&c->view, a->command);
        else
            help_program(&c->view, a->table);
        return EXIT_DONE;
    }
    if (!a->command) {
        struct view v;
        view_init(&v, stderr);
        help_program(&v, a->table);
        return EXIT_USAGE;
    }
    if (args_has(a, "socket") && args_has(a, "server"))
        return client_usage(c, "--socket and --server exclude each other");
    if (open_transport(c, a, &err)) {
        client_fail(c, &err);
        return EXIT_USAGE;
    }
    c->zone = zone_new(c->transport);
    int rc = a->command->exec(c, a);
    zone_free(c->zone);
    transport_close(c->transport);
    return rc;
}

/* What was typed of harm is on no record: whoever typed it must not think that it is. */
static int refuse_words(const struct client *c, int count, char **words, const struct error *err)
{
    struct view v;
    int rc = client_usage(c, "%s%s%s%s", err->text, err->hint[0] ? " (" : "", err->hint,
                          err->hint[0] ? ")" : "");
    view_init(&v, c->json ? stderr : stdout);
    if (harm_in_words(count, words))
        harm_show(&v, NULL, HARM_LOST);
    return rc;
}

/* `oddloaf … | head`: nobody minds. */
static bool reader_is_gone(void)
{
    struct pollfd out = {.fd = STDOUT_FILENO, .events = POLLOUT};
    return poll(&out, 1, 0) == 1 && (out.revents & POLLERR);
}

int main(int argc, char **argv)
{
    struct args a = {0};
    struct error err = {0};
    struct client c = {0};
    source_read_apart(argv);
    setlocale(LC_CTYPE, "");
    signal(SIGPIPE, SIG_IGN);
    command_start();
    curl_global_init(CURL_GLOBAL_DEFAULT);
    view_init(&c.view, stdout);
    int rc = args_parse(command_all(), argc, argv, &a, &err);
    c.command = a.command ? a.command->name : NULL;
    c.json = args_has(&a, "json");
    rc = rc ? refuse_words(&c, argc, argv, &err) : run(&c, &a);
    args_free(&a);
    curl_global_cleanup();
    if ((fflush(stdout) != 0 || ferror(stdout)) && !reader_is_gone()) {
        fprintf(stderr, "oddloaf: cannot write the answer to standard output\n");
        return rc ? rc : EXIT_REFUSED;
    }
    return rc;
}
