/*
 * Which functions a program goes through, asked of the program as it was built: each begins with a
 * breakpoint, which its first visitor takes away. mutate.py preloads this (x86-64 Linux).
 * GONE_THROUGH_PROGRAM: the path of the program that is asked, all others are left alone;
 * GONE_THROUGH: a file with a byte for each row of its table of symbols, which becomes 1.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <elf.h>
#include <fcntl.h>
#include <link.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <ucontext.h>
#include <unistd.h>

#define BREAKPOINT 0xCC

struct entry {
    unsigned char *at, byte;
    size_t row;
};

static struct entry *entries;
static size_t entry_count;
static char *gone;

static int by_address(const void *a, const void *b)
{
    const unsigned char *x = ((const struct entry *)a)->at, *y = ((const struct entry *)b)->at;
    return (x > y) - (x < y);
}

/* Another thread may have been here before: what it did is done again. */
static void on_breakpoint(int signal, siginfo_t *info, void *context)
{
    (void)signal, (void)info;
    greg_t *ip = &((ucontext_t *)context)->uc_mcontext.gregs[REG_RIP];
    struct entry key = {.at = (unsigned char *)*ip - 1};
    struct entry *entry = bsearch(&key, entries, entry_count, sizeof key, by_address);
    if (!entry)
        abort();
    gone[entry->row] = 1;
    *(volatile unsigned char *)entry->at = entry->byte;
    *ip = (greg_t)(uintptr_t)entry->at;
}

static const char *map_file(const char *path, int flags, size_t *ret_size)
{
    struct stat st;
    int fd = open(path, flags == MAP_SHARED ? O_RDWR : O_RDONLY);
    if (fd < 0 || fstat(fd, &st) != 0)
        return NULL;
    void *at = mmap(NULL, (size_t)st.st_size, PROT_READ | PROT_WRITE, flags, fd, 0);
    close(fd);
    *ret_size = (size_t)st.st_size;
    return at == MAP_FAILED ? NULL : at;
}

static void list_functions(const char *file, ElfW(Addr) base)
{
    const Elf64_Ehdr *head = (const Elf64_Ehdr *)file;
    const Elf64_Shdr *sections = (const Elf64_Shdr *)(file + head->e_shoff);
    for (int i = 0; i < head->e_shnum; i++) {
        if (sections[i].sh_type != SHT_SYMTAB)
            continue;
        const Elf64_Sym *symbols = (const Elf64_Sym *)(file + sections[i].sh_offset);
        size_t count = sections[i].sh_size / sizeof *symbols;
        entries = malloc(count * sizeof *entries);
        for (size_t row = 0; entries && row < count; row++)
            if (ELF64_ST_TYPE(symbols[row].st_info) == STT_FUNC && symbols[row].st_size)
                entries[entry_count++] =
                    (struct entry){(unsigned char *)(base + symbols[row].st_value), 0, row};
    }
    qsort(entries, entry_count, sizeof *entries, by_address);
}

static int open_code(struct dl_phdr_info *of, size_t size, void *arg)
{
    (void)size;
    uintptr_t page = (uintptr_t)sysconf(_SC_PAGESIZE);
    for (int i = 0; i < of->dlpi_phnum; i++) {
        const ElfW(Phdr) *part = &of->dlpi_phdr[i];
        if (part->p_type != PT_LOAD || !(part->p_flags & PF_X))
            continue;
        uintptr_t from = (of->dlpi_addr + part->p_vaddr) & ~(page - 1);
        uintptr_t to = of->dlpi_addr + part->p_vaddr + part->p_memsz;
        if (mprotect((void *)from, to - from, PROT_READ | PROT_WRITE | PROT_EXEC) != 0)
            abort();
    }
    *(ElfW(Addr) *)arg = of->dlpi_addr;
    return 1; /* the program itself is the first */
}

__attribute__((constructor)) static void begin(void)
{
    char self[4096] = "";
    const char *program = getenv("GONE_THROUGH_PROGRAM"), *out = getenv("GONE_THROUGH");
    size_t size, room;
    ElfW(Addr) base = 0;
    if (!program || !out || readlink("/proc/self/exe", self, sizeof self - 1) < 0 ||
        strcmp(self, program) != 0)
        return;
    const char *file = map_file(self, MAP_PRIVATE, &size);
    gone = (char *)map_file(out, MAP_SHARED, &room);
    if (!file || !gone)
        abort();
    dl_iterate_phdr(open_code, &base);
    list_functions(file, base);
    struct sigaction action = {.sa_sigaction = on_breakpoint, .sa_flags = SA_SIGINFO | SA_NODEFER};
    sigaction(SIGTRAP, &action, NULL);
    for (size_t i = 0; i < entry_count; i++)
        entries[i].byte = *entries[i].at;
    for (size_t i = 0; i < entry_count; i++)
        *entries[i].at = BREAKPOINT;
}

/* Whoever keeps all signals off keeps this one. */

int pthread_sigmask(int how, const sigset_t *set, sigset_t *old)
{
    int (*real)(int, const sigset_t *, sigset_t *) = dlsym(RTLD_NEXT, "pthread_sigmask");
    sigset_t but = {0};
    if (set)
        but = *set;
    if (how != SIG_UNBLOCK)
        sigdelset(&but, SIGTRAP);
    return real(how, set ? &but : NULL, old);
}

int sigprocmask(int how, const sigset_t *set, sigset_t *old)
{
    return pthread_sigmask(how, set, old) == 0 ? 0 : -1;
}
