/* Pieces of a case's page (sheet_html.h), each of what other answers hold. Inside show/. */
#ifndef ODDLOAF_SHOW_SHEET_H
#define ODDLOAF_SHOW_SHEET_H

#include "show/page.h"

extern const char SHEET_STYLE[]; /* on top of PAGE_STYLE */

/* "81 %", "<1 %": escaped. */
void sheet_add_percent(struct text_buffer *b, double share);
void sheet_add_chance(struct text_buffer *b, double probability); /* never certain */
/* "47.5 °C"; "–" of NAN. */
void sheet_add_reading(struct text_buffer *b, double value, const char *unit);
/* "2026-11-20 09:14" of an instant in the plant's time, and "09:14" of it. */
void sheet_add_when(struct text_buffer *b, const char *when);
void sheet_add_time(struct text_buffer *b, const char *when);

/* ---- the lot (sheet_lot.c) ---- */

/* How sure it is, what is on record of it, holds, doubts, candidates. `lot` is NULL while it is in
 * doubt. */
void sheet_lot(struct text_buffer *b, const json_t *rank, const json_t *lot);
/* What laboratories and retained samples showed of it, marked where the limits of `lot` do not
 * allow it. */
void sheet_measured(struct text_buffer *b, const json_t *measured, const json_t *lot);
/* Of a case that nothing is ranked of: the words of its complaints. */
void sheet_said(struct text_buffer *b, const json_t *said);
/* Each telling quantity beside its target and the spread of recent lots. `why` may be NULL. */
void sheet_quantities(struct text_buffer *b, const json_t *lot, const json_t *why);
/* Where its packs went. */
void sheet_routes(struct text_buffer *b, const json_t *routes);

/* ---- causes (sheet_causes.c) ---- */

void sheet_causes(struct text_buffer *b, const json_t *rank);
void sheet_reasons(struct text_buffer *b, const json_t *why);

/* ---- pictures (sheet_svg.c) ---- */

/* Core temperature by minute beside recent lots; nothing without readings. */
void sheet_course(struct text_buffer *b, const json_t *course);
/* Share with visible mold by day, of packs that carry a spore; nothing if it cannot be told. */
void sheet_mold(struct text_buffer *b, const json_t *drawn);
/* Complaints by line and hour of packing; `packed_from` of its own lot. */
void sheet_near(struct text_buffer *b, const json_t *near, const char *packed_from);
/* A value between its target, limits and what is usual, an ornament beside the numbers. */
void sheet_strip(struct text_buffer *b, const json_t *reading);
/* What speaks for (right) or against (left), an ornament beside the number. */
void sheet_bits(struct text_buffer *b, double bits);

/* ---- what to do (sheet_work.c) ---- */

void sheet_asks(struct text_buffer *b, const json_t *rank);
/* Beside harm: those questions that no cause is behind. */
void sheet_harm_asks(struct text_buffer *b, const json_t *asks);
/* From the `first` on. */
void sheet_cautions(struct text_buffer *b, const json_t *rank, size_t first);
void sheet_reach(struct text_buffer *b, const json_t *reach);
/* Beside harm: lots by what they share; nothing of a list that goes by a cause. */
void sheet_beside(struct text_buffer *b, const json_t *reach);
/* Who owns it, by when it is due, how far it is, who waits to be called back. */
void sheet_follow(struct text_buffer *b, const json_t *follow);
/* Names, kinds and sizes of what is attached. */
void sheet_attached(struct text_buffer *b, const json_t *attachments);
void sheet_history(struct text_buffer *b, const json_t *history);

#endif
