#include "records/load.h"
#include "base/text.h"
#include "base/uuid.h"
#include "records/apply.h"
#include "records/refusals.h"
#include "records/stage.h"
#include "records/trial.h"
#include "store/record_find.h"
#include "store/record_write.h"
#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define REFUSED_KEPT_MS WHEN_HOUR_MS

struct load {
    struct import *import;
    struct refusals *refusals;
    struct trial *trial; /* NULL: it stands for itself */
    enum record_kind kind;
    bool keep_good, dry_run, take_last;
    struct clock clock;
    char *state_dir, *path; /* of the staging file */
    char *refused_path;
    char source[128];
    char id[UUID_TEXT];
};

/* ---- opening ---- */

static void free_load(struct load *load)
{
    if (!load)
        return;
    import_free(load->import);
    refusals_free(load->refusals);
    trial_free(load->trial);
    free(load->refused_path);
    free(load->state_dir);
    free(load->path);
    free(load);
}

void load_abort(struct load *load)
{
    if (load && load->import) {
        unlink(load->path);
        unlink(load->refused_path);
    }
    free_load(load);
}

/* "STATE/loads/ID.rows" and ".refused". */
static char *path_of(const char *state_dir, const char *id, const char *ending)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/loads/%s.%s", state_dir, id, ending);
    return text_take(&path);
}

static int make_folder(const char *state_dir, struct error *err)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/loads", state_dir);
    int rc = 0;
    if (mkdir(path.data, 0700) && errno != EEXIST)
        rc = error_set(err, errno == ENOSPC ? ERROR_NO_SPACE : ERROR_IO, "cannot make %s: %s",
                       path.data, strerror(errno));
    text_buffer_free(&path);
    return rc;
}

static void on_refused(void *arg, const struct error *why)
{
    refusals_add(arg, why);
}

static int open_trial(struct load *load, const char *id, struct error *err)
{
    char *path = path_of(load->state_dir, id, "trial");
    int rc = trial_open(path, &load->trial, err);
    free(path);
    return rc;
}

int load_open(const struct load_options *options, struct load **ret, struct error *err)
{
    int rc = make_folder(options->state_dir, err);
    if (rc)
        return rc;
    struct load *load = xcalloc(1, sizeof *load);
    load->kind = options->kind;
    load->keep_good = options->keep_good;
    load->dry_run = options->dry_run;
    load->take_last = options->take_last;
    load->clock = options->clock ? *options->clock : clock_system();
    load->state_dir = xstrdup(options->state_dir);
    uuid_v7(clock_now_ms(&load->clock), load->id);
    text_clip(options->source ? options->source : "", load->source, sizeof load->source);
    load->path = path_of(load->state_dir, load->id, "rows");
    load->refused_path = path_of(load->state_dir, load->id, "refused");
    load->refusals = refusals_new(load->refused_path);
    rc = import_new(&(struct import_options){.kind = options->kind,
                                             .format = options->format,
                                             .source = load->source,
                                             .path = load->path,
                                             .catalogue = options->catalogue,
                                             .take_last = options->take_last,
                                             .refused = on_refused,
                                             .refused_arg = load->refusals},
                    &load->import, err);
    if (!rc && options->trial && options->dry_run)
        rc = open_trial(load, options->trial, err);
    if (rc) {
        load_abort(load);
        return rc;
    }
    *ret = load;
    return 0;
}

/* ---- feeding ---- */

struct finding {
    struct store *store;
    const struct trial *trial;
};

static int find_lot(void *arg, const char *lot, struct refs_lot *ret, struct error *err)
{
    const struct finding *f = arg;
    int rc = record_find_lot(f->store, lot, &ret->id, &ret->packed_ms, err);
    if (!rc && !ret->id)
        *ret = trial_lot(f->trial, lot);
    return rc;
}

static int find_plant(void *arg, const char *lot, char *ret_plant, size_t size, struct error *err)
{
    const struct finding *f = arg;
    return record_find_plant(f->store, lot, ret_plant, size, err);
}

static int find_product(void *arg, const char *product, int64_t *ret_id, struct error *err)
{
    const struct finding *f = arg;
    int rc = record_find_product(f->store, product, ret_id, err);
    if (!rc && !*ret_id)
        *ret_id = trial_product(f->trial, product);
    return rc;
}

int load_feed(struct load *load, struct store *read_store, const char *bytes, size_t length,
              struct error *err)
{
    struct finding finding = {read_store, load->trial};
    struct refs_source refs = {find_lot, find_product, &finding, find_plant};
    return import_feed(load->import, &refs, bytes, length, err);
}

