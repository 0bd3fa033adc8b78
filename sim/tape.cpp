#include "sim/tape.h"

#include <algorithm>
#include <bit>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <system_error>
#include <utility>

#include <fcntl.h>
#include <unistd.h>
#if defined(__BMI2__)
#include <immintrin.h>
#endif

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "firmware/cortex_m/lockstep.h"

namespace sim {

namespace {

constexpr std::string_view file_mark = "SAGGTAPE";
constexpr std::string_view end_mark = "TAPE-END";
constexpr std::uint32_t format = 3;              // 1 had no adopted store images, 2 no restarts
constexpr std::size_t end_bytes = 32;

// Where each part of a tick lies in the block, in words.
constexpr std::size_t head_words = 4;
constexpr std::size_t field_in_at = head_words;
constexpr std::size_t supervisory_in_at = field_in_at + fw::lockstep::field_bytes_max / 8;
constexpr std::size_t field_out_at = supervisory_in_at + fw::lockstep::supervisory_bytes_max / 8;
constexpr std::size_t supervisory_out_at = field_out_at + fw::frame_bytes_max / 8;
constexpr std::size_t store_at = supervisory_out_at + fw::frame_bytes_max / 8;
static_assert(store_at + fw::store_write_bytes / 8 <= TapeBlock::words_max);
constexpr std::size_t tick_bytes_max = TapeBlock::words_max * 9 + TapeBlock::words_max / 8 + 1;

// The head as words: sizes and the latched flag; steps of time; the store's offset.
struct Head {
  std::uint32_t field_in = 0, supervisory_in = 0, field_out = 0, supervisory_out = 0, store = 0;
  bool latched = false, adopts = false, restarts = false, idle = false;
  std::uint32_t step_us = 0, field_lag_us = 0, supervisory_lag_us = 0, store_offset = 0;

  std::array<std::uint64_t, head_words> words() const {
    return {field_in | std::uint64_t{supervisory_in} << 16 | std::uint64_t{field_out} << 32 | std::uint64_t{supervisory_out} << 48,
            store | std::uint64_t{latched} << 16 | std::uint64_t{adopts} << 17 | std::uint64_t{restarts} << 18 | std::uint64_t{idle} << 19,
            step_us | std::uint64_t{store_offset} << 32,
            field_lag_us | std::uint64_t{supervisory_lag_us} << 32};
  }
  explicit Head(const std::uint64_t* words)
      : field_in(words[0] & 0xFFFF), supervisory_in(words[0] >> 16 & 0xFFFF), field_out(words[0] >> 32 & 0xFFFF),
        supervisory_out(words[0] >> 48), store(words[1] & 0xFFFF), latched((words[1] >> 16 & 1) != 0), adopts((words[1] >> 17 & 1) != 0),
        restarts((words[1] >> 18 & 1) != 0), idle((words[1] >> 19 & 1) != 0),
        step_us(static_cast<std::uint32_t>(words[2])), field_lag_us(static_cast<std::uint32_t>(words[3])),
        supervisory_lag_us(static_cast<std::uint32_t>(words[3] >> 32)), store_offset(static_cast<std::uint32_t>(words[2] >> 32)) {}
  Head() = default;
};

// 0x01 in every byte of `word` that is not zero.
std::uint64_t nonzero_bytes(std::uint64_t word) {
  constexpr std::uint64_t low7 = 0x7F7F7F7F7F7F7F7Fu;
  return (((word & low7) + low7) | word) >> 7 & 0x0101010101010101u;
}

// One bit per byte from 0x01 per byte.
std::uint8_t gather_bits(std::uint64_t ones) { return static_cast<std::uint8_t>(ones * 0x0102040810204080u >> 56); }

// The bytes of `word` chosen by `ones`, moved together.
std::uint64_t pack(std::uint64_t word, std::uint64_t ones) {
#if defined(__BMI2__)
  return _pext_u64(word, ones * 0xFF);
#else
  std::uint64_t packed = 0;
  int shift = 0;
  for (int byte = 0; byte < 64; byte += 8) {
    if ((ones >> byte & 1) == 0) continue;
    packed |= (word >> byte & 0xFF) << shift;
    shift += 8;
  }
  return packed;
#endif
}

// Writes words as differences into a buffer with room for tick_bytes_max.
class WordWriter {
 public:
  explicit WordWriter(std::uint8_t* to) : begin_(to), at_(to) {}

