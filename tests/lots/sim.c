#include "sim.h"
#include "base/error.h"
#include "store/db.h"
#include "store/lot_find.h"
#include <assert.h>
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FIRST_YEAR_DAY = 20454 /* 2026-01-01 */, MINUTES_A_LOT = 200 };

static uint64_t next_random(struct sim *sim)
{
    uint64_t z = sim->random += 0x9e3779b97f4a7c15u; /* splitmix64 */
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

double sim_uniform(struct sim *sim)
{
    return (double)(next_random(sim) >> 11) * 0x1p-53;
}

int sim_below(struct sim *sim, int n)
{
    return (int)(sim_uniform(sim) * n);
}

static bool chance(struct sim *sim, double p)
{
    return sim_uniform(sim) < p;
}

static double normal(struct sim *sim)
{
    double u = sim_uniform(sim) + 1e-12;
    return sqrt(-2 * log(u)) * cos(2 * M_PI * sim_uniform(sim));
}

/* ---- the company ---- */

struct sim_company sim_bakery(uint64_t seed)
{
    return (struct sim_company){1, 3, 7, 8, 182, 10, 60, seed};
}

struct sim_company sim_large(long lots, uint64_t seed)
{
    struct sim_company company = {40, 3, 23, 60, 0, 0, 0, seed};
    company.days = (int)(lots / (company.plants * company.lines * company.lots_a_day)) + 1;
    return company;
}

static int shelf_life(int product)
{
    static const int DAYS[] = {10, 10, 9, 12, 9, 9, 8, 21};
    return DAYS[product % 8];
}

void sim_code(const struct sim *sim, const struct sim_lot *lot, char out[static 40])
{
    int year, month, day, ordinal = day_of_year(lot->day);
    day_to_civil(lot->day, &year, &month, &day);
    int hhmm = lot->minute / 60 * 100 + lot->minute % 60;
    char shift = lot->minute < 8 * 60 ? 'A' : lot->minute < 16 * 60 ? 'B' : 'C';
    if (sim->company.plants > 1)
        snprintf(out, 40, "P%02d L%d %02d%03d %c%04d", lot->plant % 100, lot->line % 10, year % 100,
                 ordinal % 1000, shift, hhmm % 10000);
    else
        snprintf(out, 40, "L%d %d%03d %c%04d", lot->line % 10, year % 10, ordinal % 1000, shift,
                 hhmm % 10000);
}

void sim_rules(const struct sim *sim, const char *path)
{
    FILE *file = fopen(path, "we");
    assert(file);
    bool large = sim->company.plants > 1;
    fprintf(file,
            "{\"plants\": [{\"plant\": \"\", \"patterns\": [{\"name\": \"plain\", \"pattern\":\n"
            " \"%sL ?(?<line>[0-9]) ?(?<%s>%s)(?<doy>[0-9]{3}) ?(?<shift>[ABC])(?<hhmm>[0-9]{4})\","
            "\n \"max_age_days\": 400}]}]}\n",
            large ? "P ?(?<plant>[0-9]{2}) ?" : "", large ? "yy" : "y",
            large ? "[0-9]{2}" : "[0-9]");
    fclose(file);
}

static void must(int rc, const struct error *err)
{
    if (rc < 0) {
        fprintf(stderr, "%s\n", err->text);
        abort();
    }
}

static void write_products(const struct sim *sim, struct store *store)
{
    static const char SQL[] = "INSERT INTO product(id, product, name, family, shelf_life_days,"
                              " unit_g, gtin) VALUES(?1, ?2, ?2, 'pan-bread', ?3, 680, ?4)";
    struct error err = {0};
    for (int i = 0; i < sim->company.products; i++) {
        char code[16], gtin[16];
        snprintf(code, sizeof code, "X%02d", i);
        snprintf(gtin, sizeof gtin, "0952%09d", i);
        must(db_run(store, SQL,
                    DB(DB_INT(i + 1), DB_TEXT(code), DB_INT(shelf_life(i)), DB_TEXT(gtin)), &err),
             &err);
    }
}

static void write_dispatch(struct sim *sim, struct store *store, const struct sim_lot *lot)
{
    static const char SQL[] = "INSERT OR IGNORE INTO dispatch(lot_id, route, store, at_ms, units)"
                              " VALUES(?1, ?2, ?3, ?4, ?5)";
    struct error err = {0};
    int stores = sim->company.stores_a_lot;
    /* a lot goes to a run of neighbouring stores */
    int first = stores ? (int)(lot->id * 7 % sim->company.stores) : 0;
    for (int i = 0; i < stores; i++) {
        char name[16], route[16];
        int number = (first + i) % sim->company.stores;
        snprintf(name, sizeof name, "%04d", number);
        snprintf(route, sizeof route, "R%02d", number / 6);
        must(db_run(store, SQL,
                    DB(DB_INT(lot->id), DB_TEXT(route), DB_TEXT(name),
                       DB_MS(lot->packed_ms + 6 * WHEN_HOUR_MS), DB_INT(lot->units / stores)),
                    &err),
             &err);
    }
}

static void write_lot(struct sim *sim, struct store *store, const struct sim_lot *lot)
{
    static const char SQL[] =
        "INSERT INTO lot(id, lot, fold, plant, product_id, line, shift, made_from_ms, made_to_ms,"
        " packed_from_ms, packed_to_ms, units, code_day)"
        " VALUES(?1, ?2, ?3, ?4, ?5, ?6, '', ?7, ?7, ?7, ?8, ?9, ?10)";
    struct error err = {0};
    char code[40], fold[40], plant[8] = "", line[8];
    sim_code(sim, lot, code);
    if (sim->company.plants > 1)
        snprintf(plant, sizeof plant, "%02d", lot->plant % 100);
    snprintf(line, sizeof line, "%d", lot->line % 10);
    must(db_run(store, SQL,
                DB(DB_INT(lot->id), DB_TEXT(code), DB_TEXT(lot_find_fold(code, fold, sizeof fold)),
                   DB_TEXT(plant), DB_INT(lot->product + 1), DB_TEXT(line), DB_MS(lot->packed_ms),
                   DB_MS(lot->packed_ms + 3 * WHEN_HOUR_MS), DB_INT(lot->units),
                   DB_DAY(lot->code_day)),
                &err),
         &err);
    write_dispatch(sim, store, lot);
}

static struct sim_lot make_lot(struct sim *sim, int32_t day, int plant, int line, int slot)
{
    const struct sim_company *c = &sim->company;
    struct sim_lot lot = {.day = day, .plant = plant, .line = line + 1};
    int apart = 1440 / c->lots_a_day;
    lot.minute = slot * apart + sim_below(sim, apart > 60 ? 25 : apart / 2);
    /* each line runs its own few products, in blocks */
    lot.product = (plant * 7 + line * 3 + (slot * 3 / c->lots_a_day + slot % 2)) % c->products;
    lot.units = 4000 + sim_below(sim, 5000);
    lot.packed_ms = day * WHEN_DAY_MS + lot.minute * INT64_C(60000);
    lot.code_day = day + shelf_life(lot.product);
    return lot;
}

void sim_make(struct sim *sim, const struct sim_company *company, struct store *store)
{
    struct error err = {0};
    *sim = (struct sim){.company = *company, .random = company->seed};
    size_t most = (size_t)company->days * (size_t)company->plants * (size_t)company->lines *
                  (size_t)company->lots_a_day;
    sim->lot = malloc(most * sizeof *sim->lot);
    assert(sim->lot);
    must(store_begin(store, &err), &err);
    write_products(sim, store);
    for (int d = 0; d < company->days; d++) {
        int32_t day = FIRST_YEAR_DAY + 330 - company->days + d;
        for (int plant = 0; plant < company->plants; plant++)
            for (int line = 0; line < company->lines; line++)
                for (int slot = 0; slot < company->lots_a_day; slot++) {
                    struct sim_lot lot = make_lot(sim, day, plant, line, slot);
                    lot.id = chance(sim, 0.006) ? 0 : (int64_t)sim->count + 1;
                    sim->lot[sim->count++] = lot;
                    if (lot.id)
                        write_lot(sim, store, &lot);
                }
        if (d % 50 == 49) { /* keeps the log of one transaction small */
            must(store_commit(store, &err), &err);
            must(store_begin(store, &err), &err);
        }
    }
    must(store_commit(store, &err), &err);
}

void sim_free(struct sim *sim)
{
    free(sim->lot);
    sim->lot = NULL;
}

/* ---- misreading ---- */

/* What callers take characters for: seen and heard. */
static char taken_for(struct sim *sim, char c)
{
    static const char *const ROWS[] = {"0OOOD", "1I7L", "2Z", "3B8",  "4A9", "5S6", "6GB5", "7T1",
                                       "8B30",  "9G4",  "A4", "B8PD", "CG",  "L1I", "P8B"};
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++)
        if (ROWS[i][0] == c)
            return ROWS[i][1 + sim_below(sim, (int)strlen(ROWS[i]) - 1)];
    return c;
}

