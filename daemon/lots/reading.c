#include "lots/reading.h"
#include <assert.h>
#include <math.h>
#include <string.h>

int reading_letter(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'A' && c <= 'Z')
        return c - 'A' + 10;
    return c >= 'a' && c <= 'z' ? c - 'a' + 10 : -1;
}

void reading_defaults(struct reading *ret)
{
    static const struct {
        const char *letters;
        double weight;
    } ALIKE[] = {
        {"0O", 4},   {"1I", 2},   {"1L", 2},   {"IL", 2},   {"5S", 2},   {"8B", 2},   {"2Z", 2},
        {"6G", 1},   {"6B", 0.5}, {"0D", 1},   {"0Q", 1},   {"OD", 1},   {"OQ", 1},   {"1T", 0.3},
        {"17", 1},   {"CG", 1},   {"EF", 1},   {"KX", 0.5}, {"UV", 1},   {"9Q", 0.5}, {"9G", 0.5},
        {"38", 1},   {"06", 0.5}, {"09", 0.3}, {"56", 0.7}, {"68", 0.7}, {"49", 0.5}, {"MN", 1},
        {"BD", 0.7}, {"BP", 0.5}, {"DT", 0.5},
    };
    *ret = (struct reading){
        .quality = {{.share = 0.85,
                     .confused = 0.002,
                     .other = 0.001,
                     .dropped = 0.001,
                     .doubled = 0.0005,
                     .extra = 0.0005,
                     .swapped = 0.001},
                    {.share = 0.15,
                     .confused = 0.04,
                     .other = 0.015,
                     .dropped = 0.02,
                     .doubled = 0.01,
                     .extra = 0.005,
                     .swapped = 0.01}},
        .part_missing = 0.02,
        .head_missing = 0.02,
        .tail_missing = 0.03,
        .letter_missing = 0.04,
        .junk = 0.02,
    };
    for (size_t i = 0; i < sizeof ALIKE / sizeof ALIKE[0]; i++)
        reading_set_alike(ret, ALIKE[i].letters, ALIKE[i].weight);
}

bool reading_set_alike(struct reading *reading, const char *letters, double weight)
{
    assert(weight >= 0);
    for (const char *a = letters; *a; a++)
        for (const char *b = letters; *b; b++) {
            int i = reading_letter(*a), j = reading_letter(*b);
            if (i < 0 || j < 0)
                return false;
            if (i != j)
                reading->alike[i][j] = weight;
        }
    return true;
}

static double confused_sum(const struct reading *reading, size_t letter)
{
    assert(letter < READING_LETTERS);
    double sum = 0;
    for (size_t i = 0; i < READING_LETTERS; i++)
        sum += reading->alike[letter][i];
    return sum;
}

bool reading_is_sound(const struct reading *reading)
{
    for (size_t c = 0; c < READING_LETTERS; c++)
        for (size_t q = 0; q < READING_QUALITIES; q++) {
            const struct reading_rates *r = &reading->quality[q];
            double wrong = r->confused * confused_sum(reading, c) + r->other + r->dropped +
                           r->doubled + r->swapped;
            if (!(wrong <= 0.5))
                return false;
        }
    return true;
}

void reading_prepare(const char *code, struct reading_code *ret)
{
    memset(ret, 0, sizeof *ret);
    bool fresh = true;
    for (const char *s = code; *s && ret->length < READING_TEXT; s++) {
        int letter = reading_letter(*s);
        if (letter < 0) {
            fresh = true;
            continue;
        }
        ret->part_start[ret->length] = fresh;
        ret->parts += fresh;
        ret->letter[ret->length++] = (unsigned char)letter;
        fresh = false;
    }
    assert(ret->length <= READING_TEXT && ret->parts <= ret->length);
    ret->part_start[ret->length] = true;
}

/* What can become of one character of the code, for one quality. */
struct fate {
    double dropped, doubled, swapped, right, other, extra;
};

static struct fate fate_of(const struct reading *reading, const struct reading_rates *r,
                           const struct reading_code *code, size_t i)
{
    struct fate f = {r->dropped, r->doubled, r->swapped, 0, r->other, r->extra};
    bool leading_letter = code->part_start[i] && code->letter[i] >= 10 && i + 1 < code->length;
    if (leading_letter && reading->letter_missing > f.dropped)
        f.dropped = reading->letter_missing;
    if (i + 1 == code->length || code->letter[i] == code->letter[i + 1])
        f.swapped = 0;
    f.right = 1 - f.dropped - f.doubled - f.swapped - f.other -
              r->confused * confused_sum(reading, code->letter[i]);
    if (f.right < 0.1)
        f.right = 0.1;
    return f;
}

