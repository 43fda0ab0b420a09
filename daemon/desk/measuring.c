#include "desk/measuring.h"
#include "base/jsonx.h"
#include "base/tz_of.h"
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- what is written ---- */

/* "104 degF" is a number and its unit; anything else is one text. */
struct said {
    char number[MEASURING_SAID + 1];
    const char *unit; /* NULL: none */
    double value;     /* NAN: no number */
};

static void take_apart(const char *text, struct said *ret)
{
    size_t length = strcspn(text, " ");
    snprintf(ret->number, sizeof ret->number, "%.*s", (int)length, text);
    ret->unit = text[length] ? text + length + strspn(text + length, " ") : NULL;
    ret->value = NAN;
    text_to_double(ret->number, &ret->value);
}

static int refuse(const struct measuring *m, struct error *err)
{
    error_field(err, m->quantity, m->said);
    return ERROR_INVALID;
}

static int read_said(const json_t *value, struct measuring *m, struct error *err)
{
    if (json_is_number(value)) {
        char *text = jsonx_dump(value);
        text_clip(text, m->said, sizeof m->said);
        free(text);
    } else if (json_is_string(value)) {
        const char *text = json_string_value(value);
        text += strspn(text, " ");
        if (!*text || json_string_length(value) >= sizeof m->said) {
            error_set(err, ERROR_INVALID, "must be a result of at most %zu bytes",
                      sizeof m->said - 1);
            return refuse(m, err);
        }
        text_clip(text, m->said, sizeof m->said);
        for (size_t end = strlen(m->said); end && m->said[end - 1] == ' ';)
            m->said[--end] = '\0';
    } else if (!json_is_null(value)) {
        error_set(err, ERROR_INVALID, "must be a number or a text");
        return refuse(m, err);
    }
    return 0;
}

/* ---- whether it can be so ---- */

static int refuse_number(const struct measuring *m, struct error *err)
{
    bool bound = *m->said == '<' || *m->said == '>';
    error_set(err, ERROR_INVALID, "is no number%s",
              strchr(m->said, ',') ? " (the decimal sign is a point)" : "");
    error_hint(err, bound ? "write the limit itself and say \"below\" or \"above\" in --note"
                          : "a unit stands after a blank: '104 degF'");
    return refuse(m, err);
}

static int read_number(const struct catalogue_quantity *known, struct measuring *m,
                       struct error *err)
{
    struct said said;
    take_apart(m->said, &said);
    if (isnan(said.value))
        return refuse_number(m, err);
    if (catalogue_convert(said.value, said.unit, known->unit, &m->value, err))
        return refuse(m, err);
    bool plain = strcmp(known->unit, "1") == 0;
    if (m->value < known->low || m->value > known->high) {
        error_set(err, ERROR_INVALID, "is outside the plausible range %.10g to %.10g%s%s",
                  known->low, known->high, plain ? "" : " ", plain ? "" : known->unit);
        return refuse(m, err);
    }
    if (known->yes_no && m->value != 0 && m->value != 1) {
        error_set(err, ERROR_INVALID, "must be 0 or 1");
        return refuse(m, err);
    }
    return 0;
}

/* A word that the rules do not have is a result all the same. */
static int read_word(const struct catalogue_quantity *known, struct measuring *m, struct error *err)
{
    const char *word = catalogue_word(known, m->said);
    if (!isalpha((unsigned char)*m->said)) {
        error_set(err, ERROR_INVALID, "is told in words");
        error_hint(err, "as the report has it: %s=\"Penicillium roqueforti\"", known->name);
        return refuse(m, err);
    }
    if (word)
        text_clip(word, m->word, sizeof m->word);
    return 0;
}

static int read_known(const struct catalogue_quantity *known, struct measuring *m,
                      struct error *err)
{
    text_clip(known->name, m->quantity, sizeof m->quantity);
    m->known = true;
    if (known->of != QUANTITY_OF_LOT) {
        error_set(err, ERROR_INVALID, "is measured of a place of the plant, not of a lot");
        error_hint(err, "`oddloaf load plantlog` takes it");
        return refuse(m, err);
    }
    text_clip(known->unit, m->unit, sizeof m->unit);
    if (!*m->said)
        return 0;
    return known->words ? read_word(known, m, err) : read_number(known, m, err);
}

/* By its name, or its name without the unit that the result has. */
static int find(const struct triage *triage, struct measuring *m,
                const struct catalogue_quantity **ret, struct error *err)
{
    const struct catalogue *catalogue = triage_catalogue(triage);
    struct said said;
    *ret = catalogue_said(catalogue, m->quantity);
    take_apart(m->said, &said);
    if (*ret || !said.unit || isnan(said.value))
        return 0;
    return catalogue_match(catalogue, m->quantity, said.unit, ret, err) ? refuse(m, err) : 0;
}

int measuring_read(const struct triage *triage, const char *quantity, const json_t *value,
                   struct measuring *ret, struct error *err)
{
    const struct catalogue_quantity *known = NULL;
    *ret = (struct measuring){.value = NAN};
    text_clip(quantity, ret->quantity, sizeof ret->quantity);
    if (!*quantity || strlen(quantity) > LENGTH_WORD) {
        error_set(err, ERROR_INVALID, "the name of a quantity has 1 to %d bytes", LENGTH_WORD);
        return refuse(ret, err);
    }
    int rc = read_said(value, ret, err);
    if (!rc)
        rc = find(triage, ret, &known, err);
    if (rc)
        return rc;
    if (known)
        return read_known(known, ret, err);
    if (triage_works_out(triage, quantity)) {
        error_set(err, ERROR_INVALID, "is worked out from the lot's mixes and uses, not measured");
        return refuse(ret, err);
    }
    ret->like = catalogue_like(triage_catalogue(triage), quantity);
    return 0;
}

int measuring_check(const struct measuring *m, const struct evidence_lot *lot, const struct tz *tz,
                    int64_t at_ms, struct error *err)
{
    char when[40];
    double days = (double)(at_ms - lot->packed_from_ms) / (double)WHEN_DAY_MS;
    tz = tz_of(tz, lot->plant);
    if (at_ms < lot->made_from_ms) {
        error_set(err, ERROR_INVALID,
                  "lot %s was made from %s on: nothing was measured of it before", lot->lot,
                  when_format(tz, lot->made_from_ms, when));
        error_field(err, "at", when_format(tz, at_ms, when));
        return ERROR_INVALID;
    }
    /* a day more: looks are counted by days, not by hours */
    if (strcmp(m->quantity, "frozen_days") == 0 && m->value > days + 1) {
        error_set(err, ERROR_INVALID,
                  "lot %s was packed %s, %.1f days before: it cannot have been frozen longer",
                  lot->lot, when_format(tz, lot->packed_from_ms, when), days);
        return refuse(m, err);
    }
    if (strcmp(m->quantity, "mold_free_days") == 0 && m->value > days + 1) {
        error_set(err, ERROR_INVALID, "lot %s was packed %s, %.1f days before that look", lot->lot,
                  when_format(tz, lot->packed_from_ms, when), days);
        return refuse(m, err);
    }
    return 0;
}
