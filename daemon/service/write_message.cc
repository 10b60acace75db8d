#include "service/write_message.h"

#include <absl/strings/str_cat.h>
#include <absl/strings/str_replace.h>
#include <google/protobuf/util/json_util.h>
#include <plumblane/v1/alerts.pb.h>

#include <cassert>

#include "service/write_alert.h"

namespace plumblane {
namespace {

std::string NameOf(AlertNotice::Kind kind) {
  switch (kind) {
    case AlertNotice::Kind::kRaised:
      return "raised";
    case AlertNotice::Kind::kRevised:
      return "revised";
    case AlertNotice::Kind::kReturned:
      return "returned_to_normal";
    case AlertNotice::Kind::kAcknowledged:
      return "acknowledged";
    case AlertNotice::Kind::kShelved:
      return "shelved";
    case AlertNotice::Kind::kAccepted:
      return "accepted";
    case AlertNotice::Kind::kActiveAgain:
      return "active_again";
  }
  return "";
}

std::string TextOf(const v1::Alert& alert) {
  std::string text = absl::StrCat(alert.sentence(), "\n");
  for (const auto& [label, words] : {std::pair("Revised: ", &alert.revision()),
                                     {"Note: ", &alert.note()},
                                     {"Advice: ", &alert.advice()},
                                     {"Alert: ", &alert.alert_id()}}) {
    if (!words->empty()) absl::StrAppend(&text, label, *words, "\n");
  }
  return text;
}

}  // namespace

Message MessageOf(const std::string& source, int64_t cursor, const AlertNotice& notice,
                  const ToldAlert& after) {
  v1::AlertNotice written;
  WriteNotice(cursor, notice, after, &written);
  Message message{.cursor = cursor,
                  .source = source,
                  .id = absl::StrCat(cursor, "-", notice.alert_id),
                  .type = absl::StrCat("plumblane.alert.", NameOf(notice.kind)),
                  .subject = NameOf(after.key),
                  .time = notice.time,
                  .headline = absl::StrCat(NameOf(after.key), ": ",
                                           absl::StrReplaceAll(NameOf(notice.kind), {{"_", " "}})),
                  .text = TextOf(written.alert()),
                  .data = {}};
  const auto status = google::protobuf::util::MessageToJsonString(written, &message.data);
  assert(status.ok());
  (void)status;
  return message;
}

}  // namespace plumblane
