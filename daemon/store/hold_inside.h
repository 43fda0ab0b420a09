/* Inside store/ only: whose a hold is, in SQL, of `hold h`. A lot's is its plant's. That of a code
 * that no lot bears is the plant's whose people hold it, kept beside the numbers of holds, or its
 * case's: "" of the company's people, of no case. */
#ifndef ODDLOAF_STORE_HOLD_INSIDE_H
#define ODDLOAF_STORE_HOLD_INSIDE_H

#define HOLD_PLANT_KEY(id) "'hold/plant/' || " id
#define HOLD_OWNERS                                                                                \
    " LEFT JOIN lot l ON l.id = h.lot_id LEFT JOIN complaint_case c ON c.id = h.case_id LEFT JOIN" \
    " setting o ON h.lot_id IS NULL AND o.key = " HOLD_PLANT_KEY("h.id")
#define HOLD_PLANT "coalesce(l.plant, o.value, c.plant, '')"

#endif
