/* A guess says: the code begins with `prefix`, of which the first `read` characters of the text are
 * the reading, and goes on as the text does. Opening it looks for such codes once (leaving the last
 * characters open, so that mistakes there are found in passing), and then guesses one more mistake
 * at every place on the way. The cheapest guess is opened next.
 *
 * Text L2632IB0412, code L26321B0412: the first look-up finds no code that goes on from L2632I;
 * among the guesses are L26321|B0412 (I for 1, cheap), which the next look-ups confirm. */
#include "lots/walk.h"
#include "base/text.h"
#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BUCKET = 12, OPEN_END = 3, GUESSES = 4000 };

enum kind {
    GOES_ON,   /* the text goes on after the prefix */
    LEFT_OUT,  /* one character of the code is not in the text here; or unlike anything read */
    HEAD_LOST, /* the prefix was not read at all */
};

struct guess {
    float cost;
    unsigned char kind, length, read;
    char prefix[READING_TEXT + 2];
};

struct walk {
    const struct walk_costs *costs;
    struct store *store;
    struct error *err;
    const struct reading_code *text;
    char spelled[READING_TEXT + 1]; /* the text as characters */
    struct walk_result *result;
    float slack;
    int lookups_left;
    struct guess *guess; /* all ever made */
    size_t guess_count;
    unsigned short heap[GUESSES]; /* numbers of guesses, cheapest on top */
    size_t heap_count;
    struct lot_find_key key[BUCKET + 1];
    struct lot_find_keys found; /* by the last look-up */
};

