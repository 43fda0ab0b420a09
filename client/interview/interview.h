/* The interview: a complaint taken line by line on a terminal. After each answer the daemon is
 * asked what it would make of it (POST /v1/complaints/preview), and its most telling question
 * comes next; without a daemon the usual questions are asked in the usual order.
 *
 * Line based on purpose: it works over ssh, in any terminal and with a screen reader. Every
 * answer is saved in a draft at once, so that a cut connection loses nothing. */
#ifndef ODDLOAF_CLIENT_INTERVIEW_INTERVIEW_H
#define ODDLOAF_CLIENT_INTERVIEW_INTERVIEW_H

#include "deliver/client.h"
#include "form/form.h"
#include <jansson.h>

/* Asks, shows, sends (or keeps). `complaint` holds what the command line said already and its id
 * and time; borrowed. Returns the exit code. */
int interview_run(struct client *c, json_t *complaint);

#endif
