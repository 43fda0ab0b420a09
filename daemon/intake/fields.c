/* The words are those of the contract; what they look and smell like is said so that nobody needs
 * to know molds. */
#include "intake/fields.h"
#include "base/length.h"
#include "base/near.h"
#include <assert.h>
#include <stdio.h>
#include <string.h>

static const struct field_word SYMPTOMS[] = {
    {"mold", "mold seen on the bread", "mould|moldy|mouldy|moho|fuzz|fuzzy|mildew|furry"},
    {"off-odor", "smells or tastes wrong",
     "odor|odour|smell|smells|taste|off odor|olor|smelly|smelled|stinks|tastes|tasted"},
    {"staling", "dry, hard, crumbly, gummy: old before its time",
     "stale|dry|hard|old|gummy|duro|crumbly|stiff"},
    {"other", "something else: too light, torn bag, another taste (a wrong label: harm)",
     "underweight|too light|light weight|short weight|torn bag|ripped bag|open bag|bag was torn|"
     "bag was open|wrong label|mislabelled|mislabeled|wrong product|wrong bread|missing slices|"
     "burnt|raw|squashed|crushed|faltan|pesa poco|bolsa rota|etiqueta equivocada"},
    {0}};
static const struct field_word CHANNELS[] = {{"phone", NULL, "call|telephone"},
                                             {"web", NULL, "mail|email|online|form"},
                                             {"store", NULL, "shop|retailer"},
                                             {"route", NULL, "driver"},
                                             {"return", "goods that came back", "returns"},
                                             {0}};
static const struct field_word HARMS[] = {
    {"illness", "somebody felt or feels unwell",
     "ill|sick|unwell|enfermo|enferma|vomit|vomiting|vomited|threw up|throwing up|nausea|"
     "stomach|diarrhea|fever|poisoned|poisoning"},
    {"injury", "somebody was hurt: cut, broken tooth",
     "hurt|injured|cut|tooth|bleeding|choked|choking"},
    {"allergic-reaction", "rash, swelling, trouble breathing", "allergy|allergic|reaction|rash"},
    {"foreign-matter", "metal, plastic, glass, insect, anything not bread",
     "foreign|metal|plastic|glass|object|insect|bug|hair|stone|wire|wood|screw"},
    {"tampering", "the pack looks opened or altered on purpose", "tampered|tamper"},
    {"wrong-label", "label of another product, or an allergen it does not name",
     "label|wrong label|mislabelled|mislabeled|wrong product|wrong bread|undeclared|allergen|"
     "undeclared allergen|etiqueta equivocada"},
    {0}};
static const struct field_word COLOURS[] = {
    {"blue-green", "like blue cheese", "blue|green|greenish|verde|azul|gray-green|grey-green"},
    {"black", "black or dark brown dots or fuzz", "dark|negro|brown"},
    {"white-chalky", "flat, white, like flour or chalk", "chalk|chalky|powder|powdery"},
    {"white-fluffy", "like cotton wool", "fluffy|cotton|white fuzz|hairy"},
    {"pink-orange", "pink, salmon or orange", "pink|orange|red|salmon"},
    {"yellow", NULL, "amarillo"},
    {0}};
static const struct field_word WHERES[] = {
    {"cut-face", "on the sliced sides", "slices|slice|cut|sliced|inside|middle"},
    {"top-crust", "on the top", "top|crust"},
    {"base", "underneath", "bottom|underneath|under"},
    {"side", "on the side crust", "sides"},
    {"heel", "on the end pieces", "end|ends|heels"},
    {"near-closure", "by the clip, tie or seal", "closure|clip|tie|opening|tag"},
    {"all-over", "everywhere", "everywhere|all over|all"},
    {0}};
static const struct field_word BAGS[] = {
    {"sound", "whole and closed", "fine|ok|good|closed|whole|intact"},
    {"torn", "a hole or a tear", "tear|hole|ripped|open hole|punctured"},
    {"closure-missing", "no clip or tie when bought", "no clip|no tie|missing"},
    {"seal-open", "the seal came open", "open|unsealed|loose"},
    {"blown", "closed, and puffed up by gas like a balloon",
     "puffed|puffed up|puffy|swollen|bloated|inflated|ballooned|blown up"},
    {0}};
static const struct field_word KEPTS[] = {
    {"counter", "on the counter, in a box or cupboard", "cupboard|bread box|pantry|shelf|room"},
    {"fridge", NULL, "refrigerator|cold|icebox"},
    {"freezer", NULL, "frozen"},
    {"warm", "by a stove, in a car, in the sun", "car|sun|stove|hot"},
    {"unknown", "the caller doesn't know", "dunno|don't know|not sure"},
    {0}};
