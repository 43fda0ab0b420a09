/* A node is a prefix of codes with one row of the comparison table: row[j] is the cheapest way in
 * which that prefix can have been read as the first j characters of the text. The cheapest node is
 * opened next. Opening looks at the index once: few codes under the prefix are compared to their
 * end; many are followed character by character, first the characters that the text suggests (no
 * look-up needed to try), and only when it is their turn all the others there are. */
#include "lots/walk.h"
#include "base/text.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BUCKET = 12, NODES = 6000 };

struct node {
    float cost;
    bool others; /* stands for the children the text does not suggest */
    unsigned char length;
    char prefix[READING_TEXT + 1];
    float row[READING_TEXT + 1], above[READING_TEXT + 1];
};

struct walk {
    const struct walk_costs *costs;
    struct store *store;
    const struct reading_code *text;
    struct walk_result *result;
    float slack;
    int lookups_left;
    struct node *nodes; /* all ever made */
    size_t node_count;
    unsigned short heap[NODES]; /* numbers of nodes, cheapest on top */
    size_t heap_count;
};

static float mean_cost(const struct reading *reading, const double rates[READING_QUALITIES])
{
    double sum = 0;
    for (size_t q = 0; q < READING_QUALITIES; q++)
        sum += reading->quality[q].share * rates[q];
    return (float)-log(sum > 1e-9 ? sum : 1e-9);
}

void walk_prepare(const struct reading *reading, struct walk_costs *ret)
{
    const struct reading_rates *q = reading->quality;
    *ret = (struct walk_costs){
        .dropped = mean_cost(reading, (double[]){q[0].dropped, q[1].dropped}),
        .doubled = mean_cost(reading, (double[]){q[0].doubled, q[1].doubled}),
        .extra = mean_cost(reading, (double[]){q[0].extra / 10, q[1].extra / 10}),
        .swapped = mean_cost(reading, (double[]){q[0].swapped, q[1].swapped}),
        .head = (float)-log(reading->head_missing + 1e-6),
        .tail = (float)-log(reading->tail_missing + 1e-6),
    };
    /* a tenth: which of the others it is counts, but codes hold few different characters */
    ret->cheapest_unlike = mean_cost(reading, (double[]){q[0].other / 10, q[1].other / 10});
    for (size_t c = 0; c < READING_LETTERS; c++)
        for (size_t t = 0; t < READING_LETTERS; t++) {
            double alike = reading->alike[c][t];
            double rates[] = {q[0].confused * alike + q[0].other / 10,
                              q[1].confused * alike + q[1].other / 10};
            ret->read[c][t] = c == t ? 0 : mean_cost(reading, rates);
        }
}

/* ---- the comparison table, row by row ---- */

static float least(float a, float b)
{
    return a < b ? a : b;
}

/* `row` of a prefix, `above` of the prefix without its last character `last` (-1: none). */
static void extend(const struct walk *w, const float *row, const float *above, int last,
                   size_t length, int letter, float *next)
{
    const struct walk_costs *c = w->costs;
    const unsigned char *t = w->text->letter;
    size_t n = w->text->length;
    /* a missing head costs once; longer heads are lost a little less often */
    next[0] = least(row[0] + c->dropped, c->head + 0.1F * (float)(length + 1));
    for (size_t j = 0; j < n; j++) {
        bool same = t[j] == letter;
        float best = least(row[j] + c->read[letter][t[j]], row[j + 1] + c->dropped);
        bool again = same && j && t[j - 1] == letter;
        best = least(best, next[j] + (again ? c->doubled : c->extra));
        if (last >= 0 && j && t[j] == last && t[j - 1] == letter && last != letter)
            best = least(best, above[j - 1] + c->swapped);
        next[j + 1] = best;
    }
}

static float cheapest(const float *row, size_t n)
{
    float best = row[0];
    for (size_t j = 1; j <= n; j++)
        best = least(best, row[j]);
    return best;
}

static int last_letter(const struct node *node)
{
    return node->length ? reading_letter(node->prefix[node->length - 1]) : -1;
}

/* ---- the heap ---- */

static void sift_up(struct walk *w, size_t at)
{
    while (at && w->nodes[w->heap[at]].cost < w->nodes[w->heap[(at - 1) / 2]].cost) {
        unsigned short parent = w->heap[(at - 1) / 2];
        w->heap[(at - 1) / 2] = w->heap[at];
        w->heap[at] = parent;
        at = (at - 1) / 2;
    }
}

