#include "interview/interview_inside.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/table.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- lines ---- */

char *interview_line(const struct interview *iv, const char *prompt)
{
    char *line = NULL;
    size_t size = 0;
    fputs(prompt, iv->view.out);
    fflush(iv->view.out);
    ssize_t n = getline(&line, &size, stdin);
    if (n < 0) {
        free(line);
        fputc('\n', iv->view.out);
        return NULL;
    }
    while (n > 0 && strchr(" \t\r\n", line[n - 1]))
        line[--n] = '\0';
    return line;
}

/* ---- the question ---- */

static void print_choices(const struct interview *iv, const struct field *f)
{
    static const struct column columns[] = {
        {"", COLUMN_RIGHT, 0}, {"", COLUMN_LEFT, 0}, {"", COLUMN_LEFT, 20}};
    struct table *t = table_new(columns, 3);
    int number = 1;
    for (const struct field_word *c = f->words; c->word; c++) {
        table_addf(t, "%d", number++);
        table_add(t, c->word);
        table_add(t, c->say);
    }
    table_print(t, &iv->view, 2);
    table_free(t);
}

/* Nothing goes without one, and nobody takes a "yes" back by pressing Enter. */
static bool is_needed(const struct interview *iv, const struct field *f)
{
    return strcmp(f->name, "symptom") == 0 || (strcmp(f->name, "harm") == 0 && iv->harmed);
}

/* Silence is no answer to the question of harm. */
static bool asks_again(const struct interview *iv, const struct field *f)
{
    return strcmp(f->name, "harm") == 0 && (iv->harmed || !fields_get(iv->complaint, f));
}

static void print_question(const struct interview *iv, const struct field *f, const char *ask)
{
    view_blank(&iv->view);
    view_text(&iv->view, VIEW_BOLD, 0, 2, ask ? ask : f->ask);
    if (f->words)
        print_choices(iv, f);
    if (f->type == FIELD_BOOL)
        view_text(&iv->view, VIEW_PLAIN, 2, 2, "yes or no");
    if (strcmp(f->name, "harm") == 0)
        view_text(
            &iv->view, VIEW_PLAIN, 2, 2,
            "no  if the caller says that nobody is and nothing was; not asked  if nobody asked");
    if (strcmp(f->name, "note") == 0)
        view_text(&iv->view, VIEW_PLAIN, 2, 2,
                  "In the caller's own words, in one line; Enter if there is nothing to tell yet.");
    if (strcmp(f->name, "put_at") == 0)
        view_text(&iv->view, VIEW_PLAIN, 2, 2, f->hint);
    char *now = form_show(iv->complaint, f, &iv->day);
    const json_t *taken = interview_taken(iv, f);
    if (*now)
        view_textf(&iv->view, VIEW_PLAIN, 2, 2, "now: %s (Enter keeps it%s)", now,
                   is_needed(iv, f) ? "" : ", - takes it away");
    else if (taken)
        view_textf(&iv->view, VIEW_PLAIN, 2, 2, "the story: \"%s\" (Enter keeps it)",
                   pick_text(taken, "from", ""));
    free(now);
}

static void print_help(const struct interview *iv, const struct field *f)
{
    bool dated = f->type == FIELD_PAST || f->type == FIELD_NEAR;
    if (dated)
        view_textf(&iv->view, VIEW_PLAIN, 2, 2, "%s, 2026-11-19%s",
                   iv->day.day_first ? "19/11, 19 nov" : "11/19, nov 19",
                   f->type == FIELD_PAST ? ", yesterday, Mon, 3 days ago" : "");
    else if (f->hint)
        view_text(&iv->view, VIEW_PLAIN, 2, 2, f->hint);
    if (f->type == FIELD_PAST)
        view_text(&iv->view, VIEW_PLAIN, 2, 2, "A date as people say it, or the day of the week.");
    if (f->words)
        view_text(&iv->view, VIEW_PLAIN, 2, 2, "The number or the word.");
    if (f->type == FIELD_WORDS)
        view_text(&iv->view, VIEW_PLAIN, 2, 2, "Several with commas; no for none of them.");
    view_textf(&iv->view, VIEW_PLAIN, 2, 2,
               "%s back: the one before. list: the answers so far. correct 3: ask for answer 3 "
               "again. done: no more questions. quit: stop.",
               is_needed(iv, f) || asks_again(iv, f) ? "This one is needed."
                                                     : "Enter skips the question.");
}

/* ---- reading back ---- */

