#include "sim/input_error.h"

#include <algorithm>
#include <utility>

namespace sim {

namespace {

std::string message_of(const SourcePlace& place, const std::string& found, const std::string& expected,
                       const std::string& nearest) {
  std::string text = place.file;
  if (place.line > 0) text += ":" + std::to_string(place.line) + ":" + std::to_string(place.column);
  text += ": found " + found + "; expected " + expected;
  if (!nearest.empty()) text += "; nearest: " + nearest;
  return text;
}

// Optimal string alignment: a swap of neighbours counts as one slip.
std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), now(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    now[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t change = last[j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1);
      now[j] = std::min({last[j] + 1, now[j - 1] + 1, change});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) now[j] = std::min(now[j], before[j - 2] + 1);
    }
    before.swap(last);
    last.swap(now);
  }
  return last[b.size()];
}

}  // namespace

InputError::InputError(SourcePlace place, std::string found_, std::string expected_, std::string nearest_)
    : std::runtime_error(message_of(place, found_, expected_, nearest_)), file(std::move(place.file)), line(place.line),
      column(place.column), found(std::move(found_)), expected(std::move(expected_)), nearest(std::move(nearest_)) {}

std::string listed(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : ", ") + word;
  return text;
}

std::string nearest_name(std::string_view word, const std::vector<std::string>& candidates) {
  std::string best;
  std::size_t least = std::max<std::size_t>(2, word.size() / 3) + 1;
  for (const std::string& candidate : candidates) {
    const std::size_t distance = edit_distance(word, candidate);
    if (distance < least) {
      least = distance;
      best = candidate;
    }
  }
  return best;
}

}  // namespace sim
