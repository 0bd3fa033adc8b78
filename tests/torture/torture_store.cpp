// Torture: stores and programmes the core is started with.
#include <algorithm>
#include <bit>
#include <cassert>

#include "firmware/crc32.h"
#include "firmware/parameter_store.h"
#include "firmware/parameters.h"
#include "firmware/store_layout_1.h"
#include "tests/segments.h"
#include "tests/torture/torture.h"

namespace torture {

namespace {

using fw::Segment;
using fw::SegmentKind;
using segments::segment;

// Voltage of a thermocouple over that of type K, roughly.
double emf_share(std::int32_t letter) {
  switch (letter) {
    case 'N': return 0.87;
    case 'S': return 0.25;
    case 'R': return 0.28;
    case 'B': return 0.13;
    case 'J': return 1.35;
    case 'T': return 1.3;
    case 'E': return 1.85;
    default: return 1.0;
  }
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

// Loops and elements as a builder may have them. One call of chance per statement.
void Torture::fit_out_heat(fw::Parameters& p) {
  const auto some = [&](double low, double high) { return static_cast<float>(chance_.between(low, high)); };
  p.heat_lead_zone = static_cast<std::int32_t>(1 + chance_.below(4));
  for (float& offset_k : p.heat_offset_k) offset_k = chance_.once_in(3) ? some(-40.0, 40.0) : 0.0f;
  if (chance_.once_in(3)) {
    for (float& effect : p.heat_interaction) effect = some(0.0, 0.3);
  }
  if (chance_.once_in(3)) {
    p.heat_interpolate = 1;
    for (std::size_t i = 0; i < fw::gain_set_count; ++i) p.heat_gains_at_degc[i] = 150.0f * static_cast<float>(i) + some(0.0, 160.0);
  }
  if (chance_.once_in(3)) {
    for (std::size_t i = 0; i < fw::heat_steady_count; ++i) {
      p.heat_steady_degc[i] = 200.0f * static_cast<float>(i) + some(0.0, 210.0);
      p.heat_steady_frac[i] = some(0.0, 0.8);
    }
    p.heat_feed_forward_s_per_k = some(0.0, 0.05);
    p.heat_feed_forward_slope_per_k = some(-0.001, 0.003);
  }
  if (chance_.once_in(4)) {
    p.cascade_on = 1;
    p.cascade_rate_k_per_s = some(1.0, 40.0);
    p.cascade_integral_s = chance_.once_in(3) ? 0.0f : some(10.0, 200.0);
    p.cascade_hold = static_cast<std::int32_t>(chance_.below(2));
  }
  if (chance_.once_in(4)) p.soft_start_below_degc = some(50.0, 400.0);
  p.soft_start_rate_per_s = some(0.05, 1.0);
  if (chance_.once_in(4)) p.current_limit_a = some(5.0, 14.0);
  if (chance_.once_in(4)) {
    p.proportion_cycle_s = some(0.5, 8.0);
    p.proportion_on_min_s = chance_.once_in(2) ? 0.0f : some(0.1, 1.0);
    p.proportion_step_s = chance_.once_in(2) ? 0.0f : some(0.02, 0.3);
  }
}

void Torture::fit_out_gas(fw::Parameters& p) {
  const auto some = [&](double low, double high) { return static_cast<float>(chance_.between(low, high)); };
  const auto seldom = [&](float value) { return chance_.once_in(3) ? value : 0.0f; };
  p.valve_points_used = static_cast<std::int32_t>(chance_.below(2));
  for (std::size_t i = 0; i < 4; ++i) p.valve_point[i] = 0.2f * static_cast<float>(i) + some(0.01, 0.22);
  p.valve_equal_percentage = static_cast<std::int32_t>(chance_.below(2));
  p.valve_capacity_slm = seldom(20.0f);
  p.stick_tolerance = seldom(0.05f);
  p.swing_limit_pa = seldom(20.0f);
  if (p.swing_limit_pa > 0.0f) p.pressure_integral_s = some(0.5, 3.0);
  p.supply_low_pa = seldom(30000.0f);
  p.flow_implausible = seldom(0.2f);
  p.flow_direct = static_cast<std::int32_t>(chance_.once_in(3) ? 1 : 0);
  p.count_hot = static_cast<std::int32_t>(chance_.below(2));
  p.shut_down_flow_slm = seldom(2.0f);
  p.back_pressure_preset_pa = some(2500.0, 4500.0);
  p.purge_restrictor_slm = seldom(1.0f);
  p.combustible_gas = unit_ == Unit::combustible ? 1 : 0;
  p.blend_premixed = static_cast<std::int32_t>(chance_.below(2));
  p.blend_hydrogen = some(0.04, 0.5);
  p.blend_tolerance = 0.03f;
  p.combustible_ignition_s = some(3.0, 40.0);
  if (unit_ == Unit::combustible) p.load_titanium = chance_.once_in(8) ? 1 : 0;
}

// What else stands in the parameters, mostly so that cycles run.
void Torture::fit_out(fw::Parameters& p) {
  constexpr float corrections_k = 3.0f;
  for (fw::ChannelCorrection& one : p.corrections) {
    if (chance_.once_in(4)) one.add_low = static_cast<float>(chance_.between(-corrections_k, corrections_k));
    if (chance_.once_in(20)) one.high = one.low;
  }
  constexpr char letters[] = "KKKKNSRBJTE";
  p.zone_thermocouple = letters[chance_.below(std::size(letters) - 1)];
  p.load_thermocouple = letters[chance_.below(std::size(letters) - 1)];
  p.sensor_jump_k = chance_.once_in(4) ? 100.0f : 0.0f;
  p.sensor_rate_k_per_s = 200.0f;
  p.stuck_window_s = chance_.once_in(3) ? 5.0f : 0.0f;
  p.frozen_window_s = chance_.once_in(3) ? 5.0f : 0.0f;
  p.load_difference_k = chance_.once_in(3) ? 20.0f : 0.0f;
  p.power_loss_policy = static_cast<std::int32_t>(chance_.below(3));
  p.ramp_tolerance_k = chance_.once_in(4) ? 40.0f : 0.0f;
  if (chance_.once_in(2)) fit_out_heat(p);
  fit_out_gas(p);
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
  const bool retort = unit_ != Unit::air;
  p.retort_ceramic = retort ? 1 : 0;
  p.atmosphere_required = unit_ == Unit::retort ? 1 : 0;
  p.load_titanium = retort && chance_.once_in(2) ? 1 : 0;
  if (retort) p.chamber_volume_l = 0.1f;
  p.hot_degc = 60.0f;
  p.oxygen_heat_ppm = 2000.0f;
  p.oxygen_alarm_ppm = 3000.0f;
  p.oxygen_trip_ppm = 6000.0f;
  fit_out(p);
  period_ms_ = chance_.once_in(4) ? 20 + chance_.below(480) : 100;
  if (drill_ != nullptr) {
    p.sensor_jump_k = 0.0f;
    p.zone_thermocouple = p.load_thermocouple = 'K';
    if (drill_->period_ms != 0) period_ms_ = drill_->period_ms;
    drill_->prepare(p);
  } else if (chance_.once_in(3)) {
    disturb(p);
  }
  p.period_ms = static_cast<std::int32_t>(period_ms_);
  emf_share_ = {emf_share(p.zone_thermocouple), emf_share(p.load_thermocouple)};
  if (!fw::parameters_agree(p)) std::fill(std::begin(p.heat_interaction), std::end(p.heat_interaction), 0.0f);
  return p;
}

std::vector<Segment> Torture::heat_cycle() {
  std::vector<Segment> list;
  const int blocks = static_cast<int>(1 + chance_.below(3));
  for (int i = 0; i < blocks; ++i) {
    Segment ramp = segment(SegmentKind::ramp);
    ramp.target = static_cast<float>(chance_.between(40.0, 900.0));
    ramp.rate = static_cast<float>(chance_.once_in(5) ? chance_.between(0.0003, 0.1) : chance_.between(2.0, 40.0));
    if (chance_.once_in(4)) {
      ramp.options = fw::ramp_by_time;
      ramp.duration_ms = 1000 + chance_.below(40000);
    }
    ramp.gain_set = static_cast<std::uint8_t>(chance_.below(5));
    list.push_back(ramp);
    Segment soak = segment(SegmentKind::soak);
    soak.duration_ms = chance_.below(20000);
    soak.tolerance_k = chance_.once_in(2) ? 0.0f : static_cast<float>(chance_.between(2.0, 50.0));
    if (chance_.once_in(3)) soak.options = fw::count_on_load;
    list.push_back(soak);
    if (chance_.once_in(2)) {
      Segment wait = segment(SegmentKind::wait);
      wait.duration_ms = chance_.below(3000);
      list.push_back(wait);
    }
  }
  if (chance_.once_in(2)) {
    Segment repeat = segment(SegmentKind::repeat);
    repeat.count = static_cast<std::uint16_t>(1 + chance_.below(3));
    list.push_back(repeat);
  }
  Segment cool = segment(SegmentKind::cool);
  cool.target = static_cast<float>(chance_.between(60.0, 300.0));
  list.push_back(cool);
  return list;
}

std::vector<Segment> Torture::gas_cycle() {
  std::vector<Segment> list;
  Segment evacuate = segment(SegmentKind::evacuate);
  evacuate.target = static_cast<float>(chance_.between(5.0, 500.0));
  list.push_back(evacuate);
  if (chance_.once_in(2)) {
    Segment leak = segment(SegmentKind::leak_test);
    leak.rate = static_cast<float>(chance_.between(0.1, 10.0));
    leak.duration_ms = 500 + chance_.below(5000);
    list.push_back(leak);
  }
  Segment backfill = segment(SegmentKind::backfill);
  backfill.target = 4000.0f;
  backfill.flow_slm = static_cast<float>(chance_.between(3.0, 6.0));
  backfill.gas = static_cast<fw::Gas>(1 + chance_.below(4));
  list.push_back(backfill);
  Segment purge = segment(SegmentKind::purge);
  purge.target = 4000.0f;
  purge.flow_slm = static_cast<float>(chance_.between(1.0, 4.0));
  purge.amount = static_cast<float>(chance_.between(0.1, 1.5));
  if (chance_.once_in(2)) {
    purge.options = fw::by_vacuum_cycles;
    purge.count = static_cast<std::uint16_t>(1 + chance_.below(2));
    purge.amount = 300.0f;
  }
  list.push_back(purge);
  for (Segment& one : heat_cycle()) {
    if (one.kind == SegmentKind::repeat) one.jump = static_cast<std::uint16_t>(list.size() > 4 ? 4 : 0);
    list.push_back(one);
  }
  if (chance_.once_in(2)) {
    Segment air = segment(SegmentKind::backfill);
    air.gas = fw::Gas::air;
    air.target = 0.0f;
    list.push_back(air);
  }
  return list;
}

// Inert purge, combustible gas while it heats, inert purge; now and then with what must not follow.
std::vector<Segment> Torture::combustible_cycle() {
  const auto gas = [&](SegmentKind kind, fw::Gas of_gas, double least_slm) {
    Segment one = segment(kind);
    one.gas = of_gas;
    one.flow_slm = static_cast<float>(chance_.between(least_slm, 6.0));
    return one;
  };
  std::vector<Segment> list;
  const bool nitrogen = chance_.once_in(2);
  Segment purge = gas(SegmentKind::purge, nitrogen ? fw::Gas::nitrogen : fw::Gas::argon, 3.0);
  purge.target = 4000.0f;
  purge.amount = static_cast<float>(chance_.between(4.0, 10.0));
  list.push_back(purge);
  const bool soaks = chance_.once_in(2), pure = chance_.once_in(2);
  Segment in = gas(soaks ? SegmentKind::soak : SegmentKind::wait, pure ? fw::Gas::hydrogen : fw::Gas::forming_gas, 1.0);
  in.duration_ms = chance_.below(20000);
  list.push_back(in);
  for (Segment& one : heat_cycle()) {
    if (one.kind == SegmentKind::ramp && chance_.once_in(2)) one.target = static_cast<float>(chance_.between(760.0, 950.0));
    if (one.kind == SegmentKind::repeat) one.jump = 2;
    if (one.kind != SegmentKind::cool) list.push_back(one);
  }
  if (!chance_.once_in(4)) list.push_back(purge);
  Segment last = segment(SegmentKind::evacuate);
  last.target = 400.0f;
  if (chance_.once_in(3)) last = gas(SegmentKind::backfill, fw::Gas::air, 1.0);
  list.push_back(last);
  return list;
}

// Fields at random; the caller asks whether it is valid.
Segment Torture::any_segment(int index) {
  Segment s = segment(static_cast<SegmentKind>(chance_.below(12)));
  s.gas = static_cast<fw::Gas>(chance_.below(8));
  s.gain_set = static_cast<std::uint8_t>(chance_.below(6));
  s.options = static_cast<std::uint8_t>(chance_.below(chance_.once_in(8) ? 256 : 64));
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
  s.power_limit = chance_.once_in(3) ? number(0.0, 1.0) : 0.0f;
  s.feed_forward = 1.5f * s.power_limit;       // no draw of its own: what follows stays as it was
  return s;
}

std::vector<Segment> Torture::programme() {
  if (chance_.once_in(8)) {
    std::vector<Segment> list;
    const auto length = static_cast<int>(1 + chance_.below(chance_.once_in(6) ? 128 : 12));
    while (static_cast<int>(list.size()) < length) {
      const Segment one = any_segment(static_cast<int>(list.size()));
      if (fw::segment_valid(one, static_cast<int>(list.size()))) list.push_back(one);
    }
    return list;
  }
  std::vector<Segment> list = unit_ == Unit::air ? heat_cycle() : unit_ == Unit::retort ? gas_cycle() : combustible_cycle();
  if (chance_.once_in(2)) list.push_back(segment(SegmentKind::end));
  return list;
}

Bytes Torture::fresh_image() {
  unit_ = drill_ != nullptr ? drill_->unit : static_cast<Unit>(chance_.below(3));
  const fw::Parameters p = parameters();
  std::vector<std::vector<Segment>> lists;
  std::vector<fw::ProgrammeSourceEntry> entries;
  for (int i = 0; i < 3; ++i) lists.push_back(programme());
  if (drill_ != nullptr) lists[0] = drill_->programme();
  const bool crowded = chance_.once_in(6) || (drill_ != nullptr && drill_->unit == Unit::air && !drill_->drives);
  if (crowded) {   // no room for more
    lists[1].clear();
    lists[2].clear();
    for (int i = 0; i < 3; ++i) lists.push_back(std::vector<Segment>(fw::programme_segments_max, segment(SegmentKind::wait)));
  }
  for (const std::vector<Segment>& list : lists) entries.push_back({"torture", list});
  const int selected = drill_ != nullptr ? 0 : static_cast<int>(chance_.below(3));
  Bytes image(fw::store_image_bytes, 0xFF);
  const bool built = fw::build_store_image(p, entries, selected, image) == image.size();
  assert(built || drill_ == nullptr);   // a drill without its programme would drill nothing
  return built ? image : Bytes(fw::store_image_bytes, 0xFF);
}

// A store as the core wrote it before its pages had generations: parameters in a fixed order, programme 0 of one segment, journal.
Bytes Torture::layout_1_image() {
  constexpr std::size_t programme_page = 528, journal_page = 544, segment_page = 16, segment_bytes = 40;
  Bytes image(fw::store_image_bytes, 0xFF);
  const auto put = [&image](std::size_t page, fw::PageKind kind, unsigned index, std::span<const std::uint8_t> payload) {
    Bytes bytes(64, 0);
    bytes[0] = static_cast<std::uint8_t>(kind);
    bytes[1] = 1;
    bytes[2] = static_cast<std::uint8_t>(index);
    std::copy(payload.begin(), payload.end(), bytes.begin() + 4);
    const std::uint32_t crc = fw::crc32(bytes.data(), 60);
    for (std::size_t i = 0; i < 4; ++i) bytes[60 + i] = static_cast<std::uint8_t>(crc >> (8 * i));
    std::copy(bytes.begin(), bytes.end(), image.begin() + static_cast<std::ptrdiff_t>(64 * page));
  };
  const fw::Parameters p = fw::default_parameters();
  Bytes words(56 * 7, 0);
  for (std::size_t word = 0; word < fw::layout_1_words; ++word) {
    for (std::size_t i = 0; i < fw::parameter_table().size(); ++i) {
      if (fw::parameter_ids()[i] != fw::layout_1_ids[word]) continue;
      const std::uint32_t bits = fw::parameter_bits(p, fw::parameter_table()[i]);
      for (std::size_t k = 0; k < 4; ++k) words[4 * word + k] = static_cast<std::uint8_t>(bits >> (8 * k));
    }
  }
  for (unsigned page = 0; page < 7; ++page) put(page, fw::PageKind::parameters, page, std::span(words).subspan(56 * page, 56));
  Segment soak = segment(SegmentKind::soak);
  soak.duration_ms = 5000;
  put(segment_page, fw::PageKind::segment, 0, {reinterpret_cast<const std::uint8_t*>(&soak), segment_bytes});
  Bytes entry(32, 0);
  entry[26] = 1;   // segments
  const std::uint32_t crc = fw::segments_crc({&soak, 1}, segment_bytes);
  for (std::size_t i = 0; i < 4; ++i) entry[28 + i] = static_cast<std::uint8_t>(crc >> (8 * i));
  if (chance_.once_in(3)) entry[24] = 1;   // not where its segment stands
  if (chance_.once_in(3)) entry[28] ^= 1;
  put(programme_page, fw::PageKind::programme, 0, entry);
  Bytes journal(16, 0);
  journal[0] = 5;
  put(journal_page, fw::PageKind::journal, 0, journal);
  return image;
}

// Sound pages that do not belong where they stand: another kind, version, place, generation or content, and a check sum that fits.
void Torture::reseal(Bytes& image) {
  constexpr std::uint32_t first_kept = 674;   // parameters, programmes, journal, progress, events, records: firmware/store_page.h
  std::uint32_t number = first_kept + chance_.below(static_cast<std::uint32_t>(fw::store_pages) - first_kept);
  if (chance_.once_in(3)) number = 824 + chance_.below(40);
  if (chance_.once_in(8)) number = 16 + chance_.below(20);
  if (image.size() < fw::store_image_bytes) return;
  std::uint8_t* page = image.data() + std::size_t{64} * number;
  const std::uint32_t at = chance_.below(52);
  const auto value = static_cast<std::uint8_t>(chance_.word());
  switch (chance_.below(8)) {
    case 0: page[0] = static_cast<std::uint8_t>(value % 10); break;
    case 1: page[1] = static_cast<std::uint8_t>(value % 4); break;
    case 2: page[2] = value; break;
    case 3: ++page[4]; break;
    case 4: --page[4]; break;
    case 5: page[7] = value; break;
    case 6: page[8 + at] = value; return;   // and one that does not fit
    default: page[8 + at] = value; break;
  }
  const std::uint32_t crc = fw::crc32(page, 60);
  for (std::size_t i = 0; i < 4; ++i) page[60 + i] = static_cast<std::uint8_t>(crc >> (8 * i));
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

// The furnace goes on cooling; all else begins anew.
void Torture::begin_act(bool anew) {
  if (anew) furnace_ = Furnace{};
  furnace_.barometer_pa = chance_.between(85000.0, 105000.0);
  if (anew) furnace_.chamber_pa = furnace_.barometer_pa;
  told_ = rtu::Order{};
  answer_.clear();
  before_.clear();
  split_.clear();
  for (Trouble& trouble : troubles_) trouble = Trouble{};
  now_us_ = 0;
  rest_ = 100;
}

Start Torture::after_cut() {
  Start start;
  start.image = image_;
  start.cause = fw::ResetCause::power_on;
  start.outage_s = outage_s_;
  begin_act(false);
  act_left_ = drill_left_;
  return start;
}

// Every other act is a drill, each in its turn.
Start Torture::start() {
  if (drill_left_ > 0) {
    const Start start = after_cut();
    drill_left_ = 0;
    return start;
  }
  Start start;
  const std::uint32_t sort = acts_++ % 6;
  const bool drilled = sort == 0 || sort == 3, reset = sort == 1 || sort == 4;   // resets follow the drills: their stores have a past
  drill_ = drilled ? &drills()[drill_next_++ % drills().size()] : nullptr;
  drill_line_ = drill_since_ = 0;
  drill_met_ = key_ = false;
  const bool anew = drilled || image_.empty() || (!reset && !chance_.once_in(3));
  if (anew) image_ = fresh_image();
  if (!drilled && chance_.once_in(10)) image_ = layout_1_image();
  if (reset) {
    for (std::uint32_t left = 1 + chance_.below(6); left > 0; --left) reseal(image_);
  } else if (!drilled && chance_.once_in(4)) {
    spoil(image_);
  }
  start.image = image_;
  image_.resize(fw::store_image_bytes, 0xFF);
  start.cause = static_cast<fw::ResetCause>(chance_.below(4));
  const std::uint32_t shorter = chance_.below(32);
  start.outage_s = chance_.once_in(3) ? static_cast<std::uint32_t>(chance_.word()) >> shorter : 0;
  begin_act(anew);
  calm_ = drilled || !chance_.once_in(4);
  key_ = !drilled && chance_.once_in(4);
  act_left_ = drilled ? 9000 : reset ? 20 + chance_.below(60) : 300 + chance_.below(1700);
  return start;
}

}  // namespace torture
