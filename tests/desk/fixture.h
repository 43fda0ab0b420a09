/* What the desk's tests share: two lots on record, the shipped codes and lexicon, and complaints
 * taken as they come in. Nothing is committed: what one of them
 * does is kept, or taken back, as the writer keeps jobs apart. */
#ifndef ODDLOAF_TESTS_DESK_FIXTURE_H
#define ODDLOAF_TESTS_DESK_FIXTURE_H

#include "base/jsonx.h"
#include "base/text.h"
#include "check.h"
#include "desk/correcting.h"
#include "desk/taking.h"
#include "intake/harm.h"
#include "intake/lexicon.h"
#include "lots/lot_rules.h"
#include "state.h"
#include "store/db.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FIRST "01990000-0000-7000-8000-000000000001"
#define SECOND "01990000-0000-7000-8000-000000000002"

struct fixture {
    char dir[64];
    struct store *store;
    struct tz *tz;
    struct lot_matcher *matcher;
    struct lexicon *lexicon;
    json_t *harm;
    int64_t now_ms;
    struct desk desk;
};

static inline void fixture_begin(struct fixture *f)
{
    struct error err = {0};
    if (store_nest(f->store, &err))
        fail_msg("%s", err.text);
}

static inline void fixture_end(struct fixture *f, bool keep)
{
    struct error err = {0};
    if (store_unnest(f->store, keep, &err))
        fail_msg("%s", err.text);
}

static inline const char *fixture_nobody(const void *arg)
{
    (void)arg;
    return "no mail is set up";
}

static inline int64_t fixture_at(const char *text)
{
    int64_t ms = 0;
    assert_int_equal(when_parse(text, &ms, NULL), 0);
    return ms;
}

static inline void fixture_lots(struct fixture *f)
{
    char sql[800];
    struct error err = {0};
    const long long packed = fixture_at("2026-11-14T04:00:00-05:00");
    snprintf(sql, sizeof sql,
             "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin) "
             "VALUES(1,'W24','Mill Wheat','pan-bread',10,680,NULL);"
             "INSERT INTO lot VALUES(1,'L1 6318 A0400','L16318A0400','',1,'1','A',%lld,%lld,%lld,"
             "%lld,5000,20781),(2,'L2 6318 A0400','L26318A0400','',1,'2','A',%lld,%lld,%lld,%lld,"
             "5000,20781)",
             packed, packed, packed, packed + 3600000, packed, packed, packed, packed + 3600000);
    if (db_exec(f->store, sql, &err))
        fail_msg("%s", err.text);
}

/* Once a program. */
static inline int fixture_open(void **state)
{
    struct fixture *f = xcalloc(1, sizeof *f);
    struct error err = {0};
    strcpy(f->dir, "/tmp/oddloaf-desk-XXXXXX");
    assert_non_null(state_folder(f->dir));
    if (store_open(f->dir, STORE_WRITE, &f->store, &err) || store_begin(f->store, &err) ||
        tz_open("America/New_York", &f->tz, &err) ||
        lot_rules_load(ODDLOAF_SOURCE_DIR "/rules/lots.json", NULL, NULL, &f->matcher, &err) ||
        lexicon_load(ODDLOAF_SOURCE_DIR "/rules/lexicon", NULL, NULL, &f->lexicon, &err) ||
        harm_load(ODDLOAF_SOURCE_DIR "/rules/harm.json", NULL, NULL, &f->harm, &err))
        fail_msg("%s", err.text);
    fixture_lots(f);
    f->now_ms = fixture_at("2026-11-20T12:00:00-05:00");
    f->desk = (struct desk){.tz = f->tz,
                            .matcher = f->matcher,
                            .lexicon = f->lexicon,
                            .harm = f->harm,
                            .plant = "Harrow Mill Bakery",
                            .mail_domain = "mill.example",
                            .no_alarm = fixture_nobody,
                            .settle_at = 0.9,
                            .similar_ms = 7 * WHEN_DAY_MS,
                            .contact_ms = 90 * WHEN_DAY_MS};
    *state = f;
    return 0;
}

