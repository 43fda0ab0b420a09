/* The rows of the complaint form. The words are those of the contract; what they look and smell
 * like is said so that nobody needs to know molds. */
#include "form/form.h"

static const struct form_choice symptoms[] = {
    {"mold", "mold seen on the bread", "mould|moldy|mouldy|moho|fuzz|fuzzy"},
    {"off-odor", "smells or tastes wrong", "odor|odour|smell|smells|taste|off odor|olor"},
    {"staling", "dry, hard, crumbly, gummy: old before its time", "stale|dry|hard|old|gummy|duro"},
    {0}};
static const struct form_choice channels[] = {{"phone", NULL, "call|telephone"},
                                              {"web", NULL, "mail|email|online|form"},
                                              {"store", NULL, "shop|retailer"},
                                              {"route", NULL, "driver"},
                                              {"return", "goods that came back", "returns"},
                                              {0}};
static const struct form_choice harms[] = {
    {"illness", "somebody felt or feels unwell",
     "ill|sick|unwell|enfermo|enferma|vomit|vomiting|vomited|threw up|throwing up|nausea|"
     "stomach|diarrhea|fever|poisoned|poisoning"},
    {"injury", "somebody was hurt: cut, broken tooth",
     "hurt|injured|cut|tooth|bleeding|choked|choking"},
    {"allergic-reaction", "rash, swelling, trouble breathing", "allergy|allergic|reaction|rash"},
    {"foreign-matter", "metal, plastic, glass, insect, anything not bread",
     "foreign|metal|plastic|glass|object|insect|bug|hair|stone|wire|wood|screw"},
    {"tampering", "the pack looks opened or altered on purpose", "tampered|tamper"},
    {0}};
static const struct form_choice colours[] = {
    {"blue-green", "like blue cheese", "blue|green|greenish|verde|azul|gray-green|grey-green"},
    {"black", "black or dark brown dots or fuzz", "dark|negro|brown"},
    {"white-chalky", "flat, white, like flour or chalk", "chalk|chalky|powder|powdery"},
    {"white-fluffy", "like cotton wool", "fluffy|cotton|white fuzz|hairy"},
    {"pink-orange", "pink, salmon or orange", "pink|orange|red|salmon"},
    {"yellow", NULL, "amarillo"},
    {0}};
static const struct form_choice wheres[] = {
    {"cut-face", "on the sliced sides", "slices|slice|cut|sliced|inside|middle"},
    {"top-crust", "on the top", "top|crust"},
    {"base", "underneath", "bottom|underneath|under"},
    {"side", "on the side crust", "sides"},
    {"heel", "on the end pieces", "end|ends|heels"},
    {"near-closure", "by the clip, tie or seal", "closure|clip|tie|opening|tag"},
    {"all-over", "everywhere", "everywhere|all over|all"},
    {0}};
static const struct form_choice bags[] = {
    {"sound", "whole and closed", "fine|ok|good|closed|whole|intact"},
    {"torn", "a hole or a tear", "tear|hole|ripped|open hole|punctured"},
    {"closure-missing", "no clip or tie when bought", "no clip|no tie|missing"},
    {"seal-open", "the seal came open", "open|unsealed|loose"},
    {0}};
static const struct form_choice kepts[] = {
    {"counter", "on the counter, in a box or cupboard", "cupboard|bread box|pantry|shelf|room"},
    {"fridge", NULL, "refrigerator|cold|icebox"},
    {"freezer", NULL, "frozen"},
    {"warm", "by a stove, in a car, in the sun", "car|sun|stove|hot"},
    {"unknown", "the caller doesn't know", "dunno|don't know|not sure"},
    {0}};
static const struct form_choice odors[] = {
    {"sour", "like sour milk", "acid"},
    {"cheesy", "like cheese or old socks", "cheese|socks"},
    {"vinegar", NULL, NULL},
    {"fruity", "like overripe melon", "melon|fruit|sweet"},
    {"solvent", "like nail polish or glue", "glue|nail polish|acetone|paint"},
    {"alcohol", "like beer or wine", "beer|wine|boozy|yeasty"},
    {"musty", "like a damp cellar", "cellar|damp|earthy|moldy"},
    {"rancid", "like old oil or nuts", "old oil|oily"},
    {"plastic", NULL, "bag"},
    {"hydrocarbon", "like petrol or kerosene", "petrol|gas|gasoline|kerosene|diesel"},
    {"chemical", "like cleaner or bleach", "bleach|cleaner|soap|chlorine|medicine"},
    {"smoky", "like smoke", "smoke|burnt"},
    {0}};
static const struct form_choice crumbs[] = {
    {"normal", NULL, "fine|ok|soft"},
    {"firm", NULL, "hard|stiff|stale"},
    {"dry", NULL, NULL},
    {"crumbly", "falls apart", "crumbles"},
    {"gummy", "like chewing gum, balls up", "doughy|rubbery"},
    {"sticky", NULL, "wet|tacky"},
    {"stringy", "pulls threads when torn", "threads|ropy|slimy"},
    {"discoloured", "yellow or brown patches inside", "discolored|brown|patches"},
    {0}};
