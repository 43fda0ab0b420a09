/* The service manager that started us (systemd): what it is told, and the sockets it hands down.
 * Started by hand, or built without libsystemd, telling does nothing and no socket is handed down.
 */
#ifndef ODDLOAF_SERVE_SERVICE_H
#define ODDLOAF_SERVE_SERVICE_H

#include "base/error.h"
#include <stdint.h>

/* Requests are answered from now on; also the end of a reload, whether it was taken or refused. */
void service_ready(void);
void service_reloading(void);
/* The end is near, at most `within_s` seconds away: not to be killed before. */
void service_stopping(int64_t within_s);
/* To be said more often than every WatchdogSec= of the unit. Any thread. */
void service_alive(void);

/* The sockets handed down are the `*ret_count` descriptors from `*ret_first` on, each a listening
 * Unix stream socket; the caller owns them. Once a process: the environment then forgets them. */
int service_sockets(int *ret_first, int *ret_count, struct error *err);

#endif
