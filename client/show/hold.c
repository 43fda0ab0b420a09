#include "show/hold.h"
#include "show/pick.h"
#include <stdlib.h>

void hold_show_unrecorded(const struct view *v, const json_t *answer)
{
    char *codes = pick_shown(answer, "not_on_record");
    if (*codes)
        view_textf(
            v, VIEW_BOLD, 0, 2,
            "Not on record: %s. Check the code. It is kept by the code and becomes the lot's "
            "when a lot of that code is loaded.",
            codes);
    free(codes);
}
