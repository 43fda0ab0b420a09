/* The models' scale factors for mold, fitted to the plant's own retained samples
 * (models/calibrate.h), and what the plant has adopted of such a fit.
 *
 * A fit is always made on the parameters as the rule files have them, so that one adopted earlier
 * does not enter the next. Of the newest year of lots, those that a complaint or a verdict is about
 * are left out: what went wrong with them may be nothing that the models know of. */
#ifndef ODDLOAF_RANK_CALIBRATION_H
#define ODDLOAF_RANK_CALIBRATION_H

#include "rank/triage.h"
#include "store/store.h"

/* Under which the store keeps what is adopted (store_setting_set). */
#define CALIBRATION_SETTING "calibration/mold"

/* Applies what was adopted, {"fit":{"time_scale":{low,typical,high},"spores_scale":{…}},…}: the
 * factors multiply mold.time_scale and mold.spores_scale, and the hash of the rules becomes
 * another, those of plants too. Once, before the snapshot is shared. ERROR_INVALID if it cannot be
 * read; nothing is changed then.
 */
int calibration_apply(struct triage *triage, const json_t *adopted, struct error *err);

/* {"samples","found","left_out":{"blamed","outside"},"fit":{"time_scale":{low,typical,high},
 *  "spores_scale","new_lot","lot_sigma"}|null,"before_after":{"before","after","now"} (median error
 *  in days of the samples found
 * moldy),"residuals":[{"lot","product","before","predicted","observed",
 *  "none_yet","position"}],"adopted":{…}|null,"valid","reason"}
 * fit.time_scale is the factor with its interval (5 to 95 %); fit.new_lot the factor for one more
 * lot, which is what is adopted. Not valid: too few samples or factors no plant can have; then
 * `reason` says why and nothing can be adopted. */
int calibration_report(struct triage *triage, struct store *store, json_t **ret, struct error *err);

/* What to keep of a report that is valid: {"by","at","samples","found","fit":{…}}. New reference.
 */
json_t *calibration_adoption(const json_t *report, const char *by, const char *at);

#endif
