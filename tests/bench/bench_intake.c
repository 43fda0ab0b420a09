/* Durable complaints a second: the daemon with 64 clients, each waiting for its answer before it
 * sends the next, against a bare program that commits the same rows in groups of 64.
 *
 *     bench_intake ODDLOAFD RULES [seconds]
 *
 * Both write the same tables on the same disk, one after the other, with synchronous=FULL. The
 * bare program calls complaint_log() directly: no sockets, no JSON, no look-up of lots. The third
 * is the floor of the second: a program that answers the same clients as many bytes and does
 * nothing. Prints their rates, the time to the answer and to the bare commit (p50, p99), what each
 * costs of the processor, how many complaints the daemon's commits hold, start time and RSS.
 */
#include "base/text.h"
#include "base/uuid.h"
#include "store/complaint.h"
#include "store/db.h"
#include "store/pattern.h"
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { CLIENTS = 64, LOTS = 500, GROUP = 64, TIMES_MOST = 4000000 };

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void must(bool ok, const char *what)
{
    if (!ok) {
        perror(what);
        exit(1);
    }
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double quantile(double *times, size_t count, double q)
{
    qsort(times, count, sizeof *times, compare);
    return count ? times[(size_t)((double)(count - 1) * q)] * 1000 : 0;
}

/* ---- the plant ---- */

static void make_lots(const char *dir)
{
    struct store *store;
    struct error err = {0};
    must(store_open(dir, STORE_WRITE, &store, &err) == 0, err.text);
    must(store_begin(store, &err) == 0, "begin");
    must(db_exec(store,
                 "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin) "
                 "VALUES(1,'W24','Wheat','pan-bread',10,680,NULL)",
                 &err) == 0,
         err.text);
    for (int i = 0; i < LOTS; i++) {
        char sql[512];
        int64_t packed = 1794800000000 + (int64_t)i * 600000;
        snprintf(sql, sizeof sql,
                 "INSERT INTO lot(id,lot,fold,product_id,line,made_from_ms,made_to_ms,"
                 "packed_from_ms,packed_to_ms,units,code_day) VALUES(%d,'L1 6318 A%04d',"
                 "'L16318A%04d',1,'1',%lld,%lld,%lld,%lld,5000,20800)",
                 i + 1, i, i, (long long)packed - 9000000, (long long)packed - 8000000,
                 (long long)packed, (long long)packed + 500000);
        must(db_exec(store, sql, &err) == 0, err.text);
    }
    /* as it is after its first start, which takes longer */
    must(pattern_set_up(store, NULL, &err) == 0, err.text);
    must(store_commit(store, &err) == 0, "commit");
    store_close(store);
}

/* ---- bare ---- */

struct timed {
    double *times, rate, own_us; /* own_us: this process's processor time of each */
    size_t count;
};

static double own_processor_s(void)
{
    struct rusage used;
    getrusage(RUSAGE_SELF, &used);
    return (double)(used.ru_utime.tv_sec + used.ru_stime.tv_sec) +
           (double)(used.ru_utime.tv_usec + used.ru_stime.tv_usec) * 1e-6;
}

static struct timed run_bare(const char *dir, double seconds)
{
    struct timed t = {.times = xmalloc(TIMES_MOST * sizeof(double))};
    struct store *store;
    size_t rows = 0;
    double own_s = own_processor_s();
    must(store_open(dir, STORE_WRITE, &store, NULL) == 0, "store");
    double start = now_s();
    while (now_s() - start < seconds) {
        double before = now_s();
        store_begin(store, NULL);
        for (int i = 0; i < GROUP; i++, rows++) {
            char uuid[UUID_TEXT], body[512];
            struct complaint_placed placed;
            int lot = (int)(rows % LOTS);
            uuid_v7(1794900000000 + (int64_t)rows, uuid);
            snprintf(body, sizeof body,
                     "{\"received_at\":\"2026-11-20T09:14:00-05:00\",\"channel\":\"phone\","
                     "\"symptom\":\"mold\",\"lot_text\":\"L1 6318 A%04d\",\"observed\":{\"colour\":"
                     "\"blue-green\",\"where\":\"side\"},\"id\":\"%s\"}",
                     lot, uuid);
            const struct complaint_new c = {
                .uuid = uuid,
                .received_ms = 1795184040000,
                .logged_ms = 1795184040000,
                .channel = "phone",
                .symptom = "mold",
                .lot_text = "L1 6318 A0001",
                .code_day = WHEN_UNKNOWN_DAY,
                .bought_day = WHEN_UNKNOWN_DAY,
                .found_day = WHEN_UNKNOWN_DAY,
                .packs = 1,
                .body = body,
                .lots = {.state = LOT_EXACT, .count = 1, .lot = {{lot + 1, 1.0}}}};
            must(complaint_log(store, &c, &placed, NULL) == 0, "log");
        }
        must(store_commit(store, NULL) == 0, "commit");
        if (t.count < TIMES_MOST)
            t.times[t.count++] = now_s() - before;
    }
    t.rate = (double)rows / (now_s() - start);
    t.own_us = (own_processor_s() - own_s) * 1e6 / (double)rows;
    store_close(store);
    return t;
}

/* ---- the daemon ---- */

static int connect_to(const char *path)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    snprintf(address.sun_path, sizeof address.sun_path, "%s", path);
    if (connect(fd, (struct sockaddr *)&address, sizeof address)) {
        close(fd);
        return -1;
    }
    return fd;
}

