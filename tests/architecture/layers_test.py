"""Who may include whom, and the measures of style, read from the sources themselves."""
import os
import re
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
from harness import ROOT, main

# layer: (own layers it may include, third-party prefixes). An arrow not listed is an error.
PURE = ("absl/status/", "absl/strings/")
LAYERS = {
    "base": ((), ("absl/", "linux/", "sys/")),
    "tables": (("base", "plumblane/v1"), PURE + ("google/protobuf/", "nlohmann/")),
    "cohorts": (("base",), PURE + ("absl/container/",)),
    "orders": (("base", "cohorts"), PURE + ("absl/container/",)),
    "scoring": (("base", "cohorts"), PURE + ("boost/math/",)),
    "alerting": (("base", "cohorts", "scoring"), PURE),
    "agreements": (("base", "cohorts"), PURE),
    "ranking": (("base", "cohorts", "scoring", "agreements"), PURE),
    "review": (("base", "cohorts", "orders", "scoring", "agreements", "ranking"), PURE),
    "storage": (("base", "cohorts", "orders"), PURE),
    "storage/rocksdb": (("base", "storage"), PURE + ("rocksdb/",)),
    "eventlog": (("base", "storage"), PURE),
    "eventlog/etcd": (("base", "storage", "eventlog", "etcd"), PURE + ("grpcpp/", "spdlog/")),
    "engine": (("base", "cohorts", "orders", "agreements", "alerting", "scoring", "ranking", "review",
                "storage", "eventlog", "plumblane/store/v1"),
               PURE + ("absl/container/", "absl/hash/", "absl/numeric/", "boost/sort/", "spdlog/")),
    "delivery": (("base", "engine"),
                 PURE + ("absl/time/", "spdlog/", "curl/", "openssl/", "nlohmann/", "sys/")),
    "access": (("base", "plumblane/v1"),
               PURE + ("grpc/", "grpcpp/", "google/protobuf/", "spdlog/", "toml++/", "openssl/",
                       "netinet/", "nlohmann/", "sys/")),
    "host": (("base", "engine"), PURE + ("grpcpp/", "spdlog/", "sys/")),
    "service": (("base", "cohorts", "orders", "agreements", "alerting", "scoring", "ranking", "review",
                 "storage", "engine", "delivery", "access", "plumblane/v1", "plumblane/peer/v1"),
                PURE + ("grpc/support/", "grpcpp/", "google/protobuf/", "spdlog/")),
    "publish": (("base", "eventlog", "engine", "delivery", "service", "tables", "plumblane/v1"),
                PURE + ("prometheus/", "spdlog/", "sys/")),
    "app": (("base", "access", "engine", "eventlog", "delivery", "service", "publish", "host", "storage",
             "storage/rocksdb", "eventlog/etcd"),
            PURE + ("grpc/", "grpcpp/", "spdlog/", "toml++/", "sys/")),
    "client": (("client", "base", "tables", "plumblane/v1"),
               PURE + ("absl/", "grpcpp/", "google/protobuf/", "nlohmann/", "CLI/", "toml++/",
                       "kainjow/", "sys/")),
}
# Within a layer that may: the one file that does, by the first prefix that fits.
ONE_FILE_ONLY = {("scoring", "boost/math/special_functions/chebyshev."): "daemon/scoring/strength.cc",
                 ("scoring", "boost/math/"): "daemon/scoring/beta.cc",
                 ("engine", "boost/sort/"): "daemon/engine/changes.cc",
                 ("client", "kainjow/"): "client/render.cc",
                 ("access", "openssl/"): "daemon/access/secret.cc",
                 ("delivery", "openssl/"): "daemon/delivery/signature.cc",
                 ("delivery", "curl/"): "daemon/delivery/transfer.h"}
# Reads of the time or waits, and the one place each may stand.
TIME = re.compile(r"(_clock::now|\btime\(nullptr\)|gettimeofday|clock_gettime|sleep_for|\bsleep\()")
TIME_ALLOWED = {"daemon/base/clock.h", "daemon/base/stopwatch.h", "daemon/app/daemon.cc"}
INCLUDE = re.compile(r'^\s*#\s*include\s*[<"]([^>"]+)[>"]')
LINES = {"header": 200, "source": 400, "test": 600}
COLUMNS = 100


