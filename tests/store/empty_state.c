/* Makes the empty state of a folder, wherever that says that it is kept. */
#include "store/store.h"
#include <stdio.h>

int main(int argc, char **argv)
{
    struct store *store = NULL;
    struct error err = {0};
    char text[1024];
    if (argc != 2 || store_open(argv[1], STORE_WRITE, &store, &err)) {
        fprintf(stderr, "%s\n", error_format(&err, text, sizeof text));
        return 1;
    }
    store_close(store);
    return 0;
}
