#include "sim/ready_word.h"

#include <algorithm>
#include <cmath>

#include "sim/expression.h"
#include "sim/input_error.h"
#include "sim/units.h"

namespace sim {

namespace {

using Form = ExpectationSource::Form;
using Takes = ReadyWordTakes;

// On the plant's own truth. The valves of each row of safe values: 1 air, 2 inert, 3 combustible, 4 vacuum, 5 over-pressure.
constexpr std::string_view safe =
    "plant.power < 1 W and plant.contactor == 0 and plant.valve.pump == 0 and plant.valve.process == 0 and plant.valve.air == 0 and "
    "(plant.valve.purge == 1 or interlock.safe_row == 1 or interlock.safe_row == 5) and "
    "(plant.valve.purge == 0 or interlock.safe_row != 5) and (plant.valve.exhaust == 1 or interlock.safe_row == 1) and "
    "(plant.valve.pressure > 0.99 or interlock.safe_row == 1) and "
    "(interlock.safe_row == 5 implies plant.valve.bypass == 1) and (plant.valve.bypass == 1 implies interlock.safe_row == 5)";

std::vector<ReadyWord> make_table() {
  const ReadyWordParameter signal{"signal", Takes::value, "what is judged"};
  const ReadyWordParameter by{"by", Takes::time, "time since the window opened"};
  static const std::string safe_predicate = "last_when(not (" + std::string(safe) + ")) <= {within}";
  return {
      {"tracks", {signal, {"target", Takes::value, "what it follows"}, {"within", Takes::amount, "largest distance"}},
       "follows another signal closely", "{signal} stays within {within} of {target}", Form::always,
       "abs({signal} - {target}) <= {within}", "", "", "", ""},
      {"settles", {signal, {"to", Takes::value, "where to"}, {"within", Takes::amount, "largest distance"}, by},
       "is in the band by then and stays in it; the window must be open longer than that",
       "{signal} settles within {within} of {to} by {by}", Form::always, "past({by}) implies abs({signal} - {to}) <= {within}", "", "",
       "", "{by}"},
      {"overshoots_at_most", {signal, {"over", Takes::value, "above what"}, {"by", Takes::amount, "largest overshoot"}},
       "does not pass the target by more", "{signal} passes {over} by at most {by}", Form::always, "{signal} - {over} <= {by}", "", "",
       "", ""},
      {"holds_for", {{"condition", Takes::truth, "what holds"}, {"at_least", Takes::time, "least time, summed over the window"}},
       "holds so long in all", "{condition} for at least {at_least} in all", Form::eventually, "held_for({condition}) >= {at_least}", "",
       "", "", ""},
      {"holds_for", {{"condition", Takes::truth, "what holds"}, {"at_most", Takes::time, "longest time, summed over the window"}},
       "holds no longer in all", "{condition} for at most {at_most} in all", Form::always, "held_for({condition}) <= {at_most}", "", "",
       "", ""},
      {"reaches", {signal, {"at_least", Takes::amount, "value to come up to"}, by}, "comes up to the value in time",
       "{signal} reaches {at_least} from below by {by}", Form::eventually, "{signal} >= {at_least}", "{by}", "", "", ""},
      {"reaches", {signal, {"at_most", Takes::amount, "value to come down to"}, by}, "comes down to the value in time",
       "{signal} reaches {at_most} from above by {by}", Form::eventually, "{signal} <= {at_most}", "{by}", "", "", ""},
      {"stays_off_until", {{"on", Takes::truth, "what must not be"}, {"until", Takes::truth, "what must come first"}},
       "is not on before something has come", "not {on}, until {until}", Form::never, "{on}", "", "", "{until}", ""},
      {"detects", {{"cause", Takes::truth, "what happens"}, {"sign", Takes::truth, "what tells it"}, {"within", Takes::time, "in so long"}},
       "what happens is noticed in time", "{sign} within {within} of {cause}", Form::eventually, "{sign}", "{within}", "{cause}", "", ""},
      {"returns_to_safe", {{"after", Takes::truth, "the cause"}, {"within", Takes::time, "in so long"}},
       "heat off, contactor open, pump isolated, valves as the row of safe values has them; from then on to the end of the window",
       "the furnace is in its safe state within {within} of {after} and stays so", Form::always, safe_predicate, "", "{after}", "",
       "{within}"},
      {"uses_at_most", {{"total", Takes::value, "a running total"}, {"amount", Takes::amount, "most in the window"}},
       "uses no more", "{total} grows by at most {amount}", Form::always, "rise({total}) <= {amount}", "", "", "", ""},
      {"travels_at_most", {signal, {"amount", Takes::amount, "most in the window"}}, "moves no more, there and back summed",
       "{signal} travels at most {amount}", Form::always, "travel({signal}) <= {amount}", "", "", "", ""},
      {"changes_direction_at_most",
       {signal, {"times", Takes::number, "most in the window"}, {"dead_band", Takes::amount, "smaller movements do not count"}},
       "does not hunt", "{signal} changes direction at most {times} times by more than {dead_band}", Form::always,
       "reversals({signal}, {dead_band}) <= {times}", "", "", "", ""},
  };
}

bool is_plain(std::string_view text) {
  return std::all_of(text.begin(), text.end(), [](char c) { return std::isalnum(static_cast<unsigned char>(c)) || c == '.' || c == '_'; });
}

// The template with its arguments put in. quantities: in brackets where an argument is more than a name or a constant.
std::string filled(std::string_view text, const ReadyWord& row, const ExpectationSource& expectation, bool quantities) {
  std::string made(text);
  for (const ReadyWordParameter& parameter : row.parameters) {
    const std::string key = "{" + std::string(parameter.key) + "}";
    std::string argument = expectation.arguments.at(std::string(parameter.key));
    const bool constant = !argument.empty() && (std::isdigit(static_cast<unsigned char>(argument[0])) || argument[0] == '-') &&
                          argument.find_first_of("+*(") == std::string::npos && argument.find(" - ") == std::string::npos;
    if (quantities && parameter.takes == Takes::value && !is_plain(argument) && !constant) argument = "(" + argument + ")";
    for (std::size_t at = made.find(key); at != std::string::npos; at = made.find(key, at + argument.size()))
      made.replace(at, key.size(), argument);
  }
  return made;
}

// The row whose parameters are those given; null: none.
const ReadyWord* row_of(const ExpectationSource& expectation) {
  for (const ReadyWord& row : ready_words()) {
    const auto given = [&](const ReadyWordParameter& parameter) { return expectation.arguments.contains(std::string(parameter.key)); };
    if (row.word == expectation.word && row.parameters.size() == expectation.arguments.size() &&
        std::all_of(row.parameters.begin(), row.parameters.end(), given))
      return &row;
  }
  return nullptr;
}

double seconds_of(const std::string& text) { return text.empty() ? -1.0 : value_in(text, unit_of("s")); }

[[noreturn]] void fail_arguments(const YamlNode& item, const ExpectationSource& expectation) {
  std::string ways;
  for (const ReadyWord& row : ready_words()) {
    if (row.word != expectation.word) continue;
    std::string keys;
    for (const ReadyWordParameter& parameter : row.parameters) keys += (keys.empty() ? "" : ", ") + std::string(parameter.key);
    ways += (ways.empty() ? "" : "; or ") + keys;
  }
  std::string given;
  for (const auto& [key, text] : expectation.arguments) given += (given.empty() ? "" : ", ") + key;
  throw InputError(item.child(expectation.word)->place, "`" + expectation.word + "` with " + (given.empty() ? "nothing" : given), ways);
}

// What is compiled is the argument in a truth around it; the message speaks of the argument alone.
void check_value(const YamlNode& argument, const Vocabulary& vocabulary) {
  const std::string before = "travel(";   // takes any quantity, and nothing else
  try {
    const Expression expression(before + argument.text + ") == travel(" + argument.text + ")", vocabulary.signals);
  } catch (const ExpressionError& error) {
    SourcePlace place = argument.place;
    const int inside = std::clamp(error.column - 1 - static_cast<int>(before.size()), 0, static_cast<int>(argument.text.size()));
    if (place.line > 0) place.column += inside + (argument.quoted ? 1 : 0);
    throw input_error(error, place, argument.text, inside + 1);
  }
}

void check_argument(const ReadyWordParameter& parameter, const YamlNode& argument, const Vocabulary& vocabulary) {
  const std::string what = " for `" + std::string(parameter.key) + "`";
  if (argument.text.empty()) throw InputError(argument.place, "nothing" + what, std::string(parameter.meaning));
  if (parameter.takes == Takes::truth) return vocabulary.check_condition(argument);
  if (parameter.takes == Takes::value) return check_value(argument, vocabulary);
  try {
    const double value = parameter.takes == Takes::time ? value_in(argument.text, unit_of("s")) : quantity_of(argument.text).value;
    const bool whole = quantity_of(argument.text).unit.text.empty() || quantity_of(argument.text).unit.text == "1";
    if (parameter.takes == Takes::time && value < 0.0) throw InputError(argument.place, argument.found() + what, "a time from 0 up");
    if (parameter.takes == Takes::number && (!whole || value < 0.0 || value != std::floor(value)))
      throw InputError(argument.place, argument.found() + what, "a whole number from 0 up");
  } catch (const UnitError& error) {
    SourcePlace place = argument.place;
    if (place.line > 0) place.column += static_cast<int>(error.at) + (argument.quoted ? 1 : 0);
    throw InputError(place, error.found + what, error.expected, error.nearest);
  }
}

}  // namespace

std::span<const ReadyWord> ready_words() {
  static const std::vector<ReadyWord> table = make_table();
  return table;
}

bool is_ready_word(std::string_view word) {
  return std::any_of(ready_words().begin(), ready_words().end(), [&](const ReadyWord& row) { return row.word == word; });
}

ExpectationSource expanded(const ExpectationSource& expectation) {
  const ReadyWord* row = row_of(expectation);
  if (!row) return expectation;
  const auto put = [&](std::string_view text) { return filled(text, *row, expectation, true); };
  ExpectationSource made = expectation;
  made.form = row->form;
  made.predicate = put(row->predicate);
  if (!row->within.empty()) made.within_s = seconds_of(put(row->within));
  if (!row->after.empty()) made.after = put(row->after);
  if (!row->until.empty()) made.until = put(row->until);
  if (!row->due.empty()) made.due_s = seconds_of(put(row->due));
  return made;
}

std::vector<ExpectationSource> expanded(const std::vector<ExpectationSource>& expectations) {
  std::vector<ExpectationSource> made;
  for (const ExpectationSource& expectation : expectations) made.push_back(expanded(expectation));
  return made;
}

std::string word_sentence(const ExpectationSource& expectation) {
  const ReadyWord* row = row_of(expectation);
  return row ? filled(row->sentence, *row, expectation, false) : "";
}

void check_ready_word(const YamlNode& item, const ExpectationSource& expectation, const Vocabulary& vocabulary) {
  const ReadyWord* row = row_of(expectation);
  if (!row) fail_arguments(item, expectation);
  const YamlNode& map = *item.child(expectation.word);
  const YamlNode* amount = &map;
  for (const ReadyWordParameter& parameter : row->parameters) {
    const YamlNode& argument = *map.child(std::string(parameter.key));
    check_argument(parameter, argument, vocabulary);
    if (parameter.takes == Takes::amount) amount = &argument;
  }
  for (const auto& [key, text] : {std::pair{"after", row->after}, std::pair{"until", row->until}})
    if (const YamlNode* given = item.child(key); given && !text.empty())
      throw InputError(given->place, "`" + std::string(key) + "` beside `" + expectation.word + "`", "a word that says it itself alone");
  // Each argument is right by itself: what is left is that they do not belong together, such as Pa beside degC.
  const std::string predicate = expanded(expectation).predicate;
  try {
    const Expression expression(predicate, vocabulary.signals);
  } catch (const ExpressionError& error) {
    throw input_error(error, amount->place, predicate, error.column, "what `" + expectation.word + "` stands for");
  }
}

}  // namespace sim
