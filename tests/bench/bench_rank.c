/* Ranking a case among many lots: milliseconds a case. The first one with nothing in memory; all in
 * order of packing, as after a reload; then with its evidence in cache, in ratio to the bare
 * look-ups of the same case (its complaints, its lot's records, the counts of its company) through
 * the same connection.
 *
 *     bench_rank [LOTS [CASES [FOLDER]]]     default 1000000 400; a folder keeps the lots
 *
 * Five years of lots on 30 lines; the last 120 days have mixes, uses, readings, dispatches and the
 * plant's log. Times are of the thread's processor. */
#include "base/text.h"
#include "rank/case_rank.h"
#include "store/case.h"
#include "store/company_count.h"
#include "store/complaint.h"
#include "store/db.h"
#include "store/evidence.h"
#include "tell/tell.h"
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { DAYS = 1825, FULL_DAYS = 120, LINES = 30, PRODUCTS = 40, FIRST_DAY = 19000 };
static const char *const QUANTITIES[] = {
    "core_at_pack_c", "crumb_ph",     "inhibitor_pct_flour", "cool_min", "cooler_air_c",
    "seal_fail_pct",  "swab_cfu",     "settle_plate_cfu",    "cleaned",  "atp_rlu",
    "bake_min",       "dough_temp_c", "softener_pct_flour",  "proof_min"};
static const char *const PLACES[] = {"slicer", "cooler-air", "cooler-belt", "bagger"};

static uint64_t seed = 1;
static double uniform(void)
{
    seed = seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (double)(seed >> 11) / 9007199254740992.0;
}

static double cpu_ms(void)
{
    struct timespec ts;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &ts);
    return (double)ts.tv_sec * 1e3 + (double)ts.tv_nsec / 1e6;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static struct store *store;
static struct error err;
static void must(int rc)
{
    char text[1024];
    if (rc < 0) {
        puts(error_format(&err, text, sizeof text));
        exit(1);
    }
}

static void put(const char *sql, int count, const double *numbers, const char *const *texts)
{
    struct db_value with[16];
    assert(count < 16);
    for (int i = 0; i < count; i++)
        with[i] = texts && texts[i] ? DB_TEXT(texts[i]) : DB_REAL(numbers[i]);
    with[count] = (struct db_value){.form = DB_IS_END};
    must(db_run(store, sql, with, &err));
}

static void put_full(int64_t lot, int line, int product, int64_t at)
{
    static const char READING[] = "INSERT INTO reading VALUES(cast(?1 AS INTEGER), cast(?2 AS "
                                  "INTEGER), cast(?3 AS INTEGER), '', '', ?4, NULL)";
    static const char MIX[] =
        "INSERT INTO mix VALUES(?1, cast(?2 AS INTEGER), cast(?3 AS INTEGER), 500)";
    static const char USE[] = "INSERT INTO material_use(lot_id, material, material_lot) "
                              "VALUES(cast(?1 AS INTEGER), ?2, ?3)";
    static const char SENT[] = "INSERT INTO dispatch(lot_id, route, store, at_ms, units, "
                               "transit_c) VALUES(cast(?1 AS INTEGER), ?2, ?3, cast(?4 AS "
                               "INTEGER), 800, 20)";
    static const char *const MATERIALS_USED[] = {"flour", "inhibitor", "softener", "yeast",
                                                 "fat",   "film",      "closure"};
    double l = (double)lot, t = (double)at;
    char a[32], b[32];
    for (int q = 0; q < 14; q++)
        if (q < 6 || q > 9)
            put(READING, 4, (double[]){l, q + 1, t, 10 + q + uniform()}, NULL);
    for (int m = 0; m < 4; m++) {
        snprintf(a, sizeof a, "M%lld-%d", (long long)lot, m);
        put(MIX, 3, (double[]){0, l, t - m * 1e6}, (const char *const[]){a, NULL, NULL});
    }
    for (int m = 0; m < 7; m++) {
        snprintf(a, sizeof a, "X%d-%lld-%d", m, (long long)(at / WHEN_DAY_MS / 5), line % 6);
        put(USE, 3, (double[]){l, 0, 0}, (const char *const[]){NULL, MATERIALS_USED[m], a});
    }
    for (int r = 0; r < 6; r++) {
        int route = (int)(uniform() * 60);
        snprintf(a, sizeof a, "R%d", route);
        snprintf(b, sizeof b, "S%d-%d", route, (int)(uniform() * 20) * 10 + r);
        put(SENT, 4, (double[]){l, 0, 0, t + 1e7}, (const char *const[]){NULL, a, b, NULL});
    }
    (void)product;
}

