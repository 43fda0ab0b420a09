#include "serve/role.h"
#include "serve/request.h"
#include <stdio.h>
#include <string.h>

static const struct role_row ROLES[] = {
    {"desk", "roles/desk", ROLE_DESK},          {"qa", "roles/qa", ROLE_QA},
    {"manager", "roles/manager", ROLE_MANAGER}, {"admin", "roles/admin", ROLE_ADMIN},
    {"metrics", "roles/metrics", ROLE_METRICS}, {0}};

const struct role_row *role_rows(void)
{
    return ROLES;
}

unsigned role_of(const char *word)
{
    for (const struct role_row *row = ROLES; row->word; row++) {
        if (strcmp(row->word, word) == 0)
            return row->role;
    }
    return 0;
}

void role_words(unsigned roles, char *out, size_t size)
{
    out[0] = '\0';
    for (const struct role_row *row = ROLES; row->word; row++) {
        size_t used = strlen(out);
        if (roles & row->role)
            snprintf(out + used, size - used, "%s%s", used ? " or " : "", row->word);
    }
}
