// The two distributions that intervals and tests are read from.
#pragma once

namespace sim {

// 97.5 % point of Student's distribution, degrees from 1: what 95 % two-sided intervals take. To 0.5 % from 3 degrees on
// (Cornish-Fisher expansion; Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5), exact for 1 and 2.
double student_975(double degrees);

// Chance that a chi-square variable of `degrees` (above 0) is above x: the regularised upper incomplete gamma function, to 1e-10
// (Abramowitz and Stegun 26.4.19 and 6.5: series below the mean, continued fraction above).
double chi_square_tail(double x, double degrees);

}  // namespace sim