struct client {
    pthread_t thread;
    const char *socket;
    int number;
    double until;
    double *times;
    size_t count, refused;
};

/* Reads one answer: its head tells the length of the rest. */
static int read_answer(int fd, char *buffer, size_t size)
{
    size_t have = 0;
    char *end = NULL;
    while (!(end = have ? strstr(buffer, "\r\n\r\n") : NULL)) {
        ssize_t got = read(fd, buffer + have, size - 1 - have);
        if (got <= 0)
            return -1;
        have += (size_t)got;
        buffer[have] = '\0';
    }
    const char *length = strstr(buffer, "Content-Length: ");
    size_t whole = (size_t)(end - buffer) + 4 + (length ? strtoul(length + 16, NULL, 10) : 0);
    while (have < whole) {
        ssize_t got = read(fd, buffer + have, size - 1 - have);
        if (got <= 0)
            return -1;
        have += (size_t)got;
    }
    return atoi(buffer + 9);
}

static void *client_main(void *arg)
{
    struct client *c = arg;
    char body[600], head[256], answer[65536], uuid[UUID_TEXT];
    int fd = connect_to(c->socket);
    must(fd >= 0, "connect");
    unsigned lot = (unsigned)c->number * 7;
    while (now_s() < c->until) {
        uuid_v7(1794900000000 + (int64_t)c->count, uuid);
        int length = snprintf(body, sizeof body,
                              "{\"id\":\"%s\",\"received_at\":\"2026-11-20T09:14:00-05:00\","
                              "\"channel\":\"phone\",\"symptom\":\"mold\",\"lot_text\":"
                              "\"L1 6318 A%04u\",\"observed\":{\"colour\":\"blue-green\","
                              "\"where\":\"side\"}}",
                              uuid, lot++ % LOTS);
        int head_length = snprintf(head, sizeof head,
                                   "POST /v1/complaints?rank=0 HTTP/1.1\r\nHost: x\r\n"
                                   "Content-Type: application/json\r\nContent-Length: %d\r\n\r\n",
                                   length);
        double before = now_s();
        char request[1024];
        memcpy(request, head, (size_t)head_length);
        memcpy(request + head_length, body, (size_t)length);
        must(write(fd, request, (size_t)head_length + (size_t)length) > 0, "write");
        if (read_answer(fd, answer, sizeof answer) == 201)
            c->times[c->count++] = now_s() - before;
        else
            c->refused++;
    }
    close(fd);
    return NULL;
}

