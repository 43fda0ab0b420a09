#include "notify/mailer.h"
#include "base/length.h"
#include "base/short_id.h"
#include "base/text.h"
#include "notify/delivery.h"
#include "store/claim.h"
#include "store/outbox.h"
#include <assert.h>
#include <errno.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

enum {
    ORDINARY_MOST =
        2, /* a mail program is not to be run a hundred times at once for a full queue */
    URGENT_MOST = 96,
    URGENT_EACH = 24,       /* of one recipient: whose program hangs must not have all places */
    URGENT_AGAIN_MOST = 48, /* the rest is kept free for what has not been tried yet */
    PLACES = ORDINARY_MOST + URGENT_MOST,
    LOOK_MS = 1000, /* retries fall due by the clock */
    LOOKED_AT = 16, /* ordinary ones, of which other daemons may be at some */
    FOREIGN_MOST = 512,
    FOREIGN_MS = 20000, /* a lost connection is made anew, and an outcome recorded, within that */
    SKEW_MS = 5000,
    STOP_MS = 5000,
    WRITE_AGAIN_MS = 2000,
    URGENT_RETRY_MOST_MS = 300000
};

static const char *const EVENTS[] = {OUTBOX_URGENT, "case",    "emptied", "summary",
                                     "digest",      "records", "due"};
enum { EVENT_COUNT = sizeof EVENTS / sizeof EVENTS[0] };

/* What another daemon was at when it was last looked at. */
struct foreign {
    int64_t claim, seen_ms; /* monotonic; 0: free */
};

struct mailer {
    struct store *store;
    struct writer *writer;
    struct log log;
    struct clock clock;
    pthread_t thread;
    int woken;                 /* eventfd */
    struct sheet_maker *maker; /* NULL: no mail carries a page; set before anything is sent */
    pthread_mutex_t lock;
    /* under the lock */
    bool stopping, configured;
    struct mail_settings next; /* what the thread takes when `configured` is set */
    /* the thread's own */
    struct mail_settings settings;
    bool told;                      /* there are settings */
    bool adopted;                   /* they decide already who gets what waits */
    bool full;                      /* of what leaves no delivery could be written */
    char logged[512];               /* why mail waits, said once */
    struct delivery *place[PLACES]; /* NULL: free */
    bool claimed[PLACES];           /* on the connection at hand */
    unsigned connection;            /* its number */
    int64_t connected_ms, quiet_ms; /* by the clock; monotonic: others may not be back until then */
    struct foreign foreign[FOREIGN_MOST];
    struct delivery *page_for; /* what the maker is at or was; NULL: it is asked nothing */
    int unrecorded;            /* why what became of some is not on record, said once; 0 */
    int64_t look_ms, write_ms; /* monotonic: not before */
    int64_t start_ms;          /* on a full disk, likewise */
};

/* ---- who gets it ---- */

struct addressing {
    struct mailer *mailer;
    bool all;
    const char *named; /* ",Larkfen,Quarrhill,": the plants that have lists; NULL none */
};

/* Plants that have lists, as the outbox takes them. Nothing is appended where there are none. */
static void list_plants(const struct mailer *m, struct text_buffer *out)
{
    const char *name;
    json_t *lists;
    json_object_foreach((json_t *)m->settings.plants, name, lists)
        text_appendf(out, "%s%s,", out->length ? "" : ",", name);
}

/* `to`: an array of addresses; taken. */
static int address_some(struct store *store, const struct addressing *a,
                        struct outbox_addresses *addresses, json_t *to, struct error *err)
{
    size_t count = json_array_size(to);
    const char **names = xcalloc(count + 1, sizeof *names);
    for (size_t i = 0; i < count; i++)
        names[i] = json_string_value(json_array_get(to, i));
    if (*a->mailer->settings.hook_program)
        names[count++] = OUTBOX_HOOK;
    addresses->recipient = names;
    addresses->count = count;
    int rc = 0;
    if (a->all || count)
        rc = outbox_address(store, addresses, clock_now_ms(&a->mailer->clock), err);
    free(names);
    json_decref(to);
    return rc;
}

