#include "intake/whom.h"
#include <stddef.h>
#include <string.h>

static const struct {
    const char *channel, *whom;
} WHOM[] = {{"store", "the store"}, {"route", "the driver"}, {"return", "who has the bread"}};

const char *whom_to_ask(const char *channel)
{
    for (size_t i = 0; channel && i < sizeof WHOM / sizeof WHOM[0]; i++)
        if (strcmp(WHOM[i].channel, channel) == 0)
            return WHOM[i].whom;
    return "the caller";
}
