/* What the thread sanitizer says of a descriptor's number that another thread's file had before:
 * nothing
 * (`tsan_descriptors_test`), and of a folder that is closed while another thread reads it: that
 * (`tsan_descriptors_test race`, which the sanitizer ends). The threads take turns without its
 * seeing how. */
#include <assert.h>
#include <dirent.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <unistd.h>

static atomic_bool others_turn;

static void wait_for_turn(void)
{
    while (!atomic_load_explicit(&others_turn, memory_order_relaxed))
        ;
}

static void *open_and_close(void *arg)
{
    (void)arg;
    wait_for_turn();
    DIR *folder = opendir("/tmp");
    closedir(folder);
    int file = openat(AT_FDCWD, "/", O_RDONLY | O_CLOEXEC), below = openat(file, "tmp", O_RDONLY);
    assert(below >= 0);
    close(below);
    close(file);
    return NULL;
}

static void *close_it(void *folder)
{
    wait_for_turn();
    closedir(folder);
    return NULL;
}

/* As libevent may: of a number that is closed. */
static void use_number(void)
{
    struct epoll_event event = {.events = EPOLLIN};
    int epoll = epoll_create1(0), fd[2];
    int rc = socketpair(AF_UNIX, SOCK_STREAM, 0, fd);
    assert(rc == 0);
    for (int i = 0; i < 2; i++) {
        epoll_ctl(epoll, EPOLL_CTL_ADD, fd[i], &event);
        close(fd[i]);
        epoll_ctl(epoll, EPOLL_CTL_DEL, fd[i], &event);
    }
}

int main(int argc, char **argv)
{
    pthread_t other;
    DIR *folder = opendir("/");
    char byte;
    (void)argv;
    pthread_create(&other, NULL, argc > 1 ? close_it : open_and_close, folder);
    if (argc > 1)
        (void)!read(dirfd(folder), &byte, 1);
    else
        use_number();
    atomic_store_explicit(&others_turn, true, memory_order_relaxed);
    pthread_join(other, NULL);
    if (argc == 1)
        closedir(folder);
    return 0;
}
