/* Every kind of fact of cases of a plant that writes down a great deal, whole: a line a fact, in
 * tests/facts/told/NAME.txt. After a change that was meant, PAGES=write in the environment writes
 * them anew: read the difference. */
#include "../told.h"
#include "facts/facts.h"
#include "fixture.h"
#include "rules/models_file.h"
#include "store/measured.h"

enum { DAYS = 32, EACH = 24 };

/* ---- the rules: one cause for every symptom that asks for all of it ---- */

static const char *const VALUES[] = {"age_days",
                                     "received_age_days",
                                     "days_past_code",
                                     "bought_life_share",
                                     "days_at_home",
                                     "packs",
                                     "spots",
                                     "opened_days",
                                     "units",
                                     "pack_hours",
                                     "sorbate_used",
                                     "flour_lot_age_days",
                                     "inhibitor_lot_age_days",
                                     "film_lot_age_days",
                                     "yeast_lot_age_days",
                                     "transit_c",
                                     "transit_c.max",
                                     "days_in_trade",
                                     "dispatch_delay_h",
                                     "crumb_ph",
                                     "crumb_ph.min",
                                     "crumb_ph.max",
                                     "core_at_pack_c",
                                     "core_at_pack_c.min",
                                     "core_at_pack_c.max",
                                     "inhibitor_pct_flour",
                                     "inhibitor_pct_flour.min",
                                     "inhibitor_pct_flour.max",
                                     "inhibitor_active_pct",
                                     "inhibitor_active_pct_flour",
                                     "inhibitor_weighed_pct_flour",
                                     "inhibitor_unrecorded_share",
                                     "softener_unrecorded_share",
                                     "softener_pct_flour",
                                     "acid_pct_flour",
                                     "acid_pct_flour.max",
                                     "yeast_pct_flour",
                                     "fat_pct_flour",
                                     "acid_grain",
                                     "propionate_ppm",
                                     "crumb_aw",
                                     "crumb_moisture_pct",
                                     "cool_min",
                                     "cooler_air_c",
                                     "bake_min",
                                     "core_end_bake_c",
                                     "pack_room_c",
                                     "mold_free_days",
                                     "seal_fail_pct",
                                     "slicer.swab_cfu",
                                     "slicer.swab_cfu.next",
                                     "slicer.swab_cfu.peak",
                                     "slicer.pressure_pa",
                                     "slicer.pressure_pa.peak",
                                     "slicer.hours_since_cleaned",
                                     "slicer.cleaning_missed",
                                     "bagger.atp_rlu",
                                     "bagger.atp_rlu.next",
                                     "cooler-air.days_since_filter",
                                     "cooler-air.air_cfu_m3",
                                     "cooler-air.air_cfu_m3.peak",
                                     "hands.swab_cfu",
                                     "hands.hours_since_cleaned",
                                     "hands.cleaning_missed",
                                     "hands.days_since_filter",
                                     "model.condensate_g",
                                     "model.mold_free_days",
                                     "model.odor_ratio",
                                     "model.odor_warm_ratio",
                                     "model.enzyme_min_ratio",
                                     "model.firmness_ratio",
                                     "model.gummy_share",
                                     "model.rope_share",
                                     "model.acid_mmol_l",
                                     "model.acid_ratio"};
static const char *const TABLES[] = {"season", "family",  "line",           "shift",     "product",
                                     "where",  "colour",  "kept",           "odor",      "crumb",
                                     "bag",    "channel", "wet_inside_bag", "mold_genus"};
static const char *const COMPANY[] = {
    "lot",   "line",  "line_hour", "shift",     "product",       "mix",
    "plant", "flour", "film",      "inhibitor", "closure",       "supplier",
    "route", "store", "any",       "mold",      "window.slicer", "window.hands"};
static const char *const CHANGES[] = {
    "mold_age\",\"change\":{\"recorded\":[\"dose\",\"packing\"]}",
    "mold_age\",\"change\":{\"times\":{\"spores\":25}}",
    "mold_age\",\"change\":{\"kept_c\":32}",
    "stale_age\",\"change\":{\"recorded\":[\"softener\",\"baking\"]}",
    "stale_age\",\"change\":{\"times\":{\"softener\":0.3}}",
    "rope_age\",\"change\":{\"recorded\":[\"spores\",\"ph\"]}",
    "rope_age\",\"change\":{\"kept_c\":33}"};

