/* From a note to chosen answers. A field that the note answers in two ways stays open. */
#include "intake/lexicon.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "base/when.h"
#include "intake/harm_note.h"
#include "intake/lexicon_inside.h"
#include <assert.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* ---- answers ---- */

/* Days from the one told to the one on which it was found or, if that is not said, received. "By
 * Monday he couldn't chew it": it may have been found on a day that is told of nothing known. */
static json_t *days_since(const struct reading *reading, const struct field *field, int32_t day)
{
    bool unsure = reading->loose != WHEN_UNKNOWN_DAY && reading->loose > day;
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *other = &reading->matches[i];
        unsure |=
            other->has_day && other->day > day && other->day < reading->today &&
            other->phrase->says == LEXICON_DAY &&
            strcmp(reading->language->fields[other->phrase->field].field->name, "found_on") == 0;
    }
    if (unsure && reading->found == WHEN_UNKNOWN_DAY)
        return NULL;
    int32_t until = reading->found != WHEN_UNKNOWN_DAY ? reading->found : reading->today;
    long days = (long)until - day;
    return days >= field->low && days <= field->high ? json_integer(days) : NULL;
}

static json_t *answer_of_day(const struct reading *reading, const struct field *field,
                             const struct lexicon_match *match)
{
    char text[16];
    if (!match->has_day)
        return NULL;
    return field->type == FIELD_PAST ? json_string(day_format(match->day, text))
                                     : days_since(reading, field, match->day);
}

/* "It might be mold or it might be flour" */
static bool may_be_none(const struct reading *reading, int field)
{
    for (int i = 0; i < reading->match_count; i++)
        if (reading->matches[i].phrase->field == field && reading->matches[i].hedged &&
            reading->matches[i].phrase->says == LEXICON_OPEN)
            return true;
    return false;
}

/* A symptom that may be is asked about like one that is, and about a number says about. */
static bool is_told(const struct reading *reading, const struct field *field,
                    const struct lexicon_match *match)
{
    bool counts = field->type == FIELD_WHOLE && match->phrase->says == LEXICON_ANSWER;
    bool about = counts || (strcmp(field->name, "symptom") == 0 &&
                            !may_be_none(reading, match->phrase->field));
    return !match->aside && (!match->hedged || about);
}

/* What the match says about its field; NULL if nothing. New reference. */
static json_t *answer_of(const struct reading *reading, const struct field *field,
                         const struct lexicon_match *match)
{
    if (!is_told(reading, field, match))
        return NULL;
    if (match->phrase->says == LEXICON_DAY)
        return answer_of_day(reading, field, match);
    if (match->phrase->says != LEXICON_ANSWER)
        return NULL;
    if (field->type == FIELD_BOOL) /* not dry does not make it wet; not wet is dry */
        return match->negated && !match->phrase->yes
                   ? NULL
                   : json_boolean(match->phrase->yes && !match->negated);
    if (match->negated)
        return NULL;
    if (field->type != FIELD_WHOLE)
        return json_string(match->phrase->word);
    long value = match->phrase->times ? match->phrase->times * match->number : match->phrase->plus;
    return value >= field->low && value <= field->high ? json_integer(value) : NULL;
}

static json_t *spoken(const struct reading *reading, const struct lexicon_match *match)
{
    size_t from = reading->words[match->from].from, to = reading->words[match->to - 1].to;
    return json_stringn(reading->note + from, to - from);
}

void lexicon_tell(json_t *taken, const char *field, json_t *value, json_t *from)
{
    json_array_append_new(
        taken, json_pack("{s:s, s:o, s:o}", "field", field, "value", value, "from", from));
}

static void take(const struct reading *reading, const struct lexicon_match *match, const char *name,
                 json_t *answer, json_t *taken)
{
    char dotted[64];
    snprintf(dotted, sizeof dotted, "%s", name);
    for (char *p = dotted; *p; p++)
        if (*p == '/')
            *p = '.';
    lexicon_tell(taken, dotted, json_incref(answer), spoken(reading, match));
}

#define SHORT 7      /* words of a note that needs not say all: "lo vio el lunes en la tarde" */
#define BARE 3       /* words of a sentence that needs not say of what: "all green" */
#define SAID_REACH 5 /* words from who says it to what is said */

/* One that the note says of a field, and where. */
struct said_answer {
    const struct lexicon_match *match;
    json_t *value;
};
struct said_answers {
    struct said_answer *items;
    int count;
};

static int by_place(const void *left, const void *right)
{
    const struct said_answer *a = left, *b = right;
    return a->match->from - b->match->from;
}

