#include "serve/peer.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "serve/request.h"
#include "serve/role.h"
#include <arpa/inet.h>
#include <grp.h>
#include <openssl/evp.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

enum { NAME_BUFFER = 16384, GROUPS_MOST = 1024 };

bool peer_uid(int fd, uid_t *ret)
{
    struct ucred who;
    socklen_t size = sizeof who;
    struct sockaddr_storage address = {0};
    socklen_t length = sizeof address;
    if (getsockname(fd, (struct sockaddr *)&address, &length) || address.ss_family != AF_UNIX)
        return false;
    if (getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &who, &size))
        return false;
    *ret = who.uid;
    return true;
}

static void name_address(const struct sockaddr *from, char out[static INET6_ADDRSTRLEN])
{
    struct sockaddr_in v4 = {0};
    struct sockaddr_in6 v6 = {0};
    if (from->sa_family == AF_INET) {
        memcpy(&v4, from, sizeof v4);
        inet_ntop(AF_INET, &v4.sin_addr, out, INET6_ADDRSTRLEN);
        return;
    }
    memcpy(&v6, from, sizeof v6);
    if (!IN6_IS_ADDR_V4MAPPED(&v6.sin6_addr))
        memset(v6.sin6_addr.s6_addr + 8, 0, 8);
    inet_ntop(AF_INET6, &v6.sin6_addr, out, INET6_ADDRSTRLEN);
}

void peer_name_at_door(int fd, const struct sockaddr *from, char *out, size_t size)
{
    char text[INET6_ADDRSTRLEN] = "?";
    uid_t uid = 0;
    if (from->sa_family == AF_INET || from->sa_family == AF_INET6)
        name_address(from, text);
    else if (peer_uid(fd, &uid))
        snprintf(text, sizeof text, "uid %lu", (unsigned long)uid);
    text_clip(text, out, size);
}

static bool group_id(const char *name, gid_t *ret)
{
    char buffer[NAME_BUFFER];
    struct group entry, *found = NULL;
    if (getgrnam_r(name, &entry, buffer, sizeof buffer, &found) || !found)
        return false;
    *ret = entry.gr_gid;
    return true;
}

bool peer_has_group(const char *name)
{
    gid_t unused;
    return group_id(name, &unused);
}

static bool in_any(const json_t *names, const gid_t *groups, int count)
{
    size_t i;
    const json_t *name;
    json_array_foreach(names, i, name)
    {
        gid_t gid;
        if (!group_id(json_string_value(name), &gid))
            continue;
        for (int g = 0; g < count; g++) {
            if (groups[g] == gid)
                return true;
        }
    }
    return false;
}

/* `plant`: CONFIG_COMPANY of the outer settings. */
static unsigned roles_at(const struct config *config, int plant, const gid_t *groups, int count)
{
    unsigned roles = 0;
    for (const struct role_row *row = role_rows(); row->word; row++) {
        if (in_any(config_list_of(config, plant, row->setting), groups, count))
            roles |= row->role;
    }
    return roles;
}

void peer_sight_of_uid(const struct config *config, uid_t uid, struct sight *ret)
{
    *ret = (struct sight){0};
    if (uid == 0 || uid == geteuid()) {
        ret->company = ROLE_ANY;
        return;
    }
    char buffer[NAME_BUFFER];
    struct passwd entry, *found = NULL;
    if (getpwuid_r(uid, &entry, buffer, sizeof buffer, &found) || !found)
        return;
    /* SO_PEERCRED has no supplementary groups: ask the user database */
    gid_t groups[GROUPS_MOST];
    int count = GROUPS_MOST;
    if (getgrouplist(entry.pw_name, entry.pw_gid, groups, &count) < 0)
        return;
    ret->company = roles_at(config, CONFIG_COMPANY, groups, count);
    for (int plant = 0; plant < config_plant_count(config); plant++)
        ret->plant[plant] = (unsigned char)roles_at(config, plant, groups, count);
}

bool peer_sight_of_login(const struct config *config, const char *name, struct sight *ret)
{
    char buffer[NAME_BUFFER];
    struct passwd entry, *found = NULL;
    if (getpwnam_r(name, &entry, buffer, sizeof buffer, &found) || !found)
        return false;
    peer_sight_of_uid(config, entry.pw_uid, ret);
    return true;
}

void peer_name_of_uid(uid_t uid, char *out, size_t size)
{
    char buffer[NAME_BUFFER];
    struct passwd entry, *found = NULL;
    if (getpwuid_r(uid, &entry, buffer, sizeof buffer, &found) == 0 && found)
        text_clip(entry.pw_name, out, size);
    else
        snprintf(out, size, "uid %lu", (unsigned long)uid);
}

static void sha256_hex(const char *text, char out[static 65])
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned length = 0;
    EVP_Digest(text, strlen(text), digest, &length, EVP_sha256(), NULL);
    for (unsigned i = 0; i < 32; i++)
        snprintf(out + 2 * (size_t)i, 3, "%02x", digest[i]);
}

const char *peer_token_role(const json_t *entry)
{
    return json_string_value(json_is_object(entry) ? json_object_get(entry, "role") : entry);
}

/* The token file is read anew each time: taking a token away needs no restart. */
bool peer_sight_of_token(const struct config *config, const char *token, struct sight *ret,
                         char *name, size_t size)
{
    const char *path = config_text(config, "tcp/tokens");
    json_t *tokens = NULL;
    *ret = (struct sight){0};
    if (!*path || jsonx_load(path, &tokens, NULL))
        return false;
    char hash[65];
    sha256_hex(token, hash);
    const json_t *entry = json_object_get(tokens, hash);
    const char *word = peer_token_role(entry);
    const char *given = json_string_value(json_object_get(entry, "name"));
    bool known = word && sight_add(ret, config, word);
    if (given)
        text_clip(given, name, size);
    else
        snprintf(name, size, "token %.8s", hash);
    json_decref(tokens);
    return known;
}
