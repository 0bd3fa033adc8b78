// What must hold whatever comes in: checked on inputs that RapidCheck and the torture make up (fixed seed), and, where the state is
// discrete, on every combination there is.
#include <bit>
#include <cmath>
#include <cstdlib>
#include <memory>
#include <string>

#include <gtest/gtest.h>
#include <rapidcheck.h>
#include <rapidcheck/gtest.h>

#include "firmware/controller_state.h"
#include "firmware/registers.h"
#include "tests/torture/torture.h"

namespace {

using torture::Bytes;

// RapidCheck reads its seed from the environment once; a run that differs from the last one helps nobody.
const bool seeded = setenv("RC_PARAMS", "seed=20240229 max_success=100", 1) == 0;

unsigned word(const Bytes& bytes, std::size_t at) { return bytes[at] * 256u + bytes[at + 1]; }
float number(const Bytes& bytes, std::size_t at) { return std::bit_cast<float>(word(bytes, at) << 16 | word(bytes, at + 2)); }

constexpr unsigned known_coils = (1u << 12) - 1;

// The field request's bytes: within limits, finite, and heat off where the core says a trip stands.
std::string wrong_with(const Bytes& request, const fw::Controller& core) {
  if (request.size() != 49 || request[0] != 1 || request[1] != 23) return "no field request";
  constexpr std::size_t data = 11;
  const unsigned coils = word(request, data + 2), safe_row = word(request, data + 4), gas = word(request, data + 6);
  if ((coils & ~known_coils) != 0) return "a coil that does not exist";
  if (safe_row < 1 || safe_row > 5) return "safe row " + std::to_string(safe_row);
  if (gas >= static_cast<unsigned>(fw::gas_count)) return "gas " + std::to_string(gas);
  for (std::size_t z = 0; z < 4; ++z) {
    const float demand = number(request, data + 8 + 4 * z);
    if (!(demand >= 0.0f && demand <= 1.0f)) return "demand " + std::to_string(demand);
    if (demand > 0.0f && core.interlocks.latched != 0) return "heat in a trip";
    // Commissioning may try a heater's switch with the contactor open.
    const bool forced = core.commissioning.forced != 0;
    if (demand > 0.0f && (coils & fw::coil::contactor) == 0 && !forced) return "heat without contactor";
  }
  if ((coils & fw::coil::contactor) != 0 && core.interlocks.latched != 0) return "contactor in a trip";
  for (const std::size_t at : {data + 24, data + 28}) {
    const float flow_ma = number(request, at);
    if (!(flow_ma >= 4.0f && flow_ma <= 20.0f)) return "flow set point " + std::to_string(flow_ma);
  }
  const float valve = number(request, data + 32);
  if (!(valve >= 0.0f && valve <= 1.0f)) return "back-pressure valve " + std::to_string(valve);
  if (core.latch.line != 0) return "FW_CHECK in line " + std::to_string(core.latch.line);
  return "";
}

// Every float of the monitor block that came over the line.
std::string wrong_with_reply(const Bytes& reply) {
  const unsigned wanted = fw::monitor_registers(4);
  if (reply.size() != 5 + 2 * wanted || (reply[1] != 4 && reply[1] != 23)) return "";
  for (const fw::RegisterInfo& info : fw::monitor_table()) {
    if (info.type == fw::RegisterType::f32 && !std::isfinite(number(reply, 3 + 2u * info.address))) return std::string(info.name);
  }
  return "";
}

struct Driven {
  std::unique_ptr<fw::Controller> core = std::make_unique<fw::Controller>();
  Bytes field, supervisory, store;
  fw::StoreWrite write;

