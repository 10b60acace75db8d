"""What the shell is given: completions tried in bash, zsh and fish, the manual read by groff, the
settings file."""
import os
import pty
import select
import shutil
import signal
import subprocess
import time

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


# What a person has typed is shown on ^X, with what else there would be above it.
ZSH = """
fpath=($PWD $fpath)
autoload -Uz compinit && compinit -D -u
unsetopt auto_menu list_beep
LISTMAX=1000 PS1="READ""Y>"
show() { print -r -- "LINE[$BUFFER]" }
zle -N show && bindkey '^X' show
"""


class Terminal:
    """A program that believes a person types."""

    def __init__(self, folder, *words):
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.chdir(folder)
            os.environ.update(TERM="dumb", HOME=folder)
            os.execvp(words[0], words)

    def type(self, text):
        os.write(self.fd, text.encode())

    def read_until(self, text, patience=60):
        shown, end = "", time.monotonic() + patience
        while text not in shown:
            assert time.monotonic() < end, f"{text} does not come: {shown}"
            if select.select([self.fd], [], [], 1)[0]:
                shown += os.read(self.fd, 65536).decode(errors="replace")
        return shown

    def end(self):
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.fd)


def zsh_completes_commands_options_and_files():
    if shutil.which("zsh") is None:
        return "zsh"
    with Folder() as folder:
        for name, text in (("_plumblane", said("completions", "zsh")), ("setup", ZSH),
                           ("plumb.csv", "")):
            with open(os.path.join(folder, name), "w") as file:
                file.write(text)
        assert shell("zsh", f"zsh -n {folder}/_plumblane") == ""
        terminal = Terminal(folder, "zsh", "-f", "-i")
        try:
            terminal.type("source ./setup\n")
            terminal.read_until("READY>")
            for line, expected, listed in [
                    ("plumblane al", "plumblane alerts ", []),
                    ("plumblane alerts ac", "plumblane alerts ac", ["accept ", "acknowledge "]),
                    ("plumblane --json quotes l", "plumblane --json quotes l", ["load ", "list "]),
                    ("plumblane supplier --exp", "plumblane supplier --explain ", []),
                    ("plumblane alerts watch --aft", "plumblane alerts watch --after ", []),
                    ("plumblane rank --pla", "plumblane rank --plain ", []),
                    ("plumblane alerts watch --server x", "plumblane alerts watch --server x", []),
                    ("plumblane review -o plu", "plumblane review -o plumb.csv ", []),
                    ("plumblane send plu", "plumblane send plumb.csv ", [])]:
                terminal.type(line + "\t\x18")
                shown = terminal.read_until("LINE[" + expected + "]")
                for word in listed:
                    assert word in shown, (line, word, shown)
                terminal.type("\x15")  # takes the line away
        finally:
            terminal.end()
    return None


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
    main([bash_completes_commands_options_and_files, zsh_completes_commands_options_and_files,
          fish_completes_commands_options_and_files, the_manual_is_good_roff,
          the_settings_file_says_where_the_daemon_is_unless_the_line_does])