static void drop(struct said_answers *said, int at)
{
    json_decref(said->items[at].value);
    said->count--;
    memmove(&said->items[at], &said->items[at + 1],
            (size_t)(said->count - at) * sizeof *said->items);
}

/* "Sorry, 3", "no son 2 paquetes, son 4": is it this field that was counted last? */
static bool counts_on(const struct reading *reading, const struct lexicon_match *match, int index)
{
    const struct lexicon_match *last = NULL;
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *other = &reading->matches[i];
        int field = other->phrase->field;
        if (field >= 0 && other->phrase->says == LEXICON_ANSWER && !other->phrase->again &&
            reading->language->fields[field].field->type == FIELD_WHOLE &&
            other->to <= match->from && (!last || other->to > last->to))
            last = other;
    }
    return last && last->phrase->field == index;
}

static bool in_sentence(const struct reading *reading, int from, int to)
{
    for (int i = from + 1; i <= to; i++)
        if (reading->words[i].before == PAUSE_SENTENCE)
            return false;
    return true;
}

/* "The green specks were parsley": what looked like mold is told to be something else behind. */
static bool is_explained(const struct reading *reading, int index,
                         const struct lexicon_match *match)
{
    const struct lexicon_field *own = &reading->language->fields[index];
    unsigned all = reading->language->fields[index].symptoms;
    bool symptom = strcmp(own->field->name, "symptom") == 0;
    if (!symptom && (all == UINT_MAX || !(all & lexicon_symptom("mold"))))
        return false;
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *by = &reading->matches[i];
        int field = by->phrase->field;
        if (by->phrase->says == LEXICON_OPEN && field >= 0 && by->from >= match->to &&
            strcmp(reading->language->fields[field].field->name, "symptom") == 0 && !by->supposed &&
            !by->negated && !by->hedged && !by->aside &&
            in_sentence(reading, match->to - 1, by->from))
            return true;
    }
    return false;
}

static struct said_answers collect(const struct reading *reading, int index)
{
    const struct field *field = reading->language->fields[index].field;
    struct said_answers said = {.items =
                                    xcalloc((size_t)reading->match_count + 1, sizeof *said.items)};
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        json_t *value = match->phrase->field == index ? answer_of(reading, field, match) : NULL;
        if (value && ((match->phrase->again && !counts_on(reading, match, index)) ||
                      is_explained(reading, index, match))) {
            json_decref(value);
            value = NULL;
        }
        if (value)
            said.items[said.count++] = (struct said_answer){match, value};
    }
    if (said.count)
        qsort(said.items, (size_t)said.count, sizeof *said.items, by_place);
    return said;
}

/* "black, no, actually dark green": what was said before does not hold. */
static void correct(const struct reading *reading, struct said_answers *said)
{
    for (int i = said->count - 1; i > 0; i--) {
        bool corrected = said->items[i].match->phrase->again;
        for (int at = said->items[i - 1].match->to; at < said->items[i].match->from; at++)
            corrected |= lexicon_is(&reading->words[at], LEXICON_CORRECTS);
        for (; corrected && i > 0; i--)
            drop(said, 0);
    }
}

/* One of several answers is told as seen: "white", of the symptom "it was flour". */
static bool is_open(const struct reading *reading, int index)
{
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        if (match->phrase->field == index && match->phrase->says == LEXICON_OPEN &&
            !match->supposed && !match->negated && !match->aside)
            return true;
    }
    return false;
}

/* "I thought it was black, but in the light it's green": the later holds. What was thought and not
 * taken back holds. */
static void set_aside(const struct reading *reading, int index, struct said_answers *said)
{
    bool sure = is_open(reading, index);
    for (int i = 0; i < said->count; i++)
        sure = sure || !said->items[i].match->supposed;
    for (int i = said->count - 1; sure && i >= 0; i--)
        if (said->items[i].match->supposed)
            drop(said, i);
}

/* "I told them it was pink. It's not pink, it's black." */
static void take_back(const struct reading *reading, int index, struct said_answers *said)
{
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        if (match->phrase->field != index || !match->negated || !match->phrase->word)
            continue;
        for (int k = said->count - 1; k >= 0 && said->count > 1; k--)
            if (said->items[k].match->from < match->from &&
                strcmp(said->items[k].match->phrase->word, match->phrase->word) == 0)
                drop(said, k);
    }
}

static int who_says(const struct reading *reading, int from, int to)
{
    int count = 0;
    for (int at = from > 0 ? from : 0; at < to; at++)
        count += lexicon_is(&reading->words[at], LEXICON_CONTESTS);
    return count;
}

