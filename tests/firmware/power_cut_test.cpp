// The power goes at every byte of every write of a working day: what the store then holds is what it held before that write or
// what it holds after it, never anything else, and the core comes up from it without an alarm.
#include <gtest/gtest.h>

#include <algorithm>

#include "firmware/parameter_store.h"
#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;

// Everything the core reads out of its store.
struct Held {
  fw::Parameters parameters{};
  fw::ProgrammeStore programmes{};
  fw::Journal journal{};
  fw::StoreWriter writer{};
  fw::EventLog events{};
  fw::RunRecords records{};
  fw::PowerLoss power{};
  int bad = 0, parameters_bad = 0;
};

struct Reading {
  Bytes parameters;
  std::vector<Bytes> programmes;      // title and segments of each
  std::int32_t selected = 0;
  std::int64_t gas_total = 0;
  std::uint32_t boots = 0;
  Bytes events, records, progress;
  int bad = 0;
};

template <typename T>
void append(Bytes& bytes, const T& value) {
  const auto* at = reinterpret_cast<const std::uint8_t*>(&value);
  bytes.insert(bytes.end(), at, at + sizeof value);
}

Reading reading_of(const fw::Parameters& parameters, const fw::ProgrammeStore& programmes, const fw::Journal& journal, int bad) {
  Reading reading;
  for (const fw::ParameterInfo& info : fw::parameter_table()) append(reading.parameters, fw::parameter_bits(parameters, info));
  for (const fw::ProgrammeEntry& entry : programmes.entries) {
    Bytes one(entry.title, entry.title + sizeof entry.title);
    for (int i = 0; i < entry.segments; ++i) append(one, programmes.segments[entry.first_segment + i]);
    reading.programmes.push_back(one);
  }
  reading.selected = journal.programme;
  reading.gas_total = journal.gas_total;
  reading.boots = journal.boots;
  reading.bad = bad;
  return reading;
}

Reading read(const Bytes& image) {
  static Held held;
  held.bad = fw::load_store(image, held.parameters, held.programmes, held.journal, held.writer, held.parameters_bad);
  Reading reading = reading_of(held.parameters, held.programmes, held.journal, held.bad);
  fw::load_event_log(image, held.events);
  for (std::uint32_t n = 0; n < held.events.count; ++n) append(reading.events, fw::logged_event(held.events, n));
  fw::load_run_records(image, held.records);
  for (std::uint32_t n = 1; n <= held.records.last; ++n) append(reading.records, fw::run_record(held.records, n));
  fw::load_progress(image, held.power, 0);
  append(reading.progress, held.power.progress);
  return reading;
}

Reading in_memory(const fw::Controller& core) { return reading_of(core.parameters, core.programmes, core.journal, 0); }

struct Write {
  std::size_t offset = 0;
  Bytes bytes;
};

// A core with its store, whose writes are kept one by one.
struct Day {
  StandIn s;
  Bytes first_image;
  std::vector<Write> writes;
  std::vector<Reading> states;      // of memory, each that ever stood at the end of a tick

  explicit Day(Bytes image) : s(image), first_image(std::move(image)) { note(); }

