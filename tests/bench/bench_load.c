/* Loading readings against the sqlite3 shell's .import of the same file into a table with the same
 * key. Ours checks every row, looks its lot up, converts its time, stages it, syncs it and applies
 * it in slices of their own transactions; the shell does one transaction.
 *
 *     bench_load [rows [folder]]
 */
#include "../rules/load_catalogue.h"
#include "base/text.h"
#include "records/load.h"
#include "store/load_file.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

enum { PART = 512 * 1024, LOTS = 3600, PER_LOT_QUANTITIES = 4 };

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static double cpu_s(int who)
{
    struct rusage u;
    getrusage(who, &u);
    return (double)(u.ru_utime.tv_sec + u.ru_stime.tv_sec) +
           (double)(u.ru_utime.tv_usec + u.ru_stime.tv_usec) * 1e-6;
}

static void stop(const char *doing, const struct error *err)
{
    char text[1024];
    fprintf(stderr, "bench_load: %s: %s\n", doing, error_format(err, text, sizeof text));
    exit(1);
}

static FILE *create(const char *folder, const char *name)
{
    char path[512];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "w");
    if (!file)
        exit(1);
    return file;
}

static void write_lots(const char *folder)
{
    FILE *products = create(folder, "products.csv"), *lots = create(folder, "lots.csv");
    fputs("product,name,family,shelf_life_days,unit_g\nW24,White 24,pan-bread,10,680\n", products);
    fputs("lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n", lots);
    for (int i = 0; i < LOTS; i++) {
        int day = i / 20 % 28 + 1, month = i / 560 + 1, hour = i % 20;
        fprintf(lots,
                "L%d %d%02d%02d %04d,W24,%d,2026-%02d-%02dT%02d:00:00Z,2026-%02d-%02dT%02d:30:00Z,"
                "2026-%02d-%02dT%02d:40:00Z,2026-%02d-%02dT%02d:59:00Z,9000,2026-12-31\n",
                i % 3 + 1, 6, month, day, i, i % 3 + 1, month, day, hour, month, day, hour, month,
                day, hour, month, day, hour);
    }
    fclose(products);
    fclose(lots);
}

/* Series of four probes, lot after lot, a reading every few seconds. */
static void write_readings(const char *folder, long rows)
{
    static const char *const quantities[PER_LOT_QUANTITIES] = {"core_temp_c", "cooler_air_c",
                                                               "cooler_rh_pct", "pack_room_c"};
    FILE *file = create(folder, "readings.csv");
    long per_lot = rows / LOTS + 1;
    fputs("lot,quantity,value,at\n", file);
    for (long n = 0; n < rows; n++) {
        long i = n / per_lot, k = n % per_lot, second = k / PER_LOT_QUANTITIES * 5;
        long day = i / 20 % 28 + 1, month = i / 560 + 1;
        fprintf(file, "L%ld %d%02ld%02ld %04ld,%s,%ld.%ld,2026-%02ld-%02ldT%02ld:%02ld:%02ldZ\n",
                i % 3 + 1, 6, month, day, i, quantities[k % PER_LOT_QUANTITIES], 20 + k % 25,
                k % 10, month, day, second / 3600 % 24, second / 60 % 60, second % 60);
    }
    fclose(file);
}

struct bench {
    char folder[256];
    struct writer *writer;
    struct store *store;
    struct catalogue *catalogue;
};

static double load(struct bench *b, enum record_kind kind, const char *name, long want_new)
{
    struct load_options options = {
        .kind = kind, .source = name, .catalogue = b->catalogue, .state_dir = b->folder};
    struct error err = {0};
    struct load *load;
    json_t *json;
    char path[512];
    static char part[PART];
    snprintf(path, sizeof path, "%s/%s", b->folder, name);
    FILE *file = fopen(path, "r");
    double start = now_s();
    if (!file || load_open(&options, &load, &err))
        stop("open", &err);
    for (size_t n; (n = fread(part, 1, PART, file)) > 0;) {
        if (load_feed(load, b->store, part, n, &err))
            stop("feed", &err);
    }
    fclose(file);
    double checked = now_s();
    if (load_finish(load, b->store, b->writer, &json, &err))
        stop("finish", &err);
    double end = now_s();
    if (want_new > 0 && json_integer_value(json_object_get(json, "new")) != want_new) {
        fprintf(stderr, "bench_load: %s\n", json_dumps(json, 0));
        exit(1);
    }
    json_decref(json);
    if (want_new > LOTS)
        printf("  checked and staged in %.2f s, accepted and applied in %.2f s\n", checked - start,
               end - checked);
    return end - start;
}

static double import(const struct bench *b)
{
    FILE *script = create(b->folder, "import.sql");
    char command[640];
    fprintf(script,
            "PRAGMA journal_mode=WAL;\nPRAGMA synchronous=FULL;\n"
            "CREATE TABLE reading(lot TEXT NOT NULL, quantity TEXT NOT NULL, value REAL NOT NULL,"
            " at TEXT NOT NULL, PRIMARY KEY(lot, quantity, at)) WITHOUT ROWID;\n"
            ".import --csv --skip 1 %s/readings.csv reading\n",
            b->folder);
    fclose(script);
    snprintf(command, sizeof command, "sqlite3 %s/shell.db < %s/import.sql > /dev/null", b->folder,
             b->folder);
    double start = now_s();
    if (system(command) != 0)
        exit(1);
    return now_s() - start;
}

int main(int argc, char **argv)
{
    struct bench b = {.folder = "/var/tmp/oddloaf-bench-XXXXXX"};
    struct error err = {0};
    struct rusage usage;
    char command[320];
    long rows = argc > 1 ? atol(argv[1]) : 1000000;
    if (argc > 2)
        snprintf(b.folder, sizeof b.folder, "%s/oddloaf-bench-XXXXXX", argv[2]);
    if (!mkdtemp(b.folder))
        return 1;
    if (load_catalogue(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &b.catalogue, &err) ||
        writer_start(b.folder, 64, &b.writer, &err) ||
        store_open(b.folder, STORE_READ, &b.store, &err))
        stop("start", &err);
    write_lots(b.folder);
    write_readings(b.folder, rows);
    load(&b, RECORD_PRODUCTS, "products.csv", 1);
    load(&b, RECORD_LOTS, "lots.csv", LOTS);
    double cpu = cpu_s(RUSAGE_SELF);
    double ours = load(&b, RECORD_READINGS, "readings.csv", rows);
    cpu = cpu_s(RUSAGE_SELF) - cpu;
    getrusage(RUSAGE_SELF, &usage);
    double shell = import(&b);
    double again = load(&b, RECORD_READINGS, "readings.csv", 0);
    printf("load: %.0f rows/s, sqlite3 .import: %.0f rows/s, ratio %.2f\n", (double)rows / ours,
           (double)rows / shell, shell / ours);
    printf("processor: load %.2f s, sqlite3 .import %.2f s, ratio %.2f\n", cpu,
           cpu_s(RUSAGE_CHILDREN), cpu_s(RUSAGE_CHILDREN) / cpu);
    printf("the same file again (all same): %.0f rows/s; largest resident size %ld MiB\n",
           (double)rows / again, usage.ru_maxrss / 1024);
    store_close(b.store);
    writer_free(b.writer);
    catalogue_free(b.catalogue);
    snprintf(command, sizeof command, "rm -rf -- '%s'", b.folder);
    return system(command);
}
