#include "base/sums.h"

#include "base/hot_loop.h"

HOT_LOOP double sum_of(size_t n, const double *x)
{
    double lane[SUM_LANES] = {0.0};
    size_t whole = n - n % SUM_LANES;
    for (size_t i = 0; i < whole; i += SUM_LANES)
        for (size_t j = 0; j < SUM_LANES; j++)
            lane[j] += x[i + j];
    for (size_t i = whole; i < n; i++)
        lane[i - whole] += x[i];
    return sum_of_lanes(lane);
}

HOT_LOOP double sum_of_products(size_t n, const double *x, const double *y)
{
    double lane[SUM_LANES] = {0.0};
    size_t whole = n - n % SUM_LANES;
    for (size_t i = 0; i < whole; i += SUM_LANES)
        for (size_t j = 0; j < SUM_LANES; j++)
            lane[j] += x[i + j] * y[i + j];
    for (size_t i = whole; i < n; i++)
        lane[i - whole] += x[i] * y[i];
    return sum_of_lanes(lane);
}

HOT_LOOP double sum_of_deviations(size_t n, const double *w, const double *x, double x_mean,
                                  const double *y, double y_mean)
{
    double lane[SUM_LANES] = {0.0};
    size_t whole = n - n % SUM_LANES;
    for (size_t i = 0; i < whole; i += SUM_LANES)
        for (size_t j = 0; j < SUM_LANES; j++)
            lane[j] += w[i + j] * (x[i + j] - x_mean) * (y[i + j] - y_mean);
    for (size_t i = whole; i < n; i++)
        lane[i - whole] += w[i] * (x[i] - x_mean) * (y[i] - y_mean);
    return sum_of_lanes(lane);
}
