#include "client/cli.h"

#include <absl/strings/str_cat.h>

#include <algorithm>

#include "client/cli_parts.h"
#include "client/help_text.h"
#include "client/option_values.h"
#include "client/text.h"
#include "client/words.h"

namespace plumblane::client {
namespace {

constexpr size_t kMostWithins = 20;
constexpr int kMostOrders = 1'000'000'000;
constexpr int kMostRiskDays = 3650;
constexpr int kMostRetrySeconds = 86'400;

struct Builder {
  CLI::App& app;
  Invocation& to;

  CLI::App& Command(CLI::App& parent, const std::string& name, Verb verb, const std::string& help) {
    return AddCommand(parent, to, name, verb, help);
  }

  void AddGlobal() {
    AddParsed(app, "--server", "ADDRESS", "unix:PATH, HOST:PORT or tls:HOST:PORT; or A,B,C",
              ParseText, to.server)
        ->join(',');
    AddAccess(app, to);
    app.add_flag("--json", to.json, "Print one JSON document");
    app.add_flag("--plain", to.plain, "Tables with tabs, nothing cut, no progress");
    AddParsed(app, "--as-of", "TIME", "Answer as of then; a date is its start, UTC", ParseMoment,
              to.as_of);
    AddParsed(app, "--half-life", "DAYS", "Older orders count half after so many days",
              ParseHalfLife, to.half_life);
    app.set_help_flag("-h,--help", "Print this help");
    app.set_version_flag("--version", "plumblane " + Version(), "Print the version");
  }

  void AddSend() {
    SendOptions& send = to.send;
    CLI::App& sub = Command(app, "send", Verb::kSend, "Feed events from files, or \"-\"");
    CLI::Option* files =
        sub.add_option("FILE", send.files, "Files of events, \"-\" for standard input")
            ->type_name("");
    AddParsed(sub, "--follow", "PATH", "Instead: what comes to a file, or into a directory",
              ParseText, send.follow)
        ->excludes(files);
    AddParsed(sub, "--shop", "SHOP", "Shop of events that name none", ParseId, send.shop);
    AddParsed(sub, "--source", "SOURCE", "Source of events that name none", ParseId, send.source);
    AddParsed(sub, "--complete-through", "TIME",
              "They tell all until then; a date is its start, UTC", ParseMoment,
              send.complete_through);
    sub.add_flag("--history", send.history, "They tell of the past: send no alerts out for it");
    AddParsed(sub, "--promise-days", "DAYS", "Promise of paid events that give none",
              ParseNumber<0, 365>, send.promise_days);
    AddParsed(sub, "--time-zone", "NAME", "For bare dates at unknown destinations", ParseText,
              send.time_zone);
    AddParsed(sub, "--retry-for", "SECONDS", "Try so long to go on when it is away, else 30",
              ParseNumber<0, kMostRetrySeconds>, send.retry_seconds);
    AddParsed(sub, "--format", "FORMAT", "ndjson or csv, where the content does not tell",
              ParseFormat, send.format);
  }

  void AddRecord() {
    CLI::App& sub = Command(app, "record", Verb::kRecord, "Tell one event by hand");
    const auto keep = [&to = to](const std::string& field, const std::string& text) {
      to.record.fields.push_back({field, text, Cell::Kind::kText});
    };
    AddText(sub, "ORDER", "", "The order, or SHOP/ORDER", [keep](const std::string& text) {
      const OrderKey order = Checked("ORDER", text, ParseOrder(text));
      keep("order_id", order.order_id);
      if (!order.shop.empty()) keep("shop", order.shop);
    });
    AddText(sub, "TYPE", "", "What happened: paid, shipped, delivered, ...",
            [keep](const std::string& text) { keep("type", text); });
    AddText(sub, "--lane", "LANE", "Origin, destination, service: VN-DE/express",
            [keep](const std::string& text) {
              const LaneQuery lane = Checked("--lane", text, ParseLaneQuery(text));
              keep("origin", lane.origin);
              keep("destination", lane.destination);
              keep("service", lane.service.value_or(""));
            });
    for (const std::string_view name : EventFields()) {
      const std::string field(name);
      if (field == "order_id" || field == "type") continue;
      std::string option = "--" + field;
      std::replace(option.begin(), option.end(), '_', '-');
      AddText(sub, option, "TEXT", field == "time" ? "When; now if not given" : "As in event files",
              [keep, field](const std::string& text) { keep(field, text); });
    }
    AddParsed(sub, "--time-zone", "NAME", "For bare dates at unknown destinations", ParseText,
              to.record.time_zone);
  }