/* "He says white, I say green": two people, two answers. */
static bool is_contested(const struct reading *reading, int index, const struct said_answers *said)
{
    bool open = false;
    if (who_says(reading, 0, reading->count) < 2)
        return false;
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        open = open || (match->phrase->field == index && match->phrase->says == LEXICON_OPEN &&
                        !match->aside && who_says(reading, match->from - 4, match->from));
    }
    bool list = reading->language->fields[index].field->type == FIELD_WORDS, differ = false;
    int sayers = 0;
    for (int i = 0; i < said->count; i++) {
        const struct lexicon_match *match = said->items[i].match;
        sayers += who_says(reading, match->from - SAID_REACH, match->from) > 0;
        differ = differ || !json_equal(said->items[0].value, said->items[i].value);
    }
    return open || (differ && (!list || sayers > 1));
}

/* "bought 3 loaves, 2 are moldy" */
static bool least(const struct field *field, const json_t *a, const json_t *b, bool *ret_first)
{
    *ret_first = json_integer_value(a) <= json_integer_value(b);
    return field->type == FIELD_WHOLE && field->agree;
}

/* Of words that go together one is left: "dry and crumbly" is crumbly. */
static void agree(const struct field *field, struct said_answers *said)
{
    for (int i = said->count - 1; i > 0; i--) {
        json_t *before = said->items[i - 1].value, *value = said->items[i].value;
        if (json_equal(before, value)) {
            drop(said, i);
            continue;
        }
        const char *fuller =
            field->type != FIELD_WORD
                ? NULL
                : fields_fuller(field, json_string_value(before), json_string_value(value));
        bool first = false;
        if (!least(field, before, value, &first) && !fuller)
            return;
        if (fuller)
            first = strcmp(fuller, json_string_value(before)) == 0;
        drop(said, first ? i : i - 1);
    }
}

/* Does what the match says stand in a clause that tells of trouble? */
static bool tells_trouble(const struct reading *reading, const struct lexicon_match *match)
{
    int first = match->from, last = match->to;
    while (first > 0 && reading->words[first].before == PAUSE_NONE)
        first--;
    while (last < reading->count && reading->words[last].before == PAUSE_NONE)
        last++;
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *other = &reading->matches[i];
        int field = other->phrase->field;
        const char *name = field < 0 ? "" : reading->language->fields[field].field->name;
        if ((strncmp(name, "observed/", 9) == 0 || strcmp(name, "symptom") == 0) &&
            other->phrase->says == LEXICON_ANSWER && !other->negated && !other->aside &&
            other->from >= first && other->to <= last)
            return true;
    }
    return false;
}

/* "Ordering 40 loaves", "saw a mouse on Saturday": packs and days of no trouble. "Bought two, one
 * was fine": not all are meant. */
static bool counts_trouble(const struct reading *reading, int index, const struct said_answer *said)
{
    const struct lexicon_match *match = said->match;
    const struct field *field = reading->language->fields[index].field;
    bool found = strcmp(field->name, "found_on") == 0 && reading->count > SHORT;
    if (!found && (field->type != FIELD_WHOLE || !field->agree || tells_trouble(reading, match)))
        return true;
    bool observed = false;
    for (int i = 0; i < reading->match_count && !observed; i++) {
        int other = reading->matches[i].phrase->field;
        observed = other >= 0 && reading->matches[i].phrase->says == LEXICON_ANSWER &&
                   strncmp(reading->language->fields[other].field->name, "observed/", 9) == 0;
    }
    return (observed || (reading->symptom & ~(1U << 31))) &&
           (found || json_integer_value(said->value) == 1 || !is_open(reading, index));
}

static json_t *answer_words(const struct reading *reading, const struct field *field,
                            const struct said_answers *said, const json_t *before, json_t *taken)
{
    json_t *answers = json_array();
    for (int i = 0; i < said->count; i++) {
        json_t *value = said->items[i].value;
        if (jsonx_holds(answers, value) || jsonx_holds(before, value))
            continue;
        json_array_append(answers, value);
        take(reading, said->items[i].match, field->name, value, taken);
    }
    if (json_array_size(answers))
        return answers;
    json_decref(answers);
    return NULL;
}

static json_t *answer_code(const struct reading *reading, int index, json_t *taken)
{
    const struct field *field = reading->language->fields[index].field;
    json_t *code = lexicon_code(reading, index);
    if (code)
        lexicon_tell(taken, field->name, json_incref(code), json_incref(code));
    return code;
}

