#include "stats/solve.h"

#include <assert.h>
#include <float.h>
#include <math.h>
#include <stdbool.h>

#include "base/error.h"

#define MAX_STEPS 200

/* b: best root so far, a: the one before, c: the end that keeps the root bracketed with b. */
struct bracket {
    double a, b, c;
    double fa, fb, fc;
    double step, last_step;
};

static void keep_bracketed(struct bracket *s)
{
    if ((s->fb > 0) == (s->fc > 0)) {
        s->c = s->a;
        s->fc = s->fa;
        s->step = s->last_step = s->b - s->a;
    }
    if (fabs(s->fc) < fabs(s->fb)) {
        s->a = s->b;
        s->b = s->c;
        s->c = s->a;
        s->fa = s->fb;
        s->fb = s->fc;
        s->fc = s->fa;
    }
}

/* Interpolates where that stays well inside the bracket, halves it otherwise. */
static void choose_step(struct bracket *s, double half, double tolerance)
{
    if (fabs(s->last_step) < tolerance || fabs(s->fa) <= fabs(s->fb)) {
        s->step = s->last_step = half;
        return;
    }
    double ratio = s->fb / s->fa, p, q;
    if (s->a == s->c) {
        p = 2.0 * half * ratio;
        q = 1.0 - ratio;
    } else {
        double u = s->fa / s->fc, v = s->fb / s->fc;
        p = ratio * (2.0 * half * u * (u - v) - (s->b - s->a) * (v - 1.0));
        q = (u - 1.0) * (v - 1.0) * (ratio - 1.0);
    }
    if (p > 0)
        q = -q;
    p = fabs(p);
    if (2.0 * p < fmin(3.0 * half * q - fabs(tolerance * q), fabs(s->last_step * q))) {
        s->last_step = s->step;
        s->step = p / q;
    } else {
        s->step = s->last_step = half;
    }
}

int solve_bracketed(solve_function f, void *context, double low, double high, double tolerance,
                    double *ret)
{
    assert(f && ret);
    assert(tolerance >= 0);
    struct bracket s = {.a = low, .b = high, .c = high};
    s.fa = f(low, context);
    s.fb = f(high, context);
    if (isnan(s.fa) || isnan(s.fb))
        return ERROR_INVALID;
    if (s.fa == 0) {
        *ret = low;
        return 0;
    }
    if (s.fb != 0 && (s.fa > 0) == (s.fb > 0))
        return ERROR_INVALID;
    s.fc = s.fb;
    s.step = s.last_step = high - low;
    for (int i = 0; i < MAX_STEPS; i++) {
        keep_bracketed(&s);
        double near = 2.0 * DBL_EPSILON * fabs(s.b) + 0.5 * tolerance;
        double half = 0.5 * (s.c - s.b);
        if (fabs(half) <= near || s.fb == 0) {
            *ret = s.b;
            return 0;
        }
        choose_step(&s, half, near);
        s.a = s.b;
        s.fa = s.fb;
        s.b += fabs(s.step) > near ? s.step : copysign(near, half);
        s.fb = f(s.b, context);
        if (isnan(s.fb))
            return ERROR_INVALID;
    }
    *ret = s.b;
    return 0;
}

int solve_monotone(solve_function f, void *context, struct solve_range range, double tolerance,
                   double *ret)
{
    assert(f && ret);
    assert(range.step > 0 && range.floor <= range.ceiling);
    double step = range.step;
    double low = fmin(fmax(range.floor, range.guess - step), range.ceiling);
    double high = fmax(fmin(range.ceiling, range.guess + step), range.floor);
    double at_low = f(low, context), at_high = f(high, context);
    if (at_low == 0 || at_high == 0 || (at_low > 0) != (at_high > 0))
        return solve_bracketed(f, context, low, high, tolerance, ret);
    while (!isnan(at_low) && !isnan(at_high)) {
        step *= 2.0;
        /* f is monotone: the root lies on the side where f is smaller */
        double near, *edge, *at_edge, next;
        if (fabs(at_low) < fabs(at_high)) {
            edge = &low;
            at_edge = &at_low;
            next = fmax(range.floor, low - step);
        } else {
            edge = &high;
            at_edge = &at_high;
            next = fmin(range.ceiling, high + step);
        }
        near = *edge;
        if (next == near)
            return ERROR_INVALID;
        double at_next = f(next, context);
        if (at_next == 0 || (at_next > 0) != (*at_edge > 0))
            return solve_bracketed(f, context, near, next, tolerance, ret);
        *edge = next;
        *at_edge = at_next;
    }
    return ERROR_INVALID;
}