static void sift_down(struct walk *w)
{
    for (size_t at = 0;;) {
        size_t child = 2 * at + 1;
        if (child >= w->heap_count)
            return;
        if (child + 1 < w->heap_count &&
            w->nodes[w->heap[child + 1]].cost < w->nodes[w->heap[child]].cost)
            child++;
        if (w->nodes[w->heap[at]].cost <= w->nodes[w->heap[child]].cost)
            return;
        unsigned short swapped = w->heap[at];
        w->heap[at] = w->heap[child];
        w->heap[child] = swapped;
        at = child;
    }
}

static float limit(const struct walk *w)
{
    return w->result->count ? w->result->hit[0].cost + w->slack : INFINITY;
}

static void push(struct walk *w, size_t number)
{
    w->heap[w->heap_count] = (unsigned short)number;
    sift_up(w, w->heap_count++);
}

static struct node *new_node(struct walk *w)
{
    return w->node_count < NODES ? &w->nodes[w->node_count] : NULL;
}

static void push_child(struct walk *w, const struct node *parent, int letter)
{
    struct node *child = new_node(w);
    if (!child || parent->length >= READING_TEXT)
        return;
    extend(w, parent->row, parent->above, last_letter(parent), parent->length, letter, child->row);
    child->cost = cheapest(child->row, w->text->length);
    if (child->cost > limit(w))
        return;
    memcpy(child->above, parent->row, sizeof child->above);
    memcpy(child->prefix, parent->prefix, parent->length);
    child->length = (unsigned char)(parent->length + 1);
    child->prefix[parent->length] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"[letter];
    child->prefix[child->length] = '\0';
    child->others = false;
    push(w, w->node_count++);
}

/* ---- hits ---- */

static void add_hit(struct walk *w, int64_t lot_id, float cost)
{
    struct walk_result *r = w->result;
    if (cost > limit(w) || (r->count == WALK_FOUND && cost >= r->hit[WALK_FOUND - 1].cost))
        return;
    for (size_t i = 0; i < r->count; i++)
        if (r->hit[i].lot_id == lot_id)
            return; /* reached along another way */
    size_t at = r->count < WALK_FOUND ? r->count++ : WALK_FOUND - 1;
    for (; at && r->hit[at - 1].cost > cost; at--)
        r->hit[at] = r->hit[at - 1];
    r->hit[at] = (struct walk_hit){lot_id, cost};
}

/* Compares a whole code of which `node` is a prefix. */
static void compare(struct walk *w, const struct node *node, const struct lot_find_key *key)
{
    float rows[3][READING_TEXT + 1];
    float *above = rows[0], *row = rows[1], *next = rows[2];
    size_t n = w->text->length, length = strlen(key->fold);
    memcpy(above, node->above, sizeof rows[0]);
    memcpy(row, node->row, sizeof rows[0]);
    int last = last_letter(node);
    float stopped = node->length ? row[n] : INFINITY; /* the reader stopped before the end */
    for (size_t i = node->length; i < length && i < READING_TEXT; i++) {
        int letter = reading_letter(key->fold[i]);
        if (letter < 0)
            return;
        extend(w, row, above, last, i, letter, next);
        float *oldest = above;
        above = row;
        row = next;
        next = oldest;
        last = letter;
        if (i + 1 < length)
            stopped = least(stopped, row[n]);
    }
    add_hit(w, key->lot_id, least(row[n], stopped + w->costs->tail));
}

/* ---- opening ---- */

static int look(struct walk *w, const char *from, size_t want, struct lot_find_key *keys,
                size_t *ret_count, struct error *err)
{
    w->lookups_left--;
    w->result->lookups++;
    return lot_find_keys(w->store, from, want, keys, ret_count, err);
}

static size_t under(const struct lot_find_key *keys, size_t count, const char *prefix,
                    size_t length)
{
    size_t inside = 0;
    while (inside < count && !strncmp(keys[inside].fold, prefix, length))
        inside++;
    return inside;
}

