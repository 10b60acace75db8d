"""The Debian package: what is in it, that its settings are fine, and what lintian says."""
import glob
import os
import re
import shutil
import subprocess

from harness import BIN, ROOT, Folder, main

BUILD = os.path.dirname(os.path.abspath(BIN))


def run(*command, **options):
    done = subprocess.run(command, capture_output=True, text=True, **options)
    assert done.returncode == 0, f"{command}: {done.stdout[-2000:]}{done.stderr[-2000:]}"
    return done.stdout


class Package:
    def __init__(self, folder):
        run("cmake", "--build", BUILD, "--target", "package_files")
        run("cpack", "-B", folder, cwd=BUILD)
        self.path = glob.glob(os.path.join(folder, "plumblane_*.deb"))[0]
        self.root = os.path.join(folder, "root")
        run("dpkg-deb", "-x", self.path, self.root)

    def read(self, path):
        with open(os.path.join(self.root, path)) as file:
            return file.read()


def it_holds_what_a_service_needs():
    files = set()
    for line in run("dpkg-deb", "-c", PACKAGE.path).splitlines():
        mode, owner, *_, path = line.split()
        files.add(path.removeprefix("./"))
        private = path.startswith("./etc/plumblane/credentials")
        program = path.startswith("./usr/bin/") or path.endswith("/")
        expected = "rwx------" if private else "rwxr-xr-x" if program else "rw-r--r--"
        assert (mode[1:], owner) == (expected, "root/root"), line
    needed = """usr/bin/plumblane usr/bin/plumblaned usr/lib/systemd/system/plumblaned.service
        usr/lib/sysusers.d/plumblane.conf etc/plumblane/plumblaned.toml etc/plumblane/credentials/
        usr/share/man/man1/plumblane.1.gz usr/share/man/man8/plumblaned.8.gz
        usr/share/bash-completion/completions/plumblane usr/share/zsh/vendor-completions/_plumblane
        usr/share/fish/vendor_completions.d/plumblane.fish usr/share/doc/plumblane/copyright
        usr/share/doc/plumblane/changelog.Debian.gz usr/share/doc/plumblane/RUNBOOK.md
        usr/share/doc/plumblane/alert-rules.yml"""
    missing = set(needed.split()) - files
    assert not missing, missing
    assert run("dpkg-deb", "-I", PACKAGE.path, "conffiles").split() == [
        "/etc/plumblane/plumblaned.toml"]


def its_settings_are_fine_and_those_of_its_unit():
    settings = os.path.join(PACKAGE.root, "etc/plumblane/plumblaned.toml")
    run(os.path.join(PACKAGE.root, "usr/bin/plumblaned"), "--config", settings, "--check-config")
    unit = PACKAGE.read("usr/lib/systemd/system/plumblaned.service")
    program, config = re.search(r"ExecStart=/(\S+) --config /(\S+)", unit).groups()
    for path in (program, config, "etc/plumblane/credentials"):
        assert os.path.exists(os.path.join(PACKAGE.root, path)), path
    text = PACKAGE.read(config)
    assert '\ndata_directory = "/var/lib/plumblane"\n' in text  # StateDirectory=
    assert '\nlisten = ["unix:/run/plumblane/plumblane.sock"]\n' in text  # RuntimeDirectory=
    assert "StateDirectory=plumblane plumblane-backup\n" in unit and "RuntimeDirectory=plumblane\n" in unit


def it_depends_on_what_is_linked_and_has_the_version_of_its_changelog():
    fields = run("dpkg-deb", "-f", PACKAGE.path)
    for library in ("librocksdb", "libgrpc++1", "libjemalloc2", "tzdata"):
        assert library in re.search("^Depends: (.*)$", fields, re.M).group(1), fields
    version = re.search("^Version: (.*)$", fields, re.M).group(1)
    with open(os.path.join(ROOT, "deploy", "debian", "changelog")) as file:
        assert file.readline().startswith(f"plumblane ({version}) "), version
    program = os.path.join(PACKAGE.root, "usr/bin/plumblaned")
    assert run(program, "--version").split()[1] == version.split("-")[0]


def lintian_finds_no_error():
    if shutil.which("lintian") is None:
        return "lintian (134 MB) is not installed"
    print(run("lintian", "--allow-root", "--fail-on", "error", PACKAGE.path).strip())


def nothing_is_packed_here():
    with open(os.path.join(BUILD, "CMakeCache.txt")) as cache:
        if re.search("^PLUMBLANE_SANITIZE:[A-Z]+=.", cache.read(), re.M):
            return "a build with a sanitizer is not packed"
    return None


if __name__ == "__main__":
    if nothing_is_packed_here():
        main([nothing_is_packed_here])
    with Folder() as packed:
        PACKAGE = Package(packed)
        main([it_holds_what_a_service_needs, its_settings_are_fine_and_those_of_its_unit,
              it_depends_on_what_is_linked_and_has_the_version_of_its_changelog,
              lintian_finds_no_error])
