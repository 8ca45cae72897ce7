"""What pictures say in words: in their files, and to those who listen to a notebook."""

import re
from base64 import b64decode
from html import unescape
from xml.etree import ElementTree

import pytest
from matplotlib import pyplot as plt
from PIL import Image

from petsim.view import plots
from petsim.view.plots.sheet import figure_of, styled
from petsim.view.plots.spoken import in_words

SVG = "{http://www.w3.org/2000/svg}"
QUESTION = "Is it <one>\n& the other?"
WORDS = {"a share (%)", "b & \N{BULLET} <c>"}


@styled
def drawn():
    """A picture with a title of two lines, with a label and with a note."""
    ax = plt.subplots(figsize=(3, 2))[1]
    ax.set_title(QUESTION)
    ax.set_xlabel("a share (%)")
    ax.set_xticks([])
    ax.set_yticks([0.5], ["b & \N{BULLET} <c>"])
    return ax


@pytest.fixture(autouse=True)
def _closed():
    yield
    plt.close("all")


def test_an_svg_file_has_title_and_description(tmp_path):
    path = tmp_path / "picture.svg"
    plots.save(drawn(), path)
    root = ElementTree.parse(path).getroot()
    title, words = root[0], root[1]
    assert (title.tag, words.tag) == (f"{SVG}title", f"{SVG}desc")
    assert title.text == "Is it <one> & the other?"
    assert set(words.text.split(" · ")) == WORDS
    assert root.get("role") == "img"
    assert root.get("aria-labelledby").split() == [title.get("id"), words.get("id")]


def test_a_png_file_has_them_as_texts(tmp_path):
    path = tmp_path / "picture.png"
    plots.save(drawn(), path)
    with Image.open(path) as picture:
        assert picture.text["Title"] == "Is it <one> & the other?"
        assert set(picture.text["Description"].split(" · ")) == WORDS


def test_a_pdf_file_has_them_as_title_and_subject(tmp_path):
    path = tmp_path / "picture.pdf"
    plots.save(drawn(), path)
    content = path.read_bytes()
    assert b"/Title (Is it <one> & the other?)" in content
    assert b"/Subject" in content


@pytest.mark.parametrize("suffix", [".svg", ".png", ".pdf"])
def test_files_are_the_same_each_time(suffix, tmp_path):
    files = [tmp_path / f"{number}{suffix}" for number in range(2)]
    for file in files:
        plots.save(drawn(), file)
    assert files[0].read_bytes() == files[1].read_bytes()


def test_a_picture_of_panels_has_the_first_title(tmp_path):
    ax = plt.subplots(1, 2)[1]
    ax[0].set_title("")
    ax[1].set_title("Which of both?", loc="left")
    plots.save(ax[0], tmp_path / "panels.svg")
    assert ElementTree.parse(tmp_path / "panels.svg").getroot()[0].text == "Which of both?"


def test_a_notebook_has_alternative_text():
    ax = drawn()
    figure = figure_of(ax)
    picture = plots.as_svg(ax)
    assert not plt.fignum_exists(figure.number)
    assert repr(picture) == "<picture: Is it <one> & the other?>"
    source, words = re.fullmatch(
        r'<img src="data:image/svg\+xml;base64,([\w+/=]+)" alt="([^"<>]*)">', picture._repr_html_()
    ).groups()
    title, *others = unescape(words).split(" · ")
    assert title == "Is it <one> & the other?"
    assert set(others) == WORDS
    root = ElementTree.fromstring(b64decode(source))
    assert root.tag == f"{SVG}svg"
    assert "fill" in b64decode(source).decode()


def test_a_picture_of_a_page_stays_as_laid_out_whatever_is_set():
    usual = plots.as_svg(drawn())
    ax = drawn()
    with plt.rc_context({"figure.autolayout": True}):
        assert plots.as_svg(ax).svg == usual.svg


@styled
def labelled():
    """A picture of two rows, each a label, a point and a figure, over a scale of numbers."""
    ax = plt.subplots(figsize=(5, 3))[1]
    ax.plot([0.2, 0.7], [1, 0], "o")
    ax.set_yticks([0, 1], ["the second", "the first"])
    ax.set_ylim(-0.5, 1.5)
    ax.set_ylabel("regime")
    ax.set_xlabel("odds")
    for height, words in ((0, "70 %"), (1, "20 %")):
        ax.annotate(words, (1, height), xycoords=("axes fraction", "data"), va="center")
    ax.text(0.5, 0.5, "unseen", visible=False)
    ax.set_title("Which is likelier?")
    return ax


def test_words_are_read_row_by_row_from_the_top():
    title, words = in_words(figure_of(labelled()))
    assert title == "Which is likelier?"
    assert words == "the first 20 % · regime · the second 70 % · odds"
