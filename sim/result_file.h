// One file of a run's results, written through a buffer under a temporary name in its folder.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace sim {

class ResultFile {
 public:
  // Opens FOLDER/.NAME.partial. Throws RecordingError (recording.h).
  ResultFile(const std::filesystem::path& folder, const std::string& name);
  ~ResultFile();                          // what has not been given its name is removed
  ResultFile(const ResultFile&) = delete;
  ResultFile& operator=(const ResultFile&) = delete;

  void write(std::string_view text);
  // Room for `bytes` at the end of the buffer; took(end) says how far it was used.
  char* room(std::size_t bytes);
  void took(char* end) { size_ = static_cast<std::size_t>(end - buffer_.data()); }

  std::uint64_t bytes() const { return flushed_ + size_; }   // written so far

  void close();                           // everything is on its way to the disk, or RecordingError
  void name();                            // gives the closed file its own name, replacing an older one

 private:
  void flush();
  [[noreturn]] void fail(const char* what) const;

  std::filesystem::path path_, partial_;
  std::vector<char> buffer_;
  std::size_t size_ = 0;
  std::uint64_t flushed_ = 0;
  int file_ = -1;
  bool named_ = false;
};

// Makes the folder, with its parents, and checks that files can be made in it. Throws RecordingError.
void make_folder(const std::filesystem::path& folder);

}  // namespace sim
