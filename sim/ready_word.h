// Ready words of the trade for what is expected of a run, each short for a statement in the language of expression.h:
//
//   - name: heat follows its set point
//     tracks: {signal: heat.1.pv, target: heat.1.sp, within: 10 K}        # always abs(heat.1.pv - heat.1.sp) <= 10 K
//     during_segment: soak
//
// A word stands where always, never or eventually would, beside the same window. What it is short for is shown wherever the
// expectation is: report, check, summary.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "sim/scenario.h"
#include "sim/vocabulary.h"
#include "sim/yaml_tree.h"

namespace sim {

// value: a quantity, signals in it; amount: a constant with its unit; time: a constant time; number: whole, from 0 up; truth: a condition.
enum class ReadyWordTakes { value, amount, time, number, truth };

struct ReadyWordParameter {
  std::string_view key;
  ReadyWordTakes takes;
  std::string_view meaning;
};

// One row of the table; {key} stands for the argument. A word that can be said in two ways has two rows.
struct ReadyWord {
  std::string_view word;
  std::vector<ReadyWordParameter> parameters;   // all must be given
  std::string_view meaning;
  std::string_view sentence;                    // for people
  ExpectationSource::Form form;
  std::string_view predicate;
  std::string_view within, after, until;        // empty: the word leaves these to the file
  std::string_view due;                         // time a window must be open before there is something to judge
};

std::span<const ReadyWord> ready_words();
bool is_ready_word(std::string_view word);

// The statement it is short for, in the form that is judged; the same expectation where it has no word. Its arguments were checked.
ExpectationSource expanded(const ExpectationSource& expectation);
std::vector<ExpectationSource> expanded(const std::vector<ExpectationSource>& expectations);
// The word in plain words: "heat.1.pv stays within 10 K of heat.1.sp"; empty where it has no word.
std::string word_sentence(const ExpectationSource& expectation);

// item: the expectation as written. Throws InputError at the argument that is wrong or missing.
void check_ready_word(const YamlNode& item, const ExpectationSource& expectation, const Vocabulary& vocabulary);

}  // namespace sim
