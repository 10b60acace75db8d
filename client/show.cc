#include "client/show.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_format.h>
#include <google/protobuf/util/json_util.h>

#include <sstream>
#include <utility>
#include <vector>

#include "client/table.h"
#include "client/text.h"
#include "plumblane/v1/orders.pb.h"
#include "plumblane/v1/sourcing.pb.h"

namespace plumblane::client {

namespace {

bool ToJson(const google::protobuf::Message& message, bool one_line, std::string& json,
            const Io& io) {
  google::protobuf::util::JsonPrintOptions options;
  options.add_whitespace = !one_line;
  options.always_print_primitive_fields = true;
  const auto status = google::protobuf::util::MessageToJsonString(message, &json, options);
  if (!status.ok()) {
    io.err << "the answer cannot be written as JSON: " << status.ToString() << "\n";
  }
  return status.ok();
}

}  // namespace

std::string JsonText(const google::protobuf::Message& message) {
  std::string json;
  std::ostringstream ignored;
  return ToJson(message, /*one_line=*/false, json, Io{ignored, ignored}) ? json : "";
}

void PrintJson(const google::protobuf::Message& message, const Io& io) {
  std::string json;
  if (ToJson(message, /*one_line=*/false, json, io)) io.out << json;
}

void PrintJsonLine(const google::protobuf::Message& message, const Io& io) {
  std::string json;
  if (ToJson(message, /*one_line=*/true, json, io)) io.out << json << "\n";
}

void PrintJsonObject(
    const std::vector<std::pair<std::string, const google::protobuf::Message*>>& members,
    const Io& io) {
  std::string text;
  for (const auto& [name, message] : members) {
    std::string json;
    if (!ToJson(*message, /*one_line=*/false, json, io)) return;
    absl::StrAppend(&text, text.empty() ? "{\n" : ",\n", "\"", name, "\": ", json);
  }
  io.out << text << "}\n";
}

ExitCode Fail(const grpc::Status& status, const Connection& connection, const Io& io) {
  io.err << Explain(status, connection.address()) << "\n";
  return ExitCodeOf(status);
}

std::string NoneFor(const std::string& noun, const std::vector<std::string>& asked) {
  std::string text;
  for (const std::string& one : asked) {
    if (!one.empty()) absl::StrAppend(&text, text.empty() ? " for " : ", ", one);
  }
  return text.empty() ? "" : absl::StrCat("no ", noun, text, "\n");
}

template <typename Answer>
std::string HoldsFor(const Answer& answer) {
  std::string text;
  const auto add = [&text](const std::string& part) {
    absl::StrAppend(&text, text.empty() ? "" : "; ", part);
  };
  if constexpr (requires { answer.half_life(); }) {
    if (answer.has_half_life()) {
      add("older orders count half after " + HalfLifeText(answer.half_life()));
    }
  }
  if constexpr (requires { answer.news_time(); }) {
    if (answer.has_news_time()) add("delivery news up to " + TimeText(answer.news_time()));
  }
  if (answer.has_as_of_time()) add("as of " + TimeText(answer.as_of_time()));
  return text;
}

template std::string HoldsFor(const v1::Score&);
template std::string HoldsFor(const v1::RankSuppliersResponse&);
template std::string HoldsFor(const v1::BacktestResponse&);
template std::string HoldsFor(const v1::ListUnderwayResponse&);
template std::string HoldsFor(const v1::ListClaimsResponse&);

std::string Wrapped(const std::string& text, int width, int indent) {
  std::istringstream read(text);
  std::vector<std::string> words;
  for (std::string word; read >> word;) {
    if (!words.empty() && word.starts_with('%')) {
      words.back() += " " + word;
    } else {
      words.push_back(std::move(word));
    }
  }
  std::string out, line;
  for (const std::string& word : words) {
    if (!line.empty() && DisplayWidth(line) + 1 + DisplayWidth(word) > width) {
      out += line + "\n";
      line = std::string(static_cast<size_t>(indent), ' ') + word;
      continue;
    }
    line += (line.empty() ? "" : " ") + word;
  }
  return out + line + "\n";
}

std::string DetailLine(const std::string& label, const std::string& value, int label_width,
                       int width) {
  std::istringstream lines(Wrapped(value, width - 2 - label_width));
  std::string out, start = absl::StrFormat("  %-*s", label_width, label);
  for (std::string line; std::getline(lines, line);) {
    out += start + line + "\n";
    start.assign(static_cast<size_t>(label_width) + 2, ' ');
  }
  return out;
}

}  // namespace plumblane::client
