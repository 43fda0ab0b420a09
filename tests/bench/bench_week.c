/* What the week of a plant costs, by how many complaints it has in all, and against the bare read
 * of the same counts. Prints milliseconds of processor time, median of RUNS.
 *
 *     bench_week [complaints…]      default 10000 100000 1000000 */
#include <gsl/gsl_errno.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "base/text.h"
#include "patterns/week.h"
#include "store/db.h"
#include "store/pattern.h"

enum { RUNS = 41, WEEKS = 156, LINES = 8, PRODUCTS = 24, ROUTES = 40, CAUSES = 17 };

static double now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec / 1e6;
}

static void must(int rc, const struct error *err)
{
    if (rc) {
        fprintf(stderr, "bench_week: %s\n", err->text);
        exit(1);
    }
}

/* Rows straight into the tables, the counts kept by recounting once: logging a million complaints
 * one by one is another benchmark. */
static void fill(struct store *store, int64_t first_ms, long complaints)
{
    struct error err = {0};
    struct text_buffer sql = {0};
    long lots = WEEKS * 7 * LINES * 3;
    must(db_exec(store, "PRAGMA synchronous=OFF; PRAGMA wal_autocheckpoint=0", &err), &err);
    must(store_begin(store, &err), &err);
    text_appendf(
        &sql,
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n WHERE i<%d) INSERT INTO"
        " product(id,product,name,family,shelf_life_days,unit_g,gtin) SELECT "
        "i,'P'||i,'Product','pan-bread',10,680,NULL FROM n;"
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n WHERE i<%ld) INSERT INTO lot"
        " SELECT i,'K'||i,'K'||i,'',1+i%%%d,'L'||(i%%%d),char(65+i%%3),t,t,t,t+10800000,15000,1"
        " FROM (SELECT i,%lld+i/%d*%lld AS t FROM n);",
        PRODUCTS, lots, PRODUCTS, LINES, (long long)first_ms, LINES * 3, (long long)WHEN_DAY_MS);
    text_appendf(
        &sql,
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n WHERE i<%ld) INSERT INTO"
        " complaint_case(id,symptom,lot_id,opened_ms,as_of_ms,complaints,packs) SELECT i,"
        "CASE i%%3 WHEN 0 THEN 'mold' WHEN 1 THEN 'off-odor' ELSE 'staling' END,i,%lld,%lld,1,1"
        " FROM n;"
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n WHERE i<%ld) INSERT INTO"
        " complaint(id,uuid,received_ms,logged_ms,channel,symptom,case_id,lot_id,route,body)"
        " SELECT n.i,'u'||n.i,l.packed_from_ms+86400000*(2+(n.i*7919)%%15),0,'phone',c.symptom,"
        "c.id,c.lot_id,'R'||(n.i%%%d),'{}' FROM n JOIN complaint_case c ON c.id="
        "1+(n.i*104729)%%%ld JOIN lot l ON l.id=c.lot_id WHERE l.packed_from_ms+86400000*"
        "(2+(n.i*7919)%%15)<%lld;",
        lots, (long long)first_ms, (long long)first_ms, complaints, ROUTES, lots,
        (long long)(first_ms + WEEKS * 7 * WHEN_DAY_MS));
    text_appendf(
        &sql,
        "INSERT INTO rule_set(id,hash) VALUES (1,'bench');"
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n WHERE i<%d) INSERT INTO"
        " cause(id,name) SELECT i,'cause-'||i FROM n;"
        "INSERT INTO ranking(case_id,revision,as_of_ms,rule_set_id,complaints,causes) SELECT id,1,"
        "0,1,1,(SELECT ';'||group_concat(id||':%d',';')||';' FROM cause)"
        " FROM complaint_case WHERE id%%8=0;",
        CAUSES, 1000000 / CAUSES);
    must(db_exec(store, sql.data, &err), &err);
    must(pattern_recount(store, &err), &err);
    must(store_commit(store, &err), &err);
    text_buffer_free(&sql);
}

/* ---- the bare read ---- */

static int64_t rows;

static int see(void *arg, const struct pattern_count *row)
{
    *(int64_t *)arg += row->n;
    rows++;
    return 0;
}

static void bare_read(struct store *store, int week)
{
    struct error err = {0};
    int64_t sum = 0;
    rows = 0;
    must(pattern_received(store, (struct pattern_weeks){week - 59, week}, see, &sum, &err), &err);
    must(pattern_units(store, (struct pattern_weeks){week - 59, week}, see, &sum, &err), &err);
    must(pattern_made_week(store, week, see, &sum, &err), &err);
    for (int series = 1; series <= 3; series++)
        must(pattern_made(store, series, (struct pattern_weeks){week - 169, week}, see, &sum, &err),
             &err);
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void measure(long complaints)
{
    char dir[] = "/tmp/oddloaf-bench-week-XXXXXX", command[64];
    struct store *store, *reader;
    struct error err = {0};
    struct iso_week shown = {2026, 47};
    int64_t now = (int64_t)iso_week_monday(iso_week_add(shown, 1)) * WHEN_DAY_MS + WHEN_HOUR_MS;
    struct week_query query = {.week = shown, .now_ms = now};
    double report[RUNS], read[RUNS];
    if (!mkdtemp(dir))
        exit(1);
    must(store_open(dir, STORE_WRITE, &store, &err), &err);
    fill(store, now - WEEKS * 7 * WHEN_DAY_MS, complaints);
    must(store_open(dir, STORE_READ, &reader, &err), &err);
    int week = pattern_week_of_day(iso_week_monday(shown));
    for (int i = 0; i < RUNS; i++) {
        json_t *answer = NULL;
        double start = now_ms();
        must(week_report(reader, NULL, NULL, &query, &answer, &err), &err);
        report[i] = now_ms() - start;
        json_decref(answer);
        start = now_ms();
        bare_read(reader, week);
        read[i] = now_ms() - start;
    }
    qsort(report, RUNS, sizeof *report, by_size);
    qsort(read, RUNS, sizeof *read, by_size);
    printf("%9ld complaints: ratio to the bare read %.2f; week %.2f ms (slowest tenth %.2f), read "
           "%.2f ms of %lld rows\n",
           complaints, report[RUNS / 2] / read[RUNS / 2], report[RUNS / 2], report[RUNS * 9 / 10],
           read[RUNS / 2], (long long)rows);
    store_close(reader);
    store_close(store);
    snprintf(command, sizeof command, "rm -rf %s", dir);
    if (system(command))
        perror(command);
}

int main(int argc, char **argv)
{
    static const long USUAL[] = {10000, 100000, 1000000};
    gsl_set_error_handler_off();
    for (int i = 1; i < argc; i++)
        measure(atol(argv[i]));
    for (size_t i = 0; argc == 1 && i < sizeof USUAL / sizeof USUAL[0]; i++)
        measure(USUAL[i]);
    return 0;
}