static void build(long lots)
{
    static const char LOT[] =
        "INSERT INTO lot VALUES(cast(?1 AS INTEGER), ?2, ?2, '', cast(?3 AS INTEGER), ?4, 'A',"
        " cast(?5 AS INTEGER), cast(?6 AS INTEGER), cast(?6 AS INTEGER), cast(?7 AS INTEGER), 5000,"
        " cast(?8 AS INTEGER))";
    long per_day = lots / DAYS > 0 ? lots / DAYS : 1;
    char code[32], line_name[16], sql[512];
    must(store_begin(store, &err));
    for (int p = 1; p <= PRODUCTS; p++) {
        snprintf(sql, sizeof sql,
                 "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin) "
                 "VALUES(%d, 'P%d', 'P%d', 'pan-bread', 10, 680, NULL)",
                 p, p, p);
        must(db_exec(store, sql, &err));
    }
    for (int q = 0; q < 14; q++) {
        snprintf(sql, sizeof sql, "INSERT INTO quantity VALUES(%d, '%s')", q + 1, QUANTITIES[q]);
        must(db_exec(store, sql, &err));
    }
    int64_t id = 0;
    for (int day = 0; day < DAYS; day++)
        for (long i = 0; i < per_day; i++) {
            int line = (int)(i % LINES), product = 1 + (int)(uniform() * PRODUCTS);
            int64_t at = (FIRST_DAY + day) * WHEN_DAY_MS + i * (WHEN_DAY_MS / per_day);
            id++;
            snprintf(code, sizeof code, "L%lld", (long long)id);
            snprintf(line_name, sizeof line_name, "%d", line);
            put(LOT, 8,
                (double[]){(double)id, 0, product, 0, (double)at - 2e7, (double)at,
                           (double)at + 7e6, FIRST_DAY + day + 10},
                (const char *const[]){NULL, code, NULL, line_name, NULL, NULL, NULL, NULL});
            if (day >= DAYS - FULL_DAYS)
                put_full(id, line, product, at);
        }
    for (int day = DAYS - FULL_DAYS; day < DAYS; day++)
        for (int line = 0; line < LINES; line++)
            for (size_t p = 0; p < 4; p++)
                for (int q = 6; q < 10; q++) {
                    snprintf(sql, sizeof sql,
                             "INSERT INTO plantlog VALUES('%s', %d, '', '%d', %lld, %d, NULL)",
                             PLACES[p], q + 1, line,
                             (long long)((FIRST_DAY + day) * WHEN_DAY_MS + 3600000),
                             q == 8 ? 1 : (int)(uniform() * 9));
                    must(db_exec(store, sql, &err));
                }
    must(db_exec(store,
                 "INSERT INTO material_first SELECT u.material, u.material_lot,"
                 " min(l.made_from_ms) FROM material_use u JOIN lot l ON l.id = u.lot_id"
                 " GROUP BY 1, 2",
                 &err));
    must(store_commit(store, &err));
}

/* Complaints on the last forty days of lots, ten for each case that is asked for. */
static void complain(long lots, int cases)
{
    long per_day = lots / DAYS > 0 ? lots / DAYS : 1, total = per_day * DAYS;
    must(store_begin(store, &err));
    for (int i = 0; i < cases * 10; i++) {
        int64_t lot = total - (int64_t)(uniform() * (double)(40 * per_day)) - 8 * per_day;
        char uuid[UUID_TEXT];
        struct complaint_placed placed;
        snprintf(uuid, sizeof uuid, "01990000-0000-7000-8000-%012d", i);
        int64_t packed = (FIRST_DAY + (lot - 1) / per_day) * WHEN_DAY_MS;
        struct complaint_new complaint = {
            .uuid = uuid,
            .received_ms = packed + (int64_t)((5 + 3 * uniform()) * (double)WHEN_DAY_MS),
            .channel = "phone",
            .symptom = "mold",
            .code_day = WHEN_UNKNOWN_DAY,
            .bought_day = WHEN_UNKNOWN_DAY,
            .found_day = WHEN_UNKNOWN_DAY,
            .packs = 1,
            .body = "{\"observed\":{\"where\":\"side\",\"colour\":\"blue-green\"}}",
            .lots = {.state = LOT_EXACT, .count = 1, .lot = {{lot, 1}}}};
        must(complaint_log(store, &complaint, &placed, &err));
    }
    must(store_commit(store, &err));
}

