#include "show/week_csv.h"
#include "base/csv_cell.h"
#include "base/plant_level.h"
#include <string.h>

static void add_numbers(struct text_buffer *b, const json_t *row, const char *const *names)
{
    for (; *names; names++) {
        const json_t *value = json_object_get(row, *names);
        text_append(b, ",");
        if (json_is_number(value))
            text_appendf(b, "%.10g", json_number_value(value));
    }
}

static const char *name_of(const json_t *report)
{
    const char *week = json_string_value(json_object_get(report, "week"));
    return week ? week : json_string_value(json_object_get(report, "span"));
}

static void add_rates(struct text_buffer *b, const json_t *report)
{
    static const char *const RECEIVED[] = {"complaints", "units", "per_million",
                                           "low",        "high",  NULL};
    static const char *const WANTED[] = {"target", NULL};
    static const char *const MADE[] = {"complaints", "share_in", "per_million",
                                       "low",        "high",     NULL};
    const char *factor;
    json_t *rows, *row;
    size_t i;
    text_append(
        b,
        "week,factor,level,symptom,complaints,units,per_million,low,high,"
        "made_complaints,made_share_in,made_per_million,made_low,made_high,target,target_met\r\n");
    json_object_foreach(json_object_get(report, "by"), factor, rows)
    {
        json_array_foreach(rows, i, row)
        {
            text_appendf(b, "%s,%s,", name_of(report), factor);
            char level[PLANT_LEVEL];
            csv_cell_append(b, plant_level_of(row, "level", level));
            text_appendf(b, ",%s", json_string_value(json_object_get(row, "symptom")));
            add_numbers(b, row, RECEIVED);
            add_numbers(b, json_object_get(row, "made"), MADE);
            add_numbers(b, row, WANTED);
            const char *met = json_string_value(json_object_get(row, "target_met"));
            text_appendf(b, ",%s", met ? met : "");
            text_append(b, "\r\n");
        }
    }
}

/* ---- lists of alike objects ---- */

static const struct list {
    const char *member;  /* of the report */
    const char *keyed;   /* NULL: an array; else an object, whose keys are a column so titled … */
    const char *within;  /* … and whose members have their arrays here; NULL: are arrays */
    const char *columns; /* members, by commas */
} LISTS[] = {
    {0}, /* rates */
    {"signals", NULL, NULL,
     "factor,level,title,symptom,since,observed,expected,ratio,low,high,p,q,still,course"},
    {"stories", NULL, NULL,
     "symptom,led_by.factor,led_by.level,since,observed,expected,still,course,newest,newest_usual,"
     "lots.complained_of,lots.at_risk,lots.in_code,lots.units_in_code,lots.on_hold,action"},
    {"causes", NULL, NULL, "cause,title,symptom,expected,share,cumulative,vital"},
    {"to_come", NULL, NULL,
     "made_week,symptom,reported,expected_final,low,high,share,too_early,units"},
    {"charts", "symptom", "weeks",
     "week,complaints,on_sale,expected,per_million,low,high,signal,sum"},
    {"actions", NULL, NULL, "action,at,note,verdict,text"},
    {"holds", NULL, NULL, "hold,lot,units,in_code,code_date,reason,by,at,case"},
    {"overdue", NULL, NULL, "case,symptom,severity,harm,owner,due,days,complaints,lot,line"},
    {"stages", NULL, NULL, "stage,what,n,median_days,most_days,waiting"},
    {"harm", NULL, NULL, "complaint,case,received_at,symptom,harm,possible,lot_text"},
    {"returns.by", "factor", NULL, "level,returns,units,dispatched,share,low,high,per_million"},
    {"complaint_rows", NULL, NULL,
     "complaint,received_at,symptom,channel,case,lot,line,product,lot_text,lot_state,code_date,"
     "store,route,bought_on,found_on,packs,harm"},
    {"case_rows", NULL, NULL,
     "case,symptom,state,lot,line,product,complaints,packs,harm,harm_possible,opened_at,as_of,"
     "cause,"
     "probability"}};

const char *const WEEK_CSV_TABLES[] = {"rates", "signals", "stories",    "causes",  "to-come",
                                       "weeks", "actions", "holds",      "overdue", "stages",
                                       "harm",  "returns", "complaints", "cases",   NULL};

bool week_csv_of_span(int table)
{
    static const char *const NAMES[] = {"rates",      "causes", "harm", "returns",
                                        "complaints", "cases",  NULL};
    const char *const *name = NAMES;
    while (*name && strcmp(*name, WEEK_CSV_TABLES[table]) != 0)
        name++;
    return *name != NULL;
}

/* The member of that name, "led_by.level" of a member's member. */
static const json_t *member_of(const json_t *object, const char *name, size_t length)
{
    const char *dot = memchr(name, '.', length);
    size_t first = dot ? (size_t)(dot - name) : length;
    const json_t *value = json_object_getn(object, name, first);
    return dot ? member_of(value, dot + 1, length - first - 1) : value;
}

/* "illness; injury" in one cell. */
static void add_words(struct text_buffer *b, const json_t *list)
{
    size_t i;
    const json_t *word;
    struct text_buffer words = {0};
    json_array_foreach(list, i, word)
        text_appendf(&words, "%s%s", i ? "; " : "", json_string_value(word));
    csv_cell_append(b, words.data ? words.data : "");
    text_buffer_free(&words);
}

static void add_value(struct text_buffer *b, const json_t *value)
{
    if (json_is_array(value))
        add_words(b, value);
    if (json_is_string(value))
        csv_cell_append(b, json_string_value(value));
    else if (json_is_boolean(value))
        text_append(b, json_is_true(value) ? "yes" : "no");
    else if (json_is_number(value))
        text_appendf(b, "%.10g", json_number_value(value));
}

static void add_rows(struct text_buffer *b, const struct list *list, const char *key,
                     const json_t *rows)
{
    size_t i;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        if (key)
            csv_cell_append(b, key);
        for (const char *at = list->columns; *at;) {
            size_t length = strcspn(at, ",");
            text_append(b, key || at != list->columns ? "," : "");
            add_value(b, member_of(row, at, length));
            at += length + (at[length] == ',');
        }
        text_append(b, "\r\n");
    }
}

char *week_csv(const json_t *report, int table)
{
    struct text_buffer b = {0};
    const struct list *list = &LISTS[table];
    if (!list->member) {
        add_rates(&b, report);
        return text_take(&b);
    }
    const json_t *rows = member_of(report, list->member, strlen(list->member));
    if (list->keyed)
        text_appendf(&b, "%s,", list->keyed);
    text_appendf(&b, "%s\r\n", list->columns);
    if (list->keyed) {
        const char *key;
        json_t *value;
        json_object_foreach((json_t *)rows, key, value)
            add_rows(&b, list, key, list->within ? json_object_get(value, list->within) : value);
    } else {
        add_rows(&b, list, NULL, rows);
    }
    return text_take(&b);
}
