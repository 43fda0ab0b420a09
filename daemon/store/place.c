#include "store/place.h"
#include "base/text.h"
#include "base/when.h"
#include "store/disk.h"
#ifdef ODDLOAF_POSTGRES
#include "store/server.h"
#endif
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { ADDRESS_BYTES = 4096 };

#ifdef ODDLOAF_POSTGRES

char *place_name(const char *address)
{
    return server_name(address);
}

static int check(const char *address, struct error *err)
{
    return server_check(address, err);
}

#else

char *place_name(const char *address)
{
    (void)address;
    return xstrdup("a PostgreSQL server");
}

static int check(const char *address, struct error *err)
{
    (void)address;
    error_hint(err, "install one that was built with libpq");
    return error_set(err, ERROR_INVALID, "this oddloafd was built without PostgreSQL");
}

#endif

static char *path_of(const char *state_dir, const char *name)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/%s", state_dir, name);
    return text_take(&path);
}

static int failed(struct error *err, const char *doing, const char *path)
{
    return error_set(err, errno == ENOSPC || errno == EDQUOT ? ERROR_NO_SPACE : ERROR_IO,
                     "cannot %s %s: %s", doing, path, strerror(errno));
}

int place_get(const char *state_dir, char **ret_address, struct error *err)
{
    char *path = path_of(state_dir, "server"), line[ADDRESS_BYTES];
    FILE *file = fopen(path, "re");
    int rc = 0;
    *ret_address = NULL;
    if (!file && errno != ENOENT && errno != ENOTDIR)
        rc = failed(err, "read", path);
    if (file && fgets(line, sizeof line, file)) {
        line[strcspn(line, "\n")] = '\0';
        *ret_address = *line ? xstrdup(line) : NULL;
    }
    if (file)
        fclose(file);
    free(path);
    return rc;
}

/* Whole or not at all; it may hold a password. */
static int write_line(const char *path, const char *line, struct error *err)
{
    struct text_buffer partial = {0};
    text_appendf(&partial, "%s.partial", path);
    unlink(partial.data);
    int fd = open(partial.data, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    bool ok = fd >= 0 && dprintf(fd, "%s\n", line) > 0 && fsync(fd) == 0;
    ok = ok && rename(partial.data, path) == 0;
    int rc = ok ? disk_sync_folder_of(path, err) : failed(err, "write", path);
    if (fd >= 0)
        close(fd);
    text_buffer_free(&partial);
    return rc;
}

static int refuse_folder(const char *state_dir, struct error *err)
{
    error_hint(err,
               "name its server in the setting \"store\"; to begin anew in this folder, move its "
               "file `server` away");
    return error_set(err, ERROR_CONFLICT,
                     "the state of %s is kept on a PostgreSQL server, and the settings name none",
                     state_dir);
}

static int refuse_server(const char *database, struct error *err)
{
    error_hint(err, "the setting moves no state: take \"store\" out of the settings, or move that "
                    "file away to begin anew on the server");
    return error_set(err, ERROR_CONFLICT, "%s is there, while the settings name a server",
                     database);
}

int place_check(const char *address, struct error *err)
{
    int rc = *address ? check(address, err) : 0;
    if (rc)
        error_field(err, "store", NULL);
    return rc;
}

int place_set(const char *state_dir, const char *address, struct error *err)
{
    char *was = NULL, *path = path_of(state_dir, "server"),
         *database = path_of(state_dir, "oddloaf.db");
    int rc = place_check(address, err);
    if (!rc)
        rc = place_get(state_dir, &was, err);
    if (!rc && was && !*address)
        rc = refuse_folder(state_dir, err);
    else if (!rc && *address && access(database, F_OK) == 0)
        rc = refuse_server(database, err);
    else if (!rc && *address && (!was || strcmp(was, address) != 0))
        rc = write_line(path, address, err);
    free(was);
    free(path);
    free(database);
    return rc;
}

int place_move(const char *state_dir, const char *address, struct error *err)
{
    char *path = path_of(state_dir, "server");
    int rc = write_line(path, address, err);
    free(path);
    return rc;
}

int place_daemon(const char *state_dir, char out[static UUID_TEXT], struct error *err)
{
    const struct clock now = clock_system();
    char *path = path_of(state_dir, "daemon"), line[UUID_TEXT + 1] = "";
    FILE *file = fopen(path, "re");
    bool known = file && fgets(line, sizeof line, file);
    if (file)
        fclose(file);
    line[strcspn(line, "\n")] = '\0';
    known = known && uuid_normalize(line, out);
    if (!known)
        uuid_v7(clock_now_ms(&now), out);
    int rc = known ? 0 : write_line(path, out, err);
    free(path);
    return rc;
}

int place_refuse(const char *state_dir, const char *what, struct error *err)
{
    char *address = NULL;
    int rc = place_get(state_dir, &address, err);
    if (!rc && address) {
        error_hint(err, "pg_dump and pg_restore: oddloafd(8), ON A POSTGRESQL SERVER");
        rc = error_set(err, ERROR_CONFLICT,
                       "%s of a state on a PostgreSQL server is the server's tools' work", what);
    }
    free(address);
    return rc;
}
