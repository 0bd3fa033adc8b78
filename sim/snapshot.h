// The bytes of a snapshot: everything that changes during a run, put by each part's save() and taken back, in the same order,
// by its restore(). Plain values lie as in memory: a snapshot belongs to the program that wrote it, and whoever opens a file of
// them checks that first. Every part puts its own tag before its values, so that parts that drift apart are named, not misread.
#pragma once

#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

namespace sim {

// Bytes that are not those of the part that takes them. what() says which.
struct SnapshotError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

template <class T>
concept PlainValue = std::is_trivially_copyable_v<T> && !std::is_pointer_v<T> && !std::is_array_v<T>;

class SnapshotWriter {
 public:
  void tag(std::string_view part) { put(part); }
  template <PlainValue T>
  void put(const T& value) {
    put_bytes(&value, sizeof value);
  }
  void put(std::string_view text) {
    put(std::uint64_t{text.size()});
    put_bytes(text.data(), text.size());
  }
  template <PlainValue T>
  void put(const std::vector<T>& values) {
    put(std::uint64_t{values.size()});
    put_bytes(values.data(), values.size() * sizeof(T));
  }
  std::span<const std::uint8_t> bytes() const { return bytes_; }

 private:
  void put_bytes(const void* from, std::size_t size) {
    const auto* first = static_cast<const std::uint8_t*>(from);
    bytes_.insert(bytes_.end(), first, first + size);
  }

  std::vector<std::uint8_t> bytes_;
};

class SnapshotReader {
 public:
  explicit SnapshotReader(std::span<const std::uint8_t> bytes) : bytes_(bytes) {}   // not owned

  // Throws SnapshotError when the next part is another one.
  void tag(std::string_view part) {
    const std::string found = get_text();
    if (found != part) throw SnapshotError("the snapshot holds `" + found + "` where `" + std::string(part) + "` should stand");
  }
  template <PlainValue T>
  void get(T& value) {
    std::memcpy(static_cast<void*>(&value), take(sizeof value).data(), sizeof value);
  }
  std::string get_text() {
    const std::span<const std::uint8_t> text = take(get_size(1));
    return {text.begin(), text.end()};
  }
  template <PlainValue T>
  void get(std::vector<T>& values) {
    values.resize(get_size(sizeof(T)));
    const std::size_t size = values.size() * sizeof(T);
    if (size > 0) std::memcpy(static_cast<void*>(values.data()), take(size).data(), size);
  }
  bool at_end() const { return bytes_.empty(); }

 private:
  std::size_t get_size(std::size_t of_one) {
    std::uint64_t count = 0;
    get(count);
    if (count > bytes_.size() / of_one) throw SnapshotError("the snapshot is cut short");
    return static_cast<std::size_t>(count);
  }
  std::span<const std::uint8_t> take(std::size_t size) {
    if (size > bytes_.size()) throw SnapshotError("the snapshot is cut short");
    const std::span<const std::uint8_t> part = bytes_.first(size);
    bytes_ = bytes_.subspan(size);
    return part;
  }

  std::span<const std::uint8_t> bytes_;
};

}  // namespace sim
