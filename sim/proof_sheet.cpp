// The sheet of a proof test, to print and sign.
#include <fmt/format.h>

#include "sim/cautions.h"
#include "sim/page.h"
#include "sim/proof_test.h"

namespace sim {

namespace {

constexpr std::string_view css =
    "table{border-collapse:collapse;width:100%;font-size:13px}th,td{border:1px solid #888;padding:3px 5px;text-align:left;"
    "vertical-align:top}td.n{text-align:right;white-space:nowrap}tr.fail td{background:#fdd;font-weight:bold}.sign td{height:34px}"
    "@media print{tr{break-inside:avoid}}";

std::string quantity(double value, const std::string& unit) { return fmt::format("{:.6g} {}", value, unit); }

std::string row_html(const ProofResult& r) {
  const bool tested = r.verdict == ProofResult::Verdict::pass || r.verdict == ProofResult::Verdict::fail;
  const bool limit = tested && !r.unit.empty();
  const auto limit_text = [&](double value) { return limit ? html_text(quantity(value, r.unit)) : std::string(); };
  const auto delay_text = [&](double seconds) { return tested ? fmt::format("{:.1f} s", seconds) : std::string(); };
  return fmt::format("<tr class=\"{}\"><td class=n>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td>"
                     "<td class=n>{}</td><td class=n>{}</td><td class=n>{}</td><td class=n>{}</td><td>{}{}{}</td></tr>\n",
                     r.verdict == ProofResult::Verdict::fail ? "fail" : "", r.row, html_text(r.name), html_text(r.cause),
                     html_text(r.effect), html_text(r.stimulus), limit_text(r.set), limit_text(r.observed), delay_text(r.set_delay_s),
                     delay_text(r.delay_s), verdict_text(r.verdict), r.reason.empty() ? "" : ": ", html_text(r.reason));
}

}  // namespace

std::string proof_sheet(const std::vector<ProofResult>& results, const std::string& title, const std::string& core) {
  std::string page = page_begin("Proof test: " + html_text(title), css);
  page += fmt::format("<h1>Proof test of the interlocks: {}</h1>\n<p>Core: {}. Every row of the cause-and-effect table, provoked by "
                      "signals injected at the terminals of the I/O station, without a furnace.</p>\n", html_text(title), html_text(core));
  page += "<ul>\n";
  for (const std::string_view caution : cautions) page += fmt::format("<li>{}</li>\n", html_text(std::string(caution)));
  page += "<li>This shows what the logic of the controller does with a signal. Sensors, wiring, contactor, valves and the independent "
          "limiter are not in it: they are tested at the furnace.</li>\n</ul>\n";
  page += "<table><thead><tr><th>Row</th><th>Name</th><th>Cause</th><th>Effect</th><th>Done at the terminals</th><th>Set trip</th>"
          "<th>Observed trip</th><th>Delay set</th><th>Delay observed</th><th>Result</th></tr></thead><tbody>\n";
  for (const ProofResult& result : results) page += row_html(result);
  page += "</tbody></table>\n<h2>Signed</h2>\n<table class=sign><tr><th>Furnace, controller, serial numbers</th><td></td></tr>"
          "<tr><th>Tested by, date</th><td></td></tr><tr><th>Witnessed by, date</th><td></td></tr>"
          "<tr><th>Due again</th><td></td></tr><tr><th>Remarks</th><td></td></tr></table>\n</main>\n";
  return page + "</body>\n</html>\n";   // no chart, so none of the scripts of page_end
}

}  // namespace sim
