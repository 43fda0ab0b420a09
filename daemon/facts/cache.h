/* A bounded, thread-safe cache of immutable objects: least recently used goes first. An entry
 * carries the stamp of the data it was made from; asked for with another stamp it is not there. */
#ifndef ODDLOAF_FACTS_CACHE_H
#define ODDLOAF_FACTS_CACHE_H

#include <stddef.h>
#include <stdint.h>

/* First member of every cached object. */
struct cache_object {
    int references; /* atomic */
    void (*destroy)(struct cache_object *object);
};
/* A new object has one reference. */
void cache_object_init(struct cache_object *object, void (*destroy)(struct cache_object *object));
void *cache_object_ref(void *object);
void cache_object_unref(void *object); /* NULL is fine */

struct cache_key {
    uint64_t a, b, c;
};

struct cache;
struct cache *cache_new(size_t capacity);
void cache_free(struct cache *cache); /* NULL is fine */
/* A new reference, or NULL. */
void *cache_get(struct cache *cache, struct cache_key key, int64_t stamp);
/* Keeps a reference of its own. */
void cache_put(struct cache *cache, struct cache_key key, int64_t stamp, void *object);

/* One stamp of two: any change of either gives another. */
int64_t cache_stamp(int64_t a, int64_t b);
/* FNV-1a, 64 bits, over the bytes of a string and on from `seed` (0 to start). */
uint64_t cache_hash(uint64_t seed, const char *text);

#endif
