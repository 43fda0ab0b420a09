#include "interview/interview_inside.h"
#include "show/pick.h"
#include <ctype.h>
#include <string.h>

enum { PHONE_DIGITS = 5 }; /* fewer reach nobody */

static bool is_digits(const char *text)
{
    return text[strspn(text, "0123456789")] == '\0';
}

static int digits_in(const char *text)
{
    int count = 0;
    for (; *text; text++)
        count += isdigit((unsigned char)*text) != 0;
    return count;
}

/* "next friday", "11/27"; a bare number may be a product's code. */
static bool is_date(const char *text, const struct form_day *today)
{
    static const char *const before[] = {"next ", "last ", "this ", "on ", "until ", "by "};
    char folded[64];
    int32_t day;
    text_fold(text, folded, sizeof folded);
    const char *rest = folded;
    for (size_t i = 0; i < sizeof before / sizeof *before; i++)
        if (strncmp(rest, before[i], strlen(before[i])) == 0)
            rest += strlen(before[i]);
    return !is_digits(rest) && form_date(rest, today, SAID_NEAR, &day, NULL) == 0;
}

static bool is_mail(const char *text)
{
    const char *at = strchr(text, '@'), *dot = at ? strrchr(at, '.') : NULL;
    return at && at > text && dot && dot > at + 1 && dot[1] && !strchr(at + 1, '@') &&
           !strpbrk(text, " \t,;");
}

/* "stale" as a store, "fridge" as a name: the answer to a question of choices. */
static bool is_choice(const struct interview *iv, const char *line)
{
    static const char *const fields[] = {"symptom", "observed/kept", "observed/bag",
                                         "observed/crumb", "observed/where"};
    enum { LETTERS_LEAST = 4 };
    bool found = false;
    struct form_day whole = iv->day;
    whole.full = true;
    struct error err = {0};
    json_t *scratch = json_object();
    for (size_t i = 0; strlen(line) >= LETTERS_LEAST && i < sizeof fields / sizeof *fields; i++)
        found = found || form_set(scratch, fields_named(fields[i]), line, &whole, &err) == 0;
    json_decref(scratch);
    return found;
}

/* "Do you have the lot code?" "Yes." */
static bool is_yes_or_no(const char *line)
{
    static const char *const words[] = {"yes", "yeah", "yep", "y",    "no",    "nope", "n",
                                        "ok",  "okay", "si",  "sure", "maybe", "ja",   "nein"};
    char folded[16];
    bool found = false;
    text_fold(line, folded, sizeof folded);
    folded[strcspn(folded, ".!, ")] = '\0';
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        found = found || strcmp(folded, words[i]) == 0;
    return found && strlen(line) < sizeof folded / 2;
}

static const char *why_doubtful(const struct interview *iv, const struct field *f, const char *line)
{
    bool person = strcmp(f->name, "contact/name") == 0;
    if (strcmp(f->name, "contact/email") == 0 && !is_mail(line))
        return "That is no mail address (name@domain)";
    if (strcmp(f->name, "contact/phone") == 0 && digits_in(line) < PHONE_DIGITS)
        return "That is no phone number";
    if ((strcmp(f->name, "product") == 0 || strcmp(f->name, "store") == 0 || person) &&
        is_date(line, &iv->day))
        return "That reads like a date";
    if ((strcmp(f->name, "product") == 0 || person) && is_mail(line))
        return "That reads like a mail address";
    if ((strcmp(f->name, "store") == 0 || strcmp(f->name, "lot_text") == 0 || person) &&
        is_choice(iv, line))
        return "That reads like an answer to another question";
    if ((strcmp(f->name, "product") == 0 || strcmp(f->name, "store") == 0 ||
         strcmp(f->name, "lot_text") == 0 || person) &&
        is_yes_or_no(line))
        return "That says yes or no, not which";
    return NULL;
}

const char *interview_doubt(struct interview *iv, const struct field *f, const char *line)
{
    const char *why = why_doubtful(iv, f, line);
    if (!why || strcmp(pick_text(iv->doubted, f->name, ""), line) == 0)
        return NULL;
    json_object_set_new(iv->doubted, f->name, json_string(line));
    return why;
}