int load_told(struct load *load, json_t **ret, struct error *err)
{
    struct import_counts counts = import_counts(load->import);
    char rest[64];
    json_t *first;
    int64_t more;
    int rc = refusals_take(load->refusals, &first, &more, err);
    if (rc)
        return rc;
    *ret = json_pack("{s:I, s:o, s:I}", "read", (json_int_t)counts.read, "refused", first,
                     "refused_total", (json_int_t)counts.refused);
    if (more) {
        snprintf(rest, sizeof rest, "/v1/loads/%s/refused", load->id);
        json_object_set_new(*ret, "refused_more", json_integer(more));
        json_object_set_new(*ret, "rest", json_string(rest));
    }
    return 0;
}

int load_refused(const char *state_dir, const char *id, int64_t from, char **ret_lines,
                 size_t *ret_length, struct error *err)
{
    char *path = path_of(state_dir, id, "refused");
    int rc = refusals_page(path, from, ret_lines, ret_length, err);
    if (rc == ERROR_NOT_FOUND)
        error_hint(err, "they are kept until the file's next part comes, or for an hour");
    free(path);
    return rc;
}

/* ---- finishing ---- */

/* What applying would do, row by row, on a reading connection. */
static int compare_rows(const struct load *load, struct store *store, struct load_file *ret,
                        struct error *err)
{
    struct stage_reader *reader;
    struct stage_row row;
    enum record_outcome outcome, of_row = RECORD_SAME;
    bool in_row = false;
    int rc =
        stage_reader_new(load->path, record_kind_table(load->kind)->count, STAGE_FAR, &reader, err);
    if (rc)
        return rc;
    struct record_writing *writing = record_write_new(store, load->kind, load->source, 0);
    int64_t counts[3] = {0};
    while ((rc = stage_next(reader, &row, err)) == 1) {
        if (row.flags & STAGE_DROPPED)
            continue;
        if ((row.flags & STAGE_FIRST) && in_row)
            counts[of_row]++;
        if (row.flags & STAGE_FIRST)
            of_row = RECORD_SAME;
        in_row = true;
        if ((rc = record_write_compare(writing, row.cells, &outcome, err)))
            break;
        if (load->trial)
            trial_add(load->trial, load->kind, row.cells);
        if (outcome > of_row)
            of_row = outcome;
    }
    if (in_row)
        counts[of_row]++;
    ret->same_rows += counts[RECORD_SAME];
    ret->new_rows += counts[RECORD_NEW];
    ret->changed_rows += counts[RECORD_CHANGED];
    record_write_free(writing);
    stage_reader_free(reader);
    return rc;
}

static int dry_run(const struct load *load, struct store *store, struct load_file *ret,
                   struct error *err)
{
    int rc = store_begin(store, err);
    if (rc)
        return rc;
    rc = compare_rows(load, store, ret, err);
    store_rollback(store);
    return rc || !load->trial ? rc : trial_write(load->trial, err);
}

/* Accepts and applies. From the acceptance on the staging file is apply's. */
static int apply(struct load *load, struct writer *writer, struct load_file *ret,
                 bool *ret_accepted, struct error *err)
{
    int rc = apply_accept(writer, load->state_dir, ret, err);
    if (rc)
        return rc;
    *ret_accepted = true;
    rc = apply_until(writer, load->state_dir, load->id, &load->clock, -1, err);
    if (rc) {
        error_hint(err,
                   rc == ERROR_BUSY
                       ? "the file is accepted: the rest of it is applied at the next start"
                       : "the file is accepted: the rest of it is applied when this is mended");
        return rc;
    }
    rc = apply_state(writer, load->id, ret, err);
    if (!rc && ret->state == LOAD_DONE)
        unlink(load->path); /* another daemon may have applied the last of it */
    if (!rc && ret->state == LOAD_FAILED)
        rc = error_set(err, ERROR_INTERNAL, "the accepted rows could not be applied");
    return rc;
}

static json_t *answer_of(const struct load *load, const struct load_file *file, json_t *told,
                         bool applied)
{
    json_t *answer =
        json_pack("{s:s, s:I, s:I, s:I, s:b}", "kind", record_kind_table(load->kind)->kind, "new",
                  (json_int_t)file->new_rows, "changed", (json_int_t)file->changed_rows, "same",
                  (json_int_t)file->same_rows, "applied", applied);
    json_object_update(answer, told);
    if (load->dry_run)
        json_object_set_new(answer, "dry_run", json_true());
    if (load->take_last)
        json_object_set_new(answer, "passed_over",
                            json_integer(import_counts(load->import).passed_over));
    return answer;
}

