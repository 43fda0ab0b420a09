/* What was said and how the lot was made, as lines of a mail. Shapes: desk/told.h. */
#ifndef ODDLOAF_SHOW_TOLD_VIEW_H
#define ODDLOAF_SHOW_TOLD_VIEW_H

#include "show/view.h"

/* Product, line, packing time, best-by, units; nothing for null. */
void told_view_lot(struct view *view, const json_t *lot);
/* Every field that one complaint has, its words last. */
void told_view_complaint(struct view *view, const json_t *complaint);
/* Those of a case, each under a heading; `count` is how many the case has. */
void told_view_case(struct view *view, const json_t *complaints, size_t count);
/* Complaints of a week, or another span, that report harm, or may, of its report. Where it lists
 * causes, a sentence says that these are among them ("%zu"). */
size_t told_view_harm_reports(const json_t *report);
#define TOLD_VIEW_HARM_AMONG                                                                       \
    "Complaints that report harm, or may: %zu. Those of mold, off-odor or staling are counted "    \
    "among these; what hurt somebody is no cause of this list."

#endif
