#include "serve/tls.h"
#include "base/text.h"
#include "serve/peer.h"
#include "serve/role.h"
#include <openssl/err.h>
#include <openssl/x509.h>
#include <openssl/x509v3.h>
#include <stdio.h>
#include <string.h>

static int refuse(const char *key, const char *path, struct error *err)
{
    const char *reason = ERR_reason_error_string(ERR_get_error());
    error_set(err, ERROR_INVALID, "cannot be used: %s", reason ? reason : "no reason given");
    error_field(err, key, path);
    return ERROR_INVALID;
}

static int load(SSL_CTX *context, const struct config *config, struct error *err)
{
    const char *certificate = config_text(config, "tcp/certificate");
    const char *key = config_text(config, "tcp/key");
    const char *authority = config_text(config, "tcp/client_ca");
    if (SSL_CTX_use_certificate_chain_file(context, certificate) != 1)
        return refuse("tcp/certificate", certificate, err);
    if (SSL_CTX_use_PrivateKey_file(context, key, SSL_FILETYPE_PEM) != 1 ||
        SSL_CTX_check_private_key(context) != 1)
        return refuse("tcp/key", key, err);
    if (*authority) {
        if (SSL_CTX_load_verify_locations(context, authority, NULL) != 1)
            return refuse("tcp/client_ca", authority, err);
        SSL_CTX_set_verify(context, SSL_VERIFY_PEER, NULL);
    }
    return 0;
}

int tls_context_new(const struct config *config, SSL_CTX **ret, struct error *err)
{
    SSL_CTX *context = SSL_CTX_new(TLS_server_method());
    if (!context)
        return error_set(err, ERROR_INTERNAL, "the TLS library gives no context");
    SSL_CTX_set_min_proto_version(context, TLS1_2_VERSION);
    /* nothing is resumed: a certificate is looked at in each handshake, as it stands then */
    SSL_CTX_set_session_cache_mode(context, SSL_SESS_CACHE_OFF);
    SSL_CTX_set_options(context, SSL_OP_NO_TICKET);
    SSL_CTX_set_num_tickets(context, 0);
    int rc = load(context, config, err);
    if (rc) {
        SSL_CTX_free(context);
        return rc;
    }
    *ret = context;
    return 0;
}

static void read_name(X509_NAME *subject, char *name, size_t size)
{
    unsigned char *text = NULL;
    int at = X509_NAME_get_index_by_NID(subject, NID_commonName, -1);
    X509_NAME_ENTRY *entry = at >= 0 ? X509_NAME_get_entry(subject, at) : NULL;
    if (!entry || ASN1_STRING_to_UTF8(&text, X509_NAME_ENTRY_get_data(entry)) < 0) {
        text_clip("a certificate without a name", name, size);
        return;
    }
    text_clip((const char *)text, name, size);
    OPENSSL_free(text);
}

/* A role's word, with a plant behind it perhaps; none behind a NUL. */
static bool is_role(const char *text, int length)
{
    char word[16];
    if (length < 0 || strlen(text) != (size_t)length)
        return false;
    size_t end = strcspn(text, "@");
    if (end >= sizeof word)
        return false;
    memcpy(word, text, end);
    word[end] = '\0';
    return role_of(word) != 0;
}

json_t *tls_subject_roles(X509_NAME *subject, char *name, size_t size)
{
    json_t *roles = json_array();
    int at = -1;
    while ((at = X509_NAME_get_index_by_NID(subject, NID_organizationalUnitName, at)) >= 0) {
        unsigned char *text = NULL;
        ASN1_STRING *unit = X509_NAME_ENTRY_get_data(X509_NAME_get_entry(subject, at));
        int length = ASN1_STRING_to_UTF8(&text, unit);
        if (length >= 0 && is_role((const char *)text, length))
            json_array_append_new(roles, json_string((const char *)text));
        if (length >= 0)
            OPENSSL_free(text);
    }
    if (json_array_size(roles)) {
        read_name(subject, name, size);
        return roles;
    }
    json_decref(roles);
    return NULL;
}

json_t *tls_peer_roles(SSL *ssl, char *name, size_t size)
{
    X509 *certificate = SSL_get1_peer_certificate(ssl);
    json_t *roles = NULL;
    if (certificate && SSL_get_verify_result(ssl) == X509_V_OK)
        roles = tls_subject_roles(X509_get_subject_name(certificate), name, size);
    X509_free(certificate);
    return roles;
}

bool tls_names(SSL *ssl, const char *host)
{
    char name[256];
    bool bracketed = *host == '[';
    size_t length = bracketed ? strcspn(++host, "]") : strcspn(host, ":");
    snprintf(name, sizeof name, "%.*s", (int)length, host);
    X509 *own = SSL_get_certificate(ssl);
    return own && (X509_check_ip_asc(own, name, 0) == 1 ||
                   X509_check_host(own, name, strlen(name), 0, NULL) == 1);
}
