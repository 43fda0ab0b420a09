/* Statements on standard input, each ended by a zero byte; on standard output as PostgreSQL gets
 * them. */
#include "store/dialect.h"
#include <stdio.h>
#include <stdlib.h>

int main(void)
{
    char *sql = NULL;
    size_t size = 0;
    while (getdelim(&sql, &size, '\0', stdin) > 0) {
        char *text = dialect_text(sql, true);
        fputs(text, stdout);
        fputc('\0', stdout);
        free(text);
    }
    free(sql);
    return 0;
}
