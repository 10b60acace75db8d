// Each call to the file system fails in turn, once: nothing is acknowledged after the first write
// that failed, nothing acknowledged is lost, the process neither aborts nor hangs, and the next
// start finds a store that verifies.
//
// With PLUMBLANE_LONG set in the environment every call of every kind; else some of them.
#include <gtest/gtest.h>
#include <rocksdb/env.h>
#include <rocksdb/file_system.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <functional>
#include <future>
#include <memory>
#include <string>

#include "engine/engine.h"
#include "engine/verify.h"
#include "storage/rocksdb/rocksdb_store.h"
#include "support/fixed_clock.h"
#include "support/order_builder.h"
#include "support/temp_directory.h"

namespace plumblane {
namespace {

using rocksdb::IODebugContext;
using rocksdb::IOOptions;
using rocksdb::IOStatus;
using test::At;
using test::OrderBuilder;

enum class Call { kAppend, kTornAppend, kSync, kRename, kNewFile, kSyncFolder };
constexpr const char* kCallNames[] = {"append", "torn append", "sync",
                                      "rename", "new file",    "sync of a folder"};

struct Fault {
  Call call = Call::kAppend;
  bool full = false;  // ENOSPC, else EIO
  int at = 0;         // the so many-th call, from 1
};

// Counts the calls of one kind, and says which is to fail.
class Plan {
 public:
  explicit Plan(const Fault& fault) : fault_(fault) {}
  bool Fails(Call call) {
    if (call != fault_.call || ++calls_ != fault_.at) return false;
    happened = true;
    return true;
  }
  IOStatus Error() const {
    return fault_.full ? IOStatus::NoSpace("No space left on device")
                       : IOStatus::IOError("Input/output error");
  }
  std::atomic<bool> happened = false;

 private:
  const Fault fault_;
  std::atomic<int> calls_ = 0;
};

class FaultyFile final : public rocksdb::FSWritableFileOwnerWrapper {
 public:
  FaultyFile(std::unique_ptr<rocksdb::FSWritableFile> file, Plan& plan)
      : FSWritableFileOwnerWrapper(std::move(file)), plan_(plan) {}

  using FSWritableFileWrapper::Append;
  IOStatus Append(const rocksdb::Slice& data, const IOOptions& options,
                  IODebugContext* debug) override {
    if (plan_.Fails(Call::kAppend)) return plan_.Error();
    if (plan_.Fails(Call::kTornAppend)) {
      target()->Append({data.data(), data.size() / 2}, options, debug).PermitUncheckedError();
      return plan_.Error();
    }
    return target()->Append(data, options, debug);
  }
  IOStatus Append(const rocksdb::Slice& data, const IOOptions& options,
                  const rocksdb::DataVerificationInfo& /*info*/, IODebugContext* debug) override {
    return Append(data, options, debug);
  }
  IOStatus Sync(const IOOptions& options, IODebugContext* debug) override {
    if (plan_.Fails(Call::kSync)) return plan_.Error();
    return target()->Sync(options, debug);
  }
  IOStatus Fsync(const IOOptions& options, IODebugContext* debug) override {
    if (plan_.Fails(Call::kSync)) return plan_.Error();
    return target()->Fsync(options, debug);
  }

 private:
  Plan& plan_;
};

class FaultyFolder final : public rocksdb::FSDirectoryWrapper {
 public:
  FaultyFolder(std::unique_ptr<rocksdb::FSDirectory> folder, Plan& plan)
      : FSDirectoryWrapper(std::move(folder)), plan_(plan) {}
  IOStatus Fsync(const IOOptions& options, IODebugContext* debug) override {
    if (plan_.Fails(Call::kSyncFolder)) return plan_.Error();
    return FSDirectoryWrapper::Fsync(options, debug);
  }
  IOStatus FsyncWithDirOptions(const IOOptions& options, IODebugContext* debug,
                               const rocksdb::DirFsyncOptions& how) override {
    if (plan_.Fails(Call::kSyncFolder)) return plan_.Error();
    return FSDirectoryWrapper::FsyncWithDirOptions(options, debug, how);
  }