static const struct form_choice dispositions[] = {
    {"hold", "set aside until decided", NULL}, {"rework", NULL, NULL},
    {"divert", "to another use", "feed"},      {"destroy", NULL, "dump|waste"},
    {"lab", "kept for examination", "sample"}, {0}};

const struct form_field *form_fields(void)
{
    static const struct form_field rows[] = {
        {"id", "id", FORM_ID, NULL, 0, 0, NULL, NULL},
        {"received_at", "received-at", FORM_INSTANT, NULL, 0, 0, NULL, NULL},
        {"channel", "channel", FORM_CHOICE, channels, 0, 0, "How did it reach us?", NULL},
        {"symptom", "symptom", FORM_CHOICE, symptoms, 0, 0, "What is wrong with the bread?",
         "If several: the one that made them call."},
        {"harm", "harm", FORM_CHOICES, harms, 0, 0,
         "Is anyone unwell or hurt, or was something "
         "in the pack that should not be?",
         "Ask it in these words. Several may be named. \"no\" only if the caller said no; if you "
         "could not ask, press Enter."},
        {"lot_text", "lot", FORM_TEXT, NULL, 0, 0,
         "The code printed on the bag or the clip, as far as it can be read?",
         "Type every letter and digit in order, with ? for one that is smudged. A part is better "
         "than nothing."},
        {"product", "product", FORM_TEXT, NULL, 0, 0, "Which product?",
         "The name on the bag, or our product code."},
        {"code_date", "code-date", FORM_NEAR, NULL, 0, 0, "The best-by date on the bag?",
         "As printed: 11/27, nov 27, 2026-11-27."},
        {"store", "store", FORM_TEXT, NULL, 0, 0, "Which store was it bought at?",
         "The store's number or name."},
        {"route", "route", FORM_TEXT, NULL, 0, 0, "Which delivery route?", NULL},
        {"bought_on", "bought", FORM_PAST, NULL, 0, 0, "When was it bought?",
         "yesterday, Mon, 11/19, 3 days ago"},
        {"found_on", "found", FORM_PAST, NULL, 0, 0, "When was it first noticed?",
         "yesterday, Mon, 11/19, 3 days ago"},
        {"observed.colour", "colour", FORM_CHOICE, colours, 0, 0, "What colour is the mold?", NULL},
        {"observed.where", "where", FORM_CHOICE, wheres, 0, 0, "Where on the loaf is it?", NULL},
        {"observed.spots", "spots", FORM_COUNT, NULL, 0, 1000, "How many spots, about?", NULL},
        {"observed.wet_inside_bag", "wet-inside", FORM_YESNO, NULL, 0, 0,
         "Was the inside of the bag wet or fogged?", NULL},
        {"observed.bag", "bag", FORM_CHOICE, bags, 0, 0, "How was the bag when it was bought?",
         NULL},
        {"observed.kept", "kept", FORM_CHOICE, kepts, 0, 0, "Where was the bread kept?", NULL},
        {"observed.opened_days", "opened-days", FORM_COUNT, NULL, 0, 365,
         "How many days had the bag been open?", "0 if it was found on opening the bag."},
        {"observed.odor", "odor", FORM_CHOICES, odors, 0, 0, "What does it smell or taste of?",
         "Several may be named. Never ask anyone to smell mold closely or to taste it."},
        {"observed.crumb", "crumb", FORM_CHOICE, crumbs, 0, 0, "How is the inside of the bread?",
         NULL},
        {"packs", "packs", FORM_COUNT, NULL, 1, 100000, "How many packs?", NULL},
        {"units", "units", FORM_COUNT, NULL, 1, 1000000, "How many units came back?", NULL},
        {"inspected_at", "inspected-at", FORM_INSTANT, NULL, 0, 0, "When was it inspected?", NULL},
        {"measured", "measured", FORM_MEASURED, NULL, 0, 0, "Anything measured on it?",
         "QUANTITY=NUMBER, several with commas: crumb_ph=5.9, crumb_aw=0.95"},
        {"reason", "reason", FORM_TEXT, NULL, 0, 0, "Why did it come back?", NULL},
        {"put_at", "put-at", FORM_TEXT, NULL, 0, 0, "Where do the goods stand now?",
         "Returned goods never stand near cooling, slicing or packing: spores travel with them."},
        {"disposition", "disposition", FORM_CHOICE, dispositions, 0, 0,
         "What is to become of the goods?", NULL},
        {"same_as", "same-as", FORM_ID, NULL, 0, 0, NULL, NULL},
        {"note", "note", FORM_TEXT, NULL, 0, 0, "Anything else, in the caller's words?", NULL},
        {"contact.name", "name", FORM_TEXT, NULL, 0, 0, "The caller's name?",
         "Kept apart, never mailed on, deleted after a set time."},
        {"contact.phone", "phone", FORM_TEXT, NULL, 0, 0, "A phone number to call back?", NULL},
        {"contact.email", "email", FORM_TEXT, NULL, 0, 0, "A mail address?", NULL},
        {0}};
    return rows;
}
