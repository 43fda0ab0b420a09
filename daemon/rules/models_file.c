#include "rules/models_file.h"

static void read_parameter(const struct doc_place *place, void *into)
{
    struct row {
        const char *name;
        double low, typical, high;
    } row = {0};
    static const struct doc_row ROWS[] = {
        {"name", DOC_TEXT, DOC_AT(struct row, name), .required = true},
        {"low", DOC_NUMBER, DOC_AT(struct row, low), .required = true},
        {"typical", DOC_NUMBER, DOC_AT(struct row, typical), .required = true},
        {"high", DOC_NUMBER, DOC_AT(struct row, high), .required = true},
        {.name = "unit"},
        {.name = "mark"},
        {.name = "source", .required = true},
        {0}};
    struct doc_place name = doc_member(place, "name"), typical = doc_member(place, "typical");
    bool good = doc_read(place, ROWS, &row);
    if (row.name && !parameters_find(row.name))
        doc_fault(&name, "no such parameter");
    else if (good && parameters_set(into, row.name, row.low, row.typical, row.high))
        doc_fault(&typical, "must have low <= typical <= high");
}

int models_file_read(const char *path, doc_report report, void *arg, struct models_parameters *ret,
                     struct error *err)
{
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "about"},
        {"parameters", DOC_LIST, .each = read_parameter, .required = true},
        {0}};
    struct doc doc = {.report = report, .arg = arg};
    const char *offender = NULL;
    parameters_default(ret);
    if (doc_open(&doc, path, true) == 0) {
        struct doc_place top = doc_top(&doc), list = doc_member(&top, "parameters");
        if (doc_read(&top, ROWS, ret) && !parameters_consistent(ret, &offender))
            doc_fault(&list, "minimum, optimum and maximum of %s are not in order", offender);
    }
    doc_close(&doc);
    if (err && !err->code && doc.first.code)
        *err = doc.first;
    return doc.first.code;
}

int models_file_load(const char *dir, doc_report report, void *arg, struct models_parameters *ret,
                     struct error *err)
{
    struct text_buffer path = {0};
    doc_path(dir, "models.json", &path);
    int rc = models_file_read(path.data, report, arg, ret, err);
    text_buffer_free(&path);
    return rc;
}
