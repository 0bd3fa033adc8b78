// Scripts and styles of the report page, embedded at build time (embed_page.cmake).
#pragma once

#include <string_view>

namespace sim {

// dygraphs, MIT licence, as Debian's libjs-dygraphs has it: draws the charts
extern const std::string_view library_css, library_js, synchronizer_js;
// the page's own: report_page.css, report_page.js
extern const std::string_view page_css, page_js;
// what the operating sheet adds: operating_sheet.css
extern const std::string_view sheet_css;

}  // namespace sim