static const struct field_word ODORS[] = {
    {"sour", "like sour milk", "acid"},
    {"cheesy", "like cheese or old socks", "cheese|socks"},
    {"vinegar", NULL, NULL},
    {"fruity", "like overripe melon", "melon|fruit|sweet"},
    {"solvent", "like nail polish or glue", "glue|nail polish|acetone|paint"},
    {"alcohol", "like beer or wine", "beer|wine|boozy|yeasty"},
    {"musty", "like a damp cellar", "cellar|damp|earthy|moldy"},
    {"rancid", "like old oil or nuts", "old oil|oily"},
    {"plastic", NULL, "bag"},
    {"hydrocarbon", "like petrol, kerosene or paint",
     "petrol|gas|gasoline|kerosene|diesel|paint|varnish|turpentine"},
    {"chemical", "like cleaner or bleach", "bleach|cleaner|soap|chlorine|medicine"},
    {"smoky", "like smoke", "smoke|burnt"},
    {0}};
static const struct field_word CRUMBS[] = {
    {"normal", NULL, "fine|ok|soft"},
    {"firm", NULL, "hard|stiff|stale"},
    {"dry", NULL, NULL},
    {"crumbly", "falls apart", "crumbles"},
    {"gummy", "like chewing gum, balls up", "doughy|rubbery"},
    {"sticky", NULL, "wet|tacky"},
    {"stringy", "pulls threads when torn", "threads|ropy|slimy"},
    {"discoloured", "yellow or brown patches inside", "discolored|brown|patches"},
    {0}};
static const struct field_word DISPOSITIONS[] = {
    {"hold", "set aside until decided", NULL}, {"rework", NULL, NULL},
    {"divert", "to another use", "feed"},      {"destroy", NULL, "dump|waste"},
    {"lab", "kept for examination", "sample"}, {0}};

