#include "base/plant_level.h"
#include <stdio.h>

char *plant_level(const char *level, const char *plant, char buffer[static PLANT_LEVEL])
{
    if (plant && *plant)
        snprintf(buffer, PLANT_LEVEL, "%.*s%s(%.*s)", (int)LENGTH_NAME, level, *level ? " " : "",
                 (int)LENGTH_CODE, plant);
    else
        snprintf(buffer, PLANT_LEVEL, "%.*s", (int)(PLANT_LEVEL - 1), level);
    return buffer;
}

char *plant_level_of(const json_t *row, const char *member, char buffer[static PLANT_LEVEL])
{
    const char *level = json_string_value(json_object_get(row, member));
    return plant_level(level ? level : "", json_string_value(json_object_get(row, "plant")),
                       buffer);
}

void plant_level_set(json_t *row, const char *plant)
{
    if (plant && *plant)
        json_object_set_new(row, "plant", json_string(plant));
}