static void file_of(const struct fixture *f, const char *id, const char *const *facts, size_t count,
                    const char *before, const char *after)
{
    char name[64];
    struct text_buffer text = {0};
    text_appendf(&text,
                 "{\"id\":\"%s\",\"title\":\"x\",\"symptoms\":{\"mold\":0.1,\"off-odor\":0.1,"
                 "\"staling\":0.1},\"evidence\":[",
                 id);
    for (size_t i = 0; i < count; i++)
        text_appendf(&text, "%s{\"fact\":\"%s%s%s,\"because\":\"b\",\"source\":\"s\"}",
                     i ? "," : "", before, facts[i], after);
    text_append(&text, "],\"reach\":[\"mix\"],\"checks\":[{\"do\":\"look\",\"who\":\"qa\","
                       "\"effort\":\"minutes\",\"settles\":0.5}],\"actions\":[\"mend\"],"
                       "\"sources\":[\"s\"]}");
    snprintf(name, sizeof name, "causes/%s.json", id);
    fixture_file(f, name, text.data);
    text_buffer_free(&text);
}

static void rule_files(const struct fixture *f)
{
    static const char CURVE[] = "\",\"as\":\"value\",\"curve\":[[0,-1],[1,1]]";
    for (size_t i = 0; i < COUNT_OF(VALUES); i += EACH) {
        char id[16];
        snprintf(id, sizeof id, "values-%c", (char)('a' + i / EACH));
        size_t rest = COUNT_OF(VALUES) - i;
        file_of(f, id, &VALUES[i], rest < EACH ? rest : EACH, "", CURVE);
    }
    file_of(f, "words", TABLES, COUNT_OF(TABLES), "", "\",\"table\":{\"*\":0.1}");
    file_of(f, "company", COMPANY, COUNT_OF(COMPANY), "company.",
            "\",\"as\":\"bits\",\"scale\":1,"
            "\"limit\":[-1,5]");
    file_of(f, "changes", CHANGES, COUNT_OF(CHANGES), "model.", ",\"limit\":[-2,2]");
    fixture_file(f, "causes/nk.json",
                 "{\"id\":\"nk\",\"title\":\"n\",\"symptoms\":{\"mold\":1,\"off-odor\":1,"
                 "\"staling\":1},\"background\":true}");
    fixture_copy(f, "rules", "preservers.json");
}

/* ---- the plant ---- */

static double drawn(uint64_t *seed, double low, double high)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return low + (high - low) * (double)(*seed >> 40) / 16777216;
}

static const struct {
    int id;
    const char *name;
    double low, high, target; /* 0: none */
    bool changes;             /* read twice of a lot */
} READ[] = {{11, "cool_min", 60, 90, 75, false},
            {12, "cooler_air_c", 18, 24, 0, true},
            {13, "bake_min", 24, 27, 25, false},
            {14, "core_end_bake_c", 94, 98, 0, false},
            {15, "pack_room_c", 18, 24, 0, true},
            {16, "crumb_aw", .94, .965, .95, false},
            {17, "crumb_moisture_pct", 36, 40, 38, false},
            {18, "propionate_ppm", 1200, 1900, 0, false},
            {19, "mold_free_days", 8, 14, 0, false},
            {20, "seal_fail_pct", 0, 3, 1, false},
            {21, "acid_grain", 90, 110, 100, false},
            {22, "softener_pct_flour", .3, .6, .5, false},
            {23, "inhibitor_kg", .2, .4, 0, true},
            {24, "potassium_sorbate_pct_flour", .05, .12, .1, false},
            {25, "aerobic_spores_cfu_g", 10, 400, 0, false}};

static const struct {
    const char *place;
    int id;
    const char *line;
    double low, high, every_h;
} LOGGED[] = {{"slicer", 3, "1", 0, 60, 20},       {"slicer", 3, "", 0, 60, 50},
              {"slicer", 31, "", 4, 12, 30},       {"slicer", 4, "1", 0, 1.4, 17},
              {"bagger", 32, "2", 50, 400, 25},    {"cooler-air", 33, "", 0, 1, 60},
              {"cooler-air", 34, "", 20, 200, 70}, {"hands", 3, "", 0, 20, 130},
              {"hands", 4, "", 0.6, 1, 26}};

