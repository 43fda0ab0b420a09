/* Finding reports: by what they say, by who called, by what they are about. Reads only. */
#ifndef ODDLOAF_STORE_ENTRY_FIND_H
#define ODDLOAF_STORE_ENTRY_FIND_H

#include "store/complaint.h"

/* The reports that a word may mean: an id, a ticket number of another system, or else how ids begin
 * (four characters or more). Their ids, at most `most`, the newest first. 0 found is no error. */
int entry_find_named(struct store *store, const char *word, char (*uuids)[UUID_TEXT], int most,
                     int *ret_count, struct error *err);

/* How a report's id begins that no other's does as things stand: thirteen characters or, of rows
 * that came at one moment, as many more as it takes. */
int entry_find_beginning(struct store *store, const char *report, char ret[static UUID_TEXT],
                         struct error *err);

/* NULL any. All that is given must fit. Words end at blanks, case and accents make no difference;
 * one that ends in "*" is how a word begins. */
struct entry_filter {
    const char *words;    /* each of note, reference, store or code as read has it */
    bool held;            /* words held back from them count: for the desk alone */
    const char *store;    /* words of the store */
    const char *lot;      /* words of the code as read, or the lot it was placed in */
    const char *ticket;   /* how the number of another system begins */
    const char *phone;    /* any writing of the number, five digits or more */
    const char *name;     /* how words of the caller's name begin, three at most */
    const char *products; /* ",3,7,": of these, by the lot it is in or as the caller said; NULL any
                           */
    const char *family;   /* or of that family; NULL none */
    int64_t since_ms;     /* of receipt; WHEN_UNKNOWN_MS any */
    int64_t after;        /* entry of the page before, 0 first page */
    int limit;
};
/* Text lives until the callback returns. */
struct entry_found {
    int64_t entry, complaint_id, case_id, received_ms;
    bool withdrawn;        /* the complaint is */
    const char *report;    /* uuid */
    const char *complaint; /* uuid: the report itself, or the complaint it is joined to */
    const char *body;      /* what the report says, without contact data */
};
typedef int (*entry_each_found)(void *arg, const struct entry_found *row);
/* The last logged first. ERROR_INVALID (with the field) where what is looked for has no letter and
 * no digit. */
int entry_find(struct store *store, const struct entry_filter *filter, entry_each_found each,
               void *arg, struct error *err);

#endif
