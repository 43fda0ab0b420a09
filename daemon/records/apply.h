/* Applying accepted files to the store, slice by slice in writer jobs, so that complaints get in
 * between. Files are applied in the order of their acceptance: whoever waits for one helps those
 * before it along. Everything needed is in the store and in DIR/loads/
 * (of a state on a server all of it in the store, and any daemon there may go on with it), so a
 * crash or a full disk at any point only means that apply_until() is called again. */
#ifndef ODDLOAF_RECORDS_APPLY_H
#define ODDLOAF_RECORDS_APPLY_H

#include "base/when.h"
#include "store/load_file.h"
#include "store/writer.h"

/* Records in one writer job: a few milliseconds' work, a complaint may have to wait for it. A wide
 * row is a record for each of its quantities, and is never divided. */
#define APPLY_SLICE 4000

/* What the name of a file that can never be applied ends with, in place of ".rows". */
#define APPLY_FAILED ".failed"

/* Accepts a staged file (synced): from here on it will be applied. Its rows go to a server first,
 * if the state is on one: then any of its daemons applies them. */
int apply_accept(struct writer *writer, const char *state_dir, const struct load_file *file,
                 struct error *err);

/* Applies waiting files until the one called `id` is through (NULL: until none waits). Not from
 * the writer's thread. `slices` < 0: as many as it takes; else at most so many. An error leaves the
 * file waiting (ERROR_BUSY: the writer is hurried), unless it can never be applied: then it is
 * marked failed, which is an error for whoever waits for it and passed over by others. */
int apply_until(struct writer *writer, const char *state_dir, const char *id,
                const struct clock *clock, int slices, struct error *err);

/* Gives the staged rows of a load marked failed that name, and keeps them: nobody else may have
 * them. */
void apply_set_aside(const char *state_dir, const char *id);

/* The file as it stands. */
int apply_state(struct writer *writer, const char *id, struct load_file *ret, struct error *err);

#endif