/* Is there behind `from`, in its sentence, what may have been found? */
static bool finds_behind(const struct reading *reading, const char *name, int from)
{
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        bool behind =
            match->phrase->says == LEXICON_DAY && match->from >= from &&
            strcmp(reading->language->fields[match->phrase->field].field->name, name) == 0;
        for (int at = from; behind && at <= match->from; at++)
            behind = reading->words[at].before != PAUSE_SENTENCE;
        if (behind)
            return true;
    }
    return false;
}

/* "It stank right then": on the day from which this field's days are counted. */
static bool is_at_once(const struct reading *reading, int index)
{
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        if (match->phrase->field == index && match->phrase->says == LEXICON_ANSWER &&
            !match->phrase->times && !match->phrase->plus && !match->negated &&
            is_told(reading, reading->language->fields[index].field, match))
            return true;
    }
    return false;
}

/* What was opened today was found today: "opened it this morning and there it was"; so was what was
 * found as it was opened: "opened Monday, smelled upon opening". */
static json_t *found_when_opened(const struct reading *reading, const struct field *field,
                                 json_t *taken)
{
    for (int i = 0; strcmp(field->name, "found_on") == 0 && i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        int index = match->phrase->field;
        char day[16];
        if (match->phrase->says != LEXICON_DAY || !match->has_day ||
            reading->language->fields[index].field->type != FIELD_WHOLE ||
            !((match->day == reading->today && finds_behind(reading, field->name, match->to)) ||
              is_at_once(reading, index)))
            continue;
        json_t *ret = json_string(day_format(match->day, day));
        take(reading, match, field->name, ret, taken);
        return ret;
    }
    return NULL;
}

/* The field's answer (new reference), NULL if the note gives none or two. */
static json_t *answer_field(struct reading *reading, int index, const json_t *before, json_t *taken)
{
    const struct field *field = reading->language->fields[index].field;
    uint64_t bit = UINT64_C(1) << (field - fields_all());
    if (reading->open & bit)
        return NULL;
    if (field->type == FIELD_TEXT)
        return answer_code(reading, index, taken);
    json_t *ret = NULL;
    struct said_answers said = collect(reading, index);
    correct(reading, &said);
    set_aside(reading, index, &said);
    if (field->type == FIELD_WORD)
        take_back(reading, index, &said);
    bool contested = is_contested(reading, index, &said);
    if (field->type == FIELD_WORDS && !(contested && said.count > 1)) {
        ret = answer_words(reading, field, &said, before, taken);
    } else if (field->type != FIELD_WORDS && !contested) {
        agree(field, &said);
        if (said.count == 1 && counts_trouble(reading, index, said.items)) {
            ret = json_incref(said.items[0].value);
            take(reading, said.items[0].match, field->name, ret, taken);
        } else if (said.count == 0) {
            ret = found_when_opened(reading, field, taken);
        }
    }
    reading->open |= said.count > 1 && !ret ? bit : 0;
    while (said.count)
        drop(&said, said.count - 1);
    free(said.items);
    return ret;
}

/* The object that holds the field (NULL if there is none), and the field's name in it. */
static json_t *home_of(json_t *complaint, const char *name, const char **ret_leaf)
{
    char group[64];
    const char *slash = strchr(name, '/');
    *ret_leaf = slash ? slash + 1 : name;
    snprintf(group, sizeof group, "%.*s", slash ? (int)(slash - name) : 0, name);
    return slash ? json_object_get(complaint, group) : complaint;
}

static json_t *home_make(json_t *complaint, const char *name)
{
    const char *leaf;
    json_t *home = home_of(complaint, name, &leaf);
    char group[64];
    if (home)
        return home;
    snprintf(group, sizeof group, "%.*s", (int)(leaf - 1 - name), name);
    home = json_object();
    json_object_set_new(complaint, group, home);
    return home;
}

static bool answered(const json_t *complaint, const char *name)
{
    const char *leaf;
    json_t *home = home_of((json_t *)complaint, name, &leaf);
    const json_t *value = json_object_get(home, leaf);
    if (home && !json_is_object(home)) /* not ours to repair */
        return true;
    return value && !json_is_null(value) && !(json_is_array(value) && !json_array_size(value));
}

/* "harm_read": a person has read it, and what is said of harm is what "harm" says:
 * desk/taken_back.h */
bool lexicon_is_read(const json_t *complaint)
{
    return json_is_true(json_object_get(complaint, "harm_read")) &&
           json_is_array(json_object_get(complaint, "harm"));
}

