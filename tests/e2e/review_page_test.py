"""The page of a review: the sample season's quarter as HTML, read as a person or a browser would.

Well-formed, with headings, links and texts for pictures; every figure is the one of the JSON
answer; its colours can be read; and, where Chromium is installed, it shows without complaint at the width
of a telephone and of a desk, and prints."""
import html.parser
import os
import re
import shutil
import struct
import subprocess
import zlib

from harness import Daemon, Folder, SAMPLE, main, send_season

VOID = {"meta", "link", "br", "hr", "img", "input", "col"}
NARROW, WIDE = 375, 1440


class Node:
    def __init__(self, tag, attributes, parent):
        self.tag, self.attributes, self.parent = tag, attributes, parent
        self.children = []

    def all(self, *tags):
        for child in self.children:
            if isinstance(child, Node):
                if child.tag in tags:
                    yield child
                yield from child.all(*tags)

    def text(self):
        parts = [child if isinstance(child, str) else child.text() for child in self.children]
        return " ".join("".join(parts).replace("\u00a0", " ").split())


class Page(html.parser.HTMLParser):
    """The tree of a page; an error for a tag that is not closed where it should be."""

    def __init__(self, text):
        super().__init__()
        self.root = self.at = Node("", {}, None)
        self.feed(text)
        self.close()
        assert self.at is self.root, f"<{self.at.tag}> is not closed"

    def handle_starttag(self, tag, attributes):
        node = Node(tag, dict(attributes), self.at)
        self.at.children.append(node)
        if tag not in VOID:
            self.at = node

    def handle_startendtag(self, tag, attributes):
        self.at.children.append(Node(tag, dict(attributes), self.at))

    def handle_endtag(self, tag):
        assert tag == self.at.tag, f"</{tag}> closes <{self.at.tag}>, line {self.getpos()[0]}"
        self.at = self.at.parent

    def handle_data(self, data):
        self.at.children.append(data)


class Made:
    """The pages and the answer, made once."""
    html = shared = answer = None

    @classmethod
    def make(cls):
        with Folder() as folder:
            daemon = Daemon(folder).start()
            send_season(daemon)
            agreed = os.path.join(SAMPLE, "agreements")
            for table in ("rates", "items", "quotes", "terms"):
                daemon.run(table, "load", os.path.join(agreed, table + ".csv"), check=0)
            daemon.run("costs", "load", os.path.join(agreed, "costs.toml"), check=0)
            cls.answer = daemon.ask("review", "2026Q3")
            page = os.path.join(folder, "q3.html")
            daemon.run("review", "2026Q3", "-o", page, check=0)
            shared = os.path.join(folder, "shared.html")
            daemon.run("review", "2026Q3", "--supplier", "lotus-works", "--to-share", "-o", shared,
                       check=0)
            daemon.stop()
            with open(page, encoding="utf-8") as file:
                cls.html = file.read()
            with open(shared, encoding="utf-8") as file:
                cls.shared = file.read()


def every_tag_is_closed_and_every_id_is_there_once():
    for text in (Made.html, Made.shared):
        page = Page(text).root
        ids = [node.attributes["id"] for node in walk(page) if "id" in node.attributes]
        assert len(ids) > 10, ids
        assert len(ids) == len(set(ids)), "an id is there twice"
        wanted = [node.attributes["href"] for node in page.all("a")]
        assert wanted and all(one.startswith("#") for one in wanted), "a link leaves the page"
        for node in walk(page):
            wanted += ["#" + one for one in node.attributes.get("aria-labelledby", "").split()]
        missing = {one for one in wanted if one[1:] not in ids}
        assert not missing, f"nothing is called {missing}"


def walk(node):
    for child in node.children:
        if isinstance(child, Node):
            yield child
            yield from walk(child)


def headings_go_down_one_step_at_a_time():
    page = Page(Made.html).root
    levels = [int(node.tag[1]) for node in page.all("h1", "h2", "h3", "h4", "h5", "h6")]
    assert levels.count(1) == 1 and levels[0] == 1
    for above, below in zip(levels, levels[1:]):
        assert below <= above + 1, f"h{below} follows h{above}"


def one_finds_the_way_without_eyes():
    page = Page(Made.html).root
    assert next(page.all("html")).attributes.get("lang") == "en"
    for landmark in ("header", "nav", "main", "footer"):
        assert len(list(page.all(landmark))) == 1, landmark
    first = next(page.all("a"))
    assert first.attributes["href"] == "#content" and "skip" in first.attributes["class"]
    for table in page.all("table"):
        assert next(table.all("caption")).text(), "a table without caption"
        assert all("scope" in node.attributes for node in table.all("th"))
        width = {len([cell for cell in row.children if isinstance(cell, Node)])
                 for row in table.all("tr")}
        assert len(width) == 1, f"rows of {width} cells: {next(table.all('caption')).text()}"


