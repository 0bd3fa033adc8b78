// saggar gases: the table of conversion factors of thermal mass-flow controllers, as the plant computes them.
#include <memory>

#include <fmt/format.h>

#include "plant/meter_gas.h"
#include "tools/verbs.h"

namespace tools {
namespace {

const char* class_of(const plant::MeterGas& gas) { return gas.molecule ? plant::name_of(*gas.molecule) : "mixture"; }

bool in_plant(const plant::MeterGas& gas) { return plant::plant_species(gas).has_value(); }

void print_table() {
  fmt::print(
      "Conversion factors of thermal mass-flow controllers relative to nitrogen: s cp(N2) / cp at 0 degC, of a mixture\n"
      "cp(N2) sum(a s) / sum(a cp). Published lists differ by 5 % for mono- and diatomic gases, by 10 % for others: a factor "
      "of\n"
      "the instrument's own maker goes before these. A furnace file gives it as `meter.conversion`.\n\n");
  fmt::print("{:<36}{:<18}{:<12}{:>6}{:>16}{:>9}{:>7}  {}\n", "gas", "formula", "class", "s", "cp [J/(mol K)]", "factor",
             "plant", "heat capacity");
  for (const plant::MeterGas& gas : plant::meter_gases())
    fmt::print("{:<36}{:<18}{:<12}{:>6.3f}{:>16.3f}{:>9.4f}{:>7}  {}\n", gas.name, gas.formula, class_of(gas), gas.structure,
               gas.cp_j_mol_k, gas.factor, in_plant(gas) ? "yes" : "", plant::name_of(gas.source));
  fmt::print("\nplant: the plant's own gas is made of these species.\n");
}

void print_json() {
  fmt::print("{{\"schema\": 1, \"relative_to\": \"N2\", \"heat_capacity_at_degc\": 0, \"gases\": [");
  const char* before = "\n";
  for (const plant::MeterGas& gas : plant::meter_gases()) {
    fmt::print("{}  {{\"name\": \"{}\", \"formula\": \"{}\", ", before, gas.name, gas.formula);
    if (gas.molecule) fmt::print("\"class\": \"{}\", ", plant::name_of(*gas.molecule));
    fmt::print("\"s\": {:.6g}, \"cp_j_mol_k\": {:.6g}, \"factor\": {:.6g}, \"plant\": {}, \"source\": \"{}\"}}", gas.structure,
               gas.cp_j_mol_k, gas.factor, in_plant(gas), plant::name_of(gas.source));
    before = ",\n";
  }
  fmt::print("\n]}}\n");
}

}  // namespace

void add_gases(CLI::App& app, Invocation& invocation) {
  auto json = std::make_shared<bool>(false);
  CLI::App* verb = app.add_subcommand("gases", "conversion factors of mass-flow controllers for gases and mixtures");
  verb->add_flag("--json", *json, "as JSON");
  verb->callback([json, &invocation] {
    invocation.chosen = [json] {
      if (*json)
        print_json();
      else
        print_table();
      return static_cast<int>(all_hold);
    };
  });
}

}  // namespace tools
