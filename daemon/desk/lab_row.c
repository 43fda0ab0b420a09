#include "desk/lab_row.h"
#include "base/text.h"
#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* What stands before another in it is the longer one. Common practice, no source. */
static const char *const DENIALS[] = {
    "none detected", "none found", "none seen",     "none present",  "none",         "absent",
    "absence",       "negative",   "neg",           "not detected",  "not found",    "not present",
    "not seen",      "nil",        "n.d.",          "n.d",           "n/d",          "nd",
    "ausente",       "ausencia",   "negativo",      "negativa",      "no detectado", "no detectada",
    "no se detecta", "ninguno",    "no encontrado", "no encontrada", "ninguna",      "0"};
static const char *const UNITS[] = {"in",     "per",    "en",        "por",     "g",      "kg",
                                    "ml",     "l",      "cm2",       "cfu",     "ufc",    "mpn",
                                    "nmp",    "ppm",    "ppb",       "mg",      "of",     "de",
                                    "sample", "pieces", "particles", "results", "samples"};
static const char *const METHODS[] = {
    "method",    "methods",     "test method",       "procedure", "apparatus",
    "equipment", "materials",   "reagents",          "metodo",    "método",
    "equipo",    "preparation", "sample preparation"};
static const char *const RESULTS[] = {"positive",  "detected",  "found",    "present",
                                      "isolated",  "confirmed", "positivo", "positiva",
                                      "detectado", "detectada", "presente", "presencia"};
/* What a method looks for, and works with: harm in a sentence, none in such a row. */
static const char *const TOOLS[] = {
    "salmonella", "listeria",   "monocytogenes", "escherichia", "coli",        "staphylococcus",
    "aureus",     "bacillus",   "cereus",        "clostridium", "perfringens", "botulinum",
    "norovirus",  "pathogen",   "pathogens",     "aflatoxin",   "aflatoxins",  "mycotoxin",
    "mycotoxins", "ochratoxin", "toxin",         "toxins",      "allergen",    "allergens",
    "gluten",     "peanut",     "almond",        "glass",       "metal",       "steel",
    "wire",       "plastic",    "needle",        "needles",     "blade",       "blades",
    "knife",      "scalpel",    "wood",          "wooden",      "stone",       "rubber",
    "insect",     "insects",    "rodent",        "hair",        "hairs",       "filth",
    "acid",       "chlorine",   "bleach",        "alcohol",     "ethanol",     "acetone",
    "bead",       "beads",      "filter",        "screen",      "magnet",      "magnets",
    "foil",       "solvent",    "solvents",      "mercury",     "vidrio",      "acero",
    "alambre",    "aguja",      "cuchillo",      "plástico",    "plastico",    "patógenos",
    "toxinas",    "alérgenos",  "alergenos"};
/* What tells that something happened, or whom it happened to: nothing is left out of such a row. */
static const char *const HAPPENED[] = {
    "broke",    "broken",   "breaks",   "breakage",  "shattered", "cracked",  "chipped",
    "shard",    "shards",   "splinter", "splinters", "chips",     "fragment", "fragments",
    "missing",  "lost",     "fell",     "dropped",   "loose",     "dough",    "loaf",
    "loaves",   "bread",    "bun",      "buns",      "product",   "rota",     "roto",
    "rompió",   "rompio",   "astillas", "trozos",    "esquirlas", "falta",    "masa",
    "pan",      "i",        "my",       "we",        "our",       "us",       "he",
    "she",      "they",     "her",      "his",       "him",       "their",    "someone",
    "somebody", "customer", "caller",   "consumer",  "person",    "people",   "child",
    "kid",      "son",      "daughter", "baby",      "boy",       "girl",     "wife",
    "husband",  "mother",   "father",   "patient",   "worker",    "mi",       "nuestro",
    "nuestra",  "cliente",  "clienta",  "hijo",      "hija",      "niño",     "niña",
    "persona",  "personas", "alguien",  "esposa",    "marido"};

#define COUNT(list) (sizeof(list) / sizeof *(list))

static bool is_one_of(const char *const *list, size_t count, const char *word, size_t length)
{
    for (size_t i = 0; i < count; i++)
        if (strlen(list[i]) == length && strncasecmp(list[i], word, length) == 0)
            return true;
    return false;
}

/* Numbers and units, up to the end. */
static bool is_measure(const char *at)
{
    static const char BETWEEN[] = " \t/.,;()";
    for (at += strspn(at, BETWEEN); *at; at += strspn(at, BETWEEN)) {
        size_t length = strcspn(at, BETWEEN), digits = strspn(at, "0123456789");
        if (digits < length && !is_one_of(UNITS, COUNT(UNITS), at + digits, length - digits))
            return false;
        at += length;
    }
    return true;
}

