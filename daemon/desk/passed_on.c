#include "desk/passed_on.h"

static void set_standing(json_t *answer, const char *named, const char *says)
{
    json_object_update_new(answer, json_pack("{s:n, s:n, s:n, s:s, s:s, s:s, s:[], s:[]}", "case",
                                             "lot", "lot_text", "lot_state", "unknown", "lot_named",
                                             named, "lot_says", says, "lot_decides", "lots"));
}

void passed_on_json(json_t *answer)
{
    set_standing(answer, "another plant's", "another plant's: it was passed on to that plant");
    json_object_set_new(answer, "passed_on", json_true());
}

void passed_on_lot(json_t *answer)
{
    set_standing(answer, "another plant's",
                 "another plant's: ask that plant's people, or the company's");
    json_object_del(answer, "case");
    json_object_set_new(answer, "elsewhere", json_true());
}

void passed_on_unread(json_t *answer)
{
    set_standing(answer, "not looked up", "the lot could not be looked up now");
}
