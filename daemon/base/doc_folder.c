/* Folders of documents, one behind another. */
#include "base/doc.h"
#include <assert.h>
#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char ENDING[] = ".json";
enum { ENDING_LENGTH = sizeof ENDING - 1 };

/* The documents found so far, by name. */
struct found {
    struct document {
        char *name, *path;
    } * list;
    size_t count;
};

static int is_document(const struct dirent *entry)
{
    size_t length = strlen(entry->d_name);
    return length > ENDING_LENGTH && entry->d_name[0] != '.' &&
           strcmp(entry->d_name + length - ENDING_LENGTH, ENDING) == 0;
}

static int by_name(const void *a, const void *b)
{
    const struct document *x = a, *y = b;
    return strcmp(x->name, y->name);
}

static int refuse_folder(struct doc *doc, const char *dir, int why)
{
    struct error fault = {0};
    error_set(&fault, ERROR_IO, "cannot read the folder: %s", strerror(why));
    error_at(&fault, dir, 0, 0);
    doc_pass_on(doc, &fault);
    return ERROR_IO;
}

/* "a:b" is cut into "a" and "b"; *at begins as the list, and is NULL after the last. */
static char *next_folder(const char **at)
{
    assert(*at);
    size_t length = strcspn(*at, ":");
    char *folder = xstrndup(*at, length);
    *at = (*at)[length] ? *at + length + 1 : NULL;
    return folder;
}

void doc_below(const char *dirs, const char *name, struct text_buffer *out)
{
    assert(dirs && name);
    for (const char *at = dirs; at;) {
        char *folder = next_folder(&at);
        text_appendf(out, "%s/%s%s", folder, name, at ? ":" : "");
        free(folder);
    }
}

void doc_path(const char *dirs, const char *name, struct text_buffer *out)
{
    assert(dirs && name && out);
    for (const char *at = dirs; at;) {
        char *folder = next_folder(&at);
        text_reset(out);
        text_appendf(out, "%s/%s", folder, name);
        free(folder);
        /* what is there and not to be read counts as there: whoever opens it says what is wrong */
        if (access(out->data, F_OK) == 0 || (errno != ENOENT && errno != ENOTDIR))
            return;
    }
}

bool doc_masked(const char *path)
{
    static const char NOTHING[] = "/dev/null";
    char target[sizeof NOTHING];
    ssize_t length = readlink(path, target, sizeof target);
    return length == sizeof NOTHING - 1 && memcmp(target, NOTHING, sizeof NOTHING - 1) == 0;
}

/* Adds the documents whose names are not among the sorted first `known`. */
static void add_new(struct found *found, size_t known, const char *folder, struct dirent **entries,
                    int count)
{
    found->list = xrealloc(found->list, (found->count + (size_t)count + 1) * sizeof *found->list);
    for (int i = 0; i < count; i++) {
        struct document one = {.name = entries[i]->d_name};
        if (known && bsearch(&one, found->list, known, sizeof one, by_name))
            continue;
        struct text_buffer path = {0};
        text_appendf(&path, "%s/%s", folder, one.name);
        one = (struct document){xstrdup(one.name), text_take(&path)};
        found->list[found->count++] = one;
    }
}

/* Returns 0, or the code of a reported fault. */
static int look_into(struct doc *doc, const char *folder, struct found *found)
{
    struct dirent **entries = NULL;
    size_t known = found->count;
    int count = scandir(folder, &entries, is_document, NULL);
    if (count < 0)
        return errno == ENOENT ? 0 : refuse_folder(doc, folder, errno);
    add_new(found, known, folder, entries, count);
    qsort(found->list, found->count, sizeof *found->list, by_name);
    for (int i = 0; i < count; i++)
        free(entries[i]);
    free(entries);
    return 0;
}

int doc_each(struct doc *doc, const char *dirs,
             void (*each)(struct doc *doc, const char *stem, void *arg), void *arg)
{
    struct found found = {0};
    int rc = 0, opened = 0;
    for (const char *at = dirs; at && !rc;) {
        char *folder = next_folder(&at);
        rc = look_into(doc, folder, &found);
        free(folder);
    }
    for (size_t i = 0; i < found.count; i++) {
        struct document *one = &found.list[i];
        if (!rc && !doc_masked(one->path)) {
            opened++;
            assert(strlen(one->name) > ENDING_LENGTH); /* is_document() */
            one->name[strlen(one->name) - ENDING_LENGTH] = '\0';
            if (doc_open(doc, one->path, false) == 0)
                each(doc, one->name, arg);
            doc_close(doc);
        }
        free(one->name);
        free(one->path);
    }
    free(found.list);
    return rc ? rc : opened;
}
