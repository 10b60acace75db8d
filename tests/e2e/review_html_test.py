"""The page of a review held against the HTML standard by a validator from the npm registry. Skipped
where npm is not installed or cannot fetch it."""
import json
import os
import shutil
import subprocess

from harness import Daemon, Folder, main, send_season

VALIDATOR = "html-validate@10.17.0"
# Its presets but for taste: which of two spellings that mean the same is used.
RULES = {"extends": ["html-validate:standard", "html-validate:a11y"], "root": True}


def made_with(folder):
    """The pages of a whole review and of a copy to share, and of one without orders."""
    pages = []
    daemon = Daemon(folder).start()
    send_season(daemon)
    for name, words in (("whole", ("2026Q3",)), ("empty", ("2024Q1",)),
                        ("shared", ("2026Q3", "--supplier", "lotus-works", "--to-share"))):
        pages.append(os.path.join(folder, name + ".html"))
        daemon.run("review", *words, "-o", pages[-1], check=0)
    daemon.stop()
    return pages


def every_page_is_valid():
    if not shutil.which("npm") or not shutil.which("node"):
        return "npm is not installed"
    with Folder() as folder:
        done = subprocess.run(["npm", "install", "--prefix", folder, "--no-audit", "--no-fund",
                               "--ignore-scripts", VALIDATOR], capture_output=True, text=True,
                              timeout=300)
        program = os.path.join(folder, "node_modules", ".bin", "html-validate")
        if done.returncode != 0 or not os.path.exists(program):
            return "npm cannot fetch " + VALIDATOR
        rules = os.path.join(folder, "rules.json")
        with open(rules, "w") as file:
            json.dump(RULES, file)
        broken = os.path.join(folder, "broken.html")
        with open(broken, "w") as file:
            file.write("<!DOCTYPE html><html lang=\"en\"><head><title>x</title></head>"
                       "<body><p><ul><li id=\"a\" id=\"a\">x</ul></p></body></html>\n")
        assert complaints(program, rules, [broken]), "the control finds nothing"
        found = complaints(program, rules, made_with(folder))
        assert not found, "\n".join(found[:20])
    return None


def complaints(program, rules, pages):
    done = subprocess.run([program, "--config", rules, "--formatter", "json", *pages],
                          capture_output=True, text=True, timeout=300)
    assert done.returncode in (0, 1) and done.stdout, done.stderr
    return [f"{os.path.basename(one['filePath'])}:{at['line']}: {at['ruleId']}: {at['message']}"
            for one in json.loads(done.stdout) for at in one["messages"]]


if __name__ == "__main__":
    main([every_page_is_valid])