static const char LETTERS[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";

static float least(float a, float b)
{
    return a < b ? a : b;
}

/* ---- the cheapest way to read a whole code as the text ---- */

/* Row i + 1 of the comparison table, for character i of the code; returns the least of it. `head`:
 * what it costs if nothing up to here was read. */
static float extend(const struct walk_costs *c, const struct reading_code *text,
                    struct walk_rows *rows, size_t i, float head)
{
    assert(i < READING_TEXT && text->length <= READING_TEXT);
    const unsigned char *t = text->letter;
    const float *row = rows->row[i], *above = i ? rows->row[i - 1] : NULL;
    int letter = reading_letter(rows->fold[i]);
    assert(letter >= 0); /* the caller has looked */
    int last = above ? reading_letter(rows->fold[i - 1]) : -1;
    size_t n = text->length;
    float *next = rows->row[i + 1];
    float lowest = next[0] = least(row[0] + c->dropped, head);
    for (size_t j = 0; j < n; j++) {
        float best = least(row[j] + c->read[letter][t[j]], row[j + 1] + c->dropped);
        bool again = t[j] == letter && j && t[j - 1] == letter;
        best = least(best, next[j] + (again ? c->doubled : c->extra));
        if (last >= 0 && j && t[j] == last && t[j - 1] == letter && last != letter)
            best = least(best, above[j - 1] + c->swapped);
        next[j + 1] = best;
        lowest = least(lowest, best);
    }
    return lowest;
}

/* The rows that a code shares with the one before it: the same beginning, of as long a code. */
static size_t shared(const struct walk_rows *rows, const char *fold, size_t length)
{
    assert(length <= READING_TEXT && rows->filled <= rows->length);
    size_t same = 0;
    if (length != rows->length)
        return 0;
    while (same < rows->filled && fold[same] == rows->fold[same])
        same++;
    return same;
}

static void begin_rows(const struct walk_costs *costs, const struct reading_code *text,
                       size_t length, struct walk_rows *rows)
{
    assert(length <= READING_TEXT);
    for (size_t j = 0; j <= text->length; j++)
        rows->row[0][j] = (float)j * costs->extra;
    rows->stopped[0] = INFINITY; /* the reader stopped before the end */
    rows->length = length;
    rows->filled = 0;
}

static float cost_in(const struct walk_costs *costs, const struct reading_code *text,
                     const char *fold, float most, struct walk_rows *rows)
{
    size_t n = text->length, length = strnlen(fold, READING_TEXT);
    size_t i = shared(rows, fold, length);
    if (i == 0)
        begin_rows(costs, text, length, rows);
    rows->filled = i;
    for (; i < length; i++) {
        if (reading_letter(fold[i]) < 0)
            return INFINITY;
        rows->fold[i] = fold[i];
        /* a missing head costs once, a longer one a little more; what is left must hold the text */
        bool missing = length - i - 1 + 2 >= n;
        float head = missing ? costs->head + 0.1F * (float)(i + 1) : INFINITY;
        float lowest = extend(costs, text, rows, i, head);
        rows->stopped[i + 1] =
            i + 1 < length ? least(rows->stopped[i], rows->row[i + 1][n]) : rows->stopped[i];
        rows->filled = i + 1;
        if (lowest > most && rows->stopped[i] + costs->tail > most && !missing)
            return INFINITY;
    }
    return least(rows->row[length][n], rows->stopped[length] + costs->tail);
}

/* Of a code that shares half of itself with none that is kept, the oldest goes. */
static struct walk_rows *rows_for(struct walk_kept *kept, const char *fold)
{
    size_t length = strnlen(fold, READING_TEXT);
    for (size_t i = 0; i < WALK_KEPT; i++)
        if (2 * shared(&kept->rows[i], fold, length) >= length)
            return &kept->rows[i];
    return &kept->rows[kept->next++ % WALK_KEPT];
}

static void forget(struct walk_rows *rows)
{
    rows->length = READING_TEXT + 1; /* of no code */
    rows->filled = 0;
}

void walk_forget(struct walk_kept *kept)
{
    kept->next = 0;
    for (size_t i = 0; i < WALK_KEPT; i++)
        forget(&kept->rows[i]);
}

float walk_cost_next(const struct walk_costs *costs, const struct reading_code *text,
                     const char *fold, float most, struct walk_kept *kept)
{
    return cost_in(costs, text, fold, most, rows_for(kept, fold));
}

float walk_cost(const struct walk_costs *costs, const struct reading_code *text, const char *fold,
                float most)
{
    struct walk_rows rows;
    forget(&rows);
    return cost_in(costs, text, fold, most, &rows);
}

/* ---- hits ---- */

static float limit(const struct walk *w)
{
    return w->result->count ? w->result->hit[0].cost + w->slack : INFINITY;
}

static void add_hit(struct walk *w, const struct lot_find_key *key)
{
    struct walk_result *r = w->result;
    for (size_t i = 0; i < r->count; i++)
        if (r->hit[i].lot_id == key->lot_id)
            return; /* found along another way */
    float cost = walk_cost(w->costs, w->text, key->fold, limit(w));
    if (cost > limit(w) || (r->count == WALK_FOUND && cost >= r->hit[WALK_FOUND - 1].cost))
        return;
    size_t at = r->count < WALK_FOUND ? r->count++ : WALK_FOUND - 1;
    for (; at && r->hit[at - 1].cost > cost; at--)
        r->hit[at] = r->hit[at - 1];
    r->hit[at] = (struct walk_hit){key->lot_id, cost};
    assert(r->count <= WALK_FOUND && r->hit[0].cost <= r->hit[r->count - 1].cost);
}

/* ---- the heap of guesses ---- */

static float cost_at(const struct walk *w, size_t at)
{
    return w->guess[w->heap[at]].cost;
}

static void exchange(struct walk *w, size_t a, size_t b)
{
    unsigned short held = w->heap[a];
    w->heap[a] = w->heap[b];
    w->heap[b] = held;
}

static void push(struct walk *w, float cost, enum kind kind, const char *prefix, size_t length,
                 size_t read)
{
    if (cost > limit(w) || w->guess_count == GUESSES || length > READING_TEXT)
        return;
    struct guess *guess = &w->guess[w->guess_count];
    guess->cost = cost;
    guess->kind = (unsigned char)kind;
    guess->length = (unsigned char)length;
    guess->read = (unsigned char)read;
    memcpy(guess->prefix, prefix, length);
    guess->prefix[length] = '\0';
    size_t at = w->heap_count++;
    assert(at < GUESSES && w->guess_count < GUESSES);
    w->heap[at] = (unsigned short)w->guess_count++;
    for (; at && cost_at(w, at) < cost_at(w, (at - 1) / 2); at = (at - 1) / 2)
        exchange(w, at, (at - 1) / 2);
}

static const struct guess *pop(struct walk *w)
{
    assert(w->heap_count > 0);
    const struct guess *top = &w->guess[w->heap[0]];
    w->heap[0] = w->heap[--w->heap_count];
    for (size_t at = 0, child; (child = 2 * at + 1) < w->heap_count; at = child) {
        if (child + 1 < w->heap_count && cost_at(w, child + 1) < cost_at(w, child))
            child++;
        if (cost_at(w, at) <= cost_at(w, child))
            break;
        exchange(w, at, child);
    }
    return top;
}

/* ---- looking ---- */

static int look(struct walk *w, const char *from, size_t prefix)
{
    w->lookups_left--;
    w->result->lookups++;
    w->found = (struct lot_find_keys){w->key, 0, BUCKET + 1};
    return lot_find_keys(w->store, from, prefix, &w->found, w->err);
}

/* How many of the keys looked up begin with the first `length` bytes of `text`. */
static size_t inside(const struct walk *w, const char *text, size_t length)
{
    size_t count = 0;
    while (count < w->found.count && !strncmp(w->key[count].fold, text, length))
        count++;
    return count;
}

/* Looks for codes that begin with `prefix` and go on as the text from `read` on. *ret_sure: so many
 * bytes of that are the beginning of a code. The last look-up's first key is left for the caller.
 */
static int follow(struct walk *w, const char *prefix, size_t length, size_t read, size_t *ret_sure)
{
    assert(read <= w->text->length && length <= READING_TEXT + 1);
    char whole[2 * READING_TEXT + 4];
    size_t rest = w->text->length - read, all = length + rest;
    memcpy(whole, prefix, length);
    memcpy(whole + length, w->spelled + read, rest + 1);
    size_t cut = rest > OPEN_END ? all - OPEN_END : length;
    char last = whole[cut];
    whole[cut] = '\0';
    int rc = look(w, whole, cut);
    size_t found = inside(w, whole, cut);
    for (size_t i = 0; rc == 0 && i < found; i++)
        add_hit(w, &w->key[i]);
    size_t sure = cut;
    if (!found)
        for (sure = 0; w->found.count && sure < cut && w->key[0].fold[sure] == whole[sure];)
            sure++;
    if (rc == 0 && found > BUCKET && cut < all) { /* too many to see all: go to the end as well */
        whole[cut] = last;
        rc = look(w, whole, all);
        found = inside(w, whole, all);
        for (size_t i = 0; rc == 0 && i < found; i++)
            add_hit(w, &w->key[i]);
        sure = all;
    }
    if (ret_sure)
        *ret_sure = sure;
    return rc;
}

/* One mistake at the place where `prefix` has been read as the first `read` characters. */
static void guess_mistakes(struct walk *w, float cost, const char *prefix, size_t length,
                           size_t read)
{
    assert(read < w->text->length);
    const struct walk_costs *c = w->costs;
    const unsigned char *t = w->text->letter;
    size_t n = w->text->length;
    char next[READING_TEXT + 4];
    if (length + 2 > READING_TEXT)
        return;
    memcpy(next, prefix, length);
    for (size_t letter = 0; letter < READING_LETTERS; letter++)
        if (letter != t[read] && c->read[letter][t[read]] < c->unlike - 0.01F) {
            next[length] = LETTERS[letter];
            push(w, cost + c->read[letter][t[read]], GOES_ON, next, length + 1, read + 1);
        }
    if (read + 1 < n && t[read] != t[read + 1]) {
        next[length] = w->spelled[read + 1];
        next[length + 1] = w->spelled[read];
        push(w, cost + c->swapped, GOES_ON, next, length + 2, read + 2);
    }
    bool again = read && t[read] == t[read - 1];
    push(w, cost + (again ? c->doubled : c->extra), GOES_ON, prefix, length, read + 1);
    push(w, cost + least(c->dropped, c->unlike), LEFT_OUT, prefix, length, read);
}

static int open_goes_on(struct walk *w, const struct guess *guess)
{
    char way[2 * READING_TEXT + 4];
    size_t length = guess->length, read = guess->read, n = w->text->length, sure;
    int rc = follow(w, guess->prefix, length, read, &sure);
    if (rc < 0)
        return rc;
    memcpy(way, guess->prefix, length);
    memcpy(way + length, w->spelled + read, n - read + 1);
    /* on the way of the text as it stands, every place is tried, whatever codes there are */
    size_t to = guess->cost > 0 ? sure + 1 : length + n - read;
    for (size_t at = length; at < to && read < n; at++, read++)
        guess_mistakes(w, guess->cost, way, at, read);
    return 0;
}

/* Every character that codes have after the prefix: left out of the text, or read as one that is
 * not alike. A look-up that misses tells which character comes next. */
static int open_left_out(struct walk *w, const struct guess *guess)
{
    char prefix[READING_TEXT + 2];
    size_t length = guess->length, read = guess->read;
    memcpy(prefix, guess->prefix, length);
    float before = guess->cost - least(w->costs->dropped, w->costs->unlike);
    for (int letter = 0; letter < READING_LETTERS && w->lookups_left > 0;) {
        prefix[length] = LETTERS[letter];
        int rc = follow(w, prefix, length + 1, read, NULL);
        if (rc < 0)
            return rc;
        bool under = w->found.count && !strncmp(w->key[0].fold, prefix, length);
        int there = under ? reading_letter(w->key[0].fold[length]) : READING_LETTERS;
        if (there < letter) /* a code that ends here, or none at all */
            there = READING_LETTERS;
        if (there == letter && read < w->text->length)
            push(w, before + w->costs->unlike, GOES_ON, prefix, length + 1, read + 1);
        letter = there > letter ? there : letter + 1;
    }
    return 0;
}

/* The head was not read: any code that goes on with the whole text. */
static int open_head_lost(struct walk *w, const struct guess *guess)
{
    char prefix[READING_TEXT + 2];
    size_t length = guess->length;
    memcpy(prefix, guess->prefix, length);
    for (int letter = 0; letter < READING_LETTERS && w->lookups_left > 0;) {
        prefix[length] = LETTERS[letter];
        int rc = follow(w, prefix, length + 1, 0, NULL);
        if (rc < 0)
            return rc;
        bool under = w->found.count && !strncmp(w->key[0].fold, prefix, length);
        int there = under ? reading_letter(w->key[0].fold[length]) : READING_LETTERS;
        if (there < letter)
            there = READING_LETTERS;
        if (there == letter)
            push(w, guess->cost + 0.1F, HEAD_LOST, prefix, length + 1, 0);
        letter = there > letter ? there : letter + 1;
    }
    return 0;
}

static int open_guess(struct walk *w, const struct guess *guess)
{
    switch ((enum kind)guess->kind) {
    case GOES_ON:
        return open_goes_on(w, guess);
    case LEFT_OUT:
        return open_left_out(w, guess);
    case HEAD_LOST:
        return open_head_lost(w, guess);
    }
    return 0;
}

int walk_find(const struct walk_costs *costs, struct store *store, const struct reading_code *text,
              struct walk_reach reach, struct walk_result *ret, struct error *err)
{
    ret->count = 0;
    ret->lookups = 0;
    ret->unseen = INFINITY;
    if (!text->length)
        return 0;
    struct walk *w = xmalloc(sizeof *w);
    w->costs = costs;
    w->store = store;
    w->err = err;
    w->text = text;
    w->result = ret;
    w->slack = reach.slack;
    w->lookups_left = reach.lookups;
    w->guess = xmalloc(GUESSES * sizeof *w->guess);
    w->guess_count = w->heap_count = 0;
    for (size_t i = 0; i < text->length; i++)
        w->spelled[i] = LETTERS[text->letter[i]];
    w->spelled[text->length] = '\0';
    push(w, 0, GOES_ON, "", 0, 0);
    push(w, costs->head + 0.1F, HEAD_LOST, "", 0, 0);
    int rc = 0;
    while (rc == 0 && w->heap_count && w->lookups_left > 0) {
        const struct guess *guess = pop(w);
        if (guess->cost > limit(w))
            break;
        rc = open_guess(w, guess);
    }
    bool out_of_lookups = w->heap_count && w->lookups_left <= 0 && cost_at(w, 0) <= limit(w);
    ret->unseen = out_of_lookups ? cost_at(w, 0) : INFINITY;
    free(w->guess);
    free(w);
    return rc;
}
