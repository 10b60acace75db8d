// The daemon beside what its user could build instead: PostgreSQL with tables for events, orders
// and tallies, on the same machine and in turn with it, durable both.
//
//   ingest   the load of load_bench, 8 connections, batches of 500: repeats refused, each order
//            folded, tallies by pair, measure and day corrected by the difference, in one statement
//            and one transaction a batch, arrays of binary values in, synchronous commit
//   rank     200 suppliers of a lane by what share was late or bad, weighted by age, idle and while
//            one stream sends as fast as it is acknowledged: a month's orders, so that days end all
//            the time and what is usual is reckoned anew, and orders that are over in a day
//
// PostgreSQL does less: no corrections or retractions, no time in transit, no intervals, no alerts.
//
// Usage: postgres_bench PLUMBLANED POSTGRES_BIN [ROUNDS]    (the folder with initdb and postgres;
// as root they run as the user postgres)
#include <arpa/inet.h>
#include <grpcpp/grpcpp.h>
#include <libpq-fe.h>
#include <plumblane/v1/intake.grpc.pb.h>
#include <plumblane/v1/sourcing.grpc.pb.h>
#include <sys/wait.h>

#include <atomic>
#include <filesystem>
#include <fstream>
#include <random>
#include <thread>

#include "base/give_way.h"
#include "bench/load.h"
#include "bench/served.h"

namespace {

using namespace plumblane::v1;  // NOLINT: names of the API only
using plumblane::bench::Clock;
using plumblane::bench::Die;
using plumblane::bench::kStreams;
using plumblane::bench::MakeLoad;
using plumblane::bench::Seconds;
using Batches = std::vector<EventBatch>;

constexpr int kInFlight = 16, kRanked = 200;

// ---- PostgreSQL

// Orders are kept with room to be changed in place. A tally is of so many orders of a pair and day:
// measure 0 in time, 1 delivered, 2 disputed, 3 answered; outcome 0 is having entered, else 1 is
// good, 2 bad.
constexpr const char* kSchema = R"(
  CREATE TABLE event (
    order_id text COLLATE "C", event_id text COLLATE "C", type int2 NOT NULL, time int8 NOT NULL,
    supplier text, lane text, promise int4, cost int8, tracking text,
    PRIMARY KEY (order_id, event_id));
  CREATE TABLE orders (
    order_id text COLLATE "C" PRIMARY KEY, supplier text, lane text, promise int4,
    paid int8, shipped int8, delivered int8, disputed int8, answered int8) WITH (fillfactor = 60);
  CREATE TABLE tally (
    lane text COLLATE "C", supplier text COLLATE "C", measure int2, day int4, outcome int2,
    orders int4 NOT NULL,
    PRIMARY KEY (lane, supplier, measure, day, outcome)) WITH (fillfactor = 60);
)";

