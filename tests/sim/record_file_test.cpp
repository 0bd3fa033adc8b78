// Two columns of a CSV file as a record: what is read, what is refused with its place, and what is said of it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <string>

#include <fmt/format.h>

#include "sim/record_file.h"
#include "tests/checkout.h"

namespace {

class RecordFile : public testing::Test {
 protected:
  RecordFile()
      : file_(std::filesystem::path(testing::TempDir()) /
              ("saggar_record_" + std::to_string(std::hash<std::string>{}(build_folder)) + ".csv")) {}
  ~RecordFile() override { std::filesystem::remove(file_); }

  sim::FileRecord read(const std::string& text, sim::RecordColumns columns = {"u", "y", ""}) {
    std::ofstream(file_, std::ios::binary) << text;
    return sim::read_record(file_, columns);
  }
  std::string refusal(const std::string& text, const sim::RecordColumns& columns = {"u", "y", ""}) {
    try {
      (void)read(text, columns);
    } catch (const sim::InputError& error) {
      return error.what();
    }
    return "nothing refused";
  }
  std::filesystem::path file_;
};

TEST_F(RecordFile, HoldsTheColumnsAskedForWithTheirUnits) {
  const sim::FileRecord file = read("time [min],y [degC],other,u [%]\n0,20,1,5\n1,,1,5\n2.5,21.5,1,\n");
  EXPECT_THAT(file.record.times_s, testing::ElementsAre(0.0, 60.0, 150.0));
  EXPECT_EQ(file.output_unit, "degC");
  EXPECT_EQ(file.input_unit, "%");
  EXPECT_TRUE(std::isnan(file.record.output[1]));  // a gap
  EXPECT_TRUE(std::isnan(file.record.input[2]));   // goes on as it was
  EXPECT_EQ(file.record.output[2], 21.5);
}

TEST_F(RecordFile, KeepsToTheTimesAskedFor) {
  sim::RecordColumns columns{"u", "y", ""};
  columns.from_s = 10;
  columns.to_s = 30;
  EXPECT_THAT(read("t,u,y\n0,0,0\n10,1,0\n20,1,1\n30,1,2\n40,1,2\n", columns).record.times_s, testing::ElementsAre(10.0, 20.0, 30.0));
}

TEST_F(RecordFile, RefusesWithThePlace) {
  EXPECT_THAT(refusal("t,u,x\n0,0,0\n1,0,0\n"), testing::AllOf(testing::HasSubstr(":1:1"), testing::HasSubstr("no column `y`")));
  EXPECT_THAT(refusal("t,u,y\n0,0,0\n1,zero,0\n"), testing::AllOf(testing::HasSubstr(":3:3"), testing::HasSubstr("a number")));
  EXPECT_THAT(refusal("t,u,y\n0,0,0\n0,0,0\n"), testing::AllOf(testing::HasSubstr(":3:1"), testing::HasSubstr("rise")));
  EXPECT_THAT(refusal("t,u,y\n0,,0\n1,0,0\n"), testing::HasSubstr(":2:3"));  // an input must begin somewhere
  EXPECT_THAT(refusal("t [kPa],u,y\n0,0,0\n1,0,0\n"), testing::HasSubstr("unit of the time"));
  EXPECT_THAT(refusal("t,u,y\n0,0,0\n"), testing::HasSubstr("fewer than two rows"));
}

// Sampled by the closed form of a lag behind a delay of whole rows; no noise, so that the values must come back.
TEST_F(RecordFile, IsIdentifiedAndSaidInWords) {
  std::string text = "time [s],u [W],y [degC]\n";
  for (int k = 0; k < 400; ++k) {
    const double since_s = 2.0 * k - 40.0 - 16.0;
    text += fmt::format("{},{},{:.9f}\n", 2 * k, k < 20 ? 100 : 150,
                        25.0 + (since_s > 0.0 ? 50.0 * 0.4 * (1.0 - std::exp(-since_s / 90.0)) : 0.0));
  }
  const sim::FileRecord file = read(text);
  const sim::Identification found = sim::identify(file.record);
  ASSERT_TRUE(found.supported());
  EXPECT_NEAR(found.model().process.gain, 0.4, 1e-4);
  ASSERT_EQ(found.model().process.lags_s.size(), 1u);
  EXPECT_NEAR(found.model().process.lags_s[0], 90.0, 0.05);
  EXPECT_NEAR(found.model().process.delay_s, 16.0, 0.05);
  EXPECT_THAT(sim::identification_text(file, found), testing::AllOf(testing::HasSubstr("degC per W"), testing::HasSubstr("one lag")));
  const sim::ProcessFile process = sim::process_file_of(file, found.model(), {1.0, 1.0});
  EXPECT_EQ(process.gain_unit(), "W/K");
  EXPECT_EQ(process.sampling.period_s, 1.0);
}

TEST_F(RecordFile, WithoutAMovedInputSaysWhatToRun) {
  std::string text = "t,u,y\n";
  for (int k = 0; k < 100; ++k) text += fmt::format("{},3,{}\n", k, 20.0 + 0.01 * (k * 7919 % 13));
  const sim::FileRecord file = read(text);
  const sim::Identification found = sim::identify(file.record);
  EXPECT_FALSE(found.supported());
  EXPECT_THAT(sim::identification_text(file, found),
              testing::AllOf(testing::HasSubstr("never moves"), testing::HasSubstr("Step the input")));
}

}  // namespace
