/* Step 10: harm that is reported of a case after it was settled is not settled with it. */
#include "store/schema.h"

const char SCHEMA_HARM_CASES[] =
    "ALTER TABLE complaint_case ADD COLUMN harm_unseen INTEGER NOT NULL DEFAULT 0"
    " CHECK(harm_unseen IN (0, 1));";

/* Holds on codes that no record bears, by the folded code: they become the lot's when it comes. */
const char SCHEMA_HARM_HOLDS[] =
    "CREATE TABLE code_hold(id INTEGER PRIMARY KEY, code TEXT NOT NULL, fold TEXT NOT NULL,"
    " what TEXT NOT NULL CHECK(what IN ('hold', 'release')), disposition TEXT, reason TEXT NOT"
    " NULL, by_name TEXT NOT NULL, at_ms INTEGER NOT NULL) STRICT;"
    "CREATE INDEX code_hold_of ON code_hold(fold, at_ms);";
