#include "serve/pending.h"
#include "base/text.h"
#include "serve/peer.h"
#include "serve/plants.h"
#include "serve/tls.h"
#include "serve/users.h"
#include <event2/bufferevent_ssl.h>
#include <stdlib.h>
#include <string.h>

static void take_peer(struct pending *p, struct bufferevent *bev)
{
    p->local = conn_uid(p->conn, &p->uid);
    if (p->local)
        return;
    SSL *ssl = bufferevent_openssl_get_ssl(bev);
    p->certificate_roles =
        ssl ? tls_peer_roles(ssl, p->request.user, sizeof p->request.user) : NULL;
    const char *given = wire_header(conn_wire(p->conn), "Authorization");
    if (given && strncmp(given, "Bearer ", 7) == 0)
        p->token = xstrdup(given + 7);
}

static char *copy_header(const struct wire *wire, const char *name)
{
    const char *value = wire_header(wire, name);
    return xstrdup(value ? value : "");
}

struct pending *pending_new(struct app *app, struct way *way, struct conn *conn)
{
    struct wire *wire = conn_wire(conn);
    struct pending *p = xcalloc(1, sizeof *p);
    p->way = way;
    p->conn = conn;
    p->request.app = app;
    p->request.slot = p;
    p->request.connection = conn_number(conn);
    p->request.path = xstrdup(wire_path(wire));
    p->request.content_type = copy_header(wire, "Content-Type");
    p->request.accept = copy_header(wire, "Accept");
    query_read(wire_query(wire), &p->request.query);
    take_peer(p, conn_bufferevent(conn));
    return p;
}

void pending_free(struct pending *p)
{
    if (p->request.stream)
        p->request.stream_free(p->request.stream);
    door_end_long(p->long_of);
    query_clear(&p->request.query);
    free(p->request.content_type);
    free(p->request.accept);
    free(p->request.body);
    free(p->request.path);
    free(p->token);
    json_decref(p->certificate_roles);
    free(p->answer.body);
    setup_unref(p->setup);
    free(p);
}

bool pending_asks(const struct pending *p)
{
    return strcmp(p->route->method, "GET") == 0;
}

bool pending_is_known(const struct pending *p)
{
    return p->local || p->certificate_roles || p->token;
}

static void add_token(struct pending *p)
{
    char name[sizeof p->request.user];
    struct sight sight;
    if (!peer_sight_of_token(p->setup->config, p->token, &sight, name, sizeof name))
        return;
    sight_join(&p->request.sight, &sight);
    if (!p->request.user[0])
        text_clip(name, p->request.user, sizeof p->request.user);
}

static void add_certificate(struct pending *p)
{
    size_t i;
    const json_t *word;
    json_array_foreach(p->certificate_roles, i, word)
        sight_add(&p->request.sight, p->setup->config, json_string_value(word));
}

static void add_user(struct pending *p)
{
    int64_t now_ms = clock_monotonic_ms();
    struct user_known user = users_get(p->setup->users, p->uid, now_ms);
    if (!(sight_anywhere(&user.sight) & p->route->roles))
        user = users_look(p->setup->users, p->uid, now_ms);
    text_clip(user.name, p->request.user, sizeof p->request.user);
    p->request.sight = user.sight;
}

int pending_check_role(struct pending *p, struct error *err)
{
    p->request.sight = (struct sight){0};
    if (p->local) {
        add_user(p);
    } else {
        add_certificate(p);
        if (p->token)
            add_token(p);
    }
    return plants_admit(&p->request, p->setup, p->route, err);
}