  void tick(Bytes request = {}) {
    const Bytes before = s.image;
    s.tick(std::move(request));
    for (std::size_t page = 0; page < 1024; ++page) {
      const auto from = s.image.begin() + 64 * static_cast<long>(page);
      if (std::equal(from, from + 64, before.begin() + 64 * static_cast<long>(page))) continue;
      writes.push_back({64 * page, Bytes(from, from + 64)});
    }
    note();
  }
  void run(int ticks) {
    for (int i = 0; i < ticks; ++i) tick();
  }
  void settle() {
    for (std::size_t quiet = 0, before = writes.size(); quiet < 30; ++quiet) {
      tick();
      if (writes.size() != before) quiet = 0;
      before = writes.size();
    }
  }
  void command(fw::Command code, unsigned argument = 0) {
    tick(StandIn::command_request(code, argument, 0.0));
    tick();
    ASSERT_EQ(s.value("command.result"), 0.0);
  }
  void set(const char* name, float value) {
    const auto table = fw::parameter_table();
    for (std::size_t i = 0; i < table.size(); ++i) {
      if (std::string(table[i].name) != name) continue;
      Bytes data;
      put_float(data, value);
      tick(StandIn::write_request(static_cast<unsigned>(fw::parameter_address + 2 * i), data));
    }
    tick();
  }
  // All gains of all sets in one request: several pages of the store.
  void set_all_gains(float gain_per_k, float integral_s) {
    Bytes data;
    for (int set = 0; set < fw::gain_set_count; ++set)
      for (const float value : {gain_per_k, integral_s, 0.0f, 1.0f}) put_float(data, value);
    std::size_t first = 0;
    while (std::string(fw::parameter_table()[first].name) != "heat.gains.1.gain") ++first;
    tick(StandIn::write_request(static_cast<unsigned>(fw::parameter_address + 2 * first), data));
    tick();
  }
  void write_programme(unsigned number, const std::vector<fw::Segment>& segments, const char* title) {
    for (std::size_t i = 0; i < segments.size(); ++i) {
      const fw::Segment& g = segments[i];
      Bytes data;
      for (const unsigned value : {number, unsigned(g.kind), unsigned(g.gas), unsigned(g.gain_set), unsigned(g.options)})
        put16(data, value);
      put_float(data, g.target);
      put_float(data, g.rate);
      put16(data, g.duration_ms >> 16);
      put16(data, g.duration_ms & 0xFFFF);
      for (const float value : {g.tolerance_k, g.flow_slm, g.back_pressure_pa, g.amount}) put_float(data, value);
      for (const unsigned value : {unsigned(g.count), unsigned(g.jump), unsigned(g.timeout_ms >> 16), unsigned(g.timeout_ms & 0xFFFF)})
        put16(data, value);
      for (std::size_t k = 0; k < 24; ++k) data.push_back(k < std::strlen(title) ? static_cast<std::uint8_t>(title[k]) : std::uint8_t{0});
      tick(StandIn::write_request(fw::programme_window_address, data));
      command(fw::Command::write_segment, static_cast<unsigned>(i));
    }
  }

 private:
  void note() { states.push_back(in_memory(*s.core)); }
};

bool one_of(const Bytes& found, const Bytes& a, const Bytes& b) { return found == a || found == b; }

// True if the reading is, part by part, the old or the new one.
bool old_or_new(const Reading& found, const Reading& before, const Reading& after) {
  bool good = found.bad == 0 && one_of(found.parameters, before.parameters, after.parameters) &&
              (found.selected == before.selected || found.selected == after.selected) &&
              (found.gas_total == before.gas_total || found.gas_total == after.gas_total) &&
              (found.boots == before.boots || found.boots == after.boots) && one_of(found.events, before.events, after.events) &&
              one_of(found.records, before.records, after.records) && one_of(found.progress, before.progress, after.progress);
  for (std::size_t i = 0; i < found.programmes.size(); ++i)
    good = good && one_of(found.programmes[i], before.programmes[i], after.programmes[i]);
  return good;
}

struct Cuts {
  long tried = 0, failed = 0;
  std::string first_failure;
};

// Cuts each write after 0 to 64 bytes; what follows in the page is what was there before, but for one byte that may be anything.
Cuts cut_everywhere(const Day& day) {
  Cuts cuts;
  Bytes image = day.first_image;
  Reading before = read(image);
  for (std::size_t w = 0; w < day.writes.size(); ++w) {
    const Write& write = day.writes[w];
    const auto page = image.begin() + static_cast<long>(write.offset);
    const Bytes old(page, page + 64);
    std::copy(write.bytes.begin(), write.bytes.end(), page);
    const Reading after = read(image);
    for (std::size_t cut = 0; cut <= 64; ++cut) {
      for (const bool garbage : {false, true}) {
        if (garbage && cut == 64) continue;
        std::copy(old.begin(), old.end(), page);
        std::copy(write.bytes.begin(), write.bytes.begin() + static_cast<long>(cut), page);
        if (garbage) *(page + static_cast<long>(cut)) = static_cast<std::uint8_t>(0xA5 ^ cut ^ w);
        ++cuts.tried;
        if (old_or_new(read(image), before, after)) continue;
        if (cuts.failed++ != 0) continue;
        cuts.first_failure =
            "write " + std::to_string(w) + " of page " + std::to_string(write.offset / 64) + " cut at " + std::to_string(cut);
      }
    }
    std::copy(write.bytes.begin(), write.bytes.end(), page);
    before = after;
  }
  return cuts;
}

