/* What tracing says of a plant, for traces.py: a line of JSON a question.
 *
 *     trace_replay FOLDER ZONE SYMPTOM:FROM:TO… <ROWS.sql     days of packing, 2026-10-05
 *
 * FOLDER is an empty one. */
#include <gsl/gsl_errno.h>
#include <string.h>
#include <time.h>

#include "patterns/trace.h"
#include "replay.h"

static int32_t day_of(const char *text)
{
    int y, m, d;
    if (sscanf(text, "%d-%d-%d", &y, &m, &d) != 3)
        exit(2);
    return day_from_civil(y, m, d);
}

static void ask(const struct replay *r, char *question)
{
    struct error err = {0};
    json_t *answer;
    char *from = strchr(question, ':'), *to = from ? strchr(from + 1, ':') : NULL;
    if (!to)
        exit(2);
    *from++ = *to++ = 0;
    const struct trace_query query = {
        .symptom = question, .from_day = day_of(from), .to_day = day_of(to)};
    clock_t start = clock();
    must(trace_run(r->store, r->tz, &query, &answer, &err), &err);
    json_object_set_new(answer, "seconds", json_real((double)(clock() - start) / CLOCKS_PER_SEC));
    json_dumpf(answer, stdout, JSON_COMPACT);
    putchar('\n');
    json_decref(answer);
}

int main(int argc, char **argv)
{
    struct error err = {0};
    struct replay r;
    if (argc < 3) {
        fprintf(stderr, "usage: trace_replay FOLDER ZONE SYMPTOM:FROM:TO… <ROWS.sql\n");
        return 2;
    }
    gsl_set_error_handler_off();
    must(tz_open(argv[2], &r.tz, &err), &err);
    replay_fill(&r, argv[1]);
    for (int i = 3; i < argc; i++)
        ask(&r, argv[i]);
    store_close(r.store);
    tz_close(r.tz);
    return 0;
}
