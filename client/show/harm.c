#include "show/harm.h"
#include "show/pick.h"
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define STOP_EATING                                                                                \
    "\"Please stop eating it, and keep the bread, the bag and the code for us. If anyone is "      \
    "unwell or hurt, please call a doctor or the emergency number now; do not wait for us."

const char *harm_script(const char *script, bool reachable)
{
    static const char told[] = STOP_EATING "\"";
    static const char asked[] = STOP_EATING
        " So that our food-safety team can call you back: under which number do we reach you? "
        "Without one, nobody can call.\"";
    return script && *script ? script : reachable ? told : asked;
}

char *harm_sentence(const char *alarm, char *out, size_t size)
{
    text_clip(alarm, out, size);
    out[0] = (char)toupper((unsigned char)out[0]);
    return out;
}

void harm_show(const struct view *v, const char *script, const char *alarm)
{
    char sentence[160];
    view_blank(v);
    view_text(v, VIEW_HARM, 0, 0, "HARM REPORTED. Read out to the caller:");
    view_text(v, VIEW_PLAIN, 2, 0, harm_script(script, false));
    view_text(
        v, VIEW_PLAIN, 0, 0,
        "Then tell the plant's food-safety lead at once, yourself. The law may set a deadline "
        "for reporting; the food-safety lead and a doctor decide, not this program. Name no "
        "cause to the caller.");
    if (alarm && *alarm)
        view_textf(v, VIEW_BOLD, 0, 0, "%s.", harm_sentence(alarm, sentence, sizeof sentence));
}

/* Nobody listens to whom a script could be read out. */
void harm_show_written(const struct view *v, bool possible, const char *alarm)
{
    char sentence[160];
    view_blank(v);
    view_text(v, VIEW_HARM, 0, 0,
              possible ? "MAY BE HARM in what was written: a person must read it. Name no cause "
                         "before that is clear."
                       : "HARM IS SPOKEN OF in what was written. Tell the plant's food-safety lead "
                         "at once, yourself.");
    if (alarm)
        view_textf(v, VIEW_BOLD, 0, 0, "%s.", harm_sentence(alarm, sentence, sizeof sentence));
}

void harm_show_heard(const struct view *v, const json_t *answer)
{
    const json_t *heard = json_object_get(answer, "heard"),
                 *record = json_object_get(heard, "record");
    const char *script = pick_text(heard, "script", NULL);
    const char *alarm = pick_text(heard, "alarm", pick_text(heard, "no_mail", NULL));
    const char *complaint = pick_text(heard, "short", pick_text(heard, "complaint", NULL));
    bool possible = json_array_size(json_object_get(heard, "harm")) == 0;
    if (!heard)
        return;
    if (!script)
        harm_show_written(v, possible, alarm);
    else if (possible)
        harm_show_possible(v, script, alarm);
    else
        harm_show(v, script, alarm);
    if (!complaint || !record)
        return;
    struct text_buffer kinds = {0};
    for (size_t i = 0; i < json_array_size(record); i++)
        text_appendf(&kinds, "%s%s", i ? "," : "", json_string_value(json_array_get(record, i)));
    view_textf(v, VIEW_BOLD, 0, 2,
               "It stands in what was written only. Put it on record: oddloaf correct %s "
               "harm=%s --reason TEXT",
               complaint, kinds.length ? kinds.data : "KIND");
    text_buffer_free(&kinds);
}

void harm_show_first(const struct view *v)
{
    view_blank(v);
    view_text(v, VIEW_HARM, 0, 0,
              "MAY BE HARM: a person must read the note before any cause is named. What to ask the "
              "caller stands below.");
}

#define WAS_ANYONE                                                                                 \
    "Was anyone, or a pet, unwell or hurt after eating it? Was there anything in it that does "    \
    "not belong there?"

void harm_show_unread(const struct view *v)
{
    view_blank(v);
    view_text(v, VIEW_HARM, 0, 0, "NOBODY HAS READ THE NOTE. Ask the caller:");
    view_text(v, VIEW_PLAIN, 2, 0, WAS_ANYONE);
    view_text(v, VIEW_PLAIN, 0, 0, "If so, read out:");
    view_text(v, VIEW_PLAIN, 2, 0, harm_script(NULL, false));
}

void harm_show_call_back(const struct view *v, bool possible, const char *script)
{
    view_text(v, VIEW_HARM, 0, 2,
              possible ? "Nobody asked who called of harm: phone them, and ask:"
                       : "Nobody read it out to who called with harm: phone them, and read out:");
    view_text(v, VIEW_PLAIN, 4, 4,
              script && *script ? script
              : possible        ? WAS_ANYONE
                                : harm_script(NULL, true));
}

void harm_show_possible(const struct view *v, const char *script, const char *alarm)
{
    char sentence[160];
    view_blank(v);
    view_text(v, VIEW_HARM, 0, 0, "MAY BE HARM: a person must read the note. Ask the caller:");
    view_text(v, VIEW_PLAIN, 2, 0, script && *script ? script : WAS_ANYONE);
    view_text(v, VIEW_PLAIN, 0, 0,
              "If so, log it as harm (--harm). Name no cause to the caller before that is clear.");
    if (alarm && *alarm)
        view_textf(v, VIEW_BOLD, 0, 0, "%s.", harm_sentence(alarm, sentence, sizeof sentence));
}

void harm_tally_add(struct harm_tally *tally, const char *name, const char *alarm)
{
    char word[32];
    if (alarm)
        text_clip(alarm, tally->alarm, sizeof tally->alarm);
    snprintf(word, sizeof word, " %.20s,", name);
    if (tally->names.data && strstr(tally->names.data, word))
        return;
    if (tally->names.length < 200) {
        text_append(&tally->names, word);
        return;
    }
    if (!tally->more)
        tally->more = json_object();
    json_object_set_new(tally->more, word, json_true());
}