def it_needs_nothing_else_and_runs_nothing():
    for text in (Made.html, Made.shared):
        page = Page(text).root
        tags = {node.tag for node in walk(page)}
        assert not tags & {"script", "link", "iframe", "img", "object", "embed", "form"}, tags
        assert "url(" not in text and "@import" not in text and "://" not in text
        assert not [key for node in walk(page) for key in node.attributes
                    if key.startswith("on") or key in ("src", "style")]


def pictures_show_something_and_say_it_in_words():
    pictures = list(Page(Made.html).root.all("svg"))
    assert len(pictures) > 40, len(pictures)
    for picture in pictures:
        assert picture.attributes["role"] == "img"
        assert next(picture.all("title")).text() and next(picture.all("desc")).text()
        paths = [node for node in picture.all("path") if node.attributes["class"] != "grid"]
        assert paths and all(len(node.attributes["d"]) > 8 for node in paths), picture.text()
        _, _, width, height = map(float, picture.attributes["viewbox"].split())
        for node in paths:
            for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", node.attributes["d"]):
                assert 0 <= float(x) <= width and 0 <= float(y) <= height, node.attributes["d"]


# ---- figures: written down from the JSON by rules of this file's own ----------------------------

def number(share):
    percent = share * 100
    if 0 < percent < 0.05:
        return "<0.1"
    text = f"{percent:.1f}" if percent < 9.95 or percent > 99.05 else f"{percent:.0f}"
    return {"0.0": "0", "100.0": "99.9" if percent < 100 else "100"}.get(text, text)


def share_text(share):
    if int(share["orderCount"]) == 0:
        return "no orders due"
    text = f"{number(share['observed'])} % ({number(share['low'])}-{number(share['high'])})"
    thin = ", too thin" if share["tooThin"] else ""
    return f"{text} of {int(share['orderCount']):,}{thin}"


def name_of(account):
    lane = account.get("lane")
    where = lane and lane["origin"] + "-" + lane["destination"]
    if lane and lane.get("service"):
        where += "/" + lane["service"]
    who = account["supplierId"]
    return f"{who} on {where}" if who and lane else who or where or "all together"


def figures_of(figures):
    """What the page must say of them, by line."""
    lines = {"orders paid": f"{int(figures['orderCount']):,}",
             "on time": share_text(figures["onTime"]),
             "bad or lost": share_text(figures["defect"])}
    if int(figures["onTime"]["orderCount"]):
        lines["came late"] = f"{int(figures['onTime']['hitCount']):,}"
    if "meanDaysLate" in figures:
        lines["days late, on average"] = (f"{figures['meanDaysLate']:.1f} of "
                                          f"{int(figures['lateArrivedCount']):,}")
    money = [one for one in figures["money"] if int(one["paid"])]
    if money:
        lines["paid for orders"] = "; ".join(f"{int(one['paid']) / 100:.2f} {one['currencyCode']}"
                                             for one in money)
    return lines


def every_figure_is_that_of_the_answer():
    page = Page(Made.html).root
    tables = {}
    for table in page.all("table"):
        rows = [[cell.text() for cell in row.children if isinstance(cell, Node)]
                for row in table.all("tr")]
        tables[next(table.all("caption")).text().split(";")[0]] = {row[0]: row[1:] for row in rows}
    glance = {**tables["Suppliers, this period"], **tables["Lanes, this period"],
              **tables["Each supplier on each lane, this period"]}
    seen = 0
    for account in Made.answer["accounts"]:
        name = name_of(account)
        if name != "all together":
            period = account["period"]
            assert glance[name][:3] == [f"{int(period['orderCount']):,}",
                                        share_text(period["onTime"]),
                                        share_text(period["defect"])], (name, glance[name])
        if account["supplierId"] and "lane" in account:
            continue
        shown = tables["Figures of " + name]
        for column, key in enumerate(("period", "before")):
            for label, text in figures_of(account.get(key, {})).items() if key in account else ():
                assert shown[label][column] == text, (name, label, shown[label][column], text)
                seen += 1
    assert seen > 100, seen


def every_point_stands_there_with_its_money():
    text = Page(Made.html).root.text()
    points = [point for account in Made.answer["accounts"] for point in account["points"]]
    assert len(points) > 10
    for point in points:
        assert " ".join(point["sentence"].split()) in text, point["sentence"]
        if "atStake" in point:
            money = point["atStake"]
            assert f"{int(money['minorUnits']) / 100:.2f} {money['currencyCode']}" in text


def the_copy_to_share_names_nobody_else():
    others = {account["supplierId"] for account in Made.answer["accounts"]} - {"", "lotus-works"}
    assert others and not [name for name in others if name in Made.shared]
    assert "cost settings" not in Made.shared and "refunded by the shop" not in Made.shared


