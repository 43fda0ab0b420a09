/* Step 13: what a week and the evidence of a day ask of a complaint stands in the index by which it
 * is found: no row is read for it. */
#include "store/schema.h"

const char SCHEMA_COVER[] =
    "DROP INDEX complaint_received;"
    "CREATE INDEX complaint_received ON complaint(received_ms, withdrawn_ms, logged_ms, symptom);"
    "DROP INDEX complaint_lot_id;"
    "CREATE INDEX complaint_lot_id ON complaint(lot_id, symptom, received_ms, withdrawn_ms, store,"
    " route);";
