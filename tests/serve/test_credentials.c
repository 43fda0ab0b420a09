/* Who is known by a token, what is wrong with the files that TLS needs, and how many may be in. */
#include "check.h"
#include "serve/credentials.h"
#include "serve/limits.h"
#include "serve/listen.h"
#include "serve/logons.h"
#include "serve/peer.h"
#include "serve/request.h"
#include "serve/role.h"
#include "serve/setup.h"
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

static char dir[64];

static char *path_of(const char *name, char out[static 128])
{
    snprintf(out, 128, "%s/%s", dir, name);
    return out;
}

static void write_file(const char *name, const char *text, mode_t mode)
{
    char path[128];
    FILE *file = fopen(path_of(name, path), "w");
    assert_true(file && fputs(text, file) >= 0 && fclose(file) == 0);
    assert_int_equal(chmod(path, mode), 0);
}

static struct config *settings(const char *tcp)
{
    char text[1024], path[128];
    struct config *config = NULL;
    struct error err = {0};
    snprintf(
        text, sizeof text,
        "{\"plants\":{\"Larkfen\":{\"mail\":{\"to\":[\"l@p.example\"]}},\"Quarrhill\":{}}%s%s}",
        *tcp ? ",\"tcp\":" : "", tcp);
    write_file("config.json", text, 0600);
    if (config_load(path_of("config.json", path), NULL, NULL, &config, &err))
        fail_msg("%s: %s", err.text, text);
    return config;
}

static struct config *settings_with_files(void)
{
    char tcp[512];
    snprintf(tcp, sizeof tcp,
             "{\"certificate\":\"%s/cert\",\"key\":\"%s/key\",\"tokens\":\"%s/tokens\"}", dir, dir,
             dir);
    return settings(tcp);
}

static const char *hash_of(const char *token, char out[static 65])
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned length = 0;
    EVP_Digest(token, strlen(token), digest, &length, EVP_sha256(), NULL);
    for (unsigned i = 0; i < 32; i++)
        snprintf(out + 2 * (size_t)i, 3, "%02x", digest[i]);
    return out;
}

/* FIPS 180-2, appendix B.1: of "abc". */
#define ABC "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

static void a_token_gives_its_role(void **state)
{
    static const struct {
        const char *entry; /* in the file */
        unsigned company, larkfen, quarrhill;
        bool known;
        const char *name;
    } ROWS[] = {{"\"desk\"", ROLE_DESK, 0, 0, true, "token ba7816bf"},
                {"{\"role\":\"qa\",\"name\":\"Mira\"}", ROLE_QA, 0, 0, true, "Mira"},
                {"{\"role\":\"desk@Larkfen\",\"name\":\"Jo\"}", 0, ROLE_DESK, 0, true, "Jo"},
                {"\"manager@Quarrhill\"", 0, 0, ROLE_MANAGER, true, "token ba7816bf"},
                {"\"admin@Larkfen\"", 0, 0, 0, false, NULL},
                {"\"desk@Nowhere\"", 0, 0, 0, false, NULL},
                {"\"a word that is longer than all\"", 0, 0, 0, false, NULL},
                {"\"baker\"", 0, 0, 0, false, NULL},
                {"7", 0, 0, 0, false, NULL}};
    (void)state;
    struct config *config = settings_with_files();
    char hash[65], text[512], name[32];
    assert_string_equal(hash_of("abc", hash), ABC);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct sight sight;
        snprintf(text, sizeof text, "{\"%s\":%s}", ABC, ROWS[i].entry);
        write_file("tokens", text, 0600);
        bool known = peer_sight_of_token(config, "abc", &sight, name, sizeof name);
        if (known != ROWS[i].known)
            fail_msg("%s: %d", ROWS[i].entry, known);
        assert_int_equal(sight.company, ROWS[i].company);
        assert_int_equal(sight.plant[config_plant_named(config, "Larkfen")], ROWS[i].larkfen);
        assert_int_equal(sight.plant[config_plant_named(config, "Quarrhill")], ROWS[i].quarrhill);
        if (ROWS[i].name)
            assert_string_equal(name, ROWS[i].name);
        assert_false(peer_sight_of_token(config, "abd", &sight, name, sizeof name));
    }
    config_free(config);
    config = settings("");
    struct sight sight;
    assert_false(peer_sight_of_token(config, "abc", &sight, name, sizeof name));
    config_free(config);
}

