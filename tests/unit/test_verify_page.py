"""The page: whole, small, without network, and with everything escaped."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

from fusetherm.verify import Case, run_cases
from fusetherm.verify.case import case
from fusetherm.verify.page import html

_VOID = {"meta", "link", "br", "img", "hr", "input"}


class Reader(HTMLParser):
    """Texts of a page, and a fault where tags do not pair."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.texts: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in _VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


def one(id: str, value: float, **different: Any) -> Case:
    about: dict[str, Any] = {
        "unit": "A", "expected": 1.0, "relative": 0.1, "source": "<b>bold</b> & 'quoted'",
        "origin": "read", "calls": "len", "topic": "sums",
    }  # fmt: skip
    return case(id, "x < y <script>alert(1)</script>", **{**about, **different})(lambda: value)


def test_everything_is_escaped() -> None:
    def raising() -> float:
        raise ValueError("<i>not</i> italic")

    broken = case(
        "broken", "raises", unit="<u>", expected=1.0, absolute=1.0, source="none", origin="read",
        calls="<len>", topic="<topic>",
    )(raising)  # fmt: skip
    page = html(run_cases((one("good", 1.0), broken)))
    reader = read(page)
    assert not {"script", "b", "i", "u", "len", "topic"} & {tag for tag, _ in reader.tags}
    text = "".join(reader.texts)
    for part in ("x < y <script>alert(1)</script>", "<b>bold</b> & 'quoted'", "<i>not</i> italic"):
        assert part in text


def test_nothing_is_fetched() -> None:
    page = html(run_cases((one("good", 1.0),)))
    reader = read(page)
    assert not {"link", "img", "script", "iframe"} & {tag for tag, _ in reader.tags}
    assert "http" not in page
    assert "url(" not in page
    links = [about["href"] or "" for tag, about in reader.tags if tag == "a"]
    assert links
    assert all(link.startswith("#") for link in links)


def test_failed_rows_are_marked_and_counted() -> None:
    passed = html(run_cases((one("good", 1.0),)))
    assert "all passed" in passed
    assert 'class="fail"' not in passed
    failed = html(run_cases((one("good", 1.0), one("bad", 2.0), one("worse", float("nan")))))
    assert "2 failed" in failed
    assert failed.count('class="fail"') == 2


def test_bar_shows_how_much_of_the_tolerance_is_used() -> None:
    page = html(run_cases((one("half", 1.05), one("over", 9.0), one("band", 1.0, expected=(0, 2),
                                                                      relative=None))))  # fmt: skip
    assert page.count('class="bar"') == 2
    assert "width:50%" in page
    assert "width:100%" in page


def test_it_is_small() -> None:
    rows = tuple(one(f"row-{i}", 1.0) for i in range(100))
    assert len(html(run_cases(rows))) < 100_000