  void add(std::uint64_t word, std::uint64_t& last) {
    if (in_group_ == 0) {
      group_ = at_++;
      *group_ = 0;
    }
    const std::uint64_t changed = word ^ last;
    last = word;
    if (changed != 0) {
      *group_ = static_cast<std::uint8_t>(*group_ | (1u << in_group_));
      const std::uint64_t ones = nonzero_bytes(changed);
      *at_++ = gather_bits(ones);
      const std::uint64_t packed = pack(changed, ones);
      std::memcpy(at_, &packed, 8);
      at_ += std::popcount(ones);
    }
    in_group_ = (in_group_ + 1) & 7;
  }

  std::size_t size() const { return static_cast<std::size_t>(at_ - begin_); }

 private:
  std::uint8_t* begin_;
  std::uint8_t* at_;
  std::uint8_t* group_ = nullptr;
  unsigned in_group_ = 0;
};

// The reverse; never reads past the end.
class WordReader {
 public:
  explicit WordReader(std::span<const std::uint8_t> bytes) : bytes_(bytes) {}

  void next(std::uint64_t& word) {
    if (in_group_ == 0) group_ = byte();
    if ((group_ >> in_group_ & 1) != 0) {
      const std::uint8_t chosen = byte();
      for (int at = 0; at < 8; ++at)
        if ((chosen >> at & 1) != 0) word ^= std::uint64_t{byte()} << (8 * at);
    }
    in_group_ = (in_group_ + 1) & 7;
  }

  void next(std::uint64_t* words, std::size_t bytes) {
    for (std::size_t word = 0; word < (bytes + 7) / 8; ++word) next(words[word]);
  }

  std::size_t used() const { return at_; }
  bool overrun() const { return overrun_; }

 private:
  std::uint8_t byte() {
    if (at_ < bytes_.size()) return bytes_[at_++];
    overrun_ = true;
    return 0;
  }

