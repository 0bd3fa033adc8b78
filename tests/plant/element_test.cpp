#include "plant/element.h"

#include <cmath>
#include <map>
#include <string>

#include <gtest/gtest.h>

#include "published_table.h"

namespace {

using plant::element_kind;
using plant::ElementMaterial;
using plant::resistance_factor;

const std::map<std::string, ElementMaterial> published{
    {"FeCrAl 0Cr25Al5", ElementMaterial::fecral},
    {"FeCrAl 0Cr27Al7Mo2", ElementMaterial::fecral_molybdenum},
    {"NiCr Cr20Ni80", ElementMaterial::nichrome},
    {"SiC element (typical shape, relative to 1000 C)", ElementMaterial::silicon_carbide},
    {"MoSi2 (typical)", ElementMaterial::molybdenum_disilicide}};

// heater_resistance_factor.csv: every row of the materials there are, to the digits printed.
TEST(Element, has_the_resistance_of_every_published_row) {
  std::map<std::string, int> rows;
  for (const auto& row : PublishedTable("heater_resistance_factor.csv").rows()) {
    const auto found = published.find(row.at("element"));
    if (found == published.end()) continue;
    const double degc = PublishedTable::number(row, "T_C"), factor = PublishedTable::number(row, "R_T_over_R_ref");
    EXPECT_NEAR(resistance_factor(element_kind(found->second), degc), factor, 1e-9) << row.at("element") << " at " << degc;
    ++rows[row.at("element")];
  }
  ASSERT_EQ(rows.size(), published.size());
  for (const auto& [element, count] : rows) EXPECT_GE(count, 9) << element;
}

// A public page of a supplier: at 1600 degC up to about ten times the cold resistance. The row from memory says 11.7, good to 15 %.
TEST(Element, of_molybdenum_disilicide_is_ten_times_the_cold_one_when_hot) {
  const auto& kind = element_kind(ElementMaterial::molybdenum_disilicide);
  EXPECT_NEAR(resistance_factor(kind, 1600.0) / resistance_factor(kind, 20.0) / 10.0, 1.0, 0.2);
  for (double degc = 30.0; degc <= 1700.0; degc += 10.0)
    EXPECT_GT(resistance_factor(kind, degc), resistance_factor(kind, degc - 10.0)) << degc;
}

// Public pages put the minimum at 600 and at 800 degC.
TEST(Element, of_silicon_carbide_has_its_least_resistance_between_600_and_800_degc) {
  const auto& kind = element_kind(ElementMaterial::silicon_carbide);
  double least_degc = 0.0, least = 1e9;
  for (double degc = 20.0; degc <= 1400.0; degc += 1.0) {
    if (resistance_factor(kind, degc) >= least) continue;
    least = resistance_factor(kind, degc);
    least_degc = degc;
  }
  EXPECT_GE(least_degc, 600.0);
  EXPECT_LE(least_degc, 800.0);
}

TEST(Element, goes_on_beyond_its_rows_without_a_jump) {
  const auto& silicide = element_kind(ElementMaterial::molybdenum_disilicide);
  EXPECT_EQ(resistance_factor(silicide, -40.0), 1.0);
  EXPECT_NEAR(resistance_factor(silicide, 1800.0), 2.0 * 11.6667 - 10.0, 1e-9) << "along the last line";
  EXPECT_EQ(resistance_factor(element_kind(ElementMaterial::constant), 1234.0), 1.0);
}

// Public pages: silicon carbide ends its life at some four times its first resistance. At 30 % in 1000 h that is after 10,000 h.
TEST(Element, ages_with_its_hours_under_current) {
  EXPECT_DOUBLE_EQ(plant::age_factor(0.0, 0.3), 1.0);
  EXPECT_DOUBLE_EQ(plant::age_factor(10'000.0, 0.3), 4.0);
  EXPECT_DOUBLE_EQ(plant::age_factor(10'000.0, 0.0), 1.0) << "molybdenum disilicide in air";
}

// A public table of resistance alloys: highest service temperature and melting point.
TEST(Element, bears_what_the_published_table_says) {
  const auto& fecral = element_kind(ElementMaterial::fecral);
  const auto& molybdenum = element_kind(ElementMaterial::fecral_molybdenum);
  EXPECT_EQ(fecral.limit_degc, 1250.0);
  EXPECT_EQ(fecral.melting_degc, 1500.0);
  EXPECT_EQ(molybdenum.limit_degc, 1400.0);
  EXPECT_EQ(molybdenum.melting_degc, 1520.0);
  EXPECT_EQ(element_kind(ElementMaterial::molybdenum_disilicide).melting_degc, 2030.0);
}

TEST(Element, of_a_zone_is_the_furnaces_but_for_what_the_zone_says) {
  plant::ElectricHeating electric;
  electric.element.material = ElementMaterial::silicon_carbide;
  electric.element.hours = 4000.0;
  electric.zone[1].hours = 0.0;
  electric.zone[2].material = ElementMaterial::fecral;
  EXPECT_EQ(plant::element_of_zone(electric, 0).hours, 4000.0);
  EXPECT_EQ(plant::element_of_zone(electric, 1).hours, 0.0);
  EXPECT_EQ(plant::element_of_zone(electric, 1).material, ElementMaterial::silicon_carbide);
  EXPECT_EQ(plant::element_of_zone(electric, 2).material, ElementMaterial::fecral);
}

}  // namespace
