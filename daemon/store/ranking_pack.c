#include "store/ranking_pack.h"
#include "base/text.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FACT_FIELD, VALUE_FIELD, TARGET_FIELD, OBSERVED_FIELD, EXPECTED_FIELD, LOTS_FIELD, FIELDS };

static void append_number(struct text_buffer *out, double value)
{
    text_append(out, "\t");
    if (!isnan(value))
        text_appendf(out, "%.12g", value);
}

static bool same_fact(const struct ranking_item *a, const struct ranking_item *b)
{
    return strcmp(a->fact, b->fact) == 0 && strcmp(a->value, b->value) == 0;
}

static void append_fact(struct text_buffer *out, const struct ranking_item *item)
{
    text_appendf(out, "%s\t%s", item->fact, item->value);
    append_number(out, item->target);
    append_number(out, item->observed);
    append_number(out, item->expected);
    append_number(out, item->lots ? (double)item->lots : (double)NAN);
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

static void unpack_line(char *line, struct ranking *ranking)
{
    char *field[FIELDS] = {0}, *next = line;
    for (int i = 0; i < FIELDS && next; i++)
        field[i] = strsep(&next, "\t");
    if (!field[FIELDS - 1])
        return;
    struct ranking_item item = {.target = number_of(field[TARGET_FIELD]),
                                .observed = number_of(field[OBSERVED_FIELD]),
                                .expected = number_of(field[EXPECTED_FIELD]),
                                .lots = *field[LOTS_FIELD] ? (int)number_of(field[LOTS_FIELD]) : 0};
    text_clip(field[FACT_FIELD], item.fact, sizeof item.fact);
    text_clip(field[VALUE_FIELD], item.value, sizeof item.value);
    for (char *pair; (pair = strsep(&next, "\t"));)
        unpack_pair(pair, &item, ranking);
}

void ranking_pack_read(const char *text, struct ranking *ranking)
{
    char *copy = xstrdup(text);
    for (char *next = copy, *line; (line = strsep(&next, "\n"));)
        if (*line)
            unpack_line(line, ranking);
    free(copy);
}
