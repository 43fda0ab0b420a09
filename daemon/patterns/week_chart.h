/* Charts of all complaints of a symptom by week: rates with limits that mind extra spread, and
 * a cumulative sum with a stated run length. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_CHART_H
#define ODDLOAF_PATTERNS_WEEK_CHART_H

#include "patterns/week_expect.h"
#include <jansson.h>

/* Weeks without a real rise between two false alarms of the cumulative sum, on average. */
#define WEEK_RUN_LENGTH 200

/* No plant's weeks are taken to vary less than this (variance over mean): at the least spread of
 * all, run lengths of whole counts jump too much to be stated. */
#define WEEK_CHART_PHI_LEAST 1.25

/* {"mold":{"center",…,"weeks":[…]},…}: the last year of weeks. New reference. */
json_t *week_chart_json(const struct week_model *model);

/* The rise the sum is tuned to, as a ratio: about one and a half standard deviations of a week. */
double week_chart_rise(double expected, double phi);
/* The spread its limit is taken at: complaints about a bad week of packing come for several weeks
 * and push a sum up together, so a climb varies more than its weeks do one by one. By
 * week_expect_stretch() of the length of a climb, with a factor fitted to simulated run lengths. */
double week_chart_spread(const struct week_lag *lag, double expected, double phi);
/* Its limit for WEEK_RUN_LENGTH when every week expects so many and varies by phi: interpolated in
 * a table that the tests work out again. */
double week_chart_limit(double expected, double phi);

#endif
