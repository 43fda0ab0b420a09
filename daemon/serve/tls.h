/* TLS of the optional TCP listener: TLS 1.2 or newer, certificate and key from the config, client
 * certificates accepted when an authority is named. */
#ifndef ODDLOAF_SERVE_TLS_H
#define ODDLOAF_SERVE_TLS_H

#include "base/error.h"
#include "serve/config.h"
#include <jansson.h>
#include <openssl/ssl.h>
#include <stdbool.h>

/* Errors: field is the setting's key. */
int tls_context_new(const struct config *config, SSL_CTX **ret, struct error *err);
/* Roles a verified client certificate names: a new array of each OU that is a role's word, alone or
 * with a plant behind it ("qa@Mill", sight_add()). NULL if none, and then `name` is left alone;
 * else it is the certificate's common name. */
json_t *tls_peer_roles(SSL *ssl, char *name, size_t size);
/* The same of the subject itself, whoever vouches for it. */
json_t *tls_subject_roles(X509_NAME *subject, char *name, size_t size);

/* Whether our own certificate names the host of a request, "name" or "address", with a port
 * perhaps. */
bool tls_names(SSL *ssl, const char *host);

#endif
