"""From YAML text and Python data to a document, in which every scalar is text with its line."""

import os
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import yaml
from ruamel.yaml import YAML

from petsim.errors import Problem, SpecError, legible
from petsim.spec.document import Document, field_name
from petsim.spec.reading import (
    DEEPEST,
    LARGEST_FILE,
    MOST_MARKS,
    MOST_VALUES,
    read_data,
    read_file,
    read_text,
)


def read(text: str) -> Document:
    return read_text(text, "it.yaml")


def refusal(text: str) -> str:
    with pytest.raises(SpecError) as error:
        read(text)
    return str(error.value)


def file_refusal(path: str | Path) -> str:
    with pytest.raises(SpecError) as error:
        read_file(path)
    return str(error.value).replace(legible(str(path)), "it.yaml")


# What YAML 1.1 (yaml.org/type, quoted) and YAML 1.2.2, section 10.3.2 (from memory), make of a
# scalar, as PyYAML and ruamel.yaml do; here it is text whatever they think.
SCALARS = [
    ("09:00", "09:00", "09:00"),
    ("0:30", "0:30", "0:30"),
    ("9:30", 570, "9:30"),
    ("10:00", 600, "10:00"),
    ("24:00", 1440, "24:00"),
    ("22:30:00", 81000, "22:30:00"),
    ("190:20:30", 685230, "190:20:30"),
    ("on", True, "on"),
    ("off", False, "off"),
    ("yes", True, "yes"),
    ("no", False, "no"),
    ("true", True, True),
    ("010", 8, 10),
    ("0x1F", 31, 31),
    ("~", None, None),
    ("null", None, None),
    (".inf", float("inf"), float("inf")),
    ("2026-01-01", None, None),
    ("5", 5, 5),
]


@pytest.mark.parametrize(("text", "in_yaml_1_1", "in_yaml_1_2"), SCALARS)
def test_scalar_is_text(text: str, in_yaml_1_1: object, in_yaml_1_2: object) -> None:
    document = read(f"key: {text}\n{text}: value\n")
    assert document.data == {"key": text, text: "value"}
    if text != "2026-01-01":
        assert yaml.safe_load(text) == in_yaml_1_1
        assert YAML(typ="safe", pure=True).load(text) == in_yaml_1_2


def test_quotes_make_no_difference() -> None:
    assert read("a: '5'\nb: \"5\"\nc: 5\n").data == {"a": "5", "b": "5", "c": "5"}


def test_every_key_and_value_keeps_its_place() -> None:
    document = read("a: 1\nb:\n  - c: {d: 2}\n  - 3\n")
    places = {
        field_name(steps): (place.key, place.value) for steps, place in document.places.items()
    }
    assert places == {
        "": (None, (1, 1)),
        "a": ((1, 1), (1, 4)),
        "b": ((2, 1), (3, 3)),
        "b[0]": (None, (3, 5)),
        "b[0].c": ((3, 5), (3, 8)),
        "b[0].c.d": ((3, 9), (3, 12)),
        "b[1]": (None, (4, 5)),
    }


def test_error_survives_pickling() -> None:
    import pickle

    error = SpecError([Problem("f", 1, 2, "a", "found x", "expected y")])
    assert pickle.loads(pickle.dumps(error)).problems == error.problems


def test_accents_have_one_spelling() -> None:
    composed, decomposed = "caf\u00e9", "cafe\u0301"
    assert read(f"{decomposed}: {decomposed}\n").data == {composed: composed}
    assert "found the key again" in str(read(f"{decomposed}: 1\n{composed}: 2\n").refusal())


def test_byte_order_mark_and_line_ends_make_no_difference(tmp_path: Path) -> None:
    path = tmp_path / "it.yaml"
    path.write_bytes("\ufeffa: 1\r\nb: 2\r\n".encode())
    document = read_file(path)
    assert document.data == {"a": "1", "b": "2"}
    assert document.places["b",].key == (2, 1)


def test_file_that_cannot_be_read(tmp_path: Path) -> None:
    assert file_refusal(tmp_path / "it.yaml") == "it.yaml: no such file; expected a YAML file"
    assert file_refusal(tmp_path) == "it.yaml: found a directory; expected a YAML file"
    (tmp_path / "endless.yaml").symlink_to("/dev/zero")
    message = "it.yaml: found a device; expected a YAML file"
    assert file_refusal(tmp_path / "endless.yaml") == message
    os.mkfifo(tmp_path / "nobody-writes.yaml")
    message = "it.yaml: found a pipe; expected a YAML file"
    assert file_refusal(tmp_path / "nobody-writes.yaml") == message
    assert file_refusal("a\0b") == "it.yaml: cannot be read: not a file name; expected a YAML file"
    below = tmp_path / "file"
    below.write_text("a: 1\n")
    message = "it.yaml: cannot be read: Not a directory; expected a YAML file"
    assert file_refusal(below / "it.yaml") == message


