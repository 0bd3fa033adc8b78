// What an expectation's signals did around the instant at which its margin was tightest: every tick for some seconds around it,
// and some minutes around it more coarsely. Memory is bounded whatever the length of the run: two rings of the latest values,
// from which a moment is copied once it lies far enough back. A margin that shrinks for hours moves its moment on at every tick
// and is copied when it stops. What looks ahead tells its moment late: the rings reach back as far as it looks, at most an hour of
// ticks; a moment told later than that is not kept.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "sim/expectations.h"
#include "sim/signals.h"

namespace sim {

struct MomentLine {
  std::string signal, unit;
  std::vector<double> values;        // one per instant of the clip
  std::vector<double> limits;        // constants the expectation holds this signal against, in its unit
};

struct MomentClip {
  std::string expectation;
  std::vector<double> time_s;        // ascending; holds the moment itself
  std::vector<MomentLine> lines;     // signals the expectation reads
};

class MomentRecorder {
 public:
  static constexpr std::size_t reach = 60;        // samples on either side of the moment
  static constexpr std::size_t stride = 32;       // ticks between the coarse samples, and between looks

  MomentRecorder(const Expectations& expectations, const SignalTable& table, double period_s);   // the first is not kept

  // One tick, after the expectations have judged it. Allocates only for the first copy of each.
  void tick(std::span<const double> frame, const Expectations& expectations);
  void visit(Archive& archive);                   // everything of it that changes
  // A fork: goes on where `past` stands. origins: of each expectation in `past`, or Expectations::fresh; what is fresh is drawn from
  // here on.
  void take_over(const MomentRecorder& past, std::span<const std::size_t> origins);
  // A clip for every expectation that was judged; after Expectations::finish.
  std::vector<MomentClip> finish(const Expectations& expectations);

 private:
  struct Ring {
    std::size_t every = 1;                        // ticks
    std::size_t capacity = 0;                     // samples
    std::vector<double> values;                   // samples one after the other
    std::uint64_t samples = 0;                    // put so far
    void visit(Archive& archive) { archive(values, samples); }
  };
  struct Copy {
    double at_s = -1.0;                           // the moment; -1 none
    std::uint64_t first = 0;                      // number of its first sample
    std::vector<double> values;                   // of the item's signals, sample by sample
    void visit(Archive& archive) { archive(at_s, first, values); }
  };
  struct Item {
    std::vector<std::size_t> columns;             // in the rings
    std::vector<MomentLine> lines;                // without values
    std::uint64_t from_tick = 0;                  // nothing is drawn before it
    void visit(Archive& archive) { archive(copies[0][0], copies[0][1], copies[1][0], copies[1][1], from_tick); }
    Copy copies[2][2];                            // fine and coarse: of the tightest moment and of one that may become it
  };

  void put(Ring& ring, std::span<const double> frame);
  void look(const Expectations& expectations);
  void keep(Item& item, std::size_t grain, double at_s, double tightest_s, bool at_end);
  Copy* find(Item& item, std::size_t grain, double at_s);
  MomentClip clip_of(const std::string& name, const Item& item, std::size_t grain, const Copy& copy, const Copy* fine) const;

  std::vector<std::size_t> slots_;                // of each column
  Ring rings_[2];
  std::vector<Item> items_;
  std::uint64_t ticks_ = 0;
  double period_s_;
};

// moments.csv: expectation, time [s], signal, unit, value; a row without a time is a limit. Reads back to the same numbers.
std::string moments_csv(const std::vector<MomentClip>& clips);
std::vector<MomentClip> read_moments(const std::filesystem::path& file);   // throws InputError

}  // namespace sim
