"""What the shell is given: completions tried in bash, zsh and fish, the manual read by groff, the
settings file."""
import os
import shutil
import subprocess

from harness import BIN, Daemon, Folder, main

CLIENT = os.path.join(BIN, "plumblane")


def said(*words):
    return subprocess.run([CLIENT, *words], capture_output=True, text=True, check=True).stdout


def shell(name, script):
    if shutil.which(name) is None:
        return None
    done = subprocess.run([name, "-c", script], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0 and done.stderr == "", (done.returncode, done.stderr)
    return done.stdout


def bash_completes_commands_options_and_files():
    with Folder() as folder:
        path = folder + "/completions"
        with open(path, "w") as file:
            file.write(said("completions", "bash"))
        for line, expected in [("plumblane al", ["alerts"]),
                               ("plumblane alerts ac", ["acknowledge", "accept"]),
                               ("plumblane --json quotes l", ["load", "list"]),
                               ("plumblane supplier --exp", ["--explain"]),
                               ("plumblane alerts watch --aft", ["--after"]),
                               ("plumblane alerts watch --server x", []),
                               ("plumblane rank --pla", ["--plain"])]:
            out = shell("bash", f"source {path}; COMP_WORDS=({line}); "
                        "COMP_CWORD=$((${#COMP_WORDS[@]} - 1)); _plumblane; "
                        "printf '%s\\n' \"${COMPREPLY[@]}\"")
            assert out.split() == expected, (line, out)


def zsh_reads_its_completions():
    with Folder() as folder:
        with open(folder + "/_plumblane", "w") as file:
            file.write(said("completions", "zsh"))
        return None if shell("zsh", f"zsh -n {folder}/_plumblane") is not None else "zsh"


def fish_completes_commands_options_and_files():
    with Folder() as folder:
        path = folder + "/plumblane.fish"
        with open(path, "w") as file:
            file.write(said("completions", "fish"))
        for line, expected in [("plumblane al", "alerts"), ("plumblane alerts w", "watch watches"),
                               ("plumblane alerts watch --aft", "--after"),
                               ("plumblane supplier --js", "--json"),
                               ("plumblane send plumb", "plumblane.fish")]:
            out = shell("fish", f"cd {folder}; source {path}; complete -C '{line}'")
            if out is None:
                return "fish"
            assert [word.split("\t")[0] for word in out.splitlines()] == expected.split(), (line, out)


def the_manual_is_good_roff():
    page = said("manual")
    if shutil.which("groff") is None:
        return "groff"
    done = subprocess.run(["groff", "-man", "-ww", "-z"], input=page, capture_output=True, text=True)
    assert done.returncode == 0 and done.stderr == "", done.stderr
    text = subprocess.run(["groff", "-man", "-Tutf8", "-P-c"], input=page, capture_output=True,
                          text=True, check=True).stdout
    assert "plumblane alerts watch" in text and "--half-life" in text


def the_settings_file_says_where_the_daemon_is_unless_the_line_does():
    with Folder() as folder:
        daemon = Daemon(folder).start()

        def run(*words, settings):
            with open(folder + "/client.toml", "w") as file:
                file.write(settings)
            environment = {name: value for name, value in os.environ.items()
                           if name != "PLUMBLANE_SERVER"}
            environment["PLUMBLANE_SETTINGS"] = folder + "/client.toml"
            return subprocess.run([CLIENT, *words], capture_output=True, text=True,
                                  env=environment)
        assert run("suppliers", settings=f'server = "{daemon.address}"').returncode == 0
        away = run("suppliers", settings='server = "unix:/nowhere/plumblane.sock"')
        assert away.returncode == 6 and "/nowhere/plumblane.sock" in away.stderr, away
        assert run("suppliers", "--server", daemon.address,
                   settings='server = "unix:/nowhere/plumblane.sock"').returncode == 0
        wrong = run("suppliers", settings='server = 1\n')
        assert wrong.returncode == 2 and "client.toml:1: server: expected" in wrong.stderr, wrong
        assert run("--help", settings="server = 1\n").returncode == 0
        assert daemon.stop() == 0


if __name__ == "__main__":
    main([bash_completes_commands_options_and_files, zsh_reads_its_completions,
          fish_completes_commands_options_and_files, the_manual_is_good_roff,
          the_settings_file_says_where_the_daemon_is_unless_the_line_does])
