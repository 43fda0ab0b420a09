#include "serve/sight.h"
#include "base/length.h"
#include "base/text.h"
#include "serve/request.h"
#include "serve/role.h"
#include <string.h>

unsigned sight_anywhere(const struct sight *sight)
{
    unsigned roles = sight->company;
    for (int i = 0; i < CONFIG_PLANTS; i++)
        roles |= sight->plant[i];
    return roles;
}

unsigned sight_at(const struct sight *sight, int plant)
{
    return sight->company | (plant >= 0 && plant < CONFIG_PLANTS ? sight->plant[plant] : 0);
}

bool sight_add(struct sight *sight, const struct config *config, const char *word)
{
    char name[16];
    const char *at = strchr(word, '@');
    size_t length = at ? (size_t)(at - word) : strlen(word);
    if (length >= sizeof name)
        return false;
    memcpy(name, word, length);
    name[length] = '\0';
    unsigned role = role_of(name);
    if (!at) {
        sight->company |= role;
        return role != 0;
    }
    int plant = config_plant_named(config, at + 1);
    role &= ROLE_OF_PLANT;
    if (plant < 0 || !role)
        return false;
    sight->plant[plant] |= (unsigned char)role;
    return true;
}

void sight_join(struct sight *sight, const struct sight *other)
{
    sight->company |= other->company;
    for (int i = 0; i < CONFIG_PLANTS; i++)
        sight->plant[i] |= other->plant[i];
}
