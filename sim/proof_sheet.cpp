// The sheet of a proof test, to print and sign.
#include <fmt/format.h>

#include "sim/cautions.h"
#include "sim/page.h"
#include "sim/proof_test.h"

namespace sim {

namespace {

// On paper lying, so that cause and stimulus stand beside each other on few lines; white and black whatever the reader's screen is.
constexpr std::string_view css =
    "main{max-width:90rem}table{width:100%;font-size:13px}th,td{border:1px solid var(--rule);padding:3px 6px}"
    "td.n{text-align:right;white-space:nowrap}th.n{text-align:right}.name{width:13%}.cause{width:20%}.effect{width:12%}.done{width:19%}"
    ".result{width:14%}.alarms .cause{width:16%}.alarms .effect{width:6%}.alarms .done{width:17%}.seen{width:12%}"
    "tr.fail td{background:var(--band);border-color:var(--bad);font-weight:600}tr.out td{color:var(--soft)}"
    "h2{break-after:avoid}.sign{break-inside:avoid}.sign th{width:18rem;vertical-align:middle}.sign td{height:2.6rem}"
    "@page{size:A4 landscape;margin:10mm 12mm 13mm;@bottom-right{content:\"side \" counter(page) \" of \" counter(pages);"
    "font:7pt sans-serif}}"
    "@media print{:root{color-scheme:light;--paper:#fff;--ink:#000;--soft:#333;--rule:#777;--band:#eee;--good:#000;--bad:#a00;--mark:#a00}"
    "body{font-size:10px;line-height:1.3}h1{font-size:16px}h2{font-size:12px;margin:8px 0 4px}table,th{font-size:9.5px;line-height:1.25}"
    "th,td{padding:1px 4px}main p{max-width:none}.outcome{padding:2px 8px;margin:2px 0;border-width:1px}"
    ".caution{margin:5px 0 8px;padding:0 8px}thead{display:table-header-group}}";

std::string quantity(double value, const std::string& unit) { return fmt::format("{:.6g} {}", value, unit); }

// told: with a cell for what was told beside what was expected.
std::string row_html(const ProofResult& r, bool told) {
  const bool tested = r.verdict == ProofResult::Verdict::pass || r.verdict == ProofResult::Verdict::fail;
  const bool limit = tested && !r.unit.empty();
  const char* const kind = r.verdict == ProofResult::Verdict::fail ? "fail" : tested ? "" : "out";
  using Seen = std::optional<double>;
  const auto limit_text = [&](const Seen& value) { return limit ? value ? html_text(quantity(*value, r.unit)) : "none" : std::string(); };
  const auto delay_text = [&](const Seen& value) { return tested ? value ? fmt::format("{:.1f} s", *value) : "none" : std::string(); };
  const std::string names = !tested ? "" : r.alarms.empty() ? "none" : html_text(r.alarms);
  const std::string told_text = told ? "<td>" + names + "</td>" : "";
  return fmt::format("<tr class=\"{}\"><td class=n>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td>"
                     "<td class=n>{}</td><td class=n>{}</td><td class=n>{}</td><td class=n>{}</td>{}<td>{}{}{}</td></tr>\n",
                     kind, r.number, html_text(proof_name(r)), html_text(r.cause),
                     html_text(r.effect), html_text(r.stimulus), limit_text(r.set), limit_text(r.observed), delay_text(r.set_delay_s),
                     delay_text(r.delay_s), told_text, verdict_text(r.verdict), r.reason.empty() ? "" : ": ", html_text(r.reason));
}

}  // namespace

std::string proof_sheet(const Proof& proof, const std::string& title, const std::string& core) {
  std::string page = page_begin("Proof test: " + html_text(title), css);
  page += fmt::format("<h1>Proof test of interlocks and alarms: {}</h1>\n<p>Core: {}. Every row of the cause-and-effect table "
                      "and every alarm, provoked by signals injected at the terminals of the I/O station, without a furnace.</p>\n",
                      html_text(title), html_text(core));
  const bool good = proof_passed(proof);
  page += fmt::format("<p class=\"outcome {}\">{}: {}; {}</p>\n", good ? "pass" : "fail",
                      good ? "No row and no alarm failed" : "Not passed", html_text(proof_count(proof.rows, "rows")),
                      html_text(proof_count(proof.alarms, "alarms")));
  page += "<div class=\"caution\"><ul>\n";
  for (const std::string_view caution : cautions) page += fmt::format("<li>{}</li>\n", html_text(std::string(caution)));
  page += "<li>This shows what the logic of the controller does with a signal. Sensors, wiring, contactor, valves and the independent "
          "limiter are not in it: they are tested at the furnace.</li>\n</ul></div>\n";
  page += "<h2>Interlocks</h2>\n<table><thead><tr><th class=n>Row</th><th class=name>Name</th><th class=cause>Cause</th>"
          "<th class=effect>Effect</th><th class=done>Done at the terminals</th><th class=n>Set trip</th>"
          "<th class=n>Observed trip</th><th class=n>Delay set</th>"
          "<th class=n>Delay observed</th><th class=result>Result</th></tr></thead><tbody>\n";
  for (const ProofResult& result : proof.rows) page += row_html(result, false);
  page += "</tbody></table>\n<h2>Alarms</h2>\n<table class=alarms><thead><tr><th class=n>No.</th><th class=name>Alarm expected</th>"
          "<th class=cause>Condition</th><th class=effect>Priority</th><th class=done>Done at the terminals</th><th class=n>Set limit</th>"
          "<th class=n>Observed limit</th><th class=n>Delay set</th><th class=n>Delay observed</th><th class=seen>Alarms observed</th>"
          "<th class=result>Result</th></tr></thead><tbody>\n";
  for (const ProofResult& result : proof.alarms) page += row_html(result, true);
  page += "</tbody></table>\n<section class=sign><h2>Signed</h2>\n<table><tr><th>Furnace, controller, serial numbers</th><td></td></tr>"
          "<tr><th>Tested by, date</th><td></td></tr><tr><th>Witnessed by, date</th><td></td></tr>"
          "<tr><th>Due again</th><td></td></tr><tr><th>Remarks</th><td></td></tr></table></section>\n</main>\n";
  return page + "</body>\n</html>\n";   // no chart, so none of the scripts of page_end
}

}  // namespace sim
