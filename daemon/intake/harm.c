#include "intake/harm.h"
#include "base/jsonx.h"

static bool is_text(const json_t *value)
{
    return json_is_string(value) && json_string_length(value) > 0;
}

/* The pointer of the first member that is wrong, or NULL. */
static const char *misfit(const json_t *harm)
{
    const json_t *mail = json_object_get(harm, "mail");
    if (!is_text(json_object_get(harm, "script")))
        return "/script";
    if (json_array_size(mail) == 0)
        return "/mail";
    for (size_t i = 0; i < json_array_size(mail); i++) {
        if (!is_text(json_array_get(mail, i)))
            return "/mail";
    }
    return NULL;
}

int harm_load(const char *path, json_t **ret, struct error *err)
{
    json_t *harm = NULL;
    int rc = jsonx_load(path, &harm, err);
    if (rc)
        return rc;
    const char *wrong = misfit(harm);
    if (wrong) {
        json_decref(harm);
        error_set(err, ERROR_INVALID, "must be the words to say: a text (script), texts (mail)");
        error_at(err, path, 0, 0);
        error_field(err, wrong, "");
        return ERROR_INVALID;
    }
    *ret = harm;
    return 0;
}
