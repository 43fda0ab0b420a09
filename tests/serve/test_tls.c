/* The roles that a certificate's subject gives, and its name; and a restore told to who asked. */
#include "check.h"
#include "serve/restoring.h"
#include "serve/tls.h"
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/x509.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static X509_NAME *subject_of(const char *const *units, const char *name)
{
    X509_NAME *subject = X509_NAME_new();
    for (; units && *units; units++)
        X509_NAME_add_entry_by_txt(subject, "OU", MBSTRING_UTF8, (const unsigned char *)*units, -1,
                                   -1, 0);
    if (name)
        X509_NAME_add_entry_by_txt(subject, "CN", MBSTRING_UTF8, (const unsigned char *)name, -1,
                                   -1, 0);
    return subject;
}

static void units_are_roles(void **state)
{
    static const struct {
        const char *units[4], *name;
        const char *roles, *called;
    } CASES[] = {
        {{"desk"}, "mira", "[\"desk\"]", "mira"},
        {{"desk", "qa"}, "mira", "[\"desk\", \"qa\"]", "mira"},
        {{"other", "manager"}, "J\xC3\xB8", "[\"manager\"]", "J\xC3\xB8"},
        {{"other"}, "mira", NULL, "as it was"},
        {{NULL}, "mira", NULL, "as it was"},
        {{"admin"}, NULL, "[\"admin\"]", "a certificate without a name"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char name[32] = "as it was";
        X509_NAME *subject = subject_of(CASES[i].units, CASES[i].name);
        json_t *roles = tls_subject_roles(subject, name, sizeof name);
        char *text = roles ? json_dumps(roles, 0) : NULL;
        assert_string_equal(text ? text : "none", CASES[i].roles ? CASES[i].roles : "none");
        free(text);
        json_decref(roles);
        assert_string_equal(name, CASES[i].called);
        X509_NAME_free(subject);
    }
}

static void behind_a_nul_stands_nothing(void **state)
{
    char name[32] = "as it was";
    X509_NAME *subject = X509_NAME_new();
    (void)state;
    X509_NAME_add_entry_by_txt(subject, "OU", MBSTRING_UTF8, (const unsigned char *)"desk\0x", 6,
                               -1, 0);
    assert_null(tls_subject_roles(subject, name, sizeof name));
    assert_string_equal(name, "as it was");
    X509_NAME_free(subject);
}

static void what_was_restored_is_told(void **state)
{
    static const struct {
        struct restored r;
        const char *says;
    } CASES[] = {
        {{.file = "b.db",
          .kept = "/s/kept",
          .past_read = true,
          .erased = 1,
          .held_mails = 2,
          .missing = {{"complaints", 3}, {"holds", 0}, {"corrections", 4}}},
         "Restored from b.db.\nWhat was there is kept in /s/kept; `oddloafd --restore "
         "/s/kept/oddloaf.db` goes back.\nContacts that had been erased since, erased again: 1.\n"
         "Mails held back, sent already or stale: 2; oddloaf outbox shows them.\n"
         "Came after the backup, and in what is kept only: complaints 3, corrections 4.\n"},
        {{.file = "b.db", .past_read = true},
         "Restored from b.db.\nNothing was there before.\nContacts that had been erased since, "
         "erased again: 0.\nMails held back, sent already or stale: 0; oddloaf outbox shows "
         "them.\nCame after the backup, and in what is kept only: nothing.\n"},
        {{.file = "b.db", .kept = "/s/kept", .past_fault = "no database"},
         "Restored from b.db.\nWhat was there is kept in /s/kept; `oddloafd --restore "
         "/s/kept/oddloaf.db` goes back.\nContacts that had been erased since, erased again: 0.\n"
         "Mails held back, sent already or stale: 0; oddloaf outbox shows them.\n"
         "Nothing could be read of what was there (no database).\n"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char *text = NULL;
        size_t length = 0;
        FILE *out = open_memstream(&text, &length);
        restoring_print(&CASES[i].r, out);
        fclose(out);
        assert_string_equal(text, CASES[i].says);
        free(text);
    }
}

/* ---- a handshake ---- */

struct ends {
    char dir[64], pem[96], config[96];
    SSL_CTX *server, *client;
};

/* One certificate, which signs itself, serves both ends, and as the authority. */
static void write_pem(const char *path)
{
    EVP_PKEY *key = EVP_EC_gen("P-256");
    X509 *own = X509_new();
    FILE *file = fopen(path, "w");
    assert_true(key && own && file);
    X509_set_version(own, X509_VERSION_3);
    X509_gmtime_adj(X509_getm_notBefore(own), -3600);
    X509_gmtime_adj(X509_getm_notAfter(own), 3600);
    X509_set_pubkey(own, key);
    X509_NAME *subject = subject_of((const char *const[]){"desk", NULL}, "mira");
    X509_set_subject_name(own, subject);
    X509_set_issuer_name(own, subject);
    assert_true(X509_sign(own, key, EVP_sha256()));
    assert_true(PEM_write_X509(file, own) &&
                PEM_write_PrivateKey(file, key, NULL, NULL, 0, NULL, NULL));
    fclose(file);
    assert_int_equal(chmod(path, 0600), 0);
    X509_NAME_free(subject);
    X509_free(own);
    EVP_PKEY_free(key);
}

static int open_ends(void **state)
{
    static struct ends e;
    struct error err = {0};
    struct config *config = NULL;
    strcpy(e.dir, "/tmp/oddloaf-tls-XXXXXX");
    assert_non_null(mkdtemp(e.dir));
    snprintf(e.pem, sizeof e.pem, "%s/both.pem", e.dir);
    snprintf(e.config, sizeof e.config, "%s/config.json", e.dir);
    write_pem(e.pem);
    FILE *file = fopen(e.config, "w");
    assert_non_null(file);
    fprintf(file, "{\"tcp\":{\"certificate\":\"%s\",\"key\":\"%s\",\"client_ca\":\"%s\"}}", e.pem,
            e.pem, e.pem);
    fclose(file);
    if (config_load(e.config, NULL, NULL, &config, &err) ||
        tls_context_new(config, &e.server, &err))
        fail_msg("%s", err.text);
    config_free(config);
    e.client = SSL_CTX_new(TLS_client_method());
    assert_int_equal(SSL_CTX_use_certificate_chain_file(e.client, e.pem), 1);
    assert_int_equal(SSL_CTX_use_PrivateKey_file(e.client, e.pem, SSL_FILETYPE_PEM), 1);
    *state = &e;
    return 0;
}

static int close_ends(void **state)
{
    struct ends *e = *state;
    char command[96];
    SSL_CTX_free(e->server);
    SSL_CTX_free(e->client);
    snprintf(command, sizeof command, "rm -rf %s", e->dir);
    return system(command);
}

static bool goes_on(SSL *end, int rc)
{
    int why = SSL_get_error(end, rc);
    return rc > 0 || why == SSL_ERROR_WANT_READ || why == SSL_ERROR_WANT_WRITE;
}

/* Shakes hands, the client with what it has of an earlier time (NULL: nothing), and says a byte.
 * The session is the client's to keep. */
static SSL_SESSION *shake(struct ends *e, int version, SSL_SESSION *earlier)
{
    BIO *here, *there;
    SSL *server = SSL_new(e->server), *client = SSL_new(e->client);
    char byte = 'x', name[32] = "";
    bool good = true, heard = false;
    assert_int_equal(BIO_new_bio_pair(&here, 0, &there, 0), 1);
    SSL_set_bio(client, here, here);
    SSL_set_bio(server, there, there);
    SSL_set_connect_state(client);
    SSL_set_accept_state(server);
    SSL_set_max_proto_version(client, version);
    if (earlier)
        SSL_set_session(client, earlier);
    for (int turn = 0; turn < 20 && good && !heard; turn++) {
        good = goes_on(client, SSL_do_handshake(client));
        good = good && goes_on(server, SSL_do_handshake(server));
        if (good && SSL_is_init_finished(server) && SSL_is_init_finished(client)) {
            assert_int_equal(SSL_write(server, &byte, 1), 1);
            heard = SSL_read(client, &byte, 1) == 1;
        }
    }
    if (!heard)
        fail_msg("version %x, %s: no handshake", (unsigned)version, earlier ? "again" : "first");
    json_t *roles = tls_peer_roles(server, name, sizeof name);
    assert_int_equal(json_array_size(roles), 1);
    assert_string_equal(name, "mira");
    json_decref(roles);
    SSL_SESSION *session = SSL_get1_session(client);
    SSL_free(server);
    SSL_free(client);
    return session;
}

/* With client certificates on, one that comes again with what it has from before is let in as it
 * was the first time, and seen as who it is. */
static void who_comes_again_is_let_in(void **state)
{
    static const int VERSIONS[] = {TLS1_2_VERSION, TLS1_3_VERSION};
    for (size_t i = 0; i < COUNT_OF(VERSIONS); i++) {
        SSL_SESSION *first = shake(*state, VERSIONS[i], NULL);
        SSL_SESSION_free(shake(*state, VERSIONS[i], first));
        SSL_SESSION_free(first);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(units_are_roles),
        cmocka_unit_test(behind_a_nul_stands_nothing),
        cmocka_unit_test(what_was_restored_is_told),
        cmocka_unit_test_setup_teardown(who_comes_again_is_let_in, open_ends, close_ends),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
