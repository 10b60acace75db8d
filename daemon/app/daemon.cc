#include "app/daemon.h"

#include <absl/strings/match.h>
#include <absl/strings/str_cat.h>
#include <absl/strings/str_join.h>
#include <grpc/grpc.h>
#include <grpcpp/ext/proto_server_reflection_plugin.h>
#include <grpcpp/grpcpp.h>
#include <grpcpp/health_check_service_interface.h>
#include <grpcpp/resource_quota.h>
#include <grpcpp/security/server_credentials.h>
#include <grpcpp/support/server_interceptor.h>
#include <spdlog/spdlog.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <optional>

#include "access/audit_log.h"
#include "access/front_door.h"
#include "access/gate.h"
#include "access/guarded_service.h"
#include "access/sweeper.h"
#include "app/certificate_ends.h"
#include "app/desk_in_use.h"
#include "app/disk_watch.h"
#include "app/keeping_of.h"
#include "app/log_in_use.h"
#include "app/open_data.h"
#include "base/give_way.h"
#include "base/zones.h"
#include "delivery/deliverer.h"
#include "engine/alert_teller.h"
#include "engine/desk.h"
#include "engine/purger.h"
#include "host/self_probe.h"
#include "host/service_manager.h"
#include "host/watchdog.h"
#include "host/writers_pulse.h"
#include "publish/metrics.h"
#include "publish/metrics_server.h"
#include "publish/snapshot_writer.h"
#include "service/agreement_service.h"
#include "service/alert_service.h"
#include "service/export_service.h"
#include "service/intake_service.h"
#include "service/peers.h"
#include "service/query_services.h"
#include "service/review_service.h"
#include "service/sourcing_service.h"
#include "service/write_answer.h"
#include "service/write_message.h"
#include "storage/rocksdb/rocksdb_store.h"

