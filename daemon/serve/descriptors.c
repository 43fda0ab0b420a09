#include "serve/descriptors.h"
#include <sys/resource.h>

/* However few descriptors there are, this share of them goes to connections: `others` is what the
 * process needs at its busiest, and a daemon that nobody can reach is of no use. */
enum { LEAST_SHARE = 4, LEAST = 4 };

size_t descriptors_allow(size_t connections, size_t others, const struct log *log)
{
    struct rlimit limit;
    const rlim_t wanted = connections + others;
    if (getrlimit(RLIMIT_NOFILE, &limit) || limit.rlim_cur >= wanted)
        return connections;
    limit.rlim_cur = limit.rlim_max < wanted ? limit.rlim_max : wanted;
    if (setrlimit(RLIMIT_NOFILE, &limit))
        getrlimit(RLIMIT_NOFILE, &limit);
    if (limit.rlim_cur >= wanted)
        return connections;
    size_t have = (size_t)limit.rlim_cur, fit = have > others ? have - others : 0;
    fit = fit > have / LEAST_SHARE ? fit : have / LEAST_SHARE;
    fit = fit > LEAST ? fit : LEAST;
    if (fit >= connections)
        return connections;
    log_write(log, LOG_LEVEL_WARNING,
              "limits/connections lowered from=%zu to=%zu: this process may open %zu files; raise "
              "LimitNOFILE= of the unit (ulimit -n) to %zu",
              connections, fit, have, (size_t)wanted);
    return fit;
}
