/* Simultaneous resistance and reactance, JCGM 100:2008 H.2: five readings of voltage, current and
 * phase, correlated means. Readings and published results are from memory of the standard, with
 * more digits from its own formulas. These are of first order, and leave out less than 1e-3 of each
 * uncertainty here. */
#include "draw/correlation.h"
#include "support/propagation.h"

enum { READINGS = 5, GIVEN = 3, WORKED_OUT = 3 };

static const double readings[GIVEN][READINGS] = {
    {5.007, 4.994, 5.005, 4.990, 4.999},                     /* V */
    {19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3}, /* A */
    {1.0456, 1.0438, 1.0468, 1.0428, 1.0433},                /* rad */
};

static double mean_of(const double *x)
{
    double sum = 0.0;
    for (size_t i = 0; i < READINGS; i++)
        sum += x[i];
    return sum / READINGS;
}

static double product_of_deviations(const double *x, const double *y)
{
    double sum = 0.0, mean_x = mean_of(x), mean_y = mean_of(y);
    for (size_t i = 0; i < READINGS; i++)
        sum += (x[i] - mean_x) * (y[i] - mean_y);
    return sum;
}

static double correlation_of(const double *x, const double *y)
{
    return product_of_deviations(x, y) /
           sqrt(product_of_deviations(x, x) * product_of_deviations(y, y));
}

static struct shape_given mean_reading(const double *x)
{
    return normal(mean_of(x), sqrt(product_of_deviations(x, x) / (READINGS * (READINGS - 1))));
}

static struct model impedance(void)
{
    struct model m = {.inputs = GIVEN};
    for (size_t i = 0; i < GIVEN; i++) {
        m.given[i] = mean_reading(readings[i]);
        for (size_t j = 0; j < i; j++)
            m.link[m.links++] = (struct copula_link){
                i, j, ranks_of_correlation(correlation_of(readings[i], readings[j]))};
    }
    return m;
}

/* Table H.2: r(V, I) = -0.36, r(V, phi) = 0.86, r(I, phi) = -0.65; u = 0.0032 V, 0.0095 mA,
 * 0.00075 rad. */
static void the_readings_are_those_published(void **state)
{
    (void)state;
    struct model m = impedance();
    assert_close(correlation_of(readings[0], readings[1]), -0.36, 0.0, 0.005);
    assert_close(correlation_of(readings[0], readings[2]), 0.86, 0.0, 0.005);
    assert_close(correlation_of(readings[1], readings[2]), -0.65, 0.0, 0.005);
    assert_close(m.given[0].field[SHAPE_SD], 0.0032, 0.0, 0.00005);
    assert_close(m.given[1].field[SHAPE_SD], 0.0095e-3, 0.0, 0.00005e-3);
    assert_close(m.given[2].field[SHAPE_SD], 0.00075, 0.0, 0.000005);
}

/* Resistance, reactance and impedance, ohm. */
static const double expected_means[WORKED_OUT] = {127.73217, 219.84651, 254.25970};
static const double expected_sds[WORKED_OUT] = {0.0710714, 0.2955817, 0.2363361};

/* Sums of deviations from the expected means and of their products. */
struct sums {
    double first[WORKED_OUT], second[WORKED_OUT][WORKED_OUT];
};

static void add_sample(struct sums *s, double voltage, double current, double phase)
{
    double z = voltage / current, y[WORKED_OUT] = {z * cos(phase), z * sin(phase), z};
    for (size_t i = 0; i < WORKED_OUT; i++) {
        s->first[i] += y[i] - expected_means[i];
        for (size_t j = 0; j <= i; j++)
            s->second[i][j] += (y[i] - expected_means[i]) * (y[j] - expected_means[j]);
    }
}

static double covariance(const struct sums *s, size_t i, size_t j)
{
    return s->second[i][j] / SAMPLES - s->first[i] / SAMPLES * (s->first[j] / SAMPLES);
}

static void check_correlation(const struct sums *s, size_t i, size_t j, double expected)
{
    double r = covariance(s, i, j) / sqrt(covariance(s, i, i) * covariance(s, j, j));
    assert_close(r, expected, 0.0, 4.0 * (1.0 - expected * expected) / sqrt(SAMPLES));
}

/* Published: R = 127.732, u = 0.071; X = 219.847, u = 0.295; Z = 254.260, u = 0.236;
 * r(R, X) = -0.588, r(R, Z) = -0.485, r(X, Z) = 0.993. Without the correlations the uncertainties
 * would be 0.195, 0.201 and 0.204. */
static void resistance_reactance_impedance(void **state)
{
    (void)state;
    struct model m = impedance();
    struct drawn_inputs d;
    struct sums s = {0};
    open_inputs(&m, &d);
    for (uint64_t first = 0; first < SAMPLES; first += BLOCK_SAMPLES) {
        draw_inputs(&d, first);
        for (size_t i = 0; i < BLOCK_SAMPLES; i++)
            add_sample(&s, d.columns[0][i], d.columns[1][i], d.columns[2][i]);
    }
    close_inputs(&d);
    for (size_t i = 0; i < WORKED_OUT; i++) {
        double sd = expected_sds[i], n = SAMPLES;
        assert_close(s.first[i] / n, 0.0, 0.0, 4.0 * sd / sqrt(n) + 1e-3 * sd);
        assert_close(sqrt(covariance(&s, i, i)), sd, 0.0, 4.0 * sd / sqrt(2.0 * n));
    }
    check_correlation(&s, 1, 0, -0.588430);
    check_correlation(&s, 2, 0, -0.485259);
    check_correlation(&s, 2, 1, 0.992512);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_readings_are_those_published),
        cmocka_unit_test(resistance_reactance_impedance),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
