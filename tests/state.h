/* A state's folder of one's own, as mkdtemp() makes it. Where ODDLOAF_TEST_SERVER names a
 * PostgreSQL server (tests/store/postgresql.py), its state is kept there, in a database of its own
 * that is gone when the program ends: the same test tries either engine. */
#ifndef ODDLOAF_TESTS_STATE_H
#define ODDLOAF_TESTS_STATE_H

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

static inline int *state_count(void)
{
    static int count;
    return &count;
}

/* Such a test asks for what only a file of SQLite's has. */
static inline bool state_on_server(void)
{
    return getenv("ODDLOAF_TEST_SERVER") != NULL;
}

static inline int state_ask(const char *sql, int number, const char *how)
{
    char command[1024];
    snprintf(command, sizeof command, "psql -qX -d 'postgresql:///postgres?%s' -c '%s t%ld_%d %s'",
             getenv("ODDLOAF_TEST_SERVER"), sql, (long)getpid(), number, how);
    return system(command);
}

static inline void state_drop_all(void)
{
    for (int i = 0; i < *state_count(); i++)
        state_ask("DROP DATABASE", i, "WITH (FORCE)");
}

static inline char *state_folder(char *dir)
{
    char path[256];
    char *made = mkdtemp(dir);
    if (!made || !state_on_server())
        return made;
    int number = (*state_count())++;
    if (number == 0)
        atexit(state_drop_all);
    snprintf(path, sizeof path, "%s/server", dir);
    FILE *file = fopen(path, "w");
    if (!file || state_ask("CREATE DATABASE", number, "TEMPLATE empty STRATEGY FILE_COPY"))
        return NULL;
    fprintf(file, "postgresql:///t%ld_%d?%s\n", (long)getpid(), number,
            getenv("ODDLOAF_TEST_SERVER"));
    return fclose(file) ? NULL : made;
}

#endif