void harm_tally_show(const struct view *v, const struct harm_tally *tally)
{
    char sentence[sizeof tally->alarm], more[40] = "";
    if (json_object_size(tally->more))
        snprintf(more, sizeof more, " and %zu more", json_object_size(tally->more));
    if (tally->possible)
        view_textf(v, VIEW_HARM, 0, 2,
                   "%ld may speak of harm (TO READ): a person must read what was said.",
                   tally->possible);
    if (tally->names.length)
        view_textf(
            v, VIEW_HARM, 0, 2,
            "Harm is reported in%.*s%s.%s%s%s Tell the plant's food-safety lead at once. The "
            "law may set a deadline; they and a doctor decide.",
            (int)tally->names.length - 1, tally->names.data, more, tally->alarm[0] ? " " : "",
            harm_sentence(tally->alarm, sentence, sizeof sentence), tally->alarm[0] ? "." : "");
}

void harm_tally_clear(struct harm_tally *tally)
{
    text_buffer_free(&tally->names);
    json_decref(tally->more);
}

bool harm_possible(const json_t *answer)
{
    return json_is_true(json_object_get(answer, "harm_possible"));
}

bool harm_in_words(int count, char *const *words)
{
    for (int i = 0; i < count; i++) {
        const char *word = words[i] + (strncmp(words[i], "--", 2) == 0 ? 2 : 0);
        bool option = word != words[i] && strcmp(word, "harm") == 0;
        if (option || (strncmp(word, "harm=", 5) == 0 && word[5]))
            return true;
    }
    return false;
}

const char *harm_taken_back(const json_t *answer, char *out, size_t size)
{
    char when[VIEW_NUMBER];
    const json_t *back = json_object_get(answer, "harm_taken_back");
    if (!back)
        return NULL;
    snprintf(out, size, "harm was reported in it before, and taken back %s by %s: %s",
             view_when(pick_text(back, "at", "?"), when), pick_text(back, "by", "?"),
             pick_text(back, "reason", "?"));
    return out;
}

bool harm_reported(const json_t *complaint, const json_t *answer)
{
    const json_t *harm = json_object_get(answer, "harm");
    if (json_object_get(answer, "harm_taken_back"))
        return false;
    return json_array_size(json_object_get(complaint, "harm")) > 0 || json_is_true(harm) ||
           json_array_size(harm) > 0;
}

static void append_laboratory(const json_t *row, struct text_buffer *out)
{
    char when[VIEW_NUMBER];
    text_appendf(out, "A laboratory (%s) found in %s: '%s', sample %s, ",
                 pick_text(row, "lab", "?"), pick_text(row, "case", pick_text(row, "lot", "?")),
                 pick_text(row, "spoken", "?"), pick_text(row, "sample", "?"));
    text_appendf(out, "written %s by %s, not taken back", view_when(pick_text(row, "at", ""), when),
                 pick_text(row, "by", "?"));
}

void harm_open_line(const json_t *row, struct text_buffer *out)
{
    char when[VIEW_NUMBER];
    if (pick_has(row, "lab")) {
        append_laboratory(row, out);
        return;
    }
    if (pick_has(row, "spoken")) { /* no complaint: a call since */
        text_appendf(out, "%s, written %s by %s: '%s'",
                     pick_text(row, "case", pick_text(row, "lot", "?")),
                     view_when(pick_text(row, "at", ""), when), pick_text(row, "by", "?"),
                     pick_text(row, "spoken", "?"));
        return;
    }
    text_appendf(out, "%s %s: ", pick_text(row, "case", "?"), pick_text(row, "symptom", "?"));
    if (pick_bool(row, "possible", false)) {
        text_append(out, "a note may speak of harm, a person must read it");
        return;
    }
    if (pick_has(row, "unfit")) {
        text_appendf(
            out, "moldy or ropy, %s by all causes that lie in the lot together; the likeliest: %s",
            view_chance(pick_number(row, "probability", 0), when), pick_text(row, "unfit", "?"));
        return;
    }
    char *harm = pick_shown(row, "harm");
    text_appendf(out, "%s, %s", *harm ? harm : "harm",
                 view_when(pick_text(row, "received_at", ""), when));
    if (pick_has(row, "note"))
        text_appendf(out, ": '%s'", pick_text(row, "note", ""));
    text_appendf(out, " (complaint %s)", pick_text(row, "complaint", "?"));
    free(harm);
}

void harm_show_open(const struct view *v, const json_t *answer)
{
    size_t i;
    char sentence[160];
    const json_t *row, *open = json_object_get(answer, "open_harm");
    const char *alarm = pick_text(answer, "alarm", NULL);
    bool harm = false;
    json_array_foreach(open, i, row)
    {
        harm = harm || !pick_has(row, "unfit");
    }
    if (json_array_size(open))
        view_text(
            v, VIEW_HARM, 0, 2,
            !harm
                ? "MOLDY OR ROPY BREAD IS OPEN. It is neither sold nor reworked:"
                : "HARM IS OPEN. Keep packs of the lot, and what was found, for the authority and "
                  "the laboratory:");
    json_array_foreach(open, i, row)
    {
        struct text_buffer line = {0};
        harm_open_line(row, &line);
        view_text(v, VIEW_PLAIN, 2, 2, line.data);
        text_buffer_free(&line);
    }
    if (alarm)
        view_textf(v, VIEW_BOLD, 0, 0, "%s.", harm_sentence(alarm, sentence, sizeof sentence));
}
