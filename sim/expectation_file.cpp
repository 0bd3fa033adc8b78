#include "sim/expectation_file.h"

namespace sim {

namespace {

using Form = ExpectationSource::Form;
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
    return static_cast<const ExpectationSource*>(object)->form == form;
  };
  return field;
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
  fields.push_back(form_field("always", Form::always, "holds at every tick of the window"));
  fields.push_back(form_field("never", Form::never, "holds at no tick of the window"));
  fields.push_back(form_field("eventually", Form::eventually, "holds at some tick of the window"));
  fields.push_back(time_field("within", SAGGAR_AT(within_s), "`eventually`: so soon after the window opens"));
  fields.push_back(time_field("from", SAGGAR_AT(from_s), "window: from this simulated time"));
  fields.push_back(time_field("to", SAGGAR_AT(to_s), "window: to this simulated time"));
  fields.push_back(list_field<ExpectationSource>("during_segment", SAGGAR_AT(segments), "window: in any of these segments"));
  fields.push_back(list_field<ExpectationSource>("during_phase", SAGGAR_AT(phases), "window: in any of these phases of the atmosphere"));
  fields.push_back(text_field<ExpectationSource>("while", SAGGAR_AT(while_), false, "window: at the ticks at which this holds"));
  fields.push_back(text_field<ExpectationSource>("after", SAGGAR_AT(after), false, "window: from the first tick at which this holds"));
  fields.push_back(text_field<ExpectationSource>("until", SAGGAR_AT(until), false, "window: to the first later tick at which this holds"));
  return table;
}

#undef SAGGAR_AT

// Places of the names in a list or of the one text.
void check_names(const YamlNode* node, const std::vector<std::string>& names, const Vocabulary& vocabulary,
                 void (Vocabulary::*check)(const std::string&, const SourcePlace&) const) {
  for (std::size_t i = 0; node && i < names.size(); ++i)
    (vocabulary.*check)(names[i], node->is_list() ? node->items[i].place : node->place);
}

void check_form(const YamlNode& item, const ExpectationSource& expectation) {
  const YamlNode* first = nullptr;
  for (const YamlNode& node : item.keys) {
    if (node.text != "always" && node.text != "never" && node.text != "eventually") continue;
    if (first) throw InputError(node.place, "`" + first->text + "` and `" + node.text + "` together", "one of always, never, eventually");
    first = &node;
  }
  if (!first) throw InputError(item.place, "an expectation without a statement", "one of always, never, eventually");
  if (expectation.within_s >= 0.0 && expectation.form != Form::eventually)
    throw InputError(item.child("within")->place, "`within` beside `" + first->text + "`", "`within` beside `eventually` only");
  if (expectation.from_s >= 0.0 && expectation.to_s >= 0.0 && expectation.to_s <= expectation.from_s)
    throw InputError(item.child("to")->place, "`to` not after `from`", "a window that is open for some time");
  for (const char* key : {"always", "never", "eventually", "while", "after", "until"})
    if (const YamlNode* text = item.child(key); text && text->text.empty())
      throw InputError(text->place, "nothing for `" + std::string(key) + "`", "an expression");
}

ExpectationSource read_expectation(const YamlNode& item, const Vocabulary& vocabulary) {
  ExpectationSource expectation;
  read_fields(item, expectation_fields(), &expectation);
  expectation.place = item.place;
  check_form(item, expectation);
  check_names(item.child("during_segment"), expectation.segments, vocabulary, &Vocabulary::check_segment);
  check_names(item.child("during_phase"), expectation.phases, vocabulary, &Vocabulary::check_phase);
  for (const char* key : {"always", "never", "eventually", "while", "after", "until"})
    if (const YamlNode* text = item.child(key)) vocabulary.check_condition(*text);
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