 private:
  Plan& plan_;
};

class FaultyFiles final : public rocksdb::FileSystemWrapper {
 public:
  explicit FaultyFiles(Plan& plan)
      : FileSystemWrapper(rocksdb::FileSystem::Default()), plan_(plan) {}
  const char* Name() const override { return "FaultyFiles"; }

  IOStatus NewWritableFile(const std::string& path, const rocksdb::FileOptions& options,
                           std::unique_ptr<rocksdb::FSWritableFile>* file,
                           IODebugContext* debug) override {
    // The library's own notes are nobody's data.
    const bool is_notes = path.substr(path.rfind('/') + 1).starts_with("LOG");
    if (!is_notes && plan_.Fails(Call::kNewFile)) return plan_.Error();
    IOStatus made = target()->NewWritableFile(path, options, file, debug);
    if (made.ok() && !is_notes) *file = std::make_unique<FaultyFile>(std::move(*file), plan_);
    return made;
  }
  IOStatus RenameFile(const std::string& from, const std::string& to, const IOOptions& options,
                      IODebugContext* debug) override {
    if (plan_.Fails(Call::kRename)) return plan_.Error();
    return target()->RenameFile(from, to, options, debug);
  }
  IOStatus NewDirectory(const std::string& path, const IOOptions& options,
                        std::unique_ptr<rocksdb::FSDirectory>* folder,
                        IODebugContext* debug) override {
    IOStatus made = target()->NewDirectory(path, options, folder, debug);
    if (made.ok()) *folder = std::make_unique<FaultyFolder>(std::move(*folder), plan_);
    return made;
  }