/* What comes of the checked rows. */
static int conclude(struct load *load, struct store *read_store, struct writer *writer,
                    json_t *told, json_t **ret_answer, struct error *err)
{
    struct import_counts counts = import_counts(load->import);
    struct load_file file = {.kind = load->kind, .accepted_ms = clock_now_ms(&load->clock)};
    bool good = !counts.unusable && (counts.refused == 0 || load->keep_good);
    bool something = counts.accepted > counts.idle, accepted = false;
    int rc = 0;
    memcpy(file.id, load->id, sizeof file.id);
    memcpy(file.source, load->source, sizeof file.source);
    snprintf(file.path, sizeof file.path, "loads/%s.rows", load->id);
    if (good)
        file.same_rows = counts.idle;
    if (good && something)
        rc = load->dry_run ? dry_run(load, read_store, &file, err)
                           : apply(load, writer, &file, &accepted, err);
    if (!accepted)
        unlink(load->path);
    if (!rc)
        *ret_answer = answer_of(load, &file, told, good && !load->dry_run);
    return rc;
}

int load_finish(struct load *load, struct store *read_store, struct writer *writer,
                json_t **ret_answer, struct error *err)
{
    json_t *told = NULL;
    struct finding finding = {read_store, load->trial};
    struct refs_source refs = {find_lot, find_product, &finding, find_plant};
    int rc = import_finish(load->import, &refs, err);
    if (!rc) /* before anything is applied: what cannot be told is not done */
        rc = load_told(load, &told, err);
    if (rc) {
        load_abort(load);
        return rc;
    }
    rc = conclude(load, read_store, writer, told, ret_answer, err);
    json_decref(told);
    free_load(load);
    return rc;
}

/* ---- start-up ---- */

/* Staging files that no accepted load needs go: cut off before acceptance, or applied. A failed
 * load's rows stay, for somebody to look at. */
static void remove_leftovers(struct writer *writer, const char *state_dir)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/loads", state_dir);
    DIR *folder = opendir(path.data);
    for (struct dirent *entry; folder && (entry = readdir(folder));) {
        struct load_file file;
        char id[UUID_TEXT] = "";
        if (strlen(entry->d_name) < UUID_TEXT)
            continue;
        memcpy(id, entry->d_name, UUID_TEXT - 1);
        if (!uuid_normalize(id, NULL))
            continue;
        int rc = apply_state(writer, id, &file, NULL);
        if (rc == ERROR_NOT_FOUND || (rc == 0 && file.state == LOAD_DONE))
            unlinkat(dirfd(folder), entry->d_name, 0);
        else if (rc == 0 && file.state == LOAD_FAILED)
            apply_set_aside(state_dir, id);
    }
    if (folder)
        closedir(folder);
    text_buffer_free(&path);
}

/* What is kept only until somebody asks for it. */
static bool is_kept_a_while(const char *name)
{
    static const char *const ENDINGS[] = {".refused", ".trial", ".trial.part"};
    bool found = false;
    for (size_t i = 0; i < sizeof ENDINGS / sizeof *ENDINGS && !found; i++)
        found = strlen(name) > UUID_TEXT - 1 && strcmp(name + UUID_TEXT - 1, ENDINGS[i]) == 0;
    return found;
}

void load_forget(const char *state_dir, int64_t now_ms)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/loads", state_dir);
    DIR *folder = opendir(path.data);
    for (struct dirent *entry; folder && (entry = readdir(folder));) {
        struct stat st;
        if (is_kept_a_while(entry->d_name) && fstatat(dirfd(folder), entry->d_name, &st, 0) == 0 &&
            (int64_t)st.st_mtime * 1000 < now_ms - REFUSED_KEPT_MS)
            unlinkat(dirfd(folder), entry->d_name, 0);
    }
    if (folder)
        closedir(folder);
    text_buffer_free(&path);
}

int load_continue(struct writer *writer, const char *state_dir, struct error *err)
{
    struct clock clock = clock_system();
    return apply_until(writer, state_dir, NULL, &clock, -1, err);
}

struct first {
    struct load_file file;
    bool found;
};

static int find_first(struct store *store, void *arg, struct error *err)
{
    struct first *first = arg;
    return load_file_next(store, &first->file, &first->found, err);
}

/* Of a server those that wait first and were accepted here: others' may be under way. */
static int resume_own(struct writer *writer, const char *state_dir, struct error *err)
{
    const struct clock clock = clock_system();
    struct first first = {.found = true};
    bool ours = true;
    int rc = 0;
    while (!rc && first.found && ours) {
        rc = writer_insist(writer, find_first, &first, err);
        char *path = first.found ? path_of(state_dir, first.file.id, "rows") : NULL;
        ours = path && access(path, F_OK) == 0;
        free(path);
        if (!rc && ours)
            rc = apply_until(writer, state_dir, first.file.id, &clock, -1, err);
    }
    return rc;
}

int load_resume(struct writer *writer, const char *state_dir, struct error *err)
{
    int rc = writer_is_on_server(writer) ? resume_own(writer, state_dir, err)
                                         : load_continue(writer, state_dir, err);
    remove_leftovers(writer, state_dir);
    return rc;
}