def what_is_provisional_says_so_until_when():
    assert Made.answer["provisional"] is True
    text = Page(Made.html).root.text()
    assert "Provisional" in text and Made.answer["finalDate"] in text


# ---- colours: WCAG 2.2, 1.4.3 and 1.4.11 --------------------------------------------------------

def luminance(colour):
    colour = "#" + "".join(2 * one for one in colour[1:]) if len(colour) == 4 else colour
    parts = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def colours_can_be_read():
    assert abs(contrast("#777777", "#ffffff") - 4.478) < 0.001  # as published for this pair
    style = next(Page(Made.html).root.all("style")).text()
    sets = [dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6});", block))
            for block in re.findall(r":root \{([^}]*)\}", style)]
    assert len(sets) == 3, "light, dark and print"
    light, dark, printed = sets[0], {**sets[0], **sets[1]}, {**sets[0], **sets[2]}
    for colours in (light, dark, printed):
        for text in ("ink", "soft", "link"):
            assert contrast(colours[text], colours["paper"]) >= 4.5, (text, colours)
        for shape in ("mark", "limits", "then", "alert"):
            assert contrast(colours[shape], colours["paper"]) >= 3, (shape, colours)
    used = set(re.findall(r"(?<![\w-])color: ([^;]+);", style))
    assert used <= {"var(--ink)", "var(--soft)", "var(--link)", "inherit"}, used


# ---- in a browser -------------------------------------------------------------------------------

def colours_in(path):
    """How many different pixels a picture (PNG, 8 bit, RGB or RGBA) has, and its size."""
    with open(path, "rb") as file:
        data = file.read()
    at, packed = 8, b""
    while at < len(data):
        length, kind = struct.unpack(">I4s", data[at:at + 8])
        if kind == b"IHDR":
            width, height, depth, colour = struct.unpack(">IIBB", data[at + 8:at + 18])
        elif kind == b"IDAT":
            packed += data[at + 8:at + 8 + length]
        at += 12 + length
    assert depth == 8 and colour in (2, 6)
    size = 3 if colour == 2 else 4
    line = width * size
    raw = zlib.decompress(packed)
    # Filtered bytes will do: a blank picture has next to none that differ.
    rows = [raw[i * (line + 1) + 1:(i + 1) * (line + 1)] for i in range(height)]
    return width, height, sum(1 for row in rows if len(set(row)) > 3) / height


def chromium():
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if shutil.which(name):
            return name
    return None


def run_chromium(folder, *flags):
    page = os.path.join(folder, "q3.html")
    with open(page, "w", encoding="utf-8") as file:
        file.write(Made.html)
    done = subprocess.run(
        [chromium(), "--headless", "--no-sandbox", "--disable-gpu", "--enable-logging=stderr",
         "--hide-scrollbars", "--user-data-dir=" + os.path.join(folder, "profile"), *flags,
         "file://" + page], capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    said = [line for line in done.stderr.splitlines() if "CONSOLE" in line]
    assert not said, said


def a_browser_shows_it_at_both_widths_without_complaint():
    if not chromium():
        return "Chromium is not installed"
    for width in (NARROW, WIDE):
        with Folder() as folder:
            shot = os.path.join(folder, "shot.png")
            run_chromium(folder, f"--window-size={width},4000", "--screenshot=" + shot)
            seen_width, seen_height, busy = colours_in(shot)
            assert (seen_width, seen_height) == (width, 4000)
            assert busy > 0.3, f"only {busy:.0%} of the lines at {width} px show anything"
    return None


def a_browser_prints_it_without_complaint():
    if not chromium():
        return "Chromium is not installed"
    with Folder() as folder:
        paper = os.path.join(folder, "q3.pdf")
        run_chromium(folder, "--no-pdf-header-footer", "--print-to-pdf=" + paper)
        with open(paper, "rb") as file:
            data = file.read()
        assert data.startswith(b"%PDF-")
        sizes = {tuple(round(float(one)) for one in box.split()[2:])
                 for box in re.findall(rb"/MediaBox \[([^\]]+)\]", data)}
        assert sizes and all(abs(w - 595) <= 1 and abs(h - 842) <= 1 for w, h in sizes), sizes  # A4
        pages = len(re.findall(rb"/Type /Page\b", data))
        assert 5 <= pages <= 60, pages
    return None


if __name__ == "__main__":
    Made.make()
    main([every_tag_is_closed_and_every_id_is_there_once, headings_go_down_one_step_at_a_time,
          one_finds_the_way_without_eyes, it_needs_nothing_else_and_runs_nothing,
          pictures_show_something_and_say_it_in_words, every_figure_is_that_of_the_answer,
          every_point_stands_there_with_its_money, the_copy_to_share_names_nobody_else,
          what_is_provisional_says_so_until_when, colours_can_be_read,
          a_browser_shows_it_at_both_widths_without_complaint,
          a_browser_prints_it_without_complaint])
