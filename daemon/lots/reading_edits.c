/* Levenshtein (1966) and, with exchanges of neighbours, optimal string alignment, row by row. */
#include "base/text.h"
#include "lots/reading.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

static int least(int a, int b)
{
    return a < b ? a : b;
}

int reading_edits(const char *a, const char *b, bool swaps)
{
    size_t n = strlen(b);
    int *rows = xcalloc(3 * (n + 1), sizeof *rows);
    int *before = rows, *above = rows + n + 1, *row = rows + 2 * (n + 1);
    for (size_t j = 0; j <= n; j++)
        row[j] = (int)j;
    for (size_t i = 1; a[i - 1]; i++) {
        int *oldest = before;
        before = above;
        above = row;
        row = oldest;
        row[0] = (int)i;
        for (size_t j = 1; j <= n; j++) {
            row[j] = least(above[j - 1] + (a[i - 1] != b[j - 1]), 1 + least(above[j], row[j - 1]));
            if (swaps && i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                row[j] = least(row[j], before[j - 2] + 1);
        }
    }
    assert(row[n] >= 0);
    int edits = row[n];
    free(rows);
    return edits;
}