static int random_at(struct sim *sim, const char *text)
{
    int length = (int)strlen(text);
    for (int tries = 0; tries < 100; tries++) {
        int at = sim_below(sim, length);
        if (isalnum((unsigned char)text[at]))
            return at;
    }
    return 0;
}

static void remove_at(char *text, int at)
{
    memmove(text + at, text + at + 1, strlen(text + at));
}

static void insert_at(char *text, int at, char c)
{
    memmove(text + at + 1, text + at, strlen(text + at) + 1);
    text[at] = c;
}

static void misread_character(struct sim *sim, char *text)
{
    int at = random_at(sim, text), next = at + 1;
    while (text[next] == ' ')
        next++;
    double kind = sim_uniform(sim);
    if (kind < 0.48)
        text[at] = taken_for(sim, text[at]);
    else if (kind < 0.66)
        remove_at(text, at);
    else if (kind < 0.80 && text[next]) {
        char swapped = text[at];
        text[at] = text[next];
        text[next] = swapped;
    } else if (kind < 0.90)
        insert_at(text, at, text[at]);
    else if (kind < 0.97)
        text[at] = "0123456789"[sim_below(sim, 10)];
    else
        insert_at(text, at, "0123456789ABCL"[sim_below(sim, 14)]);
}

/* One part between blanks left out, a letter not said, or reading stopped in the last part. */
static void lose_part(struct sim *sim, char *text)
{
    double kind = sim_uniform(sim);
    if (kind < 0.4) { /* a letter */
        for (int tries = 0; tries < 50; tries++) {
            int at = random_at(sim, text);
            if (isalpha((unsigned char)text[at])) {
                remove_at(text, at);
                return;
            }
        }
    } else if (kind < 0.6) { /* the end of the last part */
        size_t length = strlen(text);
        text[length - 1 - (size_t)sim_below(sim, 3)] = '\0';
    } else { /* a whole part */
        char *last = strrchr(text, ' '), *first = strchr(text, ' ');
        if (kind < 0.75)
            *last = '\0';
        else if (kind < 0.9 || last == first)
            memmove(text, first + 1, strlen(first));
        else
            memmove(first, last, strlen(last) + 1);
    }
}