def test_file_not_in_utf_8(tmp_path: Path) -> None:
    path = tmp_path / "it.yaml"
    path.write_bytes(b"a: 1\nb: \xff\n")
    assert file_refusal(path) == "it.yaml:2:4: found the byte 0xff; expected text in UTF-8"
    path.write_bytes("a: 1\n".encode("utf-16"))
    assert file_refusal(path) == "it.yaml:1:1: found the byte 0xff; expected text in UTF-8"


def test_fifty_megabytes_of_aliases_are_refused_by_their_size(tmp_path: Path) -> None:
    path = tmp_path / "it.yaml"
    with path.open("wb") as stream:
        stream.write(b"a: &a [x]\nb: [")
        for _ in range(50):
            stream.write(b"*a, *a, " * 131_072)
        stream.write(b"*a]\n")
    size = path.stat().st_size
    assert size > 50_000_000
    assert file_refusal(path) == f"it.yaml: found {size:,} bytes; expected at most 1,000,000"


def test_a_file_of_the_largest_size_is_read(tmp_path: Path) -> None:
    path = tmp_path / "it.yaml"
    path.write_bytes(b"a: 1\n#".ljust(LARGEST_FILE, b"x"))
    assert read_file(path).data == {"a": "1"}


def test_a_web_of_aliases_is_refused_without_being_followed() -> None:
    web = "a: &a [x]\n" + "".join(f"k{n}: &k{n} [{'*a, ' * 9}*a]\n" for n in range(9))
    problems = refusal(web).splitlines()
    assert problems[-1] == f"{1 + 9 * 11 - 50} more problems"
    assert problems[0] == "it.yaml:1:4: found the anchor '&a'; write the value out"
    assert problems[2] == "it.yaml:2:10: found the alias '*a'; write the value out"


def test_dialect_and_duplicates_are_told_together() -> None:
    text = "a: 1\na: 2\n<<: {b: 1}\nc: !!int 5\nd: &x 1\ne: *x\n"
    assert refusal(text).splitlines() == [
        "it.yaml:2:1: a: found the key again, first in line 1; expected it once",
        "it.yaml:3:1: found the merge key '<<'; write the values out",
        "it.yaml:4:4: found the tag 'tag:yaml.org,2002:int'; write the value without it",
        "it.yaml:5:4: found the anchor '&x'; write the value out",
        "it.yaml:6:4: found the alias '*x'; write the value out",
    ]


@pytest.mark.parametrize("depth", [DEEPEST, 5000])
@pytest.mark.parametrize("one", ["[", "{a: ", "- "])
def test_nesting_too_deep_is_refused_before_it_hurts(one: str, depth: int) -> None:
    assert "mappings and lists inside each other; expected fewer" in refusal("a:\n  " + one * depth)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "it.yaml:1:1: found nothing; expected keys and values, the first of them 'petsim'"),
        ("---\n",
         "it.yaml:2:1: found nothing; expected keys and values, the first of them 'petsim'"),
        ("a\n", "it.yaml:1:1: found 'a'; expected keys and values, the first of them 'petsim'"),
        ("{}", "it.yaml:1:1: found nothing; expected keys and values, the first of them 'petsim'"),
        ("a: 1\n---\nb: 2\n", "it.yaml:2:1: found a second document; expected one in a file"),
        ("? [a]\n: 1\n", "it.yaml:1:3: found a mapping or list as a key; expected a word"),
        ("a: \x01\n", "it.yaml:1:4: found the control character '\\x01'; expected plain text"),
        ('a: "\\ud800"\n', "it.yaml:1:4: found half of a character; expected the whole of it"),
        ('a: "\\UFFFFFFFF"\n',
         "it.yaml:1:7: found an escape or a directive that means nothing; expected plain YAML"),
        ("a:\n\tb: 1\n", "it.yaml:2:1: found a tab; expected spaces"),
        ("a: @b\n",
         "it.yaml:1:4: found a character that no text begins with; expected quotes around it"),
        ("a: b: c\n",
         "it.yaml:1:5: found a ': ' where there can be no key; expected quotes around a text "
         "that has one, or the indentation of the neighbouring keys"),
        ("a: 1\n  b: 2\n",
         "it.yaml:2:4: found a ': ' where there can be no key; expected quotes around a text "
         "that has one, or the indentation of the neighbouring keys"),
        ("a: {b: yes c: no}\n",
         "it.yaml:1:13: found neither a comma nor the end of a bracket; "
         "expected a comma between its parts, or the closing bracket"),
        ("a: 1\nb\n",
         "it.yaml:3:1: found a line without ': '; expected a key, a colon and a space"),
        ("a: [1, 2\n",
         "it.yaml:2:1: found neither a comma nor the end of a bracket; "
         "expected a comma between its parts, or the closing bracket"),
        ("a: 'b\n", "it.yaml:1:4: found a quote that is not closed; expected the closing quote"),
        ("a:\n  b: 1\n c: 2\n",
         "it.yaml:3:2: found a line out of step; expected the indentation of its neighbours"),
        ("a: *b\n", "it.yaml:1:4: found the alias '*b'; write the value out"),
        ("%FOO bar\n%YAML 3.0\n---\na: 1\n",
         "it.yaml:2:1: cannot be read as YAML "
         "(found incompatible YAML document (version 1.* is required)); "
         "expected keys and values"),
    ],
)  # fmt: skip
def test_text_that_is_refused(text: str, message: str) -> None:
    assert refusal(text) == message


