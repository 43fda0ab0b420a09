/* Input: a line that is a bearer token, then the subject of a certificate in DER. Whoever comes
 * with either has a role only if the token is on file, or a unit of the subject is a role's whole
 * word. */
#include "base/text.h"
#include "fuzz.h"
#include "serve/peer.h"
#include "serve/request.h"
#include "serve/sight.h"
#include "serve/tls.h"
#include <openssl/x509.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* One token is on file: "crumb". */
static const struct config *settings(void)
{
    static struct config *config; /* one for the run */
    char tokens[64], path[80];
    if (config)
        return config;
    snprintf(tokens, sizeof tokens, "/dev/shm/fuzz-peer-%d", getpid());
    snprintf(path, sizeof path, "%s.settings", tokens);
    FILE *file = fopen(tokens, "we");
    PROMISE(file);
    fputs("{\"77e936e2e5b25a66b67eab2b5741bc51d82a355f51b61029b7a8957bba7228de\": \"qa\"}", file);
    fclose(file);
    file = fopen(path, "we");
    PROMISE(file);
    fprintf(file, "{\"tcp\":{\"tokens\":\"%s\"}}", tokens);
    fclose(file);
    PROMISE(config_load(path, NULL, NULL, &config, NULL) == 0);
    unlink(path);
    return config;
}

static void check_name(const char *name, size_t size)
{
    PROMISE(strlen(name) < size && text_is_utf8(name, strlen(name)));
    for (const char *p = name; *p; p++)
        PROMISE((unsigned char)*p >= ' ');
}

static void check_token(const char *token)
{
    char name[64] = "";
    unsigned expected = strcmp(token, "crumb") == 0 ? ROLE_QA : 0;
    struct sight sight;
    bool known = peer_sight_of_token(settings(), token, &sight, name, sizeof name);
    PROMISE(known == (expected != 0) && sight_anywhere(&sight) == expected);
    check_name(name, sizeof name);
}

/* Is one of its units that word and nothing else? */
static bool has_unit(X509_NAME *subject, const char *word)
{
    bool has = false;
    for (int i = 0; i < X509_NAME_entry_count(subject) && !has; i++) {
        X509_NAME_ENTRY *entry = X509_NAME_get_entry(subject, i);
        unsigned char *text = NULL;
        if (OBJ_obj2nid(X509_NAME_ENTRY_get_object(entry)) != NID_organizationalUnitName)
            continue;
        int length = ASN1_STRING_to_UTF8(&text, X509_NAME_ENTRY_get_data(entry));
        has = length == (int)strlen(word) && memcmp(text, word, (size_t)length) == 0;
        if (length >= 0)
            OPENSSL_free(text);
    }
    return has;
}

static void check_subject(const uint8_t *der, size_t size)
{
    static const char *const WORDS[] = {"desk", "qa", "manager", "admin", "metrics"};
    X509_NAME *subject = d2i_X509_NAME(NULL, &der, (long)size);
    char name[64] = "";
    if (!subject)
        return;
    struct sight sight = {0};
    json_t *roles = tls_subject_roles(subject, name, sizeof name);
    for (size_t i = 0; i < json_array_size(roles); i++)
        sight_add(&sight, settings(), json_string_value(json_array_get(roles, i)));
    json_decref(roles);
    check_name(name, sizeof name);
    PROMISE(sight_anywhere(&sight) == sight.company); /* there are no plants */
    for (unsigned i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++)
        PROMISE(!(sight.company & 1u << i) == !has_unit(subject, WORDS[i]));
    X509_NAME_free(subject);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const uint8_t *end = size ? memchr(data, '\n', size) : NULL;
    if (!end)
        return 0;
    char *token = xstrndup((const char *)data, (size_t)(end - data));
    check_token(token);
    check_subject(end + 1, size - (size_t)(end - data) - 1);
    free(token);
    return 0;
}