static void read_back(const struct interview *iv, const struct field *f)
{
    bool worth_it = f->type == FIELD_PAST || f->type == FIELD_NEAR || f->type == FIELD_WORDS ||
                    f->type == FIELD_WORD || f->type == FIELD_BOOL;
    if (!worth_it)
        return;
    char *text = form_show(iv->complaint, f, &iv->day);
    view_textf(&iv->view, VIEW_PLAIN, 2, 2, "= %s", text);
    free(text);
}

/* ---- the list ---- */

static const json_t *choices_of(const struct interview *iv, const struct field *f)
{
    size_t i;
    const json_t *doubt;
    json_array_foreach(json_object_get(iv->preview, "doubts"), i, doubt)
    {
        if (fields_named(pick_text(doubt, "field", "")) == f)
            return json_object_get(doubt, "choices");
    }
    return NULL;
}

static void list_choices(const struct interview *iv, const struct field *f, const json_t *choices)
{
    size_t i;
    const json_t *choice;
    const json_t *taken = interview_taken(iv, f);
    view_textf(&iv->view, VIEW_BOLD, 0, 2, "%s fits several. Which one? Its number; Enter: as said",
               pick_text(iv->complaint, f->name, pick_text(taken, "value", "That")));
    json_array_foreach(choices, i, choice)
    {
        view_textf(&iv->view, VIEW_PLAIN, 2, 5, "%zu  %s  %s", i + 1,
                   pick_text(choice, "value", "?"), pick_text(choice, "says", ""));
    }
}

/* What the story named is asked of once, whatever is answered after it. */
static bool was_picked_from(struct interview *iv, const struct field *f, const json_t *choices)
{
    char *key = json_dumps(choices, JSON_COMPACT);
    bool was = interview_taken(iv, f) && json_object_get(iv->said, key);
    json_object_set_new(iv->said, key, json_true());
    free(key);
    return was;
}

bool interview_pick(struct interview *iv, const struct field *f)
{
    json_t *choices = json_copy((json_t *)choices_of(iv, f));
    int64_t number = 0;
    if (json_array_size(choices) == 0 || was_picked_from(iv, f, choices)) {
        json_decref(choices);
        return false;
    }
    list_choices(iv, f, choices);
    char *line = interview_line(iv, "> ");
    bool named = line && text_to_int64(line, &number) == 0 && number >= 1 &&
                 number <= (int64_t)json_array_size(choices);
    if (named) {
        const json_t *choice = json_array_get(choices, (size_t)number - 1);
        struct error err = {0};
        form_set(iv->complaint, f, pick_text(choice, "value", ""), &iv->day, &err);
    }
    free(line);
    json_decref(choices);
    return true;
}

/* All kinds that the story tells, not the first alone. */
static void add_taken_harms(const struct interview *iv, const struct field *harm,
                            struct text_buffer *out)
{
    size_t i;
    const json_t *item;
    json_array_foreach(json_object_get(iv->preview, "taken"), i, item)
    {
        if (fields_named(pick_text(item, "field", "")) != harm)
            continue;
        char *value = pick_shown(item, "value");
        text_appendf(out, "%s%s, from the story (\"%s\")", out->length ? "; " : "", value,
                     pick_text(item, "from", ""));
        free(value);
    }
}

/* "illness (somebody felt or feels unwell)", with where it is from. */
static char *known(const struct interview *iv, const struct field *f)
{
    struct text_buffer out = {0};
    const json_t *taken = interview_taken(iv, f);
    bool harm = strcmp(f->name, "harm") == 0;
    if (fields_get(iv->complaint, f)) {
        char *text = form_show(iv->complaint, f, &iv->day);
        text_append(&out, text);
        free(text);
    } else if (taken && harm) {
        add_taken_harms(iv, f, &out);
    } else if (taken) {
        char *value = pick_shown(taken, "value");
        text_appendf(&out, "%s, from the story (\"%s\")", value, pick_text(taken, "from", ""));
        free(value);
    } else if (harm && iv->harmed) {
        text_append(&out, "yes, and not yet which");
    } else if (harm && interview_harm_told(iv)) {
        char *value = pick_shown(iv->preview, "harm");
        text_appendf(&out, "%s, from the story", value);
        free(value);
    } else if (harm) {
        text_append(&out, "NOT ASKED");
    }
    if (harm && harm_possible(iv->preview))
        text_append(&out, "; the story MAY TELL OF IT: a person must read it");
    return text_take(&out);
}