/* Whatever the complaint itself says of harm, as long as it is a list, or nothing at all. */
static bool hears_harm(const json_t *complaint)
{
    const json_t *harm = json_object_get(complaint, "harm");
    return !lexicon_is_read(complaint) && (!harm || json_is_null(harm) || json_is_array(harm));
}

/* It is said, and no longer only possible. */
static void forget_possible(json_t *filled, json_t *taken)
{
    json_object_del(filled, "harm_possible");
    for (size_t i = json_array_size(taken); i-- > 0;) {
        const json_t *field = json_object_get(json_array_get(taken, i), "field");
        if (strcmp(json_string_value(field), "harm_possible") == 0)
            json_array_remove(taken, i);
    }
}

static void look_found(struct reading *reading, const json_t *filled)
{
    const char *found = json_string_value(json_object_get(filled, "found_on"));
    if (!found || day_parse(found, &reading->found, NULL))
        reading->found = WHEN_UNKNOWN_DAY;
}

/* The symptom alone, or all else: what else is read depends on it. */
static void fill_from(struct reading *reading, const json_t *complaint, bool symptom,
                      json_t *filled, json_t *taken)
{
    lexicon_match(reading);
    lexicon_date(reading);
    if (symptom)
        lexicon_code_others(reading);
    for (int i = 0; i < reading->language->field_count; i++) {
        const struct field *field = reading->language->fields[i].field;
        if (symptom != (strcmp(field->name, "symptom") == 0))
            continue;
        look_found(reading, filled);
        /* several languages may add to a list, none to what the complaint itself answers */
        bool harm = strcmp(field->name, "harm") == 0;
        if ((harm ? !hears_harm(complaint) : answered(complaint, field->name)) ||
            (field->type != FIELD_WORDS && answered(filled, field->name)))
            continue;
        const char *leaf;
        const json_t *home = home_of(filled, field->name, &leaf);
        json_t *before = json_object_get(home, leaf);
        json_t *answer = answer_field(reading, i, before, taken);
        if (!answer)
            continue;
        if (json_is_array(before))
            json_array_extend(before, answer);
        else
            json_object_set(home_make(filled, field->name), leaf, answer);
        if (harm)
            forget_possible(filled, taken);
        json_decref(answer);
    }
}

/* Is the harm heard news to the complaint? If so it is added. */
static bool add_harm(json_t *filled, const char *field, json_t *value)
{
    json_t *said = json_object_get(filled, "harm");
    if (strcmp(field, "harm") != 0)
        return !json_array_size(said) && json_object_set(filled, field, value) == 0;
    if (jsonx_holds(said, value) || (said && !json_is_null(said) && !json_is_array(said)))
        return false;
    if (!json_is_array(said))
        json_object_set_new(filled, field, json_array());
    json_array_append(json_object_get(filled, field), value);
    return true;
}

static json_t *quote(const char *note, const struct harm_heard *heard)
{
    char said[80];
    size_t length = heard->to - heard->from;
    if (heard->kind != HARM_NOTE_UNREAD)
        return json_stringn(note + heard->from, length);
    char *part = xstrndup(note + heard->from, length);
    text_clip(part, said, sizeof said);
    free(part);
    return json_sprintf("in a language that is not read here: %s", said);
}

/* Does that part of the note by itself tell what was seen or smelled? Short forms and slips ("smels
 * musy") are few words of a language and are read all the same. */
static bool tells_of_bread(const struct lexicon *lexicon, const char *note,
                           const struct harm_heard *part, int32_t today)
{
    size_t i;
    const json_t *row;
    json_t *taken, *alone = json_pack("{s:s%, s:[], s:b}", "note", note + part->from,
                                      part->to - part->from, "harm", "harm_read", 1);
    json_decref(lexicon_fill(lexicon, alone, today, &taken));
    bool tells = false;
    json_array_foreach(taken, i, row)
    {
        const struct field *field = fields_find(json_string_value(json_object_get(row, "field")));
        tells = tells || (field && field->type == FIELD_WORD);
    }
    json_decref(taken);
    json_decref(alone);
    return tells;
}

/* Looked for whatever the complaint itself says of harm: somebody who chose "injury" may have noted
 * that a child was ill as well. */
static void hear_harm(const struct lexicon *lexicon, const struct reading *reading, json_t *filled,
                      json_t *taken)
{
    const char *note = reading->note;
    const struct field_word *kinds = fields_find("harm")->words;
    struct harm_heard *heard = NULL;
    int count = harm_note_read(lexicon->harm, lexicon->weights, note, &heard);
    if (count && heard->kind == HARM_NOTE_UNREAD &&
        tells_of_bread(lexicon, note, heard, reading->today))
        count = 0;
    for (int i = 0; i < count; i++) {
        bool possible = heard[i].kind < 0;
        const char *field = possible ? "harm_possible" : "harm";
        json_t *value = possible ? json_true() : json_string(kinds[heard[i].kind].word);
        json_t *from = quote(note, &heard[i]);
        if (add_harm(filled, field, value))
            lexicon_tell(taken, field, json_incref(value), json_incref(from));
        json_decref(value);
        json_decref(from);
    }
    free(heard);
}

