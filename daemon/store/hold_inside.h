/* Inside store/ only: whose a hold is, in SQL, of `hold` under that name. A lot's is its plant's.
 * That of a code that no lot bears is the plant's whose people hold it, or its case's: "" of the
 * company's people, of no case. */
#ifndef ODDLOAF_STORE_HOLD_INSIDE_H
#define ODDLOAF_STORE_HOLD_INSIDE_H

#define HOLD_OWNERS(hold)                                                                          \
    " LEFT JOIN lot l ON l.id = " hold ".lot_id LEFT JOIN complaint_case c ON c.id = " hold        \
    ".case_id"
#define HOLD_PLANT(hold) "coalesce(l.plant, nullif(" hold ".plant, ''), c.plant, '')"

#endif
