#include "sim/page.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "sim/fixed_decimal.h"
#include "sim/report_page.h"

namespace sim {

std::string json_text(std::string_view text) {
  std::string safe = "\"";
  for (const char c : xml_text(text)) {
    if (c == '"' || c == '\\') safe += '\\';
    if (c == '<') safe += "\\u003c";
    else if (static_cast<unsigned char>(c) < 0x20) safe += ' ';
    else safe += c;
  }
  return safe + "\"";
}

void add_number(std::string& text, double value, int decimals) {
  char number[fixed_decimal_bytes];
  const char* end = write_fixed(number, value, decimals);
  if (end == number) text += "null";
  else text.append(number, static_cast<std::size_t>(end - number));
}

std::string two_lines(std::string_view value) {
  const std::size_t at = value.find(" (");
  if (at == std::string_view::npos) return html_text(value);
  return html_text(value.substr(0, at)) + "<div class=\"soft\">" + html_text(value.substr(at + 1)) + "</div>";
}

std::string clock_text(double time_s, int decimals) {
  const double whole = std::floor(time_s + 1e-6);
  const auto seconds = static_cast<long long>(whole);
  std::string text = fmt::format("{}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60);
  if (decimals == 0) return text;
  std::string fraction;
  add_number(fraction, std::max(0.0, time_s - whole), decimals);
  return text + fraction.substr(1);
}

std::string page_begin(std::string_view title_html, std::string_view css, std::string_view main_class) {
  std::string page =
      "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; script-src "
      "'unsafe-inline'\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>";
  page += title_html;
  page += "</title>\n<style>\n";
  page += library_css;
  page += page_css;
  page += css;
  page += "</style>\n</head>\n<body>\n<main";
  if (!main_class.empty()) page += " class=\"" + std::string(main_class) + "\"";
  return page + ">\n";
}

std::string page_end() {
  std::string page;
  for (const std::string_view script : {library_js, synchronizer_js, page_js}) {
    page += "<script>\n";
    page += script;
    page += "</script>\n";
  }
  return page + "</body>\n</html>\n";
}

}  // namespace sim