constexpr const char* kTake = R"(
  WITH incoming AS (
    SELECT * FROM unnest($1::text[], $2::text[], $3::int2[], $4::int8[], $5::text[], $6::text[],
                         $7::int4[], $8::int8[], $9::text[])
      AS i(order_id, event_id, type, time, supplier, lane, promise, cost, tracking)),
  fresh AS (
    INSERT INTO event SELECT * FROM incoming ON CONFLICT DO NOTHING
    RETURNING order_id, type, time, supplier, lane, promise),
  folded AS (
    SELECT order_id, max(supplier) AS supplier, max(lane) AS lane, max(promise) AS promise,
           min(time) FILTER (WHERE type = 1) AS paid, min(time) FILTER (WHERE type = 2) AS shipped,
           min(time) FILTER (WHERE type = 3) AS delivered,
           min(time) FILTER (WHERE type = 4) AS disputed,
           min(time) FILTER (WHERE type = 5) AS answered
    FROM fresh GROUP BY order_id),
  was AS (SELECT o.* FROM orders o JOIN folded USING (order_id)),
  now AS (
    INSERT INTO orders
    SELECT order_id, supplier, lane, promise, paid, shipped, delivered, disputed, answered
    FROM folded ORDER BY order_id
    ON CONFLICT (order_id) DO UPDATE SET
      supplier = coalesce(orders.supplier, excluded.supplier),
      lane = coalesce(orders.lane, excluded.lane),
      promise = coalesce(orders.promise, excluded.promise),
      paid = least(orders.paid, excluded.paid), shipped = least(orders.shipped, excluded.shipped),
      delivered = least(orders.delivered, excluded.delivered),
      disputed = least(orders.disputed, excluded.disputed),
      answered = least(orders.answered, excluded.answered)
    RETURNING *),
  entry AS (
    SELECT o.lane, o.supplier, e.measure, e.day, e.outcome, sum(o.sign) AS orders
    FROM (SELECT *, -1 AS sign FROM was UNION ALL SELECT *, 1 FROM now) o,
      LATERAL (VALUES
        (0, o.paid / 86400, 0), (1, o.paid / 86400, 0), (2, o.delivered / 86400, 0),
        (3, o.disputed / 86400, 0),
        (0, o.paid / 86400, CASE WHEN o.delivered <= o.paid + o.promise * 86400 THEN 1
                                 WHEN o.delivered IS NOT NULL THEN 2 END),
        (1, o.paid / 86400, CASE WHEN o.delivered IS NOT NULL THEN 1 END),
        (2, o.delivered / 86400, CASE WHEN o.disputed IS NOT NULL THEN 2 END),
        (3, o.disputed / 86400, CASE WHEN o.answered <= o.disputed + 172800 THEN 1
                                     WHEN o.answered IS NOT NULL THEN 2 END))
        AS e(measure, day, outcome)
    WHERE o.paid IS NOT NULL AND o.lane IS NOT NULL AND e.day IS NOT NULL AND e.outcome IS NOT NULL
    GROUP BY 1, 2, 3, 4, 5 HAVING sum(o.sign) <> 0),
  counted AS (
    INSERT INTO tally SELECT lane, supplier, measure, day, outcome, orders FROM entry
    ORDER BY lane, supplier, measure, day, outcome
    ON CONFLICT (lane, supplier, measure, day, outcome)
    DO UPDATE SET orders = tally.orders + excluded.orders)
  SELECT count(*) FROM fresh)";

// Best first; $1 the lane, $2 today.
constexpr const char* kRank = R"(
  SELECT supplier, sum(orders * exp(-0.6931 * ($2 - day) / 90.0)) FILTER (WHERE outcome = 2) /
                   sum(orders * exp(-0.6931 * ($2 - day) / 90.0)) FILTER (WHERE outcome > 0) AS bad
  FROM tally WHERE lane = $1 AND measure = 0 GROUP BY supplier ORDER BY bad)";

class Server {
 public:
  Server(const std::string& programs, const std::string& folder) : folder_(folder) {
    std::filesystem::create_directories(folder);
    if (geteuid() == 0) {
      Run("chown postgres " + folder);
      as_ = "runuser -u postgres -- ";
    }
    Run(as_ + programs + "/initdb -D " + folder + "/db -U bench --no-sync -A trust > /dev/null");
    const std::string settings = folder + "/db/postgresql.conf";
    std::ofstream(settings, std::ios::app)
        << "listen_addresses = ''\nunix_socket_directories = '" << folder << "'\n"
        << "shared_buffers = 2GB\nmax_wal_size = 8GB\ncheckpoint_timeout = 15min\n"
        << "wal_compression = lz4\nwal_buffers = 64MB\nwork_mem = 64MB\njit = off\n"
        << "effective_cache_size = 8GB\nrandom_page_cost = 1.1\n";
    Run(as_ + programs + "/pg_ctl -w -D " + folder + "/db -l " + folder + "/db/log start >&2");
    stop_ = as_ + programs + "/pg_ctl -w -D " + folder + "/db stop -m fast >&2";
  }
  ~Server() {
    if (std::system(stop_.c_str()) != 0) std::fprintf(stderr, "PostgreSQL did not stop\n");
  }
  Server(const Server&) = delete;

  std::string address() const { return "host=" + folder_ + " user=bench dbname=postgres"; }

 private:
  static void Run(const std::string& command) {
    if (std::system(command.c_str()) != 0) Die("failed: " + command);
  }
  const std::string folder_;
  std::string as_, stop_;
};

class Connection {
 public:
  explicit Connection(const std::string& address) : pg_(PQconnectdb(address.c_str())) {
    if (PQstatus(pg_) != CONNECTION_OK) Die(PQerrorMessage(pg_));
  }
  ~Connection() { PQfinish(pg_); }
  Connection(const Connection&) = delete;

