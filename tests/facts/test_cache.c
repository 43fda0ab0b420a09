/* The cache: bounded, dated, safe between threads. */
#include "facts/cache.h"
#include "fixture.h"
#include <pthread.h>

struct thing {
    struct cache_object cached;
    uint64_t value;
};
static int alive;

static void destroy(struct cache_object *cached)
{
    __atomic_sub_fetch(&alive, 1, __ATOMIC_RELAXED);
    free((struct thing *)(void *)cached);
}

static struct thing *thing_new(uint64_t value)
{
    struct thing *thing = xcalloc(1, sizeof *thing);
    cache_object_init(&thing->cached, destroy);
    thing->value = value;
    __atomic_add_fetch(&alive, 1, __ATOMIC_RELAXED);
    return thing;
}

static void test_bounded_and_dated(void **state)
{
    struct cache *cache = cache_new(4);
    (void)state;
    for (uint64_t i = 0; i < 10; i++) {
        struct thing *thing = thing_new(i);
        cache_put(cache, (struct cache_key){i, 0, 0}, 1, thing);
        cache_object_unref(thing);
    }
    assert_int_equal(alive, 4);
    assert_null(cache_get(cache, (struct cache_key){0, 0, 0}, 1));
    struct thing *kept = cache_get(cache, (struct cache_key){6, 0, 0}, 1);
    assert_int_equal(kept->value, 6);
    assert_null(cache_get(cache, (struct cache_key){6, 0, 0}, 2)); /* made from older data */
    /* used last, so it outlives the others */
    for (uint64_t i = 20; i < 23; i++) {
        struct thing *thing = thing_new(i);
        cache_put(cache, (struct cache_key){i, 0, 0}, 1, thing);
        cache_object_unref(thing);
    }
    struct thing *again = cache_get(cache, (struct cache_key){6, 0, 0}, 1);
    assert_ptr_equal(again, kept);
    cache_free(cache);
    assert_int_equal(kept->value, 6); /* who holds it keeps it */
    cache_object_unref(again);
    cache_object_unref(kept);
    assert_int_equal(alive, 0);
}

static void *hammer(void *arg)
{
    struct cache *cache = arg;
    uint64_t seed = (uint64_t)(uintptr_t)&seed;
    for (int i = 0; i < 20000; i++) {
        seed = seed * UINT64_C(6364136223846793005) + 1442695040888963407;
        struct cache_key key = {seed >> 60, 1, 2};
        struct thing *thing = cache_get(cache, key, 1);
        if (!thing) {
            thing = thing_new(key.a);
            cache_put(cache, key, 1, thing);
        }
        if (thing->value != key.a)
            abort();
        cache_object_unref(thing);
    }
    return NULL;
}

static void test_threads(void **state)
{
    struct cache *cache = cache_new(8);
    pthread_t threads[4];
    (void)state;
    for (int i = 0; i < 4; i++)
        assert_int_equal(pthread_create(&threads[i], NULL, hammer, cache), 0);
    for (int i = 0; i < 4; i++)
        pthread_join(threads[i], NULL);
    cache_free(cache);
    assert_int_equal(alive, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_bounded_and_dated),
        cmocka_unit_test(test_threads),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