static int ignore_complaint(void *arg, const struct complaint_row *row)
{
    *(int64_t *)arg = row->lot_id;
    return 0;
}
#define IGNORE(name)                                                                               \
    static int ignore_##name(void *arg, const struct evidence_##name *row)                         \
    {                                                                                              \
        (void)arg;                                                                                 \
        (void)row;                                                                                 \
        return 0;                                                                                  \
    }
IGNORE(reading)
IGNORE(target)
IGNORE(mix)
IGNORE(use)
IGNORE(dispatch)
static int ignore_day(void *arg, const struct company_day_row *row)
{
    (void)arg;
    (void)row;
    return 0;
}

static void look_up(int64_t case_id)
{
    struct case_row row;
    struct evidence_lot lot;
    int64_t lot_id = 0;
    must(case_get(store, case_id, &row, &err));
    must(complaint_of_case(store, case_id, ignore_complaint, &lot_id, &err));
    must(evidence_lot(store, lot_id, &lot, &err));
    must(evidence_readings(store, lot_id, ignore_reading, NULL, &err));
    must(evidence_targets(store, lot.product_id, (int32_t)(lot.packed_from_ms / WHEN_DAY_MS),
                          ignore_target, NULL, &err));
    must(evidence_mixes(store, lot_id, ignore_mix, NULL, &err));
    must(evidence_uses(store, lot_id, ignore_use, NULL, &err));
    must(evidence_dispatches(store, lot_id, ignore_dispatch, NULL, &err));
    int32_t day = (int32_t)(lot.packed_from_ms / WHEN_DAY_MS);
    must(company_count_days(store, &(struct company_count_scope){"mold", day - 42, day + 14},
                            ignore_day, NULL, &err));
}

static void rank(struct triage *triage, int64_t case_id)
{
    json_t *ranking = NULL;
    must(tell_case(triage, store, case_id, &ranking, NULL, &err));
    json_decref(ranking);
}

/* What whoever logs a complaint is told. */
static void rank_briefly(struct triage *triage, int64_t case_id)
{
    json_t *ranking = NULL;
    must(tell_brief(triage, store, case_id, &ranking, &err));
    json_decref(ranking);
}

/* The ranking alone: facts and probabilities, no answer in JSON, no questions. */
static void rank_alone(struct triage *triage, int64_t case_id)
{
    struct case_rank ranked;
    must(case_rank_read(triage, store, case_id, &ranked, &err));
    case_rank_clear(&ranked);
}

/* One case again and again: its evidence is in cache whatever the sizes of the caches. */
static void measure_warm(struct triage *triage, const int64_t *ids, int count,
                         void (*work)(struct triage *triage, int64_t case_id), double bare,
                         const char *title)
{
    double warm = 0;
    for (int i = 0; i < count; i++) {
        work(triage, ids[i]);
        double start = cpu_ms();
        for (int k = 0; k < 20; k++) {
            must(store_begin(store, &err));
            work(triage, ids[i]);
            store_rollback(store);
        }
        warm += (cpu_ms() - start) / 20 / count;
    }
    printf("%s: ms mean %.4f, %.2f x the bare look-ups\n", title, warm, warm / bare);
}

static struct triage *triage_fresh(void)
{
    struct triage *triage;
    must(triage_new(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, NULL, &triage, &err));
    return triage;
}

