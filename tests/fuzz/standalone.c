/* The main of a harness without libFuzzer: runs every file named, or every file of a folder named,
 * once. A folder that does not exist yet counts as empty. */
#include "fuzz.h"
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>

static int run_file(const char *path)
{
    FILE *file = fopen(path, "rbe");
    if (!file) {
        fprintf(stderr, "%s: %s\n", path, strerror(errno));
        return 1;
    }
    size_t capacity = 1u << 22;
    uint8_t *all = malloc(capacity);
    size_t size = all ? fread(all, 1, capacity, file) : 0;
    fclose(file);
    /* exactly as long as the input, so that a sanitizer sees a read beyond it */
    uint8_t *data = malloc(size ? size : 1);
    if (!all || !data)
        abort();
    memcpy(data, all, size);
    free(all);
    LLVMFuzzerTestOneInput(data, size);
    free(data);
    return 0;
}

static int run_folder(DIR *folder, const char *path)
{
    int failed = 0;
    int count = 0;
    for (struct dirent *entry; (entry = readdir(folder));) {
        char file[4096];
        if (entry->d_name[0] == '.')
            continue;
        snprintf(file, sizeof file, "%s/%s", path, entry->d_name);
        failed |= run_file(file);
        count++;
    }
    printf("%s: %d inputs\n", path, count);
    return failed;
}

int main(int argc, char **argv)
{
    int failed = 0;
    for (int i = 1; i < argc; i++) {
        DIR *folder = opendir(argv[i]);
        if (folder) {
            failed |= run_folder(folder, argv[i]);
            closedir(folder);
        } else if (errno == ENOTDIR) {
            failed |= run_file(argv[i]);
        } else if (errno != ENOENT) {
            fprintf(stderr, "%s: %s\n", argv[i], strerror(errno));
            failed = 1;
        }
    }
    return failed;
}