static void misread(struct sim *sim, const char *code, char *text)
{
    do {
        strcpy(text, code);
        if (chance(sim, 0.15))
            lose_part(sim, text);
        else
            do
                misread_character(sim, text);
            while (chance(sim, 0.22) && strlen(text) > 4);
        if (chance(sim, 0.1))
            misread_character(sim, text);
    } while (!strcmp(text, code));
}

/* Blanks, case and words, as people write a code down. */
static void write_down(struct sim *sim, char *text)
{
    double kind = sim_uniform(sim);
    if (kind < 0.35)
        for (char *blank; (blank = strchr(text, ' '));)
            remove_at(text, (int)(blank - text));
    else if (kind < 0.5)
        for (char *s = text; *s; s++)
            *s = (char)tolower((unsigned char)*s);
    else if (kind < 0.6) {
        memmove(text + 4, text, strlen(text) + 1);
        memcpy(text, "LOT ", 4);
    }
}

/* ---- callers ---- */

static int32_t misdate(struct sim *sim, int32_t day)
{
    double kind = sim_uniform(sim);
    if (kind < 0.4)
        return day + (chance(sim, 0.5) ? 1 : -1);
    if (kind < 0.6)
        return day + (chance(sim, 0.5) ? 7 : -7);
    return day + 2 + sim_below(sim, 20) - 11;
}

static void tell_rest(struct sim *sim, struct sim_call *call, int age_days)
{
    const struct sim_lot *lot = call->lot;
    struct lot_query *q = &call->query;
    if (chance(sim, 0.6)) {
        int product = chance(sim, 0.025) ? sim_below(sim, sim->company.products) : lot->product;
        snprintf(call->product, sizeof call->product, "X%02d", product);
        q->product = call->product;
    }
    if (chance(sim, 0.5))
        q->code_day = chance(sim, 0.05) ? misdate(sim, lot->code_day) : lot->code_day;
    if (chance(sim, 0.5))
        q->found_day = lot->day + age_days;
    if (chance(sim, 0.4)) {
        int latest = age_days < shelf_life(lot->product) ? age_days : shelf_life(lot->product);
        q->bought_day = lot->day + sim_below(sim, latest + 1);
        if (chance(sim, 0.03))
            q->bought_day = misdate(sim, q->bought_day);
    }
    if (sim->company.stores_a_lot && chance(sim, 0.5)) {
        int first = (int)(lot->id * 7 % sim->company.stores);
        int number = chance(sim, 0.04) ? sim_below(sim, sim->company.stores)
                                       : (first + sim_below(sim, sim->company.stores_a_lot)) %
                                             sim->company.stores;
        snprintf(call->store, sizeof call->store, "%04d", number);
        q->store = call->store;
    }
}

/* A lot in the last part of the history, likelier the more of it there was, and the day on which
 * somebody complains about it. */
