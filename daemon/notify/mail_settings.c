#include "notify/mail_settings.h"
#include "base/text.h"
#include "notify/mime.h"
#include "store/outbox.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* The default: a machine without a mail program needs none as long as nobody is to get mail. */
#define USUAL_PROGRAM "/usr/sbin/sendmail"

struct mail_settings mail_settings_copy(const struct mail_settings *s)
{
    return (struct mail_settings){xstrdup(s->program),
                                  xstrdup(s->hook_program),
                                  xstrdup(s->from),
                                  xstrdup(s->plant),
                                  json_deep_copy(s->to),
                                  json_deep_copy(s->urgent_to),
                                  json_deep_copy(s->digest_to),
                                  json_deep_copy(s->records_to),
                                  json_deep_copy(s->due_to),
                                  json_deep_copy(s->plants),
                                  xstrdup(s->tz_name),
                                  s->sheet_kb,
                                  s->timeout_s,
                                  s->retry_s,
                                  s->park_h};
}

void mail_settings_free(struct mail_settings *copy)
{
    const void *const texts[] = {copy->program, copy->hook_program, copy->from, copy->plant,
                                 copy->tz_name};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        free((void *)texts[i]);
    json_decref((json_t *)copy->to);
    json_decref((json_t *)copy->urgent_to);
    json_decref((json_t *)copy->digest_to);
    json_decref((json_t *)copy->records_to);
    json_decref((json_t *)copy->due_to);
    json_decref((json_t *)copy->plants);
    *copy = (struct mail_settings){0};
}

/* ---- who gets it ---- */

static bool is_among(const json_t *list, const char *text)
{
    size_t i;
    const json_t *item;
    json_array_foreach(list, i, item)
    {
        if (strcmp(json_string_value(item), text) == 0)
            return true;
    }
    return false;
}

static json_t *sound(const json_t *list)
{
    json_t *addresses = json_array();
    size_t i;
    json_t *item;
    json_array_foreach(list, i, item)
    {
        const char *address = json_string_value(item);
        if (address && mime_is_address(address) && !is_among(addresses, address))
            json_array_append_new(addresses, json_string(address)); /* settings are shared */
    }
    return addresses;
}

json_t *mail_settings_to(const struct mail_settings *s, const char *event)
{
    const json_t *own = NULL;
    if (!*s->program)
        return json_array();
    if (strcmp(event, OUTBOX_URGENT) == 0)
        own = s->urgent_to;
    else if (strcmp(event, "digest") == 0)
        own = s->digest_to;
    else if (strcmp(event, "records") == 0)
        return sound(s->records_to);
    else if (strcmp(event, "due") == 0)
        own = s->due_to;
    json_t *addresses = sound(own);
    if (json_array_size(addresses))
        return addresses;
    json_decref(addresses);
    return sound(s->to);
}

json_t *mail_settings_to_plant(const struct mail_settings *s, const char *event, const char *plant)
{
    const json_t *lists = json_object_get(s->plants, plant);
    struct mail_settings own = *s;
    own.to = json_object_get(lists, "mail/to");
    own.urgent_to = json_object_get(lists, "mail/urgent_to");
    if (own.to != s->to && !json_equal(own.to, s->to)) /* it has no others: these get all of it */
        own.digest_to = own.due_to = NULL;
    json_t *to = mail_settings_to(&own, event);
    if (json_array_size(to))
        return to;
    json_decref(to);
    return mail_settings_to(s, event);
}

const char *mail_settings_title(const struct mail_settings *s, const char *plant)
{
    const json_t *lists = json_object_get(s->plants, plant);
    const char *title = json_string_value(json_object_get(lists, "title"));
    return title ? title : s->plant;
}

static bool reaches_somebody(const struct mail_settings *s, const char *event)
{
    json_t *to = mail_settings_to(s, event);
    bool reaches = json_array_size(to) > 0;
    json_decref(to);
    return reaches;
}

const char *mail_settings_gap(const struct mail_settings *s)
{
    if (!*s->program)
        return "no mail is set up: reports of harm reach nobody by mail (mail/program is empty)";
    if (!reaches_somebody(s, OUTBOX_URGENT))
        return "no mail is set up: reports of harm reach nobody by mail (mail/urgent_to and "
               "mail/to name no address)";
    if (!reaches_somebody(s, "case"))
        return "mail about cases reaches nobody and waits (mail/to names no address)";
    return NULL;
}