static void read_lot(struct fixture *f, int64_t lot, int64_t at_ms, uint64_t *seed)
{
    for (size_t q = 0; q < COUNT_OF(READ); q++)
        for (int k = 0; k <= READ[q].changes; k++)
            if (drawn(seed, 0, 1) > 0.1)
                fixture_sql(f, "INSERT INTO reading VALUES(%lld, %d, %lld, '', '', %.4f, NULL)",
                            (long long)lot, READ[q].id, (long long)(at_ms + k * 600000),
                            drawn(seed, READ[q].low, READ[q].high));
    fixture_sql(f, "INSERT INTO reading VALUES(%lld, 2, %lld, '', '', %.3f, NULL)", (long long)lot,
                (long long)at_ms, drawn(seed, 5.2, 5.7));
    fixture_sql(f,
                "INSERT INTO mix VALUES('M2-%lld', %lld, %lld, 120);"
                "INSERT INTO material_use(lot_id, material, material_lot, mix, amount, unit, "
                "active_pct, supplier, kind, applied) VALUES"
                "(%lld, 'inhibitor', 'I-%lld', 'M1', %.3f, 'kg', 95, 'Salt Co', NULL, NULL),"
                "(%lld, 'flour', 'W-%lld', '', 500, 'kg', NULL, 'Mill', NULL, NULL),"
                "(%lld, 'yeast', 'Y-%lld', 'M1', 2.5, 'kg', NULL, 'Mill', NULL, NULL),"
                "(%lld, 'acid', 'V-%lld', '', %.3f, 'kg', NULL, 'Sour', NULL, NULL),"
                "(%lld, 'softener', 'S-%lld', 'M1', 500, 'g', NULL, NULL, NULL, NULL)",
                (long long)lot, (long long)lot, (long long)at_ms, (long long)lot,
                (long long)lot / 60, drawn(seed, .25, .35), (long long)lot, (long long)lot / 20,
                (long long)lot, (long long)lot / 30, (long long)lot, (long long)lot / 90,
                drawn(seed, 1, 2), (long long)lot, (long long)lot / 90);
}

static void write_all(struct fixture *f)
{
    uint64_t seed = 20261130;
    fixture_sql(f, "BEGIN; INSERT INTO quantity VALUES(31, 'pressure_pa'), (32, 'atp_rlu'), (33, "
                   "'filter_changed'), (34, 'air_cfu_m3')");
    for (size_t q = 0; q < COUNT_OF(READ); q++) {
        fixture_sql(f, "INSERT INTO quantity VALUES(%d, '%s')", READ[q].id, READ[q].name);
        if (READ[q].target > 0)
            fixture_sql(f,
                        "INSERT INTO target(product_id, quantity_id, target) VALUES(1, %d, %.3f)",
                        READ[q].id, READ[q].target);
    }
    for (int64_t lot = 1; lot <= fixture_lot(DAYS - 1, 2, 3); lot++)
        read_lot(f, lot, AT((lot - 1) / 8, 6 * ((lot - 1) % 4)), &seed);
    for (size_t i = 0; i < COUNT_OF(LOGGED); i++)
        for (double hour = -600; hour < DAYS * 24; hour += LOGGED[i].every_h)
            fixture_sql(f,
                        "INSERT INTO plantlog(place, quantity_id, line, at_ms, value) VALUES('%s', "
                        "%d, '%s', %lld, %.2f)",
                        LOGGED[i].place, LOGGED[i].id, LOGGED[i].line,
                        (long long)(AT(0, 1) + (int64_t)(hour * WHEN_HOUR_MS)),
                        drawn(&seed, LOGGED[i].low, LOGGED[i].high));
    fixture_sql(f,
                "UPDATE dispatch SET transit_c = CASE WHEN lot_id %% 5 = 0 THEN NULL ELSE 12 + "
                "lot_id %% 11 END, at_ms = at_ms + lot_id %% 3 * 3600000;"
                "INSERT INTO dispatch(lot_id, route, store, at_ms, units, transit_c) SELECT id, "
                "'R1', 'S9', packed_to_ms + 90000000, 900, 31 FROM lot WHERE id %% 2;"
                "INSERT INTO material_use(lot_id, material, material_lot, amount, unit) SELECT id, "
                "'closure', 'C-' || id / 70, 200, '1' FROM lot WHERE id %% 3;"
                "INSERT INTO material_use(lot_id, material, material_lot, amount, unit) SELECT id, "
                "'fat', 'T-' || id / 40, 3 + id %% 7, 'kg' FROM lot;"
                "DELETE FROM material_first; INSERT INTO material_first SELECT u.material, "
                "u.material_lot, min(l.made_from_ms) FROM material_use u JOIN lot l ON l.id = "
                "u.lot_id GROUP BY 1, 2; COMMIT");
}

