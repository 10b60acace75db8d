#include "client/countries.h"

#include <absl/strings/ascii.h>

#include <cstdint>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

namespace plumblane::client {
namespace {

// What people write and the standard does not.
constexpr std::pair<const char*, const char*> kOtherNames[] = {
    {"uk", "GB"},     {"great britain", "GB"}, {"turkey", "TR"},     {"russia", "RU"},
    {"brunei", "BN"}, {"macau", "MO"},         {"cape verde", "CV"}, {"ivory coast", "CI"}};

std::string ReadAll(const std::filesystem::path& path) {
  const std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

// The texts of a compiled catalogue of GNU gettext, of this machine's byte order; what does not fit
// its own sizes is left out.
class Catalogue {
 public:
  explicit Catalogue(std::string_view bytes) : bytes_(bytes) {
    if (Number(0) == 0x950412de) count_ = Number(8);
  }
  size_t size() const { return count_; }
  std::string_view original(size_t i) const { return Text(Number(12) + 8 * i); }
  std::string_view translation(size_t i) const { return Text(Number(16) + 8 * i); }

 private:
  uint32_t Number(size_t at) const {
    if (at > bytes_.size() || bytes_.size() - at < sizeof(uint32_t)) return 0;
    uint32_t number = 0;
    std::memcpy(&number, bytes_.data() + at, sizeof number);
    return number;
  }
  std::string_view Text(size_t at) const {
    const size_t size = Number(at), from = Number(at + 4);
    if (from > bytes_.size() || size > bytes_.size() - from) return "";
    return bytes_.substr(from, size);
  }

  const std::string_view bytes_;
  size_t count_ = 0;
};

bool IsCodeShaped(std::string_view text) {
  return text.size() == 2 && absl::ascii_isalpha(static_cast<unsigned char>(text[0])) &&
         absl::ascii_isalpha(static_cast<unsigned char>(text[1]));
}

}  // namespace

std::string Folded(std::string_view text) {
  std::string folded = absl::AsciiStrToLower(std::string(text));
  for (size_t i = 0; i + 1 < folded.size(); ++i) {
    const auto lead = static_cast<unsigned char>(folded[i]);
    const auto next = static_cast<unsigned char>(folded[i + 1]);
    // Latin-1: capitals are 0x20 below their small letters. Latin Extended-A: pairs, even first,
    // but from U+0139 to U+0148 odd first.
    if (lead == 0xC3 && next >= 0x80 && next <= 0x9E && next != 0x97) {
      folded[i + 1] = static_cast<char>(next + 0x20);
    } else if (lead == 0xC4 || (lead == 0xC5 && next >= 0x80)) {
      const unsigned point = ((lead & 0x1Fu) << 6) | (next & 0x3Fu);
      const bool odd_first = (point >= 0x139 && point <= 0x148) || point >= 0x179;
      const bool is_capital = (point % 2 == 1) == odd_first && point != 0x130 && point != 0x138 &&
                              point != 0x178 && point != 0x17F;
      if (is_capital) {
        folded[i] = static_cast<char>(0xC0 | ((point + 1) >> 6));
        folded[i + 1] = static_cast<char>(0x80 | ((point + 1) & 0x3F));
      }
    }
  }
  return folded;
}

Countries::Countries(Places places) : places_(std::move(places)) {
  const auto json = nlohmann::json::parse(ReadAll(places_.names), nullptr, false);
  if (!json.is_object() || !json.contains("3166-1") || !json["3166-1"].is_array()) return;
  for (const auto& country : json["3166-1"]) {
    if (!country.is_object()) continue;
    const std::string code = country.value("alpha_2", "");
    for (const char* const key : {"alpha_2", "alpha_3", "name", "official_name", "common_name"}) {
      const std::string name = country.value(key, "");
      if (!name.empty()) english_.emplace(Folded(name), code);
    }
  }
  for (const auto& [name, code] : kOtherNames) english_.emplace(name, code);
}

void Countries::ReadTranslations() {
  has_translations_ = true;
  std::error_code error;
  for (const auto& language : std::filesystem::directory_iterator(places_.translations, error)) {
    const std::string bytes = ReadAll(language.path() / "LC_MESSAGES" / "iso_3166-1.mo");
    const Catalogue texts(bytes);
    for (size_t i = 0; i < texts.size(); ++i) {
      const auto country = english_.find(Folded(texts.original(i)));
      if (country == english_.end() || texts.translation(i).empty()) continue;
      const auto [it, is_new] = foreign_.emplace(Folded(texts.translation(i)), country->second);
      if (!is_new && it->second != country->second) it->second.clear();
    }
  }
}

std::string Countries::Find(std::string_view text) {
  if (!has_names()) {
    return IsCodeShaped(text) ? absl::AsciiStrToUpper(std::string(text)) : "";
  }
  const std::string folded = Folded(text);
  if (const auto it = english_.find(folded); it != english_.end()) return it->second;
  if (!has_translations_) ReadTranslations();
  const auto it = foreign_.find(folded);
  return it == foreign_.end() ? "" : it->second;
}

}  // namespace plumblane::client