static void what_is_seen_adds_up(void **state)
{
    struct sight one = {0}, other = {0};
    (void)state;
    struct config *config = settings("");
    int larkfen = config_plant_named(config, "Larkfen"),
        quarrhill = config_plant_named(config, "Quarrhill");
    assert_true(sight_add(&one, config, "desk@Larkfen"));
    assert_true(sight_add(&other, config, "qa@Larkfen"));
    assert_true(sight_add(&other, config, "manager"));
    sight_join(&one, &other);
    assert_int_equal(one.company, ROLE_MANAGER);
    assert_int_equal(one.plant[larkfen], ROLE_DESK | ROLE_QA);
    assert_int_equal(one.plant[quarrhill], 0);
    assert_int_equal(sight_at(&one, larkfen), ROLE_DESK | ROLE_QA | ROLE_MANAGER);
    assert_int_equal(sight_at(&one, quarrhill), ROLE_MANAGER);
    assert_int_equal(sight_at(&one, -1), ROLE_MANAGER);
    assert_int_equal(sight_at(&one, CONFIG_PLANTS), ROLE_MANAGER);
    assert_int_equal(sight_anywhere(&one), ROLE_DESK | ROLE_QA | ROLE_MANAGER);
    config_free(config);
}

static void take_fault(void *arg, const struct error *fault)
{
    char *all = arg;
    size_t used = strlen(all);
    snprintf(all + used, 2000 - used, "%s: %s;", fault->field, fault->text);
}

static void faults_are(const struct config *config, int count, const char *const *said)
{
    char all[2000] = "";
    assert_int_equal(credentials_check(config, take_fault, all), count);
    for (; *said; said++)
        if (!strstr(all, *said))
            fail_msg("\"%s\" is not in %s", *said, all);
}
#define FAULTS(config, count, ...)                                                                 \
    faults_are(config, count, (const char *const[]){__VA_ARGS__, NULL})

static void files_are_looked_at(void **state)
{
    char path[128];
    (void)state;
    struct config *config = settings("");
    FAULTS(config, 2, "tcp/certificate: is not set", "tcp/key: is not set");
    config_free(config);
    config = settings_with_files();
    FAULTS(config, 3, "tcp/certificate: No such file", "tcp/key: No such file",
           "tcp/tokens: No such file");
    assert_int_equal(mkdir(path_of("cert", path), 0700), 0);
    write_file("key", "k", 0604);
    write_file("tokens", "{}", 0602);
    FAULTS(config, 3, "tcp/certificate: is not a file", "tcp/key: may be read by anybody",
           "tcp/tokens: may be written by anybody");
    rmdir(path);
    write_file("cert", "c", 0644); /* is no secret */
    write_file("key", "k", 0640);
    write_file("tokens", "{}", 0600);
    FAULTS(config, 0, "");
    config_free(config);
}

/* What the daemon would not start with is no sound setting. */
static void where_it_listens_is_looked_at(void **state)
{
    static const struct {
        const char *where;
        bool good;
    } AT[] = {{"127.0.0.1:8443", true}, {"[::1]:8443", true},       {"0.0.0.0:65535", true},
              {"nonsense", false},      {"127.0.0.1:99999", false}, {"127.0.0.1:0", false},
              {"127.0.0.1", false},     {"127.0.0.1:84x", false},   {"desk.example:8443", false}};
    (void)state;
    for (size_t i = 0; i < sizeof AT / sizeof AT[0]; i++) {
        struct error err = {0};
        assert_int_equal(listen_check(AT[i].where, &err), AT[i].good ? 0 : ERROR_INVALID);
        assert_string_equal(err.field, AT[i].good ? "" : "tcp/listen");
    }
    struct config *config = settings("{\"listen\":\"nonsense\"}");
    FAULTS(config, 3, "tcp/listen: must be an address and a port", "tcp/certificate: is not set",
           "tcp/key: is not set");
    config_free(config);
}