/* Each plant's to its own people, all else to the company's. */
static int address_event(struct store *store, const struct addressing *a, const char *event,
                         struct error *err)
{
    const struct mail_settings *s = &a->mailer->settings;
    struct outbox_addresses addresses = {.event = event, .all = a->all, .but = a->named};
    int rc = address_some(store, a, &addresses, mail_settings_to(s, event), err);
    const char *name;
    json_t *lists;
    json_object_foreach((json_t *)s->plants, name, lists)
    {
        char of[LENGTH_CODE + 3];
        snprintf(of, sizeof of, ",%s,", name);
        addresses =
            (struct outbox_addresses){.event = event, .all = a->all, .of = of, .plant = name};
        if (!rc)
            rc = address_some(store, a, &addresses, mail_settings_to_plant(s, event, name), err);
    }
    return rc ? rc : outbox_addressed(store, event, a->all, err);
}

static int address(struct store *store, void *arg, struct error *err)
{
    const struct addressing *a = arg;
    int rc = 0, due = 0;
    for (int i = 0; i < EVENT_COUNT && !rc; i++)
        rc = address_event(store, a, EVENTS[i], err);
    if (!rc && a->all)
        rc = outbox_due_again(store, 0, clock_now_ms(&a->mailer->clock), &due, err);
    return rc;
}

static int run_addressing(struct mailer *m, bool all, struct error *err)
{
    assert(m->told);
    struct text_buffer named = {0};
    list_plants(m, &named);
    struct addressing a = {.mailer = m, .all = all, .named = named.length ? named.data : NULL};
    int rc = writer_run(m->writer, address, &a, err);
    text_buffer_free(&named);
    return rc;
}

static bool somebody_gets(const struct mailer *m, const char *event)
{
    json_t *to = mail_settings_to(&m->settings, event);
    bool gets = json_array_size(to) || *m->settings.hook_program;
    json_decref(to);
    const char *name;
    json_t *lists;
    json_object_foreach((json_t *)m->settings.plants, name, lists)
    {
        to = mail_settings_to_plant(&m->settings, event, name);
        gets = gets || json_array_size(to);
        json_decref(to);
    }
    return gets;
}

/* Mails queued since: nothing to do for those nobody is set up to get. */
static int address_new(struct mailer *m, struct error *err)
{
    bool any = false;
    int rc = 0;
    for (int i = 0; i < EVENT_COUNT && !rc && !any; i++) {
        if (somebody_gets(m, EVENTS[i]))
            rc = outbox_has_new(m->store, EVENTS[i], &any, err);
    }
    return !rc && any ? run_addressing(m, false, err) : rc;
}

/* ---- starting what is due ---- */

static int take_up(struct store *store, void *arg, struct error *err)
{
    const struct mailer *m = arg;
    return outbox_take_up(store, clock_now_ms(&m->clock), err);
}

/* What was gathered and is due takes no more, then it may leave. */
static int close_gathered(struct mailer *m, struct error *err)
{
    bool any = false;
    int rc = outbox_gathered_due(m->store, clock_now_ms(&m->clock), &any, err);
    return !rc && any ? writer_run(m->writer, take_up, m, err) : rc;
}

static bool is_under_way(const struct mailer *m, const struct outbox_delivery *row)
{
    for (int i = 0; i < PLACES; i++) {
        const struct outbox_delivery *other = m->place[i] ? delivery_row(m->place[i]) : NULL;
        if (other && other->mail_id == row->mail_id &&
            strcmp(other->recipient, row->recipient) == 0)
            return true;
    }
    return false;
}

static int count_under_way(const struct mailer *m, bool urgent, int least_attempts)
{
    int count = 0;
    for (int i = 0; i < PLACES; i++) {
        const struct outbox_delivery *row = m->place[i] ? delivery_row(m->place[i]) : NULL;
        count += row && row->urgent == urgent && row->attempts >= least_attempts;
    }
    return count;
}