// Each part of what the store ever held stood in memory as a whole: no set of parameters and no programme is a mixture.
bool stood_in_memory(const Day& day, const Reading& found) {
  const auto any = [&](auto part) {
    return std::any_of(day.states.begin(), day.states.end(), [&](const Reading& state) { return part(state) == part(found); });
  };
  bool good = any([](const Reading& r) { return r.parameters; });
  for (std::size_t i = 0; i < found.programmes.size(); ++i) good = good && any([i](const Reading& r) { return r.programmes[i]; });
  return good;
}

void expect_whole_throughout(const Day& day) {
  Bytes image = day.first_image;
  for (const Write& write : day.writes) {
    std::copy(write.bytes.begin(), write.bytes.end(), image.begin() + static_cast<long>(write.offset));
    ASSERT_TRUE(stood_in_memory(day, read(image))) << "page " << write.offset / 64;
  }
}

std::vector<fw::Segment> anneal() { return {ramp(300.0f, 0.5f), soak(20.0, 5.0f), ramp(200.0f, 0.5f), end()}; }

Day edited_day() {
  Day day(store_of(in_air(), anneal(), "anneal"));
  day.run(20);
  day.set("heat.gains.1.gain", 0.03f);
  day.set("heat.gains.2.integral", 500.0f);      // of another page
  day.set("limits.zone_trip", 1040.0f);          // while the ones before are still on their way
  day.run(3);
  day.set("heat.gains.1.gain", 0.04f);
  day.settle();
  day.set_all_gains(0.025f, 450.0f);
  day.settle();
  day.write_programme(3, {ramp(100.0f, 0.1f), soak(5.0, 3.0f), end()}, "dry-out");
  day.settle();
  day.write_programme(0, {ramp(250.0f, 0.5f), soak(30.0, 5.0f), ramp(100.0f, 0.5f), wait(3.0), end()}, "anneal 2");
  day.command(fw::Command::select_programme, 3);
  day.settle();
  day.command(fw::Command::erase_programme, 3);
  day.command(fw::Command::select_programme, 0);
  day.settle();
  day.write_programme(0, {wait(15.0), wait(2.0), end()}, "short");
  day.settle();
  for (int run = 0; run < 2; ++run) {
    day.command(fw::Command::start);
    day.run(230);
    day.command(fw::Command::reset);
  }
  day.settle();
  return day;
}

TEST(PowerCutAtEveryByte, LeavesTheOldOrTheNew) {
  const Day day = edited_day();
  ASSERT_GE(day.writes.size(), 25u);
  const Cuts cuts = cut_everywhere(day);
  EXPECT_EQ(cuts.failed, 0) << cuts.first_failure;
  EXPECT_EQ(cuts.tried, static_cast<long>(day.writes.size()) * 129);
  RecordProperty("cuts", static_cast<int>(cuts.tried));
}

// A run whose drafts hold more and more. From the first whole one on, every cut leaves the newest or the one before, never none and
// never a mixture; what is written at the end is the record, and the newest draft stands until it is there.
TEST(PowerCutAtEveryByte, LeavesTheNewestDraftOrTheOneBefore) {
  std::vector<fw::Segment> segments;
  for (int i = 0; i < 6; ++i) segments.push_back(ramp(40.0f + 5.0f * static_cast<float>(i), 1.0f));
  segments.push_back(end());
  Day day(store_of(in_air(), segments, "drafts"));
  day.run(5);
  day.command(fw::Command::start);
  for (int i = 0; i < 3000 && day.s.state() != 7; ++i) {
    day.tick();
    if (i % 40 == 0) day.set("heat.gains.1.gain", 0.02f + 1e-5f * static_cast<float>(i));      // an operator's action to count
  }
  day.settle();
  ASSERT_EQ(day.s.state(), 7);
  static fw::RunRecords found;
  const auto draft_of = [](const Bytes& image) {
    fw::load_run_records(image, found);
    Bytes bytes;
    append(bytes, found.sheet);
    return bytes;
  };
  Bytes image = day.first_image;
  std::vector<Bytes> drafts;      // each that was whole, in order
  long cuts = 0;
  for (const Write& write : day.writes) {
    const auto page = image.begin() + static_cast<long>(write.offset);
    const Bytes old(page, page + 64), before = draft_of(image);
    std::copy(write.bytes.begin(), write.bytes.end(), page);
    const Bytes after = draft_of(image);
    if (after != before) drafts.push_back(after);
    for (std::size_t cut = 0; cut < 64; ++cut) {
      std::copy(old.begin(), old.end(), page);
      std::copy(write.bytes.begin(), write.bytes.begin() + static_cast<long>(cut), page);
      const Bytes left = draft_of(image);
      ASSERT_TRUE(left == before || left == after) << "page " << write.offset / 64 << " cut at " << cut;
      ASSERT_TRUE(drafts.size() < 2 || found.sheet.number == 1) << "page " << write.offset / 64 << " cut at " << cut;
      if (write.offset / 64 >= static_cast<std::size_t>(fw::draft_page_first)) ++cuts;
    }
    std::copy(write.bytes.begin(), write.bytes.end(), page);
  }
  EXPECT_EQ(drafts.size(), 6u) << "one for each ramp; the end is over at once";
  EXPECT_EQ(cuts, 6 * fw::run_record_pages * 64);
  for (std::size_t i = 1; i < drafts.size(); ++i) EXPECT_NE(drafts[i], drafts[i - 1]);
}

