// Torture: stores and programmes the core is started with.
#include <algorithm>
#include <bit>

#include "firmware/parameter_store.h"
#include "firmware/parameters.h"
#include "tests/torture/torture.h"

namespace torture {

namespace {

using fw::Segment;
using fw::SegmentKind;

Segment of(SegmentKind kind) {
  Segment segment;
  segment.kind = kind;
  return segment;
}

}  // namespace

// Any parameter may take any value its bounds allow; most stay near their preset, so that cycles run.
void Torture::disturb(fw::Parameters& parameters) {
  for (const fw::ParameterInfo& info : fw::parameter_table()) {
    if (!chance_.once_in(12) || info.offset == offsetof(fw::Parameters, period_ms)) continue;
    const double low = static_cast<double>(info.low), high = static_cast<double>(info.high), preset = static_cast<double>(info.preset);
    double value = preset * chance_.between(0.7, 1.4);
    if (chance_.once_in(6)) value = chance_.once_in(2) ? low : high;
    if (chance_.once_in(10)) value = chance_.between(low, high);
    std::uint32_t bits = std::bit_cast<std::uint32_t>(static_cast<float>(value));
    if (info.integer) bits = static_cast<std::uint32_t>(static_cast<std::int32_t>(std::clamp(value, -2.0e9, 2.0e9)));
    if (fw::parameter_accepts(info, bits)) fw::set_parameter_bits(parameters, info, bits);
  }
}

fw::Parameters Torture::parameters() {
  fw::Parameters p = fw::default_parameters();
  p.zones = static_cast<std::int32_t>(1 + chance_.below(4));
  p.heat_every = chance_.once_in(3) ? static_cast<std::int32_t>(1 + chance_.below(5)) : 1;
  for (fw::HeatGains& gains : p.heat_gains) {
    gains = {static_cast<float>(chance_.between(0.002, 0.02)), static_cast<float>(chance_.between(10.0, 60.0)),
             chance_.once_in(2) ? 0.0f : 2.0f, static_cast<float>(chance_.between(0.3, 1.0))};   // braces: left to right
  }
  p.element_current_min_a = 8.0f;
  p.vacuum_pump_spin_up_s = 1.0f;
  p.evacuate_timeout_s = 60.0f;
  p.response_window_s = chance_.once_in(2) ? 10.0f : 900.0f;
  p.load_above_heater_k = chance_.once_in(2) ? 60.0f : 200.0f;
  p.retort_ceramic = p.atmosphere_required = retort_ ? 1 : 0;
  p.load_titanium = retort_ && chance_.once_in(2) ? 1 : 0;
  if (retort_) p.chamber_volume_l = 0.1f;
  p.hot_degc = 60.0f;
  p.oxygen_heat_ppm = 2000.0f;
  p.oxygen_alarm_ppm = 3000.0f;
  p.oxygen_trip_ppm = 6000.0f;
  if (chance_.once_in(3)) disturb(p);
  period_ms_ = chance_.once_in(4) ? 20 + chance_.below(480) : 100;
  p.period_ms = static_cast<std::int32_t>(period_ms_);
  return p;
}

std::vector<Segment> Torture::heat_cycle() {
  std::vector<Segment> list;
  const int blocks = static_cast<int>(1 + chance_.below(3));
  for (int i = 0; i < blocks; ++i) {
    Segment ramp = of(SegmentKind::ramp);
    ramp.target = static_cast<float>(chance_.between(40.0, 900.0));
    ramp.rate = static_cast<float>(chance_.once_in(5) ? chance_.between(0.0003, 0.1) : chance_.between(2.0, 40.0));
    if (chance_.once_in(4)) {
      ramp.options = fw::ramp_by_time;
      ramp.duration_ms = 1000 + chance_.below(40000);
    }
    ramp.gain_set = static_cast<std::uint8_t>(chance_.below(5));
    list.push_back(ramp);
    Segment soak = of(SegmentKind::soak);
    soak.duration_ms = chance_.below(20000);
    soak.tolerance_k = chance_.once_in(2) ? 0.0f : static_cast<float>(chance_.between(2.0, 50.0));
    if (chance_.once_in(3)) soak.options = fw::count_on_load;
    list.push_back(soak);
    if (chance_.once_in(2)) {
      Segment wait = of(SegmentKind::wait);
      wait.duration_ms = chance_.below(3000);
      list.push_back(wait);
    }
  }
  if (chance_.once_in(2)) {
    Segment repeat = of(SegmentKind::repeat);
    repeat.count = static_cast<std::uint16_t>(1 + chance_.below(3));
    list.push_back(repeat);
  }
  Segment cool = of(SegmentKind::cool);
  cool.target = static_cast<float>(chance_.between(60.0, 300.0));
  list.push_back(cool);
  return list;
}

std::vector<Segment> Torture::gas_cycle() {
  std::vector<Segment> list;
  Segment evacuate = of(SegmentKind::evacuate);
  evacuate.target = static_cast<float>(chance_.between(5.0, 500.0));
  list.push_back(evacuate);
  if (chance_.once_in(2)) {
    Segment leak = of(SegmentKind::leak_test);
    leak.rate = static_cast<float>(chance_.between(0.1, 10.0));
    leak.duration_ms = 500 + chance_.below(5000);
    list.push_back(leak);
  }
  Segment backfill = of(SegmentKind::backfill);
  backfill.target = 4000.0f;
  backfill.flow_slm = static_cast<float>(chance_.between(3.0, 6.0));
  backfill.gas = static_cast<fw::Gas>(1 + chance_.below(4));
  list.push_back(backfill);
  Segment purge = of(SegmentKind::purge);
  purge.target = 4000.0f;
  purge.flow_slm = static_cast<float>(chance_.between(1.0, 4.0));
  purge.amount = static_cast<float>(chance_.between(0.1, 1.5));
  if (chance_.once_in(2)) {
    purge.options = fw::by_vacuum_cycles;
    purge.count = static_cast<std::uint16_t>(1 + chance_.below(2));
    purge.amount = 300.0f;
  }
  list.push_back(purge);
  for (Segment& segment : heat_cycle()) {
    if (segment.kind == SegmentKind::repeat) segment.jump = static_cast<std::uint16_t>(list.size() > 4 ? 4 : 0);
    list.push_back(segment);
  }
  if (chance_.once_in(2)) {
    Segment air = of(SegmentKind::backfill);
    air.gas = fw::Gas::air;
    air.target = 0.0f;
    list.push_back(air);
  }
  return list;
}

// Fields at random; the caller asks whether it is valid.
Segment Torture::any_segment(int index) {
  Segment s = of(static_cast<SegmentKind>(chance_.below(12)));
  s.gas = static_cast<fw::Gas>(chance_.below(6));
  s.gain_set = static_cast<std::uint8_t>(chance_.below(6));
  s.options = static_cast<std::uint8_t>(chance_.below(chance_.once_in(8) ? 256 : 8));
  const auto number = [&](double low, double high) {
    return chance_.once_in(12) ? odd_value() : static_cast<float>(chance_.between(low, high));
  };
  s.target = number(0.0, 1200.0);
  s.rate = number(0.0, 20.0);
  s.duration_ms = chance_.once_in(20) ? static_cast<std::uint32_t>(chance_.word()) : chance_.below(20000);
  s.tolerance_k = number(0.0, 30.0);
  s.flow_slm = number(-1.0, 5.0);
  s.back_pressure_pa = number(-1.0, 6000.0);
  s.amount = number(0.0, 3.0);
  s.count = static_cast<std::uint16_t>(chance_.below(4));
  s.jump = static_cast<std::uint16_t>(chance_.below(static_cast<std::uint32_t>(index) + 2));
  s.timeout_ms = chance_.once_in(3) ? chance_.below(30000) : 0;
  return s;
}

std::vector<Segment> Torture::programme() {
  if (chance_.once_in(8)) {
    std::vector<Segment> list;
    const auto length = static_cast<int>(1 + chance_.below(chance_.once_in(6) ? 128 : 12));
    while (static_cast<int>(list.size()) < length) {
      const Segment segment = any_segment(static_cast<int>(list.size()));
      if (fw::segment_valid(segment, static_cast<int>(list.size()))) list.push_back(segment);
    }
    return list;
  }
  std::vector<Segment> list = retort_ ? gas_cycle() : heat_cycle();
  if (chance_.once_in(2)) list.push_back(of(SegmentKind::end));
  return list;
}

Bytes Torture::fresh_image() {
  retort_ = !chance_.once_in(5);
  const fw::Parameters p = parameters();
  std::vector<std::vector<Segment>> lists;
  std::vector<fw::ProgrammeSourceEntry> entries;
  for (int i = 0; i < 3; ++i) lists.push_back(programme());
  for (const std::vector<Segment>& list : lists) entries.push_back({"torture", list});
  Bytes image(fw::store_image_bytes, 0xFF);
  if (fw::build_store_image(p, entries, static_cast<int>(chance_.below(3)), image) != image.size()) {
    return Bytes(fw::store_image_bytes, 0xFF);
  }
  return image;
}

// A page cut in the middle, bits flipped, pages of another place, blank, all at random, short.
void Torture::spoil(Bytes& image) {
  // One call of chance per statement: the order within an expression is the compiler's.
  const std::size_t page = std::size_t{64} * chance_.below(static_cast<std::uint32_t>(fw::store_pages));
  const std::size_t other = std::size_t{64} * chance_.below(static_cast<std::uint32_t>(fw::store_pages));
  const std::size_t byte = chance_.below(64);
  const auto at = [&image](std::size_t offset) { return image.begin() + static_cast<std::ptrdiff_t>(offset); };
  switch (chance_.below(8)) {
    case 0: std::fill(at(page + byte), image.end(), std::uint8_t{0xFF}); break;
    case 1:
      for (int i = 0; i < 40; ++i) image[(page + chance_.below(4096)) % image.size()] ^= 0x10;
      break;
    case 2: std::copy_n(at(page), 64, at(other)); break;
    case 3: std::fill(image.begin(), image.end(), std::uint8_t{0}); break;
    case 4:
      for (std::uint8_t& value : image) value = static_cast<std::uint8_t>(chance_.word());
      break;
    case 5: image.resize(chance_.below(static_cast<std::uint32_t>(image.size()))); break;
    case 6: image[64 * chance_.below(8) + byte] ^= 1; break;
    default: std::fill_n(at(page), 64, std::uint8_t{0xFF}); break;
  }
}

Start Torture::start() {
  Start start;
  const bool anew = image_.empty() || !chance_.once_in(3);
  if (anew) image_ = fresh_image();
  if (chance_.once_in(4)) spoil(image_);
  start.image = image_;
  image_.resize(fw::store_image_bytes, 0xFF);
  start.cause = static_cast<fw::ResetCause>(chance_.below(4));
  const std::uint32_t shorter = chance_.below(32);
  start.outage_s = chance_.once_in(3) ? static_cast<std::uint32_t>(chance_.word()) >> shorter : 0;
  if (anew) furnace_ = Furnace{};
  furnace_.barometer_pa = chance_.between(85000.0, 105000.0);
  if (anew) furnace_.chamber_pa = furnace_.barometer_pa;
  told_ = Told{};
  answer_.clear();
  split_.clear();
  for (Trouble& trouble : troubles_) trouble = Trouble{};
  now_us_ = 0;
  rest_ = 100;
  calm_ = !chance_.once_in(4);
  act_left_ = 300 + chance_.below(2200);
  return start;
}

}  // namespace torture
