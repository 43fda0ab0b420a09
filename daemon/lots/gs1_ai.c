#include "lots/gs1_ai.h"
#include "base/when.h"
#include <string.h>

/* GS1 Barcode Syntax Dictionary (GS1 AISBL, 2025): identifiers, formats, which are of predefined
 * length. In order of the identifier. */
static const struct gs1_ai TABLE[] = {
    {"00", "00", 18, 0, 0, 'N', 'p', 18, false},
    {"01", "03", 14, 0, 0, 'N', 'p', 14, false},
    {"10", "10", 0, 1, 20, 'X', ' ', 0, false},
    {"11", "13", 6, 0, 0, 'N', 'p', 0, true},
    {"15", "17", 6, 0, 0, 'N', 'p', 0, true},
    {"20", "20", 2, 0, 0, 'N', 'p', 0, false},
    {"21", "22", 0, 1, 20, 'X', ' ', 0, false},
    {"235", "235", 0, 1, 28, 'X', ' ', 0, false},
    {"240", "241", 0, 1, 30, 'X', ' ', 0, false},
    {"242", "242", 0, 1, 6, 'N', ' ', 0, false},
    {"243", "243", 0, 1, 20, 'X', ' ', 0, false},
    {"250", "251", 0, 1, 30, 'X', ' ', 0, false},
    {"253", "253", 13, 0, 17, 'X', ' ', 13, false},
    {"254", "254", 0, 1, 20, 'X', ' ', 0, false},
    {"255", "255", 13, 0, 12, 'N', ' ', 13, false},
    {"30", "30", 0, 1, 8, 'N', ' ', 0, false},
    {"3100", "3699", 6, 0, 0, 'N', 'p', 0, false},
    {"37", "37", 0, 1, 8, 'N', ' ', 0, false},
    {"3900", "3909", 0, 1, 15, 'N', ' ', 0, false},
    {"3910", "3919", 3, 1, 15, 'N', ' ', 0, false},
    {"3920", "3929", 0, 1, 15, 'N', ' ', 0, false},
    {"3930", "3939", 3, 1, 15, 'N', ' ', 0, false},
    {"3940", "3943", 4, 0, 0, 'N', ' ', 0, false},
    {"3950", "3955", 6, 0, 0, 'N', ' ', 0, false},
    {"400", "401", 0, 1, 30, 'X', ' ', 0, false},
    {"402", "402", 17, 0, 0, 'N', ' ', 17, false},
    {"403", "403", 0, 1, 30, 'X', ' ', 0, false},
    {"410", "417", 13, 0, 0, 'N', 'p', 13, false},
    {"420", "420", 0, 1, 20, 'X', ' ', 0, false},
    {"421", "421", 3, 1, 9, 'X', ' ', 0, false},
    {"422", "422", 3, 0, 0, 'N', ' ', 0, false},
    {"423", "423", 3, 0, 12, 'N', ' ', 0, false},
    {"424", "424", 3, 0, 0, 'N', ' ', 0, false},
    {"425", "425", 3, 0, 12, 'N', ' ', 0, false},
    {"426", "426", 3, 0, 0, 'N', ' ', 0, false},
    {"427", "427", 0, 1, 3, 'X', ' ', 0, false},
    {"4300", "4301", 0, 1, 35, 'X', ' ', 0, false},
    {"4302", "4306", 0, 1, 70, 'X', ' ', 0, false},
    {"4307", "4307", 0, 2, 2, 'X', ' ', 0, false},
    {"4308", "4308", 0, 1, 30, 'X', ' ', 0, false},
    {"4309", "4309", 20, 0, 0, 'N', ' ', 0, false},
    {"4310", "4311", 0, 1, 35, 'X', ' ', 0, false},
    {"4312", "4316", 0, 1, 70, 'X', ' ', 0, false},
    {"4317", "4317", 0, 2, 2, 'X', ' ', 0, false},
    {"4318", "4318", 0, 1, 20, 'X', ' ', 0, false},
    {"4319", "4319", 0, 1, 30, 'X', ' ', 0, false},
    {"4320", "4320", 0, 1, 35, 'X', ' ', 0, false},
    {"4321", "4323", 1, 0, 0, 'N', ' ', 0, false},
    {"4324", "4325", 10, 0, 0, 'N', ' ', 0, true},
    {"4326", "4326", 6, 0, 0, 'N', ' ', 0, true},
    {"4330", "4333", 6, 0, 1, 'X', ' ', 0, false},
    {"7001", "7001", 13, 0, 0, 'N', ' ', 0, false},
    {"7002", "7002", 0, 1, 30, 'X', ' ', 0, false},
    {"7003", "7003", 10, 0, 0, 'N', ' ', 0, true},
    {"7004", "7004", 0, 1, 4, 'N', ' ', 0, false},
    {"7005", "7005", 0, 1, 12, 'X', ' ', 0, false},
    {"7006", "7006", 6, 0, 0, 'N', ' ', 0, true},
    {"7007", "7007", 6, 0, 6, 'N', ' ', 0, true},
    {"7008", "7008", 0, 1, 3, 'X', ' ', 0, false},
    {"7009", "7009", 0, 1, 10, 'X', ' ', 0, false},
    {"7010", "7010", 0, 1, 2, 'X', ' ', 0, false},
    {"7011", "7011", 6, 0, 4, 'N', ' ', 0, true},
    {"7020", "7022", 0, 1, 20, 'X', ' ', 0, false},
    {"7023", "7023", 0, 1, 30, 'X', ' ', 0, false},
    {"7030", "7039", 3, 1, 27, 'X', ' ', 0, false},
    {"7040", "7040", 1, 3, 3, 'X', ' ', 0, false},
    {"7041", "7041", 0, 1, 4, 'X', ' ', 0, false},
    {"710", "717", 0, 1, 20, 'X', ' ', 0, false},
    {"7230", "7239", 0, 3, 30, 'X', ' ', 0, false},
    {"7240", "7240", 0, 1, 20, 'X', ' ', 0, false},
    {"7241", "7241", 2, 0, 0, 'N', ' ', 0, false},
    {"7242", "7242", 0, 1, 25, 'X', ' ', 0, false},
    {"7250", "7250", 8, 0, 0, 'N', ' ', 0, false},
    {"7251", "7251", 12, 0, 0, 'N', ' ', 0, false},
    {"7252", "7252", 1, 0, 0, 'N', ' ', 0, false},
    {"7253", "7254", 0, 1, 40, 'X', ' ', 0, false},
    {"7255", "7255", 0, 1, 10, 'X', ' ', 0, false},
    {"7256", "7256", 0, 1, 90, 'X', ' ', 0, false},
    {"7257", "7257", 0, 1, 70, 'X', ' ', 0, false},
    {"7258", "7258", 0, 3, 3, 'X', ' ', 0, false},
    {"7259", "7259", 0, 1, 40, 'X', ' ', 0, false},
    {"8001", "8001", 14, 0, 0, 'N', ' ', 0, false},
    {"8002", "8002", 0, 1, 20, 'X', ' ', 0, false},
    {"8003", "8003", 14, 0, 16, 'X', ' ', 14, false},
    {"8004", "8004", 0, 1, 30, 'X', ' ', 0, false},
    {"8005", "8005", 6, 0, 0, 'N', ' ', 0, false},
    {"8006", "8006", 18, 0, 0, 'N', ' ', 14, false},
    {"8007", "8007", 0, 1, 34, 'X', ' ', 0, false},
    {"8008", "8008", 8, 0, 4, 'N', ' ', 0, true},
    {"8009", "8009", 0, 1, 50, 'X', ' ', 0, false},
    {"8010", "8010", 0, 1, 30, 'X', ' ', 0, false},
    {"8011", "8011", 0, 1, 12, 'N', ' ', 0, false},
    {"8012", "8012", 0, 1, 20, 'X', ' ', 0, false},
    {"8013", "8014", 0, 1, 25, 'X', ' ', 0, false},
    {"8017", "8018", 18, 0, 0, 'N', ' ', 18, false},
    {"8019", "8019", 0, 1, 10, 'N', ' ', 0, false},
    {"8020", "8020", 0, 1, 25, 'X', ' ', 0, false},
    {"8026", "8026", 18, 0, 0, 'N', ' ', 14, false},
    {"8030", "8030", 0, 1, 90, 'Z', ' ', 0, false},
    {"8040", "8041", 15, 0, 0, 'N', ' ', 0, false},
    {"8042", "8042", 32, 0, 0, 'N', ' ', 0, false},
    {"8043", "8043", 18, 0, 2, 'N', ' ', 0, false},
    {"8110", "8110", 0, 1, 70, 'X', ' ', 0, false},
    {"8111", "8111", 4, 0, 0, 'N', ' ', 0, false},
    {"8112", "8112", 0, 1, 70, 'X', ' ', 0, false},
    {"8200", "8200", 0, 1, 70, 'X', ' ', 0, false},
    {"90", "90", 0, 1, 30, 'X', ' ', 0, false},
    {"91", "99", 0, 1, 90, 'X', ' ', 0, false},
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_letter(char c)
{
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

static bool is_of_set(char c, char set)
{
    if (is_digit(c))
        return true;
    if (set == 'N')
        return false;
    if (is_letter(c))
        return true;
    return c && strchr(set == 'Z' ? "-_=" : "!\"%&'()*+,-./:;<=>?_", c) != NULL;
}

const struct gs1_ai *gs1_ai_at(const char *text, size_t length, size_t *ret_length)
{
    for (size_t i = 0; i < sizeof TABLE / sizeof TABLE[0]; i++) {
        const struct gs1_ai *row = &TABLE[i];
        size_t digits = strlen(row->first);
        if (digits > length || memcmp(text, row->first, digits) < 0 ||
            memcmp(text, row->last, digits) > 0)
            continue;
        bool all = true;
        for (size_t d = 0; d < digits; d++)
            all = all && is_digit(text[d]);
        /* measures: 310n to 369n with n = 0 to 5, 0 to 9 never used here above 5 */
        if (!all || (row->digits == 6 && digits == 4 && text[0] == '3' && text[3] > '5'))
            continue;
        *ret_length = digits;
        return row;
    }
    return NULL;
}

static int refuse(struct error *err, const char *ai, const char *data, const char *why)
{
    int code = error_set(err, ERROR_INVALID, "%s", why);
    error_field(err, ai, data);
    return code;
}

static int check_data(const struct gs1_ai *row, const char *ai, const char *data, size_t length,
                      struct error *err)
{
    if (length < (size_t)row->digits + row->more_min)
        return refuse(err, ai, data, "the data are too short for this identifier");
    if (length > (size_t)row->digits + row->more_max)
        return refuse(err, ai, data, "the data are too long for this identifier");
    for (size_t i = 0; i < length; i++)
        if (!is_of_set(data[i], i < row->digits ? 'N' : row->more))
            return refuse(err, ai, data,
                          i < row->digits || row->more == 'N'
                              ? "only digits are allowed here"
                              : "a character that GS1 data may not hold");
    if (row->check_at) {
        char right = gs1_check_digit(data, (size_t)row->check_at - 1);
        if (data[row->check_at - 1] != right) {
            refuse(err, ai, data, "the check digit is wrong");
            error_hint(err, "one digit is misread: with the others right it would end in %c",
                       right);
            return ERROR_INVALID;
        }
        if (strspn(data, "0") >= row->check_at)
            return refuse(err, ai, data, "a number of nothing but zeros");
    }
    if (row->date) {
        char yymmdd[7];
        memcpy(yymmdd, data, 6);
        yymmdd[6] = '\0';
        int32_t day;
        int rc = gs1_day(yymmdd, 2000, true, &day, NULL, err); /* any century: is it a date? */
        if (rc < 0) {
            error_field(err, ai, data);
            return rc;
        }
    }
    return 0;
}

int gs1_ai_add(struct gs1 *gs1, const char *ai, const char *data, size_t length, struct error *err)
{
    size_t digits;
    const struct gs1_ai *row = gs1_ai_at(ai, strlen(ai), &digits);
    char held[GS1_DATA];
    size_t kept = length < sizeof held - 1 ? length : sizeof held - 1;
    memcpy(held, data, kept);
    held[kept] = '\0';
    if (!row || digits != strlen(ai))
        return refuse(err, ai, held, "there is no such application identifier");
    if (length >= GS1_DATA)
        return refuse(err, ai, held, "the data are too long for this identifier");
    int rc = check_data(row, ai, held, length, err);
    if (rc < 0)
        return rc;
    const char *before = gs1_get(gs1, ai);
    if (before && strcmp(before, held) != 0)
        return refuse(err, ai, held, "this identifier comes twice with different data");
    if (before)
        return 0;
    if (gs1->count == GS1_ELEMENTS)
        return error_set(err, ERROR_TOO_LARGE, "more than %d elements", GS1_ELEMENTS);
    struct gs1_element *element = &gs1->element[gs1->count++];
    memcpy(element->ai, ai, digits + 1);
    memcpy(element->data, held, length + 1);
    return 0;
}
