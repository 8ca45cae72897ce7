"""Reports: what a page says, and how it behaves in a real browser where there is one.

In the browser: Debian's chromium and chromium-driver. The check of accessibility is axe-core's,
from npm (`npm install axe-core`); the environment variable AXE_CORE says where `axe.min.js` is.
"""

import os
import re
import shlex
import shutil
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path

import matplotlib as mpl

mpl.use("Agg")

import numpy as np
import pytest
from markupsafe import escape
from matplotlib import pyplot as plt
from matplotlib.colors import to_hex

import petsim
from petsim.cli import main
from petsim.errors import ArgumentError
from petsim.spec.parts import as_yaml
from petsim.view import comparison as view
from petsim.view import html, report, sweep_text
from petsim.view import sweep as sweeps
from petsim.view.numbers import mean
from petsim.view.outcome import headline
from petsim.view.plots import files, heat_maps, sheet
from petsim.view.report import comparisons
from petsim.view.report.parts import ACROSS
from tests.view import made_up_fits

MODEL = "lamplet-quick"
CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
AXE = os.environ.get("AXE_CORE")


@pytest.fixture(scope="module")
def comparison():
    return petsim.compare(MODEL, ["ten-minute", "hourly", "camera-rig"], lives=60)


@pytest.fixture(scope="module")
def results(comparison, tmp_path_factory):
    """A result of each kind."""
    vary = {"checks.every": "10 min,20 min,30 min", "eyes.lights.overlooks": "0,20%"}
    out = tmp_path_factory.mktemp("sweep") / "night1"
    return {
        "comparison": comparison,
        "alone": petsim.compare(MODEL, ["hands-off"], lives=1, days=2),
        "sweep": petsim.sweep(MODEL, ["camera-rig", "hourly"], vary, out=out, lives=40),
        "life": petsim.simulate(MODEL, "camera-rig", life=3),
    }


@pytest.fixture(scope="module")
def pages(results, tmp_path_factory):
    """The file of each one's page."""
    folder = tmp_path_factory.mktemp("pages")
    for name, result in results.items():
        report.write(report.of(result), folder / f"{name}.html")
    return {name: folder / f"{name}.html" for name in results}


@pytest.fixture(scope="module")
def samples(tmp_path_factory):
    """A sample, and what each method of sensitivity makes."""
    vary = {"checks.every": "5 min..1 h", "eyes.lights.overlooks": "0..30%"}
    folder = tmp_path_factory.mktemp("samples")
    how = {"lives": 10, "points": 4}
    points = petsim.sweep(MODEL, ["hourly"], vary, out=folder / "latin", sample="latin", **how)
    methods = {
        method: petsim.sensitivity(MODEL, "hourly", vary, out=folder / method, method=method, **how)
        for method in ("morris", "sobol")
    }
    return {"latin": points} | methods