TEST(PowerCutAtEveryByte, NeverMixesTwoStatesOfAProgrammeOrOfTheParameters) { expect_whole_throughout(edited_day()); }

TEST(Store, HoldsInTheEndWhatMemoryHolds) {
  const Day day = edited_day();
  const Reading held = read(day.s.image), expected = in_memory(*day.s.core);
  EXPECT_EQ(held.bad, 0);
  EXPECT_EQ(held.parameters, expected.parameters);
  EXPECT_EQ(held.programmes, expected.programmes);
  EXPECT_EQ(held.selected, expected.selected);
  EXPECT_EQ(held.boots, 1u);
  const fw::History& history = day.s.core->history;
  EXPECT_EQ(held.events.size(), history.events.count * sizeof(fw::LoggedEvent));
  EXPECT_EQ(held.records.size(), 2 * sizeof(fw::RunRecord));
  EXPECT_EQ(held.records.size() / sizeof(fw::RunRecord), history.records.last);
}

// A cut, then a core that comes up and is edited on, then the next cut: nothing of the change that was broken off comes back.
TEST(Store, NeverTakesUpAChangeThatWasBrokenOff) {
  const Day day = edited_day();
  Bytes image = day.first_image;
  int resumed = 0;
  for (std::size_t w = 0; w < day.writes.size(); ++w) {
    const Write& write = day.writes[w];
    std::copy(write.bytes.begin(), write.bytes.end(), image.begin() + static_cast<long>(write.offset));
    const bool programmes = write.offset < 64u * fw::history_page_first;
    if (!programmes && w % 10 != 0) continue;
    ++resumed;
    Day next(image);
    next.tick();      // at once, before the core has put its slots in order
    next.set("pressure.gain", 1.5e-4f);
    next.write_programme(0, {ramp(120.0f, 0.2f), end()}, "after");
    next.settle();
    const Reading held = read(next.s.image), expected = in_memory(*next.s.core);
    EXPECT_EQ(held.bad, 0) << w;
    EXPECT_EQ(held.parameters, expected.parameters) << w;
    EXPECT_EQ(held.programmes, expected.programmes) << w;
    expect_whole_throughout(next);
  }
  EXPECT_GE(resumed, 25);
}

TEST(Store, NeverMixesAProgrammeThatWasBrokenOffWithTheNextOne) {
  const std::vector<fw::Segment> first = anneal(), second{wait(1.0), wait(2.0), end()};
  const fw::ProgrammeSourceEntry two[] = {{"1", first}, {"2", second}};
  Bytes image(fw::store_image_bytes);
  ASSERT_EQ(fw::build_store_image(in_air(), two, 0, image), image.size());
  Day broken(image);
  broken.write_programme(0, {ramp(250.0f, 0.5f), soak(30.0, 5.0f), ramp(100.0f, 0.5f), wait(3.0), end()}, "broken off");
  for (std::size_t before = broken.writes.size(); broken.writes.size() < before + 3;) broken.tick();
  Day next(broken.s.image);      // three of its segments stand behind the second programme
  next.command(fw::Command::erase_programme, 1);
  next.settle();
  next.write_programme(0, {ramp(120.0f, 0.2f), wait(4.0), end()}, "next");
  next.settle();
  const Reading held = read(next.s.image), expected = in_memory(*next.s.core);
  EXPECT_EQ(held.bad, 0);
  EXPECT_EQ(held.programmes, expected.programmes);
}

