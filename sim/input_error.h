// What a file has wrong, and where. Thrown only while loading; caught once in main (exit 2).
#pragma once

#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

namespace sim {

struct SourcePlace {           // where a value stood, for messages
  std::string file;
  int line = 0;                // 1-based; 0: the whole file
  int column = 0;              // 1-based, in bytes
  bool operator==(const SourcePlace&) const = default;
};

// what(): "file:line:column: found ..., expected ... (nearest: ...)".
struct InputError : std::runtime_error {
  InputError(SourcePlace place, std::string found_, std::string expected_, std::string nearest_ = "");
  std::string file;
  int line;
  int column;
  std::string found, expected, nearest;
};

// "a, b, c", for messages.
std::string listed(const std::vector<std::string>& words);

// The candidate with the smallest edit distance to `word`, empty if none is near (more than a third of it differs).
std::string nearest_name(std::string_view word, const std::vector<std::string>& candidates);

}  // namespace sim