static const struct field FIELDS[] = {
    {.name = "channel",
     .option = "channel",
     .type = FIELD_WORD,
     .words = CHANNELS,
     .flags = FIELD_OWN | FIELD_FACT | FIELD_ALARM,
     .title = "Came by",
     .help = "phone if not given, but rows of a file that name none need it",
     .ask = "How did it reach us?"},
    {.name = "symptom",
     .option = "symptom",
     .type = FIELD_WORD,
     .words = SYMPTOMS,
     .agree = "mold off-odor staling other",
     .flags = FIELD_OWN | FIELD_ALARM,
     .title = "Symptom",
     .ask = "What is wrong with the bread?",
     .hint = "If several: the one that made them call."},
    {.name = "harm",
     .option = "harm",
     .type = FIELD_WORDS,
     .words = HARMS,
     .flags = FIELD_ALARM,
     .title = "Harm",
     .help = "no for none",
     .ask = "Is anyone unwell or hurt, was something in the pack that should not be, or is the "
            "label another product's?",
     .hint = "Ask it in these words. Several may be named. \"no\" only if the caller said no; if "
             "you could not ask: not asked."},
    {.name = "lot_text",
     .option = "lot",
     .type = FIELD_TEXT,
     .kept = "\x1d", /* what ends an element of a scanned code */
     .high = 200,
     .flags = FIELD_OF_LOT | FIELD_ALARM,
     .title = "Code as read",
     .help = "the code as read from the pack, ? for what is smudged",
     .ask = "The code printed on the bag or the clip, as far as it can be read?",
     .hint = "Type every letter and digit in order, with ? for one that is smudged. A part is "
             "better than nothing."},
    {.name = "product",
     .option = "product",
     .type = FIELD_TEXT,
     .high = 120,
     .flags = FIELD_OF_LOT | FIELD_ALARM,
     .title = "Product told",
     .arg = "NAME",
     .help = "product: its code, an old one, or words of its name",
     .ask = "Which product?",
     .hint = "The name on the bag, or our product code."},
    {.name = "code_date",
     .option = "code-date",
     .type = FIELD_NEAR,
     .flags = FIELD_OF_LOT,
     .title = "Date on bag",
     .help = "best-by date; dates as people say them: nov 27, 2026-11-27, yesterday",
     .ask = "The best-by date on the bag?",
     .hint = "As printed, or as nov 27, 2026-11-27."},
    {.name = "store",
     .option = "store",
     .type = FIELD_TEXT,
     .high = LENGTH_TRADE,
     .flags = FIELD_OF_LOT | FIELD_TYPED | FIELD_ALARM,
     .title = "Store",
     .arg = "NAME",
     .help = "store it was bought at",
     .ask = "Which store was it bought at?",
     .hint = "The store's number or name."},
    {.name = "route",
     .option = "route",
     .type = FIELD_TEXT,
     .high = LENGTH_TRADE,
     .flags = FIELD_OF_LOT | FIELD_TYPED,
     .title = "Route",
     .arg = "NAME",
     .help = "delivery route",
     .ask = "Which delivery route?"},
    {.name = "plant",
     .option = "plant",
     .type = FIELD_TEXT,
     .high = LENGTH_CODE,
     .flags = FIELD_OWN | FIELD_TYPED,
     .title = "Plant",
     .arg = "NAME",
     .help = "plant of a company that it is about, while its lot is not known"},
    {.name = "bought_on",
     .option = "bought",
     .type = FIELD_PAST,
     .flags = FIELD_OF_LOT,
     .title = "Bought",
     .help = "when it was bought",
     .ask = "When was it bought?",
     .hint = "yesterday, Mon, 11/19, 3 days ago"},
    {.name = "found_on",
     .option = "found",
     .type = FIELD_PAST,
     .flags = FIELD_OF_LOT,
     .title = "Found",
     .help = "when it was first noticed",
     .ask = "When was it first noticed?",
     .hint = "yesterday, Mon, 11/19, 3 days ago"},
    {.name = "observed/colour",
     .option = "colour",
     .type = FIELD_WORD,
     .words = COLOURS,
     .title = "Colour of the mold",
     .ask = "What colour is the mold?"},
    {.name = "observed/where",
     .option = "where",
     .type = FIELD_WORD,
     .words = WHERES,
     .title = "Where on the loaf",
     .ask = "Where on the loaf is it?"},
    {.name = "observed/spots",
     .option = "spots",
     .type = FIELD_WHOLE,
     .high = 1000,
     .title = "Spots",
     .help = "how many spots",
     .ask = "How many spots, about?"},
    {.name = "observed/wet_inside_bag",
     .option = "wet-inside",
     .type = FIELD_BOOL,
     .title = "Wet inside the bag",
     .help = "inside of the bag wet or fogged",
     .ask = "Was the inside of the bag wet or fogged?"},
    {.name = "observed/bag",
     .option = "bag",
     .type = FIELD_WORD,
     .words = BAGS,
     .agree = "blown sound|blown torn|blown seal-open|blown closure-missing",
     .title = "State of the bag",
     .ask = "How was the bag when it was bought?"},
    {.name = "observed/kept",
     .option = "kept",
     .type = FIELD_WORD,
     .words = KEPTS,
     .title = "Kept at",
     .ask = "Where was the bread kept?"},
    {.name = "observed/opened_days",
     .option = "opened-days",
     .type = FIELD_WHOLE,
     .high = 365,
     .title = "Days open",
     .help = "days the bag had been open",
     .ask = "How many days had the bag been open?",
     .hint = "0 if it was found on opening the bag."},
    {.name = "observed/odor",
     .option = "odor",
     .type = FIELD_WORDS,
     .words = ODORS,
     .title = "Smell",
     .help = "several with commas",
     .ask = "What does it smell or taste of?",
     .hint = "Several may be named. Never ask anyone to smell mold closely or to taste it."},
    {.name = "observed/crumb",
     .option = "crumb",
     .type = FIELD_WORD,
     .words = CRUMBS,
     .agree = "crumbly dry firm normal|stringy sticky gummy normal|discoloured normal",
     .title = "Crumb",
     .ask = "How is the inside of the bread?"},
    {.name = "packs",
     .option = "packs",
     .type = FIELD_WHOLE,
     .low = 1,
     .high = 100000,
     .flags = FIELD_ALARM,
     .title = "Packs",
     .agree = "<",
     .help = "how many packs",
     .ask = "How many packs?"},
    {.name = "units",
     .option = "units",
     .type = FIELD_WHOLE,
     .low = 1,
     .high = 1000000,
     .title = "Returned",
     .help = "returns: units that came back",
     .ask = "How many units came back?"},
    {.name = "inspected_at",
     .option = "inspected-at",
     .type = FIELD_TIME,
     .title = "Inspected",
     .help = "returns: when they were inspected",
     .ask = "When was it inspected?"},
    {.name = "measured",
     .option = "measured",
     .type = FIELD_MEASURED,
     .title = "Measured",
     .help = "returns: quantities measured, crumb_ph=5.9,core_at_pack[degF]=117.5",
     .ask = "Anything measured on it?",
     .hint = "QUANTITY=NUMBER, several with commas: crumb_ph=5.9, crumb_aw=0.95"},
    {.name = "reason",
     .option = "reason",
     .type = FIELD_TEXT,
     .high = 200,
     .flags = FIELD_TYPED,
     .title = "Reason",
     .help = "returns: why they came back",
     .ask = "Why did it come back?"},
    {.name = "disposition",
     .option = "disposition",
     .type = FIELD_WORD,
     .words = DISPOSITIONS,
     .title = "Disposition",
     .help = "of returned goods",
     .ask = "What is to become of the goods?"},
    {.name = "put_at",
     .option = "put-at",
     .type = FIELD_TEXT,
     .high = LENGTH_TRADE,
     .flags = FIELD_TYPED,
     .title = "Put at",
     .arg = "PLACE",
     .help = "returns: where the goods stand (never near cooling or packing)",
     .ask = "Where do the goods stand now?",
     .hint = "Returned goods never stand near cooling, slicing or packing: spores travel with "
             "them."},
    {.name = "note",
     .option = "note",
     .type = FIELD_TEXT,
     .kept = "\n\t",
     .high = 4000,
     .flags = FIELD_OWN | FIELD_TYPED,
     .title = "Note",
     .help = "what was said; read with the plant's word lists",
     .ask = "What does the caller say?"},
    {.name = "reference",
     .option = "reference",
     .type = FIELD_TEXT,
     .high = LENGTH_TRADE,
     .flags = FIELD_OWN | FIELD_TYPED,
     .title = "Reference",
     .arg = "TICKET",
     .help = "its number in another system, by which it is found, too"},
    {.name = "contact/name",
     .option = "name",
     .type = FIELD_TEXT,
     .high = LENGTH_NAME,
     .flags = FIELD_PERSON,
     .title = "Caller's name",
     .help = "the caller's name",
     .ask = "The caller's name?",
     .hint = "Kept apart, never mailed on, deleted after a set time."},
    {.name = "contact/phone",
     .option = "phone",
     .type = FIELD_TEXT,
     .high = LENGTH_NAME,
     .flags = FIELD_PERSON,
     .title = "Caller's phone",
     .help = "the caller's phone number",
     .ask = "A phone number to call back?"},
    {.name = "contact/email",
     .option = "email",
     .type = FIELD_TEXT,
     .high = LENGTH_NAME,
     .flags = FIELD_PERSON,
     .title = "Caller's mail",
     .help = "the caller's mail address",
     .ask = "A mail address?"},
    {.name = "same_as",
     .option = "same-as",
     .type = FIELD_ID,
     .flags = FIELD_OWN,
     .title = "Same as",
     .help = "the complaint this report repeats (same person, same thing): kept with it, not "
             "counted again"},
    {.name = "id",
     .option = "id",
     .type = FIELD_ID,
     .flags = FIELD_OWN,
     .title = "Id",
     .help = "the complaint's id, if it has one; the same id is logged once"},
    {.name = "received_at",
     .option = "received-at",
     .type = FIELD_TIME,
     .flags = FIELD_OWN | FIELD_ALARM,
     .title = "Received",
     .help = "when it was received (now if not given; of a date alone, the start of that day); "
             "later than now or before the year 2000 it is kept as said, and counts as when it "
             "came; a row of a file is refused"},
    {0},
};

