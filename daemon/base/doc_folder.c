/* Folders of documents. */
#include "base/doc.h"
#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

static const char ENDING[] = ".json";
enum { ENDING_LENGTH = sizeof ENDING - 1 };

static int is_document(const struct dirent *entry)
{
    size_t length = strlen(entry->d_name);
    return length > ENDING_LENGTH && entry->d_name[0] != '.' &&
           strcmp(entry->d_name + length - ENDING_LENGTH, ENDING) == 0;
}

static int by_bytes(const struct dirent **a, const struct dirent **b)
{
    return strcmp((*a)->d_name, (*b)->d_name);
}

static int refuse_folder(struct doc *doc, const char *dir, int why)
{
    struct error fault = {0};
    error_set(&fault, ERROR_IO, "cannot read the folder: %s", strerror(why));
    error_at(&fault, dir, 0, 0);
    doc_pass_on(doc, &fault);
    return ERROR_IO;
}

int doc_each(struct doc *doc, const char *dir,
             void (*each)(struct doc *doc, const char *stem, void *arg), void *arg)
{
    struct dirent **entries = NULL;
    int count = scandir(dir, &entries, is_document, by_bytes);
    if (count < 0)
        return errno == ENOENT ? 0 : refuse_folder(doc, dir, errno);
    for (int i = 0; i < count; i++) {
        struct text_buffer path = {0};
        text_appendf(&path, "%s/%s", dir, entries[i]->d_name);
        entries[i]->d_name[strlen(entries[i]->d_name) - ENDING_LENGTH] = '\0';
        if (doc_open(doc, path.data, false) == 0)
            each(doc, entries[i]->d_name, arg);
        doc_close(doc);
        text_buffer_free(&path);
        free(entries[i]);
    }
    free(entries);
    return count;
}
