/* Finding the lot of a misread code: milliseconds a look-up at a size, in ratio to the bare exact
 * look-up of one code, and how often it is right and knows it.
 *
 *     bench_lots [LOTS [MISREADS [STREAM [SEED]]]]   default 1000000 20000 20000 7; LOTS 0: one
 *     bakery. Values of the matcher that were set by simulation were set on seed 7: report others.
 *
 * Times are of the thread's processor, so that a busy machine does not count, and of the clock. */
#include "../lots/sim.c"
#include "lots/lot_rules.h"
#include <time.h>
#include <unistd.h>

enum { EXACT = 20000 };

static struct store *store;
static struct lot_matcher *matcher;
static struct sim sim;

static double now_ms(clockid_t clock)
{
    struct timespec ts;
    clock_gettime(clock, &ts);
    return (double)ts.tv_sec * 1e3 + (double)ts.tv_nsec / 1e6;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

struct times {
    double *cpu_ms, *wall_ms;
    long count;
};

static struct times times_new(long count)
{
    struct times t = {calloc((size_t)count, sizeof(double)), calloc((size_t)count, sizeof(double)),
                      count};
    assert(t.cpu_ms && t.wall_ms);
    return t;
}

/* The median of processor time. */
static double report(const char *title, struct times *t)
{
    qsort(t->cpu_ms, (size_t)t->count, sizeof(double), by_value);
    qsort(t->wall_ms, (size_t)t->count, sizeof(double), by_value);
    double median = t->cpu_ms[t->count / 2];
    printf("%s: ms of processor p50 %.4f p99 %.4f; of the clock p50 %.4f p99 %.4f\n", title, median,
           t->cpu_ms[t->count * 99 / 100], t->wall_ms[t->count / 2],
           t->wall_ms[t->count * 99 / 100]);
    free(t->cpu_ms);
    free(t->wall_ms);
    return median;
}

static double exact(void)
{
    struct times t = times_new(EXACT);
    struct lot_find_row row[8];
    for (long i = 0; i < EXACT; i++) {
        const struct sim_lot *lot = &sim.lot[sim_below(&sim, (int)sim.count)];
        struct lot_find_rows rows = {.row = row, .capacity = 8};
        char code[40], fold[40];
        sim_code(&sim, lot, code);
        lot_find_fold(code, fold, sizeof fold);
        double cpu = now_ms(CLOCK_THREAD_CPUTIME_ID), wall = now_ms(CLOCK_MONOTONIC);
        must(lot_find_by_fold(store, fold, 8, &rows, NULL), &(struct error){0});
        t.cpu_ms[i] = now_ms(CLOCK_THREAD_CPUTIME_ID) - cpu;
        t.wall_ms[i] = now_ms(CLOCK_MONOTONIC) - wall;
    }
    return report("bare exact look-up", &t);
}

static double match(const char *title, enum sim_callers callers, long calls)
{
    struct times t = times_new(calls);
    struct sim_score score = {0};
    double lookups = 0;
    for (long i = 0; i < calls; i++) {
        struct sim_call call;
        struct lot_match_result result;
        struct error err = {0};
        sim_next(&sim, callers, &call);
        double cpu = now_ms(CLOCK_THREAD_CPUTIME_ID), wall = now_ms(CLOCK_MONOTONIC);
        must(match_lot(matcher, store, &call.query, &result, &err), &err);
        t.cpu_ms[i] = now_ms(CLOCK_THREAD_CPUTIME_ID) - cpu;
        t.wall_ms[i] = now_ms(CLOCK_MONOTONIC) - wall;
        lookups += result.lookups;
        sim_count(&score, &call, &result);
    }
    sim_print(title, &score);
    printf("  guesses looked up: %.1f a call\n", lookups / (double)calls);
    return report("  match", &t);
}

int main(int argc, char **argv)
{
    long lots = argc > 1 ? atol(argv[1]) : 1000000;
    long misreads = argc > 2 ? atol(argv[2]) : 20000, stream = argc > 3 ? atol(argv[3]) : 20000;
    uint64_t seed = argc > 4 ? (uint64_t)atol(argv[4]) : 7;
    char folder[] = "/tmp/oddloaf-bench-XXXXXX", path[64], command[64];
    struct error err = {0};
    struct sim_company company = lots ? sim_large(lots, seed) : sim_bakery(seed);
    if (!mkdtemp(folder) || store_open(folder, STORE_WRITE, &store, &err) < 0)
        return 1;
    sim_make(&sim, &company, store);
    store_close(store);
    must(store_open(folder, STORE_READ, &store, &err), &err);
    snprintf(path, sizeof path, "%s/lots.json", folder);
    sim_rules(&sim, path);
    must(lot_rules_load(path, NULL, NULL, &matcher, &err), &err);
    printf("%zu lots, %d plants\n", sim.count, company.plants);
    double bare = exact();
    if (misreads > 0)
        printf("  median over bare exact look-up: %.1f\n",
               match("misread codes", SIM_MISREAD, misreads) / bare);
    if (stream > 0)
        printf("  median over bare exact look-up: %.1f\n",
               match("as a desk gets them", SIM_STREAM, stream) / bare);
    lot_rules_free(matcher);
    store_close(store);
    sim_free(&sim);
    snprintf(command, sizeof command, "rm -r %s", folder);
    return system(command) ? 1 : 0;
}
