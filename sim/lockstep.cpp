#include "sim/lockstep.h"

#include <atomic>
#include <cerrno>
#include <chrono>
#include <cstring>
#include <system_error>
#include <thread>

#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <sys/wait.h>
#include <unistd.h>

#include <fmt/format.h>

extern char** environ;

namespace sim {

namespace {

constexpr int grace_ms = 2000;       // for a child to notice that its input has ended
constexpr std::size_t quoted_bytes = 600;

std::string reason(int error) { return std::system_category().message(error); }

// Spawns with `socket` as standard input and output; returns the error number.
int spawn(const std::vector<std::string>& command, int socket, int errors, int& pid) {
  std::vector<char*> arguments;
  for (const std::string& word : command) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  posix_spawn_file_actions_t files;
  posix_spawnattr_t attributes;
  posix_spawn_file_actions_init(&files);
  posix_spawnattr_init(&attributes);
  posix_spawn_file_actions_adddup2(&files, socket, STDIN_FILENO);
  posix_spawn_file_actions_adddup2(&files, socket, STDOUT_FILENO);
  posix_spawn_file_actions_adddup2(&files, errors, STDERR_FILENO);
  posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP);
  posix_spawnattr_setpgroup(&attributes, 0);
  const int error = posix_spawnp(&pid, arguments[0], &files, &attributes, arguments.data(), environ);
  posix_spawnattr_destroy(&attributes);
  posix_spawn_file_actions_destroy(&files);
  return error;
}

}  // namespace

// Of the processors this thread may use, the one it is on, for the first; each further one of this program takes the next.
OneProcessor::OneProcessor() {
  static std::atomic<int> taken{0};
  if (sched_getaffinity(0, sizeof before_, &before_) != 0) return;
  const int count = CPU_COUNT(&before_), current = sched_getcpu();
  if (count < 2 || current < 0) return;
  int left = taken++ % count, processor = current;
  while (left > 0 || !CPU_ISSET(static_cast<std::size_t>(processor), &before_)) {
    processor = (processor + 1) % CPU_SETSIZE;
    if (CPU_ISSET(static_cast<std::size_t>(processor), &before_)) --left;
  }
  cpu_set_t one;
  CPU_ZERO(&one);
  CPU_SET(static_cast<std::size_t>(processor), &one);
  if (sched_setaffinity(0, sizeof one, &one) == 0) thread_ = gettid();
}

OneProcessor::~OneProcessor() {
  if (thread_ >= 0) sched_setaffinity(thread_, sizeof before_, &before_);
}

ChildProcess::ChildProcess(const std::vector<std::string>& command, int timeout_ms) : name_(command.at(0)), timeout_ms_(timeout_ms) {
  int ends[2];
  // Close-on-exec: another bench's child must not keep this one's input open.
  if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0)
    throw EndpointError(fmt::format("cannot connect to {}: {}", name_, reason(errno)));
  socket_ = ends[0];
  errors_ = memfd_create("standard-error", MFD_CLOEXEC);
  const timeval timeout{timeout_ms / 1000, timeout_ms % 1000 * 1000};
  setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &timeout, sizeof timeout);
  setsockopt(socket_, SOL_SOCKET, SO_SNDTIMEO, &timeout, sizeof timeout);
  const int error = errors_ < 0 ? errno : spawn(command, ends[1], errors_, pid_);
  close(ends[1]);
  if (error == 0) return;
  pid_ = -1;
  close(socket_);
  if (errors_ >= 0) close(errors_);
  throw EndpointError(fmt::format("cannot start {}: {}", name_, reason(error)));
}

