#include "facts/cache.h"
#include "base/hash.h"
#include "base/text.h"
#include <assert.h>
#include <pthread.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

struct entry {
    struct cache_key key;
    int64_t stamp;
    struct cache_object *object;
    struct entry *next;          /* in its bucket */
    struct entry *newer, *older; /* by use */
};

struct cache {
    pthread_mutex_t lock;
    size_t capacity, count, bucket_count;
    struct entry **buckets;
    struct entry *newest, *oldest;
};

void cache_object_init(struct cache_object *object, void (*destroy)(struct cache_object *object))
{
    assert(destroy);
    object->references = 1;
    object->destroy = destroy;
}

void *cache_object_ref(void *object)
{
    struct cache_object *cached = object;
    int now = __atomic_add_fetch(&cached->references, 1, __ATOMIC_RELAXED);
    assert(now > 1); /* whoever refers to it holds one */
    (void)now;
    return object;
}

void cache_object_unref(void *object)
{
    struct cache_object *cached = object;
    if (cached && __atomic_sub_fetch(&cached->references, 1, __ATOMIC_ACQ_REL) == 0)
        cached->destroy(cached);
}

uint64_t cache_hash(uint64_t seed, const char *text)
{
    return hash_bytes(seed ? seed : HASH_EMPTY, text,
                      strlen(text) + 1); /* "ab","c" is not "a","bc" */
}

int64_t cache_stamp(int64_t a, int64_t b)
{
    uint64_t mixed = (uint64_t)a * UINT64_C(0x9e3779b97f4a7c15);
    mixed = (mixed ^ (mixed >> 31)) + (uint64_t)b;
    return (int64_t)(mixed * UINT64_C(0xbf58476d1ce4e5b9) >> 1);
}

struct cache *cache_new(size_t capacity)
{
    assert(capacity > 0);
    struct cache *cache = xcalloc(1, sizeof *cache);
    pthread_mutex_init(&cache->lock, NULL);
    cache->capacity = capacity;
    cache->bucket_count = capacity * 2 + 1;
    cache->buckets = xcalloc(cache->bucket_count, sizeof(struct entry *));
    return cache;
}

static struct entry **bucket_of(struct cache *cache, struct cache_key key)
{
    uint64_t hash = key.a * UINT64_C(0x9e3779b97f4a7c15);
    hash = (hash ^ (hash >> 29) ^ key.b) * UINT64_C(0xbf58476d1ce4e5b9);
    hash = (hash ^ (hash >> 32) ^ key.c) * UINT64_C(0x94d049bb133111eb);
    return &cache->buckets[(hash ^ (hash >> 31)) % cache->bucket_count];
}

static void unlink_use(struct cache *cache, struct entry *entry)
{
    assert(entry->newer || cache->newest == entry);
    assert(entry->older || cache->oldest == entry);
    if (entry->newer)
        entry->newer->older = entry->older;
    else
        cache->newest = entry->older;
    if (entry->older)
        entry->older->newer = entry->newer;
    else
        cache->oldest = entry->newer;
    entry->newer = entry->older = NULL;
}

static void link_newest(struct cache *cache, struct entry *entry)
{
    assert(!entry->newer && !entry->older);
    entry->older = cache->newest;
    if (cache->newest)
        cache->newest->newer = entry;
    cache->newest = entry;
    if (!cache->oldest)
        cache->oldest = entry;
}

static struct entry **find(struct cache *cache, struct cache_key key)
{
    struct entry **at = bucket_of(cache, key);
    while (*at && ((*at)->key.a != key.a || (*at)->key.b != key.b || (*at)->key.c != key.c))
        at = &(*at)->next;
    return at;
}

static void drop(struct cache *cache, struct entry **at)
{
    struct entry *entry = *at;
    if (!entry)
        return;
    *at = entry->next;
    unlink_use(cache, entry);
    cache_object_unref(entry->object);
    free(entry);
    assert(cache->count > 0);
    cache->count--;
}

void cache_free(struct cache *cache)
{
    if (!cache)
        return;
    while (cache->oldest)
        drop(cache, find(cache, cache->oldest->key));
    assert(cache->count == 0 && !cache->newest);
    pthread_mutex_destroy(&cache->lock);
    free(cache->buckets);
    free(cache);
}

void *cache_get(struct cache *cache, struct cache_key key, int64_t stamp)
{
    void *object = NULL;
    pthread_mutex_lock(&cache->lock);
    struct entry *entry = *find(cache, key);
    if (entry && entry->stamp == stamp) {
        object = cache_object_ref(entry->object);
        unlink_use(cache, entry);
        link_newest(cache, entry);
    }
    pthread_mutex_unlock(&cache->lock);
    return object;
}

void cache_put(struct cache *cache, struct cache_key key, int64_t stamp, void *object)
{
    pthread_mutex_lock(&cache->lock);
    struct entry **at = find(cache, key);
    if (*at)
        drop(cache, at);
    while (cache->count >= cache->capacity && cache->oldest)
        drop(cache, find(cache, cache->oldest->key));
    struct entry *entry = xcalloc(1, sizeof *entry);
    struct entry **bucket = bucket_of(cache, key);
    entry->key = key;
    entry->stamp = stamp;
    entry->object = cache_object_ref(object);
    entry->next = *bucket;
    *bucket = entry;
    link_newest(cache, entry);
    cache->count++;
    pthread_mutex_unlock(&cache->lock);
}