static inline int fixture_close(void **state)
{
    struct fixture *f = *state;
    struct text_buffer command = {0};
    store_rollback(f->store);
    store_close(f->store);
    tz_close(f->tz);
    lot_rules_free(f->matcher);
    lexicon_free(f->lexicon);
    json_decref(f->harm);
    text_appendf(&command, "rm -rf %s", f->dir);
    int rc = system(command.data);
    text_buffer_free(&command);
    free(f);
    return rc;
}

/* Around each test: nothing of it stays. */
static inline int fixture_clean(void **state)
{
    fixture_begin(*state);
    return 0;
}

static inline int fixture_cleaned(void **state)
{
    fixture_end(*state, false);
    return 0;
}

/* JSON with ' for ". New reference. */
static inline char *fixture_text(const char *text)
{
    char *quoted = xstrdup(text);
    for (char *p = quoted; *p; p++)
        *p = *p == '\'' ? '"' : *p;
    return quoted;
}

static inline json_t *fixture_json(const char *text)
{
    struct error err = {0};
    json_t *json = NULL;
    char *quoted = fixture_text(text);
    if (jsonx_parse(quoted, strlen(quoted), &json, &err))
        fail_msg("%s: %s", quoted, err.text);
    free(quoted);
    return json;
}

/* A moldy loaf of lot L1, with what `more` says besides or otherwise. New reference. */
static inline json_t *fixture_complaint(const char *uuid, const char *more)
{
    json_t *said = fixture_json("{'received_at':'2026-11-20T09:14:00-05:00','channel':'phone',"
                                "'symptom':'mold','lot_text':'L1 6318 A0400'}");
    json_t *other = fixture_json(more);
    json_object_set_new(said, "id", json_string(uuid));
    json_object_update(said, other);
    json_decref(other);
    return said;
}

/* Takes it; clear `t`. */
static inline int fixture_take(struct fixture *f, const char *uuid, const char *more,
                               struct taking *t)
{
    struct error err = {0};
    json_t *said = fixture_complaint(uuid, more);
    *t = (struct taking){.user = "mira", .alone = true};
    taking_read(&f->desk, f->store, said, f->now_ms, t);
    json_decref(said);
    fixture_begin(f);
    int rc = taking_log(&f->desk, f->store, f->now_ms, t, &err);
    fixture_end(f, rc == 0);
    return rc ? rc : (int)t->err.code;
}

static inline void fixture_log(struct fixture *f, const char *uuid, const char *more)
{
    struct taking t;
    if (fixture_take(f, uuid, more, &t))
        fail_msg("refused: %s", t.err.text);
    taking_clear(&t);
}

static inline int64_t fixture_number(struct fixture *f, const char *sql)
{
    int64_t n = -1;
    struct error err = {0};
    if (db_number(f->store, sql, NULL, &n, &err))
        fail_msg("%s", err.text);
    return n;
}

/* Corrects it as Ivo, or withdraws it. `c` is cleared by fixture_corrected_clear(). */
static inline int fixture_correct(struct fixture *f, const char *uuid, const char *fields,
                                  struct correcting *c, struct error *err)
{
    json_t *given = fixture_json(fields);
    *c = (struct correcting){
        .uuid = uuid, .why = {"ivo", "the caller rang again", f->now_ms + 60000}, .fields = given};
    fixture_begin(f);
    int rc = correcting_apply(&f->desk, f->store, c, err);
    fixture_end(f, rc == 0);
    json_decref(given);
    c->fields = NULL;
    return rc;
}

static inline void fixture_corrected_clear(struct correcting *c)
{
    json_decref(c->changed);
    json_decref(c->taken);
    json_decref(c->faults);
    json_decref(c->harm);
    json_decref(c->heard.harm);
}

#endif