static void result_of(struct fixture *f, int64_t lot, const char *quantity, double value,
                      const char *word)
{
    enum measured_outcome outcome;
    const struct measured_row row = {.lot_id = lot,
                                     .quantity = quantity,
                                     .lab = "Northgate",
                                     .sample = word,
                                     .said = "x",
                                     .value = value,
                                     .unit = "",
                                     .word = word,
                                     .at_ms = AT(24, 0),
                                     .by_name = "qa",
                                     .user = "",
                                     .logged_ms = AT(24, 1)};
    assert_int_equal(measured_put(f->store, &row, &outcome, NULL), 0);
}

static const struct {
    const char *symptom;
    int day, line, turn; /* day -1: no lot */
    int received;
    const char *body;
} CALLS[] = {
    {"mold", 20, 1, 1, 26,
     "{\"channel\":\"phone\",\"observed\":{\"where\":\"side\",\"colour\":\"black\",\"wet_inside_bag"
     "\":true,\"kept\":\"counter\",\"spots\":4,\"bag\":\"torn\"}}"},
    {"mold", 20, 1, 1, 27,
     "{\"observed\":{\"where\":\"unknown\",\"wet_inside_bag\":false},"
     "\"measured\":{\"crumb_ph\":6.1,\"core_at_pack_c\":\"hot\"}}"},
    {"mold", 20, 1, 1, 27, "{\"measured\":{\"crumb_ph\":5.9},\"observed\":{\"kept\":\"fridge\"}}"},
    {"mold", 20, 1, 2, 26, "{}"},
    {"mold", 19, 1, 1, 25, "{}"},
    {"mold", 21, 1, 0, 27, "{}"},
    {"mold", 20, 2, 1, 26, "{}"},
    {"off-odor", 22, 1, 3, 26,
     "{\"observed\":{\"odor\":[\"sour\",\"cheesy\"],\"crumb\":"
     "\"sticky\",\"kept\":\"warm\"}}"},
    {"off-odor", 22, 1, 3, 28, "{\"measured\":{\"crumb_ph\":5.0}}"},
    {"staling", 18, 2, 0, 24, "{\"observed\":{\"crumb\":\"gummy\",\"opened_days\":2}}"},
    {"staling", 18, 2, 0, 24, "{\"observed\":{\"crumb\":\"crumbly\"}}"},
    {"staling", -1, 0, 0, 24, "{\"observed\":{\"crumb\":\"dry\",\"kept\":\"freezer\"}}"},
    {"mold", 0, 1, 0, 9, "{}"},
};

static void call_all(struct fixture *f)
{
    for (size_t i = 0; i < COUNT_OF(CALLS); i++) {
        int64_t lot =
            CALLS[i].day < 0 ? 0 : fixture_lot(CALLS[i].day, CALLS[i].line, CALLS[i].turn);
        fixture_complain(f, CALLS[i].symptom, lot, AT(CALLS[i].received, 9 + (int)i),
                         CALLS[i].body);
        if (i % 3)
            fixture_sql(f,
                        "UPDATE complaint SET store = %s, route = %s, found_day = %d, bought_day = "
                        "%d, packs = %d WHERE id = (SELECT max(id) FROM complaint)",
                        i % 4 == 1   ? "'S1'"
                        : i % 4 == 2 ? "'S9'"
                                     : "NULL",
                        i % 4 ? "NULL" : "'R1'", DAY0 + CALLS[i].received - (int)(i % 4),
                        DAY0 + CALLS[i].received - 3, 1 + (int)i % 2);
    }
}

/* ---- what is told ---- */

static void add_number(struct text_buffer *out, const char *what, double value)
{
    if (!isnan(value) && what)
        text_appendf(out, " %s=%.5g", what, fabs(value) < 1e-6 ? 0 : value);
}