  CLI::App& AddSuppliers() {
    SuppliersOptions& options = to.suppliers;
    CLI::App& sub = Command(app, "suppliers", Verb::kSuppliers, "How all suppliers do");
    AddParsed(sub, "--lane", "LANE", "Only those that ship on it, and how they do there",
              ParseLaneQuery, options.lane);
    AddParsed(sub, "--tag", "TAG", "Only those whose terms carry this tag", ParseTag, options.tag);
    AddParsed(sub, "--min-orders", "N", "Only those with so many settled orders",
              ParseNumber<1, kMostOrders>, options.min_orders);
    AddParsed(sub, "--sort", "BY", "name, on-time, defect, orders or under-way", ParseSort,
              options.sort);
    sub.add_flag("--risk", options.risk, "Instead: how much depends on whom, as of now");
    AddParsed(sub, "--days", "DAYS", "Risk by the orders of so many days, else 90",
              ParseNumber<1, kMostRiskDays>, options.days);
    return sub;
  }

  void AddScores() {
    CLI::App& suppliers = AddSuppliers();
    CLI::App& supplier = Command(app, "supplier", Verb::kSupplier, "One supplier, lane by lane");
    AddParsed(supplier, "SUPPLIER", "", "Its id", ParseId, to.supplier);
    CLI::App& lanes = Command(app, "lanes", Verb::kLanes, "How all lanes do");
    CLI::App& lane = Command(app, "lane", Verb::kLane, "One lane, supplier by supplier");
    AddParsed(lane, "LANE", "", "VN-DE, VN-DE/express, or VN-DE/- (no service)", ParseLaneQuery,
              to.lane);
    for (CLI::App* sub : {&supplier, &lane}) {
      AddText(*sub, "--within", "DAYS", "Share that arrives within so many days; repeatable",
              [&to = to](const std::string& text) {
                to.within_days.push_back(Checked("--within", text, ParseWithin(text)));
              })
          ->trigger_on_parse();
    }
    for (CLI::App* sub : {&suppliers, &supplier, &lanes, &lane}) {
      sub->add_flag("--average", to.average, "The average of the past instead of the rate now");
    }
    for (CLI::App* sub : {&supplier, &lane}) {
      sub->add_flag("--explain", to.explain, "Show what the figures rest on");
    }
  }

  void AddBacktest() {
    BacktestOptions& backtest = to.backtest;
    CLI::App& sub = Command(app, "backtest", Verb::kBacktest,
                            "Which half-life would have foretold late orders best");
    AddText(sub, "--half-life", "DAYS", "A half-life to try; give it once for each",
            [&backtest](const std::string& text) {
              backtest.half_lives.push_back(Checked("--half-life", text, ParseHalfLife(text)));
            })
        ->trigger_on_parse();
    AddParsed(sub, "--days-ahead", "DAYS", "From placing an order to its promised day",
              ParseNumber<0, 365>, backtest.days_ahead);
    AddParsed(sub, "--first-days", "DAYS", "Learn from so many days before forecasting",
              ParseNumber<1, 3650>, backtest.first_days);
  }

  void AddOrder() {
    CLI::App& sub = Command(app, "order", Verb::kOrder, "The story of one order");
    AddParsed(sub, "ORDER", "", "The order, or SHOP/ORDER", ParseOrder, to.order);
    AddParsed(sub, "--shop", "SHOP", "Whose order it is", ParseId, to.order.shop);
    Command(app, "status", Verb::kStatus, "How the daemon and its feeds are");
  }

  void AddExcuse() {
    CLI::App* group = app.add_subcommand("excuse", "Forgive what was no fault of the supplier");
    group->fallthrough()->require_subcommand(1);
    AddExcuseAdd(*group);
    CLI::App& load =
        Command(*group, "load", Verb::kExcuseLoad, "Forgive all that a CSV file lists");
    AddParsed(load, "FILE", "", "The file", ParseText, to.excuse.subject);
    Command(*group, "list", Verb::kExcuseList, "What is forgiven");
    CLI::App& withdraw = Command(*group, "withdraw", Verb::kExcuseWithdraw, "Take an excuse back");
    AddParsed(withdraw, "EXCUSE", "", "Its id, as the list shows it", ParseText, to.excuse.subject);
  }

