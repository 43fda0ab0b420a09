/* How long a name may be, in bytes without its end: one number for what is taken, for what it is
 * kept in and for what it is compared with. */
#ifndef ODDLOAF_BASE_LENGTH_H
#define ODDLOAF_BASE_LENGTH_H

enum {
    LENGTH_CODE = 60,   /* a plant's own code: lot, line, shift, mix, material lot, route, store */
    LENGTH_TRADE = 80,  /* a route or store as a complaint names it */
    LENGTH_NAME = 200,  /* a name for people: of a product, a supplier, a caller */
    LENGTH_WORD = 47,   /* a quantity or a place of the rule files */
    LENGTH_PERSON = 63, /* who did it, as the desk and QA sign */
    LENGTH_REASON = 500,
    LENGTH_NOTE = 511
};
_Static_assert(LENGTH_TRADE >= LENGTH_CODE, "a complaint can name every route and store on record");

#endif