static int count_of_recipient(const struct mailer *m, const char *recipient)
{
    int count = 0;
    for (int i = 0; i < PLACES; i++) {
        const struct outbox_delivery *row = m->place[i] ? delivery_row(m->place[i]) : NULL;
        count += row && row->urgent && strcmp(row->recipient, recipient) == 0;
    }
    return count;
}

static bool has_place(const struct mailer *m, const struct outbox_delivery *row)
{
    if (!row->urgent)
        return count_under_way(m, false, 0) < ORDINARY_MOST;
    if (row->attempts && count_under_way(m, true, 1) >= URGENT_AGAIN_MOST)
        return false;
    return count_under_way(m, true, 0) < URGENT_MOST &&
           count_of_recipient(m, row->recipient) < URGENT_EACH;
}

/* ---- several daemons on a server ----
 * A delivery is claimed until its outcome is on record. Whoever lost its connection while a program
 * ran claims anew and records within seconds; the others leave what was claimed, and after a loss
 * of their own all that may have been, alone for so long. */

static int64_t claim_of(const struct outbox_delivery *row)
{
    char text[24 + OUTBOX_RECIPIENT];
    snprintf(text, sizeof text, "%lld %s", (long long)row->mail_id, row->recipient);
    return claim_of_text(text);
}

/* Its own, or a free place, or that of what was seen longest ago. */
static struct foreign *foreign_of(struct mailer *m, int64_t claim)
{
    struct foreign *oldest = &m->foreign[0];
    for (int i = 0; i < FOREIGN_MOST; i++) {
        if (m->foreign[i].seen_ms && m->foreign[i].claim == claim)
            return &m->foreign[i];
        if (m->foreign[i].seen_ms < oldest->seen_ms)
            oldest = &m->foreign[i];
    }
    *oldest = (struct foreign){.claim = claim};
    return oldest;
}

/* What was queued since cannot have been claimed before. */
static bool may_be_anothers(const struct mailer *m, const struct outbox_delivery *row)
{
    return clock_monotonic_ms() < m->quiet_ms && row->created_ms < m->connected_ms + SKEW_MS;
}

static bool take_claim(struct mailer *m, const struct outbox_delivery *row)
{
    if (!store_is_server(m->store))
        return true;
    const int64_t claim = claim_of(row), now_ms = clock_monotonic_ms();
    struct foreign *foreign = foreign_of(m, claim);
    bool taken = claim_take(m->store, CLAIM_DELIVERY, claim);
    bool waits = foreign->seen_ms && now_ms - foreign->seen_ms < FOREIGN_MS;
    /* what was read before it was claimed may have been sent, and let go of, meanwhile */
    if (taken && !waits && !may_be_anothers(m, row) && outbox_stands(m->store, row)) {
        foreign->seen_ms = 0;
        return true;
    }
    if (taken)
        claim_drop(m->store, CLAIM_DELIVERY, claim);
    else
        foreign->seen_ms = now_ms;
    return false;
}

/* What is under way here, after a loss. What a daemon that has just started finds unclaimed is
 * nobody's, as far as anybody can tell. */
static void claim_again(struct mailer *m)
{
    unsigned connection = claim_connection(m->store);
    if (m->connection && connection != m->connection) {
        m->connected_ms = clock_now_ms(&m->clock);
        m->quiet_ms = clock_monotonic_ms() + FOREIGN_MS;
        memset(m->claimed, 0, sizeof m->claimed);
    }
    m->connection = connection;
    for (int i = 0; i < PLACES; i++) {
        if (m->place[i] && !m->claimed[i])
            m->claimed[i] =
                claim_take(m->store, CLAIM_DELIVERY, claim_of(delivery_row(m->place[i])));
    }
}

/* ---- places ---- */

