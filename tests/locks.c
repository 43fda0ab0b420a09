/* Linked into every unit test: whoever gives back a lock that it does not hold, or
 * takes one twice, ends the program. Without, most tests would pass, or wait for ever. Of plain
 * locks only; it reads what glibc keeps in them. */
#include <dlfcn.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

typedef int of_lock(pthread_mutex_t *lock);

static of_lock *real(const char *name)
{
    union {
        void *found;
        of_lock *call;
    } of = {dlsym(RTLD_NEXT, name)};
    if (!of.call)
        abort();
    return of.call;
}

static void look(const pthread_mutex_t *lock, int held, const char *what)
{
    enum { KIND = 3 };
    if ((lock->__data.__kind & KIND) != PTHREAD_MUTEX_TIMED_NP ||
        (lock->__data.__owner == gettid()) == held)
        return;
    fprintf(stderr, "a lock is %s\n", what);
    abort();
}

int pthread_mutex_lock(pthread_mutex_t *lock)
{
    static of_lock *call;
    if (!call)
        call = real("pthread_mutex_lock");
    look(lock, 0, "taken twice");
    return call(lock);
}

int pthread_mutex_unlock(pthread_mutex_t *lock)
{
    static of_lock *call;
    if (!call)
        call = real("pthread_mutex_unlock");
    look(lock, 1, "given back by whom does not hold it");
    return call(lock);
}
