#include "sim/result_file.h"

#include <cerrno>
#include <csignal>
#include <cstring>
#include <system_error>

#include <fcntl.h>
#include <unistd.h>

#include "sim/recording.h"

namespace sim {

namespace {

constexpr std::size_t buffer_bytes = std::size_t{1} << 18;

std::string reason(int error) {
  if (error == ENOSPC || error == EDQUOT) return "the disk is full";
  if (error == EFBIG) return "the file would be larger than allowed";
  return std::strerror(error);
}

}  // namespace

ResultFile::ResultFile(const std::filesystem::path& folder, const std::string& name)
    : path_(folder / name), partial_(folder / ("." + name + ".partial")), buffer_(buffer_bytes) {
  std::signal(SIGXFSZ, SIG_IGN);   // a file-size limit shall answer the write, not end the process
  file_ = ::open(partial_.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
  if (file_ < 0) fail("make");
}

ResultFile::~ResultFile() {
  if (file_ >= 0) ::close(file_);
  if (!named_) ::unlink(partial_.c_str());
}

void ResultFile::fail(const char* what) const {
  const int error = errno;
  throw RecordingError(path_.string() + ": can't " + what + " this file: " + reason(error));
}

void ResultFile::flush() {
  std::size_t done = 0;
  while (done < size_) {
    const ssize_t wrote = ::write(file_, buffer_.data() + done, size_ - done);
    if (wrote < 0 && errno == EINTR) continue;
    if (wrote < 0) fail("write");
    done += static_cast<std::size_t>(wrote);
  }
  flushed_ += size_;
  size_ = 0;
}

char* ResultFile::room(std::size_t bytes) {
  if (size_ + bytes > buffer_.size()) flush();
  if (bytes > buffer_.size()) buffer_.resize(bytes);
  return buffer_.data() + size_;
}

void ResultFile::write(std::string_view text) {
  char* at = room(text.size());
  std::memcpy(at, text.data(), text.size());
  took(at + text.size());
}

void ResultFile::close() {
  flush();
  const int closed = ::close(file_);
  file_ = -1;
  if (closed != 0) fail("write");
}

void ResultFile::name() {
  if (::rename(partial_.c_str(), path_.c_str()) != 0) fail("name");
  named_ = true;
}

void make_folder(const std::filesystem::path& folder) {
  std::error_code error;
  std::filesystem::create_directories(folder, error);
  if (error) throw RecordingError(folder.string() + ": can't make this folder: " + error.message());
  if (!std::filesystem::is_directory(folder)) throw RecordingError(folder.string() + ": is not a folder");
  if (::access(folder.c_str(), W_OK | X_OK) != 0)
    throw RecordingError(folder.string() + ": can't write into this folder: " + reason(errno));
}

}  // namespace sim