/* Does the note answer this field, as other than normal? What it took is left in `taken`, once. */
static bool tells(struct reading *reading, const char *name, json_t *taken)
{
    size_t before = json_array_size(taken);
    uint64_t open = reading->open; /* another symptom may leave one answer of two */
    for (int i = 0; i < reading->language->field_count; i++) {
        if (strcmp(reading->language->fields[i].field->name, name) != 0)
            continue;
        json_t *answer = answer_field(reading, i, NULL, taken);
        reading->open = open;
        const char *word = json_string_value(answer);
        bool normal = word && strcmp(word, "normal") == 0;
        json_decref(answer);
        while (json_array_size(taken) > before + (answer && !normal))
            json_array_remove(taken, json_array_size(taken) - 1);
        if (json_array_size(taken) > before)
            return true;
    }
    return false;
}

/* "No *green* on it": its words speak of that field, and of another answer. */
static bool speaks_of(const struct reading *reading, const struct lexicon_match *match,
                      const char *name)
{
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *other = &reading->matches[i];
        if (other->phrase->field >= 0 && other->from < match->to && other->to > match->from &&
            strcmp(reading->language->fields[other->phrase->field].field->name, name) == 0)
            return true;
    }
    return false;
}

/* "Black as soot, not mold": its colour tells no mold. */
static bool is_barred(const struct reading *reading, const char *symptom, const char *by)
{
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        int field = match->phrase->field;
        if (field < 0 || strcmp(reading->language->fields[field].field->name, "symptom") != 0)
            continue;
        if (match->phrase->says == LEXICON_OPEN
                ? !match->supposed
                : match->negated && strcmp(match->phrase->word, symptom) == 0 &&
                      !speaks_of(reading, match, by))
            return true;
    }
    return false;
}

/* "The blue crates, not the black ones": a colour alone tells mold only where its sentence speaks
 * of bread, of a place on it or of how it was kept, or is too short to. */
static bool is_of_bread(const struct reading *reading, const struct lexicon_match *match)
{
    int first = match->from, last = match->to;
    while (first > 0 && reading->words[first].before != PAUSE_SENTENCE)
        first--;
    while (last < reading->count && reading->words[last].before != PAUSE_SENTENCE)
        last++;
    bool ret = last - first <= BARE || !reading->language->lists[LEXICON_PRODUCT].count;
    for (int at = first; at < last && !ret; at++)
        ret = lexicon_is(&reading->words[at], LEXICON_PRODUCT);
    for (int i = 0; i < reading->match_count && !ret; i++) {
        const struct lexicon_match *other = &reading->matches[i];
        int field = other->phrase->field;
        ret = field >= 0 && field != match->phrase->field && other->from >= first &&
              other->to <= last && !other->aside && !other->negated &&
              strncmp(reading->language->fields[field].field->name, "observed/", 9) == 0;
    }
    return ret;
}

static bool speaks_of_bread(const struct reading *reading, const char *name)
{
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        int field = match->phrase->field;
        if (field >= 0 && match->phrase->says == LEXICON_ANSWER && !match->aside &&
            strcmp(reading->language->fields[field].field->name, name) == 0 &&
            is_of_bread(reading, match))
            return true;
    }
    return false;
}

static void turn_to(const struct lexicon *lexicon, struct reading *reading,
                    const struct language_reading *all, int language)
{
    reading->language = &lexicon->languages[language];
    reading->as = &all[language];
    reading->words = all[language].words;
}

