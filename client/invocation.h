// What the command line asked for, read and checked. Filled by cli.h, carried out by run.h.
#pragma once

#include <google/protobuf/duration.pb.h>

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "base/ids.h"
#include "base/lane.h"
#include "base/time.h"
#include "client/access.h"
#include "client/completions.h"
#include "client/event_file.h"
#include "client/export_options.h"
#include "client/row.h"
#include "client/send_options.h"
#include "client/sourcing_options.h"

namespace plumblane::client {

enum class Verb {
  kToday,
  kSend,
  kMap,
  kRecord,
  kSuppliers,
  kSupplier,
  kLanes,
  kLane,
  kOrder,
  kRank,
  kBacktest,
  kStatus,
  kExcuseAdd,
  kExcuseLoad,
  kExcuseList,
  kExcuseWithdraw,
  kQuotesLoad,
  kQuotesList,
  kTermsLoad,
  kTermsList,
  kPause,
  kResume,
  kRatesLoad,
  kRatesList,
  kItemsLoad,
  kItemsList,
  kCostsLoad,
  kCostsShow,
  kCostsPropose,
  kAssign,
  kAssignments,
  kUnderway,
  kClaims,
  kAlerts,
  kAlertsAcknowledge,
  kAlertsShelve,
  kAlertsAccept,
  kAlertsWatch,
  kAlertsWatches,
  kAlertsDeliveries,
  kReview,
  kCompletions,
  kManual,
  kExportScores,
  kExportCohorts,
  kExportEvents,
  kExportAssignments,
  kWatch,
  kSends,
  kSendsUndo,
  kErase,
  kVerify,
  kBackup,
};

enum class SupplierSort { kName, kOnTime, kDefect, kOrders, kUnderWay };

// Which suppliers to list, and in which order; or what is at risk with them.
struct SuppliersOptions {
  std::optional<LaneQuery> lane;  // absent = wherever they ship
  std::string tag;                // "" = any
  std::optional<int> min_orders;  // settled ones
  SupplierSort sort = SupplierSort::kName;
  bool risk = false;
  std::optional<int> days;  // of risk; absent = the daemon's choice
};

struct RecordOptions {
  std::vector<Cell> fields;  // in the words of event files, without event_id unless given
  std::string time_zone = "UTC";
};

struct EraseOptions {
  std::string supplier;  // either it or orders
  std::vector<std::string> orders;
  std::string shop = kDefaultShop;
  bool yes = false;  // do not ask
};

// What was agreed: what to load, list or pause.
struct AgreementOptions {
  std::string file;
  std::string supplier, item, destination, shop;  // "" = all
  bool past = false;                              // with what no longer holds
  std::string until, reason;                      // kPause: "" = until resumed
};

// Which orders under way, claims or alerts to tell.
struct ChaseOptions {
  std::string supplier;           // "" = all
  std::optional<LaneQuery> lane;  // absent = all
  bool late = false;              // only those to chase
  bool all = false;               // with what is settled or closed
};

// Which alert, and what is decided of it; from where to watch.
struct AlertOptions {
  std::string id, note, until;
  int64_t after = 0;  // cursor of the last notice seen; 0 = from now on
};

// The account of which days, of whom, and where its evidence goes.
struct ReviewOptions {
  std::pair<Day, Day> period;     // first and last day, UTC
  std::string supplier;           // "" = all
  std::optional<LaneQuery> lane;  // absent = all
  std::string shop;               // "" = all
  bool to_share = false;          // the copy for the supplier
  std::string output;             // a file for the whole of it, "" = shortly on the screen
  std::string evidence;           // a file for the orders behind it, "" = none
};

// Where a copy of the data goes.
struct BackupOptions {
  std::string directory;
  int keep = 0;  // copies to keep there, 0 = all
};

struct BacktestOptions {
  std::vector<google::protobuf::Duration> half_lives;  // none = the daemon's choice
  std::optional<int> days_ahead, first_days;           // none = the daemon's choice
};

struct ExcuseOptions {
  std::optional<LaneQuery> lane;
  std::pair<Day, Day> due;  // first and last day, with a lane
  std::optional<OrderKey> order;
  std::string shop;  // "" = the order's, else kDefaultShop
  int part = 1;
  std::string reason;
  std::string subject;  // the file to load, the id to withdraw
};

struct Invocation {
  Verb verb = Verb::kStatus;
  std::string server;  // --server, "" = not given
  AccessFiles access;
  bool json = false, plain = false, explain = false;
  bool average = false;             // kSupplier, kLane, kSuppliers, kLanes
  std::vector<double> within_days;  // kSupplier, kLane
  std::optional<Instant> as_of;
  std::optional<google::protobuf::Duration> half_life;

  std::string supplier;           // kSupplier
  std::optional<LaneQuery> lane;  // kLane
  OrderKey order;                 // kOrder
  SuppliersOptions suppliers;
  SendOptions send;
  ProposeOptions propose;
  RecordOptions record;
  RankOptions rank;
  BacktestOptions backtest;
  ExcuseOptions excuse;
  AssignOptions assign;
  AssignmentsOptions assignments;
  AgreementOptions agreement;
  ChaseOptions chase;
  AlertOptions alert;
  ReviewOptions review;
  Shell shell = Shell::kBash;  // kCompletions
  ExportOptions exporting;
  WatchOptions watch;
  CsvOptions csv;
  SendsOptions sends;
  EraseOptions erase;
  BackupOptions backup;
};

}  // namespace plumblane::client
