/* What every command works with: the way to the daemon, the way to the terminal, and the exit
 * codes the shell sees. One client lives for one run of the program. */
#ifndef ODDLOAF_CLIENT_DELIVER_CLIENT_H
#define ODDLOAF_CLIENT_DELIVER_CLIENT_H

#include "base/error.h"
#include "base/text.h"
#include "deliver/transport.h"
#include "deliver/zone.h"
#include "show/view.h"
#include <jansson.h>
#include <stdbool.h>

enum exit_code {
    EXIT_DONE = 0,
    EXIT_REFUSED = 1, /* some input was refused, something not done, or (status) to be seen to */
    EXIT_USAGE = 2,
    EXIT_UNREACHABLE = 3, /* no daemon, or one that cannot serve now */
    EXIT_DENIED = 4,
    EXIT_NOT_FOUND = 5
};

struct client {
    struct transport *transport;
    struct zone *zone; /* of the plant */
    struct view view;  /* stdout */
    bool json;         /* only JSON on stdout */
    const char *command;
};

/* Writes "oddloaf: COMMAND: message" to stderr, wrapped where that is a terminal, and returns the
 * exit code. */
int client_fail(const struct client *c, const struct error *err);
/* The message of an error as it is written: error_format() with what people call a field. */
char *client_fault(const struct error *err, char *buffer, size_t size);
/* The same with a text of one's own; for words the caller got wrong. */
int client_usage(const struct client *c, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* A remark on stderr that is not a failure. */
void client_say(const struct client *c, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Ask the daemon and take one JSON document. On failure the message is written (a problem
 * document with every value it refuses) and the exit code returned; *ret is then untouched.
 * `body` is borrowed. */
int client_get(const struct client *c, const char *path, json_t **ret);
int client_post(const struct client *c, const char *path, const json_t *body, json_t **ret);
/* For what takes the daemon longer than the usual minute. */
int client_post_long(const struct client *c, const char *path, const json_t *body, long timeout_s,
                     json_t **ret);
/* Explains an answer that is not 2xx, on stderr. Returns the exit code. */
int client_problem(const struct client *c, const struct reply *reply);
/* The problem document of such an answer, for the two below; NULL: it has none. New reference. */
json_t *client_problem_of(const struct reply *reply);
/* What an answer's status, which is not 2xx, means here. */
enum error_code client_code_of(long status);
/* As client_problem(), of a document that was read already. */
int client_problem_say(const struct client *c, long status, const json_t *problem);
/* What it says of harm alone. */
void client_problem_harm(const json_t *problem);
/* One JSON document on one line of stdout. */
void client_print(const json_t *document);

/* Ends a command with what the daemon told: as JSON, or as `show` has it. Takes the reference. */
int client_answer(const struct client *c, json_t *document,
                  void (*show)(const struct client *c, const json_t *document));
/* Sends what was decided and ends the command: with the answer as JSON, or with `done`, a sentence.
 * Takes the reference of the body. */
int client_decide(const struct client *c, const char *path, json_t *body, const char *done);

/* "/v1/…" paths: words are percent-encoded; a NULL value adds nothing. */
void client_path_word(struct text_buffer *path, const char *word);
void client_path_query(struct text_buffer *path, const char *name, const char *value);

/* The name of the person at the keyboard, for records that carry one. */
const char *client_login(char *buffer, size_t size);

#endif
