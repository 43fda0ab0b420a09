#include "base/text.h"
#include "records/check_inside.h"
#include <stdarg.h>
#include <stdio.h>

static const char *shown(const struct check_value *value, char buffer[static 32])
{
    static const char *const truths[] = {"false", "true"};
    switch (value->form) {
    case CHECK_TEXT:
        return value->text;
    case CHECK_NUMBER:
        snprintf(buffer, 32, "%.15g", value->number);
        return buffer;
    case CHECK_TRUTH:
        return truths[value->number != 0];
    default:
        return "";
    }
}

/* Always false, so that checkers end with it. */
bool check_refuse(struct check *c, const struct check_input *in, const char *format, ...)
{
    char number[32];
    struct text_buffer reason = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&reason, format, args);
    va_end(args);
    c->faults++;
    c->refused(c->arg, in->header->name, shown(in->value, number), reason.data);
    text_buffer_free(&reason);
    return false;
}
