#include "sim/expectations.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "sim/input_error.h"
#include "sim/ready_word.h"
#include "sim/units.h"

namespace sim {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();
constexpr double instant_s = 1e-6;   // instants closer than this are one: tick times are not exact in binary

Expression compiled(const std::string& text, const char* key, const ExpectationSource& source, const SignalTable& table,
                    double period_s = 0.0) {
  if (text.empty()) return {};
  try {
    return Expression(text, table, period_s);
  } catch (const ExpressionError& error) {
    throw InputError(source.place, "in `" + std::string(key) + "` of `" + source.name + "`, at character " +
                                       std::to_string(error.column) + " of `" + text + "`: " + error.what(),
                     "an expression over signals");
  }
}

std::string joined(const std::vector<std::string>& names) {
  std::string text;
  for (const std::string& name : names) text += (text.empty() ? "" : " or ") + name;
  return text;
}

std::string statement_of(const ExpectationSource& source) {
  constexpr const char* forms[] = {"always ", "never ", "eventually ", "at opening "};
  std::string text = source.word.empty() ? "" : word_sentence(source) + ": ";
  text += forms[static_cast<int>(source.form)] + source.predicate;
  if (source.within_s >= 0.0) text += " within " + text_of(source.within_s) + " s";
  if (!source.segments.empty()) text += ", in segment " + joined(source.segments);
  if (!source.phases.empty()) text += ", in phase " + joined(source.phases);
  if (source.from_s >= 0.0) text += ", from " + text_of(source.from_s) + " s";
  if (source.to_s >= 0.0) text += ", to " + text_of(source.to_s) + " s";
  if (!source.while_.empty()) text += ", while " + source.while_;
  if (!source.after.empty()) text += ", after " + source.after;
  if (!source.until.empty()) text += ", until " + source.until;
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

}  // namespace

Expectations::Expectations(const std::vector<ExpectationSource>& sources, const SignalTable& table,
                           const std::vector<std::string>& segments, double period_s)
    : sources_(expanded(sources)), phase_slot_(table.find("atmosphere.phase")), period_s_(period_s) {
  const std::vector<std::string> phases(phase_names().begin(), phase_names().end());
  for (const ExpectationSource& source : sources_) {
    Item item;
    item.form = source.form;
    item.within_s = source.within_s;
    item.due_s = source.due_s;
    item.predicate = compiled(source.predicate, "predicate", source, table, period_s);
    if (item.predicate.is_temporal()) item.pending_s.resize(item.predicate.horizon() + 1);
    item.condition = condition(source.while_, "while", source, table);
    item.after = condition(source.after, "after", source, table);
    item.until = condition(source.until, "until", source, table);
    item.started = item.after < 0;
    Place place;
    for (const std::string& name : source.segments) {
      place.in_segment.resize(segments.size() + 1, false);
      place.in_segment[index_of(name, segments, "segment", source) + 1] = true;
    }
    if (!source.phases.empty()) place.in_phase = 0;
    for (const std::string& name : source.phases) place.in_phase |= 1u << index_of(name, phases, "phase", source);
    places_.push_back(std::move(place));
    items_.push_back(std::move(item));
  }
  awake_.reserve(items_.size());
  violated_.reserve(items_.size());
}

std::int16_t Expectations::condition(const std::string& text, const char* key, const ExpectationSource& source, const SignalTable& table) {
  if (text.empty()) return -1;
  for (std::size_t i = 0; i < conditions_.size(); ++i) {
    const Expression& known = conditions_[i].expression;
    if (known.text() == text && !known.has_memory()) return static_cast<std::int16_t>(i);
  }
  conditions_.push_back({compiled(text, key, source, table), 0, false});
  return static_cast<std::int16_t>(conditions_.size() - 1);
}

bool Expectations::holds(std::int16_t index, std::span<const double> frame, double time_s) {
  Condition& condition = conditions_[static_cast<std::size_t>(index)];
  if (condition.looked_at != ticks_) {
    condition.looked_at = ticks_;
    condition.held = condition.expression.holds(frame, time_s);
  }
  return condition.held;
}

// Which windows can be open at all, until the segment, the phase or an instant of `from` or `to` changes it.
void Expectations::renew(double time_s, int segment, int phase) {
  awake_.clear();
  renew_s_ = infinite;
  for (std::uint16_t i = 0; i < items_.size(); ++i) {
    Item& item = items_[i];
    const ExpectationSource& source = sources_[i];
    const Place& where = places_[i];
    const double from_s = source.from_s - instant_s;
    const double past_s = source.to_s < 0.0 ? infinite : source.to_s + instant_s;
    for (const double instant : {from_s, past_s}) {
      if (instant > time_s) renew_s_ = std::min(renew_s_, instant);
    }
    const std::size_t place = static_cast<std::size_t>(segment + 1);
    item.reachable = time_s >= from_s && time_s < past_s &&
                     (where.in_segment.empty() || (place < where.in_segment.size() && where.in_segment[place])) &&
                     (phase < 0 || phase > 31 ? where.in_phase == ~0u : ((where.in_phase >> phase) & 1u) != 0);
    if (item.ended && !item.open) continue;
    const bool awaits_end = item.opened && item.until >= 0;
    if (item.reachable || item.open || !item.started || awaits_end) awake_.push_back(i);
  }
}

bool Expectations::window_open(Item& item, std::span<const double> frame, double time_s) {
  if (!item.started) item.started = holds(item.after, frame, time_s);
  if (item.until >= 0 && item.opened && !item.ended) item.ended = holds(item.until, frame, time_s);
  if (!item.started || !item.reachable || item.ended) return false;
  return item.condition < 0 || holds(item.condition, frame, time_s);
}

void Expectations::tick(std::span<const double> frame, double time_s, int segment) {
  ++ticks_;
  last_s_ = time_s;
  violated_.clear();
  const double phase = phase_slot_ < 0 ? -1.0 : frame[static_cast<std::size_t>(phase_slot_)];
  if (segment != segment_ || phase != phase_ || time_s >= renew_s_) {
    segment_ = segment;
    phase_ = phase;
    renew(time_s, segment, phase >= 0.0 && phase < 32.0 ? static_cast<int>(phase) : -1);
  }
  for (const std::uint16_t index : awake_) look(index, frame, time_s);
}

void Expectations::look(std::uint16_t index, std::span<const double> frame, double time_s) {
  Item& item = items_[index];
  const bool open = window_open(item, frame, time_s);
  const bool opens = open && !item.open;
  if (opens) {
    item.open = item.opened = true;
    item.settled = item.counted = item.noted = false;
    item.opened_s = item.best_s = time_s;
    item.best.value = -infinite;
    item.predicate.reset();
    item.pending_begin = item.pending_count = 0;
  }
  if (!item.open) return;
  if (item.predicate.is_temporal()) {
    if (open) look_ahead(index, frame, time_s);
    else conclude_ahead(index);
    item.open = open;
    return;
  }
  if (item.form == ExpectationSource::Form::eventually) {
    look_for(item, frame, time_s);
    if (!open || item.settled) conclude(index, time_s);
  } else if (open && !item.settled) {
    item.settled = item.form == ExpectationSource::Form::at_opening;
    Expression::Margin margin = item.predicate.evaluate(frame, time_s);
    if (item.form == ExpectationSource::Form::never) margin.value = -margin.value;
    ++item.ticks;
    if (item.due_s > 0.0) item.longest_s = std::max(item.longest_s, time_s - item.opened_s + instant_s);
    take(index, margin, time_s, time_s);
  }
  item.open = open;
}

// One tick of an opening of `eventually`; the tick that shuts the window too.
void Expectations::look_for(Item& item, std::span<const double> frame, double time_s) {
  if (item.settled) return;
  const double within_s = item.within_s;
  if (within_s >= 0.0 && time_s > item.opened_s + within_s + instant_s) {
    item.settled = true;
    return;
  }
  note(item, item.predicate.evaluate(frame, time_s), time_s);
}

void Expectations::note(Item& item, Expression::Margin margin, double time_s) {
  item.noted = true;
  item.latest = margin;
  if (item.latest.holds() && !item.best.holds()) item.took_s = std::max(item.took_s, time_s - item.opened_s);
  if (item.latest.value > item.best.value) {
    item.best = item.latest;
    item.best_s = time_s;
  }
  ++item.ticks;
}

// A predicate that looks ahead: this tick's margin will be known later; that of an earlier one may be known now.
void Expectations::look_ahead(std::uint16_t index, std::span<const double> frame, double time_s) {
  Item& item = items_[index];
  if (item.settled) return;
  const std::size_t size = item.pending_s.size();
  item.pending_s[(item.pending_begin + item.pending_count++) % size] = time_s;
  Expression::Margin known;
  if (item.predicate.look(frame, time_s, known)) judge_ahead(index, known);
}

void Expectations::judge_ahead(std::uint16_t index, Expression::Margin margin) {
  Item& item = items_[index];
  const double at_s = item.pending_s[item.pending_begin];
  item.pending_begin = (item.pending_begin + 1) % item.pending_s.size();
  --item.pending_count;
  if (item.form == ExpectationSource::Form::eventually) {
    if (item.within_s >= 0.0 && at_s > item.opened_s + item.within_s + instant_s) {
      item.settled = true;
      conclude(index, last_s_);
    } else {
      note(item, margin, at_s);
    }
    return;
  }
  if (item.form == ExpectationSource::Form::never) margin.value = -margin.value;
  item.settled = item.form == ExpectationSource::Form::at_opening;
  ++item.ticks;
  take(index, margin, at_s, at_s);
}

// The window has shut: what is pending is judged over what there is.
void Expectations::conclude_ahead(std::uint16_t index) {
  Item& item = items_[index];
  Expression::Margin known;
  while (!item.settled && item.pending_count > 0 && item.predicate.conclude(known)) judge_ahead(index, known);
  if (item.form == ExpectationSource::Form::eventually && item.noted) conclude(index, last_s_);
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
  for (std::uint16_t i = 0; i < items_.size(); ++i) {
    Item& item = items_[i];
    if (item.open && item.predicate.is_temporal()) conclude_ahead(i);
    else if (item.open && item.form == ExpectationSource::Form::eventually && !item.settled) conclude(i, last_s_);
    item.open = false;
    item.ended = true;
  }
  awake_.clear();
}

std::vector<ExpectationResult> Expectations::results() const {
  std::vector<ExpectationResult> results;
  for (std::size_t i = 0; i < items_.size(); ++i) {
    const Item& item = items_[i];
    ExpectationResult result;
    result.name = sources_[i].name;
    result.statement = statement_of(sources_[i]);
    result.judged = item.conclusive();
    result.pass = result.judged && item.failed_s < 0.0;
    result.ticks = item.ticks;
    result.judged_s = static_cast<double>(item.ticks) * period_s_;
    result.failed_s = item.failed_s;
    result.took_s = item.took_s;
    if (result.judged) {
      result.margin = printed_margin(item.tightest.value);
      const bool code = item.tightest.value == infinite || item.tightest.value == -infinite;
      result.unit = code ? "1" : item.predicate.unit_name(item.tightest.decided);
      const double limit = item.predicate.limit(item.tightest.decided);
      const bool bounded = limit > 0.0 && item.form != ExpectationSource::Form::eventually;
      result.scale = code ? 0.0 : bounded ? std::min(limit, item.widest) : std::max(limit, item.widest);
      result.at_s = item.tightest_s;
    }
    results.push_back(std::move(result));
  }
  return results;
}

bool Expectations::pass() const {
  return !items_.empty() &&
         std::all_of(items_.begin(), items_.end(), [](const Item& item) { return item.conclusive() && item.failed_s < 0.0; });
}

}  // namespace sim
