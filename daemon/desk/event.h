/* Events that leave the house: what an outbox row's payload holds. The payload is complete: the
 * message is made from it alone, so a retry months later says the same; only the sheet that a
 * case's mail may carry shows the case as it stands when the mail leaves (notify/mailer.h). No
 * contact data. */
#ifndef ODDLOAF_DESK_EVENT_H
#define ODDLOAF_DESK_EVENT_H

#include "store/ranking.h"
#include <jansson.h>

/* {"event":"urgent","plant","needs":[…],"complaint", the fields that an alarm tells (FIELD_ALARM of
 * intake/fields.h)} and all of `lot`; the caller adds "case" once known, "said" and
 * "made" as desk/told.h has them. `needs` is what the plant says this needs, `body` a complaint
 * without contact data in its texts, `lot` how it stands to the lots (desk/placing.h), "doubts"
 * and, if it is told again, "why" with it; may be NULL. New reference. */
json_t *event_urgent(const char *plant, const json_t *needs, const json_t *body, const json_t *lot);
/* The same of a complaint that was refused, so that no case holds it: "refused" says why and
 * "source" and "line" where it is; the caller adds "said". `complaint` is unchecked: only short
 * texts and numbers are taken over. `harm` (borrowed; may be NULL): the checked words. New
 * reference. */
json_t *event_urgent_refused(const char *plant, const json_t *needs, const json_t *complaint,
                             const json_t *harm, const struct error *why);
/* Either of a complaint that may speak of harm, so that a person must read it: "possible" is true,
 * "harm" empty. */
void event_urgent_possible(json_t *event);
/* Words of gravity in what was said (intake/harm.h) as "grave", if any: such a report is gathered
 * with no other that did not tell them. */
void event_urgent_grave(json_t *event, const json_t *harm, const char *text);
/* {"event":"case","plant","revision","why":"…","ranking":{…}}; the caller adds "said", a list,
 * "made" and "follow": {"severity","owner","due"}, null before it is weighed. New reference. */
json_t *event_case(const char *plant, int revision, const char *why, const json_t *ranking);
/* {"event":"despite","plant","did","why","case","harm","possible","unfit"?,"said":[…],"needs"} is
 * made by desk/despite_harm.h ("unfit": what moldy or ropy bread is by, and how likely); it is sent
 * as urgently as harm. */
/* {"event":"gathered","plant","case","reports":[urgent events],"needs"} is made by desk/outgoing.h;
 * with "alone" and no case, of what no case tells. */
/* {"event":"emptied","plant","case","complaint","symptom","back","why"} is made by desk/alarm.h. */
/* {"event":"summary","of","plant","count","rules","cases":[{"case","symptom","lot","why","cause",
 * "title","probability","complaints","severity"},…]}: of "rules", cases that other rules rank
 * otherwise than QA was told, the first of them; of "file", those that a file of complaints
 * brought, the most urgent ones. The caller adds "of". Steals `cases`. New reference. */
json_t *event_summary(const char *plant, int count, const char *rules, json_t *cases);
/* {"event":"records","plant","file","outcome":"done"|"refused","why"?,"report","loads":[{"kind",
 * "says"}],"refused":[text of the first refused rows]} is made by serve/inbox.c. */
/* {"event":"digest","plant","week":{…}}. New reference. */
json_t *event_digest(const char *plant, const json_t *week);

/* {"event":"due","plant","day","overdue":[…],"overdue_count","call_backs":[…],"call_back_count"}:
 * as desk/following.h and desk/call_backs.h have them, the first of each, without what people
 * wrote. Steals both lists. New reference. */
struct event_due_lists {
    json_t *overdue, *call_backs, *unreachable; /* the last: harm, by who left no number */
    int64_t overdue_count, call_back_count, unreachable_count;
};
json_t *event_due(const char *plant, const char *day, const struct event_due_lists *lists);

/* A Message-ID, made once when the event is queued: <uuid@domain>, of a digest
 * <digest-2026-W47@domain>, of what is due <due-2026-11-20@domain>, of harm that only a complaint's
 * repeat speaks of <again-uuid-MARKS@domain>, its kinds and words of gravity by their letters
 * (desk/repeat_harm.h); without a domain, what such ids of the complaint begin with. */
void event_message_id(const char *domain, int64_t now_ms, char *out, size_t size);
void event_again_id(const char *domain, const char *complaint, const char *marks, char *out,
                    size_t size);
/* Of one plant of a company, `plant` (NULL: of all), it has a mark of that plant's name behind it.
 */
void event_digest_id(const char *domain, const char *week, const char *plant, char *out,
                     size_t size);
void event_due_id(const char *domain, const char *day, const char *plant, char *out, size_t size);

/* One mail a case, then only when something changed that QA would act on: which lot it is, or
 * whether that is known; the top cause; its probability crossed a band (50, 70, 90 %) by a step of
 * five points or more; complaints doubled or half of them went; another case was found to be this
 * one. `was` is the ranking last mailed (NULL: none). NULL: no mail; else why, for people. */
const char *event_case_reason(const struct ranking *was, const struct ranking *now);

#endif