class Outline(HTMLParser):
    """The tags of a page, their ids, and what they refer to."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.ids, self.references, self.headings = [], [], [], []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        known = dict(attrs)
        self.tags.append((tag, known))
        self.ids += [known["id"]] if "id" in known else []
        for key in ("href", "xlink:href", "src"):
            self.references += [known[key]] if key in known else []
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))


@pytest.mark.parametrize("name", ["comparison", "alone", "sweep", "life"])
def test_a_page_is_whole_and_alone(name, pages):
    page = pages[name].read_text(encoding="utf-8")
    outline = Outline(page)
    assert page.startswith("<!doctype html>")
    assert "<script" not in page
    # a heat map's squares are a picture of their own, inside
    outside = ("#", "data:image/png;base64,")
    assert all(reference.startswith(outside) for reference in outline.references)
    assert not re.search(r"url\((?!#)|@import", page)
    assert len(outline.ids) == len(set(outline.ids))
    inside = {f"#{name}" for name in outline.ids}
    assert {r for r in outline.references if r.startswith("#")} <= inside
    assert outline.headings[0] == 1 and outline.headings.count(1) == 1
    assert all(b - a <= 1 for a, b in zip(outline.headings, outline.headings[1:], strict=False))
    for tag, known in outline.tags:
        if tag == "svg" and "aria-label" in known:
            assert known["role"] == "img" and len(known["aria-label"]) > 40
        if tag == "th":
            assert known["scope"] in ("row", "col")


def test_a_page_says_what_the_comparison_says(comparison, pages):
    page = pages["comparison"].read_text(encoding="utf-8")
    assert view.gist(comparison).replace(" %", "\N{NO-BREAK SPACE}%") in page
    for title, columns in view.sections(comparison).items():
        assert f">{title}</p>" in page
        for batch, column in zip(comparison.batches, columns, strict=True):
            assert f'<th scope="row">{batch.regime}</th>' in page
            for label, cell in column.items():
                assert f'<th scope="col">{label}</th>' in page
                assert f"<td>{html.unbroken(cell)}</td>" in page
    hours = comparison.miss_hours()[1]
    half = hours.half_by_hour
    assert "When care misses happen, in the first 60 lives</p>" in page
    span = f"{half.first:02}:00 to {half.last + 1:02}:00"
    assert f"<td>{span}: {100 * half.share.estimate:.1f}\N{NO-BREAK SPACE}±" in page
    day, hour = hours.worst
    worst = html.unbroken(mean(hours.mean(day, hour)))
    assert f"<td>day {day + 1}, {hour:02}:00: {worst} a life</td>" in page
    command = (
        "petsim compare ten-minute hourly camera-rig --model lamplet-quick --lives 60 --seed 0 "
        "--aim beacon"
    )
    assert f"<code>{command}</code>" in page
    assert "What is assumed" in page


@pytest.mark.parametrize(
    ("length", "said"),
    [({}, ""), ({"until": "death"}, " --until death"), ({"days": 2.5}, " --days 2.5")],
)
def test_the_command_of_a_life_makes_its_page_again(length, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    policy = 'class Idle:\n    regime = "hourly"\n    def check(self, look):\n        return []\n'
    Path("idle.py").write_text(policy, encoding="utf-8")
    told = report.of(petsim.simulate(MODEL, "./idle.py:Idle", seed=3, life=18, **length))
    assert told.command == (
        f"petsim report ./idle.py:Idle --model {MODEL} --seed 3 --life 18{said} --out life-18.html"
    ).replace("./idle", "idle")
    main(shlex.split(told.command)[1:])
    assert Path("life-18.html").read_text(encoding="utf-8") == report.page(told)


def test_commands_name_files_as_they_were_asked_for(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("pet.yaml").write_text(as_yaml(petsim.load_model(MODEL)), encoding="utf-8")
    Path("mine.yaml").write_text(as_yaml(petsim.load_regime("hourly")), encoding="utf-8")
    result = petsim.compare("pet.yaml", ["hourly", "./mine.yaml"], lives=2)
    assert report.of(result).command == (
        "petsim compare hourly ./mine.yaml --model pet.yaml --lives 2 --seed 0 --aim beacon"
    )
    swept = petsim.sweep("pet.yaml", ["hourly", "mine.yaml"], {}, out="night", lives=2)
    assert report.of(swept).command == (
        "petsim sweep hourly mine.yaml --model pet.yaml --lives 2 --seed 0 --aim beacon --out night"
    )


def test_the_command_of_a_sweep_that_kept_its_lives_keeps_them(tmp_path):
    kept = petsim.sweep(MODEL, ["hourly"], {}, out=tmp_path / "kept", lives=2, keep=True)
    assert report.of(kept).command == (
        f"petsim sweep hourly --model {MODEL} --lives 2 --seed 0 --aim beacon --keep lives "
        "--out kept"
    )


def test_the_command_of_a_sweep_is_that_sweep(results, pages):
    page = pages["sweep"].read_text(encoding="utf-8")
    assert (
        "petsim sweep camera-rig hourly --vary &#39;checks.every=10 min,20 min,30 min&#39; "
        "--vary eyes.lights.overlooks=0,20% --model lamplet-quick --lives 40 --seed 0 "
        "--aim beacon --out night1"
    ) in page
    rows = Counter(re.findall(r'<tr><th scope="row">(\d+)</th>', page))
    assert rows == dict.fromkeys(map(str, range(12)), 2), "in each of two blocks"


@pytest.mark.parametrize(
    ("name", "chosen"),
    [
        ("latin", "petsim sweep hourly {} --sample latin --points 4 --out latin"),
        ("morris", "petsim sensitivity hourly {} --method morris --points 4 --out morris"),
        ("sobol", "petsim sensitivity hourly {} --method sobol --points 4 --out sobol"),
    ],
)
def test_the_page_of_a_sample_has_no_lines_and_its_command(name, chosen, samples):
    told = report.of(samples[name])
    if name == "latin":
        asked = ["Where are the odds of beacon best?", "What do the odds cost?"]
    else:
        asked = ["Which unknown matters?", "What are the odds in each cell?"]
    assert [section.question for section in told.sections] == asked
    assert len(told.pictures) == (2 if name == "latin" else 1)
    assert [*told.tables[-1].rows] == sweeps.cell_table(samples[name]).rows
    varied = "--vary 'checks.every=5 min..1 h' --vary eyes.lights.overlooks=0%..30%"
    said = f"{varied} --model lamplet-quick --lives 10 --seed 0 --aim beacon"
    assert told.command == chosen.format(said)


def test_the_page_of_a_sensitivity_says_which_unknown_matters(samples):
    for name in ("morris", "sobol"):
        effects = report.of(samples[name]).tables[0]
        printed = sweep_text.sensitivity(samples[name], 1_000)
        assert effects.caption.partition(" TOO FEW")[0] in printed
        for row in effects.rows:
            assert re.search(r" +".join(map(re.escape, filter(None, row))), printed)
    assert len(report.of(samples["latin"]).tables) == 1


def test_the_page_of_an_unfinished_sensitivity_leaves_that_open(samples, monkeypatch):
    monkeypatch.setattr(petsim.Sweep, "finished", False)
    [table] = report.of(samples["morris"]).tables
    assert table.rows


def test_a_picture_that_cant_be_drawn_is_left_out_with_a_sentence_why(results, monkeypatch):
    def refused(result):
        raise ArgumentError("work: 'presses'; expected another")

    monkeypatch.setattr("petsim.view.plots.cost", refused)
    told = report.of(results["sweep"])
    assert told.left_out == ["No picture here: work: 'presses'; expected another."]
    assert "<p>No picture here: work: &#39;presses&#39;; expected another.</p>" in report.page(told)
    assert len(told.pictures) == len(told.sections) - 1


def test_a_grid_of_any_size_has_all_its_pictures(tmp_path):
    vary = {"checks.every": "10 min..34 min/2 min", "eyes.lights.overlooks": "0%..24%/2%"}
    many = petsim.sweep(MODEL, ["hourly"], vary, out=tmp_path / "many", lives=1)
    told = report.of(many)
    assert not told.left_out and len(told.pictures) == 3
    [table, *_] = told.tables
    assert table.caption.startswith("40 of 169 cells, likeliest first; petsim export has all.")
    assert len(table.rows) == 40


def test_a_page_with_all_cells_of_a_grid_says_that_they_are_sorted(tmp_path):
    vary = {"checks.every": "10 min..50 min/2 min"}
    swept = petsim.sweep(MODEL, ["hourly"], vary, out=tmp_path / "several", lives=1)
    [table, *_] = report.of(swept).tables
    assert len(table.rows) == 21
    assert table.caption.startswith("The likeliest cell comes first. ")


def test_a_picture_is_told_by_its_message_and_the_table_of_its_figures(results, pages):
    for name in ("sweep", "life"):
        page = pages[name].read_text(encoding="utf-8")
        labels = re.findall(r'<svg role="img" aria-label="([^"]*)"', page)
        told = report.of(results[name])
        assert len(labels) == len(told.pictures)
        for section in told.sections:
            for picture in section.pictures:
                label = labels.pop(0)
                assert label.startswith(str(escape(picture.title)))
                if section.tables:
                    assert f"the table \u201c{escape(section.tables[0].caption)}\u201d" in label


def test_tables_are_in_blocks_of_at_most_four_columns(comparison):
    for table in report.of(comparison).tables:
        heads = [head for head, _ in table.blocks]
        assert all(len(head) <= 1 + ACROSS for head in heads)
        assert [title for head in heads for title in head[1:]] == [*table.head[1:]]
        for head, rows in table.blocks:
            assert [row[0] for row in rows] == [row[0] for row in table.rows]
            assert all(len(row) == len(head) for row in rows)


def test_the_answer_of_a_life_says_why_it_missed_its_aim(results):
    told = report.of(results["life"])
    assert told.answer == f"{headline(results['life'])}."


def test_the_page_of_one_value_beside_others_has_no_map(tmp_path):
    vary = {"checks.every": "10 min, 20 min", "eyes.lights.overlooks": "5%"}
    found = petsim.sweep(MODEL, ["hourly"], vary, out=tmp_path / "one", lives=1)
    told = report.of(found)
    assert len(told.pictures) == 3 and not told.left_out


def test_misses_of_a_single_life_are_counted(results):
    life = petsim.simulate(MODEL, "hands-off", days=2)
    clocks = [life.clock(entry.t) for entry in life.entries if entry.event == "miss"]
    found = Counter((clock.day, clock.hour) for clock in clocks)
    most = max(found.values())
    day, hour = min(place for place, misses in found.items() if misses == most)
    [table] = [t for t in report.of(results["alone"]).tables if "When care misses" in t.caption]
    misses = f"{most} care miss" if most == 1 else f"{most} care misses"
    assert dict(table.rows)["worst hour"] == f"day {day}, {hour:02}:00: {misses}"


def test_a_life_is_told_day_by_day(pages):
    page = pages["life"].read_text(encoding="utf-8")
    cells = re.findall(r"<td>([^<]*)</td>", page)
    assert any("  grows into " in cell for cell in cells)
    assert not any(cell.startswith("|") for cell in cells)


def test_the_question_names_few_regimes(monkeypatch):
    monkeypatch.setattr(comparisons, "drawn", lambda planned: [])
    few = petsim.compare(MODEL, ["ten-minute", "hourly"], lives=2)
    assert report.of(few).question.endswith(" become beacon under ten-minute or hourly?")
    regime = petsim.load_regime("hourly").model_dump(by_alias=True)
    many = petsim.compare(MODEL, [regime | {"name": f"hourly-{n}"} for n in range(5)], lives=2)
    assert report.of(many).question.endswith(" become beacon under each of 5 regimes?")


def test_what_users_write_is_no_markup(tmp_path):
    regime = petsim.load_regime("hourly").model_dump(by_alias=True) | {"name": "<b>bold</b> & co"}
    report.write(report.of(petsim.compare(MODEL, [regime], lives=5)), tmp_path / "r.html")
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "<b>" not in page
    assert "&lt;b&gt;bold&lt;/b&gt;" in page


@pytest.mark.parametrize("name", ["comparison", "alone", "sweep", "life"])
def test_the_same_result_gives_the_same_page(name, results, pages):
    assert report.page(report.of(results[name])) == pages[name].read_text(encoding="utf-8")


def test_a_page_that_cant_be_written_is_told(results, tmp_path):
    with pytest.raises(ValueError, match=r"nowhere/r.html: can't be written: No such file"):
        report.write(report.of(results["alone"]), tmp_path / "nowhere" / "r.html")


# Weight


def test_a_page_is_light(pages):
    # 1.9 MB before places were rounded, straight runs joined and letters shared
    assert pages["comparison"].stat().st_size < 600_000


def test_pictures_share_the_outlines_of_letters(pages):
    page = pages["comparison"].read_text(encoding="utf-8")
    outlines = re.findall(r'<path id="(DejaVu[^"]*)"', page)
    assert len(outlines) == len(set(outlines)) > 40
    used = Counter(re.findall(r'<use href="#(DejaVu[^"]*)"', page))
    assert set(used) == set(outlines)


# Colours


def inks(scheme: str) -> dict[str, str]:
    """The colours that a page has in a scheme, by the names of their variables."""
    css = Path(report.__file__).with_name("page.css").read_text(encoding="utf-8")
    light, dark, _ = (
        dict(re.findall(r"--([\w-]+): (#\w{6})", part)) for part in css.split("@media")
    )
    return light | (dark if scheme == "dark" else {})


def contrast(one: str, other: str) -> float:
    """The contrast ratio of two colours, from 1 to 21."""

    # W3C (2023), Web Content Accessibility Guidelines 2.2, "relative luminance", "contrast ratio";
    # 0.04045 is the threshold of sRGB, IEC 61966-2-1
    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [x / 12.92 if x <= 0.04045 else ((x + 0.055) / 1.055) ** 2.4 for x in parts]
        return float(np.dot([0.2126, 0.7152, 0.0722], linear))

    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_that_of_the_guidelines() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    # the grey that is known as just enough for text on white; from memory
    assert 4.5 < contrast("#767676", "#ffffff") < 4.55


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_stand_out_from_the_paper(scheme) -> None:
    found = inks(scheme)
    assert set(found) == set(files.INKS.values())
    for name in ("ink", "faint"):  # 1.4.3, text
        assert contrast(found[name], found["paper"]) >= 4.5
    for name in ("shade", "band-a", "band-b"):
        assert contrast(found["ink"], found[name]) >= 4.5
    with plt.style.context(sheet.STYLE):
        series = [to_hex(colour["color"]) for colour in plt.rcParams["axes.prop_cycle"]]
    for colour in series:  # 1.4.11, graphics
        seen = found.get(files.INKS.get(colour, ""), colour)
        assert contrast(seen, found["paper"]) >= 3, colour


def test_what_is_written_on_cells_stands_out() -> None:
    # of the whole scale, the numbers on cells below and from 50 %
    scale = mpl.colormaps["cividis"](np.linspace(0, 1, 101))
    for place, colour in enumerate(scale):
        own = heat_maps.PALE if place < 50 else heat_maps.DARK
        assert contrast(own, to_hex(colour)) >= 4, place


@pytest.mark.parametrize("name", ["comparison", "alone", "sweep", "life"])
def test_pictures_leave_neutral_colours_to_the_page(name, pages) -> None:
    page = pages[name].read_text(encoding="utf-8")
    pictures = re.findall(r"<svg role=.*?</svg>\s*</figure>", page, re.DOTALL)
    assert len(pictures) == page.count("<figure>") > 0
    for svg in pictures:
        used = Counter(re.findall(r"#[0-9a-f]{6}\b", svg))
        turning = Counter(re.findall(r"var\(--[\w-]+, (#[0-9a-f]{6})\)", svg))
        assert turning["#ffffff"] and turning["#555555"]
        assert {colour: used[colour] for colour in turning} == dict(turning)
        assert not set(files.INKS) & set(used - turning)


# In a browser


@pytest.fixture(scope="module")
def browser():
    if not (CHROMIUM and DRIVER):
        pytest.skip("no chromium and chromedriver here")
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options, webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()


ANSWERS = {
    "why odds fall": lambda: petsim.explain("lamplet", "camera-rig", lives=500),
    "why a life went wrong": lambda: petsim.explain_life("lamplet", "camera-rig", life=24),
    "choice": lambda: petsim.choose(
        MODEL, "ten-minute", {"checks.every": "10 min,20 min"}, at_least=0.5, lives=200
    ),
    "limits": lambda: petsim.tolerance(MODEL, "ten-minute", lives=200),
    "what to expect": lambda: petsim.expect(MODEL, "ten-minute", lives=300),
    "fit": made_up_fits.usual,
}
"""What makes a result that only a browser needs: as slow as it is, none is made without one."""


@pytest.fixture(scope="module")
def page_of(results, browser, tmp_path_factory):
    """The file of a result's page."""
    folder, made = tmp_path_factory.mktemp("pages"), {}

    def page(name):
        if name not in made:
            made[name] = folder / f"{name}.html"
            result = ANSWERS[name]() if name in ANSWERS else results[name]
            report.write(report.of(result), made[name])
        return made[name]

    return page


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["comparison", "alone", "sweep", "life", *ANSWERS])
def test_a_page_behaves_on_a_phone(name, scheme, page_of, browser):
    feature = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", feature)
    phone = {"width": 360, "height": 740, "deviceScaleFactor": 2, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", phone)
    browser.get_log("performance")
    browser.get(page_of(name).as_uri())
    assert browser.get_log("browser") == []
    asked = re.findall(r'"url":"([^"]+)"', str(browser.get_log("performance")).replace("\\", ""))
    assert {url for url in asked if not url.startswith(("file:", "about:", "data:"))} == set()
    width = browser.execute_script("return document.documentElement.scrollWidth")
    assert width <= 360
    paper = browser.execute_script("return getComputedStyle(document.body).backgroundColor")
    assert (paper == "rgb(255, 255, 255)") == (scheme == "light")
    # the first shape of a picture is its ground
    ground = "return getComputedStyle(document.querySelector('figure svg path')).fill"
    assert browser.execute_script(ground) == paper


def test_a_page_is_printed_on_white(pages, browser):
    features = [{"name": "prefers-color-scheme", "value": "dark"}]
    media = {"media": "print", "features": features}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    browser.get(pages["comparison"].as_uri())
    paper = browser.execute_script("return getComputedStyle(document.body).backgroundColor")
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert paper == "rgb(255, 255, 255)"


@pytest.mark.skipif(AXE is None, reason="AXE_CORE does not say where axe.min.js is")
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["comparison", "alone", "sweep", "life", *ANSWERS])
def test_axe_finds_nothing_serious(name, scheme, page_of, browser):
    feature = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", feature)
    browser.get(page_of(name).as_uri())
    browser.execute_script(Path(AXE).read_text(encoding="utf-8"))
    found = browser.execute_async_script("axe.run().then(arguments[arguments.length - 1])")
    serious = [
        (violation["id"], [node["target"] for node in violation["nodes"]][:3])
        for violation in found["violations"]
        if violation["impact"] in ("serious", "critical")
    ]
    assert serious == []
