#include "sim/process_file.h"

#include <cmath>

namespace sim {

namespace {

#define SAGGAR_AT(member) \
  [](auto& object) -> auto& { return object.member; }

constexpr double longest_s = 1e7;

FieldTable make_fields() {
  using F = ProcessFile;
  FieldTable table{"process", "A process with one input and one output: gain * zeros / (integrators * lags * pairs) * dead time.", {}};
  std::vector<Field>& fields = table.fields;
  fields.push_back(text_field<F>("title", SAGGAR_AT(title), false, "what it is, in a few words"));
  fields.push_back(text_field<F>("source", SAGGAR_AT(source), false, "where it is published, or how it was found"));
  fields.push_back(quantity_field<F>("gain", "1", SAGGAR_AT(process.gain), -1e12, 1e12, "1",
                                     "output per input; of an integrating process per second of it"));
  fields.push_back(
      list_field<F>("zeros", SAGGAR_AT(zero_texts), "T of each (T s + 1) above the line; negative: it begins the wrong way"));
  fields.push_back(list_field<F>("lags", SAGGAR_AT(lag_texts), "T of each (T s + 1) below the line"));
  fields.push_back(integer_field<F>("integrators", SAGGAR_AT(process.integrators), 0, 2, "0", "factors 1 / s"));
  fields.push_back(quantity_field<F>("delay", "s", SAGGAR_AT(process.delay_s), 0, longest_s, "0 s", "dead time"));
  fields.push_back(optional<F>(quantity_field<F>("sampling.period", "s", SAGGAR_AT(sampling.period_s), 1e-6, longest_s, "",
                                                 "the controller runs once in it, its output held; not given: a continuous controller"),
                               [](const F& file) { return file.sampling.period_s > 0.0; }));
  fields.push_back(optional<F>(quantity_field<F>("sampling.latency", "s", SAGGAR_AT(sampling.latency_s), 0, longest_s, "",
                                                 "from sample to actuator; not given: one period"),
                               [](const F& file) { return file.sampling.period_s > 0.0; }));
  fields.push_back(text_field<F>("input_unit", SAGGAR_AT(input_unit), false, "of what the controller moves, in words: \"%\", W"));
  fields.push_back(text_field<F>("output_unit", SAGGAR_AT(output_unit), false, "of what it controls, in words: K, kPa"));
  for (Field& field : fields)
    if (field.key.ends_with("_unit")) field.bare = true;
  return table;
}

FieldTable make_pair_fields() {
  FieldTable table{"pair", "T^2 s^2 + 2 damping T s + 1 below the line.", {}};
  table.fields.push_back(quantity_field<SecondOrderLag>("time", "s", SAGGAR_AT(time_s), 1e-9, longest_s, "", "T"));
  table.fields.push_back(
      quantity_field<SecondOrderLag>("damping", "1", SAGGAR_AT(damping), 1e-3, 1e3, "", "1: two equal lags; below: it rings"));
  return table;
}

#undef SAGGAR_AT

// The items of a list of times. What `fine` refuses is told as found, with what was expected.
template <class Fine>
std::vector<double> times_of(const YamlNode& map, const char* key, const std::vector<std::string>& texts, Fine fine,
                             const char* expected) {
  static const Unit second = unit_of("s");
  const YamlNode* list = map.child(key);
  std::vector<double> times_s;
  for (std::size_t i = 0; i < texts.size(); ++i) {
    const SourcePlace place = list && list->is_list() && i < list->items.size() ? list->items[i].place : list ? list->place : map.place;
    try {
      times_s.push_back(value_in(texts[i], second));
    } catch (const UnitError& error) {
      throw InputError(place, error.found + " for `" + key + "`", error.expected, error.nearest);
    }
    if (!fine(times_s.back())) throw InputError(place, "`" + texts[i] + "` for `" + key + "`", expected);
  }
  return times_s;
}

void read_pairs(const YamlNode& map, Process& process) {
  const YamlNode* list = map.child("pairs");
  if (!list) return;
  if (!list->is_list()) throw InputError(list->place, list->found() + " for `pairs`", "a list of maps, each with time and damping");
  for (const YamlNode& item : list->items) read_fields(item, second_order_fields(), &process.pairs.emplace_back());
}

}  // namespace

const FieldTable& process_fields() {
  static const FieldTable table = make_fields();
  return table;
}

const FieldTable& second_order_fields() {
  static const FieldTable table = make_pair_fields();
  return table;
}

std::string ProcessFile::gain_unit() const {
  if (output_unit == "1") return input_unit;
  return input_unit + "/" + (output_unit.find('/') == std::string::npos ? output_unit : "(" + output_unit + ")");
}

ProcessFile read_process(const YamlNode& map) {
  ProcessFile file;
  const std::set<std::string> given = read_fields(map, process_fields(), &file, {"pairs"});
  if (file.input_unit.empty()) file.input_unit = "1";
  if (file.output_unit.empty()) file.output_unit = "1";
  Process& process = file.process;
  process.zeros_s = times_of(
      map, "zeros", file.zero_texts, [](double time_s) { return time_s != 0.0 && std::abs(time_s) <= longest_s; },
      "a time other than 0, up to 1e7 s");
  process.lags_s = times_of(
      map, "lags", file.lag_texts, [](double time_s) { return time_s > 0.0 && time_s <= longest_s; }, "a time above 0, up to 1e7 s");
  read_pairs(map, process);
  const YamlNode* gain = map.child("gain");
  if (process.gain == 0.0)
    throw InputError(gain ? gain->place : map.place, "a gain of 0", "a gain: without one nothing can be controlled");
  if (process.excess() < 0)
    throw InputError(map.place,
                     std::to_string(process.zeros_s.size()) + " zeros and " +
                         std::to_string(process.excess() + static_cast<int>(process.zeros_s.size())) + " poles",
                     "at least as many poles (lags, integrators, two of each pair) as zeros");
  if (given.contains("sampling.latency") && !given.contains("sampling.period"))
    throw InputError(map.child("sampling")->place, "a latency without a period", "`period` in `sampling`");
  if (file.sampling.period_s > 0.0 && !given.contains("sampling.latency")) file.sampling.latency_s = file.sampling.period_s;
  return file;
}

ProcessFile read_process_file(const std::filesystem::path& file) { return read_process(read_yaml(file)); }

}  // namespace sim
