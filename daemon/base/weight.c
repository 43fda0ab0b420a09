#include "base/weight.h"
#include <math.h>
#include <stddef.h>

struct step {
    double least;
    const char *word;
};

/* The first that is reached; the last always is. */
static const char *word_of(const struct step *steps, double bits)
{
    while (steps->least > 0 && !(bits >= steps->least))
        steps++;
    return steps->word;
}

const char *weight_word(double bits)
{
    static const struct step STEPS[] = {
        {3, "strongly"}, {1.5, "clearly"}, {0.5, "somewhat"}, {0, "slightly"}};
    return word_of(STEPS, fabs(bits));
}

const char *weight_gain(double bits)
{
    static const struct step STEPS[] = {
        {0.5, "tells much"}, {0.1, "tells something"}, {0, "tells little"}};
    return word_of(STEPS, bits);
}