const struct field *fields_all(void)
{
    return FIELDS;
}

const struct field *fields_find(const char *name)
{
    for (const struct field *f = FIELDS; f->name; f++)
        if (strcmp(f->name, name) == 0)
            return f;
    return NULL;
}

bool fields_is_prose(const char *name)
{
    return strcmp(name, "note") == 0;
}

bool fields_is_typed(const char *name)
{
    const struct field *field = fields_find(name);
    return field && (field->flags & FIELD_TYPED || strcmp(name, "lot_text") == 0);
}

const char *fields_leaf(const struct field *field)
{
    const char *slash = strchr(field->name, '/');
    return slash ? slash + 1 : field->name;
}

size_t fields_group(const struct field *field)
{
    return (size_t)(fields_leaf(field) - field->name);
}

const struct field *fields_member(const char *group, const char *member)
{
    assert(group && member);
    size_t length = strlen(group);
    for (const struct field *f = FIELDS; f->name; f++) {
        size_t own = fields_group(f); /* with its slash */
        if (own == (length ? length + 1 : 0) && strncmp(f->name, group, length) == 0 &&
            strcmp(fields_leaf(f), member) == 0)
            return f;
    }
    return NULL;
}

const struct field *fields_named(const char *name)
{
    char path[64];
    char *dot = strchr(text_clip(name, path, sizeof path), '.');
    if (dot)
        *dot = '/';
    const struct field *found = fields_find(path);
    for (const struct field *f = fields_all(); !found && f->name; f++)
        if (strcmp(f->option, name) == 0 || strcmp(fields_leaf(f), name) == 0)
            found = f;
    return found;
}

