#include "commands/pages.h"
#include "base/text.h"
#include "show/pick.h"
#include <stdio.h>

enum { PAGE_MOST = 100 };

static int get_page(struct client *c, const char *path, const char *after, int64_t limit,
                    json_t **ret)
{
    struct text_buffer whole = {0};
    char number[24];
    text_append(&whole, path);
    client_path_query(&whole, "after", *after ? after : NULL);
    snprintf(number, sizeof number, "%lld", (long long)limit);
    client_path_query(&whole, "limit", number);
    int rc = client_get(c, whole.data, ret);
    text_buffer_free(&whole);
    return rc;
}

/* How many rows --limit asks for. */
static int read_limit(const struct client *c, const struct args *a, const struct pages_list *list,
                      int64_t *ret)
{
    const char *said = args_value(a, "limit");
    *ret = list->usual;
    if (said && (text_to_int64(said, ret) != 0 || *ret < 1 || *ret > list->most))
        return client_usage(c, "--limit takes a number from 1 to %lld", (long long)list->most);
    return EXIT_DONE;
}

static int get_pages(struct client *c, const char *path, const char *member, int64_t limit,
                     struct pages *ret)
{
    *ret = (struct pages){.rows = json_array(), .rest = json_object()};
    do {
        json_t *page = NULL;
        int64_t left = limit - (int64_t)json_array_size(ret->rows);
        int rc = get_page(c, path, ret->next, left < PAGE_MOST ? left : PAGE_MOST, &page);
        if (rc)
            return rc;
        json_array_extend(ret->rows, json_object_get(page, member));
        text_clip(pick_text(page, "next", ""), ret->next, sizeof ret->next);
        json_object_del(page, member);
        json_object_del(page, "next");
        json_decref(ret->rest);
        ret->rest = page;
    } while (ret->next[0] && (int64_t)json_array_size(ret->rows) < limit);
    return EXIT_DONE;
}

int pages_list(struct client *c, const struct args *a, const struct pages_list *list)
{
    int64_t limit = 0;
    struct text_buffer path = {0};
    struct pages found = {0};
    int rc = read_limit(c, a, list, &limit);
    if (!rc)
        rc = list->ask(c, a, &path);
    if (!rc)
        rc = get_pages(c, path.data, list->member, limit, &found);
    if (!rc)
        rc = list->tell(c, a, &found);
    json_decref(found.rows);
    json_decref(found.rest);
    text_buffer_free(&path);
    return rc;
}

void pages_tell_more(const struct pages *pages, const struct client *c)
{
    if (pages->next[0])
        view_text(&c->view, VIEW_PLAIN, 0, 0, "There are more: --limit takes a larger number.");
}

void pages_print(const struct pages *pages, const char *member)
{
    json_t *document =
        json_pack("{sO ss?}", member, pages->rows, "next", pages->next[0] ? pages->next : NULL);
    json_object_update_missing(document, pages->rest);
    client_print(document);
    json_decref(document);
}