ChildProcess::~ChildProcess() {
  close(socket_);  // the child reads end of file and leaves
  int status = 0;
  bool gone = false;
  for (int waited_ms = 0; !gone && waited_ms < grace_ms; waited_ms += 2) {
    gone = waitpid(pid_, &status, WNOHANG) != 0;
    if (!gone) std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  if (!gone) {
    kill(pid_, SIGKILL);
    waitpid(pid_, &status, 0);
  }
  close(errors_);
}

void ChildProcess::fail(const std::string& what) const {
  std::array<char, quoted_bytes> quoted{};
  const ssize_t size = pread(errors_, quoted.data(), quoted.size(), 0);
  std::string text = fmt::format("{} {}", name_, what);
  if (size > 0) text += fmt::format("; it said: {}", std::string_view(quoted.data(), static_cast<std::size_t>(size)));
  while (!text.empty() && text.back() == '\n') text.pop_back();
  throw EndpointError(text);
}

void ChildProcess::send(std::span<const std::uint8_t> bytes) {
  while (!bytes.empty()) {
    const ssize_t sent = ::send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
    if (sent > 0) {
      bytes = bytes.subspan(static_cast<std::size_t>(sent));
    } else if (errno == EAGAIN || errno == EWOULDBLOCK) {
      fail(fmt::format("has not read for {} ms", timeout_ms_));
    } else if (errno != EINTR) {
      fail("has gone: " + reason(errno));
    }
  }
}

std::size_t ChildProcess::receive(std::span<std::uint8_t> buffer) {
  while (true) {
    const ssize_t got = recv(socket_, buffer.data(), buffer.size(), 0);
    if (got > 0) return static_cast<std::size_t>(got);
    if (got == 0) fail("has ended");
    if (errno == EAGAIN || errno == EWOULDBLOCK) fail(fmt::format("has not answered for {} ms", timeout_ms_));
    if (errno != EINTR) fail("has gone: " + reason(errno));
  }
}

void LockstepEndpoint::receive_frame(std::uint8_t kind) {
  using namespace fw::lockstep;
  std::size_t size = 0;
  std::size_t wanted = out_header;
  while (size < wanted) {
    size += child_.receive({in_.data() + size, in_.size() - size});
    if (size < out_header) continue;
    if (get(in_.data(), 2) != mark || in_[2] != kind)
      throw EndpointError(child_.name() + " does not answer with lockstep frames: is it the core's image?");
    wanted = out_header + get(in_.data() + 4, 2) + get(in_.data() + 6, 2) + get(in_.data() + 8, 2);
    if (wanted > in_.size()) throw EndpointError(child_.name() + " sent a lockstep frame that is too long");
  }
  if (size > wanted) throw EndpointError(child_.name() + " sent more than one lockstep frame in answer to one");
}

void LockstepEndpoint::start(std::span<const std::uint8_t> store_image, fw::ResetCause cause, std::uint32_t outage_s) {
  using namespace fw::lockstep;
  std::memset(out_.data(), 0, in_header);
  put(out_.data(), mark, 2);
  out_[2] = kind_start;
  out_[3] = static_cast<std::uint8_t>(cause);
  put(out_.data() + 4, store_image.size(), 4);
  put(out_.data() + 8, outage_s, 4);
  child_.send({out_.data(), in_header});
  child_.send(store_image);
  receive_frame(kind_start);
  const std::uint32_t spoken = get32(in_.data() + 12);
  if (spoken != version) throw EndpointError(fmt::format("{} speaks lockstep version {}, expected {}", child_.name(), spoken, version));
}

void LockstepEndpoint::tick(const TickIn& in, TickOut& out) {
  using namespace fw::lockstep;
  if (in.field.size() > field_bytes_max || in.supervisory.size() > supervisory_bytes_max)
    throw EndpointError(fmt::format("a tick carries {} field and {} supervisory bytes, at most {} and {}", in.field.size(),
                                    in.supervisory.size(), field_bytes_max, supervisory_bytes_max));
  put(out_.data(), mark, 2);
  out_[2] = kind_tick;
  out_[3] = 0;
  put(out_.data() + 4, in.field.size(), 4);
  put(out_.data() + 8, in.supervisory.size(), 4);
  put(out_.data() + 12, 0, 4);
  put(out_.data() + 16, in.now_us, 8);
  put(out_.data() + 24, in.field_arrival_us, 8);
  put(out_.data() + 32, in.supervisory_arrival_us, 8);
  std::uint8_t* const bytes = out_.data() + in_header;
  if (!in.field.empty()) std::memcpy(bytes, in.field.data(), in.field.size());
  if (!in.supervisory.empty()) std::memcpy(bytes + in.field.size(), in.supervisory.data(), in.supervisory.size());
  child_.send({out_.data(), in_header + in.field.size() + in.supervisory.size()});
  receive_frame(kind_tick);

  out.latched = in_[3] != 0;
  out.field_size = static_cast<std::uint32_t>(get(in_.data() + 4, 2));
  out.supervisory_size = static_cast<std::uint32_t>(get(in_.data() + 6, 2));
  out.store_size = static_cast<std::uint32_t>(get(in_.data() + 8, 2));
  out.store_offset = get32(in_.data() + 12);
  if (out.field_size > out.field.size() || out.supervisory_size > out.supervisory.size() || out.store_size > out.store.size())
    throw EndpointError(child_.name() + " sent a lockstep frame with a part that is too long");
  const std::uint8_t* from = in_.data() + out_header;
  std::memcpy(out.field.data(), from, out.field_size);
  std::memcpy(out.supervisory.data(), from + out.field_size, out.supervisory_size);
  std::memcpy(out.store.data(), from + out.field_size + out.supervisory_size, out.store_size);
}

std::vector<std::string> emulator_command(const std::string& emulator, const std::string& image) {
  // -icount: instruction counts, not the host's clock, move the emulated timers. A network model must be named, or the
  // machine warns about its missing one.
  return {emulator, "-M", "mps2-an386", "-nodefaults", "-nic", "user,model=lan9118", "-display", "none", "-monitor", "none",
          "-serial", "null", "-semihosting-config", "enable=on,target=native", "-icount", "shift=6,sleep=off", "-kernel", image};
}

}  // namespace sim
