// One walk over what changes in a part of the bench, for both directions: a class names each such member once, in its
// `void visit(Archive&)`; an archive that writes takes them, one that reads gives them back. So saving and restoring can't
// disagree. What is built from the scenario alone (model, tables, compiled expressions) is no state: it is not visited, and a part
// that is restored must have been built from the same scenario.
//
//   void Watch::visit(Archive& archive) { archive(last_, count_); }
//
// Plain values and trivially copyable structs (no pointers, spans or views in them) go as their bytes, padding and all; strings,
// optionals and vectors by their length; what has a `visit` is visited.
#pragma once

#include <cstdint>
#include <cstring>
#include <optional>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

namespace sim {

// What is read was not written by the same walk over the same scenario: another program, or damaged.
struct ArchiveError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

class Archive {
 public:
  Archive() = default;                                                           // writes
  explicit Archive(std::span<const std::uint8_t> from) : from_(from), reads_(true) {}   // reads; `from` must outlive it

  bool reads() const { return reads_; }
  std::span<const std::uint8_t> bytes() const { return bytes_; }   // written so far
  bool at_end() const { return from_.empty(); }                    // everything has been read

  // What follows belongs to `name`: reading finds it there, or throws.
  void part(std::string_view name);

  template <class... Members>
  void operator()(Members&... members) {
    (one(members), ...);
  }
  // A list whose length the scenario fixes.
  template <class T>
  void each(std::vector<T>& list) {
    check(length(list.size()) == list.size(), "a list of another length");
    for (T& element : list) one(element);
  }
  // A list that may have lost elements since it was built, told apart by a member: what was lost is dropped while reading.
  template <class T, class Key>
  void remaining(std::vector<T>& list, Key T::*key) {
    const std::size_t count = length(list.size());
    check(count <= list.size(), "more waits than there is");
    for (std::size_t at = 0; at < count; ++at) {
      Key wanted = list[at].*key;
      one(wanted);
      while (at < list.size() && list[at].*key != wanted) list.erase(list.begin() + static_cast<std::ptrdiff_t>(at));
      check(at < list.size(), "something waits that isn't there");
      one(list[at]);
    }
    list.erase(list.begin() + static_cast<std::ptrdiff_t>(count), list.end());
  }
  static void check(bool holds, const char* found) {
    if (!holds) throw ArchiveError(std::string("not a state of this scenario and program: ") + found);
  }

 private:
  template <class T>
  static constexpr bool is_vector = false;
  template <class T>
  static constexpr bool is_optional = false;

  template <class T>
  void one(T& member) {
    if constexpr (requires { member.visit(*this); }) {
      member.visit(*this);
    } else if constexpr (is_vector<T> || std::is_same_v<T, std::string>) {
      const std::size_t count = length(member.size());
      check(!reads_ || count <= from_.size(), "a list that is too long");   // an element is a byte at least
      if (reads_) member.resize(count);
      for (auto& element : member) one(element);
    } else if constexpr (is_optional<T>) {
      bool given = member.has_value();
      one(given);
      if (reads_ && given) member.emplace();
      if (reads_ && !given) member.reset();
      if (given) one(*member);
    } else {
      plain(member);
    }
  }
  template <class T>
  void plain(T& value) {
    static_assert(std::is_trivially_copyable_v<T> && !std::is_pointer_v<T>, "give this class a visit(Archive&)");
    if constexpr (std::is_class_v<T>) check(length(sizeof(T)) == sizeof(T), "a struct of another size");
    if (reads_) take(&value, sizeof(T));
    else give(&value, sizeof(T));
  }
  std::size_t length(std::size_t here) {
    auto count = static_cast<std::uint64_t>(here);
    plain(count);
    return static_cast<std::size_t>(count);
  }
  void give(const void* from, std::size_t size) {
    const auto* bytes = static_cast<const std::uint8_t*>(from);
    bytes_.insert(bytes_.end(), bytes, bytes + size);
  }
  void take(void* to, std::size_t size) {
    check(size <= from_.size(), "its end, too early");
    std::memcpy(to, from_.data(), size);
    from_ = from_.subspan(size);
  }

  std::vector<std::uint8_t> bytes_;
  std::span<const std::uint8_t> from_;
  bool reads_ = false;
};

template <class T>
constexpr bool Archive::is_vector<std::vector<T>> = true;
template <class T>
constexpr bool Archive::is_optional<std::optional<T>> = true;

inline void Archive::part(std::string_view name) {
  std::string found(name);
  one(found);
  if (found != name) throw ArchiveError("not a state of this scenario and program: `" + std::string(name) + "` is missing");
}

}  // namespace sim
