/* The two bodies of an event's mail. */
#ifndef ODDLOAF_SHOW_VIEW_H
#define ODDLOAF_SHOW_VIEW_H

#include "base/text.h"
#include <jansson.h>

/* One document described once and rendered twice: headings, paragraphs, items, key-value rows. */
enum view_kind {
    VIEW_TITLE,
    VIEW_HEADING,
    VIEW_TEXT,
    VIEW_ITEM,
    VIEW_ROW,
    VIEW_CAUSE,
    VIEW_CAUTION
};

struct view_line {
    enum view_kind kind;
    char *label; /* VIEW_ROW, VIEW_CAUSE; else NULL */
    char *text;
    double share; /* VIEW_CAUSE: probability, drawn as a bar */
};
struct view {
    struct view_line *line;
    size_t count, capacity;
};

void view_add(struct view *view, enum view_kind kind, const char *label, double share,
              const char *format, ...) __attribute__((format(printf, 5, 6)));
void view_free(struct view *view);
/* The event's content. */
void view_of_event(const json_t *event, struct view *ret);
/* That of Monday's digest (digest.c). */
void view_of_digest(const json_t *event, struct view *view);
/* That of the day's list of what is due (due.c). */
void view_of_due(const json_t *event, struct view *view);

void view_plain(const struct view *view, struct text_buffer *out); /* <= 78 columns */
void view_html(const struct view *view, struct text_buffer *out);

#endif