/* Without a word for the symptom: what is told of it tells it, "white powder on the crust". */
static void infer_symptom(const struct lexicon *lexicon, struct reading *reading,
                          const struct language_reading *all, json_t *filled, json_t *taken)
{
    static const struct {
        const char *field, *symptom;
        bool of_bread; /* only where it is told of bread */
    } TELLS[] = {{"observed/colour", "mold", true},
                 {"observed/spots", "mold", false},
                 {"observed/odor", "off-odor", false},
                 {"observed/crumb", "staling", false}};
    for (size_t t = 0; t < sizeof TELLS / sizeof TELLS[0]; t++) {
        reading->symptom = lexicon_symptom(TELLS[t].symptom) | 1u << 31;
        for (int i = 0; i < lexicon->count && !answered(filled, "symptom"); i++) {
            turn_to(lexicon, reading, all, i);
            lexicon_match(reading);
            if (is_barred(reading, TELLS[t].symptom, TELLS[t].field) ||
                (TELLS[t].of_bread && !speaks_of_bread(reading, TELLS[t].field)) ||
                !tells(reading, TELLS[t].field, taken))
                continue;
            json_object_set_new(filled, "symptom", json_string(TELLS[t].symptom));
            json_t *last = json_array_get(taken, json_array_size(taken) - 1);
            json_object_set_new(last, "field", json_string("symptom"));
            json_object_set_new(last, "value", json_string(TELLS[t].symptom));
        }
    }
}

static void fill_all(const struct lexicon *lexicon, struct reading *reading,
                     const struct language_reading *all, const json_t *complaint, json_t *filled,
                     json_t *taken)
{
    for (int pass = 0; pass < 2; pass++) {
        const char *symptom = json_string_value(json_object_get(filled, "symptom"));
        /* the last bit is that of fields of any symptom */
        reading->symptom = lexicon_symptom(symptom) | 1u << 31;
        for (int i = 0; i < lexicon->count; i++) {
            turn_to(lexicon, reading, all, i);
            fill_from(reading, complaint, pass == 0, filled, taken);
        }
        if (pass == 0 && !answered(filled, "symptom"))
            infer_symptom(lexicon, reading, all, filled, taken);
    }
}

static void read_text(const struct lexicon *lexicon, struct reading *reading,
                      const json_t *complaint, json_t *filled, json_t *taken)
{
    if (!lexicon_is_read(complaint))
        hear_harm(lexicon, reading, filled, taken);
    if (strlen(reading->note) > (size_t)fields_find("note")->high)
        return; /* will be refused: nothing but harm matters */
    struct note_word *words;
    struct language_reading *all = xcalloc((size_t)lexicon->count + 1, sizeof *all);
    reading->count = lexicon_split(reading->note, &words);
    lexicon_squeeze(words, reading->count);
    reading->open = 0;
    reading->no_code = xcalloc((size_t)reading->count + 1, sizeof *reading->no_code);
    reading->day = xcalloc((size_t)reading->count + 1, sizeof *reading->day);
    for (int i = 0; i < reading->count; i++)
        words[i].known = lexicon_knows(lexicon, words[i].text);
    for (int i = 0; i < lexicon->count; i++) {
        reading->language = &lexicon->languages[i];
        lexicon_read_as(reading, words, &all[i]);
    }
    fill_all(lexicon, reading, all, complaint, filled, taken);
    for (int i = 0; i < lexicon->count; i++)
        lexicon_unread(&all[i]);
    free(reading->no_code);
    free(reading->day);
    free(words);
    free(all);
}

json_t *lexicon_fill(const struct lexicon *lexicon, const json_t *complaint, int32_t today,
                     json_t **ret_taken)
{
    static const char *const TEXTS[] = {"note", "reason"};
    bool any = json_object_get(complaint, TEXTS[0]) || json_object_get(complaint, TEXTS[1]);
    json_t *taken = json_array();
    json_t *filled = any ? json_deep_copy(complaint) : json_copy((json_t *)(uintptr_t)complaint);
    struct reading reading = {.today = today};
    for (size_t t = 0; lexicon && t < sizeof TEXTS / sizeof TEXTS[0]; t++) {
        reading.note = json_string_value(json_object_get(complaint, TEXTS[t]));
        if (reading.note)
            read_text(lexicon, &reading, complaint, filled, taken);
    }
    free(reading.matches);
    *ret_taken = taken;
    return filled;
}

json_t *lexicon_harm(const struct lexicon *lexicon, const char *text, size_t ret_at[LEXICON_HARMS])
{
    const struct field_word *kinds = fields_find("harm")->words;
    struct harm_heard *heard = NULL;
    int count = harm_note_read(lexicon->harm, NULL, text, &heard);
    json_t *harm = count ? json_array() : NULL;
    assert(count <= LEXICON_HARMS);
    for (int i = 0; i < count; i++) {
        if (heard[i].kind != HARM_WORDS_POSSIBLE)
            json_array_append_new(harm, json_string(kinds[heard[i].kind].word));
        if (ret_at)
            ret_at[i] = heard[i].from;
    }
    free(heard);
    return harm;
}

