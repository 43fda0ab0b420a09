#include "check.h"

#include "lots/lot_rules.h"
#include "lots/match.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { FAULTS = 20 };

struct faults {
    struct error fault[FAULTS];
    int count;
};

static void note(void *arg, const struct error *fault)
{
    struct faults *faults = arg;
    if (faults->count < FAULTS)
        faults->fault[faults->count++] = *fault;
}

static int load(const char *text, struct faults *faults, struct error *err)
{
    char path[] = "/tmp/oddloaf-rules-XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0 && write(fd, text, strlen(text)) == (ssize_t)strlen(text));
    close(fd);
    struct lot_matcher *matcher = NULL;
    int rc = lot_rules_load(path, note, faults, &matcher, err);
    lot_rules_free(matcher);
    unlink(path);
    return rc;
}

static void shipped_rules_load(void **state)
{
    (void)state;
    struct faults faults = {0};
    struct lot_matcher *matcher = NULL;
    struct error err = {0};
    int rc = lot_rules_load(ODDLOAF_SOURCE_DIR "/rules/lots.json", note, &faults, &matcher, &err);
    if (rc < 0)
        fail_msg("%ld:%ld %s", err.line, err.column, err.text);
    assert_int_equal(faults.count, 0);
    lot_rules_free(matcher);
    lot_rules_free(NULL);
}

static void every_fault_is_named_with_its_place(void **state)
{
    (void)state;
    static const char TEXT[] =
        "{\"plants\": [{\"plant\": \"\", \"patterns\": [\n"
        "  {\"name\": \"a\", \"pattern\": \"(?<doy>[0-9]{3}\"},\n"
        "  {\"name\": \"b\", \"pattern\": \"(?<doy>[0-9]{3})\", \"effective_from\": \"soon\"},\n"
        "  {\"name\": \"c\", \"pattern\": \"(?<doy>[0-9]{3})\", \"examples\": [\n"
        "    {\"text\": \"321\", \"received\": \"2026-11-20\", \"day\": \"2026-11-18\"},\n"
        "    {\"text\": \"X\", \"received\": \"2026-11-20\"}]}]}],\n"
        " \"reading\": {\"junk\": 7, \"clear\": {\"share\": 0.5}},\n"
        " \"agreement\": {\"reported\": [{\"age\": 1, \"weight\": 1}, {\"age\": 0, \"weight\": "
        "1}]},\n"
        " \"colour\": \"blue\"}\n";
    static const struct {
        long line;
        const char *field, *text;
    } EXPECTED[] = {
        {9, "/colour", "no such member"},
        {7, "/reading/junk", "from 0 to 0.3"},
        {7, "/reading/smudged/share", "sum to 1"},
        {8, "/agreement/reported/1", "grow"},
        {2, "/plants/0/patterns/0/pattern", "at character"},
        {3, "/plants/0/patterns/1/effective_from", ""},
        {5, "/plants/0/patterns/2/examples/0/day", "reads '2026-11-17'"},
        {6, "/plants/0/patterns/2/examples/1/text", "own example"},
    };
    struct faults faults = {0};
    struct error err = {0};
    assert_int_equal(load(TEXT, &faults, &err), ERROR_INVALID);
    assert_int_equal(faults.count, COUNT_OF(EXPECTED));
    for (size_t i = 0; i < COUNT_OF(EXPECTED); i++) {
        assert_string_equal(faults.fault[i].field, EXPECTED[i].field);
        assert_int_equal(faults.fault[i].line, EXPECTED[i].line);
        assert_true(faults.fault[i].column > 0);
        assert_non_null(strstr(faults.fault[i].text, EXPECTED[i].text));
        assert_true(faults.fault[i].source[0]);
    }
    assert_string_equal(err.field, EXPECTED[0].field);
}

static void not_even_json(void **state)
{
    (void)state;
    struct faults faults = {0};
    struct error err = {0};
    assert_int_equal(load("{\"plants\": [\n}", &faults, &err), ERROR_INVALID);
    assert_int_equal(faults.count, 1);
    assert_int_equal(err.line, 2);
    error_clear(&err);
    assert_int_equal(load("[]", &faults, &err), ERROR_INVALID);
    error_clear(&err);
    struct lot_matcher *matcher = NULL;
    assert_int_equal(lot_rules_load("/nowhere/lots.json", NULL, NULL, &matcher, &err),
                     ERROR_NOT_FOUND);
    assert_string_equal(err.source, "/nowhere/lots.json");
}

/* A code tells its plant where that alone writes so. */
static void a_code_is_the_plants_that_alone_writes_it(void **state)
{
    static const char TEXT[] =
        "{\"plants\": [{\"plant\": \"\", \"patterns\": [{\"name\": \"any\", \"pattern\":"
        " \"Z(?<y>[0-9])(?<doy>[0-9]{3})\", \"because\": \"x\", \"source\": \"x\"}]},\n"
        "{\"plant\": \"Larkfen\", \"patterns\": [{\"name\": \"l\", \"pattern\":"
        " \"[LB](?<line>1) ?(?<y>[0-9])(?<doy>[0-9]{3})\", \"because\": \"x\", \"source\": "
        "\"x\"}]},\n"
        "{\"plant\": \"Quarrhill\", \"patterns\": [{\"name\": \"q\", \"pattern\":"
        " \"[QB](?<line>1) ?(?<y>[0-9])(?<doy>[0-9]{3})\", \"because\": \"x\", \"source\": "
        "\"x\"}]}]}";
    static const struct {
        const char *code, *plant;
    } CODES[] = {{"L1 6320", "Larkfen"},
                 {"q16320", "Quarrhill"},
                 {"\uff2c\uff11 \uff16\uff13\uff12\uff10", "Larkfen"},
                 {"B1 6320", ""},
                 {"Z6320", ""},
                 {"6320", ""},
                 {"L1 6999", ""},
                 {"", ""}};
    (void)state;
    char path[] = "/tmp/oddloaf-rules-XXXXXX", plant[LOT_MATCH_WORD];
    int fd = mkstemp(path);
    assert_true(fd >= 0 && write(fd, TEXT, strlen(TEXT)) == (ssize_t)strlen(TEXT));
    close(fd);
    struct lot_matcher *matcher = NULL;
    struct error err = {0};
    struct tz *tz = NULL;
    int64_t received_ms = 0;
    assert_int_equal(tz_open("UTC", &tz, NULL), 0);
    assert_int_equal(when_parse("2026-11-29T10:00:00Z", &received_ms, NULL), 0);
    if (lot_rules_load(path, NULL, NULL, &matcher, &err))
        fail_msg("%s %s", err.field, err.text);
    for (size_t i = 0; i < COUNT_OF(CODES); i++)
        assert_string_equal(match_plant(matcher, CODES[i].code, received_ms, tz, plant),
                            CODES[i].plant);
    lot_rules_free(matcher);
    tz_close(tz);
    unlink(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shipped_rules_load),
        cmocka_unit_test(every_fault_is_named_with_its_place),
        cmocka_unit_test(not_even_json),
        cmocka_unit_test(a_code_is_the_plants_that_alone_writes_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
