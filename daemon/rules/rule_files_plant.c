#include "rules/rule_files_plant.h"
#include "base/doc.h"
#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char PLANTS[] = "plants/";

static bool names_a_folder(const char *plant)
{
    return *plant && *plant != '.' && !strpbrk(plant, "/:");
}

static bool is_folder(const char *path)
{
    struct stat found;
    return stat(path, &found) == 0 && S_ISDIR(found.st_mode);
}

/* Calls `each` with every folder of `dirs`, the first first. */
static void each_folder(const char *dirs, void (*each)(const char *folder, void *arg), void *arg)
{
    char *copy = xstrdup(dirs);
    for (char *next = copy, *folder; (folder = strsep(&next, ":"));)
        each(folder, arg);
    free(copy);
}

/* ---- one plant's ---- */

struct plant_dirs {
    const char *plant;
    struct text_buffer *out;
};

static void add_dir(const char *folder, void *arg)
{
    const struct plant_dirs *p = arg;
    struct text_buffer path = {0};
    text_appendf(&path, "%s/%s%s", folder, PLANTS, p->plant);
    if (is_folder(path.data))
        text_appendf(p->out, "%s%s", p->out->length ? ":" : "", path.data);
    text_buffer_free(&path);
}

bool rule_files_plant_dirs(const char *dirs, const char *plant, struct text_buffer *out)
{
    struct plant_dirs p = {plant, out};
    text_reset(out);
    if (names_a_folder(plant))
        each_folder(dirs, add_dir, &p);
    return out->length > 0;
}

bool rule_files_plant_has(const char *dirs, const char *plant, const char *name,
                          struct text_buffer *out)
{
    struct text_buffer own = {0};
    bool has = false;
    if (rule_files_plant_dirs(dirs, plant, &own)) {
        doc_path(own.data, name, out);
        has = access(out->data, F_OK) == 0 || errno != ENOENT; /* whoever opens it says why */
    }
    text_buffer_free(&own);
    return has;
}

/* ---- which there are ---- */

static void add_plants(const char *folder, void *arg)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/%s", folder, PLANTS);
    DIR *plants = opendir(path.data);
    const struct dirent *entry;
    while (plants && (entry = readdir(plants))) {
        struct text_buffer one = {0};
        text_appendf(&one, "%s%s", path.data, entry->d_name);
        if (names_a_folder(entry->d_name) && is_folder(one.data))
            json_object_set_new(arg, entry->d_name, json_true()); /* no UTF-8: no plant's name */
        text_buffer_free(&one);
    }
    if (plants)
        closedir(plants);
    text_buffer_free(&path);
}

static int by_text(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

json_t *rule_files_plant_names(const char *dirs)
{
    json_t *found = json_object(), *list = json_array(), *known;
    size_t count = 0;
    const char *name;
    each_folder(dirs, add_plants, found);
    const char **names = xcalloc(json_object_size(found) + 1, sizeof *names);
    json_object_foreach(found, name, known)
    {
        names[count++] = name;
    }
    qsort(names, count, sizeof *names, by_text);
    for (size_t i = 0; i < count; i++)
        json_array_append_new(list, json_string(names[i]));
    free(names);
    json_decref(found);
    return list;
}

/* ---- names ---- */

const char *rule_files_plant_rest(const char *name, char **ret_plant)
{
    const char *plant = name + strlen(PLANTS);
    if (strncmp(name, PLANTS, strlen(PLANTS)) != 0)
        return NULL;
    size_t length = strcspn(plant, "/");
    char *own = plant[length] ? xstrndup(plant, length) : NULL;
    if (!own || !names_a_folder(own)) {
        free(own);
        return NULL;
    }
    if (ret_plant)
        *ret_plant = own;
    else
        free(own);
    return plant + length + 1;
}

bool rule_files_plant_may(const char *name)
{
    static const char *const FILES[] = {"asks.json", "models.json", "preservers.json",
                                        "ranking.json", "severity.json"};
    static const char CAUSES[] = "causes/";
    for (size_t i = 0; i < sizeof FILES / sizeof *FILES; i++)
        if (strcmp(name, FILES[i]) == 0)
            return true;
    return strncmp(name, CAUSES, strlen(CAUSES)) == 0 && !strchr(name + strlen(CAUSES), '/');
}
