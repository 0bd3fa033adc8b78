#include "sim/snapshot.h"

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <fstream>
#include <utility>

#include <fmt/format.h>

#include "sim/hash.h"

namespace sim {

namespace {

constexpr std::string_view file_mark = "SAGGSNAP", record_mark = "SNAPSHOT", end_mark = "SNAP-END";
constexpr std::uint32_t format = 1;
constexpr std::uint64_t state_bytes_max = std::uint64_t{1} << 30;

using Bytes = std::span<const std::uint8_t>;

std::uint64_t hash_of(Bytes bytes) {
  Hash hash;
  hash.add(bytes);
  return hash.value();
}
Bytes bytes_of(std::string_view text) { return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()}; }

void add_text(std::vector<std::uint8_t>& to, std::string_view text) { to.insert(to.end(), text.begin(), text.end()); }
template <class T>
void add_number(std::vector<std::uint8_t>& to, T number) {
  const std::size_t at = to.size();
  to.resize(at + sizeof number);
  std::memcpy(to.data() + at, &number, sizeof number);
}
void close_with_hash(std::vector<std::uint8_t>& record) { add_number(record, hash_of(record)); }

std::vector<std::uint8_t> head_of(std::string_view resolved_yaml) {
  std::vector<std::uint8_t> head;
  const std::string_view version = SAGGAR_VERSION;
  add_text(head, file_mark);
  add_number(head, format);
  add_number(head, hash_of(bytes_of(resolved_yaml)));
  add_number(head, static_cast<std::uint32_t>(version.size()));
  add_text(head, version);
  close_with_hash(head);
  return head;
}

std::uint64_t word_at(Bytes bytes, std::size_t word) {
  std::uint64_t value = 0;
  std::memcpy(&value, bytes.data() + 8 * word, std::min<std::size_t>(8, bytes.size() - 8 * word));
  return value;
}

// u64 size; then, until there are so many bytes: u32 words that follow as they are, u32 times that the last of them comes again.
std::vector<std::uint8_t> packed(Bytes state) {
  std::vector<std::uint8_t> to;
  add_number(to, static_cast<std::uint64_t>(state.size()));
  const std::size_t words = (state.size() + 7) / 8;
  for (std::size_t at = 0; at < words;) {
    std::size_t end = at + 1;
    while (end < words && word_at(state, end) != word_at(state, end - 1)) ++end;
    std::size_t again = end;
    while (again < words && word_at(state, again) == word_at(state, end - 1)) ++again;
    add_number(to, static_cast<std::uint32_t>(end - at));
    add_number(to, static_cast<std::uint32_t>(again - end));
    for (; at < end; ++at) add_number(to, word_at(state, at));
    at = again;
  }
  return to;
}

// Reads a file front to back, hashing as it goes.
class SnapshotReader {
 public:
  explicit SnapshotReader(const std::filesystem::path& file) : path_(file), stream_(file, std::ios::binary | std::ios::ate) {
    if (!stream_) fail("can't be read");
    left_ = static_cast<std::uint64_t>(stream_.tellg());
    stream_.seekg(0);
  }
  [[noreturn]] void fail(const std::string& why) const {
    throw SnapshotError(path_.string() + ": " + why + "; without this file the past is computed from its start");
  }
  void begin() { record_.clear(); }
  Bytes take(std::uint64_t size) {
    if (size > left_) fail("is cut short");
    const std::size_t before = record_.size();
    record_.resize(before + static_cast<std::size_t>(size));
    stream_.read(reinterpret_cast<char*>(record_.data() + before), static_cast<std::streamsize>(size));
    if (!stream_) fail("can't be read");
    left_ -= size;
    return Bytes(record_).subspan(before);
  }
  template <class T>
  T number() {
    T value{};
    std::memcpy(&value, take(sizeof value).data(), sizeof value);
    return value;
  }
  bool mark(std::string_view expected) {
    const Bytes found = take(expected.size());
    return std::memcmp(found.data(), expected.data(), expected.size()) == 0;
  }
  void check() {
    const std::uint64_t hash = hash_of(record_);
    if (number<std::uint64_t>() != hash) fail("is damaged: a hash in it does not match");
  }
  std::uint64_t left() const { return left_; }