static void add_fact(struct text_buffer *out, const struct fact_set *set, int f, int complaint)
{
    const struct fact *fact = fact_set_at(set, f, complaint);
    const struct rule_fact *rule = &set->rules->facts[f];
    text_appendf(out, "%s", rule->name.text);
    if (rule->name.per_complaint)
        text_appendf(out, " #%d", complaint);
    text_append(out, fact->known ? ":" : ": unknown");
    for (int i = 0; i < fact->word_count; i++)
        text_appendf(out, " %s", fact->words[i]);
    if (fact->known && !rule->name.words)
        add_number(out, "value", fact->value);
    add_number(out, "target", fact->target);
    add_number(out, "usual", fact->usual);
    add_number(out, "z", fact->z);
    add_number(out, "bits", fact->bits);
    if (fact->lots || fact->observed > 0)
        text_appendf(out, " observed=%.5g expected=%.5g lots=%d", fact->observed, fact->expected,
                     fact->lots);
    if (fact->rival)
        text_appendf(out, " rival=%s", set->rules->facts[fact->rival - 1].name.text);
    if (fact->known && fact->at_ms != WHEN_UNKNOWN_MS)
        text_appendf(out, " at=%.4g h", (double)(fact->at_ms - AT(0, 0)) / (double)WHEN_HOUR_MS);
    if (fact->quantity)
        text_appendf(out, " of=%s", fact->quantity);
    text_append(out, "\n");
}

static void check(const struct fact_set *set, int64_t id)
{
    char path[512];
    struct text_buffer out = {0};
    for (int f = 0; f < set->rules->fact_count; f++)
        for (int i = 0; i < (set->rules->facts[f].name.per_complaint ? set->complaint_count : 1);
             i++)
            add_fact(&out, set, f, i);
    snprintf(path, sizeof path, ODDLOAF_SOURCE_DIR "/tests/facts/told/case-%d.txt", (int)id);
    const char *how = getenv("PAGES");
    if (how && strcmp(how, "write") == 0)
        pages_write(path, out.data);
    else
        pages_compare(path, out.data);
    text_buffer_free(&out);
}

static void of_case(struct fixture *f, const struct facts_source *source, int64_t id)
{
    struct error err = {0};
    struct case_input input;
    struct fact_set set;
    if (case_input_read(f->store, id, &input, &err) ||
        facts_gather(source, f->store, &input, input.lot_count ? input.lots[0].lot_id : 0, &set,
                     &err))
        fail_msg("%s", err.text);
    check(&set, id);
    fact_set_clear(&set);
    case_input_clear(&input);
}

static void every_fact_is_what_it_was(void **state)
{
    struct fixture f;
    struct error err = {0};
    struct models_parameters models;
    struct rules *rules = NULL;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, DAYS);
    write_all(&f);
    rule_files(&f);
    assert_int_equal(store_begin(f.store, NULL), 0);
    result_of(&f, fixture_lot(22, 1, 3), "mold_genus", NAN, "penicillium");
    result_of(&f, fixture_lot(22, 1, 3), "mold_genus", NAN, "aspergillus");
    result_of(&f, fixture_lot(22, 1, 3), "core_at_pack_c", 45, "");
    assert_int_equal(store_commit(f.store, NULL), 0);
    call_all(&f);
    fixture_records_changed(&f);
    if (rules_load(f.rules, fixture_print_fault, NULL, &rules, &err) ||
        models_file_load(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &models, &err))
        fail_msg("%s", err.text);
    struct facts_source source = {.rules = rules,
                                  .models = &models,
                                  .tz = fixture_utc(),
                                  .lots = cache_new(256),
                                  .baselines = cache_new(16),
                                  .logs = cache_new(64),
                                  .records = cache_new(16),
                                  .predictions = cache_new(16),
                                  .companies = cache_new(16),
                                  .company = company_new()};
    int64_t cases = 0;
    assert_int_equal(db_number(f.store, "SELECT max(id) FROM complaint_case", NULL, &cases, NULL),
                     0);
    assert_true(cases >= 8);
    for (int64_t id = 1; id <= cases; id++) {
        of_case(&f, &source, id);
        of_case(&f, &source, id); /* what is kept of it is the same */
    }
    company_free(source.company);
    cache_free(source.lots);
    cache_free(source.baselines);
    cache_free(source.logs);
    cache_free(source.records);
    cache_free(source.predictions);
    cache_free(source.companies);
    rules_free(rules);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_fact_is_what_it_was)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
