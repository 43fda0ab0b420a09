#include "show/view.h"
#include "base/text.h"
#include "base/typeset.h"
#include <langinfo.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#define WIDTH 80
#define WIDTH_LEAST 40
#define LABEL_COLUMNS 16

static int width_of(FILE *out)
{
    struct winsize size;
    if (ioctl(fileno(out), TIOCGWINSZ, &size) == 0 && size.ws_col > 0 && size.ws_col < WIDTH)
        return size.ws_col < WIDTH_LEAST ? WIDTH_LEAST : size.ws_col;
    return WIDTH;
}

void view_init(struct view *v, FILE *out)
{
    const char *no_color = getenv("NO_COLOR");
    const char *term = getenv("TERM");
    v->out = out;
    v->terminal = isatty(fileno(out)) == 1;
    v->width = v->terminal ? width_of(out) : WIDTH;
    v->utf8 = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
    v->styled = v->terminal && !(no_color && *no_color) && term && strcmp(term, "dumb") != 0;
}

/* ---- characters ---- */

static size_t character_bytes(const char *s)
{
    size_t n = 1;
    while (((unsigned char)s[n] & 0xC0) == 0x80)
        n++;
    return n;
}

/* What stands for a mark of ours where only ASCII can be shown. */
static const char *ascii_for(const char *mark, size_t bytes)
{
    static const struct {
        const char *mark, *ascii;
    } rows[] = {{"·", "."},  {"–", "-"},  {"—", "-"},   {"×", "x"},   {"°", " deg "},
                {"≤", "<="}, {"≥", ">="}, {"…", "..."}, {"‘", "'"},   {"’", "'"},
                {"“", "\""}, {"”", "\""}, {"→", "->"},  {"±", "+/-"}, {"µ", "u"},
                {"é", "e"},  {"è", "e"},  {"á", "a"},   {"í", "i"},   {"ó", "o"},
                {"ú", "u"},  {"ñ", "n"},  {"ü", "u"},   {"ö", "o"},   {"ä", "a"}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        if (strlen(rows[i].mark) == bytes && memcmp(rows[i].mark, mark, bytes) == 0)
            return rows[i].ascii;
    return "?";
}

static bool is_nbsp(const char *s)
{
    return memcmp(s, VIEW_NBSP, 2) == 0;
}

int view_put(const struct view *v, const char *text, size_t length)
{
    char *raw = xstrndup(text, length);
    char *clean = xmalloc(length + 1);
    struct text_buffer line = {0};
    text_clip(raw, clean, length + 1);
    for (const char *p = clean; *p;) {
        size_t n = character_bytes(p);
        if (n == 1)
            text_append_bytes(&line, p, 1);
        else if (is_nbsp(p))
            text_append(&line, " ");
        else if (v->utf8)
            text_append_bytes(&line, p, n);
        else
            text_append(&line, ascii_for(p, n));
        p += n;
    }
    int columns = 0;
    if (line.data) {
        fputs(line.data, v->out);
        columns = text_columns(line.data);
    }
    text_buffer_free(&line);
    free(clean);
    free(raw);
    return columns;
}

void view_pad(const struct view *v, int columns)
{
    if (columns > 0)
        fprintf(v->out, "%*s", columns, "");
}

void view_style_begin(const struct view *v, enum view_style style)
{
    static const char *const BEGIN[] = {
        [VIEW_BOLD] = "\033[1m", [VIEW_DIM] = "\033[2m", [VIEW_HARM] = "\033[1;31m"};
    if (v->styled && style != VIEW_PLAIN)
        fputs(BEGIN[style], v->out);
}

void view_style_end(const struct view *v, enum view_style style)
{
    if (v->styled && style != VIEW_PLAIN)
        fputs("\033[0m", v->out);
}

/* ---- lines ---- */

void view_text(const struct view *v, enum view_style style, int indent, int hang, const char *text)
{
    int column = indent;
    do {
        size_t next = 0;
        int room = v->width - column;
        size_t length = typeset_break(text, room > 8 ? room : 8, &next);
        if (length > 0)
            view_pad(v, column);
        view_style_begin(v, style);
        view_put(v, text, length);
        view_style_end(v, style);
        fputc('\n', v->out);
        column = next > 0 && text[next - 1] == '\n' ? indent : indent + hang;
        text += next;
    } while (*text);
}

void view_textf(const struct view *v, enum view_style style, int indent, int hang,
                const char *format, ...)
{
    struct text_buffer text = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&text, format, args);
    va_end(args);
    view_text(v, style, indent, hang, text.data ? text.data : "");
    text_buffer_free(&text);
}

void view_line(FILE *out, int indent, const char *text)
{
    struct view v;
    view_init(&v, out);
    if (v.terminal)
        view_text(&v, VIEW_PLAIN, indent, 2, text);
    else
        fprintf(out, "%*s%s\n", indent, "", text);
}

void view_title(const struct view *v, const char *format, ...)
{
    struct text_buffer text = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&text, format, args);
    va_end(args);
    view_text(v, VIEW_BOLD, 0, 2, text.data ? text.data : "");
    text_buffer_free(&text);
}

void view_section(const struct view *v, const char *title)
{
    fputc('\n', v->out);
    view_text(v, VIEW_BOLD, 0, 2, title);
}

void view_label(const struct view *v, const char *label, const char *format, ...)
{
    struct text_buffer line = {0};
    va_list args;
    text_append(&line, label);
    int columns = text_columns(label);
    do /* one at least: a long label doesn't run into what it labels */
        text_append(&line, VIEW_NBSP);
    while (++columns < LABEL_COLUMNS);
    va_start(args, format);
    text_vappendf(&line, format, args);
    va_end(args);
    view_text(v, VIEW_PLAIN, 2, LABEL_COLUMNS, line.data);
    text_buffer_free(&line);
}

void view_blank(const struct view *v)
{
    fputc('\n', v->out);
}
