"""Lines of keys in TOML texts."""

from __future__ import annotations

import pytest

from fusetherm.fuse.toml_lines import Places, dotted

TEXT = '''# a comment with [brackets] = and "quotes"
id = "x # y"
a."b c".d = 1
list = [1, [2, "]"], # ]
  { y = 1, z.w = "}" },
]

[[curve.point]]
current_A = 3.0
text = """
fake = 1
[not.a.table]
"""
[[curve.point]]
current_A = 4.0
[curve.point.below]
key = \'\'\'x = 2\'\'\'
[ a . other ]
"\\u0041" = 1979-05-27T07:32:00Z
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("id",), 2),
        (("a", "b c", "d"), 3),
        (("list", 1, 1), 4),
        (("list", 2), 5),
        (("list", 2, "z", "w"), 5),
        (("curve",), 8),
        (("curve", "point", 0), 8),
        (("curve", "point", 0, "current_A"), 9),
        (("curve", "point", 0, "text"), 10),
        (("curve", "point", 1), 14),
        (("curve", "point", 1, "current_A"), 15),
        (("curve", "point", 1, "below", "key"), 17),
        (("a", "other"), 18),
        (("a", "other", "A"), 19),
        (("curve", "point", 1, "absent"), 14),  # the table it should stand in
        (("absent",), None),
    ],
)
def test_line_of_a_key(path: tuple[str | int, ...], line: int | None) -> None:
    assert Places(TEXT).line(path) == line


def test_text_in_strings_is_no_key() -> None:
    lines = Places(TEXT).lines
    assert ("fake",) not in lines
    assert ("not",) not in lines


def test_number_of_a_single_table_is_passed_over() -> None:
    places = Places("[voltage_drop]\n\ncurrent_A = 1\n")
    assert places.line(("voltage_drop", 0, "current_A")) == 3


def test_no_final_newline_and_empty_text() -> None:
    assert Places("a = 1").line(("a",)) == 1
    assert Places("").lines == {}


def test_dotted_counts_from_one() -> None:
    assert dotted(("curve", "point", 4, "time_s")) == "curve.point[5].time_s"
