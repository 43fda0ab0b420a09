#include "serve/door.h"
#include "base/text.h"
#include <stdlib.h>
#include <string.h>
#include <sys/queue.h>

enum { BUCKETS = 256, PEEKS_MOST = 16 };

struct place {
    struct conn *conn;
    struct door_peer *peer;
    bool idle;
    TAILQ_ENTRY(place) in_all, in_idle, in_peer; /* the latter two: longest idle first */
};
TAILQ_HEAD(places, place);

struct door_peer {
    char name[DOOR_PEER];
    size_t connections, longs;
    struct places idle;
    LIST_ENTRY(door_peer) in_bucket;
};

struct door {
    const struct door_limits *limits;
    size_t count;
    struct places all, idle;
    LIST_HEAD(, door_peer) bucket[BUCKETS];
};

struct door *door_new(const struct door_limits *limits)
{
    struct door *door = xcalloc(1, sizeof *door);
    door->limits = limits;
    TAILQ_INIT(&door->all);
    TAILQ_INIT(&door->idle);
    return door;
}

void door_free(struct door *door)
{
    if (!door)
        return;
    struct place *place;
    while ((place = TAILQ_FIRST(&door->all)))
        conn_close(place->conn);
    free(door);
}

/* ---- peers ---- */

static size_t bucket_of(const char *name)
{
    size_t hash = 5381;
    for (; *name; name++)
        hash = hash * 33 + (unsigned char)*name;
    return hash % BUCKETS;
}

static struct door_peer *find(struct door *door, const char *name)
{
    struct door_peer *peer;
    LIST_FOREACH(peer, &door->bucket[bucket_of(name)], in_bucket)
    {
        if (strcmp(peer->name, name) == 0)
            return peer;
    }
    return NULL;
}

static struct door_peer *find_or_make(struct door *door, const char *name)
{
    struct door_peer *peer = find(door, name);
    if (peer)
        return peer;
    peer = xcalloc(1, sizeof *peer);
    text_clip(name, peer->name, sizeof peer->name);
    TAILQ_INIT(&peer->idle);
    LIST_INSERT_HEAD(&door->bucket[bucket_of(name)], peer, in_bucket);
    return peer;
}

static void forget_if_gone(struct door_peer *peer)
{
    if (peer->connections || peer->longs)
        return;
    LIST_REMOVE(peer, in_bucket);
    free(peer);
}

struct door_peer *door_begin_long(struct door *door, const struct conn *conn)
{
    struct door_peer *peer = ((struct place *)conn_place(conn))->peer;
    if (peer->longs >= door->limits->long_of_peer)
        return NULL;
    peer->longs++;
    return peer;
}

void door_end_long(struct door_peer *peer)
{
    if (!peer)
        return;
    peer->longs--;
    forget_if_gone(peer);
}

/* ---- coming and going ---- */

void door_idle(struct door *door, struct conn *conn, bool is_idle)
{
    struct place *place = conn_place(conn);
    if (place->idle) {
        TAILQ_REMOVE(&door->idle, place, in_idle);
        TAILQ_REMOVE(&place->peer->idle, place, in_peer);
    }
    place->idle = is_idle;
    if (is_idle) {
        TAILQ_INSERT_TAIL(&door->idle, place, in_idle);
        TAILQ_INSERT_TAIL(&place->peer->idle, place, in_peer);
    }
}

/* A request that has come and was not looked at yet is no idleness: such a one goes to the end. */
static bool has_come(struct door *door, struct place *place)
{
    if (!conn_has_bytes(place->conn))
        return false;
    door_idle(door, place->conn, true);
    return true;
}

/* The longest idle one, of that peer or of all, in so many looks; NULL if none was idle. */
static struct place *find_idle(struct door *door, struct door_peer *of, size_t tries)
{
    for (; tries > 0; tries--) {
        struct place *place = of ? TAILQ_FIRST(&of->idle) : TAILQ_FIRST(&door->idle);
        if (!place || !has_come(door, place))
            return place;
    }
    return NULL;
}

static bool close_idle(struct door *door, struct door_peer *of)
{
    struct place *place = find_idle(door, of, of ? of->connections : door->count);
    if (place)
        conn_close(place->conn);
    return place != NULL;
}

enum door_answer door_ask(struct door *door, const char *name)
{
    struct door_peer *peer = find(door, name);
    if (peer && peer->connections >= door->limits->of_peer && !close_idle(door, peer))
        return DOOR_PEER_FULL;
    if (door->count >= door->limits->connections && !close_idle(door, NULL))
        return DOOR_FULL;
    return DOOR_OPEN;
}

void door_enter(struct door *door, struct conn *conn, const char *name)
{
    struct place *place = xcalloc(1, sizeof *place);
    place->conn = conn;
    place->peer = find_or_make(door, name);
    place->peer->connections++;
    TAILQ_INSERT_TAIL(&door->all, place, in_all);
    door->count++;
    conn_set_place(conn, place);
}

void door_leave(struct door *door, struct conn *conn)
{
    struct place *place = conn_place(conn);
    door_idle(door, conn, false);
    TAILQ_REMOVE(&door->all, place, in_all);
    door->count--;
    place->peer->connections--;
    forget_if_gone(place->peer);
    free(place);
}

bool door_is_full(struct door *door)
{
    return door->count >= door->limits->connections && !find_idle(door, NULL, PEEKS_MOST);
}

size_t door_count(const struct door *door)
{
    return door->count;
}

bool door_is_writing(const struct door *door)
{
    const struct place *place;
    TAILQ_FOREACH(place, &door->all, in_all)
    {
        if (conn_is_writing(place->conn))
            return true;
    }
    return false;
}
