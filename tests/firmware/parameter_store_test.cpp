// What the store holds, what a damaged store gives, and what is written while the core runs.
#include <gtest/gtest.h>

#include <algorithm>

#include "firmware/parameter_store.h"
#include "tests/csv_table.h"
#include "tests/firmware/stand_in.h"

namespace {

using namespace stand_in;

bool same(const fw::Parameters& a, const fw::Parameters& b) { return std::memcmp(&a, &b, sizeof a) == 0; }

struct Loaded {
  fw::Parameters parameters{};
  std::unique_ptr<fw::ProgrammeStore> programmes = std::make_unique<fw::ProgrammeStore>();
  fw::Journal journal{};
  std::unique_ptr<fw::StoreWriter> writer = std::make_unique<fw::StoreWriter>();
  int bad = 0, parameters_bad = 0;
  explicit Loaded(const Bytes& image) { bad = fw::load_store(image, parameters, *programmes, journal, *writer, parameters_bad); }
};

// A bit of page `index` of the parameters, in both of its slots.
void damage_parameters(Bytes& image, int index) {
  for (const int slot : {0, 1}) image[64 * static_cast<std::size_t>(fw::parameter_page_first + 2 * index + slot) + 20] ^= 1;
}

TEST(ParameterTable, NamesAreUniqueAndPresetsWithinTheirBounds) {
  std::map<std::string, int> names;
  std::map<int, int> offsets;
  for (const fw::ParameterInfo& info : fw::parameter_table()) {
    EXPECT_EQ(names[info.name]++, 0) << info.name;
    EXPECT_EQ(offsets[info.offset]++, 0) << info.name;
    EXPECT_LE(info.low, info.preset) << info.name;
    EXPECT_GE(info.high, info.preset) << info.name;
  }
  EXPECT_EQ(fw::first_bad_parameter(fw::default_parameters()), -1);
}

TEST(ParameterTable, RefusesValuesOutsideAndNumbersThatAreNone) {
  for (std::size_t i = 0; i < fw::parameter_table().size(); ++i) {
    const fw::ParameterInfo& info = fw::parameter_table()[i];
    fw::Parameters p = fw::default_parameters();
    std::uint32_t bits = 0x7FC00000u;   // NaN; as an integer far above every bound
    fw::set_parameter_bits(p, info, bits);
    EXPECT_EQ(fw::first_bad_parameter(p), static_cast<int>(i)) << info.name;
  }
  fw::Parameters p = fw::default_parameters();
  p.zone_thermocouple = 'L';   // between K and N
  EXPECT_GE(fw::first_bad_parameter(p), 0);
}

TEST(Store, GivesBackWhatWasPutIn) {
  const std::vector<fw::Segment> first{ramp(100.0f, 0.1f), soak(60.0, 5.0f), end()}, second{evacuate(15.0f), end()};
  const fw::ProgrammeSourceEntry entries[] = {{"first", first}, {"second", second}};
  Bytes image(fw::store_image_bytes);
  ASSERT_EQ(fw::build_store_image(in_argon(), entries, 1, image), image.size());
  const Loaded loaded(image);
  EXPECT_EQ(loaded.bad, 0);
  EXPECT_TRUE(same(loaded.parameters, in_argon()));
  EXPECT_EQ(loaded.journal.programme, 1);
  EXPECT_STREQ(loaded.programmes->entries[1].title, "second");
  ASSERT_EQ(loaded.programmes->entries[0].segments, 3);
  const fw::Segment& soaked = loaded.programmes->segments[loaded.programmes->entries[0].first_segment + 1];
  EXPECT_EQ(std::memcmp(&soaked, &first[1], sizeof soaked), 0);
}

// A core that knew no share of the feed-forward wrote 44 bytes of each segment and zeros: the whole of it.
TEST(Store, OfACoreWithShorterSegmentsLeavesWhatCameLaterAtItsPreset) {
  const std::vector<fw::Segment> segments{ramp(100.0f, 0.1f), soak(60.0, 5.0f), end()};
  const fw::ProgrammeSourceEntry entry{"older", segments};
  Bytes image(fw::store_image_bytes);
  ASSERT_EQ(fw::build_store_image(in_air(), {&entry, 1}, 0, image), image.size());
  const auto write = [&](std::uint16_t segment_bytes, std::uint32_t crc) {
    for (int slot = 0; slot < 2; ++slot) {
      const int number = fw::programme_page_first + slot;
      const fw::PageView view = fw::look_at_page(image, number);
      ASSERT_TRUE(view.holds(fw::PageKind::programme, 0));
      fw::ProgrammePage page;
      std::memcpy(&page, view.payload, sizeof page);
      page.segment_bytes = segment_bytes;
      page.crc = crc;
      const std::span<std::uint8_t, 64> bytes(image.data() + 64 * static_cast<std::size_t>(number), 64);
      fw::fill_page(view.head, &page, sizeof page, bytes);
    }
  };
  write(44, fw::segments_crc(segments, 44));
  const Loaded older(image);
  EXPECT_EQ(older.bad, 0);
  ASSERT_EQ(older.programmes->entries[0].segments, 3);
  EXPECT_EQ(older.programmes->segments[older.programmes->entries[0].first_segment].feed_forward, 0.0f);
  EXPECT_EQ(fw::segment_feed_forward(older.programmes->segments[0]), 1.0f);
  write(52, fw::segments_crc(segments, sizeof(fw::Segment)));
  EXPECT_GT(Loaded(image).bad, 0) << "of a later core: what the rest says is not known";
}

TEST(Store, RefusesWhatDoesNotFit) {
  Bytes image(fw::store_image_bytes);
  const auto build = [&](const fw::Parameters& p, const std::vector<fw::Segment>& segments, int selected) {
    const fw::ProgrammeSourceEntry entry{"x", segments};
    return fw::build_store_image(p, {&entry, 1}, selected, image);
  };
  EXPECT_EQ(build(in_air(), std::vector<fw::Segment>(128, end()), 0), image.size());
  EXPECT_EQ(build(in_air(), std::vector<fw::Segment>(129, end()), 0), 0u);
  EXPECT_EQ(build(in_air(), {end()}, 16), 0u);
  EXPECT_EQ(build(in_air(), {ramp(100.0f, -1.0f), end()}, 0), 0u);
  fw::Parameters bad = in_air();
  bad.period_ms = 0;
  EXPECT_EQ(build(bad, {end()}, 0), 0u);
  const std::vector<fw::Segment> full(128, end());
  const fw::ProgrammeSourceEntry five[] = {{"1", full}, {"2", full}, {"3", full}, {"4", full}, {"5", full}};
  EXPECT_EQ(fw::build_store_image(in_air(), std::span(five).first(4), 0, image), image.size());
  EXPECT_EQ(fw::build_store_image(in_air(), five, 0, image), 0u) << "512 segments in all";
}

TEST(Store, BlankOneBringsUpDefaultsAndTheSafeValuesOfAir) {
  for (const std::uint8_t fill : {0x00, 0xFF}) {
    StandIn s(Bytes(fw::store_image_bytes, fill));
    s.run(2.0);
    EXPECT_TRUE(same(s.core->parameters, fw::default_parameters()));
    EXPECT_EQ(s.value("alarms.bits"), 0.0);
    EXPECT_EQ(s.told.coils, bit::purge_shut) << "gas shut";
    EXPECT_EQ(s.told.safe_row, 1u);
    EXPECT_EQ(s.command(fw::Command::start), fw::Refusal::no_such_programme);
  }
}

TEST(Store, NoneAtAllIsABlankOne) {
  fw::Controller& core = *std::make_unique<fw::Controller>().release();
  fw::start(core, {}, fw::ResetCause::brown_out, 3);
  EXPECT_TRUE(same(core.parameters, fw::default_parameters()));
  EXPECT_EQ(core.store_bad, 0);
  delete &core;
}

TEST(Store, DamagedPageIsCountedAndTakesNothingElseWithIt) {
  const Bytes image = store_of(in_argon(), {ramp(100.0f, 0.1f), end()});
  Bytes page_hit = image;
  damage_parameters(page_hit, 1);
  const Loaded one(page_hit);
  EXPECT_EQ(one.bad, 1);
  EXPECT_EQ(one.parameters.retort_ceramic, 1) << "the first page stands";
  EXPECT_EQ(one.programmes->entries[0].segments, 2);
  Bytes segment_hit = image;
  segment_hit[64 * fw::pool_page_first + 10] ^= 1;
  const Loaded two(segment_hit);
  EXPECT_EQ(two.bad, 1) << "the programme that needs the segment";
  EXPECT_EQ(two.parameters_bad, 0);
  EXPECT_EQ(two.programmes->entries[0].segments, 0);
  EXPECT_TRUE(same(two.parameters, in_argon()));
}

bool blank(const Bytes& image, std::size_t page) {
  return std::all_of(image.begin() + 64 * static_cast<long>(page), image.begin() + 64 * static_cast<long>(page + 1),
                     [](std::uint8_t byte) { return byte == 0xFF; });
}

// At rest everything but the segments stands twice: one flipped bit anywhere costs at most the programme it hits, with an alarm.
TEST(Store, SingleBitFlipCostsNothingThatStandsTwiceAndIsNeverTakenForAValue) {
  const Bytes image = store_of(in_argon(), {ramp(100.0f, 0.1f), end()});
  int segments_hit = 0;
  for (std::size_t page = 0; page < 1024; ++page) {
    if (blank(image, page)) continue;
    for (std::size_t bit_at = 0; bit_at < 64 * 8; ++bit_at) {
      Bytes hit = image;
      hit[64 * page + bit_at / 8] ^= static_cast<std::uint8_t>(1u << (bit_at % 8));
      const Loaded loaded(hit);
      ASSERT_TRUE(same(loaded.parameters, in_argon())) << page << ' ' << bit_at;
      const bool segment = page < fw::parameter_page_first;
      segments_hit += segment ? 1 : 0;
      ASSERT_EQ(loaded.programmes->entries[0].segments, segment ? 0 : 2) << page << ' ' << bit_at;
      ASSERT_EQ(loaded.bad, segment ? 1 : 0) << page << ' ' << bit_at;
      bit_at += 6;      // a prime number of bits on: every byte and every place in a byte, a seventh of the time
    }
  }
  EXPECT_GT(segments_hit, 100);
}

TEST(Store, DamageShowsAsAnAlarm) {
  Bytes image = store_of(in_air(), {ramp(100.0f, 0.1f), end()});
  damage_parameters(image, 1);
  StandIn s(image);
  s.run(1.0);
  EXPECT_TRUE(s.alarm(fw::alarm::store_damaged));
}

TEST(Store, WithDamagedParametersStartsNothing) {
  for (const int page : {0, 1}) {
    Bytes image = store_of(in_air(), {ramp(100.0f, 0.1f), end()});
    damage_parameters(image, page);
    StandIn s(image);
    s.run(1.0);
    EXPECT_NE(s.command(fw::Command::start), fw::Refusal::accepted) << page;
    EXPECT_EQ(s.state(), 0) << page;
  }
  Bytes image = store_of(in_argon(), {ramp(100.0f, 0.1f), end()});
  damage_parameters(image, 1);
  StandIn s(image);
  s.run(1.0);
  EXPECT_EQ(s.command(fw::Command::start), fw::Refusal::store_damaged);
}

// What was lost must be written by somebody: a core that stored its presets would start with them after the next power cut.
TEST(Store, NeverWritesPresetsOverLostParametersByItself) {
  Bytes image = store_of(in_argon(), {ramp(100.0f, 0.1f), end()});
  damage_parameters(image, 1);
  StandIn s(image);
  s.run(20.0);
  EXPECT_GT(Loaded(s.image).parameters_bad, 0);
}

// A hot retort that comes up with its parameters lost must not be left to draw air.
TEST(Store, ThatHasLostWhatFurnaceItServesKeepsThePurgeOpen) {
  Bytes image = store_of(in_argon(), {ramp(100.0f, 0.1f), end()});
  damage_parameters(image, 0);   // the page of the unit
  StandIn s(image);
  s.tick();
  EXPECT_EQ(s.told.coils, 0u) << "normal positions: purge and exhaust open";
  EXPECT_EQ(s.told.safe_row, 2u);
}

// What a core of layout 1 has left: an image written by that core itself.
Bytes image_of_layout_1() {
  Bytes image(fw::store_image_bytes, 0xFF);
  for (const CsvTable table("store_layout_1.csv"); const auto& row : table.rows()) {
    const std::string& hex = row["bytes"];
    const auto at = 64 * static_cast<std::size_t>(row.number("page"));
    for (std::size_t i = 0; i < 64; ++i) image[at + i] = static_cast<std::uint8_t>(std::stoul(hex.substr(2 * i, 2), nullptr, 16));
  }
  return image;
}

// Its parameters, programmes and journal as they were put in when it was made.
void expect_what_layout_1_held(const Loaded& loaded) {
  fw::Parameters expected = in_argon();
  expected.period_ms = 50;
  expected.zones = 3;
  expected.heat_gains[2].gain_per_k = 0.031f;
  expected.mains_nominal_v = 231.0f;
  expected.oxygen_trip_ppm = 77.0f;
  expected.sensor_jump_k = fw::default_parameters().sensor_jump_k;   // unknown to layout 1: the preset
  EXPECT_EQ(loaded.bad, 0);
  EXPECT_TRUE(same(loaded.parameters, expected));
  EXPECT_EQ(loaded.journal.programme, 1);
  EXPECT_GE(loaded.journal.generation, 7u);
  EXPECT_EQ(loaded.journal.gas_total, 123456790000000);
  const std::vector<fw::Segment> first{evacuate(15.0f),    backfill(4000.0f, 5.0f), with_flow(ramp(400.0f, 0.1f), 0.6f),
                                       soak(3600.0, 5.0f), cool(60.0f),             end()};
  const std::vector<fw::Segment> second{ramp(100.0f, 0.1f), soak(60.0, 5.0f), end()};
  EXPECT_STREQ(loaded.programmes->entries[0].title, "stress relief");
  EXPECT_STREQ(loaded.programmes->entries[1].title, "dry-out");
  for (const auto& [number, segments] : {std::pair{0, first}, std::pair{1, second}}) {
    const fw::ProgrammeEntry& entry = loaded.programmes->entries[number];
    ASSERT_EQ(entry.segments, segments.size());
    for (std::size_t i = 0; i < segments.size(); ++i)
      EXPECT_EQ(std::memcmp(loaded.programmes->segments + entry.first_segment + i, &segments[i], 40), 0) << "what it had then";
  }
}

TEST(Store, OfLayout1IsReadWhole) { expect_what_layout_1_held(Loaded(image_of_layout_1())); }

TEST(Store, OfLayout1IsWrittenAnewAndThenStandsAlone) {
  StandIn s(image_of_layout_1());
  s.run(20.0);
  EXPECT_FALSE(s.alarm(fw::alarm::store_damaged));
  for (const auto& [first, last] : {std::pair{0, 16}, std::pair{528, 546}})      // its parameters, programmes and journal
    std::fill(s.image.begin() + 64 * first, s.image.begin() + 64 * last, std::uint8_t{0xFF});
  expect_what_layout_1_held(Loaded(s.image));
}

// A cut while it is written anew: what has moved already and what has not give the same whole.
TEST(Store, OfLayout1IsWholeAfterACutAtEveryByteOfItsMove) {
  StandIn s(image_of_layout_1());
  for (int i = 0; i < 200; ++i) {
    const Bytes before = s.image;
    s.tick();
    for (const std::size_t cut : {1, 7, 30, 59, 63}) {
      Bytes torn = before;
      for (std::size_t at = 0, since = 0; at < torn.size(); ++at) {
        if (torn[at] != s.image[at] && since == 0) since = at / 64 + 1;
        if (since != 0 && at < 64 * (since - 1) + cut) torn[at] = s.image[at];
      }
      expect_what_layout_1_held(Loaded(torn));
    }
    expect_what_layout_1_held(Loaded(s.image));
  }
}

// A parameter changed since the move must not fall back to what it was before when its page is hit.
TEST(Store, NeverTakesUpAgainWhatLayout1SaidOfADamagedPage) {
  StandIn s(image_of_layout_1());
  s.run(20.0);
  damage_parameters(s.image, 0);
  const Loaded loaded(s.image);
  EXPECT_EQ(loaded.parameters_bad, 1);
  EXPECT_EQ(loaded.parameters.zones, fw::default_parameters().zones);
  EXPECT_EQ(loaded.parameters.retort_ceramic, 1) << "what furnace it is can't be told: the one that forgives least";
}

// The last core of layout 1 had 90 words; the rest of its last page is no value of a parameter that came later.
TEST(Store, OfLayout1LeavesWhatCameLaterAtItsPreset) {
  const Loaded loaded(image_of_layout_1());
  const fw::Parameters presets = fw::default_parameters();
  for (const fw::ParameterInfo& info : fw::parameter_table()) {
    if (info.offset < 4 * 90) continue;
    EXPECT_EQ(fw::parameter_bits(loaded.parameters, info), fw::parameter_bits(presets, info)) << info.name;
  }
}

TEST(Totaliser, OutlivesAPowerCut) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(wait(1.0e4), 0.6f), end()});
  s.run(1000.0);
  const double total = s.value("flow.total");
  ASSERT_GT(total, 15.0);
  s.restart();
  s.run(1.0);
  EXPECT_GT(s.value("flow.total"), total - 5.0 * 61.0 / 60.0) << "saved every minute";
  EXPECT_LE(s.value("flow.total"), total);
}

TEST(Totaliser, JournalSurvivesTheLossOfItsNewerPage) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(wait(1.0e4), 0.6f), end()});
  s.run(1000.0);
  const double total = s.value("flow.total");
  const auto newer = static_cast<std::size_t>(fw::journal_page_first) + (s.core->journal.generation & 1u);
  s.image[64 * newer + 8] ^= 0x40;
  s.restart();
  s.run(1.0);
  EXPECT_GT(s.value("flow.total"), total - 2.1 * 0.63 - 0.1);
}

TEST(PowerCut, BringsTheCoreUpIdleWithTheSafeValuesOfTheAtmosphere) {
  StandIn s = started(in_argon(), {evacuate(15.0f), backfill(4000.0f, 5.0f), with_flow(ramp(400.0f, 0.5f), 0.6f), end()});
  ASSERT_TRUE(s.run_until([&] { return s.told.demand[0] > 0.0f; }, 2000.0));
  s.restart();
  s.tick();
  EXPECT_EQ(s.state(), 0);
  EXPECT_FALSE(s.told.coil(bit::contactor));
  EXPECT_EQ(s.told.coils, 0u);
  EXPECT_EQ(s.told.safe_row, 2u);
}

}  // namespace
