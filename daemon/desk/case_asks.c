#include "desk/case_asks.h"
#include "base/short_id.h"
#include "base/tz_of.h"
#include "facts/case_input.h"
#include "intake/harm.h"
#include "store/case.h"
#include "tell/tell.h"

/* What its complaints tell, each once. */
static json_t *kinds_of(const struct case_input *input)
{
    json_t *kinds = json_array(), *seen = json_object(), *kind;
    for (int i = 0; i < input->count; i++) {
        size_t k;
        json_array_foreach(json_object_get(input->complaints[i].body, "harm"), k, kind)
        {
            const char *word = json_string_value(kind);
            if (!json_object_get(seen, word) && json_object_set(seen, word, kind) == 0)
                json_array_append(kinds, kind);
        }
    }
    json_decref(seen);
    return kinds;
}

static json_t *without_causes(const struct desk *desk, const struct case_row *row,
                              const struct case_input *input)
{
    char as_of[40];
    enum harm_about about = input->harm            ? HARM_SAID
                            : input->harm_possible ? HARM_POSSIBLE
                                                   : HARM_OTHER;
    json_t *kinds = kinds_of(input);
    json_t *asks = harm_asks_of(desk->harm, about, kinds);
    json_decref(kinds);
    return json_pack("{s:o, s:s, s:o, s:n, s:b, s:b}", "case", CASE_ID_JSON(input->case_id),
                     "as_of", when_format(tz_of(desk->tz, row->plant), input->as_of_ms, as_of),
                     "ask", asks, "says", "harm", input->harm, "harm_possible",
                     input->harm_possible && !input->harm);
}

static void put_first(const struct desk *desk, json_t *answer)
{
    json_t *first = harm_asks_of(desk->harm, HARM_POSSIBLE, NULL);
    json_array_extend(first, json_object_get(answer, "ask"));
    json_object_set_new(answer, "ask", first);
    json_object_set_new(answer, "says", json_null());
}

int case_asks_json(const struct desk *desk, struct store *store, int64_t case_id, json_t **ret,
                   struct error *err)
{
    struct case_input input;
    struct case_row row;
    int rc = case_get(store, case_id, &row, err);
    if (!rc)
        rc = case_input_read(store, case_id, &input, err);
    if (rc)
        return rc;
    if (input.harm || input.symptom < 0)
        *ret = without_causes(desk, &row, &input);
    else
        rc = tell_ask(desk->triage, store, case_id, ret, err);
    if (!rc && input.harm_possible && !input.harm && input.symptom >= 0)
        put_first(desk, *ret);
    case_input_clear(&input);
    return rc;
}
