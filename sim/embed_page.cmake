# Makes OUTPUT, a C++ file that holds the report page's scripts and styles as text. Run at build time.
#   PAGE_CSS PAGE_JS   the page's own files
#   SHEET_CSS          what the operating sheet adds
#   LIBRARY            folder of dygraphs (dygraph.min.js, dygraph.min.css, extras/synchronizer.js)
set(text "// Made by embed_page.cmake.\n#include \"sim/report_page.h\"\n\nnamespace sim {\n\n")
foreach(part IN ITEMS "library_css;${LIBRARY}/dygraph.min.css" "library_js;${LIBRARY}/dygraph.min.js"
                      "synchronizer_js;${LIBRARY}/extras/synchronizer.js" "page_css;${PAGE_CSS}" "page_js;${PAGE_JS}"
                      "sheet_css;${SHEET_CSS}")
  list(GET part 0 name)
  list(GET part 1 file)
  file(READ "${file}" content)
  # a source map would only be looked for and not be found
  string(REGEX REPLACE "(//|/\\*)[#@] sourceMappingURL=[^\n]*" "" content "${content}")
  string(APPEND text "const std::string_view ${name} = R\"page(${content})page\";\n\n")
endforeach()
string(APPEND text "}  // namespace sim\n")
file(WRITE "${OUTPUT}" "${text}")
