#include "serve/despite_told.h"
#include "desk/answer.h"
#include "serve/app.h"

void despite_told_refuse(struct request *rq, int code, const struct error *err,
                         const struct despite_harm *despite)
{
    json_t *more = request_unkept(rq);
    if (json_array_size(despite->found))
        json_object_set(more, "open_harm", despite->found);
    request_reply_faults(rq, code, err, NULL, more);
    json_decref(more);
}

void despite_told_done(const struct request *rq, struct store *store,
                       const struct despite_harm *despite, json_t *answer)
{
    if (!json_array_size(despite->found))
        return;
    json_object_set(answer, "open_harm", despite->found);
    if (!despite->anyway)
        return;
    app_wake(rq->app);
    json_object_set_new(answer, "alarm",
                        json_string(answer_alarm(despite->desk, store, despite->now_ms)));
}

void despite_told_heard(const struct request *rq, struct store *store,
                        const struct overheard *heard, json_t *answer)
{
    json_t *told = overheard_json(store, heard, false);
    if (!told)
        return;
    app_wake(rq->app);
    json_object_set_new(answer, "heard", told);
}