def test_plain_data_becomes_text() -> None:
    data = {
        "a": True, "b": False, "c": 5, "d": 0.02, "e": 1e-7, "f": "x", "g": [1, (2, 3)],
        "h": {1: "one"},
        "i": None, "j": np.float64(0.5), "k": np.int64(3), "l": 10**5000, "m": float("nan"),
        "n": 2.0,
    }  # fmt: skip
    assert read_data(data, "data").data == {
        "a": "yes", "b": "no", "c": "5", "d": "0.02", "e": "0.0000001", "f": "x", "g": ["1", ["2",
                                                                                              "3"]],
        "h": {"1": "one"}, "i": "", "j": "0.5", "k": "3", "l": "a number of over 100 digits",
        "m": "nan",
        "n": "2",
    }  # fmt: skip


def test_plain_data_is_not_changed() -> None:
    data = {"a": [1, {"b": 2}]}
    read_data(data, "data")
    assert data == {"a": [1, {"b": 2}]}


def test_other_data_is_refused() -> None:
    endless: list[object] = []
    endless.append(endless)
    for data, message in [
        ({"a": {1, 2}}, "data: a: found a Python object of type set; "
                        "expected text, a number, yes or no, a list or a mapping"),
        ({"a": b"x"}, "data: a: found a Python object of type bytes; "
                      "expected text, a number, yes or no, a list or a mapping"),
        ({"a": {True: 1}}, "data: a: found the key 'True'; expected a word"),
        ({"a": {1: 1, "1": 2}}, "data: a.1: found the key again; expected it once"),
        ({"a": endless},
         "data: found more than 20 mappings and lists inside each other; expected fewer"),
    ]:  # fmt: skip
        with pytest.raises(SpecError) as error:
            read_data(data, "data")
        assert str(error.value) == message


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("", 1),
        ("\n\n# nothing\n", 1),
        ('a: 1\nb: "\\UFFFFFFFF"\n', 2),
        ('a: 1\n\nb: "\\ud800"\n', 3),
        ("a: 1\n---\n", 2),
        ("# x\n%YAML 1.999999999999999999999999\n--- a\n", 3),
        ("# x\n%YAML 9.9\n---\na: 1\n", 2),
        (f"# x\n%YAML 1.{5000 * '9'}\n---\na: 1\n", 2),
        ("a: !<%FF> b\n", 1),
        ("a: b\x1b\n", 1),
        ("petsim: \ufffe\n", 1),
    ],
)
def test_each_refusal_has_a_line(text: str, line: int) -> None:
    with pytest.raises(SpecError) as error:
        read_text(text, "it.yaml")
    assert [problem.line for problem in error.value.problems] == [line]


def test_a_file_has_a_bounded_number_of_values(tmp_path: Path) -> None:
    # a mapping, its key and a list, and what is in the list
    most = [str(n) for n in range(MOST_VALUES - 3)]
    path = tmp_path / "it.yaml"
    path.write_text(f"a: [{', '.join(most)}]\n")
    assert read_file(path).data == {"a": most}
    path.write_text("".join(["a:\n", *(f"- {n}\n" for n in most), "- one\n", "- two\n"]))
    assert file_refusal(path) == (
        f"it.yaml:{MOST_VALUES - 1}:3: found more than 10,000 keys and values; expected fewer"
    )


def test_accents_on_a_letter_are_bounded() -> None:
    # Unicode Standard Annex 15, section 13: at most 30 non-starters in a row (from memory). Those
    # of Tibetan vowel signs are hidden: U+0F73 has none itself and stands for two.
    for text in ("a" + MOST_MARKS * "\u0301", MOST_MARKS // 2 * "\u0f73", "\u00e9" * 100):
        data = read(f"{text}: {text}\n").data
        assert read_data(data, "it").data == data
    for text in ("a" + (MOST_MARKS + 1) * "\u0301", (MOST_MARKS // 2 + 1) * "\u0f73"):
        assert refusal(f"a:\n  b: {text}\n") == (
            "it.yaml:2:6: found more than 30 accents on a letter; expected fewer"
        )
        assert refusal(f"{text}: b\n").startswith("it.yaml:1:1: found more than 30 accents")
        with pytest.raises(SpecError, match="found more than 30 accents on a letter"):
            read_data({"a": [text]}, "it")
        with pytest.raises(SpecError, match="found more than 30 accents on a letter"):
            read_data({text: "a"}, "it")


def test_a_heap_of_accents_takes_no_time_to_speak_of() -> None:
    # in the order of Unicode they would take a minute, as 300,000 of them have 10^10 pairs
    assert "accents" in refusal("a: b" + 150_000 * "\u0301\u0327" + "\n")


def test_numbers_beyond_all_bounds_are_refused_in_words() -> None:
    assert read_data({"a": Fraction(10**400, 3)}, "it").data == {"a": "a number beyond all bounds"}