  void Run(const char* sql) { Require(PQexec(pg_, sql), PGRES_COMMAND_OK); }
  void Prepare(const char* name, const char* sql) {
    Require(PQprepare(pg_, name, sql, 0, nullptr), PGRES_COMMAND_OK);
  }
  // Rows of the answer; values are binary where a length is given, else text.
  int Ask(const char* name, const std::vector<std::string>& values, bool binary) {
    std::vector<const char*> at;
    std::vector<int> lengths, formats;
    for (const std::string& value : values) {
      at.push_back(value.data());
      lengths.push_back(static_cast<int>(value.size()));
      formats.push_back(binary);
    }
    PGresult* result = PQexecPrepared(pg_, name, static_cast<int>(values.size()), at.data(),
                                      lengths.data(), formats.data(), 1);
    const int rows = PQntuples(result);
    Require(result, PGRES_TUPLES_OK);
    return rows;
  }

 private:
  void Require(PGresult* result, ExecStatusType wanted) {
    if (PQresultStatus(result) != wanted) Die(PQerrorMessage(pg_));
    PQclear(result);
  }
  PGconn* const pg_;
};

// A one-dimensional array in PostgreSQL's binary form: dimensions, whether it has nulls, type of
// the elements, count, first index, then each element by its length (-1: null) and bytes.
class Array {
 public:
  Array(uint32_t type, int count) {
    for (const uint32_t word : {1U, 1U, type, static_cast<uint32_t>(count), 1U}) Word(word);
  }
  void Text(const std::string& text) {
    Word(static_cast<uint32_t>(text.size()));
    bytes_ += text;
  }
  void TextOrNull(const std::string& text) { text.empty() ? Null() : Text(text); }
  void Null() { Word(0xffffffff); }
  template <typename Int>
  void Number(Int number) {
    Word(sizeof number);
    for (int byte = sizeof number - 1; byte >= 0; --byte) {
      bytes_ += static_cast<char>(static_cast<uint64_t>(number) >> (8 * byte));
    }
  }
  std::string Take() { return std::move(bytes_); }

 private:
  void Word(uint32_t word) {
    word = htonl(word);
    bytes_.append(reinterpret_cast<const char*>(&word), sizeof word);
  }
  std::string bytes_;
};

int16_t TypeNumber(EventType type) {
  switch (type) {
    case EVENT_TYPE_PAID:
      return 1;
    case EVENT_TYPE_SHIPPED:
      return 2;
    case EVENT_TYPE_DELIVERED:
      return 3;
    case EVENT_TYPE_DISPUTED:
      return 4;
    case EVENT_TYPE_ANSWERED:
      return 5;
    default:
      Die("no such event in the load");
  }
}

std::vector<std::string> Arrays(const EventBatch& batch) {
  constexpr uint32_t kInt2 = 21, kInt4 = 23, kInt8 = 20, kText = 25;
  const int count = batch.events_size();
  Array orders(kText, count), ids(kText, count), types(kInt2, count), times(kInt8, count),
      suppliers(kText, count), lanes(kText, count), promises(kInt4, count), costs(kInt8, count),
      tracking(kText, count);
  for (const Event& event : batch.events()) {
    orders.Text(event.order_id());
    ids.Text(event.event_id());
    types.Number<int16_t>(TypeNumber(event.type()));
    times.Number<int64_t>(event.event_time().seconds());
    tracking.TextOrNull(event.tracking());
    suppliers.TextOrNull(event.supplier());
    if (event.supplier().empty()) {
      lanes.Null();
      promises.Null();
      costs.Null();
    } else {
      lanes.Text(event.origin() + "-" + event.destination());
      promises.Number<int32_t>(event.promise_days());
      costs.Number<int64_t>(event.cost().minor_units());
    }
  }
  return {orders.Take(), ids.Take(),      types.Take(), times.Take(),   suppliers.Take(),
          lanes.Take(),  promises.Take(), costs.Take(), tracking.Take()};
}

double EventsOf(const std::vector<Batches>& load) {
  double events = 0;
  for (const Batches& batches : load) {
    for (const EventBatch& batch : batches) events += batch.events_size();
  }
  return events;
}

