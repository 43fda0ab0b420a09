#include "desk/case_asks.h"
#include "base/short_id.h"
#include "facts/case_input.h"
#include "intake/harm.h"
#include "tell/tell.h"

static json_t *without_causes(const struct desk *desk, const struct case_input *input)
{
    char as_of[40];
    enum harm_about about = input->harm            ? HARM_SAID
                            : input->harm_possible ? HARM_POSSIBLE
                                                   : HARM_OTHER;
    return json_pack("{s:o, s:s, s:o, s:b, s:b}", "case", CASE_ID_JSON(input->case_id), "as_of",
                     when_format(desk->tz, input->as_of_ms, as_of), "ask",
                     harm_asks_of(desk->harm, about), "harm", input->harm, "harm_possible",
                     input->harm_possible && !input->harm);
}

static void put_first(const struct desk *desk, json_t *answer)
{
    json_t *first = harm_asks_of(desk->harm, HARM_POSSIBLE);
    json_array_extend(first, json_object_get(answer, "ask"));
    json_object_set_new(answer, "ask", first);
}

int case_asks_json(const struct desk *desk, struct store *store, int64_t case_id, json_t **ret,
                   struct error *err)
{
    struct case_input input;
    int rc = case_input_read(store, case_id, &input, err);
    if (rc)
        return rc;
    if (input.harm || input.symptom < 0)
        *ret = without_causes(desk, &input);
    else
        rc = tell_ask(desk->triage, store, case_id, ret, err);
    if (!rc && input.harm_possible && !input.harm && input.symptom >= 0)
        put_first(desk, *ret);
    case_input_clear(&input);
    return rc;
}
