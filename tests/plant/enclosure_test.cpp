#include "plant/enclosure.h"
#include "tests/checkout.h"

#include <gtest/gtest.h>
#include <yaml-cpp/yaml.h>

#include <cmath>
#include <stdexcept>
#include <string>
#include <vector>

namespace plant {
namespace {

YAML::Node published() { return YAML::LoadFile(std::string(source_folder) + "/tests/reference/radiation_cases.yaml"); }

double emissive(double t_k) { return stefan_boltzmann_w_m2k4 * t_k * t_k * t_k * t_k; }

// Published view factors have 12 digits: rows sum to 1 within that.
SquareMatrix views(const YAML::Node& rows) {
  SquareMatrix view(rows.size());
  for (std::size_t i = 0; i < rows.size(); ++i) {
    for (std::size_t j = 0; j < rows.size(); ++j) view(i, j) = rows[i][j].as<double>();
  }
  return view;
}

double loss_w(const SquareMatrix& exchange, const std::vector<double>& t_k, std::size_t i) {
  double sum = 0.0;
  for (std::size_t j = 0; j < exchange.size; ++j) sum += exchange(i, j) * (emissive(t_k[i]) - emissive(t_k[j]));
  return sum;
}

// Within 1e-7 of the largest flow: the table's digits.
TEST(Enclosure, BoxOfSixGrayWallsMatchesThePublishedFlows) {
  const YAML::Node box = published()["box_enclosure"];
  const auto area = box["areas_m2"].as<std::vector<double>>();
  const SquareMatrix view = views(box["view_factors"]);
  for (const char* name : {"case_A", "case_A_black"}) {
    const auto t_k = box[name]["T_K"].as<std::vector<double>>();
    const SquareMatrix exchange = exchange_areas(area, view, box[name]["eps"].as<std::vector<double>>());
    for (std::size_t i = 0; i < area.size(); ++i) {
      EXPECT_NEAR(loss_w(exchange, t_k, i), box[name]["Q_W_out"][i].as<double>(), 2.4e-4) << name << " wall " << i;
    }
  }
}

TEST(Enclosure, AdiabaticRoofTakesThePublishedTemperature) {
  const YAML::Node box = published()["box_enclosure"], roof = box["case_B_adiabatic_z1"];
  const SquareMatrix exchange =
      exchange_areas(box["areas_m2"].as<std::vector<double>>(), views(box["view_factors"]), roof["eps"].as<std::vector<double>>());
  double seen = 0.0, weight = 0.0;
  for (std::size_t j = 0; j < 5; ++j) {
    seen += exchange(5, j) * emissive(roof["T_K"][j].as<double>());
    weight += exchange(5, j);
  }
  EXPECT_NEAR(std::pow(seen / weight / stefan_boltzmann_w_m2k4, 0.25), roof["T_z1_K"].as<double>(), 1e-5);
}

TEST(Enclosure, TwoConcentricGrayBodiesExchangeByTheClosedForm) {
  for (const YAML::Node& pair : published()["two_surface"]) {
    if (!pair["A1_m2"] || pair["case"].as<std::string>().find("oncentric") == std::string::npos) continue;
    const std::vector<double> inner{pair["A1_m2"].as<double>()}, outer{pair["A2_m2"].as<double>()};
    const std::vector<double> area{inner[0], outer[0]}, emissivity{pair["eps1"].as<double>(), pair["eps2"].as<double>()};
    const SquareMatrix exchange = exchange_areas(area, nested_view_factors(inner, outer), emissivity);
    const double q = loss_w(exchange, {pair["T1_K"].as<double>(), pair["T2_K"].as<double>()}, 0) / inner[0];
    EXPECT_NEAR(q, pair["q1_W_m2"].as<double>(), 1e-8 * q);
    return;
  }
  FAIL() << "the concentric case is missing";
}

TEST(Enclosure, NestedViewFactorsCloseAndAreReciprocal) {
  const std::vector<double> inner{0.26, 0.036}, outer{0.07, 0.07, 0.07, 0.07, 0.07, 0.06, 0.02};
  const SquareMatrix view = nested_view_factors(inner, outer);
  std::vector<double> area = inner;
  area.insert(area.end(), outer.begin(), outer.end());
  for (std::size_t i = 0; i < area.size(); ++i) {
    double sum = 0.0;
    for (std::size_t j = 0; j < area.size(); ++j) {
      sum += view(i, j);
      EXPECT_NEAR(area[i] * view(i, j), area[j] * view(j, i), 1e-15);
    }
    EXPECT_NEAR(sum, 1.0, 1e-12);
  }
}

TEST(Enclosure, RefusesWhatIsNotAnEnclosure) {
  const std::vector<double> area{1.0, 2.0}, emissivity{0.5, 0.5}, shiny{0.0, 0.5};
  SquareMatrix view = nested_view_factors(std::vector<double>{1.0}, std::vector<double>{2.0});
  EXPECT_NO_THROW(exchange_areas(area, view, emissivity));
  EXPECT_THROW(exchange_areas(area, view, shiny), std::invalid_argument);
  EXPECT_THROW(exchange_areas(std::vector<double>{1.0, 3.0}, view, emissivity), std::invalid_argument);
  view(0, 1) = 0.9;
  EXPECT_THROW(exchange_areas(area, view, emissivity), std::invalid_argument);
  EXPECT_THROW(nested_view_factors(std::vector<double>{2.0}, std::vector<double>{1.0}), std::invalid_argument);
}

}  // namespace
}  // namespace plant