static void tokens_are_looked_at(void **state)
{
    static const struct {
        const char *text;
        int count;
        const char *said;
    } ROWS[] = {
        {"{\"" ABC "\":\"desk\"}", 0, ""},
        {"{\"ABC\":\"desk\"}", 1, "64 hex digits"},
        {"{\"" ABC "0\":\"desk\"}", 1, "64 hex digits"},
        {"{\"" ABC "\":\"baker\"}", 1, "manager@NAME, and not baker;"},
        {"{\"" ABC "\":{\"role\":\"qa@Larkfne\"}}", 1, "manager@NAME, and not qa@Larkfne;"},
        {"{\"" ABC "\":\"ba7816bf8f01cfea\"}", 1, "manager@NAME;"}, /* may be a token */
        {"{\"" ABC "\":\"a-token.of@home\"}", 1, "manager@NAME;"},
        {"{\"" ABC "\":\"abcdefghijklmnopq\"}", 1, "manager@NAME;"},
        {"{\"" ABC "\":{\"name\":\"Mira\"}}", 1, "a token's role is one of"},
        {"{\"" ABC "\":{\"role\":\"qa\",\"name\":\"\"}}", 1, "a token's name is text"},
        {"{\"" ABC "\":{\"role\":\"qa\",\"name\":7}}", 1, "a token's name is text"},
        {"{\"" ABC "\":{\"role\":\"qa@Larkfen\",\"name\":\"Mira\"},\"b" ABC "\":\"x\"}", 2, ""},
        {"{\"" ABC "\":{\"role\":\"qa@Larkfen\",\"name\":\"Mira\"},"
         "\"aa7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\":"
         "{\"role\":\"qa\",\"name\":\"mira\"}}",
         1, "a token of the same name is of another plant"},
        {"{\"" ABC "\":{\"role\":\"qa@Larkfen\",\"name\":\"Mira\"},"
         "\"aa7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\":"
         "{\"role\":\"desk@Larkfen\",\"name\":\"mira\"}}",
         0, ""},
        {"{\"" ABC "\":{\"role\":\"qa@Larkfen\",\"name\":\"root\"}}", 1,
         "a login of this machine has the token's name"},
        {"{\"" ABC "\":{\"role\":\"qa\",\"name\":\"root\"}}", 0, ""},
        {"{\"" ABC "\":{\"role\":\"qa\",\"nmae\":\"Mira\"}}", 1, "nmae is no member of a token"},
        {"{\"" ABC "\":{\"role\":\"qa\",\"ba7816bf\":\"Mira\"}}", 1,
         ": this is no member of a token"},
        {"{\"" ABC "\":{\"role\":\"qa\",\"plant\":\"Larkfen\"}}", 1,
         "it has a role and may have a name"},
        {"[]", 1, ""},
        {"{", 1, ""},
    };
    (void)state;
    struct config *config = settings_with_files();
    write_file("cert", "c", 0644);
    write_file("key", "k", 0600);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char all[2000] = "";
        write_file("tokens", ROWS[i].text, 0600);
        int count = credentials_check(config, take_fault, all);
        if (count != ROWS[i].count || !strstr(all, ROWS[i].said) || strstr(all, "ba7816"))
            fail_msg("%s: %d %s", ROWS[i].text, count, all);
    }
    write_file("tokens", "{\"ABC\":\"desk\"}", 0600);
    write_file("key", "k", 0604);
    FAULTS(config, 2, "tcp/key: may be read by anybody", "64 hex digits"); /* none hides another */
    config_free(config);
}

static void nobody_is_let_in(const char *text, const char *tokens, int count, const char *said)
{
    char path[128], all[2000] = "";
    struct config *config = NULL;
    write_file("config.json", text, 0600);
    if (tokens)
        write_file("tokens", tokens, 0600);
    assert_int_equal(config_load(path_of("config.json", path), NULL, NULL, &config, NULL), 0);
    int found = logons_check(config, take_fault, all);
    if (found != count || !strstr(all, said))
        fail_msg("%s: %d %s", text, found, all);
    config_free(config);
}

/* Settings that are sound, and keep everybody out. */
static void who_cannot_log_on_is_said(void **state)
{
    char text[512];
    (void)state;
    nobody_is_let_in("{}", NULL, 0, ""); /* groups of the package, on a machine without it */
    nobody_is_let_in("{\"roles\":{\"desk\":[\"root\",\"no-such-group\"]}}", NULL, 1,
                     "roles/desk: there is no such Unix group");
    nobody_is_let_in("{\"roles\":{\"metrics\":[\"oddloaf-metricks\"],\"qa\":[\"no-qa\"]}}", NULL, 2,
                     "roles/metrics: there is no such");
    nobody_is_let_in("{\"plants\":{\"Larkfen\":{\"roles\":{\"qa\":[\"no-such-group\"]}}}}", NULL, 1,
                     "plants/Larkfen/roles/qa: there is no such Unix group");
    nobody_is_let_in("{\"tcp\":{\"listen\":\"127.0.0.1:1\"}}", NULL, 1,
                     "tcp/listen: nobody can log on there");
    snprintf(text, sizeof text, "{\"tcp\":{\"listen\":\"127.0.0.1:1\",\"tokens\":\"%s/tokens\"}}",
             dir);
    nobody_is_let_in(text, "{}", 1, "no token is in tcp/tokens");
    nobody_is_let_in(text, "{\"" ABC "\":\"desk\"}", 0, "");
    nobody_is_let_in("{\"tcp\":{\"listen\":\"127.0.0.1:1\",\"client_ca\":\"/ca\"}}", NULL, 0, "");
    nobody_is_let_in("{\"tcp\":{\"tokens\":\"/none\"}}", NULL, 0, "");
}

