/* Step 12: how cases are followed up. */
#include "store/schema.h"

const char SCHEMA_FOLLOW[] =
    /* by_rule, set_to: place in WORDS_SEVERITIES (base/words.h); set_to: a person's, NULL none */
    "CREATE TABLE case_follow(case_id INTEGER PRIMARY KEY REFERENCES complaint_case,"
    " by_rule INTEGER NOT NULL CHECK(by_rule BETWEEN 0 AND 3),"
    " set_to INTEGER CHECK(set_to BETWEEN 0 AND 3),"
    " may_harm INTEGER NOT NULL DEFAULT 0 CHECK(may_harm IN (0, 1)), owner TEXT, due_day INTEGER,"
    " since_ms INTEGER NOT NULL) STRICT;"
    "CREATE INDEX case_follow_due ON case_follow(due_day) WHERE due_day IS NOT NULL;"
    "CREATE INDEX case_follow_owner ON case_follow(owner) WHERE owner IS NOT NULL;"
    /* report: uuid of whom it is about, '' of nobody in particular */
    "CREATE TABLE follow_entry(id INTEGER PRIMARY KEY, case_id INTEGER NOT NULL REFERENCES"
    " complaint_case, at_ms INTEGER NOT NULL, what TEXT NOT NULL CHECK(what IN ('noted', 'owner',"
    " 'due', 'severity', 'call-back', 'answered')), report TEXT NOT NULL, was TEXT NOT NULL,"
    " now TEXT NOT NULL, text TEXT NOT NULL, by_name TEXT NOT NULL, by_user TEXT NOT NULL) STRICT;"
    "CREATE INDEX follow_entry_case ON follow_entry(case_id, at_ms);"
    "CREATE INDEX follow_entry_what ON follow_entry(what, at_ms);"
    "CREATE INDEX follow_entry_report ON follow_entry(report) WHERE report <> '';"
    "CREATE TABLE call_back(id INTEGER PRIMARY KEY, report TEXT NOT NULL, due_day INTEGER NOT NULL,"
    " asked_id INTEGER NOT NULL REFERENCES follow_entry, answered_id INTEGER REFERENCES"
    " follow_entry) STRICT;"
    "CREATE UNIQUE INDEX call_back_open ON call_back(report) WHERE answered_id IS NULL;"
    "CREATE INDEX call_back_due ON call_back(due_day) WHERE answered_id IS NULL;"
    "CREATE INDEX call_back_of ON call_back(report);";