/* Several cases, each with a snapshot of its own. */
static void measure_first(const int64_t *ids, int count)
{
    enum { TRIED = 9 };
    double times[TRIED];
    int tried = count < TRIED ? count : TRIED;
    for (int i = 0; i < tried; i++) {
        struct triage *triage = triage_fresh();
        double start = cpu_ms();
        rank(triage, ids[i * count / tried]);
        times[i] = cpu_ms() - start;
        triage_free(triage);
    }
    qsort(times, (size_t)tried, sizeof times[0], by_value);
    printf("the first, nothing in memory: ms p50 %.2f most %.2f\n", times[tried / 2],
           times[tried - 1]);
}

/* All of them one after the other, as background work does after a reload. */
static void measure_all(int count)
{
    struct triage *triage = triage_fresh();
    struct store_ids all = {.id = xcalloc((size_t)count, sizeof(int64_t)), .capacity = count};
    must(db_ids(store,
                "SELECT c.id FROM complaint_case c JOIN lot l ON l.id = c.lot_id"
                " ORDER BY l.packed_from_ms, c.id LIMIT ?1",
                DB(DB_INT(count)), &all, &err));
    double start = cpu_ms();
    for (int i = 0; i < all.count; i++)
        rank(triage, all.id[i]);
    printf("all %d in order of packing: ms mean %.3f\n", all.count, (cpu_ms() - start) / all.count);
    free(all.id);
    triage_free(triage);
}

static double measure(struct triage *triage, const int64_t *ids, int count, const char *title)
{
    double *times = xcalloc((size_t)count, sizeof *times);
    for (int i = 0; i < count; i++) {
        double start = cpu_ms();
        must(store_begin(store, &err));
        if (triage)
            rank(triage, ids[i]);
        else
            look_up(ids[i]);
        store_rollback(store);
        times[i] = cpu_ms() - start;
    }
    qsort(times, (size_t)count, sizeof *times, by_value);
    double median = times[count / 2];
    printf("%s: ms p50 %.4f p99 %.4f\n", title, median, times[count * 99 / 100]);
    free(times);
    return median;
}

static const char *folder(int argc, char **argv)
{
    static char dir[] = "/tmp/oddloaf-bench-XXXXXX";
    if (argc > 3)
        return argv[3];
    if (mkdtemp(dir))
        return dir;
    perror(dir);
    exit(1);
}

/* Makes the lots and their complaints unless a kept folder has them; ids of cases, to be freed. */
static struct store_ids prepare(const char *dir, long lots, int cases)
{
    static const char SQL[] = "SELECT id FROM complaint_case WHERE id % 8 = 1 ORDER BY id LIMIT ?1";
    struct store_ids found = {.id = xcalloc((size_t)cases, sizeof(int64_t)), .capacity = cases};
    int64_t there = 0;
    must(store_open(dir, STORE_WRITE, &store, &err));
    must(db_number(store, "SELECT count(*) FROM complaint_case", NULL, &there, &err));
    if (!there) {
        build(lots);
        complain(lots, cases);
    }
    must(db_ids(store, SQL, DB(DB_INT(cases)), &found, &err));
    store_close(store);
    return found;
}

int main(int argc, char **argv)
{
    long lots = argc > 1 ? atol(argv[1]) : 1000000;
    int cases = argc > 2 ? atoi(argv[2]) : 400;
    const char *dir = folder(argc, argv);
    char command[512];
    const struct store_ids found = prepare(dir, lots, cases);
    int64_t *ids = found.id;
    cases = found.count;
    must(store_open(dir, STORE_READ, &store, &err));
    struct triage *triage = triage_fresh();
    printf("%ld lots, %d cases, %d causes\n", lots, cases, triage_cause_count(triage));
    measure(NULL, ids, cases, "bare look-ups, first");
    double bare = measure(NULL, ids, cases, "bare look-ups");
    measure_first(ids, cases);
    measure_all(cases * 8);
    measure(triage, ids, cases, "ranked in any order");
    int tried = cases < 50 ? cases : 50;
    measure_warm(triage, ids, tried, rank_alone, bare, "ranked, evidence in cache");
    measure_warm(triage, ids, tried, rank, bare, "the same with its answer in JSON and questions");
    measure_warm(triage, ids, tried, rank_briefly, bare, "the same as whoever logs is told it");
    triage_free(triage);
    store_close(store);
    free(ids);
    snprintf(command, sizeof command, "rm -rf %s", dir);
    return argc > 3 || system(command) == 0 ? 0 : 1;
}