template <typename Send>
double RateOf(const std::vector<Batches>& load, const Send& send) {
  std::vector<std::thread> threads;
  const auto start = Clock::now();
  for (size_t s = 0; s < load.size(); ++s) threads.emplace_back([&, s] { send(s, load[s]); });
  for (std::thread& thread : threads) thread.join();
  return EventsOf(load) / Seconds(Clock::now() - start);
}

double PostgresRate(const std::string& address, const std::vector<Batches>& load) {
  // Encoded before the clock starts.
  std::vector<std::vector<std::vector<std::string>>> arrays(load.size());
  for (size_t s = 0; s < load.size(); ++s) {
    for (const EventBatch& batch : load[s]) arrays[s].push_back(Arrays(batch));
  }
  return RateOf(load, [&](size_t s, const Batches&) {
    Connection connection(address);
    connection.Prepare("take", kTake);
    for (const auto& values : arrays[s]) connection.Ask("take", values, true);
  });
}

// ---- the daemon

std::vector<grpc::ByteBuffer> EncodedOf(const Batches& batches) {
  std::vector<grpc::ByteBuffer> bytes;
  for (const EventBatch& batch : batches) bytes.push_back(plumblane::bench::Encoded(batch));
  return bytes;
}

void SendStream(const std::string& address, size_t number,
                const std::vector<grpc::ByteBuffer>& batches,
                const std::atomic<bool>* is_over = nullptr) {
  plumblane::bench::EncodedIntake stream(address, static_cast<int>(number));
  size_t sent = 0, received = 0;
  const auto is_last = [&] { return sent == batches.size() || (is_over && *is_over); };
  while (received < sent || !is_last()) {
    while (!is_last() && sent - received < kInFlight) stream.Write(batches[sent++]);
    stream.Read();
    ++received;
  }
  stream.Finish();
}

double OurRate(const std::string& address, const std::vector<Batches>& load) {
  // Encoded before the clock starts.
  std::vector<std::vector<grpc::ByteBuffer>> bytes;
  for (const Batches& batches : load) bytes.push_back(EncodedOf(batches));
  return RateOf(load, [&](size_t s, const Batches&) { SendStream(address, s, bytes[s]); });
}

// ---- ranking

// Orders of 200 suppliers on one lane over nine months, some 30 for each.
std::vector<Batches> FleetLoad() {
  std::vector<Batches> load = MakeLoad(7000, 6000);
  std::mt19937 random(1);
  for (Batches& batches : load) {
    for (EventBatch& batch : batches) {
      for (Event& event : *batch.mutable_events()) {
        if (event.supplier().empty()) continue;
        // By the order, so that a repeat says the same.
        const size_t supplier = std::hash<std::string>()(event.order_id()) % kRanked;
        event.set_supplier("ranked-" + std::to_string(supplier));
        event.set_origin("VN");
        event.set_destination("IE");
      }
    }
  }
  return load;
}

// The day after all others.
Batches OfOneDay(Batches batches) {
  for (EventBatch& batch : batches) {
    for (Event& event : *batch.mutable_events()) {
      event.mutable_event_time()->set_seconds(plumblane::bench::kStart + 290 * 86'400 +
                                              3600 * event.type());
    }
  }
  return batches;
}

void Tell(const char* what, const char* figure, const std::pair<double, double>& ours,
          const std::pair<double, double>& empty, const std::pair<double, double>& theirs) {
  std::printf("%-24s %7.0f %7.0f %7.0f %7.0f %7.0f %7.0f %7.1f %7.1f\n", what, ours.first,
              ours.second, empty.first, empty.second, theirs.first, theirs.second,
              theirs.second / ours.second, theirs.second / empty.second);
  std::fflush(stdout);
  plumblane::bench::Figure(std::string(figure) + ".of_postgres", theirs.second / ours.second);
  plumblane::bench::Figure(std::string(figure) + ".empty_of_postgres",
                           theirs.second / empty.second);
}

