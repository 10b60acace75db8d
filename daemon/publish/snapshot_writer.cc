#include "publish/snapshot_writer.h"

#include <absl/strings/str_cat.h>
#include <spdlog/spdlog.h>

#include <chrono>
#include <filesystem>
#include <utility>

#include "base/give_way.h"
#include "base/whole_file.h"
#include "service/exporting.h"
#include "tables/score_rows.h"

namespace plumblane {

std::string SnapshotWriter::Write() const {
  std::error_code error;
  std::filesystem::create_directories(options_.directory, error);
  if (error) return absl::StrCat(options_.directory, ": ", error.message());
  WholeFile csv(options_.directory + "/scores.csv"), json(options_.directory + "/scores.json");
  TableWriter csv_table = ScoreTable(TableForm::kCsv, {});
  TableWriter json_table = ScoreTable(TableForm::kJson, {});
  csv.Write(csv_table.Begin());
  json.Write(json_table.Begin());
  ScoreExport scores(engine_.Look(), {});
  while (true) {
    v1::Score score;
    const absl::StatusOr<bool> more = scores.Next(score);
    if (!more.ok()) return std::string(more.status().message());
    if (!*more) break;
    const TableItem item{score, {ScoreRow(score)}};
    if (!csv.Write(csv_table.Add(item)) || !json.Write(json_table.Add(item))) break;
  }
  csv.Write(csv_table.End());
  json.Write(json_table.End());
  std::string failure = csv.Finish();
  return failure.empty() ? json.Finish() : failure;
}

std::string SnapshotWriter::Step() {
  std::string failure = Write();
  const std::lock_guard lock(mutex_);
  if (failure.empty()) {
    state_.last_write = engine_.WallNow();
  } else {
    ++state_.failures;
    if (failure != state_.failure)
      spdlog::error("the files of scores were not written: {}", failure);
  }
  state_.failure = failure;
  return failure;
}

SnapshotWriter::State SnapshotWriter::state() const {
  const std::lock_guard lock(mutex_);
  return state_;
}

void SnapshotWriter::Start() {
  if (!options_.directory.empty()) thread_ = std::thread([this] { Run(); });
}

void SnapshotWriter::Stop() {
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  stopping_.notify_all();
  if (thread_.joinable()) thread_.join();
}

void SnapshotWriter::Run() {
  GiveWay(10);
  std::unique_lock lock(mutex_);
  while (!stop_) {
    lock.unlock();
    Step();
    lock.lock();
    stopping_.wait_for(lock, std::chrono::seconds(options_.every_seconds),
                       [this] { return stop_; });
  }
}

}  // namespace plumblane