/* The characters that read as what the text has hereabouts. */
static void suggest(const struct walk *w, const struct node *node, bool wanted[READING_LETTERS])
{
    size_t n = w->text->length;
    memset(wanted, 0, READING_LETTERS * sizeof wanted[0]);
    for (size_t j = 0; j < n; j++) {
        if (node->row[j] > node->cost + w->costs->cheapest_unlike)
            continue;
        for (size_t c = 0; c < READING_LETTERS; c++)
            if (w->costs->read[c][w->text->letter[j]] < w->costs->cheapest_unlike)
                wanted[c] = true;
        if (j + 1 < n)
            wanted[w->text->letter[j + 1]] = true; /* swapped, or one extra before */
    }
}

static int open_prefix(struct walk *w, const struct node *node, struct error *err)
{
    struct lot_find_key keys[BUCKET + 1];
    size_t count;
    int rc = look(w, node->prefix, BUCKET + 1, keys, &count, err);
    if (rc < 0)
        return rc;
    size_t inside = under(keys, count, node->prefix, node->length);
    if (inside <= BUCKET) {
        for (size_t i = 0; i < inside; i++)
            compare(w, node, &keys[i]);
        return 0;
    }
    for (size_t i = 0; i < inside && strlen(keys[i].fold) == node->length; i++)
        compare(w, node, &keys[i]); /* codes that end here */
    bool wanted[READING_LETTERS];
    suggest(w, node, wanted);
    for (int letter = 0; letter < READING_LETTERS; letter++)
        if (wanted[letter])
            push_child(w, node, letter);
    struct node *others = new_node(w);
    if (!others)
        return 0;
    *others = *node;
    others->others = true;
    others->cost = least(node->cost + least(w->costs->cheapest_unlike, w->costs->dropped),
                         node->row[w->text->length] + 0.01F); /* text used up: any character */
    others->cost = least(others->cost, w->costs->head + 0.1F * (float)(node->length + 1));
    if (others->cost <= limit(w))
        push(w, w->node_count++);
    return 0;
}

/* The children there are, besides those the text suggested. */
static int open_others(struct walk *w, const struct node *node, struct error *err)
{
    struct lot_find_key keys[BUCKET + 1];
    bool wanted[READING_LETTERS];
    suggest(w, node, wanted);
    char from[READING_TEXT + 2];
    memcpy(from, node->prefix, node->length);
    from[node->length] = '0';
    from[node->length + 1] = '\0';
    while (w->lookups_left > 0) {
        size_t count;
        int rc = look(w, from, BUCKET + 1, keys, &count, err);
        if (rc < 0)
            return rc;
        if (!under(keys, count, node->prefix, node->length))
            return 0;
        from[node->length] = keys[0].fold[node->length];
        int letter = reading_letter(from[node->length]);
        size_t inside = under(keys, count, from, (size_t)node->length + 1);
        if (letter >= 0 && !wanted[letter]) {
            if (inside <= BUCKET)
                for (size_t i = 0; i < inside; i++)
                    compare(w, node, &keys[i]);
            else
                push_child(w, node, letter);
        }
        if (from[node->length] >= 'Z')
            return 0;
        from[node->length]++;
    }
    return 0;
}

int walk_find(const struct walk_costs *costs, struct store *store, const struct reading_code *text,
              float slack, int lookups, struct walk_result *ret, struct error *err)
{
    ret->count = 0;
    ret->lookups = 0;
    if (!text->length)
        return 0;
    struct walk *w = xmalloc(sizeof *w);
    *w = (struct walk){.costs = costs,
                       .store = store,
                       .text = text,
                       .result = ret,
                       .slack = slack,
                       .lookups_left = lookups,
                       .nodes = xmalloc(NODES * sizeof *w->nodes)};
    struct node *root = new_node(w);
    memset(root, 0, sizeof *root);
    for (size_t j = 1; j <= text->length; j++)
        root->row[j] = (float)j * costs->extra;
    push(w, w->node_count++);
    int rc = 0;
    while (rc == 0 && w->heap_count && w->lookups_left > 0) {
        const struct node *node = &w->nodes[w->heap[0]];
        if (node->cost > limit(w))
            break;
        w->heap[0] = w->heap[--w->heap_count];
        sift_down(w);
        rc = node->others ? open_others(w, node, err) : open_prefix(w, node, err);
    }
    free(w->nodes);
    free(w);
    return rc;
}