static long rss_kib(pid_t pid)
{
    char path[64], line[256];
    long kib = 0;
    snprintf(path, sizeof path, "/proc/%d/status", (int)pid);
    FILE *f = fopen(path, "r");
    while (f && fgets(line, sizeof line, f)) {
        if (sscanf(line, "VmRSS: %ld", &kib) == 1)
            break;
    }
    if (f)
        fclose(f);
    return kib;
}

static pid_t start_daemon(const char *program, const char *rules, const char *dir,
                          const char *socket, double *ret_start_s)
{
    double before = now_s();
    pid_t pid = fork();
    if (pid == 0) {
        must(freopen("/dev/null", "w", stderr) != NULL, "null");
        execl(program, program, "--state", dir, "--rules", rules, "--socket", socket, (char *)NULL);
        _exit(127);
    }
    int fd;
    while ((fd = connect_to(socket)) < 0 && now_s() - before < 30)
        usleep(2000);
    must(fd >= 0, "the daemon did not start");
    *ret_start_s = now_s() - before;
    close(fd);
    return pid;
}

/* Of all its threads. */
static double processor_s(pid_t pid)
{
    char path[64], line[1024] = "";
    unsigned long user = 0, kernel = 0;
    snprintf(path, sizeof path, "/proc/%d/stat", (int)pid);
    FILE *f = fopen(path, "r");
    if (f && fgets(line, sizeof line, f))
        sscanf(strrchr(line, ')'), ") %*c %*d %*d %*d %*d %*d %*u %*u %*u %*u %*u %lu %lu", &user,
               &kernel);
    if (f)
        fclose(f);
    return (double)(user + kernel) / (double)sysconf(_SC_CLK_TCK);
}

/* A number of its metrics, or of nothing 0. */
static double metric(const char *socket, const char *name)
{
    static const char ASK[] = "GET /v1/metrics HTTP/1.1\r\nHost: x\r\n\r\n";
    char answer[65536] = "", line[128];
    int fd = connect_to(socket);
    must(fd >= 0 && write(fd, ASK, sizeof ASK - 1) > 0, "metrics");
    read_answer(fd, answer, sizeof answer);
    close(fd);
    snprintf(line, sizeof line, "\n%s ", name);
    const char *at = strstr(answer, line);
    return at ? strtod(at + strlen(line), NULL) : 0;
}

static struct timed run_clients(const char *socket, double seconds)
{
    static struct client clients[CLIENTS];
    struct timed t = {.times = xmalloc(TIMES_MOST * sizeof(double))};
    double start = now_s(), own_s = own_processor_s();
    size_t refused = 0;
    for (int i = 0; i < CLIENTS; i++) {
        clients[i] = (struct client){.socket = socket,
                                     .number = i,
                                     .until = start + seconds,
                                     .times = t.times + (size_t)i * (TIMES_MOST / CLIENTS)};
        pthread_create(&clients[i].thread, NULL, client_main, &clients[i]);
    }
    size_t total = 0;
    for (int i = 0; i < CLIENTS; i++) {
        pthread_join(clients[i].thread, NULL);
        memmove(t.times + total, clients[i].times, clients[i].count * sizeof(double));
        total += clients[i].count;
        refused += clients[i].refused;
    }
    t.count = total;
    t.rate = (double)total / (now_s() - start);
    t.own_us = (own_processor_s() - own_s) * 1e6 / (double)total;
    if (refused)
        printf("refused: %zu\n", refused);
    return t;
}

/* ---- the floor ---- */

enum { ECHO_BYTES = 900 }; /* about what the daemon answers one of these complaints */

/* False: the client has gone. */
static bool echo_one(int fd)
{
    static char answer[ECHO_BYTES + 256];
    char request[2048];
    int head = snprintf(answer, sizeof answer, "HTTP/1.1 201 Created\r\nContent-Length: %d\r\n\r\n",
                        ECHO_BYTES);
    return read(fd, request, sizeof request) > 0 &&
           write(fd, answer, (size_t)head + ECHO_BYTES) > 0;
}

