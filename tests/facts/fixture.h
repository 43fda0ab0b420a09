/* What the tests of cases share: rule files, a store beside them, and a small plant: one product,
 * two lines, a lot every six hours. */
#ifndef ODDLOAF_TESTS_FACTS_FIXTURE_H
#define ODDLOAF_TESTS_FACTS_FIXTURE_H

#include "../rules/fixture.h"
#include "base/jsonx.h"
#include "base/when.h"
#include "store/company_count.h"
#include "store/complaint.h"
#include "store/db.h"

static inline void fixture_open(struct fixture *f)
{
    struct error err = {0};
    fixture_folder(f);
    assert_int_equal(store_open(f->dir, STORE_WRITE, &f->store, &err), 0);
}

static inline void fixture_close(struct fixture *f)
{
    store_close(f->store);
    fixture_remove(f);
}

static inline const struct tz *fixture_utc(void)
{
    static struct tz *utc;
    if (!utc)
        assert_int_equal(tz_open("UTC", &utc, NULL), 0);
    return utc;
}

/* After records were changed behind the store's back. */
static inline void fixture_records_changed(struct fixture *f)
{
    struct error err = {0};
    assert_int_equal(store_begin(f->store, &err), 0);
    assert_int_equal(company_count_records_changed(f->store, &err), 0);
    assert_int_equal(store_commit(f->store, &err), 0);
}

static inline void fixture_sql(struct fixture *f, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
static inline void fixture_sql(struct fixture *f, const char *format, ...)
{
    char sql[2048];
    struct error err = {0};
    va_list args;
    va_start(args, format);
    vsnprintf(sql, sizeof sql, format, args);
    va_end(args);
    if (db_exec(f->store, sql, &err))
        fail_msg("%s: %s", sql, err.text);
}

#define DAY0 20600 /* 2026-05-27 */
#define AT(day, hour) ((int64_t)(DAY0 + (day)) * WHEN_DAY_MS + (int64_t)(hour)*WHEN_HOUR_MS)

/* One product (id 1, 10 days of code), `days` days of a lot every six hours on lines 1 and 2; lot
 * id is day * 8 + (line - 1) * 4 + turn + 1. Core at packing 38 ± 0.3, pH 5.4, film lots of five
 * days. */
static inline int64_t fixture_lot(int day, int line, int turn)
{
    return day * 8 + (line - 1) * 4 + turn + 1;
}

static inline void fixture_plant(struct fixture *f, int days)
{
    fixture_sql(f, "BEGIN; INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, "
                   "gtin) VALUES(1, 'W', 'White', 'pan-bread', 10, 680, NULL);"
                   "INSERT INTO quantity VALUES(1, 'core_at_pack_c'), (2, 'crumb_ph'), (3, "
                   "'swab_cfu'), (4, 'cleaned'), (5, 'inhibitor_pct_flour');"
                   "INSERT INTO target(product_id, quantity_id, target, low, high) VALUES(1, 1, "
                   "38, 36, 40), (1, 2, 5.4, NULL, NULL), (1, 5, "
                   "0.3, NULL, NULL)");
    for (int day = 0; day < days; day++)
        for (int line = 1; line <= 2; line++)
            for (int turn = 0; turn < 4; turn++) {
                int64_t id = fixture_lot(day, line, turn), at = AT(day, 6 * turn);
                fixture_sql(f,
                            "INSERT INTO lot VALUES(%lld, 'L%lld', 'L%lld', '', 1, '%d', 'A', "
                            "%lld, %lld, %lld, %lld, 5000, %d);"
                            "INSERT INTO reading VALUES(%lld, 1, %lld, '', '', %.1f, NULL),"
                            "(%lld, 5, %lld, '', '', 0.30, NULL);"
                            "INSERT INTO mix VALUES('M1', %lld, %lld, 100);"
                            "INSERT INTO material_use(lot_id, material, material_lot) "
                            "VALUES(%lld, 'film', 'F%d-%d');"
                            "INSERT INTO dispatch(lot_id, route, store, at_ms, units, transit_c) "
                            "VALUES(%lld, 'R%d', 'S%d', %lld, 5000, 20)",
                            (long long)id, (long long)id, (long long)id, line,
                            (long long)(at - 4 * WHEN_HOUR_MS), (long long)at, (long long)at,
                            (long long)(at + 2 * WHEN_HOUR_MS), DAY0 + day + 10, (long long)id,
                            (long long)at, 38 + 0.1 * ((day + turn) % 5 - 2), (long long)id,
                            (long long)at, (long long)id, (long long)(at - 4 * WHEN_HOUR_MS),
                            (long long)id, line, day / 5, (long long)id, turn, turn,
                            (long long)(at + 6 * WHEN_HOUR_MS));
            }
    fixture_sql(f, "INSERT INTO material_first SELECT u.material, u.material_lot,"
                   " min(l.made_from_ms) FROM material_use u JOIN lot l ON l.id = u.lot_id"
                   " GROUP BY 1, 2; COMMIT");
}

/* Logs a complaint; `body` is its JSON. Returns the case. */
static inline int64_t fixture_complain(struct fixture *f, const char *symptom, int64_t lot_id,
                                       int64_t received_ms, const char *body)
{
    static int number;
    char uuid[UUID_TEXT];
    struct error err = {0};
    struct complaint_placed placed;
    snprintf(uuid, sizeof uuid, "01990000-0000-7000-8000-%012d", ++number);
    struct complaint_new complaint = {.uuid = uuid,
                                      .received_ms = received_ms,
                                      .logged_ms = received_ms,
                                      .channel = "phone",
                                      .symptom = symptom,
                                      .code_day = WHEN_UNKNOWN_DAY,
                                      .bought_day = WHEN_UNKNOWN_DAY,
                                      .found_day = WHEN_UNKNOWN_DAY,
                                      .packs = 1,
                                      .harm = strstr(body, "\"harm\"") != NULL,
                                      .body = body,
                                      .lots = {.state = lot_id > 0 ? LOT_EXACT : LOT_UNKNOWN,
                                               .count = lot_id > 0,
                                               .lot = {{lot_id, 1}}}};
    assert_int_equal(store_begin(f->store, &err), 0);
    if (complaint_log(f->store, &complaint, &placed, &err))
        fail_msg("%s", err.text);
    assert_int_equal(store_commit(f->store, &err), 0);
    return placed.case_id;
}

#endif
