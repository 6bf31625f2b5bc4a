"""A page of an answer in headless Chromium: no error, values on hover, the same without scripts.

Runs apart from the other tests (``pytest -m browser``), where Chromium is installed.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner

from fusetherm.cli.main import program

pytestmark = pytest.mark.browser

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"
#: Put at the end of a page: moves a pointer over the middle of the pulse.
POINTER = """<script>
const line = [...document.querySelectorAll("figure svg g[id^=line2d] > path[clip-path]")]
  .sort((a, b) => b.getAttribute("d").length - a.getAttribute("d").length)[0];
const all = line.getBBox();
const at = new DOMPoint(all.x + 0.3 * all.width, all.y).matrixTransform(line.getScreenCTM());
document.querySelector("figure").dispatchEvent(
  new PointerEvent("pointermove", { clientX: at.x, clientY: at.y, bubbles: true }));
</script>"""


def dom(page: Path, *options: str) -> tuple[str, str]:
    """The page as the browser sees it once loaded, and what the browser said."""
    browser = shutil.which("chromium") or shutil.which("google-chrome")
    assert browser is not None, "install chromium (the system's package)"
    done = subprocess.run(
        [browser, "--headless", "--no-sandbox", "--disable-gpu", "--enable-logging=stderr",
         f"--user-data-dir={page.parent / 'profile'}", "--window-size=400,800", *options,
         "--dump-dom", page.as_uri()],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    return done.stdout, done.stderr


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("page")
    capture, page = folder / "<img src=x onerror=alert(1)>.csv", folder / "a.html"
    rows = "".join(f"{0.01 * k:g},{125 if 20 <= k < 40 else 5}\n" for k in range(100))
    capture.write_text("time (s),current (A)\n" + rows, encoding="utf-8")
    done = CliRunner().invoke(
        program, ["carry", str(capture), "--fuse", str(EXAMPLE), "--report", str(page)]
    )
    assert done.exit_code == 0, done.output
    return page


def test_it_loads_without_an_error(page: Path) -> None:
    seen, said = dom(page)
    assert "CONSOLE" not in said
    assert 'class="word">CARRIES' in seen
    assert "<img" not in seen
    assert seen.count('class="value"') == 1


def test_hover_tells_values(page: Path) -> None:
    over = page.with_name("over.html")
    over.write_text(page.read_text(encoding="utf-8").replace("</body>", POINTER + "</body>"))
    seen, said = dom(over)
    assert "CONSOLE" not in said
    (told,) = re.findall(r'<div class="value"[^>]*>([^<]*)</div>', seen)
    found = re.fullmatch(r"time \(s\) ([\d.]+), current \(A\) ([\d.]+)", told)
    assert found is not None, told
    time, current = float(found[1]), float(found[2])
    # the pulse is 125 A from .2 to .4 s on 5 A
    assert 0.0 <= time <= 1.0
    assert current == pytest.approx(125.0 if 0.2 < time < 0.39 else 5.0, abs=1.0)


def test_arrow_keys_tell_values(page: Path) -> None:
    keys = page.with_name("keys.html")
    script = """<script>
const figure = document.querySelector("figure");
for (let k = 0; k < 3; k += 1)
  figure.dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowRight", bubbles: true }));
</script>"""
    keys.write_text(page.read_text(encoding="utf-8").replace("</body>", script + "</body>"))
    seen, _ = dom(keys)
    (told,) = re.findall(r'<div class="value"[^>]*role="status"[^>]*>([^<]*)</div>', seen)
    assert re.fullmatch(r"time \(s\) [\d.e-]+, (current \(A\)|temperature \(°C\)) [\d.]+", told), (
        told
    )


def test_it_fits_a_telephone(page: Path) -> None:
    """Nothing but a wide table may be wider than the window."""
    wide = page.with_name("wide.html")
    script = "<script>document.title = 'width ' + document.documentElement.scrollWidth;</script>"
    wide.write_text(page.read_text(encoding="utf-8").replace("</body>", script + "</body>"))
    seen, _ = dom(wide)
    (width,) = re.findall(r"<title>width (\d+)</title>", seen)
    assert int(width) <= 500  # the least width of a headless window


def test_it_prints_on_two_sheets(page: Path) -> None:
    browser = shutil.which("chromium") or shutil.which("google-chrome")
    assert browser is not None, "install chromium (the system's package)"
    sheets = page.with_name("a.pdf")
    subprocess.run(
        [browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={page.parent / 'profile'}", f"--print-to-pdf={sheets}", page.as_uri()],
        capture_output=True, timeout=120, check=True,
    )  # fmt: skip
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", sheets.read_bytes())) in (1, 2)