namespace plumblane {
namespace {

// 20,000 rows of a load, the largest message, take 2 to 5 MB.
constexpr int kMaxMessageBytes = 8 << 20;

int Refuse(const absl::Status& status, int exit_code) {
  spdlog::critical("not started: {}", std::string(status.message()));
  return exit_code;
}

int CodeOfStart(const absl::Status& status) {
  return absl::IsFailedPrecondition(status) ? kExitDataDamaged : ExitCodeFor(status);
}

// A socket file that nobody answers on is left from a hard stop and may be replaced; gRPC would
// also replace a living one.
absl::Status ClaimSocket(const std::string& path) {
  struct stat info {};
  if (lstat(path.c_str(), &info) != 0) return absl::OkStatus();
  if (!S_ISSOCK(info.st_mode)) {
    return absl::AlreadyExistsError(absl::StrCat(path, " exists and is no socket"));
  }
  const int probe = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  path.copy(address.sun_path, sizeof(address.sun_path) - 1);
  const bool answered = connect(probe, reinterpret_cast<sockaddr*>(&address), sizeof(address)) == 0;
  close(probe);
  if (answered) {
    return absl::AlreadyExistsError(absl::StrCat("another daemon serves unix:", path));
  }
  return unlink(path.c_str()) == 0
             ? absl::OkStatus()
             : absl::UnavailableError(absl::StrCat("cannot replace the old socket ", path));
}

constexpr char kTlsMark[] = "tls:";
constexpr int kDayMillis = 86'400'000;

// The address as the library knows it.
std::string PlaceOf(const std::string& address) {
  return absl::StartsWith(address, kTlsMark) ? address.substr(4) : address;
}

void SetLimits(grpc::ServerBuilder& builder, int64_t memory_mib) {
  grpc::ResourceQuota quota("connections");
  quota.Resize(static_cast<size_t>(memory_mib) << 20);
  builder.SetResourceQuota(quota);
  builder.SetMaxReceiveMessageSize(kMaxMessageBytes);
  builder.AddChannelArgument(GRPC_ARG_MAX_METADATA_SIZE, 8 << 10);
  // Without these a sender can park megabytes in a stream that is not being read.
  builder.AddChannelArgument(GRPC_ARG_HTTP2_BDP_PROBE, 0);
  builder.AddChannelArgument(GRPC_ARG_HTTP2_STREAM_LOOKAHEAD_BYTES, 64 << 10);
  builder.AddChannelArgument(GRPC_ARG_MAX_CONCURRENT_STREAMS, 64);
  // Two servers on one port would share its connections; the second must fail.
  builder.AddChannelArgument(GRPC_ARG_ALLOW_REUSEPORT, 0);
  builder.AddChannelArgument(GRPC_ARG_KEEPALIVE_TIME_MS, 60'000);
  builder.AddChannelArgument(GRPC_ARG_KEEPALIVE_TIMEOUT_MS, 20'000);
  builder.AddChannelArgument(GRPC_ARG_HTTP2_MIN_RECV_PING_INTERVAL_WITHOUT_DATA_MS, 3'000);
  builder.AddChannelArgument(GRPC_ARG_HTTP2_MAX_PING_STRIKES, 2);
  // Who connects and says nothing holds a descriptor no longer than this.
  builder.AddChannelArgument(GRPC_ARG_SERVER_HANDSHAKE_TIMEOUT_MS, 5'000);
  builder.AddChannelArgument(GRPC_ARG_MAX_CONNECTION_IDLE_MS, 300'000);
  // A certificate is looked at when a connection begins.
  builder.AddChannelArgument(GRPC_ARG_MAX_CONNECTION_AGE_MS, kDayMillis);
  builder.AddChannelArgument(GRPC_ARG_MAX_CONNECTION_AGE_GRACE_MS, 60'000);
}

std::shared_ptr<grpc::ServerCredentials> CredentialsFor(const std::string& address,
                                                        const AccessFiles& files) {
  if (!absl::StartsWith(address, kTlsMark)) return grpc::InsecureServerCredentials();
  grpc::SslServerCredentialsOptions options(
      GRPC_SSL_REQUEST_AND_REQUIRE_CLIENT_CERTIFICATE_AND_VERIFY);
  options.pem_root_certs = files.client_ca;
  options.pem_key_cert_pairs = {{files.key, files.certificate}};
  return grpc::SslServerCredentials(options);
}

void Tell(const SnapshotWriter& snapshots, v1::ServerStatus& status) {
  const SnapshotOptions& options = snapshots.options();
  if (options.directory.empty()) return;
  const SnapshotWriter::State state = snapshots.state();
  v1::SnapshotStatus* to = status.mutable_snapshot();
  to->set_directory(options.directory);
  to->mutable_interval()->set_seconds(options.every_seconds);
  if (state.last_write) WriteTime(*state.last_write, to->mutable_last_write_time());
  to->set_failure(state.failure);
}

bool IsSocket(const std::string& address) { return absl::StartsWith(address, "unix:"); }

// The services and the server, in the order of their dependence.
class Server {
 public:
  Server(Desk& engine, const Deliverer& deliverer, const SnapshotWriter& snapshots,
         const Zones& zones, const std::string& version, Keeping keeping,
         PeersService::ReadCopyFiles read_copy, DeskInUse& in_use, Gate& gate, int64_t connections)
      : connections_(connections),
        intake_(engine, zones, [&gate](const auto& context) { return gate.TermsOf(context); }),
        scores_(engine),
        sourcing_(engine),
        orders_(engine),
        agreements_(engine),
        alerts_(engine, deliverer),
        reviews_(engine),
        exports_(engine),
        operations_(
            engine, version, [&snapshots](auto& status) { Tell(snapshots, status); },
            std::move(keeping)),
        peers_(std::move(read_copy), in_use.taker(), in_use.state_reader()) {
    const auto guard = [&](grpc::Service& service, const char* name) {
      guarded_.push_back(std::make_unique<GuardedService>(
          service, name, gate, [&engine] { return Behind(engine); },
          [&engine](auto method) { return WhyNotHere(engine, method); }));
    };
    guard(intake_, v1::Intake::service_full_name());
    guard(scores_, v1::Scores::service_full_name());
    guard(sourcing_, v1::Sourcing::service_full_name());
    guard(orders_, v1::Orders::service_full_name());
    guard(agreements_, v1::Agreements::service_full_name());
    guard(alerts_, v1::Alerts::service_full_name());
    guard(reviews_, v1::Reviews::service_full_name());
    guard(exports_, v1::Exports::service_full_name());
    guard(operations_, v1::Operations::service_full_name());
    guard(peers_, peer::v1::Peers::service_full_name());
  }

  // Listens on all addresses or none; `bound` receives them with ports filled in.
  absl::Status Listen(const std::vector<std::string>& addresses, const AccessFiles& files,
                      int64_t memory_mib, AuditLog& audit, Gate& gate,
                      std::vector<std::string>& bound) {
    grpc::ServerBuilder builder;
    SetLimits(builder, memory_mib);
    builder.experimental().SetInterceptorCreators(Auditors(audit, gate));
    std::vector<std::shared_ptr<Acceptor>> acceptors;
    for (const std::string& address : addresses) {
      absl::Status status;
      if (IsSocket(address)) {
        doors_.push_back(std::make_unique<FrontDoor>(nullptr));
        status = ClaimSocket(address.substr(5));
        if (status.ok()) status = doors_.back()->BindSocket(address.substr(5));
      } else {
        doors_.push_back(std::make_unique<FrontDoor>(&connections_));
        status = doors_.back()->Bind(PlaceOf(address));
      }
      if (!status.ok()) return status;
      acceptors.push_back(builder.experimental().AddExternalConnectionAcceptor(
          grpc::ServerBuilder::experimental_type::ExternalConnectionType::FROM_FD,
          CredentialsFor(address, files)));
    }
    for (const auto& service : guarded_) builder.RegisterService(service.get());
    server_ = builder.BuildAndStart();
    if (server_ == nullptr) {
      return absl::UnavailableError(
          "the server cannot be started: are the certificates whole, and does the key belong to "
          "its certificate?");
    }
    for (size_t i = 0; i < addresses.size(); ++i) {
      const std::string& address = addresses[i];
      bound.push_back(IsSocket(address) ? address
                                        : absl::StrCat(address.substr(0, address.rfind(':') + 1),
                                                       doors_[i]->port()));
      doors_[i]->Open([acceptor = acceptors[i]](int fd) {
        Acceptor::NewConnectionParameters connection;
        connection.fd = fd;
        acceptor->HandleNewConnection(&connection);
      });
    }
    server_->GetHealthCheckService()->SetServingStatus(true);
    return absl::OkStatus();
  }

  // A channel that needs no listener and asks nobody for a certificate.
  std::shared_ptr<grpc::Channel> Inside() { return server_->InProcessChannel({}); }

  const IntakeService::Totals& intake_totals() const { return intake_.totals(); }

  // Answers what is in flight, then ends; calls still open at the deadline are cut.
  void Stop(std::chrono::seconds within, const std::function<void()>& drained) {
    if (!server_) return;
    for (const auto& door : doors_) door->Close();
    server_->GetHealthCheckService()->SetServingStatus(false);
    intake_.Drain();
    alerts_.Drain();
    exports_.Drain();
    drained();
    server_->Shutdown(std::chrono::system_clock::now() + within);
    server_->Wait();
  }

 private:
  using Acceptor = grpc::experimental::ExternalConnectionAcceptor;

  ConnectionCount connections_;
  IntakeService intake_;
  ScoresService scores_;
  SourcingService sourcing_;
  OrdersService orders_;
  AgreementsService agreements_;
  AlertsService alerts_;
  ReviewsService reviews_;
  ExportsService exports_;
  OperationsService operations_;
  PeersService peers_;
  std::vector<std::unique_ptr<GuardedService>> guarded_;  // what is served of them
  std::unique_ptr<grpc::Server> server_;
  std::vector<std::unique_ptr<FrontDoor>> doors_;  // one for each address
};

// After a mistake in the file everything stays as it is.
void Reload(const AccessSettings& settings, Gate& gate, AuditLog& audit) {
  audit.Reopen();
  if (!gate.asks_for_tokens()) return;
  auto book = TokenBook::ReadFile(settings.token_file);
  if (!book.ok()) {
    spdlog::error("the tokens stay as they were: {}", std::string(book.status().message()));
    return;
  }
  spdlog::info("read {} tokens", book->size());
  gate.Replace(std::make_shared<TokenBook>(*std::move(book)));
}

}  // namespace

int RunDaemon(const Settings& settings, const std::string& version,
              const std::function<void(const std::vector<std::string>&)>& ready,
              const std::function<void(const std::function<void()>&)>& wait_for_stop) {
  ServiceManager manager;
  const auto zones = Zones::Load();
  if (!zones.ok()) return Refuse(zones.status(), kExitBadSettings);
  const auto files = ReadAccessFiles(settings.access);
  if (!files.ok()) return Refuse(files.status(), kExitBadSettings);
  const WallClock clock;
  const auto certificates = EndsOfCertificates(*files, settings.cluster);
  WarnOfEnds(certificates, clock.Now());
  if (absl::Status status = MakeDataDirectory(settings.data_directory); !status.ok()) {
    return Refuse(status, kExitTryAgain);
  }
  DiskWatch disk({.directory = settings.data_directory,
                  .least_free_bytes = LeastFree(settings.least_free_mib, settings.data_directory),
                  .free_bytes = [&settings] { return FreeBytesAt(settings.data_directory); },
                  .end = [](int code) { _exit(code); }});
  const auto log = LogInUse::Prepare(settings, [&manager] { manager.StillStarting(); });
  if (!log.ok()) return Refuse(log.status(), CodeOfStart(log.status()));
  auto data = OpenData(settings, [&disk](const absl::Status& why) { disk.Failed(why); });
  if (!data.ok()) return Refuse(data.status(), ExitCodeFor(data.status()));
  DiskStore& store = *data->store;

  if (absl::Status status = (*log)->Open(store, data->anchor); !status.ok()) {
    return Refuse(status, CodeOfStart(status));
  }
  DeskInUse in_use(settings, store, **log, clock,
                   [&disk](const absl::Status& why) { disk.Failed(why); });
  if (absl::Status status = in_use.Start([&manager] { manager.StillStarting(); }); !status.ok()) {
    return Refuse(status, CodeOfStart(status));
  }
  Desk& engine = in_use.desk();

  disk.Start(engine, (*log)->anchored());

  AlertTeller teller(engine);
  teller.Start();
  Purger purger(engine, static_cast<int>(settings.orders_days));
  purger.Start();
  Deliverer deliverer(
      engine,
      [&settings](int64_t cursor, const AlertNotice& notice, const ToldAlert& after) {
        return MessageOf(settings.delivery.source, cursor, notice, after);
      },
      RoutesOf(settings.delivery));
  deliverer.Start();

  // Kept until the process ends: when its last user goes, this version of the library can wait ten
  // seconds for a thread of its own, and the stop with it.
  SetTurn(kAnswerTurnMicros);  // the library's threads, started from here on
  grpc_init();
  grpc::EnableDefaultHealthCheckService(true);
  // Whoever has no token is not told what could be called with one.
  if (files->tokens == nullptr) grpc::reflection::InitProtoReflectionServerBuilderPlugin();
  AuditLog audit(settings.access.audit_file, clock);
  Gate gate(settings.access.gate, files->tokens, clock);
  const Sweeper sweeper(gate);
  SnapshotWriter snapshots(engine, settings.snapshot);
  const auto copy = (*log)->KeepCopy(engine, store);
  PeersService::ReadCopyFiles read_copy;
  if (copy) read_copy = [&copy](const TakeCopyPiece& take) { return copy->Read(take); };
  Server server(engine, deliverer, snapshots, *zones, version, KeepingOf(settings, store),
                read_copy, in_use, gate, settings.access.connections);
  std::vector<std::string> addresses;
  if (absl::Status status = server.Listen(settings.listen, *files, settings.access.memory_mib,
                                          audit, gate, addresses);
      !status.ok()) {
    return Refuse(status, kExitTryAgain);
  }
  std::unique_ptr<MetricsServer> metrics;
  if (!settings.metrics.listen.empty()) {
    auto listening = MetricsServer::Listen(
        settings.metrics.listen,
        std::make_shared<Metrics>(
            Metrics::Sources{engine, deliverer, server.intake_totals(), (*log)->timed(), snapshots,
                             settings.data_directory, version, settings.engine.queue_events,
                             static_cast<size_t>(settings.metrics.suppliers), certificates}));
    if (!listening.ok()) return Refuse(listening.status(), kExitTryAgain);
    metrics = *std::move(listening);
    spdlog::info("metrics are served on {}, port {}", settings.metrics.listen, metrics->port());
  }
  snapshots.Start();
  if (copy) copy->Start();
  spdlog::info("plumblaned {} serves {} on {}", version, settings.data_directory,
               absl::StrJoin(addresses, ", "));
  ready(addresses);
  manager.Ready();
  std::optional<Watchdog> watchdog(
      std::in_place, manager,
      [&addresses, inside = server.Inside(),
       pulse = WritersPulse(engine)](std::chrono::milliseconds time) mutable {
        const auto each = time / (2 + static_cast<int>(addresses.size()));
        return pulse.BeatsWithin(each) && HealthAnswers(inside, each) &&
               std::all_of(addresses.begin(), addresses.end(),
                           [&](const auto& address) { return Listens(address, each); });
      });
  wait_for_stop([&] { Reload(settings.access, gate, audit); });
  spdlog::info("stopping");
  manager.Stopping(std::chrono::seconds(settings.shutdown_seconds + kStopGraceSeconds));
  watchdog.reset();
  server.Stop(std::chrono::seconds(settings.shutdown_seconds), [&in_use] { in_use.LetGo(); });
  metrics.reset();
  snapshots.Stop();
  if (copy) copy->Stop();
  deliverer.Stop();
  teller.Stop();
  purger.Stop();
  in_use.Stop();
  disk.Stop();
  if (disk.has_failed()) return kExitTryAgain;
  spdlog::info("stopped");
  return kExitStopped;
}

}  // namespace plumblane
