#include "store/file_hash.h"
#include <openssl/evp.h>
#include <stdio.h>

void file_hash(const void *bytes, size_t length, char ret[static FILE_HASH])
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned size = 0;
    EVP_Digest(bytes, length, digest, &size, EVP_sha256(), NULL);
    ret[0] = '\0';
    for (unsigned i = 0; i < size && 2 * i + 2 < FILE_HASH; i++)
        snprintf(ret + 2 * (size_t)i, 3, "%02x", digest[i]);
}