static void put(struct mailer *m, struct delivery *delivery)
{
    assert(delivery);
    int at = 0;
    while (m->place[at])
        at++;
    assert(at < PLACES); /* has_place() said so */
    m->place[at] = delivery;
    m->claimed[at] = true;
}

static bool carries_sheet(const struct mailer *m, const struct outbox_delivery *row)
{
    return m->settings.sheet_kb && m->maker && row->case_id && strcmp(row->event, "case") == 0 &&
           strcmp(row->recipient, OUTBOX_HOOK) != 0;
}

/* The mail goes without one that is too large. */
static char *small_enough(const struct mailer *m, const struct outbox_delivery *row, char *sheet)
{
    size_t most = (size_t)m->settings.sheet_kb * 1000;
    if (!sheet || strlen(sheet) <= most)
        return sheet;
    log_write(&m->log, LOG_LEVEL_INFO, "a mail goes without its sheet case=%s bytes=%zu most=%zu",
              CASE_ID(row->case_id), strlen(sheet), most);
    free(sheet);
    return NULL;
}

static void begin(struct mailer *m, struct delivery *d, char *sheet)
{
    delivery_begin(d, &m->settings, sheet);
    if (*delivery_no_zone(d))
        log_write(&m->log, LOG_LEVEL_WARNING, "a mail's times are in UTC mail=%lld why=\"%s\"",
                  (long long)delivery_row(d)->mail_id, delivery_no_zone(d));
}

/* Those with places that wait for their page, as their case stands now: the one that is made
 * leaves, the next is asked for. */
static void attach_sheets(struct mailer *m)
{
    char *sheet = NULL;
    if (m->page_for && sheet_maker_take(m->maker, &sheet)) {
        begin(m, m->page_for, small_enough(m, delivery_row(m->page_for), sheet));
        m->page_for = NULL;
    }
    for (int i = 0; i < PLACES && !m->page_for; i++) {
        if (!m->place[i] || delivery_has_begun(m->place[i]))
            continue;
        m->page_for = m->place[i];
        sheet_maker_ask(m->maker, delivery_row(m->page_for)->case_id);
    }
}

static void start_one(struct mailer *m, struct outbox_delivery *row)
{
    bool waits = carries_sheet(m, row);
    struct delivery *d = delivery_new(row);
    put(m, d);
    if (!waits)
        begin(m, d, NULL);
}

static void start_rows(struct mailer *m, const struct outbox_deliveries *due)
{
    assert(due->count <= due->capacity);
    for (int i = 0; i < due->count; i++) {
        if (!is_under_way(m, &due->row[i]) && has_place(m, &due->row[i]) &&
            take_claim(m, &due->row[i]))
            start_one(m, &due->row[i]);
        outbox_delivery_free(&due->row[i]);
    }
}

static int start_due(struct mailer *m, bool urgent, struct error *err)
{
    struct outbox_delivery row[2 * URGENT_MOST]; /* those under way are due as well */
    struct outbox_deliveries due = {row, 0, urgent ? 2 * URGENT_MOST : LOOKED_AT};
    if (!urgent && count_under_way(m, false, 0) == ORDINARY_MOST)
        return 0;
    int rc = outbox_due(m->store, urgent, clock_now_ms(&m->clock), &due, err);
    start_rows(m, &due);
    return rc;
}

static int start_stranded_of(struct mailer *m, const struct outbox_addresses *to, struct error *err)
{
    struct outbox_delivery row[URGENT_EACH];
    struct outbox_deliveries due = {row, 0, URGENT_EACH};
    int rc = outbox_stranded(m->store, to, clock_now_ms(&m->clock), &due, err);
    start_rows(m, &due);
    return rc;
}

/* `to`: an array of addresses; taken. */
static int start_stranded_to(struct mailer *m, json_t *to, const char *of, const char *but,
                             struct error *err)
{
    size_t i;
    const json_t *one;
    int rc = 0;
    json_array_foreach(to, i, one)
    {
        const char *address = json_string_value(one);
        const struct outbox_addresses some = {
            .event = OUTBOX_URGENT, .recipient = &address, .count = 1, .of = of, .but = but};
        rc = rc ? rc : start_stranded_of(m, &some, err);
    }
    json_decref(to);
    return rc;
}

