// Quantiles against the tables in every text on statistics (values from memory, four digits).
#include "sim/distribution.h"

#include <gtest/gtest.h>

#include <array>

namespace {

TEST(Distribution, StudentsQuantileIsTheTables) {
  constexpr std::array<std::array<double, 2>, 9> table = {
      {{1, 12.706}, {2, 4.303}, {3, 3.182}, {4, 2.776}, {5, 2.571}, {10, 2.228}, {20, 2.086}, {30, 2.042}, {1e9, 1.960}}};
  for (const auto& [degrees, value] : table) EXPECT_NEAR(sim::student_975(degrees), value, 0.005 * value) << degrees;
}

TEST(Distribution, ChiSquaresTailIsTheTables) {
  constexpr std::array<std::array<double, 3>, 8> table = {{{1, 3.841, 0.05}, {2, 5.991, 0.05}, {5, 11.070, 0.05}, {10, 18.307, 0.05},
                                                           {20, 31.410, 0.05}, {1, 6.635, 0.01}, {10, 23.209, 0.01}, {10, 29.588, 0.001}}};
  for (const auto& [degrees, x, chance] : table) EXPECT_NEAR(sim::chi_square_tail(x, degrees), chance, 1e-3 * chance) << degrees;
  EXPECT_DOUBLE_EQ(sim::chi_square_tail(0.0, 3.0), 1.0);
  EXPECT_NEAR(sim::chi_square_tail(1.0, 2.0), 0.6065306597, 1e-9);   // exp(-x / 2)
}

}  // namespace
