#include "client/cli_parts.h"
#include "client/option_values.h"

namespace plumblane::client {

void AddErase(CLI::App& app, Invocation& to) {
  EraseOptions& options = to.erase;
  CLI::App& erase = AddCommand(app, to, "erase", Verb::kErase,
                               "Take orders or a supplier out for good, after asking");
  const auto take = [&options](const std::vector<std::string>& ids) {
    for (const std::string& id : ids) {
      options.orders.push_back(Checked("--order", id, ParseId(id)));
    }
    return true;
  };
  CLI::Option* orders = erase.add_option_function<std::vector<std::string>>(
      "--order", take, "The orders, one or more");
  orders->type_name("ORDER");
  AddParsed(erase, "--shop", "SHOP", "Whose orders they are", ParseId, options.shop);
  AddParsed(erase, "--supplier", "ID", "A supplier, with its orders and all else that names it",
            ParseId, options.supplier)
      ->excludes(orders);
  erase.add_flag("--yes", options.yes, "Do it without asking");
}

}  // namespace plumblane::client