/* What answers, doubts and faults name beside the fields of a form. */
static const struct {
    const char *name, *title;
} BESIDE[] = {{"lot", "Lot"},
              {"lot_state", "Lot's state"},
              {"harm_possible", "May be harm"},
              {"harm_read", "Harm, as a person read it"},
              {"observed", "What was seen"},
              {"contact", "Caller"},
              {"confirmed_by", "Confirmed by"},
              {"call_back", "Call back"}};

const char *fields_title(const char *name)
{
    if (*name == '/') /* a place in a file, as it is written there */
        return name;
    for (size_t i = 0; i < sizeof BESIDE / sizeof BESIDE[0]; i++)
        if (strcmp(BESIDE[i].name, name) == 0)
            return BESIDE[i].title;
    const struct field *field = fields_named(name);
    const char *group = strrchr(name, '/');
    return field ? field->title : group ? group + 1 : name;
}

const char *fields_near(const char *name)
{
    char said[NEAR_BYTES];
    text_fold(name, said, sizeof said);
    for (char *p = said; *p; p++)
        *p = *p == '_' || *p == ' ' ? '-' : *p; /* as options are written */
    struct near near = near_to(said);
    for (const struct field *f = FIELDS; f->name; f++) {
        near_try(&near, f->option);
        near_try(&near, fields_leaf(f));
    }
    return near.word;
}

const struct field *fields_fact(const char *name)
{
    for (const struct field *f = FIELDS; f->name; f++)
        if ((f->flags & FIELD_FACT || strncmp(f->name, "observed/", 9) == 0) &&
            strcmp(fields_leaf(f), name) == 0)
            return f;
    return NULL;
}

const struct field_word *fields_word(const struct field_word *words, const char *word)
{
    for (; words && words->word; words++)
        if (strcmp(words->word, word) == 0)
            return words;
    return NULL;
}

/* Where the word stands in the chain of `length` bytes, -1 if it does not. */
static int place_in(const char *chain, size_t length, const char *word)
{
    size_t own = strlen(word);
    int place = 0;
    for (size_t at = 0; at < length; place++) {
        size_t run = strcspn(chain + at, " |");
        if (run == own && strncmp(chain + at, word, own) == 0)
            return place;
        at += run + 1;
    }
    return -1;
}

const char *fields_fuller(const struct field *field, const char *a, const char *b)
{
    for (const char *chain = field->agree; chain && *chain;) {
        size_t length = strcspn(chain, "|");
        int left = place_in(chain, length, a), right = place_in(chain, length, b);
        if (left >= 0 && right >= 0)
            return left <= right ? a : b;
        chain += length + (chain[length] == '|');
    }
    return NULL;
}

void fields_list(const struct field_word *words, struct text_buffer *out)
{
    for (const struct field_word *w = words; w && w->word; w++)
        text_appendf(out, "%s%s", w == words ? "" : " ", w->word);
}

json_t *fields_get(const json_t *complaint, const struct field *field)
{
    assert(field && field->name);
    size_t group = fields_group(field);
    const json_t *object = group ? json_object_getn(complaint, field->name, group - 1) : complaint;
    json_t *value = json_object_get(object, fields_leaf(field));
    return json_is_null(value) ? NULL : value;
}

void fields_set_new(json_t *complaint, const struct field *field, json_t *value)
{
    assert(json_is_object(complaint) && value);
    size_t group = fields_group(field);
    json_t *object = group ? json_object_getn(complaint, field->name, group - 1) : complaint;
    if (group && !json_is_object(object)) {
        object = json_object();
        json_object_setn_new(complaint, field->name, group - 1, object);
    }
    json_object_set_new(object, fields_leaf(field), value);
}

void fields_unset(json_t *complaint, const struct field *field)
{
    assert(json_is_object(complaint));
    size_t group = fields_group(field);
    json_t *object = group ? json_object_getn(complaint, field->name, group - 1) : complaint;
    json_object_del(object, fields_leaf(field));
    if (group && json_is_object(object) && json_object_size(object) == 0)
        json_object_deln(complaint, field->name, group - 1);
}

void fields_take_off(json_t *complaint, const struct field *field, const json_t *value)
{
    json_t *own = fields_get(complaint, field);
    for (size_t i = json_array_size(own); json_is_array(own) && i-- > 0;)
        if (json_equal(json_array_get(own, i), value))
            json_array_remove(own, i);
    if (own && (json_equal(own, value) || (json_is_array(own) && !json_array_size(own))))
        fields_unset(complaint, field);
}