  void AddExcuseAdd(CLI::App& group) {
    ExcuseOptions& excuse = to.excuse;
    CLI::App& add = Command(group, "add", Verb::kExcuseAdd, "Forgive a lane's days, or one order");
    CLI::Option* lane =
        AddParsed(add, "--lane", "LANE", "All orders on a lane ...", ParseLaneQuery, excuse.lane);
    CLI::Option* due = AddParsed(add, "--due", "FROM..TO", "... that were due on these days",
                                 ParseDays, excuse.due);
    CLI::Option* order =
        AddParsed(add, "--order", "ORDER", "One order, or SHOP/ORDER", ParseOrder, excuse.order);
    AddParsed(add, "--shop", "SHOP", "Whose order it is", ParseId, excuse.shop)->needs(order);
    AddParsed(add, "--part", "PART", "Its part", ParseNumber<1, kMaxPart>, excuse.part)
        ->needs(order);
    AddParsed(add, "--reason", "TEXT", "Why, in up to 200 characters", ParseText, excuse.reason)
        ->required();
    lane->needs(due)->excludes(order);
    due->needs(lane);
  }
};

// ---- help and mistakes ------------------------------------------------------------------------

// True for commands whose answer depends on the moment and the half-life.
bool TakesMoment(const std::string& command) {
  return command == "suppliers" || command == "supplier" || command == "lanes" ||
         command == "lane" || command == "rank" || command == "export scores";
}

// As above, but half-lives are options of its own.
bool TakesTime(const std::string& command) {
  return TakesMoment(command) || command == "backtest" || command == "review";
}

class ExamplesFirst : public CLI::Formatter {
 public:
  std::string make_help(const CLI::App* app, std::string name,
                        CLI::AppFormatMode mode) const override {
    if (mode == CLI::AppFormatMode::Sub) return Formatter::make_help(app, name, mode);
    const size_t blank = name.find(' ');
    const std::string command = blank == std::string::npos ? "" : name.substr(blank + 1);
    std::string text =
        absl::StrCat(make_description(app), "\nExamples:\n", std::string(ExamplesFor(command)),
                     "\n\n", make_usage(app, name), make_positionals(app), make_groups(app, mode),
                     make_subcommands(app, mode));
    if (!command.empty()) {
      absl::StrAppend(&text, "\nAs everywhere: --server ADDRESS, --json",
                      TakesTime(command) ? ", --as-of TIME" : "",
                      TakesMoment(command) ? ", --half-life DAYS\n" : "\n");
    }
    const std::string notes = NotesFor(command);
    return notes.empty() ? text : absl::StrCat(text, "\n", notes, "\n");
  }
};

// The command that was being read when the mistake was found, and its words.
const CLI::App& Deepest(const CLI::App& app, std::string& name) {
  const CLI::App* deepest = &app;
  while (!deepest->get_subcommands().empty()) {
    deepest = deepest->get_subcommands().front();
    absl::StrAppend(&name, " ", deepest->get_name());
  }
  return *deepest;
}

std::vector<std::string> OptionsOf(const CLI::App& app) {
  std::vector<std::string> names;
  for (const CLI::Option* option : app.get_options()) {
    for (const std::string& name : option->get_lnames()) names.push_back("--" + name);
  }
  return names;
}

std::string DescribeMistake(const CLI::App& app, const CLI::App& command, const std::string& what) {
  for (const std::string& word : app.remaining(/*recurse=*/true)) {
    if (word.size() > 1 && word[0] == '-') {
      std::vector<std::string> known = OptionsOf(command);
      for (std::string& option : OptionsOf(app)) known.push_back(std::move(option));
      const std::string name = word.substr(0, word.find('='));
      return absl::StrCat("unknown option ", Quoted(name), DidYouMean(name, known));
    }
    std::vector<std::string> known;
    for (const CLI::App* sub : command.get_subcommands({})) known.push_back(sub->get_name());
    if (known.empty()) return absl::StrCat("one word too many: ", Quoted(word));
    return absl::StrCat("unknown command ", Quoted(word), DidYouMean(word, known));
  }
  if (what == "A subcommand is required") return "expected a command";
  return what;
}

std::string CheckSuppliers(const Invocation& invocation) {
  const SuppliersOptions& options = invocation.suppliers;
  if (!options.risk) return options.days ? "--days goes with --risk only" : "";
  if (options.lane || !options.tag.empty() || options.min_orders ||
      options.sort != SupplierSort::kName) {
    return "--risk tells of all suppliers: no --lane, --tag, --min-orders or --sort goes with it";
  }
  if (invocation.average || invocation.as_of || invocation.half_life) {
    return "--risk counts every order alike, as of now: no --average, --as-of or --half-life goes "
           "with it";
  }
  return "";
}

std::string CheckSend(const SendOptions& options) {
  if (options.follow.empty()) return options.files.empty() ? "FILE is required" : "";
  if (options.mapping.revision) return "--revision goes with files, not with --follow";
  if (options.mapping.dry_run) return "--dry-run goes with files, not with --follow";
  return options.complete_through ? "--complete-through goes with files, not with --follow" : "";
}

// What only the whole line shows: options that say nothing to the command, an excuse for nothing.
std::string CheckWhole(const Invocation& invocation, const std::string& command) {
  if (invocation.verb == Verb::kExcuseAdd && !invocation.excuse.lane && !invocation.excuse.order) {
    return "expected --lane with --due, or --order";
  }
  if (invocation.verb == Verb::kErase && invocation.erase.supplier.empty() &&
      invocation.erase.orders.empty()) {
    return "expected --order or --supplier";
  }
  if (invocation.within_days.size() > kMostWithins) {
    return absl::StrCat("--within: expected at most ", kMostWithins, " of them");
  }
  if (command == "export") {
    const std::string mistake = CheckExport(invocation);
    return mistake.empty() ? CheckCsvStyle(invocation) : mistake;
  }
  if (invocation.as_of && !TakesTime(command)) {
    return "--as-of goes with suppliers, supplier, lanes, lane, rank, backtest, review and export "
           "scores only";
  }
  if (invocation.half_life && !TakesMoment(command)) {
    return command == "backtest" ? "--half-life goes after backtest, once for each half-life to try"
                                 : "--half-life goes with suppliers, supplier, lanes, lane, rank "
                                   "and export scores only";
  }
  if (const std::string mistake = CheckCsvStyle(invocation); !mistake.empty()) return mistake;
  if (invocation.verb == Verb::kSend) return CheckSend(invocation.send);
  if (invocation.verb == Verb::kSuppliers) return CheckSuppliers(invocation);
  if (invocation.verb == Verb::kReview) return CheckReview(invocation);
  const std::string mistake = CheckChase(invocation);
  return mistake.empty() ? CheckSourcing(invocation) : mistake;
}

}  // namespace

void AddAll(CLI::App& app, Invocation& to) {
  app.name("plumblane");
  app.description("Tells from order events which supplier gets the next order");
  Builder builder{app, to};
  builder.AddGlobal();
  builder.AddSend();
  AddMapping(app, to);
  builder.AddRecord();
  builder.AddScores();
  builder.AddBacktest();
  builder.AddOrder();
  builder.AddExcuse();
  AddSourcing(app, to);
  AddAgreements(app, to);
  AddChase(app, to);
  AddReview(app, to);
  AddExport(app, to);
  AddSends(app, to);
  AddErase(app, to);
  AddUpkeep(app, to);
  AddShell(app, to);
}

std::variant<Invocation, Leave> ParseCommandLine(const std::vector<std::string>& arguments,
                                                 const Settings& settings) {
  Invocation invocation;
  invocation.plain = settings.plain;
  if (!settings.shop.empty()) invocation.send.shop = settings.shop;
  invocation.send.source = settings.source;
  if (!settings.time_zone.empty()) invocation.send.time_zone = settings.time_zone;
  CLI::App app;
  app.formatter(std::make_shared<ExamplesFirst>());  // commands take it over when they are added
  AddAll(app, invocation);
  app.require_subcommand(1);
  app.get_formatter()->label("SUBCOMMAND", "COMMAND");
  app.get_formatter()->column_width(28);
  std::string name = "plumblane";
  try {
    app.parse(std::vector<std::string>(arguments.rbegin(), arguments.rend()));
    if (const std::string mistake =
            CheckWhole(invocation, app.get_subcommands().front()->get_name());
        !mistake.empty()) {
      return Leave{kUsage, "", mistake + "\n"};
    }
    return invocation;
  } catch (const CLI::CallForHelp&) {
    return Leave{kDone, app.help(), ""};
  } catch (const CLI::CallForVersion& version) {
    return Leave{kDone, std::string(version.what()) + "\n", ""};
  } catch (const CLI::ParseError& error) {
    const std::string mistake = DescribeMistake(app, Deepest(app, name), error.what());
    return Leave{kUsage, "", absl::StrCat(mistake, "\nSee ", name, " --help.\n")};
  }
}

}  // namespace plumblane::client