 private:
  std::filesystem::path path_;
  std::ifstream stream_;
  std::uint64_t left_ = 0;
  std::vector<std::uint8_t> record_;
};

std::vector<std::uint8_t> unpacked(const SnapshotReader& reader, Bytes from) {
  const auto number = [&]<class T>(T value) {
    if (from.size() < sizeof value) reader.fail("is damaged: a state in it ends too early");
    std::memcpy(&value, from.data(), sizeof value);
    from = from.subspan(sizeof value);
    return value;
  };
  const auto size = number(std::uint64_t{});
  if (size > state_bytes_max) reader.fail("is damaged: a state in it is too large");
  std::vector<std::uint8_t> state;
  state.reserve(static_cast<std::size_t>(size) + 8);
  while (state.size() < size) {
    const auto count = number(std::uint32_t{}), again = number(std::uint32_t{});
    if (count == 0 || std::uint64_t{8} * count > from.size() || std::uint64_t{8} * (count + again) > size + 8 - state.size())
      reader.fail("is damaged: a state in it is of another length");
    state.insert(state.end(), from.begin(), from.begin() + std::ptrdiff_t{8} * count);
    const std::uint64_t last = word_at(from, count - 1);
    for (std::uint32_t i = 0; i < again; ++i) add_number(state, last);
    from = from.subspan(std::size_t{8} * count);
  }
  state.resize(static_cast<std::size_t>(size));
  return state;
}

void check_head(SnapshotReader& reader, std::string_view resolved_yaml) {
  if (reader.left() < file_mark.size() || !reader.mark(file_mark)) reader.fail("is no file of snapshots");
  const auto found_format = reader.number<std::uint32_t>();
  const auto resolved = reader.number<std::uint64_t>();
  const auto length = reader.number<std::uint32_t>();
  const Bytes version = reader.take(length);
  const std::string found(version.begin(), version.end());
  reader.check();
  if (found_format != format) reader.fail(fmt::format("is of format {}, expected {}", found_format, format));
  if (found != SAGGAR_VERSION) reader.fail(fmt::format("was made by version {}, this is {}", found, SAGGAR_VERSION));
  if (resolved != hash_of(bytes_of(resolved_yaml))) reader.fail("is of another run: resolved.yaml beside it is not its own");
}

}  // namespace

SnapshotWriter::SnapshotWriter(const std::filesystem::path& folder, std::string_view resolved_yaml, double period_s)
    : file_(folder, "snapshots"), period_s_(period_s), next_(static_cast<std::uint64_t>(std::llround(every_s / period_s))) {
  put(head_of(resolved_yaml));
}

bool SnapshotWriter::due_now(std::uint64_t ticks, int segment) {
  segment_waits_ |= segment != segment_;
  segment_ = segment;
  const auto apart = static_cast<std::uint64_t>(std::llround(apart_s / period_s_));
  const bool soon = count_ > 0 && ticks < last_ + apart;
  const auto every = static_cast<std::uint64_t>(std::llround(every_s / period_s_));
  if (segment_waits_ && soon) {        // looked at again as soon as it is allowed
    next_ = std::min(next_, last_ + apart);
    return false;
  }
  if (!segment_waits_ && ticks < next_) return false;
  segment_waits_ = false;
  next_ = (ticks / every + 1) * every;
  return true;
}

void SnapshotWriter::put(Bytes bytes) { file_.write({reinterpret_cast<const char*>(bytes.data()), bytes.size()}); }

void SnapshotWriter::add(std::uint64_t ticks, double time_s, Bytes state) {
  const std::vector<std::uint8_t> body = packed(state);
  std::vector<std::uint8_t> record;
  add_text(record, record_mark);
  add_number(record, ticks);
  add_number(record, time_s);
  add_number(record, static_cast<std::uint64_t>(body.size()));
  record.insert(record.end(), body.begin(), body.end());
  close_with_hash(record);
  put(record);
  last_ = ticks;
  ++count_;
}

void SnapshotWriter::finish() {
  std::vector<std::uint8_t> end;
  add_text(end, end_mark);
  add_number(end, count_);
  close_with_hash(end);
  put(end);
  file_.close();
  file_.name();
}

std::optional<Snapshot> nearest_snapshot(const std::filesystem::path& file, std::string_view resolved_yaml, std::uint64_t ticks) {
  SnapshotReader reader(file);
  check_head(reader, resolved_yaml);
  std::optional<Snapshot> nearest;
  for (std::uint64_t count = 0;; ++count) {
    reader.begin();
    const Bytes found = reader.take(record_mark.size());
    const std::string mark(found.begin(), found.end());
    if (mark == end_mark) {
      const bool all = reader.number<std::uint64_t>() == count;
      reader.check();
      if (!all || reader.left() > 0) reader.fail("is damaged: it does not hold as many snapshots as it says");
      if (nearest) nearest->state = unpacked(reader, nearest->state);
      return nearest;
    }
    if (mark != record_mark) reader.fail("is damaged: something else stands where a snapshot should begin");
    Snapshot snapshot;
    snapshot.ticks = reader.number<std::uint64_t>();
    snapshot.time_s = reader.number<double>();
    const auto length = reader.number<std::uint64_t>();
    const Bytes body = reader.take(length);
    if (snapshot.ticks <= ticks) snapshot.state.assign(body.begin(), body.end());   // packed
    reader.check();
    if (snapshot.ticks > ticks) continue;
    nearest = std::move(snapshot);
  }
}

}  // namespace sim