  void step(const torture::TickIn& in) {
    if (!in.field.empty()) fw::receive(*core, fw::Port::field, in.field, in.field_arrival_us);
    if (!in.supervisory.empty()) fw::receive(*core, fw::Port::supervisory, in.supervisory, in.supervisory_arrival_us);
    fw::step(*core, in.now_us);
    field.resize(fw::frame_bytes_max);
    supervisory.resize(fw::frame_bytes_max);
    store.resize(fw::store_write_bytes);
    field.resize(fw::transmit(*core, fw::Port::field, field));
    supervisory.resize(fw::transmit(*core, fw::Port::supervisory, supervisory));
    write = fw::store(*core, store);
    store.resize(write.size);
  }
};

RC_GTEST_PROP(Core, SendsOnlyFiniteOutputsWithinLimitsWhateverTheLinesCarry, ()) {
  const auto seed = *rc::gen::arbitrary<std::uint64_t>();
  Driven driven;
  torture::Torture torture(seed);
  for (int tick = 0; tick < 1500; ++tick) {
    if (torture.start_due()) {
      const torture::Start start = torture.start();
      fw::start(*driven.core, start.image, start.cause, start.outage_s);
    }
    driven.step(torture.tick(*driven.core));
    const std::string wrong = wrong_with(driven.field, *driven.core) + wrong_with_reply(driven.supervisory);
    RC_ASSERT(wrong == "");
    torture.answered(driven.field, driven.supervisory, driven.write.offset, driven.store);
  }
}

// Answers whose frame is right and whose every register is any 16 bits: NaN, infinity and subnormals come up in all channels, also
// where the others hold 15.0, which most of them take for a measurement.
RC_GTEST_PROP(Core, TakesAnyRegistersOfTheStationWithoutANumberThatIsNone, ()) {
  Driven driven;
  const Bytes blank(fw::store_image_bytes, 0xFF);
  fw::start(*driven.core, blank, fw::ResetCause::power_on, 0);
  std::uint64_t now_us = 0;
  unsigned sequence = 0;
  for (int tick = 0; tick < 120; ++tick) {
    torture::TickIn in;
    in.now_us = now_us += 100000;
    in.field_arrival_us = in.supervisory_arrival_us = now_us - 50000;
    Bytes answer{1, 23, 108};
    torture::put16(answer, sequence);
    const auto registers = *rc::gen::container<std::vector<std::uint16_t>>(53, rc::gen::arbitrary<std::uint16_t>());
    const auto exponents = *rc::gen::inRange(0, 4);   // of some channels all ones, or all noughts
    for (std::size_t i = 0; i < registers.size(); ++i) {
      unsigned value = registers[i];
      if (i == 4) value = 1;   // map version
      if (i > 4 && i % 2 == 1 && exponents == 1) value |= 0x7F80u;
      if (i > 4 && i % 2 == 1 && exponents == 2) value &= 0x807Fu;
      const std::size_t high = i > 4 ? i - (i + 1) % 2 : i;   // where the channel's value begins
      if (i > 4 && registers[high] % 4 != 0) value = i == high ? 0x4170u : 0u;
      torture::put16(answer, value);
    }
    in.field = torture::sealed(std::move(answer));
    Bytes request{1, 4};
    torture::put16(request, 0);
    torture::put16(request, fw::monitor_registers(4));
    in.supervisory = torture::sealed(std::move(request));
    driven.step(in);
    const std::string wrong = wrong_with(driven.field, *driven.core) + wrong_with_reply(driven.supervisory);
    RC_ASSERT(wrong == "");
    sequence = word(driven.field, 11);
  }
}

// --- The interlock table, every discrete state --------------------------------------------------------------------------

constexpr std::uint16_t healthy = fw::discrete::door_closed | fw::discrete::emergency_stop_healthy | fw::discrete::limiter_healthy;

fw::Outputs everything_wanted() {
  fw::Outputs wanted;
  wanted.coils = known_coils;
  wanted.gas = static_cast<std::uint8_t>(fw::Gas::argon);
  for (float& demand : wanted.demand_frac) demand = 1.0f;
  wanted.flow_ma[0] = 20.0f;
  wanted.valve_frac = 0.0f;
  return wanted;
}

bool heats(const fw::Outputs& outputs) {
  bool any = (outputs.coils & fw::coil::contactor) != 0;
  for (const float demand : outputs.demand_frac) any = any || demand > 0.0f;
  return any;
}

struct Situation {
  fw::Parameters parameters = fw::default_parameters();
  fw::Inputs inputs;
  fw::Atmosphere atmosphere;
  fw::ProgrammeRun run;
  fw::Outputs before = everything_wanted();
  bool line_lost = false, latched = false, stands = true;
  std::uint32_t detections = 0;

