/* Who is at the other end: roles by the Unix groups of the peer of a local socket, by a bearer
 * token or a client certificate over TLS. */
#ifndef ODDLOAF_SERVE_PEER_H
#define ODDLOAF_SERVE_PEER_H

#include "serve/sight.h"
#include <stdbool.h>
#include <sys/socket.h>
#include <sys/types.h>

/* The uid at connect(2) time. False if the socket is not a local one. */
bool peer_uid(int fd, uid_t *ret);
/* Whom connections are counted by, as a name: the local user or the address; of IPv6 the network of
 * 64 bits, of which one machine has all addresses. `fd` is asked where `from` is a local one. */
void peer_name_at_door(int fd, const struct sockaddr *from, char *out, size_t size);
/* Roles of a local user: root and the daemon's own user have all in the company; else by group
 * (config roles/… and plants/NAME/roles/…). Looks the user up, so not for the loop thread. */
void peer_sight_of_uid(const struct config *config, uid_t uid, struct sight *ret);
/* The same of a local user by the login name; false if there is none. */
bool peer_sight_of_login(const struct config *config, const char *name, struct sight *ret);
bool peer_has_group(const char *name); /* does this machine know it? */
/* The login name of a local user; "uid 1234" if it has none. */
void peer_name_of_uid(uid_t uid, char *out, size_t size);
/* Roles of a bearer token (config tcp/tokens: SHA-256 in hex → role as of sight_add(), or {"role",
 * "name"}); false if it is unknown. `name`: the token's; of one without, "token " and how its hash
 * begins. */
bool peer_sight_of_token(const struct config *config, const char *token, struct sight *ret,
                         char *name, size_t size);
/* The role's word in an entry of that file, NULL if it is not one. */
const char *peer_token_role(const json_t *entry);

#endif
