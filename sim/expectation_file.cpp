#include "sim/expectation_file.h"

#include <algorithm>
#include <array>

#include "sim/event_match.h"
#include "sim/ready_word.h"

namespace sim {

namespace {

using Form = ExpectationSource::Form;
struct FormKey {
  const char* key;
  Form form;
  const char* meaning;
};
constexpr std::array<FormKey, 4> form_keys = {{{"always", Form::always, "holds at every tick of the window"},
                                               {"never", Form::never, "holds at no tick of the window"},
                                               {"eventually", Form::eventually, "holds at some tick of the window"},
                                               {"at_opening", Form::at_opening, "holds at the tick at which the window opens"}}};
constexpr double longest_s = 30.0 * 86400.0;

#define SAGGAR_AT(member) [](auto& expectation) -> auto& { return expectation.member; }

// `always: ...`: the key is the form, its text the predicate.
Field form_field(const char* key, Form form, const char* meaning) {
  Field field = text_field<ExpectationSource>(key, SAGGAR_AT(predicate), false, meaning);
  field.set = [form](void* object, const FieldValue& value) {
    static_cast<ExpectationSource*>(object)->form = form;
    static_cast<ExpectationSource*>(object)->predicate = value.text;
  };
  field.get = [form](const void* object, FieldValue& value) {
    value.text = static_cast<const ExpectationSource*>(object)->predicate;
    const auto& expectation = *static_cast<const ExpectationSource*>(object);
    return expectation.word.empty() && expectation.form == form;
  };
  return field;
}

// `tracks: {signal: ...}`: the map's key is the word, what is in it its arguments, kept as written.
Field word_field(const ReadyWord& row, const ReadyWordParameter& parameter) {
  const std::string word(row.word), key(parameter.key);
  Field field = text_field<ExpectationSource>(word + "." + key, SAGGAR_AT(word), false,
                                              std::string(row.meaning) + ": " + std::string(parameter.meaning));
  field.bare = parameter.takes == ReadyWordTakes::amount || parameter.takes == ReadyWordTakes::number;
  field.set = [word, key](void* object, const FieldValue& value) {
    static_cast<ExpectationSource*>(object)->word = word;
    static_cast<ExpectationSource*>(object)->arguments[key] = value.text;
  };
  field.get = [word, key](const void* object, FieldValue& value) {
    const auto& expectation = *static_cast<const ExpectationSource*>(object);
    const auto found = expectation.arguments.find(key);
    if (expectation.word != word || found == expectation.arguments.end()) return false;
    value.text = found->second;
    return true;
  };
  return field;
}

// A word with two rows has the parameters they share once.
void add_word_fields(std::vector<Field>& fields) {
  for (const ReadyWord& row : ready_words())
    for (const ReadyWordParameter& parameter : row.parameters) {
      Field field = word_field(row, parameter);
      if (std::none_of(fields.begin(), fields.end(), [&](const Field& known) { return known.key == field.key; }))
        fields.push_back(std::move(field));
    }
}

template <class At>
Field time_field(const char* key, At at, const char* meaning) {
  Field field = quantity_field<ExpectationSource>(key, "s", at, 0.0, longest_s, "", meaning);
  return optional<ExpectationSource>(std::move(field), [at](const ExpectationSource& expectation) { return at(expectation) >= 0.0; });
}

FieldTable make_table() {
  FieldTable table{"expectation", "A statement about signals over time. Of the window all given parts must hold.", {}};
  std::vector<Field>& fields = table.fields;
  fields.push_back(text_field<ExpectationSource>("name", SAGGAR_AT(name), true, "what is expected, in plain words"));
  for (const FormKey& one : form_keys) fields.push_back(form_field(one.key, one.form, one.meaning));
  add_word_fields(fields);
  fields.push_back(time_field("within", SAGGAR_AT(within_s), "`eventually`: so soon after the window opens"));
  fields.push_back(time_field("from", SAGGAR_AT(from_s), "window: from this simulated time"));
  fields.push_back(time_field("to", SAGGAR_AT(to_s), "window: to this simulated time"));
  fields.push_back(list_field<ExpectationSource>("during_segment", SAGGAR_AT(segments), "window: in any of these segments"));
  fields.push_back(list_field<ExpectationSource>("during_phase", SAGGAR_AT(phases), "window: in any of these phases of the atmosphere"));
  fields.push_back(text_field<ExpectationSource>("while", SAGGAR_AT(while_), false, "window: at the ticks at which this holds"));
  fields.push_back(text_field<ExpectationSource>("after", SAGGAR_AT(after), false, "window: from the first tick at which this holds"));
  fields.push_back(text_field<ExpectationSource>("until", SAGGAR_AT(until), false, "window: to the first later tick at which this holds"));
  const auto add_event = [&fields](const char* key, auto at, const char* meaning) {
    for (Field& field : event_fields<ExpectationSource>(key, at, meaning)) fields.push_back(std::move(field));
  };
  add_event("after_event", SAGGAR_AT(after_event), "window: from the tick at which this first happens");
  add_event("until_event", SAGGAR_AT(until_event), "window: to the first later tick at which this happens");
  return table;
}

#undef SAGGAR_AT

// Places of the names in a list or of the one text.
void check_names(const YamlNode* node, const std::vector<std::string>& names, const Vocabulary& vocabulary,
                 void (Vocabulary::*check)(const std::string&, const SourcePlace&) const) {
  for (std::size_t i = 0; node && i < names.size(); ++i)
    (vocabulary.*check)(names[i], node->is_list() ? node->items[i].place : node->place);
}

std::string statement_keys() {
  std::string text;
  for (const FormKey& one : form_keys) text += (text.empty() ? "" : ", ") + std::string(one.key);
  std::string_view last;
  for (const ReadyWord& row : ready_words()) {
    if (row.word != last) text += ", " + std::string(row.word);
    last = row.word;
  }
  return text;
}

// Keys whose text is a truth.
std::vector<const char*> condition_keys() {
  std::vector<const char*> keys;
  for (const FormKey& one : form_keys) keys.push_back(one.key);
  keys.insert(keys.end(), {"while", "after", "until"});
  return keys;
}

void check_form(const YamlNode& item, const ExpectationSource& expectation) {
  const YamlNode* first = nullptr;
  for (const YamlNode& node : item.keys) {
    const bool is_form = std::any_of(form_keys.begin(), form_keys.end(), [&](const FormKey& one) { return node.text == one.key; });
    if (!is_form && !is_ready_word(node.text)) continue;
    if (first) throw InputError(node.place, "`" + first->text + "` and `" + node.text + "` together", "one of " + statement_keys());
    first = &node;
  }
  if (!first) throw InputError(item.place, "an expectation without a statement", "one of " + statement_keys());
  if (expectation.within_s >= 0.0 && (expectation.form != Form::eventually || is_ready_word(first->text)))
    throw InputError(item.child("within")->place, "`within` beside `" + first->text + "`", "`within` beside `eventually` only");
  if (expectation.from_s >= 0.0 && expectation.to_s >= 0.0 && expectation.to_s <= expectation.from_s)
    throw InputError(item.child("to")->place, "`to` not after `from`", "a window that is open for some time");
  for (const char* key : condition_keys())
    if (const YamlNode* text = item.child(key); text && text->text.empty())
      throw InputError(text->place, "nothing for `" + std::string(key) + "`", "an expression");
}

ExpectationSource read_expectation(const YamlNode& item, const Vocabulary& vocabulary) {
  ExpectationSource expectation;
  read_fields(item, expectation_fields(), &expectation);
  expectation.place = item.place;
  check_form(item, expectation);
  if (const YamlNode* map = item.child("after_event")) check_event(*map, expectation.after_event, vocabulary.programme.names);
  if (const YamlNode* map = item.child("until_event")) check_event(*map, expectation.until_event, vocabulary.programme.names);
  check_names(item.child("during_segment"), expectation.segments, vocabulary, &Vocabulary::check_segment);
  check_names(item.child("during_phase"), expectation.phases, vocabulary, &Vocabulary::check_phase);
  for (const FormKey& one : form_keys)
    if (const YamlNode* text = item.child(one.key)) vocabulary.check_judged(*text);
  for (const char* key : {"while", "after", "until"})
    if (const YamlNode* text = item.child(key)) vocabulary.check_condition(*text);
  for (const YamlNode& key : item.keys)
    if (is_ready_word(key.text)) {
      expectation.word = key.text;      // with nothing in its map no field has said so
      check_ready_word(item, expectation, vocabulary);
    }
  return expectation;
}

}  // namespace

const FieldTable& expectation_fields() {
  static const FieldTable table = make_table();
  return table;
}

std::vector<ExpectationSource> read_expectations(const YamlNode& list, const Vocabulary& vocabulary) {
  if (list.is_text() && list.text.empty()) return {};
  if (!list.is_list()) throw InputError(list.place, list.found() + " for `expectations`", "a list of expectations");
  std::vector<ExpectationSource> expectations;
  for (const YamlNode& item : list.items) {
    ExpectationSource expectation = read_expectation(item, vocabulary);
    for (const ExpectationSource& earlier : expectations)
      if (earlier.name == expectation.name)
        throw InputError(item.child("name")->place, "a second expectation named `" + expectation.name + "`", "a name of its own for each");
    expectations.push_back(std::move(expectation));
  }
  return expectations;
}

std::string write_expectations(const std::vector<ExpectationSource>& expectations, int indent) {
  std::string text;
  for (const ExpectationSource& expectation : expectations) text += write_fields(expectation_fields(), &expectation, indent + 2, "- ");
  return text;
}

}  // namespace sim
