#include "commands/period.h"
#include "base/when.h"
#include "form/form.h"
#include <stdio.h>

int period_day(const struct client *c, const struct args *a, const char *name, int32_t usual,
               int32_t *ret)
{
    char option[32];
    struct error err = {0};
    const char *said = args_value(a, name);
    *ret = usual;
    if (!said)
        return EXIT_DONE;
    const struct form_day now = zone_day(c->zone);
    if (form_date(said, &now, SAID_PAST, ret, &err) == 0)
        return EXIT_DONE;
    snprintf(option, sizeof option, "--%s", name);
    error_field(&err, option, said);
    client_fail(c, &err);
    return EXIT_USAGE;
}

int period_query_day(const struct client *c, const struct args *a, const char *name,
                     struct text_buffer *path)
{
    char date[16];
    int32_t day = 0;
    int rc = period_day(c, a, name, 0, &day);
    if (!rc && args_has(a, name))
        client_path_query(path, name, day_format(day, date));
    return rc;
}

int period_query(const struct client *c, const struct args *a, struct text_buffer *path)
{
    int rc = period_query_day(c, a, "from", path);
    return rc ? rc : period_query_day(c, a, "to", path);
}
