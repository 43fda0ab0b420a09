#include "patterns/others.h"
#include "base/jsonx.h"
#include "intake/other_kind.h"
#include "store/pattern.h"
#include <string.h>

enum { KINDS_MOST = 16 };

struct counting {
    int64_t all, of[KINDS_MOST];
};

static int count(void *arg, const char *text)
{
    struct counting *c = arg;
    json_t *body = NULL;
    jsonx_parse(text, strlen(text), &body, NULL);
    const struct other_kind *kind = other_kind_of(body);
    for (int i = 0; i < KINDS_MOST && other_kind_at(i); i++)
        c->of[i] += other_kind_at(i) == kind;
    c->all++;
    json_decref(body);
    return 0;
}

static json_t *kinds_json(struct counting *c)
{
    json_t *list = json_array();
    for (;;) {
        int most = 0;
        for (int i = 1; i < KINDS_MOST; i++)
            most = c->of[i] > c->of[most] ? i : most;
        if (c->of[most] == 0)
            return list;
        const struct other_kind *kind = other_kind_at(most);
        json_array_append_new(list, json_pack("{s:s, s:s, s:I}", "kind", kind->kind, "says",
                                              kind->says, "complaints", (json_int_t)c->of[most]));
        c->of[most] = 0;
    }
}

int others_add(struct store *store, struct when_span span, const char *plant, json_t *into,
               struct error *err)
{
    struct counting counting = {0};
    int rc = pattern_other(store, span, plant, count, &counting, err);
    if (rc)
        return rc;
    json_object_set_new(into, "other", json_integer(counting.all));
    json_object_set_new(into, "other_kinds", kinds_json(&counting));
    return 0;
}
