# What is installed, and the Debian package of it: deploy/make-package.
set(PACKAGE_FILES ${CMAKE_BINARY_DIR}/package)
file(MAKE_DIRECTORY ${PACKAGE_FILES})

# The sample settings with the places that the unit gives the daemon. Who can reach a port of this
# machine need not be who may use the socket, so the service has none unless asked for.
file(READ ${CMAKE_CURRENT_LIST_DIR}/plumblane.toml settings)
string(REGEX REPLACE "\n#(data_directory = [^\n]*)" "\n\\1" settings "${settings}")
string(REGEX REPLACE "\n#listen = \\[(\"unix:[^\"]*\")[^\n]*" "\nlisten = [\\1]" settings "${settings}")
file(WRITE ${PACKAGE_FILES}/plumblaned.toml "${settings}")
set_property(DIRECTORY APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${CMAKE_CURRENT_LIST_DIR}/plumblane.toml)

# Printed by the client itself.
function(plumblane_printed file)
  add_custom_command(OUTPUT ${PACKAGE_FILES}/${file}
    COMMAND sh -c "\"$0\" \"$@\" > '${PACKAGE_FILES}/${file}'" $<TARGET_FILE:plumblane> ${ARGN}
    DEPENDS plumblane VERBATIM)
  set(PRINTED ${PRINTED} ${PACKAGE_FILES}/${file} PARENT_SCOPE)
endfunction()
plumblane_printed(plumblane.1 manual)
plumblane_printed(plumblane.bash completions bash)
plumblane_printed(_plumblane completions zsh)
plumblane_printed(plumblane.fish completions fish)
function(plumblane_packed source file)
  add_custom_command(OUTPUT ${PACKAGE_FILES}/${file}
    COMMAND sh -c "gzip -9n < '${source}' > '${PACKAGE_FILES}/${file}'" DEPENDS ${source} VERBATIM)
  set(PRINTED ${PRINTED} ${PACKAGE_FILES}/${file} PARENT_SCOPE)
endfunction()
plumblane_packed(${PACKAGE_FILES}/plumblane.1 plumblane.1.gz)
plumblane_packed(${CMAKE_CURRENT_LIST_DIR}/plumblaned.8 plumblaned.8.gz)
plumblane_packed(${CMAKE_CURRENT_LIST_DIR}/debian/changelog changelog.Debian.gz)
add_custom_target(package_files DEPENDS ${PRINTED} plumblaned)

install(TARGETS plumblane plumblaned RUNTIME DESTINATION bin)
install(FILES ${PACKAGE_FILES}/plumblane.1.gz DESTINATION share/man/man1)
install(FILES ${PACKAGE_FILES}/plumblaned.8.gz DESTINATION share/man/man8)
install(FILES ${PACKAGE_FILES}/plumblane.bash DESTINATION share/bash-completion/completions RENAME plumblane)
install(FILES ${PACKAGE_FILES}/_plumblane DESTINATION share/zsh/vendor-completions)
install(FILES ${PACKAGE_FILES}/plumblane.fish DESTINATION share/fish/vendor_completions.d)
install(FILES ${CMAKE_CURRENT_LIST_DIR}/plumblaned.service DESTINATION lib/systemd/system)
install(FILES ${CMAKE_CURRENT_LIST_DIR}/debian/plumblane.sysusers DESTINATION lib/sysusers.d
  RENAME plumblane.conf)
install(FILES ${PACKAGE_FILES}/plumblaned.toml DESTINATION /etc/plumblane)
install(DIRECTORY DESTINATION /etc/plumblane/credentials
  DIRECTORY_PERMISSIONS OWNER_READ OWNER_WRITE OWNER_EXECUTE)
install(FILES ${PACKAGE_FILES}/changelog.Debian.gz ${CMAKE_CURRENT_LIST_DIR}/debian/copyright
  ${CMAKE_CURRENT_LIST_DIR}/RUNBOOK.md ${CMAKE_CURRENT_LIST_DIR}/alert-rules.yml DESTINATION share/doc/plumblane)

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_PACKAGE_NAME plumblane)
set(CPACK_PACKAGE_VERSION ${PROJECT_VERSION})
set(CPACK_DEBIAN_PACKAGE_RELEASE 1)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_MAINTAINER "Plumblane <plumblane@plumblane.invalid>")
set(CPACK_DEBIAN_PACKAGE_SECTION misc)
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "says which supplier gets the next order of a small shop")
set(CPACK_DEBIAN_PACKAGE_DESCRIPTION
"Takes the events of orders that suppliers ship straight to the customer, and
tells from them which supplier gets the next order and why, how each supplier
and each lane keeps its promises, and how sure that is.
.
This package has the daemon plumblaned, run by systemd, and its client
plumblane.")
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_DEPENDS "tzdata, systemd | systemd-standalone-sysusers | systemd-sysusers")
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS "ca-certificates, iso-codes")
set(CPACK_DEBIAN_PACKAGE_CONTROL_EXTRA ${CMAKE_CURRENT_LIST_DIR}/debian/conffiles
  ${CMAKE_CURRENT_LIST_DIR}/debian/postinst ${CMAKE_CURRENT_LIST_DIR}/debian/prerm
  ${CMAKE_CURRENT_LIST_DIR}/debian/postrm)
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS OWNER_READ OWNER_WRITE OWNER_EXECUTE
  GROUP_READ GROUP_EXECUTE WORLD_READ WORLD_EXECUTE)
set(CPACK_VERBATIM_VARIABLES ON)
include(CPack)