 private:
  Plan& plan_;
};

constexpr int kSubmissions = 12, kOrdersInEach = 100;

Submission SubmissionOf(int number) {
  Submission submission;
  for (int i = 0; i < kOrdersInEach; ++i) {
    OrderBuilder order({"default", absl::StrCat("order-", number, "-", i)});
    order.Paid("2026-03-01").Promised("2026-03-10").Shipped("2026-03-02").Delivered("2026-03-08");
    for (const Event& event : order.events()) submission.events.push_back({order.key(), event});
  }
  return submission;
}

Receipt SubmitAndWait(Engine& engine, int number) {
  std::promise<Receipt> receipt;
  const bool queued = engine.Submit(SubmissionOf(number),
                                    [&](Receipt answer) { receipt.set_value(std::move(answer)); });
  EXPECT_TRUE(queued);
  return receipt.get_future().get();
}

// Small, so that tables are written and the log changes files within the test.
RocksDbStoreOptions OptionsFor(const std::string& path) {
  return {.path = path, .block_cache_bytes = 1 << 20, .write_buffer_bytes = 64 << 10};
}
EngineOptions KeepingTheLog() {
  EngineOptions options;
  options.kept_entries = 1'000'000;
  return options;
}

// What one life came to; written by a child process, so that an abort is seen and nothing is
// shared.
struct Life {
  bool happened = false;         // the fault
  bool opened = false;           // the store and the engine
  int acknowledged = 0;          // submissions, one after the other
  bool after_a_failure = false;  // one was acknowledged after one that was not
  bool told = false;             // `failed` was called
};

template <typename Result>
::testing::AssertionResult InChild(const std::function<Result()>& work, Result& result) {
  int ends[2];
  if (pipe(ends) != 0) return ::testing::AssertionFailure() << "no pipe";
  const pid_t child = fork();
  if (child == 0) {
    alarm(60);
    const Result made = work();
    const ssize_t count = write(ends[1], &made, sizeof made);
    _exit(count == static_cast<ssize_t>(sizeof made) ? 0 : 1);
  }
  close(ends[1]);
  const bool whole = read(ends[0], &result, sizeof result) == static_cast<ssize_t>(sizeof result);
  close(ends[0]);
  int status = 0;
  waitpid(child, &status, 0);
  if (whole && status == 0) return ::testing::AssertionSuccess();
  return ::testing::AssertionFailure() << "the process ended with wait status " << status;
}

Life Live(const std::string& path, const Fault& fault) {
  Plan plan(fault);
  Life life;
  const auto env = rocksdb::NewCompositeEnv(std::make_shared<FaultyFiles>(plan));
  RocksDbStoreOptions options = OptionsFor(path);
  std::atomic<bool> told = false;
  options.failed = [&](const absl::Status&) { told = true; };
  options.env = env.get();
  if (auto store = OpenRocksDbStore(options); store.ok()) {
    const test::FixedClock clock(At("2026-06-01T12:00"));
    StoreLog log(**store);
    Engine engine(**store, log, clock, KeepingTheLog());
    life.opened = engine.Start().ok();
    bool failed = false;
    for (int number = 0; life.opened && number < kSubmissions; ++number) {
      const bool fine = SubmitAndWait(engine, number).status.ok();
      life.acknowledged += fine;
      life.after_a_failure |= fine && failed;
      failed |= !fine;
    }
    engine.Stop();
  }
  life.happened = plan.happened;
  life.told = told;
  return life;
}

// What the next start finds, on a disk that works.
struct NextLife {
  bool opened = false;
  bool verified = false;
  int lost = 0;        // submissions that were acknowledged and are not known
  int64_t events = 0;  // after everything was sent again
  char why[256] = {};
};

NextLife LiveOn(const std::string& path, int acknowledged) {
  NextLife life;
  const auto say = [&](const std::string& why) { why.copy(life.why, sizeof life.why - 1); };
  auto store = OpenRocksDbStore(OptionsFor(path));
  if (!store.ok()) {
    say(store.status().ToString());
    return life;
  }
  const test::FixedClock clock(At("2026-06-01T12:00"));
  StoreLog log(**store);
  Engine engine(**store, log, clock, KeepingTheLog());
  if (const absl::Status started = engine.Start(); !started.ok()) {
    say(started.ToString());
    return life;
  }
  life.opened = true;
  for (int number = 0; number < kSubmissions; ++number) {
    const Receipt receipt = SubmitAndWait(engine, number);
    for (const EventFate& fate : receipt.fates) {
      if (number < acknowledged && fate.kind != EventFate::Kind::kDuplicate) {
        ++life.lost;
        break;
      }
    }
  }
  const auto verified = Verify(*(*store)->TakeSnapshot(), [](auto&) { return true; });
  life.verified = verified.ok() && verified->difference.empty() && verified->from_log();
  if (verified.ok()) say(verified->difference);
  if (verified.ok()) life.events = verified->event_count;
  engine.Stop();
  return life;
}

class NthCall : public ::testing::TestWithParam<Call> {};

TEST_P(NthCall, FailingLosesNothingThatWasAcknowledged) {
  const bool every = getenv("PLUMBLANE_LONG") != nullptr;
  int lives = 0, failures = 0;
  for (const bool full : {false, true}) {
    // Until no call is left to fail.
    for (int at = 1;; at += every ? 1 : 1 + at / 3) {
      SCOPED_TRACE(absl::StrCat(kCallNames[static_cast<int>(GetParam())], " ", at,
                                full ? ", disk full" : ", I/O error"));
      const test::TempDirectory directory;
      Life life;
      ASSERT_TRUE(InChild<Life>(
          [&] {
            return Live(directory / "store", {GetParam(), full, at});
          },
          life));
      ++lives;
      EXPECT_FALSE(life.after_a_failure) << "acknowledged after a failed write";
      failures += life.opened && life.acknowledged < kSubmissions;
      if (life.opened && life.acknowledged < kSubmissions) {
        EXPECT_TRUE(life.told) << "nobody was told";
      }
      NextLife next;
      ASSERT_TRUE(
          InChild<NextLife>([&] { return LiveOn(directory / "store", life.acknowledged); }, next));
      ASSERT_TRUE(next.opened) << next.why;
      EXPECT_EQ(next.lost, 0);
      EXPECT_TRUE(next.verified) << next.why;
      EXPECT_EQ(next.events, kSubmissions * kOrdersInEach * 3);
      if (!life.happened) {
        EXPECT_EQ(life.acknowledged, kSubmissions) << "control: without a fault all is taken";
        break;
      }
    }
  }
  std::printf("%s: %d lives, in %d of them a write failed while serving\n",
              kCallNames[static_cast<int>(GetParam())], lives, failures);
}

INSTANTIATE_TEST_SUITE_P(Files, NthCall,
                         ::testing::Values(Call::kAppend, Call::kTornAppend, Call::kSync,
                                           Call::kRename, Call::kNewFile, Call::kSyncFolder));

}  // namespace
}  // namespace plumblane