/* A full disk has no room for the deliveries of mail about harm; it leaves all the same. */
static int start_stranded(struct mailer *m, struct error *err)
{
    static const char *const HOOK[] = {OUTBOX_HOOK};
    const struct outbox_addresses hook = {.event = OUTBOX_URGENT, .recipient = HOOK, .count = 1};
    struct text_buffer named = {0};
    list_plants(m, &named);
    int rc = start_stranded_to(m, mail_settings_to(&m->settings, OUTBOX_URGENT), NULL,
                               named.length ? named.data : NULL, err);
    const char *name;
    json_t *lists;
    json_object_foreach((json_t *)m->settings.plants, name, lists)
    {
        char of[LENGTH_CODE + 3];
        snprintf(of, sizeof of, ",%s,", name);
        if (!rc)
            rc = start_stranded_to(m, mail_settings_to_plant(&m->settings, OUTBOX_URGENT, name), of,
                                   NULL, err);
    }
    if (!rc && *m->settings.hook_program)
        rc = start_stranded_of(m, &hook, err);
    text_buffer_free(&named);
    return rc;
}

/* ---- what became of them ---- */

static int64_t retry_after_ms(const struct mailer *m, const struct outbox_delivery *row)
{
    assert(m->settings.retry_s > 0 && row->attempts >= 0);
    int64_t most_ms = row->urgent ? URGENT_RETRY_MOST_MS : OUTBOX_RETRY_MOST_MS;
    int64_t wait_ms = m->settings.retry_s * INT64_C(1000);
    for (int i = 0; i < row->attempts && wait_ms < most_ms; i++)
        wait_ms *= 2;
    return wait_ms < most_ms ? wait_ms : most_ms;
}

static int record_one(struct mailer *m, struct delivery *d, struct store *store, struct error *err)
{
    assert(delivery_row(d)->attempts >= 0);
    const struct outbox_delivery *row = delivery_row(d);
    const struct program_result *result = delivery_result(d);
    int64_t now_ms = clock_now_ms(&m->clock);
    if (result->done)
        return outbox_sent(store, row->mail_id, row->recipient, now_ms, err);
    bool late = now_ms - row->since_ms >= m->settings.park_h * WHEN_HOUR_MS;
    bool park = !row->urgent && (!result->try_again || late);
    return outbox_failed(store, row, now_ms + retry_after_ms(m, row), park, result->why, err);
}

struct outcomes {
    struct mailer *mailer;
    bool ended[PLACES];
};

static int record(struct store *store, void *arg, struct error *err)
{
    struct outcomes *o = arg;
    int rc = 0;
    for (int i = 0; i < PLACES && !rc; i++) {
        if (o->ended[i])
            rc = record_one(o->mailer, o->mailer->place[i], store, err);
    }
    return rc;
}

static void log_failure(const struct mailer *m, const struct delivery *d)
{
    const struct outbox_delivery *row = delivery_row(d);
    const struct program_result *result = delivery_result(d);
    char about[8 + SHORT_ID_TEXT] = "";
    if (row->case_id)
        snprintf(about, sizeof about, " case=%s", CASE_ID(row->case_id));
    if (!result->done)
        log_write(&m->log, row->urgent ? LOG_LEVEL_ERROR : LOG_LEVEL_WARNING,
                  "mail not sent event=%s id=%lld%s attempt=%d why=\"%s\"", row->event,
                  (long long)row->mail_id, about, row->attempts + 1, result->why);
}

static void free_place(struct mailer *m, int i)
{
    log_failure(m, m->place[i]);
    if (m->claimed[i])
        claim_drop(m->store, CLAIM_DELIVERY, claim_of(delivery_row(m->place[i])));
    delivery_free(m->place[i]);
    m->place[i] = NULL;
}

