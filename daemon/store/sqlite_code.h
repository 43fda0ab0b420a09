/* Inside store/ only: what SQLite answers as a code of ours. */
#ifndef ODDLOAF_STORE_SQLITE_CODE_H
#define ODDLOAF_STORE_SQLITE_CODE_H

int sqlite_code(int answer);

#endif
