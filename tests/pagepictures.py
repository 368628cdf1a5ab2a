"""Pictures of a plan page as its readers see it: `python -m tests.pagepictures PLAN.html OUT`.

Writes phone.png, desk.png, phone-dark.png and print-1.png (the first sheet, where pdftoppm is
there), and says how long the page took to settle on a phone whose processor is four times slower.
"""

import argparse
import shutil
import subprocess
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

PHONE = {"width": 390, "height": 844}
DESK = {"width": 1366, "height": 900}
SLOWER = 4
SETTLED = """
() => new Promise((resolve) => {
  let last = performance.now();
  new PerformanceObserver((list) => {
    for (const task of list.getEntries()) last = Math.max(last, task.startTime + task.duration);
  }).observe({type: "longtask", buffered: true});
  setTimeout(() => resolve(last), 1500);
})
"""


def settled_ms(browser: Browser, page: Path) -> float:
    """Return when the last long task of a slowed phone ended, from the start of loading. [ms]"""
    phone = browser.new_page(viewport=PHONE, device_scale_factor=2)
    phone.context.new_cdp_session(phone).send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    phone.goto(page.resolve().as_uri())
    found = phone.evaluate(SETTLED)
    phone.close()
    return float(found)


def pictures(browser: Browser, page: Path, out: Path) -> list[Path]:
    """Write the pictures and return their paths."""
    out.mkdir(parents=True, exist_ok=True)
    found = []
    for name, size, scale, scheme in (
        ("phone", PHONE, 2, "light"),
        ("phone-dark", PHONE, 2, "dark"),
        ("desk", DESK, 1, "light"),
    ):
        view = browser.new_page(viewport=size, device_scale_factor=scale, color_scheme=scheme)
        view.goto(page.resolve().as_uri())
        found.append(out / f"{name}.png")
        view.screenshot(path=found[-1])
        view.close()
    printed = browser.new_page()
    printed.goto(page.resolve().as_uri())
    sheet = out / "print.pdf"
    printed.pdf(path=sheet, prefer_css_page_size=True)
    printed.close()
    found.append(sheet)
    turn = shutil.which("pdftoppm")
    if turn:
        first = out / "print-1"
        subprocess.run(
            [turn, "-png", "-singlefile", "-r", "80", "-f", "1", str(sheet), str(first)], check=True
        )
        found.append(first.with_suffix(".png"))
    return found


def main() -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("page", type=Path)
    parser.add_argument("out", type=Path)
    given = parser.parse_args()
    where = shutil.which("chromium") or shutil.which("google-chrome")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=where, args=["--no-sandbox"])
        print(f"settled after {settled_ms(browser, given.page):.0f} ms, {SLOWER} times slower")
        for path in pictures(browser, given.page, given.out):
            print(path)
        browser.close()


if __name__ == "__main__":
    main()