static void echo_all(int door)
{
    struct pollfd fds[CLIENTS];
    int here = CLIENTS;
    for (int i = 0; i < CLIENTS; i++)
        fds[i] = (struct pollfd){.fd = accept(door, NULL, NULL), .events = POLLIN};
    while (here && poll(fds, CLIENTS, -1) > 0) {
        for (int i = 0; i < CLIENTS; i++) {
            if (fds[i].fd >= 0 && fds[i].revents && !echo_one(fds[i].fd)) {
                fds[i].fd = -1; /* poll() passes over it */
                here--;
            }
        }
    }
}

static pid_t start_echo(const char *path)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    int door = socket(AF_UNIX, SOCK_STREAM, 0);
    snprintf(address.sun_path, sizeof address.sun_path, "%s", path);
    must(!bind(door, (struct sockaddr *)&address, sizeof address) && !listen(door, CLIENTS),
         "echo");
    pid_t pid = fork();
    if (pid == 0) {
        echo_all(door);
        _exit(0);
    }
    close(door);
    return pid;
}

/* ---- what is told ---- */

static void tell(const char *who, int clients, struct timed *t, double processor_us)
{
    printf("%-6s %3d: %8.0f a second, p50 %.2f ms p99 %.2f ms, processor %.0f us each", who,
           clients, t->rate, quantile(t->times, t->count, 0.5), quantile(t->times, t->count, 0.99),
           processor_us);
    if (clients)
        printf(", clients' %.0f", t->own_us);
    printf("\n");
    free(t->times);
}

int main(int argc, char **argv)
{
    char bare_dir[] = "/var/tmp/oddloaf-bare-XXXXXX", dir[] = "/var/tmp/oddloaf-bench-XXXXXX";
    char socket_path[100], echo_path[100], command[256];
    double seconds = argc > 3 ? atof(argv[3]) : 10, start_s;
    if (argc < 3) {
        fprintf(stderr, "usage: bench_intake ODDLOAFD RULES [seconds]\n");
        return 2;
    }
    must(mkdtemp(bare_dir) && mkdtemp(dir), "mkdtemp");
    make_lots(bare_dir);
    make_lots(dir);
    struct timed bare = run_bare(bare_dir, seconds);
    snprintf(socket_path, sizeof socket_path, "%s/s.sock", dir);
    snprintf(echo_path, sizeof echo_path, "%s/e.sock", dir);
    pid_t pid = start_daemon(argv[1], argv[2], dir, socket_path, &start_s);
    long rss_before = rss_kib(pid);
    double before_s = processor_s(pid);
    struct timed daemon = run_clients(socket_path, seconds);
    double daemon_us = (processor_s(pid) - before_s) * 1e6 / (double)daemon.count;
    double groups = metric(socket_path, "oddloaf_write_groups_total");
    long rss_after = rss_kib(pid);
    kill(pid, SIGTERM);
    waitpid(pid, NULL, 0);
    pid = start_echo(echo_path);
    struct rusage used;
    struct timed echo = run_clients(echo_path, seconds / 4);
    must(wait4(pid, NULL, 0, &used) == pid, "echo");
    double echo_s = (double)(used.ru_utime.tv_sec + used.ru_stime.tv_sec) +
                    (double)(used.ru_utime.tv_usec + used.ru_stime.tv_usec) * 1e-6;
    printf("ratio %.2f, p99 %.2f of the bare commit's; %.1f complaints a commit; start %.0f ms; "
           "RSS %ld KiB idle, %ld KiB after\n",
           daemon.rate / bare.rate,
           quantile(daemon.times, daemon.count, 0.99) / quantile(bare.times, bare.count, 0.99),
           (double)daemon.count / groups, start_s * 1000, rss_before, rss_after);
    tell("bare", 0, &bare, bare.own_us);
    tell("daemon", CLIENTS, &daemon, daemon_us);
    double echo_us = echo_s * 1e6 / (double)echo.count;
    tell("echo", CLIENTS, &echo, echo_us);
    snprintf(command, sizeof command, "rm -rf %s %s", bare_dir, dir);
    return system(command);
}