/* Past the denial that it begins with; NULL if with none. */
static const char *past_denial(const char *said)
{
    said += strspn(said, " \t");
    if (*said == '<') {
        const char *number = said + 1 + strspn(said + 1, " =");
        size_t digits = strspn(number, "0123456789.,");
        return digits ? number + digits : NULL;
    }
    for (size_t i = 0; i < COUNT(DENIALS); i++) {
        size_t length = strlen(DENIALS[i]);
        const char *end = said + length;
        if (strncasecmp(said, DENIALS[i], length) != 0 || isalnum((unsigned char)*end))
            continue;
        bool decimal = strcmp(DENIALS[i], "0") == 0 && (*end == '.' || *end == ',') &&
                       isdigit((unsigned char)end[1]);
        return decimal ? NULL : end;
    }
    return NULL;
}

static const char BETWEEN_WORDS[] = " \t.,;:/()";

static bool has_result(const char *said)
{
    for (const char *at = said; *at;) {
        size_t length = strcspn(at, BETWEEN_WORDS);
        const char *next = at + length + strspn(at + length, BETWEEN_WORDS);
        bool control = strncasecmp(next, "control", strlen("control")) == 0;
        if (is_one_of(RESULTS, COUNT(RESULTS), at, length) && !control)
            return true;
        at = next;
    }
    return false;
}

static bool has_happened(const char *said)
{
    for (const char *at = said; *at; at += strspn(at, BETWEEN_WORDS)) {
        size_t length = strcspn(at, BETWEEN_WORDS);
        if (is_one_of(HAPPENED, COUNT(HAPPENED), at, length))
            return true;
        at += length;
    }
    return false;
}

static void append_without_tools(const char *said, struct text_buffer *out)
{
    while (*said) {
        size_t length = strcspn(said, BETWEEN_WORDS),
               next = length + strspn(said + length, BETWEEN_WORDS);
        if (is_one_of(TOOLS, COUNT(TOOLS), said, length))
            text_append_bytes(out, said + length, next - length);
        else
            text_append_bytes(out, said, next);
        said += next;
    }
}

static bool is_method(const char *name, size_t length)
{
    while (length && isspace((unsigned char)*name)) {
        name++;
        length--;
    }
    while (length && isspace((unsigned char)name[length - 1]))
        length--;
    return is_one_of(METHODS, COUNT(METHODS), name, length);
}

bool lab_row_tells(const char *name, size_t name_length, const char *said, size_t said_length,
                   struct text_buffer *out)
{
    char *text = xstrndup(said, said_length);
    const char *rest = past_denial(text);
    bool denies = rest && is_measure(rest);
    if (denies)
        text_append(out, "");
    else if (is_method(name, name_length) && !has_result(text) && !has_happened(text))
        append_without_tools(text, out);
    else
        text_append(out, text);
    free(text);
    return !denies;
}

bool lab_row_result(const char *name, const char *said, struct text_buffer *out)
{
    struct text_buffer tells = {0};
    bool told = lab_row_tells(name, strlen(name), said, strlen(said), &tells);
    for (const char *at = told ? name : ""; *at; at++)
        text_appendf(out, "%c", *at == '_' ? ' ' : *at);
    if (told)
        text_appendf(out, "%s%s", *name ? " " : "", tells.data);
    text_buffer_free(&tells);
    return told;
}

/* A name of a few words; a sentence, or what tells of a result, is none. */
static bool is_short_name(const char *cell)
{
    enum { WORDS_MOST = 3 };
    static const char *const SAID_OF[] = {"i",   "my",   "we", "our", "us",      "he",
                                          "she", "they", "mi", "su",  "nuestro", "nuestra"};
    int words = 0;
    for (const char *at = cell + strspn(cell, " \""); *at; at += strspn(at, " \"")) {
        size_t length = strcspn(at, " \"");
        if (is_one_of(SAID_OF, COUNT(SAID_OF), at, length))
            return false;
        at += length;
        words++;
    }
    return words && words <= WORDS_MOST && !has_result(cell);
}

bool lab_row_cells_deny(const char *line, size_t length, char separator)
{
    char *row = xstrndup(line, length), *next = strchr(row, separator);
    int denials = 0;
    bool all = next != NULL, number = false;
    if (next)
        *next++ = '\0';
    all = all && is_short_name(row);
    for (char *cell = next; all && cell; cell = next) {
        if ((next = strchr(cell, separator)))
            *next++ = '\0';
        cell += strspn(cell, " \"");
        for (size_t end = strlen(cell); end && strchr(" \"", cell[end - 1]);)
            cell[--end] = '\0';
        const char *rest = past_denial(cell);
        bool decimal = number && separator == ',' && isdigit((unsigned char)*cell); /* "0,5 mm" */
        all = !decimal && ((rest && is_measure(rest)) || is_measure(cell));
        denials += rest != NULL;
        number = *cell && cell[strspn(cell, "0123456789")] == '\0';
    }
    free(row);
    return all && denials;
}
