"""Tables and pictures of the docs that come from `fusetherm.verify`, written by each build.

`conf.py` calls :func:`write` before the pages are read; they include what it leaves in
``docs/_generated``. A row that fails stops the build.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from matplotlib.figure import Figure

from fusetherm.verify import Row, Verification, run_cases, words
from fusetherm.verify.orders import KINDS, THEORY, Kind, orders
from fusetherm.verify.rows.lengths import ENDLESS, SHORT, fusing_current

#: Topics whose rows stand on the page of validation: standards and measurements, not formulas.
VALIDATION = ("gates", "families")
_MEASURED = "measured"
_INK, _FAULT = "#20507a", "#b02020"
_REFINED: dict[Kind, str] = {
    "mesh": "cells",
    "rodas3": "steps of RODAS3",
    "rodas4": "steps of RODAS4",
}


def write(folder: Path, verification: Verification | None = None) -> Verification:
    """Write every generated table and picture into a folder, which is made."""
    result = run_cases() if verification is None else verification
    if not result.passed:
        names = ", ".join(row.case.id for row in result.failed)
        raise RuntimeError(f"rows of the verification failed: {names}")
    folder.mkdir(parents=True, exist_ok=True)
    for name, build in PAGES.items():
        (folder / f"{name}.md").write_text(build(result), encoding="utf-8")
    picture(result).savefig(folder / "tolerance.svg")
    orders_picture().savefig(folder / "orders.svg")
    lengths_picture().savefig(folder / "lengths.svg")
    return result


def validates(topic: str) -> bool:
    """Whether a topic belongs to the page of validation."""
    return topic in VALIDATION or topic.startswith(_MEASURED)


def counts(result: Verification) -> str:
    """Rows by topic, and the versions they were measured with."""
    origins = {
        name: sum(row.case.origin == name for row in result.rows)
        for name in ("read", "computed", "memory")
    }
    line = (
        f"{len(result.rows)} rows, {len(result.integrated)} of them through the transient or the "
        f"steady solver, all within their tolerance. The expected value was read in its source in "
        f"{origins['read']}, computed apart from this package in {origins['computed']}, and is "
        f"from memory in {origins['memory']}."
    )
    with_ = ", ".join(f"{name} {number}" for name, number in result.versions.items())
    table = markdown(
        ("topic", "rows", "through a solver", "of the tolerance used, at most"),
        (
            (
                name,
                str(len(rows)),
                str(sum(row.case.integrates for row in rows)),
                _most_used(rows),
            )
            for name, rows in result.topics.items()
        ),
    )
    return f"{line} Measured with {with_} while this page was built.\n\n{table}"


def verification_rows(result: Verification) -> str:
    """Tables of the rows against formulas and other programs."""
    return _topics(result, lambda topic: not validates(topic))


def validation_rows(result: Verification) -> str:
    """Tables of the rows against standards and measurements."""
    return _topics(result, validates)


def orders_table(_: Verification) -> str:
    """Errors and observed order of every law, in the mesh and in the step."""
    return markdown(
        ("law", "refined", "sizes", "largest error [K]", "observed order", "theory"),
        (
            (
                one.law,
                _REFINED[one.kind],
                ", ".join(map(str, one.sizes)),
                ", ".join(f"{error:.3g}" for error in one.errors),
                f"{one.observed:.3f}",
                f"{one.theory:g}",
            )
            for one in orders()
        ),
    )


#: File in ``docs/_generated`` -> what makes it.
PAGES: dict[str, Callable[[Verification], str]] = {
    "counts": counts,
    "orders": orders_table,
    "verification": verification_rows,
    "validation": validation_rows,
}


def _topics(result: Verification, wanted: Callable[[str], bool]) -> str:
    parts = []
    for name, rows in result.topics.items():
        if wanted(name):
            parts.append(f"### {plain(name[:1].upper() + name[1:])}\n\n{_rows(rows)}")
    return "\n\n".join(parts) + "\n"


def _rows(rows: Sequence[Row]) -> str:
    def cells(row: Row) -> tuple[str, ...]:
        unit = words.unit_text(row.case.unit)
        return (
            row.case.what,
            f"{words.expected_text(row.case)} {unit}".rstrip(),
            f"{words.number(row.got)} {unit}".rstrip(),
            words.error_text(row),
            words.tolerance_text(row.case),
            words.source_text(row.case),
        )

    return markdown(("what", "expected", "got", "error", "tolerance", "source"), map(cells, rows))


def _most_used(rows: Iterable[Row]) -> str:
    shares = [abs(row.error) / row.case.tolerance for row in rows if row.case.tolerance > 0.0]
    return f"{100.0 * max(shares):.2g} %" if shares else "bands only"


def markdown(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Table in Markdown, every cell escaped."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(
        "| " + " | ".join(c if c == "---" else plain(c) for c in line) + " |" for line in lines
    )


def plain(text: str) -> str:
    """Text without a meaning in Markdown or in its mathematics."""
    return re.sub(r"([\\`*_{}\[\]<>|$~#&])", r"\\\1", " ".join(text.split()))


def picture(result: Verification) -> Figure:
    """How much of its tolerance the error of each row takes, by topic."""
    topics = {
        name: shares
        for name, rows in result.topics.items()
        if (
            shares := [
                max(abs(row.error) / row.case.tolerance, 1e-6)
                for row in rows
                if row.case.tolerance > 0.0
            ]
        )
    }
    figure = Figure(figsize=(7.0, 1.2 + 0.28 * len(topics)), layout="constrained")
    axes = figure.add_subplot()
    for place, shares in enumerate(topics.values()):
        colours = [_INK if share <= 1.0 else _FAULT for share in shares]
        axes.scatter(shares, [place] * len(shares), s=18, c=colours, alpha=0.6, linewidths=0)
    axes.axvline(1.0, color="black", linewidth=0.8)
    axes.set_xscale("log")
    axes.set_yticks(range(len(topics)), list(topics))
    axes.set_ylim(len(topics) - 0.5, -0.5)
    axes.set_xlabel("error over tolerance, one dot a row (below 1e-6 drawn there)")
    axes.spines[["top", "right"]].set_visible(False)
    return figure


def orders_picture() -> Figure:
    """Error against cells and steps, a line for each law, with the slope of theory."""
    figure = Figure(figsize=(8.0, 4.2), layout="constrained")
    for place, kind in enumerate(KINDS):
        axes = figure.add_subplot(1, len(KINDS), place + 1)
        kept = [one for one in orders() if one.kind == kind]
        for one, marker in zip(kept, "osv^D<>Pp*h", strict=False):
            axes.loglog(one.sizes, one.errors, marker=marker, ms=4, lw=0.9, label=one.law)
        sizes = kept[0].sizes
        least = 0.4 * min(one.errors[-1] for one in kept)
        slope = [least * (sizes[-1] / size) ** THEORY[kind] for size in sizes]
        axes.loglog(sizes, slope, color="black", ls=(0, (4, 2)), lw=1.2, label="theory")
        axes.set_title(f"order {THEORY[kind]:g}", fontsize=10)
        axes.set_xticks(sizes, [str(size) for size in sizes])
        axes.minorticks_off()
        axes.set_xlabel(_REFINED[kind])
        axes.spines[["top", "right"]].set_visible(False)
    figure.axes[0].set_ylabel("largest error [K]")
    handles, labels = figure.axes[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=3, fontsize=8, frameon=False)
    return figure


def lengths_picture() -> Figure:
    """Fusing current of a wire in air against its length, with both limits."""
    lengths = [10.0 ** (-3.0 + 2.7 * i / 26) for i in range(27)]  # 1 mm to .5 m
    figure = Figure(figsize=(6.0, 4.0), layout="constrained")
    axes = figure.add_subplot()
    short = [SHORT / length for length in lengths]
    axes.loglog(
        [1e3 * length for length in lengths],
        [fusing_current(length) for length in lengths],
        "o", ms=4, color=_INK, label="minimum fusing current",
    )  # fmt: skip
    axes.loglog(
        [1e3 * x for x in lengths], short, color="black", ls=(0, (4, 2)), lw=1.0,
        label="cooled by its ends alone",
    )  # fmt: skip
    axes.axhline(ENDLESS, color="black", ls=(0, (1, 1.5)), lw=1.0, label="endless, in air")
    both = [math.hypot(one, ENDLESS) for one in short]
    axes.loglog([1e3 * x for x in lengths], both, color=_INK, lw=0.8, alpha=0.6,
                label="root of the squares of both")  # fmt: skip
    axes.set_ylim(0.6 * ENDLESS, 1.5 * short[0])
    axes.set_xlabel("length [mm]")
    axes.set_ylabel("current [A]")
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False, fontsize=8)
    return figure