  Situation() {
    parameters.retort_ceramic = parameters.atmosphere_required = 1;
    inputs.known = inputs.fresh = true;
    inputs.chamber_pa = 4000.0f;
    inputs.oxygen_valid = true;
    inputs.oxygen_ppm = 2.0f;
    inputs.discrete = healthy | fw::discrete::supply_present | fw::discrete::exhaust_open | fw::discrete::contactor_closed;
    inputs.mains_v = 230.0f;
    for (float& current : inputs.current_a) current = 20.0f;
    before.coils = fw::coil::contactor | fw::coil::process_open | fw::coil::purge_shut;
    atmosphere.phase = fw::AtmospherePhase::holding;
    run.state = fw::ProgrammeState::running;
    run.segments = 1;
    run.heat_wanted = true;
    run.copy[0].kind = fw::SegmentKind::ramp;
  }

  // A core whose interlocks stood at `interlocks` before.
  fw::Outputs outputs(fw::Interlocks& interlocks) const {
    fw::Outputs wanted = everything_wanted();
    const fw::InterlockView view{parameters, inputs, atmosphere, run, before, stands,
                                 fw::heat_permissive(interlocks, parameters, inputs, atmosphere), line_lost, latched,
                                 detections};
    fw::interlocks_step(interlocks, view, wanted);
    return wanted;
  }
};

// 2^14 discrete inputs, 7 phases, demand to stand or not, line there or lost, the core's own latch, station's watchdog, a programme
// running or not (then no row trips on the door: the permissive alone keeps the heat off).
TEST(InterlockTable, GivesNoHeatInAnyTripInAnyDiscreteState) {
  Situation s;
  std::uint64_t states = 0, hot = 0;
  const auto rows = fw::interlock_table();
  for (unsigned discrete = 0; discrete < (1u << 14); ++discrete) {
    s.inputs.discrete = static_cast<std::uint16_t>(discrete);
    for (unsigned rest = 0; rest < 7u * 32u; ++rest) {
      s.atmosphere.phase = static_cast<fw::AtmospherePhase>(rest % 7u);
      const unsigned flags = rest / 7u;
      s.stands = (flags & 1u) != 0;
      s.line_lost = (flags & 2u) != 0;
      s.latched = (flags & 4u) != 0;
      s.inputs.station = (flags & 8u) != 0 ? 1 : 0;
      s.run.state = (flags & 16u) != 0 ? fw::ProgrammeState::idle : fw::ProgrammeState::running;
      fw::Interlocks interlocks;
      const fw::Outputs out = s.outputs(interlocks);
      ++states;
      const bool on = heats(out);
      hot += on ? 1 : 0;
      if (on) {
        ASSERT_EQ(interlocks.latched, 0u) << discrete << " " << rest;
        ASSERT_EQ(discrete & healthy, unsigned{healthy}) << discrete << " " << rest;
        const bool holding = s.atmosphere.phase == fw::AtmospherePhase::holding;
        ASSERT_TRUE(holding && s.stands && !s.line_lost && !s.latched) << discrete << " " << rest;
        ASSERT_NE(discrete & fw::discrete::exhaust_open, 0u) << discrete;
      }
      ASSERT_TRUE((out.coils & fw::coil::isolation_open) == 0 || (discrete & fw::discrete::pump_at_speed) != 0) << discrete;
      ASSERT_FALSE((out.coils & fw::coil::isolation_open) != 0 && (out.coils & fw::coil::air_open) != 0) << discrete;
    }
  }
  EXPECT_EQ(states, (1u << 14) * 224u);
  EXPECT_GT(hot, 0u) << "a table that never allows heat would pass too";
  EXPECT_EQ(rows.size(), std::size_t{fw::row::count_ - 1});
}

// What the detections find: each that a row acts upon takes the heat within that row's delay, 2 s at most.
TEST(InterlockTable, GivesNoHeatOnAnyDetectionThatTrips) {
  using namespace fw::detection;
  for (const std::uint32_t found :
       {zone_stuck, load_stuck, zone_reversed, load_reversed, zone_jumped, load_jumped, runaway, inputs_frozen,
        contactor_welded}) {
    Situation s;
    s.inputs.discrete = healthy | fw::discrete::supply_present | fw::discrete::exhaust_open | fw::discrete::contactor_closed;
    fw::Interlocks interlocks;
    ASSERT_TRUE(heats(s.outputs(interlocks)));
    s.detections = found;
    for (int tick = 0; tick < 20; ++tick) static_cast<void>(s.outputs(interlocks));
    EXPECT_FALSE(heats(s.outputs(interlocks))) << found;
    s.detections = 0;
    EXPECT_FALSE(heats(s.outputs(interlocks))) << found << ": latched";
  }
}

// Any one row that trips, latched beforehand, in every discrete state and phase.
TEST(InterlockTable, KeepsHeatOffWhileAnyRowIsLatched) {
  Situation s;
  for (const fw::InterlockRow& row : fw::interlock_table()) {
    if (row.action != fw::InterlockAction::trip && row.action != fw::InterlockAction::trip_over_pressure) continue;
    for (unsigned discrete = 0; discrete < (1u << 14); ++discrete) {
      s.inputs.discrete = static_cast<std::uint16_t>(discrete);
      s.atmosphere.phase = static_cast<fw::AtmospherePhase>(discrete % 7u);
      fw::Interlocks interlocks;
      interlocks.latched |= decltype(interlocks.latched){1} << row.number;
      interlocks.first_out = row.number;
      const fw::Outputs out = s.outputs(interlocks);
      ASSERT_FALSE(heats(out)) << row.name << ", inputs " << discrete;
      ASSERT_EQ(out.gas, 0) << row.name;
      ASSERT_EQ(out.coils & fw::coil::process_open, 0) << row.name;
    }
  }
}

// The flags that come of analogue channels, all 2^9, over the healthy inputs.
TEST(InterlockTable, GivesNoHeatWithAMeasurementItRestsOnGone) {
  for (unsigned flags = 0; flags < 512; ++flags) {
    Situation s;
    const auto is = [flags](unsigned bit) { return (flags >> bit & 1u) != 0; };
    s.inputs.known = is(0);
    s.inputs.zone_failed = is(1) ? 1 : 0;
    s.inputs.load_failed = is(2);
    s.inputs.chamber_failed = is(3);
    s.inputs.chamber_below_range = is(4);
    s.inputs.oxygen_valid = is(5);
    s.inputs.hottest_degc = is(6) ? 1500.0f : 500.0f;
    s.inputs.load_degc = is(7) ? 1500.0f : 450.0f;
    s.inputs.chamber_pa = is(8) ? 9000.0f : 4000.0f;
    fw::Interlocks interlocks;
    const bool on = heats(s.outputs(interlocks));
    EXPECT_EQ(on, flags == ((1u << 0) | (1u << 5))) << "flags " << flags;
  }
}

// --- Programme ---------------------------------------------------------------------------------------------------------

fw::Segment of(fw::SegmentKind kind) {
  fw::Segment segment;
  segment.kind = kind;
  return segment;
}

// The order a programme's segments must come in, by writing its repeats out.
std::vector<int> written_out(const std::vector<fw::Segment>& segments) {
  std::vector<int> order, done(segments.size(), 0);
  for (int at = 0; at < static_cast<int>(segments.size());) {
    order.push_back(at);
    const fw::Segment& segment = segments[static_cast<std::size_t>(at)];
    int& times = done[static_cast<std::size_t>(at)];
    if (segment.kind == fw::SegmentKind::repeat && ++times < segment.count) at = segment.jump;
    else times = 0, ++at;
    if (order.size() > 4000) break;
  }
  return order;
}

rc::Gen<std::vector<fw::Segment>> programmes() {
  return rc::gen::exec([] {
    std::vector<fw::Segment> list;
    const int length = *rc::gen::inRange(1, 14);
    int repeats = 0;
    for (int i = 0; i < length; ++i) {
      fw::Segment segment = of(*rc::gen::element(fw::SegmentKind::ramp, fw::SegmentKind::soak, fw::SegmentKind::wait,
                                                 fw::SegmentKind::evacuate, fw::SegmentKind::purge, fw::SegmentKind::cool,
                                                 fw::SegmentKind::repeat));
      if (segment.kind == fw::SegmentKind::repeat && (i == 0 || repeats == 2)) segment = of(fw::SegmentKind::wait);
      segment.target = static_cast<float>(*rc::gen::inRange(1, 900));
      segment.rate = static_cast<float>(*rc::gen::inRange(1, 1000)) * 0.1f;
      segment.duration_ms = static_cast<std::uint32_t>(*rc::gen::inRange(0, 5000));
      segment.amount = 1.0f;
      if (segment.kind == fw::SegmentKind::repeat) {
        segment.count = static_cast<std::uint16_t>(*rc::gen::inRange(1, 4));
        segment.jump = static_cast<std::uint16_t>(*rc::gen::inRange(0, i));
        ++repeats;
      }
      RC_PRE(fw::segment_valid(segment, i));
      list.push_back(segment);
    }
    return list;
  });
}

RC_GTEST_PROP(Programme, SkipsAndRepeatsNoSegment, ()) {
  const std::vector<fw::Segment> list = *programmes();
  const auto run = std::make_unique<fw::ProgrammeRun>();
  fw::ProgrammeEntry entry;
  entry.segments = static_cast<std::uint16_t>(list.size());
  fw::programme_start(*run, entry, list.data(), 4000.0f);
  torture::Chance chance(*rc::gen::arbitrary<std::uint64_t>());
  std::vector<int> seen;
  std::uint32_t serial = run->serial;
  for (int tick = 0; tick < 2000000 && run->state == fw::ProgrammeState::running; ++tick) {
    fw::ProgrammeView view{};
    view.period_ms = 100;
    view.lead_degc = view.farthest_degc = view.load_degc = chance.once_in(2) ? 0.5f : run->setpoint_degc;
    view.heat_permissive = !chance.once_in(4);
    view.heater_good = view.load_good = true;
    view.task_done = chance.once_in(20);
    view.task_timeout_ms = 0;
    const bool starting = run->starting;
    const int at = run->segment;
    fw::programme_step(*run, view);
    if (starting) seen.push_back(0);
    // One segment may begin in a step; what has begun says so by its serial.
    const std::uint32_t begun = run->serial - serial - (starting ? 1u : 0u);
    RC_ASSERT(begun <= 1u);
    serial = run->serial;
    if (begun == 1 && run->segment < run->segments) seen.push_back(run->segment);
    RC_ASSERT(begun == 1 || run->segment == at);
  }
  RC_ASSERT(run->state == fw::ProgrammeState::complete);
  RC_ASSERT(seen == written_out(list));
}

// A ramp of 1 K/h for 100 h at 10 steps a second: start + rate * elapsed, and nothing gathers. Four roundings of float32 (elapsed,
// its seconds, the product, the sum), each half a unit in the last place, bound what the arithmetic may lose.
TEST(Ramp, IsExactAfterAHundredHoursAndMovesAtOneKelvinAnHour) {
  const auto run = std::make_unique<fw::ProgrammeRun>();
  fw::Segment ramp = of(fw::SegmentKind::ramp);
  ramp.target = 1100.0f;
  ramp.rate = 1.0f / 3600.0f;
  const std::vector<fw::Segment> list{ramp};
  fw::ProgrammeEntry entry;
  entry.segments = 1;
  fw::programme_start(*run, entry, list.data(), 0.0f);
  fw::ProgrammeView view{};
  view.period_ms = 100;
  view.lead_degc = view.farthest_degc = view.load_degc = 900.0f;
  view.heat_permissive = view.heater_good = view.load_good = true;
  const double rate = static_cast<double>(ramp.rate);
  float before = 900.0f;
  for (std::uint64_t tick = 1; tick <= 3600000; ++tick) {
    fw::programme_step(*run, view);
    const double elapsed_s = static_cast<double>(tick) * 0.1;
    const double exact = 900.0 + rate * elapsed_s;
    const double half_ulp = 0.5 * (static_cast<double>(std::nextafter(1000.0f, 2000.0f)) - 1000.0);
    const double lost = half_ulp + 3.0 * 0x1.0p-24 * rate * elapsed_s;
    if (tick % 36000 == 0) {
      ASSERT_NEAR(static_cast<double>(run->setpoint_degc), exact, lost) << "after " << elapsed_s / 3600.0 << " h";
    }
    if (tick % 10 == 0) {   // 1 K/h is 2.8e-4 K a second, four units in the last place at 1000 degC: it must show every second
      ASSERT_GT(run->setpoint_degc, before) << "after " << elapsed_s << " s";
      before = run->setpoint_degc;
    }
  }
  EXPECT_NEAR(static_cast<double>(run->setpoint_degc), 1000.0, 1e-4);
}

}  // namespace
