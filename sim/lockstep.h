// The host's side of lockstep frames (firmware/cortex_m/lockstep.h): a child process that runs a core in its own address
// space, the emulator or saggar_core_process, and takes turns with it over one socket that is its standard input and output.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include <sched.h>

#include "firmware/cortex_m/lockstep.h"
#include "sim/endpoint.h"

namespace sim {

// While it lives, the thread that made it and the children it starts share one processor. Two that take turns have no use for a second
// one, and to wake somebody there costs more than the turn: the demo on the emulated core took 75 s so, and takes 26 s on one.
class OneProcessor {
 public:
  OneProcessor();
  ~OneProcessor();
  OneProcessor(const OneProcessor&) = delete;
  OneProcessor& operator=(const OneProcessor&) = delete;

 private:
  cpu_set_t before_;
  int thread_ = -1;      // -1: left as it was
};

// A child with its own process group (an interrupt at the terminal is the bench's to handle), ended by closing its input.
class ChildProcess {
 public:
  // command[0] is the program, searched in PATH. Throws EndpointError if it cannot be started.
  ChildProcess(const std::vector<std::string>& command, int timeout_ms);
  ~ChildProcess();
  ChildProcess(const ChildProcess&) = delete;
  ChildProcess& operator=(const ChildProcess&) = delete;

  void send(std::span<const std::uint8_t> bytes);        // all of them
  std::size_t receive(std::span<std::uint8_t> buffer);   // at least one byte
  std::string name() const { return name_; }

 private:
  [[noreturn]] void fail(const std::string& what) const;   // adds what the child wrote to its standard error

  OneProcessor shared_;
  std::string name_;
  int socket_ = -1;
  int errors_ = -1;
  int pid_ = -1;
  int timeout_ms_;
};

class LockstepEndpoint final : public Endpoint {
 public:
  LockstepEndpoint(const std::vector<std::string>& command, int timeout_ms) : child_(command, timeout_ms) {}
  void start(std::span<const std::uint8_t> store_image, fw::ResetCause cause, std::uint32_t outage_s) override;
  void tick(const TickIn& in, TickOut& out) override;

 private:
  void receive_frame(std::uint8_t kind);   // leaves it in in_

  ChildProcess child_;
  std::array<std::uint8_t, fw::lockstep::in_bytes_max> out_{};
  std::array<std::uint8_t, fw::lockstep::out_bytes_max> in_{};
};

// What runs the image: the emulator with everything off but the semihosting console.
std::vector<std::string> emulator_command(const std::string& emulator, const std::string& image);

}  // namespace sim
