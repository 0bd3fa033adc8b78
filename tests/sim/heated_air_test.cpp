// The heated-air stream (a hair dryer: heater voltage in, thermocouple voltage out; L. Ljung, System Identification), the open data set most
// texts on identification begin with. It stays where its package has it, whose licence is another.
#include <gtest/gtest.h>

#include <algorithm>
#include <complex>
#include <fstream>
#include <limits>
#include <sstream>

#include <Eigen/Dense>

#include "sim/identification.h"

namespace sim {
namespace {

constexpr const char* octave_file = "/usr/share/octave/packages/control-3.4.0/moen4.m";   // package octave-control
constexpr double period_s = 0.08;

// Numbers of the first `name` = [ ... ] in the tests at the file's end, row by row.
std::vector<std::vector<double>> table(const std::string& name) {
  std::ifstream file(octave_file);
  if (!file) throw std::runtime_error(std::string(octave_file) + ": missing; install octave-control");
  std::vector<std::vector<double>> rows;
  bool inside = false;
  for (std::string line; std::getline(file, line);) {
    if (line.rfind("%!", 0) != 0) continue;
    std::string text = line.substr(2);
    if (!inside) {
      const std::size_t at = text.find(" " + name + " = [");
      if (at == std::string::npos) continue;
      inside = true;
      text = text.substr(text.find('[') + 1);
    }
    const bool last = text.find(']') != std::string::npos;
    std::replace(text.begin(), text.end(), ']', ' ');
    std::replace(text.begin(), text.end(), ';', ' ');
    std::istringstream numbers(text);
    std::vector<double> row;
    for (double value = 0.0; numbers >> value;) row.push_back(value);
    if (!row.empty()) rows.push_back(row);
    if (last) return rows;
  }
  throw std::runtime_error(name + ": not in " + octave_file);
}

// The samples stand column by column.
std::vector<double> column_by_column(const std::vector<std::vector<double>>& rows) {
  std::vector<double> values;
  for (std::size_t c = 0; c < rows.at(0).size(); ++c) {
    for (const auto& row : rows) values.push_back(row.at(c));
  }
  return values;
}

std::vector<double> row_by_row(const std::vector<std::vector<double>>& rows) {
  std::vector<double> values;
  for (const auto& row : rows) values.insert(values.end(), row.begin(), row.end());
  return values;
}

TestRecord record_from(const std::vector<double>& u, const std::vector<double>& y) {
  TestRecord record{{}, u, y};
  for (std::size_t k = 0; k < u.size(); ++k) record.times_s.push_back(static_cast<double>(k) * period_s);
  return record;
}

const TestRecord& heated_air() {
  static const TestRecord record = record_from(column_by_column(table("U")), column_by_column(table("Y")));
  return record;
}

TEST(HeatedAir, IsReadWhole) {
  const TestRecord& record = heated_air();
  ASSERT_EQ(record.times_s.size(), 1000u);
  const auto [low, high] = std::minmax_element(record.output.begin(), record.output.end());
  EXPECT_DOUBLE_EQ(*std::min_element(record.input.begin(), record.input.end()), 3.41);
  EXPECT_DOUBLE_EQ(*std::max_element(record.input.begin(), record.input.end()), 6.41);
  EXPECT_NEAR(*low, 3.20, 0.005);
  EXPECT_NEAR(*high, 6.25, 0.005);
}

TEST(HeatedAir, Play) {
  const Identification found = identify(heated_air());
  for (const IdentifiedModel& m : found.models) {
    std::printf("%s bic %.1f fit %.2f held %.2f K %.4g (%.3g) L %.4g (%.3g..%.3g) rms %.3g", name(m.structure), m.criterion, m.fit_percent, m.held_out_percent, m.gain.value, m.gain.half_width(), m.delay_s.value, m.delay_s.low, m.delay_s.high, m.rms);
    for (auto& l : m.lags_s) std::printf(" T %.4g (%.3g..%.3g)", l.value, l.low, l.high);
    for (auto& l : m.pair) std::printf(" P %.4g (%.3g..%.3g)", l.value, l.low, l.high);
    for (auto& l : m.zero_s) std::printf(" Z %.4g (%.3g..%.3g)", l.value, l.low, l.high);
    std::printf(" LB %.2g in %.2g/%.3g bend %.2g/%.3g\n", m.whiteness.chance, m.input_test.chance, m.input_test.explained, m.bend_test.chance, m.bend_test.explained);
  }
  for (auto& v : found.verdicts) std::printf("%s\n%s\n", v.finding.c_str(), v.test.c_str());
  std::printf("noise %g q %g\n", found.quality.noise, found.quality.quantum);
  const auto rows = table("Ae");
  Eigen::MatrixXd a(4,4);
  for (int i=0;i<4;++i) for (int j=0;j<4;++j) a(i,j)=rows[size_t(i)][size_t(j)];
  const Eigen::VectorXcd poles = a.eigenvalues();
  for (auto p : poles) { auto s = std::log(p)/period_s; std::printf("pole %g %gi -> s %g %gi T %g zeta %g\n", p.real(), p.imag(), s.real(), s.imag(), 1/std::abs(s), -s.real()/std::abs(s)); }
}

TEST(HeatedAir, RowsInTheWrongOrderGiveNothing) {
  const Identification found = identify(record_from(row_by_row(table("U")), row_by_row(table("Y"))));
  for (auto& m : found.models) std::printf("row %s %.2f\n", name(m.structure), m.fit_percent);
  for (auto& v : found.verdicts) std::printf("%s\n%s\n", v.finding.c_str(), v.test.c_str());
}

}  // namespace
}  // namespace sim
