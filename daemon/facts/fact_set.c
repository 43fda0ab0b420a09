#include "facts/fact_set.h"
#include "base/text.h"
#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct fact UNKNOWN = {.value = NAN,
                                    .target = NAN,
                                    .usual = NAN,
                                    .z = NAN,
                                    .bits = NAN,
                                    .observed = NAN,
                                    .expected = NAN,
                                    .at_ms = WHEN_UNKNOWN_MS};

static struct fact *unknown_facts(size_t count)
{
    struct fact *facts = xmalloc((count + 1) * sizeof *facts);
    for (size_t i = 0; i < count; i++)
        facts[i] = UNKNOWN;
    return facts;
}

void fact_set_init(struct fact_set *set, const struct rules *rules, int complaint_count)
{
    assert(rules && complaint_count >= 0);
    *set = (struct fact_set){.rules = rules, .complaint_count = complaint_count};
    set->lot = unknown_facts((size_t)rules->lot_slots);
    set->complaints = unknown_facts((size_t)complaint_count * (size_t)rules->complaint_slots);
}

void fact_set_clear(struct fact_set *set)
{
    lot_record_unref(set->record);
    free(set->lot);
    free(set->complaints);
    *set = (struct fact_set){0};
}

struct fact_name fact_set_name(const struct fact_set *set, int fact, const struct fact *of)
{
    static const char *const PARTS[] = {
        [PART_MEDIAN] = "", [PART_MIN] = ".min", [PART_MAX] = ".max"};
    struct fact_name name = set->rules->facts[fact].name;
    if (of->quantity) {
        text_clip(of->quantity, name.quantity, sizeof name.quantity);
        snprintf(name.text, sizeof name.text, "%s%s", of->quantity, PARTS[name.part]);
    }
    return name;
}

bool fact_set_is_sample(const char *quantity)
{
    return strstr(quantity, "_cfu") || strstr(quantity, "_rlu");
}

void fact_set_number(struct fact *fact, double value)
{
    if (isfinite(value)) {
        fact->known = true;
        fact->value = value;
    }
}

void fact_set_word(struct fact *fact, const char *word)
{
    if (word && *word && fact->word_count < FACT_WORDS) {
        fact->known = true;
        fact->words[fact->word_count++] = word;
    }
}