/* The fields in the order of the list; returns how many. */
static int list_fields(const struct interview *iv, const struct field *out[static INTERVIEW_LISTED])
{
    int count = 0;
    out[count++] = fields_named("harm");
    for (const struct field *f = fields_all(); f->name && count < INTERVIEW_LISTED; f++)
        if (f->ask && f != out[0] && (fields_get(iv->complaint, f) || interview_taken(iv, f)))
            out[count++] = f;
    return count;
}

void interview_list(const struct interview *iv)
{
    static const struct column columns[] = {
        {"", COLUMN_RIGHT, 0}, {"", COLUMN_LEFT, 0}, {"", COLUMN_LEFT, 20}};
    struct table *t = table_new(columns, 3);
    const struct field *listed[INTERVIEW_LISTED];
    int count = list_fields(iv, listed);
    view_blank(&iv->view);
    for (int i = 0; i < count; i++) {
        char *text = known(iv, listed[i]);
        table_addf(t, "%d", i + 1);
        table_add(t, i ? listed[i]->ask : "HARM");
        table_add(t, text);
        free(text);
    }
    table_print(t, &iv->view, 2);
    table_free(t);
}

const struct field *interview_listed(const struct interview *iv, const char *which)
{
    int64_t wanted = 0;
    const struct field *listed[INTERVIEW_LISTED];
    if (text_to_int64(which, &wanted) != 0) {
        const struct field *f = fields_named(which);
        return f && f->ask ? f : NULL;
    }
    return wanted >= 1 && wanted <= list_fields(iv, listed) ? listed[wanted - 1] : NULL;
}

bool interview_quits(struct interview *iv, bool *ret_keep)
{
    view_blank(&iv->view);
    if (interview_harm_told(iv))
        view_text(&iv->view, VIEW_BOLD, 0, 2,
                  HARM_UNSENT ". Enter, then done, logs what there is.");
    view_text(&iv->view, VIEW_PLAIN, 0, 2,
              "Stop here? later: keep it and go on another time. yes: throw it away. "
              "Enter: go on now.");
    char *line = interview_line(iv, "> ");
    char folded[16] = "later"; /* the end of input is no decision to throw anything away */
    if (line)
        text_fold(line, folded, sizeof folded);
    free(line);
    *ret_keep = strncmp(folded, "l", 1) == 0;
    return *ret_keep || strncmp(folded, "y", 1) == 0;
}

/* ---- commands ---- */

static bool is_correct(const char *folded)
{
    return strncmp(folded, "correct", 7) == 0 && (folded[7] == ' ' || !folded[7]);
}

static enum said correct(struct interview *iv, const char *folded, const struct field **ret_field)
{
    const struct field *f = folded[7] ? interview_listed(iv, folded + 8) : NULL;
    *ret_field = f;
    if (!f) {
        interview_list(iv);
        view_text(&iv->view, VIEW_PLAIN, 0, 2, "Say which one: correct 3");
        return SAID_ANSWER; /* asks the same question again */
    }
    return SAID_AGAIN;
}

static bool is_command(const char *folded, enum said *ret)
{
    static const struct {
        const char *word;
        enum said said;
    } rows[] = {{"back", SAID_BACK},
                {"done", SAID_DONE},
                {"quit", SAID_QUIT},
                {"exit", SAID_QUIT},
                {"skip", SAID_SKIP}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        if (strcmp(rows[i].word, folded) == 0) {
            *ret = rows[i].said;
            return true;
        }
    }
    return false;
}

/* "Don't know" in its many forms: no answer, and nothing to argue about. */
static bool is_unknown(const char *folded)
{
    static const char *const subjects[] = {"i ", "he ", "she ", "they ", "caller ", "the caller "};
    static const char *const forms[] = {
        "dunno",         "don't know", "dont know",   "do not know", "doesn't know",
        "does not know", "not sure",   "not known",   "not asked",   "no idea",
        "unknown",       "can't read", "cannot read", "can't say",   "can't tell",
        "cannot say",    "no se",      "no sabe",     "n/a"};
    for (size_t i = 0; i < sizeof subjects / sizeof *subjects; i++)
        if (strncmp(folded, subjects[i], strlen(subjects[i])) == 0) {
            folded += strlen(subjects[i]);
            break;
        }
    for (size_t i = 0; i < sizeof forms / sizeof *forms; i++)
        if (strncmp(folded, forms[i], strlen(forms[i])) == 0)
            return true;
    return false;
}

/* Does the field have a word of its own for it? */
static bool takes_unknown(const struct field *f)
{
    return fields_word(f->words, "unknown") != NULL;
}

