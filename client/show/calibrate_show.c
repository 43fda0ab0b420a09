#include "show/calibrate_show.h"
#include "base/text.h"
#include "show/pick.h"
#include "show/table.h"
#include <math.h>
#include <stdlib.h>

#define FARTHEST_SHOWN 8
#define BAR_CELLS 20
#define GAP_TOO_WIDE 1.36 /* Kolmogorov's 5 % limit, over the root of the number */

static void show_factor(const struct view *v, const char *label, const json_t *factor,
                        const char *of)
{
    char n[3][VIEW_NUMBER];
    if (!json_is_object(factor))
        return;
    view_label(v, label, "times %s (%s to %s)%s",
               view_rough(pick_number(factor, "typical", 0), n[0]),
               view_rough(pick_number(factor, "low", 0), n[1]),
               view_rough(pick_number(factor, "high", 0), n[2]), of);
}

static void show_head(const struct view *v, const json_t *document)
{
    char n[2][VIEW_NUMBER];
    const json_t *left_out = json_object_get(document, "left_out");
    double blamed = pick_number(left_out, "blamed", 0);
    double outside = pick_number(left_out, "outside", 0);
    view_title(v, "Mold predictions against the plant's retained samples");
    view_label(v, "samples", "%s, mold found on %s",
               view_number(pick_number(document, "samples", 0), n[0]),
               view_number(pick_number(document, "found", 0), n[1]));
    if (blamed > 0)
        view_label(v, "left out", "%s: a complaint or a verdict is about their lot",
                   view_number(blamed, n[0]));
    if (outside > 0)
        view_label(v, blamed > 0 ? "" : "left out", "%s: outside what the models hold for",
                   view_number(outside, n[0]));
}

static void show_adopted(const struct view *v, const json_t *adopted)
{
    char when[VIEW_NUMBER];
    const json_t *fit = json_object_get(adopted, "fit");
    if (!json_is_object(adopted)) {
        view_label(v, "in force", "the rule files' parameters; no fit is adopted");
        return;
    }
    view_label(v, "in force", "the fit of %s, adopted by %s",
               view_when(pick_text(adopted, "at", "?"), when), pick_text(adopted, "by", "?"));
    show_factor(v, "", json_object_get(fit, "time_scale"), " on mold times");
    show_factor(v, "", json_object_get(fit, "spores_scale"), " on spores");
}

static void show_errors(const struct view *v, const json_t *errors)
{
    char n[3][VIEW_NUMBER];
    if (!pick_has(errors, "after"))
        return;
    view_label(v, "usual miss", "%s days with this fit; %s by the rule files, %s as now in force",
               view_rough(pick_number(errors, "after", 0), n[0]),
               view_rough(pick_number(errors, "before", 0), n[1]),
               view_rough(pick_number(errors, "now", 0), n[2]));
}

static void show_fit(const struct view *v, const json_t *document)
{
    const json_t *fit = json_object_get(document, "fit");
    double found = pick_number(document, "found", 0);
    view_section(v, "The fit, with the range it lies in nine times of ten");
    show_factor(v, "mold times", json_object_get(fit, "time_scale"), "");
    show_factor(v, "of one lot", json_object_get(fit, "new_lot"),
                ": this is the range that is adopted");
    show_factor(v, "spores", json_object_get(fit, "spores_scale"), "");
    show_errors(v, json_object_get(document, "before_after"));
    if (found > 0 && pick_number(fit, "position_gap", 0) > GAP_TOO_WIDE / sqrt(found))
        view_text(v, VIEW_PLAIN, 2, 0,
                  "The samples scatter otherwise than the models have it: two factors do not "
                  "explain all. Look at the farthest below, by product, before you adopt.");
}

/* ---- residuals ---- */

static bool is_found(const json_t *row)
{
    return !pick_bool(row, "none_yet", false) && pick_number(row, "predicted", 0) > 0;
}

static double ratio_of(const json_t *row)
{
    return pick_number(row, "observed", 0) / pick_number(row, "predicted", 1);
}

