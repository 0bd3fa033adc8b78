// What the pages of Saggar have in common, besides html_text (junit.h): JSON, numbers, the head with the styles and the scripts at the end.
#pragma once

#include <string>
#include <string_view>

#include "sim/junit.h"

namespace sim {

std::string json_text(std::string_view text);           // a string of JSON that may stand inside a script element
void add_number(std::string& text, double value, int decimals);   // fixed decimals; `null` for what is not finite
std::string two_lines(std::string_view value);          // as HTML: what stands in parentheses, the recorded value, below the rest
std::string clock_text(double time_s, int decimals);    // h:mm:ss

// Up to <main>, which gets the class; the page may fetch nothing. css: styles of its own behind those of every page.
std::string page_begin(std::string_view title_html, std::string_view css = {}, std::string_view main_class = {});
std::string page_end();                                 // library and page scripts, and the end; </main> stands before it

}  // namespace sim
