#include "sim/expectations.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <utility>

#include "sim/event_match.h"
#include "sim/expectation_file.h"
#include "sim/expectation_sentence.h"
#include "sim/moment_sentence.h"
#include "sim/input_error.h"
#include "sim/ready_word.h"
#include "sim/units.h"

namespace sim {

namespace {

using Form = ExpectationSource::Form;
constexpr double infinite = std::numeric_limits<double>::infinity();
constexpr std::size_t bytes_max = std::size_t{128} << 20;
constexpr double instant_s = 1e-6;   // instants closer than this are one: tick times are not exact in binary

Expression compiled(const std::string& text, const char* key, const ExpectationSource& source, const SignalTable& table,
                    double period_s = 0.0) {
  if (text.empty()) return {};
  try {
    return Expression(text, table, period_s);
  } catch (const ExpressionError& error) {
    throw input_error(error, source.place, text, error.column, "`" + std::string(key) + "` of `" + source.name + "`");
  }
}

// Why it was never judged.
std::string unjudged(const ExpectationSource& source, bool opened, double longest_s) {
  if (!opened) return "its window never opened";
  if (source.due_s > longest_s)
    return "its window was never open for the " + time_sentence(source.due_s) + " it needs, at most for " + time_sentence(longest_s);
  return "its window shut before anything was known";
}

std::string joined(const std::vector<std::string>& names) {
  std::string text;
  for (const std::string& name : names) text += (text.empty() ? "" : " or ") + name;
  return text;
}

std::size_t index_of(const std::string& name, const std::vector<std::string>& names, const char* what, const ExpectationSource& source) {
  const auto found = std::find(names.begin(), names.end(), name);
  if (found == names.end()) {
    throw InputError(source.place, std::string(what) + " `" + name + "` in `" + source.name + "`", joined(names),
                     nearest_name(name, names));
  }
  return static_cast<std::size_t>(found - names.begin());
}

// Is the greatest margin sought, or the least of the negation?
bool is_turned(Form form) { return form == Form::never || form == Form::eventually; }

}  // namespace

Expectations::Expectations(const std::vector<ExpectationSource>& sources, const SignalTable& table,
                           const std::vector<std::string>& segments, double period_s)
    : sources_(expanded(sources)), phase_slot_(table.find("atmosphere.phase")), period_s_(period_s) {
  const std::vector<std::string> phases(phase_names().begin(), phase_names().end());
  std::size_t bytes = 0;
  for (const ExpectationSource& source : sources_) {
    Rule rule;
    rule.form = source.form;
    rule.within_s = source.within_s;
    rule.due_s = source.due_s;
    Expression predicate = compiled(source.predicate, "predicate", source, table, period_s);
    const FlatTruth flat = predicate.flat();
    rule.flat = is_turned(rule.form) ? flat.negated() : flat;
    rule.condition = condition(source.while_, "while", source, table);
    rule.after[0] = condition(source.after, "after", source, table);
    rule.after[1] = event(source.after_event);
    rule.until[0] = condition(source.until, "until", source, table);
    rule.until[1] = event(source.until_event);
    for (const std::string& name : source.segments) {
      rule.in_segment.resize(segments.size() + 1, false);
      rule.in_segment[index_of(name, segments, "segment", source) + 1] = true;
    }
    if (!source.phases.empty()) rule.in_phase = 0;
    for (const std::string& name : source.phases) rule.in_phase |= 1u << index_of(name, phases, "phase", source);
    Item item;
    for (int i = 0; i < 2; ++i) item.came[i] = rule.after[i] < 0;
    items_.push_back(item);
    bytes += predicate.bytes();
    if (bytes > bytes_max)
      throw InputError(source.place, "`" + source.name + "`, with which what looks ahead takes " + std::to_string(bytes) + " bytes",
                       "at most " + std::to_string(bytes_max) + " bytes (128 MiB) in all: shorter windows, or fewer");
    if (predicate.is_temporal()) instants_.resize(std::max(instants_.size(), std::bit_ceil(predicate.horizon() + 2)));
    first_term_.push_back(terms_.size());
    terms_.insert(terms_.end(), rule.flat.terms().begin(), rule.flat.terms().end());
    predicates_.push_back(std::move(predicate));
    rules_.push_back(std::move(rule));
  }
  for (std::vector<std::uint16_t>* list : {&awake_, &violated_, &ahead_, &rest_}) list->reserve(items_.size());
  watched_.reserve(conditions_.size());
  for (std::int16_t gate = -1; gate < static_cast<std::int16_t>(conditions_.size()); ++gate) {
    lanes_.push_back({gate, {}, {}});
    lanes_.back().entries.reserve(items_.size());
    lanes_.back().others.reserve(items_.size());
  }
}

std::int16_t Expectations::condition(const std::string& text, const char* key, const ExpectationSource& source, const SignalTable& table) {
  if (text.empty()) return -1;
  for (std::size_t i = 0; i < conditions_.size(); ++i) {
    const Expression& known = conditions_[i].expression;
    if (known.text() == text && !known.has_memory()) return static_cast<std::int16_t>(i);
  }
  Condition made;
  made.expression = compiled(text, key, source, table);
  made.flat = made.expression.flat();
  conditions_.push_back(std::move(made));
  return static_cast<std::int16_t>(conditions_.size() - 1);
}

std::int16_t Expectations::event(const EventPattern& pattern) {
  if (!pattern.given()) return -1;
  Condition made;
  made.event = pattern;
  conditions_.push_back(std::move(made));
  return static_cast<std::int16_t>(conditions_.size() - 1);
}

bool Expectations::holds(std::int16_t index, std::span<const double> frame, double time_s) {
  Condition& condition = conditions_[static_cast<std::size_t>(index)];
  if (condition.looked_at == ticks_) return condition.held;
  condition.looked_at = ticks_;
  if (condition.event.given()) {
    const auto is_meant = [&condition](const Event& happened) { return matches(condition.event, happened); };
    return condition.held = std::any_of(events_.begin(), events_.end(), is_meant);
  }
  const FlatTruth& flat = condition.flat;
  const double margin = flat.empty() ? 0.0 : FlatTruth::margin(flat.terms().data(), flat.terms().size(), flat.all(), frame.data());
  const bool clear = margin > 0.0 || margin < 0.0;   // neither on the boundary nor undefined
  return condition.held = clear ? margin > 0.0 : condition.expression.holds(frame, time_s);
}

// Which windows can be open at all, until the segment, the phase or an instant of `from` or `to` changes it.
void Expectations::renew(double time_s, int segment, int phase) {
  awake_.clear();
  renew_s_ = infinite;
  for (std::uint16_t i = 0; i < items_.size(); ++i) {
    Item& item = items_[i];
    const ExpectationSource& source = sources_[i];
    const Rule& rule = rules_[i];
    const double from_s = source.from_s - instant_s;
    const double past_s = source.to_s < 0.0 ? infinite : source.to_s + instant_s;
    for (const double instant : {from_s, past_s}) {
      if (instant > time_s) renew_s_ = std::min(renew_s_, instant);
    }
    const std::size_t place = static_cast<std::size_t>(segment + 1);
    item.reachable = time_s >= from_s && time_s < past_s &&
                     (rule.in_segment.empty() || (place < rule.in_segment.size() && rule.in_segment[place])) &&
                     (phase < 0 || phase > 31 ? rule.in_phase == ~0u : ((rule.in_phase >> phase) & 1u) != 0);
    if (item.ended && !item.open) continue;
    const bool awaits_end = item.opened && rule.ends();
    if (item.reachable || item.open || !item.started() || awaits_end) awake_.push_back(i);
  }
}

bool Expectations::window_open(std::size_t index, std::span<const double> frame, double time_s) {
  Item& item = items_[index];
  const Rule& rule = rules_[index];
  for (int i = 0; i < 2; ++i)
    if (!item.came[i]) item.came[i] = holds(rule.after[i], frame, time_s);
  for (const std::int16_t until : rule.until)
    if (until >= 0 && item.opened && !item.ended) item.ended = holds(until, frame, time_s);
  if (!item.started() || !item.reachable || item.ended) return false;
  return rule.condition < 0 || holds(rule.condition, frame, time_s);
}

void Expectations::tick(std::span<const double> frame, double time_s, int segment, std::span<const Event> events) {
  ++ticks_;
  events_ = events;
  last_s_ = time_s;
  violated_.clear();
  if (!instants_.empty()) instants_[ticks_ & (instants_.size() - 1)] = time_s;
  if (at_edge(frame, time_s, segment)) {
    segment_ = segment;
    phase_ = phase_slot_ < 0 ? -1.0 : frame[static_cast<std::size_t>(phase_slot_)];
    renew(time_s, segment, phase_ >= 0.0 && phase_ < 32.0 ? static_cast<int>(phase_) : -1);
    for (const std::uint16_t index : awake_) look(index, frame, time_s);
    arrange();
    return;
  }
  for (Lane& lane : lanes_) {
    if ((lane.entries.empty() && lane.others.empty()) || (lane.gate >= 0 && !holds(lane.gate, frame, time_s))) continue;
    judge(lane, frame, time_s);
  }
  for (const std::uint16_t index : ahead_) look_ahead(index, frame, time_s);
  for (const std::uint16_t index : rest_) look(index, frame, time_s);
  if (violated_.size() > 1) std::sort(violated_.begin(), violated_.end());
}

// Does anything happen in this tick by which a window may begin or end (but for `while`)?
bool Expectations::at_edge(std::span<const double> frame, double time_s, int segment) {
  if (segment != segment_ || time_s >= renew_s_) return true;
  if (phase_slot_ >= 0 && frame[static_cast<std::size_t>(phase_slot_)] != phase_) return true;
  for (const std::int16_t index : watched_)
    if (holds(index, frame, time_s)) return true;
  return false;
}

// Sorts what is awake for the ticks to come, until the next edge.
void Expectations::arrange() {
  clear_lanes();
  for (const std::uint16_t index : awake_) {
    const Item& item = items_[index];
    const Rule& rule = rules_[index];
    for (int i = 0; i < 2; ++i)
      if (!item.came[i]) watch(rule.after[i]);
    for (const std::int16_t until : rule.until)
      if (until >= 0 && item.opened && !item.ended) watch(until);
    if (item.started() && item.reachable && !item.ended) place(index);
  }
}

void Expectations::place(std::uint16_t index) {
  const Item& item = items_[index];
  const Rule& rule = rules_[index];
  const Expression& predicate = predicates_[index];
  const bool gated = rule.condition >= 0, seeks = rule.form == Form::eventually;
  const bool once = seeks || rule.form == Form::at_opening;
  if (once && item.settled && !gated) return;
  const bool openings_matter = once || rule.ends() || rule.due_s > 0.0 || predicate.has_memory();
  if (gated && openings_matter) return rest_.push_back(index);
  if (predicate.is_temporal()) return ahead_.push_back(index);
  if (seeks && rule.within_s >= 0.0) renew_s_ = std::min(renew_s_, std::nextafter(item.opened_s + rule.within_s + instant_s, infinite));
  Entry entry{index, rule.flat.all(), static_cast<std::uint32_t>(rule.flat.terms().size()), first_term_[index]};
  set_bounds(entry);
  Lane& lane = lanes_[static_cast<std::size_t>(rule.condition + 1)];
  (rule.flat.empty() ? lane.others : lane.entries).push_back(entry);
}

void Expectations::watch(std::int16_t condition) {
  if (std::find(watched_.begin(), watched_.end(), condition) == watched_.end()) watched_.push_back(condition);
}

// Into the items goes what the lanes know of them.
void Expectations::clear_lanes() {
  for (Lane& lane : lanes_) {
    for (std::vector<Entry>* entries : {&lane.entries, &lane.others}) {
      for (const Entry& entry : *entries) {
        Item& item = items_[entry.item];
        item.ticks += lane.ticks;
        const bool due = lane.ticks > 0 && rules_[entry.item].due_s > 0.0 && rules_[entry.item].form != Form::eventually;
        if (due) item.longest_s = std::max(item.longest_s, lane.last_s - item.opened_s + instant_s);
      }
      entries->clear();
    }
    lane.ticks = 0;
  }
  ahead_.clear();
  rest_.clear();
  watched_.clear();
}

void Expectations::judge(Lane& lane, std::span<const double> frame, double time_s) {
  ++lane.ticks;
  lane.last_s = time_s;
  const auto inside = [](const Entry& entry, double margin) {
    return margin >= entry.low && (margin <= entry.high || margin == infinite);
  };
  for (Entry& entry : lane.entries) {
    const FlatTerm& first = terms_[entry.first];
    const double margin = FlatTruth::margin(&first, entry.terms, entry.all, frame.data());
    if (inside(entry, margin)) continue;
    const bool clear = entry.terms == 1 && std::fabs(margin) > 0.0;   // neither on the boundary nor undefined, and known who decides
    judge_outside(entry, clear ? Expression::Margin{margin, first.comparison} : kept_least(entry.item, frame, time_s), time_s);
  }
  for (Entry& entry : lane.others) {
    const Expression::Margin margin = kept_least(entry.item, frame, time_s);
    if (!inside(entry, margin.value)) judge_outside(entry, margin, time_s);
  }
}

// The margin of the predicate, of never and eventually of its negation.
Expression::Margin Expectations::kept_least(std::uint16_t index, std::span<const double> frame, double time_s) {
  Expression::Margin margin = predicates_[index].evaluate(frame, time_s);
  if (is_turned(rules_[index].form)) margin.value = -margin.value;
  return margin;
}

// A margin outside the bounds: as look does it, but that the lane counts the ticks.
void Expectations::judge_outside(Entry& entry, Expression::Margin margin, double time_s) {
  if (rules_[entry.item].form == Form::eventually) note(items_[entry.item], {-margin.value, margin.decided}, time_s);
  else take(entry.item, margin, time_s, time_s);
  set_bounds(entry);
}

// Margin of eventually: what is kept least is least at -best.
void Expectations::set_bounds(Entry& entry) const {
  const Item& item = items_[entry.item];
  if (rules_[entry.item].form == Form::eventually) {
    entry.low = -item.best.value;
    entry.high = infinite;
    return;
  }
  entry.low = item.judged ? item.tightest.value : std::numeric_limits<double>::quiet_NaN();   // none yet: all is outside
  entry.high = item.widest;
}

void Expectations::look(std::uint16_t index, std::span<const double> frame, double time_s) {
  Item& item = items_[index];
  const Rule& rule = rules_[index];
  const bool open = window_open(index, frame, time_s);
  const bool opens = open && !item.open;
  if (opens) {
    item.open = item.opened = true;
    item.settled = item.counted = item.noted = false;
    item.opened_s = item.best_s = time_s;
    item.best.value = -infinite;
    predicates_[index].reset();
    item.pending = ticks_;
  }
  if (!item.open) return;
  if (predicates_[index].is_temporal()) {
    if (open || rule.form == Form::eventually) look_ahead(index, frame, time_s);
    if (!open) conclude_ahead(index);
    item.open = open;
    return;
  }
  if (rule.form == Form::eventually) {
    look_for(index, frame, time_s);
    if (!open || item.settled) conclude(index, time_s);
  } else if (open && !item.settled) {
    item.settled = rule.form == Form::at_opening;
    Expression::Margin margin = predicates_[index].evaluate(frame, time_s);
    if (rule.form == Form::never) margin.value = -margin.value;
    ++item.ticks;
    if (rule.due_s > 0.0) item.longest_s = std::max(item.longest_s, time_s - item.opened_s + instant_s);
    take(index, margin, time_s, time_s);
  }
  item.open = open;
}

// One tick of an opening of `eventually`; the tick that shuts the window too.
void Expectations::look_for(std::uint16_t index, std::span<const double> frame, double time_s) {
  Item& item = items_[index];
  if (item.settled) return;
  const double within_s = rules_[index].within_s;
  if (within_s >= 0.0 && time_s > item.opened_s + within_s + instant_s) {
    item.settled = true;
    return;
  }
  ++item.ticks;
  note(item, predicates_[index].evaluate(frame, time_s), time_s);
}

void Expectations::note(Item& item, Expression::Margin margin, double time_s) {
  item.noted = true;
  if (margin.holds() && !item.best.holds()) item.took_s = std::max(item.took_s, time_s - item.opened_s);
  if (margin.value > item.best.value) {
    item.best = margin;
    item.best_s = time_s;
  }
}

// A predicate that looks ahead: this tick's margin will be known later; that of an earlier one may be known now.
void Expectations::look_ahead(std::uint16_t index, std::span<const double> frame, double time_s) {
  Item& item = items_[index];
  if (item.settled) return;
  if (predicates_[index].is_open()) return gather(index, frame, time_s);
  Expression::Margin known;
  if (predicates_[index].look(frame, time_s, known)) judge_ahead(index, known);
}

void Expectations::judge_ahead(std::uint16_t index, Expression::Margin margin) {
  Item& item = items_[index];
  const Rule& rule = rules_[index];
  const double at_s = instants_[item.pending++ & (instants_.size() - 1)];
  if (margin.value != margin.value) {   // not known, and never will be
    item.settled = rule.form == Form::at_opening;
    return;
  }
  if (rule.form == Form::eventually) {
    if (rule.within_s >= 0.0 && at_s > item.opened_s + rule.within_s + instant_s) {
      item.settled = true;
      conclude(index, last_s_);
    } else {
      ++item.ticks;
      note(item, margin, at_s);
    }
    return;
  }
  if (rule.form == Form::never) margin.value = -margin.value;
  item.settled = rule.form == Form::at_opening;
  if (rule.due_s > 0.0) item.longest_s = std::max(item.longest_s, at_s - item.opened_s + instant_s);
  ++item.ticks;
  take(index, margin, at_s, at_s);
}

// The window has shut: what is pending is judged over what there is.
void Expectations::conclude_ahead(std::uint16_t index) {
  Item& item = items_[index];
  if (predicates_[index].is_open()) return conclude_gathered(index);
  Expression::Margin known;
  while (!item.settled && predicates_[index].conclude(known)) judge_ahead(index, known);
  if (rules_[index].form == Form::eventually && item.noted) conclude(index, last_s_);
}

namespace {

OpenFormula::Gather gather_of(Form form) {
  if (form == Form::at_opening) return OpenFormula::Gather::first;
  return is_turned(form) ? OpenFormula::Gather::greatest : OpenFormula::Gather::least;
}

}  // namespace

// A predicate that speaks of all ticks to the end of the window.
void Expectations::gather(std::uint16_t index, std::span<const double> frame, double time_s) {
  Item& item = items_[index];
  const Rule& rule = rules_[index];
  Expression& predicate = predicates_[index];
  const OpenFormula::Gather how = gather_of(rule.form);
  const double at_s = instants_[item.pending & (instants_.size() - 1)];
  const bool in_time = rule.within_s < 0.0 || at_s <= item.opened_s + rule.within_s + instant_s;
  const bool counts = in_time && (rule.form != Form::at_opening || at_s == item.opened_s);
  if (!predicate.gather(frame, time_s, how, at_s, counts)) return;
  ++item.pending;
  item.ticks += counts ? 1 : 0;
  if (rule.due_s > 0.0) item.longest_s = std::max(item.longest_s, at_s - item.opened_s + instant_s);
  if (item.failed_s >= 0.0 || rule.form == Form::eventually || !predicate.open().settled(how)) return;
  item.failed_s = time_s;
  violated_.push_back(index);
}

void Expectations::conclude_gathered(std::uint16_t index) {
  Item& item = items_[index];
  const Rule& rule = rules_[index];
  const double limit_s = rule.within_s < 0.0 ? infinite : item.opened_s + rule.within_s + instant_s;
  OpenFormula::Kept kept;
  std::size_t counted = 0;
  const auto at_s = [&](std::size_t tick) { return instants_[(item.pending + tick) & (instants_.size() - 1)]; };
  const bool known = predicates_[index].open().conclude(gather_of(rule.form), at_s, limit_s, kept, counted);
  item.ticks += counted;
  item.counted = true;
  if (!known) return;
  const double margin = rule.form == Form::never ? -kept.value.margin : kept.value.margin;
  take(index, {margin, kept.value.decided}, kept.at_s, last_s_);
}

// An opening of `eventually` is over: its greatest margin counts, once.
void Expectations::conclude(std::uint16_t index, double now_s) {
  Item& item = items_[index];
  if (item.counted) return;
  item.counted = true;
  take(index, item.best, item.best_s, now_s);
}

// A margin found at time_s and known at now_s.
void Expectations::take(std::uint16_t index, Expression::Margin margin, double time_s, double now_s) {
  Item& item = items_[index];
  if (margin.value != margin.value) margin.value = -infinite;
  const double size = std::fabs(margin.value);
  if (size > item.widest && size < infinite) item.widest = size;
  if (!item.judged || margin.value < item.tightest.value) {
    item.tightest = margin;
    item.tightest_s = time_s;
  }
  item.judged = true;
  if (margin.value > 0.0 || item.failed_s >= 0.0) return;
  item.failed_s = now_s;
  violated_.push_back(index);
}

void Expectations::finish() {
  violated_.clear();
  clear_lanes();
  for (std::uint16_t i = 0; i < items_.size(); ++i) {
    Item& item = items_[i];
    if (item.open && predicates_[i].is_temporal()) conclude_ahead(i);
    else if (item.open && rules_[i].form == Form::eventually && !item.settled) conclude(i, last_s_);
    item.open = false;
    item.ended = true;
  }
  awake_.clear();
}

bool Expectations::conclusive(std::size_t index) const {
  const Item& item = items_[index];
  return item.judged && (item.failed_s >= 0.0 || item.longest_s >= rules_[index].due_s);
}

void Expectations::visit(Archive& archive) {
  archive.each(predicates_);
  archive.each(items_);
  archive.each(conditions_);
  archive.each(lanes_);
  archive(awake_, violated_, ahead_, rest_, watched_, instants_, segment_, phase_, renew_s_, last_s_, ticks_);
}

std::vector<std::size_t> Expectations::take_over(const Expectations& past, double from_s) {
  Expectations before = past;
  before.clear_lanes();
  std::vector<std::size_t> origins;
  std::vector<bool> taken(before.items_.size());
  const auto take_condition = [&](std::int16_t here, std::int16_t there) {
    if (here >= 0) conditions_[static_cast<std::size_t>(here)] = before.conditions_[static_cast<std::size_t>(there)];
  };
  for (std::size_t i = 0; i < items_.size(); ++i) {
    const std::string text = write_expectations({sources_[i]}, 0);
    std::size_t other = 0;
    while (other < taken.size() && (taken[other] || write_expectations({before.sources_[other]}, 0) != text)) ++other;
    origins.push_back(other < taken.size() ? other : fresh);
    if (other == taken.size()) {
      items_[i].from_s = from_s;
      continue;
    }
    taken[other] = true;
    items_[i] = before.items_[other];
    predicates_[i] = before.predicates_[other];
    take_condition(rules_[i].condition, before.rules_[other].condition);
    for (std::size_t kind = 0; kind < 2; ++kind) {   // a truth, an event
      take_condition(rules_[i].after[kind], before.rules_[other].after[kind]);
      take_condition(rules_[i].until[kind], before.rules_[other].until[kind]);
    }
  }
  ticks_ = before.ticks_;
  last_s_ = before.last_s_;     // segment_ is left as it is: the next tick looks at every window
  const std::size_t instants = std::min(instants_.size(), before.instants_.size());
  for (std::uint64_t back = 0; back < instants; ++back) {
    const std::uint64_t tick = ticks_ - back;
    instants_[tick & (instants_.size() - 1)] = before.instants_[tick & (before.instants_.size() - 1)];
  }
  return origins;
}

std::vector<ExpectationResult> Expectations::results() const {
  std::vector<ExpectationResult> results;
  for (std::size_t i = 0; i < items_.size(); ++i) {
    const Item& item = items_[i];
    ExpectationResult result;
    result.name = sources_[i].name;
    result.statement = statement_of(sources_[i]);
    result.judged = conclusive(i);
    if (!result.judged) result.unjudged = unjudged(sources_[i], item.opened || item.judged, item.longest_s);
    result.pass = result.judged && item.failed_s < 0.0;
    result.ticks = item.ticks;
    result.judged_s = static_cast<double>(item.ticks) * period_s_;
    result.failed_s = item.failed_s;
    result.took_s = item.took_s;
    result.judged_from_s = item.from_s;
    if (result.judged) {
      result.margin = printed_margin(item.tightest.value);
      const bool code = item.tightest.value == infinite || item.tightest.value == -infinite;
      result.unit = code ? "1" : predicates_[i].unit_name(item.tightest.decided);
      const double limit = predicates_[i].limit(item.tightest.decided);
      const bool bounded = limit > 0.0 && rules_[i].form != Form::eventually;
      result.scale = code ? 0.0 : bounded ? std::min(limit, item.widest) : std::max(limit, item.widest);
      result.at_s = item.tightest_s;
    }
    results.push_back(std::move(result));
  }
  return results;
}

bool Expectations::pass() const {
  for (std::size_t i = 0; i < items_.size(); ++i)
    if (!conclusive(i) || items_[i].failed_s >= 0.0) return false;
  return !items_.empty();
}

}  // namespace sim