static const struct sim_lot *pick(struct sim *sim, int *ret_age_days)
{
    size_t recent = sim->count;
    long a_day = sim->company.plants * (long)sim->company.lines * sim->company.lots_a_day;
    if (recent > (size_t)(120 * a_day))
        recent = (size_t)(120 * a_day);
    for (;;) {
        const struct sim_lot *lot =
            &sim->lot[sim->count - 1 - (size_t)(sim_uniform(sim) * (double)recent)];
        int age = (int)lround(shelf_life(lot->product) * 0.72 * exp(0.42 * normal(sim)));
        if (sim_uniform(sim) * 9000 < lot->units && age >= 1) {
            *ret_age_days = age;
            return lot;
        }
    }
}

/* Some other pack in the house: made within days of the right one. */
static const struct sim_lot *other_pack(struct sim *sim, const struct sim_lot *lot)
{
    long a_day = sim->company.plants * (long)sim->company.lines * sim->company.lots_a_day;
    long at = (long)(lot - sim->lot) + (long)((sim_uniform(sim) - 0.5) * 12 * (double)a_day);
    if (at < 0 || at >= (long)sim->count)
        return lot;
    return &sim->lot[at];
}

void sim_next(struct sim *sim, enum sim_callers callers, struct sim_call *ret)
{
    char code[40];
    int age_days;
    memset(ret, 0, sizeof *ret);
    do
        ret->lot = pick(sim, &age_days);
    while (callers == SIM_MISREAD && !ret->lot->id);
    ret->query = (struct lot_query){.code_day = WHEN_UNKNOWN_DAY,
                                    .bought_day = WHEN_UNKNOWN_DAY,
                                    .found_day = WHEN_UNKNOWN_DAY};
    int delay = chance(sim, 0.7) ? 0 : sim_below(sim, 5);
    ret->query.received_ms = (ret->lot->day + age_days + delay) * WHEN_DAY_MS +
                             (8 * 60 + sim_below(sim, 600)) * INT64_C(60000);
    if (ret->query.received_ms <= ret->lot->packed_ms)
        ret->query.received_ms = ret->lot->packed_ms + WHEN_HOUR_MS;
    tell_rest(sim, ret, age_days);
    bool astray = callers == SIM_STREAM && chance(sim, 0.015);
    sim_code(sim, astray ? other_pack(sim, ret->lot) : ret->lot, code);
    ret->misread = callers == SIM_MISREAD || chance(sim, 0.35);
    if (ret->misread)
        misread(sim, code, ret->text);
    else
        strcpy(ret->text, code);
    write_down(sim, ret->text);
    ret->query.lot_text = ret->text;
}

/* ---- scores ---- */

void sim_count(struct sim_score *score, const struct sim_call *call,
               const struct lot_match_result *result)
{
    size_t place = 0;
    while (place < result->count && result->candidate[place].lot_id != call->lot->id)
        place++;
    bool found = place < result->count && call->lot->id;
    bool known = call->query.product || call->query.code_day != WHEN_UNKNOWN_DAY;
    score->calls++;
    score->first += found && place == 0;
    score->five += found && place < 5;
    score->known += known;
    score->known_first += known && found && place == 0;
    score->known_five += known && found && place < 5;
    score->none_said += result->none_weight;
    score->none += !found;
    double weight = found ? result->candidate[place].weight : result->none_weight;
    score->log_score += log2(weight > 1e-12 ? weight : 1e-12);
    if (!result->count)
        return;
    double said = result->candidate[0].weight;
    int band = said >= 1 ? SIM_BANDS - 1 : (int)(said * SIM_BANDS);
    score->said[band] += said;
    score->in_band[band]++;
    score->right[band] += found && place == 0;
}

double sim_calibration_gap(const struct sim_score *score)
{
    double gap = 0;
    long all = 0;
    for (int b = 0; b < SIM_BANDS; b++) {
        gap += fabs(score->said[b] - (double)score->right[b]);
        all += score->in_band[b];
    }
    return all ? gap / (double)all : 0;
}

static double share(long part, long whole)
{
    return whole ? (double)part / (double)whole : 0;
}

void sim_print(const char *title, const struct sim_score *s)
{
    printf("%s: %ld calls, true lot first %.4f, among five %.4f\n", title, s->calls,
           share(s->first, s->calls), share(s->five, s->calls));
    printf("  product or code date known: %ld calls, first %.4f, among five %.4f\n", s->known,
           share(s->known_first, s->known), share(s->known_five, s->known));
    printf("  none of these: said %.4f, was %.4f; log score %.4f bits; calibration gap %.4f\n",
           s->none_said / (double)s->calls, share(s->none, s->calls),
           s->log_score / (double)s->calls, sim_calibration_gap(s));
    printf("  weight said / share right (calls):");
    for (int b = 0; b < SIM_BANDS; b++)
        if (s->in_band[b])
            printf("  %.3f/%.3f (%ld)", s->said[b] / (double)s->in_band[b],
                   share(s->right[b], s->in_band[b]), s->in_band[b]);
    printf("\n");
}