  std::span<const std::uint8_t> bytes_;
  std::size_t at_ = 0;
  std::uint8_t group_ = 0;
  unsigned in_group_ = 0;
  bool overrun_ = false;
};

// Runs: u32 length, u8 value. A store image is mostly blank pages.
std::vector<std::uint8_t> run_lengths(std::span<const std::uint8_t> bytes) {
  std::vector<std::uint8_t> coded;
  for (std::size_t at = 0; at < bytes.size();) {
    std::size_t end = at + 1;
    while (end < bytes.size() && bytes[end] == bytes[at]) ++end;
    const auto length = static_cast<std::uint32_t>(end - at);
    for (int shift = 0; shift < 32; shift += 8) coded.push_back(static_cast<std::uint8_t>(length >> shift));
    coded.push_back(bytes[at]);
    at = end;
  }
  return coded;
}

std::string reason() { return std::system_category().message(errno); }

std::span<const std::uint8_t> as_bytes(std::string_view text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

}  // namespace

TapeWriter::TapeWriter(const std::filesystem::path& path, const TapeHeader& header)
    : path_(path), partial_(path.string() + ".partial"), buffer_(block_bytes + tick_bytes_max + 8) {
  file_ = open(partial_.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  if (file_ < 0) throw TapeError(fmt::format("cannot write {}: {}", partial_.string(), reason()));
  const nlohmann::ordered_json text{{"scenario", header.scenario},     {"saggar", header.saggar},
                                    {"controller", header.controller}, {"seed", header.seed},
                                    {"period_ns", header.period_ns},   {"reset_cause", static_cast<int>(header.reset_cause)},
                                    {"outage_s", header.outage_s}};
  const std::string dumped = text.dump();
  const std::vector<std::uint8_t> image = run_lengths(header.store_image);
  put(as_bytes(file_mark));
  put(format, 4);
  put(dumped.size(), 4);
  put(as_bytes(dumped));
  put(header.store_image.size(), 4);
  put(image);
}

TapeWriter::~TapeWriter() {
  try {
    background_.drain();     // nothing may be on its way to a file that is shut
  } catch (const TapeError&) {
    // the tape is given up anyway
  }
  if (file_ < 0) return;
  close(file_);
  std::error_code ignored;  // nothing to be done about a partial file that cannot be removed
  std::filesystem::remove(partial_, ignored);
}

void TapeWriter::put(std::span<const std::uint8_t> bytes) {
  while (!bytes.empty()) {
    const std::size_t part = std::min(bytes.size(), block_bytes - size_);
    std::memcpy(buffer_.data() + size_, bytes.data(), part);
    size_ += part;
    bytes = bytes.subspan(part);
    if (size_ == block_bytes) flush(block_bytes);
  }
}

void TapeWriter::put(std::uint64_t value, std::size_t size) {
  std::array<std::uint8_t, 8> bytes{};
  std::memcpy(bytes.data(), &value, 8);
  put({bytes.data(), size});
}

void TapeWriter::write(const std::uint8_t* bytes, std::size_t size) {
  while (size > 0) {
    const ssize_t written = ::write(file_, bytes, size);
    if (written < 0 && errno == EINTR) continue;
    if (written <= 0) throw TapeError(fmt::format("cannot write {}: {}", partial_.string(), reason()));
    bytes += written;
    size -= static_cast<std::size_t>(written);
  }
}

// The checksum takes the file in blocks of exactly block_bytes, so that the reader can do the same.
void TapeWriter::flush(std::size_t size) {
  checksum_.add(std::span<const std::uint8_t>(buffer_.data(), size));
  write(buffer_.data(), size);
  flushed_ += size;
  size_ -= size;
  if (size_ > 0) std::memmove(buffer_.data(), buffer_.data() + size, size_);
}

void TapeWriter::go_on_from(const TapeReader& past, const TapePlace& place) {
  settle();
  put(past.ticks_until(place));
  ticks_ = place.ticks;
  last_us_ = place.last_us;
  last_ = place.last;
}

TapePlace TapeWriter::place() {
  settle();
  return {flushed_ + size_, ticks_, last_us_, last_};
}

std::uint64_t TapeWriter::bytes() {
  settle();
  return flushed_ + size_;
}

void TapeWriter::keep(std::span<const std::uint8_t> bytes) { batches_[batch_].add(bytes.data(), bytes.size()); }

void TapeWriter::hand_over() {
  const std::size_t full = std::exchange(batch_, (batch_ + 1) % batches_.size());
  batches_[full].hand_over();
  background_.post([this, full] { write(batches_[full].words()); });
  batches_[batch_].clear();
}

void TapeWriter::settle() {
  if (!batches_[batch_].empty()) hand_over();
  background_.drain();
}

void TapeWriter::tick_kept() {
  ++ticks_;
  if (batches_[batch_].size() >= batch_words) hand_over();
}

void TapeWriter::write(std::span<const std::uint64_t> batch) {
  for (const std::uint64_t *at = batch.data(), *const end = at + batch.size(); at != end;) {
    const Head head(at);
    WordWriter words(buffer_.data() + size_);
    const auto add = [&](std::size_t count, std::size_t to) {
      for (std::size_t word = 0; word < count; ++word) words.add(*at++, last_.words[to + word]);
    };
    add(head_words, 0);
    add((head.field_in + 7) / 8, field_in_at);
    add((head.supervisory_in + 7) / 8, supervisory_in_at);
    add((head.field_out + 7) / 8, field_out_at);
    add((head.supervisory_out + 7) / 8, supervisory_out_at);
    add((head.store + 7) / 8, store_at);
    size_ += words.size();
    if (size_ >= block_bytes) flush(block_bytes);
  }
}

void TapeWriter::add(const TickIn& in, const TickOut& out) {
  Head head;
  head.field_in = static_cast<std::uint32_t>(in.field.size());
  head.supervisory_in = static_cast<std::uint32_t>(in.supervisory.size());
  head.field_out = out.field_size;
  head.supervisory_out = out.supervisory_size;
  head.store = out.store_size;
  head.latched = out.latched;
  head.adopts = !adopted_.empty();
  head.restarts = !restarted_.empty();
  if (head.restarts) last_us_ = 0;
  head.step_us = static_cast<std::uint32_t>(in.now_us - last_us_);
  head.field_lag_us = in.field.empty() ? 0 : static_cast<std::uint32_t>(in.now_us - in.field_arrival_us);
  head.supervisory_lag_us = in.supervisory.empty() ? 0 : static_cast<std::uint32_t>(in.now_us - in.supervisory_arrival_us);
  head.store_offset = out.store_size == 0 ? 0 : out.store_offset;
  last_us_ = in.now_us;

  const std::array<std::uint64_t, head_words> words = head.words();
  batches_[batch_].add(words.data(), sizeof words);
  keep(in.field);
  keep(in.supervisory);
  keep({out.field.data(), out.field_size});
  keep({out.supervisory.data(), out.supervisory_size});
  keep({out.store.data(), out.store_size});
  tick_kept();
  if (head.adopts) put_adopted();
  if (head.restarts) put_restarted();
}

void TapeWriter::put_adopted() {
  settle();
  put(adopted_.size(), 4);
  put(run_lengths(adopted_));
  adopted_.clear();
}

void TapeWriter::put_restarted() {
  settle();
  put(static_cast<std::uint64_t>(cause_), 1);
  put(outage_s_, 4);
  put(restarted_.size(), 4);
  put(run_lengths(restarted_));
  restarted_.clear();
}

void TapeWriter::add_idle() {
  Head head;
  head.idle = true;
  const std::array<std::uint64_t, head_words> words = head.words();
  batches_[batch_].add(words.data(), sizeof words);
  tick_kept();
}

void TapeWriter::restart(std::span<const std::uint8_t> store_image, fw::ResetCause cause, std::uint32_t outage_s) {
  restarted_.assign(store_image.begin(), store_image.end());
  cause_ = cause;
  outage_s_ = outage_s;
}

void TapeWriter::adopt(std::span<const std::uint8_t> store_image) { adopted_.assign(store_image.begin(), store_image.end()); }

void TapeWriter::finish(std::uint64_t controller_hash) {
  settle();
  put(as_bytes(end_mark));
  put(ticks_, 8);
  put(controller_hash, 8);
  flush(size_);
  const std::uint64_t checksum = checksum_.value();
  std::array<std::uint8_t, 8> bytes{};
  std::memcpy(bytes.data(), &checksum, 8);
  write(bytes.data(), bytes.size());
  flushed_ += bytes.size();
  const int file = std::exchange(file_, -1);
  std::error_code error;
  if (close(file) != 0) error = {errno, std::system_category()};
  if (!error) std::filesystem::rename(partial_, path_, error);
  if (!error) return;
  std::error_code ignored;
  std::filesystem::remove(partial_, ignored);
  throw TapeError(fmt::format("cannot write {}: {}", path_.string(), error.message()));
}

TapeReader::TapeReader(const std::filesystem::path& path) : path_(path) {
  std::ifstream stream(path, std::ios::binary | std::ios::ate);
  if (!stream) throw TapeError(fmt::format("cannot read {}: {}", path.string(), reason()));
  file_.resize(static_cast<std::size_t>(stream.tellg()));
  stream.seekg(0);
  stream.read(reinterpret_cast<char*>(file_.data()), static_cast<std::streamsize>(file_.size()));
  if (!stream || file_.size() < file_mark.size() + end_bytes || std::memcmp(file_.data(), file_mark.data(), file_mark.size()) != 0)
    throw TapeError(fmt::format("{}: not a tape, or cut short", path.string()));

  constexpr std::size_t block = std::size_t{1} << 20;
  const std::size_t checked = file_.size() - 8;
  Hash checksum;
  for (std::size_t at = 0; at < checked; at += block)
    checksum.add(std::span<const std::uint8_t>(file_.data() + at, std::min(block, checked - at)));
  at_ = checked;
  end_ = file_.size();
  if (get(8) != checksum.value()) throw TapeError(fmt::format("{}: damaged or cut short: its checksum does not match", path.string()));

  at_ = file_.size() - end_bytes;
  const auto mark = take(end_mark.size());
  if (std::memcmp(mark.data(), end_mark.data(), end_mark.size()) != 0) throw TapeError(fmt::format("{}: has no end mark", path.string()));
  ticks_ = get(8);
  controller_hash_ = get(8);
  at_ = file_mark.size();
  end_ = file_.size() - end_bytes;
  read_header();
}

std::span<const std::uint8_t> TapeReader::take(std::size_t size) {
  if (size > end_ - at_) throw TapeError(fmt::format("{}: ends within a record", path_.string()));
  const std::span<const std::uint8_t> part(file_.data() + at_, size);
  at_ += size;
  return part;
}

std::uint64_t TapeReader::get(std::size_t size) {
  std::uint64_t value = 0;
  std::memcpy(&value, take(size).data(), size);
  return value;
}

void TapeReader::read_header() {
  if (const std::uint64_t found = get(4); found < 1 || found > format)
    throw TapeError(fmt::format("{}: tape format {}, expected {}", path_.string(), found, format));
  const auto text = take(static_cast<std::size_t>(get(4)));
  try {
    const nlohmann::json fields = nlohmann::json::parse(text.begin(), text.end());
    fields.at("scenario").get_to(header_.scenario);
    fields.at("saggar").get_to(header_.saggar);
    fields.at("controller").get_to(header_.controller);
    fields.at("seed").get_to(header_.seed);
    fields.at("period_ns").get_to(header_.period_ns);
    header_.reset_cause = static_cast<fw::ResetCause>(fields.at("reset_cause").get<int>());
    fields.at("outage_s").get_to(header_.outage_s);
  } catch (const nlohmann::json::exception& error) {
    throw TapeError(fmt::format("{}: header: {}", path_.string(), error.what()));
  }
  header_.store_image = get_image();
  begin_ = at_;
}

std::vector<std::uint8_t> TapeReader::get_image() {
  std::vector<std::uint8_t> image;
  const std::uint64_t image_bytes = get(4);
  if (image_bytes > fw::store_image_bytes) throw TapeError(fmt::format("{}: store image of {} bytes", path_.string(), image_bytes));
  while (image.size() < image_bytes) {
    const std::uint64_t length = get(4);
    const auto value = static_cast<std::uint8_t>(get(1));
    if (length == 0 || length > image_bytes - image.size()) throw TapeError(fmt::format("{}: store image broken", path_.string()));
    image.insert(image.end(), static_cast<std::size_t>(length), value);
  }
  return image;
}

std::span<const std::uint8_t> TapeReader::ticks_until(const TapePlace& place) const {
  if (place.bytes < begin_ || place.bytes > end_ || place.ticks > ticks_)
    throw TapeError(fmt::format("{}: is not the tape that the snapshot was taken beside", path_.string()));
  return {file_.data() + begin_, static_cast<std::size_t>(place.bytes) - begin_};
}

void TapeReader::go_to(const TapePlace& place) {
  at_ = begin_ + ticks_until(place).size();
  read_ = place.ticks;
  last_us_ = place.last_us;
  last_ = place.last;
}

bool TapeReader::next(TapeTick& tick) {
  if (read_ == ticks_) return false;
  WordReader reader({file_.data() + at_, end_ - at_});
  std::uint64_t* const words = last_.words.data();
  reader.next(words, head_words * 8);
  const Head head(words);
  TickOut& out = tick.out;
  if (head.field_in > fw::lockstep::field_bytes_max || head.supervisory_in > fw::lockstep::supervisory_bytes_max ||
      head.field_out > out.field.size() || head.supervisory_out > out.supervisory.size() || head.store > out.store.size())
    throw TapeError(fmt::format("{}: tick {} is broken", path_.string(), read_));
  reader.next(words + field_in_at, head.field_in);
  reader.next(words + supervisory_in_at, head.supervisory_in);
  reader.next(words + field_out_at, head.field_out);
  reader.next(words + supervisory_out_at, head.supervisory_out);
  reader.next(words + store_at, head.store);
  if (reader.overrun()) throw TapeError(fmt::format("{}: ends within tick {}", path_.string(), read_));
  at_ += reader.used();
  ++read_;
  tick.adopted.clear();
  if (head.adopts) tick.adopted = get_image();
  tick.restarted.clear();
  if (head.restarts) {
    tick.cause = static_cast<fw::ResetCause>(get(1));
    tick.outage_s = static_cast<std::uint32_t>(get(4));
    tick.restarted = get_image();
    last_us_ = 0;
  }
  tick.idle = head.idle;

  const auto bytes_at = [words](std::size_t word) { return reinterpret_cast<const std::uint8_t*>(words + word); };
  last_us_ += static_cast<std::uint64_t>(std::int64_t{static_cast<std::int32_t>(head.step_us)});   // a clock may go back
  tick.in.now_us = last_us_;
  tick.in.field = {bytes_at(field_in_at), head.field_in};
  tick.in.supervisory = {bytes_at(supervisory_in_at), head.supervisory_in};
  tick.in.field_arrival_us = head.field_in == 0 ? 0 : last_us_ - head.field_lag_us;
  tick.in.supervisory_arrival_us = head.supervisory_in == 0 ? 0 : last_us_ - head.supervisory_lag_us;
  out.field_size = head.field_out;
  out.supervisory_size = head.supervisory_out;
  out.store_size = head.store;
  out.store_offset = head.store_offset;
  out.latched = head.latched;
  std::memcpy(out.field.data(), bytes_at(field_out_at), head.field_out);
  std::memcpy(out.supervisory.data(), bytes_at(supervisory_out_at), head.supervisory_out);
  std::memcpy(out.store.data(), bytes_at(store_at), head.store);
  return true;
}

}  // namespace sim
