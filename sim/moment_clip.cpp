#include "sim/moment_clip.h"

#include <algorithm>
#include <cmath>

#include "sim/input_error.h"
#include "sim/trace.h"
#include "sim/units.h"

namespace sim {

namespace {

constexpr std::size_t ring_samples = 4 * MomentRecorder::reach;   // what is looked for lies at most reach + stride back, if not told late
constexpr std::size_t late_ticks = 36000;                         // what looks ahead may tell a moment so late
constexpr double sharp_share = 0.1;   // of the range: a moment farther than this from its coarse neighbours needs every tick

double tick_number(double at_s, double period_s) { return std::round(at_s / period_s); }

}  // namespace

MomentRecorder::MomentRecorder(const Expectations& expectations, const SignalTable& table, double period_s) : period_s_(period_s) {
  for (std::size_t i = 0; i < expectations.size(); ++i) {
    Item item;
    for (const std::uint16_t slot : expectations.predicate(i).signal_slots()) {
      const auto found = std::find(slots_.begin(), slots_.end(), slot);
      item.columns.push_back(static_cast<std::size_t>(found - slots_.begin()));
      if (found == slots_.end()) slots_.push_back(slot);
      const Signal& signal = table.signals()[slot];
      item.lines.push_back({signal.name, signal.unit, {}, expectations.predicate(i).limits_of(slot)});
    }
    items_.push_back(std::move(item));
  }
  rings_[1].every = stride;
  std::size_t late = 0;
  for (std::size_t i = 0; i < expectations.size(); ++i) late = std::max(late, expectations.predicate(i).horizon());
  for (Ring& ring : rings_) {
    ring.capacity = ring_samples + std::min(late, late_ticks) / ring.every;
    ring.values.resize(ring.capacity * slots_.size());
  }
}

void MomentRecorder::put(Ring& ring, std::span<const double> frame) {
  double* to = ring.values.data() + ring.samples % ring.capacity * slots_.size();
  for (const std::size_t slot : slots_) *to++ = frame[slot];
  ++ring.samples;
}

void MomentRecorder::tick(std::span<const double> frame, const Expectations& expectations) {
  put(rings_[0], frame);
  if (ticks_ % stride == 0) {
    put(rings_[1], frame);
    look(expectations);
  }
  ++ticks_;
}

void MomentRecorder::visit(Archive& archive) {
  archive(rings_[0], rings_[1], ticks_);
  archive.each(items_);
}

void MomentRecorder::take_over(const MomentRecorder& past, std::span<const std::size_t> origins) {
  for (std::size_t grain = 0; grain < 2; ++grain) {
    Ring& ring = rings_[grain];
    const Ring& other_ring = past.rings_[grain];
    ring.samples = other_ring.samples;
    const std::uint64_t shared = std::min<std::uint64_t>({ring.samples, ring.capacity, other_ring.capacity});
    for (std::size_t column = 0; column < slots_.size(); ++column) {
      const auto found = std::find(past.slots_.begin(), past.slots_.end(), slots_[column]);
      if (found == past.slots_.end()) continue;   // only what is fresh reads it
      const auto other = static_cast<std::size_t>(found - past.slots_.begin());
      for (std::uint64_t sample = ring.samples - shared; sample < ring.samples; ++sample)
        ring.values[sample % ring.capacity * slots_.size() + column] =
            other_ring.values[sample % other_ring.capacity * past.slots_.size() + other];
    }
  }
  ticks_ = past.ticks_;
  for (std::size_t i = 0; i < items_.size(); ++i) {
    items_[i].from_tick = origins[i] == Expectations::fresh ? ticks_ : past.items_[origins[i]].from_tick;
    if (origins[i] == Expectations::fresh) continue;
    for (std::size_t copy = 0; copy < 4; ++copy) items_[i].copies[copy / 2][copy % 2] = past.items_[origins[i]].copies[copy / 2][copy % 2];
  }
}

void MomentRecorder::look(const Expectations& expectations) {
  for (std::size_t i = 0; i < items_.size(); ++i) {
    const Expectations::Moments moments = expectations.moments(i);
    for (std::size_t grain = 0; grain < 2; ++grain) {
      if (moments.tightest_s >= 0.0) keep(items_[i], grain, moments.tightest_s, moments.tightest_s, false);
      if (moments.candidate_s >= 0.0) keep(items_[i], grain, moments.candidate_s, moments.tightest_s, false);
    }
  }
}

MomentRecorder::Copy* MomentRecorder::find(Item& item, std::size_t grain, double at_s) {
  for (Copy& copy : item.copies[grain])
    if (copy.at_s == at_s) return &copy;
  return nullptr;
}

// Copies what lies around at_s once all of it has been seen, into the place that does not hold the tightest moment.
void MomentRecorder::keep(Item& item, std::size_t grain, double at_s, double tightest_s, bool at_end) {
  const Ring& ring = rings_[grain];
  const auto sample = static_cast<std::uint64_t>(tick_number(at_s, period_s_)) / ring.every;
  if (!at_end && sample + reach >= ring.samples) return;
  if (find(item, grain, at_s) != nullptr) return;
  const std::uint64_t kept = ring.samples > ring.capacity ? ring.samples - ring.capacity : 0;
  const std::uint64_t oldest = std::max(kept, (item.from_tick + ring.every - 1) / ring.every);
  const std::uint64_t first = std::max(oldest, sample > reach ? sample - reach : 0);
  const std::uint64_t past = std::min(ring.samples, sample + reach + 1);
  if (first >= past || sample < oldest) return;   // told too late
  Copy& copy = item.copies[grain][0].at_s == tightest_s ? item.copies[grain][1] : item.copies[grain][0];
  copy.at_s = at_s;
  copy.first = first;
  copy.values.clear();
  for (std::uint64_t i = first; i < past; ++i)
    for (const std::size_t column : item.columns) copy.values.push_back(ring.values[i % ring.capacity * slots_.size() + column]);
}

MomentClip MomentRecorder::clip_of(const std::string& name, const Item& item, std::size_t grain, const Copy& copy, const Copy* fine) const {
  MomentClip clip{name, {}, item.lines};
  const std::size_t width = item.columns.size(), count = width == 0 ? 0 : copy.values.size() / width;
  const auto add = [&](double time_s, const double* values) {
    clip.time_s.push_back(time_s);
    for (std::size_t line = 0; line < width; ++line) clip.lines[line].values.push_back(values[line]);
  };
  const auto moment = static_cast<std::uint64_t>(tick_number(copy.at_s, period_s_));
  const auto at = [&](std::uint64_t tick) { return static_cast<double>(tick) * period_s_; };
  bool placed = fine == nullptr;
  for (std::size_t i = 0; i < count; ++i) {
    const std::uint64_t tick = (copy.first + i) * rings_[grain].every;
    if (!placed && tick >= moment) {              // between two coarse samples: the tick itself, from the fine copy
      if (tick > moment) add(at(moment), fine->values.data() + (moment - fine->first) * width);
      placed = true;
    }
    add(at(tick), copy.values.data() + i * width);
  }
  if (!placed) add(at(moment), fine->values.data() + (moment - fine->first) * width);
  return clip;
}

namespace {

// Does the moment stand out from what the minutes around it show?
bool sharp(const MomentClip& coarse, double at_s) {
  const auto here = std::find_if(coarse.time_s.begin(), coarse.time_s.end(), [&](double t) { return std::fabs(t - at_s) < 1e-6; });
  if (here == coarse.time_s.end() || coarse.time_s.size() < 4) return true;
  const auto at = static_cast<std::size_t>(here - coarse.time_s.begin());
  for (const MomentLine& line : coarse.lines) {
    const auto [low, high] = std::minmax_element(line.values.begin(), line.values.end());
    const double before = at > 0 ? line.values[at - 1] : line.values[at + 1];
    const double after = at + 1 < line.values.size() ? line.values[at + 1] : before;
    const double off = std::fabs(line.values[at] - std::clamp(line.values[at], std::min(before, after), std::max(before, after)));
    if (off > sharp_share * (*high - *low)) return true;
  }
  return false;
}

}  // namespace

std::vector<MomentClip> MomentRecorder::finish(const Expectations& expectations) {
  std::vector<MomentClip> clips;
  for (std::size_t i = 0; i < items_.size(); ++i) {
    const double at_s = expectations.moments(i).tightest_s;
    if (at_s < 0.0) continue;
    for (std::size_t grain = 0; grain < 2; ++grain) keep(items_[i], grain, at_s, at_s, true);
    const Copy* fine = find(items_[i], 0, at_s);
    const Copy* coarse = find(items_[i], 1, at_s);
    if (fine == nullptr) continue;
    MomentClip clip = clip_of(expectations.name(i), items_[i], 0, *fine, nullptr);
    if (coarse != nullptr) {
      MomentClip wide = clip_of(expectations.name(i), items_[i], 1, *coarse, fine);
      if (!sharp(wide, at_s)) clip = std::move(wide);
    }
    clips.push_back(std::move(clip));
  }
  return clips;
}

std::string moments_csv(const std::vector<MomentClip>& clips) {
  std::string text = "expectation,time [s],signal,unit,value\r\n";
  for (const MomentClip& clip : clips) {
    for (const MomentLine& line : clip.lines) {
      const std::string name = csv_field(clip.expectation), what = csv_field(line.signal) + "," + csv_field(line.unit) + ",";
      for (const double limit : line.limits) text += name + ",," + what + text_of(limit) + "\r\n";
      for (std::size_t i = 0; i < clip.time_s.size(); ++i)
        text += name + "," + text_of(clip.time_s[i]) + "," + what + text_of(line.values[i]) + "\r\n";
    }
  }
  return text;
}

std::vector<MomentClip> read_moments(const std::filesystem::path& file) {
  const CsvTable table = read_csv(file);
  std::vector<MomentClip> clips;
  int row_number = 1;
  for (const std::vector<std::string>& row : table.rows) {
    const SourcePlace place{file.string(), ++row_number, 1};
    if (row.size() != 5) throw InputError(place, std::to_string(row.size()) + " fields", "expectation, time, signal, unit, value");
    const std::optional<double> time_s = number_of(row[1]), value = number_of(row[4]);
    if (!value || (!time_s && !row[1].empty())) throw InputError(place, "`" + row[1] + "` and `" + row[4] + "`", "numbers");
    if (clips.empty() || clips.back().expectation != row[0]) clips.push_back({row[0], {}, {}});
    MomentClip& clip = clips.back();
    if (clip.lines.empty() || clip.lines.back().signal != row[2]) clip.lines.push_back({row[2], row[3], {}, {}});
    if (!time_s) {
      clip.lines.back().limits.push_back(*value);
      continue;
    }
    if (clip.lines.size() == 1) clip.time_s.push_back(*time_s);
    clip.lines.back().values.push_back(*value);
  }
  for (const MomentClip& clip : clips) {
    for (const MomentLine& line : clip.lines)
      if (line.values.size() != clip.time_s.size())
        throw InputError({file.string(), 0, 0}, "signals of different length for `" + clip.expectation + "`", "one value at every instant");
  }
  return clips;
}

}  // namespace sim
