#include "sim/record_quality.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <Eigen/Dense>

namespace sim {
namespace {

void demand(bool holds, const char* what) {
  if (!holds) throw std::invalid_argument(what);
}

void check(const TestRecord& record) {
  const std::size_t n = record.times_s.size();
  demand(n > 0 && record.input.size() == n && record.output.size() == n, "times, input and output must be as many, and some");
  for (std::size_t k = 0; k < n; ++k) {
    demand(std::isfinite(record.times_s[k]), "a time is not a number");
    demand(k == 0 || record.times_s[k] > record.times_s[k - 1], "the times must rise");
    demand(!std::isinf(record.input[k]) && !std::isinf(record.output[k]), "input or output is infinite");
  }
  demand(!std::isnan(record.input[0]), "the input is a gap from the start");
}

double median(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double span_of(const std::vector<double>& values) {
  const auto [low, high] = std::minmax_element(values.begin(), values.end());
  return values.empty() ? 0.0 : *high - *low;
}

struct Run {
  std::size_t from = 0, count = 0;
};

Run longest_run(const std::vector<double>& y) {
  Run best, run;
  for (std::size_t k = 0; k < y.size(); ++k) {
    if (k == 0 || y[k] != y[k - 1]) run = {k, 0};
    if (++run.count > best.count) best = run;
  }
  return best;
}

// Distances of readings from the line between their neighbours, each to unit weight of noise.
std::vector<double> off_line(const std::vector<double>& times, const std::vector<double>& readings) {
  std::vector<double> distances;
  for (std::size_t k = 1; k + 1 < readings.size(); ++k) {
    const double share = (times[k] - times[k - 1]) / (times[k + 1] - times[k - 1]);
    const double off = readings[k] - (1.0 - share) * readings[k - 1] - share * readings[k + 1];
    distances.push_back(off / std::sqrt(1.0 + share * share + (1.0 - share) * (1.0 - share)));
  }
  return distances;
}

// Of noise, neighbouring distances have correlation -2/3 (weights -1/2, 1, -1/2); of a smooth curve nearly 1.
bool looks_like_noise(const std::vector<double>& times, const std::vector<double>& readings) {
  const std::vector<double> e = off_line(times, readings);
  double own = 0.0, next = 0.0;
  for (std::size_t k = 0; k + 1 < e.size(); ++k) {
    own += e[k] * e[k];
    next += e[k] * e[k + 1];
  }
  return next < -0.3 * own;
}

// Readings that stand still although the noise about them is beyond the quantum, or that came to the end of their range at full speed.
void look_for_stuck(const std::vector<double>& t, const std::vector<double>& y, RecordQuality& found) {
  const Run run = longest_run(y);
  if (run.count < std::max<std::size_t>(8, y.size() / 20) || found.output_span <= 0.0) return;
  std::vector<double> times, others;
  for (std::size_t k = 0; k < y.size(); ++k) {
    if (k >= run.from && k < run.from + run.count) continue;
    times.push_back(t[k]);
    others.push_back(y[k]);
  }
  // With noise of half a quantum a reading repeats its neighbour no more than two times out of three: eight in a row are one in 25, a
  // twentieth of the record far less.
  const bool noisy = noise_of(times, others) > std::max(0.5 * found.quantum, 1e-9 * found.output_span) && run.count >= 12 &&
                     looks_like_noise(times, others);
  const auto [low, high] = std::minmax_element(y.begin(), y.end());
  const bool at_limit = y[run.from] == *low || y[run.from] == *high;
  const std::size_t last = run.from + run.count;
  const auto sudden = [&](std::size_t a, std::size_t b, std::size_t c) {   // full speed up to the limit, then none
    const double move = std::fabs(y[b] - y[c]), earlier = std::fabs(y[a] - y[b]);
    const bool far = move * static_cast<double>(run.count) > 0.1 * found.output_span;   // it would have gone on so far
    return move > 3.0 * found.quantum && far && move > 0.4 * earlier;
  };
  const bool ran_in = run.from >= 3 && sudden(run.from - 3, run.from - 2, run.from - 1);
  const bool ran_out = last + 2 < y.size() && sudden(last + 2, last + 1, last);
  if (!noisy && !(at_limit && ran_in && (ran_out || last + 2 >= y.size()))) return;
  found.longest_stuck_s = t[last - 1] - t[run.from];
  found.stuck_at_limit = at_limit;
}

// How much of the input's moves a straight rule of the last three readings explains: a controller without a test signal leaves nothing.
double explained_by_output(const TestRecord& record) {
  std::vector<std::size_t> rows;
  for (std::size_t k = 2; k < record.times_s.size(); ++k) {
    const bool whole = !std::isnan(record.output[k]) && !std::isnan(record.output[k - 1]) && !std::isnan(record.output[k - 2]) &&
                       !std::isnan(record.input[k]) && !std::isnan(record.input[k - 1]);
    if (whole) rows.push_back(k);
  }
  if (rows.size() < 20) return 0.0;
  const auto count = static_cast<Eigen::Index>(rows.size());
  Eigen::MatrixXd rule(count, 4);
  Eigen::VectorXd moves(count);
  for (Eigen::Index i = 0; i < count; ++i) {
    const std::size_t k = rows[static_cast<std::size_t>(i)];
    moves[i] = record.input[k] - record.input[k - 1];
    rule.row(i) << 1.0, record.output[k], record.output[k] - record.output[k - 1], record.output[k - 1] - record.output[k - 2];
  }
  rule.col(1).array() -= rule.col(1).mean();
  const double whole = (moves.array() - moves.mean()).square().sum();
  if (!(whole > 0.0)) return 0.0;
  const Eigen::VectorXd left = moves - rule * rule.completeOrthogonalDecomposition().solve(moves);
  return 1.0 - left.squaredNorm() / whole;
}

void look_at_input(const TestRecord& record, RecordQuality& found) {
  double level = record.input[0], low = level, high = level;
  for (std::size_t k = 1; k < record.input.size(); ++k) {
    if (std::isnan(record.input[k]) || record.input[k] == level) continue;
    level = record.input[k];
    low = std::min(low, level);
    high = std::max(high, level);
    if (found.input_moves++ == 0) found.first_move_s = record.times_s[k] - record.times_s[0];
  }
  found.input_span = high - low;
  found.moving_share = static_cast<double>(found.input_moves) / static_cast<double>(record.input.size());
  found.follows_share = explained_by_output(record);
}

}  // namespace

double noise_of(const std::vector<double>& times, const std::vector<double>& readings) {
  std::vector<double> squares;
  for (const double off : off_line(times, readings)) squares.push_back(off * off);
  if (squares.empty()) return 0.0;
  std::sort(squares.begin(), squares.end());
  const std::size_t kept = std::max<std::size_t>(1, squares.size() * 9 / 10);
  double sum = 0.0;
  for (std::size_t k = 0; k < kept; ++k) sum += squares[k];
  // Without its outer tenth a normal distribution has 0.62 of its variance: 1 - 2 z phi(z) / 0.9 at z = 1.645.
  return std::sqrt(sum / static_cast<double>(kept) / 0.6231);
}

double quantum_of(std::vector<double> readings) {
  std::sort(readings.begin(), readings.end());
  if (readings.size() < 3) return 0.0;
  const double span = readings.back() - readings.front();
  std::vector<double> gaps;
  for (std::size_t k = 1; k < readings.size(); ++k) {
    if (readings[k] - readings[k - 1] > 1e-9 * span) gaps.push_back(readings[k] - readings[k - 1]);
  }
  if (gaps.size() < 3 || gaps.size() + 1 == readings.size()) return 0.0;   // no value twice: not quantised to be seen
  const double least = *std::min_element(gaps.begin(), gaps.end());
  if (least < 1e-4 * span) return 0.0;
  for (const double gap : gaps) {
    const double whole = std::round(gap / least);
    if (std::fabs(gap / least - whole) > 0.02 * whole) return 0.0;
  }
  return span / std::round(span / least);
}

RecordQuality quality(const TestRecord& record) {
  check(record);
  RecordQuality found;
  std::vector<double> times, readings, spacings;
  for (std::size_t k = 0; k < record.times_s.size(); ++k) {
    if (std::isnan(record.output[k])) continue;
    if (!times.empty()) spacings.push_back(record.times_s[k] - times.back());
    times.push_back(record.times_s[k]);
    readings.push_back(record.output[k]);
  }
  found.readings = static_cast<int>(readings.size());
  found.duration_s = times.empty() ? 0.0 : times.back() - record.times_s[0];
  found.period_s = median(spacings);
  found.output_span = span_of(readings);
  found.quantum = quantum_of(readings);
  found.noise = std::max(noise_of(times, readings), found.quantum / std::sqrt(12.0));
  look_at_input(record, found);
  look_for_stuck(times, readings, found);
  return found;
}

}  // namespace sim
