#include "sim/environment.h"

#include <algorithm>

#include <fmt/format.h>

namespace sim {

namespace {

constexpr std::array<EnvironmentSignal, environment_signals> signals{{
    {{"barometer", "Pa abs", 60e3, 110e3}, &plant::Environment::barometer_pa, "barometric pressure"},
    {{"ambient", "degC", -20.0, 60.0}, &plant::Environment::ambient_degc, "temperature of the room, and of the gas supplied"},
    {{"mains", "V", 0.0, 1000.0}, &plant::Environment::mains_v, "mains voltage; a fault `mains_dip` lowers it besides"},
    {{"supply", "Pa gauge", 0.0, 2e6}, &plant::Environment::supply_pa, "pressure the gas supply is regulated to"},
}};

constexpr auto value_of = [](auto& point) -> auto& { return point.value; };

Field value_field(const EnvironmentSignal& signal, const char* key) {
  const ProfileRange& range = signal.range;
  return quantity_field<ProfilePoint>(key, range.unit, value_of, range.low, range.high, "", signal.meaning);
}

Profile read_constant(const EnvironmentSignal& signal, const YamlNode& value) {
  YamlNode map;
  map.kind = YamlNode::Kind::map;
  map.place = value.place;
  map.keys.emplace_back().text = signal.range.name;
  map.items.push_back(value);
  Profile profile;
  read_fields(map, {"environment", "", {value_field(signal, signal.range.name)}}, &profile.points.emplace_back());
  return profile;
}

Profile read_points(const EnvironmentSignal& signal, const YamlNode& map) {
  Profile profile;
  read_fields(map, environment_profile_fields(), &profile, {"points"});
  const YamlNode& list = *map.child("points");
  if (!list.is_list() || list.items.empty()) throw InputError(list.place, list.found() + " for `points`", "a list of points");
  const FieldTable table = environment_point_fields(signal);
  for (const YamlNode& item : list.items) {
    ProfilePoint point;
    point.place = item.place;
    read_fields(item, table, &point);
    if (!profile.points.empty() && !(point.time_s > profile.points.back().time_s))
      throw InputError(item.child("at")->place, item.child("at")->found() + " for `at`", "a time after that of the point before");
    profile.points.push_back(std::move(point));
  }
  return profile;
}

// Neither a file nor points: a misspelt key is named, else what is missing.
[[noreturn]] void refuse_map(const EnvironmentSignal& signal, const YamlNode& node) {
  std::vector<std::string> known = {"points"};
  for (const Field& field : profile_source_fields()) known.push_back(field.key);
  for (const YamlNode& key : node.keys)
    if (std::find(known.begin(), known.end(), key.text) == known.end())
      throw InputError(key.place, "the unknown key `" + key.text + "` in `" + signal.range.name + "`", "one of " + listed(known),
                       nearest_name(key.text, known));
  throw InputError(node.place, node.found() + " for `" + signal.range.name + "`",
                   "a value with its unit, or a map with `file`, or one with `points`");
}

Profile read_profile(const EnvironmentSignal& signal, const YamlNode& node) {
  if (node.is_text()) return read_constant(signal, node);
  if (!node.is_map() || (!node.child("file") && !node.child("points")))
    refuse_map(signal, node);
  if (!node.child("file")) return read_points(signal, node);
  Profile profile;
  ProfileSource source;
  profile.points = read_profile_rows(node, environment_file_fields(), signal.range, source);
  profile.between = source.between;
  return profile;
}

std::string time_words(double s) {
  if (s < 120.0) return fmt::format("{:.6g} s", s);
  return s < 7200.0 ? fmt::format("{:.6g} min", s / 60.0) : fmt::format("{:.6g} h", s / 3600.0);
}

std::string sentence(const EnvironmentSignal& signal, const Profile& profile) {
  const auto words = [&](double value) { return fmt::format("{:.6g} {}", value, signal.range.unit); };
  const std::vector<ProfilePoint>& points = profile.points;
  if (!profile.moves()) return fmt::format("{} {} throughout", signal.range.name, words(points.front().value));
  const auto [low, high] =
      std::minmax_element(points.begin(), points.end(), [](const auto& a, const auto& b) { return a.value < b.value; });
  double widest_s = 0.0;
  for (std::size_t i = 1; i < points.size(); ++i) widest_s = std::max(widest_s, points[i].time_s - points[i - 1].time_s);
  return fmt::format("{} by {} points from {} ({}) to {} ({}), lowest {}, highest {}; between two points {}, at most {} apart; before the "
                     "first its value holds, after the last that one's",
                     signal.range.name, points.size(), time_words(points.front().time_s), words(points.front().value),
                     time_words(points.back().time_s), words(points.back().value), words(low->value), words(high->value),
                     profile.between == Between::hold ? "the earlier one holds" : "a straight line", time_words(widest_s));
}

}  // namespace

const std::array<EnvironmentSignal, environment_signals>& environment_table() { return signals; }

bool Environment::moves() const {
  return std::any_of(profile.begin(), profile.end(), [](const Profile& one) { return one.moves(); });
}

plant::Environment Environment::at(double time_s, const plant::Environment& furnace) const {
  plant::Environment environment = furnace;
  for (std::size_t i = 0; i < environment_signals; ++i)
    if (!profile[i].points.empty()) environment.*signals[i].member = profile[i].at(time_s);
  return environment;
}

FieldTable environment_file_fields() {
  return {"profile from a file", "Instead of a value of the environment.", profile_source_fields()};
}

FieldTable environment_profile_fields() {
  FieldTable table{"profile", "Instead of a value of the environment; `points` is a list of times and values.", {}};
  table.fields.push_back(choice_field<Profile>("between", [](auto& profile) -> auto& { return profile.between; }, {"hold", "linear"}, "",
                                               "what holds between two points"));
  return table;
}

FieldTable environment_point_fields(const EnvironmentSignal& signal) {
  FieldTable table{"point of a profile", "A time, and the value then.", {}};
  table.fields.push_back(quantity_field<ProfilePoint>("at", "s", [](auto& point) -> auto& { return point.time_s; }, 0.0, profile_s_max, "",
                                                      "time of the run"));
  table.fields.push_back(value_field(signal, "value"));
  return table;
}

Environment read_environment(const YamlNode& map) {
  static const FieldTable nothing{"environment", "", {}};
  std::vector<std::string> names;
  for (const EnvironmentSignal& signal : signals) names.emplace_back(signal.range.name);
  read_fields(map, nothing, nullptr, names);
  Environment environment;
  for (std::size_t i = 0; i < environment_signals; ++i) {
    const YamlNode* node = map.child(signals[i].range.name);
    if (!node) continue;
    environment.profile[i] = read_profile(signals[i], *node);
    const std::vector<ProfilePoint>& points = environment.profile[i].points;
    if (points.size() > environment_points_max)
      throw InputError(points.back().place, fmt::format("{} points", points.size()), fmt::format("at most {}", environment_points_max));
  }
  return environment;
}

std::string write_environment(const Environment& environment, int indent) {
  const std::string blanks(static_cast<std::size_t>(indent), ' ');
  std::string text;
  for (std::size_t i = 0; i < environment_signals; ++i) {
    const EnvironmentSignal& signal = signals[i];
    const Profile& profile = environment.profile[i];
    if (profile.points.empty()) continue;
    if (!profile.moves()) {
      text += write_fields({"", "", {value_field(signal, signal.range.name)}}, &profile.points.front(), indent);
      continue;
    }
    text += blanks + signal.range.name + ":\n" + write_fields(environment_profile_fields(), &profile, indent + 2);
    text += blanks + "  points:\n";
    const FieldTable table = environment_point_fields(signal);
    for (const ProfilePoint& point : profile.points) text += write_fields(table, &point, indent + 6, "- ");
  }
  return text;
}

std::vector<std::string> environment_sentences(const Environment& environment) {
  std::vector<std::string> sentences;
  for (std::size_t i = 0; i < environment_signals; ++i)
    if (!environment.profile[i].points.empty()) sentences.push_back(sentence(signals[i], environment.profile[i]));
  return sentences;
}

}  // namespace sim
