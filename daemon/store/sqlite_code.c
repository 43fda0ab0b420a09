#include "store/sqlite_code.h"
#include "base/error.h"
#include <sqlite3.h>

int sqlite_code(int answer)
{
    switch (answer & 0xff) {
    case SQLITE_FULL:
        return ERROR_NO_SPACE;
    case SQLITE_CONSTRAINT:
        return ERROR_CONFLICT;
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return ERROR_BUSY;
    case SQLITE_NOMEM:
        return ERROR_MEMORY;
    case SQLITE_TOOBIG:
        return ERROR_TOO_LARGE;
    default:
        return ERROR_IO;
    }
}
