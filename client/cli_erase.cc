#include "client/cli_parts.h"
#include "client/option_values.h"

namespace plumblane::client {

void AddErase(CLI::App& app, Invocation& to) {
  EraseOptions& options = to.erase;
  CLI::App& erase = AddCommand(app, to, "erase", Verb::kErase,
                               "Take orders out for good, with what they count, after asking");
  const auto take = [&options](const std::vector<std::string>& ids) {
    for (const std::string& id : ids) {
      options.orders.push_back(Checked("--order", id, ParseId(id)));
    }
    return true;
  };
  erase.add_option_function<std::vector<std::string>>("--order", take, "The orders, one or more")
      ->type_name("ORDER")
      ->required();
  AddParsed(erase, "--shop", "SHOP", "Whose orders they are", ParseId, options.shop);
  erase.add_flag("--yes", options.yes, "Do it without asking");
}

}  // namespace plumblane::client