static void show_spread(const struct view *v, const json_t *residuals)
{
    static const struct {
        double below;
        const char *text;
    } bins[] = {{0.5, "less than half"},      {0.7, "0.5 to 0.7"},  {0.85, "0.7 to 0.85"},
                {1.18, "0.85 to 1.18"},       {1.4, "1.18 to 1.4"}, {2, "1.4 to 2"},
                {INFINITY, "more than twice"}};
    enum { BINS = sizeof bins / sizeof *bins };
    static const struct column columns[] = {
        {"mold seen after", COLUMN_LEFT, 0}, {"samples", COLUMN_RIGHT, 0}, {"", COLUMN_LEFT, 0}};
    int counts[BINS] = {0};
    int most = 1;
    size_t i;
    const json_t *row;
    json_array_foreach(residuals, i, row)
    {
        size_t bin = 0;
        if (!is_found(row))
            continue;
        while (ratio_of(row) >= bins[bin].below)
            bin++;
        if (++counts[bin] > most)
            most = counts[bin];
    }
    struct table *t = table_new(columns, 3);
    for (size_t b = 0; b < BINS; b++) {
        char bar[VIEW_BAR];
        table_add(t, bins[b].text);
        table_addf(t, "%d", counts[b]);
        table_add(t, view_bar(v, (double)counts[b] / most, BAR_CELLS, bar));
    }
    view_section(v, "Days until mold, as a share of what the fit predicts");
    table_print(t, v, 2);
    table_free(t);
}

/* A found sample is as far off as its ratio; one not moldy yet only once it has outlived the
 * prediction. */
static double farness(const json_t *row)
{
    double predicted = pick_number(row, "predicted", 0);
    double observed = pick_number(row, "observed", 0);
    if (!(predicted > 0) || !(observed > 0))
        return 0;
    double far = log(observed / predicted);
    return pick_bool(row, "none_yet", false) ? fmax(far, 0) : fabs(far);
}

static json_t *by_farness(const json_t *residuals)
{
    json_t *rows = json_array();
    size_t i;
    const json_t *row;
    json_array_foreach(residuals, i, row)
    {
        json_t *copy = json_copy((json_t *)row);
        json_object_set_new(copy, "far", json_real(farness(row)));
        json_array_append_new(rows, copy);
    }
    json_t *sorted = pick_sorted(rows, "far");
    json_decref(rows);
    return sorted;
}

static void show_farthest(const struct view *v, const json_t *residuals)
{
    static const struct column columns[] = {
        {"lot", COLUMN_LEFT, 0},  {"product", COLUMN_LEFT, 0},    {"rule files", COLUMN_RIGHT, 0},
        {"fit", COLUMN_RIGHT, 0}, {"days seen", COLUMN_RIGHT, 0}, {"", COLUMN_LEFT, 0}};
    struct table *t = table_new(columns, 6);
    json_t *sorted = by_farness(residuals);
    size_t i;
    const json_t *row;
    json_array_foreach(sorted, i, row)
    {
        char n[3][VIEW_NUMBER];
        if (i == FARTHEST_SHOWN)
            break;
        table_add(t, pick_text(row, "lot", "?"));
        table_add(t, pick_text(row, "product", ""));
        table_add(t, view_rough(pick_number(row, "before", 0), n[0]));
        table_add(t, view_rough(pick_number(row, "predicted", 0), n[1]));
        table_add(t, view_number(pick_number(row, "observed", 0), n[2]));
        table_add(t, pick_bool(row, "none_yet", false) ? "none yet" : "");
    }
    if (table_rows(t) > 0) {
        view_section(v, "Farthest from the fit, in days");
        table_print(t, v, 2);
    }
    json_decref(sorted);
    table_free(t);
}

void calibrate_show(const struct view *v, const json_t *document)
{
    bool valid = pick_bool(document, "valid", false);
    const json_t *residuals = json_object_get(document, "residuals");
    show_head(v, document);
    show_adopted(v, json_object_get(document, "adopted"));
    if (pick_has(document, "fit")) {
        show_fit(v, document);
        show_spread(v, residuals);
        show_farthest(v, residuals);
    }
    view_blank(v);
    if (valid)
        view_text(v, VIEW_PLAIN, 0, 0, "To predict with it: oddloaf calibrate --adopt");
    else
        view_textf(v, VIEW_PLAIN, 0, 2, "Nothing to adopt: %s.",
                   pick_text(document, "reason", "not valid"));
}