json_t *lexicon_harm_written(const struct lexicon *lexicon, const char *text)
{
    struct harm_heard part;
    json_t *harm = lexicon_harm(lexicon, text, NULL);
    if (!harm && harm_note_is_strange(lexicon->harm, text, &part) &&
        !tells_of_bread(lexicon, text, &part, WHEN_UNKNOWN_DAY))
        harm = json_array();
    return harm;
}

void lexicon_fill_bare(const struct lexicon *lexicon, const char *note, json_t *filled,
                       json_t *taken)
{
    struct harm_heard heard;
    const char *symptom = json_string_value(json_object_get(filled, "symptom"));
    if (!lexicon || !symptom || strcmp(symptom, "other") != 0 || lexicon_is_read(filled) ||
        answered(filled, "harm") || answered(filled, "harm_possible") ||
        !harm_words_bare(lexicon->harm, note, &heard))
        return;
    json_object_set_new(filled, "harm_possible", json_true());
    lexicon_tell(taken, "harm_possible", json_true(),
                 json_stringn(note + heard.from, heard.to - heard.from));
}

/* ---- loading ---- */

static void add_language(struct doc *doc, const char *stem, void *arg)
{
    struct lexicon *lexicon = arg;
    (void)stem;
    lexicon->languages =
        xrealloc(lexicon->languages, (size_t)(lexicon->count + 1) * sizeof *lexicon->languages);
    lexicon_language_read(doc, &lexicon->languages[lexicon->count++]);
}

static int load_languages(struct lexicon *lexicon, const char *dir, doc_report report, void *arg,
                          struct error *err)
{
    struct doc doc = {.report = report, .arg = arg};
    doc_each(&doc, dir, add_language, lexicon);
    if (!doc.first.code)
        lexicon_know(lexicon);
    else if (err && !err->code)
        *err = doc.first;
    return doc.first.code;
}

static int load_harm(struct lexicon *lexicon, const char *dir, doc_report report, void *arg,
                     struct error *err)
{
    struct text_buffer common = {0}, harm = {0};
    doc_below(dir, "common", &common);
    doc_below(dir, "harm", &harm);
    int of_common = common_words_load(common.data, report, arg, &lexicon->common, err);
    int rc = harm_words_load(harm.data, lexicon->common, report, arg, &lexicon->harm, err);
    text_buffer_free(&common);
    text_buffer_free(&harm);
    return of_common ? of_common : rc;
}

static int load_weights(struct lexicon *lexicon, const char *dir, doc_report report, void *arg,
                        struct error *err)
{
    struct text_buffer weights = {0};
    doc_below(dir, "weights", &weights);
    int rc = harm_weights_load(weights.data, report, arg, &lexicon->weights, err);
    text_buffer_free(&weights);
    return rc;
}

struct lexicon *lexicon_new(void)
{
    struct lexicon *lexicon = xcalloc(1, sizeof *lexicon);
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now); /* no two are made in a nanosecond */
    lexicon->number = (int64_t)now.tv_sec * 1000000000 + now.tv_nsec + 1;
    return lexicon;
}

int64_t lexicon_number(const struct lexicon *lexicon)
{
    return lexicon->number;
}

int lexicon_load_part(struct lexicon *lexicon, enum lexicon_part part, const char *dir,
                      doc_report report, void *arg, struct error *err)
{
    static int (*const LOAD[LEXICON_PARTS])(struct lexicon *, const char *, doc_report, void *,
                                            struct error *) = {[LEXICON_LANGUAGES] = load_languages,
                                                               [LEXICON_HARM] = load_harm,
                                                               [LEXICON_WEIGHTS] = load_weights};
    assert(part < LEXICON_PARTS);
    return LOAD[part](lexicon, dir, report, arg, err);
}

int lexicon_load(const char *dir, doc_report report, void *arg, struct lexicon **ret,
                 struct error *err)
{
    struct lexicon *lexicon = lexicon_new();
    int rc = 0;
    for (int part = 0; part < LEXICON_PARTS; part++) {
        int of_part = lexicon_load_part(lexicon, (enum lexicon_part)part, dir, report, arg, err);
        rc = rc ? rc : of_part;
    }
    if (rc)
        lexicon_free(lexicon);
    else
        *ret = lexicon;
    return rc;
}

void lexicon_free(struct lexicon *lexicon)
{
    if (!lexicon)
        return;
    for (int i = 0; i < lexicon->count; i++)
        lexicon_language_free(&lexicon->languages[i]);
    harm_weights_free(lexicon->weights);
    harm_words_free(lexicon->harm);
    common_words_free(lexicon->common);
    word_set_free(&lexicon->known);
    free(lexicon->languages);
    free(lexicon);
}
