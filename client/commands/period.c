#include "commands/period.h"
#include "base/when.h"
#include "form/form.h"
#include "form/said_date.h"

int period_day(const struct client *c, const struct args *a, const char *name, int32_t usual,
               int32_t *ret)
{
    struct error err = {0};
    const char *said = args_value(a, name);
    *ret = usual;
    if (!said || said_date(said, zone_day(c->zone).today, SAID_PAST, ret, &err) == 0)
        return EXIT_DONE;
    error_field(&err, name, said);
    client_fail(c, &err);
    return EXIT_USAGE;
}

int period_query(const struct client *c, const struct args *a, struct text_buffer *path)
{
    static const char *const NAMES[] = {"from", "to"};
    for (size_t i = 0; i < sizeof NAMES / sizeof *NAMES; i++) {
        char date[16];
        int32_t day = 0;
        int rc = period_day(c, a, NAMES[i], 0, &day);
        if (rc)
            return rc;
        if (args_has(a, NAMES[i]))
            client_path_query(path, NAMES[i], day_format(day, date));
    }
    return EXIT_DONE;
}
