#include "tell/assumed.h"
#include "rank/case_rank.h"
#include <string.h>

/* What firmness was fitted to, as families are named. */
static const char FIRM_FAMILY[] = "pan-bread";

static void add_spores(const struct triage *triage, const struct model_lot *lot, json_t *list)
{
    struct mold_course course;
    predict_mold_course(&lot->made, &lot->specified, &triage->models, &course);
    if (!course.valid)
        return;
    json_t *says = json_sprintf(
        "Shares of packs follow from how many spores that can grow are taken to reach one, %.2g on "
        "average (mold.spores_per_pack by mold.spores_scale in rules/models.json, %s). Plants see "
        "far fewer moldy packs than a spore a pack would bring: compare ways with each other, and "
        "take no share for a forecast.",
        course.spores,
        triage->calibration ? "calibrated to this plant's retained samples"
                            : "from memory, not calibrated to this plant");
    json_array_append_new(list, says);
}

json_t *assumed_json(const struct triage *triage, const struct lot_record *record,
                     const struct model_lot *lot, bool shares)
{
    json_t *list = json_array();
    if (shares)
        add_spores(triage, lot, list);
    if (model_lot_sours(record, &lot->made))
        json_array_append_new(
            list, json_string("By its name it is a sourdough, and its own acetic and lactic acid "
                              "are on no record: it is told as bread without them, which molds and "
                              "turns ropy sooner. Trust these numbers less, and give crumb pH and "
                              "acids if you have them."));
    if (strcmp(record->lot.family, FIRM_FAMILY) != 0)
        json_array_append_new(
            list, json_sprintf("Firmness is that of sliced pan bread; how products of the family "
                               "'%s' firm is not known to the models.",
                               record->lot.family));
    return list;
}