// The longest programmes there are, the store full: the new one is written beside the old.
TEST(PowerCutAtEveryByte, LeavesTheOldOrTheNewOfTheLongestProgrammeInAFullStore) {
  std::vector<fw::Segment> longest(127, wait(1.0));
  longest.push_back(end());
  const fw::ProgrammeSourceEntry four[] = {{"1", longest}, {"2", longest}, {"3", longest}, {"4", longest}};
  Bytes image(fw::store_image_bytes);
  ASSERT_EQ(fw::build_store_image(in_air(), four, 0, image), image.size());
  Day day(image);
  day.run(5);
  day.write_programme(2, {ramp(77.0f, 0.1f)}, "3b");      // its first segment
  day.settle();
  ASSERT_GE(day.writes.size(), 130u);
  Day few(image);                                          // every byte of the writes at its end, where it is committed
  few.writes = day.writes;
  few.states = day.states;
  expect_whole_throughout(few);
  const std::size_t last = day.writes.size() - 4;
  for (std::size_t w = 0; w < last; ++w)
    std::copy(day.writes[w].bytes.begin(), day.writes[w].bytes.end(), few.first_image.begin() + static_cast<long>(day.writes[w].offset));
  few.writes.assign(day.writes.begin() + static_cast<long>(last), day.writes.end());
  const Cuts cuts = cut_everywhere(few);
  EXPECT_EQ(cuts.failed, 0) << cuts.first_failure;
  EXPECT_EQ(std::string(reinterpret_cast<const char*>(read(day.s.image).programmes[2].data())), "3b");
}

// A table of parameters that has changed since the store was written: what is new keeps its preset, what is gone is told.
TEST(Store, KnowsItsParametersByName) {
  Bytes image = store_of(in_argon(), anneal());
  const std::size_t page = 64 * static_cast<std::size_t>(fw::parameter_page_first);
  static Held held;
  for (const std::size_t slot : {0u, 1u}) {      // two parameters change places, a third gets a name that nobody knows
    std::uint8_t payload[fw::page_payload_bytes];
    std::memcpy(payload, image.data() + page + 64 * slot + 8, sizeof payload);
    std::swap_ranges(payload, payload + 8, payload + 8);
    payload[2 * 8] ^= 0x55;
    const std::span<std::uint8_t, 64> whole(image.data() + page + 64 * slot, 64);
    fw::fill_page({fw::PageKind::parameters, 2, 0, 1}, payload, sizeof payload, whole);
  }
  held.bad = fw::load_store(image, held.parameters, held.programmes, held.journal, held.writer, held.parameters_bad);
  EXPECT_EQ(held.parameters.period_ms, in_argon().period_ms);
  EXPECT_EQ(held.parameters.zones, in_argon().zones);
  EXPECT_EQ(held.writer.parameters.dropped_count, 1);
  EXPECT_EQ(held.writer.parameters.dropped[0], fw::parameter_ids()[2] ^ 0x55u);
  EXPECT_EQ(held.parameters.heat_every, fw::default_parameters().heat_every);
}

TEST(Store, OfANewerLayoutIsLeftAsItIsAndGivesDefaultsWithAnAlarm) {
  Bytes image = store_of(in_argon(), anneal());
  for (std::size_t page = 0; page < 1024; ++page) {
    std::uint8_t* at = image.data() + 64 * page;
    if (at[0] == 0xFF) continue;
    fw::PageHead head;
    std::memcpy(&head, at, sizeof head);
    head.version = 3;
    const Bytes payload(at + 8, at + 60);
    fw::fill_page(head, payload.data(), payload.size(), std::span<std::uint8_t, 64>(at, 64));
  }
  StandIn s(image);
  s.run(20.0);
  EXPECT_TRUE(s.alarm(fw::alarm::store_damaged));
  EXPECT_NE(s.command(fw::Command::start), fw::Refusal::accepted);
  EXPECT_EQ(s.image, image);
  EXPECT_EQ(s.told.safe_row, 2u) << "what furnace it is can't be told: the one that forgives least";
}

TEST(Store, HasRoomForItsPages) {
  EXPECT_GE(fw::parameters_per_page * fw::parameter_pages_max, 450);
  EXPECT_GE(fw::pool_pages, fw::segment_count + fw::programme_segments_max);
}

}  // namespace
