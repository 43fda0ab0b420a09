#include "serve/service.h"
#include "base/when.h"

#ifdef ODDLOAF_SYSTEMD
#include <inttypes.h>
#include <string.h>
#include <sys/socket.h>
#include <systemd/sd-daemon.h>

enum { LISTENING = 1, FORGET = 1 };

void service_ready(void)
{
    sd_notify(0, "READY=1");
}

void service_reloading(void)
{
    sd_notifyf(0, "RELOADING=1\nMONOTONIC_USEC=%" PRId64, clock_monotonic_ms() * 1000);
}

void service_stopping(int64_t within_s)
{
    sd_notifyf(0, "STOPPING=1\nEXTEND_TIMEOUT_USEC=%" PRId64, within_s * 1000000);
}

void service_alive(void)
{
    sd_notify(0, "WATCHDOG=1");
}

int service_sockets(int *ret_first, int *ret_count, struct error *err)
{
    int count = sd_listen_fds(FORGET);
    if (count < 0)
        return error_set(err, ERROR_IO, "cannot take the sockets handed down: %s",
                         strerror(-count));
    for (int i = 0; i < count; i++) {
        int fd = SD_LISTEN_FDS_START + i;
        if (sd_is_socket(fd, AF_UNIX, SOCK_STREAM, LISTENING) > 0)
            continue;
        error_set(err, ERROR_INVALID, "descriptor %d, handed down, is no listening Unix socket",
                  fd);
        error_hint(err, "of ListenStream= in oddloafd.socket, each must be a path");
        return ERROR_INVALID;
    }
    *ret_first = SD_LISTEN_FDS_START;
    *ret_count = count;
    return 0;
}

#else

void service_ready(void)
{
}

void service_reloading(void)
{
}

void service_stopping(int64_t within_s)
{
    (void)within_s;
}

void service_alive(void)
{
}

int service_sockets(int *ret_first, int *ret_count, struct error *err)
{
    (void)err;
    *ret_first = *ret_count = 0;
    return 0;
}

#endif
