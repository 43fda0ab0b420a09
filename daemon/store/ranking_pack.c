#include "store/ranking_pack.h"
#include "base/text.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Fields behind the value: what is unknown has none. Before there were letters each stood in its
 * place, empty if it was unknown. */
enum { TARGET_FIELD, OBSERVED_FIELD, EXPECTED_FIELD, LOTS_FIELD, FIELDS };
static const char LETTERS[FIELDS + 1] = "toen";

/* Facts that most rankings tell of: the first is #0, the eleventh #A. Append only, for these stand
 * in databases; a name that is not among them stands as it is. */
static const char *const OFTEN[] = {
    "kept",
    "company.lot",
    "company.line",
    "days_past_code",
    "channel",
    "company.any",
    "model.mold_age",
    "where",
    "colour",
    "company.plant",
    "bag",
    "family",
    "season",
    "age_days",
    "core_at_pack_c",
    "company.mold",
    "company.shift",
    "model.stale_age",
    "company.product",
    "company.line_hour",
    "odor",
    "crumb_ph",
    "crumb",
    "crumb_moisture_pct",
    "company.film",
    "company.route",
    "company.store",
    "company.supplier",
    "company.flour",
    "company.closure",
    "wet_inside_bag",
    "spots",
};
enum { OFTEN_COUNT = sizeof OFTEN / sizeof OFTEN[0] };
static const char DIGITS[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz";
_Static_assert(OFTEN_COUNT < sizeof DIGITS, "each has a letter");

static void append_name(struct text_buffer *out, const char *fact)
{
    for (int i = 0; i < OFTEN_COUNT; i++) {
        if (strcmp(OFTEN[i], fact) == 0) {
            text_appendf(out, "#%c", DIGITS[i]);
            return;
        }
    }
    text_append(out, fact);
}

static const char *read_name(const char *text)
{
    const char *digit = text[0] == '#' && text[1] ? strchr(DIGITS, text[1]) : NULL;
    return digit && digit - DIGITS < OFTEN_COUNT ? OFTEN[digit - DIGITS] : text;
}

static void append_number(struct text_buffer *out, int field, double value)
{
    if (!isnan(value))
        text_appendf(out, "\t%c%.12g", LETTERS[field], value);
}

static bool same_fact(const struct ranking_item *a, const struct ranking_item *b)
{
    return strcmp(a->fact, b->fact) == 0 && strcmp(a->value, b->value) == 0;
}

static void append_fact(struct text_buffer *out, const struct ranking_item *item)
{
    append_name(out, item->fact);
    text_appendf(out, "\t%s", item->value);
    append_number(out, TARGET_FIELD, item->target);
    append_number(out, OBSERVED_FIELD, item->observed);
    append_number(out, EXPECTED_FIELD, item->expected);
    append_number(out, LOTS_FIELD, item->lots ? (double)item->lots : (double)NAN);
}

char *ranking_pack(const struct ranking *ranking)
{
    struct text_buffer out = {0};
    bool *said = xcalloc((size_t)ranking->item_count + 1, sizeof *said);
    for (int i = 0; i < ranking->item_count; i++) {
        if (said[i])
            continue;
        append_fact(&out, &ranking->items[i]);
        for (int k = i; k < ranking->item_count; k++) {
            const struct ranking_item *item = &ranking->items[k];
            if (said[k] || !same_fact(item, &ranking->items[i]))
                continue;
            text_appendf(&out, "\t%d:%d", item->cause, item->bits_hundredths);
            said[k] = true;
        }
        text_append(&out, "\n");
    }
    free(said);
    return text_take(&out);
}

void ranking_pack_cause(struct ranking *ranking, const char *cause, double probability)
{
    size_t count = (size_t)ranking->cause_count + 1;
    ranking->causes = xrealloc(ranking->causes, count * sizeof *ranking->causes);
    struct ranking_cause *one = &ranking->causes[ranking->cause_count++];
    text_clip(cause, one->cause, sizeof one->cause);
    one->probability = probability;
}

void ranking_pack_item(struct ranking *ranking, const struct ranking_item *item)
{
    size_t count = (size_t)ranking->item_count + 1;
    ranking->items = xrealloc(ranking->items, count * sizeof *ranking->items);
    ranking->items[ranking->item_count++] = *item;
}

static double number_of(const char *text)
{
    double value = NAN;
    text_to_double(text, &value);
    return value;
}

static void unpack_pair(char *pair, struct ranking_item *item, struct ranking *ranking)
{
    int64_t cause = 0, hundredths = 0;
    char *colon = strchr(pair, ':');
    if (!colon)
        return;
    *colon = '\0';
    if (text_to_int64(pair, &cause) || text_to_int64(colon + 1, &hundredths) || cause < 0 ||
        cause >= ranking->cause_count)
        return;
    item->cause = (int)cause;
    item->bits_hundredths = (int)hundredths;
    ranking_pack_item(ranking, item);
}

static void unpack_field(int field, const char *text, struct ranking_item *item)
{
    double value = number_of(text);
    if (field == TARGET_FIELD)
        item->target = value;
    else if (field == OBSERVED_FIELD)
        item->observed = value;
    else if (field == EXPECTED_FIELD)
        item->expected = value;
    else if (field == LOTS_FIELD)
        item->lots = isnan(value) ? 0 : (int)value;
}

static void unpack_line(char *line, struct ranking *ranking)
{
    char *next = line, *fact = strsep(&next, "\t"), *value = strsep(&next, "\t"), *field;
    struct ranking_item item = {.target = NAN, .observed = NAN, .expected = NAN};
    if (!value)
        return;
    text_clip(read_name(fact), item.fact, sizeof item.fact);
    text_clip(value, item.value, sizeof item.value);
    for (int place = 0; (field = strsep(&next, "\t")); place++) {
        const char *letter = *field ? strchr(LETTERS, *field) : NULL;
        if (strchr(field, ':'))
            unpack_pair(field, &item, ranking);
        else if (letter)
            unpack_field((int)(letter - LETTERS), field + 1, &item);
        else
            unpack_field(place, field, &item);
    }
}

void ranking_pack_read(const char *text, struct ranking *ranking)
{
    char *copy = xstrdup(text);
    for (char *next = copy, *line; (line = strsep(&next, "\n"));)
        if (*line)
            unpack_line(line, ranking);
    free(copy);
}
