#include "sim/endpoint.h"

#include <filesystem>
#include <string_view>
#include <vector>

#include <fmt/format.h>

#include "firmware/controller_state.h"
#include "sim/difference.h"
#include "sim/library_core.h"
#include "sim/lockstep.h"

namespace sim {

namespace {

class HostEndpoint final : public Endpoint {
 public:
  void start(std::span<const std::uint8_t> store_image, fw::ResetCause cause, std::uint32_t outage_s) override {
    fw::start(controller_, store_image, cause, outage_s);
  }

  void tick(const TickIn& in, TickOut& out) override {
    if (!in.field.empty()) fw::receive(controller_, fw::Port::field, in.field, in.field_arrival_us);
    if (!in.supervisory.empty()) fw::receive(controller_, fw::Port::supervisory, in.supervisory, in.supervisory_arrival_us);
    fw::step(controller_, in.now_us);
    out.field_size = static_cast<std::uint32_t>(fw::transmit(controller_, fw::Port::field, out.field));
    out.supervisory_size = static_cast<std::uint32_t>(fw::transmit(controller_, fw::Port::supervisory, out.supervisory));
    const fw::StoreWrite write = fw::store(controller_, out.store);
    out.store_size = write.size;
    out.store_offset = write.offset;
    out.latched = controller_.latch.line != 0;
  }

  bool adopt(std::span<const std::uint8_t> store_image) override {
    const auto scratch = std::make_unique<fw::Controller>();      // once in a fork: not held by every bench
    return fw::adopt(controller_, store_image, *scratch);
  }
  bool visit(Archive& archive) override {
    archive.part("core");
    archive(controller_);
    return true;
  }

 private:
  fw::Controller controller_{};
};

class LibraryEndpoint final : public Endpoint {
 public:
  explicit LibraryEndpoint(const std::string& path) : core_(path) {}

  void start(std::span<const std::uint8_t> store_image, fw::ResetCause cause, std::uint32_t outage_s) override {
    core_.start(core_.state(), store_image.data(), store_image.size(), static_cast<std::uint8_t>(cause), outage_s);
  }

  void tick(const TickIn& in, TickOut& out) override {
    saggar_core* const state = core_.state();
    if (!in.field.empty()) core_.receive(state, 0, in.field.data(), in.field.size(), in.field_arrival_us);
    if (!in.supervisory.empty()) core_.receive(state, 1, in.supervisory.data(), in.supervisory.size(), in.supervisory_arrival_us);
    core_.step(state, in.now_us);
    out.field_size = size_within(core_.transmit(state, 0, out.field.data(), out.field.size()), out.field.size());
    out.supervisory_size = size_within(core_.transmit(state, 1, out.supervisory.data(), out.supervisory.size()), out.supervisory.size());
    out.store_size = size_within(core_.store(state, &out.store_offset, out.store.data(), out.store.size()), out.store.size());
    out.latched = core_.latched(state) != 0;
  }

 private:
  static std::uint32_t size_within(std::size_t size, std::size_t capacity) {
    if (size > capacity) throw EndpointError(fmt::format("the control core claims to have written {} bytes into {}", size, capacity));
    return static_cast<std::uint32_t>(size);
  }

  LibraryCore core_;
};

// Two cores, one input. The host's answer goes on; the other's must be the same to the bit.
class ComparedEndpoint final : public Endpoint {
 public:
  ComparedEndpoint(std::unique_ptr<Endpoint> host, std::unique_ptr<Endpoint> other) : host_(std::move(host)), other_(std::move(other)) {}

  void start(std::span<const std::uint8_t> store_image, fw::ResetCause cause, std::uint32_t outage_s) override {
    host_->start(store_image, cause, outage_s);
    other_->start(store_image, cause, outage_s);
    tick_ = 0;
  }

  void tick(const TickIn& in, TickOut& out) override {
    host_->tick(in, out);
    other_->tick(in, other_out_);
    if (!same_output(out, other_out_))
      throw EndpointDifference("host and emulated core differ: " + name_difference(tick_, out, other_out_, in.supervisory).text());
    ++tick_;
  }

 private:
  std::unique_ptr<Endpoint> host_, other_;
  TickOut other_out_;
  std::uint64_t tick_ = 0;
};

// Beside the running program: ../firmware/cortex_m in the build tree, ../share/saggar where it is installed.
std::string built_image() {
  std::error_code error;
  const std::filesystem::path program = std::filesystem::read_symlink("/proc/self/exe", error);
  const std::filesystem::path above = program.parent_path().parent_path();
  for (const char* place : {"firmware/cortex_m/saggar_core.elf", "share/saggar/saggar_core.elf"})
    if (std::filesystem::exists(above / place, error)) return (above / place).string();
  throw EndpointError(fmt::format("the image for the emulated processor is missing: {}; build it (cmake option SAGGAR_EMULATOR, "
                                  "needs arm-none-eabi-g++)", (above / "firmware/cortex_m/saggar_core.elf").string()));
}

std::unique_ptr<Endpoint> open_emulated(const EndpointSettings& settings) {
  const std::string image = settings.image.empty() ? built_image() : settings.image;
  if (!std::filesystem::exists(image)) throw EndpointError("the image for the emulated processor is missing: " + image);
  return std::make_unique<LockstepEndpoint>(emulator_command(settings.emulator, image), settings.timeout_ms);
}

}  // namespace

std::unique_ptr<Endpoint> open_endpoint(const EndpointSettings& settings) {
  const std::string_view kind = settings.kind;
  if (kind == "host") return std::make_unique<HostEndpoint>();
  if (kind == "emulated") return open_emulated(settings);
  if (kind == "both") return std::make_unique<ComparedEndpoint>(std::make_unique<HostEndpoint>(), open_emulated(settings));
  const auto after = [kind](std::string_view prefix) {
    return kind.starts_with(prefix) ? std::string(kind.substr(prefix.size())) : std::string();
  };
  if (const std::string path = after("library:"); !path.empty()) return std::make_unique<LibraryEndpoint>(path);
  if (const std::string words = after("process:"); !words.empty()) {
    const std::size_t blank = words.find(' ');
    if (blank == std::string::npos) throw EndpointError("process:PROGRAM LIBRARY: the library is missing in \"" + settings.kind + "\"");
    const std::vector<std::string> command{words.substr(0, blank), words.substr(blank + 1)};
    return std::make_unique<LockstepEndpoint>(command, settings.timeout_ms);
  }
  throw EndpointError(fmt::format("controller \"{}\": expected host, emulated, both or library:PATH", settings.kind));
}

}  // namespace sim