/* What lies outside the file, and is not there, is why the settings are refused. */
static void what_is_not_there_is_said(void **state)
{
    static const struct {
        const char *text, *said, *field;
    } ROWS[] = {{"{\"time_zone\":\"No/Where\"}", "No/Where", "time_zone"},
                {"{\"plants\":{\"Larkfen\":{\"time_zone\":\"No/Where\"}}}", "No/Where",
                 "plants/Larkfen/time_zone"},
                {"{\"tcp\":{\"listen\":\"127.0.0.1:1\"}}", "is not set", "tcp/certificate"}};
    static const struct log QUIET = {.level = LOG_LEVEL_ERROR + 1};
    char path[128];
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct setup *setup = NULL;
        struct error err = {0};
        write_file("config.json", ROWS[i].text, 0600);
        int rc = setup_load(path_of("config.json", path), ODDLOAF_SOURCE_DIR "/rules", NULL, &setup,
                            &QUIET, &err);
        if (!rc || strcmp(err.field, ROWS[i].field) != 0 ||
            !(strstr(err.text, ROWS[i].said) || strstr(err.value, ROWS[i].said)))
            fail_msg("%s: %d %s %s %s", ROWS[i].text, rc, err.field, err.value, err.text);
    }
}

/* ---- how many may be in ---- */

static void each_limit_has_its_setting(void)
{
    static const struct log QUIET = {.level = LOG_LEVEL_ERROR};
    struct limits limits;
    struct config *config = NULL;
    char path[128];
    write_file("config.json",
               "{\"limits\":{\"connections\":11,\"tcp_connections\":12,\"peer_connections\":13,"
               "\"peer_long\":14,\"hello_s\":15,\"header_bytes\":1600,\"body_bytes\":17000,"
               "\"request_s\":18,\"idle_s\":19}}",
               0600);
    assert_int_equal(config_load(path_of("config.json", path), NULL, NULL, &config, NULL), 0);
    limits_read(config, true, &QUIET, &limits);
    assert_int_equal(limits.local.room.connections, 11);
    assert_int_equal(limits.tcp.room.connections, 12);
    assert_int_equal(limits.local.room.of_peer, 13);
    assert_int_equal(limits.tcp.room.long_of_peer, 14);
    assert_int_equal(limits.tcp.patience.first_ms, 15000);
    assert_int_equal(limits.tcp.patience.wire.head_bytes, 1600);
    assert_int_equal(limits.local.patience.wire.body_bytes, 17000);
    assert_int_equal(limits.local.patience.request_ms, 18000);
    assert_int_equal(limits.tcp.patience.idle_ms, 19000);
    config_free(config);
}

static void limits_are_the_settings(void **state)
{
    static const struct log QUIET = {.level = LOG_LEVEL_ERROR};
    struct limits limits;
    struct rlimit files = {0, 0};
    (void)state;
    struct config *config = settings("");
    for (int tls = 0; tls < 2; tls++) {
        limits_read(config, tls, &QUIET, &limits);
        assert_int_equal(limits.local.room.connections, 256);
        assert_int_equal(limits.local.room.of_peer, 64);
        assert_int_equal(limits.local.room.long_of_peer, 32);
        assert_int_equal(limits.local.patience.wire.head_bytes, 16384);
        assert_int_equal(limits.local.patience.wire.body_bytes, 1048576);
        assert_int_equal(limits.local.patience.first_ms, 0);
        assert_int_equal(limits.local.patience.request_ms, 20000);
        assert_int_equal(limits.local.patience.idle_ms, 60000);
        assert_int_equal(limits.tcp.room.connections, tls ? 256 : 0);
        assert_int_equal(limits.tcp.patience.first_ms, 5000);
    }
    each_limit_has_its_setting();
    /* a process that may open few files: half of what fits at most is for TCP */
    assert_int_equal(getrlimit(RLIMIT_NOFILE, &files), 0);
    files.rlim_cur = files.rlim_max = 160;
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &files), 0);
    limits_read(config, true, &QUIET, &limits);
    assert_int_equal(limits.local.room.connections, 20); /* of a quarter, 40 */
    assert_int_equal(limits.tcp.room.connections, 20);
    limits_read(config, false, &QUIET, &limits);
    assert_int_equal(limits.local.room.connections, 40);
    assert_int_equal(limits.tcp.room.connections, 0);
    files.rlim_cur = files.rlim_max = 12;
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &files), 0);
    limits_read(config, false, &QUIET, &limits);
    assert_int_equal(limits.local.room.connections, 4); /* the least */
    config_free(config);
}

static int open_dir(void **state)
{
    (void)state;
    strcpy(dir, "/tmp/oddloaf-credentials-XXXXXX");
    return mkdtemp(dir) ? 0 : -1;
}

static int close_dir(void **state)
{
    char command[96];
    (void)state;
    snprintf(command, sizeof command, "rm -rf %s", dir);
    return system(command);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_token_gives_its_role, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(what_is_seen_adds_up, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(files_are_looked_at, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(where_it_listens_is_looked_at, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(tokens_are_looked_at, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(who_cannot_log_on_is_said, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(what_is_not_there_is_said, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(limits_are_the_settings, open_dir, close_dir),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
