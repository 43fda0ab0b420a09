/* A case on one page, for people who look before they read: self-contained, inline SVG and CSS, no
 * script, no outside request, well-formed as XML too; light, dark, on a phone, on paper. It shows
 * what other answers hold and works nothing out anew. Beside harm no cause is offered, and while
 * the lot is in doubt no picture shows one lot. */
#ifndef ODDLOAF_SHOW_SHEET_HTML_H
#define ODDLOAF_SHOW_SHEET_HTML_H

#include <jansson.h>

/* `sheet`: {"plant","made_at", "rank": answers/rank.schema.json, "why": its ranking in full,
 * answers/why.schema.json, "reach": answers/reach.schema.json, "drawn": tell_sheet() of
 * tell/tell.h, "said": told_case() of desk/told.h where nothing is ranked, "follow":
 * answers/follow.schema.json, "attachments": those of answers/attachments.schema.json, "history":
 * answers/history.schema.json}; of what is missing nothing is shown. malloc'd. */
char *sheet_html(const json_t *sheet);

#endif