/* What has not left is tried again, recorded or not: on a full disk it would wait for room. */
static void try_again_unrecorded(struct mailer *m, const struct outcomes *o)
{
    for (int i = 0; i < PLACES; i++) {
        if (!o->ended[i] || delivery_result(m->place[i])->done)
            continue;
        free_place(m, i);
        m->start_ms = clock_monotonic_ms() + m->settings.retry_s * INT64_C(1000);
    }
}

static void tell_unrecorded(struct mailer *m, const struct outcomes *o, int rc,
                            const struct error *why)
{
    if (rc != m->unrecorded)
        log_write(&m->log, LOG_LEVEL_ERROR, "cannot record what became of mails why=\"%s\"",
                  why->text);
    m->unrecorded = rc;
    if (rc == ERROR_NO_SPACE)
        try_again_unrecorded(m, o);
    m->write_ms = clock_monotonic_ms() + WRITE_AGAIN_MS;
}

/* A place is free again only once its outcome is on disk: else a full disk would send the same mail
 * over and over. */
static void finish(struct mailer *m)
{
    struct outcomes o = {.mailer = m};
    struct error err = {0};
    int count = 0;
    for (int i = 0; i < PLACES; i++) {
        o.ended[i] = m->place[i] && delivery_attend(m->place[i]);
        count += o.ended[i];
    }
    if (count == 0 || clock_monotonic_ms() < m->write_ms)
        return;
    /* those that left without deliveries get them first */
    int rc = m->full ? run_addressing(m, !m->adopted, &err) : 0;
    if (!rc)
        rc = writer_run(m->writer, record, &o, &err);
    if (rc) {
        tell_unrecorded(m, &o, rc, &err);
        return;
    }
    m->unrecorded = 0;
    for (int i = 0; i < PLACES; i++) {
        if (o.ended[i])
            free_place(m, i);
    }
    m->look_ms = 0; /* places are free */
}

/* ---- the thread ---- */

/* True to go on. */
static bool take_orders(struct mailer *m)
{
    pthread_mutex_lock(&m->lock);
    bool stopping = m->stopping;
    if (m->configured) {
        mail_settings_free(&m->settings);
        m->settings = m->next;
        m->next = (struct mail_settings){0};
        m->configured = m->adopted = false;
        m->told = true;
        m->look_ms = 0;
    }
    pthread_mutex_unlock(&m->lock);
    return !stopping;
}

/* Once, while it stays the same: the log may be on the same full disk. */
static void tell_waits(struct mailer *m, const struct error *why)
{
    char text[sizeof m->logged];
    text_clip(why->text, text, sizeof text);
    if (*text && strcmp(text, m->logged) != 0)
        log_write(&m->log, LOG_LEVEL_ERROR, "waiting mail is not gone on with why=\"%s\"", text);
    memcpy(m->logged, text, sizeof text);
}

/* Who gets what is new, and what was gathered and is due. */
static int address_due(struct mailer *m, struct error *err)
{
    int rc = m->adopted ? address_new(m, err) : run_addressing(m, true, err);
    m->adopted |= rc == 0;
    int gathered = close_gathered(m, err);
    return rc ? rc : gathered;
}

static void look(struct mailer *m)
{
    assert(pthread_equal(pthread_self(), m->thread));
    struct error err = {0};
    if (!m->told || clock_monotonic_ms() < m->look_ms)
        return;
    m->look_ms = clock_monotonic_ms() + LOOK_MS;
    if (store_is_server(m->store))
        claim_again(m);
    m->full = address_due(m, &err) == ERROR_NO_SPACE;
    tell_waits(m, &err);
    if (m->full && clock_monotonic_ms() < m->start_ms)
        return;
    error_clear(&err);
    /* what has its deliveries leaves even where no new ones could be written */
    int rc = start_due(m, true, &err);
    if (!rc && m->full)
        rc = start_stranded(m, &err);
    if (!rc)
        rc = start_due(m, false, &err);
    if (rc)
        log_write(&m->log, LOG_LEVEL_ERROR, "cannot read the outbox why=\"%s\"", err.text);
}

