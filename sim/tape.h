// The tape of a run: per tick the bytes that went into the core, the bytes it sent, what it stored; before them the seed, the
// store image it started from, names and versions. Replay, host against emulated, one compiler against another are all
// operations on tapes.
//
// File: "SAGGTAPE", u32 format, u32 size of the header text, the text (JSON: scenario, saggar, controller, seed, period_ns,
// reset_cause, outage_s), u32 size of the store image, the image run-length coded; then the ticks; then the 32-byte end:
// "TAPE-END", u64 ticks, u64 hash.controller, u64 checksum of everything before the checksum. Little-endian.
//
// A tick is a block: a head of four words (sizes, times, store offset, latched), then the bytes of both ports in and out and
// of the store. It is written as its difference (XOR) from the tick before, in words of 8 bytes: per eight words one byte
// that says which differ, per such word one byte that says which of its bytes differ, then those bytes. Where a fork gave the
// core a new store image before the tick, a bit in the head says so and the image follows the tick, coded as the first one. In the
// same way follow u8 reset cause, u32 outage_s and the image from which the core was started anew before the tick; its clock then
// counts from zero again. A tick without a running core has nothing in it but a bit in the head.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "sim/background.h"
#include "sim/endpoint.h"
#include "sim/hash.h"
#include "sim/word_batch.h"

namespace sim {

// The file cannot be written (full disk), or is not a whole tape. what() names it.
struct TapeError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

struct TapeHeader {
  std::string scenario;      // its name
  std::string saggar;        // version that wrote it
  std::string controller;    // endpoint kind
  std::uint64_t seed = 0;
  std::int64_t period_ns = 0;
  fw::ResetCause reset_cause = fw::ResetCause::power_on;
  std::uint32_t outage_s = 0;
  std::vector<std::uint8_t> store_image;
};

// The two ticks' state that writer and reader keep alike.
struct TapeBlock {
  static constexpr std::size_t words_max = 280;
  std::array<std::uint64_t, words_max> words{};
};

// Where a tape stands between two ticks: what a snapshot keeps of it.
struct TapePlace {
  std::uint64_t bytes = 0;   // of the file until there
  std::uint64_t ticks = 0, last_us = 0;
  TapeBlock last;
};

class TapeReader;

// Ticks are taken as they are and written on a thread of its own.
class TapeWriter {
 public:
  // Opens PATH.partial beside the path.
  TapeWriter(const std::filesystem::path& path, const TapeHeader& header);
  ~TapeWriter();                                   // without finish(): the partial file is removed
  TapeWriter(const TapeWriter&) = delete;
  TapeWriter& operator=(const TapeWriter&) = delete;

  // Any of these throws TapeError where the file cannot be written, up to some hundred ticks late.
  void add(const TickIn& in, const TickOut& out);  // 20 ns
  void add_idle();                                 // a tick in which no core ran
  void adopt(std::span<const std::uint8_t> store_image);   // the core takes it before the tick that is added next
  void restart(std::span<const std::uint8_t> store_image, fw::ResetCause cause, std::uint32_t outage_s);   // and starts from it
  TapePlace place();                               // between two ticks
  // Before the first tick: takes what stands on another tape up to there, and goes on from it.
  void go_on_from(const TapeReader& past, const TapePlace& place);
  void finish(std::uint64_t controller_hash);      // ends the file and gives it its name
  std::uint64_t ticks() const { return ticks_; }
  std::uint64_t bytes();                           // of the file so far

 private:
  static constexpr std::size_t block_bytes = std::size_t{1} << 20;
  static constexpr std::size_t batch_words = std::size_t{1} << 16;   // waking the other thread costs 20 us
  using Batch = WordBatch<std::uint64_t>;          // ticks one after the other, not written as differences yet

  void keep(std::span<const std::uint8_t> bytes);
  void tick_kept();
  void hand_over();
  void settle();                                   // all that was added is in the buffer or the file
  void write(std::span<const std::uint64_t> batch);
  void put_adopted();
  void put_restarted();
  void put(std::span<const std::uint8_t> bytes);
  void put(std::uint64_t value, std::size_t size);
  void flush(std::size_t size);
  void write(const std::uint8_t* bytes, std::size_t size);

  std::filesystem::path path_, partial_;
  std::array<Batch, Background::undone_max + 1> batches_;
  std::size_t batch_ = 0;                          // the one being filled
  std::uint64_t ticks_ = 0;
  std::uint64_t last_us_ = 0;
  std::vector<std::uint8_t> adopted_, restarted_;  // not written yet
  fw::ResetCause cause_ = fw::ResetCause::power_on;
  std::uint32_t outage_s_ = 0;
  // Of the thread that writes; of this one after settle()
  int file_ = -1;
  std::vector<std::uint8_t> buffer_;
  std::size_t size_ = 0;
  std::uint64_t flushed_ = 0;
  Hash checksum_;
  TapeBlock last_;
  Background background_;                          // last: it uses the others
};

// One tick as read back. The spans of `in` point into the reader and hold until the next call.
struct TapeTick {
  TickIn in;
  TickOut out;
  std::vector<std::uint8_t> adopted;   // store image that the core took before this tick (Endpoint::adopt); empty: none
  std::vector<std::uint8_t> restarted; // from which it started anew before this tick, for what cause and after what outage; empty: not
  fw::ResetCause cause = fw::ResetCause::power_on;
  std::uint32_t outage_s = 0;
  bool idle = false;                   // no core ran in this tick: nothing went in or came out
};

class TapeReader {
 public:
  // Reads the file whole and checks its checksum.
  explicit TapeReader(const std::filesystem::path& path);

  const TapeHeader& header() const { return header_; }
  std::uint64_t ticks() const { return ticks_; }
  std::uint64_t read() const { return read_; }     // ticks given so far
  std::uint64_t controller_hash() const { return controller_hash_; }
  bool next(TapeTick& tick);                       // false after the last one
  void go_to(const TapePlace& place);              // next() gives the tick after it; throws TapeError where this tape has no such place
  std::span<const std::uint8_t> ticks_until(const TapePlace& place) const;   // the bytes of the ticks before it; throws likewise

 private:
  void read_header();
  std::uint64_t get(std::size_t size);
  std::span<const std::uint8_t> take(std::size_t size);
  std::vector<std::uint8_t> get_image();

  std::filesystem::path path_;
  std::vector<std::uint8_t> file_;
  std::size_t at_ = 0, end_ = 0, begin_ = 0;       // begin_: of the ticks
  TapeHeader header_;
  std::uint64_t ticks_ = 0, read_ = 0, controller_hash_ = 0;
  std::uint64_t last_us_ = 0;
  TapeBlock last_;
};

}  // namespace sim