void MeasureRank(const std::string& ours, const std::string& theirs) {
  const auto fleet = FleetLoad();
  OurRate(ours, fleet);
  PostgresRate(theirs, fleet);
  const auto channel = grpc::CreateChannel(ours, grpc::InsecureChannelCredentials());
  const auto stub = Sourcing::NewStub(channel);
  Connection connection(theirs);
  connection.Run("ANALYZE");
  connection.Prepare("rank", kRank);
  const auto ask = [&] {
    grpc::ClientContext context;
    RankSuppliersRequest request;
    RankSuppliersResponse response;
    request.set_destination("IE");
    const grpc::Status status = stub->RankSuppliers(&context, request, &response);
    if (!status.ok() || response.candidate_count() != kRanked) Die("RankSuppliers failed");
  };
  const auto ask_rival = [&] {
    const int rows = connection.Ask("rank", {"VN-IE", std::to_string(20'700)}, false);
    if (rows != kRanked) Die("PostgreSQL ranked " + std::to_string(rows));
  };
  const auto empty = [&] { plumblane::bench::EmptyCall(channel); };
  std::printf("\n%-24s %15s %15s %15s %15s\n%-24s", "", "plumblane", "an empty call", "PostgreSQL",
              "times", "rank of 200, us");
  for (const char* of : {"p50", "p99", "p50", "p99", "p50", "p99", "ours", "empty"}) {
    std::printf(" %7s", of);
  }
  std::printf("\n");
  const auto idle = plumblane::bench::Latencies(1000, ask, empty, ask_rival);
  Tell("idle", "rank.idle", idle[0], idle[1], idle[2]);
  // Who asks is in short turns, as one elsewhere would be waiting for no sender.
  plumblane::SetTurn(plumblane::kAnswerTurnMicros);
  const auto beside = [&](const char* what, const char* figure, const Batches& more) {
    const auto while_sent = [](const auto& send, const auto&... asked) {
      std::atomic<bool> is_over = false;
      std::thread sender([&] {
        plumblane::SetTurn(3000);
        send(is_over);
      });
      const auto latency = plumblane::bench::Latencies(1000, asked...);
      is_over = true;
      sender.join();
      return latency;
    };
    const std::vector<grpc::ByteBuffer> bytes = EncodedOf(more);
    const auto found =
        while_sent([&](const auto& is_over) { SendStream(ours, 50, bytes, &is_over); }, ask, empty);
    std::vector<std::vector<std::string>> arrays;
    for (const EventBatch& batch : more) arrays.push_back(Arrays(batch));
    const auto rival = while_sent(
        [&](const auto& is_over) {
          Connection own(theirs);
          own.Prepare("take", kTake);
          for (const auto& values : arrays) {
            if (is_over) return;
            own.Ask("take", values, true);
          }
        },
        ask_rival);
    Tell(what, figure, found[0], found[1], rival[0]);
  };
  std::vector<Batches> more = MakeLoad(8000, 800'000);
  beside("beside a month's events", "rank.month", more[0]);
  beside("beside events of a day", "rank.day", OfOneDay(std::move(more[1])));
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 3 && argc != 4) return 2;
  const int rounds = argc == 4 ? std::atoi(argv[3]) : 3;
  char folder[] = "/tmp/plumblane-rival-XXXXXX";
  if (mkdtemp(folder) == nullptr) return 1;
  std::filesystem::permissions(folder, std::filesystem::perms::others_exec,
                               std::filesystem::perm_options::add);
  const std::string base = folder, ours = "unix:" + base + "/s";
  int status = 0;
  {
    const Server server(argv[2], base + "/postgres");
    Connection(server.address()).Run(kSchema);
    const pid_t daemon = plumblane::bench::StartDaemon(argv[1], base + "/data", ours);
    std::printf("events a second     plumblane   PostgreSQL    ratio\n");
    for (int round = 0; round < rounds; ++round) {
      const auto load = MakeLoad(round);
      const double our_rate = OurRate(ours, load);
      const double rate = PostgresRate(server.address(), load);
      std::printf("round %d          %11.0f  %11.0f  %7.2f\n", round + 1, our_rate, rate,
                  our_rate / rate);
      plumblane::bench::Figure("intake.of_postgres", our_rate / rate);
      std::fflush(stdout);
    }
    MeasureRank(ours, server.address());
    kill(daemon, SIGTERM);
    waitpid(daemon, &status, 0);
  }
  std::filesystem::remove_all(base);
  return status == 0 ? 0 : 1;
}
