/* The roles that a certificate's subject gives, and its name; and a restore told to who asked. */
#include "check.h"
#include "serve/restoring.h"
#include "serve/tls.h"
#include <openssl/x509.h>
#include <stdlib.h>
#include <string.h>

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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(units_are_roles),
        cmocka_unit_test(behind_a_nul_stands_nothing),
        cmocka_unit_test(what_was_restored_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