typedef double lattice[READING_TEXT + 1][READING_TEXT + 1];

/* From cell (i, j), code and text read so far, onward. */
static void spread(const struct reading *reading, const struct reading_rates *r,
                   const struct reading_code *code, const struct reading_code *text, size_t i,
                   lattice f)
{
    assert(i < code->length);
    struct fate fate = fate_of(reading, r, code, i);
    const double *alike = reading->alike[code->letter[i]];
    const unsigned char *t = text->letter;
    size_t n = text->length;
    double extra = fate.extra / READING_LETTERS, stay = 1 - fate.extra;
    for (size_t j = 0; j <= n; j++) {
        if (j && f[i][j - 1] > 0)
            f[i][j] += f[i][j - 1] * extra;
        double here = f[i][j] * stay;
        if (here <= 0)
            continue;
        f[i + 1][j] += here * fate.dropped;
        if (j == n)
            continue;
        bool same = t[j] == code->letter[i];
        f[i + 1][j + 1] +=
            here *
            (same ? fate.right : fate.other / (READING_LETTERS - 1) + r->confused * alike[t[j]]);
        if (j + 1 == n)
            continue;
        if (fate.swapped > 0 && t[j + 1] == code->letter[i] && t[j] == code->letter[i + 1])
            f[i + 2][j + 2] += here * fate.swapped;
        if (same && t[j + 1] == t[j])
            f[i + 1][j + 2] += here * fate.doubled;
    }
}

/* Where reading may begin: at the first character, or at a later part. Codes without parts may
 * lose any piece of their first half. */
static void begin(const struct reading *reading, const struct reading_code *code, lattice f)
{
    size_t m = code->length, places = 0;
    for (size_t i = 1; i < m; i++)
        places += code->parts > 1 ? code->part_start[i] : i <= m / 2;
    f[0][0] = places ? 1 - reading->head_missing : 1;
    for (size_t i = 1; i < m; i++)
        if (code->parts > 1 ? code->part_start[i] : i <= m / 2)
            f[i][0] = reading->head_missing / (double)places;
}

/* Where it may end: half of what stops early stops at a part, half anywhere. */
static double finish(const struct reading *reading, const struct reading_code *code, size_t n,
                     lattice f)
{
    size_t m = code->length, inner_parts = code->parts > 1 ? code->parts - 1 : 0;
    double anywhere = reading->tail_missing * (inner_parts ? 0.5 : 1), total = 0;
    for (size_t i = 1; i < m; i++) {
        total += f[i][n] * anywhere / (double)(m - 1);
        if (inner_parts && code->part_start[i])
            total += f[i][n] * 0.5 * reading->tail_missing / (double)inner_parts;
    }
    return total + f[m][n] * (1 - reading->tail_missing);
}

static size_t next_part(const struct reading_code *code, size_t i)
{
    assert(i < code->length);
    do
        i++;
    while (!code->part_start[i]);
    return i;
}

static double likelihood(const struct reading *reading, const struct reading_rates *r,
                         const struct reading_code *code, const struct reading_code *text)
{
    lattice f;
    size_t m = code->length, n = text->length;
    for (size_t i = 0; i <= m; i++)
        memset(f[i], 0, (n + 1) * sizeof f[i][0]);
    begin(reading, code, f);
    for (size_t i = 0; i < m; i++) {
        if (code->parts > 1 && code->part_start[i]) {
            size_t to = next_part(code, i);
            for (size_t j = 0; j <= n; j++) {
                assert(to <= m);
                f[to][j] += f[i][j] * reading->part_missing;
                f[i][j] *= 1 - reading->part_missing;
            }
        }
        spread(reading, r, code, text, i, f);
    }
    for (size_t j = 1; j <= n; j++)
        f[m][j] += f[m][j - 1] * r->extra / READING_LETTERS;
    return finish(reading, code, n, f);
}

double reading_log_likelihood(const struct reading *reading, const struct reading_code *code,
                              const struct reading_code *text, bool only_clear)
{
    if (!code->length || !text->length)
        return -INFINITY;
    double sum = 0, shares = 0;
    for (size_t q = 0; q < (only_clear ? 1 : READING_QUALITIES); q++) {
        const struct reading_rates *r = &reading->quality[q];
        shares += r->share;
        sum += r->share * likelihood(reading, r, code, text);
    }
    assert(shares > 0);
    return log(sum / shares);
}

double reading_log_junk(const struct reading_code *text)
{
    return -(double)text->length * log(READING_LETTERS);
}
