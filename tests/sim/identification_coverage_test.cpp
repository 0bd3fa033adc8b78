// How often the stated 95 % intervals hold the truth, over 200 records of each process. Slow.
#include <gtest/gtest.h>

#include <cstdio>

#include "tests/sim/identification_cases.h"

namespace {

using identification_cases::Case;

class Coverage : public testing::TestWithParam<Case> {};

// Asked for: 90 % of the runs. Intervals that hold 95 % fall short of that in 200 runs with a chance of 0.1 %.
TEST_P(Coverage, IntervalsHoldTheTruth) {
  constexpr int runs = 200;
  for (const auto& [parameter, count] : identification_cases::held(GetParam(), runs)) {
    std::printf("%s, %s: %.1f %%\n", GetParam().name.c_str(), parameter.c_str(), 100.0 * count / runs);
    EXPECT_GE(count, 180) << GetParam().name << ", " << parameter;
  }
}

INSTANTIATE_TEST_SUITE_P(Identification, Coverage, testing::ValuesIn(identification_cases::cases()));

}  // namespace
