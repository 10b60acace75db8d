// Names of countries to the codes of ISO 3166-1 alpha-2.
//
// Taken as a country, in any case: a two-letter or three-letter code of the standard, a few names
// that are none of it ("UK", "Turkey"), and the names of Debian's iso-codes package: short,
// official and common ones, in English and in every language the package translates them to
// ("Deutschland").
// A name that stands for several countries in different languages is none. Everything is read at
// run time and is simply not there when the package is not: then only a code can be told, by its
// shape.
//
// Not thread-safe: translations are read when the first name is asked that is not English.
#pragma once

#include <string>
#include <string_view>
#include <unordered_map>

namespace plumblane::client {

class Countries {
 public:
  struct Places {
    std::string names = "/usr/share/iso-codes/json/iso_3166-1.json";
    std::string translations = "/usr/share/locale";
  };

  Countries() : Countries(Places()) {}
  explicit Countries(Places places);

  // "DE" for "Germany", "deu", "Deutschland"; "" = no country is called so.
  std::string Find(std::string_view text);

  // Names are known, not codes alone.
  bool has_names() const { return !english_.empty(); }

 private:
  void ReadTranslations();

  const Places places_;
  std::unordered_map<std::string, std::string> english_;  // folded name or code to code
  std::unordered_map<std::string, std::string> foreign_;  // "" = of several countries
  bool has_translations_ = false;
};

// Lower case of Latin letters, for comparing: "ÖSTERREICH" and "Österreich" are one.
std::string Folded(std::string_view text);

}  // namespace plumblane::client