/* ---- what is wrong ---- */

struct finding {
    void (*each)(void *arg, const struct error *fault);
    void *arg;
    int count;
};

static void find(struct finding *f, const char *key, const char *value, const char *hint,
                 const char *why)
{
    struct error fault = {0};
    error_set(&fault, ERROR_INVALID, "%s", why);
    error_field(&fault, key, value);
    error_hint(&fault, "%s", hint);
    f->each(f->arg, &fault);
    f->count++;
}

static void check_address(struct finding *f, const char *key, const char *address)
{
    if (!mime_is_address(address))
        find(f, key, address, "write it as name@domain, in ASCII, without a display name",
             "is not a mail address");
}

static void check_addresses(struct finding *f, const char *key, const json_t *list)
{
    size_t i;
    const json_t *item;
    json_array_foreach(list, i, item) check_address(f, key, json_string_value(item));
}

static void check_program(struct finding *f, const char *key, const char *path)
{
    static const char HINT[] = "name the whole path of a program that we may run";
    struct stat about;
    if (path[0] != '/')
        find(f, key, path, HINT, "is not an absolute path");
    else if (stat(path, &about))
        find(f, key, path, HINT, strerror(errno));
    else if (!S_ISREG(about.st_mode))
        find(f, key, path, HINT, "is not a program");
    else if (access(path, X_OK))
        find(f, key, path, HINT, "cannot be run: permission denied");
}

/* Lists that are the company's are told of there. */
static void check_plants(struct finding *f, const struct mail_settings *s)
{
    static const char *const KEYS[] = {"mail/to", "mail/urgent_to"};
    const json_t *const outer[] = {s->to, s->urgent_to};
    const char *name;
    json_t *values;
    json_object_foreach((json_t *)s->plants, name, values)
    {
        for (size_t i = 0; i < sizeof KEYS / sizeof KEYS[0]; i++) {
            const json_t *list = json_object_get(values, KEYS[i]);
            char key[96];
            snprintf(key, sizeof key, "plants/%s/%s", name, KEYS[i]);
            if (!json_equal(list, outer[i]))
                check_addresses(f, key, list);
        }
    }
}

int mail_settings_check(const struct mail_settings *s,
                        void (*each)(void *arg, const struct error *fault), void *arg)
{
    struct finding f = {each, arg, 0};
    bool addressed = json_array_size(s->to) || json_array_size(s->urgent_to) ||
                     json_array_size(s->digest_to) || json_array_size(s->records_to) ||
                     json_array_size(s->due_to);
    check_address(&f, "mail/from", s->from);
    check_addresses(&f, "mail/to", s->to);
    check_addresses(&f, "mail/urgent_to", s->urgent_to);
    check_addresses(&f, "mail/digest_to", s->digest_to);
    check_addresses(&f, "mail/records_to", s->records_to);
    check_addresses(&f, "mail/due_to", s->due_to);
    check_plants(&f, s);
    if (*s->program && (addressed || strcmp(s->program, USUAL_PROGRAM) != 0))
        check_program(&f, "mail/program", s->program);
    if (*s->hook_program)
        check_program(&f, "hook/program", s->hook_program);
    return f.count;
}

/* ---- for the desk ---- */

struct alarm_faults {
    bool program, address;
};

static void take_fault(void *arg, const struct error *fault)
{
    struct alarm_faults *faults = arg;
    faults->program = faults->program || strcmp(fault->field, "mail/program") == 0;
    faults->address = faults->address || strcmp(fault->field, "mail/from") == 0 ||
                      strstr(fault->field, "mail/urgent_to") != NULL;
}

const char *mail_settings_no_alarm(const struct mail_settings *s)
{
    struct alarm_faults faults = {0};
    if (!*s->program || !reaches_somebody(s, OUTBOX_URGENT))
        return "no mail is set up: phone the food-safety lead";
    mail_settings_check(s, take_fault, &faults);
    if (faults.program)
        return "the mail program cannot be run: phone the food-safety lead";
    if (faults.address)
        return "an address for urgent mail is malformed: phone the food-safety lead";
    return NULL;
}
