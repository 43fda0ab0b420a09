#include "stats/runlength.h"

#include <gsl/gsl_integration.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>

#include "base/error.h"

/* Nodes enough for 1e-6 over limits of up to about ten sigma. */
#define NODES 64

struct system {
    size_t n; /* nodes, and the atom's row if there is one */
    double x[NODES + 1], w[NODES + 1];
};

static int nodes_of(const struct runlength_equation *e, struct system *s)
{
    gsl_integration_glfixed_table *table = gsl_integration_glfixed_table_alloc(NODES);
    if (!table)
        return ERROR_MEMORY;
    for (size_t i = 0; i < NODES; i++)
        gsl_integration_glfixed_point(e->low, e->high, i, &s->x[i], &s->w[i], table);
    gsl_integration_glfixed_table_free(table);
    s->n = NODES;
    if (e->atom) {
        s->x[NODES] = e->low;
        s->w[NODES] = 0;
        s->n = NODES + 1;
    }
    return 0;
}

/* Weight of unknown j in the equation at u. */
static double coefficient(const struct runlength_equation *e, const struct system *s, size_t j,
                          double u)
{
    return j < NODES ? s->w[j] * e->kernel(s->x[j], u, e->chart) : e->atom(u, e->chart);
}

static int solve(const struct runlength_equation *e, const struct system *s, double *ret_length)
{
    gsl_matrix *a = gsl_matrix_alloc(s->n, s->n);
    gsl_vector *b = gsl_vector_alloc(s->n), *x = gsl_vector_alloc(s->n);
    gsl_permutation *order = gsl_permutation_alloc(s->n);
    int sign, status = ERROR_MEMORY;
    if (a && b && x && order) {
        for (size_t i = 0; i < s->n; i++) {
            gsl_vector_set(b, i, 1.0);
            for (size_t j = 0; j < s->n; j++)
                gsl_matrix_set(a, i, j, (i == j ? 1.0 : 0.0) - coefficient(e, s, j, s->x[i]));
        }
        status =
            gsl_linalg_LU_decomp(a, order, &sign) == 0 && gsl_linalg_LU_solve(a, order, b, x) == 0
                ? 0
                : ERROR_INVALID;
        for (size_t i = 0; i < s->n; i++)
            ret_length[i] = gsl_vector_get(x, i);
    }
    gsl_matrix_free(a);
    gsl_vector_free(b);
    gsl_vector_free(x);
    gsl_permutation_free(order);
    return status;
}

int runlength_solve(const struct runlength_equation *e, double start, double *ret)
{
    struct system s;
    double length[NODES + 1];
    int status = nodes_of(e, &s);
    if (status == 0)
        status = solve(e, &s, length);
    if (status != 0)
        return status;
    double sum = 1.0;
    for (size_t j = 0; j < s.n; j++)
        sum += coefficient(e, &s, j, start) * length[j];
    if (!isfinite(sum) || sum < 1.0)
        return ERROR_INVALID;
    *ret = sum;
    return 0;
}