static void wait_for_news(struct mailer *m)
{
    struct pollfd ends[1 + PLACES] = {{m->woken, POLLIN, 0}};
    nfds_t count = 1;
    uint64_t times;
    for (int i = 0; i < PLACES; i++) {
        if (m->place[i])
            ends[count++] = delivery_poll(m->place[i]);
    }
    poll(ends, count, count > 1 ? PROGRAM_SLICE_MS : LOOK_MS);
    if (ends[0].revents && read(m->woken, &times, sizeof times) > 0)
        m->look_ms = 0;
}

/* Nothing is under way; what waits for its page is sent after the next start. */
static bool is_idle(const struct mailer *m)
{
    for (int i = 0; i < PLACES; i++) {
        if (m->place[i] && delivery_has_begun(m->place[i]))
            return false;
    }
    return true;
}

static void *mailer_main(void *arg)
{
    struct mailer *m = arg;
    while (take_orders(m)) {
        look(m);
        attach_sheets(m);
        wait_for_news(m);
        finish(m);
    }
    int64_t until_ms = clock_monotonic_ms() + STOP_MS;
    while (!is_idle(m) && clock_monotonic_ms() < until_ms) {
        wait_for_news(m);
        finish(m);
    }
    return NULL;
}

static void mailer_free(struct mailer *m)
{
    sheet_maker_stop(m->maker);
    for (int i = 0; i < PLACES; i++)
        delivery_free(m->place[i]);
    store_close(m->store);
    mail_settings_free(&m->settings);
    mail_settings_free(&m->next);
    pthread_mutex_destroy(&m->lock);
    if (m->woken >= 0)
        close(m->woken);
    free(m);
}

int mailer_start(const char *state_dir, struct writer *writer, const struct log *log,
                 const struct clock *clock, struct mailer **ret, struct error *err)
{
    assert(writer && log && clock);
    struct mailer *m = xcalloc(1, sizeof *m);
    m->writer = writer;
    m->log = *log;
    m->clock = *clock;
    m->woken = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    pthread_mutex_init(&m->lock, NULL);
    int failed = m->woken < 0 ? errno : 0;
    int rc = failed ? 0 : store_open(state_dir, STORE_READ, &m->store, err);
    if (!rc && !failed)
        failed = pthread_create(&m->thread, NULL, mailer_main, m);
    if (failed)
        rc = error_set(err, ERROR_IO, "cannot start the mailer thread: %s", strerror(failed));
    if (rc) {
        mailer_free(m);
        return rc;
    }
    *ret = m;
    return 0;
}

void mailer_stop(struct mailer *m)
{
    if (!m)
        return;
    pthread_mutex_lock(&m->lock);
    m->stopping = true;
    pthread_mutex_unlock(&m->lock);
    mailer_wake(m);
    pthread_join(m->thread, NULL);
    mailer_free(m);
}

int mailer_attach(struct mailer *m, const char *state_dir, sheet_maker_make make, void *arg,
                  struct error *err)
{
    assert(!m->told && !m->configured && !m->maker);
    const struct sheet_maker_how how = {make, arg, m->woken};
    return sheet_maker_start(state_dir, &how, &m->maker, err);
}

void mailer_configure(struct mailer *m, const struct mail_settings *settings)
{
    struct mail_settings fresh = mail_settings_copy(settings);
    pthread_mutex_lock(&m->lock);
    mail_settings_free(&m->next);
    m->next = fresh;
    m->configured = true;
    pthread_mutex_unlock(&m->lock);
    mailer_wake(m);
}

void mailer_wake(struct mailer *m)
{
    const uint64_t once = 1;
    if (write(m->woken, &once, sizeof once) < 0)
        return; /* its counter is full: it is awake */
}