def files(folder):
    for path, _, names in os.walk(os.path.join(ROOT, folder)):
        for name in sorted(names):
            if name.endswith((".h", ".cc")):
                yield os.path.relpath(os.path.join(path, name), ROOT)


def read(path):
    with open(os.path.join(ROOT, path), encoding="utf-8") as file:
        return file.read().splitlines()


def layer_of(path):
    """The layer a source belongs to; none for main.cc, which may use all."""
    parts = path.split("/")
    if parts[0] == "client":
        return "client"
    if parts[1] == "main.cc":
        return None
    folder = "/".join(parts[1:-1])
    assert folder in LAYERS, f"{path}: {folder} is not in the table of layers"
    return folder


def violation(path, number, included):
    """Why the include is not allowed; none when it is."""
    layer = layer_of(path)
    if layer is None or "/" not in included:  # a header of the standard library or the system
        return None
    own, third_party = LAYERS[layer]
    folder = os.path.dirname(included)
    if folder == layer or folder in own:
        return None
    if any(included.startswith(prefix) for prefix in third_party):
        for (where, prefix), only in ONE_FILE_ONLY.items():
            if layer == where and included.startswith(prefix):
                return None if path == only else (
                    f"{path}:{number}: {included} belongs in {only} only")
        return None
    return f"{path}:{number}: {layer} may not include {included}"


def includes_follow_the_table_of_layers():
    wrong, seen = [], 0
    for path in [*files("daemon"), *files("client")]:
        for number, line in enumerate(read(path), 1):
            match = INCLUDE.match(line)
            if match:
                seen += 1
                wrong.append(violation(path, number, match.group(1)))
    wrong = [text for text in wrong if text]
    assert seen > 200, f"only {seen} includes were read"
    assert not wrong, "\n".join(wrong)


def a_forbidden_include_is_found():
    """Controls: the scan sees what it is there for."""
    assert violation("daemon/scoring/x.cc", 1, "engine/engine.h")
    assert violation("daemon/engine/x.cc", 1, "rocksdb/db.h")
    assert violation("daemon/engine/x.cc", 1, "storage/rocksdb/rocksdb_store.h")
    assert violation("daemon/orders/x.cc", 1, "spdlog/spdlog.h")
    assert violation("daemon/engine/x.cc", 1, "eventlog/etcd/etcd_log.h")
    assert violation("daemon/service/x.cc", 1, "eventlog/event_log.h")
    assert violation("daemon/scoring/rate.cc", 1, "boost/math/special_functions/beta.hpp")
    assert violation("client/x.cc", 1, "engine/engine.h")
    assert violation("client/x.cc", 1, "kainjow/mustache.hpp")
    assert not violation("daemon/engine/x.cc", 1, "storage/store.h")


def only_the_clock_reads_the_time():
    wrong = [f"{path}:{number}: {line.strip()}"
             for path in files("daemon") if path not in TIME_ALLOWED
             for number, line in enumerate(read(path), 1) if TIME.search(line)]
    assert not wrong, "\n".join(wrong)


def files_stay_within_their_measure():
    wrong = []
    for folder in ("daemon", "client", "tests"):
        for path in files(folder):
            lines = read(path)
            kind = ("test" if folder == "tests" else "header" if path.endswith(".h") else "source")
            if len(lines) > LINES[kind]:
                wrong.append(f"{path}: {len(lines)} lines, a {kind} has at most {LINES[kind]}")
            wrong += [f"{path}:{number}: {len(line)} columns" for number, line
                      in enumerate(lines, 1) if len(line) > COLUMNS]
    assert not wrong, "\n".join(wrong)


def every_folder_of_the_daemon_says_what_it_is():
    missing = [layer for layer in LAYERS if layer != "client" and
               not os.path.exists(os.path.join(ROOT, "daemon", layer, "README.md"))]
    assert not missing, f"no README.md in {', '.join(missing)}"


def the_top_level_holds_what_it_should():
    allowed = {"CMakeLists.txt", "README.md", "DEVELOPERS.md", "proto", "daemon", "client", "tests",
               "deploy", "sample-events"}
    extra = [name for name in os.listdir(ROOT)
             if name not in allowed and not name.startswith((".", "build"))]
    assert not extra, extra


if __name__ == "__main__":
    main([includes_follow_the_table_of_layers, a_forbidden_include_is_found,
          only_the_clock_reads_the_time, files_stay_within_their_measure,
          every_folder_of_the_daemon_says_what_it_is, the_top_level_holds_what_it_should])
