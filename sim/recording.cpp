#include "sim/recording.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "sim/action_verdicts.h"
#include "sim/background.h"
#include "sim/expectations.h"
#include "sim/input_error.h"
#include "sim/junit.h"
#include "sim/mistake_file.h"
#include "sim/moment_clip.h"
#include "sim/report.h"
#include "sim/trace.h"
#include "sim/word_batch.h"

namespace sim {

namespace {

constexpr double instant_s = 1e-6;   // instants closer than this are one

// Without the last binary digits of k * period.
double tidy_s(double time_s) { return std::round(time_s * 1e6) / 1e6; }

// Follows a number that changes now and then, and keeps the stretches between.
class StretchLog {
 public:
  void tick(int number, double time_s) {
    if (number == number_) return;
    shut(time_s);
    number_ = number;
    from_s_ = time_s;
  }
  void visit(Archive& archive) { archive(raw_, number_, from_s_); }
  // Names by number; what has none is left out.
  template <class Name>
  std::vector<Stretch> finish(double end_s, Name name) {
    shut(end_s);
    std::vector<Stretch> named;
    for (const Raw& raw : raw_) {
      std::string text = name(raw.number);
      if (!text.empty()) named.push_back({std::move(text), tidy_s(raw.from_s), tidy_s(raw.to_s)});
    }
    return named;
  }

 private:
  struct Raw {
    int number;
    double from_s, to_s;
  };
  void shut(double time_s) {
    if (number_ >= 0 && raw_.size() < stretches_max) raw_.push_back({number_, from_s_, time_s});
    number_ = -1;
  }
  static constexpr std::size_t stretches_max = 10000;   // memory stays bounded whatever a programme repeats
  std::vector<Raw> raw_;
  int number_ = -1;
  double from_s_ = 0.0;
};

// Ticks as they came, not judged yet.
struct TickBatch {
  static constexpr std::size_t ticks_max = 1024;   // waking the other thread costs 20 us
  struct Tick {
    double time_s;
    int segment;
    std::size_t events, outcomes;     // of those below, up to here
  };
  std::vector<Tick> ticks;
  WordBatch<double> frames;
  std::vector<Event> events;
  std::vector<ActionOutcome> outcomes;

  void add(double time_s, int segment, std::span<const double> frame, std::span<const Event> happened,
           std::span<const ActionOutcome> told) {
    frames.add(frame.data(), frame.size_bytes());
    events.insert(events.end(), happened.begin(), happened.end());
    outcomes.insert(outcomes.end(), told.begin(), told.end());
    ticks.push_back({time_s, segment, events.size(), outcomes.size()});
  }
  void clear() {
    ticks.clear();
    frames.clear();
    events.clear();
    outcomes.clear();
  }
};

}  // namespace

struct Recorder::Impl {
  Impl(const Scenario& source, const SignalTable& table_, const std::filesystem::path& into, double period, std::string kind)
      : table(table_), folder((make_folder(into), into)), expectations(source.expectations, table, with_others(source).names, period),
        actions(with_mistakes(source).actions),
        moments(expectations, table, period), trace(folder, table, period), event_file(folder, period), totals(table, period),
        every_s(source.record.every_s), period_s(period), segment_names(with_others(source).names),
        phase_slot(table.find("atmosphere.phase")) {
    data.charts = ChartData(table, every_s);
    name_run(source);
    data.summary.saggar = SAGGAR_VERSION;
    data.summary.controller = std::move(kind);
    data.summary.seed = source.seed;
    data.summary.record_every_s = every_s;
    data.summary.display = source.display;
    latest.resize(static_cast<std::size_t>(table.size()));
  }

  void name_run(const Scenario& source) {
    data.resolved_yaml = source.resolved_yaml;
    data.summary.scenario = source.name;
    data.summary.title = source.title;
    data.summary.why = source.why;
  }

  void note(const Event& event) {
    event_file.add(event);
    ++data.event_count;
    if (data.events.size() < report_events_max) data.events.push_back({tidy_s(event.time_s), event.source, event.kind, event.text});
  }

  void row(double time_s, std::span<const double> frame) {
    data.charts.add(tidy_s(time_s), trace.add(time_s, frame));
    last_row_s = time_s;
  }

  struct Files {                      // how long they were
    std::uint64_t trace = 0, events = 0;
  };
  void visit(Archive& archive, Files& files);
  void take_trace(const std::filesystem::path& path, std::uint64_t bytes);
  void take_events(const std::filesystem::path& path, std::uint64_t bytes);
  void hand_over();
  void settle();                      // every tick that came is recorded
  void record(const TickBatch& batch);
  void record(double time_s, int segment, std::span<const double> frame, std::span<const Event> happened,
              std::span<const ActionOutcome> told);
  void judge();
  std::string phase_name(int number) const;

