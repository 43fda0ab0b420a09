#include "stats/proportion.h"
#include <gsl/gsl_cdf.h>
#include <math.h>

struct interval proportion_wilson(double x, double n, double confidence)
{
    if (!(n > 0))
        return (struct interval){NAN, NAN};
    double z = gsl_cdf_ugaussian_Pinv((1 + confidence) / 2), z2 = z * z, share = x / n;
    double middle = (share + z2 / (2 * n)) / (1 + z2 / n);
    double half = z / (1 + z2 / n) * sqrt(share * (1 - share) / n + z2 / (4 * n * n));
    return (struct interval){x <= 0 ? 0 : fmax(0, middle - half),
                             x >= n ? 1 : fmin(1, middle + half)};
}