/* "yes" says that there is harm, and not yet which. */
static bool asks_which(struct interview *iv, const struct field *f, const char *line)
{
    static const char *const yes[] = {"yes", "y", "yeah", "yep", "yup", "si", "ja"};
    char folded[16];
    text_fold(line, folded, sizeof folded);
    for (size_t i = 0; strcmp(f->name, "harm") == 0 && i < sizeof yes / sizeof *yes; i++) {
        if (strcmp(folded, yes[i]) != 0)
            continue;
        iv->harmed = true;
        interview_save(iv);
        view_text(&iv->view, VIEW_BOLD, 2, 2,
                  "Which? The number or the word; several with commas; the nearest, if none fits.");
        print_choices(iv, f);
        return true;
    }
    return false;
}

/* A sentence in answer to what is wrong tells more than the symptom: it goes into the story, where
 * the daemon reads it for harm. */
static void keep_sentence(struct interview *iv, const char *line)
{
    struct error err = {0};
    struct text_buffer story = {0};
    const char *was = pick_text(iv->complaint, "note", "");
    if (!strchr(line, ' ') || strstr(was, line))
        return;
    text_appendf(&story, "%s%s%s", was, *was ? ". " : "", line);
    if (form_set(iv->complaint, fields_named("note"), story.data, &iv->day, &err) == 0)
        view_text(&iv->view, VIEW_PLAIN, 2, 2, "= and kept in the story, in these words");
    text_buffer_free(&story);
}

/* True if the line was an answer that is now set (or kept). */
static bool take_answer(struct interview *iv, const struct field *f, const char *line)
{
    struct error err = {0};
    if (strcmp(line, "-") == 0 && is_needed(iv, f)) {
        view_text(&iv->view, VIEW_PLAIN, 2, 2, "This one is needed: type what it is instead.");
        return false;
    }
    if (strcmp(line, "-") == 0) {
        fields_unset(iv->complaint, f);
        return true;
    }
    if (asks_which(iv, f, line))
        return false;
    const char *doubt = interview_doubt(iv, f, line);
    if (doubt) {
        view_textf(&iv->view, VIEW_PLAIN, 2, 2,
                   "%s. Type it once more to keep it, or the answer; Enter skips.", doubt);
        return false;
    }
    if (form_set(iv->complaint, f, line, &iv->day, &err) == 0) {
        iv->harmed = iv->harmed && strcmp(f->name, "harm") != 0;
        read_back(iv, f);
        if (strcmp(f->name, "symptom") == 0)
            keep_sentence(iv, line);
        return true;
    }
    if (strcmp(f->name, "symptom") == 0) {
        keep_sentence(iv, line);
        interview_save(iv);
        interview_story_harm(iv);
        interview_harm(iv);
    }
    view_textf(&iv->view, VIEW_PLAIN, 2, 2, "Not taken: %s%s%s%s", err.text,
               err.hint[0] ? " (" : "", err.hint, err.hint[0] ? ")" : "");
    return false;
}

enum said interview_ask(struct interview *iv, const struct field *f, const char *ask,
                        const struct field **ret_field)
{
    *ret_field = NULL;
    print_question(iv, f, ask);
    for (;;) {
        enum said said = SAID_ANSWER;
        char folded[64];
        char *line = interview_line(iv, "> ");
        if (!line)
            return SAID_QUIT;
        text_fold(line, folded, sizeof folded);
        bool answered = false;
        if (!*folded && asks_again(iv, f))
            view_text(&iv->view, VIEW_PLAIN, 2, 2,
                      iv->harmed
                          ? "After a yes it is needed; no if there is none."
                          : "This one is answered: yes or no; not asked, if the caller could "
                            "not be asked.");
        else if (!*folded)
            said = SAID_SKIP;
        else if (strcmp(folded, "?") == 0 || strcmp(folded, "help") == 0)
            print_help(iv, f);
        else if (strcmp(folded, "list") == 0)
            interview_list(iv);
        else if (is_correct(folded))
            said = correct(iv, folded, ret_field);
        else if (is_unknown(folded)) {
            if (takes_unknown(f))
                answered = take_answer(iv, f, "unknown");
            else
                said = SAID_SKIP;
            if (said == SAID_SKIP)
                view_text(&iv->view, VIEW_PLAIN, 2, 2,
                          strcmp(f->name, "harm") == 0 ? "= HARM: NOT ASKED"
                                                       : "= not known, left open");
        } else if (!is_command(folded, &said))
            answered = take_answer(iv, f, line);
        free(line);
        if (answered || said != SAID_ANSWER)
            return said;
    }
}