  SignalTable table;
  std::filesystem::path folder;
  Expectations expectations;
  ActionVerdicts actions;
  bool pass() const { return (expectations.size() == 0 ? actions.size() > 0 : expectations.pass()) && actions.pass(); }
  MomentRecorder moments;
  TraceWriter trace;
  EventWriter event_file;
  Totals totals;
  ReportData data;
  StretchLog segments, phases;
  double every_s, period_s;
  std::vector<std::string> segment_names;
  int phase_slot;
  std::uint64_t ticks = 0;
  std::uint64_t rows_due = 0;         // rows of record.every written; the next stands at rows_due * every_s
  double last_s = 0.0, last_row_s = -1.0;
  std::vector<double> latest;
  std::array<TickBatch, Background::undone_max + 1> batches;
  std::size_t batch = 0;              // the one being filled; all else belongs to the other thread, or to this one after settle()
  Background background;              // last: it uses the others
};

Recorder::Recorder(const Scenario& scenario, const SignalTable& table, const std::filesystem::path& folder, double period_s,
                   std::string controller)
    : impl_(std::make_unique<Impl>(scenario, table, folder, period_s, std::move(controller))) {}

Recorder::~Recorder() = default;

void Recorder::Impl::visit(Archive& archive, Files& files) {
  archive.part("judged");
  archive(expectations, actions, moments);
  archive.part("recorded");
  archive(totals, segments, phases, ticks, rows_due, last_s, last_row_s, latest, data.event_count, files);
}

void Recorder::save(Archive& archive) {
  impl_->settle();
  Impl::Files files{impl_->trace.file().bytes(), impl_->event_file.file().bytes()};
  impl_->visit(archive, files);
}

// The charts are made of the rows of the trace, as when a report is made again.
void Recorder::Impl::take_trace(const std::filesystem::path& path, std::uint64_t bytes) {
  TraceReader past(path, bytes);
  const auto refuse = [&](bool fits) {
    if (!fits) throw InputError({path.string(), 0, 0}, "another trace", "the one that the run's snapshots were taken beside");
  };
  refuse(past.head().size() == trace.file().bytes() && past.head().size() + past.rows().size() == bytes);
  std::vector<double> row(past.signals().size());
  refuse(row.size() == static_cast<std::size_t>(table.size()));
  double time_s = 0.0;
  while (past.next(time_s, row)) data.charts.add(time_s, row);
  refuse(past.rows().empty() || time_s == tidy_s(last_row_s));
  trace.file().write(past.rows());
}

void Recorder::Impl::take_events(const std::filesystem::path& path, std::uint64_t bytes) {
  const std::uint64_t count = data.event_count;
  read_events(path, data, bytes);
  if (data.event_count != count) throw InputError({path.string(), 0, 0}, "other events", "those of the run that is forked");
  event_file.take(path, bytes);
}

void Recorder::restore(Archive& archive, const std::filesystem::path& folder) {
  impl_->settle();
  Impl::Files files;
  impl_->visit(archive, files);
  impl_->take_trace(folder / "trace.csv", files.trace);
  impl_->take_events(folder / "events.csv", files.events);
}

void Recorder::fork(const Scenario& scenario, const ForkRecord& record) {
  Impl& run = *impl_;
  run.settle();
  run.name_run(scenario);
  run.data.summary.fork = record;
  run.data.resolved_yaml = "# forked from " + record.run + " at " + std::to_string(record.at_s) + " s\n" + run.data.resolved_yaml;
  run.segment_names = with_others(scenario).names;
  Expectations expectations(scenario.expectations, run.table, run.segment_names, run.period_s);
  ActionVerdicts actions(with_mistakes(scenario).actions);
  actions.take_over(run.actions);
  const std::vector<std::size_t> origins = expectations.take_over(run.expectations, tidy_s(static_cast<double>(run.ticks) * run.period_s));
  MomentRecorder moments(expectations, run.table, run.period_s);
  moments.take_over(run.moments, origins);
  run.expectations = std::move(expectations);
  run.actions = std::move(actions);
  run.moments = std::move(moments);
}

void Recorder::on_tick(double time_s, int segment, std::span<const double> frame, std::span<const Event> events,
                       std::span<const ActionOutcome> outcomes) {
  TickBatch& batch = impl_->batches[impl_->batch];
  batch.add(time_s, segment, frame, events, outcomes);
  if (batch.ticks.size() >= TickBatch::ticks_max) impl_->hand_over();
}

void Recorder::Impl::hand_over() {
  const std::size_t full = std::exchange(batch, (batch + 1) % batches.size());
  batches[full].frames.hand_over();
  background.post([this, full] { record(batches[full]); });
  batches[batch].clear();
}

void Recorder::Impl::settle() {
  if (!batches[batch].ticks.empty()) hand_over();
  background.drain();
}

void Recorder::Impl::record(const TickBatch& ticks_come) {
  const std::size_t width = latest.size();
  std::size_t events_begin = 0, outcomes_begin = 0, at = 0;
  for (const TickBatch::Tick& tick : ticks_come.ticks) {
    record(tick.time_s, tick.segment, ticks_come.frames.words().subspan(at, width),
           std::span(ticks_come.events).subspan(events_begin, tick.events - events_begin),
           std::span(ticks_come.outcomes).subspan(outcomes_begin, tick.outcomes - outcomes_begin));
    at += width;
    events_begin = tick.events;
    outcomes_begin = tick.outcomes;
  }
}

void Recorder::Impl::record(double time_s, int segment, std::span<const double> frame, std::span<const Event> happened,
                            std::span<const ActionOutcome> told) {
  ++ticks;
  last_s = time_s;
  expectations.tick(frame, time_s, segment, happened);
  moments.tick(frame, expectations);
  totals.tick(frame);
  segments.tick(segment, time_s);
  if (phase_slot >= 0) phases.tick(static_cast<int>(frame[static_cast<std::size_t>(phase_slot)]), time_s);

  const bool due = time_s + instant_s >= static_cast<double>(rows_due) * every_s;
  if (due) rows_due = static_cast<std::uint64_t>(std::floor((time_s + instant_s) / every_s)) + 1;
  const std::span<const std::uint16_t> violated = expectations.violated();
  if (due || !happened.empty() || !violated.empty()) row(time_s, frame);
  for (const Event& event : happened) note(event);
  for (std::string& name : actions.add(told, time_s)) note({time_s, "expectation", "violated", std::move(name)});
  for (const std::uint16_t index : violated) note({time_s, "expectation", "violated", expectations.name(index)});
  std::copy(frame.begin(), frame.end(), latest.begin());
}

const std::string& Recorder::resolved_yaml() const { return impl_->data.resolved_yaml; }

std::string Recorder::Impl::phase_name(int number) const {
  const std::span<const std::string_view> names = phase_names();
  return number < static_cast<int>(names.size()) ? std::string(names[static_cast<std::size_t>(number)]) : "";
}

void Recorder::Impl::judge() {
  Summary& summary = data.summary;
  expectations.finish();
  for (const std::uint16_t index : expectations.violated()) note({last_s, "expectation", "violated", expectations.name(index)});
  summary.expectations = expectations.results();
  const std::vector<ExpectationResult>& acted = actions.results();
  summary.expectations.insert(summary.expectations.end(), acted.begin(), acted.end());
  for (ExpectationResult& result : summary.expectations) {
    for (double* time_s : {&result.at_s, &result.failed_s, &result.took_s, &result.judged_s}) *time_s = tidy_s(*time_s);
  }
  data.moments = moments.finish(expectations);
  summary.evaluations = expectations.ticks();
  summary.totals = totals.results();
  summary.ticks = ticks;
  summary.simulated_s = tidy_s(static_cast<double>(ticks) * period_s);
  summary.segments = segments.finish(last_s, [this](int number) {
    const auto index = static_cast<std::size_t>(number);
    return index < segment_names.size() ? segment_names[index] : "segment " + std::to_string(number + 1);
  });
  summary.phases = phases.finish(last_s, [this](int number) { return phase_name(number); });
}

Summary Recorder::finish(const Ending& ending) {
  Impl& run = *impl_;
  run.settle();
  if (run.ticks > 0 && run.last_row_s < run.last_s) run.row(run.last_s, run.latest);   // the last tick, whatever record.every says
  run.judge();
  Summary& summary = run.data.summary;
  summary.broken_by = ending.broken_by;
  summary.verdict = !ending.broken_by.empty() ? "broken" : run.pass() ? "pass" : "fail";
  summary.line = ending.line;
  summary.controller_hash = ending.controller_hash;
  summary.trace_hash = ending.trace_hash;

  ResultFile junit(run.folder, "junit.xml"), resolved(run.folder, "resolved.yaml"), report(run.folder, "report.html");
  ResultFile moments(run.folder, "moments.csv"), result(run.folder, "summary.json");
  ResultFile log(run.folder, "controller_log.csv"), record(run.folder, "run_record.csv");
  log.write(controller_log_csv(ending.history.events));
  record.write(record_csv(ending.history.record));
  junit.write(junit_xml(summary));
  resolved.write(run.data.resolved_yaml);
  run.data.record = record_rows(ending.history.record);
  report.write(report_html(run.data));
  moments.write(moments_csv(run.data.moments));
  run.trace.file().close();
  run.event_file.file().close();
  for (ResultFile* file : {&junit, &resolved, &report, &moments, &log, &record}) file->close();
  summary.wall_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - ending.begin).count();
  result.write(summary_json(summary));
  result.close();
  for (ResultFile* file : {&run.trace.file(), &run.event_file.file(), &junit, &resolved, &report, &moments, &log, &record, &result})
    file->name();
  return summary;
}

}  // namespace sim
