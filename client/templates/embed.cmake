# Writes OUT, the source behind client/templates.h, from the templates in FOLDER.
file(GLOB templates ${FOLDER}/*.mustache)
list(SORT templates)
set(entries "")
foreach(path ${templates})
  get_filename_component(name ${path} NAME_WLE)
  file(READ ${path} text)
  string(APPEND entries "    {\"${name}\", R\"template(${text})template\"},\n")
endforeach()
file(WRITE ${OUT}.new "// Made from templates/*.mustache by templates/embed.cmake.
#include <cstdlib>

#include \"client/templates.h\"

namespace plumblane::client {
namespace {

constexpr TemplateFile kTemplates[] = {
${entries}};

}  // namespace

std::span<const TemplateFile> Templates() { return kTemplates; }

std::string_view Template(std::string_view name) {
  for (const TemplateFile& file : kTemplates) {
    if (file.name == name) return file.text;
  }
  std::abort();
}

}  // namespace plumblane::client
")
file(RENAME ${OUT}.new ${OUT})
