#include "serve/limits.h"
#include "serve/descriptors.h"
#include "serve/sessions.h"

/* Descriptors beside connections: a database connection keeps three or four (file, WAL, what it
 * sorts), and there are a few besides the readers'; an upload two; listeners, the loop's own, the
 * pipes of a mail program. */
enum { FILES_STORE = 4, STORES_BESIDE_READERS = 13, FILES_UPLOAD = 2, FILES_REST = 32 };

static void limit_way(struct limits_way *way, const struct config *config, size_t connections,
                      int64_t first_ms)
{
    const int64_t idle_ms = config_number(config, "limits/idle_s") * 1000;
    const size_t of_peer = (size_t)config_number(config, "limits/peer_connections");
    way->room =
        (struct door_limits){.connections = connections,
                             .of_peer = of_peer,
                             .long_of_peer = (size_t)config_number(config, "limits/peer_long")};
    way->patience =
        (struct conn_limits){.wire = {(size_t)config_number(config, "limits/header_bytes"),
                                      (size_t)config_number(config, "limits/body_bytes")},
                             .first_ms = first_ms,
                             .request_ms = config_number(config, "limits/request_s") * 1000,
                             .idle_ms = idle_ms};
}

void limits_read(const struct config *config, bool tls, const struct log *log, struct limits *ret)
{
    const size_t stores = (size_t)config_number(config, "readers") + STORES_BESIDE_READERS;
    const size_t others = stores * FILES_STORE + (size_t)SESSIONS_MOST * FILES_UPLOAD + FILES_REST;
    size_t local = (size_t)config_number(config, "limits/connections");
    size_t tcp = tls ? (size_t)config_number(config, "limits/tcp_connections") : 0;
    const size_t fit = descriptors_allow(local + tcp, others, log);
    if (fit < local + tcp) {
        tcp = tcp < fit / 2 ? tcp : fit / 2;
        local = local < fit - tcp ? local : fit - tcp;
    }
    limit_way(&ret->local, config, local, 0);
    limit_way(&ret->tcp, config, tcp, config_number(config, "limits/hello_s") * 1000);
}
